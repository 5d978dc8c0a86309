/* What a campaign expects of a vehicle, remembered and asked anew: both give the same, whatever kinds of
 * vehicles come. */
#include "rules_kit.h"

#include "facts/establish.h"
#include "facts/expectation.h"
#include "facts/number_index.h"
#include "verdict/decision.h"
#include "verdict/item_memo.h"

/* The facts of a vehicle of this engine, plant and year. */
static void put_vehicle(const struct rules *rules, struct value *facts, const char *engine, struct text plant, int year)
{
    for (uint32_t i = 0; i < rules->dictionary->slot_count; i++)
        facts[i] = value_null();
    fact_put(rules, facts, FACT_engine, value_text_or_null(text_of(engine)));
    fact_put(rules, facts, FACT_plant, value_text_or_null(plant));
    fact_put(rules, facts, FACT_model_year, value_integer(year));
    fact_put(rules, facts, FACT_outcome, value_text(TEXT("repaired")));
}

struct asked {
    struct rules_kit kit;
    struct expectations *expectations;
    struct table_scratch *scratch;
    struct arena arena; /* of the claim at hand */
    struct value facts[256];
};

static void start(struct asked *asked)
{
    if (kit_compile(&asked->kit) != WM_OK)
        fail_msg("%s", asked->kit.capture.text);
    assert_int_equal(expectations_new(asked->kit.rules, &asked->expectations), WM_OK);
    assert_int_equal(table_scratch_new(&asked->scratch), WM_OK);
    assert_in_range(asked->kit.rules->dictionary->slot_count, 1, 256);
}

static void end(struct asked *asked)
{
    expectations_free(asked->expectations);
    table_scratch_free(asked->scratch);
    arena_free(&asked->arena);
    kit_end(&asked->kit);
}

static const struct expectation *ask(struct asked *asked, const char *engine, struct text plant, int year)
{
    const struct expectation *expectation = NULL;

    arena_reset(&asked->arena);
    put_vehicle(asked->kit.rules, asked->facts, engine, plant, year);
    assert_int_equal(expectations_find(asked->expectations, &asked->kit.rules->campaigns[0], asked->facts,
                                       asked->scratch, &asked->arena, &expectation),
                     WM_OK);
    return expectation;
}

/* "eligible kit parts operations inspections ambiguities", as numbers but for the first two. */
static const char *shown(const struct expectation *expectation)
{
    struct buffer out = BUFFER_EMPTY;

    value_write(expectation->eligible, &out);
    buffer_format(&out, " %.*s %u %u %u %u", TEXT_ARGUMENTS(expectation->kit_shown), expectation->part_count,
                  expectation->operation_count, expectation->inspection_count, expectation->ambiguity_count);
    const char *kept = words("%.*s", TEXT_ARGUMENTS(buffer_text(&out)));
    buffer_free(&out);
    return kept;
}

/* A campaign of several rows for an engine: the kit, a table in error, none of it where the vehicle is not in it. */
static void what_is_expected(void **state)
{
    static const struct {
        const char *engine;
        int year;
        const char *expected;
    } cases[] = {
        {"A", 2019, "true K-A 2 1 1 0"}, {"A", 2020, "true K-A 2 1 1 0"},
        {"B", 2019, "true  1 1 1 0"},    /* a row without a kit */
        {"C", 2019, "true  1 1 1 0"},    /* no row at all */
        {"D", 2019, "true  1 1 1 1"},    /* two rows for one kit */
        {"A", 2021, "false  0 0 0 0"},   /* a row that says so, */
        {"A", 2022, "false  0 0 0 0"},   /* one that says nothing, */
        {"A", 2023, "false  0 0 0 0"},   /* none, */
        {"A", 2024, "  0 0 0 1"},        /* and two */
    };
    struct asked asked = {.arena = ARENA_EMPTY};
    (void)state;

    kit_start(&asked.kit);
    kit_put(&asked.kit, "campaigns/T1/eligibility.csv",
            "U,model_year,>eligible,>stage\nin,[2019..2020],true,first\nout,2021,false,\nopen,2022,,\n"
            "twice-a,2024,true,\ntwice-b,2024,false,\n");
    kit_put(&asked.kit, "campaigns/T1/kits.csv", "U,engine,>kit,>quantity\na,A,K-A,1\nb,B,,\nd1,D,K-A,1\nd2,D,K-B,1\n");
    kit_put(&asked.kit, "campaigns/T1/parts.csv",
            "C,engine,>part,>quantity,>need\nall,-,FL-1,2,required\nmore,A,fl 1,1,allowed\n");
    kit_put(&asked.kit, "campaigns/T1/labor.csv",
            "C,engine,>operation,>hours,>need\nall,-,OP-1,1.5,allowed\nmore,A,op 1,0.5,required\n");
    kit_put(&asked.kit, "campaigns/T1/inspections.csv",
            "C,engine,>inspection,>expects,>need\nall,-,LEAK,dry,required\n");
    start(&asked);
    for (int turn = 0; turn < 2; turn++) /* made, and remembered */
        for (size_t i = 0; i < COUNT(cases); i++) {
            const struct expectation *expectation = ask(&asked, cases[i].engine, TEXT("North"), cases[i].year);
            assert_string_equal(shown(expectation), cases[i].expected);
            assert_ptr_equal(expectation, ask(&asked, cases[i].engine, TEXT("South"), cases[i].year));
            if (expectation->part_count > 0)
                assert_int_equal(expectation->parts[expectation->part_count - 1].need, NEED_REQUIRED);
            if (expectation->operation_count > 0)
                assert_int_equal(expectation->operations[0].need,
                                 strcmp(cases[i].engine, "A") == 0 ? NEED_REQUIRED : NEED_ALLOWED);
            assert_true(text_is(expectation->stage, strncmp(cases[i].expected, "true", 4) == 0 ? "first" : ""));
        }
    struct value eligible;
    put_vehicle(asked.kit.rules, asked.facts, "A", TEXT(""), 2024);
    assert_int_equal(
        expectation_eligible(&asked.kit.rules->campaigns[0], asked.facts, asked.scratch, &eligible), WM_OK);
    assert_int_equal(eligible.type, VALUE_NULL);
    put_vehicle(asked.kit.rules, asked.facts, "A", TEXT(""), 2022);
    assert_int_equal(
        expectation_eligible(&asked.kit.rules->campaigns[0], asked.facts, asked.scratch, &eligible), WM_OK);
    assert_true(eligible.type == VALUE_BOOLEAN && !eligible.number);
    end(&asked);
}

/* Beyond what is remembered: a text that is too long, more kinds than are kept, a table that tells vehicles apart by
 * more than classes. The answer is the claim's own then, and the same. */
static void what_is_not_remembered(void **state)
{
    enum { MOST = 50000 };
    static char long_plant[600];
    struct asked asked = {.arena = ARENA_EMPTY};
    char engine[16];
    (void)state;

    memset(long_plant, 'p', sizeof long_plant);
    kit_start(&asked.kit);
    kit_put(&asked.kit, "campaigns/T1/kits.csv",
            "U,plant,engine,>kit,>quantity\nplain,-,\"not(A)\",K-A,1\na,North,A,K-B,1\n");
    start(&asked);
    struct text plant = {long_plant, sizeof long_plant};
    assert_int_equal(ask(&asked, "B", plant, 2019)->first_item, ITEM_NOT_REMEMBERED);
    assert_string_equal(shown(ask(&asked, "B", plant, 2019)), "true K-A 1 0 0 0");
    assert_string_equal(shown(ask(&asked, "A", plant, 2019)), "true  0 0 0 0");
    assert_string_equal(shown(ask(&asked, "A", TEXT("North"), 2019)), "true K-B 1 0 0 0");
    for (int i = 0; i <= MOST; i++) {
        snprintf(engine, sizeof engine, "E%d", i);
        const struct expectation *expectation = ask(&asked, engine, TEXT(""), 2019);
        assert_int_equal(expectation->part_count, 1);
        /* one part was remembered before these, and each has one */
        assert_int_equal(expectation->first_item, i + 1 < MOST ? (uint32_t)i + 1 : ITEM_NOT_REMEMBERED);
    }
    assert_int_equal(ask(&asked, "E7", TEXT(""), 2019)->first_item, 8);
    end(&asked);

    asked = (struct asked){.arena = ARENA_EMPTY};
    kit_start(&asked.kit);
    kit_put(&asked.kit, "campaigns/T1/kits.csv", "U,engine,>kit,>quantity\na,\"matches(?, \"\"^A\"\")\",K-A,1\n");
    start(&asked);
    assert_string_equal(shown(ask(&asked, "AB", TEXT(""), 2019)), "true K-A 1 0 0 0");
    assert_string_equal(shown(ask(&asked, "BA", TEXT(""), 2019)), "true  0 0 0 0");
    assert_int_equal(ask(&asked, "AB", TEXT(""), 2019)->first_item, ITEM_NOT_REMEMBERED);
    end(&asked);
    expectations_free(NULL);
}

/* The sets of items stay apart and stay known while there come to be more; beyond the last one none are kept. */
static void items_are_remembered(void **state)
{
    static const uint32_t items[] = {0, 5, 255, 256, 3000, 65000};
    struct rules_kit kit;
    struct item_memo memo = {0};
    (void)state;

    kit_start(&kit);
    kit_put(&kit, "checks/part/one.csv", "C,claimed,>finding,>effect,>message\nall,true,one,note,x\n");
    kit_put(&kit, "checks/part/two.csv", "C,claimed,>finding,>effect,>message\nall,true,two,note,x\n");
    assert_int_equal(kit_compile(&kit), WM_OK);
    for (size_t i = 0; i < COUNT(items); i++) {
        uint64_t *rows = item_memo_rows(&memo, kit.rules, SCOPE_PART, items[i], 1);
        assert_non_null(rows);
        for (int set = 0; set < 4; set++) { /* two checks, claimed or not */
            assert_true(rows[set] == ROWS_NOT_KNOWN);
            rows[set] = items[i] * 4 + (uint64_t)set;
        }
    }
    for (size_t i = 0; i < COUNT(items); i++)
        for (int set = 0; set < 4; set++)
            assert_int_equal(item_memo_rows(&memo, kit.rules, SCOPE_PART, items[i], 1)[set],
                             items[i] * 4 + (uint64_t)set);
    assert_null(item_memo_rows(&memo, kit.rules, SCOPE_PART, 65536, 1));
    assert_null(item_memo_rows(&memo, kit.rules, SCOPE_PART, 65000, 1000));
    assert_non_null(item_memo_rows(&memo, kit.rules, SCOPE_PART, 65000, 100));
    item_memo_free(&memo);
    kit_end(&kit);
}

/* Whatever an office file says: an approval covers no row that cannot be read, and no rules in error. */
static void faults_are_not_covered(void **state)
{
    static const struct {
        const char *finding;
        enum effect effect;
        enum decision decision;
    } cases[] = {
        {"work-early", EFFECT_RETURN, DECISION_PAY},
        {"row-unreadable", EFFECT_RETURN, DECISION_RETURN},
        {"rules-ambiguous", EFFECT_HOLD, DECISION_HOLD},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(cases); i++)
        for (int valid = 0; valid < 2; valid++) {
            struct arena arena = ARENA_EMPTY;
            const struct approval approval = {.number = TEXT("AP-1"), .covers = text_of(cases[i].finding)};
            struct finding finding = {
                .effect = cases[i].effect, .name = text_of(cases[i].finding), .message = TEXT("x")};
            struct dossier dossier = {
                .findings = &finding, .finding_count = 1, .approval = &approval, .approval_valid = valid};
            assert_int_equal(decide(&arena, &dossier, true), WM_OK);
            assert_int_equal(dossier.decision == DECISION_PAY, valid && cases[i].decision == DECISION_PAY);
            if (cases[i].decision != DECISION_PAY)
                assert_int_equal(dossier.decision, cases[i].decision);
            arena_free(&arena);
        }
}

/* Entries for number_index: the keys themselves. */
static bool entry_is(const void *context, uint32_t number, const void *key)
{
    return ((const uint32_t *)context)[number] == *(const uint32_t *)key;
}

/* Many entries, of which three have each hash. */
static void numbers_are_indexed(void **state)
{
    enum { ENTRIES = 5000 };
    static uint32_t entries[ENTRIES];
    struct number_index index = {NULL, 0, 0};
    (void)state;

    for (int turn = 0; turn < 2; turn++)
        for (uint32_t i = 0; i < ENTRIES; i++) {
            uint32_t key = i * 7;
            struct number_slot *slot = number_index_slot(&index, &key, i / 3 * 2654435761u, entry_is, entries);
            assert_non_null(slot);
            assert_int_equal(slot->number, turn == 0 ? 0 : i + 1);
            if (turn == 0) {
                entries[i] = key;
                slot->number = i + 1;
                index.count++;
            }
        }
    assert_int_equal(index.count, ENTRIES);
    number_index_free(&index);
    assert_null(index.slots);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_expected),
        cmocka_unit_test(what_is_not_remembered),
        cmocka_unit_test(items_are_remembered),
        cmocka_unit_test(faults_are_not_covered),
        cmocka_unit_test(numbers_are_indexed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
