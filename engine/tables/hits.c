/* Hit policies: DMN 1.5, section 8.2.10, and contract section 3. */
#include <stdlib.h>

#include "base/status.h"
#include "tables/parts.h"

/* --- Walking a row set --------------------------------------------------------------------------------- */

static uint32_t count_rows(const struct table *table, const uint64_t *rows)
{
    uint32_t count = 0;

    for (uint32_t w = 0; w < table->words; w++)
        for (uint64_t left = rows[w]; left != 0; left &= left - 1)
            count++;
    return count;
}

static int need_hits(struct table_scratch *scratch, uint32_t count)
{
    if (count <= scratch->hit_capacity)
        return WM_OK;
    uint32_t capacity = count < 16 ? 16 : count;
    uint32_t *grown = realloc(scratch->hits, capacity * sizeof *grown);
    if (grown == NULL)
        return WM_NO_MEMORY;
    scratch->hits = grown;
    scratch->hit_capacity = capacity;
    return WM_OK;
}

/* Writes all rows of the set to scratch->hits, in row order. */
static int list_hits(const struct table *table, const uint64_t *rows, struct table_scratch *scratch,
                     uint32_t *ret_count)
{
    uint32_t count = 0;

    int status = need_hits(scratch, count_rows(table, rows));
    if (status != WM_OK)
        return status;
    for (uint32_t w = 0; w < table->words; w++)
        for (uint64_t left = rows[w]; left != 0; left &= left - 1)
            scratch->hits[count++] = w * 64 + (uint32_t)__builtin_ctzll(left);
    *ret_count = count;
    return WM_OK;
}

static struct table_hits fault(enum table_fault what, uint32_t first, uint32_t second)
{
    return (struct table_hits){.fault = what, .first_row = first, .second_row = second};
}

static struct table_hits one_hit(struct table_scratch *scratch, uint32_t row)
{
    scratch->hits[0] = row;
    return (struct table_hits){.count = 1, .rows = scratch->hits};
}

static struct table_hits all_hits(const struct table_scratch *scratch, uint32_t count)
{
    return (struct table_hits){.count = count, .rows = scratch->hits};
}

/* --- A ------------------------------------------------------------------------------------------------- */

static int render(const struct table *table, uint32_t row, uint32_t output, const struct value *facts,
                  struct buffer *out)
{
    buffer_clear(out);
    table_output_write(table, row, output, facts, out);
    return out->failed ? WM_NO_MEMORY : WM_OK;
}

static bool has_place(const struct output_column *output, uint32_t row)
{
    return output->places_of_row[row] != NULL;
}

/* A text with places is what its reader sees. */
static int same_output(const struct table *table, uint32_t output, uint32_t a, uint32_t b, const struct value *facts,
                       struct table_scratch *scratch, bool *ret_same)
{
    const struct output_column *column = &table->outputs[output];

    if (!has_place(column, a) && !has_place(column, b)) {
        *ret_same = value_equal(column->of_row[a], column->of_row[b], false);
        return WM_OK;
    }
    int status = render(table, a, output, facts, &scratch->texts[0]);
    if (status == WM_OK)
        status = render(table, b, output, facts, &scratch->texts[1]);
    *ret_same = text_equal(buffer_text(&scratch->texts[0]), buffer_text(&scratch->texts[1]));
    return status;
}

static int same_outputs(const struct table *table, uint32_t a, uint32_t b, const struct value *facts,
                        struct table_scratch *scratch, bool *ret_same)
{
    int status = WM_OK;

    *ret_same = table->outputs_class[a] == table->outputs_class[b];
    if (*ret_same || facts == NULL || !table->has_places)
        return WM_OK;
    *ret_same = true;
    for (uint32_t o = 0; o < table->output_count && status == WM_OK && *ret_same; o++)
        status = same_output(table, o, a, b, facts, scratch, ret_same);
    return status;
}

static int any_hit(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                   uint32_t count, struct table_hits *ret_hits)
{
    const uint32_t *hits = scratch->hits;

    for (uint32_t i = 1; i < count; i++) {
        bool same = true;
        int status = same_outputs(table, hits[0], hits[i], facts, scratch, &same);
        if (status != WM_OK)
            return status;
        if (!same) {
            *ret_hits = fault(TABLE_OUTPUTS_DIFFER, hits[0], hits[i]);
            return WM_OK;
        }
    }
    *ret_hits = one_hit(scratch, hits[0]);
    return WM_OK;
}

/* --- P and O ------------------------------------------------------------------------------------------- */

static struct table_hits first_by_priority(const struct table *table, struct table_scratch *scratch, uint32_t count)
{
    uint32_t best = scratch->hits[0];

    for (uint32_t i = 1; i < count; i++)
        if (table->priority[scratch->hits[i]] < table->priority[best])
            best = scratch->hits[i];
    return one_hit(scratch, best);
}

static int compare_numbers(const void *a, const void *b)
{
    uint32_t first = *(const uint32_t *)a, second = *(const uint32_t *)b;

    return (first > second) - (first < second);
}

/* No two rows have the same priority number, so sorting those numbers sorts the rows. */
static struct table_hits sorted_by_priority(const struct table *table, struct table_scratch *scratch, uint32_t count)
{
    for (uint32_t i = 0; i < count; i++)
        scratch->hits[i] = table->priority[scratch->hits[i]];
    qsort(scratch->hits, count, sizeof *scratch->hits, compare_numbers);
    for (uint32_t i = 0; i < count; i++)
        scratch->hits[i] = table->row_of_priority[scratch->hits[i]];
    return all_hits(scratch, count);
}

/* --- C+ C< C> C# --------------------------------------------------------------------------------------- */

static struct table_hits sum(const struct table *table, const struct table_scratch *scratch, uint32_t count)
{
    const struct value *of_row = table->outputs[0].of_row;
    __int128 total = 0;

    for (uint32_t i = 0; i < count; i++)
        total += of_row[scratch->hits[i]].number;
    if (total > INT64_MAX || total < INT64_MIN)
        return fault(TABLE_SUM_TOO_LARGE, scratch->hits[0], scratch->hits[count - 1]);
    struct table_hits hits = all_hits(scratch, count);
    hits.aggregate = value_number((int64_t)total);
    return hits;
}

static struct table_hits extreme(const struct table *table, const struct table_scratch *scratch, uint32_t count)
{
    const struct value *of_row = table->outputs[0].of_row;
    struct table_hits hits = all_hits(scratch, count);

    hits.aggregate = of_row[scratch->hits[0]];
    for (uint32_t i = 1; i < count; i++) {
        int order = value_order(of_row[scratch->hits[i]], hits.aggregate);
        if (table->policy == HIT_MIN ? order < 0 : order > 0)
            hits.aggregate = of_row[scratch->hits[i]];
    }
    return hits;
}

static struct table_hits counted(const struct table_scratch *scratch, uint32_t count)
{
    struct table_hits hits = all_hits(scratch, count);

    hits.aggregate = value_integer(count);
    return hits;
}

/* --- All of them --------------------------------------------------------------------------------------- */

/* count hits stand in the scratch, at least one. */
static int by_policy(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                     uint32_t count, struct table_hits *ret_hits)
{
    switch (table->policy) {
    case HIT_UNIQUE:
        *ret_hits = count == 1 ? all_hits(scratch, 1)
                               : fault(TABLE_TWO_HITS, scratch->hits[0], scratch->hits[1]);
        return WM_OK;
    case HIT_ANY:
        return any_hit(table, facts, scratch, count, ret_hits);
    case HIT_PRIORITY:
        *ret_hits = first_by_priority(table, scratch, count);
        return WM_OK;
    case HIT_FIRST:
        *ret_hits = one_hit(scratch, scratch->hits[0]);
        return WM_OK;
    case HIT_OUTPUT_ORDER:
        *ret_hits = sorted_by_priority(table, scratch, count);
        return WM_OK;
    case HIT_SUM:
        *ret_hits = sum(table, scratch, count);
        return WM_OK;
    case HIT_MIN:
    case HIT_MAX:
        *ret_hits = extreme(table, scratch, count);
        return WM_OK;
    case HIT_COUNT:
        *ret_hits = counted(scratch, count);
        return WM_OK;
    case HIT_RULE_ORDER:
    case HIT_COLLECT:
        break;
    }
    *ret_hits = all_hits(scratch, count);
    return WM_OK;
}

int table_hits_on(const struct table *table, const struct value *facts, const uint64_t *rows,
                  struct table_scratch *scratch, struct table_hits *ret_hits)
{
    uint32_t count = 0;

    int status = list_hits(table, rows, scratch, &count);
    if (status != WM_OK)
        return status;
    if (count > 0)
        return by_policy(table, facts, scratch, count, ret_hits);
    *ret_hits = (struct table_hits){.count = 0};
    return WM_OK;
}

int table_hits(const struct table *table, const uint64_t *rows, struct table_scratch *scratch,
               struct table_hits *ret_hits)
{
    return table_hits_on(table, NULL, rows, scratch, ret_hits);
}
