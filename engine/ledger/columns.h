/* columns.h - cells of SQLite statements as the engine's texts and days. Private to engine/ledger. */
#ifndef WM_LEDGER_COLUMNS_H
#define WM_LEDGER_COLUMNS_H

#include <sqlite3.h>

#include "base/arena.h"
#include "base/date.h"
#include "base/text.h"

/* Valid until the statement moves. Never NULL bytes. */
static inline struct text column_text(sqlite3_stmt *statement, int column)
{
    const char *bytes = (const char *)sqlite3_column_text(statement, column);
    return (struct text){bytes != NULL ? bytes : "",
                         bytes != NULL ? (size_t)sqlite3_column_bytes(statement, column) : 0};
}

static inline struct text column_blob(sqlite3_stmt *statement, int column)
{
    const char *bytes = sqlite3_column_blob(statement, column);
    return (struct text){bytes != NULL ? bytes : "",
                         bytes != NULL ? (size_t)sqlite3_column_bytes(statement, column) : 0};
}

/* bytes NULL: no memory. */
static inline struct text column_copy(sqlite3_stmt *statement, int column, struct arena *arena)
{
    return text_copy(arena, column_text(statement, column));
}

/* DAY_NONE for null. */
static inline int32_t column_day(sqlite3_stmt *statement, int column)
{
    return sqlite3_column_type(statement, column) == SQLITE_NULL ? DAY_NONE
                                                                 : sqlite3_column_int(statement, column);
}

/* The text must live until the statement is done or bound anew. */
static inline void bind_text(sqlite3_stmt *statement, int at, struct text t)
{
    sqlite3_bind_text64(statement, at, t.bytes != NULL ? t.bytes : "", t.length, SQLITE_STATIC, SQLITE_UTF8);
}

static inline void bind_day(sqlite3_stmt *statement, int at, int32_t day)
{
    if (day == DAY_NONE)
        sqlite3_bind_null(statement, at);
    else
        sqlite3_bind_int(statement, at, day);
}

#endif
