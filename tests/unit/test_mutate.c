/* A claim changed in any single cell is decided or unreadable, and disturbs no other: each cell of a batch of
 * good claims is changed in many ways, every change in a copy of its claim with a number, repair order and day
 * of its own. */
#include "program.h"

enum { CLAIMS = 60, COLUMNS = 23, LONG_CELL = 64 * 1024 + 1 };

static char *folder;

/* --- Ways to change a cell; NULL: as it was, with something done to it ------------------------------------ */

static char *huge(void)
{
    char *cell = malloc(LONG_CELL + 1);

    need(cell != NULL, "memory");
    memset(cell, '7', LONG_CELL);
    cell[LONG_CELL] = '\0';
    return cell;
}

/* The columns' kinds, in the order of the file: T a text that must be there, t one that need not, i an integer
 * from 0 on, y the model year, o the outcome, u the unit of the odometer, d a date, P L I item lists, m money. */
static const char KINDS[] = "TiTTTToytiudddttPLImmmm";

/* A cell in place of the one that was there, with the kinds of column in which its row cannot be read, and those
 * in which it can; it may be either in the others. */
static const struct {
    const char *cell, *unreadable, *readable;
} REPLACEMENTS[] = {
    {"", "To", "iytudPLIm"},
    {"-", "oiyudmL", "Tt"},
    {"-1", "oiudmL", "Tty"},
    {"-0", "oudL", "Tt"},
    {"0", "oudL", "Ttiym"},
    {"1e9", "oiyudmL", "Tt"},
    {"1000000000", "oudL", "Ttiym"},
    {"99999999999999999999", "oiyudmL", "Tt"},
    {"9223372036854.775807", "oiyudmL", "Tt"},
    {"12.345", "oiyudmL", "Tt"},
    {".5", "oiyudL", "Ttm"},
    {"1.", "oiyudmL", "Tt"},
    {"2026-02-30", "oiyudmL", "Tt"},
    {"2026-02-28", "oiyumL", "Ttd"},
    {"3/1/26", "oiyudmL", "Tt"},
    {"0001-01-01", "oiyumL", "Ttd"},
    {"9999-12-31", "oiyumL", "Ttd"},
    {"EZ7BAMCK6KE42148", "oiyudmL", "Tt"},
    {"EZ7BAMCK6KE4214899", "oiyudmL", "Tt"},
    {"ez7bamck6ke421489", "oiyudmL", "Tt"},
    {"IOQIOQIOQIOQIOQIO", "oiyudmL", "Tt"},
    {"=cmd()", "oiyudm", "Tt"},
    {"<script>", "oiyudmL", "Tt"},
    {"' OR 1=1 --", "oiyudmPL", "Tt"},
    {"A=B=C@D", "oiyudmPL", "TtI"},
    {"PSH-1600-01=-1", "oiyudmPL", "Tt"},
    {"PSH-1600-01=1e9@1", "oiyudmPL", "Tt"},
    {"PSR-10=1000000000", "oiyudm", "TtPL"},
    {"PSR-10=0.0000001", "oiyudmPL", "Tt"},
    {";;;", "oiyudm", "TtPLI"},
    {"=", "oiyudm", "Tt"},
    {"@", "oiyudmL", "Tt"},
    {"x=", "oiyudmPL", "TtI"},
    {"TORQUE=30", "oiyudm", "TtPLI"},
    {"LEAK=dry;LEAK=wet", "oiyudmPL", "TtI"},
    {"\xC3\xA9\xE2\x82\xAC", "oiyudmL", "Tt"},
    {"a\tb", "oiyudmL", "Tt"},
    {"null", "oiyudmL", "Tt"},
    {"true", "oiyudmL", "Tt"},
    {"repaired", "iyudmL", "Tto"},
    {"inspected", "iyudmL", "Tto"},
    {"km", "oiydmL", "Ttu"},
};
/* Bytes that no cell may hold, and raw pieces that break the row: written as they are, never quoted. */
enum { NEVER_READABLE = 6 }; /* so many of the first ones make a row that cannot be read */
static const char *const RAW[] = {"\xff\xfe", "\xC0\xAF", "\xED\xA0\x80", "a\"b", "\"a\"b",
                                  "a,b",      "\"a\nb\"", "\"a,b\"",      "\"\""};
enum { NUL_BYTE = COUNT(RAW), HUGE_CELL, WAYS_RAW };
enum { WAYS = COUNT(REPLACEMENTS) + WAYS_RAW };

/* --- The file of mutants ---------------------------------------------------------------------------------- */

struct mutant {
    size_t line; /* physical line of its row */
    size_t column, way;
};

static struct mutant *mutants;
static size_t mutant_count;

static void write_plain(FILE *file, const char *cell)
{
    bool quoted = strpbrk(cell, ",\"\n\r") != NULL;

    fputs(quoted ? "\"" : "", file);
    for (; *cell != '\0'; cell++)
        fprintf(file, *cell == '"' ? "\"\"" : "%c", *cell);
    fputs(quoted ? "\"" : "", file);
}

static void write_changed(FILE *file, size_t way, const char *huge_cell)
{
    if (way < COUNT(REPLACEMENTS))
        write_plain(file, REPLACEMENTS[way].cell);
    else if (way - COUNT(REPLACEMENTS) == NUL_BYTE)
        fwrite("a\0b", 1, 3, file);
    else if (way - COUNT(REPLACEMENTS) == HUGE_CELL)
        fputs(huge_cell, file);
    else
        fputs(RAW[way - COUNT(REPLACEMENTS)], file);
}

static size_t lines_of(size_t way)
{
    return way >= COUNT(REPLACEMENTS) && way - COUNT(REPLACEMENTS) < COUNT(RAW) &&
                   strchr(RAW[way - COUNT(REPLACEMENTS)], '\n') != NULL
               ? 2
               : 1;
}

/* One row: the claim as it is (way = WAYS), or with one cell changed, under a number of its own. */
static size_t write_row(FILE *file, char **row, size_t column, size_t way, size_t number, const char *huge_cell)
{
    for (size_t c = 0; c < COLUMNS; c++) {
        if (c > 0)
            fputc(',', file);
        if (c == column && way < WAYS)
            write_changed(file, way, huge_cell);
        else if (c == 0)
            fprintf(file, "M%07zu", number);
        else
            write_plain(file, row[c]);
    }
    fputc('\n', file);
    return way < WAYS ? lines_of(way) : 1;
}

/* Every claim once as it is, then every change of this column to it. The same vehicle stands in many rows: what
 * is looked at is whether each row comes back, not whether it is paid. */
static size_t write_mutants(const char *path, const struct csv_sheet *sheet, size_t column,
                            const char *huge_cell)
{
    FILE *file = fopen(path, "wb");
    size_t line = 2, number = 0, rows = 0;

    need(file != NULL, path);
    for (size_t c = 0; c < COLUMNS; c++)
        fprintf(file, "%s%s", sheet->rows[0][c], c + 1 < COLUMNS ? "," : "\n");
    for (size_t claim = 1; claim <= CLAIMS; claim++)
        for (size_t way = 0; way <= WAYS; way++) {
            /* the longest cell once in a while: it is 64 KiB each time */
            if (way < WAYS && way >= COUNT(REPLACEMENTS) && way - COUNT(REPLACEMENTS) == HUGE_CELL &&
                claim % 20 != 0)
                continue;
            mutants[mutant_count++] = (struct mutant){line, column, way};
            line += write_row(file, sheet->rows[claim], column, way, number++, huge_cell);
            rows++;
        }
    fclose(file);
    return rows;
}

/* --- What comes back -------------------------------------------------------------------------------------- */

/* Whether this mutant must be unreadable, or else must be readable. */
static bool must_be(const struct mutant *mutant, bool unreadable)
{
    char kind = KINDS[mutant->column];

    if (mutant->way == WAYS)
        return !unreadable;
    if (mutant->way < COUNT(REPLACEMENTS))
        return strchr(unreadable ? REPLACEMENTS[mutant->way].unreadable : REPLACEMENTS[mutant->way].readable,
                      kind) != NULL;
    size_t raw = mutant->way - COUNT(REPLACEMENTS);
    return unreadable && (raw < NEVER_READABLE || raw == NUL_BYTE || raw == HUGE_CELL);
}

static void judge_row(const struct csv_sheet *sheet, size_t row, const struct mutant *mutant)
{
    static const char *const DECISIONS = "pay;hold;return;refuse";
    const char *decision = csv_at(sheet, row, "decision"), *findings = csv_at(sheet, row, "findings");
    bool unreadable = list_has(findings, "row-unreadable");

    if ((size_t)atol(csv_at(sheet, row, "line")) != mutant->line)
        fail_msg("row %zu is of line %s, expected %zu", row, csv_at(sheet, row, "line"), mutant->line);
    if (!list_has(DECISIONS, decision))
        fail_msg("line %zu: decision \"%s\"", mutant->line, decision);
    if (unreadable && (strcmp(findings, "row-unreadable") != 0 || strcmp(decision, "return") != 0 ||
                       strcmp(csv_at(sheet, row, "payable"), "0.00") != 0 ||
                       strcmp(csv_at(sheet, row, "revision"), "0") != 0))
        fail_msg("line %zu: unreadable, and yet %s, %s", mutant->line, decision, findings);
    if (must_be(mutant, true) && !unreadable)
        fail_msg("line %zu: column %zu changed in way %zu was read", mutant->line, mutant->column, mutant->way);
    if (must_be(mutant, false) && unreadable)
        fail_msg("line %zu: column %zu changed in way %zu was not read", mutant->line, mutant->column, mutant->way);
}

static void each_cell_changed_in_many_ways(void **state)
{
    struct csv_sheet sheet = csv_sheet_of_file(demo_file("night-1.csv"));
    const char *path = words("%s/mutants.csv", folder);
    char *huge_cell = huge();
    size_t rows_in_all = 0;
    (void)state;

    assert_true(sheet.count > CLAIMS);
    mutants = calloc((size_t)CLAIMS * (WAYS + 1), sizeof *mutants);
    need(mutants != NULL, "memory");
    for (size_t column = 0; column < COLUMNS; column++) {
        mutant_count = 0;
        size_t rows = write_mutants(path, &sheet, column, huge_cell);
        struct result result =
            RUN("check", path, "--office", demo_file("office.db"), "--today", "2026-07-01", "--format", "csv");
        assert_int_equal(result.code, 1);
        struct csv_sheet decided = csv_sheet_read(result.out);
        assert_int_equal(decided.count, rows + 1);
        for (size_t row = 1; row < decided.count; row++)
            judge_row(&decided, row, &mutants[row - 1]);
        rows_in_all += rows;
        csv_sheet_free(&decided);
        result_free(&result);
    }
    print_message("%zu rows, each of %d columns changed in %d ways\n", rows_in_all, COLUMNS, (int)WAYS);
    free(mutants);
    free(huge_cell);
    csv_sheet_free(&sheet);
}

/* --- The others -------------------------------------------------------------------------------------------- */

/* Claims of dealers with an odd number stay as they are, those of the other dealers are changed. */
static bool stays(char **row)
{
    const char *dealer = row[2];
    return (dealer[strlen(dealer) - 1] - '0') % 2 == 1;
}

static bool is_whole(char **row)
{
    size_t width = 0;

    while (row[width] != NULL)
        width++;
    return width == COLUMNS;
}

static bool has_own_vehicle(const struct csv_sheet *sheet, size_t row)
{
    if (!is_whole(sheet->rows[row]))
        return false;
    for (size_t other = 1; other < sheet->count; other++)
        if (other != row && is_whole(sheet->rows[other]) &&
            strcasecmp(sheet->rows[other][5], sheet->rows[row][5]) == 0)
            return false;
    return true;
}

/* Way WAYS: without the claims that change. */
static struct csv_sheet decided_beside(const struct csv_sheet *sheet, size_t way)
{
    const char *path = words("%s/beside.csv", folder);
    FILE *file = fopen(path, "wb");

    need(file != NULL, path);
    for (size_t c = 0; c < COLUMNS; c++)
        fprintf(file, "%s%s", sheet->rows[0][c], c + 1 < COLUMNS ? "," : "\n");
    for (size_t row = 1; row < sheet->count; row++) {
        if (!has_own_vehicle(sheet, row))
            continue;
        if (stays(sheet->rows[row]))
            write_row(file, sheet->rows[row], COLUMNS, WAYS, row, "");
        else if (way < WAYS)
            write_row(file, sheet->rows[row], row % COLUMNS, way, row, "7");
    }
    need(fclose(file) == 0, path);
    struct result result =
        RUN("check", path, "--office", demo_file("office.db"), "--today", "2026-07-01", "--format", "csv");
    struct csv_sheet decided = csv_sheet_read(result.out);
    result_free(&result);
    return decided;
}

static size_t row_of_claim(const struct csv_sheet *decided, const char *claim)
{
    size_t row = 1;

    while (row < decided->count && strcmp(csv_at(decided, row, "claim"), claim) != 0)
        row++;
    assert_true(row < decided->count);
    return row;
}

/* Claims that change leave those alone that share neither vehicle nor dealer with them, before and behind them. */
static void others_are_decided_as_before(void **state)
{
    static const char *const SAME[] = {"decision", "payable", "due", "findings"};
    struct csv_sheet sheet = csv_sheet_of_file(demo_file("night-1.csv"));
    struct csv_sheet alone = decided_beside(&sheet, WAYS);
    size_t compared = 0;
    (void)state;

    for (size_t way = 0; way < WAYS; way++) {
        struct csv_sheet beside = decided_beside(&sheet, way);
        assert_true(beside.count > alone.count);
        for (size_t row = 1; row < alone.count; row++, compared++) {
            size_t at = row_of_claim(&beside, csv_at(&alone, row, "claim"));
            for (size_t i = 0; i < COUNT(SAME); i++)
                assert_string_equal(csv_at(&beside, at, SAME[i]), csv_at(&alone, row, SAME[i]));
        }
        csv_sheet_free(&beside);
    }
    print_message("%zu decisions beside changed claims\n", compared);
    assert_true(compared > 1000);
    csv_sheet_free(&alone);
    csv_sheet_free(&sheet);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_cell_changed_in_many_ways),
        cmocka_unit_test(others_are_decided_as_before),
    };
    char pattern[] = "/tmp/witnessmark-mutate-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
