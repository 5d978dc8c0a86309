/* items.h - the item lists of a claim: parts, labor and inspections (contract section 1).
 *
 * A list is `key=value` items separated by `;`. Equal items are one: quantities and hours add up, the lowest price
 * counts, of an inspection the last result. Items of nothing are left out. Items keep the order in which they
 * first appear; their texts are borrowed from the list, their keys from the arena.
 *
 * Each function returns WM_OK, WM_NO_MEMORY, or WM_BAD_INPUT where the list is none; then, and only then,
 * *ret_reason says which item, what is wrong and what to do (in the arena).
 *
 * Not here: whether the campaign has such an item.
 */
#ifndef WM_INTAKE_ITEMS_H
#define WM_INTAKE_ITEMS_H

#include "base/arena.h"
#include "base/text.h"
#include "intake/claim.h"

int items_read_parts(struct text list, struct arena *arena, struct part_item **ret_items, uint32_t *ret_count,
                     struct text *ret_reason);
int items_read_labor(struct text list, struct arena *arena, struct labor_item **ret_items, uint32_t *ret_count,
                     struct text *ret_reason);
int items_read_inspections(struct text list, struct arena *arena, struct inspection_item **ret_items,
                           uint32_t *ret_count, struct text *ret_reason);

/* The readers of record, which take every item apart in full; the functions above read plain items in one
 * walk, and must say the same. For tests. */
int items_read_parts_of_record(struct text list, struct arena *arena, struct part_item **ret_items,
                               uint32_t *ret_count, struct text *ret_reason);
int items_read_labor_of_record(struct text list, struct arena *arena, struct labor_item **ret_items,
                               uint32_t *ret_count, struct text *ret_reason);
int items_read_inspections_of_record(struct text list, struct arena *arena, struct inspection_item **ret_items,
                                     uint32_t *ret_count, struct text *ret_reason);

/* A result that is a number and, behind it, a unit or nothing: true with the number (millionths) and the unit as
 * written. A unit begins with a letter, `%`, or a character beyond ASCII such as the degree sign. */
bool items_read_reading(struct text result, int64_t *ret_reading, struct text *ret_unit);

#endif
