/* The office file: how it is opened and closed, what is said when it cannot be, and that nothing recorded is
 * edited. */
#include "office_kit.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdbool.h>
#include <sys/wait.h>
#include <time.h>

#include "ledger/office_writes.h"
#include "ledger/row_feed.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static bool is_there(const char *path, const char *suffix)
{
    char name[1024];
    struct stat about;

    snprintf(name, sizeof name, "%s%s", path, suffix);
    return stat(name, &about) == 0;
}

/* The message behind the place, with the path taken off. */
static void expect_message(struct office_kit *kit, const char *expected)
{
    char line[4096];

    snprintf(line, sizeof line, "%s: %s\n", kit->path, expected);
    assert_string_equal(kit->capture.text, kit->path[0] != '\0' ? line : line + 2);
}

/* ---- opening ---- */

static void nothing(const char *path)
{
    (void)path;
}

static void make_empty(const char *path)
{
    write_file(path, "", 0);
}

static void make_text(const char *path)
{
    write_file(path, "claim,dealer\n", 13);
}

static void make_directory(const char *path)
{
    assert_int_equal(mkdir(path, 0777), 0);
}

static void make_pipe(const char *path)
{
    assert_int_equal(mkfifo(path, 0666), 0);
}

static void make_database(const char *path, const char *sql)
{
    sqlite3 *database = NULL;

    assert_int_equal(sqlite3_open(path, &database), SQLITE_OK);
    assert_int_equal(sqlite3_exec(database, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(database);
}

static void make_other(const char *path)
{
    make_database(path, "CREATE TABLE notes (note)");
}

static void make_other_with_id(const char *path)
{
    make_database(path, "PRAGMA application_id = 77; CREATE TABLE notes (note)");
}

static void make_bare(const char *path)
{
    make_database(path, "CREATE TABLE notes (note); DROP TABLE notes");
}

static void make_office(const char *path)
{
    struct diag_sink sink = {.report = NULL};
    struct office *office;

    assert_int_equal(office_open(path, OFFICE_WRITE, &sink, &office), WM_OK);
    office_close(office);
}

/* An office file's mark and no version, a version and no mark: neither is ours. */
static void make_mark_alone(const char *path)
{
    make_database(path, "PRAGMA application_id = 1465142603; CREATE TABLE notes (note)");
}

static void make_version_alone(const char *path)
{
    make_database(path, "PRAGMA user_version = 3");
}

/* Two differences, of which the first is named. */
static void make_changed(const char *path)
{
    make_office(path);
    make_database(path, "CREATE TABLE notes (note); CREATE TABLE papers (paper)");
}

static void make_newer(const char *path)
{
    make_office(path);
    make_database(path, "PRAGMA user_version = 9");
}

static void make_older(const char *path)
{
    make_office(path);
    make_database(path, "PRAGMA user_version = 1");
}

static void make_damaged(const char *path)
{
    int descriptor;

    make_office(path);
    descriptor = open(path, O_WRONLY);
    assert_true(descriptor >= 0);
    assert_int_equal(pwrite(descriptor, "ruined", 6, 100), 6); /* the root of the schema */
    close(descriptor);
}

#define NO_OFFICE \
    "there is no such office file; make it with `witnessmark load`, or name another with --office FILE"
#define EMPTY "the office file is empty; load office data first with `witnessmark load`"
#define OTHER "this is a database of another program, no office file; name another with --office FILE"
#define DAMAGED \
    "this is no office file, or a damaged one; name another with --office FILE, or restore it from a copy"
#define CHANGED                                                                                               \
    "the office file is not as this program makes one: it has the table notes; run `witnessmark verify` and " \
    "restore the file from a copy"
#define NEWER "the office file has version 9, and this program knows up to 3; use a newer program"
#define OLDER                                                                                                     \
    "the office file has version 1, and this program reads version 3; use the program that made it, or load and " \
    "post into a new file"

static void what_cannot_be_opened_is_told(void **state)
{
    (void)state;
    static const struct {
        void (*make)(const char *path);
        const char *name; /* in the folder; NULL: no name at all */
        enum office_mode mode;
        int status;
        const char *message;
    } cases[] = {
        {nothing, NULL, OFFICE_READ, WM_IO, "the office file has no name; name one with --office FILE"},
        {nothing, "office.db", OFFICE_READ, WM_NOT_FOUND, NO_OFFICE},
        {nothing, "office.db", OFFICE_CHANGE, WM_NOT_FOUND, NO_OFFICE},
        {nothing, "no/office.db", OFFICE_READ, WM_NOT_FOUND, NO_OFFICE},
        {nothing, "no/office.db", OFFICE_WRITE, WM_IO,
         "the office file cannot be opened: No such file or directory; check the permissions of the file and "
         "its "
         "folder"},
        {make_text, "office.db/office.db", OFFICE_READ, WM_IO,
         "the office file cannot be opened: Not a directory"},
        {make_directory, "office.db", OFFICE_READ, WM_IO, "this is a folder; name an office file"},
        {make_directory, "office.db", OFFICE_WRITE, WM_IO, "this is a folder; name an office file"},
        {make_pipe, "office.db", OFFICE_WRITE, WM_IO, "this is not a regular file; name an office file"},
        {make_empty, "office.db", OFFICE_READ, WM_IO, EMPTY},
        {make_empty, "office.db", OFFICE_CHANGE, WM_IO, EMPTY},
        {make_bare, "office.db", OFFICE_READ, WM_BAD_INPUT, EMPTY},
        {make_text, "office.db", OFFICE_READ, WM_BAD_INPUT, DAMAGED},
        {make_text, "office.db", OFFICE_WRITE, WM_BAD_INPUT, DAMAGED},
        {make_other, "office.db", OFFICE_READ, WM_BAD_INPUT, OTHER},
        {make_other, "office.db", OFFICE_WRITE, WM_BAD_INPUT, OTHER},
        {make_other_with_id, "office.db", OFFICE_WRITE, WM_BAD_INPUT, OTHER},
        {make_mark_alone, "office.db", OFFICE_READ, WM_BAD_INPUT, OTHER},
        {make_version_alone, "office.db", OFFICE_WRITE, WM_BAD_INPUT, OTHER},
        {make_changed, "office.db", OFFICE_READ, WM_BAD_INPUT, CHANGED},
        {make_newer, "office.db", OFFICE_READ, WM_BAD_INPUT, NEWER},
        {make_newer, "office.db", OFFICE_WRITE, WM_BAD_INPUT, NEWER},
        {make_older, "office.db", OFFICE_READ, WM_BAD_INPUT, OLDER},
        {make_damaged, "office.db", OFFICE_READ, WM_IO, DAMAGED},
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct office_kit kit;
        kit_begin(&kit);
        cases[i].make(kit.path);
        if (cases[i].name != NULL)
            snprintf(kit.path, sizeof kit.path, "%s/%s", kit.folder, cases[i].name);
        else
            kit.path[0] = '\0';
        assert_int_equal(kit_open(&kit, cases[i].mode), cases[i].status);
        assert_null(kit.office);
        expect_message(&kit, cases[i].message);
        kit_end(&kit);
    }
}

/* An empty file is one that was not begun yet. */
static void an_empty_file_becomes_an_office(void **state)
{
    struct office_kit kit;
    char below[400];

    (void)state;
    kit_begin(&kit);
    make_empty(kit.path);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    assert_string_equal(query(kit.office, "SELECT vehicles FROM vehicle_index"), "0\n");
    kit_close(&kit);
    /* something is there where the way leads through a file: nothing may be made in its place */
    snprintf(below, sizeof below, "%s/office.db", kit.path);
    assert_true(office_is_there(below));
    snprintf(below, sizeof below, "%s/other.db", kit.folder);
    assert_false(office_is_there(below));
    kit_end(&kit);
}

/* Somebody made the office between the look at the empty file and the lock. */
static void *commit_schema(void *database)
{
    nanosleep(&(struct timespec){0, 300000000}, NULL);
    return sqlite3_exec(database, "COMMIT", NULL, NULL, NULL) == SQLITE_OK ? NULL : database;
}

static void an_office_is_made_once(void **state)
{
    static const struct {
        const char *pragma; /* behind the schema */
        int status;
    } cases[] = {
        {"PRAGMA application_id = 1465142603; PRAGMA user_version = 3", WM_OK},
        {"PRAGMA application_id = 77", WM_BAD_INPUT},
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct office_kit kit;
        sqlite3 *database = NULL;
        pthread_t thread;
        void *failed = &kit;
        kit_begin(&kit);
        make_empty(kit.path);
        assert_int_equal(sqlite3_open(kit.path, &database), SQLITE_OK);
        assert_int_equal(sqlite3_exec(database, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
        for (const char *const *sql = OFFICE_SCHEMA; *sql != NULL; sql++)
            assert_int_equal(sqlite3_exec(database, *sql, NULL, NULL, NULL), SQLITE_OK);
        assert_int_equal(sqlite3_exec(database, "UPDATE vehicle_index SET vehicles = 4", NULL, NULL, NULL), SQLITE_OK);
        assert_int_equal(sqlite3_exec(database, cases[i].pragma, NULL, NULL, NULL), SQLITE_OK);
        assert_int_equal(pthread_create(&thread, NULL, commit_schema, database), 0);
        assert_int_equal(kit_open(&kit, OFFICE_WRITE), cases[i].status);
        pthread_join(thread, &failed);
        assert_null(failed);
        if (cases[i].status == WM_OK)
            assert_string_equal(query(kit.office, "SELECT vehicles FROM vehicle_index"), "4\n");
        else
            expect_message(&kit, OTHER);
        sqlite3_close(database);
        kit_end(&kit);
    }
}

/* What was no office file is as it was. */
static void others_are_left_alone(void **state)
{
    struct office_kit kit;
    char text[32] = "";

    (void)state;
    kit_begin(&kit);
    make_text(kit.path);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_BAD_INPUT);
    FILE *file = fopen(kit.path, "r");
    assert_non_null(file);
    assert_non_null(fgets(text, sizeof text, file));
    fclose(file);
    assert_string_equal(text, "claim,dealer\n");
    assert_false(is_there(kit.path, "-wal"));
    assert_false(is_there(kit.path, "-journal"));
    kit_end(&kit);
}

static void an_office_is_one_file_at_rest(void **state)
{
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    for (int turn = 0; turn < 2; turn++) {
        assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
        assert_int_equal(office_logs_ahead(kit.office), turn == 1);
        assert_int_equal(office_begin_write(kit.office), WM_OK);
        assert_int_equal(office_run(kit.office, "UPDATE vehicle_index SET vehicles = vehicles + 1"), WM_OK);
        assert_int_equal(office_commit(kit.office), WM_OK);
        kit_close(&kit);
        assert_false(is_there(kit.path, "-wal"));
        assert_false(is_there(kit.path, "-shm"));
        assert_false(is_there(kit.path, "-journal"));
        assert_int_equal(kit_open(&kit, OFFICE_READ), WM_OK);
        assert_string_equal(query(kit.office, "SELECT vehicles FROM vehicle_index"), turn == 0 ? "1\n" : "2\n");
        kit_close(&kit);
        assert_false(is_there(kit.path, "-wal"));
        assert_false(is_there(kit.path, "-shm"));
        assert_string_equal(kit.capture.text, "");
    }
    kit_end(&kit);
}

/* Names that SQLite would take for something else are files like others. */
static void every_name_is_a_file(void **state)
{
    static const char *const names[] = {":memory:", "file:x?mode=memory", "a b%41?c#d.db", "-office"};
    char before[1024];
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    assert_non_null(getcwd(before, sizeof before));
    assert_int_equal(chdir(kit.folder), 0);
    for (size_t i = 0; i < COUNT(names); i++) {
        snprintf(kit.path, sizeof kit.path, "%s", names[i]);
        assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
        assert_string_equal(office_path(kit.office), names[i]);
        kit_close(&kit);
        assert_true(is_there(names[i], ""));
        assert_int_equal(kit_open(&kit, OFFICE_READ), WM_OK);
        kit_close(&kit);
    }
    assert_int_equal(chdir(before), 0);
    kit_end(&kit);
}

/* ---- reading and writing ---- */

static void readers_write_nothing(void **state)
{
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    make_office(kit.path);
    assert_int_equal(kit_open(&kit, OFFICE_READ), WM_OK);
    assert_int_equal(office_run(kit.office, "UPDATE vehicle_index SET vehicles = 5"), WM_IO);
    expect_message(&kit, "the office file cannot be written; check the permissions of the file and its folder");
    assert_string_equal(query(kit.office, "SELECT vehicles FROM vehicle_index"), "0\n");
    kit_end(&kit);
}

static void statements_that_fail_are_told(void **state)
{
    struct office_kit kit;
    sqlite3_stmt *statement = NULL;
    struct capture other;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    assert_int_equal(office_prepare(kit.office, "SELECT x FROM nowhere", &statement), WM_IO);
    assert_null(statement);
    expect_message(
        &kit, "the office file cannot be used: no such table: nowhere; restore it from a copy if this stays");
    capture_start(&other);
    assert_ptr_equal(office_set_sink(kit.office, &other.sink), &kit.capture.sink);
    assert_ptr_equal(office_sink(kit.office), &other.sink);
    assert_int_equal(office_prepare(kit.office, "INSERT INTO vehicle_index VALUES (2, 0, 0)", &statement),
                     WM_OK);
    assert_int_equal(office_execute(kit.office, statement), WM_IO);
    sqlite3_finalize(statement);
    assert_non_null(strstr(other.text, "cannot be used: CHECK constraint failed"));
    assert_int_equal(kit.capture.sink.errors, 1);
    kit_end(&kit);
}

static void readers_see_the_state_before_a_write(void **state)
{
    struct office_kit writer, reader;

    (void)state;
    kit_begin(&writer);
    make_office(writer.path);
    reader = writer;
    assert_int_equal(kit_open(&writer, OFFICE_WRITE), WM_OK);
    assert_true(office_logs_ahead(writer.office));
    assert_int_equal(office_begin_write(writer.office), WM_OK);
    assert_int_equal(office_run(writer.office, "UPDATE vehicle_index SET vehicles = 7"), WM_OK);
    assert_int_equal(kit_open(&reader, OFFICE_READ), WM_OK);
    assert_int_equal(office_begin_read(reader.office), WM_OK);
    assert_string_equal(query(reader.office, "SELECT vehicles FROM vehicle_index"), "0\n");
    assert_int_equal(office_commit(writer.office), WM_OK);
    assert_string_equal(query(reader.office, "SELECT vehicles FROM vehicle_index"), "0\n");
    kit_close(&writer); /* the reader still reads: it takes the log away */
    assert_string_equal(query(reader.office, "SELECT vehicles FROM vehicle_index"), "0\n");
    assert_int_equal(office_end_read(reader.office), WM_OK);
    assert_string_equal(query(reader.office, "SELECT vehicles FROM vehicle_index"), "7\n");
    kit_close(&reader);
    assert_false(is_there(writer.path, "-wal"));
    assert_string_equal(writer.capture.text, "");
    assert_string_equal(reader.capture.text, "");
    kit_end(&writer);
}

static void what_is_not_committed_is_taken_back(void **state)
{
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    for (int turn = 0; turn < 3; turn++) {
        assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
        assert_int_equal(office_begin_write(kit.office), WM_OK);
        assert_int_equal(office_run(kit.office, "UPDATE vehicle_index SET vehicles = 7"), WM_OK);
        if (turn == 1)
            office_rollback(kit.office);
        kit_close(&kit);
        assert_int_equal(kit_open(&kit, OFFICE_READ), WM_OK);
        assert_string_equal(query(kit.office, "SELECT vehicles FROM vehicle_index"), "0\n");
        kit_close(&kit);
    }
    kit_end(&kit);
}

static void one_writer_waits_for_another_with_a_word(void **state)
{
    struct office_kit first, second;
    char expected[1024];

    (void)state;
    kit_begin(&first);
    make_office(first.path);
    second = first;
    assert_int_equal(kit_open(&first, OFFICE_WRITE), WM_OK);
    assert_int_equal(kit_open(&second, OFFICE_WRITE), WM_OK);
    assert_int_equal(office_begin_write(first.office), WM_OK);
    office_set_wait(second.office, 1100);
    assert_int_equal(office_begin_write(second.office), WM_IO);
    snprintf(
        expected, sizeof expected,
        "warning: %s: another program is writing to the office file; waiting for it up to 1 second\n"
        "%s: another program was using the office file for more than 1 second; try again later, nothing was "
        "recorded\n",
        first.path, first.path);
    assert_string_equal(second.capture.text, expected);
    capture_start(&second.capture);
    office_set_wait(second.office, 0);
    assert_int_equal(office_begin_write(second.office), WM_IO);
    snprintf(expected, sizeof expected,
             "%s: another program is using the office file; try again later, nothing was recorded\n",
             first.path);
    assert_string_equal(second.capture.text, expected);
    /* longer, and where it is not announced */
    static const struct {
        int wait_ms;
        bool begins;
        const char *said;
    } waits[] = {
        {2000, true,
         "warning: %1$s: another program is writing to the office file; waiting for it up to 2 seconds\n"
         "%1$s: another program was using the office file for more than 2 seconds; try again later, nothing was "
         "recorded\n"},
        {700, false, "%1$s: another program is using the office file; try again later, nothing was recorded\n"},
    };
    for (size_t i = 0; i < COUNT(waits); i++) {
        capture_start(&second.capture);
        office_set_wait(second.office, waits[i].wait_ms);
        assert_int_equal(waits[i].begins ? office_begin_write(second.office)
                                         : office_run(second.office, "UPDATE vehicle_index SET vehicles = 1"),
                         WM_IO);
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
        snprintf(expected, sizeof expected, waits[i].said, first.path);
#pragma GCC diagnostic pop
        assert_string_equal(second.capture.text, expected);
    }
    office_rollback(first.office);
    assert_int_equal(office_begin_write(second.office), WM_OK);
    kit_close(&second);
    kit_end(&first);
}

static void *commit_soon(void *office)
{
    nanosleep(&(struct timespec){0, 150000000}, NULL);
    return office_commit(office) == WM_OK ? NULL : office;
}

static void one_writer_follows_another(void **state)
{
    struct office_kit first, second;
    pthread_t thread;
    void *failed = &first;

    (void)state;
    kit_begin(&first);
    make_office(first.path);
    second = first;
    assert_int_equal(kit_open(&first, OFFICE_WRITE), WM_OK);
    assert_int_equal(kit_open(&second, OFFICE_CHANGE), WM_OK);
    assert_int_equal(office_begin_write(first.office), WM_OK);
    assert_int_equal(office_run(first.office, "UPDATE vehicle_index SET vehicles = 1"), WM_OK);
    assert_int_equal(pthread_create(&thread, NULL, commit_soon, first.office), 0);
    assert_int_equal(office_begin_write(second.office), WM_OK);
    pthread_join(thread, &failed);
    assert_null(failed);
    assert_int_equal(office_run(second.office, "UPDATE vehicle_index SET vehicles = vehicles + 1"), WM_OK);
    assert_int_equal(office_commit(second.office), WM_OK);
    assert_string_equal(query(first.office, "SELECT vehicles FROM vehicle_index"), "2\n");
    assert_string_equal(second.capture.text, "");
    kit_close(&second);
    kit_end(&first);
}

/* ---- without permission, or after a kill ---- */

/* Runs `child` as somebody who may write nothing of root's; its result is the exit code, 0 for good. */
static int as_nobody(int (*child)(struct office_kit *kit), struct office_kit *kit)
{
    int status = -1;
    pid_t pid = fork();

    assert_true(pid >= 0);
    if (pid == 0) {
        become_nobody();
        end_child(child(kit));
    }
    assert_int_equal(waitpid(pid, &status, 0), pid);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 98;
}

static bool said(struct office_kit *kit, const char *message)
{
    return strstr(kit->capture.text, message) != NULL;
}

static int read_without_permission(struct office_kit *kit)
{
    if (kit_open(kit, OFFICE_READ) != WM_OK)
        return 1;
    if (office_begin_read(kit->office) != WM_OK ||
        strcmp(query(kit->office, "SELECT vehicles FROM vehicle_index"), "0\n") != 0)
        return 2;
    if (office_end_read(kit->office) != WM_OK)
        return 3;
    kit_close(kit);
    return is_there(kit->path, "-wal") || is_there(kit->path, "-shm") ? 4 : 0;
}

/* By names from within the folder, which are parts of an address then. */
static int read_odd_names_without_permission(struct office_kit *kit)
{
    static const char *const names[] = {"office.db", "a b%41?c#d.db", "{Az}_[09]~:;.db"};

    if (chdir(kit->folder) != 0)
        return 10;
    for (size_t i = 0; i < COUNT(names); i++) {
        snprintf(kit->path, sizeof kit->path, "%s", names[i]);
        int code = read_without_permission(kit);
        if (code != 0)
            return code;
    }
    return 0;
}

static int read_text_without_permission(struct office_kit *kit)
{
    if (kit_open(kit, OFFICE_READ) != WM_BAD_INPUT)
        return 1;
    return said(kit, DAMAGED) ? 0 : 2;
}

static int write_without_permission(struct office_kit *kit)
{
    if (kit_open(kit, OFFICE_WRITE) != WM_IO)
        return 1;
    return said(kit, "the office file cannot be written; check the permissions of the file and its folder") ? 0
                                                                                                            : 2;
}

static int make_without_permission(struct office_kit *kit)
{
    snprintf(kit->path, sizeof kit->path, "%s/new.db", kit->folder);
    if (kit_open(kit, OFFICE_WRITE) != WM_IO)
        return 1;
    return said(kit, "the office file cannot be opened: ") && said(kit, "; check the permissions") ? 0 : 2;
}

static int read_what_may_not_be_read(struct office_kit *kit)
{
    if (kit_open(kit, OFFICE_READ) != WM_IO)
        return 1;
    return said(kit, "the office file cannot be read: Permission denied") ? 0 : 2;
}

static int read_beside_a_log(struct office_kit *kit)
{
    if (kit_open(kit, OFFICE_READ) != WM_IO)
        return 1;
    return said(kit,
                "another program is writing to the office file or was stopped while it did, and without write "
                "permission it cannot be read now; try again later, or read it once with write permission")
               ? 0
               : 2;
}

static int read_while_it_changes(struct office_kit *kit)
{
    char name[400];

    if (kit_open(kit, OFFICE_READ) != WM_OK || office_begin_read(kit->office) != WM_OK)
        return 1;
    snprintf(name, sizeof name, "%s/may-write/go", kit->folder);
    FILE *go = fopen(name, "w");
    if (go == NULL || fclose(go) != 0)
        return 2;
    for (int i = 0; i < 400 && is_there(name, ""); i++) /* until the other has changed the file */
        nanosleep(&(struct timespec){0, 25000000}, NULL);
    if (office_end_read(kit->office) != WM_IO)
        return 3;
    return said(kit, "the office file was changed while it was read; run it again") ? 0 : 4;
}

static void an_office_is_read_without_write_permission(void **state)
{
    struct office_kit kit;
    char log[400];

    (void)state;
    kit_begin(&kit);
    make_office(kit.path);
    assert_int_equal(chmod(kit.path, 0444), 0);
    assert_int_equal(chmod(kit.folder, 0555), 0);
    assert_int_equal(as_nobody(read_without_permission, &kit), 0);
    assert_int_equal(as_nobody(write_without_permission, &kit), 0);
    assert_int_equal(as_nobody(make_without_permission, &kit), 0);
    assert_int_equal(chmod(kit.path, 0), 0);
    assert_int_equal(as_nobody(read_what_may_not_be_read, &kit), 0);
    assert_int_equal(chmod(kit.path, 0444), 0);
    assert_int_equal(chmod(kit.folder, 0755), 0);
    snprintf(log, sizeof log, "%s-wal", kit.path);
    write_file(log, "something", 9);
    assert_int_equal(chmod(kit.folder, 0555), 0);
    assert_int_equal(as_nobody(read_beside_a_log, &kit), 0);
    kit_end(&kit);
}

/* An empty log is none; an office that keeps none, and what is too short for an office, are opened as they are. */
static void what_has_no_log_is_read_without_write_permission(void **state)
{
    static const char *const names[] = {"a b%41?c#d.db", "{Az}_[09]~:;.db"};
    struct office_kit kit;
    char path[400];

    (void)state;
    kit_begin(&kit);
    make_office(kit.path);
    for (size_t i = 0; i < COUNT(names); i++) {
        snprintf(path, sizeof path, "%s/%s", kit.folder, names[i]);
        make_office(path);
        assert_int_equal(chmod(path, 0444), 0);
    }
    assert_int_equal(chmod(kit.path, 0444), 0);
    assert_int_equal(chmod(kit.folder, 0555), 0);
    assert_int_equal(as_nobody(read_odd_names_without_permission, &kit), 0);
    assert_int_equal(chmod(kit.folder, 0755), 0);
    make_database(kit.path, "PRAGMA journal_mode = DELETE");
    assert_int_equal(chmod(kit.folder, 0555), 0);
    assert_int_equal(as_nobody(read_without_permission, &kit), 0);
    assert_int_equal(chmod(kit.folder, 0755), 0);
    assert_int_equal(unlink(kit.path), 0);
    make_text(kit.path);
    assert_int_equal(chmod(kit.path, 0444), 0);
    assert_int_equal(chmod(kit.folder, 0555), 0);
    assert_int_equal(as_nobody(read_text_without_permission, &kit), 0);
    kit_end(&kit);
}

static int read_beside_an_empty_log(struct office_kit *kit)
{
    if (kit_open(kit, OFFICE_READ) != WM_OK || office_begin_read(kit->office) != WM_OK ||
        strcmp(query(kit->office, "SELECT vehicles FROM vehicle_index"), "0\n") != 0)
        return 1;
    int status = office_end_read(kit->office);
    kit_close(kit);
    return status == WM_OK ? 0 : 2;
}

static void an_empty_log_is_none(void **state)
{
    struct office_kit kit;
    char log[400];

    (void)state;
    kit_begin(&kit);
    make_office(kit.path);
    snprintf(log, sizeof log, "%s-wal", kit.path);
    make_empty(log);
    assert_int_equal(chmod(kit.path, 0444), 0);
    assert_int_equal(chmod(kit.folder, 0555), 0);
    assert_int_equal(as_nobody(read_beside_an_empty_log, &kit), 0);
    kit_end(&kit);
}

/* What another program may do to a file that this one reads. */
static void touch_now(const char *path)
{
    assert_int_equal(utimensat(AT_FDCWD, path, NULL, 0), 0);
}

static void touch_a_moment(const char *path)
{
    struct stat about;

    assert_int_equal(stat(path, &about), 0);
    struct timespec times[2] = {about.st_atim, about.st_mtim};
    times[1].tv_nsec = (times[1].tv_nsec + 1) % 1000000000;
    assert_int_equal(utimensat(AT_FDCWD, path, times, 0), 0);
}

static void take_away(const char *path)
{
    assert_int_equal(unlink(path), 0);
}

static void make_longer(const char *path)
{
    struct stat about;

    assert_int_equal(stat(path, &about), 0);
    assert_int_equal(truncate(path, about.st_size + 1), 0);
}

/* Another file of the same size and time. */
static void put_another(const char *path)
{
    char other[500];
    struct stat about;

    snprintf(other, sizeof other, "%s-other", path);
    assert_int_equal(stat(path, &about), 0);
    make_empty(other);
    assert_int_equal(truncate(other, about.st_size), 0);
    const struct timespec times[2] = {about.st_atim, about.st_mtim};
    assert_int_equal(utimensat(AT_FDCWD, other, times, 0), 0);
    assert_int_equal(rename(other, path), 0);
}

static void notice_change(void (*change)(const char *path))
{
    struct office_kit kit;
    char folder[400], name[500];
    int status = -1;

    kit_begin(&kit);
    make_office(kit.path);
    snprintf(folder, sizeof folder, "%s/may-write", kit.folder);
    snprintf(name, sizeof name, "%s/go", folder);
    assert_int_equal(mkdir(folder, 0777), 0);
    assert_int_equal(chmod(folder, 0777), 0);
    assert_int_equal(chmod(kit.path, 0444), 0);
    assert_int_equal(chmod(kit.folder, 0555), 0);
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (pid == 0) {
        become_nobody();
        end_child(read_while_it_changes(&kit));
    }
    for (int i = 0; i < 400 && !is_there(name, ""); i++)
        nanosleep(&(struct timespec){0, 25000000}, NULL);
    assert_int_equal(chmod(kit.folder, 0755), 0);
    assert_int_equal(chmod(kit.path, 0644), 0);
    change(kit.path);
    assert_int_equal(unlink(name), 0);
    assert_int_equal(waitpid(pid, &status, 0), pid);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), 0);
    kit_end(&kit);
}

static void a_change_is_noticed_where_there_are_no_locks(void **state)
{
    static void (*const CHANGES[])(const char *) = {touch_now, touch_a_moment, take_away, make_longer, put_another};

    (void)state;
    for (size_t i = 0; i < COUNT(CHANGES); i++)
        notice_change(CHANGES[i]);
}

static void what_a_killed_writer_committed_is_read(void **state)
{
    struct office_kit kit;
    int status = -1;

    (void)state;
    kit_begin(&kit);
    make_office(kit.path);
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (pid == 0) {
        if (kit_open(&kit, OFFICE_WRITE) != WM_OK || office_begin_write(kit.office) != WM_OK ||
            office_run(kit.office, "UPDATE vehicle_index SET vehicles = 5") != WM_OK ||
            office_commit(kit.office) != WM_OK || office_begin_write(kit.office) != WM_OK ||
            office_run(kit.office, "UPDATE vehicle_index SET vehicles = 6") != WM_OK)
            _exit(1);
        _exit(0); /* closes nothing */
    }
    assert_int_equal(waitpid(pid, &status, 0), pid);
    assert_int_equal(status, 0);
    assert_true(is_there(kit.path, "-wal"));
    assert_int_equal(kit_open(&kit, OFFICE_READ), WM_OK);
    assert_string_equal(query(kit.office, "SELECT vehicles FROM vehicle_index"), "5\n");
    kit_close(&kit);
    assert_false(is_there(kit.path, "-wal"));
    assert_false(is_there(kit.path, "-shm"));
    kit_end(&kit);
}

/* A new office whose file somebody took away before it got its name. */
static void a_new_office_without_its_file_is_told(void **state)
{
    struct office_kit kit;
    char part[400];

    (void)state;
    kit_begin(&kit);
    assert_int_equal(office_open_new(kit.folder, &kit.capture.sink, &kit.office), WM_IO); /* a folder */
    capture_start(&kit.capture);
    assert_int_equal(office_open_new(kit.path, &kit.capture.sink, &kit.office), WM_OK);
    snprintf(part, sizeof part, "%s.%ld.part", kit.path, (long)getpid());
    assert_int_equal(unlink(part), 0);
    assert_int_equal(office_close_new(kit.office, WM_OK), WM_IO);
    kit.office = NULL;
    expect_message(&kit, "the office file cannot be made: No such file or directory");
    assert_false(is_there(kit.path, ""));
    kit_end(&kit);
}

/* ---- words ---- */

static void every_fault_has_its_words(void **state)
{
    (void)state;
    static const struct {
        int result, status;
        const char *words;
    } cases[] = {
        {SQLITE_NOMEM, WM_NO_MEMORY, "out of memory; nothing was recorded"},
        {SQLITE_IOERR_NOMEM, WM_NO_MEMORY, "out of memory; nothing was recorded"},
        {SQLITE_BUSY, WM_IO, "another program was using the office file for more than "},
        {SQLITE_BUSY_SNAPSHOT, WM_IO, "another program was using the office file for more than "},
        {SQLITE_LOCKED, WM_IO, "another program was using the office file for more than "},
        {SQLITE_FULL, WM_IO, "the disk is full; make room and run it again, nothing was recorded"},
        {SQLITE_IOERR_WRITE, WM_IO, "cannot read or write: "},
        {SQLITE_CORRUPT, WM_IO, DAMAGED},
        {SQLITE_NOTADB, WM_IO, DAMAGED},
        {SQLITE_READONLY, WM_IO, "the office file cannot be written; "},
        {SQLITE_PERM, WM_IO, "the office file cannot be written; "},
        {SQLITE_CANTOPEN, WM_IO, "the office file cannot be opened: "},
        {SQLITE_SCHEMA, WM_IO, "the office file cannot be used: "},
    };
    struct office_kit kit;
    char words[512];

    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    for (size_t i = 0; i < COUNT(cases); i++) {
        assert_int_equal(
            office_words(office_database(kit.office), cases[i].result, OFFICE_WAIT_MS, words, sizeof words),
            cases[i].status);
        assert_int_equal(strncmp(words, cases[i].words, strlen(cases[i].words)), 0);
    }
    assert_int_equal(office_words(NULL, SQLITE_IOERR, OFFICE_WAIT_MS, words, sizeof words), WM_IO);
    kit_end(&kit);
}

/* ---- records ---- */

static void records_are_neither_edited_nor_deleted(void **state)
{
    (void)state;
    static const char *const tables[] = {"loads",           "vehicle_profiles",  "vehicle_versions",
                                         "dealer_versions", "shipment_versions", "approval_versions"};
    struct office_kit kit;
    char sql[256];

    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    assert_int_equal(office_run(kit.office,
                                "INSERT INTO loads VALUES (1, 'vehicles', 'f', zeroblob(32), 1, 1, 0, 0);"
                                "INSERT INTO vehicle_profiles VALUES (0, '', 1, '', '', '', '', '', 1);"
                                "INSERT INTO vehicle_versions VALUES ('A', 1, 0, 1);"
                                "INSERT INTO dealer_versions VALUES ('D', 1, 1, '', '', 1, 1, 1, 1);"
                                "INSERT INTO shipment_versions VALUES ('S', 1, 'D', 'P', 'P', 1, 1);"
                                "INSERT INTO approval_versions VALUES ('A', 1, '', '', '', '', 1, 1, '')"),
                     WM_OK);
    for (size_t i = 0; i < COUNT(tables); i++) {
        snprintf(sql, sizeof sql, "DELETE FROM %s", tables[i]);
        assert_string_equal(query(kit.office, sql),
                            "error: what is recorded is never deleted; load a corrected file");
        snprintf(sql, sizeof sql, "SELECT name FROM pragma_table_info('%s') ORDER BY cid DESC LIMIT 1",
                 tables[i]);
        char column[64];
        snprintf(column, sizeof column, "%s", query(kit.office, sql));
        column[strcspn(column, "\n")] = '\0';
        snprintf(sql, sizeof sql, "UPDATE %s SET %s = 1", tables[i], column);
        assert_string_equal(query(kit.office, sql),
                            "error: what is recorded is never edited; load a corrected file");
    }
    kit_end(&kit);
}

/* A file prepared by another program cannot have this one run what it should not. */
static void the_connection_is_on_its_guard(void **state)
{
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    assert_int_equal(strncmp(query(kit.office, "UPDATE sqlite_schema SET sql = 'x'"), "error: ", 7), 0);
    assert_string_equal(query(kit.office, "PRAGMA trusted_schema"), "0\n");
    assert_string_equal(query(kit.office, "PRAGMA cell_size_check"), "1\n");
    assert_string_equal(query(kit.office, "PRAGMA foreign_keys"), "1\n");
    assert_string_equal(query(kit.office, "PRAGMA synchronous"), "2\n");
    assert_int_equal(strncmp(query(kit.office, "SELECT load_extension('x')"), "error: ", 7), 0);
    kit_end(&kit);
}

/* ---- rows from memory ---- */

struct squares {
    unsigned rows_asked;
};

static void square_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    ((struct squares *)context)->rows_asked += column == 0;
    if (column == 0)
        sqlite3_result_int64(ret_cell, (sqlite3_int64)row);
    else if (row % 10 != 0)
        sqlite3_result_int64(ret_cell, (sqlite3_int64)(row * row));
}

static void rows_from_memory_are_inserted(void **state)
{
    struct office_kit kit;
    struct squares squares = {0};
    struct row_feed feed = {"number, square", 1000, square_cell, &squares, NULL};

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    assert_int_equal(office_run(kit.office, "CREATE TEMP TABLE kept (number, square)"), WM_OK);
    assert_int_equal(row_feed_run(kit.office, &feed, "INSERT INTO kept SELECT number, square FROM fed"), WM_OK);
    assert_int_equal(squares.rows_asked, 1000);
    assert_string_equal(query(kit.office, "SELECT count(*), sum(number), sum(square), count(square) FROM kept"),
                        "1000|499500|299998500|900\n");
    feed.rows = 0;
    assert_int_equal(row_feed_run(kit.office, &feed, "INSERT INTO kept SELECT number, square FROM fed"), WM_OK);
    assert_string_equal(query(kit.office, "SELECT count(*) FROM kept"), "1000\n");
    assert_string_equal(query(kit.office, "SELECT * FROM fed"), "error: no such table: fed");
    assert_int_equal(row_feed_run(kit.office, &feed, "INSERT INTO nowhere SELECT number FROM fed"), WM_IO);
    assert_int_equal(kit.capture.sink.errors, 1);
    kit_end(&kit);
}

/* A copy in memory says what a file that is written in any order holds, whatever is gathered at the moment. */
static void what_is_gathered_reads_as_written(void **state)
{
    struct office_kit kit;
    enum { FILE_BYTES = 1 << 20, MOST_BYTES = 20000, STEPS = 4000 };
    sqlite3_vfs *vfs = sqlite3_vfs_find(office_writes_layer());
    char *should = calloc(1, FILE_BYTES), *is = malloc(FILE_BYTES);
    sqlite3_file *file = calloc(1, (size_t)vfs->szOsFile);
    sqlite3_int64 size = 0, next = 0, told;
    unsigned seed = (unsigned)time(NULL);

    (void)state;
    kit_begin(&kit);
    print_message("seed %u\n", seed);
    srand(seed);
    assert_string_equal(vfs->zName, "gathered");
    const char *path = sqlite3_create_filename(kit.path, "", "", 0, NULL);
    assert_int_equal(
        vfs->xOpen(vfs, path, file, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_WAL, NULL), SQLITE_OK);
    for (int step = 0; step < STEPS; step++) {
        int count = 1 + rand() % MOST_BYTES, kind = rand() % 20;
        sqlite3_int64 at = kind < 15 && next + count <= FILE_BYTES ? next : rand() % (FILE_BYTES - count);
        if (kind < 17) {
            memset(should + at, rand(), (size_t)count);
            assert_int_equal(file->pMethods->xWrite(file, should + at, count, at), SQLITE_OK);
            next = at + count;
            size = next > size ? next : size;
        } else if (kind < 19 && at + count <= size) {
            assert_int_equal(file->pMethods->xRead(file, is, count, at), SQLITE_OK);
            assert_memory_equal(is, should + at, (size_t)count);
        } else if (at < size) {
            memset(should + at, 0, (size_t)(size - at));
            size = at;
            assert_int_equal(file->pMethods->xTruncate(file, size), SQLITE_OK);
        }
        if (kind == 16) {
            assert_int_equal(file->pMethods->xFileSize(file, &told), SQLITE_OK);
            assert_int_equal(told, size);
        }
    }
    assert_int_equal(file->pMethods->xClose(file), SQLITE_OK);
    FILE *again = fopen(path, "rb");
    assert_non_null(again);
    assert_int_equal(fread(is, 1, FILE_BYTES, again), (size_t)size);
    assert_memory_equal(is, should, (size_t)size);
    fclose(again);
    free(file);
    free(is);
    free(should);
    sqlite3_free_filename(path);
    kit_end(&kit);
}

/* A piece longer than is gathered, and one that ends behind the first eight megabytes, of a log and of another file. */
static void long_pieces_read_as_written(void **state)
{
    enum { LONG_BYTES = 130000, FAR = 8 * 1024 * 1024 - 50 };
    static const int KINDS[] = {SQLITE_OPEN_WAL, SQLITE_OPEN_MAIN_DB};
    sqlite3_vfs *vfs = sqlite3_vfs_find(office_writes_layer()), *below = sqlite3_vfs_find("unix");
    static char bytes[LONG_BYTES], is[LONG_BYTES];
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    memset(bytes, 'r', sizeof bytes);
    const char *path = sqlite3_create_filename(kit.path, "", "", 0, NULL);
    sqlite3_file *file = calloc(1, (size_t)vfs->szOsFile), *plain = calloc(1, (size_t)below->szOsFile);
    for (size_t i = 0; i < COUNT(KINDS); i++) {
        int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | KINDS[i];
        assert_int_equal(vfs->xOpen(vfs, path, file, flags, NULL), SQLITE_OK);
        assert_int_equal(file->pMethods->xWrite(file, bytes, LONG_BYTES, 0), SQLITE_OK);
        assert_int_equal(file->pMethods->xWrite(file, bytes, 100, FAR), SQLITE_OK);
        assert_int_equal(file->pMethods->xRead(file, is, LONG_BYTES, 0), SQLITE_OK);
        assert_memory_equal(is, bytes, LONG_BYTES);
        assert_int_equal(file->pMethods->xRead(file, is, 100, FAR), SQLITE_OK);
        assert_memory_equal(is, bytes, 100);
        assert_int_equal(below->xOpen(below, path, plain, flags, NULL), SQLITE_OK);
        assert_int_equal(file->pMethods->xSectorSize(file), plain->pMethods->xSectorSize(plain));
        assert_int_equal(plain->pMethods->xClose(plain), SQLITE_OK);
        assert_int_equal(file->pMethods->xClose(file), SQLITE_OK);
    }
    free(file);
    free(plain);
    sqlite3_free_filename(path);
    kit_end(&kit);
}

static bool disk_is_full;

static ssize_t write_or_not(int descriptor, const void *bytes, size_t count, off_t at)
{
    if (disk_is_full) {
        errno = ENOSPC;
        return -1;
    }
    return pwrite(descriptor, bytes, count, at);
}

/* A write that was gathered, and then found no room, is not forgotten when there is room again. */
static void a_gathered_write_that_fails_is_remembered(void **state)
{
    struct office_kit kit;
    sqlite3_vfs *vfs = sqlite3_vfs_find(office_writes_layer()), *below = sqlite3_vfs_find("unix");
    static const struct {
        int kind;
        bool gathered;
    } FILES[] = {{SQLITE_OPEN_WAL, true}, {SQLITE_OPEN_MAIN_DB, false}, {SQLITE_OPEN_MAIN_JOURNAL, false}};
    char bytes[100] = "record";

    (void)state;
    kit_begin(&kit);
    sqlite3_syscall_ptr usual = below->xGetSystemCall(below, "pwrite64");
    below->xSetSystemCall(below, "pwrite", (sqlite3_syscall_ptr)write_or_not);
    below->xSetSystemCall(below, "pwrite64", (sqlite3_syscall_ptr)write_or_not);
    for (size_t i = 0; i < COUNT(FILES); i++) {
        sqlite3_file *file = calloc(1, (size_t)vfs->szOsFile);
        const char *path = sqlite3_create_filename(kit.path, "", "", 0, NULL);
        sqlite3_int64 size;
        assert_int_equal(vfs->xOpen(vfs, path, file, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | FILES[i].kind, NULL),
                         SQLITE_OK);
        disk_is_full = true;
        assert_int_equal(file->pMethods->xWrite(file, bytes, sizeof bytes, 0),
                         FILES[i].gathered ? SQLITE_OK : SQLITE_FULL);
        file->pMethods->xFileControl(file, SQLITE_FCNTL_CKPT_DONE, NULL); /* writes it; nobody looks at the result */
        disk_is_full = false;
        int after = FILES[i].gathered ? SQLITE_FULL : SQLITE_OK;
        assert_int_equal(file->pMethods->xWrite(file, bytes, sizeof bytes, 0), after);
        assert_int_equal(file->pMethods->xSync(file, SQLITE_SYNC_NORMAL), after);
        assert_int_equal(file->pMethods->xRead(file, bytes, sizeof bytes, 0), after);
        assert_int_equal(file->pMethods->xFileSize(file, &size), after);
        assert_int_equal(file->pMethods->xTruncate(file, 0), after);
        assert_int_equal(file->pMethods->xClose(file), after);
        sqlite3_free_filename(path);
        free(file);
    }
    below->xSetSystemCall(below, "pwrite", usual);
    below->xSetSystemCall(below, "pwrite64", usual);
    kit_end(&kit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_cannot_be_opened_is_told),
        cmocka_unit_test(an_empty_file_becomes_an_office),
        cmocka_unit_test(an_office_is_made_once),
        cmocka_unit_test(others_are_left_alone),
        cmocka_unit_test(an_office_is_one_file_at_rest),
        cmocka_unit_test(every_name_is_a_file),
        cmocka_unit_test(readers_write_nothing),
        cmocka_unit_test(statements_that_fail_are_told),
        cmocka_unit_test(readers_see_the_state_before_a_write),
        cmocka_unit_test(what_is_not_committed_is_taken_back),
        cmocka_unit_test(one_writer_waits_for_another_with_a_word),
        cmocka_unit_test(one_writer_follows_another),
        cmocka_unit_test(an_office_is_read_without_write_permission),
        cmocka_unit_test(what_has_no_log_is_read_without_write_permission),
        cmocka_unit_test(an_empty_log_is_none),
        cmocka_unit_test(a_change_is_noticed_where_there_are_no_locks),
        cmocka_unit_test(a_new_office_without_its_file_is_told),
        cmocka_unit_test(what_a_killed_writer_committed_is_read),
        cmocka_unit_test(every_fault_has_its_words),
        cmocka_unit_test(records_are_neither_edited_nor_deleted),
        cmocka_unit_test(the_connection_is_on_its_guard),
        cmocka_unit_test(rows_from_memory_are_inserted),
        cmocka_unit_test(what_is_gathered_reads_as_written),
        cmocka_unit_test(long_pieces_read_as_written),
        cmocka_unit_test(a_gathered_write_that_fails_is_remembered),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
