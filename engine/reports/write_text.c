#include "reports/write_report.h"

enum { PAGE_WIDTH = 96, MOST_CELL_WIDTH = 56 };

/* Code points, of a valid text. */
static size_t width_of(struct text t)
{
    size_t width = 0;

    for (size_t at = 0; at < t.length; at += text_code_point_bytes(t, at))
        width++;
    return width;
}

/* One cell on one line: control characters are blanks, and what is too long ends with an ellipsis. */
static void add_fitting(struct buffer *out, struct text t)
{
    size_t width = 0, all = width_of(t);

    for (size_t at = 0, bytes; at < t.length; at += bytes) {
        bytes = text_code_point_bytes(t, at);
        if (all > MOST_CELL_WIDTH && ++width >= MOST_CELL_WIDTH) {
            buffer_add_string(out, "\xe2\x80\xa6");
            return;
        }
        if ((unsigned char)t.bytes[at] < ' ' || t.bytes[at] == 0x7f)
            buffer_add_byte(out, ' ');
        else
            buffer_add(out, t.bytes + at, bytes);
    }
}

/* The words of a cell into room, which is cleared first. */
static struct text cell_words(struct buffer *room, struct buffer *fitted, enum report_format format,
                              struct value v)
{
    buffer_clear(room);
    buffer_clear(fitted);
    write_report_value(room, format, v);
    add_fitting(fitted, buffer_text(room));
    return buffer_text(fitted);
}

static void add_padding(struct buffer *out, size_t width, size_t to)
{
    for (; width < to; width++)
        buffer_add_byte(out, ' ');
}

struct layout {
    const struct report_table *table;
    struct buffer room, fitted;
    size_t widths[64];
};

static void measure(struct layout *layout)
{
    const struct report_section *section = layout->table->section;

    for (uint32_t i = 0; i < section->column_count; i++) {
        layout->widths[i] = width_of(section->columns[i].heading);
        for (uint64_t row = 0; row < layout->table->row_count; row++) {
            size_t width = width_of(cell_words(&layout->room, &layout->fitted, section->columns[i].format,
                                               layout->table->cells[row * section->column_count + i]));
            if (width > layout->widths[i])
                layout->widths[i] = width;
        }
    }
}

static void add_cell(struct buffer *out, const struct layout *layout, uint32_t column, struct text words)
{
    const struct report_section *section = layout->table->section;
    bool right = report_format_is_number(section->columns[column].format);
    size_t width = width_of(words);

    buffer_add_string(out, "  ");
    if (right)
        add_padding(out, width, layout->widths[column]);
    buffer_add_text(out, words);
    if (!right && column + 1 < section->column_count)
        add_padding(out, width, layout->widths[column]);
}

static void add_rows(struct buffer *out, struct layout *layout)
{
    const struct report_section *section = layout->table->section;

    for (uint32_t i = 0; i < section->column_count; i++)
        add_cell(out, layout, i, section->columns[i].heading);
    buffer_add_byte(out, '\n');
    for (uint64_t row = 0; row < layout->table->row_count; row++) {
        for (uint32_t i = 0; i < section->column_count; i++) {
            struct text words = cell_words(&layout->room, &layout->fitted, section->columns[i].format,
                                           layout->table->cells[row * section->column_count + i]);
            add_cell(out, layout, i, words);
        }
        while (out->length > 0 && out->bytes[out->length - 1] == ' ')
            out->length--;
        buffer_add_byte(out, '\n');
    }
}

static void add_paragraph(struct buffer *out, struct text words)
{
    if (words.length == 0)
        return;
    buffer_add_wrapped(out, words, 0, PAGE_WIDTH);
    buffer_add_byte(out, '\n');
}

static void add_notes(struct buffer *out, const struct report_note *note)
{
    for (; note != NULL; note = note->next) {
        buffer_add_byte(out, '\n');
        if (note->verbatim) {
            buffer_add_text(out, note->words);
            buffer_add_byte(out, '\n');
        } else {
            add_paragraph(out, note->words);
        }
    }
}

static void underline(struct buffer *out, struct text words, char with)
{
    buffer_add_text(out, words);
    buffer_add_byte(out, '\n');
    for (size_t i = width_of(words); i > 0; i--)
        buffer_add_byte(out, with);
    buffer_add_byte(out, '\n');
}

static void add_section(struct buffer *out, const struct report_result *result,
                        const struct report_table *table)
{
    struct layout layout = {.table = table};

    buffer_add_byte(out, '\n');
    if (report_shown_sections(result->report) > 1)
        underline(out, table->section->title, '-');
    add_paragraph(out, table->section->meaning);
    add_notes(out, table->notes);
    if (table->notes != NULL || table->section->meaning.length > 0 || report_shown_sections(result->report) > 1)
        buffer_add_byte(out, '\n');
    if (table->row_count == 0) {
        buffer_add_string(out, "  nothing\n");
    } else {
        measure(&layout);
        add_rows(out, &layout);
    }
    if (layout.room.failed || layout.fitted.failed)
        out->failed = true;
    buffer_free(&layout.room);
    buffer_free(&layout.fitted);
}

static void add_parameters(struct buffer *out, const struct report_result *result)
{
    const struct report *report = result->report;
    struct buffer words = BUFFER_EMPTY;

    for (uint32_t i = 0; i < report->parameter_count; i++) {
        if (result->values[i].type == VALUE_NULL)
            continue;
        buffer_format(&words, "%s%.*s ", words.length > 0 ? ", " : "",
                      TEXT_ARGUMENTS(report->parameters[i].name));
        write_report_value(&words, report->parameters[i].format, result->values[i]);
    }
    if (words.failed)
        out->failed = true;
    if (words.length > 0) {
        buffer_add_byte(out, '\n');
        add_paragraph(out, buffer_text(&words));
    }
    buffer_free(&words);
}

void write_report_text(struct buffer *out, const struct report_result *result, struct report_look look)
{
    underline(out, result->report->title, '=');
    add_paragraph(out, result->report->meaning);
    add_parameters(out, result);
    add_notes(out, result->notes);
    for (uint32_t i = 0; i < result->report->section_count; i++)
        if (report_is_shown(result, look, i))
            add_section(out, result, &result->tables[i]);
}
