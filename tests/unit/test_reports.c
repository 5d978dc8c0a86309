/* What a report's header may say and what is wrong with one, values of parameters, and cells as CSV shows them.
 */
#include "program.h"

#include "base/status.h"
#include "ledger/sql_words.h"
#include "reports/parameters.h"
#include "reports/read_report.h"
#include "reports/write_report.h"

static struct arena arena;
static struct capture capture;

static int read_text(const char *text, bool computed, struct report *ret_report)
{
    capture_start(&capture);
    return report_read(&arena, TEXT("t"), TEXT("t.sql"), text_of(text), computed, &capture.sink, ret_report);
}

static int forget(void **state)
{
    (void)state;
    arena_free(&arena);
    return 0;
}

/* --- Headers --------------------------------------------------------------------------------------- */

#define HEAD "-- title: T\n-- meaning: M.\n"
#define ONE "-- column: a text; x\nSELECT 1 AS a\n"

/* A header, and what must be said of it; NULL: it is right. */
static const struct {
    const char *text, *said;
} HEADERS[] = {
    {HEAD ONE, NULL},
    {HEAD "--\n--# a comment: of any kind\n" ONE, NULL},
    {"-- title: T\n--      \n-- meaning: M.\n" ONE, NULL},
    {HEAD "-- parameter: since date = today - 90; from then\n-- parameter: d text =; d\n-- parameter: k choice "
          "a|b = b; k\n"
          "-- parameter: m money = 2.50; m\n-- parameter: n integer; n\n-- parameter: f decimal = 0.5; f\n" ONE,
     NULL},
    {HEAD "-- section: one\n-- title: One\n" ONE "-- section: two\n" ONE, NULL},
    {HEAD "-- table: kept\n" ONE "-- section: two\n" ONE, NULL},
    {HEAD "-- column: a text; x\n-- column: n integer \"How many\"; x\n-- chart: bar x=a y=n\nSELECT 1 AS a, 2 "
          "AS n\n",
     NULL},
    {"", "t.sql: the report has no section; write columns and a SELECT\n"
         "t.sql: the report has no title; begin it with a line `-- title: ...`\n"
         "t.sql: the report does not say what it means; add a line `-- meaning: ...` with a sentence\n"},
    {"-- title: T\n" ONE,
     "t.sql: the report does not say what it means; add a line `-- meaning: ...` with a sentence\n"},
    {HEAD "-- title: U\n" ONE, "t.sql:3:11: there are two lines `title:` here; take one out\n"},
    {"-- title:\n-- meaning: M.\n" ONE,
     "t.sql:1:10: `title:` is empty; write a few words behind it\n"
     "t.sql: the report has no title; begin it with a line `-- title: ...`\n"},
    {HEAD "-- colum: a text; x\n" ONE, "t.sql:3: no key \"colum\" in a header; nearest is \"column\"\n"},
    {HEAD "-- remark: x\n" ONE,
     "t.sql:3: no key \"remark\" in a header; write title, meaning, parameter, section, table, "
     "column or chart, or `--#` in front of a comment\n"},
    {HEAD "-- a plain remark\n" ONE,
     "t.sql:3:4: a line of the header is `-- key: value`; write `--#` in front of a comment\n"},
    {HEAD "SELECT 1\n",
     "t.sql:3:1: the query has no header; write lines `-- column: NAME FORMAT; meaning` in front of it\n"},
    {HEAD "-- column: a text; x\n",
     "t.sql:3:12: the section \"t\" has no query; write a query behind its header\n"},
    {HEAD "-- section: one\nSELECT 1\n", "t.sql:3:13: the section \"one\" has no column; write a line `-- "
                                         "column: NAME FORMAT; meaning` for each column of its "
                                         "query\n"},
    {HEAD "-- column: A text; x\nSELECT 1\n", "t.sql:3:12: a column is `NAME FORMAT \"Heading\"; meaning`, and "
                                              "its name has a to z, digits and _ alone\n"},
    {HEAD "-- column: a234567890123456789012345678901234567890 text; x\n" ONE, NULL},
    {HEAD "-- column: a2345678901234567890123456789012345678901 text; x\n" ONE,
     "t.sql:3:12: a column is `NAME FORMAT \"Heading\"; meaning`, and its name has a to z, digits and _ alone\n"},
    {HEAD "-- column: a\n--     mony; x\nSELECT 1\n", /* of the line behind it the column is not known */
     "t.sql:3:12: \"mony\" is no format; nearest is \"money\", of text, date, "
     "integer, money, decimal, percent or claim\n"},
    {HEAD "-- column: a mony; x\nSELECT 1\n",
     "t.sql:3:14: \"mony\" is no format; nearest is \"money\", of text, date, "
     "integer, money, decimal, percent or claim\n"},
    {HEAD "-- column: a choice; x\nSELECT 1\n",
     "t.sql:3:14: \"choice\" is no format here; write text, date, integer, money, decimal, percent or claim\n"},
    {HEAD "-- column: a text\nSELECT 1\n",
     "t.sql:3:18: what it means is missing; write `; ` and a few words behind it\n"},
    {HEAD "-- column: a text \"A; x\nSELECT 1\n",
     "t.sql:3:19: the heading is not closed; write it as \"Money cut\"\n"},
    {HEAD "-- column: a text \"\"; x\nSELECT 1\n",
     "t.sql:3:19: the heading is not closed; write it as \"Money cut\"\n"},
    {HEAD "-- column: a text; x\n" ONE, "t.sql:4:12: there are two columns \"a\"; take one out\n"},
    {HEAD ONE "-- section: two\n" ONE,
     "t.sql:5:13: `section:` stands before the first column; put one there, or take it "
     "out where there is one section\n"},
    {HEAD "-- section: one\n" ONE "-- section: one\n" ONE,
     "t.sql:6:13: there are two sections \"one\"; call one by another name\n"},
    {HEAD "-- section: One\n" ONE,
     "t.sql:3:13: the name of a section has a to z, digits and _ alone; correct it\n"},
    {HEAD "-- table: claims_now\n" ONE "-- section: two\n" ONE,
     "t.sql:3:11: \"claims_now\" is the name of a view; call the table by another name\n"},
    {HEAD "-- table: kept\n" ONE,
     "t.sql: the report ends with a table, which is not shown; add a section behind it\n"},
    {HEAD "-- table: kept\n-- chart: none\n" ONE "-- section: two\n" ONE,
     "t.sql:4:11: a table is not shown and has no chart; take it out\n"},
    {HEAD "-- section: one\n-- parameter: p text; p\n" ONE,
     "t.sql:4:15: parameters belong to the whole report; put this before the first section\n"},
    {HEAD "-- parameter: P text; p\n" ONE,
     "t.sql:3:15: a parameter is `NAME TYPE = DEFAULT; meaning`, and its name has a "
     "to z, digits and _ alone\n"},
    {HEAD "-- parameter: today date; p\n" ONE,
     "t.sql:3:15: `--today` is an option of every report; call the parameter by another name\n"},
    {HEAD "-- parameter: p text; p\n-- parameter: p text; p\n" ONE,
     "t.sql:4:15: there are two parameters \"p\"; take one out\n"},
    {HEAD "-- parameter: p percent; p\n" ONE, "t.sql:3:17: \"percent\" is no format here; write text, date, "
                                              "integer, money, decimal or choice\n"},
    {HEAD "-- parameter: = x; p\n" ONE,
     "t.sql:3:15: a parameter is `NAME TYPE = DEFAULT; meaning`, and its name has a "
     "to z, digits and _ alone\n"},
    {HEAD "-- parameter: p claim; p\n" ONE,
     "t.sql:3:17: \"claim\" is no format here; write text, date, integer, money, decimal or choice\n"},
    {HEAD "-- parameter: p text\n" ONE,
     "t.sql:3:21: what it means is missing; write `; ` and a few words behind it\n"},
    {HEAD "-- parameter: p choice\n" ONE,
     "t.sql:3:23: a choice lists its words; write it as `choice month|dealer`\n"},
    {HEAD "-- parameter: p choice one = one; p\n" ONE,
     "t.sql:3:24: a choice lists its words; write it as `choice month|dealer`\n"},
    {HEAD "-- parameter: p choice one|two|six = three; p\n" ONE,
     "t.sql:3:15: the default \"three\" is none of its words; write one, two or six\n"},
    {HEAD "-- parameter: p choice one|two = three; p\n" ONE,
     "t.sql:3:15: the default \"three\" is none of its words; write one or two\n"},
    {HEAD "-- parameter: p date = soon; p\n" ONE,
     "t.sql:3:15: the default \"soon\" is no date; write it as 2026-03-01, or as today - 7\n"},
    {HEAD "-- column: a text; x\n-- chart: pie x=a y=a\nSELECT 1\n",
     "t.sql:4:11: \"pie\" is no chart; write line, bar, stacked, points or none\n"},
    {HEAD "-- column: a text; x\n-- chart: bar x=a\nSELECT 1\n",
     "t.sql:4:11: a chart needs x=COLUMN and y=COLUMN,...; add what is missing\n"},
    {HEAD "-- column: n integer; x\n-- chart: bar y=n\nSELECT 1\n",
     "t.sql:4:11: a chart needs x=COLUMN and y=COLUMN,...; add what is missing\n"},
    {HEAD "-- column: a text; x\n-- chart: bar x=a y=nothing\nSELECT 1\n",
     "t.sql:4:11: the chart names the column \"nothing\", which is none; name one of the section's columns\n"},
    {HEAD "-- column: claims text; x\n-- chart: bar x=claim y=claims\nSELECT 1\n",
     "t.sql:4:11: the chart names the column \"claim\", which is none; nearest is \"claims\"\n"},
    {HEAD "-- column: a text; x\n-- chart: bar x=a y=a\nSELECT 1\n",
     "t.sql:4:11: the chart draws \"a\", which is no number; name another column\n"},
    {HEAD "-- column: a text; x\n-- column: n integer; n\n-- chart: bar x=a y=n z=n\nSELECT 1\n",
     "t.sql:5:11: \"z\" is no part of a chart; write x=, y=, series=, label= or lines=\n"},
    {HEAD "-- column: a text; x\n-- column: n integer; n\n-- chart: bar x=a y=n,n series=a\nSELECT 1\n",
     "t.sql:5:11: with series=COLUMN a chart draws one y; take the others out\n"},
    {HEAD "-- column: a text; x\n-- column: n integer; n\n-- chart: bar x=a y=n lines=n\nSELECT 1\n",
     "t.sql:5:11: label= and lines= are for points; take them out or write points\n"},
    {HEAD "-- column: a text; x\n-- column: n integer; n\n-- chart: bar x=a y=n,n,n,n,n,n,n,n,n\nSELECT 1\n",
     "t.sql:5:11: a chart draws at most 8 columns; take some out\n"},
    {HEAD "-- column: a text; x\n-- chart: none\n-- chart: none\nSELECT 1\n",
     "t.sql:5:11: a section has one chart; take one out\n"},
    {"-- title: \xff\n-- meaning: M.\n" ONE, "t.sql: this is not text (UTF-8); save it as UTF-8\n"},
};

static void each_fault_of_a_header_is_said(void **state)
{
    struct report report;
    (void)state;

    for (size_t i = 0; i < COUNT(HEADERS); i++) {
        int status = read_text(HEADERS[i].text, false, &report);
        assert_string_equal(capture.text, HEADERS[i].said != NULL ? HEADERS[i].said : "");
        assert_int_equal(status, HEADERS[i].said != NULL ? WM_BAD_INPUT : WM_OK);
    }
}

/* Each list of a header has an end: so many of them are read, and one more is said. */
static void headers_have_an_end(void **state)
{
    static const struct {
        const char *before, *each, *behind, *said;
    } CASES[] = {
        {HEAD, "-- parameter: p%d text; x\n", ONE, "t.sql:67:15: a report has at most 64 parameters; take some out\n"},
        {HEAD, "-- column: p%d text; x\n", "SELECT 1\n",
         "t.sql:67:12: a section has at most 64 columns; take some out\n"},
        {HEAD, "-- section: p%1$d\n-- column: a%1$d text; x\nSELECT 1\n", "",
         "t.sql:195:13: a report has at most 64 sections; take some out\n"},
        {HEAD "-- parameter: k choice ", "p%d|", "p = p; x\n" ONE,
         "t.sql:3:24: a choice has at most 64 words; take some out\n"},
    };
    struct report report;
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++)
        for (int more = 0; more <= 1; more++) {
            int each = 64 + more - (strstr(CASES[i].each, "|") != NULL); /* the last word stands behind them */
            char *text = words("%s", CASES[i].before);
            for (int k = 0; k < each; k++) {
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
                char *one = words(CASES[i].each, k);
#pragma GCC diagnostic pop
                text = words("%s%s", text, one);
            }
            int status = read_text(words("%s%s", text, CASES[i].behind), false, &report);
            assert_string_equal(capture.text, more ? CASES[i].said : "");
            assert_int_equal(status, more ? WM_BAD_INPUT : WM_OK);
        }
}

static void a_computed_report_has_no_query(void **state)
{
    struct report report;
    (void)state;

    assert_int_equal(read_text(HEAD "-- column: a text; x\n", true, &report), WM_OK);
    assert_int_equal(read_text(HEAD ONE, true, &report), WM_BAD_INPUT);
    assert_string_equal(capture.text, "t.sql:4:1: a computed report has no query; take it out\n");
}

static void a_header_means_what_it_says(void **state)
{
    struct report report;
    (void)state;

    assert_int_equal(
        read_text("-- title: Findings\n-- meaning: One\n--     two.\n-- parameter: by choice a|b = b; c\n"
                  "-- section: s\n-- title: S\n-- column: n_of integer; how many\n"
                  "-- column: p percent \"Part\"; share\n-- column: _x text; the sign is none of a heading\n"
                  "-- chart: line x=n_of y=p\n\nSELECT 1, 2;\n",
                  false, &report),
        WM_OK);
    assert_true(text_is(report.meaning, "One two."));
    assert_true(text_is(report.parameters[0].choices[1], "b"));
    assert_false(report.parameters[0].required);
    assert_true(text_is(report.sections[0].title, "S"));
    assert_true(text_is(report.sections[0].columns[0].heading, "N of"));
    assert_true(text_is(report.sections[0].columns[1].heading, "Part"));
    assert_true(text_is(report.sections[0].columns[2].heading, " x"));
    assert_int_equal(report.sections[0].chart.kind, CHART_LINE);
    assert_int_equal(report.sections[0].chart.y[0], 1);
    assert_true(text_is(report.sections[0].sql, "SELECT 1, 2;\n") ||
                text_is(report.sections[0].sql, "SELECT 1, 2;"));
    assert_int_equal(report.sections[0].sql_line, 12);
}

/* --- Parameters ------------------------------------------------------------------------------------ */

#define TODAY 20513 /* 2026-03-01 */

static const struct {
    enum report_format format;
    const char *words, *value, *wrong;
} VALUES[] = {
    {REPORT_DATE, "2026-02-28", "2026-02-28", NULL},
    {REPORT_DATE, "today", "2026-03-01", NULL},
    {REPORT_DATE, "today - 1", "2026-02-28", NULL},
    {REPORT_DATE, "today+31", "2026-04-01", NULL},
    {REPORT_DATE, "today + 0", "2026-03-01", NULL},
    {REPORT_DATE, "today * 2", NULL, "is no date; write it as 2026-03-01, or as today - 7"},
    {REPORT_DATE, "today - -1", NULL, "is no date; write it as 2026-03-01, or as today - 7"},
    {REPORT_DATE, "today - 99999999", NULL, "is no date; write it as 2026-03-01, or as today - 7"},
    {REPORT_DATE, "yesterday", NULL, "is no date; write it as 2026-03-01, or as today - 7"},
    {REPORT_DATE, "today - x", NULL, "is no date; write it as 2026-03-01, or as today - 7"},
    {REPORT_DATE, "2026-02-30", NULL, "is no date; write it as 2026-03-01, or as today - 7"},
    {REPORT_INTEGER, "50", "50", NULL},
    {REPORT_INTEGER, "5.0", NULL, "is no whole number; write it as 50"},
    {REPORT_MONEY, "250.5", "250.50", NULL},
    {REPORT_MONEY, "250.505", NULL, "is no amount of money; write it as 250.00"},
    {REPORT_DECIMAL, "1.125", "1.125", NULL},
    {REPORT_DECIMAL, "1e3", NULL, "is no number; write it as 1.5"},
    {REPORT_TEXT, "D137", "D137", NULL},
    {REPORT_TEXT, "\xff", NULL, "is no text (UTF-8); write it anew"},
};

static void words_become_values(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(VALUES); i++) {
        const struct report_parameter parameter = {.format = VALUES[i].format};
        struct buffer out = BUFFER_EMPTY;
        struct value v;
        const char *wrong = parameter_read(&parameter, text_of(VALUES[i].words), TODAY, &arena, &v);
        if (VALUES[i].wrong != NULL) {
            assert_string_equal(wrong, VALUES[i].wrong);
            continue;
        }
        assert_null(wrong);
        write_report_value(&out, VALUES[i].format, v);
        assert_true(text_is(buffer_text(&out), VALUES[i].value));
        buffer_free(&out);
    }
}

static void faults_of_options_are_said(void **state)
{
    static const char TEXT_OF_REPORT[] =
        HEAD "-- parameter: due_within integer = 7; days\n-- parameter: dealer text; d\n" ONE;
    const struct parameter_word words[] = {{TEXT("due-withn"), TEXT("3")},
                                           {TEXT("due-within"), TEXT("x")},
                                           {TEXT("due_within"), TEXT("4")},
                                           {TEXT("colour"), TEXT("red")}};
    struct report report;
    struct value *values;
    (void)state;

    assert_int_equal(read_text(TEXT_OF_REPORT, false, &report), WM_OK);
    assert_int_equal(parameters_read(&report, words, COUNT(words), TODAY, &arena, &capture.sink, &values),
                     WM_BAD_INPUT);
    assert_string_equal(capture.text,
                        "the report t has no --due-withn; nearest is --due_within\n"
                        "--due_within is given twice; leave one out\n"
                        "the report t has no --colour; `witnessmark report t --help` lists what it has\n"
                        "--due_within \"x\" is no whole number; write it as 50\n"
                        "the report t needs --dealer: d\n");
}

/* --- Cells ----------------------------------------------------------------------------------------- */

/* What OWASP's "CSV Injection" names, and what must stay as it is. */
static void formulas_are_known(void **state)
{
    static const char *const FORMULAS[] = {"=1+1",
                                           "+cmd",
                                           "-cmd",
                                           "@SUM(A1)",
                                           "\tx",
                                           "\rx",
                                           "\nx",
                                           " =1",
                                           "=",
                                           "-",
                                           "+1",
                                           "-1-1",
                                           "\xef\xbc\x9d"
                                           "1",
                                           "\xef\xbc\xa0"
                                           "SUM"};
    static const char *const PLAIN[] = {"", "-1", "-12.50", "0.5", "a=b", "D101/-1", "C-501", "'=1"};
    (void)state;

    for (size_t i = 0; i < COUNT(FORMULAS); i++)
        assert_true(report_text_is_formula(text_of(FORMULAS[i])));
    for (size_t i = 0; i < COUNT(PLAIN); i++)
        assert_false(report_text_is_formula(text_of(PLAIN[i])));
}

static void fill(struct report_result *result, const struct report *report)
{
    const struct value rows[][3] = {
        {value_text(TEXT("=cmd|'/c calc'!A1")), value_money(-1250), value_number(753049)},
        {value_text(TEXT("a \"b\", c")), value_money(5), value_number(-500)},
        {value_text(TEXT("-12.5")), value_null(), value_number(2 * DECIMAL_ONE)}};

    assert_int_equal(report_result_open(result, report, NULL, TODAY, &arena), WM_OK);
    for (size_t i = 0; i < COUNT(rows); i++)
        assert_int_equal(report_add_row(result, &result->tables[0], rows[i]), WM_OK);
}

static const char COLUMNS[] =
    HEAD "-- section: s\n-- column: a text; x\n-- column: m money; x\n-- column: p percent; x\n";

static void csv_is_harmless_unless_it_is_to_be_plain(void **state)
{
    struct buffer out = BUFFER_EMPTY;
    struct report_result result;
    struct report report;
    (void)state;

    assert_int_equal(read_text(COLUMNS, true, &report), WM_OK);
    fill(&result, &report);
    write_report_csv(&out, &result, (struct report_look){.section = -1});
    assert_true(text_is(buffer_text(&out), "a,m,p\n\"'=cmd|'/c calc'!A1\",-12.50,75.3049\n"
                                           "\"a \"\"b\"\", c\",0.05,-0.05\n-12.5,,200\n"));
    const struct value link[] = {value_text(TEXT("=f(\"x\")")), value_null(), value_null()};
    assert_int_equal(report_add_row(&result, &result.tables[0], link), WM_OK);
    buffer_clear(&out);
    write_report_csv(&out, &result, (struct report_look){.section = -1});
    assert_true(text_ends_with(buffer_text(&out), TEXT("\n\"'=f(\"\"x\"\")\",,\n")));
    result.tables[0].row_count--;
    buffer_clear(&out);
    write_report_csv(&out, &result, (struct report_look){.section = -1, .plain_cells = true});
    assert_true(text_starts_with(buffer_text(&out), TEXT("a,m,p\n=cmd|'/c calc'!A1,-12.50")));
    buffer_clear(&out);
    write_report_text(&out, &result, (struct report_look){.section = -1});
    assert_true(text_ends_with(buffer_text(&out), TEXT("  A                       M        P\n"
                                                       "  =cmd|'/c calc'!A1  -12.50   75.3 %\n"
                                                       "  a \"b\", c             0.05   -0.1 %\n"
                                                       "  -12.5                      200.0 %\n")));
    buffer_free(&out);
}

static void notes_stand_in_front(void **state)
{
    struct buffer out = BUFFER_EMPTY;
    struct report_result result;
    struct report report;
    (void)state;

    assert_int_equal(read_text(COLUMNS, true, &report), WM_OK);
    fill(&result, &report);
    assert_int_equal(report_add_note(&result, NULL, false, "The office files it <%s>.", "&"), WM_OK);
    assert_int_equal(report_add_note(&result, report_table(&result, "s"), true, "a\tb"), WM_OK);
    assert_int_equal(report_add_note(&result, report_table(&result, "s"), false, "c"), WM_OK);
    assert_int_equal(write_report_html(&out, &result, (struct report_look){.section = -1}), WM_OK);
    buffer_add_byte(&out, '\0');
    assert_non_null(strstr(out.bytes, "<p>The office files it &lt;&amp;&gt;.</p>"));
    assert_non_null(strstr(out.bytes, "<pre tabindex=\"0\">a\tb</pre>"));
    buffer_clear(&out);
    assert_int_equal(write_report_json(&out, &result, (struct report_look){.section = -1}), WM_OK);
    buffer_add_byte(&out, '\0');
    assert_non_null(strstr(out.bytes, "\"notes\":[\"a\\tb\",\"c\"]"));
    assert_non_null(strstr(out.bytes, "{\"a\":\"-12.5\",\"m\":null,\"p\":200}"));
    buffer_free(&out);
}

/* What a terminal is given: parameters that are set, notes, verbatim lines, titles of several sections, cells
 * that are too long or would steer the terminal. */
static void text_fits_a_terminal(void **state)
{
    static const char REPORT[] =
        HEAD "-- parameter: since date = today; s\n-- parameter: dealer text =; d\n"
             "-- parameter: least money = 2.50; l\n"
             "-- section: one\n-- title: First\n-- meaning: Of one.\n-- column: a text; x\n"
             "-- section: two\n-- title: Second\n-- column: a text; x\n-- column: n integer; x\n";
    static const char LONG[] = "0123456789012345678901234567890123456789012345678901234567890";
    struct buffer out = BUFFER_EMPTY;
    struct report_result result;
    struct report report;
    struct value *values;
    (void)state;

    assert_int_equal(read_text(REPORT, true, &report), WM_OK);
    assert_int_equal(parameters_read(&report, NULL, 0, TODAY, &arena, &capture.sink, &values), WM_OK);
    assert_int_equal(report_result_open(&result, &report, values, TODAY, &arena), WM_OK);
    assert_int_equal(report_add_note(&result, NULL, false, "Of the whole."), WM_OK);
    assert_int_equal(report_add_note(&result, report_table(&result, "two"), true, "as  it\nstands"), WM_OK);
    struct value rows[][2] = {{value_text(text_of(LONG)), value_integer(1)},
                              {value_text(TEXT("a\x1b[2J\x7f\nb")), value_null()}};
    assert_int_equal(report_add_row(&result, report_table(&result, "two"), rows[0]), WM_OK);
    assert_int_equal(report_add_row(&result, report_table(&result, "two"), rows[1]), WM_OK);
    write_report_text(&out, &result, (struct report_look){.section = -1});
    buffer_add_byte(&out, '\0');
    assert_string_equal(out.bytes, "T\n=\nM.\n\nsince 2026-03-01, least 2.50\n\nOf the whole.\n\n"
                                   "First\n-----\nOf one.\n\n  nothing\n\n"
                                   "Second\n------\n\nas  it\nstands\n\n"
                                   "  A                                                         N\n"
                                   "  0123456789012345678901234567890123456789012345678901234\xe2\x80\xa6  1\n"
                                   "  a [2J  b\n");
    buffer_clear(&out);
    write_report_csv(&out, &result, (struct report_look){.section = -1});
    buffer_add_byte(&out, '\0');
    assert_string_equal(out.bytes, words("a\n\na,n\n%s,1\n\"a\x1b[2J\x7f\nb\",\n", LONG));
    buffer_clear(&out);
    assert_int_equal(write_report_json(&out, &result, (struct report_look){.section = 0}), WM_OK);
    buffer_add_byte(&out, '\0');
    assert_string_equal(out.bytes,
                        "{\"report\":\"t\",\"title\":\"T\",\"meaning\":\"M.\",\"today\":\"2026-03-01\","
                        "\"parameters\":{\"since\":\"2026-03-01\",\"dealer\":null,\"least\":2.50},"
                        "\"notes\":[\"Of the whole.\"],\"sections\":[\n{\"name\":\"one\",\"title\":\"First\","
                        "\"meaning\":\"Of one.\",\"notes\":[],\"columns\":[{\"name\":\"a\",\"heading\":\"A\","
                        "\"format\":\"text\",\"meaning\":\"x\"}],\"rows\":[]}]}\n");
    buffer_clear(&out);
    assert_int_equal(write_report_html(&out, &result, (struct report_look){.section = -1}), WM_OK);
    buffer_add_byte(&out, '\0');
    assert_null(strchr(out.bytes, '\x1b')); /* shown as the sign for what cannot be shown */
    assert_non_null(strstr(out.bytes, "a\xef\xbf\xbd[2J\xef\xbf\xbd\nb"));
    buffer_free(&out);
}

/* A claim that has a row of its own is linked to from elsewhere; the first of two rows is the one. What is null is
 * no claim. */
static void claims_link_to_their_rows(void **state)
{
    static const char REPORT[] = HEAD "-- section: one\n-- column: c claim; x\n-- column: n claim; x\n"
                                      "-- section: two\n-- column: c claim; x\n-- column: n integer; x\n"
                                      "-- chart: bar x=c y=n\n";
    const struct value a = value_text(TEXT("D1/A")), b = value_text(TEXT("D1/B")), other = value_text(TEXT("D1/C"));
    const struct value rows[][2] = {{a, b}, {value_null(), other}, {b, value_null()}, {a, a}};
    struct buffer out = BUFFER_EMPTY;
    struct report_result result;
    struct report report;
    (void)state;

    assert_int_equal(read_text(REPORT, true, &report), WM_OK);
    assert_int_equal(report_result_open(&result, &report, NULL, TODAY, &arena), WM_OK);
    for (size_t i = 0; i < COUNT(rows); i++)
        assert_int_equal(report_add_row(&result, &result.tables[0], rows[i]), WM_OK);
    assert_int_equal(write_report_html(&out, &result, (struct report_look){.section = -1}), WM_OK);
    buffer_add_byte(&out, '\0');
#define FIRST_CELL(words) "<th scope=\"row\"" words "</th>"
#define LINK(number, claim) "<td class=\"short\"><a href=\"#claim-" number "\">" claim "</a></td></tr>\n"
    assert_non_null(
        strstr(out.bytes, "<tbody>\n<tr id=\"claim-0\">" FIRST_CELL(" class=\"short\">D1/A") LINK("1", "D1/B")
               "<tr>" FIRST_CELL(">") "<td class=\"short\">D1/C</td></tr>\n"
               "<tr id=\"claim-1\">" FIRST_CELL(" class=\"short\">D1/B") "<td></td></tr>\n"
               "<tr>" FIRST_CELL(" class=\"short\">D1/A") LINK("0", "D1/A") "</tbody>"));
    /* two sections are listed; of a chart without rows there is no figure, and no script that draws */
    assert_non_null(strstr(out.bytes, "<a href=\"#section-1\">"));
    assert_null(strstr(out.bytes, "<figure>"));
    /* one section alone, where the other one is not shown */
    buffer_clear(&out);
    assert_int_equal(write_report_html(&out, &result, (struct report_look){.section = 1}), WM_OK);
    buffer_add_byte(&out, '\0');
    assert_null(strstr(out.bytes, "<nav"));
    assert_null(strstr(out.bytes, "D1/A"));
    buffer_clear(&out);
    assert_int_equal(write_report_json(&out, &result, (struct report_look){.section = -1}), WM_OK);
    buffer_add_byte(&out, '\0');
    assert_non_null(strstr(out.bytes, "},\n{\"name\":\"two\""));
    buffer_free(&out);
}

/* A share of the whole that no int64 holds as a percentage stays at its end. */
static void figures_stay_in_range(void **state)
{
    static const struct {
        enum report_format format;
        struct value value;
        const char *figure;
    } CASES[] = {
        {REPORT_PERCENT, {.type = VALUE_NUMBER, .number = 753049}, "75.3049"},
        {REPORT_PERCENT, {.type = VALUE_NUMBER, .number = INT64_MAX}, "9223372036854.775807"},
        {REPORT_PERCENT, {.type = VALUE_NUMBER, .number = INT64_MIN}, "-9223372036854.775808"},
        {REPORT_DECIMAL, {.type = VALUE_NUMBER, .number = 1500000}, "1.5"},
        {REPORT_PERCENT, {.type = VALUE_NULL}, ""},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct buffer out = BUFFER_EMPTY;
        write_report_figure(&out, CASES[i].format, CASES[i].value);
        if (!text_is(buffer_text(&out), CASES[i].figure))
            fail_msg("%s: %.*s", CASES[i].figure, (int)out.length, out.bytes);
        buffer_free(&out);
    }
}

/* A result of cells that are too large ends too. */
static void cells_have_an_end(void **state)
{
    static char cell[1024 * 1024];
    struct report_result result;
    struct report report;
    int status = WM_OK;
    uint64_t rows = 0;
    (void)state;

    memset(cell, 'x', sizeof cell);
    const struct value cells[] = {value_text((struct text){cell, sizeof cell}), value_null(), value_null()};
    assert_int_equal(read_text(COLUMNS, true, &report), WM_OK);
    assert_int_equal(report_result_open(&result, &report, NULL, TODAY, &arena), WM_OK);
    for (; status == WM_OK && rows < 300; rows++)
        status = report_add_row(&result, &result.tables[0], cells);
    assert_int_equal(status, WM_LIMIT);
    assert_int_equal(rows, 257); /* README: 256 MiB */
    arena_free(&arena);
}

static void a_result_has_an_end(void **state)
{
    struct report_result result;
    struct report report;
    const struct value cells[] = {value_null(), value_null(), value_null()};
    (void)state;

    assert_int_equal(read_text(COLUMNS, true, &report), WM_OK);
    assert_int_equal(report_result_open(&result, &report, NULL, TODAY, &arena), WM_OK);
    for (uint32_t i = 0; i < 200000; i++)
        assert_int_equal(report_add_row(&result, &result.tables[0], cells), WM_OK);
    assert_int_equal(report_add_row(&result, &result.tables[0], cells), WM_LIMIT);
}

/* --- SQL ------------------------------------------------------------------------------------------- */

static void tables_are_found_in_sql(void **state)
{
    static const struct {
        const char *sql;
        bool selects;
    } TEXTS[] = {
        {"SELECT x FROM t", true},
        {"SELECT x FROM a, t", true},
        {"SELECT x FROM a JOIN t ON 1", true},
        {"SELECT x FROM (a JOIN t)", true},
        {"SELECT x FROM (SELECT 1), t", true},
        {"SELECT x FROM a JOIN b ON f(1, 2), t", true},
        {"SELECT x FROM main.t", true},
        {"SELECT x FROM \"T\"", true},
        {"SELECT x FROM [t]", true},
        {"SELECT x FROM/**/t", true},
        {"SELECT 1 WHERE 1 IN (SELECT 1 FROM t)", true},
        {"SELECT t FROM a", false},
        {"SELECT x, t FROM a ORDER BY x, t", false},
        {"SELECT count(*) AS t FROM a", false},
        {"SELECT x FROM a -- FROM t\n", false},
        {"SELECT 'FROM t' FROM a", false},
        {"SELECT x FROM a WHERE t = 1", false},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(TEXTS); i++)
        if (sql_selects_from(text_of(TEXTS[i].sql), "t") != TEXTS[i].selects)
            fail_msg("%s", TEXTS[i].sql);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(each_fault_of_a_header_is_said, forget),
        cmocka_unit_test_teardown(headers_have_an_end, forget),
        cmocka_unit_test_teardown(a_computed_report_has_no_query, forget),
        cmocka_unit_test_teardown(a_header_means_what_it_says, forget),
        cmocka_unit_test_teardown(words_become_values, forget),
        cmocka_unit_test_teardown(faults_of_options_are_said, forget),
        cmocka_unit_test_teardown(formulas_are_known, forget),
        cmocka_unit_test_teardown(csv_is_harmless_unless_it_is_to_be_plain, forget),
        cmocka_unit_test_teardown(notes_stand_in_front, forget),
        cmocka_unit_test_teardown(text_fits_a_terminal, forget),
        cmocka_unit_test_teardown(claims_link_to_their_rows, forget),
        cmocka_unit_test_teardown(figures_stay_in_range, forget),
        cmocka_unit_test_teardown(cells_have_an_end, forget),
        cmocka_unit_test_teardown(a_result_has_an_end, forget),
        cmocka_unit_test(tables_are_found_in_sql),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
