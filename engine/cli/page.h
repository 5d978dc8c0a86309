/* page.h - a page to be read by people, as text or as HTML that needs nothing else: headings, fields, groups of
 * lines.
 *
 * It borrows the buffer; what failed shows in it.
 */
#ifndef WM_CLI_PAGE_H
#define WM_CLI_PAGE_H

#include "base/buffer.h"

struct page {
    struct buffer *out;
    bool html;
    bool in_fields, in_lines; /* a list that is open */
};

void page_begin(struct page *page, struct buffer *out, bool html, struct text title);
void page_end(struct page *page);

/* A heading with a page of its own where it is printed; under it a sentence, which may be empty. */
void page_heading(struct page *page, struct text words);
void page_section(struct page *page, const char *words, struct text note);
void page_group(struct page *page, struct text words);

/* `name` and what it is; nothing where value is empty. */
void page_field(struct page *page, const char *name, struct text value);

/* `amount` in front, which may be empty, and words. */
void page_line(struct page *page, struct text amount, struct text words);

#endif
