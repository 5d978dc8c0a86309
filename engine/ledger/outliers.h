/* outliers.h - which dealers stand out: each dealer's share of claims by each measure of rules/outliers.csv,
 * against the share of all, with funnel limits.
 *
 * Counted is one row a claim, its highest revision, as it is decided by now or was at an earlier point. The rate of
 * all is that of all dealers together. A dealer stands out beyond the far limit, widened where dealers spread more
 * than chance makes them (statistics/funnel.h). It is a reason to look, and says nothing about a claim.
 *
 * Lists live in the arena. Read inside office_begin_read or a write.
 */
#ifndef WM_LEDGER_OUTLIERS_H
#define WM_LEDGER_OUTLIERS_H

#include <stdint.h>

#include "ledger/office.h"
#include "ledger/recorded.h"
#include "rules/measures.h"
#include "statistics/funnel.h"

/* Which claims: received on these days (DAY_NONE: open), under this campaign (empty: all). */
struct outlier_scope {
    int32_t since, until;
    struct text campaign;
};

/* Rates and limits in millionths. */
struct compared_dealer {
    struct text dealer;
    struct funnel_count claims;
    int64_t rate, z;
    int64_t low_far, low_near, high_near, high_far;
    int beyond;      /* 1 above, -1 below the far limits, 0 between */
    bool stands_out; /* beyond on a side that the measure looks at */
};

struct comparison {
    const struct measure *measure;
    struct funnel_count all;
    int64_t rate;                    /* of all; 0 where there is no claim */
    int64_t phi;                     /* millionths, at least 1 */
    struct compared_dealer *dealers; /* by code */
    uint32_t dealer_count, standing_out;
};

/* One comparison a measure, in the order of the file; of claims and decisions up to the point. */
int ledger_compare(struct office *office, const struct measures *measures, const struct outlier_scope *scope,
                   struct ledger_point point, struct arena *arena, struct comparison **ret_comparisons);

/* Why a dealer stands out, in words for the dealer, in the arena. today: the day of counting. bytes NULL: no
 * memory. */
struct text outlier_basis(struct arena *arena, const struct comparison *comparison,
                          const struct compared_dealer *dealer, const struct outlier_scope *scope,
                          int32_t today);

#endif
