/* sentences.h - every sentence that a dealer reads, in English, with the key under which a message file has it in
 * another language (cli/language.h). `{name}` is a place.
 *
 * Beyond these, dealers read the messages of the office's check tables and what campaigns say of themselves; those
 * have keys of their own. The last list is of reasons for which a row cannot be read: they are made where rows are
 * read (engine/intake), and found again here by their words; a test holds the two together.
 */
#ifndef WM_CLI_SENTENCES_H
#define WM_CLI_SENTENCES_H

#define SENTENCE_LIST(SENTENCE)                                                                                       \
    /* a claim */                                                                                                     \
    SENTENCE(claim_title, "Claim {claim} on line {line}: vehicle {vin}, campaign {campaign}")                         \
    SENTENCE(claim_title_revision, "Claim {claim}, revision {revision}, on line {line}: vehicle {vin}, campaign "     \
                                   "{campaign}")                                                                      \
    SENTENCE(row_title, "The row on line {line}")                                                                     \
    SENTENCE(result_pay, "This claim will be paid in full.")                                                          \
    SENTENCE(result_pay_less, "This claim will be paid, and less than it asks for.")                                  \
    SENTENCE(result_hold, "This claim can be sent; a person at the office will look at it before it is paid.")        \
    SENTENCE(result_return, "This claim must be corrected; the office would send it back.")                           \
    SENTENCE(result_refuse, "This claim would not be paid.")                                                          \
    SENTENCE(result_open, "Nothing is wrong with what can be checked here.")                                          \
    SENTENCE(money_pay, "It asks for {asked}; {payable} will be paid.")                                               \
    SENTENCE(money_pay_again, "It asks for {asked}; {payable} is payable, {paid_before} of it was paid before, so "   \
                              "{due} is due.")                                                                        \
    SENTENCE(money_hold, "It asks for {asked}; {payable} would be paid if the office agrees.")                        \
    SENTENCE(money_nothing, "It asks for {asked}; as it stands nothing would be paid.")                               \
    SENTENCE(money_open, "It asks for {asked}. What will be paid depends on the dealer's rate and markup, which "     \
                         "this pack does not have.")                                                                  \
    SENTENCE(wrong_heading, "What is wrong:")                                                                         \
    SENTENCE(effect_refuse, "Not paid:")                                                                              \
    SENTENCE(effect_return, "To be corrected:")                                                                       \
    SENTENCE(effect_hold, "For the office to look at:")                                                               \
    SENTENCE(effect_cut, "Paid less:")                                                                                \
    SENTENCE(effect_note, "To know:")                                                                                 \
    SENTENCE(approved, "Approved by the office under approval {approval}: {message}")                                 \
    SENTENCE(finding_name, "(The office calls this {finding}.)")                                                      \
    SENTENCE(likely_replaced, "The likely VIN is {nearest}: character {position} is {right}, not {wrong}.")           \
    SENTENCE(likely_swapped, "The likely VIN is {nearest}: characters {position} and {next} are the other way round.")\
    SENTENCE(expected_heading, "What campaign {campaign} expects on this vehicle:")                                   \
    SENTENCE(expected_ambiguous, "The rules of campaign {campaign} contradict each other for this vehicle; ask the "  \
                                 "office.")                                                                           \
    SENTENCE(do_heading, "What to do now:")                                                                           \
    SENTENCE(do_pay, "Send the claim.")                                                                               \
    SENTENCE(do_pay_less, "Send the claim as it is, or correct what is named above first.")                           \
    SENTENCE(do_hold, "Send the claim, and keep the repair order and the parts at hand until the office has "         \
                      "decided. If something named above is a slip, correct it first.")                               \
    SENTENCE(do_return, "Correct what is named above, check again, then send.")                                       \
    SENTENCE(do_refuse, "Do not send it. If you think that the office's data are wrong, write to the office.")        \
    SENTENCE(do_open, "Check with a pack that was made for this dealer, or send the claim.")                          \
    SENTENCE(office_heading, "What only the office can say:")                                                         \
    SENTENCE(office_others, "Another dealer has a claim on this vehicle ({campaigns}). Its day and its odometer "     \
                            "reading are not in this pack.")                                                          \
    SENTENCE(office_may_say, "So the office may also say: {message}")                                                 \
    SENTENCE(office_secret, "(known to the office)")                                                                  \
    SENTENCE(office_approval, "Approval {approval} is not in this pack of {made_on}. If the office gave it to you "   \
                              "since then, it counts.")                                                               \
    SENTENCE(office_dealer, "This pack has nothing of dealer {dealer}: rates, approvals, shipments, and what was "    \
                            "claimed before are not checked.")                                                        \
    SENTENCE(office_campaign, "This pack was made for campaigns {campaigns} only; campaign {campaign} is not checked.")\
    SENTENCE(summary, "Claims checked: {claims}, with the office's pack of {made_on}, good until {valid_to}. Paid in " \
                      "full: {full}. Paid less: {less}. For the office to look at: {hold}. To be corrected: "         \
                      "{return}. Not paid: {refuse}. Not checked in full: {open}.")                                   \
    SENTENCE(tonight, "What the office received since then, and what other dealers may send before it decides, "      \
                      "only the office knows: a vehicle may be done by somebody else, and kits, approvals and "       \
                      "earlier claims may have changed.")                                                             \
    SENTENCE(completed_repaired, "repaired")                                                                          \
    SENTENCE(completed_inspected, "inspected")                                                                        \
    /* a vehicle's sheet */                                                                                           \
    SENTENCE(sheet_vehicle, "Vehicle {vin}")                                                                          \
    SENTENCE(sheet_model_line, "model line")                                                                          \
    SENTENCE(sheet_model_year, "model year")                                                                          \
    SENTENCE(sheet_engine, "engine")                                                                                  \
    SENTENCE(sheet_transmission, "transmission")                                                                      \
    SENTENCE(sheet_options, "options")                                                                                \
    SENTENCE(sheet_status, "status")                                                                                  \
    SENTENCE(sheet_campaign, "Campaign {campaign}: {title}")                                                          \
    SENTENCE(sheet_kind, "kind")                                                                                      \
    SENTENCE(sheet_hazard, "hazard")                                                                                  \
    SENTENCE(sheet_open, "open")                                                                                      \
    SENTENCE(sheet_open_from_to, "from {opens_on} to {closes_on}")                                                    \
    SENTENCE(sheet_open_from, "from {opens_on}")                                                                      \
    SENTENCE(sheet_open_to, "to {closes_on}")                                                                         \
    SENTENCE(sheet_not_open_yet, "(not open yet)")                                                                    \
    SENTENCE(sheet_closed, "(closed)")                                                                                \
    SENTENCE(sheet_stage, "stage")                                                                                    \
    SENTENCE(sheet_stage_no_day, "{stage}, which has no opening date yet")                                            \
    SENTENCE(sheet_stage_since, "{stage}, open since {opens_on}")                                                     \
    SENTENCE(sheet_stage_opens, "{stage}, opens on {opens_on}")                                                       \
    SENTENCE(sheet_done, "ALREADY DONE")                                                                              \
    SENTENCE(sheet_done_on, "{outcome} on {completed_on}; that claim stands")                                         \
    SENTENCE(sheet_done_no_day, "{outcome}; that claim stands")                                                       \
    SENTENCE(sheet_waits_on, "{outcome} on {completed_on}; the claim waits for the office")                           \
    SENTENCE(sheet_waits_no_day, "{outcome}; the claim waits for the office")                                         \
    SENTENCE(sheet_done_by_other, "{outcome} by another dealer; the day is known to the office")                      \
    SENTENCE(sheet_done_by_somebody, "{outcome}; by whom and when is known to the office")                            \
    SENTENCE(sheet_replaced_by, "replaced by")                                                                        \
    SENTENCE(sheet_parts, "parts")                                                                                    \
    SENTENCE(sheet_operations, "operations")                                                                          \
    SENTENCE(sheet_inspections, "inspections")                                                                        \
    SENTENCE(need_kit, "kit")                                                                                         \
    SENTENCE(need_required, "required")                                                                               \
    SENTENCE(need_allowed, "allowed")                                                                                 \
    SENTENCE(sheet_part, "{part} x {quantity}")                                                                       \
    SENTENCE(sheet_part_price, "{part} x {quantity} at {price} each, net")                                            \
    SENTENCE(sheet_operation, "{operation}, {hours} h")                                                               \
    SENTENCE(sheet_inspection, "{inspection}")                                                                        \
    SENTENCE(sheet_inspection_expects, "{inspection}: expected {expects}")                                            \
    SENTENCE(sheet_and, "and")                                                                                        \
    SENTENCE(sheet_if_part, "if {inspection} is {result}: {part}, {quantity}")                                        \
    SENTENCE(sheet_if_operation, "if {inspection} is {result}: {operation}, {hours} h")                               \
    SENTENCE(sheet_not_this_campaign, "Campaign {campaign} needs no work on this vehicle.")                           \
    SENTENCE(sheet_no_campaign, "No campaign needs work on this vehicle.")                                            \
    SENTENCE(sheet_contradiction, "Campaign {campaign}: its rules contradict each other for this vehicle; ask the "   \
                                  "office")                                                                           \
    SENTENCE(sheet_caution, "The manufacturer's service information and local rules for licensed work come first. "   \
                            "This sheet tells what the campaign pays for, not how to do the work safely.")            \
    SENTENCE(sheet_claim, "Claim to fill in (CSV):")                                                                  \
    SENTENCE(sheet_no_vehicle, "vehicle {vin} is not in the register; read the VIN once more")                        \
    SENTENCE(sheet_is_it, "vehicle {vin} is not in the register; is it {nearest}?")                                   \
    /* one claim, asked for field by field */                                                                         \
    SENTENCE(one_begin, "One claim, field by field. An empty answer takes what stands in brackets; a single - "       \
                        "leaves a field empty; Ctrl-D stops without writing anything.")                               \
    SENTENCE(one_column, "(column {column})")                                                                         \
    SENTENCE(one_required, "This must be filled in.")                                                                 \
    SENTENCE(one_again, "That cannot be right: {fault}.")                                                             \
    SENTENCE(one_careful, "Look at this again: {message}")                                                            \
    SENTENCE(one_keep, "Answer y to keep it, or n to answer again.")                                                  \
    SENTENCE(one_yes, "y")                                                                                            \
    SENTENCE(one_no, "n")                                                                                             \
    SENTENCE(one_stopped, "Stopped; nothing was written.")                                                            \
    SENTENCE(one_written, "The claim is in {file}, ready to be sent.")                                                \
    SENTENCE(one_written_anyway, "The claim is in {file}. Do what is said above before you send it.")                 \
    SENTENCE(one_warned, "This is about the claim, not about whether the vehicle is safe: the manufacturer's "        \
                         "service information and local rules for licensed work come first.")                         \
    SENTENCE(field_claim, "Claim number")                                                                             \
    SENTENCE(field_revision, "Revision, 0 for a new claim")                                                           \
    SENTENCE(field_dealer, "Dealer code")                                                                             \
    SENTENCE(field_repair_order, "Repair order")                                                                      \
    SENTENCE(field_campaign, "Campaign")                                                                              \
    SENTENCE(field_vin, "VIN, 17 characters")                                                                         \
    SENTENCE(field_outcome, "Outcome, repaired or inspected")                                                         \
    SENTENCE(field_model_year, "Model year")                                                                          \
    SENTENCE(field_engine, "Engine")                                                                                  \
    SENTENCE(field_odometer, "Odometer reading")                                                                      \
    SENTENCE(field_odometer_unit, "Unit of the odometer, mi or km")                                                   \
    SENTENCE(field_opened_on, "Repair order opened on, as 2026-03-01")                                                \
    SENTENCE(field_completed_on, "Work completed on, as 2026-03-01")                                                  \
    SENTENCE(field_submitted_on, "Claim sent on, as 2026-03-01")                                                      \
    SENTENCE(field_technician, "Technician's number")                                                                 \
    SENTENCE(field_approval, "Approval by the office, if there is one")                                               \
    SENTENCE(field_parts, "Parts, as NUMBER=QUANTITY@PRICE; ...")                                                     \
    SENTENCE(field_labor, "Labor, as OPERATION=HOURS; ...")                                                           \
    SENTENCE(field_inspections, "Inspections, as ITEM=RESULT; ...")                                                   \
    SENTENCE(field_parts_amount, "Amount asked for parts")                                                            \
    SENTENCE(field_labor_amount, "Amount asked for labor")                                                            \
    SENTENCE(field_other_amount, "Other amount asked for")                                                            \
    SENTENCE(field_total_amount, "Total amount asked for")                                                            \
    /* a corrected copy */                                                                                            \
    SENTENCE(fix_change, "line {line}, {column}: {before} becomes {after}: {why}")                                    \
    SENTENCE(fix_blanks, "line {line}: blanks around cells are left out")                                             \
    SENTENCE(fix_case, "case")                                                                                        \
    SENTENCE(fix_spelling, "spelled as the campaign does")                                                            \
    SENTENCE(fix_unit, "unit spelled as the rules do")                                                                \
    SENTENCE(fix_number, "decimal point")                                                                             \
    SENTENCE(fix_vin, "the one registered VIN that differs in one place; look at the plate before you send it")       \
    SENTENCE(fix_summary, "Rows corrected: {rows} of {all}. Changes: {changes}. The copy is in {file}.")              \
    SENTENCE(fix_none, "Nothing to correct that is certain. The copy is in {file}.")

/* Reasons for which a row cannot be read, as engine/intake gives them. */
#define FAULT_LIST(SENTENCE)                                                                                          \
    SENTENCE(fault_cell, "line {line}, column {column} ({name}): {fault}")                                            \
    SENTENCE(fault_row, "line {line}, column {column}: {fault}")                                                      \
    SENTENCE(fault_item_part, "item {item}, {piece}: {fault}")                                                        \
    SENTENCE(fault_item, "item {item}, {piece}, {fault}")                                                             \
    SENTENCE(fault_empty, "is empty; every claim must state it")                                                      \
    SENTENCE(fault_negative, "{cell} is negative, which this cannot be; write it without the minus sign")             \
    SENTENCE(fault_not_whole, "{cell} is not a whole number; write digits only, such as 12")                          \
    SENTENCE(fault_not_number, "{cell} is not a number; write digits and a point only, such as 84.50")                \
    SENTENCE(fault_point, "{cell} is not a whole number; write it without a point, such as 12")                       \
    SENTENCE(fault_cents, "{cell} has more than two decimals; round it to cents")                                     \
    SENTENCE(fault_large, "{cell} is too large; check it")                                                            \
    SENTENCE(fault_no_such_day, "{cell} is not a date; there is no such day, correct it")                             \
    SENTENCE(fault_date_either, "{cell} is not a date; write it as {month_first} if the month comes first, as "       \
                                "{day_first} if the day does")                                                        \
    SENTENCE(fault_date_meant, "{cell} is not a date; write it as {date}")                                            \
    SENTENCE(fault_date, "{cell} is not a date; write year, month and day, as in 2026-03-01")                         \
    SENTENCE(fault_outcome, "{cell} is not an outcome; write repaired or inspected")                                  \
    SENTENCE(fault_odometer_unit, "{cell} is not an odometer unit; write mi or km")                                   \
    SENTENCE(fault_too_few, "the row ends after {has} cells and the header names {wanted} columns; add what is "      \
                            "missing")                                                                                \
    SENTENCE(fault_only_one, "the row ends after {has} cell and the header names {wanted} columns; add what is "      \
                             "missing")                                                                               \
    SENTENCE(fault_too_many, "the row has {has} cells and the header names {wanted} columns; put a cell that holds "  \
                             "a comma in quotes")                                                                     \
    SENTENCE(fault_quote, "holds a quote where none may stand; put the whole cell in quotes and double those inside " \
                          "it")                                                                                       \
    SENTENCE(fault_open_quote, "opens a quote that is never closed; close it")                                        \
    SENTENCE(fault_nul, "holds a NUL byte; remove it")                                                                \
    SENTENCE(fault_utf8, "is not UTF-8 text; save the file as CSV UTF-8")                                             \
    SENTENCE(fault_long_cell, "is longer than 64 KiB; shorten it")                                                    \
    SENTENCE(fault_cells, "is one cell too many; a row has at most 512")                                              \
    SENTENCE(fault_no_quantity, "has no quantity where one must stand; write a number there")                         \
    SENTENCE(fault_no_price, "has no unit price where one must stand; write a number there")                          \
    SENTENCE(fault_no_hours_number, "has no number of hours where one must stand; write a number there")              \
    SENTENCE(fault_no_part, "has no part number; write NUMBER=QUANTITY@UNITPRICE")                                    \
    SENTENCE(fault_no_operation, "has no operation; write OPERATION=HOURS")                                           \
    SENTENCE(fault_no_hours, "has no hours; write OPERATION=HOURS")                                                   \
    SENTENCE(fault_no_inspection, "has no inspection item; write ITEM=RESULT")                                        \
    SENTENCE(fault_no_result, "has no result; write ITEM=RESULT")                                                     \
    SENTENCE(fault_quantities, "brings the quantities of this part to too large a number; check them")                \
    SENTENCE(fault_hours_sum, "brings the hours of this operation to too large a number; check them")                 \
    SENTENCE(fault_item_negative, "{part} is negative, which a {what} cannot be; write it without the minus sign")    \
    SENTENCE(fault_item_decimals, "{part} has more than six decimals; round the {what}")                              \
    SENTENCE(fault_item_large, "{part} is too large; check the {what}")                                               \
    SENTENCE(fault_item_number, "{part} is not a number; write the {what} in digits, such as 1 or 0.5")               \
    SENTENCE(fault_two_hits, "rows {first} and {second} both hit where one may; the office must correct its rules")   \
    SENTENCE(fault_outputs_differ, "rows {first} and {second} hit with different outputs; the office must correct "   \
                                   "its rules")                                                                       \
    SENTENCE(fault_pattern, "the pattern in row {first} took too long on this claim; the office must correct its "    \
                            "rules")                                                                                  \
    SENTENCE(fault_table, "the table gives no usable result for this claim; the office must correct its rules")       \
    SENTENCE(fault_what_quantity, "quantity")                                                                         \
    SENTENCE(fault_what_price, "unit price")                                                                          \
    SENTENCE(fault_what_hours, "number of hours")

#define SENTENCE_ID(key, english) SENTENCE_##key,
enum sentence { SENTENCE_LIST(SENTENCE_ID) FAULT_LIST(SENTENCE_ID) SENTENCES };
#undef SENTENCE_ID
enum { FIRST_FAULT = SENTENCE_fault_cell, FIRST_FAULT_WORD = SENTENCE_fault_what_quantity };

#endif
