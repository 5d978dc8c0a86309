#include "ledger/followups_list.h"

#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/recorded.h"

#define SELECT_OPEN                                                                                                 \
    "SELECT f.dealer, f.claim, f.campaign, f.vin, f.followup, f.part, f.revision, "                                 \
    "CAST(julianday(coalesce(f.completed_on, f.received_on)) - 2440587.5 AS INTEGER) AS opened_on, "                \
    "w.due_on, p.status, p.status_on "                                                                              \
    "FROM followups_open AS f JOIN followups AS w ON w.row = f.row AND w.number = f.number "                        \
    "LEFT JOIN vehicle_versions AS v ON v.vin = f.vin AND "                                                         \
    "v.load = (SELECT max(load) FROM vehicle_versions WHERE vin = f.vin) "                                          \
    "LEFT JOIN vehicle_profiles AS p ON p.profile = v.profile "                                                     \
    "WHERE (?1 = '' OR f.dealer = ?1) AND (?2 = '' OR f.campaign = ?2) AND (?3 = '' OR f.vin = ?3) "                \
    "AND (?4 IS NULL OR opened_on >= ?4) AND (?5 IS NULL OR opened_on <= ?5) ORDER BY "

static const char BY_AGE[] = SELECT_OPEN "opened_on, f.dealer, f.claim, f.row, f.number LIMIT ?6";
static const char BY_DEALER[] = SELECT_OPEN "f.dealer, opened_on, f.claim, f.row, f.number LIMIT ?6";

static struct open_followup followup_at(sqlite3_stmt *statement)
{
    return (struct open_followup){.dealer = column_text(statement, 0),
                                  .claim = column_text(statement, 1),
                                  .campaign = column_text(statement, 2),
                                  .vin = column_text(statement, 3),
                                  .followup = column_text(statement, 4),
                                  .part = column_text(statement, 5),
                                  .revision = sqlite3_column_int64(statement, 6),
                                  .opened_on = column_day(statement, 7),
                                  .due_on = column_day(statement, 8),
                                  .vehicle_status = column_text(statement, 9),
                                  .vehicle_status_on = column_day(statement, 10)};
}

int ledger_followups(struct office *office, const struct followup_filter *filter, followup_take *take, void *taker)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = ledger_check_replaced(office);

    if (status == WM_OK)
        status = office_prepare(office, filter->by_dealer ? BY_DEALER : BY_AGE, &statement);
    if (status != WM_OK)
        return status;
    bind_text(statement, 1, filter->dealer);
    bind_text(statement, 2, filter->campaign);
    bind_text(statement, 3, filter->vin);
    bind_day(statement, 4, filter->since);
    bind_day(statement, 5, filter->until);
    sqlite3_bind_int64(statement, 6, filter->limit);
    status = office_step(office, statement, &more);
    while (status == WM_OK && more) {
        struct open_followup followup = followup_at(statement);
        status = take(taker, &followup);
        if (status == WM_OK)
            status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}
