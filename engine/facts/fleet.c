#include "facts/fleet.h"

#include <assert.h>
#include <stdlib.h>

#include "base/status.h"
#include "register/vehicle_pack.h"
#include "rules/lint.h"

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

/* --- Profiles -------------------------------------------------------------------------------------- */

static int take_profile(void *taker, uint32_t number, const struct vehicle_profile *profile)
{
    struct reading *reading = taker;

    assert(number < reading->profile_limit);
    struct vehicle_profile *own = &reading->profiles[number];
    struct text *const texts[] = {&own->model_line, &own->engine,  &own->transmission,
                                  &own->plant,      &own->options, &own->status};
    *own = *profile;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        *texts[i] = text_copy(reading->arena, *texts[i]);
        if (texts[i]->bytes == NULL)
            return WM_NO_MEMORY;
    }
    return WM_OK;
}

/* --- Vehicles -------------------------------------------------------------------------------------- */

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

/* --- Kinds ----------------------------------------------------------------------------------------- */

static int list_kinds(const struct reading *reading, struct fleet_kind **ret_kinds)
{
    struct fleet_kind *kinds = ARENA_ARRAY(reading->arena, struct fleet_kind, reading->kind_count);
    size_t places = (size_t)reading->profile_limit * reading->stretches, count = 0;

    if (kinds == NULL)
        return WM_NO_MEMORY;
    for (size_t i = 0; i < places; i++) {
        const struct kind *kind = &reading->kinds[i];
        uint32_t profile = (uint32_t)(i / reading->stretches);
        if (kind->count > 0)
            kinds[count++] =
                (struct fleet_kind){{profile, &reading->profiles[profile], kind->built_on}, kind->count};
    }
    *ret_kinds = kinds;
    return WM_OK;
}

int fleet_kinds_read(struct register_source *source, const struct rules *rules, struct arena *arena,
                     struct fleet_kind **ret_kinds, uint32_t *ret_count)
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
        status = list_kinds(&reading, ret_kinds);
    if (status == WM_OK)
        *ret_count = reading.kind_count;
    free(reading.kinds);
    return status;
}
