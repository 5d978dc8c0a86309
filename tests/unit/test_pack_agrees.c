/* What a dealer's pack says of his claims is what the office says, but for the findings that `pack show` lists
 * as the office's own: for every dealer and every claim of the demo office, before anything is posted and
 * after.
 */
#include "pack_kit.h"

static char *folder, *key;

/* --- Lists of findings -------------------------------------------------------------------------------- */

/* The findings that `pack show` says are the office's own: separated by `;`. */
struct office_own {
    char *told, *tonight; /* what the pack leaves out, and what may still be sent */
};

static char *added(char *list, const char *line)
{
    return words("%s%.*s;", list, (int)strcspn(line, " "), line);
}

static struct office_own office_own(const char *pack, const char *today)
{
    struct office_own own = {words("%s", ""), words("%s", "")};
    struct result result = RUN("pack", "show", pack, "--trust", key, "--today", today, "--format", "csv");

    assert_int_equal(result.code, 0);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    for (size_t row = 1; row < sheet.count; row++) {
        if (strcmp(sheet.rows[row][0], "office") == 0)
            own.told = added(own.told, sheet.rows[row][1]);
        else if (strcmp(sheet.rows[row][0], "office tonight") == 0)
            own.tonight = added(own.tonight, sheet.rows[row][1]);
    }
    result_free(&result);
    return own;
}

/* Whether every word of `list` is in `other` or in `allowed`. */
static bool are_in(const char *list, const char *other, const char *allowed)
{
    char *copy = words("%s", list);
    bool all = true;

    for (char *word = strtok(copy, ";"); word != NULL; word = strtok(NULL, ";"))
        all = all && (list_has(other, word) || list_has(allowed, word));
    return all;
}

/* --- One dealer's rows of a file ---------------------------------------------------------------------- */

static char **lines_of(char *bytes, size_t *ret_count)
{
    char **lines = NULL, *rest = bytes, *line;
    size_t count = 0;

    while ((line = strsep(&rest, "\n")) != NULL) {
        lines = realloc(lines, (count + 1) * sizeof *lines);
        need(lines != NULL, "memory");
        lines[count++] = line;
    }
    *ret_count = count;
    return lines;
}

/* The file with every row of another dealer made an empty line, so that rows keep their line. decided: what
 * `check` says of the whole file. */
static char *rows_of(const char *file, const struct csv_sheet *decided, const char *dealer)
{
    char *path = words("%s/own.csv", folder), *bytes = read_whole(file, NULL);
    size_t count, next = 1;
    char **lines = lines_of(bytes, &count);
    bool keep = true;
    FILE *out = fopen(path, "w");

    need(out != NULL, path);
    for (size_t i = 0; i < count; i++) {
        if (next < decided->count && strtoul(csv_at(decided, next, "line"), NULL, 10) == i + 1)
            keep = strcmp(csv_at(decided, next++, "dealer"), dealer) == 0;
        fprintf(out, "%s\n", keep ? lines[i] : "");
    }
    fclose(out);
    free(lines);
    free(bytes);
    return path;
}

static struct csv_sheet check_file(const char *const *how, const char *file, const char *today)
{
    struct result result =
        RUN("check", file, how[0], how[1], how[2], how[3], "--today", today, "--format", "csv");
    if (result.code != 0 && result.code != 1)
        fail_msg("check %s: %s", file, result.err);
    struct csv_sheet sheet = csv_sheet_read(result.out);
    result_free(&result);
    return sheet;
}

/* --- Comparing ---------------------------------------------------------------------------------------- */

static size_t compared, differing;

static void compare_row(const struct csv_sheet *office, size_t at_office, const struct csv_sheet *pack,
                        size_t at_pack, const char *allowed, const char *dealer)
{
    static const char *const SAME[] = {"claim", "revision", "decision", "asked", "payable", "due"};
    const char *theirs = csv_at(office, at_office, "findings"), *ours = csv_at(pack, at_pack, "findings");

    compared++;
    if (!are_in(theirs, ours, allowed) || !are_in(ours, theirs, allowed))
        fail_msg("%s line %s: the office finds \"%s\", the pack \"%s\"", dealer, csv_at(pack, at_pack, "line"),
                 theirs, ours);
    if (strcmp(theirs, ours) != 0) {
        differing++;
        return;
    }
    for (size_t i = 0; i < COUNT(SAME); i++)
        assert_string_equal(csv_at(office, at_office, SAME[i]), csv_at(pack, at_pack, SAME[i]));
}

static void compare(const struct csv_sheet *office, const struct csv_sheet *pack, const char *allowed,
                    const char *dealer)
{
    size_t at_office = 1;

    for (size_t row = 1; row < pack->count; row++) {
        while (at_office < office->count &&
               strcmp(csv_at(office, at_office, "line"), csv_at(pack, row, "line")) != 0)
            at_office++;
        assert_true(at_office < office->count);
        compare_row(office, at_office, pack, row, allowed, dealer);
    }
}

/* The dealers of a file, each once. */
static size_t dealers_of(const struct csv_sheet *decided, const char **dealers, size_t most)
{
    size_t count = 0;

    for (size_t row = 1; row < decided->count; row++) {
        const char *dealer = csv_at(decided, row, "dealer");
        bool known = dealer[0] == '\0';
        for (size_t i = 0; i < count && !known; i++)
            known = strcmp(dealers[i], dealer) == 0;
        if (!known && count < most)
            dealers[count++] = dealer;
    }
    return count;
}

static bool is_registered(const char *dealer)
{
    struct csv_sheet dealers = csv_sheet_of_file(demo_file("dealers.csv"));
    bool is = false;

    for (size_t row = 1; row < dealers.count; row++)
        is = is || strcmp(csv_at(&dealers, row, "dealer"), dealer) == 0;
    csv_sheet_free(&dealers);
    return is;
}

/* Each dealer's rows with his pack: against the office's word on the whole file, and on these rows alone. */
static void agree(const char *file, const char *office, const char *today)
{
    const char *const by_office[] = {"--office", office, "--rules", "rules"};
    struct csv_sheet whole = check_file(by_office, file, today);
    char *base = make_pack(folder, office, NULL, NULL, today);
    struct office_own own = office_own(base, today);
    char *all = words("%s%s", own.told, own.tonight);
    const char *dealers[128];
    size_t count = dealers_of(&whole, dealers, COUNT(dealers));

    assert_true(count > 20);
    for (size_t i = 0; i < count; i++) {
        if (!is_registered(dealers[i]))
            continue;
        char *pack = make_pack(folder, office, dealers[i], base, today),
             *rows = rows_of(file, &whole, dealers[i]);
        const char *const by_pack[] = {"--pack", pack, "--trust", key};
        struct csv_sheet ours = check_file(by_pack, rows, today), alone = check_file(by_office, rows, today);
        assert_true(ours.count > 1);
        compare(&whole, &ours, all, dealers[i]);
        compare(&alone, &ours, own.told, dealers[i]);
        csv_sheet_free(&ours);
        csv_sheet_free(&alone);
    }
    csv_sheet_free(&whole);
}

static void before_anything_is_posted(void **state)
{
    (void)state;
    compared = differing = 0;
    agree(demo_file("night-1.csv"), demo_file("office.db"), "2026-03-02");
    agree(demo_file("night-2.csv"), demo_file("office.db"), "2026-03-16");
    agree(demo_file("night-3.csv"), demo_file("office.db"), "2026-04-20");
    assert_true(compared > 1000 && differing * 20 < compared);
    print_message("%zu comparisons, %zu differ in findings of the office's own\n", compared, differing);
}

static void post(const char *office, const char *night, const char *day)
{
    struct result result =
        RUN("post", demo_file(night), "--office", office, "--today", day, "--received", day, "--quiet");

    assert_in_range(result.code, 0, 1);
    result_free(&result);
}

/* The same nights once more are full of revisions, reused numbers and vehicles that are done. */
static void after_two_nights(void **state)
{
    char *office = words("%s/office.db", folder);
    (void)state;

    shell("cp %s %s", demo_file("office.db"), office);
    post(office, "night-1.csv", "2026-03-02");
    post(office, "night-2.csv", "2026-03-16");
    compared = differing = 0;
    agree(demo_file("night-3.csv"), office, "2026-04-20");
    agree(demo_file("night-1.csv"), office, "2026-04-20");
    assert_true(compared > 600 && differing * 20 < compared);
    print_message("%zu comparisons, %zu differ in findings of the office's own\n", compared, differing);
}

static int begin(void **state)
{
    (void)state;
    folder = pack_folder();
    make_keys(folder, "key");
    key = words("%s/key.pub", folder);
    return 0;
}

static int end(void **state)
{
    (void)state;
    shell("rm -rf '%s'", folder);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(before_anything_is_posted),
        cmocka_unit_test(after_two_nights),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
