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

/* What is still to be shared out, and among which strata. */
struct sharing {
    const struct stratum_sum *strata;
    uint32_t count;
    uint64_t weights[ALLOCATION_STRATA];
    bool open[ALLOCATION_STRATA];
    uint64_t rest;
    unsigned __int128 sum; /* of the weights of those that are open */
    uint32_t *sizes;
};

static void close_at(struct sharing *sharing, uint32_t at, uint32_t size)
{
    sharing->sizes[at] = size;
    sharing->open[at] = false;
    sharing->rest -= size;
    sharing->sum -= sharing->weights[at];
}

/* Strata whose share is more than they have get all of it (most), or those whose share is less than the least
 * get that; the others share the rest, so that it is looked at anew. */
static void close_those_beyond(struct sharing *sharing, bool most)
{
    for (bool again = true; again;) {
        again = false;
        for (uint32_t i = 0; i < sharing->count; i++) {
            uint32_t end = most ? sharing->strata[i].claims : least_of(&sharing->strata[i]);
            unsigned __int128 share = (unsigned __int128)sharing->weights[i] * sharing->rest,
                              there = sharing->sum * end;
            if (!sharing->open[i] || (most ? share <= there : share >= there))
                continue;
            close_at(sharing, i, end);
            again = true;
        }
    }
}

/* What is cut off by rounding down goes where most of a claim was cut off. */
static void share_rest(struct sharing *sharing)
{
    unsigned __int128 cut_off[ALLOCATION_STRATA] = {0};
    uint64_t left = sharing->rest;

    for (uint32_t i = 0; i < sharing->count; i++) {
        if (!sharing->open[i])
            continue;
        unsigned __int128 share = (unsigned __int128)sharing->weights[i] * sharing->rest;
        sharing->sizes[i] = (uint32_t)(share / sharing->sum);
        cut_off[i] = share % sharing->sum;
        left -= sharing->sizes[i];
    }
    for (; left > 0; left--) {
        uint32_t best = 0;
        for (uint32_t i = 1; i < sharing->count; i++)
            if (cut_off[i] > cut_off[best])
                best = i;
        assert(cut_off[best] > 0);
        cut_off[best] = 0;
        sharing->sizes[best]++;
    }
}

/* Where what is open does not spread, it is shared by claims. */
static void weigh_by_claims(struct sharing *sharing)
{
    for (uint32_t i = 0; i < sharing->count; i++) {
        sharing->weights[i] = sharing->strata[i].claims;
        sharing->sum += sharing->open[i] ? sharing->weights[i] : 0;
    }
}

void allocate(const struct stratum_sum *strata, uint32_t count, uint32_t size, bool neyman, uint32_t *ret_sizes)
{
    struct sharing sharing = {.strata = strata, .count = count, .rest = size, .sizes = ret_sizes};

    assert(count <= ALLOCATION_STRATA && size >= allocation_least(strata, count));
    for (uint32_t i = 0; i < count; i++) {
        sharing.weights[i] = neyman ? neyman_weight(&strata[i]) : strata[i].claims;
        sharing.open[i] = true;
        sharing.sum += sharing.weights[i];
    }
    close_those_beyond(&sharing, true);
    if (sharing.sum == 0) {
        weigh_by_claims(&sharing);
        close_those_beyond(&sharing, true);
    }
    close_those_beyond(&sharing, false);
    share_rest(&sharing);
}
