#include "base/sheet.h"

#include "base/buffer.h"
#include "base/limits.h"
#include "base/status.h"

struct text sheet_cell(const struct sheet *sheet, int column)
{
    int at = sheet->at[column];
    return at < 0 ? (struct text){"", 0} : sheet->row->cells[at];
}

struct place sheet_place(const struct sheet *sheet, int column)
{
    return (struct place){sheet->file, sheet->row->line, (uint32_t)(sheet->at[column] + 1)};
}

static void report_empty(const struct sheet *sheet)
{
    struct buffer names = BUFFER_EMPTY;

    for (size_t i = 0; i < sheet->count; i++) {
        if (i > 0)
            buffer_add_byte(&names, ',');
        buffer_add_string(&names, sheet->columns[i].name);
    }
    diag_error(sheet->sink, (struct place){sheet->file, 1, 0}, "the file is empty; it needs a header %.*s",
               TEXT_ARGUMENTS(buffer_text(&names)));
    buffer_free(&names);
}

static int read_header(struct sheet *sheet, struct csv_rows *rows, uint32_t *ret_width)
{
    struct csv_row row;

    if (!csv_rows_next(rows, &row)) {
        if (rows->no_memory)
            return WM_NO_MEMORY;
        report_empty(sheet);
        return WM_BAD_INPUT;
    }
    *ret_width = row.cell_count;
    return csv_header(&row, sheet->file, sheet->columns, sheet->count, sheet->at, sheet->sink);
}

/* Reports why the row cannot be used; true if it can. */
static bool row_is_whole(const struct sheet *sheet, uint32_t width)
{
    const struct csv_row *row = sheet->row;

    if (row->fault != CSV_OK)
        diag_error(sheet->sink, (struct place){sheet->file, row->fault_line, row->fault_column}, "the cell %s",
                   csv_fault_words(row->fault));
    else if (row->cell_count != width)
        diag_error(sheet->sink, (struct place){sheet->file, row->line, 0},
                   "the row has %u cells, the header %u; make them the same", row->cell_count, width);
    return row->fault == CSV_OK && row->cell_count == width;
}

int sheet_read(struct arena *arena, struct text file, struct text csv, const struct csv_column *columns, size_t count,
               int (*read)(void *context, const struct sheet *sheet), void *context, struct diag_sink *sink)
{
    struct sheet sheet = {.file = file, .columns = columns, .count = count, .arena = arena, .sink = sink};
    struct csv_rows rows = {0};
    struct csv_row row;
    uint32_t width = 0;
    size_t errors = sink->errors;

    int status = csv_rows_open(&rows, csv_without_mark(csv), 1, LIMIT_COLUMNS, arena);
    if (status == WM_OK)
        status = read_header(&sheet, &rows, &width);
    while (status == WM_OK && csv_rows_next(&rows, &row)) {
        sheet.row = &row;
        if (row.cells[0].length > 0 && row.cells[0].bytes[0] == '#')
            continue;
        if (row_is_whole(&sheet, width))
            status = read(context, &sheet);
    }
    if (status == WM_OK && rows.no_memory)
        status = WM_NO_MEMORY;
    csv_rows_close(&rows);
    return status == WM_OK && sink->errors > errors ? WM_BAD_INPUT : status;
}
