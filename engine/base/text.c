#include "base/text.h"

#include <stdio.h>

#include "base/arena.h"

static unsigned char lower(unsigned char c)
{
    return c >= 'A' && c <= 'Z' ? (unsigned char)(c + 32) : c;
}

static unsigned char upper(unsigned char c)
{
    return c >= 'a' && c <= 'z' ? (unsigned char)(c - 32) : c;
}

int text_compare(struct text a, struct text b)
{
    size_t shorter = a.length < b.length ? a.length : b.length;
    int order = shorter ? memcmp(a.bytes, b.bytes, shorter) : 0;

    if (order != 0)
        return order;
    return (a.length > b.length) - (a.length < b.length);
}

int text_compare_any_case(struct text a, struct text b)
{
    size_t shorter = a.length < b.length ? a.length : b.length;

    for (size_t i = 0; i < shorter; i++) {
        int difference = lower((unsigned char)a.bytes[i]) - lower((unsigned char)b.bytes[i]);
        if (difference != 0)
            return difference;
    }
    return (a.length > b.length) - (a.length < b.length);
}

bool text_equal_any_case(struct text a, struct text b)
{
    return a.length == b.length && (text_equal(a, b) || text_compare_any_case(a, b) == 0);
}

bool text_starts_with(struct text t, struct text prefix)
{
    return t.length >= prefix.length && text_equal((struct text){t.bytes, prefix.length}, prefix);
}

bool text_ends_with(struct text t, struct text suffix)
{
    return t.length >= suffix.length &&
           text_equal((struct text){t.bytes + (t.length - suffix.length), suffix.length}, suffix);
}

bool text_cut(struct text t, char separator, struct text *ret_head, struct text *ret_tail)
{
    const char *at = t.length ? memchr(t.bytes, separator, t.length) : NULL;

    if (at == NULL) {
        *ret_head = t;
        *ret_tail = (struct text){t.bytes ? t.bytes + t.length : NULL, 0};
        return false;
    }
    size_t before = (size_t)(at - t.bytes);
    *ret_head = (struct text){t.bytes, before};
    *ret_tail = (struct text){at + 1, t.length - before - 1};
    return true;
}

bool text_next(struct text *rest, char separator, struct text *ret_piece)
{
    if (rest->bytes == NULL)
        return false;
    struct text head, tail;
    bool more = text_cut(*rest, separator, &head, &tail);
    *ret_piece = text_trim(head);
    *rest = more ? tail : (struct text){NULL, 0};
    return true;
}

size_t text_code_point_bytes(struct text t, size_t at)
{
    unsigned char c = (unsigned char)t.bytes[at];

    return c < 0x80 ? 1 : c < 0xe0 ? 2 : c < 0xf0 ? 3 : 4;
}

/* Bytes of the well-formed sequence at p, 0 if there is none. Unicode 15, table 3-7. */
static size_t well_formed(const unsigned char *p, size_t left)
{
    unsigned char c = p[0];
    unsigned char low = 0x80, high = 0xbf;
    size_t more;

    if (c < 0x80)
        return 1;
    if (c >= 0xc2 && c <= 0xdf)
        more = 1;
    else if (c >= 0xe0 && c <= 0xef)
        more = 2;
    else if (c >= 0xf0 && c <= 0xf4)
        more = 3;
    else
        return 0;
    if (left <= more)
        return 0;
    if (c == 0xe0)
        low = 0xa0;
    else if (c == 0xed)
        high = 0x9f;
    else if (c == 0xf0)
        low = 0x90;
    else if (c == 0xf4)
        high = 0x8f;
    if (p[1] < low || p[1] > high)
        return 0;
    for (size_t i = 2; i <= more; i++)
        if (p[i] < 0x80 || p[i] > 0xbf)
            return 0;
    return more + 1;
}

bool text_is_utf8(struct text t)
{
    const unsigned char *p = (const unsigned char *)t.bytes;

    for (size_t i = 0; i < t.length;) {
        uint64_t eight;
        if (t.length - i >= 8) {
            memcpy(&eight, p + i, 8);
            if ((eight & UINT64_C(0x8080808080808080)) == 0) {
                i += 8;
                continue;
            }
        }
        size_t bytes = well_formed(p + i, t.length - i);
        if (bytes == 0)
            return false;
        i += bytes;
    }
    return true;
}

struct text text_copy(struct arena *arena, struct text t)
{
    char *room = arena_bytes(arena, t.length + 1);

    if (room == NULL)
        return (struct text){NULL, 0};
    if (t.length > 0)
        memcpy(room, t.bytes, t.length);
    room[t.length] = '\0';
    return (struct text){room, t.length};
}

struct text text_pair(struct arena *arena, struct text first, struct text second)
{
    size_t length = first.length + 1 + second.length;
    char *pair = arena_bytes(arena, length);

    if (pair == NULL)
        return (struct text){NULL, 0};
    if (first.length > 0)
        memcpy(pair, first.bytes, first.length);
    pair[first.length] = '\0';
    if (second.length > 0)
        memcpy(pair + first.length + 1, second.bytes, second.length);
    return (struct text){pair, length};
}

struct text text_upper(struct arena *arena, struct text t)
{
    char *room = arena_bytes(arena, t.length + 1);

    if (room == NULL)
        return (struct text){NULL, 0};
    for (size_t i = 0; i < t.length; i++)
        room[i] = (char)upper((unsigned char)t.bytes[i]);
    room[t.length] = '\0';
    return (struct text){room, t.length};
}

struct text text_format_list(struct arena *arena, const char *format, va_list arguments)
{
    va_list again;
    struct text none = {NULL, 0};

    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, again);
    va_end(again);
    char *room = length < 0 ? NULL : arena_bytes(arena, (size_t)length + 1);
    if (room == NULL)
        return none;
    vsnprintf(room, (size_t)length + 1, format, arguments);
    return (struct text){room, (size_t)length};
}

struct text text_format(struct arena *arena, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    struct text made = text_format_list(arena, format, arguments);
    va_end(arguments);
    return made;
}

#define CAPITAL(c) [c] = (c), [(c) + 32] = (c)
const unsigned char text_key_character[256] = {
    ['0'] = '0',  ['1'] = '1',  ['2'] = '2',  ['3'] = '3',  ['4'] = '4',  ['5'] = '5',  ['6'] = '6',
    ['7'] = '7',  ['8'] = '8',  ['9'] = '9',  CAPITAL('A'), CAPITAL('B'), CAPITAL('C'), CAPITAL('D'),
    CAPITAL('E'), CAPITAL('F'), CAPITAL('G'), CAPITAL('H'), CAPITAL('I'), CAPITAL('J'), CAPITAL('K'),
    CAPITAL('L'), CAPITAL('M'), CAPITAL('N'), CAPITAL('O'), CAPITAL('P'), CAPITAL('Q'), CAPITAL('R'),
    CAPITAL('S'), CAPITAL('T'), CAPITAL('U'), CAPITAL('V'), CAPITAL('W'), CAPITAL('X'), CAPITAL('Y'),
    CAPITAL('Z'),
};

size_t text_item_key(struct text t, char *room)
{
    size_t n = 0;

    for (size_t i = 0; i < t.length; i++) {
        unsigned char c = text_key_character[(unsigned char)t.bytes[i]];
        room[n] = (char)c;
        n += c != 0;
    }
    return n;
}

uint64_t text_hash(struct text t)
{
    return text_hash_folded(t, 0);
}

size_t text_distance(struct text a, struct text b, size_t limit)
{
    enum { MOST = 64 };
    size_t before[MOST + 1], previous[MOST + 1], now[MOST + 1];

    if (a.length > MOST || b.length > MOST)
        return limit + 1;
    for (size_t j = 0; j <= b.length; j++)
        previous[j] = j;
    memset(before, 0, sizeof before);
    for (size_t i = 1; i <= a.length; i++) {
        now[0] = i;
        for (size_t j = 1; j <= b.length; j++) {
            bool same = a.bytes[i - 1] == b.bytes[j - 1];
            size_t best = previous[j - 1] + !same;
            if (previous[j] + 1 < best)
                best = previous[j] + 1;
            if (now[j - 1] + 1 < best)
                best = now[j - 1] + 1;
            if (i > 1 && j > 1 && a.bytes[i - 1] == b.bytes[j - 2] && a.bytes[i - 2] == b.bytes[j - 1] &&
                before[j - 2] + 1 < best)
                best = before[j - 2] + 1;
            now[j] = best;
        }
        memcpy(before, previous, sizeof before);
        memcpy(previous, now, sizeof previous);
    }
    return previous[b.length] <= limit ? previous[b.length] : limit + 1;
}
