/* dealer_lists.h - what the office has of all its dealers, for lists: their regions, and the parts that were
 * shipped to them and claimed by them.
 */
#ifndef WM_LEDGER_DEALER_LISTS_H
#define WM_LEDGER_DEALER_LISTS_H

#include <stdint.h>

#include "base/text.h"
#include "ledger/office.h"

/* Borrowed during the call. */
typedef int region_take(void *taker, struct text region);

/* Every region that some version of a dealer has, each once, in order. Inside office_begin_read. */
int ledger_regions(struct office *office, region_take *take, void *taker);

struct dealer_part {
    struct text dealer, part_key;
    struct text part;         /* as a shipment writes it; empty: none was shipped */
    int64_t shipped, claimed; /* millionths of a piece; claimed on standing claims */
    int32_t last_shipped_on;  /* DAY_NONE: none, or no day */
    int32_t last_claimed_on;  /* DAY_NONE: none; of completion */
};

typedef int dealer_part_take(void *taker, const struct dealer_part *part);

/* For each dealer those of the parts that were shipped to him or claimed by him: every part that was ever
 * shipped, and those of the keys (as parts compare). In the order of dealers. Inside office_begin_read. */
int ledger_dealer_parts(struct office *office, const struct text *keys, uint32_t key_count,
                        dealer_part_take *take, void *taker);

#endif
