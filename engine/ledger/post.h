/* post.h - a batch of decided claims on its way into the office file.
 *
 * Everything happens inside a write transaction that the caller began and will commit: a batch is there whole or not at
 * all. Blocks are packed by several threads (ledger_post_pack) and recorded in the order of the file
 * (ledger_post_record), so that the database is written while later claims are still being decided. ledger_post_finish
 * writes what is written in another order than the file's, the batch itself, and its place in the chain.
 *
 * The claims must have been decided by a history that keeps contents (history_keep_contents), with messages.
 */
#ifndef WM_LEDGER_POST_H
#define WM_LEDGER_POST_H

#include "ledger/office.h"
#include "ledger/records.h"
#include "rules/rules_files.h"
#include "verdict/batch.h"

/* What is known of the file before it is decided. */
struct posted_file {
    struct text name;
    uint64_t bytes;
    const uint8_t *digest;             /* BLAKE2b-256 of its bytes; looked at by ledger_post_finish only */
    int32_t received_on, today;
    struct text posted_at;             /* 2026-03-01T23:15:00Z */
    const struct rules_files *rules;
    unsigned threads;                  /* for what is sorted at the end */
};

/* A batch that has these bytes; batch 0: there is none. */
struct known_batch {
    int64_t batch, row_count, unreadable_count, repeated_count;
    int32_t received_on;
    struct text posted_at;             /* in the arena */
};
int ledger_batch_known(struct office *office, const uint8_t digest[DIGEST_BYTES], struct arena *arena,
                       struct known_batch *ret_known);

/* Whether some batch is of as many bytes: if none is, the file cannot be known. */
int ledger_batch_as_long(struct office *office, uint64_t bytes, bool *ret_there);

struct ledger_post;

/* All texts of the file are borrowed. */
int ledger_post_open(struct office *office, const struct posted_file *file, struct ledger_post **ret_post);
void ledger_post_close(struct ledger_post *post);    /* accepts NULL */

/* The last row recorded before: history_keep_contents wants it. */
uint64_t ledger_post_last_row(const struct ledger_post *post);

/* Packs a block: its rows, and what finds them and adds them up. Several threads at once. */
int ledger_post_pack(const struct ledger_post *post, const struct decided_block *block, struct buffer *rows,
                     struct buffer *places, struct buffer *tallies);

/* Records a block and what it was packed to. In the order of the file. */
int ledger_post_record(struct ledger_post *post, const struct decided_block *block, const struct buffer *rows,
                       const struct buffer *places, const struct buffer *tallies);

struct post_summary {
    int64_t batch;
    uint64_t recorded, unreadable, repeated, followups;
};

int ledger_post_finish(struct ledger_post *post, struct post_summary *ret_summary);

#endif
