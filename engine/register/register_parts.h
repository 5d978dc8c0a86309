/* register_parts.h - what register.c offers to the other files of this folder, and to nobody else. */
#ifndef WM_REGISTER_REGISTER_PARTS_H
#define WM_REGISTER_REGISTER_PARTS_H

#include "register/register.h"
#include "register/vehicle_pack.h"

/* Asks the processor for what register_may_have_packed will read, some look-ups ahead of it. */
void register_may_have_prefetch(const struct office_register *reg, struct packed_vin packed);

/* May this VIN be registered? false: it is not. Cheap where buckets are loaded, and asks the processor for what
 * register_has_packed will read. */
int register_may_have_packed(struct office_register *reg, struct packed_vin packed, bool *ret_may);

/* Is this VIN registered? */
int register_has_packed(struct office_register *reg, struct packed_vin packed, bool *ret_found);

#endif
