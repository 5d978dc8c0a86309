/* manual.h - the manual page and the completion for bash, made of the same table of commands and options as
 * --help.
 */
#ifndef WM_CLI_MANUAL_H
#define WM_CLI_MANUAL_H

#include <stdio.h>

/* witnessmark(1), for man(7). */
void manual_print_page(FILE *to);

/* A function and a `complete` line for bash; needs nothing but bash. */
void manual_print_completion(FILE *to);

#endif
