#include "audit/allocation.h"

#include <assert.h>

enum { LEAST_OF_STRATUM = 2 };

void stratum_sum_add(struct stratum_sum *sum, int64_t cents)
{
    uint64_t counted = (uint64_t)(cents < ALLOCATION_MOST_CENTS ? cents : ALLOCATION_MOST_CENTS);

    sum->claims++;
    sum->cents += (int64_t)counted;
    sum->squares += (unsigned __int128)counted * counted;
}

/* The largest whole number whose square is no more, by bits. */
static uint64_t square_root(unsigned __int128 number)
{
    unsigned __int128 root = 0;

    for (int bit = 62; bit >= 0; bit--) {
        unsigned __int128 with = root | (unsigned __int128)1 << bit;
        if (with * with <= number)
            root = with;
    }
    return (uint64_t)root;
}

/* N S, where S^2 = (N sum x^2 - (sum x)^2) / (N (N - 1)). */
static uint64_t neyman_weight(const struct stratum_sum *stratum)
{
    if (stratum->claims < 2)
        return 0;
    unsigned __int128 cents = (unsigned __int128)stratum->cents;
    unsigned __int128 spread = stratum->squares * stratum->claims - cents * cents;
    return square_root(spread / (stratum->claims - 1) * stratum->claims);
}

static uint32_t least_of(const struct stratum_sum *stratum)
{
    return stratum->claims < LEAST_OF_STRATUM ? stratum->claims : LEAST_OF_STRATUM;
}

uint32_t allocation_least(const struct stratum_sum *strata, uint32_t count)
{
    uint32_t least = 0;

    for (uint32_t i = 0; i < count; i++)
        least += least_of(&strata[i]);
    return least;
}

/* How much of a claim a stratum has less (or, negative, more) than its due, times the sum of weights. */
static __int128 wanting(uint64_t weight, uint32_t size, unsigned __int128 weights, uint32_t has)
{
    return (__int128)((unsigned __int128)weight * size) - (__int128)(weights * has);
}

/* The stratum to which one more claim is most due (or from which one fewer); count where none can take it. */
static uint32_t most_wanting(const struct stratum_sum *strata, const uint64_t *weights, uint32_t count, uint32_t size,
                             unsigned __int128 sum, const uint32_t *sizes, bool more)
{
    uint32_t found = count;
    __int128 best = 0;

    for (uint32_t i = 0; i < count; i++) {
        __int128 due = wanting(weights[i], size, sum, sizes[i]);
        bool can = more ? sizes[i] < strata[i].claims : sizes[i] > least_of(&strata[i]);
        if (can && (found == count || (more ? due > best : due < best))) {
            found = i;
            best = due;
        }
    }
    return found;
}

static void settle(const struct stratum_sum *strata, const uint64_t *weights, uint32_t count, uint32_t size, unsigned __int128 sum,
                   uint32_t *sizes)
{
    uint64_t given = 0;

    for (uint32_t i = 0; i < count; i++) {
        unsigned __int128 share = sum > 0 ? (unsigned __int128)weights[i] * size / sum : 0;
        uint32_t least = least_of(&strata[i]);
        sizes[i] = share < least ? least : share > strata[i].claims ? strata[i].claims : (uint32_t)share;
        given += sizes[i];
    }
    while (given != size) {
        uint32_t at = most_wanting(strata, weights, count, size, sum, sizes, given < size);
        assert(at < count);
        sizes[at] += given < size ? 1 : -1u;
        given += given < size ? 1 : -UINT64_C(1);
    }
}

void allocate(const struct stratum_sum *strata, uint32_t count, uint32_t size, bool neyman, uint32_t *ret_sizes)
{
    uint64_t weights[ALLOCATION_STRATA];
    unsigned __int128 sum = 0;

    assert(count <= ALLOCATION_STRATA && size >= allocation_least(strata, count));
    for (uint32_t i = 0; i < count; i++) {
        weights[i] = neyman ? neyman_weight(&strata[i]) : strata[i].claims;
        sum += weights[i];
    }
    if (neyman && sum == 0) { /* nothing spreads */
        allocate(strata, count, size, false, ret_sizes);
        return;
    }
    settle(strata, weights, count, size, sum, ret_sizes);
}
