/* Whole tables: hit policies, header, rows, values, outputs and their places, and every message about them.
 *
 * Source of the hit policies: DMN 1.5, 8.2.10. */
#include "table_kit.h"

struct decision {
    const char *facts;
    const char *expected; /* as kit_decide writes it */
};

static void check_decisions(const char *csv, const struct decision *decisions, size_t count)
{
    struct kit kit;
    char room[512];

    kit_good(&kit, csv);
    for (size_t i = 0; i < count; i++) {
        const char *decided = kit_decide(&kit, decisions[i].facts, room);
        if (strcmp(decided, decisions[i].expected) != 0)
            fail_msg("%swith %s: %s, expected %s", csv, decisions[i].facts, decided, decisions[i].expected);
    }
    kit_end(&kit);
}

#define CHECK(csv, ...)                                                          \
    do {                                                                         \
        static const struct decision decisions[] = {__VA_ARGS__};                \
        check_decisions((csv), decisions, sizeof decisions / sizeof *decisions); \
    } while (0)

/* --- Hit policies -------------------------------------------------------------------------------------- */

/* U: no overlap may be met. */
static void test_unique(void **state)
{
    (void)state;
    CHECK("U,n,t,>x\n"
          "a,< 5,-,1\n"
          "b,>= 5,A,2\n"
          "c,[5..7],-,3\n",
          {"n=4", "a"}, {"n=8 t=A", "b"}, {"n=6", "c"}, {"n=6 t=A", "! two-hits b c"}, {"n=8", "none"},
          {"", "none"});
}

/* A: overlaps agree. Numbers compare as numbers, a text with places as its reader sees it. */
static void test_any(void **state)
{
    (void)state;
    CHECK("A,n,>x,>y\n"
          "a,< 5,1.50,p\n"
          "b,< 3,1.5,p\n"
          "c,< 1,1.5,q\n",
          {"n=4", "a"}, {"n=2", "a"}, {"n=0", "! outputs-differ a c"}, {"n=9", "none"});
    CHECK("A,n,>x\na,-,{m} left\nb,-,7 left\nc,< 5,{m} left\n", {"n=4 m=7", "a"},
          {"n=4 m=8", "! outputs-differ a b"}, {"n=9 m=7", "a"});
    CHECK("A,n,>x,>y\na,-,{m} left,1\nb,-,7 left,1\nc,> 5,7 left,2\n", {"n=4 m=7", "a"},
          {"n=9 m=7", "! outputs-differ a c"}, {"n=4", "! outputs-differ a b"});
    CHECK("A,n,>x\na,-,{m} left\nb,-,{n} left\n", {"n=4 m=4", "a"}, {"n=4 m=5", "! outputs-differ a b"});
    CHECK("A,n,>x\na,-,\nb,-,{t}\n", {"t=x", "! outputs-differ a b"});
    CHECK("A,n,>x\na,-,p\nb,-,\n", {"", "! outputs-differ a b"});
    CHECK("A,n,>x\na,-,{n}\nb,-,\"\"\"\\u007bn}\"\"\"\n", {"n=5", "! outputs-differ a b"}); /* a place, and its looks */
}

/* By its rows alone, without facts: texts with places as written. */
static void test_hits_of_rows(void **state)
{
    struct kit kit;
    struct table_hits hits;
    uint64_t rows = 7;
    (void)state;

    kit_good(&kit, "A,n,>x\na,-,{m}\nb,-,{m}\nc,-,{n}\n");
    assert_int_equal(table_hits(kit.table, &rows, kit.scratch, &hits), WM_OK);
    assert_int_equal(hits.fault, TABLE_OUTPUTS_DIFFER);
    assert_int_equal(hits.first_row, 0);
    assert_int_equal(hits.second_row, 2);
    rows = 6;
    assert_int_equal(table_hits(kit.table, &rows, kit.scratch, &hits), WM_OK);
    assert_int_equal(hits.second_row, 2);
    rows = 2;
    assert_int_equal(table_hits(kit.table, &rows, kit.scratch, &hits), WM_OK);
    assert_int_equal(hits.fault, TABLE_OK);
    assert_int_equal(hits.count, 1);
    assert_int_equal(hits.rows[0], 1);
    kit_end(&kit);
}

/* P: the hit whose output stands first in values; outputs from left to right, then row order. */
static void test_priority(void **state)
{
    (void)state;
    CHECK("P,n,>x,>y,>z\n"
          "values,-,\"high, low\",,\"2, 1\"\n"
          "a,-,low,p,2\n"
          "b,> 1,high,p,1\n"
          "c,> 2,high,q,2\n"
          "d,> 3,high,r,2\n",
          {"n=1", "a"}, {"n=2", "b"}, {"n=3", "c"}, {"n=4", "c"}, {"", "a"});
    CHECK("P,n,>x\nvalues,-,\"\"\"a,b\"\", null\"\nr,-,\ns,> 1,\"\"\"a,b\"\"\"\n", {"n=1", "r"}, {"n=2", "s"});
}

/* F: the first hit in row order. */
static void test_first(void **state)
{
    (void)state;
    CHECK("F,n,>x\na,> 5,1\nb,> 3,2\nc,-,3\n", {"n=6", "a"}, {"n=4", "b"}, {"n=1", "c"}, {"", "c"});
}

/* R: all hits, in row order. */
static void test_rule_order(void **state)
{
    (void)state;
    CHECK("R,n,>x\na,> 5,9\nb,> 3,8\nc,> 1,7\n", {"n=6", "a b c"}, {"n=4", "b c"}, {"n=1", "none"});
}

/* O: all hits, in the order of values. */
static void test_output_order(void **state)
{
    (void)state;
    CHECK("O,n,>x,>y\nvalues,,\"7,8,9\",\n"
          "a,> 5,9,p\nb,> 3,8,q\nc,> 1,7,r\nd,> 1,8,s\n",
          {"n=6", "c b d a"}, {"n=4", "c b d"}, {"n=2", "c d"}, {"n=1", "none"});
}

/* C: all hits; the contract lists them in row order. */
static void test_collect(void **state)
{
    (void)state;
    CHECK("C,n,>x\na,> 5,9\nb,> 3,9\nc,> 1,7\n", {"n=6", "a b c"}, {"n=1", "none"}, {"", "none"});
}

/* C+ C< C> C#: one value of all hits; none without a hit. */
static void test_aggregates(void **state)
{
    (void)state;
    CHECK("C+,n,>x\na,> 5,1.5\nb,> 3,-.25\nc,> 1,7\n", {"n=6", "a b c = 8.25"}, {"n=2", "c = 7"},
          {"n=1", "none"});
    CHECK("C<,n,>x\na,> 5,1.5\nb,> 3,-.25\nc,> 1,7\n", {"n=6", "a b c = -0.25"}, {"n=2", "c = 7"},
          {"n=1", "none"});
    CHECK("C>,n,>x\na,> 5,1.5\nb,> 3,-.25\nc,> 1,7\n", {"n=6", "a b c = 7"}, {"n=1", "none"});
    CHECK("C<,n,>x\na,> 5,2026-03-01\nb,> 3,2026-02-01\n", {"n=6", "a b = 2026-02-01"}, {"n=1", "none"});
    CHECK("C>,n,>x\na,> 5,2026-03-01\nb,> 3,2026-02-01\n", {"n=6", "a b = 2026-03-01"});
    CHECK("C#,n,>x\na,> 5,p\nb,> 3,p\nc,> 1,\n", {"n=6", "a b c = 3"}, {"n=4", "b c = 2"}, {"n=1", "none"});
    CHECK("C+,n,>x\na,-,9000000000000\nb,> 1,9000000000000\nc,> 2,-9000000000000\n",
          {"n=1", "a = 9000000000000"}, {"n=2", "! too-large a b"}, {"n=3", "a b c = 9000000000000"});
    CHECK("C+,n,>x\na,-,-9000000000000\nb,> 1,-9000000000000\nc,> 2,9000000000000\n",
          {"n=1", "a = -9000000000000"}, {"n=2", "! too-large a b"}, {"n=3", "a b c = -9000000000000"});
    CHECK("C+,n,>x\na,-,9223372036854.775807\nb,> 1,0.000001\nc,> 2,-0.000001\n", /* the last number there is */
          {"n=1", "a = 9223372036854.775807"}, {"n=2", "! too-large a b"}, {"n=3", "a b c = 9223372036854.775807"});
}

static void test_policy_names(void **state)
{
    static const char *const names[] = {"U", "A", "P", "F", "R", "O", "C", "C+", "C<", "C>", "C#"};
    (void)state;

    for (unsigned p = 0; p < sizeof names / sizeof *names; p++) {
        char csv[64];
        struct kit kit;
        snprintf(csv, sizeof csv, "%s,n,>x\nvalues,,1\na,-,1\n", names[p]);
        kit_good(&kit, csv);
        assert_int_equal(table_policy(kit.table), p);
        kit_end(&kit);
    }
}

/* --- What a table says of itself ----------------------------------------------------------------------- */

static void test_accessors(void **state)
{
    struct kit kit;
    uint32_t count;
    (void)state;

    kit_good(&kit, "\xef\xbb\xbf# a comment before the header, of any width,,,,\r\n"
                   "O , n ,#why, > x , >y, late_t\r\n"
                   "type,number,, ,text,\r\n"
                   "\r\n"
                   "values,\"[0..9], null\",,\"2, 1\",,\r\n"
                   ",,,,,\r\n"
                   "# comment\r\n"
                   " first , \"1, 2\" ,because, 1 , \"see {n}\" ,\r\n"
                   "\"second\",-,\"a\nb\",2,\"\"\"{n} \\u007bn}\"\"\",\"matches(?, \"\"a\"\")\"\r\n"
                   "\"#x\",-,-,,,,,,,\r\n"
                   "third,\"> 3\",,2,null,\r\n");
    struct table *table = kit.table;
    assert_true(text_is(table_file(table), "t.csv"));
    assert_int_equal(table_policy(table), HIT_OUTPUT_ORDER);
    assert_int_equal(table_row_count(table), 3);
    assert_int_equal(table_set_words(table), 1);
    assert_true(text_is(table_row_name(table, 0), "first"));
    assert_int_equal(table_row_line(table, 0), 8);
    assert_true(text_is(table_row_name(table, 1), "second"));
    assert_int_equal(table_row_line(table, 1), 9);
    assert_int_equal(table_row_line(table, 2), 12);
    assert_int_equal(table_condition_count(table), 2);
    assert_true(text_is(table_condition_name(table, 0), "n"));
    assert_true(text_is(table_condition_name(table, 1), "late_t"));
    assert_int_equal(table_condition_column(table, 0), 2);
    assert_int_equal(table_condition_column(table, 1), 6);
    assert_true(table_condition_fact(table, 1).late);
    assert_true(text_is(table_condition_cell(table, 0, 0), "1, 2"));
    assert_int_equal(table_condition_test(table, 0, 0)->test_count, 2);
    assert_int_equal(table_condition_test(table, 0, 2)->tests[0].kind, TEST_RANGE);
    assert_true(table_condition_test(table, 0, 1)->any);
    assert_int_equal(table_condition_domain(table, 0)->test_count, 2);
    assert_null(table_condition_domain(table, 1));
    assert_int_equal(table_output_count(table), 2);
    assert_true(text_is(table_output_name(table, 0), "x"));
    assert_int_equal(table_output_named(table, "y"), 1);
    assert_int_equal(table_output_named(table, "z"), -1);
    assert_int_equal(table_output_column(table, 0), 4);
    assert_int_equal(table_output_type(table, 0), VALUE_NUMBER);
    assert_int_equal(table_output_type(table, 1), VALUE_TEXT);
    assert_int_equal(table_output_values(table, 0, &count)[1].number, 1000000);
    assert_int_equal(count, 2);
    assert_null(table_output_values(table, 1, &count));
    assert_int_equal(count, 0);
    assert_int_equal(table_row_priority(table, 0), 2);
    assert_int_equal(table_row_priority(table, 1), 0);
    assert_true(table_output_has_places(table, 0, 1));
    assert_true(text_is(value_as_text(table_output(table, 0, 1)), "see {n}"));
    assert_true(text_is(value_as_text(table_output(table, 1, 1)), "{n} {n}"));
    assert_true(table_output_has_places(table, 1, 1));
    assert_false(table_output_has_places(table, 1, 0));
    assert_int_equal(table_output(table, 2, 1).type, VALUE_NULL);
    assert_false(table_output_has_places(table, 2, 1));
    assert_int_equal(table_output_place_count(table, 1, 1), 1);
    assert_true(text_is(table_output_place(table, 1, 1, 0)->name, "n"));
    assert_null(table_output_place(table, 1, 1, 1));
    assert_int_equal(table_output_place_count(table, 2, 1), 0);
    assert_null(table_output_place(table, 2, 1, 0));
    assert_true(table_is_late(table));
    assert_false(table_is_classable(table));
    kit_end(&kit);

    kit_good(&kit, "F,n,>x\na,-,1\nb,-,2\n"); /* without priorities they are in the order of the rows */
    assert_int_equal(table_row_priority(kit.table, 1), 1);
    kit_end(&kit);
}

/* A table without conditions always hits; one without rows never. */
static void test_edges(void **state)
{
    (void)state;
    CHECK("C,>x\na,1\nb,2\n", {"", "a b"});
    CHECK("U,n,>x\n", {"n=1", "none"});
    CHECK("U,n,>x\na,5,1", {"n=5", "a"});
    CHECK("F,n,#,#,>n\na,-,,,1\n", {"", "a"}); /* annotations need no name; an output may have a fact's */
}

/* --- Stages -------------------------------------------------------------------------------------------- */

static void test_stages(void **state)
{
    struct kit kit;
    uint64_t rows;
    uint32_t row;
    (void)state;

    kit_good(&kit, "C,n,late_n,t,>x\n"
                   "a,1,-,-,1\n"
                   "b,-,2,-,2\n"
                   "c,-,-,\"matches(?, \"\"q\"\")\",3\n"
                   "d,< late_n,-,-,4\n");
    kit_facts(&kit, "n=1 t=x");
    table_match_early(kit.table, kit.facts, &rows);
    assert_int_equal(rows, 0xf); /* what early classes cannot rule out */
    kit_facts(&kit, "n=1 late_n=2 t=x");
    assert_int_equal(table_match_late(kit.table, kit.facts, kit.scratch, &rows, &row), WM_OK);
    assert_int_equal(rows, 0xb);
    kit_facts(&kit, "n=2");
    table_match_early(kit.table, kit.facts, &rows);
    assert_int_equal(rows, 0xe);
    assert_int_equal(table_match_late(kit.table, kit.facts, kit.scratch, &rows, &row), WM_OK);
    assert_int_equal(rows, 0);
    assert_true(table_is_late(kit.table));
    kit_end(&kit);

    kit_good(&kit, "C,n,late_n,>x\na,1,-,1\n");
    assert_false(table_is_late(kit.table)); /* a column of - waits for nothing */
    assert_true(table_is_classable(kit.table));
    kit_end(&kit);
    kit_good(&kit, "C,n,>x\na,1,{late_n}\n");
    assert_true(table_is_late(kit.table)); /* its text can be written only when the fact is known */
    kit_end(&kit);
    kit_good(&kit, "C,n,>x\na,late_n,1\n");
    assert_true(table_is_late(kit.table));
    kit_end(&kit);
}

/* m and u are facts of an item that every item of its kind has (steady), t is an item's own. */
static bool find_of_item(void *context, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                         struct text *ret_nearest)
{
    if (!kit_find(context, name, declared, ret_fact, ret_nearest))
        return false;
    ret_fact->steady = text_is(name, "m") || text_is(name, "u");
    ret_fact->of_item = ret_fact->steady || text_is(name, "t");
    return true;
}

/* In two steps, claim and item, or in three, where what the steady facts leave is known already: what is left is what
 * early facts leave at once. One word of rows, and two. */
static void test_item_stages(void **state)
{
    static const char rows[] = "a,1,-,-,-,-,1\nb,-,2,-,-,-,2\nc,-,-,A,-,-,3\nd,-,-,-,B,-,4\ne,-,-,-,-,5,5\n";
    static const struct {
        const char *facts;
        uint64_t shared, steady, item, late;
    } cases[] = {
        {"n=1 m=2 t=A u=B late_n=5", 0x1f, 0x1f, 0x1f, 0x1f}, {"n=2 m=2 t=A u=B late_n=5", 0x1e, 0x1f, 0x1e, 0x1e},
        {"n=1 m=3 t=A u=B late_n=5", 0x1f, 0x1d, 0x1d, 0x1d}, {"n=1 m=2 t=C u=B late_n=5", 0x1f, 0x1f, 0x1b, 0x1b},
        {"n=1 m=2 t=A u=D late_n=5", 0x1f, 0x17, 0x17, 0x17}, {"n=1 m=2 t=A u=B late_n=6", 0x1f, 0x1f, 0x1f, 0x0f},
        {"n=3 m=3 t=D u=D late_n=6", 0x1e, 0x15, 0x10, 0x00},
    };
    struct fact_source source = {NULL, find_of_item};
    (void)state;

    for (uint32_t words = 1; words <= 2; words++) {
        struct buffer csv = BUFFER_EMPTY;
        struct kit kit;
        buffer_format(&csv, "C,n,m,t,u,late_n,>x\n%s", rows);
        for (int r = 0; r < 60 && words == 2; r++)
            buffer_format(&csv, "r%d,9,-,-,-,-,1\n", r);
        kit_start(&kit, "U,>x\n", (struct table_rules){.policies = HIT_ALL_POLICIES});
        assert_int_equal(table_compile(&kit.arena, TEXT("t.csv"), buffer_text(&csv),
                                       (struct table_rules){.policies = HIT_ALL_POLICIES}, &source, &kit.capture.sink,
                                       &kit.table),
                         WM_OK);
        assert_int_equal(table_set_words(kit.table), words);
        for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
            uint64_t shared[2] = {0}, steady[2] = {0}, item[2] = {0}, early[2] = {0};
            uint32_t row;
            kit_facts(&kit, cases[i].facts);
            table_match_shared(kit.table, kit.facts, shared);
            assert_int_equal(shared[0] & 0x1f, cases[i].shared);
            table_match_steady(kit.table, kit.facts, steady);
            assert_int_equal(steady[0] & 0x1f, cases[i].steady);
            table_match_item(kit.table, kit.facts, shared, item);
            assert_int_equal(item[0], cases[i].item);
            assert_int_equal(item[1], 0);
            table_match_early(kit.table, kit.facts, early);
            assert_memory_equal(early, item, sizeof early);
            for (uint32_t w = 0; w < words; w++)
                shared[w] &= steady[w];
            table_match_rest(kit.table, kit.facts, shared);
            assert_memory_equal(shared, item, sizeof shared);
            assert_int_equal(table_match_late(kit.table, kit.facts, kit.scratch, item, &row), WM_OK);
            assert_int_equal(item[0], cases[i].late);
        }
        kit_end(&kit);
        buffer_free(&csv);
    }
}

static void test_misses(void **state)
{
    struct kit kit;
    uint32_t failing;
    (void)state;

    kit_good(&kit, "C,n,t,d,>x\na,1,A,2026-01-01,1\n");
    kit_facts(&kit, "n=1 t=B");
    assert_int_equal(table_row_misses(kit.table, 0, kit.facts, kit.scratch, &failing), 1);
    assert_int_equal(failing, 2);
    kit_facts(&kit, "n=1 t=A d=2026-01-01");
    assert_int_equal(table_row_misses(kit.table, 0, kit.facts, kit.scratch, &failing), -1);
    assert_int_equal(failing, 0);
    kit_end(&kit);
}

/* Values of one class hit the same rows, and values that no cell tells apart are of one class. */
static void test_classes(void **state)
{
    struct kit kit;
    (void)state;

    kit_good(&kit, "C,n,t,d,>x\na,\"[2010..2014], 7\",A,-,1\nb,> 2012,\"not(A, B)\",-,2\n");
    const struct table *table = kit.table;
    struct value year[] = {value_integer(2010), value_integer(2011), value_integer(2012),   value_integer(2013),
                           value_integer(2015), value_integer(7),    value_number(6999999), value_null(),
                           value_number(2011500000)};
    uint32_t classes[9];
    for (int i = 0; i < 9; i++)
        classes[i] = table_class(table, 0, year[i]);
    assert_int_equal(classes[0], classes[1]);
    assert_int_equal(classes[0], classes[2]);
    assert_int_not_equal(classes[2], classes[3]);
    assert_int_not_equal(classes[3], classes[4]);
    assert_int_equal(classes[5], classes[0]);
    assert_int_not_equal(classes[6], classes[5]);
    assert_int_equal(classes[6], classes[7]); /* a gap and null: neither hits any row */
    assert_int_equal(classes[8], classes[1]); /* between whole numbers */
    assert_int_equal(table_class(table, 1, value_text(TEXT("C"))),
                     table_class(table, 1, value_text(TEXT("D"))));
    assert_int_equal(table_class(table, 1, value_text(TEXT("C"))), table_class(table, 1, value_null()));
    assert_int_not_equal(table_class(table, 1, value_text(TEXT("A"))),
                         table_class(table, 1, value_text(TEXT("B"))));
    assert_int_equal(table_class(table, 2, value_date(1)), table_class(table, 2, value_null()));
    assert_true(table_is_classable(table));
    kit_end(&kit);
}

/* --- Outputs ------------------------------------------------------------------------------------------- */

/* The type of an output that nobody declares is what all its cells look like. */
static void test_output_types(void **state)
{
    static const struct {
        const char *rows;
        enum value_type type;
        const char *first;
    } cases[] = {
        {"a,1.50\nb,-.5\n", VALUE_NUMBER, "1.5"},
        {"a,1.50\nb,\nc,null\n", VALUE_NUMBER, "1.5"},
        {"a,007\nb,1\n", VALUE_TEXT, "007"},
        {"a,0\nb,0.5\n", VALUE_NUMBER, "0"},
        {"a,-01\n", VALUE_TEXT, "-01"},
        {"a,1\nb,x\n", VALUE_TEXT, "1"},
        {"a,1\nb,\"\"\"2\"\"\"\n", VALUE_TEXT, "1"},
        {"a,2026-03-01\nb,\"date(\"\"2026-03-02\"\")\"\n", VALUE_DATE, "2026-03-01"},
        {"a,2026-03-01\nb,2026-02-30\n", VALUE_TEXT, "2026-03-01"},
        {"a,true\nb,false\n", VALUE_BOOLEAN, "true"},
        {"a,true\nb,TRUE\n", VALUE_TEXT, "true"},
        {"a,\nb,\n", VALUE_TEXT, ""},
        {"values,\"1,2\"\na,1\n", VALUE_NUMBER, "1"},
        {"values,\"1,x\"\na,1\n", VALUE_TEXT, "1"},
        {"type,text\na,1.50\n", VALUE_TEXT, "1.50"},
        {"type,boolean\na,true\n", VALUE_BOOLEAN, "true"},
    };
    (void)state;

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct buffer csv = BUFFER_EMPTY, out = BUFFER_EMPTY;
        struct kit kit;
        buffer_format(&csv, "F,>x\n%s", cases[i].rows);
        buffer_add_byte(&csv, '\0');
        kit_good(&kit, csv.bytes);
        assert_int_equal(table_output_type(kit.table, 0), cases[i].type);
        table_output_write(kit.table, 0, 0, kit.facts, &out);
        assert_true(text_is(buffer_text(&out), cases[i].first));
        kit_end(&kit);
        buffer_free(&csv);
        buffer_free(&out);
    }
}

static void test_known_outputs(void **state)
{
    static const struct output_type outputs[] = {{"quantity", VALUE_NUMBER}, {"kit", VALUE_TEXT}};
    struct table_rules rules = {HIT_ALL_POLICIES, false, outputs, 2};
    struct kit kit;
    (void)state;

    kit_start(&kit, "U,>kit,>quantity\ntype,,number\na,77,\n", rules);
    assert_string_equal(kit.capture.text, "");
    assert_int_equal(table_output_type(kit.table, 0), VALUE_TEXT);
    assert_int_equal(table_output_type(kit.table, 1), VALUE_NUMBER);
    kit_end(&kit);
    kit_start(&kit, "U,>kit,>quantity\ntype,number,\na,77,x\n", rules);
    assert_string_equal(kit.capture.text,
                        "t.csv:2:2: the output \"kit\" is a text; leave this cell empty\n"
                        "t.csv:3:3: \"x\" is not a number; write digits, such as 12 or -0.5\n");
    kit_end(&kit);
}

/* Texts: quotes optional, escapes in quoted text, places in both. */
static void test_output_texts(void **state)
{
    static const struct {
        const char *cell, *facts, *expected;
    } cases[] = {
        {"plain, with (brackets) and a \"quote\"", "", "plain, with (brackets) and a \"quote\""},
        {"\"quoted\"", "", "quoted"},
        {"\" kept blanks \"", "", " kept blanks "},
        {"\"a\\nb \\u00e9 \\\"c\\\" \\d\"", "", "a\nb \xc3\xa9 \"c\" \\d"},
        {"bare \\n stays", "", "bare \\n stays"},
        {"{n} of {m}", "n=1.50 m=-.25", "1.5 of -0.25"},
        {"{n}", "m=1", ""},
        {"[{n}] {t}, {d} {b}", "t=A d=2026-03-01 b=true", "[] A, 2026-03-01 true"},
        {"{ n } and {\tm}", "n=1 m=2", "1 and 2"},
        {"\"{t}\\t{u}\"", "t=x u=y", "x\ty"},
        {"{1} {} { {, }", "", "{1} {} { {, }"},
        {"{^n} {@n} {[n} {`n} {{", "", "{^n} {@n} {[n} {`n} {{"}, /* what no name begins with */
        {"\"a {  \"", "", "a {  "},
        {"\"\\u007bn} {n}\"", "n=5", "{n} 5"},
        {"{late_n}", "late_n=3", "3"},
        {"\"null\"", "", "null"},
        {"\"\"", "", ""},
    };
    (void)state;

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct buffer csv = BUFFER_EMPTY, out = BUFFER_EMPTY;
        struct kit kit;
        buffer_add_string(&csv, "F,>x\ntype,text\na,");
        kit_add_cell(&csv, cases[i].cell);
        buffer_add(&csv, "\n\0", 2);
        kit_good(&kit, csv.bytes);
        kit_facts(&kit, cases[i].facts);
        table_output_write(kit.table, 0, 0, kit.facts, &out);
        assert_int_equal(table_output_has_places(kit.table, 0, 0), cases[i].facts[0] != '\0');
        if (!text_is(buffer_text(&out), cases[i].expected))
            fail_msg("%s: %.*s", cases[i].cell, TEXT_ARGUMENTS(buffer_text(&out)));
        kit_end(&kit);
        buffer_free(&csv);
        buffer_free(&out);
    }
}

/* --- Types of conditions ------------------------------------------------------------------------------- */

static bool find_declared(void *context, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                          struct text *ret_nearest)
{
    (void)context, (void)name;
    *ret_fact = (struct fact_ref){.slot = 0, .type = declared};
    if (ret_nearest != NULL)
        *ret_nearest = (struct text){"", 0};
    return declared != VALUE_NULL;
}

/* A fact that the dictionary lacks has its type from the type row, also where another cell names it. */
static void test_declared_types(void **state)
{
    const struct fact_source source = {NULL, find_declared};
    struct arena arena = ARENA_EMPTY;
    struct capture capture;
    struct table *table;
    (void)state;

    capture_start(&capture);
    int status = table_compile(
        &arena, TEXT("t.csv"), TEXT("F,p,q,r,>x\ntype,date,number,number,\na,2026-01-01,< r,1,1\n"),
        (struct table_rules){.policies = HIT_ALL_POLICIES}, &source, &capture.sink, &table);
    assert_string_equal(capture.text, "");
    assert_int_equal(status, WM_OK);
    assert_int_equal(table_condition_fact(table, 0).type, VALUE_DATE);
    assert_true(table_condition_test(table, 1, 0)->names_fact);
    table_free(table);
    arena_free(&arena);
}

/* --- Messages ------------------------------------------------------------------------------------------ */

struct mistake {
    const char *csv;
    const char *messages;
};

static const struct mistake MISTAKES[] = {
    {"", "t.csv:1:1: the table is empty; its first row names the hit policy and the columns\n"},
    {"\n\n# nothing\n", "t.csv:1:1: the table is empty; its first row names the hit policy and the columns\n"},
    {"X,n,>x\na,1,1\n", "t.csv:1:1: \"X\" is no hit policy; write one of U A P F R O C C+ C< C> C#\n"},
    {"u,n,>x\na,1,1\n", "t.csv:1:1: \"u\" is no hit policy; write one of U A P F R O C C+ C< C> C#\n"},
    {"U,modelyear,>x\na,1,1\n", "t.csv:1:2: no fact \"modelyear\"; nearest is \"model_year\"\n"},
    {"U,zz,>x\na,1,1\n", "t.csv:1:2: no fact \"zz\"; name one of the dictionary\n"},
    {"U,n,,>x\na,1,,1\n", "t.csv:1:3: the column has no name; write a fact, >output or #annotation\n"},
    {"U,n,>,>x\na,1,,1\n", "t.csv:1:3: the column has no name; write a fact, >output or #annotation\n"},
    {"U,n,t,n,>x\na,1,,1,1\n", "t.csv:1:4: the column \"n\" stands in cell 2 already; leave one of them out\n"},
    {"U,>x,n,> x\na,1,,1\n", "t.csv:1:4: the column \"> x\" stands in cell 2 already; leave one of them out\n"},
    {"U,n\na,1\n", "t.csv:1:1: the table has no output; add a column whose header begins with >\n"},
    {"C+,n,>x,>y\na,1,1,1\n",
     "t.csv:1:4: C+ takes exactly one output; move the others to a table of their own\n"},
    {"C#,n,>x,>y\na,1,1,1\n",
     "t.csv:1:4: C# takes exactly one output; move the others to a table of their own\n"},
    {"U,n,>x\na,1\nb,1,2,3\nc\n", "t.csv:2:3: the row has 2 cells and the header 3; make them the same\n"
                                  "t.csv:3:4: the row has 4 cells and the header 3; make them the same\n"
                                  "t.csv:4:2: the row has 1 cell and the header 3; make them the same\n"},
    {"U,n,>x\na,1,2\na,2,3\n",
     "t.csv:3:1: the row name \"a\" stands on line 2 already; give each row a name of its own\n"},
    {"U,n,>x\ntype,,\ntype,,\n",
     "t.csv:3:1: the row name \"type\" stands on line 2 already; give each row a name of its own\n"},
    {"U,n,>x\n,1,2\n", "t.csv:2:1: the row has no name; write one in its first cell, findings cite it\n"},
    {"U,n,>x\ntype,nmber,text\na,1,1\n",
     "t.csv:2:2: \"nmber\" is no type; write number, text, date or boolean\n"},
    {"U,n,>x\ntype,,Text\na,1,1\n", "t.csv:2:3: \"Text\" is no type; write number, text, date or boolean\n"},
    {"U,n,>x\ntype,text,\na,1,1\n", "t.csv:2:2: the fact \"n\" is a number; leave this cell empty\n"},
    {"U,n,>x\nvalues,[1..,1\na,1,1\n",
     "t.csv:2:2: a value is missing in [1..; write one, or - for any value\n"},
    {"U,n,>x\nvalues,,\"1,,2\"\na,1,1\n", "t.csv:2:3: a value is missing between commas; write one, or null\n"},
    {"U,n,>x\nvalues,,\"1,2,\"\na,1,1\n", "t.csv:2:3: a value is missing between commas; write one, or null\n"},
    {"U,n,>x\nvalues,,\",1\"\na,1,1\n", "t.csv:2:3: a value is missing between commas; write one, or null\n"},
    {"U,n,>x\nvalues,,\",\"\na,1,1\n", "t.csv:2:3: a value is missing between commas; write one, or null\n"
                                        "t.csv:2:3: a value is missing between commas; write one, or null\n"
                                        "t.csv:3:3: \"1\" is not among the values of this column; add it there, or "
                                        "correct it\n"},
    {"U,n,>x\nvalues,,\"p, q,\"\"p\"\"\"\na,1,p\n",
     "t.csv:2:3: the value \"p\" stands twice; leave one of them out\n"},
    {"U,n,>x\ntype,,number\nvalues,,\"1, y, 1.0\"\na,1,1\n",
     "t.csv:3:3: \"y\" is not a number; write digits, such as 12 or -0.5\n"
     "t.csv:3:3: the value \"1\" stands twice; leave one of them out\n"},
    {"U,n,>x\nvalues,,\"p, q\"\na,1,r\nb,2,\nc,3,{m}\n",
     "t.csv:3:3: \"r\" is not among the values of this column; add it there, or correct it\n"
     "t.csv:5:3: \"{m}\" is not among the values of this column; add it there, or correct it\n"},
    {"P,n,>x\na,1,r\n",
     "t.csv:1:1: P needs the priority of its outputs; add a row named values that lists them, the first "
     "one first\n"},
    {"O,n,>x\nvalues,1,\na,1,r\n",
     "t.csv:1:1: O needs the priority of its outputs; add a row named values that lists "
     "them, the first one first\n"},
    {"P,n,>x\nvalues,,\"p, q\"\na,1,\n", "t.csv:3:3: the output is empty and has no priority; write it, or add "
                                         "null to the values of this column\n"},
    {"O,n,>x\nvalues,,\"p, q\"\na,1,null\n",
     "t.csv:3:3: the output is empty and has no priority; write it, or add null to the values of this column\n"},
    {"C+,n,>x\na,1,\nb,2,\"2,5\"\n",
     "t.csv:2:3: the output is empty and C+ needs a number in each row; write one\n"
     "t.csv:3:3: \"2,5\" is not a number; write digits, such as 12 or -0.5\n"},
    {"C<,n,>x\na,1,2026-01-01\nb,2,\n",
     "t.csv:3:3: the output is empty and C< needs a date in each row; write one\n"},
    {"C>,n,>x\na,1,p\n", "t.csv:1:3: C> compares numbers or dates and \"x\" is a text; make it one of these\n"},
    {"C+,n,>x\ntype,,date\na,1,2026-01-01\n",
     "t.csv:1:3: C+ adds numbers and \"x\" is a date; make it a number\n"},
    {"U,n,>x\ntype,,number\na,1,\"\"\"1\"\"\"\n",
     "t.csv:3:3: \"1\" is text and this output a number; leave out the quotes\n"},
    {"U,n,>x\ntype,,date\na,1,2026-02-30\n",
     "t.csv:3:3: \"2026-02-30\" is not a date; write one that exists, such as 2026-03-01\n"},
    {"U,n,>x\ntype,,date\na,1,\"date[\"\"2026-03-01\"\")\"\nb,2,\"date(\"\"2026-03-01\"\"]\"\n",
     "t.csv:3:3: \"date[\"2026-03-01\")\" is not a date; write one that exists, such as 2026-03-01\n"
     "t.csv:4:3: \"date(\"2026-03-01\"]\" is not a date; write one that exists, such as 2026-03-01\n"},
    {"U,n,>x\na,1,\"\"\"\"\n", "t.csv:2:3: the quote \" is not closed; end it with \"\n"},
    {"U,n,>x\na,1,\"\"\"open\"\n", "t.csv:2:3: the quote \"open is not closed; end it with \"\n"},
    {"U,n,>x\na,1,\"\"\"p\"\" and \"\"q\"\"\"\n", "t.csv:2:3: there is more behind the closing quote in \"p\" "
                                                  "and \"q\"; put the whole text in quotes and write \\\" "
                                                  "for a quote inside\n"},
    {"U,n,>x\na,1,\"\"\"\\ud800\"\"\"\n",
     "t.csv:2:3: the text has an escape \\u that is no character; correct its digits\n"},
    {"U,n,>x\nvalues,,\"\"\"\\ud800\"\"\"\n",
     "t.csv:2:3: the text has an escape \\u that is no character; correct its digits\n"},
    {"U,n,>x\na,1,see {modelyear} and {zz} or {n\n",
     "t.csv:2:3: no fact \"modelyear\"; nearest is \"model_year\"\n"
     "t.csv:2:3: no fact \"zz\"; name one of the dictionary\n"
     "t.csv:2:3: the place {n is not closed; end it with }, or quote the text and write \\u007b for the "
     "brace\n"},
    {"U,n,>x\na,1,p\"q\nb,2,3\n", "t.csv:2:3: the cell holds a quote where none may stand; put the whole cell "
                                  "in quotes and double those inside it\n"},
    {"U,n,>x\na,1,{_x} {Zz} {\xc3\xa9}\n", "t.csv:2:3: no fact \"_x\"; name one of the dictionary\n"
                                         "t.csv:2:3: no fact \"Zz\"; name one of the dictionary\n"
                                         "t.csv:2:3: no fact \"\xc3\xa9\"; name one of the dictionary\n"},
    {"U,n,>x\n\"a,1,p\n", "t.csv:2:1: the cell opens a quote that is never closed; close it\n"},
    {"\"U,n,>x\n", "t.csv:1:1: the cell opens a quote that is never closed; close it\n"},
    {"U,n,>x\na,\"1,p\n", "t.csv:2:2: the cell opens a quote that is never closed; close it\n"},
    {"U,\xff,>x\na,1,p\n", "t.csv:1:2: the cell is not UTF-8 text; save the file as CSV UTF-8\n"},
    {"U,n,>x\na,1,\xc3\n", "t.csv:2:3: the cell is not UTF-8 text; save the file as CSV UTF-8\n"},
    /* all in one run */
    {"X,modelyear,n,>x\na,1,quarterly,1\nb,2,quarterly\n",
     "t.csv:3:4: the row has 3 cells and the header 4; make them the same\n"
     "t.csv:1:1: \"X\" is no hit policy; write one of U A P F R O C C+ C< C> C#\n"
     "t.csv:1:2: no fact \"modelyear\"; nearest is \"model_year\"\n"
     "t.csv:2:3: \"quarterly\" is not a number and no fact; write digits, such as 12 or -0.5, or name a number "
     "fact\n"},
    {"U,n,>x\na,1.,1\nb,1.,2\n", "t.csv:2:2: \"1.\" is not a number; write digits, such as 12 or -0.5\n"
                                 "t.csv:3:2: \"1.\" is not a number; write digits, such as 12 or -0.5\n"},
};

static void test_mistakes(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof MISTAKES / sizeof *MISTAKES; i++) {
        struct kit kit;
        kit_start(&kit, MISTAKES[i].csv, (struct table_rules){.policies = HIT_ALL_POLICIES});
        assert_string_equal(kit.capture.text, MISTAKES[i].messages);
        assert_int_equal(kit.status, WM_BAD_INPUT);
        assert_null(kit.table);
        kit_end(&kit);
    }
}

/* What the caller does not allow. */
static void test_rules_of_the_caller(void **state)
{
    struct kit kit;
    (void)state;

    kit_start(&kit, "C+,n,>x\na,1,1\n",
              (struct table_rules){.policies = HIT_BIT(HIT_UNIQUE) | HIT_BIT(HIT_FIRST)});
    assert_string_equal(kit.capture.text,
                        "t.csv:1:1: hit policy C+ has no meaning in this table; write one of U F\n");
    kit_end(&kit);
    kit_start(&kit, "F,n,>x\na,1,{secret}\n",
              (struct table_rules){.policies = HIT_ALL_POLICIES, .dealer_text = true});
    assert_string_equal(kit.capture.text,
                        "t.csv:2:3: the fact \"secret\" is shown to the office only and this text goes "
                        "to dealers; leave it out\n");
    kit_end(&kit);
    kit_good(&kit, "F,n,secret,>x\na,1,A,{secret}\n"); /* conditions may, and so may texts for the office */
    kit_end(&kit);
}

static void test_nul(void **state)
{
    static const char csv[] = "U,n,>x\na,1,p\0q\n";
    struct arena arena = ARENA_EMPTY;
    struct capture capture;
    struct table *table = NULL;
    (void)state;

    capture_start(&capture);
    assert_int_equal(table_compile(&arena, TEXT("t.csv"), (struct text){csv, sizeof csv - 1},
                                   (struct table_rules){.policies = HIT_ALL_POLICIES}, &KIT_SOURCE,
                                   &capture.sink, &table),
                     WM_BAD_INPUT);
    assert_string_equal(capture.text, "t.csv:2:3: the cell holds a NUL byte; remove it\n");
    table_free(NULL);
    arena_free(&arena);
}

/* --- Size ---------------------------------------------------------------------------------------------- */

/* On either side of the ends of a word of rows: each row that is there hits, and no other, with conditions and
 * without. */
static void test_row_counts(void **state)
{
    static const uint32_t counts[] = {1, 2, 63, 64, 65, 127, 128, 129, 130, 192};
    static const char *const headers[] = {"C,>x\n", "C,n,>x\n", "C,late_n,>x\n"}, *const cells[] = {
                                                                                      "", "-,", "\"not(7)\","};
    (void)state;

    for (size_t h = 0; h < 3; h++)
        for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
            struct buffer csv = BUFFER_EMPTY;
            struct table_hits hits;
            struct kit kit;
            buffer_add_string(&csv, headers[h]);
            for (uint32_t r = 0; r < counts[i]; r++)
                buffer_format(&csv, "r%u,%s%u\n", r, cells[h], r);
            buffer_add_byte(&csv, '\0');
            kit_good(&kit, csv.bytes);
            kit_facts(&kit, "n=1 late_n=1");
            assert_int_equal(table_decide(kit.table, kit.facts, kit.scratch, &hits), WM_OK);
            assert_int_equal(hits.count, counts[i]);
            for (uint32_t r = 0; r < counts[i]; r++)
                assert_int_equal(hits.rows[r], r);
            kit_facts(&kit, "n=7 late_n=7");
            assert_int_equal(table_decide(kit.table, kit.facts, kit.scratch, &hits), WM_OK);
            assert_int_equal(hits.count, h == 2 ? 0 : counts[i]);
            kit_end(&kit);
            buffer_free(&csv);
        }
}

/* Cells that are tested one by one, in two columns, over few rows and over several words of them. */
static void test_columns_of_tested_cells(void **state)
{
    static const struct {
        const char *facts;
        bool first, second;
    } cases[] = {
        {"n=1 m=2 d=2026-01-02 e=2026-01-01", true, true},   {"n=3 m=2 d=2026-01-02 e=2026-01-01", false, true},
        {"n=1 m=2 d=2026-01-01 e=2026-01-02", true, false}, {"n=3 m=2 d=2026-01-01 e=2026-01-02", false, false},
        {"n=1 m=2", true, false},
    };
    (void)state;

    for (uint32_t rows = 10; rows <= 150; rows += 70)
        for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
            struct buffer csv = BUFFER_EMPTY;
            struct table_hits hits;
            struct kit kit;
            uint32_t at = 0;
            buffer_add_string(&csv, "C,n,d,>x\n");
            for (uint32_t r = 0; r < rows; r++)
                buffer_format(&csv, "r%u,%s,%s,1\n", r, r % 2 == 0 ? "< m" : "-", r % 3 == 0 ? "> e" : "-");
            buffer_add_byte(&csv, '\0');
            kit_good(&kit, csv.bytes);
            kit_facts(&kit, cases[i].facts);
            assert_int_equal(table_decide(kit.table, kit.facts, kit.scratch, &hits), WM_OK);
            for (uint32_t r = 0; r < rows; r++)
                if ((r % 2 != 0 || cases[i].first) && (r % 3 != 0 || cases[i].second)) {
                    assert_true(at < hits.count);
                    assert_int_equal(hits.rows[at++], r);
                }
            assert_int_equal(hits.count, at);
            kit_end(&kit);
            buffer_free(&csv);
        }
}

static void test_too_many_rows(void **state)
{
    struct buffer csv = BUFFER_EMPTY;
    struct kit kit;
    (void)state;

    buffer_add_string(&csv, "F,n,>x\n");
    for (int r = 0; r < 100001; r++)
        buffer_format(&csv, "r%d,%d,1\n", r, r % 7);
    buffer_add_byte(&csv, '\0');
    kit_start(&kit, csv.bytes, (struct table_rules){.policies = HIT_ALL_POLICIES});
    assert_string_equal(kit.capture.text, "t.csv:100002:1: the table has more than 100000 rows; split it\n");
    kit_end(&kit);
    buffer_free(&csv);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_unique),
        cmocka_unit_test(test_any),
        cmocka_unit_test(test_hits_of_rows),
        cmocka_unit_test(test_priority),
        cmocka_unit_test(test_first),
        cmocka_unit_test(test_rule_order),
        cmocka_unit_test(test_output_order),
        cmocka_unit_test(test_collect),
        cmocka_unit_test(test_aggregates),
        cmocka_unit_test(test_policy_names),
        cmocka_unit_test(test_accessors),
        cmocka_unit_test(test_edges),
        cmocka_unit_test(test_stages),
        cmocka_unit_test(test_item_stages),
        cmocka_unit_test(test_misses),
        cmocka_unit_test(test_classes),
        cmocka_unit_test(test_output_types),
        cmocka_unit_test(test_known_outputs),
        cmocka_unit_test(test_output_texts),
        cmocka_unit_test(test_declared_types),
        cmocka_unit_test(test_mistakes),
        cmocka_unit_test(test_rules_of_the_caller),
        cmocka_unit_test(test_nul),
        cmocka_unit_test(test_row_counts),
        cmocka_unit_test(test_columns_of_tested_cells),
        cmocka_unit_test(test_too_many_rows),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
