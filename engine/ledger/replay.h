/* replay.h - recorded batches as files again, so that their claims can be decided once more.
 *
 * A batch comes as CSV with the columns of a claim file: its recorded rows in the order of the file, without
 * those that could not be read and those that said again what was recorded. Read inside office_begin_read.
 */
#ifndef WM_LEDGER_REPLAY_H
#define WM_LEDGER_REPLAY_H

#include "ledger/office.h"

struct recorded_batch {
    int64_t batch, load; /* load: the last one that it was decided with */
    int32_t received_on, today;
    struct text file_name;
    struct text csv;
};

/* Calls take for each batch in the order of recording; texts live during the call. take returns a status, and
 * one that is not WM_OK ends it. WM_IO, WM_NO_MEMORY. */
int ledger_replay(struct office *office, int (*take)(void *context, const struct recorded_batch *batch),
                  void *context);

#endif
