#include "tables/literal.h"

#include <assert.h>

#include "base/status.h"

bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

struct text trim_blanks(struct text t)
{
    while (t.length > 0 && is_blank(t.bytes[0])) {
        t.bytes++;
        t.length--;
    }
    while (t.length > 0 && is_blank(t.bytes[t.length - 1]))
        t.length--;
    return t;
}

bool starts_name(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' || (unsigned char)c >= 0x80;
}

size_t quoted_length(struct text t)
{
    for (size_t i = 1; i < t.length; i++) {
        if (t.bytes[i] == '"')
            return i + 1;
        if (t.bytes[i] == '\\' && i + 1 < t.length && (t.bytes[i + 1] == '"' || t.bytes[i + 1] == '\\'))
            i++;
    }
    return 0;
}

/* --- Escapes ------------------------------------------------------------------------------------------- */

static int hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

/* The code unit of `\uXXXX` at `at`, or -1 if there is none. */
static int32_t unicode_escape(struct text t, size_t at)
{
    int32_t unit = 0;

    if (t.length - at < 6 || t.bytes[at] != '\\' || t.bytes[at + 1] != 'u')
        return -1;
    for (size_t i = at + 2; i < at + 6; i++) {
        int digit = hex_digit(t.bytes[i]);
        if (digit < 0)
            return -1;
        unit = unit * 16 + digit;
    }
    return unit;
}

static size_t write_utf8(int32_t code_point, char *room)
{
    uint32_t c = (uint32_t)code_point;

    if (c < 0x80) {
        room[0] = (char)c;
        return 1;
    }
    if (c < 0x800) {
        room[0] = (char)(0xc0 | c >> 6);
        room[1] = (char)(0x80 | (c & 0x3f));
        return 2;
    }
    if (c < 0x10000) {
        room[0] = (char)(0xe0 | c >> 12);
        room[1] = (char)(0x80 | (c >> 6 & 0x3f));
        room[2] = (char)(0x80 | (c & 0x3f));
        return 3;
    }
    room[0] = (char)(0xf0 | c >> 18);
    room[1] = (char)(0x80 | (c >> 12 & 0x3f));
    room[2] = (char)(0x80 | (c >> 6 & 0x3f));
    room[3] = (char)(0x80 | (c & 0x3f));
    return 4;
}

/* \uXXXX, or two of them that are a surrogate pair. */
static int unescape_unicode(struct text t, size_t at, int32_t unit, struct unescaped *ret_next)
{
    bool high = unit >= 0xd800 && unit < 0xdc00;
    int32_t low = high ? unicode_escape(t, at + 6) : -1;

    if (high && low >= 0xdc00 && low < 0xe000) {
        ret_next->length = write_utf8(0x10000 + (unit - 0xd800) * 0x400 + (low - 0xdc00), ret_next->bytes);
        ret_next->taken = 12;
        return WM_OK;
    }
    if (unit == 0 || (unit >= 0xd800 && unit < 0xe000))
        return WM_BAD_INPUT;
    ret_next->length = write_utf8(unit, ret_next->bytes);
    ret_next->taken = 6;
    return WM_OK;
}

static char simple_escape(char c)
{
    switch (c) {
    case '"': return '"';
    case '\\': return '\\';
    case 'n': return '\n';
    case 'r': return '\r';
    case 't': return '\t';
    default: return '\0';
    }
}

int unescape_next(struct text t, size_t at, struct unescaped *ret_next)
{
    *ret_next = (struct unescaped){{t.bytes[at]}, 1, 1, false};
    if (t.bytes[at] != '\\' || at + 1 >= t.length)
        return WM_OK;
    int32_t unit = unicode_escape(t, at);
    if (unit >= 0) {
        ret_next->escaped = true;
        return unescape_unicode(t, at, unit, ret_next);
    }
    char simple = simple_escape(t.bytes[at + 1]);
    if (simple != '\0')
        *ret_next = (struct unescaped){{simple}, 1, 2, true};
    return WM_OK;
}

int unescape(struct arena *arena, struct text inside, struct text *ret_text)
{
    if (inside.length == 0 || memchr(inside.bytes, '\\', inside.length) == NULL) {
        *ret_text = inside;
        return WM_OK;
    }
    char *room = arena_bytes(arena, inside.length);
    size_t length = 0;
    struct unescaped next;

    if (room == NULL)
        return WM_NO_MEMORY;
    for (size_t at = 0; at < inside.length; at += next.taken) {
        int status = unescape_next(inside, at, &next);
        if (status != WM_OK)
            return status;
        memcpy(room + length, next.bytes, next.length);
        length += next.length;
    }
    *ret_text = (struct text){room, length};
    return WM_OK;
}

/* --- Numbers, dates, booleans -------------------------------------------------------------------------- */

static struct literal_fault read_number(struct text t, struct value *ret_value)
{
    int64_t number;

    switch (decimal_read(t, 6, &number)) {
    case NUMBER_OK:
        *ret_value = value_number(number);
        return (struct literal_fault){NULL, NULL};
    case NUMBER_TOO_PRECISE:
        return (struct literal_fault){"has more than six places", "round it to six"};
    case NUMBER_TOO_LARGE:
        return (struct literal_fault){"is too large a number", "write one below 9,000,000,000,000"};
    case NUMBER_MALFORMED:
        break;
    }
    return (struct literal_fault){"is not a number", "write digits, such as 12 or -0.5"};
}

/* What stands in date("..."), or all of t where it is no such call. */
static struct text date_inside(struct text t)
{
    struct text rest = t;

    if (!text_starts_with(rest, TEXT("date")))
        return t;
    rest = trim_blanks((struct text){rest.bytes + 4, rest.length - 4});
    if (rest.length < 2 || rest.bytes[0] != '(' || rest.bytes[rest.length - 1] != ')')
        return t;
    rest = trim_blanks((struct text){rest.bytes + 1, rest.length - 2});
    if (rest.length < 2 || rest.bytes[0] != '"' || rest.bytes[rest.length - 1] != '"')
        return t;
    return (struct text){rest.bytes + 1, rest.length - 2};
}

static struct literal_fault read_date(struct text t, struct value *ret_value)
{
    int32_t day;

    if (!date_read(date_inside(t), &day))
        return (struct literal_fault){"is not a date", "write one that exists, such as 2026-03-01"};
    *ret_value = value_date(day);
    return (struct literal_fault){NULL, NULL};
}

static struct literal_fault read_boolean(struct text t, struct value *ret_value)
{
    bool is = text_is(t, "true");

    if (!is && !text_is(t, "false"))
        return (struct literal_fault){"is not a boolean", "write true or false"};
    *ret_value = value_boolean(is);
    return (struct literal_fault){NULL, NULL};
}

struct literal_fault literal_read(struct text t, enum value_type type, struct value *ret_value)
{
    switch (type) {
    case VALUE_NUMBER: return read_number(t, ret_value);
    case VALUE_DATE: return read_date(t, ret_value);
    case VALUE_BOOLEAN:
    case VALUE_TEXT:
    case VALUE_NULL: break;
    }
    assert(type == VALUE_BOOLEAN);
    return read_boolean(t, ret_value);
}
