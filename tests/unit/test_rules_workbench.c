/* `rules print`, `rules new` and `rules diff` as a user runs them. */
#include "program.h"

#include "base/decimal.h"

static char folder[256];

static int make_copies(void **state)
{
    (void)state;
    make_folder(folder);
    return 0;
}

static int remove_copies(void **state)
{
    (void)state;
    shell("rm -rf '%s'", folder);
    return 0;
}

static const char *copied_rules(void)
{
    shell("rm -rf '%s/rules' && cp -r rules '%s/rules'", folder, folder);
    return words("%s/rules", folder);
}

static void replace(const char *file, const char *from, const char *to)
{
    const char *path = words("%s/rules/%s", folder, file);
    char *text = read_whole(path, NULL), *at = strstr(text, from);

    assert_non_null(at);
    write_words(path, words("%.*s%s%s", (int)(at - text), text, to, at + strlen(from)));
    free(text);
}

static void expect_lines(const char *out, const char *const *lines, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (strstr(out, lines[i]) == NULL)
            fail_msg("this is missing: %s\n%s", lines[i], out);
}

/* --- rules print ---------------------------------------------------------------------------------- */

static void campaign_as_a_page(void **state)
{
    static const char *const LINES[] = {
        "H26-02: Power-steering pressure hose: replacement\n====",
        "  Other costs up to 45.00\n",
        "The first line that fits a vehicle decides; one that no line fits is not eligible.\n  Not eligible\n  "
        "    with eps\n",
        "  Eligible, stage third, opens 2026-02-16\n"
        "      Tarrow, 2020 to 2022, R20 or D22, manual or automatic, built on 2022-05-31 or before\n",
        "All of these: repaired.\n  PSH-1600-01 (net, each: 118.40; 121.90 from 2026-03-01)\n"
        "      1 a vehicle         Brindle, R16\n",
        "  FLD-0100 (net, each: 11.35)\n      1 required          R16 or R20, repaired\n"
        "      2 required          D22, repaired\n",
        "  PSR-11\n      0.3 h allowed       repaired, with towing\n",
        "  TORQUE\n      required: [27..33] N.m  R16 or R20, repaired\n",
        "  renew the reservoir cap\n      RCP-0330 in 60 days  2020 to 2022, CAP wrong\n"};
    (void)state;

    struct result one = RUN("rules", "print", "H26-02");
    assert_int_equal(one.code, 0);
    expect_lines(one.out, LINES, COUNT(LINES));
    assert_null(strstr(one.out, "SLV-2001"));
    struct result all = RUN("rules", "print");
    assert_int_equal(all.code, 0);
    assert_non_null(strstr(all.out, one.out));
    assert_non_null(strstr(all.out, "SLV-2001"));
    result_free(&one);
    result_free(&all);
}

static void campaign_as_html(void **state)
{
    const char *rules = copied_rules(), *path = words("%s/page.html", folder);
    static const char *const LINES[] = {"<!DOCTYPE html>",
                                        "<style>",
                                        "@media print",
                                        "<h1>H26-02: &lt;b&gt; &amp; &quot;hose&quot;</h1>",
                                        "<dt>Opens</dt>\n<dd>2026-01-12</dd>",
                                        "<h3>PSH-1600-01 (net, each: 118.40; 121.90 from 2026-03-01)</h3>",
                                        "<td>1 a vehicle</td><td>Brindle, R16</td>",
                                        "</html>\n"};
    (void)state;

    replace("campaigns/H26-02/campaign.csv", "title,Power-steering pressure hose: replacement",
            "title,\"<b> & \"\"hose\"\"\"");
    struct result page = RUN("rules", "print", "--rules", rules, "--format", "html", "--out", path);
    assert_int_equal(page.code, 0);
    char *text = read_whole(path, NULL);
    expect_lines(text, LINES, COUNT(LINES));
    assert_null(strstr(text, "http")); /* it needs nothing from elsewhere */
    free(text);
    result_free(&page);
}

static void pages_that_cannot_be_printed(void **state)
{
    (void)state;
    struct result unknown = RUN("rules", "print", "H99-01");
    assert_int_equal(unknown.code, 2);
    assert_string_equal(
        unknown.err,
        "rules: the rules have no campaign \"H99-01\"; the folder campaigns tells which there are\n");
    result_free(&unknown);
    struct result format = RUN("rules", "print", "--format", "csv");
    assert_int_equal(format.code, 2);
    assert_non_null(strstr(format.err, "--format \"csv\" is none; write text or html"));
    result_free(&format);
    struct result html = RUN("rules", "lint", "--format", "html");
    assert_int_equal(html.code, 2);
    result_free(&html);
}

/* A campaign of which little is said: conditions that all rows share behind a note, a row that does not say whether a
 * vehicle is eligible, a name as long as none is on paper, and its price all the same. */
static void campaign_with_little_in_it(void **state)
{
    char long_name[301];
    const char *rules = words("%s/little", folder), *campaign = words("%s/campaigns/P", rules);
    (void)state;

    memset(long_name, 'K', 300);
    long_name[300] = '\0';
    shell("rm -rf %s && mkdir -p %s && cp rules/facts.csv rules/units.csv rules/deadlines.csv %s", rules, campaign,
          rules);
    write_words(words("%s/campaign.csv", campaign), "key,value\ncampaign,P\n");
    write_words(words("%s/eligibility.csv", campaign), "U,model_line,>eligible\na,A,true\nb,B,\n");
    write_words(words("%s/kits.csv", campaign),
                words("U,engine,outcome,>kit,>quantity\ne1,E1,repaired,K-1,1\ne2,E2,repaired,%s,1\n", long_name));
    write_words(words("%s/prices.csv", campaign), words("part,price,valid_from\n%s,5,\n", long_name));
    write_words(words("%s/labor.csv", campaign), "C,outcome,engine,>operation,>hours,>need\n"
                                                 "one,repaired,E1,OP-1,1,required\ntwo,repaired,E1,OP-2,1,required\n");
    const char *const lines[] = {
        "P\n=\n",
        "  Eligible\n      A\n  Not eligible\n      B\n",
        "All of these: repaired.\n  K-1 (no price)\n",
        words("  %s\n    (net, each: 5.00)\n", long_name),
        "Lines that fit add up. All of these: repaired, E1.\n  OP-1\n      1 h required        all eligible vehicles\n",
    };
    struct result page = RUN("rules", "print", "--rules", rules);
    assert_int_equal(page.code, 0);
    expect_lines(page.out, lines, COUNT(lines));
    result_free(&page);
}

/* --- rules new ------------------------------------------------------------------------------------ */

static void new_campaign_passes_lint_once_filled_in(void **state)
{
    const char *rules = copied_rules();
    (void)state;

    struct result made = RUN("rules", "new", "N27-01", "--rules", rules);
    assert_int_equal(made.code, 0);
    assert_string_equal(
        made.out,
        words("%s/campaigns/N27-01: 9 tables; fill them in, then run `witnessmark rules lint`\n", rules));
    result_free(&made);

    struct result empty = RUN("rules", "lint", "--rules", rules, "--quiet");
    assert_int_equal(empty.code, 1);
    assert_non_null(strstr(empty.out, "eligibility.csv:1:1: no vehicle is eligible"));
    assert_non_null(strstr(empty.out, "campaign.csv:6:2: the campaign has no opens_on"));
    result_free(&empty);

    /* the examples, made rows, are a campaign without a fault */
    shell("sed -i 's/^# //' '%s/campaigns/N27-01/'*.csv", rules);
    replace("campaigns/N27-01/campaign.csv", "opens_on,", "opens_on,2026-03-02");
    struct result filled = RUN("rules", "lint", "--rules", rules, "--quiet");
    assert_string_equal(filled.out, "");
    assert_int_equal(filled.code, 0);
    result_free(&filled);

    replace("campaigns/N27-01/kits.csv", "KIT-E1", "KIT-MINE");
    struct result quiet = RUN("rules", "new", "N27-02", "--rules", rules, "--quiet");
    assert_int_equal(quiet.code, 0);
    assert_string_equal(quiet.out, "");
    assert_true(file_is_there(words("%s/campaigns/N27-02/campaign.csv", rules)));
    result_free(&quiet);

    struct result again = RUN("rules", "new", "N27-01", "--rules", rules);
    assert_int_equal(again.code, 2);
    assert_string_equal(again.err,
                        words("%s/campaigns/N27-01: it is there already; nothing was changed\n", rules));
    char *kept = read_whole(words("%s/campaigns/N27-01/kits.csv", rules), NULL);
    assert_non_null(strstr(kept, "KIT-MINE"));
    free(kept);
    result_free(&again);
}

static void new_campaign_stays_in_its_folder(void **state)
{
    static const char *const NUMBERS[] = {
        "../outside", "a/b",
        ".",          "..",
        ".hidden",    "",
        "a b",        "N\n1",
        "%s",         "N123456789012345678901234567890123456789012345678901234567890123456789"};
    const char *rules = copied_rules();
    (void)state;

    for (size_t i = 0; i < COUNT(NUMBERS); i++) {
        struct result result = RUN("rules", "new", "--rules", rules, "--", NUMBERS[i]);
        assert_int_equal(result.code, 2);
        assert_non_null(strstr(result.err, "cannot be a campaign's number here"));
        result_free(&result);
    }
    shell("test \"$(ls '%s/campaigns')\" = \"$(ls rules/campaigns)\"", rules);
    struct result nowhere = RUN("rules", "new", "N1", "--rules", words("%s/nowhere", folder));
    assert_int_equal(nowhere.code, 2);
    assert_non_null(strstr(nowhere.err, "there is no such rules folder"));
    result_free(&nowhere);
}

/* Where no campaign can be made: what is said, and that nothing is left. */
static void new_campaign_where_none_can_be(void **state)
{
    enum { LONGEST = 4095 };
    char path[LONGEST + 200];
    const char *file = words("%s/no-folder", folder), *blocked = words("%s/blocked", folder);
    const struct {
        const char *rules, *says;
    } CASES[] = {
        {file, words("%s: there is no such rules folder; name it with --rules\n", file)},
        {blocked, words("%s/campaigns/N1: Not a directory\n", blocked)},
        {"/proc", "/proc/campaigns: "}, /* where nobody makes a folder */
    };
    (void)state;

    shell("rm -rf %s && mkdir %s && echo > %s && echo > %s/campaigns", blocked, blocked, file, blocked);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct result result = RUN("rules", "new", "N1", "--rules", CASES[i].rules);
        assert_int_equal(result.code, 2);
        if (strncmp(result.err, CASES[i].says, strlen(CASES[i].says)) != 0)
            fail_msg("%s, not %s", result.err, CASES[i].says);
        result_free(&result);
    }
    struct result result = RUN("rules", "new", "--rules", blocked, "--", "-X");
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "\"-X\" cannot be a campaign's number here"));
    result_free(&result);
    /* a path that has no room for the campaign's folder, and one that has none for `campaigns` */
    shell("mkdir %s/long", folder);
    for (int length = LONGEST - 12; length <= LONGEST; length += 12) {
        int written = snprintf(path, sizeof path, "%s/long", folder);
        for (int i = written; i < length; i++)
            path[i] = (i - written) % 2 == 0 ? '/' : '.';
        path[length] = '\0';
        result = RUN("rules", "new", "N1", "--rules", path);
        assert_int_equal(result.code, 2);
        assert_int_equal(strncmp(result.err, path, 1000), 0);
        result_free(&result);
        shell("test -z \"$(ls -A %s/long)\"", folder);
    }
}

/* --- rules diff ----------------------------------------------------------------------------------- */

static void same_rules_have_no_difference(void **state)
{
    const char *rules = copied_rules();
    (void)state;

    /* another spelling, and comments, are no change */
    replace("campaigns/H26-02/kits.csv", "brindle-r16,Brindle,-,R16",
            "brindle-r16,  \"\"\"Brindle\"\"\",,\" R16 \"");
    replace("campaigns/H26-02/kits.csv", "tarrow-r20", "# the other line\ntarrow-r20");
    struct result result = RUN("rules", "diff", rules);
    assert_int_equal(result.code, 0);
    assert_string_equal(result.out, "the rules decide alike: no row differs\n");
    result_free(&result);
}

/* Files beside the rules: one that is named like a list is compared as one, whatever stands in it. */
static void files_that_nobody_reads(void **state)
{
    const char *rules = copied_rules();
    (void)state;

    write_words(words("%s/campaigns/H26-02/units.csv", rules), "unit,note\nN.m\n");
    write_words(words("%s/campaigns/H26-02/facts.csv", rules), "");
    write_words(words("%s/campaigns/H26-02/notes.csv", rules), "x\n");
    struct result result = RUN("rules", "diff", rules);
    assert_int_equal(result.code, 0);
    assert_string_equal(result.out, "campaigns/H26-02/facts.csv\n  the file is new\n"
                                    "\ncampaigns/H26-02/notes.csv\n  the file is new\n"
                                    "\ncampaigns/H26-02/units.csv\n  the file is new\n  N.m is new\n");
    result_free(&result);
}

static void changes_are_told_in_words(void **state)
{
    const char *rules = copied_rules();
    (void)state;

    replace("campaigns/H26-02/kits.csv", "[2021..2022]", "2022");
    replace("campaigns/H26-02/parts.csv", "clips,Tarrow,-,-,repaired,-,CLP-0055,3",
            "new-clips,Tarrow,-,-,repaired,-,CLP-0055,4");
    replace("campaigns/H26-02/prices.csv", "FLD-0100,11.35", "FLD-0100,12.00");
    replace("campaigns/H26-02/prices.csv", "RCP-0330,14.62,\n", "RCP-0330,14.62,\nRCP-0330,15.10,2026-06-01\n");
    replace("campaigns/H26-02/campaign.csv", "closes_on,", "closes_on,2027-12-31");
    replace("campaigns/H26-02/eligibility.csv", "electric,-,-,-,-,-,true,false,\n", "");
    replace("campaigns/H26-02/eligibility.csv", "true,third\n", "true,third\nelectric,-,-,-,-,-,true,false,\n");
    replace("checks/claim/odometer.csv", "C,odometer", "F,odometer");
    shell("rm '%s/campaigns/H24-05/followups.csv'", rules);
    struct result text = RUN("rules", "diff", rules);
    assert_int_equal(text.code, 0);
    assert_string_equal(
        text.out,
        "campaigns/H24-05/followups.csv\n"
        "  the file is taken out\n"
        "  hose is taken out: LEAK seeping: followup renew the pressure hose, part HOS-2400, due days 90\n"
        "\ncampaigns/H26-02/campaign.csv\n"
        "  closes_on, value: was empty, becomes 2027-12-31\n"
        "\ncampaigns/H26-02/eligibility.csv\n"
        "  electric, order: was first, becomes behind \"third\"\n"
        "\ncampaigns/H26-02/kits.csv\n"
        "  brindle-d22-late, model_year: was 2021 to 2022, becomes 2022\n"
        "\ncampaigns/H26-02/parts.csv\n"
        "  clips is taken out: Tarrow, repaired: part CLP-0055, quantity 3, need allowed\n"
        "  new-clips is new: Tarrow, repaired: part CLP-0055, quantity 4, need allowed\n"
        "\ncampaigns/H26-02/prices.csv\n"
        "  FLD-0100, price: was 11.35, becomes 12.00\n"
        "  RCP-0330 2026-06-01 is new: price 15.10\n"
        "\nchecks/claim/odometer.csv\n"
        "  hit policy: was C, becomes F\n");
    struct result csv = RUN("rules", "diff", rules, "--format", "csv");
    struct csv_sheet sheet = csv_sheet_read(csv.out);
    assert_int_equal(sheet.count - 1, 10);
    assert_string_equal(csv_at(&sheet, 5, "kind"), "changed");
    assert_string_equal(csv_at(&sheet, 5, "row"), "brindle-d22-late");
    assert_string_equal(csv_at(&sheet, 5, "before"), "2021 to 2022");
    csv_sheet_free(&sheet);
    result_free(&text);
    result_free(&csv);
}

/* The three nights of the demo, recorded. */
static const char *recorded_office(void)
{
    const char *office = words("%s/recorded.db", folder);
    struct csv_sheet nights = csv_sheet_of_file("fixtures/demo-nights.csv");

    shell("cp '%s' '%s'", demo_file("office.db"), office);
    for (size_t row = 1; row < nights.count; row++) {
        const char *day = csv_at(&nights, row, "received_on");
        struct result posted = RUN("post", demo_file(csv_at(&nights, row, "file")), "--office", office,
                                   "--today", day, "--received", day, "--quiet");
        assert_true(posted.code == 0 || posted.code == 1);
        result_free(&posted);
    }
    csv_sheet_free(&nights);
    return office;
}

static int64_t cents(const char *money)
{
    int64_t number;

    assert_int_equal(decimal_read(text_of(money), 2, &number), NUMBER_OK);
    return number / DECIMAL_CENT;
}

static void recorded_claims_that_would_be_decided_differently(void **state)
{
    const char *rules = copied_rules(), *office = recorded_office();
    int64_t before = 0, after = 0;
    size_t claims = 0, dealers = 0;
    (void)state;

    struct result same = RUN("rules", "diff", rules, "--office", office, "--format", "csv");
    assert_int_equal(same.code, 0);
    assert_string_equal(strchr(same.out, '\n'), "\n");
    result_free(&same);

    /* the campaign pays for nothing but parts and labor from now on */
    replace("campaigns/H26-02/campaign.csv", "other_limit,45.00", "other_limit,10.00");
    struct result amended = RUN("rules", "diff", rules, "--office", office, "--format", "csv");
    assert_int_equal(amended.code, 0);
    struct csv_sheet sheet = csv_sheet_read(amended.out);
    for (size_t row = 1; row < sheet.count; row++) {
        const char *kind = csv_at(&sheet, row, "kind");
        if (strcmp(kind, "claim") == 0) {
            int64_t lost =
                cents(csv_at(&sheet, row, "payable_before")) - cents(csv_at(&sheet, row, "payable_after"));
            assert_string_equal(csv_at(&sheet, row, "before"), csv_at(&sheet, row, "after"));
            assert_true(lost > 0 && lost <= 3500);
            before += cents(csv_at(&sheet, row, "payable_before"));
            after += cents(csv_at(&sheet, row, "payable_after"));
            claims++;
        } else if (strcmp(kind, "dealer") == 0) {
            dealers++;
        } else if (strcmp(kind, "all") == 0) {
            assert_int_equal(cents(csv_at(&sheet, row, "payable_before")), before);
            assert_int_equal(cents(csv_at(&sheet, row, "payable_after")), after);
            assert_int_equal(atoi(csv_at(&sheet, row, "claims")), claims);
        }
    }
    assert_true(claims > 0 && dealers > 0 && dealers <= claims);
    csv_sheet_free(&sheet);
    result_free(&amended);
    /* who is paid more, who less, and who gets another decision, in words */
    static const struct {
        const char *from, *to, *says[3];
    } WORDS_SAID[] = {
        {"other_limit,10.00", "other_limit,10.00", {" pay as before, payable ", " becomes ", "  payable "}},
        {"other_limit,10.00", "other_limit,90.00", {" pay as before, payable ", ", +", "\nby dealer:\n"}},
        {"other_limit,90.00", "other_limit,", {"  other_limit, value: was 45.00, becomes empty\n", NULL, NULL}},
        {"closes_on,", "closes_on,2026-01-20", {" pay becomes refuse, payable ", " becomes 0.00\n", NULL}},
    };
    for (size_t i = 0; i < COUNT(WORDS_SAID); i++) {
        replace("campaigns/H26-02/campaign.csv", WORDS_SAID[i].from, WORDS_SAID[i].to);
        struct result text = RUN("rules", "diff", rules, "--office", office);
        assert_int_equal(text.code, 0);
        for (size_t k = 0; k < COUNT(WORDS_SAID[i].says) && WORDS_SAID[i].says[k] != NULL; k++)
            if (strstr(text.out, WORDS_SAID[i].says[k]) == NULL)
                fail_msg("%s: not said: %s\n%s", WORDS_SAID[i].to, WORDS_SAID[i].says[k], text.out);
        result_free(&text);
    }
    replace("campaigns/H26-02/campaign.csv", "closes_on,2026-01-20", "closes_on,");
    replace("campaigns/H26-02/campaign.csv", "other_limit,", "other_limit,10.00");
    /* nothing is written down */
    struct result again = RUN("rules", "diff", rules, "--office", office, "--threads", "1");
    assert_non_null(
        strstr(again.out, words("%zu of 488 recorded claims would be decided differently:", claims)));
    result_free(&again);
}

/* More claims than there is room for at first; the same rules decide them alike. */
static void many_recorded_claims_that_are_decided_alike(void **state)
{
    enum { MANY = 1100 };
    const char *office = words("%s/many.db", folder), *path = words("%s/many.csv", folder);
    FILE *file = fopen(path, "w");
    (void)state;

    need(file != NULL, path);
    fputs("claim,dealer,repair_order,campaign,vin,outcome\n", file);
    for (int i = 0; i < MANY; i++)
        fprintf(file, "c%d,D137,R%d,H26-02,V%d,repaired\n", i, i, i);
    fclose(file);
    shell("cp '%s' '%s'", demo_file("office.db"), office);
    struct result posted = RUN("post", path, "--office", office, "--today", "2026-03-02", "--quiet");
    assert_int_equal(posted.code, 0);
    result_free(&posted);
    struct result same = RUN("rules", "diff", "rules", "--office", office);
    assert_int_equal(same.code, 0);
    assert_string_equal(same.out, words("the rules decide alike: no row differs\n\n0 of %d recorded claims would be "
                                        "decided differently\n", MANY));
    result_free(&same);
}

/* Where there are no claims, and where the office file has its default name, or is not there. */
static void rules_are_compared_without_claims(void **state)
{
    static const char ALIKE[] = "the rules decide alike: no row differs\n";
    const char *empty = demo_file("office.db"), *office = recorded_office(), *place = words("%s/place", folder);
    char *program = realpath(getenv("WITNESSMARK"), NULL), *rules = realpath("rules", NULL);
    (void)state;

    struct result result = RUN("rules", "diff", "rules", "--office", empty);
    assert_int_equal(result.code, 0);
    assert_string_equal(result.out, ALIKE);
    result_free(&result);
    shell("mkdir '%s'", place);
    for (int with_office = 0; with_office < 2; with_office++) {
        if (with_office)
            shell("cp '%s' '%s/office.db'", office, place);
        shell("cd '%s' && '%s' rules diff '%s' --rules '%s' > out", place, program, rules, rules);
        char *out = read_whole(words("%s/out", place), NULL);
        assert_int_equal(strncmp(out, ALIKE, sizeof ALIKE - 1), 0);
        assert_int_equal(strstr(out, " recorded claims would be decided differently\n") != NULL, with_office);
        free(out);
    }
    free(program);
    free(rules);
}

static void folders_that_cannot_be_compared(void **state)
{
    const char *rules = copied_rules();
    (void)state;

    replace("campaigns/H26-02/kits.csv", "U,model_line", "U,modelline");
    struct result wrong = RUN("rules", "diff", rules);
    assert_int_equal(wrong.code, 2);
    assert_string_equal(
        wrong.err,
        words("%s/campaigns/H26-02/kits.csv:1:2: no fact \"modelline\"; nearest is \"model_line\"\n", rules));
    assert_string_equal(wrong.out, "");
    result_free(&wrong);
    struct result nowhere = RUN("rules", "diff", words("%s/nowhere", folder));
    assert_int_equal(nowhere.code, 2);
    result_free(&nowhere);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(campaign_as_a_page),
        cmocka_unit_test(campaign_as_html),
        cmocka_unit_test(campaign_with_little_in_it),
        cmocka_unit_test(pages_that_cannot_be_printed),
        cmocka_unit_test(new_campaign_passes_lint_once_filled_in),
        cmocka_unit_test(new_campaign_stays_in_its_folder),
        cmocka_unit_test(new_campaign_where_none_can_be),
        cmocka_unit_test(same_rules_have_no_difference),
        cmocka_unit_test(files_that_nobody_reads),
        cmocka_unit_test(changes_are_told_in_words),
        cmocka_unit_test(recorded_claims_that_would_be_decided_differently),
        cmocka_unit_test(many_recorded_claims_that_are_decided_alike),
        cmocka_unit_test(rules_are_compared_without_claims),
        cmocka_unit_test(folders_that_cannot_be_compared),
    };
    return cmocka_run_group_tests(tests, make_copies, remove_copies);
}
