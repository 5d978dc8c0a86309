/* kills.h - a post that is killed from outside, and posts beside each other. */
#ifndef WM_FAULT_KILLS_H
#define WM_FAULT_KILLS_H

#include "trial.h"

/* For trial_run_other. Kills the command as it enters or leaves its n-th system call, in whichever thread. */
int kill_at_system_call(char **words, const struct trial_case *what);

/* How many stops at system calls the command that was taken up has when it is not killed. */
long count_system_calls(void);

/* For trial_run_other. Kills the command, which has all its threads, at a moment drawn by the seed and n. */
int kill_at_some_moment(char **words, const struct trial_case *what);

/* The program itself, for what is run as users run it; and the seed of the moments. */
void kills_set_up(const char *program, unsigned seed);

/* Two posts at once, with readers meanwhile, several times; in the folder that was entered. */
void two_at_once(struct trial_counts *counts);

#endif
