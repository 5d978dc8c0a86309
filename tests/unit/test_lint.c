/* Every kind of result of the analysis of rules: fixtures/lint/changes.csv changes the demo rules so that they
 * have it (the fault) or nearly have it (the twin); fixtures/lint/expected.csv tells all that is then found. A
 * twin has nothing. Where a case has a file `register`, it is no file but the vehicles that are looked at, too.
 */
#include "program.h"

#include "base/status.h"
#include "rules/lint.h"
#include "tables/literal.h"

enum { MOST_RESULTS = 64, MOST_LISTED = 64 };

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
            enum value_type type;
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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(demo_rules_are_clean),
        cmocka_unit_test(each_kind_is_found_and_its_twin_is_clean),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
