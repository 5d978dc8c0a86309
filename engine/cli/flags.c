#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "base/add_dump.h"
#include "base/chunks.h"
#include "base/shown.h"
#include "base/status.h"
#include "cli/desk.h"
#include "cli/write_claims.h"
#include "facts/deadlines.h"
#include "ledger/flags.h"

enum { TEXT_WIDTH = 80, INDENT = 6, MONEY_DIGITS = 15 };

/* When the time to decide a held claim ends. */
struct deadline_of_claim {
    int32_t decide_by; /* DAY_NONE: the region sets none */
    struct value silence_approves;
};

struct listing {
    const struct options *options;
    struct desk desk; /* the rules and the register only with --due-within */
    struct fact_worker worker;
    bool worker_open;
    struct ledger_reader *reader;
    struct table_scratch *scratch;
    struct arena claim_arena;
    struct output out;
    bool out_open;
    struct buffer words; /* one claim */
    struct chunks due;   /* with --due-within: what is to be sorted */
    uint64_t claims;
};

/* A claim whose time runs out, printed when all are known. */
struct due_claim {
    int32_t decide_by;
    uint32_t place;
    struct text words;
};

/* --- Deadlines --------------------------------------------------------------------------------------- */

static int read_deadline(struct listing *listing, const struct flagged_claim *claim,
                         struct deadline_of_claim *ret)
{
    struct dossier dossier = {.campaign_number = -1};
    struct arena *arena = &listing->claim_arena;
    struct deadlines deadlines;
    struct text content;

    *ret = (struct deadline_of_claim){DAY_NONE, value_null()};
    arena_reset(arena);
    int status = ledger_content(listing->reader, arena, claim->row, &content);
    if (status == WM_OK)
        status = ledger_content_claim(content, claim->line, arena, &dossier.claim);
    if (status == WM_OK)
        status = facts_establish(&listing->worker, arena, &dossier);
    if (status == WM_OK && dossier.dealer != NULL)
        status = deadlines_ask(listing->desk.rules, dossier.facts, listing->scratch, &deadlines);
    if (status != WM_OK || dossier.dealer == NULL)
        return status;
    int32_t days = deadline_days(deadlines.values[DECIDE_WITHIN_DAYS]);
    ret->silence_approves = deadlines.values[SILENCE_APPROVES];
    if (days >= 0 && claim->received_on <= INT32_MAX - days)
        ret->decide_by = claim->received_on + days;
    return WM_OK;
}

static bool silence_approves(const struct deadline_of_claim *deadline)
{
    return deadline->silence_approves.type == VALUE_BOOLEAN && deadline->silence_approves.number;
}

/* --- CSV --------------------------------------------------------------------------------------------- */

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

static void add_names(struct buffer *out, const struct flagged_claim *claim)
{
    for (uint32_t i = 0; i < claim->finding_count; i++) {
        bool again = false;
        for (uint32_t k = 0; k < i && !again; k++)
            again = text_equal(claim->findings[k].finding, claim->findings[i].finding);
        if (again)
            continue;
        if (i > 0)
            buffer_add_byte(out, ';');
        buffer_add_text(out, claim->findings[i].finding);
    }
}

static void write_csv(const struct listing *listing, struct buffer *out, const struct flagged_claim *claim,
                      const struct deadline_of_claim *deadline)
{
    add_cell(out, claim->dealer);
    add_cell(out, claim->claim);
    buffer_format(out, "%lld,", (long long)claim->revision);
    add_cell(out, claim->campaign);
    add_cell(out, claim->vin);
    add_day(out, claim->received_on);
    buffer_add_byte(out, ',');
    add_day(out, claim->completed_on);
    buffer_add_byte(out, ',');
    add_cell(out, claim->decision);
    buffer_add_money(out, claim->asked_cents);
    buffer_add_byte(out, ',');
    buffer_add_money(out, claim->payable_cents);
    buffer_add_byte(out, ',');
    add_names(out, claim);
    if (deadline != NULL) {
        buffer_add_byte(out, ',');
        add_day(out, deadline->decide_by);
        buffer_format(out, ",%d,%s", deadline->decide_by - listing->options->today,
                      silence_approves(deadline) ? "true" : "false");
    }
    buffer_add_byte(out, '\n');
}

/* --- JSON -------------------------------------------------------------------------------------------- */

static int set(json_t *object, const char *name, json_t *value)
{
    return json_object_set_new(object, name, value) == 0 ? WM_OK : WM_NO_MEMORY;
}

static json_t *json_text(struct text t)
{
    return json_stringn(t.bytes, t.length);
}

static json_t *json_day(int32_t day)
{
    char room[DATE_ROOM];

    return day == DAY_NONE ? json_null() : json_stringn(room, date_write(day, room));
}

static int add_finding(json_t *list, const struct row_finding *finding)
{
    json_t *object = json_object();
    int status = object == NULL ? WM_NO_MEMORY : set(object, "effect", json_text(finding->effect));

    if (status == WM_OK)
        status = set(object, "finding", json_text(finding->finding));
    if (status == WM_OK)
        status = set(object, "item", json_text(finding->item));
    if (status == WM_OK)
        status = set(object, "message", json_text(finding->message));
    if (status == WM_OK)
        status = set(object, "rule", json_text(finding->rule));
    if (status == WM_OK)
        return json_array_append_new(list, object) == 0 ? WM_OK : WM_NO_MEMORY;
    json_decref(object);
    return status;
}

static int fill_json(const struct listing *listing, json_t *object, const struct flagged_claim *claim,
                     const struct deadline_of_claim *deadline)
{
    json_t *findings = json_array();
    int status = findings == NULL ? WM_NO_MEMORY : set(object, "dealer", json_text(claim->dealer));

    if (status == WM_OK)
        status = set(object, "claim", json_text(claim->claim));
    if (status == WM_OK)
        status = set(object, "revision", json_integer(claim->revision));
    if (status == WM_OK)
        status = set(object, "campaign", json_text(claim->campaign));
    if (status == WM_OK)
        status = set(object, "vin", json_text(claim->vin));
    if (status == WM_OK)
        status = set(object, "received_on", json_day(claim->received_on));
    if (status == WM_OK)
        status = set(object, "completed_on", json_day(claim->completed_on));
    if (status == WM_OK)
        status = set(object, "decision", json_text(claim->decision));
    if (status == WM_OK)
        status = set(object, "asked", json_money(claim->asked_cents));
    if (status == WM_OK)
        status = set(object, "payable", json_money(claim->payable_cents));
    if (status == WM_OK && deadline != NULL)
        status = set(object, "decide_by", json_day(deadline->decide_by));
    if (status == WM_OK && deadline != NULL)
        status = set(object, "days_left", json_integer(deadline->decide_by - listing->options->today));
    if (status == WM_OK && deadline != NULL)
        status = set(object, "silence_approves", json_boolean(silence_approves(deadline)));
    for (uint32_t i = 0; status == WM_OK && i < claim->finding_count; i++)
        status = add_finding(findings, &claim->findings[i]);
    if (status == WM_OK)
        return set(object, "findings", findings);
    json_decref(findings);
    return status;
}

static int write_json(const struct listing *listing, struct buffer *out, const struct flagged_claim *claim,
                      const struct deadline_of_claim *deadline)
{
    json_t *object = json_object();
    int status = object == NULL ? WM_NO_MEMORY : fill_json(listing, object, claim, deadline);

    if (status == WM_OK &&
        json_dump_callback(object, add_dump, out, JSON_COMPACT | JSON_REAL_PRECISION(MONEY_DIGITS)) != 0)
        status = WM_NO_MEMORY;
    buffer_add_byte(out, '\n');
    json_decref(object);
    return status;
}

/* --- Text -------------------------------------------------------------------------------------------- */

static void write_deadline(const struct listing *listing, struct buffer *out,
                           const struct deadline_of_claim *deadline)
{
    int32_t left = deadline->decide_by - listing->options->today;

    buffer_add_string(out, "    decide by ");
    add_day(out, deadline->decide_by);
    if (left < 0)
        buffer_format(out, ", which was %d day%s ago", -left, left == -1 ? "" : "s");
    else
        buffer_format(out, ", %d day%s left", left, plural((uint64_t)left));
    buffer_add_string(out, silence_approves(deadline) ? "; silence approves the claim\n" : "\n");
}

static void write_text_findings(struct buffer *out, const struct flagged_claim *claim)
{
    for (uint32_t i = 0; i < claim->finding_count; i++) {
        const struct row_finding *finding = &claim->findings[i];
        buffer_say(out, "    %.*s: %.*s", TEXT_ARGUMENTS(finding->effect), TEXT_ARGUMENTS(finding->finding));
        if (finding->item.length > 0)
            buffer_say(out, ", %.*s", TEXT_ARGUMENTS(finding->item));
        buffer_add_string(out, "\n      ");
        buffer_say_wrapped(out, finding->message, INDENT, TEXT_WIDTH);
        buffer_add_byte(out, '\n');
    }
}

static void write_text(const struct listing *listing, struct buffer *out, const struct flagged_claim *claim,
                       const struct deadline_of_claim *deadline)
{
    buffer_say(out, "%.*s/%.*s", TEXT_ARGUMENTS(claim->dealer), TEXT_ARGUMENTS(claim->claim));
    if (claim->revision > 0)
        buffer_say(out, " revision %lld", (long long)claim->revision);
    buffer_say(out, "  %.*s", TEXT_ARGUMENTS(claim->decision));
    if (!text_equal(claim->decision, claim->engine_decision))
        buffer_add_string(out, " by the office");
    buffer_add_string(out, "  asked ");
    buffer_add_money(out, claim->asked_cents);
    buffer_add_string(out, "  payable ");
    buffer_add_money(out, claim->payable_cents);
    buffer_add_string(out, "\n    received ");
    add_day(out, claim->received_on);
    buffer_say(out, ", campaign %.*s, vehicle %.*s\n", TEXT_ARGUMENTS(claim->campaign),
               TEXT_ARGUMENTS(claim->vin));
    if (deadline != NULL)
        write_deadline(listing, out, deadline);
    write_text_findings(out, claim);
}

/* --- Listing ----------------------------------------------------------------------------------------- */

static int write_flagged(struct listing *listing, const struct flagged_claim *claim,
                       const struct deadline_of_claim *deadline)
{
    int status = WM_OK;

    buffer_clear(&listing->words);
    if (listing->options->format == FORMAT_CSV)
        write_csv(listing, &listing->words, claim, deadline);
    else if (listing->options->format == FORMAT_JSON)
        status = write_json(listing, &listing->words, claim, deadline);
    else
        write_text(listing, &listing->words, claim, deadline);
    return listing->words.failed ? WM_NO_MEMORY : status;
}

static int take_claim(void *context, const struct flagged_claim *claim)
{
    struct listing *listing = context;
    int status = write_flagged(listing, claim, NULL);

    output_add(&listing->out, listing->words.bytes, listing->words.length);
    listing->claims++;
    return status;
}

static int take_due_claim(void *context, const struct flagged_claim *claim)
{
    struct listing *listing = context;
    struct deadline_of_claim deadline;
    int status = read_deadline(listing, claim, &deadline);

    if (status != WM_OK || deadline.decide_by == DAY_NONE ||
        deadline.decide_by - (int64_t)listing->options->today > listing->options->due_within)
        return status;
    status = write_flagged(listing, claim, &deadline);
    struct due_claim *due = status == WM_OK ? chunks_add(&listing->due) : NULL;
    if (due == NULL)
        return status == WM_OK ? WM_NO_MEMORY : status;
    *due = (struct due_claim){deadline.decide_by, listing->due.count - 1,
                              text_copy(&listing->desk.arena, buffer_text(&listing->words))};
    return due->words.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int by_deadline(const void *a, const void *b)
{
    const struct due_claim *x = *(const struct due_claim *const *)a, *y = *(const struct due_claim *const *)b;

    if (x->decide_by != y->decide_by)
        return x->decide_by < y->decide_by ? -1 : 1;
    return x->place < y->place ? -1 : 1;
}

/* What is most urgent first, unless another order was asked for. */
static int print_due(struct listing *listing)
{
    uint32_t count = listing->due.count;
    const struct due_claim **sorted = malloc(((size_t)count + 1) * sizeof *sorted);

    if (sorted == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < count; i++)
        sorted[i] = chunks_at(&listing->due, i);
    if (listing->options->given[OPTION_SORT] == NULL && count > 0)
        qsort(sorted, count, sizeof *sorted, by_deadline);
    for (uint32_t i = 0; i < count && (listing->options->limit < 0 || i < listing->options->limit); i++) {
        output_add(&listing->out, sorted[i]->words.bytes, sorted[i]->words.length);
        listing->claims++;
    }
    free(sorted);
    return WM_OK;
}

static bool read_filter(const struct options *options, struct flag_filter *filter, struct diag_sink *sink)
{
    const char *const *given = options->given;
    const char *sort = given[OPTION_SORT];
    enum decision decision;
    struct place place = {{NULL, 0}, 0, 0};

    *filter = (struct flag_filter){.dealer = text_of(given[OPTION_DEALER]),
                                   .campaign = text_of(given[OPTION_CAMPAIGN]),
                                   .finding = text_of(given[OPTION_FINDING]),
                                   .effect = text_of(given[OPTION_EFFECT]),
                                   .decision = text_of(given[OPTION_DECISION]),
                                   .since = options->since,
                                   .until = options->until,
                                   .limit = options->limit};
    if (sort == NULL || strcmp(sort, "date") == 0)
        filter->order = FLAGS_BY_DATE;
    else if (strcmp(sort, "payable") == 0)
        filter->order = FLAGS_BY_PAYABLE;
    else if (strcmp(sort, "dealer") == 0)
        filter->order = FLAGS_BY_DEALER;
    else
        diag_error(sink, place, "--sort \"%s\" is none; write payable, date or dealer", sort);
    if (filter->effect.length > 0 && effect_from(filter->effect) == EFFECTS)
        diag_error(sink, place, "--effect \"%s\" is none; write refuse, return, hold, cut or note",
                   given[OPTION_EFFECT]);
    if (filter->decision.length > 0 && !decision_from(filter->decision, &decision))
        diag_error(sink, place, "--decision \"%s\" is none; write pay, hold, return or refuse",
                   given[OPTION_DECISION]);
    if (options->due_within >= 0 && filter->decision.length > 0 && !text_is(filter->decision, "hold"))
        diag_error(sink, place, "--due-within lists held claims; leave --decision out");
    return sink->errors == 0;
}

static void write_header(struct listing *listing)
{
    static const char HEADER[] =
        "dealer,claim,revision,campaign,vin,received_on,completed_on,decision,asked,payable,findings";
    static const char DUE[] = ",decide_by,days_left,silence_approves";

    if (listing->options->format != FORMAT_CSV)
        return;
    output_add(&listing->out, HEADER, sizeof HEADER - 1);
    if (listing->options->due_within >= 0)
        output_add(&listing->out, DUE, sizeof DUE - 1);
    output_add(&listing->out, "\n", 1);
}

static int open_deadlines(struct listing *listing)
{
    int status = fact_worker_open(&listing->worker, &listing->desk.day);

    listing->worker_open = status == WM_OK;
    if (status == WM_OK)
        status = table_scratch_new(&listing->scratch);
    if (status == WM_OK)
        status = ledger_reader_open(listing->desk.office, (struct ledger_point){INT64_MAX, INT64_MAX},
                                    &listing->reader);
    return status;
}

static int list(struct listing *listing, struct flag_filter *filter)
{
    const struct options *options = listing->options;
    bool due = options->due_within >= 0;
    int status = due ? desk_open_rules(&listing->desk, options) : WM_OK;

    if (status == WM_OK)
        status = desk_open_office(&listing->desk, options);
    if (status == WM_OK && due)
        status = open_deadlines(listing);
    if (status == WM_OK) {
        status = output_open(&listing->out, options->out, &listing->desk.sink);
        listing->out_open = status == WM_OK;
    }
    if (status != WM_OK)
        return status;
    write_header(listing);
    if (due) {
        filter->decision = TEXT("hold");
        filter->limit = -1;
        status = ledger_flags(listing->desk.office, filter, take_due_claim, listing);
        return status == WM_OK ? print_due(listing) : status;
    }
    return ledger_flags(listing->desk.office, filter, take_claim, listing);
}

static int run_flags(const struct options *options)
{
    struct listing listing = {.options = options, .due = CHUNKS_OF(struct due_claim)};
    struct flag_filter filter;
    struct text vin = text_upper(&listing.desk.arena, text_of(options->given[OPTION_VIN]));

    listing.desk.sink = cli_diagnostics();
    listing.desk.alone = true;
    if (!read_filter(options, &filter, &listing.desk.sink)) {
        desk_close(&listing.desk);
        return EXIT_UNUSABLE;
    }
    filter.vin = vin;
    int status = list(&listing, &filter);
    int code = cli_exit(desk_end_reading(&listing.desk, status));
    if (listing.out_open)
        code = cli_finish(&listing.out, &listing.desk.sink, code);
    if (listing.worker_open)
        fact_worker_close(&listing.worker);
    table_scratch_free(listing.scratch);
    ledger_reader_close(listing.reader);
    arena_free(&listing.claim_arena);
    chunks_free(&listing.due);
    buffer_free(&listing.words);
    desk_close(&listing.desk);
    return code;
}

const struct command COMMAND_FLAGS = {
    .name = "flags",
    .arguments = "",
    .summary = "lists recorded claims that something was found on, as they are decided now",
    .details =
        "--due-within lists held claims whose time to decide ends, by rules/deadlines.csv and the dealer's "
        "region,\n"
        "and says where silence approves. The shipped deadlines are examples; local law and counsel decide.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_QUIET) |
               OPTION_BIT(OPTION_CAMPAIGN) | OPTION_BIT(OPTION_DEALER) | OPTION_BIT(OPTION_FINDING) |
               OPTION_BIT(OPTION_EFFECT) | OPTION_BIT(OPTION_DECISION) | OPTION_BIT(OPTION_VIN) |
               OPTION_BIT(OPTION_SINCE) | OPTION_BIT(OPTION_UNTIL) | OPTION_BIT(OPTION_SORT) |
               OPTION_BIT(OPTION_LIMIT) | OPTION_BIT(OPTION_DUE_WITHIN),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_flags,
};
