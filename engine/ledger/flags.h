/* flags.h - recorded claims that something was found on, as they are decided now, picked by dealer, campaign,
 * finding ...
 *
 * One claim is one row of the view claims_now with its findings. It reads only what the filters need: with a
 * dealer or a VIN, that one's claims. Of each claim that may fit it keeps a few bytes.
 */
#ifndef WM_LEDGER_FLAGS_H
#define WM_LEDGER_FLAGS_H

#include "ledger/recorded.h"
#include "ledger/records.h"

enum flag_order { FLAGS_BY_DATE, FLAGS_BY_PAYABLE, FLAGS_BY_DEALER };

/* Empty texts and DAY_NONE: any. */
struct flag_filter {
    struct text dealer, campaign, vin, finding, effect, decision;
    int32_t since, until;  /* of receipt, both days inclusive */
    enum flag_order order; /* of receipt; the most payable first; dealer and claim */
    int64_t limit;         /* -1: all */
};

/* Borrowed during the call. */
struct flagged_claim {
    int64_t row, batch, line, revision;
    struct text dealer, claim, campaign, vin, outcome;
    int32_t completed_on, received_on;
    struct text decision, engine_decision;
    int64_t asked_cents, payable_cents; /* payable: of the decision; for hold what would be paid */
    const struct row_finding *findings; /* those that fit the filter */
    uint32_t finding_count;
};

typedef int flag_take(void *taker, const struct flagged_claim *claim);

/* Inside office_begin_read. A status of take other than WM_OK ends it and is returned. */
int ledger_flags(struct office *office, const struct flag_filter *filter, flag_take *take, void *taker);

#endif
