/* dealer_page.h - decided claims as the people who send them read them: what is wrong, what the campaign
 * expects, what to do now, what is paid, and what only the office can say. In sentences, in the reader's
 * language, 80 columns, and nothing that only a colour or a place on the screen tells.
 */
#ifndef WM_CLI_DEALER_PAGE_H
#define WM_CLI_DEALER_PAGE_H

#include "cli/desk.h"
#include "cli/language.h"
#include "cli/summary.h"

/* Whose page it is; borrows all. Any number of threads may write pages for one struct. */
struct dealer_page {
    const struct desk *desk;
    const struct language *language;
};

/* One claim. Facts of items are put into the dossier's facts on the way. */
int dealer_page_write(const struct dealer_page *page, struct dossier *dossier, struct buffer *out);

/* Claims that the pack would pay: with less than they ask for, and those that it cannot check in full. */
struct dealer_counts {
    uint64_t less, open;
};
void dealer_page_count(const struct dealer_page *page, const struct dossier *dossier,
                       struct dealer_counts *counts);

/* What stands under the last claim. */
void dealer_page_summary(const struct dealer_page *page, const struct summary *summary,
                         const struct dealer_counts *counts, struct buffer *out);

/* The likely VIN in a sentence: which character is which. Empty where no VIN is near. */
int dealer_page_likely(const struct dealer_page *page, struct text vin, struct arena *arena,
                       struct text *ret_sentence);

#endif
