#include "ledger/recorded.h"

#include <sqlite3.h>
#include <stdlib.h>

#include "base/status.h"
#include "intake/canonical.h"
#include "ledger/columns.h"
#include "ledger/records.h"

enum statement { CLAIM_ROWS, ROW_DECISIONS, ROW_BLOCK, NAMES_ON_VIN, NAMES_ON_ORDER, STATEMENTS };

static const char *const SQL[STATEMENTS] = {
    [CLAIM_ROWS] =
        "SELECT n.row, n.revision, r.batch, r.line, r.campaign, r.vin, r.outcome, r.completed_on, r.decision, "
        "r.asked_cents, r.payable_cents, r.due_cents, r.replaces, b.received_on, b.today "
        "FROM claims_by_number AS n CROSS JOIN claim_rows AS r ON r.row = n.row "
        "CROSS JOIN batches AS b ON b.batch = r.batch "
        "WHERE n.dealer = ?1 AND n.claim = ?2 AND n.row <= ?3 ORDER BY n.revision, n.row",
    [ROW_DECISIONS] =
        "SELECT number, action, decided_by, reason, recorded_at, decided_on, payable_cents, due_cents "
        "FROM office_decisions WHERE row = ?1 AND number <= ?2 ORDER BY number",
    [ROW_BLOCK] =
        "SELECT first_row, records FROM row_blocks WHERE first_row <= ?1 ORDER BY first_row DESC LIMIT 1",
    [NAMES_ON_VIN] =
        "SELECT r.dealer, r.claim, r.row FROM claims_by_vin AS v CROSS JOIN claim_rows AS r ON r.row = v.row "
        "WHERE v.vin = ?1 AND v.row <= ?2 ORDER BY v.row",
    [NAMES_ON_ORDER] = "SELECT r.dealer, r.claim, r.row FROM claims_by_repair_order AS o "
                       "CROSS JOIN claim_rows AS r ON r.row = o.row "
                       "WHERE o.dealer = ?1 AND o.repair_order = ?2 AND o.row <= ?3 ORDER BY o.row",
};

struct ledger_reader {
    struct office *office;
    struct ledger_point point;
    sqlite3_stmt *statements[STATEMENTS];
};

int ledger_reader_open(struct office *office, struct ledger_point point, struct ledger_reader **ret_reader)
{
    struct ledger_reader *reader = calloc(1, sizeof *reader);
    int status = reader != NULL ? WM_OK : office_report(office, SQLITE_NOMEM);

    if (status != WM_OK)
        return status;
    reader->office = office;
    reader->point = point;
    for (int i = 0; i < STATEMENTS && status == WM_OK; i++)
        status = office_prepare(office, SQL[i], &reader->statements[i]);
    if (status == WM_OK)
        *ret_reader = reader;
    else
        ledger_reader_close(reader);
    return status;
}

void ledger_reader_close(struct ledger_reader *reader)
{
    if (reader == NULL)
        return;
    for (int i = 0; i < STATEMENTS; i++)
        sqlite3_finalize(reader->statements[i]);
    free(reader);
}

void ledger_reader_move(struct ledger_reader *reader, struct ledger_point point)
{
    reader->point = point;
}

struct office *ledger_reader_office(const struct ledger_reader *reader)
{
    return reader->office;
}

int ledger_last(struct office *office, struct ledger_point *ret_point)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(office,
                                "SELECT (SELECT coalesce(max(row), 0) FROM claim_rows), "
                                "(SELECT coalesce(max(number), 0) FROM office_decisions)",
                                &statement);

    if (status == WM_OK)
        status = office_step(office, statement, &row);
    if (status == WM_OK)
        *ret_point =
            (struct ledger_point){sqlite3_column_int64(statement, 0), sqlite3_column_int64(statement, 1)};
    sqlite3_finalize(statement);
    return status;
}

static int no_memory(const struct ledger_reader *reader)
{
    return office_report(reader->office, SQLITE_NOMEM);
}

/* The table holds what no program of ours wrote. */
static int damaged(const struct ledger_reader *reader)
{
    return office_report(reader->office, SQLITE_CORRUPT);
}

/* --- Office decisions -------------------------------------------------------------------------------- */

static bool decision_read(sqlite3_stmt *statement, struct arena *arena, int64_t row,
                          struct office_decision *ret_decision)
{
    *ret_decision = (struct office_decision){.number = sqlite3_column_int64(statement, 0),
                                             .row = row,
                                             .action = column_copy(statement, 1, arena),
                                             .decided_by = column_copy(statement, 2, arena),
                                             .reason = column_copy(statement, 3, arena),
                                             .recorded_at = column_copy(statement, 4, arena),
                                             .decided_on = column_day(statement, 5),
                                             .payable_cents = sqlite3_column_int64(statement, 6),
                                             .due_cents = sqlite3_column_int64(statement, 7)};
    return ret_decision->action.bytes != NULL && ret_decision->decided_by.bytes != NULL &&
           ret_decision->reason.bytes != NULL && ret_decision->recorded_at.bytes != NULL;
}

static void apply_decision(struct claim_row *row, const struct office_decision *decision)
{
    if (decision_from(decision->action, &row->decision)) {
        row->payable_now_cents = decision->payable_cents;
        row->reversed_cents = 0;
    } else {
        row->reversed_cents -= decision->due_cents;
    }
}

static int read_decisions(struct ledger_reader *reader, struct arena *arena, struct claim_row *row)
{
    sqlite3_stmt *statement = reader->statements[ROW_DECISIONS];
    struct office_decision *list = NULL;
    uint32_t count = 0, capacity = 0;
    bool more = false;

    sqlite3_bind_int64(statement, 1, row->row);
    sqlite3_bind_int64(statement, 2, reader->point.last_decision);
    int status = office_step(reader->office, statement, &more);
    while (status == WM_OK && more) {
        if (count == capacity) {
            capacity = capacity ? capacity * 2 : 4;
            list = arena_grown(arena, list, count, capacity, sizeof *list);
        }
        if (list == NULL || !decision_read(statement, arena, row->row, &list[count])) {
            status = no_memory(reader);
            break;
        }
        apply_decision(row, &list[count++]);
        status = office_step(reader->office, statement, &more);
    }
    sqlite3_reset(statement);
    row->decisions = list;
    row->decision_count = count;
    return status;
}

/* --- Rows of a claim --------------------------------------------------------------------------------- */

static bool row_read(sqlite3_stmt *statement, struct arena *arena, struct claim_row *ret_row, bool *ret_known)
{
    struct claim_row row = {.row = sqlite3_column_int64(statement, 0),
                            .revision = sqlite3_column_int64(statement, 1),
                            .batch = sqlite3_column_int64(statement, 2),
                            .line = sqlite3_column_int64(statement, 3),
                            .campaign = column_copy(statement, 4, arena),
                            .vin = column_copy(statement, 5, arena),
                            .outcome = column_copy(statement, 6, arena),
                            .completed_on = column_day(statement, 7),
                            .asked_cents = sqlite3_column_int64(statement, 9),
                            .payable_cents = sqlite3_column_int64(statement, 10),
                            .due_cents = sqlite3_column_int64(statement, 11),
                            .replaces = sqlite3_column_int64(statement, 12),
                            .received_on = column_day(statement, 13),
                            .today = column_day(statement, 14)};

    row.counts = sqlite3_column_type(statement, 12) == SQLITE_NULL || row.replaces != 0;
    *ret_known = decision_from(column_text(statement, 8), &row.engine_decision);
    row.decision = row.engine_decision;
    row.payable_now_cents = row.payable_cents;
    *ret_row = row;
    return row.campaign.bytes != NULL && row.vin.bytes != NULL && row.outcome.bytes != NULL;
}

static int read_rows(struct ledger_reader *reader, struct arena *arena, struct ledger_claim *claim)
{
    sqlite3_stmt *statement = reader->statements[CLAIM_ROWS];
    struct claim_row *rows = NULL;
    uint32_t capacity = 0;
    bool more = false, known = true;

    bind_text(statement, 1, claim->dealer);
    bind_text(statement, 2, claim->claim);
    sqlite3_bind_int64(statement, 3, reader->point.last_row);
    int status = office_step(reader->office, statement, &more);
    while (status == WM_OK && more) {
        if (claim->row_count == capacity) {
            capacity = capacity ? capacity * 2 : 2;
            rows = arena_grown(arena, rows, claim->row_count, capacity, sizeof *rows);
        }
        if (rows == NULL || !row_read(statement, arena, &rows[claim->row_count], &known))
            status = no_memory(reader);
        else if (!known)
            status = damaged(reader);
        else {
            claim->row_count++;
            status = office_step(reader->office, statement, &more);
        }
    }
    sqlite3_reset(statement);
    for (uint32_t i = 0; status == WM_OK && i < claim->row_count; i++)
        status = read_decisions(reader, arena, &rows[i]);
    claim->rows = rows;
    return status;
}

/* Rows come in the order of revision, so the last that fits is the highest. */
static void sum_up(struct ledger_claim *claim)
{
    claim->first_received_on = DAY_NONE;
    for (uint32_t i = 0; i < claim->row_count; i++) {
        const struct claim_row *row = &claim->rows[i];
        if (!row->counts)
            continue;
        if (row->replaces == 0)
            claim->first_received_on = row->received_on;
        claim->last = row;
        if (row->decision == DECISION_PAY || row->decision == DECISION_HOLD)
            claim->standing = row;
        if (row->decision == DECISION_PAY)
            claim->paid = row;
    }
    claim->paid_cents = claim->paid != NULL ? claim->paid->payable_now_cents - claim->paid->reversed_cents : 0;
}

int ledger_claim_read(struct ledger_reader *reader, struct arena *arena, struct text dealer, struct text claim,
                      struct ledger_claim *ret_claim)
{
    struct ledger_claim found = {.dealer = dealer, .claim = claim};
    int status = read_rows(reader, arena, &found);

    if (status != WM_OK)
        return status;
    if (found.row_count == 0)
        return WM_NOT_FOUND;
    sum_up(&found);
    if (found.last == NULL)
        return damaged(reader);
    *ret_claim = found;
    return WM_OK;
}

/* --- Contents ---------------------------------------------------------------------------------------- */

int ledger_content(struct ledger_reader *reader, struct arena *arena, int64_t row, struct text *ret_content)
{
    sqlite3_stmt *statement = reader->statements[ROW_BLOCK];
    const uint8_t *digest;
    struct text content = {NULL, 0};
    bool found = false;

    sqlite3_bind_int64(statement, 1, row);
    int status = office_step(reader->office, statement, &found);
    if (status == WM_OK && found) {
        struct text rest = column_blob(statement, 1);
        int64_t at = sqlite3_column_int64(statement, 0);
        while (row_block_next(&rest, &digest, &content) && at < row)
            at++;
        found = at == row && content.bytes != NULL;
    }
    if (status == WM_OK && !found)
        status = damaged(reader);
    if (status == WM_OK) {
        content = text_copy(arena, content);
        if (content.bytes == NULL)
            status = no_memory(reader);
    }
    sqlite3_reset(statement);
    if (status == WM_OK)
        *ret_content = content;
    return status;
}

int ledger_content_claim(struct text content, int64_t line, struct arena *arena, struct claim *ret_claim)
{
    struct text cells[CLAIM_COLUMNS], rest = content;

    for (int i = 0; i < CLAIM_COLUMNS; i++)
        if (!text_cut(rest, '\0', &cells[i], &rest))
            cells[i] = TEXT("");
    int status = claim_of_cells(cells, (uint64_t)line, arena, ret_claim);
    if (status == WM_OK)
        ret_claim->raw = content;
    return status;
}

/* --- Names ------------------------------------------------------------------------------------------- */

static bool is_named(const struct claim_name *names, uint32_t count, sqlite3_stmt *statement)
{
    for (uint32_t i = 0; i < count; i++)
        if (text_equal(names[i].dealer, column_text(statement, 0)) &&
            text_equal(names[i].claim, column_text(statement, 1)))
            return true;
    return false;
}

/* all: a name for each row; else each name once, with its first row. */
static int read_names(struct ledger_reader *reader, sqlite3_stmt *statement, bool all, struct arena *arena,
                      struct claim_name **ret_names, uint32_t *ret_count)
{
    struct claim_name *names = NULL;
    uint32_t count = 0, capacity = 0;
    bool more = false;
    int status = office_step(reader->office, statement, &more);

    while (status == WM_OK && more) {
        if (count == capacity) {
            capacity = capacity ? capacity * 2 : 4;
            names = arena_grown(arena, names, count, capacity, sizeof *names);
        }
        if (names != NULL && (all || !is_named(names, count, statement))) {
            names[count] =
                (struct claim_name){column_copy(statement, 0, arena), column_copy(statement, 1, arena),
                                    sqlite3_column_int64(statement, 2)};
            if (names[count].dealer.bytes == NULL || names[count].claim.bytes == NULL)
                names = NULL;
            count++;
        }
        status = names == NULL ? no_memory(reader) : office_step(reader->office, statement, &more);
    }
    sqlite3_reset(statement);
    if (status == WM_OK) {
        *ret_names = names;
        *ret_count = count;
    }
    return status;
}

int ledger_names_on_vin(struct ledger_reader *reader, struct arena *arena, struct text vin,
                        struct claim_name **ret_names, uint32_t *ret_count)
{
    sqlite3_stmt *statement = reader->statements[NAMES_ON_VIN];

    bind_text(statement, 1, vin);
    sqlite3_bind_int64(statement, 2, reader->point.last_row);
    return read_names(reader, statement, false, arena, ret_names, ret_count);
}

int ledger_names_on_repair_order(struct ledger_reader *reader, struct arena *arena, struct text dealer,
                                 struct text repair_order, struct claim_name **ret_names, uint32_t *ret_count)
{
    sqlite3_stmt *statement = reader->statements[NAMES_ON_ORDER];

    bind_text(statement, 1, dealer);
    bind_text(statement, 2, repair_order);
    sqlite3_bind_int64(statement, 3, reader->point.last_row);
    return read_names(reader, statement, true, arena, ret_names, ret_count);
}
