#include "rules/lint.h"

#include <stdlib.h>

#include "base/status.h"
#include "rules/lint_parts.h"

const char *lint_severity_name(enum lint_severity severity)
{
    static const char *const NAMES[] = {"error", "warning", "note"};

    return NAMES[severity];
}

const char *lint_kind_name(enum lint_kind kind)
{
    static const char *const NAMES[] = {"gap",   "overlap",  "dead-row", "contradiction",
                                        "check", "spelling", "unused",   "not-proved"};

    return NAMES[kind];
}

/* --- Deadlines ------------------------------------------------------------------------------------ */

static int say_region(void *context, const struct lint_case *found)
{
    struct lint_saying *saying = context;
    struct lint *lint = saying->lint;
    struct lint_result result = {.severity = LINT_WARNING,
                                 .kind = LINT_GAP,
                                 .place = lint_header_place(saying->table->space->tables[0]),
                                 .wrong = TEXT("no row for a region that the `values` row lists"),
                                 .advice = TEXT("add a row for it")};

    if (found->answer != LINT_YES)
        return lint_say_not_proved(lint, result.place, found->answer, "every region has a row");
    int status = lint_add_example(lint, saying->table->space, NULL, found->box, &result);
    return status != WM_OK ? status : lint_say(lint, &result);
}

/* A region without a row has no limits, which is no fault where the table does not say which regions there are.
 */
static int look_at_deadlines(struct lint *lint)
{
    const struct table *tables[] = {lint->rules->deadlines};
    struct lint_question question = LINT_QUESTION;
    struct lint_space *space;

    arena_reset(&lint->arena);
    int status = lint_open_space(lint, tables, 1, false, &space);
    if (status != WM_OK)
        return status;
    struct lint_table table = {space, 0, NULL};
    struct lint_saying saying = {.lint = lint, .table = &table};
    status = lint_say_table(lint, &table, lint_say_case, NULL);
    if (status != WM_OK || space->dim_count == 0 || !space->dims[0].has_values)
        return status;
    question.avoid = lint_rows_of_table(space, 0);
    return question.avoid == NULL ? WM_NO_MEMORY : lint_gaps(space, &question, say_region, &saying);
}

/* --- All ------------------------------------------------------------------------------------------ */

static int look_at_campaigns(struct lint *lint)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < lint->rules->campaign_count; i++) {
        arena_reset(&lint->arena);
        status = lint_campaign_lists(lint, &lint->rules->campaigns[i]);
        if (status == WM_OK)
            status = lint_campaign(lint, &lint->rules->campaigns[i]);
    }
    return status;
}

int lint_rules(const struct rules *rules, const struct lint_fleet *fleet,
               int (*take)(void *context, const struct lint_result *result), void *context,
               struct lint_summary *ret_summary)
{
    struct lint lint = {.rules = rules, .fleet = fleet, .take = take, .context = context};
    int (*const parts[])(struct lint *) = {lint_spelling, look_at_deadlines, look_at_campaigns, lint_checks,
                                           lint_measures};
    int status = WM_OK;

    for (size_t i = 0; status == WM_OK && i < sizeof parts / sizeof *parts; i++)
        status = parts[i](&lint);
    arena_free(&lint.arena);
    if (lint.no_memory)
        return WM_NO_MEMORY;
    if (status == WM_OK)
        *ret_summary = lint.summary;
    return status;
}

/* --- Days ----------------------------------------------------------------------------------------- */

struct days {
    struct arena *arena;
    int32_t *days;
    uint32_t count, capacity;
};

static int add_day(struct days *days, const struct operand *operand)
{
    if (operand->fact != NULL)
        return WM_OK;
    if (days->count == days->capacity) {
        uint32_t capacity = days->capacity ? days->capacity * 2 : 64;
        int32_t *grown = arena_grown(days->arena, days->days, days->count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        days->days = grown;
        days->capacity = capacity;
    }
    days->days[days->count++] = (int32_t)operand->literal.number;
    return WM_OK;
}

static int add_cell_days(struct days *days, const struct cell *cell)
{
    int status = WM_OK;

    for (uint32_t i = 0; cell != NULL && status == WM_OK && i < cell->test_count; i++) {
        const struct test *test = &cell->tests[i];
        if (test->kind == TEST_RANGE && test->has_low)
            status = add_day(days, &test->low);
        if (status == WM_OK && (test->kind == TEST_EQUAL || (test->kind == TEST_RANGE && test->has_high)))
            status = add_day(days, &test->high);
    }
    return status;
}

static int add_table_days(struct days *days, const struct table *table, uint32_t slot)
{
    int status = WM_OK;

    for (uint32_t c = 0; table != NULL && c < table_condition_count(table); c++) {
        if (table_condition_fact(table, c).slot != slot)
            continue;
        status = add_cell_days(days, table_condition_domain(table, c));
        for (uint32_t row = 0; status == WM_OK && row < table_row_count(table); row++)
            status = add_cell_days(days, table_condition_test(table, c, row));
    }
    return status;
}

static int by_day(const void *a, const void *b)
{
    return (*(const int32_t *)a > *(const int32_t *)b) - (*(const int32_t *)a < *(const int32_t *)b);
}

int lint_days(const struct rules *rules, struct arena *arena, int32_t **ret_days, uint32_t *ret_count)
{
    struct days days = {.arena = arena};
    int slot = rules_slot(rules, FACT_built_on), status = WM_OK;
    uint32_t kept = 0;

    for (uint32_t i = 0; slot >= 0 && i < rules->campaign_count; i++)
        for (int which = 0; status == WM_OK && which < CAMPAIGN_TABLES; which++)
            status = add_table_days(&days, campaign_table(&rules->campaigns[i], (enum campaign_table)which),
                                    (uint32_t)slot);
    if (status != WM_OK)
        return status;
    if (days.count > 1)
        qsort(days.days, days.count, sizeof *days.days, by_day);
    for (uint32_t i = 0; i < days.count; i++)
        if (kept == 0 || days.days[kept - 1] != days.days[i])
            days.days[kept++] = days.days[i];
    *ret_days = days.days;
    *ret_count = kept;
    return WM_OK;
}
