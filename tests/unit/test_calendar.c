/* Federal holidays, business days, quarters, and the days on which reports to the regulator are due. */
#include "program.h"

#include "base/status.h"
#include "regulator/calendar.h"
#include "regulator/quarterly.h"
#include "regulator/schedule.h"

static int32_t day(const char *iso)
{
    int32_t read = DAY_NONE;

    if (!date_read(text_of(iso), &read))
        fail_msg("%s is no day", iso);
    return read;
}

static const char *iso(int32_t of)
{
    char room[DATE_ROOM];

    date_write(of, room);
    return words("%s", room);
}

/* The days on which the holidays of 2026 to 2030 are kept, as the Office of Personnel Management lists them for
 * federal employees (from memory; worked out with another program too). That of 1 January 2028, a Saturday, is
 * kept in 2027. */
static const char *const KEPT[] = {
    "2026-01-01", "2026-01-19", "2026-02-16", "2026-05-25", "2026-06-19", "2026-07-03", "2026-09-07",
    "2026-10-12", "2026-11-11", "2026-11-26", "2026-12-25", "2027-01-01", "2027-01-18", "2027-02-15",
    "2027-05-31", "2027-06-18", "2027-07-05", "2027-09-06", "2027-10-11", "2027-11-11", "2027-11-25",
    "2027-12-24", "2027-12-31", "2028-01-17", "2028-02-21", "2028-05-29", "2028-06-19", "2028-07-04",
    "2028-09-04", "2028-10-09", "2028-11-10", "2028-11-23", "2028-12-25", "2029-01-01", "2029-01-15",
    "2029-02-19", "2029-05-28", "2029-06-19", "2029-07-04", "2029-09-03", "2029-10-08", "2029-11-12",
    "2029-11-22", "2029-12-25", "2030-01-01", "2030-01-21", "2030-02-18", "2030-05-27", "2030-06-19",
    "2030-07-04", "2030-09-02", "2030-10-14", "2030-11-11", "2030-11-28", "2030-12-25",
};

/* Every day of the five years: a holiday is kept on those of the list and on no other. */
static void holidays_of_five_years(void **state)
{
    size_t next = 0;
    (void)state;

    for (int32_t at = day("2026-01-01"); at <= day("2030-12-31"); at++) {
        bool listed = next < COUNT(KEPT) && day(KEPT[next]) == at;
        if (listed != (holiday_on(at) >= 0))
            fail_msg("%s: the list says %s", iso(at), listed ? "a holiday" : "no holiday");
        next += listed;
    }
    assert_int_equal(next, COUNT(KEPT));
    assert_int_equal(COUNT(KEPT), 5 * HOLIDAYS);
}

static void named_days(void **state)
{
    static const struct {
        const char *kept_on, *name;
    } CASES[] = {
        {"2026-01-01", "New Year's Day"},
        {"2027-12-31", "New Year's Day"},
        {"2026-01-19", "Birthday of Martin Luther King, Jr."},
        {"2026-02-16", "Washington's Birthday"},
        {"2026-05-25", "Memorial Day"},
        {"2027-06-18", "Juneteenth National Independence Day"},
        {"2026-07-03", "Independence Day"},
        {"2026-09-07", "Labor Day"},
        {"2026-10-12", "Columbus Day"},
        {"2028-11-10", "Veterans Day"},
        {"2026-11-26", "Thanksgiving Day"},
        {"2027-12-24", "Christmas Day"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        int holiday = holiday_on(day(CASES[i].kept_on));
        assert_true(holiday >= 0);
        assert_string_equal(holiday_name(holiday), CASES[i].name);
    }
    assert_int_equal(holiday_day(5, 2026), day("2026-07-04"));
    assert_int_equal(holiday_kept_on(0, 2028), day("2027-12-31"));
}

static void business_days(void **state)
{
    (void)state;
    assert_true(is_business_day(day("2026-11-25")));
    assert_false(is_business_day(day("2026-11-26")));
    assert_false(is_business_day(day("2026-11-28")));
    assert_int_equal(next_business_day(day("2026-07-02")), day("2026-07-02"));
    assert_int_equal(next_business_day(day("2026-07-03")), day("2026-07-06"));
    assert_int_equal(next_business_day(day("2027-12-24")), day("2027-12-27"));
    /* behind 2026-12-23: Thursday 24, Monday 28 (Friday is Christmas), Tuesday 29 */
    assert_int_equal(after_business_days(day("2026-12-23"), 3), day("2026-12-29"));
    assert_int_equal(after_business_days(day("2026-12-23"), 0), day("2026-12-23"));
}

static void quarters(void **state)
{
    static const char *const NONE[] = {"",         "2026",    "2026-Q0", "2026-Q5", "2026-1", "26-Q1",
                                       "2026-Q1 ", "0000-Q1", "2026Q1x", "x026-Q1", "2026-R1"};
    char room[QUARTER_ROOM];
    int32_t quarter;
    (void)state;

    assert_true(quarter_read(TEXT("2025-Q4"), &quarter));
    assert_int_equal(quarter, quarter_of_day(day("2025-11-10")));
    assert_int_equal(quarter_first_day(quarter), day("2025-10-01"));
    assert_int_equal(quarter_last_day(quarter), day("2025-12-31"));
    quarter_write(quarter + 1, room);
    assert_string_equal(room, "2026-Q1");
    assert_int_equal(quarter_last_day(quarter + 1), day("2026-03-31"));
    assert_int_equal(quarter_year(quarter), 2025);
    assert_int_equal(quarter_of_year(quarter), 4);
    for (size_t i = 0; i < COUNT(NONE); i++)
        assert_false(quarter_read(text_of(NONE[i]), &quarter));
}

/* --- What is due ------------------------------------------------------------------------------ */

static struct filings read_filings(struct arena *arena)
{
    struct capture capture;
    struct filings filings;

    capture_start(&capture);
    assert_int_equal(filings_read(arena, TEXT("filings.csv"), text_of(read_whole("rules/filings.csv", NULL)),
                                  &capture.sink, &filings),
                     WM_OK);
    assert_string_equal(capture.text, "");
    return filings;
}

/* A campaign that began on 2025-11-10: eight quarters of 49 USC 30118(f), on the days of 49 CFR 573.7(d) (from
 * memory), moved behind weekends; 30 January 2027 is a Saturday, 30 October 2027 too. Then three annual
 * reports, each of which ends a year behind the report before it; no text names their day, here they are due
 * like the report of that quarter. */
static void due_days_of_a_defect(void **state)
{
    static const struct {
        const char *quarter, *due_on;
    } DUE[] = {{"2025-Q4", "2026-01-30"}, {"2026-Q1", "2026-04-30"}, {"2026-Q2", "2026-07-30"},
               {"2026-Q3", "2026-10-30"}, {"2026-Q4", "2027-02-01"}, {"2027-Q1", "2027-04-30"},
               {"2027-Q2", "2027-07-30"}, {"2027-Q3", "2027-11-01"}, {"2028-Q3", "2028-10-30"},
               {"2029-Q3", "2029-10-30"}, {"2030-Q3", "2030-10-30"}};
    struct arena arena = ARENA_EMPTY;
    struct filings filings = read_filings(&arena);
    const struct filing *filing = filings_for(&filings, TEXT("safety recall"));
    struct due_report found;
    char quarter[QUARTER_ROOM];
    (void)state;

    assert_int_equal(schedule_count(filing), COUNT(DUE));
    for (size_t i = 0; i < COUNT(DUE); i++) {
        struct due_report report = schedule_report(filing, day("2025-11-10"), (int)i + 1);
        quarter_write(report.quarter, quarter);
        assert_string_equal(quarter, DUE[i].quarter);
        assert_string_equal(iso(report.due_on), DUE[i].due_on);
        assert_int_equal(report.annual, i >= 8);
        assert_true(schedule_report_of(filing, day("2025-11-10"), report.quarter, &found));
        assert_int_equal(found.number, i + 1);
    }
    assert_false(schedule_report_of(filing, day("2025-11-10"), quarter_of_day(day("2025-09-30")), &found));
    assert_false(schedule_report_of(filing, day("2025-11-10"), quarter_of_day(day("2028-01-01")), &found));
    arena_free(&arena);
}

/* 40 CFR 1068.525(b): 25 days behind the quarter's end, six times, no day is moved. */
static void due_days_of_emissions(void **state)
{
    static const char *const DUE[] = {"2026-01-25", "2026-04-25", "2026-07-25",
                                      "2026-10-25", "2027-01-25", "2027-04-25"};
    struct arena arena = ARENA_EMPTY;
    struct filings filings = read_filings(&arena);
    const struct filing *filing = filings_for(&filings, TEXT("Emissions Recall"));
    (void)state;

    assert_int_equal(filing->form, FILING_EMISSIONS);
    assert_int_equal(schedule_count(filing), COUNT(DUE));
    for (size_t i = 0; i < COUNT(DUE); i++)
        assert_string_equal(iso(schedule_report(filing, day("2025-12-31"), (int)i + 1).due_on), DUE[i]);
    /* 25 working days behind 2025-12-31 (40 CFR 85.1904, from memory), counted on a calendar with 1 and 19
     * January as holidays: 2026-02-06 */
    struct filing working = {.quarters = 1, .due_working_days = 25};
    assert_string_equal(iso(schedule_report(&working, day("2025-12-01"), 1).due_on), "2026-02-06");
    /* a day that the month does not have is its last */
    struct filing last = {.quarters = 1, .due_day = 31};
    assert_string_equal(iso(schedule_report(&last, day("2026-01-01"), 1).due_on), "2026-04-30");
    arena_free(&arena);
}

/* The line of the flat file: what begins another field or line is a blank, what is not known is empty, a number
 * that was not said is none, and a quarter in which nothing is due has no number of its report. */
static void flat_lines(void **state)
{
    const struct campaign campaign = {.id = TEXT("H1"),
                                      .title = TEXT("Hose:\treplace\nit"),
                                      .manufacturer = TEXT("Maker"),
                                      .regulator_number = TEXT(""),
                                      .notice_began_on = day("2026-01-12"),
                                      .notice_ended_on = day("2026-04-06")};
    struct quarterly quarterly = {
        .campaign = &campaign,
        .quarter = quarter_of_day(day("2026-03-31")),
        .as_of = day("2026-03-31"),
        .report = {.number = 1},
        .now = {.involved = 100, .repaired = 20, .inspected = 3, .unreachable = {4, 5}},
        .said = {0, -1, -1, -1, -1, -1, -1, -1, TEXT(""), TEXT(""), DAY_NONE},
    };
    struct arena arena = ARENA_EMPTY;
    (void)state;

    assert_true(text_is(quarterly_flat_line(&quarterly, &arena),
                        "Maker\t\tH1\tHose: replace it\t20260112\t\t\t2026-1\t100\t23\t9\t0\t"));
    quarterly.is_due = true;
    quarterly.quarter++;
    quarterly.as_of = day("2026-06-30");
    quarterly.said.unreachable_other = 1;
    quarterly.said.removed = 2;
    quarterly.said.submitted_on = day("2026-07-28");
    assert_true(text_is(quarterly_flat_line(&quarterly, &arena),
                        "Maker\t\tH1\tHose: replace it\t20260112\t20260406\t1\t2026-2\t100\t23\t10\t2\t20260728"));
    assert_true(text_is(quarterly_flat_field(&quarterly, 9, &arena), "23"));
    assert_string_equal(quarterly_flat_name(9), "TTLREMEDIED");
    assert_int_equal(quarterly_reachable(&quarterly), 100 - 10 - 2);
    assert_int_equal(quarterly_inspected(&quarterly), 23);
    assert_false(quarterly_has_changed(&quarterly));
    quarterly.has_before = true;
    assert_true(quarterly_has_changed(&quarterly));
    arena_free(&arena);
}

static void wrong_filings(void **state)
{
#define HEADER "filing,kinds,form,quarters,annual_reports,due_day,due_days,due_working_days,moves\n"
    static const struct {
        const char *csv, *said;
    } CASES[] = {
        {"filing,kinds\n", "filings.csv:1: the column \"form\" is missing"},
        {HEADER ",,defect,8,3,30,,,true\n", "filings.csv:2:1: the row has no name; fill the cell in\n"},
        {HEADER "a,,other,8,3,30,,,true\n",
         "filings.csv:2:3: form \"other\" is none; write defect or emissions\n"},
        {HEADER "a,,defect,8.5,3,30,,,true\n",
         "filings.csv:2:4: quarters \"8.5\" is no whole number from 0 to 100; correct it\n"},
        {HEADER "a,,defect,8,3,32,,,true\n",
         "filings.csv:2:6: due_day \"32\" is no whole number from 0 to 31; correct it\n"},
        {HEADER "a,,defect,8,3,30,,,maybe\n",
         "filings.csv:2:9: moves \"maybe\" is neither true nor false; write one of them\n"},
        {HEADER "a,,defect,8,3,,,,true\n",
         "filings.csv:2:1: the row says not when its reports are due; fill in one of due_day, due_days and "
         "due_working_days\n"},
        {HEADER "a,,defect,8,3,30,25,,true\n", "filings.csv:2:1: the row says more than once when its reports "
                                               "are due; fill in one of due_day, due_days and "
                                               "due_working_days\n"},
        {HEADER "a,,defect,8,3,30,,,true\nb,,defect,8,3,30,,,true\n",
         "filings.csv:3:2: two rows name no kind of campaign; keep one of them for the kinds that no row "
         "names\n"},
        {HEADER "a,x; y,defect,8,3,30,,,true\nb,Y,defect,8,3,30,,,true\n",
         "filings.csv:3:2: kind \"Y\" stands in row a too; keep one\n"},
    };
#undef HEADER
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct arena arena = ARENA_EMPTY;
        struct capture capture;
        struct filings filings;
        capture_start(&capture);
        assert_int_equal(
            filings_read(&arena, TEXT("filings.csv"), text_of(CASES[i].csv), &capture.sink, &filings),
            WM_BAD_INPUT);
        if (strstr(capture.text, CASES[i].said) != capture.text)
            fail_msg("said %sinstead of %s", capture.text, CASES[i].said);
        arena_free(&arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(holidays_of_five_years), cmocka_unit_test(named_days),
        cmocka_unit_test(business_days),          cmocka_unit_test(quarters),
        cmocka_unit_test(due_days_of_a_defect),   cmocka_unit_test(due_days_of_emissions),
        cmocka_unit_test(wrong_filings),          cmocka_unit_test(flat_lines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
