/* register_parts.h - what register.c offers to the other files of this folder, and to nobody else. */
#ifndef WM_REGISTER_REGISTER_PARTS_H
#define WM_REGISTER_REGISTER_PARTS_H

#include "register/register.h"
#include "register/vehicle_pack.h"

/* What register_keep_possible takes at most: every VIN that is one slip of the pen away. */
enum { REGISTER_MOST_POSSIBLE = VIN_LENGTH * VIN_SYMBOLS + VIN_LENGTH - 1 };

/* Of these VINs keeps, in their order, those that may be registered; most that are not, go. Cheap where buckets are
 * loaded, and asks the processor for what register_has_packed will read. */
int register_keep_possible(struct office_register *reg, struct packed_vin *vins, unsigned *count);

/* Is this VIN registered? */
int register_has_packed(struct office_register *reg, struct packed_vin packed, bool *ret_found);

#endif
