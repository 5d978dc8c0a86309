#include <jansson.h>

#include "base/add_dump.h"
#include "base/status.h"
#include "reports/read_report.h"
#include "reports/write_report.h"

/* A text as JSON; the library escapes it. */
static void add_text(struct buffer *out, struct text t)
{
    json_t *string = json_stringn(text_printed_bytes(t), t.length);

    if (string == NULL || json_dump_callback(string, add_dump, out, JSON_ENCODE_ANY) != 0)
        out->failed = true;
    json_decref(string);
}

static void add_name(struct buffer *out, struct text name)
{
    add_text(out, name);
    buffer_add_byte(out, ':');
}

static void add_field(struct buffer *out, const char *name, struct text value)
{
    add_name(out, text_of(name));
    add_text(out, value);
    buffer_add_byte(out, ',');
}

/* Numbers as they are, exact: no double takes part. */
static void add_value(struct buffer *out, enum report_format format, struct value v)
{
    char room[DATE_ROOM];

    switch ((enum value_type)v.type) {
    case VALUE_NULL: buffer_add_string(out, "null"); break;
    case VALUE_TEXT: add_text(out, value_as_text(v)); break;
    case VALUE_DATE: add_text(out, (struct text){room, date_write((int32_t)v.number, room)}); break;
    case VALUE_NUMBER:
    case VALUE_BOOLEAN: write_report_figure(out, format, v); break;
    }
}

static void add_notes(struct buffer *out, const struct report_note *note)
{
    buffer_add_string(out, "\"notes\":[");
    for (bool first = true; note != NULL; note = note->next, first = false) {
        buffer_add_string(out, first ? "" : ",");
        add_text(out, note->words);
    }
    buffer_add_string(out, "],");
}

static void add_columns(struct buffer *out, const struct report_section *section)
{
    buffer_add_string(out, "\"columns\":[");
    for (uint32_t i = 0; i < section->column_count; i++) {
        const struct report_column *column = &section->columns[i];
        buffer_add_string(out, i > 0 ? ",{" : "{");
        add_field(out, "name", column->name);
        add_field(out, "heading", column->heading);
        add_field(out, "format", text_of(report_format_name(column->format)));
        add_name(out, TEXT("meaning"));
        add_text(out, column->meaning);
        buffer_add_byte(out, '}');
    }
    buffer_add_string(out, "],");
}

static void add_rows(struct buffer *out, const struct report_table *table)
{
    const struct report_section *section = table->section;

    buffer_add_string(out, "\"rows\":[");
    for (uint64_t row = 0; row < table->row_count; row++) {
        buffer_add_string(out, row > 0 ? ",\n{" : "\n{");
        for (uint32_t i = 0; i < section->column_count; i++) {
            buffer_add_string(out, i > 0 ? "," : "");
            add_name(out, section->columns[i].name);
            add_value(out, section->columns[i].format, table->cells[row * section->column_count + i]);
        }
        buffer_add_byte(out, '}');
    }
    buffer_add_byte(out, ']');
}

static void add_section(struct buffer *out, const struct report_table *table)
{
    buffer_add_string(out, "\n{");
    add_field(out, "name", table->section->name);
    add_field(out, "title", table->section->title);
    add_field(out, "meaning", table->section->meaning);
    add_notes(out, table->notes);
    add_columns(out, table->section);
    add_rows(out, table);
    buffer_add_byte(out, '}');
}

static void add_parameters(struct buffer *out, const struct report_result *result)
{
    buffer_add_string(out, "\"parameters\":{");
    for (uint32_t i = 0; i < result->report->parameter_count; i++) {
        buffer_add_string(out, i > 0 ? "," : "");
        add_name(out, result->report->parameters[i].name);
        add_value(out, result->report->parameters[i].format, result->values[i]);
    }
    buffer_add_string(out, "},");
}

int write_report_json(struct buffer *out, const struct report_result *result, struct report_look look)
{
    const struct report *report = result->report;
    bool first = true;

    buffer_add_byte(out, '{');
    add_field(out, "report", report->name);
    add_field(out, "title", report->title);
    add_field(out, "meaning", report->meaning);
    add_name(out, TEXT("today"));
    add_value(out, REPORT_DATE, value_date(result->today));
    buffer_add_byte(out, ',');
    add_parameters(out, result);
    add_notes(out, result->notes);
    buffer_add_string(out, "\"sections\":[");
    for (uint32_t i = 0; i < report->section_count; i++) {
        if (!report_is_shown(result, look, i))
            continue;
        buffer_add_string(out, first ? "" : ",");
        first = false;
        add_section(out, &result->tables[i]);
    }
    buffer_add_string(out, "]}\n");
    return out->failed ? WM_NO_MEMORY : WM_OK;
}
