#include "intake/items.h"

#include <stdio.h>

#include "base/decimal.h"
#include "base/status.h"
#include "base/text_index.h"
#include "intake/excerpt.h"

enum { DECIMAL_PLACES = 6, SEARCHED_ONE_BY_ONE = 32 };

/* The keys met so far in a list; a long list gets an index. */
struct list {
    struct text rest;
    struct arena *arena;
    struct text *keys;
    char *key_room;              /* for the bytes of the keys to come */
    uint32_t count, capacity;
    struct text_index index;
    uint32_t item;               /* number of the item at hand, from 1, for messages */
    struct text piece;           /* and its text */
    struct text *ret_reason;
};

static int list_open(struct list *list, struct text t, struct arena *arena, struct text *ret_reason)
{
    uint32_t capacity = 1;
    const char *end = t.bytes + t.length;

    for (const char *at = t.bytes; at < end && (at = memchr(at, ';', (size_t)(end - at))) != NULL; at++)
        capacity++;
    *list = (struct list){.rest = t, .arena = arena, .capacity = capacity, .ret_reason = ret_reason};
    list->keys = arena_bytes(arena, capacity * sizeof *list->keys);
    list->key_room = arena_bytes(arena, t.length);
    return list->keys == NULL || list->key_room == NULL ? WM_NO_MEMORY : WM_OK;
}

static void list_close(struct list *list)
{
    text_index_free(&list->index);
}

/* The next item that is not empty. */
static bool list_next(struct list *list)
{
    while (text_next(&list->rest, ';', &list->piece)) {
        list->item++;
        if (list->piece.length > 0)
            return true;
    }
    return false;
}

static int say(struct list *list, struct text excerpt_of, const char *words)
{
    char piece[EXCERPT_ROOM], part[EXCERPT_ROOM];
    struct text reason;

    excerpt_write(list->piece, piece);
    if (excerpt_of.bytes == NULL)
        reason = text_format(list->arena, "item %u, %s, %s", list->item, piece, words);
    else
        reason = text_format(list->arena, "item %u, %s: %s %s", list->item, piece, excerpt_write(excerpt_of, part),
                             words);
    if (reason.bytes == NULL)
        return WM_NO_MEMORY;
    *list->ret_reason = reason;
    return WM_BAD_INPUT;
}

static const struct text WHOLE_ITEM = {NULL, 0};

static int read_key(struct list *list, struct text written, const char *what_is_missing, struct text *ret_key)
{
    struct text key = {list->key_room, text_item_key(written, list->key_room)};

    if (key.length == 0)
        return say(list, WHOLE_ITEM, what_is_missing);
    list->key_room += key.length;
    *ret_key = key;
    return WM_OK;
}

static int read_number(struct list *list, struct text t, const char *what, int64_t *ret_number)
{
    char words[160];
    int64_t number;

    if (t.length == 0) {
        snprintf(words, sizeof words, "has no %s where one must stand; write a number there", what);
        return say(list, WHOLE_ITEM, words);
    }
    switch (decimal_read(t, DECIMAL_PLACES, &number)) {
    case NUMBER_OK:
        if (number >= 0) {
            *ret_number = number;
            return WM_OK;
        }
        snprintf(words, sizeof words, "is negative, which a %s cannot be; write it without the minus sign", what);
        break;
    case NUMBER_TOO_PRECISE:
        snprintf(words, sizeof words, "has more than six decimals; round the %s", what);
        break;
    case NUMBER_TOO_LARGE:
        snprintf(words, sizeof words, "is too large; check the %s", what);
        break;
    default:
        snprintf(words, sizeof words, "is not a number; write the %s in digits, such as 1 or 0.5", what);
    }
    return say(list, t, words);
}

/* The number of the item with this key among those kept, or TEXT_INDEX_NONE. */
static uint32_t list_find(const struct list *list, struct text key)
{
    if (list->count > SEARCHED_ONE_BY_ONE)
        return text_index_find(&list->index, key);
    for (uint32_t i = 0; i < list->count; i++)
        if (text_equal(list->keys[i], key))
            return i;
    return TEXT_INDEX_NONE;
}

static int list_keep(struct list *list, struct text key)
{
    list->keys[list->count++] = key;
    if (list->count <= SEARCHED_ONE_BY_ONE)
        return WM_OK;
    for (uint32_t i = list->index.count; i < list->count; i++)
        if (text_index_add(&list->index, list->keys[i], i) == TEXT_INDEX_NONE)
            return WM_NO_MEMORY;
    return WM_OK;
}

static int add_up(struct list *list, int64_t more, int64_t *sum, const char *words)
{
    return __builtin_add_overflow(*sum, more, sum) ? say(list, WHOLE_ITEM, words) : WM_OK;
}

/* number[=quantity][@price]: with `=` the first one ends the number, without it the first `@` does. */
static int read_part(struct list *list, struct part_item *part)
{
    struct text value = TEXT("1"), price;
    bool has_quantity = text_cut(list->piece, '=', &part->number, &value);
    int status;

    part->has_price = text_cut(has_quantity ? value : list->piece, '@', has_quantity ? &value : &part->number, &price);
    part->number = text_trim(part->number);
    part->price = 0;
    part->quantity = DECIMAL_ONE;
    status = read_key(list, part->number, "has no part number; write NUMBER=QUANTITY@UNITPRICE", &part->key);
    if (status == WM_OK && has_quantity)
        status = read_number(list, text_trim(value), "quantity", &part->quantity);
    if (status == WM_OK && part->has_price)
        status = read_number(list, text_trim(price), "unit price", &part->price);
    return status;
}

static int merge_part(struct list *list, const struct part_item *part, struct part_item *kept)
{
    if (part->has_price && (!kept->has_price || part->price < kept->price)) {
        kept->has_price = true;
        kept->price = part->price;
    }
    return add_up(list, part->quantity, &kept->quantity,
                  "brings the quantities of this part to too large a number; check them");
}

int items_read_parts(struct text t, struct arena *arena, struct part_item **ret_items, uint32_t *ret_count,
                     struct text *ret_reason)
{
    struct list list;
    struct part_item part, *items;
    int status = list_open(&list, t, arena, ret_reason);

    items = status == WM_OK ? arena_bytes(arena, list.capacity * sizeof *items) : NULL;
    if (items == NULL)
        return WM_NO_MEMORY;
    while (status == WM_OK && list_next(&list)) {
        status = read_part(&list, &part);
        if (status != WM_OK || part.quantity == 0)
            continue;
        uint32_t at = list_find(&list, part.key);
        if (at != TEXT_INDEX_NONE) {
            status = merge_part(&list, &part, &items[at]);
            continue;
        }
        items[list.count] = part;
        status = list_keep(&list, part.key);
    }
    list_close(&list);
    if (status != WM_OK)
        return status;
    *ret_items = items;
    *ret_count = list.count;
    return WM_OK;
}

static int read_labor(struct list *list, struct labor_item *labor)
{
    struct text hours;
    bool has_hours = text_cut(list->piece, '=', &labor->operation, &hours);

    labor->operation = text_trim(labor->operation);
    int status = read_key(list, labor->operation, "has no operation; write OPERATION=HOURS", &labor->key);
    if (status != WM_OK)
        return status;
    if (!has_hours)
        return say(list, WHOLE_ITEM, "has no hours; write OPERATION=HOURS");
    return read_number(list, text_trim(hours), "number of hours", &labor->hours);
}

int items_read_labor(struct text t, struct arena *arena, struct labor_item **ret_items, uint32_t *ret_count,
                     struct text *ret_reason)
{
    struct list list;
    struct labor_item labor, *items;
    int status = list_open(&list, t, arena, ret_reason);

    items = status == WM_OK ? arena_bytes(arena, list.capacity * sizeof *items) : NULL;
    if (items == NULL)
        return WM_NO_MEMORY;
    while (status == WM_OK && list_next(&list)) {
        status = read_labor(&list, &labor);
        if (status != WM_OK || labor.hours == 0)
            continue;
        uint32_t at = list_find(&list, labor.key);
        if (at != TEXT_INDEX_NONE) {
            status = add_up(&list, labor.hours, &items[at].hours,
                            "brings the hours of this operation to too large a number; check them");
            continue;
        }
        items[list.count] = labor;
        status = list_keep(&list, labor.key);
    }
    list_close(&list);
    if (status != WM_OK)
        return status;
    *ret_items = items;
    *ret_count = list.count;
    return WM_OK;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool begins_unit(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '%' || (unsigned char)c >= 0x80;
}

bool items_read_reading(struct text result, int64_t *ret_reading, struct text *ret_unit)
{
    size_t end = result.length > 0 && result.bytes[0] == '-';
    int64_t reading;

    while (end < result.length && is_digit(result.bytes[end]))
        end++;
    if (end + 1 < result.length && result.bytes[end] == '.' && is_digit(result.bytes[end + 1]))
        for (end++; end < result.length && is_digit(result.bytes[end]);)
            end++;
    struct text unit = text_trim((struct text){result.bytes + end, result.length - end});
    if (unit.length > 0 && !begins_unit(unit.bytes[0]))
        return false;
    if (decimal_read((struct text){result.bytes, end}, DECIMAL_PLACES, &reading) != NUMBER_OK)
        return false;
    *ret_reading = reading;
    *ret_unit = unit;
    return true;
}

static int read_inspection(struct list *list, struct inspection_item *inspection)
{
    bool has_result = text_cut(list->piece, '=', &inspection->item, &inspection->result);

    inspection->item = text_trim(inspection->item);
    inspection->result = text_trim(inspection->result);
    int status = read_key(list, inspection->item, "has no inspection item; write ITEM=RESULT", &inspection->key);
    if (status == WM_OK && !has_result)
        return say(list, WHOLE_ITEM, "has no result; write ITEM=RESULT");
    return status;
}

int items_read_inspections(struct text t, struct arena *arena, struct inspection_item **ret_items,
                           uint32_t *ret_count, struct text *ret_reason)
{
    struct list list;
    struct inspection_item inspection, *items;
    int status = list_open(&list, t, arena, ret_reason);

    items = status == WM_OK ? arena_bytes(arena, list.capacity * sizeof *items) : NULL;
    if (items == NULL)
        return WM_NO_MEMORY;
    while (status == WM_OK && list_next(&list)) {
        status = read_inspection(&list, &inspection);
        if (status != WM_OK || inspection.result.length == 0)
            continue;
        inspection.reading = 0;
        inspection.unit = TEXT("");
        inspection.has_reading = items_read_reading(inspection.result, &inspection.reading, &inspection.unit);
        uint32_t at = list_find(&list, inspection.key);
        if (at != TEXT_INDEX_NONE) {
            inspection.item = items[at].item;
            inspection.key = items[at].key;
            items[at] = inspection;
            continue;
        }
        items[list.count] = inspection;
        status = list_keep(&list, inspection.key);
    }
    list_close(&list);
    if (status != WM_OK)
        return status;
    *ret_items = items;
    *ret_count = list.count;
    return WM_OK;
}
