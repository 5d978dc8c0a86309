/* decisions.h - what `decide` and `reverse` share, and other commands about one claim. */
#ifndef WM_CLI_DECISIONS_H
#define WM_CLI_DECISIONS_H

#include "cli/command.h"

/* Records what the options ask for under this action; the exit code. */
int cli_decide(const struct options *options, const char *action);

/* The machine's clock, UTC: 2026-03-01T23:15:00Z. */
enum { CLOCK_ROOM = 32 };
struct text cli_clock(char room[CLOCK_ROOM]);

#endif
