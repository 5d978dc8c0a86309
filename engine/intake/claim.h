/* claim.h - one row of a claim file, read as contract section 1 says.
 *
 * A claim borrows its texts from the block it was read from, or from the arena. A row that cannot be read is a claim
 * too: unreadable, with the place and the reason, and with those cells that could be read.
 *
 * Not here: whether what the dealer says is right.
 */
#ifndef WM_INTAKE_CLAIM_H
#define WM_INTAKE_CLAIM_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/csv.h"
#include "base/date.h"
#include "base/decimal.h"
#include "base/diag.h"

enum claim_column {
    COLUMN_CLAIM, COLUMN_REVISION, COLUMN_DEALER, COLUMN_REPAIR_ORDER, COLUMN_CAMPAIGN, COLUMN_VIN, COLUMN_OUTCOME,
    COLUMN_MODEL_YEAR, COLUMN_ENGINE, COLUMN_ODOMETER, COLUMN_ODOMETER_UNIT, COLUMN_OPENED_ON, COLUMN_COMPLETED_ON,
    COLUMN_SUBMITTED_ON, COLUMN_TECHNICIAN, COLUMN_APPROVAL, COLUMN_PARTS, COLUMN_LABOR, COLUMN_INSPECTIONS,
    COLUMN_PARTS_AMOUNT, COLUMN_LABOR_AMOUNT, COLUMN_OTHER_AMOUNT, COLUMN_TOTAL_AMOUNT,
    CLAIM_COLUMNS
};
const char *claim_column_name(enum claim_column column);

struct claim_header {
    int at[CLAIM_COLUMNS];         /* cell of each column, -1: the file has none */
    uint32_t width;                /* cells that every row must have */
};

/* Unknown columns are one warning; a missing required column is an error (WM_BAD_INPUT). */
int claim_header_read(const struct csv_row *row, struct text file, struct diag_sink *sink,
                      struct claim_header *ret_header);

enum outcome { OUTCOME_REPAIRED, OUTCOME_INSPECTED };

struct part_item {
    struct text number;            /* as written */
    struct text key;               /* as it compares */
    int64_t quantity;              /* millionths, above 0 */
    bool has_price;
    int64_t price;                 /* millionths of the currency */
};

struct labor_item {
    struct text operation, key;
    int64_t hours;                 /* millionths, above 0 */
};

struct inspection_item {
    struct text item, key;
    struct text result;            /* as written */
    bool has_reading;
    int64_t reading;               /* millionths of the unit */
    struct text unit;              /* as written; empty: none */
};

struct claim {
    uint64_t line;                 /* physical line on which the row starts */
    struct text raw;               /* the row as it stands in the file */
    struct text cells[CLAIM_COLUMNS];    /* trimmed, as written; empty where there is none */
    struct text vin;               /* upper-cased */
    int64_t revision;
    enum outcome outcome;
    bool has_model_year, has_odometer, odometer_is_km;
    int64_t model_year;
    int64_t odometer;              /* whole units */
    int32_t opened_on, completed_on, submitted_on;    /* DAY_NONE: empty */
    struct part_item *parts;
    struct labor_item *labor;
    struct inspection_item *inspections;
    uint32_t part_count, labor_count, inspection_count;
    int64_t parts_amount_cents, labor_amount_cents, other_amount_cents, total_amount_cents;    /* empty is 0 */
    bool total_is_known;           /* false only where total_amount could not be read */
    bool unreadable;
    uint32_t fault_column;         /* cell number from 1, 0: the row as a whole */
    uint64_t fault_line;
    struct text fault_reason;      /* whole sentence that names line and column and says what to do */
};

/* Reads one row, which must come from rows of a capacity of at least header->width. WM_OK also where the claim is
 * unreadable; WM_NO_MEMORY, and then what stands in *claim is none. */
int claim_read(const struct claim_header *header, const struct csv_row *row, struct arena *arena,
               struct claim *claim);

/* The claim that these cells state, one for each column, as if they stood in a row of their own. */
int claim_of_cells(struct text cells[CLAIM_COLUMNS], uint64_t line, struct arena *arena, struct claim *ret_claim);

#endif
