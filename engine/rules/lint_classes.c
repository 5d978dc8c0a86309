#include "rules/lint_classes.h"

#include <assert.h>
#include <stdlib.h>

#include "base/status.h"
#include "rules/lint_cells.h"

/* A text that no cell can name, as cells hold no control characters. */
static const char other_text[] = "\x01\x02";

struct cuts {
    struct arena *arena;
    struct value *values;
    uint32_t count, capacity;
    bool no_memory;
    bool ordered; /* some cell has an ordering */
    const struct lint_dim *dim;
};

int lint_condition_on(const struct table *table, uint32_t slot, uint32_t from)
{
    for (uint32_t c = from; c < table_condition_count(table); c++)
        if (table_condition_fact(table, c).slot == slot)
            return (int)c;
    return -1;
}

/* --- Cut points ----------------------------------------------------------------------------------- */

static void add_cut(struct cuts *cuts, struct value v)
{
    if (v.type == VALUE_NULL || cuts->no_memory)
        return;
    if (cuts->count == cuts->capacity) {
        uint32_t capacity = cuts->capacity ? cuts->capacity * 2 : 32;
        struct value *grown = arena_grown(cuts->arena, cuts->values, cuts->count, capacity, sizeof *grown);
        if (grown == NULL) {
            cuts->no_memory = true;
            return;
        }
        cuts->values = grown;
        cuts->capacity = capacity;
    }
    cuts->values[cuts->count++] = v;
}

static void add_operand(struct cuts *cuts, const struct operand *operand)
{
    if (operand->fact == NULL)
        add_cut(cuts, operand->literal);
}

static void add_cell(struct cuts *cuts, const struct cell *cell)
{
    cuts->ordered = cuts->ordered || cell->has_ordering;
    for (uint32_t i = 0; i < cell->test_count; i++) {
        const struct test *test = &cell->tests[i];
        if (test->kind == TEST_EQUAL || (test->kind == TEST_RANGE && test->has_high))
            add_operand(cuts, &test->high);
        if (test->kind == TEST_RANGE && test->has_low)
            add_operand(cuts, &test->low);
    }
}

static void add_table(struct cuts *cuts, const struct table *table)
{
    for (int c = -1; (c = lint_condition_on(table, cuts->dim->slot, (uint32_t)(c + 1))) >= 0;) {
        const struct cell *before = NULL, *domain = table_condition_domain(table, (uint32_t)c);
        for (uint32_t row = 0; row < table_row_count(table); row++) {
            const struct cell *cell = table_condition_test(table, (uint32_t)c, row);
            if (cell != before && !cell->any)
                add_cell(cuts, cell);
            before = cell;
        }
        if (domain != NULL)
            add_cell(cuts, domain);
    }
}

static void add_words(struct cuts *cuts)
{
    struct text rest = text_of(cuts->dim->nature.words), word;

    if (cuts->dim->type == VALUE_BOOLEAN) {
        add_cut(cuts, value_boolean(false));
        add_cut(cuts, value_boolean(true));
    }
    while (cuts->dim->type == VALUE_TEXT && text_next(&rest, ' ', &word))
        add_cut(cuts, value_text(word));
}

static bool is_of_fleet(const struct lint_fleet *fleet, uint32_t slot)
{
    return fleet != NULL && slot < fleet->slot_count && fleet->slots[slot];
}

static void add_fleet_texts(struct cuts *cuts, const struct lint_fleet *fleet)
{
    struct value before = value_null();

    if (!is_of_fleet(fleet, cuts->dim->slot) || cuts->dim->type != VALUE_TEXT)
        return;
    for (uint32_t i = 0; i < fleet->count; i++) {
        struct value v = fleet->vehicles[i].facts[cuts->dim->slot];
        if (!value_equal(v, before, cuts->dim->any_case))
            add_cut(cuts, v);
        before = v;
    }
}

static int by_value(const void *a, const void *b)
{
    return value_order(*(const struct value *)a, *(const struct value *)b);
}

static int by_value_any_case(const void *a, const void *b)
{
    const struct value *one = a, *other = b;
    int order = text_compare_any_case(value_as_text(*one), value_as_text(*other));

    return order != 0 ? order : value_order(*one, *other);
}

/* In order, each once. */
static void sort_cuts(struct cuts *cuts)
{
    bool fold = cuts->dim->any_case && !cuts->ordered; /* any_case: it is text */
    uint32_t kept = 0;

    if (cuts->count > 1)
        qsort(cuts->values, cuts->count, sizeof *cuts->values, fold ? by_value_any_case : by_value);
    for (uint32_t i = 0; i < cuts->count; i++)
        if (kept == 0 || !value_equal(cuts->values[kept - 1], cuts->values[i], fold))
            cuts->values[kept++] = cuts->values[i];
    cuts->count = kept;
}

/* --- What lies between cut points ----------------------------------------------------------------- */

static int64_t multiple_at_most(int64_t number, int64_t step)
{
    int64_t rest = number % step;
    int64_t down;

    if (rest == 0)
        return number;
    return __builtin_sub_overflow(number, rest < 0 ? rest + step : rest, &down) ? number : down;
}

/* The first multiple of step above low and below high; false: there is none. low, high NULL: no end. */
static bool multiple_between(const int64_t *low, const int64_t *high, int64_t step, int64_t *ret_number)
{
    int64_t number = 0;

    if (low != NULL) {
        if (__builtin_add_overflow(multiple_at_most(*low, step), step, &number))
            return false;
    } else if (high != NULL) {
        int64_t below;
        if (__builtin_sub_overflow(*high, 1, &below))
            return false;
        number = multiple_at_most(below, step);
        if (number == INT64_MIN)
            return false;
    }
    if (high != NULL && number >= *high)
        return false;
    *ret_number = number;
    return true;
}

/* A number of the fact between two cuts, a whole one if there is one. */
static bool number_between(const struct lint_dim *dim, const int64_t *low, const int64_t *high,
                           int64_t *ret_number)
{
    static const int64_t below_zero = -1;
    int64_t step = dim->type == VALUE_NUMBER ? dim->nature.step : 1;

    if (dim->nature.not_negative && (low == NULL || *low < below_zero))
        low = &below_zero;
    if (dim->type == VALUE_NUMBER && multiple_between(low, high, DECIMAL_ONE, ret_number)) /* of step, too */
        return true;
    return multiple_between(low, high, step, ret_number);
}

static struct value of_type(const struct lint_dim *dim, int64_t number)
{
    return (struct value){.number = number, .type = (uint8_t)dim->type};
}

static bool is_possible(const struct lint_dim *dim, struct value v)
{
    if (v.type == VALUE_TEXT)
        return dim->nature.words == NULL ||
               fact_word_number(dim->nature.words, value_as_text(v), dim->any_case) >= 0;
    if (v.type != VALUE_NUMBER)
        return true;
    return v.number % dim->nature.step == 0 && !(dim->nature.not_negative && v.number < 0);
}

/* A text just above low: low with the least character behind it. */
static int text_above(struct arena *arena, struct value low, struct value *ret_value)
{
    struct text t = value_as_text(low);
    char *room = arena_bytes(arena, t.length + 1);

    if (room == NULL)
        return WM_NO_MEMORY;
    if (t.length > 0)
        memcpy(room, t.bytes, t.length);
    room[t.length] = '\x01';
    *ret_value = value_text((struct text){room, t.length + 1});
    return WM_OK;
}

static void add_class(struct lint_dim *dim, enum class_kind kind, struct value v, struct value low,
                      struct value high)
{
    dim->classes[dim->class_count++] = (struct lint_class){
        .kind = kind, .value = v, .low = low, .high = high, .in_domain = is_possible(dim, v)};
}

static int add_between(struct arena *arena, struct lint_dim *dim, struct value low, struct value high)
{
    struct value v;
    int64_t number;

    if (dim->type == VALUE_BOOLEAN)
        return WM_OK;
    if (dim->type == VALUE_TEXT) {
        int status = text_above(arena, low, &v);
        if (status != WM_OK)
            return status;
        if (high.type != VALUE_NULL && value_order(v, high) >= 0)
            return WM_OK;
    } else {
        if (!number_between(dim, low.type == VALUE_NULL ? NULL : &low.number,
                            high.type == VALUE_NULL ? NULL : &high.number, &number))
            return WM_OK;
        v = of_type(dim, number);
    }
    add_class(dim, CLASS_BETWEEN, v, low, high);
    return WM_OK;
}

static int add_classes(struct cuts *cuts, struct lint_dim *dim)
{
    bool between = dim->type != VALUE_TEXT || cuts->ordered;
    struct value low = value_null();
    int status = WM_OK;

    dim->classes = ARENA_ARRAY(cuts->arena, struct lint_class, 2 * (size_t)cuts->count + 3);
    if (dim->classes == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; status == WM_OK && i < cuts->count; i++) {
        if (between)
            status = add_between(cuts->arena, dim, low, cuts->values[i]);
        add_class(dim, CLASS_ON, cuts->values[i], value_null(), value_null());
        low = cuts->values[i];
    }
    if (status == WM_OK && between)
        status = add_between(cuts->arena, dim, low, value_null());
    if (!between)
        add_class(dim, CLASS_OTHER, value_text(text_of(other_text)), value_null(), value_null());
    add_class(dim, CLASS_NULL, value_null(), value_null(), value_null());
    return status;
}

/* --- Domain --------------------------------------------------------------------------------------- */

static void mark_fleet(struct lint_dim *dim, const struct lint_fleet *fleet)
{
    for (uint32_t i = 0; i < fleet->count; i++) {
        struct value v = fleet->vehicles[i].facts[dim->slot];
        int number = lint_class_of(dim, v);
        if (number < 0 || dim->classes[number].in_fleet)
            continue;
        dim->classes[number].in_fleet = true;
        if (dim->classes[number].kind == CLASS_BETWEEN)
            dim->classes[number].value = v;
    }
}

/* The domain is what the tables' `values` hold for. */
static int limit_to_values(struct lint_space *space, struct lint_dim *dim)
{
    struct lint_cells cells;
    int status = lint_cells_open(&cells, dim->slot + 1);

    if (status != WM_OK)
        return status;
    for (uint32_t k = 0; k < dim->class_count; k++) {
        bool held = false;
        for (uint32_t t = 0; t < space->table_count; t++)
            for (int c = -1; (c = lint_condition_on(space->tables[t], dim->slot, (uint32_t)(c + 1))) >= 0;) {
                const struct cell *domain = table_condition_domain(space->tables[t], (uint32_t)c);
                held = held || (domain != NULL && (domain->names_fact || /* it may be anything */
                                                   lint_cell_at(&cells, domain, dim, &dim->classes[k]).may));
            }
        dim->classes[k].in_domain = dim->classes[k].in_domain && held;
    }
    lint_cells_close(&cells);
    return WM_OK;
}

/* Without `values`: what the tables mention and what the fleet has. */
static void limit_to_fleet(struct lint_dim *dim)
{
    for (uint32_t k = 0; k < dim->class_count; k++)
        if (dim->classes[k].kind != CLASS_ON)
            dim->classes[k].in_domain = dim->classes[k].in_fleet;
}

static bool has_values(const struct lint_space *space, uint32_t slot)
{
    for (uint32_t t = 0; t < space->table_count; t++)
        for (int c = -1; (c = lint_condition_on(space->tables[t], slot, (uint32_t)(c + 1))) >= 0;)
            if (table_condition_domain(space->tables[t], (uint32_t)c) != NULL)
                return true;
    return false;
}

static int find_domain(struct lint_space *space, struct lint_dim *dim, const struct lint_knowledge *knowledge)
{
    bool known_boolean = dim->type == VALUE_BOOLEAN && knowledge->options_are_known;
    struct lint_class *null_class = &dim->classes[dim->class_count - 1];

    null_class->in_domain = !dim->nature.never_null && !known_boolean;
    for (uint32_t k = 0; k < dim->class_count; k++)
        if (dim->classes[k].kind == CLASS_OTHER && dim->nature.words != NULL)
            dim->classes[k].in_domain = false;
    dim->has_values = has_values(space, dim->slot);
    if (is_of_fleet(knowledge->fleet, dim->slot))
        mark_fleet(dim, knowledge->fleet);
    if (dim->has_values)
        return limit_to_values(space, dim);
    if (is_of_fleet(knowledge->fleet, dim->slot) && !known_boolean)
        limit_to_fleet(dim);
    return WM_OK;
}

int lint_classes_make(struct lint_space *space, uint32_t number, const struct lint_knowledge *knowledge)
{
    struct lint_dim *dim = &space->dims[number];
    struct cuts cuts = {.arena = space->arena, .dim = dim};

    for (uint32_t t = 0; t < space->table_count; t++)
        add_table(&cuts, space->tables[t]);
    add_words(&cuts);
    add_fleet_texts(&cuts, knowledge->fleet);
    if (cuts.no_memory)
        return WM_NO_MEMORY;
    sort_cuts(&cuts);
    int status = add_classes(&cuts, dim);
    return status != WM_OK ? status : find_domain(space, dim, knowledge);
}

/* --- From a value to its class -------------------------------------------------------------------- */

static bool class_has(const struct lint_dim *dim, const struct lint_class *at, struct value v)
{
    switch (at->kind) {
    case CLASS_NULL: return v.type == VALUE_NULL;
    case CLASS_OTHER: return v.type != VALUE_NULL; /* asked last */
    case CLASS_ON: return value_equal(at->value, v, dim->any_case);
    case CLASS_BETWEEN: break;
    }
    return v.type != VALUE_NULL && (at->low.type == VALUE_NULL || value_order(at->low, v) < 0) &&
           (at->high.type == VALUE_NULL || value_order(v, at->high) < 0);
}

int lint_class_of(const struct lint_dim *dim, struct value v)
{
    assert(v.type == VALUE_NULL || v.type == dim->type);
    for (uint32_t k = 0; k < dim->class_count; k++)
        if (class_has(dim, &dim->classes[k], v))
            return (int)k;
    return -1;
}
