/* outlier_runs.h - comparisons of dealers kept for good: who stood out, by which measure, with which numbers
 * and limits, on which day, and the words in which the dealer is told.
 *
 * A dealer that is picked because it stood out must be told why (for example N.Y. VTL section 465(4)); what is
 * told is what was recorded when it was picked. Each run is a record of its own, in a transaction of its own,
 * and an entry of the chain. A run in which nobody stood out is kept too.
 */
#ifndef WM_LEDGER_OUTLIER_RUNS_H
#define WM_LEDGER_OUTLIER_RUNS_H

#include "ledger/outliers.h"
#include "ledger/records.h"

struct outlier_request {
    struct outlier_scope scope;
    struct text recorded_by; /* not empty */
    struct text recorded_at;
    int32_t today;
};

struct outlier_result {
    int64_t run;
    uint32_t measures, flags;
};

/* Begins and ends a write. */
int office_record_outliers(struct office *office, const struct measures *measures,
                           const struct outlier_request *request, struct outlier_result *ret_result);

/* The digest of a run's record. WM_NOT_FOUND, without a report: there is no such run. */
int outlier_run_digest(struct office *office, int64_t run, uint8_t ret_digest[DIGEST_BYTES]);

/* --- Reading ---------------------------------------------------------------------------------- */

/* Texts live during the call that takes it. Rates and limits in millionths. */
struct outlier_flag {
    int64_t run, number; /* the flag is RUN/NUMBER */
    int32_t recorded_on;
    struct text recorded_by, measure, title, dealer, basis;
    bool above; /* the upper limit; else below the lower */
    struct funnel_count claims, all;
    int64_t rate, limit, phi;
};

/* run 0: every run, the last first; dealer empty: all. Inside office_begin_read. */
int ledger_outlier_flags(struct office *office, int64_t run, struct text dealer,
                         int (*take)(void *context, const struct outlier_flag *flag), void *context);

#endif
