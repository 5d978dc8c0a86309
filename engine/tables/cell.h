/* cell.h - one condition cell, read: a list of tests, or not(...) around one (DMN 1.5, S-FEEL unary tests).
 *
 * A cell is read once and does not change afterwards, but for the cut numbers that classes.c gives its
 * literals. It lives in the arena of its table; patterns are freed with the table.
 *
 * Evaluation is three-valued, as in FEEL: a test holds, fails, or does neither. An equality always
 * holds or fails; an ordering or `matches` with a null on either side does neither.
 */
#ifndef WM_TABLES_CELL_H
#define WM_TABLES_CELL_H

#include "tables/pattern.h"
#include "tables/table.h"

/* A fact that a cell or a text names. */
struct cell_fact {
    struct text name;
    struct fact_ref ref;
};

/* One side of a comparison: a literal, or a fact. */
struct operand {
    struct value literal; /* where fact is NULL */
    const struct cell_fact *fact;
    uint32_t cut; /* a literal's number among the column's cut points */
};

enum test_kind {
    TEST_NULL,   /* null */
    TEST_EQUAL,  /* a value: equal */
    TEST_RANGE,  /* <x <=x >x >=x and intervals */
    TEST_MATCHES /* matches(?, "pattern") */
};

struct test {
    uint8_t kind;                  /* enum test_kind */
    bool has_low, has_high;        /* TEST_RANGE: which of its orderings it has */
    bool low_open, high_open;      /* the end itself does not belong to it */
    struct operand low;            /* TEST_RANGE */
    struct operand high;           /* TEST_RANGE; TEST_EQUAL: the value */
    const struct pattern *pattern; /* TEST_MATCHES */
};

/* A test that needs no literal and no pattern: null, equal to a fact, below or above one. */
struct quick_test {
    enum { QUICK_NULL, QUICK_EQUAL, QUICK_ORDER } kind;
    uint32_t slot;    /* of the fact that the value is compared with */
    bool any_case;    /* QUICK_EQUAL */
    uint8_t holds;    /* QUICK_ORDER: bit 0 where the value is below, bit 1 on it, bit 2 above */
};

struct cell {
    struct text written;
    struct test *tests;
    uint32_t test_count;
    bool any;        /* `-` or empty: no tests, holds for null too */
    bool negated;    /* not(...) */
    bool names_fact; /* some value or end is a fact */
    bool names_late; /* ... that is late */
    bool has_pattern;
    bool has_ordering; /* some TEST_RANGE */
    struct quick_test *quick; /* the tests, where all of them are quick (cell_make_quick); else NULL */
};

/* The names that a table's cells may use: those of its own condition columns, then those of its source. */
struct known_names {
    const struct fact_source *source;
    const struct cell_fact *columns;
    uint32_t column_count;
};

/* ret_nearest may be NULL. */
bool names_find(const struct known_names *names, struct text name, struct fact_ref *ret_fact,
                struct text *ret_nearest);

/* What reading a cell needs to know of its column. */
struct cell_context {
    struct arena *arena;
    enum value_type type;
    bool any_case;
    const struct known_names *names; /* NULL: the cell may name no facts */
    struct pattern **patterns;       /* the list that owns compiled patterns */
    struct diag_sink *sink;
};

/* Reads a condition cell. WM_BAD_INPUT with one diagnostic at place; WM_NO_MEMORY. `written` is borrowed. */
int cell_read(const struct cell_context *context, struct text written, struct place place,
              struct cell **ret_cell);

/* --- Evaluation --------------------------------------------------------------------------------------- */

/* What a cell is evaluated at. */
enum subject_kind {
    SUBJECT_VALUE,    /* a value */
    SUBJECT_FRACTION, /* numerator / denominator millionths, exactly */
    SUBJECT_POSITION  /* a place among the cut points: 2i+1 on cut i, 2i just below it; literals only */
};

struct subject {
    enum subject_kind kind;
    struct value value; /* SUBJECT_VALUE; of the others only whether it is null */
    __int128 numerator, denominator;
    int64_t position;
};

struct evaluation {
    const struct value *facts; /* may be NULL where the cell names none */
    struct pattern_work *work; /* may be NULL where the cell has no pattern */
    bool any_case;
    int trouble; /* WM_LIMIT: a pattern was given up; WM_NO_MEMORY. The truth then says nothing */
};

enum truth cell_test(const struct cell *cell, const struct subject *subject, struct evaluation *evaluation);

/* The same at a value. */
enum truth cell_test_value(const struct cell *cell, struct value v, struct evaluation *evaluation);

/* Cells that compare facts with facts are asked claim by claim, and most are as simple as `> quantity_allowed`: notes
 * in cell->quick what these test. Leaves cells alone that hold anything else: they go to cell_test_value. */
int cell_make_quick(struct arena *arena, struct cell *cell, enum value_type type, bool any_case);

/* Values of one type in order: below 0, 0, above 0. Neither is null. */
int value_order(struct value a, struct value b);

/* The same for any two: other types stand apart, and all nulls are one. */
int value_order_any(struct value a, struct value b);

/* Equal as values: two nulls are, a null and something else are not. */
bool value_equal(struct value a, struct value b, bool any_case);

static inline bool quick_test_holds(const struct quick_test *test, struct value v, const struct value *facts)
{
    struct value other = facts[test->slot];

    if (test->kind == QUICK_ORDER) {
        unsigned order = 1u + (v.number > other.number) - (v.number < other.number);
        return v.type != VALUE_NULL && other.type != VALUE_NULL && (test->holds >> order & 1) != 0;
    }
    return test->kind == QUICK_NULL ? v.type == VALUE_NULL : value_equal(v, other, test->any_case);
}

/* What cell_test_value says, as whether it holds; cell->quick is not NULL. */
static inline bool cell_quick_holds(const struct cell *cell, struct value v, const struct value *facts)
{
    bool holds = false;

    for (uint32_t i = 0; i < cell->test_count && !holds; i++)
        holds = quick_test_holds(&cell->quick[i], v, facts);
    return holds != cell->negated;
}

/* --- For those who analyse tables --------------------------------------------------------------------- */

/* The cell of a row as read; never NULL. */
const struct cell *table_condition_test(const struct table *table, uint32_t condition, uint32_t row);

/* The `values` of a condition: the domain that completeness is judged on. NULL where the table gives none. */
const struct cell *table_condition_domain(const struct table *table, uint32_t condition);

/* The `values` of an output, in the order of priority; NULL and 0 where the table gives none. */
const struct value *table_output_values(const struct table *table, uint32_t output, uint32_t *ret_count);

/* The facts that the places of an output name: their number, and one of them. */
uint32_t table_output_place_count(const struct table *table, uint32_t row, uint32_t output);
const struct cell_fact *table_output_place(const struct table *table, uint32_t row, uint32_t output,
                                           uint32_t number);

/* The cell of a condition by itself. */
const struct cell *condition_cell(const struct condition *condition);

/* P and O: where this row stands in the order of priority, 0 the first. */
uint32_t table_row_priority(const struct table *table, uint32_t row);

#endif
