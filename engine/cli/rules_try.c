#include "base/csv.h"
#include "base/limits.h"
#include "base/status.h"
#include "cli/command.h"
#include "rules/rules.h"
#include "tables/try.h"

/* A table tried out: its text, the dictionary's, the output. */
struct trying {
    const struct options *options;
    struct arena arena;
    struct diag_sink sink;
    struct buffer table, facts_csv;
    struct dictionary *dictionary;
    struct csv_source facts;
    struct output out;
    bool out_open;
    uint64_t errors;
};

static int read_dictionary(struct trying *trying)
{
    struct text path = text_format(&trying->arena, "%s/facts.csv", trying->options->rules);

    if (path.bytes == NULL)
        return WM_NO_MEMORY;
    int status = file_read(path.bytes, LIMIT_RULES_FILE_BYTES, &trying->facts_csv, &trying->sink);
    if (status != WM_OK)
        return status;
    return dictionary_read(&trying->arena, path, buffer_text(&trying->facts_csv), &trying->sink, &trying->dictionary);
}

static int write_piece(void *context, struct text piece)
{
    struct trying *trying = context;

    output_add(&trying->out, piece.bytes, piece.length);
    return trying->out.error == 0 ? WM_OK : WM_IO;
}

static int try_table(struct trying *trying)
{
    const struct options *options = trying->options;
    struct fact_view view = {trying->dictionary, FACTS_OF_ANY_SCOPE, SCOPE_CLAIM};
    struct fact_source dictionary = fact_view_source(&view);
    struct try_source source = {.table_file = text_of(options->arguments[0]),
                                .table_csv = csv_without_mark(buffer_text(&trying->table)),
                                .facts_file = trying->facts.name, .dictionary = &dictionary,
                                .format = options->format == FORMAT_JSON ? TRY_JSON : TRY_CSV};
    struct try_run *run = NULL;

    source.outputs = rules_output_types(&source.output_count);
    int status = try_open(&trying->arena, &source, &trying->sink, &run);
    if (status == WM_OK)
        status = try_facts(run, &trying->facts, write_piece, trying, &trying->sink, &trying->errors);
    try_close(run);
    return status;
}

static int try_all(struct trying *trying)
{
    const struct options *options = trying->options;
    struct csv_scan scan;
    int status = read_dictionary(trying);

    if (status == WM_OK)
        status = file_read(options->arguments[0], LIMIT_RULES_FILE_BYTES, &trying->table, &trying->sink);
    if (status == WM_OK)
        status = csv_source_open(&trying->facts, options->arguments[1], &trying->sink);
    if (status == WM_OK)
        status = csv_source_scan(&trying->facts, false, &scan, &trying->sink);
    if (status == WM_OK)
        status = output_open(&trying->out, options->out, &trying->sink);
    trying->out_open = status == WM_OK;
    return status == WM_OK ? try_table(trying) : status;
}

static int run_rules_try(const struct options *options)
{
    struct trying trying = {.options = options, .sink = cli_diagnostics()};
    int status = try_all(&trying);
    int code = status != WM_OK ? cli_exit(status) : trying.errors > 0 ? EXIT_FOUND : EXIT_DONE;

    if (trying.out_open)
        code = cli_finish(&trying.out, &trying.sink, code);
    csv_source_close(&trying.facts);
    buffer_free(&trying.table);
    buffer_free(&trying.facts_csv);
    arena_free(&trying.arena);
    return code;
}

const struct command COMMAND_RULES_TRY = {
    .name = "rules try",
    .arguments = "TABLE FACTS",
    .summary = "asks one table about each row of a CSV of facts",
    .details = "Prints the columns of FACTS as they stand, then the table's outputs. Needs of the rules folder only\n"
               "facts.csv. Exit code 1: a row met an error of the rules; its first output says !error.\n",
    .options = OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT) |
               OPTION_BIT(OPTION_QUIET),
    .least_arguments = 2,
    .most_arguments = 2,
    .run = run_rules_try,
};
