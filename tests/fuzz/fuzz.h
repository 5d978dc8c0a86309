/* fuzz.h - what the fuzz targets share: inputs, choices made of their bytes, and a sink that looks at every
 * message.
 *
 * A target is one file with LLVMFuzzerTestOneInput. `make fuzz` builds it with clang's libFuzzer,
 * AddressSanitizer and UBSan and lets it search; `make test` builds it with run_corpus.c and runs what
 * tests/fuzz/corpus/TARGET keeps. A target ends the process where something is wrong: that is what the search
 * looks for.
 */
#ifndef WM_FUZZ_H
#define WM_FUZZ_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "base/diag.h"
#include "base/status.h"
#include "base/text.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length);
int LLVMFuzzerInitialize(int *count, char ***arguments);

/* Ends the process, with these words, unless it holds. */
static inline void must(bool holds, const char *what)
{
    if (holds)
        return;
    fprintf(stdout, "it does not hold that %s\n", what);
    fflush(stdout);
    abort();
}

/* --- The input
 * ------------------------------------------------------------------------------------------------- */

struct input {
    const uint8_t *at;
    size_t left;
    uint64_t more; /* where choices come from when the bytes are used up */
};

static inline struct input input_of(const uint8_t *bytes, size_t length)
{
    return (struct input){bytes, length, length};
}

/* splitmix64 */
static inline uint64_t input_more(struct input *input)
{
    uint64_t z = input->more += UINT64_C(0x9e3779b97f4a7c15);

    z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
    return z ^ z >> 31;
}

/* 0 to limit - 1: a byte each, two where one is too small. */
static inline uint64_t input_choose(struct input *input, uint64_t limit)
{
    uint64_t choice = 0;

    if (input->left < 2)
        return input_more(input) % limit;
    for (uint64_t room = 1; room < limit && input->left > 0; room *= 256, input->left--)
        choice = choice * 256 + *input->at++;
    return choice % limit;
}

/* All that is left, in memory of exactly its size, so that a read beyond its end is seen. Owned by the caller.
 */
static inline char *input_rest(const struct input *input, struct text *ret_text)
{
    char *copy = malloc(input->left > 0 ? input->left : 1);

    must(copy != NULL, "there is memory");
    if (input->left > 0)
        memcpy(copy, input->at, input->left);
    *ret_text = (struct text){copy, input->left};
    return copy;
}

/* --- Messages
 * ---------------------------------------------------------------------------------------------------- */

/* One line of readable text, whatever was in the file: a message goes to terminals and logs. */
static inline void look_at_message(void *context, const struct diag *diag)
{
    char line[8192];
    size_t length = diag_write(diag, line, sizeof line);
    (void)context;

    must(length > 0 && diag->message[0] != '\0', "a message says something");
    must(text_is_utf8((struct text){line, length}), "a message is text");
    for (size_t i = 0; i < length; i++)
        must((unsigned char)line[i] >= ' ' && line[i] != 0x7f, "a message holds no control character");
}

static inline struct diag_sink looking_sink(void)
{
    return (struct diag_sink){look_at_message, NULL, 0, 0};
}

/* An operation that may fail for want of good input, and for nothing else; it must have said why. */
static inline bool went_well(int status, const struct diag_sink *sink)
{
    must(status == WM_OK || status == WM_BAD_INPUT, "only bad input is a reason");
    must((status == WM_OK) == (sink->errors == 0), "what is refused has an error, and what is not has none");
    return status == WM_OK;
}

#endif
