/* Chargebacks: a record for each, with an office decision for each claim that money is taken back on. */
#include "base/status.h"
#include "ledger/audit_parts.h"
#include "ledger/columns.h"
#include "ledger/office_decisions.h"

static void bind_or_null(sqlite3_stmt *statement, int at, bool is, int64_t number)
{
    if (is)
        sqlite3_bind_int64(statement, at, number);
    else
        sqlite3_bind_null(statement, at);
}

static int insert(struct office *office, const struct chargeback *chargeback)
{
    bool extrapolated = chargeback->confidence_millionths != 0;
    sqlite3_stmt *statement = NULL;
    int status =
        office_prepare(office,
                       "INSERT INTO chargebacks VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, "
                       "?13, ?14, ?15, ?16, ?17)",
                       &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, chargeback->chargeback);
    sqlite3_bind_int64(statement, 2, chargeback->sample);
    bind_text(statement, 3, chargeback->dealer);
    bind_text(statement, 4, chargeback->method);
    bind_text(statement, 5, chargeback->decided_by);
    bind_text(statement, 6, chargeback->reason);
    bind_day(statement, 7, chargeback->decided_on);
    bind_text(statement, 8, chargeback->recorded_at);
    bind_day(statement, 9, chargeback->notified_on);
    bind_or_null(statement, 10, chargeback->notice_days >= 0, chargeback->notice_days);
    bind_or_null(statement, 11, extrapolated, chargeback->confidence_millionths);
    bind_or_null(statement, 12, extrapolated, chargeback->estimate_cents);
    bind_or_null(statement, 13, extrapolated, chargeback->error_cents);
    bind_or_null(statement, 14, extrapolated, chargeback->lower_cents);
    sqlite3_bind_int64(statement, 15, chargeback->items_cents);
    sqlite3_bind_int64(statement, 16, chargeback->beyond_cents);
    bind_text(statement, 17, chargeback->basis);
    return audit_insert(office, statement);
}

static int record_decision(struct office *office, const struct chargeback *chargeback,
                           struct chargeback_item *item)
{
    struct office_decision decision = {.row = item->row,
                                       .action = TEXT("chargeback"),
                                       .decided_by = chargeback->decided_by,
                                       .reason = chargeback->reason,
                                       .recorded_at = chargeback->recorded_at,
                                       .decided_on = chargeback->decided_on,
                                       .payable_cents = item->payable_cents,
                                       .due_cents = -item->cents};
    int status = office_decision_append(office, &decision);

    item->decision = decision.number;
    return status;
}

static int insert_items(struct office *office, struct chargeback *chargeback)
{
    sqlite3_stmt *statement = NULL;
    int status =
        office_prepare(office, "INSERT INTO chargeback_items VALUES (?1, ?2, ?3, ?4, ?5, ?6)", &statement);

    for (uint32_t i = 0; status == WM_OK && i < chargeback->count; i++) {
        struct chargeback_item *item = &chargeback->items[i];
        status = record_decision(office, chargeback, item);
        if (status != WM_OK)
            break;
        sqlite3_bind_int64(statement, 1, chargeback->chargeback);
        sqlite3_bind_int64(statement, 2, item->item);
        sqlite3_bind_int64(statement, 3, item->row);
        sqlite3_bind_int64(statement, 4, item->decision);
        sqlite3_bind_int64(statement, 5, item->cents);
        bind_text(statement, 6, item->basis);
        status = office_execute(office, statement);
    }
    sqlite3_finalize(statement);
    return status;
}

int chargeback_write(struct office *office, struct chargeback *chargeback)
{
    int status = audit_next_number(office, AUDIT_CHARGEBACK, &chargeback->chargeback);

    if (status == WM_OK)
        status = insert(office, chargeback);
    if (status == WM_OK)
        status = insert_items(office, chargeback);
    return status == WM_OK ? audit_append(office, AUDIT_CHARGEBACK, chargeback->chargeback) : status;
}

static int read_beyond(struct office *office, int64_t sample, int64_t *ret_beyond_cents)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(
        office, "SELECT coalesce(sum(beyond_cents), 0) FROM chargebacks WHERE sample = ?1", &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, sample);
        status = office_step(office, statement, &row);
    }
    if (status == WM_OK)
        *ret_beyond_cents = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return status;
}

int chargebacks_read(struct office *office, const struct sample *sample, int64_t *ret_item_cents,
                     int64_t *ret_beyond_cents)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(office,
                                "SELECT i.item, sum(i.cents) FROM chargebacks AS c JOIN chargeback_items AS i "
                                "ON i.chargeback = c.chargeback WHERE c.sample = ?1 GROUP BY i.item",
                                &statement);

    memset(ret_item_cents, 0, sample->item_count * sizeof *ret_item_cents);
    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, sample->sample);
        status = office_step(office, statement, &more);
    }
    while (status == WM_OK && more) {
        int64_t item = sqlite3_column_int64(statement, 0);
        if (item < 1 || item > sample->item_count)
            status = office_report(office, SQLITE_CORRUPT);
        else
            ret_item_cents[item - 1] = sqlite3_column_int64(statement, 1);
        if (status == WM_OK)
            status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status == WM_OK ? read_beyond(office, sample->sample, ret_beyond_cents) : status;
}

int sample_taken_otherwise(struct office *office, int64_t sample, int64_t *ret_cents)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(
        office,
        "SELECT coalesce(-sum(d.due_cents), 0) FROM sample_frame AS f JOIN office_decisions AS d ON d.row = "
        "f.row "
        "WHERE f.sample = ?1 AND d.action IN ('reverse', 'chargeback') "
        "AND (SELECT entry FROM chain WHERE kind = 'decision' AND number = d.number) > "
        "(SELECT entry FROM chain WHERE kind = 'sample' AND number = ?1) "
        "AND d.number NOT IN (SELECT i.decision FROM chargeback_items AS i JOIN chargebacks AS c "
        "ON c.chargeback = i.chargeback WHERE c.sample = ?1)",
        &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, sample);
        status = office_step(office, statement, &row);
    }
    if (status == WM_OK)
        *ret_cents = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return status;
}
