/* followup_finder.h - follow-up work that a campaign's followups.csv asks for, and the later rows that supply its
 * parts.
 *
 * Found when a batch is posted, and again when verify decides it afresh: the work of each claim that is then pay or
 * hold, and for each such claim the earlier work on its vehicle that one of its parts serves. Whether work is open is
 * a question of what stands now (view followups_open).
 */
#ifndef WM_LEDGER_FOLLOWUP_FINDER_H
#define WM_LEDGER_FOLLOWUP_FINDER_H

#include "facts/dossier.h"
#include "ledger/office.h"
#include "ledger/records.h"

/* Takes what is found; its status, if it is not WM_OK, ends the search. */
struct followup_taker {
    void *context;
    int (*work)(void *context, const struct followup *followup);
    /* supplied_by: the row with the part; row, number: the work. */
    int (*part)(void *context, int64_t supplied_by, int64_t row, int64_t number);
};

struct followup_finder;

/* The taker is borrowed. Work on rows before that of a claim must be recorded when it is looked at. */
int followup_finder_open(struct office *office, const struct followup_taker *taker,
                         struct followup_finder **ret_finder);
void followup_finder_close(struct followup_finder *finder); /* accepts NULL */

/* A decided claim that was given a row, in the order of rows: first its parts, then its work. */
int followup_find(struct followup_finder *finder, const struct dossier *dossier);

#endif
