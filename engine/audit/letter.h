/* letter.h - the draft of a letter to a dealer after an audit: why it was audited, how claims were chosen, what
 * was found on each, how the amount was worked out, and the right to answer. A draft: local law and counsel
 * decide.
 *
 * It says nothing of other dealers. Writes to a buffer; who sends it adds names and addresses.
 */
#ifndef WM_AUDIT_LETTER_H
#define WM_AUDIT_LETTER_H

#include "audit/charging.h"
#include "base/buffer.h"

void letter_write(const struct charge_plan *plan, const struct charge *charge, struct buffer *out);

#endif
