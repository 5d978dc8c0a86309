/* Item lists of parts, labor and inspections. The first byte says which; the rest is the cell. */
#include "fuzz.h"

#include "base/decimal.h"
#include "intake/items.h"

static void look_at_key(struct text key)
{
    must(key.length > 0, "an item has a key");
    for (size_t i = 0; i < key.length; i++)
        must((key.bytes[i] >= 'A' && key.bytes[i] <= 'Z') || (key.bytes[i] >= '0' && key.bytes[i] <= '9'),
             "a key is letters and digits");
}

/* What a list says, whatever its kind: a key and an amount each. */
struct reading {
    int status;
    uint32_t count;
    struct text reason;
    struct text keys[4096];
    int64_t amounts[4096];
};

static void read_list(int kind, struct text list, struct arena *arena, struct reading *reading)
{
    struct part_item *parts = NULL;
    struct labor_item *labor = NULL;
    struct inspection_item *inspections = NULL;

    reading->count = 0;
    reading->reason = (struct text){NULL, 0};
    if (kind == 0)
        reading->status = items_read_parts(list, arena, &parts, &reading->count, &reading->reason);
    else if (kind == 1)
        reading->status = items_read_labor(list, arena, &labor, &reading->count, &reading->reason);
    else
        reading->status = items_read_inspections(list, arena, &inspections, &reading->count, &reading->reason);
    must(reading->count <= list.length / 2 + 1 && reading->count < 4096, "there are no more items than pieces");
    for (uint32_t i = 0; i < reading->count; i++) {
        reading->keys[i] = kind == 0 ? parts[i].key : kind == 1 ? labor[i].key : inspections[i].key;
        reading->amounts[i] = kind == 0 ? parts[i].quantity : kind == 1 ? labor[i].hours : 1;
        look_at_key(reading->keys[i]);
        must(reading->amounts[i] > 0, "an item of nothing is no item");
        if (kind == 0)
            must(!parts[i].has_price || parts[i].price >= 0, "a price is not negative");
        if (kind == 2)
            must(inspections[i].result.length > 0, "an inspection without a result is none");
        for (uint32_t k = 0; k < i; k++)
            must(!text_equal(reading->keys[i], reading->keys[k]), "equal items are one");
    }
}

/* A list said twice: the same items, and twice as much of each. */
static void twice(int kind, struct text list, const struct reading *once, struct arena *arena)
{
    static struct reading again;
    struct buffer both = BUFFER_EMPTY;

    buffer_add_text(&both, list);
    buffer_add_byte(&both, ';');
    buffer_add_text(&both, list);
    read_list(kind, buffer_text(&both), arena, &again);
    if (again.status == WM_OK) {
        must(again.count == once->count, "a list said twice has the same items");
        for (uint32_t i = 0; i < once->count; i++)
            must(text_equal(again.keys[i], once->keys[i]) &&
                     again.amounts[i] == (kind == 2 ? 1 : decimal_sum(once->amounts[i], once->amounts[i])),
                 "and twice as much of each");
    }
    buffer_free(&both);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    static struct reading reading;
    struct input input = input_of(bytes, length);
    struct arena arena = ARENA_EMPTY;
    int kind = (int)input_choose(&input, 3);
    struct text list, unit;
    int64_t number;
    char *copy = input_rest(&input, &list);

    if (list.length < 4096 && text_is_utf8(list)) {
        read_list(kind, list, &arena, &reading);
        must(reading.status == WM_OK || reading.status == WM_BAD_INPUT, "only bad input is a reason");
        must((reading.status == WM_OK) == (reading.reason.length == 0), "what is none has a reason");
        must(text_is_utf8(reading.reason), "a reason is text");
        if (reading.status == WM_OK)
            twice(kind, list, &reading, &arena);
        if (items_read_reading(list, &number, &unit))
            must(unit.length <= list.length && text_is_utf8(unit), "a unit is part of the result");
    }
    arena_free(&arena);
    free(copy);
    return 0;
}
