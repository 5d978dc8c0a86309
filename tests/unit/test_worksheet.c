/* The worksheet's claim row, filled in with what the campaign expects, is paid in full: for every vehicle of
 * the demo office that a campaign takes in and that is in service. */
#include "program.h"

static char *folder, *office;

/* An office with enough of every kit, so that only the rows themselves are judged. */
static void stock_office(void)
{
    static const char *const KITS[] = {"PSH-1600-01", "PSH-2000-01", "PSH-2000-02", "PSH-2200-01",
                                       "PSH-2200-02", "PSH-2010-01", "PSH-2210-01", "SLV-1601",
                                       "SLV-2201",    "SLV-2001"};
    const char *shipments = words("%s/shipments.csv", folder);
    FILE *file = fopen(shipments, "w");

    need(file != NULL, shipments);
    fputs("shipment,dealer,part,quantity,shipped_on\n", file);
    for (size_t i = 0; i < COUNT(KITS); i++)
        fprintf(file, "W%zu,D137,%s,100000,2024-06-03\n", i, KITS[i]);
    fclose(file);
    shell("cp %s %s", demo_file("office.db"), office);
    struct result result = RUN("load", "shipments", shipments, "--office", office, "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
}

/* What a technician would report where all is as it should be. */
static const char *expected_result(const char *item, const char *engine)
{
    if (strcmp(item, "LEAK") == 0)
        return "dry";
    if (strcmp(item, "CAP") == 0)
        return "right";
    if (strcmp(item, "TORQUE") == 0)
        return strcmp(engine, "D22") == 0 ? "40 N.m" : "30 N.m";
    fail_msg("the demo asks for %s, and this test knows no result", item);
    return NULL;
}

static void write_inspections(FILE *file, const char *list, const char *engine)
{
    char *copy = strdup(list);

    need(copy != NULL, "memory");
    for (char *item = strtok(copy, "; "); item != NULL; item = strtok(NULL, "; ")) {
        item[strcspn(item, "=")] = '\0';
        fprintf(file, "%s=%s; ", item, expected_result(item, engine));
    }
    free(copy);
}

/* The row as a dealer completes it. */
static void fill_in(FILE *file, const struct csv_sheet *sheet, size_t row, const char *day)
{
    for (size_t c = 0; sheet->rows[0][c] != NULL; c++) {
        const char *name = sheet->rows[0][c], *cell = sheet->rows[row][c];
        fputs(c > 0 ? "," : "", file);
        if (strcmp(name, "claim") == 0)
            fprintf(file, "W%06zu", row);
        else if (strcmp(name, "repair_order") == 0)
            fprintf(file, "RO%06zu", row);
        else if (strcmp(name, "opened_on") == 0 || strcmp(name, "completed_on") == 0 ||
                 strcmp(name, "submitted_on") == 0)
            fputs(day, file);
        else if (strcmp(name, "inspections") == 0)
            write_inspections(file, cell, csv_at(sheet, row, "engine"));
        else
            fputs(cell, file);
    }
    fputc('\n', file);
}

static void fill_all(const char *path, const struct csv_sheet *sheet, const char *day)
{
    FILE *file = fopen(path, "w");

    need(file != NULL, path);
    for (size_t c = 0; sheet->rows[0][c] != NULL; c++)
        fprintf(file, "%s%s", c > 0 ? "," : "", sheet->rows[0][c]);
    fputc('\n', file);
    for (size_t row = 1; row < sheet->count; row++)
        fill_in(file, sheet, row, day);
    fclose(file);
}

static void write_vins(const char *path)
{
    struct csv_sheet vehicles = csv_sheet_of_file(demo_file("vehicles.csv"));
    FILE *file = fopen(path, "w");

    need(file != NULL, path);
    for (size_t row = 1; row < vehicles.count; row++)
        if (strcmp(csv_at(&vehicles, row, "status"), "in_service") == 0)
            fprintf(file, "%s\n", csv_at(&vehicles, row, "vin"));
    fclose(file);
    csv_sheet_free(&vehicles);
}

/* Worksheets of all vehicles for one campaign, filled in as done on this day, and checked on it. */
static size_t paid_in_full(const char *campaign, const char *day)
{
    const char *vins = words("%s/vins", folder), *rows = words("%s/rows.csv", folder),
               *claims = words("%s/claims.csv", folder);

    write_vins(vins);
    shell(
        "xargs -n 5000 %s worksheet --format csv --dealer D137 --campaign %s --today %s --office %s < %s > %s",
        getenv("WITNESSMARK"), campaign, day, office, vins, rows);
    struct csv_sheet sheet = csv_sheet_of_file(rows);
    fill_all(claims, &sheet, day);
    struct result result =
        RUN("check", claims, "--office", office, "--today", day, "--received", day, "--format", "csv");
    struct csv_sheet decided = csv_sheet_read(result.out);
    assert_int_equal(decided.count, sheet.count);
    for (size_t row = 1; row < decided.count; row++)
        if (strcmp(csv_at(&decided, row, "decision"), "pay") != 0 ||
            strcmp(csv_at(&decided, row, "asked"), csv_at(&decided, row, "payable")) != 0)
            fail_msg("%s: %s, %s of %s, %s", csv_at(&decided, row, "vin"), csv_at(&decided, row, "decision"),
                     csv_at(&decided, row, "payable"), csv_at(&decided, row, "asked"),
                     csv_at(&decided, row, "findings"));
    size_t count = decided.count - 1;
    csv_sheet_free(&decided);
    csv_sheet_free(&sheet);
    result_free(&result);
    return count;
}

static void a_row_as_expected_is_paid(void **state)
{
    (void)state;
    assert_true(paid_in_full("H26-02", "2026-03-03") > 1000);
    assert_true(paid_in_full("H24-05", "2025-06-10") > 300);
}

static void what_is_done_is_said(void **state)
{
    (void)state;
    const char *claims = words("%s/one.csv", folder);
    shell("head -n 2 fixtures/readme/claims.csv > %s", claims);
    struct result result = RUN("post", claims, "--office", office, "--today", "2026-03-01", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    result = RUN("worksheet", "ez7bamck6ke421489", "--office", office, "--today", "2026-03-01");
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(result.out, "  ALREADY DONE   repaired on 2026-02-20; that claim stands\n"));
    assert_non_null(
        strstr(result.out, "The manufacturer's service information and local rules for licensed work come"));
    result_free(&result);
}

static void vehicles_that_need_nothing_or_are_not_there(void **state)
{
    (void)state;
    struct result result = RUN("worksheet", "EZ7BAMCK6KE421498", "--office", office);
    assert_int_equal(result.code, 2);
    assert_string_equal(result.err,
                        "vehicle EZ7BAMCK6KE421498 is not in the register; is it EZ7BAMCK6KE421489?\n");
    result_free(&result);
    result = RUN("worksheet", "EZ7BAMCK6KE421489", "--office", office, "--campaign", "H99-99");
    assert_int_equal(result.code, 2);
    result_free(&result);
    result = RUN("worksheet", "EZ7BAMCK6KE421489", "--office", office, "--dealer", "D999");
    assert_int_equal(result.code, 2);
    assert_string_equal(result.err, "dealer \"D999\" is not in the register for this day; check the code\n");
    result_free(&result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_row_as_expected_is_paid),
        cmocka_unit_test(what_is_done_is_said),
        cmocka_unit_test(vehicles_that_need_nothing_or_are_not_there),
    };
    char pattern[] = "/tmp/witnessmark-worksheet-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    office = words("%s/office.db", folder);
    stock_office();
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
