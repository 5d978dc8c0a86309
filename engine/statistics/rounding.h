/* rounding.h - where floating point begins and ends.
 *
 * The other stages know shares as millionths and money as cents, both whole; statistics computes with doubles.
 * These functions are the only way from one to the other, each rounds once, and its name says which way. A
 * result that is no number, or beyond the range, becomes the nearest end of the range (no number: 0).
 */
#ifndef WM_STATISTICS_ROUNDING_H
#define WM_STATISTICS_ROUNDING_H

#include <stdint.h>

/* 50000 is 0.05. */
double share_of(int64_t millionths);

/* A share as millionths, rounded to the nearest, down, up. */
int64_t millionths_near(double share);
int64_t millionths_down(double share);
int64_t millionths_up(double share);

/* An amount in cents, rounded to the nearest whole cent, down, up. */
int64_t cents_near(double cents);
int64_t cents_down(double cents);
int64_t cents_up(double cents);

#endif
