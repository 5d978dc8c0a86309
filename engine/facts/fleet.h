/* fleet.h - the vehicles of the register by kind: each profile, by the days built that rules tell apart, and
 * how many there are. So that what the rules say of millions of vehicles is asked a few thousand times.
 */
#ifndef WM_FACTS_FLEET_H
#define WM_FACTS_FLEET_H

#include "register/register_source.h"
#include "rules/rules.h"

struct fleet_kind {
    struct vehicle vehicle; /* one of them; its profile is in the arena */
    uint64_t count;
};

/* Reads every vehicle of the source once. Everything is in the arena. WM_IO where the source fails (its error
 * says why), WM_NO_MEMORY. */
int fleet_kinds_read(struct register_source *source, const struct rules *rules, struct arena *arena,
                     struct fleet_kind **ret_kinds, uint32_t *ret_count);

#endif
