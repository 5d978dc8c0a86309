/* The command line: words ended by line feeds, read as a call; nothing is run. */
#include "fuzz.h"

#include "base/date.h"
#include "base/limits.h"
#include "cli/command.h"

enum { MOST_WORDS = 40 };

static char *said; /* on standard error, owned */
static size_t said_length;

static int read_quietly(int count, char **words, struct call *call)
{
    FILE *terminal = stderr;

    free(said);
    stderr = open_memstream(&said, &said_length);
    must(stderr != NULL, "there is memory");
    int code = cli_read_call(count, words, call);
    fclose(stderr);
    stderr = terminal;
    return code;
}

static void look_at_call(const struct call *call, char *const *words, int count)
{
    const struct options *options = &call->options;
    int found = 0;

    must(said_length == 0, "a call that can be run is read without a word");
    if (call->help)
        return;
    must(options->argument_count >= call->command->least_arguments, "what is needed is there");
    must(call->command->most_arguments < 0 || options->argument_count <= call->command->most_arguments,
         "there is not too much");
    must(options->threads >= 1 && options->threads <= LIMIT_THREADS, "some threads, and not too many");
    must(options->today != DAY_NONE && options->received_on != DAY_NONE, "there is a day");
    must(options->limit >= -1 && options->due_within >= -1, "no count is negative");
    for (int i = 0; i < OPTIONS; i++)
        must(options->given[i] == NULL || (call->command->options & OPTION_BIT(i)) != 0,
             "a command gets the options that it understands");
    for (int i = 0; i < options->argument_count; i++)
        for (int k = 0; k < count; k++)
            found += options->arguments[i] == words[k];
    must(found == options->argument_count, "arguments are words of the call");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length);
    struct call call;
    struct text rest, word;
    char *copy = input_rest(&input, &rest), *words[MOST_WORDS + 2] = {NULL}, *given[MOST_WORDS + 2];
    int count = 0;

    words[count++] = strdup("witnessmark");
    while (count < MOST_WORDS && rest.length > 0) {
        text_cut(rest, '\n', &word, &rest);
        words[count++] = strndup(word.bytes, word.length);
    }
    memcpy(given, words, sizeof given);
    if (count > 1) {
        int code = read_quietly(count, words, &call);
        must(code == EXIT_DONE || code == EXIT_UNUSABLE, "a call can be run, or not");
        if (code == EXIT_DONE) {
            look_at_call(&call, given, count); /* reading puts words in another order */
            free(call.options.parameters);
        } else {
            must(said_length > 0 && said[said_length - 1] == '\n' && strncmp(said, "witnessmark: ", 13) == 0 &&
                     strstr(said, "--help`") != NULL,
                 "what cannot be run is answered by what to do");
            must(strchr(said, '\n') == said + said_length - 1, "in one line");
        }
    }
    for (int i = 0; i < count; i++)
        free(given[i]);
    free(copy);
    return 0;
}
