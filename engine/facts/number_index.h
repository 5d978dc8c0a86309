/* number_index.h - numbers of entries by their key, where entries keep the keys themselves. Private to
 * engine/facts.
 *
 * A slot holds a number and the key's hash, so that a key is looked at only where it is most likely the one,
 * and so that growing looks at none. It owns its slots.
 */
#ifndef WM_FACTS_NUMBER_INDEX_H
#define WM_FACTS_NUMBER_INDEX_H

#include <stdbool.h>
#include <stdint.h>

#include "base/text.h"

struct number_slot {
    uint32_t number; /* + 1; 0: free */
    uint32_t hash;
};

struct number_index {
    struct number_slot *slots;
    uint32_t capacity; /* a power of two, or 0 */
    uint32_t count;
};

/* The hash that keys of this index go by. */
static inline uint32_t number_index_hash(struct text key)
{
    return (uint32_t)(text_hash(key) >> 16);
}

/* Says that this key will be looked for soon. */
static inline void number_index_prefetch(const struct number_index *index, uint32_t hash)
{
    if (index->capacity > 0)
        __builtin_prefetch(&index->slots[hash & (index->capacity - 1)]);
}

/* The number + 1 that this hash leads to first, which may be another key's; 0: none. For asking the processor for what
 * is likely to be read. */
static inline uint32_t number_index_peek(const struct number_index *index, uint32_t hash)
{
    return index->capacity > 0 ? index->slots[hash & (index->capacity - 1)].number : 0;
}

/* Makes room for so many more at once. Where there is no memory for that, it grows step by step. */
void number_index_expect(struct number_index *index, uint32_t more);

/* Whether the entry of this number has the key. */
typedef bool number_index_is(const void *context, uint32_t number, const void *key);

/* The slot that holds the key's number, or the free one where it belongs; NULL without memory. Whoever fills a
 * free slot counts it in index->count. */
struct number_slot *number_index_slot(struct number_index *index, const void *key, uint32_t hash,
                                      number_index_is *is, const void *context);

void number_index_free(struct number_index *index);

#endif
