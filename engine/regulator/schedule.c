#include "regulator/schedule.h"

#include <assert.h>

#include "regulator/calendar.h"

enum { QUARTERS_A_YEAR = 4 };

int schedule_count(const struct filing *filing)
{
    return filing->quarters + filing->annual_reports;
}

/* That day of the month after the quarter, or the month's last where it has no such day. */
static int32_t day_of_next_month(int32_t quarter, int day)
{
    int year, month, of_month;
    int32_t first = quarter_last_day(quarter) + 1;

    date_to_civil(first, &year, &month, &of_month);
    int32_t last = date_from_civil(year, month + 1, 1) - 1; /* a quarter's first month is never December */
    return first + day - 1 < last ? first + day - 1 : last;
}

int32_t schedule_due_on(const struct filing *filing, int32_t quarter)
{
    int32_t day = filing->due_day > 0 ? day_of_next_month(quarter, filing->due_day)
                  : filing->due_working_days > 0
                      ? after_business_days(quarter_last_day(quarter), filing->due_working_days)
                      : quarter_last_day(quarter) + filing->due_days;

    return filing->moves ? next_business_day(day) : day;
}

struct due_report schedule_report(const struct filing *filing, int32_t began_on, int number)
{
    assert(number >= 1 && number <= schedule_count(filing));
    bool annual = number > filing->quarters;
    int32_t after = annual ? filing->quarters + (number - filing->quarters) * QUARTERS_A_YEAR : number;
    int32_t quarter = quarter_of_day(began_on) + after - 1;

    return (struct due_report){number, annual, quarter, schedule_due_on(filing, quarter)};
}

bool schedule_report_of(const struct filing *filing, int32_t began_on, int32_t quarter,
                        struct due_report *ret_report)
{
    for (int number = 1; number <= schedule_count(filing); number++) {
        struct due_report report = schedule_report(filing, began_on, number);
        if (report.quarter == quarter) {
            *ret_report = report;
            return true;
        }
    }
    return false;
}
