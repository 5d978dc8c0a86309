#include "kills.h"

#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ptrace.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "cli/command.h"
#include "ground.h"

static const char *program;
static unsigned seed;

void kills_set_up(const char *of_program, unsigned of_seed)
{
    program = of_program;
    seed = of_seed;
}

static int words_count(char **words)
{
    int count = 0;

    while (words[count] != NULL)
        count++;
    return count;
}

static int code_of(int status)
{
    return WIFEXITED(status)             ? WEXITSTATUS(status)
           : WTERMSIG(status) == SIGKILL ? ENDED_BY_KILL
                                         : ENDED_BY_SIGNAL;
}

/* --- At a system call ------------------------------------------------------------------------------------- */

/* The command in a process that stops at each system call of each of its threads. */
static pid_t start_traced(char **words)
{
    int status;
    pid_t child = fork();

    if (child == 0) {
        ptrace(PTRACE_TRACEME, 0, 0, 0);
        raise(SIGSTOP);
        _exit(cli_main(words_count(words), words));
    }
    waitpid(child, &status, 0);
    ptrace(PTRACE_SETOPTIONS, child, 0, PTRACE_O_TRACESYSGOOD | PTRACE_O_TRACECLONE | PTRACE_O_EXITKILL);
    ptrace(PTRACE_SYSCALL, child, 0, 0);
    return child;
}

/* Kills it at its n-th stop (0: never); how many stops there were, and how it ended. */
static long stop_at_each(char **words, long n, int *ret_code)
{
    long stops = 0;
    int status;
    pid_t child = start_traced(words), stopped;

    *ret_code = ENDED_BY_SIGNAL;
    while ((stopped = waitpid(-1, &status, __WALL)) > 0) {
        if (WIFEXITED(status) || WIFSIGNALED(status)) {
            if (stopped != child)
                continue;
            *ret_code = code_of(status);
            break;
        }
        int number = WSTOPSIG(status);
        if (number == (SIGTRAP | 0x80) && ++stops == n)
            kill(child, SIGKILL);
        bool own = number == SIGTRAP || number == (SIGTRAP | 0x80) || number == SIGSTOP;
        ptrace(PTRACE_SYSCALL, stopped, 0, own ? 0 : number);
    }
    return stops;
}

int kill_at_system_call(char **words, const struct trial_case *what)
{
    int code;

    stop_at_each(words, what->n, &code);
    return code;
}

long count_system_calls(void)
{
    int code;

    ground_restore();
    long stops = stop_at_each(trial_words(), 0, &code);
    trial_forget_said();
    return stops;
}

/* --- At some moment --------------------------------------------------------------------------------------- */

static int finish(pid_t child)
{
    int status;

    waitpid(child, &status, 0);
    return code_of(status);
}

int kill_at_some_moment(char **words, const struct trial_case *what)
{
    unsigned drawn = seed + (unsigned)what->n;
    struct timespec pause = {0, 1000L * (rand_r(&drawn) % 40000)};
    pid_t child = fork();

    if (child == 0)
        _exit(cli_main(words_count(words), words));
    nanosleep(&pause, NULL);
    kill(child, SIGKILL);
    return finish(child);
}

/* --- The program itself ----------------------------------------------------------------------------------- */

static pid_t start_program(char *const *words)
{
    pid_t child = fork();

    if (child != 0)
        return child;
    execv(program, words);
    _exit(127);
}

#define PROGRAM(...) start_program((char *const[]){(char[]){"witnessmark"}, __VA_ARGS__, NULL})
#define WORD(text) ((char[]){text})

static void check_two(bool holds, const char *wrong, long n, struct trial_counts *counts)
{
    if (holds) {
        counts->passed++;
        return;
    }
    counts->failed++;
    trial_say("FAILED: two posts at once, %ld: %s\n", n, wrong);
}

void two_at_once(struct trial_counts *counts)
{
    enum { TIMES = 10 };

    for (long n = 1; n <= TIMES; n++) {
        ground_set_office("loaded");
        ground_restore();
        pid_t one = PROGRAM(WORD("post"), WORD("night-1.csv"), WORD("--office"), WORD("office/office.db"),
                            WORD("--today"), WORD("2026-03-02"), WORD("--quiet"));
        pid_t other = PROGRAM(WORD("post"), WORD("night-2.csv"), WORD("--office"), WORD("office/office.db"),
                              WORD("--today"), WORD("2026-03-16"), WORD("--quiet"));
        int status = 0;
        while (waitpid(other, &status, WNOHANG) == 0) {
            int code =
                finish(PROGRAM(WORD("check"), WORD("claims.csv"), WORD("--office"), WORD("office/office.db"),
                               WORD("--today"), WORD("2026-03-16"), WORD("--quiet")));
            check_two(code == EXIT_DONE || code == EXIT_FOUND, "a reader did not get through", n, counts);
        }
        check_two(code_of(status) == EXIT_DONE, "the second post did not get through", n, counts);
        check_two(finish(one) == EXIT_DONE, "the first post did not get through", n, counts);
        check_two(finish(PROGRAM(WORD("verify"), WORD("--office"), WORD("office/office.db"), WORD("--out"),
                                 WORD("out/verified"))) == EXIT_DONE,
                  "verify does not pass", n, counts);
        char *verified = ground_read("out/verified", NULL);
        check_two(verified != NULL && strstr(verified, " 2 batches with ") != NULL,
                  "not both batches are there", n, counts);
        free(verified);
    }
}
