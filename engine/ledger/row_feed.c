#include "ledger/row_feed.h"

#include <sqlite3.h>
#include <stdlib.h>

#include "base/status.h"

struct feed_table {
    sqlite3_vtab base;
    const struct row_feed *feed;
};

struct feed_cursor {
    sqlite3_vtab_cursor base;
    const struct row_feed *feed;
    uint64_t row;
};

static int feed_connect(sqlite3 *database, void *feed, int count, const char *const *arguments,
                        sqlite3_vtab **ret_table, char **ret_error)
{
    char *declaration = sqlite3_mprintf("CREATE TABLE fed (%s)", ((const struct row_feed *)feed)->columns);
    struct feed_table *table = calloc(1, sizeof *table);
    int result = declaration && table ? sqlite3_declare_vtab(database, declaration) : SQLITE_NOMEM;

    (void)count;
    (void)arguments;
    (void)ret_error;
    sqlite3_free(declaration);
    if (result != SQLITE_OK) {
        free(table);
        return result;
    }
    table->feed = feed;
    *ret_table = &table->base;
    return SQLITE_OK;
}

static int feed_disconnect(sqlite3_vtab *table)
{
    free(table);
    return SQLITE_OK;
}

static int feed_plan(sqlite3_vtab *table, sqlite3_index_info *plan)
{
    plan->estimatedRows = (sqlite3_int64)((struct feed_table *)table)->feed->rows;
    return SQLITE_OK;
}

static int feed_open(sqlite3_vtab *table, sqlite3_vtab_cursor **ret_cursor)
{
    struct feed_cursor *cursor = calloc(1, sizeof *cursor);

    if (cursor == NULL)
        return SQLITE_NOMEM;
    cursor->feed = ((struct feed_table *)table)->feed;
    *ret_cursor = &cursor->base;
    return SQLITE_OK;
}

static int feed_close(sqlite3_vtab_cursor *cursor)
{
    free(cursor);
    return SQLITE_OK;
}

static int feed_first(sqlite3_vtab_cursor *cursor, int plan, const char *name, int count,
                      sqlite3_value **arguments)
{
    (void)plan;
    (void)name;
    (void)count;
    (void)arguments;
    ((struct feed_cursor *)cursor)->row = 0;
    return SQLITE_OK;
}

static int feed_next(sqlite3_vtab_cursor *cursor)
{
    ((struct feed_cursor *)cursor)->row++;
    return SQLITE_OK;
}

static int feed_at_end(sqlite3_vtab_cursor *cursor)
{
    return ((struct feed_cursor *)cursor)->row >= ((struct feed_cursor *)cursor)->feed->rows;
}

static int feed_cell(sqlite3_vtab_cursor *base, sqlite3_context *ret_cell, int column)
{
    struct feed_cursor *cursor = (struct feed_cursor *)base;

    cursor->feed->cell(cursor->feed->context, cursor->row, column, ret_cell);
    return SQLITE_OK;
}

static int feed_row_number(sqlite3_vtab_cursor *cursor, sqlite3_int64 *ret_number)
{
    *ret_number = (sqlite3_int64)((struct feed_cursor *)cursor)->row;
    return SQLITE_OK;
}

/* No xCreate: the table exists by its name alone, in no schema. */
static const sqlite3_module FEED = {
    .xConnect = feed_connect,
    .xBestIndex = feed_plan,
    .xDisconnect = feed_disconnect,
    .xDestroy = feed_disconnect,
    .xOpen = feed_open,
    .xClose = feed_close,
    .xFilter = feed_first,
    .xNext = feed_next,
    .xEof = feed_at_end,
    .xColumn = feed_cell,
    .xRowid = feed_row_number,
};

void row_feed_number(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    (void)column;
    sqlite3_result_int64(ret_cell, ((const int64_t *)context)[row]);
}

static const char *name_of(const struct row_feed *feed)
{
    return feed->name != NULL ? feed->name : "fed";
}

int row_feed_begin(struct office *office, const struct row_feed *feed)
{
    int result =
        sqlite3_create_module_v2(office_database(office), name_of(feed), &FEED, (void *)(uintptr_t)feed, NULL);

    return result == SQLITE_OK ? WM_OK : office_report(office, result);
}

void row_feed_end(struct office *office, const struct row_feed *feed)
{
    sqlite3_create_module_v2(office_database(office), name_of(feed), NULL, NULL, NULL);
}

int row_feed_run(struct office *office, const struct row_feed *feed, const char *sql)
{
    int status = row_feed_begin(office, feed);

    if (status != WM_OK)
        return status;
    status = office_run(office, sql);
    row_feed_end(office, feed);
    return status;
}
