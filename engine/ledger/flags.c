#include "ledger/flags.h"

#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/row_feed.h"

/* Parameters of all statements below; null or empty is any. */
enum parameter { DEALER = 1, CAMPAIGN, VIN, FINDING, EFFECT, DECISION, SINCE, UNTIL, LIMIT };

#define FITTING_FINDING "(?4 = '' OR f.finding = ?4) AND (?5 = '' OR f.effect = ?5)"

/* Where the rows come from: whatever narrows them most. */
static const char ROWS_FOUND[] = "fed";
static const char ROWS_WITH_FINDING[] = "(SELECT DISTINCT f.row AS row FROM findings AS f WHERE " FITTING_FINDING
                                        " AND f.row >= (SELECT coalesce(min(first_row), 0) FROM batches "
                                        "WHERE ?7 IS NULL OR received_on >= ?7))";

#define SELECT_CLAIM                                                                                                \
    "SELECT r.row, r.batch, r.line, r.revision, r.dealer, r.claim, r.campaign, r.vin, r.outcome, r.completed_on, "  \
    "b.received_on, coalesce(d.action, r.decision) AS decision, r.decision, r.asked_cents, "                        \
    "coalesce(d.payable_cents, r.payable_cents) AS payable FROM "
#define JOINS                                                                                                       \
    " AS base CROSS JOIN claim_rows AS r ON r.row = base.row CROSS JOIN batches AS b ON b.batch = r.batch "         \
    "LEFT JOIN office_decisions AS d ON d.number = "                                                                \
    "(SELECT max(number) FROM office_decisions WHERE row = r.row AND action <> 'reverse') "                         \
    "WHERE r.replaces IS NOT 0 AND NOT EXISTS (SELECT 1 FROM replaced_rows WHERE row = r.row) "                     \
    "AND (?1 = '' OR r.dealer = ?1) AND (?2 = '' OR r.campaign = ?2) AND (?3 = '' OR r.vin = ?3) "                  \
    "AND (?6 = '' OR coalesce(d.action, r.decision) = ?6) "                                                         \
    "AND (?7 IS NULL OR b.received_on >= ?7) AND (?8 IS NULL OR b.received_on <= ?8) "                              \
    "AND EXISTS (SELECT 1 FROM findings AS f WHERE f.row = r.row AND " FITTING_FINDING ") ORDER BY "

static const char *const ORDERS[] = {
    [FLAGS_BY_DATE] = "b.received_on, r.row",
    [FLAGS_BY_PAYABLE] = "payable DESC, r.row",
    [FLAGS_BY_DEALER] = "r.dealer, r.claim, r.row",
};

static void bind_filter(sqlite3_stmt *statement, const struct flag_filter *filter)
{
    bind_text(statement, DEALER, filter->dealer);
    bind_text(statement, CAMPAIGN, filter->campaign);
    bind_text(statement, VIN, filter->vin);
    bind_text(statement, FINDING, filter->finding);
    bind_text(statement, EFFECT, filter->effect);
    bind_text(statement, DECISION, filter->decision);
    bind_day(statement, SINCE, filter->since);
    bind_day(statement, UNTIL, filter->until);
    sqlite3_bind_int64(statement, LIMIT, filter->limit);
}

/* Rows of one dealer or on one vehicle are found by their hash. */
static bool is_narrow(const struct flag_filter *filter)
{
    return filter->vin.length > 0 || filter->dealer.length > 0;
}

static int prepare_claims(struct office *office, const struct flag_filter *filter, sqlite3_stmt **ret_statement)
{
    struct buffer sql = BUFFER_EMPTY;

    buffer_add_string(&sql, SELECT_CLAIM);
    buffer_add_string(&sql, is_narrow(filter) ? ROWS_FOUND : ROWS_WITH_FINDING);
    buffer_add_string(&sql, JOINS);
    buffer_add_string(&sql, ORDERS[filter->order]);
    buffer_add_string(&sql, " LIMIT ?9");
    buffer_add_byte(&sql, '\0');
    int status = sql.failed ? office_report(office, SQLITE_NOMEM) : office_prepare(office, sql.bytes, ret_statement);
    buffer_free(&sql);
    return status;
}

/* --- One claim --- */

struct flagging {
    struct office *office;
    sqlite3_stmt *claims, *findings;
    struct arena arena; /* for one claim */
};

static int read_findings(struct flagging *flagging, struct flagged_claim *claim)
{
    sqlite3_stmt *statement = flagging->findings;
    struct row_finding *list = NULL;
    uint32_t count = 0, capacity = 0;
    bool more = false;

    sqlite3_bind_int64(statement, 10, claim->row);
    int status = office_step(flagging->office, statement, &more);
    while (status == WM_OK && more) {
        if (count == capacity) {
            capacity = capacity ? capacity * 2 : 8;
            list = arena_grown(&flagging->arena, list, count, capacity, sizeof *list);
            if (list == NULL)
                break;
        }
        list[count] = (struct row_finding){
            column_copy(statement, 0, &flagging->arena), column_copy(statement, 1, &flagging->arena),
            column_copy(statement, 2, &flagging->arena), column_copy(statement, 3, &flagging->arena),
            column_copy(statement, 4, &flagging->arena)};
        if (list[count].effect.bytes == NULL || list[count].finding.bytes == NULL || list[count].item.bytes == NULL ||
            list[count].message.bytes == NULL || list[count].rule.bytes == NULL)
            list = NULL;
        count++;
        if (list == NULL)
            break;
        status = office_step(flagging->office, statement, &more);
    }
    sqlite3_reset(statement);
    if (status == WM_OK && count > 0 && list == NULL)
        return office_report(flagging->office, SQLITE_NOMEM);
    claim->findings = list;
    claim->finding_count = count;
    return status;
}

static struct flagged_claim claim_at(sqlite3_stmt *statement)
{
    return (struct flagged_claim){.row = sqlite3_column_int64(statement, 0),
                                  .batch = sqlite3_column_int64(statement, 1),
                                  .line = sqlite3_column_int64(statement, 2),
                                  .revision = sqlite3_column_int64(statement, 3),
                                  .dealer = column_text(statement, 4),
                                  .claim = column_text(statement, 5),
                                  .campaign = column_text(statement, 6),
                                  .vin = column_text(statement, 7),
                                  .outcome = column_text(statement, 8),
                                  .completed_on = column_day(statement, 9),
                                  .received_on = column_day(statement, 10),
                                  .decision = column_text(statement, 11),
                                  .engine_decision = column_text(statement, 12),
                                  .asked_cents = sqlite3_column_int64(statement, 13),
                                  .payable_cents = sqlite3_column_int64(statement, 14)};
}

static int list(struct flagging *flagging, const struct flag_filter *filter, flag_take *take, void *taker)
{
    bool more = false;
    int status = prepare_claims(flagging->office, filter, &flagging->claims);

    if (status == WM_OK)
        status = office_prepare(flagging->office,
                                "SELECT f.effect, f.finding, f.item, f.message, f.rule FROM findings AS f "
                                "WHERE f.row = ?10 AND " FITTING_FINDING " ORDER BY f.number",
                                &flagging->findings);
    if (status == WM_OK) {
        bind_filter(flagging->claims, filter);
        bind_text(flagging->findings, FINDING, filter->finding);
        bind_text(flagging->findings, EFFECT, filter->effect);
        status = office_step(flagging->office, flagging->claims, &more);
    }
    while (status == WM_OK && more) {
        struct flagged_claim claim = claim_at(flagging->claims);
        arena_reset(&flagging->arena);
        status = read_findings(flagging, &claim);
        if (status == WM_OK)
            status = take(taker, &claim);
        if (status == WM_OK)
            status = office_step(flagging->office, flagging->claims, &more);
    }
    sqlite3_finalize(flagging->claims);
    sqlite3_finalize(flagging->findings);
    return status;
}

static void found_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    (void)column;
    sqlite3_result_int64(ret_cell, ((const int64_t *)context)[row]);
}

static int list_found(struct flagging *flagging, const struct flag_filter *filter, flag_take *take, void *taker)
{
    struct ledger_reader *reader = NULL;
    struct arena arena = ARENA_EMPTY;
    int64_t *rows = NULL;
    uint32_t count = 0;
    struct text dealer = filter->vin.length > 0 ? TEXT("") : filter->dealer;
    int status = ledger_reader_open(flagging->office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader);

    if (status == WM_OK)
        status = ledger_rows_of(reader, &arena, dealer, filter->vin, &rows, &count);
    if (status == WM_OK) {
        const struct row_feed feed = {"row", count, found_cell, rows, NULL};
        status = row_feed_begin(flagging->office, &feed);
        if (status == WM_OK) {
            status = list(flagging, filter, take, taker);
            row_feed_end(flagging->office, &feed);
        }
    }
    ledger_reader_close(reader);
    arena_free(&arena);
    return status;
}

int ledger_flags(struct office *office, const struct flag_filter *filter, flag_take *take, void *taker)
{
    struct flagging flagging = {.office = office};
    int status = is_narrow(filter) ? list_found(&flagging, filter, take, taker) : list(&flagging, filter, take, taker);

    arena_free(&flagging.arena);
    return status;
}
