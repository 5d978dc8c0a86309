/* given.h - the tables that queries of reports may read besides the office's views, and the function stage_of:
 * worked out from the rules and the register for the time of one report (ledger/views.h says what each holds).
 *
 * A struct given owns nothing but its scratch; the tables are in the arena.
 */
#ifndef WM_REPORTS_GIVEN_H
#define WM_REPORTS_GIVEN_H

#include "ledger/guarded_query.h"
#include "reports/report.h"
#include "tables/table.h"

enum { GIVEN_BY_RULES = 4 };

struct given {
    const struct report_run *run;
    struct given_table tables[GIVEN_BY_RULES];
    uint32_t table_count;
    struct table_scratch *scratch;
    struct value *facts; /* of the vehicle at hand */
};

/* Whether a query of the report names a given table or stage_of, so that rules are needed. */
bool given_is_named(const struct report *report);

/* Makes what the report's queries name. run->rules may be NULL where nothing is named. */
int given_open(struct given *given, const struct report_run *run);
void given_close(struct given *given); /* accepts a zeroed one */

/* For struct guard_setup; context is the struct given. */
int given_stage_of(void *context, struct text campaign, struct text vin, struct value *ret_stage);

#endif
