/* paid.h - claims on which money is paid now, picked by dealer, campaign, finding ...
 *
 * A claim comes once, by its highest revision that is decided pay; what is paid on it is payable of that
 * revision, less what was reversed or charged back since. A later revision that was returned, refused or is
 * held takes nothing back, so the claim is still here. Reads inside office_begin_read or a write.
 */
#ifndef WM_LEDGER_PAID_H
#define WM_LEDGER_PAID_H

#include "ledger/recorded.h"

/* Empty texts and DAY_NONE: any. Findings are those of the paid revision. */
struct paid_filter {
    struct text dealer, campaign, vin, finding, effect;
    int32_t since, until; /* of receipt, both days inclusive */
};

/* Borrowed during the call. */
struct paid_claim {
    int64_t row, revision;
    struct text dealer, claim, campaign, vin;
    int32_t completed_on; /* DAY_NONE: none */
    int32_t paid_on;      /* the day on which this revision was decided pay */
    int64_t paid_cents;   /* 0 and below too */
    int64_t covered_by;   /* the sample whose extrapolated chargeback takes back for it already; 0: none */
};

typedef int paid_take(void *taker, const struct paid_claim *claim);

/* In the order of dealer and claim, by their bytes. A status of take other than WM_OK ends it and is returned.
 */
int ledger_paid(struct office *office, const struct paid_filter *filter, paid_take *take, void *taker);

/* The day on which a row was decided pay, by the engine or a person. */
int ledger_paid_on(struct office *office, int64_t row, int32_t *ret_day);

/* The name of the sample whose extrapolated chargeback covers a row, in the arena; empty: none does. */
int ledger_covered(struct office *office, struct arena *arena, int64_t row, struct text *ret_sample);

#endif
