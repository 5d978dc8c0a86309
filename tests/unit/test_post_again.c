/* A file that is posted again writes what it wrote the first time, whatever happened since; an office file that
 * cannot be made whole is not there at all; and a claim in JSON is whole or none, wherever memory ends. */
#include "program.h"

#include <jansson.h>
#include <sqlite3.h>

#include "base/status.h"
#include "cli/write_claims.h"
#include "ledger/office.h"

static char *folder, *office;

static struct result post(const char *night, const char *day, const char *format, const char *to)
{
    shell("rm -rf %s/%s && mkdir %s/%s", folder, to, folder, to);
    return RUN("post", demo_file(night), "--office", office, "--today", day, "--format", format, "--out",
               words("%s/%s/decisions", folder, to), "--findings", words("%s/%s/findings.csv", folder, to),
               "--replies", words("%s/%s/replies", folder, to));
}

static void outputs_are_written_again(void **state)
{
    static const char *const FORMATS[] = {"text", "csv", "json"};
    (void)state;

    for (size_t i = 0; i < COUNT(FORMATS); i++) {
        shell("cp %s %s", demo_file("office.db"), office);
        struct result first = post("night-1.csv", "2026-03-02", FORMATS[i], "first");
        assert_int_equal(first.code, 0);
        result_free(&first);
        first = post("night-2.csv", "2026-03-30", FORMATS[i], "other");
        assert_int_equal(first.code, 0);
        result_free(&first);
        first = RUN("decide", "D111/C10014", "pay", "--by", "A. Clerk", "--reason", "papers seen", "--office",
                    office);
        assert_int_equal(first.code, 0);
        result_free(&first);
        write_words(words("%s/dealers.csv", folder),
                    "dealer,name,region,labor_rate,parts_markup\nD101,Renamed,US-CA,1.00,0\n");
        first = RUN("load", "dealers", words("%s/dealers.csv", folder), "--office", office, "--quiet");
        assert_int_equal(first.code, 0);
        result_free(&first);
        struct result again = post("night-1.csv", "2026-06-01", FORMATS[i], "again");
        assert_int_equal(again.code, 0);
        if (strstr(again.out, "nothing was changed; its decisions of that day were written again\n") == NULL)
            fail_msg("not said: %s", again.out);
        shell("diff -r %s/first %s/again", folder, folder);
        shell("test $(ls %s/again/replies | wc -l) -gt 20", folder);
        result_free(&again);
    }
    struct result verified = RUN("verify", "--office", office, "--again");
    assert_int_equal(verified.code, 0);
    result_free(&verified);
}

/* What would come out different is not passed off as what was recorded. */
static void what_differs_is_not_written(void **state)
{
    sqlite3 *database;
    (void)state;

    shell("cp %s %s", demo_file("office.db"), office);
    struct result first = post("night-1.csv", "2026-03-02", "csv", "first");
    assert_int_equal(first.code, 0);
    result_free(&first);
    assert_int_equal(sqlite3_open(office, &database), SQLITE_OK);
    sqlite3_stmt *statement;
    assert_int_equal(sqlite3_prepare_v2(database, "SELECT sql FROM sqlite_schema WHERE name = 'claim_rows_update'", -1,
                                        &statement, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    /* the schema is afterwards as it was: one that is not is refused before anything is compared */
    const char *edit = words("DROP TRIGGER claim_rows_update;"
                             "UPDATE claim_rows SET payable_cents = payable_cents + 1 WHERE row = 7; %s",
                             (const char *)sqlite3_column_text(statement, 0));
    sqlite3_finalize(statement);
    assert_int_equal(sqlite3_exec(database, edit, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(database);
    struct result again = post("night-1.csv", "2026-03-02", "csv", "again");
    assert_int_equal(again.code, 2);
    if (strstr(again.err,
               " is not what is recorded, so nothing is written; `witnessmark verify --again` says what "
               "differs, the program of that time writes it\n") == NULL)
        fail_msg("not said: %s", again.err);
    shell("test ! -e %s/again/decisions && test -z \"$(ls %s/again/replies)\"", folder, folder);
    result_free(&again);
}

/* --- The first load ---------------------------------------------------------------------------------- */

static void no_office_without_a_load(void **state)
{
    static const struct {
        const char *kind, *text;
    } BAD[] = {
        {"dealers", "dealer,name\nD1,One\n"},
        {"dealers", "dealer,name,region,labor_rate,parts_markup\nD1,One,US-NY,many,0\n"},
        {"vehicles", "vin\n123456789012345678\n"},
        {"shipments", ""},
        {"approvals", "\"never closed\n"},
    };
    const char *own = words("%s/own", folder), *file = words("%s/own/new.db", folder);
    (void)state;

    shell("mkdir %s", own);
    for (size_t i = 0; i < COUNT(BAD); i++) {
        write_words(words("%s/bad.csv", folder), BAD[i].text);
        struct result result = RUN("load", BAD[i].kind, words("%s/bad.csv", folder), "--office", file);
        assert_int_equal(result.code, 2);
        shell("test -z \"$(ls -A %s)\"", own);
        result_free(&result);
    }
    struct result result = RUN("load", "dealers", words("%s/none.csv", folder), "--office", file);
    assert_int_equal(result.code, 2);
    shell("test -z \"$(ls -A %s)\"", own);
    result_free(&result);
    result = RUN("load", "dealers", demo_file("dealers.csv"), "--office", file, "--quiet");
    assert_int_equal(result.code, 0);
    shell("test \"$(ls -A %s)\" = new.db", own);
    result_free(&result);
    /* a load that fails later leaves the office as it was */
    shell("cp %s %s/before.db", file, folder);
    result = RUN("load", "approvals", words("%s/bad.csv", folder), "--office", file);
    assert_int_equal(result.code, 2);
    result_free(&result);
    shell("sqlite3 %s .dump > %s/a 2>/dev/null && sqlite3 %s/before.db .dump > %s/b && cmp %s/a %s/b || ! "
          "command -v "
          "sqlite3 > /dev/null",
          file, folder, folder, folder, folder, folder);
}

/* Two first loads at once: the later one to finish does not put its file over the other's. */
static void a_name_is_given_once(void **state)
{
    struct capture capture;
    struct office *one, *other;
    const char *file = words("%s/once.db", folder);
    (void)state;

    capture_start(&capture);
    assert_false(office_is_there(file));
    assert_int_equal(office_open_new(file, &capture.sink, &one), WM_OK);
    assert_false(office_is_there(file));
    shell("cp %s %s", demo_file("office.db"), file);
    assert_int_equal(office_close_new(one, WM_OK), WM_IO);
    assert_string_equal(capture.text,
                        words("%s: another program has made this office file meanwhile; run it again\n", file));
    shell("cmp %s %s && test $(ls %s/once.db* | wc -l) = 1", demo_file("office.db"), file, folder);
    shell("rm %s", file);
    assert_int_equal(office_open_new(file, &capture.sink, &other), WM_OK);
    assert_int_equal(office_close_new(other, WM_OK), WM_OK);
    assert_true(office_is_there(file));
    assert_int_equal(office_close_new(NULL, WM_BAD_INPUT), WM_BAD_INPUT);
}

/* --- Memory ------------------------------------------------------------------------------------------ */

static size_t allowed;

static void *allocate(size_t size)
{
    return allowed > 0 ? (allowed--, malloc(size)) : NULL;
}

static void json_is_whole_or_none(void **state)
{
    struct finding findings[2] = {{.effect = EFFECT_CUT,
                                   .name = TEXT("hours-over"),
                                   .item = TEXT("PSR-10"),
                                   .message = TEXT("Too many."),
                                   .rule_file = TEXT("checks/labor/operations.csv"),
                                   .rule_row = TEXT("over")},
                                  {.effect = EFFECT_NOTE, .name = TEXT("noted"), .message = TEXT("So it is.")}};
    struct dossier dossier = {
        .claim = {.line = 2, .vin = TEXT("V"), .total_is_known = true, .total_amount_cents = 5},
        .decision = DECISION_PAY,
        .findings = findings,
        .finding_count = 2};
    struct buffer whole = BUFFER_EMPTY;
    size_t n = 0;
    int status = WM_NO_MEMORY;
    (void)state;

    for (int i = 0; i < CLAIM_COLUMNS; i++)
        dossier.claim.cells[i] = TEXT("cell");
    assert_int_equal(write_claim_json(&whole, TEXT("a file"), &dossier), WM_OK);
    json_set_alloc_funcs(allocate, free);
    for (; status != WM_OK && n < 1000; n++) {
        struct buffer out = BUFFER_EMPTY;
        allowed = n;
        status = write_claim_json(&out, TEXT("a file"), &dossier);
        if (status == WM_OK)
            assert_true(text_equal(buffer_text(&out), buffer_text(&whole)));
        else
            assert_int_equal(status, WM_NO_MEMORY);
        buffer_free(&out);
    }
    json_set_alloc_funcs(malloc, free);
    assert_true(n > 50 && n < 1000);
    buffer_free(&whole);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(outputs_are_written_again), cmocka_unit_test(what_differs_is_not_written),
        cmocka_unit_test(no_office_without_a_load),  cmocka_unit_test(a_name_is_given_once),
        cmocka_unit_test(json_is_whole_or_none),
    };
    char made[] = "/tmp/witnessmark-again-XXXXXX";

    need(mkdtemp(made) != NULL, made);
    folder = made;
    office = words("%s/office.db", folder);
    int failed = cmocka_run_group_tests_name("post again", tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
