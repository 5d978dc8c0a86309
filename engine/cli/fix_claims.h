/* fix_claims.h - a copy of a claim file in which all that is certain is corrected, and a list of what was
 * changed.
 *
 * Certain is what means the same and is only spelled otherwise: blanks around a cell, the case of a VIN, an
 * outcome or a unit, a campaign or dealer whose code differs in case alone, part numbers, operations and
 * inspections as the campaign spells them, units as the rules spell them, an amount with a decimal comma. A VIN
 * is corrected only where that is asked for and one registered VIN alone is one slip away: which vehicle stands
 * there, no program sees.
 *
 * Rows in which nothing changes, and rows that cannot be cut into cells, are copied to the byte.
 */
#ifndef WM_CLI_FIX_CLAIMS_H
#define WM_CLI_FIX_CLAIMS_H

#include "base/csv.h"
#include "base/file.h"
#include "cli/desk.h"
#include "cli/language.h"

/* What is said of each change, and at the end, goes to words. */
struct fixing {
    struct desk *desk;
    const struct language *language;
    bool fix_vin;
    struct buffer *words;
    uint64_t changes, rows_changed, rows;
};

/* Copies the source to output. WM_BAD_INPUT where the file cannot be used as a claim file; reported. */
int fix_claims(struct fixing *fixing, const struct csv_source *source, struct output *output);

#endif
