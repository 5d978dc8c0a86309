/* explain: every recorded row of the demo office is decided again as it was, with the rules, the office data
 * and the earlier claims of its time; and the words for people. */
#include "program.h"

#include <jansson.h>

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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_for_people),
        cmocka_unit_test(rows_are_decided_as_they_were),
        cmocka_unit_test(what_is_not_there),
        cmocka_unit_test(names_with_slashes),
    };
    char pattern[] = "/tmp/witnessmark-explain-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    office = words("%s/office.db", folder);
    post_nights();
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
