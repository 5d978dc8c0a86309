/* parts.h - what a compiled table is made of. For engine/tables alone; others use table.h and cell.h.
 *
 * Everything lives in the table's arena. After table_compile nothing here changes.
 */
#ifndef WM_TABLES_PARTS_H
#define WM_TABLES_PARTS_H

#include "tables/cell.h"
#include "tables/classes.h"
#include "tables/table.h"

struct condition_column {
    struct cell_fact fact;
    uint32_t column;               /* cell number, from 1 */
    struct cell **cells;           /* the different cells, cell_count of them */
    uint32_t cell_count;
    uint32_t *cell_of_row;         /* number of a row's cell */
    struct cell *domain;           /* NULL: no values */
    struct classes classes;
    uint64_t *one_by_one;          /* rows whose cell the classes do not decide; NULL: none */
};

/* What narrowing a set of one word reads of a condition: in one cache line, since every claim asks some hundred. */
struct word_step {
    const uint64_t *sets;          /* of the column's classes */
    const struct classes *classes;
    uint64_t set_of_null;
    const uint32_t *direct;        /* class of first + i steps; NULL: search */
    int64_t first, last;           /* cut points, where there is a direct index */
    uint32_t below, above;         /* classes of what is below the first, above the last */
    uint32_t slot;                 /* of the column's fact */
    uint8_t type;                  /* likewise */
    bool step_is_one;              /* of the direct index; otherwise DECIMAL_ONE */
};

/* A row's cell that is evaluated by itself. */
struct row_test {
    uint64_t row;                  /* its bit */
    const struct condition_column *column;
    const struct cell *cell;
};

/* A text with places: literal pieces and facts in turn. */
struct place_text {
    struct text written;           /* escapes undone, places as they stand */
    struct place_part *parts;
    uint32_t part_count;
};

struct place_part {
    struct text literal;           /* where fact is NULL */
    const struct cell_fact *fact;
};

struct output_column {
    struct text name;              /* without > */
    uint32_t column;
    enum value_type type;
    struct value *of_row;
    const struct place_text **places_of_row;    /* NULL: no text of this column has places */
    struct value *values;          /* in the order of priority; NULL: no values row */
    uint32_t value_count;
    uint32_t *rank_of_row;         /* while the table is compiled: where the row's output stands in values */
};

struct row {
    struct text name;
    uint64_t line;
};

struct table {
    uint32_t words;                        /* of a row set */
    uint32_t row_count;
    struct word_step *early_steps, *late_steps;    /* of tables up to 64 rows: of the conditions in early, late */
    uint32_t row_test_count;
    struct row_test *row_tests;            /* ... their tested cells, in the same order, one by one */
    bool is_late;
    struct text file;
    enum hit_policy policy;
    struct row *rows;
    struct condition_column *conditions;
    uint32_t condition_count;
    struct output_column *outputs;
    uint32_t output_count;
    uint32_t *early, early_count;          /* conditions whose classes decide something, on early facts */
    uint32_t shared_count;                 /* how many of them, the first ones, are not on facts of an item */
    uint32_t steady_count;                 /* ... and how many, behind these, are on its steady facts */
    uint32_t *late, late_count;            /* ... on late facts */
    uint32_t *tested, tested_count;        /* conditions with cells that are evaluated one by one */
    uint32_t *outputs_class;               /* A: rows of equal outputs have one number; else NULL */
    bool has_places;
    uint32_t *priority;                    /* P and O: where a row stands; else NULL */
    uint32_t *row_of_priority;
    struct pattern *patterns;              /* owns their code */
};

struct table_scratch {
    struct pattern_work *work;
    uint64_t *set;                         /* a row set for table_decide */
    uint32_t set_capacity;                 /* words */
    uint32_t *hits;
    uint32_t hit_capacity;
    struct buffer texts[2];                /* two rendered outputs, to compare */
};

/* Sets every row's bit, and none behind. */
void set_all_rows(uint64_t *set, uint32_t words, uint32_t row_count);

/* table_hits with facts, so that texts with places compare as a reader sees them; facts NULL: as written. */
int table_hits_on(const struct table *table, const struct value *facts, const uint64_t *rows,
                  struct table_scratch *scratch, struct table_hits *ret_hits);

#endif
