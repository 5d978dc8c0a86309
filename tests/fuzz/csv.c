/* Rows of CSV: the hand-written splitter, the slow reader of tests/unit/slow_csv.h and libcsv say the same; and
 * blocks of any size, put together, are the file. The first byte is the size of a block. */
#include "fuzz.h"
#include "slow_csv.h"

#include <sys/mman.h>

enum { COMPARED_BYTES = 4000 };

static bool same(const struct buffer *a, const struct buffer *b)
{
    return text_equal(buffer_text(a), buffer_text(b));
}

static void as_the_slow_reader(struct text t, const struct buffer *described)
{
    static struct buffer slow;

    buffer_clear(&slow);
    reference(t, &slow);
    must(same(&slow, described), "the splitter reads what the slow reader reads");
}

/* The rows as libcsv_row writes them: cells alone. */
static void describe_cells(struct text t, struct buffer *out)
{
    struct arena arena = ARENA_EMPTY;
    struct csv_rows rows;
    struct csv_row row;

    must(csv_rows_open(&rows, t, 1, 8, &arena) == WM_OK, "there is memory");
    while (csv_rows_next(&rows, &row)) {
        for (uint32_t i = 0; i < row.cell_count && i < 8; i++)
            buffer_format(out, "[%.*s]", TEXT_ARGUMENTS(row.cells[i]));
        if (row.cell_count > 8)
            buffer_format(out, "+%u", row.cell_count - 8);
        buffer_add_byte(out, '\n');
    }
    csv_rows_close(&rows);
    arena_free(&arena);
}

/* Whether some row is cut short, and whether the text ends inside quotes. */
static void look_for_faults(struct text t, bool *ret_cut_short, bool *ret_open)
{
    struct arena arena = ARENA_EMPTY;
    struct csv_rows rows;
    struct csv_row row;

    *ret_cut_short = *ret_open = false;
    must(csv_rows_open(&rows, t, 1, 1, &arena) == WM_OK, "there is memory");
    while (csv_rows_next(&rows, &row)) {
        *ret_cut_short |= row.cut_short;
        *ret_open |= row.fault == CSV_OPEN_QUOTE;
    }
    csv_rows_close(&rows);
    arena_free(&arena);
}

static void as_libcsv(struct text t, bool cut_short)
{
    static struct libcsv_rows rows;
    static struct buffer bare;

    buffer_clear(&rows.rows);
    buffer_clear(&rows.row);
    buffer_clear(&bare);
    rows.filled = false;
    rows.count = 0;
    must(libcsv_reads(t, &rows) == !cut_short, "libcsv refuses what the splitter refuses");
    if (cut_short)
        return;
    describe_cells(t, &bare);
    must(same(&bare, &rows.rows), "libcsv reads the same cells");
}

/* A file in memory that is opened by name. */
static int file_in_memory(struct text t, char path[64])
{
    static int descriptor = -1;

    if (descriptor < 0)
        descriptor = memfd_create("input", 0);
    must(descriptor >= 0 && ftruncate(descriptor, 0) == 0 &&
             pwrite(descriptor, t.bytes, t.length, 0) == (ssize_t)t.length,
         "there is memory");
    snprintf(path, 64, "/proc/self/fd/%d", descriptor);
    return descriptor;
}

static void blocks_are_the_file(struct text t, size_t block_bytes, const struct buffer *described, bool open)
{
    static struct buffer out, bytes;
    struct diag_sink sink = looking_sink();
    struct csv_source source;
    struct csv_scan scan;
    struct csv_blocks *blocks = NULL;
    struct csv_block block;
    char path[64];
    int status;

    file_in_memory(t, path);
    if (!went_well(csv_source_open(&source, path, &sink), &sink))
        return;
    bool whole = went_well(csv_source_scan(&source, false, &scan, &sink), &sink);
    must(whole == !open, "a quote that is never closed is seen");
    buffer_clear(&out);
    if (whole) {
        must(csv_blocks_open(&blocks, &source, block_bytes) == WM_OK, "there is memory");
        while ((status = csv_blocks_next(blocks, &bytes, &block, &sink)) == WM_OK)
            describe(block.bytes, block.line, 8, &out);
        must(status == WM_NOT_FOUND, "blocks end with the file");
        must(same(&out, described), "blocks are the file");
        csv_blocks_close(blocks);
    }
    csv_source_close(&source);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    static struct buffer described;
    struct input input = input_of(bytes, length);
    size_t block_bytes = 1 + input_choose(&input, 256);
    struct text t, unmarked;
    bool cut_short, open;
    char *copy = input_rest(&input, &t);

    buffer_clear(&described);
    unmarked = csv_without_mark(t);
    describe(unmarked, 1, 8, &described);
    look_for_faults(unmarked, &cut_short, &open);
    if (t.length < COMPARED_BYTES && memchr(t.bytes, 0, t.length) == NULL && text_is_utf8(t)) {
        as_the_slow_reader(unmarked, &described);
        as_libcsv(unmarked, cut_short);
        if (block_bytes % 4 == 0)
            blocks_are_the_file(t, block_bytes, &described, open);
    }
    free(copy);
    return 0;
}
