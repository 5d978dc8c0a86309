/* read_report.h - from the text of a report, or the header of a computed one, to a struct report.
 *
 * Every error is reported with its line and column (of bytes) before it gives up. The report borrows the text;
 * all else is in the arena.
 *
 * Not here: whether the query can run (that needs an office), and values of parameters (parameters.h).
 */
#ifndef WM_REPORTS_READ_REPORT_H
#define WM_REPORTS_READ_REPORT_H

#include "reports/report.h"

/* name: of the report; file: as messages name it. computed: a header without queries. WM_BAD_INPUT after any
 * error. */
int report_read(struct arena *arena, struct text name, struct text file, struct text text, bool computed,
                struct diag_sink *sink, struct report *ret_report);

/* "money" ...; REPORT_FORMATS where the word is none. */
enum report_format report_format_from(struct text word);
const char *report_format_name(enum report_format format);

/* The one of the names that a word was probably meant to be; empty where none is near. */
struct text report_nearest(struct text word, struct text (*name_at)(const void *list, uint32_t number),
                           const void *list, uint32_t count);

#endif
