/* allocation.h - how large a stratified sample must be, and how it is shared out.
 *
 * Pure functions. Neyman's allocation: a stratum gets claims in proportion to its size times its standard
 * deviation (J. Neyman, JRSS 97 (1934) 558). Not here: the allocation of a draw, which is done in whole numbers
 * (audit/allocation.h) so that it is the same on every machine.
 */
#ifndef WM_STATISTICS_ALLOCATION_H
#define WM_STATISTICS_ALLOCATION_H

#include <stdint.h>

struct stratum_spread {
    uint64_t population;
    double deviation; /* standard deviation of a claim's amount */
};

/* The smallest sample whose mean lies within `bound` of the true mean with two standard errors, and each
 * stratum's share of it in ret_sizes, rounded to the nearest, at least 1 and at most the stratum: n = (sum N
 * s)^2 / (N^2 bound^2 / 4 + sum N s^2) (Scheaffer et al., Elementary Survey Sampling, from memory). The
 * returned size is the formula's; rounding the shares may give a few more or less. bound > 0; 0 where no
 * stratum spreads. */
uint64_t neyman_size(const struct stratum_spread *strata, uint32_t count, double bound, uint64_t *ret_sizes);

#endif
