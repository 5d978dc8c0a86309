/* expected.h - what a campaign expects of one vehicle, as lines for the workshop: parts, operations,
 * inspections. */
#ifndef WM_CLI_EXPECTED_H
#define WM_CLI_EXPECTED_H

#include "cli/language.h"
#include "facts/expectation.h"

enum { PAGE_WIDTH = 80 };

struct expected_page {
    const struct language *language;
    struct buffer *out;
    int32_t today;             /* prices are those of this day */
    const struct value *facts; /* of the vehicle, and what was reported */
    struct table_scratch *scratch;
    size_t indent; /* of headings; lines stand two columns deeper */
};

/* Also what else may be needed, depending on what an inspection finds. */
void expected_write(const struct expected_page *page, const struct campaign *campaign,
                    const struct expectation *expectation);

/* A name of some 14 columns and what it is, wrapped; nothing where value is empty. */
void expected_field(const struct language *language, struct buffer *out, enum sentence name, struct text value);

/* "1.5"; whole cents with two places, finer prices as they are. */
void expected_add_number(struct buffer *out, int64_t millionths);
void expected_add_price(struct buffer *out, int64_t millionths);

#endif
