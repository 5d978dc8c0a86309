/* generator.h - the random numbers that samples are drawn with: the key stream of ChaCha20, so that anybody can
 * draw a sample again on any machine, and nobody can choose a seed that gives the claims he wants but by
 * trying.
 *
 * The key is the BLAKE2b-256 of the seed's bytes, the nonce is twelve zero bytes, blocks count from 0 (RFC
 * 8439, by libsodium). A number is eight bytes of the stream, little-endian. A number below a bound is the
 * remainder, and numbers below 2^64 modulo the bound are passed over, so that every remainder is as likely as
 * another. Whole numbers alone.
 */
#ifndef WM_AUDIT_GENERATOR_H
#define WM_AUDIT_GENERATOR_H

#include <stdint.h>

#include "base/text.h"

/* How records name it. */
#define GENERATOR_NAME "ChaCha20 (RFC 8439), key BLAKE2b-256 of the seed"

enum { GENERATOR_BLOCK_BYTES = 64, GENERATOR_KEY_BYTES = 32, SEED_ROOM = 17 };

struct generator {
    uint8_t key[GENERATOR_KEY_BYTES];
    uint8_t block[GENERATOR_BLOCK_BYTES];
    uint32_t next_block, used; /* used: bytes of block */
};

void generator_start(struct generator *ret_generator, struct text seed);
uint64_t generator_next(struct generator *generator);

/* 0 to bound - 1; bound > 0. */
uint64_t generator_below(struct generator *generator, uint64_t bound);

/* A seed of 16 hexadecimal digits from the machine's own randomness, ended by NUL. */
void generator_new_seed(char room[SEED_ROOM]);

#endif
