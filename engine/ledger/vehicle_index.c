#include "ledger/vehicle_index.h"

#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>

#include "base/status.h"

/* Vehicles that a bucket should hold at most on average: one of 203 still fits into a page of 4096 bytes. */
enum { FULL_BUCKET = 180, MOST_BITS = 31 };

int vehicle_index_read(struct office *office, struct vehicle_index *ret_index)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;

    int status = office_prepare(office, "SELECT bits, vehicles FROM vehicle_index", &statement);
    if (status == WM_OK)
        status = office_step(office, statement, &row);
    if (status == WM_OK) {
        int bits = row ? sqlite3_column_int(statement, 0) : -1;
        if (bits < 0 || bits > MOST_BITS)
            status = office_report(office, SQLITE_CORRUPT);
        else
            *ret_index = (struct vehicle_index){(unsigned)bits, sqlite3_column_int64(statement, 1)};
    }
    sqlite3_finalize(statement);
    return status;
}

static int64_t bucket_id(unsigned bits, uint32_t bucket)
{
    return (INT64_C(1) << bits) + bucket;
}

/* A bucket as it stands in the file; its bytes are the statement's until it is reset. */
struct bucket {
    const unsigned char *bytes;
    uint32_t count;
};

static int read_bucket(struct office *office, sqlite3_stmt *statement, int64_t id, struct bucket *ret_bucket)
{
    bool row = false;

    sqlite3_reset(statement);
    sqlite3_bind_int64(statement, 1, id);
    int status = office_step(office, statement, &row);
    if (status != WM_OK)
        return status;
    *ret_bucket = (struct bucket){NULL, 0};
    if (!row)
        return WM_OK;
    int64_t count = vehicle_bucket_count((size_t)sqlite3_column_bytes(statement, 0));
    if (count < 0)
        return office_report(office, SQLITE_CORRUPT);
    *ret_bucket = (struct bucket){sqlite3_column_blob(statement, 0), (uint32_t)count};
    return WM_OK;
}

static const char SELECT_BUCKET[] = "SELECT vehicles FROM vehicle_buckets WHERE bucket = ?1";

int vehicle_index_compare(struct office *office, const struct vehicle_index *index, struct vehicle_row *rows,
                          uint32_t *count, uint64_t *ret_new, uint64_t *ret_changed)
{
    sqlite3_stmt *statement = NULL;
    struct bucket bucket = {NULL, 0};
    int64_t loaded = -1;
    uint32_t kept = 0;

    *ret_new = *ret_changed = 0;
    int status = office_prepare(office, SELECT_BUCKET, &statement);
    for (uint32_t i = 0; i < *count && status == WM_OK; i++) {
        int64_t wanted = bucket_id(index->bits, vehicle_bucket_of(rows[i].hash, index->bits));
        if (wanted != loaded)
            status = read_bucket(office, statement, wanted, &bucket);
        loaded = wanted;
        if (status != WM_OK)
            break;
        uint32_t at = vehicle_bucket_find(bucket.bytes, bucket.count, index->bits, vehicle_row_key(&rows[i]));
        bool is_new = at == bucket.count, same = false;
        if (!is_new) {
            struct packed_vehicle there = vehicle_bucket_at(bucket.bytes, bucket.count, at);
            same = there.profile == rows[i].profile && there.built_on == rows[i].built_on;
        }
        *ret_new += is_new;
        *ret_changed += !is_new && !same;
        if (!same)
            rows[kept++] = rows[i];
    }
    sqlite3_finalize(statement);
    if (status == WM_OK)
        *count = kept;
    return status;
}

/* Writing of buckets: the old ones, the rows, and the one in hand. */
struct writer {
    struct office *office;
    unsigned old_bits, bits;
    const struct vehicle_row *rows;
    uint32_t count, at; /* at: the first row that is not written yet */
    sqlite3_stmt *select, *insert;
    int64_t old_id; /* of `old` */
    struct bucket old;
    struct packed_vehicle *merged;
    unsigned char *bytes;
    size_t capacity; /* vehicles that merged and bytes hold */
};

static int make_room(struct writer *writer, size_t vehicles)
{
    if (vehicles <= writer->capacity)
        return WM_OK;
    size_t capacity = vehicles + vehicles / 2 + 256;
    struct packed_vehicle *merged = realloc(writer->merged, capacity * sizeof *merged);
    if (merged != NULL)
        writer->merged = merged;
    unsigned char *bytes = realloc(writer->bytes, capacity * VEHICLE_BYTES);
    if (bytes != NULL)
        writer->bytes = bytes;
    if (merged == NULL || bytes == NULL)
        return office_report(writer->office, SQLITE_NOMEM);
    writer->capacity = capacity;
    return WM_OK;
}

static int load_old(struct writer *writer, uint32_t bucket)
{
    int64_t id = bucket_id(writer->old_bits, bucket >> (writer->bits - writer->old_bits));

    if (id == writer->old_id)
        return WM_OK;
    writer->old_id = id;
    return read_bucket(writer->office, writer->select, id, &writer->old);
}

/* The vehicles of this new bucket that stand in the old one: from *ret_from to *ret_to. */
static void old_range(const struct writer *writer, uint32_t bucket, uint32_t *ret_from, uint32_t *ret_to)
{
    uint32_t from = 0, to;

    if (writer->bits == writer->old_bits) {
        *ret_from = 0;
        *ret_to = writer->old.count;
        return;
    }
    while (from < writer->old.count &&
           vehicle_bucket_of(vehicle_bucket_at(writer->old.bytes, writer->old.count, from).key.hash,
                             writer->bits) < bucket)
        from++;
    for (to = from; to < writer->old.count; to++)
        if (vehicle_bucket_of(vehicle_bucket_at(writer->old.bytes, writer->old.count, to).key.hash,
                              writer->bits) != bucket)
            break;
    *ret_from = from;
    *ret_to = to;
}

static struct packed_vehicle packed_row(const struct vehicle_row *row)
{
    return (struct packed_vehicle){vehicle_row_key(row), row->profile, row->built_on};
}

/* Merges old vehicles and rows of this bucket by key, a row instead of the old one of its key. */
static int merge(struct writer *writer, uint32_t bucket, uint32_t *ret_count)
{
    uint32_t from, to, end = writer->at, merged = 0;

    while (end < writer->count && vehicle_bucket_of(writer->rows[end].hash, writer->bits) == bucket)
        end++;
    old_range(writer, bucket, &from, &to);
    int status = make_room(writer, (size_t)(end - writer->at) + (to - from));
    if (status != WM_OK)
        return status;
    while (from < to || writer->at < end) {
        struct packed_vehicle old;
        int order = 1;
        if (from < to) {
            old = vehicle_bucket_at(writer->old.bytes, writer->old.count, from);
            order = writer->at < end ? vehicle_key_compare(old.key, vehicle_row_key(&writer->rows[writer->at]))
                                     : -1;
        }
        if (order <= 0)
            from++;
        writer->merged[merged++] = order < 0 ? old : packed_row(&writer->rows[writer->at++]);
    }
    *ret_count = merged;
    return WM_OK;
}

static int write_bucket(struct writer *writer, uint32_t bucket)
{
    uint32_t count = 0;

    int status = load_old(writer, bucket);
    if (status == WM_OK)
        status = merge(writer, bucket, &count);
    if (status != WM_OK || count == 0)
        return status;
    vehicle_bucket_write(writer->bytes, writer->merged, count);
    if (writer->bits == writer->old_bits) { /* its old bytes are done with, and are about to be replaced */
        sqlite3_reset(writer->select);
        writer->old_id = -1;
    }
    sqlite3_bind_int64(writer->insert, 1, bucket_id(writer->bits, bucket));
    int result =
        sqlite3_bind_blob64(writer->insert, 2, writer->bytes, (uint64_t)count * VEHICLE_BYTES, SQLITE_STATIC);
    return result == SQLITE_OK ? office_execute(writer->office, writer->insert)
                               : office_report(writer->office, result);
}

/* Every bucket where their number changes, else those that get a row. */
static int write_buckets(struct writer *writer)
{
    int status = WM_OK;

    if (writer->bits == writer->old_bits) {
        while (writer->at < writer->count && status == WM_OK)
            status = write_bucket(writer, vehicle_bucket_of(writer->rows[writer->at].hash, writer->bits));
        return status;
    }
    for (uint64_t bucket = 0; bucket < UINT64_C(1) << writer->bits && status == WM_OK; bucket++)
        status = write_bucket(writer, (uint32_t)bucket);
    return status;
}

static int drop_old_buckets(struct office *office, unsigned bits)
{
    sqlite3_stmt *statement = NULL;

    int status = office_prepare(office, "DELETE FROM vehicle_buckets WHERE bucket < ?1", &statement);
    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, bucket_id(bits, 0));
    status = office_execute(office, statement);
    sqlite3_finalize(statement);
    return status;
}

static int write_index(struct office *office, unsigned bits, int64_t vehicles)
{
    sqlite3_stmt *statement = NULL;

    int status = office_prepare(office, "UPDATE vehicle_index SET bits = ?1, vehicles = ?2", &statement);
    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, bits);
    sqlite3_bind_int64(statement, 2, vehicles);
    status = office_execute(office, statement);
    sqlite3_finalize(statement);
    return status;
}

int vehicle_index_put(struct office *office, const struct vehicle_index *index, const struct vehicle_row *rows,
                      uint32_t count, uint64_t new_rows)
{
    struct writer writer = {.office = office,
                            .old_bits = index->bits,
                            .bits = index->bits,
                            .rows = rows,
                            .count = count,
                            .old_id = -1};
    int64_t vehicles = index->vehicles + (int64_t)new_rows;

    while (writer.bits < MOST_BITS && vehicles >> writer.bits > FULL_BUCKET)
        writer.bits++;
    int status = office_prepare(office, SELECT_BUCKET, &writer.select);
    if (status == WM_OK)
        status =
            office_prepare(office, "INSERT OR REPLACE INTO vehicle_buckets (bucket, vehicles) VALUES (?1, ?2)",
                           &writer.insert);
    if (status == WM_OK)
        status = write_buckets(&writer);
    sqlite3_finalize(writer.select);
    sqlite3_finalize(writer.insert);
    free(writer.merged);
    free(writer.bytes);
    if (status == WM_OK && writer.bits != writer.old_bits)
        status = drop_old_buckets(office, writer.bits);
    return status == WM_OK ? write_index(office, writer.bits, vehicles) : status;
}
