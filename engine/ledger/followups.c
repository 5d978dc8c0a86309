#include "ledger/followups.h"

#include <stdlib.h>

#include "base/status.h"
#include "ledger/columns.h"

struct followup_recorder {
    struct office *office;
    struct batch_canonical *canonical;
    struct table_scratch *scratch;
    sqlite3_stmt *insert, *insert_part, *on_vin;
    struct arena arena; /* for one claim */
    bool any;           /* some work is recorded */
    uint64_t recorded;
};

int followups_open(struct office *office, struct batch_canonical *canonical,
                   struct followup_recorder **ret_recorder)
{
    struct followup_recorder *recorder = calloc(1, sizeof *recorder);
    sqlite3_stmt *any = NULL;
    int status = recorder != NULL ? WM_OK : WM_NO_MEMORY;

    if (status != WM_OK)
        return status;
    recorder->office = office;
    recorder->canonical = canonical;
    status = table_scratch_new(&recorder->scratch);
    if (status == WM_OK)
        status = office_prepare(office,
                                "INSERT INTO followups (row, number, vin, followup, part, part_key, due_on) "
                                "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                                &recorder->insert);
    if (status == WM_OK)
        status =
            office_prepare(office, "INSERT INTO followup_parts (row, number, supplied_by) VALUES (?1, ?2, ?3)",
                           &recorder->insert_part);
    if (status == WM_OK)
        status = office_prepare(office,
                                "SELECT row, number, part_key FROM followups WHERE vin = ?1 AND row < ?2 "
                                "ORDER BY row, number",
                                &recorder->on_vin);
    if (status == WM_OK)
        status = office_prepare(office, "SELECT 1 FROM followups LIMIT 1", &any);
    if (status == WM_OK)
        status = office_step(office, any, &recorder->any);
    sqlite3_finalize(any);
    if (status == WM_OK)
        *ret_recorder = recorder;
    else
        followups_close(recorder);
    return status;
}

void followups_close(struct followup_recorder *recorder)
{
    if (recorder == NULL)
        return;
    table_scratch_free(recorder->scratch);
    sqlite3_finalize(recorder->insert);
    sqlite3_finalize(recorder->insert_part);
    sqlite3_finalize(recorder->on_vin);
    arena_free(&recorder->arena);
    free(recorder);
}

uint64_t followups_recorded(const struct followup_recorder *recorder)
{
    return recorder->recorded;
}

static bool supplies(const struct claim *claim, struct text part_key)
{
    for (uint32_t i = 0; part_key.length > 0 && i < claim->part_count; i++)
        if (text_equal(claim->parts[i].key, part_key))
            return true;
    return false;
}

/* --- Work that a claim leaves open ------------------------------------------------------------------- */

static int insert(struct followup_recorder *recorder, const struct followup *followup)
{
    sqlite3_bind_int64(recorder->insert, 1, followup->row);
    sqlite3_bind_int64(recorder->insert, 2, followup->number);
    bind_text(recorder->insert, 3, followup->vin);
    bind_text(recorder->insert, 4, followup->followup);
    bind_text(recorder->insert, 5, followup->part);
    bind_text(recorder->insert, 6, followup->part_key);
    bind_day(recorder->insert, 7, followup->due_on);
    batch_canonical_followup(recorder->canonical, followup);
    recorder->any = true;
    recorder->recorded++;
    return office_execute(recorder->office, recorder->insert);
}

static struct value output_of(const struct table *table, uint32_t row, const char *name)
{
    int output = table_output_named(table, name);

    return output >= 0 ? table_output(table, row, (uint32_t)output) : value_null();
}

/* Counted from the day of completion; without one there is no day. */
static int32_t due_on(const struct dossier *dossier, struct value due_days)
{
    int64_t day = (int64_t)dossier->claim.completed_on + due_days.number / DECIMAL_ONE;

    if (due_days.type != VALUE_NUMBER || dossier->claim.completed_on == DAY_NONE || day > INT32_MAX)
        return DAY_NONE;
    return (int32_t)day;
}

static int record_work(struct followup_recorder *recorder, const struct dossier *dossier)
{
    const struct table *table = dossier->campaign->followups;
    struct table_hits hits;
    int64_t number = 0;
    int status = table_decide(table, dossier->facts, recorder->scratch, &hits);

    for (uint32_t i = 0; status == WM_OK && i < hits.count; i++) {
        struct text part = value_as_text(output_of(table, hits.rows[i], "part"));
        char *key = arena_bytes(&recorder->arena, part.length);
        if (key == NULL)
            return WM_NO_MEMORY;
        struct followup followup = {.row = (int64_t)dossier->row,
                                    .number = number + 1,
                                    .vin = dossier->claim.vin,
                                    .followup = value_as_text(output_of(table, hits.rows[i], "followup")),
                                    .part = part,
                                    .part_key = {key, text_item_key(part, key)},
                                    .due_on = due_on(dossier, output_of(table, hits.rows[i], "due_days"))};
        if (followup.followup.length + part.length == 0 || supplies(&dossier->claim, followup.part_key))
            continue;
        number++;
        status = insert(recorder, &followup);
    }
    return status;
}

/* --- Parts for earlier work -------------------------------------------------------------------------- */

static int record_part(struct followup_recorder *recorder, int64_t row, int64_t number, int64_t supplied_by)
{
    sqlite3_bind_int64(recorder->insert_part, 1, row);
    sqlite3_bind_int64(recorder->insert_part, 2, number);
    sqlite3_bind_int64(recorder->insert_part, 3, supplied_by);
    batch_canonical_followup_part(recorder->canonical, supplied_by, row, number);
    return office_execute(recorder->office, recorder->insert_part);
}

static int record_parts(struct followup_recorder *recorder, const struct dossier *dossier)
{
    int64_t row = (int64_t)dossier->row;
    bool more = false;

    bind_text(recorder->on_vin, 1, dossier->claim.vin);
    sqlite3_bind_int64(recorder->on_vin, 2, row);
    int status = office_step(recorder->office, recorder->on_vin, &more);
    while (status == WM_OK && more) {
        if (supplies(&dossier->claim, column_text(recorder->on_vin, 2)))
            status = record_part(recorder, sqlite3_column_int64(recorder->on_vin, 0),
                                 sqlite3_column_int64(recorder->on_vin, 1), row);
        if (status == WM_OK)
            status = office_step(recorder->office, recorder->on_vin, &more);
    }
    sqlite3_reset(recorder->on_vin);
    return status;
}

static bool is_eligible(const struct dossier *dossier)
{
    return dossier->expectation != NULL && dossier->expectation->eligible.type == VALUE_BOOLEAN &&
           dossier->expectation->eligible.number;
}

int followups_record(struct followup_recorder *recorder, const struct dossier *dossier)
{
    bool stands =
        dossier->supersedes && (dossier->decision == DECISION_PAY || dossier->decision == DECISION_HOLD);
    int status = WM_OK;

    if (!stands)
        return WM_OK;
    arena_reset(&recorder->arena);
    if (recorder->any && dossier->claim.part_count > 0)
        status = record_parts(recorder, dossier);
    if (status == WM_OK && is_eligible(dossier) && dossier->campaign->followups != NULL)
        status = record_work(recorder, dossier);
    return status;
}
