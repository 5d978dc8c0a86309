#include <stdio.h>

#include "base/status.h"
#include "cli/desk.h"
#include "cli/language.h"

struct listing {
    const struct options *options;
    struct desk desk; /* the rules only */
    struct language *language;
    struct buffer words;
};

static int add_message(void *taker, const struct message *message)
{
    struct buffer *out = taker;

    buffer_add_csv(out, message->key);
    buffer_add_byte(out, ',');
    buffer_add_csv(out, message->text);
    buffer_add_byte(out, ',');
    buffer_add_csv(out, message->original);
    buffer_add_byte(out, '\n');
    return out->failed ? WM_NO_MEMORY : WM_OK;
}

/* A language that has no file yet is begun with empty texts. */
static int find_language(struct listing *listing, const char **ret_code)
{
    const char *code = listing->options->argument_count > 0 ? listing->options->arguments[0] : NULL;
    struct text path = text_format(&listing->desk.arena, "messages/%s.csv", code != NULL ? code : "");

    if (path.bytes == NULL)
        return WM_NO_MEMORY;
    *ret_code = rules_files_find(&listing->desk.files, path) != NULL ? code : NULL;
    return WM_OK;
}

static int list_messages(struct listing *listing, uint32_t *ret_missing)
{
    const char *code = NULL;
    int status = desk_open_rules(&listing->desk, listing->options);

    if (status == WM_OK)
        status = find_language(listing, &code);
    if (status == WM_OK)
        status = language_open(&listing->desk.arena, listing->desk.rules, code, &listing->desk.sink,
                               &listing->language);
    buffer_add_string(&listing->words, "key,text,english\n");
    if (status == WM_OK)
        status = language_messages(listing->language, add_message, &listing->words);
    return status == WM_OK ? language_check(listing->language, &listing->desk.sink, ret_missing) : status;
}

static int print_messages(struct listing *listing, uint32_t missing)
{
    struct output output;
    int status = output_open(&output, listing->options->out, &listing->desk.sink);

    if (status != WM_OK)
        return cli_exit(status);
    output_add(&output, listing->words.bytes, listing->words.length);
    if (listing->options->argument_count > 0 && missing > 0)
        fprintf(stderr, "%u texts are not translated; fill in their column text\n", missing);
    bool found = listing->desk.sink.errors > 0 || (listing->options->argument_count > 0 && missing > 0);
    return cli_finish(&output, &listing->desk.sink, found ? EXIT_FOUND : EXIT_DONE);
}

static int run_messages(const struct options *options)
{
    struct listing listing = {.options = options};
    uint32_t missing = 0;
    int status = list_messages(&listing, &missing);
    int code = status == WM_OK ? print_messages(&listing, missing) : cli_exit(status);

    language_close(listing.language);
    buffer_free(&listing.words);
    desk_close(&listing.desk);
    return code;
}

const struct command COMMAND_RULES_MESSAGES = {
    .name = "rules messages",
    .arguments = "[LANGUAGE]",
    .summary = "every text that dealers read, as a message file to translate; names what is missing or wrong",
    .details = "A translation is the file messages/LANGUAGE.csv of the rules folder: fill in the column text "
               "and keep\n"
               "every {place}. Exit code 1: some text is missing, or has other places than the English one.\n",
    .options = OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_OUT),
    .least_arguments = 0,
    .most_arguments = 1,
    .run = run_messages,
};
