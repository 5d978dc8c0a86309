/* audit_parts.h - what the writing of audit records shares. Private to engine/ledger/audit_*.c. */
#ifndef WM_LEDGER_AUDIT_PARTS_H
#define WM_LEDGER_AUDIT_PARTS_H

#include "ledger/audit_records.h"

struct sqlite3_stmt;

int audit_next_number(struct office *office, enum audit_record kind, int64_t *ret_number);

/* Appends what was just inserted under this number to the chain. */
int audit_append(struct office *office, enum audit_record kind, int64_t number);

/* Runs an insertion that is bound, and finalizes it. */
int audit_insert(struct office *office, struct sqlite3_stmt *statement);

#endif
