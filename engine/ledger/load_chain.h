/* load_chain.h - loads of office data as entries of the chain: a digest over the load and every version that it
 * made.
 *
 * The versions come in the order of their tables' keys. Profiles belong to the load whose vehicles use them
 * first.
 */
#ifndef WM_LEDGER_LOAD_CHAIN_H
#define WM_LEDGER_LOAD_CHAIN_H

#include "ledger/load.h"
#include "ledger/records.h"

struct sqlite3_stmt;

/* What the digest is made of, while it is made. */
struct load_canonical {
    struct canonical versions;
    int64_t last_profile; /* the highest that a vehicle of the load has; -1: none */
};

void load_canonical_begin(struct load_canonical *canonical);
void load_canonical_vehicle(struct load_canonical *canonical, struct text vin, int64_t profile,
                            int32_t built_on);

/* A row of load_versions_sql, without its last column. */
void load_canonical_version(struct load_canonical *canonical, struct sqlite3_stmt *statement);

/* Selects the versions of a table in order, the load as the last column; of one load (?1), or of all. Not for
 * vehicles. */
const char *load_versions_sql(enum office_data kind, bool one_load);

/* The digest of a load: of its row of loads, the versions, and its profiles, which are those above
 * profiles_before up to last_profile. WM_NOT_FOUND, without a report, where there is no such load. */
int load_digest(struct office *office, int64_t load, struct load_canonical *canonical, int64_t profiles_before,
                uint8_t ret_digest[DIGEST_BYTES]);

/* The highest profile there is; -1: none. */
int load_last_profile(struct office *office, int64_t *ret_profile);

/* Appends a load of vehicles, or of something else, that was recorded in the transaction at hand. */
int load_chain_vehicles(struct office *office, int64_t load, struct load_canonical *canonical,
                        int64_t profiles_before);
int load_chain_versions(struct office *office, enum office_data kind, int64_t load);

#endif
