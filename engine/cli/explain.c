#include <stdio.h>

#include "base/add_dump.h"
#include "base/shown.h"
#include "base/status.h"
#include "cli/explain_text.h"
#include "cli/desk.h"
#include "ledger/claim_name.h"
#include "ledger/past.h"
#include "verdict/explanation.h"

/* Why one claim, or every claim on a vehicle, was decided as it was, revision by revision. */
struct explaining {
    const struct options *options;
    struct diag_sink sink;
    struct arena arena;
    struct office *office;
    bool reading;
    struct ledger_reader *reader;
    struct buffer words;
    uint32_t claims;
};

static json_t *json_of(struct text t)
{
    return json_stringn(t.bytes != NULL ? t.bytes : "", t.length);
}

static json_t *json_day(int32_t day)
{
    char room[DATE_ROOM];
    return day == DAY_NONE ? json_null() : json_stringn(room, date_write(day, room));
}

static json_t *json_amount(int64_t cents)
{
    char room[DECIMAL_ROOM];
    return json_stringn(room, money_write(cents, room));
}

/* --- What people decided ------------------------------------------------------------------------------- */

/* Takes the value, also where it fails: then there is no memory. */
static void set(json_t *object, const char *name, json_t *value, bool *failed)
{
    if (json_object_set_new(object, name, value) != 0)
        *failed = true;
}

static json_t *explain_decisions(const struct claim_row *row, bool *failed)
{
    json_t *list = json_array();

    for (uint32_t i = 0; i < row->decision_count; i++) {
        const struct office_decision *decision = &row->decisions[i];
        json_t *one = json_object();
        set(one, "action", json_of(decision->action), failed);
        set(one, "by", json_of(decision->decided_by), failed);
        set(one, "on", json_day(decision->decided_on), failed);
        set(one, "reason", json_of(decision->reason), failed);
        set(one, "payable", json_amount(decision->payable_cents), failed);
        set(one, "due", json_amount(decision->due_cents), failed);
        if (json_array_append_new(list, one) != 0)
            *failed = true;
    }
    return list;
}

/* What is recorded of the row, beside what it is decided to be again. */
static bool add_recorded(json_t *explanation, const struct ledger_claim *claim, const struct claim_row *row)
{
    bool failed = false;

    set(explanation, "dealer_code", json_of(claim->dealer), &failed);
    set(explanation, "claim_number", json_of(claim->claim), &failed);
    set(explanation, "revision", json_integer(row->revision), &failed);
    set(explanation, "batch", json_integer(row->batch), &failed);
    set(explanation, "line", json_integer(row->line), &failed);
    set(explanation, "received_on", json_day(row->received_on), &failed);
    set(explanation, "decided_on", json_day(row->today), &failed);
    set(explanation, "recorded_decision", json_string(decision_name(row->engine_decision)), &failed);
    set(explanation, "recorded_payable", json_amount(row->payable_cents), &failed);
    set(explanation, "office_decisions", explain_decisions(row, &failed), &failed);
    set(explanation, "decision_now", json_string(decision_name(row->decision)), &failed);
    return !failed;
}

static json_t *explain_row(struct explaining *explaining, const struct ledger_claim *claim,
                           const struct claim_row *row, int *status)
{
    struct past *past = NULL;
    json_t *explanation = NULL;

    *status = past_open(explaining->office, row, &explaining->sink, &past);
    if (*status != WM_OK)
        return NULL;
    explanation = explain_dossier(past_day(past), past_scratch(past), past_dossier(past));
    past_close(past);
    if (explanation != NULL && add_recorded(explanation, claim, row))
        return explanation;
    json_decref(explanation);
    *status = WM_NO_MEMORY;
    return NULL;
}

/* --- Printing -------------------------------------------------------------------------------------------- */

static const char *string_of(const json_t *object, const char *name)
{
    return json_string_value(json_object_get(object, name));
}

static void write_text(struct buffer *out, const json_t *explanation)
{
    const json_t *decisions = json_object_get(explanation, "office_decisions");
    json_t *decision;
    size_t at;

    buffer_say(out, "Claim %s/%s revision %lld, batch %lld line %lld, received on %s\n",
                  string_of(explanation, "dealer_code"), string_of(explanation, "claim_number"),
                  (long long)json_integer_value(json_object_get(explanation, "revision")),
                  (long long)json_integer_value(json_object_get(explanation, "batch")),
                  (long long)json_integer_value(json_object_get(explanation, "line")),
                  string_of(explanation, "received_on"));
    explain_as_text(out, explanation);
    json_array_foreach(decisions, at, decision)
        buffer_say(out, "The office on %s, %s: %s, payable %s, due %s. Reason: %s\n", string_of(decision, "on"),
                      string_of(decision, "by"), string_of(decision, "action"), string_of(decision, "payable"),
                      string_of(decision, "due"), string_of(decision, "reason"));
    buffer_say(out, "The decision that stands: %s\n\n", string_of(explanation, "decision_now"));
}

static int write_explanation(struct explaining *explaining, const json_t *explanation)
{
    struct buffer *out = &explaining->words;

    if (explaining->options->format == FORMAT_JSON) {
        if (json_dump_callback(explanation, add_dump, out, JSON_COMPACT) != 0)
            return WM_NO_MEMORY;
        buffer_add_byte(out, '\n');
    } else {
        write_text(out, explanation);
    }
    return out->failed ? WM_NO_MEMORY : WM_OK;
}

/* --- Claims ------------------------------------------------------------------------------------------------
 */

static int explain_claim(struct explaining *explaining, struct text dealer, struct text number)
{
    struct ledger_claim claim;
    int status = ledger_claim_read(explaining->reader, &explaining->arena, dealer, number, &claim);

    for (uint32_t i = 0; status == WM_OK && i < claim.row_count; i++) {
        json_t *explanation = explain_row(explaining, &claim, &claim.rows[i], &status);
        if (status == WM_OK)
            status = write_explanation(explaining, explanation);
        json_decref(explanation);
    }
    if (status == WM_OK)
        explaining->claims++;
    return status;
}

static int explain_named(struct explaining *explaining, const char *word)
{
    struct claim_named named;

    if (!claim_name_is_whole(text_of(word))) {
        diag_error(&explaining->sink, (struct place){{NULL, 0}, 0, 0},
                   "\"%s\" is no claim; write it as DEALER/CLAIM", word);
        return WM_BAD_INPUT;
    }
    int status =
        ledger_claim_named(explaining->reader, text_of(word),
                           text_of(explaining->options->given[OPTION_DEALER]), &explaining->sink, &named);
    if (status == WM_OK && named.recorded)
        status = explain_claim(explaining, named.dealer, named.claim);
    if (status != WM_OK || named.recorded)
        return status;
    diag_error(&explaining->sink, (struct place){{NULL, 0}, 0, 0},
               "no claim %s is recorded; a claim is explained once it has been posted", word);
    return WM_BAD_INPUT;
}

static int explain_vehicle(struct explaining *explaining, const char *word)
{
    struct claim_name *names;
    uint32_t count;
    struct text vin = text_upper(&explaining->arena, text_trim(text_of(word)));
    int status = vin.bytes == NULL
                     ? WM_NO_MEMORY
                     : ledger_names_on_vin(explaining->reader, &explaining->arena, vin, &names, &count);

    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = explain_claim(explaining, names[i].dealer, names[i].claim);
    if (status != WM_OK || explaining->claims > 0)
        return status;
    diag_error(&explaining->sink, (struct place){{NULL, 0}, 0, 0}, "no claim on vehicle %.*s is recorded",
               TEXT_ARGUMENTS(vin));
    return WM_BAD_INPUT;
}

static int explain_all(struct explaining *explaining)
{
    const struct options *options = explaining->options;
    struct ledger_point now;
    int status = office_open(options->office, OFFICE_READ_ALONE, &explaining->sink, &explaining->office);

    if (status == WM_OK)
        status = office_begin_read(explaining->office);
    explaining->reading = status == WM_OK;
    if (status == WM_OK)
        status = ledger_last(explaining->office, &now);
    if (status == WM_OK)
        status = ledger_reader_open(explaining->office, now, &explaining->reader);
    if (status != WM_OK)
        return status;
    return options->given[OPTION_VIN] != NULL ? explain_vehicle(explaining, options->given[OPTION_VIN])
                                              : explain_named(explaining, options->arguments[0]);
}

static int print_words(struct explaining *explaining)
{
    struct output out;

    if (output_open(&out, explaining->options->out, &explaining->sink) != WM_OK)
        return EXIT_UNUSABLE;
    output_add(&out, explaining->words.bytes, explaining->words.length);
    return cli_finish(&out, &explaining->sink, EXIT_DONE);
}

static int run_explain(const struct options *options)
{
    struct explaining explaining = {.options = options, .sink = cli_diagnostics()};

    if ((options->given[OPTION_VIN] == NULL) == (options->argument_count == 0)) {
        diag_error(&explaining.sink, (struct place){{NULL, 0}, 0, 0},
                   "name either DEALER/CLAIM or --vin VIN; see `witnessmark explain --help`");
        return EXIT_UNUSABLE;
    }
    int status = explain_all(&explaining);
    if (explaining.reading) {
        int ended = office_end_read(explaining.office);
        status = status != WM_OK ? status : ended;
    }
    int code = status == WM_OK ? print_words(&explaining) : cli_exit(status);
    ledger_reader_close(explaining.reader);
    office_close(explaining.office);
    buffer_free(&explaining.words);
    arena_free(&explaining.arena);
    return code;
}

const struct command COMMAND_EXPLAIN = {
    .name = "explain",
    .arguments = "DEALER/CLAIM | --vin VIN",
    .summary = "why a claim was decided so: each fact, table and row, and the arithmetic",
    .details =
        "Every revision is decided again under the rules and with the data of its time. Where a code holds a\n"
        "slash, so that DEALER/CLAIM has two meanings, --dealer says which.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT) |
               OPTION_BIT(OPTION_VIN) | OPTION_BIT(OPTION_DEALER),
    .formats = FORMAT_BIT(FORMAT_TEXT) | FORMAT_BIT(FORMAT_JSON),
    .least_arguments = 0,
    .most_arguments = 1,
    .run = run_explain,
};
