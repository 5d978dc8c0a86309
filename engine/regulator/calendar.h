/* calendar.h - the federal holidays of the United States (5 U.S.C. 6103) and the days on which the government
 * works.
 *
 * A holiday on a Saturday is kept on the Friday before (6103(b)), one on a Sunday on the Monday after
 * (Executive Order 11582, section 3(a)). Inauguration Day (6103(c)) is left out: it goes for the area around
 * Washington alone. Days that the President gives off by order are not foreseen. Pure functions over a table;
 * the list is an example of the law as it stood in 2021, and counsel decides.
 */
#ifndef WM_REGULATOR_CALENDAR_H
#define WM_REGULATOR_CALENDAR_H

#include <stdbool.h>
#include <stdint.h>

enum { HOLIDAYS = 11 };

/* The holiday's name by its number, 0 to HOLIDAYS - 1, in the order of the year. */
const char *holiday_name(int holiday);

/* The day that the law names, and the day on which it is kept; years from 1 to 9998. The second may lie in the
 * year before. */
int32_t holiday_day(int holiday, int year);
int32_t holiday_kept_on(int holiday, int year);

/* The number of the holiday that is kept on this day, or -1. */
int holiday_on(int32_t day);

/* No Saturday, no Sunday, and no holiday is kept on it. */
bool is_business_day(int32_t day);

/* The day itself if it is a business day, else the next one that is. */
int32_t next_business_day(int32_t day);

/* The count-th business day after this day (count 1: the first). */
int32_t after_business_days(int32_t day, int count);

#endif
