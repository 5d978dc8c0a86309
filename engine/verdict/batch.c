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
    pthread_mutex_t reading; /* blocks, next_ticket, header_known, reading_failed */
    pthread_mutex_t order;   /* what follows */
    pthread_cond_t moved;
    uint64_t next_ticket;
    uint64_t settle_turn, deliver_turn;
    uint64_t bytes_read;
    bool header_known, reading_failed;
    int status; /* the first failure */
};

/* Blocks that a thread has in hand: one that it works on, and those that wait for their turn. What a thread
 * loses to the rest of the machine is a few blocks' time at most, so that three are enough for the others not
 * to wait for it. */
enum { BLOCKS_IN_HAND = 3 };

/* A block from its reading to its delivery. */
struct held_block {
    uint64_t ticket, bytes_read;
    bool is_settled; /* and rendered: it waits for delivery only */
    struct csv_block text;
    struct buffer bytes;
    struct arena arena;
    struct dossier **dossiers;
    uint32_t count, capacity;
    struct buffer rendered[BATCH_BUFFERS];
};

struct worker {
    struct batch *batch;
    struct fact_worker facts;
    struct item_memo memo;
    struct held_block room[BLOCKS_IN_HAND];
    struct held_block *blocks[BLOCKS_IN_HAND]; /* those held, in the order of the file; then the free ones, the
                                                * one used last (it is in the cache) first */
    uint32_t held;
    bool at_end; /* the file has no more blocks */
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

static void pass_turn(struct batch *batch, uint64_t *turn)
{
    pthread_mutex_lock(&batch->order);
    ++*turn;
    pthread_mutex_unlock(&batch->order);
    pthread_cond_broadcast(&batch->moved); /* behind the lock: who wakes up must have it */
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

/* Reads the next block of the file; rows are opened behind the header. WM_NOT_FOUND: no more. */
static int take_block(struct batch *batch, struct held_block *block, struct csv_rows *rows)
{
    struct csv_block text = {0};

    pthread_mutex_lock(&batch->reading);
    int status = batch->reading_failed ? WM_NOT_FOUND
                                       : csv_blocks_next(batch->blocks, &block->bytes, &text, batch->sink);
    if (status == WM_OK)
        status = csv_rows_open(rows, text.bytes, text.line, LIMIT_COLUMNS, &block->arena);
    if (status == WM_OK && !batch->header_known) {
        status = read_header(batch, rows);
        if (status == WM_NOT_FOUND && !text.last)
            status = WM_OK; /* nothing but empty lines so far */
        else if (status == WM_NOT_FOUND)
            status = claim_header_read(NULL, batch->source->name, batch->sink, &batch->header);
    }
    if (status == WM_OK) {
        batch->bytes_read += text.bytes.length;
        block->bytes_read = batch->bytes_read;
        block->ticket = batch->next_ticket++;
    } else if (status != WM_NOT_FOUND) {
        batch->reading_failed = true; /* said once: no other thread looks for a header further on */
    }
    pthread_mutex_unlock(&batch->reading);
    block->text = text;
    return status;
}

static struct dossier *add_dossier(struct held_block *block)
{
    if (block->count == block->capacity) {
        uint32_t capacity = block->capacity ? block->capacity * 2 : 8192;
        struct dossier **grown = realloc(block->dossiers, capacity * sizeof(struct dossier *));
        if (grown == NULL)
            return NULL;
        block->dossiers = grown;
        block->capacity = capacity;
    }
    struct dossier *dossier = ARENA_NEW(&block->arena, struct dossier);
    if (dossier != NULL)
        block->dossiers[block->count++] = dossier;
    return dossier;
}

static int add_content(struct arena *arena, struct dossier *dossier)
{
    uint8_t *digest = arena_bytes(arena, CONTENT_DIGEST_BYTES);

    if (digest == NULL || claim_canonical(&dossier->claim, arena, &dossier->content) != WM_OK)
        return WM_NO_MEMORY;
    content_digest(dossier->content, digest);
    dossier->content_digest = digest;
    return WM_OK;
}

static int read_claim(struct batch *batch, struct held_block *block, const struct csv_row *row)
{
    struct dossier *dossier = add_dossier(block);

    if (dossier == NULL)
        return WM_NO_MEMORY;
    dossier->campaign_number = -1;
    int status = claim_read(&batch->header, row, &block->arena, &dossier->claim);
    if (status != WM_OK || dossier->claim.unreadable)
        return status;
    facts_approach(batch->run->day, dossier);
    dossier->row_place = block->text.place + (uint64_t)(row->raw.bytes - block->text.bytes.bytes);
    dossier->row_length = (uint32_t)row->raw.length; /* at most LIMIT_ROW_BYTES */
    if (batch->run->with_contents && add_content(&block->arena, dossier) != WM_OK)
        return WM_NO_MEMORY;
    return WM_OK;
}

/* All that can be known of a claim without others, and the checks that need no more. */
static int examine(struct worker *worker, struct arena *arena, struct dossier *dossier)
{
    if (dossier->claim.unreadable)
        return checks_unreadable(arena, dossier);
    int status = facts_establish(&worker->facts, arena, dossier);
    const struct batch_run *run = worker->batch->run;

    if (status == WM_OK)
        status = checks_early(&worker->facts, &worker->memo, arena, dossier, run->with_messages);
    return status == WM_OK ? history_note(run->history, arena, dossier) : status;
}

/* How far behind the claim that is being read each step of a look-up follows. */
enum { PREFETCH_BEHIND = 8, LOOK_UP_BEHIND = 16, EXAMINE_BEHIND = 24 };

/* Takes the claims on: `step` is how many were read, or more once all are. */
static int advance(struct worker *worker, struct held_block *block, uint32_t step)
{
    const struct office_day *day = worker->batch->run->day;
    uint32_t to_prefetch = step - PREFETCH_BEHIND, to_look_up = step - LOOK_UP_BEHIND,
             to_examine = step - EXAMINE_BEHIND; /* wraps, and is then none of them, where it is too early */
    int status = WM_OK;

    if (to_prefetch < block->count && !block->dossiers[to_prefetch]->claim.unreadable)
        facts_prefetch(day, block->dossiers[to_prefetch]);
    if (to_look_up < block->count && !block->dossiers[to_look_up]->claim.unreadable)
        status = facts_look_up(day, block->dossiers[to_look_up]);
    if (status == WM_OK && to_examine < block->count)
        status = examine(worker, &block->arena, block->dossiers[to_examine]);
    return status;
}

static int examine_block(struct worker *worker, struct held_block *block, struct csv_rows *rows)
{
    struct csv_row row;
    int status = WM_OK;

    block->count = 0;
    while (status == WM_OK && csv_rows_next(rows, &row)) {
        status = read_claim(worker->batch, block, &row);
        if (status == WM_OK)
            status = advance(worker, block, block->count - 1);
    }
    if (status == WM_OK && rows->no_memory)
        status = WM_NO_MEMORY;
    for (uint32_t step = block->count; status == WM_OK && step < block->count + EXAMINE_BEHIND; step++)
        status = advance(worker, block, step);
    return status;
}

/* --- Settling ---------------------------------------------------------------------------------------- */

static int settle_claim(struct batch *batch, struct arena *arena, struct dossier *dossier)
{
    const struct batch_run *run = batch->run;
    int status = history_establish(run->history, run->day, dossier);

    if (status == WM_OK)
        status = checks_late(run->day->rules, batch->settle_scratch, arena, dossier, run->with_messages);
    if (status == WM_OK)
        status = decide(arena, dossier, run->with_messages);
    if (status == WM_OK)
        status = history_record(run->history, run->day, dossier);
    return status;
}

/* The first block tells how many claims the file has, about. No block is empty. */
static uint64_t expected_claims(const struct batch *batch, const struct held_block *block)
{
    return (uint64_t)((unsigned __int128)block->count * batch->source->bytes / block->text.bytes.length);
}

static int settle_block(struct batch *batch, struct held_block *block)
{
    const struct batch_run *run = batch->run;

    if (block->ticket == 0)
        history_expect(run->history, expected_claims(batch, block));
    int status = history_prepare(run->history, block->dossiers, block->count);

    for (uint32_t i = 0; status == WM_OK && i < block->count; i++) {
        struct dossier *dossier = block->dossiers[i];
        status = dossier->claim.unreadable ? decide(&block->arena, dossier, run->with_messages)
                                           : settle_claim(batch, &block->arena, dossier);
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
    if (status == WM_OK && rows.no_memory)
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

static struct decided_block decided(struct held_block *block)
{
    return (struct decided_block){block->dossiers, block->count, block->bytes_read, block->rendered};
}

static int render_block(const struct batch_receiver *receiver, struct held_block *block)
{
    struct decided_block done = decided(block);

    for (int i = 0; i < BATCH_BUFFERS; i++)
        buffer_clear(&block->rendered[i]);
    int status = receiver->render != NULL ? receiver->render(receiver->context, &done) : WM_OK;
    for (int i = 0; i < BATCH_BUFFERS; i++)
        if (block->rendered[i].failed)
            status = WM_NO_MEMORY;
    return status;
}

/* Takes up the next block of the file, and brings it to where it has to wait for those before it. */
static int begin_block(struct worker *worker)
{
    struct held_block *block = worker->blocks[worker->held];
    struct csv_rows rows = {0};

    arena_reset(&block->arena);
    block->is_settled = false;
    int status = take_block(worker->batch, block, &rows);
    if (status == WM_OK) {
        worker->held++;
        status = examine_block(worker, block, &rows);
    } else if (status == WM_NOT_FOUND) {
        worker->at_end = true;
        status = WM_OK;
    }
    csv_rows_close(&rows);
    return status;
}

static int settle_in_turn(struct batch *batch, struct held_block *block)
{
    int status = settle_block(batch, block);

    if (status != WM_OK)
        return status;
    pass_turn(batch, &batch->settle_turn);
    block->is_settled = true;
    return render_block(batch->receiver, block);
}

/* The first block in hand, which is the one to deliver. */
static int deliver_in_turn(struct worker *worker)
{
    struct batch *batch = worker->batch;
    struct held_block *block = worker->blocks[0];
    struct decided_block done = decided(block);
    int status = batch->receiver->deliver(batch->receiver->context, &done);

    if (status != WM_OK)
        return status;
    pass_turn(batch, &batch->deliver_turn);
    worker->held--;
    for (uint32_t i = 0; i < worker->held; i++)
        worker->blocks[i] = worker->blocks[i + 1];
    worker->blocks[worker->held] = block;
    return WM_OK;
}

enum step { BEGIN, SETTLE, DELIVER, WAIT, STOP };

/* What a thread can do now; the order is locked. */
static enum step possible_step(const struct worker *worker, struct held_block **ret_to_settle)
{
    const struct batch *batch = worker->batch;
    uint32_t settled = 0;

    if (batch->status != WM_OK || (worker->at_end && worker->held == 0))
        return STOP;
    while (settled < worker->held && worker->blocks[settled]->is_settled)
        settled++;
    if (settled > 0 && worker->blocks[0]->ticket == batch->deliver_turn)
        return DELIVER;
    if (settled < worker->held && worker->blocks[settled]->ticket == batch->settle_turn) {
        *ret_to_settle = worker->blocks[settled];
        return SETTLE;
    }
    return worker->at_end || worker->held == BLOCKS_IN_HAND ? WAIT : BEGIN;
}

static enum step next_step(struct worker *worker, struct held_block **ret_to_settle)
{
    struct batch *batch = worker->batch;
    enum step step;

    pthread_mutex_lock(&batch->order);
    while ((step = possible_step(worker, ret_to_settle)) == WAIT)
        pthread_cond_wait(&batch->moved, &batch->order);
    pthread_mutex_unlock(&batch->order);
    return step;
}

static void *work(void *context)
{
    struct worker *worker = context;
    struct held_block *to_settle = NULL;
    int status = WM_OK;
    enum step step;

    while (status == WM_OK && (step = next_step(worker, &to_settle)) != STOP) {
        if (step == DELIVER)
            status = deliver_in_turn(worker);
        else if (step == SETTLE)
            status = settle_in_turn(worker->batch, to_settle);
        else
            status = begin_block(worker);
    }
    if (status != WM_OK)
        fail(worker->batch, status);
    return NULL;
}

/* --- Workers ----------------------------------------------------------------------------------------- */

static void held_block_free(struct held_block *block)
{
    arena_free(&block->arena);
    buffer_free(&block->bytes);
    for (int i = 0; i < BATCH_BUFFERS; i++)
        buffer_free(&block->rendered[i]);
    free(block->dossiers);
}

static int worker_open(struct worker *worker, struct batch *batch)
{
    worker->batch = batch;
    for (int i = 0; i < BLOCKS_IN_HAND; i++)
        worker->blocks[i] = &worker->room[i];
    return fact_worker_open(&worker->facts, batch->run->day);
}

static void worker_close(struct worker *worker)
{
    fact_worker_close(&worker->facts);
    item_memo_free(&worker->memo);
    for (int i = 0; i < BLOCKS_IN_HAND; i++)
        held_block_free(&worker->room[i]);
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

    for (; status == WM_OK && opened < threads; opened++)
        status = worker_open(&workers[opened], batch);
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
    int status = facts_establish(worker, arena, dossier);

    if (status == WM_OK)
        status = checks_early(worker, NULL, arena, dossier, true);
    if (status == WM_OK)
        status = history_note(history, arena, dossier);
    if (status == WM_OK)
        status = history_prepare(history, &one, 1);
    if (status == WM_OK)
        status = history_establish(history, worker->day, dossier);
    if (status == WM_OK)
        status = checks_late(worker->day->rules, worker->scratch, arena, dossier, true);
    return status == WM_OK ? decide(arena, dossier, true) : status;
}
