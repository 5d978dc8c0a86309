#include "base/text_index.h"

#include <stdlib.h>

/* Few under a sanitizer and where failures are tried, so that short tests too make an index grow. */
#ifdef ARENA_EXACT
enum { FIRST_CAPACITY = 4 };
#else
enum { FIRST_CAPACITY = 32 };
#endif

struct text_index_slot {
    const char *bytes;    /* NULL: free */
    uint32_t length;
    uint32_t number;
    uint32_t hash;        /* upper half, to pass over most others without looking at their bytes */
};

/* The slot that holds the key, or the free one where it belongs. */
static struct text_index_slot *slot_for(const struct text_index *index, struct text key, uint64_t hash)
{
    uint32_t mask = index->capacity - 1, high = (uint32_t)(hash >> 32);

    for (uint32_t at = (uint32_t)hash & mask;; at = (at + 1) & mask) {
        struct text_index_slot *slot = &index->slots[at];
        if (slot->bytes == NULL)
            return slot;
        if (slot->hash == high && slot->length == key.length && memcmp(slot->bytes, key.bytes, key.length) == 0)
            return slot;
    }
}

uint32_t text_index_find(const struct text_index *index, struct text key)
{
    if (index->capacity == 0)
        return TEXT_INDEX_NONE;
    const struct text_index_slot *slot = slot_for(index, key, text_hash(key));
    return slot->bytes == NULL ? TEXT_INDEX_NONE : slot->number;
}

static int grow(struct text_index *index)
{
    struct text_index larger = {NULL, index->capacity ? index->capacity * 2 : FIRST_CAPACITY, index->count};

    if (larger.capacity > 0)
        larger.slots = calloc(larger.capacity, sizeof *larger.slots);
    if (larger.slots == NULL)
        return -1;
    for (uint32_t i = 0; i < index->capacity; i++) {
        struct text_index_slot *old = &index->slots[i];
        if (old->bytes != NULL) {
            struct text key = {old->bytes, old->length};
            *slot_for(&larger, key, text_hash(key)) = *old;
        }
    }
    free(index->slots);
    *index = larger;
    return 0;
}

uint32_t text_index_add(struct text_index *index, struct text key, uint32_t number)
{
    if (index->count >= index->capacity / 4 * 3 && grow(index) != 0)
        return TEXT_INDEX_NONE;
    uint64_t hash = text_hash(key);
    struct text_index_slot *slot = slot_for(index, key, hash);
    if (slot->bytes == NULL) {
        *slot = (struct text_index_slot){key.bytes ? key.bytes : "", (uint32_t)key.length, number,
                                         (uint32_t)(hash >> 32)};
        index->count++;
    }
    return slot->number;
}

void text_index_clear(struct text_index *index)
{
    if (index->capacity > 0)
        memset(index->slots, 0, index->capacity * sizeof *index->slots);
    index->count = 0;
}

void text_index_free(struct text_index *index)
{
    free(index->slots);
    *index = TEXT_INDEX_EMPTY;
}
