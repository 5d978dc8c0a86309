/* csv_quoted.h - one row that holds quotes, through libcsv in strict mode.
 *
 * Internal to base/csv.c; a file of its own because the names of libcsv's header and of ours meet.
 */
#ifndef WM_BASE_CSV_QUOTED_H
#define WM_BASE_CSV_QUOTED_H

#include <stdbool.h>
#include <stddef.h>

/* NULL: no memory. */
void *csv_quoted_open(void);
void csv_quoted_close(void *parser);

enum csv_quoted { CSV_QUOTED_OK, CSV_QUOTED_MALFORMED, CSV_QUOTED_OPEN, CSV_QUOTED_NO_MEMORY };

/* Hands each cell of the row, quotes undone, to cell(); its bytes are valid during that call. bytes must be one
 * row without its line feed. MALFORMED and OPEN: the cells before the quote that is at fault were handed over. */
enum csv_quoted csv_quoted_row(void *parser, const char *bytes, size_t length,
                               void (*cell)(void *context, const char *bytes, size_t length), void *context);

#endif
