/* 2,000 samples of each kind are drawn from the paid claims of the demo office, four times over, of which it is
 * known what would have been right, and evaluated: the 90 % intervals hold the truth in 87 to 93 % of draws;
 * and where a method is known to fail, the evaluation says so.
 *
 * Which claims are wrong is made up here. Seeds are "simulation 1" and so on, so that every run sees the same
 * draws. */
#include "program.h"

#include "audit/draw.h"
#include "audit/evaluation.h"
#include "audit/judging.h"
#include "base/arena.h"
#include "base/status.h"

enum { DRAWS = 2000, MOST_CLAIMS = 4096, TIMES = 4, SIZE = 100, CONFIDENCE = 900000 };

/* --- The population ---------------------------------------------------------------------------------- */

static int64_t paid[MOST_CLAIMS], right[MOST_CLAIMS];
static uint32_t claims;

/* What the demo office pays on its claims, in cents. */
static int read_paid(void **state)
{
    struct result result =
        RUN("check", demo_file("night-1.csv"), demo_file("night-2.csv"), demo_file("night-3.csv"), "--office",
            demo_file("office.db"), "--today", "2026-07-01", "--format", "csv");
    struct csv_sheet sheet = csv_sheet_read(result.out);
    (void)state;

    for (size_t i = 1; i < sheet.count && claims < MOST_CLAIMS; i++) {
        int64_t millionths;
        if (strcmp(csv_at(&sheet, i, "decision"), "pay") == 0 &&
            decimal_read(text_of(csv_at(&sheet, i, "due")), 2, &millionths) == NUMBER_OK && millionths > 0)
            paid[claims++] = millionths / DECIMAL_CENT;
    }
    csv_sheet_free(&sheet);
    result_free(&result);
    for (uint32_t once = claims; claims < TIMES * once && claims < MOST_CLAIMS; claims++)
        paid[claims] = paid[claims % once];
    printf("%u paid claims\n", claims);
    return claims > TIMES * 300 ? 0 : -1;
}

/* share_permille of the claims are wrong, by least to most percent of what was paid. */
static int64_t make_errors(uint64_t share_permille, uint64_t least, uint64_t most)
{
    uint64_t random = UINT64_C(20260301);
    int64_t over = 0;

    for (uint32_t i = 0; i < claims; i++) {
        bool wrong = random_below(&random, 1000) < share_permille;
        int64_t percent = (int64_t)(least + random_below(&random, most - least + 1));
        right[i] = wrong ? paid[i] - paid[i] * percent / 100 : paid[i];
        over += paid[i] - right[i];
    }
    return over;
}

/* --- A sample without an office file ----------------------------------------------------------------- */

static struct sample_claim frame[MOST_CLAIMS];
static struct sample_stratum strata[4];
static struct judgement judgements[MOST_CLAIMS];

static void add_up(struct sample *sample)
{
    sample->frame_cents = 0;
    for (uint32_t i = 0; i < sample->frame_count; i++) {
        struct sample_stratum *stratum = &strata[frame[i].stratum - 1];
        stratum->frame_count++;
        stratum->frame_cents += frame[i].paid_cents;
        sample->frame_cents += frame[i].paid_cents;
    }
}

static struct sample begin_sample(const char *method, uint32_t stratum_count)
{
    memset(strata, 0, sizeof strata);
    for (uint32_t i = 0; i < claims; i++)
        frame[i] = (struct sample_claim){
            .row = (int64_t)i + 1, .stratum = 1, .paid_cents = paid[i], .dealer = TEXT("D1")};
    return (struct sample){.name = TEXT("s"),
                           .method = text_of(method),
                           .frame = frame,
                           .frame_count = claims,
                           .strata = strata,
                           .stratum_count = stratum_count};
}

static struct sample simple_sample(void)
{
    struct sample sample = begin_sample(METHOD_SIMPLE, 1);

    add_up(&sample);
    strata[0].item_count = SIZE;
    return sample;
}

static struct sample stratified_sample(void)
{
    struct sample sample = begin_sample(METHOD_STRATIFIED, 3);
    struct stratum_sum sums[3] = {{0, 0, 0}};
    uint32_t sizes[3];

    for (uint32_t i = 0; i < claims; i++) {
        frame[i].stratum = paid[i] <= 40000 ? 1 : paid[i] <= 55000 ? 2 : 3;
        stratum_sum_add(&sums[frame[i].stratum - 1], paid[i]);
    }
    add_up(&sample);
    allocate(sums, 3, SIZE, true, sizes);
    for (int i = 0; i < 3; i++)
        strata[i].item_count = sizes[i];
    return sample;
}

static struct sample money_sample(void)
{
    struct sample sample = begin_sample(METHOD_MONEY, 2);

    add_up(&sample);
    sample.interval_cents = sample.frame_cents / SIZE;
    memset(strata, 0, sizeof strata);
    for (uint32_t i = 0; i < claims; i++)
        frame[i].stratum = paid[i] >= sample.interval_cents ? STRATUM_CERTAIN : STRATUM_INTERVAL;
    add_up(&sample);
    return sample;
}

/* --- Draws ------------------------------------------------------------------------------------------- */

struct tally {
    int covered[ESTIMATORS], below[ESTIMATORS]; /* below: the truth lies under the lower limit */
    int bound_covers, rate_covers;
    int few_errors, skew, no_errors, refused;
};

static void judge(const struct sample *sample)
{
    for (uint32_t i = 0; i < sample->item_count; i++) {
        uint32_t place = sample->items[i];
        judgements[i] = (struct judgement){.item = (int64_t)i + 1,
                                           .judgement = right[place] == paid[place] ? TEXT(JUDGED_UPHELD)
                                                                                    : TEXT(JUDGED_ERROR),
                                           .right_cents = right[place],
                                           .note = TEXT("")};
    }
}

static void count(struct tally *tally, const struct evaluation *evaluation, int64_t truth, int64_t true_rate)
{
    for (int e = 0; e < ESTIMATORS; e++) {
        const struct estimated *estimated = &evaluation->estimates[e];
        tally->covered[e] +=
            estimated->made && estimated->lower_cents <= truth && truth <= estimated->upper_cents;
        tally->below[e] += estimated->made && truth < estimated->lower_cents;
    }
    tally->bound_covers += evaluation->has_bound && truth <= evaluation->bound_cents;
    tally->rate_covers +=
        evaluation->rate.made && evaluation->rate.lower <= true_rate && true_rate <= evaluation->rate.upper;
    tally->few_errors += evaluation_has(evaluation, "few-errors") != NULL;
    tally->no_errors += evaluation_has(evaluation, "no-errors") != NULL;
    tally->skew += evaluation_has(evaluation, "skew") != NULL;
    tally->refused += !evaluation->may_extrapolate;
}

static struct tally draw_many(struct sample sample, int64_t truth)
{
    struct arena arena = ARENA_EMPTY;
    struct tally tally = {{0}, {0}, 0, 0, 0, 0, 0, 0};
    int64_t wrong = 0;

    for (uint32_t i = 0; i < claims; i++)
        wrong += right[i] != paid[i];
    for (int draw = 1; draw <= DRAWS; draw++) {
        struct evaluation evaluation;
        sample.seed = text_format(&arena, "simulation %d", draw);
        assert_int_equal(sample_select(&sample, &arena, &sample.items, &sample.item_count), WM_OK);
        judge(&sample);
        assert_int_equal(evaluate_sample(&sample, judgements, CONFIDENCE, &arena, &evaluation), WM_OK);
        count(&tally, &evaluation, truth, wrong * 1000000 / claims);
        arena_reset(&arena);
    }
    arena_free(&arena);
    return tally;
}

static double percent(int draws)
{
    return 100.0 * draws / DRAWS;
}

static void report(const char *name, const struct tally *tally)
{
    printf("%s: ", name);
    for (int e = 0; e < ESTIMATORS; e++)
        if (tally->covered[e] > 0)
            printf("%s %.1f %% (truth under the lower limit %.1f %%), ", ESTIMATOR_NAMES[e],
                   percent(tally->covered[e]), percent(tally->below[e]));
    printf("rate %.1f, bound %.1f; few errors %.1f, none %.1f, skew %.1f, refused %.1f\n",
           percent(tally->rate_covers), percent(tally->bound_covers), percent(tally->few_errors),
           percent(tally->no_errors), percent(tally->skew), percent(tally->refused));
}

static void covers(const struct tally *tally, enum estimator which)
{
    if (percent(tally->covered[which]) < 87 || percent(tally->covered[which]) > 93)
        fail_msg("%s covers %.1f %%", ESTIMATOR_NAMES[which], percent(tally->covered[which]));
}

static void simple_samples_cover(void **state)
{
    int64_t truth = make_errors(350, 20, 60);
    struct tally tally = draw_many(simple_sample(), truth);
    (void)state;

    report("simple, 35 % wrong", &tally);
    covers(&tally, BY_DIFFERENCE);
    covers(&tally, BY_RATIO);
    covers(&tally, BY_MEAN);
    assert_true(percent(tally.rate_covers) >= 90); /* Clopper and Pearson are never below */
    assert_true(percent(tally.few_errors) < 1);
    assert_true(percent(tally.refused) < 1);
}

static void stratified_samples_cover(void **state)
{
    int64_t truth = make_errors(350, 20, 60);
    struct tally tally = draw_many(stratified_sample(), truth);
    (void)state;

    report("stratified, 35 % wrong", &tally);
    covers(&tally, BY_DIFFERENCE);
    covers(&tally, BY_RATIO);
    covers(&tally, BY_MEAN);
}

static void money_samples_cover(void **state)
{
    int64_t truth = make_errors(350, 20, 60);
    struct tally tally = draw_many(money_sample(), truth);
    (void)state;

    report("by money, 35 % wrong", &tally);
    covers(&tally, BY_MONEY);
    assert_true(percent(tally.bound_covers) >= 90);
}

/* A few wrong claims: intervals miss the truth far more often than they say, and every such draw is warned of
 * and refused. */
static void few_errors_are_warned_of(void **state)
{
    int64_t truth = make_errors(12, 20, 60);
    struct tally tally = draw_many(simple_sample(), truth);
    (void)state;

    report("simple, about 1 % wrong", &tally);
    assert_true(percent(tally.covered[BY_DIFFERENCE]) < 87);
    assert_int_equal(tally.few_errors + tally.no_errors, DRAWS);
    assert_true(percent(tally.refused) > 95);

    tally = draw_many(money_sample(), truth);
    report("by money, about 1 % wrong", &tally);
    assert_true(percent(tally.covered[BY_MONEY]) < 87);
    assert_int_equal(tally.few_errors + tally.no_errors, DRAWS);
    assert_true(percent(tally.bound_covers) >= 90); /* the bound is made for this */
}

/* A very large error now and then among many small ones. */
static void skew_is_warned_of(void **state)
{
    int64_t truth = make_errors(300, 1, 3), large = 0;
    (void)state;

    for (uint32_t i = 0; i < claims; i += 50) {
        truth -= paid[i] - right[i];
        right[i] = 0;
        truth += paid[i];
        large++;
    }
    struct tally tally = draw_many(simple_sample(), truth);
    report("simple, small errors and a few large ones", &tally);
    assert_true(large > 3);
    assert_true(percent(tally.covered[BY_DIFFERENCE]) < 87);
    assert_true(percent(tally.skew) > 85);
    /* what the warning says: the lower limit errs in the dealer's favour */
    assert_true(percent(tally.below[BY_DIFFERENCE]) < 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(simple_samples_cover), cmocka_unit_test(stratified_samples_cover),
        cmocka_unit_test(money_samples_cover),  cmocka_unit_test(few_errors_are_warned_of),
        cmocka_unit_test(skew_is_warned_of),
    };

    return cmocka_run_group_tests(tests, read_paid, NULL);
}
