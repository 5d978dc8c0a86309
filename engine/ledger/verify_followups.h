/* verify_followups.h - the recorded follow-up work compared with what batches give when they are decided again.
 * Private to engine/ledger/verify*.c.
 */
#ifndef WM_LEDGER_VERIFY_FOLLOWUPS_H
#define WM_LEDGER_VERIFY_FOLLOWUPS_H

#include "facts/dossier.h"
#include "ledger/verify_parts.h"

struct verify_followups;

int verify_followups_open(struct verification *verification, struct verify_followups **ret_followups);
void verify_followups_close(struct verify_followups *followups); /* accepts NULL */

/* A row decided again, in the order of rows, each row of the office file once. A difference is a fault. */
int verify_followups_of(struct verify_followups *followups, const struct dossier *dossier, int64_t row);

#endif
