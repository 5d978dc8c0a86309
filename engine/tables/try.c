#include "tables/try.h"

#include <stdlib.h>

#include "base/limits.h"
#include "base/status.h"
#include "tables/literal.h"
#include "tables/try_parts.h"

/* --- Facts that the table names ------------------------------------------------------------------------ */

static bool add_fact(struct try_run *run, struct text name, struct fact_ref ref)
{
    if (run->fact_count == run->fact_capacity) {
        uint32_t capacity = run->fact_capacity ? run->fact_capacity * 2 : 16;
        struct try_fact *grown = arena_grown(run->arena, run->facts, run->fact_count, capacity, sizeof *grown);
        if (grown == NULL)
            return false;
        run->facts = grown;
        run->fact_capacity = capacity;
    }
    struct text copy = text_copy(run->arena, name);
    if (copy.bytes == NULL)
        return false;
    run->facts[run->fact_count] = (struct try_fact){copy, ref, -1};
    run->facts[run->fact_count].ref.slot = run->fact_count;
    run->facts[run->fact_count].ref.late = false;
    run->fact_count++;
    return true;
}

/* What the dictionary says, or else the table's own type row. */
static bool look_up(const struct try_run *run, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                    struct text *ret_nearest)
{
    const struct fact_source *dictionary = run->source.dictionary;

    if (dictionary->find(dictionary->context, name, declared, ret_fact, ret_nearest))
        return true;
    *ret_fact = (struct fact_ref){.type = declared};
    return declared != VALUE_NULL;
}

static bool find(void *context, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                 struct text *ret_nearest)
{
    struct try_run *run = context;
    struct fact_ref ref;

    for (uint32_t i = 0; i < run->fact_count; i++)
        if (text_equal(run->facts[i].name, name)) {
            *ret_fact = run->facts[i].ref;
            return true;
        }
    if (!look_up(run, name, declared, &ref, ret_nearest))
        return false;
    if (!add_fact(run, name, ref)) {
        run->no_memory = true;
        return false;
    }
    *ret_fact = run->facts[run->fact_count - 1].ref;
    return true;
}

/* --- Opening ------------------------------------------------------------------------------------------- */

static int compile(struct try_run *run, struct diag_sink *sink)
{
    struct fact_source source = {run, find};
    struct table_rules rules = {.policies = HIT_ALL_POLICIES, .outputs = run->source.outputs,
                                .output_count = run->source.output_count};

    int status = table_compile(run->arena, run->source.table_file, run->source.table_csv, rules, &source, sink,
                               &run->table);
    if (run->no_memory)
        status = WM_NO_MEMORY;
    if (status != WM_OK)
        return status;
    enum hit_policy policy = table_policy(run->table);
    run->is_list = policy == HIT_RULE_ORDER || policy == HIT_OUTPUT_ORDER || policy == HIT_COLLECT;
    run->is_aggregate = policy >= HIT_SUM;
    return run->source.format == TRY_CSV ? try_prepare_tails(run) : WM_OK;
}

int try_open(struct arena *arena, const struct try_source *source, struct diag_sink *sink, struct try_run **ret_run)
{
    struct try_run *run = ARENA_NEW(arena, struct try_run);

    if (run == NULL)
        return WM_NO_MEMORY;
    run->arena = arena;
    run->source = *source;
    int status = compile(run, sink);
    if (status == WM_OK)
        *ret_run = run;
    else
        try_close(run);
    return status;
}

void try_close(struct try_run *run)
{
    if (run != NULL)
        table_free(run->table);
}

/* --- The header of FACTS ------------------------------------------------------------------------------- */

static bool is_output(const struct try_run *run, struct text name)
{
    for (uint32_t o = 0; o < table_output_count(run->table); o++)
        if (text_equal(table_output_name(run->table, o), name))
            return true;
    return false;
}

static struct try_fact *fact_named(struct try_run *run, struct text name)
{
    for (uint32_t i = 0; i < run->fact_count; i++)
        if (text_equal(run->facts[i].name, name))
            return &run->facts[i];
    return NULL;
}

static enum value_type dictionary_type_of(const struct try_run *run, struct text name)
{
    struct fact_ref ref;

    return look_up(run, name, VALUE_NULL, &ref, NULL) ? ref.type : VALUE_TEXT;
}

static int add_column(struct try_run *run, struct text cell, uint32_t number)
{
    struct try_column *column = &run->columns[number];
    struct try_fact *fact = fact_named(run, cell);

    column->name = text_copy(run->arena, cell);
    if (column->name.bytes == NULL)
        return WM_NO_MEMORY;
    column->left_out = is_output(run, cell);
    column->type = fact != NULL ? fact->ref.type : dictionary_type_of(run, cell);
    if (fact != NULL)
        fact->column = (int)number;
    return WM_OK;
}

static bool stands_before(const struct csv_row *row, uint32_t number)
{
    for (uint32_t i = 0; i < number; i++)
        if (row->cells[number].length > 0 && text_equal(row->cells[i], row->cells[number]))
            return true;
    return false;
}

static int read_columns(struct try_run *run, const struct csv_row *row, struct diag_sink *sink)
{
    struct place place = {run->source.facts_file, row->line, 0};
    int status = WM_OK;

    if (row->fault != CSV_OK) {
        place = (struct place){run->source.facts_file, row->fault_line, row->fault_column};
        diag_error(sink, place, "the cell %s", csv_fault_words(row->fault));
        return WM_BAD_INPUT;
    }
    run->width = row->cell_count;
    run->columns = ARENA_ARRAY(run->arena, struct try_column, run->width);
    if (run->columns == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < run->width && status != WM_NO_MEMORY; i++) {
        place.column = i + 1;
        if (stands_before(row, i)) {
            diag_error(sink, place, "the column \"%.*s\" stands twice; leave one of them out",
                       TEXT_ARGUMENTS(row->cells[i]));
            status = WM_BAD_INPUT;
        } else if (add_column(run, row->cells[i], i) != WM_OK) {
            status = WM_NO_MEMORY;
        }
    }
    return status;
}

static int read_header(struct try_run *run, struct csv_rows *rows, struct buffer *out, struct diag_sink *sink)
{
    struct csv_row row;

    if (!csv_rows_next(rows, &row)) {
        if (rows->no_memory)
            return WM_NO_MEMORY;
        diag_error(sink, (struct place){run->source.facts_file, 1, 1},
                   "the file is empty; its first row names the facts");
        return WM_BAD_INPUT;
    }
    int status = read_columns(run, &row, sink);
    if (status == WM_OK)
        try_write_header(run, trim_blanks(row.raw), out);
    return status == WM_OK && out->failed ? WM_NO_MEMORY : status;
}

int try_header(struct try_run *run, struct text facts, uint64_t line, struct buffer *out, struct diag_sink *sink,
               struct text *ret_rest, uint64_t *ret_line)
{
    struct csv_rows rows;

    int status = csv_rows_open(&rows, facts, line, LIMIT_COLUMNS, run->arena);
    if (status != WM_OK)
        return status;
    status = read_header(run, &rows, out, sink);
    if (status == WM_OK) {
        *ret_rest = rows.rest;
        *ret_line = rows.line;
    }
    csv_rows_close(&rows);
    return status;
}

/* --- All of FACTS -------------------------------------------------------------------------------------- */

/* What try_facts reads and writes with. */
struct try_stream {
    struct try_run *run;
    struct try_worker *worker;
    struct csv_blocks *blocks;
    struct buffer in, out;
    struct diag_sink *sink;
    bool has_header;
};

static int take_block(struct try_stream *stream, const struct csv_block *block)
{
    struct text rows = block->bytes;
    uint64_t line = block->line;

    buffer_clear(&stream->out);
    if (!stream->has_header) {
        int status = try_header(stream->run, block->bytes, block->line, &stream->out, stream->sink, &rows, &line);
        if (status == WM_OK)
            status = try_worker_new(stream->run, &stream->worker);
        if (status != WM_OK)
            return status;
        stream->has_header = true;
    }
    return try_rows(stream->run, stream->worker, rows, line, &stream->out);
}

static int take_blocks(struct try_stream *stream, int (*write)(void *context, struct text piece), void *context)
{
    struct csv_block block;
    int status;

    while ((status = csv_blocks_next(stream->blocks, &stream->in, &block, stream->sink)) == WM_OK) {
        status = take_block(stream, &block);
        if (status == WM_OK)
            status = write(context, buffer_text(&stream->out));
        if (status != WM_OK)
            return status;
    }
    if (status != WM_NOT_FOUND)
        return status;
    if (stream->has_header)
        return WM_OK;
    return take_block(stream, &(struct csv_block){.bytes = {"", 0}, .line = 1});
}

int try_facts(struct try_run *run, const struct csv_source *facts, int (*write)(void *context, struct text piece),
              void *context, struct diag_sink *sink, uint64_t *ret_errors)
{
    struct try_stream stream = {.run = run, .in = BUFFER_EMPTY, .out = BUFFER_EMPTY, .sink = sink};
    struct csv_scan scan;

    int status = csv_source_scan(facts, false, &scan, sink);
    if (status == WM_OK)
        status = csv_blocks_open(&stream.blocks, facts, LIMIT_BLOCK_BYTES);
    if (status != WM_OK)
        return status;
    status = take_blocks(&stream, write, context);
    if (status == WM_OK)
        *ret_errors = try_worker_errors(stream.worker);
    csv_blocks_close(stream.blocks);
    try_worker_free(stream.worker);
    buffer_free(&stream.in);
    buffer_free(&stream.out);
    return status;
}
