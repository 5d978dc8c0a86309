/* folder.h - the reports that there are: files NAME.sql of a folder, and those that the program computes
 * itself.
 *
 * A report is named by its file's name without `.sql`: a to z, digits, - and _. Nothing outside the folder is
 * read: a name that is a path, and a link that leads out of the folder, are refused.
 */
#ifndef WM_REPORTS_FOLDER_H
#define WM_REPORTS_FOLDER_H

#include "reports/report.h"

struct found_report {
    struct report report;
    const struct computed_report *computed; /* NULL: one of SQL */
};

/* Everything is in the arena. WM_NOT_FOUND, WM_BAD_INPUT, WM_IO after a diagnostic. */
int report_find(struct arena *arena, const char *folder, struct text name, struct diag_sink *sink,
                struct found_report *ret_found);

/* The names of all, in order. WM_IO after a diagnostic where the folder cannot be read. */
int report_names(struct arena *arena, const char *folder, struct diag_sink *sink, struct text **ret_names,
                 uint32_t *ret_count);

#endif
