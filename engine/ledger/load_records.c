/* Dealers, shipments, approvals and notices: files of up to some million rows, read by one thread and compared row by
 * row. */
#include <sqlite3.h>
#include <stddef.h>
#include <stdlib.h>

#include "base/buffer.h"
#include "base/chunks.h"
#include "base/decimal.h"
#include "base/limits.h"
#include "base/quarter.h"
#include "base/status.h"
#include "base/value.h"
#include "intake/excerpt.h"
#include "ledger/columns.h"
#include "ledger/load_chain.h"
#include "ledger/load_parts.h"
#include "register/vehicle_pack.h"

enum form {
    FORM_TEXT,
    FORM_PART,        /* has a key too, which stands behind all else in the insert */
    FORM_VIN,
    FORM_DAY,
    FORM_QUANTITY,    /* may be negative */
    FORM_RATE,        /* not negative */
    FORM_MONEY,       /* cents, not negative */
    FORM_COUNT,       /* a whole number, not negative; an empty cell is none */
    FORM_QUARTER,     /* 2026-Q1, its number by base/quarter.h */
    FORM_FINDING,     /* what an approval may cover */
    FORM_REGION       /* ISO 3166-2; another word is a warning */
};

struct record_column {
    const char *name;
    enum form form;
    bool in_header;    /* the file must have the column */
    bool filled;       /* and each row its cell */
};

enum { MOST_COLUMNS = 12, LAST_FROM = 6, LAST_TO = 7, UNREACHABLE_OTHER = 7, OTHER_REASON = 8 };

/* The key's columns come first. ?1 and on are the columns in this order, then the load, then the part's key. */
struct record_kind {
    struct record_column columns[MOST_COLUMNS];
    int count, key_count;
    const char *select;    /* what stands there now, without the key's columns */
    const char *insert;
};

static const struct record_kind KINDS[OFFICE_DATA_KINDS] = {
    [OFFICE_DEALERS] = {
        {{"dealer", FORM_TEXT, true, true},
         {"valid_from", FORM_DAY, false, false},
         {"name", FORM_TEXT, false, false},
         {"region", FORM_REGION, false, false},
         {"labor_rate", FORM_RATE, true, true},
         {"parts_markup", FORM_RATE, true, true},
         {"active_from", FORM_DAY, false, false},
         {"active_to", FORM_DAY, false, false}},
        8, 2,
        "SELECT name, region, labor_rate_millionths, parts_markup_millionths, active_from, active_to "
        "FROM dealer_versions WHERE dealer = ?1 AND valid_from = ?2 ORDER BY load DESC LIMIT 1",
        "INSERT INTO dealer_versions (dealer, valid_from, name, region, labor_rate_millionths, "
        "parts_markup_millionths, active_from, active_to, load) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    },
    [OFFICE_SHIPMENTS] = {
        {{"shipment", FORM_TEXT, true, true},
         {"dealer", FORM_TEXT, true, true},
         {"part", FORM_PART, true, true},
         {"quantity", FORM_QUANTITY, true, true},
         {"shipped_on", FORM_DAY, false, false}},
        5, 1,
        "SELECT dealer, part, quantity_millionths, shipped_on FROM shipment_versions WHERE shipment = ?1 "
        "ORDER BY load DESC LIMIT 1",
        "INSERT INTO shipment_versions (shipment, dealer, part, quantity_millionths, shipped_on, load, part_key) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    },
    [OFFICE_APPROVALS] = {
        {{"approval", FORM_TEXT, true, true},
         {"dealer", FORM_TEXT, false, false},
         {"campaign", FORM_TEXT, false, false},
         {"vin", FORM_VIN, false, false},
         {"covers", FORM_FINDING, false, false},
         {"limit", FORM_MONEY, false, false},
         {"valid_to", FORM_DAY, false, false},
         {"reason", FORM_TEXT, false, false}},
        8, 1,
        "SELECT dealer, campaign, vin, covers, limit_cents, valid_to, reason FROM approval_versions "
        "WHERE approval = ?1 ORDER BY load DESC LIMIT 1",
        "INSERT INTO approval_versions (approval, dealer, campaign, vin, covers, limit_cents, valid_to, reason, load) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    },
    [OFFICE_NOTICES] = {
        {{"campaign", FORM_TEXT, true, true},
         {"quarter", FORM_QUARTER, true, true},
         {"involved", FORM_COUNT, false, false},
         {"explanation", FORM_TEXT, false, false},
         {"notices_sent", FORM_COUNT, false, false},
         {"estimated", FORM_COUNT, false, false},
         {"awaiting_repair", FORM_COUNT, false, false},
         {"unreachable_other", FORM_COUNT, false, false},
         {"other_reason", FORM_TEXT, false, false},
         {"removed", FORM_COUNT, false, false},
         {"disqualified", FORM_COUNT, false, false},
         {"submitted_on", FORM_DAY, false, false}},
        12, 2,
        "SELECT involved, explanation, notices_sent, estimated, awaiting_repair, unreachable_other, other_reason, "
        "removed, disqualified, submitted_on FROM notice_versions WHERE campaign = ?1 AND quarter = ?2 "
        "ORDER BY load DESC LIMIT 1",
        "INSERT INTO notice_versions (campaign, quarter, involved, explanation, notices_sent, estimated, "
        "awaiting_repair, unreachable_other, other_reason, removed, disqualified, submitted_on, load) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
    },
};

struct record {
    uint64_t line;
    bool is_read;          /* all its cells are what they must be */
    struct value values[];    /* one for each column of the kind */
};

struct record_load {
    const struct record_kind *kind;
    struct load_file *file;
    struct diag_sink *sink;
    int at[MOST_COLUMNS];          /* cell of each column, -1: none */
    uint32_t width;
    struct arena block_arena;      /* for one block */
    struct arena texts;            /* for the records */
    struct chunks records;
    struct record **sorted;        /* after reading: by key, each once; then: those to insert */
    size_t sorted_count;
    struct load_errors errors;
    uint64_t strange_regions, strange_region_line;
    struct load_summary summary;
};

/* ---- reading a row ---- */

static struct load_cell cell_of(struct record_load *load, const struct csv_row *row, int column)
{
    int at = load->at[column];

    return (struct load_cell){at < 0 ? TEXT("") : row->cells[at], load->kind->columns[column].name, row,
                              (uint32_t)(at + 1), &load->errors};
}

static bool looks_like_region(struct text region)
{
    bool good = region.length >= 4 && region.length <= 6 && region.bytes[2] == '-';

    for (size_t i = 0; good && i < region.length; i++) {
        char c = region.bytes[i];
        good = i == 2 || (c >= 'A' && c <= 'Z') || (i > 2 && c >= '0' && c <= '9');
    }
    return good;
}

static bool check_finding(const struct load_cell *cell)
{
    if (!text_equal_any_case(cell->text, TEXT("row-unreadable")) &&
        !text_equal_any_case(cell->text, TEXT("rules-ambiguous")))
        return true;
    load_cell_error(cell, "cannot be approved: it is not about the claim; correct the row or the rules instead");
    return false;
}

static bool check_part(const struct load_cell *cell)
{
    for (size_t i = 0; i < cell->text.length; i++)
        if (vin_symbol(cell->text.bytes[i]) > 0 || (cell->text.bytes[i] >= 'a' && cell->text.bytes[i] <= 'z'))
            return true;
    load_cell_error(cell, "has neither a letter nor a digit; write the part's number");
    return false;
}

static bool keep_text(struct record_load *load, struct text text, struct value *ret_value)
{
    struct text kept = text_copy(&load->texts, text);

    *ret_value = value_text_or_null(kept);
    return kept.bytes != NULL;
}

/* WM_OK also after an error of the cell, which is counted. */
static int read_cell(struct record_load *load, const struct csv_row *row, int column, struct value *ret_value)
{
    const struct record_column *about = &load->kind->columns[column];
    struct load_cell cell = cell_of(load, row, column);
    char room[VIN_LENGTH + 1];
    struct text text = cell.text;
    int64_t number;
    int32_t day;
    bool kept = true;

    *ret_value = value_null();
    if (about->filled && !load_cell_filled(&cell))
        return WM_OK;
    switch (about->form) {
    case FORM_DAY:
        if (load_cell_day(&cell, &day) && (day != DAY_NONE || column < load->kind->key_count))
            *ret_value = value_date(day);
        break;
    case FORM_QUANTITY:
    case FORM_RATE:
        if (load_cell_number(&cell, 6, about->form == FORM_QUANTITY, &number))
            *ret_value = value_number(number);
        break;
    case FORM_MONEY:
        if (text.length > 0 && load_cell_number(&cell, 2, false, &number))
            *ret_value = value_number(number / DECIMAL_CENT);
        break;
    case FORM_COUNT:
        if (text.length > 0 && load_cell_number(&cell, 0, false, &number))
            *ret_value = value_number(number / DECIMAL_ONE);
        break;
    case FORM_QUARTER:
        if (quarter_read(text, &day))
            *ret_value = value_number(day);
        else
            load_cell_error(&cell, "is no quarter; write it as 2026-Q1");
        break;
    case FORM_VIN:
        if (load_cell_vin(&cell, room, &text))
            kept = keep_text(load, text, ret_value);
        break;
    case FORM_REGION:
        if (text.length > 0 && !looks_like_region(text) && load->strange_regions++ == 0)
            load->strange_region_line = row->line;
        kept = keep_text(load, text, ret_value);
        break;
    case FORM_FINDING:
        if (check_finding(&cell))
            kept = keep_text(load, text, ret_value);
        break;
    case FORM_PART:
        if (check_part(&cell))
            kept = keep_text(load, text, ret_value);
        break;
    case FORM_TEXT:
        kept = keep_text(load, text, ret_value);
        break;
    }
    return kept ? WM_OK : WM_NO_MEMORY;
}

/* Dealers only: a time that ends before it begins is a slip. */
static void check_active(struct record_load *load, const struct csv_row *row, const struct record *record)
{
    const struct value *from = &record->values[LAST_FROM], *to = &record->values[LAST_TO];
    struct load_cell cell = cell_of(load, row, LAST_TO);

    if (load->kind == &KINDS[OFFICE_DEALERS] && from->type == VALUE_DATE && to->type == VALUE_DATE &&
        to->number < from->number)
        load_cell_error(&cell, "is before active_from; correct one of them");
}

/* Notices only: 49 CFR 573.7(b)(5) wants other reasons specified. */
static void check_reason(struct record_load *load, const struct csv_row *row, const struct record *record)
{
    const struct value *count = &record->values[UNREACHABLE_OTHER], *reason = &record->values[OTHER_REASON];
    struct load_cell cell = cell_of(load, row, UNREACHABLE_OTHER);

    if (load->kind == &KINDS[OFFICE_NOTICES] && count->type == VALUE_NUMBER && count->number > 0 &&
        value_as_text(*reason).length == 0)
        load_cell_error(&cell, "has no reason beside it; say in other_reason why they cannot be reached");
}

static int read_row(struct record_load *load, const struct csv_row *row)
{
    uint64_t errors = load->errors.count;

    load->summary.rows++;
    if (!load_row_is_whole(row, load->width, &load->errors))
        return WM_OK;
    struct record *record = chunks_add(&load->records);
    if (record == NULL)
        return WM_NO_MEMORY;
    record->line = row->line;
    for (int column = 0; column < load->kind->count; column++) {
        int status = read_cell(load, row, column, &record->values[column]);
        if (status != WM_OK)
            return status;
    }
    check_active(load, row, record);
    check_reason(load, row, record);
    record->is_read = load->errors.count == errors;
    return WM_OK;
}

static int read_header(struct record_load *load, const struct csv_row *row)
{
    struct csv_column columns[MOST_COLUMNS];

    for (int i = 0; i < load->kind->count; i++)
        columns[i] = (struct csv_column){load->kind->columns[i].name, load->kind->columns[i].in_header};
    load->width = row ? row->cell_count : 0;
    return csv_header(row, load->file->source.name, columns, (size_t)load->kind->count, load->at, load->sink);
}

static int read_block(struct record_load *load, const struct csv_block *block, bool *has_header)
{
    struct csv_rows rows = {0};
    struct csv_row row;

    arena_reset(&load->block_arena);
    int status = csv_rows_open(&rows, block->bytes, block->line, LIMIT_COLUMNS, &load->block_arena);
    while (status == WM_OK && csv_rows_next(&rows, &row)) {
        status = *has_header ? read_row(load, &row) : read_header(load, &row);
        *has_header = true;
    }
    if (status == WM_OK && rows.no_memory)
        status = WM_NO_MEMORY;
    csv_rows_close(&rows);
    return status;
}

static int read_file(struct record_load *load)
{
    struct csv_blocks *blocks = NULL;
    struct buffer bytes = BUFFER_EMPTY;
    struct csv_block block;
    bool has_header = false;

    int status = csv_source_scan(&load->file->source, true, &load->file->scan, load->sink);
    if (status == WM_OK)
        status = csv_blocks_open(&blocks, &load->file->source, LIMIT_BLOCK_BYTES);
    while (status == WM_OK && (status = csv_blocks_next(blocks, &bytes, &block, load->sink)) == WM_OK)
        status = read_block(load, &block, &has_header);
    if (status == WM_NOT_FOUND)
        status = has_header ? WM_OK : read_header(load, NULL);
    csv_blocks_close(blocks);
    buffer_free(&bytes);
    return status;
}

/* ---- one record a key ---- */

static int compare_values(const struct value *a, const struct value *b)
{
    if (a->type != b->type)
        return a->type < b->type ? -1 : 1;
    if (a->type == VALUE_TEXT)
        return text_compare(value_as_text(*a), value_as_text(*b));
    return a->type == VALUE_NULL ? 0 : (a->number > b->number) - (a->number < b->number);
}

static int compare_columns(const struct record *a, const struct record *b, int from, int to)
{
    int order = 0;

    for (int i = from; i < to && order == 0; i++)
        order = compare_values(&a->values[i], &b->values[i]);
    return order;
}

static int compare_records(const void *a, const void *b, void *kind)
{
    const struct record *x = *(struct record *const *)a, *y = *(struct record *const *)b;
    int order = compare_columns(x, y, 0, ((const struct record_kind *)kind)->key_count);

    return order != 0 ? order : (x->line > y->line) - (x->line < y->line);
}

static void report_conflict(struct load_errors *errors, const struct record_load *load, const struct record *first,
                            const struct record *again)
{
    char room[EXCERPT_ROOM];

    load_errors_add(errors, again->line, (uint32_t)(load->at[0] + 1),
                    "%s %s stands on line %llu too, with other content; keep one of the two rows",
                    load->kind->columns[0].name, excerpt_write(value_as_text(again->values[0]), room),
                    (unsigned long long)first->line);
}

/* Sorts by key and drops what is said twice. */
static int sort_records(struct record_load *load, struct load_errors *errors)
{
    size_t count = 0, kept = 0;

    load->sorted = malloc(((size_t)load->records.count + 1) * sizeof *load->sorted);
    if (load->sorted == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < load->records.count; i++) {
        struct record *record = chunks_at(&load->records, i);
        if (record->is_read)
            load->sorted[count++] = record;
    }
    qsort_r(load->sorted, count, sizeof *load->sorted, compare_records, (void *)(uintptr_t)load->kind);
    for (size_t i = 0; i < count; i++) {
        struct record *record = load->sorted[i];
        if (kept == 0 || compare_columns(load->sorted[kept - 1], record, 0, load->kind->key_count) != 0)
            load->sorted[kept++] = record;
        else if (compare_columns(load->sorted[kept - 1], record, load->kind->key_count, load->kind->count) != 0)
            report_conflict(errors, load, load->sorted[kept - 1], record);
        else
            load->summary.repeated_rows++;
    }
    load->sorted_count = kept;
    return WM_OK;
}

/* ---- into the office ---- */

static void bind_value(sqlite3_stmt *statement, int at, const struct value *value)
{
    switch ((enum value_type)value->type) {
    case VALUE_TEXT: bind_text(statement, at, value_as_text(*value)); break;
    case VALUE_NUMBER:
    case VALUE_DATE:
    case VALUE_BOOLEAN: sqlite3_bind_int64(statement, at, value->number); break;
    case VALUE_NULL: sqlite3_bind_null(statement, at); break;
    }
}

static bool same_as_column(const struct value *value, sqlite3_stmt *statement, int column)
{
    if (value->type == VALUE_NULL || sqlite3_column_type(statement, column) == SQLITE_NULL)
        return value->type == VALUE_NULL && sqlite3_column_type(statement, column) == SQLITE_NULL;
    if (value->type != VALUE_TEXT)
        return value->number == sqlite3_column_int64(statement, column);
    const char *bytes = (const char *)sqlite3_column_text(statement, column);
    return text_equal(value_as_text(*value), (struct text){bytes, (size_t)sqlite3_column_bytes(statement, column)});
}

static void bind_values(sqlite3_stmt *statement, const struct record *record, int count)
{
    for (int i = 0; i < count; i++)
        bind_value(statement, i + 1, &record->values[i]);
}

/* Keeps in `sorted` what is new or has changed. */
static int compare_with_office(struct record_load *load, struct office *office)
{
    const struct record_kind *kind = load->kind;
    sqlite3_stmt *statement = NULL;
    size_t kept = 0;

    int status = office_prepare(office, kind->select, &statement);
    for (size_t i = 0; i < load->sorted_count && status == WM_OK; i++) {
        struct record *record = load->sorted[i];
        bool row = false, same;
        bind_values(statement, record, kind->key_count);
        status = office_step(office, statement, &row);
        same = row;
        for (int column = kind->key_count; column < kind->count && same; column++)
            same = same_as_column(&record->values[column], statement, column - kind->key_count);
        sqlite3_reset(statement);
        load->summary.new_keys += !row;
        load->summary.changed_keys += row && !same;
        load->summary.unchanged_keys += same;
        if (!same)
            load->sorted[kept++] = record;
    }
    load->sorted_count = kept;
    sqlite3_finalize(statement);
    return status;
}

/* The part's key behind the load, where the kind has a part. false: no memory. */
static bool bind_part_key(struct record_load *load, sqlite3_stmt *statement, const struct record *record)
{
    for (int i = 0; i < load->kind->count; i++) {
        if (load->kind->columns[i].form != FORM_PART)
            continue;
        struct text part = value_as_text(record->values[i]);
        char *key = arena_bytes(&load->block_arena, part.length);
        if (key == NULL)
            return false;
        bind_text(statement, load->kind->count + 2, (struct text){key, text_item_key(part, key)});
        break;
    }
    return true;
}

static int insert_records(struct record_load *load, struct office *office, int64_t number)
{
    sqlite3_stmt *statement = NULL;

    int status = office_prepare(office, load->kind->insert, &statement);
    for (size_t i = 0; i < load->sorted_count && status == WM_OK; i++) {
        arena_reset(&load->block_arena);
        bind_values(statement, load->sorted[i], load->kind->count);
        sqlite3_bind_int64(statement, load->kind->count + 1, number);
        status = bind_part_key(load, statement, load->sorted[i]) ? office_execute(office, statement)
                                                                 : office_report(office, SQLITE_NOMEM);
    }
    sqlite3_finalize(statement);
    return status;
}

static int store_records(struct record_load *load, struct office *office, enum office_data kind, int32_t today)
{
    int status = office_begin_write(office);

    if (status != WM_OK)
        return status;
    status = compare_with_office(load, office);
    if (status == WM_OK)
        status = load_record(office, kind, load->file, today, &load->summary);
    if (status == WM_OK && load->sorted_count > 0)
        status = insert_records(load, office, load->summary.load);
    if (status == WM_OK && load->summary.load != 0)
        status = load_chain_versions(office, kind, load->summary.load);
    if (status == WM_OK)
        return office_commit(office);
    office_rollback(office);
    return status;
}

static int report_all(struct record_load *load, struct load_errors *conflicts)
{
    struct load_errors *lists[] = {&load->errors, conflicts};
    struct text name = load->file->source.name;

    if (load->strange_regions > 0)
        diag_warning(load->sink, (struct place){name, load->strange_region_line, (uint32_t)(load->at[3] + 1)},
                     "the region is not written as in ISO 3166-2 (US-NY); deadlines may not find it (%llu %s so)",
                     (unsigned long long)load->strange_regions, load->strange_regions == 1 ? "row is" : "rows are");
    return load_errors_report(lists, 2, name, load->sink);
}

int load_records(struct office *office, enum office_data kind, struct load_file *file, int32_t today,
                 struct diag_sink *sink, struct load_summary *ret_summary)
{
    struct record_load load = {.kind = &KINDS[kind], .file = file, .sink = sink};
    struct load_errors conflicts = {.count = 0};
    size_t errors = sink->errors;

    load.records = (struct chunks){offsetof(struct record, values) + (size_t)load.kind->count * sizeof(struct value),
                                   NULL, 0, 0, 0};
    int status = read_file(&load);
    if (status == WM_OK)
        status = sort_records(&load, &conflicts);
    if (status == WM_OK)
        status = report_all(&load, &conflicts);
    if (status == WM_OK)
        status = store_records(&load, office, kind, today);
    if (status == WM_NO_MEMORY && sink->errors == errors)
        diag_error(sink, (struct place){file->source.name, 0, 0}, "out of memory; nothing was loaded");
    if (status == WM_OK)
        *ret_summary = load.summary;
    free(load.sorted);
    chunks_free(&load.records);
    arena_free(&load.block_arena);
    arena_free(&load.texts);
    load_errors_free(&load.errors);
    load_errors_free(&conflicts);
    return status;
}
