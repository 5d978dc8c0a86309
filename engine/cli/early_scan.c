#include "cli/early_scan.h"

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
    if (diag->severity == SEVERITY_ERROR)
        scan->user_sink->errors++;
    else
        scan->user_sink->warnings++;
    if (scan->user_sink->report != NULL)
        scan->user_sink->report(scan->user_sink->context, diag);
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
    struct csv_scan found;

    pthread_join(scan->thread, NULL);
    destroy(scan);
    if (scan->status == WM_OK)
        return WM_OK;
    /* once more, aloud: a file that cannot be used is rare, and other threads may have spoken in between */
    int status = csv_source_scan(scan->source, false, &found, scan->user_sink);
    if (status != WM_OK)
        return status;
    diag_error(scan->user_sink, (struct place){scan->source->name, 0, 0},
               "the file was changed while it was read; run it again");
    return WM_IO;
}
