/* allocation.h - how many claims of each stratum are drawn, in whole numbers, so that it is the same on every
 * machine.
 *
 * Proportional: as the strata have claims. Neyman: as they have claims times the standard deviation of what was
 * paid. Each stratum gets at least two claims, without which its spread cannot be estimated (or all it has),
 * and none more than it has; what is left over by rounding goes where most of a claim was cut off, the first
 * stratum first.
 */
#ifndef WM_AUDIT_ALLOCATION_H
#define WM_AUDIT_ALLOCATION_H

#include <stdbool.h>
#include <stdint.h>

struct stratum_sum {
    uint32_t claims;
    int64_t cents;
    unsigned __int128 squares; /* of amounts, each cut at ALLOCATION_MOST_CENTS, so that nothing overflows */
};

#define ALLOCATION_MOST_CENTS INT64_C(10000000000)

/* More strata than this are no help to anybody who draws a sample. */
enum { ALLOCATION_STRATA = 1000 };

void stratum_sum_add(struct stratum_sum *sum, int64_t cents);

/* size: at least two a stratum, at most all claims. ret_sizes add up to it. */
void allocate(const struct stratum_sum *strata, uint32_t count, uint32_t size, bool neyman,
              uint32_t *ret_sizes);

/* The least that a size may be. */
uint32_t allocation_least(const struct stratum_sum *strata, uint32_t count);

#endif
