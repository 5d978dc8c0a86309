#include "ledger/rules_record.h"

#include "base/status.h"
#include "ledger/columns.h"

/* One number, found by a digest; 0: none. */
static int find(struct office *office, const char *sql, const uint8_t digest[DIGEST_BYTES], int64_t *ret_number)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(office, sql, &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_blob(statement, 1, digest, DIGEST_BYTES, SQLITE_STATIC);
    status = office_step(office, statement, &row);
    if (status == WM_OK)
        *ret_number = row ? sqlite3_column_int64(statement, 0) : 0;
    sqlite3_finalize(statement);
    return status;
}

static int insert_file(struct office *office, struct text bytes, const uint8_t digest[DIGEST_BYTES],
                       int64_t *ret_file)
{
    sqlite3_stmt *statement = NULL;
    int status = office_prepare(office, "INSERT INTO rules_files (digest, bytes) VALUES (?1, ?2)", &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_blob(statement, 1, digest, DIGEST_BYTES, SQLITE_STATIC);
    sqlite3_bind_blob64(statement, 2, bytes.bytes != NULL ? bytes.bytes : "", bytes.length, SQLITE_STATIC);
    status = office_execute(office, statement);
    if (status == WM_OK)
        *ret_file = sqlite3_last_insert_rowid(office_database(office));
    sqlite3_finalize(statement);
    return status;
}

static int insert_content(struct office *office, int64_t rules, const struct rules_file *file)
{
    uint8_t digest[DIGEST_BYTES];
    sqlite3_stmt *statement = NULL;
    int64_t number = 0;

    bytes_digest(file->bytes, digest);
    int status = find(office, "SELECT file FROM rules_files WHERE digest = ?1", digest, &number);
    if (status == WM_OK && number == 0)
        status = insert_file(office, file->bytes, digest, &number);
    if (status == WM_OK)
        status = office_prepare(office, "INSERT INTO rules_contents (rules, path, file) VALUES (?1, ?2, ?3)",
                                &statement);
    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, rules);
    bind_text(statement, 2, file->path);
    sqlite3_bind_int64(statement, 3, number);
    status = office_execute(office, statement);
    sqlite3_finalize(statement);
    return status;
}

static int insert_version(struct office *office, const struct rules_files *files,
                          const uint8_t digest[DIGEST_BYTES], int64_t *ret_rules)
{
    sqlite3_stmt *statement = NULL;
    int status = office_prepare(office, "INSERT INTO rules_versions (digest) VALUES (?1)", &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_blob(statement, 1, digest, DIGEST_BYTES, SQLITE_STATIC);
    status = office_execute(office, statement);
    int64_t rules = sqlite3_last_insert_rowid(office_database(office));
    sqlite3_finalize(statement);
    for (uint32_t i = 0; status == WM_OK && i < files->count; i++)
        status = insert_content(office, rules, &files->files[i]);
    if (status == WM_OK)
        *ret_rules = rules;
    return status;
}

int rules_record(struct office *office, const struct rules_files *files, int64_t *ret_rules,
                 uint8_t ret_digest[DIGEST_BYTES])
{
    struct canonical canonical;
    uint8_t digest[DIGEST_BYTES];
    int64_t rules = 0;

    rules_canonical_begin(&canonical);
    for (uint32_t i = 0; i < files->count; i++) {
        bytes_digest(files->files[i].bytes, digest);
        rules_canonical_file(&canonical, files->files[i].path, digest);
    }
    canonical_end(&canonical, digest);
    int status = find(office, "SELECT rules FROM rules_versions WHERE digest = ?1", digest, &rules);
    if (status == WM_OK && rules == 0)
        status = insert_version(office, files, digest, &rules);
    if (status != WM_OK)
        return status;
    *ret_rules = rules;
    memcpy(ret_digest, digest, DIGEST_BYTES);
    return WM_OK;
}

int rules_recorded(struct office *office, int64_t rules, struct arena *arena, struct rules_files *ret_files)
{
    struct rules_files found = {.folder = TEXT("")};
    sqlite3_stmt *statement = NULL;
    uint32_t capacity = 0;
    bool more = false;
    int status = office_prepare(office,
                                "SELECT c.path, f.bytes FROM rules_contents AS c JOIN rules_files AS f "
                                "ON f.file = c.file WHERE c.rules = ?1 ORDER BY c.path",
                                &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, rules);
    status = office_step(office, statement, &more);
    while (status == WM_OK && more) {
        if (found.count == capacity) {
            capacity = capacity ? capacity * 2 : 32;
            found.files = arena_grown(arena, found.files, found.count, capacity, sizeof *found.files);
        }
        struct rules_file file = {column_copy(statement, 0, arena),
                                  text_copy(arena, column_blob(statement, 1))};
        if (found.files == NULL || file.path.bytes == NULL || file.bytes.bytes == NULL)
            status = office_report(office, SQLITE_NOMEM);
        else {
            found.files[found.count++] = file;
            status = office_step(office, statement, &more);
        }
    }
    sqlite3_finalize(statement);
    if (status != WM_OK)
        return status;
    if (found.count == 0)
        return WM_NOT_FOUND;
    *ret_files = found;
    return WM_OK;
}
