/* Rows of CSV: the hand-written splitter, the slow reader of tests/unit/slow_csv.h and libcsv say the same; and blocks of
 * any size, put together, are the file. The first byte is the size of a block. */
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

static void as_libcsv(struct text t, const struct buffer *described)
{
    static struct libcsv_rows rows;
    static struct buffer bare;

    buffer_clear(&rows.rows);
    buffer_clear(&rows.row);
    buffer_clear(&bare);
    rows.filled = false;
    rows.count = 0;
    bool cut_short = described->length > 4 && memmem(described->bytes, described->length, " cut\n", 5) != NULL;
    must(libcsv_reads(t, &rows) == !cut_short, "libcsv refuses what the splitter refuses");
    if (cut_short)
        return;
    without_lines(&bare, buffer_text(described));
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

static void blocks_are_the_file(struct text t, size_t block_bytes, const struct buffer *described)
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
    bool open = memmem(described->bytes != NULL ? described->bytes : "", described->length, " open@", 6) != NULL;
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
    char *copy = input_rest(&input, &t);

    buffer_clear(&described);
    unmarked = csv_without_mark(t);
    describe(unmarked, 1, 8, &described);
    if (t.length < COMPARED_BYTES && memchr(t.bytes, 0, t.length) == NULL && text_is_utf8(t)) {
        as_the_slow_reader(unmarked, &described);
        as_libcsv(unmarked, &described);
        if (block_bytes % 4 == 0)
            blocks_are_the_file(t, block_bytes, &described);
    }
    free(copy);
    return 0;
}
