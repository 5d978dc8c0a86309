/* The office's checks: each table by itself, rows that no claim can meet by what the facts mean, messages that
 * name a fact which may be null, findings that have two effects for the same claim.
 */
#include <assert.h>

#include "base/status.h"
#include "rules/lint_cells.h"
#include "rules/lint_classes.h"
#include "rules/lint_parts.h"

/* One check table while it is looked at. */
struct checking {
    struct lint *lint;
    const struct check *check;
    const struct lint_space *space;
    struct lint_cells cells;
};

/* --- What a row's conditions say of the facts ----------------------------------------------------- */

/* The state that a class of values belongs to. */
static uint32_t state_of(const struct lint_dim *dim, const struct lint_class *at)
{
    if (at->kind == CLASS_NULL)
        return NULL_STATE;
    if (dim->type == VALUE_BOOLEAN)
        return at->value.number ? TRUE_STATE : FALSE_STATE;
    if (dim->nature.words == NULL)
        return VALUE_STATE;
    int word = fact_word_number(dim->nature.words, value_as_text(at->value), dim->any_case);
    assert(word >= 0); /* what is none of the words is outside the domain */
    return VALUE_STATE << word;
}

/* The states of a column's fact in which the cell may hold; what no `values` row lists is none. */
static uint32_t states_of_cell(const struct checking *checking, const struct lint_dim *dim,
                               const struct cell *cell)
{
    uint32_t states = 0;

    for (uint32_t k = 0; k < dim->class_count; k++)
        if (dim->classes[k].in_domain && lint_cell_at(&checking->cells, cell, dim, &dim->classes[k]).may)
            states |= state_of(dim, &dim->classes[k]);
    return states;
}

/* Whether the cell may hold though a fact that it names is null. */
static bool may_hold_at_null(const struct checking *checking, const struct lint_dim *dim,
                             const struct cell *cell, uint32_t slot)
{
    for (uint32_t k = 0; k < dim->class_count; k++)
        if (dim->classes[k].in_domain &&
            lint_cell_at_null_fact(&checking->cells, cell, dim, &dim->classes[k], slot).may)
            return true;
    return false;
}

static void narrow_by_cell(const struct checking *checking, uint32_t row, uint32_t condition,
                           uint32_t states[FACT_COUNT])
{
    enum { MOST_NAMED = 8 };
    const struct dictionary *dictionary = checking->lint->rules->dictionary;
    const struct table *table = checking->check->table;
    const struct cell *cell = table_condition_test(table, condition, row);
    uint32_t slot = table_condition_fact(table, condition).slot;
    const struct lint_dim *dim = &checking->space->dims[lint_dim_of(checking->space, slot)];
    enum fact_id id = fact_of_slot(dictionary, slot);
    const struct cell_fact *named[MOST_NAMED];
    uint32_t count = lint_cell_facts(cell, named, MOST_NAMED);

    if (id != FACT_COUNT)
        states[id] &= states_of_cell(checking, dim, cell);
    for (uint32_t i = 0; i < count && i < MOST_NAMED; i++) {
        enum fact_id other = fact_of_slot(dictionary, named[i]->ref.slot);
        if (other != FACT_COUNT && !may_hold_at_null(checking, dim, cell, named[i]->ref.slot))
            states[other] &= ~(uint32_t)NULL_STATE;
    }
}

/* The states of all facts where this row hits; false: no claim is like that. */
static bool states_of_row(const struct checking *checking, uint32_t row, uint32_t states[FACT_COUNT])
{
    for (int id = 0; id < FACT_COUNT; id++)
        states[id] = fact_states((enum fact_id)id, checking->check->scope);
    for (uint32_t c = 0; c < table_condition_count(checking->check->table); c++)
        narrow_by_cell(checking, row, c, states);
    return fact_states_narrow(states);
}

/* --- Rows that no claim meets --------------------------------------------------------------------- */

/* A row that is dead by its own cells is said by the analysis of the table. */
static bool is_dead_by_itself(const struct checking *checking, uint32_t row)
{
    uint64_t *box = lint_box_new(checking->space);

    checking->lint->no_memory = checking->lint->no_memory || box == NULL;
    if (box == NULL)
        return true;
    lint_box_meet_row(checking->space, box, row, false);
    return lint_box_empty_dim(checking->space, box) >= 0;
}

static int say_impossible(const struct checking *checking, uint32_t row, const uint32_t states[FACT_COUNT])
{
    struct lint *lint = checking->lint;
    const struct table *table = checking->check->table;
    const struct flag *flag = &checking->check->flags[row];
    int id = 0;

    while (states[id] != 0)
        id++;
    struct lint_result result = {.severity = LINT_WARNING,
                                 .kind = LINT_DEAD_ROW,
                                 .place = lint_condition_place(table, row, -1),
                                 .advice =
                                     TEXT("correct its conditions; facts.csv tells when each fact is null")};
    result.wrong = text_format(
        &lint->arena, "row \"%.*s\" can never hit%s%.*s: its conditions leave nothing that %s may be",
        TEXT_ARGUMENTS(table_row_name(table, row)), flag->finding.length > 0 ? " and flag " : "",
        TEXT_ARGUMENTS(flag->finding), fact_kind((enum fact_id)id)->name);
    return lint_say(lint, &result);
}

/* --- Messages ------------------------------------------------------------------------------------- */

/* Options and inspections have no states: only the row's own cell for them can rule null out. */
static bool named_may_be_null(const struct checking *checking, uint32_t row, uint32_t slot)
{
    int condition = lint_condition_on(checking->check->table, slot, 0);

    if (condition < 0)
        return true;
    const struct lint_dim *dim = &checking->space->dims[lint_dim_of(checking->space, slot)];
    const struct cell *cell = table_condition_test(checking->check->table, (uint32_t)condition, row);
    return lint_cell_at(&checking->cells, cell, dim, &dim->classes[dim->class_count - 1]).may;
}

static int look_at_place(const struct checking *checking, uint32_t row, const struct cell_fact *fact,
                         const uint32_t states[FACT_COUNT])
{
    struct lint *lint = checking->lint;
    const struct table *table = checking->check->table;
    enum fact_id id = fact_of_slot(lint->rules->dictionary, fact->ref.slot);
    bool may_be_null =
        id == FACT_COUNT ? named_may_be_null(checking, row, fact->ref.slot) : (states[id] & NULL_STATE) != 0;
    uint64_t *box = lint_box_new(checking->space);
    struct lint_result result = {
        .severity = LINT_WARNING, .kind = LINT_CHECK, .place = lint_output_place(table, row, "message")};

    if (box == NULL)
        return WM_NO_MEMORY;
    if (!may_be_null)
        return WM_OK;
    result.wrong = text_format(&lint->arena,
                               "the message of row \"%.*s\" names {%.*s}, which may be null where the row hits",
                               TEXT_ARGUMENTS(table_row_name(table, row)), TEXT_ARGUMENTS(fact->name));
    result.advice =
        text_format(&lint->arena, "add a condition not(null) on %.*s, or another row for where it is null",
                    TEXT_ARGUMENTS(fact->name));
    lint_box_meet_row(checking->space, box, row, false);
    int dim = lint_dim_of(checking->space, fact->ref.slot);
    if (dim >= 0)
        lint_box_pin(checking->space, box, (uint32_t)dim, checking->space->dims[dim].class_count - 1);
    int status = lint_add_example(lint, checking->space, NULL, box, &result);
    return status != WM_OK ? status : lint_say(lint, &result);
}

static int look_at_row(const struct checking *checking, uint32_t row)
{
    const struct table *table = checking->check->table;
    uint32_t states[FACT_COUNT];
    int status = WM_OK;

    if (is_dead_by_itself(checking, row))
        return WM_OK;
    if (!states_of_row(checking, row, states))
        return say_impossible(checking, row, states);
    uint32_t message = (uint32_t)checking->check->message_output;
    for (uint32_t i = 0; status == WM_OK && i < table_output_place_count(table, row, message); i++)
        status = look_at_place(checking, row, table_output_place(table, row, message, i), states);
    return status;
}

/* --- One table ------------------------------------------------------------------------------------ */

struct flagging {
    const struct check *check;
    uint32_t row;
};

/* Whether some claim is as both rows have it, by what the facts mean. */
static int states_meet(struct lint *lint, const struct lint_space *space, const struct flagging *one,
                       const struct flagging *other, bool *ret_meet)
{
    uint32_t states[FACT_COUNT], more[FACT_COUNT];
    struct checking checking = {.lint = lint, .check = one->check, .space = space};
    int status = lint_cells_open(&checking.cells, lint->rules->dictionary->slot_count);

    if (status != WM_OK)
        return status;
    *ret_meet = states_of_row(&checking, one->row, states);
    checking.check = other->check;
    *ret_meet = states_of_row(&checking, other->row, more) && *ret_meet;
    for (int id = 0; id < FACT_COUNT; id++)
        states[id] &= more[id];
    *ret_meet = *ret_meet && fact_states_narrow(states);
    lint_cells_close(&checking.cells);
    return WM_OK;
}

/* Rows that no claim meets together do not overlap, though their cells would let them. */
static int say_possible_case(void *context, const struct lint_case *found)
{
    const struct lint_saying *saying = context;
    const struct check *check = saying->more;
    bool meet = true;
    int status = WM_OK;

    if (found->kind == CASE_OVERLAP && !saying->table->space->too_large)
        status = states_meet(saying->lint, saying->table->space, &(struct flagging){check, found->row},
                             &(struct flagging){check, found->other_row}, &meet);
    return status != WM_OK || !meet ? status : lint_say_case(context, found);
}

static int look_at_table(struct lint *lint, const struct check *check)
{
    const struct table *tables[] = {check->table};
    struct checking checking = {.lint = lint, .check = check};
    struct lint_space *space = NULL;
    int status = lint_open_space(lint, tables, 1, false, &space);

    if (status != WM_OK)
        return status;
    checking.space = space;
    struct lint_table table = {space, 0, NULL};
    status = lint_say_table(lint, &table, say_possible_case, (void *)(uintptr_t)check);
    if (status == WM_OK)
        status = lint_cells_open(&checking.cells, lint->rules->dictionary->slot_count);
    for (uint32_t row = 0; status == WM_OK && row < table_row_count(check->table) && !space->too_large; row++)
        status = look_at_row(&checking, row);
    lint_cells_close(&checking.cells);
    return status;
}

/* --- Two effects ---------------------------------------------------------------------------------- */

/* The rows of a table that come before this one, where the policy lets only one hit. */
static void add_before(const struct lint_space *space, uint32_t number, uint32_t row, uint64_t *avoid)
{
    const struct table *table = space->tables[number];

    for (uint32_t other = 0; other < table_row_count(table); other++) {
        bool before = table_policy(table) == HIT_FIRST
                          ? other < row
                          : table_policy(table) == HIT_PRIORITY &&
                                table_row_priority(table, other) < table_row_priority(table, row);
        if (before)
            bit_set(avoid, lint_row(space, number, other));
    }
}

static struct text row_words(struct lint *lint, const struct flagging *flagging)
{
    return text_format(&lint->arena, "row \"%.*s\" of %.*s",
                       TEXT_ARGUMENTS(table_row_name(flagging->check->table, flagging->row)),
                       TEXT_ARGUMENTS(table_file(flagging->check->table)));
}

static int ask_both(struct lint *lint, const struct flagging *one, const struct flagging *other)
{
    const struct table *tables[] = {one->check->table, other->check->table};
    bool same = one->check == other->check, meet = false;
    uint32_t second = same ? 0 : 1;
    struct lint_space *space;
    struct lint_question question = LINT_QUESTION;
    struct lint_found found;
    int status = lint_open_space(lint, tables, same ? 1 : 2, false, &space);

    if (status != WM_OK)
        return status;
    uint64_t *avoid = lint_rows_new(space);
    if (avoid == NULL)
        return WM_NO_MEMORY;
    add_before(space, 0, one->row, avoid);
    add_before(space, second, other->row, avoid);
    question.hits[0] = lint_row(space, 0, one->row);
    question.hits[1] = lint_row(space, second, other->row);
    question.hit_count = 2;
    question.avoid = avoid;
    status = lint_ask(space, &question, &found);
    if (status == WM_OK && found.answer != LINT_NO)
        status = states_meet(lint, space, one, other, &meet);
    if (status != WM_OK || !meet)
        return status;
    struct lint_result result = {
        .severity = LINT_WARNING,
        .kind = LINT_CHECK,
        .place = lint_output_place(other->check->table, other->row, "effect"),
        .advice = TEXT("give the finding one effect, or make the conditions exclude each other")};
    const struct flag *flag = &one->check->flags[one->row], *flag_two = &other->check->flags[other->row];
    struct text row_one = row_words(lint, one);
    if (row_one.bytes == NULL)
        return WM_NO_MEMORY;
    if (found.answer != LINT_YES) {
        struct text what = text_format(&lint->arena, "%.*s has one effect for one claim (%.*s)",
                                       TEXT_ARGUMENTS(flag->finding), TEXT_ARGUMENTS(row_one));
        return what.bytes == NULL ? WM_NO_MEMORY
                                  : lint_say_not_proved(lint, result.place, found.answer, what.bytes);
    }
    result.wrong = text_format(&lint->arena, "%.*s has the effect %s here and %s in %.*s, and both rows hit",
                               TEXT_ARGUMENTS(flag->finding), effect_name(flag_two->effect),
                               effect_name(flag->effect), TEXT_ARGUMENTS(row_one));
    status = lint_add_example(lint, space, NULL, found.box, &result);
    return status != WM_OK ? status : lint_say(lint, &result);
}

static bool is_one_hit_policy(const struct table *table)
{
    enum hit_policy policy = table_policy(table);

    return policy == HIT_UNIQUE || policy == HIT_ANY || policy == HIT_PRIORITY || policy == HIT_FIRST;
}

static int compare_flags(struct lint *lint, const struct flagging *one, const struct flagging *other)
{
    const struct flag *a = &one->check->flags[one->row], *b = &other->check->flags[other->row];
    bool alone = one->check == other->check && is_one_hit_policy(one->check->table);

    if (alone || a->finding.length == 0 || a->effect == b->effect || !text_equal(a->finding, b->finding))
        return WM_OK;
    arena_reset(&lint->arena);
    return ask_both(lint, one, other);
}

static int compare_effects(struct lint *lint, enum scope scope)
{
    const struct check *checks = lint->rules->checks[scope];
    uint32_t count = lint->rules->check_count[scope];
    int status = WM_OK;

    for (uint32_t i = 0; i < count; i++)
        for (uint32_t row = 0; row < table_row_count(checks[i].table); row++) {
            const struct flagging one = {&checks[i], row};
            for (uint32_t k = i; k < count; k++)
                for (uint32_t r = k == i ? row + 1 : 0; status == WM_OK && r < table_row_count(checks[k].table);
                     r++)
                    status = compare_flags(lint, &one, &(struct flagging){&checks[k], r});
        }
    return status;
}

int lint_checks(struct lint *lint)
{
    int status = WM_OK;

    for (int scope = 0; status == WM_OK && scope < SCOPES; scope++) {
        lint->scope = (enum scope)scope;
        for (uint32_t i = 0; status == WM_OK && i < lint->rules->check_count[scope]; i++) {
            arena_reset(&lint->arena);
            status = look_at_table(lint, &lint->rules->checks[scope][i]);
        }
        if (status == WM_OK)
            status = compare_effects(lint, (enum scope)scope);
    }
    return status;
}
