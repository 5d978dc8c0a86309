#include "tables/pattern.h"

#include <pcre2.h>
#include <stdlib.h>

#include "base/limits.h"
#include "base/status.h"

/* Machine stack is for PCRE2's JIT by default, 32 KiB of it; deep patterns get this much instead. */
enum { JIT_STACK_FIRST = 32 * 1024, JIT_STACK_MOST = 1024 * 1024 };

/* KiB that PCRE2's interpreter may take from the heap for one search. */
enum { HEAP_KIB = 16 * 1024 };

struct pattern {
    struct pattern *next;
    struct text source;
    pcre2_code *code;
};

struct pattern_work {
    pcre2_match_data *data;
    pcre2_match_context *context;
    pcre2_jit_stack *stack;
};

static int report_pattern(int code, PCRE2_SIZE offset, struct place place, struct diag_sink *sink)
{
    PCRE2_UCHAR words[256] = "";

    if (code == PCRE2_ERROR_HEAP_FAILED)
        return WM_NO_MEMORY;
    (void)pcre2_get_error_message(code, words, sizeof words);
    diag_error(sink, place, "the pattern is wrong at its character %zu: %s; correct it", (size_t)offset + 1,
               (const char *)words);
    return WM_BAD_INPUT;
}

int pattern_compile(struct arena *arena, struct text source, struct place place, struct diag_sink *sink,
                    struct pattern **list, const struct pattern **ret_pattern)
{
    const uint32_t options = PCRE2_UTF | PCRE2_NEVER_BACKSLASH_C;
    struct pattern *pattern = ARENA_NEW(arena, struct pattern);
    PCRE2_SIZE offset = 0;
    int code = 0;

    if (pattern == NULL)
        return WM_NO_MEMORY;
    pattern->source = source;
    pattern->code = pcre2_compile((PCRE2_SPTR)(source.length ? source.bytes : ""), source.length, options, &code,
                                  &offset, NULL);
    if (pattern->code == NULL)
        return report_pattern(code, offset, place, sink);
    /* Where there is no JIT for this machine, or not for this pattern, the interpreter does the same slower. */
    (void)pcre2_jit_compile(pattern->code, PCRE2_JIT_COMPLETE);
    pattern->next = *list;
    *list = pattern;
    *ret_pattern = pattern;
    return WM_OK;
}

void pattern_free_list(struct pattern *list)
{
    for (; list != NULL; list = list->next) {
        pcre2_code_free(list->code);
        list->code = NULL;
    }
}

struct text pattern_source(const struct pattern *pattern)
{
    return pattern->source;
}

int pattern_work_new(struct pattern_work **ret_work)
{
    struct pattern_work *work = calloc(1, sizeof *work);

    if (work == NULL)
        return WM_NO_MEMORY;
    work->data = pcre2_match_data_create(1, NULL);
    work->context = pcre2_match_context_create(NULL);
    work->stack = pcre2_jit_stack_create(JIT_STACK_FIRST, JIT_STACK_MOST, NULL);
    if (work->data == NULL || work->context == NULL || work->stack == NULL) {
        pattern_work_free(work);
        return WM_NO_MEMORY;
    }
    pcre2_set_match_limit(work->context, LIMIT_PATTERN_STEPS);
    pcre2_set_depth_limit(work->context, LIMIT_PATTERN_DEPTH);
    pcre2_set_heap_limit(work->context, HEAP_KIB);
    pcre2_jit_stack_assign(work->context, NULL, work->stack);
    *ret_work = work;
    return WM_OK;
}

void pattern_work_free(struct pattern_work *work)
{
    if (work == NULL)
        return;
    pcre2_match_data_free(work->data);
    pcre2_match_context_free(work->context);
    pcre2_jit_stack_free(work->stack);
    free(work);
}

int pattern_search(const struct pattern *pattern, struct pattern_work *work, struct text subject, bool *ret_found)
{
    PCRE2_SPTR bytes = (PCRE2_SPTR)(subject.length ? subject.bytes : "");
    int found = pcre2_match(pattern->code, bytes, subject.length, 0, 0, work->data, work->context);

    if (found == PCRE2_ERROR_JIT_STACKLIMIT)
        found = pcre2_match(pattern->code, bytes, subject.length, 0, PCRE2_NO_JIT, work->data, work->context);
    if (found == PCRE2_ERROR_NOMEMORY)
        return WM_NO_MEMORY;
    if (found < 0 && found != PCRE2_ERROR_NOMATCH)
        return WM_LIMIT;
    *ret_found = found >= 0;
    return WM_OK;
}
