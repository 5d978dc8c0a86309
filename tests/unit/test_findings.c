/* Every finding has a file that provokes it (fixtures/findings): claims `hit-...` must have it, claims `near-...`,
 * one small step away, must not. And the demo office: every claim's decision as it was written down beforehand. */
#include "program.h"

#include "finding_names.h"

static char *folder;    /* of this run */

/* A copy of the demo office, so that posting into it disturbs nobody. */
static const char *own_office(void)
{
    const char *office = words("%s/office.db", folder);
    shell("cp %s %s", demo_file("office.db"), office);
    return office;
}

/* The row that decides on the claim of row `at`: of several revisions the last. */
static bool is_last_of_its_claim(const struct csv_sheet *sheet, size_t at)
{
    const char *claim = csv_at(sheet, at, "claim"), *dealer = csv_at(sheet, at, "dealer");

    for (size_t row = at + 1; row < sheet->count; row++)
        if (strcmp(csv_at(sheet, row, "claim"), claim) == 0 && strcmp(csv_at(sheet, row, "dealer"), dealer) == 0)
            return false;
    return true;
}

static bool starts_with(const char *word, const char *prefix)
{
    return strncmp(word, prefix, strlen(prefix)) == 0;
}

struct tally {
    size_t hits, nears, wrong;
};

static void judge_row(const struct csv_sheet *sheet, size_t row, const char *name, struct tally *tally)
{
    const char *claim = csv_at(sheet, row, "claim");
    bool has = list_has(csv_at(sheet, row, "findings"), name);
    bool hit = starts_with(claim, "hit-"), near = starts_with(claim, "near-");

    tally->hits += hit;
    tally->nears += near;
    if ((hit && !has) || (near && has)) {
        tally->wrong++;
        print_error("%s: %s has findings \"%s\"\n", name, claim, csv_at(sheet, row, "findings"));
    }
}

/* A row that cannot be read may have no claim number: it is known by its line. */
static void judge_unreadable(const struct csv_sheet *sheet, struct tally *tally)
{
    for (size_t row = 1; row < sheet->count; row++) {
        const char *claim = csv_at(sheet, row, "claim");
        if (claim[0] == '\0' && strcmp(csv_at(sheet, row, "findings"), "row-unreadable") == 0)
            tally->hits++;
    }
}

static void judge_file(const char *name, struct tally *tally)
{
    const char *office = own_office(), *rules = "rules";
    const char *before = words("fixtures/findings/%s.before.csv", name);
    const char *own_rules = words("fixtures/findings/%s.rules", name);
    const char *file = words("fixtures/findings/%s.csv", name);

    if (file_is_there(own_rules))
        rules = own_rules;
    if (file_is_there(before)) {
        struct result posted = RUN("post", before, "--office", office, "--rules", rules, "--today", "2026-03-02",
                                   "--received", "2026-03-02", "--quiet");
        assert_int_not_equal(posted.code, 2);
        result_free(&posted);
    }
    struct result result = RUN("check", file, "--office", office, "--rules", rules, "--today", "2026-07-01",
                               "--received", "2026-07-01", "--format", "csv");
    assert_in_range(result.code, 0, 1);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    for (size_t row = 1; row < sheet.count; row++)
        if (is_last_of_its_claim(&sheet, row))
            judge_row(&sheet, row, name, tally);
    judge_unreadable(&sheet, tally);
    csv_sheet_free(&sheet);
    result_free(&result);
}

static void each_finding_is_provoked_and_only_just(void **state)
{
    size_t wrong = 0;
    (void)state;

    for (size_t i = 0; i < COUNT(FINDING_NAMES); i++) {
        struct tally tally = {0};
        judge_file(FINDING_NAMES[i], &tally);
        if (tally.hits == 0 || tally.nears == 0) {
            print_error("%s: %zu claims that provoke it, %zu next to it\n", FINDING_NAMES[i], tally.hits, tally.nears);
            wrong++;
        }
        wrong += tally.wrong;
    }
    assert_int_equal(wrong, 0);
}

/* --- The demo office ------------------------------------------------------------------------------------------- */

static const char *const COMPARED[] = {"line", "claim", "revision", "dealer", "decision", "payable", "findings"};

/* Compares decided rows with the expected ones from row `first` on. */
static size_t differences(const struct csv_sheet *expected, size_t first, const struct csv_sheet *decided)
{
    size_t different = 0;

    for (size_t row = 1; row < decided->count; row++)
        for (size_t c = 0; c < COUNT(COMPARED); c++) {
            const char *want = csv_at(expected, first + row - 1, COMPARED[c]);
            const char *got = csv_at(decided, row, COMPARED[c]);
            if (strcmp(want, got) != 0) {
                print_error("line %s: %s is \"%s\", expected \"%s\"\n", csv_at(decided, row, "line"), COMPARED[c],
                            got, want);
                different++;
                break;
            }
        }
    return different;
}

static void the_generator_writes_what_is_kept(void **state)
{
    (void)state;
    shell("cmp %s fixtures/demo-expected.csv", demo_file("expected.csv"));
    shell("cmp %s fixtures/demo-expected-checked.csv", demo_file("expected-checked.csv"));
}

static void three_nights_in_one_check(void **state)
{
    struct csv_sheet expected = csv_sheet_of_file("fixtures/demo-expected-checked.csv");
    (void)state;

    struct result result = RUN("check", demo_file("night-1.csv"), demo_file("night-2.csv"), demo_file("night-3.csv"),
                               "--office", demo_file("office.db"), "--today", "2026-07-01", "--received", "2026-07-01",
                               "--format", "csv");
    assert_int_equal(result.code, 1);
    struct csv_sheet decided = csv_sheet_read(result.out);
    assert_true(expected.count > 400);
    assert_int_equal(decided.count, expected.count);
    assert_int_equal(differences(&expected, 1, &decided), 0);
    csv_sheet_free(&decided);
    csv_sheet_free(&expected);
    result_free(&result);
}

static void three_nights_posted_one_after_another(void **state)
{
    struct csv_sheet expected = csv_sheet_of_file("fixtures/demo-expected.csv");
    struct csv_sheet nights = csv_sheet_of_file("fixtures/demo-nights.csv");
    const char *office = own_office();
    size_t first = 1, different = 0;
    (void)state;

    for (size_t night = 1; night < nights.count; night++) {
        const char *day = csv_at(&nights, night, "received_on"), *out = words("%s/decisions.csv", folder);
        struct result result = RUN("post", demo_file(csv_at(&nights, night, "file")), "--office", office, "--today",
                                   day, "--received", day, "--format", "csv", "--out", out, "--quiet");
        assert_int_equal(result.code, 0);
        struct csv_sheet decided = csv_sheet_of_file(out);
        different += differences(&expected, first, &decided);
        first += decided.count - 1;
        csv_sheet_free(&decided);
        result_free(&result);
    }
    assert_int_equal(first, expected.count);
    assert_int_equal(different, 0);
    csv_sheet_free(&nights);
    csv_sheet_free(&expected);
}

/* The demo provokes every finding but the one that needs rules that contradict each other. */
static void the_demo_shows_every_finding(void **state)
{
    char *expected = read_whole("fixtures/demo-expected.csv", NULL);
    struct csv_sheet sheet = csv_sheet_read(expected);
    (void)state;

    for (size_t i = 0; i < COUNT(FINDING_NAMES); i++) {
        bool found = strcmp(FINDING_NAMES[i], "rules-ambiguous") == 0;
        for (size_t row = 1; row < sheet.count && !found; row++)
            found = list_has(csv_at(&sheet, row, "findings"), FINDING_NAMES[i]);
        if (!found)
            fail_msg("no claim of the demo has %s", FINDING_NAMES[i]);
    }
    csv_sheet_free(&sheet);
    free(expected);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_finding_is_provoked_and_only_just),
        cmocka_unit_test(the_generator_writes_what_is_kept),
        cmocka_unit_test(three_nights_in_one_check),
        cmocka_unit_test(three_nights_posted_one_after_another),
        cmocka_unit_test(the_demo_shows_every_finding),
    };
    char pattern[] = "/tmp/witnessmark-findings-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
