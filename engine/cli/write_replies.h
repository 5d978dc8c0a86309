/* write_replies.h - one claim in the words of a reply to its dealer. */
#ifndef WM_CLI_WRITE_REPLIES_H
#define WM_CLI_WRITE_REPLIES_H

#include "base/buffer.h"
#include "facts/dossier.h"

/* CSV: a row for each finding, or one row where there is none. */
void write_reply_header(struct buffer *out);
void write_reply_rows(struct buffer *out, const struct dossier *dossier);

/* Text of 80 columns: what was decided, what is paid, what to do. */
void write_reply_text(struct buffer *out, const struct dossier *dossier);

#endif
