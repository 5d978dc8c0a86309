#include "verdict/batch.h"

#include <pthread.h>
#include <stdlib.h>

#include "base/limits.h"
#include "base/status.h"
#include "intake/canonical.h"
#include "verdict/checks.h"
#include "verdict/decision.h"

/* What the threads of one file share. */
struct batch {
    const struct batch_run *run;
    const struct batch_receiver *receiver;
    const struct csv_source *source;
    struct diag_sink *sink;
    struct csv_blocks *blocks;
    struct claim_header header;
    struct table_scratch *settle_scratch;
    pthread_mutex_t reading; /* blocks, next_ticket, header_known */
    pthread_mutex_t order;   /* what follows */
    pthread_cond_t moved;
    uint64_t next_ticket;
    uint64_t settle_turn, deliver_turn;
    uint64_t bytes_read;
    bool header_known;
    int status; /* the first failure */
};

struct worker {
    struct batch *batch;
    struct fact_worker facts;
    struct item_memo memo;
    struct arena arena;
    struct buffer bytes;
    struct buffer rendered[BATCH_BUFFERS];
    struct dossier **dossiers;
    uint32_t count, capacity;
    struct csv_block block;
    pthread_t thread;
};

/* --- Order among threads ----------------------------------------------------------------------------- */

static void fail(struct batch *batch, int status)
{
    pthread_mutex_lock(&batch->order);
    if (batch->status == WM_OK)
        batch->status = status;
    pthread_cond_broadcast(&batch->moved);
    pthread_mutex_unlock(&batch->order);
}

/* Waits until it is this ticket's turn; false if the batch failed meanwhile. */
static bool await_turn(struct batch *batch, const uint64_t *turn, uint64_t ticket)
{
    pthread_mutex_lock(&batch->order);
    while (*turn != ticket && batch->status == WM_OK)
        pthread_cond_wait(&batch->moved, &batch->order);
    bool go = batch->status == WM_OK;
    pthread_mutex_unlock(&batch->order);
    return go;
}

static void pass_turn(struct batch *batch, uint64_t *turn)
{
    pthread_mutex_lock(&batch->order);
    ++*turn;
    pthread_cond_broadcast(&batch->moved);
    pthread_mutex_unlock(&batch->order);
}

/* --- Reading ----------------------------------------------------------------------------------------- */

/* The header is the first row of the file, wherever it stands. */
static int read_header(struct batch *batch, struct csv_rows *rows)
{
    struct csv_row row;

    if (!csv_rows_next(rows, &row))
        return rows->no_memory ? WM_NO_MEMORY : WM_NOT_FOUND;
    int status = claim_header_read(&row, batch->source->name, batch->sink, &batch->header);
    batch->header_known = status == WM_OK;
    return status;
}

/* Takes the next block of the file into the worker; rows are opened behind the header. WM_NOT_FOUND: no more.
 */
static int take_block(struct worker *worker, struct csv_rows *rows, uint64_t *ret_ticket,
                      uint64_t *ret_bytes_read)
{
    struct batch *batch = worker->batch;
    struct csv_block block = {0};

    pthread_mutex_lock(&batch->reading);
    int status = csv_blocks_next(batch->blocks, &worker->bytes, &block, batch->sink);
    if (status == WM_OK)
        status = csv_rows_open(rows, block.bytes, block.line, LIMIT_COLUMNS, &worker->arena);
    if (status == WM_OK && !batch->header_known) {
        status = read_header(batch, rows);
        if (status == WM_NOT_FOUND && !block.last)
            status = WM_OK; /* nothing but empty lines so far */
        else if (status == WM_NOT_FOUND)
            status = claim_header_read(NULL, batch->source->name, batch->sink, &batch->header);
    }
    if (status == WM_OK) {
        batch->bytes_read += block.bytes.length;
        *ret_bytes_read = batch->bytes_read;
        *ret_ticket = batch->next_ticket++;
    }
    pthread_mutex_unlock(&batch->reading);
    worker->block = block;
    return status;
}

static struct dossier *add_dossier(struct worker *worker)
{
    if (worker->count == worker->capacity) {
        uint32_t capacity = worker->capacity ? worker->capacity * 2 : 8192;
        struct dossier **grown = realloc(worker->dossiers, capacity * sizeof(struct dossier *));
        if (grown == NULL)
            return NULL;
        worker->dossiers = grown;
        worker->capacity = capacity;
    }
    struct dossier *dossier = ARENA_NEW(&worker->arena, struct dossier);
    if (dossier != NULL)
        worker->dossiers[worker->count++] = dossier;
    return dossier;
}

static int add_content(struct worker *worker, struct dossier *dossier)
{
    uint8_t *digest = arena_bytes(&worker->arena, CONTENT_DIGEST_BYTES);

    if (digest == NULL || claim_canonical(&dossier->claim, &worker->arena, &dossier->content) != WM_OK)
        return WM_NO_MEMORY;
    content_digest(dossier->content, digest);
    dossier->content_digest = digest;
    return WM_OK;
}

static int read_claim(struct worker *worker, const struct csv_row *row)
{
    struct batch *batch = worker->batch;
    struct dossier *dossier = add_dossier(worker);

    if (dossier == NULL)
        return WM_NO_MEMORY;
    dossier->campaign_number = -1;
    int status = claim_read(&batch->header, row, &worker->arena, &dossier->claim);
    if (status != WM_OK || dossier->claim.unreadable)
        return status;
    facts_approach(batch->run->day, dossier);
    dossier->row_place = worker->block.place + (uint64_t)(row->raw.bytes - worker->block.bytes.bytes);
    dossier->row_length = row->raw.length <= UINT32_MAX ? (uint32_t)row->raw.length : 0;
    if (batch->run->with_contents && add_content(worker, dossier) != WM_OK)
        return WM_NO_MEMORY;
    return history_note(&worker->arena, dossier);
}

/* All that can be known of a claim without others, and the checks that need no more. */
static int examine(struct worker *worker, struct dossier *dossier)
{
    if (dossier->claim.unreadable)
        return checks_unreadable(&worker->arena, dossier);
    int status = facts_establish(&worker->facts, &worker->arena, dossier);
    return status == WM_OK
               ? checks_early(&worker->facts, &worker->memo, &worker->arena, dossier,
                              worker->batch->run->with_messages)
               : status;
}

/* How far behind the claim that is being read each step of a look-up follows. */
enum { PREFETCH_BEHIND = 8, LOOK_UP_BEHIND = 16, EXAMINE_BEHIND = 24 };

/* Takes the claims on: `step` is how many were read, or more once all are. */
static int advance(struct worker *worker, uint32_t step)
{
    const struct office_day *day = worker->batch->run->day;
    uint32_t to_prefetch = step - PREFETCH_BEHIND, to_look_up = step - LOOK_UP_BEHIND,
             to_examine = step - EXAMINE_BEHIND; /* wraps, and is then none of them, where it is too early */
    int status = WM_OK;

    if (to_prefetch < worker->count && !worker->dossiers[to_prefetch]->claim.unreadable)
        facts_prefetch(day, worker->dossiers[to_prefetch]);
    if (to_look_up < worker->count && !worker->dossiers[to_look_up]->claim.unreadable)
        status = facts_look_up(day, worker->dossiers[to_look_up]);
    if (status == WM_OK && to_examine < worker->count)
        status = examine(worker, worker->dossiers[to_examine]);
    return status;
}

static int examine_block(struct worker *worker, struct csv_rows *rows)
{
    struct csv_row row;
    int status = WM_OK;

    worker->count = 0;
    while (status == WM_OK && csv_rows_next(rows, &row)) {
        status = read_claim(worker, &row);
        if (status == WM_OK)
            status = advance(worker, worker->count - 1);
    }
    if (status == WM_OK && rows->no_memory)
        status = WM_NO_MEMORY;
    for (uint32_t step = worker->count; status == WM_OK && step < worker->count + EXAMINE_BEHIND; step++)
        status = advance(worker, step);
    return status;
}

/* --- Settling ---------------------------------------------------------------------------------------- */

static int settle_claim(struct worker *worker, struct dossier *dossier)
{
    struct batch *batch = worker->batch;
    const struct batch_run *run = batch->run;
    int status = history_establish(run->history, run->day, dossier);

    if (status == WM_OK)
        status =
            checks_late(run->day->rules, batch->settle_scratch, &worker->arena, dossier, run->with_messages);
    if (status == WM_OK)
        status = decide(&worker->arena, dossier, run->with_messages);
    if (status == WM_OK)
        status = history_record(run->history, run->day, dossier);
    return status;
}

static int settle_block(struct worker *worker)
{
    const struct batch_run *run = worker->batch->run;
    int status = history_prepare(run->history, worker->dossiers, worker->count);

    for (uint32_t i = 0; status == WM_OK && i < worker->count; i++) {
        struct dossier *dossier = worker->dossiers[i];
        status = dossier->claim.unreadable ? decide(&worker->arena, dossier, run->with_messages)
                                           : settle_claim(worker, dossier);
    }
    return status;
}

/* A row once more, for the history. */
static int read_again(void *context, uint64_t place, uint32_t length, struct arena *arena,
                      struct text *ret_canonical)
{
    struct batch *batch = context;
    struct csv_rows rows = {0};
    struct csv_row row;
    struct claim claim = {.unreadable = true};
    char *bytes = arena_bytes(arena, length);
    int status =
        bytes != NULL ? csv_source_read(batch->source, place, bytes, length, batch->sink) : WM_NO_MEMORY;

    if (status == WM_OK)
        status = csv_rows_open(&rows, (struct text){bytes, length}, 1, LIMIT_COLUMNS, arena);
    if (status == WM_OK && csv_rows_next(&rows, &row))
        status = claim_read(&batch->header, &row, arena, &claim);
    else if (status == WM_OK && rows.no_memory)
        status = WM_NO_MEMORY;
    if (status == WM_OK && claim.unreadable) {
        diag_error(batch->sink, (struct place){batch->source->name, 0, 0},
                   "the file was changed while it was read; run it again");
        status = WM_IO;
    }
    csv_rows_close(&rows);
    return status == WM_OK ? claim_canonical(&claim, arena, ret_canonical) : status;
}

/* --- A block from reading to delivery ---------------------------------------------------------------- */

static int render_block(struct worker *worker, struct decided_block *block)
{
    const struct batch_receiver *receiver = worker->batch->receiver;

    for (int i = 0; i < BATCH_BUFFERS; i++)
        buffer_clear(&worker->rendered[i]);
    int status = receiver->render != NULL ? receiver->render(receiver->context, block) : WM_OK;
    for (int i = 0; i < BATCH_BUFFERS; i++)
        if (worker->rendered[i].failed)
            status = WM_NO_MEMORY;
    return status;
}

static int do_block(struct worker *worker, struct csv_rows *rows, uint64_t ticket, uint64_t bytes_read)
{
    struct batch *batch = worker->batch;
    const struct batch_receiver *receiver = batch->receiver;
    int status = examine_block(worker, rows);

    if (status != WM_OK || !await_turn(batch, &batch->settle_turn, ticket))
        return status;
    status = settle_block(worker);
    if (status != WM_OK)
        return status;
    pass_turn(batch, &batch->settle_turn);
    struct decided_block block = {worker->dossiers, worker->count, bytes_read, worker->rendered};
    status = render_block(worker, &block);
    if (status != WM_OK || !await_turn(batch, &batch->deliver_turn, ticket))
        return status;
    status = receiver->deliver != NULL ? receiver->deliver(receiver->context, &block) : WM_OK;
    if (status == WM_OK)
        pass_turn(batch, &batch->deliver_turn);
    return status;
}

static bool has_failed(struct batch *batch)
{
    pthread_mutex_lock(&batch->order);
    bool failed = batch->status != WM_OK;
    pthread_mutex_unlock(&batch->order);
    return failed;
}

static void *work(void *context)
{
    struct worker *worker = context;
    struct batch *batch = worker->batch;
    int status = WM_OK;

    while (status == WM_OK && !has_failed(batch)) {
        struct csv_rows rows = {0};
        uint64_t ticket, bytes_read;
        arena_reset(&worker->arena);
        status = take_block(worker, &rows, &ticket, &bytes_read);
        if (status == WM_OK)
            status = do_block(worker, &rows, ticket, bytes_read);
        csv_rows_close(&rows);
    }
    if (status != WM_OK && status != WM_NOT_FOUND)
        fail(batch, status);
    return NULL;
}

/* --- Workers ----------------------------------------------------------------------------------------- */

static void worker_close(struct worker *worker)
{
    fact_worker_close(&worker->facts);
    item_memo_free(&worker->memo);
    arena_free(&worker->arena);
    buffer_free(&worker->bytes);
    for (int i = 0; i < BATCH_BUFFERS; i++)
        buffer_free(&worker->rendered[i]);
    free(worker->dossiers);
}

static unsigned useful_threads(const struct batch *batch)
{
    uint64_t blocks = batch->source->bytes / LIMIT_BLOCK_BYTES + 1;
    unsigned threads = batch->run->threads;

    return blocks < threads ? (unsigned)blocks : threads;
}

static int run_workers(struct batch *batch)
{
    struct worker *workers = calloc(LIMIT_THREADS, sizeof *workers);
    unsigned threads = useful_threads(batch), opened = 0, started = 1;
    int status = workers == NULL ? WM_NO_MEMORY : WM_OK;

    for (; status == WM_OK && opened < threads; opened++) {
        workers[opened].batch = batch;
        status = fact_worker_open(&workers[opened].facts, batch->run->day);
    }
    if (status == WM_OK) {
        /* a thread that cannot be had is done without */
        while (started < threads &&
               pthread_create(&workers[started].thread, NULL, work, &workers[started]) == 0)
            started++;
        work(&workers[0]);
        for (unsigned i = 1; i < started; i++)
            pthread_join(workers[i].thread, NULL);
        status = batch->status;
    }
    for (unsigned i = 0; i < opened; i++)
        worker_close(&workers[i]);
    free(workers);
    return status;
}

int batch_decide(const struct batch_run *run, const struct csv_source *source,
                 const struct batch_receiver *receiver, struct diag_sink *sink)
{
    struct batch batch = {.run = run,
                          .receiver = receiver,
                          .source = source,
                          .sink = sink,
                          .reading = PTHREAD_MUTEX_INITIALIZER,
                          .order = PTHREAD_MUTEX_INITIALIZER,
                          .moved = PTHREAD_COND_INITIALIZER};
    const struct history_file file = {&batch, read_again};
    int status = csv_blocks_open(&batch.blocks, source, LIMIT_BLOCK_BYTES);

    if (status == WM_OK)
        status = table_scratch_new(&batch.settle_scratch);
    history_set_file(run->history, run->last_file ? &file : NULL);
    if (status == WM_OK)
        status = run_workers(&batch);
    history_set_file(run->history, NULL);
    if (status == WM_OK && !batch.header_known)
        status = claim_header_read(NULL, source->name, sink, &batch.header);
    table_scratch_free(batch.settle_scratch);
    csv_blocks_close(batch.blocks);
    pthread_cond_destroy(&batch.moved);
    pthread_mutex_destroy(&batch.order);
    pthread_mutex_destroy(&batch.reading);
    return status;
}

int batch_decide_one(struct fact_worker *worker, struct history *history, struct arena *arena,
                     struct dossier *dossier)
{
    struct dossier *one = dossier;
    int status = history_note(arena, dossier);

    if (status == WM_OK)
        status = facts_establish(worker, arena, dossier);

    if (status == WM_OK)
        status = checks_early(worker, NULL, arena, dossier, true);
    if (status == WM_OK)
        status = history_prepare(history, &one, 1);
    if (status == WM_OK)
        status = history_establish(history, worker->day, dossier);
    if (status == WM_OK)
        status = checks_late(worker->day->rules, worker->scratch, arena, dossier, true);
    return status == WM_OK ? decide(arena, dossier, true) : status;
}
