#include "reports/report.h"

#include <assert.h>
#include <stdarg.h>

#include "base/limits.h"
#include "base/status.h"

int report_result_open(struct report_result *ret_result, const struct report *report,
                       const struct value *values, int32_t today, struct arena *arena)
{
    *ret_result = (struct report_result){.report = report, .values = values, .today = today, .arena = arena};
    ret_result->tables = ARENA_ARRAY(arena, struct report_table, report->section_count);
    if (ret_result->tables == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < report->section_count; i++)
        ret_result->tables[i].section = &report->sections[i];
    return WM_OK;
}

struct value report_value(const struct report_result *result, const char *name)
{
    const struct report *report = result->report;
    uint32_t i = 0;

    while (i < report->parameter_count && !text_is(report->parameters[i].name, name))
        i++;
    assert(i < report->parameter_count);
    return result->values[i];
}

struct report_table *report_table(struct report_result *result, const char *section)
{
    uint32_t i = 0;

    while (i < result->report->section_count && !text_is(result->report->sections[i].name, section))
        i++;
    assert(i < result->report->section_count);
    return &result->tables[i];
}

uint32_t report_shown_sections(const struct report *report)
{
    uint32_t count = 0;

    for (uint32_t i = 0; i < report->section_count; i++)
        count += !report->sections[i].kept;
    return count;
}

static int grow(struct report_result *result, struct report_table *table)
{
    uint64_t capacity = table->capacity == 0 ? 16 : table->capacity * 2;
    struct value *cells = arena_grown(result->arena, table->cells, table->row_count, capacity,
                                      table->section->column_count * sizeof *cells);

    if (cells == NULL)
        return WM_NO_MEMORY;
    table->cells = cells;
    table->capacity = capacity;
    return WM_OK;
}

int report_add_row(struct report_result *result, struct report_table *table, const struct value *cells)
{
    uint32_t columns = table->section->column_count;

    if (table->row_count == LIMIT_REPORT_ROWS)
        return WM_LIMIT;
    if (table->row_count == table->capacity && grow(result, table) != WM_OK)
        return WM_NO_MEMORY;
    struct value *row = &table->cells[table->row_count * columns];
    for (uint32_t i = 0; i < columns; i++) {
        row[i] = cells[i];
        if (cells[i].type != VALUE_TEXT)
            continue;
        result->bytes += cells[i].length;
        if (result->bytes > LIMIT_REPORT_BYTES)
            return WM_LIMIT;
        struct text copy = text_copy(result->arena, value_as_text(cells[i]));
        if (copy.bytes == NULL)
            return WM_NO_MEMORY;
        row[i] = value_text(copy);
    }
    table->row_count++;
    return WM_OK;
}

int report_add_note(struct report_result *result, struct report_table *table, bool verbatim, const char *format,
                    ...)
{
    struct report_note **first = table != NULL ? &table->notes : &result->notes;
    struct report_note **last = table != NULL ? &table->last_note : &result->last_note;
    struct report_note *note = ARENA_NEW(result->arena, struct report_note);
    va_list arguments;

    if (note == NULL)
        return WM_NO_MEMORY;
    va_start(arguments, format);
    note->words = text_format_list(result->arena, format, arguments);
    va_end(arguments);
    if (note->words.bytes == NULL)
        return WM_NO_MEMORY;
    note->verbatim = verbatim;
    if (*last == NULL)
        *first = note;
    else
        (*last)->next = note;
    *last = note;
    return WM_OK;
}
