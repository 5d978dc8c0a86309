/* A table and its facts made of the input's bytes, decided by the engine and by the slow and obvious evaluator
 * of tests/unit/slow_tables.h: both say the same. */
#include "fuzz.h"
#include "jit.h"
#include "capture.h"

/* The evaluator's choices come from the input instead of from a seed. */
static struct input choices;
#define random_below(seed, limit) ((void)(seed), input_choose(&choices, (limit)))

#include "slow_tables.h"

static struct table_scratch *scratch;

int LLVMFuzzerInitialize(int *count, char ***arguments)
{
    (void)count, (void)arguments;
    must(table_scratch_new(&scratch) == WM_OK, "there is memory");
    return 0;
}

static bool same_result(const struct slow_result *slow, const struct table_hits *hits)
{
    if (slow->fault != hits->fault || slow->count != (int)hits->count)
        return false;
    if (slow->fault != TABLE_OK)
        return slow->first == (int)hits->first_row && slow->second == (int)hits->second_row;
    for (int i = 0; i < slow->count; i++)
        if (slow->rows[i] != (int)hits->rows[i])
            return false;
    if (!slow->has_aggregate)
        return hits->aggregate.type == VALUE_NULL;
    return hits->aggregate.type == VALUE_NUMBER && hits->aggregate.number == slow->aggregate;
}

static void decide_both(const struct slow_table *slow, const struct table *table)
{
    struct value facts[KIT_COUNT];
    static struct slow_result result;
    struct table_hits hits;

    for (int f = 0; f < KIT_COUNT; f++)
        facts[f] = input_choose(&choices, 5) == 0 ? value_null() : slow_value(NULL, KIT_FACTS[f].type);
    slow_decide(slow, facts, &result);
    must(table_decide(table, facts, scratch, &hits) == WM_OK, "there is memory");
    must(same_result(&result, &hits), "the engine decides what the slow evaluator decides");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    static struct slow_table slow;
    static struct buffer csv;
    struct arena arena = ARENA_EMPTY;
    struct diag_sink sink = looking_sink();
    struct table *table = NULL;

    jit_choose(bytes, length);
    choices = input_of(bytes, length);
    buffer_clear(&csv);
    slow_make_table(NULL, &slow);
    slow_write_table(NULL, &slow, &csv);
    int status = table_compile(&arena, TEXT("t.csv"), (struct text){csv.bytes, csv.length - 1},
                               (struct table_rules){.policies = HIT_ALL_POLICIES}, &KIT_SOURCE, &sink, &table);
    must(went_well(status, &sink), "a table that is made up well is compiled");
    for (int turn = 0; turn < 4; turn++)
        decide_both(&slow, table);
    table_free(table);
    arena_free(&arena);
    return 0;
}
