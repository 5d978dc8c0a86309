/* sheet.h - a small CSV file with a header of known columns, read whole, row by row.
 *
 * For the lists of the rules folder. A row whose first cell starts with # is a comment, as in tables. The caller's
 * function gets every other row that can be read; rows that cannot are reported here. Cells are borrowed from the text,
 * or from the arena.
 */
#ifndef WM_BASE_SHEET_H
#define WM_BASE_SHEET_H

#include "base/arena.h"
#include "base/csv.h"
#include "base/diag.h"

enum { SHEET_COLUMNS = 16 };    /* known columns of one sheet at most */

struct sheet {
    struct text file;
    const struct csv_column *columns;
    size_t count;
    int at[SHEET_COLUMNS];
    const struct csv_row *row;
    struct arena *arena;
    struct diag_sink *sink;
};

/* The cell of a known column in the row at hand; empty where the file has no such column. */
struct text sheet_cell(const struct sheet *sheet, int column);
struct place sheet_place(const struct sheet *sheet, int column);

/* Calls `read` for each row. Returns its first status that is not WM_OK at once; WM_BAD_INPUT after any error
 * that was reported, by it or here. */
int sheet_read(struct arena *arena, struct text file, struct text csv, const struct csv_column *columns, size_t count,
               int (*read)(void *context, const struct sheet *sheet), void *context, struct diag_sink *sink);

#endif
