/* tallies.h - what a dealer's standing claims add up to, in memory: hours by technician and day, quantities by
 * part and day.
 *
 * The office file keeps them as they are now (ledger/packed.h); these are for the state at an earlier point,
 * which is added up anew. A struct tallies owns all it holds.
 */
#ifndef WM_LEDGER_TALLIES_H
#define WM_LEDGER_TALLIES_H

#include "ledger/packed.h"

struct tally;

struct tallies {
    struct tally *list; /* malloc'd */
    uint32_t count, capacity;
    uint32_t *by_day; /* hash and day to number + 1; as many slots as by_key */
    uint32_t *by_key; /* hash to the number + 1 of its newest */
    uint32_t slots;
};

void tallies_open(struct tallies *tallies);
void tallies_close(struct tallies *tallies);

/* Adds what a claim counts (sign 1) or takes it out (-1). */
int tallies_add_claim(struct tallies *tallies, const struct claim *claim, int sign);

/* Adds what another one collected. */
int tallies_merge(struct tallies *to, const struct tallies *from);

/* Hands out what was collected under a key. */
int tallies_find(const struct tallies *tallies, uint64_t hash, packed_take *take, void *taker);

/* Adds all of it to a list. */
int tallies_list(const struct tallies *tallies, struct packed_list *list);

#endif
