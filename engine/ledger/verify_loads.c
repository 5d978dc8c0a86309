/* Office data: the digest of every load, and the rules folders that decided. */
#include <stdlib.h>

#include "base/status.h"
#include "ledger/load_chain.h"
#include "ledger/verify_parts.h"

/* --- Loads ------------------------------------------------------------------------------------------- */

struct loads_walk {
    struct verification *verification;
    struct load_canonical *loads; /* by number, from 1 */
};

/* NULL, and a fault, where there is no such load. */
static struct load_canonical *load_of(struct loads_walk *walk, int64_t load, const char *table)
{
    if (load >= 1 && load <= walk->verification->load_count)
        return &walk->loads[load];
    verify_fault(walk->verification,
                 "a row of %s names load %lld, which is not recorded; restore the file from a copy", table,
                 (long long)load);
    return NULL;
}

static int each_row(struct loads_walk *walk, const char *sql, void (*take)(struct loads_walk *, sqlite3_stmt *))
{
    struct office *office = walk->verification->office;
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(office, sql, &statement);

    if (status == WM_OK)
        status = office_step(office, statement, &more);
    while (status == WM_OK && more) {
        take(walk, statement);
        status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

static void take_vehicle(struct loads_walk *walk, sqlite3_stmt *statement)
{
    struct load_canonical *load = load_of(walk, sqlite3_column_int64(statement, 3), "vehicle_versions");

    if (load != NULL)
        load_canonical_vehicle(load, column_text(statement, 0), sqlite3_column_int64(statement, 1),
                               column_day(statement, 2));
}

static void take_version(struct loads_walk *walk, sqlite3_stmt *statement)
{
    struct load_canonical *load =
        load_of(walk, sqlite3_column_int64(statement, sqlite3_column_count(statement) - 1), "office data");

    if (load != NULL)
        load_canonical_version(load, statement);
}

static int finish_loads(struct loads_walk *walk)
{
    struct verification *verification = walk->verification;
    int64_t last_profile = -1, there = -1;
    int status = WM_OK;

    for (int64_t load = 1; status == WM_OK && load <= verification->load_count; load++) {
        struct load_canonical *canonical = &walk->loads[load];
        status =
            load_digest(verification->office, load, canonical, last_profile, verification->load_digests[load]);
        if (status == WM_NOT_FOUND) {
            verify_fault(verification, "load %lld is missing; restore the file from a copy", (long long)load);
            status = WM_OK;
        }
        if (canonical->last_profile > last_profile)
            last_profile = canonical->last_profile;
    }
    if (status == WM_OK)
        status = load_last_profile(verification->office, &there);
    if (status == WM_OK && there > last_profile)
        verify_fault(verification,
                     "no vehicle has profile %lld of vehicle_profiles; restore the file from a copy",
                     (long long)there);
    return status;
}

int verify_loads(struct verification *verification)
{
    struct loads_walk walk = {.verification = verification};
    int status = verify_numbering(verification, "loads", "load", &verification->load_count);

    if (status == WM_OK)
        status = verify_digests(verification, verification->load_count, &verification->load_digests);
    if (status != WM_OK)
        return status;
    size_t size = ((size_t)verification->load_count + 1) * sizeof *walk.loads;
    walk.loads = aligned_alloc(_Alignof(struct load_canonical), size);
    if (walk.loads == NULL)
        return office_report(verification->office, SQLITE_NOMEM);
    for (int64_t load = 0; load <= verification->load_count; load++)
        load_canonical_begin(&walk.loads[load]);
    status = each_row(&walk, "SELECT vin, profile, built_on, load FROM vehicle_versions ORDER BY vin, load",
                      take_vehicle);
    for (int kind = 0; status == WM_OK && kind < OFFICE_DATA_KINDS; kind++)
        if (kind != OFFICE_VEHICLES)
            status = each_row(&walk, load_versions_sql((enum office_data)kind, false), take_version);
    if (status == WM_OK)
        status = finish_loads(&walk);
    free(walk.loads);
    verification->result.loads = (uint64_t)verification->load_count;
    return status;
}

/* --- Rules ------------------------------------------------------------------------------------------- */

static int check_files(struct verification *verification)
{
    sqlite3_stmt *statement = NULL;
    uint8_t digest[DIGEST_BYTES];
    bool more = false;
    int status = office_prepare(verification->office,
                                "SELECT file, digest, bytes FROM rules_files ORDER BY file", &statement);

    if (status == WM_OK)
        status = office_step(verification->office, statement, &more);
    while (status == WM_OK && more) {
        bytes_digest(column_blob(statement, 2), digest);
        if (memcmp(verify_digest_at(statement, 1), digest, DIGEST_BYTES) != 0)
            verify_fault(verification,
                         "the text of rules file %lld does not fit its digest; restore the file from a copy",
                         sqlite3_column_int64(statement, 0));
        status = office_step(verification->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

static int digest_version(struct verification *verification, sqlite3_stmt *contents, int64_t rules)
{
    struct canonical canonical;
    bool more = false;

    rules_canonical_begin(&canonical);
    sqlite3_bind_int64(contents, 1, rules);
    int status = office_step(verification->office, contents, &more);
    while (status == WM_OK && more) {
        rules_canonical_file(&canonical, column_text(contents, 0), verify_digest_at(contents, 1));
        status = office_step(verification->office, contents, &more);
    }
    sqlite3_reset(contents);
    canonical_end(&canonical, verification->rules_digests[rules]);
    return status;
}

static int check_version(struct verification *verification, sqlite3_stmt *versions, int64_t rules)
{
    bool found = false;

    sqlite3_bind_int64(versions, 1, rules);
    int status = office_step(verification->office, versions, &found);
    if (status == WM_OK &&
        (!found || memcmp(verify_digest_at(versions, 0), verification->rules_digests[rules], DIGEST_BYTES) != 0))
        verify_fault(verification,
                     "the files of rules %lld do not fit their digest; restore the file from a copy",
                     (long long)rules);
    sqlite3_reset(versions);
    return status;
}

int verify_rules(struct verification *verification)
{
    sqlite3_stmt *contents = NULL, *versions = NULL;
    int status = verify_numbering(verification, "rules_versions", "rules", &verification->rules_count);

    if (status == WM_OK)
        status = verify_digests(verification, verification->rules_count, &verification->rules_digests);
    if (status == WM_OK)
        status = check_files(verification);
    if (status == WM_OK)
        status = office_prepare(verification->office,
                                "SELECT c.path, f.digest FROM rules_contents AS c JOIN rules_files AS f "
                                "ON f.file = c.file WHERE c.rules = ?1 ORDER BY c.path",
                                &contents);
    if (status == WM_OK)
        status = office_prepare(verification->office, "SELECT digest FROM rules_versions WHERE rules = ?1",
                                &versions);
    for (int64_t rules = 1; status == WM_OK && rules <= verification->rules_count; rules++) {
        status = digest_version(verification, contents, rules);
        if (status == WM_OK)
            status = check_version(verification, versions, rules);
    }
    sqlite3_finalize(contents);
    sqlite3_finalize(versions);
    if (status == WM_OK)
        status = verify_query(
            verification,
            "SELECT 'rules_contents names rules ' || rules || ', which no batch was decided with; "
            "restore the file from a copy' FROM rules_contents WHERE rules NOT IN "
            "(SELECT rules FROM batches) OR rules NOT IN (SELECT rules FROM rules_versions) LIMIT 1");
    if (status == WM_OK)
        status = verify_query(
            verification,
            "SELECT 'no batch was decided with rules ' || rules || '; restore the file from a copy' "
            "FROM rules_versions WHERE rules NOT IN (SELECT rules FROM batches) LIMIT 1");
    if (status == WM_OK)
        status = verify_query(
            verification,
            "SELECT 'no rules have file ' || file || ' of rules_files; restore the file from a copy' "
            "FROM rules_files WHERE file NOT IN (SELECT file FROM rules_contents) LIMIT 1");
    if (status == WM_OK)
        status = verify_query(
            verification,
            "SELECT 'rules ' || rules || ' lack the text of ' || path || '; restore the file from a "
            "copy' FROM rules_contents WHERE file NOT IN (SELECT file FROM rules_files) LIMIT 1");
    return status;
}
