/* Decisions and money (contract section 6), every amount worked by hand in the comment beside it; and the
 * deadlines that ship. Asked of the program on the office of probe.h, where
 *   D1 charges 100.00 an hour and 40 % on parts, from 2026-03-01 on 110.55 and 33.3333 %; D2 99.99 and nothing,
 *   K-A costs 100.10, from 2026-03-02 on 110; FL-1 3.333333; CP-1 has no listed price,
 *   and the campaign pays up to 25.00 of other costs.
 */
#include "probe.h"

/* Days before 2026-03-01: the first version of D1 and the first price of K-A. */
#define EARLY "opened_on=2026-02-26|completed_on=2026-02-27"

struct money_case {
    const char *claims;
    const char *decided; /* of the last one: parts_allowed_amount|labor_allowed_amount decision payable due */
};

/* The last of the lines, without its newline. */
static const char *last_line(char *lines)
{
    size_t length = strlen(lines);

    assert_true(length > 0);
    lines[length - 1] = '\0';
    char *before = strrchr(lines, '\n');
    return before != NULL ? before + 1 : lines;
}

static void expect_money(const struct money_case *cases, size_t count)
{
    probe_facts("claim", "parts_allowed_amount labor_allowed_amount");
    for (size_t i = 0; i < count; i++) {
        struct result result = probe_check(cases[i].claims, "2026-03-10");
        struct csv_sheet sheet = csv_sheet_read(result.out);
        size_t last = sheet.count - 1;
        char *got = words("%s %s %s %s", last_line(probe_messages()), csv_at(&sheet, last, "decision"),
                          csv_at(&sheet, last, "payable"), csv_at(&sheet, last, "due"));
        if (strcmp(got, cases[i].decided) != 0)
            fail_msg("%s\nexpected %s\ngot      %s", cases[i].claims, cases[i].decided, got);
        csv_sheet_free(&sheet);
        result_free(&result);
    }
    probe_facts("claim", NULL);
}

static void parts(void **state)
{
    static const struct money_case CASES[] = {
        /* min(1, 1) x min(100.10, 100.10) = 100.10, x 1.40 = 140.14; payable the smaller of it and the asked */
        {EARLY "|parts=K-A|parts_amount=140.14|total_amount=140.14", "140.14|0 pay 140.14 140.14"},
        {EARLY "|parts=K-A|parts_amount=150|total_amount=150", "140.14|0 pay 140.14 140.14"},
        {EARLY "|parts=K-A|parts_amount=140.13|total_amount=150", "140.14|0 pay 140.13 140.13"},
        /* a lower price asked counts: 90 x 1.40 = 126.00; a higher one does not */
        {EARLY "|parts=K-A@90|parts_amount=999|total_amount=999", "126|0 pay 126.00 126.00"},
        {EARLY "|parts=K-A@190|parts_amount=999|total_amount=999", "140.14|0 pay 140.14 140.14"},
        /* 2 of FL-1 are allowed, so 3 count as 2: 2 x 3.333333 = 6.666666, x 1.40 = 9.3333324, 9.33;
         * one: 3.333333 x 1.40 = 4.6666662, 4.67 */
        {EARLY "|parts=FL-1=3|parts_amount=99|total_amount=99", "9.33|0 pay 9.33 9.33"},
        {EARLY "|parts=FL-1=1|parts_amount=99|total_amount=99", "4.67|0 pay 4.67 4.67"},
        /* (100.10 + 6.666666) x 1.40 = 149.4733324, 149.47 */
        {EARLY "|parts=K-A; FL-1=2|parts_amount=999|total_amount=999", "149.47|0 pay 149.47 149.47"},
        /* on 2026-03-02: 110 x 1.333333 = 146.66663, 146.67 */
        {"parts=K-A|parts_amount=999|total_amount=999", "146.67|0 pay 146.67 146.67"},
        /* on 2026-03-01 the new markup meets the old price: 100.10 x 1.333333 = 133.4666333, 133.47 */
        {"completed_on=2026-03-01|parts=K-A|parts_amount=999|total_amount=999", "133.47|0 pay 133.47 133.47"},
        /* half a cent is rounded away from zero: 1 x 0.005 = 0.005, 0.01; 0.004999 is 0.00 */
        {"dealer=D2|parts=FL-1=1@0.005|parts_amount=9|total_amount=9", "0.01|0 pay 0.01 0.01"},
        {"dealer=D2|parts=FL-1=1@0.004999|parts_amount=9|total_amount=9", "0|0 pay 0.00 0.00"},
        /* 0.5 x 3.333333 = 1.6666665, 1.67 */
        {"dealer=D2|parts=FL-1=0.5|parts_amount=9|total_amount=9", "1.67|0 pay 1.67 1.67"},
        /* without a listed price the stated one, without either nothing: CP-1, where the cap is wrong */
        {"dealer=D2|parts=CP-1@7.25|inspections=CAP=wrong|parts_amount=9|total_amount=9",
         "7.25|0 pay 7.25 7.25"},
        {"dealer=D2|parts=CP-1|inspections=CAP=wrong|parts_amount=9|total_amount=9", "0|0 pay 0.00 0.00"},
        /* what is not expected is not paid: another vehicle's kit, a strange part, a cap that is right */
        {EARLY "|parts=K-B; X-1=1@5; CP-1@7|parts_amount=999|total_amount=999", "0|0 pay 0.00 0.00"},
        {EARLY "|parts=X-A=1@5; X1=2@5|parts_amount=999|total_amount=999",
         "0|0 pay 0.00 0.00"}, /* ends like K-A, FL-1 */
        /* nothing is expected of a vehicle that is not eligible */
        {EARLY "|vin=" VIN_GAMMA "|parts=K-A|parts_amount=99|total_amount=99", "0|0 pay 0.00 0.00"},
    };
    (void)state;
    expect_money(CASES, COUNT(CASES));
}

static void labor(void **state)
{
    static const struct money_case CASES[] = {
        /* 1.2 + 0.3 for towing = 1.5 hours allowed, x 100 = 150.00; fewer claimed count as claimed */
        {EARLY "|labor=OP-1=1.5|labor_amount=150|total_amount=150", "0|150 pay 150.00 150.00"},
        {EARLY "|labor=OP-1=1.6|labor_amount=160|total_amount=160", "0|150 pay 150.00 150.00"},
        {EARLY "|labor=OP-1=1.4|labor_amount=160|total_amount=160", "0|140 pay 140.00 140.00"},
        /* 1.5 x 110.55 = 165.825, half a cent away from zero: 165.83 */
        {"labor=OP-1=1.5|labor_amount=999|total_amount=999", "0|165.83 pay 165.83 165.83"},
        /* 0.6 x 99.99 = 59.994, 59.99 */
        {"dealer=D2|labor=OP-1=0.6|labor_amount=999|total_amount=999", "0|59.99 pay 59.99 59.99"},
        /* the sum is rounded, not its parts: 1.5 x 99.99 = 149.985 and 0.5 x 99.99 = 49.995 make 199.98 */
        {"dealer=D2|labor=OP-1=1.5; OP-2=0.5|inspections=CAP=wrong|labor_amount=999|total_amount=999",
         "0|199.98 pay 199.98 199.98"},
        /* operations that are not expected are not paid */
        {EARLY "|labor=OP-9=0.4; OP-2=0.5; OP-8=1|labor_amount=999|total_amount=999", "0|0 pay 0.00 0.00"},
        /* 815 ILCS 710/6, the arithmetic only: 0.6 h x 1.5 = 0.9 h, x 180 = 162.00 */
        {"dealer=D3|labor=OP-1=0.9|labor_amount=162|total_amount=162", "0|162 pay 162.00 162.00"},
    };
    (void)state;
    expect_money(CASES, COUNT(CASES));
}

static void totals(void **state)
{
    static const struct money_case CASES[] = {
        /* other costs: the smaller of 25.00 and what is asked; under T0, which has no limit, none */
        {"other_amount=24.99|total_amount=24.99", "0|0 pay 24.99 24.99"},
        {"other_amount=26|total_amount=26", "0|0 pay 25.00 25.00"},
        {"campaign=T0|other_amount=26|total_amount=26", "0|0 pay 0.00 0.00"},
        /* 140.14 + 150.00 + 25.00 = 315.14; at most what is asked in total */
        {EARLY "|parts=K-A|labor=OP-1=1.5|parts_amount=140.14|labor_amount=150|other_amount=25"
               "|total_amount=315.14",
         "140.14|150 pay 315.14 315.14"},
        {EARLY "|parts=K-A|labor=OP-1=1.5|parts_amount=140.14|labor_amount=150|other_amount=25"
               "|total_amount=315.13",
         "140.14|150 pay 315.13 315.13"},
        {EARLY "|parts=K-A|parts_amount=140.14", "140.14|0 pay 0.00 0.00"},
        /* an unknown dealer: both allowed amounts are null, and nothing is payable but other costs */
        {"dealer=D9|parts=K-A|labor=OP-1=1|parts_amount=99|labor_amount=99|other_amount=5|total_amount=203",
         "| pay 5.00 5.00"},
        /* the largest amounts that can be written are no reason to be wrong: 2 x 3.333333 x 1.40, 9.33 */
        {EARLY "|parts=FL-1=9000000000000@9000000000000|parts_amount=9000000000000|total_amount=9000000000000",
         "9.33|0 pay 9.33 9.33"},
    };
    (void)state;
    expect_money(CASES, COUNT(CASES));
}

/* Rules that allow more than there can be: 9e12 parts at 9e12 each, and 9e12 hours at 180.00, stay at the end
 * of what is counted (9,223,372,036,854.775807 as a fact), and what is payable is what was asked. */
static void allowances_beyond_any_amount(void **state)
{
    static const struct money_case CASES[] = {
        {"campaign=T8|dealer=D3|parts=P-1=9000000000000|labor=OP-1=9000000000000|parts_amount=9000000000000"
         "|labor_amount=9000000000000|total_amount=9000000000000",
         "9223372036854.775807|9223372036854.775807 pay 9000000000000.00 9000000000000.00"},
        /* three of each: the sums themselves are beyond what is counted with */
        {"campaign=T8|dealer=D4|parts=P-1=9000000000000; P-2=9000000000000; "
         "P-3=9000000000000|labor=OP-1=9000000000000; "
         "OP-2=9000000000000; OP-3=9000000000000|parts_amount=1|labor_amount=2|total_amount=3",
         "9223372036854.775807|9223372036854.775807 pay 3.00 3.00"},
        {"campaign=T8|dealer=D3|parts=P-1=9000000000000@1|labor=OP-1=1|parts_amount=9200000000000"
         "|labor_amount=180|total_amount=9200000000000",
         "9223372036854.775807|180 pay 9200000000000.00 9200000000000.00"}, /* 9e12 x 1.25 = 1.125e13 */
    };
    (void)state;

    shell("mkdir -p %s", probe_path("rules/campaigns/T8"));
    write_words(probe_path("rules/campaigns/T8/campaign.csv"), "key,value\ncampaign,T8\nopens_on,2026-01-01\n");
    write_words(probe_path("rules/campaigns/T8/eligibility.csv"), "F,model_line,>eligible\nalpha,Alpha,true\n");
    write_words(probe_path("rules/campaigns/T8/parts.csv"),
                "C,engine,>part,>quantity,>need\none,-,P-1,9000000000000,required\n"
                "two,-,P-2,9000000000000,required\nthree,-,P-3,9000000000000,required\n");
    write_words(probe_path("rules/campaigns/T8/prices.csv"),
                "part,price\nP-1,9000000000000\nP-2,9000000000000\nP-3,9000000000000\n");
    write_words(probe_path("rules/campaigns/T8/labor.csv"),
                "C,engine,>operation,>hours,>need\none,-,OP-1,9000000000000,required\n"
                "two,-,OP-2,9000000000000,required\nthree,-,OP-3,9000000000000,required\n");
    expect_money(CASES, COUNT(CASES));
    shell("rm -rf %s", probe_path("rules/campaigns/T8"));
}

static void decisions(void **state)
{
    static const struct money_case CASES[] = {
        /* held: payable, not due; returned and refused: nothing */
        {"other_amount=10|total_amount=10|engine=HOLD", "0|0 hold 10.00 0.00"},
        {"other_amount=10|total_amount=10|engine=RETURN", "0|0 return 0.00 0.00"},
        {"other_amount=10|total_amount=10|engine=REFUSE", "0|0 refuse 0.00 0.00"},
        /* due is payable less what an earlier revision was paid: 20 - 10 = 10; 4 - 10 = -6 */
        {"claim=A|other_amount=10|total_amount=10\nclaim=A|revision=1|other_amount=20|total_amount=20",
         "0|0 pay 20.00 10.00"},
        {"claim=A|other_amount=10|total_amount=10\nclaim=A|revision=1|other_amount=4|total_amount=4",
         "0|0 pay 4.00 -6.00"},
        {"claim=A|other_amount=10|total_amount=10\n"
         "claim=A|revision=1|other_amount=4|total_amount=4|engine=HOLD",
         "0|0 hold 4.00 0.00"},
        {"claim=A|other_amount=10|total_amount=10\nclaim=A|revision=1|engine=RETURN\n"
         "claim=A|revision=2|other_amount=4|total_amount=4",
         "0|0 pay 4.00 -6.00"},
        /* AP-3 covers what REFUSE provokes, and makes it a note; AP-2 covers something else */
        {"other_amount=10|total_amount=10|engine=REFUSE|approval=AP-3", "0|0 pay 10.00 10.00"},
        {"other_amount=10|total_amount=10|engine=REFUSE|approval=AP-2", "0|0 refuse 0.00 0.00"},
    };
    (void)state;
    expect_money(CASES, COUNT(CASES));
}

/* --- Order and shape of findings --------------------------------------------------------------------------- */

/* Findings of every effect and of two scopes at once: worst effect first, then by name, each name once in the
 * decisions; in the findings file claim scope first, then items as the rules list them, then the claim's own. */
static void findings_in_order(void **state)
{
    static const char CLAIM_CHECKS[] = "C,campaign,>finding,>effect,>message\n"
                                       "n,-,zeta,note,On {completed_on}.\nc,-,cut-a,cut,-\nh,-,hold-a,hold,x\n"
                                       "r,-,return-b,return,x\nr2,-,return-a,return,x\nsilent,-,,,\n";
    static const char PART_CHECKS[] = "C,claimed,>finding,>effect,>message\nall,-,cut-a,cut,Part {part}.\n";
    static const char *const EXPECTED[] = {
        "return,return-a,,x,checks/claim/order.csv:r2",
        "return,return-b,,x,checks/claim/order.csv:r",
        "hold,hold-a,,x,checks/claim/order.csv:h",
        "cut,cut-a,,-,checks/claim/order.csv:c",
        "cut,cut-a,K-A,Part K-A.,checks/part/order.csv:all",
        "cut,cut-a,FL-1,Part FL-1.,checks/part/order.csv:all",
        "cut,cut-a,Z-1,Part Z-1.,checks/part/order.csv:all",
        "cut,cut-a,A-1,Part A-1.,checks/part/order.csv:all",
        "note,zeta,,On 2026-03-02.,checks/claim/order.csv:n",
    };
    (void)state;

    write_words(probe_path("rules/checks/claim/order.csv"), CLAIM_CHECKS);
    write_words(probe_path("rules/checks/part/order.csv"), PART_CHECKS);
    struct result result = probe_check("parts=Z-1; A-1; FL-1", "2026-03-10");
    struct csv_sheet decided = csv_sheet_read(result.out);
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_string_equal(csv_at(&decided, 1, "findings"), "return-a;return-b;hold-a;cut-a;zeta");
    assert_string_equal(csv_at(&decided, 1, "decision"), "return");
    assert_int_equal(findings.count - 1, COUNT(EXPECTED));
    for (size_t i = 0; i < COUNT(EXPECTED); i++) {
        const char *got = words("%s,%s,%s,%s,%s", csv_at(&findings, i + 1, "effect"),
                                csv_at(&findings, i + 1, "finding"), csv_at(&findings, i + 1, "item"),
                                csv_at(&findings, i + 1, "message"), csv_at(&findings, i + 1, "rule"));
        assert_string_equal(got, EXPECTED[i]);
    }
    csv_sheet_free(&decided);
    csv_sheet_free(&findings);
    result_free(&result);
    unlink(probe_path("rules/checks/claim/order.csv"));
    unlink(probe_path("rules/checks/part/order.csv"));
}

/* A table whose rows contradict each other for a claim stops nothing else, and the claim is held. */
static void ambiguous_rules_hold(void **state)
{
    (void)state;
    write_words(probe_path("rules/checks/claim/twice.csv"),
                "U,odometer,>finding,>effect,>message\nlow,<= 10,low,note,x\nhigh,>= 10,high,note,x\n");
    struct result result = probe_check("odometer=9\nodometer=10\nodometer=11", "2026-03-10");
    struct csv_sheet decided = csv_sheet_read(result.out);
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_string_equal(csv_at(&decided, 1, "findings"), "low");
    assert_string_equal(csv_at(&decided, 2, "findings"), "rules-ambiguous");
    assert_string_equal(csv_at(&decided, 2, "decision"), "hold");
    assert_string_equal(csv_at(&decided, 3, "findings"), "high");
    assert_string_equal(csv_at(&findings, 2, "rule"), "checks/claim/twice.csv");
    assert_non_null(strstr(csv_at(&findings, 2, "message"), "low"));
    assert_non_null(strstr(csv_at(&findings, 2, "message"), "high"));
    csv_sheet_free(&decided);
    csv_sheet_free(&findings);
    result_free(&result);
    unlink(probe_path("rules/checks/claim/twice.csv"));
}

/* A table that is in error on two parts of a claim says so twice. */
static void ambiguous_rules_of_items_hold(void **state)
{
    (void)state;
    write_words(probe_path("rules/checks/part/twice.csv"),
                "U,claimed,quantity,>finding,>effect,>message\nlow,true,<= 2,low,note,x\nhigh,true,>= 2,high,note,x\n");
    struct result result = probe_check("parts=Z-1=2; Y-1=3; X-1=2", "2026-03-10");
    struct csv_sheet decided = csv_sheet_read(result.out);
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_string_equal(csv_at(&decided, 1, "findings"), "rules-ambiguous;high");
    assert_string_equal(csv_at(&decided, 1, "decision"), "hold");
    assert_int_equal(findings.count, 4);
    for (size_t row = 1; row <= 2; row++) {
        assert_string_equal(csv_at(&findings, row, "finding"), "rules-ambiguous");
        assert_string_equal(csv_at(&findings, row, "rule"), "checks/part/twice.csv");
    }
    assert_string_equal(csv_at(&findings, 3, "item"), "Y-1");
    csv_sheet_free(&decided);
    csv_sheet_free(&findings);
    result_free(&result);
    unlink(probe_path("rules/checks/part/twice.csv"));
}

/* The other two ways in which rules fail on a claim, and what is said of each. */
static void rules_fail_in_other_ways(void **state)
{
    (void)state;
    write_words(probe_path("rules/checks/claim/differ.csv"),
                "A,odometer,>finding,>effect,>message\nlow,<= 10,low,note,x\nhigh,>= 10,high,note,x\n");
    write_words(probe_path("rules/checks/claim/slow.csv"),
                "C,technician,>finding,>effect,>message\nother,null,other,note,x\n"
                "slow,\"matches(?, \"\"^(a|aa)+$\"\")\",slow,note,x\n");
    struct result result = probe_check("odometer=10|technician=b\n"
                                       "odometer=9|technician=aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaab\n"
                                       "odometer=11|technician=aa",
                                       "2026-03-10");
    struct csv_sheet decided = csv_sheet_read(result.out), findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_string_equal(csv_at(&decided, 1, "findings"), "rules-ambiguous");
    assert_string_equal(csv_at(&decided, 1, "decision"), "hold");
    assert_string_equal(csv_at(&decided, 2, "findings"), "rules-ambiguous;low");
    assert_string_equal(csv_at(&decided, 3, "findings"), "high;slow");
    assert_string_equal(csv_at(&findings, 1, "message"),
                        "rows low and high hit with different outputs; the office must correct its rules");
    assert_string_equal(csv_at(&findings, 2, "message"),
                        "the pattern in row slow took too long on this claim; the office must correct its rules");
    csv_sheet_free(&decided);
    csv_sheet_free(&findings);
    result_free(&result);
    unlink(probe_path("rules/checks/claim/differ.csv"));
    unlink(probe_path("rules/checks/claim/slow.csv"));
}

/* The header is the first row of the file, wherever it stands: behind more empty lines than a thread takes at a
 * time too. */
static void headers_behind_empty_lines(void **state)
{
    static const struct {
        int lines;
        bool header;
    } CASES[] = {{0, true}, {1, true}, {200000, true}, {200000, false}, {0, false}};
    const char *path = probe_path("empty.csv");
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        FILE *file = fopen(path, "w");
        need(file != NULL, path);
        for (int line = 0; line < CASES[i].lines; line++)
            fputc('\n', file);
        if (CASES[i].header)
            fputs("claim,dealer,repair_order,campaign,vin,outcome\nA,D1,R,T1," VIN_A ",repaired\n", file);
        need(fclose(file) == 0, path);
        struct result result = RUN("check", path, "--office", probe_path("office.db"), "--rules", probe_path("rules"),
                                   "--today", "2026-03-10", "--format", "csv");
        if (CASES[i].header) {
            struct csv_sheet decided = csv_sheet_read(result.out);
            assert_int_equal(decided.count, 2);
            assert_string_equal(csv_at(&decided, 1, "claim"), "A");
            csv_sheet_free(&decided);
        } else {
            assert_int_equal(result.code, 2);
            assert_non_null(strstr(result.err, "the file is empty; its first row must name the columns"));
        }
        result_free(&result);
    }
}

/* The JSON of `explain`, without blanks, so that parts of it can be looked for. */
static char *explained(const char *claim, const char *office)
{
    struct result result = RUN("explain", claim, "--office", office, "--format", "json");
    char *to = result.out;

    assert_int_equal(result.code, 0);
    for (const char *from = result.out; *from != '\0'; from++)
        if (*from != ' ' && *from != '\n')
            *to++ = *from;
    *to = '\0';
    return result.out;
}

static void explanations(void **state)
{
    static const struct {
        const char *claim, *parts[8];
    } CASES[] = {
        {"D1/A", /* an approval, parts that are none of the campaign, or have no listed price */
         {"\"approval\":{\"approval\":\"AP-3\",\"valid\":true,\"covers\":\"seen-by-engine\",\"reason\":"
          "\"byletter\"}",
          "{\"item\":\"X-1\",\"expected\":null,\"quantity_claimed\":\"2\",\"price_claimed\":\"5\",\"quantity_"
          "counted\":\"0\","
          "\"price_counted\":\"0\"}",
          "{\"item\":\"CP-1\",\"expected\":\"allowed\",\"quantity_claimed\":\"1\",\"quantity_allowed\":\"1\"",
          "{\"item\":\"OP-7\",\"expected\":null,\"hours_claimed\":\"1\",\"hours_counted\":\"0\"}",
          "\"effect\":\"note\"", "\"rule\":\"checks/claim/decider.csv:refuse\"", "\"in_error\":false"}},
        {"D1/B", /* a vehicle that is not in the campaign: its eligibility alone is told */
         {"\"vehicle\":{\"registered\":true", "\"model_line\":\"Gamma\"",
          "\"table\":\"campaigns/T1/eligibility.csv\"", "\"approval\":null", "\"payable\":\"0.00\""}},
        {"D1/F", /* a vehicle of which little is known */
         {"\"vehicle\":{\"registered\":true,\"model_line\":\"Delta\",\"status\":\"in_service\"}"}},
        {"D9/C", /* neither vehicle nor dealer are known */
         {"\"vehicle\":{\"registered\":false}", "\"dealer\":{\"registered\":false}"}},
        {"D1/G", /* eligible or not: in error; an approval that is another campaign's */
         {"\"approval\":{\"approval\":\"AP-1\",\"valid\":false", "\"finding\":\"rules-ambiguous\"",
          "{\"table\":\"campaigns/T8/eligibility.csv\",\"in_error\":true", "\"payable\":\"0.00\""}},
        {"D1/E", /* rules in error */
         {"\"finding\":\"rules-ambiguous\"", "\"in_error\":true", "\"rule\":\"checks/claim/twice.csv\"}"}},
    };
    const char *office = probe_path("explained.db");
    (void)state;

    shell("cp %s %s", probe_path("office.db"), office);
    write_words(probe_path("one.csv"), "vin,model_line,model_year,engine,transmission,built_on,plant,options,status,"
                                       "status_on\nEZ7TDAC12LT000707,Delta,,,,,,,in_service,\n");
    struct result loaded = RUN("load", "vehicles", probe_path("one.csv"), "--office", office, "--today", "2026-03-01");
    if (loaded.code != 0)
        fail_msg("%s", loaded.err);
    result_free(&loaded);
    write_words(probe_path("rules/checks/claim/twice.csv"),
                "U,odometer,>finding,>effect,>message\nlow,<= 10,low,note,x\nhigh,>= 10,high,note,x\n");
    shell("mkdir -p %s", probe_path("rules/campaigns/T8"));
    write_words(probe_path("rules/campaigns/T8/campaign.csv"), "key,value\ncampaign,T8\nopens_on,2026-01-01\n");
    write_words(probe_path("rules/campaigns/T8/eligibility.csv"),
                "U,model_line,>eligible\nalpha,Alpha,true\nagain,Alpha,false\n");
    struct result result =
        RUN("post",
            probe_write_claims(
                "claim=F|vin=EZ7TDAC12LT000707\n"
                "claim=A|engine=REFUSE|approval=AP-3|parts=X-1=2@5; CP-1|labor=OP-7=1|inspections=CAP=wrong\n"
                "claim=B|vin=" VIN_GAMMA "\nclaim=C|dealer=D9|vin=1M8GDM9AXKP042788\nclaim=E|odometer=10\n"
                "claim=G|campaign=T8|approval=AP-1"),
            "--office", office, "--rules", probe_path("rules"), "--today", "2026-03-10", "--quiet");
    if (result.code > 1)
        fail_msg("%s", result.err);
    result_free(&result);
    unlink(probe_path("rules/checks/claim/twice.csv"));
    shell("rm -rf %s", probe_path("rules/campaigns/T8"));
    for (size_t i = 0; i < COUNT(CASES); i++) {
        char *json = explained(CASES[i].claim, office);
        for (size_t k = 0; k < COUNT(CASES[i].parts) && CASES[i].parts[k] != NULL; k++)
            if (strstr(json, CASES[i].parts[k]) == NULL)
                fail_msg("no %s in %s", CASES[i].parts[k], json);
        if (i == 1)
            assert_null(strstr(json, "campaigns/T1/kits.csv"));
        free(json);
    }
    unlink(office);
}

/* Findings of one name: by item, by table, by row; and one message a finding. */
static void findings_of_one_name(void **state)
{
    static const char *const EXPECTED[] = {
        "same,,first of a,checks/claim/same-a.csv:r1",
        "same,,second of a,checks/claim/same-a.csv:r2",
        "same,,first of b,checks/claim/same-b.csv:r1",
        "same,K-A,part K-A,checks/part/same.csv:all",
        "same,FL-1,part FL-1,checks/part/same.csv:all",
    };
    (void)state;

    write_words(probe_path("rules/checks/claim/same-b.csv"),
                "C,campaign,>finding,>effect,>message\nr1,-,same,note,first of b\n");
    write_words(probe_path("rules/checks/claim/same-a.csv"),
                "O,campaign,>finding,>effect,>message\nvalues,-,,,\"second of a, first of a\"\n"
                "r1,-,same,note,first of a\nr2,-,same,note,second of a\n");
    write_words(probe_path("rules/checks/part/same.csv"),
                "C,claimed,>finding,>effect,>message\nall,-,same,note,part {part}\n");
    struct result result = probe_check("", "2026-03-10");
    struct csv_sheet decided = csv_sheet_read(result.out), findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_string_equal(csv_at(&decided, 1, "findings"), "same");
    assert_int_equal(findings.count - 1, COUNT(EXPECTED));
    for (size_t i = 0; i < COUNT(EXPECTED); i++)
        assert_string_equal(words("%s,%s,%s,%s", csv_at(&findings, i + 1, "finding"), csv_at(&findings, i + 1, "item"),
                                  csv_at(&findings, i + 1, "message"), csv_at(&findings, i + 1, "rule")),
                            EXPECTED[i]);
    csv_sheet_free(&decided);
    csv_sheet_free(&findings);
    result_free(&result);
    unlink(probe_path("rules/checks/claim/same-a.csv"));
    unlink(probe_path("rules/checks/claim/same-b.csv"));
    unlink(probe_path("rules/checks/part/same.csv"));
}

/* A finding about the claim stands before those of one name about its items, also where it was made behind them. */
static void findings_of_one_name_made_late(void **state)
{
    static const char *const ITEMS[] = {"", "K-A", "FL-1"};
    (void)state;

    write_words(probe_path("rules/checks/claim/same-late.csv"),
                "C,earlier_claim,>finding,>effect,>message\nr1,null,same,note,first\n");
    write_words(probe_path("rules/checks/part/same.csv"),
                "C,claimed,>finding,>effect,>message\nall,-,same,note,part {part}\n");
    struct result result = probe_check("", "2026-03-10");
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_int_equal(findings.count - 1, COUNT(ITEMS));
    for (size_t i = 0; i < COUNT(ITEMS); i++)
        assert_string_equal(csv_at(&findings, i + 1, "item"), ITEMS[i]);
    csv_sheet_free(&findings);
    result_free(&result);
    unlink(probe_path("rules/checks/claim/same-late.csv"));
    unlink(probe_path("rules/checks/part/same.csv"));
}

/* A check of items that asks what other claims mean is asked behind them; one table holds both kinds of rows. */
static void checks_of_items_that_are_late(void **state)
{
    (void)state;
    write_words(probe_path("rules/checks/part/late.csv"),
                "C,claimed,earlier_claim,>finding,>effect,>message\n"
                "again,true,not(null),part-again,hold,{part} again\nfirst,true,null,part-first,note,{part} first\n");
    struct result result = probe_check("claim=A|parts=K-A\nclaim=B|parts=K-A; FL-1\nclaim=C", "2026-03-10");
    struct csv_sheet decided = csv_sheet_read(result.out), findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_string_equal(csv_at(&decided, 1, "findings"), "part-first");
    assert_string_equal(csv_at(&decided, 2, "findings"), "part-again");
    assert_string_equal(csv_at(&decided, 2, "decision"), "hold");
    assert_string_equal(csv_at(&decided, 3, "findings"), "");
    assert_int_equal(findings.count - 1, 3);
    assert_string_equal(csv_at(&findings, 2, "message"), "K-A again");
    assert_string_equal(csv_at(&findings, 3, "message"), "FL-1 again");
    csv_sheet_free(&decided);
    csv_sheet_free(&findings);
    result_free(&result);
    unlink(probe_path("rules/checks/part/late.csv"));
}

/* A message holds 2,048 bytes and no half characters: of 1,500 of two bytes, 1,022 and three points. */
static void long_messages_are_cut(void **state)
{
    enum { CHARACTERS = 1500, KEPT = 1022 };
    char technician[2 * CHARACTERS + 1] = "", expected[2 * KEPT + 4] = "";
    (void)state;

    for (int i = 0; i < CHARACTERS; i++)
        memcpy(technician + 2 * i, "\xc3\xa9", 3);
    memcpy(expected, technician, 2 * KEPT);
    memcpy(expected + 2 * KEPT, "...", 4);
    probe_facts("claim", "technician");
    struct result result = probe_check(words("technician=%s", technician), "2026-03-10");
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_string_equal(csv_at(&findings, 1, "message"), expected);
    csv_sheet_free(&findings);
    result_free(&result);
    probe_facts("claim", NULL);
}

/* More rows in one block of the file than it has room for at first: short ones, none of which is a claim. */
static void many_short_rows(void **state)
{
    enum { ROWS = 20000 };
    FILE *file = fopen(probe_path("short.csv"), "w");
    (void)state;

    need(file != NULL, "short.csv");
    fputs("claim,dealer,repair_order,campaign,vin,outcome\n", file);
    for (int i = 0; i < ROWS; i++)
        fprintf(file, "c,,,,,\n");
    need(fclose(file) == 0, "short.csv");
    struct result result = RUN("check", probe_path("short.csv"), "--office", probe_path("office.db"), "--rules",
                               probe_path("rules"), "--today", "2026-03-10", "--format", "csv");
    size_t unreadable = 0;
    for (const char *at = result.out; (at = strstr(at, "row-unreadable")) != NULL; at++)
        unreadable++;
    assert_int_equal(unreadable, ROWS);
    result_free(&result);
}

/* Decisions are the same where nobody asks for the findings' messages. */
static void without_messages(void **state)
{
    static const char CLAIMS[] =
        "engine=REFUSE|approval=AP-3|other_amount=10|total_amount=10\nengine=HOLD|total_amount=1\nodometer=x";
    (void)state;

    struct result with = probe_check(CLAIMS, "2026-03-10");
    struct result without =
        RUN("check", probe_write_claims(CLAIMS), "--office", probe_path("office.db"), "--rules",
            probe_path("rules"), "--today", "2026-03-10", "--received", "2026-03-10", "--format", "csv");
    struct csv_sheet decided = csv_sheet_read(without.out);
    assert_string_equal(without.out, with.out);
    assert_string_equal(csv_at(&decided, 1, "decision"), "pay");
    assert_string_equal(csv_at(&decided, 2, "decision"), "hold");
    assert_string_equal(csv_at(&decided, 3, "decision"), "return");
    csv_sheet_free(&decided);
    result_free(&with);
    result_free(&without);
}

/* An approval names itself in the message of what it covers, and covers nothing of another dealer. */
static void approvals_cover_what_they_name(void **state)
{
    (void)state;
    struct result result =
        probe_check("engine=REFUSE|approval=AP-3\nengine=REFUSE|approval=AP-3|dealer=D2", "2026-03-10");
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_int_equal(findings.count, 3);
    assert_string_equal(csv_at(&findings, 1, "effect"), "note");
    assert_non_null(strstr(csv_at(&findings, 1, "message"), "AP-3"));
    assert_string_equal(csv_at(&findings, 2, "effect"), "refuse");
    csv_sheet_free(&findings);
    result_free(&result);
}

/* So many checks of one scope that their row sets take memory of their own: each is asked about each item. */
static void many_checks_of_a_scope(void **state)
{
    enum { CHECKS = 11 };
    char expected[1024] = "";
    (void)state;

    for (int i = 0; i < CHECKS; i++) {
        write_words(probe_path(words("rules/checks/part/many-%c.csv", 'a' + i)),
                    words("C,claimed,quantity,>finding,>effect,>message\n"
                          "row,true,%d,part-%c,note,Part {part}.\nother,false,null,absent-%c,note,No {part}.\n",
                          i % 2 + 1, 'a' + i, 'a' + i));
        snprintf(expected + strlen(expected), sizeof expected - strlen(expected), "%s;",
                 words("absent-%c", 'a' + i));
    }
    for (int i = 0; i < CHECKS; i++)
        snprintf(expected + strlen(expected), sizeof expected - strlen(expected), "part-%c%s", 'a' + i,
                 i + 1 < CHECKS ? ";" : "");
    struct result result = probe_check("parts=Z-1=1; Y-1=2", "2026-03-10"); /* neither K-A nor FL-1 */
    struct csv_sheet decided = csv_sheet_read(result.out);
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    assert_string_equal(csv_at(&decided, 1, "findings"), expected);
    assert_int_equal(findings.count - 1,
                     2 * CHECKS + CHECKS); /* two parts are missing; each check has one that is there */
    assert_string_equal(csv_at(&findings, 1, "item"), "K-A");
    assert_string_equal(csv_at(&findings, 2, "item"), "FL-1");
    assert_string_equal(csv_at(&findings, 2 * CHECKS + 1, "item"), "Z-1");
    assert_string_equal(csv_at(&findings, 2 * CHECKS + 2, "item"), "Y-1");
    csv_sheet_free(&decided);
    csv_sheet_free(&findings);
    result_free(&result);
    for (int i = 0; i < CHECKS; i++)
        unlink(probe_path(words("rules/checks/part/many-%c.csv", 'a' + i)));
}

/* A check of more rows than a word has bits: what is remembered of an expected part is not used for it. */
static void a_check_of_many_rows(void **state)
{
    enum { ROWS = 70 };
    FILE *file = fopen(probe_path("rules/checks/part/many.csv"), "w");
    (void)state;

    need(file != NULL, "many.csv");
    fputs("C,claimed,quantity,>finding,>effect,>message\n", file);
    for (int i = 1; i <= ROWS; i++)
        fprintf(file, "r%d,true,%d,found-%d,note,x\n", i, i, i);
    need(fclose(file) == 0, "many.csv");
    struct result result = probe_check("parts=K-A=5\nparts=K-A=69; FL-1=1\nparts=K-A=71", "2026-03-10");
    struct csv_sheet decided = csv_sheet_read(result.out);
    assert_string_equal(csv_at(&decided, 1, "findings"), "found-5");
    assert_string_equal(csv_at(&decided, 2, "findings"), "found-1;found-69");
    assert_string_equal(csv_at(&decided, 3, "findings"), "");
    csv_sheet_free(&decided);
    result_free(&result);
    unlink(probe_path("rules/checks/part/many.csv"));
}

/* A campaign of many parts, on two kinds of vehicles: what is remembered of the parts that a kind is expected
 * to have is that kind's own, and what is claimed makes its difference. */
static void many_expected_parts(void **state)
{
    enum { PARTS = 300 };
    static const char *const VINS[] = {VIN_A, VIN_B, VIN_A, VIN_B, VIN_GAMMA};
    FILE *file;
    char claims[1024] = "";
    (void)state;

    shell("mkdir -p %s", probe_path("rules/campaigns/T7"));
    write_words(probe_path("rules/campaigns/T7/campaign.csv"), "key,value\ncampaign,T7\nopens_on,2026-01-01\n");
    write_words(probe_path("rules/campaigns/T7/eligibility.csv"), "F,model_line,>eligible\nalpha,Alpha,true\n");
    file = fopen(probe_path("rules/campaigns/T7/parts.csv"), "w");
    need(file != NULL, "parts.csv");
    fputs("C,engine,>part,>quantity,>need\n", file);
    for (int i = 0; i < PARTS; i++)
        fprintf(file, "r%d,%s,P-%d,1,required\n", i, i % 3 == 0 ? "A" : i % 3 == 1 ? "B" : "-", i);
    need(fclose(file) == 0, "parts.csv");
    write_words(probe_path("rules/checks/part/missing.csv"),
                "C,claimed,expected,>finding,>effect,>message\nmissing,false,required,part-missing,note,x\n");
    for (size_t i = 0; i < COUNT(VINS); i++)
        snprintf(claims + strlen(claims), sizeof claims - strlen(claims),
                 "%scampaign=T7|vin=%s|parts=P-2; P-299%s", i > 0 ? "\n" : "", VINS[i], i < 2 ? "" : "; P-0; P-1");
    struct result result = probe_check(claims, "2026-03-10");
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    /* engine A is expected to have the 100 of A and the 100 of neither, B likewise; 2 and 299 are of neither */
    static const int MISSING[] = {198, 198, 197, 197, 0};
    int counts[COUNT(VINS)] = {0};
    for (size_t row = 1; row < findings.count; row++) {
        const char *item = csv_at(&findings, row, "item");
        int claim = atoi(csv_at(&findings, row, "claim") + 1) - 1, part = atoi(item + 2);
        assert_in_range(claim, 0, COUNT(VINS) - 1);
        assert_int_not_equal(part % 3, claim % 2 == 0 ? 1 : 0);
        counts[claim]++;
    }
    for (size_t i = 0; i < COUNT(VINS); i++)
        assert_int_equal(counts[i], MISSING[i]);
    csv_sheet_free(&findings);
    result_free(&result);
    shell("rm -rf %s", probe_path("rules/campaigns/T7"));
    unlink(probe_path("rules/checks/part/missing.csv"));
}

static void unreadable_rows(void **state)
{
    static const struct {
        const char *claim, *asked, *message;
    } CASES[] = {
        {"revision=1|completed_on=2026-02-30|total_amount=12.5", "12.50", "completed_on"},
        {"revision=1|total_amount=12.505", "", "total_amount"},
        {"outcome=mended", "0.00", "outcome"},
        {"parts=K-A=", "0.00", "parts"},
        {"odometer=1.5", "0.00", "odometer"},
        {"dealer=", "0.00", "dealer"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct result result = probe_check(CASES[i].claim, "2026-03-10");
        struct csv_sheet decided = csv_sheet_read(result.out);
        struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
        assert_string_equal(csv_at(&decided, 1, "decision"), "return");
        assert_string_equal(csv_at(&decided, 1, "findings"), "row-unreadable");
        assert_string_equal(csv_at(&decided, 1, "revision"), "0");
        assert_string_equal(csv_at(&decided, 1, "asked"), CASES[i].asked);
        assert_string_equal(csv_at(&decided, 1, "payable"), "0.00");
        assert_int_equal(findings.count, 2);
        assert_string_equal(csv_at(&findings, 1, "rule"), "");
        assert_string_equal(csv_at(&findings, 1, "item"), "");
        assert_non_null(strstr(csv_at(&findings, 1, "message"), CASES[i].message));
        assert_non_null(strstr(csv_at(&findings, 1, "message"), "line 2"));
        csv_sheet_free(&decided);
        csv_sheet_free(&findings);
        result_free(&result);
    }
}

/* --- The deadlines that ship ------------------------------------------------------------------------------- */

/* Laws as examples to configure, never as advice. Sources: US-NY VTL section 465; US-CA Veh. Code section 3065;
 * US-FL 320.696 and 320.64(25); US-IL 815 ILCS 710/6; US-AK AS 45.25.200; US-WA RCW 46.96.105 (2007); US-NJ
 * secondary, from memory. */
static void deadlines(void **state)
{
    static const char *const EXPECTED[][8] = {
        /* region, submit, decide, silence approves, pay, resubmit, audit */
        {"US-NY", "", "30", "true", "30", "", "365"},   /* 30, silence approves; 30 after approval; 1 year */
        {"US-CA", "", "30", "true", "30", "30", "273"}, /* approved on the 30th; 30 to appeal; 9 months */
        {"US-FL", "", "", "", "30", "", "365"},         /* 30 after receipt; 1 year */
        {"US-IL", "", "30", "", "30", "", "365"},       /* 30; 30; 1 year from payment */
        {"US-AK", "90", "30", "true", "30", "30", ""},  /* 90 to submit; deemed approved; 30; 30 */
        {"US-WA", "365", "", "", "30", "", ""},         /* 1 year to submit; 30 after receipt */
        {"US-NJ", "", "", "", "", "", "365"},           /* 12 months */
    };
    const char *facts = probe_path("regions.csv");
    FILE *file = fopen(facts, "w");
    (void)state;

    need(file != NULL, facts);
    fputs("region\n", file);
    for (size_t i = 0; i < COUNT(EXPECTED); i++)
        fprintf(file, "%s\n", EXPECTED[i][0]);
    fclose(file);
    struct result result = RUN("rules", "try", "rules/deadlines.csv", facts);
    assert_int_equal(result.code, 0);
    struct csv_sheet tried = csv_sheet_read(result.out);
    assert_int_equal(tried.count - 1, COUNT(EXPECTED));
    for (size_t i = 0; i < COUNT(EXPECTED); i++)
        for (size_t c = 0; EXPECTED[i][c] != NULL; c++)
            assert_string_equal(tried.rows[i + 1][c], EXPECTED[i][c]);
    csv_sheet_free(&tried);
    result_free(&result);
}

/* With the check that ships and Alaska's 90 days: the last day counts. From 2026-02-01 it is 2026-05-02: 27 more
 * days in February, 31 in March, 30 in April make 88, and two more. New York names no limit. */
static void the_last_day_counts(void **state)
{
    (void)state;
    write_words(probe_path("rules/checks/claim/deadlines.csv"), read_whole("rules/checks/claim/deadlines.csv", NULL));
    struct result result =
        probe_check("dealer=D2|opened_on=2026-02-01|completed_on=2026-02-01|submitted_on=2026-05-02\n"
                    "dealer=D2|opened_on=2026-02-01|completed_on=2026-02-01|submitted_on=2026-05-03\n"
                    "dealer=D1|opened_on=2025-02-01|completed_on=2025-02-01|submitted_on=2026-05-03",
                    "2026-05-03");
    struct csv_sheet decided = csv_sheet_read(result.out);
    assert_string_equal(csv_at(&decided, 1, "findings"), "");
    assert_string_equal(csv_at(&decided, 2, "findings"), "submitted-late");
    assert_string_equal(csv_at(&decided, 3, "findings"), "");
    csv_sheet_free(&decided);
    result_free(&result);
    unlink(probe_path("rules/checks/claim/deadlines.csv"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(parts),
        cmocka_unit_test(labor),
        cmocka_unit_test(totals),
        cmocka_unit_test(allowances_beyond_any_amount),
        cmocka_unit_test(decisions),
        cmocka_unit_test(findings_in_order),
        cmocka_unit_test(rules_fail_in_other_ways),
        cmocka_unit_test(headers_behind_empty_lines),
        cmocka_unit_test(explanations),
        cmocka_unit_test(findings_of_one_name),
        cmocka_unit_test(findings_of_one_name_made_late),
        cmocka_unit_test(checks_of_items_that_are_late),
        cmocka_unit_test(long_messages_are_cut),
        cmocka_unit_test(many_short_rows),
        cmocka_unit_test(without_messages),
        cmocka_unit_test(ambiguous_rules_hold),
        cmocka_unit_test(ambiguous_rules_of_items_hold),
        cmocka_unit_test(approvals_cover_what_they_name),
        cmocka_unit_test(many_checks_of_a_scope),
        cmocka_unit_test(a_check_of_many_rows),
        cmocka_unit_test(many_expected_parts),
        cmocka_unit_test(unreadable_rows),
        cmocka_unit_test(deadlines),
        cmocka_unit_test(the_last_day_counts),
    };
    return cmocka_run_group_tests(tests, probe_open, probe_close);
}
