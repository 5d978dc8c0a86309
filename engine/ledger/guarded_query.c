#include "ledger/guarded_query.h"

#include <assert.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

#include "base/buffer.h"
#include "base/limits.h"
#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/row_feed.h"
#include "ledger/sql_words.h"
#include "ledger/views.h"

/* Steps of SQLite's machine between two looks at the clock, and questions of what may be done while a statement is
 * prepared: some hundred microseconds. */
enum { STEPS_A_LOOK = 20000, QUESTIONS_A_LOOK = 100 };

struct feed {
    struct row_feed feed;
    const struct given_table *table;
    char *names; /* "campaign, stage" */
};

struct refusal {
    const char *name; /* of what was refused; the word is looked for in the text, to say where it stands */
    char words[LIMIT_MESSAGE_BYTES];
};

struct guard {
    struct office *office;
    sqlite3 *database;
    const struct guard_setup *setup;
    struct feed feeds[GIVEN_TABLES];
    uint32_t feed_count;
    struct timespec end;
    bool late;                 /* the time was over */
    unsigned questions;        /* that the authorizer was asked */
    bool trusted;              /* the engine itself reads, inside stage_of */
    int status;                /* of stage_of */
    struct buffer base_tables; /* names, each behind a newline */
    struct text sql;           /* that is being prepared */
    struct refusal refusal;
    char name_room[256];
    int old_length_limit, old_like_limit, old_attach_limit;
    sqlite3_int64 old_heap_limit;
};

struct guarded_query {
    struct guard *guard;
    sqlite3_stmt *statement;
    struct place place;
};

/* --- What may run ---------------------------------------------------------------------------------- */

/* SQLite's functions that give the same for the same rows, and touch nothing else. */
static const char *const FUNCTIONS[] = {
    "abs",          "avg",   "char",     "coalesce",   "concat",      "concat_ws",  "count",
    "cume_dist",    "date",  "datetime", "dense_rank", "first_value", "format",     "glob",
    "group_concat", "hex",   "ifnull",   "iif",        "instr",       "julianday",  "lag",
    "last_value",   "lead",  "length",   "like",       "likelihood",  "likely",     "lower",
    "ltrim",        "max",   "min",      "nth_value",  "ntile",       "nullif",     "percent_rank",
    "printf",       "quote", "rank",     "replace",    "round",       "row_number", "rtrim",
    "share",        "sign",  "stage_of", "strftime",   "substr",      "substring",  "sum",
    "time",         "total", "trim",     "typeof",     "unicode",     "unixepoch",  "unlikely",
    "upper"};

static bool is_function(const char *name)
{
    for (size_t i = 0; i < sizeof FUNCTIONS / sizeof *FUNCTIONS; i++)
        if (strcasecmp(FUNCTIONS[i], name) == 0)
            return true;
    return false;
}

static int refuse(struct guard *guard, const char *name, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Keeps the first refusal: it is the one that SQLite stops at. */
static int refuse(struct guard *guard, const char *name, const char *format, ...)
{
    va_list arguments;

    if (guard->refusal.words[0] != '\0')
        return SQLITE_DENY;
    va_start(arguments, format);
    sqlite3_vsnprintf((int)sizeof guard->refusal.words, guard->refusal.words, format, arguments);
    va_end(arguments);
    sqlite3_snprintf((int)sizeof guard->name_room, guard->name_room, "%s", name != NULL ? name : "");
    guard->refusal.name = guard->name_room;
    return SQLITE_DENY;
}

static bool is_given(const struct guard *guard, const char *name)
{
    for (uint32_t i = 0; i < guard->feed_count; i++)
        if (strcasecmp(guard->feeds[i].table->name, name) == 0)
            return true;
    return false;
}

/* A view, or a WITH table inside one: what is read inside it is the view's own doing. */
static bool is_of_views(const char *name)
{
    for (size_t i = 0; VIEW_INNER_NAMES[i] != NULL; i++)
        if (strcasecmp(VIEW_INNER_NAMES[i], name) == 0)
            return true;
    return view_named(name) != NULL;
}

static bool is_base_table(const struct guard *guard, const char *name)
{
    struct text rest = buffer_text(&guard->base_tables), table;

    if (sqlite3_strnicmp(name, "sqlite_", 7) == 0)
        return true;
    while (text_next(&rest, '\n', &table))
        if (text_equal_any_case(table, text_of(name)))
            return true;
    return false;
}

/* A view of the list reads what it is made of; nothing else reads but views. That a WITH table cannot take the
 * name of a view, and so pass for one, is seen to before (guard_prepare). Where no column is read, SQLite tells
 * the table without the view that it dissolved, and WITH tables too: then the text decides. */
static int may_read(struct guard *guard, const char *table, const char *column, const char *inside)
{
    if (view_named(table) != NULL || is_given(guard, table) || (inside != NULL && is_of_views(inside)))
        return SQLITE_OK;
    if (column[0] == '\0' && (!is_base_table(guard, table) || !sql_selects_from(guard->sql, table)))
        return SQLITE_OK;
    return refuse(guard, table,
                  "\"%s\" is none of the views that reports may read; `witnessmark report views` lists them",
                  table);
}

static int look_at_clock(void *context)
{
    struct guard *guard = context;
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    guard->late = now.tv_sec > guard->end.tv_sec ||
                  (now.tv_sec == guard->end.tv_sec && now.tv_nsec >= guard->end.tv_nsec);
    return guard->late;
}

/* Preparing has no steps that could be counted: of WITH tables, each of which names the one before twice, twenty would
 * take minutes. Each of them is asked about here. */
static int may_do(void *context, int action, const char *first, const char *second, const char *schema,
                  const char *inside)
{
    struct guard *guard = context;

    (void)schema;
    if (guard->trusted)
        return SQLITE_OK;
    if (++guard->questions % QUESTIONS_A_LOOK == 0 && look_at_clock(guard))
        return SQLITE_DENY;
    switch (action) {
    case SQLITE_SELECT:
    case SQLITE_RECURSIVE: return SQLITE_OK;
    case SQLITE_READ: return may_read(guard, first, second != NULL ? second : "", inside);
    case SQLITE_FUNCTION:
        if (is_function(second))
            return SQLITE_OK;
        return refuse(guard, second,
                      "the function \"%s\" is not one that reports may call; README.md lists those that are",
                      second);
    case SQLITE_ATTACH:
    case SQLITE_DETACH: return refuse(guard, NULL, "a report may not attach another database; take that out");
    case SQLITE_PRAGMA: return refuse(guard, "PRAGMA", "a report may not use PRAGMA; take that out");
    case SQLITE_TRANSACTION:
    case SQLITE_SAVEPOINT:
        return refuse(guard, NULL, "a report is one SELECT a section, no transaction; take that out");
    default: return refuse(guard, NULL, "a report only reads; write a SELECT over the documented views");
    }
}

/* --- Functions ------------------------------------------------------------------------------------- */

static void call_share(sqlite3_context *call, int count, sqlite3_value **arguments)
{
    (void)count;
    if (sqlite3_value_type(arguments[0]) != SQLITE_INTEGER ||
        sqlite3_value_type(arguments[1]) != SQLITE_INTEGER || sqlite3_value_int64(arguments[1]) == 0) {
        sqlite3_result_null(call);
        return;
    }
    __int128 part = sqlite3_value_int64(arguments[0]), whole = sqlite3_value_int64(arguments[1]);
    if (whole < 0) {
        part = -part;
        whole = -whole;
    }
    sqlite3_result_int64(call, round_half_away(part * DECIMAL_ONE, whole));
}

static struct text argument_text(sqlite3_value *argument)
{
    const char *bytes = (const char *)sqlite3_value_text(argument);

    return (struct text){bytes != NULL ? bytes : "", bytes != NULL ? (size_t)sqlite3_value_bytes(argument) : 0};
}

static void give(sqlite3_context *cell, struct value v)
{
    char room[DATE_ROOM];

    switch ((enum value_type)v.type) {
    case VALUE_NUMBER: sqlite3_result_int64(cell, v.number / DECIMAL_ONE); break;
    case VALUE_BOOLEAN: sqlite3_result_int64(cell, v.number); break;
    case VALUE_DATE:
        sqlite3_result_text(cell, room, (int)date_write((int32_t)v.number, room), SQLITE_TRANSIENT);
        break;
    case VALUE_TEXT: sqlite3_result_text(cell, v.bytes, (int)v.length, SQLITE_TRANSIENT); break;
    case VALUE_NULL: sqlite3_result_null(cell); break;
    }
}

static void call_stage_of(sqlite3_context *call, int count, sqlite3_value **arguments)
{
    struct guard *guard = sqlite3_user_data(call);
    struct value stage;

    (void)count;
    if (guard->setup->stage_of == NULL) {
        sqlite3_result_null(call);
        return;
    }
    guard->trusted = true;
    guard->status = guard->setup->stage_of(guard->setup->context, argument_text(arguments[0]),
                                           argument_text(arguments[1]), &stage);
    guard->trusted = false;
    if (guard->status != WM_OK)
        sqlite3_result_error_code(call, SQLITE_ABORT);
    else
        give(call, stage);
}

/* --- Given tables ---------------------------------------------------------------------------------- */

static void feed_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    const struct given_table *table = ((const struct feed *)context)->table;
    struct value v = table->cells[row * table->column_count + (uint32_t)column];

    if (v.type == VALUE_NUMBER)
        sqlite3_result_int64(ret_cell, v.number / table->units[column]);
    else
        give(ret_cell, v);
}

/* SQLite connects a table of ours when it is first named, as by CREATE TABLE: now, as later that is refused. */
static int connect_feed(struct guard *guard, const char *name)
{
    char *sql = sqlite3_mprintf("SELECT 1 FROM \"%w\"", name);
    sqlite3_stmt *statement = NULL;
    int status = sql == NULL ? WM_NO_MEMORY : office_prepare(guard->office, sql, &statement);

    sqlite3_finalize(statement);
    sqlite3_free(sql);
    return status;
}

int guard_give(struct guard *guard, const struct given_table *table)
{
    sqlite3_str *names = sqlite3_str_new(NULL);

    assert(guard->feed_count < GIVEN_TABLES && table->column_count > 0);
    for (uint32_t i = 0; i < table->column_count; i++)
        sqlite3_str_appendf(names, "%s\"%w\"", i > 0 ? ", " : "", table->columns[i]);
    struct feed *feed = &guard->feeds[guard->feed_count];
    feed->names = sqlite3_str_finish(names);
    feed->table = table;
    if (feed->names == NULL)
        return WM_NO_MEMORY;
    guard->feed_count++;
    feed->feed = (struct row_feed){feed->names, table->row_count, feed_cell, feed, table->name};
    int status = row_feed_begin(guard->office, &feed->feed);
    guard->trusted = true;
    if (status == WM_OK)
        status = connect_feed(guard, table->name);
    guard->trusted = false;
    return status;
}

/* --- The guard ------------------------------------------------------------------------------------- */

static int list_base_tables(struct guard *guard)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status =
        office_prepare(guard->office, "SELECT name FROM sqlite_schema WHERE type = 'table'", &statement);

    if (status == WM_OK)
        status = office_step(guard->office, statement, &more);
    while (status == WM_OK && more) {
        buffer_add_text(&guard->base_tables, column_text(statement, 0));
        buffer_add_byte(&guard->base_tables, '\n');
        status = office_step(guard->office, statement, &more);
    }
    sqlite3_finalize(statement);
    return guard->base_tables.failed ? WM_NO_MEMORY : status;
}

/* What is sorted may be more than memory holds: it goes to files without a name. */
static int set_up(struct guard *guard)
{
    sqlite3 *database = guard->database;
    int flags = SQLITE_UTF8 | SQLITE_DETERMINISTIC | SQLITE_DIRECTONLY;

    clock_gettime(CLOCK_MONOTONIC, &guard->end);
    guard->end.tv_sec += (time_t)guard->setup->seconds;
    int result = sqlite3_create_function_v2(database, "share", 2, flags, NULL, call_share, NULL, NULL, NULL);
    if (result == SQLITE_OK)
        result =
            sqlite3_create_function_v2(database, "stage_of", 2, flags, guard, call_stage_of, NULL, NULL, NULL);
    if (result != SQLITE_OK)
        return office_report(guard->office, result);
    int status = list_base_tables(guard);
    if (status == WM_OK)
        status = office_run(guard->office, "PRAGMA temp_store = FILE");
    if (status != WM_OK)
        return status;
    guard->old_length_limit = sqlite3_limit(database, SQLITE_LIMIT_LENGTH, LIMIT_REPORT_VALUE_BYTES);
    guard->old_like_limit =
        sqlite3_limit(database, SQLITE_LIMIT_LIKE_PATTERN_LENGTH, LIMIT_REPORT_PATTERN_BYTES);
    guard->old_attach_limit = sqlite3_limit(database, SQLITE_LIMIT_ATTACHED, 0);
    guard->old_heap_limit = sqlite3_hard_heap_limit64(LIMIT_REPORT_HEAP_BYTES);
    sqlite3_progress_handler(database, STEPS_A_LOOK, look_at_clock, guard);
    sqlite3_set_authorizer(database, may_do, guard);
    return WM_OK;
}

int guard_open(struct office *office, const struct guard_setup *setup, struct guard **ret_guard)
{
    struct guard *guard = calloc(1, sizeof *guard);

    if (guard == NULL)
        return WM_NO_MEMORY;
    guard->office = office;
    guard->database = office_database(office);
    guard->setup = setup;
    guard->old_length_limit = -1;
    int status = set_up(guard);
    if (status == WM_OK)
        *ret_guard = guard;
    else
        guard_close(guard);
    return status;
}

void guard_close(struct guard *guard)
{
    if (guard == NULL)
        return;
    sqlite3_set_authorizer(guard->database, NULL, NULL);
    sqlite3_progress_handler(guard->database, 0, NULL, NULL);
    if (guard->old_length_limit >= 0) {
        sqlite3_limit(guard->database, SQLITE_LIMIT_LENGTH, guard->old_length_limit);
        sqlite3_limit(guard->database, SQLITE_LIMIT_LIKE_PATTERN_LENGTH, guard->old_like_limit);
        sqlite3_limit(guard->database, SQLITE_LIMIT_ATTACHED, guard->old_attach_limit);
        sqlite3_hard_heap_limit64(guard->old_heap_limit);
    }
    for (uint32_t i = 0; i < guard->feed_count; i++) {
        row_feed_end(guard->office, &guard->feeds[i].feed);
        sqlite3_free(guard->feeds[i].names);
    }
    buffer_free(&guard->base_tables);
    sqlite3_exec(guard->database, "PRAGMA temp_store = MEMORY", NULL, NULL, NULL);
    sqlite3_create_function_v2(guard->database, "share", 2, SQLITE_UTF8, NULL, NULL, NULL, NULL, NULL);
    sqlite3_create_function_v2(guard->database, "stage_of", 2, SQLITE_UTF8, NULL, NULL, NULL, NULL, NULL);
    free(guard);
}

bool guard_names(struct text sql, const char *table)
{
    struct sql_words words = {sql, 0, 0};
    struct text word;

    while (sql_next_word(&words, &word))
        if (sql_word_is(word, table))
            return true;
    return false;
}

/* --- Queries --------------------------------------------------------------------------------------- */

/* The place of a byte of the text, whose column counts bytes of the line. */
static struct place place_at(struct place start, struct text sql, size_t byte)
{
    struct place place = {start.file, start.line, 1};

    for (size_t i = 0; i < byte && i < sql.length; i++) {
        place.column++;
        if (sql.bytes[i] == '\n') {
            place.line++;
            place.column = 1;
        }
    }
    return place;
}

static struct place place_of_word(struct place start, struct text sql, const char *name)
{
    struct sql_words words = {sql, 0, 0};
    struct text word;

    while (name[0] != '\0' && sql_next_word(&words, &word))
        if (sql_word_is(word, name))
            return place_at(start, sql, words.start);
    words = (struct sql_words){sql, 0, 0};
    sql_next_word(&words, &word);
    return place_at(start, sql, words.start);
}

/* A WITH table of a view's name would pass for the view: `name AS (` or `name (columns) AS (`. */
static bool names_view_anew(struct text sql, size_t *ret_byte, struct text *ret_name)
{
    struct sql_words words = {sql, 0, 0};
    bool is_of_view = false;
    struct text word;
    char name[64];

    while (sql_next_word(&words, &word)) {
        if (is_of_view &&
            (text_is(word, "(") || (text_equal_any_case(word, TEXT("as")) && sql_defines_table(words))))
            return true;
        is_of_view = sql_word_name(word, name, sizeof name) && is_of_views(name);
        *ret_name = word;
        *ret_byte = words.start;
    }
    return false;
}

/* The time was over, or the memory. */
static int report_spent(const struct guard *guard, struct place place)
{
    if (guard->late)
        diag_error(
            office_sink(guard->office), place,
            "this took longer than %lld second%s; narrow it by its parameters, or give it more time with "
            "--seconds",
            (long long)guard->setup->seconds, plural((uint64_t)guard->setup->seconds));
    else
        diag_error(office_sink(guard->office), place,
                   "this takes more memory than a report may have; narrow it by its parameters");
    return WM_LIMIT;
}

/* What SQLite says of a text that it could not prepare. */
static int report_fault(struct guard *guard, struct text sql, struct place start, int result)
{
    const struct refusal *refusal = &guard->refusal;
    int byte = sqlite3_error_offset(guard->database);

    if (guard->late || (result & 0xff) == SQLITE_NOMEM)
        return report_spent(guard, start);
    if (refusal->words[0] != '\0') {
        diag_error(office_sink(guard->office), place_of_word(start, sql, refusal->name), "%s", refusal->words);
        return WM_BAD_INPUT;
    }
    struct place place = byte >= 0 ? place_at(start, sql, (size_t)byte) : place_of_word(start, sql, "");
    diag_error(office_sink(guard->office), place, "the query cannot be used: %s; correct it",
               sqlite3_errmsg(guard->database));
    return WM_BAD_INPUT;
}

/* The text behind a statement holds another one. */
static bool has_more(const char *rest, const char *end)
{
    struct sql_words words = {{rest, (size_t)(end - rest)}, 0, 0};
    struct text word;

    while (sql_next_word(&words, &word))
        if (!text_is(word, ";"))
            return true;
    return false;
}

static int check_text(struct guard *guard, struct text sql, struct place start)
{
    struct text name = {"", 0};
    size_t byte = 0;

    if (!names_view_anew(sql, &byte, &name))
        return WM_OK;
    diag_error(office_sink(guard->office), place_at(start, sql, byte),
               "\"%.*s\" is a name of the views; call this table of WITH by another", TEXT_ARGUMENTS(name));
    return WM_BAD_INPUT;
}

static int check_statement(struct guard *guard, struct text sql, struct place start, sqlite3_stmt *statement,
                           const char *rest)
{
    struct diag_sink *sink = office_sink(guard->office);

    if (statement == NULL)
        diag_error(sink, start, "there is no query here; write a SELECT");
    else if (has_more(rest, sql.bytes + sql.length))
        diag_error(sink, place_at(start, sql, (size_t)(rest - sql.bytes)),
                   "a section has one query; begin another with a line `-- section: NAME`");
    else if (!sqlite3_stmt_readonly(statement) || sqlite3_stmt_isexplain(statement) ||
             sqlite3_column_count(statement) == 0)
        diag_error(sink, start, "a report only reads; write a SELECT over the documented views");
    else
        return WM_OK;
    return WM_BAD_INPUT;
}

int guard_prepare(struct guard *guard, struct text sql, struct place place, struct guarded_query **ret_query)
{
    struct guarded_query *query = calloc(1, sizeof *query);
    const char *rest = NULL;

    if (query == NULL)
        return WM_NO_MEMORY;
    query->guard = guard;
    query->place = place;
    guard->refusal.words[0] = '\0';
    guard->sql = sql;
    int status = check_text(guard, sql, place);
    if (status == WM_OK) {
        int result = sqlite3_prepare_v2(guard->database, sql.bytes, (int)sql.length, &query->statement, &rest);
        status = result != SQLITE_OK ? report_fault(guard, sql, place, result)
                                     : check_statement(guard, sql, place, query->statement, rest);
    }
    if (status == WM_OK)
        *ret_query = query;
    else
        guard_finish(query);
    return status;
}

void guard_finish(struct guarded_query *query)
{
    if (query == NULL)
        return;
    sqlite3_finalize(query->statement);
    free(query);
}

uint32_t guard_parameters(const struct guarded_query *query)
{
    return (uint32_t)sqlite3_bind_parameter_count(query->statement);
}

struct text guard_parameter(const struct guarded_query *query, uint32_t number)
{
    const char *name = sqlite3_bind_parameter_name(query->statement, (int)number + 1);

    return text_of(name != NULL ? name + 1 : "");
}

int guard_bind_whole(struct guarded_query *query, uint32_t number, int64_t whole)
{
    int result = sqlite3_bind_int64(query->statement, (int)number + 1, whole);

    return result == SQLITE_OK ? WM_OK : office_report(query->guard->office, result);
}

int guard_bind(struct guarded_query *query, uint32_t number, struct value v)
{
    char room[DATE_ROOM];
    int at = (int)number + 1, result = SQLITE_OK;

    switch ((enum value_type)v.type) {
    case VALUE_NUMBER:
    case VALUE_BOOLEAN: result = sqlite3_bind_int64(query->statement, at, v.number); break;
    case VALUE_DATE:
        result = sqlite3_bind_text(query->statement, at, room, (int)date_write((int32_t)v.number, room),
                                   SQLITE_TRANSIENT);
        break;
    case VALUE_TEXT:
        result = sqlite3_bind_text64(query->statement, at, v.bytes, v.length, SQLITE_STATIC, SQLITE_UTF8);
        break;
    case VALUE_NULL: result = sqlite3_bind_null(query->statement, at); break;
    }
    return result == SQLITE_OK ? WM_OK : office_report(query->guard->office, result);
}

uint32_t guard_columns(const struct guarded_query *query)
{
    return (uint32_t)sqlite3_column_count(query->statement);
}

struct text guard_column(const struct guarded_query *query, uint32_t column)
{
    return text_of(sqlite3_column_name(query->statement, (int)column));
}

static int report_stop(const struct guarded_query *query, int result)
{
    struct guard *guard = query->guard;
    struct diag_sink *sink = office_sink(guard->office);

    if (guard->late)
        return report_spent(guard, query->place);
    if (guard->status != WM_OK)
        return guard->status;
    switch (result & 0xff) {
    case SQLITE_NOMEM: return report_spent(guard, query->place);
    case SQLITE_TOOBIG:
        diag_error(sink, query->place,
                   "a value of this query is longer than a report's may be; make it shorter");
        return WM_LIMIT;
    case SQLITE_ERROR:
        diag_error(sink, query->place, "the query failed: %s; correct it", sqlite3_errmsg(guard->database));
        return WM_BAD_INPUT;
    default: return office_report(guard->office, result);
    }
}

int guard_step(struct guarded_query *query, bool *ret_row)
{
    int result = sqlite3_step(query->statement);

    if (result != SQLITE_ROW && result != SQLITE_DONE)
        return report_stop(query, result);
    *ret_row = result == SQLITE_ROW;
    return WM_OK;
}

struct guarded_cell guard_cell(const struct guarded_query *query, uint32_t column)
{
    struct guarded_cell cell = {CELL_NULL, 0, {"", 0}};
    int at = (int)column;

    switch (sqlite3_column_type(query->statement, at)) {
    case SQLITE_INTEGER:
        cell.kind = CELL_WHOLE;
        cell.whole = sqlite3_column_int64(query->statement, at);
        break;
    case SQLITE_TEXT: {
        const char *bytes = (const char *)sqlite3_column_text(query->statement, at);
        cell.kind = CELL_TEXT;
        cell.text =
            (struct text){bytes != NULL ? bytes : "", (size_t)sqlite3_column_bytes(query->statement, at)};
        break;
    }
    case SQLITE_FLOAT: cell.kind = CELL_POINT; break;
    case SQLITE_BLOB: cell.kind = CELL_BYTES; break;
    default: break;
    }
    return cell;
}
