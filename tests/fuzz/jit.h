/* jit.h - for fuzz targets that compile patterns by the thousand: making machine code of a pattern takes most of the
 * time, and PCRE2 is not what is looked at. So it is done for one input in 64; for the others patterns are
 * interpreted, as they are on a machine for which PCRE2 makes no code: pattern_compile takes either.
 */
#ifndef WM_FUZZ_JIT_H
#define WM_FUZZ_JIT_H

#include <dlfcn.h>
#include <pcre2.h>

static bool jit_wanted;

/* Which an input is. */
static inline void jit_choose(const uint8_t *bytes, size_t length)
{
    jit_wanted = length > 0 && (bytes[length / 2] + length) % 64 == 0;
}

/* In place of the library's. */
int pcre2_jit_compile(pcre2_code *code, uint32_t options)
{
    static int (*compile)(pcre2_code *, uint32_t);

    if (!jit_wanted)
        return PCRE2_ERROR_JIT_BADOPTION;
    if (compile == NULL)
        *(void **)&compile = dlsym(RTLD_NEXT, "pcre2_jit_compile_8");
    must(compile != NULL, "the library can make code");
    return compile(code, options);
}

#endif
