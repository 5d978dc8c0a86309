/* grid.h - the CSV of a table as rows of cells: header, named rows, and the rows `type` and `values`.
 *
 * Comment rows are left out. Rows that cannot be used (a CSV fault, too few or too many cells, no name or one
 * that stands already) are reported and left out. Cells are borrowed from the text and the arena.
 */
#ifndef WM_TABLES_GRID_H
#define WM_TABLES_GRID_H

#include "base/arena.h"
#include "base/diag.h"

struct grid_row {
    uint64_t line;
    struct text *cells;    /* as many as the header has */
};

struct grid {
    struct text file;
    struct grid_row header;
    uint32_t width;                  /* cells of the header */
    struct grid_row *rows;
    uint32_t row_count;
    struct grid_row type, values;    /* cells NULL: no such row */
};

/* text lives as long as the arena. Rows and their arrays are in `work`, unquoted cells in `arena`. WM_BAD_INPUT
 * where there is no header that can be read; other errors are reported and the status is WM_OK; WM_NO_MEMORY. */
int grid_read(struct arena *arena, struct arena *work, struct text file, struct text text, struct diag_sink *sink,
              struct grid *ret_grid);

#endif
