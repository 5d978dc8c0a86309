/* csv.h - rows of cells from CSV as RFC 4180 describes it, with physical lines counted.
 *
 * Two layers. csv_blocks reads a file (or standard input) and cuts it where a row ends, so that several
 * threads can take blocks; csv_rows walks the rows of one block, or of a whole small file in memory.
 *
 * Plain rows, without a quote, are split here; a row that holds a quote goes through libcsv in strict mode.
 * Both give the same (a differential test holds them together). A row ends at a line feed outside quotes;
 * a carriage return is a blank. Blanks around a cell are not part of it, inside quotes either. An empty
 * line, and a row whose cells are all empty, is no row. After a malformed quote the row ends with its
 * physical line, so that the next row is read as it stands.
 *
 * Not here: what a column means. Cells are borrowed from the block, or from the arena where quotes had to
 * be undone.
 */
#ifndef WM_BASE_CSV_H
#define WM_BASE_CSV_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/text.h"

enum csv_fault {
    CSV_OK = 0,
    CSV_QUOTE,         /* a quote inside an unquoted cell, or text behind a closing quote */
    CSV_OPEN_QUOTE,    /* the text ends inside quotes */
    CSV_NUL,           /* a NUL byte */
    CSV_UTF8,          /* bytes that are not UTF-8 */
    CSV_CELL_LENGTH,   /* a cell over LIMIT_CELL_BYTES */
    CSV_TOO_MANY       /* more cells than LIMIT_COLUMNS */
};

struct csv_row {
    uint64_t line;             /* physical line on which the row starts, from 1 */
    struct text raw;           /* the row's bytes as they stand in the block, without its line end */
    uint32_t cell_count;       /* as many as the row has; at most `capacity` of them are in cells */
    struct text *cells;        /* trimmed; those that have a fault are empty */
    enum csv_fault fault;      /* the first one in the row; after CSV_QUOTE no cell from there on is known */
    uint32_t fault_column;     /* its cell, from 1 */
    uint64_t fault_line;       /* the physical line of that cell's start */
};

/* The fault in words, for a message: "holds a quote inside an unquoted cell", ... */
const char *csv_fault_words(enum csv_fault fault);

struct csv_rows {
    struct text rest;          /* not yet read */
    uint64_t line;             /* of the start of rest */
    struct arena *arena;       /* for cells with undone quotes, and libcsv's work */
    struct text *cells;        /* capacity of them, in the arena */
    uint32_t capacity;
    void *parser;              /* libcsv's, made when first needed */
    bool no_memory;
};

/* Walks text that starts on this physical line. capacity: how many cells of a row are kept, at most
 * LIMIT_COLUMNS. WM_NO_MEMORY or WM_OK. */
int csv_rows_open(struct csv_rows *ret_rows, struct text block, uint64_t line, uint32_t capacity,
                  struct arena *arena);

/* The next row that is one; false at the end, or when memory ran out (rows->no_memory). The row is valid
 * until the next call; its cells' bytes as long as block and arena are. */
bool csv_rows_next(struct csv_rows *rows, struct csv_row *ret_row);

/* Gives libcsv's memory back. Accepts zeroed rows. */
void csv_rows_close(struct csv_rows *rows);

/* A leading UTF-8 byte order mark is skipped by csv_blocks; for text in memory, do it with this. */
struct text csv_without_mark(struct text t);

/* One block of whole rows. */
struct csv_block {
    struct text bytes;         /* whole rows; the last may lack its line feed at the end of the file */
    uint64_t line;             /* physical line of the first byte, from 1 */
    uint64_t number;           /* 0 for the first block */
    bool open_quote;           /* the file ended inside quotes: nothing of it may be used */
    bool last;
};

struct csv_blocks;

/* path "-" is standard input. A folder, a missing file: WM_IO with a diagnostic. block_bytes: how large
 * a block should be at least (the last one is smaller); a single row may make it larger, up to
 * LIMIT_ROW_BYTES. */
int csv_blocks_open(struct csv_blocks **ret_blocks, const char *path, size_t block_bytes, struct diag_sink *sink);

/* Fills `bytes` (the caller's, reused from block to block) with the next whole rows. WM_NOT_FOUND: no more.
 * WM_IO, WM_LIMIT, WM_NO_MEMORY with a diagnostic. The block borrows from bytes. Not for two threads at once. */
struct buffer;
int csv_blocks_next(struct csv_blocks *blocks, struct buffer *bytes, struct csv_block *ret_block,
                    struct diag_sink *sink);

void csv_blocks_close(struct csv_blocks *blocks);

/* The header of a CSV file: which column stands where. */
struct csv_column {
    const char *name;
    bool required;
};

/* Matches a header row against the columns known; ret_at[i] is the cell of columns[i], or -1. Reports a
 * required column that is missing (with the nearest name there is), a column named twice (error), and, as
 * one warning, the unknown ones. WM_BAD_INPUT after an error. */
int csv_header(const struct csv_row *row, struct text file, const struct csv_column *columns, size_t count,
               int *ret_at, struct diag_sink *sink);

#endif
