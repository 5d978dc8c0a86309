/* records.h - the canonical form of what is recorded, and its digests.
 *
 * A digest is the BLAKE2b-256 of a canonical form: fields one after the other, a text as its length (8 bytes,
 * little-endian) and its bytes behind the byte 1, a whole number as 8 bytes little-endian behind the byte 2,
 * null as the byte 0. The first field is a word that says what is recorded, so that no record can pass for
 * another kind.
 *
 * This is a file format: none of it may change without a new version of the office file.
 */
#ifndef WM_LEDGER_RECORDS_H
#define WM_LEDGER_RECORDS_H

#include <sodium.h>
#include <stdbool.h>
#include <stdint.h>

#include "base/buffer.h"
#include "facts/dossier.h"

enum { DIGEST_BYTES = 32, BLOCK_ROWS = 128, CANONICAL_ROOM = 1024 };

/* A canonical form on its way to a digest. */
struct canonical {
    crypto_generichash_state state; /* once the form is longer than the room */
    uint8_t room[CANONICAL_ROOM];
    uint32_t used;
    bool started; /* state is in use */
};

void canonical_begin(struct canonical *canonical, const char *kind);
void canonical_text(struct canonical *canonical, struct text t);
void canonical_integer(struct canonical *canonical, int64_t number);
void canonical_null(struct canonical *canonical);
void canonical_day(struct canonical *canonical, int32_t day);                        /* DAY_NONE is null */
void canonical_bytes(struct canonical *canonical, const void *bytes, size_t length); /* as a text */
void canonical_end(struct canonical *canonical, uint8_t ret_digest[DIGEST_BYTES]);

/* What of a claim row is recorded besides its content. */
struct row_head {
    int64_t row, batch, line;
    struct text decision;
    int64_t asked_cents, payable_cents, due_cents;
    bool replaces_is_null;
    int64_t replaces;
};

struct row_finding {
    struct text effect, finding, item, message, rule;
};

/* The digest of a claim row: head, content's digest, then each finding, then the end. */
void row_canonical_begin(struct canonical *canonical, const struct row_head *head,
                         const uint8_t *content_digest);
void row_canonical_finding(struct canonical *canonical, const struct row_finding *finding);

/* What will be recorded of a decided claim. rule_room holds the text of the rule. */
struct row_head row_head_of(const struct dossier *dossier, int64_t batch);
struct row_finding row_finding_of(const struct finding *finding, struct buffer *rule_room);

/* --- Batches ----------------------------------------------------------------------------------------- */

struct batch_record {
    int64_t batch;
    struct text file_name;
    int64_t file_bytes;
    const uint8_t *file_digest;
    int64_t first_row, row_count, unreadable_count, repeated_count;
    int32_t received_on, today;
    struct text posted_at;
    int64_t rules, load;
    const uint8_t *rules_digest;
};

/* The digests over what belongs to a batch, each in its own order. */
struct batch_canonical {
    struct canonical rows, unreadable, repeated, followups, followup_parts;
};

void batch_canonical_begin(struct batch_canonical *canonical);
void batch_canonical_row(struct batch_canonical *canonical, const uint8_t row_digest[DIGEST_BYTES]);
void batch_canonical_unreadable(struct batch_canonical *canonical, int64_t line, struct text dealer,
                                struct text claim, struct text message);
void batch_canonical_repeated(struct batch_canonical *canonical, int64_t line, int64_t row);

struct followup {
    int64_t row, number;
    struct text vin, followup, part, part_key;
    int32_t due_on;
};
void batch_canonical_followup(struct batch_canonical *canonical, const struct followup *followup);
void batch_canonical_followup_part(struct batch_canonical *canonical, int64_t supplied_by, int64_t row,
                                   int64_t number);

void batch_digest(const struct batch_record *batch, struct batch_canonical *canonical,
                  uint8_t ret_digest[DIGEST_BYTES]);

/* --- Rules ------------------------------------------------------------------------------------------- */

void rules_canonical_begin(struct canonical *canonical);
void rules_canonical_file(struct canonical *canonical, struct text path,
                          const uint8_t file_digest[DIGEST_BYTES]);

/* BLAKE2b-256 of bytes as they are. */
void bytes_digest(struct text bytes, uint8_t ret_digest[DIGEST_BYTES]);

/* --- Blocks of rows (row_blocks.records) ------------------------------------------------------------- */

void row_block_add(struct buffer *block, const uint8_t digest[DIGEST_BYTES], struct text content);

/* Takes the next record from rest; false at the end, and where the bytes are no block (then rest->length > 0).
 */
bool row_block_next(struct text *rest, const uint8_t **ret_digest, struct text *ret_content);

#endif
