/* The register over a source of plain arrays: packed vehicles, the nearest VIN, dealers, shipments, approvals;
 * many threads; and sources that fail.
 */
#include "rules_kit.h"

#include <pthread.h>
#include <stdatomic.h>

#include "base/status.h"
#include "facts/fleet.h"
#include "register/lazy_index.h"
#include "register/register.h"
#include "register/register_source.h"
#include "register/vehicle_pack.h"
#include "register/vin_sieve.h"

/* ---- packing ---- */

/* The hash is a file format. These values were worked out by another program from the text of vehicle_pack.h.
 */
static void keys_are_those_of_the_format(void **state)
{
    (void)state;
    static const struct {
        const char *vin;
        uint64_t head;
        uint32_t tail;
        uint64_t hash;
    } cases[] = {
        {"A", UINT64_C(1957093839574064543), 0, UINT64_C(0x6cf62cfb42abd1dd)},
        {"0", UINT64_C(177917621779460413), 0, UINT64_C(0xc642c88ce2b66197)},
        {"1WMCE1T79HH203763", UINT64_C(517554741302351239), 2087988, UINT64_C(0x5b07184343617980)},
        {"ZZZZZZZZZZZZZZZZZ", UINT64_C(6582952005840035280), 69343956, UINT64_C(0x4b175eb7338a3856)},
        {"00000000000000000", UINT64_C(182859777940000980), 1926221, UINT64_C(0x7d762f62f00748f7)},
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct packed_vin packed;
        char vin[VIN_LENGTH + 1];
        assert_true(vin_pack(text_of(cases[i].vin), &packed));
        assert_int_equal(packed.head, cases[i].head);
        assert_int_equal(packed.tail, cases[i].tail);
        struct vehicle_key key = vehicle_key_of(packed);
        assert_true(key.hash == cases[i].hash);
        assert_int_equal(vin_unpack(vehicle_key_vin(key), vin), strlen(cases[i].vin));
        assert_string_equal(vin, cases[i].vin);
    }
}

static void other_words_are_no_key(void **state)
{
    (void)state;
    static const char *const words[] = {"",    "1wmce1t79hh203763",  "1WM CE",           " A", "A ", "AÄ",
                                        "A-B", "1WMCE1T79HH2037630", "1WMCE1T79HH20376*"};
    struct packed_vin packed;

    for (size_t i = 0; i < COUNT(words); i++)
        assert_false(vin_pack(text_of(words[i]), &packed));
    assert_false(vin_pack((struct text){"A\0B", 3}, &packed));
}

static size_t random_vin(uint64_t *random, size_t least, char room[VIN_LENGTH + 1])
{
    static const char characters[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
    size_t length = least + random_below(random, VIN_LENGTH - least + 1);

    for (size_t i = 0; i < length; i++)
        room[i] = characters[random_below(random, 36)];
    room[length] = '\0';
    return length;
}

static void keys_lose_nothing_and_keep_the_order(void **state)
{
    uint64_t random = random_seed("keys");
    char a[VIN_LENGTH + 1], b[VIN_LENGTH + 1], again[VIN_LENGTH + 1];

    (void)state;
    assert_int_equal(vin_unpack((struct packed_vin){0, 0}, a), 0);
    assert_string_equal(a, "");
    for (int i = 0; i < random_times(100000); i++) {
        struct packed_vin x, y;
        random_vin(&random, 1, a);
        if (random_below(&random, 2)) { /* mostly alike */
            strcpy(b, a);
            b[random_below(&random, strlen(b))] = 'K';
        } else {
            random_vin(&random, 1, b);
        }
        assert_true(vin_pack(text_of(a), &x) && vin_pack(text_of(b), &y));
        vin_unpack(vehicle_key_vin(vehicle_key_of(x)), again);
        assert_string_equal(again, a);
        int order = x.head != y.head ? (x.head < y.head ? -1 : 1) : (x.tail > y.tail) - (x.tail < y.tail);
        int expected = strcmp(a, b);
        assert_int_equal(order, (expected > 0) - (expected < 0));
    }
}

/* ---- a source of arrays ---- */

struct test_vehicle {
    char vin[VIN_LENGTH + 1];
    uint32_t profile;
    int32_t built_on;
};

enum failing {
    FAIL_NOTHING,
    FAIL_BUCKETS,
    FAIL_PROFILES,
    FAIL_DEALER,
    FAIL_SHIPMENTS,
    FAIL_APPROVAL,
    FAIL_VEHICLE
};

struct test_source {
    const struct test_vehicle *vehicles;
    size_t vehicle_count;
    const struct dealer *dealers;
    size_t dealer_count;
    const struct test_shipment *shipments;
    size_t shipment_count;
    const struct approval *approvals;
    size_t approval_count;
    enum failing failing;
    int status;       /* that the failing one returns */
    size_t cut_bytes; /* from the end of every bucket */
    unsigned calls;
    atomic_int inside; /* calls going on: never more than one */
    struct register_source source;
};

struct test_shipment {
    const char *dealer, *part_key;
    int32_t shipped_on;
    int64_t quantity;
};

static int enter(struct test_source *test, enum failing which)
{
    assert_int_equal(atomic_fetch_add(&test->inside, 1), 0);
    test->calls++;
    return test->failing == which ? test->status : WM_OK;
}

static int leave(struct test_source *test, int status)
{
    atomic_fetch_sub(&test->inside, 1);
    return status;
}

static int compare_packed(const void *a, const void *b)
{
    return vehicle_key_compare(((const struct packed_vehicle *)a)->key,
                               ((const struct packed_vehicle *)b)->key);
}

static int test_buckets(void *context, uint32_t first, uint32_t count, register_take_bucket *take, void *taker)
{
    struct test_source *test = context;
    int status = enter(test, FAIL_BUCKETS);

    for (uint32_t bucket = first; bucket < first + count && status == WM_OK; bucket++) {
        struct packed_vehicle *packed = malloc((test->vehicle_count + 1) * sizeof *packed);
        uint32_t n = 0;
        for (size_t i = 0; i < test->vehicle_count; i++) {
            struct packed_vin vin;
            assert_true(vin_pack(text_of(test->vehicles[i].vin), &vin));
            struct vehicle_key key = vehicle_key_of(vin);
            if (vehicle_bucket_of(key.hash, test->source.bucket_bits) == bucket)
                packed[n++] =
                    (struct packed_vehicle){key, test->vehicles[i].profile, test->vehicles[i].built_on};
        }
        qsort(packed, n, sizeof *packed, compare_packed);
        unsigned char *bytes = malloc((size_t)n * VEHICLE_BYTES + 1);
        vehicle_bucket_write(bytes, packed, n);
        if (n > 0)
            status = take(taker, bucket, bytes, (size_t)n * VEHICLE_BYTES - test->cut_bytes);
        memset(bytes, 0xee, (size_t)n * VEHICLE_BYTES);
        free(bytes);
        free(packed);
    }
    return leave(test, status);
}

static int test_vehicle(void *context, struct text vin, bool *ret_found, uint32_t *ret_profile,
                        int32_t *ret_built_on)
{
    struct test_source *test = context;
    int status = enter(test, FAIL_VEHICLE);

    *ret_found = false;
    for (size_t i = 0; i < test->vehicle_count && status == WM_OK; i++) {
        if (!text_is(vin, test->vehicles[i].vin))
            continue;
        *ret_found = true;
        *ret_profile = test->vehicles[i].profile;
        *ret_built_on = test->vehicles[i].built_on;
    }
    return leave(test, status);
}

/* Profile n has the engine "E" and n, and there is none whose number ends in 99. */
static int test_profiles(void *context, uint32_t first, uint32_t count, register_take_profile *take,
                         void *taker)
{
    struct test_source *test = context;
    int status = enter(test, FAIL_PROFILES);

    for (uint32_t i = first; i < first + count && i < test->source.profile_limit && status == WM_OK; i++) {
        char engine[16];
        snprintf(engine, sizeof engine, "E%u", i);
        struct vehicle_profile profile = {TEXT("corvo"), text_of(engine),  TEXT("A8"),
                                          TEXT("P1"),    TEXT("tow cold"), TEXT("in_service"),
                                          (int32_t)i,    i % 2 == 0,       2000 + (int32_t)i % 20};
        if (i % 100 != 99)
            status = take(taker, i, &profile);
        memset(engine, 'x', sizeof engine);
    }
    return leave(test, status);
}

static int test_dealer(void *context, struct text code, register_take_dealer *take, void *taker)
{
    struct test_source *test = context;
    int status = enter(test, FAIL_DEALER);

    for (size_t i = 0; i < test->dealer_count && status == WM_OK; i++)
        if (text_equal(test->dealers[i].code, code))
            status = take(taker, &test->dealers[i]);
    return leave(test, status);
}

static int test_shipments(void *context, struct text dealer, register_take_shipment *take, void *taker)
{
    struct test_source *test = context;
    int status = enter(test, FAIL_SHIPMENTS);

    for (size_t i = 0; i < test->shipment_count && status == WM_OK; i++)
        if (text_is(dealer, test->shipments[i].dealer))
            status = take(taker, text_of(test->shipments[i].part_key), test->shipments[i].shipped_on,
                          test->shipments[i].quantity);
    return leave(test, status);
}

static int test_approval(void *context, struct text number, register_take_approval *take, void *taker)
{
    struct test_source *test = context;
    int status = enter(test, FAIL_APPROVAL);

    for (size_t i = 0; i < test->approval_count && status == WM_OK; i++)
        if (text_equal(test->approvals[i].number, number))
            status = take(taker, &test->approvals[i]);
    return leave(test, status);
}

static struct text test_error(void *context)
{
    (void)context;
    return TEXT("the test's source fails");
}

static struct office_register *open_test(struct test_source *test, unsigned bits, uint32_t profile_limit)
{
    struct office_register *opened = NULL;

    test->source = (struct register_source){
        .context = test,
        .bucket_bits = bits,
        .buckets = test_buckets,
        .vehicle = test->source.vehicle,
        .profile_limit = profile_limit,
        .profiles = test_profiles,
        .dealer = test_dealer,
        .shipments = test_shipments,
        .approval = test_approval,
        .error = test_error,
    };
    assert_int_equal(register_open(&test->source, &opened), WM_OK);
    return opened;
}

/* ---- vehicles ---- */

static struct test_vehicle *random_vehicles(uint64_t *random, size_t count, size_t least_length)
{
    struct test_vehicle *vehicles = calloc(count, sizeof *vehicles);

    assert_non_null(vehicles);
    for (size_t i = 0; i < count; i++) {
        random_vin(random, least_length, vehicles[i].vin);
        for (size_t k = 0; k < i && least_length < 6; k++) /* short ones may meet by chance */
            if (strcmp(vehicles[k].vin, vehicles[i].vin) == 0) {
                i--;
                break;
            }
        vehicles[i].profile = (uint32_t)random_below(random, 99);
        vehicles[i].built_on = random_below(random, 10) == 0 ? DAY_NONE : (int32_t)random_below(random, 20000);
    }
    return vehicles;
}

static void check_vehicle(struct office_register *reg, const struct test_vehicle *expected)
{
    char engine[16];
    bool found = false;
    struct vehicle vehicle = {0, NULL, 0};

    assert_int_equal(register_vehicle(reg, text_of(expected->vin), &found, &vehicle), WM_OK);
    assert_true(found);
    assert_int_equal(vehicle.profile_number, expected->profile);
    assert_int_equal(vehicle.built_on, expected->built_on);
    snprintf(engine, sizeof engine, "E%u", expected->profile);
    assert_true(text_is(vehicle.profile->engine, engine));
    assert_true(text_is(vehicle.profile->model_line, "corvo"));
    assert_true(text_is(vehicle.profile->options, "tow cold"));
    assert_true(text_is(vehicle.profile->status, "in_service"));
    assert_int_equal(vehicle.profile->status_on, expected->profile);
    assert_int_equal(vehicle.profile->has_model_year, expected->profile % 2 == 0);
}

static void check_none(struct office_register *reg, const char *vin)
{
    bool found = true;
    struct vehicle vehicle;

    assert_int_equal(register_vehicle(reg, text_of(vin), &found, &vehicle), WM_OK);
    assert_false(found);
}

/* Against the plain array, for few and many buckets, and for a source that is asked vehicle by vehicle. */
static void vehicles_are_those_of_the_source(void **state)
{
    uint64_t random = random_seed("vehicles");
    enum { VEHICLES = 3000 };
    struct test_vehicle *vehicles = random_vehicles(&random, VEHICLES, 1);

    (void)state;
    for (int turn = 0; turn < 7; turn++) {
        static const unsigned bits[7] = {0, 0, 1, 4, 7, 10, 0};
        struct test_source test = {.vehicles = vehicles, .vehicle_count = turn == 0 ? 5 : VEHICLES};
        test.source.vehicle = turn == 6 ? test_vehicle : NULL;
        struct office_register *reg = open_test(&test, bits[turn], 99);
        for (size_t i = 0; i < test.vehicle_count; i++) {
            struct vehicle_ask ask = register_vehicle_approach(reg, text_of(vehicles[(i + 8) % VEHICLES].vin));
            register_vehicle_prefetch(reg, &ask);
            check_vehicle(reg, &vehicles[i]);
        }
        for (int i = 0; i < 3000; i++) {
            char vin[VIN_LENGTH + 1];
            random_vin(&random, 8, vin);
            check_none(reg, vin);
        }
        check_none(reg, "");
        check_none(reg, "no vin");
        check_none(reg, "1WMCE1T79HH2037631");
        assert_int_equal(register_error(reg).length, 0);
        register_close(reg);
    }
    free(vehicles);
}

/* A bucket is asked for once; a hundred questions in one bucket are one call. */
static void buckets_are_loaded_once(void **state)
{
    uint64_t random = random_seed("once");
    struct test_vehicle *vehicles = random_vehicles(&random, 500, 17);
    struct test_source test = {.vehicles = vehicles, .vehicle_count = 500};
    struct office_register *reg = open_test(&test, 8, 99);

    (void)state;
    check_vehicle(reg, &vehicles[0]);
    assert_int_equal(test.calls, 2); /* its bucket, its profiles */
    check_vehicle(reg, &vehicles[0]);
    assert_int_equal(test.calls, 2);
    for (int turn = 0; turn < 2; turn++) {
        for (size_t i = 0; i < 500; i++)
            check_vehicle(reg, &vehicles[i]);
        assert_in_range(test.calls, 3,
                        1 + 2 + 17 + 4); /* few one by one, then groups of 64; two groups of profiles */
    }
    register_close(reg);
    free(vehicles);
}

/* Every vehicle is counted in one kind; those that a damaged office file has in no whole bucket, or of profiles that
 * there cannot be, in none. */
static void kinds_of_a_fleet(void **state)
{
    enum { VEHICLES = 500, LIMIT = 50, BITS = 6 };
    uint64_t random = random_seed("kinds"), counted = 0, of_profile[LIMIT] = {0};
    struct test_vehicle *vehicles = random_vehicles(&random, VEHICLES, 17);
    struct test_source test = {.vehicles = vehicles, .vehicle_count = VEHICLES};
    struct office_register *reg = open_test(&test, BITS, LIMIT);
    struct arena arena = ARENA_EMPTY;
    struct fleet_kind *kinds;
    struct rules_kit kit;
    uint32_t count;
    (void)state;

    kit_start(&kit);
    assert_int_equal(kit_compile(&kit), WM_OK);
    assert_int_equal(fleet_kinds_read(&test.source, kit.rules, &arena, &kinds, &count), WM_OK);
    for (uint32_t i = 0; i < count; i++) {
        assert_in_range(kinds[i].vehicle.profile_number, 0, LIMIT - 1);
        assert_string_equal(kinds[i].vehicle.profile->engine.bytes, words("E%u", kinds[i].vehicle.profile_number));
        of_profile[kinds[i].vehicle.profile_number] += kinds[i].count;
    }
    for (size_t i = 0; i < VEHICLES; i++)
        if (vehicles[i].profile < LIMIT) {
            assert_true(of_profile[vehicles[i].profile]-- > 0);
            counted++;
        }
    assert_in_range(counted, 1, VEHICLES - 1);
    for (size_t i = 0; i < LIMIT; i++)
        assert_int_equal(of_profile[i], 0);
    test.cut_bytes = 1; /* buckets that are no whole number of vehicles have none */
    assert_int_equal(fleet_kinds_read(&test.source, kit.rules, &arena, &kinds, &count), WM_OK);
    assert_int_equal(count, 0);
    kit_end(&kit);
    arena_free(&arena);
    register_close(reg);
    free(vehicles);
}

static void damaged_sources_are_errors(void **state)
{
    struct test_vehicle vehicles[] = {{"AAA", 99, 1}, {"BBB", 3, 2}, {"CCC", 700, 3}};
    bool found = true;
    struct vehicle vehicle;
    struct text near = {"?", 1};
    struct arena arena = ARENA_EMPTY;

    (void)state;
    struct test_source test = {.vehicles = vehicles, .vehicle_count = 3};
    struct office_register *reg = open_test(&test, 0, 200);
    assert_int_equal(register_vehicle(reg, TEXT("AAA"), &found, &vehicle), WM_IO);
    assert_true(
        text_starts_with(register_error(reg), TEXT("a vehicle refers to a profile that is not there; ")));
    assert_int_equal(register_vehicle(reg, TEXT("CCC"), &found, &vehicle), WM_IO);
    assert_int_equal(register_vehicle(reg, TEXT("AAA"), &found, &vehicle), WM_IO); /* and again, with its group there */
    check_vehicle(reg, &vehicles[1]);
    register_close(reg);

    test.cut_bytes = 1;
    reg = open_test(&test, 0, 200);
    assert_int_equal(register_vehicle(reg, TEXT("BBB"), &found, &vehicle), WM_IO);
    assert_true(text_starts_with(register_error(reg), TEXT("the index of vehicles is damaged; ")));
    assert_int_equal(register_vin_nearest(reg, TEXT("AAAAAAAAAAAAAAAAA"), &arena, &near), WM_IO);
    assert_true(text_is(near, "?"));
    register_close(reg);

    /* a bucket that is asked for in the search of a near VIN, behind one that could be read: no VIN has a *, so that
     * this one itself is not looked for */
    struct test_vehicle long_ones[] = {{"EZ7TAAC10KT000101", 1, 1}};
    test = (struct test_source){.vehicles = long_ones, .vehicle_count = 1};
    reg = open_test(&test, 12, 200);
    check_vehicle(reg, &long_ones[0]);
    test.failing = FAIL_BUCKETS;
    test.status = WM_IO;
    assert_int_equal(register_vin_nearest(reg, TEXT("EZ7TAAC1*KT000101"), &arena, &near), WM_IO);
    assert_true(text_is(near, "?"));
    register_close(reg);
    arena_free(&arena);
}

/* What was not asked for, and more vehicles than a bucket can have: a source that gives these is not to be trusted. */
static int strange_buckets(void *context, uint32_t first, uint32_t count, register_take_bucket *take, void *taker)
{
    const struct test_source *test = context;
    size_t length = (size_t)test->vehicle_count * VEHICLE_BYTES;
    unsigned char *bytes = calloc(1, length + 1);
    (void)count;

    assert_non_null(bytes);
    int status = take(taker, first + test->cut_bytes, bytes, length);
    free(bytes);
    return status;
}

static int profiles_before(void *context, uint32_t first, uint32_t count, register_take_profile *take, void *taker)
{
    struct vehicle_profile profile = {.model_line = TEXT("corvo")};
    (void)context, (void)count;

    return take(taker, first - 1, &profile);
}

static int profiles_behind(void *context, uint32_t first, uint32_t count, register_take_profile *take, void *taker)
{
    struct vehicle_profile profile = {.model_line = TEXT("corvo")};
    (void)context;

    return take(taker, first + count, &profile);
}

static void strange_sources_are_errors(void **state)
{
    static const struct {
        uint32_t vehicles, beyond;
        int status;
    } cases[] = {{1, 0, WM_OK}, {1, 1, WM_IO}, {65536, 0, WM_IO}};
    struct test_vehicle vehicles[] = {{"AAA", 70, 1}};
    struct vehicle vehicle;
    bool found;
    (void)state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct test_source test = {.vehicle_count = cases[i].vehicles, .cut_bytes = cases[i].beyond};
        struct office_register *reg = open_test(&test, 0, 200);
        test.source.buckets = strange_buckets;
        assert_int_equal(register_vehicle(reg, TEXT("AAA"), &found, &vehicle), cases[i].status);
        assert_int_equal(text_starts_with(register_error(reg), TEXT("the index of vehicles is damaged; ")),
                         cases[i].status != WM_OK);
        register_close(reg);
    }
    for (int behind = 0; behind < 2; behind++) {
        struct test_source test = {.vehicles = vehicles, .vehicle_count = 1};
        struct office_register *reg = open_test(&test, 0, 200);
        test.source.profiles = behind ? profiles_behind : profiles_before;
        assert_int_equal(register_vehicle(reg, TEXT("AAA"), &found, &vehicle), WM_BAD_INPUT);
        register_close(reg);
    }
}

/* Any bytes may be searched: hashes in disorder are not found or found, but nothing else happens. */
static void any_bytes_are_safe_to_search(void **state)
{
    uint64_t random = random_seed("bytes");

    (void)state;
    for (int turn = 0; turn < 2000; turn++) {
        uint32_t count = (uint32_t)random_below(&random, 40);
        unsigned char *bytes = malloc((size_t)count * VEHICLE_BYTES + 1); /* exact, for the address sanitizer */
        uint16_t guide[GUIDE_ENTRIES];
        unsigned bits = (unsigned)random_below(&random, 32);
        for (size_t i = 0; i < (size_t)count * VEHICLE_BYTES; i++)
            bytes[i] = (unsigned char)random_below(&random, 256);
        vehicle_guide_make(bytes, count, bits, guide);
        for (int ask = 0; ask < 20; ask++) {
            struct vehicle_key key = {random_below(&random, UINT64_MAX >> 11) << 11, 7};
            if (count > 0 && ask % 2)
                key = vehicle_bucket_at(bytes, count, (uint32_t)random_below(&random, count)).key;
            assert_in_range(vehicle_bucket_find(bytes, count, bits, key), 0, count);
            assert_in_range(vehicle_guide_find(bytes, guide, bits, key), 0, count);
        }
        free(bytes);
    }
    assert_int_equal(vehicle_bucket_count(40), 2);
    assert_int_equal(vehicle_bucket_count(0), 0);
    assert_int_equal(vehicle_bucket_count(41), -1);
}

/* Two keys may have one hash: the tail tells them apart. */
static void equal_hashes_are_told_apart(void **state)
{
    (void)state;
    struct packed_vehicle vehicles[12];
    unsigned char bytes[sizeof vehicles / sizeof vehicles[0] * VEHICLE_BYTES];
    uint16_t guide[GUIDE_ENTRIES];
    uint32_t count = (uint32_t)COUNT(vehicles);

    for (uint32_t i = 0; i < count; i++)
        vehicles[i] = (struct packed_vehicle){{UINT64_C(5) << 60, i * 2}, i, (int32_t)i};
    vehicle_bucket_write(bytes, vehicles, count);
    vehicle_guide_make(bytes, count, 0, guide);
    for (uint32_t i = 0; i < count; i++) {
        assert_int_equal(vehicle_bucket_find(bytes, count, 0, (struct vehicle_key){UINT64_C(5) << 60, i * 2}),
                         i);
        assert_int_equal(vehicle_guide_find(bytes, guide, 0, (struct vehicle_key){UINT64_C(5) << 60, i * 2}),
                         i);
        assert_int_equal(
            vehicle_guide_find(bytes, guide, 0, (struct vehicle_key){UINT64_C(5) << 60, i * 2 + 1}), count);
    }
}

/* ---- the nearest VIN ---- */

/* Buckets come from a file: whatever stands in them, the sieve keeps to its room and passes what it was given. */
static void any_bytes_are_safe_to_sieve(void **state)
{
    enum { VEHICLES = 400 };
    static unsigned char bytes[VEHICLES * VEHICLE_BYTES];
    uint64_t random = random_seed("sieve");
    (void)state;

    for (unsigned bits = 0; bits <= 2; bits++) {
        struct vin_sieve sieve;
        assert_int_equal(vin_sieve_open(&sieve, UINT32_C(1) << bits, bits), WM_OK);
        for (uint32_t bucket = 0; bucket < UINT32_C(1) << bits; bucket++) {
            memset(bytes, 0xff, sizeof bytes);
            for (size_t i = 0; i < sizeof bytes / 2; i++)
                bytes[i * 2 % sizeof bytes] = (unsigned char)random_below(&random, 256);
            assert_false(vin_sieve_knows(&sieve, bucket));
            vin_sieve_take(&sieve, bucket, bytes, VEHICLES);
            assert_true(vin_sieve_knows(&sieve, bucket));
        }
        for (uint32_t i = 0; i < VEHICLES; i++) { /* of the last bucket */
            struct packed_vin vin = vehicle_key_vin(vehicle_bucket_key(bytes, VEHICLES, i));
            assert_int_equal(vin_sieve_keep(&sieve, &vin, 1), 1);
        }
        vin_sieve_close(&sieve);
    }
}

/* By its definition, from texts alone: is `b` one replaced character or one swap of neighbours away from `a`?
 */
static bool one_slip_apart(const char *a, const char *b)
{
    unsigned differ = 0, first = 0;

    if (strlen(b) != VIN_LENGTH)
        return false;
    for (unsigned i = 0; i < VIN_LENGTH; i++)
        if (a[i] != b[i] && differ++ == 0)
            first = i;
    return differ == 1 || (differ == 2 && a[first] == b[first + 1] && a[first + 1] == b[first]);
}

static const char *nearest_by_definition(const struct test_vehicle *vehicles, size_t count, const char *vin)
{
    const char *nearest = "";
    unsigned found = 0;

    for (size_t i = 0; i < count; i++) {
        if (strcmp(vehicles[i].vin, vin) == 0)
            return "";
        if (strlen(vin) == VIN_LENGTH && one_slip_apart(vin, vehicles[i].vin)) {
            nearest = vehicles[i].vin;
            found++;
        }
    }
    return found == 1 ? nearest : "";
}

static void slip(uint64_t *random, char *vin)
{
    static const char characters[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*?-";
    unsigned at = (unsigned)random_below(random, VIN_LENGTH - 1);
    char held = vin[at];

    switch (random_below(random, 3)) {
    case 0:
        vin[at] = vin[at + 1];
        vin[at + 1] = held;
        break;
    case 1: vin[random_below(random, VIN_LENGTH)] = characters[random_below(random, 39)]; break;
    default: vin[random_below(random, VIN_LENGTH)] = (char)('0' + random_below(random, 10));
    }
}

static void nearest_is_that_of_the_definition(void **state)
{
    uint64_t random = random_seed("nearest");
    enum { VEHICLES = 600 };
    struct test_vehicle *vehicles = random_vehicles(&random, VEHICLES, 17);
    struct arena arena = ARENA_EMPTY;
    unsigned some = 0, none = 0;

    (void)state;
    for (size_t i = VEHICLES / 2; i < VEHICLES; i++) { /* half of them are neighbours of others */
        strcpy(vehicles[i].vin, vehicles[i - VEHICLES / 2].vin);
        vehicles[i].vin[random_below(&random, VIN_LENGTH)] = (char)('A' + random_below(&random, 3));
    }
    for (size_t i = VEHICLES / 2; i < VEHICLES; i++) /* each VIN once */
        for (size_t k = 0; k < i; k++)
            if (strcmp(vehicles[i].vin, vehicles[k].vin) == 0)
                random_vin(&random, 17, vehicles[i].vin);
    strcpy(vehicles[3].vin, "SHORTVIN");
    for (int turn = 0; turn < 2; turn++) {
        struct test_source test = {.vehicles = vehicles, .vehicle_count = VEHICLES};
        test.source.vehicle = turn == 1 ? test_vehicle : NULL;
        struct office_register *reg = open_test(&test, turn == 0 ? 4 : 0, 99);
        for (int i = 0; i < (turn == 0 ? 20000 : 40); i++) {
            char vin[VIN_LENGTH + 1];
            struct text nearest;
            strcpy(vin, vehicles[random_below(&random, VEHICLES)].vin);
            for (uint64_t slips = random_below(&random, 3); strlen(vin) == VIN_LENGTH && slips > 0; slips--)
                slip(&random, vin);
            const char *expected = nearest_by_definition(vehicles, VEHICLES, vin);
            arena_reset(&arena);
            assert_int_equal(register_vin_nearest(reg, text_of(vin), &arena, &nearest), WM_OK);
            if (!text_is(nearest, expected))
                fail_msg("%s: \"%.*s\" instead of \"%s\"", vin, TEXT_ARGUMENTS(nearest), expected);
            some += expected[0] != '\0';
            none += expected[0] == '\0';
        }
        register_close(reg);
    }
    assert_true(some > 3000 && none > 3000);
    arena_free(&arena);
    free(vehicles);
}

static void nearest_case_by_case(void **state)
{
    (void)state;
    static const struct test_vehicle vehicles[] = {
        {"1WMCE1T79HH203763", 0, 0}, {"1WMRA1W87JK147339", 1, 0}, {"1WMRA1W87JK147338", 1, 0}};
    static const struct {
        const char *vin, *nearest;
    } cases[] = {
        {"1WMCE1T79HH203763", ""},                  /* registered itself */
        {"1WMCE1T79HH203764", "1WMCE1T79HH203763"}, /* replaced */
        {"1WMCE1T79HH20376*", "1WMCE1T79HH203763"}, /* by what no VIN has */
        {"OWMCE1T79HH203763", "1WMCE1T79HH203763"},
        {"W1MCE1T79HH203763", "1WMCE1T79HH203763"}, /* swapped */
        {"1WMCE1T79HH023763", "1WMCE1T79HH203763"}, /* over the border of the halves */
        {"1WMCE1T79HH203736", "1WMCE1T79HH203763"},
        {"1WMCE1T79HH20373*", ""}, /* two slips */
        {"1WMCE1T79HH203*6*", ""},
        {"1WMRA1W87JK14733X", ""}, /* two vehicles */
        {"1WMRA1W87JK14733", ""},  /* not 17 characters */
        {"1WMRA1W87JK1473399", ""},
        {"", ""},
        {"1WMRA1W87JK14\xc3\xa4"
         "39",
         ""}, /* 17 bytes, but not of 17 characters */
    };
    struct arena arena = ARENA_EMPTY;
    struct test_source test = {.vehicles = vehicles, .vehicle_count = COUNT(vehicles)};
    struct office_register *reg = open_test(&test, 2, 2);

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct text nearest;
        assert_int_equal(register_vin_nearest(reg, text_of(cases[i].vin), &arena, &nearest), WM_OK);
        if (!text_is(nearest, cases[i].nearest))
            fail_msg("%s: \"%.*s\"", cases[i].vin, TEXT_ARGUMENTS(nearest));
    }
    register_close(reg);
    arena_free(&arena);
}

/* ---- dealers, shipments, approvals ---- */

static void the_dealers_version_that_counts(void **state)
{
    (void)state;
    static const struct dealer dealers[] = {
        {TEXT("D1"), TEXT("late"), TEXT("US-NY"), 300, 3, DAY_NONE, DAY_NONE, 200},
        {TEXT("D1"), TEXT("always"), TEXT("US-NY"), 100, 1, 10, 20, DAY_NONE},
        {TEXT("D1"), TEXT("middle"), TEXT("US-NJ"), 200, 2, 0, 0, 100},
        {TEXT("D2"), TEXT("from 50"), TEXT(""), 1, 1, DAY_NONE, DAY_NONE, 50},
    };
    static const struct {
        const char *code;
        int32_t day;
        const char *name; /* NULL: unknown */
    } cases[] = {
        {"D1", -5000, "always"}, {"D1", 99, "always"},        {"D1", 100, "middle"},    {"D1", 199, "middle"},
        {"D1", 200, "late"},     {"D1", 9999, "late"},        {"D1", DAY_NONE, "late"}, {"D2", 49, NULL},
        {"D2", 50, "from 50"},   {"D2", DAY_NONE, "from 50"}, {"D3", 1, NULL},          {"d1", 100, NULL},
        {"", 100, NULL},
    };
    struct test_source test = {.dealers = dealers, .dealer_count = COUNT(dealers)};
    struct office_register *reg = open_test(&test, 0, 0);

    for (size_t i = 0; i < 2 * COUNT(cases); i++) {
        const struct dealer *dealer = NULL;
        const char *expected = cases[i % COUNT(cases)].name;
        assert_int_equal(
            register_dealer(reg, text_of(cases[i % COUNT(cases)].code), cases[i % COUNT(cases)].day, &dealer),
            WM_OK);
        assert_int_equal(dealer != NULL, expected != NULL);
        if (dealer != NULL)
            assert_true(text_is(dealer->name, expected));
    }
    assert_int_equal(test.calls, 5); /* each code once */
    const struct dealer *dealer = NULL;
    assert_int_equal(register_dealer(reg, TEXT("D1"), 5, &dealer), WM_OK);
    assert_true(text_is(dealer->code, "D1") && text_is(dealer->region, "US-NY"));
    assert_true(dealer->labor_rate == 100 && dealer->parts_markup == 1 && dealer->active_from == 10 &&
                dealer->active_to == 20 && dealer->valid_from == DAY_NONE);
    register_close(reg);
}

static void shipments_add_up_to_the_day(void **state)
{
    (void)state;
    static const struct test_shipment shipments[] = {
        {"D1", "KT1", 30, 5000000},  {"D1", "KT1", 10, 2000000},  {"D1", "KT2", 10, 7000000},
        {"D1", "KT1", 20, -1500000}, {"D1", "KT1", 20, 1000000},  {"D2", "KT1", 10, 9000000},
        {"D1", "KT3", DAY_NONE, 4},  {"D1", "BIG", 1, INT64_MAX}, {"D1", "BIG", 2, 1},
        {"D1", "BIG", 3, INT64_MIN}, {"D1", "BIG", 4, INT64_MIN},
        {"D1", "HS82636", 1, 5}, /* two parts of one hash */
        {"D1", "HS817988", 1, 6},
    };
    static const struct {
        const char *dealer, *part_key;
        int32_t day;
        int64_t quantity;
    } cases[] = {
        {"D1", "KT1", 9, 0},        {"D1", "KT1", 10, 2000000},
        {"D1", "KT1", 19, 2000000}, {"D1", "KT1", 20, 1500000},
        {"D1", "KT1", 29, 1500000}, {"D1", "KT1", 30, 6500000},
        {"D1", "KT1", 99, 6500000}, {"D1", "KT1", DAY_NONE, 6500000},
        {"D1", "KT2", 10, 7000000}, {"D1", "KT", 10, 0},
        {"D1", "KT11", 10, 0},      {"D1", "KT3", -999, 4},
        {"D2", "KT1", 10, 9000000}, {"D2", "KT2", 10, 0},
        {"D3", "KT1", 10, 0},       {"D1", "BIG", 2, INT64_MAX},
        {"D1", "BIG", 3, -1},       {"D1", "BIG", 4, INT64_MIN},
        {"D1", "HS82636", 1, 5},    {"D1", "HS817988", 1, 6},
    };
    struct test_source test = {.shipments = shipments, .shipment_count = COUNT(shipments)};
    struct office_register *reg = open_test(&test, 0, 0);

    for (size_t i = 0; i < COUNT(cases); i++) {
        int64_t quantity = 77;
        assert_int_equal(register_shipped(reg, text_of(cases[i].dealer), text_of(cases[i].part_key),
                                          cases[i].day, &quantity),
                         WM_OK);
        assert_int_equal(quantity, cases[i].quantity);
    }
    assert_int_equal(test.calls, 6); /* each dealer, and each dealer's shipments, once */
    register_close(reg);
}

static void shipments_may_be_many(void **state)
{
    enum { SHIPMENTS = 300 };
    static struct test_shipment shipments[SHIPMENTS];
    (void)state;

    for (int i = 0; i < SHIPMENTS; i++)
        shipments[i] = (struct test_shipment){"D1", i % 3 == 0 ? "KT1" : "KT2", SHIPMENTS - i, 1000000};
    struct test_source test = {.shipments = shipments, .shipment_count = SHIPMENTS};
    struct office_register *reg = open_test(&test, 0, 0);
    for (int32_t day = 0; day <= SHIPMENTS; day += 30) {
        int64_t quantity;
        assert_int_equal(register_shipped(reg, TEXT("D1"), TEXT("KT1"), day, &quantity), WM_OK);
        assert_int_equal(quantity, (int64_t)day / 3 * 1000000); /* every third day, from the last one back */
    }
    register_close(reg);
}

static void approvals_by_number(void **state)
{
    (void)state;
    static const struct approval approvals[] = {
        {TEXT("PA-1"), TEXT("D1"), TEXT("C-1"), TEXT("1WMCE1T79HH203763"), TEXT("hours-over"),
         TEXT("rusted bolts"), true, 12345, 100},
        {TEXT("PA-2"), TEXT(""), TEXT(""), TEXT(""), TEXT("kit-missing"), TEXT(""), false, 0, DAY_NONE},
    };
    struct test_source test = {.approvals = approvals, .approval_count = COUNT(approvals)};
    struct office_register *reg = open_test(&test, 0, 0);

    for (int turn = 0; turn < 2; turn++) {
        const struct approval *approval = NULL;
        assert_int_equal(register_approval(reg, TEXT("PA-1"), &approval), WM_OK);
        assert_true(text_is(approval->number, "PA-1") && text_is(approval->dealer, "D1") &&
                    text_is(approval->campaign, "C-1") && text_is(approval->vin, "1WMCE1T79HH203763") &&
                    text_is(approval->covers, "hours-over") && text_is(approval->reason, "rusted bolts"));
        assert_true(approval->has_limit && approval->limit_cents == 12345 && approval->valid_to == 100);
        assert_int_equal(register_approval(reg, TEXT("PA-2"), &approval), WM_OK);
        assert_true(!approval->has_limit && approval->dealer.length == 0 && approval->valid_to == DAY_NONE);
        assert_int_equal(register_approval(reg, TEXT("PA-3"), &approval), WM_OK);
        assert_null(approval);
    }
    assert_int_equal(test.calls, 3);
    register_close(reg);
}

/* ---- sources that fail ---- */

/* A failure is returned with the source's words, writes nothing, and is over when the source works again. */
static void failures_are_told_and_pass(void **state)
{
    (void)state;
    static const struct test_vehicle vehicles[] = {{"AAA", 3, 1}};
    static const enum failing failures[] = {FAIL_BUCKETS,   FAIL_PROFILES, FAIL_DEALER,
                                            FAIL_SHIPMENTS, FAIL_APPROVAL, FAIL_VEHICLE};
    static const int statuses[] = {WM_IO, WM_NO_MEMORY};

    for (size_t i = 0; i < COUNT(failures) * COUNT(statuses); i++) {
        enum failing failing = failures[i % COUNT(failures)];
        int expected = statuses[i / COUNT(failures)], status = WM_OK;
        struct test_source test = {
            .vehicles = vehicles, .vehicle_count = 1, .failing = failing, .status = expected};
        test.source.vehicle = failing == FAIL_VEHICLE ? test_vehicle : NULL;
        struct office_register *reg = open_test(&test, 3, 9);
        for (int turn = 0; turn < 3; turn++) {
            bool found = true;
            struct vehicle vehicle;
            const struct dealer *dealer = &(struct dealer){.code = {"?", 1}};
            const struct approval *approval = &(struct approval){.limit_cents = 77};
            int64_t quantity = 77;
            if (failing == FAIL_BUCKETS || failing == FAIL_PROFILES || failing == FAIL_VEHICLE)
                status = register_vehicle(reg, TEXT("AAA"), &found, &vehicle);
            else if (failing == FAIL_DEALER)
                status = register_dealer(reg, TEXT("D1"), 0, &dealer);
            else if (failing == FAIL_SHIPMENTS)
                status = register_shipped(reg, TEXT("D1"), TEXT("K"), 0, &quantity);
            else
                status = register_approval(reg, TEXT("PA-1"), &approval);
            assert_int_equal(status, turn < 2 ? expected : WM_OK);
            if (turn == 0) {
                assert_true(found && quantity == 77 && dealer != NULL && approval != NULL);
                assert_true(text_is(register_error(reg),
                                    expected == WM_IO ? "the test's source fails" : "out of memory"));
            }
            if (turn == 1)
                test.failing = FAIL_NOTHING;
        }
        register_close(reg);
    }
    register_close(NULL);
}

/* ---- many threads ---- */

struct reader {
    pthread_t thread;
    struct office_register *reg;
    const struct test_vehicle *vehicles;
    size_t vehicle_count;
    uint64_t random;
    unsigned wrong;
};

static void *read_much(void *context)
{
    struct reader *reader = context;
    struct arena arena = ARENA_EMPTY;

    for (int i = 0; i < 20000; i++) {
        const struct test_vehicle *expected =
            &reader->vehicles[random_below(&reader->random, reader->vehicle_count)];
        struct vehicle vehicle;
        const struct dealer *dealer;
        const struct approval *approval;
        struct text nearest;
        char code[16];
        int64_t quantity;
        bool found = false;
        reader->wrong += register_vehicle(reader->reg, text_of(expected->vin), &found, &vehicle) != WM_OK ||
                         !found || vehicle.profile_number != expected->profile ||
                         vehicle.profile->status_on != (int)expected->profile;
        snprintf(code, sizeof code, "D%d", (int)random_below(&reader->random, 500));
        reader->wrong += register_dealer(reader->reg, text_of(code), 0, &dealer) != WM_OK || dealer != NULL;
        reader->wrong += register_shipped(reader->reg, text_of(code), TEXT("K"), 5, &quantity) != WM_OK ||
                         quantity != (strcmp(code, "D7") == 0 ? 3 : 0);
        reader->wrong += register_approval(reader->reg, text_of(code), &approval) != WM_OK || approval != NULL;
        if (i % 100 != 0)
            continue;
        char vin[VIN_LENGTH + 1];
        strcpy(vin, expected->vin);
        vin[3] = '*';
        reader->wrong += register_vin_nearest(reader->reg, text_of(vin), &arena, &nearest) != WM_OK ||
                         !text_is(nearest, expected->vin);
    }
    arena_free(&arena);
    return NULL;
}

static void many_threads_read_one_register(void **state)
{
    uint64_t random = random_seed("threads");
    enum { VEHICLES = 1000, READERS = 4 };
    static const struct test_shipment shipments[] = {{"D7", "K", 5, 3}};
    struct test_vehicle *vehicles = random_vehicles(&random, VEHICLES, 17);
    struct test_source test = {
        .vehicles = vehicles, .vehicle_count = VEHICLES, .shipments = shipments, .shipment_count = 1};
    struct office_register *reg = open_test(&test, 6, 99);
    struct reader readers[READERS];

    (void)state;
    for (int i = 0; i < READERS; i++) {
        readers[i] = (struct reader){0, reg, vehicles, VEHICLES, random + (uint64_t)i * 77, 0};
        assert_int_equal(pthread_create(&readers[i].thread, NULL, read_much, &readers[i]), 0);
    }
    for (int i = 0; i < READERS; i++) {
        pthread_join(readers[i].thread, NULL);
        assert_int_equal(readers[i].wrong, 0);
    }
    register_close(reg);
    free(vehicles);
}

/* ---- the lazy index ---- */

static void the_index_finds_what_was_added(void **state)
{
    enum { ENTRIES = 5000 };
    static struct lazy_entry entries[ENTRIES];
    static char keys[ENTRIES][16];
    struct lazy_index index = {NULL};

    (void)state;
    assert_null(lazy_index_find(&index, TEXT("x"), 7));
    for (int i = 0; i < ENTRIES; i++) {
        snprintf(keys[i], sizeof keys[i], "k%d", i);
        entries[i] = (struct lazy_entry){(uint64_t)i / 10, text_of(keys[i]), &keys[i]}; /* many of one hash */
        assert_int_equal(lazy_index_add(&index, &entries[i]), WM_OK);
        assert_ptr_equal(lazy_index_find(&index, text_of(keys[i / 2]), (uint64_t)(i / 2) / 10),
                         &entries[i / 2]);
    }
    for (int i = 0; i < ENTRIES; i++)
        assert_ptr_equal(lazy_index_find(&index, text_of(keys[i]), (uint64_t)i / 10), &entries[i]);
    assert_null(lazy_index_find(&index, TEXT("k1"), 400));
    assert_null(lazy_index_find(&index, TEXT("other"), 0));
    lazy_index_free(&index);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(keys_are_those_of_the_format),
        cmocka_unit_test(other_words_are_no_key),
        cmocka_unit_test(keys_lose_nothing_and_keep_the_order),
        cmocka_unit_test(vehicles_are_those_of_the_source),
        cmocka_unit_test(buckets_are_loaded_once),
        cmocka_unit_test(kinds_of_a_fleet),
        cmocka_unit_test(damaged_sources_are_errors),
        cmocka_unit_test(any_bytes_are_safe_to_sieve),
        cmocka_unit_test(strange_sources_are_errors),
        cmocka_unit_test(any_bytes_are_safe_to_search),
        cmocka_unit_test(equal_hashes_are_told_apart),
        cmocka_unit_test(nearest_is_that_of_the_definition),
        cmocka_unit_test(nearest_case_by_case),
        cmocka_unit_test(the_dealers_version_that_counts),
        cmocka_unit_test(shipments_add_up_to_the_day),
        cmocka_unit_test(shipments_may_be_many),
        cmocka_unit_test(approvals_by_number),
        cmocka_unit_test(failures_are_told_and_pass),
        cmocka_unit_test(many_threads_read_one_register),
        cmocka_unit_test(the_index_finds_what_was_added),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
