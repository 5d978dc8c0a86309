/* write_claims.h - decided claims as people and programs read them: CSV, findings CSV, JSON, text (contract
 * section 7). */
#ifndef WM_CLI_WRITE_CLAIMS_H
#define WM_CLI_WRITE_CLAIMS_H

#include <jansson.h>

#include "base/buffer.h"
#include "facts/dossier.h"

/* file: as the first column, or bytes NULL for none. */
void write_claims_header(struct buffer *out, bool with_file);
void write_claim(struct buffer *out, struct text file, const struct dossier *dossier);

void write_findings_header(struct buffer *out, bool with_file);
void write_findings(struct buffer *out, struct text file, const struct dossier *dossier);

/* One JSON object and a newline. */
int write_claim_json(struct buffer *out, struct text file, const struct dossier *dossier);

/* What is wrong with the claim in sentences, for people; nothing where there is nothing to say. */
void write_claim_text(struct buffer *out, struct text file, const struct dossier *dossier);

/* An amount as a JSON number: with 15 digits it comes out as it is in cents. */
json_t *json_money(int64_t cents);

#endif
