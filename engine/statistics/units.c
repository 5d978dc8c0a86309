#include "statistics/units.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "statistics/quiet.h"

double poisson_upper_limit(uint32_t wrong, double risk)
{
    assert(risk > 0 && risk < 1);
    statistics_quiet();
    return gsl_cdf_chisq_Qinv(risk, 2.0 * ((double)wrong + 1)) / 2;
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

static int larger_first(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return x > y ? -1 : x < y;
}

double stringer_bound_cents(int64_t interval_cents, double *taints, uint32_t count, double risk)
{
    double before = (double)confidence_factor_hundredths(0, risk) / 100, units = before;

    if (count > 1)
        qsort(taints, count, sizeof *taints, larger_first);
    for (uint32_t i = 0; i < count && taints[i] > 0; i++) {
        double factor = (double)confidence_factor_hundredths(i + 1, risk) / 100;
        units += (factor - before) * fmin(taints[i], 1);
        before = factor;
    }
    return units * (double)interval_cents;
}
