#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/status.h"
#include "cli/check_fix.h"
#include "cli/check_one.h"
#include "cli/dealer_page.h"
#include "cli/early_scan.h"
#include "cli/summary.h"
#include "cli/write_claims.h"
#include "intake/spreadsheet.h"
#include "ledger/history_source.h"
#include "verdict/batch.h"

/* What a check writes, besides counting. */
struct checking {
    const struct options *options;
    struct desk desk;
    struct ledger_history *ledger;
    struct history *history;
    struct output out, findings;
    bool out_open, findings_open;
    struct text file;             /* of the file at hand, where files are named; bytes NULL: not named */
    uint64_t file_bytes;
    struct summary summary;
    struct language *language;    /* with a pack: of the page that the dealer reads */
    struct dealer_page page;
    struct dealer_counts counts;
    struct early_scan *scan;      /* that may still run beside the deciding of the file at hand, or NULL */
    bool progress;
};

enum { CLAIMS_TEXT, FINDINGS_TEXT };    /* which of a block's buffers */

static int render(void *context, struct decided_block *block)
{
    const struct checking *checking = context;
    struct buffer *claims = &block->rendered[CLAIMS_TEXT];
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < block->count; i++) {
        const struct dossier *dossier = block->dossiers[i];
        if (checking->options->format == FORMAT_CSV)
            write_claim(claims, checking->file, dossier);
        else if (checking->options->format == FORMAT_JSON)
            status = write_claim_json(claims, checking->file, dossier);
        else if (checking->desk.pack != NULL)
            status = dealer_page_write(&checking->page, block->dossiers[i], claims);
        else
            write_claim_text(claims, checking->file, dossier);
        if (checking->findings_open)
            write_findings(&block->rendered[FINDINGS_TEXT], checking->file, dossier);
    }
    return status;
}

static void show_progress(const struct checking *checking, uint64_t bytes_read)
{
    if (checking->progress && checking->file_bytes > 0)
        fprintf(stderr, "\r%3d %%", (int)(bytes_read * 100 / checking->file_bytes));
}

static int deliver(void *context, const struct decided_block *block)
{
    struct checking *checking = context;
    int status = checking->scan != NULL ? early_scan_result(checking->scan) : WM_OK;

    if (status != WM_OK)
        return status;
    output_add(&checking->out, block->rendered[CLAIMS_TEXT].bytes, block->rendered[CLAIMS_TEXT].length);
    if (checking->findings_open)
        output_add(&checking->findings, block->rendered[FINDINGS_TEXT].bytes, block->rendered[FINDINGS_TEXT].length);
    for (uint32_t i = 0; status == WM_OK && i < block->count; i++)
        status = summary_add(&checking->summary, block->dossiers[i]);
    for (uint32_t i = 0; checking->desk.pack != NULL && i < block->count; i++)
        dealer_page_count(&checking->page, block->dossiers[i], &checking->counts);
    show_progress(checking, block->bytes_read);
    return status;
}

/* On a dealer's page, where there are several files, which one the claims that follow are in. */
static void name_file(struct checking *checking)
{
    if (checking->file.bytes == NULL || checking->desk.pack == NULL || checking->options->format != FORMAT_TEXT)
        return;
    output_add(&checking->out, checking->file.bytes, checking->file.length);
    output_add(&checking->out, "\n\n", 2);
}

/* Files below are searched for an open quote before they are decided: that takes less than a millisecond. */
enum { EARLY_SCAN_BYTES = 1024 * 1024 };

static int decide_file(struct checking *checking, const struct csv_source *source, bool last, struct diag_sink *sink)
{
    const struct options *options = checking->options;
    const struct batch_receiver receiver = {checking, render, deliver};
    const struct batch_run run = {&checking->desk.day, checking->history, options->threads,
                                  options->format != FORMAT_CSV || options->findings != NULL, false, last};

    checking->file = options->argument_count > 1 ? source->name : (struct text){NULL, 0};
    checking->file_bytes = source->bytes;
    name_file(checking);
    return batch_decide(&run, source, &receiver, sink);
}

/* Only a file whose quotes are all closed is decided; a large one is searched meanwhile, and delivered later. */
static int scan_and_decide(struct checking *checking, const struct csv_source *source, bool last)
{
    struct diag_sink *sink = &checking->desk.sink;
    struct early_scan scan;
    struct csv_scan scanned;

    if (checking->options->threads > 1 && checking->desk.pack == NULL && source->bytes >= EARLY_SCAN_BYTES &&
        early_scan_start(&scan, source, sink) == WM_OK) {
        checking->scan = &scan;
        int status = decide_file(checking, source, last, &scan.held_sink);
        checking->scan = NULL;
        int scan_status = early_scan_close(&scan);
        return scan_status != WM_OK ? scan_status : status;
    }
    int status = csv_source_scan(source, false, &scanned, sink);
    return status == WM_OK ? decide_file(checking, source, last, sink) : status;
}

static int check_file(struct checking *checking, const char *path, bool last)
{
    struct csv_source source = {0};
    int status = claims_source_open(&source, path, checking->options->separator, &checking->desk.sink);

    if (status == WM_OK)
        status = scan_and_decide(checking, &source, last);
    if (checking->progress)
        fputs("\r     \r", stderr);
    csv_source_close(&source);
    return status;
}

static void add_buffer(struct output *output, struct buffer *words)
{
    output_add(output, words->bytes, words->length);
    if (words->failed)
        output->error = ENOMEM;
    buffer_free(words);
}

static void write_headers(struct checking *checking)
{
    struct buffer words = BUFFER_EMPTY;
    bool with_file = checking->options->argument_count > 1;

    if (checking->options->format == FORMAT_CSV) {
        write_claims_header(&words, with_file);
        add_buffer(&checking->out, &words);
    }
    if (checking->findings_open) {
        write_findings_header(&words, with_file);
        add_buffer(&checking->findings, &words);
    }
}

static void write_summary(struct checking *checking)
{
    struct buffer words = BUFFER_EMPTY;

    if (checking->options->format != FORMAT_TEXT || checking->options->quiet)
        return;
    if (checking->desk.pack != NULL) {
        dealer_page_summary(&checking->page, &checking->summary, &checking->counts, &words);
    } else {
        if (checking->summary.unclean > 0)
            buffer_add_byte(&words, '\n');
        summary_write(&checking->summary, &words);
    }
    add_buffer(&checking->out, &words);
}

static int open_outputs(struct checking *checking)
{
    const struct options *options = checking->options;
    int status = output_open(&checking->out, options->out, &checking->desk.sink);

    checking->out_open = status == WM_OK;
    if (status == WM_OK && options->findings != NULL) {
        status = output_open(&checking->findings, options->findings, &checking->desk.sink);
        checking->findings_open = status == WM_OK;
    }
    return status;
}

/* What was recorded before counts as it does when the files are posted. */
static int open_history(struct checking *checking)
{
    struct office *office = checking->desk.office;
    struct ledger_point now;

    if (checking->desk.pack != NULL)
        return history_new(checking->desk.rules, pack_history(checking->desk.pack), &checking->history);
    int status = ledger_last(office, &now);

    if (status == WM_OK)
        status = ledger_history_open(office, now, NULL, &checking->ledger);
    if (status == WM_OK)
        status = history_new(checking->desk.rules, ledger_history_source(checking->ledger), &checking->history);
    return status;
}

static int check_files(struct checking *checking)
{
    const struct options *options = checking->options;
    int status = desk_open(&checking->desk, options);

    if (status == WM_OK && checking->desk.pack != NULL)
        status = language_open(&checking->desk.arena, checking->desk.rules, options->given[OPTION_LANG],
                               &checking->desk.sink, &checking->language);
    checking->page = (struct dealer_page){&checking->desk, checking->language};
    if (status == WM_OK)
        status = open_history(checking);
    if (status == WM_OK)
        status = open_outputs(checking);
    if (status == WM_OK)
        write_headers(checking);
    for (int i = 0; status == WM_OK && i < options->argument_count; i++)
        status = check_file(checking, options->arguments[i], i == options->argument_count - 1);
    if (status == WM_OK)
        write_summary(checking);
    return desk_end_reading(&checking->desk, status);
}

static int run_check(const struct options *options)
{
    struct checking checking = {.options = options, .progress = !options->quiet && isatty(STDERR_FILENO)};

    if (!desk_options_fit(options))
        return EXIT_UNUSABLE;
    if (options->given[OPTION_ONE] != NULL)
        return check_one(options);
    if (options->given[OPTION_FIX] != NULL)
        return check_fix(options);
    int status = check_files(&checking);
    int code = status != WM_OK ? cli_exit(status) : checking.summary.unclean > 0 ? EXIT_FOUND : EXIT_DONE;

    if (checking.findings_open)
        code = cli_finish(&checking.findings, &checking.desk.sink, code);
    if (checking.out_open)
        code = cli_finish(&checking.out, &checking.desk.sink, code);
    history_free(checking.history);
    ledger_history_close(checking.ledger);
    summary_free(&checking.summary);
    language_close(checking.language);
    desk_close(&checking.desk);
    return code;
}

const struct command COMMAND_CHECK = {
    .name = "check",
    .arguments = "FILE...",
    .summary = "decides every claim of the files and writes nothing down",
    .details = "Several files are decided in the order given, each as if those before it were posted.\n"
               "Exit code 0: every claim is pay with nothing cut; 1: something was found.\n"
               "A dealer names the office's pack with --pack, and reads in sentences what is wrong, what the\n"
               "campaign expects, what to do and what will be paid. With --one FILE one claim is asked for field by\n"
               "field and written to FILE; with --fix COPY nothing is checked, and FILE is copied to COPY with all\n"
               "that is certain corrected.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_RECEIVED) | OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT) |
               OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_THREADS) | OPTION_BIT(OPTION_FINDINGS) |
               OPTION_BIT(OPTION_PACK) | OPTION_BIT(OPTION_TRUST) | OPTION_BIT(OPTION_LANG) |
               OPTION_BIT(OPTION_SEPARATOR) | OPTION_BIT(OPTION_FIX) | OPTION_BIT(OPTION_FIX_VIN) |
               OPTION_BIT(OPTION_ONE),
    .least_arguments = 1,
    .most_arguments = -1,
    .run = run_check,
};
