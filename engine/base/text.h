/* text.h - slices of UTF-8 text: bytes that somebody else owns, with a length.
 *
 * A slice is not terminated by NUL and is valid as long as what it was cut from. Nothing here allocates
 * but the functions that take an arena. Blanks are space, tab and carriage return.
 */
#ifndef WM_BASE_TEXT_H
#define WM_BASE_TEXT_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

struct arena;

struct text {
    const char *bytes;
    size_t length;
};

#define TEXT(literal) ((struct text){(literal), sizeof(literal) - 1})

/* For printf: printf("%.*s", TEXT_ARGUMENTS(t)). No more than 4096 bytes are shown. */
#define TEXT_ARGUMENTS(t) text_printed_length(t), text_printed_bytes(t)

static inline int text_printed_length(struct text t)
{
    return (int)(t.length < 4096 ? t.length : 4096);
}

static inline const char *text_printed_bytes(struct text t)
{
    return t.bytes != NULL ? t.bytes : "";
}

static inline struct text text_of(const char *string)
{
    return (struct text){string, string ? strlen(string) : 0};
}

/* For messages: "3 rows", "1 row". */
static inline const char *plural(uint64_t count)
{
    return count == 1 ? "" : "s";
}

static inline bool text_equal(struct text a, struct text b)
{
    return a.length == b.length && (a.length == 0 || memcmp(a.bytes, b.bytes, a.length) == 0);
}

/* The same, for texts that are mostly not: keys of one list share their beginnings more often than their ends. */
static inline bool text_equal_mostly_not(struct text a, struct text b)
{
    return a.length == b.length && (a.length == 0 || (a.bytes[a.length - 1] == b.bytes[a.length - 1] &&
                                                      memcmp(a.bytes, b.bytes, a.length) == 0));
}

static inline bool text_is(struct text a, const char *string)
{
    return text_equal(a, text_of(string));
}

/* ASCII letters compare without regard to case; other bytes as they are. */
bool text_equal_any_case(struct text a, struct text b);

/* Order by code point, which for UTF-8 is the order of bytes: below 0, 0, above 0. */
int text_compare(struct text a, struct text b);

/* The same without regard to the case of ASCII letters. */
int text_compare_any_case(struct text a, struct text b);

static inline bool text_is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

/* Without blanks at either end. */
static inline struct text text_trim(struct text t)
{
    while (t.length > 0 && text_is_blank(t.bytes[0])) {
        t.bytes++;
        t.length--;
    }
    while (t.length > 0 && text_is_blank(t.bytes[t.length - 1]))
        t.length--;
    return t;
}

bool text_starts_with(struct text t, struct text prefix);
bool text_ends_with(struct text t, struct text suffix);

/* Cuts at the first separator. Returns false where there is none: then head is all of t and tail is empty. */
bool text_cut(struct text t, char separator, struct text *ret_head, struct text *ret_tail);

/* Takes the next piece of a list from rest, without blanks around it; false when nothing is left.
 * Empty pieces are returned too (an empty list is one empty piece). Begin with rest = the list; rest.bytes is
 * NULL at the end. */
bool text_next(struct text *rest, char separator, struct text *ret_piece);

/* Valid UTF-8 by RFC 3629: shortest form, no surrogates, at most U+10FFFF. */
bool text_is_utf8(struct text t);

/* How many bytes the code point at bytes[at] takes; t must be valid UTF-8. */
size_t text_code_point_bytes(struct text t, size_t at);

/* Copies into the arena, with a NUL behind the copy that the length does not count. bytes NULL: no memory. */
struct text text_copy(struct arena *arena, struct text t);

/* first NUL second, in the arena: a key that no two pairs share, as no cell holds a NUL. bytes NULL: no memory. */
struct text text_pair(struct arena *arena, struct text first, struct text second);
struct text text_upper(struct arena *arena, struct text t);

/* printf and vprintf into the arena; bytes NULL: no memory. */
struct text text_format(struct arena *arena, const char *format, ...) __attribute__((format(printf, 2, 3)));
struct text text_format_list(struct arena *arena, const char *format, va_list arguments)
    __attribute__((format(printf, 2, 0)));

/* The part number, operation or inspection item as it compares: upper-cased, all but A-Z and 0-9 removed
 * (contract section 1). Writes at most t.length bytes to room and returns how many. */
size_t text_item_key(struct text t, char *room);

/* What stands in an item's key for this byte: its capital, or 0 where keys leave it out. */
extern const unsigned char text_key_character[256];

static inline uint64_t text_eight_bytes(const char *bytes)
{
    uint64_t eight;

    memcpy(&eight, bytes, sizeof eight);
    return eight;
}

/* The last eight bytes, or all where there are fewer: different for different texts of a length. */
static inline uint64_t text_last_bytes(struct text t)
{
    const unsigned char *bytes = (const unsigned char *)t.bytes;
    uint32_t first, last;

    if (t.length >= 8)
        return text_eight_bytes(t.bytes + t.length - 8);
    if (t.length >= 4) {
        memcpy(&first, bytes, sizeof first);
        memcpy(&last, bytes + t.length - 4, sizeof last);
        return (uint64_t)last << 32 | first;
    }
    if (t.length == 0)
        return 0;
    return (uint64_t)bytes[t.length - 1] << 16 | (uint64_t)bytes[t.length / 2] << 8 | bytes[0];
}

static inline uint64_t text_hash_step(uint64_t hash, uint64_t eight)
{
    hash = (hash ^ eight) * UINT64_C(0xff51afd7ed558ccd);
    return hash ^ hash >> 32;
}

/* text_hash of texts that are equal but for bits that `fold` has: TEXT_FOLD_CASE for texts in any case, 0 for none. */
#define TEXT_FOLD_CASE UINT64_C(0x2020202020202020)
static inline uint64_t text_hash_folded(struct text t, uint64_t fold)
{
    uint64_t hash = t.length * UINT64_C(0x9e3779b97f4a7c15);

    for (size_t i = 0; i + 8 < t.length; i += 8)
        hash = text_hash_step(hash, text_eight_bytes(t.bytes + i) | fold);
    return text_hash_step(text_hash_step(hash, text_last_bytes(t) | fold), 0);
}

/* A 64-bit hash for tables in memory; not stable between releases, never stored. */
uint64_t text_hash(struct text t);

/* Number of single-character edits (insert, delete, replace, swap of neighbours) that lead from a to b,
 * or limit + 1 if more than limit; both at most 64 bytes, longer ones count as beyond the limit. */
size_t text_distance(struct text a, struct text b, size_t limit);

#endif
