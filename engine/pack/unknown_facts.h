/* unknown_facts.h - what a pack does not know, fact by fact, and which findings are the office's own for it.
 *
 * This is the one list. Everything else follows from it and from the compiled rules: facts that are not known
 * for a claim are null, and a row of a check table that asks for one can come out otherwise at the office. Where the
 * hit policy lets one row decide about others, so can these.
 */
#ifndef WM_PACK_UNKNOWN_FACTS_H
#define WM_PACK_UNKNOWN_FACTS_H

#include "facts/establish.h"
#include "pack/pack.h"

/* Why a fact is not known. */
enum unknown_reason {
    UNKNOWN_OTHERS = 1,   /* another dealer has a claim on the vehicle: its number, day, reading stay at the office */
    UNKNOWN_TONIGHT = 2,  /* another dealer may send one before this claim is decided */
    UNKNOWN_APPROVAL = 4, /* the claim names an approval that the pack has not: another dealer's, a later one, none */
    UNKNOWN_DEALER = 8,   /* the claim is not of the dealer for whom the pack was made */
    UNKNOWN_CAMPAIGN = 16 /* the pack was made for some campaigns, and not for this one */
};

/*       fact                     reasons */
#define UNKNOWN_FACT_LIST(FACT)                                             \
    FACT(earlier_claim,           UNKNOWN_OTHERS | UNKNOWN_TONIGHT)         \
    FACT(earlier_completed_on,    UNKNOWN_OTHERS | UNKNOWN_TONIGHT)         \
    FACT(earlier_replaced_claim,  UNKNOWN_OTHERS | UNKNOWN_TONIGHT)         \
    FACT(earlier_replaced_on,     UNKNOWN_OTHERS | UNKNOWN_TONIGHT)         \
    FACT(earlier_odometer,        UNKNOWN_OTHERS | UNKNOWN_TONIGHT)         \
    FACT(earlier_outcome,         UNKNOWN_TONIGHT)                          \
    FACT(earlier_dealer_same,     UNKNOWN_TONIGHT)                          \
    FACT(approval_known,          UNKNOWN_APPROVAL | UNKNOWN_DEALER)        \
    FACT(approval_valid,          UNKNOWN_APPROVAL | UNKNOWN_DEALER)        \
    FACT(dealer_known,            UNKNOWN_DEALER)                           \
    FACT(dealer_active,           UNKNOWN_DEALER)                           \
    FACT(region,                  UNKNOWN_DEALER)                           \
    FACT(submit_within_days,      UNKNOWN_DEALER)                           \
    FACT(decide_within_days,      UNKNOWN_DEALER)                           \
    FACT(silence_approves,        UNKNOWN_DEALER)                           \
    FACT(pay_within_days,         UNKNOWN_DEALER)                           \
    FACT(resubmit_within_days,    UNKNOWN_DEALER)                           \
    FACT(audit_within_days,       UNKNOWN_DEALER)                           \
    FACT(parts_allowed_amount,    UNKNOWN_DEALER)                           \
    FACT(labor_allowed_amount,    UNKNOWN_DEALER)                           \
    FACT(first_received_on,       UNKNOWN_DEALER)                           \
    FACT(days_to_resubmit,        UNKNOWN_DEALER)                           \
    FACT(repair_order_vins,       UNKNOWN_DEALER)                           \
    FACT(revision_last,           UNKNOWN_DEALER)                           \
    FACT(revision_expected,       UNKNOWN_DEALER)                           \
    FACT(revision_differs,        UNKNOWN_DEALER)                           \
    FACT(previous_decision,       UNKNOWN_DEALER)                           \
    FACT(technician_day_hours,    UNKNOWN_DEALER)                           \
    FACT(kits_shipped,            UNKNOWN_DEALER)                           \
    FACT(kits_claimed,            UNKNOWN_DEALER)                           \
    FACT(paid_before,             UNKNOWN_DEALER)                           \
    FACT(campaign_known,          UNKNOWN_CAMPAIGN)

/* --- At a claim -------------------------------------------------------------------------------------- */

/* Who withholds the facts that a pack does not know; borrows pack and rules. */
struct pack_withholding {
    struct pack *pack;
    const struct rules *rules;
    struct withheld_facts facts; /* for struct office_day */
};

void pack_withhold(struct pack_withholding *withholding, struct pack *pack, const struct rules *rules);

/* Which reasons there are for this claim, but UNKNOWN_TONIGHT, which is always one. The arena is for working. */
int pack_unknown_of(struct pack *pack, const struct dossier *dossier, struct arena *arena, unsigned *ret_reasons);

/* --- The office's own findings ----------------------------------------------------------------------- */

/* A row that can come out otherwise at the office; row empty: the table as a whole. */
struct office_finding {
    struct text finding, rule_file, rule_row;
    unsigned reasons;
};

typedef int take_office_finding(void *taker, const struct office_finding *finding);

/* All findings that depend on facts that are not known for one of these reasons, in the order of the rules. */
int office_findings(const struct rules *rules, unsigned reasons, take_office_finding *take, void *taker);

/* Those of claim scope that this claim can still get: every other condition of the row holds, and it does not have the
 * finding already. The dossier must be decided. */
int office_findings_of(const struct rules *rules, const struct dossier *dossier, unsigned reasons,
                       take_office_finding *take, void *taker);

#endif
