#include "audit/evaluation.h"

#include "audit/draw.h"
#include "audit/evaluation_parts.h"
#include "audit/judging.h"
#include "base/status.h"
#include "statistics/estimates.h"
#include "statistics/rates.h"
#include "statistics/rounding.h"
#include "statistics/units.h"

enum { MILLION = 1000000 };

const char *const ESTIMATOR_NAMES[ESTIMATORS] = {"difference", "ratio", "mean", "money"};
const char *const NOTE_KINDS[] = {"meaning", "warning", "refusal"};

const struct evaluation_note *evaluation_has(const struct evaluation *evaluation, const char *name)
{
    for (uint32_t i = 0; i < evaluation->note_count; i++)
        if (strcmp(evaluation->notes[i].name, name) == 0)
            return &evaluation->notes[i];
    return NULL;
}

/* --- What was found ---------------------------------------------------------------------------------- */

static void count_one(struct evaluation *evaluation, const struct judgement *judgement, int64_t paid_cents)
{
    int64_t over = paid_cents - judgement->right_cents;

    if (judgement->judgement.length == 0)
        return;
    evaluation->judged++;
    evaluation->upheld += text_is(judgement->judgement, JUDGED_UPHELD);
    evaluation->errors += text_is(judgement->judgement, JUDGED_ERROR);
    if (text_is(judgement->judgement, JUDGED_MISSING)) {
        evaluation->missing++;
        evaluation->missing_cents += over;
    }
    evaluation->wrong += over != 0;
    if (over > 0)
        evaluation->over_cents += over;
    else
        evaluation->under_cents -= over;
}

/* The judged items of each stratum, one stratum after the other. */
struct audited_strata {
    struct audited_stratum *strata;
    uint32_t count;
};

static int group(const struct sample *sample, const struct judgement *judgements, struct arena *arena,
                 struct audited_strata *ret_strata)
{
    struct audited *items = ARENA_ARRAY(arena, struct audited, sample->item_count);
    struct audited_stratum *strata = ARENA_ARRAY(arena, struct audited_stratum, sample->stratum_count);
    uint32_t at = 0;

    if (items == NULL || strata == NULL)
        return WM_NO_MEMORY;
    for (uint32_t s = 0; s < sample->stratum_count; s++) {
        strata[s] = (struct audited_stratum){.population = (uint64_t)sample->strata[s].frame_count,
                                             .population_cents = sample->strata[s].frame_cents,
                                             .items = items + at};
        for (uint32_t i = 0; i < sample->item_count; i++) {
            const struct sample_claim *claim = &sample->frame[sample->items[i]];
            if (claim->stratum != s + 1 || judgements[i].judgement.length == 0)
                continue;
            items[at++] = (struct audited){claim->paid_cents, judgements[i].right_cents};
            strata[s].count++;
        }
    }
    *ret_strata = (struct audited_strata){strata, sample->stratum_count};
    return WM_OK;
}

/* --- Rates ------------------------------------------------------------------------------------------- */

static int64_t clipped(int64_t millionths)
{
    return millionths < 0 ? 0 : millionths > MILLION ? MILLION : millionths;
}

static void find_rate(const struct sample *sample, const struct audited_strata *strata,
                      struct evaluation *evaluation)
{
    struct rate_found *rate = &evaluation->rate;
    int64_t tail = (MILLION - evaluation->confidence) / 2, one_sided = MILLION - evaluation->confidence;

    rate->made = evaluation->judged > 0;
    rate->exact = text_is(sample->method, METHOD_SIMPLE);
    if (rate->exact && !evaluation_is_census(sample, evaluation)) {
        rate->rate = round_half_away((__int128)evaluation->wrong * MILLION, evaluation->judged);
        rate->lower = millionths_down(rate_lower_limit(evaluation->wrong, evaluation->judged, share_of(tail)));
        rate->upper = millionths_up(rate_upper_limit(evaluation->wrong, evaluation->judged, share_of(tail)));
        rate->upper_one_sided =
            millionths_up(rate_upper_limit(evaluation->wrong, evaluation->judged, share_of(one_sided)));
        return;
    }
    struct estimate estimate = estimate_rate(strata->strata, strata->count);
    rate->rate = millionths_near(estimate.total);
    rate->lower = clipped(millionths_down(estimate_limit(&estimate, share_of(tail), -1)));
    rate->upper = clipped(millionths_up(estimate_limit(&estimate, share_of(tail), 1)));
    rate->upper_one_sided = clipped(millionths_up(estimate_limit(&estimate, share_of(one_sided), 1)));
}

/* --- Money ------------------------------------------------------------------------------------------- */

/* known_cents: what was seen for certain besides. */
static void keep(struct evaluation *evaluation, enum estimator which, struct estimate estimate,
                 int64_t known_cents)
{
    int64_t tail = (MILLION - evaluation->confidence) / 2;

    evaluation->estimates[which] = (struct estimated){
        .made = true,
        .total_cents = cents_near(estimate.total) + known_cents,
        .error_cents = cents_near(estimate.standard_error),
        .lower_cents = cents_down(estimate_limit(&estimate, share_of(tail), -1)) + known_cents,
        .upper_cents = cents_up(estimate_limit(&estimate, share_of(tail), 1)) + known_cents,
        .skewness_millionths = millionths_near(estimate.skewness)};
}

static int find_bound(const struct sample *sample, const struct audited_stratum *interval, int64_t known_cents,
                      struct arena *arena, struct evaluation *evaluation)
{
    struct taint *taints = ARENA_ARRAY(arena, struct taint, interval->count);

    if (taints == NULL)
        return WM_NO_MEMORY;
    taints_of(interval->items, interval->count, taints);
    evaluation->bound_cents =
        known_cents + cents_up(stringer_bound_cents(sample->interval_cents, taints, interval->count,
                                                    share_of(MILLION - evaluation->confidence)));
    evaluation->has_bound = true;
    return WM_OK;
}

static int estimate_money(const struct sample *sample, const struct audited_strata *strata, struct arena *arena,
                          struct evaluation *evaluation)
{
    const struct audited_stratum *certain = &strata->strata[STRATUM_CERTAIN - 1];
    const struct audited_stratum *interval = &strata->strata[STRATUM_INTERVAL - 1];
    int64_t known_cents = 0;

    for (uint32_t i = 0; i < certain->count; i++)
        known_cents += certain->items[i].paid_cents - certain->items[i].right_cents;
    keep(evaluation, BY_MONEY, estimate_by_money(interval->items, interval->count, sample->interval_cents),
         known_cents);
    evaluation->used = BY_MONEY;
    return find_bound(sample, interval, known_cents, arena, evaluation);
}

static int find_money(const struct sample *sample, const struct audited_strata *strata, struct arena *arena,
                      struct evaluation *evaluation)
{
    if (text_is(sample->method, METHOD_MONEY))
        return estimate_money(sample, strata, arena, evaluation);
    keep(evaluation, BY_DIFFERENCE, estimate_by_difference(strata->strata, strata->count), 0);
    keep(evaluation, BY_RATIO, estimate_by_ratio(strata->strata, strata->count), 0);
    keep(evaluation, BY_MEAN, estimate_by_mean(strata->strata, strata->count), 0);
    return WM_OK;
}

int evaluate_sample(const struct sample *sample, const struct judgement *judgements, int64_t confidence,
                    struct arena *arena, struct evaluation *ret_evaluation)
{
    struct evaluation evaluation = {
        .confidence = confidence, .drawn = sample->item_count, .used = BY_DIFFERENCE};
    struct audited_strata strata;

    for (uint32_t i = 0; i < sample->item_count; i++)
        count_one(&evaluation, &judgements[i], sample->frame[sample->items[i]].paid_cents);
    int status = group(sample, judgements, arena, &strata);
    bool random = !text_is(sample->method, METHOD_PICKED), whole = evaluation.judged == evaluation.drawn;
    if (status == WM_OK && random && whole) {
        if (!text_is(sample->method, METHOD_MONEY))
            find_rate(sample, &strata, &evaluation);
        status = find_money(sample, &strata, arena, &evaluation);
    }
    if (status == WM_OK)
        status = evaluation_write_notes(sample, &evaluation, arena);
    if (status == WM_OK)
        *ret_evaluation = evaluation;
    return status;
}
