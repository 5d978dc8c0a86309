#include "intake/excerpt.h"

const char *excerpt_write(struct text t, char *room)
{
    size_t at = 0, length = 0;

    room[length++] = '"';
    for (unsigned characters = 0; at < t.length && characters < EXCERPT_CHARACTERS; characters++) {
        size_t bytes = text_code_point_bytes(t, at);
        unsigned char first = (unsigned char)t.bytes[at];
        bool is_control = first < 0x20 || first == 0x7f || (first == 0xc2 && (unsigned char)t.bytes[at + 1] < 0xa0);

        if (is_control)
            room[length++] = '?';
        else
            for (size_t i = 0; i < bytes; i++)
                room[length++] = t.bytes[at + i];
        at += bytes;
    }
    memcpy(room + length, at < t.length ? "...\"" : "\"", at < t.length ? 5 : 2);
    return room;
}
