#include "ledger/past.h"

#include <sqlite3.h>
#include <stdlib.h>

#include "base/status.h"
#include "ledger/history_source.h"
#include "ledger/office_source.h"
#include "ledger/rules_record.h"
#include "ledger/tallies.h"
#include "verdict/batch.h"

enum statement { BATCH_OF_ROW, STATEMENTS };

static const char *const SQL[STATEMENTS] = {
    [BATCH_OF_ROW] = "SELECT b.rules, b.load, (SELECT coalesce(max(d.number), 0) FROM chain AS d "
                     "WHERE d.kind = 'decision' AND d.entry < (SELECT c.entry FROM chain AS c "
                     "WHERE c.kind = 'batch' AND c.number = b.batch)) FROM batches AS b WHERE b.batch = ?1",
};

struct past {
    struct office *office;
    struct arena arena;
    struct rules_files files;
    struct rules *rules;
    struct office_source *office_source;
    struct office_register *office_register;
    struct office_day day;
    struct tallies tallies;
    struct ledger_history *ledger;
    struct history *history;
    struct fact_worker worker;
    struct dossier dossier;
};

/* --- What its batch was decided with --------------------------------------------------------------- */

static int read_batch(struct past *past, int64_t batch, int64_t *ret_rules, int64_t *ret_load,
                      int64_t *ret_last_decision)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(past->office, SQL[BATCH_OF_ROW], &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, batch);
        status = office_step(past->office, statement, &found);
    }
    if (status == WM_OK && !found)
        status = WM_NOT_FOUND;
    if (status == WM_OK) {
        *ret_rules = sqlite3_column_int64(statement, 0);
        *ret_load = sqlite3_column_int64(statement, 1);
        *ret_last_decision = sqlite3_column_int64(statement, 2);
    }
    sqlite3_finalize(statement);
    return status;
}

static int open_rules(struct past *past, int64_t rules, struct diag_sink *sink)
{
    int status = rules_recorded(past->office, rules, &past->arena, &past->files);

    return status == WM_OK ? rules_compile(&past->arena, &past->files, sink, &past->rules) : status;
}

static int open_register(struct past *past, int64_t load)
{
    int64_t last = 0;
    int status = office_last_load(past->office, &last);

    if (status == WM_OK)
        status = office_source_open(past->office, load == last ? 0 : load, &past->office_source);
    if (status == WM_OK)
        status = register_open(office_source_register(past->office_source), &past->office_register);
    return status;
}

/* --- What the dealer's claims added up to -------------------------------------------------------------- */

static int tally_claim(struct past *past, struct ledger_reader *reader, struct arena *arena, struct text dealer,
                       struct text number)
{
    struct ledger_claim claim;
    struct claim standing;
    struct text content;
    int status = ledger_claim_read(reader, arena, dealer, number, &claim);

    if (status == WM_NOT_FOUND || (status == WM_OK && claim.standing == NULL))
        return WM_OK;
    if (status == WM_OK)
        status = ledger_content(reader, arena, claim.standing->row, &content);
    if (status == WM_OK)
        status = ledger_content_claim(content, claim.standing->line, arena, &standing);
    return status == WM_OK ? tallies_add_claim(&past->tallies, &standing, 1) : status;
}

/* The office file keeps sums as they are now; those of then are added up from the dealer's claims. */
static int tally_dealer(struct past *past, struct ledger_point point, struct text dealer)
{
    struct ledger_reader *reader = NULL;
    struct arena names_arena = ARENA_EMPTY, arena = ARENA_EMPTY;
    struct claim_name *names = NULL;
    uint32_t count = 0;
    int status = ledger_reader_open(past->office, point, &reader);

    if (status == WM_OK)
        status = ledger_names_of_dealer(reader, &names_arena, dealer, &names, &count);
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        arena_reset(&arena);
        status = tally_claim(past, reader, &arena, dealer, names[i].claim);
    }
    ledger_reader_close(reader);
    arena_free(&names_arena);
    arena_free(&arena);
    return status;
}

static bool wants_tallies(const struct rules *rules)
{
    return rules_slot(rules, FACT_technician_day_hours) >= 0 || rules_slot(rules, FACT_kits_claimed) >= 0;
}

static int open_history(struct past *past, struct ledger_point point, struct text dealer)
{
    int status = wants_tallies(past->rules) ? tally_dealer(past, point, dealer) : WM_OK;

    if (status == WM_OK)
        status = ledger_history_open(past->office, point, &past->tallies, &past->ledger);
    if (status == WM_OK)
        status = history_new(past->rules, ledger_history_source(past->ledger), &past->history);
    return status;
}

/* --- The row ------------------------------------------------------------------------------------------------ */

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
    ledger_reader_close(reader);
    return status;
}

static int open_all(struct past *past, const struct ledger_claim *claim, const struct claim_row *row,
                    struct diag_sink *sink)
{
    int64_t rules, load, last_decision;
    int status = read_batch(past, row->batch, &rules, &load, &last_decision);

    if (status == WM_OK)
        status = open_rules(past, rules, sink);
    if (status == WM_OK)
        status = open_register(past, load);
    if (status == WM_OK)
        status = open_history(past, (struct ledger_point){row->row - 1, last_decision}, claim->dealer);
    past->day = (struct office_day){past->rules, past->office_register, row->today, row->received_on,
                                     NULL};
    if (status == WM_OK)
        status = fact_worker_open(&past->worker, &past->day);
    if (status == WM_OK)
        status = read_row(past, row);
    if (status == WM_OK)
        status = batch_decide_one(&past->worker, past->history, &past->arena, &past->dossier);
    return status;
}

int past_open(struct office *office, const struct ledger_claim *claim, const struct claim_row *row,
              struct diag_sink *sink, struct past **ret_past)
{
    struct past *past = calloc(1, sizeof *past);

    if (past == NULL)
        return WM_NO_MEMORY;
    past->office = office;
    tallies_open(&past->tallies);
    int status = open_all(past, claim, row, sink);
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
    register_close(past->office_register);
    office_source_close(past->office_source);
    rules_free(past->rules);
    arena_free(&past->arena);
    free(past);
}

struct dossier *past_dossier(struct past *past)
{
    return &past->dossier;
}

const struct office_day *past_day(const struct past *past)
{
    return &past->day;
}

struct table_scratch *past_scratch(struct past *past)
{
    return past->worker.scratch;
}
