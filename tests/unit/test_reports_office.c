/* Reports run on an office: what a query may not do, the documented views against the schema, figures worked
 * out by hand, and claims full of mischief.
 */
#include "program.h"

#include <sqlite3.h>

#include "ledger/views.h"

static char *folder, *office, *reports;

/* The demo office with the five claims of README.md posted on 2026-03-01, and one payment taken back. */
static int make_office(void **state)
{
    char room[256];
    struct result result;
    (void)state;

    make_folder(room);
    folder = words("%s", room);
    office = words("%s/office.db", folder);
    reports = words("%s/reports", folder);
    shell("cp %s %s && mkdir %s", demo_file("office.db"), office, reports);
    result = RUN("post", "fixtures/readme/claims.csv", "--office", office, "--today", "2026-03-01", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    result = RUN("reverse", "D137/C-502", "--by", "B. Office", "--reason", "=1+1", "--today", "2026-03-05",
                 "--office", office, "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    return 0;
}

static int remove_office(void **state)
{
    (void)state;
    shell("rm -rf %s", folder);
    return 0;
}

/* --- What a query may not do ----------------------------------------------------------------------- */

static struct result run_query_for(const char *query, const char *seconds)
{
    const char *path = words("%s/t.sql", reports);

    write_words(path, words("-- title: T\n-- meaning: M.\n-- column: a text; x\n%s\n", query));
    return RUN("report", "t", "--reports", reports, "--office", office, "--seconds", seconds, "--format",
               "csv");
}

static struct result run_query(const char *query)
{
    return run_query_for(query, "100");
}

#define NO_VIEW "is none of the views that reports may read; `witnessmark report views` lists them"
#define ONLY_READS "a report only reads; write a SELECT over the documented views"

static const struct {
    const char *query, *said;
} REFUSED[] = {
    {"SELECT vin AS a FROM claim_rows", "t.sql:4:22: \"claim_rows\" " NO_VIEW},
    {"SELECT count(*) AS a FROM claim_rows", "t.sql:4:27: \"claim_rows\" " NO_VIEW},
    {"SELECT count(*) AS a FROM claims_now, row_blocks", "\"row_blocks\" " NO_VIEW},
    {"WITH x AS (SELECT * FROM findings) SELECT finding AS a FROM x", "\"findings\" " NO_VIEW},
    {"SELECT a.vin AS a FROM (SELECT * FROM claim_rows) AS a", "\"claim_rows\" " NO_VIEW},
    {"SELECT name AS a FROM sqlite_master", "\"sqlite_master\" " NO_VIEW},
    {"SELECT count(*) AS a FROM sqlite_schema", "\"sqlite_schema\" " NO_VIEW},
    {"WITH rows_decided AS (SELECT * FROM claim_rows) SELECT vin AS a FROM rows_decided",
     "t.sql:4:6: \"rows_decided\" is a name of the views; call this table of WITH by another"},
    {"WITH \"LATER\" (a) AS NOT MATERIALIZED (SELECT vin FROM claim_rows) SELECT a FROM later",
     "is a name of the views"},
    {"SELECT * FROM pragma_table_info('claim_rows')", ONLY_READS},
    {"PRAGMA query_only = OFF", "a report may not use PRAGMA; take that out"},
    {"ATTACH 'x.db' AS x", "a report may not attach another database; take that out"},
    {"DETACH main", "a report may not attach another database; take that out"},
    {"INSERT INTO loads DEFAULT VALUES", ONLY_READS},
    {"UPDATE claim_rows SET payable_cents = 0", ONLY_READS},
    {"DELETE FROM claim_rows", ONLY_READS},
    {"WITH x(a) AS (SELECT 1) DELETE FROM batches", ONLY_READS},
    {"CREATE TABLE x (a)", ONLY_READS},
    {"CREATE TEMP TABLE x AS SELECT 1 AS a", ONLY_READS},
    {"DROP VIEW claims_now", ONLY_READS},
    {"VACUUM INTO 'x.db'", ONLY_READS},
    {"EXPLAIN SELECT 1 AS a", ONLY_READS},
    {"BEGIN IMMEDIATE", "a report is one SELECT a section, no transaction; take that out"},
    {"SELECT load_extension('x.so') AS a", "t.sql:4:8: the function \"load_extension\" is not one that reports "
                                           "may call; README.md lists those that are"},
    {"SELECT randomblob(9) AS a", "the function \"randomblob\" is not one that reports may call"},
    {"SELECT 1 AS a; DELETE FROM claim_rows",
     "t.sql:4:15: a section has one query; begin another with a line `-- section: NAME`"},
    {"WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT max(i) AS a FROM n",
     "this took longer than 1 second; narrow it by its parameters, or give it more time with --seconds"},
    {"SELECT colum AS a FROM claims_now",
     "t.sql:4:8: the query cannot be used: no such column: colum; correct it"},
    {"SELECT group_concat(printf('%.*c', 9000000, 'x')) AS a FROM claims_now",
     "is longer than a report's may be"},
    {"SELECT abs(-9223372036854775807 - 1) AS a", "the query failed: integer overflow; correct it"},
    {"SELECT 1.5 AS a",
     "the column \"a\" is text, and row 1 has a binary number with a point there; give a text"},
    {"SELECT 1 AS b", "column 1 of the query is called \"b\", and the header has \"a\" there; name it with AS"},
    {"SELECT 1 AS a, 2 AS b", "the query gives 2 columns, and the header has 1"},
    {"-- column: b text; x\nSELECT 1 AS a", "the query gives 1 column, and the header has 2"},
    {"DROP TABLE IF EXISTS nowhere", "t.sql:4:1: " ONLY_READS}, /* SQLite finds nothing to be asked about */
    {"SELECT randomblob(9) || load_extension('x.so') AS a", "the function \"randomblob\" is not one"},
    {"SELECT 1 AS a,\n  colum\nFROM claims_now", "t.sql:5:3: the query cannot be used: no such column: colum"},
    {"-- column: b text; x\nSELECT 1 AS a,\n  random() AS b", "t.sql:6:3: the function \"random\" is not one"},
    {"SELECT :x AS a",
     "the query names the parameter :x, which is not declared; add a line `-- parameter: x TYPE; "},
    {"SELECT ? AS a", "the query has a parameter without a name; write it as :name, and declare it"},
    {"-- parameter: limit integer = 1; x\nSELECT 1 AS a", "parameters belong to the whole report"},
    {"WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n LIMIT 200001) SELECT i AS a FROM n",
     "this comes to more than 200000 rows or 256 MiB; narrow it by its parameters, or add a LIMIT"},
    {";", "there is no query here; write a SELECT"},
};

static void what_could_harm_is_refused(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(REFUSED); i++) {
        bool endless = strstr(REFUSED[i].said, "longer than 1 second") != NULL;
        struct result result = run_query_for(REFUSED[i].query, endless ? "1" : "100");
        if (result.code != 2 || strstr(result.err, REFUSED[i].said) == NULL || result.out_length > 0)
            fail_msg("%s: exit %d, %s%s", REFUSED[i].query, result.code, result.err, result.out);
        result_free(&result);
    }
    struct result result = RUN("verify", "--office", office, "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
}

static void what_is_harmless_runs(void **state)
{
    static const char *const QUERIES[][2] = {
        {"SELECT count(*) AS a FROM claims_now", "4"},
        {"SELECT count(*) AS a FROM (SELECT claims_now.vin FROM claims_now) AS claims_now", "4"},
        {"WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n LIMIT 10) SELECT count(*) AS a FROM n",
         "10"},
        {"WITH x AS (SELECT batch FROM batches_now) SELECT count(*) AS a FROM x", "1"},
        {"SELECT (SELECT count(*) FROM findings_made) AS a", "4"},
        {"SELECT :today AS a", NULL},
        {"SELECT share(1, 3) || ' ' || share(2, 3) || ' ' || coalesce(share(1, 0), 'none') AS a",
         "333333 666667 none"},
        {"SELECT share(-2, -3) || ' ' || share(1, -3) || ' ' || coalesce(share('x', 3), 'none') || ' ' || "
         "coalesce(share(1, 'x'), share(NULL, 1), 'none') AS a",
         "666667 -333333 none none"},
        {"SELECT 1 AS a; ; -- the end\n;", "1"},
        {"SELECT stage_of('H26-02', vin) AS a FROM claims_now LIMIT 1", "first"},
        {"SELECT coalesce(stage_of('H26-02', 'EZ7NONE'), 'none') AS a", "none"},
        {"SELECT Stage_Of('H26-02', vin) AS a FROM claims_now LIMIT 1", "first"},
        {"SELECT \"stage_of\"('H26-02', vin) AS a FROM claims_now LIMIT 1", "first"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(QUERIES); i++) {
        struct result result = run_query(QUERIES[i][0]);
        if (result.code != 0 ||
            (QUERIES[i][1] != NULL && strcmp(result.out, words("a\n%s\n", QUERIES[i][1])) != 0))
            fail_msg("%s: exit %d, %s%s", QUERIES[i][0], result.code, result.err, result.out);
        result_free(&result);
    }
}

/* Each format takes what its line of README.md says, and says what to give where it gets something else. */
static void columns_get_what_their_format_says(void **state)
{
    static const struct {
        const char *format, *cell;
        const char *csv; /* NULL: it is refused */
        const char *said;
    } CASES[] = {
        {"text", "'x'", "x", NULL},
        {"text", "12", "12", NULL},
        {"text", "NULL", "", NULL},
        {"text", "x'00ff'", NULL, "is text, and row 1 has a blob there; give a text or a whole number"},
        {"claim", "'D1/C1'", "D1/C1", NULL},
        {"claim", "1.5", NULL,
         "is claim, and row 1 has a binary number with a point there; give dealer || '/' || claim"},
        {"date", "'2026-03-01'", "2026-03-01", NULL},
        {"date", "20260301", NULL, "is date, and row 1 has a whole number there; give a date as 2026-03-01"},
        {"date", "'2026-02-30'", NULL, "is date, and row 1 has a text there; give a date as 2026-03-01"},
        {"integer", "12", "12", NULL},
        {"integer", "'12'", NULL, "is integer, and row 1 has a text there; give a whole number"},
        {"integer", "9223372036855", NULL,
         "has a whole number that is too large for it there; give a whole number"},
        {"money", "1250", "12.50", NULL},
        {"money", "-5", "-0.05", NULL},
        {"money", "12.50", NULL,
         "is money, and row 1 has a binary number with a point there; give a whole number of cents"},
        {"money", "922337203685477581", NULL,
         "a whole number that is too large for it there; give a whole number of cents"},
        {"percent", "753049", "75.3049", NULL},
        {"percent", "0.75", NULL, "row 1 has a binary number with a point there; give share(PART, WHOLE)"},
        {"decimal", "1125000", "1.125", NULL},
        {"decimal", "'1.125'", "1.125", NULL},
        {"decimal", "'1.1e3'", NULL,
         "is decimal, and row 1 has a text there; give a whole number of millionths"},
        {"decimal", "1.125", NULL, "is decimal, and row 1 has a binary number with a point there"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        write_words(words("%s/t.sql", reports),
                    words("-- title: T\n-- meaning: M.\n-- column: a %s; x\nSELECT %s AS a\n", CASES[i].format,
                          CASES[i].cell));
        struct result result = RUN("report", "t", "--reports", reports, "--office", office, "--format", "csv");
        bool fits = CASES[i].csv != NULL
                        ? result.code == 0 && strcmp(result.out, words("a\n%s\n", CASES[i].csv)) == 0
                        : result.code == 2 && strstr(result.err, CASES[i].said) != NULL;
        if (!fits)
            fail_msg("%s of %s: exit %d, %s%s", CASES[i].format, CASES[i].cell, result.code, result.out,
                     result.err);
        result_free(&result);
    }
}

/* Parameters reach the query in its units: money in cents, decimals in millionths; a table that is kept is read
 * in the same. */
static void parameters_and_tables_have_units(void **state)
{
    (void)state;
    write_words(
        words("%s/t.sql", reports),
        "-- title: T\n-- meaning: M.\n-- parameter: m money = 2.50; m\n-- parameter: f decimal = 0.5; f\n"
        "-- parameter: n integer = 7; n\n-- parameter: k choice a|b = b; k\n-- parameter: d date = today - 1; "
        "d\n"
        "-- table: kept\n-- column: m money; x\n-- column: f decimal; x\n-- column: n integer; x\n"
        "-- column: p percent; x\nSELECT :m AS m, :f AS f, :n AS n, share(1, 4) AS p\n"
        "-- section: s\n-- column: a text; x\n"
        "SELECT m || ' ' || f || ' ' || n || ' ' || p || ' ' || :k || ' ' || :d AS a FROM kept\n");
    struct result result = RUN("report", "t", "--reports", reports, "--office", office, "--format", "csv",
                               "--today", "2026-03-01");
    if (strcmp(result.out, "a\n250 500000 7 250000 b 2026-02-28\n") != 0)
        fail_msg("%s%s", result.out, result.err);
    result_free(&result);
    result = RUN("report", "t", "--reports", reports, "--office", office, "--k", "c");
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "--k \"c\" is none of its words; write a or b"));
    result_free(&result);
    /* a name that is nearly right */
    write_words(words("%s/t.sql", reports), "-- title: T\n-- meaning: M.\n-- parameter: dealer text = x; d\n"
                                            "-- column: a text; x\nSELECT :dealr AS a\n");
    result = RUN("report", "t", "--reports", reports, "--office", office);
    assert_int_equal(result.code, 2);
    assert_non_null(
        strstr(result.err, "the query names the parameter :dealr, which is not declared; nearest is :dealer"));
    result_free(&result);
}

static void parameters_must_be_used(void **state)
{
    (void)state;
    write_words(
        words("%s/t.sql", reports),
        "-- title: T\n-- meaning: M.\n-- parameter: p text =; p\n-- column: a text; x\nSELECT 1 AS a\n");
    struct result result = RUN("report", "t", "--reports", reports, "--office", office);
    assert_int_equal(result.code, 2);
    assert_non_null(
        strstr(result.err, "t.sql:3:15: no query uses the parameter \"p\"; use it as :p or take it out"));
    result_free(&result);
}

/* --- Which files are reports ----------------------------------------------------------------------- */

static void only_files_of_the_folder_are_read(void **state)
{
    static const char *const NAMES[] = {"../t", "/etc/passwd", "..", "a/b", "T", "t.sql", "a{b", ""};
    (void)state;

    for (size_t i = 0; i < COUNT(NAMES); i++) {
        struct result result = RUN("report", NAMES[i], "--reports", reports, "--office", office);
        assert_int_equal(result.code, 2);
        assert_non_null(
            strstr(result.err, "is no name of a report; name it by its file in the folder of reports"));
        result_free(&result);
    }
    shell("cp reports/night.sql %s/outside.sql && mkdir %s-too && cp reports/night.sql %s-too/x.sql", folder, reports,
          reports);
    static const char *const LINKS[] = {"../outside.sql", "../reports-too/x.sql", "../nowhere.sql"};
    struct result result;
    for (size_t i = 0; i < COUNT(LINKS); i++) {
        shell("ln -sf %s %s/linked.sql", LINKS[i], reports);
        result = RUN("report", "linked", "--reports", reports, "--office", office);
        assert_int_equal(result.code, 2);
        assert_non_null(
            strstr(result.err, "this is a link that leads out of the folder of reports; put the file itself"));
        result_free(&result);
    }
    shell("rm %s/linked.sql && cp reports/night.sql %s/night-2_x.sql", reports, reports);
    result = RUN("report", "night-2_x", "--reports", reports, "--office", office, "--format", "csv");
    if (result.code != 0)
        fail_msg("%s", result.err);
    result_free(&result);
    shell("rm %s/night-2_x.sql", reports);
    result = RUN("report", "nigth", "--office", office);
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "there is no report \"nigth\"; nearest is \"night\""));
    result_free(&result);
    result = RUN("report", "night", "--reports", words("%s/none", folder), "--office", office);
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "there is no report \"night\"; `witnessmark report list` lists those"));
    result_free(&result);
    result = RUN("report", "list", "--reports", words("%s/none", folder));
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "the folder of reports cannot be read: "));
    result_free(&result);
}

static void a_faulty_report_does_not_hide_the_others(void **state)
{
    (void)state;
    write_words(words("%s/good.sql", reports),
                "-- title: Good\n-- meaning: M.\n-- column: a text; x\nSELECT 1 AS a\n");
    write_words(words("%s/bad.sql", reports), "SELECT 1\n");
    write_words(words("%s/Worse.sql", reports), "SELECT 1\n");
    struct result result = RUN("report", "list", "--reports", reports);
    assert_int_equal(result.code, 1);
    assert_non_null(strstr(result.out, "good            Good\n"));
    assert_non_null(strstr(result.err, "bad.sql:1:1: the query has no header"));
    assert_non_null(strstr(result.err, "\"Worse.sql\" is no name for a report"));
    result_free(&result);
    shell("rm %s/bad.sql %s/Worse.sql", reports, reports);
    /* a name that is a command, one that is longer than a name may be, one that a computed report has */
    char longest[65], longer[66];
    memset(longest, 'n', 64);
    memset(longer, 'n', 65);
    longest[64] = longer[65] = '\0';
    const char *const copies[] = {"list", "views", longest, longer, "quarterly"};
    for (size_t i = 0; i < COUNT(copies); i++)
        shell("cp %s/good.sql %s/%s.sql", reports, reports, copies[i]);
    result = RUN("report", "list", "--reports", reports, "--format", "csv");
    assert_non_null(
        strstr(result.err,
               "\"list.sql\" cannot be run, since `report list` is a command; give the file another name"));
    assert_non_null(strstr(result.err, "\"views.sql\" cannot be run, since `report views` is a command;"));
    assert_non_null(strstr(result.err, words("\"%s.sql\" is no name for a report", longer)));
    assert_non_null(strstr(result.out, words("\n%s,Good,M.\n", longest)));
    assert_non_null(strstr(result.out, "\nquarterly,"));
    assert_null(strstr(strstr(result.out, "\nquarterly,") + 1, "\nquarterly,"));
    result_free(&result);
    for (size_t i = 0; i < COUNT(copies); i++)
        shell("rm %s/%s.sql", reports, copies[i]);
    shell("cd %s && seq -f 'n%%.0f.sql' 1001 | xargs -n 1 ln good.sql", reports);
    result = RUN("report", "list", "--reports", reports);
    assert_int_equal(result.code, 2);
    assert_non_null(
        strstr(result.err, "there are more than 1000 reports in this folder; is it the right one?"));
    result_free(&result);
    shell("cd %s && seq -f 'n%%.0f.sql' 1001 | xargs rm", reports);
}

/* A report of the office's own with parameters and one section, and one without parameters. */
static void reports_with_and_without_parameters(void **state)
{
    static const struct {
        const char *words[9];
        int code;
        const char *says;
    } CASES[] = {
        {{"one", "--help"}, 0,
         "\n\nparameters\n  --kind choice big|small\n                        which kind (default big)\n"
         "  --since date          from then (must be given)\n\ncolumns\n"},
        {{"bare", "--help"}, 0,
         "usage: witnessmark report bare [OPTION...]\nBare\nOne row.\n\ncolumns\n  a                     nothing "
         "(text)\n"},
        {{"views", "--help"}, 0,
         "usage: witnessmark report views [OPTION...]\ndescribes every view that a report's query may read, column by "
         "column\n"},
        {{"one", "--kind=small", "--since", "2026-01-02", "--format=csv"}, 0, "a\nsmall 2026-01-02\n"},
        /* what stands behind -- is the report's name, whatever it is */
        {{"--since", "2026-01-02", "--format", "csv", "--", "one"}, 0, "a\nbig 2026-01-02\n"},
        {{"--", "--kind"}, 2, "--kind"},
        /* the value of an option of the command's own may begin with -- */
        {{"one", "--since=2026-01-02", "--section", "--kind"}, 2, "the report one has no section \"--kind\"; "},
        {{"one", "--since=2026-01-02", "--section", "unlike-any"}, 2,
         "the report one has no section \"unlike-any\"; `--help` behind its name lists them"},
        {{"one", "--section"}, 2, "--section needs a value"},
        {{"one", "--since"}, 2, "--since needs a value"},
        {{"one"}, 2, "the report one needs --since: from then"},
        {{"one", "--help", "--since"}, 2, "--since needs a value"},
        {{"one", "--help", "more"}, 0, "usage: witnessmark report one "},
    };
    (void)state;

    write_words(words("%s/one.sql", reports),
                "-- title: One\n-- meaning: One row.\n-- parameter: kind choice big|small = big; which kind\n"
                "-- parameter: since date; from then\n-- column: a text; what was asked for\n"
                "SELECT :kind || ' ' || :since AS a\n");
    write_words(words("%s/bare.sql", reports),
                "-- title: Bare\n-- meaning: One row.\n-- column: a text; nothing\nSELECT 'x' AS a\n");
    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *call[16] = {"report", "--reports", reports, "--office", office};
        memcpy(call + 5, CASES[i].words, sizeof CASES[i].words);
        struct result result = run_program(call);
        if (result.code != CASES[i].code || (strstr(result.out, CASES[i].says) == NULL &&
                                             strstr(result.err, CASES[i].says) == NULL))
            fail_msg("%s %s: exit code %d, %s%s", CASES[i].words[0], CASES[i].words[1] ? CASES[i].words[1] : "",
                     result.code, result.out, result.err);
        result_free(&result);
    }
    shell("rm %s/one.sql %s/bare.sql", reports, reports);
}

static void each_report_tells_its_help(void **state)
{
    (void)state;
    struct result result = RUN("report", "deadlines", "--help");
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(
        result.out, "usage: witnessmark report deadlines [--PARAMETER VALUE...] [OPTION...]\nDeadlines\n"));
    assert_non_null(strstr(
        result.out, "  --due_within integer  list claims whose time ends within so many days (default 14)\n"));
    assert_non_null(
        strstr(result.out,
               "section urgent: The most urgent\n  claim                 dealer and claim number (claim)\n"));
    result_free(&result);
    result = RUN("report", "list", "--help");
    assert_int_equal(result.code, 0);
    assert_string_equal(result.out,
                        "usage: witnessmark report list [OPTION...]\nnames every report, with its title\n");
    result_free(&result);
    result = RUN("report", "night", "--section", "urgnt", "--office", office);
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "the report night has no section \"urgnt\"; nearest is \"urgent\""));
    result_free(&result);
    result = RUN("report", "night", "--day");
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "--day needs a value"));
    result_free(&result);
    result = RUN("report", "night", "--seconds", "0");
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "--seconds \"0\" is no whole number from 1; write it as 300"));
    result_free(&result);
    result = RUN("report", "night", "--format", "xml");
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "--format \"xml\" is none; write text, csv, json or html"));
    result_free(&result);
}

/* --- The views are documented ---------------------------------------------------------------------- */

static const struct view *view_of(const char *name)
{
    const struct view *view = view_named(name);

    if (view == NULL || view->given)
        fail_msg("the view %s of the schema is not documented", name);
    return view;
}

static void compare_columns(sqlite3 *database, const struct view *view)
{
    sqlite3_stmt *statement = NULL;
    int count = 0;

    need(sqlite3_prepare_v2(database, words("SELECT * FROM %s LIMIT 0", view->name), -1, &statement, NULL) ==
             SQLITE_OK,
         view->name);
    for (; view->columns[count].name != NULL; count++) {
        assert_true(count < sqlite3_column_count(statement));
        assert_string_equal(view->columns[count].name, sqlite3_column_name(statement, count));
        assert_true(strlen(view->columns[count].meaning) > 2);
    }
    assert_int_equal(count, sqlite3_column_count(statement));
    sqlite3_finalize(statement);
}

static void every_view_and_column_is_documented(void **state)
{
    sqlite3 *database = NULL;
    sqlite3_stmt *statement = NULL;
    size_t in_schema = 0, documented = 0;
    (void)state;

    need(sqlite3_open_v2(office, &database, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK, office);
    need(sqlite3_prepare_v2(database, "SELECT name FROM sqlite_schema WHERE type = 'view'", -1, &statement,
                            NULL) == SQLITE_OK,
         office);
    while (sqlite3_step(statement) == SQLITE_ROW) {
        compare_columns(database, view_of((const char *)sqlite3_column_text(statement, 0)));
        in_schema++;
    }
    sqlite3_finalize(statement);
    sqlite3_close(database);
    for (const struct view *view = VIEWS; view->name != NULL; view++)
        documented += !view->given;
    assert_int_equal(documented, in_schema);
}

/* Every view, those that are given too, can be read whole by a report. */
static void every_view_can_be_read(void **state)
{
    (void)state;
    for (const struct view *view = VIEWS; view->name != NULL; view++) {
        char *list = words("''");
        for (size_t i = 0; view->columns[i].name != NULL; i++)
            list = words("%s || coalesce(\"%s\", '')", list, view->columns[i].name);
        struct result result = run_query(words("SELECT max(%s) AS a FROM %s", list, view->name));
        if (result.code != 0)
            fail_msg("%s: %s", view->name, result.err);
        result_free(&result);
        result = run_query(words("SELECT count(*) AS a FROM %s", view->name));
        if (result.code != 0)
            fail_msg("%s: %s", view->name, result.err);
        result_free(&result);
    }
}

/* --- Figures by hand ------------------------------------------------------------------------------- */

static void expect_section(const char *const *call, const char *section, const char *expected)
{
    const char *arguments[24] = {"report"};
    size_t n = 1;

    for (size_t i = 0; call[i] != NULL; i++)
        arguments[n++] = call[i];
    const char *const more[] = {"--office", office, "--format", "csv", "--section", section, NULL};
    for (size_t i = 0; more[i] != NULL; i++)
        arguments[n++] = more[i];
    struct result result = run_program(arguments);
    if (result.code != 0 || strcmp(result.out, expected) != 0)
        fail_msg("%s %s: exit %d, %s\n%s", call[0], section, result.code, result.err, result.out);
    result_free(&result);
}

#define REPORT(...) ((const char *const[]){__VA_ARGS__, NULL})

/* fixtures/readme/claims.csv, worked by hand in README.md: C-501 asks and gets 391.65; C-502 asks 436.65
 * for 1.5 hours where 1.2 are allowed, 0.3 h x 150 = 45.00 less; C-503 (391.65) is refused, C-504 (601.22)
 * returned, C-505 unreadable. */
static void the_night_is_as_worked_by_hand(void **state)
{
    (void)state;
    expect_section(REPORT("night", "--today", "2026-03-02"), "files",
                   "file_name,received_on,decided_on,claims,unreadable,repeated\n"
                   "claims.csv,2026-03-01,2026-03-01,4,1,0\n");
    expect_section(REPORT("night", "--today", "2026-03-02"), "decisions",
                   "decision,claims,asked,payable,cut\npay,2,828.30,783.30,45.00\nreturn,1,601.22,0.00,0.00\n"
                   "refuse,1,391.65,0.00,0.00\n");
    expect_section(
        REPORT("night", "--today", "2026-03-02"), "findings",
        "effect,finding,claims,share,asked\nrefuse,already-completed,1,25,391.65\n"
        "return,vin-check-digit,1,25,601.22\ncut,hours-over,1,25,436.65\ncut,labor-amount-over,1,25,436.65\n");
    expect_section(REPORT("night", "--today", "2026-03-02"), "urgent",
                   "claim,received_on,decide_by,days_left,silence,region,campaign,payable\n");
}

/* Both payments on 2026-03-01; that of C-502, 391.65, came back on 2026-03-05. */
static void payments_are_as_worked_by_hand(void **state)
{
    (void)state;
    expect_section(REPORT("payments", "--today", "2026-03-31"), "months",
                   "month,payments,paid,taken_back,net\n2026-03,2,783.30,-391.65,391.65\n");
    expect_section(REPORT("payments", "--today", "2026-03-04"), "months",
                   "month,payments,paid,taken_back,net\n2026-03,2,783.30,0.00,783.30\n");
    expect_section(REPORT("payments", "--today", "2026-03-31"), "taken_back",
                   "claim,paid_on,amount,action,decided_by,reason\n"
                   "D137/C-502,2026-03-05,-391.65,reverse,B. Office,\"'=1+1\"\n");
    expect_section(REPORT("payments", "--today", "2026-03-31", "--dealer", "D139"), "months",
                   "month,payments,paid,taken_back,net\n");
}

/* D137 was sent 12 of every kit (fixtures/README.md); C-501 and C-502 stand and used one PSH-1600-01 each, on
 * 2026-02-20. */
static void kits_are_as_worked_by_hand(void **state)
{
    (void)state;
    struct result result = RUN("report", "kits", "--dealer", "D137", "--office", office, "--today",
                               "2026-03-01", "--format", "csv", "--section", "all_kits");
    assert_int_equal(result.code, 0);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    assert_true(sheet.count > 7);
    for (size_t i = 1; i < sheet.count; i++) {
        bool used = strcmp(csv_at(&sheet, i, "kit"), "PSH-1600-01") == 0;
        assert_string_equal(csv_at(&sheet, i, "shipped"), "12");
        assert_string_equal(csv_at(&sheet, i, "claimed"), used ? "2" : "0");
        assert_string_equal(csv_at(&sheet, i, "left_over"), used ? "10" : "12");
        assert_string_equal(csv_at(&sheet, i, "last_claimed_on"), used ? "2026-02-20" : "");
    }
    csv_sheet_free(&sheet);
    result_free(&result);
}

/* A part that two campaigns name is one part, and a kit where one of them says so. */
static void parts_of_two_campaigns_are_counted_once(void **state)
{
    const char *rules = words("%s/two", folder);
    (void)state;

    shell("cp -r rules %s && cp -r %s/campaigns/H26-02 %s/campaigns/H26-03 && sed -i 's/H26-02/H26-03/' "
          "%s/campaigns/H26-03/*.csv && sed -i 's/,EX26-0202/,EX26-0203/' %s/campaigns/H26-03/campaign.csv",
          rules, rules, rules, rules, rules);
    struct result one = RUN("report", "kits", "--office", office, "--today", "2026-03-01", "--format", "csv");
    struct result two = RUN("report", "kits", "--office", office, "--today", "2026-03-01", "--format", "csv",
                            "--rules", rules);
    assert_int_equal(one.code, 0);
    assert_string_equal(two.err, one.err);
    assert_string_equal(two.out, one.out);
    result_free(&one);
    result_free(&two);
}

/* A vehicle whose model year is not known is in the population without one. */
static void a_vehicle_without_a_model_year(void **state)
{
    const char *rules = words("%s/yearless", folder), *other = words("%s/yearless.db", folder);
    const char *vehicles = words("%s/yearless.csv", folder);
    (void)state;

    shell("cp -r rules %s", rules);
    write_words(words("%s/campaigns/H26-02/eligibility.csv", rules),
                "F,model_line,>eligible,>stage\nall,Brindle,true,first\n");
    write_words(vehicles, "vin,model_line,model_year\nEZ7BAACK5KN803298,Brindle,\nEZ7BAACK5LE202359,Brindle,2020\n"
                          "EZ7BAACK5LN138498,Tarrow,\n");
    struct result result = RUN("load", "vehicles", vehicles, "--office", other, "--today", "2026-03-01", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    write_words(words("%s/t.sql", reports),
                "-- title: T\n-- meaning: M.\n-- column: y integer; x\n-- column: n integer; x\n"
                "SELECT model_year AS y, sum(vehicles) AS n FROM population WHERE campaign = 'H26-02' "
                "GROUP BY 1 ORDER BY 1\n");
    result = RUN("report", "t", "--reports", reports, "--office", other, "--rules", rules, "--format", "csv");
    if (strcmp(result.out, "y,n\n,1\n2020,1\n") != 0)
        fail_msg("%s%s", result.out, result.err);
    result_free(&result);
}

/* Where the eligibility table is in error on a vehicle it is in no stage; an office without vehicles has no population.
 */
static void vehicles_that_are_in_no_stage(void **state)
{
    static const struct {
        const char *load, *csv, *expected;
    } CASES[] = {
        {"vehicles", "vin,model_line,model_year\nEZ7BAACK5KN803298,Brindle,2019\nEZ7BAACK5LE202359,Brindle,2020\n",
         "s,n,o\nfirst,1,none\n"},
        {"dealers", "dealer,name,region,labor_rate,parts_markup\nD1,One,US-NY,100,33\n", "s,n,o\n"},
    };
    const char *rules = words("%s/unsure", folder), *rows = words("%s/unsure.csv", folder);
    (void)state;

    shell("cp -r rules %s", rules);
    write_words(words("%s/campaigns/H26-02/eligibility.csv", rules),
                "U,model_year,>eligible,>stage\nall,-,true,first\ntwice,2020,false,\n");
    write_words(words("%s/t.sql", reports),
                "-- title: T\n-- meaning: M.\n-- column: s text; x\n-- column: n integer; x\n-- column: o text; x\n"
                "SELECT stage AS s, sum(vehicles) AS n, coalesce(stage_of('H26-02', 'EZ7BAACK5LE202359'), 'none') AS o "
                "FROM population WHERE campaign = 'H26-02' GROUP BY 1\n");
    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *other = words("%s/unsure-%zu.db", folder, i);
        write_words(rows, CASES[i].csv);
        struct result result =
            RUN("load", CASES[i].load, rows, "--office", other, "--today", "2026-03-01", "--quiet");
        if (result.code != 0)
            fail_msg("%s", result.err);
        result_free(&result);
        result = RUN("report", "t", "--reports", reports, "--office", other, "--rules", rules, "--format", "csv");
        if (strcmp(result.out, CASES[i].expected) != 0)
            fail_msg("%s%s", result.out, result.err);
        result_free(&result);
    }
}

/* How many vehicles of the register are in H26-02's first stage, by its eligibility table read with the eye:
 * Brindle of 2018 and 2019 without electric power steering. */
static int count_first_stage(void)
{
    struct csv_sheet sheet = csv_sheet_of_file(demo_file("vehicles.csv"));
    int count = 0;

    for (size_t i = 1; i < sheet.count; i++) {
        int year = atoi(csv_at(&sheet, i, "model_year"));
        count += strcmp(csv_at(&sheet, i, "model_line"), "Brindle") == 0 && (year == 2018 || year == 2019) &&
                 strstr(csv_at(&sheet, i, "options"), "eps") == NULL;
    }
    csv_sheet_free(&sheet);
    return count;
}

/* Two vehicles of the first stage are done, both on Friday 2026-02-20, the week from Monday 2026-02-16; what was paid
 * for one of them was taken back, so that one counts, as in the report to the regulator. */
static void completion_is_as_worked_by_hand(void **state)
{
    int first = count_first_stage();
    (void)state;

    struct result result = RUN("report", "completion", "--campaign", "H26-02", "--office", office, "--today",
                               "2026-03-01", "--format", "csv", "--section", "stages");
    assert_int_equal(result.code, 0);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    assert_int_equal(sheet.count, 4);
    assert_string_equal(csv_at(&sheet, 1, "stage"), "first");
    assert_int_equal(atoi(csv_at(&sheet, 1, "vehicles")), first);
    assert_string_equal(csv_at(&sheet, 1, "remedied"), "1");
    assert_string_equal(csv_at(&sheet, 2, "remedied"), "0");
    csv_sheet_free(&sheet);
    result_free(&result);
    expect_section(REPORT("completion", "--campaign", "H26-02", "--today", "2026-03-01"), "regions",
                   "region,repaired,inspected,share\nUS-NE,1,0,100\n");
    result = RUN("report", "completion", "--campaign", "H26-02", "--office", office, "--today", "2026-03-01",
                 "--format", "csv", "--section", "weeks");
    assert_non_null(strstr(result.out, "2026-02-16,first,1,1,"));
    result_free(&result);
}

static void add_deadlines(const char *csv, int column, char ***list, size_t *count)
{
    struct csv_sheet sheet = csv_sheet_read(csv);

    for (size_t i = 1; i < sheet.count; i++) {
        *list = realloc(*list, (*count + 1) * sizeof **list);
        need(*list != NULL, "memory");
        (*list)[(*count)++] =
            column < 0 ? words("%s/%s %s %s", csv_at(&sheet, i, "dealer"), csv_at(&sheet, i, "claim"),
                               csv_at(&sheet, i, "decide_by"), csv_at(&sheet, i, "days_left"))
                       : words("%s %s %s", csv_at(&sheet, i, "claim"), csv_at(&sheet, i, "decide_by"),
                               csv_at(&sheet, i, "days_left"));
    }
    csv_sheet_free(&sheet);
}

static int by_words(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* The same claims and days as `flags --due-within`, which asks the tables claim by claim. */
static void deadlines_are_those_of_flags(void **state)
{
    char *other = words("%s/nights.db", folder), **flags = NULL, **report = NULL;
    size_t flag_count = 0, report_count = 0;
    (void)state;

    shell("cp %s %s", demo_file("office.db"), other);
    for (int night = 1; night <= 2; night++) {
        struct result result = RUN("post", demo_file(words("night-%d.csv", night)), "--office", other,
                                   "--today", night == 1 ? "2026-03-02" : "2026-03-16", "--quiet");
        result_free(&result);
    }
    struct result due =
        RUN("flags", "--due-within", "20", "--office", other, "--today", "2026-03-20", "--format", "csv");
    struct result told = RUN("report", "deadlines", "--due_within", "20", "--office", other, "--today",
                             "2026-03-20", "--format", "csv", "--section", "urgent");
    add_deadlines(due.out, -1, &flags, &flag_count);
    add_deadlines(told.out, 0, &report, &report_count);
    assert_true(flag_count > 5);
    assert_int_equal(flag_count, report_count);
    qsort(flags, flag_count, sizeof *flags, by_words);
    qsort(report, report_count, sizeof *report, by_words);
    for (size_t i = 0; i < flag_count; i++)
        assert_string_equal(flags[i], report[i]);
    /* a decision of a person ends the waiting, and verify agrees with what is kept */
    char *name = words("%.*s", (int)strcspn(flags[0], " "), flags[0]);
    struct result decided =
        RUN("decide", name, "pay", "--by", "B", "--reason", "x", "--office", other, "--quiet");
    assert_int_equal(decided.code, 0);
    result_free(&told);
    told = RUN("report", "deadlines", "--due_within", "20", "--office", other, "--today", "2026-03-20",
               "--format", "csv", "--section", "urgent");
    assert_null(strstr(told.out, name));
    struct result verified = RUN("verify", "--office", other, "--quiet");
    assert_int_equal(verified.code, 0);
    result_free(&due);
    result_free(&told);
    result_free(&decided);
    result_free(&verified);
}

/* A deadline that asks for nothing is that of each region, also where no rule asks for the region at all. */
static void deadlines_of_every_region(void **state)
{
    const char *rules = words("%s/everywhere", folder);
    (void)state;

    shell("cp -r rules %s", rules);
    write_words(words("%s/deadlines.csv", rules), "U,>decide_within_days\nall,21\n");
    write_words(words("%s/t.sql", reports), "-- title: T\n-- meaning: M.\n-- column: days integer; x\n"
                                            "SELECT DISTINCT decide_within_days AS days FROM deadlines\n");
    struct result result =
        RUN("report", "t", "--reports", reports, "--office", office, "--rules", rules, "--format", "csv");
    if (strcmp(result.out, "days\n21\n") != 0)
        fail_msg("%s%s", result.out, result.err);
    result_free(&result);
}

static void verify_finds_a_changed_list_of_what_waits(void **state)
{
    static const char *const CHANGES[][2] = {
        {"INSERT INTO waiting_rows VALUES (1)", "waiting_rows has row 1, which does not wait for a person"},
        {"DELETE FROM waiting_rows", "which waits for a person; restore the file from a copy"}};
    char *other = words("%s/changed.db", folder);
    (void)state;

    for (size_t i = 0; i < COUNT(CHANGES); i++) {
        sqlite3 *database = NULL;
        shell("cp %s/nights.db %s", folder, other);
        need(sqlite3_open(other, &database) == SQLITE_OK, other);
        need(sqlite3_exec(database, CHANGES[i][0], NULL, NULL, NULL) == SQLITE_OK, CHANGES[i][0]);
        sqlite3_close(database);
        struct result result = RUN("verify", "--office", other, "--quiet");
        assert_int_not_equal(result.code, 0);
        assert_non_null(strstr(result.err, CHANGES[i][1]));
        result_free(&result);
    }
}

/* The report of one's own that README.md shows: C-502 has both findings of D137's paid claims, one of three
 * claims. */
static void the_example_of_the_readme_runs(void **state)
{
    char *readme = read_whole("README.md", NULL),
         *start = strstr(readme, "-- title: Claims of a dealer by finding\n");
    (void)state;

    need(start != NULL, "the example of README.md");
    *strstr(start, "```") = '\0';
    write_words(words("%s/own.sql", reports), start);
    struct result result = RUN("report", "own", "--reports", reports, "--office", office, "--dealer", "D137",
                               "--today", "2026-03-31", "--format", "csv");
    if (result.code != 0 ||
        strcmp(result.out,
               "finding,claims,share,asked\nhours-over,1,33.3333,436.65\nlabor-amount-over,1,33.3333,436.65\n"
               "vin-check-digit,1,33.3333,601.22\n") != 0)
        fail_msg("exit %d, %s%s", result.code, result.err, result.out);
    result_free(&result);
    free(readme);
}

/* --- Mischief -------------------------------------------------------------------------------------- */

static void mischief_does_no_harm(void **state)
{
    enum { LONG = 65000 };
    char *file = words("%s/mischief.csv", folder), *long_word = malloc(LONG + 1);
    (void)state;

    need(long_word != NULL, "memory");
    memset(long_word, 'w', LONG);
    long_word[LONG] = '\0';
    write_words(file,
                words("claim,dealer,repair_order,campaign,vin,outcome,completed_on\n"
                      "<script>alert(1)</script>,D140,1,H26-02,</script>,repaired,2026-02-20\n"
                      "=cmd(),D140,2,H26-02,\xe2\x80\xa8,repaired,2026-02-20\n%s,D140,3,H26-02,x,repaired,"
                      "2026-02-20\n",
                      long_word));
    struct result result = RUN("post", file, "--office", office, "--today", "2026-03-03", "--quiet");
    result_free(&result);
    result = RUN("report", "dealer", "--dealer", "D140", "--office", office, "--today", "2026-03-03",
                 "--format", "html");
    assert_int_equal(result.code, 0);
    assert_null(strstr(result.out, "<script>alert"));
    assert_non_null(strstr(result.out, "D140/&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert_non_null(strstr(result.out, long_word));
    assert_null(strstr(result.out, "http-equiv=\"refresh"));
    assert_null(strstr(result.out, "unsafe-inline"));
    /* nothing from elsewhere is asked for */
    assert_null(strstr(result.out, "src="));
    assert_null(strstr(result.out, "<link"));
    result_free(&result);
    write_words(words("%s/t.sql", reports),
                "-- title: T\n-- meaning: M.\n-- column: a text; x\n"
                "SELECT claim AS a FROM claims_now WHERE dealer = 'D140' AND claim LIKE '=%'\n");
    result = RUN("report", "t", "--reports", reports, "--office", office, "--format", "csv");
    assert_string_equal(result.out, "a\n\"'=cmd()\"\n");
    result_free(&result);
    result = RUN("report", "t", "--reports", reports, "--office", office, "--format", "csv", "--plain-cells");
    assert_string_equal(result.out, "a\n=cmd()\n");
    result_free(&result);
    free(long_word);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_could_harm_is_refused),
        cmocka_unit_test(what_is_harmless_runs),
        cmocka_unit_test(columns_get_what_their_format_says),
        cmocka_unit_test(parameters_and_tables_have_units),
        cmocka_unit_test(parameters_must_be_used),
        cmocka_unit_test(only_files_of_the_folder_are_read),
        cmocka_unit_test(a_faulty_report_does_not_hide_the_others),
        cmocka_unit_test(reports_with_and_without_parameters),
        cmocka_unit_test(each_report_tells_its_help),
        cmocka_unit_test(every_view_and_column_is_documented),
        cmocka_unit_test(every_view_can_be_read),
        cmocka_unit_test(the_night_is_as_worked_by_hand),
        cmocka_unit_test(payments_are_as_worked_by_hand),
        cmocka_unit_test(kits_are_as_worked_by_hand),
        cmocka_unit_test(parts_of_two_campaigns_are_counted_once),
        cmocka_unit_test(a_vehicle_without_a_model_year),
        cmocka_unit_test(vehicles_that_are_in_no_stage),
        cmocka_unit_test(completion_is_as_worked_by_hand),
        cmocka_unit_test(deadlines_are_those_of_flags),
        cmocka_unit_test(deadlines_of_every_region),
        cmocka_unit_test(verify_finds_a_changed_list_of_what_waits),
        cmocka_unit_test(the_example_of_the_readme_runs),
        cmocka_unit_test(mischief_does_no_harm),
    };

    return cmocka_run_group_tests(tests, make_office, remove_office);
}
