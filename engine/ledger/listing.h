/* listing.h - lists over the whole office, for what is made of all of it at once: a pack for dealers.
 *
 * Read inside office_begin_read. Texts are borrowed during the call of the taker; a taker's status other than
 * WM_OK ends the list and is returned.
 */
#ifndef WM_LEDGER_LISTING_H
#define WM_LEDGER_LISTING_H

#include "ledger/office.h"
#include "register/register_source.h"

/* A claim that stands now, of any dealer. */
struct standing_row {
    int64_t row;
    struct text dealer, campaign, vin, outcome;
};

typedef int listing_take_standing(void *taker, const struct standing_row *row);

/* Every claim that stands, in the order of recording. */
int listing_standing(struct office *office, listing_take_standing *take, void *taker);

/* The approvals that count for this dealer: its own, and those that are open to every dealer. */
int listing_approvals(struct office *office, struct text dealer, register_take_approval *take, void *taker);

#endif
