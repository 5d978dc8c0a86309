/* date.h - calendar dates as day numbers: days since 1970-01-01 in the proleptic Gregorian calendar.
 *
 * Years 0001 to 9999, as ISO 8601 writes them without agreement. No time of day, no zone.
 */
#ifndef WM_BASE_DATE_H
#define WM_BASE_DATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

#define DATE_ROOM 12
#define DAY_NONE INT32_MIN    /* no date */

/* Whether the number is a day of the years 1 to 9999, which alone the functions below take. */
bool date_is_day(int32_t day);

/* All of t must be YYYY-MM-DD, and a day that exists. */
bool date_read(struct text t, int32_t *ret_day);

/* Writes YYYY-MM-DD and a NUL to DATE_ROOM bytes; returns 10. */
size_t date_write(int32_t day, char *room);

/* year 1..9999, month 1..12, day_of_month 1..31 must be a real date. */
int32_t date_from_civil(int year, int month, int day_of_month);
void date_to_civil(int32_t day, int *ret_year, int *ret_month, int *ret_day_of_month);

/* The machine's local date now. The only function here that looks at a clock. */
int32_t date_today(void);

#endif
