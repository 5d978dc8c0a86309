#include <inttypes.h>
#include <stdio.h>
#include <unistd.h>

#include "base/status.h"
#include "cli/command.h"
#include "ledger/verify.h"

static bool read_hash(const char *word, uint8_t ret_hash[DIGEST_BYTES])
{
    size_t length = 0;
    const char *end = NULL;

    return sodium_hex2bin(ret_hash, DIGEST_BYTES, word, strlen(word), NULL, &length, &end) == 0 &&
           length == DIGEST_BYTES && *end == '\0';
}

static void show_progress(void *context, const char *what, uint64_t done, uint64_t all)
{
    (void)context;
    fprintf(stderr, "\r%s %d %%\033[K", what, all > 0 ? (int)(done * 100 / all) : 100);
}

static void write_result(const struct verify_options *options, const struct verify_result *result,
                         struct buffer *words)
{
    char hash[DIGEST_BYTES * 2 + 1];

    buffer_format(
        words, "%" PRIu64 " loads, %" PRIu64 " batches with %" PRIu64 " claims, %" PRIu64 " office decisions\n",
        result->loads, result->batches, result->rows, result->decisions);
    if (result->outlier_runs > 0)
        buffer_format(words, "%" PRIu64 " comparisons of dealers\n", result->outlier_runs);
    if (result->samples > 0)
        buffer_format(words, "%" PRIu64 " samples, %" PRIu64 " chargebacks\n", result->samples, result->chargebacks);
    if (options->again)
        buffer_format(words, "%" PRIu64 " claims decided again\n", result->decided_again);
    if (result->found_entry > 0)
        buffer_format(words, "the hash given is that of entry %" PRId64 "\n", result->found_entry);
    sodium_bin2hex(hash, sizeof hash, result->head.digest, DIGEST_BYTES);
    buffer_format(words, "head of the chain, entry %" PRId64 ": %s\n", result->head.entry, hash);
    buffer_add_string(words, result->faults == 0 ? "everything fits\n" : "it does not fit\n");
}

static int print_result(const struct options *options, const struct verify_options *verify,
                        const struct verify_result *result, struct diag_sink *sink)
{
    int code = result->faults == 0 ? EXIT_DONE : EXIT_FOUND;
    struct buffer words = BUFFER_EMPTY;
    struct output out;

    if (options->quiet)
        return code;
    write_result(verify, result, &words);
    int status = words.failed ? WM_NO_MEMORY : output_open(&out, options->out, sink);
    if (words.failed)
        diag_error(sink, (struct place){text_of(options->office), 0, 0},
                   "out of memory; the result could not be printed, run it again");
    if (status != WM_OK) {
        buffer_free(&words);
        return cli_exit(status);
    }
    output_add(&out, words.bytes, words.length);
    buffer_free(&words);
    return cli_finish(&out, sink, code);
}

static int run_verify(const struct options *options)
{
    struct diag_sink sink = cli_diagnostics();
    struct office *office = NULL;
    struct verify_result result;
    uint8_t head[DIGEST_BYTES];
    bool progress = !options->quiet && isatty(STDERR_FILENO);
    const char *hash = options->given[OPTION_HEAD];

    if (hash != NULL && !read_hash(hash, head)) {
        diag_error(&sink, (struct place){{NULL, 0}, 0, 0},
                   "--head \"%s\" is no hash; write the 64 digits that `verify` printed", hash);
        return EXIT_UNUSABLE;
    }
    const struct verify_options verify = {.again = options->again,
                                          .head = hash != NULL ? head : NULL,
                                          .threads = options->threads,
                                          .progress = progress ? show_progress : NULL};
    int status = office_open(options->office, OFFICE_PROVE, &sink, &office);
    if (status == WM_OK)
        status = ledger_verify(office, &verify, &sink, &result);
    if (progress)
        fputs("\r\033[K", stderr);
    office_close(office);
    return status == WM_OK ? print_result(options, &verify, &result, &sink) : cli_exit(status);
}

const struct command COMMAND_VERIFY = {
    .name = "verify",
    .arguments = "",
    .summary = "reads every record again and says whether the office file is as it was recorded",
    .details = "Prints the head of the chain: write it down elsewhere, and --head HASH proves later that "
               "nothing up to\n"
               "there was changed or cut off. Exit code 1: something does not fit.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_QUIET) |
               OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_THREADS) | OPTION_BIT(OPTION_HEAD) |
               OPTION_BIT(OPTION_AGAIN),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_verify,
};
