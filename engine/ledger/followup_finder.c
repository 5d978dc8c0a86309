#include "ledger/followup_finder.h"

#include <assert.h>
#include <stdlib.h>

#include "base/status.h"
#include "ledger/columns.h"

struct followup_finder {
    struct office *office;
    const struct followup_taker *taker;
    struct table_scratch *scratch;
    sqlite3_stmt *on_vin;
    struct arena arena; /* for one claim */
    bool any;           /* some work is recorded, or was handed out */
};

int followup_finder_open(struct office *office, const struct followup_taker *taker,
                         struct followup_finder **ret_finder)
{
    struct followup_finder *finder = calloc(1, sizeof *finder);
    sqlite3_stmt *any = NULL;
    int status = finder != NULL ? WM_OK : WM_NO_MEMORY;

    if (status != WM_OK)
        return status;
    finder->office = office;
    finder->taker = taker;
    status = table_scratch_new(&finder->scratch);
    if (status == WM_OK)
        status = office_prepare(office,
                                "SELECT row, number, part_key FROM followups WHERE vin = ?1 AND row < ?2 "
                                "ORDER BY row, number",
                                &finder->on_vin);
    if (status == WM_OK)
        status = office_prepare(office, "SELECT 1 FROM followups LIMIT 1", &any);
    if (status == WM_OK)
        status = office_step(office, any, &finder->any);
    sqlite3_finalize(any);
    if (status == WM_OK)
        *ret_finder = finder;
    else
        followup_finder_close(finder);
    return status;
}

void followup_finder_close(struct followup_finder *finder)
{
    if (finder == NULL)
        return;
    table_scratch_free(finder->scratch);
    sqlite3_finalize(finder->on_vin);
    arena_free(&finder->arena);
    free(finder);
}

static bool supplies(const struct claim *claim, struct text part_key)
{
    for (uint32_t i = 0; part_key.length > 0 && i < claim->part_count; i++)
        if (text_equal(claim->parts[i].key, part_key))
            return true;
    return false;
}

/* --- Work that a claim leaves open ------------------------------------------------------------------- */

/* Rules whose table of follow-up work lacks one of its columns, a part or a number of days are not compiled. */
static struct value output_of(const struct table *table, uint32_t row, const char *name)
{
    int output = table_output_named(table, name);

    assert(output >= 0);
    return table_output(table, row, (uint32_t)output);
}

/* Counted from the day of completion; without one there is no day. */
static int32_t due_on(const struct dossier *dossier, struct value due_days)
{
    int64_t day = (int64_t)dossier->claim.completed_on + due_days.number / DECIMAL_ONE;

    if (dossier->claim.completed_on == DAY_NONE || day > INT32_MAX)
        return DAY_NONE;
    return (int32_t)day;
}

static int find_work(struct followup_finder *finder, const struct dossier *dossier)
{
    const struct table *table = dossier->campaign->followups;
    struct table_hits hits;
    int64_t number = 0;
    int status = table_decide(table, dossier->facts, finder->scratch, &hits);

    for (uint32_t i = 0; status == WM_OK && i < hits.count; i++) {
        struct text part = value_as_text(output_of(table, hits.rows[i], "part"));
        char *key = arena_bytes(&finder->arena, part.length);
        if (key == NULL)
            return WM_NO_MEMORY;
        struct followup followup = {.row = (int64_t)dossier->row,
                                    .number = number + 1,
                                    .vin = dossier->claim.vin,
                                    .followup = value_as_text(output_of(table, hits.rows[i], "followup")),
                                    .part = part,
                                    .part_key = {key, text_item_key(part, key)},
                                    .due_on = due_on(dossier, output_of(table, hits.rows[i], "due_days"))};
        if (supplies(&dossier->claim, followup.part_key))
            continue;
        number++;
        finder->any = true;
        status = finder->taker->work(finder->taker->context, &followup);
    }
    return status;
}

/* --- Parts for earlier work -------------------------------------------------------------------------- */

static int find_parts(struct followup_finder *finder, const struct dossier *dossier)
{
    int64_t row = (int64_t)dossier->row;
    bool more = false;

    bind_text(finder->on_vin, 1, dossier->claim.vin);
    sqlite3_bind_int64(finder->on_vin, 2, row);
    int status = office_step(finder->office, finder->on_vin, &more);
    while (status == WM_OK && more) {
        if (supplies(&dossier->claim, column_text(finder->on_vin, 2)))
            status = finder->taker->part(finder->taker->context, row, sqlite3_column_int64(finder->on_vin, 0),
                                         sqlite3_column_int64(finder->on_vin, 1));
        if (status == WM_OK)
            status = office_step(finder->office, finder->on_vin, &more);
    }
    sqlite3_reset(finder->on_vin);
    return status;
}

static bool is_eligible(const struct dossier *dossier)
{
    return dossier->expectation != NULL && dossier->expectation->eligible.type == VALUE_BOOLEAN &&
           dossier->expectation->eligible.number;
}

int followup_find(struct followup_finder *finder, const struct dossier *dossier)
{
    bool stands =
        dossier->supersedes && (dossier->decision == DECISION_PAY || dossier->decision == DECISION_HOLD);
    int status = WM_OK;

    if (!stands)
        return WM_OK;
    arena_reset(&finder->arena);
    if (finder->any && dossier->claim.part_count > 0)
        status = find_parts(finder, dossier);
    if (status == WM_OK && is_eligible(dossier) && dossier->campaign->followups != NULL)
        status = find_work(finder, dossier);
    return status;
}
