#include "base/limits.h"
#include "base/status.h"
#include "cli/command.h"
#include "rules/rules.h"

/* The errors of the rules are the result here: they go to the output, as text, CSV or JSON lines. */
struct linting {
    const struct options *options;
    struct arena arena;
    struct output out;
};

static void report(void *context, const struct diag *diag)
{
    struct linting *linting = context;
    char line[LIMIT_MESSAGE_BYTES + 512];
    size_t length = diag_write(diag, line, sizeof line);

    if (diag->severity == SEVERITY_WARNING)
        output_add(&linting->out, "warning: ", 9);
    output_add(&linting->out, line, length);
    output_add(&linting->out, "\n", 1);
}

static uint32_t table_count(const struct rules *rules)
{
    uint32_t count = 1;

    for (uint32_t i = 0; i < rules->campaign_count; i++)
        for (int which = 0; which < CAMPAIGN_TABLES; which++)
            count += campaign_table(&rules->campaigns[i], (enum campaign_table)which) != NULL;
    for (int scope = 0; scope < SCOPES; scope++)
        count += rules->check_count[scope];
    return count;
}

static void say_clean(struct linting *linting, const struct rules *rules)
{
    struct buffer words = BUFFER_EMPTY;

    buffer_format(&words, "%s: %u tables and %u campaigns can be used\n", linting->options->rules, table_count(rules),
                  rules->campaign_count);
    output_add(&linting->out, words.bytes, words.length);
    buffer_free(&words);
}

static int run_rules_lint(const struct options *options)
{
    struct linting linting = {.options = options};
    struct diag_sink to_user = cli_diagnostics(), findings = {report, &linting, 0, 0};
    struct rules_files files;
    struct rules *rules = NULL;

    if (output_open(&linting.out, options->out, &to_user) != WM_OK)
        return EXIT_UNUSABLE;
    int status = rules_files_read(options->rules, &linting.arena, &to_user, &files);
    int code = status == WM_OK ? EXIT_DONE : cli_exit(status);
    if (code == EXIT_DONE) {
        status = rules_compile(&linting.arena, &files, &findings, &rules);
        code = status == WM_BAD_INPUT || findings.warnings > 0 ? EXIT_FOUND : cli_exit(status);
    }
    if (code == EXIT_DONE && !options->quiet)
        say_clean(&linting, rules);
    code = cli_finish(&linting.out, &to_user, code);
    rules_free(rules);
    arena_free(&linting.arena);
    return code;
}

const struct command COMMAND_RULES_LINT = {
    .name = "rules lint",
    .arguments = "",
    .summary = "names every error in the rules folder, with its place and what to do",
    .details = "Exit code 0: the rules can be used; 1: something was found.\n",
    .options = OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_QUIET),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_rules_lint,
};
