/* Random tables against the slow evaluator of slow_tables.h, and large ones against their own cells. */
#include "slow_tables.h"

#include "tables/parts.h"

static void random_facts(uint64_t *seed, struct value *facts)
{
    for (int f = 0; f < KIT_COUNT; f++)
        facts[f] = random_below(seed, 5) == 0 ? value_null() : slow_value(seed, KIT_FACTS[f].type);
}

static bool same_result(const struct slow_result *slow, const struct table_hits *hits)
{
    if (slow->fault != hits->fault || slow->count != (int)hits->count)
        return false;
    if (slow->fault != TABLE_OK)
        return slow->first == (int)hits->first_row && slow->second == (int)hits->second_row;
    for (int i = 0; i < slow->count; i++)
        if (slow->rows[i] != (int)hits->rows[i])
            return false;
    if (!slow->has_aggregate)
        return hits->aggregate.type == VALUE_NULL;
    return hits->aggregate.type == VALUE_NUMBER && hits->aggregate.number == slow->aggregate;
}

static void show(const struct kit *kit, const char *csv)
{
    struct buffer out = BUFFER_EMPTY;

    for (int f = 0; f < KIT_COUNT; f++) {
        buffer_format(&out, "%s=", KIT_FACTS[f].name);
        value_write(kit->facts[f], &out);
        buffer_add_byte(&out, ' ');
    }
    print_error("%s\n%.*s\n", csv, TEXT_ARGUMENTS(buffer_text(&out)));
    buffer_free(&out);
}

/* A row misses exactly where the slow evaluator says so. */
static void check_misses(struct kit *kit, const struct slow_table *slow, const char *csv)
{
    uint32_t failing;

    for (int r = 0; r < slow->row_count; r++)
        if ((table_row_misses(kit->table, (uint32_t)r, kit->facts, kit->scratch, &failing) < 0) !=
            slow_row(slow, r, kit->facts)) {
            show(kit, csv);
            fail_msg("row %d misses wrongly", r);
        }
}

static void check_table(uint64_t *seed, struct slow_table *slow)
{
    struct buffer csv = BUFFER_EMPTY;
    struct slow_result result;
    struct table_hits hits;
    struct kit kit;

    slow_make_table(seed, slow);
    slow_write_table(seed, slow, &csv);
    kit_good(&kit, csv.bytes);
    for (int i = 0; i < 12; i++) {
        random_facts(seed, kit.facts);
        slow_decide(slow, kit.facts, &result);
        assert_int_equal(table_decide(kit.table, kit.facts, kit.scratch, &hits), WM_OK);
        if (!same_result(&result, &hits)) {
            show(&kit, csv.bytes);
            fail_msg("fault %d, %u hits; expected %d, %d", hits.fault, hits.count, result.fault, result.count);
        }
        if (i == 0)
            check_misses(&kit, slow, csv.bytes);
    }
    kit_end(&kit);
    buffer_free(&csv);
}

static void test_random_tables(void **state)
{
    uint64_t seed = random_seed("random tables");
    static struct slow_table slow;
    (void)state;

    for (int i = 0; i < random_times(25000); i++)
        check_table(&seed, &slow);
}

/* --- Large tables: sets at checkpoints, and columns that are tested one by one ------------------------- */

/* Rows that hit, each cell by itself. */
static void check_rows(struct kit *kit)
{
    uint32_t words = table_set_words(kit->table), row, rows = table_row_count(kit->table);
    uint64_t *set = calloc(words, sizeof *set);

    assert_non_null(set);
    table_match_early(kit->table, kit->facts, set);
    assert_int_equal(table_match_late(kit->table, kit->facts, kit->scratch, set, &row), WM_OK);
    for (uint32_t r = 0; r < rows; r++) {
        bool holds = true;
        for (uint32_t c = 0; c < table_condition_count(kit->table) && holds; c++) {
            struct fact_ref fact = table_condition_fact(kit->table, c);
            struct evaluation evaluation = {.facts = kit->facts, .any_case = fact.any_case};
            holds = cell_test_value(table_condition_test(kit->table, c, r), kit->facts[fact.slot], &evaluation) ==
                    TRUTH_HOLDS;
        }
        assert_int_equal(set[r / 64] >> r % 64 & 1, holds);
    }
    if (rows % 64 != 0)
        assert_int_equal(set[words - 1] >> rows % 64, 0);
    free(set);
}

static void check_large(struct kit *kit, uint64_t *seed, int64_t span)
{
    for (int i = 0; i < 60; i++) {
        int64_t number = (int64_t)random_below(seed, (uint64_t)span) * 1000000 + (i % 3 == 0 ? 500000 : 0);
        kit->facts[0] = i == 0 ? value_null() : value_number(number - 1000000);
        kit->facts[1] = value_number(number + 1000000);
        char text[32];
        snprintf(text, sizeof text, "T%lld", (long long)(number / 1000000));
        kit->facts[3] = i == 1 ? value_null() : value_text(text_of(text));
        kit->facts[10] = i == 2 ? value_null() : value_text(text_of(text));
        check_rows(kit);
    }
}

static void make_large(struct kit *kit, int rows, uint64_t *seed, void (*write)(uint64_t *, int, struct buffer *))
{
    struct buffer csv = BUFFER_EMPTY;

    buffer_add_string(&csv, "C,n,t,word,>x\n");
    for (int r = 0; r < rows; r++) {
        buffer_format(&csv, "r%d,", r);
        write(seed, r, &csv);
        buffer_add_string(&csv, ",1\n");
    }
    buffer_add_byte(&csv, '\0');
    kit_good(kit, csv.bytes);
    buffer_free(&csv);
}

static void write_equalities(uint64_t *seed, int row, struct buffer *csv)
{
    if (random_below(seed, 10) == 0)
        buffer_add_string(csv, "not(");
    const char *close = csv->bytes[csv->length - 1] == '(' ? ")" : "";
    buffer_format(csv, "%d%s,T%llu,t%d", row, close, (unsigned long long)random_below(seed, 60000), row % 15000);
}

static void write_ranges(uint64_t *seed, int row, struct buffer *csv)
{
    uint64_t low = random_below(seed, 20000);

    if (random_below(seed, 20) == 0)
        buffer_add_string(csv, "null");
    else
        buffer_format(csv, "[%llu..%llu)", (unsigned long long)low, (unsigned long long)(low + random_below(seed, 9)));
    buffer_format(csv, ",> T%d,-", row);
}

static void test_checkpoints(void **state)
{
    uint64_t seed = random_seed("checkpoints");
    struct kit kit;
    (void)state;

    make_large(&kit, 20001, &seed, write_equalities);
    assert_non_null(kit.table->conditions[0].classes.checkpoint_of_class);
    assert_non_null(kit.table->conditions[1].classes.checkpoint_of_class);
    assert_true(table_is_classable(kit.table));
    check_large(&kit, &seed, 20010);
    kit_end(&kit);
    make_large(&kit, 20000, &seed, write_ranges);
    assert_non_null(kit.table->conditions[0].classes.checkpoint_of_class);
    assert_non_null(kit.table->conditions[1].classes.checkpoint_of_class);
    check_large(&kit, &seed, 20010);
    kit_end(&kit);
}

static void write_many_ranges(uint64_t *seed, int row, struct buffer *csv)
{
    buffer_add_byte(csv, '"');
    for (int i = 0; i < 10; i++) {
        uint64_t low = random_below(seed, 1000000);
        buffer_format(csv, "%s[%llu..%llu]", i > 0 ? "," : "", (unsigned long long)low, (unsigned long long)low + 1);
    }
    buffer_format(csv, "\",T%d,-", row % 50);
}

static void test_one_by_one(void **state)
{
    uint64_t seed = random_seed("one by one");
    struct kit kit;
    (void)state;

    make_large(&kit, 100000, &seed, write_many_ranges);
    assert_non_null(kit.table->conditions[0].one_by_one);
    assert_false(kit.table->conditions[0].classes.decides);
    assert_false(table_is_classable(kit.table));
    assert_int_equal(table_class(kit.table, 0, value_integer(5)), 0);
    check_large(&kit, &seed, 50);
    kit_end(&kit);
}

enum { SHARED_LITERALS = 530 };

/* Two rows of three share a cell of many numbers, and the others change at as many places as they have ends. */
static void write_shared_cells(uint64_t *seed, int row, struct buffer *csv)
{
    buffer_add_byte(csv, '"');
    for (int i = 0; row % 3 != 0 && i < SHARED_LITERALS; i++)
        buffer_format(csv, "%s%d", i > 0 ? "," : "", i);
    for (int i = 0; row % 3 == 0 && i < 8; i++) {
        uint64_t low = 1000 + random_below(seed, 1000000);
        buffer_format(csv, "%s[%llu..%llu]", i > 0 ? "," : "", (unsigned long long)low,
                      (unsigned long long)low + 50000);
    }
    buffer_add_string(csv, "\",-,-");
}

/* At the shared numbers two rows of three change, more often than there is room to note it beside the sets. */
static void test_too_many_changes(void **state)
{
    static const char *const facts[] = {"n=0", "n=529", "n=530", "n=0.5", "n=400000", ""};
    uint64_t seed = random_seed("too many changes");
    struct kit kit;
    (void)state;

    make_large(&kit, 12000, &seed, write_shared_cells);
    assert_non_null(kit.table->conditions[0].one_by_one);
    assert_false(kit.table->conditions[0].classes.decides);
    for (size_t i = 0; i < sizeof facts / sizeof *facts; i++) {
        kit_facts(&kit, facts[i]);
        check_rows(&kit);
    }
    kit_end(&kit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_random_tables),
        cmocka_unit_test(test_checkpoints),
        cmocka_unit_test(test_one_by_one),
        cmocka_unit_test(test_too_many_changes),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
