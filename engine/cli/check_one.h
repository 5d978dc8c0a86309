/* check_one.h - `check --pack FILE --one CLAIM.csv`: asks for one claim, field by field, and writes it to a
 * file. Returns the exit code.
 *
 * The vehicle comes first, since what is offered depends on it. Each answer is checked as it is given: first
 * whether it can be read, then by deciding the claim as it would be if everything after this field were as
 * expected; what was not wrong before the answer and is behind it is said at once. Results of inspections are
 * asked for one by one; what is expected is shown and never offered as an answer: only who looked can say.
 */
#ifndef WM_CLI_CHECK_ONE_H
#define WM_CLI_CHECK_ONE_H

#include "cli/command.h"

int check_one(const struct options *options);

#endif
