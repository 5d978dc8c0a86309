/* Input that cannot be used: a clear message to the letter, exit 2, nothing written. Paths are in a folder of
 * this run. */
#include "program.h"

#include "base/buffer.h"

static char *folder;

static const char *in_folder(const char *name)
{
    return words("%s/%s", folder, name);
}

/* Takes the folder's path out of the words, so that they can be written down here. */
static void without_folder(char *text)
{
    char *prefix = words("%s/", folder);
    size_t length = strlen(prefix);

    for (char *at; (at = strstr(text, prefix)) != NULL;)
        memmove(at, at + length, strlen(at + length) + 1);
    free(prefix);
}

static void expect(struct result result, int code, const char *err)
{
    without_folder(result.err);
    assert_string_equal(result.err, err);
    assert_int_equal(result.code, code);
    if (code == 2)
        assert_string_equal(result.out, "");
    result_free(&result);
}

#define HEADER "claim,dealer,repair_order,campaign,vin,outcome\n"
#define ROW "C1,D137,R1,H26-02,EZ7BAMCK6KE421489,repaired\n"

static void check_this(const char *name, const char *bytes, size_t length, const char *err)
{
    write_file(in_folder(name), bytes, length);
    expect(RUN("check", in_folder(name), "--office", demo_file("office.db"), "--today", "2026-03-01", "--out",
               in_folder("out.csv"), "--findings", in_folder("findings.csv"), "--format", "csv"),
           2, err);
    assert_false(file_is_there(in_folder("out.csv")));
    assert_false(file_is_there(in_folder("findings.csv")));
}

/* Of more than a MiB: searched for an open quote while it is decided. What the deciding would say is not heard then. */
static void large_claim_files(void **state)
{
    static const struct {
        const char *header, *last_row, *err;
    } CASES[] = {
        {"claim,dealer,repair_order,campaign,vin,outcome\n", "C2,\"D137,R1,H26-02,V,repaired\n",
         "large.csv:30002: a quote that opens here is never closed; close it, and double quotes inside a cell\n"},
        {"claim,dealer,repair_order,campaign,vin,outcome,hue\n", "C2,\"D137,R1,H26-02,V,repaired\n",
         "large.csv:30002: a quote that opens here is never closed; close it, and double quotes inside a cell\n"},
        {"claim,dealer,repair_order,campaign,vin\n", "C2,\"D137,R1,H26-02,V,repaired\n",
         "large.csv:30002: a quote that opens here is never closed; close it, and double quotes inside a cell\n"},
        {"claim,dealer,repair_order,campaign,vin\n", "",
         "large.csv:1: the column \"outcome\" is missing; add it to the first row\n"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct buffer file = BUFFER_EMPTY;
        buffer_add_string(&file, CASES[i].header);
        for (int row = 0; row < 30000; row++)
            buffer_add_string(&file, ROW);
        buffer_add_string(&file, CASES[i].last_row);
        check_this("large.csv", file.bytes, file.length, CASES[i].err);
        for (int threads = 1; threads <= 3; threads++)
            expect(RUN("check", in_folder("large.csv"), "--office", demo_file("office.db"), "--today", "2026-03-01",
                       "--threads", words("%d", threads)),
                   2, CASES[i].err);
        buffer_free(&file);
    }
}

static void claim_files(void **state)
{
    static const struct {
        const char *bytes;
        size_t length;
        const char *err;
    } CASES[] = {
#define BYTES(literal) literal, sizeof(literal) - 1
        {BYTES(""), "bad.csv: the file is empty; its first row must name the columns\n"},
        {BYTES("\n\n \n"), "bad.csv: the file is empty; its first row must name the columns\n"},
        {BYTES("claim,dealer,repair_order,campaign,vin\n"),
         "bad.csv:1: the column \"outcome\" is missing; add it to the first row\n"},
        {BYTES(HEADER "C1,\"D137,R1,H26-02,V,repaired\n" ROW),
         "bad.csv:2: a quote that opens here is never closed; close it, and double quotes inside a cell\n"},
        {BYTES("\xff\xfe"
               "c\0l\0"),
         "bad.csv: is not UTF-8 text; save it as CSV UTF-8\n"},
        {BYTES("SQLite format 3\0xyz\n"), "bad.csv: is not UTF-8 text; save it as CSV UTF-8\n"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++)
        check_this("bad.csv", CASES[i].bytes, CASES[i].length, CASES[i].err);
    expect(RUN("check", folder, "--office", demo_file("office.db")), 2,
           words("%s: this is a folder; name a file\n", folder));
    expect(RUN("check", in_folder("none.csv"), "--office", demo_file("office.db")), 2,
           "none.csv: cannot open: No such file or directory\n");
}

static void office_files(void **state)
{
    const char *claims = in_folder("claims.csv"), *office = in_folder("office.db");
    (void)state;

    write_words(claims, HEADER ROW);
    expect(RUN("check", claims, "--office", office), 2,
           "office.db: there is no such office file; make it with `witnessmark load`, or name another with "
           "--office "
           "FILE\n");
    assert_false(file_is_there(office));
    expect(RUN("check", claims, "--office", folder), 2,
           words("%s: this is a folder; name an office file\n", folder));
    write_words(office,
                "this is a letter to the office, not an office file, however long it may go on and on\n");
    expect(RUN("check", claims, "--office", office), 2,
           "office.db: this is no office file, or a damaged one; name another with --office FILE, or restore "
           "it from a "
           "copy\n");
    expect(RUN("load", "dealers", demo_file("dealers.csv"), "--office", office), 2,
           "office.db: this is no office file, or a damaged one; name another with --office FILE, or restore "
           "it from a "
           "copy\n");
    shell("cp %s %s && printf '\\000\\000\\047\\020' | dd of=%s bs=1 seek=60 conv=notrunc 2>/dev/null",
          demo_file("office.db"), office, office);
    struct result newer = RUN("check", claims, "--office", office);
    assert_int_equal(newer.code, 2);
    assert_non_null(strstr(newer.err, "has version 10000, and this program knows up to "));
    result_free(&newer);
}

static void rules_folders(void **state)
{
    const char *claims = in_folder("claims.csv"), *rules = in_folder("rules");
    (void)state;

    write_words(claims, HEADER ROW);
    expect(RUN("check", claims, "--office", demo_file("office.db"), "--rules", in_folder("none")), 2,
           "none: cannot read the rules folder: No such file or directory\n");
    shell("cp -r rules %s", rules);
    shell("sed -i 's/model_year/modelyear/; s/PSH-1600-01,1/PSH-1600-01,one/' %s/campaigns/H26-02/kits.csv",
          rules);
    shell("sed -i 's/,refuse,/,refused,/' %s/checks/claim/history.csv", rules);
    struct result result = RUN("check", claims, "--office", demo_file("office.db"), "--rules", rules);
    assert_int_equal(result.code, 2);
    assert_string_equal(result.out, "");
    assert_non_null(
        strstr(result.err, "campaigns/H26-02/kits.csv:1:3: no fact \"modelyear\"; nearest is \"model_year\""));
    assert_non_null(strstr(result.err, "campaigns/H26-02/kits.csv:2:8: "));
    assert_non_null(strstr(result.err,
                           "checks/claim/history.csv:2:8: \"refused\" is no effect; write refuse, return, "
                           "hold, cut or note"));
    result_free(&result);
    result = RUN("rules", "lint", "--rules", rules);
    assert_int_equal(result.code, 1);
    assert_non_null(strstr(result.out, "kits.csv:1:3: no fact \"modelyear\"; nearest is \"model_year\""));
    result_free(&result);
}

static void words_on_the_command_line(void **state)
{
    (void)state;
    expect(RUN("frobnicate"), 2, "witnessmark: no command \"frobnicate\"; see `witnessmark --help`\n");
    expect(RUN("check"), 2,
           "witnessmark: something is missing: witnessmark check FILE...; see `witnessmark check --help`\n");
    expect(RUN("check", "--bogus", "x"), 2,
           "witnessmark: no option --bogus here; see `witnessmark check --help`\n");
    expect(RUN("check", "x", "--today", "2026-02-30"), 2,
           "witnessmark: --today \"2026-02-30\" is not a date; write it as 2026-03-01; see `witnessmark check "
           "--help`\n");
    expect(RUN("check", "x", "--received", "soon"), 2,
           "witnessmark: --received \"soon\" is not a date; write it as 2026-03-01; see `witnessmark check "
           "--help`\n");
    expect(RUN("check", "x", "--format", "xml"), 2,
           "witnessmark: --format \"xml\" is none; write text, csv or json; see `witnessmark check --help`\n");
    expect(RUN("check", "x", "--threads", "0"), 2,
           "witnessmark: --threads \"0\" is no number from 1 to 64; see `witnessmark check --help`\n");
    expect(RUN("check", "x", "--out"), 2, "witnessmark: --out needs a value; see `witnessmark check --help`\n");
    expect(RUN("rules", "lint", "B"), 2,
           "witnessmark: \"B\" is too much; see `witnessmark rules lint --help`\n");
    expect(RUN("load", "cars", "x"), 2,
           "\"cars\" is nothing to load; write vehicles, dealers, shipments, approvals or notices\n");
}

static void outputs_that_cannot_be_written(void **state)
{
    const char *claims = in_folder("claims.csv");
    (void)state;

    write_words(claims, HEADER ROW);
    struct result result =
        RUN("check", claims, "--office", demo_file("office.db"), "--out", in_folder("no/such/out"));
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err, "no/such/out: cannot write: No such file or directory"));
    result_free(&result);
    /* a full disk: what goes to standard output is lost, and that is a failed command */
    const char *program = getenv("WITNESSMARK");
    shell("%s check %s --office %s > /dev/full 2> %s; [ $? = 2 ]", program, claims, demo_file("office.db"),
          in_folder("err"));
    char *err = read_whole(in_folder("err"), NULL);
    assert_string_equal(err, "standard output: cannot write: No space left on device\n");
    free(err);
}

static void a_cell_of_ten_megabytes(void **state)
{
    enum { LARGE = 10 * 1024 * 1024 };
    const char *claims = in_folder("large.csv");
    FILE *file = fopen(claims, "wb");
    (void)state;

    need(file != NULL, claims);
    fputs(HEADER "C1,D137,R1,H26-02,", file);
    for (size_t i = 0; i < LARGE; i++)
        fputc('A', file);
    fputs(",repaired\n" ROW, file);
    fclose(file);
    struct result result =
        RUN("check", claims, "--office", demo_file("office.db"), "--format", "csv", "--today", "2026-03-01");
    assert_int_equal(result.code, 1);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    assert_int_equal(sheet.count, 3);
    assert_string_equal(csv_at(&sheet, 1, "findings"), "row-unreadable");
    assert_string_equal(csv_at(&sheet, 1, "vin"), "");
    assert_string_equal(csv_at(&sheet, 1, "claim"), "C1");
    assert_string_equal(csv_at(&sheet, 2, "vin"), "EZ7BAMCK6KE421489");
    csv_sheet_free(&sheet);
    result_free(&result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(claim_files),
        cmocka_unit_test(large_claim_files),
        cmocka_unit_test(office_files),
        cmocka_unit_test(rules_folders),
        cmocka_unit_test(words_on_the_command_line),
        cmocka_unit_test(outputs_that_cannot_be_written),
        cmocka_unit_test(a_cell_of_ten_megabytes),
    };
    char pattern[] = "/tmp/witnessmark-bad-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
