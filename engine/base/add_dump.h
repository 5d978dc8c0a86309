/* add_dump.h - JSON into a buffer: for json_dump_callback of jansson.
 *
 * jansson 2.14 does not look at whether the name of a member could be added; a failed buffer takes nothing more, so
 * that what follows fails, and no line is printed with a piece missing. json_dumps gives such lines.
 */
#ifndef WM_BASE_ADD_DUMP_H
#define WM_BASE_ADD_DUMP_H

#include "base/buffer.h"

/* context: a struct buffer. */
static inline int add_dump(const char *bytes, size_t length, void *context)
{
    struct buffer *out = context;

    buffer_add(out, bytes, length);
    return out->failed ? -1 : 0;
}

#endif
