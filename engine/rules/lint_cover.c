#include "rules/lint_cover.h"

#include <stdlib.h>

#include "base/status.h"

enum {
    MOST_ACTIVE = 64,              /* columns that tell rows apart, in one search: one bit each */
    MOST_COMPARED = 256,           /* classes that are compared each with each */
    MOST_WORK = 100 * 1000 * 1000, /* steps of one search: some tenths of a second */
    MOST_MEMO_BYTES = 64 * 1024 * 1024
};

/* A column that tells the rows in question apart. */
struct sweep_column {
    uint32_t dim;
    uint32_t class_count; /* those of the box */
    uint32_t *classes;    /* their numbers */
    uint64_t *sets;       /* of each: the rows that hold there */
    uint32_t *lean;       /* places in `classes` of those that need a look: no other leaves fewer rows */
    uint32_t lean_count;
};

struct memo {
    uint64_t **entries; /* columns left, then the rows left */
    uint32_t capacity, count;
};

struct level {
    uint64_t *children; /* a row set for each class of the column taken */
    uint32_t *order;
    uint32_t column, class_at; /* what was chosen */
};

struct search {
    const struct lint_space *space;
    struct arena *arena; /* of the search */
    const uint64_t *box;
    struct sweep_column columns[MOST_ACTIVE];
    uint32_t column_count;
    uint32_t *rows; /* the rows to avoid that are met in the box at all */
    uint32_t row_count, words;
    uint64_t *open; /* of each row: the columns that leave it out somewhere */
    struct level levels[MOST_ACTIVE + 1];
    uint32_t depth; /* of the point that was found */
    struct memo memo;
    uint64_t work;
    bool no_memory;
};

/* --- Bit sets ------------------------------------------------------------------------------------- */

static bool is_empty(const uint64_t *set, uint32_t words)
{
    for (uint32_t w = 0; w < words; w++)
        if (set[w] != 0)
            return false;
    return true;
}

static bool is_within(const uint64_t *set, const uint64_t *other, uint32_t words)
{
    for (uint32_t w = 0; w < words; w++)
        if (set[w] & ~other[w])
            return false;
    return true;
}

static uint32_t size_of(const uint64_t *set, uint32_t words)
{
    uint32_t size = 0;

    for (uint32_t w = 0; w < words; w++)
        size += (uint32_t)__builtin_popcountll(set[w]);
    return size;
}

/* --- Preparing ------------------------------------------------------------------------------------ */

/* Where a row surely holds, or may. */
enum certainty { CERTAIN, POSSIBLE };

static const uint64_t *class_set(const struct lint_space *space, uint32_t dim, uint32_t class_number,
                                 enum certainty certainty)
{
    const struct lint_dim *of = &space->dims[dim];

    return (certainty == CERTAIN ? of->must : of->may) + (size_t)class_number * space->row_words;
}

/* Rows that hold in some class of the box, and those that hold in all. */
static void fold_classes(const struct lint_space *space, const uint64_t *box, uint32_t dim,
                         enum certainty certainty, uint64_t *some, uint64_t *all)
{
    memset(some, 0, space->row_words * sizeof *some);
    memset(all, 0xff, space->row_words * sizeof *all);
    for (uint32_t k = 0; k < space->dims[dim].class_count; k++) {
        if (!lint_box_has(space, box, dim, k))
            continue;
        const uint64_t *set = class_set(space, dim, k, certainty);
        for (uint32_t w = 0; w < space->row_words; w++) {
            some[w] |= set[w];
            all[w] &= set[w];
        }
    }
}

struct preparation {
    const struct lint_question *question;
    const uint64_t *region_avoid; /* NULL: none */
    enum certainty certainty;     /* of the rows to avoid */
    uint64_t *rows;               /* those met in the box */
    uint64_t *all;                /* for each dimension: the rows that hold in all its classes */
};

static bool is_ignored(const struct preparation *preparation, uint32_t dim)
{
    return preparation->question->ignored_dim == (int)dim;
}

static int find_rows(struct search *search, struct preparation *preparation)
{
    const struct lint_space *space = search->space;
    uint32_t words = space->row_words;
    uint64_t *some = ARENA_ARRAY(search->arena, uint64_t, words);

    preparation->rows = ARENA_ARRAY(search->arena, uint64_t, words);
    preparation->all = ARENA_ARRAY(search->arena, uint64_t, (size_t)words * space->dim_count);
    if (some == NULL || preparation->rows == NULL || preparation->all == NULL)
        return WM_NO_MEMORY;
    for (uint32_t w = 0; w < words; w++) {
        preparation->rows[w] |= preparation->question->avoid != NULL ? preparation->question->avoid[w] : 0;
        preparation->rows[w] |= preparation->region_avoid != NULL ? preparation->region_avoid[w] : 0;
    }
    for (uint32_t d = 0; d < space->dim_count; d++) {
        uint64_t *all = preparation->all + (size_t)d * words;
        fold_classes(space, search->box, d, preparation->certainty, some, all);
        search->work += (uint64_t)space->dims[d].class_count * words;
        if (is_ignored(preparation, d))
            memset(all, 0xff, words * sizeof *all);
        for (uint32_t w = 0; w < words && !is_ignored(preparation, d); w++)
            preparation->rows[w] &= some[w];
    }
    return WM_OK;
}

static int number_rows(struct search *search, const struct preparation *preparation)
{
    search->row_count = size_of(preparation->rows, search->space->row_words);
    search->words = (search->row_count + 63) / 64;
    search->rows = ARENA_ARRAY(search->arena, uint32_t, search->row_count);
    search->open = ARENA_ARRAY(search->arena, uint64_t, search->row_count);
    if (search->rows == NULL || search->open == NULL)
        return WM_NO_MEMORY;
    uint32_t n = 0;
    for (uint32_t row = 0; row < search->space->row_count; row++)
        if (bit_is_set(preparation->rows, row))
            search->rows[n++] = row;
    return WM_OK;
}

static int list_classes(struct search *search, struct sweep_column *column, enum certainty certainty)
{
    const struct lint_space *space = search->space;
    uint32_t classes = lint_box_width(space, search->box, column->dim);

    column->classes = ARENA_ARRAY(search->arena, uint32_t, classes);
    column->lean = ARENA_ARRAY(search->arena, uint32_t, classes);
    column->sets = ARENA_ARRAY(search->arena, uint64_t, (size_t)classes * search->words);
    if (column->classes == NULL || column->lean == NULL || column->sets == NULL)
        return WM_NO_MEMORY;
    for (uint32_t k = 0; k < space->dims[column->dim].class_count; k++) {
        if (!lint_box_has(space, search->box, column->dim, k))
            continue;
        const uint64_t *set = class_set(space, column->dim, k, certainty);
        uint64_t *compact = column->sets + (size_t)column->class_count * search->words;
        for (uint32_t n = 0; n < search->row_count; n++)
            if (bit_is_set(set, search->rows[n]))
                bit_set(compact, n);
        column->classes[column->class_count++] = k;
    }
    search->work += (uint64_t)classes * search->row_count;
    return WM_OK;
}

/* Whether the set at `at` need not be looked at, as another is a part of it; of equal ones the first stays. */
static bool is_fat(const uint64_t *sets, uint32_t count, uint32_t at, uint32_t words)
{
    const uint64_t *set = sets + (size_t)at * words;

    for (uint32_t i = 0; i < count; i++) {
        const uint64_t *other = sets + (size_t)i * words;
        if (i != at && is_within(other, set, words) && (i < at || !is_within(set, other, words)))
            return true;
    }
    return false;
}

static void find_lean(struct search *search, struct sweep_column *column)
{
    bool compare = column->class_count <= MOST_COMPARED;

    for (uint32_t i = 0; i < column->class_count; i++)
        if (!compare || !is_fat(column->sets, column->class_count, i, search->words))
            column->lean[column->lean_count++] = i;
    search->work += compare ? (uint64_t)column->class_count * column->class_count : 0;
}

static bool tells_apart(const struct search *search, const struct preparation *preparation, uint32_t dim)
{
    const uint64_t *all = preparation->all + (size_t)dim * search->space->row_words;

    return !is_within(preparation->rows, all, search->space->row_words);
}

/* WM_LIMIT: too many columns. */
static int find_columns(struct search *search, const struct preparation *preparation)
{
    for (uint32_t d = 0; d < search->space->dim_count; d++) {
        if (!tells_apart(search, preparation, d))
            continue;
        if (search->column_count == MOST_ACTIVE)
            return WM_LIMIT;
        struct sweep_column *column = &search->columns[search->column_count];
        *column = (struct sweep_column){.dim = d};
        if (list_classes(search, column, preparation->certainty) != WM_OK)
            return WM_NO_MEMORY;
        find_lean(search, column);
        const uint64_t *all = preparation->all + (size_t)d * search->space->row_words;
        for (uint32_t n = 0; n < search->row_count; n++)
            if (!bit_is_set(all, search->rows[n]))
                search->open[n] |= UINT64_C(1) << search->column_count;
        search->column_count++;
    }
    return WM_OK;
}

/* --- What was found to be covered ----------------------------------------------------------------- */

static uint64_t hash_of(const struct search *search, uint64_t left, const uint64_t *set)
{
    uint64_t hash = left * UINT64_C(0x9e3779b97f4a7c15);

    for (uint32_t w = 0; w < search->words; w++) {
        hash = (hash ^ set[w]) * UINT64_C(0xff51afd7ed558ccd);
        hash ^= hash >> 32;
    }
    return hash;
}

static uint64_t **memo_slot(const struct search *search, uint64_t left, const uint64_t *set)
{
    const struct memo *memo = &search->memo;
    uint64_t at = hash_of(search, left, set);

    for (;; at++) {
        uint64_t **slot = &memo->entries[at & (memo->capacity - 1)];
        if (*slot == NULL || ((*slot)[0] == left && memcmp(*slot + 1, set, search->words * sizeof *set) == 0))
            return slot;
    }
}

static bool is_known(const struct search *search, uint64_t left, const uint64_t *set)
{
    return search->memo.capacity > 0 && *memo_slot(search, left, set) != NULL;
}

static void grow_memo(struct search *search)
{
    struct memo *memo = &search->memo, old = *memo;

    if (old.capacity > 0 && old.count < old.capacity / 2)
        return;
    memo->capacity = old.capacity ? old.capacity * 2 : 1024;
    memo->entries = ARENA_ARRAY(search->arena, uint64_t *, memo->capacity);
    if (memo->entries == NULL) {
        *memo = old;
        search->no_memory = true;
        return;
    }
    for (uint32_t i = 0; i < old.capacity; i++)
        if (old.entries[i] != NULL)
            *memo_slot(search, old.entries[i][0], old.entries[i] + 1) = old.entries[i];
}

static size_t entry_bytes(const struct search *search)
{
    return (search->words + 1) * sizeof(uint64_t);
}

static bool has_room(const struct search *search)
{
    return (search->memo.count + 1) * (entry_bytes(search) + 16) <= MOST_MEMO_BYTES;
}

static void remember(struct search *search, uint64_t left, const uint64_t *set)
{
    size_t bytes = entry_bytes(search);

    grow_memo(search);
    uint64_t *entry = search->no_memory ? NULL : arena_bytes(search->arena, bytes);
    if (entry == NULL) {
        search->no_memory = true;
        return;
    }
    entry[0] = left;
    memcpy(entry + 1, set, bytes - sizeof *entry);
    *memo_slot(search, left, set) = entry;
    search->memo.count++;
}

/* --- The sweep ------------------------------------------------------------------------------------ */

/* The column to take next: of those that the most general row leaves open, the one that leaves out most rows.
 * False: a row is left that nothing leaves out. */
static bool choose_column(const struct search *search, uint64_t left, const uint64_t *set, uint32_t *ret_column)
{
    uint32_t leaves_out[MOST_ACTIVE] = {0}, fewest = MOST_ACTIVE + 1;
    uint64_t general = 0;

    for (uint32_t w = 0; w < search->words; w++)
        for (uint64_t bits = set[w]; bits != 0; bits &= bits - 1) {
            uint64_t open = search->open[w * 64 + (uint32_t)__builtin_ctzll(bits)] & left;
            uint32_t columns = (uint32_t)__builtin_popcountll(open);
            if (columns == 0)
                return false;
            if (columns < fewest) {
                fewest = columns;
                general = open;
            }
            for (; open != 0; open &= open - 1)
                leaves_out[__builtin_ctzll(open)]++;
        }
    *ret_column = (uint32_t)__builtin_ctzll(general);
    for (; general != 0; general &= general - 1)
        if (leaves_out[__builtin_ctzll(general)] > leaves_out[*ret_column])
            *ret_column = (uint32_t)__builtin_ctzll(general);
    return true;
}

static bool make_level(struct search *search, struct level *level)
{
    uint32_t most = 0;

    if (level->children != NULL)
        return true;
    for (uint32_t c = 0; c < search->column_count; c++)
        most = search->columns[c].lean_count > most ? search->columns[c].lean_count : most;
    level->children = arena_bytes(search->arena, (size_t)most * search->words * sizeof(uint64_t));
    level->order = arena_bytes(search->arena, most * sizeof(uint32_t));
    search->no_memory = level->children == NULL || level->order == NULL;
    return !search->no_memory;
}

/* The children worth a look, those with fewest rows first. Returns how many. */
static uint32_t make_children(struct search *search, const struct sweep_column *column, const uint64_t *set,
                              struct level *level)
{
    uint32_t words = search->words, count = column->lean_count, kept = 0;
    bool compare = count <= MOST_COMPARED;

    for (uint32_t i = 0; i < count; i++) {
        const uint64_t *own = column->sets + (size_t)column->lean[i] * words;
        for (uint32_t w = 0; w < words; w++)
            level->children[(size_t)i * words + w] = set[w] & own[w];
    }
    for (uint32_t i = 0; i < count; i++) {
        if (compare && is_fat(level->children, count, i, words))
            continue;
        uint32_t size = size_of(level->children + (size_t)i * words, words), at = kept++;
        for (;
             compare && at > 0 && size_of(level->children + (size_t)level->order[at - 1] * words, words) > size;
             at--)
            level->order[at] = level->order[at - 1];
        level->order[at] = i;
    }
    search->work += (uint64_t)count * words * (compare ? 8 : 2);
    return kept;
}

/* Whether there is a point in the columns left at which none of these rows holds. */
static bool sweep(struct search *search, uint32_t depth, uint64_t left, const uint64_t *set)
{
    uint32_t column = 0;
    struct level *level = &search->levels[depth];

    search->work += (uint64_t)search->words * 4 + 16;
    if (is_empty(set, search->words)) {
        search->depth = depth;
        return true;
    }
    if (!choose_column(search, left, set, &column) || is_known(search, left, set))
        return false;
    if (search->work > MOST_WORK || !make_level(search, level))
        return false;
    const struct sweep_column *taken = &search->columns[column];
    uint32_t children = make_children(search, taken, set, level);
    level->column = column;
    for (uint32_t i = 0; i < children; i++) {
        uint32_t child = level->order[i];
        level->class_at = taken->lean[child];
        if (sweep(search, depth + 1, left & ~(UINT64_C(1) << column),
                  level->children + (size_t)child * search->words))
            return true;
        if (search->work > MOST_WORK || search->no_memory)
            return false;
    }
    if (has_room(search))
        remember(search, left, set);
    return false;
}

/* --- From a point to a box as large as may be ----------------------------------------------------- */

static bool chosen_has(const struct search *search, const uint64_t *box, uint32_t column, uint32_t class_at)
{
    const struct sweep_column *of = &search->columns[column];

    return lint_box_has(search->space, box, of->dim, of->classes[class_at]);
}

/* The rows that hold in some class that the box has. */
static void touched(const struct search *search, const uint64_t *box, uint32_t column, uint64_t *rows)
{
    const struct sweep_column *of = &search->columns[column];

    memset(rows, 0, search->words * sizeof *rows);
    for (uint32_t i = 0; i < of->class_count; i++)
        for (uint32_t w = 0; w < search->words && chosen_has(search, box, column, i); w++)
            rows[w] |= of->sets[(size_t)i * search->words + w];
}

/* Adds to the box every class of a column that brings no row with it. */
static void widen(const struct search *search, uint64_t *box, uint32_t column, uint64_t *others, uint64_t *one)
{
    const struct sweep_column *of = &search->columns[column];

    memset(others, 0xff, search->words * sizeof *others);
    for (uint32_t c = 0; c < search->column_count; c++) {
        if (c == column)
            continue;
        touched(search, box, c, one);
        for (uint32_t w = 0; w < search->words; w++)
            others[w] &= one[w];
    }
    for (uint32_t i = 0; i < of->class_count; i++) {
        bool meets = false;
        for (uint32_t w = 0; w < search->words && !meets; w++)
            meets = (others[w] & of->sets[(size_t)i * search->words + w]) != 0;
        if (!meets)
            bit_set(box_dim(search->space, box, of->dim), of->classes[i]);
    }
}

static int make_box(const struct search *search, uint64_t *box)
{
    uint64_t *others = ARENA_ARRAY(search->arena, uint64_t, search->words + 1);
    uint64_t *one = ARENA_ARRAY(search->arena, uint64_t, search->words + 1);

    if (others == NULL || one == NULL)
        return WM_NO_MEMORY;
    for (uint32_t depth = 0; depth < search->depth; depth++) {
        const struct level *level = &search->levels[depth];
        const struct sweep_column *column = &search->columns[level->column];
        lint_box_pin(search->space, box, column->dim, column->classes[level->class_at]);
    }
    for (uint32_t depth = search->depth; depth > 0; depth--)
        widen(search, box, search->levels[depth - 1].column, others, one);
    return WM_OK;
}

/* --- Answers -------------------------------------------------------------------------------------- */

/* One search in a box, which becomes the box of what is found. */
static int search_box(const struct lint_space *space, const struct preparation *asked, struct arena *arena,
                      uint64_t *box, enum lint_answer *ret_answer)
{
    struct search *search = ARENA_NEW(arena, struct search);
    struct preparation preparation = *asked;

    if (search == NULL)
        return WM_NO_MEMORY;
    *ret_answer = LINT_NO;
    if (lint_box_empty_dim(space, box) >= 0)
        return WM_OK;
    search->space = space;
    search->arena = arena;
    search->box = box;
    int status = find_rows(search, &preparation);
    if (status == WM_OK)
        status = number_rows(search, &preparation);
    if (status == WM_OK)
        status = find_columns(search, &preparation);
    uint64_t *all = status == WM_OK ? ARENA_ARRAY(arena, uint64_t, search->words + 1) : NULL;
    if (status == WM_LIMIT) {
        *ret_answer = LINT_TOO_LARGE;
        return WM_OK;
    }
    if (all == NULL)
        return WM_NO_MEMORY;
    for (uint32_t n = 0; n < search->row_count; n++)
        bit_set(all, n);
    uint64_t left = search->column_count == 64 ? ~UINT64_C(0) : (UINT64_C(1) << search->column_count) - 1;
    bool found = sweep(search, 0, left, all);
    if (search->no_memory)
        return WM_NO_MEMORY;
    if (!found) {
        *ret_answer = search->work > MOST_WORK ? LINT_TOO_LARGE : LINT_NO;
        return WM_OK;
    }
    *ret_answer = LINT_YES;
    return make_box(search, box);
}

/* A question about one part of the region. */
struct asking {
    const struct lint_space *space;
    const struct lint_question *question;
    const struct lint_part *part; /* NULL: everywhere */
    struct arena arena;
};

static int search_with(struct asking *asking, enum certainty certainty, enum lint_answer *ret_answer,
                       uint64_t **ret_box)
{
    const struct lint_space *space = asking->space;
    const struct lint_question *question = asking->question;
    uint64_t *box = lint_box_new(space);
    bool certain = certainty == CERTAIN;
    struct preparation preparation = {.question = question,
                                      .region_avoid = asking->part != NULL ? asking->part->avoid : NULL,
                                      .certainty = certain ? POSSIBLE : CERTAIN};

    if (box == NULL)
        return WM_NO_MEMORY;
    for (uint32_t w = 0; question->within != NULL && w < space->box_words; w++)
        box[w] = question->within[w];
    for (uint32_t i = 0; i < question->hit_count; i++)
        lint_box_meet_row(space, box, question->hits[i], certain && !question->may_hit);
    if (asking->part != NULL)
        lint_box_meet_row(space, box, asking->part->hit, certain);
    arena_reset(&asking->arena);
    *ret_box = box;
    return search_box(space, &preparation, &asking->arena, box, ret_answer);
}

/* Whether all rows of the question are decided by classes alone. */
static bool is_decided(const struct asking *asking)
{
    const uint64_t *unsure = asking->space->unsure;
    const uint64_t *const sets[] = {asking->question->avoid, asking->part != NULL ? asking->part->avoid : NULL};

    for (uint32_t i = 0; i < asking->question->hit_count; i++)
        if (!asking->question->may_hit && bit_is_set(unsure, asking->question->hits[i]))
            return false;
    for (int k = 0; k < 2; k++)
        for (uint32_t w = 0; sets[k] != NULL && w < asking->space->row_words; w++)
            if (sets[k][w] & unsure[w])
                return false;
    return asking->part == NULL || !bit_is_set(unsure, asking->part->hit);
}

static int ask_part(struct asking *asking, struct lint_found *ret_found)
{
    enum lint_answer answer;
    uint64_t *box, *certain_box;
    int status = search_with(asking, POSSIBLE, &answer, &box);

    *ret_found = (struct lint_found){answer, box, 0};
    if (status != WM_OK || answer != LINT_YES || is_decided(asking))
        return status;
    status = search_with(asking, CERTAIN, &answer, &certain_box);
    if (answer == LINT_YES)
        *ret_found = (struct lint_found){LINT_YES, certain_box, 0};
    else
        ret_found->answer = answer == LINT_NO ? LINT_MAYBE : LINT_TOO_LARGE;
    return status;
}

static bool says_more(enum lint_answer answer, enum lint_answer than)
{
    static const int ranks[] = {[LINT_NO] = 0, [LINT_MAYBE] = 1, [LINT_TOO_LARGE] = 2, [LINT_YES] = 3};

    return ranks[answer] > ranks[than];
}

int lint_ask(const struct lint_space *space, const struct lint_question *question, struct lint_found *ret_found)
{
    struct asking asking = {space, question, NULL, ARENA_EMPTY};
    uint32_t parts = question->region != NULL ? question->region->count : 1;
    struct lint_found best = {LINT_NO, NULL, 0};
    int status = WM_OK;

    if (space->too_large)
        best.answer = LINT_TOO_LARGE;
    for (uint32_t p = 0; status == WM_OK && p < parts && !space->too_large && best.answer != LINT_YES; p++) {
        struct lint_found found;
        asking.part = question->region != NULL ? &question->region->parts[p] : NULL;
        status = ask_part(&asking, &found);
        found.part = p;
        if (status == WM_OK && says_more(found.answer, best.answer))
            best = found;
    }
    arena_free(&asking.arena);
    if (status == WM_OK)
        *ret_found = best;
    return status;
}
