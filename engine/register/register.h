/* register.h - what the office knows of vehicles, dealers, shipments and approvals, for reading.
 *
 * The register asks a source (the office file, a pack, a test) for what it does not hold yet, and keeps it:
 * vehicles a bucket at a time, the rest whole at first use. Once opened it may be read by any number of
 * threads. Texts and structs that it gives out live as long as the register.
 *
 * Not here: how office data is loaded and kept (ledger), what it means for a claim (facts).
 */
#ifndef WM_REGISTER_REGISTER_H
#define WM_REGISTER_REGISTER_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/date.h"
#include "base/diag.h"
#include "base/text.h"

/* What many vehicles share: one profile for each combination of these that occurs. */
struct vehicle_profile {
    struct text model_line, engine, transmission, plant;
    struct text options; /* words separated by blanks, as loaded */
    struct text status;  /* in_service, scrapped ... as loaded; empty: none given */
    int32_t status_on;   /* DAY_NONE: none */
    bool has_model_year;
    int32_t model_year;
};

struct vehicle {
    uint32_t profile_number; /* equal numbers, equal profiles */
    const struct vehicle_profile *profile;
    int32_t built_on; /* DAY_NONE: none */
};

/* One version of a dealer's data. */
struct dealer {
    struct text code, name, region; /* region: ISO 3166-2, may be empty */
    int64_t labor_rate;             /* millionths of the currency an hour */
    int64_t parts_markup;           /* millionths of a percent: 12.5 % is 12500000 */
    int32_t active_from, active_to; /* both days inclusive; DAY_NONE: open */
    int32_t valid_from;             /* DAY_NONE: always */
};

struct approval {
    struct text number, dealer, campaign, vin, covers, reason; /* dealer, campaign, vin empty: open */
    bool has_limit;
    int64_t limit_cents;
    int32_t valid_to; /* DAY_NONE: open */
};

struct register_source; /* see register_source.h */
struct office_register;

/* A register over a source; it borrows the source. WM_NO_MEMORY. */
int register_open(struct register_source *source, struct office_register **ret_register);
void register_close(struct office_register *office_register); /* accepts NULL */

/* WM_OK with *ret_found; WM_IO / WM_NO_MEMORY where the source fails (register_error says why).
 * vin: trimmed and upper-cased. */
int register_vehicle(struct office_register *office_register, struct text vin, bool *ret_found,
                     struct vehicle *ret_vehicle);

/* The same in three steps, for many vehicles: with those of other claims between them each step finds in the cache
 * what it reads, where it would wait for memory otherwise. The first two never fail, and may be left out. */
struct vehicle_ask {
    uint64_t hash;
    uint32_t tail;
    bool is_possible;    /* false: no VIN that a register can hold */
};
struct vehicle_ask register_vehicle_approach(struct office_register *office_register, struct text vin);
void register_vehicle_prefetch(struct office_register *office_register, const struct vehicle_ask *ask);
int register_vehicle_find(struct office_register *office_register, const struct vehicle_ask *ask, struct text vin,
                          bool *ret_found, struct vehicle *ret_vehicle);

/* The one registered VIN that one replaced character or one swap of neighbours makes of this one of 17
 * characters; empty where there is none or several, or where the VIN itself is registered, or is not of 17
 * characters. The text is in the arena. */
int register_vin_nearest(struct office_register *office_register, struct text vin, struct arena *arena,
                         struct text *ret_vin);

/* The dealer's version that counts on this day (contract section 2); DAY_NONE: the latest. NULL: unknown. */
int register_dealer(struct office_register *office_register, struct text code, int32_t day,
                    const struct dealer **ret_dealer);

/* Quantity (millionths) of the part (as it compares) shipped to the dealer up to and including this day. */
int register_shipped(struct office_register *office_register, struct text dealer, struct text part_key,
                     int32_t day, int64_t *ret_quantity);

/* The same in steps, as for vehicles: dealer is the code that was approached. What says no status never
 * fails, and may be left out; an ask begins as zeros then. */
struct dealer_file;
struct dealer_ask {
    uint64_t hash;
    struct dealer_file *file;    /* NULL: not looked for yet */
};
struct dealer_ask register_dealer_approach(struct office_register *office_register, struct text code);
void register_dealer_prefetch(struct office_register *office_register, struct dealer_ask *ask, struct text code);
int register_dealer_find(struct office_register *office_register, struct dealer_ask *ask, struct text code, int32_t day,
                         const struct dealer **ret_dealer);
/* Behind register_dealer_find. */
void register_shipped_prefetch(const struct dealer_ask *ask, struct text part_key);
int register_shipped_find(struct office_register *office_register, struct dealer_ask *ask, struct text dealer,
                          struct text part_key, int32_t day, int64_t *ret_quantity);

/* NULL: unknown. */
int register_approval(struct office_register *office_register, struct text number,
                      const struct approval **ret_approval);

/* What went wrong with the source last; empty if nothing did. */
struct text register_error(struct office_register *office_register);

#endif
