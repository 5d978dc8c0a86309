#include "audit/selection.h"

#include <assert.h>

void select_at_random(struct generator *generator, uint32_t *places, uint32_t count, uint32_t size)
{
    assert(size <= count);
    for (uint32_t i = 0; i < size; i++) {
        uint32_t other = i + (uint32_t)generator_below(generator, count - i);
        uint32_t place = places[i];
        places[i] = places[other];
        places[other] = place;
    }
}

uint32_t select_by_money(struct generator *generator, const int64_t *amounts, uint32_t count,
                         int64_t interval_cents, uint32_t *ret_places, uint32_t *ret_certain)
{
    uint64_t interval = (uint64_t)interval_cents, before = 0, step = generator_below(generator, interval);
    uint32_t drawn = 0;

    assert(interval_cents > 0);
    for (uint32_t i = 0; i < count; i++)
        if (amounts[i] >= interval_cents)
            ret_places[drawn++] = i;
    *ret_certain = drawn;
    for (uint32_t i = 0; i < count; i++) {
        if (amounts[i] >= interval_cents)
            continue;
        before += (uint64_t)amounts[i];
        if (step < before) { /* less than an interval long, so that no second step falls into it */
            ret_places[drawn++] = i;
            step += interval;
        }
    }
    return drawn;
}
