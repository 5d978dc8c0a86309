/* rules_files.h - the text of a rules folder: every file that rules are made of, as bytes.
 *
 * Kept apart from compiling, so that rules can also come from where they were recorded, and so that what
 * decided a batch can be kept to the letter.
 */
#ifndef WM_RULES_RULES_FILES_H
#define WM_RULES_RULES_FILES_H

#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/text.h"

struct rules_file {
    struct text path; /* relative to the folder, with /: "checks/claim/dates.csv" */
    struct text bytes;
};

struct rules_files {
    struct text folder;       /* as the user named it, for diagnostics; may be empty */
    struct rules_file *files; /* in the order of their paths */
    uint32_t count;
};

/* Reads facts.csv, deadlines.csv, units.csv, filings.csv, outliers.csv, every checks/SCOPE/NAME.csv,
 * campaigns/ID/NAME.csv and messages/LANGUAGE.csv (which decide nothing; cli/language.h). What is not CSV is left
 * alone; links are not followed. Reports what cannot be read. All of it lives in the arena. */
int rules_files_read(const char *folder, struct arena *arena, struct diag_sink *sink,
                     struct rules_files *ret_files);

/* The file of this path, or NULL. */
const struct rules_file *rules_files_find(const struct rules_files *files, struct text path);

#endif
