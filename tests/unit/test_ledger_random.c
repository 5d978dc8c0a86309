/* Random files from few dealers, vehicles, claims and technicians, so that everything meets everything: posting
 * them one by one decides what one check of all of them decides, and verify can decide all of it again,
 * whatever people decided in between; and what stood at any point is known from both ends. */
#include "program.h"

#include "base/status.h"
#include "ledger/tallies_then.h"

enum { RUNS = 12, FILES = 5, ROWS = 40 };

static char *folder, *office;
static uint64_t seed;

static const char *one_of(const char *const *choices, size_t count)
{
    return choices[random_below(&seed, count)];
}

#define ONE_OF(...) \
    one_of((const char *const[]){__VA_ARGS__}, sizeof((const char *const[]){__VA_ARGS__}) / sizeof(char *))

static void add_row(FILE *file)
{
    const char *dealer = ONE_OF("D137", "D138", "D139");
    const char *claim = ONE_OF("K1", "K2", "K3", "K4", "K5", "K6", "K7");
    const char *vin = ONE_OF("EZ7BAMCK6KE421489", "EZ7BAMCK9KE429408", "EZ7BAMCK5KE437327", "EZ7BAMCK1KE445246",
                             "EZ7BAMCK8KE453165");
    const char *revision = ONE_OF("", "0", "1", "1", "2", "3"),
               *odometer = ONE_OF("48930", "48990", "49500", "");
    const char *opened = ONE_OF("2026-02-18", "2026-02-18", "2026-02-18", ""), *unit = ONE_OF("mi", "km", "");
    const char *leak = ONE_OF("dry", "dry", "dry", "seeping"),
               *outcome = ONE_OF("repaired", "repaired", "inspected");
    const char *completed = ONE_OF("2026-02-19", "2026-02-20", "2026-02-20", "2026-02-21", "");
    int order = (int)random_below(&seed, 9), technician = (int)random_below(&seed, 2);

    fprintf(file,
            "%s,%s,%s,RO-%d,H26-02,%s,%s,2019,R16,%s,%s,%s,%s,2026-02-24,T%d,,PSH-1600-01=1; FLD-0100=1,"
            "PSR-10=1.2; PSR-20=%s,LEAK=%s; TORQUE=30 N.m,181.65,210.00,,391.65\n",
            claim, revision, dealer, order, vin, outcome, odometer, unit, opened, completed, technician,
            ONE_OF("0.2", "8"), leak);
}

static const char *make_file(int run, int number)
{
    const char *path = words("%s/run-%d-%d.csv", folder, run, number);
    FILE *file = fopen(path, "w");

    need(file != NULL, path);
    fputs("claim,revision,dealer,repair_order,campaign,vin,outcome,model_year,engine,odometer,odometer_unit,"
          "opened_on,completed_on,submitted_on,technician,approval,parts,labor,inspections,parts_amount,"
          "labor_amount,other_amount,total_amount\n",
          file);
    for (int i = 0; i < ROWS; i++)
        add_row(file);
    fclose(file);
    return path;
}

static void new_office(void)
{
    shell("rm -f %s %s-*; cp %s %s", office, office, demo_file("office.db"), office);
}

/* The rows of a decisions file without their first column, the file. */
static char *without_file(const char *csv)
{
    struct csv_sheet sheet = csv_sheet_read(csv);
    char *made = words("%s", "");

    for (size_t i = 1; i < sheet.count; i++)
        for (size_t c = 1; sheet.rows[i][c] != NULL; c++)
            made = words("%s%s%s", made, sheet.rows[i][c], sheet.rows[i][c + 1] == NULL ? "\n" : ",");
    csv_sheet_free(&sheet);
    return made;
}

static char *post(const char *file)
{
    struct result result =
        RUN("post", file, "--office", office, "--today", "2026-03-01", "--format", "csv", "--quiet");

    if (result.code != 0)
        fail_msg("%s", result.err);
    char *rows = words("%s", strchr(result.out, '\n') + 1);
    result_free(&result);
    return rows;
}

static void verify(int run)
{
    struct result result = RUN("verify", "--again", "--office", office);

    if (result.code != 0)
        fail_msg("run %d: %s", run, result.err);
    result_free(&result);
}

static void posted_as_checked(void **state)
{
    (void)state;

    seed = random_seed("test_ledger_random");
    for (int run = 0; run < random_times(RUNS); run++) {
        const char *files[FILES];
        char *posted = words("%s", "");
        for (int i = 0; i < FILES; i++)
            files[i] = make_file(run, i);
        new_office();
        struct result checked = RUN("check", files[0], files[1], files[2], files[3], files[4], "--office",
                                    office, "--today", "2026-03-01", "--format", "csv");
        for (int i = 0; i < FILES; i++)
            posted = words("%s%s", posted, post(files[i]));
        assert_string_equal(posted, without_file(checked.out));
        result_free(&checked);
        verify(run);
    }
}

/* Some of the held claims are decided, some payments taken back. */
static void people_decide(void)
{
    struct result held = RUN("flags", "--office", office, "--decision", "hold", "--format", "csv");
    struct csv_sheet sheet = csv_sheet_read(held.out);

    for (size_t i = 1; i < sheet.count; i++) {
        const char *claim = words("%s/%s", csv_at(&sheet, i, "dealer"), csv_at(&sheet, i, "claim"));
        const char *decision = ONE_OF("pay", "return", "refuse", NULL);
        if (decision == NULL)
            continue;
        struct result decided = RUN("decide", claim, decision, "--by", "A. Clerk", "--reason", "papers",
                                    "--office", office, "--today", "2026-03-01");
        assert_int_equal(decided.code, 0);
        result_free(&decided);
        if (strcmp(decision, "pay") != 0 || random_below(&seed, 2) == 0)
            continue;
        struct result reversed = RUN("reverse", claim, "--by", "A. Clerk", "--reason", "audit", "--office",
                                     office, "--today", "2026-03-01");
        assert_int_equal(reversed.code, 0);
        result_free(&reversed);
    }
    csv_sheet_free(&sheet);
    result_free(&held);
}

static void people_between_the_nights(void **state)
{
    (void)state;

    seed = random_seed("test_ledger_random");
    for (int run = 0; run < random_times(RUNS); run++) {
        const char *files[FILES], *posted[FILES];
        new_office();
        for (int i = 0; i < FILES; i++) {
            files[i] = make_file(RUNS + run, i);
            posted[i] = post(files[i]);
            people_decide();
        }
        verify(run);
        /* whatever came later, a file that is known is written as it was that day */
        for (int i = 0; i < FILES; i++)
            assert_string_equal(post(files[i]), posted[i]);
    }
}

/* --- Tallies of an earlier point --------------------------------------------------------------------- */

/* What the dealer's claims added up to, claim by claim: the slow way. */
static void add_up(struct office *opened, struct ledger_point point, struct text dealer, int32_t until,
                   struct tallies *sums)
{
    struct ledger_reader *reader;
    struct arena arena = ARENA_EMPTY;
    struct claim_name *names;
    uint32_t count;

    assert_int_equal(ledger_reader_open(opened, point, &reader), WM_OK);
    assert_int_equal(ledger_names_of_dealer(reader, &arena, dealer, &names, &count), WM_OK);
    for (uint32_t i = 0; i < count; i++) {
        struct ledger_claim found;
        struct claim claim;
        struct text content;
        assert_int_equal(ledger_claim_read(reader, &arena, dealer, names[i].claim, &found), WM_OK);
        if (found.standing == NULL)
            continue;
        assert_int_equal(ledger_content(reader, &arena, found.standing->row, &content), WM_OK);
        assert_int_equal(ledger_content_claim(content, 0, &arena, &claim), WM_OK);
        if (claim.completed_on != DAY_NONE && claim.completed_on <= until)
            assert_int_equal(tallies_add_claim(sums, &claim, 1), WM_OK);
    }
    ledger_reader_close(reader);
    arena_free(&arena);
}

struct asked_sum {
    uint32_t day;
    int64_t amount;
};

static int add_day(void *context, const struct packed_entry *entry)
{
    struct asked_sum *sum = context;

    if (entry->number == sum->day)
        sum->amount += entry->amount;
    return WM_OK;
}

/* The sum under a key on a day: of the tallies, and of what the office file keeps where they are added to it. */
static int64_t sum_of(const struct tallies *tallies, struct packed_reader *kept, uint64_t hash, int32_t day)
{
    struct asked_sum sum = {packed_day(day), 0};

    assert_int_equal(tallies_find(tallies, hash, add_day, &sum), WM_OK);
    if (kept != NULL)
        assert_int_equal(packed_find(kept, hash, add_day, &sum), WM_OK);
    return sum.amount;
}

static void compare_sums(struct office *opened, struct ledger_point point, struct text dealer, int32_t until,
                         enum tallies_from from)
{
    static const char *const KEYS[] = {"T0", "T1", "PSH160001", "FLD0100"};
    struct tallies slow, fast;
    struct packed_reader *kept;
    int32_t first, last;
    enum tallies_from is_from;

    assert_true(date_read(TEXT("2026-02-18"), &first) && date_read(TEXT("2026-02-22"), &last));
    tallies_open(&slow);
    tallies_open(&fast);
    add_up(opened, point, dealer, until, &slow);
    assert_int_equal(tallies_then(opened, point, dealer, until, from, &fast, &is_from), WM_OK);
    assert_true(from == TALLIES_FROM_EITHER ? is_from != from : is_from == from);
    assert_int_equal(packed_reader_open(opened, PACKED_TALLIES, &kept), WM_OK);
    for (size_t i = 0; i < COUNT(KEYS); i++)
        for (int32_t day = first; day <= last && day <= until; day++) {
            uint64_t hash = packed_hash(i < 2 ? KEY_TECHNICIAN : KEY_PART, dealer, text_of(KEYS[i]));
            int64_t is = sum_of(&fast, is_from == TALLIES_FROM_NOW ? kept : NULL, hash, day),
                    should_be = sum_of(&slow, NULL, hash, day);
            if (is != should_be)
                fail_msg("%.*s, %s at row %lld, decision %lld, from %d: %lld, not %lld", TEXT_ARGUMENTS(dealer),
                         KEYS[i], (long long)point.last_row, (long long)point.last_decision, (int)from,
                         (long long)is, (long long)should_be);
        }
    packed_reader_close(kept);
    tallies_close(&slow);
    tallies_close(&fast);
}

/* What stood at any point is added up one way and another, and from both ends, with the same result. */
static void tallies_of_any_point(void **state)
{
    static const char *const DEALERS[] = {"D137", "D138", "D139", "nobody"};
    struct capture capture;
    struct office *opened;
    struct ledger_point now;
    int32_t last;
    (void)state;

    seed = random_seed("test_ledger_random");
    assert_true(date_read(TEXT("2026-02-22"), &last));
    for (int run = 0; run < random_times(RUNS); run++) {
        new_office();
        for (int i = 0; i < FILES; i++) {
            post(make_file(2 * RUNS + run, i));
            people_decide();
        }
        capture_start(&capture);
        assert_int_equal(office_open(office, OFFICE_READ_ALONE, &capture.sink, &opened), WM_OK);
        assert_int_equal(office_begin_read(opened), WM_OK);
        assert_int_equal(ledger_last(opened, &now), WM_OK);
        for (int i = 0; i < 60; i++) {
            struct ledger_point point = {(int64_t)random_below(&seed, (uint64_t)now.last_row + 1),
                                         (int64_t)random_below(&seed, (uint64_t)now.last_decision + 1)};
            compare_sums(opened, point, text_of(DEALERS[i % 4]), last - (int32_t)random_below(&seed, 4),
                         (enum tallies_from)(i % 3));
        }
        assert_int_equal(office_end_read(opened), WM_OK);
        office_close(opened);
    }
}

static const char *one_claim(int revision, const char *completed)
{
    const char *path = words("%s/one-%d.csv", folder, revision);

    write_words(path, words("claim,revision,dealer,repair_order,campaign,vin,outcome,model_year,engine,odometer,"
                            "odometer_unit,opened_on,completed_on,submitted_on,technician,approval,parts,labor,"
                            "inspections,parts_amount,labor_amount,other_amount,total_amount\n"
                            "K1,%d,D137,RO-1,H26-02,EZ7BAMCK6KE421489,repaired,2019,R16,48930,mi,2026-02-18,%s,"
                            "2026-02-24,T0,,PSH-1600-01=1; FLD-0100=1,PSR-10=1.2; PSR-20=0.2,"
                            "LEAK=dry; TORQUE=30 N.m,181.65,210.00,,391.65\n",
                            revision, completed));
    return path;
}

/* A correction that says the work was done later took the place of a row that counts on the earlier day. */
static void a_later_row_takes_the_place_of_an_earlier_day(void **state)
{
    struct capture capture;
    struct office *opened;
    int32_t until;
    (void)state;

    assert_true(date_read(TEXT("2026-02-20"), &until));
    new_office();
    assert_non_null(strstr(post(one_claim(0, "2026-02-19")), ",pay,"));
    assert_non_null(strstr(post(one_claim(1, "2026-02-21")), ",pay,"));
    capture_start(&capture);
    assert_int_equal(office_open(office, OFFICE_READ_ALONE, &capture.sink, &opened), WM_OK);
    assert_int_equal(office_begin_read(opened), WM_OK);
    for (int from = TALLIES_FROM_NOW; from <= TALLIES_FROM_NOTHING; from++)
        for (int row = 0; row <= 2; row++)
            compare_sums(opened, (struct ledger_point){row, 0}, TEXT("D137"), until, (enum tallies_from)from);
    assert_int_equal(office_end_read(opened), WM_OK);
    office_close(opened);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(posted_as_checked),
                                       cmocka_unit_test(people_between_the_nights),
                                       cmocka_unit_test(tallies_of_any_point),
                                       cmocka_unit_test(a_later_row_takes_the_place_of_an_earlier_day)};
    char made[] = "/tmp/witnessmark-random-XXXXXX";

    need(mkdtemp(made) != NULL, made);
    folder = made;
    office = words("%s/office.db", folder);
    int failed = cmocka_run_group_tests_name("ledger random", tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
