/* followups.h - follow-up work that a campaign's followups.csv asks for, and the later rows that supply its
 * parts.
 *
 * Recorded while a batch is posted: the work of each claim that is then pay or hold, and for each such claim
 * the earlier work on its vehicle that one of its parts serves. Whether work is open is a question of what
 * stands now (view followups_open).
 */
#ifndef WM_LEDGER_FOLLOWUPS_H
#define WM_LEDGER_FOLLOWUPS_H

#include "facts/dossier.h"
#include "ledger/office.h"
#include "ledger/records.h"

struct followup_recorder;

/* canonical: takes what is recorded into the batch's digests; borrowed. */
int followups_open(struct office *office, struct batch_canonical *canonical,
                   struct followup_recorder **ret_recorder);
void followups_close(struct followup_recorder *recorder); /* accepts NULL */

/* A decided claim that was given a row, in the order of rows. */
int followups_record(struct followup_recorder *recorder, const struct dossier *dossier);

uint64_t followups_recorded(const struct followup_recorder *recorder);

#endif
