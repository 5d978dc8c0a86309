/* quarter.h - calendar quarters, as 2026-Q1.
 *
 * A quarter is a number: 4 for each year from year 0, plus 0 to 3, so that the next one is one more.
 */
#ifndef WM_BASE_QUARTER_H
#define WM_BASE_QUARTER_H

#include <stdbool.h>
#include <stdint.h>

#include "base/date.h"
#include "base/text.h"

#define QUARTER_ROOM 12

/* All of t must be YYYY-QN, with a year from 0001 and N from 1 to 4. */
bool quarter_read(struct text t, int32_t *ret_quarter);

/* Writes YYYY-QN and a NUL to QUARTER_ROOM bytes; returns 7. */
size_t quarter_write(int32_t quarter, char *room);

int32_t quarter_of_day(int32_t day);
int32_t quarter_first_day(int32_t quarter);
int32_t quarter_last_day(int32_t quarter);
int quarter_year(int32_t quarter);
int quarter_of_year(int32_t quarter); /* 1 to 4 */

#endif
