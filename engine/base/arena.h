/* arena.h - memory that is given out in pieces and taken back all at once.
 *
 * An arena owns its chunks; what it gives out is borrowed until arena_reset or arena_free. It is not for
 * several threads at once: each thread has its own. Pieces are aligned for any object.
 */
#ifndef WM_BASE_ARENA_H
#define WM_BASE_ARENA_H

#include <stddef.h>
#include <stdint.h>

struct arena_chunk;

struct arena {
    struct arena_chunk *first;
    struct arena_chunk *current;
    char *free;     /* what is left of current */
    size_t left;
};

/* A zeroed struct arena is an empty arena. */
#define ARENA_EMPTY ((struct arena){NULL, NULL, NULL, 0})

/* For arena_bytes, where the current chunk has no room. */
void *arena_next_chunk(struct arena *arena, size_t size);

/* size bytes, not initialised; NULL if there is no memory. Size 0 gives a valid pointer. Here and not in arena.c
 * because a claim asks some forty times, and most of these calls are then an addition. */
static inline void *arena_bytes(struct arena *arena, size_t size)
{
    size_t step = _Alignof(max_align_t), taken = (size + (size == 0) + step - 1) / step * step;

    if (__builtin_expect(size > SIZE_MAX / 2 || taken > arena->left, 0))
        return arena_next_chunk(arena, size);
    void *piece = arena->free;
    arena->free += taken;
    arena->left -= taken;
    return piece;
}

/* count objects of size bytes each, zeroed; NULL if there is no memory or the product overflows. */
void *arena_zeroed(struct arena *arena, size_t count, size_t size);

#define ARENA_NEW(arena, type) ((type *)arena_zeroed((arena), 1, sizeof(type)))
#define ARENA_ARRAY(arena, type, count) ((type *)arena_zeroed((arena), (count), sizeof(type)))

/* A larger copy of an array that this arena gave out; the old one stays until the arena is reset. */
void *arena_grown(struct arena *arena, const void *old, size_t old_count, size_t new_count, size_t size);

/* Makes the piece that was given out last smaller: what is behind its first `size` bytes is given out again. */
void arena_shrink(struct arena *arena, const void *last_piece, size_t size);

/* Forgets everything given out; keeps the chunks for the next use. */
void arena_reset(struct arena *arena);

/* Gives the chunks back; the arena is empty afterwards and may be used again. */
void arena_free(struct arena *arena);

/* Bytes held from the system. */
size_t arena_held(const struct arena *arena);

#endif
