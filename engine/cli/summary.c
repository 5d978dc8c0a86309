#include "cli/summary.h"

#include <stdlib.h>

#include "base/status.h"

static struct finding_count *count_of(struct summary *summary, const struct finding *finding)
{
    for (uint32_t i = 0; i < summary->finding_count; i++)
        if (summary->findings[i].effect == finding->effect && text_equal(summary->findings[i].name, finding->name))
            return &summary->findings[i];
    if (summary->finding_count == summary->finding_capacity) {
        uint32_t capacity = summary->finding_capacity ? summary->finding_capacity * 2 : 64;
        struct finding_count *grown = arena_grown(&summary->arena, summary->findings, summary->finding_count, capacity,
                                                  sizeof *grown);
        if (grown == NULL)
            return NULL;
        summary->findings = grown;
        summary->finding_capacity = capacity;
    }
    struct finding_count *count = &summary->findings[summary->finding_count];
    *count = (struct finding_count){text_copy(&summary->arena, finding->name), finding->effect, 0};
    if (count->name.bytes == NULL)
        return NULL;
    summary->finding_count++;
    return count;
}

static bool is_unclean(const struct dossier *dossier)
{
    bool cut = dossier->claim.total_is_known && dossier->payable_cents < dossier->claim.total_amount_cents;

    for (uint32_t i = 0; i < dossier->finding_count; i++)
        cut = cut || dossier->findings[i].effect == EFFECT_CUT;
    return cut || dossier->decision != DECISION_PAY;
}

int summary_add(struct summary *summary, const struct dossier *dossier)
{
    struct decision_sum *sum = &summary->by_decision[dossier->decision];

    summary->claims++;
    summary->unclean += is_unclean(dossier);
    sum->claims++;
    sum->asked_cents += dossier->claim.total_is_known ? dossier->claim.total_amount_cents : 0;
    sum->payable_cents += dossier->payable_cents;
    sum->due_cents += dossier->due_cents;
    for (uint32_t i = 0; i < dossier->finding_count; i++) {
        const struct finding *finding = &dossier->findings[i];
        /* findings are in order: equal ones stand together */
        if (i > 0 && finding[-1].effect == finding->effect && text_equal(finding[-1].name, finding->name))
            continue;
        struct finding_count *count = count_of(summary, finding);
        if (count == NULL)
            return WM_NO_MEMORY;
        count->claims++;
    }
    return WM_OK;
}

static int64_t within_range(__int128 cents)
{
    return cents > INT64_MAX ? INT64_MAX : cents < INT64_MIN ? INT64_MIN : (int64_t)cents;
}

static void write_amount(struct buffer *out, __int128 cents)
{
    char room[DECIMAL_ROOM];
    size_t length = money_write(within_range(cents), room);

    for (size_t i = length; i < 15; i++)
        buffer_add_byte(out, ' ');
    buffer_add(out, room, length);
}

static void write_sum(struct buffer *out, const char *name, const struct decision_sum *sum)
{
    buffer_format(out, "  %-8s %8llu", name, (unsigned long long)sum->claims);
    write_amount(out, sum->asked_cents);
    write_amount(out, sum->payable_cents);
    write_amount(out, sum->due_cents);
    buffer_add_byte(out, '\n');
}

static int by_effect_and_name(const void *a, const void *b)
{
    const struct finding_count *x = a, *y = b;

    if (x->effect != y->effect)
        return x->effect < y->effect ? -1 : 1;
    return text_compare(x->name, y->name);
}

void summary_write(const struct summary *summary, struct buffer *out)
{
    struct decision_sum all = {0};

    buffer_add_string(out, "  decision   claims          asked        payable            due\n");
    for (int i = DECISION_PAY; i <= DECISION_REFUSE; i++) {
        const struct decision_sum *sum = &summary->by_decision[i];
        write_sum(out, decision_name((enum decision)i), sum);
        all.claims += sum->claims;
        all.asked_cents += sum->asked_cents;
        all.payable_cents += sum->payable_cents;
        all.due_cents += sum->due_cents;
    }
    write_sum(out, "all", &all);
    if (summary->finding_count == 0)
        return;
    buffer_add_string(out, "\n  effect   finding                    claims\n");
    qsort(summary->findings, summary->finding_count, sizeof *summary->findings, by_effect_and_name);
    for (uint32_t i = 0; i < summary->finding_count; i++)
        buffer_format(out, "  %-8s %-24.*s %8llu\n", effect_name(summary->findings[i].effect),
                      TEXT_ARGUMENTS(summary->findings[i].name), (unsigned long long)summary->findings[i].claims);
}

void summary_free(struct summary *summary)
{
    arena_free(&summary->arena);
}
