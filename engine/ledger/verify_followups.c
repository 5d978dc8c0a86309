#include "ledger/verify_followups.h"

#include <stdlib.h>

#include "base/status.h"
#include "ledger/followup_finder.h"

struct verify_followups {
    struct verification *verification;
    struct followup_taker taker;
    struct followup_finder *finder;
    sqlite3_stmt *work, *parts; /* what is recorded, in the order in which it is found */
    bool more_work, more_parts;
    int64_t row; /* the one at hand */
    bool named;  /* a difference of it was named */
};

static void differs(struct verify_followups *followups, const char *what, struct text name)
{
    if (!followups->named)
        verify_row_fault(followups->verification, followups->row,
                         "decided again, %s%.*s; the program or the file has changed", what,
                         TEXT_ARGUMENTS(name));
    followups->named = true;
}

static int next_work(struct verify_followups *followups)
{
    return office_step(followups->verification->office, followups->work, &followups->more_work);
}

static int next_part(struct verify_followups *followups)
{
    return office_step(followups->verification->office, followups->parts, &followups->more_parts);
}

static bool work_is_at_hand(const struct verify_followups *followups)
{
    return followups->more_work && sqlite3_column_int64(followups->work, 0) <= followups->row;
}

static bool part_is_at_hand(const struct verify_followups *followups)
{
    return followups->more_parts && sqlite3_column_int64(followups->parts, 0) <= followups->row;
}

static int take_work(void *context, const struct followup *is)
{
    struct verify_followups *followups = context;
    sqlite3_stmt *was = followups->work;

    if (!work_is_at_hand(followups)) {
        differs(followups, "it asks for follow-up work that is not recorded: ", is->followup);
        return WM_OK;
    }
    if (sqlite3_column_int64(was, 0) != is->row || sqlite3_column_int64(was, 1) != is->number ||
        !text_equal(column_text(was, 2), is->vin) || !text_equal(column_text(was, 3), is->followup) ||
        !text_equal(column_text(was, 4), is->part) || !text_equal(column_text(was, 5), is->part_key) ||
        column_day(was, 6) != is->due_on)
        differs(followups, "its follow-up work is another one than is recorded: ", is->followup);
    return next_work(followups);
}

static int take_part(void *context, int64_t supplied_by, int64_t row, int64_t number)
{
    struct verify_followups *followups = context;
    sqlite3_stmt *was = followups->parts;

    if (!part_is_at_hand(followups)) {
        differs(followups, "it supplies a part for earlier follow-up work, which is not recorded", TEXT(""));
        return WM_OK;
    }
    if (sqlite3_column_int64(was, 0) != supplied_by || sqlite3_column_int64(was, 1) != row ||
        sqlite3_column_int64(was, 2) != number)
        differs(followups, "it supplies a part for other follow-up work than is recorded", TEXT(""));
    return next_part(followups);
}

/* What is recorded for the row and was not found again. */
static int name_rest(struct verify_followups *followups)
{
    int status = WM_OK;

    while (status == WM_OK && work_is_at_hand(followups)) {
        differs(followups,
                "it does not ask for follow-up work that is recorded: ", column_text(followups->work, 3));
        status = next_work(followups);
    }
    while (status == WM_OK && part_is_at_hand(followups)) {
        differs(followups, "it does not supply a part for follow-up work, as is recorded", TEXT(""));
        status = next_part(followups);
    }
    return status;
}

int verify_followups_of(struct verify_followups *followups, const struct dossier *dossier, int64_t row)
{
    followups->row = row;
    followups->named = false;
    int status = followup_find(followups->finder, dossier);
    return status == WM_OK ? name_rest(followups) : status;
}

int verify_followups_open(struct verification *verification, struct verify_followups **ret_followups)
{
    struct office *office = verification->office;
    struct verify_followups *followups = calloc(1, sizeof *followups);

    if (followups == NULL)
        return office_report(office, SQLITE_NOMEM);
    followups->verification = verification;
    followups->taker = (struct followup_taker){followups, take_work, take_part};
    int status = followup_finder_open(office, &followups->taker, &followups->finder);
    if (status == WM_OK)
        status = office_prepare(office,
                                "SELECT row, number, vin, followup, part, part_key, due_on FROM followups "
                                "ORDER BY row, number",
                                &followups->work);
    if (status == WM_OK)
        status = office_prepare(office,
                                "SELECT supplied_by, row, number FROM followup_parts "
                                "ORDER BY supplied_by, row, number",
                                &followups->parts);
    if (status == WM_OK)
        status = next_work(followups);
    if (status == WM_OK)
        status = next_part(followups);
    if (status == WM_OK)
        *ret_followups = followups;
    else
        verify_followups_close(followups);
    return status;
}

void verify_followups_close(struct verify_followups *followups)
{
    if (followups == NULL)
        return;
    followup_finder_close(followups->finder);
    sqlite3_finalize(followups->work);
    sqlite3_finalize(followups->parts);
    free(followups);
}
