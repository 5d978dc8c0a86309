/* What an attacker could send, and what comes of it: tests/HOSTILE.md lists it all, and names the tests here.
 */
#include "program.h"

#include <endian.h>
#include <sodium.h>
#include <sqlite3.h>
#include <sys/ioctl.h>
#include <sys/resource.h>

#include "base/arena.h"
#include "base/csv.h"
#include "base/limits.h"
#include "base/shown.h"
#include "base/status.h"
#include "pack/keys.h"
#include "pack/sealed.h"

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
/* Reads what the program prints into a pipe; when the pipe is full, so that the program stands, other bytes are put
 * into the file of claims. In a process of its own. */
static pid_t exchange_while_read(const char *pipe, const char *claims, long at, const char *bytes)
{
    enum { PIPE_BYTES = 65536 };
    char room[PIPE_BYTES];
    int held = 0, from = open(pipe, O_RDONLY | O_NONBLOCK);
    pid_t child = fork();

    need(from >= 0 && child >= 0, pipe);
    if (child > 0) {
        close(from);
        return child;
    }
    while (held < PIPE_BYTES && usleep(1000) == 0)
        need(ioctl(from, FIONREAD, &held) == 0, "ioctl");
    int to = open(claims, O_WRONLY);
    need(to >= 0 && pwrite(to, bytes, strlen(bytes), at) == (ssize_t)strlen(bytes), claims);
    fcntl(from, F_SETFL, 0);
    while (read(from, room, sizeof room) > 0)
        ;
    _exit(0);
}

/* A row is read once more where a later one of the file has its number: from the file, which is not what it was. */
static void a_file_that_changes_while_it_is_read(void **state)
{
    enum { ROWS = 16000 };
    static const char HEADER[] = "claim,dealer,repair_order,technician,campaign,vin,outcome,completed_on,"
                                 "submitted_on\n",
                      ROW[] = "%s,D113,R-%d,%s,H26-02,EZ7BAMCK6KE421489,repaired,2026-03-01,2026-03-02\n";
    static const struct {
        const char *bytes; /* over the first claim */
        int code;
        const char *says;
    } CASES[] = {
        {"FIRST", 1, ""},                            /* what stands there already */
        {",,,,,", 2, "changed while it was read; run it again"},  /* no claim any more */
        {"\n\n\n\n\n", 2, "changed while it was read; run it again"},
    };
    const char *claims = in_folder("changing.csv"), *pipe = in_folder("pipe");
    (void)state;

    fresh_office();
    assert_int_equal(mkfifo(pipe, 0600), 0);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        FILE *file = fopen(claims, "w");
        need(file != NULL && fputs(HEADER, file) >= 0, claims);
        for (int row = 0; row < ROWS; row++)
            fprintf(file, ROW, row == 0 || row == ROWS - 1 ? "FIRST" : words("C%d", row), row, row == 0 ? "T1" : "T2");
        need(fclose(file) == 0, claims);
        pid_t other = exchange_while_read(pipe, claims, (long)sizeof HEADER - 1, CASES[i].bytes);
        struct result result =
            RUN("check", claims, OFFICE, "--threads", "1", "--format", "csv", "--quiet", "--out", pipe);
        assert_int_equal(wait_for_exit(other), 0);
        assert_int_equal(result.code, CASES[i].code);
        assert_non_null(strstr(result.err, CASES[i].says));
        result_free(&result);
    }
    unlink(claims);
    unlink(pipe);
}

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
    shell("{ echo 'C,model_year,>x'; seq 1 1000000 | sed 's/.*/r&,&,1/'; } > %s", in_folder("t.csv"));
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

/* --- Reports ------------------------------------------------------------------------------------------------
 */

static void write_report(const char *header, const char *query)
{
    shell("mkdir -p %s", in_folder("reports"));
    write_words(in_folder("reports/evil.sql"), words("%s%s\n", header, query));
}

#define PLAIN_HEADER "-- title: T\n-- meaning: M.\n-- column: a text; x\n"

static struct result run_report(const char *seconds)
{
    return RUN("report", "evil", "--reports", in_folder("reports"), OFFICE, "--seconds", seconds, "--format",
               "csv");
}

/* Everything in the folder, with its digest. */
static char *state_of_folder(void)
{
    shell("cd %s && find . -type f ! -name 'evil.sql' | sort | xargs -d '\\n' sha256sum > "
          "/tmp/witnessmark-state-%ld",
          folder, (long)getpid());
    char *state = read_whole(words("/tmp/witnessmark-state-%ld", (long)getpid()), NULL);
    shell("rm /tmp/witnessmark-state-%ld", (long)getpid());
    return state;
}

/* WITH tables, each of which names the one before twice: 2^levels of the first. */
static char *doubling_query(int levels)
{
    char *query = words("WITH t0 AS (SELECT vin FROM claims_now)");

    for (int i = 1; i <= levels; i++)
        query = words("%s, t%d AS (SELECT a.vin FROM t%d AS a, t%d AS b)", query, i, i - 1, i - 1);
    return words("%s SELECT count(*) || '' AS a FROM t%d", query, levels);
}

static char *nested_query(int depth)
{
    char *query = malloc((size_t)depth * 2 + 64), *at = query;

    need(query != NULL, "memory");
    at = stpcpy(at, "SELECT ");
    memset(at, '(', (size_t)depth);
    at = stpcpy(at + depth, "1");
    memset(at, ')', (size_t)depth);
    stpcpy(at + depth, " AS a");
    return query;
}

/* SQL of a report: it writes nothing, opens no file, calls nothing of the machine, and ends. That each
 * statement but a SELECT over the views is refused, with its words, is test_reports_office.c; here is what is
 * left behind. */
static void sql_of_a_report(void **state)
{
    const char *const QUERIES[] = {
        "DELETE FROM claim_rows",
        "UPDATE claim_rows SET payable_cents = 1",
        "INSERT INTO loads DEFAULT VALUES RETURNING 'x' AS a",
        "DROP TRIGGER claim_rows_update",
        "CREATE TRIGGER t AFTER INSERT ON batches BEGIN SELECT 1; END",
        "CREATE VIRTUAL TABLE t USING fts5(a)",
        words("ATTACH '%s' AS x", in_folder("attached.db")),
        words("VACUUM INTO '%s'", in_folder("copy.db")),
        "PRAGMA writable_schema = ON",
        "PRAGMA journal_mode = DELETE",
        words("SELECT writefile('%s', 'x') AS a", in_folder("written")),
        "SELECT readfile('/etc/passwd') AS a",
        "SELECT name AS a FROM fsdir('/')",
        "SELECT load_extension('/tmp/x') AS a",
        "SELECT fts3_tokenizer('simple') AS a",
        "SELECT a FROM pragma_database_list",
        "SELECT file AS a FROM (SELECT * FROM pragma_database_list)",
        "SELECT sql AS a FROM sqlite_schema",
        "SELECT randomblob(1000000000) AS a",
        "SELECT zeroblob(2000000000) AS a",
        "SELECT group_concat(printf('%.*c', 9000000, 'x')) AS a FROM (SELECT 1 UNION ALL SELECT 2)",
        words("SELECT 'a' LIKE '%s' AS a",
              "%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a"
              "%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a"
              "%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a%a"),
        nested_query(100000),
        "SELECT 1 AS a; DELETE FROM claim_rows",
        "SELECT 1 AS a /* */; /* */ ATTACH 'x' AS y",
    };
    (void)state;

    fresh_office();
    shell("mkdir -p %s", in_folder("reports"));
    char *before = state_of_folder();
    for (size_t i = 0; i < COUNT(QUERIES); i++) {
        write_report(PLAIN_HEADER, QUERIES[i]);
        struct result result = run_report("20");
        if (result.code != 2 || result.err[0] == '\0' || result.out_length > 0)
            fail_msg("%.200s: exit %d, %s%s", QUERIES[i], result.code, result.err, result.out);
        assert_readable(result.err);
        result_free(&result);
    }
    assert_string_equal(state_of_folder(), before);
    struct result verified = RUN("verify", "--office", in_folder("office.db"));
    assert_int_equal(verified.code, 0);
    result_free(&verified);
}

/* What would run for years, in a step or before the first one, is ended when its time is over. SQLite itself
 * ends what names a view more than 65,535 times, some seconds after that. */
static void reports_that_do_not_end(void **state)
{
    const char *const QUERIES[][2] = {
        {"WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT max(i) || '' AS a FROM n",
         "this took longer than 1 second"},
        {"WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n LIMIT 100000) "
         "SELECT count(*) || '' AS a FROM n AS a, n AS b, n AS c",
         "this took longer than 1 second"},
        {doubling_query(40), ""},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(QUERIES); i++) {
        write_report(PLAIN_HEADER, QUERIES[i][0]);
        struct result result = run_report("1");
        if (result.code != 2 || strstr(result.err, QUERIES[i][1]) == NULL || result.out_length > 0)
            fail_msg("%.100s: exit %d, %s", QUERIES[i][0], result.code, result.err);
        result_free(&result);
    }
    write_report(PLAIN_HEADER,
                 "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i || '' AS a FROM n");
    struct result result = run_report("100");
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "this comes to more than 200000 rows or 256 MiB"));
    result_free(&result);
}

/* Files of the reports folder that are none. */
static void files_that_are_no_reports(void **state)
{
    static const struct {
        const char *make, *says;
    } CASES[] = {
        {"mkfifo %s", "not a regular file"},
        {"mkdir %s", "this is a folder"},
        {"ln -s /dev/zero %s", "a link that leads out of the folder"},
        {"ln -s evil.sql %s", ""},
        {"ln -s ../claims.csv %s", "a link that leads out of the folder"},
        {"head -c 2000000 /dev/zero > %s", "larger than"},
        {"head -c 1000 /dev/urandom > %s", "this is not text"},
    };
    (void)state;

    shell("mkdir -p %s", in_folder("reports"));
    claim_file("C-1", "D137", "R", "T");
    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *path = in_folder("reports/evil.sql");
        shell("rm -rf %s", path);
        shell("%s", words("p=%s; %s", path,
                          words("%.*s$p%s", (int)(strstr(CASES[i].make, "%s") - CASES[i].make), CASES[i].make,
                                strstr(CASES[i].make, "%s") + 2)));
        struct result result = run_report("5"), list = RUN("report", "list", "--reports", in_folder("reports"));
        if (result.code != 2 || strstr(result.err, CASES[i].says) == NULL)
            fail_msg("%s: exit %d, %s", CASES[i].make, result.code, result.err);
        assert_int_equal(list.code, 1);
        assert_non_null(strstr(list.out, "quarterly"));
        result_free(&result);
        result_free(&list);
    }
    shell("rm -rf %s", in_folder("reports/evil.sql"));
}

/* --- Pages of HTML ------------------------------------------------------------------------------------------
 */

/* Each tag of a page: its name and those of its attributes, a line each. What stands in scripts and styles is
 * left out. */
static void tags_of(const char *html, struct buffer *out)
{
    for (const char *at = html; (at = strchr(at, '<')) != NULL;) {
        const char *name = at + 1;
        size_t length = strcspn(name, " \t\n/>");
        if (strncmp(name, "!--", 3) == 0) {
            at = strstr(at, "-->");
            need(at != NULL, "a comment is closed");
            buffer_add_string(out, "<!-- -->\n");
            continue;
        }
        length += name[0] == '/' ? 1 + strcspn(name + 1, " \t\n/>") : 0;
        buffer_format(out, "<%.*s", (int)length, name);
        for (at = name + length; *at != '>' && *at != '\0';) {
            at += strspn(at, " \t\n/");
            size_t attribute = strcspn(at, "= \t\n/>");
            if (attribute > 0)
                buffer_format(out, " %.*s", (int)attribute, at);
            at += attribute;
            if (*at == '=' && (at[1] == '"' || at[1] == '\'')) {
                at = strchr(at + 2, at[1]);
                need(at != NULL, "a quote is closed");
                at++;
            } else if (*at == '=') {
                at += strcspn(at, " \t\n>");
            }
        }
        buffer_add_string(out, ">\n");
        if (strncmp(name, "script", 6) == 0 || strncmp(name, "style", 5) == 0)
            at = strstr(at, name[1] == 'c' ? "</script" : "</style");
    }
}

static int count_of(const char *text, const char *part)
{
    int count = 0;

    for (; (text = strstr(text, part)) != NULL; text += strlen(part))
        count++;
    return count;
}

/* The text with &lt; and the like put back, as a browser shows it. */
static char *shown_by_browser(const char *html)
{
    static const char *const ENTITIES[][2] = {
        {"&lt;", "<"}, {"&gt;", ">"}, {"&quot;", "\""}, {"&#39;", "'"}, {"&amp;", "&"}};
    char *shown = malloc(strlen(html) + 1), *to = shown;

    need(shown != NULL, "memory");
    while (*html != '\0') {
        size_t i = 0;
        while (i < COUNT(ENTITIES) && strncmp(html, ENTITIES[i][0], strlen(ENTITIES[i][0])) != 0)
            i++;
        *to++ = i < COUNT(ENTITIES) ? ENTITIES[i][1][0] : *html;
        html += i < COUNT(ENTITIES) ? strlen(ENTITIES[i][0]) : 1;
    }
    *to = '\0';
    return shown;
}

/* A report that has these words wherever words can stand: title, meanings, headings, a parameter, cells of text
 * and of a claim, names of a chart's lines. */
static struct result page_with(const char *evil)
{
    char *heading = words("%s", evil);

    for (char *at = heading; *at != '\0'; at++)
        if (*at == '"')
            *at = '\'';
    fresh_office();
    struct result posted = RUN("post", claim_file(evil, "D137", evil, evil), OFFICE, "--quiet");
    assert_int_equal(posted.code, 0);
    result_free(&posted);
    write_report(
        words("-- title: %s\n-- meaning: %s\n-- parameter: who text; %s\n-- section: one\n-- title: %s\n"
              "-- meaning: %s\n-- column: claim claim \"%s\"; %s\n-- column: number text; %s\n"
              "-- column: whose text; %s\n-- column: n integer \"%s\"; %s\n"
              "-- chart: bar x=number y=n series=whose\n",
              evil, evil, evil, evil, evil, heading, evil, evil, evil, heading, evil),
        "SELECT dealer || '/' || claim AS claim, claim AS number, :who AS whose, 1 AS n FROM claims_now");
    return RUN("report", "evil", "--reports", in_folder("reports"), OFFICE, "--who", evil, "--format", "html");
}

/* Whatever the words are, the page has the tags and attributes that it has with harmless ones, and shows the
 * words. */
static void html_holds_no_markup_of_others(void **state)
{
    static const char *const WORDS[] = {
        "<script>x()</script>",
        "</script><script>x()",
        "\"><img src=x onerror=x()>",
        "\" onmouseover=\"x()\" a=\"",
        "' onfocus='x()' autofocus '",
        "</title></style><b>x",
        "</td></tr></table><h1>x",
        "<!-- x",
        "--> <b>x</b> ]]> <![CDATA[",
        "&lt;script&gt;x&#40;&#41;",
        "&amp;lt;&#x3c;b&#62;&notin;",
        "<svg/onload=x()>",
        "javascript:x()",
        "<a href=//x.invalid>x</a>",
        "\xe2\x80\xa8<b>\xe2\x80\xae"
        "x",
        "{{x}} ${x} `x` \\u003cb\\u003e",
    };
    struct buffer harmless = BUFFER_EMPTY, tags = BUFFER_EMPTY;
    (void)state;

    for (size_t i = 0; i < COUNT(WORDS); i++) {
        /* as long, since long cells are set apart */
        char *calm = words("%s", WORDS[i]);
        memset(calm, 'x', strlen(calm));
        struct result first = page_with(calm), second = page_with(WORDS[i]);
        if (first.code != 0 || second.code != 0)
            fail_msg("%s: exit %d, %s%s", WORDS[i], second.code, first.err, second.err);
        buffer_clear(&harmless);
        buffer_clear(&tags);
        tags_of(first.out, &harmless);
        tags_of(second.out, &tags);
        assert_true(harmless.length > 500);
        if (!text_equal(buffer_text(&harmless), buffer_text(&tags)))
            fail_msg("%s changes the page's tags: %.*s", WORDS[i], TEXT_ARGUMENTS(buffer_text(&tags)));
        char *shown = shown_by_browser(second.out);
        /* two titles, meanings, cells ...; headings have no double quotes */
        assert_in_range(count_of(shown, WORDS[i]), 12, 100);
        assert_non_null(
            strstr(second.out, "Content-Security-Policy\" content=\"default-src 'none'; script-src 'sha256-"));
        assert_null(strstr(second.out, "unsafe-inline"));
        free(shown);
        result_free(&first);
        result_free(&second);
    }
    buffer_free(&harmless);
    buffer_free(&tags);
}

/* --- Packs --------------------------------------------------------------------------------------------------
 */

#define SHOWN_ON "--today", "2026-04-20"

static void says(struct result result, int code, const char *part)
{
    if (result.code != code || (strstr(result.err, part) == NULL && strstr(result.out, part) == NULL))
        fail_msg("exit code %d, not %d, or not \"%s\": %s%s", result.code, code, part, result.out, result.err);
    assert_readable(result.err);
    result_free(&result);
}

static void make_office_pack(const char *name, const char *sign, const char *today)
{
    says(RUN("pack", "--out", in_folder(name), "--sign", in_folder(sign), "--office", in_folder("office.db"),
             "--today", today, "--dealer", "D137", "--work", "8", "--quiet"),
         0, "");
}

static void open_pack_office(void)
{
    need(setenv("XDG_CONFIG_HOME", folder, 1) == 0, "environment");
    shell("rm -rf %s %s %s.pub %s %s.pub", in_folder("witnessmark"), in_folder("key"), in_folder("key"),
          in_folder("thief"), in_folder("thief"));
    fresh_office();
    says(RUN("pack", "keygen", in_folder("key")), 0, "");
    says(RUN("pack", "keygen", in_folder("thief")), 0, "");
    make_office_pack("good.pack", "key", "2026-04-20");
}

/* Puts the signature of this key, and the key, over the head as it is now. */
static void sign_again(char *bytes, const char *key_name)
{
    struct capture capture;
    struct secret_key key;

    capture_start(&capture);
    assert_int_equal(secret_key_read(in_folder(key_name), &capture.sink, &key), WM_OK);
    struct public_key public = secret_key_public(&key);
    memcpy(bytes + 20, public.bytes, sizeof public.bytes);
    crypto_sign_detached((unsigned char *)bytes + PACK_HEAD_BYTES - crypto_sign_BYTES, NULL,
                         (unsigned char *)bytes, PACK_HEAD_BYTES - crypto_sign_BYTES, key.bytes);
}

/* A pack that was changed and signed by somebody else; with the office's own key, where what is written in it
 * is what somebody could write who has that key. */
static void forged_packs(void **state)
{
    static const struct {
        size_t at;
        uint32_t number; /* little-endian */
        const char *says;
    } CASES[] = {
        {16, 0, "this pack is of another version of the program; use the program that belongs to it"},
        {16, 2, "this pack is of another version of the program"},
        {84, INT32_MAX, "the pack does not fit together"}, /* made on no day */
        {88, INT32_MAX, "the pack does not fit together"}, /* good until no day */
        {88, (uint32_t)INT32_MIN, "the pack does not fit together"},
        {92, UINT32_MAX, "the pack does not fit together"}, /* work */
        {92, 0, "the pack does not fit together"},
        {140, UINT32_MAX, "the pack does not fit together"}, /* vehicles */
        {148, UINT32_MAX, "the pack does not fit together"}, /* length of the dealer's code */
        {148, 0, "pack"}, /* what follows is read as something else, and one of them does not hold */
    };
    const char *key = in_folder("key.pub"), *changed = in_folder("changed.pack"),
               *claims = claim_file("C-1", "D137", "R", "T");
    size_t length;
    (void)state;

    open_pack_office();
    says(RUN("check", claims, "--pack", in_folder("good.pack"), "--trust", key, SHOWN_ON), 1, "C-1");
    for (size_t i = 0; i < COUNT(CASES); i++)
        for (int thief = 0; thief < 2; thief++) {
            char *bytes = read_whole(in_folder("good.pack"), &length);
            uint32_t number = htole32(CASES[i].number);
            memcpy(bytes + CASES[i].at, &number, sizeof number);
            /* as it is changed, without a signature that holds */
            write_file(changed, bytes, length);
            says(
                RUN("check", claims, "--pack", changed, "--trust", key, SHOWN_ON), 2,
                "this pack was changed after the office signed it; do not use it, ask the office for it again");
            sign_again(bytes, thief ? "thief" : "key");
            write_file(changed, bytes, length);
            struct result result = RUN("check", claims, "--pack", changed, "--trust", key, SHOWN_ON);
            assert_int_equal(result.out_length, 0);
            /* of a stranger's pack no more is looked at than its head, which tells who signed it */
            says(result, 2,
                 thief && CASES[i].at == 140 ? "this pack is signed with another key than the one you trust"
                                             : CASES[i].says);
            free(bytes);
        }
}

/* The same pack under the key of somebody else. */
static void packs_of_another_key(void **state)
{
    const char *claims = claim_file("C-1", "D137", "R", "T"), *stolen = in_folder("stolen.pack");
    size_t length;
    (void)state;

    open_pack_office();
    char *bytes = read_whole(in_folder("good.pack"), &length);
    sign_again(bytes, "thief");
    write_file(stolen, bytes, length);
    free(bytes);
    says(RUN("check", claims, "--pack", stolen, "--trust", in_folder("key.pub"), SHOWN_ON), 2,
         "this pack is signed with another key than the one you trust; do not use it, ask the office");
    /* remembered from the first pack on; a pack that is refused is not remembered */
    says(RUN("check", claims, "--pack", in_folder("good.pack"), SHOWN_ON), 1, "C-1");
    says(RUN("check", claims, "--pack", stolen, SHOWN_ON), 2,
         "this pack is signed with another key than the first pack");
    says(RUN("pack", "show", stolen, SHOWN_ON), 2, "another key than the first pack used here");
    says(RUN("check", claims, "--pack", in_folder("good.pack"), SHOWN_ON), 1, "C-1");
}

/* An older pack in place of a newer one is good until its last day, and says when it was made; behind that day
 * it is refused. Nothing else tells it from the newer one. */
static void older_packs(void **state)
{
    const char *claims = claim_file("C-1", "D137", "R", "T"), *old = in_folder("old.pack");
    (void)state;

    open_pack_office();
    make_office_pack("old.pack", "key", "2026-03-01");
    says(RUN("pack", "show", old, "--trust", in_folder("key.pub"), "--today", "2026-03-31"), 0, "2026-03-01");
    says(RUN("check", claims, "--pack", old, "--trust", in_folder("key.pub"), SHOWN_ON), 2,
         "this pack was good until 2026-03-31");
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
        cmocka_unit_test(a_file_that_changes_while_it_is_read),
        cmocka_unit_test(patterns_that_blow_up),
        cmocka_unit_test(a_table_of_too_many_rows),
        cmocka_unit_test(links_in_a_rules_folder),
        cmocka_unit_test(sql_of_a_report),
        cmocka_unit_test(reports_that_do_not_end),
        cmocka_unit_test(files_that_are_no_reports),
        cmocka_unit_test(html_holds_no_markup_of_others),
        cmocka_unit_test(forged_packs),
        cmocka_unit_test(packs_of_another_key),
        cmocka_unit_test(older_packs),
        cmocka_unit_test(dealers_called_like_paths),
        cmocka_unit_test(nothing_is_written_through_a_link),
        cmocka_unit_test(recorded_though_not_printed),
        cmocka_unit_test(foreign_schemas),
        cmocka_unit_test(damaged_office_files),
    };

    return cmocka_run_group_tests(tests, open_folder, close_folder);
}
