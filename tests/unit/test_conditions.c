/* Condition cells: every form, its meaning with and without nulls, and every message about one.
 *
 * Sources: DMN 1.5, 9.2 (S-FEEL unary tests), 10.3.1.2 (literals), 10.3.2.2 (equality), 10.3.2.4 (ternary
 * logic), 10.3.2.7 (ranges), 10.3.4.3 (matches). */
#include "table_kit.h"

struct form {
    const char *cell;
    const char *fact; /* which column it stands in */
    const char *facts;
    enum truth expected;
};

#define HOLDS TRUTH_HOLDS
#define FAILS TRUTH_FAILS
#define NEITHER TRUTH_NEITHER

/* The cell by itself, three-valued. */
static enum truth truth_of_cell(struct kit *kit, const struct form *form)
{
    int slot = kit_slot(text_of(form->fact));
    struct known_names names = {&KIT_SOURCE, NULL, 0};
    struct pattern *patterns = NULL;
    struct cell_context context = {&kit->arena, KIT_FACTS[slot].type, KIT_FACTS[slot].any_case, &names,
                                   &patterns,   &kit->capture.sink};
    struct evaluation evaluation = {.facts = kit->facts, .any_case = KIT_FACTS[slot].any_case};
    struct cell *cell;

    assert_int_equal(pattern_work_new(&evaluation.work), WM_OK);
    assert_int_equal(cell_read(&context, text_of(form->cell), (struct place){TEXT("t.csv"), 2, 2}, &cell),
                     WM_OK);
    enum truth truth = cell_test_value(cell, kit->facts[slot], &evaluation);
    assert_int_equal(evaluation.trouble, WM_OK);
    pattern_work_free(evaluation.work);
    pattern_free_list(patterns);
    return truth;
}

static void make_table(struct kit *kit, const struct form *form)
{
    struct buffer csv = BUFFER_EMPTY;

    buffer_format(&csv, "F,%s,>x\nrow,", form->fact);
    kit_add_cell(&csv, form->cell);
    buffer_add(&csv, ",1\n\0", 4);
    kit_good(kit, csv.bytes);
    buffer_free(&csv);
}

/* By itself, and through a table's classes: a row hits where its cell holds. */
static void check_form(const struct form *form)
{
    struct kit kit;
    char room[512];

    make_table(&kit, form);
    const char *decided = kit_decide(&kit, form->facts, room);
    bool hits = strcmp(decided, "row") == 0;
    enum truth truth = truth_of_cell(&kit, form);
    uint32_t failing;
    int misses = table_row_misses(kit.table, 0, kit.facts, kit.scratch, &failing);
    if (truth != form->expected || hits != (truth == HOLDS) || (misses < 0) != hits || failing != !hits)
        fail_msg("%s in %s with %s: truth %d and %s, expected %d", form->cell, form->fact, form->facts, truth,
                 decided, form->expected);
    kit_end(&kit);
}

static void check_forms(const struct form *forms, size_t count)
{
    for (size_t i = 0; i < count; i++)
        check_form(&forms[i]);
}

#define CHECK(forms) check_forms(forms, sizeof(forms) / sizeof *(forms))

/* 9.2: `-` is any value; here alone null too (10.3.2.10, rule 15.c says otherwise). */
static void test_any(void **state)
{
    static const struct form forms[] = {
        {"-", "n", "n=1", HOLDS},     {"-", "n", "", HOLDS},        {"", "t", "t=A", HOLDS},
        {"", "t", "", HOLDS},         {" - ", "d", "", HOLDS},      {"-", "b", "b=false", HOLDS},
        {"\"-\"", "t", "t=-", HOLDS}, {"\"-\"", "t", "t=A", FAILS},
    };
    (void)state;
    CHECK(forms);
}

/* 9.2 and 10.3.1.2: literals of each type. */
static void test_literals(void **state)
{
    static const struct form forms[] = {
        {"12", "n", "n=12", HOLDS},
        {"12", "n", "n=12.000001", FAILS},
        {"12.50", "n", "n=12.5", HOLDS},
        {".5", "n", "n=0.5", HOLDS},
        {"-.5", "n", "n=-0.5", HOLDS},
        {"-3", "n", "n=-3", HOLDS},
        {"0.000001", "n", "n=0.000001", HOLDS},
        {"A", "t", "t=A", HOLDS},
        {"A", "t", "t=a", FAILS},
        {"A", "t", "t=AB", FAILS},
        {"1.6", "t", "t=1.6", HOLDS},
        {"-x-", "t", "t=-x-", HOLDS},
        {"null-modem", "t", "t=null-modem", HOLDS},
        {"PS-7731-01", "t", "t=PS-7731-01", HOLDS},
        {"\"A\"", "t", "t=A", HOLDS},
        {" \"A\" ", "t", "t=A", HOLDS},
        {"\"a,b\"", "t", "t=a,b", HOLDS},
        {"\"(x)\"", "t", "t=(x)", HOLDS},
        {"\"null\"", "t", "t=null-", FAILS},
        {"engine", "t", "t=engine engine=x", FAILS}, /* the fact, not the word */
        {"engine", "t", "t=x engine=x", HOLDS},
        {"\"engine\"", "t", "t=engine engine=x", HOLDS},
        {"\xc3\xa9t\xc3\xa9", "t", "t=\xc3\xa9t\xc3\xa9", HOLDS},
        {"2026-03-01", "d", "d=2026-03-01", HOLDS},
        {"date(\"2026-03-01\")", "d", "d=2026-03-01", HOLDS},
        {" date ( \"2026-03-01\" ) ", "d", "d=2026-03-01", HOLDS},
        {"2026-03-01", "d", "d=2026-03-02", FAILS},
        {"true", "b", "b=true", HOLDS},
        {"true", "b", "b=false", FAILS},
        {"false", "b", "b=false", HOLDS},
        {"true, false", "b", "b=false", HOLDS},
        {"true, false", "b", "", FAILS},
        {"1,\r2", "n", "n=2", HOLDS}, /* blanks of every kind between tests */
        {"1,\n\t2", "n", "n=2", HOLDS},
        {"\"\"", "t", "t=", HOLDS}, /* a text without characters is no null */
        {"\"\", \"abc\"", "t", "", FAILS},
        {"-9223372036854.775807, 9223372036854.775807", "n", "n=9223372036854.775807", HOLDS},
        {"-9223372036854.775807, 9223372036854.775807", "n", "n=0", FAILS},
    };
    (void)state;
    CHECK(forms);
}

/* 10.3.1.2, string escape sequences; a backslash before anything else is itself. */
static void test_escapes(void **state)
{
    static const struct form forms[] = {
        {"\"a\\\"b\"", "t", "t=a\"b", HOLDS},
        {"\"a\\\\b\"", "t", "t=a\\b", HOLDS},
        {"\"a\\nb\"", "t", "t=a\nb", HOLDS},
        {"\"a\\rb\"", "t", "t=a\rb", HOLDS},
        {"\"a\\tb\"", "t", "t=a\tb", HOLDS},
        {"\"\\u00e9\"", "t", "t=\xc3\xa9", HOLDS},
        {"\"\\u20AC\"", "t", "t=\xe2\x82\xac", HOLDS},
        {"\"\\ud83d\\ude00\"", "t", "t=\xf0\x9f\x98\x80", HOLDS},
        {"\"\\ud800\\udc00\"", "t", "t=\xf0\x90\x80\x80", HOLDS},
        {"\"\\udbff\\udfff\"", "t", "t=\xf4\x8f\xbf\xbf", HOLDS},
        {"\"\\u007f\\u0080\\u07FF\\u0800\"", "t", "t=\x7f\xc2\x80\xdf\xbf\xe0\xa0\x80", HOLDS},
        {"\"\\uaFfA\\uFFfd\\ue000\"", "t", "t=\xea\xbf\xba\xef\xbf\xbd\xee\x80\x80", HOLDS},
        {"\"\\u0009\\uD7FF\"", "t", "t=\t\xed\x9f\xbf", HOLDS},
        {"\"\\u\"", "t", "t=\\u", HOLDS},
        {"\"x00e9z\"", "t", "t=x00e9z", HOLDS},
        {"\"a\\x00e9\"", "t", "t=a\\x00e9", HOLDS},
        {"\"a\\b\"", "t", "t=a\\b", HOLDS},
        {"\"\\u00g9\"", "t", "t=\\u00g9", HOLDS},
        {"\"\\u00e\"", "t", "t=\\u00e", HOLDS},
        {"\"\\u00/9\\u00:9\\u00@9\\u00G9\\u00`9\"", "t", "t=\\u00/9\\u00:9\\u00@9\\u00G9\\u00`9", HOLDS},
        {"\"\\u004a\\u004F\\u0039\"", "t", "t=JO9", HOLDS},
        {"\"a\\\\\"", "t", "t=a\\", HOLDS},
        {"a\\nb", "t", "t=a\\nb", HOLDS}, /* bare: no escapes */
    };
    (void)state;
    CHECK(forms);
}

/* 9.2: < <= > >= over numbers, dates and text, the latter by code point. */
static void test_orderings(void **state)
{
    static const struct form forms[] = {
        {"< 5", "n", "n=4.999999", HOLDS},
        {"< 5", "n", "n=5", FAILS},
        {"<=5", "n", "n=5", HOLDS},
        {"<=5", "n", "n=5.000001", FAILS},
        {"> 5", "n", "n=5", FAILS},
        {">5", "n", "n=6", HOLDS},
        {">= 5", "n", "n=5", HOLDS},
        {">=5", "n", "n=4", FAILS},
        {"<-5", "n", "n=-6", HOLDS},
        {"> .5", "n", "n=0.6", HOLDS},
        {"< 2026-03-01", "d", "d=2026-02-28", HOLDS},
        {">= date(\"2026-03-01\")", "d", "d=2026-03-01", HOLDS},
        {"> 2026-03-01", "d", "d=2026-03-01", FAILS},
        {"< B", "t", "t=A", HOLDS},
        {"< B", "t", "t=a", FAILS},
        {"<= \"B\"", "t", "t=B", HOLDS},
        {"> A", "t", "t=AA", HOLDS},
        {"> Z", "t", "t=\xc3\xa9", HOLDS},
        {"< \xef\xbf\xbd", "t", "t=\xf0\x9f\x98\x80", FAILS},
        {"> hours_allowed", "n", "n=2 hours_allowed=1", HOLDS},
        {"> hours_allowed", "n", "n=1 hours_allowed=1", FAILS},
        {">= e", "d", "d=2026-03-01 e=2026-03-01", HOLDS},
        {"< u", "t", "t=A u=B", HOLDS},
    };
    (void)state;
    CHECK(forms);
}

/* 10.3.2.7: intervals in every bracket form. */
static void test_intervals(void **state)
{
    static const struct form forms[] = {
        {"[2..4]", "n", "n=2", HOLDS},
        {"[2..4]", "n", "n=4", HOLDS},
        {"[2..4]", "n", "n=1", FAILS},
        {"[2..4]", "n", "n=5", FAILS},
        {"(2..4)", "n", "n=2", FAILS},
        {"(2..4)", "n", "n=4", FAILS},
        {"(2..4)", "n", "n=3", HOLDS},
        {"]2..4[", "n", "n=2", FAILS},
        {"]2..4[", "n", "n=4", FAILS},
        {"]2..4[", "n", "n=3", HOLDS},
        {"[2..4)", "n", "n=2", HOLDS},
        {"[2..4)", "n", "n=4", FAILS},
        {"[2..4[", "n", "n=2", HOLDS},
        {"[2..4[", "n", "n=4", FAILS},
        {"(2..4]", "n", "n=2", FAILS},
        {"(2..4]", "n", "n=4", HOLDS},
        {"]2..4]", "n", "n=2", FAILS},
        {"]2..4]", "n", "n=4", HOLDS},
        {"]2..4)", "n", "n=4", FAILS},
        {"(2..4[", "n", "n=3", HOLDS},
        {" [ 2 .. 4 ] ", "n", "n=2", HOLDS},
        {"[.5...7]", "n", "n=0.6", HOLDS},
        {"[-1..-.5]", "n", "n=-0.5", HOLDS},
        {"[2..2]", "n", "n=2", HOLDS},
        {"(2..2)", "n", "n=2", FAILS},
        {"[2..2)", "n", "n=2", FAILS},
        {"[2026-01-01..2026-01-31]", "d", "d=2026-01-15", HOLDS},
        {"[date(\"2026-01-01\")..date(\"2026-01-31\"))", "d", "d=2026-01-31", FAILS},
        {"[A..C]", "t", "t=B", HOLDS},
        {"[A..C]", "t", "t=CA", FAILS},
        {"[\"A\"..\"C\")", "t", "t=C", FAILS},
        {"[m..10]", "n", "n=5 m=4", HOLDS},
        {"[m..10]", "n", "n=5 m=6", FAILS},
        {"[hours_allowed..m]", "n", "n=5 hours_allowed=6 m=4", FAILS}, /* the wrong way round: nothing */
        {"[d..e]", "d", "d=2026-01-01 e=2026-01-01", HOLDS},
    };
    (void)state;
    CHECK(forms);
}

/* 9.2: lists, and not(...). */
static void test_lists(void **state)
{
    static const struct form forms[] = {
        {"1, 3, 5", "n", "n=3", HOLDS},
        {"1, 3, 5", "n", "n=2", FAILS},
        {"1,[3..4],> 9", "n", "n=10", HOLDS},
        {"1,[3..4],> 9", "n", "n=9", FAILS},
        {"A , \"B\",C", "t", "t=B", HOLDS},
        {"null, 1", "n", "", HOLDS},
        {"null, 1", "n", "n=1", HOLDS},
        {"null, 1", "n", "n=2", FAILS},
        {"not(1)", "n", "n=1", FAILS},
        {"not(1)", "n", "n=2", HOLDS},
        {"not ( 1 , 2 ) ", "n", "n=2", FAILS},
        {"not(1,2)", "n", "n=3", HOLDS},
        {"not([1..3])", "n", "n=2", FAILS},
        {"not((1..3))", "n", "n=3", HOLDS},
        {"not(]1..3[)", "n", "n=1", HOLDS},
        {"not(< 5)", "n", "n=5", HOLDS},
        {"not(null)", "n", "n=5", HOLDS},
        {"not(null)", "n", "", FAILS},
        {"not(engine)", "t", "t=A engine=A", FAILS},
        {"not(engine)", "t", "t=A engine=B", HOLDS},
        {"not(true)", "b", "b=false", HOLDS},
        {"not", "t", "t=not", HOLDS},
        {"nothing", "t", "t=nothing", HOLDS},
        {"not(2026-01-01)", "d", "d=2026-01-02", HOLDS},
    };
    (void)state;
    CHECK(forms);
}

/* 10.3.4.3: matches searches; the pattern is PCRE2's and not anchored. */
static void test_matches(void **state)
{
    static const struct form forms[] = {
        {"matches(?, \"b\")", "t", "t=abc", HOLDS},
        {"matches(?, \"^b\")", "t", "t=abc", FAILS},
        {"matches ( ? ,\"c$\" )", "t", "t=abc", HOLDS},
        {"matches(?, \"^\\d+$\")", "t", "t=123", HOLDS},
        {"matches(?, \"^\\\\d+$\")", "t", "t=123", HOLDS}, /* the escaped backslash is one */
        {"matches(?, \"\\.\")", "t", "t=abc", FAILS},
        {"matches(?, \"a,b\\\"\")", "t", "t=a,b\"", HOLDS},
        {"matches(?, \"^.$\")", "t", "t=\xc3\xa9", HOLDS}, /* UTF: one character */
        {"matches(?, \"^(?i)ab$\")", "t", "t=AB", HOLDS},
        {"not(matches(?, \"b\"))", "t", "t=abc", FAILS},
        {"A, matches(?, \"b\")", "t", "t=A", HOLDS},
        {"A, matches(?, \"b\")", "t", "t=xb", HOLDS},
        {"matches", "t", "t=matches", HOLDS},
        {"matches(?, \"^$\")", "t", "t=", HOLDS}, /* in a text without characters */
        {"matches(?, \"\")", "t", "t=a", HOLDS},
        {"matches(?, \"b\")", "word", "word=B", FAILS}, /* as it is, also for words of a list */
    };
    (void)state;
    CHECK(forms);
}

/* Words of a short list: equality without regard to case, orderings as they are. */
static void test_any_case(void **state)
{
    static const struct form forms[] = {
        {"Repaired", "word", "word=rEPAIRED", HOLDS},
        {"Repaired", "word", "word=inspected", FAILS},
        {"repaired, Inspected", "word", "word=INSPECTED", HOLDS},
        {"not(repaired)", "word", "word=REPAIRED", FAILS},
        {"engine", "word", "word=ab engine=AB", HOLDS},
        {"word", "t", "t=ab word=AB", HOLDS},
        {"> a", "word", "word=B", FAILS},
        {"> a", "word", "word=b", HOLDS},
        {"A, > x", "word", "word=a", HOLDS},
        {"\"a\\u00e9\"", "word", "word=A\xc3\xa9", HOLDS},
        {"in_service_vehicle", "word", "word=IN_SERVICE_VEHICLE", HOLDS},
    };
    (void)state;
    CHECK(forms);
}

/* 10.3.2.4 and contract section 3: each form with a null fact, and with a null on the other side. */
static void test_null_matrix(void **state)
{
    static const struct form forms[] = {
        /* equality always holds or fails */
        {"null", "t", "", HOLDS},
        {"null", "t", "t=A", FAILS},
        {"\"A\"", "t", "", FAILS},
        {"not(\"A\")", "t", "", HOLDS},
        {"1", "n", "", FAILS},
        {"not(1)", "n", "", HOLDS},
        {"m", "n", "", HOLDS},
        {"m", "n", "n=1", FAILS},
        {"m", "n", "m=1", FAILS},
        {"not(m)", "n", "", FAILS},
        {"not(m)", "n", "n=1", HOLDS},
        {"not(m)", "n", "m=1", HOLDS},
        {"not(null)", "t", "", FAILS},
        {"true", "b", "", FAILS},
        {"c", "b", "", HOLDS},
        /* an ordering or matches does neither */
        {"< 5", "n", "", NEITHER},
        {"not(< 5)", "n", "", NEITHER},
        {"< m", "n", "n=1", NEITHER},
        {"< m", "n", "m=1", NEITHER},
        {"< m", "n", "", NEITHER},
        {">= A", "t", "", NEITHER},
        {"matches(?, \"\")", "t", "", NEITHER},
        {"not(matches(?, \"\"))", "t", "", NEITHER},
        /* an interval is its two orderings joined by and */
        {"[1..5]", "n", "", NEITHER},
        {"not([1..5])", "n", "", NEITHER},
        {"[m..5]", "n", "n=6", FAILS},
        {"[m..5]", "n", "n=4", NEITHER},
        {"[1..m]", "n", "n=0", FAILS},
        {"[1..m]", "n", "n=2", NEITHER},
        {"not([m..5])", "n", "n=6", HOLDS},
        {"not([m..5])", "n", "n=4", NEITHER},
        {"[m..hours_allowed]", "n", "n=1", NEITHER},
        /* a list holds if one holds, fails if all fail */
        {"null, < 5", "n", "", HOLDS},
        {"1, < 5", "n", "", NEITHER},
        {"1, 2", "n", "", FAILS},
        {"not(1, < 5)", "n", "", NEITHER},
        {"not(null, < 5)", "n", "", FAILS},
        {"not(1, 2)", "n", "", HOLDS},
        {"7, < m", "n", "n=7", HOLDS},
        {"7, < m", "n", "n=6", NEITHER},
        {"not(7, < m)", "n", "n=7", FAILS},
        {"> 6, [m..5]", "n", "n=6", FAILS},
        {"not(> 6, [m..5])", "n", "n=6", HOLDS},
        /* - holds */
        {"-", "n", "", HOLDS},
    };
    (void)state;
    CHECK(forms);
}

/* --- Messages ------------------------------------------------------------------------------------------ */

struct mistake {
    const char *fact;
    const char *cell;
    const char *message;
};

static const struct mistake MISTAKES[] = {
    {"n", "abc",
     "\"abc\" is not a number and no fact; write digits, such as 12 or -0.5, or name a number fact"},
    {"n", "Abc", "\"Abc\" is not a number and no fact; write digits, such as 12 or -0.5, or name a number fact"},
    {"n", "zed", "\"zed\" is not a number and no fact; write digits, such as 12 or -0.5, or name a number fact"},
    {"n", "_x", "\"_x\" is not a number and no fact; write digits, such as 12 or -0.5, or name a number fact"},
    {"n", "\xc3\xa9t",
     "\"\xc3\xa9t\" is not a number and no fact; write digits, such as 12 or -0.5, or name a number fact"},
    {"n", "^x", "\"^x\" is not a number; write digits, such as 12 or -0.5"}, /* what no name begins with */
    {"n", "`x", "\"`x\" is not a number; write digits, such as 12 or -0.5"},
    {"n", "{x", "\"{x\" is not a number; write digits, such as 12 or -0.5"},
    {"n", "1hours_allowed", "\"1hours_allowed\" is not a number; write digits, such as 12 or -0.5"},
    {"d", "date", "no fact \"date\"; nearest is \"late_n\""},
    {"d", "day", "\"day\" is not a date and no fact; write one that exists, such as 2026-03-01, or name a date fact"},
    {"d", "datefulness",
     "\"datefulness\" is not a date and no fact; write one that exists, such as 2026-03-01, or name a date fact"},
    {"d", "date(x2026-03-01\")", "\"date(x2026-03-01\")\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "date(\"2026-03-01x)", "\"date(\"2026-03-01x)\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "date(\"x)", "\"date(\"x)\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "date(\"2026-03-01\"", "\"date(\"2026-03-01\"\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "date(2026-03-01)", "\"date(2026-03-01)\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "date()", "\"date()\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "date(\")", "\"date(\")\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "date(x\")", "\"date(x\")\" is not a date; write one that exists, such as 2026-03-01"},
    {"n", "hours_alowed", "no fact \"hours_alowed\"; nearest is \"hours_allowed\""},
    {"n", "1,5x", "\"5x\" is not a number; write digits, such as 12 or -0.5"},
    {"n", "+1", "\"+1\" is not a number; write digits, such as 12 or -0.5"},
    {"n", "1e3", "\"1e3\" is not a number; write digits, such as 12 or -0.5"},
    {"n", "1.", "\"1.\" is not a number; write digits, such as 12 or -0.5"},
    {"n", "- 5", "\"- 5\" is not a number; write digits, such as 12 or -0.5"},
    {"n", "1.2345678", "\"1.2345678\" has more than six places; round it to six"},
    {"n", "99999999999999999999",
     "\"99999999999999999999\" is too large a number; write one below 9,000,000,000,000"},
    {"n", "\"5\"", "\"5\" is text and this column a number; leave out the quotes"},
    {"n", "engine", "the fact \"engine\" is a text and this column a number; name a fact of that type"},
    {"t", "model_year",
     "the fact \"model_year\" is a number and this column a text; quote it to mean the word"},
    {"d", "2026-02-30", "\"2026-02-30\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "date(\"2026-3-1\")",
     "\"date(\"2026-3-1\")\" is not a date; write one that exists, such as 2026-03-01"},
    {"d", "\"2026-03-01\"", "\"2026-03-01\" is text and this column a date; leave out the quotes"},
    {"b", "TRUE", "\"TRUE\" is not a boolean and no fact; write true or false, or name a boolean fact"},
    {"b", "1", "\"1\" is not a boolean; write true or false"},
    {"b", "> false", "booleans have no order; write true or false"},
    {"b", "[false..true]", "booleans have no order; write true or false"},
    {"n", "< null", "null has no order; write null as a test of its own"},
    {"n", "[null..5]", "null has no order; write null as a test of its own"},
    {"n", "1,,2", "a value is missing in 1,,2; write one, or - for any value"},
    {"n", "1,", "a value is missing in 1,; write one, or - for any value"},
    {"n", "<", "a value is missing in <; write one, or - for any value"},
    {"n", "not()", "a value is missing in not(); write one, or - for any value"},
    {"n", "-, 1", "- means any value and stands alone; quote it to mean the text"},
    {"n", "not(-)", "- means any value and stands alone; quote it to mean the text"},
    {"n", "not(1", "not( is not closed; end it with )"},
    {"n", "not(not(1))", "not(...) stands inside another test; it goes around the whole cell, once"},
    {"n", "1, not(2)", "not(...) stands inside another test; it goes around the whole cell, once"},
    {"n", "not(1), 2", "not(...) is one of several tests; it goes around the whole cell, once"},
    {"n", "not(1) 2",
     "2 is not expected here; put a comma between tests, and quotes round text that has brackets or quotes"},
    {"n", "not([1..2] 3)",
     "3) is not expected here; put a comma between tests, and quotes round text that has brackets or quotes"},
    {"t", "A (left)",
     "(left) is not expected here; put a comma between tests, and quotes round text that has brackets or "
     "quotes"},
    {"t", "\"A\" B",
     "B is not expected here; put a comma between tests, and quotes round text that has brackets or "
     "quotes"},
    {"t", "A)",
     ") is not expected here; put a comma between tests, and quotes round text that has brackets or quotes"},
    {"t", "\"A", "the quote \"A is not closed; end it with \""},
    {"t", "\"A\\\"", "the quote \"A\\\" is not closed; end it with \""},
    {"t", "\"A\\", "the quote \"A\\ is not closed; end it with \""},
    {"t", "\"\\ud83dabcdef\"", "\"\\ud83dabcdef\" has an escape \\u that is no character; correct its digits"},
    {"t", "\"\\ud83d\\nabcd\"", "\"\\ud83d\\nabcd\" has an escape \\u that is no character; correct its digits"},
    {"t", "\"\\udc00\\udc00\"", "\"\\udc00\\udc00\" has an escape \\u that is no character; correct its digits"},
    {"t", "\"\\udfff\"", "\"\\udfff\" has an escape \\u that is no character; correct its digits"},
    {"t", "\"\\u0000\"", "\"\\u0000\" has an escape \\u that is no character; correct its digits"},
    {"t", "\"\\ud83d\"", "\"\\ud83d\" has an escape \\u that is no character; correct its digits"},
    {"t", "\"\\ud83d\\ue000\"",
     "\"\\ud83d\\ue000\" has an escape \\u that is no character; correct its digits"},
    {"t", "\"\\udc00\\ud83d\"",
     "\"\\udc00\\ud83d\" has an escape \\u that is no character; correct its digits"},
    {"t", "(left)",
     "an interval has two dots between its ends; write it as [1..5], and quote text that begins with a "
     "bracket"},
    {"n", "[1,5]",
     "an interval has two dots between its ends; write it as [1..5], and quote text that begins with a "
     "bracket"},
    {"n", "[1..5",
     "the interval is not closed; end it with ] to take the last value in, with ) to leave it out"},
    {"n", "[5..1]", "the interval [5..1] has its ends the wrong way round; swap them"},
    {"t", "(\"b\"..\"a\")", "the interval (\"b\"..\"a\") has its ends the wrong way round; swap them"},
    {"n", "1..5",
     "\"1..5\" has the dots of an interval without its brackets; write [1..5], or quote it to mean the "
     "text"},
    {"t", "= A", "\"= A\" is no test; for equal write the value alone, for not equal not(value)"},
    {"n", "!= 5", "\"!= 5\" is no test; for equal write the value alone, for not equal not(value)"},
    {"n", "matches(?, \"1\")", "matches searches text and this column is a number; compare its values instead"},
    {"t", "matches(\"1\")", "matches is not written so; write matches(?, \"pattern\")"},
    {"t", "matches(? \"a\")", "matches is not written so; write matches(?, \"pattern\")"},
    {"t", "matches(?, abc)", "matches is not written so; write matches(?, \"pattern\")"},
    {"t", "matches(?, \"a\"", "matches is not written so; write matches(?, \"pattern\")"},
    {"t", "matches(?, \"a", "the quote \"a is not closed; end it with \""},
    {"t", "matches(?, \"a(\")",
     "the pattern is wrong at its character 3: missing closing parenthesis; correct it"},
    {"t", "matches(?, \"\\C\")",
     "the pattern is wrong at its character 3: using \\C is disabled by the application; "
     "correct it"},
    {"t", "matches(?, \"\\ud800\")", "the pattern has an escape \\u that is no character; correct its digits"},
};

static void test_mistakes(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof MISTAKES / sizeof *MISTAKES; i++) {
        const struct mistake *mistake = &MISTAKES[i];
        struct buffer csv = BUFFER_EMPTY;
        struct kit kit;
        char expected[1024];

        buffer_format(&csv, "F,%s,>x\nrow,", mistake->fact);
        kit_add_cell(&csv, mistake->cell);
        buffer_add(&csv, ",1\n\0", 4);
        kit_start(&kit, csv.bytes, (struct table_rules){.policies = HIT_ALL_POLICIES});
        snprintf(expected, sizeof expected, "t.csv:2:2: %s\n", mistake->message);
        assert_string_equal(kit.capture.text, expected);
        assert_int_equal(kit.status, WM_BAD_INPUT);
        kit_end(&kit);
        buffer_free(&csv);
    }
}

/* --- Conditions by themselves -------------------------------------------------------------------------- */

static struct condition *compile_condition(struct arena *arena, const char *cell, enum value_type type)
{
    struct capture capture;
    struct condition *condition = NULL;

    capture_start(&capture);
    int status = condition_compile(arena, text_of(cell), type, false, (struct place){TEXT("t.csv"), 1, 1},
                                   &capture.sink, &condition);
    assert_string_equal(capture.text, "");
    assert_int_equal(status, WM_OK);
    return condition;
}

static void test_condition(void **state)
{
    struct arena arena = ARENA_EMPTY;
    struct table_scratch *scratch;
    (void)state;

    assert_int_equal(table_scratch_new(&scratch), WM_OK);
    struct condition *range = compile_condition(&arena, "[22..28]", VALUE_NUMBER);
    assert_int_equal(condition_test(range, value_integer(28), NULL), HOLDS);
    assert_int_equal(condition_test(range, value_integer(29), NULL), FAILS);
    assert_int_equal(condition_test(range, value_null(), NULL), NEITHER);
    struct condition *word = compile_condition(&arena, "ok, engine, matches(?, \"^x\")", VALUE_TEXT);
    assert_int_equal(condition_test(word, value_text(TEXT("engine")), scratch), HOLDS); /* names no fact here */
    assert_int_equal(condition_test(word, value_text(TEXT("xy")), scratch), HOLDS);
    assert_int_equal(condition_test(word, value_text(TEXT("leak")), scratch), FAILS);
    assert_int_equal(condition_cell(word)->test_count, 3);
    assert_true(text_is(pattern_source(condition_cell(word)->tests[2].pattern), "^x"));
    condition_free(word);
    condition_free(word); /* harmless */
    condition_free(NULL);

    struct capture capture;
    capture_start(&capture);
    struct condition *wrong;
    assert_int_equal(condition_compile(&arena, TEXT("<= limit"), VALUE_NUMBER, false,
                                       (struct place){TEXT("i.csv"), 3, 4}, &capture.sink, &wrong),
                     WM_BAD_INPUT);
    assert_string_equal(capture.text,
                        "i.csv:3:4: \"limit\" is not a number; write digits, such as 12 or -0.5\n");
    table_scratch_free(scratch);
    arena_free(&arena);
}

/* Fractions compare exactly, where a decimal would be rounded: 1/3 is neither 0.333333 nor 0.333334. */
static void test_fractions(void **state)
{
    static const struct {
        const char *cell;
        int64_t numerator, denominator;
        enum truth expected;
    } cases[] = {
        {"> 0.333333", 1000000, 3, HOLDS},
        {"<= 0.333333", 1000000, 3, FAILS},
        {"< 0.333334", 1000000, 3, HOLDS},
        {"0.5", 1000000, 2, HOLDS},
        {"[0.333333..0.333334]", 1000000, 3, HOLDS},
        {"not(0.333333)", 1000000, 3, HOLDS},
        {"-0.5", -1000000, 2, HOLDS},
        {"< -0.333333", -1000000, 3, HOLDS},
        {"null", 1000000, 2, FAILS},
        {"-", 1000000, 2, HOLDS},
        {"< 9000000000000", INT64_MAX, 1, FAILS},
    };
    struct arena arena = ARENA_EMPTY;
    (void)state;

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct condition *condition = compile_condition(&arena, cases[i].cell, VALUE_NUMBER);
        assert_int_equal(condition_test_fraction(condition, cases[i].numerator, cases[i].denominator),
                         cases[i].expected);
    }
    /* beyond what 128 bits hold of the product */
    __int128 huge = (__int128)1 << 120;
    assert_int_equal(condition_test_fraction(compile_condition(&arena, "< 1000000", VALUE_NUMBER), huge, huge),
                     HOLDS);
    assert_int_equal(
        condition_test_fraction(compile_condition(&arena, "> -1000000", VALUE_NUMBER), -huge, huge), HOLDS);
    arena_free(&arena);
}

/* A pattern that backtracks without end is given up in milliseconds and never decides. */
static void test_pattern_limit(void **state)
{
    static const char subject[] = "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaab";
    struct arena arena = ARENA_EMPTY;
    struct table_scratch *scratch;
    struct kit kit;
    char room[512];
    (void)state;

    assert_int_equal(table_scratch_new(&scratch), WM_OK);
    struct condition *condition = compile_condition(&arena, "matches(?, \"^(a|aa)+$\")", VALUE_TEXT);
    assert_int_equal(condition_test(condition, value_text(text_of(subject)), scratch), NEITHER);
    assert_int_equal(condition_test(condition, value_text(TEXT("aaa")), scratch), HOLDS);
    condition_free(condition);
    table_scratch_free(scratch);
    arena_free(&arena);

    kit_good(&kit, "F,t,>x\nfirst,zz,1\nslow,\"matches(?, \"\"^(a|aa)+$\"\")\",2\n");
    char facts[128];
    snprintf(facts, sizeof facts, "t=%s", subject);
    assert_string_equal(kit_decide(&kit, facts, room), "! given-up slow slow");
    assert_string_equal(kit_decide(&kit, "t=aa", room), "slow");
    kit_end(&kit);

    kit_good(&kit, "F,t,>x\nslow,\"matches(?, \"\"^(a|aa)+$\"\"), matches(?, \"\"b\"\")\",2\n");
    assert_string_equal(kit_decide(&kit, facts, room), "slow"); /* one test of the list holds */
    kit_end(&kit);
}

/* A long text that a pattern goes through step by step needs more stack than the compiled pattern is given: the
 * interpreter takes over, which has an end to its depth too. */
static void test_pattern_depth(void **state)
{
    static const struct {
        size_t length;
        enum truth expected;
    } cases[] = {{3000, HOLDS}, {60000, NEITHER}};
    static char subject[60000];
    struct arena arena = ARENA_EMPTY;
    struct table_scratch *scratch;
    (void)state;

    memset(subject, 'a', sizeof subject);
    assert_int_equal(table_scratch_new(&scratch), WM_OK);
    struct condition *condition = compile_condition(&arena, "matches(?, \"^(?:(a)|(b)|(c))*$\")", VALUE_TEXT);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_int_equal(condition_test(condition, value_text((struct text){subject, cases[i].length}), scratch),
                         cases[i].expected);
    condition_free(condition);
    table_scratch_free(scratch);
    table_scratch_free(NULL);
    pattern_work_free(NULL);
    arena_free(&arena);
}

/* Two rows of a table of several words: the row that is named is the one whose pattern is given up. */
static void test_pattern_limit_of_a_large_table(void **state)
{
    struct buffer csv = BUFFER_EMPTY;
    struct kit kit;
    char room[512];
    (void)state;

    buffer_add_string(&csv, "C,n,t,>x\n");
    for (int r = 0; r < 70; r++)
        buffer_format(&csv, "r%d,%d,%s,1\n", r, r, r == 66 ? "\"matches(?, \"\"^(a|aa)+$\"\")\"" : "-");
    buffer_add_byte(&csv, '\0');
    kit_good(&kit, csv.bytes);
    assert_string_equal(
        kit_decide(&kit, "n=66 t=aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaab", room), "! given-up r66 r66");
    assert_string_equal(kit_decide(&kit, "n=66 t=aa", room), "r66");
    assert_string_equal(kit_decide(&kit, "n=66 t=ab", room), "none");
    assert_string_equal(kit_decide(&kit, "n=65 t=ab", room), "r65");
    assert_string_equal(kit_decide(&kit, "n=70 t=ab", room), "none");
    kit_end(&kit);
    buffer_free(&csv);
}

/* One step through quoted text: what it stands for and what it takes. */
static void test_unescape_next(void **state)
{
    static const struct {
        const char *inside;
        size_t at, taken;
        const char *bytes;
        bool escaped;
    } cases[] = {
        {"ab", 1, 1, "b", false},      {"a\\nb", 1, 2, "\n", true},     {"\\t", 0, 2, "\t", true},
        {"\\x", 0, 1, "\\", false},   {"a\\", 1, 1, "\\", false}, /* nothing stands behind it */
        {"\\u0041", 0, 6, "A", true}, {"\\ud83d\\ude00", 0, 12, "\xf0\x9f\x98\x80", true},
    };
    (void)state;

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct unescaped next;
        assert_int_equal(unescape_next(text_of(cases[i].inside), cases[i].at, &next), WM_OK);
        assert_int_equal(next.taken, cases[i].taken);
        assert_true(text_is((struct text){next.bytes, next.length}, cases[i].bytes));
        assert_int_equal(next.escaped, cases[i].escaped);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_any),           cmocka_unit_test(test_literals),
        cmocka_unit_test(test_escapes),       cmocka_unit_test(test_orderings),
        cmocka_unit_test(test_intervals),     cmocka_unit_test(test_lists),
        cmocka_unit_test(test_matches),       cmocka_unit_test(test_any_case),
        cmocka_unit_test(test_null_matrix),   cmocka_unit_test(test_mistakes),
        cmocka_unit_test(test_condition),     cmocka_unit_test(test_fractions),
        cmocka_unit_test(test_pattern_limit), cmocka_unit_test(test_pattern_limit_of_a_large_table),
        cmocka_unit_test(test_pattern_depth), cmocka_unit_test(test_unescape_next),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
