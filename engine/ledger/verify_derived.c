/* What is derived from the records: the tables that find rows, what stands by month, the index of vehicles. */
#include <stdlib.h>

#include "base/status.h"
#include "ledger/vehicle_sort.h"
#include "ledger/verify_parts.h"

/* --- Tables that find rows --------------------------------------------------------------------------- */

static int check_size(struct verification *verification, const char *table, const char *sql)
{
    int64_t difference = 0;
    int status = verify_number(verification, sql, &difference);

    if (status == WM_OK && difference != 0)
        verify_fault(verification, "%s has %lld rows %s; restore the file from a copy", table,
                     (long long)llabs(difference), difference > 0 ? "too many" : "too few");
    return status;
}

static int check_finders(struct verification *verification)
{
    int status = verify_query(
        verification,
        "SELECT 'claims_by_number has row ' || n.row || ' under ' || n.dealer || '/' || n.claim || "
        "', revision ' || n.revision || ', which it is not; restore the file from a copy' "
        "FROM claims_by_number AS n LEFT JOIN claim_rows AS r ON r.row = n.row WHERE r.row IS NULL OR "
        "r.dealer <> n.dealer OR r.claim <> n.claim OR r.revision <> n.revision LIMIT 1");
    if (status == WM_OK)
        status =
            check_size(verification, "claims_by_number",
                       "SELECT (SELECT count(*) FROM claims_by_number) - (SELECT count(*) FROM claim_rows)");
    if (status == WM_OK)
        status = verify_query(
            verification,
            "SELECT 'claims_by_vin has row ' || v.row || ' under ' || v.vin || ', which it is not; "
            "restore the file from a copy' FROM claims_by_vin AS v LEFT JOIN claim_rows AS r "
            "ON r.row = v.row WHERE r.row IS NULL OR r.vin <> v.vin LIMIT 1");
    if (status == WM_OK)
        status = check_size(verification, "claims_by_vin",
                            "SELECT (SELECT count(*) FROM claims_by_vin) - (SELECT count(*) FROM claim_rows)");
    if (status == WM_OK)
        status = check_size(
            verification, "claims_by_repair_order",
            "SELECT (SELECT count(*) FROM claims_by_repair_order) - (SELECT count(*) FROM claim_rows)");
    if (status == WM_OK)
        status = verify_query(verification,
                              "SELECT 'replaced_rows says that row ' || p.row || ' was replaced by row ' || "
                              "p.replaced_by || ', which it was not; restore the file from a copy' "
                              "FROM replaced_rows AS p LEFT JOIN claim_rows AS r ON r.row = p.replaced_by "
                              "WHERE r.replaces IS NOT p.row LIMIT 1");
    if (status == WM_OK)
        status = check_size(verification, "replaced_rows",
                            "SELECT (SELECT count(*) FROM replaced_rows) - "
                            "(SELECT count(*) FROM claim_rows WHERE replaces > 0)");
    return status;
}

/* --- What stands by month ---------------------------------------------------------------------------- */

struct month_walk {
    struct verification *verification;
    sqlite3_stmt *statement;
    uint64_t months;
};

static int check_month(void *context, struct text dealer, int32_t month, struct text bytes)
{
    struct month_walk *walk = context;
    bool found = false;

    if (bytes.length == 0)
        return WM_OK;
    walk->months++;
    bind_text(walk->statement, 1, dealer);
    sqlite3_bind_int(walk->statement, 2, month);
    int status = office_step(walk->verification->office, walk->statement, &found);
    if (status == WM_OK && (!found || !text_equal(column_blob(walk->statement, 0), bytes)))
        verify_fault(
            walk->verification,
            "dealer_months of dealer %.*s for %04d-%02d is not what stands; restore the file from a copy",
            TEXT_ARGUMENTS(dealer), (int)(month / 12), (int)(month % 12) + 1);
    sqlite3_reset(walk->statement);
    return status;
}

static int check_months(struct verification *verification)
{
    struct month_walk walk = {.verification = verification};
    int64_t there = 0;
    int status =
        office_prepare(verification->office,
                       "SELECT tallies FROM dealer_months WHERE dealer = ?1 AND month = ?2", &walk.statement);

    if (status == WM_OK)
        status = tallies_each_month(&verification->tallies, check_month, &walk);
    sqlite3_finalize(walk.statement);
    if (status == WM_OK)
        status = verify_number(verification, "SELECT count(*) FROM dealer_months", &there);
    if (status == WM_OK && there != (int64_t)walk.months)
        verify_fault(verification,
                     "dealer_months has %lld rows and should have %llu; restore the file from a copy",
                     (long long)there, (unsigned long long)walk.months);
    return status;
}

int verify_derived(struct verification *verification)
{
    int status = check_finders(verification);

    return status == WM_OK ? check_months(verification) : status;
}

/* --- The index of vehicles --------------------------------------------------------------------------- */

struct vehicles {
    struct vehicle_row *rows;
    uint32_t count, capacity;
};

static int add_vehicle(struct verification *verification, struct vehicles *vehicles,
                       const struct vehicle_row *row)
{
    if (vehicles->count == vehicles->capacity) {
        uint32_t capacity = vehicles->capacity ? vehicles->capacity * 2 : 4096;
        struct vehicle_row *grown = realloc(vehicles->rows, capacity * sizeof *grown);
        if (grown == NULL)
            return office_report(verification->office, SQLITE_NOMEM);
        vehicles->rows = grown;
        vehicles->capacity = capacity;
    }
    vehicles->rows[vehicles->count++] = *row;
    return WM_OK;
}

/* The last version of each vehicle, in the order of VINs. */
static int read_current(struct verification *verification, struct vehicles *vehicles)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status =
        office_prepare(verification->office,
                       "SELECT vin, profile, built_on FROM vehicle_versions ORDER BY vin, load", &statement);

    if (status == WM_OK)
        status = office_step(verification->office, statement, &more);
    while (status == WM_OK && more) {
        struct text vin = column_text(statement, 0);
        struct packed_vin packed;
        if (!vin_pack(vin, &packed)) {
            verify_fault(verification,
                         "vehicle_versions has the VIN %.*s, which is none; restore the file from a copy",
                         TEXT_ARGUMENTS(vin));
        } else {
            struct vehicle_key key = vehicle_key_of(packed);
            const struct vehicle_row row = {.hash = key.hash,
                                            .tail = key.tail,
                                            .profile = (uint32_t)sqlite3_column_int64(statement, 1),
                                            .built_on = column_day(statement, 2)};
            struct vehicle_row *last = vehicles->count > 0 ? &vehicles->rows[vehicles->count - 1] : NULL;
            if (last != NULL && last->hash == row.hash && last->tail == row.tail)
                *last = row;
            else
                status = add_vehicle(verification, vehicles, &row);
        }
        if (status == WM_OK)
            status = office_step(verification->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

/* How many of the rows from `at` on belong into this bucket. */
static uint32_t in_bucket(const struct vehicles *vehicles, uint32_t at, uint32_t bucket, unsigned bits)
{
    uint32_t count = 0;

    while (at + count < vehicles->count && vehicle_bucket_of(vehicles->rows[at + count].hash, bits) == bucket)
        count++;
    return count;
}

static bool is_bucket(struct text bytes, const struct vehicle_row *rows, uint32_t count)
{
    if (bytes.length != (size_t)count * VEHICLE_BYTES)
        return false;
    for (uint32_t i = 0; i < count; i++) {
        struct packed_vehicle is = vehicle_bucket_at((const unsigned char *)bytes.bytes, count, i);
        if (is.key.hash != rows[i].hash || is.key.tail != rows[i].tail || is.profile != rows[i].profile ||
            is.built_on != rows[i].built_on)
            return false;
    }
    return true;
}

/* Every bucket that there must be, in order; a bucket more or less shows as one that does not fit. */
static int compare_buckets(struct verification *verification, const struct vehicles *vehicles, unsigned bits)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    uint32_t at = 0;
    int status = office_prepare(verification->office,
                                "SELECT bucket, vehicles FROM vehicle_buckets ORDER BY bucket", &statement);

    if (status == WM_OK)
        status = office_step(verification->office, statement, &more);
    while (status == WM_OK && (more || at < vehicles->count)) {
        uint32_t bucket = at < vehicles->count ? vehicle_bucket_of(vehicles->rows[at].hash, bits) : 0;
        int64_t id = ((int64_t)1 << bits) + bucket;
        uint32_t count = in_bucket(vehicles, at, bucket, bits);
        if (at >= vehicles->count || !more || sqlite3_column_int64(statement, 0) != id ||
            !is_bucket(column_blob(statement, 1), vehicles->rows + at, count)) {
            verify_fault(verification,
                         "bucket %lld of vehicle_buckets is not what vehicle_versions say; load the vehicles "
                         "into a new office file, or restore this one from a copy",
                         more ? sqlite3_column_int64(statement, 0) : (sqlite3_int64)id);
            break;
        }
        at += count;
        status = office_step(verification->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

int verify_vehicles(struct verification *verification)
{
    struct vehicles vehicles = {NULL, 0, 0};
    int64_t bits = 0, said = 0;
    int status = read_current(verification, &vehicles);
    struct vehicle_row *scratch = malloc(((size_t)vehicles.count + 1) * sizeof *scratch);

    if (status == WM_OK && scratch == NULL)
        status = office_report(verification->office, SQLITE_NOMEM);
    if (status == WM_OK && vehicles.count > 0)
        vehicle_sort_by_key(vehicles.rows, scratch, vehicles.count);
    if (status == WM_OK)
        status = verify_number(verification, "SELECT bits FROM vehicle_index", &bits);
    if (status == WM_OK)
        status = verify_number(verification, "SELECT vehicles FROM vehicle_index", &said);
    if (status == WM_OK && (said != vehicles.count || bits < 0 || bits > 31))
        verify_fault(verification,
                     "vehicle_index says %lld vehicles and there are %u; restore the file from a copy",
                     (long long)said, vehicles.count);
    else if (status == WM_OK)
        status = compare_buckets(verification, &vehicles, (unsigned)bits);
    free(scratch);
    free(vehicles.rows);
    return status;
}
