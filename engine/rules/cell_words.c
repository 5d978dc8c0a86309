#include "rules/cell_words.h"

static const struct text OPTION = {"option:", 7};
static const struct text INSPECTION = {"inspection:", 11};

static struct text behind(struct text name, struct text prefix)
{
    return (struct text){name.bytes + prefix.length, name.length - prefix.length};
}

void fact_words(struct text fact, struct buffer *out)
{
    if (text_starts_with(fact, OPTION))
        fact = behind(fact, OPTION);
    else if (text_starts_with(fact, INSPECTION))
        fact = behind(fact, INSPECTION);
    for (size_t i = 0; i < fact.length; i++)
        buffer_add_byte(out, fact.bytes[i] == '_' ? ' ' : fact.bytes[i]);
}

/* Facts whose values are known by sight: their name need not stand before them. */
static bool speaks_for_itself(struct text fact)
{
    static const char *const NAMES[] = {"model_line", "model_year", "engine", "transmission", "outcome"};

    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++)
        if (text_is(fact, NAMES[i]))
            return true;
    return false;
}

/* --- Tests ---------------------------------------------------------------------------------------- */

/* A text that says what words of a condition say, such as `R16 or R20` as one value. */
static bool could_be_words(struct text t)
{
    static const char *const BEGINNINGS[] = {"not ",       "any ",       "the ",
                                             "more than ", "less than ", "what matches "};
    static const char *const PARTS[] = {" or ", ", ", " to ", "\""};

    for (size_t i = 0; i < sizeof BEGINNINGS / sizeof *BEGINNINGS; i++)
        if (text_starts_with(t, text_of(BEGINNINGS[i])))
            return true;
    for (size_t i = 0; i < sizeof PARTS / sizeof *PARTS; i++)
        if (memmem(t.bytes, t.length, PARTS[i], strlen(PARTS[i])) != NULL)
            return true;
    return text_is(t, "nothing");
}

static void literal_words(struct value literal, struct buffer *out)
{
    struct text t = literal.type == VALUE_TEXT ? value_as_text(literal) : TEXT("");

    if (!could_be_words(t)) {
        value_write(literal, out);
        return;
    }
    buffer_add_byte(out, '"');
    for (size_t i = 0; i < t.length; i++) {
        if (t.bytes[i] == '"' || t.bytes[i] == '\\')
            buffer_add_byte(out, '\\');
        buffer_add_byte(out, t.bytes[i]);
    }
    buffer_add_byte(out, '"');
}

static void operand_words(const struct operand *operand, struct buffer *out)
{
    if (operand->fact != NULL) {
        buffer_add_string(out, "the ");
        fact_words(operand->fact->name, out);
    } else {
        literal_words(operand->literal, out);
    }
}

static void range_words(const struct test *test, enum value_type type, struct buffer *out)
{
    bool date = type == VALUE_DATE, both = test->has_low && test->has_high;

    if (both && !test->low_open && !test->high_open) {
        operand_words(&test->low, out);
        buffer_add_string(out, " to ");
        operand_words(&test->high, out);
        return;
    }
    if (test->has_low) {
        buffer_add_string(out, !test->low_open ? "" : date ? "after " : "more than ");
        operand_words(&test->low, out);
        buffer_add_string(out, test->low_open ? "" : date ? " or later" : " or more");
    }
    buffer_add_string(out, both ? ", and " : "");
    if (test->has_high) {
        buffer_add_string(out, !test->high_open ? "" : date ? "before " : "less than ");
        operand_words(&test->high, out);
        buffer_add_string(out, test->high_open ? "" : date ? " or before" : " or less");
    }
}

static void test_words(const struct test *test, enum value_type type, struct buffer *out)
{
    switch ((enum test_kind)test->kind) {
    case TEST_NULL: buffer_add_string(out, "nothing"); break;
    case TEST_EQUAL: operand_words(&test->high, out); break;
    case TEST_RANGE: range_words(test, type, out); break;
    case TEST_MATCHES: {
        struct text pattern = pattern_source(test->pattern);
        buffer_format(out, "what matches \"%.*s\"", TEXT_ARGUMENTS(pattern));
        break;
    }
    }
}

static void list_words(const struct cell *cell, enum value_type type, struct buffer *out)
{
    for (uint32_t i = 0; i < cell->test_count; i++) {
        buffer_add_string(out, i == 0 ? "" : i + 1 < cell->test_count ? ", " : " or ");
        test_words(&cell->tests[i], type, out);
    }
}

/* --- Cells ---------------------------------------------------------------------------------------- */

static bool is_one(const struct cell *cell, bool value)
{
    return cell->test_count == 1 && cell->tests[0].kind == TEST_EQUAL && cell->tests[0].high.fact == NULL &&
           (cell->tests[0].high.literal.number != 0) == value;
}

/* True where it said all: `with towing`. */
static bool option_words(const struct cell *cell, struct text fact, struct buffer *out)
{
    bool with = is_one(cell, true), without = is_one(cell, false);

    if (!text_starts_with(fact, OPTION) || (!with && !without))
        return false;
    buffer_add_string(out, with != cell->negated ? "with " : "without ");
    fact_words(fact, out);
    return true;
}

static bool is_only_null(const struct cell *cell)
{
    return cell->test_count == 1 && cell->tests[0].kind == TEST_NULL;
}

static bool null_words(const struct cell *cell, struct text fact, struct buffer *out)
{
    if (!is_only_null(cell))
        return false;
    fact_words(fact, out);
    if (text_starts_with(fact, INSPECTION))
        buffer_add_string(out, cell->negated ? " reported" : " not reported");
    else
        buffer_add_string(out, cell->negated ? " known" : " not known");
    return true;
}

void cell_words(const struct cell *cell, struct text fact, enum value_type type, struct buffer *out)
{
    if (cell->any) {
        buffer_add_string(out, "any ");
        fact_words(fact, out);
        return;
    }
    if (option_words(cell, fact, out) || null_words(cell, fact, out))
        return;
    if (!speaks_for_itself(fact)) {
        fact_words(fact, out);
        buffer_add_byte(out, ' ');
    }
    buffer_add_string(out, cell->negated ? "not " : "");
    list_words(cell, type, out);
}

void row_words(const struct table *table, uint32_t row, const bool *leave_out, const char *all,
               struct buffer *out)
{
    bool some = false;

    for (uint32_t c = 0; c < table_condition_count(table); c++) {
        const struct cell *cell = table_condition_test(table, c, row);
        if (cell->any || (leave_out != NULL && leave_out[c]))
            continue;
        buffer_add_string(out, some ? ", " : "");
        cell_words(cell, table_condition_name(table, c), table_condition_fact(table, c).type, out);
        some = true;
    }
    buffer_add_string(out, some ? "" : all);
}
