#include "ledger/batch_then.h"

#include <sqlite3.h>

#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/rules_record.h"

static const char BATCH[] =
    "SELECT b.rules, b.load, b.first_row, b.today, b.received_on, "
    "(SELECT coalesce(max(d.number), 0) FROM chain AS d "
    "WHERE d.kind = 'decision' AND d.entry < (SELECT c.entry FROM chain AS c "
    "WHERE c.kind = 'batch' AND c.number = b.batch)) FROM batches AS b WHERE b.batch = ?1";

static int read_batch(struct office *office, int64_t batch, struct batch_then *then, int64_t *ret_rules,
                      int64_t *ret_load)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(office, BATCH, &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, batch);
        status = office_step(office, statement, &found);
    }
    if (status == WM_OK && !found)
        status = WM_NOT_FOUND;
    if (status == WM_OK) {
        *ret_rules = sqlite3_column_int64(statement, 0);
        *ret_load = sqlite3_column_int64(statement, 1);
        then->first_row = sqlite3_column_int64(statement, 2);
        then->day.today = column_day(statement, 3);
        then->day.received_on = column_day(statement, 4);
        then->last_decision = sqlite3_column_int64(statement, 5);
    }
    sqlite3_finalize(statement);
    return status;
}

static int open_rules(struct office *office, int64_t rules, struct diag_sink *sink, struct batch_then *then)
{
    int status = rules_recorded(office, rules, &then->arena, &then->files);

    if (status == WM_OK)
        status = rules_compile(&then->arena, &then->files, sink, &then->rules);
    then->day.rules = then->rules;
    return status;
}

static int open_register(struct office *office, int64_t load, struct batch_then *then)
{
    int64_t last = 0;
    int status = office_last_load(office, &last);

    if (status == WM_OK)
        status = office_source_open(office, load == last ? 0 : load, &then->office_source);
    if (status == WM_OK)
        status = register_open(office_source_register(then->office_source), &then->office_register);
    then->day.office_register = then->office_register;
    return status;
}

int batch_then_open(struct office *office, int64_t batch, struct diag_sink *sink, struct batch_then *then)
{
    int64_t rules, load;
    int status = read_batch(office, batch, then, &rules, &load);

    if (status == WM_OK)
        status = open_rules(office, rules, sink, then);
    return status == WM_OK ? open_register(office, load, then) : status;
}

void batch_then_close(struct batch_then *then)
{
    register_close(then->office_register);
    office_source_close(then->office_source);
    rules_free(then->rules);
    arena_free(&then->arena);
}
