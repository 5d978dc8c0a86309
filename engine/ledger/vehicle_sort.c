#include "ledger/vehicle_sort.h"

#include <stdbool.h>
#include <string.h>

enum { DIGIT_BITS = 11, DIGITS = 1 << DIGIT_BITS, TAIL_BITS = 27, FEW_ROWS = 64 };

static inline uint32_t digit_of(const struct vehicle_row *row, bool of_tail, unsigned shift)
{
    return (uint32_t)((of_tail ? row->tail : row->hash) >> shift) & (DIGITS - 1);
}

/* One stable pass. false: all rows have the same digit, and nothing was moved. */
static inline bool pass(const struct vehicle_row *from, struct vehicle_row *to, uint32_t count, bool of_tail,
                        unsigned shift)
{
    uint32_t places[DIGITS] = {0}, place = 0;

    for (uint32_t i = 0; i < count; i++)
        places[digit_of(&from[i], of_tail, shift)]++;
    if (places[digit_of(&from[0], of_tail, shift)] == count)
        return false;
    for (unsigned d = 0; d < DIGITS; d++) {
        uint32_t with_digit = places[d];
        places[d] = place;
        place += with_digit;
    }
    for (uint32_t i = 0; i < count; i++)
        to[places[digit_of(&from[i], of_tail, shift)]++] = from[i];
    return true;
}

static void swap(struct vehicle_row **a, struct vehicle_row **b)
{
    struct vehicle_row *held = *a;

    *a = *b;
    *b = held;
}

static inline bool comes_before(const struct vehicle_row *a, const struct vehicle_row *b, bool by_line)
{
    if (a->hash != b->hash)
        return a->hash < b->hash;
    if (a->tail != b->tail)
        return a->tail < b->tail;
    return by_line && a->line < b->line;
}

/* For rows that are nearly in order, or few. */
static void insertion_sort(struct vehicle_row *rows, uint32_t count, bool by_line)
{
    for (uint32_t i = 1; i < count; i++) {
        struct vehicle_row row = rows[i];
        uint32_t to = i;
        for (; to > 0 && comes_before(&row, &rows[to - 1], by_line); to--)
            rows[to] = rows[to - 1];
        rows[to] = row;
    }
}

/* Hashes are spread evenly, so that after two passes over their top bits hardly any neighbours are out of order. */
void vehicle_sort_by_key(struct vehicle_row *rows, struct vehicle_row *scratch, uint32_t count)
{
    struct vehicle_row *from = rows, *to = scratch;

    for (unsigned shift = 64 - 2 * DIGIT_BITS; shift < 64 && count > FEW_ROWS; shift += DIGIT_BITS)
        if (pass(from, to, count, false, shift))
            swap(&from, &to);
    if (from != rows)
        memcpy(rows, from, count * sizeof *rows);
    insertion_sort(rows, count, true);
}

void vehicle_sort_by_number(struct vehicle_row *rows, struct vehicle_row *scratch, uint32_t count)
{
    struct vehicle_row *from = rows, *to = scratch;

    if (count <= FEW_ROWS) {
        insertion_sort(rows, count, false);
        return;
    }
    for (unsigned shift = 0; shift < TAIL_BITS; shift += DIGIT_BITS)
        if (pass(from, to, count, true, shift))
            swap(&from, &to);
    for (unsigned shift = 0; shift < 64; shift += DIGIT_BITS)
        if (pass(from, to, count, false, shift))
            swap(&from, &to);
    if (from != rows)
        memcpy(rows, from, count * sizeof *rows);
}
