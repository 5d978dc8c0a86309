/* The statistics of audits against figures that others printed or computed; the source is beside each.
 *
 * `test_statistics cases` prints 1,000 random cases of each function with their results, for
 * tests/statistics.sh, which has R compute the same. */
#include "capture.h"

#include <math.h>

#include "statistics/allocation.h"
#include "statistics/estimates.h"
#include "statistics/rates.h"
#include "statistics/rounding.h"
#include "statistics/units.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static void near(double is, double should, double within)
{
    if (!(fabs(is - should) <= within))
        fail_msg("%.10g is not %.10g", is, should);
}

/* --- Rates ------------------------------------------------------------------------------------------- */

static void sizes_for_a_rate(void **state)
{
    /* AICPA, Audit Sampling, Tables A-1 and A-2 (in part as printed, the others computed from the formula);
     * percent, percent, percent */
    static const struct {
        int risk, tolerable, expected, size;
    } TABLE[] = {
        {5, 5, 0, 59},  {5, 5, 1, 93},  {5, 5, 2, 181},  {5, 4, 1, 156}, {5, 3, 0, 99},  {5, 4, 0, 74},
        {5, 6, 0, 49},  {5, 7, 0, 42},  {5, 8, 0, 36},   {5, 9, 0, 32},  {5, 10, 0, 29}, {10, 7, 3, 94},
        {10, 8, 4, 98}, {10, 3, 0, 76}, {10, 4, 0, 57},  {10, 5, 0, 45}, {10, 6, 0, 38}, {10, 7, 0, 32},
        {10, 8, 0, 28}, {10, 9, 0, 25}, {10, 10, 0, 22},
    };
    struct rate_sample sample;
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++) {
        assert_true(rate_sample_size(TABLE[i].risk * 10000, TABLE[i].tolerable * 10000,
                                     TABLE[i].expected * 10000, &sample));
        if (sample.size != (uint64_t)TABLE[i].size)
            fail_msg("risk %d, tolerable %d, expected %d: %llu is not %d", TABLE[i].risk, TABLE[i].tolerable,
                     TABLE[i].expected, (unsigned long long)sample.size, TABLE[i].size);
    }
    assert_false(rate_sample_size(50000, 50000, 49999, &sample)); /* too close to each other */
}

static void upper_limits_of_a_rate(void **state)
{
    /* AICPA, Audit Sampling, Tables A-3 (5 % risk) and A-4 (10 %), as printed: percent, rounded up to 0.1 */
    static const struct {
        int risk, looked_at, wrong, tenths;
    } TABLE[] = {
        {5, 60, 0, 49},   {5, 60, 1, 77},   {5, 60, 2, 102},  {5, 60, 3, 125},  {5, 100, 0, 30},
        {5, 100, 1, 47},  {5, 100, 2, 62},  {5, 100, 3, 76},  {5, 150, 3, 51},  {5, 150, 6, 78},
        {10, 100, 0, 23}, {10, 100, 1, 39}, {10, 100, 2, 53}, {10, 100, 3, 66},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++) {
        double limit =
            rate_upper_limit((uint64_t)TABLE[i].wrong, (uint64_t)TABLE[i].looked_at, TABLE[i].risk / 100.0);
        assert_int_equal((int)ceil(limit * 1000 - 1e-9), TABLE[i].tenths);
    }
}

static void two_limits_of_a_rate(void **state)
{
    (void)state;
    /* NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1 (from memory): 4 of 20, 90 % */
    near(rate_lower_limit(4, 20, .05), .07135, .000005);
    near(rate_upper_limit(4, 20, .05), .40103, .000005);
    /* computed from the definition: 95 % */
    near(rate_lower_limit(0, 10, .025), 0, 0);
    near(rate_upper_limit(0, 10, .025), .3085, .00005);
    near(rate_lower_limit(5, 10, .025), .18709, .000005);
    near(rate_upper_limit(5, 10, .025), .81291, .000005);
    near(rate_lower_limit(10, 100, .025), .04900, .000005);
    near(rate_upper_limit(10, 100, .025), .17622, .000005);
    near(rate_upper_limit(7, 7, .025), 1, 0);
}

static void sizes_for_finding_one(void **state)
{
    /* computed from the hypergeometric distribution, 95 % */
    static const uint32_t TABLE[][3] = {
        {500, 5, 225}, {1000, 10, 258}, {2000, 20, 277}, {5000, 50, 290}, {7, 7, 1}};
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++)
        assert_int_equal(finding_sample_size(TABLE[i][0], TABLE[i][1], .05), TABLE[i][2]);
}

/* --- Money units ------------------------------------------------------------------------------------- */

static void confidence_factors(void **state)
{
    /* AICPA, Audit Sampling, confidence factors for money-unit sampling, 0 to 10 errors (as printed, and
     * computed) */
    static const int AT_5[] = {300, 475, 630, 776, 916, 1052, 1185, 1315, 1444, 1571, 1697};
    static const int AT_10[] = {231, 389, 533, 669, 800, 928, 1054, 1178, 1300, 1421, 1541};
    (void)state;

    for (uint32_t k = 0; k < COUNT(AT_5); k++) {
        assert_int_equal(confidence_factor_hundredths(k, .05), AT_5[k]);
        assert_int_equal(confidence_factor_hundredths(k, .10), AT_10[k]);
    }
    assert_int_equal(money_interval_cents(6000000, 0, .05), 2000000);
    assert_int_equal(money_interval_cents(10000000, 1, .05), 2105263); /* 100,000 over 4.75, rounded down */
}

static void stringer(void **state)
{
    struct taint taints[] = {{.15}, {1}, {0}, {-.3}, {.40}};
    (void)state;

    /* computed: 20,000 x (3.00 + 1.75 x 1.00 + 1.55 x .40 + 1.46 x .15) */
    near(stringer_bound_cents(2000000, taints, COUNT(taints), .05), 11178000, .001);
    near(stringer_bound_cents(2000000, NULL, 0, .05), 6000000, .001);

    const struct audited items[] = {{10000, 8500}, {10000, 10000}, {10000, 12000}};
    taints_of(items, 3, taints);
    near(taints[0].share, .15, 1e-12);
    near(taints[1].share, 0, 1e-12);
    near(taints[2].share, -.2, 1e-12);
}

/* --- Estimates --------------------------------------------------------------------------------------- */

static void textbook_figures(void **state)
{
    (void)state;
    /* computed: N=1000 n=100 mean 18 s=45; two-sided 90 %, normal distribution */
    struct estimate simple = estimate_of_figures(&(struct stratum_figures){1000, 100, 18, 45}, 1);
    near(simple.total, 18000, 1e-9);
    near(simple.standard_error, 4269.07, .005);
    near(simple.freedom, 99, 1e-9);
    simple.freedom = INFINITY;
    near(estimate_limit(&simple, .05, -1), 10978.00, .005);
    /* computed: N=(400,100) n=(40,30) mean=(12.50,96.00) s=(30,110), with z */
    const struct stratum_figures strata[] = {{400, 40, 12.5, 30}, {100, 30, 96, 110}};
    struct estimate stratified = estimate_of_figures(strata, 2);
    near(stratified.total, 14600, 1e-9);
    near(stratified.standard_error, 2462.38, .005);
    stratified.freedom = INFINITY;
    near(estimate_limit(&stratified, .05, -1), 10549.74, .005);
}

/* Six claims of twelve, worked by hand. */
static void by_hand(void **state)
{
    const struct audited items[] = {{100, 100}, {200, 150}, {300, 300}, {400, 200}, {500, 500}, {600, 600}};
    const struct audited_stratum stratum = {12, 4500, items, 6};
    (void)state;

    struct estimate difference = estimate_by_difference(&stratum, 1);
    near(difference.total, 500, 1e-9); /* 12 x 250/6 */
    near(difference.standard_error, sqrt(12 * 6 / 6.0 * (42500 - 250 * 250 / 6.0) / 5), 1e-9);
    near(difference.freedom, 5, 1e-9);
    struct estimate ratio = estimate_by_ratio(&stratum, 1);
    near(ratio.total, 250.0 / 2100 * 4500, 1e-9);
    struct estimate mean = estimate_by_mean(&stratum, 1);
    near(mean.total, 4500 - 12 * 1850 / 6.0, 1e-9);
    struct estimate rate = estimate_rate(&stratum, 1);
    near(rate.total, 2 / 6.0, 1e-12);
    /* all claims looked at: nothing is left to chance */
    const struct audited_stratum whole = {6, 2100, items, 6};
    struct estimate census = estimate_by_difference(&whole, 1);
    near(census.total, 250, 1e-9);
    near(census.standard_error, 0, 0);
    assert_true(isinf(census.freedom));
    near(estimate_limit(&census, .05, -1), 250, 1e-9);
    /* by money: taints 0, .25, 0, .5, 0, 0 at an interval of 1000 */
    struct estimate money = estimate_by_money(items, 6, 1000);
    near(money.total, 750, 1e-9);
    near(money.standard_error, 1000 * sqrt(6 * (.3125 - .75 * .75 / 6) / 5), 1e-9);
    /* the skewness of one wrong claim among a hundred: (1 - 2p) / sqrt(p q), over the root of n */
    struct audited rare[100] = {[0] = {100, 0}};
    for (int i = 1; i < 100; i++)
        rare[i] = (struct audited){100, 100};
    struct estimate skewed =
        estimate_by_difference(&(struct audited_stratum){1000000, 100000000, rare, 100}, 1);
    near(skewed.skewness, .98 / sqrt(.01 * .99) / 10, .02);
}

/* Where there is but one claim, all there are, or nothing was paid: nothing is left to chance, and nothing
 * divided by 0. */
static void at_their_edges(void **state)
{
    const struct audited wrong[] = {{100, 60}, {300, 200}}, unpaid[] = {{0, 0}, {0, 0}};
    const struct audited_stratum one = {1, 100, wrong, 1}, none = {5, 0, unpaid, 2};
    (void)state;

    struct estimate difference = estimate_by_difference(&one, 1);
    near(difference.total, 40, 1e-9);
    near(difference.standard_error, 0, 0);
    assert_true(isinf(difference.freedom));
    /* one of several tells nothing of how they differ */
    struct estimate single = estimate_by_difference(&(struct audited_stratum){5, 500, wrong, 1}, 1);
    near(single.total, 200, 1e-9);
    near(single.standard_error, 0, 0);
    struct estimate rate = estimate_rate(&one, 1);
    near(rate.total, 1, 1e-12);
    near(rate.standard_error, 0, 0);
    struct estimate ratio = estimate_by_ratio(&none, 1);
    near(ratio.total, 0, 0);
    near(ratio.standard_error, 0, 0);
    struct estimate money = estimate_by_money(wrong, 1, 1000); /* a taint of 0.4 */
    near(money.total, 400, 1e-9);
    near(money.standard_error, 0, 0);
    /* a stratum that was looked at whole adds no chance to one that was not */
    const struct audited_stratum both[] = {{1, 100, wrong, 1}, {10, 3000, wrong, 2}};
    struct estimate alone = estimate_by_difference(&both[1], 1), together = estimate_by_difference(both, 2);
    near(together.total, alone.total + 40, 1e-9);
    near(together.standard_error, alone.standard_error, 1e-9);
    near(together.freedom, alone.freedom, 1e-9);
}

/* Student's t of 99 degrees of freedom is 1.660391 at 5 % (as tables have it: 1.6604): 18,000 and 1.660391 x
 * 4,269.075 */
static void limits_by_student(void **state)
{
    struct estimate simple = estimate_of_figures(&(struct stratum_figures){1000, 100, 18, 45}, 1);
    (void)state;

    near(estimate_limit(&simple, .05, -1), 10911.67, .02);
    near(estimate_limit(&simple, .05, 1), 25088.33, .02);
}

static void neyman(void **state)
{
    /* Scheaffer et al., Elementary Survey Sampling (from memory, and computed) */
    const struct stratum_spread strata[] = {{155, 5}, {62, 15}, {93, 10}};
    uint64_t sizes[3];
    (void)state;

    assert_int_equal(neyman_size(strata, 3, 2, sizes), 57);
    assert_int_equal(sizes[0], 17);
    assert_int_equal(sizes[1], 20);
    assert_int_equal(sizes[2], 20);
    const struct stratum_spread even[] = {{10, 0}, {5, 0}};
    assert_int_equal(neyman_size(even, 2, 1, sizes), 0);
}

static void rounded_once_and_in_the_right_direction(void **state)
{
    (void)state;
    assert_int_equal(cents_down(100.99), 100);
    assert_int_equal(cents_down(-100.01), -101);
    assert_int_equal(cents_up(100.01), 101);
    assert_int_equal(cents_near(100.5), 101);
    assert_int_equal(cents_down(99.9999999999), 100); /* a whole number but for the last bits */
    assert_int_equal(cents_down(NAN), 0);
    assert_int_equal(cents_near(-9.3e18), INT64_MIN);
    assert_int_equal(cents_near(9.3e18), INT64_MAX);
    assert_int_equal(cents_down(1e300), INT64_MAX);
    assert_int_equal(cents_up(-1e300), INT64_MIN);
    assert_int_equal(millionths_near(.0713535), 71354);
    assert_int_equal(millionths_down(.0713539), 71353);
    assert_int_equal(millionths_up(.0713531), 71354);
    near(share_of(50000), .05, 0);
}

/* --- Cases for R ------------------------------------------------------------------------------------- */

enum { CASES = 1000, MOST_ITEMS = 60, MOST_STRATA = 4 };

static uint64_t random_state;

static uint64_t between(uint64_t low, uint64_t high)
{
    return low + random_below(&random_state, high - low + 1);
}

static double tail(void)
{
    return (double)between(1, 400) / 1000;
}

static void print_rates(void)
{
    for (int i = 0; i < CASES; i++) {
        uint64_t looked_at = between(1, 2000), wrong = between(0, between(0, looked_at));
        double t = tail();
        printf("rate_lower %.17g %llu %llu %.17g\n", rate_lower_limit(wrong, looked_at, t),
               (unsigned long long)wrong, (unsigned long long)looked_at, t);
        printf("rate_upper %.17g %llu %llu %.17g\n", rate_upper_limit(wrong, looked_at, t),
               (unsigned long long)wrong, (unsigned long long)looked_at, t);
    }
    for (int i = 0; i < CASES; i++) {
        struct rate_sample sample;
        int64_t tolerable = (int64_t)between(20000, 300000),
                expected = (int64_t)between(0, (uint64_t)tolerable / 2), risk = (int64_t)between(10000, 200000);
        if (rate_sample_size(risk, tolerable, expected, &sample))
            printf("rate_size %llu %lld %lld %lld\n", (unsigned long long)sample.size, (long long)risk,
                   (long long)tolerable, (long long)expected);
    }
    for (int i = 0; i < CASES; i++) {
        uint32_t population = (uint32_t)between(1, 20000), wrong = (uint32_t)between(1, between(1, population));
        double risk = tail();
        printf("finding_size %u %u %u %.17g\n", finding_sample_size(population, wrong, risk), population, wrong,
               risk);
    }
}

static void print_units(void)
{
    for (int i = 0; i < CASES; i++) {
        uint32_t wrong = (uint32_t)between(0, 200);
        double risk = tail();
        printf("poisson_upper %.17g %u %.17g\n", poisson_upper_limit(wrong, risk), wrong, risk);
        printf("factor %lld %u %.17g\n", (long long)confidence_factor_hundredths(wrong, risk), wrong, risk);
    }
    for (int i = 0; i < CASES; i++) {
        struct taint taints[MOST_ITEMS];
        uint32_t count = (uint32_t)between(0, 20);
        int64_t interval = (int64_t)between(100, 5000000);
        double risk = tail();
        for (uint32_t k = 0; k < count; k++)
            taints[k].share = (double)between(0, 1400) / 1000 - .3;
        printf("stringer %.17g %lld %.17g", stringer_bound_cents(interval, taints, count, risk),
               (long long)interval, risk);
        for (uint32_t k = 0; k < count; k++)
            printf(" %.17g", taints[k].share);
        printf("\n");
    }
}

static void random_items(struct audited *items, uint32_t count)
{
    for (uint32_t i = 0; i < count; i++) {
        int64_t paid = (int64_t)between(1, 100000);
        int64_t right = random_below(&random_state, 3) > 0 ? paid : (int64_t)between(0, (uint64_t)paid + 1000);
        items[i] = (struct audited){paid, right};
    }
}

/* estimate, standard error, degrees of freedom, lower limit; then each stratum: N, X, n and the pairs. */
static void print_estimate(const char *name, const struct estimate *estimate, double t,
                           const struct audited_stratum *strata, uint32_t count)
{
    printf("%s %.17g %.17g %.17g %.17g %.17g", name, estimate->total, estimate->standard_error,
           estimate->freedom, estimate_limit(estimate, t, -1), t);
    for (uint32_t s = 0; s < count; s++) {
        printf(" %llu %lld %u", (unsigned long long)strata[s].population, (long long)strata[s].population_cents,
               strata[s].count);
        for (uint32_t i = 0; i < strata[s].count; i++)
            printf(" %lld %lld", (long long)strata[s].items[i].paid_cents,
                   (long long)strata[s].items[i].right_cents);
    }
    printf("\n");
}

static void print_estimates(void)
{
    static struct audited items[MOST_STRATA][MOST_ITEMS];

    for (int i = 0; i < CASES; i++) {
        struct audited_stratum strata[MOST_STRATA];
        uint32_t count = (uint32_t)between(1, MOST_STRATA);
        double t = tail();
        for (uint32_t s = 0; s < count; s++) {
            uint32_t drawn = (uint32_t)between(2, 15);
            random_items(items[s], drawn);
            strata[s] = (struct audited_stratum){drawn + between(s == 0, 500), (int64_t)between(1000, 90000000),
                                                 items[s], drawn};
        }
        struct estimate difference = estimate_by_difference(strata, count),
                        ratio = estimate_by_ratio(strata, count), mean = estimate_by_mean(strata, count),
                        rate = estimate_rate(strata, count);
        print_estimate("difference", &difference, t, strata, count);
        print_estimate("ratio", &ratio, t, strata, count);
        print_estimate("mean", &mean, t, strata, count);
        print_estimate("rate", &rate, t, strata, count);
        struct estimate money = estimate_by_money(items[0], strata[0].count, strata[0].population_cents);
        print_estimate("money", &money, t, strata, 1);
    }
    for (int i = 0; i < CASES; i++) {
        struct stratum_spread strata[MOST_STRATA];
        uint64_t sizes[MOST_STRATA];
        uint32_t count = (uint32_t)between(1, MOST_STRATA);
        double bound = (double)between(1, 500) / 100;
        for (uint32_t s = 0; s < count; s++)
            strata[s] = (struct stratum_spread){between(5, 3000), (double)between(1, 5000) / 100};
        printf("neyman %llu %.17g", (unsigned long long)neyman_size(strata, count, bound, sizes), bound);
        for (uint32_t s = 0; s < count; s++)
            printf(" %llu %.17g %llu", (unsigned long long)strata[s].population, strata[s].deviation,
                   (unsigned long long)sizes[s]);
        printf("\n");
    }
}

int main(int count, char **words)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sizes_for_a_rate),
        cmocka_unit_test(upper_limits_of_a_rate),
        cmocka_unit_test(two_limits_of_a_rate),
        cmocka_unit_test(sizes_for_finding_one),
        cmocka_unit_test(confidence_factors),
        cmocka_unit_test(stringer),
        cmocka_unit_test(textbook_figures),
        cmocka_unit_test(by_hand),
        cmocka_unit_test(at_their_edges),
        cmocka_unit_test(limits_by_student),
        cmocka_unit_test(neyman),
        cmocka_unit_test(rounded_once_and_in_the_right_direction),
    };

    if (count > 1 && strcmp(words[1], "cases") == 0) {
        random_state = random_seed("# test_statistics");
        print_rates();
        print_units();
        print_estimates();
        return 0;
    }
    return cmocka_run_group_tests(tests, NULL, NULL);
}
