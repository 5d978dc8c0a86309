#include <sodium.h>

#include "base/status.h"
#include "base/text_index.h"
#include "chart_js.h"
#include "chart_licence_html.h"
#include "page_css.h"
#include "page_js.h"
#include "reports/read_report.h"
#include "reports/write_report.h"

/* A cell of more bytes is set small and scrolls. */
enum { LONG_CELL_BYTES = 400, SHORT_CELL_BYTES = 24 };

/* A table of fewer rows is seen at a glance, and has no filter. */
enum { FILTER_FROM_ROWS = 10 };

struct writing {
    struct buffer *out;
    const struct report_result *result;
    struct report_look look;
    struct text_index claims; /* claims that a row is about, to the number of its anchor */
    bool *anchored;           /* of each anchor: it stands on the page */
    bool no_memory;
};

/* --- Escaping -------------------------------------------------------------------------------------- */

/* Text as HTML takes it, between tags and in quoted attributes. Control characters that are none in HTML become
 * the sign for what cannot be shown. */
static void add_text(struct buffer *out, struct text t)
{
    for (size_t i = 0; i < t.length; i++) {
        unsigned char c = (unsigned char)t.bytes[i];
        switch (c) {
        case '&': buffer_add_string(out, "&amp;"); break;
        case '<': buffer_add_string(out, "&lt;"); break;
        case '>': buffer_add_string(out, "&gt;"); break;
        case '"': buffer_add_string(out, "&quot;"); break;
        case '\'': buffer_add_string(out, "&#39;"); break;
        default:
            if ((c < ' ' && c != '\n' && c != '\t') || c == 0x7f)
                buffer_add_string(out, "\xef\xbf\xbd");
            else
                buffer_add_byte(out, (char)c);
        }
    }
}

static void add_string(struct writing *writing, const char *markup)
{
    buffer_add_string(writing->out, markup);
}

/* An element of text alone; `tag` may have attributes of our own. */
static void add_element(struct writing *writing, const char *tag, struct text words)
{
    size_t name = strcspn(tag, " ");

    buffer_format(writing->out, "<%s>", tag);
    add_text(writing->out, words);
    buffer_format(writing->out, "</%.*s>\n", (int)name, tag);
}

/* --- The head -------------------------------------------------------------------------------------- */

/* What the policy calls a script or style: its SHA-256 in base64. */
static void add_hash(struct writing *writing, const char *bytes, size_t length)
{
    unsigned char digest[crypto_hash_sha256_BYTES];
    char room[sodium_base64_ENCODED_LEN(crypto_hash_sha256_BYTES, sodium_base64_VARIANT_ORIGINAL)];

    crypto_hash_sha256(digest, (const unsigned char *)bytes, length);
    sodium_bin2base64(room, sizeof room, digest, sizeof digest, sodium_base64_VARIANT_ORIGINAL);
    buffer_format(writing->out, " 'sha256-%s'", room);
}

static bool is_shown(const struct writing *writing, uint32_t section)
{
    return report_is_shown(writing->result, writing->look, section);
}

/* Is there something to draw? */
static bool has_chart(const struct report_table *table)
{
    return table->section->chart.kind != CHART_NONE && table->row_count > 0;
}

static bool has_charts(const struct writing *writing)
{
    bool has = false;

    for (uint32_t i = 0; i < writing->result->report->section_count; i++)
        has = has || (is_shown(writing, i) && has_chart(&writing->result->tables[i]));
    return has;
}

static void add_head(struct writing *writing)
{
    add_string(writing,
               "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
               "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src");
    add_hash(writing, PAGE_JS, sizeof PAGE_JS - 1);
    if (has_charts(writing))
        add_hash(writing, CHART_JS, sizeof CHART_JS - 1);
    add_string(writing, "; style-src");
    add_hash(writing, PAGE_CSS, sizeof PAGE_CSS - 1);
    add_string(writing, "; base-uri 'none'; form-action 'none'\">\n"
                        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                        "<meta name=\"referrer\" content=\"no-referrer\">\n"
                        "<meta name=\"color-scheme\" content=\"light dark\">\n");
    add_element(writing, "title", writing->result->report->title);
    add_string(writing, "<style>");
    buffer_add(writing->out, PAGE_CSS, sizeof PAGE_CSS - 1);
    add_string(writing, "</style>\n");
    if (has_charts(writing))
        buffer_add(writing->out, CHART_LICENCE_HTML, sizeof CHART_LICENCE_HTML - 1);
    add_string(writing, "</head>\n<body>\n");
}

/* --- What was asked -------------------------------------------------------------------------------- */

static void add_asked(struct writing *writing, struct text name, enum report_format format, struct value v)
{
    struct buffer words = BUFFER_EMPTY;

    write_report_value(&words, format, v);
    if (words.failed)
        writing->no_memory = true;
    add_string(writing, "<div>");
    add_element(writing, "dt", name);
    add_element(writing, "dd", buffer_text(&words));
    add_string(writing, "</div>\n");
    buffer_free(&words);
}

static void add_notes(struct writing *writing, const struct report_note *note)
{
    for (; note != NULL; note = note->next)
        add_element(writing, note->verbatim ? "pre tabindex=\"0\"" : "p", note->words);
}

static void add_links(struct writing *writing)
{
    const struct report *report = writing->result->report;

    if (report_shown_sections(report) < 2 || writing->look.section >= 0)
        return;
    add_string(writing, "<nav aria-label=\"Sections\"><ul>\n");
    for (uint32_t i = 0; i < report->section_count; i++) {
        if (!is_shown(writing, i))
            continue;
        buffer_format(writing->out, "<li><a href=\"#section-%u\">", i);
        add_text(writing->out, report->sections[i].title);
        add_string(writing, "</a></li>\n");
    }
    add_string(writing, "</ul></nav>\n");
}

static void add_top(struct writing *writing)
{
    const struct report_result *result = writing->result;
    const struct report *report = result->report;

    add_string(writing, "<header>\n<p class=\"kind\">Witnessmark report: ");
    add_text(writing->out, report->name);
    add_string(writing, "</p>\n");
    add_element(writing, "h1", report->title);
    add_element(writing, "p", report->meaning);
    add_string(writing, "<dl class=\"asked\">\n");
    add_asked(writing, TEXT("day"), REPORT_DATE, value_date(result->today));
    for (uint32_t i = 0; i < report->parameter_count; i++)
        if (result->values[i].type != VALUE_NULL)
            add_asked(writing, report->parameters[i].name, report->parameters[i].format, result->values[i]);
    add_string(writing, "</dl>\n");
    add_links(writing);
    add_string(writing, "</header>\n<main>\n");
    add_notes(writing, result->notes);
}

/* --- Tables ---------------------------------------------------------------------------------------- */

static const char *const CHART_NAMES[] = {"none", "line", "bar", "stacked", "points"};

static void add_chart_columns(struct writing *writing, const char *name, const int *columns, uint32_t count)
{
    if (count == 0 || columns[0] < 0)
        return;
    buffer_format(writing->out, " data-%s=\"", name);
    for (uint32_t i = 0; i < count; i++)
        buffer_format(writing->out, "%s%d", i > 0 ? "," : "", columns[i]);
    add_string(writing, "\"");
}

static void add_table_tag(struct writing *writing, uint32_t number)
{
    const struct report_table *table = &writing->result->tables[number];
    const struct report_chart *chart = &table->section->chart;

    buffer_format(writing->out, "<table data-section=\"%u\"", number);
    if (has_chart(table)) {
        buffer_format(writing->out, " data-chart=\"%s\" data-x=\"%d\"", CHART_NAMES[chart->kind], chart->x);
        add_chart_columns(writing, "y", chart->y, chart->y_count);
        add_chart_columns(writing, "series", &chart->series, 1);
        add_chart_columns(writing, "label", &chart->label, 1);
        add_chart_columns(writing, "lines", chart->lines, chart->line_count);
    }
    add_string(writing, ">\n<caption>");
    add_text(writing->out, table->section->title);
    add_string(writing, "</caption>\n<thead><tr>");
}

static void add_headings(struct writing *writing, const struct report_section *section)
{
    for (uint32_t i = 0; i < section->column_count; i++) {
        const struct report_column *column = &section->columns[i];
        buffer_format(writing->out, "<th scope=\"col\" data-format=\"%s\"%s title=\"",
                      report_format_name(column->format),
                      report_format_is_number(column->format) ? " class=\"number\"" : "");
        add_text(writing->out, column->meaning);
        add_string(writing, "\">");
        add_text(writing->out, column->heading);
        add_string(writing, "</th>");
    }
    add_string(writing, "</tr></thead>\n<tbody>\n");
}

static void add_number_cell(struct writing *writing, enum report_format format, struct value v)
{
    add_string(writing, v.type == VALUE_NUMBER && v.number < 0 ? "<td class=\"number below\" data-value=\""
                                                               : "<td class=\"number\" data-value=\"");
    write_report_figure(writing->out, format, v);
    add_string(writing, "\">");
    write_report_value(writing->out, format, v);
    add_string(writing, "</td>");
}

/* A claim links to the row that is about it, where there is one and this is another. */
static bool add_link(struct writing *writing, enum report_format format, struct value v, bool about)
{
    uint32_t anchor =
        format != REPORT_CLAIM || about ? TEXT_INDEX_NONE : text_index_find(&writing->claims, value_as_text(v));

    if (anchor != TEXT_INDEX_NONE)
        buffer_format(writing->out, "<a href=\"#claim-%u\">", anchor);
    return anchor != TEXT_INDEX_NONE;
}

static void add_text_cell(struct writing *writing, enum report_format format, struct value v, bool first)
{
    struct text t = value_as_text(v);
    bool is_long = t.length > LONG_CELL_BYTES;

    add_string(writing, first ? "<th scope=\"row\"" : "<td");
    add_string(writing, v.type == VALUE_DATE || (t.length <= SHORT_CELL_BYTES && t.length > 0)
                            ? " class=\"short\">"
                            : ">");
    add_string(writing, is_long ? "<div class=\"long\" tabindex=\"0\">" : "");
    bool linked = add_link(writing, format, v, first);
    if (v.type == VALUE_TEXT)
        add_text(writing->out, t);
    else
        write_report_value(writing->out, format, v);
    add_string(writing, linked ? "</a>" : "");
    add_string(writing, is_long ? "</div>" : "");
    add_string(writing, first ? "</th>" : "</td>");
}

static void add_row(struct writing *writing, const struct report_section *section, const struct value *cells)
{
    uint32_t anchor = section->columns[0].format == REPORT_CLAIM
                          ? text_index_find(&writing->claims, value_as_text(cells[0]))
                          : TEXT_INDEX_NONE;

    if (anchor != TEXT_INDEX_NONE && !writing->anchored[anchor]) {
        buffer_format(writing->out, "<tr id=\"claim-%u\">", anchor);
        writing->anchored[anchor] = true;
    } else {
        add_string(writing, "<tr>");
    }
    for (uint32_t i = 0; i < section->column_count; i++)
        if (report_format_is_number(section->columns[i].format))
            add_number_cell(writing, section->columns[i].format, cells[i]);
        else
            add_text_cell(writing, section->columns[i].format, cells[i], i == 0);
    add_string(writing, "</tr>\n");
}

static void add_table(struct writing *writing, uint32_t number)
{
    const struct report_table *table = &writing->result->tables[number];

    if (table->row_count >= FILTER_FROM_ROWS)
        buffer_format(writing->out,
                      "<div class=\"tools\" id=\"tools-%u\" hidden><label for=\"filter-%u\">Filter</label>"
                      "<input type=\"search\" id=\"filter-%u\" autocomplete=\"off\">"
                      "<output aria-live=\"polite\"></output></div>\n",
                      number, number, number);
    buffer_format(writing->out,
                  "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-labelledby=\"title-%u\">", number);
    add_table_tag(writing, number);
    add_headings(writing, table->section);
    for (uint64_t row = 0; row < table->row_count; row++)
        add_row(writing, table->section, &table->cells[row * table->section->column_count]);
    add_string(writing, "</tbody>\n</table></div>\n");
}

/* --- Sections -------------------------------------------------------------------------------------- */

static void add_figure(struct writing *writing, uint32_t number)
{
    static const char *const KINDS[] = {"", "Line chart", "Bar chart", "Stacked bar chart", "Chart of points"};
    const struct report_section *section = writing->result->tables[number].section;
    const struct report_chart *chart = &section->chart;

    buffer_format(writing->out, "<figure><canvas id=\"chart-%u\" role=\"img\" aria-label=\"%s of ", number,
                  KINDS[chart->kind]);
    for (uint32_t i = 0; i < chart->y_count; i++) {
        add_string(writing, i > 0 ? ", " : "");
        add_text(writing->out, section->columns[chart->y[i]].heading);
    }
    add_string(writing, " by ");
    add_text(writing->out, section->columns[chart->x].heading);
    add_string(writing, "; the table that follows has the figures\"></canvas></figure>\n");
}

static void add_meanings(struct writing *writing, const struct report_section *section)
{
    add_string(writing, "<details><summary>What the columns mean</summary><dl>\n");
    for (uint32_t i = 0; i < section->column_count; i++) {
        add_element(writing, "dt", section->columns[i].heading);
        add_element(writing, "dd", section->columns[i].meaning);
    }
    add_string(writing, "</dl></details>\n");
}

static void add_section(struct writing *writing, uint32_t number)
{
    const struct report_table *table = &writing->result->tables[number];

    buffer_format(writing->out,
                  "<section id=\"section-%u\" aria-labelledby=\"title-%u\">\n<h2 id=\"title-%u\">", number,
                  number, number);
    add_text(writing->out, table->section->title);
    add_string(writing, "</h2>\n");
    if (table->section->meaning.length > 0)
        add_element(writing, "p", table->section->meaning);
    add_notes(writing, table->notes);
    if (table->row_count == 0) {
        add_string(writing, "<p class=\"nothing\">Nothing.</p>\n");
    } else {
        if (has_chart(table))
            add_figure(writing, number);
        add_table(writing, number);
        add_meanings(writing, table->section);
    }
    add_string(writing, "</section>\n");
}

/* The claims that have a row of their own: first cells of sections whose first column is a claim. */
static void find_claims(struct writing *writing)
{
    for (uint32_t i = 0; i < writing->result->report->section_count; i++) {
        const struct report_table *table = &writing->result->tables[i];
        if (!is_shown(writing, i) || table->section->columns[0].format != REPORT_CLAIM)
            continue;
        for (uint64_t row = 0; row < table->row_count; row++) {
            struct text claim = value_as_text(table->cells[row * table->section->column_count]);
            if (claim.length > 0 && text_index_add(&writing->claims, claim, writing->claims.count) == TEXT_INDEX_NONE)
                writing->no_memory = true;
        }
    }
}

static void add_bottom(struct writing *writing)
{
    add_string(writing, "</main>\n<footer>Made from the office file by `witnessmark report ");
    add_text(writing->out, writing->result->report->name);
    add_string(writing, "`. This file needs no network and holds no other file.</footer>\n");
    if (has_charts(writing)) {
        add_string(writing, "<script>");
        buffer_add(writing->out, CHART_JS, sizeof CHART_JS - 1);
        add_string(writing, "</script>\n");
    }
    add_string(writing, "<script>");
    buffer_add(writing->out, PAGE_JS, sizeof PAGE_JS - 1);
    add_string(writing, "</script>\n</body>\n</html>\n");
}

int write_report_html(struct buffer *out, const struct report_result *result, struct report_look look)
{
    struct writing writing = {.out = out, .result = result, .look = look};

    find_claims(&writing);
    writing.anchored = ARENA_ARRAY(result->arena, bool, writing.claims.count + 1);
    if (writing.no_memory || writing.anchored == NULL) {
        text_index_free(&writing.claims);
        return WM_NO_MEMORY;
    }
    add_head(&writing);
    add_top(&writing);
    for (uint32_t i = 0; i < result->report->section_count; i++)
        if (is_shown(&writing, i))
            add_section(&writing, i);
    add_bottom(&writing);
    text_index_free(&writing.claims);
    return out->failed || writing.no_memory ? WM_NO_MEMORY : WM_OK;
}
