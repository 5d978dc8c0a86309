#include "statistics/estimates.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stddef.h>

#include "statistics/quiet.h"

/* What an estimate needs of the values of one stratum's claims. */
struct moments {
    double mean, variance; /* variance with n - 1 */
    double third;          /* central, with n */
};

/* The value of a claim: this much of what was paid less so much of what was right. */
struct weights {
    double paid, right;
};

static double value_of(const struct audited *item, struct weights weights)
{
    return weights.paid * (double)item->paid_cents + weights.right * (double)item->right_cents;
}

static struct moments moments_of(const struct audited *items, uint32_t count, struct weights weights)
{
    struct moments moments = {0, 0, 0};

    for (uint32_t i = 0; i < count; i++)
        moments.mean += value_of(&items[i], weights) / count;
    for (uint32_t i = 0; i < count; i++) {
        double off = value_of(&items[i], weights) - moments.mean;
        moments.variance += count > 1 ? off * off / (count - 1) : 0;
        moments.third += off * off * off / count;
    }
    return moments;
}

/* What is added up over strata. */
struct sums {
    double total, variance, third, freedom;
};

static void add_stratum(struct sums *sums, double population, double sampled, const struct moments *moments)
{
    double share = sampled < population ? population * (population - sampled) / sampled : 0;
    double part = share * moments->variance;

    sums->total += population * moments->mean;
    sums->variance += part;
    if (share > 0) {
        sums->third += population * population * population * moments->third / (sampled * sampled);
        sums->freedom += sampled > 1 ? part * part / (sampled - 1) : 0;
    }
}

/* The degrees of freedom are those of Satterthwaite (Cochran 5.16), which for one stratum are n - 1. */
static struct estimate estimate_of(const struct sums *sums)
{
    struct estimate estimate = {sums->total, sqrt(sums->variance), INFINITY, 0};

    if (sums->freedom > 0)
        estimate.freedom = sums->variance * sums->variance / sums->freedom;
    if (sums->variance > 0)
        estimate.skewness = sums->third / pow(sums->variance, 1.5);
    return estimate;
}

static struct sums sum_strata(const struct audited_stratum *strata, uint32_t count, struct weights weights)
{
    struct sums sums = {0, 0, 0, 0};

    for (uint32_t i = 0; i < count; i++) {
        struct moments moments = moments_of(strata[i].items, strata[i].count, weights);
        add_stratum(&sums, (double)strata[i].population, strata[i].count, &moments);
    }
    return sums;
}

struct estimate estimate_by_mean(const struct audited_stratum *strata, uint32_t count)
{
    struct sums sums = sum_strata(strata, count, (struct weights){0, -1});

    for (uint32_t i = 0; i < count; i++)
        sums.total += (double)strata[i].population_cents;
    return estimate_of(&sums);
}

struct estimate estimate_by_difference(const struct audited_stratum *strata, uint32_t count)
{
    struct sums sums = sum_strata(strata, count, (struct weights){1, -1});

    return estimate_of(&sums);
}

struct estimate estimate_by_ratio(const struct audited_stratum *strata, uint32_t count)
{
    double paid = sum_strata(strata, count, (struct weights){1, 0}).total;
    double wrong = sum_strata(strata, count, (struct weights){1, -1}).total;
    double ratio = paid > 0 ? wrong / paid : 0, all = 0;

    for (uint32_t i = 0; i < count; i++)
        all += (double)strata[i].population_cents;
    struct sums sums = sum_strata(strata, count, (struct weights){1 - ratio, -1});
    sums.total = ratio * all;
    return estimate_of(&sums);
}

struct estimate estimate_by_money(const struct audited *items, uint32_t count, int64_t interval_cents)
{
    double interval = (double)interval_cents, mean = 0, variance = 0, third = 0;

    for (uint32_t i = 0; i < count; i++)
        mean += (1 - (double)items[i].right_cents / (double)items[i].paid_cents) / count;
    for (uint32_t i = 0; i < count; i++) {
        double off = 1 - (double)items[i].right_cents / (double)items[i].paid_cents - mean;
        variance += count > 1 ? off * off / (count - 1) : 0;
        third += off * off * off / count;
    }
    struct sums sums = {count * interval * mean, count * interval * interval * variance, 0, 0};
    sums.third = count * interval * interval * interval * third;
    sums.freedom = count > 1 ? sums.variance * sums.variance / (count - 1) : 0;
    return estimate_of(&sums);
}

struct estimate estimate_rate(const struct audited_stratum *strata, uint32_t count)
{
    struct sums sums = {0, 0, 0, 0};
    double all = 0;

    for (uint32_t i = 0; i < count; i++)
        all += (double)strata[i].population;
    for (uint32_t i = 0; i < count; i++) {
        double sampled = strata[i].count, wrong = 0;
        for (uint32_t k = 0; k < strata[i].count; k++)
            wrong += strata[i].items[k].paid_cents != strata[i].items[k].right_cents;
        double rate = wrong / sampled;
        struct moments moments = {rate, sampled > 1 ? rate * (1 - rate) * sampled / (sampled - 1) : 0, 0};
        add_stratum(&sums, (double)strata[i].population, sampled, &moments);
    }
    sums = (struct sums){sums.total / all, sums.variance / (all * all), 0, sums.freedom / pow(all, 4)};
    return estimate_of(&sums);
}

double estimate_limit(const struct estimate *estimate, double tail, int side)
{
    assert(tail > 0 && tail < 1 && (side == 1 || side == -1));
    statistics_quiet();
    double width =
        isinf(estimate->freedom) ? gsl_cdf_ugaussian_Qinv(tail) : gsl_cdf_tdist_Qinv(tail, estimate->freedom);
    return estimate->total + side * width * estimate->standard_error;
}

struct estimate estimate_of_figures(const struct stratum_figures *strata, uint32_t count)
{
    struct sums sums = {0, 0, 0, 0};

    for (uint32_t i = 0; i < count; i++) {
        struct moments moments = {strata[i].mean, strata[i].deviation * strata[i].deviation, 0};
        add_stratum(&sums, strata[i].population, strata[i].sampled, &moments);
    }
    return estimate_of(&sums);
}
