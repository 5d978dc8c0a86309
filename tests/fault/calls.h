/* calls.h - the calls of the C library that can fail: counted, and the n-th made to fail, or to end the
 * process.
 *
 * calls.c defines malloc, read, write, open and their like once more, so that in a program that is linked with
 * it the engine, SQLite and every other library call these. What is counted are the calls between calls_begin
 * and calls_end, of all threads. Standard input and output keep calls of their own inside the C library, which
 * are not seen: what the engine writes with them are its words to the user alone.
 *
 * The clock of the day stands still.
 *
 * Not under AddressSanitizer, which has a malloc of its own.
 */
#ifndef WM_FAULT_CALLS_H
#define WM_FAULT_CALLS_H

#include <stdbool.h>
#include <stdint.h>

enum call_kind {
    CALL_ALLOC, /* malloc, calloc, realloc, aligned_alloc, posix_memalign, mmap, and what the C library makes of it */
    CALL_READ,  /* read, pread; of files, as all that follow */
    CALL_WRITE, /* write, pwrite, ftruncate, fallocate, rename, link, mkdir: what a full disk can refuse */
    CALL_SYNC,  /* fsync, fdatasync */
    CALL_OPEN,  /* open, openat, opendir, fopen, mkostemp, memfd_create */
    CALL_KINDS
};

enum call_action {
    CALL_GO_ON,     /* only counted */
    CALL_FAIL,      /* errno is ENOMEM */
    CALL_FULL,      /* ENOSPC, and so each call that follows: a disk stays full */
    CALL_IO,        /* EIO */
    CALL_MANY,      /* EMFILE, and so each call that follows */
    CALL_INTERRUPT, /* EINTR, of reads and writes alone */
    CALL_KILL       /* SIGKILL before the call */
};

extern const char *const CALL_KIND_NAMES[CALL_KINDS], *const CALL_ACTION_NAMES[];

/* From here on calls are counted, and the n-th of the kind (from 1) meets the action. */
void calls_begin(enum call_kind kind, long n, enum call_action action);

/* While calls are counted: also the place of each call of the kind that was begun with, a digest of its chain
 * of callers, goes to places[n - 1]. */
void calls_note_places(uint64_t *places, long room);

/* Places are told apart by the nearest callers in the program itself, so many of them; not undone. */
void calls_tell_by(int nearest);

/* While calls are counted: nothing may be written, as access() tells, until this is taken back. */
void calls_deny_writing(bool deny);

/* From here on the machine seems to have one processor, so that what asks how many there are has one thread, and the
 * n-th call is the same each time. */
void calls_have_one_processor(void);

/* While calls are counted: the n-th call of the kind that was begun with prints its chain of callers to the
 * descriptor. */
void calls_show(long n, int descriptor);

/* Ends the counting. */
void calls_end(void);

/* Of the last run: how many calls of the kind there were; whether the n-th was reached. */
long calls_counted(enum call_kind kind);
bool calls_reached(void);

/* Pieces of memory that were asked for less those that were given back, between calls_begin and calls_end; maps of
 * which something was not given back are one piece. */
long calls_live(void);

/* While calls are counted: keeps which allocation each piece is; then calls_first_live says which is the first
 * that was not given back, 0 if there is none. */
void calls_name_live(void);
long calls_first_live(void);

#endif
