#include "facts/deadlines.h"

#include "base/status.h"

static struct value output_of(const struct table *table, const struct table_hits *hits, int output)
{
    return output >= 0 ? table_output(table, hits->rows[0], (uint32_t)output) : value_null();
}

int deadlines_ask(const struct rules *rules, const struct value *facts, struct table_scratch *scratch,
                  struct deadlines *ret_deadlines)
{
    const struct table *table = rules->deadlines;
    struct deadlines deadlines = {.notice_days = value_null()};
    int status = table_decide(table, facts, scratch, &deadlines.hits);

    if (status != WM_OK)
        return status;
    if (deadlines.hits.count > 0) {
        for (int i = 0; i < DEADLINES; i++)
            deadlines.values[i] = output_of(table, &deadlines.hits, rules->deadline_output[i]);
        deadlines.notice_days = output_of(table, &deadlines.hits, rules->notice_output);
    }
    *ret_deadlines = deadlines;
    return WM_OK;
}

int deadlines_of_region(const struct rules *rules, struct text region, struct value *room,
                        struct table_scratch *scratch, struct diag_sink *sink, struct deadlines *ret_deadlines)
{
    int slot = rules_slot(rules, FACT_region);

    for (uint32_t i = 0; i < rules->dictionary->slot_count; i++)
        room[i] = value_null();
    if (slot >= 0 && region.length > 0)
        room[slot] = value_text(region);
    int status = deadlines_ask(rules, room, scratch, ret_deadlines);
    if (status != WM_OK || ret_deadlines->hits.fault == TABLE_OK)
        return status;
    diag_error(sink, (struct place){TEXT("deadlines.csv"), 0, 0},
               "more than one row is for region \"%.*s\"; leave one, `rules lint` names them",
               TEXT_ARGUMENTS(region));
    return WM_BAD_INPUT;
}

int32_t deadline_days(struct value value)
{
    if (value.type != VALUE_NUMBER || value.number < 0)
        return -1;
    return value.number / DECIMAL_ONE > INT32_MAX ? INT32_MAX : (int32_t)(value.number / DECIMAL_ONE);
}
