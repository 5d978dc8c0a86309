#include "cli/dealer_page.h"

#include "base/shown.h"
#include "base/status.h"
#include "cli/expected.h"

enum { LIST_INDENT = 5 };

/* A page on its way, for one claim. */
struct writing {
    const struct dealer_page *page;
    struct dossier *dossier;
    struct arena *arena;
    struct buffer *out;
};

/* --- Lines ------------------------------------------------------------------------------------------- */

static void add_wrapped(struct writing *writing, struct text words, size_t indent)
{
    for (size_t i = 0; i < indent; i++)
        buffer_add_byte(writing->out, ' ');
    buffer_say_wrapped(writing->out, words, indent, PAGE_WIDTH);
    buffer_add_byte(writing->out, '\n');
}

static void add_sentence(struct writing *writing, size_t indent, enum sentence sentence,
                         const struct said *said)
{
    struct buffer words = BUFFER_EMPTY;

    language_say(writing->page->language, &words, sentence, said);
    add_wrapped(writing, buffer_text(&words), indent);
    buffer_free_into(&words, writing->out);
}

#define ADD(writing, indent, sentence, ...) \
    add_sentence(writing, indent, sentence, (const struct said[]){__VA_ARGS__ __VA_OPT__(, ){NULL, {NULL, 0}}})

/* A text of the arena; without memory for it the page has failed. */
static struct text kept(struct writing *writing, struct text text)
{
    writing->out->failed = writing->out->failed || text.bytes == NULL;
    return text;
}

static struct text money(struct writing *writing, int64_t cents)
{
    char room[DECIMAL_ROOM];
    return kept(writing, text_copy(writing->arena, (struct text){room, money_write(cents, room)}));
}

static struct text number(struct writing *writing, uint64_t whole)
{
    return kept(writing, text_format(writing->arena, "%llu", (unsigned long long)whole));
}

static struct text day(struct writing *writing, int32_t of)
{
    char room[DATE_ROOM];
    return kept(writing, text_copy(writing->arena, (struct text){room, date_write(of, room)}));
}

/* --- Head -------------------------------------------------------------------------------------------- */

static void add_title(struct writing *writing)
{
    const struct claim *claim = &writing->dossier->claim;

    if (claim->cells[COLUMN_CLAIM].length == 0 || claim->vin.length == 0 ||
        claim->cells[COLUMN_CAMPAIGN].length == 0) {
        ADD(writing, 0, SENTENCE_row_title, {"line", number(writing, claim->line)});
        return;
    }
    bool revised = !claim->unreadable && claim->revision > 0;
    ADD(writing, 0, revised ? SENTENCE_claim_title_revision : SENTENCE_claim_title,
        {"claim", claim->cells[COLUMN_CLAIM]}, {"line", number(writing, claim->line)}, {"vin", claim->vin},
        {"campaign", claim->cells[COLUMN_CAMPAIGN]},
        {"revision", number(writing, revised ? (uint64_t)claim->revision : 0)});
}

static bool asks_more(const struct dossier *dossier)
{
    return dossier->payable_cents < dossier->claim.total_amount_cents;
}

/* Of a claim that may be paid, so that it can be read: what is paid is not known, since the dealer's rates are not. */
static bool is_open(const struct dealer_page *page, const struct dossier *dossier)
{
    return !pack_is_for(page->desk->pack, dossier->claim.cells[COLUMN_DEALER]);
}

static void add_result(struct writing *writing)
{
    static const enum sentence RESULTS[] = {
        [DECISION_PAY] = SENTENCE_result_pay,
        [DECISION_HOLD] = SENTENCE_result_hold,
        [DECISION_RETURN] = SENTENCE_result_return,
        [DECISION_REFUSE] = SENTENCE_result_refuse,
    };
    const struct dossier *dossier = writing->dossier;
    enum sentence sentence = RESULTS[dossier->decision];

    if (dossier->decision == DECISION_PAY && is_open(writing->page, dossier))
        sentence = SENTENCE_result_open;
    else if (dossier->decision == DECISION_PAY && asks_more(dossier))
        sentence = SENTENCE_result_pay_less;
    ADD(writing, 2, sentence);
}

static void add_money(struct writing *writing)
{
    const struct dossier *dossier = writing->dossier;
    bool again = dossier->paid_before_cents != 0;
    enum sentence sentence = SENTENCE_money_nothing;

    if (!dossier->claim.total_is_known)
        return;
    if (dossier->decision == DECISION_HOLD || dossier->decision == DECISION_PAY)
        sentence = is_open(writing->page, dossier)      ? SENTENCE_money_open
                   : dossier->decision == DECISION_HOLD ? SENTENCE_money_hold
                   : again                              ? SENTENCE_money_pay_again
                                                        : SENTENCE_money_pay;
    ADD(writing, 2, sentence, {"asked", money(writing, dossier->claim.total_amount_cents)},
        {"payable", money(writing, dossier->payable_cents)},
        {"paid_before", money(writing, dossier->paid_before_cents)},
        {"due", money(writing, dossier->due_cents)});
}

/* --- What is wrong ----------------------------------------------------------------------------------- */

/* Reasons why a row cannot be read end without a full stop. A message of no words has nothing to end. */
static void end_sentence(struct buffer *words)
{
    if (words->failed || words->bytes[words->length - 1] == ' ')
        return;
    if (strchr(".!?:)", words->bytes[words->length - 1]) == NULL)
        buffer_add_byte(words, '.');
    buffer_add_byte(words, ' ');
}

static int add_finding(struct writing *writing, uint32_t place, const struct finding *finding)
{
    static const enum sentence EFFECTS_SAID[EFFECTS] = {SENTENCE_effect_refuse, SENTENCE_effect_return,
                                                        SENTENCE_effect_hold, SENTENCE_effect_cut,
                                                        SENTENCE_effect_note};
    const struct language *language = writing->page->language;
    struct buffer words = BUFFER_EMPTY;

    SAY(language, &words, EFFECTS_SAID[finding->effect]);
    buffer_add_byte(&words, ' ');
    int status = language_finding(language, writing->dossier, finding, &words);
    end_sentence(&words);
    SAY(language, &words, SENTENCE_finding_name, {"finding", finding->name});
    buffer_format(writing->out, "%4u ", place);
    buffer_say_wrapped(writing->out, buffer_text(&words), LIST_INDENT, PAGE_WIDTH);
    buffer_add_byte(writing->out, '\n');
    status = status == WM_OK && words.failed ? WM_NO_MEMORY : status;
    buffer_free(&words);
    return status;
}

/* Where two VINs of 17 characters differ first. */
static size_t first_difference(struct text a, struct text b)
{
    size_t at = 0;

    while (at < a.length && a.bytes[at] == b.bytes[at])
        at++;
    return at;
}

int dealer_page_likely(const struct dealer_page *page, struct text vin, struct arena *arena,
                       struct text *ret_sentence)
{
    struct buffer words = BUFFER_EMPTY;
    char position[DECIMAL_ROOM], next[DECIMAL_ROOM];
    struct text nearest;
    int status = register_vin_nearest(page->desk->office_register, vin, arena, &nearest);

    *ret_sentence = TEXT("");
    if (status != WM_OK || nearest.length == 0)
        return status;
    size_t at = first_difference(vin, nearest);
    bool swapped =
        at + 1 < vin.length && vin.bytes[at] == nearest.bytes[at + 1] && vin.bytes[at + 1] == nearest.bytes[at];
    SAY(page->language, &words, swapped ? SENTENCE_likely_swapped : SENTENCE_likely_replaced,
        {"nearest", nearest}, {"position", {position, whole_write(at + 1, position)}},
        {"next", {next, whole_write(at + 2, next)}}, {"right", {nearest.bytes + at, 1}},
        {"wrong", {vin.bytes + at, 1}});
    *ret_sentence = words.failed ? (struct text){NULL, 0} : text_copy(arena, buffer_text(&words));
    buffer_free(&words);
    return ret_sentence->bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int add_likely_vin(struct writing *writing)
{
    const struct dossier *dossier = writing->dossier;
    struct text sentence = TEXT("");
    int status = WM_OK;

    if (!dossier->vehicle_known && !dossier->claim.unreadable)
        status = dealer_page_likely(writing->page, dossier->claim.vin, writing->arena, &sentence);
    if (status == WM_OK && sentence.length > 0)
        add_wrapped(writing, sentence, LIST_INDENT);
    return status;
}

static int add_findings(struct writing *writing)
{
    const struct dossier *dossier = writing->dossier;
    int status = WM_OK;

    if (dossier->finding_count > 0)
        ADD(writing, 2, SENTENCE_wrong_heading);
    for (uint32_t i = 0; status == WM_OK && i < dossier->finding_count; i++)
        status = add_finding(writing, i + 1, &dossier->findings[i]);
    return status == WM_OK && dossier->finding_count > 0 ? add_likely_vin(writing) : status;
}

/* --- What the campaign expects, what to do ------------------------------------------------------------ */

static int add_expected(struct writing *writing)
{
    const struct dossier *dossier = writing->dossier;
    const struct expectation *expectation = dossier->expectation;
    struct table_scratch *scratch = NULL;

    if (dossier->finding_count == 0 || expectation == NULL || dossier->decision == DECISION_REFUSE)
        return WM_OK;
    if (expectation->ambiguity_count > 0) {
        ADD(writing, 2, SENTENCE_expected_ambiguous, {"campaign", dossier->campaign->id});
        return WM_OK;
    }
    if (!expectation->eligible.number)
        return WM_OK;
    int status = table_scratch_new(&scratch);
    if (status != WM_OK)
        return status;
    int32_t completed_on = dossier->claim.completed_on;
    const struct expected_page page = {writing->page->language,
                                       writing->out,
                                       completed_on != DAY_NONE ? completed_on : writing->page->desk->day.today,
                                       dossier->facts,
                                       scratch,
                                       4};
    ADD(writing, 2, SENTENCE_expected_heading, {"campaign", dossier->campaign->id});
    expected_write(&page, dossier->campaign, expectation);
    table_scratch_free(scratch);
    return WM_OK;
}

static void add_what_to_do(struct writing *writing)
{
    static const enum sentence DO[] = {
        [DECISION_PAY] = SENTENCE_do_pay,
        [DECISION_HOLD] = SENTENCE_do_hold,
        [DECISION_RETURN] = SENTENCE_do_return,
        [DECISION_REFUSE] = SENTENCE_do_refuse,
    };
    const struct dossier *dossier = writing->dossier;
    enum sentence sentence = DO[dossier->decision];

    if (dossier->decision == DECISION_PAY && is_open(writing->page, dossier))
        sentence = SENTENCE_do_open;
    else if (dossier->decision == DECISION_PAY && asks_more(dossier))
        sentence = SENTENCE_do_pay_less;
    ADD(writing, 2, SENTENCE_do_heading);
    ADD(writing, LIST_INDENT, sentence);
}

/* --- What only the office can say --------------------------------------------------------------------- */

static int add_possible(void *taker, const struct office_finding *finding)
{
    struct writing *writing = taker;
    struct buffer message = BUFFER_EMPTY;

    language_possible(writing->page->language, writing->dossier, finding->rule_file, finding->rule_row,
                      &message);
    if (message.length > 0)
        ADD(writing, LIST_INDENT, SENTENCE_office_may_say, {"message", buffer_text(&message)});
    int status = message.failed ? WM_NO_MEMORY : WM_OK;
    buffer_free(&message);
    return status;
}

/* The campaigns that others completed, as a list in words. */
static int list_others(struct writing *writing, struct text *ret_list)
{
    struct buffer words = BUFFER_EMPTY;
    struct completion *list;
    uint32_t count;
    int status =
        pack_completions(writing->page->desk->pack, writing->dossier->claim.vin, writing->arena, &list, &count);

    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        if (list[i].own)
            continue;
        buffer_add_string(&words, words.length > 0 ? ", " : "");
        buffer_add_text(&words, list[i].campaign);
        buffer_add_byte(&words, ' ');
        SAY(writing->page->language, &words,
            list[i].outcome == OUTCOME_INSPECTED ? SENTENCE_completed_inspected : SENTENCE_completed_repaired);
    }
    if (status == WM_OK)
        *ret_list = text_copy(writing->arena, buffer_text(&words));
    status = status == WM_OK && (words.failed || ret_list->bytes == NULL) ? WM_NO_MEMORY : status;
    buffer_free(&words);
    return status;
}

static struct text list_campaigns(struct writing *writing)
{
    const struct rules *rules = writing->page->desk->rules;
    struct buffer words = BUFFER_EMPTY;

    for (uint32_t i = 0; i < rules->campaign_count; i++)
        buffer_format(&words, "%s%.*s", i > 0 ? ", " : "", TEXT_ARGUMENTS(rules->campaigns[i].id));
    struct text list = kept(writing, text_copy(writing->arena, buffer_text(&words)));
    buffer_free_into(&words, writing->out);
    return list;
}

static int add_others(struct writing *writing, unsigned reasons)
{
    struct text campaigns = TEXT("");
    int status = list_others(writing, &campaigns);

    if (status != WM_OK)
        return status;
    ADD(writing, LIST_INDENT, SENTENCE_office_others, {"campaigns", campaigns});
    return office_findings_of(writing->page->desk->rules, writing->dossier, reasons & UNKNOWN_OTHERS,
                              add_possible, writing);
}

static int add_office(struct writing *writing)
{
    const struct claim *claim = &writing->dossier->claim;
    struct pack *pack = writing->page->desk->pack;
    unsigned reasons = 0;
    int status = pack_unknown_of(pack, writing->dossier, writing->arena, &reasons);

    if (status != WM_OK || reasons == 0)
        return status;
    ADD(writing, 2, SENTENCE_office_heading);
    if (reasons & UNKNOWN_DEALER)
        ADD(writing, LIST_INDENT, SENTENCE_office_dealer, {"dealer", claim->cells[COLUMN_DEALER]});
    if (reasons & UNKNOWN_CAMPAIGN)
        ADD(writing, LIST_INDENT, SENTENCE_office_campaign, {"campaigns", list_campaigns(writing)},
            {"campaign", claim->cells[COLUMN_CAMPAIGN]});
    if (reasons & UNKNOWN_APPROVAL)
        ADD(writing, LIST_INDENT, SENTENCE_office_approval, {"approval", claim->cells[COLUMN_APPROVAL]},
            {"made_on", day(writing, pack_head(pack)->made_on)});
    return reasons & UNKNOWN_OTHERS ? add_others(writing, reasons) : WM_OK;
}

/* --- All --------------------------------------------------------------------------------------------- */

int dealer_page_write(const struct dealer_page *page, struct dossier *dossier, struct buffer *out)
{
    struct arena arena = ARENA_EMPTY;
    struct writing writing = {page, dossier, &arena, out};

    add_title(&writing);
    add_result(&writing);
    add_money(&writing);
    int status = add_findings(&writing);
    if (status == WM_OK)
        status = add_expected(&writing);
    if (status == WM_OK)
        add_what_to_do(&writing);
    if (status == WM_OK)
        status = add_office(&writing);
    buffer_add_byte(out, '\n');
    arena_free(&arena);
    return status == WM_OK && out->failed ? WM_NO_MEMORY : status;
}

void dealer_page_count(const struct dealer_page *page, const struct dossier *dossier,
                       struct dealer_counts *counts)
{
    if (dossier->decision != DECISION_PAY)
        return;
    if (is_open(page, dossier))
        counts->open++;
    else if (asks_more(dossier))
        counts->less++;
}

void dealer_page_summary(const struct dealer_page *page, const struct summary *summary,
                         const struct dealer_counts *counts, struct buffer *out)
{
    const struct pack_head *head = pack_head(page->desk->pack);
    struct arena arena = ARENA_EMPTY;
    struct writing writing = {page, NULL, &arena, out};
    uint64_t pay = summary->by_decision[DECISION_PAY].claims;

    ADD(&writing, 0, SENTENCE_summary, {"claims", number(&writing, summary->claims)},
        {"made_on", day(&writing, head->made_on)}, {"valid_to", day(&writing, head->valid_to)},
        {"full", number(&writing, pay - counts->less - counts->open)}, {"less", number(&writing, counts->less)},
        {"open", number(&writing, counts->open)},
        {"hold", number(&writing, summary->by_decision[DECISION_HOLD].claims)},
        {"return", number(&writing, summary->by_decision[DECISION_RETURN].claims)},
        {"refuse", number(&writing, summary->by_decision[DECISION_REFUSE].claims)});
    ADD(&writing, 0, SENTENCE_tonight);
    arena_free(&arena);
}
