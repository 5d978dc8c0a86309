#include "ledger/recorded.h"

#include <sqlite3.h>
#include <stdlib.h>

#include "base/status.h"
#include "intake/canonical.h"
#include "ledger/columns.h"
#include "ledger/packed.h"
#include "ledger/records.h"

enum statement { CLAIM_ROW, ROW_DECISIONS, ROW_BLOCK, ROW_NAME, STATEMENTS };

static const char *const SQL[STATEMENTS] = {
    [CLAIM_ROW] =
        "SELECT r.row, r.revision, r.batch, r.line, r.campaign, r.vin, r.outcome, r.completed_on, r.decision, "
        "r.asked_cents, r.payable_cents, r.due_cents, r.replaces, b.received_on, b.today, r.dealer, r.claim "
        "FROM claim_rows AS r CROSS JOIN batches AS b ON b.batch = r.batch WHERE r.row = ?1",
    [ROW_DECISIONS] =
        "SELECT number, action, decided_by, reason, recorded_at, decided_on, payable_cents, due_cents "
        "FROM office_decisions WHERE row = ?1 AND number <= ?2 ORDER BY number",
    [ROW_BLOCK] =
        "SELECT first_row, records FROM row_blocks WHERE first_row <= ?1 ORDER BY first_row DESC LIMIT 1",
    [ROW_NAME] = "SELECT dealer, claim, vin, replaces FROM claim_rows WHERE row = ?1",
};

struct ledger_reader {
    struct office *office;
    struct ledger_point point;
    sqlite3_stmt *statements[STATEMENTS];
    struct packed_reader *rows; /* NULL: not needed yet */
    int64_t *found;             /* rows of a hash; malloc'd */
    uint32_t found_count, found_capacity;
    ledger_row_wanted *wanted;  /* NULL: all are */
    void *wanted_context;
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
    packed_reader_close(reader->rows);
    free(reader->found);
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

int ledger_check_replaced(struct office *office)
{
    sqlite3_stmt *statement = NULL;
    bool back = false;
    int status = office_prepare(office, "SELECT 1 FROM replaced_rows WHERE replaced_by <= row LIMIT 1", &statement);

    if (status == WM_OK)
        status = office_step(office, statement, &back);
    sqlite3_finalize(statement);
    return status == WM_OK && back ? office_report(office, SQLITE_CORRUPT) : status;
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

/* --- Rows by hash ------------------------------------------------------------------------------------ */

static int keep_found(void *context, const struct packed_entry *entry)
{
    struct ledger_reader *reader = context;

    if (entry->number > reader->point.last_row ||
        (reader->wanted != NULL && !reader->wanted(reader->wanted_context, entry->number, entry->note)))
        return WM_OK;
    if (reader->found_count == reader->found_capacity) {
        uint32_t capacity = reader->found_capacity ? reader->found_capacity * 2 : 16;
        int64_t *grown = realloc(reader->found, capacity * sizeof *grown);
        if (grown == NULL)
            return no_memory(reader);
        reader->found = grown;
        reader->found_capacity = capacity;
    }
    reader->found[reader->found_count++] = entry->number;
    return WM_OK;
}

int ledger_reader_rows(struct ledger_reader *reader, struct packed_reader **ret_rows)
{
    int status = reader->rows == NULL ? packed_reader_open(reader->office, PACKED_ROWS, &reader->rows) : WM_OK;

    *ret_rows = reader->rows;
    return status;
}

/* Into reader->found, ascending: the rows that may be meant. */
static int find_rows(struct ledger_reader *reader, enum packed_key kind, struct text first, struct text second)
{
    struct packed_reader *rows;
    int status = ledger_reader_rows(reader, &rows);

    reader->found_count = 0;
    return status == WM_OK ? packed_find(rows, packed_hash(kind, first, second), keep_found, reader) : status;
}

/* Into ascending order, 11 bits at a time: rows are 32-bit numbers. room: as many again. */
static void sort_rows(int64_t *rows, int64_t *room, uint32_t count)
{
    enum { BITS = 11, SLOTS = 1 << BITS, PASSES = 3 };
    int64_t *from = rows, *to = room;

    for (int pass = 0; pass < PASSES; pass++) {
        uint32_t places[SLOTS + 1] = {0};
        int shift = pass * BITS;
        for (uint32_t i = 0; i < count; i++)
            places[((from[i] >> shift) & (SLOTS - 1)) + 1]++;
        for (int slot = 0; slot < SLOTS; slot++)
            places[slot + 1] += places[slot];
        for (uint32_t i = 0; i < count; i++)
            to[places[(from[i] >> shift) & (SLOTS - 1)]++] = from[i];
        int64_t *swap = from;
        from = to;
        to = swap;
    }
    memcpy(rows, from, count * sizeof *rows);
}

static int find_rows_of_dealer(struct ledger_reader *reader, struct text dealer)
{
    struct packed_reader *rows;
    int status = ledger_reader_rows(reader, &rows);

    reader->found_count = 0;
    if (status == WM_OK)
        status = packed_find_dealer(rows, dealer, keep_found, reader);
    if (status != WM_OK || reader->found_count < 2)
        return status;
    int64_t *room = malloc(reader->found_count * sizeof *room);
    if (room == NULL)
        return no_memory(reader);
    sort_rows(reader->found, room, reader->found_count);
    free(room);
    return WM_OK;
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

/* One row, if it is of this claim. */
static int add_row(struct ledger_reader *reader, struct arena *arena, int64_t number,
                   struct ledger_claim *claim, struct claim_row *rows)
{
    sqlite3_stmt *statement = reader->statements[CLAIM_ROW];
    bool found = false, known = true;

    sqlite3_bind_int64(statement, 1, number);
    int status = office_step(reader->office, statement, &found);
    if (status == WM_OK && !found)
        status = damaged(reader);
    if (status == WM_OK && text_equal(column_text(statement, 15), claim->dealer) &&
        text_equal(column_text(statement, 16), claim->claim)) {
        if (!row_read(statement, arena, &rows[claim->row_count], &known))
            status = no_memory(reader);
        else if (!known)
            status = damaged(reader);
        claim->row_count++;
    }
    sqlite3_reset(statement);
    return status;
}

static int by_revision(const void *a, const void *b)
{
    const struct claim_row *x = a, *y = b;

    if (x->revision != y->revision)
        return x->revision < y->revision ? -1 : 1;
    return (x->row > y->row) - (x->row < y->row);
}

static int read_rows(struct ledger_reader *reader, struct arena *arena, struct ledger_claim *claim)
{
    int status = find_rows(reader, KEY_CLAIM, claim->dealer, claim->claim);

    if (status != WM_OK || reader->found_count == 0)
        return status;
    struct claim_row *rows = ARENA_ARRAY(arena, struct claim_row, reader->found_count);
    if (rows == NULL)
        return no_memory(reader);
    for (uint32_t i = 0; status == WM_OK && i < reader->found_count; i++)
        status = add_row(reader, arena, reader->found[i], claim, rows);
    if (status == WM_OK && claim->row_count > 1)
        qsort(rows, claim->row_count, sizeof *rows, by_revision);
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
        while ((found = row_block_next(&rest, &digest, &content)) && at < row)
            at++;
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

/* Which of the rows found are meant. */
struct naming {
    struct text dealer, vin, repair_order;         /* empty: any */
    enum { EACH_ROW, FIRST_ROWS, EACH_NAME } take; /* first rows: those that replace nothing */
    struct text_index named;                       /* of EACH_NAME */
};

/* Whether the row at hand gives a name that is not there yet. */
static int is_new(struct ledger_reader *reader, struct arena *arena, struct naming *naming,
                  sqlite3_stmt *statement, uint32_t count, bool *ret_new)
{
    *ret_new = naming->take != FIRST_ROWS || sqlite3_column_type(statement, 3) == SQLITE_NULL;
    if (naming->take != EACH_NAME)
        return WM_OK;
    struct text key = text_pair(arena, column_text(statement, 0), column_text(statement, 1));
    uint32_t number = key.bytes != NULL ? text_index_add(&naming->named, key, count) : TEXT_INDEX_NONE;
    *ret_new = number == count;
    return number == TEXT_INDEX_NONE ? no_memory(reader) : WM_OK;
}

static int is_meant(struct ledger_reader *reader, struct arena *arena, const struct naming *naming,
                    sqlite3_stmt *statement, int64_t row, bool *ret_meant)
{
    struct text content;

    *ret_meant = (naming->dealer.length == 0 || text_equal(naming->dealer, column_text(statement, 0))) &&
                 (naming->vin.length == 0 || text_equal(naming->vin, column_text(statement, 2)));
    if (!*ret_meant || naming->repair_order.length == 0)
        return WM_OK;
    int status = ledger_content(reader, arena, row, &content);
    if (status == WM_OK)
        *ret_meant = text_equal(canonical_cell(content, COLUMN_REPAIR_ORDER), naming->repair_order);
    return status;
}

static int add_name(struct ledger_reader *reader, struct arena *arena, struct naming *naming, int64_t row,
                    struct claim_name *names, uint32_t *count)
{
    sqlite3_stmt *statement = reader->statements[ROW_NAME];
    bool found = false, meant = false, new_name = false;

    sqlite3_bind_int64(statement, 1, row);
    int status = office_step(reader->office, statement, &found);
    if (status == WM_OK && !found)
        status = damaged(reader);
    if (status == WM_OK)
        status = is_meant(reader, arena, naming, statement, row, &meant);
    if (status == WM_OK && meant)
        status = is_new(reader, arena, naming, statement, *count, &new_name);
    if (status == WM_OK && new_name) {
        struct claim_name *name = &names[(*count)++];
        *name = (struct claim_name){column_copy(statement, 0, arena), column_copy(statement, 1, arena), row};
        if (name->dealer.bytes == NULL || name->claim.bytes == NULL)
            status = no_memory(reader);
    }
    sqlite3_reset(statement);
    return status;
}

/* The names of the rows that were found last. */
static int name_rows(struct ledger_reader *reader, struct arena *arena, struct naming *naming,
                     struct claim_name **ret_names, uint32_t *ret_count)
{
    struct claim_name *names = ARENA_ARRAY(arena, struct claim_name, reader->found_count);
    uint32_t count = 0;
    int status = names != NULL ? WM_OK : no_memory(reader);

    for (uint32_t i = 0; status == WM_OK && i < reader->found_count; i++)
        status = add_name(reader, arena, naming, reader->found[i], names, &count);
    text_index_free(&naming->named);
    if (status == WM_OK) {
        *ret_names = names;
        *ret_count = count;
    }
    return status;
}

int ledger_names_on_vin(struct ledger_reader *reader, struct arena *arena, struct text vin,
                        struct claim_name **ret_names, uint32_t *ret_count)
{
    struct naming naming = {.vin = vin, .take = EACH_NAME};
    int status = find_rows(reader, KEY_VEHICLE, vin, TEXT(""));

    return status == WM_OK ? name_rows(reader, arena, &naming, ret_names, ret_count) : status;
}

int ledger_names_of_dealer(struct ledger_reader *reader, struct arena *arena, struct text dealer,
                           struct claim_name **ret_names, uint32_t *ret_count)
{
    struct naming naming = {.dealer = dealer, .take = FIRST_ROWS};
    int status = find_rows_of_dealer(reader, dealer);

    return status == WM_OK ? name_rows(reader, arena, &naming, ret_names, ret_count) : status;
}

int ledger_names_on_repair_order(struct ledger_reader *reader, struct arena *arena, struct text dealer,
                                 struct text repair_order, struct claim_name **ret_names, uint32_t *ret_count)
{
    struct naming naming = {.dealer = dealer, .repair_order = repair_order, .take = EACH_ROW};
    int status = find_rows(reader, KEY_REPAIR_ORDER, dealer, repair_order);

    return status == WM_OK ? name_rows(reader, arena, &naming, ret_names, ret_count) : status;
}

uint64_t ledger_rows_up_to(const int64_t *rows, uint64_t count, int64_t row)
{
    uint64_t low = 0, high = count;

    while (low < high) {
        uint64_t middle = low + (high - low) / 2;
        if (rows[middle] <= row)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

int ledger_rows_of(struct ledger_reader *reader, struct arena *arena, struct text dealer, struct text vin,
                   ledger_row_wanted *wanted, void *context, int64_t **ret_rows, uint32_t *ret_count)
{
    reader->wanted = wanted;
    reader->wanted_context = context;
    int status =
        dealer.length > 0 ? find_rows_of_dealer(reader, dealer) : find_rows(reader, KEY_VEHICLE, vin, TEXT(""));
    reader->wanted = NULL;

    if (status != WM_OK)
        return status;
    int64_t *rows = arena_zeroed(arena, (size_t)reader->found_count + 1, sizeof *rows);
    if (rows == NULL)
        return no_memory(reader);
    if (reader->found_count > 0)
        memcpy(rows, reader->found, reader->found_count * sizeof *rows);
    *ret_rows = rows;
    *ret_count = reader->found_count;
    return WM_OK;
}
