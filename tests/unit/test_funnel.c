/* Funnel limits, over-dispersion and who stands out, against figures from outside and by hand. */
#include "program.h"

#include "base/status.h"
#include "statistics/funnel.h"

static const int64_t EVEN = FUNNEL_ONE; /* phi where groups spread as chance makes them */

/* Computed from the formula of Spiegelhalter 2005, App. A.1.1, with exact binomial probabilities by a program
 * that is not this one. */
static void limits_to_five_places(void **state)
{
    static const struct {
        struct funnel_count all;
        int64_t n, p;
        int64_t limit; /* hundred-thousandths */
    } CASES[] = {
        {{5, 100}, 100, 25000, 612},
        {{5, 100}, 100, 975000, 9191},
        {{5, 100}, 100, 999000, 12464},
        {{1, 10}, 200, 25000, 5769},
        {{1, 10}, 200, 975000, 14097},
        {{1, 10}, 200, 1000, 3785},
        {{1, 10}, 200, 999000, 16857},
        /* the rate counts, not how many it was counted on */
        {{500, 10000}, 100, 975000, 9191},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        int64_t limit = funnel_limit(CASES[i].all, CASES[i].n, CASES[i].p, EVEN);
        assert_int_equal((limit + 5) / 10, CASES[i].limit);
    }
}

/* By hand: for one of one at a rate of one half F(0) = 0.5 and F(1) = 1, so at 0.975 r = 1, a = 0.025 / 0.5 =
 * 0.05, and the limit is 0.95; at 0.25 r = 0, a = (0.5 - 0.25) / 0.5, below 0, so 0. For two, F = 0.25, 0.75,
 * 1: at 0.5 r = 1, a = 0.25 / 0.5, the limit 0.5 / 2 = 0.25. */
static void limits_by_hand(void **state)
{
    (void)state;
    assert_int_equal(funnel_limit((struct funnel_count){1, 2}, 1, 975000, EVEN), 950000);
    assert_int_equal(funnel_limit((struct funnel_count){1, 2}, 1, 250000, EVEN), 0);
    assert_int_equal(funnel_limit((struct funnel_count){1, 2}, 2, 500000, EVEN), 250000);
    /* widened by 2: 0.5 + 0.45 * 2 is more than there is; 0.5 - 0.25 * 1.5 */
    assert_int_equal(funnel_limit((struct funnel_count){1, 2}, 1, 975000, 4 * EVEN), FUNNEL_ONE);
    assert_int_equal(funnel_limit((struct funnel_count){1, 2}, 2, 500000, 2250000), 125000);
    assert_int_equal(funnel_widening(2250000), 1500000);
    /* nothing ever, or always */
    assert_int_equal(funnel_limit((struct funnel_count){0, 9}, 5, 999000, EVEN), 0);
    assert_int_equal(funnel_rate((struct funnel_count){1, 3}), 333333);
    assert_int_equal(funnel_rate((struct funnel_count){2, 3}), 666667);
}

/* 20 of 100 at a rate of 0.1: (0.2 - 0.1) / sqrt(0.1 * 0.9 / 100) = 3.3333. */
static void scores(void **state)
{
    (void)state;
    assert_int_equal(funnel_z((struct funnel_count){1, 10}, (struct funnel_count){20, 100}), 3333333);
    assert_int_equal(funnel_z((struct funnel_count){1, 10}, (struct funnel_count){10, 100}), 0);
    assert_int_equal(funnel_z((struct funnel_count){1, 10}, (struct funnel_count){0, 9}), -1000000);
    assert_int_equal(funnel_z((struct funnel_count){0, 10}, (struct funnel_count){0, 9}), 0);
}

/* Ten groups of 100 at a rate of 0.1, standard error 0.03: counts 4 7 7 10 10 10 13 13 16 40 have z of -2 -1 -1
 * 0 0 0 1 1 2 10. Mean square (4+1+1+0+0+0+1+1+4+100)/10 = 11.2; with one in ten drawn in on each side -1 -1 -1
 * 0 0 0 1 1 2 2: (1+1+1+0+0+0+1+1+4+4)/10 = 1.3. */
static void spread_is_winsorised(void **state)
{
    static const int64_t COUNTS[] = {4, 40, 7, 10, 13, 16, 10, 7, 13, 10};
    struct funnel_count groups[COUNT(COUNTS) + 1], all = {1000, 10000};
    int64_t phi;
    (void)state;

    for (size_t i = 0; i < COUNT(COUNTS); i++)
        groups[i] = (struct funnel_count){COUNTS[i], 100};
    groups[COUNT(COUNTS)] = (struct funnel_count){0, 0}; /* has no rate */
    assert_int_equal(funnel_spread(all, groups, COUNT(groups), 0, &phi), WM_OK);
    assert_int_equal(phi, 11200000);
    assert_int_equal(funnel_spread(all, groups, COUNT(groups), 100000, &phi), WM_OK);
    assert_int_equal(phi, 1300000);
    /* limits are never drawn nearer: three groups at the rate itself */
    for (size_t i = 0; i < 3; i++)
        groups[i] = (struct funnel_count){10, 100};
    assert_int_equal(funnel_spread(all, groups, 3, 100000, &phi), WM_OK);
    assert_int_equal(phi, FUNNEL_ONE);
    assert_int_equal(funnel_spread(all, groups, 0, 100000, &phi), WM_OK);
    assert_int_equal(phi, FUNNEL_ONE);
}

/* A small group with two bad claims is not accused, a large one with 3 % too many is seen. Two of two at 3 %
 * come by chance once in 1,111 times (0.03^2 = 0.0009): beyond 0.999, and within 0.9999. */
static void who_stands_out(void **state)
{
    static const struct {
        struct funnel_count all, group;
        int64_t p, phi;
        int beyond;
    } CASES[] = {
        {{30, 1000}, {2, 10}, 999000, FUNNEL_ONE, 0},         /* 20 %, of ten: P(2 or more) = 0.0345 */
        {{30, 1000}, {120, 2000}, 999000, FUNNEL_ONE, 1},     /* 6 % of two thousand */
        {{30, 1000}, {120, 2000}, 999000, 9 * FUNNEL_ONE, 0}, /* not where all spread three times as wide */
        {{30, 1000}, {2, 2}, 999000, FUNNEL_ONE, 1},          {{30, 1000}, {2, 2}, 999900, FUNNEL_ONE, 0},
        {{300, 1000}, {300, 2000}, 999000, FUNNEL_ONE, -1}, /* 15 % where 30 % are usual */
        {{300, 1000}, {0, 10}, 999000, FUNNEL_ONE, 0},      /* none of ten: 0.7^10 = 0.028 */
        {{900, 1000}, {3, 3}, 999000, FUNNEL_ONE, 0}, /* all of three lie above the limit between counts, and
                                                         are usual */
        {{0, 1000}, {0, 10}, 999000, FUNNEL_ONE, 0},          {{1000, 1000}, {10, 10}, 999000, FUNNEL_ONE, 0},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++)
        if (funnel_beyond(CASES[i].all, CASES[i].group, CASES[i].p, CASES[i].phi) != CASES[i].beyond)
            fail_msg("case %zu", i);
}

/* A million claims take no longer than the search for a count. */
static void large_groups(void **state)
{
    (void)state;
    /* the normal distribution is near: 0.05 + 1.959964 * sqrt(0.05 * 0.95 / 1e6) = 0.050427 */
    assert_in_range(funnel_limit((struct funnel_count){1, 20}, 1000000, 975000, EVEN), 50426, 50428);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_to_five_places),
        cmocka_unit_test(limits_by_hand),
        cmocka_unit_test(scores),
        cmocka_unit_test(spread_is_winsorised),
        cmocka_unit_test(who_stands_out),
        cmocka_unit_test(large_groups),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
