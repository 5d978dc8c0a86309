#include "rules/lint_space.h"

#include <stdlib.h>

#include "base/limits.h"
#include "base/status.h"
#include "rules/lint_cells.h"
#include "rules/lint_classes.h"

/* Boxes of one dimension take at most this many bytes, and this many evaluations of cells; beyond it nothing is
 * proved. A table of 10,000 rows with as many different texts in a column is well below. */
#define MOST_SET_BYTES (64u * 1024u * 1024u)
#define MOST_EVALUATIONS 100000000u

/* --- Dimensions ----------------------------------------------------------------------------------- */

static int list_dims(struct lint_space *space, const struct lint_knowledge *knowledge)
{
    uint32_t most = 0;

    for (uint32_t t = 0; t < space->table_count; t++)
        most += table_condition_count(space->tables[t]);
    space->dims = ARENA_ARRAY(space->arena, struct lint_dim, most);
    if (space->dims == NULL)
        return WM_NO_MEMORY;
    for (uint32_t t = 0; t < space->table_count; t++)
        for (uint32_t c = 0; c < table_condition_count(space->tables[t]); c++) {
            struct fact_ref fact = table_condition_fact(space->tables[t], c);
            if (lint_dim_of(space, fact.slot) >= 0)
                continue;
            space->dims[space->dim_count++] = (struct lint_dim){
                .name = table_condition_name(space->tables[t], c),
                .slot = fact.slot,
                .type = fact.type,
                .any_case = fact.any_case,
                .nature = knowledge->nature != NULL ? knowledge->nature(knowledge->context, fact.slot)
                                                    : FACT_NATURE_OPEN};
        }
    return WM_OK;
}

int lint_dim_of(const struct lint_space *space, uint32_t slot)
{
    for (uint32_t d = 0; d < space->dim_count; d++)
        if (space->dims[d].slot == slot)
            return (int)d;
    return -1;
}

/* --- Boxes of the rows ---------------------------------------------------------------------------- */

struct cell_of_row {
    const struct cell *cell;
    uint32_t row;
};

struct column {
    struct lint_space *space;
    struct lint_dim *dim;
    const struct lint_cells *cells;
    const struct cell_of_row *rows; /* rows of one cell stand together */
    uint32_t count;
    uint32_t first_row;
};

static int by_cell(const void *a, const void *b)
{
    uintptr_t one = (uintptr_t)((const struct cell_of_row *)a)->cell;
    uintptr_t other = (uintptr_t)((const struct cell_of_row *)b)->cell;

    return (one > other) - (one < other);
}

/* Takes the rows from `first` on that share a cell out of the classes at which it does not hold; returns the
 * next. */
static uint32_t mark_cell(struct column *column, uint32_t first)
{
    struct lint_dim *dim = column->dim;
    const struct cell *cell = column->rows[first].cell;
    uint32_t end = first + 1, words = column->space->row_words;

    while (end < column->count && column->rows[end].cell == cell)
        end++;
    for (uint32_t k = 0; k < dim->class_count && !cell->any; k++) {
        struct lint_truth truth = lint_cell_at(column->cells, cell, dim, &dim->classes[k]);
        for (uint32_t i = first; i < end; i++) {
            uint32_t row = column->first_row + column->rows[i].row;
            if (!truth.may)
                bit_clear(dim->may + (size_t)k * words, row);
            if (!truth.must)
                bit_clear(dim->must + (size_t)k * words, row);
            if (truth.may != truth.must)
                bit_set(column->space->unsure, row);
        }
    }
    return end;
}

static int mark_column(struct lint_space *space, struct lint_dim *dim, uint32_t table, uint32_t condition,
                       const struct lint_cells *cells, uint64_t *evaluations)
{
    const struct table *from = space->tables[table];
    uint32_t count = table_row_count(from), different = 0;
    struct cell_of_row *rows = calloc(count + 1, sizeof *rows);
    struct column column = {space, dim, cells, rows, count, space->first_row[table]};

    if (rows == NULL)
        return WM_NO_MEMORY;
    for (uint32_t row = 0; row < count; row++)
        rows[row] = (struct cell_of_row){table_condition_test(from, condition, row), row};
    qsort(rows, count, sizeof *rows, by_cell);
    for (uint32_t row = 0; row < count; row++)
        different += row == 0 || rows[row].cell != rows[row - 1].cell;
    *evaluations += (uint64_t)different * dim->class_count;
    space->too_large = space->too_large || *evaluations > MOST_EVALUATIONS;
    for (uint32_t at = 0; at < count && !space->too_large;)
        at = mark_cell(&column, at);
    free(rows);
    return WM_OK;
}

static void set_all(uint64_t *sets, size_t words)
{
    memset(sets, 0xff, words * sizeof *sets);
}

static int mark_rows(struct lint_space *space, struct lint_dim *dim, const struct lint_cells *cells,
                     uint64_t *evaluations)
{
    size_t words = (size_t)dim->class_count * space->row_words;
    int status = WM_OK;

    if (words * 2 * sizeof(uint64_t) > MOST_SET_BYTES) {
        space->too_large = true;
        return WM_OK;
    }
    dim->may = ARENA_ARRAY(space->arena, uint64_t, words);
    dim->must = ARENA_ARRAY(space->arena, uint64_t, words);
    if (dim->may == NULL || dim->must == NULL)
        return WM_NO_MEMORY;
    set_all(dim->may, words);
    set_all(dim->must, words);
    for (uint32_t t = 0; status == WM_OK && t < space->table_count; t++)
        for (int c = -1;
             status == WM_OK && (c = lint_condition_on(space->tables[t], dim->slot, (uint32_t)(c + 1))) >= 0;)
            status = mark_column(space, dim, t, (uint32_t)c, cells, evaluations);
    return status;
}

static uint32_t highest_slot(const struct cell *cell)
{
    uint32_t highest = 0;

    for (uint32_t i = 0; i < cell->test_count; i++) {
        const struct cell_fact *const facts[] = {cell->tests[i].low.fact, cell->tests[i].high.fact};
        for (int k = 0; k < 2; k++)
            if (facts[k] != NULL && facts[k]->ref.slot > highest)
                highest = facts[k]->ref.slot;
    }
    return highest;
}

static uint32_t slots_of(const struct lint_space *space)
{
    uint32_t slots = 0;

    for (uint32_t t = 0; t < space->table_count; t++)
        for (uint32_t c = 0; c < table_condition_count(space->tables[t]); c++)
            for (uint32_t row = 0; row < table_row_count(space->tables[t]); row++) {
                const struct cell *cell = table_condition_test(space->tables[t], c, row);
                uint32_t slot = cell->names_fact ? highest_slot(cell) : 0;
                slots = slot >= slots ? slot + 1 : slots;
            }
    return slots;
}

static int make_rows(struct lint_space *space)
{
    struct lint_cells cells;
    uint64_t evaluations = 0;
    int status = lint_cells_open(&cells, slots_of(space));

    if (status != WM_OK)
        return status;
    for (uint32_t d = 0; status == WM_OK && d < space->dim_count && !space->too_large; d++)
        status = mark_rows(space, &space->dims[d], &cells, &evaluations);
    lint_cells_close(&cells);
    return status;
}

/* --- The space ------------------------------------------------------------------------------------ */

static int make_domain(struct lint_space *space)
{
    for (uint32_t d = 0; d < space->dim_count; d++) {
        space->dims[d].first_word = space->box_words;
        space->dims[d].words = (space->dims[d].class_count + 63) / 64;
        space->box_words += space->dims[d].words;
    }
    space->domain = ARENA_ARRAY(space->arena, uint64_t, space->box_words);
    if (space->domain == NULL)
        return WM_NO_MEMORY;
    for (uint32_t d = 0; d < space->dim_count; d++)
        for (uint32_t k = 0; k < space->dims[d].class_count; k++)
            if (space->dims[d].classes[k].in_domain)
                bit_set(box_dim(space, space->domain, d), k);
    return WM_OK;
}

static int count_rows(struct lint_space *space)
{
    space->first_row = ARENA_ARRAY(space->arena, uint32_t, space->table_count);
    if (space->first_row == NULL)
        return WM_NO_MEMORY;
    for (uint32_t t = 0; t < space->table_count; t++) {
        space->first_row[t] = space->row_count;
        space->row_count += table_row_count(space->tables[t]);
    }
    space->row_words = (space->row_count + 63) / 64;
    space->unsure = lint_rows_new(space);
    return space->unsure == NULL ? WM_NO_MEMORY : WM_OK;
}

int lint_space_make(struct arena *arena, const struct table *const *tables, uint32_t table_count,
                    const struct lint_knowledge *knowledge, struct lint_space **ret_space)
{
    struct lint_space *space = ARENA_NEW(arena, struct lint_space);

    if (space == NULL)
        return WM_NO_MEMORY;
    *space = (struct lint_space){.arena = arena, .tables = tables, .table_count = table_count};
    int status = count_rows(space);
    if (status == WM_OK)
        status = list_dims(space, knowledge);
    for (uint32_t d = 0; status == WM_OK && d < space->dim_count; d++)
        status = lint_classes_make(space, d, knowledge);
    if (status == WM_OK)
        status = make_domain(space);
    if (status == WM_OK)
        status = make_rows(space);
    if (status == WM_OK)
        *ret_space = space;
    return status;
}

const struct table *lint_row_table(const struct lint_space *space, uint32_t row, uint32_t *ret_row)
{
    uint32_t t = space->table_count - 1;

    while (space->first_row[t] > row)
        t--;
    *ret_row = row - space->first_row[t];
    return space->tables[t];
}

/* --- Boxes and row sets --------------------------------------------------------------------------- */

uint64_t *lint_box_new(const struct lint_space *space)
{
    uint64_t *box = arena_bytes(space->arena, space->box_words * sizeof *box);

    if (box != NULL && space->box_words > 0)
        memcpy(box, space->domain, space->box_words * sizeof *box);
    return box;
}

uint64_t *lint_rows_new(const struct lint_space *space)
{
    return ARENA_ARRAY(space->arena, uint64_t, space->row_words);
}

bool lint_box_has(const struct lint_space *space, const uint64_t *box, uint32_t dim, uint32_t class_number)
{
    return bit_is_set(box + space->dims[dim].first_word, class_number);
}

void lint_box_meet_row(const struct lint_space *space, uint64_t *box, uint32_t row, bool certain)
{
    for (uint32_t d = 0; d < space->dim_count; d++) {
        const struct lint_dim *dim = &space->dims[d];
        const uint64_t *sets = certain ? dim->must : dim->may;
        for (uint32_t k = 0; k < dim->class_count; k++)
            if (!bit_is_set(sets + (size_t)k * space->row_words, row))
                bit_clear(box_dim(space, box, d), k);
    }
}

void lint_box_pin(const struct lint_space *space, uint64_t *box, uint32_t dim, uint32_t class_number)
{
    uint64_t *words = box_dim(space, box, dim);
    bool had = bit_is_set(words, class_number);

    memset(words, 0, space->dims[dim].words * sizeof *words);
    if (had)
        bit_set(words, class_number);
}

uint32_t lint_box_width(const struct lint_space *space, const uint64_t *box, uint32_t dim)
{
    uint32_t width = 0;

    for (uint32_t w = 0; w < space->dims[dim].words; w++)
        width += (uint32_t)__builtin_popcountll(box[space->dims[dim].first_word + w]);
    return width;
}

int lint_box_empty_dim(const struct lint_space *space, const uint64_t *box)
{
    for (uint32_t d = 0; d < space->dim_count; d++)
        if (lint_box_width(space, box, d) == 0)
            return (int)d;
    return -1;
}
