/* canonical.h - a claim's content as one text, whatever the order of columns, quoting and blanks of its file.
 *
 * The cells of contract section 1 in its order, trimmed, as written but for the VIN in upper case, each ended by a
 * NUL (which no cell holds). Two rows with the same canonical text say the same. Digests of records are made of it.
 */
#ifndef WM_INTAKE_CANONICAL_H
#define WM_INTAKE_CANONICAL_H

#include "intake/claim.h"

enum { CONTENT_DIGEST_BYTES = 32 };

int claim_canonical(const struct claim *claim, struct arena *arena, struct text *ret_canonical);

/* BLAKE2b-256 of a canonical text. */
void content_digest(struct text canonical, uint8_t ret_digest[CONTENT_DIGEST_BYTES]);

/* The cell of a column in a canonical text. */
struct text canonical_cell(struct text canonical, enum claim_column column);

/* Names of the columns in which the claim differs from a canonical text, joined by ", "; empty: none. */
int claim_differences(const struct claim *claim, struct text canonical, struct arena *arena, struct text *ret_names);

#endif
