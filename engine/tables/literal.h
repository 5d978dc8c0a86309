/* literal.h - literals of table cells: numbers, dates, true and false, text bare or quoted with FEEL's escapes.
 *
 * FEEL: DMN 1.5, section 10.3.1.2 (string literal, string escape sequence). Beyond it, a bare ISO date is a date, and
 * a backslash before anything but an escape is itself.
 */
#ifndef WM_TABLES_LITERAL_H
#define WM_TABLES_LITERAL_H

#include <stdbool.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "base/value.h"

/* What is wrong with a literal: two halves of a message, without the literal itself; NULL wrong: nothing. */
struct literal_fault {
    const char *wrong;
    const char *advice;
};

/* Space, tab, carriage return, line feed. */
bool is_blank(char c);

/* Without blanks, line feeds too, at either end. */
struct text trim_blanks(struct text t);

/* A letter, `_`, or a character beyond ASCII: what the name of a fact begins with. */
bool starts_name(char c);

/* How many bytes the quoted text at the start of t takes, both quotes included; 0 where it is never closed. */
size_t quoted_length(struct text t);

/* One step through the inside of quoted text: the bytes that the escape or character at `at` stands for, at most 4,
 * and how many bytes of t it takes. WM_BAD_INPUT for \u0000 and for half a surrogate pair. */
struct unescaped {
    char bytes[4];
    size_t length;    /* of bytes */
    size_t taken;     /* of t */
    bool escaped;     /* it was an escape */
};
int unescape_next(struct text t, size_t at, struct unescaped *ret_next);

/* The text between the quotes, escapes undone; in the arena where there were any, else borrowed. WM_BAD_INPUT as
 * above; WM_NO_MEMORY. */
int unescape(struct arena *arena, struct text inside, struct text *ret_text);

/* A literal that is not text: a number, a date (bare or date("...")), true or false; type is one of these. */
struct literal_fault literal_read(struct text t, enum value_type type, struct value *ret_value);

#endif
