/* sealed.h - a pack as a file: sections of bytes in blocks, a tree of digests over the blocks, one signature.
 *
 * Why a format of its own and not SQLite: of 100 MB and more, one claim needs a dozen blocks, and none of them
 * may be believed unread. So each block has a digest, and these stand in blocks that have digests, up to a
 * root; the head holds the root and is signed with Ed25519. A block is read into memory, checked up to the
 * root, and used from there; the file is never mapped, so that nothing can change between check and use. A pack
 * of up to SEALED_CHECK_WHOLE bytes is checked whole at opening. In a larger one a changed byte that nobody
 * asks for is not found until it is asked for or until sealed_check (`pack show`); it can change no answer.
 *
 * The file, all numbers little-endian:
 *   head    4096 bytes: "WITNESSMARK PACK", version (4), ... as struct pack_head, zeros, and behind 4032 bytes
 *           the signature (64) of those
 *   data    blocks of 8192 bytes, the sections one after the other, each from a new block on, ended by zeros
 *   tree    blocks of 256 digests (BLAKE2b-256): of the data blocks, then of these, until it is one block; its
 *           digest is the root
 * The length of the file follows from the head. Every byte is covered by the signature.
 *
 * A reader is for one thread at a time.
 */
#ifndef WM_PACK_SEALED_H
#define WM_PACK_SEALED_H

#include <stdbool.h>
#include <stdint.h>

#include "base/buffer.h"
#include "base/date.h"
#include "base/diag.h"
#include "base/file.h"
#include "pack/keys.h"
#include "pack/vin_lock.h"

enum {
    PACK_VERSION = 1,
    PACK_HEAD_BYTES = 4096,
    PACK_BLOCK_BYTES = 8192,
    PACK_DIGEST_BYTES = 32,
    PACK_NONCE_BYTES = 24,
    PACK_DEALER_BYTES = 255, /* of a dealer's code, at most */
    SEALED_CHECK_WHOLE = 8 * 1024 * 1024
};

enum pack_part {
    PART_RULES,    /* the files of the rules folder */
    PART_PROFILES, /* what vehicles have in common, and what is complete on vehicles */
    PART_VEHICLES, /* tags and covered records */
    PART_OWN,      /* the dealer's own; empty in a pack for all */
    PACK_PARTS
};

struct pack_head {
    uint8_t public_key[KEY_PUBLIC_BYTES];
    uint8_t state[PACK_DIGEST_BYTES]; /* of the office, as far as the vehicles depend on it */
    int32_t made_on, valid_to;
    struct vin_lock lock;
    uint8_t own_nonce[PACK_NONCE_BYTES];
    bool check_digits_hold; /* every registered VIN of 17 characters has the right check digit */
    bool some_campaigns;    /* made with --campaign: the rules have no others */
    uint64_t vehicles;      /* entries in PART_VEHICLES */
    struct text dealer;     /* empty: for all dealers */
    struct {
        uint64_t first_block, bytes;
    } parts[PACK_PARTS];
    uint64_t data_blocks;
    uint8_t root[PACK_DIGEST_BYTES];
};

/* --- Writing ----------------------------------------------------------------------------------------- */

/* A pack on its way: all data blocks in memory, and the head as far as it is known. */
struct pack_draft {
    struct pack_head head;
    struct buffer data; /* whole blocks */
};

/* Adds a part; each once, in their order. */
void pack_draft_add(struct pack_draft *draft, enum pack_part part, struct text bytes);

/* Signs and writes it all. The head's root, public key, and numbers of blocks are filled in here. */
int pack_draft_seal(struct pack_draft *draft, const struct secret_key *key, struct output *output);

void pack_draft_free(struct pack_draft *draft);

/* --- Reading ----------------------------------------------------------------------------------------- */

struct sealed;

/* Opens, and checks the head's signature, under the key that the head names, and the length. WM_IO,
 * WM_BAD_INPUT with a diagnostic. Whether that key is to be trusted, and the date, is the caller's question. */
int sealed_open(const char *path, struct diag_sink *sink, struct sealed **ret_sealed);
void sealed_close(struct sealed *sealed); /* accepts NULL */

/* Texts in it live as long as the reader. */
const struct pack_head *sealed_head(const struct sealed *sealed);
const char *sealed_path(const struct sealed *sealed);

/* `block` of a part, counted from 0: PACK_BLOCK_BYTES of them, checked. Valid until the next call. WM_IO: it
 * was changed or cannot be read; sealed_error says so. */
int sealed_block(struct sealed *sealed, enum pack_part part, uint64_t block, const uint8_t **ret_bytes);

/* A whole part, appended to out. */
int sealed_part(struct sealed *sealed, enum pack_part part, struct buffer *out);

/* Checks every block. */
int sealed_check(struct sealed *sealed);

/* What went wrong last, in words. */
struct text sealed_error(const struct sealed *sealed);

#endif
