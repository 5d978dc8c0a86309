/* The digests of audit records, and judgements and chargebacks; samples are in audit_samples.c. */
#include "ledger/audit_records.h"

#include "base/status.h"
#include "ledger/audit_parts.h"
#include "ledger/canonical_rows.h"
#include "ledger/chain.h"
#include "ledger/columns.h"

/* --- Digests ----------------------------------------------------------------------------------------- */

enum { MOST_TABLES = 4 };

/* What a record is made of; the first statement gives its one row. */
static const struct {
    const char *chain_kind, *count;
    struct {
        const char *name, *sql;
    } tables[MOST_TABLES + 1];
} RECORDS[AUDIT_RECORDS] = {
    [AUDIT_SAMPLE] = {CHAIN_SAMPLE,
                      "SELECT count(*) FROM samples",
                      {{"sample", "SELECT * FROM samples WHERE sample = ?1"},
                       {"regions", "SELECT * FROM sample_regions WHERE sample = ?1 ORDER BY region"},
                       {"strata", "SELECT * FROM sample_strata WHERE sample = ?1 ORDER BY stratum"},
                       {"frame", "SELECT * FROM sample_frame WHERE sample = ?1 ORDER BY row"},
                       {"items", "SELECT * FROM sample_items WHERE sample = ?1 ORDER BY item"}}},
    [AUDIT_JUDGEMENT] = {CHAIN_JUDGEMENT,
                         "SELECT count(*) FROM judgement_files",
                         {{"judgement file", "SELECT * FROM judgement_files WHERE recording = ?1"},
                          {"judgements", "SELECT * FROM judgements WHERE recording = ?1 ORDER BY item"}}},
    [AUDIT_CHARGEBACK] = {CHAIN_CHARGEBACK,
                          "SELECT count(*) FROM chargebacks",
                          {{"chargeback", "SELECT * FROM chargebacks WHERE chargeback = ?1"},
                           {"items", "SELECT * FROM chargeback_items WHERE chargeback = ?1 ORDER BY item"}}},
};

int audit_record_digest(struct office *office, enum audit_record kind, int64_t number,
                        uint8_t ret_digest[DIGEST_BYTES])
{
    struct canonical whole, part;
    uint8_t digest[DIGEST_BYTES];
    bool any = false;

    canonical_begin(&whole, RECORDS[kind].tables[0].name);
    int status = canonical_rows_of(office, RECORDS[kind].tables[0].sql, number, &whole, &any);
    if (status == WM_OK && !any)
        return WM_NOT_FOUND;
    for (int i = 1; i <= MOST_TABLES && RECORDS[kind].tables[i].name != NULL && status == WM_OK; i++) {
        canonical_begin(&part, RECORDS[kind].tables[i].name);
        status = canonical_rows_of(office, RECORDS[kind].tables[i].sql, number, &part, &any);
        canonical_end(&part, digest);
        canonical_bytes(&whole, digest, sizeof digest);
    }
    canonical_end(&whole, digest);
    if (status == WM_OK)
        memcpy(ret_digest, digest, sizeof digest);
    return status;
}

/* --- Parts that the writing of all records shares ---------------------------------------------------- */

int audit_next_number(struct office *office, enum audit_record kind, int64_t *ret_number)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(office, RECORDS[kind].count, &statement);

    if (status == WM_OK)
        status = office_step(office, statement, &row);
    if (status == WM_OK)
        *ret_number = sqlite3_column_int64(statement, 0) + 1;
    sqlite3_finalize(statement);
    return status;
}

int audit_append(struct office *office, enum audit_record kind, int64_t number)
{
    uint8_t digest[DIGEST_BYTES];
    int status = audit_record_digest(office, kind, number, digest);

    return status == WM_OK ? chain_append(office, RECORDS[kind].chain_kind, number, digest) : status;
}

int audit_insert(struct office *office, sqlite3_stmt *statement)
{
    int status = office_execute(office, statement);

    sqlite3_finalize(statement);
    return status;
}

/* --- Judgements -------------------------------------------------------------------------------------- */

static int insert_file(struct office *office, const struct judgement_file *file)
{
    sqlite3_stmt *statement = NULL;
    int status = office_prepare(office, "INSERT INTO judgement_files VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                                &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, file->recording);
    sqlite3_bind_int64(statement, 2, file->sample);
    bind_text(statement, 3, file->file_name);
    sqlite3_bind_blob(statement, 4, file->file_digest, DIGEST_BYTES, SQLITE_STATIC);
    bind_text(statement, 5, file->judged_by);
    bind_day(statement, 6, file->judged_on);
    bind_text(statement, 7, file->recorded_at);
    sqlite3_bind_int64(statement, 8, file->count);
    return audit_insert(office, statement);
}

int judgements_write(struct office *office, struct judgement_file *file)
{
    sqlite3_stmt *statement = NULL;
    int status = audit_next_number(office, AUDIT_JUDGEMENT, &file->recording);

    if (status == WM_OK)
        status = insert_file(office, file);
    if (status == WM_OK)
        status = office_prepare(office, "INSERT INTO judgements VALUES (?1, ?2, ?3, ?4, ?5)", &statement);
    for (uint32_t i = 0; status == WM_OK && i < file->count; i++) {
        const struct judgement *judgement = &file->judgements[i];
        sqlite3_bind_int64(statement, 1, file->recording);
        sqlite3_bind_int64(statement, 2, judgement->item);
        bind_text(statement, 3, judgement->judgement);
        sqlite3_bind_int64(statement, 4, judgement->right_cents);
        bind_text(statement, 5, judgement->note);
        status = office_execute(office, statement);
    }
    sqlite3_finalize(statement);
    return status == WM_OK ? audit_append(office, AUDIT_JUDGEMENT, file->recording) : status;
}

int judgements_read(struct office *office, struct arena *arena, const struct sample *sample,
                    struct judgement *ret_judgements)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(office,
                                "SELECT j.item, j.judgement, j.right_cents, j.note FROM judgement_files AS f "
                                "JOIN judgements AS j ON j.recording = f.recording WHERE f.sample = ?1 "
                                "ORDER BY f.recording",
                                &statement);

    for (uint32_t i = 0; i < sample->item_count; i++)
        ret_judgements[i] = (struct judgement){.item = (int64_t)i + 1, .judgement = TEXT(""), .note = TEXT("")};
    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, sample->sample);
        status = office_step(office, statement, &more);
    }
    while (status == WM_OK && more) {
        int64_t item = sqlite3_column_int64(statement, 0);
        if (item < 1 || item > sample->item_count) {
            status = office_report(office, SQLITE_CORRUPT);
            break;
        }
        struct judgement *judgement = &ret_judgements[item - 1];
        judgement->judgement = column_copy(statement, 1, arena);
        judgement->right_cents = sqlite3_column_int64(statement, 2);
        judgement->note = column_copy(statement, 3, arena);
        if (judgement->judgement.bytes == NULL || judgement->note.bytes == NULL)
            status = office_report(office, SQLITE_NOMEM);
        else
            status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}
