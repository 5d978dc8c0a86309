/* fault.c - what must hold when the machine fails: fault PROGRAM DEMO SHIM FOLDER [all]
 *
 * A small night is posted into a copy of the demo office while the n-th allocation, read, write, sync or open
 * fails, or the process is killed there, for every n up to the end of the post (without `all`, for every n at
 * first and then in growing steps). Afterwards the office is the old one or the new one, whole; exit code 2
 * means the old one, with one line that says why; `verify` passes; posting again finishes the night. Then:
 * killed at random moments, two posts at once, and readers during a post. The same for an audit: a sample that is drawn
 * and a chargeback that is recorded are there whole, with their letters and worksheets, or not at all.
 */
#include <fcntl.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { EVERY_ONE_UP_TO = 150, RANDOM_KILLS = 200, PATH_ROOM = 1024 };

static const char *program, *demo, *shim, *folder;
static bool every_one;
static long passed, failed;

static char *words(const char *format, ...) __attribute__((format(printf, 1, 2)));
static char *words(const char *format, ...)
{
    va_list arguments;
    char *made = malloc(PATH_ROOM);

    va_start(arguments, format);
    vsnprintf(made, PATH_ROOM, format, arguments);
    va_end(arguments);
    return made;
}

static void expect(bool holds, const char *what, const char *where, long n)
{
    if (holds) {
        passed++;
        return;
    }
    failed++;
    printf("%s, n = %ld: %s\n", where, n, what);
}

/* --- Running the program -------------------------------------------------------------------------------------
 */

static pid_t start(const char *const *arguments, const char *wish)
{
    const char *call[32] = {program};
    pid_t child;

    for (int i = 0; arguments[i] != NULL; i++)
        call[i + 1] = arguments[i];
    fflush(stdout);
    child = fork();
    if (child == 0) {
        int out = open(words("%s/out", folder), O_WRONLY | O_CREAT | O_TRUNC, 0600);
        int err = open(words("%s/err.%d", folder, getpid()), O_WRONLY | O_CREAT | O_TRUNC, 0600);
        dup2(out, STDOUT_FILENO);
        dup2(err, STDERR_FILENO);
        rename(words("%s/err.%d", folder, getpid()), words("%s/err", folder));
        if (wish != NULL) {
            setenv("LD_PRELOAD", shim, 1);
            setenv("WM_FAULT", wish, 1);
            setenv("WM_FAULT_MARK", words("%s/mark", folder), 1);
        }
        execv(program, (char *const *)(void *)call);
        _exit(127);
    }
    return child;
}

/* The exit code, or -1: ended by SIGKILL, -2: by another signal. */
static int finish(pid_t child)
{
    int status;

    waitpid(child, &status, 0);
    if (WIFEXITED(status))
        return WEXITSTATUS(status);
    return WTERMSIG(status) == SIGKILL ? -1 : -2;
}

static int run(const char *const *arguments, const char *wish)
{
    unlink(words("%s/mark", folder));
    return finish(start(arguments, wish));
}

#define RUN(wish, ...) run((const char *const[]){__VA_ARGS__, NULL}, wish)

static bool was_reached(void)
{
    struct stat about;
    return stat(words("%s/mark", folder), &about) == 0;
}

static bool error_is_one_line(void)
{
    char text[4096] = "";
    FILE *file = fopen(words("%s/err", folder), "r");
    size_t length = file != NULL ? fread(text, 1, sizeof text - 1, file) : 0;

    if (file != NULL)
        fclose(file);
    return length > 10 && strchr(text, '\n') == text + length - 1 && strstr(text, "locked") == NULL;
}

/* --- The office ------------------------------------------------------------------------------------------- */

static void copy_file(const char *from, const char *to)
{
    if (system(words("cp %s %s", from, to)) != 0)
        exit(2);
}

static void new_office(void)
{
    if (system(words("rm -f %s/office.db*", folder)) != 0)
        exit(2);
    copy_file(words("%s/office.db", demo), words("%s/office.db", folder));
}

static long count_of(const char *sql)
{
    sqlite3 *database;
    sqlite3_stmt *statement;
    long count = -1;

    if (sqlite3_open(words("%s/office.db", folder), &database) == SQLITE_OK &&
        sqlite3_prepare_v2(database, sql, -1, &statement, NULL) == SQLITE_OK) {
        if (sqlite3_step(statement) == SQLITE_ROW)
            count = sqlite3_column_int(statement, 0);
        sqlite3_finalize(statement);
    }
    sqlite3_close(database);
    return count;
}

static long batches(void)
{
    return count_of("SELECT count(*) FROM batches");
}

static long rows(void)
{
    return count_of("SELECT count(*) FROM claim_rows");
}

static bool verifies(void)
{
    return RUN(NULL, "verify", "--office", words("%s/office.db", folder)) == 0;
}

static int post(const char *wish)
{
    return RUN(wish, "post", words("%s/claims.csv", folder), "--office", words("%s/office.db", folder),
               "--today", "2026-03-02", "--quiet", "--threads", "1");
}

static long whole_rows; /* of the night, once it is posted */

static void judge_state(const char *where, long n, int code)
{
    long is = batches();

    expect(is == 0 || is == 1, "neither the old state nor the new one", where, n);
    expect(rows() == (is == 1 ? whole_rows : 0), "the batch is there in part", where, n);
    if (code == 2)
        expect(is == 0, "exit 2, and yet the batch is there", where, n);
    if (code == 0)
        expect(is == 1, "exit 0, and yet the batch is not there", where, n);
    if (n % 8 == 0 || every_one)
        expect(verifies(), "verify does not pass", where, n);
    expect(post(NULL) == 0 && batches() == 1 && rows() == whole_rows, "posting again does not finish the night",
           where, n);
}

/* --- The n-th call ---------------------------------------------------------------------------------------- */

static long next_n(long n)
{
    return every_one || n < EVERY_ONE_UP_TO ? n + 1 : n + 1 + n / 40;
}

static void fail_each(const char *kind, const char *action)
{
    char *where = words("%s %s", kind, action);
    bool killed = strcmp(action, "kill") == 0;
    long n = 1, tried = 0;

    for (;; n = next_n(n)) {
        new_office();
        int code = post(words("%s:%ld:%s", kind, n, action));
        if (!was_reached())
            break;
        tried++;
        expect(killed ? code == -1 : code == 0 || code == 2, "ended by a crash", where, n);
        if (code == 2)
            expect(error_is_one_line(), "no single line says why", where, n);
        judge_state(where, n, code);
    }
    printf("%s: %ld of the first %ld calls\n", where, tried, n - 1);
}

/* --- Audits ----------------------------------------------------------------------------------------------- */

/* What an audit appends: the command, and the number of its records in each table, all or none. */
struct audit_act {
    const char *name, *before;
    int (*run)(const char *wish);
    const char *const *counts; /* ended by NULL */
};

static int draw(const char *wish)
{
    return RUN(wish, "sample", "draw", "--name", "s", "--because", "x", "--size", "10", "--seed", "1", "--office",
               words("%s/office.db", folder), "--today", "2026-05-01", "--out", words("%s/sheet.csv", folder),
               "--quiet");
}

static int charge(const char *wish)
{
    return RUN(wish, "chargeback", "s", "--by", "x", "--reason", "y", "--notified", "2026-05-01", "--today",
               "2026-06-01", "--office", words("%s/office.db", folder), "--letters",
               words("%s/letters", folder), "--quiet");
}

static const char *const DRAWN[] = {"samples", "sample_strata", "sample_regions", "sample_frame", "sample_items", NULL};
static const char *const CHARGED[] = {"chargebacks", "chargeback_items", "office_decisions", NULL};
static const struct audit_act ACTS[] = {{"sample draw", "posted.db", draw, DRAWN},
                                        {"chargeback", "judged.db", charge, CHARGED}};

static void copy_office(const char *to)
{
    copy_file(words("%s/office.db", folder), words("%s/%s", folder, to));
}

static void office_of(const struct audit_act *act)
{
    if (system(words("rm -f %s/office.db*", folder)) != 0)
        exit(2);
    copy_file(words("%s/%s", folder, act->before), words("%s/office.db", folder));
}

/* A posted night, a drawn sample, judgements on it: half are wrong. */
static bool make_audit(void)
{
    new_office();
    if (post(NULL) != 0)
        return false;
    copy_office("posted.db");
    if (draw(NULL) != 0 ||
        system(words("awk -F, -v OFS=, 'NR > 1 { $14 = NR %% 2 ? \"missing\" : \"upheld\" } 1' %s/sheet.csv > "
                     "%s/filled.csv",
                     folder, folder)) != 0 ||
        RUN(NULL, "sample", "record", "s", words("%s/filled.csv", folder), "--by", "x", "--office",
            words("%s/office.db", folder), "--today", "2026-05-02", "--quiet") != 0)
        return false;
    copy_office("judged.db");
    return true;
}

static void fail_audit(const struct audit_act *act, const char *kind, const char *action)
{
    char *where = words("%s, %s %s", act->name, kind, action);
    long whole[8], n = 1, tried = 0;

    office_of(act);
    expect(act->run(NULL) == 0, "it does not work at all", where, 0);
    for (int i = 0; act->counts[i] != NULL; i++)
        whole[i] = count_of(words("SELECT count(*) FROM %s", act->counts[i]));
    for (;; n = next_n(n)) {
        office_of(act);
        int code = act->run(words("%s:%ld:%s", kind, n, action));
        if (!was_reached())
            break;
        tried++;
        bool there = count_of(words("SELECT count(*) FROM %s", act->counts[0])) > 0;
        for (int i = 0; act->counts[i] != NULL; i++)
            expect(count_of(words("SELECT count(*) FROM %s", act->counts[i])) == (there ? whole[i] : 0),
                   "the record is there in part", where, n);
        expect(strcmp(action, "kill") == 0 ? code == -1 : code == 0 || code == 2, "ended by a crash", where, n);
        expect(code != 0 || there, "exit 0, and yet the record is not there", where, n);
        expect(n % 16 != 0 || verifies(), "verify does not pass", where, n);
    }
    printf("%s: %ld of the first %ld calls\n", where, tried, n - 1);
}

static void fail_audits(void)
{
    static const char *const WISHES[][2] = {{"alloc", "fail"}, {"write", "io"}, {"sync", "io"}, {"write", "kill"}};

    expect(make_audit(), "the audit cannot be made", "audit", 0);
    for (size_t act = 0; act < sizeof ACTS / sizeof ACTS[0]; act++)
        for (size_t wish = 0; wish < sizeof WISHES / sizeof WISHES[0]; wish++)
            fail_audit(&ACTS[act], WISHES[wish][0], WISHES[wish][1]);
}

/* --- Killed at random moments, two at once, readers ------------------------------------------------------- */

static void kill_at_random(void)
{
    unsigned seed = (unsigned)(getenv("WM_SEED") != NULL ? atol(getenv("WM_SEED")) : 20260301);

    printf("random kills: seed %u\n", seed);
    srand(seed);
    for (long n = 1; n <= RANDOM_KILLS; n++) {
        struct timespec pause = {0, 1000L * (rand() % 30000)};
        new_office();
        pid_t child = start((const char *const[]){"post", words("%s/claims.csv", folder), "--office",
                                                  words("%s/office.db", folder), "--today", "2026-03-02",
                                                  "--quiet", NULL},
                            NULL);
        nanosleep(&pause, NULL);
        kill(child, SIGKILL);
        int code = finish(child);
        expect(code == -1 || code == 0, "ended in another way", "random kill", n);
        judge_state("random kill", n, code);
    }
}

static void two_at_once(void)
{
    enum { TIMES = 10 };
    const char *office = words("%s/office.db", folder);

    for (long n = 1; n <= TIMES; n++) {
        new_office();
        pid_t one = start((const char *const[]){"post", words("%s/night-1.csv", demo), "--office", office,
                                                "--today", "2026-03-02", "--quiet", NULL},
                          NULL);
        pid_t other = start((const char *const[]){"post", words("%s/night-2.csv", demo), "--office", office,
                                                  "--today", "2026-03-16", "--quiet", NULL},
                            NULL);
        int status = 0;
        while (waitpid(other, &status, WNOHANG) == 0) {
            int code = RUN(NULL, "check", words("%s/claims.csv", folder), "--office", office, "--today",
                           "2026-03-16", "--quiet");
            expect(code == 0 || code == 1, "a reader did not get through", "two at once", n);
        }
        expect(WIFEXITED(status) && WEXITSTATUS(status) == 0, "the second post did not get through",
               "two at once", n);
        expect(finish(one) == 0, "the first post did not get through", "two at once", n);
        expect(batches() == 2 && verifies(), "not both batches are there", "two at once", n);
    }
}

int main(int count, char **arguments)
{
    if (count < 5) {
        fputs("usage: fault PROGRAM DEMO SHIM FOLDER [all]\n", stderr);
        return 2;
    }
    program = arguments[1];
    demo = arguments[2];
    shim = arguments[3];
    folder = arguments[4];
    every_one = count > 5;
    mkdir(folder, 0700);
    if (system(words("head -n 41 %s/night-1.csv > %s/claims.csv", demo, folder)) != 0)
        return 2;
    new_office();
    if (post(NULL) != 0 || batches() != 1)
        return 2;
    whole_rows = rows();
    fail_each("alloc", "fail");
    fail_each("write", "full");
    fail_each("write", "io");
    fail_each("sync", "io");
    fail_each("read", "io");
    fail_each("open", "io");
    fail_each("write", "kill");
    fail_each("sync", "kill");
    kill_at_random();
    two_at_once();
    fail_audits();
    printf("%ld passed, %ld failed\n", passed, failed);
    return failed > 0;
}
