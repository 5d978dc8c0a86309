#include <errno.h>
#include <jansson.h>

#include "base/add_dump.h"
#include "base/limits.h"
#include "base/shown.h"
#include "base/status.h"
#include "cli/command.h"
#include "cli/fleet.h"
#include "cli/desk.h"
#include "rules/lint.h"

/* What is wrong with the rules is the result here: it goes to the output, as text, CSV or JSON lines. */
struct linting {
    const struct options *options;
    struct desk desk;
    struct output out;
    struct lint_fleet fleet;
    uint64_t vehicles;
};

/* --- One result ----------------------------------------------------------------------------------- */

static void add(struct linting *linting, const struct buffer *buffer)
{
    output_add(&linting->out, buffer->bytes, buffer->length);
    if (buffer->failed && linting->out.error == 0)
        linting->out.error = ENOMEM;
}

/* The file as the user names it: in the folder. */
static void add_file(const struct linting *linting, struct text file, struct buffer *out)
{
    buffer_add_text(out, linting->desk.files.folder);
    buffer_add_byte(out, '/');
    buffer_add_text(out, file);
}

static void write_text(const struct linting *linting, const char *kind, const struct lint_result *result,
                       struct buffer *out)
{
    (void)kind;
    if (result->severity != LINT_ERROR)
        buffer_format(out, "%s: ", lint_severity_name(result->severity));
    add_file(linting, result->place.file, out);
    if (result->place.line > 0)
        buffer_format(out, ":%llu", (unsigned long long)result->place.line);
    if (result->place.line > 0 && result->place.column > 0)
        buffer_format(out, ":%u", result->place.column);
    buffer_add_string(out, ": ");
    buffer_say(out, "%.*s", TEXT_ARGUMENTS(result->wrong));
    if (result->advice.length > 0) {
        buffer_add_string(out, "; ");
        buffer_say(out, "%.*s", TEXT_ARGUMENTS(result->advice));
    }
    buffer_add_byte(out, '\n');
    if (result->example.length > 0) {
        buffer_add_string(out, "    for example: ");
        buffer_say(out, "%.*s", TEXT_ARGUMENTS(result->example));
        buffer_add_byte(out, '\n');
    }
    if (result->counted)
        buffer_format(out, "    vehicles of the register: %llu\n", (unsigned long long)result->vehicles);
}

static void write_csv(const struct linting *linting, const char *kind, const struct lint_result *result,
                      struct buffer *out)
{
    struct buffer file = BUFFER_EMPTY;

    add_file(linting, result->place.file, &file);
    buffer_format(out, "%s,%s,", lint_severity_name(result->severity), kind);
    buffer_add_csv(out, buffer_text(&file));
    buffer_add_byte(out, ',');
    if (result->place.line > 0)
        buffer_add_number(out, result->place.line);
    buffer_add_byte(out, ',');
    if (result->place.column > 0)
        buffer_add_number(out, result->place.column);
    buffer_add_byte(out, ',');
    buffer_add_csv(out, result->wrong);
    buffer_add_byte(out, ',');
    buffer_add_csv(out, result->example);
    buffer_add_byte(out, ',');
    if (result->counted)
        buffer_add_number(out, result->vehicles);
    buffer_add_byte(out, ',');
    buffer_add_csv(out, result->advice);
    buffer_add_byte(out, '\n');
    buffer_free_into(&file, out);
}

static json_t *json_or_null(struct text t)
{
    return t.length > 0 ? json_stringn(t.bytes, t.length) : json_null();
}

static void write_json(const struct linting *linting, const char *kind, const struct lint_result *result,
                       struct buffer *out)
{
    struct buffer file = BUFFER_EMPTY;

    add_file(linting, result->place.file, &file);
    json_t *line = result->place.line > 0 ? json_integer((json_int_t)result->place.line) : json_null();
    json_t *column = result->place.column > 0 ? json_integer(result->place.column) : json_null();
    json_t *vehicles = result->counted ? json_integer((json_int_t)result->vehicles) : json_null();
    json_t *object =
        json_pack("{s:s,s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "severity", lint_severity_name(result->severity),
                  "kind", kind, "file", json_or_null(buffer_text(&file)), "line", line, "column", column,
                  "wrong", json_or_null(result->wrong), "example", json_or_null(result->example), "vehicles",
                  vehicles, "advice", json_or_null(result->advice));
    if (object == NULL || json_dump_callback(object, add_dump, out, JSON_COMPACT) != 0)
        out->failed = true;
    buffer_add_byte(out, '\n');
    json_decref(object);
    buffer_free_into(&file, out);
}

static int say(struct linting *linting, const char *kind, const struct lint_result *result)
{
    void (*const writers[])(const struct linting *, const char *, const struct lint_result *,
                            struct buffer *) = {
        [FORMAT_TEXT] = write_text, [FORMAT_CSV] = write_csv, [FORMAT_JSON] = write_json};
    struct buffer out = BUFFER_EMPTY;

    writers[linting->options->format](linting, kind, result, &out);
    add(linting, &out);
    int status = out.failed ? WM_NO_MEMORY : WM_OK;
    buffer_free(&out);
    return status;
}

static int take_result(void *context, const struct lint_result *result)
{
    return say(context, lint_kind_name(result->kind), result);
}

/* --- Rules that cannot be used -------------------------------------------------------------------- */

/* A diagnostic names its file with the folder already, but where that would be longer than a path may be. */
static struct text without_folder(const struct linting *linting, struct text file)
{
    struct text folder = linting->desk.files.folder;

    if (!text_starts_with(file, folder))
        return file;
    return (struct text){file.bytes + folder.length + 1, file.length - folder.length - 1};
}

/* `what is wrong; what to do` in two. */
static void split_message(struct text message, struct text *ret_wrong, struct text *ret_advice)
{
    *ret_wrong = message;
    *ret_advice = (struct text){"", 0};
    for (size_t i = message.length; i > 1; i--)
        if (message.bytes[i - 2] == ';' && message.bytes[i - 1] == ' ') {
            *ret_wrong = (struct text){message.bytes, i - 2};
            *ret_advice = (struct text){message.bytes + i, message.length - i};
            return;
        }
}

static void report(void *context, const struct diag *diag)
{
    struct linting *linting = context;
    struct lint_result result = {.severity = diag->severity == SEVERITY_WARNING ? LINT_WARNING : LINT_ERROR,
                                 .place = diag->place};

    result.place.file = without_folder(linting, diag->place.file);
    split_message(text_of(diag->message), &result.wrong, &result.advice);
    say(linting, "unusable", &result);
}

/* --- The command ---------------------------------------------------------------------------------- */

static void say_header(struct linting *linting)
{
    static const char header[] = "severity,kind,file,line,column,wrong,example,vehicles,advice\n";

    if (linting->options->format == FORMAT_CSV)
        output_add(&linting->out, header, sizeof header - 1);
}

static void say_summary(struct linting *linting, const struct lint_summary *summary)
{
    struct buffer words = BUFFER_EMPTY;
    uint32_t errors = summary->found[LINT_ERROR], warnings = summary->found[LINT_WARNING];
    uint32_t campaigns = linting->desk.rules->campaign_count;

    buffer_format(&words, "%s: %u table%s, %u campaign%s: ", linting->options->rules, summary->tables,
                  plural(summary->tables), campaigns, plural(campaigns));
    if (errors + warnings > 0)
        buffer_format(&words, "%u error%s, %u warning%s", errors, plural(errors), warnings, plural(warnings));
    else
        buffer_add_string(&words, "no errors, no warnings");
    if (summary->not_proved > 0)
        buffer_format(&words, "; %u thing%s not proved", summary->not_proved, plural(summary->not_proved));
    else if (errors + warnings == 0)
        buffer_add_string(&words, "; proved for every vehicle that the tables tell apart");
    if (linting->options->given[OPTION_OFFICE] != NULL)
        buffer_format(&words, "; the register has %llu vehicles", (unsigned long long)linting->vehicles);
    buffer_add_byte(&words, '\n');
    if (linting->options->format == FORMAT_TEXT && !linting->options->quiet)
        add(linting, &words);
    buffer_free(&words);
}

static int read_fleet(struct linting *linting)
{
    struct desk *desk = &linting->desk;
    int status = desk_open_office(desk, linting->options);

    if (status == WM_OK)
        status = fleet_read(office_source_register(desk->office_source), desk->rules, &desk->arena,
                            &linting->fleet);
    status = desk_end_reading(desk, status);
    for (uint32_t i = 0; i < linting->fleet.count; i++)
        linting->vehicles += linting->fleet.vehicles[i].count;
    return status;
}

/* Errors of the rules go to the output, all others to the user. */
static int open_rules(struct linting *linting, struct diag_sink *findings)
{
    struct desk *desk = &linting->desk;
    int status = rules_files_read(linting->options->rules, &desk->arena, &desk->sink, &desk->files);

    if (status != WM_OK)
        return cli_exit(status);
    say_header(linting);
    status = rules_compile(&desk->arena, &desk->files, findings, &desk->rules);
    return status == WM_BAD_INPUT || findings->warnings > 0 ? EXIT_FOUND : cli_exit(status);
}

static int analyse(struct linting *linting)
{
    const struct lint_fleet *fleet = linting->options->given[OPTION_OFFICE] != NULL ? &linting->fleet : NULL;
    struct lint_summary summary = {0};
    int status = fleet != NULL ? read_fleet(linting) : WM_OK;

    if (status == WM_OK)
        status = lint_rules(linting->desk.rules, fleet, take_result, linting, &summary);
    if (status != WM_OK)
        return cli_exit(status);
    say_summary(linting, &summary);
    return summary.found[LINT_ERROR] + summary.found[LINT_WARNING] > 0 ? EXIT_FOUND : EXIT_DONE;
}

static int run_rules_lint(const struct options *options)
{
    struct linting linting = {.options = options, .desk.sink = cli_diagnostics()};
    struct diag_sink findings = {report, &linting, 0, 0};

    if (output_open(&linting.out, options->out, &linting.desk.sink) != WM_OK)
        return EXIT_UNUSABLE;
    int code = open_rules(&linting, &findings);
    if (code == EXIT_DONE || (code == EXIT_FOUND && linting.desk.rules != NULL)) {
        int found = analyse(&linting);
        code = found > code ? found : code;
    }
    code = cli_finish(&linting.out, &linting.desk.sink, code);
    desk_close(&linting.desk);
    return code;
}

const struct command COMMAND_RULES_LINT = {
    .name = "rules lint",
    .arguments = "",
    .summary = "proves the rules free of gaps, overlaps, dead rows and contradictions, or names them",
    .details = "Each result has its place, what is wrong, what to do, and a vehicle for which it is so. With "
               "--office\n"
               "it is told how many vehicles of the register that touches, and what the register holds counts\n"
               "as the domain of columns without a `values` row.\n"
               "Exit code 0: no error and no warning; 1: something was found; 2: the folder cannot be read.\n",
    .options = OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_FORMAT) |
               OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_QUIET),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_rules_lint,
};
