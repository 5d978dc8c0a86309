/* classes.h - from a column's value to the set of rows whose cell holds, by classes of values.
 *
 * The literals of a column's cells are its cut points, in order. A value stands on one of them or in a gap
 * between two; that is its position: 2i+1 on cut i, 2i just below it, 2n above the last. Where no cell of the column
 * has an ordering, all gaps are alike and text is found by a hash. Positions (and null) with equal row sets are one
 * class. Sets are kept whole, or, where that takes too much room, as the few rows in which they differ from the set
 * of the lowest position.
 *
 * Cells that cannot be decided by position (they name a fact, have a pattern, or order text that compares without
 * regard to case) hold in every class here; the caller tests them one by one.
 */
#ifndef WM_TABLES_CLASSES_H
#define WM_TABLES_CLASSES_H

#include "base/arena.h"
#include "base/value.h"
#include "tables/cell.h"

/* Changes between two checkpoints at most: narrowing by them costs about as much as by a whole set of many rows. */
enum { CHECKPOINT_STEPS = 512 };

enum lookup { LOOKUP_NUMBER, LOOKUP_TEXT_ORDER, LOOKUP_TEXT_HASH };

struct classes {
    enum lookup lookup;
    bool any_case;
    uint32_t cut_count;
    int64_t *numbers;               /* the cut points of numbers, dates, booleans */
    struct text *texts;             /* of text */
    uint32_t *class_of_position;    /* 2 * cut_count + 1 */
    uint32_t class_of_null;
    uint32_t class_count;

    uint32_t *direct;               /* class of first + i * step, up to the last cut; NULL: search */
    int64_t direct_step;

    uint32_t *buckets;              /* LOOKUP_TEXT_HASH: cut number + 1, 0 is free */
    uint32_t bucket_mask;

    uint64_t *sets;                 /* whole sets, words each: of class c, or of checkpoint k */
    uint32_t *checkpoint_of_class;  /* NULL: every class has its whole set */
    uint32_t *steps_end;            /* of each class: where the changes since its checkpoint end in steps */
    uint32_t *steps_start;          /* of each checkpoint: where the changes since it start */
    uint32_t *steps;                /* rows that go into or out of the set, in the order of the sweep */
    bool decides;                   /* some class leaves some row out */
};

/* What the classes of a column are made of. */
struct class_source {
    enum value_type type;
    bool any_case;
    struct cell **cells;
    uint32_t cell_count;
    const uint32_t *cell_of_row;
    uint32_t row_count;
};

/* Whether a cell can be decided by position. */
bool cell_is_classable(const struct cell *cell, bool any_case);

/* WM_LIMIT: the sets would take more than LIMIT_COLUMN_SET_BYTES either way; ret_classes is one class of all rows. */
int classes_build(struct arena *arena, const struct class_source *source, struct classes *ret_classes);

/* For classes_build: makes the index by which classes_find goes, once cut points and classes are there. */
int classes_index(struct arena *arena, struct classes *classes, enum value_type type);

/* For classes_find, where no direct index tells. */
uint32_t classes_search(const struct classes *classes, struct value v);

/* The class of a value, null too. Every condition of every table asks this for every claim or item, hence here. */
static inline uint32_t classes_find(const struct classes *classes, struct value v)
{
    if (v.type == VALUE_NULL)
        return classes->class_of_null;
    if (classes->direct == NULL)
        return classes_search(classes, v);
    if (v.number < classes->numbers[0])
        return classes->class_of_position[0];
    if (v.number > classes->numbers[classes->cut_count - 1])
        return classes->class_of_position[2 * classes->cut_count];
    uint64_t above = (uint64_t)(v.number - classes->numbers[0]);
    if (classes->direct_step == 1)
        return classes->direct[above];
    uint64_t steps = above / DECIMAL_ONE;
    return steps * DECIMAL_ONE == above ? classes->direct[steps] : classes_search(classes, v);
}

/* rows &= the set of this class. False: surely no row is left. */
bool classes_narrow(const struct classes *classes, uint32_t class_number, uint64_t *rows, uint32_t words);

#endif
