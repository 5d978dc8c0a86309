/* What is derived from the records: what finds rows, what stands, the index of vehicles. */
#include <stdlib.h>

#include "base/status.h"
#include "ledger/office_decisions.h"
#include "ledger/vehicle_sort.h"
#include "ledger/verify_parts.h"

/* --- What finds rows, and what stands ---------------------------------------------------------------- */

static int check_size(struct verification *verification, const char *table, const char *sql)
{
    int64_t difference = 0;
    int status = verify_number(verification, sql, &difference);

    if (status == WM_OK && difference != 0)
        verify_fault(verification, "%s has %lld rows %s; restore the file from a copy", table,
                     (long long)llabs(difference), difference > 0 ? "too many" : "too few");
    return status;
}

static int check_replaced(struct verification *verification)
{
    int status = verify_query(verification,
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

#define SHOULD_WAIT                                                                                                  \
    "SELECT row FROM claim_rows AS r WHERE decision = 'hold' AND replaces IS NOT 0 "                                 \
    "AND NOT EXISTS (SELECT 1 FROM replaced_rows WHERE row = r.row) AND " LAST_DECISION " IS NULL"

static int check_waiting(struct verification *verification)
{
    int status = verify_query(verification,
                              "SELECT 'waiting_rows has row ' || row || ', which does not wait for a person; restore '"
                              "|| 'the file from a copy' FROM (SELECT row FROM waiting_rows EXCEPT " SHOULD_WAIT
                              ") LIMIT 1");

    if (status == WM_OK)
        status = verify_query(verification,
                              "SELECT 'waiting_rows lacks row ' || row || ', which waits for a person; restore '"
                              "|| 'the file from a copy' FROM (" SHOULD_WAIT " EXCEPT SELECT row FROM waiting_rows"
                              ") LIMIT 1");
    return status;
}

/* *ret_entries: of both levels. */
static int check_form(struct verification *verification, enum packed_table table, uint64_t *ret_entries)
{
    int status = WM_OK;

    *ret_entries = 0;
    for (int level = 0; status == WM_OK && level < PACKED_LEVELS; level++) {
        const char *fault = NULL;
        uint64_t entries = 0;
        status = packed_check_form(verification->office, table, level, &entries, &fault);
        if (status == WM_OK && fault != NULL)
            verify_fault(verification, "%s is not as it was written (%s); restore the file from a copy",
                         packed_name(table, level), fault);
        *ret_entries += entries;
    }
    return status;
}

/* That every row is found was seen when it was read; so there may be no more entries than that. */
static int check_rows(struct verification *verification)
{
    uint64_t entries = 0, should = verification->result.rows * PACKED_ROWS_OF_CLAIM;
    int status = check_form(verification, PACKED_ROWS, &entries);

    if (status == WM_OK && entries != should)
        verify_fault(verification,
                     "row_buckets has %llu entries and should have %llu; restore the file from a copy",
                     (unsigned long long)entries, (unsigned long long)should);
    return status;
}

static int check_tallies(struct verification *verification)
{
    struct packed_list list;
    uint64_t entries = 0;
    bool equal = true;
    int status = check_form(verification, PACKED_TALLIES, &entries);

    packed_list_open(&list, PACKED_TALLIES);
    if (status == WM_OK && (tallies_list(&verification->tallies, &list) != WM_OK ||
                            packed_list_settle(&list, verification->options->threads) != WM_OK))
        status = office_report(verification->office, SQLITE_NOMEM); /* also behind faults that were named */
    if (status == WM_OK)
        status = packed_equals(verification->office, &list, &equal);
    packed_list_free(&list);
    if (status == WM_OK && !equal)
        verify_fault(verification, "tally_buckets does not say what stands; restore the file from a copy");
    return status;
}

int verify_derived(struct verification *verification)
{
    int status = check_replaced(verification);

    if (status == WM_OK)
        status = check_waiting(verification);
    if (status == WM_OK)
        status = check_rows(verification);
    return status == WM_OK ? check_tallies(verification) : status;
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
    if (status == WM_OK)
        vehicle_sort_by_key(vehicles.rows, scratch, vehicles.count);
    if (status == WM_OK)
        status = verify_number(verification, "SELECT bits FROM vehicle_index", &bits);
    if (status == WM_OK)
        status = verify_number(verification, "SELECT vehicles FROM vehicle_index", &said);
    if (status == WM_OK && said != vehicles.count)
        verify_fault(verification,
                     "vehicle_index says %lld vehicles and there are %u; restore the file from a copy",
                     (long long)said, vehicles.count);
    else if (status == WM_OK)
        status = compare_buckets(verification, &vehicles, (unsigned)bits);
    free(scratch);
    free(vehicles.rows);
    return status;
}
