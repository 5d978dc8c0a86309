#include "ledger/office.h"

#include <errno.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "base/file.h"
#include "base/limits.h"
#include "base/status.h"
#include "ledger/known_schema.h"
#include "ledger/left_overs.h"
#include "ledger/office_writes.h"
#include "schema_audit_sql.h"
#include "schema_claims_sql.h"
#include "schema_sql.h"

/* Marks a database as an office file (bytes 68 to 71 of the file): "WTMK". */
#define APPLICATION_ID 0x57544d4b

enum { DIFFERENCE_ROOM = 256, ANNOUNCE_WAIT_MS = 500, WRITER_CACHE_KIB = 65536, READER_CACHE_KIB = 4096 };

/* Of a new file. A night is written in half the calls that pages of 4096 bytes take, and the trees above its
 * rows are so low that no page of them is written to the log twice, after which SQLite would read the whole log
 * again. */
enum { PAGE_BYTES = 8192 };

const char *const OFFICE_SCHEMA[] = {SCHEMA_SQL, SCHEMA_CLAIMS_SQL, SCHEMA_AUDIT_SQL, NULL};

struct office {
    sqlite3 *database;
    char *path; /* by which users know it */
    char *file; /* the path itself, or that of a new file that gets its name when it is whole */
    enum office_mode mode;
    struct diag_sink *sink;
    int wait_ms;
    bool announce_wait, wait_announced;
    struct timespec wait_began;
    bool immutable;        /* opened without locks, because there was no permission to make any */
    struct stat as_opened; /* of an immutable one */
};

static bool only_reads(const struct office *office)
{
    return office->mode == OFFICE_READ || office->mode == OFFICE_READ_ALONE;
}

struct sqlite3 *office_database(struct office *office)
{
    return office->database;
}

const char *office_path(const struct office *office)
{
    return office->path;
}

struct diag_sink *office_sink(const struct office *office)
{
    return office->sink;
}

struct diag_sink *office_set_sink(struct office *office, struct diag_sink *sink)
{
    struct diag_sink *before = office->sink;

    office->sink = sink;
    return before;
}

int office_wait_ms(const struct office *office)
{
    return office->wait_ms;
}

void office_set_wait(struct office *office, int milliseconds)
{
    office->wait_ms = milliseconds;
}

static struct place place_of(const char *path)
{
    return (struct place){text_of(path), 0, 0};
}

/* ---- words for what went wrong ---- */

static const char *system_words(sqlite3 *database)
{
    int number = database ? sqlite3_system_errno(database) : 0;

    return number != 0 ? strerror(number) : sqlite3_errmsg(database);
}

int office_words(struct sqlite3 *database, int result, int wait_ms, char *room, size_t size)
{
    if (result == SQLITE_IOERR_NOMEM || (result & 0xff) == SQLITE_NOMEM) {
        snprintf(room, size, "out of memory; nothing was recorded");
        return WM_NO_MEMORY;
    }
    switch (result & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        if (wait_ms < 1000)
            snprintf(room, size,
                     "another program is using the office file; try again later, nothing was recorded");
        else
            snprintf(room, size,
                     "another program was using the office file for more than %d second%s; try again later, "
                     "nothing was recorded",
                     wait_ms / 1000, wait_ms < 2000 ? "" : "s");
        break;
    case SQLITE_FULL:
        snprintf(room, size, "the disk is full; make room and run it again, nothing was recorded");
        break;
    case SQLITE_IOERR:
        snprintf(room, size, "cannot read or write: %s; check the disk and run it again, nothing was recorded",
                 system_words(database));
        break;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        snprintf(room, size,
                 "this is no office file, or a damaged one; name another with --office FILE, or restore it "
                 "from a copy");
        break;
    case SQLITE_READONLY:
    case SQLITE_PERM:
        snprintf(room, size,
                 "the office file cannot be written; check the permissions of the file and its folder");
        break;
    case SQLITE_CANTOPEN:
        snprintf(room, size,
                 "the office file cannot be opened: %s; check the permissions of the file and its folder",
                 system_words(database));
        break;
    default:
        snprintf(room, size, "the office file cannot be used: %s; restore it from a copy if this stays",
                 sqlite3_errmsg(database));
    }
    return WM_IO;
}

int office_report(struct office *office, int result)
{
    char words[LIMIT_MESSAGE_BYTES];
    int status = office_words(office->database, result, office->wait_ms, words, sizeof words);

    diag_error(office->sink, place_of(office->path), "%s", words);
    return status;
}

/* ---- statements ---- */

int office_prepare(struct office *office, const char *sql, struct sqlite3_stmt **ret_statement)
{
    sqlite3_stmt *statement = NULL;
    int result = sqlite3_prepare_v2(office->database, sql, -1, &statement, NULL);

    if (result != SQLITE_OK)
        return office_report(office, result);
    *ret_statement = statement;
    return WM_OK;
}

int office_step(struct office *office, struct sqlite3_stmt *statement, bool *ret_row)
{
    int result = sqlite3_step(statement);

    if (result != SQLITE_ROW && result != SQLITE_DONE)
        return office_report(office, result);
    *ret_row = result == SQLITE_ROW;
    return WM_OK;
}

int office_execute(struct office *office, struct sqlite3_stmt *statement)
{
    bool row;
    int status = office_step(office, statement, &row);

    sqlite3_reset(statement);
    return status;
}

int office_run(struct office *office, const char *sql)
{
    int result = sqlite3_exec(office->database, sql, NULL, NULL, NULL);

    return result == SQLITE_OK ? WM_OK : office_report(office, result);
}

/* The first column of the first row of a query; SQLite's result, SQLITE_OK also where there is no row. */
static int ask_number(sqlite3 *database, const char *sql, int64_t *ret_number)
{
    sqlite3_stmt *statement = NULL;
    int result = sqlite3_prepare_v2(database, sql, -1, &statement, NULL);

    if (result == SQLITE_OK) {
        result = sqlite3_step(statement);
        if (result == SQLITE_ROW)
            *ret_number = sqlite3_column_int64(statement, 0);
    }
    sqlite3_finalize(statement);
    return result == SQLITE_ROW || result == SQLITE_DONE ? SQLITE_OK : result;
}

/* ---- waiting for others ---- */

static int64_t milliseconds_since(const struct timespec *began)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (now.tv_sec - began->tv_sec) * INT64_C(1000) + (now.tv_nsec - began->tv_nsec) / 1000000;
}

static int wait_for_other(void *context, int times)
{
    struct office *office = context;
    struct timespec step = {0, times < 10 ? 2000000 : 25000000};

    if (times == 0)
        clock_gettime(CLOCK_MONOTONIC, &office->wait_began);
    int64_t waited = milliseconds_since(&office->wait_began);
    if (waited >= office->wait_ms)
        return 0;
    if (waited >= ANNOUNCE_WAIT_MS && office->announce_wait && !office->wait_announced) {
        office->wait_announced = true;
        diag_warning(office->sink, place_of(office->path),
                     "another program is writing to the office file; waiting for it up to %d second%s",
                     office->wait_ms / 1000, office->wait_ms < 2000 ? "" : "s");
    }
    nanosleep(&step, NULL);
    return 1;
}

static int begin(struct office *office, const char *sql)
{
    office->announce_wait = true;
    office->wait_announced = false;
    int result = sqlite3_exec(office->database, sql, NULL, NULL, NULL);
    office->announce_wait = false;
    return result == SQLITE_OK ? WM_OK : office_report(office, result);
}

bool office_logs_ahead(struct office *office)
{
    sqlite3_stmt *statement = NULL;
    bool ahead =
        sqlite3_prepare_v2(office->database, "PRAGMA journal_mode", -1, &statement, NULL) == SQLITE_OK &&
        sqlite3_step(statement) == SQLITE_ROW && sqlite3_column_text(statement, 0) != NULL &&
        strcmp((const char *)sqlite3_column_text(statement, 0), "wal") == 0;

    sqlite3_finalize(statement);
    return ahead;
}

int office_begin_read(struct office *office)
{
    int status = begin(office, "BEGIN; SELECT only_row FROM vehicle_index");

    if (status != WM_OK)
        office_rollback(office);
    return status;
}

static bool changed_since_opened(const struct office *office)
{
    struct stat now;

    return stat(office->path, &now) != 0 || now.st_size != office->as_opened.st_size ||
           now.st_ino != office->as_opened.st_ino || now.st_mtim.tv_sec != office->as_opened.st_mtim.tv_sec ||
           now.st_mtim.tv_nsec != office->as_opened.st_mtim.tv_nsec;
}

int office_end_read(struct office *office)
{
    office_rollback(office);
    if (!office->immutable || !changed_since_opened(office))
        return WM_OK;
    diag_error(office->sink, place_of(office->path),
               "the office file was changed while it was read; run it again");
    return WM_IO;
}

int office_begin_write(struct office *office)
{
    return begin(office, "BEGIN IMMEDIATE");
}

int office_commit(struct office *office)
{
    int status = begin(office, "COMMIT");

    if (status != WM_OK)
        office_rollback(office);
    return status;
}

void office_rollback(struct office *office)
{
    if (!sqlite3_get_autocommit(office->database))
        sqlite3_exec(office->database, "ROLLBACK", NULL, NULL, NULL);
}

/* ---- opening ---- */

static int check_path(const char *path, enum office_mode mode, struct diag_sink *sink)
{
    struct stat about;

    if (path[0] == '\0') {
        diag_error(sink, place_of(""), "the office file has no name; name one with --office FILE");
        return WM_IO;
    }
    if (stat(path, &about) != 0) {
        if (errno == ENOENT && mode == OFFICE_WRITE)
            return WM_OK;
        if (errno == ENOENT)
            diag_error(sink, place_of(path),
                       "there is no such office file; make it with `witnessmark load`, or name "
                       "another with --office FILE");
        else
            diag_error(sink, place_of(path), "the office file cannot be opened: %s", strerror(errno));
        return errno == ENOENT ? WM_NOT_FOUND : WM_IO;
    }
    if (S_ISDIR(about.st_mode))
        diag_error(sink, place_of(path), "this is a folder; name an office file");
    else if (!S_ISREG(about.st_mode))
        diag_error(sink, place_of(path), "this is not a regular file; name an office file");
    else if (about.st_size == 0 && mode != OFFICE_WRITE)
        diag_error(sink, place_of(path),
                   "the office file is empty; load office data first with `witnessmark load`");
    else if (access(path, R_OK) != 0)
        diag_error(sink, place_of(path), "the office file cannot be read: %s", strerror(errno));
    else
        return WM_OK;
    return WM_IO;
}

/* A name that SQLite takes for nothing but a file. */
static char *plain_name(const char *path)
{
    char *name = malloc(strlen(path) + 3);

    if (name != NULL)
        sprintf(name, "%s%s", path[0] == '/' ? "" : "./", path);
    return name;
}

/* The same file as a URI that promises SQLite that nobody writes to it. */
static char *immutable_name(const char *path)
{
    static const char suffix[] = "?immutable=1";
    char *name = malloc(strlen(path) * 3 + sizeof suffix + 8), *to;

    if (name == NULL)
        return NULL;
    to = name + sprintf(name, "file:%s", path[0] == '/' ? "" : "./");
    for (; *path != '\0'; path++) {
        if ((*path >= 'a' && *path <= 'z') || (*path >= 'A' && *path <= 'Z') || (*path >= '-' && *path <= '9'))
            *to++ = *path;
        else
            to += sprintf(to, "%%%02X", (unsigned char)*path);
    }
    memcpy(to, suffix, sizeof suffix);
    return name;
}

static int connect(struct office *office, char *name, int flags)
{
    if (name == NULL) {
        diag_error(office->sink, place_of(office->path), "out of memory");
        return WM_NO_MEMORY;
    }
    flags |= office->mode == OFFICE_READ_ALONE ? SQLITE_OPEN_NOMUTEX : SQLITE_OPEN_FULLMUTEX;
    int result = sqlite3_open_v2(name, &office->database, flags | SQLITE_OPEN_EXRESCODE,
                                 only_reads(office) ? NULL : office_writes_layer());
    free(name);
    if (result != SQLITE_OK)
        return office_report(office, result);
    sqlite3_busy_handler(office->database, wait_for_other, office);
    return WM_OK;
}

/* Of a file that was looked at for the first time: what is no database is bad input. */
static int report_look(struct office *office, int result)
{
    int status = office_report(office, result);

    return (result & 0xff) == SQLITE_NOTADB ? WM_BAD_INPUT : status;
}

/* Defends against files that another program prepared, and sets what is not stored in the file. */
static int settle(struct office *office)
{
    char pragmas[256];
    sqlite3 *database = office->database;

    sqlite3_db_config(database, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    sqlite3_db_config(database, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_FKEY, 1, NULL);
    sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0, NULL);
    sqlite3_db_config(database, SQLITE_DBCONFIG_ENABLE_TRIGGER, 1, NULL);
    snprintf(pragmas, sizeof pragmas,
             "PRAGMA cell_size_check = ON; PRAGMA temp_store = MEMORY; PRAGMA cache_size = -%d; "
             "PRAGMA synchronous = FULL; PRAGMA query_only = %s",
             only_reads(office) ? READER_CACHE_KIB : WRITER_CACHE_KIB, only_reads(office) ? "ON" : "OFF");
    int result = sqlite3_exec(database, pragmas, NULL, NULL, NULL);
    return result == SQLITE_OK ? WM_OK : report_look(office, result);
}

enum contents { CONTENTS_EMPTY, CONTENTS_OFFICE, CONTENTS_OTHER };

/* SQLite's result; what kind of database this is, and of which version. */
static int look(struct office *office, enum contents *ret_contents, int64_t *ret_version)
{
    int64_t id = 0, version = 0, objects = 0;
    int result = ask_number(office->database, "PRAGMA application_id", &id);

    if (result == SQLITE_OK)
        result = ask_number(office->database, "PRAGMA user_version", &version);
    if (result == SQLITE_OK)
        result = ask_number(office->database, "SELECT count(*) FROM sqlite_schema", &objects);
    if (result != SQLITE_OK)
        return result;
    *ret_contents = id == APPLICATION_ID && version > 0       ? CONTENTS_OFFICE
                    : id == 0 && version == 0 && objects == 0 ? CONTENTS_EMPTY
                                                              : CONTENTS_OTHER;
    *ret_version = version;
    return SQLITE_OK;
}

static int check_contents(struct office *office, enum contents contents, int64_t version)
{
    struct place place = place_of(office->path);

    if (contents == CONTENTS_OTHER) {
        diag_error(office->sink, place,
                   "this is a database of another program, no office file; name another with "
                   "--office FILE");
        return WM_BAD_INPUT;
    }
    if (contents == CONTENTS_EMPTY) {
        diag_error(office->sink, place,
                   "the office file is empty; load office data first with `witnessmark load`");
        return WM_BAD_INPUT;
    }
    if (version > OFFICE_VERSION) {
        diag_error(office->sink, place,
                   "the office file has version %lld, and this program knows up to %d; use a newer "
                   "program",
                   (long long)version, OFFICE_VERSION);
        return WM_BAD_INPUT;
    }
    if (version < OFFICE_VERSION) {
        diag_error(office->sink, place,
                   "the office file has version %lld, and this program reads version %d; use the program that made "
                   "it, or load and post into a new file",
                   (long long)version, OFFICE_VERSION);
        return WM_BAD_INPUT;
    }
    return WM_OK;
}

/* Makes the tables, unless another program has just done so. */
static int make_schema(struct office *office)
{
    enum contents contents = CONTENTS_EMPTY;
    int64_t version = 0;
    char pragmas[128];

    int status = office_begin_write(office);
    if (status != WM_OK)
        return status;
    int result = look(office, &contents, &version);
    if (result != SQLITE_OK)
        status = report_look(office, result);
    else if (contents != CONTENTS_EMPTY)
        status = check_contents(office, contents, version);
    else {
        snprintf(pragmas, sizeof pragmas, "PRAGMA application_id = %d; PRAGMA user_version = %d",
                 APPLICATION_ID, OFFICE_VERSION);
        for (const char *const *sql = OFFICE_SCHEMA; *sql != NULL && status == WM_OK; sql++)
            status = office_run(office, *sql);
        if (status == WM_OK)
            status = office_run(office, pragmas);
    }
    if (status == WM_OK)
        return office_commit(office);
    office_rollback(office);
    return status;
}

static int make_file(struct office *office)
{
    char pragma[64];

    snprintf(pragma, sizeof pragma, "PRAGMA page_size = %d", PAGE_BYTES);
    int status = office_run(office, pragma);
    return status == WM_OK ? make_schema(office) : status;
}

/* Lets others read while this one writes. Where that cannot be had now (another program is reading, or the file
 * system has no shared memory) everything works too, but one waits for the other. */
static void log_ahead(struct office *office)
{
    int wait_ms = office->wait_ms;

    office->wait_ms = 0;
    sqlite3_exec(office->database, "PRAGMA journal_mode = WAL", NULL, NULL, NULL);
    office->wait_ms = wait_ms;
}

static int open_writer(struct office *office)
{
    enum contents contents;
    int64_t version;

    int status = connect(office, plain_name(office->file), SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE);
    if (status == WM_OK)
        status = settle(office);
    if (status != WM_OK)
        return status;
    if (sqlite3_db_readonly(office->database, "main") == 1)
        return office_report(office, SQLITE_READONLY);
    int result = look(office, &contents, &version);
    if (result != SQLITE_OK)
        return report_look(office, result);
    /* A new file has no readers, and its first load is written once instead of twice: no log until it is
     * closed. */
    if (contents == CONTENTS_EMPTY)
        return make_file(office);
    status = check_contents(office, contents, version);
    if (status == WM_OK)
        log_ahead(office);
    return status;
}

/* Opens and closes the file itself. By POSIX that gives up every lock that this process holds on it, also those
 * of SQLite: never where the program may be writing it through another connection. */
static bool uses_log(const char *path)
{
    unsigned char header[20] = {0};
    int descriptor = open(path, O_RDONLY | O_CLOEXEC);
    ssize_t got = descriptor < 0 ? -1 : descriptor_read_at(descriptor, header, sizeof header, 0);

    if (descriptor >= 0)
        close(descriptor);
    return got == (ssize_t)sizeof header && header[18] == 2; /* "file format write version": 2 is WAL */
}

static bool has_log(const char *path)
{
    struct stat about;
    size_t size = strlen(path) + 8;
    char *log = malloc(size);
    bool has = true;

    if (log != NULL) {
        snprintf(log, size, "%s-wal", path);
        has = stat(log, &about) == 0 && about.st_size > 0;
    }
    free(log);
    return has;
}

/* Where the file is, with the slash; malloc'd. */
static char *folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');

    return slash == NULL ? strdup(".") : strndup(path, (size_t)(slash - path) + 1);
}

/* May files be made beside the office file, and itself be written? */
static bool may_write_beside(const char *path)
{
    char *folder = folder_of(path);
    bool may = folder != NULL && access(folder, W_OK) == 0 && access(path, W_OK) == 0;

    free(folder);
    return may;
}

/* A reader opens for writing where it may, so that it can recover what a killed program left and take the log
 * away at its end; query_only keeps it from writing anything else. */
static int connect_reader(struct office *office)
{
    if (may_write_beside(office->path) || !uses_log(office->path))
        return connect(office, plain_name(office->file), SQLITE_OPEN_READWRITE);
    if (has_log(office->path)) {
        diag_error(
            office->sink, place_of(office->path),
            "another program is writing to the office file or was stopped while it did, and without write "
            "permission it cannot be read now; try again later, or read it once with write permission");
        return WM_IO;
    }
    office->immutable = true;
    (void)stat(office->path, &office->as_opened); /* where it fails, what follows does too */
    return connect(office, immutable_name(office->path), SQLITE_OPEN_READONLY | SQLITE_OPEN_URI);
}

static int open_reader(struct office *office)
{
    enum contents contents;
    int64_t version;

    int status = connect_reader(office);
    if (status == WM_OK)
        status = settle(office);
    if (status != WM_OK)
        return status;
    int result = look(office, &contents, &version);
    if (result != SQLITE_OK)
        return report_look(office, result);
    return check_contents(office, contents, version);
}

/* Keeps the first difference, in words. */
static void keep_difference(void *context, enum schema_difference difference, struct text name)
{
    static const char *const WORDS[] = {[SCHEMA_FOREIGN] = "it has the", [SCHEMA_MISSING] = "it lacks the",
                                        [SCHEMA_CHANGED] = "somebody changed the"};
    char *kept = context;

    if (kept[0] == '\0')
        snprintf(kept, DIFFERENCE_ROOM, "%s %.*s", WORDS[difference], TEXT_ARGUMENTS(name));
}

/* Before any trigger or view of the file is set off: that they are this program's. */
static int check_schema(struct office *office)
{
    char difference[DIFFERENCE_ROOM] = "";
    int result = known_schema_compare(office->database, keep_difference, difference);

    if (result != SQLITE_OK)
        return office_report(office, result);
    if (difference[0] == '\0')
        return WM_OK;
    diag_error(office->sink, place_of(office->path),
               "the office file is not as this program makes one: %s; run `witnessmark verify` and restore the file "
               "from a copy",
               difference);
    return WM_BAD_INPUT;
}

static int open_file(const char *path, const char *file, enum office_mode mode, struct diag_sink *sink,
                     struct office **ret_office)
{
    struct office *office = calloc(1, sizeof *office);

    if (office != NULL) {
        office->path = strdup(path);
        office->file = strdup(file);
    }
    if (office == NULL || office->path == NULL || office->file == NULL) {
        office_close(office);
        diag_error(sink, place_of(path), "out of memory");
        return WM_NO_MEMORY;
    }
    office->mode = mode == OFFICE_PROVE ? OFFICE_READ : mode;
    office->sink = sink;
    office->wait_ms = OFFICE_WAIT_MS;
    if (!only_reads(office))
        left_overs_remove(path);
    int status = only_reads(office) ? open_reader(office) : open_writer(office);
    if (status == WM_OK && mode != OFFICE_PROVE)
        status = check_schema(office);
    if (status == WM_OK)
        *ret_office = office;
    else
        office_close(office);
    return status;
}

int office_open(const char *path, enum office_mode mode, struct diag_sink *sink, struct office **ret_office)
{
    int status = check_path(path, mode, sink);

    return status == WM_OK ? open_file(path, path, mode, sink, ret_office) : status;
}

void office_close(struct office *office)
{
    if (office == NULL)
        return;
    if (office->database != NULL) {
        office_rollback(office);
        if (!only_reads(office))
            log_ahead(office);
        sqlite3_close_v2(office->database);
    }
    free(office->path);
    free(office->file);
    free(office);
}

/* ---- a new file ---- */

bool office_is_there(const char *path)
{
    struct stat about;

    return lstat(path, &about) == 0 || errno != ENOENT;
}

int office_open_new(const char *path, struct diag_sink *sink, struct office **ret_office)
{
    char *file = NULL;
    int status = check_path(path, OFFICE_WRITE, sink);

    if (status != WM_OK)
        return status;
    if (asprintf(&file, "%s.%ld.part", path, (long)getpid()) < 0) {
        diag_error(sink, place_of(path), "out of memory");
        return WM_NO_MEMORY;
    }
    status = open_file(path, file, OFFICE_WRITE, sink, ret_office);
    if (status != WM_OK)
        unlink(file);
    free(file);
    return status;
}

/* So that the name outlasts a loss of power. */
static void sync_folder(const char *path)
{
    char *folder = folder_of(path);
    int descriptor = folder != NULL ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;

    if (descriptor >= 0) {
        fsync(descriptor);
        close(descriptor);
    }
    free(folder);
}

/* Never over a file that is there by now. */
static int give_name(const char *file, const char *path, struct diag_sink *sink)
{
    if (renameat2(AT_FDCWD, file, AT_FDCWD, path, RENAME_NOREPLACE) == 0) {
        sync_folder(path);
        return WM_OK;
    }
    if (errno != EEXIST && link(file, path) == 0) { /* a file system that cannot rename so */
        unlink(file);
        sync_folder(path);
        return WM_OK;
    }
    if (errno == EEXIST)
        diag_error(sink, place_of(path), "another program has made this office file meanwhile; run it again");
    else
        diag_error(sink, place_of(path), "the office file cannot be made: %s", strerror(errno));
    unlink(file);
    return WM_IO;
}

int office_close_new(struct office *office, int status)
{
    if (office == NULL)
        return status;
    struct diag_sink *sink = office->sink;
    char *path = office->path, *file = office->file;
    office->path = office->file = NULL;
    office_close(office);
    if (status == WM_OK)
        status = give_name(file, path, sink);
    else
        unlink(file);
    free(path);
    free(file);
    return status;
}
