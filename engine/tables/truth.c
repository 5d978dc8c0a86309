/* The three-valued evaluation of cells: cell.h, and DMN 1.5, sections 10.3.2.2 (equality) and 10.3.2.4 (ternary
 * logic). */
#include "base/status.h"
#include "tables/cell.h"

/* --- Values -------------------------------------------------------------------------------------------- */

int value_order(struct value a, struct value b)
{
    if (a.type == VALUE_TEXT)
        return text_compare(value_as_text(a), value_as_text(b));
    return (a.number > b.number) - (a.number < b.number);
}

int value_order_any(struct value a, struct value b)
{
    if (a.type != b.type || a.type == VALUE_NULL)
        return a.type - b.type;
    return value_order(a, b);
}

bool value_equal(struct value a, struct value b, bool any_case)
{
    if (a.type != b.type)
        return false;
    if (a.type == VALUE_NULL)
        return true;
    if (a.type != VALUE_TEXT)
        return a.number == b.number;
    return any_case ? text_equal_any_case(value_as_text(a), value_as_text(b))
                    : text_equal(value_as_text(a), value_as_text(b));
}

/* Where numerator / denominator stands to a number of millionths; denominator > 0. */
static int fraction_order(__int128 numerator, __int128 denominator, int64_t number)
{
    __int128 scaled;

    if (__builtin_mul_overflow((__int128)number, denominator, &scaled))
        return number < 0 ? 1 : -1;
    return (numerator > scaled) - (numerator < scaled);
}

/* --- Operands ------------------------------------------------------------------------------------------ */

static struct value operand_value(const struct operand *operand, const struct evaluation *evaluation)
{
    return operand->fact != NULL ? evaluation->facts[operand->fact->ref.slot] : operand->literal;
}

/* Where the subject stands to the operand; neither is null. */
static int subject_order(const struct subject *subject, const struct operand *operand, struct value value)
{
    switch (subject->kind) {
    case SUBJECT_VALUE: return value_order(subject->value, value);
    case SUBJECT_FRACTION: return fraction_order(subject->numerator, subject->denominator, value.number);
    case SUBJECT_POSITION: break;
    }
    int64_t on = 2 * (int64_t)operand->cut + 1;
    return (subject->position > on) - (subject->position < on);
}

static enum truth truth_of(bool holds)
{
    return holds ? TRUTH_HOLDS : TRUTH_FAILS;
}

static enum truth test_equal(const struct operand *operand, const struct subject *subject,
                             const struct evaluation *evaluation)
{
    struct value value = operand_value(operand, evaluation);
    bool any_case = evaluation->any_case || (operand->fact != NULL && operand->fact->ref.any_case);

    if (subject->value.type == VALUE_NULL || value.type == VALUE_NULL)
        return truth_of(subject->value.type == value.type);
    if (subject->kind == SUBJECT_VALUE)
        return truth_of(value_equal(subject->value, value, any_case));
    return truth_of(subject_order(subject, operand, value) == 0);
}

/* Above a low end, or below a high one. */
static enum truth test_end(const struct operand *operand, bool is_low, bool open, const struct subject *subject,
                           const struct evaluation *evaluation)
{
    struct value value = operand_value(operand, evaluation);

    if (subject->value.type == VALUE_NULL || value.type == VALUE_NULL)
        return TRUTH_NEITHER;
    int order = subject_order(subject, operand, value);
    return truth_of((order == 0 && !open) || (is_low ? order > 0 : order < 0));
}

/* FEEL's and: fails where one fails. */
static enum truth both(enum truth a, enum truth b)
{
    if (a == TRUTH_FAILS || b == TRUTH_FAILS)
        return TRUTH_FAILS;
    return a == TRUTH_HOLDS && b == TRUTH_HOLDS ? TRUTH_HOLDS : TRUTH_NEITHER;
}

static enum truth test_range(const struct test *test, const struct subject *subject,
                             const struct evaluation *evaluation)
{
    enum truth low = TRUTH_HOLDS, high = TRUTH_HOLDS;

    if (test->has_low)
        low = test_end(&test->low, true, test->low_open, subject, evaluation);
    if (test->has_high)
        high = test_end(&test->high, false, test->high_open, subject, evaluation);
    return both(low, high);
}

static enum truth test_matches(const struct test *test, const struct subject *subject,
                               struct evaluation *evaluation)
{
    bool found = false;

    if (subject->value.type == VALUE_NULL)
        return TRUTH_NEITHER;
    int status = pattern_search(test->pattern, evaluation->work, value_as_text(subject->value), &found);
    if (status != WM_OK) {
        evaluation->trouble = status;
        return TRUTH_NEITHER;
    }
    return truth_of(found);
}

static enum truth test_one(const struct test *test, const struct subject *subject,
                           struct evaluation *evaluation)
{
    switch ((enum test_kind)test->kind) {
    case TEST_NULL: return truth_of(subject->value.type == VALUE_NULL);
    case TEST_EQUAL: return test_equal(&test->high, subject, evaluation);
    case TEST_RANGE: return test_range(test, subject, evaluation);
    case TEST_MATCHES: break;
    }
    return test_matches(test, subject, evaluation);
}

/* --- Cells --------------------------------------------------------------------------------------------- */

/* Holds where one test holds, fails where all fail. */
static enum truth test_list(const struct cell *cell, const struct subject *subject,
                            struct evaluation *evaluation)
{
    enum truth list = TRUTH_FAILS;

    for (uint32_t i = 0; i < cell->test_count; i++) {
        enum truth one = test_one(&cell->tests[i], subject, evaluation);
        if (one == TRUTH_HOLDS) {
            evaluation->trouble = WM_OK; /* whatever a pattern before would have said */
            return TRUTH_HOLDS;
        }
        if (one == TRUTH_NEITHER)
            list = TRUTH_NEITHER;
    }
    return list;
}

enum truth cell_test(const struct cell *cell, const struct subject *subject, struct evaluation *evaluation)
{
    evaluation->trouble = WM_OK;
    if (cell->any)
        return TRUTH_HOLDS;
    enum truth list = test_list(cell, subject, evaluation);
    if (!cell->negated || list == TRUTH_NEITHER)
        return list;
    return list == TRUTH_HOLDS ? TRUTH_FAILS : TRUTH_HOLDS;
}

enum truth cell_test_value(const struct cell *cell, struct value v, struct evaluation *evaluation)
{
    struct subject subject = {.kind = SUBJECT_VALUE, .value = v};

    return cell_test(cell, &subject, evaluation);
}

/* --- Quick cells --------------------------------------------------------------------------------------- */

enum { BELOW = 1, ON = 2, ABOVE = 4 };

static bool make_quick_test(const struct test *test, enum value_type type, bool any_case, struct quick_test *ret_quick)
{
    const struct operand *end = test->kind == TEST_RANGE && test->has_low ? &test->low : &test->high;

    switch ((enum test_kind)test->kind) {
    case TEST_NULL:
        *ret_quick = (struct quick_test){.kind = QUICK_NULL};
        return true;
    case TEST_EQUAL:
        if (end->fact == NULL)
            return false;
        *ret_quick = (struct quick_test){.kind = QUICK_EQUAL, .slot = end->fact->ref.slot,
                                         .any_case = any_case || end->fact->ref.any_case};
        return true;
    case TEST_RANGE:
        if (end->fact == NULL || test->has_low == test->has_high || type == VALUE_TEXT)
            return false;
        *ret_quick = (struct quick_test){.kind = QUICK_ORDER, .slot = end->fact->ref.slot,
                                         .holds = test->has_low ? ABOVE | (test->low_open ? 0 : ON)
                                                                : BELOW | (test->high_open ? 0 : ON)};
        return true;
    case TEST_MATCHES: break;
    }
    return false;
}

int cell_make_quick(struct arena *arena, struct cell *cell, enum value_type type, bool any_case)
{
    /* not() of an ordering is the one case in which it matters whether a test fails or does neither */
    if (cell->quick != NULL || (cell->negated && cell->has_ordering))
        return WM_OK;
    struct quick_test *tests = ARENA_ARRAY(arena, struct quick_test, cell->test_count);
    if (tests == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < cell->test_count; i++)
        if (!make_quick_test(&cell->tests[i], type, any_case, &tests[i]))
            return WM_OK;
    cell->quick = tests;
    return WM_OK;
}
