#include "cli/early_scan.h"

#include <stdio.h>

#include "base/status.h"

static void *search(void *context)
{
    struct early_scan *scan = context;
    struct csv_scan found;
    int status = csv_source_scan(scan->source, false, &found, &scan->own_sink);

    pthread_mutex_lock(&scan->lock);
    scan->status = status;
    scan->has_ended = true;
    pthread_cond_broadcast(&scan->ended);
    pthread_mutex_unlock(&scan->lock);
    return NULL;
}

static void pass_on(void *context, const struct diag *diag)
{
    struct early_scan *scan = context;

    if (early_scan_result(scan) != WM_OK)
        return;
    diag_pass(scan->user_sink, diag);
}

/* For the user, if it comes to that: other threads may speak before it is known. The search ends with what it says. */
static void keep(void *context, const struct diag *diag)
{
    struct early_scan *scan = context;

    snprintf(scan->message, sizeof scan->message, "%s", diag->message);
    scan->place = (struct place){scan->source->name, diag->place.line, diag->place.column};
}

static void destroy(struct early_scan *scan)
{
    pthread_cond_destroy(&scan->ended);
    pthread_mutex_destroy(&scan->lock);
}

int early_scan_start(struct early_scan *scan, const struct csv_source *source, struct diag_sink *user_sink)
{
    *scan = (struct early_scan){
        .source = source,
        .user_sink = user_sink,
        .own_sink = {.report = keep, .context = scan},
        .held_sink = {.report = pass_on, .context = scan},
        .lock = PTHREAD_MUTEX_INITIALIZER,
        .ended = PTHREAD_COND_INITIALIZER,
    };
    if (pthread_create(&scan->thread, NULL, search, scan) == 0)
        return WM_OK;
    destroy(scan);
    return WM_NO_MEMORY;
}

int early_scan_result(struct early_scan *scan)
{
    pthread_mutex_lock(&scan->lock);
    while (!scan->has_ended)
        pthread_cond_wait(&scan->ended, &scan->lock);
    int status = scan->status;
    pthread_mutex_unlock(&scan->lock);
    return status;
}

int early_scan_close(struct early_scan *scan)
{
    pthread_join(scan->thread, NULL);
    destroy(scan);
    if (scan->status != WM_OK)
        diag_error(scan->user_sink, scan->place, "%s", scan->message);
    return scan->status;
}
