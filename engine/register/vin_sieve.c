#include "register/vin_sieve.h"

#include <stdlib.h>

#include "base/large.h"
#include "base/status.h"

enum { FILTER_WORDS = (1 << SIEVE_BITS) / 64 };

/* Which bits are whose among parts. Powers of 37, by which VINs are packed. */
enum {
    PARTS = 4,
    POWER_2 = 37 * 37,
    POWER_3 = POWER_2 * 37,
    POWER_4 = POWER_3 * 37,
    BEGINNING_BITS = 18,
    MIDDLES_AT = 1 << BEGINNING_BITS,
    THREES_AT = MIDDLES_AT + POWER_4,
    TWOS_AT = THREES_AT + POWER_3,
    PART_WORDS = (TWOS_AT + POWER_2 + 63) / 64
};

/* The places of a VIN's parts: its first eight characters, of which there are few kinds, by a hash; four, three and two
 * behind them as they are. Buckets are read from files that may be damaged: a key that is no VIN has places too. */
struct part_places {
    uint32_t at[PARTS];
};

static inline struct part_places part_places(struct packed_vin vin)
{
    uint64_t beginning = vin.head / POWER_4;

    return (struct part_places){{(uint32_t)(beginning * UINT64_C(0x9e3779b97f4a7c15) >> (64 - BEGINNING_BITS)),
                                 MIDDLES_AT + (uint32_t)(vin.head % POWER_4), THREES_AT + vin.tail / POWER_2 % POWER_3,
                                 TWOS_AT + vin.tail % POWER_2}};
}

static inline bool has_part(const struct vin_sieve *sieve, uint32_t place)
{
    return atomic_load_explicit(&sieve->parts[place / 64], memory_order_relaxed) >> place % 64 & 1;
}

static size_t filter_bytes(const struct vin_sieve *sieve)
{
    return ((size_t)sieve->bucket_count + 1) * FILTER_WORDS * sizeof *sieve->filter;
}

int vin_sieve_open(struct vin_sieve *ret_sieve, uint32_t bucket_count, unsigned bucket_bits)
{
    struct vin_sieve sieve = {.bucket_bits = bucket_bits, .bucket_count = bucket_count};

    sieve.filter = large_take(filter_bytes(&sieve));
    sieve.parts = calloc(PART_WORDS, sizeof *sieve.parts);
    sieve.taken = calloc((size_t)bucket_count + 1, sizeof *sieve.taken);
    if (sieve.filter == NULL || sieve.parts == NULL || sieve.taken == NULL) {
        vin_sieve_close(&sieve);
        return WM_NO_MEMORY;
    }
    *ret_sieve = sieve;
    return WM_OK;
}

void vin_sieve_close(struct vin_sieve *sieve)
{
    large_give_back(sieve->filter, filter_bytes(sieve));
    free(sieve->parts);
    free(sieve->taken);
    sieve->filter = sieve->parts = NULL;
    sieve->taken = NULL;
}

void vin_sieve_take(struct vin_sieve *sieve, uint32_t bucket, const unsigned char *bytes, uint32_t count)
{
    _Atomic(uint64_t) *filter = sieve->filter + (size_t)bucket * FILTER_WORDS;
    uint64_t words[FILTER_WORDS] = {0};

    for (uint32_t i = 0; i < count; i++) {
        struct vehicle_key key = vehicle_bucket_key(bytes, count, i);
        struct part_places parts = part_places(vehicle_key_vin(key));
        uint64_t place = vin_sieve_place(sieve, key.hash);
        words[place / 64 % FILTER_WORDS] |= UINT64_C(1) << place % 64;
        for (unsigned part = 0; part < PARTS; part++)
            if (!has_part(sieve, parts.at[part]))
                atomic_fetch_or_explicit(&sieve->parts[parts.at[part] / 64], UINT64_C(1) << parts.at[part] % 64,
                                         memory_order_relaxed);
    }
    for (unsigned i = 0; i < FILTER_WORDS; i++)
        atomic_store_explicit(&filter[i], words[i], memory_order_relaxed);
    if (!atomic_exchange_explicit(&sieve->taken[bucket], true, memory_order_acq_rel))
        atomic_fetch_add_explicit(&sieve->taken_count, 1, memory_order_release);
}

/* A slip of the pen mostly makes a part that nobody has, such as a letter among the digits of the running number. */
unsigned vin_sieve_keep(const struct vin_sieve *sieve, struct packed_vin *vins, unsigned count)
{
    unsigned kept = 0;

    if (atomic_load_explicit(&sieve->taken_count, memory_order_acquire) < sieve->bucket_count)
        return count;
    for (unsigned i = 0; i < count; i++) {
        struct part_places parts = part_places(vins[i]);
        bool is_known = true;
        for (unsigned part = 0; part < PARTS; part++)
            is_known &= has_part(sieve, parts.at[part]);
        vins[kept] = vins[i];
        kept += is_known;
    }
    return kept;
}
