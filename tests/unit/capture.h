/* capture.h - for tests: diagnostics kept as text, random numbers with a printed seed, temporary files. */
#ifndef WM_TEST_CAPTURE_H
#define WM_TEST_CAPTURE_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/diag.h"

/* Every diagnostic as a line, one after the other; "warning: " before warnings. */
struct capture {
    char text[16384];
    size_t length;
    struct diag_sink sink;
};

static inline void capture_report(void *context, const struct diag *diag)
{
    struct capture *capture = context;
    char line[4096];

    diag_write(diag, line, sizeof line);
    capture->length += (size_t)snprintf(capture->text + capture->length, sizeof capture->text - capture->length,
                                        "%s%s\n", diag->severity == SEVERITY_WARNING ? "warning: " : "", line);
    if (capture->length >= sizeof capture->text)
        capture->length = sizeof capture->text - 1;
}

static inline void capture_start(struct capture *capture)
{
    *capture = (struct capture){.sink = {.report = capture_report, .context = capture}};
}

/* The seed of this run: from the environment (WM_SEED) or a fixed one; printed, so that a failure can be had again. */
static inline uint64_t random_seed(const char *test)
{
    const char *given = getenv("WM_SEED");
    uint64_t seed = given ? strtoull(given, NULL, 10) : UINT64_C(20260301);

    printf("%s: seed %llu\n", test, (unsigned long long)seed);
    return seed * UINT64_C(0x9e3779b97f4a7c15) + 1;
}

/* How many of so many random cases are run: all, or one in WM_SHARE, where a sanitizer makes each of them ten times as
 * slow. At least one. */
static inline int random_times(int all)
{
    const char *given = getenv("WM_SHARE");
    int share = given ? atoi(given) : 1;

    return share <= 1 ? all : all / share > 0 ? all / share : 1;
}

/* xorshift64*: 0 to limit - 1. */
static inline uint64_t random_below(uint64_t *state, uint64_t limit)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return (*state * UINT64_C(0x2545f4914f6cdd1d) >> 11) % limit;
}

/* A folder of its own for this test's files. */
static inline void make_folder(char room[256])
{
    const char *parent = getenv("TMPDIR");

    snprintf(room, 256, "%s/witnessmark-test-XXXXXX", parent && parent[0] ? parent : "/tmp");
    assert_non_null(mkdtemp(room));
}

static inline void write_file(const char *path, const void *bytes, size_t length)
{
    FILE *file = fopen(path, "wb");

    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

#endif
