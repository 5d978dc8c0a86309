#include "audit/letter.h"

#include "audit/draw.h"
#include "audit/judging.h"

enum { LETTER_WIDTH = 78 };

static void add_day(struct buffer *out, int32_t day)
{
    char room[DATE_ROOM];

    buffer_add(out, room, date_write(day, room));
}

/* A paragraph: what is in `words` from `start` on is wrapped into out. */
static void paragraph(struct buffer *out, struct buffer *words)
{
    buffer_add_wrapped(out, buffer_text(words), 0, LETTER_WIDTH);
    buffer_add_string(out, "\n\n");
    out->failed = out->failed || words->failed;
    buffer_clear(words);
}

/* --- Parts ------------------------------------------------------------------------------------------- */

static void write_head(const struct charge_plan *plan, const struct charge *charge, struct buffer *out)
{
    buffer_add_string(out, "DRAFT - not to be sent before counsel has seen it\n\n");
    add_day(out, plan->request.decided_on);
    buffer_format(out, "\nTo dealer %.*s\nAudit %.*s: ", TEXT_ARGUMENTS(charge->dealer),
                  TEXT_ARGUMENTS(plan->sample->name));
    buffer_add_string(out, charge_cents(charge) < 0 ? "an amount that is given back\n\n"
                                                    : "an amount that is to be charged back\n\n");
}

/* What of a sample is this dealer's; it is told of no other's. */
struct share {
    uint32_t drawn, paid;
    int64_t cents;
};

static struct share share_of_dealer(const struct sample *sample, struct text dealer)
{
    struct share share = {0, 0, 0};

    for (uint32_t i = 0; i < sample->frame_count; i++)
        if (text_equal(sample->frame[i].dealer, dealer)) {
            share.paid++;
            share.cents += sample->frame[i].paid_cents;
        }
    for (uint32_t i = 0; i < sample->item_count; i++)
        share.drawn += text_equal(sample->frame[sample->items[i]].dealer, dealer);
    return share;
}

static void write_selection(const struct charge_plan *plan, const struct charge *charge, struct buffer *out,
                            struct buffer *words)
{
    const struct sample *sample = plan->sample;
    struct share share = share_of_dealer(sample, charge->dealer);

    buffer_format(words, "Why these claims were audited: %.*s", TEXT_ARGUMENTS(sample->because));
    paragraph(out, words);
    buffer_add_string(words, "How claims were chosen: on ");
    add_day(words, sample->drawn_on);
    buffer_format(words, ", %u of your %u paid claims (together ", share.drawn, share.paid);
    buffer_add_money(words, share.cents);
    if (text_is(sample->method, METHOD_PICKED))
        buffer_add_string(words, ") were picked by hand.");
    else {
        buffer_add_string(words,
                          text_is(sample->method, METHOD_MONEY)
                              ? ") were drawn at random, with a chance in proportion to what was paid on each."
                          : text_is(sample->method, METHOD_STRATIFIED)
                              ? ") were drawn at random, in groups."
                              : ") were drawn at random, each with the same chance.");
        buffer_format(words, " The draw can be repeated: %.*s, seed %.*s.", TEXT_ARGUMENTS(sample->generator),
                      TEXT_ARGUMENTS(sample->seed));
    }
    paragraph(out, words);
}

static void write_claim(const struct charged_claim *claim, struct buffer *out, struct buffer *words)
{
    buffer_format(words, "%.*s: paid ", TEXT_ARGUMENTS(claim->claim));
    buffer_add_money(words, claim->paid_cents);
    if (text_is(claim->judgement, JUDGED_MISSING))
        buffer_add_string(words, ", papers are missing");
    else {
        buffer_add_string(words, ", right would have been ");
        buffer_add_money(words, claim->right_cents);
    }
    if (claim->note.length > 0)
        buffer_format(words, " (%.*s)", TEXT_ARGUMENTS(claim->note));
    if (claim->cents > 0)
        buffer_add_string(words, "; to be charged back ");
    else if (claim->cents < 0)
        buffer_add_string(words, "; given back ");
    else
        buffer_format(words, "; nothing is charged back: %.*s", TEXT_ARGUMENTS(claim->why));
    if (claim->cents != 0)
        buffer_add_money(words, claim->cents > 0 ? claim->cents : -claim->cents);
    buffer_add_string(out, "  ");
    buffer_add_wrapped(out, buffer_text(words), 4, LETTER_WIDTH);
    buffer_add_byte(out, '\n');
    buffer_clear(words);
}

static void write_claims(const struct charge *charge, struct buffer *out, struct buffer *words)
{
    buffer_add_string(out, "What was found:\n");
    for (uint32_t i = 0; i < charge->count; i++)
        write_claim(&charge->claims[i], out, words);
    if (charge->count == 0)
        buffer_add_string(out, "  nothing that is charged back claim by claim\n");
    buffer_add_byte(out, '\n');
}

static void write_extrapolation(const struct charge_plan *plan, const struct charge *charge, struct buffer *out,
                                struct buffer *words)
{
    const struct evaluation *evaluation = plan->evaluation;

    if (!plan->request.extrapolate)
        return;
    buffer_add_string(words, "How the amount was worked out: ");
    buffer_add_text(words, charge->basis);
    buffer_add_string(words, ". Of the interval the lower end is charged, not the estimate.");
    paragraph(out, words);
    for (uint32_t i = 0; i < evaluation->note_count; i++)
        if (evaluation->notes[i].kind == NOTE_WARNING) {
            buffer_add_text(words, evaluation->notes[i].words);
            paragraph(out, words);
        }
}

static void write_amount(const struct charge_plan *plan, const struct charge *charge, struct buffer *out)
{
    int64_t cents = charge_cents(charge);

    buffer_add_string(out, cents < 0 ? "To be given back: " : "To be charged back: ");
    buffer_add_money(out, cents < 0 ? -cents : cents);
    if (plan->request.extrapolate) {
        buffer_add_string(out, "\n  of it on the claims above: ");
        buffer_add_money(out, charge->items_cents);
        buffer_add_string(out, "\n  for the other claims: ");
        buffer_add_money(out, charge->beyond_cents);
    }
    buffer_add_string(out, "\n\n");
}

static void write_rights(const struct charge_plan *plan, const struct charge *charge, struct buffer *out,
                         struct buffer *words)
{
    const struct audit_terms *terms = &charge->terms;
    int32_t told = plan->request.notified_on != DAY_NONE ? plan->request.notified_on : plan->request.decided_on;

    buffer_add_string(
        words, "You may answer: send papers that are missing, say where a claim was judged wrongly, or ask how "
               "it was worked out. What your answer shows is recorded, and an amount that was charged too much "
               "is given back.");
    if (terms->notice_days >= 0) {
        buffer_format(words, " Nothing is charged within %d days of this notice, that is before ",
                      terms->notice_days);
        add_day(words, told + terms->notice_days);
        buffer_add_byte(words, '.');
    }
    paragraph(out, words);
    if (terms->audit_within_days >= 0)
        buffer_format(words, "Claims paid more than %d days before the sample was drawn were not audited. ",
                      terms->audit_within_days);
    if (charge->older_count > 0)
        buffer_format(
            words,
            "(For counsel: counted to the day of this letter, %u of the claims above are older than that.) ",
            charge->older_count);
    buffer_add_string(
        words,
        "Whether and how an amount may be charged back, and what a dealer can do about it, is decided by "
        "local law and the agreement between us; nothing in this letter takes such a right away.");
    paragraph(out, words);
}

void letter_write(const struct charge_plan *plan, const struct charge *charge, struct buffer *out)
{
    struct buffer words = BUFFER_EMPTY;

    write_head(plan, charge, out);
    write_selection(plan, charge, out, &words);
    write_claims(charge, out, &words);
    write_extrapolation(plan, charge, out, &words);
    write_amount(plan, charge, out);
    write_rights(plan, charge, out, &words);
    buffer_free_into(&words, out);
}
