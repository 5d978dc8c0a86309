/* vehicle_file.h - a vehicles file, read by several threads into rows and the profiles they refer to.
 *
 * Owns rows, profiles and their texts. Knows nothing of the office.
 */
#ifndef WM_LEDGER_VEHICLE_FILE_H
#define WM_LEDGER_VEHICLE_FILE_H

#include "ledger/load_parts.h"
#include "ledger/vehicle_index.h"
#include "register/register.h"

struct file_profile {
    struct text key;                   /* equal keys, equal profiles: see vehicle_profile_key */
    struct vehicle_profile profile;    /* its texts lie in the key */
    uint64_t first_line;
};

struct vehicle_file {
    struct vehicle_row *rows;          /* profile: a number of `profiles`. By key, each key once */
    struct vehicle_row *scratch;       /* as large as rows */
    uint32_t count;
    struct file_profile *profiles;     /* in the order of first_line */
    uint32_t profile_count;
    uint64_t row_count, repeated_rows;
    struct arena texts;
};

/* Reads all, and scans the file for its digest. WM_BAD_INPUT: errors, which are reported. */
int vehicle_file_read(struct load_file *file, struct diag_sink *sink, struct vehicle_file *ret_read);
void vehicle_file_free(struct vehicle_file *read);

enum { PROFILE_CELLS = 8 };

/* Appends the key of a profile: model line, year, engine, transmission, plant, options, status, status_on as text, each
 * behind its length. */
struct buffer;
void vehicle_profile_key(struct buffer *out, const struct text cells[PROFILE_CELLS]);

#endif
