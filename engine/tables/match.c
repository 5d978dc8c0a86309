/* From facts to the rows that hit. */
#include <assert.h>
#include <stdlib.h>

#include "base/status.h"
#include "tables/parts.h"

/* --- Scratch ------------------------------------------------------------------------------------------- */

int table_scratch_new(struct table_scratch **ret_scratch)
{
    struct table_scratch *scratch = calloc(1, sizeof *scratch);

    if (scratch == NULL)
        return WM_NO_MEMORY;
    int status = pattern_work_new(&scratch->work);
    if (status != WM_OK) {
        free(scratch);
        return status;
    }
    *ret_scratch = scratch;
    return WM_OK;
}

void table_scratch_free(struct table_scratch *scratch)
{
    if (scratch == NULL)
        return;
    pattern_work_free(scratch->work);
    free(scratch->set);
    free(scratch->hits);
    buffer_free(&scratch->texts[0]);
    buffer_free(&scratch->texts[1]);
    free(scratch);
}

static int need_set(struct table_scratch *scratch, uint32_t words)
{
    if (words <= scratch->set_capacity)
        return WM_OK;
    uint64_t *grown = realloc(scratch->set, words * sizeof *grown);
    if (grown == NULL)
        return WM_NO_MEMORY;
    scratch->set = grown;
    scratch->set_capacity = words;
    return WM_OK;
}

/* --- Sets ---------------------------------------------------------------------------------------------- */

void set_all_rows(uint64_t *set, uint32_t words, uint32_t row_count)
{
    for (uint32_t w = 0; w < words; w++)
        set[w] = UINT64_MAX;
    if (row_count % 64 != 0)
        set[words - 1] = (UINT64_C(1) << row_count % 64) - 1;
}

uint32_t table_set_words(const struct table *table)
{
    return table->words;
}

/* The class of this condition's fact. */
static inline uint32_t class_now(const struct condition_column *column, const struct value *facts)
{
    struct value v = facts[column->fact.ref.slot];

    assert(v.type == VALUE_NULL || v.type == column->fact.ref.type);
    return classes_find(&column->classes, v);
}

/* As classes_find, of a value that is not null. */
static inline uint32_t class_by_step(const struct word_step *step, struct value v)
{
    if (step->direct == NULL)
        return classes_search(step->classes, v);
    if (v.number < step->first)
        return step->below;
    if (v.number > step->last)
        return step->above;
    uint64_t above = (uint64_t)v.number - (uint64_t)step->first;
    if (step->step_is_one)
        return step->direct[above];
    uint64_t steps = above / DECIMAL_ONE;
    return steps * DECIMAL_ONE == above ? step->direct[steps] : classes_search(step->classes, v);
}

/* Up to 64 rows: the set is one word. */
static uint64_t narrow_word(const struct word_step *steps, uint32_t count, const struct value *facts, uint64_t rows)
{
    for (uint32_t i = 0; i < count && rows != 0; i++) {
        const struct word_step *step = &steps[i];
        struct value v = facts[step->slot];
        assert(v.type == VALUE_NULL || v.type == step->type);
        rows &= v.type == VALUE_NULL ? step->set_of_null : step->sets[class_by_step(step, v)];
    }
    return rows;
}

static void narrow(const struct table *table, const uint32_t *conditions, uint32_t count,
                   const struct value *facts, uint64_t *rows)
{
    for (uint32_t i = 0; i < count; i++) {
        const struct condition_column *column = &table->conditions[conditions[i]];
        if (!classes_narrow(&column->classes, class_now(column, facts), rows, table->words))
            return;
    }
}

/* Takes out the rows that these of the early conditions exclude. */
static inline void narrow_early(const struct table *table, uint32_t first, uint32_t count, const struct value *facts,
                                uint64_t *rows)
{
    if (table->words == 1)
        rows[0] = narrow_word(table->early_steps + first, count, facts, rows[0]);
    else
        narrow(table, table->early + first, count, facts, rows);
}

/* The rows that these of the early conditions leave. */
static inline void match_early(const struct table *table, uint32_t first, uint32_t count, const struct value *facts,
                               uint64_t *ret_rows)
{
    if (table->words == 1)
        ret_rows[0] = UINT64_MAX >> (64 - table->row_count);
    else
        set_all_rows(ret_rows, table->words, table->row_count);
    narrow_early(table, first, count, facts, ret_rows);
}

void table_match_early(const struct table *table, const struct value *facts, uint64_t *ret_rows)
{
    match_early(table, 0, table->early_count, facts, ret_rows);
}

void table_match_shared(const struct table *table, const struct value *facts, uint64_t *ret_rows)
{
    match_early(table, 0, table->shared_count, facts, ret_rows);
}

void table_match_item(const struct table *table, const struct value *facts, const uint64_t *shared_rows,
                      uint64_t *ret_rows)
{
    memcpy(ret_rows, shared_rows, table->words * sizeof *ret_rows);
    narrow_early(table, table->shared_count, table->early_count - table->shared_count, facts, ret_rows);
}

void table_match_steady(const struct table *table, const struct value *facts, uint64_t *ret_rows)
{
    match_early(table, table->shared_count, table->steady_count, facts, ret_rows);
}

void table_match_rest(const struct table *table, const struct value *facts, uint64_t *rows)
{
    uint32_t before = table->shared_count + table->steady_count;

    narrow_early(table, before, table->early_count - before, facts, rows);
}

/* --- One by one ---------------------------------------------------------------------------------------- */

static const struct cell *cell_of(const struct condition_column *column, uint32_t row)
{
    return column->cells[column->cell_of_row[row]];
}

static __attribute__((noinline)) int test_any_cell(const struct condition_column *column, const struct cell *cell,
                                                   const struct value *facts, struct table_scratch *scratch,
                                                   bool *ret_holds)
{
    struct value v = facts[column->fact.ref.slot];
    struct evaluation evaluation = {
        .facts = facts, .work = scratch->work, .any_case = column->fact.ref.any_case};

    enum truth truth = cell_test_value(cell, v, &evaluation);
    *ret_holds = truth == TRUTH_HOLDS;
    return evaluation.trouble;
}

static inline int test_cell(const struct condition_column *column, const struct cell *cell, const struct value *facts,
                            struct table_scratch *scratch, bool *ret_holds)
{
    if (cell->quick == NULL)
        return test_any_cell(column, cell, facts, scratch, ret_holds);
    *ret_holds = cell_quick_holds(cell, facts[column->fact.ref.slot], facts);
    return WM_OK;
}

static int test_row(const struct condition_column *column, uint32_t row, const struct value *facts,
                    struct table_scratch *scratch, bool *ret_holds)
{
    return test_cell(column, cell_of(column, row), facts, scratch, ret_holds);
}

/* Takes out of one word of rows those whose cell does not hold. */
static int test_word(const struct condition_column *column, uint32_t word, const struct value *facts,
                     struct table_scratch *scratch, uint64_t *rows, uint32_t *ret_row)
{
    for (uint64_t left = rows[word] & column->one_by_one[word]; left != 0; left &= left - 1) {
        uint32_t row = word * 64 + (uint32_t)__builtin_ctzll(left);
        bool holds;
        int status = test_row(column, row, facts, scratch, &holds);
        if (status != WM_OK) {
            *ret_row = row;
            return status;
        }
        if (!holds)
            rows[word] &= ~(left & -left);
    }
    return WM_OK;
}

/* The same for a set of one word, over the list of its cells. */
static int test_few_rows(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                         uint64_t *rows, uint32_t *ret_row)
{
    for (uint32_t i = 0; i < table->row_test_count && *rows != 0; i++) {
        const struct row_test *test = &table->row_tests[i];
        bool holds;
        if ((*rows & test->row) == 0)
            continue;
        int status = test_cell(test->column, test->cell, facts, scratch, &holds);
        if (status != WM_OK) {
            *ret_row = (uint32_t)__builtin_ctzll(test->row);
            return status;
        }
        if (!holds)
            *rows &= ~test->row;
    }
    return WM_OK;
}

static int test_rows(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                     uint64_t *rows, uint32_t *ret_row)
{
    if (table->words == 1)
        return test_few_rows(table, facts, scratch, rows, ret_row);
    for (uint32_t i = 0; i < table->tested_count; i++) {
        const struct condition_column *column = &table->conditions[table->tested[i]];
        for (uint32_t w = 0; w < table->words; w++) {
            int status = test_word(column, w, facts, scratch, rows, ret_row);
            if (status != WM_OK)
                return status;
        }
    }
    return WM_OK;
}

int table_match_late(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                     uint64_t *rows, uint32_t *ret_row)
{
    if (table->words == 1)
        rows[0] = narrow_word(table->late_steps, table->late_count, facts, rows[0]);
    else
        narrow(table, table->late, table->late_count, facts, rows);
    return test_rows(table, facts, scratch, rows, ret_row);
}

/* --- Both stages and the policy ------------------------------------------------------------------------ */

static int decide(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                  uint64_t *rows, struct table_hits *ret_hits)
{
    uint32_t row = 0;

    table_match_early(table, facts, rows);
    int status = table_match_late(table, facts, scratch, rows, &row);
    if (status == WM_LIMIT) {
        *ret_hits = (struct table_hits){.fault = TABLE_PATTERN_GIVEN_UP, .first_row = row, .second_row = row};
        return WM_OK;
    }
    return status == WM_OK ? table_hits_on(table, facts, rows, scratch, ret_hits) : status;
}

int table_decide(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                 struct table_hits *ret_hits)
{
    uint64_t word = 0;

    if (table->words <= 1)
        return decide(table, facts, scratch, &word, ret_hits);
    int status = need_set(scratch, table->words);
    return status == WM_OK ? decide(table, facts, scratch, scratch->set, ret_hits) : status;
}

int table_row_misses(const struct table *table, uint32_t row, const struct value *facts,
                     struct table_scratch *scratch, uint32_t *ret_failing)
{
    int first = -1;
    uint32_t failing = 0;

    for (uint32_t c = 0; c < table->condition_count; c++) {
        bool holds = false;
        (void)test_row(&table->conditions[c], row, facts, scratch, &holds);
        if (holds)
            continue;
        failing++;
        if (first < 0)
            first = (int)c;
    }
    *ret_failing = failing;
    return first;
}

/* --- Classes ------------------------------------------------------------------------------------------- */

bool table_is_classable(const struct table *table)
{
    return table->tested_count == 0;
}

uint32_t table_class(const struct table *table, uint32_t condition, struct value v)
{
    const struct classes *classes = &table->conditions[condition].classes;

    return classes->decides ? classes_find(classes, v) : 0;
}
