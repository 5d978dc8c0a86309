/* claim_row.h - a claim row to fill in: what a campaign expects of a vehicle, as the cells of a claim file.
 *
 * For worksheets, and for a claim that is asked for field by field. Texts are in the arena, or borrowed from
 * the rules and the register.
 */
#ifndef WM_CLI_CLAIM_ROW_H
#define WM_CLI_CLAIM_ROW_H

#include "base/buffer.h"
#include "facts/establish.h"

/* Every claim must state it. */
bool claim_row_requires(enum claim_column column);

/* The lists of parts, labor and inspections: what is required, at the prices of this day. Inspections without a
 * result: those are for who looks at the vehicle. Empty texts where nothing is; bytes NULL: no memory. */
struct text claim_row_list(const struct expectation *expectation, enum claim_column column, int32_t day,
                           struct arena *arena);

/* The amounts as cells of the arena; all three or none, and then WM_NO_MEMORY. */
int claim_row_amounts(int64_t parts_cents, int64_t labor_cents, int64_t total_cents, struct arena *arena,
                      struct text ret_cells[CLAIM_COLUMNS]);

/* What follows from the cells that are answered (answered[column]) is put into ret_cells, the others of which
 * are {NULL, 0}: model year and engine of the vehicle, parts and labor that the campaign expects, and the
 * amounts that may be asked for, as for a claim completed today where no day is answered. Nothing where the
 * cells cannot be read. */
int claim_row_expected(struct fact_worker *worker, struct arena *arena, const struct text cells[CLAIM_COLUMNS],
                       const bool answered[CLAIM_COLUMNS], struct text ret_cells[CLAIM_COLUMNS]);

/* Whether work under the campaign counts on this day, and whether it takes the vehicle in. */
bool claim_row_is_open(const struct campaign *campaign, int32_t day);
int claim_row_eligible(struct fact_worker *worker, struct arena *arena, const struct campaign *campaign,
                       struct text vin, bool *ret_eligible);

/* CSV: all columns. */
void claim_row_header(struct buffer *out);
void claim_row_write(struct buffer *out, const struct text cells[CLAIM_COLUMNS]);

#endif
