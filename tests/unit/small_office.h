/* small_office.h - for tests: an office file of some twenty claims that has a record of every kind, made by the
 * program on the office data and rules of probe.h; and the means to damage it.
 *
 *   batch 1, 2026-03-10   A1 (row 1), A2, B1, B2 are paid 100.00 each; A3 to A6 are held, A7 returned, A8
 * refused; B3 leaves follow-up work; A9 cannot be read; then D2's P1 to P8 are paid 10.00 each batch 2 A1 again
 * (repeated), A2 with another content (counts for nothing), B3 revised, which brings the part for its work
 *   people                A3 paid, A4 refused, A5 returned, A3 reversed; A6 waits
 *   and                   a comparison of dealers in which some stand out, notices, a sample of five that is
 * judged and charged back claim by claim, and one by money in which nothing is judged
 */
#ifndef WM_TEST_SMALL_OFFICE_H
#define WM_TEST_SMALL_OFFICE_H

#include "probe.h"

#include <sqlite3.h>

#define PAY_100 "|labor=OP-1=1.5|labor_amount=100|total_amount=100|technician=T1|parts=K-A=1"
#define PAY_10 "|dealer=D2|labor=OP-1=1|labor_amount=10|total_amount=10|technician=T2"

static const char SMALL_BATCH_1[] =
    "claim=A1" PAY_100 "\n"
    "claim=A2|vin=" VIN_TWIN_1 PAY_100 "\n"
    "claim=A3|vin=" VIN_TWIN_2 "|engine=HOLD" PAY_100 "\n"
    "claim=A4|engine=HOLD|completed_on=" PAY_100 "\n"
    "claim=A5|engine=HOLD|dealer=D2" PAY_10 "\n"
    "claim=A6|engine=HOLD|dealer=D3\n"
    "claim=A7|engine=RETURN\n"
    "claim=A8|engine=REFUSE\n"
    "claim=A9|vin=\n"
    "claim=B1|vin=" VIN_B "|labor=OP-1=1.2|labor_amount=100|total_amount=100|technician=T1\n"
    "claim=B2|vin=" VIN_BETA "|labor=OP-1=1.2|labor_amount=100|total_amount=100|technician=T1\n"
    "claim=B3|vin=" VIN_A "|repair_order=R3|inspections=CAP=wrong" PAY_10 "\n"
    "claim=P1" PAY_10 "\nclaim=P2" PAY_10 "\nclaim=P3" PAY_10 "\nclaim=P4" PAY_10 "\n"
    "claim=P5" PAY_10 "\nclaim=P6" PAY_10 "\nclaim=P7" PAY_10 "\nclaim=P8" PAY_10;
static const char SMALL_BATCH_2[] =
    "claim=A1|repair_order=R1" PAY_100 "\n"
    "claim=A2|vin=" VIN_TWIN_1 "|technician=T9\n"
    "claim=B3|revision=1|vin=" VIN_A "|repair_order=R3|inspections=CAP=wrong|parts=CP-1=1" PAY_10;

static char *small_whole; /* its path */

static inline void small_runs(struct result result)
{
    if (result.code != 0)
        fail_msg("%s%s", result.out, result.err);
    result_free(&result);
}

#define SMALL(...) small_runs(RUN(__VA_ARGS__, "--office", small_whole, "--rules", probe_path("rules")))

static inline void small_post(const char *claims, const char *today)
{
    SMALL("post", probe_write_claims(claims), "--today", today, "--quiet");
}

static inline void small_decide(const char *command, const char *claim, const char *decision)
{
    if (decision != NULL)
        SMALL(command, claim, decision, "--by", "A. Clerk", "--reason", "papers seen", "--today", "2026-03-12");
    else
        SMALL(command, claim, "--by", "A. Clerk", "--reason", "the wrong vehicle", "--today", "2026-03-13");
}

/* The first claim was paid too much, of the second papers are missing; the rest is right. */
static inline const char *small_judge(const char *sheet_path)
{
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path);
    const char *path = probe_path("judged.csv");
    FILE *file = fopen(path, "w");

    need(file != NULL, path);
    fputs("dealer,claim,judgement,right_amount\n", file);
    for (size_t row = 1; row < sheet.count; row++)
        fprintf(file, "%s,%s,%s\n", csv_at(&sheet, row, "dealer"), csv_at(&sheet, row, "claim"),
                row == 1   ? "error,4.00"
                : row == 2 ? "missing,"
                           : "upheld,");
    fclose(file);
    csv_sheet_free(&sheet);
    return path;
}

/* For cmocka_run_group_tests. */
static inline int small_open(void **state)
{
    probe_open(state);
    write_words(probe_path("rules/campaigns/T1/followups.csv"),
                "C,inspection:CAP,>followup,>part,>due_days\ncap,wrong,renew the cap,CP-1,60\n");
    write_words(
        probe_path("rules/outliers.csv"),
        "measure,title,of_decision,of_outcome,decision,outcome,effect,finding,followup,side,near,far,draw_in\n"
        "held,Claims that were held,,repaired,,,hold,,,both,0.6,0.7,0\n"
        "work,Claims with follow-up work,pay;hold,,,,,,opened;supplied,high,0.6,0.7,0.1\n");
    write_words(probe_path("notices.csv"),
                "campaign,quarter,involved,explanation,submitted_on\nT1,2026-Q1,7,,\n");
    small_whole = words("%s", probe_path("office.db"));
    small_post(SMALL_BATCH_1, "2026-03-10");
    small_post(SMALL_BATCH_2, "2026-03-11");
    small_decide("decide", "D1/A3", "pay");
    small_decide("decide", "D1/A4", "refuse");
    small_decide("decide", "D2/A5", "return");
    small_decide("reverse", "D1/A3", NULL);
    SMALL("outliers", "record", "--by", "A. Clerk", "--today", "2026-03-14", "--quiet");
    SMALL("load", "notices", probe_path("notices.csv"), "--today", "2026-03-15", "--quiet");
    SMALL("sample", "draw", "--name", "first", "--because", "the first audit", "--size", "5", "--seed", "1",
          "--dealer", "D2", "--today", "2026-04-01", "--out", probe_path("sheet.csv"));
    SMALL("sample", "draw", "--name", "second", "--because", "the second audit", "--size", "4", "--by", "money",
          "--seed", "1", "--today", "2026-04-02");
    SMALL("sample", "record", "first", small_judge(probe_path("sheet.csv")), "--by", "A. Auditor", "--today",
          "2026-04-10");
    SMALL("chargeback", "first", "--by", "A. Clerk", "--reason", "the audit", "--notified", "2026-04-11",
          "--today", "2026-05-11");
    return 0;
}

/* --- Damage ------------------------------------------------------------------------------------- */

static inline void small_sql(sqlite3 *database, const char *sql)
{
    char *error = NULL;

    if (sqlite3_exec(database, sql, NULL, NULL, &error) != SQLITE_OK)
        fail_msg("%s: %s", sql, error);
}

/* The SQL that drops all triggers, and the one that makes them again. */
static inline void small_triggers(sqlite3 *database, char **ret_drop, char **ret_make)
{
    sqlite3_stmt *list;

    *ret_drop = words("%s", "");
    *ret_make = words("%s", "");
    assert_int_equal(sqlite3_prepare_v2(database, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'",
                                        -1, &list, NULL),
                     SQLITE_OK);
    while (sqlite3_step(list) == SQLITE_ROW) {
        *ret_drop = words("%sDROP TRIGGER %s;", *ret_drop, (const char *)sqlite3_column_text(list, 0));
        *ret_make = words("%s%s;", *ret_make, (const char *)sqlite3_column_text(list, 1));
    }
    sqlite3_finalize(list);
}

/* A copy of the whole office as somebody who minds no trigger edits it. Gives its path. */
static inline const char *small_edited(const char *sql)
{
    const char *path = probe_path("edited.db");
    char *drop, *make;
    sqlite3 *database;

    shell("cp %s %s", small_whole, path);
    assert_int_equal(sqlite3_open(path, &database), SQLITE_OK);
    small_triggers(database, &drop, &make);
    small_sql(
        database,
        "PRAGMA journal_mode = DELETE; PRAGMA synchronous = OFF; PRAGMA ignore_check_constraints = ON; BEGIN");
    small_sql(database, drop);
    small_sql(database, sql);
    small_sql(database, make);
    small_sql(database, "COMMIT");
    sqlite3_close(database);
    return path;
}

#endif
