/* lint_cover.h - the one question that the analysis of tables asks: is there a point of the space at which
 * these rows hit and none of those does?
 *
 * Overlaps (two rows hit), gaps (none of a table's rows hits), dead rows (a row hits and none before it) and
 * what tables say of each other (a vehicle that one table takes in hits no row of another) are all this
 * question.
 *
 * Exact and without going through the product of the columns: the rows to be avoided are a bit set; column by
 * column the set is narrowed by the classes of the column, where classes that leave the same rows, or more than
 * another class does, are gone through once at most. A branch ends where no row is left (a point is found) or
 * where a row is left that no further column excludes (all points are covered); sets of rows met before are
 * remembered. After Calvanese et al. 2016 (lint_space.h), who sweep columns in a fixed order; here each branch
 * takes the column that decides most for the rows left. The question contains satisfiability, so there are
 * tables that take too long: work is counted, and an end of it is an answer of its own.
 */
#ifndef WM_RULES_LINT_COVER_H
#define WM_RULES_LINT_COVER_H

#include "rules/lint_space.h"

enum lint_answer {
    LINT_NO, /* there is no such point */
    LINT_YES,
    LINT_MAYBE,    /* it depends on cells that no class decides */
    LINT_TOO_LARGE /* not finished */
};

/* A part of the space: where `hit` hits and none of `avoid` does. */
struct lint_part {
    uint32_t hit;
    const uint64_t *avoid;
};

/* Parts that together are a region, such as the eligible vehicles. */
struct lint_region {
    const struct lint_part *parts;
    uint32_t count;
};

enum { LINT_MOST_HITS = 4 };

struct lint_question {
    uint32_t hits[LINT_MOST_HITS];    /* rows that all hit */
    uint32_t hit_count;               /* one less than LINT_MOST_HITS at most where there is a region */
    const uint64_t *avoid;            /* rows none of which hits; NULL: none */
    const uint64_t *within;           /* a box to stay in; NULL: the domain */
    const struct lint_region *region; /* NULL: everywhere */
    bool may_hit;                     /* it is enough that the rows of `hits` may hit */
    int ignored_dim;                  /* the rows of `avoid` are taken without it; -1: none */
};

#define LINT_QUESTION ((struct lint_question){.ignored_dim = -1})

struct lint_found {
    enum lint_answer answer;
    uint64_t *box; /* YES, MAYBE: points like this, as many as fit into one box; in the arena of the space */
    uint32_t part; /* of the region */
};

/* WM_NO_MEMORY. */
int lint_ask(const struct lint_space *space, const struct lint_question *question,
             struct lint_found *ret_found);

#endif
