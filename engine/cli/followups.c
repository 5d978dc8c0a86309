#include <jansson.h>
#include <string.h>

#include "base/add_dump.h"
#include "base/shown.h"
#include "base/status.h"
#include "base/date.h"
#include "cli/command.h"
#include "ledger/followups_list.h"

struct listing {
    const struct options *options;
    struct output out;
    struct buffer words; /* one piece of work */
};

static void add_cell(struct buffer *out, struct text cell)
{
    buffer_add_csv(out, cell);
    buffer_add_byte(out, ',');
}

static void add_day(struct buffer *out, int32_t day)
{
    char room[DATE_ROOM];

    if (day != DAY_NONE)
        buffer_add(out, room, date_write(day, room));
}

static void write_csv(const struct listing *listing, struct buffer *out, const struct open_followup *followup)
{
    add_cell(out, followup->dealer);
    add_cell(out, followup->claim);
    buffer_format(out, "%lld,", (long long)followup->revision);
    add_cell(out, followup->campaign);
    add_cell(out, followup->vin);
    add_cell(out, followup->followup);
    add_cell(out, followup->part);
    add_day(out, followup->opened_on);
    buffer_format(out, ",%d,", listing->options->today - followup->opened_on);
    add_day(out, followup->due_on);
    buffer_add_byte(out, ',');
    if (followup->due_on != DAY_NONE)
        buffer_format(out, "%d", followup->due_on - listing->options->today);
    buffer_add_byte(out, ',');
    add_cell(out, followup->vehicle_status);
    add_day(out, followup->vehicle_status_on);
    buffer_add_byte(out, '\n');
}

/* --- JSON -------------------------------------------------------------------------------------------- */

static int set(json_t *object, const char *name, json_t *value)
{
    return json_object_set_new(object, name, value) == 0 ? WM_OK : WM_NO_MEMORY;
}

static int set_day(json_t *object, const char *name, int32_t day)
{
    char room[DATE_ROOM];

    return set(object, name, day == DAY_NONE ? json_null() : json_stringn(room, date_write(day, room)));
}

static int fill_json(const struct listing *listing, json_t *object, const struct open_followup *followup)
{
    const struct {
        const char *name;
        struct text text;
    } texts[] = {{"dealer", followup->dealer},
                 {"claim", followup->claim},
                 {"campaign", followup->campaign},
                 {"vin", followup->vin},
                 {"followup", followup->followup},
                 {"part", followup->part},
                 {"vehicle_status", followup->vehicle_status}};
    int status = WM_OK;

    for (size_t i = 0; status == WM_OK && i < sizeof texts / sizeof texts[0]; i++)
        status = set(object, texts[i].name, json_stringn(texts[i].text.bytes, texts[i].text.length));
    if (status == WM_OK)
        status = set(object, "revision", json_integer(followup->revision));
    if (status == WM_OK)
        status = set_day(object, "opened_on", followup->opened_on);
    if (status == WM_OK)
        status = set(object, "days_open", json_integer(listing->options->today - followup->opened_on));
    if (status == WM_OK)
        status = set_day(object, "due_on", followup->due_on);
    if (status == WM_OK)
        status = set(object, "days_left",
                     followup->due_on == DAY_NONE ? json_null()
                                                  : json_integer(followup->due_on - listing->options->today));
    return status == WM_OK ? set_day(object, "vehicle_status_on", followup->vehicle_status_on) : status;
}

static int write_json(const struct listing *listing, struct buffer *out, const struct open_followup *followup)
{
    json_t *object = json_object();
    int status = object == NULL ? WM_NO_MEMORY : fill_json(listing, object, followup);

    if (status == WM_OK && json_dump_callback(object, add_dump, out, JSON_COMPACT) != 0)
        status = WM_NO_MEMORY;
    buffer_add_byte(out, '\n');
    json_decref(object);
    return status;
}

/* --- Text -------------------------------------------------------------------------------------------- */

static void write_text(const struct listing *listing, struct buffer *out, const struct open_followup *followup)
{
    int32_t open = listing->options->today - followup->opened_on;

    buffer_say(out, "%.*s  %.*s/%.*s, campaign %.*s\n", TEXT_ARGUMENTS(followup->vin),
                  TEXT_ARGUMENTS(followup->dealer), TEXT_ARGUMENTS(followup->claim),
                  TEXT_ARGUMENTS(followup->campaign));
    buffer_say(out, "    %.*s; open since ", TEXT_ARGUMENTS(followup->followup));
    add_day(out, followup->opened_on);
    buffer_say(out, ", %d day%s", open, plural((uint64_t)open));
    if (followup->due_on != DAY_NONE) {
        buffer_add_string(out, followup->due_on < listing->options->today ? ", OVERDUE since " : ", due on ");
        add_day(out, followup->due_on);
    }
    buffer_say(out, "\n    closed by a later claim on this vehicle with part %.*s", TEXT_ARGUMENTS(followup->part));
    if (followup->vehicle_status.length > 0 && !text_is(followup->vehicle_status, "in_service")) {
        buffer_say(out, "\n    the vehicle is %.*s", TEXT_ARGUMENTS(followup->vehicle_status));
        if (followup->vehicle_status_on != DAY_NONE)
            buffer_add_string(out, " since ");
        add_day(out, followup->vehicle_status_on);
    }
    buffer_add_byte(out, '\n');
}

static int take(void *context, const struct open_followup *followup)
{
    struct listing *listing = context;
    int status = WM_OK;

    buffer_clear(&listing->words);
    if (listing->options->format == FORMAT_CSV)
        write_csv(listing, &listing->words, followup);
    else if (listing->options->format == FORMAT_JSON)
        status = write_json(listing, &listing->words, followup);
    else
        write_text(listing, &listing->words, followup);
    output_add(&listing->out, listing->words.bytes, listing->words.length);
    return listing->words.failed ? WM_NO_MEMORY : status;
}

/* --- The command ------------------------------------------------------------------------------------- */

static bool read_filter(const struct options *options, struct arena *arena, struct followup_filter *filter,
                        struct diag_sink *sink)
{
    const char *sort = options->given[OPTION_SORT];

    *filter = (struct followup_filter){.dealer = text_of(options->given[OPTION_DEALER]),
                                       .campaign = text_of(options->given[OPTION_CAMPAIGN]),
                                       .vin = text_upper(arena, text_of(options->given[OPTION_VIN])),
                                       .since = options->since,
                                       .until = options->until,
                                       .by_dealer = sort != NULL && strcmp(sort, "dealer") == 0,
                                       .limit = options->limit};
    if (sort == NULL || filter->by_dealer || strcmp(sort, "date") == 0)
        return true;
    diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "--sort \"%s\" is none here; write date or dealer", sort);
    return false;
}

static int list(struct listing *listing, struct office *office, const struct followup_filter *filter)
{
    static const char HEADER[] =
        "dealer,claim,revision,campaign,vin,followup,part,opened_on,days_open,due_on,days_left,"
        "vehicle_status,vehicle_status_on\n";
    int status = office_begin_read(office);

    if (status != WM_OK)
        return status;
    if (listing->options->format == FORMAT_CSV)
        output_add(&listing->out, HEADER, sizeof HEADER - 1);
    status = ledger_followups(office, filter, take, listing);
    int ended = office_end_read(office);
    return status != WM_OK ? status : ended;
}

static int run_followups(const struct options *options)
{
    struct diag_sink sink = cli_diagnostics();
    struct listing listing = {.options = options};
    struct followup_filter filter;
    struct arena arena = ARENA_EMPTY;
    struct office *office = NULL;

    if (!read_filter(options, &arena, &filter, &sink)) {
        arena_free(&arena);
        return EXIT_UNUSABLE;
    }
    int status = office_open(options->office, OFFICE_READ, &sink, &office);
    if (status == WM_OK)
        status = output_open(&listing.out, options->out, &sink);
    bool open = status == WM_OK;
    if (open)
        status = list(&listing, office, &filter);
    int code = cli_exit(status);
    if (open)
        code = cli_finish(&listing.out, &sink, code);
    buffer_free(&listing.words);
    office_close(office);
    arena_free(&arena);
    return code;
}

const struct command COMMAND_FOLLOWUPS = {
    .name = "followups",
    .arguments = "",
    .summary = "lists follow-up work that is open, the oldest first",
    .details = "A piece of work is closed by a later claim on the vehicle that lists its part and stands.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_QUIET) |
               OPTION_BIT(OPTION_CAMPAIGN) | OPTION_BIT(OPTION_DEALER) | OPTION_BIT(OPTION_VIN) |
               OPTION_BIT(OPTION_SINCE) | OPTION_BIT(OPTION_UNTIL) | OPTION_BIT(OPTION_SORT) |
               OPTION_BIT(OPTION_LIMIT),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_followups,
};
