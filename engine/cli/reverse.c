#include "cli/command.h"
#include "cli/decisions.h"

static int run_reverse(const struct options *options)
{
    return cli_decide(options, "reverse");
}

const struct command COMMAND_REVERSE = {
    .name = "reverse",
    .arguments = "DEALER/CLAIM --by WHO --reason TEXT",
    .summary = "takes back what is paid on a claim, with a new record",
    .details = "Where a code holds a slash, so that DEALER/CLAIM has two meanings, --dealer says which.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_BY) | OPTION_BIT(OPTION_REASON) |
               OPTION_BIT(OPTION_DEALER),
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_reverse,
};
