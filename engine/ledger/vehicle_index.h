/* vehicle_index.h - the packed index of the current vehicles in the office file: compared with, and brought up to date.
 *
 * All inside a write of the office.
 */
#ifndef WM_LEDGER_VEHICLE_INDEX_H
#define WM_LEDGER_VEHICLE_INDEX_H

#include <stdint.h>

#include "ledger/office.h"
#include "register/vehicle_pack.h"

/* A vehicle on its way into the office. */
struct vehicle_row {
    uint64_t hash;       /* and tail: its key, flat so that no room is lost */
    uint32_t tail;
    uint32_t profile;
    int32_t built_on;
    uint32_t line;
};

static inline struct vehicle_key vehicle_row_key(const struct vehicle_row *row)
{
    return (struct vehicle_key){row->hash, row->tail};
}

struct vehicle_index {
    unsigned bits;
    int64_t vehicles;
};

int vehicle_index_read(struct office *office, struct vehicle_index *ret_index);

/* rows ascend by key, each key once. Keeps those that are new or differ, in order, and counts. */
int vehicle_index_compare(struct office *office, const struct vehicle_index *index, struct vehicle_row *rows,
                          uint32_t *count, uint64_t *ret_new, uint64_t *ret_changed);

/* Puts rows (as above; new_rows of them are new) into the buckets, and makes more buckets where they get too full. */
int vehicle_index_put(struct office *office, const struct vehicle_index *index, const struct vehicle_row *rows,
                      uint32_t count, uint64_t new_rows);

#endif
