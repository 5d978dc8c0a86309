#include "intake/items.h"

#include <stdio.h>

#include "base/decimal.h"
#include "base/status.h"
#include "base/text_index.h"
#include "intake/excerpt.h"

enum { DECIMAL_PLACES = 6, SEARCHED_ONE_BY_ONE = 32, FIRST_CAPACITY = 8 };

/* The keys met so far in a list; a long list gets an index. */
struct list {
    struct text rest;
    struct arena *arena;
    char *key_room;              /* for the bytes of the keys to come */
    size_t item_size;
    void *items;                 /* capacity of them: the last piece given out of the arena */
    uint32_t count, capacity;
    bool plain;                  /* whether plain items are read as such */
    uint32_t item;               /* number of the item at hand, from 1, for messages */
    struct text piece;           /* and its text */
    struct text *ret_reason;
    struct text_index index;     /* used from more than SEARCHED_ONE_BY_ONE items on */
    struct text keys[SEARCHED_ONE_BY_ONE];
};

static int list_open(struct list *list, struct text t, bool plain, size_t item_size, struct arena *arena,
                     struct text *ret_reason)
{
    list->rest = t;
    list->plain = plain;
    list->arena = arena;
    list->item_size = item_size;
    list->count = list->item = 0;
    list->capacity = FIRST_CAPACITY;
    list->ret_reason = ret_reason;
    list->index = TEXT_INDEX_EMPTY;
    list->key_room = arena_bytes(arena, t.length);
    list->items = arena_bytes(arena, FIRST_CAPACITY * item_size);
    return list->key_room == NULL || list->items == NULL ? WM_NO_MEMORY : WM_OK;
}

/* status: what ended the reading, WM_NOT_FOUND where all of it is read. */
static int list_close(struct list *list, int status)
{
    text_index_free(&list->index);
    if (status != WM_NOT_FOUND)
        return status;
    arena_shrink(list->arena, list->items, list->count * list->item_size);
    return WM_OK;
}

/* Where the next item is read to: it counts among the items once its key is kept. */
static void *list_next_item(const struct list *list)
{
    return (char *)list->items + list->count * list->item_size;
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
static inline uint32_t list_find(const struct list *list, struct text key)
{
    if (list->count > SEARCHED_ONE_BY_ONE)
        return text_index_find(&list->index, key);
    for (uint32_t i = 0; i < list->count; i++)
        if (text_equal_mostly_not(list->keys[i], key))
            return i;
    return TEXT_INDEX_NONE;
}

/* Keeps the key of the item that goes to place list->count, and makes room for the next item. */
static int list_keep(struct list *list, struct text key)
{
    uint32_t number = list->count++;

    if (list->count == list->capacity) {
        void *grown = arena_grown(list->arena, list->items, list->count, (size_t)list->capacity * 2, list->item_size);
        if (grown == NULL)
            return WM_NO_MEMORY;
        list->items = grown;
        list->capacity *= 2;
    }
    if (number < SEARCHED_ONE_BY_ONE) {
        list->keys[number] = key;
        return WM_OK;
    }
    for (uint32_t i = 0; number == SEARCHED_ONE_BY_ONE && i < number; i++)
        if (text_index_add(&list->index, list->keys[i], i) == TEXT_INDEX_NONE)
            return WM_NO_MEMORY;
    return text_index_add(&list->index, key, number) == TEXT_INDEX_NONE ? WM_NO_MEMORY : WM_OK;
}

/* --- Plain items --------------------------------------------------------------------------------------- *
 *
 * Nearly all items are plain: a name, its sign, a short number, nothing out of place. They are read in one walk over
 * their bytes. Whatever is not as plain as that, and every error, is left to the readers further down, which
 * start the item over; a test holds both together (items_read_*_of_record).
 */

struct walk {
    const char *start, *at, *end;
    char *key_end;               /* behind the key that was written to list->key_room */
};

static void skip_blanks(struct walk *walk)
{
    while (walk->at < walk->end && text_is_blank(*walk->at))
        walk->at++;
}

/* Begins the next item. False: there is none, or it is empty. */
static bool walk_begin(struct list *list, struct walk *walk)
{
    if (list->rest.bytes == NULL)
        return false;
    walk->at = list->rest.bytes;
    walk->end = walk->at + list->rest.length;
    skip_blanks(walk);
    walk->start = walk->at;
    return walk->at < walk->end && *walk->at != ';';
}

/* Walks over a name up to the first of `=`, `@`, `;` or the end; writes its key. */
static bool walk_name(struct list *list, struct walk *walk, struct text *ret_name, struct text *ret_key)
{
    char *key = list->key_room;

    for (; walk->at < walk->end; walk->at++) {
        unsigned char c = text_key_character[(unsigned char)*walk->at];
        if (c != 0)
            *key++ = (char)c;
        else if (*walk->at == '=' || *walk->at == '@' || *walk->at == ';')
            break;
    }
    *ret_name = text_trim((struct text){walk->start, (size_t)(walk->at - walk->start)});
    *ret_key = (struct text){list->key_room, (size_t)(key - list->key_room)};
    walk->key_end = key;
    return key > list->key_room;
}

static bool walk_sign(struct walk *walk, char sign)
{
    bool there = walk->at < walk->end && *walk->at == sign;

    walk->at += there;
    return there;
}

static bool walk_number(struct walk *walk, int64_t *ret_number)
{
    return decimal_take(&walk->at, walk->end, DECIMAL_PLACES, ret_number);
}

/* The item must end here; then it counts as read. */
static bool walk_finish(struct list *list, struct walk *walk)
{
    skip_blanks(walk);
    if (walk->at < walk->end && *walk->at != ';')
        return false;
    list->rest = walk->at < walk->end ? (struct text){walk->at + 1, (size_t)(walk->end - walk->at - 1)}
                                      : (struct text){NULL, 0};
    list->item++;
    list->piece = text_trim((struct text){walk->start, (size_t)(walk->at - walk->start)});
    list->key_room = walk->key_end;
    return true;
}

static bool plain_part(struct list *list, struct part_item *part)
{
    struct walk walk;

    part->price = 0;
    part->quantity = DECIMAL_ONE;
    if (!walk_begin(list, &walk) || !walk_name(list, &walk, &part->number, &part->key))
        return false;
    if (walk_sign(&walk, '=') && !walk_number(&walk, &part->quantity))
        return false;
    part->has_price = walk_sign(&walk, '@');
    return (!part->has_price || walk_number(&walk, &part->price)) && walk_finish(list, &walk);
}

static bool plain_labor(struct list *list, struct labor_item *labor)
{
    struct walk walk;

    return walk_begin(list, &walk) && walk_name(list, &walk, &labor->operation, &labor->key) &&
           walk_sign(&walk, '=') && walk_number(&walk, &labor->hours) && walk_finish(list, &walk);
}

static bool plain_inspection(struct list *list, struct inspection_item *inspection)
{
    struct walk walk;

    if (!walk_begin(list, &walk) || !walk_name(list, &walk, &inspection->item, &inspection->key) ||
        !walk_sign(&walk, '='))
        return false;
    const char *start = walk.at;
    while (walk.at < walk.end && *walk.at != ';')
        walk.at++;
    inspection->result = text_trim((struct text){start, (size_t)(walk.at - start)});
    return walk_finish(list, &walk);
}

/* --- Any items ----------------------------------------------------------------------------------------- */

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

/* WM_NOT_FOUND: there is no other. */
static int next_part(struct list *list, struct part_item *part)
{
    if (list->plain && plain_part(list, part))
        return WM_OK;
    return list_next(list) ? read_part(list, part) : WM_NOT_FOUND;
}

static int take_part(struct list *list, const struct part_item *part)
{
    struct part_item *items = list->items;

    if (part->quantity == 0)
        return WM_OK;
    uint32_t at = list_find(list, part->key);
    if (at != TEXT_INDEX_NONE)
        return merge_part(list, part, &items[at]);
    return list_keep(list, part->key);
}

static int read_parts(struct text t, bool plain, struct arena *arena, struct part_item **ret_items,
                      uint32_t *ret_count, struct text *ret_reason)
{
    struct list list;
    int status = list_open(&list, t, plain, sizeof(struct part_item), arena, ret_reason);

    while (status == WM_OK && (status = next_part(&list, list_next_item(&list))) == WM_OK)
        status = take_part(&list, list_next_item(&list));
    status = list_close(&list, status);
    if (status != WM_OK)
        return status;
    *ret_items = list.items;
    *ret_count = list.count;
    return WM_OK;
}

int items_read_parts(struct text t, struct arena *arena, struct part_item **ret_items, uint32_t *ret_count,
                     struct text *ret_reason)
{
    return read_parts(t, true, arena, ret_items, ret_count, ret_reason);
}

int items_read_parts_of_record(struct text t, struct arena *arena, struct part_item **ret_items, uint32_t *ret_count,
                               struct text *ret_reason)
{
    return read_parts(t, false, arena, ret_items, ret_count, ret_reason);
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

/* WM_NOT_FOUND: there is no other. */
static int next_labor(struct list *list, struct labor_item *labor)
{
    if (list->plain && plain_labor(list, labor))
        return WM_OK;
    return list_next(list) ? read_labor(list, labor) : WM_NOT_FOUND;
}

static int take_labor(struct list *list, const struct labor_item *labor)
{
    struct labor_item *items = list->items;

    if (labor->hours == 0)
        return WM_OK;
    uint32_t at = list_find(list, labor->key);
    if (at != TEXT_INDEX_NONE)
        return add_up(list, labor->hours, &items[at].hours,
                      "brings the hours of this operation to too large a number; check them");
    return list_keep(list, labor->key);
}

static int read_labors(struct text t, bool plain, struct arena *arena, struct labor_item **ret_items,
                       uint32_t *ret_count, struct text *ret_reason)
{
    struct list list;
    int status = list_open(&list, t, plain, sizeof(struct labor_item), arena, ret_reason);

    while (status == WM_OK && (status = next_labor(&list, list_next_item(&list))) == WM_OK)
        status = take_labor(&list, list_next_item(&list));
    status = list_close(&list, status);
    if (status != WM_OK)
        return status;
    *ret_items = list.items;
    *ret_count = list.count;
    return WM_OK;
}

int items_read_labor(struct text t, struct arena *arena, struct labor_item **ret_items, uint32_t *ret_count,
                     struct text *ret_reason)
{
    return read_labors(t, true, arena, ret_items, ret_count, ret_reason);
}

int items_read_labor_of_record(struct text t, struct arena *arena, struct labor_item **ret_items, uint32_t *ret_count,
                               struct text *ret_reason)
{
    return read_labors(t, false, arena, ret_items, ret_count, ret_reason);
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

    if (result.length == 0 || (!is_digit(result.bytes[0]) && result.bytes[0] != '-' && result.bytes[0] != '.'))
        return false; /* a word, as most results are */
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

/* WM_NOT_FOUND: there is no other. */
static int next_inspection(struct list *list, struct inspection_item *inspection)
{
    if (list->plain && plain_inspection(list, inspection))
        return WM_OK;
    return list_next(list) ? read_inspection(list, inspection) : WM_NOT_FOUND;
}

static int take_inspection(struct list *list, struct inspection_item *inspection)
{
    struct inspection_item *items = list->items;

    if (inspection->result.length == 0)
        return WM_OK;
    inspection->reading = 0;
    inspection->unit = TEXT("");
    inspection->has_reading = items_read_reading(inspection->result, &inspection->reading, &inspection->unit);
    uint32_t at = list_find(list, inspection->key);
    if (at != TEXT_INDEX_NONE) {
        inspection->item = items[at].item;
        inspection->key = items[at].key;
        items[at] = *inspection;
        return WM_OK;
    }
    return list_keep(list, inspection->key);
}

static int read_inspections(struct text t, bool plain, struct arena *arena, struct inspection_item **ret_items,
                            uint32_t *ret_count, struct text *ret_reason)
{
    struct list list;
    int status = list_open(&list, t, plain, sizeof(struct inspection_item), arena, ret_reason);

    while (status == WM_OK && (status = next_inspection(&list, list_next_item(&list))) == WM_OK)
        status = take_inspection(&list, list_next_item(&list));
    status = list_close(&list, status);
    if (status != WM_OK)
        return status;
    *ret_items = list.items;
    *ret_count = list.count;
    return WM_OK;
}

int items_read_inspections(struct text t, struct arena *arena, struct inspection_item **ret_items, uint32_t *ret_count,
                           struct text *ret_reason)
{
    return read_inspections(t, true, arena, ret_items, ret_count, ret_reason);
}

int items_read_inspections_of_record(struct text t, struct arena *arena, struct inspection_item **ret_items,
                                     uint32_t *ret_count, struct text *ret_reason)
{
    return read_inspections(t, false, arena, ret_items, ret_count, ret_reason);
}
