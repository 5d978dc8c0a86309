/* What P, O and A need to know of the rows before any is hit (DMN 1.5, 8.2.10). */
#include <stdlib.h>

#include "base/status.h"
#include "tables/compile.h"

/* Outputs with a values list count from left to right; equal rows stay in their order. */
static int compare_priorities(const void *a, const void *b, void *context)
{
    const struct table *table = context;
    uint32_t first = *(const uint32_t *)a, second = *(const uint32_t *)b;

    for (uint32_t o = 0; o < table->output_count; o++) {
        const struct output_column *output = &table->outputs[o];
        if (output->values == NULL || output->rank_of_row[first] == output->rank_of_row[second])
            continue;
        return output->rank_of_row[first] < output->rank_of_row[second] ? -1 : 1;
    }
    return (first > second) - (first < second);
}

int compile_priority(struct compiler *compiler)
{
    struct table *table = compiler->table;

    if (table->policy != HIT_PRIORITY && table->policy != HIT_OUTPUT_ORDER)
        return WM_OK;
    table->priority = ARENA_ARRAY(compiler->arena, uint32_t, table->row_count);
    table->row_of_priority = ARENA_ARRAY(compiler->arena, uint32_t, table->row_count);
    if (table->priority == NULL || table->row_of_priority == NULL)
        return WM_NO_MEMORY;
    for (uint32_t r = 0; r < table->row_count; r++)
        table->row_of_priority[r] = r;
    qsort_r(table->row_of_priority, table->row_count, sizeof(uint32_t), compare_priorities, table);
    for (uint32_t p = 0; p < table->row_count; p++)
        table->priority[table->row_of_priority[p]] = p;
    return WM_OK;
}

/* --- Equal outputs ------------------------------------------------------------------------------------- */

/* A text with a place is never equal to one without, as written. */
static int compare_outputs(const void *a, const void *b, void *context)
{
    const struct table *table = context;
    uint32_t first = *(const uint32_t *)a, second = *(const uint32_t *)b;

    for (uint32_t o = 0; o < table->output_count; o++) {
        const struct output_column *output = &table->outputs[o];
        int order = value_order_any(output->of_row[first], output->of_row[second]);
        if (order == 0)
            order = (output->places_of_row[first] != NULL) - (output->places_of_row[second] != NULL);
        if (order != 0)
            return order;
    }
    return 0;
}

int compile_outputs_class(struct compiler *compiler)
{
    struct table *table = compiler->table;
    uint32_t number = 0;

    if (table->policy != HIT_ANY)
        return WM_OK;
    uint32_t *order = ARENA_ARRAY(&compiler->work, uint32_t, table->row_count);
    table->outputs_class = ARENA_ARRAY(compiler->arena, uint32_t, table->row_count);
    if (order == NULL || table->outputs_class == NULL)
        return WM_NO_MEMORY;
    for (uint32_t r = 0; r < table->row_count; r++)
        order[r] = r;
    qsort_r(order, table->row_count, sizeof *order, compare_outputs, table);
    for (uint32_t i = 0; i < table->row_count; i++) {
        if (i > 0 && compare_outputs(&order[i - 1], &order[i], table) != 0)
            number++;
        table->outputs_class[order[i]] = number;
    }
    return WM_OK;
}
