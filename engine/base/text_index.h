/* text_index.h - from text to a number, in memory: an open-addressed hash table that grows.
 *
 * It owns its slots, not the texts: keys are borrowed and must outlive the index. Not for several threads while
 * one of them adds.
 */
#ifndef WM_BASE_TEXT_INDEX_H
#define WM_BASE_TEXT_INDEX_H

#include <stdint.h>

#include "base/text.h"

struct text_index_slot;

struct text_index {
    struct text_index_slot *slots;
    uint32_t capacity;    /* a power of two, or 0 */
    uint32_t count;
};

#define TEXT_INDEX_EMPTY ((struct text_index){NULL, 0, 0})
#define TEXT_INDEX_NONE UINT32_MAX

/* The number of this key, or TEXT_INDEX_NONE. */
uint32_t text_index_find(const struct text_index *index, struct text key);

/* Adds key with number unless it is there. Returns the number that key has now, or TEXT_INDEX_NONE when there
 * is no memory. number must be below TEXT_INDEX_NONE. */
uint32_t text_index_add(struct text_index *index, struct text key, uint32_t number);

/* Forgets all keys, keeps the room. */
void text_index_clear(struct text_index *index);

void text_index_free(struct text_index *index);

#endif
