#include "base/shown.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

/* How many bytes the character takes, 0 where it is none that may be shown. */
static size_t shown_bytes(const char *bytes)
{
    unsigned char c = (unsigned char)bytes[0];
    size_t length = c < 0x80 ? 1 : c < 0xe0 ? 2 : c < 0xf0 ? 3 : 4;

    if (c < ' ' || c == 0x7f || (c == 0xc2 && (unsigned char)bytes[1] < 0xa0))
        return 0;
    return text_is_utf8((struct text){bytes, strnlen(bytes, length)}) ? length : 0;
}

/* keep: a byte that stays as it is. */
static void make_readable_but(char *line, char keep)
{
    while (*line != '\0') {
        size_t bytes = *line == keep ? 1 : shown_bytes(line);
        if (bytes == 0)
            *line = '?';
        line += bytes > 0 ? bytes : 1;
    }
}

void make_readable(char *line)
{
    make_readable_but(line, '\0');
}

static void swap_bytes(char *string, char from, char to)
{
    for (; *string != '\0'; string++)
        if (*string == from)
            *string = to;
}

/* The format's own line feeds are told from those of the arguments by a byte that no text holds. */
void buffer_say(struct buffer *buffer, const char *format, ...)
{
    const char mark = '\xff';
    char *marked = strdup(format), *said = NULL;
    va_list arguments;

    if (marked != NULL)
        swap_bytes(marked, '\n', mark);
    va_start(arguments, format);
    int length = marked != NULL ? vasprintf(&said, marked, arguments) : -1;
    va_end(arguments);
    free(marked);
    if (length < 0) {
        buffer->failed = true;
        return;
    }
    make_readable_but(said, mark);
    swap_bytes(said, mark, '\n');
    buffer_add(buffer, said, (size_t)length);
    free(said);
}
