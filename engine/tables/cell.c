#include "tables/cell.h"

#include "base/status.h"
#include "tables/literal.h"

/* Reading walks through `rest`; the first fault is reported and ends it. */
struct reader {
    const struct cell_context *context;
    struct place place;
    struct text rest;
    struct cell *cell;
    uint32_t capacity; /* of cell->tests */
};

/* A value or an end as it stands in the cell. */
struct token {
    struct text text; /* of quoted text what is between the quotes */
    bool quoted;
};

#define FAULT(reader, ...) (diag_error((reader)->context->sink, (reader)->place, __VA_ARGS__), WM_BAD_INPUT)

/* --- Small steps --------------------------------------------------------------------------------------- */

static void skip(struct reader *reader, size_t bytes)
{
    reader->rest.bytes += bytes;
    reader->rest.length -= bytes;
}

static void skip_blanks(struct reader *reader)
{
    while (reader->rest.length > 0 && is_blank(reader->rest.bytes[0]))
        skip(reader, 1);
}

/* The next byte behind blanks, NUL at the end: no cell holds one. */
static char peek(struct reader *reader)
{
    skip_blanks(reader);
    return reader->rest.length > 0 ? reader->rest.bytes[0] : '\0';
}

static bool take(struct reader *reader, char byte)
{
    if (peek(reader) != byte)
        return false;
    skip(reader, 1);
    return true;
}

static bool at_dots(struct text t)
{
    return t.length >= 2 && t.bytes[0] == '.' && t.bytes[1] == '.';
}

/* `word` and an opening parenthesis, blanks between them or not. */
static bool calls(struct text t, struct text word)
{
    if (!text_starts_with(t, word))
        return false;
    t = trim_blanks((struct text){t.bytes + word.length, t.length - word.length});
    return t.length > 0 && t.bytes[0] == '(';
}

static void skip_call(struct reader *reader, struct text word)
{
    skip(reader, word.length);
    (void)take(reader, '(');
}

static enum value_type column_type(const struct reader *reader)
{
    return reader->context->type;
}

/* --- Tokens -------------------------------------------------------------------------------------------- */

static int take_quoted(struct reader *reader, struct token *ret_token)
{
    size_t length = quoted_length(reader->rest);

    if (length == 0)
        return FAULT(reader, "the quote %.*s is not closed; end it with \"", TEXT_ARGUMENTS(reader->rest));
    *ret_token = (struct token){{reader->rest.bytes + 1, length - 2}, true};
    skip(reader, length);
    return WM_OK;
}

/* How far a bare value reaches: to a comma, a bracket or a quote; as the low end of an interval, to its dots.
 */
static size_t bare_length(struct text t, bool to_dots)
{
    size_t i = 0;

    while (i < t.length && memchr(",()[]\"", t.bytes[i], 6) == NULL) {
        if (to_dots && at_dots((struct text){t.bytes + i, t.length - i}))
            break;
        i++;
    }
    return i;
}

/* Through the parenthesis that closes date("..."). */
static size_t date_call_length(struct text t)
{
    const char *end = memchr(t.bytes, ')', t.length);

    return end == NULL ? t.length : (size_t)(end - t.bytes) + 1;
}

static int take_token(struct reader *reader, bool to_dots, struct token *ret_token)
{
    size_t length;

    if (peek(reader) == '"')
        return take_quoted(reader, ret_token);
    if (column_type(reader) == VALUE_DATE && calls(reader->rest, TEXT("date")))
        length = date_call_length(reader->rest);
    else
        length = bare_length(reader->rest, to_dots);
    *ret_token = (struct token){trim_blanks((struct text){reader->rest.bytes, length}), false};
    skip(reader, length);
    if (ret_token->text.length == 0)
        return FAULT(reader, "a value is missing in %.*s; write one, or - for any value",
                     TEXT_ARGUMENTS(reader->cell->written));
    return WM_OK;
}

/* --- Values and ends ----------------------------------------------------------------------------------- */

static bool could_be_name(struct text bare)
{
    return starts_name(bare.bytes[0]) && memchr(bare.bytes, '(', bare.length) == NULL;
}

bool names_find(const struct known_names *names, struct text name, struct fact_ref *ret_fact,
                struct text *ret_nearest)
{
    if (ret_nearest != NULL)
        *ret_nearest = (struct text){"", 0};
    if (names == NULL)
        return false;
    for (uint32_t i = 0; i < names->column_count; i++)
        if (text_equal(names->columns[i].name, name)) {
            *ret_fact = names->columns[i].ref;
            return true;
        }
    return names->source->find(names->source->context, name, VALUE_NULL, ret_fact, ret_nearest);
}

static int set_fact(struct reader *reader, struct text name, struct fact_ref ref, struct operand *ret_operand)
{
    const char *advice =
        column_type(reader) == VALUE_TEXT ? "quote it to mean the word" : "name a fact of that type";

    if (ref.type != column_type(reader))
        return FAULT(reader, "the fact \"%.*s\" is a %s and this column a %s; %s", TEXT_ARGUMENTS(name),
                     value_type_name(ref.type), value_type_name(column_type(reader)), advice);
    struct cell_fact *fact = ARENA_NEW(reader->context->arena, struct cell_fact);
    if (fact == NULL)
        return WM_NO_MEMORY;
    *fact = (struct cell_fact){name, ref};
    ret_operand->fact = fact;
    reader->cell->names_fact = true;
    reader->cell->names_late |= ref.late;
    return WM_OK;
}

static int set_quoted(struct reader *reader, struct text inside, struct operand *ret_operand)
{
    struct text plain;

    if (column_type(reader) != VALUE_TEXT)
        return FAULT(reader, "\"%.*s\" is text and this column a %s; leave out the quotes",
                     TEXT_ARGUMENTS(inside), value_type_name(column_type(reader)));
    int status = unescape(reader->context->arena, inside, &plain);
    if (status == WM_BAD_INPUT)
        return FAULT(reader, "\"%.*s\" has an escape \\u that is no character; correct its digits",
                     TEXT_ARGUMENTS(inside));
    if (status == WM_OK)
        ret_operand->literal = value_text(plain);
    return status;
}

static int report_value(struct reader *reader, struct text bare, struct literal_fault fault,
                        struct text nearest)
{
    if (nearest.length > 0 && could_be_name(bare))
        return FAULT(reader, "no fact \"%.*s\"; nearest is \"%.*s\"", TEXT_ARGUMENTS(bare),
                     TEXT_ARGUMENTS(nearest));
    if (reader->context->names != NULL && could_be_name(bare))
        return FAULT(reader, "\"%.*s\" %s and no fact; %s, or name a %s fact", TEXT_ARGUMENTS(bare),
                     fault.wrong, fault.advice, value_type_name(column_type(reader)));
    return FAULT(reader, "\"%.*s\" %s; %s", TEXT_ARGUMENTS(bare), fault.wrong, fault.advice);
}

static int set_bare(struct reader *reader, struct text bare, struct operand *ret_operand)
{
    const struct known_names *names = reader->context->names;
    struct fact_ref ref;
    struct text nearest;

    if (column_type(reader) == VALUE_TEXT) {
        if (names_find(names, bare, &ref, NULL))
            return set_fact(reader, bare, ref, ret_operand);
        ret_operand->literal = value_text(bare);
        return WM_OK;
    }
    struct literal_fault fault = literal_read(bare, column_type(reader), &ret_operand->literal);
    if (fault.wrong == NULL)
        return WM_OK;
    if (names_find(names, bare, &ref, &nearest))
        return set_fact(reader, bare, ref, ret_operand);
    return report_value(reader, bare, fault, nearest);
}

static int set_operand(struct reader *reader, struct token token, struct operand *ret_operand)
{
    if (token.quoted)
        return set_quoted(reader, token.text, ret_operand);
    if (text_is(token.text, "-"))
        return FAULT(reader, "- means any value and stands alone; quote it to mean the text");
    return set_bare(reader, token.text, ret_operand);
}

/* An end of an ordering or interval. */
static int read_end(struct reader *reader, bool to_dots, struct operand *ret_operand)
{
    struct token token;

    int status = take_token(reader, to_dots, &token);
    if (status != WM_OK)
        return status;
    if (!token.quoted && text_is(token.text, "null"))
        return FAULT(reader, "null has no order; write null as a test of its own");
    return set_operand(reader, token, ret_operand);
}

/* --- Tests --------------------------------------------------------------------------------------------- */

static struct test *add_test(struct reader *reader, enum test_kind kind)
{
    struct cell *cell = reader->cell;

    if (cell->test_count == reader->capacity) {
        uint32_t capacity = reader->capacity ? reader->capacity * 2 : 1;
        cell->tests =
            arena_grown(reader->context->arena, cell->tests, cell->test_count, capacity, sizeof(struct test));
        if (cell->tests == NULL)
            return NULL;
        reader->capacity = capacity;
    }
    struct test *test = &cell->tests[cell->test_count++];
    test->kind = (uint8_t)kind;
    return test;
}

static struct test *add_range(struct reader *reader)
{
    reader->cell->has_ordering = true;
    return add_test(reader, TEST_RANGE);
}

static int check_ordered(struct reader *reader)
{
    if (column_type(reader) == VALUE_BOOLEAN)
        return FAULT(reader, "booleans have no order; write true or false");
    return WM_OK;
}

/* <x <=x >x >=x */
static int read_ordering(struct reader *reader)
{
    struct test *test = add_range(reader);

    if (test == NULL)
        return WM_NO_MEMORY;
    bool less = reader->rest.bytes[0] == '<';
    skip(reader, 1);
    bool closed = reader->rest.length > 0 && reader->rest.bytes[0] == '=';
    if (closed)
        skip(reader, 1);
    test->has_high = less;
    test->has_low = !less;
    test->high_open = test->low_open = !closed;
    int status = check_ordered(reader);
    return status != WM_OK ? status : read_end(reader, false, less ? &test->high : &test->low);
}

static int check_ends(struct reader *reader, const struct test *test, struct text interval)
{
    if (test->low.fact != NULL || test->high.fact != NULL ||
        value_order(test->low.literal, test->high.literal) <= 0)
        return WM_OK;
    return FAULT(reader, "the interval %.*s has its ends the wrong way round; swap them",
                 TEXT_ARGUMENTS(interval));
}

/* [a..b] (a..b) ]a..b[ and mixtures */
static int read_interval(struct reader *reader)
{
    const char *start = reader->rest.bytes;
    struct test *test = add_range(reader);

    if (test == NULL)
        return WM_NO_MEMORY;
    test->has_low = test->has_high = true;
    test->low_open = reader->rest.bytes[0] != '[';
    skip(reader, 1);
    int status = check_ordered(reader);
    if (status == WM_OK)
        status = read_end(reader, true, &test->low);
    if (status != WM_OK)
        return status;
    (void)peek(reader);
    if (!at_dots(reader->rest))
        return FAULT(reader,
                     "an interval has two dots between its ends; write it as [1..5], and quote text that "
                     "begins with a bracket");
    skip(reader, 2);
    status = read_end(reader, false, &test->high);
    if (status != WM_OK)
        return status;
    char close = peek(reader);
    if (close != ']' && close != ')' && close != '[')
        return FAULT(reader,
                     "the interval is not closed; end it with ] to take the last value in, with ) to leave it "
                     "out");
    test->high_open = close != ']';
    skip(reader, 1);
    return check_ends(reader, test, (struct text){start, (size_t)(reader->rest.bytes - start)});
}

/* matches(?, "pattern") */
static int read_matches(struct reader *reader)
{
    struct test *test = add_test(reader, TEST_MATCHES);
    struct token token = {{"", 0}, false};
    struct text source;
    int status = WM_OK;

    if (test == NULL)
        return WM_NO_MEMORY;
    if (column_type(reader) != VALUE_TEXT)
        return FAULT(reader, "matches searches text and this column is a %s; compare its values instead",
                     value_type_name(column_type(reader)));
    skip_call(reader, TEXT("matches"));
    if (take(reader, '?') && take(reader, ',') && peek(reader) == '"')
        status = take_quoted(reader, &token);
    if (status == WM_OK && (!token.quoted || !take(reader, ')')))
        return FAULT(reader, "matches is not written so; write matches(?, \"pattern\")");
    if (status == WM_OK)
        status = unescape(reader->context->arena, token.text, &source);
    if (status == WM_BAD_INPUT)
        return token.quoted
                   ? FAULT(reader, "the pattern has an escape \\u that is no character; correct its digits")
                   : status;
    if (status != WM_OK)
        return status;
    reader->cell->has_pattern = true;
    return pattern_compile(reader->context->arena, source, reader->place, reader->context->sink,
                           reader->context->patterns, &test->pattern);
}

static int read_value(struct reader *reader)
{
    struct token token;

    int status = take_token(reader, false, &token);
    if (status != WM_OK)
        return status;
    if (!token.quoted && text_is(token.text, "null"))
        return add_test(reader, TEST_NULL) == NULL ? WM_NO_MEMORY : WM_OK;
    for (size_t i = 0; !token.quoted && i < token.text.length; i++)
        if (at_dots((struct text){token.text.bytes + i, token.text.length - i}))
            return FAULT(reader,
                         "\"%.*s\" has the dots of an interval without its brackets; write [%.*s], or quote it "
                         "to mean the text",
                         TEXT_ARGUMENTS(token.text), TEXT_ARGUMENTS(token.text));
    struct test *test = add_test(reader, TEST_EQUAL);
    return test == NULL ? WM_NO_MEMORY : set_operand(reader, token, &test->high);
}

static int read_test(struct reader *reader)
{
    switch (peek(reader)) {
    case '<':
    case '>': return read_ordering(reader);
    case '[':
    case '(':
    case ']': return read_interval(reader);
    case '=':
    case '!':
        return FAULT(reader, "\"%.*s\" is no test; for equal write the value alone, for not equal not(value)",
                     TEXT_ARGUMENTS(reader->rest));
    default: break;
    }
    if (calls(reader->rest, TEXT("not")))
        return FAULT(reader, "not(...) stands inside another test; it goes around the whole cell, once");
    if (calls(reader->rest, TEXT("matches")))
        return read_matches(reader);
    return read_value(reader);
}

static int read_list(struct reader *reader)
{
    do {
        int status = read_test(reader);
        if (status != WM_OK)
            return status;
    } while (take(reader, ','));
    return WM_OK;
}

static int read_end_of_cell(struct reader *reader)
{
    char next = peek(reader);

    if (reader->rest.length == 0)
        return WM_OK;
    if (reader->cell->negated && next == ',')
        return FAULT(reader, "not(...) is one of several tests; it goes around the whole cell, once");
    return FAULT(
        reader,
        "%.*s is not expected here; put a comma between tests, and quotes round text that has brackets "
        "or quotes",
        TEXT_ARGUMENTS(reader->rest));
}

static int read_tests(struct reader *reader)
{
    if (calls(reader->rest, TEXT("not"))) {
        reader->cell->negated = true;
        skip_call(reader, TEXT("not"));
    }
    int status = read_list(reader);
    if (status != WM_OK)
        return status;
    if (reader->cell->negated && !take(reader, ')')) {
        if (reader->rest.length == 0)
            return FAULT(reader, "not( is not closed; end it with )");
        return FAULT(reader,
                     "%.*s is not expected here; put a comma between tests, and quotes round text that has "
                     "brackets or quotes",
                     TEXT_ARGUMENTS(reader->rest));
    }
    return read_end_of_cell(reader);
}

int cell_read(const struct cell_context *context, struct text written, struct place place,
              struct cell **ret_cell)
{
    struct cell *cell = ARENA_NEW(context->arena, struct cell);
    struct text plain = trim_blanks(written);

    if (cell == NULL)
        return WM_NO_MEMORY;
    cell->written = written;
    cell->any = plain.length == 0 || text_is(plain, "-");
    if (!cell->any) {
        struct reader reader = {context, place, plain, cell, 0};
        int status = read_tests(&reader);
        if (status != WM_OK)
            return status;
    }
    *ret_cell = cell;
    return WM_OK;
}
