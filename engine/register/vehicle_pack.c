#include "register/vehicle_pack.h"

#include <endian.h>
#include <string.h>

static const uint64_t TAIL_STEP = UINT64_C(0x9e3779b97f4a7c15);

static const unsigned char SYMBOLS[256] = {
    ['0'] = 1,  ['1'] = 2,  ['2'] = 3,  ['3'] = 4,  ['4'] = 5,  ['5'] = 6,  ['6'] = 7,  ['7'] = 8,  ['8'] = 9,
    ['9'] = 10, ['A'] = 11, ['B'] = 12, ['C'] = 13, ['D'] = 14, ['E'] = 15, ['F'] = 16, ['G'] = 17, ['H'] = 18,
    ['I'] = 19, ['J'] = 20, ['K'] = 21, ['L'] = 22, ['M'] = 23, ['N'] = 24, ['O'] = 25, ['P'] = 26, ['Q'] = 27,
    ['R'] = 28, ['S'] = 29, ['T'] = 30, ['U'] = 31, ['V'] = 32, ['W'] = 33, ['X'] = 34, ['Y'] = 35, ['Z'] = 36,
};

unsigned vin_symbol(char c)
{
    return SYMBOLS[(unsigned char)c];
}

uint64_t vin_place(unsigned position)
{
    unsigned behind = position < VIN_HEAD ? VIN_HEAD - 1 - position : VIN_LENGTH - 1 - position;
    uint64_t power = 1;

    while (behind-- > 0)
        power *= VIN_SYMBOLS + 1;
    return power;
}

bool vin_pack(struct text vin, struct packed_vin *ret_packed)
{
    char padded[VIN_LENGTH] = {0};
    const char *characters = vin.bytes;
    struct packed_vin packed = {0, 0};
    size_t blanks = 0;

    if (vin.length < 1 || vin.length > VIN_LENGTH)
        return false;
    if (vin.length < VIN_LENGTH)
        characters = memcpy(padded, vin.bytes, vin.length);
    for (unsigned i = 0; i < VIN_HEAD; i++) {
        unsigned symbol = SYMBOLS[(unsigned char)characters[i]];
        packed.head = packed.head * (VIN_SYMBOLS + 1) + symbol;
        blanks += symbol == 0;
    }
    for (unsigned i = VIN_HEAD; i < VIN_LENGTH; i++) {
        unsigned symbol = SYMBOLS[(unsigned char)characters[i]];
        packed.tail = packed.tail * (VIN_SYMBOLS + 1) + symbol;
        blanks += symbol == 0;
    }
    if (blanks != VIN_LENGTH - vin.length)
        return false;
    *ret_packed = packed;
    return true;
}

size_t vin_unpack(struct packed_vin packed, char room[VIN_LENGTH + 1])
{
    static const char characters[] = " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
    size_t length = VIN_LENGTH;

    for (unsigned i = VIN_LENGTH; i-- > VIN_HEAD; packed.tail /= VIN_SYMBOLS + 1)
        room[i] = characters[packed.tail % (VIN_SYMBOLS + 1)];
    for (unsigned i = VIN_HEAD; i-- > 0; packed.head /= VIN_SYMBOLS + 1)
        room[i] = characters[packed.head % (VIN_SYMBOLS + 1)];
    while (length > 0 && room[length - 1] == ' ')
        length--;
    room[length] = '\0';
    return length;
}

static uint64_t mix(uint64_t x)
{
    x = (x ^ x >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
    x = (x ^ x >> 27) * UINT64_C(0x94d049bb133111eb);
    return x ^ x >> 31;
}

/* The two factors are the inverses of mix's modulo 2^64. */
static uint64_t unmix(uint64_t x)
{
    x = (x ^ x >> 31 ^ x >> 62) * UINT64_C(0x319642b2d24d8ec3);
    x = (x ^ x >> 27 ^ x >> 54) * UINT64_C(0x96de1b173f119089);
    return x ^ x >> 30 ^ x >> 60;
}

struct vehicle_key vehicle_key_of(struct packed_vin packed)
{
    return (struct vehicle_key){mix(packed.head + packed.tail * TAIL_STEP), packed.tail};
}

struct packed_vin vehicle_key_vin(struct vehicle_key key)
{
    return (struct packed_vin){unmix(key.hash) - key.tail * TAIL_STEP, key.tail};
}

int vehicle_key_compare(struct vehicle_key a, struct vehicle_key b)
{
    if (a.hash != b.hash)
        return a.hash < b.hash ? -1 : 1;
    return (a.tail > b.tail) - (a.tail < b.tail);
}

int64_t vehicle_bucket_count(size_t bytes)
{
    return bytes % VEHICLE_BYTES == 0 ? (int64_t)(bytes / VEHICLE_BYTES) : -1;
}

static inline uint64_t read_8(const unsigned char *from)
{
    uint64_t whole;

    memcpy(&whole, from, sizeof whole);
    return le64toh(whole);
}

static inline uint32_t read_4(const unsigned char *from)
{
    uint32_t whole;

    memcpy(&whole, from, sizeof whole);
    return le32toh(whole);
}

static inline void write_8(unsigned char *to, uint64_t whole)
{
    whole = htole64(whole);
    memcpy(to, &whole, sizeof whole);
}

static inline void write_4(unsigned char *to, uint32_t whole)
{
    whole = htole32(whole);
    memcpy(to, &whole, sizeof whole);
}

static inline const unsigned char *record_at(const unsigned char *bucket, uint32_t count, uint32_t at)
{
    return bucket + (size_t)count * 8 + (size_t)at * 12;
}

struct packed_vehicle vehicle_bucket_at(const unsigned char *bucket, uint32_t count, uint32_t at)
{
    const unsigned char *record = record_at(bucket, count, at);

    return (struct packed_vehicle){{read_8(bucket + (size_t)at * 8), read_4(record)}, read_4(record + 4),
                                   (int32_t)read_4(record + 8)};
}

struct vehicle_key vehicle_bucket_key(const unsigned char *bucket, uint32_t count, uint32_t at)
{
    return (struct vehicle_key){read_8(bucket + (size_t)at * 8), read_4(record_at(bucket, count, at))};
}

/* The record of this key among those with its hash; the first of these stands at `at`, if there is one. */
static inline uint32_t find_tail(const unsigned char *bucket, uint32_t count, uint32_t at, struct vehicle_key key)
{
    for (; at < count && read_8(bucket + (size_t)at * 8) == key.hash; at++)
        if (read_4(record_at(bucket, count, at)) == key.tail)
            return at;
    return count;
}

uint32_t vehicle_bucket_find(const unsigned char *bucket, uint32_t count, unsigned bits, struct vehicle_key key)
{
    uint32_t at = (uint32_t)((key.hash << bits >> 32) * count >> 32);

    while (at > 0 && read_8(bucket + (size_t)(at - 1) * 8) >= key.hash)
        at--;
    while (at < count && read_8(bucket + (size_t)at * 8) < key.hash)
        at++;
    return find_tail(bucket, count, at, key);
}

void vehicle_guide_make(const unsigned char *bucket, uint32_t count, unsigned bits, uint16_t guide[GUIDE_ENTRIES])
{
    uint32_t at = 0;

    for (unsigned part = 0; part < GUIDE_ENTRIES - 1; part++) {
        while (at < count && read_8(bucket + (size_t)at * 8) << bits >> (64 - GUIDE_BITS) <= part)
            at++;
        guide[part] = (uint16_t)at;
    }
    guide[GUIDE_ENTRIES - 1] = (uint16_t)count;
}

/* Where a hash would stand if those of its sixteenth were spread quite evenly; at most the number of vehicles. */
static inline uint32_t guided_place(const uint16_t *guide, unsigned bits, uint64_t hash)
{
    uint32_t part = (uint32_t)(hash << bits >> (64 - GUIDE_BITS));
    uint32_t from = guide[(part - 1) & (GUIDE_ENTRIES - 1)], to = guide[part];

    from = part == 0 ? 0 : from;
    return from + (uint32_t)((hash << (bits + GUIDE_BITS) >> 32) * (to - from) >> 32);
}

enum { WINDOW = 8 };    /* hashes looked at without a branch: the place is missed by more than 4 once in a hundred */

static inline uint32_t window_at(uint32_t place, uint32_t count)
{
    uint32_t from = place > WINDOW / 2 ? place - WINDOW / 2 : 0;

    return from + WINDOW <= count ? from : count - WINDOW;
}

void vehicle_guide_prefetch(const unsigned char *bucket, const uint16_t guide[GUIDE_ENTRIES], unsigned bits,
                            uint64_t hash)
{
    uint32_t count = guide[GUIDE_ENTRIES - 1], place = guided_place(guide, bits, hash);

    if (count < WINDOW)
        return;
    const unsigned char *window = bucket + (size_t)window_at(place, count) * 8;
    __builtin_prefetch(window);
    __builtin_prefetch(window + WINDOW * 8 - 1);
    __builtin_prefetch(record_at(bucket, count, place));
}

uint32_t vehicle_guide_find(const unsigned char *bucket, const uint16_t guide[GUIDE_ENTRIES], unsigned bits,
                            struct vehicle_key key)
{
    uint32_t count = guide[GUIDE_ENTRIES - 1], below = 0;

    if (count < WINDOW)
        return vehicle_bucket_find(bucket, count, bits, key);
    uint32_t from = window_at(guided_place(guide, bits, key.hash), count);
    const unsigned char *window = bucket + (size_t)from * 8;
    for (unsigned i = 0; i < WINDOW; i++)
        below += read_8(window + (size_t)i * 8) < key.hash;
    if ((below == 0 && from > 0) || (below == WINDOW && from + WINDOW < count))
        return vehicle_bucket_find(bucket, count, bits, key);
    return find_tail(bucket, count, from + below, key);
}

void vehicle_bucket_write(unsigned char *room, const struct packed_vehicle *vehicles, uint32_t count)
{
    for (uint32_t i = 0; i < count; i++) {
        unsigned char *record = room + (size_t)count * 8 + (size_t)i * 12;
        write_8(room + (size_t)i * 8, vehicles[i].key.hash);
        write_4(record, vehicles[i].key.tail);
        write_4(record + 4, vehicles[i].profile);
        write_4(record + 8, (uint32_t)vehicles[i].built_on);
    }
}
