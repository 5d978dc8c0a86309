#include "ledger/flags.h"

#include <stdlib.h>

#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/office_decisions.h"
#include "ledger/packed.h"
#include "ledger/row_feed.h"

/* Parameters of all statements below; null or empty is any. */
enum parameter { DEALER = 1, CAMPAIGN, VIN, FINDING, EFFECT, DECISION, SINCE, UNTIL, LIMIT };

#define FITTING_FINDING "(?4 = '' OR f.finding = ?4) AND (?5 = '' OR f.effect = ?5)"
#define FITTING_BATCH "(?7 IS NULL OR b.received_on >= ?7) AND (?8 IS NULL OR b.received_on <= ?8)"

/* Of rows r those that fit, with what is decided on them by now. */
#define FITTING_ROWS                                                                               \
    " CROSS JOIN batches AS b ON b.batch = r.batch "                                               \
    "LEFT JOIN office_decisions AS d ON d.number = " LAST_DECISION " "                             \
    "WHERE r.replaces IS NOT 0 AND NOT EXISTS (SELECT 1 FROM replaced_rows WHERE row = r.row) "    \
    "AND (?1 = '' OR r.dealer = ?1) AND (?2 = '' OR r.campaign = ?2) AND (?3 = '' OR r.vin = ?3) " \
    "AND (?6 = '' OR coalesce(d.action, r.decision) = ?6) AND " FITTING_BATCH

/* 1. Candidates, where no dealer or vehicle narrows them. */
static const char WITH_FINDING[] =
    "SELECT DISTINCT f.row FROM findings AS f WHERE " FITTING_FINDING
    " AND f.row >= (SELECT coalesce(min(first_row), 0) FROM batches WHERE ?7 IS NULL OR received_on >= ?7)";

/* 2. Their order. By date it is that of the batches, and nothing is sorted. */
static const char BATCHES[] = "SELECT b.first_row, b.row_count FROM batches AS b WHERE " FITTING_BATCH
                              " ORDER BY b.received_on, b.first_row";
#define FED_ROWS "SELECT r.row FROM fed CROSS JOIN claim_rows AS r ON r.row = fed.row" FITTING_ROWS
static const char BY_PAYABLE[] =
    FED_ROWS " AND EXISTS (SELECT 1 FROM findings AS f WHERE f.row = r.row AND " FITTING_FINDING ")"
             " ORDER BY coalesce(d.payable_cents, r.payable_cents) DESC, r.row LIMIT ?9";
static const char BY_DEALER[] =
    FED_ROWS " AND EXISTS (SELECT 1 FROM findings AS f WHERE f.row = r.row AND " FITTING_FINDING ")"
             " ORDER BY r.dealer, r.claim, r.row LIMIT ?9";

/* 3. What they say, some candidates at a time: the findings of all of them, then those claims that have some.
 */
static const char FINDINGS[] = "SELECT f.row, f.effect, f.finding, f.item, f.message, f.rule "
                               "FROM fed CROSS JOIN findings AS f ON f.row = fed.row WHERE " FITTING_FINDING;
static const char CLAIMS[] = "SELECT r.row, r.batch, r.line, r.revision, r.dealer, r.claim, r.campaign, r.vin, "
                             "r.outcome, r.completed_on, "
                             "b.received_on, coalesce(d.action, r.decision), r.decision, r.asked_cents, "
                             "coalesce(d.payable_cents, r.payable_cents), fed.rowid "
                             "FROM fed CROSS JOIN claim_rows AS r ON r.row = fed.row" FITTING_ROWS;

enum { CANDIDATES_AT_ONCE = 1024 };

struct rows {
    int64_t *list; /* malloc'd */
    uint64_t count, capacity;
};

struct flagging {
    struct office *office;
    const struct flag_filter *filter;
    struct rows candidates, rows; /* those to look at, in no order, and in their order */
    sqlite3_stmt *claims, *findings;
    /* of the candidates at hand: those with findings, and the findings one claim after the other */
    int64_t flagged[CANDIDATES_AT_ONCE];
    uint32_t first_finding[CANDIDATES_AT_ONCE + 1], flagged_count;
    struct row_finding *list; /* malloc'd, the texts in the arena */
    uint32_t list_count, list_capacity;
    struct arena arena;
};

static int no_memory(const struct flagging *flagging)
{
    return office_report(flagging->office, SQLITE_NOMEM);
}

static int add_row(struct flagging *flagging, struct rows *rows, int64_t row)
{
    if (rows->count == rows->capacity) {
        uint64_t capacity = rows->capacity ? rows->capacity * 2 : 1024;
        int64_t *grown = realloc(rows->list, capacity * sizeof *grown);
        if (grown == NULL)
            return no_memory(flagging);
        rows->list = grown;
        rows->capacity = capacity;
    }
    rows->list[rows->count++] = row;
    return WM_OK;
}

/* Binds what the statement knows of the filter. */
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

static int begin(struct flagging *flagging, const char *sql, sqlite3_stmt **ret_statement, bool *ret_more)
{
    int status = office_prepare(flagging->office, sql, ret_statement);

    if (status == WM_OK) {
        bind_filter(*ret_statement, flagging->filter);
        status = office_step(flagging->office, *ret_statement, ret_more);
    }
    return status;
}

/* Adds the rows that a statement gives. */
static int select_rows(struct flagging *flagging, const char *sql, struct rows *rows)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = begin(flagging, sql, &statement, &more);

    while (status == WM_OK && more) {
        status = add_row(flagging, rows, sqlite3_column_int64(statement, 0));
        if (status == WM_OK)
            status = office_step(flagging->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

/* --- Which claims --- */

static bool has_findings(void *context, int64_t row, uint32_t note)
{
    (void)context, (void)row;
    return (note & PACKED_NOTE_FINDINGS) != 0;
}

/* Rows of one dealer or on one vehicle are found by their hash. Either way they ascend. */
static int find_candidates(struct flagging *flagging)
{
    const struct flag_filter *filter = flagging->filter;
    struct ledger_reader *reader = NULL;
    struct arena arena = ARENA_EMPTY;
    int64_t *rows = NULL;
    uint32_t count = 0;

    if (filter->vin.length == 0 && filter->dealer.length == 0)
        return select_rows(flagging, WITH_FINDING, &flagging->candidates);
    struct text dealer = filter->vin.length > 0 ? TEXT("") : filter->dealer;
    int status = ledger_reader_open(flagging->office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader);
    if (status == WM_OK)
        status = ledger_rows_of(reader, &arena, dealer, filter->vin, has_findings, NULL, &rows, &count);
    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = add_row(flagging, &flagging->candidates, rows[i]);
    ledger_reader_close(reader);
    arena_free(&arena);
    return status;
}

static int order_by_date(struct flagging *flagging)
{
    const struct rows *candidates = &flagging->candidates;
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = begin(flagging, BATCHES, &statement, &more);

    while (status == WM_OK && more) {
        int64_t first = sqlite3_column_int64(statement, 0), end = first + sqlite3_column_int64(statement, 1);
        for (uint64_t i = ledger_rows_up_to(candidates->list, candidates->count, first - 1);
             status == WM_OK && i < candidates->count && candidates->list[i] < end; i++)
            status = add_row(flagging, &flagging->rows, candidates->list[i]);
        if (status == WM_OK)
            status = office_step(flagging->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

static int order_candidates(struct flagging *flagging)
{
    const struct row_feed feed = {"row", flagging->candidates.count, row_feed_number, flagging->candidates.list, NULL};

    if (flagging->filter->order == FLAGS_BY_DATE)
        return order_by_date(flagging);
    int status = row_feed_begin(flagging->office, &feed);
    if (status != WM_OK)
        return status;
    status = select_rows(flagging, flagging->filter->order == FLAGS_BY_PAYABLE ? BY_PAYABLE : BY_DEALER,
                         &flagging->rows);
    row_feed_end(flagging->office, &feed);
    return status;
}

/* --- What they say --- */

static int add_finding(struct flagging *flagging)
{
    struct arena *arena = &flagging->arena;
    sqlite3_stmt *statement = flagging->findings;

    if (flagging->list_count == flagging->list_capacity) {
        uint32_t capacity = flagging->list_capacity ? flagging->list_capacity * 2 : 1024;
        struct row_finding *grown = realloc(flagging->list, capacity * sizeof *grown);
        if (grown == NULL)
            return no_memory(flagging);
        flagging->list = grown;
        flagging->list_capacity = capacity;
    }
    struct row_finding *finding = &flagging->list[flagging->list_count++];
    *finding = (struct row_finding){column_copy(statement, 1, arena), column_copy(statement, 2, arena),
                                    column_copy(statement, 3, arena), column_copy(statement, 4, arena),
                                    column_copy(statement, 5, arena)};
    return finding->effect.bytes == NULL || finding->finding.bytes == NULL || finding->item.bytes == NULL ||
                   finding->message.bytes == NULL || finding->rule.bytes == NULL
               ? no_memory(flagging)
               : WM_OK;
}

/* The findings of the candidates that are fed. */
static int read_findings(struct flagging *flagging)
{
    bool more = false;
    int status = office_step(flagging->office, flagging->findings, &more);

    flagging->flagged_count = flagging->list_count = 0;
    arena_reset(&flagging->arena);
    while (status == WM_OK && more) {
        int64_t row = sqlite3_column_int64(flagging->findings, 0);
        if (flagging->flagged_count == 0 || flagging->flagged[flagging->flagged_count - 1] != row) {
            flagging->first_finding[flagging->flagged_count] = flagging->list_count;
            flagging->flagged[flagging->flagged_count++] = row;
        }
        status = add_finding(flagging);
        if (status == WM_OK)
            status = office_step(flagging->office, flagging->findings, &more);
    }
    flagging->first_finding[flagging->flagged_count] = flagging->list_count;
    sqlite3_reset(flagging->findings);
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

/* Hands out those of the flagged that are fed that fit, up to *left, if that is not below 0. */
static int list_claims(struct flagging *flagging, flag_take *take, void *taker, int64_t *left)
{
    bool more = false;
    int status = office_step(flagging->office, flagging->claims, &more);

    while (status == WM_OK && more && *left != 0) {
        struct flagged_claim claim = claim_at(flagging->claims);
        const uint32_t *first = &flagging->first_finding[sqlite3_column_int64(flagging->claims, 15)];
        claim.findings = &flagging->list[first[0]];
        claim.finding_count = first[1] - first[0];
        status = take(taker, &claim);
        *left -= *left > 0;
        if (status == WM_OK)
            status = office_step(flagging->office, flagging->claims, &more);
    }
    sqlite3_reset(flagging->claims);
    return status;
}

static int prepare_lists(struct flagging *flagging)
{
    int status = office_prepare(flagging->office, FINDINGS, &flagging->findings);

    if (status == WM_OK)
        status = office_prepare(flagging->office, CLAIMS, &flagging->claims);
    if (status != WM_OK)
        return status;
    bind_filter(flagging->findings, flagging->filter);
    bind_filter(flagging->claims, flagging->filter);
    return WM_OK;
}

/* feed: what the statements are fed with. */
static int list_rows(struct flagging *flagging, struct row_feed *feed, flag_take *take, void *taker)
{
    const struct rows *rows = &flagging->rows;
    int64_t left = flagging->filter->limit;
    int status = prepare_lists(flagging);

    for (uint64_t at = 0; status == WM_OK && at < rows->count && left != 0; at += CANDIDATES_AT_ONCE) {
        uint64_t count = rows->count - at < CANDIDATES_AT_ONCE ? rows->count - at : CANDIDATES_AT_ONCE;
        feed->context = rows->list + at;
        feed->rows = count;
        status = read_findings(flagging);
        feed->context = flagging->flagged;
        feed->rows = flagging->flagged_count;
        if (status == WM_OK)
            status = list_claims(flagging, take, taker, &left);
    }
    sqlite3_finalize(flagging->claims);
    sqlite3_finalize(flagging->findings);
    return status;
}

static int list(struct flagging *flagging, flag_take *take, void *taker)
{
    struct row_feed feed = {"row", 0, row_feed_number, NULL, NULL};
    int status = row_feed_begin(flagging->office, &feed);

    if (status != WM_OK)
        return status;
    status = list_rows(flagging, &feed, take, taker);
    row_feed_end(flagging->office, &feed);
    return status;
}

int ledger_flags(struct office *office, const struct flag_filter *filter, flag_take *take, void *taker)
{
    struct flagging *flagging = calloc(1, sizeof *flagging);

    if (flagging == NULL)
        return office_report(office, SQLITE_NOMEM);
    flagging->office = office;
    flagging->filter = filter;
    int status = find_candidates(flagging);
    if (status == WM_OK)
        status = order_candidates(flagging);
    if (status == WM_OK)
        status = list(flagging, take, taker);
    free(flagging->candidates.list);
    free(flagging->rows.list);
    free(flagging->list);
    arena_free(&flagging->arena);
    free(flagging);
    return status;
}
