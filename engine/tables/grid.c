#include "tables/grid.h"

#include <assert.h>

#include "base/csv.h"
#include "base/limits.h"
#include "base/status.h"
#include "base/text_index.h"

struct grid_reader {
    struct arena *work;
    struct diag_sink *sink;
    struct grid *grid;
    struct text_index names;    /* row name to line */
    uint32_t capacity;
};

static struct place place_at(const struct grid_reader *reader, uint64_t line, uint32_t column)
{
    return (struct place){reader->grid->file, line, column};
}

static bool is_comment(const struct csv_row *row)
{
    if (row->cell_count > 0 && text_starts_with(row->cells[0], TEXT("#")))
        return true;
    return text_starts_with(text_trim(row->raw), TEXT("#"));
}

/* Reports what is wrong with the row as CSV. */
static bool is_readable(const struct grid_reader *reader, const struct csv_row *row)
{
    if (row->fault == CSV_OK)
        return true;
    diag_error(reader->sink, place_at(reader, row->fault_line, row->fault_column), "the cell %s",
               csv_fault_words(row->fault));
    return false;
}

static bool has_width(const struct grid_reader *reader, const struct csv_row *row)
{
    uint32_t width = reader->grid->width;

    if (row->cell_count == width)
        return true;
    uint32_t column = (row->cell_count < width ? row->cell_count : width) + 1;
    diag_error(reader->sink, place_at(reader, row->line, column),
               "the row has %u cell%s and the header %u; make them the same", row->cell_count,
               plural(row->cell_count), width);
    return false;
}

/* WM_BAD_INPUT, reported: no name, or one that stands already. */
static int check_name(struct grid_reader *reader, const struct csv_row *row)
{
    struct text name = row->cells[0];

    if (name.length == 0) {
        diag_error(reader->sink, place_at(reader, row->line, 1),
                   "the row has no name; write one in its first cell, findings cite it");
        return WM_BAD_INPUT;
    }
    assert(row->line < TEXT_INDEX_NONE); /* a table has at most LIMIT_RULES_FILE_BYTES */
    uint32_t line = (uint32_t)row->line;
    uint32_t known = text_index_add(&reader->names, name, line);
    if (known == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    if (known == line)
        return WM_OK;
    diag_error(reader->sink, place_at(reader, row->line, 1),
               "the row name \"%.*s\" stands on line %u already; give each row a name of its own",
               TEXT_ARGUMENTS(name), known);
    return WM_BAD_INPUT;
}

static int copy_row(struct grid_reader *reader, const struct csv_row *row, struct grid_row *ret_row)
{
    struct text *cells = ARENA_ARRAY(reader->work, struct text, row->cell_count);

    if (cells == NULL)
        return WM_NO_MEMORY;
    memcpy(cells, row->cells, row->cell_count * sizeof *cells);
    *ret_row = (struct grid_row){row->line, cells};
    return WM_OK;
}

static int add_row(struct grid_reader *reader, const struct csv_row *row)
{
    struct grid *grid = reader->grid;

    if (grid->row_count == LIMIT_TABLE_ROWS) {
        diag_error(reader->sink, place_at(reader, row->line, 1), "the table has more than %u rows; split it",
                   LIMIT_TABLE_ROWS);
        return WM_LIMIT;
    }
    if (grid->row_count == reader->capacity) {
        uint32_t capacity = reader->capacity ? reader->capacity * 2 : 64;
        grid->rows = arena_grown(reader->work, grid->rows, grid->row_count, capacity, sizeof *grid->rows);
        if (grid->rows == NULL)
            return WM_NO_MEMORY;
        reader->capacity = capacity;
    }
    int status = copy_row(reader, row, &grid->rows[grid->row_count]);
    grid->row_count += status == WM_OK;
    return status;
}

/* WM_LIMIT: no further row. */
static int read_row(struct grid_reader *reader, const struct csv_row *row)
{
    if (is_comment(row) || !is_readable(reader, row) || !has_width(reader, row))
        return WM_OK;
    int status = check_name(reader, row);
    if (status != WM_OK)
        return status == WM_BAD_INPUT ? WM_OK : status;
    if (text_is(row->cells[0], "type"))
        return copy_row(reader, row, &reader->grid->type);
    if (text_is(row->cells[0], "values"))
        return copy_row(reader, row, &reader->grid->values);
    return add_row(reader, row);
}

static int read_header(struct grid_reader *reader, struct csv_rows *rows)
{
    struct csv_row row;

    while (csv_rows_next(rows, &row)) {
        if (is_comment(&row))
            continue;
        if (!is_readable(reader, &row))
            return WM_BAD_INPUT;
        reader->grid->width = row.cell_count;
        return copy_row(reader, &row, &reader->grid->header);
    }
    if (rows->no_memory)
        return WM_NO_MEMORY;
    diag_error(reader->sink, place_at(reader, 1, 1),
               "the table is empty; its first row names the hit policy and the columns");
    return WM_BAD_INPUT;
}

static int read_rows(struct grid_reader *reader, struct csv_rows *rows)
{
    struct csv_row row;

    int status = read_header(reader, rows);
    while (status == WM_OK && csv_rows_next(rows, &row))
        status = read_row(reader, &row);
    if (status == WM_LIMIT)
        return WM_OK;
    return status == WM_OK && rows->no_memory ? WM_NO_MEMORY : status;
}

int grid_read(struct arena *arena, struct arena *work, struct text file, struct text text, struct diag_sink *sink,
              struct grid *ret_grid)
{
    struct grid_reader reader = {.work = work, .sink = sink, .grid = ret_grid, .names = TEXT_INDEX_EMPTY};
    struct csv_rows rows;

    *ret_grid = (struct grid){.file = file};
    int status = csv_rows_open(&rows, csv_without_mark(text), 1, LIMIT_COLUMNS, arena);
    if (status != WM_OK)
        return status;
    status = read_rows(&reader, &rows);
    csv_rows_close(&rows);
    text_index_free(&reader.names);
    return status;
}
