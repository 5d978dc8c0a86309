#include "audit/charging.h"

#include <stdlib.h>

#include "audit/draw.h"
#include "audit/judging.h"
#include "base/status.h"
#include "ledger/recorded.h"

struct planning {
    struct office *office;
    struct look_back *look_back;
    const struct sample *sample;
    const struct judgement *judgements;
    const struct evaluation *evaluation;
    const struct charge_request *request;
    struct arena *arena;
    struct diag_sink *sink;
    struct ledger_reader *reader;
    int64_t *taken; /* of each item so far, by this sample */
    int64_t beyond_taken;
    struct charge_plan plan;
};

static int refuse(const struct planning *planning, struct text words)
{
    if (words.bytes == NULL)
        return WM_NO_MEMORY;
    diag_error(planning->sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(words));
    return WM_BAD_INPUT;
}

struct day_words {
    char text[DATE_ROOM];
};

static struct day_words day_words(int32_t day)
{
    struct day_words words;

    date_write(day, words.text);
    return words;
}

/* --- One claim --------------------------------------------------------------------------------------- */

static int32_t paid_on(const struct claim_row *row)
{
    int32_t day = row->today;
    enum decision decided;

    for (uint32_t i = 0; i < row->decision_count; i++)
        if (decision_from(row->decisions[i].action, &decided))
            day = row->decisions[i].decided_on;
    return day;
}

static struct text basis_of(const struct planning *planning, const struct charged_claim *claim)
{
    int64_t wanted = claim->paid_cents - claim->right_cents;
    const char *why = text_is(claim->judgement, JUDGED_MISSING) ? "papers are missing"
                      : wanted > 0                              ? "paid more than was right"
                                                                : "judged anew";

    if (claim->cents == wanted)
        return text_format(planning->arena, "%s: %s paid, %s right", why, money_words(claim->paid_cents).text,
                           money_words(claim->right_cents).text);
    return text_format(planning->arena, "%s: %s paid, %s right, %s taken back before or no longer paid", why,
                       money_words(claim->paid_cents).text, money_words(claim->right_cents).text,
                       money_words((wanted > 0 ? wanted : 0) - claim->cents).text);
}

/* What may be taken back on a claim as it stands now; why is left empty where nothing stands against it. */
static int limit_claim(struct planning *planning, const struct ledger_claim *now, struct charged_claim *claim)
{
    struct text covered_by = TEXT(""), dealer = claim->dealer;
    struct audit_terms terms;

    if (now->paid == NULL || now->paid->row != claim->row) {
        claim->why = TEXT("another revision is paid since; audit that one");
        return WM_OK;
    }
    claim->payable_cents = now->paid->payable_now_cents;
    int status = WM_OK;
    for (uint32_t i = 0; status == WM_OK && i < now->row_count && covered_by.length == 0; i++) {
        status = ledger_covered(planning->office, planning->arena, now->rows[i].row, &covered_by);
        if (status == WM_OK && text_equal(covered_by, planning->sample->name))
            covered_by = TEXT("");
    }
    if (status == WM_OK)
        status = look_back_terms(planning->look_back, dealer, now->paid->completed_on, &terms);
    if (status != WM_OK)
        return status;
    int32_t day = paid_on(now->paid);
    claim->terms = terms;
    claim->older = look_back_is_over(&terms, day, planning->request->decided_on);
    if (covered_by.length > 0)
        claim->why = text_format(planning->arena, "the extrapolated chargeback of sample %.*s covers it",
                                 TEXT_ARGUMENTS(covered_by));
    else if (look_back_is_over(&terms, day, planning->sample->drawn_on))
        claim->why =
            text_format(planning->arena, "paid on %s, longer ago than the %d days that the region allows",
                        day_words(day).text, terms.audit_within_days);
    else if (claim->cents > now->paid_cents)
        claim->cents = now->paid_cents > 0 ? now->paid_cents : 0;
    return claim->why.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int plan_claim(struct planning *planning, uint32_t item, struct charged_claim *claim)
{
    const struct sample_claim *drawn = &planning->sample->frame[planning->sample->items[item]];
    const struct judgement *judgement = &planning->judgements[item];
    int64_t wrong = drawn->paid_cents - judgement->right_cents;
    struct ledger_claim now;

    *claim = (struct charged_claim){.item = (int64_t)item + 1,
                                    .row = drawn->row,
                                    .dealer = drawn->dealer,
                                    .claim = drawn->claim,
                                    .paid_cents = drawn->paid_cents,
                                    .right_cents = judgement->right_cents,
                                    .judgement = judgement->judgement,
                                    .note = judgement->note,
                                    .cents = (wrong > 0 ? wrong : 0) - planning->taken[item],
                                    .why = TEXT("")};
    int status = ledger_claim_read(planning->reader, planning->arena, drawn->dealer, drawn->claim, &now);
    if (status == WM_OK)
        status = limit_claim(planning, &now, claim);
    if (status != WM_OK)
        return status;
    if (claim->why.length > 0)
        claim->cents = 0;
    else if (claim->cents != 0)
        claim->why = basis_of(planning, claim);
    else
        claim->why = wrong < 0 ? TEXT("too little was paid; owed to the dealer, and nothing to take back")
                               : TEXT("taken back already, or no longer paid");
    return claim->why.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

/* --- Claims by dealer -------------------------------------------------------------------------------- */

static bool concerns(const struct planning *planning, uint32_t item)
{
    const struct sample_claim *drawn = &planning->sample->frame[planning->sample->items[item]];
    const struct judgement *judgement = &planning->judgements[item];

    return judgement->judgement.length > 0 &&
           (judgement->right_cents != drawn->paid_cents || planning->taken[item] != 0);
}

static struct charge *charge_of(struct planning *planning, struct text dealer)
{
    struct charge_plan *plan = &planning->plan;

    for (uint32_t i = 0; i < plan->count; i++)
        if (text_equal(plan->charges[i].dealer, dealer))
            return &plan->charges[i];
    struct charge *charge = &plan->charges[plan->count++];
    *charge = (struct charge){.dealer = dealer, .basis = TEXT("")};
    charge->claims = ARENA_ARRAY(planning->arena, struct charged_claim, planning->sample->item_count);
    return charge;
}

static int plan_claims(struct planning *planning)
{
    const struct sample *sample = planning->sample;
    int status = WM_OK;

    for (uint32_t i = 0; i < sample->item_count && status == WM_OK; i++) {
        if (!concerns(planning, i))
            continue;
        struct charge *charge = charge_of(planning, sample->frame[sample->items[i]].dealer);
        if (charge->claims == NULL)
            return WM_NO_MEMORY;
        struct charged_claim *claim = &charge->claims[charge->count++];
        status = plan_claim(planning, i, claim);
        charge->items_cents += claim->cents;
        charge->older_count += claim->older && claim->cents > 0;
    }
    return status;
}

static int by_dealer(const void *a, const void *b)
{
    return text_compare(((const struct charge *)a)->dealer, ((const struct charge *)b)->dealer);
}

/* --- Extrapolation ----------------------------------------------------------------------------------- */

/* What a correction moves is in no chargeback and no reversal, so that the estimate would take it once more. */
static int check_unrevised(const struct planning *planning)
{
    const struct sample *sample = planning->sample;
    struct arena arena = ARENA_EMPTY;
    int status = WM_OK;

    for (uint32_t i = 0; i < sample->frame_count && status == WM_OK; i++) {
        const struct sample_claim *drawn = &sample->frame[i];
        struct ledger_claim now;
        arena_reset(&arena);
        status = ledger_claim_read(planning->reader, &arena, drawn->dealer, drawn->claim, &now);
        if (status == WM_OK && (now.paid == NULL || now.paid->row != drawn->row))
            status = refuse(planning, text_format(planning->arena,
                                                  "sample %.*s cannot be extrapolated: claim %.*s/%.*s of its frame is "
                                                  "paid by another revision since the draw; draw a new sample",
                                                  TEXT_ARGUMENTS(sample->name), TEXT_ARGUMENTS(drawn->dealer),
                                                  TEXT_ARGUMENTS(drawn->claim)));
    }
    arena_free(&arena);
    return status;
}

static int check_extrapolation(const struct planning *planning)
{
    const struct sample *sample = planning->sample;
    const struct evaluation *evaluation = planning->evaluation;

    for (uint32_t i = 0; i < evaluation->note_count; i++)
        if (evaluation->notes[i].kind == NOTE_REFUSAL)
            return refuse(planning, text_format(planning->arena, "sample %.*s cannot be extrapolated: %.*s",
                                                TEXT_ARGUMENTS(sample->name),
                                                TEXT_ARGUMENTS(evaluation->notes[i].words)));
    return check_unrevised(planning);
}

/* What is taken back beyond the sampled claims, all in all, so that nothing is taken twice. */
static int plan_beyond(struct planning *planning)
{
    const struct estimated *used = &planning->evaluation->estimates[planning->evaluation->used];
    struct charge *charge = charge_of(planning, planning->sample->frame[0].dealer);
    int64_t on_claims = charge->items_cents;
    int status =
        sample_taken_otherwise(planning->office, planning->sample->sample, &charge->taken_otherwise_cents);

    if (status != WM_OK)
        return status;
    for (uint32_t i = 0; i < planning->sample->item_count; i++)
        on_claims += planning->taken[i];
    int64_t beyond = used->lower_cents - charge->taken_otherwise_cents - on_claims;
    charge->beyond_cents = (beyond > 0 ? beyond : 0) - planning->beyond_taken;
    return WM_OK;
}

/* --- Notice and basis -------------------------------------------------------------------------------- */

/* Something is taken back, whatever is given back beside it. */
static bool takes(const struct charge *charge)
{
    bool takes = charge->beyond_cents > 0;

    for (uint32_t i = 0; i < charge->count; i++)
        takes = takes || charge->claims[i].cents > 0;
    return takes;
}

static int check_notice(const struct planning *planning, const struct charge *charge)
{
    const struct charge_request *request = planning->request;
    int32_t days = charge->terms.notice_days;

    if (request->notified_on != DAY_NONE && request->notified_on > request->decided_on)
        return refuse(planning,
                      TEXT("--notified lies behind --today; give the day on which the dealer was told"));
    if (request->notified_on != DAY_NONE && request->notified_on < planning->sample->drawn_on)
        return refuse(
            planning,
            TEXT("--notified lies before the day on which the sample was drawn; give the day on which "
                 "the dealer was told what was found"));
    if (request->draft || days < 0 || !takes(charge))
        return WM_OK;
    if (request->notified_on == DAY_NONE)
        return refuse(
            planning,
            text_format(planning->arena,
                        "dealer %.*s must be told %d days before money is taken back (region %.*s); send "
                        "the letter of --draft, and say with --notified when that was",
                        TEXT_ARGUMENTS(charge->dealer), days, TEXT_ARGUMENTS(charge->terms.region)));
    if ((int64_t)request->decided_on - request->notified_on < days)
        return refuse(
            planning,
            text_format(planning->arena,
                        "dealer %.*s was told on %s, and %d days must pass (region %.*s); charge back "
                        "on %s or later",
                        TEXT_ARGUMENTS(charge->dealer), day_words(request->notified_on).text, days,
                        TEXT_ARGUMENTS(charge->terms.region), day_words(request->notified_on + days).text));
    return WM_OK;
}

/* The terms by which money is taken back although the rules say nothing of the region; NULL: they say it of
 * each. */
static const struct audit_terms *unstated_terms(const struct charge *charge)
{
    if (!charge->terms.stated)
        return &charge->terms;
    for (uint32_t i = 0; i < charge->count; i++)
        if (charge->claims[i].cents > 0 && !charge->claims[i].terms.stated)
            return &charge->claims[i].terms;
    return NULL;
}

/* Where the rules say nothing, nothing limits: whoever charges back must hear it, as the law of the region may.
 */
static void warn_of_unstated_terms(const struct planning *planning, const struct charge *charge)
{
    const struct audit_terms *terms = takes(charge) ? unstated_terms(charge) : NULL;
    const struct place place = {TEXT("deadlines.csv"), 0, 0};

    if (terms != NULL && terms->region.length > 0)
        diag_warning(
            planning->sink, place,
            "no row is for region %.*s of dealer %.*s, so neither how far back an audit may look nor a notice "
            "was asked for; ask counsel what the law there says, and add a row",
            TEXT_ARGUMENTS(terms->region), TEXT_ARGUMENTS(charge->dealer));
    else if (terms != NULL)
        diag_warning(
            planning->sink, place,
            "no row is for dealer %.*s, of whom no region is known, so neither how far back an audit may look "
            "nor a notice was asked for; load the dealer with its region",
            TEXT_ARGUMENTS(charge->dealer));
}

static struct text words_of_basis(const struct planning *planning, const struct charge *charge)
{
    const struct evaluation *evaluation = planning->evaluation;
    const struct estimated *used = &evaluation->estimates[evaluation->used];

    if (!planning->request->extrapolate)
        return TEXT("what was found on single claims");
    return text_format(
        planning->arena,
        "%s estimate from %u of %u claims: %s paid too much, standard error %s; lower limit of the two-sided "
        "%s %% interval %s, less %s taken back otherwise since the draw",
        ESTIMATOR_NAMES[evaluation->used], evaluation->judged, planning->sample->frame_count,
        money_words(used->total_cents).text, money_words(used->error_cents).text,
        decimal_words(evaluation->confidence * 100).text, money_words(used->lower_cents).text,
        money_words(charge->taken_otherwise_cents).text);
}

static int finish_charges(struct planning *planning)
{
    struct charge_plan *plan = &planning->plan;
    int status = WM_OK;

    if (plan->count > 1)
        qsort(plan->charges, plan->count, sizeof *plan->charges, by_dealer);
    for (uint32_t i = 0; i < plan->count && status == WM_OK; i++) {
        struct charge *charge = &plan->charges[i];
        status = look_back_terms(planning->look_back, charge->dealer, DAY_NONE, &charge->terms);
        if (status == WM_OK)
            status = check_notice(planning, charge);
        if (status == WM_OK)
            warn_of_unstated_terms(planning, charge);
        if (status == WM_OK)
            charge->basis = words_of_basis(planning, charge);
        if (charge->basis.bytes == NULL)
            return WM_NO_MEMORY;
    }
    return status;
}

static int make(struct planning *planning)
{
    const struct sample *sample = planning->sample;

    planning->taken = ARENA_ARRAY(planning->arena, int64_t, sample->item_count);
    planning->plan.charges = ARENA_ARRAY(planning->arena, struct charge, (size_t)sample->item_count + 1);
    if (planning->taken == NULL || planning->plan.charges == NULL)
        return WM_NO_MEMORY;
    int status = chargebacks_read(planning->office, sample, planning->taken, &planning->beyond_taken);
    if (status == WM_OK && planning->request->extrapolate)
        status = check_extrapolation(planning);
    else if (status == WM_OK && planning->beyond_taken > 0)
        status =
            refuse(planning, TEXT("this sample was charged back by extrapolation; say --extrapolate, and the "
                                  "difference is taken or given back"));
    if (status == WM_OK)
        status = plan_claims(planning);
    if (status == WM_OK && planning->request->extrapolate)
        status = plan_beyond(planning);
    return status == WM_OK ? finish_charges(planning) : status;
}

int charge_plan_make(struct office *office, struct look_back *look_back, const struct sample *sample,
                     const struct judgement *judgements, const struct evaluation *evaluation,
                     const struct charge_request *request, struct arena *arena, struct diag_sink *sink,
                     struct charge_plan *ret_plan)
{
    struct planning planning = {.office = office,
                                .look_back = look_back,
                                .sample = sample,
                                .judgements = judgements,
                                .evaluation = evaluation,
                                .request = request,
                                .arena = arena,
                                .sink = sink,
                                .plan = {.sample = sample, .evaluation = evaluation, .request = *request}};
    int status = ledger_reader_open(office, (struct ledger_point){INT64_MAX, INT64_MAX}, &planning.reader);

    if (status == WM_OK)
        status = make(&planning);
    ledger_reader_close(planning.reader);
    if (status == WM_OK)
        *ret_plan = planning.plan;
    return status;
}

/* --- Recording --------------------------------------------------------------------------------------- */

static int record(struct office *office, const struct charge_plan *plan, const struct charge *charge,
                  struct arena *arena)
{
    const struct estimated *used = &plan->evaluation->estimates[plan->evaluation->used];
    const struct charge_request *request = &plan->request;
    struct chargeback record = {
        .sample = plan->sample->sample,
        .dealer = charge->dealer,
        .method = request->extrapolate ? TEXT("extrapolated") : TEXT("claims"),
        .decided_by = request->decided_by,
        .reason = request->reason,
        .decided_on = request->decided_on,
        .recorded_at = request->recorded_at,
        .notified_on = request->notified_on,
        .notice_days = charge->terms.notice_days,
        .confidence_millionths = request->extrapolate ? plan->evaluation->confidence : 0,
        .estimate_cents = used->total_cents,
        .error_cents = used->error_cents,
        .lower_cents = used->lower_cents,
        .items_cents = charge->items_cents,
        .beyond_cents = charge->beyond_cents,
        .basis = charge->basis,
        .items = ARENA_ARRAY(arena, struct chargeback_item, charge->count),
    };

    if (record.items == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < charge->count; i++) {
        const struct charged_claim *claim = &charge->claims[i];
        if (claim->cents != 0)
            record.items[record.count++] = (struct chargeback_item){.item = claim->item,
                                                                    .row = claim->row,
                                                                    .cents = claim->cents,
                                                                    .basis = claim->why,
                                                                    .payable_cents = claim->payable_cents};
    }
    return chargeback_write(office, &record);
}

static bool moves(const struct charge *charge)
{
    bool moves = charge->beyond_cents != 0;

    for (uint32_t i = 0; i < charge->count; i++)
        moves = moves || charge->claims[i].cents != 0;
    return moves;
}

int charge_plan_record(struct office *office, const struct charge_plan *plan, struct arena *arena,
                       uint32_t *ret_recorded)
{
    uint32_t recorded = 0;
    int status = WM_OK;

    for (uint32_t i = 0; i < plan->count && status == WM_OK; i++) {
        if (!moves(&plan->charges[i]))
            continue;
        status = record(office, plan, &plan->charges[i], arena);
        recorded++;
    }
    if (status == WM_OK)
        *ret_recorded = recorded;
    return status;
}
