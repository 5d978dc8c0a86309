/* pack_kit.h - for tests: the demo office with packs made of it, in a folder of its own. */
#ifndef WM_TEST_PACK_KIT_H
#define WM_TEST_PACK_KIT_H

#include "program.h"

/* Packs in tests are made with the least work, so that a test of many packs ends. */
#define TEST_WORK "8"

static inline char *pack_folder(void)
{
    char room[256];

    make_folder(room);
    /* the key that a pack is first met with is remembered here, and not where the tester's own is */
    need(setenv("XDG_CONFIG_HOME", room, 1) == 0, "environment");
    return words("%s", room);
}

static inline void make_keys(const char *folder, const char *name)
{
    struct result result = RUN("pack", "keygen", words("%s/%s", folder, name));
    assert_int_equal(result.code, 0);
    result_free(&result);
}

/* The pack of a dealer (NULL: for all), or of one more dealer from a base. */
static inline char *make_pack(const char *folder, const char *office, const char *dealer, const char *base,
                              const char *today)
{
    char *path = words("%s/%s.pack", folder, dealer != NULL ? dealer : "all");
    const char *arguments[24] = {"pack",     "--out", path,      "--sign", words("%s/key", folder),
                                 "--office", office,  "--today", today,    "--quiet"};
    size_t count = 10;

    if (dealer != NULL) {
        arguments[count++] = "--dealer";
        arguments[count++] = dealer;
    }
    arguments[count++] = base != NULL ? "--base" : "--work";
    arguments[count++] = base != NULL ? base : TEST_WORK;
    struct result result = run_program(arguments);
    if (result.code != 0)
        fail_msg("no pack for %s: %s", dealer != NULL ? dealer : "all", result.err);
    result_free(&result);
    return path;
}

#endif
