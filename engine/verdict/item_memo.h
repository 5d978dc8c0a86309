/* item_memo.h - one thread's memory of which check rows an expected item can hit.
 *
 * A vehicle's expectation comes again in claim after claim, and with it its items: which rows of a check hold for the
 * steady facts of such an item (table.h) is asked once, for the item claimed and not claimed. Only sets of one word
 * are kept. It goes with the expectations of the same thread, whose items are numbered, and owns its sets.
 */
#ifndef WM_VERDICT_ITEM_MEMO_H
#define WM_VERDICT_ITEM_MEMO_H

#include "facts/dossier.h"

struct item_memo {
    uint64_t *rows[SCOPES];
    uint32_t capacity[SCOPES];    /* items */
};

/* What stands for a set that is not known yet. (A set of all 64 rows looks the same, and is asked anew.) */
#define ROWS_NOT_KNOWN UINT64_MAX

/* The sets of the checks of this scope, in their order, for the item of this number: as many for it not claimed, as
 * many for it claimed, and so for each of the count items from it on. NULL where none are kept. Until the next call. */
uint64_t *item_memo_rows(struct item_memo *memo, const struct rules *rules, enum scope scope, uint32_t item,
                         uint32_t count);

void item_memo_free(struct item_memo *memo);

#endif
