/* explanation.h - why a claim was decided as it was, in reading order: what the dealer said, what the register
 * says, the facts, each table that was asked with the rows that hit and those that nearly did, the findings,
 * the arithmetic.
 *
 * Made anew from a decided dossier and its rules; nothing is remembered while deciding. The result is a JSON
 * object (jansson), which the command line prints as it is or as text. The caller owns it (json_decref).
 */
#ifndef WM_VERDICT_EXPLANATION_H
#define WM_VERDICT_EXPLANATION_H

#include <jansson.h>

#include "facts/establish.h"

/* NULL without memory. The dossier must be decided, with messages. */
json_t *explain_dossier(const struct office_day *day, struct table_scratch *scratch, struct dossier *dossier);

#endif
