/* schedule.h - the reports that a campaign owes the regulator: which periods, due on which days.
 *
 * Pure: a filing (rules/filings.csv, whose figures are examples that counsel decides on) and the day on which
 * notification began in, dates out. A quarterly report covers all that was done up to its quarter's end; the
 * first is that of the quarter in which notification began. Annual reports follow: each ends four quarters
 * behind the report before it. Nothing names the day on which an annual report is due; here it is due as the
 * report of its last quarter would be.
 */
#ifndef WM_REGULATOR_SCHEDULE_H
#define WM_REGULATOR_SCHEDULE_H

#include "base/quarter.h"
#include "rules/filings.h"

struct due_report {
    int number; /* from 1, annual ones counted on */
    bool annual;
    int32_t quarter; /* the last that it covers */
    int32_t due_on;
};

/* How many reports there are in all. */
int schedule_count(const struct filing *filing);

/* The report of this number, 1 to schedule_count. */
struct due_report schedule_report(const struct filing *filing, int32_t began_on, int number);

/* The report that ends with this quarter; false: there is none. */
bool schedule_report_of(const struct filing *filing, int32_t began_on, int32_t quarter,
                        struct due_report *ret_report);

/* The day on which a report on the time up to the quarter's end is due. */
int32_t schedule_due_on(const struct filing *filing, int32_t quarter);

#endif
