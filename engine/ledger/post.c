#include "ledger/post.h"

#include <stdlib.h>

#include "base/status.h"
#include "ledger/chain.h"
#include "ledger/columns.h"
#include "ledger/followups_record.h"
#include "ledger/packed.h"
#include "ledger/recorded.h"
#include "ledger/row_feed.h"
#include "ledger/rules_record.h"

/* Rows are 32-bit numbers in the buckets. */
#define MOST_ROWS UINT32_C(4294967295)

enum statement {
    INSERT_BLOCK,
    INSERT_UNREADABLE,
    INSERT_REPEATED,
    INSERT_REPLACED,
    INSERT_WAITING,
    INSERT_ROWS,
    INSERT_FINDINGS,
    STATEMENTS
};

#define ROW_COLUMNS                                                                               \
    "row, batch, line, dealer, claim, revision, campaign, vin, outcome, completed_on, decision, " \
    "asked_cents, payable_cents, due_cents, replaces"

#define FINDING_COLUMNS "row, number, effect, finding, item, message, rule"

static const char *const SQL[STATEMENTS] = {
    [INSERT_BLOCK] = "INSERT INTO row_blocks (first_row, records) VALUES (?1, ?2)",
    [INSERT_UNREADABLE] =
        "INSERT INTO unreadable_rows (batch, line, dealer, claim, message) VALUES (?1, ?2, ?3, ?4, ?5)",
    [INSERT_REPEATED] = "INSERT INTO repeated_rows (batch, line, row) VALUES (?1, ?2, ?3)",
    [INSERT_REPLACED] = "INSERT INTO replaced_rows (row, replaced_by) VALUES (?1, ?2)",
    [INSERT_WAITING] = "INSERT INTO waiting_rows (row) VALUES (?1)",
    [INSERT_ROWS] = "INSERT INTO claim_rows (" ROW_COLUMNS ") SELECT " ROW_COLUMNS " FROM fed_rows",
    [INSERT_FINDINGS] =
        "INSERT INTO findings (" FINDING_COLUMNS ") SELECT " FINDING_COLUMNS " FROM fed_findings",
};

struct ledger_post {
    struct office *office;
    struct posted_file file;
    struct batch_record record;
    uint8_t rules_digest[DIGEST_BYTES];
    struct batch_canonical canonical;
    struct row_feed row_feed, finding_feed; /* of the block at hand */
    sqlite3_stmt *statements[STATEMENTS];
    struct followup_recorder *followups;
    struct packed_list rows, tallies;
    int64_t *fallen; /* rows that no longer stand */
    uint32_t fallen_count, fallen_capacity;
    const struct dossier **recorded; /* of the block at hand */
    struct finding_place *findings;
    uint32_t recorded_capacity, finding_capacity;
    struct buffer rule;
};

/* A finding of a block's claims. */
struct finding_place {
    const struct dossier *dossier;
    uint32_t number; /* from 0 */
};

/* --- Opening ----------------------------------------------------------------------------------------- */

int ledger_batch_known(struct office *office, const uint8_t digest[DIGEST_BYTES], struct arena *arena,
                       struct known_batch *ret_known)
{
    struct known_batch known = {0};
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status =
        office_prepare(office,
                       "SELECT batch, row_count, unreadable_count, repeated_count, received_on, posted_at "
                       "FROM batches WHERE file_digest = ?1",
                       &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_blob(statement, 1, digest, DIGEST_BYTES, SQLITE_STATIC);
    status = office_step(office, statement, &row);
    if (status == WM_OK && row) {
        known = (struct known_batch){sqlite3_column_int64(statement, 0), sqlite3_column_int64(statement, 1),
                                     sqlite3_column_int64(statement, 2), sqlite3_column_int64(statement, 3),
                                     column_day(statement, 4),           column_copy(statement, 5, arena)};
        if (known.posted_at.bytes == NULL)
            status = WM_NO_MEMORY;
    }
    sqlite3_finalize(statement);
    if (status == WM_OK)
        *ret_known = known;
    return status;
}

int ledger_batch_as_long(struct office *office, uint64_t bytes, bool *ret_there)
{
    sqlite3_stmt *statement = NULL;
    bool there = false;
    int status = office_prepare(office, "SELECT 1 FROM batches WHERE file_bytes = ?1 LIMIT 1", &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, (int64_t)bytes);
    status = office_step(office, statement, &there);
    sqlite3_finalize(statement);
    if (status == WM_OK)
        *ret_there = there;
    return status;
}

static int read_numbers(struct ledger_post *post)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(post->office,
                                "SELECT (SELECT coalesce(max(batch), 0) FROM batches), "
                                "(SELECT coalesce(max(row), 0) FROM claim_rows), "
                                "(SELECT coalesce(max(load), 0) FROM loads)",
                                &statement);

    if (status == WM_OK)
        status = office_step(post->office, statement, &row);
    if (status == WM_OK) {
        post->record.batch = sqlite3_column_int64(statement, 0) + 1;
        post->record.first_row = sqlite3_column_int64(statement, 1) + 1;
        post->record.load = sqlite3_column_int64(statement, 2);
    }
    sqlite3_finalize(statement);
    return status;
}

static void row_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell);
static void finding_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell);

static int prepare(struct ledger_post *post)
{
    post->row_feed = (struct row_feed){ROW_COLUMNS, 0, row_cell, post, "fed_rows"};
    post->finding_feed = (struct row_feed){FINDING_COLUMNS, 0, finding_cell, post, "fed_findings"};
    int status = row_feed_begin(post->office, &post->row_feed);

    if (status == WM_OK)
        status = row_feed_begin(post->office, &post->finding_feed);
    for (int i = 0; i < STATEMENTS && status == WM_OK; i++)
        status = office_prepare(post->office, SQL[i], &post->statements[i]);
    return status;
}

int ledger_post_open(struct office *office, const struct posted_file *file, struct ledger_post **ret_post)
{
    /* the states of the digests want more than calloc's alignment */
    struct ledger_post *post = aligned_alloc(_Alignof(struct ledger_post), sizeof *post);
    int status = post != NULL && sodium_init() >= 0 ? WM_OK : WM_NO_MEMORY;

    if (status != WM_OK) {
        free(post);
        return status;
    }
    memset(post, 0, sizeof *post);
    post->office = office;
    post->file = *file;
    packed_list_open(&post->rows, PACKED_ROWS);
    packed_list_open(&post->tallies, PACKED_TALLIES);
    batch_canonical_begin(&post->canonical);
    status = prepare(post);
    if (status == WM_OK)
        status = read_numbers(post);
    if (status == WM_OK)
        status = followups_open(office, &post->canonical, &post->followups);
    if (status == WM_OK)
        *ret_post = post;
    else
        ledger_post_close(post);
    return status;
}

void ledger_post_close(struct ledger_post *post)
{
    if (post == NULL)
        return;
    for (int i = 0; i < STATEMENTS; i++)
        sqlite3_finalize(post->statements[i]);
    row_feed_end(post->office, &post->row_feed);
    row_feed_end(post->office, &post->finding_feed);
    followups_close(post->followups);
    packed_list_free(&post->rows);
    packed_list_free(&post->tallies);
    free(post->fallen);
    free(post->recorded);
    free(post->findings);
    buffer_free(&post->rule);
    free(post);
}

uint64_t ledger_post_last_row(const struct ledger_post *post)
{
    return (uint64_t)post->record.first_row - 1;
}

/* --- Packing, in parallel ---------------------------------------------------------------------------- */

static bool stands(const struct dossier *dossier)
{
    return dossier->supersedes && (dossier->decision == DECISION_PAY || dossier->decision == DECISION_HOLD);
}

static int pack_tally(void *context, const struct packed_entry *entry)
{
    struct buffer *out = context;

    buffer_add(out, entry, packed_list_entry_bytes(PACKED_TALLIES));
    return out->failed ? WM_NO_MEMORY : WM_OK;
}

/* What finds the row, and what it counts. */
static int pack_entries(const struct dossier *dossier, struct buffer *places, struct buffer *tallies)
{
    struct packed_entry entries[PACKED_ROWS_OF_CLAIM];

    packed_rows_of(&dossier->claim, (uint32_t)dossier->row,
                   packed_note(dossier->claim.completed_on, dossier->finding_count > 0,
                               dossier->supersedes && dossier->replaces == 0),
                   entries);
    for (int i = 0; i < PACKED_ROWS_OF_CLAIM; i++)
        buffer_add(places, &entries[i], packed_list_entry_bytes(PACKED_ROWS));
    return stands(dossier) ? packed_tallies_of(&dossier->claim, 1, pack_tally, tallies) : WM_OK;
}

static void pack_row(const struct ledger_post *post, const struct dossier *dossier, struct buffer *rule,
                     struct buffer *rows)
{
    const struct row_head head = row_head_of(dossier, post->record.batch);
    uint8_t digest[DIGEST_BYTES];
    struct canonical canonical;

    row_canonical_begin(&canonical, &head, dossier->content_digest);
    for (uint32_t k = 0; k < dossier->finding_count; k++) {
        struct row_finding finding = row_finding_of(&dossier->findings[k], rule);
        row_canonical_finding(&canonical, &finding);
    }
    canonical_end(&canonical, digest);
    row_block_add(rows, digest, dossier->content);
}

int ledger_post_pack(const struct ledger_post *post, const struct decided_block *block, struct buffer *rows,
                     struct buffer *places, struct buffer *tallies)
{
    struct buffer rule = BUFFER_EMPTY;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < block->count; i++) {
        if (block->dossiers[i]->row == 0)
            continue;
        pack_row(post, block->dossiers[i], &rule, rows);
        status = pack_entries(block->dossiers[i], places, tallies);
    }
    bool failed = rule.failed || rows->failed || places->failed;
    buffer_free(&rule);
    return failed ? WM_NO_MEMORY : status;
}

/* --- Rows of the tables ------------------------------------------------------------------------------ */

static void result_text(sqlite3_context *ret_cell, struct text t)
{
    sqlite3_result_text64(ret_cell, t.bytes != NULL ? t.bytes : "", t.length, SQLITE_STATIC, SQLITE_UTF8);
}

enum row_column {
    ROW_ROW,
    ROW_BATCH,
    ROW_LINE,
    ROW_DEALER,
    ROW_CLAIM,
    ROW_REVISION,
    ROW_CAMPAIGN,
    ROW_VIN,
    ROW_OUTCOME,
    ROW_COMPLETED_ON,
    ROW_DECISION,
    ROW_ASKED,
    ROW_PAYABLE,
    ROW_DUE,
    ROW_REPLACES
};

static void row_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    const struct ledger_post *post = context;
    const struct dossier *dossier = post->recorded[row];
    const struct claim *claim = &dossier->claim;

    switch ((enum row_column)column) {
    case ROW_ROW: sqlite3_result_int64(ret_cell, (int64_t)dossier->row); break;
    case ROW_BATCH: sqlite3_result_int64(ret_cell, post->record.batch); break;
    case ROW_LINE: sqlite3_result_int64(ret_cell, (int64_t)claim->line); break;
    case ROW_DEALER: result_text(ret_cell, claim->cells[COLUMN_DEALER]); break;
    case ROW_CLAIM: result_text(ret_cell, claim->cells[COLUMN_CLAIM]); break;
    case ROW_REVISION: sqlite3_result_int64(ret_cell, claim->revision); break;
    case ROW_CAMPAIGN: result_text(ret_cell, claim->cells[COLUMN_CAMPAIGN]); break;
    case ROW_VIN: result_text(ret_cell, claim->vin); break;
    case ROW_OUTCOME: result_text(ret_cell, claim->cells[COLUMN_OUTCOME]); break;
    case ROW_COMPLETED_ON:
        if (claim->completed_on != DAY_NONE)
            sqlite3_result_int(ret_cell, claim->completed_on);
        break;
    case ROW_DECISION: result_text(ret_cell, text_of(decision_name(dossier->decision))); break;
    case ROW_ASKED: sqlite3_result_int64(ret_cell, claim->total_amount_cents); break;
    case ROW_PAYABLE: sqlite3_result_int64(ret_cell, dossier->payable_cents); break;
    case ROW_DUE: sqlite3_result_int64(ret_cell, dossier->due_cents); break;
    case ROW_REPLACES:
        if (!dossier->supersedes || dossier->replaces != 0)
            sqlite3_result_int64(ret_cell, (int64_t)dossier->replaces);
        break;
    }
}

enum finding_column {
    FINDING_ROW,
    FINDING_NUMBER,
    FINDING_EFFECT,
    FINDING_FINDING,
    FINDING_ITEM,
    FINDING_MESSAGE,
    FINDING_RULE
};

static void finding_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    struct ledger_post *post = context;
    const struct finding_place *place = &post->findings[row];
    const struct finding *finding = &place->dossier->findings[place->number];

    switch ((enum finding_column)column) {
    case FINDING_ROW: sqlite3_result_int64(ret_cell, (int64_t)place->dossier->row); break;
    case FINDING_NUMBER: sqlite3_result_int64(ret_cell, (int64_t)place->number + 1); break;
    case FINDING_EFFECT: result_text(ret_cell, text_of(effect_name(finding->effect))); break;
    case FINDING_FINDING: result_text(ret_cell, finding->name); break;
    case FINDING_ITEM: result_text(ret_cell, finding->item); break;
    case FINDING_MESSAGE: result_text(ret_cell, finding->message); break;
    case FINDING_RULE: {
        struct text rule = row_finding_of(finding, &post->rule).rule;
        if (post->rule.failed)
            sqlite3_result_error_nomem(ret_cell);
        else
            sqlite3_result_text64(ret_cell, rule.bytes, rule.length, SQLITE_TRANSIENT, SQLITE_UTF8);
        break;
    }
    }
}

/* --- Recording a block ------------------------------------------------------------------------------- */

static void *grown(void *array, uint32_t *capacity, uint32_t needed, size_t size)
{
    if (needed <= *capacity)
        return array;
    uint32_t more = *capacity ? *capacity : 4096;
    while (more < needed)
        more *= 2;
    void *bigger = realloc(array, more * size);
    if (bigger != NULL)
        *capacity = more;
    return bigger;
}

static int keep_fallen(struct ledger_post *post, uint64_t row)
{
    int64_t *more = grown(post->fallen, &post->fallen_capacity, post->fallen_count + 1, sizeof *more);

    if (more == NULL)
        return WM_NO_MEMORY;
    post->fallen = more;
    post->fallen[post->fallen_count++] = (int64_t)row;
    return WM_OK;
}

static int record_unreadable(struct ledger_post *post, const struct dossier *dossier)
{
    sqlite3_stmt *statement = post->statements[INSERT_UNREADABLE];
    struct text dealer = dossier->claim.cells[COLUMN_DEALER], claim = dossier->claim.cells[COLUMN_CLAIM];
    struct text message = dossier->findings[0].message; /* that it cannot be read */
    int64_t line = (int64_t)dossier->claim.line;

    post->record.unreadable_count++;
    batch_canonical_unreadable(&post->canonical, line, dealer, claim, message);
    sqlite3_bind_int64(statement, 1, post->record.batch);
    sqlite3_bind_int64(statement, 2, line);
    bind_text(statement, 3, dealer);
    bind_text(statement, 4, claim);
    bind_text(statement, 5, message);
    return office_execute(post->office, statement);
}

static int record_repeated(struct ledger_post *post, const struct dossier *dossier)
{
    sqlite3_stmt *statement = post->statements[INSERT_REPEATED];
    int64_t line = (int64_t)dossier->claim.line, row = (int64_t)dossier->repeats;

    post->record.repeated_count++;
    batch_canonical_repeated(&post->canonical, line, row);
    sqlite3_bind_int64(statement, 1, post->record.batch);
    sqlite3_bind_int64(statement, 2, line);
    sqlite3_bind_int64(statement, 3, row);
    return office_execute(post->office, statement);
}

static int record_replaced(struct ledger_post *post, const struct dossier *dossier)
{
    sqlite3_stmt *statement = post->statements[INSERT_REPLACED];

    sqlite3_bind_int64(statement, 1, (int64_t)dossier->replaces);
    sqlite3_bind_int64(statement, 2, (int64_t)dossier->row);
    return office_execute(post->office, statement);
}

/* What the row replaced waits no longer: a trigger sees to it. */
static int record_waiting(struct ledger_post *post, const struct dossier *dossier)
{
    sqlite3_stmt *statement = post->statements[INSERT_WAITING];

    sqlite3_bind_int64(statement, 1, (int64_t)dossier->row);
    return office_execute(post->office, statement);
}

/* What is kept for later of a row, and what has a table of its own. */
static int note_row(struct ledger_post *post, const struct dossier *dossier)
{
    int status = WM_OK;

    if (dossier->row > MOST_ROWS) {
        diag_error(office_sink(post->office), (struct place){text_of(office_path(post->office)), 0, 0},
                   "an office file holds up to %u claims and this one is full; begin a new one", MOST_ROWS);
        return WM_LIMIT;
    }
    if (dossier->stood != 0)
        status = keep_fallen(post, dossier->stood);
    if (status == WM_OK && dossier->replaces != 0)
        status = record_replaced(post, dossier);
    if (status == WM_OK && dossier->decision == DECISION_HOLD && dossier->supersedes)
        status = record_waiting(post, dossier);
    return status == WM_OK ? followups_record(post->followups, dossier) : status;
}

/* Sorts the claims of a block into those that get a row and others. */
static int sort_out(struct ledger_post *post, const struct decided_block *block, uint32_t *ret_recorded,
                    uint32_t *ret_findings)
{
    const struct dossier **rows = grown(post->recorded, &post->recorded_capacity, block->count, sizeof *rows);
    uint32_t recorded = 0, findings = 0;
    int status = rows != NULL || block->count == 0 ? WM_OK : WM_NO_MEMORY;

    if (rows != NULL)
        post->recorded = rows;
    for (uint32_t i = 0; status == WM_OK && i < block->count; i++) {
        const struct dossier *dossier = block->dossiers[i];
        if (dossier->claim.unreadable)
            status = record_unreadable(post, dossier);
        else if (dossier->repeats != 0)
            status = record_repeated(post, dossier);
        else {
            post->recorded[recorded++] = dossier;
            findings += dossier->finding_count;
            status = note_row(post, dossier);
        }
    }
    *ret_recorded = recorded;
    *ret_findings = findings;
    return status;
}

static int insert_findings(struct ledger_post *post, uint32_t recorded, uint32_t count)
{
    struct finding_place *places = grown(post->findings, &post->finding_capacity, count, sizeof *places);
    uint32_t at = 0;

    if (count == 0)
        return WM_OK;
    if (places == NULL)
        return WM_NO_MEMORY;
    post->findings = places;
    for (uint32_t i = 0; i < recorded; i++)
        for (uint32_t k = 0; k < post->recorded[i]->finding_count; k++)
            places[at++] = (struct finding_place){post->recorded[i], k};
    post->finding_feed.rows = count;
    return office_execute(post->office, post->statements[INSERT_FINDINGS]);
}

static int insert_rows(struct ledger_post *post, uint32_t count)
{
    post->row_feed.rows = count;
    return count == 0 ? WM_OK : office_execute(post->office, post->statements[INSERT_ROWS]);
}

static int insert_block(struct ledger_post *post, int64_t first_row, struct text records)
{
    sqlite3_stmt *statement = post->statements[INSERT_BLOCK];

    sqlite3_bind_int64(statement, 1, first_row);
    sqlite3_bind_blob64(statement, 2, records.bytes, records.length, SQLITE_STATIC);
    return office_execute(post->office, statement);
}

/* Cuts what was packed after every BLOCK_ROWS rows. */
static int insert_blocks(struct ledger_post *post, int64_t first_row, struct text packed)
{
    struct text rest = packed, content;
    const uint8_t *digest;
    int64_t row = first_row;
    int status = WM_OK;

    while (status == WM_OK && rest.length > 0) {
        struct text begin = rest;
        int64_t first = row;
        while (row < first + BLOCK_ROWS && row_block_next(&rest, &digest, &content)) {
            batch_canonical_row(&post->canonical, digest);
            row++;
        }
        status = insert_block(post, first, (struct text){begin.bytes, (size_t)(rest.bytes - begin.bytes)});
    }
    return status;
}

int ledger_post_record(struct ledger_post *post, const struct decided_block *block, const struct buffer *rows,
                       const struct buffer *places, const struct buffer *tallies)
{
    int64_t first_row = post->record.first_row + post->record.row_count;
    uint32_t recorded, findings;
    int status = sort_out(post, block, &recorded, &findings);

    if (status == WM_OK)
        status = packed_list_append(&post->rows, buffer_text(places));
    if (status == WM_OK)
        status = packed_list_append(&post->tallies, buffer_text(tallies));
    if (status == WM_OK)
        status = insert_rows(post, recorded);
    if (status == WM_OK)
        status = insert_findings(post, recorded, findings);
    if (status == WM_OK)
        status = insert_blocks(post, first_row, buffer_text(rows));
    post->record.row_count += recorded;
    return status;
}

/* --- The end ----------------------------------------------------------------------------------------- */

static int take_tally(void *context, const struct packed_entry *entry)
{
    return packed_list_add(context, entry);
}

/* Takes out what the rows counted that no longer stand. */
static int take_out_fallen(struct ledger_post *post)
{
    struct arena arena = ARENA_EMPTY;
    struct ledger_reader *reader = NULL;
    int status = post->fallen_count == 0
                     ? WM_OK
                     : ledger_reader_open(post->office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader);

    for (uint32_t i = 0; status == WM_OK && i < post->fallen_count; i++) {
        struct claim claim;
        struct text content;
        arena_reset(&arena);
        status = ledger_content(reader, &arena, post->fallen[i], &content);
        if (status == WM_OK)
            status = ledger_content_claim(content, 0, &arena, &claim);
        if (status == WM_OK)
            status = packed_tallies_of(&claim, -1, take_tally, &post->tallies);
    }
    ledger_reader_close(reader);
    arena_free(&arena);
    return status;
}

static int insert_batch(struct ledger_post *post)
{
    const struct batch_record *record = &post->record;
    sqlite3_stmt *statement = NULL;
    int status = office_prepare(
        post->office,
        "INSERT INTO batches (batch, file_name, file_bytes, file_digest, first_row, "
        "row_count, unreadable_count, repeated_count, received_on, today, posted_at, rules, load) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
        &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, record->batch);
    bind_text(statement, 2, record->file_name);
    sqlite3_bind_int64(statement, 3, record->file_bytes);
    sqlite3_bind_blob(statement, 4, record->file_digest, DIGEST_BYTES, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 5, record->first_row);
    sqlite3_bind_int64(statement, 6, record->row_count);
    sqlite3_bind_int64(statement, 7, record->unreadable_count);
    sqlite3_bind_int64(statement, 8, record->repeated_count);
    bind_day(statement, 9, record->received_on);
    bind_day(statement, 10, record->today);
    bind_text(statement, 11, record->posted_at);
    sqlite3_bind_int64(statement, 12, record->rules);
    sqlite3_bind_int64(statement, 13, record->load);
    status = office_execute(post->office, statement);
    sqlite3_finalize(statement);
    return status;
}

static int chain_batch(struct ledger_post *post)
{
    struct batch_record *record = &post->record;
    uint8_t digest[DIGEST_BYTES];
    int status = rules_record(post->office, post->file.rules, &record->rules, post->rules_digest);

    if (status != WM_OK)
        return status;
    record->rules_digest = post->rules_digest;
    record->file_name = post->file.name;
    record->file_bytes = (int64_t)post->file.bytes;
    record->file_digest = post->file.digest;
    record->received_on = post->file.received_on;
    record->today = post->file.today;
    record->posted_at = post->file.posted_at;
    status = insert_batch(post);
    if (status != WM_OK)
        return status;
    batch_digest(record, &post->canonical, digest);
    return chain_append(post->office, CHAIN_BATCH, record->batch, digest);
}

int ledger_post_finish(struct ledger_post *post, struct post_summary *ret_summary)
{
    int status = take_out_fallen(post);

    if (status == WM_OK)
        status = packed_list_settle(&post->rows, post->file.threads);
    if (status == WM_OK)
        status = packed_write(post->office, &post->rows);
    packed_list_free(&post->rows);
    if (status == WM_OK)
        status = packed_list_settle(&post->tallies, post->file.threads);
    if (status == WM_OK)
        status = packed_write(post->office, &post->tallies);
    if (status == WM_OK)
        status = chain_batch(post);
    if (status != WM_OK)
        return status;
    *ret_summary = (struct post_summary){
        post->record.batch, (uint64_t)post->record.row_count, (uint64_t)post->record.unreadable_count,
        (uint64_t)post->record.repeated_count, followups_recorded(post->followups)};
    return WM_OK;
}
