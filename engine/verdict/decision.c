#include "verdict/decision.h"

#include <stdlib.h>

#include "base/status.h"

static int64_t smaller(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

int64_t payable_parts_cents(const struct dossier *dossier)
{
    return dossier->amounts_known ? smaller(dossier->parts_allowed_cents, dossier->claim.parts_amount_cents)
                                  : 0;
}

int64_t payable_labor_cents(const struct dossier *dossier)
{
    return dossier->amounts_known ? smaller(dossier->labor_allowed_cents, dossier->claim.labor_amount_cents)
                                  : 0;
}

int64_t payable_other_cents(const struct dossier *dossier)
{
    const struct campaign *campaign = dossier->campaign;
    int64_t limit = campaign != NULL && campaign->has_other_limit ? campaign->other_limit_cents : 0;

    return smaller(dossier->claim.other_amount_cents, limit);
}

int64_t payable_cents(const struct dossier *dossier)
{
    __int128 sum =
        (__int128)payable_parts_cents(dossier) + payable_labor_cents(dossier) + payable_other_cents(dossier);
    int64_t asked = dossier->claim.total_amount_cents;

    return sum < asked ? (int64_t)sum : asked;
}

/* --- Findings ---------------------------------------------------------------------------------------- */

static bool is_covered(const struct dossier *dossier, const struct finding *finding)
{
    return dossier->approval != NULL && dossier->approval_valid &&
           text_equal(dossier->approval->covers, finding->name) && !text_is(finding->name, "row-unreadable") &&
           !text_is(finding->name, "rules-ambiguous");
}

static int cover(struct arena *arena, const struct dossier *dossier, struct finding *finding,
                 bool with_messages)
{
    finding->effect = EFFECT_NOTE;
    if (!with_messages)
        return WM_OK;
    finding->message = text_format(arena, "approved by the office under approval %.*s: %.*s",
                                   TEXT_ARGUMENTS(dossier->approval->number), TEXT_ARGUMENTS(finding->message));
    return finding->message.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int by_order(const void *a, const void *b)
{
    const struct finding *x = a, *y = b;

    if (x->effect != y->effect)
        return x->effect < y->effect ? -1 : 1;
    int order = text_compare(x->name, y->name);
    if (order == 0 && x->item_order != y->item_order)
        return x->item_order < y->item_order ? -1 : 1;
    if (order == 0)
        order = text_compare(x->rule_file, y->rule_file);
    if (order == 0 && x->row != y->row)
        return x->row < y->row ? -1 : 1;
    return order;
}

static enum decision decision_of(const struct dossier *dossier)
{
    static const enum decision BY_EFFECT[EFFECTS] = {DECISION_REFUSE, DECISION_RETURN, DECISION_HOLD,
                                                     DECISION_PAY, DECISION_PAY};

    return dossier->finding_count == 0 ? DECISION_PAY : BY_EFFECT[dossier->findings[0].effect];
}

int decide(struct arena *arena, struct dossier *dossier, bool with_messages)
{
    for (uint32_t i = 0; i < dossier->finding_count; i++)
        if (is_covered(dossier, &dossier->findings[i]) &&
            cover(arena, dossier, &dossier->findings[i], with_messages) != WM_OK)
            return WM_NO_MEMORY;
    if (dossier->finding_count > 1)
        qsort(dossier->findings, dossier->finding_count, sizeof *dossier->findings, by_order);
    dossier->decision = decision_of(dossier);
    bool counts = dossier->decision == DECISION_PAY || dossier->decision == DECISION_HOLD;
    dossier->payable_cents = counts ? payable_cents(dossier) : 0;
    dossier->due_cents =
        dossier->decision == DECISION_PAY ? dossier->payable_cents - dossier->paid_before_cents : 0;
    return WM_OK;
}
