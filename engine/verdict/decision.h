/* decision.h - from findings to a decision with money on it (contract section 6).
 *
 * Pure arithmetic on a dossier whose facts and findings are complete.
 */
#ifndef WM_VERDICT_DECISION_H
#define WM_VERDICT_DECISION_H

#include "facts/dossier.h"

/* Turns what a valid approval covers into notes, puts the findings in order, decides, and works out payable and due.
 * Order: effect, name; within both the claim first, then items in their order, then file and row. */
int decide(struct arena *arena, struct dossier *dossier, bool with_messages);

/* What would be paid if nothing stood against it: parts + labor + other, each at most what is allowed, and at
 * most what was asked in total. Cents. */
int64_t payable_cents(const struct dossier *dossier);

/* The other amount that is payable: at most the campaign's limit. */
int64_t payable_other_cents(const struct dossier *dossier);
int64_t payable_parts_cents(const struct dossier *dossier);
int64_t payable_labor_cents(const struct dossier *dossier);

#endif
