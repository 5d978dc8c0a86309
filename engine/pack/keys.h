/* keys.h - the office's keys for packs: made, kept in files, shown as fingerprints, and remembered by dealers.
 *
 * A secret key file is text of two lines: what it is, and the key in base64. It is made anew with mode 0600,
 * never over another file, never through a symbolic link; one that others may read is refused. It is never
 * printed. The public key stands beside it under the same name with ".pub", and that is what dealers get.
 *
 * A dealer's machine remembers the key of the first pack that it uses, in `witnessmark/office.pub` under
 * $XDG_CONFIG_HOME (or $HOME/.config): not beside the pack, where whoever puts another pack could put another
 * key.
 */
#ifndef WM_PACK_KEYS_H
#define WM_PACK_KEYS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/diag.h"
#include "base/text.h"

enum { KEY_PUBLIC_BYTES = 32, KEY_SECRET_BYTES = 64, KEY_FINGERPRINT_ROOM = 48 };

struct secret_key {
    uint8_t bytes[KEY_SECRET_BYTES];
};

struct public_key {
    uint8_t bytes[KEY_PUBLIC_BYTES];
};

/* Makes a pair of keys in the files path and path.pub. */
int keys_make(const char *path, struct diag_sink *sink, struct public_key *ret_public);

/* The caller wipes the key with secret_key_wipe. */
int secret_key_read(const char *path, struct diag_sink *sink, struct secret_key *ret_key);
void secret_key_wipe(struct secret_key *key);
struct public_key secret_key_public(const struct secret_key *key);

/* A file that keys_make wrote, or the key itself as its line stands there. */
int public_key_read(const char *word, struct diag_sink *sink, struct public_key *ret_key);

/* The first 16 bytes of the BLAKE2b-256 of the key, as people compare it: "3f2a 90c1 ...". NUL-terminated. */
void public_key_fingerprint(const struct public_key *key, char room[KEY_FINGERPRINT_ROOM]);

/* The key that this machine remembers. WM_NOT_FOUND: none yet. *ret_path, which the caller frees, is where it
 * is kept in any case but WM_NO_MEMORY; NULL where there is no such place ($XDG_CONFIG_HOME and $HOME are not
 * set). */
int pinned_key_read(struct diag_sink *sink, char **ret_path, struct public_key *ret_key);

/* Remembers it, for the first time. */
int pinned_key_write(const char *path, const struct public_key *key, struct diag_sink *sink);

#endif
