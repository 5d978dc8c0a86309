#include <errno.h>
#include <inttypes.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/shown.h"
#include "base/status.h"
#include "cli/decisions.h"
#include "cli/replies.h"
#include "cli/desk.h"
#include "cli/summary.h"
#include "cli/write_claims.h"
#include "ledger/batch_then.h"
#include "intake/spreadsheet.h"
#include "ledger/history_source.h"
#include "ledger/post.h"
#include "verdict/batch.h"

enum {
    CLAIMS_TEXT,
    FINDINGS_TEXT,
    ROWS_PACKED,
    PLACES_PACKED,
    TALLIES_PACKED
}; /* which of a block's buffers */

/* One run of the command: what it writes for people, and the office file. */
struct posting {
    const struct options *options;
    struct desk desk; /* the rules only */
    struct office *office;
    struct output out, findings;
    bool out_open, findings_open;
    uint64_t out_bytes, findings_bytes; /* of the files that are recorded */
    struct replies *replies;
    struct buffer words; /* the summary */
    int recorded;        /* files of this run */
    struct arena arena;
    bool progress;
};

/* One file on its way. */
struct post_run {
    struct posting *posting;
    struct csv_source source;
    uint8_t digest[CSV_DIGEST_BYTES];
    struct digesting {
        pthread_t thread;
        struct diag_sink sink; /* silent */
        int status;
        bool started, done;
    } digesting;
    struct text file; /* where files are named; bytes NULL: not named */
    char posted_at[CLOCK_ROOM];
    struct office *reader; /* the office as it is before this file; may be the writer itself */
    struct office_source *office_source;
    struct office_register *office_register;
    struct ledger_history *ledger;
    struct history *history;
    struct ledger_post *post; /* NULL: the file is recorded, and what was written about it is written again */
    struct ledger_reader *compared;
    struct summary summary;
    struct post_summary recorded;
};

/* --- Blocks ------------------------------------------------------------------------------------------ */

static int render(void *context, struct decided_block *block)
{
    const struct post_run *run = context;
    const struct posting *posting = run->posting;
    struct buffer *claims = &block->rendered[CLAIMS_TEXT];
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && posting->out_open && i < block->count; i++) {
        const struct dossier *dossier = block->dossiers[i];
        if (posting->options->format == FORMAT_CSV)
            write_claim(claims, run->file, dossier);
        else if (posting->options->format == FORMAT_JSON)
            status = write_claim_json(claims, run->file, dossier);
        else
            write_claim_text(claims, run->file, dossier);
    }
    for (uint32_t i = 0; posting->findings_open && i < block->count; i++)
        write_findings(&block->rendered[FINDINGS_TEXT], run->file, block->dossiers[i]);
    if (status != WM_OK || run->post == NULL)
        return status;
    return ledger_post_pack(run->post, block, &block->rendered[ROWS_PACKED], &block->rendered[PLACES_PACKED],
                            &block->rendered[TALLIES_PACKED]);
}

/* A file that was recorded before must come out as it is recorded, row by row. */
static int compare_row(struct post_run *run, struct arena *arena, const struct dossier *dossier)
{
    struct text dealer = dossier->claim.cells[COLUMN_DEALER], number = dossier->claim.cells[COLUMN_CLAIM];
    struct ledger_claim claim;
    int status = ledger_claim_read(run->compared, arena, dealer, number, &claim);

    for (uint32_t i = 0; status == WM_OK && i < claim.row_count; i++) {
        const struct claim_row *row = &claim.rows[i];
        if (row->row == (int64_t)dossier->row && row->engine_decision == dossier->decision &&
            row->payable_cents == dossier->payable_cents && row->due_cents == dossier->due_cents)
            return WM_OK;
    }
    if (status != WM_OK && status != WM_NOT_FOUND)
        return status;
    diag_error(
        &run->posting->desk.sink, (struct place){run->source.name, dossier->claim.line, 0},
        "decided again, claim %.*s/%.*s is not what is recorded, so nothing is written; `witnessmark verify "
        "--again` says what differs, the program of that time writes it",
        TEXT_ARGUMENTS(dealer), TEXT_ARGUMENTS(number));
    return WM_BAD_INPUT;
}

static int compare_block(struct post_run *run, const struct decided_block *block)
{
    struct arena arena = ARENA_EMPTY;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < block->count; i++) {
        arena_reset(&arena);
        if (block->dossiers[i]->row != 0)
            status = compare_row(run, &arena, block->dossiers[i]);
    }
    arena_free(&arena);
    return status;
}

static int deliver(void *context, const struct decided_block *block)
{
    struct post_run *run = context;
    struct posting *posting = run->posting;
    int status = run->post == NULL
                     ? compare_block(run, block)
                     : ledger_post_record(run->post, block, &block->rendered[ROWS_PACKED],
                                          &block->rendered[PLACES_PACKED], &block->rendered[TALLIES_PACKED]);

    if (posting->out_open)
        output_add(&posting->out, block->rendered[CLAIMS_TEXT].bytes, block->rendered[CLAIMS_TEXT].length);
    if (posting->findings_open)
        output_add(&posting->findings, block->rendered[FINDINGS_TEXT].bytes,
                   block->rendered[FINDINGS_TEXT].length);
    for (uint32_t i = 0; status == WM_OK && i < block->count; i++) {
        if (block->dossiers[i]->repeats == 0 && run->post != NULL)
            status = summary_add(&run->summary, block->dossiers[i]);
        if (status == WM_OK && posting->replies != NULL)
            status = replies_add(posting->replies, block->dossiers[i]);
    }
    if (posting->progress && run->source.bytes > 0)
        fprintf(stderr, "\r%3d %%", (int)(block->bytes_read * 100 / run->source.bytes));
    return status;
}

/* --- The office as it is before the file ------------------------------------------------------------- */

/* Where readers see the state before a writer, deciding reads over a connection of its own, so that neither
 * waits for the other. */
static int open_reader(struct post_run *run)
{
    struct posting *posting = run->posting;

    if (!office_logs_ahead(posting->office)) {
        run->reader = posting->office;
        return WM_OK;
    }
    int status = office_open(posting->options->office, OFFICE_READ, &posting->desk.sink, &run->reader);
    return status == WM_OK ? office_begin_read(run->reader) : status;
}

static int open_history(struct post_run *run)
{
    struct posting *posting = run->posting;
    struct ledger_point before;
    int status = open_reader(run);

    if (status == WM_OK)
        status = office_source_open(run->reader, 0, &run->office_source);
    if (status == WM_OK)
        status = register_open(office_source_register(run->office_source), &run->office_register);
    if (status == WM_OK)
        status = ledger_last(run->reader, &before);
    if (status == WM_OK)
        status = ledger_history_open(run->reader, before, NULL, &run->ledger);
    if (status == WM_OK)
        status = history_new(posting->desk.rules, ledger_history_source(run->ledger), &run->history);
    if (status == WM_OK)
        history_keep_contents(run->history, ledger_post_last_row(run->post));
    posting->desk.day.office_register = run->office_register;
    return status;
}

/* What the register could not read, if that is what went wrong. */
static void say_unread(struct posting *posting, struct office_register *office_register, int status)
{
    struct text words = office_register != NULL ? register_error(office_register) : (struct text){NULL, 0};

    if (status == WM_IO && words.length > 0)
        diag_error(&posting->desk.sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(words));
}

static void close_history(struct post_run *run, int status)
{
    say_unread(run->posting, run->office_register, status);
    history_free(run->history);
    ledger_history_close(run->ledger);
    register_close(run->office_register);
    office_source_close(run->office_source);
    if (run->reader != run->posting->office)
        office_close(run->reader);
    run->history = NULL;
    run->ledger = NULL;
    run->office_register = NULL;
    run->office_source = NULL;
    run->reader = NULL;
}

/* --- The digest of the file -------------------------------------------------------------------------- */

static void *digest_beside(void *context)
{
    struct post_run *run = context;

    run->digesting.status = csv_source_digest(&run->source, run->digest, &run->digesting.sink);
    return NULL;
}

/* A file that no batch is as long as is new for sure: its digest, which takes a second a GiB, is made while it
 * is decided. */
static void begin_digest(struct post_run *run)
{
    struct digesting *digesting = &run->digesting;

    if (!digesting->done && run->posting->options->threads > 1)
        digesting->started = pthread_create(&digesting->thread, NULL, digest_beside, run) == 0;
}

/* The digest is there afterwards; WM_OK, or reported. */
static int end_digest(struct post_run *run)
{
    struct digesting *digesting = &run->digesting;

    if (digesting->started) {
        pthread_join(digesting->thread, NULL);
        digesting->started = false;
        digesting->done = digesting->status == WM_OK;
    }
    if (digesting->done)
        return WM_OK;
    int status = csv_source_digest(&run->source, run->digest, &run->posting->desk.sink);
    digesting->done = status == WM_OK;
    return status;
}

/* --- One file ---------------------------------------------------------------------------------------- */

static struct text base_name(struct text path)
{
    for (size_t i = path.length; i > 0; i--)
        if (path.bytes[i - 1] == '/')
            return (struct text){path.bytes + i, path.length - i};
    return path;
}

static int open_post(struct post_run *run)
{
    const struct posting *posting = run->posting;
    const struct posted_file file = {
        base_name(run->source.name),   run->source.bytes,        run->digest,
        posting->options->received_on, posting->options->today,  cli_clock(run->posted_at),
        &posting->desk.files,          posting->options->threads};
    return ledger_post_open(posting->office, &file, &run->post);
}

static int decide_file(struct post_run *run)
{
    const struct posting *posting = run->posting;
    const struct batch_receiver receiver = {run, render, deliver};
    int status = open_post(run);

    if (status == WM_OK)
        status = open_history(run);
    if (status != WM_OK)
        return status;
    const struct batch_run batch = {
        &posting->desk.day, run->history, posting->options->threads, true, true, true};
    begin_digest(run);
    status = batch_decide(&batch, &run->source, &receiver, &run->posting->desk.sink);
    if (posting->progress)
        fputs("\r     \r", stderr);
    if (status == WM_OK)
        status = end_digest(run);
    close_history(run, status); /* what follows needs room */
    return status == WM_OK ? ledger_post_finish(run->post, &run->recorded) : status;
}

/* Everything that can fail with the outputs does so before the batch is recorded, but for their names. */
static int settle_outputs(struct posting *posting, uint64_t *ret_out, uint64_t *ret_findings)
{
    int status = WM_OK;

    if (posting->out_open)
        status = output_settle(&posting->out, &posting->desk.sink, ret_out);
    if (status == WM_OK && posting->findings_open)
        status = output_settle(&posting->findings, &posting->desk.sink, ret_findings);
    if (status == WM_OK && posting->replies != NULL)
        status = replies_stage(posting->replies);
    return status;
}

static void take_back_outputs(struct posting *posting)
{
    if (posting->out_open)
        output_cut(&posting->out, posting->out_bytes);
    if (posting->findings_open)
        output_cut(&posting->findings, posting->findings_bytes);
    if (posting->replies != NULL)
        replies_take_back(posting->replies);
}

static void say_recorded(struct post_run *run)
{
    struct posting *posting = run->posting;
    struct buffer *words = &posting->words;
    const struct post_summary *recorded = &run->recorded;

    buffer_say(words, "%.*s: batch %" PRId64 ", %" PRIu64 " claims recorded", TEXT_ARGUMENTS(run->source.name),
               recorded->batch, recorded->recorded);
    if (recorded->repeated > 0)
        buffer_say(words, ", %" PRIu64 " exist already", recorded->repeated);
    if (recorded->unreadable > 0)
        buffer_say(words, ", %" PRIu64 " rows returned as unreadable", recorded->unreadable);
    if (recorded->followups > 0)
        buffer_say(words, ", %" PRIu64 " follow-ups opened", recorded->followups);
    buffer_add_string(words, "\n\n");
    summary_write(&run->summary, words);
    buffer_add_byte(words, '\n');
}

/* The write transaction is open; here it ends. */
static int record_file(struct post_run *run)
{
    struct posting *posting = run->posting;
    uint64_t out_bytes = 0, findings_bytes = 0;
    int status = decide_file(run);

    if (status == WM_OK)
        status = settle_outputs(posting, &out_bytes, &findings_bytes);
    if (run->digesting.started) /* what failed was something else */
        pthread_join(run->digesting.thread, NULL);
    ledger_post_close(run->post);
    close_history(run, status); /* of what failed early */
    if (status == WM_OK)
        status = office_commit(posting->office);
    if (status != WM_OK) {
        office_rollback(posting->office);
        take_back_outputs(posting);
        return status;
    }
    posting->recorded++;
    posting->out_bytes = out_bytes;
    posting->findings_bytes = findings_bytes;
    say_recorded(run);
    if (posting->replies != NULL) { /* what fails now is said, and takes nothing back */
        struct diag_sink recorded = cli_recorded(&posting->desk.sink);
        replies_publish(posting->replies, &recorded);
    }
    return WM_OK;
}

/* --- A file that was recorded before ------------------------------------------------------------------ */

static bool writes_outputs(const struct posting *posting)
{
    return posting->out_open || posting->findings_open || posting->replies != NULL;
}

static void say_known(struct post_run *run, const struct known_batch *known)
{
    char day[DATE_ROOM];

    date_write(known->received_on, day);
    buffer_format(&run->posting->words,
                  "%.*s: already recorded as batch %" PRId64 ", received on %s, posted at %.*s, with %" PRId64
                  " claims; nothing was changed%s\n",
                  TEXT_ARGUMENTS(run->source.name), known->batch, day, TEXT_ARGUMENTS(known->posted_at),
                  known->row_count,
                  writes_outputs(run->posting) ? "; its decisions of that day were written again" : "");
}

static int decide_as_then(struct post_run *run, const struct batch_then *then)
{
    const struct posting *posting = run->posting;
    const struct ledger_point before = {then->first_row - 1, then->last_decision};
    const struct batch_receiver receiver = {run, render, deliver};
    int status =
        ledger_reader_open(posting->office, (struct ledger_point){INT64_MAX, INT64_MAX}, &run->compared);

    if (status == WM_OK)
        status = ledger_history_open(posting->office, before, NULL, &run->ledger);
    if (status != WM_OK)
        return status;
    ledger_history_look_back(run->ledger);
    status = history_new(then->day.rules, ledger_history_source(run->ledger), &run->history);
    if (status != WM_OK)
        return status;
    history_keep_contents(run->history, (uint64_t)before.last_row);
    const struct batch_run batch = {&then->day, run->history, posting->options->threads, true, true, true};
    return batch_decide(&batch, &run->source, &receiver, &run->posting->desk.sink);
}

/* Writes the outputs that were asked for once more: their disk may have been full after all was recorded. */
static int write_again(struct post_run *run, const struct known_batch *known)
{
    struct posting *posting = run->posting;
    struct batch_then then = {0};
    uint64_t out_bytes = 0, findings_bytes = 0;
    int status = office_begin_read(posting->office);

    if (status == WM_OK)
        status = batch_then_open(posting->office, known->batch, &posting->desk.sink, &then);
    run->reader = posting->office;
    if (status == WM_OK)
        status = decide_as_then(run, &then);
    if (status == WM_OK)
        status = settle_outputs(posting, &out_bytes, &findings_bytes);
    say_unread(posting, then.office_register, status);
    ledger_reader_close(run->compared);
    close_history(run, status);
    batch_then_close(&then);
    office_rollback(posting->office);
    if (status != WM_OK) {
        take_back_outputs(posting);
        return status;
    }
    posting->out_bytes = out_bytes;
    posting->findings_bytes = findings_bytes;
    return posting->replies != NULL ? replies_publish(posting->replies, &posting->desk.sink) : WM_OK;
}

/* --- Files ------------------------------------------------------------------------------------------------ */

/* The batch that has these bytes; batch 0: there is none. */
static int find_known(struct post_run *run, struct known_batch *ret_known)
{
    struct posting *posting = run->posting;
    bool as_long;
    int status = ledger_batch_as_long(posting->office, run->source.bytes, &as_long);

    *ret_known = (struct known_batch){0};
    if (status == WM_OK && as_long) {
        status = end_digest(run);
        if (status == WM_OK)
            status = ledger_batch_known(posting->office, run->digest, &posting->arena, ret_known);
    }
    return status;
}

static int post_source(struct post_run *run)
{
    struct posting *posting = run->posting;
    struct known_batch known;
    struct csv_scan scan;
    int status = csv_source_scan(&run->source, false, &scan, &posting->desk.sink);

    if (status == WM_OK)
        status = office_begin_write(posting->office);
    if (status != WM_OK)
        return status;
    status = find_known(run, &known);
    if (status == WM_OK && known.batch == 0)
        return record_file(run);
    office_rollback(posting->office);
    if (status == WM_OK && writes_outputs(posting))
        status = write_again(run, &known);
    if (status == WM_OK)
        say_known(run, &known);
    return status;
}

static int post_file(struct posting *posting, const char *path)
{
    struct post_run run = {.posting = posting};
    int status = claims_source_open(&run.source, path, ',', &posting->desk.sink);

    if (status != WM_OK)
        return status;
    if (posting->options->argument_count > 1)
        run.file = run.source.name;
    status = post_source(&run);
    summary_free(&run.summary);
    csv_source_close(&run.source);
    return status;
}

/* --- The run ----------------------------------------------------------------------------------------- */

/* Decisions are printed where they were asked for: with --out, or in a format for programs. */
static int open_outputs(struct posting *posting)
{
    const struct options *options = posting->options;
    int status = WM_OK;

    if (options->out != NULL || options->format != FORMAT_TEXT) {
        status = output_open(&posting->out, options->out, &posting->desk.sink);
        posting->out_open = status == WM_OK;
    }
    if (status == WM_OK && options->findings != NULL) {
        status = output_open(&posting->findings, options->findings, &posting->desk.sink);
        posting->findings_open = status == WM_OK;
    }
    if (status == WM_OK && options->given[OPTION_REPLIES] != NULL)
        status = replies_open(options->given[OPTION_REPLIES], options->format, &posting->desk.sink,
                              &posting->replies);
    return status;
}

static int write_headers(struct posting *posting)
{
    bool with_file = posting->options->argument_count > 1;
    struct buffer words = BUFFER_EMPTY;
    int status = WM_OK;

    if (posting->out_open && posting->options->format == FORMAT_CSV) {
        write_claims_header(&words, with_file);
        output_add(&posting->out, words.bytes, words.length);
        status = output_settle(&posting->out, &posting->desk.sink, &posting->out_bytes);
    }
    if (status == WM_OK && posting->findings_open) {
        buffer_clear(&words);
        write_findings_header(&words, with_file);
        output_add(&posting->findings, words.bytes, words.length);
        status = output_settle(&posting->findings, &posting->desk.sink, &posting->findings_bytes);
    }
    bool failed = words.failed;
    buffer_free(&words);
    return failed ? WM_NO_MEMORY : status;
}

static int post_files(struct posting *posting)
{
    const struct options *options = posting->options;
    int status = desk_open_rules(&posting->desk, options);

    if (status == WM_OK)
        status = office_open(options->office, OFFICE_CHANGE, &posting->desk.sink, &posting->office);
    if (status == WM_OK)
        status = open_outputs(posting);
    if (status == WM_OK)
        status = write_headers(posting);
    for (int i = 0; status == WM_OK && i < options->argument_count; i++)
        status = post_file(posting, options->arguments[i]);
    return status;
}

/* The summary; on standard error where the decisions are printed. */
static int print_words(struct posting *posting, bool decisions_on_screen)
{
    struct buffer *words = &posting->words;
    int to = decisions_on_screen ? STDERR_FILENO : STDOUT_FILENO;

    if (posting->options->quiet)
        return EXIT_DONE;
    if (posting->recorded > 0)
        return cli_say_recorded_on(to, words, &posting->desk.sink);
    if (words->failed)
        return cli_exit(WM_NO_MEMORY);
    if (descriptor_write(to, words->bytes, words->length))
        return EXIT_DONE;
    diag_error(&posting->desk.sink, (struct place){TEXT("standard output"), 0, 0}, "cannot write: %s",
               strerror(errno));
    return EXIT_UNUSABLE;
}

/* Where something of the run is recorded, that is said. */
static int exit_code(struct posting *posting, int status)
{
    if (status == WM_NO_MEMORY && posting->recorded > 0 && posting->desk.sink.errors == 0)
        diag_error(&posting->desk.sink, (struct place){{NULL, 0}, 0, 0},
                   "out of memory; the first %d of the files are recorded, post the others again",
                   posting->recorded);
    return cli_exit(status);
}

/* What was recorded stays recorded: its decisions are written even where a later file failed; and where they
 * cannot be written, a warning says so. */
static int finish(struct posting *posting, int status)
{
    bool decisions_on_screen = posting->out_open && posting->options->out == NULL;
    struct diag_sink recorded = cli_recorded(&posting->desk.sink);
    struct diag_sink *sink = posting->recorded > 0 ? &recorded : &posting->desk.sink;
    int code = exit_code(posting, status);

    if (status != WM_OK && posting->recorded == 0) {
        if (posting->findings_open)
            output_drop(&posting->findings);
        if (posting->out_open)
            output_drop(&posting->out);
        return code;
    }
    bool written = !posting->findings_open || output_close(&posting->findings, sink) == WM_OK;
    if (posting->out_open && output_close(&posting->out, sink) != WM_OK)
        written = false;
    if (!written && posting->recorded == 0)
        return EXIT_UNUSABLE;
    int printed = print_words(posting, decisions_on_screen);
    return code != EXIT_DONE ? code : printed;
}

static int run_post(const struct options *options)
{
    struct posting posting = {.options = options, .progress = !options->quiet && isatty(STDERR_FILENO)};
    int status = post_files(&posting);
    int code = finish(&posting, status);

    replies_close(posting.replies);
    buffer_free(&posting.words);
    office_close(posting.office);
    desk_close(&posting.desk);
    arena_free(&posting.arena);
    return code;
}

const struct command COMMAND_POST = {
    .name = "post",
    .arguments = "FILE...",
    .summary = "decides every claim of the files and records it, one batch a file",
    .details =
        "A batch is recorded whole or not at all. A file that was recorded before is recognised by its bytes "
        "and\n"
        "changes nothing; --out, --findings and --replies are written once more, as they were that day. With "
        "--out\n"
        "or --format csv|json the decisions are printed as `check` prints them.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_RECEIVED) | OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT) |
               OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_THREADS) | OPTION_BIT(OPTION_FINDINGS) |
               OPTION_BIT(OPTION_REPLIES),
    .least_arguments = 1,
    .most_arguments = -1,
    .run = run_post,
};
