/* office_writes.h - how the office file's bytes get to the disk: SQLite's own way, in longer pieces.
 *
 * SQLite writes a page at a time, and a page of its log in two pieces. A night of a million claims is 160,000
 * such calls, and the disk is told of any of it at the very end, when everything waits for it. This is a layer
 * over SQLite's file system: writes that follow each other in a file are gathered and written as one, and of a
 * long run the disk is asked to begin before SQLite asks it to be done.
 *
 * It changes nothing of what is durable when: reading the file, its sync, lock, truncation and size first write
 * what was gathered, and a write that failed then is reported by that call. Others see a commit in the log's
 * shared memory only after SQLite has synced the log, which PRAGMA synchronous = FULL makes sure of
 * (ledger/office.c).
 */
#ifndef WM_LEDGER_OFFICE_WRITES_H
#define WM_LEDGER_OFFICE_WRITES_H

/* The name of the layer for sqlite3_open_v2; NULL, SQLite's own, where it cannot be had. For any thread. */
const char *office_writes_layer(void);

#endif
