/* Every kind of result of the analysis of rules: fixtures/lint/changes.csv changes the demo rules so that they
 * have it (the fault) or nearly have it (the twin); fixtures/lint/expected.csv tells all that is then found. A
 * twin has nothing. Where a case has a file `register`, it is no file but the vehicles that are looked at, too.
 */
#include "program.h"

#include "base/status.h"
#include "rules/lint.h"
#include "tables/literal.h"

enum { MOST_RESULTS = 128, MOST_LISTED = 64 };

/* --- A rules folder in memory --------------------------------------------------------------------- */

struct folder {
    struct arena arena;
    struct rules_file list[MOST_LISTED];
    struct rules_files files;
    struct rules *rules;
    struct capture capture;
    const char *vehicles; /* NULL: no register is looked at */
    struct lint_fleet fleet;
};

static void folder_open(struct folder *folder)
{
    struct rules_files read;

    *folder = (struct folder){.arena = ARENA_EMPTY};
    capture_start(&folder->capture);
    assert_int_equal(rules_files_read("rules", &folder->arena, &folder->capture.sink, &read), WM_OK);
    assert_true(read.count < MOST_LISTED - 1);
    memcpy(folder->list, read.files, read.count * sizeof *read.files);
    folder->files = (struct rules_files){read.folder, folder->list, read.count};
}

static void folder_close(struct folder *folder)
{
    rules_free(folder->rules);
    arena_free(&folder->arena);
}

static int by_path(const void *a, const void *b)
{
    return text_compare(((const struct rules_file *)a)->path, ((const struct rules_file *)b)->path);
}

static struct rules_file *folder_file(struct folder *folder, const char *path)
{
    for (uint32_t i = 0; i < folder->files.count; i++)
        if (text_is(folder->list[i].path, path))
            return &folder->list[i];
    return NULL;
}

/* --- Changes -------------------------------------------------------------------------------------- */

/* What a row of changes.csv asks for. `column` is a header cell: its cell becomes `cell`. `-`: the row is taken
 * out, without a row the file. `=`: the file becomes `cell`. Row `+`: `cell` is a new first row; `.`: a new
 * last row.
 */
struct change {
    const char *file, *row, *column, *cell;
};

static void write_row(struct buffer *out, char **cells)
{
    for (size_t c = 0; cells[c] != NULL; c++) {
        buffer_add_string(out, c > 0 ? "," : "");
        buffer_add_csv(out, text_of(cells[c]));
    }
    buffer_add_byte(out, '\n');
}

static void change_rows(struct buffer *out, const struct csv_sheet *sheet, const struct change *change)
{
    bool done = change->row[0] == '+' || change->row[0] == '.';

    for (size_t r = 0; r < sheet->count; r++) {
        bool meant = strcmp(sheet->rows[r][0], change->row) == 0;
        done = done || meant;
        if (meant && strcmp(change->column, "-") == 0)
            continue;
        if (meant)
            sheet->rows[r][csv_column(sheet, change->column)] = words("%s", change->cell);
        write_row(out, sheet->rows[r]);
        if (r == 0 && change->row[0] == '+')
            buffer_format(out, "%s\n", change->cell);
    }
    if (change->row[0] == '.')
        buffer_format(out, "%s\n", change->cell);
    assert_true(done);
}

static void apply(struct folder *folder, const struct change *change)
{
    struct rules_file *file = folder_file(folder, change->file);
    struct buffer out = BUFFER_EMPTY;

    if (strcmp(change->file, "register") == 0) {
        folder->vehicles = words("%s", change->cell);
        return;
    }
    if (file == NULL) {
        assert_string_equal(change->column, "=");
        file = &folder->list[folder->files.count++];
        file->path = text_of(words("%s", change->file));
    }
    if (strcmp(change->column, "=") == 0) {
        file->bytes = text_of(words("%s", change->cell));
    } else if (change->row[0] == '\0') {
        *file = folder->list[--folder->files.count];
    } else {
        struct csv_sheet sheet = csv_sheet_read(words("%.*s", (int)file->bytes.length, file->bytes.bytes));
        change_rows(&out, &sheet, change);
        file->bytes = text_of(words("%.*s", TEXT_ARGUMENTS(buffer_text(&out))));
        buffer_free(&out);
    }
    qsort(folder->list, folder->files.count, sizeof *folder->list, by_path);
}

/* --- A register: a column a fact, the last one says how many vehicles are alike ----------------------- */

static uint32_t slot_named(const struct rules *rules, const char *name, enum value_type *ret_type)
{
    const struct dictionary *dictionary = rules->dictionary;

    for (int id = 0; id < FACT_COUNT; id++)
        if (strcmp(fact_kind((enum fact_id)id)->name, name) == 0 && dictionary->slot[id] >= 0) {
            *ret_type = fact_kind((enum fact_id)id)->type;
            return (uint32_t)dictionary->slot[id];
        }
    for (uint32_t i = 0; i < dictionary->named_count; i++)
        if (text_is(dictionary->named[i].name, name)) {
            *ret_type = VALUE_BOOLEAN;
            return dictionary->named[i].slot;
        }
    fail_msg("no table names %s", name);
    return 0;
}

static void read_register(struct folder *folder)
{
    struct csv_sheet sheet = csv_sheet_read(words("%s", folder->vehicles));
    struct lint_vehicle *vehicles = ARENA_ARRAY(&folder->arena, struct lint_vehicle, sheet.count);
    uint32_t slot_count = folder->rules->dictionary->slot_count, highest = 0;
    bool *slots = ARENA_ARRAY(&folder->arena, bool, slot_count);

    for (size_t row = 1; row < sheet.count; row++) {
        struct value *facts = ARENA_ARRAY(&folder->arena, struct value, slot_count);
        size_t c = 0;
        for (; sheet.rows[0][c + 1] != NULL; c++) {
            enum value_type type = VALUE_NULL;
            uint32_t slot = slot_named(folder->rules, sheet.rows[0][c], &type);
            const char *cell = words("%s", sheet.rows[row][c]);
            slots[slot] = true;
            highest = slot > highest ? slot : highest;
            if (type == VALUE_TEXT && cell[0] != '\0')
                facts[slot] = value_text(text_of(cell));
            else if (cell[0] != '\0')
                assert_null(literal_read(text_of(cell), type, &facts[slot]).wrong);
        }
        vehicles[row - 1] = (struct lint_vehicle){facts, strtoul(sheet.rows[row][c], NULL, 10)};
    }
    folder->fleet = (struct lint_fleet){vehicles, (uint32_t)sheet.count - 1, slots, highest + 1};
    csv_sheet_free(&sheet);
}

/* --- What is found -------------------------------------------------------------------------------- */

/* One line each: `severity kind file:line:column wrong | advice | example`. */
struct results {
    char *lines[MOST_RESULTS];
    size_t count;
};

static int take(void *context, const struct lint_result *result)
{
    struct results *results = context;

    assert_true(results->count < MOST_RESULTS);
    assert_true(result->wrong.length > 0 && result->advice.length > 0);
    const char *counted = result->counted ? words(" (%d)", (int)result->vehicles) : "";
    results->lines[results->count++] =
        words("%s %s %.*s:%d:%u %.*s | %.*s | %.*s%s", lint_severity_name(result->severity),
              lint_kind_name(result->kind), TEXT_ARGUMENTS(result->place.file), (int)result->place.line,
              result->place.column, TEXT_ARGUMENTS(result->wrong), TEXT_ARGUMENTS(result->advice),
              TEXT_ARGUMENTS(result->example), counted);
    return WM_OK;
}

static void lint_folder(struct folder *folder, struct results *results)
{
    struct lint_summary summary;

    *results = (struct results){.count = 0};
    if (rules_compile(&folder->arena, &folder->files, &folder->capture.sink, &folder->rules) != WM_OK)
        fail_msg("%s", folder->capture.text);
    if (folder->vehicles != NULL)
        read_register(folder);
    assert_int_equal(lint_rules(folder->rules, folder->vehicles != NULL ? &folder->fleet : NULL, take, results,
                                &summary),
                     WM_OK);
    assert_int_equal(summary.found[LINT_ERROR] + summary.found[LINT_WARNING] + summary.found[LINT_NOTE],
                     results->count);
}

static void lint_case(const struct csv_sheet *changes, const char *name, const char *is,
                      struct results *results)
{
    struct folder folder;
    size_t applied = 0;

    folder_open(&folder);
    for (size_t r = 1; r < changes->count; r++) {
        if (strcmp(csv_at(changes, r, "case"), name) != 0 || strcmp(csv_at(changes, r, "is"), is) != 0)
            continue;
        apply(&folder, &(struct change){csv_at(changes, r, "file"), csv_at(changes, r, "row"),
                                        csv_at(changes, r, "column"), csv_at(changes, r, "cell")});
        applied++;
    }
    assert_true(applied > 0);
    lint_folder(&folder, results);
    folder_close(&folder);
}

/* --- Cases ---------------------------------------------------------------------------------------- */

static bool is_first_of_case(const struct csv_sheet *changes, size_t row)
{
    return row == 1 || strcmp(csv_at(changes, row, "case"), csv_at(changes, row - 1, "case")) != 0;
}

/* All lines of expected.csv for a case, in any order. */
static size_t missing(const struct csv_sheet *expected, const char *name, const struct results *results)
{
    size_t wrong = 0, known = 0;

    for (size_t i = 0; i < results->count; i++) {
        bool found = false;
        for (size_t r = 1; r < expected->count; r++)
            found = found || (strcmp(csv_at(expected, r, "case"), name) == 0 &&
                              strcmp(csv_at(expected, r, "result"), results->lines[i]) == 0);
        if (!found)
            print_error("%s,%s\n", name, results->lines[i]);
        wrong += !found;
    }
    for (size_t r = 1; r < expected->count; r++)
        known += strcmp(csv_at(expected, r, "case"), name) == 0;
    if (known != results->count)
        print_error("%s: %zu expected, %zu found\n", name, known, results->count);
    return wrong + (known != results->count);
}

static void each_kind_is_found_and_its_twin_is_clean(void **state)
{
    struct csv_sheet changes = csv_sheet_of_file("fixtures/lint/changes.csv");
    struct csv_sheet expected = csv_sheet_of_file("fixtures/lint/expected.csv");
    size_t wrong = 0, cases = 0;
    (void)state;

    for (size_t r = 1; r < changes.count; r++) {
        const char *name = csv_at(&changes, r, "case");
        struct results fault, twin;
        if (!is_first_of_case(&changes, r))
            continue;
        lint_case(&changes, name, "fault", &fault);
        lint_case(&changes, name, "twin", &twin);
        wrong += missing(&expected, name, &fault);
        for (size_t i = 0; i < twin.count; i++)
            print_error("%s has a twin with: %s\n", name, twin.lines[i]);
        wrong += twin.count;
        cases++;
    }
    print_message("%zu cases\n", cases);
    assert_int_equal(wrong, 0);
    csv_sheet_free(&changes);
    csv_sheet_free(&expected);
}

static void demo_rules_are_clean(void **state)
{
    struct folder folder;
    struct results results;
    (void)state;

    folder_open(&folder);
    lint_folder(&folder, &results);
    assert_int_equal(results.count, 0);
    folder_close(&folder);
}

/* A check with a row for each of so many words. What cannot be looked at is said, and nothing else is found; two
 * words that are nearly alike are not found behind the first thousands.
 */
static void checks_too_large_to_be_looked_at(void **state)
{
    struct buffer csv = BUFFER_EMPTY;
    struct folder folder;
    struct results results;
    (void)state;

    buffer_add_string(&csv, "U,technician,outcome,>finding,>effect,>message\n");
    for (int i = 0; i < 10100; i++)
        buffer_format(&csv, "r%d,%d%d%d,-,,,\n", i, i, i, i);
    buffer_add_string(&csv, "m0,\"\"\"Anna-Berg\"\", \"\"Anna-Berg\"\"\",-,,,\nm1,Anna-Berk,-,,,\n");
    buffer_add_byte(&csv, '\0');
    folder_open(&folder);
    apply(&folder, &(struct change){"checks/claim/extra.csv", "", "=", csv.bytes});
    lint_folder(&folder, &results);
    assert_int_equal(results.count, 2);
    assert_string_equal(results.lines[0],
                        "note not-proved checks/claim/extra.csv:1:1 it was not proved that no two rows of this table "
                        "meet in error: that would take too long | check it by hand | ");
    assert_string_equal(results.lines[1],
                        "note not-proved checks/claim/extra.csv:1:1 it was not proved that every row of this table can "
                        "be reached: that would take too long | check it by hand | ");
    folder_close(&folder);
    buffer_free(&csv);
}

/* --- Days ----------------------------------------------------------------------------------------- */

/* The days at which tables cut built_on, each once and in order. */
static void days_are_those_that_tables_name(void **state)
{
    static const struct {
        const char *file, *row, *cell, *days;
    } cases[] = {
        {"campaigns/H26-02/eligibility.csv", "second", "<= 2022-05-31", "2022-05-31 "},
        {"campaigns/H26-02/eligibility.csv", "second", "[2020-02-03..2021-04-05)",
         "2020-02-03 2021-04-05 2022-05-31 "},
        {"campaigns/H26-02/eligibility.csv", "second", "2020-02-03, 2020-02-03, >= 2019-01-01, null",
         "2019-01-01 2020-02-03 2022-05-31 "},
        {"campaigns/H26-02/eligibility.csv", "values", "[2018-01-01..2023-12-31]",
         "2018-01-01 2022-05-31 2023-12-31 "},
        {"campaigns/H26-02/eligibility.csv", "second", "<= built_on", "2022-05-31 "}, /* no day of its own */
        {"campaigns/H26-02/eligibility.csv", "F", "plant", ""},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct folder folder;
        struct buffer found = BUFFER_EMPTY;
        int32_t *days;
        uint32_t count;
        folder_open(&folder);
        apply(&folder, &(struct change){cases[i].file, cases[i].row, "built_on", cases[i].cell});
        if (cases[i].days[0] == '\0')
            for (int k = 0; k < 2; k++)
                apply(&folder, &(struct change){cases[i].file, k == 0 ? "second" : "third", "plant", "Northfold"});
        if (rules_compile(&folder.arena, &folder.files, &folder.capture.sink, &folder.rules) != WM_OK)
            fail_msg("%s", folder.capture.text);
        assert_int_equal(lint_days(folder.rules, &folder.arena, &days, &count), WM_OK);
        for (uint32_t d = 0; d < count; d++) {
            char day[DATE_ROOM];
            date_write(days[d], day);
            buffer_format(&found, "%s ", day);
        }
        buffer_add_byte(&found, '\0');
        assert_string_equal(found.bytes, cases[i].days);
        buffer_free(&found);
        folder_close(&folder);
    }
}

/* More days than there is room for at first. */
static void many_days(void **state)
{
    struct folder folder;
    struct buffer cell = BUFFER_EMPTY;
    int32_t *days;
    uint32_t count;
    (void)state;

    for (int i = 0; i < 100; i++)
        buffer_format(&cell, "%s%d-06-%02d", i == 0 ? "" : ", ", 2029 - i / 10, 1 + i % 10);
    buffer_add_byte(&cell, '\0');
    folder_open(&folder);
    apply(&folder, &(struct change){"campaigns/H26-02/eligibility.csv", "second", "built_on", cell.bytes});
    if (rules_compile(&folder.arena, &folder.files, &folder.capture.sink, &folder.rules) != WM_OK)
        fail_msg("%s", folder.capture.text);
    assert_int_equal(lint_days(folder.rules, &folder.arena, &days, &count), WM_OK);
    assert_int_equal(count, 101);
    for (uint32_t d = 1; d < count; d++)
        assert_true(days[d - 1] < days[d]);
    folder_close(&folder);
    buffer_free(&cell);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(demo_rules_are_clean),
        cmocka_unit_test(each_kind_is_found_and_its_twin_is_clean),
        cmocka_unit_test(checks_too_large_to_be_looked_at),
        cmocka_unit_test(days_are_those_that_tables_name),
        cmocka_unit_test(many_days),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
