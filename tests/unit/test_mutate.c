/* A claim changed in any single cell is decided or unreadable, and disturbs no other: each cell of a batch of
 * good claims is changed in many ways, every change in a copy of its claim with a number, repair order and day
 * of its own. */
#include "program.h"

enum { CLAIMS = 60, COLUMNS = 23, LONG_CELL = 64 * 1024 + 1 };

static char *folder;

/* --- Ways to change a cell; NULL: as it was, with something done to it
 * ---------------------------------------- */

static char *huge(void)
{
    char *cell = malloc(LONG_CELL + 1);

    need(cell != NULL, "memory");
    memset(cell, '7', LONG_CELL);
    cell[LONG_CELL] = '\0';
    return cell;
}

static const char *const REPLACEMENTS[] = {
    "",
    "-",
    "-1",
    "-0",
    "0",
    "1e9",
    "1000000000",
    "99999999999999999999",
    "9223372036854.775807",
    "12.345",
    ".5",
    "1.",
    "2026-02-30",
    "2026-02-28",
    "3/1/26",
    "0001-01-01",
    "9999-12-31",
    "EZ7BAMCK6KE42148",
    "EZ7BAMCK6KE4214899",
    "ez7bamck6ke421489",
    "IOQIOQIOQIOQIOQIO",
    "=cmd()",
    "<script>",
    "' OR 1=1 --",
    "A=B=C@D",
    "PSH-1600-01=-1",
    "PSH-1600-01=1e9@1",
    "PSR-10=1000000000",
    "PSR-10=0.0000001",
    ";;;",
    "=",
    "@",
    "x=",
    "TORQUE=30",
    "LEAK=dry;LEAK=wet",
    "\xC3\xA9\xE2\x82\xAC",
    "a\tb",
    "null",
    "true",
    "repaired",
    "inspected",
    "km",
};
/* Bytes that no cell may hold, and raw pieces that break the row: written as they are, never quoted. */
static const char *const RAW[] = {"\xff\xfe", "\xC0\xAF", "\xED\xA0\x80", "a\"b", "\"a\"b",
                                  "a,b",      "\"a\nb\"", "\"a,b\"",      "\"\""};
enum { NUL_BYTE = COUNT(RAW), HUGE_CELL, WAYS_RAW };
enum { WAYS = COUNT(REPLACEMENTS) + WAYS_RAW };

/* --- The file of mutants
 * ------------------------------------------------------------------------------------------ */

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
        write_plain(file, REPLACEMENTS[way]);
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

/* --- What comes back
 * ------------------------------------------------------------------------------------------------- */

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
    if (mutant->way == WAYS && unreadable)
        fail_msg("line %zu: not changed, and yet unreadable", mutant->line);
    bool never_readable = mutant->way >= COUNT(REPLACEMENTS) && mutant->way < COUNT(REPLACEMENTS) + 6;
    if (never_readable && !unreadable)
        fail_msg("line %zu: column %zu changed in way %zu was read", mutant->line, mutant->column, mutant->way);
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

/* A claim that is changed in one cell leaves those decided alone that share neither vehicle, dealer nor number
 * with it. */
static void others_are_decided_as_before(void **state)
{
    const char *path = words("%s/neighbours.csv", folder), *alone = words("%s/alone.csv", folder);
    struct csv_sheet sheet = csv_sheet_of_file(demo_file("night-1.csv"));
    FILE *file = fopen(alone, "wb");
    (void)state;

    need(file != NULL, alone);
    for (size_t row = 0; row <= 1; row++)
        for (size_t c = 0; c < COLUMNS; c++) {
            write_plain(file, sheet.rows[row][c]);
            fputc(c + 1 < COLUMNS ? ',' : '\n', file);
        }
    fclose(file);
    struct result expected =
        RUN("check", alone, "--office", demo_file("office.db"), "--today", "2026-07-01", "--format", "csv");
    for (size_t way = 0; way < WAYS; way++) {
        file = fopen(path, "wb");
        need(file != NULL, path);
        for (size_t c = 0; c < COLUMNS; c++)
            fprintf(file, "%s%s", sheet.rows[0][c], c + 1 < COLUMNS ? "," : "\n");
        write_row(file, sheet.rows[1], COLUMNS, WAYS, 1, "");
        write_row(file, sheet.rows[2], way % COLUMNS, way, 2, "7");
        fclose(file);
        struct result result =
            RUN("check", path, "--office", demo_file("office.db"), "--today", "2026-07-01", "--format", "csv");
        struct csv_sheet with = csv_sheet_read(result.out), without = csv_sheet_read(expected.out);
        assert_string_equal(csv_at(&with, 1, "decision"), csv_at(&without, 1, "decision"));
        assert_string_equal(csv_at(&with, 1, "payable"), csv_at(&without, 1, "payable"));
        csv_sheet_free(&with);
        csv_sheet_free(&without);
        result_free(&result);
    }
    result_free(&expected);
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
