/* slow_tables.h - decision tables the slow and obvious way, for comparison.
 *
 * A table is made up here as data, written out as CSV for the engine, and decided here by going through every row
 * and every test. Nothing of the engine's reading, classes or policies is used: only values and decimals.
 */
#ifndef WM_TEST_SLOW_TABLES_H
#define WM_TEST_SLOW_TABLES_H

#include "table_kit.h"

enum { SLOW_ROWS = 140, SLOW_COLUMNS = 5, SLOW_TESTS = 3, SLOW_OUTPUTS = 2 };

enum slow_kind { SLOW_NULL, SLOW_VALUE, SLOW_LESS, SLOW_LESS_EQUAL, SLOW_MORE, SLOW_MORE_EQUAL, SLOW_INTERVAL,
                 SLOW_MATCHES };

struct slow_end {
    int fact;                /* slot, or -1: the literal */
    struct value literal;
};

struct slow_test {
    enum slow_kind kind;
    struct slow_end low, high;     /* one value: low */
    bool low_open, high_open;
    int pattern;
};

struct slow_cell {
    bool any, negated;
    int count;
    struct slow_test tests[SLOW_TESTS];
};

struct slow_table {
    enum hit_policy policy;
    int row_count, column_count, output_count;
    int fact[SLOW_COLUMNS];
    struct slow_cell cells[SLOW_ROWS][SLOW_COLUMNS];
    int output[SLOW_ROWS][SLOW_OUTPUTS];       /* number of its value; SLOW_VALUES: empty */
    bool has_values[SLOW_OUTPUTS];
    int order[SLOW_OUTPUTS][4];                /* values rows: numbers of values in the order of priority */
};

/* --- Made up values ------------------------------------------------------------------------------------ */

static const int64_t SLOW_NUMBERS[] = {-1500000, -1000000, 0, 1, 500000, 1000000, 1500000, 2000000, 3000000, 5000000};
static const char *const SLOW_TEXTS[] = {"A", "B", "a", "b", "AB", "Ab", "b c", "\xc3\xa9", "1.6", "n", "t", "x\"y",
                                         "back\\slash", "a long text of many words"};
static const char *const SLOW_PATTERNS[] = {"^A", "b", "^.$", "[0-9]"};

/* Outputs are numbers in one column, words in the other. */
static const char *const SLOW_OUTPUT_NAMES[2][4] = {{"-1.5", "0", "2", "10"}, {"p", "q, r", "\xc3\xa9", "null-"}};
static const int64_t SLOW_OUTPUT_NUMBERS[4] = {-1500000, 0, 2000000, 10000000};
enum { SLOW_VALUES = 4 };

#define SLOW_COUNT(list) (sizeof(list) / sizeof *(list))

static struct value slow_value(uint64_t *seed, enum value_type type)
{
    switch (type) {
    case VALUE_NUMBER: return value_number(SLOW_NUMBERS[random_below(seed, SLOW_COUNT(SLOW_NUMBERS))]);
    case VALUE_TEXT: return value_text(text_of(SLOW_TEXTS[random_below(seed, SLOW_COUNT(SLOW_TEXTS))]));
    case VALUE_DATE: return value_date(20500 + (int32_t)random_below(seed, 6));
    case VALUE_BOOLEAN: return value_boolean(random_below(seed, 2));
    case VALUE_NULL: break;
    }
    return value_null();
}

static int slow_fact_of_type(uint64_t *seed, enum value_type type)
{
    for (;;) {
        int fact = (int)random_below(seed, KIT_COUNT);
        if (KIT_FACTS[fact].type == type)
            return fact;
    }
}

/* --- Making a table up --------------------------------------------------------------------------------- */

static int slow_compare(struct value a, struct value b)
{
    if (a.type != VALUE_TEXT)
        return a.number < b.number ? -1 : a.number > b.number;
    size_t shorter = a.length < b.length ? a.length : b.length;
    int order = memcmp(a.bytes, b.bytes, shorter);
    return order != 0 ? order : (int)a.length - (int)b.length;
}

static struct slow_end slow_make_end(uint64_t *seed, enum value_type type)
{
    struct slow_end end = {-1, slow_value(seed, type)};

    if (random_below(seed, 8) == 0)
        end.fact = slow_fact_of_type(seed, type);
    return end;
}

static struct slow_test slow_make_test(uint64_t *seed, enum value_type type)
{
    struct slow_test test = {.kind = SLOW_VALUE, .low = slow_make_end(seed, type), .high = slow_make_end(seed, type)};
    uint64_t choice = random_below(seed, 12);

    if (choice == 0)
        test.kind = SLOW_NULL;
    else if (type != VALUE_BOOLEAN && choice < 5)
        test.kind = (enum slow_kind)(SLOW_LESS + choice - 1);
    else if (type != VALUE_BOOLEAN && choice < 8)
        test.kind = SLOW_INTERVAL;
    else if (type == VALUE_TEXT && choice == 8)
        test.kind = SLOW_MATCHES;
    test.low_open = random_below(seed, 2);
    test.high_open = random_below(seed, 2);
    test.pattern = (int)random_below(seed, SLOW_COUNT(SLOW_PATTERNS));
    if (test.kind == SLOW_INTERVAL && test.low.fact < 0 && test.high.fact < 0 &&
        slow_compare(test.low.literal, test.high.literal) > 0) {
        struct slow_end low = test.low;
        test.low = test.high;
        test.high = low;
    }
    return test;
}

static struct slow_cell slow_make_cell(uint64_t *seed, enum value_type type)
{
    struct slow_cell cell = {.any = random_below(seed, 4) == 0, .negated = random_below(seed, 4) == 0};

    cell.count = 1 + (int)random_below(seed, SLOW_TESTS);
    for (int i = 0; i < cell.count; i++)
        cell.tests[i] = slow_make_test(seed, type);
    return cell;
}

static void slow_make_values(uint64_t *seed, struct slow_table *table, int output)
{
    for (int v = 0; v < SLOW_VALUES; v++)
        table->order[output][v] = v;
    for (int v = SLOW_VALUES - 1; v > 0; v--) {
        int other = (int)random_below(seed, (uint64_t)v + 1), kept = table->order[output][v];
        table->order[output][v] = table->order[output][other];
        table->order[output][other] = kept;
    }
}

static bool slow_has_column(const struct slow_table *table, int fact)
{
    for (int c = 0; c < table->column_count; c++)
        if (table->fact[c] == fact)
            return true;
    return false;
}

static void slow_make_table(uint64_t *seed, struct slow_table *table)
{
    /* cells are set one by one, as far as there are any: all of them are many */
    table->policy = (enum hit_policy)random_below(seed, HIT_COUNT + 1);
    table->column_count = 0;
    memset(table->has_values, 0, sizeof table->has_values);
    bool is_aggregate = table->policy >= HIT_SUM;
    bool is_ranked = table->policy == HIT_PRIORITY || table->policy == HIT_OUTPUT_ORDER;
    int columns = (int)random_below(seed, SLOW_COLUMNS + 1);

    table->output_count = is_aggregate ? 1 : 1 + (int)random_below(seed, SLOW_OUTPUTS);
    table->row_count = (int)random_below(seed, 40) == 0 ? SLOW_ROWS - (int)random_below(seed, 80)
                                                        : (int)random_below(seed, 9);
    while (table->column_count < columns) {
        int fact = (int)random_below(seed, KIT_COUNT);
        if (!slow_has_column(table, fact))
            table->fact[table->column_count++] = fact;
    }
    for (int o = 0; o < table->output_count; o++) {
        slow_make_values(seed, table, o);
        table->has_values[o] = is_ranked && (random_below(seed, 2) == 0 || o == table->output_count - 1);
    }
    for (int r = 0; r < table->row_count; r++) {
        for (int c = 0; c < table->column_count; c++)
            table->cells[r][c] = slow_make_cell(seed, KIT_FACTS[table->fact[c]].type);
        for (int o = 0; o < table->output_count; o++)
            table->output[r][o] = (int)random_below(seed, is_ranked || is_aggregate ? SLOW_VALUES : SLOW_VALUES + 1);
    }
}

/* --- Writing it as CSV --------------------------------------------------------------------------------- */

static void slow_blank(uint64_t *seed, struct buffer *out)
{
    for (uint64_t n = random_below(seed, 3); n > 1; n--)
        buffer_add_byte(out, ' ');
}

static void slow_write_quoted(struct text t, struct buffer *out)
{
    buffer_add_byte(out, '"');
    for (size_t i = 0; i < t.length; i++) {
        if (t.bytes[i] == '"' || t.bytes[i] == '\\')
            buffer_add_byte(out, '\\');
        buffer_add_byte(out, t.bytes[i]);
    }
    buffer_add_byte(out, '"');
}

static void slow_write_literal(uint64_t *seed, struct value v, struct buffer *out)
{
    struct text t = value_as_text(v);

    if (v.type == VALUE_TEXT) {
        bool must = kit_slot(t) >= 0 || memchr(t.bytes, '"', t.length) != NULL;
        if (must || random_below(seed, 2) == 0)
            slow_write_quoted(t, out);
        else
            buffer_add_text(out, t);
    } else if (v.type == VALUE_DATE && random_below(seed, 2) == 0) {
        buffer_add_string(out, "date(\"");
        value_write(v, out);
        buffer_add_string(out, "\")");
    } else {
        value_write(v, out);
    }
}

static void slow_write_end(uint64_t *seed, struct slow_end end, struct buffer *out)
{
    slow_blank(seed, out);
    if (end.fact >= 0)
        buffer_add_string(out, KIT_FACTS[end.fact].name);
    else
        slow_write_literal(seed, end.literal, out);
    slow_blank(seed, out);
}

static void slow_write_test(uint64_t *seed, const struct slow_test *test, struct buffer *out)
{
    static const char *const operators[] = {"", "", "<", "<=", ">", ">="};

    slow_blank(seed, out);
    switch (test->kind) {
    case SLOW_NULL:
        buffer_add_string(out, "null");
        break;
    case SLOW_MATCHES:
        buffer_format(out, "matches(?, \"%s\")", SLOW_PATTERNS[test->pattern]);
        break;
    case SLOW_INTERVAL:
        buffer_add_string(out, test->low_open ? random_below(seed, 2) ? "(" : "]" : "[");
        slow_write_end(seed, test->low, out);
        buffer_add_string(out, "..");
        slow_write_end(seed, test->high, out);
        buffer_add_string(out, test->high_open ? random_below(seed, 2) ? ")" : "[" : "]");
        break;
    default:
        buffer_add_string(out, operators[test->kind]);
        slow_write_end(seed, test->low, out);
        break;
    }
    slow_blank(seed, out);
}

static void slow_write_cell(uint64_t *seed, const struct slow_cell *cell, struct buffer *out)
{
    if (cell->any) {
        buffer_add_string(out, random_below(seed, 2) ? "-" : "");
        return;
    }
    buffer_add_string(out, cell->negated ? "not(" : "");
    for (int i = 0; i < cell->count; i++) {
        buffer_add_string(out, i > 0 ? "," : "");
        slow_write_test(seed, &cell->tests[i], out);
    }
    buffer_add_string(out, cell->negated ? ")" : "");
}

static void slow_add_cell(struct buffer *csv, struct buffer *cell)
{
    buffer_add_byte(csv, ',');
    buffer_add_byte(cell, '\0');
    kit_add_cell(csv, cell->bytes);
    buffer_clear(cell);
}

static void slow_write_values(const struct slow_table *table, struct buffer *csv, struct buffer *cell)
{
    buffer_add_string(csv, "values");
    for (int c = 0; c < table->column_count; c++)
        buffer_add_byte(csv, ',');
    for (int o = 0; o < table->output_count; o++) {
        for (int v = 0; table->has_values[o] && v < SLOW_VALUES; v++) {
            buffer_add_string(cell, v > 0 ? "," : "");
            if (o == 1)
                slow_write_quoted(text_of(SLOW_OUTPUT_NAMES[1][table->order[o][v]]), cell);
            else
                buffer_add_string(cell, SLOW_OUTPUT_NAMES[0][table->order[o][v]]);
        }
        slow_add_cell(csv, cell);
    }
    buffer_add_byte(csv, '\n');
}

/* The table as CSV, with a NUL behind. */
static void slow_write_table(uint64_t *seed, const struct slow_table *table, struct buffer *csv)
{
    static const char *const policies[] = {"U", "A", "P", "F", "R", "O", "C", "C+", "C<", "C>", "C#"};
    struct buffer cell = BUFFER_EMPTY;

    buffer_add_string(csv, policies[table->policy]);
    for (int c = 0; c < table->column_count; c++)
        buffer_format(csv, ",%s", KIT_FACTS[table->fact[c]].name);
    for (int o = 0; o < table->output_count; o++)
        buffer_format(csv, ",>out%d", o);
    buffer_add_byte(csv, '\n');
    buffer_add_string(csv, "type");
    for (int c = 0; c < table->column_count; c++)
        buffer_add_byte(csv, ',');
    buffer_add_string(csv, table->output_count > 1 ? ",number,text\n" : ",number\n");
    slow_write_values(table, csv, &cell);
    for (int r = 0; r < table->row_count; r++) {
        buffer_format(csv, "r%d", r);
        for (int c = 0; c < table->column_count; c++) {
            slow_write_cell(seed, &table->cells[r][c], &cell);
            slow_add_cell(csv, &cell);
        }
        for (int o = 0; o < table->output_count; o++) {
            if (table->output[r][o] < SLOW_VALUES)
                buffer_add_string(&cell, SLOW_OUTPUT_NAMES[o][table->output[r][o]]);
            slow_add_cell(csv, &cell);
        }
        buffer_add_byte(csv, '\n');
    }
    buffer_add_byte(csv, '\0');
    buffer_free(&cell);
}

/* --- Deciding ------------------------------------------------------------------------------------------ */

static char slow_letter(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c + 32) : c;
}

static bool slow_same(struct value a, struct value b, bool any_case)
{
    if (a.type == VALUE_NULL || b.type == VALUE_NULL)
        return a.type == b.type;
    if (a.type != VALUE_TEXT)
        return a.number == b.number;
    for (uint32_t i = 0; a.length == b.length && i < a.length; i++)
        if (any_case ? slow_letter(a.bytes[i]) != slow_letter(b.bytes[i]) : a.bytes[i] != b.bytes[i])
            return false;
    return a.length == b.length;
}

/* What the patterns of SLOW_PATTERNS find. */
static bool slow_matches(int pattern, struct value v)
{
    bool digit = false, b = false;
    size_t characters = 0;

    for (uint32_t i = 0; i < v.length; i++) {
        digit |= v.bytes[i] >= '0' && v.bytes[i] <= '9';
        b |= v.bytes[i] == 'b';
        characters += ((unsigned char)v.bytes[i] & 0xc0) != 0x80;
    }
    switch (pattern) {
    case 0: return v.length > 0 && v.bytes[0] == 'A';
    case 1: return b;
    case 2: return characters == 1;
    default: return digit;
    }
}

static struct value slow_of(struct slow_end end, const struct value *facts)
{
    return end.fact >= 0 ? facts[end.fact] : end.literal;
}

/* value OPERATOR other, where a null on either side is neither */
static enum truth slow_order(enum slow_kind kind, struct value value, struct value other)
{
    if (value.type == VALUE_NULL || other.type == VALUE_NULL)
        return TRUTH_NEITHER;
    int order = slow_compare(value, other);
    switch (kind) {
    case SLOW_LESS: return order < 0 ? TRUTH_HOLDS : TRUTH_FAILS;
    case SLOW_LESS_EQUAL: return order <= 0 ? TRUTH_HOLDS : TRUTH_FAILS;
    case SLOW_MORE: return order > 0 ? TRUTH_HOLDS : TRUTH_FAILS;
    default: return order >= 0 ? TRUTH_HOLDS : TRUTH_FAILS;
    }
}

static enum truth slow_test(const struct slow_test *test, int fact, const struct value *facts)
{
    struct value value = facts[fact], low = slow_of(test->low, facts), high = slow_of(test->high, facts);
    bool any_case = KIT_FACTS[fact].any_case || (test->low.fact >= 0 && KIT_FACTS[test->low.fact].any_case);

    switch (test->kind) {
    case SLOW_NULL:
        return value.type == VALUE_NULL ? TRUTH_HOLDS : TRUTH_FAILS;
    case SLOW_VALUE:
        return slow_same(value, low, any_case) ? TRUTH_HOLDS : TRUTH_FAILS;
    case SLOW_MATCHES:
        if (value.type == VALUE_NULL)
            return TRUTH_NEITHER;
        return slow_matches(test->pattern, value) ? TRUTH_HOLDS : TRUTH_FAILS;
    case SLOW_INTERVAL: {
        enum truth above = slow_order(test->low_open ? SLOW_MORE : SLOW_MORE_EQUAL, value, low);
        enum truth below = slow_order(test->high_open ? SLOW_LESS : SLOW_LESS_EQUAL, value, high);
        if (above == TRUTH_FAILS || below == TRUTH_FAILS)
            return TRUTH_FAILS;
        return above == TRUTH_NEITHER || below == TRUTH_NEITHER ? TRUTH_NEITHER : TRUTH_HOLDS;
    }
    default:
        return slow_order(test->kind, value, low);
    }
}

static enum truth slow_cell(const struct slow_cell *cell, int fact, const struct value *facts)
{
    int holds = 0, fails = 0;

    if (cell->any)
        return TRUTH_HOLDS;
    for (int i = 0; i < cell->count; i++) {
        enum truth truth = slow_test(&cell->tests[i], fact, facts);
        holds += truth == TRUTH_HOLDS;
        fails += truth == TRUTH_FAILS;
    }
    if (holds > 0)
        return cell->negated ? TRUTH_FAILS : TRUTH_HOLDS;
    if (fails == cell->count)
        return cell->negated ? TRUTH_HOLDS : TRUTH_FAILS;
    return TRUTH_NEITHER;
}

static bool slow_row(const struct slow_table *table, int row, const struct value *facts)
{
    for (int c = 0; c < table->column_count; c++)
        if (slow_cell(&table->cells[row][c], table->fact[c], facts) != TRUTH_HOLDS)
            return false;
    return true;
}

static int slow_rank(const struct slow_table *table, int output, int value)
{
    for (int v = 0; v < SLOW_VALUES; v++)
        if (table->order[output][v] == value)
            return v;
    return SLOW_VALUES;
}

/* Whether row a goes before row b under P and O. */
static bool slow_before(const struct slow_table *table, int a, int b)
{
    for (int o = 0; o < table->output_count; o++) {
        int first = slow_rank(table, o, table->output[a][o]), second = slow_rank(table, o, table->output[b][o]);
        if (table->has_values[o] && first != second)
            return first < second;
    }
    return a < b;
}

struct slow_result {
    enum table_fault fault;
    int first, second;
    int count;
    int rows[SLOW_ROWS];
    bool has_aggregate;
    int64_t aggregate;
};

static void slow_sort(const struct slow_table *table, struct slow_result *result)
{
    for (int i = 0; i < result->count; i++)
        for (int j = i + 1; j < result->count; j++)
            if (slow_before(table, result->rows[j], result->rows[i])) {
                int kept = result->rows[i];
                result->rows[i] = result->rows[j];
                result->rows[j] = kept;
            }
}

static void slow_aggregate(const struct slow_table *table, struct slow_result *result)
{
    result->has_aggregate = result->count > 0;
    for (int i = 0; i < result->count; i++) {
        int64_t number = SLOW_OUTPUT_NUMBERS[table->output[result->rows[i]][0]];
        if (table->policy == HIT_COUNT)
            result->aggregate += 1000000;
        else if (table->policy == HIT_SUM)
            result->aggregate += number;
        else if (i == 0 || (table->policy == HIT_MIN ? number < result->aggregate : number > result->aggregate))
            result->aggregate = number;
    }
}

static void slow_fault(struct slow_result *result, enum table_fault fault, int first, int second)
{
    *result = (struct slow_result){.fault = fault, .first = first, .second = second};
}

static void slow_decide(const struct slow_table *table, const struct value *facts, struct slow_result *result)
{
    *result = (struct slow_result){.fault = TABLE_OK};
    for (int r = 0; r < table->row_count; r++)
        if (slow_row(table, r, facts))
            result->rows[result->count++] = r;
    switch (table->policy) {
    case HIT_UNIQUE:
        if (result->count > 1)
            slow_fault(result, TABLE_TWO_HITS, result->rows[0], result->rows[1]);
        break;
    case HIT_ANY:
        for (int i = 1; i < result->count; i++)
            for (int o = 0; o < table->output_count; o++)
                if (table->output[result->rows[i]][o] != table->output[result->rows[0]][o]) {
                    slow_fault(result, TABLE_OUTPUTS_DIFFER, result->rows[0], result->rows[i]);
                    return;
                }
        result->count = result->count > 0;
        break;
    case HIT_PRIORITY:
        slow_sort(table, result);
        result->count = result->count > 0;
        break;
    case HIT_FIRST:
        result->count = result->count > 0;
        break;
    case HIT_OUTPUT_ORDER:
        slow_sort(table, result);
        break;
    case HIT_SUM: case HIT_MIN: case HIT_MAX: case HIT_COUNT:
        slow_aggregate(table, result);
        break;
    case HIT_RULE_ORDER: case HIT_COLLECT:
        break;
    }
}

#endif
