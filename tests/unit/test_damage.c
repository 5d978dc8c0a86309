/* An office file that somebody changed by other means, one value at a time: what verify says of it, first and
 * last; and that everything else which reads it reads on or refuses it with one line, and never a wrong claim.
 */
#include "rules_kit.h"
#include "small_office.h"

#include "base/status.h"
#include "ledger/completion.h"
#include "ledger/flags.h"
#include "ledger/followups_list.h"
#include "ledger/listing.h"
#include "ledger/paid.h"
#include "ledger/past.h"
#include "ledger/replay.h"
#include "ledger/tallies_then.h"
#include "ledger/verify_parts.h"

#define AGAIN "; restore the file from a copy"
#define DAMAGED_FILE \
    "this is no office file, or a damaged one; name another with --office FILE, or restore it from a copy"

struct damage {
    const char *sql, *first; /* what verify says first: the whole line, or its beginning */
    const char *also;        /* NULL, or what it says somewhere */
};

/* Without the name of the file. */
static const char *behind_name(const char *line)
{
    const char *found = strstr(line, "edited.db: ");

    return found != NULL ? found + strlen("edited.db: ") : line;
}

static int verify_edited(const char *path, bool again, struct capture *capture, struct verify_result *result)
{
    const struct verify_options options = {.again = again, .threads = 1};
    struct office *office = NULL;

    capture_start(capture);
    int status = office_open(path, OFFICE_PROVE, &capture->sink, &office);
    if (status == WM_OK)
        status = ledger_verify(office, &options, &capture->sink, result);
    office_close(office);
    return status;
}

static void expect_said(const struct damage *damages, size_t count)
{
    size_t missed = 0;

    for (size_t i = 0; i < count; i++) {
        const struct damage *damage = &damages[i];
        struct verify_result result = {0};
        struct capture capture;
        int status = verify_edited(small_edited(damage->sql), true, &capture, &result);
        const char *said = behind_name(capture.text);
        if (strncmp(said, damage->first, strlen(damage->first)) != 0 ||
            (damage->also != NULL && strstr(capture.text, damage->also) == NULL))
            missed++, print_error("%s\nmust be said first: %s\nand: %s\nbut said is (status %d):\n%.700s\n\n",
                                  damage->sql, damage->first, damage->also != NULL ? damage->also : "-", status,
                                  capture.text);
        if (status == WM_OK)
            assert_true(result.faults > 0);
    }
    assert_int_equal(missed, 0);
}

/* --- Office data and rules ---------------------------------------------------------------------- */

static void loads_and_rules(void **state)
{
    static const struct damage DAMAGES[] = {
        {"DELETE FROM loads WHERE load = 2", "loads has a gap before load 3" AGAIN, NULL},
        {"UPDATE loads SET load = 0 WHERE load = 1", "load 1 is missing" AGAIN, NULL},
        {"UPDATE dealer_versions SET load = 99 WHERE dealer = 'D2'",
         "a row of office data names load 99, which is not recorded" AGAIN, "load 2 does not fit its entry 2 "},
        {"UPDATE vehicle_versions SET load = 0 WHERE vin = '" VIN_B "'",
         "a row of vehicle_versions names load 0, which is not recorded" AGAIN,
         "load 1 does not fit its entry 1 "},
        {"UPDATE vehicle_versions SET vin = 'EZ7TAB*19KT000202' WHERE vin = '" VIN_B "'",
         "load 1 does not fit its entry 1 of the chain" AGAIN,
         "vehicle_versions has the VIN EZ7TAB*19KT000202, which is none" AGAIN},
        {"INSERT INTO vehicle_profiles SELECT 99, model_line, model_year, engine, transmission, plant, "
         "options, status, "
         "status_on FROM vehicle_profiles LIMIT 1",
         "no vehicle has profile 99 of vehicle_profiles" AGAIN, NULL},
        {"UPDATE vehicle_profiles SET options = 'roof' WHERE profile = 0", "load 1 does not fit its entry 1 ",
         NULL},
        {"UPDATE shipment_versions SET shipped_on = NULL WHERE shipment = 'S2'",
         "load 3 does not fit its entry 3 ", NULL},
        {"UPDATE approval_versions SET limit_cents = 1 WHERE approval = 'AP-2'",
         "load 4 does not fit its entry 4 ", NULL},
        {"UPDATE notice_versions SET involved = NULL", "load 5 does not fit its entry 12 ", NULL},
        {"UPDATE rules_files SET bytes = CAST('x' AS BLOB) WHERE file = 1",
         "the text of rules file 1 does not fit its digest" AGAIN, NULL},
        {"UPDATE rules_files SET digest = x'00' WHERE file = 1",
         "the database is damaged (CHECK constraint failed in rules_files); restore it from a copy", NULL},
        {"UPDATE rules_files SET digest = zeroblob(32) WHERE file = 1",
         "the text of rules file 1 does not fit its digest" AGAIN,
         "the files of rules 1 do not fit their digest" AGAIN},
        {"UPDATE rules_versions SET digest = zeroblob(32)",
         "the files of rules 1 do not fit their digest" AGAIN, NULL},
        {"UPDATE rules_contents SET path = 'units.CSV' WHERE path = 'units.csv'",
         "the files of rules 1 do not fit their digest" AGAIN, NULL},
        {"UPDATE rules_contents SET file = 99 WHERE path = 'units.csv'",
         "the files of rules 1 do not fit their digest" AGAIN, "rules 1 lack the text of units.csv" AGAIN},
        {"INSERT INTO rules_contents VALUES (7, 'units.csv', 1)",
         "rules_contents names rules 7, which no batch was decided with" AGAIN, NULL},
        {"INSERT INTO rules_versions VALUES (2, zeroblob(32))",
         "the files of rules 2 do not fit their digest" AGAIN, "no batch was decided with rules 2" AGAIN},
        {"INSERT INTO rules_versions VALUES (3, zeroblob(32))", "rules_versions has a gap before rules 3" AGAIN,
         NULL},
        {"INSERT INTO rules_files VALUES (99, "
         "x'324dcf027dd4a30a932c441f365a25e86b173defa4b8e58948253471b81b72cf', x'')",
         "the text of rules file 99 does not fit its digest", "no rules have file 99 of rules_files" AGAIN},
    };
    (void)state;
    expect_said(DAMAGES, COUNT(DAMAGES));
}

/* Longer than what is hashed at once: each of its letters counts. */
static void a_long_text_is_hashed_whole(void **state)
{
    char words_of_it[2001];
    struct verify_result result = {0};
    struct capture capture;
    (void)state;

    memset(words_of_it, 'w', sizeof words_of_it - 1);
    words_of_it[sizeof words_of_it - 1] = '\0';
    write_words(probe_path("long.csv"), words("campaign,quarter,involved,explanation\nT1,2026-Q2,7,%s\n", words_of_it));
    const char *path = probe_path("long.db");
    shell("cp %s %s", small_whole, path);
    small_runs(RUN("load", "notices", probe_path("long.csv"), "--office", path, "--rules", probe_path("rules"),
                   "--today", "2026-07-15", "--quiet"));
    assert_int_equal(verify_edited(path, false, &capture, &result), WM_OK);
    assert_string_equal(capture.text, "");
    char *whole = small_whole;
    small_whole = words("%s", path);
    const char *edited = small_edited("UPDATE notice_versions SET explanation = substr(explanation, 1, 1999) || 'v' "
                                      "WHERE quarter = (SELECT max(quarter) FROM notice_versions)");
    small_whole = whole;
    assert_int_equal(verify_edited(edited, false, &capture, &result), WM_OK);
    assert_non_null(strstr(capture.text, "load 6 does not fit its entry 19 of the chain"));
}

/* --- Batches and their rows --------------------------------------------------------------------- */

#define ROW_1 "batch 1, line 2, claim D1/A1, revision 0 (row 1): "
#define ROW_19 "batch 1, line 21, claim D2/P8, revision 0 (row 19): "
#define ROW_20 "batch 2, line 3, claim D1/A2, revision 0 (row 20): "
#define CONTENT(of) "its " of " does not fit what was recorded" AGAIN

static void rows_of_batches(void **state)
{
    static const struct damage DAMAGES[] = {
        {"DELETE FROM claim_rows WHERE row = 21", "batch 2 has 1 rows and lacks 1" AGAIN, NULL},
        {"DELETE FROM claim_rows WHERE row = 19", "row 19 of claim_rows is missing" AGAIN, NULL},
        {"DELETE FROM claim_rows WHERE row = 7", "row 7 of claim_rows is missing" AGAIN, NULL},
        {"UPDATE claim_rows SET batch = 2 WHERE row = 1",
         "batch 2, line 2, claim D1/A1, revision 0 (row 1): it stands among the rows of batch 1" AGAIN, NULL},
        {"UPDATE claim_rows SET dealer = 'D3' WHERE row = 1",
         "batch 1, line 2, claim D3/A1, revision 0 (row 1): " CONTENT("dealer"), NULL},
        {"UPDATE claim_rows SET claim = 'A0' WHERE row = 1",
         "batch 1, line 2, claim D1/A0, revision 0 (row 1): " CONTENT("claim"), NULL},
        {"UPDATE claim_rows SET revision = 3 WHERE row = 1",
         "batch 1, line 2, claim D1/A1, revision 3 (row 1): " CONTENT("revision"), NULL},
        {"UPDATE claim_rows SET campaign = 'T0' WHERE row = 1", ROW_1 CONTENT("campaign"), NULL},
        {"UPDATE claim_rows SET vin = '" VIN_B "' WHERE row = 1", ROW_1 CONTENT("vin"), NULL},
        {"UPDATE claim_rows SET outcome = 'inspected' WHERE row = 1", ROW_1 CONTENT("outcome"), NULL},
        {"UPDATE claim_rows SET completed_on = NULL WHERE row = 1", ROW_1 CONTENT("completed_on"), NULL},
        {"UPDATE claim_rows SET asked_cents = 1 WHERE row = 1", ROW_1 CONTENT("asked_cents"), NULL},
        {"UPDATE claim_rows SET payable_cents = 10001 WHERE row = 1", ROW_1 "it does not fit its digest" AGAIN,
         "batch 1 does not fit its entry 5 of the chain" AGAIN},
        {"UPDATE claim_rows SET due_cents = 0 WHERE row = 1", ROW_1 "it does not fit its digest" AGAIN, NULL},
        {"UPDATE claim_rows SET line = 3 WHERE row = 1",
         "batch 1, line 3, claim D1/A1, revision 0 (row 1): it does not fit its digest" AGAIN, NULL},
        {"UPDATE claim_rows SET decision = 'refuse' WHERE row = 1", ROW_1 "it does not fit its digest" AGAIN,
         "tally_buckets does not say what stands" AGAIN},
        {"UPDATE claim_rows SET decision = 'gone' WHERE row = 1", ROW_1 "it does not fit its digest" AGAIN,
         "tally_buckets does not say what stands" AGAIN},
        {"UPDATE claim_rows SET replaces = NULL WHERE row = 20", ROW_20 "it does not fit its digest" AGAIN,
         NULL},
        {"UPDATE claim_rows SET replaces = 99 WHERE row = 20", ROW_20 "it does not fit its digest" AGAIN, NULL},
        {"UPDATE claim_rows SET replaces = -5 WHERE row = 20", ROW_20 "it does not fit its digest" AGAIN, NULL},
        /* a circle */
        {"UPDATE claim_rows SET replaces = 20 WHERE row = 20", ROW_20 "it does not fit its digest" AGAIN, NULL},
        {"UPDATE claim_rows SET replaces = 8 WHERE row = 20; UPDATE claim_rows SET replaces = 8 WHERE row = 8",
         "batch 1, line 9, claim D1/A8, revision 0 (row 8): it does not fit its digest" AGAIN, NULL},
        {"UPDATE batches SET first_row = 2 WHERE batch = 1", "batch 1 begins at row 2 and not at 1" AGAIN,
         NULL},
        {"UPDATE batches SET row_count = 3 WHERE batch = 2", "batch 2 has 2 rows and lacks 1" AGAIN, NULL},
        {"UPDATE batches SET row_count = 1 WHERE batch = 2",
         "claim_rows has rows that belong to no batch, the first "
         "of them 21" AGAIN,
         NULL},
        {"UPDATE batches SET unreadable_count = 0 WHERE batch = 1",
         "batch 1 has 1 rows of unreadable_rows and says 0" AGAIN, NULL},
        {"UPDATE batches SET repeated_count = 2 WHERE batch = 2",
         "batch 2 has 1 rows of repeated_rows and says 2" AGAIN, NULL},
        {"UPDATE batches SET rules = 2 WHERE batch = 1",
         "batch 1 was decided with rules 2, which are not recorded" AGAIN, NULL},
        {"UPDATE batches SET rules = 0 WHERE batch = 1",
         "batch 1 was decided with rules 0, which are not recorded" AGAIN, NULL},
        {"UPDATE batches SET file_digest = zeroblob(32) WHERE batch = 1", "batch 1 does not fit its entry 5 ",
         NULL},
        {"UPDATE batches SET posted_at = '' WHERE batch = 2", "batch 2 does not fit its entry 6 ", NULL},
        {"UPDATE batches SET batch = 3 WHERE batch = 2", "batches has a gap before batch 3" AGAIN, NULL},
        {"UPDATE batches SET batch = 0 WHERE batch = 1", ROW_1 "it stands among the rows of batch 0" AGAIN, NULL},
        {"UPDATE claim_rows SET row = 99 WHERE row = 21", "row 21 of claim_rows is missing" AGAIN,
         "row_buckets does not have it by its claim" AGAIN},
        {"UPDATE claim_rows SET row = 0 WHERE row = 1", "row 1 of claim_rows is missing" AGAIN,
         "claim D1/A1, revision 0 (row 0): its content is missing in row_blocks" AGAIN},
        {"UPDATE claim_rows SET row = 0 WHERE row = 1; UPDATE row_blocks SET first_row = 0 WHERE first_row = 1",
         "row 1 of claim_rows is missing" AGAIN, "tally_buckets does not say what stands" AGAIN},
        {"UPDATE claim_rows SET row = 99 WHERE row = 21; UPDATE row_blocks SET first_row = 99 WHERE first_row = 20; "
         "DELETE FROM claim_rows WHERE row = 20",
         "row 20 of claim_rows is missing" AGAIN, NULL},
        {"INSERT INTO office_decisions SELECT (SELECT max(number) + 1 FROM office_decisions), row, action, decided_by, "
         "reason, decided_on, recorded_at, payable_cents, due_cents FROM office_decisions WHERE number = 1",
         "the chain has 6 entries of kind decision and 7 are recorded" AGAIN, NULL},
        {"DELETE FROM findings WHERE row = 3",
         "batch 1, line 4, claim D1/A3, revision 0 (row 3): it does not fit its "
         "digest" AGAIN,
         NULL},
        {"UPDATE findings SET number = 2 WHERE row = 3",
         "batch 1, line 4, claim D1/A3, revision 0 (row 3): finding 1 is "
         "missing or numbered wrongly" AGAIN,
         NULL},
        {"UPDATE findings SET message = message || '.' WHERE row = 3",
         "batch 1, line 4, claim D1/A3, revision 0 (row 3): it does not fit its digest" AGAIN, NULL},
        {"UPDATE findings SET row = 0 WHERE row = 3",
         "findings has a row for row 0 of claim_rows, which is not there" AGAIN, NULL},
        {"UPDATE findings SET row = 22 WHERE row = 8", "batch 1, line 9, claim D1/A8, revision 0 (row 8): ",
         "findings has rows that belong to no batch, the first of them 22" AGAIN},
        {"UPDATE unreadable_rows SET line = 9", "batch 1 does not fit its entry 5 ", NULL},
        {"UPDATE unreadable_rows SET batch = 3", "batch 1 has 0 rows of unreadable_rows and says 1" AGAIN,
         "unreadable_rows has rows that belong to no batch, the first of them 3" AGAIN},
        {"UPDATE repeated_rows SET row = 2", "batch 2 does not fit its entry 6 ", NULL},
        {"UPDATE repeated_rows SET batch = 3", "batch 2 has 0 rows of repeated_rows and says 1" AGAIN,
         "repeated_rows has rows that belong to no batch, the first of them 3" AGAIN},
        {"UPDATE followups SET part = 'X'", "batch 1 does not fit its entry 5 ", NULL},
        {"UPDATE followups SET row = 22",
         "followups has rows that belong to no batch, the first of them 22" AGAIN,
         "batch 1 does not fit its entry 5 "},
        {"UPDATE followup_parts SET number = 2", "batch 2 does not fit its entry 6 ", NULL},
        {"UPDATE followup_parts SET supplied_by = 22",
         "followup_parts has rows that belong to no batch, the first of them 22" AGAIN, NULL},
    };
    (void)state;
    expect_said(DAMAGES, COUNT(DAMAGES));
}

/* --- The contents of rows ----------------------------------------------------------------------- */

static void contents_of_rows(void **state)
{
    static const struct damage DAMAGES[] = {
        {"DELETE FROM row_blocks WHERE first_row = 1", ROW_1 "its content is missing in row_blocks" AGAIN,
         NULL},
        {"DELETE FROM row_blocks WHERE first_row = 20", ROW_20 "it does not fit its digest" AGAIN, NULL},
        {"UPDATE row_blocks SET first_row = 2 WHERE first_row = 1",
         ROW_1 "its content is missing in row_blocks" AGAIN, NULL},
        {"UPDATE row_blocks SET records = x'' WHERE first_row = 1", ROW_1 "it does not fit its digest" AGAIN,
         NULL},
        /* shorter than the head of a record, than its first cell, than its end */
        {"UPDATE row_blocks SET records = substr(records, 1, 35) WHERE first_row = 1",
         ROW_1 "it does not fit its digest" AGAIN, NULL},
        {"UPDATE row_blocks SET records = substr(records, 1, 37) WHERE first_row = 1",
         ROW_1 "it does not fit its digest" AGAIN, NULL},
        {"UPDATE row_blocks SET records = substr(records, 1, length(records) - 1) WHERE first_row = 1",
         ROW_19 "it does not fit its digest" AGAIN, NULL},
        /* bytes behind the last record */
        {"UPDATE row_blocks SET records = CAST(records || x'0000' AS BLOB) WHERE first_row = 20",
         "row_blocks has rows that belong to no batch, the first of them 20" AGAIN, NULL},
        {"INSERT INTO row_blocks VALUES (22, x'00')",
         "row_blocks has rows that belong to no batch, the first of them 22" AGAIN, NULL},
        /* a length of 4 GiB, and one that reaches into the next record */
        {"UPDATE row_blocks SET records = CAST(substr(records, 1, 32) || x'ffffffff' || substr(records, 37) AS "
         "BLOB) "
         "WHERE first_row = 1",
         ROW_1 "it does not fit its digest" AGAIN, NULL},
        {"UPDATE row_blocks SET records = CAST(substr(records, 1, 32) || x'c8000000' || substr(records, 37) AS "
         "BLOB) "
         "WHERE first_row = 1",
         ROW_1 "it does not fit its digest" AGAIN, NULL},
        {"UPDATE row_blocks SET records = zeroblob(length(records)) WHERE first_row = 1",
         ROW_1 CONTENT("content"), NULL},
        {"UPDATE row_blocks SET records = CAST(substr(records, 1, 36) || 'X' || substr(records, 38) AS BLOB) "
         "WHERE first_row = 1",
         ROW_1 CONTENT("claim"), "row_buckets does not have it by its claim" AGAIN},
        {"UPDATE row_blocks SET records = CAST(x'00' || substr(records, 2) AS BLOB) WHERE first_row = 1",
         ROW_1 "it does not fit its digest" AGAIN, NULL},
    };
    (void)state;
    expect_said(DAMAGES, COUNT(DAMAGES));
}

/* --- What finds rows, and what stands ----------------------------------------------------------- */

#define ROWS_FORM "row_buckets is not as it was written ("
#define SUMS_FORM "tally_buckets is not as it was written ("
#define ROWS_AS(expression) "UPDATE row_buckets SET entries = CAST(" expression " AS BLOB)"
#define SUMS_AS(expression) "UPDATE tally_buckets SET entries = CAST(" expression " AS BLOB)"

static void what_is_derived(void **state)
{
    static const struct damage DAMAGES[] = {
        {"DELETE FROM row_buckets", ROW_1 "row_buckets does not have it by its claim" AGAIN,
         "40 more faults"}, /* each of 63 entries, the form, and the count */
        {ROWS_AS("x''"), ROW_1 "row_buckets does not have it by its claim" AGAIN, "40 more faults"},
        {ROWS_AS("substr(entries, 1, length(entries) - 1)"), "this is no office file, or a damaged one", NULL},
        {ROWS_AS("entries || substr(entries, length(entries) - 13)"), ROWS_FORM "entries are not in order)", NULL},
        {ROWS_AS("substr(entries, 1, length(entries) - 14) || x'fffffffffffffffe000000000000'"), "batch ",
         "row_buckets does not have it by its "},
        {ROWS_AS("entries || x'ffffffffffffffff000000000000'"),
         ROWS_FORM "there are not as many entries as bucket_sizes says)",
         "row_buckets has 64 entries and should have 63" AGAIN},
        {"UPDATE row_buckets SET bucket = 2", ROW_1 "row_buckets does not have it by its claim" AGAIN,
         "39 more faults"},
        {"INSERT INTO row_buckets SELECT 0, entries FROM row_buckets",
         ROWS_FORM "an entry is in the wrong bucket)", NULL},
        {"UPDATE bucket_sizes SET entries = 62 WHERE name = 'row_buckets'",
         ROWS_FORM "there are not as many entries as bucket_sizes says)", NULL},
        {"UPDATE bucket_sizes SET entries = -1 WHERE name = 'row_buckets'", "this is no office file, or a damaged one",
         NULL},
        {"UPDATE bucket_sizes SET bits = 25 WHERE name = 'row_buckets'", "this is no office file, or a damaged one",
         NULL},
        {"UPDATE bucket_sizes SET bits = -1 WHERE name = 'row_buckets'",
         "the database is damaged (CHECK constraint failed in bucket_sizes)", NULL},
        {"UPDATE bucket_sizes SET bits = 3 WHERE name = 'row_buckets'",
         ROW_1 "row_buckets does not have it by its claim" AGAIN, "39 more faults"},
        {"DELETE FROM bucket_sizes WHERE name = 'row_buckets'",
         ROWS_FORM "there are not as many entries as bucket_sizes says)", NULL},
        {"DELETE FROM tally_buckets", SUMS_FORM "there are not as many entries as bucket_sizes says)",
         "tally_buckets does not say what stands" AGAIN},
        {SUMS_AS("x''"), SUMS_FORM "a bucket is cut)", "tally_buckets does not say what stands" AGAIN},
        /* a number that does not end; an entry without its number, without its amount; one of eleven bytes */
        {SUMS_AS("entries || x'80'"), SUMS_FORM "a bucket is cut)", NULL},
        {SUMS_AS("entries || x'01'"), SUMS_FORM "a bucket is cut)", NULL},
        {SUMS_AS("entries || x'0101'"), SUMS_FORM "a bucket is cut)", NULL},
        {SUMS_AS("x'8080808080808080808001' || entries"), SUMS_FORM "a bucket is cut)", NULL},
        /* one more byte than the number needs */
        {SUMS_AS("entries || x'81000102'"),
         SUMS_FORM "a bucket is written in another way than this program does)", NULL},
        {SUMS_AS("entries || x'000002'"), SUMS_FORM "entries are not in order)",
         "tally_buckets does not say what stands" AGAIN},
        {SUMS_AS("entries || x'010102'"), SUMS_FORM "there are not as many entries as bucket_sizes says)",
         "tally_buckets does not say what stands" AGAIN},
        {SUMS_AS("substr(entries, 1, length(entries) - 1) || x'04'"),
         "tally_buckets does not say what stands" AGAIN, NULL},
        {"UPDATE bucket_sizes SET entries = 5 WHERE name = 'tally_buckets'",
         SUMS_FORM "there are not as many entries as bucket_sizes says)", NULL},
        {"UPDATE bucket_sizes SET bits = 31 WHERE name = 'tally_buckets'", "this is no office file, or a damaged one",
         NULL},
        /* the same among what was recorded lately */
        {"INSERT INTO recent_row_buckets SELECT bucket, entries FROM row_buckets",
         "recent_row_buckets is not as it was written (there are not as many entries as bucket_sizes says)" AGAIN,
         "row_buckets has 126 entries and should have 63" AGAIN},
        {"INSERT INTO recent_tally_buckets SELECT bucket, entries FROM tally_buckets",
         "recent_tally_buckets is not as it was written (there are not as many entries as bucket_sizes says)" AGAIN,
         "tally_buckets does not say what stands" AGAIN},
        {"INSERT INTO recent_tally_buckets VALUES (1, x'80')",
         "recent_tally_buckets is not as it was written (a bucket is cut)", NULL},
        {"UPDATE replaced_rows SET replaced_by = 20",
         "replaced_rows says that row 11 was replaced by row 20, which it was not" AGAIN, NULL},
        {"UPDATE replaced_rows SET replaced_by = 99",
         "replaced_rows says that row 11 was replaced by row 99, which it was not" AGAIN, NULL},
        {"DELETE FROM replaced_rows", "replaced_rows ", NULL},
        {"INSERT INTO waiting_rows VALUES (3)",
         "waiting_rows has row 3, which does not wait for a person" AGAIN, NULL},
        {"DELETE FROM waiting_rows", "waiting_rows lacks row 6, which waits for a person" AGAIN, NULL},
        {"DELETE FROM vehicle_index", "vehicle_index says 0 vehicles and there are 7" AGAIN, NULL},
        {"UPDATE vehicle_index SET vehicles = 8", "vehicle_index says 8 vehicles and there are 7" AGAIN, NULL},
        {"UPDATE vehicle_index SET bits = 32",
         "the database is damaged (CHECK constraint failed in vehicle_index)", NULL},
        {"UPDATE vehicle_index SET bits = 31", "bucket 1 of vehicle_buckets is not what vehicle_versions say",
         NULL},
        {"DELETE FROM vehicle_buckets", "bucket 1 of vehicle_buckets is not what vehicle_versions say", NULL},
        {"UPDATE vehicle_buckets SET bucket = 2",
         "bucket 2 of vehicle_buckets is not what vehicle_versions say", NULL},
        /* behind the hashes, the rest of the first key, and the profile */
        {"UPDATE vehicle_buckets SET vehicles = CAST(substr(vehicles, 1, length(vehicles) / 20 * 8) || x'fefefefe' || "
         "substr(vehicles, length(vehicles) / 20 * 8 + 5) AS BLOB)",
         "bucket 1 of vehicle_buckets is not what vehicle_versions say", NULL},
        {"UPDATE vehicle_buckets SET vehicles = CAST(substr(vehicles, 1, length(vehicles) / 20 * 8 + 4) || "
         "x'fefefefe' || substr(vehicles, length(vehicles) / 20 * 8 + 9) AS BLOB)",
         "bucket 1 of vehicle_buckets is not what vehicle_versions say", NULL},
        {"INSERT INTO vehicle_buckets VALUES (9, x'00')", "bucket 9 of vehicle_buckets is not what ", NULL},
        {"UPDATE vehicle_buckets SET vehicles = substr(vehicles, 1, length(vehicles) - 1)",
         "bucket 1 of vehicle_buckets is not what vehicle_versions say", NULL},
        {"UPDATE vehicle_buckets SET vehicles = CAST(x'00' || substr(vehicles, 2) AS BLOB)",
         "bucket 1 of vehicle_buckets is not what vehicle_versions say", NULL},
        {"UPDATE vehicle_buckets SET vehicles = CAST(substr(vehicles, 1, length(vehicles) - 1) || x'7f' AS "
         "BLOB)",
         "bucket 1 of vehicle_buckets is not what vehicle_versions say", NULL},
    };
    (void)state;
    expect_said(DAMAGES, COUNT(DAMAGES));
}

/* --- People, comparisons, audits, and the chain ------------------------------------------------- */

static void decisions_and_audits(void **state)
{
    static const struct damage DAMAGES[] = {
        {"DELETE FROM office_decisions WHERE number = 4", "office_decisions has a gap before number 5" AGAIN,
         NULL},
        {"UPDATE office_decisions SET reason = '' WHERE number = 2", "decision 2 does not fit its entry 8 ",
         NULL},
        {"UPDATE office_decisions SET action = 'pay' WHERE number = 3", "decision 3 does not fit its entry 9 ",
         "tally_buckets does not say what stands" AGAIN},
        {"UPDATE office_decisions SET row = 9 WHERE number = 2", "decision 2 does not fit its entry 8 ", NULL},
        {"UPDATE office_decisions SET number = 0 WHERE number = 1; UPDATE office_decisions SET number = 7 "
         "WHERE number = 2",
         "office_decisions has a gap before number 0" AGAIN, NULL},
        {"UPDATE outlier_runs SET recorded_by = 'B'", "outliers 1 does not fit its entry 11 ", NULL},
        {"UPDATE outlier_measures SET all_of = 18 WHERE number = 1", "outliers 1 does not fit its entry 11 ",
         NULL},
        {"UPDATE outlier_flags SET basis = ''", "outliers 1 does not fit its entry 11 ", NULL},
        {"UPDATE outlier_measures SET run = 2 WHERE number = 2",
         "outlier_measures names run 2, which is not recorded" AGAIN, NULL},
        {"UPDATE outlier_flags SET run = 2", "outlier_flags names run 2, which is not recorded" AGAIN, NULL},
        {"UPDATE outlier_runs SET run = 0", "outlier_runs has a gap before run 0" AGAIN, NULL},
        {"UPDATE samples SET seed = '2' WHERE sample = 1", "sample 1 does not fit its entry 13 ", NULL},
        {"UPDATE samples SET sample = 3 WHERE sample = 2", "samples has a gap before sample 3" AGAIN, NULL},
        {"UPDATE sample_regions SET sample = 3 WHERE sample = 1",
         "sample_regions names sample 3, which is not recorded" AGAIN, NULL},
        {"UPDATE sample_strata SET sample = 3 WHERE sample = 1",
         "sample_strata names sample 3, which is not recorded" AGAIN, NULL},
        {"UPDATE sample_frame SET sample = 3 WHERE sample = 1 AND position = 0",
         "sample_frame names sample 3, which is not recorded" AGAIN, NULL},
        {"UPDATE sample_items SET sample = 3 WHERE sample = 1 AND item = 5",
         "sample_items names sample 3, which is not recorded" AGAIN, NULL},
        {"UPDATE judgement_files SET judged_by = 'B'", "judgement 1 does not fit its entry 15 ", NULL},
        {"UPDATE judgements SET recording = 2 WHERE item = 5",
         "judgements names recording 2, which is not recorded" AGAIN, NULL},
        {"UPDATE chargebacks SET beyond_cents = 1", "chargeback 1 does not fit its entry 18 ", NULL},
        {"UPDATE chargeback_items SET chargeback = 2 WHERE item = 2",
         "chargeback_items names chargeback 2, which is not recorded" AGAIN, NULL},
        {"UPDATE chargeback_items SET cents = 601 WHERE item = 1",
         "chargeback 1 and its office decision 5 differ" AGAIN, "chargeback 1 does not fit its entry 18 "},
        {"UPDATE chargeback_items SET decision = 99 WHERE item = 1",
         "chargeback 1 and its office decision 99 differ" AGAIN,
         "office decision 5 is a chargeback that is not recorded" AGAIN},
        {"DELETE FROM chargeback_items WHERE item = 2",
         "office decision 6 is a chargeback that is not recorded" AGAIN, NULL},
    };
    (void)state;
    expect_said(DAMAGES, COUNT(DAMAGES));
}

static void the_chain(void **state)
{
    static const struct damage DAMAGES[] = {
        {"DELETE FROM chain WHERE entry = 3", "chain entry 3 is missing" AGAIN,
         "the chain has 4 entries of kind load and 5 are recorded"},
        {"UPDATE chain SET kind = 'lunch' WHERE entry = 3",
         "chain entry 3 names lunch 3, which is not recorded" AGAIN,
         "entry 3 of the chain does not fit the one before"},
        {"UPDATE chain SET number = 99 WHERE entry = 3",
         "chain entry 3 names load 99, which is not recorded" AGAIN, NULL},
        {"UPDATE chain SET number = 0 WHERE entry = 3",
         "chain entry 3 names load 0, which is not recorded" AGAIN, NULL},
        {"UPDATE chain SET record_digest = x'00' WHERE entry = 3",
         "the database is damaged (CHECK constraint failed in chain)", NULL},
        {"UPDATE chain SET record_digest = zeroblob(32) WHERE entry = 3",
         "load 3 does not fit its entry 3 of the chain" AGAIN,
         "entry 3 of the chain does not fit the one before" AGAIN},
        {"UPDATE chain SET chain_digest = zeroblob(32) WHERE entry = 3",
         "entry 3 of the chain does not fit the one before" AGAIN,
         "entry 4 of the chain does not fit the one before"},
        {"UPDATE chain SET chain_digest = zeroblob(32) WHERE entry = 18",
         "entry 18 of the chain does not fit the one before" AGAIN, NULL},
        {"DELETE FROM chain WHERE kind = 'chargeback'",
         "the chain has 0 entries of kind chargeback and 1 are recorded" AGAIN, NULL},
        {"DELETE FROM chain WHERE entry > 14",
         "the chain has 4 entries of kind decision and 6 are recorded" AGAIN,
         "the chain has 0 entries of kind judgement and 1 are recorded" AGAIN},
        {"DELETE FROM chain", "the chain has 0 entries of kind load and 5 are recorded" AGAIN,
         "the chain has 0 entries of kind sample and 2 are recorded" AGAIN},
    };
    (void)state;
    expect_said(DAMAGES, COUNT(DAMAGES));
}

static void the_schema_and_the_database(void **state)
{
    static const struct damage DAMAGES[] = {
        {"CREATE TABLE more (a)", "the schema has the table more, which this program did not make; take it out",
         NULL},
        {"DROP VIEW payments", "the schema lacks the view payments" AGAIN, NULL},
        {"CREATE VIEW zz AS SELECT 1", "the schema has the view zz, which this program did not make; take it out",
         NULL},
        {"DROP VIEW vehicles_now", "the schema lacks the view vehicles_now" AGAIN, NULL}, /* the last by name */
        /* it begins as ours does */
        {"DROP VIEW findings_made; CREATE VIEW findings_made AS\nSELECT f.row, f.number, f.effect, f.finding, f.item, "
         "f.message, f.rule FROM findings",
         "the schema's view findings_made was changed" AGAIN, NULL},
        {"DROP VIEW payments; CREATE VIEW payments AS SELECT 1", "the schema's view payments was changed" AGAIN,
         NULL},
        {"CREATE TRIGGER zz AFTER INSERT ON batches BEGIN SELECT 1; END",
         "the schema has the trigger zz, which this program did not make; take it out", NULL},
    };
    struct verify_result result;
    struct capture capture;
    (void)state;

    expect_said(DAMAGES, COUNT(DAMAGES));
    /* more faults than are named: the claim of every row, and its batch */
    assert_int_equal(verify_edited(small_edited("UPDATE claim_rows SET campaign = 'X', batch = 9"), false,
                                   &capture, &result),
                     WM_OK);
    assert_true(result.faults > VERIFY_FAULTS_NAMED);
    assert_non_null(strstr(capture.text, words("%d more faults", (int)result.faults - VERIFY_FAULTS_NAMED)));
    /* pages that are none, each in its turn */
    const char *path = small_edited("SELECT 1"), *page_path = probe_path("page.db");
    struct stat about;
    assert_int_equal(stat(path, &about), 0);
    for (int page = 1; page < about.st_size / 8192; page++) {
        shell("cp %s %s && printf 'xxxxxxxxxxxxxxxx' | dd of=%s bs=1 seek=%d conv=notrunc status=none", path, page_path,
              page_path, 8192 * page);
        result.faults = 0;
        int status = verify_edited(page_path, false, &capture, &result);
        if ((status == WM_OK && result.faults == 0) ||
            (strstr(capture.text, "the database is damaged (") == NULL && strstr(capture.text, DAMAGED_FILE) == NULL))
            fail_msg("page %d: status %d, \"%.300s\"", page, status, capture.text);
    }
}

/* --- Decided again ------------------------------------------------------------------------------ */

/* Without what verify does first: an edit that fits the chain is one that a faulty program recorded. */
static int try_again(const char *path, struct capture *capture, struct verify_result *result)
{
    const struct verify_options options = {.again = true, .threads = 1};
    struct verification verification = {.options = &options, .sink = &capture->sink};

    capture_start(capture);
    assert_int_equal(office_open(path, OFFICE_READ, &capture->sink, &verification.office), WM_OK);
    assert_int_equal(office_begin_read(verification.office), WM_OK);
    assert_int_equal(verify_number(&verification, "SELECT count(*) FROM loads", &verification.load_count),
                     WM_OK);
    int status = verify_again(&verification);
    assert_int_equal(office_end_read(verification.office), WM_OK);
    office_close(verification.office);
    arena_free(&verification.arena);
    *result = verification.result;
    return status;
}

static void decide_again(const char *path, struct capture *capture, struct verify_result *result)
{
    assert_int_equal(try_again(path, capture, result), WM_OK);
}

#define ROW_3 "batch 1, line 4, claim D1/A3, revision 0 (row 3): "
#define ROW_21 "batch 2, line 4, claim D2/B3, revision 1 (row 21): "
#define ROW_9 "batch 1, line 11, claim D1/B1, revision 0 (row 9): "
#define ROW_11 "batch 1, line 13, claim D2/B3, revision 0 (row 11): "
#define CHANGED "; the program or the file has changed"
#define OTHER_WORK \
    ROW_11 "decided again, its follow-up work is another one than is recorded: renew the cap" CHANGED
#define OTHER(what, of) \
    "comparison 1 of dealers, made again, gives another " what " for " of " than is recorded" CHANGED

/* What comes out differently is named once for a row, and once for a comparison. */
static void what_is_decided_again(void **state)
{
    static const struct {
        const char *sql, *said; /* the whole text but for the file's name; or its beginning */
    } EDITS[] = {
        {"SELECT 1", ""},
        {"UPDATE claim_rows SET decision = 'refuse' WHERE row = 1",
         ROW_1 "decided again, its decision is \"pay\" and was \"refuse\"" CHANGED},
        {"UPDATE claim_rows SET payable_cents = 9999 WHERE row = 1",
         ROW_1 "decided again, its payable amount is \"100.00\" and was \"99.99\"" CHANGED},
        {"UPDATE claim_rows SET due_cents = -1 WHERE row = 1",
         ROW_1 "decided again, its due amount is \"100.00\" and was \"-0.01\"" CHANGED},
        {"UPDATE claim_rows SET replaces = NULL WHERE row = 20",
         ROW_20 "decided again, it takes the place of another row" CHANGED},
        {"UPDATE claim_rows SET replaces = 10 WHERE row = 21",
         ROW_21 "decided again, it takes the place of another row" CHANGED},
        {"UPDATE findings SET effect = 'note' WHERE row = 3",
         ROW_3 "decided again, its effect of a finding is \"hold\" and was \"note\"" CHANGED},
        {"UPDATE findings SET finding = 'gone' WHERE row = 3",
         ROW_3 "decided again, its finding is \"seen-by-engine\" and was \"gone\"" CHANGED},
        {"UPDATE findings SET item = 'K-A' WHERE row = 3",
         ROW_3 "decided again, its item of a finding is \"\" and was \"K-A\"" CHANGED},
        {"UPDATE findings SET rule = 'x' WHERE row = 3", ROW_3
         "decided again, its rule of a finding is \"checks/claim/decider.csv:hold\" and was \"x\"" CHANGED},
        {"UPDATE findings SET message = 'x' WHERE row = 3",
         ROW_3 "decided again, its message of a finding is \"As asked.\" and was \"x\"" CHANGED},
        {"DELETE FROM findings WHERE row = 3",
         ROW_3 "decided again, its finding is \"seen-by-engine\" and was \"\"" CHANGED},
        {"INSERT INTO findings VALUES (3, 2, 'note', 'more', '', '', ''), (3, 3, 'note', 'most', '', '', '')",
         ROW_3 "decided again, its finding is \"\" and was \"more\"" CHANGED},
        {"UPDATE batches SET row_count = 1 WHERE batch = 2",
         "batch 2 gives more rows than are recorded; the file has changed"},
        {"UPDATE batches SET row_count = 3 WHERE batch = 2",
         "batch 2 gives fewer rows than are recorded; the file has changed"},
        {"DELETE FROM row_blocks WHERE first_row = 20",
         "batch 2 gives fewer rows than are recorded; the file has changed"},
        {"UPDATE row_blocks SET records = CAST(substr(records, 1, 36) || x'0000' || substr(records, 39) AS BLOB) "
         "WHERE first_row = 20", /* the number of the claim is gone */
         ROW_20 "decided again, it is no row of its own any more" CHANGED},
        {"DELETE FROM rules_contents", "rules 1 have no files" AGAIN},
        {"UPDATE rules_files SET bytes = CAST('x' AS BLOB) WHERE file = 1",
         "this program cannot use rules 1; decide again with the program of that time"},
        {"DELETE FROM claim_rows WHERE row = 20", "batch 2 gives more rows than are recorded; the file has changed"},
        {"UPDATE followups SET due_on = NULL", OTHER_WORK},
        {"UPDATE followups SET number = 2", OTHER_WORK},
        {"UPDATE followups SET vin = '" VIN_B "'", OTHER_WORK},
        {"UPDATE followups SET followup = 'renew the hose'", OTHER_WORK},
        {"UPDATE followups SET part = 'cp-1'", OTHER_WORK},
        {"UPDATE followups SET part_key = 'CP2'", OTHER_WORK},
        {"DELETE FROM followups",
         ROW_11 "decided again, it asks for follow-up work that is not recorded: renew the cap" CHANGED},
        {"UPDATE followups SET row = 9",
         ROW_9 "decided again, it does not ask for follow-up work that is recorded: renew the cap" CHANGED},
        {"UPDATE row_blocks SET records = CAST(substr(records, 1, 32) || x'02000000' || 'A2' AS BLOB) "
         "WHERE first_row = 20", /* it ends behind its first cell, and the next row is gone */
         "batch 2 gives fewer rows than are recorded; the file has changed"},
        {"DELETE FROM followup_parts",
         ROW_21 "decided again, it supplies a part for earlier follow-up work, which is not recorded" CHANGED},
        {"UPDATE followup_parts SET number = 2",
         ROW_21 "decided again, it supplies a part for other follow-up work than is recorded" CHANGED},
        {"UPDATE followup_parts SET row = 10",
         ROW_21 "decided again, it supplies a part for other follow-up work than is recorded" CHANGED},
        {"UPDATE followup_parts SET supplied_by = 20",
         ROW_20 "decided again, it does not supply a part for follow-up work, as is recorded" CHANGED},
        {"UPDATE chain SET number = 2 WHERE kind = 'outliers'", ""},
        {"UPDATE outlier_runs SET last_row = 20",
         "comparison 1 of dealers did not count what was recorded before it" CHANGED},
        {"UPDATE outlier_runs SET last_decision = 3",
         "comparison 1 of dealers did not count what was recorded before it" CHANGED},
        {"UPDATE outlier_runs SET campaign = 'T0'", OTHER("number of claims counted", "held")},
        {"UPDATE outlier_runs SET since = 20523", OTHER("number of claims counted", "held")},
        {"UPDATE outlier_runs SET until = 20522", OTHER("number of claims compared", "held")},
        {"UPDATE outlier_runs SET recorded_on = recorded_on + 1", OTHER("basis", "D3")},
        {"UPDATE outlier_measures SET all_counted = 5 WHERE number = 1",
         OTHER("number of claims counted", "held")},
        {"UPDATE outlier_measures SET all_of = 1 WHERE number = 2", OTHER("number of claims compared", "work")},
        {"UPDATE outlier_measures SET dealers = 2 WHERE number = 1", OTHER("number of dealers", "held")},
        {"UPDATE outlier_measures SET near_millionths = 600001 WHERE number = 1", OTHER("near limit", "held")},
        {"UPDATE outlier_measures SET far_millionths = 0 WHERE number = 1", OTHER("far limit", "held")},
        {"UPDATE outlier_measures SET phi_millionths = 1 WHERE number = 1", OTHER("spread of dealers", "held")},
        {"UPDATE outlier_measures SET measure = 'hold' WHERE number = 1", OTHER("measure", "held")},
        {"UPDATE outlier_measures SET definition = definition || ' ' WHERE number = 1",
         OTHER("measure", "held")},
        {"UPDATE outlier_measures SET title = 'Claims' WHERE number = 1", OTHER("basis", "D3")},
        {"UPDATE outlier_measures SET definition = replace(definition, 'far=0.7', 'far=0.8') WHERE number = 1",
         OTHER("far limit", "held")},
        {"UPDATE outlier_measures SET definition = replace(definition, 'effect=hold, ', '') WHERE number = 1",
         "this program cannot use the measures of comparison 1 of dealers; make it again with the program of "
         "that time"},
        {"UPDATE outlier_measures SET definition = 'nonsense' WHERE number = 1",
         "this program cannot use the measures of comparison 1 of dealers; make it again with the program of "
         "that time"},
        {"UPDATE outlier_flags SET dealer = 'D2'", OTHER("list of who stands out: dealer", "D3")},
        {"UPDATE outlier_flags SET measure_number = 2", OTHER("list of who stands out: dealer", "D3")},
        {"DELETE FROM outlier_flags", OTHER("list of who stands out: dealer", "D3")},
        {"INSERT INTO outlier_flags SELECT 1, 2, 2, 'D9', side, counted, of, rate_millionths, "
         "limit_millionths, "
         "z_millionths, basis FROM outlier_flags",
         OTHER("list of who stands out: dealer", "D9")},
        {"UPDATE outlier_flags SET side = 'below'", OTHER("side", "D3")},
        {"UPDATE outlier_flags SET counted = 0", OTHER("number of claims", "D3")},
        {"UPDATE outlier_flags SET of = 2", OTHER("number of claims", "D3")},
        {"UPDATE outlier_flags SET rate_millionths = 0", OTHER("rate", "D3")},
        {"UPDATE outlier_flags SET limit_millionths = limit_millionths + 1", OTHER("limit", "D3")},
        {"UPDATE outlier_flags SET z_millionths = 0", OTHER("score", "D3")},
        {"UPDATE outlier_flags SET basis = ''", OTHER("basis", "D3")},
    };
    size_t missed = 0;
    (void)state;

    for (size_t i = 0; i < COUNT(EDITS); i++) {
        struct verify_result result;
        struct capture capture;
        decide_again(small_edited(EDITS[i].sql), &capture, &result);
        const char *said = behind_name(capture.text);
        if (strncmp(said, EDITS[i].said, strlen(EDITS[i].said)) != 0 ||
            (EDITS[i].said[0] == '\0') != (said[0] == '\0') ||
            (result.faults == 0) != (EDITS[i].said[0] == '\0'))
            missed++, print_error("%s\nmust say: %s\nbut says (%d faults): %.600s\n\n", EDITS[i].sql,
                                  EDITS[i].said, (int)result.faults, capture.text);
    }
    assert_int_equal(missed, 0);
    /* of the two differences of a row the first is named alone */
    struct verify_result result;
    struct capture capture;
    decide_again(small_edited("UPDATE followups SET part = 'X'; INSERT INTO followups SELECT row, 2, vin, followup, "
                              "part, '', due_on FROM followups"),
                 &capture, &result);
    assert_int_equal(result.faults, 1);
    assert_string_equal(behind_name(capture.text), OTHER_WORK "\n");
}

static void where_deciding_again_ends(void **state)
{
    static const struct {
        const char *sql, *said;
    } DAMAGES[] = {
        {"DELETE FROM batches WHERE batch = 2", DAMAGED_FILE},
        /* the row of a decision, and no claim of its name is found */
        {"UPDATE claim_rows SET dealer = 'D9' WHERE row = 5", DAMAGED_FILE},
        {"UPDATE batches SET load = (SELECT max(load) FROM loads); UPDATE vehicle_buckets SET vehicles = x'00'",
         "the index of vehicles is damaged; restore the office file from a copy"},
        {"UPDATE row_buckets SET entries = substr(entries, 1, length(entries) - 1)", DAMAGED_FILE},
    };
    size_t missed = 0;
    (void)state;

    for (size_t i = 0; i < COUNT(DAMAGES); i++) {
        struct verify_result result;
        struct capture capture;
        int status = try_again(small_edited(DAMAGES[i].sql), &capture, &result);
        if (status != WM_IO || strstr(capture.text, DAMAGES[i].said) == NULL)
            missed++, print_error("%s: status %d, \"%.600s\"\n", DAMAGES[i].sql, status, capture.text);
    }
    assert_int_equal(missed, 0);
}

/* --- Whoever else reads it ---------------------------------------------------------------------- */

struct reading {
    struct office *office;
    uint64_t count;
};

static int count_flag(void *taker, const struct flagged_claim *claim)
{
    (void)claim;
    ((struct reading *)taker)->count++;
    return WM_OK;
}

static int count_followup(void *taker, const struct open_followup *followup)
{
    (void)followup;
    ((struct reading *)taker)->count++;
    return WM_OK;
}

static int count_standing(void *taker, const struct standing_row *row)
{
    (void)row;
    ((struct reading *)taker)->count++;
    return WM_OK;
}

static int count_batch(void *taker, const struct recorded_batch *batch)
{
    (void)batch;
    ((struct reading *)taker)->count++;
    return WM_OK;
}

static int count_paid(void *taker, const struct paid_claim *claim)
{
    (void)claim;
    ((struct reading *)taker)->count++;
    return WM_OK;
}

/* A row decided again as it was; for a few, as its rules are compiled for it. What is read is the claim's own.
 */
static int read_row(struct ledger_reader *reader, struct arena *arena, const struct claim_name *name,
                    const struct claim_row *row, bool decide)
{
    struct office *office = ledger_reader_office(reader);
    struct past *past = NULL;
    struct claim claim;
    struct text content;
    int status = ledger_content(reader, arena, row->row, &content);

    if (status == WM_OK)
        status = ledger_content_claim(content, row->line, arena, &claim);
    if (status == WM_OK && !text_equal(claim.cells[COLUMN_CLAIM], name->claim))
        fail_msg("claim %.*s was read as %.*s", TEXT_ARGUMENTS(name->claim),
                 TEXT_ARGUMENTS(claim.cells[COLUMN_CLAIM]));
    if (status == WM_OK && decide)
        status = past_open(office, row, office_sink(office), &past);
    past_close(past);
    return status;
}

static int read_claims(struct office *office, const char *dealer)
{
    struct ledger_reader *reader = NULL;
    struct arena arena = ARENA_EMPTY;
    struct claim_name *names = NULL;
    uint32_t count = 0;
    int status = ledger_reader_open(office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader);

    if (status == WM_OK)
        status = ledger_names_of_dealer(reader, &arena, text_of(dealer), &names, &count);
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        struct ledger_claim claim;
        status = ledger_claim_read(reader, &arena, names[i].dealer, names[i].claim, &claim);
        for (uint32_t k = 0; status == WM_OK && k < claim.row_count; k++)
            status = read_row(reader, &arena, &names[i], &claim.rows[k], i == 0);
    }
    arena_free(&arena);
    ledger_reader_close(reader);
    return status;
}

static int read_sums(struct office *office, enum tallies_from from)
{
    struct tallies tallies;
    enum tallies_from was;

    tallies_open(&tallies);
    int status = tallies_then(office, (struct ledger_point){12, 2}, TEXT("D1"), 30000, from, &tallies, &was);
    tallies_close(&tallies);
    return status;
}

static int read_one(struct office *office, int which)
{
    struct reading reading = {office, 0};
    const struct flag_filter flags = {
        .dealer = which == 1 ? TEXT("D1") : TEXT(""), .limit = -1, .since = DAY_NONE, .until = DAY_NONE};
    const struct followup_filter work = {.since = DAY_NONE, .until = DAY_NONE, .limit = -1};
    const struct paid_filter paid = {
        .dealer = which == 5 ? TEXT("D2") : TEXT(""), .since = DAY_NONE, .until = DAY_NONE};

    switch (which) {
    case 0:
    case 1: return ledger_flags(office, &flags, count_flag, &reading);
    case 2: return ledger_followups(office, &work, count_followup, &reading);
    case 3: return listing_standing(office, count_standing, &reading);
    case 4:
    case 5: return ledger_paid(office, &paid, count_paid, &reading);
    case 6: return ledger_replay(office, count_batch, &reading);
    case 7: return read_claims(office, "D1");
    case 8: return read_claims(office, "D2");
    case 9: return read_sums(office, TALLIES_FROM_NOW);
    default: return read_sums(office, TALLIES_FROM_NOTHING);
    }
}

enum { READINGS = 11 };

/* A vehicle whose profile is lost counts for nothing; a campaign that no rules know is none. */
static void completion_of_what_is_lost(void **state)
{
    static const struct {
        const char *sql, *campaign;
        int status;
        uint64_t fewer; /* vehicles than there are */
    } TABLE[] = {
        {"SELECT 1", "T1", WM_OK, 0},
        {"SELECT 1", "T7", WM_NOT_FOUND, 0},
        {"UPDATE vehicle_versions SET profile = 99 WHERE vin = '" VIN_A "'", "T1", WM_OK, 1},
        {"UPDATE vehicle_versions SET profile = -1 WHERE vin = '" VIN_A "'", "T1", WM_OK, 1},
    };
    struct rules_kit kit;
    uint64_t involved = 0;
    (void)state;

    kit_start(&kit);
    assert_int_equal(kit_compile(&kit), WM_OK);
    for (size_t i = 0; i < COUNT(TABLE); i++) {
        struct completion completion;
        struct office *office = NULL;
        struct capture capture;
        capture_start(&capture);
        assert_int_equal(office_open(small_edited(TABLE[i].sql), OFFICE_READ, &capture.sink, &office), WM_OK);
        assert_int_equal(ledger_completion(office, kit.rules, text_of(TABLE[i].campaign), 20600, &capture.sink,
                                           &completion),
                         TABLE[i].status);
        office_close(office);
        if (i == 0)
            involved = completion.involved;
        if (TABLE[i].status == WM_OK)
            assert_int_equal(completion.involved, involved - TABLE[i].fewer);
    }
    assert_true(involved > 1);
    kit_end(&kit);
}

static void a_batch_that_is_not_there(void **state)
{
    const struct claim_row row = {.row = 1, .batch = 99};
    struct office *office = NULL;
    struct past *past = NULL;
    struct capture capture;
    (void)state;

    capture_start(&capture);
    assert_int_equal(office_open(small_edited("SELECT 1"), OFFICE_READ, &capture.sink, &office), WM_OK);
    assert_int_equal(past_open(office, &row, &capture.sink, &past), WM_NOT_FOUND);
    assert_null(past);
    assert_string_equal(capture.text, "");
    office_close(office);
}

/* Each damage that may be met below the schema: no reader falls over it, and what fails says so once. */
static void readers_go_on_or_refuse(void **state)
{
    static const char *const DAMAGES[] = {
        "SELECT 1",
        "DELETE FROM claim_rows WHERE row = 7",
        "UPDATE claim_rows SET decision = 'gone' WHERE row = 1",
        "UPDATE claim_rows SET replaces = 0 WHERE row = 1",
        "UPDATE claim_rows SET replaces = 8 WHERE row = 20; UPDATE claim_rows SET replaces = 20 WHERE row = 8",
        "UPDATE claim_rows SET batch = 99 WHERE row = 1",
        "DELETE FROM row_blocks WHERE first_row = 1",
        "DELETE FROM row_blocks WHERE first_row = 20",
        "UPDATE row_blocks SET records = x'' WHERE first_row = 1",
        "UPDATE row_blocks SET records = substr(records, 1, 35)",
        "UPDATE row_blocks SET records = substr(records, 1, length(records) - 1)",
        /* the last record is cut off whole: the row before must not be taken for it */
        "UPDATE row_blocks SET records = substr(records, 1, 137) WHERE first_row = 20",
        "UPDATE row_blocks SET records = CAST(substr(records, 1, 32) || x'ffffffff' || substr(records, 37) AS "
        "BLOB)",
        /* the first record ends behind its first cell */
        "UPDATE row_blocks SET records = CAST(substr(records, 1, 32) || x'03000000413100' AS BLOB) "
        "WHERE first_row = 1",
        /* contents that are no claim's: parts, labor, and a day that cannot be read */
        "UPDATE row_blocks SET records = CAST(replace(records, 'K-A=1', 'K-A+1') AS BLOB)",
        "UPDATE row_blocks SET records = CAST(replace(records, 'OP-1=1', 'OP-1+1') AS BLOB)",
        "UPDATE row_blocks SET records = CAST(replace(records, '2026-03-02', '2026-93-02') AS BLOB)",
        /* rows that are found by what they do not have */
        "UPDATE claim_rows SET dealer = 'D9' WHERE row IN (1, 7, 11)",
        "UPDATE claim_rows SET claim = 'ZZ' WHERE row IN (1, 7, 11)",
        "UPDATE claim_rows SET vin = 'X' WHERE row IN (1, 7, 11)",
        "DELETE FROM row_buckets",
        "UPDATE row_buckets SET entries = x''",
        "UPDATE row_buckets SET entries = substr(entries, 1, length(entries) - 1)",
        "UPDATE row_buckets SET entries = CAST(x'ffffffffffffffffffffffffffff' || entries AS BLOB)",
        "UPDATE row_buckets SET entries = CAST(substr(entries, 1, 8) || x'77000000' || substr(entries, 13) AS "
        "BLOB)",
        "UPDATE row_buckets SET entries = zeroblob(882)",
        "UPDATE bucket_sizes SET bits = 25",
        "UPDATE bucket_sizes SET bits = 24",
        "UPDATE bucket_sizes SET bits = -1",
        "DELETE FROM bucket_sizes",
        "UPDATE tally_buckets SET entries = x'80'",
        "DELETE FROM batches WHERE batch = 1",
        "UPDATE batches SET rules = 9",
        "UPDATE batches SET load = 9",
        "UPDATE batches SET first_row = -9223372036854775807, row_count = 9223372036854775807",
        "DELETE FROM rules_contents WHERE path = 'units.csv'",
        "UPDATE rules_files SET bytes = x'ff00'",
        "DELETE FROM rules_files",
        "UPDATE office_decisions SET action = 'gone'",
        "UPDATE office_decisions SET row = 99",
        "UPDATE replaced_rows SET replaced_by = 11",
        "INSERT INTO replaced_rows VALUES (21, 11)",
        "UPDATE vehicle_index SET bits = 40",
        "UPDATE vehicle_index SET bits = -1",
        "DELETE FROM vehicle_index",
        "UPDATE vehicle_buckets SET vehicles = x''",
        "UPDATE vehicle_profiles SET profile = profile - 100",
        "UPDATE vehicle_profiles SET profile = profile + 4294967296",
        "UPDATE vehicle_buckets SET vehicles = x'00'",
        "DELETE FROM vehicle_profiles",
        "UPDATE findings SET effect = 'gone'",
        "UPDATE followups SET row = 99",
        "DELETE FROM loads",
        "DELETE FROM chain",
    };
    size_t missed = 0;
    (void)state;

    for (size_t i = 0; i < COUNT(DAMAGES); i++) {
        const char *path = small_edited(DAMAGES[i]);
        struct office *office = NULL;
        struct capture capture;
        capture_start(&capture);
        assert_int_equal(office_open(path, OFFICE_READ, &capture.sink, &office), WM_OK);
        assert_int_equal(office_begin_read(office), WM_OK);
        for (int which = 0; which < READINGS; which++) {
            capture.length = 0;
            capture.text[0] = '\0';
            int status = read_one(office, which);
            if ((status == WM_OK || status == WM_NOT_FOUND) != (capture.length == 0) || (i == 0 && status != WM_OK))
                missed++, print_error("%s: reading %d gives status %d and says \"%.300s\"\n", DAMAGES[i], which,
                                      status, capture.text);
        }
        assert_int_equal(office_end_read(office), WM_OK);
        office_close(office);
    }
    assert_int_equal(missed, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(loads_and_rules),
        cmocka_unit_test(a_long_text_is_hashed_whole),
        cmocka_unit_test(rows_of_batches),
        cmocka_unit_test(contents_of_rows),
        cmocka_unit_test(what_is_derived),
        cmocka_unit_test(decisions_and_audits),
        cmocka_unit_test(the_chain),
        cmocka_unit_test(the_schema_and_the_database),
        cmocka_unit_test(what_is_decided_again),
        cmocka_unit_test(where_deciding_again_ends),
        cmocka_unit_test(readers_go_on_or_refuse),
        cmocka_unit_test(completion_of_what_is_lost),
        cmocka_unit_test(a_batch_that_is_not_there),
    };

    return cmocka_run_group_tests_name("damage", tests, small_open, probe_close);
}
