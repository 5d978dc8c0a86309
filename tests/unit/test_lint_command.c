/* `rules lint` as a user runs it: five slips in a copy of the demo rules, each named with its vehicle and the
 * number of vehicles of the register; formats and exit codes.
 */
#include "program.h"

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

/* A fresh copy of the demo rules. */
static const char *copied_rules(void)
{
    shell("rm -rf '%s/rules' && cp -r rules '%s/rules'", folder, folder);
    return words("%s/rules", folder);
}

/* In a file of the copy, `from` (which must be there) becomes `to`. */
static void replace(const char *file, const char *from, const char *to)
{
    const char *path = words("%s/rules/%s", folder, file);
    char *text = read_whole(path, NULL), *at = strstr(text, from);

    assert_non_null(at);
    write_words(path, words("%.*s%s%s", (int)(at - text), text, to, at + strlen(from)));
    free(text);
}

/* --- Vehicles of the register, counted from the file ---------------------------------------------- */

typedef bool is_meant(const struct csv_sheet *vehicles, size_t row);

static bool is(const struct csv_sheet *vehicles, size_t row, const char *column, const char *value)
{
    return strcmp(csv_at(vehicles, row, column), value) == 0;
}

static bool has_eps(const struct csv_sheet *vehicles, size_t row)
{
    return strstr(csv_at(vehicles, row, "options"), "eps") != NULL;
}

static bool was_built_before(const struct csv_sheet *vehicles, size_t row)
{
    const char *built_on = csv_at(vehicles, row, "built_on");

    return built_on[0] != '\0' && strcmp(built_on, "2022-05-31") <= 0;
}

static bool is_of_stage(const struct csv_sheet *vehicles, size_t row, const char *line, const char *from,
                        const char *to, bool by_day)
{
    const char *year = csv_at(vehicles, row, "model_year");

    return is(vehicles, row, "model_line", line) && strcmp(year, from) >= 0 && strcmp(year, to) <= 0 &&
           !has_eps(vehicles, row) && (!by_day || was_built_before(vehicles, row));
}

static bool takes_changed_kit(const struct csv_sheet *vehicles, size_t row)
{
    return is(vehicles, row, "engine", "R20") && is(vehicles, row, "transmission", "automatic") &&
           (is_of_stage(vehicles, row, "Brindle", "2018", "2019", false) ||
            is_of_stage(vehicles, row, "Brindle", "2020", "2022", true));
}

static bool is_of_left_out_year(const struct csv_sheet *vehicles, size_t row)
{
    return is(vehicles, row, "engine", "D22") && is_of_stage(vehicles, row, "Brindle", "2021", "2021", true);
}

static bool takes_kit_without_price(const struct csv_sheet *vehicles, size_t row)
{
    return is(vehicles, row, "engine", "R20") && is_of_stage(vehicles, row, "Tarrow", "2020", "2022", true);
}

static bool takes_either_tarrow_kit(const struct csv_sheet *vehicles, size_t row)
{
    return is(vehicles, row, "engine", "D22") && is_of_stage(vehicles, row, "Tarrow", "2020", "2022", true);
}

/* The row is for them, eligible by another row. */
static bool is_of_unreachable_row(const struct csv_sheet *vehicles, size_t row)
{
    const char *year = csv_at(vehicles, row, "model_year");

    return is(vehicles, row, "model_line", "Brindle") && strcmp(year, "2018") >= 0 && strcmp(year, "2019") <= 0;
}

static size_t vehicles_that(is_meant *meant)
{
    struct csv_sheet vehicles = csv_sheet_of_file(demo_file("vehicles.csv"));
    size_t count = 0;

    for (size_t row = 1; row < vehicles.count; row++)
        count += meant(&vehicles, row);
    csv_sheet_free(&vehicles);
    return count;
}

/* --- Five slips ----------------------------------------------------------------------------------- */

struct slip {
    const char *file, *from, *to;
    const char *where; /* file:line:column */
    const char *severity, *kind, *wrong;
    const char *example;
    is_meant *meant; /* NULL: nothing is counted */
};

static const struct slip SLIPS[] = {
    {"campaigns/H26-02/kits.csv", "PSH-2000-02", "PSH-2000-03", "campaigns/H26-02/kits.csv:4:7", "error", "gap",
     "the kit PSH-2000-03 has no price", "Brindle, 2018, R20, automatic, without eps, repaired",
     takes_changed_kit},
    {"campaigns/H26-02/kits.csv", "[2021..2022]", "2022", "campaigns/H26-02/kits.csv:1:1", "error", "gap",
     "no kit for a vehicle that row \"second\" of eligibility.csv takes in, when repaired",
     "Brindle, 2021, D22, built on 2022-05-31, without eps, repaired", is_of_left_out_year},
    {"campaigns/H26-02/prices.csv", "PSH-2010-01,138.90,\n", "", "campaigns/H26-02/kits.csv:7:7", "error",
     "gap", "the kit PSH-2010-01 has no price", "Tarrow, 2020, R20, built on 2022-05-31, without eps, repaired",
     takes_kit_without_price},
    {"campaigns/H26-02/eligibility.csv", "true,second", "true,secnd", "campaigns/H26-02/eligibility.csv:7:9",
     "error", "contradiction",
     "stage \"secnd\" is not in stages.csv, so it never opens; the nearest is \"second\"", "", NULL},
    {"campaigns/H26-02/eligibility.csv", "first,Brindle",
     "early,Brindle,[2018..2019],-,-,-,-,true,first\nfirst,Brindle", "campaigns/H26-02/eligibility.csv:6:1",
     "warning", "dead-row", "row \"first\" can never hit: whatever meets it meets row \"early\" first",
     "Brindle, 2018", is_of_unreachable_row},
};

/* The row of the result at this place. */
static size_t row_at(const struct csv_sheet *sheet, const char *where)
{
    for (size_t row = 1; row < sheet->count; row++) {
        const char *file = csv_at(sheet, row, "file") + strlen(folder) + strlen("/rules/");
        if (strcmp(words("%s:%s:%s", file, csv_at(sheet, row, "line"), csv_at(sheet, row, "column")), where) ==
            0)
            return row;
    }
    fail_msg("nothing at %s", where);
    return 0;
}

static void look_at_slip(const struct slip *slip)
{
    const char *rules = copied_rules();
    replace(slip->file, slip->from, slip->to);
    struct result result =
        RUN("rules", "lint", "--rules", rules, "--office", demo_file("office.db"), "--format", "csv");

    assert_string_equal(result.err, "");
    assert_int_equal(result.code, 1);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    size_t row = row_at(&sheet, slip->where);
    assert_string_equal(csv_at(&sheet, row, "severity"), slip->severity);
    assert_string_equal(csv_at(&sheet, row, "kind"), slip->kind);
    assert_string_equal(csv_at(&sheet, row, "wrong"), slip->wrong);
    assert_string_equal(csv_at(&sheet, row, "example"), slip->example);
    const char *vehicles = slip->meant != NULL ? words("%zu", vehicles_that(slip->meant)) : "";
    assert_string_equal(csv_at(&sheet, row, "vehicles"), vehicles);
    assert_string_not_equal(vehicles, "0");
    /* nothing else is wrong, notes apart */
    for (size_t other = 1; other < sheet.count; other++)
        assert_true(other == row || strcmp(csv_at(&sheet, other, "severity"), "note") == 0);
    csv_sheet_free(&sheet);
    result_free(&result);
}

static void five_slips_are_named_with_their_vehicles(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(SLIPS); i++)
        look_at_slip(&SLIPS[i]);
}

/* --- Formats and exit codes ----------------------------------------------------------------------- */

static void expect_run(struct result result, int code, const char *out)
{
    if (result.code != code)
        print_error("%s%s", result.out, result.err);
    assert_int_equal(result.code, code);
    assert_string_equal(result.out, out);
    result_free(&result);
}

static void demo_rules_are_clean_with_and_without_the_register(void **state)
{
    (void)state;
    expect_run(RUN("rules", "lint"), 0,
               "rules: 32 tables, 2 campaigns: no errors, no warnings; proved for every vehicle that the "
               "tables tell apart\n");
    expect_run(RUN("rules", "lint", "--office", demo_file("office.db")), 0,
               "rules: 32 tables, 2 campaigns: no errors, no warnings; proved for every vehicle that the "
               "tables tell apart; "
               "the register has 2400 vehicles\n");
    expect_run(RUN("rules", "lint", "--quiet"), 0, "");
    expect_run(RUN("rules", "lint", "--format", "csv"), 0,
               "severity,kind,file,line,column,wrong,example,vehicles,advice\n");
    expect_run(RUN("rules", "lint", "--format", "json"), 0, "");
}

/* A vehicle of which no day is known is in no stage that ends on a day, and counts where no day is asked for. */
static void vehicles_without_a_day(void **state)
{
    const char *rules = copied_rules(), *office = words("%s/office.db", folder);
    const char *path = words("%s/vehicles.csv", folder);
    (void)state;

    shell("cp '%s' '%s'", demo_file("office.db"), office);
    write_words(path, "vin,model_line,model_year,engine,transmission,built_on,plant,options,status,status_on\n"
                      "EZ7TDAC12LT000707,Tarrow,2020,R20,manual,,,,in_service,\n"
                      "EZ7TDAC14LT000708,Brindle,2018,R20,automatic,,,,in_service,\n");
    struct result loaded = RUN("load", "vehicles", path, "--office", office, "--today", "2026-03-01", "--quiet");
    if (loaded.code != 0)
        fail_msg("%s", loaded.err);
    result_free(&loaded);
    replace("campaigns/H26-02/prices.csv", "PSH-2010-01,138.90,\n", "");
    replace("campaigns/H26-02/prices.csv", "PSH-2000-02,131.20,\n", "");
    struct result result = RUN("rules", "lint", "--rules", rules, "--office", office, "--format", "csv");
    struct csv_sheet sheet = csv_sheet_read(result.out);
    assert_string_equal(csv_at(&sheet, row_at(&sheet, "campaigns/H26-02/kits.csv:7:7"), "vehicles"),
                        words("%zu", vehicles_that(takes_kit_without_price)));
    assert_string_equal(csv_at(&sheet, row_at(&sheet, "campaigns/H26-02/kits.csv:4:7"), "vehicles"),
                        words("%zu", vehicles_that(takes_changed_kit) + 1));
    csv_sheet_free(&sheet);
    result_free(&result);
}

static void results_in_each_format(void **state)
{
    const char *rules = copied_rules();
    (void)state;

    replace("campaigns/H26-02/labor.csv", "PSR-11,0.3", "PSR-11,0.35");
    expect_run(RUN("rules", "lint", "--rules", rules), 1,
               words("warning: %s/campaigns/H26-02/labor.csv:8:11: 0.35 hours are no whole tenths, and hours "
                     "are claimed in "
                     "tenths; round them to a tenth\n%s: 32 tables, 2 campaigns: 0 errors, 1 warning\n",
                     rules, rules));
    expect_run(
        RUN("rules", "lint", "--rules", rules, "--format", "json"), 1,
        words("{\"severity\":\"warning\",\"kind\":\"contradiction\",\"file\":\"%s/campaigns/H26-02/labor.csv\","
              "\"line\":8,\"column\":11,\"wrong\":\"0.35 hours are no whole tenths, and hours are claimed in "
              "tenths\","
              "\"example\":null,\"vehicles\":null,\"advice\":\"round them to a tenth\"}\n",
              rules));
    replace("campaigns/H26-02/labor.csv", "PSR-11,0.35", "PSR-11,0.3");
    replace("campaigns/H26-02/kits.csv", "tarrow-r20,Tarrow,-,R20", "tarrow-r20,Tarrow,-,-");
    expect_run(RUN("rules", "lint", "--rules", rules, "--office", demo_file("office.db"), "--quiet", "--format",
                   "text"),
               1,
               words("%s/campaigns/H26-02/kits.csv:8:1: rows \"tarrow-r20\" and \"tarrow-d22\" both hit; only "
                     "one row of this "
                     "table may hit; make their conditions exclude each other\n"
                     "    for example: Tarrow, 2020, D22, built on 2022-05-31, without eps, repaired\n"
                     "    vehicles of the register: %zu\n",
                     rules, vehicles_that(takes_either_tarrow_kit)));
    struct result json =
        RUN("rules", "lint", "--rules", rules, "--office", demo_file("office.db"), "--format", "json");
    assert_int_equal(json.code, 1);
    assert_non_null(strstr(json.out, words("\"vehicles\":%zu,", vehicles_that(takes_either_tarrow_kit))));
    result_free(&json);
}

static void rules_that_cannot_be_used(void **state)
{
    const char *rules = copied_rules();
    (void)state;

    replace("campaigns/H26-02/kits.csv", "U,model_line", "U,modelline");
    expect_run(
        RUN("rules", "lint", "--rules", rules), 1,
        words("%s/campaigns/H26-02/kits.csv:1:2: no fact \"modelline\"; nearest is \"model_line\"\n", rules));
    expect_run(RUN("rules", "lint", "--rules", rules, "--format", "csv"), 1,
               words("severity,kind,file,line,column,wrong,example,vehicles,advice\n"
                     "error,unusable,%s/campaigns/H26-02/kits.csv,1,2,\"no fact \"\"modelline\"\"\",,,"
                     "\"nearest is \"\"model_line\"\"\"\n",
                     rules));
    struct result nothing = RUN("rules", "lint", "--rules", words("%s/nowhere", folder));
    assert_int_equal(nothing.code, 2);
    assert_string_equal(nothing.out, "");
    assert_true(strlen(nothing.err) > 0);
    result_free(&nothing);
    struct result no_office = RUN("rules", "lint", "--office", words("%s/nowhere.db", folder));
    assert_int_equal(no_office.code, 2);
    assert_true(strlen(no_office.err) > 0);
    result_free(&no_office);
}

/* What is no cell of a table has no line or no column; what is only a warning stops nothing. */
static void places_that_are_no_cell(void **state)
{
    static const struct {
        const char *change; /* of the folder, by the shell */
        const char *text, *csv, *json;
    } CASES[] = {
        {"rm campaigns/H26-02/campaign.csv",
         "%s/campaigns/H26-02/campaign.csv: the file is missing; every campaign needs it\n",
         "error,unusable,%s/campaigns/H26-02/campaign.csv,,,the file is missing,,,every campaign needs it\n",
         "\"file\":\"%s/campaigns/H26-02/campaign.csv\",\"line\":null,\"column\":null,\"wrong\":\"the file is "
         "missing\",\"example\":null,\"vehicles\":null,\"advice\":\"every campaign needs it\"}\n"},
        {"sed -i '1s/quantity/much/' units.csv",
         "%s/units.csv:1: the column \"quantity\" is missing; add it to the first row\n",
         "error,unusable,%s/units.csv,1,,\"the column \"\"quantity\"\" is missing\",,,add it to the first row\n",
         "\"file\":\"%s/units.csv\",\"line\":1,\"column\":null,\"wrong\":\"the column \\\"quantity\\\" is "
         "missing\",\"example\":null,\"vehicles\":null,\"advice\":\"add it to the first row\"}\n"},
        {"sed -i '1s/$/,\"x;y\"/; 2,$s/$/,/' campaigns/H26-02/prices.csv",
         "warning: %s/campaigns/H26-02/prices.csv:1:4: unknown column, left alone: \"x;y\"\n",
         "warning,unusable,%s/campaigns/H26-02/prices.csv,1,4,\"unknown column, left alone: \"\"x;y\"\"\",,,\n",
         "\"file\":\"%s/campaigns/H26-02/prices.csv\",\"line\":1,\"column\":4,\"wrong\":\"unknown column, left "
         "alone: \\\"x;y\\\"\",\"example\":null,\"vehicles\":null,\"advice\":null}\n"},
    };
    static const char *const FORMATS_SAID[] = {"text", "csv", "json"};
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *rules = copied_rules(), *const said[] = {CASES[i].text, CASES[i].csv, CASES[i].json};
        shell("cd '%s' && %s", rules, CASES[i].change);
        for (size_t format = 0; format < COUNT(said); format++) {
            struct result result = RUN("rules", "lint", "--rules", rules, "--format", FORMATS_SAID[format]);
            const char *rest = strstr(said[format], "%s") + 2;
            const char *whole =
                words("%.*s%s%s", (int)(rest - 2 - said[format]), said[format], rules, rest);
            if (result.code != 1 || strstr(result.out, whole) == NULL)
                fail_msg("exit code %d, or not said: %s%s", result.code, whole, result.out);
            result_free(&result);
        }
    }
}

/* Longer than a path may be: the file alone is named by what found the fault, and with its folder by the result. */
static void a_folder_with_a_long_name(void **state)
{
    enum { LONGEST = 4095 }; /* kits.csv fits, campaign.csv does not */
    char path[LONGEST + 1];
    size_t length = LONGEST - strlen("/campaigns/X/kits.csv");
    (void)state;

    shell("rm -rf '%s/long' && mkdir -p '%s/long/campaigns/X' && cp rules/facts.csv rules/units.csv '%s/long'",
          folder, folder, folder);
    write_words(words("%s/long/campaigns/X/kits.csv", folder), "U,outcome,>kit,>quantity\na,repaired,K,1\n");
    /* /./././ leads to the same folder */
    snprintf(path, sizeof path, "%s/long", folder);
    size_t from = strlen(path);
    for (size_t i = from; i < length; i++)
        path[i] = (i - from) % 2 == 0 ? '/' : '.';
    path[length] = '\0';
    if (path[length - 1] == '/')
        path[length - 1] = '\0'; /* still too long for the longer name, which has four characters more */
    assert_true(strlen(path) + strlen("/campaigns/X/campaign.csv") > LONGEST);
    struct result result = RUN("rules", "lint", "--rules", path);
    assert_int_equal(result.code, 1);
    assert_non_null(strstr(
        result.out, words("%s/campaigns/X/campaign.csv: the file is missing; every campaign needs it\n", path)));
    result_free(&result);
}

/* What was not proved is counted, and by itself no fault. */
static void what_is_not_proved_is_counted(void **state)
{
    const char *rules = copied_rules();
    (void)state;

    replace("deadlines.csv", "illinois,\"\"\"US-IL\"\"\"", "illinois,\"matches(?, \"\"US-IL.*\"\")\"");
    struct result result = RUN("rules", "lint", "--rules", rules);
    assert_int_equal(result.code, 0);
    assert_string_equal(
        result.out,
        words("note: %s/deadlines.csv:1:1: it was not proved that no two rows of this table meet in error: it "
              "depends on cells that compare facts with facts or with patterns; check it by hand\n"
              "%s: 32 tables, 2 campaigns: no errors, no warnings; 1 thing not proved\n",
              rules, rules));
    result_free(&result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(five_slips_are_named_with_their_vehicles),
        cmocka_unit_test(demo_rules_are_clean_with_and_without_the_register),
        cmocka_unit_test(vehicles_without_a_day),
        cmocka_unit_test(results_in_each_format),
        cmocka_unit_test(rules_that_cannot_be_used),
        cmocka_unit_test(places_that_are_no_cell),
        cmocka_unit_test(a_folder_with_a_long_name),
        cmocka_unit_test(what_is_not_proved_is_counted),
    };
    return cmocka_run_group_tests(tests, make_copies, remove_copies);
}
