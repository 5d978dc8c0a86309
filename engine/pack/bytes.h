/* bytes.h - numbers and texts as bytes of a pack, and back: little-endian, a text behind its length of 4 bytes.
 *
 * Part of the file format (pack/sealed.h). A reader never goes beyond its end: what is not there reads as 0 or
 * empty, and `failed` remembers it. Texts are borrowed from what is read.
 */
#ifndef WM_PACK_BYTES_H
#define WM_PACK_BYTES_H

#include <endian.h>
#include <stdbool.h>
#include <stdint.h>

#include "base/buffer.h"

struct byte_reader {
    const uint8_t *at, *end;
    bool failed;
};

static inline void put_4(struct buffer *out, uint32_t number)
{
    number = htole32(number);
    buffer_add(out, &number, sizeof number);
}

static inline void put_8(struct buffer *out, uint64_t number)
{
    number = htole64(number);
    buffer_add(out, &number, sizeof number);
}

static inline void put_text(struct buffer *out, struct text t)
{
    put_4(out, (uint32_t)t.length);
    buffer_add_text(out, t);
}

/* length bytes, or NULL where there are fewer. */
static inline const uint8_t *take_bytes(struct byte_reader *reader, size_t length)
{
    const uint8_t *bytes = reader->at;

    if (reader->failed || (size_t)(reader->end - reader->at) < length) {
        reader->failed = true;
        return NULL;
    }
    reader->at += length;
    return bytes;
}

static inline uint32_t take_4(struct byte_reader *reader)
{
    const uint8_t *bytes = take_bytes(reader, 4);
    uint32_t number = 0;

    if (bytes != NULL)
        memcpy(&number, bytes, sizeof number);
    return le32toh(number);
}

static inline uint64_t take_8(struct byte_reader *reader)
{
    const uint8_t *bytes = take_bytes(reader, 8);
    uint64_t number = 0;

    if (bytes != NULL)
        memcpy(&number, bytes, sizeof number);
    return le64toh(number);
}

static inline struct text take_text(struct byte_reader *reader)
{
    uint32_t length = take_4(reader);
    const char *bytes = (const char *)take_bytes(reader, length);

    return (struct text){bytes != NULL ? bytes : "", bytes != NULL ? length : 0};
}

/* How many records follow, each of at least `least` bytes: no more than there is room for. */
static inline uint32_t take_count(struct byte_reader *reader, size_t least)
{
    uint32_t count = take_4(reader);

    if (count > (size_t)(reader->end - reader->at) / least) {
        reader->failed = true;
        return 0;
    }
    return count;
}

#endif
