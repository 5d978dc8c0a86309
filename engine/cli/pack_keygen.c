#include "base/status.h"
#include "cli/command.h"
#include "pack/keys.h"

static int run_keygen(const struct options *options)
{
    struct diag_sink sink = cli_diagnostics();
    char fingerprint[KEY_FINGERPRINT_ROOM];
    const char *path = options->arguments[0];
    struct buffer words = BUFFER_EMPTY;
    struct public_key public;
    int status = keys_make(path, &sink, &public);

    if (status != WM_OK)
        return cli_exit(status);
    public_key_fingerprint(&public, fingerprint);
    buffer_format(
        &words,
        "secret key: %s (keep it to yourself, and a copy in a safe place)\n"
        "public key: %s.pub (give it to dealers)\nfingerprint: %s (tell it to dealers by another way)\n",
        path, path, fingerprint);
    return cli_say_recorded(&words, &sink);
}

const struct command COMMAND_PACK_KEYGEN = {
    .name = "pack keygen",
    .arguments = "FILE",
    .summary = "makes the keys that packs are signed with: FILE, the secret one, and FILE.pub",
    .details = "",
    .options = 0,
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_keygen,
};
