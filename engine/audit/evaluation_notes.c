/* What an evaluation's figures mean, when they do not hold, and when nothing may be extrapolated: in words for
 * an auditor and for the dealer who gets them. */
#include <assert.h>

#include "audit/draw.h"
#include "audit/evaluation_parts.h"
#include "base/status.h"

struct writing {
    const struct sample *sample;
    struct evaluation *evaluation;
    struct arena *arena;
    bool no_memory;
};

static void add(struct writing *writing, enum note_kind kind, const char *name, struct text words)
{
    struct evaluation *evaluation = writing->evaluation;

    assert(evaluation->note_count < EVALUATION_NOTES);
    writing->no_memory = writing->no_memory || words.bytes == NULL;
    evaluation->notes[evaluation->note_count++] = (struct evaluation_note){kind, name, words};
}

/* Millionths as a percentage, "12.35". */
static struct number_words percent(int64_t millionths)
{
    return money_words(round_half_away(millionths, 100));
}

/* "90": a share in percent without needless zeros. */
static struct number_words whole_percent(int64_t millionths)
{
    return decimal_words(millionths * 100);
}

/* --- What it means ----------------------------------------------------------------------------------- */

static void explain_rate(struct writing *writing)
{
    const struct rate_found *rate = &writing->evaluation->rate;
    int64_t confidence = writing->evaluation->confidence;

    if (text_is(writing->sample->method, METHOD_MONEY))
        add(writing, NOTE_MEANING, "rate",
            TEXT("Claims with more money were likelier to be drawn, so this sample says nothing of how many "
                 "claims in a "
                 "hundred are wrong."));
    else if (rate->made && !evaluation_is_census(writing->sample, writing->evaluation))
        add(writing, NOTE_MEANING, "rate",
            text_format(
                writing->arena,
                "With a confidence of %s %%, between %s %% and %s %% of all %u claims of the frame are wrong; "
                "asked for the upper limit alone, no more than %s %%.%s",
                whole_percent(confidence).text, percent(rate->lower).text, percent(rate->upper).text,
                writing->sample->frame_count, percent(rate->upper_one_sided).text,
                rate->exact ? "" : " The strata are weighted by their claims; these limits are not exact."));
}

static void explain_money(struct writing *writing)
{
    const struct evaluation *evaluation = writing->evaluation;
    const struct estimated *used = &evaluation->estimates[evaluation->used];
    int64_t tail = (1000000 - evaluation->confidence) / 2;

    if (!used->made || evaluation_is_census(writing->sample, evaluation))
        return;
    if (evaluation->wrong > 0)
        add(writing, NOTE_MEANING, "lower-limit",
            text_format(
                writing->arena,
                "The lower limit, %s, is the most that a careful office takes back: drawn again and again, it "
                "would "
                "lie above what was really paid too much in %s draws of a hundred. The estimate itself would "
                "take "
                "too much in about every second draw.",
                money_words(used->lower_cents).text, whole_percent(tail).text));
    if (evaluation->used != BY_MONEY && evaluation->wrong > 0)
        add(writing, NOTE_MEANING, "estimators",
            TEXT("The difference estimate counts: that was settled before the claims were looked at. Ratio and "
                 "mean per "
                 "unit are shown beside it; where they lie far apart, the sample is too small. The mean "
                 "estimates what "
                 "would have been right, and is wide where most claims are right."));
    if (evaluation->has_bound)
        add(writing, NOTE_MEANING, "bound",
            text_format(writing->arena,
                        "With a confidence of %s %%, no more than %s was paid too much on the whole frame "
                        "(Stringer). That "
                        "says how bad it may be, and is no amount to take back.",
                        whole_percent(evaluation->confidence).text, money_words(evaluation->bound_cents).text));
}

/* --- When it does not hold --------------------------------------------------------------------------- */

static void warn_of_errors(struct writing *writing)
{
    const struct evaluation *evaluation = writing->evaluation;

    if (evaluation->wrong > 0 && evaluation->wrong < EVALUATION_FEW_ERRORS)
        add(writing, NOTE_WARNING, "few-errors",
            text_format(writing->arena,
                        "Only %u claim%s of the sample %s wrong. The intervals lean on how errors spread, and "
                        "of so few "
                        "that is hardly known: the true amount lies outside more often than the confidence "
                        "says. Look at "
                        "more claims.",
                        evaluation->wrong, plural(evaluation->wrong), evaluation->wrong == 1 ? "is" : "are"));
    if (evaluation->wrong == 0)
        add(writing, NOTE_WARNING, "no-errors",
            evaluation->rate.made ? text_format(writing->arena,
                                                "Nothing was found wrong. That does not mean that nothing is: "
                                                "up to %s %% of the claims may "
                                                "be. The amounts below are no limits then.",
                                                percent(evaluation->rate.upper_one_sided).text)
                                  : TEXT("Nothing was found wrong. That does not mean that nothing is: the "
                                         "bound says how much may be."));
}

static void warn_of_skew(struct writing *writing)
{
    const struct evaluation *evaluation = writing->evaluation;
    const struct estimated *used = &evaluation->estimates[evaluation->used];
    const struct number_words skewness = decimal_words(used->skewness_millionths / 10000 * 10000);

    if (used->skewness_millionths > EVALUATION_MOST_SKEWNESS)
        add(writing, NOTE_WARNING, "skew",
            text_format(writing->arena,
                        "A few large errors weigh much: the skewness of the estimate is %s, and above %s its interval "
                        "does not hold as said. The true amount is above it more often than below, so the lower limit "
                        "errs in the dealer's favour, and the upper limit is too low. Draw larger, or by money, or in "
                        "strata.",
                        skewness.text, decimal_words(EVALUATION_MOST_SKEWNESS).text));
    if (used->skewness_millionths < -EVALUATION_MOST_SKEWNESS)
        add(writing, NOTE_REFUSAL, "skew-down",
            text_format(
                writing->arena,
                "A few claims that were paid far too little weigh much: the skewness of the estimate is %s. "
                "The "
                "true amount is below the interval more often than the confidence says, so the lower limit may "
                "take too much. Look at more claims.",
                skewness.text));
}

static void warn_of_judgements(struct writing *writing)
{
    const struct evaluation *evaluation = writing->evaluation;

    if (evaluation->missing > 0)
        add(writing, NOTE_WARNING, "missing-papers",
            text_format(writing->arena,
                        "%u claim%s count%s as wholly wrong because papers are missing, %s of what was found. "
                        "Papers that "
                        "turn up are recorded with `sample record` before anything is charged back.",
                        evaluation->missing, plural(evaluation->missing), evaluation->missing == 1 ? "s" : "",
                        money_words(evaluation->missing_cents).text));
    if (evaluation->under_cents > 0)
        add(writing, NOTE_WARNING, "underpaid",
            text_format(
                writing->arena,
                "On some claims too little was paid, %s together. The estimates set it off; it is owed to the "
                "dealer.",
                money_words(evaluation->under_cents).text));
}

/* --- When nothing is extrapolated -------------------------------------------------------------------- */

static void refuse_sample(struct writing *writing)
{
    const struct sample *sample = writing->sample;
    const struct evaluation *evaluation = writing->evaluation;
    bool census = evaluation_is_census(sample, evaluation);

    if (text_is(sample->method, METHOD_PICKED))
        add(writing, NOTE_REFUSAL, "not-random",
            TEXT("The claims were picked by hand, not at random, so they say nothing of the others: charge "
                 "back what was "
                 "found, or draw a sample."));
    if (evaluation->judged < evaluation->drawn)
        add(writing, NOTE_REFUSAL, "not-judged",
            text_format(writing->arena,
                        "%u of %u claims are not judged yet, and leaving them out would bend the result: judge "
                        "each, as "
                        "missing where there is no paper.",
                        evaluation->drawn - evaluation->judged, evaluation->drawn));
    if (census)
        add(writing, NOTE_REFUSAL, "whole-frame",
            TEXT("Every claim of the frame was looked at, so nothing is left to estimate: charge back what was "
                 "found."));
    else if (evaluation->judged < EVALUATION_LEAST_SAMPLE)
        add(writing, NOTE_REFUSAL, "too-small",
            text_format(writing->arena, "%u claims are too few for an interval; look at %d or more.",
                        evaluation->judged, EVALUATION_LEAST_SAMPLE));
}

/* An estimate for several dealers may guide the office, but no one of them owes it. */
static void refuse_dealers(struct writing *writing)
{
    const struct sample *sample = writing->sample;
    uint32_t dealers = sample->frame_count > 0;

    for (uint32_t i = 1; i < sample->frame_count; i++)
        dealers += !text_equal(sample->frame[i].dealer, sample->frame[i - 1].dealer);
    if (dealers > 1)
        add(writing, NOTE_REFUSAL, "several-dealers",
            text_format(writing->arena,
                        "The frame holds claims of %u dealers, and an extrapolated amount would be owed by "
                        "none of them: draw "
                        "a sample for each dealer, or charge back what was found.",
                        dealers));
}

static void refuse_figures(struct writing *writing)
{
    const struct evaluation *evaluation = writing->evaluation;
    const struct estimated *used = &evaluation->estimates[evaluation->used];

    if (!used->made || evaluation_is_census(writing->sample, evaluation))
        return;
    if (evaluation->wrong < EVALUATION_LEAST_ERRORS)
        add(writing, NOTE_REFUSAL, "too-few-errors",
            text_format(writing->arena,
                        "With %u wrong claim%s no interval can be trusted; at least %d are needed. Charge back "
                        "what was "
                        "found.",
                        evaluation->wrong, plural(evaluation->wrong), EVALUATION_LEAST_ERRORS));
    else if (used->lower_cents <= evaluation->over_cents - evaluation->under_cents)
        add(writing, NOTE_REFUSAL, "nothing-gained",
            text_format(writing->arena,
                        "The lower limit, %s, is not above what was found on the sampled claims, %s: charge "
                        "back what was "
                        "found.",
                        money_words(used->lower_cents).text,
                        money_words(evaluation->over_cents - evaluation->under_cents).text));
}

int evaluation_write_notes(const struct sample *sample, struct evaluation *evaluation, struct arena *arena)
{
    struct writing writing = {sample, evaluation, arena, false};

    explain_rate(&writing);
    explain_money(&writing);
    if (evaluation->estimates[evaluation->used].made && !evaluation_is_census(sample, evaluation)) {
        warn_of_errors(&writing);
        warn_of_skew(&writing);
    }
    warn_of_judgements(&writing);
    refuse_sample(&writing);
    refuse_dealers(&writing);
    refuse_figures(&writing);
    evaluation->may_extrapolate = true;
    for (uint32_t i = 0; i < evaluation->note_count; i++)
        evaluation->may_extrapolate = evaluation->may_extrapolate && evaluation->notes[i].kind != NOTE_REFUSAL;
    return writing.no_memory ? WM_NO_MEMORY : WM_OK;
}
