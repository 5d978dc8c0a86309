/* The program: all it does is call the command line. */
#include "cli/command.h"

int main(int argument_count, char **arguments)
{
    return cli_main(argument_count, arguments);
}
