/* totals.h - running totals over standing claims: VINs of a repair order, hours of a technician's day, quantities of a
 * kit by day. Private to engine/facts; history adds and takes out.
 */
#ifndef WM_FACTS_TOTALS_H
#define WM_FACTS_TOTALS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "base/chunks.h"
#include "base/text_index.h"

struct totals {
    struct arena arena;
    struct text_index index;       /* kind, dealer, what, to the number of an entry */
    struct chunks entries;
    struct buffer key;
};

void totals_open(struct totals *totals);
void totals_close(struct totals *totals);

/* Makes sure that there is an entry, and says whether the office's records were not asked about it yet; the
 * next touch says they were. */
int totals_touch_order(struct totals *totals, struct text dealer, struct text repair_order, bool *ret_new);
int totals_touch_day(struct totals *totals, struct text dealer, struct text technician, int32_t day, bool *ret_new);
int totals_touch_kit(struct totals *totals, struct text dealer, struct text kit_key, bool *ret_new);

/* claims: how many more (or, negative, fewer) claims stand for this VIN on the order. */
int totals_add_vin(struct totals *totals, struct text dealer, struct text repair_order, struct text vin, int claims);
int totals_add_hours(struct totals *totals, struct text dealer, struct text technician, int32_t day, int64_t hours);
int totals_add_kit(struct totals *totals, struct text dealer, struct text kit_key, int32_t day, int64_t quantity);

/* VINs of the order other than vin. own_vin: one claim on it is not counted (bytes NULL: none). */
uint32_t totals_other_vins(struct totals *totals, struct text dealer, struct text repair_order, struct text vin,
                           struct text own_vin);
int64_t totals_hours(struct totals *totals, struct text dealer, struct text technician, int32_t day);
/* Up to and including the day. */
int64_t totals_kits(struct totals *totals, struct text dealer, struct text kit_key, int32_t day);

#endif
