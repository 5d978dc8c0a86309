/* vehicle_pack.h - vehicles packed for look-up: how a VIN becomes a key, which bucket it is in, what a bucket's
 * bytes are.
 *
 * This is a file format: buckets are stored in the office file. None of it may change without a new format
 * there.
 *
 * A VIN is 1 to 17 of A-Z and 0-9. Padded with blanks to 17 and read as digits in base 37 (blank 0, `0`-`9` 1
 * to 10, `A`-`Z` 11 to 36) its first 12 characters are the head (below 37^12 < 2^63), its last 5 the tail
 * (below 37^5 < 2^27). Head and tail order VINs as their characters do.
 *
 * The hash is mix(head + tail * 0x9e3779b97f4a7c15), modulo 2^64, where mix(x) is
 *     x ^= x >> 30; x *= 0xbf58476d1ce4e5b9; x ^= x >> 27; x *= 0x94d049bb133111eb; x ^= x >> 31
 * (the finalizer "variant 13" of D. Stafford, 2011). mix can be undone, so hash and tail together are the VIN
 * again: nothing is lost, and no two VINs are the same key.
 *
 * There are 2^bits buckets; the top bits of the hash are the number of the bucket. A bucket of n vehicles is n
 * hashes (8 bytes each) in ascending order of (hash, tail), then n records in the same order: tail, profile
 * number, day built (4 bytes each; the day is DAY_NONE where there is none). All little-endian, 20 bytes a
 * vehicle. As hashes are spread evenly, a hash stands about where its own value says.
 */
#ifndef WM_REGISTER_VEHICLE_PACK_H
#define WM_REGISTER_VEHICLE_PACK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

enum { VIN_LENGTH = 17, VIN_HEAD = 12, VEHICLE_BYTES = 20, VIN_SYMBOLS = 36 };

struct packed_vin {
    uint64_t head;
    uint32_t tail;
};

struct vehicle_key {
    uint64_t hash;
    uint32_t tail;
};

/* 1 to 36 for `0`-`9`, `A`-`Z`; 0 for anything else, lower case too. */
unsigned vin_symbol(char c);

/* 37 to the power of how many characters stand behind this position (0 to 16) in its half. */
uint64_t vin_place(unsigned position);

/* false: not 1 to 17 of A-Z and 0-9. */
bool vin_pack(struct text vin, struct packed_vin *ret_packed);

/* Writes the characters and a NUL; returns how many characters. */
size_t vin_unpack(struct packed_vin packed, char room[VIN_LENGTH + 1]);

struct vehicle_key vehicle_key_of(struct packed_vin packed);
struct packed_vin vehicle_key_vin(struct vehicle_key key);

/* bits: 0 to 31. */
static inline uint32_t vehicle_bucket_of(uint64_t hash, unsigned bits)
{
    return bits == 0 ? 0 : (uint32_t)(hash >> (64 - bits));
}

struct packed_vehicle {
    struct vehicle_key key;
    uint32_t profile;
    int32_t built_on;
};

/* Bytes of a bucket hold this many vehicles, or -1 if their number is not a multiple of VEHICLE_BYTES. */
int64_t vehicle_bucket_count(size_t bytes);

/* The vehicle at this place of the bucket, which must be below count. */
struct packed_vehicle vehicle_bucket_at(const unsigned char *bucket, uint32_t count, uint32_t at);

/* Its key alone. */
struct vehicle_key vehicle_bucket_key(const unsigned char *bucket, uint32_t count, uint32_t at);

/* Where the key stands; count if it is not there. Any bytes are safe to search. For one look-up; where a bucket
 * is searched often, a guide makes it faster. */
uint32_t vehicle_bucket_find(const unsigned char *bucket, uint32_t count, unsigned bits,
                             struct vehicle_key key);

/* A guide to one bucket, in memory only: where each sixteenth of the bucket's range of hashes ends. Its last
 * entry is the number of vehicles, at most 65535. */
enum { GUIDE_BITS = 4, GUIDE_ENTRIES = 1 << GUIDE_BITS, GUIDE_MOST_VEHICLES = 65535 };

void vehicle_guide_make(const unsigned char *bucket, uint32_t count, unsigned bits,
                        uint16_t guide[GUIDE_ENTRIES]);

/* As vehicle_bucket_find, and as its count where the key is not there; with the guide made from these very
 * bytes. */
uint32_t vehicle_guide_find(const unsigned char *bucket, const uint16_t guide[GUIDE_ENTRIES], unsigned bits,
                            struct vehicle_key key);

/* Asks the processor for the hashes that vehicle_guide_find will read first, and for the likely record. */
void vehicle_guide_prefetch(const unsigned char *bucket, const uint16_t guide[GUIDE_ENTRIES], unsigned bits,
                            uint64_t hash);

/* Writes count * VEHICLE_BYTES; vehicles must ascend by (hash, tail). */
void vehicle_bucket_write(unsigned char *room, const struct packed_vehicle *vehicles, uint32_t count);

/* Below 0, 0, above 0: the order inside and across buckets. */
int vehicle_key_compare(struct vehicle_key a, struct vehicle_key b);

#endif
