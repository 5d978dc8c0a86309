/* load.h - office data from a CSV file into the office file: vehicles, dealers, shipments, approvals (contract
 * section 2), and notices: what the office says of a campaign and a quarter for the regulator.
 *
 * Every cell is checked first; with any error nothing is loaded. Else one transaction makes a load, with a new
 * version for each row that is new or differs from what stood there; rows that are not in the file stay as they
 * are.
 */
#ifndef WM_LEDGER_LOAD_H
#define WM_LEDGER_LOAD_H

#include <stdint.h>

#include "ledger/office.h"

enum office_data {
    OFFICE_VEHICLES,
    OFFICE_DEALERS,
    OFFICE_SHIPMENTS,
    OFFICE_APPROVALS,
    OFFICE_NOTICES,
    OFFICE_DATA_KINDS
};

/* "vehicles", "dealers", "shipments", "approvals", "notices" */
const char *office_data_name(enum office_data kind);

/* Errors of a file that are named one by one; of the rest only the number is. */
enum { LOAD_ERRORS_NAMED = 100 };

struct load_summary {
    int64_t load;           /* its number; 0: nothing was recorded, as these bytes had been loaded before and
                             * nothing has changed since */
    int64_t same_file_load; /* the last load of a file with the same bytes; 0: there is none */
    int32_t same_file_on;   /* its day */
    uint64_t rows;          /* in the file, without the header */
    uint64_t new_keys, changed_keys, unchanged_keys;
    uint64_t repeated_rows; /* rows that say again what another row of the file says */
};

/* path "-" is standard input. today: the day that the load is recorded under. The office must be open for
 * writing and in no transaction. WM_BAD_INPUT: the file has errors. All is reported to the sink, what concerns
 * the office file itself to the office's. */
int office_load(struct office *office, enum office_data kind, const char *path, int32_t today,
                struct diag_sink *sink, struct load_summary *ret_summary);

#endif
