/* The analysis of single tables against brute force: random small tables of every hit policy, with null, lists,
 * intervals and negations, are asked at every point of a grid that is finer than their literals. The analysis
 * must find the same gaps, overlaps and dead rows, point by point.
 */
#include "table_kit.h"

#include <time.h>

#include "base/decimal.h"
#include "rules/lint_table.h"

enum { MOST_ROWS = 7, MOST_COLUMNS = 3, MOST_GRID = 24, RANDOM_TABLES = 24000 };

/* --- Random tables -------------------------------------------------------------------------------- */

/* Literals of a column, and the grid it is asked on: the literals, what lies between and beyond, null. */
struct axis {
    const char *fact;
    const char *literals[5];
    int literal_count;
    const char *grid[MOST_GRID];
    int grid_count;
    bool ordered;
};

static const struct axis AXES[] = {
    {"n",
     {"1", "2", "2.5", "4"},
     4,
     {"null", "0", "1", "1.5", "2", "2.000001", "2.5", "3", "4", "4.000001"},
     10,
     true},
    {"t", {"A", "B", "C"}, 3, {"null", "A", "B", "C", "0", "AA", "BB", "Z"}, 8, true},
    {"d",
     {"2026-01-01", "2026-01-02", "2026-01-05"},
     3,
     {"null", "2025-12-31", "2026-01-01", "2026-01-02", "2026-01-03", "2026-01-05", "2026-02-01"},
     7,
     true},
    {"b", {"true", "false"}, 2, {"null", "true", "false"}, 3, false},
    {"word", {"x", "Y", "z"}, 3, {"null", "X", "x", "y", "Y", "Z", "w"}, 7, false},
};
enum { AXES_COUNT = sizeof AXES / sizeof *AXES };

struct random_table {
    const struct axis *axes[MOST_COLUMNS];
    int columns, rows;
    const char *policy;
    bool has_values;
    char csv[4096];
};

static const char *random_literal(const struct axis *axis, uint64_t *seed)
{
    return axis->literals[random_below(seed, (uint64_t)axis->literal_count)];
}

static void random_interval(const struct axis *axis, uint64_t *seed, char *room)
{
    uint64_t low = random_below(seed, (uint64_t)axis->literal_count);
    uint64_t high = low + random_below(seed, (uint64_t)axis->literal_count - low);

    sprintf(room, "%c%s..%s%c", "[(]"[random_below(seed, 3)], axis -> literals[low], axis -> literals[high],
            "])["[random_below(seed, 3)]);
}

static void random_test(const struct axis *axis, uint64_t *seed, char *room)
{
    static const char *const orders[] = {"<", "<=", ">", ">="};

    switch (random_below(seed, axis->ordered ? 6 : 3)) {
    case 0: strcpy(room, "null"); break;
    case 1:
    case 2: strcpy(room, random_literal(axis, seed)); break;
    case 3: sprintf(room, "%s %s", orders[random_below(seed, 4)], random_literal(axis, seed)); break;
    default: random_interval(axis, seed, room);
    }
}

static void random_list(const struct axis *axis, uint64_t *seed, char *room)
{
    char test[80];

    room[0] = '\0';
    for (uint64_t left = 1 + random_below(seed, 3); left > 0; left--) {
        random_test(axis, seed, test);
        sprintf(room + strlen(room), "%s%s", room[0] != '\0' ? ", " : "", test);
    }
}

static void random_cell(const struct axis *axis, uint64_t *seed, char *room)
{
    char list[300];
    uint64_t kind = random_below(seed, 8);

    random_list(axis, seed, list);
    if (kind < 2)
        strcpy(room, "-");
    else
        sprintf(room, kind == 2 ? "not(%s)" : "%s", list);
}

static void add_row(struct random_table *table, struct buffer *csv, int row, uint64_t *seed)
{
    char cell[320];

    buffer_format(csv, "r%d", row);
    for (int c = 0; c < table->columns; c++) {
        random_cell(table->axes[c], seed, cell);
        buffer_add_byte(csv, ',');
        kit_add_cell(csv, cell);
    }
    buffer_format(csv, ",%d\n", (int)random_below(seed, 2) + 1);
}

static void random_table(struct random_table *table, uint64_t *seed)
{
    static const char *const policies[] = {"U", "A", "P", "F", "R", "O", "C", "C+", "C<", "C>", "C#"};
    struct buffer csv = BUFFER_EMPTY;

    table->columns = 1 + (int)random_below(seed, MOST_COLUMNS);
    table->rows = 1 + (int)random_below(seed, MOST_ROWS);
    table->policy = policies[random_below(seed, sizeof policies / sizeof *policies)];
    table->has_values = random_below(seed, 3) == 0;
    uint64_t first = random_below(seed, AXES_COUNT), step = 1 + random_below(seed, AXES_COUNT - 1);
    for (int c = 0; c < table->columns; c++)
        table->axes[c] = &AXES[(first + (uint64_t)c * step) % AXES_COUNT];
    buffer_add_string(&csv, table->policy);
    for (int c = 0; c < table->columns; c++)
        buffer_format(&csv, ",%s", table->axes[c]->fact);
    buffer_add_string(&csv, ",>out\n");
    bool ranked = table->policy[0] == 'P' || table->policy[0] == 'O';
    if (table->has_values || ranked) {
        char cell[320];
        buffer_add_string(&csv, "values");
        for (int c = 0; c < table->columns; c++) {
            random_list(table->axes[c], seed, cell);
            buffer_add_byte(&csv, ',');
            kit_add_cell(&csv, table->has_values && random_below(seed, 2) ? cell : "");
        }
        buffer_add_string(&csv, ranked ? ",\"2, 1\"\n" : ",\n");
    }
    for (int row = 0; row < table->rows; row++)
        add_row(table, &csv, row, seed);
    snprintf(table->csv, sizeof table->csv, "%.*s", TEXT_ARGUMENTS(buffer_text(&csv)));
    buffer_free(&csv);
}

/* --- Brute force ---------------------------------------------------------------------------------- */

enum { MOST_POINTS = MOST_GRID * MOST_GRID * MOST_GRID };

struct force {
    struct kit *kit;
    const struct random_table *table;
    int point_count;
    uint64_t hits[MOST_POINTS]; /* of each point: its rows */
    struct value points[MOST_POINTS][MOST_COLUMNS];
    bool in_domain[MOST_POINTS];
};

static bool is_in_domain(const struct force *force, const struct value *point)
{
    const struct table *table = force->kit->table;

    for (uint32_t c = 0; c < table_condition_count(table); c++) {
        const struct cell *domain = table_condition_domain(table, c);
        struct evaluation evaluation = {.any_case = table_condition_fact(table, c).any_case};
        if (domain != NULL && cell_test_value(domain, point[c], &evaluation) != TRUTH_HOLDS)
            return false;
    }
    return true;
}

static void ask_point(struct force *force, const struct value *point)
{
    struct kit *kit = force->kit;
    uint64_t rows = 0;
    uint32_t row;

    for (int i = 0; i < KIT_COUNT; i++)
        kit->facts[i] = value_null();
    for (int c = 0; c < force->table->columns; c++)
        kit->facts[table_condition_fact(kit->table, (uint32_t)c).slot] = point[c];
    table_match_early(kit->table, kit->facts, &rows);
    assert_int_equal(table_match_late(kit->table, kit->facts, kit->scratch, &rows, &row), WM_OK);
    memcpy(force->points[force->point_count], point, sizeof force->points[0]);
    force->in_domain[force->point_count] = is_in_domain(force, point);
    force->hits[force->point_count++] = rows;
}

static void ask_grid(struct force *force, int column, struct value *point)
{
    const struct axis *axis = column < force->table->columns ? force->table->axes[column] : NULL;

    if (axis == NULL) {
        ask_point(force, point);
        return;
    }
    enum value_type type = table_condition_fact(force->kit->table, (uint32_t)column).type;
    for (int i = 0; i < axis->grid_count; i++) {
        point[column] = kit_value(type, axis->grid[i]);
        ask_grid(force, column + 1, point);
    }
}

static bool forced_overlap(const struct force *force, uint32_t one, uint32_t other)
{
    uint64_t both = UINT64_C(1) << one | UINT64_C(1) << other;

    for (int i = 0; i < force->point_count; i++)
        if (force->in_domain[i] && (force->hits[i] & both) == both)
            return true;
    return false;
}

/* Whether the row's hit counts at some point. */
static bool forced_life(const struct force *force, uint32_t row)
{
    const struct table *table = force->kit->table;
    enum hit_policy policy = table_policy(table);

    for (int i = 0; i < force->point_count; i++) {
        bool lives = force->in_domain[i] && force->hits[i] >> row & 1;
        for (uint32_t other = 0; lives && other < table_row_count(table); other++) {
            bool before = policy == HIT_FIRST ? other < row
                                              : policy == HIT_PRIORITY && table_row_priority(table, other) <
                                                                              table_row_priority(table, row);
            lives = !(before && force->hits[i] >> other & 1);
        }
        if (lives)
            return true;
    }
    return false;
}

/* --- The analysis --------------------------------------------------------------------------------- */

struct analysis {
    const struct lint_space *space;
    bool overlaps[MOST_ROWS][MOST_ROWS], dead[MOST_ROWS];
    const uint64_t *gaps[512];
    int gap_count;
};

static int take_case(void *context, const struct lint_case *found)
{
    struct analysis *analysis = context;

    assert_int_equal(found->answer, LINT_YES);
    if (found->kind == CASE_OVERLAP)
        analysis->overlaps[found->row][found->other_row] = true;
    else if (found->kind == CASE_GAP)
        analysis->gaps[analysis->gap_count++] = found->box;
    else
        analysis->dead[found->row] = true;
    assert_true(analysis->gap_count < 512);
    return WM_OK;
}

static void analyse(struct force *force, struct analysis *analysis)
{
    static const struct lint_knowledge nothing;
    const struct table *const *tables = (const struct table *const *)&force->kit->table;
    struct lint_space *space;
    struct lint_question question = LINT_QUESTION;

    assert_int_equal(lint_space_make(&force->kit->arena, tables, 1, &nothing, &space), WM_OK);
    *analysis = (struct analysis){.space = space};
    struct lint_table table = {space, 0, NULL};
    assert_int_equal(lint_overlaps(&table, take_case, analysis), WM_OK);
    assert_int_equal(lint_dead_rows(&table, take_case, analysis), WM_OK);
    question.avoid = lint_rows_of_table(space, 0);
    assert_int_equal(lint_gaps(space, &question, take_case, analysis), WM_OK);
}

/* How many of the gaps have this point. */
static int gaps_with(const struct analysis *analysis, const struct force *force, const struct value *point)
{
    int count = 0;

    for (int g = 0; g < analysis->gap_count; g++) {
        bool inside = true;
        for (int c = 0; c < force->table->columns && inside; c++) {
            int dim = lint_dim_of(analysis->space, table_condition_fact(force->kit->table, (uint32_t)c).slot);
            int class_number = lint_class_of(&analysis->space->dims[dim], point[c]);
            assert_true(class_number >= 0);
            inside = lint_box_has(analysis->space, analysis->gaps[g], (uint32_t)dim, (uint32_t)class_number);
        }
        count += inside;
    }
    return count;
}

/* --- Both together -------------------------------------------------------------------------------- */

static size_t tables_with_gap, tables_with_overlap, tables_with_dead_row;

static int compare(const struct force *force, const struct analysis *analysis)
{
    const struct table *table = force->kit->table;
    enum hit_policy policy = table_policy(table);
    bool compared = policy == HIT_UNIQUE || policy == HIT_ANY, overlap = false, dead = false;
    int differences = 0;

    for (uint32_t row = 0; row < table_row_count(table); row++) {
        differences += analysis->dead[row] != !forced_life(force, row);
        dead = dead || analysis->dead[row];
        for (uint32_t other = row + 1; compared && other < table_row_count(table); other++) {
            bool forced = forced_overlap(force, row, other) &&
                          !(policy == HIT_ANY && lint_outputs_equal(table, row, other));
            differences += forced != analysis->overlaps[row][other];
            overlap = overlap || forced;
        }
    }
    for (int i = 0; i < force->point_count; i++)
        differences += gaps_with(analysis, force, force->points[i]) !=
                       (force->in_domain[i] && force->hits[i] == 0 ? 1 : 0);
    tables_with_gap += analysis->gap_count > 0;
    tables_with_overlap += overlap;
    tables_with_dead_row += dead;
    return differences;
}

static int compare_table(const struct random_table *random)
{
    static struct force force;
    static struct analysis analysis;
    struct kit kit;
    struct value point[MOST_COLUMNS] = {0};

    kit_start(&kit, random->csv, (struct table_rules){.policies = HIT_ALL_POLICIES});
    if (kit.status != WM_OK) {
        kit_end(&kit);
        return -1;
    }
    force.kit = &kit;
    force.table = random;
    force.point_count = 0;
    ask_grid(&force, 0, point);
    analyse(&force, &analysis);
    int differences = compare(&force, &analysis);
    if (differences > 0)
        print_error("%d differences in\n%s\n", differences, random->csv);
    kit_end(&kit);
    return differences;
}

static void analysis_is_as_brute_force(void **state)
{
    uint64_t seed = random_seed("random tables against brute force");
    size_t tables = (size_t)random_times(RANDOM_TABLES), some = tables / 24, compared = 0, different = 0;
    (void)state;

    while (compared < tables && different < 5) {
        struct random_table random;
        random_table(&random, &seed);
        int differences = compare_table(&random);
        compared += differences >= 0;
        different += differences > 0;
    }
    print_message("%zu tables compared, %zu different; %zu had a gap, %zu an overlap, %zu a dead row\n",
                  compared, different, tables_with_gap, tables_with_overlap, tables_with_dead_row);
    assert_int_equal(different, 0);
    assert_true(tables_with_gap > some && tables_with_gap < compared && tables_with_overlap > some &&
                tables_with_dead_row > some);
}

/* --- Size ----------------------------------------------------------------------------------------- */

static int count_case(void *context, const struct lint_case *found)
{
    size_t *counts = context;

    counts[found->answer == LINT_TOO_LARGE ? 3
           : found->kind == CASE_OVERLAP   ? 0
           : found->kind == CASE_GAP       ? 2
                                           : 1]++;
    return WM_OK;
}

static const char *const SIZE_FACTS[] = {"n", "m", "late_n", "t", "u",          "late_t",
                                         "d", "e", "b",      "c", "model_year", "engine"};
enum { SIZE_COLUMNS = sizeof SIZE_FACTS / sizeof *SIZE_FACTS, SIZE_ROWS = 200 };

/* Cuts a box of the space in two, again and again: rows that together are everything, and none met by another.
 */
struct cut_row {
    int low[SIZE_COLUMNS], high[SIZE_COLUMNS];
};

static void write_range(struct buffer *csv, int column, int low, int high, int most)
{
    static const enum value_type types[SIZE_COLUMNS] = {VALUE_NUMBER,  VALUE_NUMBER,  VALUE_NUMBER, VALUE_TEXT,
                                                        VALUE_TEXT,    VALUE_TEXT,    VALUE_DATE,   VALUE_DATE,
                                                        VALUE_BOOLEAN, VALUE_BOOLEAN, VALUE_NUMBER, VALUE_TEXT};
    struct buffer cell = BUFFER_EMPTY;

    if (low == 0 && high == most) {
        buffer_add_string(csv, ",-");
        return;
    }
    for (int i = low; i <= high; i++) {
        buffer_add_string(&cell, i > low ? ", " : "");
        if (types[column] == VALUE_NUMBER)
            buffer_format(&cell, "%d", i);
        else if (types[column] == VALUE_TEXT)
            buffer_format(&cell, "\"w%d\"", i);
        else if (types[column] == VALUE_DATE)
            buffer_format(&cell, "2026-01-%02d", i + 1);
        else
            buffer_add_string(&cell, i ? "true" : "false");
    }
    buffer_add_byte(&cell, '\0');
    buffer_add_byte(csv, ',');
    kit_add_cell(csv, cell.bytes);
    buffer_free(&cell);
}

static void write_size_row(struct buffer *csv, const char *name, const struct cut_row *row)
{
    buffer_add_string(csv, name);
    for (int c = 0; c < SIZE_COLUMNS; c++)
        write_range(csv, c, row->low[c], row->high[c],
                    strlen(SIZE_FACTS[c]) == 1 && strchr("bc", SIZE_FACTS[c][0]) ? 1 : 7);
    buffer_add_string(csv, ",1\n");
}

static void cut_space(struct cut_row *rows, uint64_t *seed)
{
    int count = 1;

    rows[0] = (struct cut_row){{0}, {0}};
    for (int c = 0; c < SIZE_COLUMNS; c++)
        rows[0].high[c] = SIZE_FACTS[c][1] == '\0' && strchr("bc", SIZE_FACTS[c][0]) ? 1 : 7;
    while (count < SIZE_ROWS) {
        struct cut_row *row = &rows[random_below(seed, (uint64_t)count)];
        uint64_t column = random_below(seed, SIZE_COLUMNS);
        if (row->low[column] == row->high[column])
            continue;
        rows[count] = *row;
        int at = row->low[column] + (int)random_below(seed, (uint64_t)(row->high[column] - row->low[column]));
        row->high[column] = at;
        rows[count++].low[column] = at + 1;
    }
}

/* The CSV of a complete table without overlaps; `without`: a row to leave out, `doubled`: one to have twice. */
static void size_table(struct buffer *csv, const struct cut_row *rows, int without, int doubled)
{
    struct cut_row all = rows[0];
    char name[16];

    buffer_add_string(csv, "U");
    for (int c = 0; c < SIZE_COLUMNS; c++) {
        buffer_format(csv, ",%s", SIZE_FACTS[c]);
        all.low[c] = 0;
        all.high[c] = SIZE_FACTS[c][1] == '\0' && strchr("bc", SIZE_FACTS[c][0]) ? 1 : 7;
    }
    buffer_add_string(csv, ",>out\nvalues");
    for (int c = 0; c < SIZE_COLUMNS; c++)
        write_range(csv, c, all.low[c], all.high[c], -1);
    buffer_add_string(csv, ",\n");
    for (int i = 0; i < SIZE_ROWS; i++) {
        snprintf(name, sizeof name, "r%d", i);
        if (i != without)
            write_size_row(csv, name, &rows[i]);
        if (i == doubled)
            write_size_row(csv, "again", &rows[i]);
    }
    buffer_add_byte(csv, '\0');
}

static void look_at_size(const struct cut_row *rows, int without, int doubled, size_t counts[4])
{
    static const struct lint_knowledge nothing;
    struct buffer csv = BUFFER_EMPTY;
    struct kit kit;
    struct lint_space *space;
    struct lint_question question = LINT_QUESTION;
    struct timespec start, end;

    size_table(&csv, rows, without, doubled);
    kit_good(&kit, csv.bytes);
    clock_gettime(CLOCK_MONOTONIC, &start);
    assert_int_equal(lint_space_make(&kit.arena, (const struct table *const *)&kit.table, 1, &nothing, &space),
                     WM_OK);
    struct lint_table table = {space, 0, NULL};
    memset(counts, 0, 4 * sizeof *counts);
    assert_int_equal(lint_overlaps(&table, count_case, counts), WM_OK);
    assert_int_equal(lint_dead_rows(&table, count_case, counts), WM_OK);
    question.avoid = lint_rows_of_table(space, 0);
    assert_int_equal(lint_gaps(space, &question, count_case, counts), WM_OK);
    clock_gettime(CLOCK_MONOTONIC, &end);
    int64_t took_ms = (end.tv_sec - start.tv_sec) * 1000 + (end.tv_nsec - start.tv_nsec) / 1000000;
    print_message("200 rows, 12 columns: %ld ms\n", (long)took_ms);
    assert_true(took_ms < 1000 || getenv("WM_SLOW") != NULL);
    kit_end(&kit);
    buffer_free(&csv);
}

static void large_tables_take_less_than_a_second(void **state)
{
    uint64_t seed = random_seed("large tables");
    static struct cut_row rows[SIZE_ROWS];
    size_t counts[4];
    (void)state;

    for (int i = 0; i < 8; i++) {
        cut_space(rows, &seed);
        look_at_size(rows, -1, -1, counts);
        assert_int_equal(counts[0] + counts[1] + counts[2] + counts[3], 0);
        look_at_size(rows, (int)random_below(&seed, SIZE_ROWS), (int)random_below(&seed, SIZE_ROWS), counts);
        assert_int_equal(counts[0] + counts[3], 1 * (counts[0] > 0));
        assert_true(counts[2] > 0);
    }
}

/* --- What takes too long is not proved ------------------------------------------------------------- */

/* A table of `rows` rows, each for a word of its own. */
static void words_table(struct buffer *csv, const char *policy, int rows)
{
    buffer_format(csv, "%s,t,>out\n", policy);
    for (int i = 0; i < rows; i++)
        buffer_format(csv, "r%d,w%d,1\n", i, i);
    buffer_add_byte(csv, '\0');
}

/* In a space with a second table that has the same fact. */
static void look_at_words(int rows, size_t counts[4])
{
    static const struct lint_knowledge nothing;
    struct lint_question question = LINT_QUESTION;
    struct buffer csv = BUFFER_EMPTY;
    struct lint_space *space;
    struct kit kit;

    words_table(&csv, "U", rows);
    kit_good(&kit, csv.bytes);
    const struct table *tables[] = {kit.table, kit.table};
    assert_int_equal(lint_space_make(&kit.arena, tables, 2, &nothing, &space), WM_OK);
    struct lint_table table = {space, 0, NULL};
    memset(counts, 0, 4 * sizeof *counts);
    assert_int_equal(lint_overlaps(&table, count_case, counts), WM_OK);
    assert_int_equal(lint_dead_rows(&table, count_case, counts), WM_OK);
    question.avoid = lint_rows_of_table(space, 0);
    assert_int_equal(lint_gaps(space, &question, count_case, counts), WM_OK);
    kit_end(&kit);
    buffer_free(&csv);
}

/* The only gap is a word that no row has, or none. Beyond some size nothing is asked: each of the three says so
 * once. */
static void tables_of_many_words(void **state)
{
    static const struct {
        int rows;
        size_t gaps, too_large;
    } cases[] = {{200, 1, 0}, {300, 1, 0}, {10100, 0, 3}, {16500, 0, 3}};
    (void)state;

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        size_t counts[4];
        look_at_words(cases[i].rows, counts);
        assert_int_equal(counts[0] + counts[1], 0);
        assert_int_equal(counts[2], cases[i].gaps);
        assert_int_equal(counts[3], cases[i].too_large);
    }
}

/* Facts x0, x1 and so on, all numbers. */
static bool find_numbered(void *context, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                          struct text *ret_nearest)
{
    int64_t number;
    (void)context;
    (void)declared;
    (void)ret_nearest;

    assert_true(name.length > 1 && name.bytes[0] == 'x');
    assert_int_equal(decimal_read((struct text){name.bytes + 1, name.length - 1}, 0, &number), NUMBER_OK);
    *ret_fact = (struct fact_ref){.slot = (uint32_t)(number / DECIMAL_ONE), .type = VALUE_NUMBER};
    return true;
}

static int count_to_hundred(void *context, const struct lint_case *found)
{
    size_t *gaps = context;

    assert_int_equal(found->answer, LINT_YES);
    return ++*gaps == 100 ? WM_LIMIT : WM_OK;
}

/* Whether some point of the table has no row; ret_gaps: how many such boxes there are, up to 100. */
static enum lint_answer ask_for_gap(const char *csv, size_t *ret_gaps)
{
    static const struct fact_source source = {NULL, find_numbered};
    static const struct lint_knowledge nothing;
    struct arena arena = ARENA_EMPTY;
    struct capture capture;
    struct table *table;
    struct lint_space *space;
    struct lint_question question = LINT_QUESTION;
    struct lint_found found;

    capture_start(&capture);
    assert_int_equal(table_compile(&arena, TEXT("t.csv"), text_of(csv),
                                   (struct table_rules){.policies = HIT_ALL_POLICIES}, &source, &capture.sink,
                                   &table),
                     WM_OK);
    assert_int_equal(lint_space_make(&arena, (const struct table *const *)&table, 1, &nothing, &space), WM_OK);
    question.avoid = lint_rows_of_table(space, 0);
    assert_non_null(question.avoid);
    assert_int_equal(lint_ask(space, &question, &found), WM_OK);
    *ret_gaps = 0;
    if (found.answer == LINT_YES)
        assert_int_equal(lint_gaps(space, &question, count_to_hundred, ret_gaps), WM_OK);
    table_free(table);
    arena_free(&arena);
    return found.answer;
}

/* Rows that each leave out one pair of numbers in two columns, `out` of 256 pairs: whether they leave out
 * everything, only a search through a large part of all numbers of all columns tells. Unsure: each row compares
 * one more fact with another one, too. */
static void write_puzzle(struct buffer *csv, int columns, int numbers, uint64_t out, bool unsure)
{
    uint64_t seed = 1; /* always the same puzzle */

    buffer_add_string(csv, "C");
    for (int c = 0; c < columns; c++)
        buffer_format(csv, ",x%d", c);
    buffer_format(csv, "%s,>out\nvalues", unsure ? ",x98" : "");
    for (int c = 0; c < columns; c++)
        for (int n = 0; n < numbers; n++)
            buffer_format(csv, "%s%d%s", n == 0 ? ",\"" : ", ", n, n + 1 == numbers ? "\"" : "");
    buffer_add_string(csv, unsure ? ",0,\n" : ",\n");
    for (int a = 0; a < columns; a++)
        for (int b = a + 1; b < columns; b++)
            for (int pair = 0; pair < numbers * numbers; pair++) {
                if (random_below(&seed, 256) >= out)
                    continue;
                buffer_format(csv, "r%d.%d.%d", a, b, pair);
                for (int c = 0; c < columns; c++)
                    if (c == a || c == b)
                        buffer_format(csv, ",%d", c == a ? pair / numbers : pair % numbers);
                    else
                        buffer_add_string(csv, ",-");
                buffer_add_string(csv, unsure ? ",> x99,1\n" : ",1\n");
            }
    buffer_add_byte(csv, '\0');
}

static void long_searches_are_given_up(void **state)
{
    static const struct {
        int columns, numbers;
        uint64_t out;
        bool unsure;
        enum lint_answer answer;
    } cases[] = {{8, 6, 60, false, LINT_YES},           {8, 6, 180, false, LINT_NO},
                 {8, 6, 180, true, LINT_MAYBE},         {14, 16, 85, false, LINT_TOO_LARGE},
                 {12, 20, 108, false, LINT_TOO_LARGE}, {14, 16, 85, true, LINT_TOO_LARGE}};
    (void)state;

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct buffer csv = BUFFER_EMPTY;
        write_puzzle(&csv, cases[i].columns, cases[i].numbers, cases[i].out, cases[i].unsure);
        size_t gaps;
        assert_int_equal(ask_for_gap(csv.bytes, &gaps), cases[i].answer);
        buffer_free(&csv);
    }
}

/* Only to list what holds where takes as many steps as a search may. */
static void a_search_given_up_before_it_begins(void **state)
{
    struct buffer csv = BUFFER_EMPTY;
    size_t gaps;
    (void)state;

    buffer_add_string(&csv, "C,x0,>out\n");
    for (int i = 0; i < 7050; i++)
        buffer_format(&csv, "r%d,%d,1\n", i, 2 * i);
    buffer_add_byte(&csv, '\0');
    assert_int_equal(ask_for_gap(csv.bytes, &gaps), LINT_TOO_LARGE);
    buffer_free(&csv);
}

/* A search has a bit for each column. */
static void as_many_columns_as_a_search_has(void **state)
{
    (void)state;
    for (int columns = 63; columns <= 65; columns++) {
        struct buffer csv = BUFFER_EMPTY;
        buffer_add_string(&csv, "C");
        for (int c = 0; c < columns; c++)
            buffer_format(&csv, ",x%d", c);
        buffer_add_string(&csv, ",>out\nlow");
        for (int c = 0; c < columns; c++)
            buffer_add_string(&csv, ",< 5");
        buffer_add_string(&csv, ",1\n");
        buffer_add_byte(&csv, '\0');
        size_t gaps;
        assert_int_equal(ask_for_gap(csv.bytes, &gaps), columns <= 64 ? LINT_YES : LINT_TOO_LARGE);
        assert_int_equal(gaps, columns <= 64 ? columns : 0);
        buffer_free(&csv);
    }
}

/* More gaps than are told, in as many columns as a rule is likely to have. */
static void many_gaps_in_many_columns(void **state)
{
    struct buffer csv = BUFFER_EMPTY;
    size_t gaps;
    (void)state;

    write_puzzle(&csv, 60, 3, 2, false);
    assert_int_equal(ask_for_gap(csv.bytes, &gaps), LINT_YES);
    assert_int_equal(gaps, 100);
    buffer_free(&csv);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(analysis_is_as_brute_force),
        cmocka_unit_test(large_tables_take_less_than_a_second),
        cmocka_unit_test(tables_of_many_words),
        cmocka_unit_test(long_searches_are_given_up),
        cmocka_unit_test(a_search_given_up_before_it_begins),
        cmocka_unit_test(as_many_columns_as_a_search_has),
        cmocka_unit_test(many_gaps_in_many_columns),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
