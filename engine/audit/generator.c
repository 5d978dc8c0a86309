#include "audit/generator.h"

#include <assert.h>
#include <sodium.h>

static const uint8_t NONCE[crypto_stream_chacha20_ietf_NONCEBYTES];

void generator_start(struct generator *ret_generator, struct text seed)
{
    *ret_generator = (struct generator){.used = GENERATOR_BLOCK_BYTES};
    crypto_generichash(ret_generator->key, GENERATOR_KEY_BYTES, (const unsigned char *)seed.bytes, seed.length,
                       NULL, 0);
}

static void next_block(struct generator *generator)
{
    static const uint8_t ZEROS[GENERATOR_BLOCK_BYTES];

    crypto_stream_chacha20_ietf_xor_ic(generator->block, ZEROS, GENERATOR_BLOCK_BYTES, NONCE,
                                       generator->next_block++, generator->key);
    generator->used = 0;
}

uint64_t generator_next(struct generator *generator)
{
    uint64_t number = 0;

    if (generator->used == GENERATOR_BLOCK_BYTES)
        next_block(generator);
    for (unsigned i = 0; i < 8; i++)
        number |= (uint64_t)generator->block[generator->used + i] << (8 * i);
    generator->used += 8;
    return number;
}

uint64_t generator_below(struct generator *generator, uint64_t bound)
{
    assert(bound > 0);
    uint64_t passed_over = -bound % bound; /* 2^64 modulo the bound */
    uint64_t number = generator_next(generator);

    while (number < passed_over)
        number = generator_next(generator);
    return number % bound;
}

void generator_new_seed(char room[SEED_ROOM])
{
    uint8_t bytes[(SEED_ROOM - 1) / 2];

    randombytes_buf(bytes, sizeof bytes);
    sodium_bin2hex(room, SEED_ROOM, bytes, sizeof bytes);
}
