#include "tables/compile.h"

#include <stdlib.h>

#include "base/status.h"
#include "tables/literal.h"

/* A value of a `values` row and its place in the list. */
struct ranked_value {
    struct value value;
    uint32_t rank;
};

/* One output column while it is read. */
struct output_reader {
    struct compiler *compiler;
    struct output_column *output;
    struct ranked_value *ranked;    /* in order of value */
};

#define FAULT_AT(reader, place, ...) (diag_error((reader)->compiler->sink, (place), __VA_ARGS__), WM_BAD_INPUT)

/* --- Items of a cell ----------------------------------------------------------------------------------- */

static bool is_quoted(struct text written)
{
    return written.length > 0 && written.bytes[0] == '"';
}

/* Takes the next item of a list; commas in quotes do not end it. */
static bool next_item(struct text *rest, struct text *ret_item)
{
    size_t length = 0;

    if (rest->bytes == NULL)
        return false;
    *rest = trim_blanks(*rest);
    if (is_quoted(*rest))
        length = quoted_length(*rest);
    while (length < rest->length && rest->bytes[length] != ',')
        length++;
    *ret_item = trim_blanks((struct text){rest->bytes, length});
    if (length < rest->length)
        *rest = (struct text){rest->bytes + length + 1, rest->length - length - 1};
    else
        *rest = (struct text){NULL, 0};
    return true;
}

/* For next_item: an empty cell has no item. */
static struct text values_cell(const struct output_reader *reader)
{
    const struct grid_row *row = &reader->compiler->grid.values;
    struct text cell = row->cells == NULL ? TEXT("") : cell_at(row, reader->output->column);

    return cell.length == 0 ? (struct text){NULL, 0} : cell;
}

static bool is_null_word(struct text written)
{
    return written.length == 0 || text_is(written, "null");
}

/* --- Types --------------------------------------------------------------------------------------------- */

/* 007 is a code and no number, though it could be read as one. */
static bool has_needless_zero(struct text written)
{
    size_t i = written.bytes[0] == '-';

    return written.length > i + 1 && written.bytes[i] == '0' && written.bytes[i + 1] != '.';
}

static bool looks_like(struct text written, enum value_type type)
{
    struct value value;

    if (type == VALUE_NUMBER && has_needless_zero(written))
        return false;
    return literal_read(written, type, &value).wrong == NULL;
}

/* Whether all cells of the column, and its values, look like this type, and there is one at all. */
static bool all_look_like(const struct output_reader *reader, enum value_type type)
{
    const struct grid *grid = &reader->compiler->grid;
    struct text rest = values_cell(reader), item;
    bool some = false;

    for (uint32_t r = 0; r < grid->row_count; r++) {
        struct text written = cell_at(&grid->rows[r], reader->output->column);
        if (is_null_word(written))
            continue;
        if (!looks_like(written, type))
            return false;
        some = true;
    }
    while (next_item(&rest, &item))
        if (!is_null_word(item) && !looks_like(item, type))
            return false;
    return some;
}

static enum value_type guess_type(const struct output_reader *reader)
{
    enum hit_policy policy = reader->compiler->table->policy;

    if (policy == HIT_SUM || all_look_like(reader, VALUE_NUMBER))
        return VALUE_NUMBER;
    if (all_look_like(reader, VALUE_DATE))
        return VALUE_DATE;
    return all_look_like(reader, VALUE_BOOLEAN) ? VALUE_BOOLEAN : VALUE_TEXT;
}

static enum value_type known_type(const struct output_reader *reader)
{
    const struct table_rules *rules = &reader->compiler->rules;

    for (size_t i = 0; i < rules->output_count; i++)
        if (text_is(reader->output->name, rules->outputs[i].name))
            return rules->outputs[i].type;
    return VALUE_NULL;
}

static void find_type(struct output_reader *reader)
{
    struct compiler *compiler = reader->compiler;
    enum value_type known = known_type(reader), declared = declared_type(compiler, reader->output->column);

    if (known != VALUE_NULL && declared != VALUE_NULL && known != declared)
        diag_error(compiler->sink, cell_place(compiler, &compiler->grid.type, reader->output->column),
                   "the output \"%.*s\" is a %s; leave this cell empty", TEXT_ARGUMENTS(reader->output->name),
                   value_type_name(known));
    if (known == VALUE_NULL)
        known = declared;
    reader->output->type = known != VALUE_NULL ? known : guess_type(reader);
}

static void check_aggregate(const struct output_reader *reader)
{
    enum hit_policy policy = reader->compiler->table->policy;
    enum value_type type = reader->output->type;
    struct place place = header_place(reader->compiler, reader->output->column);

    if (policy == HIT_SUM && type != VALUE_NUMBER)
        diag_error(reader->compiler->sink, place, "C+ adds numbers and \"%.*s\" is a %s; make it a number",
                   TEXT_ARGUMENTS(reader->output->name), value_type_name(type));
    if ((policy == HIT_MIN || policy == HIT_MAX) && type != VALUE_NUMBER && type != VALUE_DATE)
        diag_error(reader->compiler->sink, place,
                   "%s compares numbers or dates and \"%.*s\" is a %s; make it one of these", policy_name(policy),
                   TEXT_ARGUMENTS(reader->output->name), value_type_name(type));
}

/* --- Literals ------------------------------------------------------------------------------------------ */

/* A text with its quotes, if any; ret_places may be NULL: then braces are themselves. */
static int read_text(const struct output_reader *reader, struct text written, struct place place,
                     struct value *ret_value, const struct place_text **ret_places)
{
    struct text raw = written, plain;
    bool quoted = is_quoted(written);

    if (quoted) {
        size_t length = quoted_length(written);
        if (length == 0)
            return FAULT_AT(reader, place, "the quote %.*s is not closed; end it with \"", TEXT_ARGUMENTS(written));
        if (length < written.length)
            return FAULT_AT(reader, place, "there is more behind the closing quote in %.*s; put the whole text in "
                            "quotes and write \\\" for a quote inside", TEXT_ARGUMENTS(written));
        raw = (struct text){written.bytes + 1, length - 2};
    }
    int status;
    if (ret_places != NULL)
        status = compile_places(reader->compiler, raw, quoted, place, &plain, ret_places);
    else if (quoted)
        status = unescape(reader->compiler->arena, raw, &plain);
    else
        status = (plain = raw, WM_OK);
    if (status == WM_BAD_INPUT && ret_places == NULL)
        return FAULT_AT(reader, place, "the text has an escape \\u that is no character; correct its digits");
    if (status == WM_OK)
        *ret_value = value_text(plain);
    return status;
}

static int read_literal(const struct output_reader *reader, struct text written, struct place place,
                        struct value *ret_value, const struct place_text **ret_places)
{
    enum value_type type = reader->output->type;

    *ret_value = value_null();
    if (is_null_word(written))
        return WM_OK;
    if (type == VALUE_TEXT)
        return read_text(reader, written, place, ret_value, ret_places);
    if (is_quoted(written))
        return FAULT_AT(reader, place, "%.*s is text and this output a %s; leave out the quotes",
                        TEXT_ARGUMENTS(written), value_type_name(type));
    struct literal_fault fault = literal_read(written, type, ret_value);
    if (fault.wrong != NULL)
        return FAULT_AT(reader, place, "\"%.*s\" %s; %s", TEXT_ARGUMENTS(written), fault.wrong, fault.advice);
    return WM_OK;
}

/* --- The values row ------------------------------------------------------------------------------------ */

static int compare_ranked(const void *a, const void *b)
{
    const struct ranked_value *first = a, *second = b;

    return value_order_any(first->value, second->value);
}

static uint32_t count_items(struct text rest)
{
    struct text item;
    uint32_t count = 0;

    while (next_item(&rest, &item))
        count++;
    return count;
}

static void check_doubles(const struct output_reader *reader, struct place place)
{
    struct buffer shown = BUFFER_EMPTY;

    for (uint32_t i = 1; i < reader->output->value_count; i++) {
        if (compare_ranked(&reader->ranked[i - 1], &reader->ranked[i]) != 0)
            continue;
        buffer_clear(&shown);
        value_write(reader->ranked[i].value, &shown);
        diag_error(reader->compiler->sink, place, "the value \"%.*s\" stands twice; leave one of them out",
                   TEXT_ARGUMENTS(buffer_text(&shown)));
    }
    buffer_free(&shown);
}

static int read_values(struct output_reader *reader)
{
    struct output_column *output = reader->output;
    struct text rest = values_cell(reader), item;
    struct place place = {.file = reader->compiler->grid.file, .line = reader->compiler->grid.values.line,
                          .column = output->column};
    uint32_t count = count_items(rest);

    if (count == 0)
        return WM_OK;
    output->values = ARENA_ARRAY(reader->compiler->arena, struct value, count);
    reader->ranked = ARENA_ARRAY(&reader->compiler->work, struct ranked_value, count);
    if (output->values == NULL || reader->ranked == NULL)
        return WM_NO_MEMORY;
    while (next_item(&rest, &item)) {
        struct value value;
        if (item.length == 0) {
            diag_error(reader->compiler->sink, place, "a value is missing between commas; write one, or null");
            continue;
        }
        int status = read_literal(reader, item, place, &value, NULL);
        if (status == WM_NO_MEMORY)
            return status;
        if (status != WM_OK)
            continue;
        reader->ranked[output->value_count] = (struct ranked_value){value, output->value_count};
        output->values[output->value_count++] = value;
    }
    qsort(reader->ranked, output->value_count, sizeof *reader->ranked, compare_ranked);
    check_doubles(reader, place);
    return WM_OK;
}

static void report_unlisted(const struct output_reader *reader, struct value value, struct text written,
                            struct place place)
{
    enum hit_policy policy = reader->compiler->table->policy;

    if (value.type != VALUE_NULL)
        diag_error(reader->compiler->sink, place,
                   "\"%.*s\" is not among the values of this column; add it there, or correct it",
                   TEXT_ARGUMENTS(written));
    else if (policy == HIT_PRIORITY || policy == HIT_OUTPUT_ORDER)
        diag_error(reader->compiler->sink, place,
                   "the output is empty and has no priority; write it, or add null to the values of this column");
}

/* An empty output has no need to be listed, but under P and O everything needs a priority. */
static void rank_row(const struct output_reader *reader, uint32_t row, struct text written, struct place place)
{
    const struct output_column *output = reader->output;
    struct ranked_value key = {output->of_row[row], 0}, *found;

    if (output->values == NULL)
        return;
    found = bsearch(&key, reader->ranked, output->value_count, sizeof key, compare_ranked);
    if (found == NULL)
        report_unlisted(reader, key.value, written, place);
    else
        output->rank_of_row[row] = found->rank;
}

/* --- Cells --------------------------------------------------------------------------------------------- */

static int read_cell(struct output_reader *reader, uint32_t row)
{
    const struct compiler *compiler = reader->compiler;
    struct output_column *output = reader->output;
    struct text written = cell_at(&compiler->grid.rows[row], output->column);
    struct place place = cell_place(compiler, &compiler->grid.rows[row], output->column);
    const struct place_text *places = NULL;
    enum hit_policy policy = compiler->table->policy;

    int status = read_literal(reader, written, place, &output->of_row[row], &places);
    if (status != WM_OK)
        return status == WM_BAD_INPUT ? WM_OK : status;
    output->places_of_row[row] = places;
    compiler->table->has_places |= places != NULL;
    if (output->of_row[row].type == VALUE_NULL && policy >= HIT_SUM && policy != HIT_COUNT)
        diag_error(compiler->sink, place, "the output is empty and %s needs a %s in each row; write one",
                   policy_name(policy), value_type_name(output->type));
    rank_row(reader, row, written, place);
    return WM_OK;
}

static int read_output(struct output_reader *reader)
{
    uint32_t rows = reader->compiler->grid.row_count;
    struct output_column *output = reader->output;

    output->of_row = ARENA_ARRAY(reader->compiler->arena, struct value, rows);
    output->places_of_row = ARENA_ARRAY(reader->compiler->arena, const struct place_text *, rows);
    output->rank_of_row = ARENA_ARRAY(&reader->compiler->work, uint32_t, rows);
    if (output->of_row == NULL || output->places_of_row == NULL || output->rank_of_row == NULL)
        return WM_NO_MEMORY;
    find_type(reader);
    check_aggregate(reader);
    int status = read_values(reader);
    for (uint32_t r = 0; r < rows && status == WM_OK; r++)
        status = read_cell(reader, r);
    return status;
}

static void check_priorities(const struct compiler *compiler)
{
    const struct table *table = compiler->table;

    if (table->policy != HIT_PRIORITY && table->policy != HIT_OUTPUT_ORDER)
        return;
    for (uint32_t o = 0; o < table->output_count; o++)
        if (table->outputs[o].values != NULL)
            return;
    diag_error(compiler->sink, header_place(compiler, 1),
               "%s needs the priority of its outputs; add a row named values that lists them, the first one first",
               policy_name(table->policy));
}

int compile_outputs(struct compiler *compiler)
{
    struct table *table = compiler->table;
    int status = WM_OK;

    for (uint32_t o = 0; o < table->output_count && status == WM_OK; o++) {
        struct output_reader reader = {.compiler = compiler, .output = &table->outputs[o]};
        status = read_output(&reader);
    }
    check_priorities(compiler);
    return status;
}
