/* csv_masks.h - where the bytes that matter to CSV stand in 64 bytes; and how many line feeds there are.
 *
 * Internal to base/csv.c. The portable forms are what the SSE2 forms must equal; a test compares them.
 */
#ifndef WM_BASE_CSV_MASKS_H
#define WM_BASE_CSV_MASKS_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#ifdef __SSE2__
#include <emmintrin.h>
#endif

enum { CSV_STRIDE = 64 };

struct csv_masks {
    uint64_t commas;    /* bit i: byte i is a comma */
    uint64_t stops;     /* bit i: byte i is a line feed, a quote or NUL */
    uint64_t high;      /* not 0: some byte is not ASCII */
};

static inline struct csv_masks csv_masks_portable(const char *bytes)
{
    struct csv_masks masks = {0, 0, 0};

    for (unsigned i = 0; i < CSV_STRIDE; i++) {
        unsigned char c = (unsigned char)bytes[i];
        masks.commas |= (uint64_t)(c == ',') << i;
        masks.stops |= (uint64_t)(c == '\n' || c == '"' || c == 0) << i;
        masks.high |= (uint64_t)(c >> 7) << i;
    }
    return masks;
}

static inline size_t csv_line_feeds_portable(const char *bytes, size_t length)
{
    const uint64_t sevens = UINT64_C(0x7f7f7f7f7f7f7f7f), feeds = UINT64_C(0x0a0a0a0a0a0a0a0a);
    size_t count = 0, i = 0;

    for (; i + 8 <= length; i += 8) {
        uint64_t eight;
        memcpy(&eight, bytes + i, 8);
        eight ^= feeds;
        count += (size_t)__builtin_popcountll(~(((eight & sevens) + sevens) | eight | sevens));
    }
    for (; i < length; i++)
        count += bytes[i] == '\n';
    return count;
}

#ifdef __SSE2__

static inline struct csv_masks csv_masks_sse2(const char *bytes)
{
    const __m128i comma = _mm_set1_epi8(','), feed = _mm_set1_epi8('\n'), quote = _mm_set1_epi8('"');
    struct csv_masks masks = {0, 0, 0};
    __m128i any = _mm_setzero_si128();

    for (unsigned i = 0; i < CSV_STRIDE; i += 16) {
        __m128i v = _mm_loadu_si128((const __m128i *)(const void *)(bytes + i));
        __m128i stop = _mm_or_si128(_mm_or_si128(_mm_cmpeq_epi8(v, feed), _mm_cmpeq_epi8(v, quote)),
                                    _mm_cmpeq_epi8(v, _mm_setzero_si128()));
        masks.commas |= (uint64_t)(unsigned)_mm_movemask_epi8(_mm_cmpeq_epi8(v, comma)) << i;
        masks.stops |= (uint64_t)(unsigned)_mm_movemask_epi8(stop) << i;
        any = _mm_or_si128(any, v);
    }
    masks.high = (uint64_t)(unsigned)_mm_movemask_epi8(any);
    return masks;
}

static inline size_t csv_line_feeds_sse2(const char *bytes, size_t length)
{
    const __m128i feed = _mm_set1_epi8('\n'), zero = _mm_setzero_si128();
    size_t count = 0, i = 0;

    while (i + 16 <= length) {
        __m128i sums = zero;
        for (unsigned turn = 0; turn < 255 && i + 16 <= length; turn++, i += 16) {
            __m128i v = _mm_loadu_si128((const __m128i *)(const void *)(bytes + i));
            sums = _mm_sub_epi8(sums, _mm_cmpeq_epi8(v, feed));
        }
        sums = _mm_sad_epu8(sums, zero);
        count += (size_t)_mm_cvtsi128_si32(sums) + (size_t)_mm_extract_epi16(sums, 4);
    }
    return count + csv_line_feeds_portable(bytes + i, length - i);
}

#define csv_masks_of csv_masks_sse2
#define csv_line_feeds csv_line_feeds_sse2
#else
#define csv_masks_of csv_masks_portable
#define csv_line_feeds csv_line_feeds_portable
#endif

#endif
