#include "base/csv.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include <sodium.h>

#include "base/buffer.h"
#include "base/csv_masks.h"
#include "base/csv_quoted.h"
#include "base/file.h"
#include "base/limits.h"
#include "base/status.h"

/* Bytes taken from the system at a time: they stay in the processor's second cache while they are looked at. */
enum { READ_BYTES = 256 * 1024 };

/* Not "": compilers give equal literals one address. */
const char csv_faulty_cell[1] = {1};

const char *csv_fault_words(enum csv_fault fault)
{
    switch (fault) {
    case CSV_OK: return "can be read";
    case CSV_QUOTE:
        return "holds a quote where none may stand; put the whole cell in quotes and double those inside it";
    case CSV_OPEN_QUOTE: return "opens a quote that is never closed; close it";
    case CSV_NUL: return "holds a NUL byte; remove it";
    case CSV_UTF8: return "is not UTF-8 text; save the file as CSV UTF-8";
    case CSV_CELL_LENGTH: return "is longer than 64 KiB; shorten it";
    case CSV_TOO_MANY: break;
    }
    return "is one cell too many; a row has at most 512";
}

/* Follows quotes over text that comes in pieces, hopping from quote to quote. What it holds of a row's shape is
 * what libcsv in strict mode holds, so that both see the same rows. */
struct quote_walk {
    enum { CELL_FRESH, CELL_BEGUN, IN_QUOTES, QUOTE_SEEN, QUOTES_CLOSED, LINE_SPOILT } state;
    uint64_t before;      /* bytes of the pieces before this one */
    uint64_t opened_at;   /* where the last quote that opens a cell stands */
};

static const struct quote_walk WALK_AT_ROW_START = {CELL_FRESH, 0, 0};

/* Is there nothing but blanks between the start of its cell and `at`? from: where the walk stands. */
static bool only_blanks_before(const struct quote_walk *walk, const char *from, const char *at)
{
    while (at > from && text_is_blank(at[-1]))
        at--;
    if (at == from)
        return walk->state == CELL_FRESH;
    return at[-1] == ',' || at[-1] == '\n';
}

/* Walks over [from, end). Returns where the last row that ends in it ends (behind the line feed), or NULL; with
 * first, stops at the end of the first row. */
static const char *walk_rows(struct quote_walk *walk, const char *from, const char *end, bool first)
{
    const char *piece = from, *row_end = NULL;

    while (from < end) {
        const char *quote, *feed;
        switch (walk->state) {
        case CELL_FRESH:
        case CELL_BEGUN:
            feed = first ? memchr(from, '\n', (size_t)(end - from)) : NULL;
            quote = memchr(from, '"', (size_t)((feed ? feed : end) - from));
            if (!first)
                feed = memrchr(from, '\n', (size_t)((quote ? quote : end) - from));
            if (feed != NULL && (!first || quote == NULL))
                row_end = feed + 1;
            if (first && row_end != NULL)
                return row_end;
            if (quote == NULL) {
                walk->state = only_blanks_before(walk, from, end) ? CELL_FRESH : CELL_BEGUN;
                from = end;
                break;
            }
            walk->state = only_blanks_before(walk, from, quote) ? IN_QUOTES : LINE_SPOILT;
            if (walk->state == IN_QUOTES)
                walk->opened_at = walk->before + (uint64_t)(quote - piece);
            from = quote + 1;
            break;
        case IN_QUOTES:
            quote = memchr(from, '"', (size_t)(end - from));
            if (quote != NULL)
                walk->state = QUOTE_SEEN;
            from = quote ? quote + 1 : end;
            break;
        case QUOTE_SEEN:
            walk->state = *from == '"' ? IN_QUOTES : QUOTES_CLOSED;
            from += *from == '"';
            break;
        case QUOTES_CLOSED:
            while (from < end && text_is_blank(*from))
                from++;
            if (from == end)
                break;
            walk->state = *from == ',' ? CELL_FRESH : *from == '\n' ? CELL_FRESH : LINE_SPOILT;
            if (*from == '\n')
                row_end = from + 1;
            from += walk->state == CELL_FRESH;
            break;
        case LINE_SPOILT:
            feed = memchr(from, '\n', (size_t)(end - from));
            if (feed != NULL) {
                walk->state = CELL_FRESH;
                row_end = feed + 1;
            }
            from = feed ? feed + 1 : end;
            break;
        }
        if (first && row_end != NULL)
            return row_end;
    }
    walk->before += (uint64_t)(end - piece);
    return row_end;
}

/* One row at the start of text, as far as no quote has been met. */
struct plain_row {
    size_t length;      /* up to its line feed, the end of the text, or the quote */
    uint32_t count;
    bool quote, nul, high, filled;
};

static inline struct text trimmed(const char *from, const char *to)
{
    while (from < to && text_is_blank(*from))
        from++;
    while (from < to && text_is_blank(to[-1]))
        to--;
    return (struct text){from, (size_t)(to - from)};
}

static struct plain_row split_plain(struct text t, struct text *cells, uint32_t capacity)
{
    struct plain_row row = {0, 0, false, false, false, false};
    const char *cell = t.bytes, *end = t.bytes + t.length, *row_end = NULL;
    size_t filled = 0;
    uint64_t high = 0;

    for (const char *at = t.bytes; row_end == NULL; at += CSV_STRIDE) {
        struct csv_masks masks;
        if (end - at >= CSV_STRIDE) {
            masks = csv_masks_of(at);
        } else {
            char last[CSV_STRIDE];
            size_t left = (size_t)(end - at);
            memset(last, '\n', sizeof last);
            memcpy(last, at, left);
            masks = csv_masks_of(last);
        }
        high |= masks.high;
        uint64_t stops = masks.stops, until = ~UINT64_C(0);
        while (stops != 0) {
            const char *stop = at + __builtin_ctzll(stops);
            if (stop >= end || *stop != '\0') {
                until = (stops & -stops) - 1;
                row.quote = stop < end && *stop == '"';
                row_end = stop;
                break;
            }
            row.nul = true;
            stops &= stops - 1;
        }
        for (uint64_t commas = masks.commas & until; commas != 0; commas &= commas - 1) {
            const char *comma = at + __builtin_ctzll(commas);
            struct text t_cell = trimmed(cell, comma);
            filled |= t_cell.length;
            if (row.count < capacity)
                cells[row.count] = t_cell;
            row.count++;
            cell = comma + 1;
        }
    }
    struct text last_cell = trimmed(cell, row_end);
    if (row.count < capacity)
        cells[row.count] = last_cell;
    row.count++;
    row.filled = (filled | last_cell.length) != 0;
    row.high = high != 0;
    row.length = (size_t)(row_end - t.bytes);
    return row;
}

int csv_rows_open(struct csv_rows *ret_rows, struct text block, uint64_t line, uint32_t capacity,
                  struct arena *arena)
{
    struct csv_rows rows = {.rest = block, .line = line, .arena = arena, .capacity = capacity};

    if (capacity > LIMIT_COLUMNS)
        rows.capacity = LIMIT_COLUMNS;
    rows.cells = ARENA_ARRAY(arena, struct text, rows.capacity);
    if (rows.cells == NULL)
        return WM_NO_MEMORY;
    *ret_rows = rows;
    return WM_OK;
}

void csv_rows_close(struct csv_rows *rows)
{
    csv_quoted_close(rows->parser);
    rows->parser = NULL;
}

struct text csv_without_mark(struct text t)
{
    if (text_starts_with(t, TEXT("\xef\xbb\xbf"))) {
        t.bytes += 3;
        t.length -= 3;
    }
    return t;
}

/* Where the cell of this column starts in the row's bytes: the same walk, from comma to comma outside quotes. */
static size_t cell_start(struct text raw, uint32_t column)
{
    bool quotes = false;
    size_t at = 0;

    for (size_t i = 0; i < raw.length && column > 1; i++) {
        if (raw.bytes[i] == '"')
            quotes = !quotes;
        else if (raw.bytes[i] == ',' && !quotes) {
            column--;
            at = i + 1;
        }
    }
    return at;
}

uint64_t csv_cell_line(const struct csv_row *row, uint32_t column)
{
    return row->line + csv_line_feeds(row->raw.bytes, cell_start(row->raw, column));
}

/* Cells are looked at from left to right: the first fault stays. */
static void set_fault(struct csv_row *row, enum csv_fault fault, uint32_t column)
{
    if (row->fault == CSV_OK) {
        row->fault = fault;
        row->fault_column = column;
    }
}

static enum csv_fault cell_fault(struct text cell)
{
    if (cell.length > LIMIT_CELL_BYTES)
        return CSV_CELL_LENGTH;
    if (memchr(cell.bytes, '\0', cell.length) != NULL)
        return CSV_NUL;
    return text_is_utf8(cell) ? CSV_OK : CSV_UTF8;
}

static void check_cells(struct csv_row *row, uint32_t capacity)
{
    for (uint32_t i = 0; i < row->cell_count && i < capacity; i++) {
        enum csv_fault fault = cell_fault(row->cells[i]);
        if (fault != CSV_OK) {
            set_fault(row, fault, i + 1);
            row->cells[i] = (struct text){csv_faulty_cell, 0};
        }
    }
}

/* Of a row that has a fault, or too many cells, which is one. */
static void finish_faults(struct csv_row *row)
{
    if (row->cell_count > LIMIT_COLUMNS)
        set_fault(row, CSV_TOO_MANY, LIMIT_COLUMNS + 1);
    row->fault_line = csv_cell_line(row, row->fault_column);
}

struct quoted_cells {
    struct csv_rows *rows;
    struct csv_row *row;
    bool filled;
};

static void take_quoted_cell(void *context, const char *bytes, size_t length)
{
    struct quoted_cells *taken = context;
    struct csv_row *row = taken->row;
    struct text cell = trimmed(bytes, bytes + length);
    uint32_t i = row->cell_count++;

    if (cell.length > 0)
        taken->filled = true;
    if (i >= taken->rows->capacity)
        return;
    enum csv_fault fault = cell_fault(cell);
    if (fault != CSV_OK) {
        set_fault(row, fault, i + 1);
        row->cells[i] = (struct text){csv_faulty_cell, 0};
        return;
    }
    row->cells[i] = cell.length > 0 ? text_copy(taken->rows->arena, cell) : TEXT("");
    if (row->cells[i].bytes == NULL) {
        row->cells[i] = TEXT("");
        taken->rows->no_memory = true;
    }
}

/* Reads the row at the start of rest through libcsv. Returns whether it is a row. */
static bool read_quoted(struct csv_rows *rows, struct csv_row *row)
{
    struct quote_walk walk = WALK_AT_ROW_START;
    const char *from = rows->rest.bytes, *end = from + rows->rest.length;
    const char *row_end = walk_rows(&walk, from, end, true);
    struct quoted_cells taken = {rows, row, false};

    size_t taken_bytes = (size_t)((row_end ? row_end : end) - from);
    row->raw = (struct text){from, taken_bytes - (row_end != NULL)};
    row->cell_count = 0;
    if (rows->parser == NULL)
        rows->parser = csv_quoted_open();
    enum csv_quoted result = rows->parser == NULL ? CSV_QUOTED_NO_MEMORY :
        csv_quoted_row(rows->parser, row->raw.bytes, row->raw.length, take_quoted_cell, &taken);
    if (result == CSV_QUOTED_NO_MEMORY)
        rows->no_memory = true;
    row->cut_short = result != CSV_QUOTED_OK;
    if (row->cut_short)
        set_fault(row, result == CSV_QUOTED_OPEN ? CSV_OPEN_QUOTE : CSV_QUOTE, row->cell_count + 1);
    rows->line += csv_line_feeds(from, taken_bytes);
    rows->rest = (struct text){from + taken_bytes, rows->rest.length - taken_bytes};
    return taken.filled || row->cut_short;
}

bool csv_rows_next(struct csv_rows *rows, struct csv_row *ret_row)
{
    while (rows->rest.length > 0 && !rows->no_memory) {
        struct plain_row plain = split_plain(rows->rest, rows->cells, rows->capacity);
        struct csv_row row = {
            .line = rows->line,
            .raw = {rows->rest.bytes, plain.length},
            .cell_count = plain.count,
            .cells = rows->cells,
        };
        bool is_row = plain.filled;

        if (__builtin_expect(plain.quote, false)) {
            is_row = read_quoted(rows, &row);
        } else {
            size_t taken = plain.length < rows->rest.length ? plain.length + 1 : plain.length;
            rows->rest = (struct text){rows->rest.bytes + taken, rows->rest.length - taken};
            rows->line++;
            if (plain.nul || plain.high || plain.length > LIMIT_CELL_BYTES)
                check_cells(&row, rows->capacity);
        }
        if (rows->no_memory || !is_row)
            continue;
        if (row.fault != CSV_OK || row.cell_count > LIMIT_COLUMNS)
            finish_faults(&row);
        *ret_row = row;
        return true;
    }
    return false;
}

static struct place place_of(const struct csv_source *source, uint64_t line)
{
    return (struct place){source->name, line, 0};
}

static int no_memory(const struct csv_source *source, struct diag_sink *sink)
{
    diag_error(sink, place_of(source, 0), "there is not enough memory to read this file; close other programs");
    return WM_NO_MEMORY;
}

/* Fills room from a place in the file on. */
static int read_at(const struct csv_source *source, uint64_t at, char *room, size_t wanted, struct diag_sink *sink)
{
    ssize_t got = descriptor_read_at(source->descriptor, room, wanted, at);

    if (got < 0)
        diag_error(sink, place_of(source, 0), "cannot read: %s", strerror(errno));
    else if ((size_t)got < wanted)
        diag_error(sink, place_of(source, 0), "became shorter while it was read; run again when it is whole");
    return got >= 0 && (size_t)got == wanted ? WM_OK : WM_IO;
}

/* READ_BYTES, or fewer where the source has no more. */
static char *reading_room(const struct csv_source *source)
{
    return malloc(source->bytes < READ_BYTES ? (size_t)source->bytes + 1 : READ_BYTES);
}

static int unnamed_file(void)
{
    const char *folder = getenv("TMPDIR");
    int descriptor = open(folder && folder[0] ? folder : "/tmp", O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);

    if (descriptor < 0) {
        char name[] = "/tmp/witnessmark-XXXXXX";
        descriptor = mkostemp(name, O_CLOEXEC);
        if (descriptor >= 0)
            unlink(name);
    }
    return descriptor;
}

/* Copies what cannot be read twice to a file without a name, and returns that in source->descriptor. */
static int spool(struct csv_source *source, struct diag_sink *sink)
{
    int from = source->descriptor, to = unnamed_file(), status = WM_IO;
    char *room = malloc(READ_BYTES);

    if (room == NULL) {
        status = no_memory(source, sink);
        goto done;
    }
    if (to < 0) {
        diag_error(sink, place_of(source, 0), "cannot make a temporary file: %s; set TMPDIR to a folder with room",
                   strerror(errno));
        goto done;
    }
    for (;;) {
        ssize_t got = descriptor_read(from, room, READ_BYTES);
        if (got < 0) {
            diag_error(sink, place_of(source, 0), "cannot read: %s", strerror(errno));
            goto done;
        }
        if (got == 0)
            break;
        if (!descriptor_write(to, room, (size_t)got)) {
            diag_error(sink, place_of(source, 0), "cannot write a temporary copy: %s; set TMPDIR to a folder with room",
                       strerror(errno));
            goto done;
        }
        source->bytes += (uint64_t)got;
    }
    status = WM_OK;
done:
    free(room);
    close(from);
    source->descriptor = to;
    return status;
}

/* The first row decides whether this is text at all. */
static int check_start(struct csv_source *source, struct diag_sink *sink)
{
    static const struct text foreign_marks[] = {
        {"\xff\xfe", 2}, {"\xfe\xff", 2}, {"\0\0\xfe\xff", 4},
    };
    size_t length = source->bytes < READ_BYTES ? (size_t)source->bytes : READ_BYTES;
    char *room = malloc(length + 1);
    struct quote_walk walk = WALK_AT_ROW_START;
    bool is_text = true;

    if (room == NULL)
        return no_memory(source, sink);
    int status = read_at(source, 0, room, length, sink);
    if (status == WM_OK) {
        struct text start = {room, length};
        for (size_t i = 0; i < sizeof foreign_marks / sizeof foreign_marks[0]; i++)
            if (text_starts_with(start, foreign_marks[i]))
                is_text = false;
        source->start = length - csv_without_mark(start).length;
        const char *row_end = walk_rows(&walk, room + source->start, room + length, true);
        if (memchr(room, '\0', row_end ? (size_t)(row_end - room) : length) != NULL)
            is_text = false;
        if (!is_text) {
            diag_error(sink, place_of(source, 0), "is not UTF-8 text; save it as CSV UTF-8");
            status = WM_BAD_INPUT;
        }
    }
    free(room);
    return status;
}

int csv_source_open(struct csv_source *ret_source, const char *path, struct diag_sink *sink)
{
    bool standard_input = strcmp(path, "-") == 0;
    struct csv_source source = {.name = text_of(standard_input ? "standard input" : path)};
    struct stat about;
    int status = WM_IO;

    source.descriptor = standard_input ? dup(STDIN_FILENO) : open(path, O_RDONLY | O_CLOEXEC);
    if (source.descriptor < 0 || fstat(source.descriptor, &about) != 0) {
        diag_error(sink, place_of(&source, 0), "cannot open: %s", strerror(errno));
        goto failed;
    }
    if (S_ISDIR(about.st_mode)) {
        diag_error(sink, place_of(&source, 0), "this is a folder; name a file");
        goto failed;
    }
    /* Standard input may stand behind its start, so it is copied even where it is a regular file. */
    if (S_ISREG(about.st_mode) && !standard_input) {
        source.bytes = (uint64_t)about.st_size;
    } else {
        status = spool(&source, sink);
        if (status != WM_OK)
            goto failed;
    }
    status = check_start(&source, sink);
    if (status != WM_OK)
        goto failed;
    *ret_source = source;
    return WM_OK;
failed:
    if (source.descriptor >= 0)
        close(source.descriptor);
    return status;
}

void csv_source_close(struct csv_source *source)
{
    if (source->name.bytes != NULL)
        close(source->descriptor);
    *source = (struct csv_source){.descriptor = -1};
}

static int report_open_quote(const struct csv_source *source, uint64_t line, struct diag_sink *sink)
{
    diag_error(sink, place_of(source, line),
               "a quote that opens here is never closed; close it, and double quotes inside a cell");
    return WM_BAD_INPUT;
}

int csv_source_read(const struct csv_source *source, uint64_t place, char *bytes, size_t length, struct diag_sink *sink)
{
    return read_at(source, place, bytes, length, sink);
}

int csv_source_digest(const struct csv_source *source, uint8_t ret_digest[CSV_DIGEST_BYTES], struct diag_sink *sink)
{
    crypto_generichash_state hash;
    char *room = reading_room(source);
    int status = room != NULL && sodium_init() >= 0 ? WM_OK : no_memory(source, sink);

    crypto_generichash_init(&hash, NULL, 0, CSV_DIGEST_BYTES);
    for (uint64_t at = 0; status == WM_OK && at < source->bytes;) {
        size_t length = source->bytes - at < READ_BYTES ? (size_t)(source->bytes - at) : READ_BYTES;
        status = read_at(source, at, room, length, sink);
        if (status == WM_OK)
            crypto_generichash_update(&hash, (const unsigned char *)room, length);
        at += length;
    }
    free(room);
    if (status == WM_OK)
        crypto_generichash_final(&hash, ret_digest, CSV_DIGEST_BYTES);
    return status;
}

int csv_source_scan(const struct csv_source *source, bool with_digest, struct csv_scan *ret_scan,
                    struct diag_sink *sink)
{
    struct csv_scan scan = {0, {0}};
    struct quote_walk walk = WALK_AT_ROW_START;
    crypto_generichash_state hash;
    uint64_t feeds = 0, opened_line = 1;
    char *room = !with_digest || sodium_init() >= 0 ? reading_room(source) : NULL;
    char last = '\n';
    int status = WM_OK;

    if (room == NULL)
        return no_memory(source, sink);
    crypto_generichash_init(&hash, NULL, 0, sizeof scan.digest);
    for (uint64_t at = 0; at < source->bytes;) {
        size_t length = source->bytes - at < READ_BYTES ? (size_t)(source->bytes - at) : READ_BYTES;
        status = read_at(source, at, room, length, sink);
        if (status != WM_OK)
            break;
        if (with_digest)
            crypto_generichash_update(&hash, (const unsigned char *)room, length);
        size_t skip = at == 0 ? (size_t)source->start : 0;
        uint64_t walked = walk.before;
        walk_rows(&walk, room + skip, room + length, false);
        if (walk.state == IN_QUOTES && walk.opened_at >= walked)
            opened_line = 1 + feeds + csv_line_feeds(room + skip, (size_t)(walk.opened_at - walked));
        feeds += csv_line_feeds(room, length);
        last = room[length - 1];
        at += length;
    }
    free(room);
    if (status == WM_OK && walk.state == IN_QUOTES)
        status = report_open_quote(source, opened_line, sink);
    if (status != WM_OK)
        return status;
    scan.lines = feeds + (last != '\n');
    if (with_digest)
        crypto_generichash_final(&hash, scan.digest, sizeof scan.digest);
    *ret_scan = scan;
    return WM_OK;
}

struct csv_blocks {
    const struct csv_source *source;
    size_t block_bytes;
    uint64_t at;             /* read up to here */
    uint64_t line, number;   /* of the next block */
    struct quote_walk walk;
    struct buffer carry;     /* read behind the end of the last block's rows */
};

int csv_blocks_open(struct csv_blocks **ret_blocks, const struct csv_source *source, size_t block_bytes)
{
    struct csv_blocks *blocks = calloc(1, sizeof *blocks);

    if (blocks == NULL)
        return WM_NO_MEMORY;
    *blocks = (struct csv_blocks){
        .source = source,
        .block_bytes = block_bytes < 1 ? 1 : block_bytes,
        .at = source->start,
        .line = 1,
        .walk = WALK_AT_ROW_START,
    };
    *ret_blocks = blocks;
    return WM_OK;
}

/* Reads on behind what bytes holds. */
static int read_more(struct csv_blocks *blocks, struct buffer *bytes, struct diag_sink *sink)
{
    uint64_t left = blocks->source->bytes - blocks->at;
    size_t wanted = bytes->length < blocks->block_bytes ? blocks->block_bytes - bytes->length : blocks->block_bytes;

    if (wanted > left)
        wanted = (size_t)left;
    char *room = buffer_room(bytes, wanted);
    if (room == NULL)
        return no_memory(blocks->source, sink);
    int status = read_at(blocks->source, blocks->at, room, wanted, sink);
    if (status != WM_OK)
        return status;
    blocks->at += wanted;
    bytes->length += wanted;
    return WM_OK;
}

int csv_blocks_next(struct csv_blocks *blocks, struct buffer *bytes, struct csv_block *ret_block,
                    struct diag_sink *sink)
{
    const char *row_end = NULL;

    buffer_clear(bytes);
    buffer_add(bytes, blocks->carry.bytes, blocks->carry.length);
    if (bytes->failed)
        return no_memory(blocks->source, sink);
    buffer_clear(&blocks->carry);
    while (row_end == NULL && blocks->at < blocks->source->bytes) {
        size_t walked = bytes->length;
        if (walked > LIMIT_ROW_BYTES) {
            diag_error(sink, place_of(blocks->source, blocks->line),
                       "the row that starts here is longer than 1 GiB; is a quote never closed?");
            return WM_LIMIT;
        }
        int status = read_more(blocks, bytes, sink);
        if (status != WM_OK)
            return status;
        row_end = walk_rows(&blocks->walk, bytes->bytes + walked, bytes->bytes + bytes->length, false);
    }
    if (bytes->length == 0)
        return WM_NOT_FOUND;
    bool at_end = blocks->at == blocks->source->bytes;
    size_t length = at_end ? bytes->length : (size_t)(row_end - bytes->bytes);
    buffer_add(&blocks->carry, bytes->bytes + length, bytes->length - length);
    if (blocks->carry.failed)
        return no_memory(blocks->source, sink);
    *ret_block = (struct csv_block){
        .bytes = {bytes->bytes, length},
        .line = blocks->line,
        .number = blocks->number++,
        .place = blocks->at - blocks->carry.length - length,
        .open_quote = at_end && blocks->walk.state == IN_QUOTES,
        .last = at_end,
    };
    blocks->line += csv_line_feeds(bytes->bytes, length);
    return WM_OK;
}

void csv_blocks_close(struct csv_blocks *blocks)
{
    if (blocks == NULL)
        return;
    buffer_free(&blocks->carry);
    free(blocks);
}

/* The cell that is nearest to a name, or an empty text where none is near. */
static struct text nearest_cell(const struct csv_row *row, uint32_t kept, const char *name)
{
    enum { MOST_EDITS = 3 };
    size_t best = MOST_EDITS + 1;
    struct text nearest = TEXT("");

    for (uint32_t i = 0; i < kept; i++) {
        size_t distance = text_distance(text_of(name), row->cells[i], MOST_EDITS);
        if (distance < best && row->cells[i].length > MOST_EDITS) {
            best = distance;
            nearest = row->cells[i];
        }
    }
    return nearest;
}

static void report_missing(const struct csv_row *row, uint32_t kept, struct place place, const char *name,
                           struct diag_sink *sink)
{
    struct text nearest = nearest_cell(row, kept, name);

    if (nearest.length > 0)
        diag_error(sink, place, "the column \"%s\" is missing; is \"%.*s\" meant to be it? Names are exact", name,
                   TEXT_ARGUMENTS(nearest));
    else
        diag_error(sink, place, "the column \"%s\" is missing; add it to the first row", name);
}

static void report_unknown(const struct csv_row *row, const bool *known, uint32_t kept, struct place place,
                           struct diag_sink *sink)
{
    struct buffer names = BUFFER_EMPTY;
    size_t count = 0;

    for (uint32_t i = 0; i < kept; i++) {
        if (known[i])
            continue;
        buffer_add_string(&names, count++ > 0 ? ", " : "");
        if (row->cells[i].length > 0)
            buffer_format(&names, "\"%.*s\"", TEXT_ARGUMENTS(row->cells[i]));
        else
            buffer_format(&names, "column %u without a name", i + 1);
        if (place.column == 0)
            place.column = i + 1;
    }
    if (count > 0)
        diag_warning(sink, place, "unknown column%s, left alone: %.*s", count > 1 ? "s" : "",
                     TEXT_ARGUMENTS(buffer_text(&names)));
    buffer_free(&names);
}

int csv_header(const struct csv_row *row, struct text file, const struct csv_column *columns, size_t count,
               int *ret_at, struct diag_sink *sink)
{
    bool known[LIMIT_COLUMNS] = {false}, failed = false;

    if (row == NULL) {
        diag_error(sink, (struct place){file, 0, 0}, "the file is empty; its first row must name the columns");
        return WM_BAD_INPUT;
    }
    struct place place = {file, row->line, 0};
    if (row->fault != CSV_OK) {
        diag_error(sink, (struct place){file, row->fault_line, row->fault_column}, "the header %s",
                   csv_fault_words(row->fault));
        return WM_BAD_INPUT;
    }
    uint32_t kept = row->cell_count < LIMIT_COLUMNS ? row->cell_count : LIMIT_COLUMNS;
    for (size_t c = 0; c < count; c++) {
        int at = -1;
        for (uint32_t i = 0; i < kept; i++) {
            if (!text_is(row->cells[i], columns[c].name))
                continue;
            known[i] = true;
            if (at >= 0) {
                diag_error(sink, (struct place){file, row->line, i + 1}, "the column \"%s\" stands twice; remove one",
                           columns[c].name);
                failed = true;
                break;
            }
            at = (int)i;
        }
        if (at < 0 && columns[c].required) {
            report_missing(row, kept, place, columns[c].name, sink);
            failed = true;
        }
        ret_at[c] = at;
    }
    report_unknown(row, known, kept, place, sink);
    return failed ? WM_BAD_INPUT : WM_OK;
}
