#include "tables/compile.h"

#include "base/status.h"

static int list_rows(struct compiler *compiler)
{
    struct table *table = compiler->table;

    table->row_count = compiler->grid.row_count;
    table->words = (table->row_count + 63) / 64;
    table->rows = ARENA_ARRAY(compiler->arena, struct row, table->row_count);
    if (table->rows == NULL)
        return WM_NO_MEMORY;
    for (uint32_t r = 0; r < table->row_count; r++)
        table->rows[r] = (struct row){cell_at(&compiler->grid.rows[r], 1), compiler->grid.rows[r].line};
    return WM_OK;
}

static int compile_cells(struct compiler *compiler)
{
    int status = compile_header(compiler);

    if (status == WM_OK)
        status = list_rows(compiler);
    if (status == WM_OK)
        status = compile_conditions(compiler);
    if (status == WM_OK)
        status = compile_outputs(compiler);
    return status;
}

/* What only a table without errors needs. */
static int compile_lookups(struct compiler *compiler)
{
    int status = compile_classes(compiler);

    if (status == WM_OK)
        status = compile_priority(compiler);
    if (status == WM_OK)
        status = compile_outputs_class(compiler);
    return status;
}

static int compile(struct compiler *compiler, struct text file, struct text csv)
{
    size_t errors = compiler->sink->errors;

    compiler->table = ARENA_NEW(compiler->arena, struct table);
    if (compiler->table == NULL)
        return WM_NO_MEMORY;
    compiler->table->file = text_copy(compiler->arena, file);
    struct text text = text_copy(compiler->arena, csv);
    if (compiler->table->file.bytes == NULL || text.bytes == NULL)
        return WM_NO_MEMORY;
    int status = grid_read(compiler->arena, &compiler->work, compiler->table->file, text, compiler->sink,
                           &compiler->grid);
    if (status == WM_OK)
        status = compile_cells(compiler);
    if (status == WM_OK && compiler->sink->errors > errors)
        status = WM_BAD_INPUT;
    return status == WM_OK ? compile_lookups(compiler) : status;
}

int table_compile(struct arena *arena, struct text file, struct text csv, struct table_rules rules,
                  const struct fact_source *source, struct diag_sink *sink, struct table **ret_table)
{
    struct compiler compiler = {.arena = arena, .work = ARENA_EMPTY, .rules = rules, .source = source, .sink = sink};

    int status = compile(&compiler, file, csv);
    arena_free(&compiler.work);
    if (status == WM_OK)
        *ret_table = compiler.table;
    else
        table_free(compiler.table);
    return status;
}

void table_free(struct table *table)
{
    if (table == NULL)
        return;
    pattern_free_list(table->patterns);
    table->patterns = NULL;
}
