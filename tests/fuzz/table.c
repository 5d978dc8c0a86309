/* A whole table as it stands in a file: compiled, then decided on facts, with its own cells asked one by one
 * beside it. The first bytes are the facts; what follows the first line feed is the table. */
#include "fuzz.h"
#include "jit.h"
#include "table_kit.h"

static struct table_scratch *scratch;

int LLVMFuzzerInitialize(int *count, char ***arguments)
{
    (void)count, (void)arguments;
    must(table_scratch_new(&scratch) == WM_OK, "there is memory");
    return 0;
}

static struct value choose_value(struct input *input, enum value_type type)
{
    static const char *const WORDS[] = {"", "A", "B", "a", "A B", "null", "true", "R16", "\xc3\xa9"};

    if (input_choose(input, 5) == 0)
        return value_null();
    switch (type) {
    case VALUE_NUMBER: return value_number(((int64_t)input_choose(input, 64) - 8) * 500000);
    case VALUE_DATE: return value_date(20500 + (int32_t)input_choose(input, 16));
    case VALUE_BOOLEAN: return value_boolean(input_choose(input, 2));
    case VALUE_TEXT: return value_text(text_of(WORDS[input_choose(input, 9)]));
    case VALUE_NULL: break;
    }
    return value_null();
}

static bool row_holds(const struct table *table, uint32_t row, const struct value *facts)
{
    for (uint32_t c = 0; c < table_condition_count(table); c++) {
        uint32_t failing;
        int misses = table_row_misses(table, row, facts, scratch, &failing);
        must((misses < 0) == (failing == 0), "a row misses by a condition, or by none");
        return misses < 0;
    }
    return true;
}

/* The rows that stand after both stages are those whose every cell holds. */
static void stages_as_cells(const struct table *table, const struct value *facts)
{
    uint32_t words = table_set_words(table), given_up = 0;
    uint64_t *set = calloc(words > 0 ? words : 1, sizeof *set);

    must(set != NULL, "there is memory");
    table_match_early(table, facts, set);
    int status = table_match_late(table, facts, scratch, set, &given_up);
    must(status == WM_OK || status == WM_LIMIT, "a pattern may be given up, and nothing else");
    for (uint32_t r = 0; status == WM_OK && r < table_row_count(table); r++)
        must((set[r / 64] >> r % 64 & 1) == row_holds(table, r, facts), "a row stands where its cells hold");
    free(set);
}

static void look_at_hits(const struct table *table, const struct value *facts, const struct table_hits *hits)
{
    struct buffer out = BUFFER_EMPTY;
    uint32_t rows = table_row_count(table);
    enum hit_policy policy = table_policy(table);

    must(hits->fault == TABLE_OK || hits->count == 0, "a table in error has no hits");
    must(hits->fault == TABLE_OK || (hits->first_row < rows && hits->second_row < rows), "a fault names rows");
    must(hits->count <= rows, "hits are rows");
    if (policy == HIT_UNIQUE || policy == HIT_ANY || policy == HIT_PRIORITY || policy == HIT_FIRST)
        must(hits->count <= 1, "one hit at most");
    for (uint32_t h = 0; h < hits->count; h++) {
        must(hits->rows[h] < rows, "a hit is a row");
        for (uint32_t o = 0; o < table_output_count(table); o++)
            table_output_write(table, hits->rows[h], o, facts, &out);
    }
    must(text_is_utf8(buffer_text(&out)), "outputs are text");
    buffer_free(&out);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length), choices;
    struct arena arena = ARENA_EMPTY;
    struct diag_sink sink = looking_sink();
    struct value facts[KIT_COUNT];
    struct table *table = NULL;
    struct table_hits hits;
    struct text rest, head, csv;
    bool dealer_text = input_choose(&input, 2);
    char *copy = input_rest(&input, &rest);

    jit_choose(bytes, length);
    text_cut(rest, '\n', &head, &csv);
    int status = table_compile(&arena, TEXT("t.csv"), csv,
                               (struct table_rules){.policies = HIT_ALL_POLICIES, .dealer_text = dealer_text},
                               &KIT_SOURCE, &sink, &table);
    if (went_well(status, &sink)) {
        choices = input_of((const uint8_t *)head.bytes, head.length);
        for (int turn = 0; turn < 3; turn++) {
            for (int f = 0; f < KIT_COUNT; f++)
                facts[f] = choose_value(&choices, KIT_FACTS[f].type);
            must(table_decide(table, facts, scratch, &hits) == WM_OK, "there is memory");
            look_at_hits(table, facts, &hits);
            stages_as_cells(table, facts);
        }
    }
    table_free(table);
    arena_free(&arena);
    free(copy);
    return 0;
}
