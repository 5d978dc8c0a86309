#include "cli/redecide.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/status.h"
#include "ledger/office_source.h"
#include "ledger/replay.h"
#include "register/register.h"
#include "verdict/batch.h"

/* One of the two runs over all batches. */
struct run {
    const struct rules *rules;
    struct office *office;
    struct history *history;
    unsigned threads;
    bool is_after;
    struct redecision *redecision;
    struct diag_sink *sink;
};

bool redecided_differs(const struct redecided *claim)
{
    return claim->before != claim->after || claim->payable_before_cents != claim->payable_after_cents;
}

void redecision_free(struct redecision *redecision)
{
    text_index_free(&redecision->index);
    free(redecision->claims);
    arena_free(&redecision->arena);
}

/* --- Keeping what was decided --------------------------------------------------------------------- */

static struct redecided *entry_of(struct redecision *redecision, const struct claim *claim)
{
    struct text dealer = claim->cells[COLUMN_DEALER], number = claim->cells[COLUMN_CLAIM];
    struct text key =
        text_format(&redecision->arena, "%.*s%c%.*s", TEXT_ARGUMENTS(dealer), '\x1f', TEXT_ARGUMENTS(number));

    if (key.bytes == NULL)
        return NULL;
    if (redecision->count == redecision->capacity) {
        uint32_t capacity = redecision->capacity ? redecision->capacity * 2 : 1024;
        struct redecided *grown = realloc(redecision->claims, capacity * sizeof *grown);
        if (grown == NULL)
            return NULL;
        redecision->claims = grown;
        redecision->capacity = capacity;
    }
    uint32_t at = text_index_add(&redecision->index, key, redecision->count);
    if (at == TEXT_INDEX_NONE)
        return NULL;
    struct redecided *entry = &redecision->claims[at];
    if (at == redecision->count) {
        *entry = (struct redecided){.dealer = text_copy(&redecision->arena, dealer),
                                    .claim = text_copy(&redecision->arena, number),
                                    .revision = -1};
        redecision->count++;
    }
    return entry->dealer.bytes == NULL || entry->claim.bytes == NULL ? NULL : entry;
}

static int keep(struct run *run, const struct dossier *dossier)
{
    struct redecided *entry = entry_of(run->redecision, &dossier->claim);

    if (entry == NULL)
        return WM_NO_MEMORY;
    if (run->is_after) {
        if (dossier->claim.revision == entry->revision && !entry->is_decided_after) {
            entry->is_decided_after = true;
            entry->after = dossier->decision;
            entry->payable_after_cents = dossier->payable_cents;
        }
        return WM_OK;
    }
    if (dossier->claim.revision <= entry->revision)
        return WM_OK; /* the first of equal revisions counts */
    entry->campaign = text_copy(&run->redecision->arena, dossier->claim.cells[COLUMN_CAMPAIGN]);
    entry->revision = dossier->claim.revision;
    entry->before = dossier->decision;
    entry->payable_before_cents = dossier->payable_cents;
    return entry->campaign.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int deliver(void *context, const struct decided_block *block)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < block->count; i++)
        status = keep(context, block->dossiers[i]);
    return status;
}

/* --- Deciding ------------------------------------------------------------------------------------- */

static int fail(struct run *run, const struct recorded_batch *batch, const char *what)
{
    diag_error(run->sink, (struct place){batch->file_name, 0, 0},
               "batch %lld cannot be decided again: %s; try again", (long long)batch->batch, what);
    return WM_IO;
}

/* The batch as a file without a name. */
static int open_source(struct run *run, const struct recorded_batch *batch, FILE **ret_file,
                       struct csv_source *ret_source)
{
    FILE *file = tmpfile();

    if (file == NULL || fwrite(batch->csv.bytes, 1, batch->csv.length, file) != batch->csv.length ||
        fflush(file) != 0) {
        if (file != NULL)
            fclose(file);
        return fail(run, batch, "no temporary file");
    }
    *ret_file = file;
    *ret_source =
        (struct csv_source){.descriptor = fileno(file), .name = batch->file_name, .bytes = batch->csv.length};
    return WM_OK;
}

static int decide_with(struct run *run, const struct recorded_batch *batch,
                       struct office_register *office_register, const struct csv_source *source)
{
    const struct office_day day = {run->rules, office_register, batch->today, batch->received_on, NULL};
    const struct batch_run how = {&day, run->history, run->threads, false, false, false};
    const struct batch_receiver receiver = {run, NULL, deliver};
    int status = batch_decide(&how, source, &receiver, run->sink);
    struct text words = register_error(office_register);

    return status == WM_IO && words.length > 0 ? fail(run, batch, words.bytes) : status;
}

static int decide_batch(void *context, const struct recorded_batch *batch)
{
    struct run *run = context;
    struct office_source *office_source = NULL;
    struct office_register *office_register = NULL;
    struct csv_source source;
    FILE *file = NULL;
    int status = open_source(run, batch, &file, &source);

    if (status == WM_OK)
        status = office_source_open(run->office, batch->load, &office_source);
    if (status == WM_OK)
        status = register_open(office_source_register(office_source), &office_register);
    if (status == WM_OK)
        status = decide_with(run, batch, office_register, &source);
    register_close(office_register);
    office_source_close(office_source);
    if (file != NULL)
        fclose(file);
    return status;
}

static int decide_all(struct run *run)
{
    int status = history_new(run->rules, NULL, &run->history);

    if (status == WM_OK)
        status = ledger_replay(run->office, decide_batch, run);
    history_free(run->history);
    run->history = NULL;
    return status;
}

int redecide(struct office *office, const struct rules *before, const struct rules *after, unsigned threads,
             struct diag_sink *sink, struct redecision *ret_redecision)
{
    *ret_redecision = (struct redecision){.index = TEXT_INDEX_EMPTY};
    struct run run = {before, office, NULL, threads, false, ret_redecision, sink};
    int status = decide_all(&run);

    run.rules = after;
    run.is_after = true;
    return status != WM_OK ? status : decide_all(&run);
}
