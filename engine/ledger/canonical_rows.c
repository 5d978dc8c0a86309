#include "ledger/canonical_rows.h"

#include "base/status.h"
#include "ledger/columns.h"

void canonical_column(struct canonical *canonical, sqlite3_stmt *statement, int column)
{
    switch (sqlite3_column_type(statement, column)) {
    case SQLITE_NULL: canonical_null(canonical); break;
    case SQLITE_INTEGER: canonical_integer(canonical, sqlite3_column_int64(statement, column)); break;
    case SQLITE_BLOB: {
        struct text blob = column_blob(statement, column);
        canonical_bytes(canonical, blob.bytes, blob.length);
        break;
    }
    default: canonical_text(canonical, column_text(statement, column));
    }
}

int canonical_rows(struct office *office, sqlite3_stmt *statement, struct canonical *canonical, bool *ret_any)
{
    bool more = false;
    int status = office_step(office, statement, &more);

    *ret_any = more;
    while (status == WM_OK && more) {
        for (int i = 0; i < sqlite3_column_count(statement); i++)
            canonical_column(canonical, statement, i);
        status = office_step(office, statement, &more);
    }
    return status;
}

int canonical_rows_of(struct office *office, const char *sql, int64_t number, struct canonical *canonical,
                      bool *ret_any)
{
    sqlite3_stmt *statement = NULL;
    int status = office_prepare(office, sql, &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, number);
        status = canonical_rows(office, statement, canonical, ret_any);
    }
    sqlite3_finalize(statement);
    return status;
}
