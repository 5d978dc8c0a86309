#include "pack/keys.h"

#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/buffer.h"
#include "base/file.h"
#include "base/status.h"

static const char SECRET_LINE[] = "witnessmark secret key 1; keep it to yourself";
static const char PUBLIC_LINE[] = "witnessmark public key 1";

enum { FILE_MOST_BYTES = 4096, BASE64_ROOM = 128 };

static struct place place_of(const char *path)
{
    return (struct place){text_of(path), 0, 0};
}

static int cannot(struct diag_sink *sink, const char *path, const char *what)
{
    diag_error(sink, place_of(path), "%s: %s", what, strerror(errno));
    return WM_IO;
}

/* --- Writing ----------------------------------------------------------------------------------------- */

/* O_EXCL neither takes a file that is there nor follows a link. */
static int write_key(const char *path, mode_t mode, const char *first_line, const uint8_t *bytes, size_t length,
                     struct diag_sink *sink)
{
    char base64[BASE64_ROOM], words[BASE64_ROOM + 80];
    int descriptor = open(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, mode);

    if (descriptor < 0 && errno == EEXIST) {
        diag_error(sink, place_of(path),
                   "there is a file of this name already; a key is never written over one, "
                   "choose another name");
        return WM_BAD_INPUT;
    }
    if (descriptor < 0)
        return cannot(sink, path, "cannot write the key");
    sodium_bin2base64(base64, sizeof base64, bytes, length, sodium_base64_VARIANT_ORIGINAL);
    int size = snprintf(words, sizeof words, "%s\n%s\n", first_line, base64);
    bool written = descriptor_write(descriptor, words, (size_t)size) && fsync(descriptor) == 0;
    int failure = errno;
    written = close(descriptor) == 0 && written;
    sodium_memzero(words, sizeof words);
    sodium_memzero(base64, sizeof base64);
    if (written)
        return WM_OK;
    errno = failure;
    unlink(path);
    return cannot(sink, path, "cannot write the key");
}

int keys_make(const char *path, struct diag_sink *sink, struct public_key *ret_public)
{
    struct public_key public;
    struct secret_key secret;
    size_t room = strlen(path) + 5;
    char *public_path = malloc(room);

    if (public_path == NULL || sodium_init() < 0) {
        free(public_path);
        return WM_NO_MEMORY;
    }
    snprintf(public_path, room, "%s.pub", path);
    crypto_sign_keypair(public.bytes, secret.bytes);
    int status = write_key(path, 0600, SECRET_LINE, secret.bytes, sizeof secret.bytes, sink);
    if (status == WM_OK) {
        status = write_key(public_path, 0644, PUBLIC_LINE, public.bytes, sizeof public.bytes, sink);
        if (status != WM_OK)
            unlink(path);
    }
    secret_key_wipe(&secret);
    free(public_path);
    if (status == WM_OK)
        *ret_public = public;
    return status;
}

/* --- Reading ----------------------------------------------------------------------------------------- */

static bool decode(struct text line, uint8_t *bytes, size_t length)
{
    size_t got = 0;
    const char *end = NULL;

    return line.length > 0 &&
           sodium_base642bin(bytes, length, line.bytes, line.length, NULL, &got, &end,
                             sodium_base64_VARIANT_ORIGINAL) == 0 &&
           got == length && end == line.bytes + line.length;
}

/* The key in the second line behind this first one. */
static bool decode_file(struct text words, const char *first_line, uint8_t *bytes, size_t length)
{
    struct text first, rest, second;

    return text_cut(words, '\n', &first, &rest) && text_equal(text_trim(first), text_of(first_line)) &&
           (text_cut(rest, '\n', &second, &rest) || second.length > 0) && text_trim(rest).length == 0 &&
           decode(text_trim(second), bytes, length);
}

static int read_secret(int descriptor, const char *path, struct diag_sink *sink, struct secret_key *ret_key)
{
    char words[FILE_MOST_BYTES];
    struct stat about;
    struct secret_key key;

    if (fstat(descriptor, &about) != 0 || !S_ISREG(about.st_mode)) {
        diag_error(sink, place_of(path), "this is no regular file; name the file of the secret key");
        return WM_BAD_INPUT;
    }
    if ((about.st_mode & 077) != 0) {
        diag_error(sink, place_of(path),
                   "others may read this secret key; run `chmod 600` on it, and make a new "
                   "one if somebody could have read it");
        return WM_BAD_INPUT;
    }
    ssize_t length = descriptor_read(descriptor, words, sizeof words);
    if (length < 0)
        return cannot(sink, path, "cannot read the key");
    bool is_key = decode_file((struct text){words, (size_t)length}, SECRET_LINE, key.bytes, sizeof key.bytes);
    sodium_memzero(words, sizeof words);
    if (!is_key) {
        diag_error(sink, place_of(path), "this is no secret key; name the file that `pack keygen` made");
        return WM_BAD_INPUT;
    }
    *ret_key = key;
    secret_key_wipe(&key);
    return WM_OK;
}

int secret_key_read(const char *path, struct diag_sink *sink, struct secret_key *ret_key)
{
    int descriptor = open(path, O_RDONLY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK);

    if (descriptor < 0 && errno == ELOOP) {
        diag_error(sink, place_of(path), "this is a link; name the file of the secret key itself");
        return WM_BAD_INPUT;
    }
    if (descriptor < 0)
        return cannot(sink, path, "cannot open the key");
    int status = sodium_init() < 0 ? WM_NO_MEMORY : read_secret(descriptor, path, sink, ret_key);
    close(descriptor);
    return status;
}

void secret_key_wipe(struct secret_key *key)
{
    sodium_memzero(key, sizeof *key);
}

struct public_key secret_key_public(const struct secret_key *key)
{
    struct public_key public;

    crypto_sign_ed25519_sk_to_pk(public.bytes, key->bytes);
    return public;
}

static int read_public_file(const char *path, struct diag_sink *sink, struct public_key *ret_key)
{
    struct buffer words = BUFFER_EMPTY;
    struct public_key key;
    int status = file_read(path, FILE_MOST_BYTES, &words, sink);

    if (status == WM_OK && !decode_file(buffer_text(&words), PUBLIC_LINE, key.bytes, sizeof key.bytes)) {
        diag_error(sink, place_of(path),
                   "this is no public key; name the file ending in .pub that the office sent");
        status = WM_BAD_INPUT;
    }
    buffer_free(&words);
    if (status == WM_OK)
        *ret_key = key;
    return status;
}

/* The key itself, or the file that it stands in. */
static int read_public(const char *word, struct diag_sink *sink, struct public_key *ret_key)
{
    struct public_key key;

    if (decode(text_trim(text_of(word)), key.bytes, sizeof key.bytes)) {
        *ret_key = key;
        return WM_OK;
    }
    return read_public_file(word, sink, ret_key);
}

int public_key_read(const char *word, struct diag_sink *sink, struct public_key *ret_key)
{
    return sodium_init() < 0 ? WM_NO_MEMORY : read_public(word, sink, ret_key);
}

void public_key_fingerprint(const struct public_key *key, char room[KEY_FINGERPRINT_ROOM])
{
    enum { SHOWN_BYTES = 16 };
    uint8_t digest[crypto_generichash_BYTES];
    size_t length = 0;

    crypto_generichash(digest, sizeof digest, key->bytes, sizeof key->bytes, NULL, 0);
    for (size_t i = 0; i < SHOWN_BYTES; i++)
        length += (size_t)snprintf(room + length, KEY_FINGERPRINT_ROOM - length, "%s%02x",
                                   i > 0 && i % 2 == 0 ? " " : "", digest[i]);
}

/* --- The key of the first use ------------------------------------------------------------------------ */

static char *pinned_path(void)
{
    const char *config = getenv("XDG_CONFIG_HOME"), *home = getenv("HOME");
    bool has_config = config != NULL && config[0] == '/', has_home = home != NULL && home[0] == '/';
    char *path = NULL;

    /* only whole paths count, as the XDG base directory specification says */
    if (!has_config && !has_home)
        return NULL;
    if (asprintf(&path, "%s%s/witnessmark/office.pub", has_config ? config : home,
                 has_config ? "" : "/.config") < 0)
        return NULL;
    return path;
}

int pinned_key_read(struct diag_sink *sink, char **ret_path, struct public_key *ret_key)
{
    struct stat about;

    *ret_path = pinned_path();
    if (*ret_path == NULL || (stat(*ret_path, &about) != 0 && errno == ENOENT))
        return WM_NOT_FOUND;
    return sodium_init() < 0 ? WM_NO_MEMORY : read_public_file(*ret_path, sink, ret_key);
}

/* Makes the folders above a file; what is wrong with them shows when the file is written. */
static void make_folders(const char *path)
{
    char *copy = strdup(path);

    for (char *at = copy != NULL ? strchr(copy + 1, '/') : NULL; at != NULL; at = strchr(at + 1, '/')) {
        *at = '\0';
        mkdir(copy, 0700);
        *at = '/';
    }
    free(copy);
}

int pinned_key_write(const char *path, const struct public_key *key, struct diag_sink *sink)
{
    make_folders(path);
    return write_key(path, 0644, PUBLIC_LINE, key->bytes, sizeof key->bytes, sink);
}
