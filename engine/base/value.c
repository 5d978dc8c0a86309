#include "base/value.h"

#include "base/buffer.h"

static const char *const TYPE_NAMES[] = {"null", "number", "text", "date", "boolean"};

const char *value_type_name(enum value_type type)
{
    return TYPE_NAMES[type];
}

enum value_type value_type_from(struct text word)
{
    for (int type = VALUE_NUMBER; type <= VALUE_BOOLEAN; type++)
        if (text_is(word, TYPE_NAMES[type]))
            return (enum value_type)type;
    return VALUE_NULL;
}

void value_write(struct value v, struct buffer *out)
{
    char room[DECIMAL_ROOM > DATE_ROOM ? DECIMAL_ROOM : DATE_ROOM];

    switch ((enum value_type)v.type) {
    case VALUE_NULL:
        break;
    case VALUE_NUMBER:
        buffer_add(out, room, decimal_write(v.number, room));
        break;
    case VALUE_TEXT:
        buffer_add(out, v.bytes, v.length);
        break;
    case VALUE_DATE:
        buffer_add(out, room, date_write((int32_t)v.number, room));
        break;
    case VALUE_BOOLEAN:
        buffer_add_string(out, v.number ? "true" : "false");
        break;
    }
}
