#include "rules/lint_cells.h"

#include <stdlib.h>

#include "base/status.h"

/* A cell may name this many facts and still be looked at more closely. */
enum { MOST_NAMED = 3, MOST_SAMPLES = 4 };

int lint_cells_open(struct lint_cells *ret_cells, uint32_t slot_count)
{
    struct lint_cells cells = {calloc(slot_count + 1, sizeof *cells.facts), slot_count, NULL};
    int status = cells.facts == NULL ? WM_NO_MEMORY : pattern_work_new(&cells.work);

    if (status != WM_OK) {
        lint_cells_close(&cells);
        return status;
    }
    *ret_cells = cells;
    return WM_OK;
}

void lint_cells_close(struct lint_cells *cells)
{
    free(cells->facts);
    pattern_work_free(cells->work);
    *cells = (struct lint_cells){0};
}

static void add_operand_fact(const struct operand *operand, const struct cell_fact **facts, uint32_t most,
                             uint32_t *count)
{
    if (operand->fact == NULL)
        return;
    for (uint32_t i = 0; i < *count && i < most; i++)
        if (facts[i]->ref.slot == operand->fact->ref.slot)
            return;
    if (*count < most)
        facts[*count] = operand->fact;
    (*count)++;
}

uint32_t lint_cell_facts(const struct cell *cell, const struct cell_fact **facts, uint32_t most)
{
    uint32_t count = 0;

    for (uint32_t i = 0; i < cell->test_count && cell->names_fact; i++) {
        const struct test *test = &cell->tests[i];
        if (test->kind == TEST_EQUAL || (test->kind == TEST_RANGE && test->has_high))
            add_operand_fact(&test->high, facts, most, &count);
        if (test->kind == TEST_RANGE && test->has_low)
            add_operand_fact(&test->low, facts, most, &count);
    }
    return count;
}

/* --- Values for a fact that a cell names: null, the subject's own, one below and one above -------- */

static struct value stepped(struct value v, int direction)
{
    int64_t number, step = v.type == VALUE_NUMBER ? DECIMAL_ONE : 1;

    if (__builtin_add_overflow(v.number, direction * step, &number))
        number = v.number;
    v.number = number;
    return v;
}

static uint32_t samples_of(struct value subject, enum value_type type, struct value samples[MOST_SAMPLES])
{
    static const char above_all[] = "\xf4\x8f\xbf\xbf\x01", below_all[] = "\x01";

    samples[0] = value_null();
    if (type == VALUE_BOOLEAN) {
        samples[1] = value_boolean(false);
        samples[2] = value_boolean(true);
        return 3;
    }
    if (type == VALUE_TEXT) {
        samples[1] = value_text(text_of(below_all));
        samples[2] = value_text(text_of(above_all));
    } else { /* a number or a date: no fact is of the type null */
        struct value around =
            subject.type == VALUE_NULL ? (struct value){.number = 0, .type = (uint8_t)type} : subject;
        samples[1] = stepped(around, -1);
        samples[2] = stepped(around, 1);
    }
    samples[3] = subject;
    return subject.type == VALUE_NULL ? 3 : 4;
}

/* --- Evaluation ----------------------------------------------------------------------------------- */

struct cell_question {
    const struct lint_cells *cells;
    const struct cell *cell;
    const struct lint_dim *dim;
    struct value subject;
    const struct cell_fact *named[MOST_NAMED];
    uint32_t named_count;
    int64_t null_slot; /* -1: none */
    struct lint_truth truth;
};

static void ask(struct cell_question *question)
{
    struct evaluation evaluation = {question->cells->facts, question->cells->work, question->dim->any_case,
                                    WM_OK};
    bool holds = cell_test_value(question->cell, question->subject, &evaluation) == TRUTH_HOLDS;

    question->truth.may = question->truth.may || holds;
    question->truth.must = question->truth.must && holds;
}

static void ask_for_each_value(struct cell_question *question, uint32_t number)
{
    struct value samples[MOST_SAMPLES];

    if (number == question->named_count) {
        ask(question);
        return;
    }
    struct fact_ref ref = question->named[number]->ref;
    uint32_t count = ref.slot == question->null_slot ? 1 : samples_of(question->subject, ref.type, samples);
    samples[0] = value_null();
    for (uint32_t i = 0; i < count; i++) {
        question->cells->facts[ref.slot] = samples[i];
        ask_for_each_value(question, number + 1);
    }
    question->cells->facts[ref.slot] = value_null();
}

static struct lint_truth ask_at(const struct lint_cells *cells, const struct cell *cell,
                                const struct lint_dim *dim, const struct lint_class *at, int64_t null_slot)
{
    const struct lint_truth undecided = {true, false}, always = {true, true};
    struct cell_question question = {.cells = cells,
                                     .cell = cell,
                                     .dim = dim,
                                     .subject = at->value,
                                     .null_slot = null_slot,
                                     .truth = {false, true}};
    bool exact = at->kind == CLASS_ON || at->kind == CLASS_NULL;

    if (cell->any)
        return always;
    if (cell->has_pattern && !exact)
        return undecided;
    if (dim->any_case && cell->has_ordering && at->kind != CLASS_NULL) /* any_case: it is text */
        return undecided;
    question.named_count = lint_cell_facts(cell, question.named, MOST_NAMED);
    if (question.named_count > MOST_NAMED)
        return undecided;
    ask_for_each_value(&question, 0);
    return question.truth;
}

struct lint_truth lint_cell_at(const struct lint_cells *cells, const struct cell *cell,
                               const struct lint_dim *dim, const struct lint_class *at)
{
    return ask_at(cells, cell, dim, at, -1);
}

struct lint_truth lint_cell_at_null_fact(const struct lint_cells *cells, const struct cell *cell,
                                         const struct lint_dim *dim, const struct lint_class *at,
                                         uint32_t null_slot)
{
    return ask_at(cells, cell, dim, at, null_slot);
}
