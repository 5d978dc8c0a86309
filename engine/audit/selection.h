/* selection.h - which claims of a frame are drawn. Whole numbers alone, so that a draw is the same on every
 * machine.
 *
 * Pure functions of the generator. Places are those of the frame's claims in its order, from 0.
 */
#ifndef WM_AUDIT_SELECTION_H
#define WM_AUDIT_SELECTION_H

#include "audit/generator.h"

/* `size` of the places in `places` (count of them), each set of that size as likely as another, in the order of
 * drawing: the first so many of a shuffle (Fisher and Yates, from the front). places is left shuffled. */
void select_at_random(struct generator *generator, uint32_t *places, uint32_t count, uint32_t size);

/* By money: amounts of the interval or more are looked at for certain; through the others, laid end to end in
 * their order, goes a step of the interval from a random start, and a claim is drawn where a step falls into
 * its amount. ret_places has room for all; first come the certain ones (*ret_certain of them), then those
 * drawn. Returns how many. All amounts > 0; interval > 0. */
uint32_t select_by_money(struct generator *generator, const int64_t *amounts, uint32_t count,
                         int64_t interval_cents, uint32_t *ret_places, uint32_t *ret_certain);

#endif
