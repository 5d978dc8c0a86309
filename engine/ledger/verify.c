#include "ledger/verify.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/limits.h"
#include "base/status.h"
#include "ledger/known_schema.h"
#include "ledger/verify_parts.h"

/* --- Faults ------------------------------------------------------------------------------------------ */

static void report_fault(struct verification *verification, const char *message)
{
    if (verification->result.faults++ < VERIFY_FAULTS_NAMED)
        diag_error(verification->sink, (struct place){text_of(office_path(verification->office)), 0, 0}, "%s",
                   message);
}

void verify_fault(struct verification *verification, const char *format, ...)
{
    char message[LIMIT_MESSAGE_BYTES];
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(message, sizeof message, format, arguments);
    va_end(arguments);
    report_fault(verification, message);
}

static bool describe_row(struct verification *verification, int64_t row, char *room, size_t size)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;

    if (sqlite3_prepare_v2(office_database(verification->office),
                           "SELECT batch, line, dealer, claim, revision FROM claim_rows WHERE row = ?1", -1,
                           &statement, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(statement, 1, row);
    if (sqlite3_step(statement) == SQLITE_ROW) {
        struct text dealer = column_text(statement, 2), claim = column_text(statement, 3);
        snprintf(room, size, "batch %lld, line %lld, claim %.*s/%.*s, revision %lld (row %lld)",
                 sqlite3_column_int64(statement, 0), sqlite3_column_int64(statement, 1), TEXT_ARGUMENTS(dealer),
                 TEXT_ARGUMENTS(claim), sqlite3_column_int64(statement, 4), (long long)row);
        found = true;
    }
    sqlite3_finalize(statement);
    return found;
}

void verify_row_fault(struct verification *verification, int64_t row, const char *format, ...)
{
    char message[LIMIT_MESSAGE_BYTES], what[LIMIT_MESSAGE_BYTES / 2], who[LIMIT_MESSAGE_BYTES / 2 - 8];
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(what, sizeof what, format, arguments);
    va_end(arguments);
    if (!describe_row(verification, row, who, sizeof who))
        snprintf(who, sizeof who, "row %lld of claim_rows", (long long)row);
    snprintf(message, sizeof message, "%s: %s", who, what);
    report_fault(verification, message);
}

int verify_query(struct verification *verification, const char *sql)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(verification->office, sql, &statement);

    if (status == WM_OK)
        status = office_step(verification->office, statement, &more);
    while (status == WM_OK && more) {
        struct text words = column_text(statement, 0);
        verify_fault(verification, "%.*s", TEXT_ARGUMENTS(words));
        status = office_step(verification->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

int verify_number(struct verification *verification, const char *sql, int64_t *ret_number)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(verification->office, sql, &statement);

    if (status == WM_OK)
        status = office_step(verification->office, statement, &row);
    if (status == WM_OK)
        *ret_number = row ? sqlite3_column_int64(statement, 0) : 0;
    sqlite3_finalize(statement);
    return status;
}

int verify_numbering(struct verification *verification, const char *table, const char *column,
                     int64_t *ret_count)
{
    char sql[256];
    int64_t count = 0, last = 0, first_wrong = 0;

    snprintf(sql, sizeof sql, "SELECT count(*) FROM %s", table);
    int status = verify_number(verification, sql, &count);
    snprintf(sql, sizeof sql, "SELECT coalesce(max(%s), 0) FROM %s", column, table);
    if (status == WM_OK)
        status = verify_number(verification, sql, &last);
    if (status == WM_OK && last != count) {
        snprintf(
            sql, sizeof sql,
            "SELECT %s FROM (SELECT %s, row_number() OVER (ORDER BY %s) AS place FROM %s) WHERE %s <> place "
            "ORDER BY place LIMIT 1",
            column, column, column, table, column);
        status = verify_number(verification, sql, &first_wrong);
        if (status == WM_OK)
            verify_fault(verification, "%s has a gap before %s %lld; restore the file from a copy", table,
                         column, (long long)first_wrong);
    }
    if (status == WM_OK)
        *ret_count = count;
    return status;
}

int verify_digests(struct verification *verification, int64_t count, uint8_t (**ret_digests)[DIGEST_BYTES])
{
    *ret_digests = arena_zeroed(&verification->arena, (size_t)count + 1, DIGEST_BYTES);
    return *ret_digests == NULL ? office_report(verification->office, SQLITE_NOMEM) : WM_OK;
}

const uint8_t *verify_digest_at(sqlite3_stmt *statement, int column)
{
    assert(sqlite3_column_bytes(statement, column) == DIGEST_BYTES);
    return sqlite3_column_blob(statement, column);
}

/* --- The database itself ----------------------------------------------------------------------------- */

/* The check says in words what it could not read; where memory or the disk failed, that is no fault of the
 * file. */
static int error_of(struct text words)
{
    static const char ERROR_CODE[] = "error code=";
    const char *at = memmem(words.bytes, words.length, ERROR_CODE, sizeof ERROR_CODE - 1);
    int code = at != NULL ? (int)strtol(at + sizeof ERROR_CODE - 1, NULL, 10) : SQLITE_OK;

    return (code & 0xff) == SQLITE_NOMEM || (code & 0xff) == SQLITE_IOERR ? code : SQLITE_OK;
}

/* aloud: what is found is a fault; *ret_found in any case. */
static int look_at_integrity(struct verification *verification, bool aloud, bool *ret_found)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(verification->office, "PRAGMA integrity_check(10)", &statement);

    if (status == WM_OK)
        status = office_step(verification->office, statement, &more);
    while (status == WM_OK && more) {
        struct text words = column_text(statement, 0);
        int error = error_of(words);
        if (error != SQLITE_OK) {
            status = office_report(verification->office, error);
            break;
        }
        if (!text_is(words, "ok")) {
            *ret_found = true;
            if (aloud)
                verify_fault(verification, "the database is damaged (%.*s); restore it from a copy",
                             TEXT_ARGUMENTS(words));
        }
        status = office_step(verification->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

/* SQLite says of a page that it could not read for want of memory what it says of a damaged one, so what it
 * finds must be found twice. */
static int check_integrity(struct verification *verification)
{
    bool found = false;
    int status = look_at_integrity(verification, false, &found);

    return status == WM_OK && found ? look_at_integrity(verification, true, &found) : status;
}

static void tell_schema(void *context, enum schema_difference difference, struct text name)
{
    static const struct {
        const char *before, *after;
    } WORDS[] = {
        [SCHEMA_FOREIGN] = {"the schema has the", ", which this program did not make; take it out"},
        [SCHEMA_MISSING] = {"the schema lacks the", "; restore the file from a copy"},
        [SCHEMA_CHANGED] = {"the schema's", " was changed; restore the file from a copy"},
    };

    verify_fault(context, "%s %.*s%s", WORDS[difference].before, TEXT_ARGUMENTS(name), WORDS[difference].after);
}

static int check_schema(struct verification *verification)
{
    int result = known_schema_compare(office_database(verification->office), tell_schema, verification);

    return result == SQLITE_OK ? WM_OK : office_report(verification->office, result);
}

/* --- The chain --------------------------------------------------------------------------------------- */

static const uint8_t *recorded_digest(const struct verification *verification, struct text kind, int64_t number)
{
    const struct {
        const char *kind;
        uint8_t (*digests)[DIGEST_BYTES];
        int64_t count;
    } kinds[] = {
        {CHAIN_LOAD, verification->load_digests, verification->load_count},
        {CHAIN_BATCH, verification->batch_digests, verification->batch_count},
        {CHAIN_DECISION, verification->decision_digests, verification->decision_count},
        {CHAIN_OUTLIERS, verification->outlier_digests, verification->outlier_count},
        {CHAIN_SAMPLE, verification->audit_digests[AUDIT_SAMPLE], verification->audit_counts[AUDIT_SAMPLE]},
        {CHAIN_JUDGEMENT, verification->audit_digests[AUDIT_JUDGEMENT],
         verification->audit_counts[AUDIT_JUDGEMENT]},
        {CHAIN_CHARGEBACK, verification->audit_digests[AUDIT_CHARGEBACK],
         verification->audit_counts[AUDIT_CHARGEBACK]}};

    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        if (text_is(kind, kinds[i].kind) && number >= 1 && number <= kinds[i].count)
            return kinds[i].digests[number];
    return NULL;
}

static void check_entry(struct verification *verification, sqlite3_stmt *statement, struct chain_entry *head)
{
    int64_t entry = sqlite3_column_int64(statement, 0), number = sqlite3_column_int64(statement, 2);
    struct text kind = column_text(statement, 1);
    const uint8_t *record = verify_digest_at(statement, 3), *chain = verify_digest_at(statement, 4),
                  *recorded = recorded_digest(verification, kind, number), *wanted = verification->options->head;
    uint8_t digest[DIGEST_BYTES];

    if (entry != head->entry + 1)
        verify_fault(verification, "chain entry %lld is missing; restore the file from a copy",
                     (long long)head->entry + 1);
    if (recorded == NULL)
        verify_fault(verification,
                     "chain entry %lld names %.*s %lld, which is not recorded; restore the file from a copy",
                     (long long)entry, TEXT_ARGUMENTS(kind), (long long)number);
    else if (memcmp(record, recorded, DIGEST_BYTES) != 0)
        verify_fault(verification, "%.*s %lld does not fit its entry %lld of the chain; restore the file from a copy",
                     TEXT_ARGUMENTS(kind), (long long)number, (long long)entry);
    head->entry = entry - 1;
    chain_digest(head, kind, number, record, digest);
    if (memcmp(chain, digest, DIGEST_BYTES) != 0)
        verify_fault(verification, "entry %lld of the chain does not fit the one before; restore the file from a copy",
                     (long long)entry);
    head->entry = entry;
    memcpy(head->digest, chain, DIGEST_BYTES);
    if (wanted != NULL && memcmp(chain, wanted, DIGEST_BYTES) == 0)
        verification->result.found_entry = entry;
}

static int check_complete(struct verification *verification, const char *kind, int64_t count, const char *sql)
{
    int64_t entries = 0;
    int status = verify_number(verification, sql, &entries);

    if (status == WM_OK && entries != count)
        verify_fault(verification,
                     "the chain has %lld entries of kind %s and %lld are recorded; restore the file from a "
                     "copy",
                     (long long)entries, kind, (long long)count);
    return status;
}

int verify_chain(struct verification *verification)
{
    struct chain_entry head = {0, {0}};
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(
        verification->office,
        "SELECT entry, kind, number, record_digest, chain_digest FROM chain ORDER BY entry", &statement);

    if (status == WM_OK)
        status = office_step(verification->office, statement, &more);
    while (status == WM_OK && more) {
        check_entry(verification, statement, &head);
        status = office_step(verification->office, statement, &more);
    }
    sqlite3_finalize(statement);
    verification->result.head = head;
    if (status == WM_OK)
        status = check_complete(verification, CHAIN_LOAD, verification->load_count,
                                "SELECT count(*) FROM chain WHERE kind = 'load'");
    if (status == WM_OK)
        status = check_complete(verification, CHAIN_BATCH, verification->batch_count,
                                "SELECT count(*) FROM chain WHERE kind = 'batch'");
    if (status == WM_OK)
        status = check_complete(verification, CHAIN_DECISION, verification->decision_count,
                                "SELECT count(*) FROM chain WHERE kind = 'decision'");
    if (status == WM_OK)
        status = check_complete(verification, CHAIN_OUTLIERS, verification->outlier_count,
                                "SELECT count(*) FROM chain WHERE kind = 'outliers'");
    if (status == WM_OK)
        status = check_complete(verification, CHAIN_SAMPLE, verification->audit_counts[AUDIT_SAMPLE],
                                "SELECT count(*) FROM chain WHERE kind = 'sample'");
    if (status == WM_OK)
        status = check_complete(verification, CHAIN_JUDGEMENT, verification->audit_counts[AUDIT_JUDGEMENT],
                                "SELECT count(*) FROM chain WHERE kind = 'judgement'");
    if (status == WM_OK)
        status = check_complete(verification, CHAIN_CHARGEBACK, verification->audit_counts[AUDIT_CHARGEBACK],
                                "SELECT count(*) FROM chain WHERE kind = 'chargeback'");
    if (status == WM_OK && verification->options->head != NULL && verification->result.found_entry == 0)
        verify_fault(verification,
                     "the hash given with --head is no point of the chain; either it was copied wrongly, or "
                     "what was recorded up to it was changed or cut off");
    return status;
}

/* --- All of it --------------------------------------------------------------------------------------- */

static int run(struct verification *verification)
{
    int (*const parts[])(struct verification *) = {verify_loads,    verify_rules,   verify_decisions,
                                                   verify_outliers, verify_batches, verify_audit,
                                                   verify_chain,    verify_derived, verify_vehicles};
    int status = check_integrity(verification);

    if (status == WM_OK)
        status = check_schema(verification);
    /* tables that are not as they were made cannot be asked */
    if (status != WM_OK || verification->result.faults > 0)
        return status;
    for (size_t i = 0; i < sizeof parts / sizeof parts[0] && status == WM_OK; i++)
        status = parts[i](verification);
    if (status == WM_OK && verification->options->again && verification->result.faults == 0)
        status = verify_again(verification);
    return status;
}

int ledger_verify(struct office *office, const struct verify_options *options, struct diag_sink *sink,
                  struct verify_result *ret_result)
{
    struct verification verification = {.office = office, .options = options, .sink = sink};
    int status = sodium_init() >= 0 ? office_begin_read(office) : WM_NO_MEMORY;

    if (status != WM_OK)
        return status;
    tallies_open(&verification.tallies);
    status = run(&verification);
    int ended = office_end_read(office);
    status = status != WM_OK ? status : ended;
    if (verification.result.faults > VERIFY_FAULTS_NAMED)
        diag_error(sink, (struct place){text_of(office_path(office)), 0, 0}, "%llu more faults",
                   (unsigned long long)(verification.result.faults - VERIFY_FAULTS_NAMED));
    tallies_close(&verification.tallies);
    arena_free(&verification.arena);
    if (status == WM_OK)
        *ret_result = verification.result;
    return status;
}
