/* Parts of the ledger one by one, on an office of known content: what stood at any point, what dealers were
 * sent, audits that were changed by other means, writers that meet damage, and what a killed load leaves
 * behind. */
#include "office_kit.h"
#include "small_office.h"

#include <sys/time.h>

#include "base/status.h"
#include "ledger/audit_records.h"
#include "ledger/claim_name.h"
#include "ledger/dealer_lists.h"
#include "ledger/flags.h"
#include "ledger/guarded_query.h"
#include "ledger/left_overs.h"
#include "ledger/office_decisions.h"
#include "ledger/tallies_then.h"
#include "ledger/vehicle_sort.h"
#include "ledger/verify.h"

#define DAMAGED \
    "this is no office file, or a damaged one; name another with --office FILE, or restore it from a copy\n"

/* --- What stood --------------------------------------------------------------------------------- */

struct sum {
    int64_t amount;
    uint32_t entries;
};

static int add_entry(void *taker, const struct packed_entry *entry)
{
    struct sum *sum = taker;

    sum->amount += entry->amount;
    sum->entries += entry->amount != 0;
    return WM_OK;
}

/* Millionths of hours of a technician, or of pieces of a part, that stood at a point: from what is stored, less
 * what came later, or from nothing. */
static int64_t stood(struct office *office, struct ledger_point point, enum packed_key kind, const char *dealer,
                     const char *of, enum tallies_from from)
{
    uint64_t hash = packed_hash(kind, text_of(dealer), text_of(of));
    struct packed_reader *stored = NULL;
    struct tallies tallies;
    enum tallies_from was;
    struct sum sum = {0, 0};

    tallies_open(&tallies);
    assert_int_equal(tallies_then(office, point, text_of(dealer), 30000, from, &tallies, &was), WM_OK);
    assert_int_equal(was, from);
    assert_int_equal(tallies_find(&tallies, hash, add_entry, &sum), WM_OK);
    if (from == TALLIES_FROM_NOW) {
        assert_int_equal(packed_reader_open(office, PACKED_TALLIES, &stored), WM_OK);
        assert_int_equal(packed_find(stored, hash, add_entry, &sum), WM_OK);
        packed_reader_close(stored);
    }
    tallies_close(&tallies);
    return sum.amount;
}

static void what_stood_at_any_point(void **state)
{
    /* rows 1, 2, 3 have 1.5 hours of T1, rows 9 and 10 have 1.2; row 4 has no day. Row 5 has an hour of T2
     * until it is returned (decision 3), rows 11 to 19 one each; 21 replaces 11, and alone has a CP-1. */
    static const struct {
        struct ledger_point point;
        int64_t hours_1, hours_2, kits, caps; /* T1 of D1, T2 of D2; K-A of D1, CP-1 of D2 */
    } TABLE[] = {
        {{0, 0}, 0, 0, 0, 0},
        {{1, 0}, 1500000, 0, 1000000, 0},
        {{3, 0}, 4500000, 0, 3000000, 0},
        {{5, 2}, 4500000, 1000000, 3000000, 0},
        {{5, 3}, 4500000, 0, 3000000, 0},
        {{10, 0}, 6900000, 1000000, 3000000, 0},
        {{11, 4}, 6900000, 1000000, 3000000, 0},
        {{19, 0}, 6900000, 10000000, 3000000, 0},
        {{19, 9}, 6900000, 9000000, 3000000, 0},
        {{20, 9}, 6900000, 9000000, 3000000, 0}, /* row 20 counts for nothing */
        {{21, 2}, 6900000, 10000000, 3000000, 1000000},
        {{21, 9}, 6900000, 9000000, 3000000, 1000000},
    };
    struct office *office = NULL;
    struct capture capture;
    (void)state;

    capture_start(&capture);
    assert_int_equal(office_open(small_whole, OFFICE_READ, &capture.sink, &office), WM_OK);
    assert_int_equal(office_begin_read(office), WM_OK);
    for (size_t i = 0; i < COUNT(TABLE); i++)
        for (enum tallies_from from = TALLIES_FROM_NOW; from <= TALLIES_FROM_NOTHING; from++) {
            struct ledger_point point = TABLE[i].point;
            assert_int_equal(stood(office, point, KEY_TECHNICIAN, "D1", "T1", from), TABLE[i].hours_1);
            assert_int_equal(stood(office, point, KEY_TECHNICIAN, "D2", "T2", from), TABLE[i].hours_2);
            assert_int_equal(stood(office, point, KEY_PART, "D1", "KA", from), TABLE[i].kits);
            assert_int_equal(stood(office, point, KEY_PART, "D2", "CP1", from), TABLE[i].caps);
        }
    assert_int_equal(office_end_read(office), WM_OK);
    office_close(office);
}

/* Hours and quantities that leave the range stay at its end. */
static void sums_stay_at_their_ends(void **state)
{
    struct labor_item labor[] = {{.hours = INT64_MAX - 1}, {.hours = 5}};
    struct claim claim = {.completed_on = 20000, .labor = labor, .labor_count = 2};
    uint64_t hash = packed_hash(KEY_TECHNICIAN, TEXT("D"), TEXT("T"));
    struct tallies tallies;
    struct sum sum = {0, 0};
    (void)state;

    for (int i = 0; i < CLAIM_COLUMNS; i++)
        claim.cells[i] = TEXT("");
    claim.cells[COLUMN_DEALER] = TEXT("D");
    claim.cells[COLUMN_TECHNICIAN] = TEXT("T");
    tallies_open(&tallies);
    assert_int_equal(tallies_add_claim(&tallies, &claim, 1), WM_OK);
    assert_int_equal(tallies_add_claim(&tallies, &claim, 1), WM_OK);
    assert_int_equal(tallies_find(&tallies, hash, add_entry, &sum), WM_OK);
    assert_true(sum.amount == INT64_MAX);
    tallies_close(&tallies);
    sum = (struct sum){0, 0};
    assert_int_equal(tallies_add_claim(&tallies, &claim, -1), WM_OK);
    assert_int_equal(tallies_add_claim(&tallies, &claim, -1), WM_OK);
    assert_int_equal(tallies_find(&tallies, hash, add_entry, &sum), WM_OK);
    assert_true(sum.amount == INT64_MIN);
    /* without a day of completion, a technician or hours nothing is added up */
    claim.completed_on = DAY_NONE;
    assert_int_equal(tallies_add_claim(&tallies, &claim, 1), WM_OK);
    claim.completed_on = 20001;
    claim.cells[COLUMN_TECHNICIAN] = TEXT("");
    assert_int_equal(tallies_add_claim(&tallies, &claim, 1), WM_OK);
    claim.cells[COLUMN_TECHNICIAN] = TEXT("T");
    claim.labor_count = 0;
    assert_int_equal(tallies_add_claim(&tallies, &claim, 1), WM_OK);
    assert_int_equal(tallies.count, 1);
    tallies_close(&tallies);
}

/* --- What dealers were sent --------------------------------------------------------------------- */

struct listed {
    char words[1024];
    size_t length;
};

static int list_part(void *taker, const struct dealer_part *part)
{
    struct listed *listed = taker;

    listed->length +=
        (size_t)snprintf(listed->words + listed->length, sizeof listed->words - listed->length,
                         "%.*s %.*s \"%.*s\" %lld %lld %d %d\n", TEXT_ARGUMENTS(part->dealer),
                         TEXT_ARGUMENTS(part->part_key), TEXT_ARGUMENTS(part->part), (long long)part->shipped,
                         (long long)part->claimed, part->last_shipped_on, part->last_claimed_on);
    return listed->length < sizeof listed->words ? WM_OK : WM_LIMIT;
}

static int list_region(void *taker, struct text region)
{
    struct listed *listed = taker;

    listed->length += (size_t)snprintf(listed->words + listed->length, sizeof listed->words - listed->length,
                                       "%.*s ", TEXT_ARGUMENTS(region));
    return text_is(region, "US-NJ") ? WM_LIMIT : WM_OK; /* a taker may end the list */
}

static void parts_of_dealers(void **state)
{
    static const struct text KEYS[] = {{"CP1", 3}, {"KA", 2}, {"ZZ", 2}};
    static const struct {
        const char *sql, *expected;
    } TABLE[] = {
        /* D1 was sent 3, sent 1 back, and was sent 2 as `k a`; days: 2026-03-03 is 20515, 2026-03-02 20514 */
        {"SELECT 1", "D1 KA \"K-A\" 4000000 3000000 20515 20514\n"
                     "D2 KA \"K-A\" 5000000 0 20463 -2147483648\n"
                     "D2 CP1 \"\" 0 1000000 -2147483648 20514\n"},
        /* more than there can be, and no day; another part beside it */
        {"UPDATE shipment_versions SET quantity_millionths = 9223372036854775807, shipped_on = NULL WHERE "
         "dealer = 'D1';"
         "INSERT INTO shipment_versions VALUES ('S9', 3, 'D1', 'K-B', 'KB', 1000000, 20463);"
         "UPDATE shipment_versions SET quantity_millionths = -9223372036854775807 WHERE dealer = 'D2';"
         "INSERT INTO shipment_versions VALUES ('S8', 3, 'D2', 'K-A', 'KA', -1000000, 20400)",
         "D1 KA \"K-A\" 9223372036854775807 3000000 -2147483648 20514\n"
         "D1 KB \"K-B\" 1000000 0 20463 -2147483648\n"
         "D2 KA \"K-A\" -9223372036854775808 0 20463 -2147483648\n"
         "D2 CP1 \"\" 0 1000000 -2147483648 20514\n"},
    };
    struct capture capture;
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++) {
        struct listed listed = {.length = 0};
        struct office *office = NULL;
        capture_start(&capture);
        assert_int_equal(office_open(small_edited(TABLE[i].sql), OFFICE_READ, &capture.sink, &office), WM_OK);
        assert_int_equal(office_begin_read(office), WM_OK);
        assert_int_equal(ledger_dealer_parts(office, KEYS, COUNT(KEYS), list_part, &listed), WM_OK);
        assert_string_equal(listed.words, TABLE[i].expected);
        listed = (struct listed){.length = 0};
        assert_int_equal(ledger_regions(office, list_region, &listed), WM_LIMIT);
        assert_string_equal(listed.words, "US-AK US-NJ ");
        assert_int_equal(office_end_read(office), WM_OK);
        office_close(office);
    }
}

/* --- Audits that were changed by other means ------------------------------------------------------ */

static int read_audit(struct office *office)
{
    struct arena arena = ARENA_EMPTY;
    struct sample sample;
    struct judgement judgements[16];
    int64_t taken[16], beyond = 0;
    int status = sample_read(office, &arena, TEXT("first"), &sample);

    if (status == WM_OK)
        assert_true(sample.item_count <= 16);
    if (status == WM_OK)
        status = judgements_read(office, &arena, &sample, judgements);
    if (status == WM_OK)
        status = chargebacks_read(office, &sample, taken, &beyond);
    arena_free(&arena);
    return status;
}

static void audits_that_do_not_hold_together(void **state)
{
    static const struct {
        const char *sql;
        int status;
    } TABLE[] = {
        {"SELECT 1", WM_OK},
        {"UPDATE samples SET name = 'x' WHERE sample = 1", WM_NOT_FOUND},
        {"UPDATE samples SET frame_digest = x'00' WHERE sample = 1", WM_IO},
        {"UPDATE sample_frame SET stratum = 0 WHERE sample = 1 AND position = 3", WM_IO},
        {"UPDATE sample_frame SET stratum = 2 WHERE sample = 1 AND position = 3", WM_IO},
        {"UPDATE sample_frame SET position = 9 WHERE sample = 1 AND position = 5", WM_IO},
        {"UPDATE sample_frame SET position = -1 WHERE sample = 1 AND position = 5", WM_IO},
        {"UPDATE sample_frame SET row = 99 WHERE sample = 1 AND position = 3", WM_IO}, /* no claim */
        {"UPDATE sample_items SET row = 1 WHERE sample = 1 AND item = 1", WM_IO},      /* not of the frame */
        {"DELETE FROM sample_strata WHERE sample = 1", WM_IO},
        {"DELETE FROM sample_items WHERE sample = 1", WM_IO}, /* judgements of none */
        {"UPDATE judgements SET item = 6 WHERE item = 5", WM_IO},
        {"UPDATE judgements SET item = 0 WHERE item = 5", WM_IO},
        {"UPDATE chargeback_items SET item = 6 WHERE item = 2", WM_IO},
        {"UPDATE chargeback_items SET item = 0 WHERE item = 2", WM_IO},
    };
    struct capture capture;
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++) {
        struct office *office = NULL;
        capture_start(&capture);
        assert_int_equal(office_open(small_edited(TABLE[i].sql), OFFICE_READ, &capture.sink, &office), WM_OK);
        assert_int_equal(office_begin_read(office), WM_OK);
        int status = read_audit(office);
        if (status != TABLE[i].status || (strstr(capture.text, DAMAGED) != NULL) != (TABLE[i].status == WM_IO))
            fail_msg("%s: status %d, \"%s\"", TABLE[i].sql, status, capture.text);
        assert_int_equal(office_end_read(office), WM_OK);
        office_close(office);
    }
}

/* --- Writers that meet damage ------------------------------------------------------------------- */

static int64_t entries_of_chain(const char *path)
{
    sqlite3 *database;
    sqlite3_stmt *statement;

    assert_int_equal(sqlite3_open(path, &database), SQLITE_OK);
    assert_int_equal(
        sqlite3_prepare_v2(database,
                           "SELECT (SELECT count(*) FROM chain) + (SELECT count(*) FROM claim_rows) "
                           "+ (SELECT count(*) FROM office_decisions)",
                           -1, &statement, NULL),
        SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    int64_t count = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(database);
    return count;
}

#define DECIDE "decide", "D3/A6", "refuse", "--by", "B", "--reason", "x"
#define FALL "decide", "D2/A5", "return", "--by", "B", "--reason", "x"
#define POST "post", NULL
#define LOAD "load", "vehicles", NULL

static void writers_refuse_damage(void **state)
{
    static const struct {
        const char *sql, *command[8], *said;
    } TABLE[] = {
        {"UPDATE chain SET chain_digest = x'00' WHERE entry = 18", {DECIDE}, DAMAGED},
        {"UPDATE row_buckets SET entries = substr(entries, 1, length(entries) - 1)", {DECIDE}, DAMAGED},
        {"UPDATE bucket_sizes SET bits = 25", {DECIDE}, DAMAGED},
        {"UPDATE claim_rows SET decision = 'gone' WHERE row = 6", {DECIDE}, DAMAGED},
        {"UPDATE claim_rows SET replaces = 0 WHERE row = 6", {DECIDE}, DAMAGED}, /* no revision counts */
        {"DELETE FROM claim_rows WHERE row = 6", {DECIDE}, DAMAGED},
        {"UPDATE claim_rows SET dealer = 'D4' WHERE row = 6", {DECIDE}, "claim D3/A6 is not recorded"},
        {"UPDATE claim_rows SET claim = 'B6' WHERE row = 6", {DECIDE}, "claim D3/A6 is not recorded"},
        {"DELETE FROM office_decisions WHERE number = 3; UPDATE tally_buckets SET entries = x'80'",
         {FALL},
         DAMAGED},
        {"DELETE FROM office_decisions WHERE number = 3; DELETE FROM row_blocks", {FALL}, DAMAGED},
        {"UPDATE tally_buckets SET entries = x'80'", {POST}, DAMAGED},
        {"UPDATE row_buckets SET entries = substr(entries, 1, length(entries) - 1)", {POST}, DAMAGED},
        {"UPDATE bucket_sizes SET entries = -1", {POST}, DAMAGED},
        {"UPDATE vehicle_index SET bits = 32", {POST}, DAMAGED},
        {"UPDATE vehicle_profiles SET profile = profile - 100", {POST}, DAMAGED},
        {"UPDATE vehicle_profiles SET profile = profile + 4294967296", {POST}, DAMAGED},
        {"UPDATE vehicle_index SET bits = 32", {LOAD}, DAMAGED},
        {"UPDATE vehicle_index SET bits = -1", {LOAD}, DAMAGED},
        {"DELETE FROM vehicle_index", {LOAD}, DAMAGED},
        {"UPDATE vehicle_buckets SET vehicles = substr(vehicles, 1, length(vehicles) - 1)", {LOAD}, DAMAGED},
        {"DELETE FROM loads", {LOAD}, "the office file cannot be used: "},
    };
    size_t missed = 0;
    (void)state;

    write_words(probe_path("more.csv"), "vin,model_line,model_year\n" VIN_GAMMA ",Delta,2020\n");
    const char *claims = probe_write_claims("claim=N1|dealer=D1|completed_on=2026-03-02" PAY_100);
    for (size_t i = 0; i < COUNT(TABLE); i++) {
        const char *office = small_edited(TABLE[i].sql), *call[24] = {NULL};
        size_t count = 0;
        for (; TABLE[i].command[count] != NULL; count++)
            call[count] = TABLE[i].command[count];
        if (strcmp(call[0], "post") == 0)
            call[count++] = claims;
        if (strcmp(call[0], "load") == 0)
            call[count++] = probe_path("more.csv");
        const char *const rest[] = {"--office",          office,    "--rules",
                                    probe_path("rules"), "--today", "2026-05-20"};
        for (size_t k = 0; k < COUNT(rest); k++)
            call[count++] = rest[k];
        int64_t before = entries_of_chain(office);
        struct result result = run_program(call);
        if (result.code != 2 || strstr(result.err, TABLE[i].said) == NULL || entries_of_chain(office) != before)
            missed++, print_error("%s, %s: exit %d, \"%s\", %lld entries more\n", TABLE[i].sql, call[0],
                                  result.code, result.err, (long long)(entries_of_chain(office) - before));
        result_free(&result);
    }
    assert_int_equal(missed, 0);
}

/* --- Follow-up work ------------------------------------------------------------------------------ */

static const char *copied_query(const char *path, const char *sql)
{
    struct capture capture;
    struct office *office = NULL;

    capture_start(&capture);
    assert_int_equal(office_open(path, OFFICE_READ, &capture.sink, &office), WM_OK);
    const char *rows = words("%s", query(office, sql));
    office_close(office);
    return rows;
}

/* A part without a letter or digit is supplied by none; a claim that brings the part leaves no work; work of a claim
 * without a day is never due, nor is what is due behind all days. */
static void followups_of_any_shape(void **state)
{
    static const struct {
        const char *table, *claim, *rows;
    } TABLE[] = {
        {"C,inspection:CAP,>followup,>part,>due_days\ncap,wrong,renew,cp 1,30\nlook,wrong,look,--,0\n", "",
         "1|renew|cp 1|CP1|2026-04-01\n2|look|--||2026-03-02\n"},
        {"C,inspection:CAP,>followup,>part,>due_days\ncap,wrong,renew,CP-1,30\n",
         "|parts=K-A=1; cp1=1", ""},
        {"C,inspection:CAP,>followup,>part,>due_days\ncap,wrong,renew,CP-1,30\n",
         "|engine=HOLD|completed_on=", "1|renew|CP-1|CP1|-\n"},
        {"C,inspection:CAP,>followup,>part,>due_days\ncap,wrong,renew,CP-1,2147483647\n", "", "1|renew|CP-1|CP1|-\n"},
    };
    const char *office = probe_path("shapes.db"), *rules = probe_path("shapes");
    (void)state;

    shell("cp -r %s %s", probe_path("rules"), rules);
    for (size_t i = 0; i < COUNT(TABLE); i++) {
        shell("cp %s %s", small_whole, office);
        write_words(words("%s/campaigns/T1/followups.csv", rules), TABLE[i].table);
        const char *claim =
            words("claim=F1|vin=" VIN_TWIN_1 "|repair_order=RF|inspections=CAP=wrong%s", TABLE[i].claim);
        small_runs(RUN("post", probe_write_claims(claim), "--today", "2026-05-20", "--quiet", "--office", office,
                       "--rules", rules));
        const char *rows = copied_query(office, "SELECT number, followup, part, part_key, date(due_on * 86400, "
                                                "'unixepoch') FROM followups WHERE row = 22 ORDER BY number");
        if (strcmp(rows, TABLE[i].rows) != 0)
            fail_msg("%s%s\nmust leave\n%sand leaves\n%s", TABLE[i].table, TABLE[i].claim, TABLE[i].rows, rows);
    }
}

/* --- Claims by name ----------------------------------------------------------------------------------- */

/* A slash may stand in the dealer's code and in the claim's number: what is recorded is meant, else the first cut. */
static void claims_are_named(void **state)
{
    static const struct {
        const char *name, *dealer, *claim;
        bool recorded;
    } TABLE[] = {
        {"D1/A1", "D1", "A1", true},
        {"D1/X", "D1", "X", false},
        {"D1/X/Y", "D1", "X/Y", false},
        {"D1/A1/Y", "D1", "A1/Y", false},
        {"/D1/A1", "/D1", "A1", false},
    };
    struct ledger_reader *reader = NULL;
    struct office *office = NULL;
    struct capture capture;
    (void)state;

    capture_start(&capture);
    assert_int_equal(office_open(small_whole, OFFICE_READ, &capture.sink, &office), WM_OK);
    assert_int_equal(ledger_reader_open(office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader), WM_OK);
    for (size_t i = 0; i < COUNT(TABLE); i++) {
        struct claim_named named;
        assert_int_equal(ledger_claim_named(reader, text_of(TABLE[i].name), TEXT(""), &capture.sink, &named), WM_OK);
        assert_true(text_is(named.dealer, TABLE[i].dealer) && text_is(named.claim, TABLE[i].claim));
        assert_int_equal(named.recorded, TABLE[i].recorded);
    }
    assert_string_equal(capture.text, "");
    ledger_reader_close(reader);
    office_close(office);
}

/* --- Vehicles in order ------------------------------------------------------------------------------ */

/* Keys that differ in the upper digit of eleven bits, in the lower one, below both, in the rest, and in the line. */
static void vehicles_come_into_the_order_of_their_keys(void **state)
{
    enum { ROWS = 300 };
    static const int SHIFTS[] = {53, 42, 20, 0, -1, -2};
    struct vehicle_row rows[ROWS], scratch[ROWS];
    (void)state;

    for (size_t i = 0; i < COUNT(SHIFTS); i++)
        for (uint32_t count = 10; count <= ROWS; count += ROWS - 10) {
            for (uint32_t k = 0; k < count; k++) {
                uint32_t mixed = k * 7 % count;
                rows[k] = (struct vehicle_row){.hash = SHIFTS[i] >= 0 ? (uint64_t)mixed << SHIFTS[i] : 5,
                                               .tail = SHIFTS[i] == -1 ? mixed : 1,
                                               .line = mixed};
            }
            vehicle_sort_by_key(rows, scratch, count);
            for (uint32_t k = 0; k < count; k++)
                assert_int_equal(rows[k].line, k);
            for (uint32_t k = 0; k < count; k++)
                rows[k].line = k + 1000;
            vehicle_sort_by_number(rows, scratch, count); /* leaves equal ones as they are */
            for (uint32_t k = 0; k < count; k++)
                assert_int_equal(rows[k].line, k + 1000);
        }
}

/* --- Many claims ------------------------------------------------------------------------------------ */

struct progress {
    uint64_t read, decided;
};

static void note_progress(void *context, const char *what, uint64_t done, uint64_t all)
{
    struct progress *progress = context;

    assert_true(done <= all);
    *(strcmp(what, "reading claims") == 0 ? &progress->read : &progress->decided) = done;
}

static int count_held(void *taker, const struct flagged_claim *claim)
{
    (void)claim;
    ++*(uint64_t *)taker;
    return WM_OK;
}

/* A night of more than a megabyte, whose first block is blank but for the header: recorded, listed, and proved. */
static void many_claims(void **state)
{
    enum { CLAIMS = 8200, BLANKS = 200000 };
    const struct flag_filter all = {.limit = -1, .since = DAY_NONE, .until = DAY_NONE};
    const char *office_path = probe_path("many.db"), *claims = probe_path("many.csv");
    struct progress progress = {0, 0};
    const struct verify_options options = {
        .again = true, .threads = 2, .progress = note_progress, .context = &progress};
    struct verify_result result = {0};
    struct office *office = NULL;
    struct capture capture;
    uint64_t held = 0;
    FILE *file = fopen(claims, "w");
    (void)state;

    need(file != NULL, claims);
    fputs("dealer,claim,repair_order,campaign,vin,outcome,engine,completed_on,technician\n", file);
    fprintf(file, "%*s", BLANKS, "");
    for (int i = 0; i < BLANKS; i++)
        fputc('\n', file);
    for (int i = 0; i < CLAIMS; i++)
        fprintf(file, "D%d,M%d,RM%d,T1,EZ7TAB419KT%06d,repaired,HOLD,2026-03-02,%0100d\n", i % 3 + 1, i, i, i, i);
    need(fclose(file) == 0, claims);
    shell("cp %s %s", small_whole, office_path);
    small_runs(RUN("post", claims, "--today", "2026-05-20", "--quiet", "--office", office_path, "--rules",
                   probe_path("rules")));
    capture_start(&capture);
    assert_int_equal(office_open(office_path, OFFICE_PROVE, &capture.sink, &office), WM_OK);
    assert_int_equal(ledger_verify(office, &options, &capture.sink, &result), WM_OK);
    assert_string_equal(capture.text, "");
    assert_int_equal(result.rows, 21 + CLAIMS);
    assert_int_equal(progress.read, 8192);
    assert_int_equal(progress.decided, 21 + CLAIMS);
    assert_int_equal(office_begin_read(office), WM_OK);
    assert_int_equal(ledger_flags(office, &all, count_held, &held), WM_OK);
    assert_true(held >= CLAIMS);
    assert_int_equal(office_end_read(office), WM_OK);
    office_close(office);
}

/* --- Claims of odd revisions and hours ------------------------------------------------------------- */

/* What stands, as the program keeps it, is what verify comes to by another way: where a revision falls above a row that
 * counts for nothing, and where hours leave the range. */
static void what_stands_is_proved(void **state)
{
    static const struct {
        const char *claims, *today;
    } POSTS[] = {
        {"claim=N1|vin=" VIN_TWIN_2 "|repair_order=RN" PAY_10 "\n"
         "claim=N2|vin=" VIN_B "|repair_order=RL|labor=OP-1=9000000000000; OP-2=9000000000000|technician=T5"
         "|labor_amount=100|total_amount=100\n"
         "claim=N3|vin=" VIN_B "|repair_order=RM|labor=OP-1=9000000000000|technician=T5"
         "|labor_amount=100|total_amount=100",
         "2026-05-20"},
        {"claim=N1|vin=" VIN_TWIN_2 "|repair_order=RN|technician=T8" PAY_10, "2026-05-21"}, /* counts for nothing */
        {"claim=N1|revision=1|engine=HOLD|vin=" VIN_TWIN_2 "|repair_order=RN" PAY_10 "\n"
         "claim=N2|revision=1|vin=" VIN_B "|repair_order=RL|labor=OP-1=1|technician=T5",
         "2026-05-22"},
    };
    const char *office = probe_path("odd.db");
    char engine[20001];
    (void)state;

    memset(engine, 'e', sizeof engine - 1);
    engine[sizeof engine - 1] = '\0';

    shell("cp %s %s", small_whole, office);
#define ODD(...) small_runs(RUN(__VA_ARGS__, "--office", office, "--rules", probe_path("rules"), "--quiet"))
    for (size_t i = 0; i < COUNT(POSTS); i++)
        ODD("post", probe_write_claims(POSTS[i].claims), "--today", POSTS[i].today);
    probe_facts("claim", "kits_claimed"); /* which asks for what stood, and for no technician's day */
    ODD("post", probe_write_claims(words("claim=N4|vin=" VIN_B "|engine=%s|repair_order=RP" PAY_100, engine)),
        "--today", "2026-05-23");
    probe_facts("claim", NULL);
    struct result result = RUN("explain", "D1/N4", "--office", office);
    if (result.code != 0 || strstr(result.out, engine) == NULL)
        fail_msg("%s%s", result.out, result.err);
    result_free(&result);
    ODD("decide", "D2/N1", "refuse", "--by", "B", "--reason", "x", "--today", "2026-05-23");
    assert_string_equal(copied_query(office, "SELECT revision, decision FROM claims_now WHERE claim = 'N1'"),
                        "1|refuse\n");
    ODD("verify", "--again");
    ODD("reverse", "D1/N3", "--by", "B", "--reason", "x", "--today", "2026-05-24");
    ODD("verify", "--again");
#undef ODD
}

/* --- Queries under guard -------------------------------------------------------------------------- */

struct staged {
    int status;
    struct value stage;
};

static int give_stage(void *context, struct text campaign, struct text vin, struct value *ret_stage)
{
    const struct staged *staged = context;
    (void)campaign;
    (void)vin;

    *ret_stage = staged->stage;
    return staged->status;
}

static const struct place NOWHERE = {{"q", 1}, 1, 1};

/* The first cell of the first row, which is on hand until the guard is closed; NULL: what is said is in the capture. */
static const char *asked(struct guard *guard, const char *sql, const struct value *parameter, int *ret_status)
{
    struct guarded_query *query = NULL;
    const char *cell = NULL;
    bool row = false;

    *ret_status = guard_prepare(guard, text_of(sql), NOWHERE, &query);
    if (*ret_status == WM_OK && parameter != NULL)
        *ret_status = guard_bind(query, 0, *parameter);
    if (*ret_status == WM_OK)
        *ret_status = guard_step(query, &row);
    if (*ret_status == WM_OK && row) {
        struct guarded_cell is = guard_cell(query, 0);
        cell = is.kind == CELL_WHOLE  ? words("%lld", (long long)is.whole)
               : is.kind == CELL_TEXT ? words("%.*s", TEXT_ARGUMENTS(is.text))
                                      : "-";
    }
    guard_finish(query);
    return cell;
}

/* Values of each type go into a query and come out of stage_of(); a failure of it ends the query without a word. */
static void values_pass_the_guard(void **state)
{
    static const struct {
        struct value value;
        const char *stage, *bound;
    } TABLE[] = {
        {{.type = VALUE_NUMBER, .number = 2500000}, "2", "2500000"}, /* a parameter is bound in its units */
        {{.type = VALUE_BOOLEAN, .number = 1}, "1", "1"},
        {{.type = VALUE_DATE, .number = 20513}, "2026-03-01", "2026-03-01"},
        {{.type = VALUE_TEXT, .bytes = "first", .length = 5}, "first", "first"},
        {{.type = VALUE_NULL}, "-", "-"},
    };
    struct staged staged = {WM_OK, {.type = VALUE_NULL}};
    struct guard_setup setup = {100, give_stage, &staged};
    struct office *office = NULL;
    struct guard *guard = NULL;
    struct capture capture;
    int status;
    (void)state;

    capture_start(&capture);
    assert_int_equal(office_open(small_whole, OFFICE_READ, &capture.sink, &office), WM_OK);
    assert_int_equal(guard_open(office, &setup, &guard), WM_OK);
    for (size_t i = 0; i < COUNT(TABLE); i++) {
        staged.stage = TABLE[i].value;
        assert_string_equal(asked(guard, "SELECT stage_of('T1', 'V')", NULL, &status), TABLE[i].stage);
        assert_string_equal(asked(guard, "SELECT :p", &TABLE[i].value, &status), TABLE[i].bound);
    }
    staged.status = WM_IO;
    assert_null(asked(guard, "SELECT stage_of('T1', 'V')", NULL, &status));
    assert_int_equal(status, WM_IO);
    guard_close(guard);
    setup.stage_of = NULL;
    assert_int_equal(guard_open(office, &setup, &guard), WM_OK);
    assert_string_equal(asked(guard, "SELECT stage_of('T1', 'V')", NULL, &status), "-");
    guard_close(guard);
    office_close(office);
    assert_string_equal(capture.text, "");
}

/* What a query may not have of time and memory, and a file that cannot be read where the query comes to it. */
static void queries_are_stopped(void **state)
{
    static const char LARGE[] = "SELECT length(group_concat(printf('%.*c', 4000000, 'x'))) FROM rows_decided";
    static const char LONG[] = "SELECT count(*) FROM rows_decided, rows_decided, rows_decided, rows_decided";
    static const char MEMORY[] = "q:1:1: this takes more memory than a report may have; narrow it by its parameters\n";
    const struct guard_setup setup = {1, NULL, NULL};
    struct office *office = NULL;
    struct guard *guard = NULL;
    struct capture capture;
    int status;
    (void)state;

    capture_start(&capture);
    assert_int_equal(office_open(small_whole, OFFICE_READ, &capture.sink, &office), WM_OK);
    assert_int_equal(guard_open(office, &setup, &guard), WM_OK);
    sqlite3_hard_heap_limit64(sqlite3_memory_used() + 2000000);
    assert_null(asked(guard, LARGE, NULL, &status));
    assert_int_equal(status, WM_LIMIT);
    assert_string_equal(capture.text, MEMORY);
    capture_start(&capture);
    office_set_sink(office, &capture.sink);
    sqlite3_hard_heap_limit64(sqlite3_memory_used() + 100);
    assert_null(asked(guard, "SELECT vin, claim, dealer, campaign FROM rows_decided ORDER BY claim", NULL, &status));
    assert_int_equal(status, WM_LIMIT);
    assert_string_equal(capture.text, MEMORY);
    guard_close(guard);
    /* the time is over since more than a second */
    capture_start(&capture);
    assert_int_equal(guard_open(office, &setup, &guard), WM_OK);
    usleep(2100000);
    assert_null(asked(guard, LONG, NULL, &status));
    assert_int_equal(status, WM_LIMIT);
    assert_string_equal(capture.text, "q:1:1: this took longer than 1 second; narrow it by its parameters, or give it "
                                      "more time with --seconds\n");
    guard_close(guard);
    office_close(office);
    /* a page in the middle of the file */
    const char *path = small_edited("SELECT 1");
    long page = atol(copied_query(path, "SELECT rootpage FROM sqlite_schema WHERE name = 'claim_rows'"));
    capture_start(&capture);
    assert_int_equal(office_open(path, OFFICE_READ, &capture.sink, &office), WM_OK);
    assert_int_equal(guard_open(office, &setup, &guard), WM_OK);
    shell("head -c 8192 /dev/zero | dd of=%s bs=8192 seek=%ld conv=notrunc status=none", path, page - 1);
    assert_null(asked(guard, "SELECT vin FROM rows_decided", NULL, &status));
    assert_int_equal(status, WM_IO);
    assert_string_equal(capture.text, words("%s: " DAMAGED, path));
    guard_close(guard);
    office_close(office);
}

/* --- What a killed load leaves behind ------------------------------------------------------------- */

static void touch(const char *path, long age_seconds)
{
    struct timeval now, times[2];

    gettimeofday(&now, NULL);
    times[0] = times[1] = (struct timeval){now.tv_sec - age_seconds, 0};
    assert_int_equal(lutimes(path, times), 0);
}

static long dead_process(void)
{
    pid_t child = fork();

    need(child >= 0, "fork");
    if (child == 0)
        _exit(0);
    assert_int_equal(wait_for_exit(child), 0);
    return child;
}

static void left_overs(void **state)
{
    enum { OLD = LEFT_OVER_SECONDS + 60 };
    const long dead = dead_process(), own = getpid();
    const char *folder = probe_path("left"), *path = words("%s/o.db", folder);
    const struct {
        const char *name;
        long age;
        bool stays;
    } FILES[] = {
        {words("o.db.%ld.part", dead), OLD, false},
        {words("o.db.%ld.part-journal", dead), OLD, false},
        {words("o.db.%ld.part-wal", dead), OLD, false},
        {words("o.db.%ld.part-shm", dead), 0, true}, /* changed just now */
        {words("o.db.%ld.part", own), OLD, true},    /* a program that runs */
        {words("o.db.%ld.partly", dead), OLD, true}, /* other names */
        {words("o.db.%ld.", dead), OLD, true},
        {words("p.db.%ld.part", dead), OLD, true},
        {words("o.db.-%ld.part", dead), OLD, true},
        {words("o.db.x%ld.part", dead), OLD, true},
        {"o.db.0.part", OLD, true},
        {"o.db..part", OLD, true},
        {"o.db.4294967297.part", OLD, true}, /* numbers of no program */
        {"o.db.99999999999999999999.part", OLD, true},
    };
    (void)state;

    shell("mkdir %s && mkdir %s.%ld.part-x", folder, path, dead);
    for (size_t i = 0; i < COUNT(FILES); i++) {
        write_words(words("%s/%s", folder, FILES[i].name), "x");
        touch(words("%s/%s", folder, FILES[i].name), FILES[i].age);
    }
    /* a link, and a folder of such a name */
    const long other = dead_process(), third = dead_process();
    const char *foreign = words("%s.%ld.part-wal", path, third);
    write_words(foreign, "x");
    touch(foreign, OLD);
    bool owned = geteuid() != 0 || chown(foreign, 65534, 65534) != 0; /* root alone can give it away */
    const char *link = words("%s.%ld.part", path, other), *inner = words("%s.%ld.part", path, third);
    assert_int_equal(symlink("o.db.0.part", link), 0);
    touch(link, OLD);
    shell("mkdir %s", inner);
    touch(inner, OLD);

    left_overs_remove(words("%s/none/o.db", folder)); /* no such folder */
    left_overs_remove(path);
    for (size_t i = 0; i < COUNT(FILES); i++)
        if (file_is_there(words("%s/%s", folder, FILES[i].name)) != FILES[i].stays)
            fail_msg("%s", FILES[i].name);
    assert_true(file_is_there(link) && file_is_there(inner));
    assert_true(file_is_there(foreign) != owned);
}

/* Whoever opens the office for writing takes them away, also by a name without a folder; whoever reads does
 * not. */
static void left_overs_go_with_the_next_writer(void **state)
{
    const char *part = words("office.db.%ld.part", dead_process());
    struct office *office = NULL;
    struct capture capture;
    char before[4096];
    (void)state;

    need(getcwd(before, sizeof before) != NULL && chdir(probe_folder) == 0, probe_folder);
    write_words(part, "x");
    touch(part, LEFT_OVER_SECONDS + 60);
    capture_start(&capture);
    assert_int_equal(office_open("office.db", OFFICE_READ, &capture.sink, &office), WM_OK);
    office_close(office);
    assert_true(file_is_there(part));
    assert_int_equal(office_open("office.db", OFFICE_CHANGE, &capture.sink, &office), WM_OK);
    office_close(office);
    assert_false(file_is_there(part));
    assert_string_equal(capture.text, "");
    need(chdir(before) == 0, before);
}

/* --- Words that stand twice ----------------------------------------------------------------------- */

/* The schema says which decisions decide a row, and so do queries: in the same words. */
static void the_schema_says_what_queries_say(void **state)
{
    int count = 0;
    (void)state;

    for (const char *const *sql = OFFICE_SCHEMA; *sql != NULL; sql++)
        for (const char *at = *sql; (at = strstr(at, DECIDES_ROW)) != NULL; at++)
            count++;
    assert_int_equal(count, 2);
    assert_non_null(strstr(OFFICE_SCHEMA[1], "WHEN new." DECIDES_ROW));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_stood_at_any_point),
        cmocka_unit_test(sums_stay_at_their_ends),
        cmocka_unit_test(parts_of_dealers),
        cmocka_unit_test(audits_that_do_not_hold_together),
        cmocka_unit_test(writers_refuse_damage),
        cmocka_unit_test(followups_of_any_shape),
        cmocka_unit_test(claims_are_named),
        cmocka_unit_test(vehicles_come_into_the_order_of_their_keys),
        cmocka_unit_test(many_claims),
        cmocka_unit_test(what_stands_is_proved),
        cmocka_unit_test(values_pass_the_guard),
        cmocka_unit_test(queries_are_stopped),
        cmocka_unit_test(left_overs),
        cmocka_unit_test(left_overs_go_with_the_next_writer),
        cmocka_unit_test(the_schema_says_what_queries_say),
    };

    return cmocka_run_group_tests_name("ledger parts", tests, small_open, probe_close);
}
