/* Office decisions, and batches with all that belongs to them: read side by side in the order of recording. */
#include <stdlib.h>

#include "base/status.h"
#include "intake/canonical.h"
#include "ledger/office_decisions.h"
#include "ledger/verify_parts.h"

/* --- Office decisions -------------------------------------------------------------------------------- */

static int keep_decided(struct verification *verification, const struct office_decision *decision)
{
    struct decided_row *list = verification->decided;
    uint32_t count = verification->decided_count;
    enum decision decided;

    if (!decision_from(decision->action, &decided))
        return WM_OK;
    if ((count & (count - 1)) == 0) { /* room grows at powers of two */
        list = arena_grown(&verification->arena, list, count, count == 0 ? 1 : (size_t)count * 2, sizeof *list);
        if (list == NULL)
            return office_report(verification->office, SQLITE_NOMEM);
        verification->decided = list;
    }
    list[verification->decided_count++] = (struct decided_row){decision->row, decision->number, decided};
    return WM_OK;
}

static int by_row_and_number(const void *a, const void *b)
{
    const struct decided_row *x = a, *y = b;

    if (x->row != y->row)
        return x->row < y->row ? -1 : 1;
    return (x->number > y->number) - (x->number < y->number);
}

int verify_decisions(struct verification *verification)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = verify_numbering(verification, "office_decisions", "number", &verification->decision_count);

    if (status == WM_OK)
        status = verify_digests(verification, verification->decision_count, &verification->decision_digests);
    if (status == WM_OK)
        status = office_prepare(verification->office,
                                "SELECT number, row, action, decided_by, reason, decided_on, recorded_at, "
                                "payable_cents, due_cents FROM office_decisions ORDER BY number",
                                &statement);
    if (status == WM_OK)
        status = office_step(verification->office, statement, &more);
    while (status == WM_OK && more) {
        const struct office_decision decision = {.number = sqlite3_column_int64(statement, 0),
                                                 .row = sqlite3_column_int64(statement, 1),
                                                 .action = column_text(statement, 2),
                                                 .decided_by = column_text(statement, 3),
                                                 .reason = column_text(statement, 4),
                                                 .decided_on = column_day(statement, 5),
                                                 .recorded_at = column_text(statement, 6),
                                                 .payable_cents = sqlite3_column_int64(statement, 7),
                                                 .due_cents = sqlite3_column_int64(statement, 8)};
        if (decision.number >= 1 && decision.number <= verification->decision_count)
            office_decision_digest(&decision, verification->decision_digests[decision.number]);
        status = keep_decided(verification, &decision);
        if (status == WM_OK)
            status = office_step(verification->office, statement, &more);
    }
    sqlite3_finalize(statement);
    if (verification->decided_count > 0)
        qsort(verification->decided, verification->decided_count, sizeof *verification->decided,
              by_row_and_number);
    verification->result.decisions = (uint64_t)verification->decision_count;
    return status;
}

/* What is decided on a row by now. */
static enum decision decision_now(const struct verification *verification, int64_t row, enum decision by_engine)
{
    const struct decided_row *list = verification->decided;
    uint32_t low = 0, high = verification->decided_count;

    while (low < high) { /* the first behind the row */
        uint32_t middle = low + (high - low) / 2;
        if (list[middle].row <= row)
            low = middle + 1;
        else
            high = middle;
    }
    return low > 0 && list[low - 1].row == row ? list[low - 1].decision : by_engine;
}

/* --- Tables read side by side ------------------------------------------------------------------------ */

enum side { ROWS, FINDINGS, BLOCKS, UNREADABLE, REPEATED, FOLLOWUPS, FOLLOWUP_PARTS, REPLACES_OF, SIDES };

static const char *const SQL[SIDES] = {
    [ROWS] =
        "SELECT row, batch, line, dealer, claim, revision, campaign, vin, outcome, completed_on, decision, "
        "asked_cents, payable_cents, due_cents, replaces FROM claim_rows ORDER BY row",
    [FINDINGS] = "SELECT row, number, effect, finding, item, message, rule FROM findings ORDER BY row, number",
    [BLOCKS] = "SELECT first_row, records FROM row_blocks ORDER BY first_row",
    [UNREADABLE] = "SELECT batch, line, dealer, claim, message FROM unreadable_rows ORDER BY batch, line",
    [REPEATED] = "SELECT batch, line, row FROM repeated_rows ORDER BY batch, line",
    [FOLLOWUPS] =
        "SELECT row, number, vin, followup, part, part_key, due_on FROM followups ORDER BY row, number",
    [FOLLOWUP_PARTS] = "SELECT supplied_by, row, number FROM followup_parts ORDER BY supplied_by, row, number",
    [REPLACES_OF] = "SELECT replaces, decision FROM claim_rows WHERE row = ?1",
};

struct walk {
    struct verification *verification;
    sqlite3_stmt *sides[SIDES];
    bool more[SIDES]; /* a row of it is at hand */
    struct ledger_reader *reader;
    struct packed_reader *rows;
    struct text records; /* what is left of the block at hand */
    int64_t next_row;    /* that must come */
    struct batch_canonical *canonical;
    struct arena arena; /* for one row */
    uint8_t *stands;    /* a bit for each row */
    int64_t row_count;
};

static int advance(struct walk *walk, enum side side)
{
    return office_step(walk->verification->office, walk->sides[side], &walk->more[side]);
}

/* --- Contents ---------------------------------------------------------------------------------------- */

/* The next record of the blocks, which belongs to this row. */
static int next_content(struct walk *walk, int64_t row, const uint8_t **ret_digest, struct text *ret_content)
{
    int status = WM_OK;

    *ret_digest = NULL;
    if (walk->records.length == 0) {
        if (walk->records.bytes != NULL) /* of a block that is used up */
            status = advance(walk, BLOCKS);
        walk->records = (struct text){"", 0};
        if (status != WM_OK || !walk->more[BLOCKS])
            return status;
        if (sqlite3_column_int64(walk->sides[BLOCKS], 0) != row) {
            verify_row_fault(walk->verification, row,
                             "its content is missing in row_blocks; restore the file from a copy");
            walk->more[BLOCKS] = false;
            return WM_OK;
        }
        walk->records = column_blob(walk->sides[BLOCKS], 1);
    }
    if (!row_block_next(&walk->records, ret_digest, ret_content)) {
        *ret_digest = NULL;
        walk->records.length = 0;
    }
    return WM_OK;
}

/* The first column of claim_rows that says something else than the content; NULL: none. */
static const char *differing_column(sqlite3_stmt *row, const struct claim *claim)
{
    const struct {
        const char *name;
        int column;
        struct text stated;
    } texts[] = {{"dealer", 3, claim->cells[COLUMN_DEALER]},
                 {"claim", 4, claim->cells[COLUMN_CLAIM]},
                 {"campaign", 6, claim->cells[COLUMN_CAMPAIGN]},
                 {"vin", 7, claim->vin},
                 {"outcome", 8, claim->cells[COLUMN_OUTCOME]}};

    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (!text_equal(column_text(row, texts[i].column), texts[i].stated))
            return texts[i].name;
    if (sqlite3_column_int64(row, 5) != claim->revision)
        return "revision";
    if (column_day(row, 9) != claim->completed_on)
        return "completed_on";
    return sqlite3_column_int64(row, 11) != claim->total_amount_cents ? "asked_cents" : NULL;
}

static int add_findings(struct walk *walk, int64_t row, struct canonical *canonical, bool *ret_any)
{
    sqlite3_stmt *side = walk->sides[FINDINGS];
    int64_t number = 0;
    int status = WM_OK;

    while (status == WM_OK && walk->more[FINDINGS] && sqlite3_column_int64(side, 0) <= row) {
        const struct row_finding finding = {column_text(side, 2), column_text(side, 3), column_text(side, 4),
                                            column_text(side, 5), column_text(side, 6)};
        if (sqlite3_column_int64(side, 0) < row)
            verify_fault(walk->verification,
                         "findings has a row for row %lld of claim_rows, which is not there; restore "
                         "the file from a copy",
                         sqlite3_column_int64(side, 0));
        else if (sqlite3_column_int64(side, 1) != ++number)
            verify_row_fault(walk->verification, row,
                             "finding %lld is missing or numbered wrongly; restore the file from "
                             "a copy",
                             (long long)number);
        if (sqlite3_column_int64(side, 0) == row)
            row_canonical_finding(canonical, &finding);
        status = advance(walk, FINDINGS);
    }
    *ret_any = number > 0;
    return status;
}

static void row_digest(struct walk *walk, const uint8_t *content, struct canonical *canonical)
{
    sqlite3_stmt *row = walk->sides[ROWS];
    const struct row_head head = {.row = sqlite3_column_int64(row, 0),
                                  .batch = sqlite3_column_int64(row, 1),
                                  .line = sqlite3_column_int64(row, 2),
                                  .decision = column_text(row, 10),
                                  .asked_cents = sqlite3_column_int64(row, 11),
                                  .payable_cents = sqlite3_column_int64(row, 12),
                                  .due_cents = sqlite3_column_int64(row, 13),
                                  .replaces_is_null = sqlite3_column_type(row, 14) == SQLITE_NULL,
                                  .replaces = sqlite3_column_int64(row, 14)};

    row_canonical_begin(canonical, &head, content);
}

/* --- What stands ------------------------------------------------------------------------------------- */

static bool counts_as_standing(enum decision decision)
{
    return decision == DECISION_PAY || decision == DECISION_HOLD;
}

/* row: above 0 */
static bool stands(const struct walk *walk, int64_t row)
{
    return row <= walk->row_count && (walk->stands[row / 8] >> (row % 8) & 1);
}

static int tally_row(struct walk *walk, int64_t row, int sign)
{
    struct text content;
    struct claim claim;
    int status = ledger_content(walk->reader, &walk->arena, row, &content);

    if (status == WM_OK)
        status = ledger_content_claim(content, 0, &walk->arena, &claim);
    return status == WM_OK ? tallies_add_claim(&walk->verification->tallies, &claim, sign) : status;
}

/* Whatever stood for the claim before gives its place to a row that stands. */
static int replace_standing(struct walk *walk, int64_t replaces)
{
    int status = WM_OK;

    while (status == WM_OK && replaces > 0 && !stands(walk, replaces)) {
        bool found = false;
        int64_t before = replaces;
        sqlite3_bind_int64(walk->sides[REPLACES_OF], 1, replaces);
        status = office_step(walk->verification->office, walk->sides[REPLACES_OF], &found);
        replaces = status == WM_OK && found ? sqlite3_column_int64(walk->sides[REPLACES_OF], 0) : 0;
        sqlite3_reset(walk->sides[REPLACES_OF]);
        if (replaces >= before) /* a circle */
            replaces = 0;
    }
    if (status != WM_OK || replaces <= 0 || replaces > walk->row_count)
        return status;
    walk->stands[replaces / 8] &= (uint8_t) ~(1u << (replaces % 8));
    return tally_row(walk, replaces, -1);
}

static int note_standing(struct walk *walk, int64_t row, const struct claim *claim)
{
    sqlite3_stmt *statement = walk->sides[ROWS];
    enum decision decision;
    int64_t replaces = sqlite3_column_int64(statement, 14);
    bool counts = sqlite3_column_type(statement, 14) == SQLITE_NULL || replaces != 0;

    if (!decision_from(column_text(statement, 10), &decision) || row < 1 || row > walk->row_count || !counts ||
        !counts_as_standing(decision_now(walk->verification, row, decision)))
        return WM_OK;
    int status = replace_standing(walk, replaces);
    walk->stands[row / 8] |= (uint8_t)(1u << (row % 8));
    return status == WM_OK ? tallies_add_claim(&walk->verification->tallies, claim, 1) : status;
}

/* Every way to find the row leads to it. */
static int find_row(struct walk *walk, int64_t row, const struct claim *claim, bool has_findings)
{
    static const char *const WAYS[PACKED_ROWS_OF_CLAIM] = {"claim", "vehicle", "repair order"};
    struct packed_entry entries[PACKED_ROWS_OF_CLAIM];
    bool found = false;
    int status = WM_OK;

    bool is_first = sqlite3_column_type(walk->sides[ROWS], 14) == SQLITE_NULL;

    packed_rows_of(claim, (uint32_t)row, packed_note(claim->completed_on, has_findings, is_first), entries);
    for (int i = 0; status == WM_OK && i < PACKED_ROWS_OF_CLAIM; i++) {
        status = packed_has_entry(walk->rows, &entries[i], &found);
        if (status == WM_OK && !found)
            verify_row_fault(walk->verification, row,
                             "row_buckets does not have it by its %s; restore the file from a copy", WAYS[i]);
    }
    return status;
}

/* --- Rows of a batch --------------------------------------------------------------------------------- */

static int check_content(struct walk *walk, int64_t row, struct text content, struct claim *ret_claim)
{
    int status =
        ledger_content_claim(content, sqlite3_column_int64(walk->sides[ROWS], 2), &walk->arena, ret_claim);

    if (status != WM_OK)
        return office_report(walk->verification->office, SQLITE_NOMEM);
    const char *column = ret_claim->unreadable ? "content" : differing_column(walk->sides[ROWS], ret_claim);
    if (column != NULL)
        verify_row_fault(walk->verification, row,
                         "its %s does not fit what was recorded; restore the file from a copy", column);
    return WM_OK;
}

/* What is derived from a row comes behind the row itself, so that a record that was changed is what is named first. */
static int check_derived(struct walk *walk, int64_t row, const struct claim *claim, bool has_findings)
{
    int status = find_row(walk, row, claim, has_findings);

    return status == WM_OK ? note_standing(walk, row, claim) : status;
}

static void show_progress(struct walk *walk)
{
    enum { EVERY = 8192 };
    const struct verify_options *options = walk->verification->options;
    uint64_t rows = ++walk->verification->result.rows;

    if (options->progress != NULL && rows % EVERY == 0)
        options->progress(options->context, "reading claims", rows, (uint64_t)walk->row_count);
}

static int check_row(struct walk *walk, int64_t batch)
{
    int64_t row = sqlite3_column_int64(walk->sides[ROWS], 0);
    uint64_t faults = walk->verification->result.faults;
    uint8_t content_is[CONTENT_DIGEST_BYTES], digest_is[DIGEST_BYTES];
    const uint8_t *digest;
    struct text content = {"", 0};
    struct canonical canonical;
    struct claim claim;
    bool has_findings = false;

    arena_reset(&walk->arena);
    if (row != walk->next_row)
        verify_fault(walk->verification, "row %lld of claim_rows is missing; restore the file from a copy",
                     (long long)walk->next_row);
    if (sqlite3_column_int64(walk->sides[ROWS], 1) != batch)
        verify_row_fault(walk->verification, row,
                         "it stands among the rows of batch %lld; restore the file from a copy",
                         (long long)batch);
    walk->next_row = row + 1;
    int status = next_content(walk, row, &digest, &content);
    content_digest(content, content_is);
    row_digest(walk, content_is, &canonical);
    if (status == WM_OK)
        status = add_findings(walk, row, &canonical, &has_findings);
    canonical_end(&canonical, digest_is);
    batch_canonical_row(walk->canonical, digest_is);
    if (status == WM_OK && digest != NULL)
        status = check_content(walk, row, content, &claim);
    if (status == WM_OK && walk->verification->result.faults == faults &&
        (digest == NULL || memcmp(digest, digest_is, DIGEST_BYTES) != 0))
        verify_row_fault(walk->verification, row, "it does not fit its digest; restore the file from a copy");
    if (status == WM_OK && digest != NULL)
        status = check_derived(walk, row, &claim, has_findings);
    show_progress(walk);
    return status;
}

static int check_rows(struct walk *walk, const struct batch_record *batch)
{
    int64_t count = 0;
    int status = WM_OK;

    if (batch->first_row != walk->next_row)
        verify_fault(walk->verification,
                     "batch %lld begins at row %lld and not at %lld; restore the file from a copy",
                     (long long)batch->batch, (long long)batch->first_row, (long long)walk->next_row);
    for (; status == WM_OK && walk->more[ROWS] && count < batch->row_count; count++) {
        status = check_row(walk, batch->batch);
        if (status == WM_OK)
            status = advance(walk, ROWS);
    }
    if (status == WM_OK && count < batch->row_count)
        verify_fault(walk->verification,
                     "batch %lld has %lld rows and lacks %lld; restore the file from a copy",
                     (long long)batch->batch, (long long)count, (long long)(batch->row_count - count));
    return status;
}

/* --- What else belongs to a batch -------------------------------------------------------------------- */

static int add_unreadable(struct walk *walk, int64_t batch, int64_t *ret_count)
{
    sqlite3_stmt *side = walk->sides[UNREADABLE];
    int status = WM_OK;

    for (*ret_count = 0; status == WM_OK && walk->more[UNREADABLE] && sqlite3_column_int64(side, 0) <= batch;
         ++*ret_count) {
        batch_canonical_unreadable(walk->canonical, sqlite3_column_int64(side, 1), column_text(side, 2),
                                   column_text(side, 3), column_text(side, 4));
        status = advance(walk, UNREADABLE);
    }
    return status;
}

static int add_repeated(struct walk *walk, int64_t batch, int64_t *ret_count)
{
    sqlite3_stmt *side = walk->sides[REPEATED];
    int status = WM_OK;

    for (*ret_count = 0; status == WM_OK && walk->more[REPEATED] && sqlite3_column_int64(side, 0) <= batch;
         ++*ret_count) {
        batch_canonical_repeated(walk->canonical, sqlite3_column_int64(side, 1), sqlite3_column_int64(side, 2));
        status = advance(walk, REPEATED);
    }
    return status;
}

static int add_followups(struct walk *walk, int64_t last_row)
{
    sqlite3_stmt *work = walk->sides[FOLLOWUPS], *parts = walk->sides[FOLLOWUP_PARTS];
    int status = WM_OK;

    while (status == WM_OK && walk->more[FOLLOWUPS] && sqlite3_column_int64(work, 0) <= last_row) {
        const struct followup followup = {sqlite3_column_int64(work, 0),
                                          sqlite3_column_int64(work, 1),
                                          column_text(work, 2),
                                          column_text(work, 3),
                                          column_text(work, 4),
                                          column_text(work, 5),
                                          column_day(work, 6)};
        batch_canonical_followup(walk->canonical, &followup);
        status = advance(walk, FOLLOWUPS);
    }
    while (status == WM_OK && walk->more[FOLLOWUP_PARTS] && sqlite3_column_int64(parts, 0) <= last_row) {
        batch_canonical_followup_part(walk->canonical, sqlite3_column_int64(parts, 0),
                                      sqlite3_column_int64(parts, 1), sqlite3_column_int64(parts, 2));
        status = advance(walk, FOLLOWUP_PARTS);
    }
    return status;
}

static void check_count(struct verification *verification, int64_t batch, const char *what, int64_t said,
                        int64_t there)
{
    if (said != there)
        verify_fault(verification, "batch %lld has %lld rows of %s and says %lld; restore the file from a copy",
                     (long long)batch, (long long)there, what, (long long)said);
}

/* --- Batches ----------------------------------------------------------------------------------------- */

#define BATCHES                                                                                  \
    "SELECT batch, file_name, file_bytes, file_digest, first_row, row_count, unreadable_count, " \
    "repeated_count, "                                                                           \
    "received_on, today, posted_at, rules, load FROM batches ORDER BY batch"

static const uint8_t NOTHING[DIGEST_BYTES];

static struct batch_record batch_at(sqlite3_stmt *statement)
{
    return (struct batch_record){.batch = sqlite3_column_int64(statement, 0),
                                 .file_name = column_text(statement, 1),
                                 .file_bytes = sqlite3_column_int64(statement, 2),
                                 .file_digest = verify_digest_at(statement, 3),
                                 .first_row = sqlite3_column_int64(statement, 4),
                                 .row_count = sqlite3_column_int64(statement, 5),
                                 .unreadable_count = sqlite3_column_int64(statement, 6),
                                 .repeated_count = sqlite3_column_int64(statement, 7),
                                 .received_on = column_day(statement, 8),
                                 .today = column_day(statement, 9),
                                 .posted_at = column_text(statement, 10),
                                 .rules = sqlite3_column_int64(statement, 11),
                                 .rules_digest = NOTHING,
                                 .load = sqlite3_column_int64(statement, 12)};
}

static int check_batch(struct walk *walk, sqlite3_stmt *statement)
{
    struct verification *verification = walk->verification;
    struct batch_record batch = batch_at(statement);
    int64_t unreadable = 0, repeated = 0;

    batch_canonical_begin(walk->canonical);
    int status = check_rows(walk, &batch);
    if (status == WM_OK)
        status = add_unreadable(walk, batch.batch, &unreadable);
    if (status == WM_OK)
        status = add_repeated(walk, batch.batch, &repeated);
    if (status == WM_OK)
        status = add_followups(walk, walk->next_row - 1);
    if (status != WM_OK)
        return status;
    check_count(verification, batch.batch, "unreadable_rows", batch.unreadable_count, unreadable);
    check_count(verification, batch.batch, "repeated_rows", batch.repeated_count, repeated);
    if (batch.rules >= 1 && batch.rules <= verification->rules_count)
        batch.rules_digest = verification->rules_digests[batch.rules];
    else
        verify_fault(verification,
                     "batch %lld was decided with rules %lld, which are not recorded; restore the file from "
                     "a copy",
                     (long long)batch.batch, (long long)batch.rules);
    if (batch.batch >= 1 && batch.batch <= verification->batch_count)
        batch_digest(&batch, walk->canonical, verification->batch_digests[batch.batch]);
    verification->result.batches++;
    return WM_OK;
}

static void check_left_over(struct walk *walk)
{
    static const char *const TABLES[SIDES] = {[ROWS] = "claim_rows",
                                              [FINDINGS] = "findings",
                                              [BLOCKS] = "row_blocks",
                                              [UNREADABLE] = "unreadable_rows",
                                              [REPEATED] = "repeated_rows",
                                              [FOLLOWUPS] = "followups",
                                              [FOLLOWUP_PARTS] = "followup_parts"};

    for (int side = ROWS; side <= FOLLOWUP_PARTS; side++)
        if (walk->more[side])
            verify_fault(walk->verification,
                         "%s has rows that belong to no batch, the first of them %lld; restore the file "
                         "from a copy",
                         TABLES[side], sqlite3_column_int64(walk->sides[side], 0));
}

static int walk_batches(struct walk *walk)
{
    struct office *office = walk->verification->office;
    sqlite3_stmt *batches = NULL;
    bool more = false;
    int status = office_prepare(office, BATCHES, &batches);

    for (int side = ROWS; side <= FOLLOWUP_PARTS && status == WM_OK; side++)
        status = advance(walk, (enum side)side);
    if (status == WM_OK)
        status = office_step(office, batches, &more);
    while (status == WM_OK && more) {
        status = check_batch(walk, batches);
        if (status == WM_OK)
            status = office_step(office, batches, &more);
    }
    /* the block at hand is used up where all is well */
    if (status == WM_OK && walk->records.bytes != NULL && walk->records.length == 0 && walk->more[BLOCKS])
        status = advance(walk, BLOCKS);
    if (status == WM_OK)
        check_left_over(walk);
    sqlite3_finalize(batches);
    return status;
}

int verify_batches(struct verification *verification)
{
    struct walk walk = {.verification = verification, .next_row = 1};
    int status = verify_numbering(verification, "batches", "batch", &verification->batch_count);

    if (status == WM_OK)
        status = verify_digests(verification, verification->batch_count, &verification->batch_digests);
    if (status == WM_OK)
        status = verify_number(verification, "SELECT count(*) FROM claim_rows", &walk.row_count);
    for (int i = 0; i < SIDES && status == WM_OK; i++)
        status = office_prepare(verification->office, SQL[i], &walk.sides[i]);
    if (status == WM_OK)
        status =
            ledger_reader_open(verification->office, (struct ledger_point){INT64_MAX, INT64_MAX}, &walk.reader);
    if (status == WM_OK)
        status = packed_reader_open(verification->office, PACKED_ROWS, &walk.rows);
    walk.canonical = aligned_alloc(_Alignof(struct batch_canonical), sizeof *walk.canonical);
    walk.stands = calloc((size_t)walk.row_count / 8 + 1, 1);
    if (status == WM_OK && (walk.canonical == NULL || walk.stands == NULL))
        status = office_report(verification->office, SQLITE_NOMEM);
    if (status == WM_OK)
        status = walk_batches(&walk);
    for (int i = 0; i < SIDES; i++)
        sqlite3_finalize(walk.sides[i]);
    ledger_reader_close(walk.reader);
    packed_reader_close(walk.rows);
    free(walk.canonical);
    free(walk.stands);
    arena_free(&walk.arena);
    return status;
}
