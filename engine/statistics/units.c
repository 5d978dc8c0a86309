#include "statistics/units.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "statistics/quantile.h"
#include "statistics/quiet.h"

double poisson_upper_limit(uint32_t wrong, double risk)
{
    double shape = (double)wrong + 1, high = 2 * shape;

    assert(risk > 0 && risk < 1);
    statistics_quiet();
    while (gsl_cdf_gamma_Q(high, shape, 1) > risk)
        high *= 2;
    return quantile(gsl_cdf_gamma_P, shape, 1, 1 - risk, 0, high);
}

int64_t confidence_factor_hundredths(uint32_t wrong, double risk)
{
    return (int64_t)ceil(poisson_upper_limit(wrong, risk) * 100 - 1e-9);
}

int64_t money_interval_cents(int64_t tolerable_cents, uint32_t expected_errors, double risk)
{
    int64_t factor = confidence_factor_hundredths(expected_errors, risk);

    return (int64_t)((__int128)tolerable_cents * 100 / factor);
}

void taints_of(const struct audited *items, uint32_t count, struct taint *ret_taints)
{
    for (uint32_t i = 0; i < count; i++)
        ret_taints[i].share = 1 - (double)items[i].right_cents / (double)items[i].paid_cents;
}

static int larger_first(const void *a, const void *b)
{
    const struct taint *x = a, *y = b;

    return x->share > y->share ? -1 : x->share < y->share;
}

double stringer_bound_cents(int64_t interval_cents, struct taint *taints, uint32_t count, double risk)
{
    double before = (double)confidence_factor_hundredths(0, risk) / 100, units = before;

    if (count > 1)
        qsort(taints, count, sizeof *taints, larger_first);
    for (uint32_t i = 0; i < count && taints[i].share > 0; i++) {
        double factor = (double)confidence_factor_hundredths(i + 1, risk) / 100;
        units += (factor - before) * fmin(taints[i].share, 1);
        before = factor;
    }
    return units * (double)interval_cents;
}
