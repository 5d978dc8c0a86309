#include "cli/fleet.h"

#include <stdlib.h>

#include "base/status.h"
#include "facts/establish.h"
#include "register/vehicle_pack.h"

/* Buckets asked for at a time. */
enum { MOST_BUCKETS = 4096 };

/* Vehicles of one profile built within one stretch of days. */
struct kind {
    uint64_t count;
    int32_t built_on; /* of one of them */
};

struct reading {
    const struct rules *rules;
    struct arena *arena;
    struct vehicle_profile *profiles;
    uint32_t profile_limit;
    int32_t *days; /* cut points */
    uint32_t day_count, stretches;
    struct kind *kinds; /* stretches for each profile; pages that are not touched cost nothing */
    uint32_t kind_count;
};

/* --- Profiles ------------------------------------------------------------------------------------- */

static int take_profile(void *taker, uint32_t number, const struct vehicle_profile *profile)
{
    struct reading *reading = taker;
    struct vehicle_profile *own = &reading->profiles[number];
    struct text *const texts[] = {&own->model_line, &own->engine,  &own->transmission,
                                  &own->plant,      &own->options, &own->status};

    if (number >= reading->profile_limit)
        return WM_OK;
    *own = *profile;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        *texts[i] = text_copy(reading->arena, *texts[i]);
        if (texts[i]->bytes == NULL)
            return WM_NO_MEMORY;
    }
    return WM_OK;
}

/* --- Vehicles ------------------------------------------------------------------------------------- */

/* 0 without a day; else 1 + twice the cut points before it, one more on one. */
static uint32_t stretch_of(const struct reading *reading, int32_t built_on)
{
    uint32_t low = 0, high = reading->day_count;

    if (built_on == DAY_NONE)
        return 0;
    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (reading->days[middle] < built_on)
            low = middle + 1;
        else
            high = middle;
    }
    return 1 + 2 * low + (low < reading->day_count && reading->days[low] == built_on);
}

static int take_bucket(void *taker, uint32_t bucket, const void *bytes, size_t length)
{
    struct reading *reading = taker;
    int64_t count = vehicle_bucket_count(length);
    (void)bucket;

    for (uint32_t i = 0; count > 0 && i < (uint32_t)count; i++) {
        struct packed_vehicle vehicle = vehicle_bucket_at(bytes, (uint32_t)count, i);
        if (vehicle.profile >= reading->profile_limit)
            continue;
        struct kind *kind =
            &reading
                 ->kinds[(size_t)vehicle.profile * reading->stretches + stretch_of(reading, vehicle.built_on)];
        reading->kind_count += kind->count == 0;
        kind->count++;
        kind->built_on = vehicle.built_on;
    }
    return WM_OK;
}

static int read_vehicles(struct register_source *source, struct reading *reading)
{
    uint64_t buckets = UINT64_C(1) << source->bucket_bits;
    int status = WM_OK;

    for (uint64_t first = 0; status == WM_OK && first < buckets; first += MOST_BUCKETS) {
        uint64_t count = buckets - first < MOST_BUCKETS ? buckets - first : MOST_BUCKETS;
        status = source->buckets(source->context, (uint32_t)first, (uint32_t)count, take_bucket, reading);
    }
    return status;
}

/* --- The fleet ------------------------------------------------------------------------------------ */

static int make_vehicle(const struct reading *reading, uint32_t profile, const struct kind *kind,
                        struct lint_vehicle *ret_vehicle)
{
    struct vehicle vehicle = {profile, &reading->profiles[profile], kind->built_on};
    struct value *facts = ARENA_ARRAY(reading->arena, struct value, reading->rules->dictionary->slot_count);

    if (facts == NULL)
        return WM_NO_MEMORY;
    facts_of_vehicle(reading->rules, &vehicle, facts);
    *ret_vehicle = (struct lint_vehicle){facts, kind->count};
    return WM_OK;
}

static int mark_slots(const struct reading *reading, struct lint_fleet *fleet)
{
    static const enum fact_id FACTS[] = {FACT_model_line,   FACT_model_year, FACT_engine,
                                         FACT_transmission, FACT_built_on,   FACT_plant};
    const struct dictionary *dictionary = reading->rules->dictionary;
    bool *slots = ARENA_ARRAY(reading->arena, bool, dictionary->slot_count);

    if (slots == NULL)
        return WM_NO_MEMORY;
    for (size_t i = 0; i < sizeof FACTS / sizeof *FACTS; i++)
        if (dictionary->slot[FACTS[i]] >= 0)
            slots[dictionary->slot[FACTS[i]]] = true;
    for (uint32_t i = 0; i < dictionary->named_count; i++)
        if (dictionary->named[i].is_option)
            slots[dictionary->named[i].slot] = true;
    fleet->slots = slots;
    fleet->slot_count = dictionary->slot_count;
    return WM_OK;
}

static int make_fleet(const struct reading *reading, struct lint_fleet *ret_fleet)
{
    struct lint_vehicle *vehicles = ARENA_ARRAY(reading->arena, struct lint_vehicle, reading->kind_count);
    struct lint_fleet fleet = {.vehicles = vehicles};
    size_t kinds = (size_t)reading->profile_limit * reading->stretches;

    if (vehicles == NULL)
        return WM_NO_MEMORY;
    for (size_t i = 0; i < kinds; i++) {
        if (reading->kinds[i].count == 0)
            continue;
        int status = make_vehicle(reading, (uint32_t)(i / reading->stretches), &reading->kinds[i],
                                  &vehicles[fleet.count++]);
        if (status != WM_OK)
            return status;
    }
    int status = mark_slots(reading, &fleet);
    if (status == WM_OK)
        *ret_fleet = fleet;
    return status;
}

int fleet_read(struct register_source *source, const struct rules *rules, struct arena *arena,
               struct lint_fleet *ret_fleet)
{
    struct reading reading = {.rules = rules, .arena = arena, .profile_limit = source->profile_limit};
    int status = lint_days(rules, arena, &reading.days, &reading.day_count);

    if (status != WM_OK)
        return status;
    reading.stretches = 2 * reading.day_count + 2;
    reading.profiles = ARENA_ARRAY(arena, struct vehicle_profile, reading.profile_limit);
    reading.kinds = calloc((size_t)reading.profile_limit * reading.stretches + 1, sizeof *reading.kinds);
    if (reading.profiles == NULL || reading.kinds == NULL)
        status = WM_NO_MEMORY;
    if (status == WM_OK && reading.profile_limit > 0)
        status = source->profiles(source->context, 0, reading.profile_limit, take_profile, &reading);
    if (status == WM_OK)
        status = read_vehicles(source, &reading);
    if (status == WM_OK)
        status = make_fleet(&reading, ret_fleet);
    free(reading.kinds);
    return status;
}
