/* value.h - one fact's value: a number, a text, a date, a boolean, or null. */
#ifndef WM_BASE_VALUE_H
#define WM_BASE_VALUE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/date.h"
#include "base/decimal.h"
#include "base/text.h"

enum value_type { VALUE_NULL = 0, VALUE_NUMBER, VALUE_TEXT, VALUE_DATE, VALUE_BOOLEAN };

struct value {
    union {
        int64_t number;       /* VALUE_NUMBER: millionths; VALUE_DATE: day number; VALUE_BOOLEAN: 0 or 1 */
        const char *bytes;    /* VALUE_TEXT: borrowed */
    };
    uint32_t length;          /* VALUE_TEXT */
    uint8_t type;             /* enum value_type */
};

static inline struct value value_null(void)
{
    return (struct value){.type = VALUE_NULL};
}

static inline struct value value_number(int64_t millionths)
{
    return (struct value){.number = millionths, .type = VALUE_NUMBER};
}

static inline struct value value_integer(int64_t whole)
{
    return value_number(whole * DECIMAL_ONE);
}

static inline struct value value_money(int64_t cents)
{
    int64_t millionths;

    if (__builtin_mul_overflow(cents, DECIMAL_CENT, &millionths))
        millionths = cents < 0 ? INT64_MIN : INT64_MAX;
    return value_number(millionths);
}

static inline struct value value_date(int32_t day)
{
    return (struct value){.number = day, .type = VALUE_DATE};
}

static inline struct value value_boolean(bool is)
{
    return (struct value){.number = is, .type = VALUE_BOOLEAN};
}

static inline struct value value_text(struct text t)
{
    return (struct value){.bytes = t.bytes, .length = (uint32_t)t.length, .type = VALUE_TEXT};
}

/* An empty text is null. */
static inline struct value value_text_or_null(struct text t)
{
    return t.length == 0 ? value_null() : value_text(t);
}

static inline struct text value_as_text(struct value v)
{
    return v.type == VALUE_TEXT ? (struct text){v.bytes, v.length} : (struct text){NULL, 0};
}

/* "number", "text", "date", "boolean", "null" */
const char *value_type_name(enum value_type type);

/* VALUE_NULL if the word names no type. */
enum value_type value_type_from(struct text word);

struct buffer;

/* As people read it: a number without needless zeros, a date as ISO, true or false, null as nothing. */
void value_write(struct value v, struct buffer *out);

#endif
