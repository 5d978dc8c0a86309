/* outlier_counts.h - each dealer's claims by each measure, counted in one walk through the ledger.
 *
 * Claims, findings and follow-up work are read side by side in the order of rows. Private to engine/ledger.
 */
#ifndef WM_LEDGER_OUTLIER_COUNTS_H
#define WM_LEDGER_OUTLIER_COUNTS_H

#include "ledger/outliers.h"

struct counted_dealer {
    struct text dealer;
    struct funnel_count *counts; /* one a measure */
};

/* In the order of codes, in the arena; every dealer with a claim in the scope. point: as of then. */
int outlier_count(struct office *office, const struct measures *measures, const struct outlier_scope *scope,
                  struct ledger_point point, struct arena *arena, struct counted_dealer **ret_dealers,
                  uint32_t *ret_count);

#endif
