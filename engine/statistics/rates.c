#include "statistics/rates.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>

#include "statistics/quantile.h"
#include "statistics/quiet.h"
#include "statistics/rounding.h"

enum { MILLION = 1000000 };

double rate_lower_limit(uint64_t wrong, uint64_t looked_at, double tail)
{
    assert(wrong <= looked_at && looked_at > 0 && tail > 0 && tail < 1);
    statistics_quiet();
    return wrong == 0 ? 0
                      : quantile(gsl_cdf_beta_P, (double)wrong, (double)(looked_at - wrong + 1), tail, 0, 1);
}

/* The mirror of the lower one. */
double rate_upper_limit(uint64_t wrong, uint64_t looked_at, double tail)
{
    return 1 - rate_lower_limit(looked_at - wrong, looked_at, tail);
}

bool rate_sample_size(int64_t risk, int64_t tolerable, int64_t expected, struct rate_sample *ret_sample)
{
    assert(risk > 0 && risk < MILLION && expected >= 0 && expected < tolerable && tolerable < MILLION);
    statistics_quiet();
    for (int64_t size = 1; size <= RATE_SAMPLE_MOST; size++) {
        int64_t allowed = (size * expected + MILLION - 1) / MILLION;
        if (gsl_cdf_binomial_P((unsigned)allowed, share_of(tolerable), (unsigned)size) <= share_of(risk)) {
            *ret_sample = (struct rate_sample){(uint64_t)size, (uint64_t)allowed};
            return true;
        }
    }
    return false;
}

uint32_t finding_sample_size(uint32_t population, uint32_t wrong, double risk)
{
    uint32_t low = 1, high = population - wrong + 1; /* so many hold one for certain */

    assert(wrong > 0 && wrong <= population && risk > 0 && risk < 1);
    statistics_quiet();
    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (gsl_cdf_hypergeometric_P(0, wrong, population - wrong, middle) <= risk)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}
