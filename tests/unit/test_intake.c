/* Claim rows and item lists, by contract section 1: a table of cases for every rule and every message. */
#include "capture.h"

#include "base/buffer.h"
#include "base/limits.h"
#include "base/status.h"
#include "intake/canonical.h"
#include "intake/claim.h"
#include "intake/excerpt.h"
#include "intake/items.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* --- Item lists ------------------------------------------------------------------------------------------- */

static void add_decimal(struct buffer *out, int64_t number)
{
    char room[DECIMAL_ROOM];
    buffer_add(out, room, decimal_write(number, room));
}

/* `number/key=quantity@price; ...`, or `! reason`. */
static void describe_parts(struct text list, struct buffer *out)
{
    struct arena arena = ARENA_EMPTY;
    struct part_item *items;
    struct text reason;
    uint32_t count;
    int status = items_read_parts(list, &arena, &items, &count, &reason);

    buffer_clear(out);
    if (status != WM_OK)
        buffer_format(out, "! %.*s", TEXT_ARGUMENTS(reason));
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        buffer_format(out, "%s%.*s/%.*s=", i ? "; " : "", TEXT_ARGUMENTS(items[i].number),
                      TEXT_ARGUMENTS(items[i].key));
        add_decimal(out, items[i].quantity);
        if (items[i].has_price) {
            buffer_add_byte(out, '@');
            add_decimal(out, items[i].price);
        }
    }
    buffer_add_byte(out, '\0');
    arena_free(&arena);
}

static void describe_labor(struct text list, struct buffer *out)
{
    struct arena arena = ARENA_EMPTY;
    struct labor_item *items;
    struct text reason;
    uint32_t count;
    int status = items_read_labor(list, &arena, &items, &count, &reason);

    buffer_clear(out);
    if (status != WM_OK)
        buffer_format(out, "! %.*s", TEXT_ARGUMENTS(reason));
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        buffer_format(out, "%s%.*s/%.*s=", i ? "; " : "", TEXT_ARGUMENTS(items[i].operation),
                      TEXT_ARGUMENTS(items[i].key));
        add_decimal(out, items[i].hours);
    }
    buffer_add_byte(out, '\0');
    arena_free(&arena);
}

/* `item/key=result` and, for a reading, ` (number unit)`. */
static void describe_inspections(struct text list, struct buffer *out)
{
    struct arena arena = ARENA_EMPTY;
    struct inspection_item *items;
    struct text reason;
    uint32_t count;
    int status = items_read_inspections(list, &arena, &items, &count, &reason);

    buffer_clear(out);
    if (status != WM_OK)
        buffer_format(out, "! %.*s", TEXT_ARGUMENTS(reason));
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        buffer_format(out, "%s%.*s/%.*s=%.*s", i ? "; " : "", TEXT_ARGUMENTS(items[i].item),
                      TEXT_ARGUMENTS(items[i].key), TEXT_ARGUMENTS(items[i].result));
        if (items[i].has_reading) {
            buffer_add_string(out, " (");
            add_decimal(out, items[i].reading);
            buffer_format(out, "|%.*s)", TEXT_ARGUMENTS(items[i].unit));
        }
    }
    buffer_add_byte(out, '\0');
    arena_free(&arena);
}

struct list_case {
    const char *list, *items;
};

static void assert_lists(const struct list_case *cases, size_t count,
                         void (*describe)(struct text, struct buffer *))
{
    struct buffer out = BUFFER_EMPTY;

    for (size_t i = 0; i < count; i++) {
        describe(text_of(cases[i].list), &out);
        assert_string_equal(out.bytes, cases[i].items);
    }
    buffer_free(&out);
}

static void part_lists(void **state)
{
    (void)state;
    static const struct list_case cases[] = {
        {"", ""},
        {" ; ;; ", ""},
        {"PS-7731-01=1@84.50; CAP-0440=1@6.20", "PS-7731-01/PS773101=1@84.5; CAP-0440/CAP0440=1@6.2"},
        {"PS-7731-01", "PS-7731-01/PS773101=1"},
        {"PS-7731-01=2", "PS-7731-01/PS773101=2"},
        {"PS-7731-01@84.50", "PS-7731-01/PS773101=1@84.5"},
        {" PS 7731 = .5 @ .25 ", "PS 7731/PS7731=0.5@0.25"},
        /* The first = ends the key, whatever stands in it. */
        {"A@1=2", "A@1/A1=2"},
        {"A@1=2@3", "A@1/A1=2@3"},
        /* Nothing of it: not claimed, and its price does not count. */
        {"A=0", ""},
        {"A=0.000000@5;B=1", "B/B=1"},
        {"A=1@5;A=0@1", "A/A=1@5"},
        {"A=-0", ""},
        /* Equal items are one, as they first stand; quantities add up, the lowest price counts. */
        {"ps-1=1@9; B=1; PS 1=2@7; P.S.1=.5@8", "ps-1/PS1=3.5@7; B/B=1"},
        {"A=1;A=1@4", "A/A=2@4"},
        {"A=1@4;A=1", "A/A=2@4"},
        {"A=1@0;A=1@4", "A/A=2@0"},
        {"A=9223372036854.775807", "A/A=9223372036854.775807"},
        /* Faults. */
        {"A=", "! item 1, \"A=\", has no quantity where one must stand; write a number there"},
        {"A=@5", "! item 1, \"A=@5\", has no quantity where one must stand; write a number there"},
        {"A=1@", "! item 1, \"A=1@\", has no unit price where one must stand; write a number there"},
        {"A@", "! item 1, \"A@\", has no unit price where one must stand; write a number there"},
        {"B;;=1@5", "! item 3, \"=1@5\", has no part number; write NUMBER=QUANTITY@UNITPRICE"},
        {"--=1", "! item 1, \"--=1\", has no part number; write NUMBER=QUANTITY@UNITPRICE"},
        {"@5", "! item 1, \"@5\", has no part number; write NUMBER=QUANTITY@UNITPRICE"},
        {"A=x", "! item 1, \"A=x\": \"x\" is not a number; write the quantity in digits, such as 1 or 0.5"},
        {"A=1e9",
         "! item 1, \"A=1e9\": \"1e9\" is not a number; write the quantity in digits, such as 1 or 0.5"},
        {"A==1", "! item 1, \"A==1\": \"=1\" is not a number; write the quantity in digits, such as 1 or 0.5"},
        {"A=1@2@3",
         "! item 1, \"A=1@2@3\": \"2@3\" is not a number; write the unit price in digits, such as 1 or 0.5"},
        {"A=0@x",
         "! item 1, \"A=0@x\": \"x\" is not a number; write the unit price in digits, such as 1 or 0.5"},
        {"A=-1",
         "! item 1, \"A=-1\": \"-1\" is negative, which a quantity cannot be; write it without the minus sign"},
        {"A=1@-1", "! item 1, \"A=1@-1\": \"-1\" is negative, which a unit price cannot be; write it without "
                   "the minus sign"},
        {"A=1.0000001",
         "! item 1, \"A=1.0000001\": \"1.0000001\" has more than six decimals; round the quantity"},
        {"A=99999999999999",
         "! item 1, \"A=99999999999999\": \"99999999999999\" is too large; check the quantity"},
        {"A=9223372036854;A=1",
         "! item 2, \"A=1\", brings the quantities of this part to too large a number; check them"},
    };

    assert_lists(cases, COUNT(cases), describe_parts);
}

static void labor_lists(void **state)
{
    (void)state;
    static const struct list_case cases[] = {
        {"", ""},
        {"HOSE-R=1.4; CAP-CHK=.2", "HOSE-R/HOSER=1.4; CAP-CHK/CAPCHK=0.2"},
        {"A=1;b=2;a=.5", "A/A=1.5; b/B=2"},
        {"A=0;B=1", "B/B=1"},
        {"A", "! item 1, \"A\", has no hours; write OPERATION=HOURS"},
        {"A=", "! item 1, \"A=\", has no number of hours where one must stand; write a number there"},
        {"=1", "! item 1, \"=1\", has no operation; write OPERATION=HOURS"},
        {"A=1 h",
         "! item 1, \"A=1 h\": \"1 h\" is not a number; write the number of hours in digits, such as 1 or 0.5"},
        {"A=-.1", "! item 1, \"A=-.1\": \"-.1\" is negative, which a number of hours cannot be; write it "
                  "without the minus sign"},
        {"A=1000000000", "A/A=1000000000"},
        {"A=9223372036854;A=9223372036854",
         "! item 2, \"A=9223372036854\", brings the hours of this operation to too large a number; check them"},
    };

    assert_lists(cases, COUNT(cases), describe_labor);
}

static void inspection_lists(void **state)
{
    (void)state;
    static const struct list_case cases[] = {
        {"", ""},
        {"CAP=ok; TORQUE=33 lbf.ft", "CAP/CAP=ok; TORQUE/TORQUE=33 lbf.ft (33|lbf.ft)"},
        {"TORQUE=33lbf.ft", "TORQUE/TORQUE=33lbf.ft (33|lbf.ft)"},
        {"T=25.5", "T/T=25.5 (25.5|)"},
        {"T=-4 \xc2\xb0"
         "C",
         "T/T=-4 \xc2\xb0"
         "C (-4|\xc2\xb0"
         "C)"},
        {"T=.5%", "T/T=.5% (0.5|%)"},
        {"T=3 \xc2\xb5m", "T/T=3 \xc2\xb5m (3|\xc2\xb5m)"},
        {"T=12/4", "T/T=12/4"},
        {"T=2026-03-01", "T/T=2026-03-01"},
        {"T=3. mm", "T/T=3. mm"},
        {"T=- 5", "T/T=- 5"},
        {"T=1.0000001 mm", "T/T=1.0000001 mm"},
        {"T=99999999999999 mm", "T/T=99999999999999 mm"},
        {"T=a=b", "T/T=a=b"},
        {"T=1 @ 2", "T/T=1 @ 2"},
        /* Without a result: not claimed. Twice: the last counts, in the place of the first. */
        {"T=; U=ok", "U/U=ok"},
        {"t-1=ok; U=x; T1=33 N.m", "t-1/T1=33 N.m (33|N.m); U/U=x"},
        {"T=33 N.m; T=ok", "T/T=ok"},
        {"T=ok; T=", "T/T=ok"},
        {"T", "! item 1, \"T\", has no result; write ITEM=RESULT"},
        {"=ok", "! item 1, \"=ok\", has no inspection item; write ITEM=RESULT"},
        {"?=", "! item 1, \"?=\", has no inspection item; write ITEM=RESULT"},
    };

    assert_lists(cases, COUNT(cases), describe_inspections);
}

/* A list of thousands: the same as if it were short, and in no time. */
/* A result that begins with a number is a reading, with what stands behind it as its unit. */
static void readings(void **state)
{
    static const struct {
        const char *result;
        bool is;
        int64_t reading;
        const char *unit;
    } cases[] = {
        {"", false, 0, ""},
        {"dry", false, 0, ""},
        {"-", false, 0, ""},
        {".", false, 0, ""},
        {"-x", false, 0, ""},
        {"5", true, 5000000, ""},
        {"-5.25 mm", true, -5250000, "mm"},
        {".5 mm", true, 500000, "mm"},
        {"-.5", true, -500000, ""},
        {"25N.m", true, 25000000, "N.m"},
        {"50 %", true, 50000000, "%"},
        {"20 \xc2\xb0""C", true, 20000000, "\xc2\xb0""C"},
        {"5.", false, 0, ""},
        {"5. mm", false, 0, ""},
        {"5 (left)", false, 0, ""},
        {"5 - 6", false, 0, ""},
        {"5 [", false, 0, ""},
        {"5 {", false, 0, ""},
        {"5 `", false, 0, ""},
        {"1.2345678 mm", false, 0, ""},
        {"99999999999999999 mm", false, 0, ""},
        {"/5", false, 0, ""},
        {":5", false, 0, ""},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        int64_t reading = 0;
        struct text unit = TEXT("");
        if (items_read_reading(text_of(cases[i].result), &reading, &unit) != cases[i].is)
            fail_msg("%s", cases[i].result);
        assert_int_equal(reading, cases[i].reading);
        assert_true(text_is(unit, cases[i].unit));
    }
}

/* Each cell of a record by its column; one that ends too early has empty ones. */
static void cells_of_a_record(void **state)
{
    static const char record[] = "C1\0" "0\0" "D1\0";
    struct text canonical = {record, sizeof record - 1};
    (void)state;

    assert_true(text_is(canonical_cell(canonical, COLUMN_CLAIM), "C1"));
    assert_true(text_is(canonical_cell(canonical, COLUMN_DEALER), "D1"));
    assert_true(text_is(canonical_cell(canonical, COLUMN_REPAIR_ORDER), ""));
    assert_true(text_is(canonical_cell(canonical, COLUMN_TOTAL_AMOUNT), ""));
    assert_true(text_is(canonical_cell(TEXT(""), COLUMN_CLAIM), ""));
}

static void long_lists(void **state)
{
    (void)state;
    enum { DIFFERENT = 6000 };
    struct buffer list = BUFFER_EMPTY;
    struct arena arena = ARENA_EMPTY;
    struct part_item *items;
    struct labor_item *labor;
    struct inspection_item *inspections;
    struct text reason;
    uint32_t count;

    for (int turn = 0; turn < 2; turn++)
        for (int i = 0; i < DIFFERENT; i++)
            buffer_format(&list, "P%d=%d;", i, turn + 1);
    assert_int_equal(items_read_parts(buffer_text(&list), &arena, &items, &count, &reason), WM_OK);
    assert_int_equal(count, DIFFERENT);
    for (int i = 0; i < DIFFERENT; i++) {
        char name[16];
        snprintf(name, sizeof name, "P%d", i);
        assert_true(text_is(items[i].key, name));
        assert_int_equal(items[i].quantity, 3 * DECIMAL_ONE);
    }
    assert_int_equal(items_read_labor(buffer_text(&list), &arena, &labor, &count, &reason), WM_OK);
    assert_int_equal(count, DIFFERENT);
    assert_int_equal(labor[DIFFERENT - 1].hours, 3 * DECIMAL_ONE);
    assert_int_equal(items_read_inspections(buffer_text(&list), &arena, &inspections, &count, &reason), WM_OK);
    assert_int_equal(count, DIFFERENT);
    assert_true(text_is(inspections[40].result, "2"));
    arena_free(&arena);
    buffer_free(&list);
}

static void excerpts(void **state)
{
    (void)state;
    static const struct {
        struct text text;
        const char *excerpt;
    } cases[] = {
        {TEXT(""), "\"\""},
        {TEXT("short"), "\"short\""},
        {TEXT("a\tb\nc\x7f"), "\"a?b?c?\""},
        {TEXT("a\xc2\x85"
              "b\xc2\xa0"
              "c"),
         "\"a?b\xc2\xa0"
         "c\""},
        {TEXT("1234567890123456789012345678901234567890"), "\"1234567890123456789012345678901234567890\""},
        {TEXT("12345678901234567890123456789012345678901"), "\"1234567890123456789012345678901234567890...\""},
        {TEXT("123456789012345678901234567890123456789\xf0\x9f\x94\xa7x"),
         "\"123456789012345678901234567890123456789\xf0\x9f\x94\xa7...\""},
    };
    char room[EXCERPT_ROOM];

    for (size_t i = 0; i < COUNT(cases); i++)
        assert_string_equal(excerpt_write(cases[i].text, room), cases[i].excerpt);
}

/* --- Rows ------------------------------------------------------------------------------------------------- */

static const char HEADER[] = "claim,revision,dealer,repair_order,campaign,vin,outcome,model_year,engine,"
                             "odometer,odometer_unit,opened_on,"
                             "completed_on,submitted_on,technician,approval,parts,labor,inspections,parts_"
                             "amount,labor_amount,other_amount,"
                             "total_amount";
static const char GOOD[CLAIM_COLUMNS][64] = {
    "C-1",
    "2",
    "D01",
    "R-9",
    "T26-03",
    "1abcdefgh12345678",
    "Repaired",
    "2021",
    "V6-35",
    "41000",
    "KM",
    "2026-02-26",
    "2026-03-01",
    "2026-03-04",
    "T7",
    "AP-1",
    "PS-7731-01=1@84.50",
    "HOSE-R=1.4",
    "TORQUE=33 lbf.ft",
    "84.50",
    "210",
    "0",
    "294.5",
};

struct reading {
    struct arena arena;
    struct capture capture;
    struct csv_rows rows;
    struct claim_header header;
    struct claim claim;
};

static void open_text(struct reading *reading, struct text text)
{
    struct csv_row row;

    reading->arena = ARENA_EMPTY;
    capture_start(&reading->capture);
    assert_int_equal(csv_rows_open(&reading->rows, text, 1, LIMIT_COLUMNS, &reading->arena), WM_OK);
    assert_true(csv_rows_next(&reading->rows, &row));
    assert_int_equal(claim_header_read(&row, TEXT("f.csv"), &reading->capture.sink, &reading->header), WM_OK);
}

static bool next_claim(struct reading *reading)
{
    struct csv_row row;

    if (!csv_rows_next(&reading->rows, &row))
        return false;
    assert_int_equal(claim_read(&reading->header, &row, &reading->arena, &reading->claim), WM_OK);
    return true;
}

static void close_text(struct reading *reading)
{
    csv_rows_close(&reading->rows);
    arena_free(&reading->arena);
}

/* The good row with one cell changed, behind the header; cell written as it stands. */
static void row_with(struct buffer *out, int column, const char *cell)
{
    buffer_clear(out);
    buffer_format(out, "%s\n", HEADER);
    for (int i = 0; i < CLAIM_COLUMNS; i++)
        buffer_format(out, "%s%s", i ? "," : "", i == column ? cell : GOOD[i]);
    buffer_add_string(out, "\n");
}

static void a_good_row(void **state)
{
    (void)state;
    struct buffer text = BUFFER_EMPTY;
    struct reading reading;

    row_with(&text, -1, "");
    open_text(&reading, buffer_text(&text));
    assert_true(next_claim(&reading));
    const struct claim *claim = &reading.claim;
    assert_false(claim->unreadable);
    assert_int_equal(claim->line, 2);
    for (int i = 0; i < CLAIM_COLUMNS; i++)
        assert_true(text_is(claim->cells[i], GOOD[i]));
    assert_int_equal(claim->revision, 2);
    assert_true(text_is(claim->vin, "1ABCDEFGH12345678"));
    assert_int_equal(claim->outcome, OUTCOME_REPAIRED);
    assert_true(claim->has_model_year && claim->model_year == 2021);
    assert_true(claim->has_odometer && claim->odometer == 41000 && claim->odometer_is_km);
    assert_int_equal(claim->opened_on, date_from_civil(2026, 2, 26));
    assert_int_equal(claim->completed_on, date_from_civil(2026, 3, 1));
    assert_int_equal(claim->submitted_on, date_from_civil(2026, 3, 4));
    assert_int_equal(claim->part_count, 1);
    assert_int_equal(claim->parts[0].price, 84500000);
    assert_int_equal(claim->labor_count, 1);
    assert_int_equal(claim->labor[0].hours, 1400000);
    assert_int_equal(claim->inspection_count, 1);
    assert_int_equal(claim->parts_amount_cents, 8450);
    assert_int_equal(claim->labor_amount_cents, 21000);
    assert_int_equal(claim->other_amount_cents, 0);
    assert_int_equal(claim->total_amount_cents, 29450);
    assert_true(claim->total_is_known);
    assert_int_equal(claim->raw.length, text.length - sizeof HEADER - 1);
    assert_memory_equal(claim->raw.bytes, text.bytes + sizeof HEADER, claim->raw.length);
    assert_false(next_claim(&reading));
    close_text(&reading);
    buffer_free(&text);
}

/* Every cell that may be empty is. */
static void an_empty_row(void **state)
{
    (void)state;
    static const char *const headers[] = {
        "claim,dealer,repair_order,campaign,vin,outcome\nC,D,R,T,v,inspected\n",
        "claim,dealer,repair_order,campaign,vin,outcome,revision,model_year,engine,odometer,odometer_unit,"
        "opened_on,"
        "completed_on,submitted_on,technician,approval,parts,labor,inspections,parts_amount,labor_amount,other_"
        "amount,"
        "total_amount\nC,D,R,T,V,INSPECTED,,,,,,,,,,,,,,,,,\n",
    };

    for (size_t i = 0; i < COUNT(headers); i++) {
        struct reading reading;
        open_text(&reading, text_of(headers[i]));
        assert_true(next_claim(&reading));
        const struct claim *claim = &reading.claim;
        assert_false(claim->unreadable);
        assert_true(text_is(claim->vin, "V"));
        assert_int_equal(claim->outcome, OUTCOME_INSPECTED);
        assert_int_equal(claim->revision, 0);
        assert_false(claim->has_model_year || claim->has_odometer || claim->odometer_is_km);
        assert_true(claim->opened_on == DAY_NONE && claim->completed_on == DAY_NONE &&
                    claim->submitted_on == DAY_NONE);
        assert_int_equal(claim->part_count + claim->labor_count + claim->inspection_count, 0);
        assert_true(claim->total_is_known && claim->total_amount_cents == 0);
        assert_string_equal(reading.capture.text, "");
        close_text(&reading);
    }
}

static void cells_that_are_none(void **state)
{
    (void)state;
    static const struct {
        int column;
        const char *cell, *reason;
    } cases[] = {
        {COLUMN_CLAIM, "", "line 2, column 1 (claim): is empty; every claim must state it"},
        {COLUMN_DEALER, "  ", "line 2, column 3 (dealer): is empty; every claim must state it"},
        {COLUMN_REPAIR_ORDER, "\"\"", "line 2, column 4 (repair_order): is empty; every claim must state it"},
        {COLUMN_CAMPAIGN, "\" \"", "line 2, column 5 (campaign): is empty; every claim must state it"},
        {COLUMN_VIN, "", "line 2, column 6 (vin): is empty; every claim must state it"},
        {COLUMN_OUTCOME, "", "line 2, column 7 (outcome): is empty; every claim must state it"},
        {COLUMN_OUTCOME, "fixed",
         "line 2, column 7 (outcome): \"fixed\" is not an outcome; write repaired or inspected"},
        {COLUMN_REVISION, "x",
         "line 2, column 2 (revision): \"x\" is not a whole number; write digits only, such as 12"},
        {COLUMN_REVISION, "1.0",
         "line 2, column 2 (revision): \"1.0\" is not a whole number; write it without a point, such as 12"},
        {COLUMN_REVISION, "-1",
         "line 2, column 2 (revision): \"-1\" is negative, which this cannot be; write it without the minus "
         "sign"},
        {COLUMN_REVISION, "99999999999999",
         "line 2, column 2 (revision): \"99999999999999\" is too large; check it"},
        {COLUMN_MODEL_YEAR, "12.0",
         "line 2, column 8 (model_year): \"12.0\" is not a whole number; write it without a point, such as 12"},
        {COLUMN_MODEL_YEAR, "MY21",
         "line 2, column 8 (model_year): \"MY21\" is not a whole number; write digits only, such as 12"},
        {COLUMN_ODOMETER, "-5",
         "line 2, column 10 (odometer): \"-5\" is negative, which this cannot be; write it without the minus "
         "sign"},
        {COLUMN_ODOMETER, "\"41,000\"",
         "line 2, column 10 (odometer): \"41,000\" is not a whole number; write digits only, such as 12"},
        {COLUMN_ODOMETER_UNIT, "miles",
         "line 2, column 11 (odometer_unit): \"miles\" is not an odometer unit; write mi or km"},
        {COLUMN_OPENED_ON, "2026-02-30",
         "line 2, column 12 (opened_on): \"2026-02-30\" is not a date; there is no such day, correct it"},
        {COLUMN_COMPLETED_ON, "3/1/26",
         "line 2, column 13 (completed_on): \"3/1/26\" is not a date; "
         "write it as 2026-03-01 if the month comes first, as 2026-01-03 if the day does"},
        {COLUMN_COMPLETED_ON, "3/31/2026",
         "line 2, column 13 (completed_on): \"3/31/2026\" is not a date; write it as 2026-03-31"},
        {COLUMN_COMPLETED_ON, "31.3.2026",
         "line 2, column 13 (completed_on): \"31.3.2026\" is not a date; write it as 2026-03-31"},
        {COLUMN_COMPLETED_ON, "3-3-26",
         "line 2, column 13 (completed_on): \"3-3-26\" is not a date; write it as 2026-03-03"},
        {COLUMN_COMPLETED_ON, "2026/3/1",
         "line 2, column 13 (completed_on): \"2026/3/1\" is not a date; write it as 2026-03-01"},
        {COLUMN_SUBMITTED_ON, "2026-3-1",
         "line 2, column 14 (submitted_on): \"2026-3-1\" is not a date; write it as 2026-03-01"},
        {COLUMN_SUBMITTED_ON, "13/13/2026",
         "line 2, column 14 (submitted_on): \"13/13/2026\" is not a date; "
         "write year, month and day, as in 2026-03-01"},
        {COLUMN_SUBMITTED_ON, "2026/13/1",
         "line 2, column 14 (submitted_on): \"2026/13/1\" is not a date; "
         "write year, month and day, as in 2026-03-01"},
        {COLUMN_SUBMITTED_ON, "1 March",
         "line 2, column 14 (submitted_on): \"1 March\" is not a date; "
         "write year, month and day, as in 2026-03-01"},
        {COLUMN_SUBMITTED_ON, "3/1",
         "line 2, column 14 (submitted_on): \"3/1\" is not a date; "
         "write year, month and day, as in 2026-03-01"},
        {COLUMN_SUBMITTED_ON, "3/1/26x",
         "line 2, column 14 (submitted_on): \"3/1/26x\" is not a date; "
         "write year, month and day, as in 2026-03-01"},
        {COLUMN_PARTS, "A=x",
         "line 2, column 17 (parts): item 1, \"A=x\": \"x\" is not a number; "
         "write the quantity in digits, such as 1 or 0.5"},
        {COLUMN_LABOR, "A", "line 2, column 18 (labor): item 1, \"A\", has no hours; write OPERATION=HOURS"},
        {COLUMN_INSPECTIONS, "A",
         "line 2, column 19 (inspections): item 1, \"A\", has no result; write ITEM=RESULT"},
        {COLUMN_PARTS_AMOUNT, "84.505",
         "line 2, column 20 (parts_amount): \"84.505\" has more than two decimals; round it to cents"},
        {COLUMN_LABOR_AMOUNT, "$5",
         "line 2, column 21 (labor_amount): \"$5\" is not a number; "
         "write digits and a point only, such as 84.50"},
        {COLUMN_OTHER_AMOUNT, "-0.01",
         "line 2, column 22 (other_amount): \"-0.01\" is negative, which this cannot be; "
         "write it without the minus sign"},
        {COLUMN_TOTAL_AMOUNT, "99999999999999.99",
         "line 2, column 23 (total_amount): \"99999999999999.99\" is too large; check it"},
        /* Bytes and quotes. */
        {COLUMN_ENGINE, "V\xff", "line 2, column 9 (engine): is not UTF-8 text; save the file as CSV UTF-8"},
        {COLUMN_ENGINE, "V\"6\"",
         "line 2, column 9 (engine): holds a quote where none may stand; "
         "put the whole cell in quotes and double those inside it"},
        {COLUMN_TECHNICIAN, "T7,",
         "line 2, column 24: the row has 24 cells and the header names 23 columns; put a cell that holds a "
         "comma in quotes"},
        {COLUMN_TOTAL_AMOUNT, "294.5,\"x\"y",
         "line 2, column 24: the row has 24 cells and the header names 23 columns; put a cell that holds a "
         "comma in quotes"},
        /* The place is that of the cell, also behind a cell of several lines. */
        {COLUMN_ENGINE, "\"V6\n\n35\",x",
         "line 4, column 24: the row has 24 cells and the header names 23 columns; "
         "put a cell that holds a comma in quotes"},
        {COLUMN_MODEL_YEAR, "\"20\n21\"",
         "line 2, column 8 (model_year): \"20?21\" is not a whole number; write digits only, such as 12"},
        {COLUMN_MODEL_YEAR, "123456789012345678901234567890123456789012345",
         "line 2, column 8 (model_year): \"1234567890123456789012345678901234567890...\" is too large; check "
         "it"},
    };
    struct buffer text = BUFFER_EMPTY;

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct reading reading;
        row_with(&text, cases[i].column, cases[i].cell);
        open_text(&reading, buffer_text(&text));
        assert_true(next_claim(&reading));
        const struct claim *claim = &reading.claim;
        buffer_clear(&text);
        buffer_add_text(&text, claim->fault_reason);
        buffer_add_byte(&text, '\0');
        if (!claim->unreadable)
            fail_msg("column %d, %s: read", cases[i].column, cases[i].cell);
        assert_string_equal(text.bytes, cases[i].reason);
        assert_int_equal(claim->revision, 0);
        bool of_total = claim->fault_column >= 23;
        bool cut = strchr(cases[i].cell, '"') != NULL && strstr(cases[i].reason, "holds a quote") != NULL;
        assert_int_equal(claim->total_is_known, !of_total && !cut);
        close_text(&reading);
    }
    buffer_free(&text);
}

static void cells_that_are_some(void **state)
{
    (void)state;
    static const struct {
        int column;
        const char *cell;
    } cases[] = {
        {COLUMN_REVISION, "0"},           {COLUMN_REVISION, "007"},
        {COLUMN_OUTCOME, "INSPECTED"},    {COLUMN_OUTCOME, "\" repaired \""},
        {COLUMN_ODOMETER_UNIT, "Mi"},     {COLUMN_ODOMETER_UNIT, ""},
        {COLUMN_ODOMETER, "-0"},          {COLUMN_TOTAL_AMOUNT, ".5"},
        {COLUMN_TOTAL_AMOUNT, "0.0"},     {COLUMN_VIN, "short"},
        {COLUMN_PARTS, "\"A=1;\""},       {COLUMN_CLAIM, "\"a\"\"b\""},
        {COLUMN_OPENED_ON, "0001-01-01"}, {COLUMN_OPENED_ON, "9999-12-31"},
    };
    struct buffer text = BUFFER_EMPTY;

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct reading reading;
        row_with(&text, cases[i].column, cases[i].cell);
        open_text(&reading, buffer_text(&text));
        assert_true(next_claim(&reading));
        assert_false(reading.claim.unreadable);
        close_text(&reading);
    }
    buffer_free(&text);
}

/* The fault that stands furthest to the left is named; what could be read is there. */
static void several_faults(void **state)
{
    (void)state;
    struct reading reading;

    open_text(&reading, TEXT("total_amount,claim,dealer,repair_order,campaign,vin,outcome,odometer,paint\n"
                             "1.234,C,,R,T,v,?,x,\n"
                             "5.00,C,D,R,T,v,?,7,\n"
                             "5.00,C,D,R,T,v,repaired,7,\xff\n"
                             "\xff,C,D,R,T,v,repaired,7,\n"
                             "5,C,D,R,T,v\n"
                             "5,C,D,R,\"T\"x,v,repaired,7,\n"
                             "5\n"
                             "5.00,C,D,R,T,v,repaired,7,red\n"));
    const struct claim *claim = &reading.claim;
    assert_string_equal(reading.capture.text, "warning: f.csv:1:9: unknown column, left alone: \"paint\"\n");

    assert_true(next_claim(&reading));
    assert_int_equal(claim->fault_column, 1);
    assert_false(claim->total_is_known);
    assert_true(text_is(claim->cells[COLUMN_CLAIM], "C") && text_is(claim->vin, "V"));

    assert_true(next_claim(&reading));
    assert_int_equal(claim->fault_column, 7);
    assert_int_equal(claim->fault_line, 3);
    assert_true(claim->total_is_known && claim->total_amount_cents == 500);
    assert_true(claim->has_odometer);

    assert_true(next_claim(&reading));
    assert_true(claim->unreadable && claim->total_is_known);
    assert_true(
        text_is(claim->fault_reason, "line 4, column 9: is not UTF-8 text; save the file as CSV UTF-8"));

    assert_true(next_claim(&reading));
    assert_int_equal(claim->fault_column, 1);
    assert_false(claim->total_is_known);

    assert_true(next_claim(&reading));
    assert_true(text_is(
        claim->fault_reason,
        "line 6, column 7: the row ends after 6 cells and the header names 9 columns; add what is missing"));
    assert_true(claim->cells[COLUMN_CLAIM].length == 0 && claim->vin.length == 0);
    assert_false(claim->total_is_known);

    assert_true(next_claim(&reading));
    assert_int_equal(claim->fault_column, 5);
    assert_true(text_is(claim->cells[COLUMN_CLAIM], "C") && claim->vin.length == 0);
    assert_true(claim->total_is_known);

    assert_true(next_claim(&reading));
    assert_true(text_is(
        claim->fault_reason,
        "line 8, column 2: the row ends after 1 cell and the header names 9 columns; add what is missing"));

    assert_true(next_claim(&reading));
    assert_false(claim->unreadable);
    assert_int_equal(claim->line, 9);
    assert_false(next_claim(&reading));
    close_text(&reading);
}

static void a_cell_of_ten_mebibytes(void **state)
{
    (void)state;
    struct buffer text = BUFFER_EMPTY;
    struct reading reading;

    buffer_add_string(&text, "claim,dealer,repair_order,campaign,vin,outcome,parts\nC,D,R,T,v,repaired,\"");
    for (int i = 0; i < 10 * 1024; i++) {
        char *room = buffer_room(&text, 1024);
        memset(room, i % 2 ? ';' : 'x', 1024);
        text.length += 1024;
    }
    buffer_add_string(&text, "\"\nC,D,R,T,v,repaired,A\n");
    open_text(&reading, buffer_text(&text));
    assert_true(next_claim(&reading));
    assert_true(
        text_is(reading.claim.fault_reason, "line 2, column 7 (parts): is longer than 64 KiB; shorten it"));
    assert_true(text_is(reading.claim.cells[COLUMN_CLAIM], "C"));
    assert_true(next_claim(&reading));
    assert_false(reading.claim.unreadable);
    close_text(&reading);
    buffer_free(&text);
}

static void headers_that_cannot_be_used(void **state)
{
    (void)state;
    struct arena arena = ARENA_EMPTY;
    struct capture capture;
    struct csv_rows rows;
    struct csv_row row;
    struct claim_header header;

    capture_start(&capture);
    assert_int_equal(csv_rows_open(&rows, TEXT("claim,dealer,repair_order,campain,outcome,odometer\n"), 1,
                                   LIMIT_COLUMNS, &arena),
                     WM_OK);
    assert_true(csv_rows_next(&rows, &row));
    assert_int_equal(claim_header_read(&row, TEXT("f.csv"), &capture.sink, &header), WM_BAD_INPUT);
    assert_string_equal(
        capture.text,
        "f.csv:1: the column \"campaign\" is missing; is \"campain\" meant to be it? Names are exact\n"
        "f.csv:1: the column \"vin\" is missing; add it to the first row\n"
        "warning: f.csv:1:4: unknown column, left alone: \"campain\"\n");
    assert_int_equal(claim_header_read(NULL, TEXT("f.csv"), &capture.sink, &header), WM_BAD_INPUT);
    csv_rows_close(&rows);
    arena_free(&arena);
    for (int column = 0; column < CLAIM_COLUMNS; column++)
        assert_non_null(strstr(HEADER, claim_column_name((enum claim_column)column)));
}

/* Each cell of a good row changed in many ways: the row is read or unreadable, and says where. */
static void every_cell_changed(void **state)
{
    (void)state;
    static const char *const changes[] = {
        "",
        "-",
        "0",
        "-1",
        "1e9",
        "99999999999999999999",
        "\xff",
        "\xc3\xa9",
        "\"",
        "\"\"",
        "\"a\"b",
        "a\"b",
        "=",
        "@",
        ";",
        "=;@",
        "a=1@",
        "\n",
        "\r",
        "2026-02-30",
        "\"a\nb\"",
        "\"\n",
        "\t",
        "x=1;;=",
        "\xef\xbb\xbf",
        "'; DROP TABLE claims; --",
    };
    uint64_t random = random_seed("every_cell_changed");
    struct buffer text = BUFFER_EMPTY;

    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        for (size_t i = 0; i < COUNT(changes) + 200; i++) {
            struct reading reading;
            char cell[64];
            if (i < COUNT(changes)) {
                snprintf(cell, sizeof cell, "%s", changes[i]);
            } else {
                memcpy(cell, GOOD[column], sizeof cell);
                if (cell[0] != '\0')
                    cell[random_below(&random, strlen(cell))] = (char)(1 + random_below(&random, 255));
            }
            row_with(&text, column, cell);
            open_text(&reading, buffer_text(&text));
            while (next_claim(&reading)) {
                const struct claim *claim = &reading.claim;
                if (!claim->unreadable)
                    continue;
                assert_true(claim->fault_column > 0 && claim->fault_line >= 2);
                assert_true(text_starts_with(claim->fault_reason, TEXT("line ")));
                assert_true(text_is_utf8(claim->fault_reason));
            }
            close_text(&reading);
        }
    }
    buffer_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(part_lists),
        cmocka_unit_test(labor_lists),
        cmocka_unit_test(inspection_lists),
        cmocka_unit_test(readings),
        cmocka_unit_test(cells_of_a_record),
        cmocka_unit_test(long_lists),
        cmocka_unit_test(excerpts),
        cmocka_unit_test(a_good_row),
        cmocka_unit_test(an_empty_row),
        cmocka_unit_test(cells_that_are_none),
        cmocka_unit_test(cells_that_are_some),
        cmocka_unit_test(several_faults),
        cmocka_unit_test(a_cell_of_ten_mebibytes),
        cmocka_unit_test(headers_that_cannot_be_used),
        cmocka_unit_test(every_cell_changed),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
