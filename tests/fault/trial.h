/* trial.h - a command run in this process while one of its calls fails, and what must hold of it then.
 *
 * After each failure: the exit code is that of a good run, and all of its work is there, or it is 2, one line
 * says why, and the office is what it was; nothing that was asked of the machine is kept (memory, descriptors);
 * what was written besides is there whole or not at all; `verify` passes, and the command once more does all of
 * its work. What one state of an office file leads to is looked at once, however many failures lead to the
 * state.
 */
#ifndef WM_FAULT_TRIAL_H
#define WM_FAULT_TRIAL_H

#include <stdbool.h>

#include "calls.h"
#include "day.h"

/* What else a process may end with. */
enum { ENDED_BY_KILL = -1, ENDED_BY_SIGNAL = -2 };

struct trial_case {
    enum call_kind kind;
    long n; /* from 1; 0: no call fails */
    enum call_action action;
    const char *name; /* of the kind, for messages */
};

/* Of what was expected. */
struct trial_counts {
    long passed, failed;
};

/* Enters the folder of a worker, and lends its standard output and error to the commands; what fails is printed
 * to what was standard output before. */
void trial_enter(const char *folder, int worker);

/* Takes up a step: runs it, twice, without failures. What later cases are compared with comes from there. */
void trial_take_up(const struct step *step, struct trial_counts *counts);

/* Runs the step in this process as the case wants it, and judges. */
void trial_run(const struct trial_case *what, struct trial_counts *counts);

/* The same in a process of its own, that is killed by the call. */
void trial_run_killed(const struct trial_case *what, struct trial_counts *counts);

/* The same in a program of its own, which run_program starts and ends, and that returns its exit code; from an
 * old office. */
void trial_run_other(const struct trial_case *what, int (*run)(char **words, const struct trial_case *what),
                     struct trial_counts *counts);

/* Runs the step from an old office; how many calls it made. The places of those of a kind: see calls.h. */
void trial_count(enum call_kind kind, uint64_t *places, long room, long *ret_calls);

/* Prints the chain of callers of the n-th call. */
void trial_show(enum call_kind kind, long n);

/* The command line of a step as it stands, for a process that has entered; ended by NULL. */
char **trial_words(void);

/* Takes away what was said on standard output and error by a process that was run here. */
void trial_forget_said(void);

/* printf to what was standard output. */
void trial_say(const char *format, ...) __attribute__((format(printf, 1, 2)));

#endif
