/* The report of an audit: the estimates of a judged sample with their intervals, what they mean, and each
 * judged claim. */
#include "audit/evaluation.h"
#include "base/status.h"
#include "reports/report.h"

static const char HEADER[] =
    "-- title: Audit of a sample\n"
    "-- meaning: What follows from the judgements of a sample, and how far it may be trusted. What may be "
    "taken back, and\n"
    "--     how it may be worked out, is for local law and the office's own counsel to decide.\n"
    "-- parameter: sample text; name of the sample\n"
    "-- parameter: confidence integer = 90; of the intervals, in percent\n"
    "-- section: estimates\n"
    "-- title: Paid too much on the whole frame\n"
    "-- meaning: Each way of estimating it, with the limits of its interval. A careful office takes back the "
    "lower limit of\n"
    "--     the one that counts at most.\n"
    "-- column: method text; difference, ratio, mean per unit or by money; found: on the sampled claims alone\n"
    "-- column: lower money \"Lower limit\"; lower end of the two-sided interval\n"
    "-- column: estimate money; what was probably paid too much\n"
    "-- column: upper money \"Upper limit\"; upper end of the two-sided interval\n"
    "-- column: standard_error money; how far the estimate strays from draw to draw\n"
    "-- column: counts text; yes: the one that was settled before the claims were looked at\n"
    "-- chart: bar x=method y=lower,estimate,upper\n"
    "-- section: rate\n"
    "-- title: Wrong claims\n"
    "-- column: looked_at integer \"Looked at\"; claims of the sample that are judged\n"
    "-- column: wrong integer; of them paid not as is right\n"
    "-- column: rate percent; of wrong claims in the frame\n"
    "-- column: lower percent \"Lower limit\"; two-sided\n"
    "-- column: upper percent \"Upper limit\"; two-sided\n"
    "-- column: upper_alone percent \"Upper limit alone\"; one-sided\n"
    "-- section: claims\n"
    "-- title: Claims of the sample\n"
    "-- column: item integer; number on the worksheet\n"
    "-- column: claim claim; dealer and claim number\n"
    "-- column: paid money; when the sample was drawn\n"
    "-- column: judgement text; upheld, error or missing (papers); empty: not judged yet\n"
    "-- column: right_amount money; what would have been right to pay\n"
    "-- column: too_much money \"Too much\"; below 0: too little\n"
    "-- column: note text; the auditor's note\n";

static const char *const METHODS[ESTIMATORS] = {"difference", "ratio", "mean per unit", "by money"};

static int add_estimates(const struct report_run *run, const struct evaluation *evaluation)
{
    struct report_table *table = report_table(run->result, "estimates");
    struct value found[] = {value_text(TEXT("found")),
                            value_null(),
                            value_money(evaluation->over_cents),
                            value_null(),
                            value_null(),
                            value_null()};
    int status = WM_OK;

    for (int i = 0; i < ESTIMATORS && status == WM_OK; i++) {
        const struct estimated *estimated = &evaluation->estimates[i];
        const struct value cells[] = {
            value_text(text_of(METHODS[i])),
            value_money(estimated->lower_cents),
            value_money(estimated->total_cents),
            value_money(estimated->upper_cents),
            value_money(estimated->error_cents),
            value_text((int)evaluation->used == i ? TEXT("yes") : TEXT("")),
        };
        if (estimated->made)
            status = report_add_row(run->result, table, cells);
    }
    return status == WM_OK ? report_add_row(run->result, table, found) : status;
}

static int add_rate(const struct report_run *run, const struct evaluation *evaluation)
{
    const struct rate_found *rate = &evaluation->rate;
    const struct value cells[] = {value_integer(evaluation->judged),
                                  value_integer(evaluation->wrong),
                                  rate->made ? value_number(rate->rate) : value_null(),
                                  rate->made ? value_number(rate->lower) : value_null(),
                                  rate->made ? value_number(rate->upper) : value_null(),
                                  rate->made ? value_number(rate->upper_one_sided) : value_null()};

    return report_add_row(run->result, report_table(run->result, "rate"), cells);
}

static int add_claims(const struct report_run *run, const struct sample *sample,
                      const struct judgement *judgements)
{
    struct report_table *table = report_table(run->result, "claims");
    int status = WM_OK;

    for (uint32_t i = 0; i < sample->item_count && status == WM_OK; i++) {
        const struct sample_claim *claim = &sample->frame[sample->items[i]];
        bool judged = judgements[i].judgement.length > 0;
        struct text name = text_format(run->result->arena, "%.*s/%.*s", TEXT_ARGUMENTS(claim->dealer),
                                       TEXT_ARGUMENTS(claim->claim));
        const struct value cells[] = {value_integer((int64_t)i + 1),
                                      value_text(name),
                                      value_money(claim->paid_cents),
                                      value_text(judgements[i].judgement),
                                      judged ? value_money(judgements[i].right_cents) : value_null(),
                                      judged ? value_money(claim->paid_cents - judgements[i].right_cents)
                                             : value_null(),
                                      value_text(judgements[i].note)};
        status = name.bytes == NULL ? WM_NO_MEMORY : report_add_row(run->result, table, cells);
    }
    return status;
}

static int add_notes(const struct report_run *run, const struct sample *sample,
                     const struct evaluation *evaluation)
{
    int status =
        report_add_note(run->result, NULL, false, "Selected because: %.*s", TEXT_ARGUMENTS(sample->because));

    for (uint32_t i = 0; i < evaluation->note_count && status == WM_OK; i++) {
        const struct evaluation_note *note = &evaluation->notes[i];
        status = report_add_note(run->result, NULL, false, "%s%.*s",
                                 note->kind == NOTE_WARNING   ? "Warning: "
                                 : note->kind == NOTE_REFUSAL ? "Nothing is extrapolated: "
                                                              : "",
                                 TEXT_ARGUMENTS(note->words));
    }
    return status;
}

static int read_sample(const struct report_run *run, struct sample *sample, struct judgement **ret_judgements)
{
    struct value name = report_value(run->result, "sample");
    int status = sample_read(run->office, run->result->arena, (struct text){name.bytes, name.length}, sample);

    if (status == WM_NOT_FOUND) {
        diag_error(run->sink, (struct place){{NULL, 0}, 0, 0},
                   "there is no sample \"%.*s\"; draw one with `witnessmark sample draw`", (int)name.length,
                   name.bytes);
        return WM_BAD_INPUT;
    }
    if (status != WM_OK)
        return status;
    *ret_judgements = ARENA_ARRAY(run->result->arena, struct judgement, sample->item_count);
    return *ret_judgements == NULL ? WM_NO_MEMORY
                                   : judgements_read(run->office, run->result->arena, sample, *ret_judgements);
}

static int run_audit(const struct report_run *run)
{
    int64_t percent = report_value(run->result, "confidence").number / DECIMAL_ONE;
    struct sample sample;
    struct judgement *judgements;
    struct evaluation evaluation;

    if (percent <= 0 || percent >= 100) {
        diag_error(run->sink, (struct place){{NULL, 0}, 0, 0},
                   "--confidence is no percentage between 0 and 100; write it as 90");
        return WM_BAD_INPUT;
    }
    int status = read_sample(run, &sample, &judgements);
    if (status == WM_OK)
        status = evaluate_sample(&sample, judgements, percent * 10000, run->result->arena, &evaluation);
    if (status == WM_OK)
        status = add_notes(run, &sample, &evaluation);
    if (status == WM_OK)
        status = add_estimates(run, &evaluation);
    if (status == WM_OK)
        status = add_rate(run, &evaluation);
    return status == WM_OK ? add_claims(run, &sample, judgements) : status;
}

const struct computed_report REPORT_AUDIT = {"audit", HEADER, false, run_audit};
