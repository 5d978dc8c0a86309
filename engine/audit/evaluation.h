/* evaluation.h - what follows from the judgements of a sample, and how far it may be trusted.
 *
 * Statistics computes; here it is decided which figures a sample can give at all, and said in plain words what
 * each means and when it does not hold. All amounts are cents, shares are millionths; limits are rounded once,
 * the lower down and the upper up. A lower limit is never above what a careful office would take back: it is
 * the lower end of the two-sided interval, by Student's t.
 *
 * Pure: a sample and its judgements in, an evaluation out, in the arena.
 */
#ifndef WM_AUDIT_EVALUATION_H
#define WM_AUDIT_EVALUATION_H

#include "ledger/audit_records.h"

/* Fewer claims than this are no base for an interval by t: common practice, no source. */
enum { EVALUATION_LEAST_SAMPLE = 30 };
/* With fewer errors the standard error is itself hardly known, and nothing is extrapolated; under the second
 * number a warning is given. Common practice, no source; tests/unit/test_audit_simulation.c shows what happens
 * below. */
enum { EVALUATION_LEAST_ERRORS = 5, EVALUATION_FEW_ERRORS = 15 };
/* Of the estimate, in millionths: Cochran, Sampling Techniques (1977), section 2.15, n > 25 G1 squared (from
 * memory). */
enum { EVALUATION_MOST_SKEWNESS = 200000 };

enum estimator { BY_DIFFERENCE, BY_RATIO, BY_MEAN, BY_MONEY, ESTIMATORS };
extern const char *const ESTIMATOR_NAMES[ESTIMATORS]; /* difference, ratio, mean, money */

struct estimated {
    bool made;
    int64_t total_cents; /* paid too much on the whole frame */
    int64_t error_cents; /* standard error */
    int64_t lower_cents, upper_cents;
    int64_t skewness_millionths;
};

struct rate_found {
    bool made;
    bool exact;                 /* Clopper and Pearson; else weighted by strata, by t */
    int64_t rate, lower, upper; /* of wrong claims; two-sided */
    int64_t upper_one_sided;    /* that leaves out 1 - confidence at its side alone */
};

/* A REFUSAL: nothing may be extrapolated. */
enum note_kind { NOTE_MEANING, NOTE_WARNING, NOTE_REFUSAL };
extern const char *const NOTE_KINDS[];

struct evaluation_note {
    enum note_kind kind;
    const char *name; /* few-errors, skew ... */
    struct text words;
};

enum { EVALUATION_NOTES = 24 };

struct evaluation {
    int64_t confidence; /* millionths, two-sided */
    uint32_t drawn, judged;
    uint32_t upheld, errors, missing; /* judgements */
    uint32_t wrong;                   /* paid not as is right: errors and missing */
    int64_t over_cents, under_cents;  /* paid too much, and too little, on the sampled claims; both >= 0 */
    int64_t missing_cents;            /* of over_cents: because papers are missing */
    struct rate_found rate;
    struct estimated estimates[ESTIMATORS];
    bool has_bound;
    int64_t bound_cents; /* Stringer: no more is paid too much, one-sided */
    enum estimator used; /* whose lower limit counts; chosen before looking */
    bool may_extrapolate;
    struct evaluation_note notes[EVALUATION_NOTES];
    uint32_t note_count;
};

/* judgements: one for each item, from judgements_read. WM_NO_MEMORY. */
int evaluate_sample(const struct sample *sample, const struct judgement *judgements, int64_t confidence,
                    struct arena *arena, struct evaluation *ret_evaluation);

/* Whether a note of this name was made. */
const struct evaluation_note *evaluation_has(const struct evaluation *evaluation, const char *name);

#endif
