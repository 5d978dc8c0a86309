/* Random files from few dealers, vehicles, claims and technicians, so that everything meets everything: posting
 * them one by one decides what one check of all of them decides, and verify can decide all of it again,
 * whatever people decided in between. */
#include "program.h"

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
    for (int run = 0; run < RUNS; run++) {
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
    for (int run = 0; run < RUNS; run++) {
        new_office();
        for (int i = 0; i < FILES; i++) {
            post(make_file(RUNS + run, i));
            people_decide();
        }
        verify(run);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(posted_as_checked),
                                       cmocka_unit_test(people_between_the_nights)};
    char made[] = "/tmp/witnessmark-random-XXXXXX";

    need(mkdtemp(made) != NULL, made);
    folder = made;
    office = words("%s/office.db", folder);
    int failed = cmocka_run_group_tests_name("ledger random", tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
