#include "cli/write_replies.h"

#include "base/shown.h"

enum { TEXT_WIDTH = 80, INDENT = 4 };

static const char *decision_word(const struct dossier *dossier)
{
    return dossier->repeats != 0 ? "exists" : decision_name(dossier->decision);
}

/* --- CSV --------------------------------------------------------------------------------------------- */

static void add_cell(struct buffer *out, struct text cell)
{
    buffer_add_csv(out, cell);
    buffer_add_byte(out, ',');
}

static void add_money_cell(struct buffer *out, int64_t cents)
{
    buffer_add_money(out, cents);
    buffer_add_byte(out, ',');
}

void write_reply_header(struct buffer *out)
{
    buffer_add_string(out,
                      "claim,revision,campaign,vin,decision,asked,payable,due,effect,finding,item,message\n");
}

static void add_claim_cells(struct buffer *out, const struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;

    add_cell(out, claim->cells[COLUMN_CLAIM]);
    buffer_add_number(out, (uint64_t)(claim->unreadable ? 0 : claim->revision));
    buffer_add_byte(out, ',');
    add_cell(out, claim->cells[COLUMN_CAMPAIGN]);
    add_cell(out, claim->vin);
    buffer_add_string(out, decision_word(dossier));
    buffer_add_byte(out, ',');
    if (claim->total_is_known)
        buffer_add_money(out, claim->total_amount_cents);
    buffer_add_byte(out, ',');
    add_money_cell(out, dossier->payable_cents);
    add_money_cell(out, dossier->due_cents);
}

void write_reply_rows(struct buffer *out, const struct dossier *dossier)
{
    uint32_t count = dossier->finding_count;

    for (uint32_t i = 0; i < count || i == 0; i++) {
        const struct finding *finding = i < count ? &dossier->findings[i] : NULL;
        add_claim_cells(out, dossier);
        add_cell(out, text_of(finding != NULL ? effect_name(finding->effect) : ""));
        add_cell(out, finding != NULL ? finding->name : TEXT(""));
        add_cell(out, finding != NULL ? finding->item : TEXT(""));
        buffer_add_csv(out, finding != NULL ? finding->message : TEXT(""));
        buffer_add_byte(out, '\n');
    }
}

/* --- Text -------------------------------------------------------------------------------------------- */

static void add_money(struct buffer *out, const char *before, int64_t cents)
{
    buffer_add_string(out, before);
    buffer_add_money(out, cents);
}

static void add_outcome(struct buffer *out, const struct dossier *dossier)
{
    static const char *const WORDS[] = {
        [DECISION_PAY] = "PAY",
        [DECISION_HOLD] = "HOLD: a person at the office decides; nothing is paid until then.",
        [DECISION_RETURN] = "RETURN: correct what is named below and send it again.",
        [DECISION_REFUSE] = "REFUSE: this claim is not paid.",
    };

    buffer_add_string(out, "  ");
    if (dossier->repeats != 0) {
        buffer_add_string(out, "EXISTS: this revision is already recorded; nothing was changed.\n");
        return;
    }
    buffer_add_string(out, WORDS[dossier->decision]);
    if (dossier->decision == DECISION_PAY && dossier->payable_cents < dossier->claim.total_amount_cents)
        buffer_add_string(out, ", less than was asked");
    buffer_add_byte(out, '\n');
    if (!dossier->claim.total_is_known)
        return;
    add_money(out, "  Asked ", dossier->claim.total_amount_cents);
    add_money(out, ", payable ", dossier->payable_cents);
    if (dossier->paid_before_cents != 0)
        add_money(out, ", paid before ", dossier->paid_before_cents);
    add_money(out, ", due ", dossier->due_cents);
    buffer_add_string(out, ".\n");
}

static void add_title(struct buffer *out, const struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;

    if (claim->cells[COLUMN_CLAIM].length > 0)
        buffer_say(out, "Claim %.*s", TEXT_ARGUMENTS(claim->cells[COLUMN_CLAIM]));
    else
        buffer_say(out, "Row on line %llu", (unsigned long long)claim->line);
    if (!claim->unreadable && claim->revision > 0)
        buffer_say(out, ", revision %lld", (long long)claim->revision);
    if (claim->vin.length > 0)
        buffer_say(out, ", vehicle %.*s", TEXT_ARGUMENTS(claim->vin));
    if (claim->cells[COLUMN_CAMPAIGN].length > 0)
        buffer_say(out, ", campaign %.*s", TEXT_ARGUMENTS(claim->cells[COLUMN_CAMPAIGN]));
    buffer_add_byte(out, '\n');
}

void write_reply_text(struct buffer *out, const struct dossier *dossier)
{
    add_title(out, dossier);
    add_outcome(out, dossier);
    for (uint32_t i = 0; i < dossier->finding_count && dossier->repeats == 0; i++) {
        const struct finding *finding = &dossier->findings[i];
        buffer_say(out, "  %s: %.*s", effect_name(finding->effect), TEXT_ARGUMENTS(finding->name));
        if (finding->item.length > 0)
            buffer_say(out, ", %.*s", TEXT_ARGUMENTS(finding->item));
        buffer_add_string(out, "\n    ");
        buffer_say_wrapped(out, finding->message, INDENT, TEXT_WIDTH);
        buffer_add_byte(out, '\n');
    }
    buffer_add_byte(out, '\n');
}
