/* guarded_query.h - SQL that the office or an auditor wrote, run so that it can do no harm.
 *
 * What runs is one SELECT over the views of ledger/views.h, with functions from a list. An authorizer refuses
 * all else when the statement is prepared: writing, base tables (but through a view), ATTACH, PRAGMA, other
 * functions. A progress handler ends what runs longer than it may; lengths and memory are limited. What is
 * wrong is a diagnostic at the line and column of the text.
 *
 * A guard owns what it set on the office's connection and takes it back in guard_close; while it is open the
 * connection is used by its queries and by the caller's stage_of, by one thread.
 *
 * Not here: what the query is for, and how its rows are shown.
 */
#ifndef WM_LEDGER_GUARDED_QUERY_H
#define WM_LEDGER_GUARDED_QUERY_H

#include "base/diag.h"
#include "base/value.h"
#include "ledger/office.h"

enum { GIVEN_COLUMNS = 64 };

/* A table that queries may read besides the views: rows of cells. In SQL numbers are whole: units[i] says how
 * many millionths make 1 there (1, DECIMAL_CENT for cents, DECIMAL_ONE). All is borrowed. */
struct given_table {
    const char *name;
    const char *columns[GIVEN_COLUMNS];
    int64_t units[GIVEN_COLUMNS];
    uint32_t column_count;
    const struct value *cells;
    uint64_t row_count;
};

struct guard_setup {
    int64_t seconds; /* from guard_open on; at least 1 */
    /* What stage_of() gives: null where the vehicle is not eligible. A status other than WM_OK ends the query;
     * the caller keeps it. NULL: no such function. */
    int (*stage_of)(void *context, struct text campaign, struct text vin, struct value *ret_stage);
    void *context;
};

struct guard;
struct guarded_query;

/* The setup and what it names are borrowed until guard_close. */
int guard_open(struct office *office, const struct guard_setup *setup, struct guard **ret_guard);
void guard_close(struct guard *guard); /* accepts NULL; no query may be open */

/* From here on queries may read this table, which must have a column; until guard_close. At most GIVEN_TABLES.
 */
enum { GIVEN_TABLES = 32 };
int guard_give(struct guard *guard, const struct given_table *table);

/* Whether the text names this table somewhere, so that it has to be given. */
bool guard_names(struct text sql, const char *table);

/* place: where the text starts. WM_BAD_INPUT with a diagnostic where it may not run. */
int guard_prepare(struct guard *guard, struct text sql, struct place place, struct guarded_query **ret_query);
void guard_finish(struct guarded_query *query); /* accepts NULL */

/* Parameters as `:name`, by number from 0; the name without the colon. */
uint32_t guard_parameters(const struct guarded_query *query);
struct text guard_parameter(const struct guarded_query *query, uint32_t number);

/* The whole number: cents for money, millionths for a decimal. */
int guard_bind_whole(struct guarded_query *query, uint32_t number, int64_t whole);

/* A text (borrowed), a date (as ISO text), a truth or null. */
int guard_bind(struct guarded_query *query, uint32_t number, struct value v);

uint32_t guard_columns(const struct guarded_query *query);
struct text guard_column(const struct guarded_query *query, uint32_t column);

/* WM_LIMIT with a diagnostic: it took too long, or too much memory. */
int guard_step(struct guarded_query *query, bool *ret_row);

enum cell_kind { CELL_NULL, CELL_WHOLE, CELL_TEXT, CELL_POINT, CELL_BYTES };

/* A cell of the row at hand; text is valid until the next step. CELL_POINT: binary floating point, and
 * CELL_BYTES: a blob; neither is given. */
struct guarded_cell {
    enum cell_kind kind;
    int64_t whole;
    struct text text;
};
struct guarded_cell guard_cell(const struct guarded_query *query, uint32_t column);

#endif
