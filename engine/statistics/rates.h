/* rates.h - how many claims in a hundred are wrong: limits of a rate, and how many claims to look at.
 *
 * Exact limits of the binomial and the hypergeometric distribution, by GSL; no normal approximation. Pure
 * functions of counts and shares (0 to 1). Not here: money (estimates.h, units.h), and what a claim is.
 */
#ifndef WM_STATISTICS_RATES_H
#define WM_STATISTICS_RATES_H

#include <stdbool.h>
#include <stdint.h>

/* The limits of Clopper and Pearson (Biometrika 26 (1934) 404) of a rate of which `wrong` in `looked_at` were
 * seen: each leaves out the share `tail` at its side. 90 % between two limits: tail 0.05 at each; a one-sided
 * 95 % upper limit: the upper one at tail 0.05. wrong <= looked_at, looked_at > 0, 0 < tail < 1. */
double rate_lower_limit(uint64_t wrong, uint64_t looked_at, double tail);
double rate_upper_limit(uint64_t wrong, uint64_t looked_at, double tail);

/* How many claims a test of a rate looks at, and how many wrong ones it may find. */
struct rate_sample {
    uint64_t size, allowed;
};

/* More than this is no sample any more. */
enum { RATE_SAMPLE_MOST = 100000 };

/* The smallest size n with a number k so that n times expected <= k and, were the rate tolerable, k or fewer
 * wrong ones would be found with a chance of at most risk (AICPA, Audit Sampling, Tables ). All in
 * millionths: 0 < risk < 1, 0 <= expected < tolerable < 1. false: it would take more than RATE_SAMPLE_MOST. */
bool rate_sample_size(int64_t risk, int64_t tolerable, int64_t expected, struct rate_sample *ret_sample);

/* The smallest sample of a population that holds one or more of `wrong` wrong claims with a chance of at least
 * 1 - risk, drawn without replacement (hypergeometric). 0 < wrong <= population, 0 < risk < 1. */
uint32_t finding_sample_size(uint32_t population, uint32_t wrong, double risk);

#endif
