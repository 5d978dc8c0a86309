#include "intake/claim.h"

#include <stdarg.h>
#include <stdio.h>

#include "base/limits.h"
#include "base/status.h"
#include "intake/excerpt.h"
#include "intake/items.h"

static const struct csv_column COLUMNS[CLAIM_COLUMNS] = {
    [COLUMN_CLAIM] = {"claim", true},
    [COLUMN_REVISION] = {"revision", false},
    [COLUMN_DEALER] = {"dealer", true},
    [COLUMN_REPAIR_ORDER] = {"repair_order", true},
    [COLUMN_CAMPAIGN] = {"campaign", true},
    [COLUMN_VIN] = {"vin", true},
    [COLUMN_OUTCOME] = {"outcome", true},
    [COLUMN_MODEL_YEAR] = {"model_year", false},
    [COLUMN_ENGINE] = {"engine", false},
    [COLUMN_ODOMETER] = {"odometer", false},
    [COLUMN_ODOMETER_UNIT] = {"odometer_unit", false},
    [COLUMN_OPENED_ON] = {"opened_on", false},
    [COLUMN_COMPLETED_ON] = {"completed_on", false},
    [COLUMN_SUBMITTED_ON] = {"submitted_on", false},
    [COLUMN_TECHNICIAN] = {"technician", false},
    [COLUMN_APPROVAL] = {"approval", false},
    [COLUMN_PARTS] = {"parts", false},
    [COLUMN_LABOR] = {"labor", false},
    [COLUMN_INSPECTIONS] = {"inspections", false},
    [COLUMN_PARTS_AMOUNT] = {"parts_amount", false},
    [COLUMN_LABOR_AMOUNT] = {"labor_amount", false},
    [COLUMN_OTHER_AMOUNT] = {"other_amount", false},
    [COLUMN_TOTAL_AMOUNT] = {"total_amount", false},
};

const char *claim_column_name(enum claim_column column)
{
    return COLUMNS[column].name;
}

int claim_header_read(const struct csv_row *row, struct text file, struct diag_sink *sink,
                      struct claim_header *ret_header)
{
    struct claim_header header;
    int status = csv_header(row, file, COLUMNS, CLAIM_COLUMNS, header.at, sink);

    if (status != WM_OK)
        return status;
    header.width = row->cell_count;
    *ret_header = header;
    return WM_OK;
}

struct reader {
    const struct claim_header *header;
    const struct csv_row *row;
    struct arena *arena;
    struct claim *claim;
    bool no_memory;
};

/* Keeps the fault that stands furthest to the left. name NULL: the column has none that we know. */
static void keep_fault(struct reader *reader, uint32_t column, const char *name, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void keep_fault(struct reader *reader, uint32_t column, const char *name, const char *format, ...)
{
    struct claim *claim = reader->claim;
    char reason[LIMIT_MESSAGE_BYTES / 2];
    va_list arguments;

    if (claim->unreadable && claim->fault_column <= column)
        return;
    va_start(arguments, format);
    vsnprintf(reason, sizeof reason, format, arguments);
    va_end(arguments);
    claim->unreadable = true;
    claim->fault_column = column;
    claim->fault_line = csv_cell_line(reader->row, column);
    claim->fault_reason = text_format(reader->arena, "line %llu, column %u%s%s%s: %s",
                                      (unsigned long long)claim->fault_line, column, name ? " (" : "",
                                      name ? name : "", name ? ")" : "", reason);
    if (claim->fault_reason.bytes == NULL)
        reader->no_memory = true;
}

/* A fault of what a cell says; words go behind its excerpt. */
static void cell_is(struct reader *reader, enum claim_column column, const char *words)
{
    char room[EXCERPT_ROOM];

    keep_fault(reader, (uint32_t)reader->header->at[column] + 1, COLUMNS[column].name, "%s %s",
               excerpt_write(reader->claim->cells[column], room), words);
}

/* Reads a number that is not negative unless it may be; empty cells are left to the caller. */
static bool read_number(struct reader *reader, enum claim_column column, unsigned places, bool may_be_negative,
                        int64_t *ret_millionths)
{
    int64_t number = 0;

    switch (decimal_read(reader->claim->cells[column], places, &number)) {
    case NUMBER_OK:
        if (number >= 0 || may_be_negative) {
            *ret_millionths = number;
            return true;
        }
        cell_is(reader, column, "is negative, which this cannot be; write it without the minus sign");
        break;
    case NUMBER_MALFORMED:
        cell_is(reader, column, places == 0 ? "is not a whole number; write digits only, such as 12" :
                "is not a number; write digits and a point only, such as 84.50");
        break;
    case NUMBER_TOO_PRECISE:
        cell_is(reader, column, places == 0 ? "is not a whole number; write it without a point, such as 12" :
                "has more than two decimals; round it to cents");
        break;
    case NUMBER_TOO_LARGE:
        cell_is(reader, column, "is too large; check it");
        break;
    }
    return false;
}

static bool read_whole(struct reader *reader, enum claim_column column, bool may_be_negative, int64_t *ret_number)
{
    int64_t millionths;

    if (reader->claim->cells[column].length == 0 || !read_number(reader, column, 0, may_be_negative, &millionths))
        return false;
    *ret_number = millionths / DECIMAL_ONE;
    return true;
}

/* Returns whether the amount is known: an empty one is 0. */
static bool read_money(struct reader *reader, enum claim_column column, int64_t *cents)
{
    struct text cell = reader->claim->cells[column];
    int64_t millionths;

    *cents = 0;
    if (cell.length == 0)
        return !csv_cell_is_faulty(cell);
    if (!read_number(reader, column, 2, false, &millionths))
        return false;
    *cents = millionths / DECIMAL_CENT;
    return true;
}

/* Up to four digits of a date that is written in another way. */
static bool take_digits(struct text *t, int *ret_number)
{
    size_t i = 0;
    int number = 0;

    for (; i < t->length && i < 4 && t->bytes[i] >= '0' && t->bytes[i] <= '9'; i++)
        number = number * 10 + (t->bytes[i] - '0');
    *t = (struct text){t->bytes + i, t->length - i};
    *ret_number = number;
    return i > 0;
}

static bool is_date(int year, int month, int day, char *room)
{
    int32_t read;

    snprintf(room, 32, "%04d-%02d-%02d", year, month, day);
    return date_read(text_of(room), &read);
}

/* For a date like 3/1/26: how it might be meant, in ISO form. */
static bool date_hint(struct text t, char *room, size_t size)
{
    char month_first[32], day_first[32];
    int first, second, year;
    bool split = take_digits(&t, &first) && t.length > 0;
    char separator = split ? t.bytes[0] : 0;

    if (!split || strchr("/.-", separator) == NULL)
        return false;
    t = (struct text){t.bytes + 1, t.length - 1};
    if (!take_digits(&t, &second) || t.length == 0 || t.bytes[0] != separator)
        return false;
    t = (struct text){t.bytes + 1, t.length - 1};
    if (!take_digits(&t, &year) || t.length > 0)
        return false;
    if (first > 99) {
        if (!is_date(first, second, year, month_first))
            return false;
        snprintf(room, size, "write it as %s", month_first);
        return true;
    }
    year += year < 100 ? 2000 : 0;
    bool is_month_first = is_date(year, first, second, month_first);
    bool is_day_first = is_date(year, second, first, day_first);
    if (is_month_first && is_day_first && first != second)
        snprintf(room, size, "write it as %s if the month comes first, as %s if the day does", month_first, day_first);
    else if (is_month_first || is_day_first)
        snprintf(room, size, "write it as %s", is_month_first ? month_first : day_first);
    return is_month_first || is_day_first;
}

static bool looks_like_iso(struct text t)
{
    if (t.length != 10)
        return false;
    for (size_t i = 0; i < t.length; i++)
        if (i == 4 || i == 7 ? t.bytes[i] != '-' : t.bytes[i] < '0' || t.bytes[i] > '9')
            return false;
    return true;
}

static void date_fault(struct reader *reader, enum claim_column column)
{
    struct text cell = reader->claim->cells[column];
    char hint[128], words[192];

    if (looks_like_iso(cell))
        cell_is(reader, column, "is not a date; there is no such day, correct it");
    else if (date_hint(cell, hint, sizeof hint)) {
        snprintf(words, sizeof words, "is not a date; %s", hint);
        cell_is(reader, column, words);
    } else
        cell_is(reader, column, "is not a date; write year, month and day, as in 2026-03-01");
}

static int32_t read_date(struct reader *reader, enum claim_column column)
{
    int32_t day;

    if (reader->claim->cells[column].length == 0)
        return DAY_NONE;
    if (date_read(reader->claim->cells[column], &day))
        return day;
    date_fault(reader, column);
    return DAY_NONE;
}

static void list_fault(struct reader *reader, enum claim_column column, int status, struct text reason)
{
    if (status == WM_NO_MEMORY)
        reader->no_memory = true;
    else if (status == WM_BAD_INPUT)
        keep_fault(reader, (uint32_t)reader->header->at[column] + 1, COLUMNS[column].name, "%.*s",
                   TEXT_ARGUMENTS(reason));
}

static void read_lists(struct reader *reader)
{
    struct claim *claim = reader->claim;
    struct text reason = TEXT(""), *cells = claim->cells;
    int status;

    if (cells[COLUMN_PARTS].length > 0) {
        status = items_read_parts(cells[COLUMN_PARTS], reader->arena, &claim->parts, &claim->part_count, &reason);
        list_fault(reader, COLUMN_PARTS, status, reason);
    }
    if (cells[COLUMN_LABOR].length > 0) {
        status = items_read_labor(cells[COLUMN_LABOR], reader->arena, &claim->labor, &claim->labor_count, &reason);
        list_fault(reader, COLUMN_LABOR, status, reason);
    }
    if (cells[COLUMN_INSPECTIONS].length > 0) {
        status = items_read_inspections(cells[COLUMN_INSPECTIONS], reader->arena, &claim->inspections,
                                        &claim->inspection_count, &reason);
        list_fault(reader, COLUMN_INSPECTIONS, status, reason);
    }
}

static bool has_lower_case(struct text t)
{
    for (size_t i = 0; i < t.length; i++)
        if (t.bytes[i] >= 'a' && t.bytes[i] <= 'z')
            return true;
    return false;
}

static void read_words(struct reader *reader)
{
    struct claim *claim = reader->claim;
    struct text vin = claim->cells[COLUMN_VIN], outcome = claim->cells[COLUMN_OUTCOME];
    struct text unit = claim->cells[COLUMN_ODOMETER_UNIT];

    claim->vin = has_lower_case(vin) ? text_upper(reader->arena, vin) : vin;
    if (claim->vin.bytes == NULL)
        reader->no_memory = true;
    if (text_equal_any_case(outcome, TEXT("inspected")))
        claim->outcome = OUTCOME_INSPECTED;
    else if (outcome.length > 0 && !text_equal_any_case(outcome, TEXT("repaired")))
        cell_is(reader, COLUMN_OUTCOME, "is not an outcome; write repaired or inspected");
    if (text_equal_any_case(unit, TEXT("km")))
        claim->odometer_is_km = true;
    else if (unit.length > 0 && !text_equal_any_case(unit, TEXT("mi")))
        cell_is(reader, COLUMN_ODOMETER_UNIT, "is not an odometer unit; write mi or km");
}

static void read_cells(struct reader *reader)
{
    struct claim *claim = reader->claim;

    read_words(reader);
    read_whole(reader, COLUMN_REVISION, false, &claim->revision);
    claim->has_model_year = read_whole(reader, COLUMN_MODEL_YEAR, true, &claim->model_year);
    claim->has_odometer = read_whole(reader, COLUMN_ODOMETER, false, &claim->odometer);
    claim->opened_on = read_date(reader, COLUMN_OPENED_ON);
    claim->completed_on = read_date(reader, COLUMN_COMPLETED_ON);
    claim->submitted_on = read_date(reader, COLUMN_SUBMITTED_ON);
    read_lists(reader);
    read_money(reader, COLUMN_PARTS_AMOUNT, &claim->parts_amount_cents);
    read_money(reader, COLUMN_LABOR_AMOUNT, &claim->labor_amount_cents);
    read_money(reader, COLUMN_OTHER_AMOUNT, &claim->other_amount_cents);
    claim->total_is_known = read_money(reader, COLUMN_TOTAL_AMOUNT, &claim->total_amount_cents);
}

/* Puts each cell of the row in its column's place; those behind a malformed quote are not known. */
static void place_cells(struct reader *reader)
{
    const struct csv_row *row = reader->row;

    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        int at = reader->header->at[column];
        struct text cell = TEXT("");
        if (at >= 0)
            cell = (uint32_t)at < row->cell_count ? row->cells[at] : (struct text){csv_faulty_cell, 0};
        reader->claim->cells[column] = cell;
        if (__builtin_expect(cell.length == 0, false) && COLUMNS[column].required && !csv_cell_is_faulty(cell))
            keep_fault(reader, (uint32_t)at + 1, COLUMNS[column].name, "is empty; every claim must state it");
    }
}

static void no_cells(struct claim *claim)
{
    for (int column = 0; column < CLAIM_COLUMNS; column++)
        claim->cells[column] = TEXT("");
    claim->vin = TEXT("");
    claim->total_is_known = false;
}

static void count_fault(struct reader *reader)
{
    uint32_t has = reader->row->cell_count + reader->row->cut_short, wanted = reader->header->width;

    no_cells(reader->claim);
    if (has < wanted)
        keep_fault(reader, has + 1, NULL,
                   "the row ends after %u cell%s and the header names %u columns; add what is missing", has,
                   plural(has), wanted);
    else
        keep_fault(reader, wanted + 1, NULL,
                   "the row has %u cells and the header names %u columns; put a cell that holds a comma in quotes", has,
                   wanted);
}

static const char *column_name_at(const struct claim_header *header, uint32_t cell)
{
    for (int column = 0; column < CLAIM_COLUMNS; column++)
        if (header->at[column] >= 0 && (uint32_t)header->at[column] + 1 == cell)
            return COLUMNS[column].name;
    return NULL;
}

static bool has_right_count(const struct csv_row *row, const struct claim_header *header)
{
    return row->cut_short ? row->cell_count < header->width : row->cell_count == header->width;
}

int claim_read(const struct claim_header *header, const struct csv_row *row, struct arena *arena,
               struct claim *claim)
{
    struct reader reader = {header, row, arena, claim, false};

    memset(claim, 0, sizeof *claim);
    claim->line = row->line;
    claim->raw = row->raw;
    claim->opened_on = claim->completed_on = claim->submitted_on = DAY_NONE;
    if (!has_right_count(row, header)) {
        count_fault(&reader);
    } else {
        if (row->fault != CSV_OK)
            keep_fault(&reader, row->fault_column, column_name_at(header, row->fault_column), "%s",
                       csv_fault_words(row->fault));
        place_cells(&reader);
        read_cells(&reader);
    }
    if (reader.no_memory)
        return WM_NO_MEMORY;
    if (claim->unreadable)
        claim->revision = 0;
    return WM_OK;
}

int claim_of_cells(struct text cells[CLAIM_COLUMNS], uint64_t line, struct arena *arena, struct claim *ret_claim)
{
    struct claim_header header = {.width = CLAIM_COLUMNS};
    struct csv_row row = {.line = line, .raw = TEXT(""), .cell_count = CLAIM_COLUMNS, .cells = cells};

    for (int column = 0; column < CLAIM_COLUMNS; column++)
        header.at[column] = column;
    return claim_read(&header, &row, arena, ret_claim);
}
