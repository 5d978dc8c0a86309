/* vin_sieve.h - which VINs are surely not registered: for the search of the nearest VIN, which asks after hundreds, of
 * which hardly one is there.
 *
 * Buckets (vehicle_pack.h) are taken in one by one, when they are first asked for; any number of threads may take them
 * in and ask at once, without a lock. What passes may still not be there; what does not pass is not.
 */
#ifndef WM_REGISTER_VIN_SIEVE_H
#define WM_REGISTER_VIN_SIEVE_H

#include <stdatomic.h>

#include "register/vehicle_pack.h"

struct vin_sieve {
    unsigned bucket_bits;
    uint32_t bucket_count;
    _Atomic(uint64_t) *filter;       /* a bit for each value of a hash's top bits: is one there? */
    _Atomic(uint64_t) *parts;        /* a bit for each part of a VIN: has some vehicle one like it? */
    _Atomic(bool) *taken;            /* buckets that are in both */
    _Atomic(uint32_t) taken_count;   /* of all of them: parts are whole */
};

/* A bucket of 150 sets 7 % of its bits. */
enum { SIEVE_BITS = 11 };

/* WM_OK or WM_NO_MEMORY. */
int vin_sieve_open(struct vin_sieve *ret_sieve, uint32_t bucket_count, unsigned bucket_bits);
void vin_sieve_close(struct vin_sieve *sieve);

/* Whether this bucket was taken in. */
static inline bool vin_sieve_knows(const struct vin_sieve *sieve, uint32_t bucket)
{
    return atomic_load_explicit(&sieve->taken[bucket], memory_order_acquire);
}

/* Takes in a bucket of so many vehicles. Threads that do so at once write the same. */
void vin_sieve_take(struct vin_sieve *sieve, uint32_t bucket, const unsigned char *bytes, uint32_t count);

static inline uint64_t vin_sieve_place(const struct vin_sieve *sieve, uint64_t hash)
{
    return hash >> (64 - SIEVE_BITS - sieve->bucket_bits);
}

/* Says that this hash will be asked for soon. */
static inline void vin_sieve_prefetch(const struct vin_sieve *sieve, uint64_t hash)
{
    __builtin_prefetch(&sieve->filter[vin_sieve_place(sieve, hash) / 64]);
}

/* Whether a vehicle with this hash may be there, once its bucket is known. */
static inline bool vin_sieve_may_have(const struct vin_sieve *sieve, uint64_t hash)
{
    uint64_t place = vin_sieve_place(sieve, hash);

    return atomic_load_explicit(&sieve->filter[place / 64], memory_order_relaxed) >> place % 64 & 1;
}

/* Keeps the VINs, in their order, of which each part may be some vehicle's; returns how many. */
unsigned vin_sieve_keep(const struct vin_sieve *sieve, struct packed_vin *vins, unsigned count);

#endif
