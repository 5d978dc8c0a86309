/* row_index.h - the tables that find rows (claims_by_number, claims_by_vin, claims_by_repair_order): collected
 * in memory while a batch is decided, and written in the order of the tables, which is several times as fast as
 * one by one.
 *
 * It owns copies of what it collects.
 */
#ifndef WM_LEDGER_ROW_INDEX_H
#define WM_LEDGER_ROW_INDEX_H

#include "base/arena.h"
#include "intake/claim.h"
#include "ledger/office.h"

struct index_entry;

struct index_list {
    struct index_entry *entries; /* malloc'd */
    uint32_t count, capacity;
};

struct row_index {
    struct arena arena;
    struct index_list by_number, by_vin, by_repair_order;
};

void row_index_close(struct row_index *index); /* a zeroed one is empty */

int row_index_add(struct row_index *index, const struct claim *claim, int64_t row);

int row_index_write(struct row_index *index, struct office *office);

#endif
