/* check_fix.h - `check --fix FILE`: writes the corrected copy, and lists each change. Returns the exit code. */
#ifndef WM_CLI_CHECK_FIX_H
#define WM_CLI_CHECK_FIX_H

#include "cli/command.h"

int check_fix(const struct options *options);

#endif
