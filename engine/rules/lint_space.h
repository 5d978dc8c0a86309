/* lint_space.h - the space that the conditions of some decision tables cut up, and their rows as boxes in it.
 *
 * Each fact that a condition names is a dimension. Its literals are cut points; with them, what lies between
 * them and null, its values fall into classes, and values of one class are alike to every cell that compares
 * with literals. A row is a box: in each dimension the classes at which its cell holds. Cells that name facts,
 * patterns on texts that are not known, and orderings of texts that compare without regard to case are not
 * decided by a class: there a row may hold, but does not surely hold.
 *
 * Method: D. Calvanese, M. Dumas, U. Laurson, F. M. Maggi, M. Montali, I. Teinemaa, "Semantics and Analysis of
 * DMN Decision Tables", BPM 2016 (rules as hyper-rectangles, questions answered by sweeping column by column;
 * the search is in lint_cover.h). Theirs is for one table and closed intervals of numbers; here several tables
 * share a space, classes stand for intervals, texts and null alike, and cells may be lists and negations.
 *
 * Everything lives in the arena and borrows from the tables.
 */
#ifndef WM_RULES_LINT_SPACE_H
#define WM_RULES_LINT_SPACE_H

#include "base/arena.h"
#include "rules/lint_facts.h"
#include "tables/cell.h"

enum class_kind {
    CLASS_BETWEEN, /* numbers, dates and ordered texts strictly between two cut points, or beyond the outermost
                    */
    CLASS_ON,      /* exactly `value` */
    CLASS_OTHER,   /* a text that no cell names */
    CLASS_NULL
};

struct lint_class {
    enum class_kind kind;
    struct value value;     /* one of the class, what stands for it; CLASS_OTHER: a text that nothing equals */
    struct value low, high; /* CLASS_BETWEEN: its open ends; null: none */
    bool in_domain;
    bool in_fleet; /* some vehicle of the fleet has it */
};

struct lint_dim {
    struct text name; /* of the fact */
    uint32_t slot;
    enum value_type type;
    bool any_case;
    struct fact_nature nature;
    bool has_values; /* some table has a `values` cell for it */
    struct lint_class *classes;
    uint32_t class_count;
    uint64_t *may,
        *must;           /* of each class: the rows that may hold there, and that surely hold; row_words each */
    uint32_t first_word; /* of its classes in a box */
    uint32_t words;
};

struct lint_space {
    struct arena *arena;
    const struct table *const *tables;
    uint32_t table_count;
    uint32_t *first_row; /* of each table: the number of its first row among all */
    uint32_t row_count, row_words;
    struct lint_dim *dims;
    uint32_t dim_count;
    uint32_t box_words;
    uint64_t *domain; /* the box of all that counts */
    uint64_t *unsure; /* rows with a cell that is not decided by class */
    bool too_large;   /* the boxes were not made: nothing can be asked */
};

/* What the caller knows. */
struct lint_knowledge {
    struct fact_nature (*nature)(void *context, uint32_t slot); /* NULL: every fact is FACT_NATURE_OPEN */
    void *context;
    bool options_are_known;         /* no boolean that nature leaves open is null */
    const struct lint_fleet *fleet; /* NULL: none */
};

/* Vehicles as the register has them. */
struct lint_vehicle {
    const struct value *facts; /* by slot */
    uint64_t count;            /* how many are alike */
};

struct lint_fleet {
    const struct lint_vehicle *vehicles;
    uint32_t count;
    const bool *slots; /* of each slot: it is a fact of the vehicle */
    uint32_t slot_count;
};

/* tables must outlive the space, and none is NULL. WM_NO_MEMORY. */
int lint_space_make(struct arena *arena, const struct table *const *tables, uint32_t table_count,
                    const struct lint_knowledge *knowledge, struct lint_space **ret_space);

/* The number of a table's row among all rows of the space. */
static inline uint32_t lint_row(const struct lint_space *space, uint32_t table, uint32_t row)
{
    return space->first_row[table] + row;
}

/* The table that this row belongs to, and its number there. */
const struct table *lint_row_table(const struct lint_space *space, uint32_t row, uint32_t *ret_row);

/* The dimension of a fact, or -1. */
int lint_dim_of(const struct lint_space *space, uint32_t slot);

/* The class of a value, or -1 where it is in none (a fraction of a fact that has only whole numbers). */
int lint_class_of(const struct lint_dim *dim, struct value v);

/* --- Boxes and row sets: bits in words ------------------------------------------------------------ */

static inline bool bit_is_set(const uint64_t *bits, uint32_t at)
{
    return bits[at / 64] >> at % 64 & 1;
}

static inline void bit_set(uint64_t *bits, uint32_t at)
{
    bits[at / 64] |= UINT64_C(1) << at % 64;
}

static inline void bit_clear(uint64_t *bits, uint32_t at)
{
    bits[at / 64] &= ~(UINT64_C(1) << at % 64);
}

uint64_t *lint_box_new(const struct lint_space *space);  /* a copy of the domain; NULL: no memory */
uint64_t *lint_rows_new(const struct lint_space *space); /* no row; NULL: no memory */

static inline uint64_t *box_dim(const struct lint_space *space, uint64_t *box, uint32_t dim)
{
    return box + space->dims[dim].first_word;
}

bool lint_box_has(const struct lint_space *space, const uint64_t *box, uint32_t dim, uint32_t class_number);

/* Leaves in the box what this row's box has too. certain: where it surely holds, else where it may. */
void lint_box_meet_row(const struct lint_space *space, uint64_t *box, uint32_t row, bool certain);

/* Leaves one class of a dimension. */
void lint_box_pin(const struct lint_space *space, uint64_t *box, uint32_t dim, uint32_t class_number);

/* The first dimension in which the box has no class, or -1 where it has one in each. */
int lint_box_empty_dim(const struct lint_space *space, const uint64_t *box);

/* How many classes the box has in this dimension. */
uint32_t lint_box_width(const struct lint_space *space, const uint64_t *box, uint32_t dim);

#endif
