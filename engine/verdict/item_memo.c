#include "verdict/item_memo.h"

#include <stdlib.h>

/* Items beyond are asked each time: a thread's sets then take a few MiB at most. */
enum { FIRST_ITEMS = 256, MOST_ITEMS = 65536 };

static size_t sets_of(const struct rules *rules, enum scope scope, uint32_t items)
{
    return (size_t)items * 2 * rules->check_count[scope];
}

static int grow(struct item_memo *memo, const struct rules *rules, enum scope scope, uint32_t item)
{
    uint32_t capacity = memo->capacity[scope] ? memo->capacity[scope] : FIRST_ITEMS;

    while (capacity <= item)
        capacity *= 2;
    uint64_t *grown = realloc(memo->rows[scope], sets_of(rules, scope, capacity) * sizeof *grown);
    if (grown == NULL)
        return -1;
    for (size_t i = sets_of(rules, scope, memo->capacity[scope]); i < sets_of(rules, scope, capacity); i++)
        grown[i] = ROWS_NOT_KNOWN;
    memo->rows[scope] = grown;
    memo->capacity[scope] = capacity;
    return 0;
}

uint64_t *item_memo_rows(struct item_memo *memo, const struct rules *rules, enum scope scope, uint32_t item,
                         uint32_t count)
{
    uint32_t last = item + count;

    if (last >= memo->capacity[scope] && (last >= MOST_ITEMS || grow(memo, rules, scope, last) != 0))
        return NULL;
    return memo->rows[scope] + sets_of(rules, scope, item);
}

void item_memo_free(struct item_memo *memo)
{
    for (int scope = 0; scope < SCOPES; scope++)
        free(memo->rows[scope]);
    *memo = (struct item_memo){0};
}
