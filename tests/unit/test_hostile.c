/* What an attacker could send, and what comes of it: tests/HOSTILE.md lists it all, and names the tests here.
 */
#include "program.h"

#include <sqlite3.h>
#include <sys/resource.h>

#include "base/arena.h"
#include "base/csv.h"
#include "base/limits.h"
#include "base/shown.h"

static char folder[256];

static const char *in_folder(const char *name)
{
    return words("%s/%s", folder, name);
}

static int open_folder(void **state)
{
    (void)state;
    make_folder(folder);
    shell("cp %s %s", demo_file("office.db"), in_folder("office.db"));
    return 0;
}

static int close_folder(void **state)
{
    (void)state;
    shell("rm -rf '%s'", folder);
    return 0;
}

static void fresh_office(void)
{
    shell("rm -f %s/office.db*; cp %s %s", folder, demo_file("office.db"), in_folder("office.db"));
}

#define OFFICE "--office", in_folder("office.db"), "--today", "2026-03-05"

/* A claim file of one row; the cells given are put in quotes. */
static const char *claim_file(const char *claim, const char *dealer, const char *repair_order,
                              const char *technician)
{
    const char *path = in_folder("claims.csv"), *cells[] = {claim, dealer, repair_order, technician};
    struct buffer csv = BUFFER_EMPTY;

    buffer_add_string(&csv,
                      "claim,dealer,repair_order,technician,campaign,vin,outcome,completed_on,submitted_on\n");
    for (size_t i = 0; i < COUNT(cells); i++) {
        buffer_add_byte(&csv, '"');
        for (const char *at = cells[i]; *at != '\0'; at++)
            buffer_format(&csv, *at == '"' ? "\"\"" : "%c", *at);
        buffer_add_string(&csv, "\",");
    }
    buffer_add_string(&csv, "H26-02,EZ7BAMCK6KE421489,repaired,2026-03-01,2026-03-02\n");
    write_file(path, csv.bytes, csv.length);
    buffer_free(&csv);
    return path;
}

/* --- Cells --------------------------------------------------------------------------------------------------
 */

static const char *const SQL_WORDS[] = {"'; DROP TABLE claim_rows; --",
                                        "\" OR 1=1 --",
                                        "%' UNION SELECT * FROM chain --",
                                        "x'); DELETE FROM batches; --",
                                        "?1",
                                        ":name",
                                        "[x]",
                                        "`y`"};

/* A text that is SQL is a text: recorded, found again, and nothing else. */
static void sql_in_every_text(void **state)
{
    (void)state;
    fresh_office();
    for (size_t i = 0; i < COUNT(SQL_WORDS); i++) {
        const char *word = SQL_WORDS[i];
        struct result posted = RUN("post", claim_file(word, word, word, word), OFFICE, "--quiet");
        assert_int_equal(posted.code, 0);
        struct result explained =
            RUN("explain", words("%s/%s", word, word), "--office", in_folder("office.db"));
        if (explained.code != 0 || strstr(explained.out, word) == NULL)
            fail_msg("%s: %d %s%s", word, explained.code, explained.out, explained.err);
        struct result flagged =
            RUN("flags", "--dealer", word, "--office", in_folder("office.db"), "--format", "csv");
        assert_int_equal(flagged.code, 0);
        assert_non_null(strstr(flagged.out, "EZ7BAMCK6KE421489"));
        result_free(&posted);
        result_free(&explained);
        result_free(&flagged);
    }
    struct result verified = RUN("verify", "--office", in_folder("office.db"), "--again");
    assert_int_equal(verified.code, 0);
    assert_non_null(
        strstr(verified.out, words("%zu batches with %zu claims", COUNT(SQL_WORDS), COUNT(SQL_WORDS))));
    result_free(&verified);
}

static void sql_in_office_data_and_options(void **state)
{
    (void)state;
    fresh_office();
    write_words(in_folder("dealers.csv"), "dealer,name,labor_rate,parts_markup\n"
                                          "\"'; DROP TABLE loads; --\",\"\"\" OR 1=1\",100,10\n");
    struct result loaded = RUN("load", "dealers", in_folder("dealers.csv"), OFFICE);
    assert_int_equal(loaded.code, 0);
    for (size_t i = 0; i < COUNT(SQL_WORDS); i++) {
        struct result flagged =
            RUN("flags", "--office", in_folder("office.db"), "--dealer", SQL_WORDS[i], "--vin", SQL_WORDS[i],
                "--campaign", SQL_WORDS[i], "--finding", SQL_WORDS[i]);
        assert_true(flagged.code == 0 || flagged.code == 2);
        assert_null(strstr(flagged.err, "syntax"));
        result_free(&flagged);
    }
    struct result verified = RUN("verify", "--office", in_folder("office.db"));
    assert_int_equal(verified.code, 0);
    result_free(&loaded);
    result_free(&verified);
}

/* CSV and JSON hold what was written; the quotes of CSV are doubled, so that a cell stays one. */
static void formulas_stay_cells(void **state)
{
    static const char *const FORMULAS[] = {
        "=HYPERLINK(\"http://x\",\"y\")", "+1+1", "-2+3", "@SUM(A1)", "=cmd|' /C calc'!A0", "\",=1+1,\""};
    (void)state;

    for (size_t i = 0; i < COUNT(FORMULAS); i++) {
        struct result result =
            RUN("check", claim_file(FORMULAS[i], "D137", "R", "T"), OFFICE, "--format", "csv");
        struct csv_sheet sheet = csv_sheet_read(result.out);
        assert_int_equal(sheet.count, 2);
        assert_string_equal(csv_at(&sheet, 1, "claim"), FORMULAS[i]);
        assert_string_equal(csv_at(&sheet, 1, "dealer"), "D137");
        csv_sheet_free(&sheet);
        result_free(&result);
    }
}

static void assert_readable(const char *text)
{
    for (const char *at = text; *at != '\0'; at++)
        if (((unsigned char)*at < ' ' && *at != '\n') || *at == 0x7f ||
            ((unsigned char)*at == 0xc2 && (unsigned char)at[1] < 0xa0))
            fail_msg("a control character is shown: %s", text);
}

/* Escape sequences and line feeds of a cell neither reach a terminal nor begin a line that looks like ours. */
static void terminals_get_no_control_characters(void **state)
{
    const char *evil = "C\x1b[2J\x1b]0;x\x07\n\xc2\x9b"
                       "31m",
               *forged = "C-1\nline 9  pay";
    (void)state;

    fresh_office();
    for (int turn = 0; turn < 2; turn++) {
        const char *claim = turn == 0 ? evil : forged;
        struct result checked = RUN("check", claim_file(claim, claim, claim, claim), OFFICE);
        assert_readable(checked.out);
        assert_readable(checked.err);
        assert_null(strstr(checked.out, "\nline 9"));
        struct result posted =
            RUN("post", claim_file(claim, claim, claim, claim), OFFICE, "--replies", in_folder("replies"));
        assert_readable(posted.out);
        assert_readable(posted.err);
        struct result flagged = RUN("flags", "--office", in_folder("office.db"));
        assert_readable(flagged.out);
        assert_null(strstr(flagged.out, "\nline 9"));
        struct result explained =
            RUN("explain", words("%s/%s", claim, claim), "--office", in_folder("office.db"));
        assert_int_equal(explained.code, 0);
        assert_readable(explained.out);
        assert_null(strstr(explained.out, "\nline 9"));
        struct result unknown = RUN("explain", words("%s/none", claim), "--office", in_folder("office.db"));
        assert_int_equal(unknown.code, 2);
        assert_readable(unknown.err);
        result_free(&checked);
        result_free(&posted);
        result_free(&flagged);
        result_free(&explained);
        result_free(&unknown);
    }
    shell("cat %s/replies/*.txt > %s/all-replies", folder, folder);
    char *replies = read_whole(in_folder("all-replies"), NULL);
    assert_readable(replies);
    free(replies);
}

static void shown_text(void **state)
{
    static const struct {
        const char *written, *shown;
    } CASES[] = {
        {"plain", "plain"},
        {"caf\xc3\xa9 \xe2\x82\xac \xf0\x9f\x9a\x97", "caf\xc3\xa9 \xe2\x82\xac \xf0\x9f\x9a\x97"},
        {"a\tb\nc\x1b[1m\x7f", "a?b?c?[1m?"},
        {"\xc2\x80\xc2\x9f\xc2\xa0", "????\xc2\xa0"},
        {"\xff\xfe", "??"},
        {"cut \xe2\x82", "cut ??"},
        {"\xed\xa0\x80", "???"}, /* a surrogate */
        {"", ""},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct buffer said = BUFFER_EMPTY;
        char *line = words("%s", CASES[i].written);
        make_readable(line);
        assert_string_equal(line, CASES[i].shown);
        buffer_say(&said, "<%s>\n%d\n", CASES[i].written, 7);
        buffer_add_byte(&said, '\0');
        assert_string_equal(said.bytes, words("<%s>\n7\n", CASES[i].shown));
        buffer_free(&said);
    }
}

/* --- Sizes --------------------------------------------------------------------------------------------------
 */

static long peak_mebibytes(void)
{
    struct rusage usage;

    need(getrusage(RUSAGE_CHILDREN, &usage) == 0, "getrusage");
    return usage.ru_maxrss / 1024;
}

/* A quote that is never closed, and 96 MiB behind it: refused, in memory that does not grow with it. */
static void an_open_quote_before_much(void **state)
{
    (void)state;
    shell("{ echo 'claim,dealer,repair_order,campaign,vin,outcome'; printf '1,2,3,4,5,\"'; head -c 100663296 "
          "/dev/zero "
          "| tr '\\0' x; } > %s",
          in_folder("open.csv"));
    struct result result = RUN("check", in_folder("open.csv"), OFFICE);
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, words("%s:2:", in_folder("open.csv"))));
    assert_non_null(strstr(result.err, "quote"));
    result_free(&result);
    shell("rm %s", in_folder("open.csv"));
}

/* One cell of 65,000 bytes with as many items as fit: each is told of, and it takes no longer than its length
 * asks for. */
static void a_cell_full_of_items(void **state)
{
    struct buffer parts = BUFFER_EMPTY;
    (void)state;

    for (int i = 4096; parts.length < 65000; i++)
        buffer_format(&parts, "%s%X", parts.length > 0 ? ";" : "", i);
    write_words(in_folder("items.csv"), words("claim,dealer,repair_order,campaign,vin,outcome,parts\nC-1,D137,"
                                              "R,H26-02,EZ7BAMCK6KE421489,repaired,%.*s\n",
                                              (int)parts.length, parts.bytes));
    struct result result =
        RUN("check", in_folder("items.csv"), OFFICE, "--format", "csv", "--findings", in_folder("f.csv"));
    assert_int_equal(result.code, 1);
    struct csv_sheet findings = csv_sheet_of_file(in_folder("f.csv"));
    assert_true(findings.count > 13000);
    csv_sheet_free(&findings);
    buffer_free(&parts);
    result_free(&result);
}

/* Lines are counted beyond what 32 bits hold. */
static void more_lines_than_32_bits(void **state)
{
    static const uint64_t STARTS[] = {INT32_MAX, UINT32_MAX, UINT64_C(1) << 40};
    (void)state;

    for (size_t i = 0; i < COUNT(STARTS); i++) {
        struct arena arena = ARENA_EMPTY;
        struct csv_rows rows;
        struct csv_row row;
        assert_int_equal(csv_rows_open(&rows, TEXT("a\n\"b\n\",c\nd\n"), STARTS[i], 4, &arena), 0);
        assert_true(csv_rows_next(&rows, &row) && row.line == STARTS[i]);
        assert_true(csv_rows_next(&rows, &row) && row.line == STARTS[i] + 1);
        assert_true(csv_cell_line(&row, 2) == STARTS[i] + 2);
        assert_true(csv_rows_next(&rows, &row) && row.line == STARTS[i] + 3);
        csv_rows_close(&rows);
        arena_free(&arena);
    }
}

/* A file of empty lines alone is no file of claims, however many there are. */
static void nothing_but_lines(void **state)
{
    (void)state;
    shell("{ echo claim,dealer,repair_order,campaign,vin,outcome; head -c 67108864 /dev/zero | tr '\\0' '\\n'; "
          "} > %s",
          in_folder("lines.csv"));
    struct result result = RUN("check", in_folder("lines.csv"), OFFICE, "--format", "csv");
    assert_int_equal(result.code, 0);
    assert_string_equal(result.out,
                        "line,claim,revision,dealer,campaign,vin,decision,asked,payable,due,findings\n");
    result_free(&result);
    shell("rm %s", in_folder("lines.csv"));
    assert_true(peak_mebibytes() < 1024);
}

/* --- Rules --------------------------------------------------------------------------------------------------
 */

static struct result try_pattern(const char *pattern, size_t subject_bytes)
{
    char *subject = malloc(subject_bytes + 1);

    need(subject != NULL, "memory");
    memset(subject, 'a', subject_bytes);
    subject[subject_bytes] = '\0';
    write_words(in_folder("t.csv"), words("F,engine,>x\nrow,\"matches(?, \"\"%s\"\")\",1\n", pattern));
    write_words(in_folder("facts.csv"), words("engine\n%s\n", subject));
    free(subject);
    return RUN("rules", "try", in_folder("t.csv"), in_folder("facts.csv"));
}

/* A pattern that would run for years is given up, and one that is too large is refused where it is read. */
static void patterns_that_blow_up(void **state)
{
    static const struct {
        const char *pattern;
        int code;
        const char *says;
    } CASES[] = {
        {"^(([a-z])+.)+[A-Z]([a-z])+$", 1, "was given up, it takes too many steps"},
        {"(?R)", 1, "was given up, it takes too many steps"},
        {"^(a+)+$", 0, ",1\n"},
        {"((a{1,1000}){1,1000}){1,1000}", 2, "regular expression is too large"},
        {"(?<=a{1,50000})b", 2, "lookbehind assertion is not fixed length"},
        {"\\C", 2, "using \\C is disabled"},
        {"(*LIMIT_MATCH=4294967295)(a+)+$b", 2, "not recognized"},
        {"[[:a", 2, "missing terminating ]"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct result result = try_pattern(CASES[i].pattern, 30000);
        if (result.code != CASES[i].code ||
            (strstr(result.out, CASES[i].says) == NULL && strstr(result.err, CASES[i].says) == NULL))
            fail_msg("%s: exit %d, %s", CASES[i].pattern, result.code, result.err);
        result_free(&result);
    }
}

static void a_table_of_too_many_rows(void **state)
{
    (void)state;
    shell("{ echo 'C,model_year,>x'; seq 1 100001 | sed 's/.*/r&,&,1/'; } > %s", in_folder("t.csv"));
    write_words(in_folder("facts.csv"), "model_year\n5\n");
    struct result result = RUN("rules", "try", in_folder("t.csv"), in_folder("facts.csv"));
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "100000"));
    result_free(&result);
    shell("{ echo 'C,model_year,>x'; head -c 70000000 /dev/zero | tr '\\0' '\\n'; } > %s", in_folder("t.csv"));
    result = RUN("rules", "try", in_folder("t.csv"), in_folder("facts.csv"));
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "larger than 64 MiB"));
    result_free(&result);
    shell("rm %s", in_folder("t.csv"));
}

/* Links in a rules folder are not followed: what they lead to is neither read nor shown. */
static void links_in_a_rules_folder(void **state)
{
    static const char *const LINKS[] = {"checks/claim/secret.csv", "campaigns/H26-02/notes.csv", "units.csv"};
    (void)state;

    write_words(in_folder("secret"), "top secret,words\n");
    for (size_t i = 0; i < COUNT(LINKS); i++) {
        shell("rm -rf %s; cp -r rules %s; ln -sf %s %s/rules/%s", in_folder("rules"), in_folder("rules"),
              in_folder("secret"), folder, LINKS[i]);
        struct result result = RUN("rules", "lint", "--rules", in_folder("rules"));
        assert_int_equal(result.code, 2);
        assert_non_null(strstr(
            result.err, words("%s: this is a link; put the file itself into the rules folder", LINKS[i])));
        assert_null(strstr(result.err, "top secret"));
        result_free(&result);
    }
    /* a folder that is a link is no folder; nor is a pipe a file, which would never end */
    shell("rm -rf %s; cp -r rules %s; ln -s / %s/rules/campaigns/ROOT; mkfifo %s/rules/checks/claim/pipe.csv",
          in_folder("rules"), in_folder("rules"), folder, folder);
    struct result result = RUN("rules", "lint", "--rules", in_folder("rules"));
    assert_int_equal(result.code, 0);
    result_free(&result);
}

/* --- Names of files
 * ------------------------------------------------------------------------------------------- */

/* Whatever a dealer is called, the reply is a file of the folder. */
static void dealers_called_like_paths(void **state)
{
    static const char *const DEALERS[] = {"../../escaped", "/tmp/escaped",    "..",  ".",
                                          ".hidden",       "a/../../b",       "~/x", "con\\..\\..\\x",
                                          "%2e%2e%2f",     "$(touch escaped)"};
    (void)state;

    fresh_office();
    shell("mkdir -p %s/deep/er", folder);
    for (size_t i = 0; i < COUNT(DEALERS); i++) {
        struct result result = RUN("post", claim_file(words("C-%zu", i), DEALERS[i], "R", "T"), OFFICE,
                                   "--replies", in_folder("deep/er/replies"), "--quiet");
        assert_int_equal(result.code, 0);
        result_free(&result);
    }
    shell("test $(ls -A %s/deep/er/replies | wc -l) -eq %zu", folder, COUNT(DEALERS));
    shell("test $(find %s/deep -type f | wc -l) -eq %zu", folder, COUNT(DEALERS));
    shell("test ! -e %s/escaped && test ! -e /tmp/escaped.txt && test ! -e escaped", folder);
    shell("! ls -A %s/deep/er/replies | grep -q '^\\.'", folder);
}

/* A link under the name of a file that is written is replaced by the file; what it leads to stays as it is. */
static void nothing_is_written_through_a_link(void **state)
{
    (void)state;
    fresh_office();
    write_words(in_folder("precious"), "precious\n");
    shell(
        "mkdir -p %s/replies-2 && ln -sf %s/precious %s/replies-2/D137.txt && ln -sf %s/precious %s/out.csv && "
        "ln -sf %s/precious %s/findings.csv",
        folder, folder, folder, folder, folder, folder, folder);
    struct result result = RUN("post", claim_file("C-1", "D137", "R", "T"), OFFICE, "--replies",
                               in_folder("replies-2"), "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    result = RUN("check", claim_file("C-2", "D137", "R", "T"), OFFICE, "--format", "csv", "--out",
                 in_folder("out.csv"), "--findings", in_folder("findings.csv"));
    assert_int_equal(result.code, 1);
    result_free(&result);
    char *precious = read_whole(in_folder("precious"), NULL);
    assert_string_equal(precious, "precious\n");
    free(precious);
    shell("test -f %s/out.csv -a ! -L %s/out.csv -a ! -L %s/findings.csv -a ! -L %s/replies-2/D137.txt", folder,
          folder, folder, folder);
}

/* What was recorded stays so where nothing can be printed: the exit code says that it is done. */
static void recorded_though_not_printed(void **state)
{
    (void)state;
    fresh_office();
    const char *program = getenv("WITNESSMARK") != NULL ? getenv("WITNESSMARK") : "build/witnessmark";
    write_words(in_folder("dealers.csv"), "dealer,labor_rate,parts_markup\nD900,1,0\n");
    shell("%s load dealers %s/dealers.csv --office %s/office.db > /dev/full 2> %s/err", program, folder, folder,
          folder);
    char *said = read_whole(in_folder("err"), NULL);
    assert_string_equal(said, "warning: it is done, but what was done could not be printed: No space left on "
                              "device\n");
    free(said);
    struct result again = RUN("load", "dealers", in_folder("dealers.csv"), OFFICE);
    assert_non_null(strstr(again.out, "1 as they were"));
    result_free(&again);
}

/* --- Office files from elsewhere
 * -------------------------------------------------------------------------------- */

static void change_office(const char *sql)
{
    sqlite3 *database;
    char *error = NULL;

    fresh_office();
    assert_int_equal(sqlite3_open(in_folder("office.db"), &database), SQLITE_OK);
    sqlite3_db_config(database, SQLITE_DBCONFIG_DEFENSIVE, 0, NULL);
    if (sqlite3_exec(database, sql, NULL, NULL, &error) != SQLITE_OK)
        fail_msg("%s: %s", sql, error);
    sqlite3_close(database);
}

/* Somebody else's triggers, views and tables: no command but verify goes on, and verify names them before
 * anything of them is asked. */
static void foreign_schemas(void **state)
{
    static const struct {
        const char *sql, *refused, *named;
    } CASES[] = {
        {"CREATE TRIGGER evil AFTER INSERT ON batches BEGIN SELECT load_extension('x'); END",
         "it has the trigger evil",
         "the schema has the trigger evil, which this program did not make; take it out"},
        {"CREATE VIEW evil AS SELECT 1", "it has the view evil", "the schema has the view evil"},
        {"CREATE TABLE evil (x)", "it has the table evil", "the schema has the table evil"},
        {"CREATE INDEX evil ON claim_rows (campaign)", "it has the index evil",
         "the schema has the index evil"},
        {"DROP TRIGGER claim_rows_update", "it lacks the trigger claim_rows_update",
         "the schema lacks the trigger claim_rows_update; restore the file from a copy"},
        {"DROP VIEW claims_now; CREATE VIEW claims_now AS SELECT * FROM claim_rows WHERE 0",
         "somebody changed the view claims_now", "the schema's view claims_now was changed"},
        {"PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(sql, 'RAISE', ' RAISE') WHERE "
         "name = 'loads_update'",
         "somebody changed the trigger loads_update", "the schema's trigger loads_update was changed"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        change_office(CASES[i].sql);
        const char *claims = claim_file("C-1", "D137", "R", "T");
        struct result results[] = {RUN("check", claims, OFFICE), RUN("post", claims, OFFICE),
                                   RUN("flags", "--office", in_folder("office.db")),
                                   RUN("load", "dealers", demo_file("dealers.csv"), OFFICE),
                                   RUN("worksheet", "EZ7BAMCK6KE421489", OFFICE)};
        for (size_t k = 0; k < COUNT(results); k++) {
            if (results[k].code != 2 || strstr(results[k].err, CASES[i].refused) == NULL)
                fail_msg("%s, command %zu: exit %d, %s", CASES[i].sql, k, results[k].code, results[k].err);
            result_free(&results[k]);
        }
        struct result verified = RUN("verify", "--office", in_folder("office.db"));
        if (verified.code != 1 || strstr(verified.err, CASES[i].named) == NULL)
            fail_msg("%s: verify: exit %d, %s", CASES[i].sql, verified.code, verified.err);
        result_free(&verified);
    }
}

/* Bytes of an office file changed at random: each command ends with an answer or an error, never in another
 * way. */
static void damaged_office_files(void **state)
{
    enum { FILES = 60 };
    uint64_t random = random_seed("damaged_office_files");
    size_t length, refused = 0;
    (void)state;

    fresh_office();
    struct result posted = RUN("post", demo_file("night-1.csv"), OFFICE, "--quiet");
    assert_int_equal(posted.code, 0);
    result_free(&posted);
    char *whole = read_whole(in_folder("office.db"), &length), *damaged = malloc(length);
    need(damaged != NULL, "memory");
    for (int file = 0; file < FILES; file++) {
        memcpy(damaged, whole, length);
        for (uint64_t changes = 1 + random_below(&random, 40); changes > 0; changes--) {
            size_t at = random_below(&random, file % 4 == 0 ? 4096 : length);
            damaged[at] = (char)random_below(&random, 256);
        }
        write_file(in_folder("office.db"), damaged,
                   file % 5 == 0 ? length - random_below(&random, length / 2) : length);
        struct result results[] = {RUN("verify", "--office", in_folder("office.db"), "--again"),
                                   RUN("check", demo_file("night-2.csv"), OFFICE, "--quiet", "--format", "csv"),
                                   RUN("flags", "--office", in_folder("office.db"))};
        for (size_t k = 0; k < COUNT(results); k++) {
            if (results[k].code < 0 || results[k].code > 2)
                fail_msg("file %d, command %zu: exit %d, %s", file, k, results[k].code, results[k].err);
            assert_readable(results[k].err);
            refused += k == 0 && results[k].code != 0;
            result_free(&results[k]);
        }
    }
    /* a byte in the unused room of a page is nobody's, and pages of the demo office are half empty */
    assert_in_range(refused, FILES / 2, FILES);
    free(whole);
    free(damaged);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sql_in_every_text),
        cmocka_unit_test(sql_in_office_data_and_options),
        cmocka_unit_test(formulas_stay_cells),
        cmocka_unit_test(terminals_get_no_control_characters),
        cmocka_unit_test(shown_text),
        cmocka_unit_test(an_open_quote_before_much),
        cmocka_unit_test(a_cell_full_of_items),
        cmocka_unit_test(more_lines_than_32_bits),
        cmocka_unit_test(nothing_but_lines),
        cmocka_unit_test(patterns_that_blow_up),
        cmocka_unit_test(a_table_of_too_many_rows),
        cmocka_unit_test(links_in_a_rules_folder),
        cmocka_unit_test(dealers_called_like_paths),
        cmocka_unit_test(nothing_is_written_through_a_link),
        cmocka_unit_test(recorded_though_not_printed),
        cmocka_unit_test(foreign_schemas),
        cmocka_unit_test(damaged_office_files),
    };

    return cmocka_run_group_tests(tests, open_folder, close_folder);
}
