#include "ledger/vehicle_file.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/buffer.h"
#include "base/chunks.h"
#include "base/decimal.h"
#include "base/limits.h"
#include "base/status.h"
#include "base/text_index.h"
#include "intake/excerpt.h"
#include "ledger/vehicle_sort.h"

enum { MOST_WORKERS = 4 };    /* parsing is no longer what a load waits for beyond these */

/* The profile's columns in the order of vehicle_profile_key, then the others. */
enum column {
    MODEL_LINE, MODEL_YEAR, ENGINE, TRANSMISSION, PLANT, OPTIONS, STATUS, STATUS_ON, VIN, BUILT_ON, COLUMNS
};

static const struct csv_column NAMES[COLUMNS] = {
    [MODEL_LINE] = {"model_line", false}, [MODEL_YEAR] = {"model_year", false}, [ENGINE] = {"engine", false},
    [TRANSMISSION] = {"transmission", false}, [PLANT] = {"plant", false}, [OPTIONS] = {"options", false},
    [STATUS] = {"status", false}, [STATUS_ON] = {"status_on", false}, [VIN] = {"vin", true},
    [BUILT_ON] = {"built_on", false},
};

static const char *const STATUS_WORDS[] = {"in_service", "scrapped", "exported", "stolen", "unreachable", "unsold"};

/* What the workers share; the lock is for taking the next block. */
struct reading {
    struct load_file *file;
    struct diag_sink *sink;
    int at[COLUMNS];
    uint32_t width;
    pthread_mutex_t lock;
    struct csv_blocks *blocks;
    bool done;
    struct diag_sink block_sink;       /* keeps the first message, for after the scan */
    char block_message[LIMIT_MESSAGE_BYTES];
    uint64_t block_line;
};

struct worker {
    struct reading *reading;
    pthread_t thread;
    bool started;
    int status;
    struct buffer bytes;               /* the block's */
    struct arena block_arena;
    struct chunks rows;                /* struct vehicle_row; profile: a number of `profiles` */
    struct chunks profiles;            /* struct file_profile */
    struct arena texts;                /* for the profiles' keys */
    struct text_index known;           /* cells of a profile as written -> its number */
    struct buffer key, exact_key;
    struct load_errors errors;
    uint64_t row_count;
};

void vehicle_profile_key(struct buffer *out, const struct text cells[PROFILE_CELLS])
{
    for (int i = 0; i < PROFILE_CELLS; i++) {
        uint32_t length = (uint32_t)cells[i].length;
        char *room = buffer_room(out, sizeof length + length);
        if (room == NULL)
            return;
        memcpy(room, &length, sizeof length);
        if (length > 0)
            memcpy(room + sizeof length, cells[i].bytes, length);
        out->length += sizeof length + length;
    }
}

/* The texts of a key, which lie in it. */
static void key_cells(struct text key, struct text ret_cells[PROFILE_CELLS])
{
    const char *at = key.bytes;

    for (int i = 0; i < PROFILE_CELLS; i++) {
        uint32_t length;
        memcpy(&length, at, sizeof length);
        ret_cells[i] = (struct text){at + sizeof length, length};
        at += sizeof length + length;
    }
}

static struct load_cell cell_of(struct worker *worker, const struct csv_row *row, enum column column)
{
    int at = worker->reading->at[column];

    return (struct load_cell){at < 0 ? TEXT("") : row->cells[at], NAMES[column].name, row, (uint32_t)(at + 1),
                              &worker->errors};
}

/* ---- profiles ---- */

static bool check_status(const struct load_cell *cell)
{
    if (cell->text.length == 0)
        return true;
    for (size_t i = 0; i < sizeof STATUS_WORDS / sizeof STATUS_WORDS[0]; i++)
        if (text_equal_any_case(cell->text, text_of(STATUS_WORDS[i])))
            return true;
    load_cell_error(cell, "is no status; write in_service, scrapped, exported, stolen, unreachable or unsold");
    return false;
}

static bool check_year(const struct load_cell *cell, int32_t *ret_year)
{
    int64_t year = 0;

    if (cell->text.length > 0 && !load_cell_number(cell, 0, true, &year))
        return false;
    if (year < 0 || year > 9999 * DECIMAL_ONE) {
        load_cell_error(cell, "is no year; write it as 2026");
        return false;
    }
    *ret_year = (int32_t)(year / DECIMAL_ONE);
    return true;
}

/* A profile that this worker has not met: checks its cells; *ret_number is TEXT_INDEX_NONE after an error. */
static int new_profile(struct worker *worker, const struct csv_row *row, const struct text cells[PROFILE_CELLS],
                       uint32_t *ret_number)
{
    struct load_cell year_cell = cell_of(worker, row, MODEL_YEAR), status_cell = cell_of(worker, row, STATUS),
                     day_cell = cell_of(worker, row, STATUS_ON);
    struct text exact[PROFILE_CELLS];
    char year_room[16];
    int32_t year = 0, status_on = DAY_NONE;
    bool good = check_year(&year_cell, &year);

    good = check_status(&status_cell) && good;
    good = load_cell_day(&day_cell, &status_on) && good;
    *ret_number = TEXT_INDEX_NONE;
    if (!good)
        return WM_OK;
    memcpy(exact, cells, sizeof exact);
    snprintf(year_room, sizeof year_room, "%d", year);
    if (exact[MODEL_YEAR].length > 0)
        exact[MODEL_YEAR] = text_of(year_room);
    buffer_clear(&worker->exact_key);
    vehicle_profile_key(&worker->exact_key, exact);
    struct file_profile *kept = chunks_add(&worker->profiles);
    struct text written = text_copy(&worker->texts, buffer_text(&worker->key));
    struct text key = text_copy(&worker->texts, buffer_text(&worker->exact_key));
    if (worker->exact_key.failed || kept == NULL || written.bytes == NULL || key.bytes == NULL)
        return WM_NO_MEMORY;
    key_cells(key, exact);
    *kept = (struct file_profile){key,
                                  {exact[MODEL_LINE], exact[ENGINE], exact[TRANSMISSION], exact[PLANT], exact[OPTIONS],
                                   exact[STATUS], status_on, exact[MODEL_YEAR].length > 0, year},
                                  row->line};
    *ret_number = text_index_add(&worker->known, written, worker->profiles.count - 1);
    return *ret_number == TEXT_INDEX_NONE ? WM_NO_MEMORY : WM_OK;
}

static int read_profile(struct worker *worker, const struct csv_row *row, uint32_t *ret_number)
{
    struct text cells[PROFILE_CELLS];

    for (int i = 0; i < PROFILE_CELLS; i++) {
        int at = worker->reading->at[i];
        cells[i] = at < 0 ? TEXT("") : row->cells[at];
    }
    buffer_clear(&worker->key);
    vehicle_profile_key(&worker->key, cells);
    if (worker->key.failed)
        return WM_NO_MEMORY;
    *ret_number = text_index_find(&worker->known, buffer_text(&worker->key));
    return *ret_number == TEXT_INDEX_NONE ? new_profile(worker, row, cells, ret_number) : WM_OK;
}

/* ---- rows ---- */

static int read_row(struct worker *worker, const struct csv_row *row)
{
    struct load_cell vin_cell, day_cell;
    char room[VIN_LENGTH + 1];
    struct text vin = {"", 0};
    struct packed_vin packed = {0, 0};
    uint32_t profile = TEXT_INDEX_NONE;
    int32_t built_on = DAY_NONE;

    worker->row_count++;
    if (!load_row_is_whole(row, worker->reading->width, &worker->errors))
        return WM_OK;
    vin_cell = cell_of(worker, row, VIN);
    day_cell = cell_of(worker, row, BUILT_ON);
    bool good = load_cell_filled(&vin_cell) && load_cell_vin(&vin_cell, room, &vin) && vin_pack(vin, &packed);
    good = load_cell_day(&day_cell, &built_on) && good;
    int status = read_profile(worker, row, &profile);
    if (status != WM_OK || !good || profile == TEXT_INDEX_NONE)
        return status;
    struct vehicle_row *kept = chunks_add(&worker->rows);
    if (kept == NULL)
        return WM_NO_MEMORY;
    struct vehicle_key key = vehicle_key_of(packed);
    *kept = (struct vehicle_row){key.hash, key.tail, profile, built_on, (uint32_t)row->line};
    return WM_OK;
}

static int read_rows(struct worker *worker, struct text bytes, uint64_t line)
{
    struct csv_rows rows = {0};
    struct csv_row row;

    int status = csv_rows_open(&rows, bytes, line, worker->reading->width, &worker->block_arena);
    while (status == WM_OK && csv_rows_next(&rows, &row))
        status = read_row(worker, &row);
    if (status == WM_OK && rows.no_memory)
        status = WM_NO_MEMORY;
    csv_rows_close(&rows);
    return status;
}

/* WM_NOT_FOUND: there are no more, or another worker failed. */
static int next_block(struct worker *worker, struct csv_block *ret_block)
{
    struct reading *reading = worker->reading;

    pthread_mutex_lock(&reading->lock);
    int status = reading->done ? WM_NOT_FOUND
                               : csv_blocks_next(reading->blocks, &worker->bytes, ret_block, &reading->block_sink);
    if (status != WM_OK)
        reading->done = true;
    pthread_mutex_unlock(&reading->lock);
    return status;
}

static void stop_reading(struct reading *reading)
{
    pthread_mutex_lock(&reading->lock);
    reading->done = true;
    pthread_mutex_unlock(&reading->lock);
}

static void *work(void *context)
{
    struct worker *worker = context;
    struct csv_block block;
    int status;

    while ((status = next_block(worker, &block)) == WM_OK) {
        arena_reset(&worker->block_arena);
        status = read_rows(worker, block.bytes, block.line);
        if (status != WM_OK)
            break;
    }
    worker->status = status == WM_NOT_FOUND ? WM_OK : status;
    if (worker->status != WM_OK)
        stop_reading(worker->reading);
    return NULL;
}

static void keep_message(void *context, const struct diag *diag)
{
    struct reading *reading = context;

    if (reading->block_message[0] == '\0') {
        snprintf(reading->block_message, sizeof reading->block_message, "%s", diag->message);
        reading->block_line = diag->place.line;
    }
}

/* The header, and the rows behind it in the same block. */
static int read_first_block(struct worker *worker)
{
    struct reading *reading = worker->reading;
    struct csv_block block;
    struct csv_rows rows = {0};
    struct csv_row header;
    bool found = false;
    int status;

    do {
        status = next_block(worker, &block);
        if (status == WM_NOT_FOUND)
            return csv_header(NULL, reading->file->source.name, NAMES, COLUMNS, reading->at, reading->sink);
        arena_reset(&worker->block_arena);
        if (status == WM_OK)
            status = csv_rows_open(&rows, block.bytes, block.line, LIMIT_COLUMNS, &worker->block_arena);
        if (status != WM_OK)
            return status;
        found = csv_rows_next(&rows, &header);
        csv_rows_close(&rows);
        if (rows.no_memory)
            return WM_NO_MEMORY;
    } while (!found);
    reading->width = header.cell_count;
    status = csv_header(&header, reading->file->source.name, NAMES, COLUMNS, reading->at, reading->sink);
    return status == WM_OK ? read_rows(worker, rows.rest, rows.line) : status;
}

struct scanner {
    struct reading *reading;
    pthread_t thread;
    bool started;
    int status;
};

static void *scan(void *context)
{
    struct scanner *scanner = context;
    struct load_file *file = scanner->reading->file;

    scanner->status = csv_source_scan(&file->source, true, &file->scan, scanner->reading->sink);
    return NULL;
}

static unsigned worker_count(void)
{
    long processors = sysconf(_SC_NPROCESSORS_ONLN);

    return processors < 1 ? 1 : processors > MOST_WORKERS ? MOST_WORKERS : (unsigned)processors;
}

/* All workers and the scan until the end of the file. Nothing is reported meanwhile but by the scan. */
static int read_all(struct reading *reading, struct worker *workers, unsigned count)
{
    struct scanner scanner = {.reading = reading};

    scanner.started = pthread_create(&scanner.thread, NULL, scan, &scanner) == 0;
    for (unsigned i = 1; i < count; i++)
        workers[i].started = pthread_create(&workers[i].thread, NULL, work, &workers[i]) == 0;
    work(&workers[0]);
    for (unsigned i = 1; i < count; i++)
        if (workers[i].started)
            pthread_join(workers[i].thread, NULL);
    if (scanner.started)
        pthread_join(scanner.thread, NULL);
    else
        scan(&scanner);
    int status = scanner.status;
    for (unsigned i = 0; i < count && status == WM_OK; i++)
        status = workers[i].status;
    return status;
}

/* ---- from the workers' parts to one ---- */

struct merged_profile {
    struct file_profile *profile;
    unsigned worker;
    uint32_t number;    /* the worker's */
};

static int compare_first_lines(const void *a, const void *b)
{
    uint64_t x = ((const struct merged_profile *)a)->profile->first_line,
             y = ((const struct merged_profile *)b)->profile->first_line;

    return (x > y) - (x < y);
}

/* Numbers all profiles by first line, equal ones once; maps[w][n] is the number of worker w's n-th. */
static int number_profiles(struct vehicle_file *read, struct merged_profile *all, uint32_t count, uint32_t **maps)
{
    struct text_index index = TEXT_INDEX_EMPTY;
    int status = WM_OK;

    qsort(all, count, sizeof *all, compare_first_lines);
    for (uint32_t i = 0; i < count && status == WM_OK; i++) {
        struct file_profile *kept = &read->profiles[read->profile_count];
        struct text key = text_copy(&read->texts, all[i].profile->key);
        uint32_t number = key.bytes ? text_index_add(&index, key, read->profile_count) : TEXT_INDEX_NONE;
        if (number == TEXT_INDEX_NONE)
            status = WM_NO_MEMORY;
        else
            maps[all[i].worker][all[i].number] = number;
        if (number != read->profile_count)
            continue;
        struct text cells[PROFILE_CELLS];
        *kept = *all[i].profile;
        key_cells(key, cells);
        kept->key = key;
        kept->profile.model_line = cells[MODEL_LINE];
        kept->profile.engine = cells[ENGINE];
        kept->profile.transmission = cells[TRANSMISSION];
        kept->profile.plant = cells[PLANT];
        kept->profile.options = cells[OPTIONS];
        kept->profile.status = cells[STATUS];
        read->profile_count++;
    }
    text_index_free(&index);
    return status;
}

static int merge_profiles(struct vehicle_file *read, struct worker *workers, unsigned count, uint32_t **maps)
{
    uint32_t total = 0, at = 0;

    for (unsigned w = 0; w < count; w++) {
        total += workers[w].profiles.count;
        maps[w] = calloc((size_t)workers[w].profiles.count + 1, sizeof *maps[w]);
        if (maps[w] == NULL)
            return WM_NO_MEMORY;
    }
    struct merged_profile *all = calloc((size_t)total + 1, sizeof *all);
    read->profiles = calloc((size_t)total + 1, sizeof *read->profiles);
    int status = all && read->profiles ? WM_OK : WM_NO_MEMORY;
    for (unsigned w = 0; w < count && status == WM_OK; w++)
        for (uint32_t i = 0; i < workers[w].profiles.count; i++)
            all[at++] = (struct merged_profile){chunks_at(&workers[w].profiles, i), w, i};
    if (status == WM_OK)
        status = number_profiles(read, all, total, maps);
    free(all);
    return status;
}

static int gather_rows(struct vehicle_file *read, struct worker *workers, unsigned count, uint32_t **maps)
{
    uint64_t total = 0;

    for (unsigned w = 0; w < count; w++)
        total += workers[w].rows.count;
    read->rows = malloc((total + 1) * sizeof *read->rows);
    if (read->rows == NULL || total > UINT32_MAX)
        return WM_NO_MEMORY;
    for (unsigned w = 0; w < count; w++) {
        for (uint32_t i = 0; i < workers[w].rows.count; i++) {
            struct vehicle_row row = *(const struct vehicle_row *)chunks_at(&workers[w].rows, i);
            row.profile = maps[w][row.profile];
            read->rows[read->count++] = row;
        }
        chunks_free(&workers[w].rows);
    }
    read->scratch = malloc((total + 1) * sizeof *read->scratch);
    return read->scratch == NULL ? WM_NO_MEMORY : WM_OK;
}

static void report_conflict(struct load_errors *errors, int at, const struct vehicle_row *first,
                            const struct vehicle_row *again)
{
    char vin[VIN_LENGTH + 1];

    vin_unpack(vehicle_key_vin(vehicle_row_key(first)), vin);
    load_errors_add(errors, again->line, (uint32_t)(at + 1),
                    "vin \"%s\" stands on line %u too, with other content; keep one of the two rows", vin, first->line);
}

/* Sorts by key and drops what is said twice. */
static void sort_rows(struct vehicle_file *read, int vin_at, struct load_errors *conflicts)
{
    uint32_t kept = 0;

    vehicle_sort_by_key(read->rows, read->scratch, read->count);
    for (uint32_t i = 0; i < read->count; i++) {
        const struct vehicle_row *row = &read->rows[i];
        struct vehicle_row *before = kept > 0 ? &read->rows[kept - 1] : NULL;
        if (before == NULL || vehicle_key_compare(vehicle_row_key(before), vehicle_row_key(row)) != 0)
            read->rows[kept++] = *row;
        else if (before->profile != row->profile || before->built_on != row->built_on)
            report_conflict(conflicts, vin_at, before, row);
        else
            read->repeated_rows++;
    }
    read->count = kept;
}

static int bring_together(struct reading *reading, struct worker *workers, unsigned count, struct vehicle_file *read)
{
    uint32_t *maps[MOST_WORKERS] = {NULL};
    struct load_errors conflicts = {.count = 0}, *lists[MOST_WORKERS + 1];
    struct text name = reading->file->source.name;

    int status = merge_profiles(read, workers, count, maps);
    if (status == WM_OK)
        status = gather_rows(read, workers, count, maps);
    if (status == WM_OK)
        sort_rows(read, reading->at[VIN], &conflicts);
    for (unsigned w = 0; w < count; w++) {
        lists[w] = &workers[w].errors;
        read->row_count += workers[w].row_count;
        free(maps[w]);
    }
    lists[count] = &conflicts;
    if (status == WM_OK)
        status = load_errors_report(lists, count + 1, name, reading->sink);
    if (status == WM_OK && reading->file->scan.lines > UINT32_MAX) {
        diag_error(reading->sink, (struct place){name, 0, 0}, "the file has more than 4294967295 lines; split it");
        status = WM_LIMIT;
    }
    load_errors_free(&conflicts);
    return status;
}

static void free_worker(struct worker *worker)
{
    buffer_free(&worker->bytes);
    buffer_free(&worker->key);
    buffer_free(&worker->exact_key);
    arena_free(&worker->block_arena);
    arena_free(&worker->texts);
    chunks_free(&worker->rows);
    chunks_free(&worker->profiles);
    text_index_free(&worker->known);
    load_errors_free(&worker->errors);
}

int vehicle_file_read(struct load_file *file, struct diag_sink *sink, struct vehicle_file *ret_read)
{
    struct reading reading = {.file = file, .sink = sink, .block_sink = {.report = keep_message},
                              .lock = PTHREAD_MUTEX_INITIALIZER};
    struct worker workers[MOST_WORKERS];
    struct vehicle_file read = {.rows = NULL};
    unsigned count = worker_count();

    reading.block_sink.context = &reading;
    for (unsigned i = 0; i < count; i++)
        workers[i] = (struct worker){.reading = &reading, .rows = CHUNKS_OF(struct vehicle_row),
                                     .profiles = CHUNKS_OF(struct file_profile)};
    int status = csv_blocks_open(&reading.blocks, &file->source, LIMIT_BLOCK_BYTES);
    if (status == WM_OK)
        status = read_first_block(&workers[0]);
    if (status == WM_OK)
        status = read_all(&reading, workers, count);
    if (status != WM_OK && reading.block_message[0] != '\0')
        diag_error(sink, (struct place){file->source.name, reading.block_line, 0}, "%s", reading.block_message);
    if (status == WM_OK)
        status = bring_together(&reading, workers, count, &read);
    csv_blocks_close(reading.blocks);
    pthread_mutex_destroy(&reading.lock);
    for (unsigned i = 0; i < count; i++)
        free_worker(&workers[i]);
    if (status == WM_OK)
        *ret_read = read;
    else
        vehicle_file_free(&read);
    return status;
}

void vehicle_file_free(struct vehicle_file *read)
{
    free(read->rows);
    free(read->scratch);
    free(read->profiles);
    arena_free(&read->texts);
    *read = (struct vehicle_file){.rows = NULL};
}
