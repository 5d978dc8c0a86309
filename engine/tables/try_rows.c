/* Rows of FACTS: their cells as values, and what the table decides. */
#include <assert.h>
#include <stdlib.h>

#include "base/limits.h"
#include "base/status.h"
#include "tables/try_parts.h"

/* --- Workers ------------------------------------------------------------------------------------------- */

int try_worker_new(const struct try_run *run, struct try_worker **ret_worker)
{
    struct try_worker *worker = calloc(1, sizeof *worker);

    if (worker == NULL)
        return WM_NO_MEMORY;
    worker->facts = calloc(run->fact_count + 1, sizeof *worker->facts);
    if (worker->facts == NULL || table_scratch_new(&worker->scratch) != WM_OK) {
        try_worker_free(worker);
        return WM_NO_MEMORY;
    }
    *ret_worker = worker;
    return WM_OK;
}

void try_worker_free(struct try_worker *worker)
{
    if (worker == NULL)
        return;
    arena_free(&worker->arena);
    table_scratch_free(worker->scratch);
    free(worker->facts);
    buffer_free(&worker->reason);
    buffer_free(&worker->cell);
    free(worker);
}

uint64_t try_worker_errors(const struct try_worker *worker)
{
    return worker->errors;
}

/* --- Cells --------------------------------------------------------------------------------------------- */

/* What is wrong with the cell as a value of its fact, or NULL. */
static const char *read_cell(struct text cell, enum value_type type, struct value *ret_value)
{
    int32_t day;
    int64_t number;

    *ret_value = value_null();
    if (cell.length == 0)
        return NULL;
    switch (type) {
    case VALUE_TEXT:
        *ret_value = value_text(cell);
        return NULL;
    case VALUE_NUMBER: {
        enum number_fault fault = decimal_read(cell, 6, &number);
        if (fault == NUMBER_OK)
            *ret_value = value_number(number);
        else
            return fault == NUMBER_TOO_PRECISE ? "has more than six places" : number_fault_words(fault);
        return NULL;
    }
    case VALUE_DATE:
        if (!date_read(cell, &day))
            return "is not a date";
        *ret_value = value_date(day);
        return NULL;
    case VALUE_BOOLEAN:
    case VALUE_NULL:
        break;
    }
    assert(type == VALUE_BOOLEAN);
    if (!text_is(cell, "true") && !text_is(cell, "false"))
        return "is not true or false";
    *ret_value = value_boolean(text_is(cell, "true"));
    return NULL;
}

static bool is_readable(const struct try_run *run, struct try_worker *worker, const struct csv_row *row)
{
    if (row->fault != CSV_OK)
        buffer_format(&worker->reason, "cell %u %s", row->fault_column, csv_fault_words(row->fault));
    else if (row->cell_count != run->width)
        buffer_format(&worker->reason, "the row has %u cell%s and the header %u", row->cell_count,
                      plural(row->cell_count), run->width);
    return worker->reason.length == 0;
}

/* Reads what the table names; false: worker->reason says why not. */
static bool read_facts(const struct try_run *run, struct try_worker *worker, const struct csv_row *row)
{
    if (!is_readable(run, worker, row))
        return false;
    for (uint32_t i = 0; i < run->fact_count; i++) {
        const struct try_fact *fact = &run->facts[i];
        if (fact->column < 0)
            continue;
        const char *wrong = read_cell(row->cells[fact->column], fact->ref.type, &worker->facts[i]);
        if (wrong != NULL) {
            buffer_format(&worker->reason, "%.*s: %.*s %s", TEXT_ARGUMENTS(fact->name),
                          TEXT_ARGUMENTS(row->cells[fact->column]), wrong);
            return false;
        }
    }
    return true;
}

/* --- Decisions ----------------------------------------------------------------------------------------- */

static void explain_fault(const struct try_run *run, struct try_worker *worker, const struct table_hits *hits)
{
    struct text first = table_row_name(run->table, hits->first_row);
    struct text second = table_row_name(run->table, hits->second_row);

    switch (hits->fault) {
    case TABLE_TWO_HITS:
        buffer_format(&worker->reason, "rows %.*s and %.*s both hit and U allows one", TEXT_ARGUMENTS(first),
                      TEXT_ARGUMENTS(second));
        break;
    case TABLE_OUTPUTS_DIFFER:
        buffer_format(&worker->reason, "rows %.*s and %.*s hit with different outputs and A allows no difference",
                      TEXT_ARGUMENTS(first), TEXT_ARGUMENTS(second));
        break;
    case TABLE_PATTERN_GIVEN_UP:
        buffer_format(&worker->reason, "the pattern of row %.*s was given up, it takes too many steps",
                      TEXT_ARGUMENTS(first));
        break;
    case TABLE_SUM_TOO_LARGE:
    case TABLE_OK:
        assert(hits->fault != TABLE_OK);
        buffer_format(&worker->reason, "the sum from row %.*s to row %.*s is too large a number",
                      TEXT_ARGUMENTS(first), TEXT_ARGUMENTS(second));
        break;
    }
}

static int decide_row(const struct try_run *run, struct try_worker *worker, const struct csv_row *row,
                      struct buffer *out)
{
    struct table_hits hits;

    buffer_clear(&worker->reason);
    if (read_facts(run, worker, row)) {
        int status = table_decide(run->table, worker->facts, worker->scratch, &hits);
        if (status != WM_OK)
            return status;
        if (hits.fault == TABLE_OK) {
            try_write_row(run, worker, row, &hits, out);
            return WM_OK;
        }
        explain_fault(run, worker, &hits);
    }
    worker->errors++;
    try_write_row(run, worker, row, NULL, out);
    return worker->reason.failed ? WM_NO_MEMORY : WM_OK;
}

int try_rows(const struct try_run *run, struct try_worker *worker, struct text rows, uint64_t line, struct buffer *out)
{
    struct csv_rows walk;
    struct csv_row row;

    arena_reset(&worker->arena);
    int status = csv_rows_open(&walk, rows, line, LIMIT_COLUMNS, &worker->arena);
    if (status != WM_OK)
        return status;
    while (status == WM_OK && csv_rows_next(&walk, &row))
        status = decide_row(run, worker, &row, out);
    csv_rows_close(&walk);
    if (status == WM_OK && (walk.no_memory || out->failed || worker->cell.failed))
        return WM_NO_MEMORY;
    return status;
}
