#include "facts/establish.h"

#include "base/status.h"
#include "facts/deadlines.h"
#include "facts/items.h"

int fact_worker_open(struct fact_worker *ret_worker, const struct office_day *day)
{
    struct fact_worker worker = {.day = day};
    int status = expectations_new(day->rules, &worker.expectations);

    if (status == WM_OK)
        status = table_scratch_new(&worker.scratch);
    if (status != WM_OK) {
        fact_worker_close(&worker);
        return status;
    }
    *ret_worker = worker;
    return WM_OK;
}

void fact_worker_close(struct fact_worker *worker)
{
    expectations_free(worker->expectations);
    table_scratch_free(worker->scratch);
    *worker = (struct fact_worker){0};
}

static bool is_asked(const struct rules *rules, enum fact_id id)
{
    return rules_slot(rules, id) >= 0;
}

static struct value day_or_null(int32_t day)
{
    return day == DAY_NONE ? value_null() : value_date(day);
}

static struct value days_between(int32_t from, int32_t to)
{
    return from == DAY_NONE || to == DAY_NONE ? value_null() : value_integer((int64_t)to - from);
}

/* --- As stated --------------------------------------------------------------------------------------- */

static void put_text(const struct rules *rules, struct dossier *dossier, enum fact_id id,
                     enum claim_column column)
{
    fact_put(rules, dossier->facts, id, value_text_or_null(dossier->claim.cells[column]));
}

static void establish_stated(const struct office_day *day, struct dossier *dossier)
{
    const struct rules *rules = day->rules;
    const struct claim *claim = &dossier->claim;
    struct value *facts = dossier->facts;

    put_text(rules, dossier, FACT_claim, COLUMN_CLAIM);
    put_text(rules, dossier, FACT_dealer, COLUMN_DEALER);
    put_text(rules, dossier, FACT_repair_order, COLUMN_REPAIR_ORDER);
    put_text(rules, dossier, FACT_campaign, COLUMN_CAMPAIGN);
    put_text(rules, dossier, FACT_outcome, COLUMN_OUTCOME);
    put_text(rules, dossier, FACT_claim_engine, COLUMN_ENGINE);
    put_text(rules, dossier, FACT_technician, COLUMN_TECHNICIAN);
    put_text(rules, dossier, FACT_approval, COLUMN_APPROVAL);
    put_text(rules, dossier, FACT_parts, COLUMN_PARTS);
    put_text(rules, dossier, FACT_labor, COLUMN_LABOR);
    put_text(rules, dossier, FACT_inspections, COLUMN_INSPECTIONS);
    struct text unit = claim->cells[COLUMN_ODOMETER_UNIT];
    fact_put(rules, facts, FACT_odometer_unit, value_text(unit.length > 0 ? unit : TEXT("mi")));
    fact_put(rules, facts, FACT_vin, value_text(claim->vin));
    fact_put(rules, facts, FACT_revision, value_integer(claim->revision));
    if (claim->has_model_year)
        fact_put(rules, facts, FACT_claim_model_year, value_integer(claim->model_year));
    if (claim->has_odometer)
        fact_put(rules, facts, FACT_odometer, value_integer(claim->odometer));
    fact_put(rules, facts, FACT_opened_on, day_or_null(claim->opened_on));
    fact_put(rules, facts, FACT_completed_on, day_or_null(claim->completed_on));
    fact_put(rules, facts, FACT_submitted_on, day_or_null(claim->submitted_on));
    fact_put(rules, facts, FACT_parts_amount, value_money(claim->parts_amount_cents));
    fact_put(rules, facts, FACT_labor_amount, value_money(claim->labor_amount_cents));
    fact_put(rules, facts, FACT_other_amount, value_money(claim->other_amount_cents));
    fact_put(rules, facts, FACT_total_amount, value_money(claim->total_amount_cents));
    fact_put(rules, facts, FACT_today, value_date(day->today));
    fact_put(rules, facts, FACT_received_on, value_date(day->received_on));
    fact_put(rules, facts, FACT_days_to_submit, days_between(claim->completed_on, claim->submitted_on));
    fact_put(rules, facts, FACT_days_open, days_between(claim->opened_on, claim->completed_on));
}

/* --- Vehicle identification number and vehicle ------------------------------------------------------- */

static int establish_vin(const struct office_day *day, struct arena *arena, struct dossier *dossier)
{
    const struct rules *rules = day->rules;
    struct text vin = dossier->claim.vin, nearest = {"", 0};
    enum vin_form form = vin_form(vin);

    fact_put(rules, dossier->facts, FACT_vin_form, value_text(text_of(vin_form_name(form))));
    if (form == VIN_FORM_OK) {
        int year = vin_model_year(vin);
        fact_put(rules, dossier->facts, FACT_vin_check,
                 value_text(vin_check_is_right(vin) ? TEXT("ok") : TEXT("bad")));
        if (year != 0)
            fact_put(rules, dossier->facts, FACT_vin_model_year, value_integer(year));
    }
    if (dossier->vehicle_known || !is_asked(rules, FACT_vin_nearest))
        return WM_OK;
    int status = register_vin_nearest(day->office_register, vin, arena, &nearest);
    fact_put(rules, dossier->facts, FACT_vin_nearest, value_text_or_null(nearest));
    return status;
}

static bool has_option(struct text options, struct text word)
{
    struct text one;

    while (options.length > 0) {
        struct text rest;
        text_cut(text_trim(options), ' ', &one, &rest);
        if (text_equal(one, word))
            return true;
        options = rest;
    }
    return false;
}

void facts_of_vehicle(const struct rules *rules, const struct vehicle *vehicle, struct value *facts)
{
    const struct vehicle_profile *profile = vehicle != NULL ? vehicle->profile : &(struct vehicle_profile){0};

    fact_put(rules, facts, FACT_model_line, value_text_or_null(profile->model_line));
    fact_put(rules, facts, FACT_engine, value_text_or_null(profile->engine));
    fact_put(rules, facts, FACT_transmission, value_text_or_null(profile->transmission));
    fact_put(rules, facts, FACT_plant, value_text_or_null(profile->plant));
    fact_put(rules, facts, FACT_vehicle_status, value_text_or_null(profile->status));
    fact_put(rules, facts, FACT_model_year,
             profile->has_model_year ? value_integer(profile->model_year) : value_null());
    fact_put(rules, facts, FACT_built_on, vehicle != NULL ? day_or_null(vehicle->built_on) : value_null());
    fact_put(rules, facts, FACT_vehicle_status_on,
             vehicle != NULL ? day_or_null(profile->status_on) : value_null());
    for (uint32_t i = 0; i < rules->dictionary->named_count; i++) {
        const struct named_fact *fact = &rules->dictionary->named[i];
        if (fact->is_option)
            facts[fact->slot] =
                vehicle != NULL ? value_boolean(has_option(profile->options, fact->word)) : value_null();
    }
}

void facts_approach(const struct office_day *day, struct dossier *dossier)
{
    dossier->vehicle_ask = register_vehicle_approach(day->office_register, dossier->claim.vin);
    dossier->dealer_ask = register_dealer_approach(day->office_register, dossier->claim.cells[COLUMN_DEALER]);
}

void facts_prefetch(const struct office_day *day, struct dossier *dossier)
{
    register_vehicle_prefetch(day->office_register, &dossier->vehicle_ask);
}

int facts_look_up(const struct office_day *day, struct dossier *dossier)
{
    register_dealer_prefetch(day->office_register, &dossier->dealer_ask, dossier->claim.cells[COLUMN_DEALER]);
    dossier->vehicle_is_looked_up = true;
    return register_vehicle_find(day->office_register, &dossier->vehicle_ask, dossier->claim.vin,
                                 &dossier->vehicle_known, &dossier->vehicle);
}

static int establish_vehicle(const struct office_day *day, struct dossier *dossier)
{
    int status = dossier->vehicle_is_looked_up ? WM_OK
                                               : register_vehicle(day->office_register, dossier->claim.vin,
                                                                  &dossier->vehicle_known, &dossier->vehicle);

    if (status != WM_OK)
        return status;
    fact_put(day->rules, dossier->facts, FACT_vehicle_known, value_boolean(dossier->vehicle_known));
    facts_of_vehicle(day->rules, dossier->vehicle_known ? &dossier->vehicle : NULL, dossier->facts);
    return WM_OK;
}

static void establish_results(const struct rules *rules, struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;

    for (uint32_t i = 0; i < rules->dictionary->named_count; i++) {
        const struct named_fact *fact = &rules->dictionary->named[i];
        for (uint32_t k = 0; !fact->is_option && k < claim->inspection_count; k++)
            if (text_equal(claim->inspections[k].key, fact->word))
                dossier->facts[fact->slot] = value_text(claim->inspections[k].result);
    }
}

/* --- Dealer, deadlines, approval --------------------------------------------------------------------- */

static int add_finding_of_ambiguity(struct arena *arena, struct dossier *dossier, const struct table *table,
                                    const struct table_hits *hits)
{
    return dossier_add_ambiguity(arena, dossier,
                                 &(struct ambiguity){table, hits->fault, hits->first_row, hits->second_row});
}

static int establish_deadlines(struct fact_worker *worker, struct arena *arena, struct dossier *dossier)
{
    static const enum fact_id FACTS[DEADLINES] = {FACT_submit_within_days,   FACT_decide_within_days,
                                                  FACT_silence_approves,     FACT_pay_within_days,
                                                  FACT_resubmit_within_days, FACT_audit_within_days};
    const struct rules *rules = worker->day->rules;
    struct deadlines deadlines;
    bool asked = false;

    for (int i = 0; i < DEADLINES; i++)
        asked = asked || is_asked(rules, FACTS[i]);
    if (!asked)
        return WM_OK;
    int status = deadlines_ask(rules, dossier->facts, worker->scratch, &deadlines);
    if (status != WM_OK)
        return status;
    if (deadlines.hits.fault != TABLE_OK)
        return add_finding_of_ambiguity(arena, dossier, rules->deadlines, &deadlines.hits);
    for (int i = 0; i < DEADLINES; i++)
        fact_put(rules, dossier->facts, FACTS[i], deadlines.values[i]);
    return WM_OK;
}

static int establish_dealer(struct fact_worker *worker, struct arena *arena, struct dossier *dossier)
{
    const struct office_day *day = worker->day;
    int32_t completed_on = dossier->claim.completed_on;
    int status = register_dealer_find(day->office_register, &dossier->dealer_ask, dossier->claim.cells[COLUMN_DEALER],
                                      completed_on, &dossier->dealer);
    const struct dealer *dealer = dossier->dealer;

    if (status != WM_OK)
        return status;
    fact_put(day->rules, dossier->facts, FACT_dealer_known, value_boolean(dealer != NULL));
    if (dealer == NULL)
        return WM_OK;
    fact_put(day->rules, dossier->facts, FACT_region, value_text_or_null(dealer->region));
    if (completed_on != DAY_NONE) {
        bool active = (dealer->active_from == DAY_NONE || dealer->active_from <= completed_on) &&
                      (dealer->active_to == DAY_NONE || completed_on <= dealer->active_to);
        fact_put(day->rules, dossier->facts, FACT_dealer_active, value_boolean(active));
    }
    return establish_deadlines(worker, arena, dossier);
}

static bool open_or_equal(struct text of_approval, struct text of_claim)
{
    return of_approval.length == 0 || text_equal(of_approval, of_claim);
}

static bool approval_is_valid(const struct approval *approval, const struct claim *claim)
{
    return open_or_equal(approval->dealer, claim->cells[COLUMN_DEALER]) &&
           open_or_equal(approval->campaign, claim->cells[COLUMN_CAMPAIGN]) &&
           (approval->vin.length == 0 || text_equal_any_case(approval->vin, claim->vin)) &&
           (approval->valid_to == DAY_NONE ||
            (claim->completed_on != DAY_NONE && claim->completed_on <= approval->valid_to)) &&
           (!approval->has_limit || claim->total_amount_cents <= approval->limit_cents);
}

static int establish_approval(const struct office_day *day, struct dossier *dossier)
{
    struct text number = dossier->claim.cells[COLUMN_APPROVAL];

    if (number.length == 0)
        return WM_OK;
    int status = register_approval(day->office_register, number, &dossier->approval);
    if (status != WM_OK)
        return status;
    fact_put(day->rules, dossier->facts, FACT_approval_known, value_boolean(dossier->approval != NULL));
    if (dossier->approval != NULL) {
        dossier->approval_valid = approval_is_valid(dossier->approval, &dossier->claim);
        fact_put(day->rules, dossier->facts, FACT_approval_valid, value_boolean(dossier->approval_valid));
    }
    return WM_OK;
}

/* --- Campaign ---------------------------------------------------------------------------------------- */

static bool is_open_on(const struct campaign *campaign, int32_t day)
{
    return day != DAY_NONE && (campaign->opens_on == DAY_NONE || campaign->opens_on <= day) &&
           (campaign->closes_on == DAY_NONE || day <= campaign->closes_on);
}

static int establish_replaced_by(struct fact_worker *worker, struct dossier *dossier)
{
    const struct rules *rules = worker->day->rules;
    const struct campaign *campaign = dossier->campaign;

    for (uint32_t i = 0; dossier->vehicle_known && i < campaign->replaced_by_count; i++) {
        const struct campaign *newer = &rules->campaigns[campaign->replaced_by[i]];
        struct value eligible;
        if (!is_open_on(newer, dossier->claim.completed_on))
            continue;
        int status = expectation_eligible(newer, dossier->facts, worker->scratch, &eligible);
        if (status != WM_OK)
            return status;
        if (eligible.type == VALUE_BOOLEAN && eligible.number) {
            fact_put(rules, dossier->facts, FACT_replaced_by, value_text(newer->id));
            return WM_OK;
        }
    }
    return WM_OK;
}

static int establish_expectation(struct fact_worker *worker, struct arena *arena, struct dossier *dossier)
{
    const struct rules *rules = worker->day->rules;

    if (!dossier->vehicle_known)
        return WM_OK;
    int status = expectations_find(worker->expectations, dossier->campaign, dossier->facts, worker->scratch,
                                   arena, &dossier->expectation);
    if (status != WM_OK)
        return status;
    const struct expectation *expectation = dossier->expectation;
    fact_put(rules, dossier->facts, FACT_eligible, expectation->eligible);
    fact_put(rules, dossier->facts, FACT_stage, value_text_or_null(expectation->stage));
    fact_put(rules, dossier->facts, FACT_stage_opens_on, day_or_null(expectation->stage_opens_on));
    fact_put(rules, dossier->facts, FACT_kit_expected, value_text_or_null(expectation->kit_shown));
    for (uint32_t i = 0; status == WM_OK && i < expectation->ambiguity_count; i++)
        status = dossier_add_ambiguity(arena, dossier, &expectation->ambiguities[i]);
    return status;
}

static int establish_campaign(struct fact_worker *worker, struct arena *arena, struct dossier *dossier)
{
    const struct rules *rules = worker->day->rules;
    const struct campaign *campaign = NULL;

    dossier->campaign_number = rules_campaign(rules, dossier->claim.cells[COLUMN_CAMPAIGN]);
    fact_put(rules, dossier->facts, FACT_campaign_known, value_boolean(dossier->campaign_number >= 0));
    if (dossier->campaign_number < 0)
        return WM_OK;
    campaign = dossier->campaign = &rules->campaigns[dossier->campaign_number];
    fact_put(rules, dossier->facts, FACT_campaign_opens_on, day_or_null(campaign->opens_on));
    fact_put(rules, dossier->facts, FACT_campaign_closes_on, day_or_null(campaign->closes_on));
    if (campaign->has_other_limit)
        fact_put(rules, dossier->facts, FACT_other_limit, value_money(campaign->other_limit_cents));
    int status = establish_expectation(worker, arena, dossier);
    if (status == WM_OK && is_asked(rules, FACT_replaced_by))
        status = establish_replaced_by(worker, dossier);
    return status;
}

static bool needs_kits_shipped(const struct rules *rules, const struct dossier *dossier)
{
    return is_asked(rules, FACT_kits_shipped) && dossier->expectation != NULL &&
           dossier->expectation->kit_key.length > 0 && dossier->claim.completed_on != DAY_NONE;
}

static int establish_kits_shipped(const struct office_day *day, struct dossier *dossier)
{
    const struct expectation *expectation = dossier->expectation;
    int64_t quantity = 0;

    if (!needs_kits_shipped(day->rules, dossier))
        return WM_OK;
    int status = register_shipped_find(day->office_register, &dossier->dealer_ask, dossier->claim.cells[COLUMN_DEALER],
                                       expectation->kit_key, dossier->claim.completed_on, &quantity);
    if (status == WM_OK)
        fact_put(day->rules, dossier->facts, FACT_kits_shipped, value_number(quantity));
    return status;
}

/* --- All --------------------------------------------------------------------------------------------- */

int facts_establish(struct fact_worker *worker, struct arena *arena, struct dossier *dossier)
{
    const struct office_day *day = worker->day;

    dossier->facts = ARENA_ARRAY(arena, struct value, day->rules->dictionary->slot_count);
    dossier->late_rows = ARENA_ARRAY(arena, uint64_t, day->rules->late_words);
    if (dossier->facts == NULL || dossier->late_rows == NULL)
        return WM_NO_MEMORY;
    establish_stated(day, dossier);
    establish_results(day->rules, dossier);
    int status = establish_vehicle(day, dossier);
    if (status == WM_OK)
        status = establish_vin(day, arena, dossier);
    if (status == WM_OK)
        status = establish_dealer(worker, arena, dossier);
    if (status == WM_OK)
        status = establish_approval(day, dossier);
    if (status == WM_OK)
        status = establish_campaign(worker, arena, dossier);
    if (status == WM_OK && needs_kits_shipped(day->rules, dossier))
        register_shipped_prefetch(&dossier->dealer_ask, dossier->expectation->kit_key);
    if (status == WM_OK)
        status = establish_items(worker, arena, dossier);
    if (status == WM_OK)
        status = establish_kits_shipped(day, dossier);
    if (status == WM_OK && day->withheld != NULL)
        status = day->withheld->withhold(day->withheld->context, dossier);
    return status;
}
