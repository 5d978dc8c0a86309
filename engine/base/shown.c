#include "base/shown.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

/* How many bytes the character takes, 0 where it is none that may be shown. */
static size_t shown_bytes(const char *bytes, size_t left)
{
    unsigned char c = (unsigned char)bytes[0];
    size_t length = c < 0x80 ? 1 : c < 0xe0 ? 2 : c < 0xf0 ? 3 : 4;

    if (c < ' ' || c == 0x7f || (c == 0xc2 && left > 1 && (unsigned char)bytes[1] < 0xa0))
        return 0;
    return length <= left && text_is_utf8((struct text){bytes, length}) ? length : 0;
}

static void make_bytes_readable(char *bytes, size_t length, bool keep_line_feeds)
{
    for (size_t i = 0; i < length;) {
        size_t shown = bytes[i] == '\n' && keep_line_feeds ? 1 : shown_bytes(bytes + i, length - i);
        if (shown == 0)
            bytes[i] = '?';
        i += shown > 0 ? shown : 1;
    }
}

void make_readable(char *line)
{
    make_bytes_readable(line, strlen(line), false);
}

void buffer_say_wrapped(struct buffer *buffer, struct text words, size_t indent, size_t width)
{
    size_t start = buffer->length;

    buffer_add_wrapped(buffer, words, indent, width);
    make_bytes_readable(buffer->bytes + start, buffer->length - start, true);
}

/* The format printed with another character for each of its line feeds: the caller's format, which the compiler has
 * checked, but for these. */
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
static char *print_marked(const char *format, char mark, va_list arguments) __attribute__((format(printf, 1, 0)));
static char *print_marked(const char *format, char mark, va_list arguments)
{
    char *marked = strdup(format), *printed = NULL;

    if (marked == NULL)
        return NULL;
    for (char *at = marked; *at != '\0'; at++)
        if (*at == '\n')
            *at = mark;
    if (vasprintf(&printed, marked, arguments) < 0)
        printed = NULL;
    free(marked);
    return printed;
}
#pragma GCC diagnostic pop

/* Line feeds where the two differ, and none elsewhere. */
static void make_marks(char *first, const char *second)
{
    for (size_t i = 0; first[i] != '\0'; i++)
        if (first[i] != second[i])
            first[i] = '\n';
        else if (first[i] == '\n')
            first[i] = '?';
}

/* Printed twice, with two marks, the format's own line feeds are where both differ: no argument can look like one. */
void buffer_say(struct buffer *buffer, const char *format, ...)
{
    va_list arguments, again;

    va_start(arguments, format);
    va_copy(again, arguments);
    char *first = print_marked(format, '\1', arguments), *second = print_marked(format, '\2', again);
    va_end(again);
    va_end(arguments);
    if (first != NULL && second != NULL) {
        size_t length = strlen(first);
        make_marks(first, second);
        make_bytes_readable(first, length, true);
        buffer_add(buffer, first, length);
    } else {
        buffer->failed = true;
    }
    free(first);
    free(second);
}
