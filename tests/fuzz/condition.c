/* One condition cell: alone, under not(...), and in a table of one row, on a value each.
 * Bytes: type, value up to a line feed, cell. */
#include "fuzz.h"
#include "jit.h"
#include "table_kit.h"

static const char *const COLUMN = "the column";

static enum value_type column_type;
static bool column_any_case;

static bool find_column(void *context, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                        struct text *ret_nearest)
{
    (void)context, (void)declared, (void)ret_nearest;
    if (!text_is(name, COLUMN))
        return false;
    *ret_fact = (struct fact_ref){.slot = 0, .type = column_type, .any_case = column_any_case};
    return true;
}

static const struct fact_source ONE_COLUMN = {NULL, find_column};

static struct table_scratch *scratch;

int LLVMFuzzerInitialize(int *count, char ***arguments)
{
    (void)count, (void)arguments;
    must(table_scratch_new(&scratch) == WM_OK, "there is memory");
    return 0;
}

static struct value value_of(struct text written)
{
    struct value v = value_null();

    if (written.length == 0)
        return v;
    if (column_type == VALUE_TEXT)
        return value_text(written);
    return literal_read(written, column_type, &v).wrong == NULL ? v : value_null();
}

/* What not(...) makes of it. */
static void negated(struct arena *arena, struct text cell, struct value v, enum truth truth)
{
    struct buffer wrapped = BUFFER_EMPTY;
    struct diag_sink sink = looking_sink();
    struct condition *condition = NULL;

    buffer_add_string(&wrapped, "not(");
    buffer_add_text(&wrapped, cell);
    buffer_add_string(&wrapped, ")");
    if (condition_compile(arena, buffer_text(&wrapped), column_type, column_any_case,
                          (struct place){TEXT("c"), 1, 1}, &sink, &condition) == WM_OK) {
        enum truth swapped = condition_test(condition, v, scratch);
        must(swapped == (truth == TRUTH_HOLDS   ? TRUTH_FAILS
                         : truth == TRUTH_FAILS ? TRUTH_HOLDS
                                                : TRUTH_NEITHER),
             "not swaps holds and fails");
    }
    condition_free(condition);
    buffer_free(&wrapped);
}

/* The cell in a table: the row hits where the condition holds. */
static void in_a_table(struct arena *arena, struct text cell, struct value v, enum truth truth)
{
    struct buffer csv = BUFFER_EMPTY;
    struct diag_sink sink = looking_sink();
    struct table *table = NULL;
    struct table_hits hits;

    buffer_format(&csv, "C,%s,>x\nr,", COLUMN);
    buffer_add_csv(&csv, cell);
    buffer_add_string(&csv, ",1\n");
    int status = table_compile(arena, TEXT("t.csv"), buffer_text(&csv),
                               (struct table_rules){.policies = HIT_ALL_POLICIES}, &ONE_COLUMN, &sink, &table);
    must(went_well(status, &sink), "a cell that is a condition is one in a table");
    must(table_decide(table, &v, scratch, &hits) == WM_OK, "there is memory");
    if (hits.fault == TABLE_OK)
        must((hits.count == 1) == (truth == TRUTH_HOLDS), "a row hits where its condition holds");
    table_free(table);
    buffer_free(&csv);
}

/* Numbers as a fraction: n / 1 is n, and 7n / 7 too. */
static void as_fraction(const struct condition *condition, struct value v, enum truth truth)
{
    if (v.type != VALUE_NUMBER)
        return;
    must(condition_test_fraction(condition, v.number, 1) == truth &&
             condition_test_fraction(condition, (__int128)v.number * 7, 7) == truth,
         "a number is the fraction of itself and 1");
}

/* What can stand in a table as it stands alone: no blanks around it, not "any", and nothing that is the
 * column's name there and a word here. */
static bool is_cell(struct text t)
{
    return text_is_utf8(t) && memchr(t.bytes, 0, t.length) == NULL && text_trim(t).length == t.length &&
           t.length > 0 && !text_is(t, "-") && memmem(t.bytes, t.length, COLUMN, strlen(COLUMN)) == NULL;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    static const enum value_type TYPES[] = {VALUE_NUMBER, VALUE_TEXT, VALUE_TEXT, VALUE_DATE, VALUE_BOOLEAN};
    struct input input = input_of(bytes, length);
    struct arena arena = ARENA_EMPTY;
    struct diag_sink sink = looking_sink();
    struct condition *condition = NULL;
    struct text rest, written, cell;
    uint64_t type = input_choose(&input, 5);
    char *copy = input_rest(&input, &rest);

    jit_choose(bytes, length);
    column_type = TYPES[type];
    column_any_case = type == 2;
    text_cut(rest, '\n', &written, &cell);
    if (is_cell(cell) && text_is_utf8(written) && cell.length < 4096) {
        int status = condition_compile(&arena, cell, column_type, column_any_case,
                                       (struct place){TEXT("c"), 1, 1}, &sink, &condition);
        if (went_well(status, &sink)) {
            struct value v = value_of(written);
            enum truth truth = condition_test(condition, v, scratch);
            must(truth == condition_test(condition, v, scratch), "a condition says the same twice");
            as_fraction(condition, v, truth);
            negated(&arena, cell, v, truth);
            in_a_table(&arena, cell, v, truth);
        }
    }
    condition_free(condition);
    arena_free(&arena);
    free(copy);
    return 0;
}
