/* past.h - a recorded row decided again, as it was: under the rules that were kept with its batch, with the office data
 * as its load left it, and with what stood just before the row was recorded.
 *
 * For explanations. One past serves one row and owns all that the dossier points to. Read inside office_begin_read.
 */
#ifndef WM_LEDGER_PAST_H
#define WM_LEDGER_PAST_H

#include "facts/history.h"
#include "ledger/recorded.h"

struct past;

/* row: of the claim, from ledger_claim_read. WM_NOT_FOUND cannot happen to a row that was read. */
int past_open(struct office *office, const struct claim_row *row, struct diag_sink *sink, struct past **ret_past);
void past_close(struct past *past);    /* accepts NULL */

/* The row, decided, with messages; and what it was decided with. */
struct dossier *past_dossier(struct past *past);
const struct office_day *past_day(const struct past *past);
struct table_scratch *past_scratch(struct past *past);

#endif
