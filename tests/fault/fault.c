/* fault.c - what must hold when the machine fails: fault PROGRAM DEMO SHIM FOLDER [all]
 *
 * A small night is posted into a copy of the demo office while the n-th allocation, read, write, sync or open
 * fails, or the process is killed there, for every n up to the end of the post (without `all`, for every n at
 * first and then in growing steps). Afterwards the office is the old one or the new one, whole; exit code 2
 * means the old one, with one line that says why; `verify` passes; posting again finishes the night. The other
 * commands of a day likewise: each fails or does all of its work, and what only reads changes nothing. Then:
 * killed at each system call of a post, killed at random moments, two posts at once, and readers during a post.
 * The same for an audit: a sample that is drawn and a chargeback that is recorded are there whole, with their letters
 * and worksheets, or not at all.
 */
#include <fcntl.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ptrace.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { EVERY_ONE_UP_TO = 150, EVERY_STEP_UP_TO = 40, RANDOM_KILLS = 200, PATH_ROOM = 1024 };

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

/* A post that stops at each system call of each of its threads. */
static pid_t start_traced(void)
{
    int status;
    pid_t child = fork();

    if (child == 0) {
        int out = open(words("%s/out", folder), O_WRONLY | O_CREAT | O_TRUNC, 0600);
        dup2(out, STDOUT_FILENO);
        dup2(out, STDERR_FILENO);
        ptrace(PTRACE_TRACEME, 0, 0, 0);
        execl(program, program, "post", words("%s/claims.csv", folder), "--office",
              words("%s/office.db", folder), "--today", "2026-03-02", "--quiet", "--threads", "1",
              (char *)NULL);
        _exit(127);
    }
    waitpid(child, &status, 0);
    ptrace(PTRACE_SETOPTIONS, child, 0, PTRACE_O_TRACESYSGOOD | PTRACE_O_TRACECLONE | PTRACE_O_EXITKILL);
    ptrace(PTRACE_SYSCALL, child, 0, 0);
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

static void text_of_query(const char *sql, char *room, size_t size)
{
    sqlite3 *database;
    sqlite3_stmt *statement;

    if (sqlite3_open(words("%s/office.db", folder), &database) == SQLITE_OK &&
        sqlite3_prepare_v2(database, sql, -1, &statement, NULL) == SQLITE_OK) {
        if (sqlite3_step(statement) == SQLITE_ROW)
            snprintf(room, size, "%s", (const char *)sqlite3_column_text(statement, 0));
        sqlite3_finalize(statement);
    }
    sqlite3_close(database);
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

/* --- The other commands of a day -------------------------------------------------------------------------- */

enum { STEP_WORDS = 8 };

struct step {
    const char *words[STEP_WORDS]; /* FOLDER/ and DEMO/ begin the names of files there */
    const char *count;             /* what a command that writes adds to; NULL: it only reads */
    const char *kinds;             /* the calls that fail */
};

static const struct step DAY[] = {
    {{"load", "vehicles", "FOLDER/vehicles.csv"}, "SELECT count(*) FROM loads", "alloc write sync read open"},
    {{"load", "dealers", "FOLDER/dealers.csv"}, "SELECT count(*) FROM loads", "alloc write sync read open"},
    {{"load", "shipments", "FOLDER/shipments.csv"}, "SELECT count(*) FROM loads", "alloc write"},
    {{"load", "approvals", "FOLDER/approvals.csv"}, "SELECT count(*) FROM loads", "alloc write"},
    {{"check", "FOLDER/claims.csv", "--threads", "1", "--out", "FOLDER/checked"},
     NULL,
     "alloc write read open"},
    {{"check", "FOLDER/claims.csv", "--format", "json", "--out", "FOLDER/checked"}, NULL, "alloc"},
    {{"flags", "--out", "FOLDER/checked"}, NULL, "alloc write read open"},
    {{"flags", "--format", "json"}, NULL, "alloc"},
    {{"explain", "CLAIM"}, NULL, "alloc read open"},
    {{"explain", "CLAIM", "--format", "json"}, NULL, "alloc"},
    {{"followups"}, NULL, "alloc"},
    {{"worksheet", "VIN"}, NULL, "alloc"},
    {{"rules", "lint"}, NULL, "alloc read open"},
    {{"verify", "--again", "--threads", "1"}, NULL, "alloc read open"},
    {{"reverse", "CLAIM", "--by", "office", "--reason", "Paid in error."},
     "SELECT count(*) FROM office_decisions",
     "alloc write sync"},
};

static const char *claim_name, *vin; /* of the night, paid */

static const char *place_word(const char *word)
{
    if (strncmp(word, "FOLDER/", 7) == 0)
        return words("%s/%s", folder, word + 7);
    return strcmp(word, "CLAIM") == 0 ? claim_name : strcmp(word, "VIN") == 0 ? vin : word;
}

static int run_step(const struct step *step, const char *wish)
{
    const char *call[STEP_WORDS + 8] = {NULL};
    bool lint = strcmp(step->words[0], "rules") == 0,
         today = step->count != NULL || strcmp(step->words[0], "check") == 0;
    int count = 0;

    for (int i = 0; i < STEP_WORDS && step->words[i] != NULL; i++)
        call[count++] = place_word(step->words[i]);
    if (!lint) {
        call[count++] = "--office";
        call[count++] = words("%s/office.db", folder);
    }
    if (today) {
        call[count++] = "--today";
        call[count++] = "2026-03-03";
    }
    return run(call, wish);
}

/* The office after the night, which the steps begin from. */
static void posted_office(void)
{
    if (system(words("rm -f %s/office.db*", folder)) != 0)
        exit(2);
    copy_file(words("%s/posted.db", folder), words("%s/office.db", folder));
}

static void judge_step(const struct step *step, const char *where, long n, int code, long before, long after)
{
    long is = step->count != NULL ? count_of(step->count) : 0;

    expect(is == before || is == after, "neither the old state nor the new one", where, n);
    if (code == 2)
        expect(is == before, "exit 2, and yet it was recorded", where, n);
    if (code == 0 && step->count != NULL)
        expect(is == after, "exit 0, and yet it was not recorded", where, n);
    if (n % 16 == 0 || every_one)
        expect(verifies(), "verify does not pass", where, n);
    if (step->count != NULL && is == before)
        expect(run_step(step, NULL) == 0 && count_of(step->count) == after, "once more does not do it", where,
               n);
}

static void fail_step(const struct step *step, const char *kind, const char *action)
{
    const char *second = step->words[1] != NULL ? step->words[1] : "";
    char *where = words("%s %s: %s %s", step->words[0], second[0] != 'F' ? second : "", kind, action);
    bool killed = strcmp(action, "kill") == 0;
    long n = 1, tried = 0;

    posted_office();
    long before = step->count != NULL ? count_of(step->count) : 0;
    int good = run_step(step, NULL);
    long after = step->count != NULL ? count_of(step->count) : 0;
    expect(good == 0 || (good == 1 && step->count == NULL), "the step does not pass by itself", where, 0);
    for (;; n = every_one || n < EVERY_STEP_UP_TO ? n + 1 : n + 1 + n / 15) {
        if (step->count != NULL)
            posted_office();
        int code = run_step(step, words("%s:%ld:%s", kind, n, action));
        if (!was_reached())
            break;
        tried++;
        /* what verify cannot read, it says does not fit */
        bool unfit = code == 1 && strcmp(step->words[0], "verify") == 0;
        expect(killed ? code == -1 : code == good || code == 2 || unfit, "ended by a crash, or with another result",
               where, n);
        if (code == 2)
            expect(error_is_one_line(), "no single line says why", where, n);
        judge_step(step, where, n, code, before, after);
    }
    printf("%s: %ld of the first %ld calls\n", where, tried, n - 1);
}

static void fail_day(void)
{
    static const char *const KINDS[][2] = {{"alloc", "fail"}, {"write", "full"}, {"write", "kill"},
                                           {"sync", "io"},    {"read", "io"},    {"open", "io"}};

    for (size_t i = 0; i < sizeof DAY / sizeof *DAY; i++)
        for (size_t k = 0; k < sizeof KINDS / sizeof *KINDS; k++)
            if (strstr(DAY[i].kinds, KINDS[k][0]) != NULL &&
                (DAY[i].count != NULL || strcmp(KINDS[k][1], "kill") != 0))
                fail_step(&DAY[i], KINDS[k][0], KINDS[k][1]);
}

/* The demo's file with its first row changed by an awk program. */
static void change_first_row(const char *kind, const char *change)
{
    if (system(words("awk -F, -v OFS=, 'NR == 2 { %s } { print }' %s/%s.csv > %s/%s.csv", change, demo, kind,
                     folder, kind)) != 0)
        exit(2);
}

/* What the steps load, the office that they begin from, and the claim that they ask about. */
static void prepare_day(void)
{
    char claim[256] = "", number[64] = "";

    change_first_row("vehicles", "$9 = \"exported\"");
    change_first_row("dealers", "$4 = \"99.00\"");
    change_first_row("shipments", "print; $1 = \"ANOTHER-1\"");
    change_first_row("approvals", "print; $1 = \"ANOTHER-1\"");
    new_office();
    if (post(NULL) != 0)
        exit(2);
    copy_file(words("%s/office.db", folder), words("%s/posted.db", folder));
    text_of_query(
        "SELECT dealer || '/' || claim FROM claim_rows WHERE decision = 'pay' AND due_cents > 0 LIMIT 1", claim,
        sizeof claim);
    text_of_query("SELECT vin FROM claim_rows WHERE decision = 'pay' AND due_cents > 0 LIMIT 1", number,
                  sizeof number);
    claim_name = words("%s", claim);
    vin = words("%s", number);
}

/* --- Killed at each system call --------------------------------------------------------------------------- */

/* Runs a post under ptrace and kills it as it enters its n-th system call, in whichever thread. Returns how
 * many calls there were, and what the exit was. */
static long kill_at_call(long n, int *ret_code)
{
    long calls = 0;
    int status;
    pid_t child = start_traced(), stopped;

    *ret_code = -2;
    while ((stopped = waitpid(-1, &status, __WALL)) > 0) {
        if (WIFEXITED(status) || WIFSIGNALED(status)) {
            if (stopped != child)
                continue;
            *ret_code = WIFEXITED(status) ? WEXITSTATUS(status) : WTERMSIG(status) == SIGKILL ? -1 : -2;
            break;
        }
        int number = WSTOPSIG(status);
        if (number == (SIGTRAP | 0x80) && ++calls == n)
            kill(child, SIGKILL);
        bool own = number == SIGTRAP || number == (SIGTRAP | 0x80) || number == SIGSTOP;
        ptrace(PTRACE_SYSCALL, stopped, 0, own ? 0 : number);
    }
    return calls;
}

static void kill_at_each_call(void)
{
    long n = 1, tried = 0;
    int code;

    new_office();
    long all = kill_at_call(0, &code);
    expect(code == 0 && batches() == 1, "a post that is watched does not pass", "system call", 0);
    for (; n <= all; n = next_n(n)) {
        new_office();
        kill_at_call(n, &code);
        expect(code == -1 || code == 0, "ended in another way", "system call", n);
        judge_state("system call", n, code);
        tried++;
    }
    printf("killed at %ld of %ld stops at system calls (entering and leaving)\n", tried, all);
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
    kill_at_each_call();
    prepare_day();
    fail_day();
    fail_audits();
    kill_at_random();
    two_at_once();
    printf("%ld passed, %ld failed\n", passed, failed);
    return failed > 0;
}
