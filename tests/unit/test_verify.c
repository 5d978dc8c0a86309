/* verify: passes on what the program recorded, and fails after any column of any table was changed once by
 * another program; decides every batch again; and proves by a chain digest that nothing was cut off. */
#include "program.h"

#include <sqlite3.h>

#include "base/status.h"
#include "ledger/verify_parts.h"

static char *folder, *whole, *office;

/* A corrected revision of a recorded claim that supplies what its follow-up work waits for. */
static void post_correction(const char *claim, const char *today)
{
    const char *path = words("%s/correction.csv", folder);
    FILE *file = fopen(path, "w");
    size_t found = 0;

    need(file != NULL, path);
    for (int night = 1; night <= 3; night++) {
        struct csv_sheet sheet = csv_sheet_of_file(demo_file(words("night-%d.csv", night)));
        for (size_t row = 1; row < sheet.count && found == 0; row++) {
            if (strcmp(csv_at(&sheet, row, "claim"), claim) != 0)
                continue;
            found = row;
            for (size_t at = 0; at <= row; at += row)
                for (size_t c = 0; sheet.rows[0][c] != NULL; c++) {
                    const char *name = sheet.rows[0][c], *cell = sheet.rows[at][c];
                    bool revised = at > 0 && strcmp(name, "revision") == 0,
                         parts = at > 0 && strcmp(name, "parts") == 0;
                    fprintf(file, "%s\"%s%s\"%s", c > 0 ? "," : "", revised ? "1" : cell,
                            parts ? "; RCP-0330=1" : "", sheet.rows[0][c + 1] == NULL ? "\n" : "");
                }
        }
        csv_sheet_free(&sheet);
    }
    fclose(file);
    assert_true(found > 0);
    struct result result = RUN("post", path, "--office", whole, "--today", today, "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
}

/* With limits so near that some dealer stands out; and what the office says of a quarter. */
static void compare_dealers(void)
{
    char *rules = words("%s/rules", folder), *notices = words("%s/notices.csv", folder);

    shell("cp -r rules %s && sed -i 's/0.975,0.999/0.6,0.7/' %s/outliers.csv", rules, rules);
    struct result result = RUN("outliers", "record", "--by", "A. Clerk", "--office", whole, "--rules", rules, "--today",
                               "2026-04-24", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    write_words(notices, "campaign,quarter,involved,explanation\nH26-02,2026-Q1,1399,\n");
    result = RUN("load", "notices", notices, "--office", whole, "--today", "2026-04-25", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
}

static void runs(struct result result)
{
    if (result.code != 0)
        fail_msg("%s", result.err);
    result_free(&result);
}

/* Samples drawn, one of them judged and charged back. */
static void audit(void)
{
    const char *sheet = words("%s/sheet.csv", folder), *filled = words("%s/filled.csv", folder);

    runs(RUN("sample", "draw", "--name", "first", "--because", "the first audit", "--size", "5", "--seed", "1",
             "--office", whole, "--today", "2026-05-01", "--out", sheet));
    runs(RUN("sample", "draw", "--name", "second", "--because", "the second audit", "--size", "20", "--by",
             "money", "--seed", "1", "--office", whole, "--today", "2026-05-02"));
    struct csv_sheet drawn = csv_sheet_of_file(sheet);
    FILE *file = fopen(filled, "w");
    need(file != NULL, filled);
    fputs("dealer,claim,judgement,right_amount\n", file);
    for (size_t row = 1; row < drawn.count; row++)
        fprintf(file, "%s,%s,%s\n", csv_at(&drawn, row, "dealer"), csv_at(&drawn, row, "claim"),
                row == 1   ? "error,1.00"
                : row == 2 ? "missing,"
                           : "upheld,");
    fclose(file);
    csv_sheet_free(&drawn);
    runs(RUN("sample", "record", "first", filled, "--by", "A. Auditor", "--office", whole, "--today",
             "2026-05-10"));
    runs(RUN("chargeback", "first", "--by", "A. Clerk", "--reason", "the audit", "--notified", "2026-05-10",
             "--office", whole, "--today", "2026-06-10"));
}

static void post_nights(void)
{
    struct csv_sheet nights = csv_sheet_of_file("fixtures/demo-nights.csv");

    shell("cp %s %s", demo_file("office.db"), whole);
    for (size_t night = 1; night < nights.count; night++) {
        const char *day = csv_at(&nights, night, "received_on");
        struct result result = RUN("post", demo_file(csv_at(&nights, night, "file")), "--office", whole,
                                   "--today", day, "--received", day, "--quiet");
        assert_int_equal(result.code, 0);
        result_free(&result);
        if (night == 1)
            post_correction("C11393", "2026-03-05");
    }
    /* so little that it stays among the recent */
    post_correction("C12282", "2026-04-20");
    /* a row that repeats a recorded one, and one that cannot be read */
    shell("head -n 2 %s > %s/again.csv && printf 'broken\\n' >> %s/again.csv", demo_file("night-1.csv"), folder,
          folder);
    struct result result =
        RUN("post", words("%s/again.csv", folder), "--office", whole, "--today", "2026-04-21", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    result = RUN("decide", "D111/C10014", "pay", "--by", "A. Clerk", "--reason", "papers seen", "--office",
                 whole, "--today", "2026-04-22");
    assert_int_equal(result.code, 0);
    result_free(&result);
    result = RUN("reverse", "D111/C10014", "--by", "A. Clerk", "--reason", "the wrong vehicle", "--office",
                 whole, "--today", "2026-04-23");
    assert_int_equal(result.code, 0);
    result_free(&result);
    csv_sheet_free(&nights);
    compare_dealers();
    audit();
}

/* --- Changing one value ----------------------------------------------------------------------------------- */

static void run_sql(sqlite3 *database, const char *sql)
{
    char *error = NULL;

    if (sqlite3_exec(database, sql, NULL, NULL, &error) != SQLITE_OK)
        fail_msg("%s: %s", sql, error);
}

/* The triggers go for a moment: whoever edits the file by other means minds none. Gives the SQL that makes them
 * again. */
static const char *drop_triggers(sqlite3 *database)
{
    sqlite3_stmt *list;
    char *drops = words("%s", ""), *triggers = words("%s", "");

    assert_int_equal(sqlite3_prepare_v2(database, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'",
                                        -1, &list, NULL),
                     SQLITE_OK);
    while (sqlite3_step(list) == SQLITE_ROW) {
        drops = words("%sDROP TRIGGER %s;", drops, (const char *)sqlite3_column_text(list, 0));
        triggers = words("%s%s;", triggers, (const char *)sqlite3_column_text(list, 1));
    }
    sqlite3_finalize(list);
    run_sql(database, drops);
    return triggers;
}

/* The office of all nights, edited by another program. */
static void edit(const char *sql)
{
    sqlite3 *database;

    shell("cp %s %s", whole, office);
    assert_int_equal(sqlite3_open(office, &database), SQLITE_OK);
    const char *triggers = drop_triggers(database);
    run_sql(database, "PRAGMA ignore_check_constraints = ON");
    run_sql(database, sql);
    run_sql(database, triggers);
    sqlite3_close(database);
}

static void change(const char *table, const char *column)
{
    edit(words("UPDATE %s SET %s = CASE typeof(%s) WHEN 'integer' THEN %s + 1000003 WHEN 'text' THEN %s || 'x' "
               "WHEN 'null' THEN CASE WHEN (SELECT type FROM pragma_table_info('%s') WHERE name = '%s') = "
               "'INTEGER' THEN 1 ELSE 'x' END ELSE CAST(zeroblob(length(%s)) AS BLOB) END "
               "WHERE %s IS (SELECT %s FROM %s ORDER BY %s IS NULL LIMIT 1)",
               table, column, column, column, column, table, column, column, column, column, table, column));
}

static bool has_rows(const char *table)
{
    sqlite3 *database;
    sqlite3_stmt *count;
    bool has = false;

    assert_int_equal(sqlite3_open(whole, &database), SQLITE_OK);
    if (sqlite3_prepare_v2(database, words("SELECT count(*) FROM %s", table), -1, &count, NULL) == SQLITE_OK)
        has = sqlite3_step(count) == SQLITE_ROW && sqlite3_column_int(count, 0) > 0;
    sqlite3_finalize(count);
    sqlite3_close(database);
    return has;
}

static void each_column_of_each_table(void **state)
{
    sqlite3 *database;
    sqlite3_stmt *columns;
    size_t changed = 0, missed = 0;
    (void)state;

    assert_int_equal(sqlite3_open(whole, &database), SQLITE_OK);
    assert_int_equal(
        sqlite3_prepare_v2(database,
                           "SELECT t.name, c.name FROM sqlite_schema AS t, pragma_table_info(t.name) AS c "
                           "WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite_%' ORDER BY t.name, c.cid",
                           -1, &columns, NULL),
        SQLITE_OK);
    while (sqlite3_step(columns) == SQLITE_ROW) {
        const char *table = (const char *)sqlite3_column_text(columns, 0);
        const char *column = (const char *)sqlite3_column_text(columns, 1);
        if (!has_rows(table)) {
            print_error("%s has no row to change\n", table);
            missed++;
            continue;
        }
        change(table, column);
        struct result result = RUN("verify", "--office", office);
        if (result.code == 0) {
            print_error("%s.%s was changed, and verify passes\n", table, column);
            missed++;
        } else if (result.err[0] == '\0' || strstr(result.out, "everything fits") != NULL) {
            print_error("%s.%s was changed, and verify does not say so\n", table, column);
            missed++;
        }
        changed++;
        result_free(&result);
    }
    sqlite3_finalize(columns);
    sqlite3_close(database);
    print_message("%zu columns changed\n", changed);
    assert_int_equal(missed, 0);
    assert_true(changed > 100);
}

static void what_was_recorded_fits(void **state)
{
    (void)state;
    struct result result = RUN("verify", "--office", whole, "--again");
    assert_string_equal(result.err, "");
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(result.out, "everything fits"));
    char *head = strstr(result.out, "head of the chain");
    assert_non_null(head);
    head = strchr(head, ':') + 2;
    head[64] = '\0';
    struct result proved = RUN("verify", "--office", whole, "--head", head);
    assert_int_equal(proved.code, 0);
    result_free(&proved);
    /* the office of the morning has not got as far */
    proved = RUN("verify", "--office", demo_file("office.db"), "--head", head);
    assert_int_not_equal(proved.code, 0);
    result_free(&proved);
    result_free(&result);
}

/* Without what verify does first: an edit that fits the chain is one that a faulty program recorded. */
static void decide_again(struct capture *capture)
{
    const struct verify_options options = {.again = true, .threads = 1};
    struct verification verification = {.options = &options, .sink = &capture->sink};

    assert_int_equal(office_open(office, OFFICE_READ, &capture->sink, &verification.office), WM_OK);
    assert_int_equal(office_begin_read(verification.office), WM_OK);
    assert_int_equal(verify_number(&verification, "SELECT count(*) FROM loads", &verification.load_count),
                     WM_OK);
    assert_int_equal(verify_again(&verification), WM_OK);
    assert_true(verification.result.decided_again > 100);
    assert_int_equal(office_end_read(verification.office), WM_OK);
    office_close(verification.office);
    arena_free(&verification.arena);
}

/* Follow-up work is worked out again too: each of these is named as a difference of its row. */
static void followups_are_decided_again(void **state)
{
    static const struct {
        const char *edit, *said;
    } EDITS[] = {
        {"UPDATE followups SET due_on = due_on + 1 WHERE row = (SELECT min(row) FROM followups)",
         "decided again, its follow-up work is another one than is recorded: "},
        {"UPDATE followups SET part = 'X' WHERE row = (SELECT max(row) FROM followups)",
         "decided again, its follow-up work is another one than is recorded: "},
        {"DELETE FROM followups WHERE row = (SELECT max(row) FROM followups)",
         "decided again, it asks for follow-up work that is not recorded: "},
        {"INSERT INTO followups SELECT row, number + 1, vin, followup, part, part_key, due_on FROM "
         "followups ORDER BY row DESC LIMIT 1",
         "decided again, it does not ask for follow-up work that is recorded: "},
        {"DELETE FROM followup_parts",
         "decided again, it supplies a part for earlier follow-up work, which is not recorded; "},
        {"UPDATE followup_parts SET number = number + 1",
         "decided again, it supplies a part for other follow-up work than is recorded; "},
        {"INSERT INTO followup_parts SELECT row, number, supplied_by + 1 FROM followup_parts",
         "decided again, it does not supply a part for follow-up work, as is recorded; "},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(EDITS); i++) {
        struct capture capture;
        capture_start(&capture);
        edit(EDITS[i].edit);
        decide_again(&capture);
        if (strstr(capture.text, EDITS[i].said) == NULL)
            fail_msg("%s: not said: %s; but: %s", EDITS[i].edit, EDITS[i].said, capture.text);
    }
}

static void triggers_refuse_edits(void **state)
{
    static const char *const EDITS[] = {
        "UPDATE claim_rows SET payable_cents = 0",
        "DELETE FROM claim_rows",
        "UPDATE findings SET effect = 'note'",
        "DELETE FROM findings",
        "UPDATE batches SET today = 0",
        "DELETE FROM batches",
        "UPDATE office_decisions SET reason = ''",
        "DELETE FROM office_decisions",
        "UPDATE chain SET number = 0",
        "DELETE FROM chain",
        "UPDATE row_blocks SET records = x''",
        "UPDATE vehicle_versions SET load = 9",
        "DELETE FROM loads",
        "UPDATE notice_versions SET involved = 0",
        "DELETE FROM notice_versions",
        "UPDATE outlier_runs SET recorded_by = ''",
        "DELETE FROM outlier_runs",
        "UPDATE outlier_measures SET all_of = 0",
        "DELETE FROM outlier_measures",
        "UPDATE outlier_flags SET basis = ''",
        "DELETE FROM outlier_flags",
        "UPDATE samples SET seed = ''",
        "DELETE FROM samples",
        "DELETE FROM sample_regions",
        "DELETE FROM sample_strata",
        "UPDATE sample_frame SET stratum = 2",
        "DELETE FROM sample_items",
        "UPDATE judgements SET right_cents = 0",
        "DELETE FROM judgement_files",
        "UPDATE chargebacks SET beyond_cents = 1",
        "DELETE FROM chargeback_items",
    };
    sqlite3 *database;
    (void)state;

    shell("cp %s %s", whole, office);
    assert_int_equal(sqlite3_open(office, &database), SQLITE_OK);
    for (size_t i = 0; i < COUNT(EDITS); i++)
        if (sqlite3_exec(database, EDITS[i], NULL, NULL, NULL) != SQLITE_CONSTRAINT)
            fail_msg("not refused: %s", EDITS[i]);
    sqlite3_close(database);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_recorded_fits),
        cmocka_unit_test(each_column_of_each_table),
        cmocka_unit_test(followups_are_decided_again),
        cmocka_unit_test(triggers_refuse_edits),
    };
    char pattern[] = "/tmp/witnessmark-verify-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    whole = words("%s/whole.db", folder);
    office = words("%s/office.db", folder);
    post_nights();
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
