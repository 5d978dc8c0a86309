/* Two decision tables of one file. */
#include "base/status.h"
#include "rules/cell_words.h"
#include "rules/differences_parts.h"

static const char *const POLICIES[] = {
    [HIT_UNIQUE] = "U",     [HIT_ANY] = "A",          [HIT_PRIORITY] = "P", [HIT_FIRST] = "F",
    [HIT_RULE_ORDER] = "R", [HIT_OUTPUT_ORDER] = "O", [HIT_COLLECT] = "C",  [HIT_SUM] = "C+",
    [HIT_MIN] = "C<",       [HIT_MAX] = "C>",         [HIT_COUNT] = "C#"};

/* --- Finding what belongs together ---------------------------------------------------------------- */

static int condition_named(const struct table *table, struct text name)
{
    for (uint32_t c = 0; c < table_condition_count(table); c++)
        if (text_equal(table_condition_name(table, c), name))
            return (int)c;
    return -1;
}

static int output_named(const struct table *table, struct text name)
{
    for (uint32_t o = 0; o < table_output_count(table); o++)
        if (text_equal(table_output_name(table, o), name))
            return (int)o;
    return -1;
}

static int index_rows(struct text_index *index, const struct table *table)
{
    for (uint32_t row = 0; row < table_row_count(table); row++)
        if (text_index_add(index, table_row_name(table, row), row) == TEXT_INDEX_NONE)
            return WM_NO_MEMORY;
    return WM_OK;
}

/* --- Rows in words -------------------------------------------------------------------------------- */

static void add_output(const struct table *table, uint32_t row, uint32_t output, struct buffer *out)
{
    struct value v = table_output(table, row, output);

    if (v.type == VALUE_NULL)
        buffer_add_string(out, "nothing");
    else if (v.type == VALUE_TEXT && text_is(value_as_text(v), "nothing"))
        buffer_add_string(out, "\"nothing\"");
    else
        value_write(v, out);
}

/* `Brindle, R16, repaired: kit PSH-1600-01, quantity 1` */
static void whole_row(const struct table *table, uint32_t row, struct buffer *out)
{
    buffer_clear(out);
    row_words(table, row, NULL, "always", out);
    for (uint32_t o = 0; o < table_output_count(table); o++) {
        buffer_add_string(out, o == 0 ? ": " : ", ");
        fact_words(table_output_name(table, o), out);
        buffer_add_byte(out, ' ');
        add_output(table, row, o, out);
    }
}

static int tell_row(struct comparing *comparing, const struct table *table, uint32_t row, enum change change)
{
    struct buffer *words = change == CHANGE_ADDED ? &comparing->words_after : &comparing->words_before;
    struct difference difference = {
        .change = change, .file = table_file(table), .row = table_row_name(table, row)};

    whole_row(table, row, words);
    if (change == CHANGE_ADDED) {
        difference.after = buffer_text(words);
        difference.line_after = table_row_line(table, row);
    } else {
        difference.before = buffer_text(words);
        difference.line_before = table_row_line(table, row);
    }
    return tell(comparing, &difference);
}

int tell_whole_table(struct comparing *comparing, const struct table *table, enum change change)
{
    int status = WM_OK;

    for (uint32_t row = 0; status == WM_OK && row < table_row_count(table); row++)
        status = tell_row(comparing, table, row, change);
    return status;
}

/* --- Cells ---------------------------------------------------------------------------------------- */

struct pair {
    struct comparing *comparing;
    const struct table *before, *after;
    uint32_t row_before, row_after;
};

static int tell_cell(const struct pair *pair, struct text column)
{
    struct comparing *comparing = pair->comparing;
    struct text before = buffer_text(&comparing->words_before), after = buffer_text(&comparing->words_after);

    if (text_equal(before, after))
        return WM_OK;
    return tell(comparing, &(struct difference){.change = CHANGE_CHANGED,
                                                .file = table_file(pair->after),
                                                .row = table_row_name(pair->after, pair->row_after),
                                                .column = column,
                                                .before = before,
                                                .after = after,
                                                .line_before = table_row_line(pair->before, pair->row_before),
                                                .line_after = table_row_line(pair->after, pair->row_after)});
}

/* A column that a table lacks says nothing: `any`. */
static void condition_words(const struct table *table, uint32_t row, struct text name, struct buffer *out)
{
    int condition = condition_named(table, name);

    buffer_clear(out);
    if (condition < 0) {
        buffer_add_string(out, "any ");
        fact_words(name, out);
        return;
    }
    cell_words(table_condition_test(table, (uint32_t)condition, row), name,
               table_condition_fact(table, (uint32_t)condition).type, out);
}

static int compare_condition(const struct pair *pair, struct text name)
{
    condition_words(pair->before, pair->row_before, name, &pair->comparing->words_before);
    condition_words(pair->after, pair->row_after, name, &pair->comparing->words_after);
    return tell_cell(pair, name);
}

static void output_words(const struct table *table, uint32_t row, struct text name, struct buffer *out)
{
    int output = output_named(table, name);

    buffer_clear(out);
    if (output < 0)
        buffer_add_string(out, "nothing");
    else
        add_output(table, row, (uint32_t)output, out);
}

static int compare_output(const struct pair *pair, struct text name)
{
    output_words(pair->before, pair->row_before, name, &pair->comparing->words_before);
    output_words(pair->after, pair->row_after, name, &pair->comparing->words_after);
    return tell_cell(pair, name);
}

static int compare_rows(const struct pair *pair)
{
    int status = WM_OK;

    for (uint32_t c = 0; status == WM_OK && c < table_condition_count(pair->before); c++)
        status = compare_condition(pair, table_condition_name(pair->before, c));
    for (uint32_t c = 0; status == WM_OK && c < table_condition_count(pair->after); c++)
        if (condition_named(pair->before, table_condition_name(pair->after, c)) < 0)
            status = compare_condition(pair, table_condition_name(pair->after, c));
    for (uint32_t o = 0; status == WM_OK && o < table_output_count(pair->before); o++)
        status = compare_output(pair, table_output_name(pair->before, o));
    for (uint32_t o = 0; status == WM_OK && o < table_output_count(pair->after); o++)
        if (output_named(pair->before, table_output_name(pair->after, o)) < 0)
            status = compare_output(pair, table_output_name(pair->after, o));
    return status;
}

/* --- The table as a whole ------------------------------------------------------------------------- */

static int tell_of_table(struct comparing *comparing, const struct table *table, struct text column)
{
    struct text before = buffer_text(&comparing->words_before), after = buffer_text(&comparing->words_after);

    if (text_equal(before, after))
        return WM_OK;
    if (column.bytes == NULL)
        return WM_NO_MEMORY;
    return tell(comparing, &(struct difference){.change = CHANGE_CHANGED,
                                                .file = table_file(table),
                                                .column = column,
                                                .before = before,
                                                .after = after,
                                                .line_before = 1,
                                                .line_after = 1});
}

static int compare_policy(struct comparing *comparing, const struct table *before, const struct table *after)
{
    buffer_clear(&comparing->words_before);
    buffer_clear(&comparing->words_after);
    buffer_add_string(&comparing->words_before, POLICIES[table_policy(before)]);
    buffer_add_string(&comparing->words_after, POLICIES[table_policy(after)]);
    return tell_of_table(comparing, after, TEXT("hit policy"));
}

static void domain_words(const struct table *table, struct text name, struct buffer *out)
{
    int condition = condition_named(table, name);
    const struct cell *domain = condition < 0 ? NULL : table_condition_domain(table, (uint32_t)condition);

    buffer_clear(out);
    if (domain != NULL)
        cell_words(domain, name, table_condition_fact(table, (uint32_t)condition).type, out);
    else
        buffer_add_string(out, "none given");
}

static void values_words(const struct table *table, struct text name, struct buffer *out)
{
    int output = output_named(table, name);
    uint32_t count = 0;
    const struct value *values = output < 0 ? NULL : table_output_values(table, (uint32_t)output, &count);

    buffer_clear(out);
    for (uint32_t i = 0; i < count; i++) {
        buffer_add_string(out, i > 0 ? ", " : "");
        value_write(values[i], out);
    }
    if (count == 0)
        buffer_add_string(out, "none given");
}

static int compare_domain(struct comparing *comparing, const struct table *before, const struct table *after,
                          struct text name)
{
    domain_words(before, name, &comparing->words_before);
    domain_words(after, name, &comparing->words_after);
    return tell_of_table(comparing, after,
                         text_format(&comparing->arena, "values of %.*s", TEXT_ARGUMENTS(name)));
}

static int compare_values(struct comparing *comparing, const struct table *before, const struct table *after)
{
    int status = WM_OK;

    for (uint32_t c = 0; status == WM_OK && c < table_condition_count(before); c++)
        if (condition_named(after, table_condition_name(before, c)) < 0)
            status = compare_domain(comparing, before, after, table_condition_name(before, c));
    for (uint32_t c = 0; status == WM_OK && c < table_condition_count(after); c++)
        status = compare_domain(comparing, before, after, table_condition_name(after, c));
    for (uint32_t o = 0; status == WM_OK && o < table_output_count(after); o++) {
        struct text name = table_output_name(after, o);
        values_words(before, name, &comparing->words_before);
        values_words(after, name, &comparing->words_after);
        status = tell_of_table(comparing, after,
                               text_format(&comparing->arena, "values of >%.*s", TEXT_ARGUMENTS(name)));
    }
    return status;
}

/* --- Order ---------------------------------------------------------------------------------------- */

/* The rows that both tables have, in the order of the new one. */
struct ordering {
    uint32_t *rows, *old; /* numbers in the new and in the old table */
    uint32_t count;
    bool *stays; /* it need not be moved: the most rows that are in the same order in both */
};

static int list_common(struct comparing *comparing, const struct table *after, const struct text_index *index,
                       struct ordering *ordering)
{
    uint32_t most = table_row_count(after);

    ordering->rows = ARENA_ARRAY(&comparing->arena, uint32_t, most);
    ordering->old = ARENA_ARRAY(&comparing->arena, uint32_t, most);
    ordering->stays = ARENA_ARRAY(&comparing->arena, bool, most);
    if (ordering->rows == NULL || ordering->old == NULL || ordering->stays == NULL)
        return WM_NO_MEMORY;
    for (uint32_t row = 0; row < most; row++) {
        uint32_t old = text_index_find(index, table_row_name(after, row));
        if (old == TEXT_INDEX_NONE)
            continue;
        ordering->rows[ordering->count] = row;
        ordering->old[ordering->count++] = old;
    }
    return WM_OK;
}

/* The longest ascending part of `old` (patience sorting): ends[n] is where the best one of n + 1 rows ends. */
static int find_staying(struct comparing *comparing, struct ordering *ordering)
{
    uint32_t *ends = ARENA_ARRAY(&comparing->arena, uint32_t, ordering->count);
    uint32_t *previous = ARENA_ARRAY(&comparing->arena, uint32_t, ordering->count);
    uint32_t longest = 0;

    if (ends == NULL || previous == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < ordering->count; i++) {
        uint32_t low = 0, high = longest;
        while (low < high) {
            uint32_t middle = low + (high - low) / 2;
            if (ordering->old[ends[middle]] < ordering->old[i])
                low = middle + 1;
            else
                high = middle;
        }
        previous[i] = low > 0 ? ends[low - 1] : UINT32_MAX;
        ends[low] = i;
        longest = low == longest ? longest + 1 : longest;
    }
    for (uint32_t i = longest > 0 ? ends[longest - 1] : UINT32_MAX; i != UINT32_MAX; i = previous[i])
        ordering->stays[i] = true;
    return WM_OK;
}

static void place_words(const struct table *table, uint32_t row, struct buffer *out)
{
    buffer_clear(out);
    if (row == 0)
        buffer_add_string(out, "first");
    else
        buffer_format(out, "behind \"%.*s\"", TEXT_ARGUMENTS(table_row_name(table, row - 1)));
}

/* Order decides under F. */
static int compare_order(struct comparing *comparing, const struct table *before, const struct table *after,
                         const struct text_index *index)
{
    struct ordering ordering = {.count = 0};
    int status = table_policy(after) != HIT_FIRST ? WM_OK : list_common(comparing, after, index, &ordering);

    if (status == WM_OK)
        status = find_staying(comparing, &ordering);
    for (uint32_t i = 0; status == WM_OK && i < ordering.count; i++) {
        uint32_t old = ordering.old[i], row = ordering.rows[i];
        if (ordering.stays[i])
            continue;
        place_words(before, old, &comparing->words_before);
        place_words(after, row, &comparing->words_after);
        status = tell(comparing, &(struct difference){.change = CHANGE_MOVED,
                                                      .file = table_file(after),
                                                      .row = table_row_name(after, row),
                                                      .column = TEXT("order"),
                                                      .before = buffer_text(&comparing->words_before),
                                                      .after = buffer_text(&comparing->words_after),
                                                      .line_before = table_row_line(before, old),
                                                      .line_after = table_row_line(after, row)});
    }
    return status;
}

/* --- All of it ------------------------------------------------------------------------------------ */

static int compare_all_rows(struct comparing *comparing, const struct table *before, const struct table *after,
                            const struct text_index *old, const struct text_index *new)
{
    int status = WM_OK;

    for (uint32_t row = 0; status == WM_OK && row < table_row_count(before); row++)
        if (text_index_find(new, table_row_name(before, row)) == TEXT_INDEX_NONE)
            status = tell_row(comparing, before, row, CHANGE_REMOVED);
    for (uint32_t row = 0; status == WM_OK && row < table_row_count(after); row++) {
        uint32_t other = text_index_find(old, table_row_name(after, row));
        status = other == TEXT_INDEX_NONE ? tell_row(comparing, after, row, CHANGE_ADDED)
                                          : compare_rows(&(struct pair){comparing, before, after, other, row});
    }
    return status != WM_OK ? status : compare_order(comparing, before, after, old);
}

int compare_tables(struct comparing *comparing, const struct table *before, const struct table *after)
{
    struct text_index old = TEXT_INDEX_EMPTY, new = TEXT_INDEX_EMPTY;
    int status = compare_policy(comparing, before, after);

    if (status == WM_OK)
        status = compare_values(comparing, before, after);
    if (status == WM_OK)
        status = index_rows(&old, before);
    if (status == WM_OK)
        status = index_rows(&new, after);
    if (status == WM_OK)
        status = compare_all_rows(comparing, before, after, &old, &new);
    text_index_free(&old);
    text_index_free(&new);
    return status;
}
