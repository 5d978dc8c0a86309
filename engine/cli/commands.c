#include "cli/command.h"

#include <stddef.h>

extern const struct command COMMAND_LOAD, COMMAND_CHECK, COMMAND_WORKSHEET, COMMAND_RULES_LINT, COMMAND_RULES_TRY;

const struct command *const COMMANDS[] = {
    &COMMAND_LOAD, &COMMAND_CHECK, &COMMAND_WORKSHEET, &COMMAND_RULES_LINT, &COMMAND_RULES_TRY, NULL,
};
