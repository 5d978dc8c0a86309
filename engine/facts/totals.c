#include "facts/totals.h"

#include <stdlib.h>

#include "base/date.h"
#include "base/decimal.h"
#include "base/status.h"

/* Most orders are of one vehicle: it stands in the entry, others in pairs. */
struct order_entry {
    uint32_t key;
    uint32_t asked : 1, vehicles : 31; /* on which something stands */
    uint32_t vehicle;                  /* TOTALS_NONE: none yet */
    int32_t claims;                    /* that stand on it */
};

struct pair_entry {
    uint32_t order, vehicle;
    int32_t claims;
};

struct day_entry {
    uint32_t key;
    bool asked;
    int64_t hours;
};

/* What most kits count on most days fits four bytes, two thousand of a kit; the rest of a day stands apart. */
struct day_quantity {
    int32_t day;
    int32_t quantity;
};

struct large_quantity {
    struct large_quantity *next;
    int32_t day;
    int64_t quantity;
};

/* Of the days of a kit so many are asked for ahead, at most. */
enum { CACHE_LINE = 64, PREFETCHED_DAYS = 64 };

struct kit_entry {
    uint32_t key;
    bool asked;
    struct text text;          /* the key again: kits are few and come again */
    uint8_t room;              /* the size of days, by day_room_size */
    struct day_quantity *days; /* in their order; NULL: none yet */
    uint32_t day_count;
    struct large_quantity *large; /* NULL: mostly */
};

/* A room for days that a kit has outgrown, for the next kit that needs one of this size. */
struct day_room {
    struct day_room *next;
};

void totals_open(struct totals *totals)
{
    *totals = (struct totals){.orders = CHUNKS_OF(struct order_entry),
                              .pairs = CHUNKS_OF(struct pair_entry),
                              .days = CHUNKS_OF(struct day_entry),
                              .kits = CHUNKS_OF(struct kit_entry)};
}

void totals_close(struct totals *totals)
{
    arena_free(&totals->day_rooms);
    text_pool_free(&totals->keys);
    chunks_free(&totals->orders);
    chunks_free(&totals->pairs);
    chunks_free(&totals->days);
    chunks_free(&totals->kits);
    number_index_free(&totals->order_index);
    number_index_free(&totals->pair_index);
    number_index_free(&totals->day_index);
    number_index_free(&totals->kit_index);
}

void totals_expect(struct totals *totals, uint32_t orders, uint32_t days)
{
    number_index_expect(&totals->order_index, orders);
    number_index_expect(&totals->day_index, days);
}

/* --- Finding entries --------------------------------------------------------------------------------- */

/* Entries begin with the place of their key. */
static bool has_key(const struct totals *totals, const struct chunks *entries, uint32_t number, const void *key)
{
    const uint32_t *place = chunks_at(entries, number);
    return text_equal(text_pool_at(&totals->keys, *place), *(const struct text *)key);
}

static bool order_is(const void *totals, uint32_t number, const void *key)
{
    return has_key(totals, &((const struct totals *)totals)->orders, number, key);
}

static bool day_is(const void *totals, uint32_t number, const void *key)
{
    return has_key(totals, &((const struct totals *)totals)->days, number, key);
}

static bool kit_is(const void *totals, uint32_t number, const void *key)
{
    const struct kit_entry *entry = chunks_at(&((const struct totals *)totals)->kits, number);
    return text_equal(entry->text, *(const struct text *)key);
}

static uint64_t pair_key(uint32_t order, uint32_t vehicle)
{
    return (uint64_t)order << 32 | vehicle;
}

static bool pair_is(const void *totals, uint32_t number, const void *key)
{
    const struct pair_entry *entry = chunks_at(&((const struct totals *)totals)->pairs, number), *wanted = key;
    return pair_key(entry->order, entry->vehicle) == pair_key(wanted->order, wanted->vehicle);
}

/* The number of the entry of this key, made if it is new. */
static int find(struct totals *totals, struct chunks *entries, struct number_index *index, number_index_is *is,
                const struct noted_key *key, uint32_t *ret_number)
{
    struct number_slot *slot = number_index_slot(index, &key->text, key->hash, is, totals);

    if (slot == NULL)
        return WM_NO_MEMORY;
    if (slot->number == 0) {
        uint32_t place, *entry;
        if (text_pool_add(&totals->keys, key->text, &place) != WM_OK || (entry = chunks_add(entries)) == NULL)
            return WM_NO_MEMORY;
        *entry = place;
        slot->number = entries->count;
        index->count++;
    }
    *ret_number = slot->number - 1;
    return WM_OK;
}

void totals_prefetch_slots(const struct totals *totals, const struct dossier *dossier)
{
    if (dossier->order_key.text.bytes != NULL)
        number_index_prefetch(&totals->order_index, dossier->order_key.hash);
    if (dossier->day_key.text.bytes != NULL)
        number_index_prefetch(&totals->day_index, dossier->day_key.hash);
    if (dossier->kit_key.text.bytes != NULL)
        number_index_prefetch(&totals->kit_index, dossier->kit_key.hash);
}

/* Kits are few and come again; orders and days mostly do not. */
static const struct kit_entry *likely_kit(const struct totals *totals, const struct dossier *dossier)
{
    uint32_t number = dossier->kit_key.text.bytes != NULL
                          ? number_index_peek(&totals->kit_index, dossier->kit_key.hash)
                          : 0;
    return number != 0 ? chunks_at(&totals->kits, number - 1) : NULL;
}

void totals_prefetch_entry(const struct totals *totals, const struct dossier *dossier)
{
    const struct kit_entry *kit = likely_kit(totals, dossier);

    __builtin_prefetch(dossier->kit_key.text.bytes); /* made a block ago */
    __builtin_prefetch(dossier->order_key.text.bytes);
    __builtin_prefetch(dossier->day_key.text.bytes);
    if (kit != NULL) {
        __builtin_prefetch(kit);
        __builtin_prefetch((const char *)(kit + 1) - 1); /* it may lie across two lines */
    }
}

void totals_prefetch_content(const struct totals *totals, const struct dossier *dossier)
{
    const struct kit_entry *kit = likely_kit(totals, dossier);

    if (kit == NULL)
        return;
    __builtin_prefetch(kit->text.bytes);
    __builtin_prefetch(kit->text.bytes + kit->text.length);
    for (uint32_t i = 0; i < kit->day_count && i < PREFETCHED_DAYS; i += CACHE_LINE / sizeof *kit->days)
        __builtin_prefetch(&kit->days[i]);
}

int totals_order(struct totals *totals, const struct noted_key *key, uint32_t *ret_order, bool *ret_asked)
{
    uint32_t before = totals->orders.count;

    if (find(totals, &totals->orders, &totals->order_index, order_is, key, ret_order) != WM_OK)
        return WM_NO_MEMORY;
    struct order_entry *entry = chunks_at(&totals->orders, *ret_order);
    if (totals->orders.count != before)
        entry->vehicle = TOTALS_NONE;
    if (ret_asked != NULL) {
        *ret_asked = entry->asked;
        entry->asked = true;
    }
    return WM_OK;
}

int totals_day(struct totals *totals, const struct noted_key *key, uint32_t *ret_day, bool *ret_asked)
{
    if (find(totals, &totals->days, &totals->day_index, day_is, key, ret_day) != WM_OK)
        return WM_NO_MEMORY;
    struct day_entry *entry = chunks_at(&totals->days, *ret_day);
    if (ret_asked != NULL) {
        *ret_asked = entry->asked;
        entry->asked = true;
    }
    return WM_OK;
}

int totals_kit(struct totals *totals, const struct noted_key *key, uint32_t *ret_kit, bool *ret_asked)
{
    if (find(totals, &totals->kits, &totals->kit_index, kit_is, key, ret_kit) != WM_OK)
        return WM_NO_MEMORY;
    struct kit_entry *entry = chunks_at(&totals->kits, *ret_kit);
    if (entry->text.bytes == NULL)
        entry->text = text_pool_at(&totals->keys, entry->key);
    if (ret_asked != NULL) {
        *ret_asked = entry->asked;
        entry->asked = true;
    }
    return WM_OK;
}

/* --- Repair orders ----------------------------------------------------------------------------------- */

static struct number_slot *pair_slot(struct totals *totals, uint32_t order, uint32_t vehicle)
{
    const struct pair_entry key = {order, vehicle, 0};
    uint64_t hash = pair_key(order, vehicle) * UINT64_C(0xff51afd7ed558ccd);

    return number_index_slot(&totals->pair_index, &key, (uint32_t)(hash >> 32), pair_is, totals);
}

/* How many claims stand for the vehicle on the order; where none ever did, NULL, or room for it if there is to
 * be some. */
static int32_t *claims_on(struct totals *totals, uint32_t order, uint32_t vehicle, bool make)
{
    struct order_entry *entry = chunks_at(&totals->orders, order);

    if (make && entry->vehicle == TOTALS_NONE)
        entry->vehicle = vehicle;
    if (entry->vehicle == vehicle)
        return &entry->claims;
    if (totals->pairs.count == 0 && !make)
        return NULL;
    struct number_slot *slot = pair_slot(totals, order, vehicle);
    if (slot == NULL || (slot->number == 0 && !make))
        return NULL;
    if (slot->number == 0) {
        struct pair_entry *pair = chunks_add(&totals->pairs);
        if (pair == NULL)
            return NULL;
        *pair = (struct pair_entry){order, vehicle, 0};
        slot->number = totals->pairs.count;
        totals->pair_index.count++;
    }
    return &((struct pair_entry *)chunks_at(&totals->pairs, slot->number - 1))->claims;
}

int totals_add_vehicle(struct totals *totals, uint32_t order, uint32_t vehicle, int claims)
{
    struct order_entry *entry = chunks_at(&totals->orders, order);
    int32_t *on_vehicle = claims_on(totals, order, vehicle, true);

    if (on_vehicle == NULL)
        return WM_NO_MEMORY;
    bool was = *on_vehicle > 0;
    *on_vehicle += claims;
    bool is = *on_vehicle > 0;
    entry->vehicles = entry->vehicles + is - was;
    return WM_OK;
}

uint32_t totals_other_vehicles(struct totals *totals, uint32_t order, uint32_t vehicle, uint32_t own_vehicle)
{
    const struct order_entry *entry = chunks_at(&totals->orders, order);
    uint32_t others = entry->vehicles;

    if (others == 0)
        return 0;
    const int32_t *same = claims_on(totals, order, vehicle, false);
    others -= same != NULL && *same > 0;
    if (own_vehicle != TOTALS_NONE && own_vehicle != vehicle) {
        const int32_t *own = claims_on(totals, order, own_vehicle, false);
        others -= own != NULL && *own == 1;
    }
    return others;
}

/* --- Technicians' days ------------------------------------------------------------------------------- */

void totals_add_hours(struct totals *totals, uint32_t day, int64_t hours)
{
    struct day_entry *entry = chunks_at(&totals->days, day);
    entry->hours = decimal_sum(entry->hours, hours);
}

int64_t totals_hours(const struct totals *totals, uint32_t day)
{
    return ((const struct day_entry *)chunks_at(&totals->days, day))->hours;
}

/* --- Kits -------------------------------------------------------------------------------------------- */

/* The first of the entry's days that is not before this one. */
static uint32_t day_at(const struct kit_entry *entry, int32_t day)
{
    uint32_t low = 0, high = entry->day_count;

    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (entry->days[middle].day < day)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* 4, 6, 8, 12, 16, 24 ... */
static uint32_t day_room_size(unsigned room)
{
    return (room % 2 == 0 ? UINT32_C(4) : UINT32_C(6)) << room / 2;
}

/* NULL without memory. */
static struct day_quantity *take_day_room(struct totals *totals, unsigned room)
{
    struct day_room *left = totals->left_rooms[room];

    if (left == NULL)
        return arena_bytes(&totals->day_rooms, day_room_size(room) * sizeof(struct day_quantity));
    totals->left_rooms[room] = left->next;
    return (struct day_quantity *)left;
}

static int move_to_larger_room(struct totals *totals, struct kit_entry *entry)
{
    unsigned room = entry->days == NULL ? 0 : entry->room + 1U;
    struct day_quantity *days = room < TOTALS_DAY_ROOMS ? take_day_room(totals, room) : NULL;

    if (days == NULL)
        return WM_NO_MEMORY;
    if (entry->days != NULL) {
        struct day_room *left = (struct day_room *)entry->days;
        memcpy(days, entry->days, entry->day_count * sizeof *days);
        left->next = totals->left_rooms[entry->room];
        totals->left_rooms[entry->room] = left;
    }
    entry->days = days;
    entry->room = (uint8_t)room;
    return WM_OK;
}

static int insert_day(struct totals *totals, struct kit_entry *entry, uint32_t at, int32_t day)
{
    if ((entry->days == NULL || entry->day_count == day_room_size(entry->room)) &&
        move_to_larger_room(totals, entry) != WM_OK)
        return WM_NO_MEMORY;
    memmove(entry->days + at + 1, entry->days + at, (entry->day_count - at) * sizeof *entry->days);
    entry->days[at] = (struct day_quantity){day, 0};
    entry->day_count++;
    return WM_OK;
}

static int add_large_quantity(struct totals *totals, struct kit_entry *entry, int32_t day, int64_t quantity)
{
    struct large_quantity *large = entry->large;

    while (large != NULL && large->day != day)
        large = large->next;
    if (large == NULL) {
        large = ARENA_NEW(&totals->day_rooms, struct large_quantity);
        if (large == NULL)
            return WM_NO_MEMORY;
        *large = (struct large_quantity){entry->large, day, 0};
        entry->large = large;
    }
    large->quantity = decimal_sum(large->quantity, quantity);
    return WM_OK;
}

int totals_add_quantity(struct totals *totals, uint32_t kit, int32_t day, int64_t quantity)
{
    struct kit_entry *entry = chunks_at(&totals->kits, kit);
    uint32_t at = day_at(entry, day);

    if ((at == entry->day_count || entry->days[at].day != day) && insert_day(totals, entry, at, day) != WM_OK)
        return WM_NO_MEMORY;
    int32_t sum;
    if (__builtin_add_overflow(entry->days[at].quantity, quantity, &sum))
        return add_large_quantity(totals, entry, day, quantity);
    entry->days[at].quantity = sum;
    return WM_OK;
}

int64_t totals_quantity(const struct totals *totals, uint32_t kit, int32_t day)
{
    const struct kit_entry *entry = chunks_at(&totals->kits, kit);
    int64_t sum = 0;

    for (uint32_t i = 0; i < entry->day_count && entry->days[i].day <= day; i++)
        sum += entry->days[i].quantity;
    for (const struct large_quantity *large = entry->large; large != NULL; large = large->next)
        if (large->day <= day)
            sum = decimal_sum(sum, large->quantity);
    return sum;
}
