#include "cli/fleet.h"

#include "base/status.h"
#include "facts/establish.h"
#include "facts/fleet.h"

static int make_vehicle(const struct rules *rules, struct arena *arena, const struct fleet_kind *kind,
                        struct lint_vehicle *ret_vehicle)
{
    struct value *facts = ARENA_ARRAY(arena, struct value, rules->dictionary->slot_count);

    if (facts == NULL)
        return WM_NO_MEMORY;
    facts_of_vehicle(rules, &kind->vehicle, facts);
    *ret_vehicle = (struct lint_vehicle){facts, kind->count};
    return WM_OK;
}

static int mark_slots(const struct rules *rules, struct arena *arena, struct lint_fleet *fleet)
{
    static const enum fact_id FACTS[] = {FACT_model_line,   FACT_model_year, FACT_engine,
                                         FACT_transmission, FACT_built_on,   FACT_plant};
    const struct dictionary *dictionary = rules->dictionary;
    bool *slots = ARENA_ARRAY(arena, bool, dictionary->slot_count);

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

int fleet_read(struct register_source *source, const struct rules *rules, struct arena *arena,
               struct lint_fleet *ret_fleet)
{
    struct fleet_kind *kinds;
    uint32_t count;
    int status = fleet_kinds_read(source, rules, arena, &kinds, &count);

    if (status != WM_OK)
        return status;
    struct lint_vehicle *vehicles = ARENA_ARRAY(arena, struct lint_vehicle, count);
    struct lint_fleet fleet = {.vehicles = vehicles, .count = count};
    if (vehicles == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = make_vehicle(rules, arena, &kinds[i], &vehicles[i]);
    if (status == WM_OK)
        status = mark_slots(rules, arena, &fleet);
    if (status == WM_OK)
        *ret_fleet = fleet;
    return status;
}
