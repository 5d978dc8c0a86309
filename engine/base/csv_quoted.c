#include "base/csv_quoted.h"

#include <csv.h>

/* libcsv's cell buffer grows by this many bytes: few steps up to the longest cell that is accepted. */
enum { GROW_BYTES = 64 * 1024 };

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
