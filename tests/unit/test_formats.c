/* The same results in each format: JSON has the names and values of CSV, with the findings inside; text has the
 * numbers that both have. `check` with one file and with two, `post`, replies, `flags` with and without
 * deadlines, `followups`. */
#include "program.h"

#include <jansson.h>

#include "base/date.h"

static char *folder, *fresh, *office;

static const char *night(int number)
{
    return demo_file(words("night-%d.csv", number));
}

/* The demo office before its nights, and after them. */
static int begin(void **state)
{
    static const char *const DAYS[] = {"2026-03-02", "2026-03-16", "2026-04-20"};
    char room[256];
    (void)state;

    make_folder(room);
    folder = words("%s", room);
    fresh = words("%s/fresh.db", folder);
    office = words("%s/office.db", folder);
    shell("cp %s %s && cp %s %s", demo_file("office.db"), fresh, demo_file("office.db"), office);
    for (int i = 0; i < 3; i++) {
        struct result result = RUN("post", night(i + 1), "--office", office, "--today", DAYS[i], "--quiet");
        assert_int_equal(result.code, 0);
        result_free(&result);
    }
    return 0;
}

static int end(void **state)
{
    (void)state;
    shell("rm -rf '%s'", folder);
    return 0;
}

/* --- JSON against CSV
 * --------------------------------------------------------------------------------------------- */

static const char *json_cell(const json_t *value)
{
    if (json_is_null(value))
        return "";
    if (json_is_string(value))
        return json_string_value(value);
    if (json_is_boolean(value))
        return json_is_true(value) ? "true" : "false";
    if (json_is_integer(value))
        return words("%lld", (long long)json_integer_value(value));
    return words("%.2f", json_real_value(value));
}

/* The names of the findings, each once, as CSV lists them. */
static const char *finding_names(const json_t *findings)
{
    char *names = words("%s", "");
    json_t *finding;
    size_t i;

    json_array_foreach(findings, i, finding)
    {
        const char *name = json_string_value(json_object_get(finding, "finding"));
        if (!list_has(names, name))
            names = words("%s%s%s", names, names[0] != '\0' ? ";" : "", name);
    }
    return names;
}

/* Each line of JSON is the row of CSV of the same place. Returns how many. */
static size_t json_is_csv(const char *json, const char *csv)
{
    struct csv_sheet sheet = csv_sheet_read(csv);
    size_t row = 0;

    for (const char *line = json; *line != '\0'; line += strcspn(line, "\n") + 1) {
        json_error_t error;
        json_t *object = json_loadb(line, strcspn(line, "\n"), 0, &error);
        if (object == NULL)
            fail_msg("%s: %.200s", error.text, line);
        row++;
        assert_true(row < sheet.count);
        size_t columns = 0;
        for (; sheet.rows[0][columns] != NULL; columns++) {
            const char *name = sheet.rows[0][columns];
            const json_t *value = json_object_get(object, name);
            const char *cell = json_is_array(value) ? finding_names(value) : json_cell(value);
            if (value == NULL || strcmp(cell, sheet.rows[row][columns]) != 0)
                fail_msg("row %zu, %s: \"%s\" in JSON, \"%s\" in CSV", row, name, value ? cell : "(none)",
                         sheet.rows[row][columns]);
        }
        assert_int_equal(json_object_size(object), columns);
        json_decref(object);
    }
    assert_int_equal(row + 1, sheet.count);
    csv_sheet_free(&sheet);
    return row;
}

/* The findings inside, in the order of the lines, are those of --findings. */
static void findings_are_inside(const char *json, const char *findings)
{
    static const char *const NAMES[] = {"effect", "finding", "item", "message", "rule"};
    struct csv_sheet sheet = csv_sheet_of_file(findings);
    size_t row = 0;

    for (const char *line = json; *line != '\0'; line += strcspn(line, "\n") + 1) {
        json_t *object = json_loadb(line, strcspn(line, "\n"), 0, NULL), *finding;
        size_t i;
        json_array_foreach(json_object_get(object, "findings"), i, finding)
        {
            row++;
            assert_true(row < sheet.count);
            for (size_t n = 0; n < COUNT(NAMES); n++)
                assert_string_equal(json_cell(json_object_get(finding, NAMES[n])),
                                    csv_at(&sheet, row, NAMES[n]));
            assert_string_equal(json_cell(json_object_get(object, "line")), csv_at(&sheet, row, "line"));
        }
        json_decref(object);
    }
    assert_true(row > 20);
    assert_int_equal(row + 1, sheet.count);
    csv_sheet_free(&sheet);
}

/* --- check and post
 * ----------------------------------------------------------------------------------------------- */

#define CHECK(...) RUN("check", __VA_ARGS__, "--office", fresh, "--today", "2026-03-16", "--quiet")

static void check_in_each_format(void **state)
{
    const char *findings = words("%s/findings.csv", folder);
    (void)state;

    struct result json = CHECK(night(1), "--format", "json", "--findings", findings);
    struct result csv = CHECK(night(1), "--format", "csv");
    assert_int_equal(json.code, 1);
    assert_true(json_is_csv(json.out, csv.out) > 100);
    findings_are_inside(json.out, findings);
    /* in text, those that something was found on, with asked and payable of both */
    struct result text = CHECK(night(1));
    struct csv_sheet sheet = csv_sheet_read(csv.out);
    for (size_t row = 1; row < sheet.count; row++) {
        const char *dealer = csv_at(&sheet, row, "dealer"), *claim = csv_at(&sheet, row, "claim");
        if (dealer[0] == '\0' || claim[0] == '\0' || csv_at(&sheet, row, "asked")[0] == '\0')
            continue;
        const char *revision = csv_at(&sheet, row, "revision");
        bool again = strcmp(revision, "0") != 0;
        const char *said =
            words("line %s  %s/%s%s%s  %s  asked %s  payable %s\n", csv_at(&sheet, row, "line"), dealer, claim,
                  again ? " revision " : "", again ? revision : "", csv_at(&sheet, row, "decision"),
                  csv_at(&sheet, row, "asked"), csv_at(&sheet, row, "payable"));
        bool found = csv_at(&sheet, row, "findings")[0] != '\0';
        if ((strstr(text.out, said) != NULL) != found)
            fail_msg("%s in text, %s", found ? "not" : "stands", said);
    }
    csv_sheet_free(&sheet);
    result_free(&json);
    result_free(&csv);
    result_free(&text);
}

/* With more than one file, each row says of which it is; the second is decided as if the first were posted. */
static void two_files_in_each_format(void **state)
{
    (void)state;
    struct result json = CHECK(night(1), night(2), "--format", "json");
    struct result csv = CHECK(night(1), night(2), "--format", "csv");
    size_t rows = json_is_csv(json.out, csv.out);
    struct csv_sheet sheet = csv_sheet_read(csv.out);
    assert_string_equal(sheet.rows[0][0], "file");
    assert_string_equal(csv_at(&sheet, 1, "file"), night(1));
    assert_string_equal(csv_at(&sheet, rows, "file"), night(2));
    struct result text = CHECK(night(1), night(2));
    bool due = false;
    for (size_t row = 1; row < sheet.count; row++)
        if (strcmp(csv_at(&sheet, row, "decision"), "pay") == 0 && csv_at(&sheet, row, "findings")[0] != '\0' &&
            strcmp(csv_at(&sheet, row, "due"), csv_at(&sheet, row, "payable")) != 0) {
            due = true;
            assert_non_null(strstr(text.out, words("  payable %s  due %s\n", csv_at(&sheet, row, "payable"),
                                                   csv_at(&sheet, row, "due"))));
        }
    assert_non_null(strstr(text.out, words("%s line ", night(2))));
    (void)due;
    csv_sheet_free(&sheet);
    result_free(&json);
    result_free(&csv);
    result_free(&text);
}

/* The reply in JSON is the dealer's lines of the decisions; in CSV it is a row for each of their findings, and
 * for a claim without one; in text each claim is named. */
static void replies_are_the_dealers_own(const char *decisions, const char *in_json, const char *in_csv,
                                        const char *in_text)
{
    static const char *const OF_CLAIM[] = {"claim",    "revision", "campaign", "vin",
                                           "decision", "asked",    "payable",  "due"};
    static const char *const OF_FINDING[] = {"effect", "finding", "item", "message"};
    struct csv_sheet sheet = csv_sheet_read(in_csv);
    const char *at = in_json;
    size_t row = 0;

    for (const char *line = decisions; *line != '\0'; line += strcspn(line, "\n") + 1) {
        json_t *object = json_loadb(line, strcspn(line, "\n"), 0, NULL),
               *findings = json_object_get(object, "findings");
        if (strcmp(json_cell(json_object_get(object, "dealer")), "D122") != 0) {
            json_decref(object);
            continue;
        }
        assert_int_equal(strncmp(at, line, strcspn(line, "\n") + 1), 0);
        at += strcspn(at, "\n") + 1;
        for (size_t i = 0; i < json_array_size(findings) || i == 0; i++) {
            const json_t *finding = json_array_get(findings, i);
            row++;
            assert_true(row < sheet.count);
            for (size_t n = 0; n < COUNT(OF_CLAIM); n++)
                assert_string_equal(csv_at(&sheet, row, OF_CLAIM[n]),
                                    json_cell(json_object_get(object, OF_CLAIM[n])));
            for (size_t n = 0; n < COUNT(OF_FINDING); n++)
                assert_string_equal(csv_at(&sheet, row, OF_FINDING[n]),
                                    finding != NULL ? json_cell(json_object_get(finding, OF_FINDING[n])) : "");
        }
        assert_non_null(strstr(in_text, json_cell(json_object_get(object, "claim"))));
        json_decref(object);
    }
    assert_int_equal(row + 1, sheet.count);
    assert_true(row > 5);
    assert_string_equal(at, "");
    csv_sheet_free(&sheet);
}

static void post_in_each_format(void **state)
{
    static const char *const FORMATS_WRITTEN[] = {"csv", "json", "text"};
    char *written[3], *replies[3];
    (void)state;

    for (size_t i = 0; i < 3; i++) {
        const char *copy = words("%s/post.db", folder), *out = words("%s/out.%s", folder, FORMATS_WRITTEN[i]);
        replies[i] = words("%s/replies-%s", folder, FORMATS_WRITTEN[i]);
        shell("rm -f %s* && cp %s %s", copy, fresh, copy);
        struct result result = RUN("post", night(1), "--office", copy, "--today", "2026-03-16", "--format",
                                   FORMATS_WRITTEN[i], "--out", out, "--replies", replies[i], "--quiet");
        assert_int_equal(result.code, 0);
        assert_string_equal(result.out, "");
        result_free(&result);
        written[i] = read_whole(out, NULL);
    }
    struct result csv = CHECK(night(1), "--format", "csv"), text = CHECK(night(1));
    assert_string_equal(written[0], csv.out);
    assert_true(json_is_csv(written[1], written[0]) > 100);
    assert_int_equal(strncmp(text.out, written[2], strlen(written[2])), 0); /* check has sums behind it */
    char *own = read_whole(words("%s/D122.csv", replies[0]), NULL);
    char *in_json = read_whole(words("%s/D122.json", replies[1]), NULL);
    char *in_text = read_whole(words("%s/D122.txt", replies[2]), NULL);
    replies_are_the_dealers_own(written[1], in_json, own, in_text);
    result_free(&csv);
    result_free(&text);
    /* the same claims in another file: each is there already */
    const char *again = words("%s/again.csv", folder), *copy = words("%s/post.db", folder);
    shell("cp %s %s && echo >> %s", night(1), again, again);
    struct result result =
        RUN("post", again, "--office", copy, "--today", "2026-03-17", "--replies", replies[2], "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    in_text = read_whole(words("%s/D122.txt", replies[2]), NULL);
    assert_non_null(strstr(in_text, "EXISTS: this revision is already recorded; nothing was changed.\n"));
    assert_null(strstr(in_text, "PAY"));
    shell("echo >> %s", again);
    result = RUN("post", again, "--office", copy, "--today", "2026-03-18", "--replies", replies[0], "--format", "csv",
                 "--out", "/dev/null", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    struct csv_sheet in_csv = csv_sheet_of_file(words("%s/D122.csv", replies[0]));
    assert_true(in_csv.count > 1);
    for (size_t row = 1; row < in_csv.count; row++)
        assert_string_equal(csv_at(&in_csv, row, "decision"), "exists");
    csv_sheet_free(&in_csv);
}

/* --- flags and followups
 * ------------------------------------------------------------------------------------------ */

#define FLAGS(...) RUN("flags", "--office", office, "--today", "2026-05-01", ##__VA_ARGS__)

static void flags_in_each_format(void **state)
{
    (void)state;
    struct result json = FLAGS("--format", "json"), csv = FLAGS("--format", "csv"), text = FLAGS();
    size_t rows = json_is_csv(json.out, csv.out);
    struct csv_sheet sheet = csv_sheet_read(csv.out);
    assert_true(rows > 50);
    for (size_t row = 1; row <= rows; row++)
        assert_non_null(
            strstr(text.out, words("%s/%s", csv_at(&sheet, row, "dealer"), csv_at(&sheet, row, "claim"))));
    csv_sheet_free(&sheet);
    result_free(&json);
    result_free(&csv);
    result_free(&text);
    /* held claims by the time left: days are those between the day asked for and decide_by */
    json = FLAGS("--due-within", "30", "--format", "json");
    csv = FLAGS("--due-within", "30", "--format", "csv");
    text = FLAGS("--due-within", "30");
    rows = json_is_csv(json.out, csv.out);
    sheet = csv_sheet_read(csv.out);
    assert_true(rows > 0);
    int previous = INT32_MIN;
    for (size_t row = 1; row <= rows; row++) {
        int left = atoi(csv_at(&sheet, row, "days_left"));
        int32_t day;
        assert_true(date_read(text_of(csv_at(&sheet, row, "decide_by")), &day));
        assert_int_equal(left, day - date_from_civil(2026, 5, 1));
        assert_true(left <= 30 && left >= previous);
        previous = left;
        const char *silence = strcmp(csv_at(&sheet, row, "silence_approves"), "true") == 0
                                  ? "; silence approves the claim\n"
                                  : "\n";
        const char *when = left < 0 ? words(", which was %d day%s ago", -left, left == -1 ? "" : "s")
                                    : words(", %d day%s left", left, left == 1 ? "" : "s");
        assert_non_null(
            strstr(text.out, words("    decide by %s%s%s", csv_at(&sheet, row, "decide_by"), when, silence)));
    }
    csv_sheet_free(&sheet);
    result_free(&json);
    result_free(&csv);
    result_free(&text);
}

static void mistakes_with_lists(void **state)
{
    static const struct {
        const char *words[6], *says;
    } CASES[] = {
        {{"flags", "--sort", "vin"}, "--sort \"vin\" is none; write payable, date or dealer"},
        {{"flags", "--effect", "deny"}, "--effect \"deny\" is none; write refuse, return, hold, cut or note"},
        {{"flags", "--decision", "paid"}, "--decision \"paid\" is none; write pay, hold, return or refuse"},
        {{"flags", "--due-within", "7", "--decision", "pay"},
         "--due-within lists held claims; leave --decision out"},
        {{"followups", "--sort", "payable"}, "--sort \"payable\" is none here; write date or dealer"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct result result = run_program(CASES[i].words);
        assert_int_equal(result.code, 2);
        assert_non_null(strstr(result.err, CASES[i].says));
        result_free(&result);
    }
}

/* Filters leave what fits, in the order asked for; every one of the same rows that the whole list has. */
static void flags_are_filtered_and_sorted(void **state)
{
    static const struct {
        const char *option, *column;
    } CASES[] = {{"--dealer", "dealer"},
                 {"--campaign", "campaign"},
                 {"--decision", "decision"},
                 {"--finding", "findings"}};
    (void)state;

    struct result all = FLAGS("--format", "csv");
    struct csv_sheet whole = csv_sheet_read(all.out);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *value = csv_at(&whole, whole.count / 2, CASES[i].column);
        value = words("%.*s", (int)strcspn(value, ";"), value); /* the first of a list */
        struct result some = FLAGS("--format", "csv", CASES[i].option, value);
        struct csv_sheet sheet = csv_sheet_read(some.out);
        size_t expected = 0;
        for (size_t row = 1; row < whole.count; row++)
            expected += list_has(csv_at(&whole, row, CASES[i].column), value);
        assert_true(expected > 0);
        assert_int_equal(sheet.count - 1, expected);
        for (size_t row = 1; row < sheet.count; row++)
            assert_true(list_has(csv_at(&sheet, row, CASES[i].column), value));
        csv_sheet_free(&sheet);
        result_free(&some);
    }
    struct result sorted = FLAGS("--format", "csv", "--sort", "payable", "--limit", "20");
    struct csv_sheet sheet = csv_sheet_read(sorted.out);
    assert_int_equal(sheet.count, 21);
    for (size_t row = 2; row < sheet.count; row++)
        assert_true(atof(csv_at(&sheet, row - 1, "payable")) >= atof(csv_at(&sheet, row, "payable")));
    csv_sheet_free(&sheet);
    result_free(&sorted);
    sorted = FLAGS("--format", "csv", "--sort", "dealer");
    sheet = csv_sheet_read(sorted.out);
    assert_int_equal(sheet.count, whole.count);
    for (size_t row = 2; row < sheet.count; row++)
        assert_true(strcmp(csv_at(&sheet, row - 1, "dealer"), csv_at(&sheet, row, "dealer")) <= 0);
    csv_sheet_free(&sheet);
    csv_sheet_free(&whole);
    result_free(&sorted);
    result_free(&all);
}

#define FOLLOWUPS(...) RUN("followups", "--office", office, "--today", day, ##__VA_ARGS__)

/* On a day; *ret_late: some work is overdue then, *ret_waits: some is not. */
static void followups_on(const char *day, bool *ret_late, bool *ret_waits)
{
    struct result json = FOLLOWUPS("--format", "json"), csv = FOLLOWUPS("--format", "csv"), text = FOLLOWUPS();
    size_t rows = json_is_csv(json.out, csv.out);
    struct csv_sheet sheet = csv_sheet_read(csv.out);
    bool overdue = false, waits = false;
    assert_true(rows > 0);
    for (size_t row = 1; row <= rows; row++) {
        int32_t opened, due = DAY_NONE, today;
        assert_true(date_read(text_of(day), &today));
        assert_true(date_read(text_of(csv_at(&sheet, row, "opened_on")), &opened));
        assert_int_equal(atoi(csv_at(&sheet, row, "days_open")), today - opened);
        bool has_due = date_read(text_of(csv_at(&sheet, row, "due_on")), &due);
        if (has_due)
            assert_int_equal(atoi(csv_at(&sheet, row, "days_left")), due - today);
        overdue = overdue || (has_due && due < today);
        waits = waits || (has_due && due >= today);
        assert_non_null(
            strstr(text.out, words("%s  %s/%s, campaign %s\n    %s; open since %s, %d day%s%s%s",
                                   csv_at(&sheet, row, "vin"), csv_at(&sheet, row, "dealer"),
                                   csv_at(&sheet, row, "claim"), csv_at(&sheet, row, "campaign"),
                                   csv_at(&sheet, row, "followup"), csv_at(&sheet, row, "opened_on"),
                                   today - opened, today - opened == 1 ? "" : "s",
                                   !has_due      ? ""
                                   : due < today ? ", OVERDUE since "
                                                 : ", due on ",
                                   csv_at(&sheet, row, "due_on"))));
        const char *status = csv_at(&sheet, row, "vehicle_status");
        if (status[0] != '\0' && strcmp(status, "in_service") != 0)
            assert_non_null(strstr(text.out, words("the vehicle is %s", status)));
    }
    *ret_late = overdue;
    *ret_waits = waits;
    csv_sheet_free(&sheet);
    result_free(&json);
    result_free(&csv);
    result_free(&text);
}

static void followups_in_each_format(void **state)
{
    const char *day = "2026-12-31";
    bool late, waits;
    (void)state;

    followups_on("2026-04-25", &late, &waits);
    assert_true(waits);
    followups_on(day, &late, &waits);
    assert_true(late);
    struct result some = FOLLOWUPS("--format", "csv", "--sort", "dealer", "--limit", "3");
    struct csv_sheet sheet = csv_sheet_read(some.out);
    assert_true(sheet.count >= 2 && sheet.count <= 4);
    csv_sheet_free(&sheet);
    result_free(&some);
}

static void loads_are_told(void **state)
{
    static const char HEADER[] = "shipment,dealer,part,quantity,shipped_on\n";
    static const struct {
        const char *rows, *says;
    } CASES[] = {
        {"Z1,D137,P-1,1,2026-01-01\n", ": 1 row of shipments: 1 new, 0 changed, 0 as they were\n"},
        {"Z1,D137,P-1,2,2026-01-01\nZ2,D137,P-1,1,2026-01-01\n",
         ": 2 rows of shipments: 1 new, 1 changed, 0 as they were\n"},
        {"Z2,D137,P-1,1,2026-01-01\nZ2,D137,P-1,1,2026-01-01\n",
         ": 2 rows of shipments: 0 new, 0 changed, 1 as they were, 1 repeated in the file\n"},
        {"Z1,D137,P-1,1,2026-01-01\n",
         ": 1 row of shipments: 0 new, 1 changed, 0 as they were; the same file was load 5 of 2026-06-01\n"},
    };
    const char *file = words("%s/load.csv", folder), *copy = words("%s/load.db", folder);
    (void)state;

    shell("cp %s %s", fresh, copy);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        write_words(file, words("%s%s", HEADER, CASES[i].rows));
        struct result result = RUN("load", "shipments", file, "--office", copy, "--today", "2026-06-01");
        if (result.code != 0 || strcmp(result.out, words("%s%s", file, CASES[i].says)) != 0)
            fail_msg("%s%s", result.out, result.err);
        result_free(&result);
    }
    struct result result = RUN("load", "claims", file, "--office", copy);
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err,
                           "\"claims\" is nothing to load; write vehicles, dealers, shipments, approvals or "
                           "notices"));
    result_free(&result);
}

/* --- Lists that the program makes of itself
 * ------------------------------------------------------------------------ */

static void reports_list_themselves(void **state)
{
    (void)state;
    struct result text = RUN("report", "list"), csv = RUN("report", "list", "--format", "csv"),
                  json = RUN("report", "list", "--format", "json"),
                  html = RUN("report", "list", "--format", "html");
    struct csv_sheet sheet = csv_sheet_read(csv.out);
    json_t *object = json_loads(json.out, 0, NULL);
    json_t *rows = json_object_get(json_array_get(json_object_get(object, "sections"), 0), "rows");
    assert_int_equal(json_array_size(rows), sheet.count - 1);
    for (size_t row = 1; row < sheet.count; row++) {
        const char *name = csv_at(&sheet, row, "report"), *title = csv_at(&sheet, row, "title");
        assert_non_null(strstr(text.out, words("%-15s %s\n", name, title)));
        assert_non_null(strstr(html.out, name));
        assert_string_equal(json_cell(json_object_get(json_array_get(rows, row - 1), "title")), title);
    }
    json_decref(object);
    csv_sheet_free(&sheet);
    result_free(&text);
    result_free(&csv);
    result_free(&json);
    result_free(&html);
    text = RUN("report", "views");
    csv = RUN("report", "views", "--format", "csv");
    sheet = csv_sheet_read(csv.out);
    assert_true(sheet.count > 50);
    for (size_t row = 1; row < sheet.count; row++) {
        const char *view = csv_at(&sheet, row, "view"), *column = csv_at(&sheet, row, "column_name");
        assert_non_null(strstr(text.out, column[0] != '\0' ? column : view));
    }
    csv_sheet_free(&sheet);
    result_free(&text);
    result_free(&csv);
}

/* Each line of JSON says what the row of CSV says, and nothing else; what is empty there is null or left out.
 */
static void differences_in_each_format(void **state)
{
    const char *rules = words("%s/rules", folder);
    (void)state;

    shell("cp -r rules %s && sed -i 's/other_limit,45.00/other_limit,10.00/' %s/campaigns/H26-02/campaign.csv",
          rules, rules);
    struct result json = RUN("rules", "diff", rules, "--office", office, "--format", "json");
    struct result csv = RUN("rules", "diff", rules, "--office", office, "--format", "csv");
    struct csv_sheet sheet = csv_sheet_read(csv.out);
    size_t row = 0;
    for (const char *line = json.out; *line != '\0'; line += strcspn(line, "\n") + 1) {
        json_t *object = json_loadb(line, strcspn(line, "\n"), 0, NULL);
        row++;
        assert_true(object != NULL && row < sheet.count);
        for (size_t c = 0; sheet.rows[0][c] != NULL; c++) {
            const json_t *value = json_object_get(object, sheet.rows[0][c]);
            if (strcmp(value != NULL ? json_cell(value) : "", sheet.rows[row][c]) != 0)
                fail_msg("row %zu, %s: %.300s", row, sheet.rows[0][c], line);
        }
        json_decref(object);
    }
    assert_int_equal(row + 1, sheet.count);
    assert_true(row > 10);
    csv_sheet_free(&sheet);
    result_free(&json);
    result_free(&csv);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(check_in_each_format),          cmocka_unit_test(two_files_in_each_format),
        cmocka_unit_test(post_in_each_format),           cmocka_unit_test(flags_in_each_format),
        cmocka_unit_test(flags_are_filtered_and_sorted), cmocka_unit_test(mistakes_with_lists),
        cmocka_unit_test(followups_in_each_format),      cmocka_unit_test(loads_are_told),
        cmocka_unit_test(reports_list_themselves),       cmocka_unit_test(differences_in_each_format),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
