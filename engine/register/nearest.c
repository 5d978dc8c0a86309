/* The one registered VIN that is one slip of the pen away: one replaced character, or two neighbours swapped. */
#include "base/status.h"
#include "register/register_parts.h"

struct candidates {
    struct packed_vin vins[REGISTER_MOST_POSSIBLE];
    unsigned count;
};

/* The packed VIN with `by` added to the symbol at this position. */
static struct packed_vin shifted(struct packed_vin vin, unsigned position, int by, const uint64_t *places)
{
    if (position < VIN_HEAD)
        vin.head += (uint64_t)(int64_t)by * places[position];
    else
        vin.tail += (uint32_t)by * (uint32_t)places[position];
    return vin;
}

static void add_replaced(struct candidates *candidates, struct packed_vin vin, unsigned position, unsigned symbol,
                         const uint64_t *places)
{
    for (unsigned other = 1; other <= VIN_SYMBOLS; other++)
        if (other != symbol)
            candidates->vins[candidates->count++] = shifted(vin, position, (int)other - (int)symbol, places);
}

static void add_swapped(struct candidates *candidates, struct packed_vin vin, const unsigned *symbols,
                        const uint64_t *places)
{
    for (unsigned i = 0; i + 1 < VIN_LENGTH; i++) {
        int by = (int)symbols[i + 1] - (int)symbols[i];
        if (by != 0)
            candidates->vins[candidates->count++] = shifted(shifted(vin, i, by, places), i + 1, -by, places);
    }
}

/* A character that no VIN has counts as a blank in `vin`, and can only be the one that is replaced. Returns how many of
 * these there are; with two or more there are no candidates. */
static unsigned gather(struct text text, struct candidates *candidates, struct packed_vin *ret_vin)
{
    unsigned symbols[VIN_LENGTH], bad = 0, bad_position = 0;
    uint64_t places[VIN_LENGTH];
    struct packed_vin vin = {0, 0};

    for (unsigned i = 0; i < VIN_LENGTH; i++) {
        symbols[i] = vin_symbol(text.bytes[i]);
        places[i] = vin_place(i);
        vin = shifted(vin, i, (int)symbols[i], places);
        if (symbols[i] == 0) {
            bad++;
            bad_position = i;
        }
    }
    if (bad == 1) {
        add_replaced(candidates, vin, bad_position, 0, places);
    } else if (bad == 0) {
        for (unsigned i = 0; i < VIN_LENGTH; i++)
            add_replaced(candidates, vin, i, symbols[i], places);
        add_swapped(candidates, vin, symbols, places);
    }
    *ret_vin = vin;
    return bad;
}

/* WM_OK with how many are registered, counted to two, and the first of them. */
static int count_registered(struct office_register *reg, struct candidates *candidates, unsigned *ret_count,
                            struct packed_vin *ret_first)
{
    int status = register_keep_possible(reg, candidates->vins, &candidates->count);

    *ret_count = 0;
    for (unsigned i = 0; status == WM_OK && i < candidates->count && *ret_count < 2; i++) {
        bool found = false;
        status = register_has_packed(reg, candidates->vins[i], &found);
        if (status == WM_OK && found && ++*ret_count == 1)
            *ret_first = candidates->vins[i];
    }
    return status;
}

int register_vin_nearest(struct office_register *office_register, struct text vin, struct arena *arena,
                         struct text *ret_vin)
{
    struct candidates candidates = {.count = 0};
    struct packed_vin packed, nearest = {0, 0};
    bool registered = false;
    unsigned count = 0;
    int status = WM_OK;

    if (vin.length != VIN_LENGTH) {
        *ret_vin = (struct text){"", 0};
        return WM_OK;
    }
    if (gather(vin, &candidates, &packed) == 0)
        status = register_has_packed(office_register, packed, &registered);
    if (status == WM_OK && !registered)
        status = count_registered(office_register, &candidates, &count, &nearest);
    if (status != WM_OK)
        return status;
    char room[VIN_LENGTH + 1];
    struct text found = {room, count == 1 ? vin_unpack(nearest, room) : 0};
    found = text_copy(arena, found);
    if (found.bytes == NULL)
        return WM_NO_MEMORY;
    *ret_vin = found;
    return WM_OK;
}
