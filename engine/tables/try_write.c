/* Results of `rules try`, as CSV and as JSON. */
#include "base/status.h"
#include "tables/literal.h"
#include "tables/try_parts.h"

static uint32_t output_count(const struct try_run *run)
{
    return table_output_count(run->table);
}

/* --- CSV ----------------------------------------------------------------------------------------------- */

int try_prepare_tails(struct try_run *run)
{
    struct buffer cell = BUFFER_EMPTY, tail = BUFFER_EMPTY;
    uint32_t rows = table_row_count(run->table);
    bool failed = false;

    run->tails = ARENA_ARRAY(run->arena, struct text, rows);
    for (uint32_t r = 0; run->tails != NULL && r < rows && !failed; r++) {
        bool has_places = false;
        buffer_clear(&tail);
        for (uint32_t o = 0; o < output_count(run); o++) {
            has_places |= table_output_has_places(run->table, r, o);
            buffer_clear(&cell);
            value_write(table_output(run->table, r, o), &cell);
            buffer_add_byte(&tail, ',');
            buffer_add_csv(&tail, buffer_text(&cell));
        }
        if (!has_places)
            run->tails[r] = text_copy(run->arena, buffer_text(&tail));
        failed = cell.failed || tail.failed || (!has_places && run->tails[r].bytes == NULL);
    }
    buffer_free(&cell);
    buffer_free(&tail);
    return run->tails == NULL || failed ? WM_NO_MEMORY : WM_OK;
}

/* Cells of a row that cannot be read, as far as they are known. */
static void write_known_cells(const struct try_run *run, const struct csv_row *row, struct buffer *out)
{
    for (uint32_t i = 0; i < run->width; i++) {
        if (i > 0)
            buffer_add_byte(out, ',');
        if (i < row->cell_count)
            buffer_add_csv(out, row->cells[i]);
    }
}

/* One output cell: the hits' outputs joined by semicolons, or the aggregate. */
static void fill_cell(const struct try_run *run, struct try_worker *worker, const struct table_hits *hits,
                      uint32_t output)
{
    buffer_clear(&worker->cell);
    if (run->is_aggregate) {
        value_write(hits->aggregate, &worker->cell);
        return;
    }
    for (uint32_t h = 0; h < hits->count; h++) {
        if (h > 0)
            buffer_add_byte(&worker->cell, ';');
        table_output_write(run->table, hits->rows[h], output, worker->facts, &worker->cell);
    }
}

static void write_error_csv(const struct try_run *run, struct try_worker *worker, struct buffer *out)
{
    buffer_clear(&worker->cell);
    buffer_add_string(&worker->cell, "!error: ");
    buffer_add_text(&worker->cell, buffer_text(&worker->reason));
    buffer_add_byte(out, ',');
    buffer_add_csv(out, buffer_text(&worker->cell));
    for (uint32_t o = 1; o < output_count(run); o++)
        buffer_add_byte(out, ',');
}

static void write_outputs_csv(const struct try_run *run, struct try_worker *worker, const struct table_hits *hits,
                              struct buffer *out)
{
    if (hits->count == 1 && !run->is_aggregate && run->tails[hits->rows[0]].bytes != NULL) {
        buffer_add_text(out, run->tails[hits->rows[0]]);
        return;
    }
    for (uint32_t o = 0; o < output_count(run); o++) {
        fill_cell(run, worker, hits, o);
        buffer_add_byte(out, ',');
        buffer_add_csv(out, buffer_text(&worker->cell));
    }
}

static void write_csv(const struct try_run *run, struct try_worker *worker, const struct csv_row *row,
                      const struct table_hits *hits, struct buffer *out)
{
    if (row->fault == CSV_OK && row->cell_count == run->width)
        buffer_add_text(out, trim_blanks(row->raw));
    else
        write_known_cells(run, row, out);
    if (hits == NULL)
        write_error_csv(run, worker, out);
    else
        write_outputs_csv(run, worker, hits, out);
    buffer_add_byte(out, '\n');
}

/* --- JSON (RFC 8259) ----------------------------------------------------------------------------------- */

static void write_json_byte(unsigned char c, struct buffer *out)
{
    switch (c) {
    case '"': buffer_add_string(out, "\\\""); return;
    case '\\': buffer_add_string(out, "\\\\"); return;
    case '\n': buffer_add_string(out, "\\n"); return;
    case '\r': buffer_add_string(out, "\\r"); return;
    case '\t': buffer_add_string(out, "\\t"); return;
    default: break;
    }
    if (c < 0x20)
        buffer_format(out, "\\u%04x", c);
    else
        buffer_add_byte(out, (char)c);
}

static void write_json_text(struct text t, struct buffer *out)
{
    buffer_add_byte(out, '"');
    for (size_t i = 0; i < t.length; i++)
        write_json_byte((unsigned char)t.bytes[i], out);
    buffer_add_byte(out, '"');
}

static void write_json_value(struct value v, struct buffer *out)
{
    if (v.type == VALUE_NULL)
        buffer_add_string(out, "null");
    else if (v.type == VALUE_TEXT)
        write_json_text(value_as_text(v), out);
    else if (v.type == VALUE_DATE) {
        buffer_add_byte(out, '"');
        value_write(v, out);
        buffer_add_byte(out, '"');
    } else
        value_write(v, out);
}

static void write_json_key(struct text name, bool *is_first, struct buffer *out)
{
    if (!*is_first)
        buffer_add_byte(out, ',');
    *is_first = false;
    write_json_text(name, out);
    buffer_add_byte(out, ':');
}

/* A cell of FACTS in its column's type, or as a string where it is none. */
static void write_json_cell(struct text cell, enum value_type type, struct buffer *out)
{
    int64_t number;

    if (cell.length == 0)
        buffer_add_string(out, "null");
    else if (type == VALUE_NUMBER && decimal_read(cell, 6, &number) == NUMBER_OK)
        write_json_value(value_number(number), out);
    else if (type == VALUE_BOOLEAN && (text_is(cell, "true") || text_is(cell, "false")))
        buffer_add_text(out, cell);
    else
        write_json_text(cell, out);
}

static void write_json_hit(const struct try_run *run, struct try_worker *worker, uint32_t row, uint32_t output,
                           struct buffer *out)
{
    if (!table_output_has_places(run->table, row, output)) {
        write_json_value(table_output(run->table, row, output), out);
        return;
    }
    buffer_clear(&worker->cell);
    table_output_write(run->table, row, output, worker->facts, &worker->cell);
    write_json_text(buffer_text(&worker->cell), out);
}

static void write_json_output(const struct try_run *run, struct try_worker *worker, const struct table_hits *hits,
                              uint32_t output, struct buffer *out)
{
    if (run->is_aggregate) {
        write_json_value(hits->aggregate, out);
        return;
    }
    if (hits->count == 0) {
        buffer_add_string(out, "null");
        return;
    }
    if (run->is_list)
        buffer_add_byte(out, '[');
    for (uint32_t h = 0; h < hits->count; h++) {
        if (h > 0)
            buffer_add_byte(out, ',');
        write_json_hit(run, worker, hits->rows[h], output, out);
    }
    if (run->is_list)
        buffer_add_byte(out, ']');
}

static void write_json_error(struct try_worker *worker, uint32_t output, struct buffer *out)
{
    if (output > 0) {
        buffer_add_string(out, "null");
        return;
    }
    buffer_clear(&worker->cell);
    buffer_add_string(&worker->cell, "!error: ");
    buffer_add_text(&worker->cell, buffer_text(&worker->reason));
    write_json_text(buffer_text(&worker->cell), out);
}

static void write_json(const struct try_run *run, struct try_worker *worker, const struct csv_row *row,
                       const struct table_hits *hits, struct buffer *out)
{
    bool is_first = true;

    buffer_add_byte(out, '{');
    for (uint32_t i = 0; i < run->width; i++) {
        if (run->columns[i].left_out)
            continue;
        write_json_key(run->columns[i].name, &is_first, out);
        write_json_cell(i < row->cell_count ? row->cells[i] : (struct text){"", 0}, run->columns[i].type, out);
    }
    for (uint32_t o = 0; o < output_count(run); o++) {
        write_json_key(table_output_name(run->table, o), &is_first, out);
        if (hits == NULL)
            write_json_error(worker, o, out);
        else
            write_json_output(run, worker, hits, o, out);
    }
    buffer_add_string(out, "}\n");
}

/* --- Either -------------------------------------------------------------------------------------------- */

void try_write_header(const struct try_run *run, struct text header, struct buffer *out)
{
    if (run->source.format == TRY_JSON)
        return;
    buffer_add_text(out, header);
    for (uint32_t o = 0; o < output_count(run); o++) {
        buffer_add_byte(out, ',');
        buffer_add_csv(out, table_output_name(run->table, o));
    }
    buffer_add_byte(out, '\n');
}

void try_write_row(const struct try_run *run, struct try_worker *worker, const struct csv_row *row,
                   const struct table_hits *hits, struct buffer *out)
{
    if (run->source.format == TRY_JSON)
        write_json(run, worker, row, hits, out);
    else
        write_csv(run, worker, row, hits, out);
}
