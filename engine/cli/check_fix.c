#include "cli/check_fix.h"

#include <stdio.h>
#include <sys/stat.h>

#include "base/status.h"
#include "cli/fix_claims.h"
#include "intake/spreadsheet.h"

struct fix_run {
    const struct options *options;
    struct desk desk;
    struct language *language;
    struct csv_source source;
    struct output copy;
    struct buffer words;
};

/* The copy over the file itself would leave nothing to go back to. */
static bool is_same_file(const char *one, const char *other)
{
    struct stat a, b;

    return stat(one, &a) == 0 && stat(other, &b) == 0 && a.st_dev == b.st_dev && a.st_ino == b.st_ino;
}

static void add_end(struct fix_run *run, const struct fixing *fixing)
{
    char changes[DECIMAL_ROOM], rows[DECIMAL_ROOM], all[DECIMAL_ROOM];

    SAY(run->language, &run->words, fixing->changes > 0 ? SENTENCE_fix_summary : SENTENCE_fix_none,
        {"changes", {changes, whole_write(fixing->changes, changes)}},
        {"rows", {rows, whole_write(fixing->rows_changed, rows)}},
        {"all", {all, whole_write(fixing->rows, all)}}, {"file", text_of(run->options->given[OPTION_FIX])});
    buffer_add_byte(&run->words, '\n');
}

static int write_copy(struct fix_run *run)
{
    const struct options *options = run->options;
    struct fixing fixing = {&run->desk, NULL, options->given[OPTION_FIX_VIN] != NULL, &run->words, 0, 0, 0};
    struct csv_scan scan;
    int status = desk_open(&run->desk, options);

    if (status == WM_OK)
        status = language_open(&run->desk.arena, run->desk.rules, options->given[OPTION_LANG], &run->desk.sink,
                               &run->language);
    fixing.language = run->language;
    if (status == WM_OK)
        status = claims_source_open(&run->source, options->arguments[0], options->separator, &run->desk.sink);
    if (status == WM_OK)
        status = csv_source_scan(&run->source, false, &scan, &run->desk.sink);
    if (status == WM_OK)
        status = output_open(&run->copy, options->given[OPTION_FIX], &run->desk.sink);
    if (status != WM_OK)
        return status;
    status = desk_end_reading(&run->desk, fix_claims(&fixing, &run->source, &run->copy));
    if (status == WM_OK)
        status = output_close(&run->copy, &run->desk.sink);
    else
        output_drop(&run->copy);
    add_end(run, &fixing);
    return status == WM_OK && run->words.failed ? WM_NO_MEMORY : status;
}

static int print_changes(struct fix_run *run)
{
    struct output output;
    int status = output_open(&output, run->options->out, &run->desk.sink);

    if (status != WM_OK)
        return cli_exit(status);
    output_add(&output, run->words.bytes, run->words.length);
    return cli_finish(&output, &run->desk.sink, EXIT_DONE);
}

static const char *what_does_not_fit(const struct options *options)
{
    if (options->argument_count != 1)
        return "--fix corrects one file at a time";
    if (options->findings != NULL)
        return "--fix lists its changes and checks nothing; leave out --findings, and check the copy";
    if (is_same_file(options->given[OPTION_FIX], options->arguments[0]))
        return "--fix writes a copy; give it another name than the file has";
    return NULL;
}

int check_fix(const struct options *options)
{
    struct fix_run run = {.options = options, .source = {.descriptor = -1}};
    const char *wrong = what_does_not_fit(options);

    if (wrong != NULL) {
        fprintf(stderr, "witnessmark: %s\n", wrong);
        return EXIT_UNUSABLE;
    }
    int status = write_copy(&run);
    int code = status == WM_OK ? print_changes(&run) : cli_exit(status);
    csv_source_close(&run.source);
    buffer_free(&run.words);
    language_close(run.language);
    desk_close(&run.desk);
    return code;
}
