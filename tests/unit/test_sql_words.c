/* Words of an SQL text as the guard of reports sees them: comments, every kind of quotes, where a table stands
 * and where a WITH table is defined. What the guard takes for a table must be one for SQLite too: both are
 * asked. */
#include "capture.h"

#include <sqlite3.h>
#include <stdbool.h>

#include "ledger/sql_words.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* The words of a text, each in < >. */
static const char *words_of(const char *sql)
{
    static char room[1024];
    struct sql_words words = {text_of(sql), 0, 0};
    struct text word;
    size_t length = 0;

    room[0] = '\0';
    while (sql_next_word(&words, &word))
        length += (size_t)snprintf(room + length, sizeof room - length, "<%.*s>", (int)word.length, word.bytes);
    return room;
}

static void texts_fall_into_words(void **state)
{
    static const char *const TABLE[][2] = {
        {"", ""},
        {" \t\r\n\f\v\xEF\xBB\xBF", ""},
        {"a\xEF\xBB\xBF \xEF\xBB\xBF"
         "b",
         "<a\xEF\xBB\xBF><b>"},
        {"SELECT a.b,c$1 FROM t_9;", "<SELECT><a><.><b><,><c$1><FROM><t_9><;>"},
        {"a--b\nc", "<a><c>"},
        {"a--b", "<a>"},
        {"a - b -", "<a><-><b><->"},
        {"a-b", "<a><-><b>"},
        {"a/*b*/c", "<a><c>"},
        {"a/* * / b", "<a>"},
        {"a/*", "<a>"},
        {"a/**/", "<a>"},
        {"a/b/", "<a></><b></>"},
        {"/**//**/--\nx", "<x>"},
        {"'it''s' x", "<'it''s'><x>"},
        {"\"a\"\"b\"c", "<\"a\"\"b\"><c>"},
        {"`a``b`", "<`a``b`>"},
        {"[a]]b", "<[a]><]><b>"},
        {"'open -- no comment", "<'open -- no comment>"},
        {"'", "<'>"},
        {"'a'", "<'a'>"},
        {"z\xc3\xa4hler=1", "<z\xc3\xa4hler><=><1>"},
        {"A@Z", "<A><@><Z>"},
        {"{a}", "<{><a><}>"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++)
        assert_string_equal(words_of(TABLE[i][0]), TABLE[i][1]);
}

static void words_are_names(void **state)
{
    static const struct {
        const char *word, *name; /* NULL: it is none */
    } TABLE[] = {
        {"a", "a"},
        {"\"a\"", "a"},
        {"'a'", "a"},
        {"`a`", "a"},
        {"[a]", "a"},
        {"\"a\"\"b\"", "a\"b"},
        {"[a\"\"b]", "a\"\"b"},
        {"\"\"", ""},
        {"(", NULL},
        {"", NULL},
        {"'", NULL},
        {"1", "1"},
        {"\"a name of more than seven bytes\"", NULL},
        {"seven77", "seven77"},
        {"eight888", NULL},
    };
    char room[8];
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++) {
        bool is = sql_word_name(text_of(TABLE[i].word), room, sizeof room);
        assert_int_equal(is, TABLE[i].name != NULL);
        if (is)
            assert_string_equal(room, TABLE[i].name);
    }
    assert_true(sql_word_is(TEXT("\"Claim_Rows\""), "claim_rows"));
    assert_false(sql_word_is(TEXT("claim_row"), "claim_rows"));
    assert_false(sql_word_is(TEXT(","), ","));
}

static bool defines(const char *behind_as)
{
    return sql_defines_table((struct sql_words){text_of(behind_as), 0, 0});
}

static void with_tables_are_seen(void **state)
{
    (void)state;
    assert_true(defines(" (SELECT 1)"));
    assert_true(defines("NOT MATERIALIZED (SELECT 1)"));
    assert_true(defines("/* x */ materialized\n("));
    assert_false(defines("x FROM y"));
    assert_false(defines("not"));
    assert_false(defines(""));
}

/* Whether SQLite reads a table of this name: it is there or not, and the query can be prepared or not. */
static bool sqlite_reads(const char *sql)
{
    sqlite3 *with, *without;
    sqlite3_stmt *statement = NULL;

    assert_int_equal(sqlite3_open(":memory:", &with), SQLITE_OK);
    assert_int_equal(sqlite3_open(":memory:", &without), SQLITE_OK);
    const char *schema = "CREATE TABLE u (a, t); CREATE TABLE v (a, b)";
    assert_int_equal(sqlite3_exec(with, schema, NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_exec(with, "CREATE TABLE t (a, b)", NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_exec(without, schema, NULL, NULL, NULL), SQLITE_OK);
    int can = sqlite3_prepare_v2(with, sql, -1, &statement, NULL);
    if (can != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(with));
    sqlite3_finalize(statement);
    bool cannot = sqlite3_prepare_v2(without, sql, -1, &statement, NULL) != SQLITE_OK;
    sqlite3_finalize(statement);
    sqlite3_close(with);
    sqlite3_close(without);
    return cannot;
}

static void tables_are_seen_where_they_stand(void **state)
{
    static const struct {
        const char *sql;
        bool reads;
    } TABLE[] = {
        {"SELECT 1 FROM t", true},
        {"SELECT 1 FROM T", true},
        {"SELECT 1 FROM \"t\" AS x", true},
        {"SELECT 1 FROM[t]", true},
        {"SELECT 1 FROM main.t", true},
        {"SELECT 1 FROM main . \"t\" x", true},
        {"SELECT 1 FROM/**/t", true},
        {"SELECT 1 FROM u, t", true},
        {"SELECT 1 FROM u AS x, t", true},
        {"SELECT 1 FROM u x JOIN t ON 1", true},
        {"SELECT 1 FROM u LEFT JOIN v ON u.a = v.a, t", true},
        {"SELECT 1 FROM (u JOIN t)", true},
        {"SELECT 1 FROM (u CROSS JOIN (v, t))", true},
        {"SELECT 1 FROM (SELECT 1 FROM t)", true},
        {"SELECT (SELECT count(*) FROM t) FROM u", true},
        {"SELECT 1 FROM u WHERE EXISTS (SELECT 1 FROM t)", true},
        {"SELECT 1 FROM u UNION SELECT 2 FROM t", true},
        {"SELECT 1 FROM u WHERE a IN (SELECT a FROM v ORDER BY 1 LIMIT 1) AND EXISTS (SELECT 1 FROM v, t)",
         true},
        {"WITH x AS (SELECT 1 FROM t) SELECT 1 FROM x", true},
        {"SELECT 1 FROM u, (t)", true},
        {"SELECT 1 FROM u NATURAL JOIN t", true},
        /* what SQLite takes for blanks beyond the usual ones */
        {"SELECT 1 FROM \vt", true},
        {"SELECT 1 FROM \xEF\xBB\xBFt", true},
        {"SELECT 1 FROM u,\xEF\xBB\xBF\xEF\xBB\xBF/**/t", true},
        {"SELECT t FROM u", false},
        {"SELECT u.t, 1 FROM u", false},
        {"SELECT 1 AS t FROM u", false},
        {"SELECT 't' FROM u", false},
        {"SELECT 1 FROM u ORDER BY t", false},
        {"SELECT 1 FROM u GROUP BY a, t HAVING max(t) > 0 LIMIT 1", false},
        {"SELECT 1 FROM u WHERE a = 1 AND (t = 2)", false},
        {"SELECT max(a, t) FROM u", false},
        {"SELECT 1 -- FROM t\nFROM u", false},
        {"SELECT 1 /* FROM t */ FROM u", false},
        {"SELECT sum(a) OVER w FROM u WINDOW w AS (ORDER BY t)", false},
        {"VALUES (1), (2)", false},
        {"SELECT ')' FROM u WHERE ((1)) AND t", false},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++) {
        if (sql_selects_from(text_of(TABLE[i].sql), "t") != TABLE[i].reads)
            fail_msg("%s", TABLE[i].sql);
        assert_int_equal(sqlite_reads(TABLE[i].sql), TABLE[i].reads);
    }
    /* too deep to be followed: taken for one that reads; and parentheses that close nothing */
    char deep[1024];
    memset(deep, '(', 300);
    deep[300] = '\0';
    assert_true(sql_selects_from(text_of(deep), "t"));
    assert_false(sql_selects_from(TEXT(")))) SELECT 1"), "t"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(texts_fall_into_words),
        cmocka_unit_test(words_are_names),
        cmocka_unit_test(with_tables_are_seen),
        cmocka_unit_test(tables_are_seen_where_they_stand),
    };

    return cmocka_run_group_tests_name("sql words", tests, NULL, NULL);
}
