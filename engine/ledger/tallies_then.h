/* tallies_then.h - what a dealer's standing claims added up to at an earlier point.
 *
 * The office file keeps tallies as they are now. Those of an earlier point are what rows and office decisions after it
 * changed, to be added to what is kept; or, where few rows are as old as that, their sum. Either gives what verify
 * adds up from the beginning, and reads the smaller part of the dealer's rows; of claims that only matter by
 * themselves the content is read only if they were completed early enough to count.
 */
#ifndef WM_LEDGER_TALLIES_THEN_H
#define WM_LEDGER_TALLIES_THEN_H

#include "ledger/recorded.h"
#include "ledger/tallies.h"

enum tallies_from {
    TALLIES_FROM_EITHER,  /* whichever reads less */
    TALLIES_FROM_NOW,     /* to be added to those that the office file keeps */
    TALLIES_FROM_NOTHING  /* whole */
};

/* Adds to tallies, for days up to and including until. *ret_from says what they are: from now or from nothing.
 * Inside office_begin_read. */
int tallies_then(struct office *office, struct ledger_point point, struct text dealer, int32_t until,
                 enum tallies_from from, struct tallies *tallies, enum tallies_from *ret_from);

#endif
