/* Office data: vehicles, dealers, shipments, approvals and notices, loaded into an office file in memory. The
 * first byte says which; the rest is the file.
 *
 * Most inputs load nothing. Behind one that does, the rows are taken out again, which is quicker than a new
 * office file: a table that was empty is emptied, the few that were not get their first rows back.
 */
#include "fuzz.h"

#include <dlfcn.h>
#include <errno.h>
#include <pthread.h>
#include <sqlite3.h>
#include <sys/mman.h>
#include <unistd.h>

#include "ledger/load.h"
#include "ledger/verify.h"

enum { MOST_TABLES = 100 };

static char office_file[64];
static struct office *office;
static sqlite3_stmt *undo[2 * MOST_TABLES];
static size_t undo_count;
static bool threads_wanted;

/* Without threads the engine does the same in one; with them an input takes ten times as long. One in 64 gets them.
 * Not under clang, whose libFuzzer and AddressSanitizer need threads themselves. */
#ifndef __clang__
int pthread_create(pthread_t *thread, const pthread_attr_t *attributes, void *(*start)(void *), void *context)
{
    static int (*create)(pthread_t *, const pthread_attr_t *, void *(*)(void *), void *);

    if (!threads_wanted)
        return EAGAIN;
    if (create == NULL)
        *(void **)&create = dlsym(RTLD_NEXT, "pthread_create");
    must(create != NULL, "the library has threads");
    return create(thread, attributes, start, context);
}
#endif

/* --- The office file ------------------------------------------------------------------------------------ */

static void run(const char *sql)
{
    char *error = NULL;

    if (sqlite3_exec(office_database(office), sql, NULL, NULL, &error) != SQLITE_OK)
        must(false, error);
}

static void add_undo(const char *format, const char *table)
{
    char *sql = sqlite3_mprintf(format, table, table);

    must(undo_count < sizeof undo / sizeof *undo && sql != NULL, "there is room");
    must(sqlite3_prepare_v2(office_database(office), sql, -1, &undo[undo_count++], NULL) == SQLITE_OK,
         "a table can be emptied");
    sqlite3_free(sql);
}

static bool has_rows(const char *table)
{
    char *sql = sqlite3_mprintf("SELECT 1 FROM \"%w\" LIMIT 1", table);
    sqlite3_stmt *statement = NULL;

    must(sqlite3_prepare_v2(office_database(office), sql, -1, &statement, NULL) == SQLITE_OK,
         "a table has rows");
    bool has = sqlite3_step(statement) == SQLITE_ROW;
    sqlite3_finalize(statement);
    sqlite3_free(sql);
    return has;
}

/* How to come back to the office file as it is now. */
static void prepare_undo(void)
{
    char *names[MOST_TABLES];
    sqlite3_stmt *statement = NULL;
    size_t count = 0;

    must(sqlite3_prepare_v2(office_database(office), "SELECT name FROM sqlite_schema WHERE type = 'table'", -1,
                            &statement, NULL) == SQLITE_OK,
         "an office file has tables");
    while (sqlite3_step(statement) == SQLITE_ROW && count < MOST_TABLES)
        names[count++] = strdup((const char *)sqlite3_column_text(statement, 0));
    sqlite3_finalize(statement);
    must(count > 10 && count < MOST_TABLES, "an office file has some tables");
    for (size_t i = 0; i < count; i++) {
        add_undo("DELETE FROM main.\"%w\"", names[i]);
        if (has_rows(names[i])) {
            char *sql =
                sqlite3_mprintf("CREATE TEMP TABLE \"first %w\" AS SELECT * FROM \"%w\"", names[i], names[i]);
            run(sql);
            sqlite3_free(sql);
            add_undo("INSERT INTO main.\"%w\" SELECT * FROM temp.\"first %w\"", names[i]);
        }
        free(names[i]);
    }
}

static void begin_again(void)
{
    sqlite3 *database = office_database(office);

    sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, NULL);
    run("BEGIN");
    for (size_t i = 0; i < undo_count; i++) {
        must(sqlite3_step(undo[i]) == SQLITE_DONE, "rows can be taken out");
        sqlite3_reset(undo[i]);
    }
    run("COMMIT");
    sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_TRIGGER, 1, NULL);
}

static void remove_office(void)
{
    char path[80];

    for (size_t i = 0; i < undo_count; i++)
        sqlite3_finalize(undo[i]);
    office_close(office);
    for (const char *const *end = (const char *const[]){"", "-wal", "-shm", "-journal", NULL}; *end != NULL;
         end++) {
        snprintf(path, sizeof path, "%s%s", office_file, *end);
        unlink(path);
    }
}

int LLVMFuzzerInitialize(int *count, char ***arguments)
{
    static struct diag_sink sink;

    (void)count, (void)arguments;
    sink = looking_sink();
    snprintf(office_file, sizeof office_file, "%s/wm-fuzz-%ld.db",
             access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp", (long)getpid());
    must(office_open(office_file, OFFICE_WRITE, &sink, &office) == WM_OK, "there is room for an office file");
    atexit(remove_office);
    /* nothing is looked at but by this process, and all pages stay in its memory */
    run("PRAGMA synchronous = OFF; PRAGMA locking_mode = EXCLUSIVE; PRAGMA journal_mode = MEMORY");
    prepare_undo();
    return 0;
}

/* --- Loading -------------------------------------------------------------------------------------------- */

static const char *file_in_memory(struct text t)
{
    static int descriptor = -1;
    static char path[64];

    if (descriptor < 0)
        descriptor = memfd_create("data", 0);
    must(descriptor >= 0 && ftruncate(descriptor, 0) == 0 &&
             pwrite(descriptor, t.bytes, t.length, 0) == (ssize_t)t.length,
         "there is memory");
    snprintf(path, sizeof path, "/proc/self/fd/%d", descriptor);
    return path;
}

/* What was loaded is there, and the same file again changes nothing. */
static void load_again(enum office_data kind, const char *path, const struct load_summary *first)
{
    struct diag_sink sink = looking_sink();
    struct load_summary again;

    must(first->new_keys + first->changed_keys + first->unchanged_keys + first->repeated_rows == first->rows,
         "each row is new, changed, unchanged or said twice");
    must(office_load(office, kind, path, 20600, &sink, &again) == WM_OK, "the same file again is no error");
    must(again.load == 0 && again.new_keys == 0 && again.changed_keys == 0, "and changes nothing");
    must(again.same_file_load == first->load, "and is recognised");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length);
    enum office_data kind = (enum office_data)input_choose(&input, OFFICE_DATA_KINDS);
    struct diag_sink sink = looking_sink();
    struct load_summary summary = {.load = 0};
    struct text t;
    char *copy = input_rest(&input, &t);

    threads_wanted = length > 0 && (bytes[length / 2] + length) % 64 == 0;
    const char *path = file_in_memory(t);
    if (went_well(office_load(office, kind, path, 20600, &sink, &summary), &sink) && summary.load != 0) {
        load_again(kind, path, &summary);
        begin_again();
    }
    free(copy);
    return 0;
}
