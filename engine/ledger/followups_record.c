#include "ledger/followups_record.h"

#include <stdlib.h>

#include "base/status.h"
#include "ledger/columns.h"

struct followup_recorder {
    struct office *office;
    struct batch_canonical *canonical;
    struct followup_taker taker;
    struct followup_finder *finder;
    sqlite3_stmt *insert, *insert_part;
    uint64_t recorded;
};

static int insert(void *context, const struct followup *followup)
{
    struct followup_recorder *recorder = context;

    sqlite3_bind_int64(recorder->insert, 1, followup->row);
    sqlite3_bind_int64(recorder->insert, 2, followup->number);
    bind_text(recorder->insert, 3, followup->vin);
    bind_text(recorder->insert, 4, followup->followup);
    bind_text(recorder->insert, 5, followup->part);
    bind_text(recorder->insert, 6, followup->part_key);
    bind_day(recorder->insert, 7, followup->due_on);
    batch_canonical_followup(recorder->canonical, followup);
    recorder->recorded++;
    return office_execute(recorder->office, recorder->insert);
}

static int insert_part(void *context, int64_t supplied_by, int64_t row, int64_t number)
{
    struct followup_recorder *recorder = context;

    sqlite3_bind_int64(recorder->insert_part, 1, row);
    sqlite3_bind_int64(recorder->insert_part, 2, number);
    sqlite3_bind_int64(recorder->insert_part, 3, supplied_by);
    batch_canonical_followup_part(recorder->canonical, supplied_by, row, number);
    return office_execute(recorder->office, recorder->insert_part);
}

int followups_open(struct office *office, struct batch_canonical *canonical,
                   struct followup_recorder **ret_recorder)
{
    struct followup_recorder *recorder = calloc(1, sizeof *recorder);
    int status = recorder != NULL ? WM_OK : WM_NO_MEMORY;

    if (status != WM_OK)
        return status;
    recorder->office = office;
    recorder->canonical = canonical;
    recorder->taker = (struct followup_taker){recorder, insert, insert_part};
    status = followup_finder_open(office, &recorder->taker, &recorder->finder);
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
        *ret_recorder = recorder;
    else
        followups_close(recorder);
    return status;
}

void followups_close(struct followup_recorder *recorder)
{
    if (recorder == NULL)
        return;
    followup_finder_close(recorder->finder);
    sqlite3_finalize(recorder->insert);
    sqlite3_finalize(recorder->insert_part);
    free(recorder);
}

uint64_t followups_recorded(const struct followup_recorder *recorder)
{
    return recorder->recorded;
}

int followups_record(struct followup_recorder *recorder, const struct dossier *dossier)
{
    return followup_find(recorder->finder, dossier);
}
