/* How the classes of a column are made: cut points, a sweep over their positions, and the sets on the way. */
#include "tables/classes.h"

#include <assert.h>
#include <stdlib.h>

#include "base/limits.h"
#include "base/status.h"

/* A literal of one cell. */
struct mention {
    uint32_t cell;
    struct operand *operand;
};

/* Work of one classes_build. Its memory is given back at the end; what stays is in `arena`. */
struct builder {
    const struct class_source *source;
    struct arena *arena;
    struct arena work;
    struct classes *classes;
    uint32_t words;
    bool gaps_alike;                /* no cell has an ordering */

    struct mention *mentions;
    uint32_t mention_count;
    uint32_t *mentions_of_cut;      /* cut_count + 1: where each cut's mentions start */

    uint32_t *row_start;            /* cell_count + 1: where each cell's rows start in rows */
    uint32_t *rows;

    bool *holds;                    /* of each cell, at the position of the sweep */
    uint64_t *set;                  /* of rows, likewise */

    /* What has been kept so far. */
    uint64_t *kept_sets;
    uint32_t set_count;
    size_t set_capacity;
    uint32_t *index;                /* hash of whole sets: class + 1 */
    uint32_t index_mask;

    /* Where sets are kept at checkpoints. */
    bool has_checkpoints;
    uint32_t *steps;
    size_t step_count, step_capacity;
    bool no_memory;                 /* a step could not be noted */
};

bool cell_is_classable(const struct cell *cell, bool any_case)
{
    return !cell->names_fact && !cell->has_pattern && !(any_case && cell->has_ordering);
}

static bool is_classable(const struct builder *builder, uint32_t cell)
{
    return cell_is_classable(builder->source->cells[cell], builder->source->any_case);
}

/* --- Cut points ---------------------------------------------------------------------------------------- */

static void add_mention(struct builder *builder, uint32_t cell, struct operand *operand)
{
    if (builder->mentions != NULL)
        builder->mentions[builder->mention_count] = (struct mention){cell, operand};
    builder->mention_count++;
}

static void walk_mentions(struct builder *builder)
{
    builder->mention_count = 0;
    for (uint32_t c = 0; c < builder->source->cell_count; c++) {
        struct cell *cell = builder->source->cells[c];
        for (uint32_t t = 0; t < cell->test_count && is_classable(builder, c); t++) {
            struct test *test = &cell->tests[t];
            if (test->kind == TEST_RANGE && test->has_low)
                add_mention(builder, c, &test->low);
            if (test->kind == TEST_EQUAL || (test->kind == TEST_RANGE && test->has_high))
                add_mention(builder, c, &test->high);
        }
    }
}

static int order_literals(struct value a, struct value b, bool any_case)
{
    if (a.type == VALUE_TEXT && any_case)
        return text_compare_any_case(value_as_text(a), value_as_text(b));
    return value_order(a, b);
}

static int compare_mentions(const void *a, const void *b, void *context)
{
    const struct builder *builder = context;
    const struct mention *first = a, *second = b;

    return order_literals(first->operand->literal, second->operand->literal, builder->source->any_case);
}

/* Numbers the different literals in order and tells each operand its number. */
static uint32_t number_cuts(struct builder *builder)
{
    uint32_t cuts = 0;

    for (uint32_t i = 0; i < builder->mention_count; i++) {
        if (i > 0 && compare_mentions(&builder->mentions[i - 1], &builder->mentions[i], builder) != 0)
            cuts++;
        builder->mentions[i].operand->cut = cuts;
    }
    return builder->mention_count > 0 ? cuts + 1 : 0;
}

static int store_cuts(struct builder *builder)
{
    struct classes *classes = builder->classes;
    bool is_text = builder->source->type == VALUE_TEXT;

    builder->mentions_of_cut = ARENA_ARRAY(&builder->work, uint32_t, classes->cut_count + 1);
    if (is_text)
        classes->texts = ARENA_ARRAY(builder->arena, struct text, classes->cut_count);
    else
        classes->numbers = ARENA_ARRAY(builder->arena, int64_t, classes->cut_count);
    if (builder->mentions_of_cut == NULL || (is_text ? classes->texts == NULL : classes->numbers == NULL))
        return WM_NO_MEMORY;
    for (uint32_t i = builder->mention_count; i-- > 0;) {
        const struct operand *operand = builder->mentions[i].operand;
        builder->mentions_of_cut[operand->cut] = i;
        if (is_text)
            classes->texts[operand->cut] = value_as_text(operand->literal);
        else
            classes->numbers[operand->cut] = operand->literal.number;
    }
    builder->mentions_of_cut[classes->cut_count] = builder->mention_count;
    return WM_OK;
}

static int find_cuts(struct builder *builder)
{
    walk_mentions(builder);
    builder->mentions = ARENA_ARRAY(&builder->work, struct mention, builder->mention_count);
    if (builder->mentions == NULL)
        return WM_NO_MEMORY;
    walk_mentions(builder);
    qsort_r(builder->mentions, builder->mention_count, sizeof *builder->mentions, compare_mentions, builder);
    builder->classes->cut_count = number_cuts(builder);
    return store_cuts(builder);
}

/* --- Which rows have which cell ------------------------------------------------------------------------ */

static int list_rows(struct builder *builder)
{
    const struct class_source *source = builder->source;
    uint32_t *next = ARENA_ARRAY(&builder->work, uint32_t, source->cell_count + 1);

    builder->row_start = ARENA_ARRAY(&builder->work, uint32_t, source->cell_count + 1);
    builder->rows = ARENA_ARRAY(&builder->work, uint32_t, source->row_count);
    if (next == NULL || builder->row_start == NULL || builder->rows == NULL)
        return WM_NO_MEMORY;
    for (uint32_t r = 0; r < source->row_count; r++)
        builder->row_start[source->cell_of_row[r] + 1]++;
    for (uint32_t c = 0; c < source->cell_count; c++) {
        builder->row_start[c + 1] += builder->row_start[c];
        next[c] = builder->row_start[c];
    }
    for (uint32_t r = 0; r < source->row_count; r++)
        builder->rows[next[source->cell_of_row[r]]++] = r;
    return WM_OK;
}

/* --- The sweep: from position to position, only cells that mention the cut change ---------------------- */

static bool holds_at(const struct builder *builder, uint32_t cell, int64_t position, bool is_null)
{
    struct subject subject = {.kind = SUBJECT_POSITION, .position = position};
    struct evaluation evaluation = {.any_case = builder->source->any_case};

    if (!is_classable(builder, cell))
        return true;
    subject.value.type = is_null ? VALUE_NULL : (uint8_t)builder->source->type;
    return cell_test(builder->source->cells[cell], &subject, &evaluation) == TRUTH_HOLDS;
}

static void note_step(struct builder *builder, uint32_t row)
{
    if (builder->step_count == builder->step_capacity) {
        size_t capacity = builder->step_capacity ? builder->step_capacity * 2 : 4096;
        uint32_t *grown = realloc(builder->steps, capacity * sizeof *grown);
        if (grown == NULL) {
            builder->no_memory = true;
            return;
        }
        builder->steps = grown;
        builder->step_capacity = capacity;
    }
    builder->steps[builder->step_count++] = row;
}

static void set_cell(struct builder *builder, uint32_t cell, bool holds)
{
    if (builder->holds[cell] == holds)
        return;
    builder->holds[cell] = holds;
    for (uint32_t i = builder->row_start[cell]; i < builder->row_start[cell + 1]; i++) {
        uint32_t row = builder->rows[i];
        builder->set[row / 64] ^= UINT64_C(1) << row % 64;
        if (builder->has_checkpoints)
            note_step(builder, row);
    }
}

static void move_to(struct builder *builder, int64_t position, bool is_null)
{
    for (uint32_t c = 0; c < builder->source->cell_count; c++)
        set_cell(builder, c, holds_at(builder, c, position, is_null));
}

/* From the position below to this one, or from the cut below. */
static void step_to(struct builder *builder, int64_t position)
{
    uint32_t cut = (uint32_t)(position - 1) / 2;

    for (uint32_t i = builder->mentions_of_cut[cut]; i < builder->mentions_of_cut[cut + 1]; i++)
        set_cell(builder, builder->mentions[i].cell, holds_at(builder, builder->mentions[i].cell, position, false));
}

/* --- Sets kept whole ----------------------------------------------------------------------------------- */

static uint64_t hash_set(const uint64_t *set, uint32_t words)
{
    uint64_t hash = UINT64_C(0x9e3779b97f4a7c15);

    for (uint32_t w = 0; w < words; w++) {
        hash = (hash ^ set[w]) * UINT64_C(0xff51afd7ed558ccd);
        hash ^= hash >> 29;
    }
    return hash;
}

static int grow_index(struct builder *builder)
{
    uint32_t size = builder->index == NULL ? 64 : (builder->index_mask + 1) * 2;

    builder->index = ARENA_ARRAY(&builder->work, uint32_t, size);
    if (builder->index == NULL)
        return WM_NO_MEMORY;
    builder->index_mask = size - 1;
    for (uint32_t c = 0; c < builder->classes->class_count; c++) {
        uint64_t at = hash_set(builder->kept_sets + (size_t)c * builder->words, builder->words);
        while (builder->index[at & builder->index_mask] != 0)
            at++;
        builder->index[at & builder->index_mask] = c + 1;
    }
    return WM_OK;
}

static int grow_sets(struct builder *builder)
{
    size_t set_bytes = builder->words * sizeof(uint64_t);
    size_t most = LIMIT_COLUMN_SET_BYTES / set_bytes;
    size_t capacity = builder->set_capacity ? builder->set_capacity * 2 : 16;

    if (capacity > most)
        capacity = most;
    if (capacity <= builder->set_count)
        return WM_LIMIT;
    uint64_t *grown = realloc(builder->kept_sets, capacity * set_bytes);
    if (grown == NULL)
        return WM_NO_MEMORY;
    builder->kept_sets = grown;
    builder->set_capacity = capacity;
    return WM_OK;
}

/* Keeps the set as it is now. */
static int keep_set(struct builder *builder)
{
    int status = builder->set_count == builder->set_capacity ? grow_sets(builder) : WM_OK;

    if (status != WM_OK)
        return status;
    memcpy(builder->kept_sets + (size_t)builder->set_count * builder->words, builder->set,
           builder->words * sizeof(uint64_t));
    builder->set_count++;
    return WM_OK;
}

static int finish_sets(struct builder *builder)
{
    size_t count = (size_t)builder->set_count * builder->words;

    builder->classes->sets = ARENA_ARRAY(builder->arena, uint64_t, count);
    if (builder->classes->sets == NULL)
        return WM_NO_MEMORY;
    memcpy(builder->classes->sets, builder->kept_sets, count * sizeof(uint64_t));
    return WM_OK;
}

static int keep_whole(struct builder *builder, uint32_t *ret_class)
{
    struct classes *classes = builder->classes;
    int status = WM_OK;

    if (builder->index == NULL || classes->class_count >= builder->index_mask / 2)
        status = grow_index(builder);
    if (status != WM_OK)
        return status;
    uint64_t at = hash_set(builder->set, builder->words);
    size_t set_bytes = builder->words * sizeof(uint64_t);
    for (; builder->index[at & builder->index_mask] != 0; at++) {
        uint32_t known = builder->index[at & builder->index_mask] - 1;
        if (memcmp(builder->kept_sets + (size_t)known * builder->words, builder->set, set_bytes) == 0) {
            *ret_class = known;
            return WM_OK;
        }
    }
    status = keep_set(builder);
    if (status != WM_OK)
        return status;
    *ret_class = classes->class_count++;
    builder->index[at & builder->index_mask] = *ret_class + 1;
    return WM_OK;
}

/* --- Sets kept at checkpoints -------------------------------------------------------------------------- */

static bool has_ordering(const struct builder *builder)
{
    for (uint32_t c = 0; c < builder->source->cell_count; c++)
        if (is_classable(builder, c) && builder->source->cells[c]->has_ordering)
            return true;
    return false;
}

/* A checkpoint takes in all steps so far. */
static int add_checkpoint(struct builder *builder)
{
    builder->classes->steps_start[builder->set_count] = (uint32_t)builder->step_count;
    return keep_set(builder);
}

static bool needs_checkpoint(const struct builder *builder, bool is_null)
{
    if (builder->set_count == 0 || is_null)
        return true;
    return builder->step_count - builder->classes->steps_start[builder->set_count - 1] > CHECKPOINT_STEPS;
}

/* Each position is a class, but gaps that are all alike are one. */
static int keep_step(struct builder *builder, int64_t position, bool is_null, uint32_t *ret_class)
{
    struct classes *classes = builder->classes;
    int status = WM_OK;

    if (builder->no_memory)
        return WM_NO_MEMORY;
    if (!is_null && position > 0 && position % 2 == 0 && builder->gaps_alike) {
        *ret_class = 0;
        return WM_OK;
    }
    if (builder->step_count * sizeof(uint32_t) > LIMIT_COLUMN_SET_BYTES)
        return WM_LIMIT;
    if (needs_checkpoint(builder, is_null))
        status = add_checkpoint(builder);
    if (status != WM_OK)
        return status;
    *ret_class = classes->class_count++;
    classes->checkpoint_of_class[*ret_class] = builder->set_count - 1;
    classes->steps_end[*ret_class] = (uint32_t)builder->step_count;
    return WM_OK;
}

static int start_steps(struct builder *builder)
{
    struct classes *classes = builder->classes;
    size_t most = 2 * (size_t)classes->cut_count + 2;

    classes->checkpoint_of_class = ARENA_ARRAY(builder->arena, uint32_t, most);
    classes->steps_end = ARENA_ARRAY(builder->arena, uint32_t, most);
    classes->steps_start = ARENA_ARRAY(builder->arena, uint32_t, most);
    if (classes->checkpoint_of_class == NULL || classes->steps_end == NULL || classes->steps_start == NULL)
        return WM_NO_MEMORY;
    builder->has_checkpoints = true;
    return WM_OK;
}

static int finish_steps(struct builder *builder)
{
    struct classes *classes = builder->classes;

    classes->steps = ARENA_ARRAY(builder->arena, uint32_t, builder->step_count);
    if (classes->steps == NULL)
        return WM_NO_MEMORY;
    assert(builder->step_count > 0); /* there were more sets than one */
    memcpy(classes->steps, builder->steps, builder->step_count * sizeof(uint32_t));
    return WM_OK;
}

/* --- Classes of all positions -------------------------------------------------------------------------- */

static int keep(struct builder *builder, int64_t position, bool is_null, uint32_t *ret_class)
{
    return builder->has_checkpoints ? keep_step(builder, position, is_null, ret_class)
                                    : keep_whole(builder, ret_class);
}

static int sweep(struct builder *builder)
{
    struct classes *classes = builder->classes;

    classes->class_count = builder->set_count = 0;
    int status = keep(builder, 0, false, &classes->class_of_position[0]);
    for (int64_t p = 1; status == WM_OK && p <= 2 * (int64_t)classes->cut_count; p++) {
        step_to(builder, p);
        status = keep(builder, p, false, &classes->class_of_position[p]);
    }
    if (status != WM_OK)
        return status;
    move_to(builder, 0, true);
    return keep(builder, 0, true, &classes->class_of_null);
}

static int sweep_whole(struct builder *builder)
{
    move_to(builder, 0, false);
    int status = sweep(builder);
    return status == WM_OK ? finish_sets(builder) : status;
}

static int sweep_checkpoints(struct builder *builder)
{
    move_to(builder, 0, false);
    int status = start_steps(builder);
    if (status == WM_OK)
        status = sweep(builder);
    if (status == WM_OK)
        status = finish_steps(builder);
    return status == WM_OK ? finish_sets(builder) : status;
}

static int start_sweep(struct builder *builder)
{
    struct classes *classes = builder->classes;

    builder->holds = ARENA_ARRAY(&builder->work, bool, builder->source->cell_count);
    builder->set = ARENA_ARRAY(&builder->work, uint64_t, builder->words);
    classes->class_of_position = ARENA_ARRAY(builder->arena, uint32_t, 2 * (size_t)classes->cut_count + 1);
    if (builder->holds == NULL || builder->set == NULL || classes->class_of_position == NULL)
        return WM_NO_MEMORY;
    return WM_OK;
}

/* --- Building, from start to end ----------------------------------------------------------------------- */

static int build(struct builder *builder)
{
    struct classes *classes = builder->classes;

    classes->any_case = builder->source->any_case;
    builder->gaps_alike = !has_ordering(builder);
    if (builder->source->type == VALUE_TEXT)
        classes->lookup = builder->gaps_alike ? LOOKUP_TEXT_HASH : LOOKUP_TEXT_ORDER;
    int status = find_cuts(builder);
    if (status == WM_OK)
        status = list_rows(builder);
    if (status == WM_OK)
        status = start_sweep(builder);
    if (status != WM_OK)
        return status;
    status = sweep_whole(builder);
    if (status == WM_LIMIT)
        status = sweep_checkpoints(builder);
    return status == WM_OK ? classes_index(builder->arena, classes, builder->source->type) : status;
}

static bool leaves_out(const struct builder *builder)
{
    for (uint32_t c = 0; c < builder->source->cell_count; c++)
        if (is_classable(builder, c) && !builder->source->cells[c]->any)
            return true;
    return false;
}

int classes_build(struct arena *arena, const struct class_source *source, struct classes *ret_classes)
{
    struct builder builder = {.source = source, .arena = arena, .work = ARENA_EMPTY, .classes = ret_classes};

    *ret_classes = (struct classes){.class_count = 1};
    builder.words = (source->row_count + 63) / 64;
    if (!leaves_out(&builder))
        return WM_OK;
    int status = build(&builder);
    if (status == WM_LIMIT)
        *ret_classes = (struct classes){.class_count = 1};
    else
        ret_classes->decides = true;
    free(builder.kept_sets);
    free(builder.steps);
    arena_free(&builder.work);
    return status;
}
