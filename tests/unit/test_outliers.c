/* Who stands out: a small dealer with two bad claims does not, a large one with 3 % too many does, nobody where
 * all differ widely; what is recorded, shown and verified; measures that cannot be used. */
#include "report_kit.h"

#include <jansson.h>

#include "rules/measures.h"

static char *folder, *office, *rules;

static void run_well(struct result result)
{
    if (result.code != 0)
        fail_msg("%s%s", result.out, result.err);
    result_free(&result);
}

/* --- An office with a rule that can be steered by the technician's number --------------------- */

#define MEASURES_HEADER \
    "measure,title,of_decision,of_outcome,decision,outcome,effect,finding,followup,side,near,far,draw_in\n"

static void write_rules(void)
{
    rules = words("%s/rules", folder);
    shell("mkdir -p %s/campaigns/T1 %s/checks/claim && cp rules/facts.csv rules/units.csv rules/deadlines.csv "
          "rules/filings.csv %s",
          rules, rules, rules);
    write_words(words("%s/campaigns/T1/campaign.csv", rules), "key,value\ncampaign,T1\nopens_on,2026-01-01\n");
    write_words(words("%s/campaigns/T1/eligibility.csv", rules),
                "F,model_year,>eligible,>stage\nall,-,true,first\n");
    write_words(words("%s/campaigns/T1/followups.csv", rules),
                "C,inspection:LEAK,>followup,>part,>due_days\npipe,damaged,replace the pipe,P-1,30\n");
    shell("cp -r %s/campaigns/T1 %s/campaigns/T2 && sed -i 's/T1/T2/' %s/campaigns/T2/campaign.csv", rules,
          rules, rules);
    write_words(words("%s/checks/claim/steered.csv", rules), "C,technician,>finding,>effect,>message\n"
                                                             "cut,T-CUT,too-much,cut,Too much.\n"
                                                             "no,T-NO,not-owed,refuse,Not owed.\n");
    write_words(words("%s/outliers.csv", rules), MEASURES_HEADER
                "cut-money,Claims from which money was cut,pay;hold,,,,cut,,,high,0.975,0.999,0.1\n"
                "by-name,Claims with the finding too-much,,,,,,too-much; not-owed,,high,0.975,0.999,0.1\n"
                "inspected,Inspections that found nothing,pay; hold,,,inspected,,,,both,0.975,0.999,0.1\n"
                "pipes,Claims with a pipe,,repaired,,,,,opened;supplied,high,0.975,0.999,0.1\n"
                "refused,Claims refused,,,refuse,,,,,high,0.975,0.999,0.1\n");
}

static FILE *claims;
static int claim_count;

/* Claims of one dealer that are alike. */
static void put(const char *campaign, const char *dealer, int count, const char *outcome,
                const char *technician, const char *inspections, const char *parts)
{
    for (int i = 0; i < count; i++, claim_count++)
        fprintf(claims, "C%d,%s,R%d,%s,V%d,%s,2026-02-01,%s,%s,%s,10.00,10.00\n", claim_count, dealer,
                claim_count, campaign, parts[0] != '\0' ? claim_count - 10 : claim_count, outcome, technician,
                inspections, parts);
}

/* cut of 100 claims, 20 of them inspections. */
static void put_hundred(const char *campaign, const char *dealer, int cut)
{
    put(campaign, dealer, 80 - cut, "repaired", "T-1", "", "");
    put(campaign, dealer, cut, "repaired", "T-CUT", "", "");
    put(campaign, dealer, 20, "inspected", "T-1", "", "");
}

static void post_claims(void)
{
    char *path = words("%s/claims.csv", folder), *vehicles = words("%s/vehicles.csv", folder);

    claims = fopen(path, "w");
    need(claims != NULL, path);
    fputs(
        "claim,dealer,repair_order,campaign,vin,outcome,completed_on,technician,inspections,parts,other_amount,"
        "total_amount\n",
        claims);
    for (int i = 0; i < 60; i++)
        put_hundred("T1", words("D%02d", i), 5);
    put("T1", "D90", 1440, "repaired", "T-1", "", ""); /* 8 % of 2,000 */
    put("T1", "D90", 160, "repaired", "T-CUT", "", "");
    put("T1", "D90", 400, "inspected", "T-1", "", "");
    put("T1", "D91", 2, "repaired", "T-CUT", "", ""); /* two of five */
    put("T1", "D91", 2, "repaired", "T-1", "", "");
    put("T1", "D91", 1, "inspected", "T-1", "", "");
    put("T1", "D92", 10, "repaired", "T-1", "LEAK=damaged", "");
    put("T1", "D92", 10, "repaired", "T-1", "", "P-1=1"); /* on the same vehicles: brings the part */
    put("T1", "D94", 100, "repaired", "T-1", "", "");     /* never inspects without finding something */
    put("T1", "D95", 30, "repaired", "T-1", "", "");
    put("T1", "D95", 15, "repaired", "T-NO", "", "");
    put("T1", "D95", 55, "inspected", "T-1", "", "");
    for (int i = 0; i < 60; i++) /* under the other campaign dealers differ widely */
        put_hundred("T2", words("D%02d", i), i % 2 * 10);
    put("T2", "D90", 1840, "repaired", "T-1", "", "");
    put("T2", "D90", 160, "repaired", "T-CUT", "", "");
    put("T2", "D96", 50, "repaired", "T-CUT", "", ""); /* all of fifty */
    need(fclose(claims) == 0, path);
    claims = fopen(vehicles, "w");
    need(claims != NULL, vehicles);
    fputs("vin,model_line,model_year,engine\n", claims);
    for (int i = 0; i < claim_count; i++)
        fprintf(claims, "V%d,Brindle,2019,R16\n", i);
    need(fclose(claims) == 0, vehicles);
    run_well(RUN("load", "vehicles", vehicles, "--office", office, "--today", "2026-01-01", "--quiet"));
    run_well(RUN("post", path, "--office", office, "--rules", rules, "--today", "2026-03-01", "--quiet"));
}

static struct report_text report(const char *campaign, const char *measure)
{
    struct report_text result;

    KIT_REPORT(office, rules, "outliers", "2026-05-01", &result, "campaign", campaign, "measure", measure);
    if (result.status != WM_OK)
        fail_msg("%s", result.said.text);
    return result;
}

static void has(const char *text, const char *line)
{
    if (strstr(text, line) == NULL)
        fail_msg("no %s in\n%s", line, text);
}

/* --- Cases ------------------------------------------------------------------------------------ */

/* Counted by hand from what was put: of T1, 60 x 5 + 160 + 2 = 462 cut of 6000 + 2000 + 5 + 20 + 100 + 85 =
 * 8210 that are not refused; inspected 60 x 20 + 400 + 1 + 55 = 1656; repairs 60 x 80 + 1600 + 4 + 20 + 100 +
 * 45 = 6569, 20 of them with a pipe; 15 of 8225 refused, and 462 + 15 have one of the findings. */
static void counted_by_hand(void **state)
{
    static const char *const LINES[] = {
        "\ncut-money|Claims from which money was cut|462|8210|0.056273|65|1|1\n",
        "\nby-name|Claims with the finding too-much|477|8225|",
        "\ninspected|Inspections that found nothing|1656|8210|",
        "\npipes|Claims with a pipe|20|6569|",
        "\nrefused|Claims refused|15|8225|",
    };
    (void)state;
    struct report_text result = report("T1", "cut-money");

    for (size_t i = 0; i < COUNT(LINES); i++)
        has(result.text, LINES[i]);
}

/* 8 % of 2,000 against 5.63 % of all: by the normal distribution the limit is near 0.0563 + 3.09 x sqrt(0.0563
 * x 0.9437 / 2000) = 0.0722. Two of five is 40 %: of five at 5.63 % three or more come by chance in 1.6 of
 * 1,000. */
static void large_seen_and_small_not_accused(void **state)
{
    (void)state;
    struct report_text result = report("T1", "cut-money");

    has(result.text, "\n[standing_out]\nnote: D90: Claims from which money was cut: 160 of this dealer's 2000 "
                     "claims (8.00 %), ");
    has(result.text, "\nD90|cut-money|160|2000|0.08|0.07");
    assert_null(strstr(result.text, "\nD91|cut-money|"));
    has(result.text, "\nD91|5|2|0.4|");
    has(result.text, "|above\n");
    /* each on the side on which it stands out: 0 of 100 inspected, 55 of 85 */
    has(result.text, "\nD94|inspected|0|100|0|");
    has(result.text, "\nD95|inspected|55|85|0.647059|");
    has(result.text, "\nD92|pipes|20|20|1|");
    has(result.text, "\nD95|refused|15|100|0.15|");
    result = report("T1", "inspected");
    has(result.text, "\nD94|100|0|0|");
    has(result.text, "|below\n");
}

/* A measure of one side passes over who stands out on the other; follow-up work is counted by what became of it: ten
 * of D92's claims left some and ten brought the part. */
static void sides_and_work(void **state)
{
    char *whole = rules;
    struct report_text result;
    (void)state;

    rules = words("%s/sides", folder);
    shell("cp -r %s %s", whole, rules);
    write_words(words("%s/outliers.csv", rules), MEASURES_HEADER
                "few,Inspections,pay; hold,,,inspected,,,,low,0.975,0.999,0.1\n"
                "many,Inspections,pay; hold,,,inspected,,,,high,0.975,0.999,0.1\n"
                "left,Claims that left work,,repaired,,,,,opened,high,0.975,0.999,0.1\n"
                "brought,Claims that brought a part,,repaired,,,,,supplied,high,0.975,0.999,0.1\n");
    result = report("T1", "few");
    has(result.text, "\nD94|few|0|100|0|");
    assert_null(strstr(result.text, "\nD95|few|"));
    has(result.text, "\nD95|many|55|85|");
    assert_null(strstr(result.text, "\nD94|many|"));
    has(result.text, "\nleft|Claims that left work|10|6569|");
    has(result.text, "\nbrought|Claims that brought a part|10|6569|");
    rules = whole;
}

/* The basis says from which day on claims were counted. */
static void recorded_since_a_day(void **state)
{
    const char *other = words("%s/since.db", folder);
    (void)state;

    shell("cp %s %s", office, other);
    run_well(RUN("outliers", "record", "--by", "A. Clerk", "--office", other, "--rules", rules, "--today",
                 "2026-05-01", "--since", "2026-02-15", "--quiet"));
    struct result result = RUN("outliers", "--office", other, "--format", "csv");
    has(result.out, "Counted were claims received from 2026-02-15 as they were decided");
    result_free(&result);
}

/* Where every other dealer has none or ten of a hundred, 8 % of many is nothing out of the way; fifty of fifty
 * still are. */
static void nobody_where_all_differ(void **state)
{
    (void)state;
    struct report_text result = report("T2", "cut-money");

    has(result.text, "\ncut-money|Claims from which money was cut|510|8050|0.063354|62|4.");
    assert_null(strstr(result.text, "\nD90|cut-money|"));
    has(result.text, "\nD96|cut-money|50|50|1|");
    has(result.text, ", and it is moved out by the factor 2.");
    has(result.text, " because dealers differ by more than chance. ");
    /* with the limits of chance alone it would: its z-score of (0.08 - 0.0575) / sqrt(0.0575 x 0.9425 / 2000)
     * is 4.32 */
    has(result.text, "\nD90|2000|160|0.08|3.06|");
}

static void days_and_measures_asked_for(void **state)
{
    struct report_text result;
    (void)state;

    KIT_REPORT(office, rules, "outliers", "2026-05-01", &result, "since", "2026-03-02");
    has(result.text, "\ncut-money|Claims from which money was cut|0|0|-|0|1|0\n");
    KIT_REPORT(office, rules, "outliers", "2026-05-01", &result, "until", "2026-03-01", "campaign", "T1");
    has(result.text, "\ncut-money|Claims from which money was cut|462|8210|");
    KIT_REPORT(office, rules, "outliers", "2026-05-01", &result, "measure", "cut");
    assert_int_equal(result.status, WM_BAD_INPUT);
    assert_string_equal(result.said.text,
                        "no measure \"cut\" in outliers.csv; the first there is \"cut-money\"\n");
    char *none = words("%s/none", folder);
    shell("cp -r %s %s && rm %s/outliers.csv", rules, none, none);
    KIT_REPORT(office, none, "outliers", "2026-05-01", &result, "campaign", "T1");
    assert_string_equal(result.said.text,
                        "the rules have no outliers.csv with a measure; write there by what dealers are "
                        "compared\n");
    struct result command = RUN("outliers", "record", "--by", "A. Clerk", "--office", office, "--rules", none);
    assert_int_equal(command.code, 2);
    assert_string_equal(
        command.err,
        words("%s/outliers.csv lists no measure; write there by what dealers are compared\n", none));
    result_free(&command);
    command = RUN("outliers", "record", "--office", office, "--rules", rules);
    assert_int_equal(command.code, 2);
    assert_string_equal(command.err, "--by is missing; say who compares the dealers\n");
    result_free(&command);
    command = RUN("outliers", "record", "--by", "\xff", "--office", office, "--rules", rules);
    assert_string_equal(command.err, "--by must be UTF-8 text; write it anew\n");
    result_free(&command);
}

/* --- Kept for good ---------------------------------------------------------------------------- */

static const char BASIS[] =
    "Claims from which money was cut: 160 of this dealer's 2000 claims (8.00 %), against 462 of 8210 (5.63 %) "
    "at all 65 "
    "dealers together. For 2000 claims the upper limit is 7.26 %; chance alone keeps a dealer below it with a "
    "probability "
    "of at least 99.90 %. Counted were claims of campaign T1 received up to 2026-04-30 as they were decided on "
    "2026-05-01.";

static void recorded_with_its_basis(void **state)
{
    (void)state;
    struct result result = RUN("outliers", "--office", office);
    assert_string_equal(result.out,
                        "No dealer has been recorded as standing out; `witnessmark outliers record` does.\n");
    result_free(&result);
    result = RUN("outliers", "record", "--by", "A. Clerk", "--office", office, "--rules", rules, "--today",
                 "2026-05-01", "--campaign", "T1", "--until", "2026-04-30");
    assert_int_equal(result.code, 0);
    assert_string_equal(result.out,
                        "comparison 1 recorded: 5 measures, 7 flags; `witnessmark outliers` shows the basis "
                        "that each dealer must be told\n");
    result_free(&result);
    result = RUN("outliers", "--office", office, "--dealer", "D90", "--format", "csv");
    assert_int_equal(result.code, 0);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    assert_int_equal(sheet.count, 3); /* by-name too */
    assert_string_equal(csv_at(&sheet, 1, "run"), "1");
    assert_string_equal(csv_at(&sheet, 1, "number"), "1");
    assert_string_equal(csv_at(&sheet, 1, "measure"), "cut-money");
    assert_string_equal(csv_at(&sheet, 1, "side"), "above");
    assert_string_equal(csv_at(&sheet, 1, "rate"), "0.08");
    assert_string_equal(csv_at(&sheet, 1, "all_of"), "8210");
    assert_string_equal(csv_at(&sheet, 1, "recorded_by"), "A. Clerk");
    assert_string_equal(csv_at(&sheet, 1, "basis"), BASIS);
    csv_sheet_free(&sheet);
    result_free(&result);
    result = RUN("outliers", "--office", office, "--dealer", "D90", "--format", "json");
    json_t *flag = json_loads(result.out, JSON_DISABLE_EOF_CHECK, NULL);
    assert_non_null(flag);
    assert_string_equal(json_string_value(json_object_get(flag, "basis")), BASIS);
    assert_int_equal(json_integer_value(json_object_get(flag, "counted")), 160);
    assert_true(json_is_number(json_object_get(flag, "rate")));
    json_decref(flag);
    result_free(&result);
    result = RUN("outliers", "--office", office);
    has(result.out,
        "1/1  dealer D90  cut-money  2026-05-01 by A. Clerk\n    Claims from which money was cut: 160 of this");
    has(result.out, "the lower limit is");
    result_free(&result);
}

static void recorded_again_and_verified(void **state)
{
    (void)state;
    struct result result = RUN("outliers", "record", "--by", "B. Auditor", "--office", office, "--rules", rules,
                               "--today", "2026-05-02", "--since", "2026-03-02", "--quiet");
    assert_int_equal(result.code, 0);
    assert_string_equal(result.out, "");
    result_free(&result);
    result = RUN("verify", "--office", office);
    assert_int_equal(result.code, 0);
    has(result.out, "2 comparisons of dealers\n");
    has(result.out, "everything fits\n");
    result_free(&result);
}

/* --- Measures that cannot be used ------------------------------------------------------------- */

static void wrong_measures(void **state)
{
    static const struct {
        const char *row, *said;
    } CASES[] = {
        {",Title,,,refuse,,,,,high,0.975,0.999,0.1\n",
         ":2:1: a measure needs its name and its title; fill the cell in\n"},
        {"m,,,,refuse,,,,,high,0.975,0.999,0.1\n",
         ":2:2: a measure needs its name and its title; fill the cell in\n"},
        {"m,T,paid,,refuse,,,,,high,0.975,0.999,0.1\n",
         ":2:3: of_decision \"paid\" is none; the words are pay hold return refuse\n"},
        {"m,T,,done,refuse,,,,,high,0.975,0.999,0.1\n",
         ":2:4: of_outcome \"done\" is none; the words are repaired inspected\n"},
        {"m,T,,,,,less,,,high,0.975,0.999,0.1\n",
         ":2:7: effect \"less\" is none; the words are refuse return hold cut note\n"},
        {"m,T,,,,,,,closed,high,0.975,0.999,0.1\n",
         ":2:9: followup \"closed\" is none; the words are opened supplied\n"},
        {"m,T,,,refuse,,,,,up,0.975,0.999,0.1\n", ":2:10: side \"up\" is none; write high, low or both\n"},
        {"m,T,,,refuse,,,,,high,0.5,0.999,0.1\n",
         ":2:11: near \"0.5\" is no number between 0.5 and 1; write one such as 0.975\n"},
        {"m,T,,,refuse,,,,,high,0.975,1,0.1\n",
         ":2:12: far \"1\" is no number between 0.5 and 1; write one such as 0.975\n"},
        {"m,T,,,refuse,,,,,high,0.975,0.975,0.1\n",
         ":2:12: far is not above near; the far limit is the one that counts\n"},
        {"m,T,,,refuse,,,,,high,0.975,0.999,0.5\n",
         ":2:13: draw_in \"0.5\" is no number from 0 to below 0.5; write one such as 0.1\n"},
        {"m,T,pay,,,,,,,high,0.975,0.999,0.1\n",
         ":2:1: measure \"m\" counts every claim; fill in decision, outcome, effect, finding or followup\n"},
        {"m,T,,,refuse,,,,,high,0.975,0.999,0.1\nm,T,,,refuse,,,,,high,0.975,0.999,0.1\n",
         ":3:1: measure \"m\" is listed twice; keep one\n"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct arena arena = ARENA_EMPTY;
        struct capture capture;
        struct measures measures;
        capture_start(&capture);
        assert_int_equal(measures_read(&arena, TEXT("outliers.csv"),
                                       text_of(words(MEASURES_HEADER "%s", CASES[i].row)), &capture.sink,
                                       &measures),
                         WM_BAD_INPUT);
        assert_string_equal(capture.text, words("outliers.csv%s", CASES[i].said));
        arena_free(&arena);
    }
}

/* A finding that no check gives is a slip; the measures that ship count only what the checks that ship give. */
static void lint_knows_the_findings(void **state)
{
    (void)state;
    struct result result = RUN("rules", "lint", "--rules", rules);
    assert_null(strstr(result.out, "which no check gives"));
    result_free(&result);
    write_words(words("%s/outliers.csv", rules),
                MEASURES_HEADER "m,Title,,,,,,too-much;too-mush,,high,0.975,0.999,0.1\n");
    result = RUN("rules", "lint", "--rules", rules);
    has(result.out, "outliers.csv:2:8: ");
    has(result.out, "measure \"m\" counts the finding \"too-mush\", which no check gives");
    assert_null(strstr(result.out, "\"too-much\", which"));
    result_free(&result);
    result = RUN("rules", "lint", "--rules", "rules");
    assert_int_equal(result.code, 0);
    result_free(&result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counted_by_hand),         cmocka_unit_test(large_seen_and_small_not_accused),
        cmocka_unit_test(nobody_where_all_differ), cmocka_unit_test(days_and_measures_asked_for),
        cmocka_unit_test(sides_and_work),
        cmocka_unit_test(recorded_since_a_day),
        cmocka_unit_test(recorded_with_its_basis), cmocka_unit_test(recorded_again_and_verified),
        cmocka_unit_test(wrong_measures),          cmocka_unit_test(lint_knows_the_findings),
    };
    char pattern[] = "/tmp/witnessmark-outliers-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    office = words("%s/office.db", folder);
    write_rules();
    post_claims();
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
