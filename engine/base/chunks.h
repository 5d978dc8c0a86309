/* chunks.h - an array that grows without moving: elements keep their address, and growth copies nothing.
 *
 * It owns its memory. Elements are zeroed when added.
 */
#ifndef WM_BASE_CHUNKS_H
#define WM_BASE_CHUNKS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Few under a sanitizer, so that short tests too go from one chunk to the next. */
#ifdef ARENA_EXACT
enum { CHUNK_ELEMENTS = 16 };
#else
enum { CHUNK_ELEMENTS = 16384 };
#endif

struct chunks {
    size_t element_size;
    char **chunks;
    uint32_t chunk_count, chunk_capacity;
    uint32_t count;
};

#define CHUNKS_OF(type) ((struct chunks){sizeof(type), NULL, 0, 0, 0})

/* A new element at the end, zeroed; NULL without memory. */
void *chunks_add(struct chunks *chunks);

/* Adds copies of so many elements; false without memory. */
bool chunks_append(struct chunks *chunks, const void *elements, uint32_t count);

/* Element `at`, which must be below count. */
static inline void *chunks_at(const struct chunks *chunks, uint32_t at)
{
    return chunks->chunks[at / CHUNK_ELEMENTS] + (size_t)(at % CHUNK_ELEMENTS) * chunks->element_size;
}

void chunks_free(struct chunks *chunks);

#endif
