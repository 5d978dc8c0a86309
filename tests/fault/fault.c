/* fault.c - what must hold when the machine fails: fault PROGRAM DEMO FOLDER [all] [calls] [once] [step=N]
 * [only=KIND] [show=KIND:N]
 *
 * Each command of a day (day.c) runs in this process again and again, while the n-th allocation, read, write,
 * sync or open of it fails, for every n; those that write are also killed at each write and sync, and the
 * nightly post at each of its system calls and at random moments. trial.h says what must hold afterwards. Last,
 * two posts at once with readers.
 *
 * Without `all` an allocation fails once for each chain of callers that asks for memory, and the post is killed
 * at a part of its system calls; with `calls` nothing is killed. With `once` a chain of callers is the nearest of
 * our own functions, SQLite asks for each piece of memory by itself, a chain that failed in one command is left
 * out in the next, and commands that are alike to others run too: enough to reach each line that passes a failure
 * on. With only=KIND (alloc, read, write, sync, open, kill) nothing else is done; step=N takes that command alone,
 * and show=KIND:N prints who makes the N-th call in it.
 *
 * Two workers share the cases of a command, each in a folder of its own. A worker that crashes is a failure,
 * and another goes on behind the case.
 */
#include <execinfo.h>
#include <sodium.h>
#include <sqlite3.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "calls.h"
#include "day.h"
#include "kills.h"
#include "trial.h"

enum {
    WORKERS = 2,
    SCOUT = 0,
    MOST_CASES = 1 << 18,
    MOST_PLACES = 1 << 22,
    NEAR_CALLERS = 24, /* of which four are those of calls.c */
    RANDOM_KILLS = 200,
    SYSTEM_CALL_STEP = 9,
    MOST_CRASHES = 20
};

/* What is done to a command: the calls of a kind, and how they fail. */
static const struct job {
    const char *name;
    enum call_kind kind;
    enum call_action action;
    enum { IN_PROCESS, KILLED, AT_SYSTEM_CALL, AT_SOME_MOMENT } how;
} JOBS[] = {
    {"alloc", CALL_ALLOC, CALL_FAIL, IN_PROCESS},
    {"read", CALL_READ, CALL_IO, IN_PROCESS},
    {"write", CALL_WRITE, CALL_FULL, IN_PROCESS},
    {"write", CALL_WRITE, CALL_IO, IN_PROCESS},
    {"sync", CALL_SYNC, CALL_IO, IN_PROCESS},
    {"open", CALL_OPEN, CALL_IO, IN_PROCESS},
    {"open", CALL_OPEN, CALL_MANY, IN_PROCESS},
    {"read", CALL_READ, CALL_INTERRUPT, IN_PROCESS},
    {"write", CALL_WRITE, CALL_INTERRUPT, IN_PROCESS},
    {"write", CALL_WRITE, CALL_KILL, KILLED},
    {"sync", CALL_SYNC, CALL_KILL, KILLED},
    {"system call", CALL_ALLOC, CALL_KILL, AT_SYSTEM_CALL},
    {"moment", CALL_ALLOC, CALL_KILL, AT_SOME_MOMENT},
};
enum { JOB_COUNT = sizeof JOBS / sizeof JOBS[0] };

static struct shared {
    long calls[CALL_KINDS], system_calls; /* of the step, found by the scout */
    uint64_t places[CALL_KINDS][MOST_PLACES];
    struct planned {
        int job;
        long n;
    } cases[MOST_CASES];
    long count, of_job[JOB_COUNT];
    atomic_long next, passed, failed;
    long in_hand[WORKERS]; /* which case */
} * shared;

static const char *program, *demo, *folder, *only, *show;
static bool every_one, calls_alone, once;
static long only_step = -1;
static long all_passed, all_failed, all_cases;
static int crashes;

/* --- Which cases there are -------------------------------------------------------------------------------- */

/* In a process of its own, so that this one stays small. */
static void scout(const struct step *step)
{
    struct trial_counts counts = {0, 0};

    trial_enter(folder, SCOUT);
    trial_take_up(step, &counts);
    if (once)
        calls_tell_by(NEAR_CALLERS);
    for (int kind = 0; kind < CALL_KINDS; kind++)
        if (kind == CALL_ALLOC || once)
            trial_count((enum call_kind)kind, shared->places[kind], MOST_PLACES, shared->calls);
    if (step == DAY)
        shared->system_calls = count_system_calls();
    if (show != NULL) {
        for (int kind = 0; kind < CALL_KINDS; kind++)
            if (strncmp(show, CALL_KIND_NAMES[kind], strlen(CALL_KIND_NAMES[kind])) == 0)
                trial_show((enum call_kind)kind, atol(strchr(show, ':') + 1));
    }
    exit(counts.failed > 0);
}

static void plan(int job, long n)
{
    if (shared->count == MOST_CASES)
        return;
    shared->cases[shared->count++] = (struct planned){job, n};
    shared->of_job[job]++;
}

static const uint64_t *compared; /* places of the kind that is planned */

static int compare_places(const void *one, const void *other)
{
    uint64_t a = compared[*(const long *)one - 1], b = compared[*(const long *)other - 1];
    long m = *(const long *)one, n = *(const long *)other;
    return a != b ? (a < b ? -1 : 1) : m < n ? -1 : m > n;
}

static int compare_numbers(const void *one, const void *other)
{
    long m = *(const long *)one, n = *(const long *)other;
    return m < n ? -1 : m > n;
}

/* The chains of callers that failed in a command before, each way; open addressing, 0 where there is none. */
static uint64_t failed_before[MOST_PLACES];

/* False if the chain was met already. */
static bool is_new(uint64_t place)
{
    size_t at = (size_t)place % MOST_PLACES;

    while (failed_before[at] != 0 && failed_before[at] != place)
        at = (at + 1) % MOST_PLACES;
    if (failed_before[at] == place)
        return false;
    failed_before[at] = place;
    return true;
}

/* Of the calls the first of each chain of callers. */
static void plan_places(int job, long calls, bool anew)
{
    compared = shared->places[JOBS[job].kind];
    if (calls > MOST_PLACES) {
        printf("FAILED: %ld calls, of which %d are looked at\n", calls, MOST_PLACES);
        all_failed++;
        calls = MOST_PLACES;
    }
    long *numbers = calloc((size_t)calls + 1, sizeof *numbers), count = 0;

    for (long n = 1; n <= calls; n++)
        numbers[n - 1] = n;
    qsort(numbers, (size_t)calls, sizeof *numbers, compare_places);
    for (long i = 0; i < calls; i++)
        if (i == 0 || compared[numbers[i] - 1] != compared[numbers[i - 1] - 1])
            numbers[count++] = numbers[i];
    qsort(numbers, (size_t)count, sizeof *numbers, compare_numbers);
    for (long i = 0; i < count; i++)
        if (!once || is_new(compared[numbers[i] - 1] + (uint64_t)job + 1) || anew)
            plan(job, numbers[i]);
    free(numbers);
}

static bool is_wanted(const struct job *job, const struct step *step)
{
    if (calls_alone && job->how != IN_PROCESS)
        return false;
    if (only != NULL && strcmp(only, job->how == IN_PROCESS ? job->name : "kill") != 0)
        return false;
    if (job->how == KILLED)
        return step->writes;
    return job->how == IN_PROCESS || step == DAY;
}

static void plan_step(const struct step *step)
{
    shared->count = 0;
    for (int job = 0; job < JOB_COUNT; job++) {
        const struct job *what = &JOBS[job];
        shared->of_job[job] = 0;
        if (!is_wanted(what, step))
            continue;
        long calls = what->how == AT_SYSTEM_CALL   ? shared->system_calls
                     : what->how == AT_SOME_MOMENT ? RANDOM_KILLS
                                                   : shared->calls[what->kind];
        long each = what->how == AT_SYSTEM_CALL && !every_one ? SYSTEM_CALL_STEP : 1;
        if ((what->kind == CALL_ALLOC || once) && what->how == IN_PROCESS && !every_one)
            plan_places(job, calls, step->anew);
        else
            for (long n = 1; n <= calls; n += each)
                plan(job, n);
    }
}

/* --- Workers ---------------------------------------------------------------------------------------------- */

static void run_case(const struct planned *planned, struct trial_counts *counts)
{
    const struct job *job = &JOBS[planned->job];
    const struct trial_case what = {job->kind, planned->n, job->action, job->name};

    switch (job->how) {
    case IN_PROCESS: trial_run(&what, counts); break;
    case KILLED: trial_run_killed(&what, counts); break;
    case AT_SYSTEM_CALL: trial_run_other(&what, kill_at_system_call, counts); break;
    case AT_SOME_MOMENT: trial_run_other(&what, kill_at_some_moment, counts); break;
    }
}

static void work(int worker, const struct step *step)
{
    struct trial_counts counts = {0, 0};

    trial_enter(folder, worker);
    trial_take_up(step, &counts);
    for (long at; (at = atomic_fetch_add(&shared->next, 1)) < shared->count;) {
        shared->in_hand[worker] = at;
        run_case(&shared->cases[at], &counts);
        shared->passed += counts.passed;
        shared->failed += counts.failed;
        counts = (struct trial_counts){0, 0};
    }
    shared->in_hand[worker] = -1;
    exit(0);
}

static pid_t start_worker(int worker, const struct step *step)
{
    fflush(stdout);
    pid_t child = fork();

    if (child == 0)
        work(worker, step);
    return child;
}

/* Says in which case a worker ended that should not have. */
static void report_crash(int worker, int status, const struct step *step)
{
    long at = shared->in_hand[worker];

    shared->failed++;
    crashes++;
    printf("FAILED: %s\n", step->words);
    if (at >= 0)
        printf("    %s %ld %s: ", JOBS[shared->cases[at].job].name, shared->cases[at].n,
               CALL_ACTION_NAMES[JOBS[shared->cases[at].job].action]);
    if (WIFSIGNALED(status))
        printf("ended by signal %d (%s)\n", WTERMSIG(status), strsignal(WTERMSIG(status)));
    else
        printf("ended with %d\n", WEXITSTATUS(status));
}

static void run_workers(const struct step *step)
{
    pid_t workers[WORKERS];
    int running = 0, status;

    shared->next = 0;
    for (int i = 0; i < WORKERS; i++, running++) {
        shared->in_hand[i] = -1;
        workers[i] = start_worker(i, step);
    }
    while (running > 0) {
        pid_t ended = wait(&status);
        int worker = 0;
        while (worker < WORKERS && workers[worker] != ended)
            worker++;
        if (worker == WORKERS)
            continue;
        running--;
        if (WIFEXITED(status) && WEXITSTATUS(status) == 0)
            continue;
        report_crash(worker, status, step);
        if (shared->in_hand[worker] >= 0 && crashes < MOST_CRASHES) {
            workers[worker] = start_worker(worker, step);
            running++;
        }
    }
}

/* --- A step ----------------------------------------------------------------------------------------------- */

static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

static void print_result(const struct step *step, double seconds)
{
    printf("%s%s%s:", step->words, step->office != NULL ? ", office " : "",
           step->office != NULL ? step->office : "");
    for (int job = 0; job < JOB_COUNT; job++) {
        if (shared->of_job[job] == 0)
            continue;
        long of = JOBS[job].how == AT_SYSTEM_CALL   ? shared->system_calls
                  : JOBS[job].how == AT_SOME_MOMENT ? RANDOM_KILLS
                                                    : shared->calls[JOBS[job].kind];
        printf(" %s %s %ld", JOBS[job].name, CALL_ACTION_NAMES[JOBS[job].action], shared->of_job[job]);
        if (of != shared->of_job[job])
            printf(" of %ld", of);
        printf(";");
    }
    printf(" %s, %.1f s\n", shared->failed == 0 ? "all hold" : "NOT ALL HOLD", seconds);
    fflush(stdout);
}

static void run_step(const struct step *step)
{
    double began = seconds_now();
    int status;

    shared->passed = shared->failed = 0;
    fflush(stdout);
    pid_t child = fork();
    if (child == 0)
        scout(step);
    waitpid(child, &status, 0);
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) {
        printf("FAILED: %s: it does not run without failures\n", step->words);
        all_failed++;
        return;
    }
    if (show != NULL)
        return;
    plan_step(step);
    run_workers(step);
    print_result(step, seconds_now() - began);
    all_passed += shared->passed;
    all_failed += shared->failed;
    all_cases += shared->count;
}

static void run_two_at_once(void)
{
    fflush(stdout);
    pid_t child = fork();
    int status;

    shared->passed = shared->failed = 0;
    if (child == 0) {
        struct trial_counts counts = {0, 0};
        trial_enter(folder, SCOUT);
        two_at_once(&counts);
        shared->passed += counts.passed;
        shared->failed += counts.failed;
        exit(0);
    }
    waitpid(child, &status, 0);
    printf("two posts at once, and readers meanwhile: %s\n",
           shared->failed == 0 && status == 0 ? "all holds" : "NOT ALL HOLDS");
    all_passed += shared->passed;
    all_failed += shared->failed + (status != 0);
}

/* --- Setting up ------------------------------------------------------------------------------------------- */

static void read_words(int count, char **words)
{
    for (int i = 4; i < count; i++) {
        if (strcmp(words[i], "all") == 0)
            every_one = true;
        else if (strcmp(words[i], "calls") == 0)
            calls_alone = true;
        else if (strcmp(words[i], "once") == 0)
            once = true;
        else if (strncmp(words[i], "step=", 5) == 0)
            only_step = atol(words[i] + 5);
        else if (strncmp(words[i], "only=", 5) == 0)
            only = words[i] + 5;
        else if (strncmp(words[i], "show=", 5) == 0 && strchr(words[i], ':') != NULL)
            show = words[i] + 5;
    }
}

static bool prepare(void)
{
    char command[4096];

    snprintf(command, sizeof command, "rm -rf '%s' && sh tests/fault/prepare.sh '%s' '%s' '%s'", folder,
             program, demo, folder);
    return system(command) == 0;
}

int main(int count, char **words)
{
    void *callers[1];

    if (count < 4) {
        fputs("usage: fault PROGRAM DEMO FOLDER [all] [calls] [once] [step=N] [only=KIND] [show=KIND:N]\n", stderr);
        return 2;
    }
    program = words[1];
    demo = words[2];
    folder = words[3];
    read_words(count, words);
    unsigned seed = (unsigned)(getenv("WM_SEED") != NULL ? atol(getenv("WM_SEED")) : 20260301);
    shared = mmap(NULL, sizeof *shared, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (shared == MAP_FAILED || sodium_init() < 0 || !prepare())
        return 2;
    if (once)
        calls_have_one_processor();
    backtrace(callers, 1); /* what it loads, it loads now */
    if (once) /* SQLite asks for each piece, as the arenas do */
        sqlite3_config(SQLITE_CONFIG_LOOKASIDE, 0, 0);
    kills_set_up(program, seed);
    printf("random moments: seed %u\n", seed);
    double began = seconds_now();
    for (long i = 0; DAY[i].words != NULL; i++)
        if (only_step < 0 ? once || !DAY[i].alike : only_step == i)
            run_step(&DAY[i]);
    if (only_step < 0 && !calls_alone && (only == NULL || strcmp(only, "kill") == 0) && show == NULL)
        run_two_at_once();
    printf("%ld cases: %ld expectations hold, %ld do not; %.0f s\n", all_cases, all_passed, all_failed,
           seconds_now() - began);
    return all_failed > 0;
}
