#include "ledger/office_decisions.h"

#include "base/status.h"
#include "ledger/chain.h"
#include "ledger/columns.h"
#include "ledger/packed.h"
#include "ledger/paid.h"

void office_decision_digest(const struct office_decision *decision, uint8_t ret_digest[DIGEST_BYTES])
{
    struct canonical canonical;

    canonical_begin(&canonical, "office decision");
    canonical_integer(&canonical, decision->number);
    canonical_integer(&canonical, decision->row);
    canonical_text(&canonical, decision->action);
    canonical_text(&canonical, decision->decided_by);
    canonical_text(&canonical, decision->reason);
    canonical_day(&canonical, decision->decided_on);
    canonical_text(&canonical, decision->recorded_at);
    canonical_integer(&canonical, decision->payable_cents);
    canonical_integer(&canonical, decision->due_cents);
    canonical_end(&canonical, ret_digest);
}

/* --- What may be decided ----------------------------------------------------------------------------- */

static int say(const struct decision_request *request, struct diag_sink *sink, const char *what)
{
    diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "claim %.*s/%.*s %s", TEXT_ARGUMENTS(request->dealer),
               TEXT_ARGUMENTS(request->claim), what);
    return WM_BAD_INPUT;
}

static int check_held(const struct ledger_claim *claim, const struct decision_request *request,
                      struct diag_sink *sink)
{
    char words[160];

    if (claim->standing != NULL && claim->standing->decision == DECISION_HOLD)
        return WM_OK;
    const struct claim_row *row = claim->standing != NULL ? claim->standing : claim->last;
    snprintf(words, sizeof words, "is not held but %s%s; only a held claim can be decided%s",
             decision_name(row->decision), row->decision != row->engine_decision ? " by the office" : "",
             row->decision == DECISION_PAY ? ", a payment is taken back with `reverse`" : "");
    return say(request, sink, words);
}

/* The highest revision under the row that is pay or hold: it stands when the row falls. */
static const struct claim_row *below(const struct ledger_claim *claim, const struct claim_row *row)
{
    for (const struct claim_row *before = row; before-- > claim->rows;)
        if (before->counts && (before->decision == DECISION_PAY || before->decision == DECISION_HOLD))
            return before;
    return NULL;
}

/* --- Recording --------------------------------------------------------------------------------------- */

static int next_number(struct office *office, int64_t *ret_number)
{
    struct ledger_point last;
    int status = ledger_last(office, &last);

    if (status == WM_OK)
        *ret_number = last.last_decision + 1;
    return status;
}

static int insert(struct office *office, const struct office_decision *decision)
{
    sqlite3_stmt *statement = NULL;
    int status =
        office_prepare(office,
                       "INSERT INTO office_decisions (number, row, action, decided_by, reason, decided_on, "
                       "recorded_at, payable_cents, due_cents) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                       &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, decision->number);
    sqlite3_bind_int64(statement, 2, decision->row);
    bind_text(statement, 3, decision->action);
    bind_text(statement, 4, decision->decided_by);
    bind_text(statement, 5, decision->reason);
    bind_day(statement, 6, decision->decided_on);
    bind_text(statement, 7, decision->recorded_at);
    sqlite3_bind_int64(statement, 8, decision->payable_cents);
    sqlite3_bind_int64(statement, 9, decision->due_cents);
    status = office_execute(office, statement);
    sqlite3_finalize(statement);
    return status;
}

static int take_tally(void *context, const struct packed_entry *entry)
{
    return packed_list_add(context, entry);
}

static int tally(struct ledger_reader *reader, struct arena *arena, const struct claim_row *row, int sign,
                 struct packed_list *tallies)
{
    struct text content;
    struct claim claim;
    int status = ledger_content(reader, arena, row->row, &content);

    if (status == WM_OK)
        status = ledger_content_claim(content, row->line, arena, &claim);
    return status == WM_OK ? packed_tallies_of(&claim, sign, take_tally, tallies) : status;
}

/* A row that falls gives its place to the one below it. */
static int fall(struct ledger_reader *reader, struct arena *arena, const struct ledger_claim *claim)
{
    struct packed_list tallies;
    const struct claim_row *next = below(claim, claim->standing);

    packed_list_open(&tallies, PACKED_TALLIES);
    int status = tally(reader, arena, claim->standing, -1, &tallies);
    if (status == WM_OK && next != NULL)
        status = tally(reader, arena, next, 1, &tallies);
    if (status == WM_OK)
        status = packed_list_settle(&tallies, 1);
    if (status == WM_OK)
        status = packed_write(ledger_reader_office(reader), &tallies);
    packed_list_free(&tallies);
    return status;
}

int office_decision_append(struct office *office, struct office_decision *decision)
{
    uint8_t digest[DIGEST_BYTES];
    int status = next_number(office, &decision->number);

    if (status == WM_OK)
        status = insert(office, decision);
    if (status != WM_OK)
        return status;
    office_decision_digest(decision, digest);
    return chain_append(office, CHAIN_DECISION, decision->number, digest);
}

static int record(struct ledger_reader *reader, struct arena *arena, const struct ledger_claim *claim,
                  struct office_decision *decision)
{
    int status = office_decision_append(ledger_reader_office(reader), decision);

    if (status == WM_OK && (text_is(decision->action, "return") || text_is(decision->action, "refuse")))
        status = fall(reader, arena, claim);
    return status;
}

/* --- Deciding ---------------------------------------------------------------------------------------- */

/* covered_by: the sample whose extrapolated chargeback takes back for the paid row; empty: none. */
static int settle(const struct ledger_claim *claim, struct text covered_by, const struct decision_request *request,
                  struct diag_sink *sink, struct decision_result *result)
{
    char words[256];
    bool reverses = text_is(request->action, "reverse"), pays = text_is(request->action, "pay");

    if (reverses && claim->paid_cents == 0)
        return say(request, sink, "has nothing paid on it; there is nothing to take back");
    if (reverses && covered_by.length > 0) {
        snprintf(words, sizeof words,
                 "is in the frame of sample %.*s, whose extrapolated chargeback takes money back for it already",
                 TEXT_ARGUMENTS(covered_by));
        return say(request, sink, words);
    }
    if (!reverses && check_held(claim, request, sink) != WM_OK)
        return WM_BAD_INPUT;
    const struct claim_row *row = reverses ? claim->paid : claim->standing;
    int64_t payable = reverses || pays ? row->payable_now_cents : 0;
    int64_t due = reverses ? -claim->paid_cents : pays ? payable - claim->paid_cents : 0;
    result->decision = (struct office_decision){.row = row->row,
                                                .action = request->action,
                                                .decided_by = request->decided_by,
                                                .reason = request->reason,
                                                .recorded_at = request->recorded_at,
                                                .decided_on = request->decided_on,
                                                .payable_cents = payable,
                                                .due_cents = due};
    result->revision = row->revision;
    result->paid_cents = claim->paid_cents + due;
    return WM_OK;
}

static int decide_claim(struct office *office, const struct decision_request *request, struct diag_sink *sink,
                        struct decision_result *result)
{
    struct arena arena = ARENA_EMPTY;
    struct ledger_reader *reader = NULL;
    struct ledger_claim claim;
    struct text covered_by = TEXT("");
    int status = ledger_reader_open(office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader);

    if (status == WM_OK)
        status = ledger_claim_read(reader, &arena, request->dealer, request->claim, &claim);
    if (status == WM_NOT_FOUND)
        status = say(request, sink, "is not recorded; write DEALER/CLAIM as in the claim file");
    /* the claim is covered, whichever of its revisions was in the frame */
    for (uint32_t i = 0; status == WM_OK && covered_by.length == 0 && i < claim.row_count; i++)
        status = ledger_covered(office, &arena, claim.rows[i].row, &covered_by);
    if (status == WM_OK)
        status = settle(&claim, covered_by, request, sink, result);
    if (status == WM_OK)
        status = record(reader, &arena, &claim, &result->decision);
    ledger_reader_close(reader);
    arena_free(&arena);
    return status;
}

int office_decide(struct office *office, const struct decision_request *request, struct diag_sink *sink,
                  struct decision_result *ret_result)
{
    struct decision_result result = {0};
    int status = sodium_init() >= 0 ? office_begin_write(office) : WM_NO_MEMORY;

    if (status != WM_OK)
        return status;
    status = decide_claim(office, request, sink, &result);
    if (status == WM_OK)
        status = office_commit(office);
    else
        office_rollback(office);
    if (status == WM_OK)
        *ret_result = result;
    return status;
}
