#include "pack/vin_lock.h"

#include <sodium.h>

#include "base/buffer.h"
#include "base/status.h"
#include "pack/bytes.h"

/* What is hashed says what it is, so that no dealer's code can stand for a VIN. */
static int slow_hash(const struct vin_lock *lock, const char *kind, struct text words,
                     uint8_t ret_hash[LOCK_KEY_BYTES])
{
    struct buffer password = BUFFER_EMPTY;

    buffer_add_string(&password, kind);
    buffer_add_byte(&password, '\0');
    buffer_add_text(&password, words);
    int failed = password.failed || sodium_init() < 0 ||
                 crypto_pwhash(ret_hash, LOCK_KEY_BYTES, password.bytes, password.length, lock->salt,
                               crypto_pwhash_argon2id_OPSLIMIT_MIN, (size_t)lock->work_kib * 1024,
                               crypto_pwhash_ALG_ARGON2ID13) != 0;
    buffer_free(&password);
    return failed ? WM_NO_MEMORY : WM_OK;
}

int vin_lock_vehicle(const struct vin_lock *lock, struct text vin, struct vin_key *ret_key)
{
    uint8_t hash[LOCK_KEY_BYTES];
    int status = slow_hash(lock, "vehicle", vin, hash);

    if (status != WM_OK)
        return status;
    struct byte_reader reader = {hash, hash + sizeof hash, false};
    ret_key->tag = take_8(&reader);
    memcpy(ret_key->pad, take_bytes(&reader, LOCK_PAD_BYTES), LOCK_PAD_BYTES);
    return WM_OK;
}

int vin_lock_dealer(const struct vin_lock *lock, struct text dealer, uint8_t ret_key[LOCK_KEY_BYTES])
{
    return slow_hash(lock, "dealer", dealer, ret_key);
}
