#include "register/lazy_index.h"

#include <stdlib.h>

#include "base/status.h"

enum { FIRST_CAPACITY = 64 };

struct lazy_table {
    struct lazy_table *outgrown;
    uint32_t capacity;    /* a power of two */
    uint32_t count;       /* looked at by who adds only */
    _Atomic(const struct lazy_entry *) slots[];
};

const struct lazy_entry *lazy_index_find(struct lazy_index *index, struct text key, uint64_t hash)
{
    struct lazy_table *table = atomic_load_explicit(&index->table, memory_order_acquire);

    if (table == NULL)
        return NULL;
    for (uint32_t at = (uint32_t)hash;; at++) {
        const struct lazy_entry *entry =
            atomic_load_explicit(&table->slots[at & (table->capacity - 1)], memory_order_acquire);
        if (entry == NULL || (entry->hash == hash && text_equal(entry->key, key)))
            return entry;
    }
}

void lazy_index_prefetch(struct lazy_index *index, uint64_t hash)
{
    struct lazy_table *table = atomic_load_explicit(&index->table, memory_order_acquire);

    if (table == NULL)
        return;
    const struct lazy_entry *entry =
        atomic_load_explicit(&table->slots[(uint32_t)hash & (table->capacity - 1)], memory_order_acquire);
    if (entry != NULL) {
        __builtin_prefetch(entry);
        __builtin_prefetch((const char *)entry + 64); /* the key's bytes and the record mostly lie behind it */
    }
}

static void put(struct lazy_table *table, const struct lazy_entry *entry)
{
    uint32_t at = (uint32_t)entry->hash & (table->capacity - 1);

    while (atomic_load_explicit(&table->slots[at], memory_order_relaxed) != NULL)
        at = (at + 1) & (table->capacity - 1);
    atomic_store_explicit(&table->slots[at], entry, memory_order_release);
    table->count++;
}

static struct lazy_table *grown(struct lazy_table *old)
{
    uint32_t capacity = old ? old->capacity * 2 : FIRST_CAPACITY;
    struct lazy_table *table = NULL;

    if (capacity > 0)
        table = calloc(1, sizeof *table + (size_t)capacity * sizeof table->slots[0]);
    if (table == NULL)
        return NULL;
    table->outgrown = old;
    table->capacity = capacity;
    for (uint32_t i = 0; old != NULL && i < old->capacity; i++) {
        const struct lazy_entry *entry = atomic_load_explicit(&old->slots[i], memory_order_relaxed);
        if (entry != NULL)
            put(table, entry);
    }
    return table;
}

int lazy_index_add(struct lazy_index *index, const struct lazy_entry *entry)
{
    struct lazy_table *table = atomic_load_explicit(&index->table, memory_order_relaxed);

    if (table == NULL || table->count >= table->capacity / 2) {
        table = grown(table);
        if (table == NULL)
            return WM_NO_MEMORY;
        atomic_store_explicit(&index->table, table, memory_order_release);
    }
    put(table, entry);
    return WM_OK;
}

void lazy_index_free(struct lazy_index *index)
{
    struct lazy_table *table = atomic_load_explicit(&index->table, memory_order_relaxed);

    while (table != NULL) {
        struct lazy_table *outgrown = table->outgrown;
        free(table);
        table = outgrown;
    }
    atomic_store_explicit(&index->table, NULL, memory_order_relaxed);
}
