/* An audit from the draw to the chargeback, as an auditor does it and with the mistakes that one makes: on an
 * office file where one dealer has the paid claims of the demo office. Every message is provoked here. */
#include "program.h"

#include <sqlite3.h>

static char *folder, *base, *office;

/* --- An office with one busy dealer ------------------------------------------------------------------ */

static const char *const COLUMNS[] = {
    "claim",        "revision",     "dealer",       "repair_order", "campaign",      "vin",
    "outcome",      "model_year",   "engine",       "odometer",     "odometer_unit", "opened_on",
    "completed_on", "submitted_on", "technician",   "parts",        "labor",         "inspections",
    "parts_amount", "labor_amount", "other_amount", "total_amount"};

static const char *cell_of(const struct csv_sheet *sheet, size_t row, const char *column)
{
    for (size_t i = 0; sheet->rows[0][i] != NULL; i++)
        if (strcmp(sheet->rows[0][i], column) == 0)
            return sheet->rows[row][i] != NULL ? sheet->rows[row][i] : "";
    return "";
}

static void write_claim(FILE *to, const struct csv_sheet *night, size_t row, int number)
{
    for (size_t c = 0; c < COUNT(COLUMNS); c++) {
        const char *cell = cell_of(night, row, COLUMNS[c]);
        const char *own = strcmp(COLUMNS[c], "claim") == 0          ? words("A%04d", number)
                          : strcmp(COLUMNS[c], "repair_order") == 0 ? words("AO-%d", number)
                          : strcmp(COLUMNS[c], "technician") == 0   ? words("T%d", number)
                          : strcmp(COLUMNS[c], "dealer") == 0       ? "D137"
                          : strcmp(COLUMNS[c], "revision") == 0     ? "0"
                                                                    : cell;
        fprintf(to, "%s\"%s\"", c > 0 ? "," : "", own);
    }
    fputc('\n', to);
}

/* Every claim of the nights, as one dealer's; what is not as it should be is not paid. */
static void write_claims(const char *path)
{
    FILE *to = fopen(path, "w");
    int number = 0;

    need(to != NULL, path);
    for (size_t c = 0; c < COUNT(COLUMNS); c++)
        fprintf(to, "%s%s", c > 0 ? "," : "", COLUMNS[c]);
    fputc('\n', to);
    for (int night = 1; night <= 3; night++) {
        struct csv_sheet sheet = csv_sheet_of_file(demo_file(words("night-%d.csv", night)));
        for (size_t row = 1; row < sheet.count; row++)
            if (strchr(cell_of(&sheet, row, "inspections"), '"') == NULL &&
                strlen(cell_of(&sheet, row, "vin")) == 17)
                write_claim(to, &sheet, row, number++);
        csv_sheet_free(&sheet);
    }
    fclose(to);
}

static void make_base(void)
{
    FILE *to = fopen(words("%s/shipments.csv", folder), "w");
    static const char *const KITS[] = {"PSH-1600-01", "PSH-2000-01", "PSH-2000-02", "PSH-2010-01",
                                       "PSH-2200-01", "PSH-2200-02", "PSH-2210-01"};

    need(to != NULL, folder);
    fputs("shipment,dealer,part,quantity,shipped_on\n", to);
    for (size_t i = 0; i < COUNT(KITS); i++)
        fprintf(to, "SX-%zu,D137,%s,1000,2025-01-01\n", i, KITS[i]);
    fclose(to);
    shell("cp %s %s", demo_file("office.db"), base);
    struct result result = RUN("load", "shipments", words("%s/shipments.csv", folder), "--office", base);
    assert_int_equal(result.code, 0);
    result_free(&result);
    write_claims(words("%s/claims.csv", folder));
    result = RUN("post", words("%s/claims.csv", folder), "--office", base, "--today", "2026-05-01",
                 "--received", "2026-05-01", "--quiet");
    if (result.code != 0)
        fail_msg("%s", result.err);
    result_free(&result);
}

static void new_office(void)
{
    shell("rm -f %s* && cp %s %s", office, base, office);
}

/* --- Running and asking ------------------------------------------------------------------------------ */

static int64_t number(const char *sql)
{
    sqlite3 *database;
    sqlite3_stmt *statement;

    assert_int_equal(sqlite3_open_v2(office, &database, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    if (sqlite3_prepare_v2(database, sql, -1, &statement, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(database));
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    int64_t found = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(database);
    return found;
}

/* The outputs of a run hold these words, and its exit code is this. */
static void says(struct result result, int code, const char *expected)
{
    if (result.code != code || (strstr(result.out, expected) == NULL && strstr(result.err, expected) == NULL))
        fail_msg("exit %d, wanted %d and \"%s\":\n%s%s", result.code, code, expected, result.out, result.err);
    result_free(&result);
}

static void says_not(struct result result, const char *unexpected)
{
    if (strstr(result.out, unexpected) != NULL || strstr(result.err, unexpected) != NULL)
        fail_msg("\"%s\" in:\n%s%s", unexpected, result.out, result.err);
    result_free(&result);
}

#define AUDIT(...) RUN(__VA_ARGS__, "--office", office)
#define DRAW(...) \
    AUDIT("sample", "draw", "--because", "stands out by hours", "--today", "2026-06-01", __VA_ARGS__)

static const char *sheet_path(void)
{
    return words("%s/sheet.csv", folder);
}

static void draw_60(void)
{
    says(DRAW("--name", "s", "--size", "60", "--seed", "42", "--dealer", "D137", "--out", sheet_path()), 0,
         "60 claims, drawn at random on 2026-06-01");
}

/* --- Worksheets -------------------------------------------------------------------------------------- */

static void write_cell(FILE *to, const char *cell, bool last)
{
    fputc('"', to);
    for (; *cell != '\0'; cell++) {
        if (*cell == '"')
            fputc('"', to);
        fputc(*cell, to);
    }
    fputs(last ? "\"\n" : "\",", to);
}

/* Fills in the worksheet: every `each`-th claim, `wrong` of them, is in error by a third of what was paid; the
 * others are upheld. Returns the path. */
static const char *fill(int each, int wrong)
{
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path());
    const char *path = words("%s/filled.csv", folder);
    FILE *to = fopen(path, "w");

    need(to != NULL, path);
    for (size_t row = 0; row < sheet.count; row++) {
        bool error = row > 0 && ((int)row - 1) % each == 0 && ((int)row - 1) / each < wrong;
        for (size_t c = 0; sheet.rows[0][c] != NULL; c++) {
            const char *name = sheet.rows[0][c], *cell = sheet.rows[row][c];
            if (row > 0 && strcmp(name, "judgement") == 0)
                cell = error ? "error" : "upheld";
            if (error && strcmp(name, "right_amount") == 0)
                cell = words("%.2f", atof(csv_at(&sheet, row, "paid")) * 2 / 3);
            write_cell(to, cell, sheet.rows[0][c + 1] == NULL);
        }
    }
    fclose(to);
    csv_sheet_free(&sheet);
    return path;
}

static struct result record(const char *path)
{
    return AUDIT("sample", "record", "s", path, "--by", "A. Auditor", "--today", "2026-06-10");
}

static struct csv_sheet evaluated(const char *name)
{
    struct result result = AUDIT("evaluate", name, "--format", "csv");
    assert_int_equal(result.code, 0);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    result_free(&result);
    return sheet;
}

/* The value of a figure; empty where there is none. */
static const char *figure(const char *name, const char *of)
{
    struct csv_sheet sheet = evaluated("s");
    char *value = words("%s", "");

    for (size_t row = 1; row < sheet.count; row++)
        if (strcmp(csv_at(&sheet, row, "figure"), name) == 0)
            value = words("%s", csv_at(&sheet, row, of));
    csv_sheet_free(&sheet);
    return value;
}

static bool notes(const char *kind, const char *name)
{
    struct csv_sheet sheet = evaluated("s");
    bool found = false;

    for (size_t row = 1; row < sheet.count; row++)
        found = found || (strcmp(csv_at(&sheet, row, "figure"), kind) == 0 &&
                          strcmp(csv_at(&sheet, row, "value"), name) == 0);
    csv_sheet_free(&sheet);
    return found;
}

/* --- Sizes ------------------------------------------------------------------------------------------- */

static void sizes(void **state)
{
    (void)state;
    says(RUN("sample", "size", "rate", "--tolerable", "5", "--expected", "1"), 0,
         "Look at 93 claims. If no more than 1 of");
    says(RUN("sample", "size", "rate", "--tolerable", "7", "--expected", "3", "--risk", "10"), 0,
         "Look at 94 claims");
    says(RUN("sample", "size", "rate", "--tolerable", "5", "--expected", "0"), 0, "Tables A-1 and A-2");
    says(RUN("sample", "size", "finding", "--population", "500", "--errors", "5"), 0,
         "Look at 225 of 500 claims");
    says(RUN("sample", "size", "money", "--population", "1000000", "--tolerable", "60000"), 0,
         "Look at about 50 claims, drawn by money with an interval of 20000.00");
    says(RUN("sample", "size", "money", "--population", "1000000", "--tolerable", "60000", "--expected", "1"),
         0, "confidence factor, which is 4.75");
    const char *path = words("%s/strata.csv", folder);
    write_words(path, "stratum,claims,deviation\nsmall,155,5\nmiddle,62,15\nlarge,93,10\n");
    says(RUN("sample", "size", "strata", path, "--bound", "2"), 0, "Look at 57 claims");

    says(RUN("sample", "size", "rates"), 2,
         "\"rates\" is no kind of sample; write rate, finding, money or strata");
    says(RUN("sample", "size", "rate"), 2, "--tolerable is missing");
    says(RUN("sample", "size", "rate", "--tolerable", "5", "--expected", "5"), 2,
         "--expected is not below --tolerable");
    says(RUN("sample", "size", "rate", "--tolerable", "105"), 2, "\"105\" is no percentage between 0 and 100");
    says(RUN("sample", "size", "rate", "--tolerable", "5", "--expected", "4.99"), 2, "more than 100000 claims");
    says(RUN("sample", "size", "rate", "--tolerable", "5", "--expected", "x"), 2, "--expected \"x\" is no percentage");
    says(RUN("sample", "size", "money", "--population", "1000000", "--tolerable", "60000", "--expected", "0"), 0,
         "Look at about 50 claims");
    says(RUN("sample", "size", "finding", "--population", "5", "--errors", "6"), 2,
         "--errors is more than --population");
    says(RUN("sample", "size", "finding", "--population", "5.5", "--errors", "6"), 2,
         "\"5.5\" is no whole number");
    says(RUN("sample", "size", "money", "--population", "-3", "--tolerable", "5"), 2,
         "\"-3\" is no amount above 0");
    says(RUN("sample", "size", "money", "--population", "3", "--tolerable", "0.01"), 2,
         "less than a cent to the claim");
    static const char *const KINDS[][8] = {
        {"rate", "--tolerable", "5"},
        {"finding", "--population", "9", "--errors", "1"},
        {"money", "--population", "9", "--tolerable", "1"},
    };
    for (size_t i = 0; i < COUNT(KINDS); i++) {
        const char *call[12] = {"sample", "size"};
        memcpy(call + 2, KINDS[i], sizeof KINDS[i]);
        call[KINDS[i][3] != NULL ? 7 : 5] = "--risk";
        call[KINDS[i][3] != NULL ? 8 : 6] = "0";
        says(run_program(call), 2, "--risk \"0\" is no percentage between 0 and 100");
    }
    says(RUN("sample", "size", "finding", "--population", "5"), 2, "--errors is missing");
    says(RUN("sample", "size", "finding", "--population", "5", "--errors", "99999999999"), 2,
         "\"99999999999\" is no whole number above 0 that makes sense here");
    says(RUN("sample", "size", "money", "--population", "5"), 2, "--tolerable is missing");
    says(RUN("sample", "size", "money", "--population", "5", "--tolerable", "some"), 2,
         "\"some\" is no amount above 0");
    says(RUN("sample", "size", "money", "--population", "5", "--tolerable", "1", "--expected", "2.5"), 2,
         "\"2.5\" is no whole number");
    says(RUN("sample", "size", "strata", "--bound", "2"), 2, "name the file of strata");
    says(RUN("sample", "size", "strata", path), 2, "--bound is missing");
    write_words(path, "stratum,claims,deviation\nsmall,0,5\nlarge,93,x\n");
    says(RUN("sample", "size", "strata", path, "--bound", "2"), 2, ":2:2: \"0\" is no number of claims");
    says(RUN("sample", "size", "strata", path, "--bound", "2"), 2, ":3:3: \"x\" is no standard deviation");
    write_words(path, "stratum,claims,deviation\n");
    says(RUN("sample", "size", "strata", path, "--bound", "2"), 2, "the file has no stratum");
}

/* --- Drawing ----------------------------------------------------------------------------------------- */

/* A file of strata, by its rows. */
static void strata_that_cannot_be(void **state)
{
    static const struct {
        const char *rows, *says;
    } CASES[] = {
        {"a,1.5,1\n", ":2:2: \"1.5\" is no number of claims; write it as 155"},
        {"a,-1,1\n", ":2:2: \"-1\" is no number of claims"},
        {"a,many,1\n", ":2:2: \"many\" is no number of claims"},
        {"a,1,-0.5\n", ":2:3: \"-0.5\" is no standard deviation; write an amount as 12.50"},
        {"a,1,0.1234567\n", ":2:3: \"0.1234567\" is no standard deviation"},
    };
    const char *path = words("%s/strata.csv", folder);
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        write_words(path, words("stratum,claims,deviation\n%s", CASES[i].rows));
        says(RUN("sample", "size", "strata", path, "--bound", "2"), 2, CASES[i].says);
    }
    shell("{ echo stratum,claims,deviation; seq -f 's%%g,10,1' 1001; } > %s", path);
    says(RUN("sample", "size", "strata", path, "--bound", "2"), 2, ":1002:1: more than 1000 strata; join some");
    shell("sed -i '$d' %s", path);
    says(RUN("sample", "size", "strata", path, "--bound", "2"), 0, "  s1000 ");
    says(RUN("sample", "size", "strata", words("%s/none.csv", folder), "--bound", "2"), 2, "none.csv");
    says(RUN("sample", "size", "claims"), 2,
         "\"claims\" is no kind of sample; write rate, finding, money or strata");
}

static void mistakes_of_drawing(void **state)
{
    (void)state;
    new_office();
    says(AUDIT("sample", "draw", "--size", "5", "--because", "x"), 2, "--name is missing");
    says(AUDIT("sample", "draw", "--name", "a b", "--size", "5", "--because", "x"), 2,
         "--name is none; write at most 64");
    says(AUDIT("sample", "draw", "--name", "s", "--size", "5"), 2,
         "--because is missing; say why these claims");
    says(DRAW("--name", "s"), 2, "--size is missing");
    says(DRAW("--name", "s", "--size", "0"), 2, "--size \"0\" is no whole number above 0");
    says(DRAW("--name", "s", "--size", "5", "--by", "color"), 2, "--by \"color\" is none");
    says(DRAW("--name", "s", "--size", "5", "--allocate", "neyman"), 2, "--allocate is for strata");
    says(DRAW("--name", "s", "--size", "5", "--by", "dealer", "--allocate", "some"), 2,
         "--allocate \"some\" is none");
    says(DRAW("--name", "s", "--size", "5", "--by", "stratum"), 2, "--bounds is missing");
    says(DRAW("--name", "s", "--size", "5", "--bounds", "100"), 2, "--bounds is for --by stratum");
    says(DRAW("--name", "s", "--size", "5", "--by", "stratum", "--bounds", "100;x"), 2,
         "\"x\" is no amount above 0");
    says(DRAW("--name", "s", "--size", "5", "--by", "stratum", "--bounds", "0;100"), 2, "\"0\" is no amount above 0");
    says(DRAW("--name", "s", "--size", "5", "--by", "stratum", "--bounds", "100;100"), 2, "--bounds must rise");
    says(DRAW("--name", "s", "--size", "5", "--by", "stratum", "--bounds",
              "1;2;3;4;5;6;7;8;9;10;11;12;13;14;15;16;17;18;19;20;21"),
         2, "more than 20 amounts");
    says(DRAW("--name", "s", "--interval", "500"), 2, "--interval is for --by money");
    says(DRAW("--name", "s", "--by", "money", "--interval", "500", "--size", "5"), 2,
         "--interval is for --by money, instead");
    says(DRAW("--name", "s", "--size", "5", "--seed", " "), 2, "--seed is empty");
    says(DRAW("--name", "s", "--size", "5000"), 2, "claims; use --size");
    says(DRAW("--name", "s", "--size", "5", "--dealer", "D999"), 2,
         "no claim can be drawn: none is paid that fits");
    says(DRAW("--name", "s", "--size", "2", "--by", "stratum", "--bounds", "300;400;500"), 2,
         "2 claims are too few for 4 strata");
    says(DRAW("--name", "s", "--by", "money", "--interval", "100000000"), 2, "no claim was drawn");
    assert_int_equal(number("SELECT count(*) FROM samples"), 0);
    draw_60();
    says(DRAW("--name", "s", "--size", "5"), 2, "there is a sample s already");
    says(AUDIT("sample", "redraw", "t"), 2, "there is no sample \"t\"; draw one");
    assert_int_equal(number("SELECT count(*) FROM samples"), 1);
}

static void drawn_again(void **state)
{
    /* The claims that seed 42 gives from this frame, on any machine; computed by a program in another language
     * from what the headers of engine/audit say. */
    static const char *const FIRST[] = {"A0361", "A0126", "A0133", "A0358", "A0397"};
    char *once, *again;
    size_t length, again_length;
    (void)state;

    new_office();
    draw_60();
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path());
    assert_int_equal(sheet.count, 61);
    for (size_t i = 0; i < COUNT(FIRST); i++)
        assert_string_equal(csv_at(&sheet, i + 1, "claim"), FIRST[i]);
    csv_sheet_free(&sheet);
    once = read_whole(sheet_path(), &length);
    says(AUDIT("sample", "redraw", "s", "--out", words("%s/again.csv", folder)), 0,
         "drawn again from its seed, the sample is the same 60 claims\nthe frame is today what it was then\n");
    again = read_whole(words("%s/again.csv", folder), &again_length);
    assert_int_equal(length, again_length);
    assert_memory_equal(once, again, length);
    free(once);
    free(again);
    /* without a seed one is made, printed and kept */
    says(DRAW("--name", "t", "--size", "5"), 0, "seed: ");
    says(AUDIT("sample", "redraw", "t"), 0, "the same 5 claims");
    says(AUDIT("sample", "redraw", "t", "--out", words("%s/no/where", folder)), 2, "No such file or directory");
    /* what happens to a claim of the frame is said */
    says(AUDIT("reverse", "D137/A0361", "--by", "x", "--reason", "y", "--today", "2026-06-02"), 0, "due -");
    says(AUDIT("sample", "redraw", "s"), 1,
         "0 claims more, 1 fewer, 0 paid by another revision, 0 paid another");
    says(AUDIT("sample", "redraw", "s"), 1, "D137/A0361 would not be in the frame any more");
    says(RUN("verify", "--office", office), 0, "2 samples, 0 chargebacks");
}

static void post_revision(const char *claim)
{
    shell("(head -n 1 %s/claims.csv; grep '^\"%s\"' %s/claims.csv | sed 's/^\"%s\",\"0\"/\"%s\",\"1\"/') > "
          "%s/revised.csv",
          folder, claim, folder, claim, claim, folder);
    says(RUN("post", words("%s/revised.csv", folder), "--office", office, "--today", "2026-06-12", "--received",
             "2026-05-20"),
         0, "1 claims recorded");
    assert_int_equal(
        number(words("SELECT revision FROM claims_now WHERE claim = '%s' AND decision = 'pay'", claim)), 1);
}

/* A claim that is paid anew, and claims of which some was taken back. */
static void a_larger_frame_is_told(void **state)
{
    (void)state;
    new_office();
    says(AUDIT("reverse", "D137/A0361", "--by", "x", "--reason", "y", "--today", "2026-05-20"), 0, "due -");
    draw_60();
    post_revision("A0361");
    says(AUDIT("sample", "redraw", "s"), 1,
         "1 claims more, 0 fewer, 0 paid by another revision, 0 paid another amount\n"
         "  D137/A0361 would be in the frame now (");
}

static void change(const char *trigger, const char *sql)
{
    sqlite3 *database;
    sqlite3_stmt *statement;

    assert_int_equal(sqlite3_open(office, &database), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(database,
                                        words("SELECT sql FROM sqlite_schema WHERE name = '%s'", trigger), -1,
                                        &statement, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    const char *again = words("%s", (const char *)sqlite3_column_text(statement, 0));
    sqlite3_finalize(statement);
    assert_int_equal(
        sqlite3_exec(database, words("DROP TRIGGER %s; %s; %s", trigger, sql, again), NULL, NULL, NULL),
        SQLITE_OK);
    sqlite3_close(database);
}

/* What would be in the frame now, and so many changes that not all are named. */
static void changes_of_the_frame_are_named(void **state)
{
    enum { NAMED = 20 };
    (void)state;

    new_office();
    draw_60();
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path());
    for (size_t row = 1; row <= NAMED + 1; row++)
        says(AUDIT("reverse", words("D137/%s", csv_at(&sheet, row, "claim")), "--by", "x", "--reason", "y", "--today",
                   "2026-06-02"),
             0, "due -");
    csv_sheet_free(&sheet);
    struct result result = AUDIT("sample", "redraw", "s");
    size_t named = 0;
    assert_int_equal(result.code, 1);
    for (const char *at = result.out; (at = strstr(at, " would not be in the frame any more (")) != NULL; at++)
        named++;
    assert_int_equal(named, NAMED);
    assert_non_null(strstr(result.out, "0 claims more, 21 fewer, 0 paid by another revision, 0 paid another amount\n"));
    assert_non_null(strstr(result.out, "\n  and 1 more\n"));
    result_free(&result);
    result = AUDIT("sample", "redraw", "s", "--quiet");
    assert_int_equal(result.code, 1);
    assert_string_equal(result.out, "");
    result_free(&result);
}

static void a_changed_record_is_found(void **state)
{
    (void)state;
    new_office();
    draw_60();
    change("samples_update", "UPDATE samples SET seed = '43'");
    says(AUDIT("sample", "redraw", "s"), 2, "other claims come out than are recorded");
    new_office();
    draw_60();
    change("sample_items_delete", "DELETE FROM sample_items WHERE item = 60");
    says(AUDIT("sample", "redraw", "s"), 2, "other claims come out than are recorded");
    new_office();
    draw_60();
    change("sample_frame_update", "UPDATE sample_frame SET paid_cents = paid_cents + 1 WHERE position = 3");
    says(AUDIT("sample", "redraw", "s"), 2, "the recorded frame does not fit its hash");
    says(RUN("verify", "--office", office), 1, "sample 1 does not fit its entry");
}

/* Posted on 2026-05-01; the region of D137 allows 365 days. */
static void look_back(void **state)
{
    (void)state;
    new_office();
    says(AUDIT("sample", "draw", "--name", "in", "--because", "x", "--size", "5", "--today", "2027-05-01"), 0,
         "region US-NE: paid at most 365 days before; ");
    assert_int_equal(number("SELECT older_count FROM samples WHERE name = 'in'"), 0);
    says(AUDIT("sample", "draw", "--name", "out", "--because", "x", "--size", "5", "--today", "2027-05-02"), 2,
         "older than the region's look-back");
}

/* The frame is what the payments say. */
static void the_frame_is_what_is_paid(void **state)
{
    (void)state;
    new_office();
    says(AUDIT("reverse", "D137/A0001", "--by", "x", "--reason", "y", "--today", "2026-05-20"), 0, "due -");
    draw_60();
    assert_int_equal(number("SELECT frame_cents FROM samples"), number("SELECT sum(paid_cents) FROM payments"));
    assert_int_equal(number("SELECT unpaid_count FROM samples"), 1);
    assert_int_equal(number("SELECT sum(frame_count) FROM sample_strata"),
                     number("SELECT frame_count FROM samples"));
    assert_int_equal(number("SELECT count(*) FROM sample_items"), 60);
    says(DRAW("--name", "f", "--size", "5", "--finding", "labor-amount-over", "--campaign", "H26-02", "--since",
              "2026-05-01", "--until", "2026-05-01", "--effect", "cut"),
         0, "5 claims");
    assert_int_equal(number("SELECT count(*) FROM sample_frame AS f JOIN samples AS s ON s.sample = f.sample "
                            "WHERE s.name = 'f' AND NOT EXISTS (SELECT 1 FROM findings WHERE row = f.row "
                            "AND finding = 'labor-amount-over')"),
                     0);
    says(DRAW("--name", "g", "--size", "5", "--until", "2026-04-30"), 2, "no claim can be drawn");
    says(DRAW("--name", "m", "--by", "money", "--size", "40"), 0, "interval: ");
    says(DRAW("--name", "c", "--by", "campaign", "--size", "40"), 0, "stratum H26-02: ");
    says(DRAW("--name", "d", "--by", "dealer", "--size", "40"), 0, "strata by dealer");
    says(DRAW("--name", "n", "--by", "stratum", "--bounds", "300;500", "--allocate", "neyman", "--size", "40"),
         0, "stratum over 500.00: ");
    says(DRAW("--name", "p", "--by", "stratum", "--bounds", "300;500", "--allocate", "proportional", "--size", "40"),
         0, "stratum over 500.00: ");
    says(DRAW("--name", "q", "--by", "stratum", "--bounds", "300;500", "--size", "40"), 0, "stratum over 500.00: ");
    assert_int_equal(number("SELECT count(*) FROM (SELECT stratum, item_count FROM sample_strata AS t JOIN samples AS "
                            "s ON s.sample = t.sample AND s.name IN ('p', 'q') GROUP BY stratum, item_count)"),
                     3);
    for (const char *const *name = (const char *const[]){"f", "m", "c", "d", "n", "p", NULL}; *name != NULL; name++)
        says(AUDIT("sample", "redraw", *name), 0, "the sample is the same");
    says(RUN("verify", "--office", office), 0, "everything fits");
}

static void picked_by_hand(void **state)
{
    const char *path = words("%s/picks.csv", folder);
    (void)state;

    new_office();
    write_words(path, "dealer,claim\nD137,A0003\nD137,A0002\nD137,A0003\n");
    static const char *const NO_PLACE[][2] = {
        {"--size", "4"}, {"--interval", "9"}, {"--by", "dealer"}, {"--seed", "1"}};
    for (size_t i = 0; i < COUNT(NO_PLACE); i++)
        says(DRAW("--name", "s", "--pick", path, NO_PLACE[i][0], NO_PLACE[i][1]), 2,
             "--size, --interval, --by and --seed have no place");
    says(DRAW("--name", "s", "--pick", path, "--out", sheet_path()), 0,
         "2 claims, picked by hand on 2026-06-01; not random");
    says(AUDIT("sample", "redraw", "s"), 0, "the claims were picked by hand; they are listed as recorded");
    says(record(fill(1, 2)), 0, "2 judged");
    assert_true(notes("refusal", "not-random"));
    assert_string_equal(figure("difference", "value"), "");
    says(AUDIT("chargeback", "s", "--by", "x", "--reason", "y", "--extrapolate"), 2,
         "sample s cannot be extrapolated: The claims were picked by hand");
    write_words(path, "dealer,claim\nD137,A0003\nD137,nothing\n");
    says(DRAW("--name", "t", "--pick", path), 2,
         "picks.csv:3:2: claim D137/nothing is not among the paid claims");
    static const char *const NOT_THERE[] = {"D000,A0003", "D999,A0003", "D137,A", "D137,Z9999"};
    for (size_t i = 0; i < COUNT(NOT_THERE); i++) { /* before, behind and between those of the frame */
        write_words(path, words("dealer,claim\n%s\n", NOT_THERE[i]));
        says(DRAW("--name", "t", "--pick", path), 2, "is not among the paid claims");
    }
    write_words(path, "dealer,claim\n");
    says(DRAW("--name", "t", "--pick", path), 2, "no claim is picked");
}

/* --- Judging ----------------------------------------------------------------------------------------- */

/* The worksheet with one cell of a line replaced. */
static const char *with_cell(size_t line, const char *column, const char *value, const char *judgement)
{
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path());
    const char *path = words("%s/edited.csv", folder);
    FILE *to = fopen(path, "w");

    need(to != NULL, path);
    for (size_t row = 0; row < sheet.count; row++)
        for (size_t c = 0; sheet.rows[0][c] != NULL; c++) {
            const char *name = sheet.rows[0][c], *cell = sheet.rows[row][c];
            if (row + 1 == line && strcmp(name, "judgement") == 0)
                cell = judgement;
            if (row + 1 == line && strcmp(name, column) == 0)
                cell = value;
            write_cell(to, cell, sheet.rows[0][c + 1] == NULL);
        }
    fclose(to);
    csv_sheet_free(&sheet);
    return path;
}

static void mistakes_of_judging(void **state)
{
    static const struct {
        const char *column, *value, *judgement, *message;
    } TABLE[] = {
        {"judgement", "wrong", "", ":7:14: \"wrong\" is no judgement; write upheld, error or missing"},
        {"right_amount", "", "error", ":7:15: an error needs the amount that would have been right"},
        {"right_amount", "12.345", "error", ":7:15: \"12.345\" has more places"},
        {"right_amount", "-5", "error", ":7:15: \"-5\" is below 0"},
        {"right_amount", "1,5", "error", ":7:15: \"1,5\" is not a number"},
        {"right_amount", "12", "upheld", ":7:15: only an `error` has a right amount"},
        {"right_amount", "12", "missing", ":7:15: only an `error` has a right amount"},
        {"right_amount", "12", "", ":7:15: there is an amount and no judgement"},
        {"claim", "A9999", "upheld", ":7:4: claim D137/A9999 was not drawn into this sample"},
        {"dealer", "D138", "upheld", ":7:4: claim D138/"},
        {"sample", "t", "upheld", ":7:1: this line is of sample t, not of s"},
        {"paid", "1.00", "upheld", ":7:13: this is not what was paid on the claim"},
        {"paid", "x", "upheld", ":7:13: \"x\" is not a number"},
    };
    (void)state;

    new_office();
    draw_60();
    for (size_t i = 0; i < COUNT(TABLE); i++)
        says(record(with_cell(7, TABLE[i].column, TABLE[i].value, TABLE[i].judgement)), 2, TABLE[i].message);
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path());
    const char *paid = words("%s", csv_at(&sheet, 6, "paid")), *first = words("%s", csv_at(&sheet, 1, "claim"));
    csv_sheet_free(&sheet);
    says(record(with_cell(7, "right_amount", paid, "error")), 2,
         ":7:15: this is what was paid, so nothing is wrong");
    const char *edited = with_cell(7, "claim", first, "upheld");
    says(record(edited), 2, "is on line 2 already; leave one of the two");
    says(AUDIT("sample", "record", "s", sheet_path()), 2, "--by is missing; say who judged");
    says(AUDIT("sample", "record", "t", sheet_path(), "--by", "x"), 2, "there is no sample \"t\"");
    says(AUDIT("sample", "record", "s", sheet_path(), "--by", "x", "--today", "2026-05-31"), 2,
         "--today lies before the day on which the sample was drawn");
    says(AUDIT("sample", "record", "s", words("%s/none.csv", folder), "--by", "x"), 2, "none.csv");
    write_words(edited, "dealer,claim\nD137,A0001\n");
    says(record(edited), 2, "judgement");
    assert_int_equal(number("SELECT count(*) FROM judgement_files"), 0); /* nothing is half recorded */
    says(record(sheet_path()), 0,
         "0 judged, 0 corrected, 0 as recorded before, 60 lines without a judgement; nothing new");
    assert_int_equal(number("SELECT count(*) FROM judgement_files"), 0);
}

static void corrections_are_appended(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(with_cell(7, "note", "seen", "UPHELD")), 0,
         "1 judged, 0 corrected, 0 as recorded before, 59 lines");
    says(record(with_cell(7, "note", "seen", "upheld")), 0, "0 judged, 0 corrected, 1 as recorded before");
    says(record(with_cell(7, "note", "no paper", "missing")), 0, "0 judged, 1 corrected");
    says(record(with_cell(8, "right_amount", "0", "error")), 0,
         "58 of 60 claims of sample s are still to be judged");
    assert_int_equal(number("SELECT count(*) FROM judgements"), 3);
    assert_int_equal(number("SELECT count(*) FROM judgements_now WHERE judgement IS NOT NULL"), 2);
    assert_int_equal(number("SELECT judgement_count FROM judgements_now WHERE judgement = 'missing'"), 2);
    assert_int_equal(number("SELECT judged_count FROM samples_now"), 2);
    says(AUDIT("sample", "redraw", "s", "--out", sheet_path()), 0, "the same 60");
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path());
    assert_string_equal(csv_at(&sheet, 6, "judgement"), "missing");
    assert_string_equal(csv_at(&sheet, 6, "note"), "no paper");
    assert_string_equal(csv_at(&sheet, 7, "right_amount"), "0.00");
    csv_sheet_free(&sheet);
    says(record(sheet_path()), 0,
         "2 as recorded before, 58 lines without a judgement; nothing new"); /* reads back */
    says(RUN("verify", "--office", office), 0, "everything fits");
}

/* --- Evaluating -------------------------------------------------------------------------------------- */

static void evaluations(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(AUDIT("evaluate", "t"), 2, "there is no sample \"t\"");
    says(AUDIT("evaluate", "s", "--confidence", "0"), 2, "--confidence \"0\" is no percentage");
    assert_true(notes("refusal", "not-judged"));
    says(record(fill(3, 20)), 0, "60 judged");
    assert_string_equal(figure("drawn", "value"), "60");
    assert_string_equal(figure("error", "value"), "20");
    /* 20 of 60, 90 %: Clopper and Pearson; R's qbeta gives 0.233037 and 0.4464656, here rounded outward */
    assert_string_equal(figure("rate", "value"), "0.333333");
    assert_string_equal(figure("rate", "lower"), "0.233036");
    assert_string_equal(figure("rate", "upper"), "0.446466");
    assert_string_equal(figure("take_back_extrapolated", "value"), figure("difference", "lower"));
    assert_true(atof(figure("difference", "lower")) > atof(figure("found_over", "value")));
    says(AUDIT("evaluate", "s"), 0, "extrapolated, or ");
    says(AUDIT("evaluate", "s"), 0, "The lower limit, ");
    says(AUDIT("evaluate", "s", "--format", "json"), 0, "\"counts\":\"difference\"");
    /* more confidence, wider limits */
    says_not(AUDIT("evaluate", "s", "--confidence", "99", "--format", "csv"), figure("difference", "lower"));
}

static void evaluations_that_are_refused(void **state)
{
    (void)state;
    new_office();
    says(DRAW("--name", "s", "--size", "10", "--seed", "1", "--out", sheet_path()), 0, "10 claims");
    says(record(fill(1, 10)), 0, "10 judged");
    assert_true(notes("refusal", "too-small"));
    new_office();
    draw_60();
    says(record(fill(3, 4)), 0, "60 judged");
    assert_true(notes("refusal", "too-few-errors"));
    assert_true(notes("warning", "few-errors"));
    says(record(fill(3, 0)), 0, "4 corrected");
    assert_true(notes("warning", "no-errors"));
    says(AUDIT("evaluate", "s"), 0, "Nothing was found wrong. That does not mean that nothing is: up to ");
    says(record(fill(6, 8)), 0, "8 corrected");
    assert_true(notes("warning", "few-errors"));
    says(record(with_cell(3, "note", "lost", "missing")), 0, "1 corrected");
    assert_true(notes("warning", "missing-papers"));
    says(record(with_cell(3, "right_amount", "90000", "error")), 0, "1 corrected");
    assert_true(notes("warning", "underpaid"));
    assert_true(notes("refusal", "skew-down"));
    /* every claim of the frame */
    new_office();
    says(DRAW("--name", "s", "--size", "40", "--until", "2026-05-01", "--vin", "none"), 2,
         "no claim can be drawn");
    char *all = words("%lld", (long long)number("SELECT count(*) FROM payments WHERE dealer = 'D137'"));
    says(DRAW("--name", "s", "--size", all, "--seed", "1", "--out", sheet_path()), 0, "drawn at random");
    says(record(fill(3, 1000)), 0, " judged");
    assert_true(notes("refusal", "whole-frame"));
    assert_string_equal(figure("difference", "value"), figure("found_over", "value"));
}

static void evaluation_by_money(void **state)
{
    (void)state;
    new_office();
    says(DRAW("--name", "s", "--by", "money", "--size", "60", "--seed", "1", "--out", sheet_path()), 0,
         "by money");
    says(record(fill(3, 20)), 0, " judged");
    assert_string_equal(figure("rate", "value"), "");
    assert_true(atof(figure("bound", "upper")) > atof(figure("money", "upper")));
    assert_true(notes("meaning", "bound"));
    says(AUDIT("evaluate", "s"), 0, "no more than (Stringer)");
    says(AUDIT("evaluate", "s", "--format", "json"), 0, "\"rate\":null,\"paid_too_much\":");
    says(record(fill(3, 0)), 0, " corrected");
    says(AUDIT("evaluate", "s"), 0, "Nothing was found wrong.");
    says(AUDIT("evaluate", "s", "--format", "json"), 0, "\"take_back_extrapolated\":null,");
}

static void evaluation_by_strata(void **state)
{
    (void)state;
    new_office();
    says(DRAW("--name", "s", "--by", "stratum", "--bounds", "300", "--size", "60", "--seed", "1", "--out",
              sheet_path()),
         0, "60 claims, ");
    says(record(fill(3, 20)), 0, " judged");
    says(AUDIT("evaluate", "s"), 0, " % (weighted by strata)\n");
    says(AUDIT("evaluate", "s", "--format", "json"), 0, "\"by\":\"strata\"}");
}

static void pay_a_held_claim(const char *day)
{
    struct result held = AUDIT("flags", "--decision", "hold", "--dealer", "D137", "--format", "csv");
    struct csv_sheet sheet = csv_sheet_read(held.out);

    assert_true(sheet.count > 1);
    says(AUDIT("decide", words("D137/%s", csv_at(&sheet, 1, "claim")), "pay", "--by", "x", "--reason", "y", "--today",
               day),
         0, "due ");
    result_free(&held);
    csv_sheet_free(&sheet);
}

/* Some are too old to be looked at, a claim that was decided later is not. */
static void older_claims_are_counted(void **state)
{
    (void)state;
    new_office();
    pay_a_held_claim("2026-06-02");
    long long all = number("SELECT count(*) FROM payments WHERE dealer = 'D137'");
    says(AUDIT("sample", "draw", "--name", "s", "--because", "it stands out by hours", "--size", "1", "--today",
               "2027-05-15"),
         0, words("; 1 claims, %lld older ones left out (", all - 1));
}

/* --- Charging back ----------------------------------------------------------------------------------- */

#define CHARGE(...) AUDIT("chargeback", "s", ##__VA_ARGS__)
#define SIGNED "--by", "B. Head", "--reason", "audit of May"
#define ON_TIME "--notified", "2026-06-11", "--today", "2026-07-11"

static int64_t paid(void)
{
    return number("SELECT sum(paid_cents) FROM payments");
}

static void mistakes_of_charging(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    says(CHARGE(), 2, "--by is missing; say who decides (or --draft");
    says(CHARGE("--by", "x"), 2, "--reason is missing");
    says(CHARGE(SIGNED, "--confidence", "95"), 2, "--confidence is for --extrapolate");
    says(CHARGE(SIGNED, "--notified", "soon"), 2, "--notified \"soon\" is not a date");
    says(CHARGE(SIGNED, "--today", "2026-05-02"), 2,
         "--today lies before the day on which the sample was drawn");
    says(CHARGE(SIGNED, "--today", "2026-07-11"), 2,
         "dealer D137 must be told 30 days before money is taken back");
    says(CHARGE(SIGNED, "--notified", "2026-06-11", "--today", "2026-07-10"), 2,
         "charge back on 2026-07-11 or later");
    says(CHARGE(SIGNED, "--notified", "2026-07-12", "--today", "2026-07-11"), 2,
         "--notified lies behind --today");
    says(CHARGE(SIGNED, "--notified", "2026-05-12", "--today", "2026-07-11"), 2,
         "--notified lies before the day on which");
    assert_int_equal(number("SELECT count(*) FROM chargebacks"), 0);
    /* a draft says what would follow, and writes the letter */
    says(CHARGE("--draft", "--letters", words("%s/letters", folder), "--today", "2026-06-11"), 0,
         "draft: nothing was recorded");
    char *letter = read_whole(words("%s/letters/s-D137.txt", folder), NULL);
    assert_non_null(strstr(letter, "DRAFT"));
    assert_non_null(strstr(letter, "stands out by hours"));
    assert_non_null(strstr(letter, "You may answer"));
    assert_non_null(strstr(letter, "before 2026-07-11"));
    assert_non_null(strstr(letter, "local law"));
    free(letter);
    assert_int_equal(number("SELECT count(*) FROM chargebacks"), 0);
    write_words(words("%s/file", folder), "");
    says(CHARGE("--draft", "--letters", words("%s/file/x", folder)), 2,
         "the folder for letters cannot be made");
}

/* Whatever a sample is called in an office file from elsewhere, letters are files of their folder. */
static void letters_stay_in_their_folder(void **state)
{
    char *deep = words("%s/deep/er", folder);
    sqlite3 *database;
    char *error = NULL;
    (void)state;

    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    assert_int_equal(sqlite3_open(office, &database), SQLITE_OK);
    if (sqlite3_exec(database, "DROP TRIGGER samples_update; UPDATE samples SET name = '../../escaped'", NULL,
                     NULL, &error) != SQLITE_OK)
        fail_msg("%s", error);
    sqlite3_exec(database,
                 "CREATE TRIGGER samples_update BEFORE UPDATE ON samples\n"
                 "BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END",
                 NULL, NULL, NULL);
    sqlite3_close(database);
    shell("mkdir -p %s", deep);
    says(AUDIT("chargeback", "../../escaped", "--draft", "--letters", words("%s/letters", deep), "--today",
               "2026-06-11"),
         0, "draft: nothing was recorded");
    shell("test $(find %s -name '*D137.txt' | wc -l) -eq 1", deep);
    shell("test ! -e %s/escaped-D137.txt && test ! -e %s/deep/escaped-D137.txt && ! ls -A %s/letters | grep -q "
          "'^\\.'",
          folder, folder, deep);
    says(AUDIT("verify"), 1, "sample");
}

static void claim_by_claim(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    int64_t before = paid(), wrong = number("SELECT wrong_cents FROM samples_now");
    says(CHARGE(SIGNED, ON_TIME), 0, "1 chargeback recorded");
    assert_int_equal(paid(), before - wrong);
    assert_int_equal(number("SELECT count(*) FROM payments WHERE action = 'chargeback' AND claim IS NOT NULL"),
                     20);
    assert_int_equal(number("SELECT sum(cents) FROM chargebacks_now"), wrong);
    assert_int_equal(number("SELECT charged_back_cents FROM samples_now"), wrong);
    says(AUDIT("sample", "redraw", "s"), 1, " is paid another amount (");
    /* not twice */
    says(CHARGE(SIGNED, ON_TIME), 0, "there is nothing to charge back; nothing was recorded");
    /* a correction gives back, another takes again */
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path());
    const char *claim = words("%s", csv_at(&sheet, 1, "claim")); /* the first is in error */
    const char *amount = csv_at(&sheet, 1, "paid");
    int64_t third = number(words("SELECT wrong_cents FROM judgements_now WHERE claim = '%s'", claim));
    says(record(with_cell(2, "note", "paper found", "upheld")), 0, "1 corrected");
    says(CHARGE(SIGNED, "--today", "2026-07-12"), 0, " (given back)");
    assert_int_equal(paid(), before - wrong + third);
    says(record(with_cell(2, "right_amount", "0", "error")), 0, "1 corrected");
    says(CHARGE(SIGNED, ON_TIME), 0, "1 chargeback recorded");
    assert_int_equal(paid(), before - wrong + third - (int64_t)(atof(amount) * 100 + .5));
    csv_sheet_free(&sheet);
    /* nothing is left on that claim: reverse has nothing to take */
    says(AUDIT("reverse", words("D137/%s", claim), SIGNED), 2, "has nothing paid on it");
    /* of another, the rest is reversed, and no more */
    says(AUDIT("reverse", words("D137/%s", "A0242"), SIGNED, "--today", "2026-07-13"), 0, "from now on 0.00");
    assert_int_equal(number("SELECT sum(paid_cents) FROM payments WHERE claim = 'A0242'"), 0);
    says(RUN("verify", "--office", office, "--again"), 0, "everything fits");
}

/* A claim that is paid by another revision since the draw is left alone: what was judged is not what is paid.
 */
static void revised_since(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(fill(3, 1)), 0, "60 judged");
    shell("(head -n 1 %s/claims.csv; grep '^\"A0361\"' %s/claims.csv | sed "
          "'s/^\"A0361\",\"0\"/\"A0361\",\"1\"/') > "
          "%s/revised.csv",
          folder, folder, folder);
    says(RUN("post", words("%s/revised.csv", folder), "--office", office, "--today", "2026-06-12", "--received",
             "2026-05-20"),
         0, "pay");
    says(CHARGE(SIGNED, ON_TIME), 0, "another revision is paid since; audit that one");
    assert_int_equal(number("SELECT count(*) FROM chargebacks"), 0);
    says(AUDIT("sample", "redraw", "s"), 1, "D137/A0361 is paid by another revision");
}

/* A correction gave back already what the estimate counts: it is not extrapolated over. And once it is, a later
 * revision of a claim of the frame is covered like the one before: its money is not taken back a second time.
 */
static void revised_and_extrapolated(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    post_revision("A0361");
    says(CHARGE(SIGNED, ON_TIME, "--extrapolate"), 2,
         "claim D137/A0361 of its frame is paid by another revision");
    assert_int_equal(number("SELECT count(*) FROM chargebacks"), 0);

    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    change("claim_rows_update", "UPDATE claim_rows SET decision = 'refuse' WHERE claim = 'A0361'");
    says(CHARGE(SIGNED, ON_TIME, "--extrapolate"), 2,
         "claim D137/A0361 of its frame is paid by another revision"); /* by none, as somebody made of it */

    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    says(CHARGE(SIGNED, ON_TIME, "--extrapolate"), 0, "1 chargeback recorded");
    post_revision("A0361");
    says(AUDIT("reverse", "D137/A0361", SIGNED, "--today", "2026-07-16"), 2, "is in the frame of sample s");
    says(DRAW("--name", "t", "--size", "5", "--dealer", "D137"), 2, "covered by an extrapolated");
    pay_a_held_claim("2026-07-17");
    says(AUDIT("sample", "draw", "--name", "t", "--because", "x", "--size", "1", "--today", "2026-07-18"), 0,
         " claims left out that an extrapolated chargeback covers\n");
}

/* What was taken back in another way is not taken again. */
static void never_twice(void **state)
{
    (void)state;
    new_office();
    draw_60();
    struct csv_sheet sheet = csv_sheet_of_file(sheet_path());
    const char *reversed = words("%s", csv_at(&sheet, 1, "claim")),
               *again = words("%s", csv_at(&sheet, 4, "claim"));
    csv_sheet_free(&sheet);
    says(record(fill(3, 2)), 0, "60 judged");
    says(AUDIT("reverse", words("D137/%s", reversed), SIGNED, "--today", "2026-07-01"), 0, "due -");
    says(CHARGE("--draft"), 0, "taken back already, or no longer paid");
    /* another sample has taken a part of the other */
    const char *picks = words("%s/picks.csv", folder);
    write_words(picks, words("dealer,claim\nD137,%s\n", again));
    const char *sheet_of_s = words("%s/sheet-s.csv", folder);
    shell("mv %s %s", sheet_path(), sheet_of_s);
    says(DRAW("--name", "t", "--pick", picks, "--out", sheet_path()), 0, "1 claims");
    says(AUDIT("sample", "record", "t", with_cell(2, "right_amount", "1.00", "error"), "--by", "x", "--today",
               "2026-06-20"),
         0, "1 judged");
    says(AUDIT("chargeback", "t", SIGNED, "--notified", "2026-06-20", "--today", "2026-07-20"), 0,
         "1 chargeback");
    says(CHARGE(SIGNED, "--notified", "2026-06-20", "--today", "2026-07-21"), 0, "1 chargeback recorded");
    assert_int_equal(number(words("SELECT sum(paid_cents) FROM payments WHERE claim = '%s'", again)), 0);
    assert_int_equal(number(words("SELECT sum(paid_cents) FROM payments WHERE claim = '%s'", reversed)), 0);
    says(RUN("verify", "--office", office), 0, "everything fits");
}

static void extrapolated(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    int64_t before = paid(), wrong = number("SELECT wrong_cents FROM samples_now");
    int64_t lower = (int64_t)(atof(figure("take_back_extrapolated", "value")) * 100 + .5);
    says(CHARGE(SIGNED, ON_TIME, "--extrapolate", "--letters", words("%s/letters", folder)), 0,
         "for the rest of the frame");
    assert_int_equal(paid(), before - lower);
    assert_int_equal(number("SELECT items_cents FROM chargebacks"), wrong);
    assert_int_equal(number("SELECT beyond_cents FROM chargebacks"), lower - wrong);
    assert_int_equal(number("SELECT count(*) FROM payments WHERE claim IS NULL"), 1);
    assert_int_equal(number("SELECT sum(paid_cents) FROM payments WHERE dealer = 'D137'"), before - lower);
    char *letter = read_whole(words("%s/letters/s-D137.txt", folder), NULL);
    assert_non_null(strstr(letter, "How the amount was worked out"));
    free(letter);
    /* the frame is covered: nothing of it is taken back in another way */
    says(AUDIT("reverse", "D137/A0003", SIGNED), 2,
         "is in the frame of sample s, whose extrapolated chargeback");
    says(DRAW("--name", "t", "--size", "5", "--dealer", "D137"), 2, "covered by an extrapolated");
    says(CHARGE(SIGNED, ON_TIME), 2, "this sample was charged back by extrapolation; say --extrapolate");
    says(CHARGE(SIGNED, ON_TIME, "--extrapolate"), 0, "there is nothing to charge back");
    /* a correction lowers the limit, and the difference is given back */
    says(record(with_cell(2, "note", "paper found", "upheld")), 0, "1 corrected");
    int64_t lower_now = (int64_t)(atof(figure("take_back_extrapolated", "value")) * 100 + .5);
    assert_true(lower_now < lower);
    says(CHARGE(SIGNED, "--today", "2026-07-20", "--extrapolate"), 0, " (given back)");
    assert_int_equal(paid(), before - lower_now);
    says(RUN("verify", "--office", office, "--again"), 0, "everything fits");
}

/* What was reversed in the frame since the draw is taken off the extrapolated amount. */
static void extrapolated_less_what_was_reversed(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    int64_t before = paid(), lower = (int64_t)(atof(figure("take_back_extrapolated", "value")) * 100 + .5);
    says(AUDIT("reverse", "D137/A0003", SIGNED, "--today", "2026-06-20"), 0, "due -");
    says(CHARGE(SIGNED, ON_TIME, "--extrapolate"), 0, "taken back otherwise since the draw");
    assert_int_equal(paid(), before - lower);
}

/* A frame of many dealers is judged as well, but nobody owes what is extrapolated from it. */
static void of_several_dealers(void **state)
{
    (void)state;
    shell("rm -f %s* && cp %s %s", office, demo_file("office.db"), office);
    struct result result =
        RUN("post", demo_file("night-1.csv"), "--office", office, "--today", "2026-03-02", "--quiet");
    result_free(&result);
    /* a stratum a dealer, or a campaign, be it one alone; or what is paid beyond an interval, for certain */
    says(DRAW("--name", "d", "--size", "100", "--by", "dealer"), 0, "100 claims");
    assert_int_equal(number("SELECT count(*) FROM sample_strata"),
                     number("SELECT count(DISTINCT name) FROM sample_strata WHERE item_count > 0 AND frame_count > 0"));
    assert_true(number("SELECT count(*) FROM sample_strata") > 20);
    says(DRAW("--name", "c", "--size", "10", "--by", "campaign", "--campaign", "H26-02"), 0, "10 claims");
    assert_int_equal(number("SELECT count(*) FROM sample_strata WHERE name = 'H26-02'"), 1);
    says(DRAW("--name", "m", "--by", "money", "--interval", "250.00"), 0, "claims");
    assert_true(number("SELECT item_count = frame_count FROM sample_strata WHERE name = 'looked at for certain'"));
    says(DRAW("--name", "s", "--size", "60", "--seed", "42", "--out", sheet_path()), 0, "60 claims");
    says(record(fill(3, 20)), 0, "60 judged");
    assert_true(notes("refusal", "several-dealers"));
    says(CHARGE(SIGNED, ON_TIME, "--extrapolate"), 2, "an extrapolated amount would be owed by none of them");
    /* claim by claim, each dealer has a chargeback and a letter of its own */
    says(CHARGE(SIGNED, ON_TIME, "--letters", words("%s/many", folder)), 0, " chargebacks recorded");
    assert_int_equal(number("SELECT count(*) FROM chargebacks"),
                     number("SELECT count(DISTINCT dealer) FROM chargebacks"));
    assert_int_equal(number("SELECT sum(items_cents) FROM chargebacks"),
                     number("SELECT wrong_cents FROM samples_now WHERE name = 's'"));
    shell("test $(ls %s/many | wc -l) = %lld", folder, (long long)number("SELECT count(*) FROM chargebacks"));
}

/* Paid on 2026-05-01, within the look-back of 365 days at the draw, and beyond it when money is taken back. */
static void charged_late(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    says(CHARGE("--draft", "--today", "2027-05-01"), 0, "draft: nothing was recorded");
    says_not(CHARGE("--draft", "--today", "2027-05-01"), "if it is counted to today");
    says(CHARGE("--draft", "--today", "2027-05-02"), 0,
         "older than the region's look-back, if it is counted to today: 20 of these claims; it was counted to "
         "the day of "
         "the draw, and counsel decides which day counts\n");
}

/* What was paid too little is told, and owed to the dealer; a chargeback takes nothing for it. */
static void underpaid(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(with_cell(2, "right_amount", "99999.00", "error")), 0, "1 judged");
    says(AUDIT("evaluate", "s"), 0, " too little\n");
    says(CHARGE("--draft", "--today", "2026-06-20"), 0,
         "too little was paid; owed to the dealer, and nothing to take back");
    says(CHARGE(SIGNED, ON_TIME), 0, "there is nothing to charge back; nothing was recorded");
    struct result quiet = AUDIT("chargeback", "s", "--draft", "--quiet");
    assert_int_equal(quiet.code, 0);
    assert_string_equal(quiet.out, "");
    result_free(&quiet);
    quiet = AUDIT("sample", "record", "s", with_cell(3, "note", "seen", "upheld"), "--by", "A. Auditor",
                  "--today", "2026-06-11", "--quiet");
    assert_int_equal(quiet.code, 0);
    assert_string_equal(quiet.out, "");
    result_free(&quiet);
}

/* Names and reasons that are no text are not kept. */
static void words_that_are_none(void **state)
{
    (void)state;
    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    says(CHARGE("--by", "\xff", "--reason", "x", ON_TIME), 2, "is not UTF-8 text; write it anew");
    says(CHARGE("--by", "x", "--reason", "a\xc3", ON_TIME), 2, "is not UTF-8 text; write it anew");
    says(CHARGE("--by", " ", "--reason", "x", ON_TIME), 2, "--by is missing");
    says(AUDIT("sample", "record", "s", sheet_path(), "--by", "\xff"), 2, "is not UTF-8 text; write it anew");
    says(AUDIT("decide", "D137/A0001", "pay", "--by", "\xff", "--reason", "x"), 2,
         "--by and --reason must be UTF-8 text; write them anew");
    says(AUDIT("reverse", "D137/A0001", "--by", "x", "--reason", "\xff"), 2,
         "--by and --reason must be UTF-8 text; write them anew");
    says(AUDIT("decide", "D137", "pay", "--by", "x", "--reason", "x"), 2,
         "\"D137\" names no claim; write DEALER/CLAIM");
    assert_int_equal(number("SELECT count(*) FROM chargebacks"), 0);
    /* the numbers of options are looked at before anything is opened */
    says(CHARGE("--draft", "--extrapolate", "--confidence", "0"), 2, "is no percentage between 0 and 100");
    says(CHARGE("--draft", "--extrapolate", "--confidence", "x"), 2, "is no percentage between 0 and 100");
    says(CHARGE("--draft", "--extrapolate", "--confidence", "90.00001"), 2,
         "is no percentage between 0 and 100");
}

/* Where deadlines.csv says nothing of the region, nothing limits the audit; that is said, and stands in no
 * one's way. */
static void regions_without_terms(void **state)
{
    static const struct {
        const char *row, *says; /* says NULL: no warning */
    } CASES[] = {
        {"nebraska,\"\"\"US-NE\"\"\",365,", NULL},
        {"nebraska,\"\"\"US-NE\"\"\",,", NULL}, /* a row that says: no limit */
        {"ohio,\"\"\"US-OH\"\"\",365,30",
         "warning: deadlines.csv: no row is for region US-NE of dealer D137, so neither "
         "how far back an audit may look nor a notice was asked for; ask counsel"},
    };
    const char *rules = words("%s/terms", folder), *dealers = words("%s/nowhere.csv", folder);
    (void)state;

    new_office();
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    shell("cp -r rules %s", rules);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        write_words(words("%s/deadlines.csv", rules),
                    words("U,region,>audit_within_days,>chargeback_notice_days\n%s\n", CASES[i].row));
        struct result result = CHARGE("--draft", "--today", "2026-07-11", "--rules", rules);
        assert_int_equal(result.code, 0);
        if (CASES[i].says != NULL)
            assert_non_null(strstr(result.err, CASES[i].says));
        else
            assert_string_equal(result.err, "");
        result_free(&result);
    }
    /* a warning is no refusal */
    says(CHARGE(SIGNED, "--today", "2026-07-11", "--rules", rules), 0, "1 chargeback recorded");
    /* nothing moves: nothing is to be said */
    says_not(CHARGE(SIGNED, "--today", "2026-07-12", "--rules", rules), "warning");
    /* the dealer had no region when the work was done, and has one now */
    new_office();
    write_words(dealers, "dealer,name,region,labor_rate,parts_markup,active_from,active_to,valid_from\n"
                         "D137,Nowhere Motors,,175,40,,,\nD137,Nowhere Motors,US-OH,175,40,,,2026-06-20\n");
    says(AUDIT("load", "dealers", dealers), 0, "");
    draw_60();
    says(record(fill(3, 20)), 0, "60 judged");
    write_words(words("%s/deadlines.csv", rules), "U,region,>audit_within_days,>chargeback_notice_days\n"
                                                  "ohio,\"\"\"US-OH\"\"\",365,\n");
    says(CHARGE("--draft", "--today", "2026-07-11", "--rules", rules), 0,
         "warning: deadlines.csv: no row is for dealer D137, of whom no region is known");
    /* which a row can be for, too */
    write_words(words("%s/deadlines.csv", rules), "U,region,>audit_within_days,>chargeback_notice_days\n"
                                                  "ohio,\"\"\"US-OH\"\"\",365,\nnone,null,365,\n");
    says_not(CHARGE("--draft", "--today", "2026-07-11", "--rules", rules), "warning");
}

/* The picture: the estimates with their intervals. */
static void a_report_of_it(void **state)
{
    (void)state;
    new_office();
    draw_60();
    /* before anything is judged there is neither a rate nor a right amount */
    says(AUDIT("report", "audit", "--sample", "s", "--format", "csv", "--section", "rate"), 0,
         "looked_at,wrong,rate,lower,upper,upper_alone\n0,0,,,,\n");
    says(AUDIT("report", "audit", "--sample", "s", "--format", "csv", "--section", "claims"), 0, ",,,,\n60,");
    says(record(fill(3, 20)), 0, "60 judged");
    says(AUDIT("report", "audit", "--sample", "s", "--format", "csv", "--section", "estimates"), 0,
         words("difference,%s,%s,%s,", figure("difference", "lower"), figure("difference", "value"),
               figure("difference", "upper")));
    says(AUDIT("report", "audit", "--sample", "s", "--format", "html"), 0, "Lower limit");
    says(AUDIT("report", "audit", "--sample", "t"), 2, "there is no sample \"t\"");
    says(AUDIT("report", "audit", "--sample", "s", "--confidence", "100"), 2,
         "is no percentage between 0 and 100");
    says(AUDIT("report", "audit", "--sample", "s", "--confidence", "0"), 2, "is no percentage between 0 and 100");
    /* what was extrapolated is in the report of payments */
    says(CHARGE(SIGNED, ON_TIME, "--extrapolate", "--quiet"), 0, "");
    says(AUDIT("report", "payments", "--today", "2026-07-30", "--section", "taken_back", "--format", "csv"), 0,
         "D137/,");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sizes),
        cmocka_unit_test(strata_that_cannot_be),
        cmocka_unit_test(mistakes_of_drawing),
        cmocka_unit_test(drawn_again),
        cmocka_unit_test(a_larger_frame_is_told),
        cmocka_unit_test(changes_of_the_frame_are_named),
        cmocka_unit_test(a_changed_record_is_found),
        cmocka_unit_test(look_back),
        cmocka_unit_test(the_frame_is_what_is_paid),
        cmocka_unit_test(picked_by_hand),
        cmocka_unit_test(mistakes_of_judging),
        cmocka_unit_test(corrections_are_appended),
        cmocka_unit_test(evaluations),
        cmocka_unit_test(evaluations_that_are_refused),
        cmocka_unit_test(evaluation_by_money),
        cmocka_unit_test(evaluation_by_strata),
        cmocka_unit_test(older_claims_are_counted),
        cmocka_unit_test(mistakes_of_charging),
        cmocka_unit_test(letters_stay_in_their_folder),
        cmocka_unit_test(claim_by_claim),
        cmocka_unit_test(revised_since),
        cmocka_unit_test(revised_and_extrapolated),
        cmocka_unit_test(never_twice),
        cmocka_unit_test(extrapolated),
        cmocka_unit_test(extrapolated_less_what_was_reversed),
        cmocka_unit_test(of_several_dealers),
        cmocka_unit_test(charged_late),
        cmocka_unit_test(underpaid),
        cmocka_unit_test(words_that_are_none),
        cmocka_unit_test(regions_without_terms),
        cmocka_unit_test(a_report_of_it),
    };
    char pattern[] = "/tmp/witnessmark-audit-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    base = words("%s/base.db", folder);
    office = words("%s/office.db", folder);
    make_base();
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
