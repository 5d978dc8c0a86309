/* register_source.h - where a register gets what it does not hold: the office file, a dealer's pack, a test's arrays.
 *
 * The register never calls a source from two threads at the same time. What a source hands to a take function is
 * borrowed during that call. Each function returns a status (base/status.h); a take function's status other than
 * WM_OK must end the call and be returned. After a failure `error` says what went wrong, in words.
 */
#ifndef WM_REGISTER_REGISTER_SOURCE_H
#define WM_REGISTER_REGISTER_SOURCE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "register/register.h"

typedef int register_take_bucket(void *taker, uint32_t bucket, const void *bytes, size_t length);
typedef int register_take_profile(void *taker, uint32_t number, const struct vehicle_profile *profile);
typedef int register_take_dealer(void *taker, const struct dealer *version);
typedef int register_take_shipment(void *taker, struct text part_key, int32_t shipped_on, int64_t quantity);
typedef int register_take_approval(void *taker, const struct approval *approval);

struct register_source {
    void *context;

    /* There are 2^bucket_bits buckets (register/vehicle_pack.h); 0 to 31. */
    unsigned bucket_bits;
    /* Those of the buckets first to first + count - 1 that hold a vehicle, in any order. */
    int (*buckets)(void *context, uint32_t first, uint32_t count, register_take_bucket *take, void *taker);
    /* If not NULL, this is asked for one vehicle at a time, instead of buckets. WM_OK also where there is none. */
    int (*vehicle)(void *context, struct text vin, bool *ret_found, uint32_t *ret_profile, int32_t *ret_built_on);

    /* Profile numbers are below this. */
    uint32_t profile_limit;
    /* Those of the profiles first to first + count - 1 that there are, in any order. */
    int (*profiles)(void *context, uint32_t first, uint32_t count, register_take_profile *take, void *taker);

    /* All versions of one dealer, one for each valid_from, in any order. */
    int (*dealer)(void *context, struct text code, register_take_dealer *take, void *taker);
    /* All shipments to one dealer, in any order; shipped_on DAY_NONE: always there. */
    int (*shipments)(void *context, struct text dealer, register_take_shipment *take, void *taker);
    /* The approval of this number, or none. */
    int (*approval)(void *context, struct text number, register_take_approval *take, void *taker);

    struct text (*error)(void *context);
};

#endif
