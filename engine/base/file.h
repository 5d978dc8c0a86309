/* file.h - whole files in, whole files out. Errors are diagnostics that name the file and the system's words. */
#ifndef WM_BASE_FILE_H
#define WM_BASE_FILE_H

#include <stddef.h>

#include "base/buffer.h"
#include "base/diag.h"

/* Reads a regular file of at most most_bytes into out (appended). A folder, a file that is not there or
 * too large is WM_IO / WM_LIMIT with one diagnostic. */
int file_read(const char *path, size_t most_bytes, struct buffer *out, struct diag_sink *sink);

/* A file that appears under its name only when it is whole: written beside it under a temporary name,
 * then renamed. path NULL: standard output, where nothing can be taken back. */
struct output {
    int descriptor;
    char *path;           /* owned; NULL for standard output */
    char *temporary;      /* owned */
    struct buffer buffer;
    int error;            /* errno of the first failed write, 0 if none */
};

int output_open(struct output *ret_output, const char *path, struct diag_sink *sink);
void output_add(struct output *output, const void *bytes, size_t length);

/* Flushes, renames into place; WM_IO with a diagnostic if any write failed, and then nothing is left behind. */
int output_close(struct output *output, struct diag_sink *sink);

/* Throws away what was written. Accepts an output that was never opened (zeroed) or was closed. */
void output_drop(struct output *output);

#endif
