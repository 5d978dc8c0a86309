/* completion.h - how far a campaign had got at the end of a day: vehicles involved, remedied, unreachable, as
 * they stood then, however much later one asks.
 *
 * As they stood means what was recorded by that day, inclusive: vehicles as the loads of that day or earlier
 * have them; claims of batches decided by then; office decisions and reversals by then. The vehicles involved
 * are those of that register for which the eligibility table says so, by the rules that decided the last batch
 * of that day or earlier; where there is none, or they do not know the campaign, by the rules folder at hand.
 * An office that first loaded its vehicles later has that first load stand for the time before, and the result
 * says so.
 *
 * A vehicle is remedied when a claim of this campaign on it is decided pay - by its highest revision that is -
 * and is not reversed, and its work was complete by that day. Held claims do not count: the office has not yet
 * said that the work was done. They are told beside, as are payments taken back. Each vehicle counts once; as
 * repaired if any such claim says so, else as inspected.
 */
#ifndef WM_LEDGER_COMPLETION_H
#define WM_LEDGER_COMPLETION_H

#include <stdint.h>

#include "ledger/office.h"
#include "rules/rules.h"

enum unreachable {
    UNREACHABLE_EXPORTED,
    UNREACHABLE_STOLEN,
    UNREACHABLE_SCRAPPED,
    UNREACHABLE_NOT_NOTIFIED,
    UNREACHABLE_KINDS
};

/* Vehicles. */
struct completion {
    int64_t involved;
    int64_t undecided; /* the eligibility table is in error for them; not involved */
    int64_t repaired, inspected;
    int64_t held;         /* involved and not remedied, with a claim that waits for the office */
    int64_t taken_back;   /* involved and not remedied, with a payment that was taken back */
    int64_t not_involved; /* remedied, but not among those involved; not in repaired or inspected */
    int64_t
        unreachable[UNREACHABLE_KINDS]; /* involved and not remedied, by status with status_on by that day */
    int64_t unsold, unsold_remedied;    /* of those involved */
    int32_t first_load_on;              /* vehicles were first loaded later, on this day; DAY_NONE: not so */
    int64_t rules;                      /* the recorded rules that eligibility is by; 0: those at hand */
};

/* Inside office_begin_read. WM_NOT_FOUND, without a report: neither rules know the campaign. */
int ledger_completion(struct office *office, const struct rules *rules, struct text campaign, int32_t day,
                      struct diag_sink *sink, struct completion *ret_completion);

/* --- What the office says (load notices) ------------------------------------------------------ */

/* -1 in a number: nothing was said. */
struct notice {
    int32_t quarter;
    int64_t involved, notices_sent, estimated, awaiting_repair, unreachable_other, removed, disqualified;
    struct text explanation, other_reason;
    int32_t submitted_on; /* DAY_NONE: not yet */
};

/* All notices of a campaign as they are now, by quarter, in the arena. */
int ledger_notices(struct office *office, struct text campaign, struct arena *arena,
                   struct notice **ret_notices, uint32_t *ret_count);

#endif
