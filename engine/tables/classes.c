/* From a value to its class, and from a class to rows. */
#include "tables/classes.h"

#include "base/status.h"

/* A direct index is worth its room up to this many steps: eleven years of days, 4096 model years. */
enum { DIRECT_STEPS = 4096 };

/* --- Text ---------------------------------------------------------------------------------------------- */

static uint64_t fold_of(const struct classes *classes)
{
    return classes->any_case ? TEXT_FOLD_CASE : 0;
}

static int build_hash(struct arena *arena, struct classes *classes)
{
    uint32_t size = 8;

    while (size < classes->cut_count * 3)
        size *= 2;
    classes->buckets = ARENA_ARRAY(arena, uint32_t, size);
    if (classes->buckets == NULL)
        return WM_NO_MEMORY;
    classes->bucket_mask = size - 1;
    for (uint32_t cut = 0; cut < classes->cut_count; cut++) {
        uint64_t at = text_hash_folded(classes->texts[cut], fold_of(classes));
        while (classes->buckets[at & classes->bucket_mask] != 0)
            at++;
        classes->buckets[at & classes->bucket_mask] = cut + 1;
    }
    return WM_OK;
}

static uint32_t text_position(const struct classes *classes, struct text t)
{
    uint32_t low = 0, high = classes->cut_count;

    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        int order = text_compare(classes->texts[middle], t);
        if (order == 0)
            return 2 * middle + 1;
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return 2 * low;
}

static bool is_cut(const struct classes *classes, uint32_t cut, struct text t)
{
    struct text known = classes->texts[cut];

    return classes->any_case ? text_equal_any_case(known, t) : text_equal(known, t);
}

static uint32_t hashed_position(const struct classes *classes, struct text t)
{
    uint64_t at = text_hash_folded(t, fold_of(classes));

    for (;; at++) {
        uint32_t bucket = classes->buckets[at & classes->bucket_mask];
        if (bucket == 0)
            return 0;
        if (is_cut(classes, bucket - 1, t))
            return 2 * (bucket - 1) + 1;
    }
}

/* --- Numbers, dates, booleans -------------------------------------------------------------------------- */

/* The position of a number among the cuts: twice as many as are below it, one more where it is on one. */
static uint32_t number_position(const struct classes *classes, int64_t number)
{
    uint32_t low = 0, left = classes->cut_count;

    while (left > 0) {
        uint32_t half = left / 2;
        bool below = classes->numbers[low + half] < number;
        low = below ? low + half + 1 : low;
        left = below ? left - half - 1 : half;
    }
    return 2 * low + (low < classes->cut_count && classes->numbers[low] == number);
}

/* A direct index where the cuts are whole numbers (or days) close together. */
static int build_direct(struct arena *arena, struct classes *classes, enum value_type type)
{
    int64_t step = type == VALUE_NUMBER ? DECIMAL_ONE : 1, span;

    if (classes->cut_count == 0 ||
        __builtin_sub_overflow(classes->numbers[classes->cut_count - 1], classes->numbers[0], &span) ||
        span / step >= DIRECT_STEPS)
        return WM_OK;
    for (uint32_t i = 0; i < classes->cut_count; i++)
        if ((classes->numbers[i] - classes->numbers[0]) % step != 0)
            return WM_OK;
    uint32_t *direct = ARENA_ARRAY(arena, uint32_t, (size_t)(span / step) + 1);
    if (direct == NULL)
        return WM_NO_MEMORY;
    for (int64_t i = 0; i <= span / step; i++)
        direct[i] = classes->class_of_position[number_position(classes, classes->numbers[0] + i * step)];
    classes->direct_step = step;
    classes->direct = direct;
    return WM_OK;
}

/* --- Either --------------------------------------------------------------------------------------------- */

int classes_index(struct arena *arena, struct classes *classes, enum value_type type)
{
    switch (classes->lookup) {
    case LOOKUP_NUMBER: return build_direct(arena, classes, type);
    case LOOKUP_TEXT_HASH: return build_hash(arena, classes);
    case LOOKUP_TEXT_ORDER: break;
    }
    return WM_OK;
}

uint32_t classes_search(const struct classes *classes, struct value v)
{
    switch (classes->lookup) {
    case LOOKUP_NUMBER: return classes->class_of_position[number_position(classes, v.number)];
    case LOOKUP_TEXT_HASH: return classes->class_of_position[hashed_position(classes, value_as_text(v))];
    case LOOKUP_TEXT_ORDER: break;
    }
    return classes->class_of_position[text_position(classes, value_as_text(v))];
}

/* --- Narrowing a set of rows --------------------------------------------------------------------------- */

/* rows &= set, for a set that is a checkpoint's with some rows changed: a row that stood and is changed (twice is not
 * at all) is put back or taken out. */
static bool narrow_by_steps(const struct classes *classes, uint32_t class_number, uint64_t *rows, uint32_t words)
{
    uint32_t checkpoint = classes->checkpoint_of_class[class_number];
    const uint32_t *steps = classes->steps + classes->steps_start[checkpoint];
    uint32_t count = classes->steps_end[class_number] - classes->steps_start[checkpoint];
    const uint64_t *set = classes->sets + (size_t)checkpoint * words;
    bool stood[CHECKPOINT_STEPS];
    uint64_t left = 0;

    for (uint32_t i = 0; i < count; i++)
        stood[i] = rows[steps[i] / 64] >> steps[i] % 64 & 1;
    for (uint32_t w = 0; w < words; w++)
        left |= rows[w] &= set[w];
    for (uint32_t i = 0; i < count; i++)
        if (stood[i])
            left |= rows[steps[i] / 64] ^= UINT64_C(1) << steps[i] % 64;
    return left != 0;
}

bool classes_narrow(const struct classes *classes, uint32_t class_number, uint64_t *rows, uint32_t words)
{
    uint64_t left = 0;

    if (classes->checkpoint_of_class != NULL)
        return narrow_by_steps(classes, class_number, rows, words);
    const uint64_t *set = classes->sets + (size_t)class_number * words;
    for (uint32_t w = 0; w < words; w++)
        left |= rows[w] &= set[w];
    return left != 0;
}
