#include "base/text_pool.h"

#include <assert.h>
#include <stdlib.h>

#include "base/large.h"
#include "base/status.h"

/* A place counts steps of so many bytes over all pieces, so that a pool holds up to 16 GiB. In front of a text
 * stands its length: one byte, or LONG_TEXT and four bytes. */
enum { STEP = 4, STEPS_OF_PIECE = TEXT_POOL_PIECE_BYTES / STEP, LONG_TEXT = 255 };

/* The first piece is had by itself, as many pools stay small; further ones so many at a time. */
enum { TOGETHER = 4 };

/* Of a piece that is had with others. */
static bool begins_pieces(uint32_t piece)
{
    return (piece - 1) % TOGETHER == 0;
}

static int add_piece(struct text_pool *pool)
{
    if (pool->piece_count == pool->piece_capacity) {
        uint32_t capacity = pool->piece_capacity ? pool->piece_capacity * 2 : 16;
        char **grown = realloc(pool->pieces, capacity * sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        pool->pieces = grown;
        pool->piece_capacity = capacity;
    }
    uint32_t at = pool->piece_count;
    char *piece = at == UINT32_MAX / STEPS_OF_PIECE ? NULL
                  : at == 0           ? malloc(TEXT_POOL_PIECE_BYTES)
                  : begins_pieces(at) ? large_take(TOGETHER * TEXT_POOL_PIECE_BYTES)
                                      : pool->pieces[at - 1] + TEXT_POOL_PIECE_BYTES;
    if (piece == NULL)
        return WM_NO_MEMORY;
    pool->pieces[pool->piece_count++] = piece;
    pool->used = pool->piece_count == 1 ? STEP : 0; /* place 0 is nobody's */
    return WM_OK;
}

int text_pool_add(struct text_pool *pool, struct text t, uint32_t *ret_place)
{
    size_t head = t.length < LONG_TEXT ? 1 : 1 + sizeof(uint32_t),
           size = (head + t.length + STEP - 1) / STEP * STEP;

    assert(t.length <= TEXT_POOL_MOST_BYTES);
    if ((pool->piece_count == 0 || size > TEXT_POOL_PIECE_BYTES - pool->used) && add_piece(pool) != WM_OK)
        return WM_NO_MEMORY;
    unsigned char *room = (unsigned char *)pool->pieces[pool->piece_count - 1] + pool->used;
    uint32_t length = (uint32_t)t.length;
    room[0] = (unsigned char)(length < LONG_TEXT ? length : LONG_TEXT);
    if (length >= LONG_TEXT)
        memcpy(room + 1, &length, sizeof length);
    if (length > 0)
        memcpy(room + head, t.bytes, length);
    *ret_place = (pool->piece_count - 1) * STEPS_OF_PIECE + pool->used / STEP;
    pool->used += (uint32_t)size;
    return WM_OK;
}

struct text text_pool_at(const struct text_pool *pool, uint32_t place)
{
    const char *room = pool->pieces[place / STEPS_OF_PIECE] + (size_t)(place % STEPS_OF_PIECE) * STEP;
    uint32_t length = (unsigned char)room[0];

    if (length < LONG_TEXT)
        return (struct text){room + 1, length};
    memcpy(&length, room + 1, sizeof length);
    return (struct text){room + 1 + sizeof length, length};
}

void text_pool_free(struct text_pool *pool)
{
    for (uint32_t i = 0; i < pool->piece_count; i++)
        if (i == 0)
            free(pool->pieces[i]);
        else if (begins_pieces(i))
            large_give_back(pool->pieces[i], TOGETHER * TEXT_POOL_PIECE_BYTES);
    free(pool->pieces);
    *pool = (struct text_pool){NULL, 0, 0, 0};
}
