/* slow_csv.h - rows of CSV as text, the slow and obvious way to read them, and what libcsv says of them.
 *
 * For the tests and the fuzz target that hold the hand-written splitter against both.
 */
#ifndef WM_TEST_SLOW_CSV_H
#define WM_TEST_SLOW_CSV_H

#include "capture.h"

#include <csv.h>
#undef CSV_QUOTE

#include "base/buffer.h"
#include "base/csv.h"
#include "base/status.h"

/* Rows as text: `line: [cell][cell] fault@column/line`, one a line. */
static inline void describe_row(const struct csv_row *row, uint32_t capacity, struct buffer *out)
{
    static const char *const faults[] = {"", "quote", "open", "nul", "utf8", "length", "many"};

    buffer_format(out, "%llu:", (unsigned long long)row->line);
    for (uint32_t i = 0; i < row->cell_count && i < capacity; i++)
        buffer_format(out, "[%.*s]", TEXT_ARGUMENTS(row->cells[i]));
    if (row->cell_count > capacity)
        buffer_format(out, "+%u", row->cell_count - capacity);
    if (row->fault != CSV_OK)
        buffer_format(out, " %s@%u/%llu", faults[row->fault], row->fault_column,
                      (unsigned long long)row->fault_line);
    if (row->cut_short)
        buffer_add_string(out, " cut");
    buffer_add_string(out, "\n");
}

static inline void describe(struct text t, uint64_t line, uint32_t capacity, struct buffer *out)
{
    struct arena arena = ARENA_EMPTY;
    struct csv_rows rows;
    struct csv_row row;

    assert_int_equal(csv_rows_open(&rows, t, line, capacity, &arena), WM_OK);
    while (csv_rows_next(&rows, &row))
        describe_row(&row, capacity, out);
    assert_false(rows.no_memory);
    csv_rows_close(&rows);
    arena_free(&arena);
}

/* The reference: one byte after the other, as the contract's words say it. Not fast, not shared with the
 * engine. */
static inline void reference(struct text t, struct buffer *out)
{
    size_t i = 0;
    unsigned long long line = 1;

    while (i < t.length) {
        struct buffer cells = BUFFER_EMPTY, cell = BUFFER_EMPTY;
        unsigned long long row_line = line, cell_line = line;
        bool filled = false, bad = false, open = false, ended = false;
        unsigned count = 0;

        while (!ended && !bad && !open) {
            buffer_clear(&cell);
            cell_line = line;
            while (i < t.length && strchr(" \t\r", t.bytes[i]))
                i++;
            if (i < t.length && t.bytes[i] == '"') {
                for (i++;; i++) {
                    if (i >= t.length) {
                        open = true;
                        break;
                    }
                    if (t.bytes[i] == '"' && (i + 1 >= t.length || t.bytes[i + 1] != '"')) {
                        i++;
                        break;
                    }
                    if (t.bytes[i] == '"')
                        i++;
                    line += t.bytes[i] == '\n';
                    buffer_add_byte(&cell, t.bytes[i]);
                }
                while (!open && i < t.length && strchr(" \t\r", t.bytes[i]))
                    i++;
                bad = !open && i < t.length && t.bytes[i] != ',' && t.bytes[i] != '\n';
            } else {
                for (; i < t.length && t.bytes[i] != ',' && t.bytes[i] != '\n'; i++) {
                    if (t.bytes[i] == '"') {
                        bad = true;
                        break;
                    }
                    buffer_add_byte(&cell, t.bytes[i]);
                }
            }
            if (bad || open)
                break;
            struct text whole = text_trim(buffer_text(&cell));
            filled |= whole.length > 0;
            if (count++ < 8)
                buffer_format(&cells, "[%.*s]", TEXT_ARGUMENTS(whole));
            ended = i >= t.length || t.bytes[i] == '\n';
            if (!ended)
                i++;
        }
        if (bad)
            while (i < t.length && t.bytes[i] != '\n')
                i++;
        line += i < t.length;
        i++;
        if (filled || bad || open) {
            buffer_format(out, "%llu:%.*s", row_line, (int)cells.length, cells.bytes ? cells.bytes : "");
            if (count > 8)
                buffer_format(out, "+%u", count - 8);
            if (bad || open)
                buffer_format(out, " %s@%u/%llu cut", bad ? "quote" : "open", count + 1, cell_line);
            buffer_add_byte(out, '\n');
        }
        buffer_free(&cells);
        buffer_free(&cell);
    }
}

/* libcsv over a whole text: what it says of well-formed text, rows split by itself. */
struct libcsv_rows {
    struct buffer rows, row;
    bool filled;
    unsigned count;
};

static inline void libcsv_cell(void *bytes, size_t length, void *context)
{
    struct libcsv_rows *rows = context;
    struct text cell = text_trim((struct text){bytes ? bytes : "", length});

    rows->filled |= cell.length > 0;
    if (rows->count++ < 8)
        buffer_format(&rows->row, "[%.*s]", TEXT_ARGUMENTS(cell));
}

static inline void libcsv_row(int c, void *context)
{
    struct libcsv_rows *rows = context;

    (void)c;
    if (rows->count > 8)
        buffer_format(&rows->row, "+%u", rows->count - 8);
    if (rows->filled)
        buffer_format(&rows->rows, "%.*s\n", (int)rows->row.length, rows->row.bytes);
    buffer_clear(&rows->row);
    rows->filled = false;
    rows->count = 0;
}

static inline int libcsv_is_blank(unsigned char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

static inline int libcsv_is_end(unsigned char c)
{
    return c == '\n';
}

static inline bool libcsv_reads(struct text t, struct libcsv_rows *rows)
{
    struct csv_parser parser;
    bool read;

    assert_int_equal(csv_init(&parser, CSV_STRICT | CSV_STRICT_FINI), 0);
    csv_set_space_func(&parser, libcsv_is_blank);
    csv_set_term_func(&parser, libcsv_is_end);
    read = csv_parse(&parser, t.bytes, t.length, libcsv_cell, libcsv_row, rows) == t.length &&
           csv_fini(&parser, libcsv_cell, libcsv_row, rows) == 0;
    csv_free(&parser);
    return read;
}

static inline void without_lines(struct buffer *out, struct text described)
{
    struct text rest = described, line;

    while (rest.length > 0) {
        text_cut(rest, '\n', &line, &rest);
        const char *colon = memchr(line.bytes, ':', line.length);
        if (colon != NULL && colon - line.bytes < 4 && line.bytes[0] != '[')
            line = (struct text){colon + 1, line.length - (size_t)(colon + 1 - line.bytes)};
        buffer_add_text(out, line);
        buffer_add_byte(out, '\n');
    }
}

#endif
