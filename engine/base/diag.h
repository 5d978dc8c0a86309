/* diag.h - what went wrong, where, and what to do about it.
 *
 * Modules never print. They report diagnostics to a sink that the caller made, and go on where they can,
 * so that one run names every error. A diag is valid during the call of the sink only.
 */
#ifndef WM_BASE_DIAG_H
#define WM_BASE_DIAG_H

#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

enum severity { SEVERITY_ERROR, SEVERITY_WARNING };

/* A place: column is the number of the cell in its row, from 1. 0 in line or column: not known. */
struct place {
    struct text file;    /* as the user named it; empty: no file */
    uint64_t line;
    uint32_t column;
};

struct diag {
    enum severity severity;
    struct place place;
    const char *message;    /* what is wrong; what to do. Terminated by NUL; UTF-8 without control characters: what is
                             * none of it in a name or a cell is shown as `?`. */
};

/* Several threads may report at once where `report` allows it, as that of the command line does; what they counted is
 * read when they have ended. */
struct diag_sink {
    void (*report)(void *context, const struct diag *diag);    /* may be NULL: only counts */
    void *context;
    size_t errors;
    size_t warnings;
};

void diag_error(struct diag_sink *sink, struct place place, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void diag_warning(struct diag_sink *sink, struct place place, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Hands a diagnostic that is there on to a sink. */
void diag_pass(struct diag_sink *sink, const struct diag *diag);

/* Writes `file:line:column: message` (the parts that are known), NUL-terminated, to at least one byte of room;
 * returns the length of what found room. */
size_t diag_write(const struct diag *diag, char *room, size_t size);

#endif
