/* batch_then.h - what a recorded batch was decided with: the rules that were kept with it, the office data as its load
 * left it, its days, and which office decisions came before it.
 *
 * Owns all that it points to. Read inside office_begin_read, which must last as long as it does.
 */
#ifndef WM_LEDGER_BATCH_THEN_H
#define WM_LEDGER_BATCH_THEN_H

#include "facts/history.h"
#include "ledger/office.h"
#include "ledger/office_source.h"
#include "rules/rules_files.h"

struct batch_then {
    struct office_day day; /* rules, register, today, received_on */
    int64_t first_row, last_decision;
    /* private */
    struct arena arena;
    struct rules_files files;
    struct rules *rules;
    struct office_source *office_source;
    struct office_register *office_register;
};

/* Fills a zeroed struct. WM_NOT_FOUND: there is no such batch. Whatever it returns, batch_then_close. */
int batch_then_open(struct office *office, int64_t batch, struct diag_sink *sink, struct batch_then *then);
void batch_then_close(struct batch_then *then);

#endif
