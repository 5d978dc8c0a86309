#include "tables/compile.h"

#include "base/status.h"
#include "base/text_index.h"

/* One condition column while its cells are read: equal cells are read once. */
struct column_reader {
    struct compiler *compiler;
    struct condition_column *column;
    struct cell_context context;
    struct text_index index;    /* cell as written to its number */
    uint32_t capacity;
};

static int add_cell(struct column_reader *reader, struct cell *cell, uint32_t *ret_number)
{
    struct condition_column *column = reader->column;

    if (column->cell_count == reader->capacity) {
        uint32_t capacity = reader->capacity ? reader->capacity * 2 : 8;
        column->cells = arena_grown(reader->context.arena, column->cells, column->cell_count, capacity,
                                    sizeof *column->cells);
        if (column->cells == NULL)
            return WM_NO_MEMORY;
        reader->capacity = capacity;
    }
    if (text_index_add(&reader->index, cell->written, column->cell_count) == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    *ret_number = column->cell_count;
    column->cells[column->cell_count++] = cell;
    return WM_OK;
}

/* A cell with an error is not kept, so that each place where it stands is reported. */
static int read_row_cell(struct column_reader *reader, uint32_t row)
{
    const struct grid_row *grid_row = &reader->compiler->grid.rows[row];
    uint32_t number = text_index_find(&reader->index, cell_at(grid_row, reader->column->column));
    struct cell *cell;

    if (number == TEXT_INDEX_NONE) {
        number = 0;
        int status = cell_read(&reader->context, cell_at(grid_row, reader->column->column),
                               cell_place(reader->compiler, grid_row, reader->column->column), &cell);
        if (status == WM_OK)
            status = add_cell(reader, cell, &number);
        if (status == WM_NO_MEMORY)
            return status;
    }
    reader->column->cell_of_row[row] = number;
    return WM_OK;
}

static int read_domain(struct column_reader *reader)
{
    const struct grid_row *values = &reader->compiler->grid.values;
    struct cell *domain = NULL;

    if (values->cells == NULL)
        return WM_OK;
    int status = cell_read(&reader->context, cell_at(values, reader->column->column),
                           cell_place(reader->compiler, values, reader->column->column), &domain);
    if (status == WM_OK && !domain->any)
        reader->column->domain = domain;
    return status == WM_BAD_INPUT ? WM_OK : status;
}

static int read_column(struct column_reader *reader)
{
    uint32_t rows = reader->compiler->grid.row_count;
    int status = WM_OK;

    reader->column->cell_of_row = ARENA_ARRAY(reader->context.arena, uint32_t, rows);
    if (reader->column->cell_of_row == NULL)
        return WM_NO_MEMORY;
    for (uint32_t r = 0; r < rows && status == WM_OK; r++)
        status = read_row_cell(reader, r);
    return status == WM_OK ? read_domain(reader) : status;
}

int compile_conditions(struct compiler *compiler)
{
    struct table *table = compiler->table;
    int status = WM_OK;

    for (uint32_t c = 0; c < table->condition_count && status == WM_OK; c++) {
        struct condition_column *column = &table->conditions[c];
        if (!compiler->is_known[c])
            continue;
        struct column_reader reader = {
            .compiler = compiler,
            .column = column,
            .context = {compiler->arena, column->fact.ref.type, column->fact.ref.any_case, &compiler->names,
                        &table->patterns, compiler->sink},
            .index = TEXT_INDEX_EMPTY};
        status = read_column(&reader);
        text_index_free(&reader.index);
    }
    return status;
}

/* --- Classes ------------------------------------------------------------------------------------------- */

static bool is_tested(const struct condition_column *column, uint32_t row, bool all)
{
    const struct cell *cell = column->cells[column->cell_of_row[row]];

    return !cell->any && (all || !cell_is_classable(cell, column->fact.ref.any_case));
}

/* Notes the rows whose cells are evaluated one by one: all that test anything, or those that have no classes. */
static int list_tested(struct compiler *compiler, struct condition_column *column, bool all)
{
    const struct table *table = compiler->table;
    bool found = false;

    uint64_t *set = ARENA_ARRAY(compiler->arena, uint64_t, table->words);
    if (set == NULL)
        return WM_NO_MEMORY;
    for (uint32_t r = 0; r < table->row_count; r++)
        if (is_tested(column, r, all)) {
            struct cell *cell = column->cells[column->cell_of_row[r]];
            set[r / 64] |= UINT64_C(1) << r % 64;
            found = true;
            if (cell_make_quick(compiler->arena, cell, column->fact.ref.type, column->fact.ref.any_case) != WM_OK)
                return WM_NO_MEMORY;
        }
    column->one_by_one = found ? set : NULL;
    return WM_OK;
}

static int class_column(struct compiler *compiler, struct condition_column *column)
{
    struct class_source source = {column->fact.ref.type, column->fact.ref.any_case, column->cells,
                                  column->cell_count,    column->cell_of_row,       compiler->table->row_count};

    int status = classes_build(compiler->arena, &source, &column->classes);
    if (status != WM_OK && status != WM_LIMIT)
        return status;
    return list_tested(compiler, column, status == WM_LIMIT);
}

static void note_late(struct table *table, const struct condition_column *column)
{
    for (uint32_t c = 0; c < column->cell_count; c++)
        if (!column->cells[c]->any && (column->fact.ref.late || column->cells[c]->names_late))
            table->is_late = true;
}

static bool is_early(const struct condition_column *column)
{
    return column->classes.decides && !column->fact.ref.late;
}

static bool is_steady(const struct condition_column *column)
{
    return column->fact.ref.of_item && column->fact.ref.steady;
}

/* Which conditions are asked when; early ones that are the same for all items of a claim come first, those on
 * steady facts of the item next. */
static void list_stages(struct table *table)
{
    for (uint32_t c = 0; c < table->condition_count; c++)
        if (is_early(&table->conditions[c]) && !table->conditions[c].fact.ref.of_item)
            table->early[table->early_count++] = c;
    table->shared_count = table->early_count;
    for (uint32_t c = 0; c < table->condition_count; c++)
        if (is_early(&table->conditions[c]) && is_steady(&table->conditions[c]))
            table->early[table->early_count++] = c;
    table->steady_count = table->early_count - table->shared_count;
    for (uint32_t c = 0; c < table->condition_count; c++) {
        const struct condition_column *column = &table->conditions[c];
        if (is_early(column) && column->fact.ref.of_item && !is_steady(column))
            table->early[table->early_count++] = c;
        else if (column->classes.decides && column->fact.ref.late)
            table->late[table->late_count++] = c;
        if (column->one_by_one != NULL)
            table->tested[table->tested_count++] = c;
        note_late(table, column);
    }
}

static int list_steps(struct compiler *compiler, const uint32_t *conditions, uint32_t count,
                      struct word_step **ret_steps)
{
    struct word_step *steps = ARENA_ARRAY(compiler->arena, struct word_step, count);

    if (steps == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < count; i++) {
        const struct condition_column *column = &compiler->table->conditions[conditions[i]];
        const struct classes *classes = &column->classes;
        steps[i] = (struct word_step){.sets = classes->sets,
                                      .classes = classes,
                                      .set_of_null = classes->sets[classes->class_of_null],
                                      .direct = classes->direct,
                                      .slot = column->fact.ref.slot,
                                      .type = (uint8_t)column->fact.ref.type};
        if (classes->direct == NULL)
            continue;
        steps[i].first = classes->numbers[0];
        steps[i].last = classes->numbers[classes->cut_count - 1];
        steps[i].below = classes->class_of_position[0];
        steps[i].above = classes->class_of_position[2 * classes->cut_count];
        steps[i].step_is_one = classes->direct_step == 1;
    }
    *ret_steps = steps;
    return WM_OK;
}

/* Sets of one word are always kept whole: 64 cells of 64 KiB hold fewer than two million literals, and
 * LIMIT_COLUMN_SET_BYTES is room for the sets of all positions between them. */
static int list_word_steps(struct compiler *compiler, struct table *table)
{
    if (table->words > 1)
        return WM_OK;
    int status = list_steps(compiler, table->early, table->early_count, &table->early_steps);
    return status == WM_OK ? list_steps(compiler, table->late, table->late_count, &table->late_steps) : status;
}

/* Small tables are asked most, and have few such cells: walking these is shorter than looking for them by column. */
static int list_row_tests(struct compiler *compiler, struct table *table)
{
    uint32_t count = 0;

    if (table->words > 1)
        return WM_OK;
    for (uint32_t i = 0; i < table->tested_count; i++)
        count += (uint32_t)__builtin_popcountll(table->conditions[table->tested[i]].one_by_one[0]);
    table->row_tests = ARENA_ARRAY(compiler->arena, struct row_test, count);
    if (table->row_tests == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < table->tested_count; i++) {
        const struct condition_column *column = &table->conditions[table->tested[i]];
        for (uint64_t left = column->one_by_one[0]; left != 0; left &= left - 1)
            table->row_tests[table->row_test_count++] =
                (struct row_test){left & -left, column, column->cells[column->cell_of_row[__builtin_ctzll(left)]]};
    }
    return WM_OK;
}

int compile_classes(struct compiler *compiler)
{
    struct table *table = compiler->table;
    uint32_t count = table->condition_count;
    int status = WM_OK;

    table->early = ARENA_ARRAY(compiler->arena, uint32_t, count);
    table->late = ARENA_ARRAY(compiler->arena, uint32_t, count);
    table->tested = ARENA_ARRAY(compiler->arena, uint32_t, count);
    if (table->early == NULL || table->late == NULL || table->tested == NULL)
        return WM_NO_MEMORY;
    for (uint32_t c = 0; c < count && status == WM_OK; c++)
        status = class_column(compiler, &table->conditions[c]);
    if (status == WM_OK) {
        list_stages(table);
        status = list_word_steps(compiler, table);
    }
    return status == WM_OK ? list_row_tests(compiler, table) : status;
}
