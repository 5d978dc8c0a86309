/* office_writes.h - how the office file's bytes get to the disk: SQLite's own way, in longer pieces.
 *
 * SQLite writes a page of its log in two pieces. A night of a million claims is 110,000 such calls, and the disk is
 * told of any of it at the very end, when everything waits for it. This is a layer over SQLite's file system: writes to
 * the log that follow each other are gathered and written as one, and of a long run, of any file, the disk is asked to
 * begin before SQLite asks it to be done.
 *
 * It changes nothing of what is durable when: reading the log, its sync, truncation and size first write what was
 * gathered. A gathered write that fails is remembered: every later write, read, sync, truncation and size of that file
 * fails as it did, until the file is closed. So no sync of the log can pass of which a write is missing. Others see a
 * commit, in the log's shared memory, only after SQLite has synced the log, which PRAGMA synchronous = FULL makes sure
 * of (ledger/office.c).
 *
 * Only the log is gathered. A log is taken over into the database in part while others read, and SQLite then notes how
 * much of it was, without a sync before: a write that was put off and failed would be lost. Journals are small.
 */
#ifndef WM_LEDGER_OFFICE_WRITES_H
#define WM_LEDGER_OFFICE_WRITES_H

/* The name of the layer for sqlite3_open_v2; NULL, SQLite's own, where it cannot be had. For any thread. */
const char *office_writes_layer(void);

#endif
