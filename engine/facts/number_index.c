#include "facts/number_index.h"

#include "base/large.h"

enum { FIRST_CAPACITY = 1024 };

static int grow_to(struct number_index *index, uint32_t capacity)
{
    struct number_slot *slots = capacity ? large_take(capacity * sizeof *slots) : NULL;

    if (slots == NULL)
        return -1;
    for (uint32_t i = 0; i < index->capacity; i++) {
        if (index->slots[i].number == 0)
            continue;
        uint32_t at = index->slots[i].hash & (capacity - 1);
        while (slots[at].number != 0)
            at = (at + 1) & (capacity - 1);
        slots[at] = index->slots[i];
    }
    large_give_back(index->slots, index->capacity * sizeof *slots);
    index->slots = slots;
    index->capacity = capacity;
    return 0;
}

static int grow(struct number_index *index)
{
    return grow_to(index, index->capacity ? index->capacity * 2 : FIRST_CAPACITY);
}

/* So many keys are as many as a capacity has room for. */
static bool is_full(uint32_t capacity, uint32_t count)
{
    return count >= capacity / 4 * 3;
}

void number_index_expect(struct number_index *index, uint32_t more)
{
    uint32_t capacity = index->capacity ? index->capacity : FIRST_CAPACITY;

    while (capacity < UINT32_MAX / 2 && is_full(capacity, index->count + more))
        capacity *= 2;
    if (capacity > index->capacity)
        (void)grow_to(index, capacity);
}

struct number_slot *number_index_slot(struct number_index *index, const void *key, uint32_t hash,
                                      number_index_is *is, const void *context)
{
    if (is_full(index->capacity, index->count) && grow(index) != 0)
        return NULL;
    for (uint32_t at = hash & (index->capacity - 1);; at = (at + 1) & (index->capacity - 1)) {
        struct number_slot *slot = &index->slots[at];
        if (slot->number == 0) {
            slot->hash = hash;
            return slot;
        }
        if (slot->hash == hash && is(context, slot->number - 1, key))
            return slot;
    }
}

void number_index_free(struct number_index *index)
{
    large_give_back(index->slots, index->capacity * sizeof *index->slots);
    *index = (struct number_index){NULL, 0, 0};
}
