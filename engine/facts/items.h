/* items.h - the items of a claim: one for each part, operation and inspection that is claimed or expected, and the
 * sums over them (contract sections 5 and 6). Private to engine/facts, but for the sums' formulas.
 */
#ifndef WM_FACTS_ITEMS_H
#define WM_FACTS_ITEMS_H

#include "facts/establish.h"

/* Makes dossier->items and the sums. campaign, vehicle, dealer and expectation must be there. */
int establish_items(struct fact_worker *worker, struct arena *arena, struct dossier *dossier);

/* Adds the finding rules-ambiguous for a table in error for this claim (contract section 3). */
int dossier_add_ambiguity(struct arena *arena, struct dossier *dossier, const struct ambiguity *ambiguity);

/* Room for one more finding, zeroed; NULL without memory. */
struct finding *dossier_add_finding(struct arena *arena, struct dossier *dossier);

#endif
