#include <jansson.h>
#include <string.h>

#include "base/add_dump.h"
#include "base/date.h"
#include "base/status.h"
#include "cli/command.h"
#include "cli/decisions.h"
#include "cli/desk.h"
#include "ledger/outlier_runs.h"

enum { TEXT_WIDTH = 79, TEXT_INDENT = 4 };

/* --- outliers: what was recorded -------------------------------------------------------------- */

struct listing {
    const struct options *options;
    struct output out;
    struct buffer words; /* one flag */
    uint64_t count;
};

static void add_day(struct buffer *out, int32_t day)
{
    char room[DATE_ROOM];

    buffer_add(out, room, date_write(day, room));
}

static void add_share(struct buffer *out, int64_t millionths)
{
    char room[DECIMAL_ROOM];

    buffer_add(out, room, decimal_write(millionths, room));
}

static void write_csv(const struct outlier_flag *flag, struct buffer *out)
{
    buffer_format(out, "%lld,%lld,", (long long)flag->run, (long long)flag->number);
    add_day(out, flag->recorded_on);
    const struct text texts[] = {flag->recorded_by, flag->dealer, flag->measure,
                                 flag->above ? TEXT("above") : TEXT("below")};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        buffer_add_byte(out, ',');
        buffer_add_csv(out, texts[i]);
    }
    buffer_format(out, ",%lld,%lld,", (long long)flag->claims.count, (long long)flag->claims.of);
    add_share(out, flag->rate);
    buffer_add_byte(out, ',');
    add_share(out, flag->limit);
    buffer_format(out, ",%lld,%lld,", (long long)flag->all.count, (long long)flag->all.of);
    add_share(out, flag->phi);
    buffer_add_byte(out, ',');
    buffer_add_csv(out, flag->basis);
    buffer_add_byte(out, '\n');
}

/* A name, and a text behind it. */
static int add_json_text(struct buffer *out, const char *name, struct text t)
{
    json_t *value = json_stringn(t.bytes, t.length);

    buffer_format(out, ",\"%s\":", name);
    int status =
        value != NULL && json_dump_callback(value, add_dump, out, JSON_ENCODE_ANY) == 0 ? WM_OK : WM_NO_MEMORY;
    json_decref(value);
    return status;
}

static void add_json_share(struct buffer *out, const char *name, int64_t millionths)
{
    buffer_format(out, ",\"%s\":", name);
    add_share(out, millionths);
}

static int write_json(const struct outlier_flag *flag, struct buffer *out)
{
    char day[DATE_ROOM];
    const struct {
        const char *name;
        struct text text;
    } texts[] = {{"recorded_on", {day, date_write(flag->recorded_on, day)}},
                 {"recorded_by", flag->recorded_by},
                 {"dealer", flag->dealer},
                 {"measure", flag->measure},
                 {"side", flag->above ? TEXT("above") : TEXT("below")},
                 {"basis", flag->basis}};
    int status = WM_OK;

    buffer_format(out, "{\"run\":%lld,\"number\":%lld", (long long)flag->run, (long long)flag->number);
    for (size_t i = 0; status == WM_OK && i < sizeof texts / sizeof *texts; i++)
        status = add_json_text(out, texts[i].name, texts[i].text);
    buffer_format(out, ",\"counted\":%lld,\"of\":%lld", (long long)flag->claims.count,
                  (long long)flag->claims.of);
    add_json_share(out, "rate", flag->rate);
    add_json_share(out, "limit", flag->limit);
    buffer_format(out, ",\"all_counted\":%lld,\"all_of\":%lld", (long long)flag->all.count,
                  (long long)flag->all.of);
    add_json_share(out, "phi", flag->phi);
    buffer_add_string(out, "}\n");
    return status;
}

static void write_text(const struct outlier_flag *flag, struct buffer *out)
{
    buffer_format(out, "%lld/%lld  dealer %.*s  %.*s  ", (long long)flag->run, (long long)flag->number,
                  TEXT_ARGUMENTS(flag->dealer), TEXT_ARGUMENTS(flag->measure));
    add_day(out, flag->recorded_on);
    buffer_format(out, " by %.*s\n    ", TEXT_ARGUMENTS(flag->recorded_by));
    buffer_add_wrapped(out, flag->basis, TEXT_INDENT, TEXT_WIDTH);
    buffer_add_byte(out, '\n');
}

static int take_flag(void *context, const struct outlier_flag *flag)
{
    struct listing *listing = context;
    int status = WM_OK;

    buffer_clear(&listing->words);
    if (listing->options->format == FORMAT_CSV)
        write_csv(flag, &listing->words);
    else if (listing->options->format == FORMAT_JSON)
        status = write_json(flag, &listing->words);
    else
        write_text(flag, &listing->words);
    listing->count++;
    output_add(&listing->out, listing->words.bytes, listing->words.length);
    return listing->words.failed ? WM_NO_MEMORY : status;
}

static int list_flags(struct listing *listing, struct office *office)
{
    static const char HEADER[] = "run,number,recorded_on,recorded_by,dealer,measure,side,counted,of,rate,limit,"
                                 "all_counted,all_of,phi,basis\n";
    static const char NONE[] =
        "No dealer has been recorded as standing out; `witnessmark outliers record` does.\n";
    int status = office_begin_read(office);

    if (status != WM_OK)
        return status;
    if (listing->options->format == FORMAT_CSV)
        output_add(&listing->out, HEADER, sizeof HEADER - 1);
    status =
        ledger_outlier_flags(office, 0, text_of(listing->options->given[OPTION_DEALER]), take_flag, listing);
    if (listing->options->format == FORMAT_TEXT && listing->count == 0)
        output_add(&listing->out, NONE, sizeof NONE - 1);
    int ended = office_end_read(office);
    return status != WM_OK ? status : ended;
}

static int run_outliers(const struct options *options)
{
    struct diag_sink sink = cli_diagnostics();
    struct listing listing = {.options = options};
    struct office *office = NULL;
    int status = office_open(options->office, OFFICE_READ, &sink, &office);

    if (status == WM_OK)
        status = output_open(&listing.out, options->out, &sink);
    bool open = status == WM_OK;
    if (open)
        status = list_flags(&listing, office);
    int code = cli_exit(status);
    if (open)
        code = cli_finish(&listing.out, &sink, code);
    buffer_free(&listing.words);
    office_close(office);
    return code;
}

const struct command COMMAND_OUTLIERS = {
    .name = "outliers",
    .arguments = "",
    .summary = "lists dealers recorded as standing out, with the basis that each must be told",
    .details = "`outliers record` compares and records; `report outliers` shows every dealer and the limits.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_FORMAT) |
               OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_DEALER),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_outliers,
};

/* --- outliers record -------------------------------------------------------------------------- */

static bool read_request(const struct options *options, struct outlier_request *request, struct diag_sink *sink)
{
    request->scope = (struct outlier_scope){options->since, options->until, text_of(options->campaign)};
    request->recorded_by = text_trim(text_of(options->given[OPTION_BY]));
    request->today = options->today;
    if (request->recorded_by.length == 0)
        diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "--by is missing; say who compares the dealers");
    else if (!text_is_utf8(request->recorded_by))
        diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "--by must be UTF-8 text; write it anew");
    else
        return true;
    return false;
}

static bool has_measures(const struct desk *desk, const struct options *options, struct diag_sink *sink)
{
    if (desk->rules->measures.count > 0)
        return true;
    diag_error(sink, (struct place){{NULL, 0}, 0, 0},
               "%s/outliers.csv lists no measure; write there by what dealers are compared", options->rules);
    return false;
}

static int record(struct desk *desk, const struct options *options, struct outlier_request *request,
                  struct outlier_result *result)
{
    struct office *office = NULL;
    int status = desk_open_rules(desk, options);

    if (status == WM_OK && !has_measures(desk, options, &desk->sink))
        status = WM_BAD_INPUT;
    if (status == WM_OK)
        status = office_open(options->office, OFFICE_CHANGE, &desk->sink, &office);
    if (status == WM_OK)
        status = office_record_outliers(office, &desk->rules->measures, request, result);
    office_close(office);
    return status;
}

static int say_result(const struct options *options, const struct outlier_result *result,
                      struct diag_sink *sink)
{
    struct buffer words = BUFFER_EMPTY;

    if (options->quiet)
        return EXIT_DONE;
    buffer_format(&words, "comparison %lld recorded: %u measures, %u flag%s%s\n", (long long)result->run,
                  result->measures, result->flags, plural(result->flags),
                  result->flags > 0 ? "; `witnessmark outliers` shows the basis that each dealer must be told"
                                    : "");
    return cli_say_recorded(&words, sink);
}

static int run_record(const struct options *options)
{
    struct diag_sink sink = cli_diagnostics();
    struct outlier_request request;
    struct outlier_result result;
    struct desk desk = {.rules = NULL};
    char now[CLOCK_ROOM];

    if (!read_request(options, &request, &sink))
        return EXIT_UNUSABLE;
    request.recorded_at = cli_clock(now);
    int status = record(&desk, options, &request, &result);
    int code = status == WM_OK ? say_result(options, &result, &desk.sink) : cli_exit(status);
    desk_close(&desk);
    return code;
}

const struct command COMMAND_OUTLIERS_RECORD = {
    .name = "outliers record",
    .arguments = "--by WHO",
    .summary = "compares all dealers by rules/outliers.csv, and records who stands out and why",
    .details =
        "Compares each dealer's share of claims with that of all. A dealer beyond the far limit is recorded "
        "with\n"
        "the numbers, the limit and the day, for good: whoever is picked by it must be told this basis.\n"
        "Standing out is a reason to look, and proves nothing.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_BY) | OPTION_BIT(OPTION_SINCE) |
               OPTION_BIT(OPTION_UNTIL) | OPTION_BIT(OPTION_CAMPAIGN),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_record,
};
