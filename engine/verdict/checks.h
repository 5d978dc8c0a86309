/* checks.h - asks the office's check tables about a claim, and turns their hits into findings.
 *
 * In two steps, as facts are known in two steps: checks_early in parallel, claim by claim, for what is true of a claim
 * by itself; checks_late in file order, for what depends on other claims. Pure: rules and facts in, findings out.
 * Messages are made only where somebody will read them.
 */
#ifndef WM_VERDICT_CHECKS_H
#define WM_VERDICT_CHECKS_H

#include "facts/establish.h"
#include "verdict/item_memo.h"

/* Asks the checks that need no late fact, and notes in dossier->late_rows which rows of the others still stand.
 * memo: that of this worker's expectations; NULL where nothing is remembered. */
int checks_early(struct fact_worker *worker, struct item_memo *memo, struct arena *arena, struct dossier *dossier,
                 bool with_messages);

/* Asks the others. The late facts must be in the dossier's values. */
int checks_late(const struct rules *rules, struct table_scratch *scratch, struct arena *arena,
                struct dossier *dossier, bool with_messages);

/* The one finding of a row that cannot be read. */
int checks_unreadable(struct arena *arena, struct dossier *dossier);

#endif
