#include "statistics/allocation.h"

#include <assert.h>
#include <math.h>

#include "statistics/rounding.h"

uint64_t neyman_size(const struct stratum_spread *strata, uint32_t count, double bound, uint64_t *ret_sizes)
{
    double all = 0, spread = 0, variance = 0;

    assert(bound > 0);
    for (uint32_t i = 0; i < count; i++) {
        double population = (double)strata[i].population;
        all += population;
        spread += population * strata[i].deviation;
        variance += population * strata[i].deviation * strata[i].deviation;
    }
    double exact = spread > 0 ? spread * spread / (all * all * bound * bound / 4 + variance) : 0;
    double size = (double)cents_up(exact);
    for (uint32_t i = 0; i < count; i++) {
        double population = (double)strata[i].population;
        double share = spread > 0 ? size * population * strata[i].deviation / spread : 0;
        ret_sizes[i] = (uint64_t)fmin(population, fmax(1, round(share)));
    }
    return (uint64_t)size;
}
