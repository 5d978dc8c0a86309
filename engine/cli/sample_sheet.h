/* sample_sheet.h - the worksheet of a sample, for the visit: a CSV row for each drawn claim, with what the
 * office knows and empty cells for the judgement. `sample record` reads it when it is filled in.
 */
#ifndef WM_CLI_SAMPLE_SHEET_H
#define WM_CLI_SAMPLE_SHEET_H

#include "base/buffer.h"
#include "cli/audit_desk.h"

/* Judgements that are recorded already stand in their cells. */
int sample_sheet_write(struct desk *desk, const struct sample *sample, const struct judgement *judgements,
                       struct buffer *out);

/* What a sample is, in sentences. */
void sample_describe(const struct sample *sample, struct buffer *out);

#endif
