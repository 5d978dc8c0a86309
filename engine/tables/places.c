/* Texts with {fact} places. Literal pieces are slices of the text as written. */
#include "base/status.h"
#include "tables/compile.h"
#include "tables/literal.h"

struct place_reader {
    struct compiler *compiler;
    struct place place;
    struct text raw;
    bool quoted;
    char *room;                  /* as long as raw */
    size_t length;               /* written to room */
    size_t literal_start;        /* in room: where the literal piece at hand begins */
    struct place_text *text;
    uint32_t capacity;
};

/* Whether the brace at `at` begins a place: a letter or _ follows, blanks between them or not. */
static bool begins_place(struct text raw, size_t at)
{
    if (raw.bytes[at] != '{')
        return false;
    do
        at++;
    while (at < raw.length && is_blank(raw.bytes[at]));
    return at < raw.length && starts_name(raw.bytes[at]);
}

static int add_part(struct place_reader *reader, struct place_part part)
{
    struct place_text *text = reader->text;

    if (text->part_count == reader->capacity) {
        uint32_t capacity = reader->capacity ? reader->capacity * 2 : 4;
        text->parts = arena_grown(reader->compiler->arena, text->parts, text->part_count, capacity,
                                  sizeof *text->parts);
        if (text->parts == NULL)
            return WM_NO_MEMORY;
        reader->capacity = capacity;
    }
    text->parts[text->part_count++] = part;
    return WM_OK;
}

/* Ends the literal piece at hand. */
static int end_literal(struct place_reader *reader)
{
    struct text literal = {reader->room + reader->literal_start, reader->length - reader->literal_start};

    return literal.length == 0 ? WM_OK : add_part(reader, (struct place_part){literal, NULL});
}

static int add_fact(struct place_reader *reader, struct text name)
{
    struct compiler *compiler = reader->compiler;
    struct cell_fact *fact = ARENA_NEW(compiler->arena, struct cell_fact);
    struct text nearest;

    if (fact == NULL)
        return WM_NO_MEMORY;
    fact->name = name;
    if (!names_find(&compiler->names, name, &fact->ref, &nearest)) {
        report_no_fact(compiler->sink, reader->place, name, nearest);
        return WM_BAD_INPUT;
    }
    if (fact->ref.late)
        compiler->table->is_late = true;
    if (compiler->rules.dealer_text && fact->ref.office_only) {
        diag_error(compiler->sink, reader->place,
                   "the fact \"%.*s\" is shown to the office only and this text goes to dealers; leave it out",
                   TEXT_ARGUMENTS(name));
        return WM_BAD_INPUT;
    }
    return add_part(reader, (struct place_part){{NULL, 0}, fact});
}

/* {fact}: moves *at behind it. */
static int read_place(struct place_reader *reader, size_t *at)
{
    struct text rest = {reader->raw.bytes + *at, reader->raw.length - *at};
    const char *end = memchr(rest.bytes, '}', rest.length);

    if (end == NULL) {
        diag_error(reader->compiler->sink, reader->place,
                   "the place %.*s is not closed; end it with }, or quote the text and write \\u007b for the brace",
                   TEXT_ARGUMENTS(rest));
        return WM_BAD_INPUT;
    }
    int status = end_literal(reader);
    if (status != WM_OK)
        return status;
    size_t length = (size_t)(end - rest.bytes) + 1;
    status = add_fact(reader, trim_blanks((struct text){rest.bytes + 1, length - 2}));
    memcpy(reader->room + reader->length, rest.bytes, length);
    reader->length += length;
    reader->literal_start = reader->length;
    *at += length;
    return status;
}

static int read_character(struct place_reader *reader, size_t *at)
{
    struct unescaped next = {{reader->raw.bytes[*at]}, 1, 1, false};

    if (reader->quoted && unescape_next(reader->raw, *at, &next) != WM_OK) {
        diag_error(reader->compiler->sink, reader->place,
                   "the text has an escape \\u that is no character; correct its digits");
        return WM_BAD_INPUT;
    }
    memcpy(reader->room + reader->length, next.bytes, next.length);
    reader->length += next.length;
    *at += next.taken;
    return WM_OK;
}

/* Goes on behind a place that is wrong, so that all of them are reported. */
static int read_text(struct place_reader *reader)
{
    int result = WM_OK;

    for (size_t at = 0; at < reader->raw.length;) {
        size_t before = at;
        int status = begins_place(reader->raw, at) ? read_place(reader, &at) : read_character(reader, &at);
        if (status == WM_NO_MEMORY)
            return status;
        if (status != WM_OK)
            result = status;
        if (at == before)
            return result;
    }
    return result == WM_OK ? end_literal(reader) : result;
}

static bool is_plain(struct text raw, bool quoted)
{
    return raw.length == 0 || (memchr(raw.bytes, '{', raw.length) == NULL &&
                               (!quoted || memchr(raw.bytes, '\\', raw.length) == NULL));
}

int compile_places(struct compiler *compiler, struct text raw, bool quoted, struct place place, struct text *ret_text,
                   const struct place_text **ret_places)
{
    struct place_reader reader = {.compiler = compiler, .place = place, .raw = raw, .quoted = quoted};
    bool has_place = false;

    if (is_plain(raw, quoted)) {
        *ret_text = raw;
        *ret_places = NULL;
        return WM_OK;
    }
    reader.room = arena_bytes(compiler->arena, raw.length);
    reader.text = ARENA_NEW(compiler->arena, struct place_text);
    if (reader.room == NULL || reader.text == NULL)
        return WM_NO_MEMORY;
    int status = read_text(&reader);
    if (status != WM_OK)
        return status;
    for (uint32_t i = 0; i < reader.text->part_count; i++)
        has_place |= reader.text->parts[i].fact != NULL;
    *ret_text = reader.text->written = (struct text){reader.room, reader.length};
    *ret_places = has_place ? reader.text : NULL;
    return WM_OK;
}
