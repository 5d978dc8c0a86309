/* Vehicles: millions of rows. Read and sorted in memory, compared with the packed index, and only then written.
 */
#include <pthread.h>
#include <sqlite3.h>
#include <stdlib.h>

#include "base/buffer.h"
#include "base/status.h"
#include "base/text_index.h"
#include "ledger/load_chain.h"
#include "ledger/load_parts.h"
#include "ledger/row_feed.h"
#include "ledger/vehicle_file.h"
#include "ledger/vehicle_sort.h"

/* ---- profiles ---- */

/* What stands in vehicle_profiles: key -> number. */
struct office_profiles {
    struct arena keys;
    struct text_index index;
    uint32_t next; /* the number of the next new one */
};

static struct text column_text(sqlite3_stmt *statement, int column)
{
    const char *bytes = (const char *)sqlite3_column_text(statement, column);

    return (struct text){bytes ? bytes : "", bytes ? (size_t)sqlite3_column_bytes(statement, column) : 0};
}

static int add_profile(struct office_profiles *profiles, sqlite3_stmt *statement, struct buffer *key)
{
    struct text cells[PROFILE_CELLS];
    char day[DATE_ROOM];

    for (int i = 0; i < PROFILE_CELLS; i++)
        cells[i] = column_text(statement, i);
    if (sqlite3_column_type(statement, PROFILE_CELLS - 1) != SQLITE_NULL)
        cells[PROFILE_CELLS - 1] =
            (struct text){day, date_write(sqlite3_column_int(statement, PROFILE_CELLS - 1), day)};
    buffer_clear(key);
    vehicle_profile_key(key, cells);
    struct text kept = text_copy(&profiles->keys, buffer_text(key));
    uint32_t number = (uint32_t)sqlite3_column_int64(statement, PROFILE_CELLS);
    if (key->failed || kept.bytes == NULL || text_index_add(&profiles->index, kept, number) == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    profiles->next = number + 1;
    return WM_OK;
}

static int read_profiles(struct office *office, struct office_profiles *profiles)
{
    sqlite3_stmt *statement = NULL;
    struct buffer key = BUFFER_EMPTY;
    bool row = false;

    int status = office_prepare(office,
                                "SELECT model_line, model_year, engine, transmission, plant, options, status, "
                                "status_on, profile FROM vehicle_profiles ORDER BY profile",
                                &statement);
    while (status == WM_OK && (status = office_step(office, statement, &row)) == WM_OK && row)
        status = add_profile(profiles, statement, &key);
    if (status == WM_NO_MEMORY)
        office_report(office, SQLITE_NOMEM);
    sqlite3_finalize(statement);
    buffer_free(&key);
    return status;
}

static void bind_text(sqlite3_stmt *statement, int at, struct text text)
{
    sqlite3_bind_text64(statement, at, text.bytes, text.length, SQLITE_STATIC, SQLITE_UTF8);
}

static int insert_profile(struct office *office, sqlite3_stmt *statement, uint32_t number,
                          const struct vehicle_profile *profile)
{
    sqlite3_clear_bindings(statement);
    sqlite3_bind_int64(statement, 1, number);
    bind_text(statement, 2, profile->model_line);
    if (profile->has_model_year)
        sqlite3_bind_int(statement, 3, profile->model_year);
    bind_text(statement, 4, profile->engine);
    bind_text(statement, 5, profile->transmission);
    bind_text(statement, 6, profile->plant);
    bind_text(statement, 7, profile->options);
    bind_text(statement, 8, profile->status);
    if (profile->status_on != DAY_NONE)
        sqlite3_bind_int(statement, 9, profile->status_on);
    return office_execute(office, statement);
}

/* Inserts those that are new; numbers[i] becomes the office's number of the file's i-th. */
static int store_profiles(struct office *office, const struct vehicle_file *read,
                          struct office_profiles *profiles, uint32_t *numbers)
{
    sqlite3_stmt *statement = NULL;

    int status = office_prepare(office,
                                "INSERT INTO vehicle_profiles (profile, model_line, model_year, engine, "
                                "transmission, plant, options, status, status_on) "
                                "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                                &statement);
    for (uint32_t i = 0; i < read->profile_count && status == WM_OK; i++) {
        numbers[i] = text_index_find(&profiles->index, read->profiles[i].key);
        if (numbers[i] != TEXT_INDEX_NONE)
            continue;
        numbers[i] = profiles->next++;
        status = insert_profile(office, statement, numbers[i], &read->profiles[i].profile);
    }
    sqlite3_finalize(statement);
    return status;
}

/* From the file's numbers of profiles to the office's. */
static int settle_profiles(struct office *office, struct vehicle_file *read)
{
    struct office_profiles profiles = {.keys = ARENA_EMPTY};
    uint32_t *numbers = calloc((size_t)read->profile_count + 1, sizeof *numbers);
    int status = numbers ? read_profiles(office, &profiles) : office_report(office, SQLITE_NOMEM);

    if (status == WM_OK)
        status = store_profiles(office, read, &profiles, numbers);
    for (uint32_t i = 0; i < read->count && status == WM_OK; i++)
        read->rows[i].profile = numbers[read->rows[i].profile];
    free(numbers);
    arena_free(&profiles.keys);
    text_index_free(&profiles.index);
    return status;
}

/* ---- versions ---- */

/* The rows in the order of their VINs, while the index is written. */
struct by_vin {
    const struct vehicle_row *rows;
    struct vehicle_row *sorted, *scratch; /* `hash` holds the VIN's head */
    uint32_t count;
    struct load_canonical canonical;    /* over them, for the chain */
    pthread_t thread;
    bool started;
};

static void *sort_by_vin(void *context)
{
    struct by_vin *by_vin = context;

    for (uint32_t i = 0; i < by_vin->count; i++) {
        by_vin->sorted[i] = by_vin->rows[i];
        by_vin->sorted[i].hash = vehicle_key_vin(vehicle_row_key(&by_vin->rows[i])).head;
    }
    vehicle_sort_by_number(by_vin->sorted, by_vin->scratch, by_vin->count);
    load_canonical_begin(&by_vin->canonical);
    for (uint32_t i = 0; i < by_vin->count; i++) {
        const struct vehicle_row *row = &by_vin->sorted[i];
        char vin[VIN_LENGTH + 1];
        size_t length = vin_unpack((struct packed_vin){row->hash, row->tail}, vin);
        load_canonical_vehicle(&by_vin->canonical, (struct text){vin, length}, row->profile, row->built_on);
    }
    return NULL;
}

enum version_column { VERSION_VIN, VERSION_LOAD, VERSION_PROFILE, VERSION_BUILT_ON };

struct version_feed {
    const struct vehicle_row *rows;
    int64_t load;
    char vin[VIN_LENGTH + 1];
};

static void version_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    struct version_feed *feed = context;
    const struct vehicle_row *version = &feed->rows[row];

    switch ((enum version_column)column) {
    case VERSION_VIN: {
        size_t length = vin_unpack((struct packed_vin){version->hash, version->tail}, feed->vin);
        sqlite3_result_text(ret_cell, feed->vin, (int)length, SQLITE_STATIC);
        break;
    }
    case VERSION_LOAD: sqlite3_result_int64(ret_cell, feed->load); break;
    case VERSION_PROFILE: sqlite3_result_int64(ret_cell, version->profile); break;
    case VERSION_BUILT_ON:
        if (version->built_on != DAY_NONE)
            sqlite3_result_int(ret_cell, version->built_on);
        break;
    }
}

static int insert_versions(struct office *office, const struct by_vin *by_vin, int64_t load)
{
    struct version_feed versions = {.rows = by_vin->sorted, .load = load};
    struct row_feed feed = {"vin, load, profile, built_on", by_vin->count, version_cell, &versions, NULL};

    return row_feed_run(office, &feed,
                        "INSERT INTO vehicle_versions (vin, load, profile, built_on) "
                        "SELECT vin, load, profile, built_on FROM fed");
}

/* The index, and the versions in the order that their table has. */
static int store_rows(struct office *office, struct vehicle_file *read, const struct vehicle_index *index,
                      const struct load_summary *summary, int64_t profiles_before)
{
    struct by_vin by_vin = {.rows = read->rows, .sorted = read->scratch, .count = read->count};

    by_vin.scratch = malloc(((size_t)read->count + 1) * sizeof *by_vin.scratch);
    if (by_vin.scratch == NULL)
        return office_report(office, SQLITE_NOMEM);
    by_vin.started = pthread_create(&by_vin.thread, NULL, sort_by_vin, &by_vin) == 0;
    int status =
        read->count > 0 ? vehicle_index_put(office, index, read->rows, read->count, summary->new_keys) : WM_OK;
    if (by_vin.started)
        pthread_join(by_vin.thread, NULL);
    else
        sort_by_vin(&by_vin);
    free(by_vin.scratch);
    if (status == WM_OK)
        status = insert_versions(office, &by_vin, summary->load);
    if (status == WM_OK)
        status = load_chain_vehicles(office, summary->load, &by_vin.canonical, profiles_before);
    return status;
}

static int store(struct office *office, struct vehicle_file *read, const struct load_file *file, int32_t today,
                 struct load_summary *summary)
{
    struct vehicle_index index;
    uint32_t keys = read->count;
    int64_t profiles_before = -1;

    int status = load_last_profile(office, &profiles_before);
    if (status == WM_OK)
        status = settle_profiles(office, read);
    if (status == WM_OK)
        status = vehicle_index_read(office, &index);
    if (status == WM_OK)
        status = vehicle_index_compare(office, &index, read->rows, &read->count, &summary->new_keys,
                                       &summary->changed_keys);
    summary->unchanged_keys = keys - summary->new_keys - summary->changed_keys;
    if (status == WM_OK)
        status = load_record(office, OFFICE_VEHICLES, file, today, summary);
    if (status == WM_OK && summary->load != 0)
        status = store_rows(office, read, &index, summary, profiles_before);
    return status;
}

int load_vehicles(struct office *office, struct load_file *file, int32_t today, struct diag_sink *sink,
                  struct load_summary *ret_summary)
{
    struct vehicle_file read;
    size_t errors = sink->errors;

    int status = vehicle_file_read(file, sink, &read);
    if (status == WM_NO_MEMORY && sink->errors == errors)
        diag_error(sink, (struct place){file->source.name, 0, 0}, "out of memory; nothing was loaded");
    if (status != WM_OK)
        return status;
    struct load_summary summary = {.rows = read.row_count, .repeated_rows = read.repeated_rows};
    status = office_begin_write(office);
    if (status == WM_OK) {
        status = store(office, &read, file, today, &summary);
        if (status == WM_OK)
            status = office_commit(office);
        else
            office_rollback(office);
    }
    vehicle_file_free(&read);
    if (status == WM_OK)
        *ret_summary = summary;
    return status;
}
