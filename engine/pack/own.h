/* own.h - the dealer's own part of a pack: rates, shipments, approvals, and his claims as the office has them.
 *
 * Nothing of another dealer is in it. Where the dealer has a standing claim on a vehicle, it also says what
 * other dealers completed on that vehicle (campaign and outcome, and whether that was recorded before or after
 * the dealer's own), because the vehicles' part does not tell whose a completion is.
 *
 * own_write and own_read are each other's inverse (a part of the file format, sealed.h). Places number the
 * dealer's standing claims in the order of recording, from 1: the office's own numbers would tell how many
 * claims others sent in between.
 */
#ifndef WM_PACK_OWN_H
#define WM_PACK_OWN_H

#include "base/arena.h"
#include "base/buffer.h"
#include "facts/history.h"
#include "register/register.h"

struct own_shipment {
    struct text part_key;
    int32_t shipped_on;
    int64_t quantity; /* millionths */
};

struct own_claim {
    struct recorded_claim recorded;          /* without revisions; standing.recorded is its place */
    uint32_t next_on_vehicle, next_on_order; /* of the own_part, made by own_read; OWN_NONE: the last */
};

/* What another dealer completed on a vehicle on which the dealer has a claim. */
struct own_other {
    struct text vin, campaign;
    enum outcome outcome;
    uint32_t after; /* the place of the dealer's claim of this campaign on this vehicle before it; 0: none */
};

#define OWN_NONE UINT32_MAX

struct own_part {
    struct dealer *versions;
    struct own_shipment *shipments;
    struct approval *approvals;
    struct own_claim *claims;
    struct own_other *others;
    uint32_t version_count, shipment_count, approval_count, claim_count, other_count;
    struct text_index by_claim, by_vehicle, by_order; /* by_vehicle, by_order: some claim that stands there */
};

void own_write(struct buffer *out, const struct own_part *own);

/* Texts are borrowed from bytes, arrays are in the arena. WM_BAD_INPUT: the bytes are no such part.
 * own_part_free in any case. */
int own_read(struct arena *arena, struct text bytes, struct own_part *ret_own);
void own_part_free(struct own_part *own);

#endif
