#include "ledger/views.h"

#include <strings.h>

#define COLUMNS (const struct view_column[])
#define END        \
    {              \
        NULL, NULL \
    }

#define OF_A_ROW                                                                                         \
    {"row", "number of the recorded row, in the order of recording"},                                    \
        {"batch", "number of the posted file, as in batches_now"},                                       \
        {"line", "line of that file on which the row starts"}, {"dealer", "dealer code"},                \
        {"claim", "the dealer's claim number"}, {"revision", "0, or how often the claim was corrected"}, \
        {"campaign", "campaign number, as stated"},                                                      \
    {                                                                                                    \
        "vin", "VIN in capitals, as stated"                                                              \
    }

#define DECIDED                                                                                               \
    {"outcome", "repaired or inspected"}, {"completed_on", "day the work was completed; null: not stated"},   \
        {"received_on", "day the office received the file"},                                                  \
        {"decision", "what is decided by now: pay, hold, return or refuse"},                                  \
        {"engine_decision", "what the engine decided when the file was posted"},                              \
        {"decided_by", "who decided over the engine's hold; null: nobody"},                                   \
        {"decided_on", "day of the decision that counts"}, {"asked_cents", "total_amount, in cents"},         \
        {"payable_cents", "payable by that decision, in cents; for hold what would be paid"},                 \
    {                                                                                                         \
        "replaces",                                                                                           \
            "row that counted for this claim until then; null: none; 0: this row does not count, a revision " \
            "as high was recorded"                                                                            \
    }

#define PAYMENT                                                                                                \
    {"row", "the recorded row that was paid"}, {"dealer", "dealer code"}, {"claim", "claim number"},           \
        {"revision", "revision of the claim"}, {"campaign", "campaign number"}, {"vin", "VIN"},                \
        {"paid_on", "day of the decision by which it moved"}, {"paid_cents", "in cents; below 0: taken back"}, \
        {"action", "pay, reverse or chargeback"}, {"decided_by", "who decided; null: the engine"},             \
    {                                                                                                          \
        "reason", "reason given; null: the engine"                                                             \
    }

#define OF_A_VEHICLE                                                                                        \
    {"model_line", "model line"}, {"model_year", "model year; null: not known"}, {"engine", "engine code"}, \
    {                                                                                                       \
        "transmission", "transmission"                                                                      \
    }

const struct view VIEWS[] = {
    {"claims_now", "One row a claim: its highest revision, as it is decided by now.", false,
     COLUMNS{OF_A_ROW, DECIDED, END}},
    {"claims_standing", "One row a claim that stands: its highest revision that is decided pay or hold.", false,
     COLUMNS{OF_A_ROW, DECIDED, END}},
    {"claims_waiting", "Claims that wait for a person: held by the engine, and not decided since.", false,
     COLUMNS{OF_A_ROW,
             {"region", "region of the dealer on the day of completion (ISO 3166-2); null: dealer unknown"},
             {"completed_on", "day the work was completed; null: not stated"},
             {"received_on", "day the office received the file"},
             {"asked_cents", "total_amount, in cents"},
             {"payable_cents", "what would be paid, in cents"},
             END}},
    {"rows_decided",
     "Every recorded row, as it is decided by now; also rows that a later revision took the place of.", false,
     COLUMNS{OF_A_ROW, DECIDED, END}},
    {"rows_unreadable", "Rows that could not be read. They are no claims, and may be sent again.", false,
     COLUMNS{{"batch", "number of the posted file"},
             {"line", "line of that file"},
             {"dealer", "dealer code; empty: could not be read"},
             {"claim", "claim number; empty: could not be read"},
             {"message", "what is wrong, with line and column"},
             END}},
    {"batches_now", "One row a posted file.", false,
     COLUMNS{{"batch", "number of the file, in the order of posting"},
             {"file_name", "name of the file"},
             {"received_on", "day the office received it"},
             {"decided_on", "day it was decided on"},
             {"posted_at", "moment of posting by the machine's clock, UTC"},
             {"first_row", "first of its rows"},
             {"last_row", "last of its rows; below first_row: it has none"},
             {"claims", "rows that are claims"},
             {"unreadable", "rows that could not be read"},
             {"repeated", "rows that say again what was recorded"},
             {"rules", "number of the rules that decided it"},
             {"load", "number of the last load of office data that it was decided with"},
             END}},
    {"findings_made",
     "One row a finding on any recorded row, also on those that a later revision took the place of.", false,
     COLUMNS{{"row", "the recorded row"},
             {"number", "from 1 within the row"},
             {"effect", "refuse, return, hold, cut or note"},
             {"finding", "name of the finding"},
             {"item", "part, operation or inspection item; empty: the claim"},
             {"message", "the words for the dealer"},
             {"rule", "the rule that made it, file:row name"},
             END}},
    {"findings_now", "One row a finding on the claims of claims_now.", false,
     COLUMNS{OF_A_ROW,
             {"received_on", "day the office received the file"},
             {"decision", "what is decided on the claim by now"},
             {"number", "from 1 within the row"},
             {"effect", "refuse, return, hold, cut or note"},
             {"finding", "name of the finding"},
             {"item", "part, operation or inspection item; empty: the claim"},
             {"message", "the words for the dealer"},
             {"rule", "the rule that made it, file:row name"},
             END}},
    {"payments", "One row for each time that money moved: the three views that follow, together.", false,
     COLUMNS{PAYMENT, END}},
    {"payments_by_engine", "Money that the engine's pay moved.", false, COLUMNS{PAYMENT, END}},
    {"payments_by_people",
     "Money that a person's decision moved: by pay, or back by a reversal or a chargeback.", false,
     COLUMNS{PAYMENT, END}},
    {"payments_beyond_claims",
     "Money that was taken back after an audit beyond single claims, from a dealer: row, claim and the like "
     "are null.",
     false, COLUMNS{PAYMENT, END}},
    {"samples_now", "One row a sample that was drawn for an audit.", false,
     COLUMNS{{"sample", "number of the sample"},
             {"name", "its name"},
             {"method", "simple, stratified, money, or picked (by hand)"},
             {"strata_by", "dealer, campaign or stratum (by money); empty: not stratified"},
             {"because", "why these claims were selected"},
             {"drawn_on", "day of the draw, to which the look-back is counted"},
             {"generator", "what the draw was made with; empty: picked by hand"},
             {"seed", "what it began with"},
             {"frame_count", "claims that could be drawn"},
             {"frame_cents", "paid on them, in cents"},
             {"frame_digest", "BLAKE2b-256 of their keys in order"},
             {"older_count", "claims left out: paid longer ago than the region's look-back"},
             {"item_count", "claims drawn"},
             {"judged_count", "of them judged"},
             {"wrong_count", "of them paid not as is right"},
             {"wrong_cents", "paid too much on them, in cents, less what was paid too little"},
             {"charged_back_cents", "taken back after it, in cents"},
             END}},
    {"judgements_now", "One row a sampled claim, with the judgement that counts.", false,
     COLUMNS{{"sample", "number of the sample, as in samples_now"},
             {"item", "number on the worksheet"},
             {"row", "the recorded row that was paid"},
             {"dealer", "dealer code"},
             {"claim", "claim number"},
             {"revision", "revision of the claim"},
             {"campaign", "campaign number"},
             {"vin", "VIN"},
             {"stratum", "number of its stratum"},
             {"paid_cents", "paid on the claim when the sample was drawn, in cents"},
             {"judgement", "upheld, error or missing (papers); null: not judged yet"},
             {"right_cents", "what would have been right to pay, in cents"},
             {"wrong_cents", "paid too much, in cents; below 0: too little"},
             {"note", "the auditor's note"},
             {"judged_by", "who judged"},
             {"judged_on", "day of the judgement that counts"},
             {"judgement_count", "how often it was judged; more than 1: corrected"},
             END}},
    {"chargebacks_now",
     "One row for each claim on which money was taken back after an audit, and one for each amount beyond "
     "single claims.",
     false,
     COLUMNS{{"chargeback", "number of the chargeback"},
             {"sample_name", "name of the sample"},
             {"dealer", "dealer code"},
             {"method", "claims, or extrapolated"},
             {"claim", "claim number; null: beyond single claims"},
             {"revision", "revision of the claim"},
             {"campaign", "campaign number"},
             {"vin", "VIN"},
             {"cents", "taken back, in cents; below 0: given back"},
             {"basis", "how the amount came about"},
             {"decided_on", "day of the decision"},
             {"decided_by", "who decided"},
             {"reason", "reason given"},
             END}},
    {"rows_covered", "Claims whose money an extrapolated chargeback takes back already.", false,
     COLUMNS{{"row", "the recorded row that was paid"}, {"sample", "number of the sample"}, END}},
    {"followups_open", "Follow-up work on standing claims that no later standing claim supplied the part for.",
     false,
     COLUMNS{{"row", "the recorded row that asks for it"},
             {"number", "from 1 within the row"},
             {"dealer", "dealer code"},
             {"claim", "claim number"},
             {"revision", "revision of the claim"},
             {"campaign", "campaign number"},
             {"vin", "VIN"},
             {"followup", "what is to be done"},
             {"part", "part that it takes"},
             {"completed_on", "day the work of the claim was completed; null: not stated"},
             {"received_on", "day the office received the claim"},
             {"due_on", "day by which it is to be done; null: none"},
             END}},
    {"vehicles_now", "One row a registered vehicle, as loaded last.", false,
     COLUMNS{{"vin", "VIN"},
             OF_A_VEHICLE,
             {"built_on", "day it was built; null: not known"},
             {"plant", "plant"},
             {"options", "words separated by blanks"},
             {"status", "in_service, scrapped, exported, stolen, unreachable or unsold; empty: none given"},
             {"status_on", "day from which the status holds; null: not known"},
             {"load", "number of the load that brought this version"},
             END}},
    {"dealers_now", "One row for each version of a dealer, as loaded last.", false,
     COLUMNS{{"dealer", "dealer code"},
             {"name", "name"},
             {"region", "region (ISO 3166-2)"},
             {"labor_rate", "money an hour, as people write it"},
             {"parts_markup", "percent, as people write it"},
             {"active_from", "first day; null: open"},
             {"active_to", "last day; null: open"},
             {"valid_from", "day from which this version counts; null: always"},
             {"load", "number of the load that brought it"},
             END}},
    {"shipments_now", "One row a shipment, as loaded last.", false,
     COLUMNS{{"shipment", "shipment number"},
             {"dealer", "dealer code"},
             {"part", "part number, as written"},
             {"quantity", "pieces, as people write it; below 0: a return"},
             {"shipped_on", "day; null: always there"},
             {"load", "number of the load that brought it"},
             END}},
    {"approvals_now", "One row an approval of the office, as loaded last.", false,
     COLUMNS{{"approval", "number of the approval"},
             {"dealer", "dealer code; null: any"},
             {"campaign", "campaign number; null: any"},
             {"vin", "VIN; null: any"},
             {"covers", "name of the finding that it covers"},
             {"limit", "money, as people write it; null: none"},
             {"valid_to", "last day; null: open"},
             {"reason", "reason"},
             {"load", "number of the load that brought it"},
             END}},
    {"notices_now", "What the office says of a campaign as of the end of a quarter, as loaded last.", false,
     COLUMNS{{"campaign", "campaign number"},
             {"quarter", "the quarter, as 2026-Q1"},
             {"involved", "vehicles involved, which the explanation is about; null: not said"},
             {"explanation", "why the number involved has changed"},
             {"notices_sent", "notices sent so far; null: not said"},
             {"estimated", "vehicles estimated to fail (emissions); null: not said"},
             {"awaiting_repair", "vehicles inspected that wait for repair; null: not said"},
             {"unreachable_other", "vehicles unreachable for reasons that the register does not know; null: not said"},
             {"other_reason", "these reasons"},
             {"removed", "vehicles taken out of the campaign and not remedied; null: not said"},
             {"disqualified", "vehicles disqualified (emissions); null: not said"},
             {"submitted_on", "day the office filed the report; null: not yet"},
             {"load", "number of the load that brought it"},
             END}},
    {"outliers_recorded", "Dealers that stood out in a comparison that was recorded, one row a flag.", false,
     COLUMNS{{"run", "number of the comparison"},
             {"number", "of the flag, from 1 within the comparison"},
             {"recorded_on", "day of the comparison"},
             {"recorded_by", "who compared"},
             {"since", "claims received from this day; null: open"},
             {"until", "claims received up to this day; null: open"},
             {"campaign", "campaign of the claims; empty: all"},
             {"dealer", "dealer code"},
             {"measure", "name of the measure"},
             {"title", "what it counts"},
             {"side", "above the upper limit, or below the lower"},
             {"counted", "claims of the dealer that count"},
             {"of", "of so many of its claims"},
             {"all_counted", "claims of all dealers that count"},
             {"all_of", "of so many claims of all"},
             {"rate_millionths", "counted of so many, in millionths"},
             {"limit_millionths", "the limit that it passes, in millionths"},
             {"phi_millionths", "how much dealers spread, in millionths; 1000000: as chance makes them"},
             {"basis", "why the dealer stood out, in the words in which it is told"},
             END}},
    {"campaigns_now", "One row a campaign of the rules folder.", true,
     COLUMNS{{"campaign", "campaign number"},
             {"title", "title"},
             {"kind", "kind"},
             {"opens_on", "first day; null: open"},
             {"closes_on", "last day; null: open"},
             {"replaces", "campaign that it replaces; null: none"},
             END}},
    {"population",
     "How many vehicles are eligible under each campaign, by what they have in common. Worked out from the "
     "register as "
     "it is now and the campaign's eligibility table.",
     true,
     COLUMNS{{"campaign", "campaign number"},
             {"stage", "stage of the campaign; null: none"},
             {"stage_opens_on", "day the stage opens; null: not known"},
             OF_A_VEHICLE,
             {"plant", "plant"},
             {"status", "status of the vehicle; empty: none given"},
             {"vehicles", "how many vehicles"},
             END}},
    {"deadlines", "One row for each region that a dealer has, by rules/deadlines.csv; days, null: no limit.",
     true,
     COLUMNS{{"region", "region (ISO 3166-2)"},
             {"submit_within_days", "from completion to submission"},
             {"decide_within_days", "from receipt to decision"},
             {"silence_approves", "1: a claim that is not decided in time counts as approved; 0: it does not"},
             {"pay_within_days", "from approval to payment"},
             {"resubmit_within_days", "from the first receipt to a correction"},
             {"audit_within_days", "from payment to the end of audits"},
             END}},
    {"dealer_parts",
     "One row for each part that was shipped to a dealer or claimed by him on standing claims. Quantities are "
     "millionths of a piece.",
     true,
     COLUMNS{{"dealer", "dealer code"},
             {"part", "part number, as the campaign writes it"},
             {"kit", "1: a campaign's kit; 0: another part"},
             {"shipped_millionths", "shipped, less what came back"},
             {"claimed_millionths", "claimed on standing claims"},
             {"last_shipped_on", "day of the last shipment; null: none"},
             {"last_claimed_on", "last day of completion of a standing claim with it; null: none"},
             END}},
    {NULL, NULL, false, NULL},
};

const char *const VIEW_INNER_NAMES[] = {"later", NULL};

const struct view_column VIEW_FUNCTIONS[] = {
    {"share(PART, WHOLE)",
     "PART of WHOLE in millionths of 1, rounded; null where WHOLE is 0: for percent columns"},
    {"stage_of(CAMPAIGN, VIN)", "the stage of a registered vehicle under a campaign, empty where the campaign "
                                "has no stages for it; null where the "
                                "vehicle is not eligible"},
    {NULL, NULL},
};

const struct view *view_named(const char *name)
{
    for (const struct view *view = VIEWS; view->name != NULL; view++)
        if (strcasecmp(view->name, name) == 0)
            return view;
    return NULL;
}
