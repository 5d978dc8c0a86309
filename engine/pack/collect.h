/* collect.h - what an office knows of all its vehicles, collected for a pack: each vehicle, and which campaigns
 * are complete on it.
 *
 * Complete means that a claim stands: decided pay or hold. A completion is the campaign and whether the vehicle
 * was repaired or inspected, since the one calls for other words than the other; never whose it is, when, or
 * under which number. Of several claims of one campaign on a vehicle the first recorded counts, as it does for
 * the facts `earlier_...`. A VIN that is not in the register and on which a claim stands is collected too.
 *
 * A collection owns all it holds.
 */
#ifndef WM_PACK_COLLECT_H
#define WM_PACK_COLLECT_H

#include "base/arena.h"
#include "base/text_index.h"
#include "intake/claim.h"
#include "ledger/office.h"
#include "pack/own.h"
#include "register/vehicle_pack.h"

enum { NO_PROFILE = UINT32_MAX };

/* A claim that stands, of any dealer. */
struct standing {
    struct text vin;
    uint32_t campaign; /* number of a word */
    uint32_t place;    /* the dealer's own: its place, from 1; 0: of another */
    int64_t row;
    enum outcome outcome;
};

struct collected_vehicle {
    struct packed_vin vin;
    uint32_t profile; /* the office's number; NO_PROFILE: not in the register */
    int32_t built_on;
    uint32_t set; /* number of a set of completions, + 1; 0: nothing is complete */
};

/* Completions that some vehicle has. */
struct completion_set {
    struct text key; /* for each 5 bytes: the campaign's word, the outcome */
};

struct collection {
    struct arena arena;
    struct text dealer;
    struct text_index words; /* campaigns */
    struct text *word_list;
    uint32_t word_count, word_capacity;
    struct standing *standing; /* by VIN, then in the order of recording */
    uint32_t standing_count, standing_capacity;
    int64_t *own_rows; /* of the dealer's standing claims, ascending: a row's place is its number + 1 */
    uint32_t own_count, own_capacity;
    struct text_index set_index;
    struct completion_set *sets;
    uint32_t set_count, set_capacity;
    struct collected_vehicle *vehicles;
    size_t vehicle_count, vehicle_capacity;
    bool check_digits_hold;
};

/* The claims that stand. dealer: whose own claims get places; empty: nobody's. Inside office_begin_read. */
int collect_standing(struct office *office, struct text dealer, struct collection *collection);

/* The vehicles, with sets made of the claims that stand. `campaigns`: count of them, the only ones that count;
 * or NULL. */
int collect_vehicles(struct office *office, const struct text *campaigns, uint32_t count,
                     struct collection *collection);

/* What others completed on the vehicles on which the dealer has standing claims; in the collection's arena. */
int collect_others(struct collection *collection, struct own_other **ret_others, uint32_t *ret_count);

void collection_free(struct collection *collection);

#endif
