#include "base/buffer.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/decimal.h"

char *buffer_grown_room(struct buffer *buffer, size_t size)
{
    if (buffer->failed)
        return NULL;
    size_t wanted = buffer->capacity < 256 ? 256 : buffer->capacity;
    while (wanted - buffer->length < size) {
        if (wanted > SIZE_MAX / 4) {
            buffer->failed = true;
            return NULL;
        }
        wanted *= 2;
    }
    char *grown = realloc(buffer->bytes, wanted);
    if (grown == NULL) {
        buffer->failed = true;
        return NULL;
    }
    buffer->bytes = grown;
    buffer->capacity = wanted;
    return buffer->bytes + buffer->length;
}

void buffer_add_string(struct buffer *buffer, const char *string)
{
    buffer_add(buffer, string, strlen(string));
}

void buffer_add_money(struct buffer *buffer, int64_t cents)
{
    char room[DECIMAL_ROOM];
    buffer_add(buffer, room, money_write(cents, room));
}

void buffer_add_number(struct buffer *buffer, uint64_t whole)
{
    char room[DECIMAL_ROOM];
    buffer_add(buffer, room, whole_write(whole, room));
}

enum { FORMAT_ROOM = 256 };

void buffer_format(struct buffer *buffer, const char *format, ...)
{
    va_list arguments, again;

    va_start(arguments, format);
    va_copy(again, arguments);
    char *room = buffer_room(buffer, FORMAT_ROOM);
    int length = vsnprintf(room, room != NULL ? FORMAT_ROOM : 0, format, arguments);
    if (length >= FORMAT_ROOM && (room = buffer_room(buffer, (size_t)length + 1)) != NULL)
        vsnprintf(room, (size_t)length + 1, format, again);
    if (room != NULL && length > 0)
        buffer->length += (size_t)length;
    va_end(again);
    va_end(arguments);
}

static bool needs_quotes(struct text cell)
{
    if (cell.length == 0)
        return false;
    char first = cell.bytes[0], last = cell.bytes[cell.length - 1];
    if (first == ' ' || first == '\t' || last == ' ' || last == '\t')
        return true;
    static const bool QUOTED[256] = {[','] = true, ['"'] = true, ['\n'] = true, ['\r'] = true};
    bool quoted = false;
    for (size_t i = 0; i < cell.length; i++)
        quoted |= QUOTED[(unsigned char)cell.bytes[i]];
    return quoted;
}

size_t csv_cell_write(struct text cell, char *room)
{
    char *at = room;

    if (!needs_quotes(cell)) {
        if (cell.length > 0)
            memcpy(room, cell.bytes, cell.length);
        return cell.length;
    }
    *at++ = '"';
    for (size_t i = 0; i < cell.length; i++) {
        if (cell.bytes[i] == '"')
            *at++ = '"';
        *at++ = cell.bytes[i];
    }
    *at++ = '"';
    return (size_t)(at - room);
}

void buffer_add_csv(struct buffer *buffer, struct text cell)
{
    char *room = buffer_room(buffer, CSV_CELL_ROOM(cell));

    if (room != NULL)
        buffer->length += csv_cell_write(cell, room);
}

/* *ret_control: whether it holds control characters. */
static size_t columns_of(struct text word, bool *ret_control)
{
    size_t columns = 0;
    bool control = false;

    for (size_t i = 0; i < word.length; i++) {
        columns += ((unsigned char)word.bytes[i] & 0xc0) != 0x80;
        control |= (unsigned char)word.bytes[i] < ' ';
    }
    *ret_control = control;
    return columns;
}

static void blank_controls(char *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)bytes[i] < ' ')
            bytes[i] = ' ';
}

static void add_break(struct buffer *buffer, size_t indent)
{
    char *room = buffer_room(buffer, indent + 1);

    if (room == NULL)
        return;
    room[0] = '\n';
    memset(room + 1, ' ', indent);
    buffer->length += indent + 1;
}

void buffer_add_wrapped(struct buffer *buffer, struct text words, size_t indent, size_t width)
{
    size_t column = indent;
    struct text rest = words, word;

    while (rest.length > 0) {
        text_cut(rest, ' ', &word, &rest);
        bool control;
        size_t columns = columns_of(word, &control);
        if (column > indent && column + 1 + columns > width) {
            add_break(buffer, indent);
            column = indent;
        } else if (column > indent) {
            buffer_add_byte(buffer, ' ');
            column++;
        }
        buffer_add_text(buffer, word);
        if (control && !buffer->failed)
            blank_controls(buffer->bytes + buffer->length - word.length, word.length);
        column += columns;
    }
}

void buffer_free(struct buffer *buffer)
{
    free(buffer->bytes);
    *buffer = BUFFER_EMPTY;
}

void buffer_free_into(struct buffer *buffer, struct buffer *user)
{
    user->failed = user->failed || buffer->failed;
    buffer_free(buffer);
}
