/* office_source.h - the register's source over an office file: office data as it stands now, or as an earlier
 * load left it.
 *
 * It borrows the office, which must stay open. Read inside office_begin_read or a write, so that all answers
 * come from one state of the file. What it does not find well goes to the register's error, not to the office's
 * sink.
 */
#ifndef WM_LEDGER_OFFICE_SOURCE_H
#define WM_LEDGER_OFFICE_SOURCE_H

#include <stdint.h>

#include "ledger/office.h"
#include "register/register_source.h"

struct office_source;

/* as_of_load 0: as it stands now; else as it stood behind that load. Reports to the office's sink. */
int office_source_open(struct office *office, int64_t as_of_load, struct office_source **ret_source);

/* For register_open; lives as long as the source. */
struct register_source *office_source_register(struct office_source *source);

/* Accepts NULL. Not before the register is closed. */
void office_source_close(struct office_source *source);

/* The number of the last load; 0: there is none. */
int office_last_load(struct office *office, int64_t *ret_load);

#endif
