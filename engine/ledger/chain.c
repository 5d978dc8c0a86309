#include "ledger/chain.h"

#include <sqlite3.h>

#include "base/status.h"

void chain_digest(const struct chain_entry *before, struct text kind, int64_t number,
                  const uint8_t record_digest[DIGEST_BYTES], uint8_t ret_digest[DIGEST_BYTES])
{
    struct canonical canonical;

    canonical_begin(&canonical, "chain");
    canonical_bytes(&canonical, before->digest, DIGEST_BYTES);
    canonical_integer(&canonical, before->entry + 1);
    canonical_text(&canonical, kind);
    canonical_integer(&canonical, number);
    canonical_bytes(&canonical, record_digest, DIGEST_BYTES);
    canonical_end(&canonical, ret_digest);
}

int chain_head(struct office *office, struct chain_entry *ret_head)
{
    struct chain_entry head = {0, {0}};
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status =
        office_prepare(office, "SELECT entry, chain_digest FROM chain ORDER BY entry DESC LIMIT 1", &statement);

    if (status == WM_OK)
        status = office_step(office, statement, &row);
    if (status == WM_OK && row) {
        head.entry = sqlite3_column_int64(statement, 0);
        if (sqlite3_column_bytes(statement, 1) == DIGEST_BYTES)
            memcpy(head.digest, sqlite3_column_blob(statement, 1), DIGEST_BYTES);
        else
            status = office_report(office, SQLITE_CORRUPT);
    }
    sqlite3_finalize(statement);
    if (status == WM_OK)
        *ret_head = head;
    return status;
}

int chain_append(struct office *office, const char *kind, int64_t number,
                 const uint8_t record_digest[DIGEST_BYTES])
{
    uint8_t digest[DIGEST_BYTES];
    struct chain_entry head;
    sqlite3_stmt *statement = NULL;
    int status = chain_head(office, &head);

    if (status == WM_OK)
        status = office_prepare(office,
                                "INSERT INTO chain (entry, kind, number, record_digest, chain_digest) "
                                "VALUES (?1, ?2, ?3, ?4, ?5)",
                                &statement);
    if (status != WM_OK)
        return status;
    chain_digest(&head, text_of(kind), number, record_digest, digest);
    sqlite3_bind_int64(statement, 1, head.entry + 1);
    sqlite3_bind_text(statement, 2, kind, -1, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 3, number);
    sqlite3_bind_blob(statement, 4, record_digest, DIGEST_BYTES, SQLITE_STATIC);
    sqlite3_bind_blob(statement, 5, digest, DIGEST_BYTES, SQLITE_STATIC);
    status = office_execute(office, statement);
    sqlite3_finalize(statement);
    return status;
}
