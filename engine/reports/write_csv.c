#include "reports/write_report.h"

/* A text that is quoted in any case, an apostrophe in front. */
static void add_harmless(struct buffer *out, struct text t)
{
    buffer_add_string(out, "\"'");
    for (size_t i = 0; i < t.length; i++) {
        buffer_add_byte(out, t.bytes[i]);
        if (t.bytes[i] == '"')
            buffer_add_byte(out, '"');
    }
    buffer_add_byte(out, '"');
}

static void add_cell(struct buffer *out, enum report_format format, struct value v, bool plain_cells)
{
    struct text t = value_as_text(v);

    if (v.type != VALUE_TEXT)
        write_report_figure(out, format, v);
    else if (!plain_cells && report_text_is_formula(t))
        add_harmless(out, t);
    else
        buffer_add_csv(out, t);
}

static void add_table(struct buffer *out, const struct report_table *table, bool plain_cells)
{
    const struct report_section *section = table->section;

    for (uint32_t i = 0; i < section->column_count; i++) {
        buffer_add_string(out, i > 0 ? "," : "");
        buffer_add_csv(out, section->columns[i].name);
    }
    buffer_add_byte(out, '\n');
    for (uint64_t row = 0; row < table->row_count; row++) {
        for (uint32_t i = 0; i < section->column_count; i++) {
            buffer_add_string(out, i > 0 ? "," : "");
            add_cell(out, section->columns[i].format, table->cells[row * section->column_count + i],
                     plain_cells);
        }
        buffer_add_byte(out, '\n');
    }
}

void write_report_csv(struct buffer *out, const struct report_result *result, struct report_look look)
{
    bool first = true;

    for (uint32_t i = 0; i < result->report->section_count; i++) {
        if (!report_is_shown(result, look, i))
            continue;
        if (!first)
            buffer_add_byte(out, '\n');
        first = false;
        add_table(out, &result->tables[i], look.plain_cells);
    }
}
