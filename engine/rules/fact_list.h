/* fact_list.h - every fact that the engine computes (contract section 5).
 *
 * The office's dictionary rules/facts.csv describes the same facts for people; a test holds the two together.
 * FACT(name, type, scope, stage, comparison)
 *   stage      EARLY: true of the claim by itself, or of the registers.  LATE: depends on other claims.
 *   comparison EXACT, or ANY_CASE for words that come from a short list
 * option:WORD (boolean) and inspection:ITEM (text) facts have no line here: they are made as tables name them.
 */
#define FACT_LIST(FACT)                                              \
    /* as stated */                                                  \
    FACT(claim, TEXT, CLAIM, EARLY, EXACT)                           \
    FACT(revision, NUMBER, CLAIM, EARLY, EXACT)                      \
    FACT(dealer, TEXT, CLAIM, EARLY, EXACT)                          \
    FACT(repair_order, TEXT, CLAIM, EARLY, EXACT)                    \
    FACT(campaign, TEXT, CLAIM, EARLY, EXACT)                        \
    FACT(vin, TEXT, CLAIM, EARLY, EXACT)                             \
    FACT(outcome, TEXT, CLAIM, EARLY, ANY_CASE)                      \
    FACT(claim_model_year, NUMBER, CLAIM, EARLY, EXACT)              \
    FACT(claim_engine, TEXT, CLAIM, EARLY, EXACT)                    \
    FACT(odometer, NUMBER, CLAIM, EARLY, EXACT)                      \
    FACT(odometer_unit, TEXT, CLAIM, EARLY, ANY_CASE)                \
    FACT(opened_on, DATE, CLAIM, EARLY, EXACT)                       \
    FACT(completed_on, DATE, CLAIM, EARLY, EXACT)                    \
    FACT(submitted_on, DATE, CLAIM, EARLY, EXACT)                    \
    FACT(technician, TEXT, CLAIM, EARLY, EXACT)                      \
    FACT(approval, TEXT, CLAIM, EARLY, EXACT)                        \
    FACT(parts, TEXT, CLAIM, EARLY, EXACT)                           \
    FACT(labor, TEXT, CLAIM, EARLY, EXACT)                           \
    FACT(inspections, TEXT, CLAIM, EARLY, EXACT)                     \
    FACT(parts_amount, NUMBER, CLAIM, EARLY, EXACT)                  \
    FACT(labor_amount, NUMBER, CLAIM, EARLY, EXACT)                  \
    FACT(other_amount, NUMBER, CLAIM, EARLY, EXACT)                  \
    FACT(total_amount, NUMBER, CLAIM, EARLY, EXACT)                  \
    /* vin */                                                        \
    FACT(vin_form, TEXT, CLAIM, EARLY, EXACT)                        \
    FACT(vin_check, TEXT, CLAIM, EARLY, EXACT)                       \
    FACT(vin_model_year, NUMBER, CLAIM, EARLY, EXACT)                \
    FACT(vin_nearest, TEXT, CLAIM, EARLY, EXACT)                     \
    /* campaign */                                                   \
    FACT(campaign_known, BOOLEAN, CLAIM, EARLY, EXACT)               \
    FACT(campaign_opens_on, DATE, CLAIM, EARLY, EXACT)               \
    FACT(campaign_closes_on, DATE, CLAIM, EARLY, EXACT)              \
    FACT(other_limit, NUMBER, CLAIM, EARLY, EXACT)                   \
    FACT(eligible, BOOLEAN, CLAIM, EARLY, EXACT)                     \
    FACT(stage, TEXT, CLAIM, EARLY, EXACT)                           \
    FACT(stage_opens_on, DATE, CLAIM, EARLY, EXACT)                  \
    FACT(replaced_by, TEXT, CLAIM, EARLY, EXACT)                     \
    /* vehicle */                                                    \
    FACT(vehicle_known, BOOLEAN, CLAIM, EARLY, EXACT)                \
    FACT(vehicle_status, TEXT, CLAIM, EARLY, ANY_CASE)               \
    FACT(vehicle_status_on, DATE, CLAIM, EARLY, EXACT)               \
    FACT(model_line, TEXT, CLAIM, EARLY, EXACT)                      \
    FACT(model_year, NUMBER, CLAIM, EARLY, EXACT)                    \
    FACT(engine, TEXT, CLAIM, EARLY, EXACT)                          \
    FACT(transmission, TEXT, CLAIM, EARLY, EXACT)                    \
    FACT(built_on, DATE, CLAIM, EARLY, EXACT)                        \
    FACT(plant, TEXT, CLAIM, EARLY, EXACT)                           \
    /* dealer */                                                     \
    FACT(dealer_known, BOOLEAN, CLAIM, EARLY, EXACT)                 \
    FACT(dealer_active, BOOLEAN, CLAIM, EARLY, EXACT)                \
    FACT(region, TEXT, CLAIM, EARLY, EXACT)                          \
    FACT(submit_within_days, NUMBER, CLAIM, EARLY, EXACT)            \
    FACT(decide_within_days, NUMBER, CLAIM, EARLY, EXACT)            \
    FACT(silence_approves, BOOLEAN, CLAIM, EARLY, EXACT)             \
    FACT(pay_within_days, NUMBER, CLAIM, EARLY, EXACT)               \
    FACT(resubmit_within_days, NUMBER, CLAIM, EARLY, EXACT)          \
    FACT(audit_within_days, NUMBER, CLAIM, EARLY, EXACT)             \
    /* days */                                                       \
    FACT(days_to_submit, NUMBER, CLAIM, EARLY, EXACT)                \
    FACT(days_open, NUMBER, CLAIM, EARLY, EXACT)                     \
    FACT(received_on, DATE, CLAIM, EARLY, EXACT)                     \
    FACT(today, DATE, CLAIM, EARLY, EXACT)                           \
    FACT(first_received_on, DATE, CLAIM, LATE, EXACT)                \
    FACT(days_to_resubmit, NUMBER, CLAIM, LATE, EXACT)               \
    /* approval */                                                   \
    FACT(approval_known, BOOLEAN, CLAIM, EARLY, EXACT)               \
    FACT(approval_valid, BOOLEAN, CLAIM, EARLY, EXACT)               \
    /* ledger */                                                     \
    FACT(earlier_claim, TEXT, CLAIM, LATE, EXACT)                    \
    FACT(earlier_dealer_same, BOOLEAN, CLAIM, LATE, EXACT)           \
    FACT(earlier_completed_on, DATE, CLAIM, LATE, EXACT)             \
    FACT(earlier_outcome, TEXT, CLAIM, LATE, ANY_CASE)               \
    FACT(earlier_replaced_claim, TEXT, CLAIM, LATE, EXACT)           \
    FACT(earlier_replaced_on, DATE, CLAIM, LATE, EXACT)              \
    FACT(repair_order_vins, NUMBER, CLAIM, LATE, EXACT)              \
    FACT(revision_last, NUMBER, CLAIM, LATE, EXACT)                  \
    FACT(revision_expected, NUMBER, CLAIM, LATE, EXACT)              \
    FACT(revision_differs, TEXT, CLAIM, LATE, EXACT)                 \
    FACT(previous_decision, TEXT, CLAIM, LATE, EXACT)                \
    FACT(earlier_odometer, NUMBER, CLAIM, LATE, EXACT)               \
    FACT(technician_day_hours, NUMBER, CLAIM, LATE, EXACT)           \
    FACT(kits_shipped, NUMBER, CLAIM, EARLY, EXACT)                  \
    FACT(kits_claimed, NUMBER, CLAIM, LATE, EXACT)                   \
    FACT(paid_before, NUMBER, CLAIM, LATE, EXACT)                    \
    /* sums */                                                       \
    FACT(amounts_sum, NUMBER, CLAIM, EARLY, EXACT)                   \
    FACT(hours_claimed, NUMBER, CLAIM, EARLY, EXACT)                 \
    FACT(hours_allowed, NUMBER, CLAIM, EARLY, EXACT)                 \
    FACT(parts_allowed_amount, NUMBER, CLAIM, EARLY, EXACT)          \
    FACT(labor_allowed_amount, NUMBER, CLAIM, EARLY, EXACT)          \
    FACT(kit_expected, TEXT, CLAIM, EARLY, EXACT)                    \
    FACT(kits_listed, NUMBER, CLAIM, EARLY, EXACT)                   \
    /* part items */                                                 \
    FACT(part, TEXT, PART, EARLY, EXACT)                             \
    FACT(other_kit, BOOLEAN, PART, EARLY, EXACT)                     \
    FACT(quantity, NUMBER, PART, EARLY, EXACT)                       \
    FACT(quantity_allowed, NUMBER, PART, EARLY, EXACT)               \
    FACT(price, NUMBER, PART, EARLY, EXACT)                          \
    FACT(price_listed, NUMBER, PART, EARLY, EXACT)                   \
    /* labor items */                                                \
    FACT(operation, TEXT, LABOR, EARLY, EXACT)                       \
    FACT(hours, NUMBER, LABOR, EARLY, EXACT)                         \
    FACT(hours_in_tenths, BOOLEAN, LABOR, EARLY, EXACT)              \
    FACT(operation_hours_allowed, NUMBER, LABOR, EARLY, EXACT)       \
    FACT(operation_known, BOOLEAN, LABOR, EARLY, EXACT)              \
    /* inspection items */                                           \
    FACT(inspection, TEXT, INSPECTION, EARLY, EXACT)                 \
    FACT(result, TEXT, INSPECTION, EARLY, ANY_CASE)                  \
    FACT(reading, NUMBER, INSPECTION, EARLY, EXACT)                  \
    FACT(unit, TEXT, INSPECTION, EARLY, ANY_CASE)                    \
    FACT(as_expected, BOOLEAN, INSPECTION, EARLY, EXACT)             \
    /* of every item */                                              \
    FACT(claimed, BOOLEAN, ITEM, EARLY, EXACT)                       \
    FACT(expected, TEXT, ITEM, EARLY, EXACT)
