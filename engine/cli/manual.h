/* manual.h - the manual page and the completion for bash, made of the same table of commands and options as
 * --help.
 */
#ifndef WM_CLI_MANUAL_H
#define WM_CLI_MANUAL_H

#include <stdio.h>

/* witnessmark(1), for man(7). */
void manual_print_page(FILE *to);

/* Text of the page as it stands: a hyphen stays one, and no line of it is a request. */
void manual_print_text(FILE *to, const char *text, size_t length);

/* A function and a `complete` line for bash; needs nothing but bash. */
void manual_print_completion(FILE *to);

#endif
