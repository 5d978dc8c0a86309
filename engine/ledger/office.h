/* office.h - the office file: one SQLite database, opened with care.
 *
 * An office owns its connection and every statement is the caller's to finalize before office_close. What goes wrong
 * is reported to the sink given at opening, in words that say what to do; SQLite's own words never reach a user
 * alone. The connection may be used from several threads, one call at a time.
 *
 * Readers see the state before a writer that is not done (write-ahead logging). After the last close the office is a
 * single file again.
 *
 * Not here: what stands in the tables (schema.sql says), and what is written or read.
 */
#ifndef WM_LEDGER_OFFICE_H
#define WM_LEDGER_OFFICE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/diag.h"

struct sqlite3;
struct sqlite3_stmt;
struct office;

enum office_mode {
    OFFICE_READ,    /* writes nothing; the file may be read-only, and so may its folder */
    OFFICE_READ_ALONE, /* likewise, for a program that uses it from one thread only; faster */
    OFFICE_WRITE,   /* makes the file where there is none */
    OFFICE_CHANGE,  /* writes, but the file must be there */
    OFFICE_PROVE    /* as OFFICE_READ, also where tables, triggers or views are not this program's: to say which */
};

/* The SQL that makes an office file's tables, triggers and views; ended by NULL. */
extern const char *const OFFICE_SCHEMA[];

/* Which version of the file this program makes and reads. */
enum { OFFICE_VERSION = 3 };

/* How long one waits for another program that is writing. */
enum { OFFICE_WAIT_MS = 60000 };

/* The sink is borrowed until office_close. WM_IO: it cannot be opened; WM_BAD_INPUT: it is no office file, or one of
 * another version, or one with tables, triggers or views that this program does not make; WM_NOT_FOUND: there is
 * none, and it was not to be made. Each with a diagnostic. */
int office_open(const char *path, enum office_mode mode, struct diag_sink *sink, struct office **ret_office);

/* A new office file, where office_is_there says there is none: it is written beside its name and gets it when it is
 * closed with WM_OK; with another status it goes again. Nothing is left then, and nobody sees half of it. Returns the
 * status, or WM_IO with a diagnostic where the name was taken meanwhile. Accepts NULL. What a program that was killed
 * leaves of it, whoever opens the office for writing takes away (ledger/left_overs.h). */
bool office_is_there(const char *path);
int office_open_new(const char *path, struct diag_sink *sink, struct office **ret_office);
int office_close_new(struct office *office, int status);

/* Takes back what is not committed. Accepts NULL. */
void office_close(struct office *office);

struct sqlite3 *office_database(struct office *office);
const char *office_path(const struct office *office);

struct diag_sink *office_sink(const struct office *office);

/* Another sink from now on. Returns the one before. */
struct diag_sink *office_set_sink(struct office *office, struct diag_sink *sink);

/* Whether readers see the state before a writer while it writes. */
bool office_logs_ahead(struct office *office);

/* How long this one waits for another, instead of OFFICE_WAIT_MS. */
void office_set_wait(struct office *office, int milliseconds);
int office_wait_ms(const struct office *office);

/* From here on the office is read as it stands now, until office_end_read. */
int office_begin_read(struct office *office);

/* WM_IO: the file was changed in a way that reading may have noticed (only where it can be read and not locked). */
int office_end_read(struct office *office);

/* Only one writes at a time; waits for another, with a warning, up to OFFICE_WAIT_MS. */
int office_begin_write(struct office *office);
int office_commit(struct office *office);
void office_rollback(struct office *office);

/* A prepared statement. WM_OK or reported. */
int office_prepare(struct office *office, const char *sql, struct sqlite3_stmt **ret_statement);

/* Steps once: *ret_row says whether there is a row. */
int office_step(struct office *office, struct sqlite3_stmt *statement, bool *ret_row);

/* Runs a statement that gives no row, then resets it. */
int office_execute(struct office *office, struct sqlite3_stmt *statement);

/* Runs statements that need no binding. */
int office_run(struct office *office, const char *sql);

/* Reports what the database said last (result: what its function returned) and returns the status for it. */
int office_report(struct office *office, int result);

/* The same in words, without a report: writes to room and returns the status. wait_ms: how long it waited for
 * others. */
int office_words(struct sqlite3 *database, int result, int wait_ms, char *room, size_t size);

#endif
