#include "ledger/paid.h"

#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/office_decisions.h"
#include "ledger/row_feed.h"

enum parameter { DEALER = 1, CAMPAIGN, VIN, FINDING, EFFECT, SINCE, UNTIL };

enum column {
    ROW,
    REVISION,
    OF_DEALER,
    OF_CLAIM,
    OF_CAMPAIGN,
    OF_VIN,
    COMPLETED_ON,
    PAID_ON,
    PAID_CENTS,
    COVERED_BY,
    FITS
};

/* The paying rows of all claims; which of a claim's is the highest is seen when the next claim comes. */
#define SELECT_PAYING                                                                          \
    "SELECT r.row, r.revision, r.dealer, r.claim, r.campaign, r.vin, r.completed_on, "         \
    "coalesce(d.decided_on, b.today), "                                                        \
    "coalesce(d.payable_cents, r.payable_cents) + (SELECT coalesce(sum(t.due_cents), 0) FROM " \
    "office_decisions AS t "                                                                   \
    "WHERE t.row = r.row AND t.number > coalesce(d.number, 0)), "                              \
    "coalesce((SELECT max(sample) FROM rows_covered WHERE row = r.row), 0), "                  \
    "(?2 = '' OR r.campaign = ?2) AND (?3 = '' OR r.vin = ?3) "                                \
    "AND (?6 IS NULL OR b.received_on >= ?6) AND (?7 IS NULL OR b.received_on <= ?7) "         \
    "AND ((?4 = '' AND ?5 = '') OR EXISTS (SELECT 1 FROM findings AS f WHERE f.row = r.row "   \
    "AND (?4 = '' OR f.finding = ?4) AND (?5 = '' OR f.effect = ?5))) "
#define FROM_ALL "FROM claim_rows AS r "
#define FROM_FED "FROM fed AS base CROSS JOIN claim_rows AS r ON r.row = base.row "
#define JOINS                                                                                              \
    "CROSS JOIN batches AS b ON b.batch = r.batch "                                                        \
    "LEFT JOIN office_decisions AS d ON d.number = " LAST_DECISION " "                                     \
    "WHERE r.replaces IS NOT 0 AND coalesce(d.action, r.decision) = 'pay' AND (?1 = '' OR r.dealer = ?1) " \
    "ORDER BY r.dealer, r.claim, r.row"

struct walk {
    struct office *office;
    struct arena arena; /* for the claim at hand */
    struct paid_claim claim;
    bool has, fits;
    paid_take *take;
    void *taker;
};

static int give(struct walk *walk)
{
    return walk->has && walk->fits ? walk->take(walk->taker, &walk->claim) : WM_OK;
}

static int keep(struct walk *walk, sqlite3_stmt *statement)
{
    struct paid_claim claim = {.row = sqlite3_column_int64(statement, ROW),
                               .revision = sqlite3_column_int64(statement, REVISION),
                               .completed_on = column_day(statement, COMPLETED_ON),
                               .paid_on = column_day(statement, PAID_ON),
                               .paid_cents = sqlite3_column_int64(statement, PAID_CENTS),
                               .covered_by = sqlite3_column_int64(statement, COVERED_BY)};

    arena_reset(&walk->arena);
    claim.dealer = column_copy(statement, OF_DEALER, &walk->arena);
    claim.claim = column_copy(statement, OF_CLAIM, &walk->arena);
    claim.campaign = column_copy(statement, OF_CAMPAIGN, &walk->arena);
    claim.vin = column_copy(statement, OF_VIN, &walk->arena);
    walk->claim = claim;
    walk->has = true;
    walk->fits = sqlite3_column_int(statement, FITS) != 0;
    return claim.dealer.bytes == NULL || claim.claim.bytes == NULL || claim.campaign.bytes == NULL ||
                   claim.vin.bytes == NULL
               ? office_report(walk->office, SQLITE_NOMEM)
               : WM_OK;
}

static int take_row(struct walk *walk, sqlite3_stmt *statement)
{
    bool same = walk->has && text_equal(walk->claim.dealer, column_text(statement, OF_DEALER)) &&
                text_equal(walk->claim.claim, column_text(statement, OF_CLAIM));
    int64_t covered_by = same ? walk->claim.covered_by : 0;
    int status = same ? WM_OK : give(walk);

    if (status == WM_OK)
        status = keep(walk, statement);
    if (covered_by > walk->claim.covered_by)
        walk->claim.covered_by = covered_by; /* a later revision of a covered claim is covered too */
    return status;
}

static int list(struct walk *walk, const struct paid_filter *filter, const char *sql)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(walk->office, sql, &statement);

    if (status == WM_OK) {
        bind_text(statement, DEALER, filter->dealer);
        bind_text(statement, CAMPAIGN, filter->campaign);
        bind_text(statement, VIN, filter->vin);
        bind_text(statement, FINDING, filter->finding);
        bind_text(statement, EFFECT, filter->effect);
        bind_day(statement, SINCE, filter->since);
        bind_day(statement, UNTIL, filter->until);
        status = office_step(walk->office, statement, &more);
    }
    while (status == WM_OK && more) {
        status = take_row(walk, statement);
        if (status == WM_OK)
            status = office_step(walk->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status == WM_OK ? give(walk) : status;
}

/* Rows of one dealer are found by its hash. */
static int list_of_dealer(struct walk *walk, const struct paid_filter *filter)
{
    struct ledger_reader *reader = NULL;
    struct arena arena = ARENA_EMPTY;
    int64_t *rows = NULL;
    uint32_t count = 0;
    int status = ledger_reader_open(walk->office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader);

    if (status == WM_OK)
        status = ledger_rows_of(reader, &arena, filter->dealer, TEXT(""), NULL, NULL, &rows, &count);
    if (status == WM_OK) {
        const struct row_feed feed = {"row", count, row_feed_number, rows, NULL};
        status = row_feed_begin(walk->office, &feed);
        if (status == WM_OK) {
            status = list(walk, filter, SELECT_PAYING FROM_FED JOINS);
            row_feed_end(walk->office, &feed);
        }
    }
    ledger_reader_close(reader);
    arena_free(&arena);
    return status;
}

int ledger_paid(struct office *office, const struct paid_filter *filter, paid_take *take, void *taker)
{
    struct walk walk = {.office = office, .take = take, .taker = taker};
    int status = filter->dealer.length > 0 ? list_of_dealer(&walk, filter)
                                           : list(&walk, filter, SELECT_PAYING FROM_ALL JOINS);

    arena_free(&walk.arena);
    return status;
}

int ledger_paid_on(struct office *office, int64_t row, int32_t *ret_day)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(office,
                                "SELECT coalesce((SELECT decided_on FROM office_decisions WHERE row = r.row "
                                "AND action = 'pay' ORDER BY number DESC LIMIT 1), b.today) "
                                "FROM claim_rows AS r JOIN batches AS b ON b.batch = r.batch WHERE r.row = ?1",
                                &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, row);
        status = office_step(office, statement, &found);
    }
    if (status == WM_OK)
        *ret_day = found ? column_day(statement, 0) : DAY_NONE;
    sqlite3_finalize(statement);
    return status;
}

int ledger_covered(struct office *office, struct arena *arena, int64_t row, struct text *ret_sample)
{
    struct text name = TEXT("");
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(office,
                                "SELECT s.name FROM rows_covered AS c JOIN samples AS s ON s.sample = c.sample "
                                "WHERE c.row = ?1 ORDER BY c.sample LIMIT 1",
                                &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, row);
        status = office_step(office, statement, &found);
    }
    if (status == WM_OK && found) {
        name = column_copy(statement, 0, arena);
        if (name.bytes == NULL)
            status = office_report(office, SQLITE_NOMEM);
    }
    sqlite3_finalize(statement);
    if (status == WM_OK)
        *ret_sample = name;
    return status;
}
