/* history_source.h - answers a history's questions from the office file: what stood at a point of the ledger.
 *
 * One source serves one history. It borrows the reader's office; read inside office_begin_read or a write.
 */
#ifndef WM_LEDGER_HISTORY_SOURCE_H
#define WM_LEDGER_HISTORY_SOURCE_H

#include "ledger/recorded.h"
#include "ledger/tallies.h"

struct ledger_history;

/* tallies: what stood at the point, where the point is not now; NULL: as the office file has them. Borrowed. */
int ledger_history_open(struct office *office, struct ledger_point point, const struct tallies *tallies,
                        struct ledger_history **ret_ledger);

/* What stood at the point is what the office file has with these added (ledger/tallies_then.h). Borrowed. */
void ledger_history_set_changes(struct ledger_history *ledger, const struct tallies *changes);

/* What stood at the point is worked out for each dealer that is asked about (ledger/tallies_then.h). */
void ledger_history_look_back(struct ledger_history *ledger);

/* For history_new; lives as long as the ledger_history. NULL where nothing is recorded up to the point. */
const struct history_source *ledger_history_source(const struct ledger_history *ledger);

void ledger_history_close(struct ledger_history *ledger);    /* accepts NULL */

#endif
