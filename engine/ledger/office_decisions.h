/* office_decisions.h - what people decide over the engine: a held claim is paid, returned or refused; a payment
 * is taken back.
 *
 * Each is a record of its own, in a transaction of its own, and an entry of the chain. The engine's decision
 * stays to be read beside it.
 */
#ifndef WM_LEDGER_OFFICE_DECISIONS_H
#define WM_LEDGER_OFFICE_DECISIONS_H

#include "ledger/recorded.h"
#include "ledger/records.h"

/* In SQL, of an office decision: it says what is decided on its row, as those that move money alone do not. The
 * schema says the same, in words that are a part of the office file's form. */
#define DECIDES_ROW "action NOT IN ('reverse', 'chargeback')"

/* In SQL, of a row r: the number of the last decision that says so; null: nobody decided over the engine. */
#define LAST_DECISION "(SELECT max(number) FROM office_decisions WHERE row = r.row AND " DECIDES_ROW ")"

struct decision_request {
    struct text dealer, claim;
    struct text action;             /* pay, return, refuse, reverse */
    struct text decided_by, reason; /* not empty */
    int32_t decided_on;
    struct text recorded_at;
};

/* What was recorded of a request. Texts are the request's. */
struct decision_result {
    struct office_decision decision;
    int64_t revision;
    int64_t paid_cents; /* on the claim from now on */
};

/* Begins and ends a write. WM_BAD_INPUT, reported to the office's sink: there is no such claim, or it is not
 * held, or nothing is paid on it. */
int office_decide(struct office *office, const struct decision_request *request, struct diag_sink *sink,
                  struct decision_result *ret_result);

/* Numbers a decision, writes it, and appends it to the chain. Inside a write. For decisions that let no row fall. */
int office_decision_append(struct office *office, struct office_decision *decision);

/* The digest of its record. */
void office_decision_digest(const struct office_decision *decision, uint8_t ret_digest[DIGEST_BYTES]);

#endif
