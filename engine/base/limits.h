/* limits.h - every limit of the engine in one place, each with its reason. */
#ifndef WM_BASE_LIMITS_H
#define WM_BASE_LIMITS_H

/* A cell longer than this makes its row unreadable (contract section 1). */
#define LIMIT_CELL_BYTES (64u * 1024u)

/* A row is held in memory whole; a file whose quote is never closed is one row. One GiB is far above
 * any nightly file, and keeps a hostile one from taking the machine. */
#define LIMIT_ROW_BYTES (1024u * 1024u * 1024u)

/* Columns of a CSV file: a claim file has 23, a wide decision table some 40. */
#define LIMIT_COLUMNS 512

/* A file of the rules folder is read whole. The largest sensible table, 100,000 rows, is below 16 MiB. */
#define LIMIT_RULES_FILE_BYTES (64u * 1024u * 1024u)

/* Rows of one decision table: bit sets of rows are kept for each cut point of each column. */
#define LIMIT_TABLE_ROWS 100000

/* Bytes of row bit sets that one column of a table may take before its cells are tested one by one. */
#define LIMIT_COLUMN_SET_BYTES (32u * 1024u * 1024u)

/* PCRE2 steps for one pattern on one cell. A pattern that backtracks more than this is given up, so that
 * it costs milliseconds and not a night. */
#define LIMIT_PATTERN_STEPS 1000000
#define LIMIT_PATTERN_DEPTH 10000

/* Files under one folder of checks, and campaigns: guards against a rules folder that is the root of a disk. */
#define LIMIT_RULES_FILES 10000

/* Claim bytes that one thread takes at a time: large enough that hand-over costs nothing, small enough
 * that the facts of one block stay in the processor's second cache (1 MiB a core where this was measured). */
#define LIMIT_BLOCK_BYTES (96u * 1024u)

/* Threads that decide claims. */
#define LIMIT_THREADS 64

/* Rows and bytes of text that one section of a report may come to: a page is for people, and a browser sorts so many
 * rows in a moment. Larger listings are what `flags` and any SQLite tool are for. */
#define LIMIT_REPORT_ROWS 200000
#define LIMIT_REPORT_BYTES (256u * 1024u * 1024u)

/* What the SQL of a report may make in one value, in one pattern of LIKE or GLOB (whose time grows with a power of
 * it), and in all: a report that goes wrong must not take the machine. */
#define LIMIT_REPORT_VALUE_BYTES (16 * 1024 * 1024)
#define LIMIT_REPORT_PATTERN_BYTES 200
#define LIMIT_REPORT_HEAP_BYTES (INT64_C(2) * 1024 * 1024 * 1024)

/* How long a report may take unless --seconds says more. */
#define LIMIT_REPORT_SECONDS 120

/* A report's file is read whole; the longest that ships is 10 KiB. */
#define LIMIT_REPORT_FILE_BYTES (1024u * 1024u)

/* Length of one rendered message, in bytes; longer ones are cut with an ellipsis. */
#define LIMIT_MESSAGE_BYTES 2048

#endif
