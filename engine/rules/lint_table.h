/* lint_table.h - what is wrong with one decision table: rows that overlap, rows that cannot be reached, gaps.
 *
 * It says so in rows and boxes; the words are made elsewhere. The cases come one by one, in the order of the
 * rows; a `take` that returns WM_LIMIT wants no more, which is no failure.
 */
#ifndef WM_RULES_LINT_TABLE_H
#define WM_RULES_LINT_TABLE_H

#include "rules/lint_cover.h"

/* One table of a space, where it matters. */
struct lint_table {
    const struct lint_space *space;
    uint32_t number;                  /* of the table in the space */
    const struct lint_region *region; /* the table is asked there only; NULL: everywhere */
};

enum lint_case_kind {
    CASE_OVERLAP,  /* `row` and `other_row` both hit: under U, and under A with different outputs */
    CASE_NO_VALUE, /* dead: no value of the domain lets the cell of dimension `dim` hold */
    CASE_OUTSIDE,  /* dead: the row's conditions hold nowhere in the region; box: where they do hold */
    CASE_COVERED,  /* dead: under F and P, where `covering` come before it; box: the row's own */
    CASE_GAP       /* no row hits */
};

struct lint_case {
    enum lint_case_kind kind;
    enum lint_answer answer; /* YES: it is so; MAYBE and TOO_LARGE: it was not proved either way */
    uint32_t row, other_row; /* in the space */
    uint64_t *box;           /* points for which it is so; NULL where there are none to show */
    uint32_t part;           /* of the region */
    int dim;
    const uint32_t *covering; /* as few as will do */
    uint32_t covering_count;
};

/* Takes one case; a status. */
typedef int lint_take_case(void *context, const struct lint_case *found);

int lint_overlaps(const struct lint_table *table, lint_take_case *take, void *context);

int lint_dead_rows(const struct lint_table *table, lint_take_case *take, void *context);

/* Boxes in which `question` is answered, one after the other and none met by another, until no point is left.
 * The cases have no rows. */
int lint_gaps(const struct lint_space *space, const struct lint_question *question, lint_take_case *take,
              void *context);

/* All rows of a table. NULL: no memory. */
uint64_t *lint_rows_of_table(const struct lint_space *space, uint32_t table);

/* Whether two rows of a table have the same outputs. */
bool lint_outputs_equal(const struct table *table, uint32_t row, uint32_t other);

#endif
