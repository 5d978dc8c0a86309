/* spreadsheet.h - claim files as spreadsheets save them: recognised and named, or restated where that is asked
 * for.
 *
 * A claim file is CSV with commas and decimal points. Spreadsheets of many countries save semicolons and
 * decimal commas, and people put a title above the header. Opened without being asked for, such a file is an
 * error that says what it is and what to do, in place of one about missing columns. Opened with its separator,
 * it is restated as the CSV that it stands for, line by line, so that places in messages are those of the file
 * at hand:
 *   - cells are cut at the separator; those that need quotes get them;
 *   - a decimal comma (digits, one comma, digits) becomes a point in columns of money and in the numbers of
 *     items: behind `=` and `@`. A cell with points and commas is left as it is, and found wrong later: whether
 *     1.234 is a thousand or one and a bit is nobody's to guess.
 * A quote that is malformed passes unchanged, and is found where rows are read.
 */
#ifndef WM_INTAKE_SPREADSHEET_H
#define WM_INTAKE_SPREADSHEET_H

#include "base/buffer.h"
#include "base/csv.h"
#include "base/diag.h"

/* As csv_source_open; and WM_BAD_INPUT where the file is not what a claim file is and one can tell what it is.
 * separator: a comma, or what restates the file. */
int claims_source_open(struct csv_source *ret_source, const char *path, char separator, struct diag_sink *sink);

/* The text restated. */
void spreadsheet_restate(struct text text, char separator, struct buffer *out);

/* A number with a decimal comma, as it would be with a point, appended; false, and nothing, where it is none.
 */
bool spreadsheet_decimal_comma(struct text cell, struct buffer *out);

#endif
