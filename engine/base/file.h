/* file.h - whole files in, whole files out. Errors are diagnostics that name the file and the system's words.
 */
#ifndef WM_BASE_FILE_H
#define WM_BASE_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

#include "base/buffer.h"
#include "base/diag.h"

/* Reads a regular file of at most most_bytes into out (appended). A folder, a file that is not there or
 * too large is WM_IO / WM_LIMIT with one diagnostic. */
int file_read(const char *path, size_t most_bytes, struct buffer *out, struct diag_sink *sink);

/* Read up to so many bytes, fewer only at the end of what there is; how many, -1 with errno where a read failed. The
 * second from a place in the file on, without moving in it. */
ssize_t descriptor_read(int descriptor, void *room, size_t most);
ssize_t descriptor_read_at(int descriptor, void *room, size_t most, uint64_t offset);

/* Writes all of it to an open file; false with errno where not all of it could be. */
bool descriptor_write(int descriptor, const void *bytes, size_t length);

/* A file that appears under its name only when it is whole: written beside it under a temporary name,
 * then renamed. path NULL: standard output, where nothing can be taken back; nor can it where the path is a device or
 * a pipe, which is written to as it is. */
struct output {
    int descriptor;
    char *path;      /* owned; NULL for standard output */
    char *temporary; /* owned; NULL where what is written stays */
    struct buffer buffer;
    uint64_t written; /* bytes that left the buffer */
    int error;        /* errno of the first failed write, 0 if none */
};

int output_open(struct output *ret_output, const char *path, struct diag_sink *sink);
void output_add(struct output *output, const void *bytes, size_t length);

/* Writes out what was added so far, so that a failure shows before it matters, and says how many bytes that is
 * since the output was opened. WM_IO with a diagnostic. */
int output_settle(struct output *output, struct diag_sink *sink, uint64_t *ret_bytes);

/* Takes back what was added behind so many bytes; not where the output is standard output. */
void output_cut(struct output *output, uint64_t bytes);

/* Flushes, renames into place; WM_IO with a diagnostic if any write failed, and then nothing is left behind. */
int output_close(struct output *output, struct diag_sink *sink);

/* Throws away what was written. Accepts an output that was never opened (zeroed) or was closed. */
void output_drop(struct output *output);

#endif
