/* funnel.h - how far a group's rate may lie from that of all by chance alone: exact binomial funnel limits, and
 * how much further where groups spread more than chance makes them.
 *
 * Pure functions on counts, by GSL. Counts go in and rates come out as whole numbers of millionths, so that
 * nothing outside this room sees a floating-point number; statistics say who to look at, never what is paid.
 *
 * Sources: D. J. Spiegelhalter, "Funnel plots for comparing institutional performance", Statistics in Medicine
 * 24 (2005) 1185-1202, App. A.1.1 (limits with interpolation between counts) and A.3.1 to A.3.3
 * (over-dispersion, winsorised z-scores).
 */
#ifndef WM_STATISTICS_FUNNEL_H
#define WM_STATISTICS_FUNNEL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/status.h"

enum { FUNNEL_ONE = 1000000 }; /* millionths */

/* What is counted in a group, and of how many; 0 <= count <= of. */
struct funnel_count {
    int64_t count, of;
};

/* The rate of a count of so many, in millionths, half away from zero; of > 0. */
int64_t funnel_rate(struct funnel_count count);

/* The limit at probability p (millionths, 0 < p < 1) for a group of n > 0 at the rate of `all` (all.of > 0), in
 * millionths from 0 to 1: with r the smallest count whose cumulative probability F(r) reaches p, and
 * a = (F(r) - p) / (F(r) - F(r - 1)), it is (r - a) / n. Moved away from the rate by the square root of phi
 * (millionths, at least 1). */
int64_t funnel_limit(struct funnel_count all, int64_t n, int64_t p, int64_t phi);

/* The factor by which limits are moved away from the rate: the square root of phi, in millionths. */
int64_t funnel_widening(int64_t phi);

/* 1 where the group lies above its upper limit at p (above one half), -1 where it lies below its lower one at 1
 * - p, 0 where it lies between them or the rate of all is 0 or 1. Because a limit between two counts would also
 * name groups that chance makes more often than 1 - p, such as the highest count there is, a group lies beyond
 * a limit only if chance alone gives a count as far out or farther with a probability of at most 1 - p. */
int funnel_beyond(struct funnel_count all, struct funnel_count group, int64_t p, int64_t phi);

/* A group's z-score in millionths: how many standard errors its rate lies from that of `all`; 0 where the rate
 * of all is 0 or 1. */
int64_t funnel_z(struct funnel_count all, struct funnel_count group);

/* phi in millionths, at least 1: the mean square of the groups' z-scores, the lowest and highest share of them
 * (millionths, under one half) drawn in to the next. Groups with of 0 are left out. WM_NO_MEMORY. */
int funnel_spread(struct funnel_count all, const struct funnel_count *groups, size_t count, int64_t share,
                  int64_t *ret_phi);

#endif
