#include "ledger/past.h"

#include <sqlite3.h>
#include <stdlib.h>

#include "base/status.h"
#include "ledger/batch_then.h"
#include "ledger/history_source.h"
#include "ledger/tallies_then.h"
#include "verdict/batch.h"

struct past {
    struct office *office;
    struct arena arena;
    struct batch_then then;
    struct tallies tallies; /* what stood then, or what changed since */
    struct ledger_history *ledger;
    struct history *history;
    struct fact_worker worker;
    struct dossier dossier;
};

/* --- The row ------------------------------------------------------------------------------------------------
 */

static int read_row(struct past *past, const struct claim_row *row)
{
    struct ledger_point now = {row->row, 0};
    struct ledger_reader *reader = NULL;
    struct text content;
    int status = ledger_reader_open(past->office, now, &reader);

    if (status == WM_OK)
        status = ledger_content(reader, &past->arena, row->row, &content);
    if (status == WM_OK)
        status = ledger_content_claim(content, row->line, &past->arena, &past->dossier.claim);
    /* what cannot be read as a claim was never recorded: there is nothing to be decided again */
    if (status == WM_OK && past->dossier.claim.unreadable)
        status = office_report(past->office, SQLITE_CORRUPT);
    ledger_reader_close(reader);
    return status;
}

/* --- What stood then ------------------------------------------------------------------------------------ */

static bool wants_tallies(const struct rules *rules)
{
    return rules_slot(rules, FACT_technician_day_hours) >= 0 || rules_slot(rules, FACT_kits_claimed) >= 0;
}

/* Nothing is asked about tallies of a later day, nor for a row without a day. */
static int open_history(struct past *past, struct ledger_point point)
{
    const struct claim *claim = &past->dossier.claim;
    enum tallies_from from = TALLIES_FROM_NOW;
    int status = WM_OK;

    if (wants_tallies(past->then.rules) && claim->completed_on != DAY_NONE)
        status = tallies_then(past->office, point, claim->cells[COLUMN_DEALER], claim->completed_on,
                              TALLIES_FROM_EITHER, &past->tallies, &from);
    if (status == WM_OK)
        status = ledger_history_open(past->office, point, from == TALLIES_FROM_NOW ? NULL : &past->tallies,
                                     &past->ledger);
    if (status == WM_OK && from == TALLIES_FROM_NOW)
        ledger_history_set_changes(past->ledger, &past->tallies);
    if (status == WM_OK)
        status = history_new(past->then.rules, ledger_history_source(past->ledger), &past->history);
    return status;
}

/* --- Opening -----------------------------------------------------------------------------------------------
 */

static int open_all(struct past *past, const struct claim_row *row, struct diag_sink *sink)
{
    int status = batch_then_open(past->office, row->batch, sink, &past->then);

    if (status == WM_OK)
        status = read_row(past, row);
    if (status == WM_OK)
        status = open_history(past, (struct ledger_point){row->row - 1, past->then.last_decision});
    if (status == WM_OK)
        status = fact_worker_open(&past->worker, &past->then.day);
    if (status == WM_OK)
        status = batch_decide_one(&past->worker, past->history, &past->arena, &past->dossier);
    return status;
}

/* The register keeps to itself what it could not read. */
static void report_register(const struct past *past, int status, struct diag_sink *sink)
{
    struct text words =
        past->then.office_register != NULL ? register_error(past->then.office_register) : (struct text){NULL, 0};

    if (status == WM_IO && words.length > 0)
        diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(words));
}

int past_open(struct office *office, const struct claim_row *row, struct diag_sink *sink,
              struct past **ret_past)
{
    struct past *past = calloc(1, sizeof *past);

    if (past == NULL)
        return WM_NO_MEMORY;
    past->office = office;
    tallies_open(&past->tallies);
    int status = open_all(past, row, sink);
    report_register(past, status, sink);
    if (status == WM_OK)
        *ret_past = past;
    else
        past_close(past);
    return status;
}

void past_close(struct past *past)
{
    if (past == NULL)
        return;
    fact_worker_close(&past->worker);
    history_free(past->history);
    ledger_history_close(past->ledger);
    tallies_close(&past->tallies);
    batch_then_close(&past->then);
    arena_free(&past->arena);
    free(past);
}

struct dossier *past_dossier(struct past *past)
{
    return &past->dossier;
}

const struct office_day *past_day(const struct past *past)
{
    return &past->then.day;
}

struct table_scratch *past_scratch(struct past *past)
{
    return past->worker.scratch;
}
