/* load_parts.h - what the loaders share: errors kept in order, cells checked, a load recorded. Internal to
 * ledger/load*.c. */
#ifndef WM_LEDGER_LOAD_PARTS_H
#define WM_LEDGER_LOAD_PARTS_H

#include "base/arena.h"
#include "base/csv.h"
#include "base/date.h"
#include "ledger/load.h"

/* The first errors that were added, and how many there are. Zeroed is empty. Not for two threads at once. */
struct load_error {
    uint64_t line;
    uint32_t column;
    struct text message;
};

struct load_errors {
    struct arena arena;
    struct load_error named[LOAD_ERRORS_NAMED];
    size_t named_count;
    uint64_t count;
};

/* column 0: the row as a whole. */
void load_errors_add(struct load_errors *errors, uint64_t line, uint32_t column, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
void load_errors_free(struct load_errors *errors);

/* Reports the lists (at most 16) together, by line. WM_BAD_INPUT if there is any error. */
int load_errors_report(struct load_errors *const *lists, size_t count, struct text file,
                       struct diag_sink *sink);

/* false, and an error: the row has a fault or not as many cells as the header. */
bool load_row_is_whole(const struct csv_row *row, uint32_t width, struct load_errors *errors);

/* Each reads one cell; an empty cell is none. false, and an error that names the cell: it is not what it must
 * be. */
struct load_cell {
    struct text text;
    const char *column;
    const struct csv_row *row;
    uint32_t at; /* from 1 */
    struct load_errors *errors;
};

bool load_cell_filled(const struct load_cell *cell);
bool load_cell_day(const struct load_cell *cell, int32_t *ret_day);
bool load_cell_number(const struct load_cell *cell, unsigned places, bool may_be_negative,
                      int64_t *ret_millionths);

/* VINs are upper-cased into room; at most 17 of A-Z and 0-9. */
bool load_cell_vin(const struct load_cell *cell, char room[18], struct text *ret_vin);
void load_cell_error(const struct load_cell *cell, const char *words);

/* A file to load: open, with its digest, its header not yet read. */
struct load_file {
    struct csv_source source;
    struct csv_scan scan;
};

/* Writes the row of `loads`, or finds that the same bytes are there already and nothing changed (then *ret_load
 * is 0). Inside a write; the summary's counts must be set; sets load, same_file_load and same_file_on. */
int load_record(struct office *office, enum office_data kind, const struct load_file *file, int32_t today,
                struct load_summary *summary);

/* The number that the next load will have. */
int load_next_number(struct office *office, int64_t *ret_load);

int load_vehicles(struct office *office, struct load_file *file, int32_t today, struct diag_sink *sink,
                  struct load_summary *ret_summary);
int load_records(struct office *office, enum office_data kind, struct load_file *file, int32_t today,
                 struct diag_sink *sink, struct load_summary *ret_summary);

#endif
