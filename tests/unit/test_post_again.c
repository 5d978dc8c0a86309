/* A file that is posted again writes what it wrote the first time, whatever happened since; an office file that
 * cannot be made whole is not there at all; and a claim in JSON is whole or none, wherever memory ends. */
#include "program.h"

#include <jansson.h>
#include <pthread.h>
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
    /* the findings alone, and the replies alone */
    struct result alone = RUN("post", demo_file("night-1.csv"), "--office", office, "--today", "2026-06-01",
                              "--findings", words("%s/alone.csv", folder), "--quiet");
    assert_int_equal(alone.code, 0);
    result_free(&alone);
    shell("cmp %s/alone.csv %s/first/findings.csv", folder, folder);
    alone = RUN("post", demo_file("night-1.csv"), "--office", office, "--today", "2026-06-01", "--replies",
                words("%s/alone", folder), "--quiet");
    assert_int_equal(alone.code, 0);
    result_free(&alone);
    shell("test $(ls %s/alone/*.txt | wc -l) = $(ls %s/first/replies | wc -l)", folder, folder);
    struct result verified = RUN("verify", "--office", office, "--again");
    assert_int_equal(verified.code, 0);
    result_free(&verified);
}

/* One claim that is corrected in a later file: its first row is compared with itself alone. */
static void a_corrected_claim_is_written_again(void **state)
{
    static const char *const FILES[] = {"one.csv", "two.csv"};
    (void)state;

    shell("cp %s %s && head -n 2 fixtures/readme/claims.csv > %s/one.csv", demo_file("office.db"), office, folder);
    shell("sed '1s/$/,revision/; 2s/$/,1/; 2s/RO-8101/RO-8199/' %s/one.csv > %s/two.csv", folder, folder);
    for (size_t i = 0; i < 2 * COUNT(FILES); i++) {
        const char *out = words("%s/out-%zu", folder, i);
        struct result result = RUN("post", words("%s/%s", folder, FILES[i % 2]), "--office", office, "--today",
                                   "2026-03-02", "--out", out);
        assert_int_equal(result.code, 0);
        assert_int_equal(strstr(result.out, "nothing was changed") != NULL, i >= COUNT(FILES));
        result_free(&result);
    }
    shell("cmp %s/out-0 %s/out-2 && cmp %s/out-1 %s/out-3", folder, folder, folder, folder);
}

/* The office, as one who minds no trigger edits a column of row 7. The schema is afterwards as it was: one that is not
 * is refused before anything is compared. */
static void edit_row(const char *set)
{
    sqlite3 *database;
    sqlite3_stmt *statement;

    assert_int_equal(sqlite3_open(office, &database), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(database, "SELECT sql FROM sqlite_schema WHERE name = 'claim_rows_update'", -1,
                                        &statement, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    const char *edit = words("DROP TRIGGER claim_rows_update; UPDATE claim_rows SET %s WHERE row = 7; %s", set,
                             (const char *)sqlite3_column_text(statement, 0));
    sqlite3_finalize(statement);
    assert_int_equal(sqlite3_exec(database, edit, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(database);
}

/* What would come out different is not passed off as what was recorded. */
static void what_differs_is_not_written(void **state)
{
    static const char *const EDITS[] = {"payable_cents = payable_cents + 1", "due_cents = due_cents - 1",
                                        "decision = CASE decision WHEN 'pay' THEN 'hold' ELSE 'pay' END"};
    (void)state;

    shell("cp %s %s", demo_file("office.db"), office);
    struct result first = post("night-1.csv", "2026-03-02", "csv", "first");
    assert_int_equal(first.code, 0);
    result_free(&first);
    shell("cp %s %s/recorded.db", office, folder);
    for (size_t i = 0; i < COUNT(EDITS); i++) {
        shell("cp %s/recorded.db %s", folder, office);
        edit_row(EDITS[i]);
        struct result again = post("night-1.csv", "2026-03-02", "csv", "again");
        assert_int_equal(again.code, 2);
        if (strstr(again.err,
                   " is not what is recorded, so nothing is written; `witnessmark verify --again` says what "
                   "differs, the program of that time writes it\n") == NULL)
            fail_msg("%s: not said: %s", EDITS[i], again.err);
        shell("test ! -e %s/again/decisions && test -z \"$(ls %s/again/replies)\"", folder, folder);
        result_free(&again);
    }
}

/* --- Where replies go -------------------------------------------------------------------------------- */

#define HEADER "claim,dealer,repair_order,campaign,vin,outcome,total_amount\n"

static struct result post_claims(const char *claims, const char *replies, const char *format)
{
    write_words(words("%s/claims.csv", folder), words("%s%s", HEADER, claims));
    return RUN("post", words("%s/claims.csv", folder), "--office", office, "--today", "2026-03-02", "--format", format,
               "--out", words("%s/decisions", folder), "--replies", replies);
}

/* Many dealers, and names that no file can have: two that differ behind what fits have two files. */
static void each_dealer_has_a_file(void **state)
{
    enum { MANY = 300, LONG = 200 };
    char *claims = words("%s", ""), end[LONG + 1];
    (void)state;

    memset(end, '/', LONG);
    end[LONG] = '\0';
    for (int i = 0; i < MANY; i++)
        claims = words("%sc%d,M-%d_x.y,R,H26-02,V%d,repaired,1\n", claims, i, i, i);
    claims = words("%sa,%s1,R,H26-02,V,repaired,1\nb,%s2,R,H26-02,W,repaired,1\n", claims, end, end);
    shell("cp %s %s && rm -rf %s/many", demo_file("office.db"), office, folder);
    struct result result = post_claims(claims, words("%s/many", folder), "csv");
    assert_int_equal(result.code, 0);
    result_free(&result);
    shell("test $(ls -A %s/many | wc -l) -eq %d", folder, MANY + 2);
    shell("test $(cat %s/many/M-*_x.y.csv | grep -c ,M-) -eq 0", folder);
    shell("grep -q '^c299,0,H26-02,V299,return,1.00,' %s/many/M-299_x.y.csv", folder);
    /* three characters each until there is no room, then a hash of the whole name */
    shell("test $(ls %s/many | grep -cE '^(%%2F){54}%%[0-9a-f]{16}[.]csv$') -eq 2", folder);
    shell("test $(grep -l '^a,' %s/many/%%2F*.csv | wc -l) -eq 1", folder);
}

/* What a row lacks is left out of its reply, and the rest is said. */
static void replies_of_rows_that_lack_something(void **state)
{
    static const char CLAIMS[] = "c1,M,R,H26-02,,repaired,1\nc2,M,R,,V,repaired,1\n,M,R,H26-02,V,repaired,1\n"
                                 "c4,M,R,H26-02,V,repaired,x\nc5,,R,H26-02,V,repaired,1\n";
    (void)state;

    shell("cp %s %s && rm -rf %s/lack", demo_file("office.db"), office, folder);
    struct result result = post_claims(CLAIMS, words("%s/lack", folder), "text");
    assert_int_equal(result.code, 0);
    result_free(&result);
    shell("cp %s %s", demo_file("office.db"), office);
    result = post_claims(CLAIMS, words("%s/lack", folder), "csv");
    assert_int_equal(result.code, 0);
    result_free(&result);
    char *text = read_whole(words("%s/lack/M.txt", folder), NULL),
         *csv = read_whole(words("%s/lack/M.csv", folder), NULL);
    assert_non_null(strstr(text, "Claim c1, campaign H26-02\n"));
    assert_non_null(strstr(text, "Claim c2, vehicle V\n"));
    assert_non_null(strstr(text, "Row on line 4, vehicle V, campaign H26-02\n"));
    const char *last = strstr(text, "Claim c4, vehicle V, campaign H26-02\n");
    assert_non_null(last);
    assert_null(strstr(last, "Asked")); /* the amount could not be read */
    assert_null(strstr(text, "c5"));    /* of no dealer */
    assert_non_null(strstr(csv, "\nc1,0,H26-02,,return,1.00,"));
    assert_non_null(strstr(csv, "\nc4,0,H26-02,V,return,,"));
    free(text);
    free(csv);
}

/* A reply that cannot be put where it belongs is said, and takes nothing back; one that cannot be written at all keeps
 * the file from being recorded. */
static void replies_that_cannot_be_written(void **state)
{
    static const char CLAIMS[] = "c1,M,R,H26-02,V,repaired,1\nc2,N,R,H26-02,W,repaired,1\n";
    (void)state;

    shell("cp %s %s && mkdir -p %s/taken/M.csv && rm -f %s/decisions", demo_file("office.db"), office, folder, folder);
    struct result result = post_claims(CLAIMS, "/proc", "csv"); /* where nobody makes a file */
    assert_int_equal(result.code, 2);
    if (strncmp(result.err, "/proc/M.csv: cannot write: ", 27) != 0)
        fail_msg("%s", result.err);
    assert_false(file_is_there(words("%s/decisions", folder)));
    result_free(&result);
    result = post_claims(CLAIMS, words("%s/taken", folder), "csv");
    assert_int_equal(result.code, 0);
    assert_string_equal(
        result.err,
        words("warning: %s/taken/M.csv: cannot write: Is a directory; it is recorded all the same\n", folder));
    assert_non_null(strstr(result.out, ": batch 1, 2 claims recorded"));
    shell("test \"$(ls -A %s/taken)\" = \"$(printf 'M.csv\nN.csv')\"", folder);
    result_free(&result);
}

/* A name without a folder; and one file as long as a recorded one that has other bytes. */
static void files_like_recorded_ones(void **state)
{
    (void)state;
    shell("cp %s %s", demo_file("office.db"), office);
    for (char letter = 'a'; letter <= 'b'; letter++) {
        write_words(words("%s/%c.csv", folder, letter), words(HEADER "%c,M,R,H26-02,V%c,repaired,1\n", letter, letter));
        shell("rules=$PWD/rules && cd %s && %s post %c.csv --rules $rules --office office.db --today 2026-03-02 "
              "--threads 2 > said",
              folder, getenv("WITNESSMARK"), letter);
        char *said = read_whole(words("%s/said", folder), NULL);
        if (strstr(said, words("%c.csv: batch %d, 1 claims recorded", letter, letter - 'a' + 1)) == NULL)
            fail_msg("%s", said);
        free(said);
    }
    struct result verified = RUN("verify", "--office", office, "--again");
    assert_int_equal(verified.code, 0);
    result_free(&verified);
}

/* Reads the office until the writer's journal is there. */
static void *read_meanwhile(void *database)
{
    for (int i = 0; i < 1000 && !file_is_there(words("%s-journal", office)); i++)
        usleep(10000);
    sqlite3_exec(database, "COMMIT", NULL, NULL, NULL);
    return NULL;
}

/* Where another program reads, the file may be kept from the mode in which readers and a writer do not wait for each
 * other: then one connection does both. */
static void beside_a_reader_that_is_waited_for(void **state)
{
    sqlite3 *database;
    pthread_t reader;
    (void)state;

    shell("cp %s %s", demo_file("office.db"), office);
    assert_int_equal(sqlite3_open(office, &database), SQLITE_OK);
    assert_int_equal(sqlite3_exec(database, "PRAGMA journal_mode = DELETE; BEGIN; SELECT count(*) FROM batches", NULL,
                                  NULL, NULL),
                     SQLITE_OK);
    assert_int_equal(pthread_create(&reader, NULL, read_meanwhile, database), 0);
    struct result result = RUN("post", demo_file("night-1.csv"), "--office", office, "--today", "2026-03-02", "--out",
                               words("%s/waited", folder));
    pthread_join(reader, NULL);
    sqlite3_close(database);
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(result.out, "night-1.csv: batch 1, "));
    result_free(&result);
    struct result verified = RUN("verify", "--office", office, "--again");
    assert_int_equal(verified.code, 0);
    result_free(&verified);
}

/* Nothing was recorded that the words could be about: then that they cannot be printed is a failure. */
static void words_that_cannot_be_printed(void **state)
{
    (void)state;
    shell("cp %s %s && head -n 2 fixtures/readme/claims.csv > %s/one.csv", demo_file("office.db"), office, folder);
    for (int again = 0; again <= 1; again++) {
        int code = system(words("%s post %s/one.csv --office %s --today 2026-03-02 > /dev/full 2> %s/err",
                                getenv("WITNESSMARK"), folder, office, folder));
        char *said = read_whole(words("%s/err", folder), NULL);
        assert_int_equal(WEXITSTATUS(code), again ? 2 : 0);
        assert_string_equal(said, again ? "standard output: cannot write: No space left on device\n"
                                        : "warning: it is done, but what was done could not be printed: No space left "
                                          "on device\n");
        free(said);
    }
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
        cmocka_unit_test(outputs_are_written_again),
        cmocka_unit_test(a_corrected_claim_is_written_again),
        cmocka_unit_test(what_differs_is_not_written),
        cmocka_unit_test(each_dealer_has_a_file),
        cmocka_unit_test(replies_of_rows_that_lack_something),
        cmocka_unit_test(replies_that_cannot_be_written),
        cmocka_unit_test(files_like_recorded_ones),
        cmocka_unit_test(beside_a_reader_that_is_waited_for),
        cmocka_unit_test(words_that_cannot_be_printed),
        cmocka_unit_test(no_office_without_a_load),
        cmocka_unit_test(a_name_is_given_once),
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
