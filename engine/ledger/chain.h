/* chain.h - everything that was recorded, each entry bound to all before it.
 *
 * The chain digest of an entry covers its number, its kind, the digest of what was recorded, and the chain
 * digest of the entry before (32 zero bytes before the first). Whoever knows one chain digest can tell later
 * that nothing up to there was changed, taken out or put in.
 */
#ifndef WM_LEDGER_CHAIN_H
#define WM_LEDGER_CHAIN_H

#include <stdint.h>

#include "ledger/office.h"
#include "ledger/records.h"

#define CHAIN_LOAD "load"
#define CHAIN_BATCH "batch"
#define CHAIN_DECISION "decision"
#define CHAIN_OUTLIERS "outliers"

struct chain_entry {
    int64_t entry; /* from 1; 0: the chain is empty */
    uint8_t digest[DIGEST_BYTES];
};

/* The last entry. Inside a transaction. */
int chain_head(struct office *office, struct chain_entry *ret_head);

/* Appends what is recorded in the transaction at hand. */
int chain_append(struct office *office, const char *kind, int64_t number,
                 const uint8_t record_digest[DIGEST_BYTES]);

/* The digest of the entry that follows `before`. */
void chain_digest(const struct chain_entry *before, struct text kind, int64_t number,
                  const uint8_t record_digest[DIGEST_BYTES], uint8_t ret_digest[DIGEST_BYTES]);

#endif
