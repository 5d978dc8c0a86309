/* estimates.h - from the claims that were looked at to all of them: how much was paid too much, and how sure
 * that is.
 *
 * A frame is one stratum or several; of each so many claims were drawn at random, without replacement. An
 * estimate holds doubles, all in cents, over what was paid too much (what was paid less what was right; below
 * 0: paid too little); rounding.h makes them whole. Formulas: W. G. Cochran, Sampling Techniques, 3rd ed.
 * (1977), chapters 2, 5, 6 (from memory). Pure functions; quantiles by GSL.
 *
 * Not here: whether an estimate may be used (audit/evaluation.h).
 */
#ifndef WM_STATISTICS_ESTIMATES_H
#define WM_STATISTICS_ESTIMATES_H

#include <stdint.h>

/* A claim that was looked at. */
struct audited {
    int64_t paid_cents, right_cents; /* what was paid; what would have been right */
};

struct audited_stratum {
    uint64_t population;      /* claims of the frame in it */
    int64_t population_cents; /* paid on them */
    const struct audited *items;
    uint32_t count; /* drawn; at least 2, or all there are */
};

struct estimate {
    double total;          /* paid too much on the whole frame */
    double standard_error; /* with the finite population correction where there is one */
    double freedom;        /* degrees of freedom for Student's t; infinite: the normal distribution */
    double
        skewness; /* of the estimate: the rule of Cochran section 2.15, n > 25 G1 squared, says at most 0.2 */
};

/* Mean per unit: the mean of what was right, times all claims, taken from what was paid on all. */
struct estimate estimate_by_mean(const struct audited_stratum *strata, uint32_t count);

/* Difference: the mean of what was paid too much on a claim, times all claims. */
struct estimate estimate_by_difference(const struct audited_stratum *strata, uint32_t count);

/* Ratio: what was paid too much on each cent that was paid, times all that was paid; combined over strata. */
struct estimate estimate_by_ratio(const struct audited_stratum *strata, uint32_t count);

/* Of claims drawn by money with a fixed interval: each stands for interval_cents, of which its tainted share is
 * wrong. The standard error treats them as drawn with replacement, which is a little too wide. */
struct estimate estimate_by_money(const struct audited *items, uint32_t count, int64_t interval_cents);

/* The rate of wrong claims (paid not as is right) in the whole frame, weighted by strata: total is a share. */
struct estimate estimate_rate(const struct audited_stratum *strata, uint32_t count);

/* The end of an interval that leaves out the share tail: below (side -1) or above (side 1) the total. */
double estimate_limit(const struct estimate *estimate, double tail, int side);

/* The mean, standard error of the total, and so on from summary figures of strata, as a textbook gives them. */
struct stratum_figures {
    double population, sampled, mean, deviation;
};
struct estimate estimate_of_figures(const struct stratum_figures *strata, uint32_t count);

#endif
