/* Every recorded batch decided afresh: under the rules it was decided with, with the office data and the ledger
 * as they were then. The claims are written out as a claim file again, so that they take the same way as on the
 * first day. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "base/file.h"
#include "base/status.h"
#include "intake/canonical.h"
#include "ledger/history_source.h"
#include "ledger/office_source.h"
#include "ledger/rules_record.h"
#include "ledger/verify_followups.h"
#include "ledger/verify_parts.h"
#include "verdict/batch.h"

struct again {
    struct verification *verification;
    sqlite3_stmt *batch, *rows, *findings, *contents, *decision;
    struct ledger_reader *reader;
    struct verify_followups *followups;
    struct tallies tallies; /* what stood before the entry at hand */
    struct tallies added;   /* what the batch at hand adds to it */
    int64_t last_row, last_decision; /* the last row and office decision before it */
    struct arena rules_arena;
    struct rules *compiled;
    int64_t compiled_rules; /* the number of compiled; 0: none */
    struct rules_files files;
    struct arena row_arena;
};

/* One batch. */
struct again_batch {
    struct again *again;
    int64_t batch, first_row, row_count, rules, load;
    int32_t received_on, today;
    int64_t next_row;
    bool more_rows, more_findings;
};

static int out_of_memory(const struct again *again)
{
    return office_report(again->verification->office, SQLITE_NOMEM);
}

/* --- The claim file ---------------------------------------------------------------------------------- */

static bool write_all(int descriptor, struct buffer *words)
{
    bool written = descriptor_write(descriptor, words->bytes, words->length);

    if (written)
        buffer_clear(words);
    return written;
}

static void add_header(struct buffer *words)
{
    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        buffer_add_string(words, claim_column_name((enum claim_column)column));
        buffer_add_byte(words, column == CLAIM_COLUMNS - 1 ? '\n' : ',');
    }
}

static void add_row(struct buffer *words, struct text content)
{
    struct text rest = content, cell;

    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        if (!text_cut(rest, '\0', &cell, &rest))
            cell = TEXT("");
        buffer_add_csv(words, cell);
        buffer_add_byte(words, column == CLAIM_COLUMNS - 1 ? '\n' : ',');
    }
}

/* Blocks of rows never reach over the end of a batch. */
static int write_rows(const struct again_batch *batch, int descriptor, struct buffer *words)
{
    enum { FLUSH_AT = 1 << 20 };
    const struct again *again = batch->again;
    struct office *office = again->verification->office;
    bool more = false, written = true;

    sqlite3_bind_int64(again->contents, 1, batch->first_row);
    sqlite3_bind_int64(again->contents, 2, batch->first_row + batch->row_count - 1);
    int status = office_step(office, again->contents, &more);
    while (status == WM_OK && more && written) {
        struct text rest = column_blob(again->contents, 0), content;
        const uint8_t *digest;
        while (row_block_next(&rest, &digest, &content))
            add_row(words, content);
        if (words->length >= FLUSH_AT)
            written = write_all(descriptor, words);
        status = office_step(office, again->contents, &more);
    }
    sqlite3_reset(again->contents);
    if (status == WM_OK && written)
        written = write_all(descriptor, words);
    if (status == WM_OK && words->failed)
        return out_of_memory(again);
    if (status == WM_OK && !written) {
        diag_error(again->verification->sink, (struct place){TEXT("memory for a batch"), 0, 0},
                   "cannot write: %s; verify on a machine with more memory", strerror(errno));
        return WM_IO;
    }
    return status;
}

static int make_file(const struct again_batch *batch, struct csv_source *ret_source)
{
    struct buffer words = BUFFER_EMPTY;
    int descriptor = memfd_create("batch", MFD_CLOEXEC);

    if (descriptor < 0)
        return out_of_memory(batch->again);
    add_header(&words);
    int status = write_rows(batch, descriptor, &words);
    buffer_free(&words);
    if (status != WM_OK) {
        close(descriptor);
        return status;
    }
    off_t size = lseek(descriptor, 0, SEEK_CUR); /* in memory it cannot fail */
    *ret_source = (struct csv_source){descriptor, TEXT("a recorded batch"), (uint64_t)size, 0};
    return WM_OK;
}

/* --- Comparing --------------------------------------------------------------------------------------- */

static void differs(struct again_batch *batch, int64_t row, const char *what, struct text is, struct text was)
{
    verify_row_fault(batch->again->verification, row,
                     "decided again, its %s is \"%.*s\" and was \"%.*s\"; the program or the file has changed",
                     what, TEXT_ARGUMENTS(is), TEXT_ARGUMENTS(was));
}

static bool money_differs(struct again_batch *batch, int64_t row, const char *what, int64_t is, int64_t was)
{
    char is_room[DECIMAL_ROOM], was_room[DECIMAL_ROOM];

    if (is == was)
        return false;
    differs(batch, row, what, (struct text){is_room, money_write(is, is_room)},
            (struct text){was_room, money_write(was, was_room)});
    return true;
}

/* Whether the finding is the one at hand; names the first part of it that is not. */
static bool finding_differs(struct again_batch *batch, int64_t row, const struct row_finding *is)
{
    sqlite3_stmt *was = batch->again->findings;
    const struct {
        const char *name;
        struct text is;
    } parts[] = {{"finding", is->finding},
                 {"effect of a finding", is->effect},
                 {"item of a finding", is->item},
                 {"rule of a finding", is->rule},
                 {"message of a finding", is->message}};
    static const int columns[] = {2, 1, 3, 5, 4};

    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        if (!text_equal(parts[i].is, column_text(was, columns[i]))) {
            differs(batch, row, parts[i].name, parts[i].is, column_text(was, columns[i]));
            return true;
        }
    return false;
}

static int compare_findings(struct again_batch *batch, const struct dossier *dossier, int64_t row, bool named)
{
    struct again *again = batch->again;
    struct buffer room = BUFFER_EMPTY;
    uint32_t count = 0;
    int status = WM_OK;

    for (; status == WM_OK && batch->more_findings && sqlite3_column_int64(again->findings, 0) == row;
         count++) {
        if (!named && count < dossier->finding_count) {
            struct row_finding is = row_finding_of(&dossier->findings[count], &room);
            if (room.failed) /* what is incomplete is not compared */
                break;
            named = finding_differs(batch, row, &is);
        } else if (!named) {
            differs(batch, row, "finding", TEXT(""), column_text(again->findings, 2));
            named = true;
        }
        status = office_step(again->verification->office, again->findings, &batch->more_findings);
    }
    if (!named && !room.failed && count < dossier->finding_count)
        differs(batch, row, "finding", dossier->findings[count].name, TEXT(""));
    bool failed = room.failed;
    buffer_free(&room);
    return failed ? out_of_memory(again) : status;
}

static bool row_differs(struct again_batch *batch, const struct dossier *dossier, int64_t row)
{
    sqlite3_stmt *was = batch->again->rows;
    const struct row_head is = row_head_of(dossier, batch->batch);

    if (dossier->claim.unreadable || (int64_t)dossier->row != row) {
        verify_row_fault(
            batch->again->verification, row,
            "decided again, it is no row of its own any more; the program or the file has changed");
        return true;
    }
    if (!text_equal(is.decision, column_text(was, 1))) {
        differs(batch, row, "decision", is.decision, column_text(was, 1));
        return true;
    }
    if (money_differs(batch, row, "payable amount", is.payable_cents, sqlite3_column_int64(was, 2)) ||
        money_differs(batch, row, "due amount", is.due_cents, sqlite3_column_int64(was, 3)))
        return true;
    if (is.replaces_is_null != (sqlite3_column_type(was, 4) == SQLITE_NULL) ||
        (!is.replaces_is_null && is.replaces != sqlite3_column_int64(was, 4))) {
        verify_row_fault(
            batch->again->verification, row,
            "decided again, it takes the place of another row; the program or the file has changed");
        return true;
    }
    return false;
}

static int tally_row(struct again *again, struct tallies *tallies, int64_t row, int sign)
{
    struct text content;
    struct claim claim;

    arena_reset(&again->row_arena);
    int status = ledger_content(again->reader, &again->row_arena, row, &content);
    if (status == WM_OK)
        status = ledger_content_claim(content, 0, &again->row_arena, &claim);
    return status == WM_OK ? tallies_add_claim(tallies, &claim, sign) : status;
}

static int note_standing(struct again *again, const struct dossier *dossier)
{
    int status = WM_OK;

    if (dossier->supersedes && (dossier->decision == DECISION_PAY || dossier->decision == DECISION_HOLD))
        status = tallies_add_claim(&again->added, &dossier->claim, 1);
    return status == WM_OK && dossier->stood != 0 ? tally_row(again, &again->added, (int64_t)dossier->stood, -1)
                                                  : status;
}

static int compare_claim(struct again_batch *batch, const struct dossier *dossier)
{
    struct again *again = batch->again;
    int64_t row = batch->next_row++;

    if (!batch->more_rows || sqlite3_column_int64(again->rows, 0) != row) {
        verify_fault(again->verification, "batch %lld gives more rows than are recorded; the file has changed",
                     (long long)batch->batch);
        return WM_OK;
    }
    bool named = row_differs(batch, dossier, row);
    int status = compare_findings(batch, dossier, row, named);
    if (status == WM_OK)
        status = note_standing(again, dossier);
    if (status == WM_OK)
        status = verify_followups_of(again->followups, dossier, row);
    again->verification->result.decided_again++;
    return status == WM_OK ? office_step(again->verification->office, again->rows, &batch->more_rows) : status;
}

static int deliver(void *context, const struct decided_block *block)
{
    struct again_batch *batch = context;
    const struct verify_options *options = batch->again->verification->options;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < block->count; i++)
        status = compare_claim(batch, block->dossiers[i]);
    if (options->progress != NULL)
        options->progress(options->context, "deciding again", batch->again->verification->result.decided_again,
                          batch->again->verification->result.rows);
    return status;
}

/* --- Deciding ---------------------------------------------------------------------------------------- */

/* Compiles the rules of the batch, unless those of the batch before are the same. */
static int open_rules(struct again *again, int64_t rules)
{
    struct verification *verification = again->verification;

    if (again->compiled_rules == rules)
        return WM_OK;
    rules_free(again->compiled);
    again->compiled = NULL;
    again->compiled_rules = 0;
    arena_reset(&again->rules_arena);
    int status = rules_recorded(verification->office, rules, &again->rules_arena, &again->files);
    if (status == WM_NOT_FOUND)
        verify_fault(verification, "rules %lld have no files; restore the file from a copy", (long long)rules);
    if (status != WM_OK)
        return status == WM_NOT_FOUND ? WM_BAD_INPUT : status;
    status = rules_compile(&again->rules_arena, &again->files, verification->sink, &again->compiled);
    if (status == WM_BAD_INPUT)
        verify_fault(verification,
                     "this program cannot use rules %lld; decide again with the program of that time",
                     (long long)rules);
    if (status == WM_OK)
        again->compiled_rules = rules;
    return status;
}

/* Compares what comes out, row by row, with what is recorded from first_row on. */
static int decide(struct again_batch *batch, struct office_register *office_register,
                  const struct history_source *source)
{
    const struct again *again = batch->again;
    struct verification *verification = again->verification;
    const struct office_day day = {again->compiled, office_register, batch->today, batch->received_on,
                                   NULL};
    const struct batch_receiver receiver = {batch, NULL, deliver};
    struct csv_source file = {.descriptor = -1};
    struct history *history = NULL;
    int status = history_new(again->compiled, source, &history);

    if (status == WM_OK) {
        history_keep_contents(history, (uint64_t)batch->first_row - 1);
        status = make_file(batch, &file);
    }
    if (status == WM_OK) {
        const struct batch_run run = {&day, history, verification->options->threads, true, true, true};
        status = batch_decide(&run, &file, &receiver, verification->sink);
        close(file.descriptor);
    }
    history_free(history);
    if (status == WM_OK && batch->next_row < batch->first_row + batch->row_count)
        verify_fault(verification, "batch %lld gives fewer rows than are recorded; the file has changed",
                     (long long)batch->batch);
    struct text words = register_error(office_register);
    if (status == WM_IO && words.length > 0)
        diag_error(verification->sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(words));
    return status;
}

static int decide_batch(struct again_batch *batch)
{
    struct again *again = batch->again;
    struct verification *verification = again->verification;
    const struct ledger_point before = {batch->first_row - 1, again->last_decision};
    int64_t as_of = batch->load == verification->load_count ? 0 : batch->load;
    struct office_source *source = NULL;
    struct office_register *office_register = NULL;
    struct ledger_history *ledger = NULL;
    int status = office_source_open(verification->office, as_of, &source);

    if (status == WM_OK)
        status = register_open(office_source_register(source), &office_register);
    if (status == WM_OK)
        status = ledger_history_open(verification->office, before, &again->tallies, &ledger);
    if (status == WM_OK)
        status = decide(batch, office_register, ledger_history_source(ledger));
    ledger_history_close(ledger);
    register_close(office_register);
    office_source_close(source);
    return status;
}

static int begin_rows(struct again_batch *batch)
{
    struct again *again = batch->again;
    struct office *office = again->verification->office;
    int64_t last = batch->first_row + batch->row_count - 1;

    sqlite3_bind_int64(again->rows, 1, batch->first_row);
    sqlite3_bind_int64(again->rows, 2, last);
    sqlite3_bind_int64(again->findings, 1, batch->first_row);
    sqlite3_bind_int64(again->findings, 2, last);
    int status = office_step(office, again->rows, &batch->more_rows);
    return status == WM_OK ? office_step(office, again->findings, &batch->more_findings) : status;
}

static int read_batch(struct again *again, int64_t number, struct again_batch *ret_batch)
{
    bool found = false;

    sqlite3_bind_int64(again->batch, 1, number);
    int status = office_step(again->verification->office, again->batch, &found);
    if (status == WM_OK && found)
        *ret_batch = (struct again_batch){.again = again,
                                          .batch = number,
                                          .first_row = sqlite3_column_int64(again->batch, 0),
                                          .row_count = sqlite3_column_int64(again->batch, 1),
                                          .received_on = column_day(again->batch, 2),
                                          .today = column_day(again->batch, 3),
                                          .rules = sqlite3_column_int64(again->batch, 4),
                                          .load = sqlite3_column_int64(again->batch, 5)};
    sqlite3_reset(again->batch);
    return status == WM_OK && !found ? office_report(again->verification->office, SQLITE_CORRUPT) : status;
}

static int again_batch(struct again *again, int64_t number)
{
    struct again_batch batch;
    int status = read_batch(again, number, &batch);

    if (status != WM_OK || batch.row_count == 0)
        return status;
    batch.next_row = batch.first_row;
    status = open_rules(again, batch.rules);
    if (status == WM_OK)
        status = begin_rows(&batch);
    tallies_open(&again->added);
    if (status == WM_OK)
        status = decide_batch(&batch);
    if (status == WM_OK)
        status = tallies_merge(&again->tallies, &again->added);
    again->last_row = batch.first_row + batch.row_count - 1;
    tallies_close(&again->added);
    sqlite3_reset(again->rows);
    sqlite3_reset(again->findings);
    return status;
}

/* --- Office decisions -------------------------------------------------------------------------------- */

/* Moves what stands as the decision did: its row falls, and the one below stands again. */
static int again_decision(struct again *again, int64_t number)
{
    struct ledger_claim claim;
    struct arena arena = ARENA_EMPTY;
    bool found = false;

    sqlite3_bind_int64(again->decision, 1, number);
    int status = office_step(again->verification->office, again->decision, &found);
    if (status == WM_OK && found && sqlite3_column_int(again->decision, 3) != 0) {
        ledger_reader_move(again->reader,
                           (struct ledger_point){sqlite3_column_int64(again->decision, 4), number});
        status = ledger_claim_read(again->reader, &arena, column_text(again->decision, 1),
                                   column_text(again->decision, 2), &claim);
        ledger_reader_move(again->reader, (struct ledger_point){INT64_MAX, INT64_MAX});
        if (status == WM_OK)
            status = tally_row(again, &again->tallies, sqlite3_column_int64(again->decision, 0), -1);
        if (status == WM_OK && claim.standing != NULL)
            status = tally_row(again, &again->tallies, claim.standing->row, 1);
    }
    sqlite3_reset(again->decision);
    arena_free(&arena);
    again->last_decision = number;
    return status == WM_NOT_FOUND ? office_report(again->verification->office, SQLITE_CORRUPT) : status;
}

/* --- All entries ------------------------------------------------------------------------------------- */

static int open_again(struct again *again)
{
    struct office *office = again->verification->office;
    const struct {
        sqlite3_stmt **statement;
        const char *sql;
    } statements[] = {
        {&again->batch,
         "SELECT first_row, row_count, received_on, today, rules, load FROM batches WHERE batch = ?1"},
        {&again->rows, "SELECT row, decision, payable_cents, due_cents, replaces FROM claim_rows "
                       "WHERE row BETWEEN ?1 AND ?2 ORDER BY row"},
        {&again->findings, "SELECT row, effect, finding, item, message, rule FROM findings "
                           "WHERE row BETWEEN ?1 AND ?2 ORDER BY row, number"},
        {&again->contents,
         "SELECT records FROM row_blocks WHERE first_row BETWEEN ?1 AND ?2 ORDER BY first_row"},
        {&again->decision,
         "SELECT d.row, r.dealer, r.claim, d.action IN ('return', 'refuse'), (SELECT coalesce(max(b.first_row "
         "+ "
         "b.row_count), 1) - 1 FROM chain AS c JOIN batches AS b ON b.batch = c.number WHERE c.kind = 'batch' "
         "AND "
         "c.entry < (SELECT entry FROM chain WHERE kind = 'decision' AND number = d.number)) "
         "FROM office_decisions AS d JOIN claim_rows AS r ON r.row = d.row WHERE d.number = ?1"},
    };
    int status = ledger_reader_open(office, (struct ledger_point){INT64_MAX, INT64_MAX}, &again->reader);

    if (status == WM_OK)
        status = verify_followups_open(again->verification, &again->followups);
    for (size_t i = 0; status == WM_OK && i < sizeof statements / sizeof statements[0]; i++)
        status = office_prepare(office, statements[i].sql, statements[i].statement);
    return status;
}

static int walk_chain(struct again *again)
{
    struct office *office = again->verification->office;
    sqlite3_stmt *chain = NULL;
    bool more = false;
    int status = office_prepare(office, "SELECT kind, number FROM chain ORDER BY entry", &chain);

    if (status == WM_OK)
        status = office_step(office, chain, &more);
    while (status == WM_OK && more) {
        int64_t number = sqlite3_column_int64(chain, 1);
        if (text_is(column_text(chain, 0), CHAIN_BATCH))
            status = again_batch(again, number);
        else if (text_is(column_text(chain, 0), CHAIN_DECISION))
            status = again_decision(again, number);
        else if (text_is(column_text(chain, 0), CHAIN_OUTLIERS))
            status = verify_outliers_again(again->verification, number,
                                           (struct ledger_point){again->last_row, again->last_decision});
        if (status == WM_OK)
            status = office_step(office, chain, &more);
    }
    sqlite3_finalize(chain);
    return status;
}

int verify_again(struct verification *verification)
{
    struct again again = {.verification = verification};

    tallies_open(&again.tallies);
    int status = open_again(&again);
    if (status == WM_OK)
        status = walk_chain(&again);
    sqlite3_finalize(again.batch);
    sqlite3_finalize(again.rows);
    sqlite3_finalize(again.findings);
    sqlite3_finalize(again.contents);
    sqlite3_finalize(again.decision);
    ledger_reader_close(again.reader);
    verify_followups_close(again.followups);
    tallies_close(&again.tallies);
    rules_free(again.compiled);
    arena_free(&again.rules_arena);
    arena_free(&again.row_arena);
    /* rules that cannot be used are a fault that was named */
    return status == WM_BAD_INPUT ? WM_OK : status;
}
