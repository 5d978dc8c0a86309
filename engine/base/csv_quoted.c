#include "base/csv_quoted.h"

#include <csv.h>
#include <stdalign.h>
#include <stdint.h>
#include <stdlib.h>

/* libcsv's cell buffer grows by this many bytes: few steps up to the longest cell that is accepted. */
enum { GROW_BYTES = 64 * 1024 };

/* That buffer, with what it may become in front. */
struct cell_room {
    size_t capacity;
    alignas(max_align_t) char bytes[];
};

static struct cell_room *room_of(void *bytes)
{
    return bytes != NULL ? (struct cell_room *)((char *)bytes - offsetof(struct cell_room, bytes)) : NULL;
}

/* In place of realloc: twice as much each time. A quote that is never closed makes one cell of the rest of a file, and
 * in steps of one size that is copied once a step, where realloc copies. */
static void *grow_room(void *bytes, size_t size)
{
    struct cell_room *room = room_of(bytes);
    size_t capacity = room != NULL ? room->capacity : 0;

    if (size <= capacity)
        return bytes;
    bool possible = capacity < SIZE_MAX / 4 && size < SIZE_MAX / 4;
    capacity = size > capacity * 2 ? size : capacity * 2;
    struct cell_room *grown = possible ? realloc(room, sizeof *grown + capacity) : NULL;
    if (grown == NULL)
        return NULL;
    grown->capacity = capacity;
    return grown->bytes;
}

static void free_room(void *bytes)
{
    free(room_of(bytes));
}

struct receiver {
    void (*cell)(void *context, const char *bytes, size_t length);
    void *context;
};

static int is_blank(unsigned char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

static int is_row_end(unsigned char c)
{
    return c == '\n';
}

static void prepare(struct csv_parser *parser)
{
    (void)csv_init(parser, CSV_STRICT | CSV_STRICT_FINI); /* fails without a parser alone */
    csv_set_space_func(parser, is_blank);
    csv_set_term_func(parser, is_row_end);
    csv_set_blk_size(parser, GROW_BYTES);
    csv_set_realloc_func(parser, grow_room);
    csv_set_free_func(parser, free_room);
}

void *csv_quoted_open(void)
{
    struct csv_parser *parser = calloc(1, sizeof *parser);

    if (parser != NULL)
        prepare(parser);
    return parser;
}

void csv_quoted_close(void *parser)
{
    if (parser != NULL)
        csv_free(parser);
    free(parser);
}

static void take_cell(void *bytes, size_t length, void *context)
{
    struct receiver *receiver = context;

    receiver->cell(receiver->context, bytes, length);
}

static enum csv_quoted failure(struct csv_parser *parser, enum csv_quoted malformed)
{
    enum csv_quoted result = csv_error(parser) == CSV_EPARSE ? malformed : CSV_QUOTED_NO_MEMORY;

    csv_free(parser);
    prepare(parser);
    return result;
}

enum csv_quoted csv_quoted_row(void *parser, const char *bytes, size_t length,
                               void (*cell)(void *context, const char *bytes, size_t length), void *context)
{
    struct receiver receiver = {cell, context};

    if (csv_parse(parser, bytes, length, take_cell, NULL, &receiver) != length)
        return failure(parser, CSV_QUOTED_MALFORMED);
    if (csv_fini(parser, take_cell, NULL, &receiver) != 0)
        return failure(parser, CSV_QUOTED_OPEN);
    return CSV_QUOTED_OK;
}
