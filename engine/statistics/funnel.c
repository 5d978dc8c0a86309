#include "statistics/funnel.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdlib.h>

static double ratio(struct funnel_count count)
{
    return (double)count.count / (double)count.of;
}

static int64_t millionths(double number)
{
    return (int64_t)llround(number * FUNNEL_ONE);
}

int64_t funnel_rate(struct funnel_count count)
{
    assert(count.of > 0 && count.count >= 0 && count.count <= count.of);
    return (int64_t)(((__int128)count.count * 2 * FUNNEL_ONE + count.of) / ((__int128)2 * count.of));
}

/* The probability of at most k of n; n within what GSL counts with. */
static double at_most(int64_t k, double rate, int64_t n)
{
    return k < 0 ? 0 : k >= n ? 1 : gsl_cdf_binomial_P((unsigned)k, rate, (unsigned)n);
}

static int64_t smallest_reaching(double p, double rate, int64_t n)
{
    int64_t low = 0, high = n;

    while (low < high) {
        int64_t middle = low + (high - low) / 2;
        if (at_most(middle, rate, n) >= p)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

static double exact_limit(double rate, int64_t n, double p)
{
    int64_t r = smallest_reaching(p, rate, n);
    double reached = at_most(r, rate, n), below = at_most(r - 1, rate, n);
    double over = (reached - p) / (reached - below); /* below < p <= reached */

    return ((double)r - over) / (double)n;
}

int64_t funnel_limit(struct funnel_count all, int64_t n, int64_t p, int64_t phi)
{
    assert(all.of > 0 && n > 0 && n <= INT32_MAX && p > 0 && p < FUNNEL_ONE && phi >= FUNNEL_ONE);
    gsl_set_error_handler_off(); /* GSL would end the program */
    double rate = ratio(all);
    double limit = exact_limit(rate, n, (double)p / FUNNEL_ONE);
    double widened = rate + (limit - rate) * sqrt((double)phi / FUNNEL_ONE);

    return millionths(widened < 0 ? 0 : widened > 1 ? 1 : widened);
}

int64_t funnel_widening(int64_t phi)
{
    return millionths(sqrt((double)phi / FUNNEL_ONE));
}

/* Whether the rate of the group, as a fraction, is above (sign 1) or below (sign -1) the limit. */
static bool passes(struct funnel_count group, int64_t limit, int sign)
{
    __int128 difference = (__int128)group.count * FUNNEL_ONE - (__int128)limit * group.of;

    return sign * difference > 0;
}

int funnel_beyond(struct funnel_count all, struct funnel_count group, int64_t p, int64_t phi)
{
    assert(all.of > 0 && group.of > 0 && p > FUNNEL_ONE / 2);
    if (all.count == 0 || all.count == all.of)
        return 0;
    double rate = ratio(all), level = (double)p / FUNNEL_ONE;
    if (passes(group, funnel_limit(all, group.of, p, phi), 1) &&
        at_most(group.count - 1, rate, group.of) >= level)
        return 1;
    if (passes(group, funnel_limit(all, group.of, FUNNEL_ONE - p, phi), -1) &&
        at_most(group.count, rate, group.of) <= 1 - level)
        return -1;
    return 0;
}

static double z_of(struct funnel_count all, struct funnel_count group)
{
    double rate = ratio(all), variance = rate * (1 - rate) / (double)group.of;

    return variance > 0 ? (ratio(group) - rate) / sqrt(variance) : 0;
}

int64_t funnel_z(struct funnel_count all, struct funnel_count group)
{
    assert(all.of > 0 && group.of > 0);
    return millionths(z_of(all, group));
}

static int compare_scores(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* The mean square of sorted scores, those beyond `drawn` on either side counted as the next one inwards. */
static double mean_square(const double *scores, size_t count, size_t drawn)
{
    double sum = 0;

    for (size_t i = 0; i < count; i++) {
        size_t at = i < drawn ? drawn : i >= count - drawn ? count - drawn - 1 : i;
        sum += scores[at] * scores[at];
    }
    return sum / (double)count;
}

int funnel_spread(struct funnel_count all, const struct funnel_count *groups, size_t count, int64_t share,
                  int64_t *ret_phi)
{
    double *scores = calloc(count + 1, sizeof *scores);
    size_t kept = 0;

    assert(share >= 0 && share < FUNNEL_ONE / 2);
    if (scores == NULL)
        return WM_NO_MEMORY;
    for (size_t i = 0; i < count; i++)
        if (groups[i].of > 0)
            scores[kept++] = z_of(all, groups[i]);
    qsort(scores, kept, sizeof *scores, compare_scores);
    size_t drawn = (size_t)((__int128)kept * share / FUNNEL_ONE);
    double phi = kept > 0 ? mean_square(scores, kept, drawn) : 1;
    free(scores);
    *ret_phi = phi > 1 ? millionths(phi) : FUNNEL_ONE;
    return WM_OK;
}
