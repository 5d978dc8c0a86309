/* claim_name.h - DEALER/CLAIM as people write it, for codes and numbers that may hold a slash themselves.
 *
 * A name is cut at each slash in turn; what it means is the cut that names a recorded claim.
 */
#ifndef WM_LEDGER_CLAIM_NAME_H
#define WM_LEDGER_CLAIM_NAME_H

#include "ledger/recorded.h"

struct claim_named {
    struct text dealer, claim; /* parts of the name; of the first cut where none is recorded */
    bool recorded;
};

/* Whether this can be a name at all: a slash with something on either side. */
bool claim_name_is_whole(struct text name);

/* dealer: empty, or the dealer's code, which then is what the name must begin with. WM_BAD_INPUT, with a diagnostic
 * that names them, where several cuts name recorded claims. */
int ledger_claim_named(struct ledger_reader *reader, struct text name, struct text dealer, struct diag_sink *sink,
                       struct claim_named *ret_named);

#endif
