/* csv.h - rows of cells from CSV as RFC 4180 describes it, with physical lines counted.
 *
 * Three layers. A csv_source is an open file that can be read more than once (standard input and pipes are
 * copied to a temporary file without a name first). csv_blocks cuts a source where a row ends, so that several
 * threads can take blocks. csv_rows walks the rows of one block, or of a whole small file in memory.
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
    struct text raw;           /* the row's bytes as they stand in the block, without its line feed */
    uint32_t cell_count;       /* as many as the row has; at most `capacity` of them are in cells */
    struct text *cells;        /* trimmed, never NULL bytes; those that have a fault are csv_faulty_cell */
    bool cut_short;            /* a quote is malformed or open: no cell from there on is known or counted */
    enum csv_fault fault;      /* that of the first cell that has one; cells beyond the capacity are not looked at */
    uint32_t fault_column;     /* its cell, from 1 */
    uint64_t fault_line;       /* the physical line of that cell's start */
};

/* What stands in cells for a cell that has a fault: empty, and told from an empty cell by its address. */
extern const char csv_faulty_cell[1];

static inline bool csv_cell_is_faulty(struct text cell)
{
    return cell.bytes == csv_faulty_cell;
}

/* The fault in words, for a message: "holds a NUL byte; ...", with what to do. */
const char *csv_fault_words(enum csv_fault fault);

/* The physical line on which a cell starts (column from 1); a column that the row does not have: its last. */
uint64_t csv_cell_line(const struct csv_row *row, uint32_t column);

struct csv_rows {
    struct text rest;          /* not yet read */
    uint64_t line;             /* of the start of rest */
    struct arena *arena;       /* for cells with undone quotes */
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

/* A file that is open for reading, as it was when it was opened: what is appended later is not read. */
struct csv_source {
    int descriptor;            /* a regular file; owned. Read with pread only, so that its position does not matter */
    struct text name;          /* as the user named it, or "standard input"; borrowed from path */
    uint64_t bytes;            /* its size, a byte order mark included */
    uint64_t start;            /* where the text starts: 3 behind a byte order mark, else 0 */
};

/* path "-" is standard input, read to its end here. A folder, a missing file: WM_IO. A file whose first row is
 * not text (a UTF-16 or UTF-32 byte order mark, a NUL byte): WM_BAD_INPUT. Each with a diagnostic. */
int csv_source_open(struct csv_source *ret_source, const char *path, struct diag_sink *sink);

/* Accepts a zeroed source and one that is closed. */
void csv_source_close(struct csv_source *source);

#define CSV_DIGEST_BYTES 32

/* What one quick pass over a source tells. */
struct csv_scan {
    uint64_t lines;                       /* physical lines; a last one without line feed counts */
    uint8_t digest[CSV_DIGEST_BYTES];     /* BLAKE2b-256 of all bytes; zeros where it was not asked for */
};

/* Reads the whole source once, in constant memory. A quote that is never closed: WM_BAD_INPUT with a diagnostic at
 * the line where it opens; then nothing of the file may be used. The digest costs about a second a GiB. */
int csv_source_scan(const struct csv_source *source, bool with_digest, struct csv_scan *ret_scan,
                    struct diag_sink *sink);

/* BLAKE2b-256 of all bytes. WM_IO or WM_NO_MEMORY with a diagnostic. May run beside other reading of the source. */
int csv_source_digest(const struct csv_source *source, uint8_t ret_digest[CSV_DIGEST_BYTES], struct diag_sink *sink);

/* Reads bytes of the source again. WM_IO with a diagnostic. */
int csv_source_read(const struct csv_source *source, uint64_t place, char *bytes, size_t length,
                    struct diag_sink *sink);

/* One block of whole rows. */
struct csv_block {
    struct text bytes;         /* whole rows; the last may lack its line feed at the end of the file */
    uint64_t line;             /* physical line of the first byte, from 1 */
    uint64_t number;           /* 0 for the first block */
    uint64_t place;            /* of its first byte in the source */
    bool open_quote;           /* the file ended inside quotes: nothing of it may be used */
    bool last;
};

struct csv_blocks;
struct buffer;

/* The source must stay open meanwhile; the same source may be cut several times. block_bytes: how large a
 * block should be about; a single row may make it larger, up to LIMIT_ROW_BYTES. WM_NO_MEMORY or WM_OK. */
int csv_blocks_open(struct csv_blocks **ret_blocks, const struct csv_source *source, size_t block_bytes);

/* Fills `bytes` (the caller's, reused from block to block) with the next whole rows. WM_NOT_FOUND: no more.
 * WM_IO, WM_LIMIT, WM_NO_MEMORY with a diagnostic. The block borrows from bytes. Not for two threads at once. */
int csv_blocks_next(struct csv_blocks *blocks, struct buffer *bytes, struct csv_block *ret_block,
                    struct diag_sink *sink);

void csv_blocks_close(struct csv_blocks *blocks);

/* The header of a CSV file: which column stands where. */
struct csv_column {
    const char *name;
    bool required;
};

/* Matches a header row against the columns known; ret_at[i] is the cell of columns[i], or -1. Reports a
 * required column that is missing (with the nearest name there is), a known column named twice (error), and, as
 * one warning, the unknown ones. The row must come from rows of capacity
 * LIMIT_COLUMNS. row NULL: the file has no row, which is an error too. WM_BAD_INPUT after an error. */
int csv_header(const struct csv_row *row, struct text file, const struct csv_column *columns, size_t count,
               int *ret_at, struct diag_sink *sink);

#endif
