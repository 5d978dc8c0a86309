/* Drawing: the generator against published vectors, selections that are the same on every machine, and
 * allocations in whole numbers. */
#include "capture.h"

#include <sodium.h>

#include "audit/allocation.h"
#include "audit/draw.h"
#include "audit/generator.h"
#include "audit/selection.h"
#include "base/status.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* --- The generator ----------------------------------------------------------------------------------- */

static void chacha20(void **state)
{
    (void)state;
    struct generator generator = {.used = GENERATOR_BLOCK_BYTES}; /* the key is all zeros */
    /* RFC 8439, appendix A.1, test vectors 1 and 2: the key stream of blocks 0 and 1, as little-endian numbers
     */
    assert_int_equal(generator_next(&generator), UINT64_C(0x903df1a0ade0b876));
    assert_int_equal(generator_next(&generator), UINT64_C(0x28bd8653e56a5d40));
    for (int i = 2; i < 8; i++)
        generator_next(&generator);
    assert_int_equal(generator_next(&generator), UINT64_C(0x7a385155bee7079f));
}

static void numbers_of_a_seed(void **state)
{
    /* Computed by a program in another language from what generator.h says. */
    static const uint64_t OF_42[] = {
        UINT64_C(0x19b97bc0868bad61), UINT64_C(0x498bf4c14af397a1), UINT64_C(0x5b068293ffb06037),
        UINT64_C(0xb896035ec32bffd5), UINT64_C(0x42d530862488184e), UINT64_C(0x80905ca36ac99ef9),
        UINT64_C(0x432aad1fc3ed5b70), UINT64_C(0x4cc861813a6ad79a), UINT64_C(0xcf86ae838c5fc7a2)};
    /* a bound for which about every second number is passed over */
    static const uint64_t BELOW[] = {UINT64_C(1027070346496565159), UINT64_C(9199145216611216272),
                                     UINT64_C(8891815451328529028), UINT64_C(4708645289460710343),
                                     UINT64_C(5372696945866117011), UINT64_C(3806478230530050479)};
    struct generator generator;
    (void)state;

    generator_start(&generator, TEXT("42"));
    for (size_t i = 0; i < COUNT(OF_42); i++)
        assert_int_equal(generator_next(&generator), OF_42[i]);
    generator_start(&generator, TEXT("7"));
    for (size_t i = 0; i < COUNT(BELOW); i++)
        assert_int_equal(generator_below(&generator, (UINT64_C(1) << 63) + 1), BELOW[i]);
    generator_start(&generator, TEXT("7"));
    for (int i = 0; i < 100; i++)
        assert_int_equal(generator_below(&generator, 1), 0);
}

static void every_remainder_is_as_likely(void **state)
{
    enum { BOUND = 7, DRAWS = 70000 };
    int counts[BOUND] = {0};
    struct generator generator;
    (void)state;

    generator_start(&generator, TEXT("even"));
    for (int i = 0; i < DRAWS; i++)
        counts[generator_below(&generator, BOUND)]++;
    for (int i = 0; i < BOUND; i++) /* five standard deviations of 10,000 +- 93 */
        assert_true(counts[i] > 9537 && counts[i] < 10463);
}

static void seeds_are_new(void **state)
{
    char one[SEED_ROOM], other[SEED_ROOM];
    (void)state;

    generator_new_seed(one);
    generator_new_seed(other);
    assert_int_equal(strlen(one), 16);
    assert_int_equal(strspn(one, "0123456789abcdef"), 16);
    assert_string_not_equal(one, other);
}

/* --- Selection --------------------------------------------------------------------------------------- */

static void same_claims_on_every_machine(void **state)
{
    /* Computed by a program in another language from what selection.h says. */
    static const uint32_t OF_1000[] = {873, 853, 285, 711, 94,  696, 678, 658, 362, 223,
                                       397, 331, 511, 822, 544, 642, 296, 928, 458, 813};
    uint32_t places[1000];
    struct generator generator;
    (void)state;

    for (uint32_t i = 0; i < COUNT(places); i++)
        places[i] = i;
    generator_start(&generator, TEXT("42"));
    select_at_random(&generator, places, COUNT(places), COUNT(OF_1000));
    assert_memory_equal(places, OF_1000, sizeof OF_1000);
}

static void same_claims_by_money(void **state)
{
    /* Computed likewise: amounts (7919 i mod 50000) + 1, two of them over the interval of 250,000. */
    static const uint32_t EXPECTED[] = {17, 150, 6,   18,  29,  40,  49,  61,  69,  80, 88,
                                        99, 107, 118, 129, 138, 149, 162, 170, 181, 189};
    int64_t amounts[200];
    uint32_t places[200], certain;
    struct generator generator;
    (void)state;

    for (int i = 0; i < 200; i++)
        amounts[i] = (int64_t)i * 7919 % 50000 + 1;
    amounts[17] = 300000;
    amounts[150] = 250000;
    generator_start(&generator, TEXT("42"));
    assert_int_equal(select_by_money(&generator, amounts, 200, 250000, places, &certain), COUNT(EXPECTED));
    assert_int_equal(certain, 2);
    assert_memory_equal(places, EXPECTED, sizeof EXPECTED);
}

/* Each of 10 claims is in about 3 of 10 samples of three; by money, as often as its amount says. */
static void chances_are_as_they_should_be(void **state)
{
    enum { DRAWS = 20000 };
    static const int64_t AMOUNTS[] = {100, 200, 300, 400, 500, 600, 700, 800, 900, 500}; /* 5,000 */
    int simple[10] = {0}, money[10] = {0};
    (void)state;

    for (int draw = 0; draw < DRAWS; draw++) {
        uint32_t places[10] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, certain;
        struct generator generator;
        char seed[32];
        snprintf(seed, sizeof seed, "chance %d", draw);
        generator_start(&generator, text_of(seed));
        select_at_random(&generator, places, 10, 3);
        for (int i = 0; i < 3; i++)
            simple[places[i]]++;
        uint32_t count = select_by_money(&generator, AMOUNTS, 10, 1000, places, &certain);
        assert_int_equal(count, 5);
        for (uint32_t i = 0; i < count; i++)
            money[places[i]]++;
    }
    for (int i = 0; i < 10; i++) { /* five standard deviations: +- 350 at most */
        assert_true(abs(simple[i] - DRAWS * 3 / 10) < 350);
        assert_true(abs(money[i] - (int)(DRAWS * AMOUNTS[i] / 1000)) < 350);
    }
}

/* --- Allocation -------------------------------------------------------------------------------------- */

/* A stratum of so many claims, half of them of each amount. */
static struct stratum_sum stratum(uint32_t count, int64_t one, int64_t other)
{
    struct stratum_sum sum = {0, 0, 0};

    for (uint32_t i = 0; i < count; i++)
        stratum_sum_add(&sum, i % 2 == 0 ? one : other);
    return sum;
}

static void allocations(void **state)
{
    static const struct {
        uint32_t claims[3];
        int64_t amounts[3][2];
        uint32_t size;
        bool neyman;
        uint32_t sizes[3];
    } TABLE[] = {
        {{100, 200, 300}, {{1, 1}, {1, 1}, {1, 1}}, 60, false, {10, 20, 30}},
        {{100, 200, 301}, {{1, 1}, {1, 1}, {1, 1}}, 60, false, {10, 20, 30}},
        {{2, 2, 596}, {{1, 1}, {1, 1}, {1, 1}}, 60, false, {2, 2, 56}}, /* at least two */
        {{1, 9, 590}, {{1, 1}, {1, 1}, {1, 1}}, 60, false, {1, 2, 57}}, /* or all it has */
        {{10, 10, 10}, {{1, 1}, {1, 1}, {1, 1}}, 30, false, {10, 10, 10}},
        {{10, 10, 10}, {{1, 1}, {1, 1}, {1, 1}}, 20, false, {7, 7, 6}}, /* what is left goes to the first */
        {{100, 100, 100}, {{100, 300}, {100, 500}, {100, 900}}, 70, true, {10, 20, 40}},
        {{100, 100, 10},
         {{100, 300}, {100, 500}, {1, 100000}},
         70,
         true,
         {20, 40, 10}}, /* none more than it has */
        {{100, 100, 100}, {{5, 5}, {100, 500}, {7, 7}}, 50, true, {2, 46, 2}},
        {{100, 200, 300}, {{5, 5}, {6, 6}, {7, 7}}, 60, true, {10, 20, 30}}, /* nothing spreads: by claims */
        /* a stratum of one claim has no spread, and gets what it has */
        {{1, 10, 10}, {{100, 100}, {50, 50}, {60, 60}}, 10, true, {1, 5, 4}},
        /* the one that spreads gets all it has; the others share the rest by claims */
        {{3, 10, 10}, {{100, 300}, {50, 50}, {60, 60}}, 13, true, {3, 5, 5}},
        /* amounts as large as they may be, and larger */
        {{100, 100, 100}, {{1, INT64_MAX}, {1, 10000000000}, {1, 1}}, 90, true, {44, 44, 2}},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(TABLE); i++) {
        struct stratum_sum strata[3];
        uint32_t sizes[3];
        for (int s = 0; s < 3; s++)
            strata[s] = stratum(TABLE[i].claims[s], TABLE[i].amounts[s][0], TABLE[i].amounts[s][1]);
        allocate(strata, 3, TABLE[i].size, TABLE[i].neyman, sizes);
        for (int s = 0; s < 3; s++)
            if (sizes[s] != TABLE[i].sizes[s])
                fail_msg("row %zu, stratum %d: %u", i, s, sizes[s]);
    }
}

/* A stratum gives no more claims than it has, and none where a record asks for fewer than none. */
static void strata_give_what_they_have(void **state)
{
    static const struct {
        int64_t asked;
        uint32_t drawn;
    } CASES[] = {{-1, 0}, {0, 0}, {2, 2}, {3, 3}, {4, 3}, {INT64_C(5000000000), 3}};
    struct sample_claim frame[4] = {{.stratum = 1}, {.stratum = 2}, {.stratum = 1}, {.stratum = 1}};
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct sample_stratum strata[2] = {{.item_count = CASES[i].asked}, {.item_count = 1}};
        struct sample sample = {.method = TEXT("random"), .seed = TEXT("1"), .frame = frame, .frame_count = 4,
                                .strata = strata, .stratum_count = 2};
        struct arena arena = ARENA_EMPTY;
        uint32_t *items, count;
        assert_int_equal(sample_select(&sample, &arena, &items, &count), WM_OK);
        assert_int_equal(count, CASES[i].drawn + 1);
        assert_int_equal(items[count - 1], 1);
        arena_free(&arena);
    }
}

static void names_of_samples(void **state)
{
    (void)state;
    assert_true(sample_name_is_one(TEXT("Audit_2026-05.1")));
    assert_false(sample_name_is_one(TEXT("")));
    assert_false(sample_name_is_one(TEXT("a b")));
    assert_false(sample_name_is_one(TEXT("#1")));
    assert_false(sample_name_is_one(TEXT("a/b")));
    assert_true(sample_name_is_one(TEXT("AZaz09._-")));
    for (const char *other = "@[`{:/,^~!"; *other != '\0'; other++) /* the neighbours of what may stand there */
        assert_false(sample_name_is_one((struct text){other, 1}));
    assert_true(sample_name_is_one(TEXT("0123456789012345678901234567890123456789012345678901234567890123")));
    assert_false(sample_name_is_one(TEXT("01234567890123456789012345678901234567890123456789012345678901234")));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chacha20),
        cmocka_unit_test(numbers_of_a_seed),
        cmocka_unit_test(every_remainder_is_as_likely),
        cmocka_unit_test(seeds_are_new),
        cmocka_unit_test(same_claims_on_every_machine),
        cmocka_unit_test(same_claims_by_money),
        cmocka_unit_test(chances_are_as_they_should_be),
        cmocka_unit_test(allocations),
        cmocka_unit_test(strata_give_what_they_have),
        cmocka_unit_test(names_of_samples),
    };

    return sodium_init() < 0 ? 1 : cmocka_run_group_tests(tests, NULL, NULL);
}
