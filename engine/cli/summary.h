/* summary.h - what a run decided, added up: claims and money by decision, findings by effect and name. */
#ifndef WM_CLI_SUMMARY_H
#define WM_CLI_SUMMARY_H

#include "base/buffer.h"
#include "base/text_index.h"
#include "facts/dossier.h"

struct finding_count {
    struct text name;
    enum effect effect;
    uint64_t claims;      /* claims that have it */
};

struct decision_sum {
    uint64_t claims;
    __int128 asked_cents, payable_cents, due_cents;
};

struct summary {
    struct decision_sum by_decision[DECISION_REFUSE + 1];
    struct finding_count *findings;
    uint32_t finding_count, finding_capacity;
    uint64_t claims, unclean;    /* unclean: not pay, or with something cut */
    struct arena arena;
};

/* Adds one claim. WM_NO_MEMORY. */
int summary_add(struct summary *summary, const struct dossier *dossier);

void summary_write(const struct summary *summary, struct buffer *out);
void summary_free(struct summary *summary);

#endif
