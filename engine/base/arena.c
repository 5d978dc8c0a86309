#include "base/arena.h"

#include <assert.h>
#include <stdalign.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/large.h"

enum { SMALLEST_CHUNK = 64 * 1024, LARGEST_STEP = 4 * 1024 * 1024 };

struct arena_chunk {
    struct arena_chunk *next;
    size_t size;
    alignas(max_align_t) char bytes[];
};

static void use_chunk(struct arena *arena, struct arena_chunk *chunk)
{
    arena->current = chunk;
    arena->free = chunk != NULL ? chunk->bytes : NULL;
    arena->left = chunk != NULL ? chunk->size : 0;
}

/* Under a sanitizer each piece has a chunk of its own, and none outlives a reset: what is read or written beyond
 * a piece, or after its time, is seen. */
#ifdef ARENA_EXACT
static size_t wanted_bytes(const struct arena *arena, size_t size)
{
    (void)arena;
    return size;
}
#else
static size_t wanted_bytes(const struct arena *arena, size_t size)
{
    size_t wanted = arena->current ? arena->current->size * 2 : SMALLEST_CHUNK;

    if (wanted > LARGEST_STEP - sizeof(struct arena_chunk))
        wanted = LARGEST_STEP - sizeof(struct arena_chunk);
    return wanted < size ? size : wanted;
}
#endif

/* A chunk of the largest step is used in full sooner or later; others are had as they come. */
static struct arena_chunk *take_chunk(size_t size)
{
    size_t bytes = sizeof(struct arena_chunk) + size;
    return bytes == LARGEST_STEP ? large_take(bytes) : malloc(bytes);
}

static void give_back_chunk(struct arena_chunk *chunk)
{
    size_t bytes = sizeof(struct arena_chunk) + chunk->size;

    if (bytes == LARGEST_STEP)
        large_give_back(chunk, bytes);
    else
        free(chunk);
}

/* Moves on to the next chunk that holds size bytes, getting a new one where there is none. */
void *arena_next_chunk(struct arena *arena, size_t size)
{
    struct arena_chunk **link = arena->current ? &arena->current->next : &arena->first;

    if (size > SIZE_MAX / 2)
        return NULL;
    size_t step = alignof(max_align_t), least = (size + (size == 0) + step - 1) / step * step;
    if (*link == NULL || (*link)->size < least) {
        size_t wanted = wanted_bytes(arena, least);
        struct arena_chunk *chunk = take_chunk(wanted);
        if (chunk == NULL)
            return NULL;
        chunk->size = wanted;
        chunk->next = *link;
        *link = chunk;
    }
    use_chunk(arena, *link);
    return arena_bytes(arena, size);
}

void *arena_zeroed(struct arena *arena, size_t count, size_t size)
{
    size_t bytes;

    if (__builtin_mul_overflow(count, size, &bytes))
        return NULL;
    void *piece = arena_bytes(arena, bytes);
    if (piece != NULL)
        memset(piece, 0, bytes);
    return piece;
}

void *arena_grown(struct arena *arena, const void *old, size_t old_count, size_t new_count, size_t size)
{
    void *piece = arena_zeroed(arena, new_count, size);

    if (piece != NULL && old_count > 0)
        memcpy(piece, old, old_count * size);
    return piece;
}

void arena_shrink(struct arena *arena, const void *last_piece, size_t size)
{
    char *end = arena->free + arena->left;

    assert((const char *)last_piece >= arena->current->bytes && (const char *)last_piece + size <= arena->free);
    arena->left = (size_t)(end - (const char *)last_piece);
    arena->free = end - arena->left;
    (void)arena_bytes(arena, size);
#ifdef ARENA_EXACT
    arena->left = 0; /* what is left over is no room for another piece */
#endif
}

void arena_reset(struct arena *arena)
{
#ifdef ARENA_EXACT
    arena_free(arena);
#endif
    use_chunk(arena, arena->first);
}

void arena_free(struct arena *arena)
{
    struct arena_chunk *chunk = arena->first;

    while (chunk != NULL) {
        struct arena_chunk *next = chunk->next;
        give_back_chunk(chunk);
        chunk = next;
    }
    *arena = ARENA_EMPTY;
}

size_t arena_held(const struct arena *arena)
{
    size_t bytes = 0;

    for (const struct arena_chunk *chunk = arena->first; chunk != NULL; chunk = chunk->next)
        bytes += sizeof *chunk + chunk->size;
    return bytes;
}
