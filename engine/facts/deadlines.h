/* deadlines.h - what rules/deadlines.csv says of a dealer's region: within how many days to submit, decide, pay ...
 *
 * The one place that asks the table. What an office does about rows that contradict each other is the caller's: a claim
 * gets a finding, an audit or a report ends.
 */
#ifndef WM_FACTS_DEADLINES_H
#define WM_FACTS_DEADLINES_H

#include "rules/rules.h"

struct deadlines {
    struct table_hits hits;         /* hits.fault: the rows contradict each other, and all values are null */
    struct value values[DEADLINES]; /* null: no limit, or the table has no such column */
    struct value notice_days;       /* chargeback_notice_days, likewise */
};

/* facts: by the dictionary's slots, the region among them. hits.rows lives until the next use of the scratch. */
int deadlines_ask(const struct rules *rules, const struct value *facts, struct table_scratch *scratch,
                  struct deadlines *ret_deadlines);

/* The same of a region (empty: none), where nothing else is known. room: as many facts as the dictionary has slots; it
 * is written over. Rows that contradict each other are reported: WM_BAD_INPUT. */
int deadlines_of_region(const struct rules *rules, struct text region, struct value *room,
                        struct table_scratch *scratch, struct diag_sink *sink, struct deadlines *ret_deadlines);

/* Whole days; -1: no limit. */
int32_t deadline_days(struct value value);

#endif
