/* explain: every recorded row of the demo office is decided again as it was, with the rules, the office data
 * and the earlier claims of its time; and the words for people. */
#include "small_office.h"

#include <jansson.h>

#define VIN_BARE "EZ7TAAC14KT009999" /* of no status */

static char *folder, *office;

static void post_nights(void)
{
    struct csv_sheet nights = csv_sheet_of_file("fixtures/demo-nights.csv");

    shell("cp %s %s", demo_file("office.db"), office);
    for (size_t night = 1; night < nights.count; night++) {
        const char *day = csv_at(&nights, night, "received_on");
        struct result result = RUN("post", demo_file(csv_at(&nights, night, "file")), "--office", office,
                                   "--today", day, "--received", day, "--quiet");
        assert_int_equal(result.code, 0);
        result_free(&result);
    }
    csv_sheet_free(&nights);
}

/* One JSON object a revision; returns how many. */
static size_t judge(const char *name, const char *objects)
{
    size_t count = 0;

    for (const char *at = objects; *at != '\0'; at = strchr(at, '\n') + 1, count++) {
        json_t *object = json_loadb(at, (size_t)(strchr(at, '\n') - at), 0, NULL);
        assert_non_null(object);
        const char *again = json_string_value(json_object_get(object, "decision"));
        const char *recorded = json_string_value(json_object_get(object, "recorded_decision"));
        json_t *payment = json_object_get(object, "payment");
        if (strcmp(again, recorded) != 0)
            fail_msg("%s: decided %s, recorded %s", name, again, recorded);
        assert_string_equal(json_string_value(json_object_get(payment, "payable")),
                            json_string_value(json_object_get(object, "recorded_payable")));
        assert_true(json_array_size(json_object_get(object, "tables")) > 5);
        json_decref(object);
    }
    return count;
}

/* After the last night, and after prices, dealers and rules have changed, the first night still explains
 * itself. */
static void rows_are_decided_as_they_were(void **state)
{
    struct csv_sheet expected = csv_sheet_of_file("fixtures/demo-expected.csv");
    size_t rows = 0;
    (void)state;

    write_words(
        words("%s/dealers.csv", folder),
        "dealer,name,region,labor_rate,parts_markup\nD101,Renamed,US-CA,1.00,0\nD128,Renamed,US-CA,1.00,0\n");
    struct result load = RUN("load", "dealers", words("%s/dealers.csv", folder), "--office", office);
    assert_int_equal(load.code, 0);
    result_free(&load);
    for (size_t row = 1; row < expected.count; row += 3) {
        if (strcmp(csv_at(&expected, row, "findings"), "row-unreadable") == 0)
            continue;
        const char *name = words("%s/%s", csv_at(&expected, row, "dealer"), csv_at(&expected, row, "claim"));
        struct result result = RUN("explain", name, "--office", office, "--format", "json");
        assert_int_equal(result.code, 0);
        rows += judge(name, result.out);
        result_free(&result);
    }
    assert_true(rows > 150);
    csv_sheet_free(&expected);
}

static void has(const char *text, const char *part)
{
    if (strstr(text, part) == NULL)
        fail_msg("not there: %s", part);
}

static void words_for_people(void **state)
{
    (void)state;
    struct result result = RUN("explain", "D128/C11029", "--office", office);
    assert_int_equal(result.code, 0);
    has(result.out, "Claim D128/C11029 revision 0, batch 1 line 193, received on 2026-03-02\n");
    has(result.out, "    hit   hose-r20-manual: operation PSR-10, hours 1.4, need required\n");
    has(result.out, "    near  hose-r16: engine is R20, the row wants R16\n");
    has(result.out, "    by checks/labor/operations.csv:hours-over\n");
    has(result.out, "  operation PSR-10: the smaller of 1.8 h claimed and 1.7 h allowed\n");
    has(result.out, "  labor: sum x 165 an hour = 313.50 allowed, 330.00 asked, 313.50 payable\n");
    has(result.out, "  due 481.85 = payable 481.85 less 0.00 paid before\n");
    result_free(&result);
    result = RUN("explain", "--vin", "ez7bbmck2ln749166", "--office", office);
    assert_int_equal(result.code, 0);
    has(result.out, "Claim D128/C11029 revision 0");
    result_free(&result);
}

static void what_is_not_there(void **state)
{
    (void)state;
    struct result result = RUN("explain", "D128/NONE", "--office", office);
    assert_int_equal(result.code, 2);
    assert_string_equal(result.err,
                        "no claim D128/NONE is recorded; a claim is explained once it has been posted\n");
    result_free(&result);
    result = RUN("explain", "--vin", "NONE", "--office", office);
    assert_int_equal(result.code, 2);
    assert_string_equal(result.err, "no claim on vehicle NONE is recorded\n");
    result_free(&result);
    result = RUN("explain", "--office", office);
    assert_int_equal(result.code, 2);
    assert_string_equal(result.err,
                        "name either DEALER/CLAIM or --vin VIN; see `witnessmark explain --help`\n");
    result_free(&result);
    result = RUN("explain", "nothing", "--office", office);
    assert_int_equal(result.code, 2);
    assert_string_equal(result.err, "\"nothing\" is no claim; write it as DEALER/CLAIM\n");
    result_free(&result);
}

/* Codes with slashes: whatever cut of the name is a recorded claim is meant; of two, --dealer says which. */
static void names_with_slashes(void **state)
{
    static const struct {
        const char *name, *dealer, *begins; /* begins: NULL, it fails */
        const char *error;
    } NAMES[] = {
        {"N/1/5", NULL, "Claim N/1/5 revision 0, batch 1 line 2,", ""},
        {"N/7", NULL, "Claim N/7 revision 0, batch 1 line 4,", ""},
        {"N/1/6/A", NULL, NULL,
         "\"N/1/6/A\" is claim 1/6/A of dealer N and also claim 6/A of dealer N/1; say which with --dealer "
         "CODE\n"},
        {"N/1/6/A", "N", "Claim N/1/6/A revision 0, batch 1 line 5,", ""},
        {"N/1/6/A", "N/1", "Claim N/1/6/A revision 0, batch 1 line 3,", ""},
        {"N/1/6/A", "M", NULL, "\"N/1/6/A\" does not begin with the dealer's code M/\n"},
        {"N/1/6/A", "N/1/6", NULL,
         "no claim N/1/6/A is recorded; a claim is explained once it has been posted\n"},
        {"N/", NULL, NULL, "\"N/\" is no claim; write it as DEALER/CLAIM\n"},
        {"/N", NULL, NULL, "\"/N\" is no claim; write it as DEALER/CLAIM\n"},
    };
    const char *slashes = words("%s/slashes.db", folder), *file = words("%s/slashes.csv", folder);
    (void)state;

    shell("cp %s %s", demo_file("office.db"), slashes);
    write_words(file, "claim,dealer,repair_order,campaign,vin,outcome\n5,N/1,R,H26-02,A,repaired\n"
                      "6/A,N/1,R,H26-02,B,repaired\n7,N,R,H26-02,C,repaired\n1/6/A,N,R,H26-02,D,repaired\n");
    struct result result = RUN("post", file, "--office", slashes, "--today", "2026-03-02", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    for (size_t i = 0; i < COUNT(NAMES); i++) {
        result = NAMES[i].dealer == NULL
                     ? RUN("explain", NAMES[i].name, "--office", slashes)
                     : RUN("explain", NAMES[i].name, "--dealer", NAMES[i].dealer, "--office", slashes);
        assert_int_equal(result.code, NAMES[i].begins != NULL ? 0 : 2);
        assert_string_equal(result.err, NAMES[i].error);
        if (NAMES[i].begins != NULL && strncmp(result.out, NAMES[i].begins, strlen(NAMES[i].begins)) != 0)
            fail_msg("%s: %s", NAMES[i].name, result.out);
        result_free(&result);
    }
    result = RUN("decide", "N/1/6/A", "pay", "--by", "A", "--reason", "B", "--office", slashes);
    assert_int_equal(result.code, 2);
    assert_string_equal(result.err, NAMES[2].error);
    result_free(&result);
    result =
        RUN("decide", "N/1/6/A", "pay", "--dealer", "N/1", "--by", "A", "--reason", "B", "--office", slashes);
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "N/1/6/A"));
    result_free(&result);
}

/* --- The small office ---------------------------------------------------------------------------------- */

static void decisions_of_the_office(void **state)
{
    struct result text = RUN("explain", "D1/A3", "--office", small_whole),
                  json = RUN("explain", "D1/A3", "--office", small_whole, "--format", "json"),
                  flags = RUN("flags", "--office", small_whole, "--dealer", "D1");
    (void)state;

    has(text.out,
        "\nThe office on 2026-03-12, A. Clerk: pay, payable 100.00, due 100.00. Reason: papers seen\n"
        "The office on 2026-03-13, A. Clerk: reverse, payable 100.00, due -100.00. Reason: the wrong vehicle\n"
        "The decision that stands: pay\n");
    has(json.out, "\"office_decisions\":[{\"action\":\"pay\",\"by\":\"A. Clerk\",\"on\":\"2026-03-12\",\"reason\":"
                  "\"papers seen\","
                  "\"payable\":\"100.00\",\"due\":\"100.00\"},{\"action\":\"reverse\",\"by\":\"A. Clerk\",");
    has(flags.out, "D1/A4  refuse by the office  asked 100.00  payable 0.00\n");
    has(flags.out, "D1/A8  refuse  asked 0.00  payable 0.00\n");
    result_free(&text);
    result_free(&json);
    result_free(&flags);
}

/* A copy of the office with rules of its own, by which one thing is found three times; a claim without a day and of an
 * unknown dealer, who asks for what nobody expects. */
static void what_is_found_again_and_not_expected(void **state)
{
    static const struct {
        const char *call[8], *says;
    } CASES[] = {
        {{"flags", "--since", "2026-03-20", "--format", "csv"}, "D1,M1,0,T1," VIN_TWIN_2
         ",2026-03-20,2026-03-02,pay,0.00,0.00,odd\n"},
        {{"flags", "--since", "2026-03-20", "--format", "csv"}, "D9,M2,0,T1," VIN_TWIN_1
         ",2026-03-20,,pay,0.00,0.00,again;odd\n"},
        {{"followups"}, VIN_TWIN_2 "  D1/M1, campaign T1\n    renew the cap; open since 2026-03-02, 19 days, due on "
                        "2026-05-01\n    closed by a later claim on this vehicle with part CP-1\n"},
        {{"followups"}, VIN_TWIN_1 "  D9/M2, campaign T1\n    renew the cap; open since 2026-03-20, 1 day\n"},
        {{"followups", "--sort", "date"},
         VIN_BETA "  D9/M4, campaign T1\n    renew the cap; open since 2026-03-20, 1 day\n"
                  "    closed by a later claim on this vehicle with part CP-1\n    the vehicle is unsold\n"},
        {{"followups"}, VIN_BARE "  D9/M5, campaign T1\n    renew the cap; open since 2026-03-20, 1 day\n"
                                         "    closed by a later claim on this vehicle with part CP-1\n"},
        {{"followups", "--format", "csv"}, "renew the cap,CP-1,2026-03-20,1,,,in_service,\n"},
        {{"followups", "--format", "json"}, "\"days_open\":1,\"due_on\":null,\"days_left\":null,"},
        {{"explain", "D1/M3"}, "  campaigns/T1/kits.csv, in error for this claim\n"},
        {{"explain", "D1/M3"}, "  hold: rules-ambiguous\n    rows b and also-b both hit where one may; the office must "
                               "correct its rules\n    by campaigns/T1/kits.csv\n"},
        {{"explain", "D1/M1", "--format", "json"}, "\"engine\":\"A\",\"transmission\":\"manual\","},
        {{"explain", "D1/M1"}, "  operation OP-7: not expected, nothing counts\n"},
        {{"explain", "D9/M2"}, "  part XX-9: not expected, nothing counts\n"},
        {{"explain", "D9/M2"},
         "  the dealer is unknown: no rate, no markup, nothing payable for parts and labor\n"},
        {{"explain", "D9/M2"}, "  claim_engine             nothing\n"},
    };
    const char *rules = probe_path("more"), *copy = probe_path("copy.db");
    (void)state;

    shell("cp -r %s %s && cp %s %s", probe_path("rules"), rules, small_whole, copy);
    write_words(words("%s/checks/labor/each.csv", rules),
                "C,operation,>finding,>effect,>message\nall,-,odd,note,Odd.\nagain,OP-3,again,note,Again.\n");
    write_words(words("%s/campaigns/T1/kits.csv", rules), "U,engine,outcome,>kit,>quantity\na,A,repaired,K-A,1\n"
                                                          "b,B,repaired,K-B,1\nalso-b,B,-,K-C,1\n");
    write_words(probe_path("bare.csv"), "vin,model_line,model_year,engine\n" VIN_BARE ",Alpha,2019,A\n");
    small_runs(RUN("load", "vehicles", probe_path("bare.csv"), "--office", copy, "--today", "2026-03-20", "--quiet"));
    small_runs(RUN("post",
                   probe_write_claims("claim=M1|vin=" VIN_TWIN_2 "|labor=OP-1=1;OP-2=1;OP-7=1|inspections=CAP=wrong\n"
                                      "claim=M2|dealer=D9|completed_on=|vin=" VIN_TWIN_1
                                      "|labor=OP-1=1;OP-3=1|inspections=CAP=wrong|parts=XX-9=1\n"
                                      "claim=M3|vin=" VIN_B "\n"
                                      "claim=M6|completed_on=|vin=" VIN_A PAY_100 "\n"
                                      "claim=M4|dealer=D9|completed_on=|vin=" VIN_BETA "|inspections=CAP=wrong\n"
                                      "claim=M5|dealer=D9|completed_on=|vin=" VIN_BARE
                                      "|inspections=CAP=wrong"),
                   "--office", copy, "--rules", rules, "--today", "2026-03-20"));
    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *call[16];
        size_t count = 0;
        for (; CASES[i].call[count] != NULL; count++)
            call[count] = CASES[i].call[count];
        call[count++] = "--office";
        call[count++] = copy;
        if (strcmp(call[0], "followups") == 0) {
            call[count++] = "--today";
            call[count++] = "2026-03-21";
        }
        call[count] = NULL;
        struct result result = run_program(call);
        assert_int_equal(result.code, 0);
        if (strstr(result.out, CASES[i].says) == NULL)
            fail_msg("%s: not said: %s\n%s", call[0], CASES[i].says, result.out);
        result_free(&result);
    }
}

/* In the office above: a claim without a day is drawn, and its sheet has none. */
static void a_claim_without_a_day_is_drawn(void **state)
{
    const char *copy = probe_path("copy.db"), *picks = probe_path("picks.csv"), *out = probe_path("picked.csv");
    (void)state;

    write_words(picks, "dealer,claim\nD1,M6\n");
    small_runs(RUN("sample", "draw", "--name", "picked", "--because", "it has no day", "--pick", picks, "--out", out,
                   "--office", copy, "--today", "2026-03-21"));
    struct csv_sheet sheet = csv_sheet_of_file(out);
    assert_int_equal(sheet.count, 2);
    assert_string_equal(csv_at(&sheet, 1, "claim"), "M6");
    assert_string_equal(csv_at(&sheet, 1, "completed_on"), "");
    csv_sheet_free(&sheet);
}

/* When claims of two dealers must be decided, whichever comes first; a region without a time, and one whose time never
 * ends. A6 waits, of a dealer in New Jersey, and H1, of one in New York. */
static void time_to_decide(void **state)
{
    static const struct {
        const char *deadlines, *option, *value, *out; /* of columns: claim, days left, whether silence approves */
    } CASES[] = {
        {"ny,US-NY,30,true\nnj,US-NJ,5,false\n", "--limit", "9", "A6 -1 false\nH1 24 true\n"},
        {"ny,US-NY,5,\nnj,US-NJ,30,true\n", "--decision", "hold", "H1 -1 false\nA6 24 true\n"},
        {"ny,US-NY,30,true\nnj,US-NJ,5,false\n", "--limit", "1", "A6 -1 false\n"},
        {"ny,US-NY,30,true\nnj,US-NJ,5,false\n", "--sort", "dealer", "H1 24 true\nA6 -1 false\n"},
        {"ny,US-NY,30,true\nnj,US-NJ,30,false\n", "--limit", "9", "A6 24 false\nH1 24 true\n"},
        {"ny,US-NY,,true\nnj,US-NJ,2147483647,true\n", "--limit", "9", ""},
    };
    const char *rules = probe_path("times"), *copy = probe_path("times.db");
    (void)state;

    shell("cp -r %s %s && cp %s %s", probe_path("rules"), rules, small_whole, copy);
    const char *claims =
        probe_write_claims("claim=H1|vin=" VIN_TWIN_2 "|engine=HOLD\n"
                           "claim=H2|dealer=D9|vin=" VIN_TWIN_1 "|engine=HOLD");
    small_runs(RUN("post", claims, "--office", copy, "--rules", rules, "--today", "2026-03-10", "--quiet"));
    for (size_t i = 0; i < COUNT(CASES); i++) {
        char *out = words("%s", "");
        write_words(words("%s/deadlines.csv", rules),
                    words("U,region,>decide_within_days,>silence_approves\n%s", CASES[i].deadlines));
        struct result result = RUN("flags", "--office", copy, "--rules", rules, "--today", "2026-03-16", "--due-within",
                                   "3000", "--format", "csv", CASES[i].option, CASES[i].value);
        assert_int_equal(result.code, 0);
        struct csv_sheet sheet = csv_sheet_read(result.out);
        for (size_t row = 1; row < sheet.count; row++)
            out = words("%s%s %s %s\n", out, csv_at(&sheet, row, "claim"), csv_at(&sheet, row, "days_left"),
                        csv_at(&sheet, row, "silence_approves"));
        if (strcmp(out, CASES[i].out) != 0)
            fail_msg("%s%s, not %s", CASES[i].deadlines, out, CASES[i].out);
        csv_sheet_free(&sheet);
        result_free(&result);
    }
    write_words(words("%s/deadlines.csv", rules),
                "U,region,>decide_within_days,>silence_approves\nnj,US-NJ,5,false\nny,US-NY,4,true\n");
    struct result text =
        RUN("flags", "--office", copy, "--rules", rules, "--today", "2026-03-16", "--due-within", "0");
    has(text.out, "    decide by 2026-03-15, which was 1 day ago\n");
    has(text.out, "    decide by 2026-03-14, which was 2 days ago; silence approves the claim\n");
    result_free(&text);
}

/* More names of findings than there is room for at first: each is counted in the summary. */
static void many_names_of_findings(void **state)
{
    enum { MANY = 70 };
    const char *rules = probe_path("many");
    char *rows = words("C,campaign,>finding,>effect,>message\n");
    (void)state;

    shell("cp -r %s %s", probe_path("rules"), rules);
    for (int i = 1; i <= MANY; i++)
        rows = words("%sr%d,-,found-%d,note,Found.\n", rows, i, i);
    write_words(words("%s/checks/claim/many.csv", rules), rows);
    struct result result = RUN("check", probe_write_claims("claim=N1"), "--office", small_whole, "--rules", rules,
                               "--today", "2026-03-20");
    assert_int_equal(result.code, 0);
    for (int i = 1; i <= MANY; i++)
        has(result.out, words("\n  note     found-%d ", i));
    result_free(&result);
}

static void check_says(const char *rules, const char *claims, const char *line)
{
    struct result result = RUN("check", probe_write_claims(claims), "--office", small_whole, "--rules", rules,
                               "--today", "2026-03-20", "--format", "csv");
    has(result.out, line);
    result_free(&result);
}

/* Whatever the order of the checks: what weighs most comes first. */
static void findings_come_by_their_weight(void **state)
{
    static const char *const EFFECTS[] = {"note", "hold", "refuse", "cut", "return"};
    const char *rules = probe_path("weights");
    (void)state;

    shell("cp -r %s %s", probe_path("rules"), rules);
    for (size_t i = 0; i < COUNT(EFFECTS); i++)
        write_words(words("%s/checks/claim/%zu.csv", rules, i),
                    words("C,claim,>finding,>effect,>message\nall,-,is-%s,%s,So.\n", EFFECTS[i], EFFECTS[i]));
    check_says(rules, "claim=W1|vin=" VIN_TWIN_1, ",is-refuse;is-return;is-hold;is-cut;is-note\n");
}

static void a_kit_of_one_character_is_counted(void **state)
{
    const char *rules = probe_path("short-kits");
    (void)state;

    shell("cp -r %s %s", probe_path("rules"), rules);
    write_words(words("%s/checks/claim/kits.csv", rules),
                "C,kits_claimed,>finding,>effect,>message\nall,>1,many,note,{kits_claimed} of them.\n");
    write_words(words("%s/campaigns/T1/kits.csv", rules), "U,engine,outcome,>kit,>quantity\na,A,repaired,7,1\n");
    check_says(rules, "claim=W1|vin=" VIN_TWIN_1 "|parts=7=1\nclaim=W2|vin=" VIN_TWIN_2 "|parts=7=1", ",many\n");
}

/* `check` compares with what is recorded, too. */
static void a_row_is_held_against_the_recorded_row(void **state)
{
    const char *rules = probe_path("revised"), *copy = probe_path("revised.db");
    (void)state;

    shell("cp -r %s %s && cp %s %s", probe_path("rules"), rules, small_whole, copy);
    write_words(words("%s/checks/claim/revised.csv", rules),
                "C,revision_differs,>finding,>effect,>message\nreading,\"\"\"odometer\"\"\",read-otherwise,"
                "note,Read otherwise.\n");
    small_runs(RUN("post", probe_write_claims("claim=R1|vin=" VIN_TWIN_1 "|odometer=10"), "--office", copy, "--rules",
                   rules, "--today", "2026-03-20"));
    struct result result = RUN("check", probe_write_claims("claim=R1|vin=" VIN_TWIN_1 "|odometer=20"),
                               "--office", copy, "--rules", rules, "--today", "2026-03-21", "--format", "csv");
    has(result.out, "read-otherwise");
    result_free(&result);
}

/* A comparison in which nobody stands out, and one in which somebody does by having less of it than others. */
static void who_stands_out(void **state)
{
    const char *rules = probe_path("compare"), *copy = probe_path("compare.db");
    (void)state;

    shell("cp -r %s %s && cp %s %s", probe_path("rules"), rules, small_whole, copy);
    for (int pass = 0; pass < 2; pass++) {
        write_words(words("%s/outliers.csv", rules),
                    words("measure,title,of_decision,of_outcome,decision,outcome,effect,finding,followup,side,near,far,"
                          "draw_in\nheld,Claims that were held,,repaired,,,hold,,,both,%s,0\n",
                          pass == 0 ? "0.9998,0.9999" : "0.51,0.52"));
        struct result result = RUN("outliers", "record", "--by", "A. Clerk", "--today", words("2026-04-0%d", pass + 3),
                                   "--office", copy, "--rules", rules);
        assert_int_equal(result.code, 0);
        assert_string_equal(result.out, pass == 0
                                            ? "comparison 2 recorded: 1 measures, 0 flags\n"
                                            : "comparison 3 recorded: 1 measures, 2 flags; `witnessmark outliers` "
                                              "shows the basis that each dealer must be told\n");
        result_free(&result);
    }
    struct result csv = RUN("outliers", "--office", copy, "--format", "csv"),
                  json = RUN("outliers", "--office", copy, "--format", "json");
    has(csv.out, "\n3,1,2026-04-04,A. Clerk,D2,held,below,1,10,0.1,");
    has(csv.out, "\n3,2,2026-04-04,A. Clerk,D3,held,above,1,1,1,");
    has(json.out, "{\"run\":3,\"number\":1,\"recorded_on\":\"2026-04-04\",\"recorded_by\":\"A. Clerk\","
                  "\"dealer\":\"D2\",\"measure\":\"held\",\"side\":\"below\",");
    result_free(&csv);
    result_free(&json);
}

static void lists_of_no_office(void **state)
{
    static const char *const LISTS[] = {"flags", "followups", "outliers", "explain"};
    const char *nowhere = probe_path("nowhere.db");
    (void)state;

    for (size_t i = 0; i < COUNT(LISTS); i++) {
        struct result result = strcmp(LISTS[i], "explain") == 0 ? RUN(LISTS[i], "D1/A3", "--office", nowhere)
                                                                : RUN(LISTS[i], "--office", nowhere);
        assert_int_equal(result.code, 2);
        assert_int_equal(strncmp(result.err, nowhere, strlen(nowhere)), 0);
        assert_string_equal(result.out, "");
        result_free(&result);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_for_people),
        cmocka_unit_test(rows_are_decided_as_they_were),
        cmocka_unit_test(what_is_not_there),
        cmocka_unit_test(names_with_slashes),
    };
    const struct CMUnitTest of_small_office[] = {
        cmocka_unit_test(decisions_of_the_office),
        cmocka_unit_test(what_is_found_again_and_not_expected),
        cmocka_unit_test(a_claim_without_a_day_is_drawn),
        cmocka_unit_test(time_to_decide),
        cmocka_unit_test(many_names_of_findings),
        cmocka_unit_test(findings_come_by_their_weight),
        cmocka_unit_test(a_kit_of_one_character_is_counted),
        cmocka_unit_test(a_row_is_held_against_the_recorded_row),
        cmocka_unit_test(who_stands_out),
        cmocka_unit_test(lists_of_no_office),
    };
    char pattern[] = "/tmp/witnessmark-explain-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    office = words("%s/office.db", folder);
    post_nights();
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    failed += cmocka_run_group_tests_name("the small office", of_small_office, small_open, probe_close);
    shell("rm -rf %s", folder);
    return failed;
}
