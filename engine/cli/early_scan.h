/* early_scan.h - the search for a quote that is never closed, beside the deciding of the same file.
 *
 * Nothing of a file with such a quote may be used, so whoever decides it holds back what he has (claims, and
 * what there is to say of the file) until the search has ended: early_scan_result waits for it, and the sink
 * given here does. Where the search fails, its diagnostic is the only one.
 */
#ifndef WM_CLI_EARLY_SCAN_H
#define WM_CLI_EARLY_SCAN_H

#include <pthread.h>

#include "base/csv.h"
#include "base/limits.h"

struct early_scan {
    const struct csv_source *source;
    struct diag_sink *user_sink;
    struct diag_sink own_sink;  /* of the search; keeps what is said in place and message */
    struct diag_sink held_sink; /* for the deciding: passes on when the search has found nothing */
    pthread_mutex_t lock;       /* has_ended, status */
    pthread_cond_t ended;
    pthread_t thread;
    bool has_ended;
    int status;
    struct place place;
    char message[LIMIT_MESSAGE_BYTES]; /* why the file may not be used */
};

/* Starts the search; scan stays where it is until early_scan_close. WM_NO_MEMORY: no thread can be had, and
 * there is nothing to close. */
int early_scan_start(struct early_scan *scan, const struct csv_source *source, struct diag_sink *user_sink);

/* Waits for the end of the search; WM_OK: the file may be used. For any thread. */
int early_scan_result(struct early_scan *scan);

/* The same, and reports to the user why the file may not be used. The scan is gone then. */
int early_scan_close(struct early_scan *scan);

#endif
