#include "rules/lint_facts.h"

#include "base/decimal.h"

#define ANY .step = 1
#define WHOLE .step = DECIMAL_ONE
#define COUNT_OF .step = DECIMAL_ONE, .not_negative = true
#define AMOUNT .step = DECIMAL_CENT, .not_negative = true
#define ALWAYS .never_null = true

const struct fact_nature FACT_NATURE_OPEN = {ANY};

/* What is not here is FACT_NATURE_OPEN. */
static const struct fact_nature NATURES[FACT_COUNT] = {
    [FACT_claim] = {ANY, ALWAYS},
    [FACT_revision] = {COUNT_OF, ALWAYS},
    [FACT_dealer] = {ANY, ALWAYS},
    [FACT_repair_order] = {ANY, ALWAYS},
    [FACT_campaign] = {ANY, ALWAYS},
    [FACT_vin] = {ANY, ALWAYS},
    [FACT_outcome] = {"repaired inspected", ANY, ALWAYS},
    [FACT_claim_model_year] = {WHOLE},
    [FACT_odometer] = {COUNT_OF},
    [FACT_odometer_unit] = {"mi km", ANY, ALWAYS},
    [FACT_parts_amount] = {AMOUNT, ALWAYS},
    [FACT_labor_amount] = {AMOUNT, ALWAYS},
    [FACT_other_amount] = {AMOUNT, ALWAYS},
    [FACT_total_amount] = {AMOUNT, ALWAYS},
    [FACT_vin_form] = {"ok length characters", ANY, ALWAYS},
    [FACT_vin_check] = {"ok bad", ANY},
    [FACT_vin_model_year] = {COUNT_OF},
    [FACT_campaign_known] = {ANY, ALWAYS},
    [FACT_other_limit] = {AMOUNT},
    [FACT_vehicle_known] = {ANY, ALWAYS},
    [FACT_vehicle_status] = {"in_service scrapped exported stolen unreachable unsold", ANY},
    [FACT_model_year] = {WHOLE},
    [FACT_dealer_known] = {ANY, ALWAYS},
    [FACT_days_to_submit] = {WHOLE},
    [FACT_days_open] = {WHOLE},
    [FACT_received_on] = {ANY, ALWAYS},
    [FACT_today] = {ANY, ALWAYS},
    [FACT_first_received_on] = {ANY, ALWAYS},
    [FACT_days_to_resubmit] = {WHOLE},
    [FACT_earlier_outcome] = {"repaired inspected", ANY},
    [FACT_repair_order_vins] = {COUNT_OF, ALWAYS},
    [FACT_revision_last] = {COUNT_OF},
    [FACT_revision_expected] = {COUNT_OF, ALWAYS},
    [FACT_previous_decision] = {"pay hold return refuse", ANY},
    [FACT_earlier_odometer] = {COUNT_OF},
    [FACT_technician_day_hours] = {ANY, .not_negative = true},
    [FACT_paid_before] = {ANY, ALWAYS},
    [FACT_amounts_sum] = {AMOUNT, ALWAYS},
    [FACT_hours_claimed] = {ANY, ALWAYS, .not_negative = true},
    [FACT_hours_allowed] = {ANY, ALWAYS, .not_negative = true},
    [FACT_parts_allowed_amount] = {AMOUNT},
    [FACT_labor_allowed_amount] = {AMOUNT},
    [FACT_kits_listed] = {COUNT_OF, ALWAYS},
    [FACT_part] = {ANY, ALWAYS},
    [FACT_other_kit] = {ANY, ALWAYS},
    [FACT_quantity] = {ANY, .not_negative = true},
    [FACT_quantity_allowed] = {ANY, .not_negative = true},
    [FACT_price] = {ANY, .not_negative = true},
    [FACT_price_listed] = {ANY, .not_negative = true},
    [FACT_operation] = {ANY, ALWAYS},
    [FACT_hours] = {ANY, .not_negative = true},
    [FACT_operation_hours_allowed] = {ANY, .not_negative = true},
    [FACT_operation_known] = {ANY, ALWAYS},
    [FACT_inspection] = {ANY, ALWAYS},
    [FACT_claimed] = {ANY, ALWAYS},
    [FACT_expected] = {"required allowed kit", ANY},
};

struct fact_nature fact_nature(enum fact_id id, enum scope scope)
{
    struct fact_nature nature = NATURES[id];

    if (id == FACT_expected && scope != SCOPE_PART)
        nature.words = "required allowed";
    if (nature.step == 0)
        nature = FACT_NATURE_OPEN;
    return nature;
}

enum fact_id fact_of_slot(const struct dictionary *dictionary, uint32_t slot)
{
    int id = 0;

    while (id < FACT_COUNT && dictionary->slot[id] != (int)slot)
        id++;
    return (enum fact_id)id;
}

int fact_word_number(const char *words, struct text word, bool any_case)
{
    struct text rest = text_of(words), one;

    for (int number = 0; text_next(&rest, ' ', &one); number++)
        if (any_case ? text_equal_any_case(one, word) : text_equal(one, word))
            return number;
    return -1;
}

uint32_t fact_states(enum fact_id id, enum scope scope)
{
    struct fact_nature nature = fact_nature(id, scope);
    uint32_t states = nature.never_null ? 0 : NULL_STATE;
    struct text rest = text_of(nature.words), word;

    if (fact_kind(id)->type == VALUE_BOOLEAN)
        return states | FALSE_STATE | TRUE_STATE;
    if (nature.words == NULL)
        return states | VALUE_STATE;
    for (uint32_t bit = VALUE_STATE; text_next(&rest, ' ', &word); bit <<= 1)
        states |= bit;
    return states;
}

/* --- What follows from what ----------------------------------------------------------------------- */

struct consequence {
    enum fact_id fact;
    uint32_t states; /* where the fact is surely in one of these ... */
    enum fact_id other;
    uint32_t other_states; /* ... the other one is in one of these */
};

#define WORD(number) (VALUE_STATE << (number))
#define NOT_NULL (~(uint32_t)NULL_STATE)
#define ONLY_WITH(name, other, states)              \
    {                                               \
        FACT_##name, NOT_NULL, FACT_##other, states \
    }
#define BOTH_OR_NEITHER(name, other)                  \
    {FACT_##name, NOT_NULL, FACT_##other, NOT_NULL},  \
    {                                                 \
        FACT_##other, NOT_NULL, FACT_##name, NOT_NULL \
    }

static const struct consequence CONSEQUENCES[] = {
    ONLY_WITH(vin_check, vin_form, WORD(0)),
    {FACT_vin_form, WORD(0), FACT_vin_check, NOT_NULL},
    ONLY_WITH(vin_model_year, vin_form, WORD(0)),
    ONLY_WITH(vin_nearest, vehicle_known, FALSE_STATE),
    /* campaign */
    ONLY_WITH(campaign_opens_on, campaign_known, TRUE_STATE),
    ONLY_WITH(campaign_closes_on, campaign_known, TRUE_STATE),
    ONLY_WITH(other_limit, campaign_known, TRUE_STATE),
    ONLY_WITH(eligible, campaign_known, TRUE_STATE),
    ONLY_WITH(eligible, vehicle_known, TRUE_STATE),
    ONLY_WITH(stage, eligible, NOT_NULL),
    ONLY_WITH(stage_opens_on, stage, NOT_NULL),
    ONLY_WITH(replaced_by, campaign_known, TRUE_STATE),
    ONLY_WITH(replaced_by, vehicle_known, TRUE_STATE),
    ONLY_WITH(replaced_by, completed_on, NOT_NULL),
    /* vehicle */
    ONLY_WITH(vehicle_status, vehicle_known, TRUE_STATE),
    ONLY_WITH(vehicle_status_on, vehicle_known, TRUE_STATE),
    ONLY_WITH(model_line, vehicle_known, TRUE_STATE),
    ONLY_WITH(model_year, vehicle_known, TRUE_STATE),
    ONLY_WITH(engine, vehicle_known, TRUE_STATE),
    ONLY_WITH(transmission, vehicle_known, TRUE_STATE),
    ONLY_WITH(built_on, vehicle_known, TRUE_STATE),
    ONLY_WITH(plant, vehicle_known, TRUE_STATE),
    /* dealer */
    ONLY_WITH(dealer_active, dealer_known, TRUE_STATE),
    ONLY_WITH(dealer_active, completed_on, NOT_NULL),
    ONLY_WITH(region, dealer_known, TRUE_STATE),
    ONLY_WITH(submit_within_days, dealer_known, TRUE_STATE),
    ONLY_WITH(decide_within_days, dealer_known, TRUE_STATE),
    ONLY_WITH(silence_approves, dealer_known, TRUE_STATE),
    ONLY_WITH(pay_within_days, dealer_known, TRUE_STATE),
    ONLY_WITH(resubmit_within_days, dealer_known, TRUE_STATE),
    ONLY_WITH(audit_within_days, dealer_known, TRUE_STATE),
    BOTH_OR_NEITHER(parts_allowed_amount, labor_allowed_amount),
    ONLY_WITH(parts_allowed_amount, dealer_known, TRUE_STATE),
    {FACT_dealer_known, TRUE_STATE, FACT_parts_allowed_amount, NOT_NULL},
    /* days */
    ONLY_WITH(days_to_submit, completed_on, NOT_NULL),
    ONLY_WITH(days_to_submit, submitted_on, NOT_NULL),
    ONLY_WITH(days_open, opened_on, NOT_NULL),
    ONLY_WITH(days_open, completed_on, NOT_NULL),
    BOTH_OR_NEITHER(days_to_resubmit, revision_last),
    /* approval */
    BOTH_OR_NEITHER(approval, approval_known),
    ONLY_WITH(approval_valid, approval_known, TRUE_STATE),
    {FACT_approval_known, TRUE_STATE, FACT_approval_valid, NOT_NULL},
    /* ledger */
    BOTH_OR_NEITHER(earlier_claim, earlier_outcome),
    BOTH_OR_NEITHER(earlier_claim, earlier_dealer_same),
    ONLY_WITH(earlier_completed_on, earlier_claim, NOT_NULL),
    ONLY_WITH(earlier_replaced_on, earlier_replaced_claim, NOT_NULL),
    BOTH_OR_NEITHER(revision_last, previous_decision),
    ONLY_WITH(revision_differs, revision_last, NOT_NULL),
    ONLY_WITH(technician_day_hours, technician, NOT_NULL),
    ONLY_WITH(technician_day_hours, completed_on, NOT_NULL),
    BOTH_OR_NEITHER(kits_shipped, kits_claimed),
    ONLY_WITH(kits_claimed, kit_expected, NOT_NULL),
    ONLY_WITH(kits_claimed, completed_on, NOT_NULL),
    ONLY_WITH(kit_expected, eligible, TRUE_STATE),
    /* items */
    ONLY_WITH(expected, eligible, TRUE_STATE),
    {FACT_claimed, TRUE_STATE, FACT_quantity, NOT_NULL},
    ONLY_WITH(quantity, claimed, TRUE_STATE),
    ONLY_WITH(price, claimed, TRUE_STATE),
    BOTH_OR_NEITHER(quantity_allowed, expected),
    BOTH_OR_NEITHER(operation_hours_allowed, expected),
    {FACT_claimed, TRUE_STATE, FACT_hours, NOT_NULL},
    ONLY_WITH(hours, claimed, TRUE_STATE),
    BOTH_OR_NEITHER(hours, hours_in_tenths),
    {FACT_claimed, TRUE_STATE, FACT_result, NOT_NULL},
    ONLY_WITH(result, claimed, TRUE_STATE),
    ONLY_WITH(reading, result, NOT_NULL),
    ONLY_WITH(unit, reading, NOT_NULL),
    ONLY_WITH(as_expected, claimed, TRUE_STATE),
    ONLY_WITH(as_expected, expected, NOT_NULL),
};

static bool apply(const struct consequence *rule, uint32_t states[FACT_COUNT])
{
    uint32_t *fact = &states[rule->fact], *other = &states[rule->other];
    uint32_t fact_before = *fact, other_before = *other;

    if ((*fact & ~rule->states) == 0)
        *other &= rule->other_states;
    if ((*other & rule->other_states) == 0)
        *fact &= ~rule->states;
    return *fact != fact_before || *other != other_before;
}

bool fact_states_narrow(uint32_t states[FACT_COUNT])
{
    for (bool changed = true; changed;) {
        changed = false;
        for (size_t i = 0; i < sizeof CONSEQUENCES / sizeof *CONSEQUENCES; i++)
            changed = apply(&CONSEQUENCES[i], states) || changed;
    }
    for (int id = 0; id < FACT_COUNT; id++)
        if (states[id] == 0)
            return false;
    return true;
}
