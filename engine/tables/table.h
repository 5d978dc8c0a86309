/* table.h - decision tables: the OMG's Decision Model and Notation (DMN 1.5, section 8), written as CSV.
 *
 * A table is read and checked once (table_compile), and never changes afterwards: any number of threads may
 * match against it, each with a struct table_scratch of its own. Matching is pure: facts in, rows out.
 *
 * For each condition column the literals of its cells cut the column's values into classes (below the first
 * cut point, on it, between it and the next ...; for text each literal and "another"; null). For each class the rows
 * whose cell holds are a bit set, made at compile time by evaluating the cells at that class. A row hits where all
 * columns' sets meet. Cells that name other facts, and `matches`, cannot be classed; they are evaluated one by one,
 * on the rows still standing only. So are columns whose sets would take more than LIMIT_COLUMN_SET_BYTES.
 *
 * In a text output `{name}` is a place for a fact. A brace that no letter or `_` follows is itself; to write one
 * before a letter, quote the text and use FEEL's escape: "\u007bname}". Places are looked for in bare and in quoted
 * text; escapes are undone in quoted text only. A bare `null` is null in every column; quote it to mean the word.
 *
 * The type of an output is the one that the caller knows for its name, else the table's `type` row, else what its
 * cells look like: numbers (without needless leading zeros) if all are, dates, true and false; otherwise text.
 *
 * Not here: what a fact is (struct fact_source says), what an output is for, the clock, files.
 * Everything lives in the arena given to table_compile (pattern code apart: table_free), and is borrowed.
 */
#ifndef WM_TABLES_TABLE_H
#define WM_TABLES_TABLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "base/diag.h"
#include "base/value.h"

enum hit_policy {    /* DMN 1.5, 8.2.10 */
    HIT_UNIQUE, HIT_ANY, HIT_PRIORITY, HIT_FIRST, HIT_RULE_ORDER, HIT_OUTPUT_ORDER, HIT_COLLECT,
    HIT_SUM, HIT_MIN, HIT_MAX, HIT_COUNT
};
#define HIT_BIT(policy) (1u << (policy))
#define HIT_ALL_POLICIES ((1u << (HIT_COUNT + 1)) - 1)

/* Where a fact of this name is found: facts are an array of struct value, one slot a fact. */
struct fact_ref {
    uint32_t slot;
    enum value_type type;
    bool late;              /* known only in the second stage (table_match_late) */
    bool of_item;           /* differs from item to item of one claim */
    bool steady;            /* of an item: follows from what is expected, and from whether the item is claimed */
    bool any_case;          /* words of a short list: equality without regard to case */
    bool office_only;       /* may not stand in a text that a dealer sees */
};

/* How a table finds what a name means. */
struct fact_source {
    void *context;
    /* declared: the type that the table's own `type` row gives this column, VALUE_NULL if none.
     * Returns false if there is no such fact; then *ret_nearest is the nearest name, or empty. ret_nearest is NULL
     * where nobody asks for it: bare words of text columns are looked up too, and most are no facts. */
    bool (*find)(void *context, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                 struct text *ret_nearest);
};

struct table;

/* An output whose type the caller knows, whatever the table is called: quantity is a number. */
struct output_type {
    const char *name;
    enum value_type type;
};

struct table_rules {
    unsigned policies;            /* HIT_BIT()s that may stand in the first header cell */
    bool dealer_text;             /* places {fact} in outputs may only name facts shown to dealers */
    const struct output_type *outputs;    /* output_count of them; may be NULL */
    size_t output_count;
};

/* Compiles the CSV text of one table. Reports every error (place: file, line, cell number) and goes on as far
 * as it can; WM_BAD_INPUT after any error, WM_NO_MEMORY. file is copied and cited in findings. */
int table_compile(struct arena *arena, struct text file, struct text csv, struct table_rules rules,
                  const struct fact_source *source, struct diag_sink *sink, struct table **ret_table);

/* Gives back what is not in the arena (compiled patterns). Accepts NULL. */
void table_free(struct table *table);

/* --- What a table says of itself ------------------------------------------------------------------- */

struct text table_file(const struct table *table);
enum hit_policy table_policy(const struct table *table);
uint32_t table_row_count(const struct table *table);
struct text table_row_name(const struct table *table, uint32_t row);
uint64_t table_row_line(const struct table *table, uint32_t row);
uint32_t table_condition_count(const struct table *table);
struct text table_condition_name(const struct table *table, uint32_t condition);
struct fact_ref table_condition_fact(const struct table *table, uint32_t condition);
struct text table_condition_cell(const struct table *table, uint32_t condition, uint32_t row);   /* as written */
uint32_t table_output_count(const struct table *table);
struct text table_output_name(const struct table *table, uint32_t output);                       /* without > */
enum value_type table_output_type(const struct table *table, uint32_t output);
/* The number of the output of this name, or -1. */
int table_output_named(const struct table *table, const char *name);
/* Cell number (from 1) of an output or condition column, for diagnostics. */
uint32_t table_output_column(const struct table *table, uint32_t output);
uint32_t table_condition_column(const struct table *table, uint32_t condition);
/* The output cell: a literal; for a text with {fact} places the text as written. */
struct value table_output(const struct table *table, uint32_t row, uint32_t output);
bool table_output_has_places(const struct table *table, uint32_t row, uint32_t output);
/* Whether some row hits or not depends on a fact that is late (places in outputs do not count). */
bool table_is_late(const struct table *table);

/* --- Matching ---------------------------------------------------------------------------------------- */

/* One thread's working memory for tables: pattern match data, bit sets. */
struct table_scratch;
int table_scratch_new(struct table_scratch **ret_scratch);
void table_scratch_free(struct table_scratch *scratch);

/* 64-bit words that a row set of this table takes; bit r is row r. */
uint32_t table_set_words(const struct table *table);

/* First stage: writes the rows whose conditions on early facts, classable ones, hold. Never fails. */
void table_match_early(const struct table *table, const struct value *facts, uint64_t *ret_rows);

/* The first stage in two halves, where the same claim is asked about item by item: conditions on facts that all items
 * share, once, and then for each item those on its own facts. ret_rows is another set than
 * shared_rows. */
void table_match_shared(const struct table *table, const struct value *facts, uint64_t *ret_rows);
void table_match_item(const struct table *table, const struct value *facts, const uint64_t *shared_rows,
                      uint64_t *ret_rows);

/* The same for items that come again in claim after claim: the rows whose conditions on steady facts hold may be
 * remembered, and the rest is then asked of what they leave of the shared rows. */
void table_match_steady(const struct table *table, const struct value *facts, uint64_t *ret_rows);
void table_match_rest(const struct table *table, const struct value *facts, uint64_t *rows);

/* Second stage: takes out of rows those whose other conditions do not hold. WM_LIMIT where a pattern
 * was given up (LIMIT_PATTERN_STEPS): *ret_row is its row. WM_NO_MEMORY. */
int table_match_late(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                     uint64_t *rows, uint32_t *ret_row);

enum table_fault {
    TABLE_OK = 0,
    TABLE_TWO_HITS,            /* more than one hit under U */
    TABLE_OUTPUTS_DIFFER,      /* hits with different outputs under A */
    TABLE_PATTERN_GIVEN_UP,    /* a pattern took more steps than LIMIT_PATTERN_STEPS */
    TABLE_SUM_TOO_LARGE        /* the C+ sum is beyond the range of a number */
};

struct table_hits {
    enum table_fault fault;
    uint32_t first_row, second_row;    /* the rows that the fault names; equal for a pattern */
    uint32_t count;                    /* hits that count: one at most under U A P F */
    const uint32_t *rows;              /* in the order of the policy; in the scratch until its next use */
    struct value aggregate;            /* under C+ C< C> C#: null without a hit */
};

/* The hits among the rows that stand, by the hit policy. WM_OK also where ret_hits->fault is set; then count is 0.
 * Under A, texts with places are compared as written; table_decide compares what a reader sees. */
int table_hits(const struct table *table, const uint64_t *rows, struct table_scratch *scratch,
               struct table_hits *ret_hits);

/* Both stages and the policy at once. */
int table_decide(const struct table *table, const struct value *facts, struct table_scratch *scratch,
                 struct table_hits *ret_hits);

/* Writes an output of a row, its {fact} places filled from facts. */
void table_output_write(const struct table *table, uint32_t row, uint32_t output, const struct value *facts,
                        struct buffer *out);

/* Why a row does not hit: the first condition whose cell does not hold, or -1 where all hold. Slow; for
 * explanations. *ret_failing is how many do not hold. */
int table_row_misses(const struct table *table, uint32_t row, const struct value *facts,
                     struct table_scratch *scratch, uint32_t *ret_failing);

/* --- The classes of a column, so that equal decisions can be remembered --------------------------- */

/* True where every condition of the table can be classed (no cell is evaluated one by one). */
bool table_is_classable(const struct table *table);
/* The class of the value in this condition: two values of one class hit the same rows. */
uint32_t table_class(const struct table *table, uint32_t condition, struct value v);

/* --- A condition by itself ---------------------------------------------------------------------------- */

enum truth { TRUTH_FAILS = 0, TRUTH_HOLDS = 1, TRUTH_NEITHER = 2 };

/* One condition cell outside a table: `[22..28]`, `<= 1.5`, `ok`, `not(leak)`. It may name no facts. */
struct condition;

/* type: VALUE_NUMBER or VALUE_TEXT (VALUE_DATE, VALUE_BOOLEAN too). any_case as in fact_ref. */
int condition_compile(struct arena *arena, struct text cell, enum value_type type, bool any_case,
                      struct place place, struct diag_sink *sink, struct condition **ret_condition);
void condition_free(struct condition *condition);    /* patterns only; accepts NULL */

/* scratch is needed for patterns only. A pattern that is given up does neither. */
enum truth condition_test(const struct condition *condition, struct value v, struct table_scratch *scratch);

/* A number condition on the exact fraction numerator / denominator (in millionths, denominator > 0), so that
 * a reading converted between units is compared without rounding. */
enum truth condition_test_fraction(const struct condition *condition, __int128 numerator, __int128 denominator);

#endif
