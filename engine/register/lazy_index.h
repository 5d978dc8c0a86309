/* lazy_index.h - from text to a record that is added when it is first asked for; readers need no lock.
 *
 * Any number of threads may find while one adds; who adds must keep others from adding meanwhile. Nothing is ever
 * taken out. It owns its tables only: keys and records are borrowed and must live as long as the index.
 */
#ifndef WM_REGISTER_LAZY_INDEX_H
#define WM_REGISTER_LAZY_INDEX_H

#include <stdatomic.h>
#include <stdint.h>

#include "base/text.h"

struct lazy_table;

struct lazy_index {
    _Atomic(struct lazy_table *) table;    /* outgrown tables hang behind it: a reader may still be in one */
};

struct lazy_entry {
    uint64_t hash;
    struct text key;
    void *record;
};

/* The entry of this key; NULL: not added, or added this moment by another thread. hash: text_hash(key). */
const struct lazy_entry *lazy_index_find(struct lazy_index *index, struct text key, uint64_t hash);

/* Says that an entry of this hash will be looked for soon. */
void lazy_index_prefetch(struct lazy_index *index, uint64_t hash);

/* Adds an entry whose key is not there. WM_NO_MEMORY or WM_OK. */
int lazy_index_add(struct lazy_index *index, const struct lazy_entry *entry);

/* Only when no thread reads any more. */
void lazy_index_free(struct lazy_index *index);

#endif
