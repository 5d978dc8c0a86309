/* The same input gives the same bytes, whatever the threads, the locale, the zone and the time of day; and the same
 * decisions, however the file is laid out. The program is told --today and asks the clock for nothing else. */
#include "program.h"

static char *folder;

static const char *in_folder(const char *name)
{
    return words("%s/%s", folder, name);
}

/* An empty environment, but for where a program that is linked otherwise finds its libraries. */
#define BARE "- ${LD_LIBRARY_PATH:+LD_LIBRARY_PATH=\"$LD_LIBRARY_PATH\"}"

/* Checks a file under these settings of the environment and returns all that was printed. */
static char *checked(const char *file, const char *environment, const char *threads, const char *format)
{
    const char *out = in_folder("out"), *findings = in_folder("findings");
    const char *program = getenv("WITNESSMARK");

    shell("env %s %s check %s --office %s --today 2026-07-01 --received 2026-07-01 --format %s --threads %s --out %s "
          "--findings %s 2>/dev/null || [ $? = 1 ]",
          environment, program, file, demo_file("office.db"), format, threads, out, findings);
    shell("cat %s >> %s", findings, out);
    return read_whole(out, NULL);
}

/* A file of several blocks, so that threads have something to race for: the nights, again and again. */
static const char *long_night(void)
{
    const char *path = in_folder("long.csv");

    shell("head -n 1 %s > %s", demo_file("night-1.csv"), path);
    for (int i = 0; i < 60; i++)
        shell("sed -e 1d -e 's/^C\\([0-9]*\\),/X%02d\\1,/' %s >> %s", i, demo_file("night-1.csv"), path);
    return path;
}

static void threads_do_not_matter(void **state)
{
    static const char *const FORMATS[] = {"csv", "json", "text"};
    const char *file = long_night();
    (void)state;

    for (size_t f = 0; f < COUNT(FORMATS); f++) {
        char *one = checked(file, BARE, "1", FORMATS[f]);
        static const char *const THREADS[] = {"2", "3", "8", "64"};
        for (size_t t = 0; t < COUNT(THREADS); t++) {
            char *several = checked(file, BARE, THREADS[t], FORMATS[f]);
            assert_string_equal(several, one);
            free(several);
        }
        free(one);
    }
}

static void surroundings_do_not_matter(void **state)
{
    static const char *const SURROUNDINGS[] = {"LC_ALL=C", "LC_ALL=C.UTF-8", "LC_ALL=de_DE.UTF-8", "LANG=tr_TR.UTF-8",
                                               "TZ=Pacific/Kiritimati", "TZ=America/Anchorage"};
    char *plain = checked(demo_file("night-2.csv"), BARE, "2", "csv");
    (void)state;

    for (size_t i = 0; i < COUNT(SURROUNDINGS); i++) {
        char *other = checked(demo_file("night-2.csv"), SURROUNDINGS[i], "2", "csv");
        assert_string_equal(other, plain);
        free(other);
    }
    free(plain);
}

/* --- Layouts of one file ------------------------------------------------------------------------------------------ */

struct layout {
    const char *line_end;
    bool mark, quotes, reversed, blanks;
};

static void write_cell(FILE *file, const char *cell, const struct layout *layout)
{
    bool quoted = layout->quotes || strpbrk(cell, ",\"\n") != NULL;

    fputs(layout->blanks ? " \t" : "", file);
    fputs(quoted ? "\"" : "", file);
    for (; *cell != '\0'; cell++)
        fprintf(file, *cell == '"' ? "\"\"" : "%c", *cell);
    fputs(quoted ? "\"" : "", file);
    fputs(layout->blanks ? " " : "", file);
}

static void write_sheet(const char *path, const struct csv_sheet *sheet, const struct layout *layout)
{
    FILE *file = fopen(path, "wb");

    need(file != NULL, path);
    fputs(layout->mark ? "\xEF\xBB\xBF" : "", file);
    for (size_t row = 0; row < sheet->count; row++) {
        size_t width = 0;
        while (sheet->rows[row][width] != NULL)
            width++;
        for (size_t c = 0; c < width; c++) {
            write_cell(file, sheet->rows[row][layout->reversed ? width - 1 - c : c], layout);
            fputs(c + 1 < width ? "," : layout->line_end, file);
        }
    }
    fclose(file);
}

/* Decisions without the line column, which layouts may move. */
static char *decisions_of(const char *file)
{
    char *all = checked(file, BARE, "2", "csv");
    struct csv_sheet sheet = csv_sheet_read(all);
    char *list = calloc(1, strlen(all) + 1);
    size_t columns = 10;

    need(list != NULL, "memory");
    for (size_t row = 1; row < sheet.count && strcmp(sheet.rows[row][0], "line") != 0; row++)
        for (size_t c = 1; c <= columns; c++) {
            assert_non_null(sheet.rows[row][c]);
            strcat(list, sheet.rows[row][c]);
            strcat(list, c < columns ? "," : "\n");
        }
    csv_sheet_free(&sheet);
    free(all);
    return list;
}

static void layout_does_not_matter(void **state)
{
    static const struct layout LAYOUTS[] = {
        {"\r\n", false, false, false, false}, {"\n", true, false, false, false}, {"\n", false, true, false, false},
        {"\r\n", true, true, true, false},    {"\n", false, false, true, true},  {"\r\n", false, true, false, true},
        {"\n\n", false, false, false, false},
    };
    static const char *const NIGHTS[] = {"night-1.csv", "night-3.csv"};
    (void)state;

    for (size_t night = 0; night < COUNT(NIGHTS); night++) {
        struct csv_sheet sheet = csv_sheet_of_file(demo_file(NIGHTS[night]));
        char *expected = decisions_of(demo_file(NIGHTS[night]));
        assert_true(strlen(expected) > 1000);
        for (size_t i = 0; i < COUNT(LAYOUTS); i++) {
            const char *path = in_folder("layout.csv");
            write_sheet(path, &sheet, &LAYOUTS[i]);
            char *got = decisions_of(path);
            assert_string_equal(got, expected);
            free(got);
        }
        free(expected);
        csv_sheet_free(&sheet);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(threads_do_not_matter),
        cmocka_unit_test(surroundings_do_not_matter),
        cmocka_unit_test(layout_does_not_matter),
    };
    char pattern[] = "/tmp/witnessmark-steady-XXXXXX";

    folder = mkdtemp(pattern);
    need(folder != NULL, "mkdtemp");
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
