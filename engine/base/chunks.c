#include "base/chunks.h"

#include <stdlib.h>
#include <string.h>

#include "base/large.h"

/* The first chunks are had one by one, as most arrays stay small; further ones so many at a time. */
enum { SINGLE_CHUNKS = 4, TOGETHER = 16 };

static size_t chunk_bytes(const struct chunks *chunks)
{
    return CHUNK_ELEMENTS * chunks->element_size;
}

/* Of a chunk that is had with others. */
static bool begins_a_piece(uint32_t chunk)
{
    return (chunk - SINGLE_CHUNKS) % TOGETHER == 0;
}

static int add_chunk(struct chunks *chunks)
{
    if (chunks->chunk_count == chunks->chunk_capacity) {
        uint32_t capacity = chunks->chunk_capacity ? chunks->chunk_capacity * 2 : 16;
        char **grown = realloc(chunks->chunks, capacity * sizeof *grown);
        if (grown == NULL)
            return -1;
        chunks->chunks = grown;
        chunks->chunk_capacity = capacity;
    }
    uint32_t at = chunks->chunk_count;
    char *chunk = at < SINGLE_CHUNKS       ? calloc(1, chunk_bytes(chunks))
                  : begins_a_piece(at) ? large_take(TOGETHER * chunk_bytes(chunks))
                                           : chunks->chunks[at - 1] + chunk_bytes(chunks);
    if (chunk == NULL)
        return -1;
    chunks->chunks[chunks->chunk_count++] = chunk;
    return 0;
}

void *chunks_add(struct chunks *chunks)
{
    if (chunks->count == UINT32_MAX - 1)
        return NULL;
    if (chunks->count == chunks->chunk_count * CHUNK_ELEMENTS && add_chunk(chunks) != 0)
        return NULL;
    return chunks_at(chunks, chunks->count++);
}

bool chunks_append(struct chunks *chunks, const void *elements, uint32_t count)
{
    const char *from = elements;

    if (count >= UINT32_MAX - chunks->count)
        return false;
    while (count > 0) {
        uint32_t used = chunks->count % CHUNK_ELEMENTS,
                 some = CHUNK_ELEMENTS - used < count ? CHUNK_ELEMENTS - used : count;
        if (chunks->count == chunks->chunk_count * CHUNK_ELEMENTS && add_chunk(chunks) != 0)
            return false;
        memcpy(chunks_at(chunks, chunks->count), from, some * chunks->element_size);
        chunks->count += some;
        from += some * chunks->element_size;
        count -= some;
    }
    return true;
}

void chunks_free(struct chunks *chunks)
{
    for (uint32_t i = 0; i < chunks->chunk_count; i++)
        if (i < SINGLE_CHUNKS)
            free(chunks->chunks[i]);
        else if (begins_a_piece(i))
            large_give_back(chunks->chunks[i], TOGETHER * chunk_bytes(chunks));
    free(chunks->chunks);
    chunks->chunks = NULL;
    chunks->chunk_count = chunks->chunk_capacity = chunks->count = 0;
}
