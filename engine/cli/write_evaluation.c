#include "cli/write_evaluation.h"

#include <inttypes.h>

#include "audit/draw.h"
#include "base/add_dump.h"
#include "base/status.h"
#include "cli/write_claims.h"

enum { TEXT_WIDTH = 80, NOTE_INDENT = 2, MONEY_DIGITS = 15 };

static const char *const ESTIMATOR_WORDS[ESTIMATORS] = {"difference", "ratio", "mean per unit", "by money"};

static void add_percent(struct buffer *out, int64_t millionths)
{
    buffer_add_money(out, round_half_away(millionths, 100));
}

/* --- Text -------------------------------------------------------------------------------------------- */

static void right_aligned(struct buffer *out, int64_t cents, int width)
{
    char room[DECIMAL_ROOM];

    money_write(cents, room);
    buffer_format(out, "%*s", width, room);
}

static void text_counts(struct buffer *out, const struct sample *sample, const struct evaluation *evaluation)
{
    buffer_format(out, "sample %.*s: %u of %u claims judged; %u upheld, %u in error, %u without papers\n",
                  TEXT_ARGUMENTS(sample->name), evaluation->judged, evaluation->drawn, evaluation->upheld,
                  evaluation->errors, evaluation->missing);
    buffer_add_string(out, "found on these claims: ");
    buffer_add_money(out, evaluation->over_cents);
    buffer_add_string(out, " paid too much");
    if (evaluation->under_cents > 0) {
        buffer_add_string(out, ", ");
        buffer_add_money(out, evaluation->under_cents);
        buffer_add_string(out, " too little");
    }
    buffer_add_byte(out, '\n');
}

static void text_rate(struct buffer *out, const struct rate_found *rate)
{
    if (!rate->made)
        return;
    buffer_add_string(out, "\nclaims wrong: ");
    add_percent(out, rate->rate);
    buffer_add_string(out, " %, limits ");
    add_percent(out, rate->lower);
    buffer_add_string(out, " to ");
    add_percent(out, rate->upper);
    buffer_add_string(out, " %, upper limit alone ");
    add_percent(out, rate->upper_one_sided);
    buffer_format(out, " %% (%s)\n", rate->exact ? "Clopper and Pearson" : "weighted by strata");
}

static void text_money(struct buffer *out, const struct evaluation *evaluation)
{
    bool any = false;

    for (int i = 0; i < ESTIMATORS; i++) {
        const struct estimated *estimated = &evaluation->estimates[i];
        if (!estimated->made)
            continue;
        if (!any)
            buffer_format(out, "\n%-18s %14s %14s %14s %14s\n", "paid too much", "estimate", "standard error",
                          "lower limit", "upper limit");
        any = true;
        buffer_format(out, "  %-16s ", ESTIMATOR_WORDS[i]);
        right_aligned(out, estimated->total_cents, 14);
        right_aligned(out, estimated->error_cents, 15);
        right_aligned(out, estimated->lower_cents, 15);
        right_aligned(out, estimated->upper_cents, 15);
        buffer_add_string(out, (int)evaluation->used == i ? "  <\n" : "\n");
    }
    if (evaluation->has_bound) {
        buffer_add_string(out, "  no more than (Stringer) ");
        buffer_add_money(out, evaluation->bound_cents);
        buffer_add_byte(out, '\n');
    }
}

static void text_result(struct buffer *out, const struct evaluation *evaluation)
{
    if (evaluation->may_extrapolate) {
        buffer_add_string(out, "\nto take back at most: ");
        buffer_add_money(out, evaluation->estimates[evaluation->used].lower_cents);
        buffer_add_string(out, " extrapolated, or ");
        buffer_add_money(out, evaluation->over_cents);
        buffer_add_string(out, " claim by claim\n");
    } else {
        buffer_add_string(out, "\nto take back at most: ");
        buffer_add_money(out, evaluation->over_cents);
        buffer_add_string(out, " claim by claim; this sample cannot be extrapolated\n");
    }
}

static void text_notes(struct buffer *out, const struct evaluation *evaluation)
{
    for (uint32_t i = 0; i < evaluation->note_count; i++) {
        const struct evaluation_note *note = &evaluation->notes[i];
        buffer_format(out, "\n%s%s\n  ", note->name,
                      note->kind == NOTE_WARNING   ? " (warning)"
                      : note->kind == NOTE_REFUSAL ? " (so nothing is extrapolated)"
                                                   : "");
        buffer_add_wrapped(out, note->words, NOTE_INDENT, TEXT_WIDTH);
        buffer_add_byte(out, '\n');
    }
}

static void write_text(struct buffer *out, const struct sample *sample, const struct evaluation *evaluation)
{
    char confidence[DECIMAL_ROOM];

    text_counts(out, sample, evaluation);
    decimal_write(evaluation->confidence * 100, confidence);
    buffer_format(out, "frame: %u claims, ", sample->frame_count);
    buffer_add_money(out, sample->frame_cents);
    buffer_format(out, "; limits at a confidence of %s %%\n", confidence);
    text_rate(out, &evaluation->rate);
    text_money(out, evaluation);
    text_result(out, evaluation);
    text_notes(out, evaluation);
    buffer_add_string(
        out, "\nWhat may be taken back, and how it may be worked out, is for local law and the office's\n"
             "own counsel to decide.\n");
}

/* --- CSV --------------------------------------------------------------------------------------------- */

static void csv_count(struct buffer *out, const char *figure, uint64_t count)
{
    buffer_format(out, "%s,%" PRIu64 ",,,\n", figure, count);
}

static void csv_money(struct buffer *out, const char *figure, int64_t cents)
{
    buffer_format(out, "%s,", figure);
    buffer_add_money(out, cents);
    buffer_add_string(out, ",,,\n");
}

static void csv_share(struct buffer *out, int64_t millionths)
{
    char room[DECIMAL_ROOM];

    decimal_write(millionths, room);
    buffer_add_string(out, room);
}

static void csv_rate(struct buffer *out, const struct rate_found *rate)
{
    if (!rate->made)
        return;
    buffer_add_string(out, "rate,");
    csv_share(out, rate->rate);
    buffer_add_string(out, ",,");
    csv_share(out, rate->lower);
    buffer_add_byte(out, ',');
    csv_share(out, rate->upper);
    buffer_add_string(out, "\nrate_one_sided,");
    csv_share(out, rate->rate);
    buffer_add_string(out, ",,,");
    csv_share(out, rate->upper_one_sided);
    buffer_add_byte(out, '\n');
}

static void csv_estimate(struct buffer *out, const char *name, const struct estimated *estimated)
{
    const int64_t cells[] = {estimated->total_cents, estimated->error_cents, estimated->lower_cents,
                             estimated->upper_cents};

    if (!estimated->made)
        return;
    buffer_add_string(out, name);
    for (int i = 0; i < 4; i++) {
        buffer_add_byte(out, ',');
        buffer_add_money(out, cells[i]);
    }
    buffer_add_byte(out, '\n');
}

static void write_csv(struct buffer *out, const struct evaluation *evaluation)
{
    buffer_add_string(out, "figure,value,standard_error,lower,upper\n");
    csv_count(out, "drawn", evaluation->drawn);
    csv_count(out, "judged", evaluation->judged);
    csv_count(out, "upheld", evaluation->upheld);
    csv_count(out, "error", evaluation->errors);
    csv_count(out, "missing", evaluation->missing);
    csv_money(out, "found_over", evaluation->over_cents);
    csv_money(out, "found_under", evaluation->under_cents);
    csv_money(out, "found_missing", evaluation->missing_cents);
    csv_rate(out, &evaluation->rate);
    for (int i = 0; i < ESTIMATORS; i++)
        csv_estimate(out, ESTIMATOR_NAMES[i], &evaluation->estimates[i]);
    if (evaluation->has_bound) {
        buffer_add_string(out, "bound,,,,");
        buffer_add_money(out, evaluation->bound_cents);
        buffer_add_byte(out, '\n');
    }
    if (evaluation->may_extrapolate)
        csv_money(out, "take_back_extrapolated", evaluation->estimates[evaluation->used].lower_cents);
    csv_money(out, "take_back_by_claim", evaluation->over_cents);
    for (uint32_t i = 0; i < evaluation->note_count; i++)
        buffer_format(out, "%s,%s,,,\n", NOTE_KINDS[evaluation->notes[i].kind], evaluation->notes[i].name);
}

/* --- JSON -------------------------------------------------------------------------------------------- */

/* A share as a number comes out with the places it has in millionths, as amounts do. */
static json_t *json_estimate(const struct estimated *estimated)
{
    return json_pack("{s:o, s:o, s:o, s:o}", "estimate", json_money(estimated->total_cents), "standard_error",
                     json_money(estimated->error_cents), "lower", json_money(estimated->lower_cents), "upper",
                     json_money(estimated->upper_cents));
}

static json_t *json_rate(const struct rate_found *rate)
{
    return json_pack("{s:o, s:o, s:o, s:o, s:s}", "percent", json_money(round_half_away(rate->rate, 100)),
                     "lower", json_money(round_half_away(rate->lower, 100)), "upper",
                     json_money(round_half_away(rate->upper, 100)), "upper_one_sided",
                     json_money(round_half_away(rate->upper_one_sided, 100)), "by",
                     rate->exact ? "clopper-pearson" : "strata");
}

/* The collection, or NULL where something of it found no memory. */
static json_t *whole(json_t *collection, bool failed)
{
    if (!failed)
        return collection;
    json_decref(collection);
    return NULL;
}

static json_t *json_notes(const struct evaluation *evaluation)
{
    json_t *notes = json_array();
    bool failed = notes == NULL;

    for (uint32_t i = 0; i < evaluation->note_count; i++) {
        const struct evaluation_note *note = &evaluation->notes[i];
        failed |= json_array_append_new(notes, json_pack("{s:s, s:s, s:s%}", "kind", NOTE_KINDS[note->kind],
                                                         "name", note->name, "words", note->words.bytes,
                                                         note->words.length)) != 0;
    }
    return whole(notes, failed);
}

static json_t *json_estimates(const struct evaluation *evaluation)
{
    json_t *estimates = json_object();
    bool failed = estimates == NULL;

    for (int i = 0; i < ESTIMATORS; i++)
        if (evaluation->estimates[i].made)
            failed |= json_object_set_new(estimates, ESTIMATOR_NAMES[i],
                                          json_estimate(&evaluation->estimates[i])) != 0;
    return whole(estimates, failed);
}

static int write_json(struct buffer *out, const struct sample *sample, const struct evaluation *evaluation)
{
    bool bound = evaluation->has_bound, extrapolates = evaluation->may_extrapolate;
    json_t *object = json_pack(
        "{s:s%, s:o, s:i, s:o, s:i, s:i, s:i, s:i, s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:s, s:o, s:o, s:o}",
        "sample", sample->name.bytes, sample->name.length, "confidence_percent",
        json_money(round_half_away(evaluation->confidence, 100)), "frame_count", (int)sample->frame_count,
        "frame_paid", json_money(sample->frame_cents), "drawn", (int)evaluation->drawn, "judged",
        (int)evaluation->judged, "upheld", (int)evaluation->upheld, "error", (int)evaluation->errors, "missing",
        (int)evaluation->missing, "found_over", json_money(evaluation->over_cents), "found_under",
        json_money(evaluation->under_cents), "found_missing", json_money(evaluation->missing_cents), "rate",
        evaluation->rate.made ? json_rate(&evaluation->rate) : json_null(), "paid_too_much",
        json_estimates(evaluation), "bound", bound ? json_money(evaluation->bound_cents) : json_null(),
        "counts", ESTIMATOR_NAMES[evaluation->used], "take_back_extrapolated",
        extrapolates ? json_money(evaluation->estimates[evaluation->used].lower_cents) : json_null(),
        "take_back_by_claim", json_money(evaluation->over_cents), "notes", json_notes(evaluation));
    int status = object != NULL && json_dump_callback(object, add_dump, out,
                                                      JSON_COMPACT | JSON_REAL_PRECISION(MONEY_DIGITS)) == 0
                     ? WM_OK
                     : WM_NO_MEMORY;

    buffer_add_byte(out, '\n');
    json_decref(object);
    return status;
}

int write_evaluation(enum format format, const struct sample *sample, const struct evaluation *evaluation,
                     struct buffer *out)
{
    int status = WM_OK;

    if (format == FORMAT_JSON)
        status = write_json(out, sample, evaluation);
    else if (format == FORMAT_CSV)
        write_csv(out, evaluation);
    else
        write_text(out, sample, evaluation);
    return status == WM_OK && out->failed ? WM_NO_MEMORY : status;
}
