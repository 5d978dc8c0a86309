/* explain_text.h - the explanation of a claim (verdict/explanation.h), written for people. */
#ifndef WM_CLI_EXPLAIN_TEXT_H
#define WM_CLI_EXPLAIN_TEXT_H

#include <jansson.h>

#include "base/buffer.h"

void explain_as_text(struct buffer *out, const json_t *explanation);

#endif
