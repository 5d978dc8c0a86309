#include "ledger/known_schema.h"

#include <stdbool.h>
#include <string.h>

#include "ledger/columns.h"
#include "ledger/office.h"

static const char SCHEMA[] = "SELECT type || ' ' || name, coalesce(sql, '') FROM sqlite_schema ORDER BY 1";

/* --- At a glance
 * ----------------------------------------------------------------------------------------------- */

/* SQLite keeps the words of each CREATE statement as they stand in OFFICE_SCHEMA, without the semicolon. */
static bool is_ours(struct text statement)
{
    for (const char *const *sql = OFFICE_SCHEMA; *sql != NULL; sql++)
        for (const char *at = *sql; (at = memmem(at, strlen(at), statement.bytes, statement.length)) != NULL;
             at++)
            if ((at == *sql || at[-1] == '\n') && at[statement.length] == ';')
                return true;
    return false;
}

static int count_ours(void)
{
    int count = 0;

    for (const char *const *sql = OFFICE_SCHEMA; *sql != NULL; sql++)
        for (const char *at = *sql; (at = strstr(at, "CREATE ")) != NULL; at++)
            count += at == *sql || at[-1] == '\n';
    return count;
}

/* As many statements as ours, each one of ours; each has a name of its own, so they are ours. An index that
 * SQLite makes for a table has no words. */
static int looks_like_ours(sqlite3 *database, bool *ret_is)
{
    sqlite3_stmt *statement = NULL;
    int count = 0, result = sqlite3_prepare_v2(database, "SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL",
                                               -1, &statement, NULL);
    bool is = true;

    if (result == SQLITE_OK)
        for (; is && (result = sqlite3_step(statement)) == SQLITE_ROW; count++)
            is = is_ours(column_text(statement, 0));
    sqlite3_finalize(statement);
    *ret_is = is && count == count_ours();
    return result == SQLITE_DONE || result == SQLITE_ROW ? SQLITE_OK : result;
}

/* --- One by one
 * ------------------------------------------------------------------------------------------------ */

/* What this program would have made; the caller closes it in any case. */
static int make_schema(sqlite3 **ret_made)
{
    int result = sqlite3_open_v2(":memory:", ret_made, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL);

    for (const char *const *sql = OFFICE_SCHEMA; result == SQLITE_OK && *sql != NULL; sql++)
        result = sqlite3_exec(*ret_made, *sql, NULL, NULL, NULL);
    return result;
}

static bool failed(int result)
{
    return result != SQLITE_ROW && result != SQLITE_DONE;
}

/* Walks both lists side by side; each is in the order of names. */
static int walk(sqlite3_stmt *is, sqlite3_stmt *should,
                void (*tell)(void *context, enum schema_difference difference, struct text name), void *context)
{
    int has = sqlite3_step(is), wants = sqlite3_step(should);

    while (!failed(has) && !failed(wants) && (has == SQLITE_ROW || wants == SQLITE_ROW)) {
        int order = has != SQLITE_ROW     ? 1
                    : wants != SQLITE_ROW ? -1
                                          : text_compare(column_text(is, 0), column_text(should, 0));
        if (order < 0)
            tell(context, SCHEMA_FOREIGN, column_text(is, 0));
        else if (order > 0)
            tell(context, SCHEMA_MISSING, column_text(should, 0));
        else if (!text_equal(column_text(is, 1), column_text(should, 1)))
            tell(context, SCHEMA_CHANGED, column_text(is, 0));
        if (order >= 0)
            wants = sqlite3_step(should);
        if (order <= 0)
            has = sqlite3_step(is);
    }
    return failed(has) ? has : failed(wants) ? wants : SQLITE_OK;
}

int known_schema_compare(struct sqlite3 *database,
                         void (*tell)(void *context, enum schema_difference difference, struct text name),
                         void *context)
{
    sqlite3 *made = NULL;
    sqlite3_stmt *is = NULL, *should = NULL;
    bool known = false;
    int result = looks_like_ours(database, &known);

    if (result != SQLITE_OK || known)
        return result;
    result = make_schema(&made);
    if (result == SQLITE_OK)
        result = sqlite3_prepare_v2(database, SCHEMA, -1, &is, NULL);
    if (result == SQLITE_OK)
        result = sqlite3_prepare_v2(made, SCHEMA, -1, &should, NULL);
    if (result == SQLITE_OK)
        result = walk(is, should, tell, context);
    sqlite3_finalize(is);
    sqlite3_finalize(should);
    sqlite3_close(made);
    return result;
}
