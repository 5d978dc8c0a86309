/* tallies.h - what a dealer's standing claims add up to: hours by technician and day, quantities by part and
 * day; kept by month of completion (table dealer_months), so that one question reads little and one night
 * writes little.
 *
 * A month's bytes are its tallies in the order of (kind, key, day): kind (1 byte: 1 technician, 2 part), length
 * of the key (4), key, day (4), amount in millionths (8); numbers little-endian. A tally of 0 is left out.
 *
 * A struct tallies collects in memory what begins or ceases to stand. It owns all it holds.
 */
#ifndef WM_LEDGER_TALLIES_H
#define WM_LEDGER_TALLIES_H

#include "base/buffer.h"
#include "base/chunks.h"
#include "base/text_index.h"
#include "intake/claim.h"
#include "ledger/office.h"

enum tally_kind { TALLY_TECHNICIAN = 1, TALLY_PART = 2 };

struct tallies {
    struct arena arena;
    struct text_index dealers, months, keys;
    struct chunks dealer_list, month_list, key_list;
    struct buffer room;
};

void tallies_open(struct tallies *tallies);
void tallies_close(struct tallies *tallies);

/* Adds what a claim counts (sign 1) or takes it out (-1). A claim without completed_on counts nothing. */
int tallies_add_claim(struct tallies *tallies, const struct claim *claim, int sign);

/* Adds what another one collected. */
int tallies_merge(struct tallies *to, const struct tallies *from);

/* Months since year 0 of a day. */
int32_t tally_month(int32_t day);

struct tally {
    enum tally_kind kind;
    struct text key;
    int32_t day;
    int64_t amount; /* millionths of hours, or of pieces */
};

typedef int tally_take(void *taker, struct text dealer, const struct tally *tally);

/* Hands out all tallies of this kind that were collected for the dealer; only of that month, or of all (month
 * INT32_MIN). Equal keys and days may come several times; they add up. */
int tallies_of_dealer(const struct tallies *tallies, struct text dealer, int32_t month, enum tally_kind kind,
                      tally_take *take, void *taker);

/* Hands out the tallies in a month's bytes. WM_BAD_INPUT where they are none. */
int tally_bytes_read(struct text bytes, struct text dealer, tally_take *take, void *taker);

/* Adds to the table what was collected. The tallies are of no use afterwards. */
int tallies_write(struct tallies *tallies, struct office *office);

/* Hands out each month that something was collected for, in the order of (dealer, month), with its bytes (empty
 * where it adds up to nothing), for comparing. */
int tallies_each_month(struct tallies *tallies,
                       int (*take)(void *taker, struct text dealer, int32_t month, struct text bytes),
                       void *taker);

#endif
