/* units.h - money-unit sampling: each unit of money has the same chance, so a claim has one in proportion to
 * what was paid on it.
 *
 * Pure functions by GSL. Amounts are cents; they come in whole and leave as doubles, which rounding.h makes
 * whole again. Not here: the selection itself (audit/selection.h).
 */
#ifndef WM_STATISTICS_UNITS_H
#define WM_STATISTICS_UNITS_H

#include <stdint.h>

#include "statistics/estimates.h"

/* The upper limit of a Poisson mean of which `wrong` were seen, one-sided, that leaves out the share risk: the
 * quantile of the gamma distribution of shape wrong + 1 (Garwood, Biometrika 28 (1936) 437). 0 < risk < 1. */
double poisson_upper_limit(uint32_t wrong, double risk);

/* The same as printed tables of confidence factors have it: in hundredths, rounded up (AICPA, Audit Sampling).
 */
int64_t confidence_factor_hundredths(uint32_t wrong, double risk);

/* The largest interval, in cents, at which an overpayment of tolerable_cents is seen with risk `risk` of
 * missing it where so many whole errors are expected: tolerable over the confidence factor, rounded down. */
int64_t money_interval_cents(int64_t tolerable_cents, uint32_t expected_errors, double risk);

/* The overpaid share of a claim: 0 nothing, 1 all; below 0: too little was paid. */
struct taint {
    double share;
};

void taints_of(const struct audited *items, uint32_t count, struct taint *ret_taints);

/* The Stringer bound: with the share risk of being too low, no more than so many cents are paid too much behind
 * the intervals. Shares of 0 and below are left out, which is cautious; the taints are sorted here. Claims that
 * were looked at for certain are not in it. */
double stringer_bound_cents(int64_t interval_cents, struct taint *taints, uint32_t count, double risk);

#endif
