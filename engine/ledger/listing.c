#include "ledger/listing.h"

#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/recorded.h"

static const char STANDING[] = "SELECT row, dealer, campaign, vin, outcome FROM claims_standing ORDER BY row";

static const char APPROVALS[] =
    "SELECT approval, dealer, campaign, vin, covers, limit_cents, valid_to, reason FROM approval_versions AS a "
    "WHERE dealer IN ('', ?1) AND load = (SELECT max(load) FROM approval_versions WHERE approval = a.approval) "
    "ORDER BY approval";

int listing_standing(struct office *office, listing_take_standing *take, void *taker)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = ledger_check_replaced(office);

    if (status == WM_OK)
        status = office_prepare(office, STANDING, &statement);
    while (status == WM_OK && (status = office_step(office, statement, &found)) == WM_OK && found) {
        const struct standing_row row = {sqlite3_column_int64(statement, 0), column_text(statement, 1),
                                         column_text(statement, 2), column_text(statement, 3),
                                         column_text(statement, 4)};
        status = take(taker, &row);
    }
    sqlite3_finalize(statement);
    return status;
}

static struct approval approval_at(sqlite3_stmt *statement)
{
    return (struct approval){
        .number = column_text(statement, 0),
        .dealer = column_text(statement, 1),
        .campaign = column_text(statement, 2),
        .vin = column_text(statement, 3),
        .covers = column_text(statement, 4),
        .has_limit = sqlite3_column_type(statement, 5) != SQLITE_NULL,
        .limit_cents = sqlite3_column_int64(statement, 5),
        .valid_to = column_day(statement, 6),
        .reason = column_text(statement, 7),
    };
}

int listing_approvals(struct office *office, struct text dealer, register_take_approval *take, void *taker)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(office, APPROVALS, &statement);

    if (status == WM_OK)
        bind_text(statement, 1, dealer);
    while (status == WM_OK && (status = office_step(office, statement, &found)) == WM_OK && found) {
        const struct approval approval = approval_at(statement);
        status = take(taker, &approval);
    }
    sqlite3_finalize(statement);
    return status;
}
