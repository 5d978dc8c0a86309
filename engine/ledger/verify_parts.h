/* verify_parts.h - what the parts of verify share. Private to engine/ledger/verify*.c. */
#ifndef WM_LEDGER_VERIFY_PARTS_H
#define WM_LEDGER_VERIFY_PARTS_H

#include "base/chunks.h"
#include "ledger/audit_records.h"
#include "ledger/columns.h"
#include "ledger/recorded.h"
#include "ledger/packed.h"
#include "ledger/tallies.h"
#include "ledger/verify.h"

/* The last decision of a person on a row. */
struct decided_row {
    int64_t row, number;
    enum decision decision;
};

struct verification {
    struct office *office;
    const struct verify_options *options;
    struct diag_sink *sink;
    struct verify_result result;
    struct arena arena;                /* for good */
    uint8_t (*load_digests)[DIGEST_BYTES];     /* by load, from 1 */
    int64_t load_count;
    uint8_t (*rules_digests)[DIGEST_BYTES];    /* by rules, from 1 */
    int64_t rules_count;
    uint8_t (*batch_digests)[DIGEST_BYTES];    /* by batch, from 1 */
    int64_t batch_count;
    uint8_t (*decision_digests)[DIGEST_BYTES]; /* by number, from 1 */
    int64_t decision_count;
    uint8_t (*outlier_digests)[DIGEST_BYTES];  /* by run, from 1 */
    int64_t outlier_count;
    uint8_t (*audit_digests[AUDIT_RECORDS])[DIGEST_BYTES]; /* by number, from 1 */
    int64_t audit_counts[AUDIT_RECORDS];
    struct decided_row *decided;       /* in the order of rows, the last decision of each */
    uint32_t decided_count;
    struct tallies tallies;            /* what stands */
};

/* Reports a fault, and counts it. */
void verify_fault(struct verification *verification, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* The same for a row of claim_rows: names batch, line and claim. */
void verify_row_fault(struct verification *verification, int64_t row, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The digest of a column. SQLite's check of the constraints has seen that each is one. */
const uint8_t *verify_digest_at(sqlite3_stmt *statement, int column);

/* A query that gives a row for each fault: its text is the fault. At most a few are named. */
int verify_query(struct verification *verification, const char *sql);

/* A query that gives one number. */
int verify_number(struct verification *verification, const char *sql, int64_t *ret_number);

/* Records that are numbered 1, 2, 3 ...: how many there are; a fault where one is missing. */
int verify_numbering(struct verification *verification, const char *table, const char *column, int64_t *ret_count);

/* A digest for each number from 1 to count. */
int verify_digests(struct verification *verification, int64_t count, uint8_t (**ret_digests)[DIGEST_BYTES]);

int verify_loads(struct verification *verification);
int verify_rules(struct verification *verification);
int verify_decisions(struct verification *verification);
int verify_outliers(struct verification *verification);
int verify_batches(struct verification *verification);
int verify_audit(struct verification *verification);
int verify_chain(struct verification *verification);
int verify_derived(struct verification *verification);
int verify_vehicles(struct verification *verification);
int verify_again(struct verification *verification);
/* A comparison of dealers; then: what had been recorded before it. */
int verify_outliers_again(struct verification *verification, int64_t run, struct ledger_point then);

#endif
