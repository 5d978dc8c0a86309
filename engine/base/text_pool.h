/* text_pool.h - texts kept back to back, each found by a number of 32 bits: for millions of short ones, where a
 * pointer, a length and alignment would cost more than the text.
 *
 * It owns its memory; texts stay where they are until text_pool_free. Not for several threads while one of them
 * adds.
 */
#ifndef WM_BASE_TEXT_POOL_H
#define WM_BASE_TEXT_POOL_H

#include "base/text.h"

enum {
    TEXT_POOL_PIECE_BYTES = 1024 * 1024,
    TEXT_POOL_MOST_BYTES = TEXT_POOL_PIECE_BYTES / 4 /* of one text */
};

struct text_pool {
    char **pieces;
    uint32_t piece_count, piece_capacity;
    uint32_t used; /* of the last piece */
};

/* Keeps a copy. Texts over TEXT_POOL_MOST_BYTES are the caller's mistake. WM_NO_MEMORY or WM_OK; 0 is no text's
 * place. */
int text_pool_add(struct text_pool *pool, struct text t, uint32_t *ret_place);

struct text text_pool_at(const struct text_pool *pool, uint32_t place);

/* The pool is empty afterwards. */
void text_pool_free(struct text_pool *pool);

#endif
