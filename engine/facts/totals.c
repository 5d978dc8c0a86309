#include "facts/totals.h"

#include "base/date.h"
#include "base/decimal.h"
#include "base/status.h"

enum kind { ORDER = 'o', ORDER_VIN = 'v', DAY = 'd', KIT = 'k' };

struct day_quantity {
    int32_t day;
    int64_t quantity;
};

struct entry {
    bool asked;
    int64_t sum;                   /* ORDER: distinct VINs; ORDER_VIN: claims; DAY: hours */
    struct day_quantity *days;     /* KIT, in the order of days */
    uint32_t day_count, day_capacity;
};

void totals_open(struct totals *totals)
{
    *totals = (struct totals){.entries = CHUNKS_OF(struct entry)};
}

void totals_close(struct totals *totals)
{
    chunks_free(&totals->entries);
    text_index_free(&totals->index);
    buffer_free(&totals->key);
    arena_free(&totals->arena);
}

/* The key of an entry: its kind and texts, each ended by a NUL, which none of them holds. */
static struct text make_key(struct totals *totals, enum kind kind, struct text dealer, struct text what,
                            struct text more)
{
    buffer_clear(&totals->key);
    buffer_add_byte(&totals->key, (char)kind);
    buffer_add_text(&totals->key, dealer);
    buffer_add_byte(&totals->key, '\0');
    buffer_add_text(&totals->key, what);
    buffer_add_byte(&totals->key, '\0');
    buffer_add_text(&totals->key, more);
    return buffer_text(&totals->key);
}

static struct text day_text(int32_t day, char *room)
{
    return (struct text){room, date_write(day, room)};
}

static struct entry *find(const struct totals *totals, struct text key)
{
    uint32_t number = text_index_find(&totals->index, key);
    return number == TEXT_INDEX_NONE ? NULL : chunks_at(&totals->entries, number);
}

/* The entry of this key, made if it is new; NULL without memory. */
static struct entry *find_or_make(struct totals *totals, struct text key)
{
    struct entry *entry = totals->key.failed ? NULL : find(totals, key);

    if (entry != NULL || totals->key.failed)
        return entry;
    struct text copy = text_copy(&totals->arena, key);
    entry = copy.bytes != NULL ? chunks_add(&totals->entries) : NULL;
    if (entry == NULL || text_index_add(&totals->index, copy, totals->entries.count - 1) == TEXT_INDEX_NONE)
        return NULL;
    return entry;
}

static int touch(struct totals *totals, struct text key, bool *ret_new)
{
    struct entry *entry = find_or_make(totals, key);

    if (entry == NULL)
        return WM_NO_MEMORY;
    *ret_new = !entry->asked;
    entry->asked = true;
    return WM_OK;
}

static const struct text NOTHING = {"", 0};

int totals_touch_order(struct totals *totals, struct text dealer, struct text repair_order, bool *ret_new)
{
    return touch(totals, make_key(totals, ORDER, dealer, repair_order, NOTHING), ret_new);
}

int totals_touch_day(struct totals *totals, struct text dealer, struct text technician, int32_t day, bool *ret_new)
{
    char room[DATE_ROOM];
    return touch(totals, make_key(totals, DAY, dealer, technician, day_text(day, room)), ret_new);
}

int totals_touch_kit(struct totals *totals, struct text dealer, struct text kit_key, bool *ret_new)
{
    return touch(totals, make_key(totals, KIT, dealer, kit_key, NOTHING), ret_new);
}

int totals_add_vin(struct totals *totals, struct text dealer, struct text repair_order, struct text vin, int claims)
{
    struct entry *order = find_or_make(totals, make_key(totals, ORDER, dealer, repair_order, NOTHING));
    struct entry *on_vin =
        order != NULL ? find_or_make(totals, make_key(totals, ORDER_VIN, dealer, repair_order, vin)) : NULL;

    if (on_vin == NULL)
        return WM_NO_MEMORY;
    bool was = on_vin->sum > 0;
    on_vin->sum += claims;
    order->sum += (on_vin->sum > 0) - was;
    return WM_OK;
}

int totals_add_hours(struct totals *totals, struct text dealer, struct text technician, int32_t day, int64_t hours)
{
    char room[DATE_ROOM];
    struct entry *entry = find_or_make(totals, make_key(totals, DAY, dealer, technician, day_text(day, room)));

    if (entry == NULL)
        return WM_NO_MEMORY;
    entry->sum = decimal_sum(entry->sum, hours);
    return WM_OK;
}

/* The first of the entry's days that is not before this one. */
static uint32_t day_at(const struct entry *entry, int32_t day)
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

static int insert_day(struct totals *totals, struct entry *entry, uint32_t at, int32_t day)
{
    if (entry->day_count == entry->day_capacity) {
        uint32_t capacity = entry->day_capacity ? entry->day_capacity * 2 : 8;
        struct day_quantity *grown =
            arena_grown(&totals->arena, entry->days, entry->day_count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        entry->days = grown;
        entry->day_capacity = capacity;
    }
    memmove(entry->days + at + 1, entry->days + at, (entry->day_count - at) * sizeof *entry->days);
    entry->days[at] = (struct day_quantity){day, 0};
    entry->day_count++;
    return WM_OK;
}

int totals_add_kit(struct totals *totals, struct text dealer, struct text kit_key, int32_t day, int64_t quantity)
{
    struct entry *entry = find_or_make(totals, make_key(totals, KIT, dealer, kit_key, NOTHING));

    if (entry == NULL)
        return WM_NO_MEMORY;
    uint32_t at = day_at(entry, day);
    if ((at == entry->day_count || entry->days[at].day != day) && insert_day(totals, entry, at, day) != WM_OK)
        return WM_NO_MEMORY;
    entry->days[at].quantity = decimal_sum(entry->days[at].quantity, quantity);
    return WM_OK;
}

uint32_t totals_other_vins(struct totals *totals, struct text dealer, struct text repair_order, struct text vin,
                           struct text own_vin)
{
    const struct entry *order = find(totals, make_key(totals, ORDER, dealer, repair_order, NOTHING));

    if (order == NULL)
        return 0;
    int64_t others = order->sum;
    const struct entry *same = find(totals, make_key(totals, ORDER_VIN, dealer, repair_order, vin));
    others -= same != NULL && same->sum > 0;
    if (own_vin.bytes != NULL && !text_equal(own_vin, vin)) {
        const struct entry *own = find(totals, make_key(totals, ORDER_VIN, dealer, repair_order, own_vin));
        others -= own != NULL && own->sum == 1;
    }
    return (uint32_t)others;
}

int64_t totals_hours(struct totals *totals, struct text dealer, struct text technician, int32_t day)
{
    char room[DATE_ROOM];
    const struct entry *entry = find(totals, make_key(totals, DAY, dealer, technician, day_text(day, room)));
    return entry != NULL ? entry->sum : 0;
}

int64_t totals_kits(struct totals *totals, struct text dealer, struct text kit_key, int32_t day)
{
    const struct entry *entry = find(totals, make_key(totals, KIT, dealer, kit_key, NOTHING));
    int64_t sum = 0;

    for (uint32_t i = 0; entry != NULL && i < entry->day_count && entry->days[i].day <= day; i++)
        sum = decimal_sum(sum, entry->days[i].quantity);
    return sum;
}
