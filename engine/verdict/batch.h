/* batch.h - a claim file's way through the engine: blocks of claims, several threads, one order.
 *
 * Each thread takes the next block of the file, reads its claims, establishes what is true of each by itself
 * and asks the checks that need no more (in parallel); then, when all blocks before it are done with this,
 * settles them one after the other: facts that depend on other claims, the remaining checks, the decision, the
 * record in the history; then renders them (in parallel again) and delivers them in the order of the file. Where
 * it is not a block's turn to be settled or delivered yet, its thread takes up another one meanwhile: some three
 * blocks a thread (LIMIT_BLOCK_BYTES, and what is known of their claims) are held at a time.
 * Whatever the number of threads, the results are the same.
 *
 * Who owns what: a block's bytes, dossiers and rendered text belong to its thread until delivered; the history
 * belongs to the caller and outlives the file, so that several files follow each other as if posted.
 */
#ifndef WM_VERDICT_BATCH_H
#define WM_VERDICT_BATCH_H

#include "base/buffer.h"
#include "base/csv.h"
#include "facts/history.h"

enum { BATCH_BUFFERS = 5 }; /* texts that one block is rendered to */

/* Claims of one block, decided, in the order of the file. Borrowed during the calls below. */
struct decided_block {
    struct dossier *const *dossiers;
    uint32_t count;
    uint64_t bytes_read;     /* of the file, up to the end of this block */
    struct buffer *rendered; /* BATCH_BUFFERS of them, empty before render */
};

struct batch_receiver {
    void *context;
    /* Makes text of a block; called by several threads at once. May be NULL. */
    int (*render)(void *context, struct decided_block *block);
    /* Takes the block; called in the order of the file, by one thread at a time. */
    int (*deliver)(void *context, const struct decided_block *block);
};

struct batch_run {
    const struct office_day *day;
    struct history *history;
    unsigned threads;   /* 1 to LIMIT_THREADS */
    bool with_messages; /* make the findings' messages */
    bool with_contents; /* give dossiers their content and its digest, for recording */
    bool last_file;     /* the history is asked nothing more after this file: it need not keep rows */
};

/* Decides every claim of the source. Reports a file that cannot be used (no header, missing columns);
 * WM_BAD_INPUT then. The caller scans the source for a quote that is never closed, before or meanwhile, and uses
 * nothing of it if there is one. Any of the threads may report to the sink (see diag.h). */
int batch_decide(const struct batch_run *run, const struct csv_source *source,
                 const struct batch_receiver *receiver, struct diag_sink *sink);

/* Decides one claim that has been read, with messages, outside a file: all stages after each other. The claim is not
 * recorded in the history. */
int batch_decide_one(struct fact_worker *worker, struct history *history, struct arena *arena, struct dossier *dossier);

#endif
