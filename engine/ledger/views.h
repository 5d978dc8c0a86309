/* views.h - what people may read of the office by SQL: every view, every column, in words.
 *
 * The first part stands in the office file (schema.sql, schema_claims.sql), for any SQLite tool. The second
 * part is `given`: tables that the engine works out from the rules for the time of a report. A test compares
 * this list with the schema: every view and column stands here, and none too many.
 */
#ifndef WM_LEDGER_VIEWS_H
#define WM_LEDGER_VIEWS_H

#include <stdbool.h>
#include <stddef.h>

struct view_column {
    const char *name;
    const char *meaning;
};

struct view {
    const char *name;
    const char *meaning;
    bool given;                        /* not in the office file; only in reports */
    const struct view_column *columns; /* ended by a name of NULL */
};

extern const struct view VIEWS[]; /* ended by a name of NULL */

/* NULL: there is none. SQLite does not tell ASCII letters apart by case. */
const struct view *view_named(const char *name);

/* Names of WITH tables inside the views, ended by NULL: SQLite tells what is read there by these names. */
extern const char *const VIEW_INNER_NAMES[];

/* What reports may call besides SQLite's own functions; ended by a name of NULL. */
extern const struct view_column VIEW_FUNCTIONS[];

#endif
