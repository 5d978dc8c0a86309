/* Campaigns as offices write them when they are in a hurry: without days, kits, prices or stages, closed, not
 * open yet, in contradiction with themselves. What the worksheet, a dealer's page and a claim asked for field
 * by field say then, from an office file and from a pack. */
#include "pack_kit.h"

#include <pty.h>

static char *folder, *office, *rules, *pack, *key;

static const char TODAY[] = "2026-04-20";
static const char VIN[] = "EZ7BAMCK6KE421489", WITHOUT_YEAR[] = "EZ7BDMCK2KE263109",
                  OTHER_LINE[] = "EZ7BAMCK9KE429408", SCRAPPED[] = "EZ7BAMCK9KE207676";

static void rules_file(const char *path, const char *content)
{
    char *whole = words("%s/%s", rules, path), *end = strrchr(whole, '/');

    shell("mkdir -p '%.*s'", (int)(end - whole), whole);
    write_words(whole, content);
}

#define CAMPAIGN(id, more) \
    rules_file("campaigns/" id "/campaign.csv", "key,value\ncampaign," id "\ntitle,T of " id "\n" more)

static void write_rules(void)
{
    static const char BRINDLE[] = "F,model_line,>eligible,>stage\nall,Brindle,true,";

    shell("mkdir '%s' && cp -r rules/facts.csv rules/units.csv rules/deadlines.csv rules/checks rules/messages "
          "'%s'",
          rules, rules);
    shell("rm '%s/messages/de.csv'", rules); /* which translates the demo's campaigns */
    CAMPAIGN("BARE", "");
    rules_file("campaigns/BARE/eligibility.csv", words("%s\n", BRINDLE));
    CAMPAIGN("BOTH", "opens_on,2026-01-01\n");
    rules_file("campaigns/BOTH/eligibility.csv", words("%s\n", BRINDLE));
    rules_file("campaigns/BOTH/kits.csv",
               "U,model_line,engine,>kit,>quantity\na,Brindle,-,K-1,1\nb,-,\"R16, D22\",K-2,1\n");
    CAMPAIGN("OVER", "opens_on,2025-01-01\ncloses_on,2025-06-30\n");
    rules_file("campaigns/OVER/eligibility.csv", words("%slater\n", BRINDLE));
    rules_file("campaigns/OVER/stages.csv", "stage,opens_on\nlater,\n");
    rules_file("campaigns/OVER/parts.csv", "C,inspection:GAP,>part,>quantity,>need\nseal,-,S-1,2,required\n"
                                           "shim,> 3 mm,S-2,0.5,allowed\n");
    rules_file("campaigns/OVER/labor.csv", "C,inspection:GAP,>operation,>hours,>need\nlook,-,L-1,0.25,allowed\n"
                                           "shim,wide,L-2,1,required\n");
    rules_file("campaigns/OVER/inspections.csv",
               "C,engine,>inspection,>expects,>need\na,-,GAP,[1..3] mm,required\nb,-,GAP,<= 2 mm,required\n"
               "c,-,LOOK,,allowed\n");
    CAMPAIGN("SOON", "opens_on,2027-01-01\ncloses_on,2027-12-31\nreplaces,OVER\n");
    rules_file("campaigns/SOON/eligibility.csv", words("%sfirst\n", BRINDLE));
    rules_file("campaigns/SOON/stages.csv", "stage,opens_on\nfirst,2027-02-01\n");
    CAMPAIGN("ENDS", "closes_on,2026-12-31\n");
    rules_file("campaigns/ENDS/eligibility.csv", words("%snow\n", BRINDLE));
    rules_file("campaigns/ENDS/stages.csv", "stage,opens_on\nnow,2026-04-20\n");
}

static void says(struct result result, int code, const char *part)
{
    if (result.code != code || (strstr(result.err, part) == NULL && strstr(result.out, part) == NULL))
        fail_msg("exit code %d, not %d, or not \"%s\": %s%s", result.code, code, part, result.out, result.err);
    result_free(&result);
}

static void load(const char *what, const char *csv)
{
    const char *file = words("%s/%s.csv", folder, what);

    write_words(file, csv);
    says(RUN("load", what, file, "--office", office, "--quiet"), 0, "");
}

static int begin(void **state)
{
    (void)state;
    folder = pack_folder();
    office = words("%s/office.db", folder);
    rules = words("%s/rules", folder);
    write_rules();
    load("vehicles",
         words("vin,model_line,model_year,engine,transmission,built_on,plant,options,status,status_on\n"
               "%s,Brindle,2019,R16,manual,2019-02-01,P,,in_service,\n"
               "%s,Brindle,,D22,,,,eps towing,in_service,\n"
               "%s,Tarrow,2019,D22,,,,,in_service,\n"
               "%s,Tarrow,2019,D22,,,,,scrapped,\n",
               VIN, WITHOUT_YEAR, OTHER_LINE, SCRAPPED));
    load("dealers", "dealer,name,region,labor_rate,parts_markup,active_from,active_to,valid_from\n"
                    "D1,One,US-NE,100,40,,,\nD2,Two,US-NE,100,40,,,2026-06-01\n");
    load("approvals", words("approval,dealer,campaign,vin,covers,limit,valid_to,reason\n"
                            "A1,D1,OVER,%s,campaign-closed,,2026-12-31,goodwill\n",
                            VIN));
    make_keys(folder, "key");
    key = words("%s/key.pub", folder);
    pack = words("%s/D1.pack", folder);
    says(RUN("pack", "--out", pack, "--sign", words("%s/key", folder), "--office", office, "--rules", rules,
             "--today", TODAY, "--dealer", "D1", "--work", TEST_WORK, "--quiet"),
         0, "");
    return 0;
}

static int end(void **state)
{
    (void)state;
    shell("rm -rf '%s'", folder);
    return 0;
}

/* --- The worksheet
 * -------------------------------------------------------------------------------------------- */

#define SHEET(...) RUN("worksheet", __VA_ARGS__, "--office", office, "--rules", rules, "--today", TODAY)
#define PACKED(...) RUN("worksheet", __VA_ARGS__, "--pack", pack, "--trust", key, "--today", TODAY)

/* The paragraph of a campaign. */
static char *paragraph(const char *page, const char *campaign)
{
    const char *at = strstr(page, words("Campaign %s: ", campaign));

    if (at == NULL)
        fail_msg("no campaign %s in %s", campaign, page);
    const char *ends = strstr(at, "\n\n");
    return words("%.*s\n", (int)(ends - at), at);
}

static void each_campaign_is_told_as_far_as_it_goes(void **state)
{
    static const struct {
        const char *campaign, *paragraph;
    } CASES[] = {
        {"BARE", "Campaign BARE: T of BARE\n  parts\n  operations\n  inspections\n"},
        {"BOTH", "Campaign BOTH: its rules contradict each other for this vehicle; ask the office\n"},
        {"OVER", "Campaign OVER: T of OVER\n"
                 "  open           from 2025-01-01 to 2025-06-30 (closed)\n"
                 "  stage          later, which has no opening date yet\n"
                 "  replaced by    SOON\n"
                 "  parts\n"
                 "    required   S-1 x 2\n"
                 "    if GAP is > 3 mm: S-2, 0.5\n"
                 "  operations\n"
                 "    allowed    L-1, 0.25 h\n"
                 "    if GAP is wide: L-2, 1 h\n"
                 "  inspections\n"
                 "    required   GAP: expected [1..3] mm and <= 2 mm\n"
                 "    allowed    LOOK\n"},
        {"SOON", "Campaign SOON: T of SOON\n"
                 "  open           from 2027-01-01 to 2027-12-31 (not open yet)\n"
                 "  stage          first, opens on 2027-02-01\n"
                 "  parts\n  operations\n  inspections\n"},
        {"ENDS", "Campaign ENDS: T of ENDS\n"
                 "  open           to 2026-12-31\n"
                 "  stage          now, open since 2026-04-20\n"
                 "  parts\n  operations\n  inspections\n"},
    };
    struct result at_office = SHEET(VIN), at_dealer = PACKED(VIN);
    (void)state;

    assert_int_equal(at_office.code, 0);
    assert_int_equal(at_dealer.code, 0);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        assert_string_equal(paragraph(at_office.out, CASES[i].campaign), CASES[i].paragraph);
        assert_string_equal(paragraph(at_dealer.out, CASES[i].campaign), CASES[i].paragraph);
    }
    result_free(&at_office);
    result_free(&at_dealer);
}

static void a_campaign_that_has_ended(void **state)
{
    (void)state;
    struct result result =
        RUN("worksheet", VIN, "--office", office, "--rules", rules, "--campaign", "ENDS", "--today", "2027-01-01");
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(result.out, "\n  open           to 2026-12-31 (closed)\n"));
    result_free(&result);
}

/* What a campaign does not say is nothing to translate. */
static void only_what_is_said_is_translated(void **state)
{
    (void)state;
    struct result result = RUN("rules", "messages", "--rules", rules);
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(result.out, "T of BARE"));
    assert_non_null(strstr(result.out, "campaigns/BARE/campaign.csv:title,"));
    assert_null(strstr(result.out, "campaign.csv:hazard,"));
    result_free(&result);
}

static void vehicles_of_which_little_is_known(void **state)
{
    (void)state;
    struct result result = SHEET(WITHOUT_YEAR);
    assert_int_equal(result.code, 0);
    assert_null(strstr(result.out, "model year"));
    assert_non_null(strstr(result.out, "eps towing"));
    result_free(&result);
    /* nothing is said that is not known: one campaign is asked for, or its rules say nothing certain */
    says(SHEET(OTHER_LINE), 0, "No campaign needs work on this vehicle.");
    says(SHEET(OTHER_LINE, "--campaign", "BARE"), 0, "Campaign BARE needs no work on this vehicle.");
    result = SHEET(VIN, "--campaign", "BOTH");
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(result.out, "its rules contradict each other for this vehicle"));
    assert_null(strstr(result.out, "needs no work"));
    assert_null(strstr(result.out, "No campaign needs"));
    assert_null(strstr(result.out, "Claim to fill in"));
    result_free(&result);
}

static void mistakes_with_worksheets(void **state)
{
    (void)state;
    says(SHEET("EZ7BAMCK6KE421498"), 2,
         "vehicle EZ7BAMCK6KE421498 is not in the register; is it EZ7BAMCK6KE421489?");
    says(PACKED("EZ7BAMCK6KE421498"), 2,
         "vehicle EZ7BAMCK6KE421498 is not in the register; is it EZ7BAMCK6KE421489?");
    says(SHEET("NONE"), 2, "vehicle NONE is not in the register; read the VIN once more");
    says(PACKED("NONE"), 2, "vehicle NONE is not in the register; read the VIN once more");
    says(SHEET(VIN, "--campaign", "NONE"), 2, "no campaign \"NONE\" in the rules");
    says(SHEET(VIN, "--format", "json"), 2, "--format \"json\" is none; write text or csv");
    says(SHEET(VIN, "--dealer", "D9"), 2, "dealer \"D9\" is not in the register for this day; check the code");
    says(SHEET(VIN, "--dealer", "D2"), 2, "dealer \"D2\" is not in the register for this day; check the code");
    says(SHEET(VIN, "--out", words("%s/no/such", folder)), 2, "No such file");
    says(SHEET(VIN, "--lang", "de"), 2, "--lang is for what dealers read; name a pack with --pack");
    says(SHEET(VIN, "--trust", key), 2, "--trust names the key of a pack; name the pack with --pack");
    says(RUN("worksheet", VIN, "--pack", pack, "--rules", rules), 2,
         "a pack brings its own rules and vehicles");
    says(RUN("worksheet", VIN, "--pack", pack, "--office", office), 2,
         "a pack brings its own rules and vehicles");
    says(PACKED(VIN, "--lang", "de"), 2, "there are no messages in the language \"de\"; choose one of en");
    says(RUN("worksheet"), 2, "something is missing: witnessmark worksheet VIN...");
}

/* Hours and quantities as the rules give them, amounts at the dealer's rate and markup: L-1 is only allowed and
 * S-1 has no price, so that nothing is offered for the first, and 0 asked for the second. */
static void a_row_to_fill_in(void **state)
{
    (void)state;
    struct result result = SHEET(VIN, "--campaign", "OVER", "--format", "csv", "--dealer", "D1");
    struct csv_sheet sheet = csv_sheet_read(result.out);

    assert_int_equal(result.code, 0);
    assert_int_equal(sheet.count, 2);
    assert_string_equal(csv_at(&sheet, 1, "dealer"), "D1");
    assert_string_equal(csv_at(&sheet, 1, "model_year"), "2019");
    assert_string_equal(csv_at(&sheet, 1, "parts"), "S-1=2");
    assert_string_equal(csv_at(&sheet, 1, "labor"), "");
    assert_string_equal(csv_at(&sheet, 1, "inspections"), "GAP=");
    assert_string_equal(csv_at(&sheet, 1, "total_amount"), "0.00");
    csv_sheet_free(&sheet);
    result_free(&result);
    result = SHEET(OTHER_LINE, "--format", "csv");
    sheet = csv_sheet_read(result.out);
    assert_int_equal(sheet.count, 1); /* the header alone */
    csv_sheet_free(&sheet);
    result_free(&result);
}

/* --- A dealer's page
 * ------------------------------------------------------------------------------------------- */

#define HEADER                                                                                                 \
    "claim,dealer,repair_order,campaign,vin,outcome,opened_on,completed_on,submitted_on,odometer,parts,labor," \
    "inspections,parts_amount,labor_amount,total_amount\n"
#define DONE "2026-04-01,2026-04-02,2026-04-03,1000"

static char *flat(const char *text)
{
    char *made = words("%s", text), *to = made;

    for (const char *at = text; *at != '\0'; at++)
        if ((*at != ' ' && *at != '\n') || (to > made && to[-1] != ' '))
            *to++ = *at == '\n' ? ' ' : *at;
    *to = '\0';
    return made;
}

static void pages_of_such_campaigns(void **state)
{
    static const struct {
        const char *row;
        const char *says, *says_not; /* says_not NULL: nothing */
        int code;
    } CASES[] = {
        {"A,D1,R,BOTH,EZ7BAMCK6KE421489,repaired," DONE ",K-1=1,,,10,,10",
         "The rules of campaign BOTH contradict each other for this vehicle; ask the office.",
         "What campaign BOTH expects", 1},
        {"A,D1,R,OVER,EZ7BAMCK6KE421489,repaired," DONE ",S-1=2,,GAP=1.5 mm,10,,10",
         "This claim would not be paid.", "What campaign OVER expects", 1},
        {"A,D1,R,ENDS,EZ7BAMCK9KE429408,repaired," DONE ",,,,,,", "This claim would not be paid.",
         "What campaign ENDS expects", 1},
        {"A,D1,R,NONE,EZ7BAMCK6KE421489,repaired," DONE ",,,,,,", "(The office calls this campaign-unknown.)",
         "What campaign NONE expects", 1},
        {"A,D1,R,ENDS,EZ7BAMCK6KE421489,repaired," DONE ",,,,,,", "This claim will be paid in full.",
         "What is wrong", 0},
    };
    const char *file = words("%s/claims.csv", folder);
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        write_words(file, words(HEADER "%s\n", CASES[i].row));
        struct result result = RUN("check", file, "--pack", pack, "--trust", key, "--today", TODAY);
        char *page = flat(result.out);
        if (result.code != CASES[i].code || strstr(page, CASES[i].says) == NULL ||
            (CASES[i].says_not != NULL && strstr(page, CASES[i].says_not) != NULL))
            fail_msg("%s: exit %d, %s%s", CASES[i].row, result.code, result.out, result.err);
        result_free(&result);
    }
}

/* Messages that say nothing, and such as say what campaigns call by a name of their own. */
static void messages_of_few_words(void **state)
{
    const char *file = words("%s/few.csv", folder), *few = words("%s/few", folder),
               *made = words("%s/few.pack", folder);
    (void)state;

    shell("cp -r '%s' '%s'", rules, few);
    write_words(words("%s/checks/claim/few.csv", few), "C,campaign,option:eps,>finding,>effect,>message\n"
                                                       "silent,ENDS,-,silent,hold,\n"
                                                       "named,ENDS,-,named,hold,It has {option:eps} steering.\n");
    write_words(words("%s/checks/part/few.csv", few), "C,part,>finding,>effect,>message\n"
                                                      "named,X-1,part-named,hold,Part {part} at {option:eps}.\n");
    says(RUN("pack", "--out", made, "--sign", words("%s/key", folder), "--office", office, "--rules", few, "--today",
             TODAY, "--dealer", "D1", "--work", TEST_WORK, "--quiet"),
         0, "");
    write_words(file, HEADER "A,D1,R,ENDS,EZ7BAMCK6KE421489,repaired," DONE ",X-1=1,,,,,\n");
    struct result result = RUN("check", file, "--pack", made, "--trust", key, "--today", TODAY);
    char *page = flat(result.out);
    if (strstr(page, ": (The office calls this silent.)") == NULL ||
        strstr(page, "It has false steering. (") == NULL || strstr(page, "Part X-1 at false. (") == NULL)
        fail_msg("%s%s", result.out, result.err);
    result_free(&result);
}

/* An approval covers what it names; the page says so in place of the finding. */
static void an_approval_is_said(void **state)
{
    const char *file = words("%s/approved.csv", folder);
    (void)state;

    write_words(
        file,
        "claim,dealer,repair_order,campaign,vin,outcome,opened_on,completed_on,submitted_on,odometer,approval,"
        "inspections\nP,D1,R,OVER,EZ7BAMCK6KE421489,repaired,2026-04-01,2026-04-02,2026-04-03,1000,A1,"
        "GAP=1.5 mm\n");
    struct result result = RUN("check", file, "--pack", pack, "--trust", key, "--today", TODAY);
    char *page = flat(result.out);
    if (strstr(page, "Approved by the office under approval A1: ") == NULL)
        fail_msg("%s", result.out);
    result_free(&result);
    /* one that the pack does not have may have come since */
    shell("sed -i 's/,A1,/,A9,/' '%s'", file);
    result = RUN("check", file, "--pack", pack, "--trust", key, "--today", TODAY);
    page = flat(result.out);
    if (strstr(page, "Approval A9 is not in this pack of 2026-04-20. If the office gave it to you since then, "
                     "it counts.") == NULL)
        fail_msg("%s", result.out);
    result_free(&result);
}

/* --- One claim, asked for
 * ------------------------------------------------------------------------------------------ */

static char *one_claim(const char *file, const char *typed, int *ret_code)
{
    char *shown = calloc(1, 1 << 20);
    size_t length = 0;
    int terminal;
    pid_t child = forkpty(&terminal, NULL, NULL, NULL);

    need(child >= 0 && shown != NULL, "terminal");
    if (child == 0) {
        execl(getenv("WITNESSMARK"), "witnessmark", "check", "--one", file, "--pack", pack, "--trust", key,
              "--today", TODAY, (char *)NULL);
        _exit(127);
    }
    need(write(terminal, typed, strlen(typed)) == (ssize_t)strlen(typed), "terminal");
    for (ssize_t got; length < (1 << 20) - 4096 && (got = read(terminal, shown + length, 4096)) > 0;)
        length += (size_t)got;
    close(terminal);
    *ret_code = wait_for_exit(child);
    return flat(shown);
}

/* A campaign that expects no inspection leaves the list to the dealer; a dash leaves a field empty. */
static void one_claim_without_expectations(void **state)
{
    const char *file = words("%s/one.csv", folder);
    int code;
    (void)state;

    char *shown = one_claim(file,
                            "\nEZ7BAMCK6KE421489\nBARE\n\nC-1\n\nRO-1\n-\n\n1000\n\n2026-04-10\n2026-04-12\n"
                            "2026-04-13\n-\n\n-\n\n\n\n\n\n\n",
                            &code);
    if (strstr(shown, "Inspections, as ITEM=RESULT; ... (column inspections): ") == NULL ||
        strstr(shown, "The claim is in ") == NULL)
        fail_msg("exit %d: %s", code, shown);
    struct csv_sheet sheet = csv_sheet_of_file(file);
    assert_int_equal(sheet.count, 2);
    assert_string_equal(csv_at(&sheet, 1, "dealer"), "D1");
    assert_string_equal(csv_at(&sheet, 1, "campaign"), "BARE");
    assert_string_equal(csv_at(&sheet, 1, "model_year"), "");
    assert_string_equal(csv_at(&sheet, 1, "engine"), "R16");
    assert_string_equal(csv_at(&sheet, 1, "inspections"), "");
    assert_string_equal(csv_at(&sheet, 1, "completed_on"), "2026-04-12");
    csv_sheet_free(&sheet);
}

/* Without a model year in the register there is none to offer. */
static void one_claim_of_a_vehicle_without_a_year(void **state)
{
    const char *file = words("%s/no-year.csv", folder);
    int code;
    (void)state;

    char *shown = one_claim(file, words("\n%s\nBARE\n\nC-2\n\nRO-2\n\004", WITHOUT_YEAR), &code);
    assert_int_equal(code, 2);
    if (strstr(shown, "(column model_year): ") == NULL)
        fail_msg("%s", shown);
}

/* What is doubtful about a vehicle is said at once; one of the register is not taken for another. */
static void one_claim_of_a_scrapped_vehicle(void **state)
{
    int code;
    (void)state;

    char *shown = one_claim(words("%s/scrapped.csv", folder), words("\n%s\nn\n\004", SCRAPPED), &code);
    assert_int_equal(code, 2);
    if (strstr(shown, "By the register the vehicle is scrapped.") == NULL || strstr(shown, "likely") != NULL)
        fail_msg("%s", shown);
}

/* --- Why, and the campaign as a page
 * ------------------------------------------------------------------------------ */

static void explained_as_far_as_it_goes(void **state)
{
    static const struct {
        const char *claim, *says;
    } CASES[] = {
        {"D1/E1", "part S-1: the smaller of 3 claimed and 2 allowed, at "},
        {"D1/E1", "part X-9: not expected, nothing counts"},
        {"D1/E1", "operation L-1: the smaller of 0.5 h claimed and 0.25 h allowed"},
        {"D1/E1", "operation X-8: not expected, nothing counts"},
        {"D1/E2", "campaigns/BOTH/kits.csv, in error for this claim"},
        {"D9/E3", "dealer_known             false"},
        {"D1/E4", "No findings"},
    };
    const char *recorded = words("%s/recorded.db", folder), *file = words("%s/explained.csv", folder);
    (void)state;

    write_words(file, HEADER "E1,D1,R1,OVER,EZ7BAMCK6KE421489,repaired," DONE
                             ",S-1=3@2; X-9=1,L-1=0.5; X-8=1,GAP=1.5 mm,10,10,20\n"
                             "E2,D1,R2,BOTH,EZ7BAMCK6KE421489,repaired," DONE ",K-1=1,,,10,,10\n"
                             "E3,D9,R3,ENDS,EZ7BAMCK6KE421489,repaired," DONE ",,,,,,\n"
                             "E4,D1,R4,ENDS,EZ7BAMCK6KE421489,repaired," DONE ",,,,,,\n");
    shell("cp '%s' '%s'", office, recorded);
    says(RUN("post", file, "--office", recorded, "--rules", rules, "--today", TODAY, "--quiet"), 0, "");
    for (size_t i = 0; i < COUNT(CASES); i++)
        says(RUN("explain", CASES[i].claim, "--office", recorded), 0, CASES[i].says);
    says(RUN("explain", "--vin", VIN, "--office", recorded), 0, "Claim D1/E4 revision 0");
    says(RUN("explain", "--vin", OTHER_LINE, "--office", recorded), 2, "no claim");
    /* on the vehicle's sheet is what stands on it: neither a refused claim, nor one that was corrected to another */
    write_words(file, HEADER "E5,D1,R5,ENDS,EZ7BAMCK6KE421489,repaired," DONE ",,,,,,\n"
                             "E6,D1,R6,BARE,EZ7BAMCK6KE421489,repaired," DONE ",,,,,,\n");
    says(RUN("post", file, "--office", recorded, "--rules", rules, "--today", TODAY, "--quiet"), 0, "");
    write_words(file, "revision," HEADER "1,E6,D1,R6,BARE,EZ7BDMCK2KE263109,repaired," DONE ",,,,,,\n");
    says(RUN("post", file, "--office", recorded, "--rules", rules, "--today", TODAY, "--quiet"), 0, "");
    struct result sheet = RUN("worksheet", VIN, "--office", recorded, "--rules", rules, "--today", TODAY);
    assert_null(strstr(paragraph(sheet.out, "BARE"), "ALREADY DONE"));
    assert_non_null(strstr(paragraph(sheet.out, "ENDS"), "ALREADY DONE"));
    result_free(&sheet);
    says(RUN("explain", "D1/E9", "--office", recorded), 2, "D1/E9");
    says(RUN("explain", "D1", "--office", recorded), 2, "DEALER/CLAIM");
    says(RUN("explain", "--office", recorded), 2, "name either DEALER/CLAIM or --vin VIN");
    says(RUN("explain", "D1/E1", "--vin", VIN, "--office", recorded), 2,
         "name either DEALER/CLAIM or --vin VIN");
    says(RUN("explain", "D1/E1", "--office", words("%s/none.db", folder)), 2, "none.db");
    says(RUN("explain", "D1/E1", "--office", recorded, "--out", words("%s/no/such", folder)), 2,
         "No such file");
}

static void printed_as_far_as_it_goes(void **state)
{
    static const struct {
        const char *campaign, *says;
    } CASES[] = {
        {"BARE", "BARE: T of BARE"},
        {"OVER", "later, no day yet"},
        {"OVER", "S-1 (no price)"},
        {"OVER", "any result"},
        {"SOON", "Replaces"},
        {"NOKIT", "No kit"},
        {"NOKIT", "NOKIT: T of NOKIT"},
        {"NOKIT", "K-1 (net, each: 1.125; 2.00 from 2026-05-01)"},
    };
    (void)state;

    CAMPAIGN("NOKIT", "other_limit,25\n");
    rules_file("campaigns/NOKIT/eligibility.csv", "F,model_line,>eligible\nall,Brindle,true\nothers,-,false\n");
    rules_file("campaigns/NOKIT/kits.csv", "U,engine,>kit,>quantity\nnone,D22,,\nsome,not(D22),K-1,1\n");
    rules_file("campaigns/NOKIT/prices.csv", "part,price,valid_from\nK-1,1.125,\nK-1,2,2026-05-01\n");
    rules_file("campaigns/NOKIT/parts.csv", "C,engine,>part,>quantity,>need\n");
    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct result result = RUN("rules", "print", CASES[i].campaign, "--rules", rules);
        if (result.code != 0 || strstr(flat(result.out), CASES[i].says) == NULL)
            fail_msg("%s: not %s: %s%s", CASES[i].campaign, CASES[i].says, result.out, result.err);
        result_free(&result);
    }
    says(RUN("rules", "print", "NONE", "--rules", rules), 2, "the rules have no campaign \"NONE\"");
    says(RUN("rules", "print", "BARE", "--rules", rules, "--out", words("%s/no/such", folder)), 2,
         "No such file");
    shell("rm -r '%s/campaigns/NOKIT'", rules);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_campaign_is_told_as_far_as_it_goes),
        cmocka_unit_test(a_campaign_that_has_ended),
        cmocka_unit_test(only_what_is_said_is_translated),
        cmocka_unit_test(vehicles_of_which_little_is_known),
        cmocka_unit_test(mistakes_with_worksheets),
        cmocka_unit_test(a_row_to_fill_in),
        cmocka_unit_test(pages_of_such_campaigns),
        cmocka_unit_test(messages_of_few_words),
        cmocka_unit_test(an_approval_is_said),
        cmocka_unit_test(one_claim_without_expectations),
        cmocka_unit_test(one_claim_of_a_vehicle_without_a_year),
        cmocka_unit_test(one_claim_of_a_scrapped_vehicle),
        cmocka_unit_test(explained_as_far_as_it_goes),
        cmocka_unit_test(printed_as_far_as_it_goes),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
