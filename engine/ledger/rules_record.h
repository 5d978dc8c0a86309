/* rules_record.h - the rules folders that decided batches, kept to the letter, each file once. */
#ifndef WM_LEDGER_RULES_RECORD_H
#define WM_LEDGER_RULES_RECORD_H

#include "ledger/office.h"
#include "ledger/records.h"
#include "rules/rules_files.h"

/* Keeps these files, if they are not kept yet. Inside a write. */
int rules_record(struct office *office, const struct rules_files *files, int64_t *ret_rules,
                 uint8_t ret_digest[DIGEST_BYTES]);

/* Reads them back into the arena; folder is empty. WM_NOT_FOUND, without a report: there are no such rules. */
int rules_recorded(struct office *office, int64_t rules, struct arena *arena, struct rules_files *ret_files);

#endif
