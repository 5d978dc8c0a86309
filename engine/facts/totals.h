/* totals.h - running totals over standing claims: vehicles of a repair order, hours of a technician's day,
 * quantities of a kit by day. Private to engine/facts; history adds and takes out.
 *
 * Orders, days and kits have numbers, given when they are first touched, so that a claim can name what it
 * counts in by four bytes each. Vehicles are named by their numbers in the history.
 */
#ifndef WM_FACTS_TOTALS_H
#define WM_FACTS_TOTALS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/chunks.h"
#include "base/text_pool.h"
#include "facts/dossier.h"
#include "facts/number_index.h"

#define TOTALS_NONE UINT32_MAX

/* Sizes of rooms for the days of a kit: so many that the largest holds every day that a date can be. */
enum { TOTALS_DAY_ROOMS = 44 };
struct day_room;

struct totals {
    struct text_pool keys;
    struct arena day_rooms;
    struct day_room *left_rooms[TOTALS_DAY_ROOMS];
    struct chunks orders, pairs, days, kits;
    struct number_index order_index, pair_index, day_index, kit_index;
};

void totals_open(struct totals *totals);
void totals_close(struct totals *totals);

/* Says that so many more are coming; 0: nothing is known. */
void totals_expect(struct totals *totals, uint32_t orders, uint32_t days);

/* Say that these keys of the claim will be looked for soon: the first long before, where their slots are; the others,
 * in their order and each some claims after the one before, what the slot and then the entry of its kit lead to. */
void totals_prefetch_slots(const struct totals *totals, const struct dossier *dossier);
void totals_prefetch_entry(const struct totals *totals, const struct dossier *dossier);
void totals_prefetch_content(const struct totals *totals, const struct dossier *dossier);

/* The number, made if it is new. *ret_asked, if not NULL: whether the office's records were asked about it
 * before; from then on they were. Keys: dealer and repair order; dealer, technician and day; dealer and kit. */
int totals_order(struct totals *totals, const struct noted_key *key, uint32_t *ret_order, bool *ret_asked);
int totals_day(struct totals *totals, const struct noted_key *key, uint32_t *ret_day, bool *ret_asked);
int totals_kit(struct totals *totals, const struct noted_key *key, uint32_t *ret_kit, bool *ret_asked);

/* claims: how many more (or, negative, fewer) claims stand for this vehicle on the order. */
int totals_add_vehicle(struct totals *totals, uint32_t order, uint32_t vehicle, int claims);
void totals_add_hours(struct totals *totals, uint32_t day, int64_t hours);
int totals_add_quantity(struct totals *totals, uint32_t kit, int32_t day, int64_t quantity);

/* Vehicles of the order other than this one. own_vehicle: one claim on it is not counted (TOTALS_NONE: none).
 */
uint32_t totals_other_vehicles(struct totals *totals, uint32_t order, uint32_t vehicle, uint32_t own_vehicle);
int64_t totals_hours(const struct totals *totals, uint32_t day);
/* Up to and including the day. */
int64_t totals_quantity(const struct totals *totals, uint32_t kit, int32_t day);

#endif
