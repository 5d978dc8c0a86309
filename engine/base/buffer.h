/* buffer.h - bytes that grow at the end, and remember their first failure.
 *
 * Callers add without checking and look at `failed` once. A buffer owns its bytes; buffer_free gives them
 * back. A failed buffer ignores what is added.
 */
#ifndef WM_BASE_BUFFER_H
#define WM_BASE_BUFFER_H

#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#include "base/text.h"

struct buffer {
    char *bytes;
    size_t length;
    size_t capacity;
    bool failed; /* an allocation failed; what was there before is still there */
};

#define BUFFER_EMPTY ((struct buffer){NULL, 0, 0, false})

/* Room for size more bytes behind length, or NULL (and failed). The caller moves length on. */
char *buffer_grown_room(struct buffer *buffer, size_t size);

static inline char *buffer_room(struct buffer *buffer, size_t size)
{
    if (buffer->failed || buffer->bytes == NULL || buffer->capacity - buffer->length < size)
        return buffer_grown_room(buffer, size);
    return buffer->bytes + buffer->length;
}

static inline void buffer_add(struct buffer *buffer, const void *bytes, size_t length)
{
    char *room = buffer_room(buffer, length);

    if (room != NULL && length > 0) {
        memcpy(room, bytes, length);
        buffer->length += length;
    }
}

static inline void buffer_add_byte(struct buffer *buffer, char byte)
{
    buffer_add(buffer, &byte, 1);
}

static inline void buffer_add_text(struct buffer *buffer, struct text t)
{
    buffer_add(buffer, t.bytes, t.length);
}

void buffer_add_string(struct buffer *buffer, const char *string);
void buffer_add_money(struct buffer *buffer, int64_t cents);
void buffer_add_number(struct buffer *buffer, uint64_t whole);
void buffer_format(struct buffer *buffer, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* One CSV cell by RFC 4180: quoted where it holds a comma, quote, CR or LF or has blanks at an end. */
void buffer_add_csv(struct buffer *buffer, struct text cell);

/* The same into room for CSV_CELL_ROOM bytes; returns how many it took. */
size_t csv_cell_write(struct text cell, char *room);
#define CSV_CELL_ROOM(cell) (2 * (cell).length + 3)

/* Words for people, broken at blanks so that lines stay within width columns; the lines after the first begin
 * with indent blanks, and the first is taken to stand there already. Control characters become blanks. No
 * newline at the end. */
void buffer_add_wrapped(struct buffer *buffer, struct text words, size_t indent, size_t width);

static inline struct text buffer_text(const struct buffer *buffer)
{
    return (struct text){buffer->bytes, buffer->length};
}

/* Begins again in the same room. A failure stays: who fills a buffer for each row looks at it once, behind the last;
 * buffer_free forgets it. */
static inline void buffer_clear(struct buffer *buffer)
{
    buffer->length = 0;
}

void buffer_free(struct buffer *buffer);

/* The same for words that were put together for another buffer: where they failed, it has failed too. */
void buffer_free_into(struct buffer *buffer, struct buffer *user);

#endif
