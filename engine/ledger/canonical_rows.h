/* canonical_rows.h - rows of the office file as part of a canonical form, cell by cell as each one's type says.
 *
 * Private to engine/ledger.
 */
#ifndef WM_LEDGER_CANONICAL_ROWS_H
#define WM_LEDGER_CANONICAL_ROWS_H

#include "ledger/office.h"
#include "ledger/records.h"

/* Adds a cell of the row that the statement stands on. */
void canonical_column(struct canonical *canonical, struct sqlite3_stmt *statement, int column);

/* Steps through a statement that is bound, and adds every cell of every row. */
int canonical_rows(struct office *office, struct sqlite3_stmt *statement, struct canonical *canonical,
                   bool *ret_any);

/* The same of a query with one number, ?1. */
int canonical_rows_of(struct office *office, const char *sql, int64_t number, struct canonical *canonical,
                      bool *ret_any);

#endif
