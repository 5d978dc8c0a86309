/* The regulator's figures of the demo campaign, worked out by hand, at the end of a quarter and asked later;
 * emissions; the schedule; what the office records beside them.
 *
 * How the figures were worked out: from vehicles.csv, the three nights and what fixtures/demo-expected.csv says
 * must be decided on each row, by a script that shares nothing with the engine, with its own copy of the
 * bulletin's words on which vehicles are in the campaign. On its own it gives
 *
 *     involved 1399: 1329 in service, 12 exported, 13 stolen, 16 scrapped, 16 unreachable, 13 unsold
 *     nights 1 and 2: 244 vehicles repaired, 23 inspected, 13 with a held claim; not remedied are of those
 * exported 12, stolen 13, scrapped 16, unreachable 13; of the unsold 2 are remedied all nights:     372
 * repaired, 31 inspected, 15 held; exported 12, stolen 13, scrapped 16, unreachable 12; unsold 3
 *
 * and the comments below say what each thing that happens in between changes.
 */
#include "report_kit.h"

static char *folder, *office;

static void run_well(struct result result)
{
    if (result.code != 0)
        fail_msg("%s%s", result.out, result.err);
    result_free(&result);
}

static void load(const char *kind, const char *today, const char *csv)
{
    const char *path = words("%s/%s-%s.csv", folder, kind, today);

    write_words(path, csv);
    run_well(RUN("load", kind, path, "--office", office, "--today", today, "--quiet"));
}

static void post(int night, const char *today)
{
    run_well(
        RUN("post", demo_file(words("night-%d.csv", night)), "--office", office, "--today", today, "--quiet"));
}

static void decide(const char *claim, const char *action, const char *today)
{
    run_well(RUN("decide", claim, action, "--by", "A. Clerk", "--reason", "papers seen", "--office", office,
                 "--today", today, "--quiet"));
}

static void reverse(const char *claim, const char *today)
{
    run_well(RUN("reverse", claim, "--by", "A. Clerk", "--reason", "not done", "--office", office, "--today",
                 today, "--quiet"));
}

static void first_quarter(void)
{
    shell("cp %s %s", demo_file("office.db"), office);
    post(1, "2026-03-02");
    decide("D111/C10014", "pay", "2026-03-10");    /* an exported vehicle: repaired +1, held -1, exported -1 */
    decide("D128/C10147", "return", "2026-03-10"); /* held -1 */
    post(2, "2026-03-16");
    reverse("D113/C11274", "2026-03-20"); /* repaired -1, taken back +1 */
}

static void second_quarter(void)
{
    reverse("D127/C11281", "2026-04-10");       /* repaired -1, taken back +1 */
    decide("D121/C10021", "pay", "2026-04-15"); /* an exported vehicle: repaired +1, held -1, exported -1 */
    post(3, "2026-04-20");
    load("vehicles", "2026-04-25",
         "vin,model_line,model_year,engine,transmission,built_on,options,status,status_on\n"
         /* no claim on these: one stolen, one that will be scrapped behind the quarter, two that turn out not
          * to be in the campaign, and one that nobody had in the register */
         "EZ7BAACK5KN803298,Brindle,2019,R16,automatic,2019-02-01,,stolen,2026-04-02\n"
         "EZ7BAACK5LE202359,Brindle,2020,R16,automatic,2020-02-01,,scrapped,2026-07-10\n"
         "EZ7BAACK5LN138498,Brindle,2020,R16,automatic,2020-02-01,eps,in_service,\n"
         "EZ7BAACK5LN879377,Brindle,2023,R16,automatic,2022-09-01,,in_service,\n"
         "EZ7BAACK5LN000001,Brindle,2020,R16,automatic,2020-02-01,,unsold,2020-02-01\n"
         /* remedied already, so that it was reached: D118/C11288 */
         "EZ7TBACK2NN218197,Tarrow,2022,R20,automatic,2022-02-01,,scrapped,2026-04-03\n");
}

static struct report_text quarterly(const char *quarter, const char *today)
{
    struct report_text result;

    KIT_REPORT(office, "rules", "quarterly", today, &result, "campaign", "H26-02", "quarter", quarter);
    if (result.status != WM_OK)
        fail_msg("%s", result.said.text);
    assert_string_equal(result.said.text, "");
    return result;
}

static void has(const struct report_text *result, const char *line)
{
    if (strstr(result->text, line) == NULL)
        fail_msg("no line %s in\n%s", line, result->text);
}

static void has_all(const struct report_text *result, const char *const *lines, size_t count)
{
    for (size_t i = 0; i < count; i++)
        has(result, lines[i]);
}

/* --- The first quarter ------------------------------------------------------------------------ */

/* involved 1399; repaired 244 + 1 - 1; inspected 23; held 13 - 2; exported 12 - 1. The office says 2 more
 * unreachable and 3 removed: unreachable 11 + 13 + 16 + 13 + 2 = 55, and 1399 - 55 - 3 = 1341 could be reached.
 * 267 / 1399 = 0.190851, 267 / 1341 = 0.199105. */
static const char *const FIRST[] = {
    "\n573.7(b)(1)|Number of the campaign|-|EX26-0202 (the maker's own: H26-02)\n",
    "\n573.7(b)(2)|Notification began|-|2026-01-12\n",
    "\n573.7(b)(2)|Notification was completed|-|2026-03-06\n",
    "\n573.7(b)(3)|Vehicles involved|1399|-\n",
    "\n573.7(b)(4)|Inspected and repaired|244|-\n",
    "\n573.7(b)(4)|Inspected and found not to need repair|23|-\n",
    "\n573.7(b)(5)|Unreachable: export|11|-\n",
    "\n573.7(b)(5)|Unreachable: theft|13|-\n",
    "\n573.7(b)(5)|Unreachable: scrapping|16|-\n",
    "\n573.7(b)(5)|Unreachable: failure to receive notification|13|-\n",
    "\n573.7(b)(5)|Unreachable: other reasons|2|no longer registered\n",
    "\n573.7(b)(5)|Unreachable in all|55|-\n",
    "\nRemedied of all involved|267|1399|0.190851\n",
    "\nRemedied of those involved, less unreachable and removed|267|1341|0.199105\n",
    "\nUnsold, counted as involved|13\n",
    "\nUnsold and remedied, counted as remedied|2\n",
    "\nNot remedied: a claim waits for the office's decision|11\n",
    "\nNot remedied: what was paid was taken back|1\n",
    "\nRemedied, but not among those involved|0\n",
    "\nRemoved from the campaign, as the office says|3\n",
    "\nquarterly report 1 of 8|2026-Q1|2026-04-30|2026-04-28|",
    "\nline: Hallowmere\tEX26-0202\tH26-02\tPower-steering pressure hose: "
    "replacement\t20260112\t20260306\t1\t2026-1\t1399\t267\t"
    "55\t3\t20260428\n",
    "\nRPTQTR|2026-1\n",
    "note: The office files this report, the program does not.",
    "note: The figures are as they stood on 2026-03-31: what was recorded by that day counts, and nothing "
    "later.",
};

static char *asked_in_time; /* the report as it read before anything of the next quarter was recorded */

static void the_first_quarter_by_hand(void **state)
{
    (void)state;
    struct report_text result = quarterly("2026-Q1", "2026-08-01");

    has_all(&result, FIRST, COUNT(FIRST));
    assert_null(strstr(result.text, "Change of the number involved"));
    assert_null(strstr(result.text, "TO CHECK"));
    assert_string_equal(result.text, asked_in_time);
}

/* A campaign's first report has none before it; with what happens behind the quarter left out, the register,
 * the claims and the decisions of then count. */
static void asked_before_the_quarter_is_over(void **state)
{
    (void)state;
    struct report_text result = quarterly("2026-Q3", "2026-08-01");

    has(&result,
        "note: TO CHECK: the quarter ends on 2026-09-30 and is not over; these figures will change.\n");
    /* the vehicle that is scrapped on 2026-07-10 counts from then on */
    has(&result, "\n573.7(b)(5)|Unreachable: scrapping|17|-\n");
}

/* --- The second quarter ----------------------------------------------------------------------- */

/* involved 1399 - 2 + 1; repaired 372 + 1 - 1 - 1 + 1; inspected 31; held 15 - 3; exported 12 - 2, stolen 13 +
 * 1, scrapped 16 (the one of April was remedied before), unreachable 12, and 2 as the office said for the
 * quarter before: 54. 1398 - 54 - 3 = 1341; 403 / 1398 = 0.288269, 403 / 1341 = 0.300522. */
static void the_second_quarter_by_hand(void **state)
{
    static const char *const SECOND[] = {
        "\n573.7(b)(3)|Vehicles involved|1398|-\n",
        "\n573.7(b)(3)|Change of the number involved|-|It was 1399 in the report for 2026-Q1. Explanation: Two "
        "have no hose, "
        "one was missing in the register.\n",
        "\n573.7(b)(4)|Inspected and repaired|372|-\n",
        "\n573.7(b)(4)|Inspected and found not to need repair|31|-\n",
        "\n573.7(b)(5)|Unreachable: export|10|-\n",
        "\n573.7(b)(5)|Unreachable: theft|14|-\n",
        "\n573.7(b)(5)|Unreachable: scrapping|16|-\n",
        "\n573.7(b)(5)|Unreachable: failure to receive notification|12|-\n",
        "\n573.7(b)(5)|Unreachable: other reasons|2|no longer registered\n",
        "\n573.7(b)(5)|Unreachable in all|54|-\n",
        "\nRemedied of all involved|403|1398|0.288269\n",
        "\nRemedied of those involved, less unreachable and removed|403|1341|0.300522\n",
        "\nUnsold, counted as involved|14\n",
        "\nNot remedied: a claim waits for the office's decision|12\n",
        "\nNot remedied: what was paid was taken back|2\n",
        "\nquarterly report 2 of 8|2026-Q2|2026-07-30|-|",
        "\t20260112\t20260306\t2\t2026-2\t1398\t403\t54\t3\t\n",
    };
    (void)state;
    struct report_text result = quarterly("2026-Q2", "2026-08-01");

    has_all(&result, SECOND, COUNT(SECOND));
    assert_null(strstr(result.text, "TO CHECK"));
}

static void what_is_to_be_checked(void **state)
{
    char *kept = office;
    (void)state;

    office = words("%s/checks.db", folder);
    shell("cp %s %s", kept, office);
    load("notices", "2026-08-02", "campaign,quarter,involved,explanation\nH26-02,2026-Q2,1400,\n");
    struct report_text result = quarterly("2026-Q2", "2026-08-01");
    has(&result, "note: TO CHECK: the number involved has changed and no explanation is recorded; the report "
                 "needs one.");
    has(&result, "note: TO CHECK: the office recorded 1400 vehicles involved for this quarter, and the "
                 "register has 1398;");
    has(&result, "It was 1399 in the report for 2026-Q1. Explanation: none recorded\n");
    office = kept;
}

/* The rules that decided then say who was involved, also when the folder has changed since. */
static void rules_of_then(void **state)
{
    struct report_text now, then;
    char *rules = words("%s/rules", folder);
    (void)state;

    shell("cp -r rules %s", rules);
    shell("sed -i 's/^third,.*$/# &/' %s/campaigns/H26-02/eligibility.csv", rules);
    then = quarterly("2026-Q1", "2026-08-01");
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &now, "campaign", "H26-02", "quarter", "2026-Q1");
    assert_int_equal(now.status, WM_OK);
    assert_string_equal(now.text, then.text);
    has(&now, "by the eligibility table as it was recorded then (rules 1 of the office file)");
    /* before any batch there are no rules on record: the folder's count, and the report says so */
    shell("cp %s %s/fresh.db", demo_file("office.db"), folder);
    KIT_REPORT(words("%s/fresh.db", folder), rules, "quarterly", "2026-08-01", &now, "campaign", "H26-02",
               "quarter", "2026-Q1");
    has(&now, "note: No recorded rules of that time know the campaign;");
    assert_null(strstr(now.text, "|Vehicles involved|1399|"));
    has(&now, "\n573.7(b)(4)|Inspected and repaired|0|-\n");
    /* the older campaign, whose quarters lie before the first load of vehicles: that load stands for them */
    KIT_REPORT(office, "rules", "quarterly", "2026-08-01", &now, "campaign", "H24-05", "quarter", "2024-Q2");
    has(&now, "note: The vehicle register was first loaded on 2026-01-05, after the quarter; that load stands "
              "for the time");
    has(&now, "\n573.7(b)(2)|Notification was completed|-|not yet\n");
    /* behind its eighth quarter it has one report a year */
    KIT_REPORT(office, "rules", "quarterly", "2026-08-01", &now, "campaign", "H24-05", "quarter", "2026-Q2");
    has(&now, "\nnone of this campaign's reports ends with this quarter|2026-Q2|-|-|");
    KIT_REPORT(office, "rules", "quarterly", "2026-08-01", &now, "campaign", "H24-05", "quarter", "2027-Q1");
    has(&now, "\nannual report 1 of 3|2027-Q1|2027-04-30|-|");
}

static void wrong_questions(void **state)
{
    static const struct {
        const char *campaign, *quarter, *said;
    } CASES[] = {
        {"H26-02", "2026-1", "--quarter \"2026-1\" is no quarter; write it as 2026-Q1\n"},
        {"H99-99", "2026-Q1", "no campaign \"H99-99\" in the rules; write its number as its folder is named\n"},
        {"H26-02", "2025-Q4",
         "notification under campaign H26-02 began on 2026-01-12; the first quarter to report is 2026-Q1\n"},
    };
    struct report_text result;
    char *rules = words("%s/no-rules", folder);
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        KIT_REPORT(office, "rules", "quarterly", "2026-08-01", &result, "campaign", CASES[i].campaign,
                   "quarter", CASES[i].quarter);
        assert_int_equal(result.status, WM_BAD_INPUT);
        assert_string_equal(result.said.text, CASES[i].said);
    }
    shell("cp -r rules %s && rm %s/filings.csv", rules, rules);
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &result, "campaign", "H26-02", "quarter", "2026-Q1");
    assert_string_equal(result.said.text,
                        "filings.csv has no row for campaign H26-02, whose kind is \"safety recall\"; add "
                        "one, as counsel decides\n");
    shell("cp rules/filings.csv %s && sed -i 's/^notice_.*$//' %s/campaigns/H26-02/campaign.csv", rules, rules);
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &result, "campaign", "H26-02", "quarter", "2026-Q1");
    assert_string_equal(result.said.text,
                        "campaign H26-02 has no notice_began_on, so no report is due yet; fill it in "
                        "campaign.csv\n");
}

/* --- Emissions -------------------------------------------------------------------------------- */

/* The same campaign as one of emissions, whose office says 1390 notices, 300 estimated to fail, 5 inspected
 * that wait for repair, 4 disqualified: inspected 244 + 23 + 5, in need of repair 244 + 5. */
static void an_emissions_campaign(void **state)
{
    static const char *const LINES[] = {
        "\n1068.525(b)(1)|Notification began|-|2026-01-12\n",
        "\n1068.525(b)(2)|Notices sent|1390|-\n",
        "\n1068.525(b)(3)|Estimated to need the remedy|300|-\n",
        "\n1068.525(b)(3)|Involved, by the eligibility table|1399|-\n",
        "\n1068.525(b)(4)|Inspected|272|-\n",
        "\n1068.525(b)(5)|Inspected and in need of repair|249|-\n",
        "\n1068.525(b)(6)|Repaired|244|-\n",
        "\n1068.525(b)(7)|Unavailable: exported|11|-\n",
        "\n1068.525(b)(7)|Unavailable in all|55|-\n",
        "\n1068.525(b)(8)|Disqualified|4|-\n",
        "\nquarterly report 1 of 6|2026-Q1|2026-04-25|",
        "\n[flat]\nnote: The flat file is of reports on defects and safety standards;",
    };
    struct report_text result;
    char *rules = words("%s/emissions", folder);
    (void)state;

    shell("cp -r rules %s && sed -i 's/^kind,.*$/kind,emissions recall/' %s/campaigns/H26-02/campaign.csv",
          rules, rules);
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &result, "campaign", "H26-02", "quarter", "2026-Q1");
    assert_int_equal(result.status, WM_OK);
    has_all(&result, LINES, COUNT(LINES));
    assert_null(strstr(result.text, "573.7"));
    KIT_REPORT(words("%s/fresh.db", folder), rules, "quarterly", "2026-08-01", &result, "campaign", "H26-02",
               "quarter", "2026-Q1");
    has(&result, "\n1068.525(b)(2)|Notices sent|-|not recorded; say it with `witnessmark load notices`\n");
}

/* --- Revisions -------------------------------------------------------------------------------- */

#define CLAIMS                                                                                            \
    "claim,revision,dealer,repair_order,campaign,vin,outcome,completed_on,technician,total_amount,other_" \
    "amount\n"

static void post_rows(const char *rules, const char *name, const char *rows, const char *today)
{
    const char *path = words("%s/%s.csv", folder, name);

    write_words(path, words(CLAIMS "%s", rows));
    run_well(RUN("post", path, "--office", office, "--rules", rules, "--today", today, "--quiet"));
}

/* An office whose rule holds what technician H did, and returns what R did. */
static char *steered_rules(void)
{
    char *rules = words("%s/steered", folder);

    shell("mkdir -p %s/campaigns/T1 %s/checks/claim && cp rules/facts.csv rules/units.csv rules/deadlines.csv "
          "rules/filings.csv %s",
          rules, rules, rules);
    write_words(words("%s/campaigns/T1/campaign.csv", rules),
                "key,value\ncampaign,T1\nnotice_began_on,2026-01-12\nother_limit,5.00\n");
    write_words(words("%s/campaigns/T1/eligibility.csv", rules),
                "F,model_year,>eligible,>stage\nall,-,true,first\n");
    shell("cp -r %s/campaigns/T1 %s/campaigns/T2 && sed -i 's/T1/T2/' %s/campaigns/T2/campaign.csv", rules,
          rules, rules);
    write_words(words("%s/checks/claim/steered.csv", rules), "C,technician,>finding,>effect,>message\n"
                                                             "look,H,look-at-it,hold,Look.\n"
                                                             "no,R,send-again,return,Again.\n");
    return rules;
}

/* In the first quarter
 *
 *     A  held on V1, corrected to V2 and held        V2 is held
 *     B  paid on V3, a correction held               V3 is repaired
 *     C  paid on V4, corrected to V5 and paid        V5 is repaired
 *     D  paid on V6, a correction returned           V6 is repaired
 *     E  paid on V7, reversed                        V7 is taken back
 *     F, G  inspected, and repaired, on V8           V8 is repaired
 *     H  completed on a day of the next quarter      V9 is not counted
 *     I  paid on a vehicle that is not registered    not among those involved
 *     J  paid on V10; corrected to V11 and paid in the next quarter
 *     K  paid under T1, corrected to T2 and paid     V12 is not counted under T1
 *
 * so that V3, V5, V6, V8, V10 are repaired; in the next quarter V3, V5, V6, V8, V9, V11. */
static const char FIRST_ROWS[] = "A,0,D1,RA,T1,V1,repaired,2026-02-01,H,1.00,1.00\n"
                                 "B,0,D1,RB,T1,V3,repaired,2026-02-01,P,1.00,1.00\n"
                                 "C,0,D1,RC,T1,V4,repaired,2026-02-01,P,1.00,1.00\n"
                                 "D,0,D1,RD,T1,V6,repaired,2026-02-01,P,1.00,1.00\n"
                                 "E,0,D1,RE,T1,V7,repaired,2026-02-01,P,1.00,1.00\n"
                                 "F,0,D1,RF,T1,V8,inspected,2026-02-01,P,1.00,1.00\n"
                                 "G,0,D1,RG,T1,V8,repaired,2026-02-01,P,1.00,1.00\n"
                                 "H,0,D1,RH,T1,V9,repaired,2026-04-02,P,1.00,1.00\n"
                                 "I,0,D1,RI,T1,X1,repaired,2026-02-01,P,1.00,1.00\n"
                                 "J,0,D1,RJ,T1,V10,repaired,2026-02-01,P,1.00,1.00\n"
                                 "K,0,D1,RK,T1,V12,repaired,2026-02-01,P,1.00,1.00\n";
static const char SECOND_ROWS[] = "A,1,D1,RA,T1,V2,repaired,2026-02-01,H,1.00,1.00\n"
                                  "B,1,D1,RB,T1,V3,repaired,2026-02-01,H,1.00,1.00\n"
                                  "C,1,D1,RC,T1,V5,repaired,2026-02-01,P,1.00,1.00\n"
                                  "D,1,D1,RD,T1,V6,repaired,2026-02-01,R,1.00,1.00\n"
                                  "K,1,D1,RK,T2,V12,repaired,2026-02-01,P,1.00,1.00\n";

static void revisions_by_hand(void **state)
{
    char *kept = office, *rules = steered_rules(), *csv = words("vin,model_line,model_year\n");
    struct report_text result;
    (void)state;

    office = words("%s/steered.db", folder);
    for (int i = 1; i <= 14; i++)
        csv = words("%sV%d,Brindle,2019\n", csv, i);
    load("vehicles", "2026-01-05", csv);
    load("dealers", "2026-01-05", "dealer,labor_rate,parts_markup\nD1,100,0\n");
    post_rows(rules, "first", FIRST_ROWS, "2026-03-02");
    post_rows(rules, "second", SECOND_ROWS, "2026-03-10");
    reverse("D1/E", "2026-03-11");
    post_rows(rules, "third", "J,1,D1,RJ,T1,V11,repaired,2026-02-01,P,1.00,1.00\n", "2026-04-05");
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &result, "campaign", "T1", "quarter", "2026-Q1");
    has(&result, "\n573.7(b)(3)|Vehicles involved|14|-\n");
    has(&result, "\n573.7(b)(4)|Inspected and repaired|5|-\n");
    has(&result, "\n573.7(b)(4)|Inspected and found not to need repair|0|-\n");
    has(&result, "\nNot remedied: a claim waits for the office's decision|1\n");
    has(&result, "\nNot remedied: what was paid was taken back|1\n");
    has(&result, "\nRemedied, but not among those involved|1\n");
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &result, "campaign", "T1", "quarter", "2026-Q2");
    has(&result, "\n573.7(b)(4)|Inspected and repaired|6|-\n");
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &result, "campaign", "T2", "quarter", "2026-Q1");
    has(&result, "\n573.7(b)(4)|Inspected and repaired|1|-\n");
    office = kept;
}

/* Claims on vehicles that the register does not have, or that are not in the campaign: U1 (twice) and X1 were
 * inspected, U3 and V2 repaired, V3 inspected; U2 waits. A claim on V1 was taken back and another waits, which is
 * named once. V6 is in two rows of a table that allows one. */
static void strays_by_hand(void **state)
{
    static const char ROWS[] = "A,0,D1,RA,T1,V1,repaired,2026-02-01,P,1.00,1.00\n"
                               "B,0,D1,RB,T1,V1,repaired,2026-02-02,H,1.00,1.00\n"
                               "C,0,D1,RC,T1,V2,repaired,2026-02-01,P,1.00,1.00\n"
                               "D,0,D1,RD,T1,V3,inspected,2026-02-01,P,1.00,1.00\n"
                               "E,0,D1,RE,T1,V5,repaired,2026-02-01,P,1.00,1.00\n"
                               "F,0,D1,RF,T1,U1,inspected,2026-02-01,P,1.00,1.00\n"
                               "G,0,D1,RG,T1,U1,inspected,2026-02-02,P,1.00,1.00\n"
                               "H,0,D1,RH,T1,U2,repaired,2026-02-01,H,1.00,1.00\n"
                               "I,0,D1,RI,T1,U3,repaired,2026-02-01,P,1.00,1.00\n"
                               "J,0,D1,RJ,T1,U4,repaired,2026-02-01,H,1.00,1.00\n"
                               "K,0,D1,RK,T1,X1,inspected,2026-02-01,P,1.00,1.00\n";
    static const char *const LINES[] = {
        "\n573.7(b)(3)|Vehicles involved|2|-\n",
        "\n573.7(b)(4)|Inspected and repaired|1|-\n",
        "\nNot remedied: a claim waits for the office's decision|1\n",
        "\nNot remedied: what was paid was taken back|0\n",
        "\nRemedied, but not among those involved|5\n",
        "\nNot decided: the eligibility table is in error for them|1\n",
        "\nRemedied of all involved|1|2|0.5\n",
        "note: TO CHECK: the eligibility table is in error for some vehicles, which are not counted;",
    };
    char *kept = office, *rules = steered_rules();
    struct report_text result;
    (void)state;

    write_words(words("%s/campaigns/T1/eligibility.csv", rules),
                "U,model_year,>eligible,>stage\nold,< 2015,false,\nall,>= 2012,true,first\n");
    office = words("%s/strays.db", folder);
    load("vehicles", "2026-01-05", "vin,model_line,model_year\nV1,Brindle,2019\nV2,Brindle,2010\n"
                                   "V3,Brindle,2010\nV4,Brindle,2010\nV5,Brindle,2019\nV6,Brindle,2013\n");
    load("dealers", "2026-01-05", "dealer,labor_rate,parts_markup\nD1,100,0\n");
    post_rows(rules, "strays", ROWS, "2026-03-02");
    reverse("D1/A", "2026-03-11");
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &result, "campaign", "T1", "quarter", "2026-Q1");
    has_all(&result, LINES, COUNT(LINES));
    /* nobody is in the campaign any more: a share of nothing is none */
    write_words(words("%s/campaigns/T1/eligibility.csv", rules), "F,model_year,>eligible,>stage\nall,-,false,\n");
    office = words("%s/nobody.db", folder);
    load("vehicles", "2026-01-05", "vin,model_line,model_year\nV1,Brindle,2019\n");
    KIT_REPORT(office, rules, "quarterly", "2026-08-01", &result, "campaign", "T1", "quarter", "2026-Q1");
    has(&result, "\nRemedied of all involved|0|0|-\n");
    office = kept;
}

/* --- Notices ---------------------------------------------------------------------------------- */

static void wrong_notices(void **state)
{
#define HEADER "campaign,quarter,involved,unreachable_other,other_reason,submitted_on\n"
    static const struct {
        const char *csv, *said;
    } CASES[] = {
        {"quarter\n2026-Q1\n", ":1: the column \"campaign\" is missing; add it to the first row\n"},
        {HEADER "H26-02,2026-1,,,,\n", ":2:2: quarter \"2026-1\" is no quarter; write it as 2026-Q1\n"},
        {HEADER ",2026-Q1,,,,\n", ":2:1: campaign is empty; it is needed\n"},
        {HEADER "H26-02,,,,,\n", ":2:2: quarter is empty; it is needed\n"},
        {HEADER "H26-02,2026-Q1,1.5,,,\n", ":2:3: involved \"1.5\" must be a whole number\n"},
        {HEADER "H26-02,2026-Q1,-1,,,\n", ":2:3: involved \"-1\" is below 0; it cannot be\n"},
        {HEADER "H26-02,2026-Q1,,2,,\n", ":2:4: unreachable_other \"2\" has no reason beside it; say in "
                                         "other_reason why they cannot be reached\n"},
        {HEADER "H26-02,2026-Q1,,,,soon\n",
         ":2:6: submitted_on \"soon\" is not a date; write it as 2026-03-01\n"},
        {HEADER "H26-02,2026-Q1,1,,,\nH26-02,2026-q1,2,,,\n",
         ":3:1: campaign \"H26-02\" stands on line 2 too, with other content; keep one of the two rows\n"},
    };
#undef HEADER
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *path = words("%s/wrong.csv", folder);
        write_words(path, CASES[i].csv);
        struct result result = RUN("load", "notices", path, "--office", office, "--today", "2026-09-01");
        assert_int_equal(result.code, 2);
        assert_string_equal(result.err, words("%s%s", path, CASES[i].said));
        result_free(&result);
    }
}

/* --- The schedule ----------------------------------------------------------------------------- */

/* H24-05 began in 2024-Q2: its eighth report is that of 2026-Q1, its annual ones end with 2027-Q1, 2028-Q1 and
 * 2029-Q1. */
static void the_schedule(void **state)
{
    static const char *const LINES[] = {
        "\n2024-07-30|H24-05|quarterly 1 of 8|2024-Q2|filed|-|2024-07-29|",
        "\n2024-10-30|H24-05|quarterly 2 of 8|2024-Q3|filed late|-|2024-11-04|",
        "\n2025-01-30|H24-05|quarterly 3 of 8|2024-Q4|OVERDUE|-462|-|",
        "\n2026-04-30|H24-05|quarterly 8 of 8|2026-Q1|OVERDUE|-7|-|",
        "\n2026-04-30|H26-02|quarterly 1 of 8|2026-Q1|filed|-|2026-04-28|",
        "\n2026-07-30|H26-02|quarterly 2 of 8|2026-Q2|to come|84|-|",
        "\n2027-04-30|H24-05|annual 1 of 3|2027-Q1|to come|358|-|",
        "\n2029-04-30|H24-05|annual 3 of 3|2029-Q1|to come|",
        "\n2031-01-30|H26-02|annual 3 of 3|2030-Q4|to come|",
    };
    struct report_text result;
    (void)state;

    load("notices", "2026-05-01",
         "campaign,quarter,submitted_on\nH24-05,2024-Q2,2024-07-29\nH24-05,2024-Q3,2024-11-04\n");
    KIT_REPORT(office, "rules", "schedule", "2026-05-07", &result, "show", "all");
    assert_int_equal(result.status, WM_OK);
    has_all(&result, LINES, COUNT(LINES));
    KIT_REPORT(office, "rules", "schedule", "2026-07-01", &result, "show", "open", "campaign", "H26-02");
    assert_null(strstr(result.text, "2026-Q1"));
    has(&result, "\n2026-07-30|H26-02|quarterly 2 of 8|2026-Q2|due now|29|-|");
    assert_null(strstr(result.text, "H24-05"));
    KIT_REPORT(office, "rules", "schedule", "2026-07-01", &result, "campaign", "H9");
    assert_int_equal(result.status, WM_BAD_INPUT);
    assert_string_equal(result.said.text,
                        "no campaign \"H9\" in the rules; write its number as its folder is named\n");
    /* what cannot be foreseen is said */
    KIT_REPORT(office, words("%s/no-rules", folder), "schedule", "2026-07-01", &result, "show", "all");
    has(&result, "\n[without]\nH26-02|campaign.csv has no notice_began_on yet\n");
    KIT_REPORT(office, words("%s/no-rules", folder), "schedule", "2026-07-01", &result, "show", "all", "campaign",
               "H26-02");
    has(&result, "\n[reports]\n[without]\nH26-02|campaign.csv has no notice_began_on yet\n");
    shell("rm %s/no-rules/filings.csv", folder);
    KIT_REPORT(office, words("%s/no-rules", folder), "schedule", "2026-07-01", &result, "show", "all");
    has(&result, "\n[without]\nH24-05|rules/filings.csv has no row for its kind\nH26-02|rules/filings.csv has no "
                 "row for its kind\n");
}

/* More reports than the schedule has room for at first: of H24-05's eleven there are nine times as many. */
static void a_long_schedule(void **state)
{
    enum { COPIES = 8 };
    const char *rules = words("%s/long", folder);
    struct report_text result;
    (void)state;

    shell("cp -r rules %s", rules);
    for (int i = 1; i <= COPIES; i++)
        shell("cp -r rules/campaigns/H24-05 %s/campaigns/H20-0%d && "
              "sed -i 's/^campaign,H24-05/campaign,H20-0%d/' %s/campaigns/H20-0%d/campaign.csv",
              rules, i, i, rules, i);
    KIT_REPORT(office, rules, "schedule", "2026-05-07", &result, "show", "all");
    assert_int_equal(result.status, WM_OK);
    for (int i = 1; i <= COPIES; i++) {
        has(&result, words("|H20-0%d|quarterly 1 of 8|2024-Q2|", i));
        has(&result, words("\n2029-04-30|H20-0%d|annual 3 of 3|2029-Q1|", i));
    }
    has(&result, "|H24-05|quarterly 1 of 8|2024-Q2|");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_first_quarter_by_hand),
        cmocka_unit_test(the_second_quarter_by_hand),
        cmocka_unit_test(asked_before_the_quarter_is_over),
        cmocka_unit_test(what_is_to_be_checked),
        cmocka_unit_test(rules_of_then),
        cmocka_unit_test(wrong_questions),
        cmocka_unit_test(an_emissions_campaign),
        cmocka_unit_test(revisions_by_hand),
        cmocka_unit_test(strays_by_hand),
        cmocka_unit_test(wrong_notices),
        cmocka_unit_test(the_schedule),
        cmocka_unit_test(a_long_schedule),
    };
    char pattern[] = "/tmp/witnessmark-quarterly-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    office = words("%s/office.db", folder);
    first_quarter();
    load("notices", "2026-04-28",
         "campaign,quarter,involved,explanation,notices_sent,estimated,awaiting_repair,unreachable_other,other_"
         "reason,removed,"
         "disqualified,submitted_on\n"
         "H26-02,2026-Q1,1399,,1390,300,5,2,no longer registered,3,4,2026-04-28\n");
    asked_in_time = quarterly("2026-Q1", "2026-04-29").text;
    second_quarter();
    load("notices", "2026-07-20",
         "campaign,quarter,involved,explanation\n"
         "H26-02,2026-Q2,1398,\"Two have no hose, one was missing in the register.\"\n");
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
