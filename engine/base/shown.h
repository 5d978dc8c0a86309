/* shown.h - what strangers wrote, made fit for a terminal or a log.
 *
 * A cell may hold any character but NUL. Shown to people as it stands, an escape sequence would move a
 * terminal's cursor or colour it, and a line feed would begin a line that looks like one of ours. Control
 * characters (U+0000 to U+001F, U+007F to U+009F), and bytes that are no UTF-8, are shown as `?`.
 *
 * For text alone: CSV and JSON hold what was written, as their own rules quote it.
 */
#ifndef WM_BASE_SHOWN_H
#define WM_BASE_SHOWN_H

#include "base/buffer.h"

/* Of a string of one line, in place. */
void make_readable(char *line);

/* As buffer_format, with its arguments made readable; line feeds of the format itself stay. */
void buffer_say(struct buffer *buffer, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* As buffer_add_wrapped, made readable. */
void buffer_say_wrapped(struct buffer *buffer, struct text words, size_t indent, size_t width);

#endif
