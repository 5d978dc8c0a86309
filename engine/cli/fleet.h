/* fleet.h - the vehicles of the register by kind, for the analysis of rules: each profile, by the days that
 * rules tell apart, and how many there are.
 */
#ifndef WM_CLI_FLEET_H
#define WM_CLI_FLEET_H

#include "register/register_source.h"
#include "rules/lint.h"

/* Reads every vehicle of the source once. Everything is in the arena. WM_IO where the source fails (its error
 * says why), WM_NO_MEMORY. */
int fleet_read(struct register_source *source, const struct rules *rules, struct arena *arena,
               struct lint_fleet *ret_fleet);

#endif
