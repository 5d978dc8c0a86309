#include <stdlib.h>
#include <string.h>

#include "base/limits.h"
#include "base/status.h"
#include "cli/desk.h"
#include "ledger/views.h"
#include "reports/folder.h"
#include "reports/given.h"
#include "reports/parameters.h"
#include "reports/read_report.h"
#include "reports/write_report.h"

enum { PAGE_WIDTH = 96, NAME_INDENT = 16, MEANING_INDENT = 24 };

struct reporting {
    const struct options *options;
    struct desk desk;
    struct found_report found;
    struct report_result result;
    struct report_look look;
    struct buffer words;
    struct output out;
};

static const char *folder_of(const struct options *options)
{
    return options->given[OPTION_REPORTS] != NULL ? options->given[OPTION_REPORTS] : "reports";
}

/* Prints what was written, where --out says. */
static int print(struct reporting *reporting, int code)
{
    if (reporting->words.failed)
        return cli_exit(WM_NO_MEMORY);
    if (output_open(&reporting->out, reporting->options->out, &reporting->desk.sink) != WM_OK)
        return EXIT_UNUSABLE;
    output_add(&reporting->out, reporting->words.bytes, reporting->words.length);
    return cli_finish(&reporting->out, &reporting->desk.sink, code);
}

static void close_reporting(struct reporting *reporting)
{
    buffer_free(&reporting->words);
    desk_close(&reporting->desk);
}

/* --- What there is --------------------------------------------------------------------------------- */

/* `words`, blanks up to an indent, and an explanation that is broken there. */
static void add_entry(struct buffer *out, const char *lead, struct text words, struct text meaning,
                      size_t indent)
{
    size_t at = strlen(lead) + words.length;

    buffer_format(out, "%s%.*s", lead, TEXT_ARGUMENTS(words));
    if (at + 2 > indent) {
        buffer_add_byte(out, '\n');
        at = 0;
    }
    for (; at < indent; at++)
        buffer_add_byte(out, ' ');
    buffer_add_wrapped(out, meaning, indent, PAGE_WIDTH);
    buffer_add_byte(out, '\n');
}

/* A list of reports is a report itself: it has the same formats. */
static const char LIST_HEADER[] =
    "-- title: Reports\n"
    "-- meaning: What `witnessmark report NAME` can tell; `witnessmark report NAME --help`"
    " tells the parameters.\n"
    "-- section: reports\n"
    "-- column: report text; its name\n"
    "-- column: title text; its title\n"
    "-- column: meaning text; what it tells\n";

static const char VIEWS_HEADER[] =
    "-- title: Views\n"
    "-- meaning: What reports, and any SQLite tool, may read of the office.\n"
    "-- section: columns\n"
    "-- column: view text; name of the view or function\n"
    "-- column: column_name text \"Column\"; its column; empty: the view itself\n"
    "-- column: meaning text; what it holds\n"
    "-- column: where_it_is text \"Where\"; office file: for any SQLite tool; report: only while a report "
    "runs\n";

static int open_own(struct reporting *reporting, const char *name, const char *header)
{
    struct arena *arena = &reporting->desk.arena;
    int status = report_read(arena, text_of(name), text_of(name), text_of(header), true, &reporting->desk.sink,
                             &reporting->found.report);

    if (status == WM_OK)
        status = report_result_open(&reporting->result, &reporting->found.report, NULL,
                                    reporting->options->today, arena);
    return status;
}

static int write_result(struct reporting *reporting)
{
    const struct report_result *result = &reporting->result;

    switch (reporting->options->format) {
    case FORMAT_CSV: write_report_csv(&reporting->words, result, reporting->look); break;
    case FORMAT_JSON: return write_report_json(&reporting->words, result, reporting->look);
    case FORMAT_HTML: return write_report_html(&reporting->words, result, reporting->look);
    case FORMAT_TEXT: write_report_text(&reporting->words, result, reporting->look); break;
    }
    return reporting->words.failed ? WM_NO_MEMORY : WM_OK;
}

/* A report that cannot be used is told, and the others are listed all the same. */
static int list_report(struct reporting *reporting, struct text name, bool *ret_faulty)
{
    struct found_report found;
    int status =
        report_find(&reporting->desk.arena, folder_of(reporting->options), name, &reporting->desk.sink, &found);

    if (status == WM_BAD_INPUT || status == WM_IO || status == WM_LIMIT) {
        *ret_faulty = true;
        return WM_OK;
    }
    if (status != WM_OK)
        return status;
    if (reporting->options->format == FORMAT_TEXT) {
        add_entry(&reporting->words, "", name, found.report.title, NAME_INDENT);
        return WM_OK;
    }
    const struct value cells[] = {value_text(name), value_text(found.report.title),
                                  value_text(found.report.meaning)};
    return report_add_row(&reporting->result, &reporting->result.tables[0], cells);
}

static int list_reports(struct reporting *reporting)
{
    struct text *names = NULL;
    uint32_t count = 0;
    bool faulty = false;
    int status = open_own(reporting, "list", LIST_HEADER);

    if (status == WM_OK)
        status = report_names(&reporting->desk.arena, folder_of(reporting->options), &reporting->desk.sink,
                              &names, &count);
    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = list_report(reporting, names[i], &faulty);
    if (status == WM_OK && reporting->options->format != FORMAT_TEXT)
        status = write_result(reporting);
    return status == WM_OK ? print(reporting, faulty ? EXIT_FOUND : EXIT_DONE) : cli_exit(status);
}

/* --- What may be read ------------------------------------------------------------------------------ */

static int add_view_row(struct reporting *reporting, const char *view, const char *column, const char *meaning,
                        bool given)
{
    const struct value cells[] = {value_text(text_of(view)), value_text(text_of(column)),
                                  value_text(text_of(meaning)),
                                  value_text(given ? TEXT("report") : TEXT("office file"))};

    return report_add_row(&reporting->result, &reporting->result.tables[0], cells);
}

static int add_views(struct reporting *reporting)
{
    int status = WM_OK;

    for (const struct view *view = VIEWS; view->name != NULL && status == WM_OK; view++) {
        status = add_view_row(reporting, view->name, "", view->meaning, view->given);
        for (const struct view_column *column = view->columns; column->name != NULL && status == WM_OK;
             column++)
            status = add_view_row(reporting, view->name, column->name, column->meaning, view->given);
    }
    for (const struct view_column *function = VIEW_FUNCTIONS; function->name != NULL && status == WM_OK;
         function++)
        status = add_view_row(reporting, function->name, "", function->meaning, true);
    return status;
}

static void write_views(struct buffer *out)
{
    for (const struct view *view = VIEWS; view->name != NULL; view++) {
        buffer_format(out, "%s%s\n  ", view->name, view->given ? "  (only in reports)" : "");
        buffer_add_wrapped(out, text_of(view->meaning), 2, PAGE_WIDTH);
        buffer_add_byte(out, '\n');
        for (const struct view_column *column = view->columns; column->name != NULL; column++)
            add_entry(out, "    ", text_of(column->name), text_of(column->meaning), MEANING_INDENT);
        buffer_add_byte(out, '\n');
    }
    buffer_add_string(out, "functions  (only in reports, besides SQLite's own)\n");
    for (const struct view_column *function = VIEW_FUNCTIONS; function->name != NULL; function++)
        add_entry(out, "    ", text_of(function->name), text_of(function->meaning), MEANING_INDENT);
}

static int list_views(struct reporting *reporting)
{
    int status = open_own(reporting, "views", VIEWS_HEADER);

    if (status == WM_OK)
        status = add_views(reporting);
    if (status == WM_OK && reporting->options->format == FORMAT_TEXT)
        write_views(&reporting->words);
    else if (status == WM_OK)
        status = write_result(reporting);
    return status == WM_OK ? print(reporting, EXIT_DONE) : cli_exit(status);
}

/* --- One report ------------------------------------------------------------------------------------ */

static struct text section_at(const void *list, uint32_t number)
{
    return ((const struct report_section *)list)[number].name;
}

static int choose_section(struct reporting *reporting)
{
    const struct report *report = &reporting->found.report;
    struct text name = text_of(reporting->options->given[OPTION_SECTION]);

    reporting->look = (struct report_look){.plain_cells = reporting->options->given[OPTION_PLAIN_CELLS] != NULL,
                                           .section = -1};
    if (name.bytes == NULL)
        return WM_OK;
    for (uint32_t i = 0; i < report->section_count; i++)
        if (!report->sections[i].kept && text_equal(report->sections[i].name, name)) {
            reporting->look.section = (int)i;
            return WM_OK;
        }
    struct text nearest = report_nearest(name, section_at, report->sections, report->section_count);
    diag_error(&reporting->desk.sink, (struct place){{NULL, 0}, 0, 0},
               "the report %.*s has no section \"%.*s\"; %s%.*s%s", TEXT_ARGUMENTS(report->name),
               TEXT_ARGUMENTS(name),
               nearest.length > 0 ? "nearest is \"" : "`--help` behind its name lists them",
               TEXT_ARGUMENTS(nearest), nearest.length > 0 ? "\"" : "");
    return WM_BAD_INPUT;
}

/* Runs it on the office as it stands when it is opened. */
static int run_on_office(struct reporting *reporting)
{
    const struct options *options = reporting->options;
    const struct computed_report *computed = reporting->found.computed;
    struct desk *desk = &reporting->desk;
    bool with_rules = computed != NULL ? computed->needs_rules : given_is_named(&reporting->found.report);
    int status = with_rules ? desk_open_rules(desk, options) : WM_OK;

    if (status == WM_OK)
        status = desk_open_office(desk, options);
    if (status != WM_OK)
        return status;
    const struct report_run run = {.office = desk->office,
                                   .register_source = office_source_register(desk->office_source),
                                   .office_register = desk->office_register,
                                   .rules = desk->rules,
                                   .today = options->today,
                                   .result = &reporting->result,
                                   .sink = &desk->sink};
    status = computed != NULL
                 ? computed->run(&run)
                 : report_run_queries(&run, options->seconds > 0 ? options->seconds : LIMIT_REPORT_SECONDS);
    return desk_end_reading(desk, status);
}

static int make_report(struct reporting *reporting)
{
    const struct options *options = reporting->options;
    struct desk *desk = &reporting->desk;
    struct value *values = NULL;
    int status = report_find(&desk->arena, folder_of(options), text_of(options->arguments[0]), &desk->sink,
                             &reporting->found);

    if (status == WM_OK)
        status = choose_section(reporting);
    if (status == WM_OK)
        status = parameters_read(&reporting->found.report, options->parameters, options->parameter_count,
                                 options->today, &desk->arena, &desk->sink, &values);
    if (status == WM_OK)
        status = report_result_open(&reporting->result, &reporting->found.report, values, options->today,
                                    &desk->arena);
    if (status == WM_OK)
        status = run_on_office(reporting);
    if (status == WM_OK)
        status = write_result(reporting);
    return status;
}

static int run_report(const struct options *options)
{
    struct reporting reporting = {.options = options, .look = {.section = -1}};
    const char *name = options->arguments[0];
    int code;

    reporting.desk.sink = cli_diagnostics();
    if (strcmp(name, "list") == 0 || strcmp(name, "views") == 0) {
        code = name[0] == 'l' ? list_reports(&reporting) : list_views(&reporting);
    } else {
        int status = make_report(&reporting);
        code = status == WM_OK ? print(&reporting, EXIT_DONE) : cli_exit(status);
    }
    close_reporting(&reporting);
    return code;
}

/* --- Help of one report ---------------------------------------------------------------------------- */

static void add_parameter_help(struct buffer *out, const struct report_parameter *parameter)
{
    struct buffer left = BUFFER_EMPTY, right = BUFFER_EMPTY;

    buffer_format(&left, "--%.*s %s", TEXT_ARGUMENTS(parameter->name), report_format_name(parameter->format));
    for (uint32_t i = 0; i < parameter->choice_count; i++)
        buffer_format(&left, "%s%.*s", i == 0 ? " " : "|", TEXT_ARGUMENTS(parameter->choices[i]));
    buffer_add_text(&right, parameter->meaning);
    if (parameter->required)
        buffer_add_string(&right, " (must be given)");
    else if (parameter->default_words.length > 0)
        buffer_format(&right, " (default %.*s)", TEXT_ARGUMENTS(parameter->default_words));
    add_entry(out, "  ", buffer_text(&left), buffer_text(&right), MEANING_INDENT);
    if (left.failed || right.failed)
        out->failed = true;
    buffer_free(&left);
    buffer_free(&right);
}

static void add_section_help(struct buffer *out, const struct report *report,
                             const struct report_section *section)
{
    buffer_format(out, "\n%s%.*s", report_shown_sections(report) > 1 ? "section " : "columns",
                  report_shown_sections(report) > 1 ? (int)section->name.length : 0, section->name.bytes);
    if (report_shown_sections(report) > 1)
        buffer_format(out, ": %.*s", TEXT_ARGUMENTS(section->title));
    buffer_add_byte(out, '\n');
    for (uint32_t i = 0; i < section->column_count; i++) {
        const struct report_column *column = &section->columns[i];
        struct buffer words = BUFFER_EMPTY;
        buffer_format(&words, "%.*s (%s)", TEXT_ARGUMENTS(column->meaning), report_format_name(column->format));
        add_entry(out, "  ", column->name, buffer_text(&words), MEANING_INDENT);
        buffer_free(&words);
    }
}

static void write_help(struct buffer *out, const struct report *report)
{
    buffer_format(out, "usage: witnessmark report %.*s%s\n", TEXT_ARGUMENTS(report->name),
                  report->parameter_count > 0 ? " [--PARAMETER VALUE...] [OPTION...]" : " [OPTION...]");
    buffer_format(out, "%.*s\n", TEXT_ARGUMENTS(report->title));
    buffer_add_wrapped(out, report->meaning, 0, PAGE_WIDTH);
    buffer_add_byte(out, '\n');
    if (report->parameter_count > 0)
        buffer_add_string(out, "\nparameters\n");
    for (uint32_t i = 0; i < report->parameter_count; i++)
        add_parameter_help(out, &report->parameters[i]);
    for (uint32_t i = 0; i < report->section_count; i++)
        if (!report->sections[i].kept)
            add_section_help(out, report, &report->sections[i]);
    buffer_add_string(out, "\n`witnessmark report --help` lists the options that every report has.\n");
}

static int help_report(const struct options *options)
{
    struct reporting reporting = {.options = options, .look = {.section = -1}};
    const char *name = options->arguments[0];

    reporting.desk.sink = cli_diagnostics();
    if (strcmp(name, "list") == 0 || strcmp(name, "views") == 0) {
        buffer_format(&reporting.words, "usage: witnessmark report %s [OPTION...]\n%s\n", name,
                      name[0] == 'l' ? "names every report, with its title"
                                     : "describes every view that a report's query may read, column by column");
        int listed = print(&reporting, EXIT_DONE);
        close_reporting(&reporting);
        return listed;
    }
    int status = report_find(&reporting.desk.arena, folder_of(options), text_of(name), &reporting.desk.sink,
                             &reporting.found);
    if (status == WM_OK)
        write_help(&reporting.words, &reporting.found.report);
    int code = status == WM_OK ? print(&reporting, EXIT_DONE) : cli_exit(status);
    close_reporting(&reporting);
    return code;
}

const struct command COMMAND_REPORT = {
    .name = "report",
    .arguments = "NAME [--PARAMETER VALUE...] | list | views",
    .summary = "tables and charts for the office, the regulator, the parts desk; an office adds its own",
    .details =
        "`report list` names the reports: files NAME.sql of the folder of reports, and those that the program\n"
        "computes. `report NAME --help` tells one's parameters and columns. `report views` tells what a "
        "report's\n"
        "query may read. With --format html a report is one page that needs no network, with charts.\n"
        "In CSV several sections stand one after the other, an empty line between them; --section gives one.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_QUIET) |
               OPTION_BIT(OPTION_REPORTS) | OPTION_BIT(OPTION_SECTION) | OPTION_BIT(OPTION_SECONDS) |
               OPTION_BIT(OPTION_PLAIN_CELLS) | COMMAND_TAKES_PARAMETERS,
    .formats =
        FORMAT_BIT(FORMAT_TEXT) | FORMAT_BIT(FORMAT_CSV) | FORMAT_BIT(FORMAT_JSON) | FORMAT_BIT(FORMAT_HTML),
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_report,
    .help = help_report,
};
