/* redecide.h - the recorded claims decided again with two sets of rules, and compared.
 *
 * Each batch is decided on its own days and with the office data of its day, in the order of recording, each
 * claim as if the engine had decided all those before it; what people decided since is left out on both sides,
 * so that nothing but the rules makes the difference. Of each claim its highest revision counts.
 */
#ifndef WM_CLI_REDECIDE_H
#define WM_CLI_REDECIDE_H

#include "facts/dossier.h"
#include "ledger/office.h"

/* One claim as both decide it. */
struct redecided {
    struct text dealer, claim, campaign;
    int64_t revision;
    enum decision before, after;
    bool is_decided_after;
    int64_t payable_before_cents, payable_after_cents; /* 0 unless pay or hold */
};

struct redecision {
    struct arena arena;
    struct text_index index;  /* dealer and claim */
    struct redecided *claims; /* in the order of recording */
    uint32_t count, capacity;
};

/* Inside office_begin_read. WM_OK with no claims where nothing is recorded. Reports to the sink. */
int redecide(struct office *office, const struct rules *before, const struct rules *after, unsigned threads,
             struct diag_sink *sink, struct redecision *ret_redecision);
void redecision_free(struct redecision *redecision);

bool redecided_differs(const struct redecided *claim);

#endif
