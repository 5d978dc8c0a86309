/* followups_record.h - records the follow-up work of a batch while it is posted (ledger/followup_finder.h). */
#ifndef WM_LEDGER_FOLLOWUPS_RECORD_H
#define WM_LEDGER_FOLLOWUPS_RECORD_H

#include "ledger/followup_finder.h"

struct followup_recorder;

/* canonical: takes what is recorded into the batch's digests; borrowed. */
int followups_open(struct office *office, struct batch_canonical *canonical,
                   struct followup_recorder **ret_recorder);
void followups_close(struct followup_recorder *recorder); /* accepts NULL */

/* A decided claim that was given a row, in the order of rows. */
int followups_record(struct followup_recorder *recorder, const struct dossier *dossier);

uint64_t followups_recorded(const struct followup_recorder *recorder);

#endif
