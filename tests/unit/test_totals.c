/* Running totals (facts/totals.h) against sums made anew each time, over claims that come and go. */
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/status.h"
#include "capture.h"
#include "facts/dossier.h"
#include "facts/totals.h"

enum { KITS = 5, ORDERS = 4, VEHICLES = 6, CLAIMS = 400, DAYS = 150 };

struct counted {
    uint32_t kit, order, vehicle;
    int32_t day;
    int64_t quantity;
    bool stands;
};

static uint32_t numbered(struct totals *totals, int find(struct totals *, const struct noted_key *, uint32_t *, bool *),
                         const char *prefix, uint32_t number, bool *ret_asked)
{
    char room[32];
    struct text text = {room, (size_t)snprintf(room, sizeof room, "%s%u", prefix, number)};
    struct noted_key key = {text, number_index_hash(text)};
    uint32_t found = 0;

    assert_int_equal(find(totals, &key, &found, ret_asked), WM_OK);
    return found;
}

static uint32_t some(struct totals *totals, int find(struct totals *, const struct noted_key *, uint32_t *, bool *),
                     const char *prefix, uint64_t number)
{
    return numbered(totals, find, prefix, (uint32_t)number, NULL);
}

/* Millionths: one kit, some, a part of one, and more than fit four bytes. */
static int64_t some_quantity(uint64_t *random)
{
    static const int64_t QUANTITIES[] = {DECIMAL_ONE,          2 * DECIMAL_ONE,    DECIMAL_ONE / 4, 0,
                                         1500 * DECIMAL_ONE,   2147483647,         2147483648,      9000 * DECIMAL_ONE,
                                         1000000 * DECIMAL_ONE};
    return QUANTITIES[random_below(random, sizeof QUANTITIES / sizeof QUANTITIES[0])];
}

static int64_t slow_quantity(const struct counted *claims, uint32_t kit, int32_t day)
{
    int64_t sum = 0;

    for (int i = 0; i < CLAIMS; i++)
        if (claims[i].stands && claims[i].kit == kit && claims[i].day <= day)
            sum += claims[i].quantity;
    return sum;
}

static bool stands_for(const struct counted *claims, uint32_t order, uint32_t vehicle, int least)
{
    int count = 0;

    for (int i = 0; i < CLAIMS; i++)
        count += claims[i].stands && claims[i].order == order && claims[i].vehicle == vehicle;
    return count >= least;
}

static uint32_t slow_others(const struct counted *claims, uint32_t order, uint32_t vehicle, uint32_t own)
{
    uint32_t count = 0;

    for (uint32_t other = 0; other < VEHICLES; other++)
        count += other != vehicle && stands_for(claims, order, other, other == own ? 2 : 1);
    return count;
}

static void turn(struct totals *totals, struct counted *claim)
{
    claim->stands = !claim->stands;
    int64_t quantity = claim->stands ? claim->quantity : -claim->quantity;
    assert_int_equal(totals_add_quantity(totals, claim->kit, claim->day, quantity), WM_OK);
    assert_int_equal(totals_add_vehicle(totals, claim->order, claim->vehicle, claim->stands ? 1 : -1), WM_OK);
}

/* As for a claim that comes next; it changes nothing. */
static void fetch_ahead(const struct totals *totals, uint32_t kit)
{
    char room[32];
    struct text text = {room, (size_t)snprintf(room, sizeof room, "D1 K%u", kit)};
    const struct dossier dossier = {.kit_key = {text, number_index_hash(text)}};

    totals_prefetch_content(totals, &dossier);
}

static void totals_are_the_sums_of_what_stands(void **state)
{
    struct totals totals;
    struct counted *claims = calloc(CLAIMS, sizeof *claims);
    uint64_t random = random_seed("totals");
    int times = random_times(40000);

    (void)state;
    assert_non_null(claims);
    totals_open(&totals);
    for (int i = 0; i < CLAIMS; i++)
        claims[i] = (struct counted){.kit = some(&totals, totals_kit, "D1 K", random_below(&random, KITS)),
                                     .order = some(&totals, totals_order, "D1 R", random_below(&random, ORDERS)),
                                     .vehicle = (uint32_t)random_below(&random, VEHICLES),
                                     .day = 20000 + (int32_t)random_below(&random, DAYS),
                                     .quantity = some_quantity(&random)};
    for (int time = 0; time < times; time++) {
        struct counted *claim = &claims[random_below(&random, CLAIMS)];
        uint32_t vehicle = (uint32_t)random_below(&random, VEHICLES);
        int32_t day = 20000 - 1 + (int32_t)random_below(&random, DAYS + 2);
        turn(&totals, claim);
        fetch_ahead(&totals, (uint32_t)random_below(&random, KITS));
        assert_int_equal(totals_quantity(&totals, claim->kit, day), slow_quantity(claims, claim->kit, day));
        assert_int_equal(totals_other_vehicles(&totals, claim->order, vehicle, TOTALS_NONE),
                         slow_others(claims, claim->order, vehicle, TOTALS_NONE));
        if (claim->stands)
            assert_int_equal(totals_other_vehicles(&totals, claim->order, vehicle, claim->vehicle),
                             slow_others(claims, claim->order, vehicle, claim->vehicle));
    }
    totals_close(&totals);
    free(claims);
}

static void a_key_has_one_number_and_is_asked_for_once(void **state)
{
    struct totals totals;
    bool asked = true;

    (void)state;
    totals_open(&totals);
    uint32_t first = numbered(&totals, totals_kit, "D1 K", 1, &asked);
    assert_false(asked);
    assert_int_equal(numbered(&totals, totals_kit, "D1 K", 1, &asked), first);
    assert_true(asked);
    assert_int_not_equal(numbered(&totals, totals_kit, "D1 K", 2, &asked), first);
    assert_false(asked);
    uint32_t day = numbered(&totals, totals_day, "D1 T", 1, &asked);
    assert_false(asked);
    totals_add_hours(&totals, day, 3 * DECIMAL_ONE);
    totals_add_hours(&totals, numbered(&totals, totals_day, "D1 T", 1, &asked), DECIMAL_ONE / 2);
    assert_true(asked);
    assert_int_equal(totals_hours(&totals, day), 3500000);
    totals_close(&totals);
}

/* An order on which nothing stood yet has no vehicle, and neither has one on which others stand. */
static void orders_on_which_nothing_stands(void **state)
{
    struct totals totals;

    (void)state;
    totals_open(&totals);
    uint32_t empty = numbered(&totals, totals_order, "D1 R", 1, NULL);
    uint32_t order = numbered(&totals, totals_order, "D1 R", 2, NULL);
    assert_int_equal(totals_other_vehicles(&totals, empty, 7, TOTALS_NONE), 0);
    assert_int_equal(totals_other_vehicles(&totals, empty, 7, 7), 0);
    assert_int_equal(totals_add_vehicle(&totals, order, 7, 1), WM_OK);
    assert_int_equal(totals_other_vehicles(&totals, order, 7, TOTALS_NONE), 0);
    assert_int_equal(totals_other_vehicles(&totals, order, 8, TOTALS_NONE), 1);
    assert_int_equal(totals_other_vehicles(&totals, empty, 7, TOTALS_NONE), 0);
    totals_close(&totals);
}

/* Order and vehicle of two pairs of which all bits are the same that the index looks at. */
static void pairs_of_one_hash(void **state)
{
    static const uint32_t VEHICLES_OF[2] = {5, 880833437};
    struct totals totals;

    (void)state;
    totals_open(&totals);
    for (uint32_t i = 0; i < 2; i++) {
        assert_int_equal(numbered(&totals, totals_order, "D1 R", i, NULL), i);
        assert_int_equal(totals_add_vehicle(&totals, i, 1, 1), WM_OK); /* the first of an order is not in the index */
        assert_int_equal(totals_add_vehicle(&totals, i, VEHICLES_OF[i], 1), WM_OK);
    }
    assert_int_equal(totals_add_vehicle(&totals, 1, VEHICLES_OF[1], -1), WM_OK);
    assert_int_equal(totals_other_vehicles(&totals, 0, 1, TOTALS_NONE), 1);
    assert_int_equal(totals_other_vehicles(&totals, 1, 1, TOTALS_NONE), 0);
    /* A claim that would move to an order on which its own vehicle never was. */
    assert_int_equal(totals_other_vehicles(&totals, 0, 1, 9), 1);
    totals_close(&totals);
}

/* Many kits grow at once, so that rooms which some have outgrown are taken by others. */
static void rooms_that_are_outgrown_serve_others(void **state)
{
    enum { MANY = 300, LAST = 60 };
    struct totals totals;

    (void)state;
    totals_open(&totals);
    for (int32_t day = 0; day < LAST; day++)
        for (uint32_t kit = 0; kit < MANY; kit++) {
            uint32_t number = numbered(&totals, totals_kit, "D", kit, NULL);
            /* The days of some come backwards, and not all have all days. */
            int32_t on = kit % 3 == 0 ? LAST - day : day;
            if (kit % 7 == 0 && day % 2 == 0)
                continue;
            assert_int_equal(totals_add_quantity(&totals, number, on, (int64_t)(kit + 1) * DECIMAL_ONE), WM_OK);
        }
    for (uint32_t kit = 0; kit < MANY; kit++) {
        uint32_t number = numbered(&totals, totals_kit, "D", kit, NULL);
        int64_t all = (kit % 7 == 0 ? LAST / 2 : LAST) * (int64_t)(kit + 1) * DECIMAL_ONE;
        assert_int_equal(totals_quantity(&totals, number, LAST), all);
        assert_int_equal(totals_quantity(&totals, number, -1), 0);
    }
    totals_close(&totals);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(totals_are_the_sums_of_what_stands),
        cmocka_unit_test(a_key_has_one_number_and_is_asked_for_once),
        cmocka_unit_test(orders_on_which_nothing_stands),
        cmocka_unit_test(pairs_of_one_hash),
        cmocka_unit_test(rooms_that_are_outgrown_serve_others),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
