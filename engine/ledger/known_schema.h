/* known_schema.h - whether an office file's tables, indexes, triggers and views are those that this program
 * makes.
 *
 * A file from elsewhere may hold a trigger or a view that somebody else wrote. They are compared by their names
 * and SQL, which the file keeps, before anything of them is asked or set off.
 */
#ifndef WM_LEDGER_KNOWN_SCHEMA_H
#define WM_LEDGER_KNOWN_SCHEMA_H

#include "base/text.h"

struct sqlite3;

enum schema_difference { SCHEMA_FOREIGN, SCHEMA_MISSING, SCHEMA_CHANGED };

/* Tells of each difference, in the order of names: "trigger loads_update". Returns SQLite's result. */
int known_schema_compare(struct sqlite3 *database,
                         void (*tell)(void *context, enum schema_difference difference, struct text name),
                         void *context);

#endif
