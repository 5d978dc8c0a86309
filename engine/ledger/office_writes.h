/* office_writes.h - how the office file's bytes get to the disk: SQLite's own way, in longer pieces.
 *
 * SQLite writes a page at a time, and a page of its log in two pieces. A night of a million claims is 160,000 such
 * calls, and the disk is told of any of it at the very end, when everything waits for it. This is a layer over
 * SQLite's file system: writes that follow each other in a file are gathered and written as one, and of a long
 * run the disk is asked to begin before SQLite asks it to be done.
 *
 * It changes nothing of what is durable when: every other call on a file (sync, lock, truncation, size, shared
 * memory) first writes what was gathered, and so does a read of it; a write that failed is reported by the call
 * that made it, before SQLite takes anything for committed.
 */
#ifndef WM_LEDGER_OFFICE_WRITES_H
#define WM_LEDGER_OFFICE_WRITES_H

/* The name of the layer for sqlite3_open_v2; NULL, SQLite's own, where it cannot be had. For any thread. */
const char *office_writes_layer(void);

#endif
