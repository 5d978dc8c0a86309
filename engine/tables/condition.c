/* A condition cell by itself: what an inspection's result must be. */
#include <assert.h>

#include "base/status.h"
#include "tables/parts.h"

struct condition {
    struct cell *cell;
    enum value_type type;
    bool any_case;
    struct pattern *patterns;
};

int condition_compile(struct arena *arena, struct text cell, enum value_type type, bool any_case,
                      struct place place, struct diag_sink *sink, struct condition **ret_condition)
{
    struct condition *condition = ARENA_NEW(arena, struct condition);

    if (condition == NULL)
        return WM_NO_MEMORY;
    struct text copy = text_copy(arena, cell);
    if (copy.bytes == NULL)
        return WM_NO_MEMORY;
    struct cell_context context = {arena, type, any_case, NULL, &condition->patterns, sink};
    condition->type = type;
    condition->any_case = any_case;
    int status = cell_read(&context, copy, place, &condition->cell);
    if (status == WM_OK)
        *ret_condition = condition;
    else
        condition_free(condition);
    return status;
}

const struct cell *condition_cell(const struct condition *condition)
{
    return condition->cell;
}

void condition_free(struct condition *condition)
{
    if (condition == NULL)
        return;
    pattern_free_list(condition->patterns);
    condition->patterns = NULL;
}

enum truth condition_test(const struct condition *condition, struct value v, struct table_scratch *scratch)
{
    struct evaluation evaluation = {.work = scratch == NULL ? NULL : scratch->work, .any_case = condition->any_case};

    assert(v.type == VALUE_NULL || v.type == condition->type);
    enum truth truth = cell_test_value(condition->cell, v, &evaluation);
    return evaluation.trouble == WM_OK ? truth : TRUTH_NEITHER;
}

enum truth condition_test_fraction(const struct condition *condition, __int128 numerator, __int128 denominator)
{
    struct subject subject = {.kind = SUBJECT_FRACTION, .value.type = VALUE_NUMBER, .numerator = numerator,
                              .denominator = denominator};
    struct evaluation evaluation = {.any_case = false};

    assert(condition->type == VALUE_NUMBER && denominator > 0);
    return cell_test(condition->cell, &subject, &evaluation);
}
