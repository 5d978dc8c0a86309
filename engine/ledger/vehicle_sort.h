/* vehicle_sort.h - millions of vehicle rows into the order of their keys, or of their VINs, by radix. */
#ifndef WM_LEDGER_VEHICLE_SORT_H
#define WM_LEDGER_VEHICLE_SORT_H

#include "ledger/vehicle_index.h"

/* By (hash, tail, line). Uses scratch of the same size; the result is in rows. */
void vehicle_sort_by_key(struct vehicle_row *rows, struct vehicle_row *scratch, uint32_t count);

/* By (hash, tail) as numbers alone, and keeps the order of equal ones: with the VIN's head in place of the hash this
 * is the order of VINs. The result is in rows. */
void vehicle_sort_by_number(struct vehicle_row *rows, struct vehicle_row *scratch, uint32_t count);

#endif
