#include "register/register.h"

#include <assert.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>

#include "base/large.h"
#include "base/status.h"
#include "base/text_index.h"
#include "register/lazy_index.h"
#include "register/register_parts.h"
#include "register/register_source.h"
#include "register/vehicle_pack.h"
#include "register/vin_sieve.h"

enum {
    PROFILE_GROUP = 64,    /* profiles asked for at a time: a claim needs one, a night's batch nearly all */
    BUCKET_GROUP = 64,     /* buckets asked for at a time once many are needed */
    FEW_BUCKETS = 16,      /* one bucket at a time until one in this many is loaded */
    PIECE_BYTES = 4 * LARGE_BYTES
};

struct profile_group {
    struct vehicle_profile profiles[PROFILE_GROUP];
    bool known[PROFILE_GROUP];
};

/* Where buckets are kept once many are needed. */
struct piece {
    struct piece *next;
};

struct office_register {
    struct register_source *source;
    pthread_mutex_t lock;      /* for everything that is not loaded yet, and for calling the source */
    struct arena arena;        /* under the lock */
    struct text error;         /* under the lock */

    uint32_t bucket_count, buckets_loaded;               /* buckets_loaded: under the lock */
    _Atomic(const unsigned char *) *buckets;             /* NULL: not loaded */
    uint16_t (*guides)[GUIDE_ENTRIES];                   /* written before the bucket is published */
    struct vin_sieve sieve;                              /* in use from when it is first asked: most runs never do */
    unsigned char *room;                                 /* under the lock: what is left of a piece */
    size_t room_left;
    struct piece *pieces;
    struct text_index word_index;                        /* under the lock: the words of profiles, each kept once */
    struct text *words;
    uint32_t word_capacity;
    uint32_t profile_group_count;
    _Atomic(const struct profile_group *) *profile_groups;
    struct lazy_index dealers;                           /* records: struct dealer_file */
    struct lazy_index approvals;                         /* records: struct approval, NULL: there is none */
};

static const unsigned char NO_VEHICLES[1];

int register_open(struct register_source *source, struct office_register **ret_register)
{
    struct office_register *opened = calloc(1, sizeof *opened);

    if (opened == NULL)
        return WM_NO_MEMORY;
    assert(source->bucket_bits < 32);
    opened->source = source;
    opened->bucket_count = source->vehicle != NULL ? 0 : UINT32_C(1) << source->bucket_bits;
    opened->profile_group_count = source->profile_limit / PROFILE_GROUP + (source->profile_limit % PROFILE_GROUP != 0);
    opened->buckets = calloc((size_t)opened->bucket_count + 1, sizeof *opened->buckets);
    opened->guides = calloc((size_t)opened->bucket_count + 1, sizeof *opened->guides);
    bool has_sieve = vin_sieve_open(&opened->sieve, opened->bucket_count, source->bucket_bits) == WM_OK;
    opened->profile_groups = calloc((size_t)opened->profile_group_count + 1, sizeof *opened->profile_groups);
    if (opened->buckets == NULL || opened->guides == NULL || !has_sieve || opened->profile_groups == NULL ||
        pthread_mutex_init(&opened->lock, NULL) != 0) {
        free(opened->buckets);
        free(opened->guides);
        vin_sieve_close(&opened->sieve);
        free(opened->profile_groups);
        free(opened);
        return WM_NO_MEMORY;
    }
    *ret_register = opened;
    return WM_OK;
}

void register_close(struct office_register *office_register)
{
    if (office_register == NULL)
        return;
    lazy_index_free(&office_register->dealers);
    lazy_index_free(&office_register->approvals);
    free(office_register->buckets);
    free(office_register->guides);
    vin_sieve_close(&office_register->sieve);
    free(office_register->profile_groups);
    free(office_register->words);
    text_index_free(&office_register->word_index);
    arena_free(&office_register->arena);
    while (office_register->pieces != NULL) {
        struct piece *next = office_register->pieces->next;
        large_give_back(office_register->pieces, PIECE_BYTES);
        office_register->pieces = next;
    }
    pthread_mutex_destroy(&office_register->lock);
    free(office_register);
}

struct text register_error(struct office_register *office_register)
{
    pthread_mutex_lock(&office_register->lock);
    struct text error = office_register->error;
    pthread_mutex_unlock(&office_register->lock);
    return error;
}

/* Keeps what the source says; returns status. Under the lock. */
static int failed(struct office_register *reg, int status)
{
    struct text error = status == WM_NO_MEMORY ? TEXT("out of memory") : reg->source->error(reg->source->context);

    if (text_equal(error, reg->error))
        return status;
    error = text_copy(&reg->arena, error);
    reg->error = error.bytes ? error : TEXT("out of memory");
    return status;
}

static int failed_with(struct office_register *reg, const char *words)
{
    reg->error = text_of(words);
    return WM_IO;
}

/* ---- vehicles ---- */

static bool many_buckets(const struct office_register *reg)
{
    return reg->buckets_loaded > reg->bucket_count / FEW_BUCKETS;
}

/* Room for a bucket's bytes. Under the lock. */
static unsigned char *bucket_room(struct office_register *reg, size_t length)
{
    size_t needed = (length + 15) / 16 * 16;

    static_assert(GUIDE_MOST_VEHICLES * VEHICLE_BYTES < PIECE_BYTES / 2, "a piece has room for any bucket");
    if (!many_buckets(reg))
        return arena_bytes(&reg->arena, length);
    if (needed > reg->room_left) {
        struct piece *piece = large_take(PIECE_BYTES);
        if (piece == NULL)
            return NULL;
        piece->next = reg->pieces;
        reg->pieces = piece;
        reg->room = (unsigned char *)piece + 64;
        reg->room_left = PIECE_BYTES - 64;
    }
    unsigned char *room = reg->room;
    reg->room += needed;
    reg->room_left -= needed;
    return room;
}

static int take_bucket(void *taker, uint32_t bucket, const void *bytes, size_t length)
{
    struct office_register *reg = taker;
    int64_t count = vehicle_bucket_count(length);

    if (bucket >= reg->bucket_count || count < 0 || count > GUIDE_MOST_VEHICLES)
        return WM_BAD_INPUT;
    if (atomic_load_explicit(&reg->buckets[bucket], memory_order_relaxed) != NULL)
        return WM_OK;
    unsigned char *kept = bucket_room(reg, length);
    if (kept == NULL)
        return WM_NO_MEMORY;
    memcpy(kept, bytes, length);
    vehicle_guide_make(kept, (uint32_t)count, reg->source->bucket_bits, reg->guides[bucket]);
    atomic_store_explicit(&reg->buckets[bucket], kept, memory_order_release);
    reg->buckets_loaded++;
    return WM_OK;
}

/* Loads this bucket, or the group it is in. Under the lock. */
static int load_buckets(struct office_register *reg, uint32_t bucket)
{
    uint32_t first = bucket, count = 1;

    if (many_buckets(reg)) {
        first = bucket / BUCKET_GROUP * BUCKET_GROUP;
        count = reg->bucket_count - first < BUCKET_GROUP ? reg->bucket_count - first : BUCKET_GROUP;
    }
    int status = reg->source->buckets(reg->source->context, first, count, take_bucket, reg);
    if (status == WM_BAD_INPUT)
        return failed_with(reg, "the index of vehicles is damaged; restore the office file from a copy");
    if (status != WM_OK)
        return failed(reg, status);
    for (uint32_t i = first; i < first + count; i++) {
        if (atomic_load_explicit(&reg->buckets[i], memory_order_relaxed) == NULL) {
            atomic_store_explicit(&reg->buckets[i], NO_VEHICLES, memory_order_release);
            reg->buckets_loaded++;
        }
    }
    return WM_OK;
}

static int bucket_ready(struct office_register *reg, uint32_t bucket, const unsigned char **ret_bytes)
{
    const unsigned char *bytes = atomic_load_explicit(&reg->buckets[bucket], memory_order_acquire);
    int status = WM_OK;

    if (bytes == NULL) {
        pthread_mutex_lock(&reg->lock);
        bytes = atomic_load_explicit(&reg->buckets[bucket], memory_order_relaxed);
        if (bytes == NULL) {
            status = load_buckets(reg, bucket);
            bytes = atomic_load_explicit(&reg->buckets[bucket], memory_order_relaxed);
        }
        pthread_mutex_unlock(&reg->lock);
    }
    if (status == WM_OK)
        *ret_bytes = bytes;
    return status;
}

struct group_taker {
    struct office_register *reg;
    struct profile_group *group;
    uint32_t first;
};

/* Profiles are many and their words few, and dealers are sent the same parts: kept once, words stay in the cache.
 * bytes NULL: no memory. Under the lock. */
static struct text kept_word(struct office_register *reg, struct text word)
{
    const struct text none = {NULL, 0};
    uint32_t count = reg->word_index.count, number = text_index_find(&reg->word_index, word);

    if (number != TEXT_INDEX_NONE)
        return reg->words[number];
    if (count == reg->word_capacity) {
        uint32_t capacity = count ? count * 2 : 64;
        struct text *grown = realloc(reg->words, capacity * sizeof *grown);
        if (grown == NULL)
            return none;
        reg->words = grown;
        reg->word_capacity = capacity;
    }
    struct text copy = text_copy(&reg->arena, word);
    if (copy.bytes == NULL || text_index_add(&reg->word_index, copy, count) == TEXT_INDEX_NONE)
        return none;
    reg->words[count] = copy;
    return copy;
}

static int take_profile(void *taker, uint32_t number, const struct vehicle_profile *profile)
{
    struct group_taker *into = taker;
    struct office_register *reg = into->reg;

    if (number < into->first || number - into->first >= PROFILE_GROUP)
        return WM_BAD_INPUT;
    struct vehicle_profile *kept = &into->group->profiles[number - into->first];
    *kept = *profile;
    kept->model_line = kept_word(reg, profile->model_line);
    kept->engine = kept_word(reg, profile->engine);
    kept->transmission = kept_word(reg, profile->transmission);
    kept->plant = kept_word(reg, profile->plant);
    kept->options = kept_word(reg, profile->options);
    kept->status = kept_word(reg, profile->status);
    if (kept->model_line.bytes == NULL || kept->engine.bytes == NULL || kept->transmission.bytes == NULL ||
        kept->plant.bytes == NULL || kept->options.bytes == NULL || kept->status.bytes == NULL)
        return WM_NO_MEMORY;
    into->group->known[number - into->first] = true;
    return WM_OK;
}

/* Under the lock. */
static int load_profiles(struct office_register *reg, uint32_t group)
{
    struct group_taker into = {reg, ARENA_NEW(&reg->arena, struct profile_group), group * PROFILE_GROUP};

    if (into.group == NULL)
        return failed(reg, WM_NO_MEMORY);
    int status = reg->source->profiles(reg->source->context, into.first, PROFILE_GROUP, take_profile, &into);
    if (status != WM_OK)
        return failed(reg, status);
    atomic_store_explicit(&reg->profile_groups[group], into.group, memory_order_release);
    return WM_OK;
}

static int profile_ready(struct office_register *reg, uint32_t number, const struct vehicle_profile **ret_profile)
{
    uint32_t group = number / PROFILE_GROUP;
    const struct profile_group *loaded = NULL;
    int status = WM_OK;

    if (group < reg->profile_group_count)
        loaded = atomic_load_explicit(&reg->profile_groups[group], memory_order_acquire);
    if (loaded == NULL || !loaded->known[number % PROFILE_GROUP]) {
        pthread_mutex_lock(&reg->lock);
        if (group < reg->profile_group_count) {
            loaded = atomic_load_explicit(&reg->profile_groups[group], memory_order_relaxed);
            if (loaded == NULL)
                status = load_profiles(reg, group);
            loaded = atomic_load_explicit(&reg->profile_groups[group], memory_order_relaxed);
        }
        if (status == WM_OK && (loaded == NULL || !loaded->known[number % PROFILE_GROUP]))
            status = failed_with(reg, "a vehicle refers to a profile that is not there; restore the office file "
                                      "from a copy");
        pthread_mutex_unlock(&reg->lock);
    }
    if (status == WM_OK)
        *ret_profile = &loaded->profiles[number % PROFILE_GROUP];
    return status;
}

static int vehicle_of_source(struct office_register *reg, struct text vin, bool *ret_found, uint32_t *ret_profile,
                             int32_t *ret_built_on)
{
    pthread_mutex_lock(&reg->lock);
    int status = reg->source->vehicle(reg->source->context, vin, ret_found, ret_profile, ret_built_on);
    if (status != WM_OK)
        status = failed(reg, status);
    pthread_mutex_unlock(&reg->lock);
    return status;
}

static int vehicle_of_bucket(struct office_register *reg, struct vehicle_key key, bool *ret_found,
                             uint32_t *ret_profile, int32_t *ret_built_on)
{
    uint32_t bucket = vehicle_bucket_of(key.hash, reg->source->bucket_bits);
    const unsigned char *bytes;

    int status = bucket_ready(reg, bucket, &bytes);
    if (status != WM_OK)
        return status;
    uint32_t count = reg->guides[bucket][GUIDE_ENTRIES - 1];
    uint32_t at = vehicle_guide_find(bytes, reg->guides[bucket], reg->source->bucket_bits, key);
    *ret_found = at < count;
    if (at < count) {
        struct packed_vehicle found = vehicle_bucket_at(bytes, count, at);
        *ret_profile = found.profile;
        *ret_built_on = found.built_on;
    }
    return WM_OK;
}

static struct vehicle_ask ask_of(struct text vin)
{
    struct packed_vin packed;

    if (!vin_pack(vin, &packed))
        return (struct vehicle_ask){.is_possible = false};
    struct vehicle_key key = vehicle_key_of(packed);
    return (struct vehicle_ask){key.hash, key.tail, true};
}

int register_vehicle_find(struct office_register *office_register, const struct vehicle_ask *ask, struct text vin,
                          bool *ret_found, struct vehicle *ret_vehicle)
{
    struct vehicle vehicle = {0, NULL, DAY_NONE};
    bool found = false;
    int status = WM_OK;

    if (!ask->is_possible) {
        *ret_found = false;
        return WM_OK;
    }
    if (office_register->source->vehicle != NULL)
        status = vehicle_of_source(office_register, vin, &found, &vehicle.profile_number, &vehicle.built_on);
    else
        status = vehicle_of_bucket(office_register, (struct vehicle_key){ask->hash, ask->tail}, &found,
                                   &vehicle.profile_number, &vehicle.built_on);
    if (status == WM_OK && found)
        status = profile_ready(office_register, vehicle.profile_number, &vehicle.profile);
    if (status != WM_OK)
        return status;
    if (found)
        __builtin_prefetch(vehicle.profile);
    *ret_found = found;
    if (found)
        *ret_vehicle = vehicle;
    return WM_OK;
}

int register_vehicle(struct office_register *office_register, struct text vin, bool *ret_found,
                     struct vehicle *ret_vehicle)
{
    struct vehicle_ask ask = ask_of(vin);

    return register_vehicle_find(office_register, &ask, vin, ret_found, ret_vehicle);
}

struct vehicle_ask register_vehicle_approach(struct office_register *office_register, struct text vin)
{
    struct vehicle_ask ask = ask_of(vin);

    if (office_register->bucket_count > 0 && ask.is_possible) {
        uint32_t bucket = vehicle_bucket_of(ask.hash, office_register->source->bucket_bits);
        __builtin_prefetch(&office_register->buckets[bucket]);
        __builtin_prefetch(&office_register->guides[bucket]);
    }
    return ask;
}

void register_vehicle_prefetch(struct office_register *office_register, const struct vehicle_ask *ask)
{
    if (office_register->bucket_count == 0 || !ask->is_possible)
        return;
    uint32_t bucket = vehicle_bucket_of(ask->hash, office_register->source->bucket_bits);
    const unsigned char *bytes = atomic_load_explicit(&office_register->buckets[bucket], memory_order_acquire);
    if (bytes != NULL)
        vehicle_guide_prefetch(bytes, office_register->guides[bucket], office_register->source->bucket_bits,
                               ask->hash);
}

static int may_have(struct office_register *reg, uint64_t hash, bool *ret_may)
{
    uint32_t bucket = vehicle_bucket_of(hash, reg->source->bucket_bits);
    const unsigned char *bytes;

    int status = bucket_ready(reg, bucket, &bytes);
    if (status != WM_OK)
        return status;
    if (!vin_sieve_knows(&reg->sieve, bucket))
        vin_sieve_take(&reg->sieve, bucket, bytes, reg->guides[bucket][GUIDE_ENTRIES - 1]);
    *ret_may = vin_sieve_may_have(&reg->sieve, hash);
    if (*ret_may)
        vehicle_guide_prefetch(bytes, reg->guides[bucket], reg->source->bucket_bits, hash);
    return WM_OK;
}

int register_keep_possible(struct office_register *reg, struct packed_vin *vins, unsigned *count)
{
    uint64_t hashes[REGISTER_MOST_POSSIBLE];
    unsigned known, kept = 0;

    if (reg->bucket_count == 0)
        return WM_OK;
    assert(*count <= REGISTER_MOST_POSSIBLE);
    known = vin_sieve_keep(&reg->sieve, vins, *count);
    for (unsigned i = 0; i < known; i++) {
        hashes[i] = vehicle_key_of(vins[i]).hash;
        __builtin_prefetch(&reg->buckets[vehicle_bucket_of(hashes[i], reg->source->bucket_bits)]);
        vin_sieve_prefetch(&reg->sieve, hashes[i]);
    }
    for (unsigned i = 0; i < known; i++) {
        bool may = false;
        int status = may_have(reg, hashes[i], &may);
        if (status != WM_OK)
            return status;
        vins[kept] = vins[i];
        kept += may;
    }
    *count = kept;
    return WM_OK;
}

int register_has_packed(struct office_register *reg, struct packed_vin packed, bool *ret_found)
{
    char vin[VIN_LENGTH + 1];
    uint32_t profile;
    int32_t built_on;

    if (reg->bucket_count > 0)
        return vehicle_of_bucket(reg, vehicle_key_of(packed), ret_found, &profile, &built_on);
    size_t length = vin_unpack(packed, vin);
    return vehicle_of_source(reg, (struct text){vin, length}, ret_found, &profile, &built_on);
}

/* ---- dealers and what was shipped to them ---- */

/* Shipped up to and including that day. */
struct day_sum {
    int32_t day;
    int64_t sum;
};

struct part_shipments {
    struct text part_key;
    struct day_sum last;     /* the last of days: a part is mostly used after it was shipped */
    struct day_sum *days;    /* ascending, each day once; DAY_NONE first */
    uint32_t count;
};

/* Each look-up reads hashes, a part and a day: where they stand together, the processor waits less for memory. */
struct dealer_shipments {
    struct part_shipments *parts;    /* as their hashes */
    uint32_t part_count;
    uint32_t part_hashes[];          /* ascending; of each part_key */
};

struct dealer_file {
    struct lazy_entry entry;
    uint32_t version_count;
    struct dealer *versions;         /* by valid_from; DAY_NONE first */
    _Atomic(const struct dealer_shipments *) shipments;
};

struct version_list {
    struct office_register *reg;
    struct dealer *versions;
    uint32_t count, capacity;
};

static int take_dealer(void *taker, const struct dealer *version)
{
    struct version_list *list = taker;
    struct arena *arena = &list->reg->arena;

    if (list->count == list->capacity) {
        uint32_t capacity = list->capacity ? list->capacity * 2 : 2;
        struct dealer *grown = arena_grown(arena, list->versions, list->count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        list->versions = grown;
        list->capacity = capacity;
    }
    struct dealer kept = *version;
    kept.code = text_copy(arena, version->code);
    kept.name = text_copy(arena, version->name);
    kept.region = text_copy(arena, version->region);
    if (kept.code.bytes == NULL || kept.name.bytes == NULL || kept.region.bytes == NULL)
        return WM_NO_MEMORY;
    list->versions[list->count++] = kept;
    return WM_OK;
}

static int compare_versions(const void *a, const void *b)
{
    int32_t x = ((const struct dealer *)a)->valid_from, y = ((const struct dealer *)b)->valid_from;

    return (x > y) - (x < y);
}

/* Under the lock. */
static int load_dealer(struct office_register *reg, struct text code, uint64_t hash, struct dealer_file **ret_file)
{
    struct version_list list = {.reg = reg};
    struct dealer_file *file = ARENA_NEW(&reg->arena, struct dealer_file);
    struct text key = text_copy(&reg->arena, code);

    if (file == NULL || key.bytes == NULL)
        return failed(reg, WM_NO_MEMORY);
    int status = reg->source->dealer(reg->source->context, code, take_dealer, &list);
    if (status != WM_OK)
        return failed(reg, status);
    if (list.count > 1)
        qsort(list.versions, list.count, sizeof *list.versions, compare_versions);
    file->versions = list.versions;
    file->version_count = list.count;
    file->entry = (struct lazy_entry){hash, key, file};
    if (lazy_index_add(&reg->dealers, &file->entry) != WM_OK)
        return failed(reg, WM_NO_MEMORY);
    *ret_file = file;
    return WM_OK;
}

static int dealer_ready(struct office_register *reg, struct text code, struct dealer_file **ret_file)
{
    uint64_t hash = text_hash(code);
    const struct lazy_entry *entry = lazy_index_find(&reg->dealers, code, hash);
    struct dealer_file *file = entry ? entry->record : NULL;
    int status = WM_OK;

    if (file == NULL) {
        pthread_mutex_lock(&reg->lock);
        entry = lazy_index_find(&reg->dealers, code, hash);
        file = entry ? entry->record : NULL;
        if (file == NULL)
            status = load_dealer(reg, code, hash, &file);
        pthread_mutex_unlock(&reg->lock);
    }
    if (status == WM_OK)
        *ret_file = file;
    return status;
}

struct dealer_ask register_dealer_approach(struct office_register *office_register, struct text code)
{
    struct dealer_ask ask = {text_hash(code), NULL};

    lazy_index_prefetch(&office_register->dealers, ask.hash);
    return ask;
}

void register_dealer_prefetch(struct office_register *office_register, struct dealer_ask *ask, struct text code)
{
    const struct lazy_entry *entry = lazy_index_find(&office_register->dealers, code, ask->hash);

    if (entry == NULL)
        return;
    ask->file = entry->record;
    const struct dealer_shipments *shipments = atomic_load_explicit(&ask->file->shipments, memory_order_acquire);
    __builtin_prefetch(ask->file->versions);
    if (shipments != NULL) {
        __builtin_prefetch(shipments);
        __builtin_prefetch((const char *)shipments + 64); /* the hashes of a dozen parts */
    }
}

int register_dealer_find(struct office_register *office_register, struct dealer_ask *ask, struct text code, int32_t day,
                         const struct dealer **ret_dealer)
{
    const struct dealer *counts = NULL;
    int status = WM_OK;

    if (ask->file == NULL)
        status = dealer_ready(office_register, code, &ask->file);
    if (status != WM_OK)
        return status;
    for (uint32_t i = 0; i < ask->file->version_count; i++)
        if (day == DAY_NONE || ask->file->versions[i].valid_from <= day)
            counts = &ask->file->versions[i];
    *ret_dealer = counts;
    return WM_OK;
}

int register_dealer(struct office_register *office_register, struct text code, int32_t day,
                    const struct dealer **ret_dealer)
{
    struct dealer_ask ask = {0, NULL};

    return register_dealer_find(office_register, &ask, code, day, ret_dealer);
}

struct shipment {
    struct text part_key;
    uint32_t part_hash;
    int32_t shipped_on;
    int64_t quantity;
};

struct shipment_list {
    struct arena texts;
    struct shipment *shipments;
    size_t count, capacity;
};

static uint32_t part_hash(struct text part_key)
{
    return (uint32_t)(text_hash(part_key) >> 16);
}

static int take_shipment(void *taker, struct text part_key, int32_t shipped_on, int64_t quantity)
{
    struct shipment_list *list = taker;

    if (list->count == list->capacity) {
        size_t capacity = list->capacity ? list->capacity * 2 : 64;
        struct shipment *grown = realloc(list->shipments, capacity * sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        list->shipments = grown;
        list->capacity = capacity;
    }
    struct text key = text_copy(&list->texts, part_key);
    if (key.bytes == NULL)
        return WM_NO_MEMORY;
    list->shipments[list->count++] = (struct shipment){key, part_hash(key), shipped_on, quantity};
    return WM_OK;
}

static int compare_shipments(const void *a, const void *b)
{
    const struct shipment *x = a, *y = b;
    int order = (x->part_hash > y->part_hash) - (x->part_hash < y->part_hash);

    if (order == 0)
        order = text_compare(x->part_key, y->part_key);
    return order != 0 ? order : (x->shipped_on > y->shipped_on) - (x->shipped_on < y->shipped_on);
}

static int64_t saturating_add(int64_t a, int64_t b)
{
    int64_t sum;

    if (__builtin_add_overflow(a, b, &sum))
        return b < 0 ? INT64_MIN : INT64_MAX;
    return sum;
}

/* The first `count` shipments are those of one part, by day. */
static int sum_part(struct office_register *reg, const struct shipment *shipments, size_t count,
                    struct part_shipments *part)
{
    part->part_key = kept_word(reg, shipments[0].part_key);
    part->days = ARENA_ARRAY(&reg->arena, struct day_sum, count);
    if (part->part_key.bytes == NULL || part->days == NULL)
        return WM_NO_MEMORY;
    int64_t sum = 0;
    for (size_t i = 0; i < count; i++) {
        sum = saturating_add(sum, shipments[i].quantity);
        if (i == 0 || shipments[i].shipped_on != shipments[i - 1].shipped_on)
            part->days[part->count++].day = shipments[i].shipped_on;
        part->days[part->count - 1].sum = sum;
    }
    part->last = part->days[part->count - 1];
    return WM_OK;
}

static int sum_shipments(struct office_register *reg, struct shipment_list *list,
                         struct dealer_shipments **ret_shipments)
{
    struct dealer_shipments *sums;
    size_t part_count = 0;

    if (list->count > 1)
        qsort(list->shipments, list->count, sizeof *list->shipments, compare_shipments);
    for (size_t i = 0; i < list->count; i++)
        part_count += i == 0 || !text_equal(list->shipments[i].part_key, list->shipments[i - 1].part_key);
    sums = arena_zeroed(&reg->arena, 1, sizeof *sums + part_count * sizeof *sums->part_hashes);
    if (sums == NULL || (sums->parts = ARENA_ARRAY(&reg->arena, struct part_shipments, part_count)) == NULL)
        return WM_NO_MEMORY;
    for (size_t from = 0, to; from < list->count; from = to) {
        for (to = from + 1; to < list->count; to++)
            if (!text_equal(list->shipments[to].part_key, list->shipments[from].part_key))
                break;
        sums->part_hashes[sums->part_count] = list->shipments[from].part_hash;
        int status = sum_part(reg, list->shipments + from, to - from, &sums->parts[sums->part_count++]);
        if (status != WM_OK)
            return status;
    }
    *ret_shipments = sums;
    return WM_OK;
}

/* Under the lock. */
static int load_shipments(struct office_register *reg, struct dealer_file *file)
{
    struct shipment_list list = {.texts = ARENA_EMPTY};
    struct dealer_shipments *sums;

    int status = reg->source->shipments(reg->source->context, file->entry.key, take_shipment, &list);
    if (status == WM_OK)
        status = sum_shipments(reg, &list, &sums);
    if (status == WM_OK)
        atomic_store_explicit(&file->shipments, sums, memory_order_release);
    else
        failed(reg, status);
    free(list.shipments);
    arena_free(&list.texts);
    return status;
}

static int shipments_ready(struct office_register *reg, struct dealer_file *file,
                           const struct dealer_shipments **ret_shipments)
{
    const struct dealer_shipments *shipments = atomic_load_explicit(&file->shipments, memory_order_acquire);
    int status = WM_OK;

    if (shipments == NULL) {
        pthread_mutex_lock(&reg->lock);
        if (atomic_load_explicit(&file->shipments, memory_order_relaxed) == NULL)
            status = load_shipments(reg, file);
        shipments = atomic_load_explicit(&file->shipments, memory_order_relaxed);
        pthread_mutex_unlock(&reg->lock);
    }
    if (status == WM_OK)
        *ret_shipments = shipments;
    return status;
}

/* Where parts of this hash stand, or would stand. */
static uint32_t place_of_part(const struct dealer_shipments *shipments, uint32_t hash)
{
    uint32_t from = 0, to = shipments->part_count;

    while (from < to) {
        uint32_t middle = from + (to - from) / 2;
        if (shipments->part_hashes[middle] < hash)
            from = middle + 1;
        else
            to = middle;
    }
    return from;
}

static const struct part_shipments *find_part(const struct dealer_shipments *shipments, struct text part_key)
{
    uint32_t hash = part_hash(part_key), from = place_of_part(shipments, hash);

    for (; from < shipments->part_count && shipments->part_hashes[from] == hash; from++)
        if (text_equal(shipments->parts[from].part_key, part_key))
            return &shipments->parts[from];
    return NULL;
}

/* What was shipped up to and including this day. */
static int64_t shipped_until(const struct part_shipments *part, int32_t day)
{
    uint32_t from = 0, to = part->count;

    if (day == DAY_NONE || part->last.day <= day)
        return part->last.sum;
    while (from < to) {
        uint32_t middle = from + (to - from) / 2;
        if (part->days[middle].day <= day)
            from = middle + 1;
        else
            to = middle;
    }
    return from == 0 ? 0 : part->days[from - 1].sum;
}

void register_shipped_prefetch(const struct dealer_ask *ask, struct text part_key)
{
    const struct dealer_shipments *shipments = atomic_load_explicit(&ask->file->shipments, memory_order_acquire);

    if (shipments == NULL)
        return;
    const struct part_shipments *part = shipments->parts + place_of_part(shipments, part_hash(part_key));
    __builtin_prefetch(part);
    __builtin_prefetch((const char *)(part + 1) - 1); /* it may lie across two lines */
}

int register_shipped_find(struct office_register *office_register, struct dealer_ask *ask, struct text dealer,
                          struct text part_key, int32_t day, int64_t *ret_quantity)
{
    const struct dealer_shipments *shipments;
    int status = WM_OK;

    if (ask->file == NULL)
        status = dealer_ready(office_register, dealer, &ask->file);
    if (status == WM_OK)
        status = shipments_ready(office_register, ask->file, &shipments);
    if (status != WM_OK)
        return status;
    const struct part_shipments *part = find_part(shipments, part_key);
    *ret_quantity = part == NULL ? 0 : shipped_until(part, day);
    return WM_OK;
}

int register_shipped(struct office_register *office_register, struct text dealer, struct text part_key, int32_t day,
                     int64_t *ret_quantity)
{
    struct dealer_ask ask = {0, NULL};

    return register_shipped_find(office_register, &ask, dealer, part_key, day, ret_quantity);
}

/* ---- approvals ---- */

struct approval_taker {
    struct office_register *reg;
    struct approval *approval;
};

static int take_approval(void *taker, const struct approval *approval)
{
    struct approval_taker *into = taker;
    struct arena *arena = &into->reg->arena;
    struct approval *kept = ARENA_NEW(arena, struct approval);

    if (kept == NULL)
        return WM_NO_MEMORY;
    *kept = *approval;
    kept->number = text_copy(arena, approval->number);
    kept->dealer = text_copy(arena, approval->dealer);
    kept->campaign = text_copy(arena, approval->campaign);
    kept->vin = text_copy(arena, approval->vin);
    kept->covers = text_copy(arena, approval->covers);
    kept->reason = text_copy(arena, approval->reason);
    if (kept->number.bytes == NULL || kept->dealer.bytes == NULL || kept->campaign.bytes == NULL ||
        kept->vin.bytes == NULL || kept->covers.bytes == NULL || kept->reason.bytes == NULL)
        return WM_NO_MEMORY;
    into->approval = kept;
    return WM_OK;
}

/* Under the lock. */
static int load_approval(struct office_register *reg, struct text number, uint64_t hash,
                         const struct approval **ret_approval)
{
    struct approval_taker into = {.reg = reg};
    struct lazy_entry *entry = ARENA_NEW(&reg->arena, struct lazy_entry);
    struct text key = text_copy(&reg->arena, number);

    if (entry == NULL || key.bytes == NULL)
        return failed(reg, WM_NO_MEMORY);
    int status = reg->source->approval(reg->source->context, number, take_approval, &into);
    if (status != WM_OK)
        return failed(reg, status);
    *entry = (struct lazy_entry){hash, key, into.approval};
    if (lazy_index_add(&reg->approvals, entry) != WM_OK)
        return failed(reg, WM_NO_MEMORY);
    *ret_approval = into.approval;
    return WM_OK;
}

int register_approval(struct office_register *office_register, struct text number,
                      const struct approval **ret_approval)
{
    uint64_t hash = text_hash(number);
    const struct lazy_entry *entry = lazy_index_find(&office_register->approvals, number, hash);
    const struct approval *approval = NULL;
    int status = WM_OK;

    if (entry == NULL) {
        pthread_mutex_lock(&office_register->lock);
        entry = lazy_index_find(&office_register->approvals, number, hash);
        if (entry == NULL)
            status = load_approval(office_register, number, hash, &approval);
        pthread_mutex_unlock(&office_register->lock);
    }
    if (status == WM_OK)
        *ret_approval = entry != NULL ? entry->record : approval;
    return status;
}
