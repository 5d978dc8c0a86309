/* In whatever order the nights are posted, no vehicle is paid twice under one campaign, and verify passes. */
#include "program.h"

#include <sqlite3.h>

static char *folder, *office;

static int count_of(const char *sql)
{
    sqlite3 *database;
    sqlite3_stmt *statement;

    assert_int_equal(sqlite3_open_v2(office, &database, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(database, sql, -1, &statement, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    int count = sqlite3_column_int(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(database);
    return count;
}

static void never_paid_twice(void **state)
{
    static const int ORDERS[6][3] = {{1, 2, 3}, {1, 3, 2}, {2, 1, 3}, {2, 3, 1}, {3, 1, 2}, {3, 2, 1}};
    (void)state;

    for (size_t order = 0; order < COUNT(ORDERS); order++) {
        shell("rm -f %s*; cp %s %s", office, demo_file("office.db"), office);
        for (size_t i = 0; i < 3; i++) {
            struct result result = RUN("post", demo_file(words("night-%d.csv", ORDERS[order][i])), "--office", office,
                                       "--today", "2026-04-20", "--quiet");
            assert_int_equal(result.code, 0);
            result_free(&result);
        }
        assert_true(count_of("SELECT count(*) FROM claims_now WHERE decision = 'pay'") > 350);
        assert_int_equal(count_of("SELECT count(*) FROM (SELECT vin, campaign FROM claims_now WHERE decision = 'pay' "
                                  "GROUP BY vin, campaign HAVING count(*) > 1)"), 0);
        struct result result = RUN("verify", "--office", office, "--again");
        assert_int_equal(result.code, 0);
        result_free(&result);
    }
}

/* A night that was posted says so, and changes nothing. */
static void posted_once(void **state)
{
    (void)state;
    int before = count_of("SELECT count(*) FROM claim_rows");
    struct result result = RUN("post", demo_file("night-2.csv"), "--office", office, "--today", "2026-05-01");
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(result.out, "already recorded as batch 2, received on 2026-04-20"));
    assert_int_equal(count_of("SELECT count(*) FROM claim_rows"), before);
    assert_int_equal(count_of("SELECT count(*) FROM batches"), 3);
    result_free(&result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(never_paid_twice),
        cmocka_unit_test(posted_once),
    };
    char pattern[] = "/tmp/witnessmark-orders-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    office = words("%s/office.db", folder);
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
