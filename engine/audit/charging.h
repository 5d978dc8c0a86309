/* charging.h - what is taken back after an audit: claim by claim, or extrapolated to the frame; and that no
 * claim is taken back twice.
 *
 * A plan is worked out first and can be looked at; recording it is another step, in the same write. Of a claim
 * no more is taken back than was found wrong on it and is still paid on it. What a sample took back before
 * counts: a second chargeback takes the difference, and gives back where a correction says so. An extrapolated
 * amount is the lower limit of the evaluation, less what was taken back of the frame in other ways since the
 * draw; the part found on the sampled claims is taken back on them, the rest on the dealer alone. From then on
 * the claims of the frame are covered: none is reversed, drawn or charged back again.
 */
#ifndef WM_AUDIT_CHARGING_H
#define WM_AUDIT_CHARGING_H

#include "audit/evaluation.h"
#include "audit/look_back.h"

struct charge_request {
    bool extrapolate;
    bool draft; /* not to be recorded: notice is not asked for */
    struct text decided_by, reason;
    int32_t decided_on;
    struct text recorded_at;
    int32_t notified_on; /* DAY_NONE: not said */
};

/* A claim of the plan, for the letter and the record. */
struct charged_claim {
    int64_t item, row;
    struct text dealer, claim;
    int64_t paid_cents, right_cents; /* at the draw; as judged */
    struct text judgement, note;
    int64_t cents;         /* taken back now; below 0: given back; 0: left out */
    struct text why;       /* how the amount came about, or why it is left out */
    int64_t payable_cents; /* of the row, for its office decision */
    bool older;            /* paid longer ago than the look-back, counted to today */
    struct audit_terms terms; /* when the work was done; of a claim that is left out they may be empty */
};

/* What one dealer is charged. */
struct charge {
    struct text dealer;
    struct audit_terms terms;
    struct charged_claim
        *claims; /* in the order of items: every one that was found wrong, or was charged before */
    uint32_t count;
    int64_t items_cents;
    int64_t beyond_cents; /* extrapolated alone */
    int64_t taken_otherwise_cents;
    uint32_t older_count;
    struct text basis;
};

struct charge_plan {
    const struct sample *sample;
    const struct evaluation *evaluation;
    struct charge_request request;
    struct charge *charges; /* in the order of dealers */
    uint32_t count;
};

/* Inside a write (or a read, for a draft). WM_BAD_INPUT, reported: what was asked for must not be done, and
 * why. */
int charge_plan_make(struct office *office, struct look_back *look_back, const struct sample *sample,
                     const struct judgement *judgements, const struct evaluation *evaluation,
                     const struct charge_request *request, struct arena *arena, struct diag_sink *sink,
                     struct charge_plan *ret_plan);

/* Appends it: a chargeback for each dealer on whom money moves. *ret_recorded of them. Inside the same write.
 */
int charge_plan_record(struct office *office, const struct charge_plan *plan, struct arena *arena,
                       uint32_t *ret_recorded);

/* The money that moves by a charge; below 0: given back. */
static inline int64_t charge_cents(const struct charge *charge)
{
    return charge->items_cents + charge->beyond_cents;
}

#endif
