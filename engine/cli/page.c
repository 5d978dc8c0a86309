#include "cli/page.h"

enum { WIDTH = 96, FIELD_INDENT = 20, LINE_INDENT = 26 };

static const char STYLE[] =
    "body{font:15px/1.45 Georgia,serif;margin:2em auto;max-width:46em;padding:0 1em;color:#111;background:#fff}"
    "h1{font-size:1.5em;border-bottom:2px solid #111;padding-bottom:.2em;margin-top:2em}"
    "h2{font-size:1.15em;margin:1.6em 0 .3em;border-bottom:1px solid #999}"
    "h3{font-size:1em;margin:.9em 0 .2em}"
    "dl{display:grid;grid-template-columns:10em 1fr;margin:.5em 0}dt{color:#555}dd{margin:0}"
    "table{border-collapse:collapse;width:100%}td{padding:.15em .6em .15em "
    "0;vertical-align:top;border-bottom:1px dotted #ccc}"
    "td:first-child{width:11em;white-space:nowrap}p{margin:.3em 0;color:#444;font-style:italic}"
    "@media print{body{margin:0;max-width:none;font-size:11pt}h1{page-break-before:always}"
    "h1:first-of-type{page-break-before:auto}h2,h3{page-break-after:avoid}tr{page-break-inside:avoid}}";

/* Text that HTML takes as it stands. */
static void add_escaped(struct buffer *out, struct text t)
{
    for (size_t i = 0; i < t.length; i++)
        switch (t.bytes[i]) {
        case '&': buffer_add_string(out, "&amp;"); break;
        case '<': buffer_add_string(out, "&lt;"); break;
        case '>': buffer_add_string(out, "&gt;"); break;
        case '"': buffer_add_string(out, "&quot;"); break;
        default: buffer_add_byte(out, t.bytes[i]);
        }
}

static void add_element(struct page *page, const char *name, struct text words)
{
    buffer_format(page->out, "<%s>", name);
    add_escaped(page->out, words);
    buffer_format(page->out, "</%s>\n", name);
}

static void close_lists(struct page *page)
{
    if (page->html && page->in_fields)
        buffer_add_string(page->out, "</dl>\n");
    if (page->html && page->in_lines)
        buffer_add_string(page->out, "</table>\n");
    page->in_fields = page->in_lines = false;
}

void page_begin(struct page *page, struct buffer *out, bool html, struct text title)
{
    *page = (struct page){.out = out, .html = html};
    if (!html)
        return;
    buffer_add_string(out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    add_element(page, "title", title);
    buffer_format(out, "<style>%s</style>\n</head>\n<body>\n", STYLE);
}

void page_end(struct page *page)
{
    close_lists(page);
    if (page->html)
        buffer_add_string(page->out, "</body>\n</html>\n");
}

static void underline(struct page *page, struct text words, char with)
{
    buffer_add_text(page->out, words);
    buffer_add_byte(page->out, '\n');
    for (size_t at = 0; at < words.length; at += text_code_point_bytes(words, at))
        buffer_add_byte(page->out, with);
    buffer_add_byte(page->out, '\n');
}

void page_heading(struct page *page, struct text words)
{
    close_lists(page);
    if (page->html) {
        add_element(page, "h1", words);
        return;
    }
    if (page->out->length > 0)
        buffer_add_string(page->out, "\n\n");
    underline(page, words, '=');
}

void page_section(struct page *page, const char *words, struct text note)
{
    close_lists(page);
    if (page->html) {
        add_element(page, "h2", text_of(words));
        if (note.length > 0)
            add_element(page, "p", note);
        return;
    }
    buffer_add_byte(page->out, '\n');
    underline(page, text_of(words), '-');
    if (note.length > 0) {
        buffer_add_wrapped(page->out, note, 0, WIDTH);
        buffer_add_byte(page->out, '\n');
    }
}

void page_group(struct page *page, struct text words)
{
    close_lists(page);
    if (page->html) {
        add_element(page, "h3", words);
        return;
    }
    buffer_add_string(page->out, "  ");
    buffer_add_wrapped(page->out, words, 4, WIDTH);
    buffer_add_byte(page->out, '\n');
}

void page_field(struct page *page, const char *name, struct text value)
{
    if (value.length == 0)
        return;
    if (!page->html) {
        buffer_format(page->out, "  %-*s", FIELD_INDENT - 2, name);
        buffer_add_wrapped(page->out, value, FIELD_INDENT, WIDTH);
        buffer_add_byte(page->out, '\n');
        return;
    }
    if (!page->in_fields)
        buffer_add_string(page->out, "<dl>\n");
    page->in_fields = true;
    add_element(page, "dt", text_of(name));
    add_element(page, "dd", value);
}

void page_line(struct page *page, struct text amount, struct text words)
{
    if (!page->html) {
        buffer_add_string(page->out, "      ");
        buffer_add_text(page->out, amount);
        for (size_t i = amount.length + 6; i + 2 < LINE_INDENT && amount.length > 0; i++)
            buffer_add_byte(page->out, ' ');
        buffer_add_string(page->out, amount.length > 0 ? "  " : "");
        buffer_add_wrapped(page->out, words, amount.length > 0 ? LINE_INDENT : 8, WIDTH);
        buffer_add_byte(page->out, '\n');
        return;
    }
    if (!page->in_lines)
        buffer_add_string(page->out, "<table>\n");
    page->in_lines = true;
    buffer_add_string(page->out, "<tr>");
    if (amount.length > 0) {
        buffer_add_string(page->out, "<td>");
        add_escaped(page->out, amount);
        buffer_add_string(page->out, "</td>");
    }
    buffer_add_string(page->out, amount.length > 0 ? "<td>" : "<td colspan=\"2\">");
    add_escaped(page->out, words);
    buffer_add_string(page->out, "</td></tr>\n");
}
