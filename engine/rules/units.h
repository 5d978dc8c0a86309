/* units.h - units of measure, as rules/units.csv lists them, and exact comparison between them.
 *
 * A unit has a quantity ("torque") and a factor to SI with all its places. A reading in one unit is compared
 * with a condition in another as an exact fraction: reading x factor / factor, never rounded.
 */
#ifndef WM_RULES_UNITS_H
#define WM_RULES_UNITS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/text.h"

struct unit {
    struct text name;          /* as shown: "N.m" */
    struct text quantity;
    uint64_t mantissa;         /* the factor is mantissa / 10^places */
    unsigned places;
};

struct units;

/* Reads units.csv: unit,aliases,quantity,factor,source. Every error is reported. */
int units_read(struct arena *arena, struct text file, struct text csv, struct diag_sink *sink,
               struct units **ret_units);

/* By name or alias, without regard to case; NULL if there is none. */
const struct unit *units_find(const struct units *units, struct text name);

/* The reading (millionths of `from`) as a fraction in millionths of `to`. False where the quantities differ, or
 * the exact fraction does not fit. */
bool units_convert(int64_t reading, const struct unit *from, const struct unit *to, __int128 *ret_numerator,
                   __int128 *ret_denominator);

#endif
