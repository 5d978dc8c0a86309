/* verify.h - whether an office file is what this program recorded: every record, the chain, what is derived,
 * the schema, and SQLite's own check.
 *
 * Everything is read in one transaction; nothing is written. Each fault is a diagnostic that names the record;
 * the first of them is the first in the order of reading. It proves that records fit each other and the chain,
 * not that they are true; and against somebody who writes the whole chain anew only a chain digest that was
 * kept elsewhere helps.
 */
#ifndef WM_LEDGER_VERIFY_H
#define WM_LEDGER_VERIFY_H

#include "ledger/chain.h"

/* Faults that are named; of the rest only the number is. */
enum { VERIFY_FAULTS_NAMED = 25 };

struct verify_options {
    bool again;          /* decide every batch afresh under its own rules, and compare */
    const uint8_t *head; /* a chain digest that must be found; NULL: none */
    unsigned threads;
    void (*progress)(void *context, const char *what, uint64_t done, uint64_t all); /* may be NULL */
    void *context;
};

struct verify_result {
    uint64_t faults;
    struct chain_entry head; /* of the chain */
    int64_t found_entry;     /* of options->head; 0: it is not in the chain */
    uint64_t loads, batches, rows, decisions;
    uint64_t outlier_runs;
    uint64_t decided_again; /* rows */
};

/* WM_OK also where faults were found. */
int ledger_verify(struct office *office, const struct verify_options *options, struct diag_sink *sink,
                  struct verify_result *ret_result);

#endif
