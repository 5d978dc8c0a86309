/* dossier.h - one claim and all that is known of it on its way through the engine.
 *
 * Made by facts_establish for a claim by itself, completed by history (facts that depend on other claims),
 * judged by verdict. A dossier and all it points to live in the arena of its block, and are borrowed from
 * there; campaign, vehicle, dealer and expectation belong to the rules, the register and the thread's memory of
 * expectations.
 */
#ifndef WM_FACTS_DOSSIER_H
#define WM_FACTS_DOSSIER_H

#include "facts/expectation.h"
#include "facts/vin.h"
#include "intake/claim.h"
#include "register/register.h"
#include "rules/rules.h"

/* One item for each that is claimed or expected. */
struct item {
    enum scope scope;
    struct text shown, key; /* as the rules write it, or as the claim does where they do not have it */
    bool claimed;
    enum need expected;
    union {           /* by scope: a night has ten times as many items as claims, and they should stay in the cache */
        struct {      /* part */
            bool other_kit;
            bool has_price, has_listed_price;
            int64_t quantity, quantity_allowed;      /* millionths */
            int64_t price, price_listed;             /* millionths of the currency */
            int64_t quantity_counted, price_counted; /* what the payment is made of; 0 where nothing counts */
        };
        struct {      /* labor */
            int64_t hours, hours_allowed, hours_counted; /* millionths */
            bool operation_known;
        };
        struct {      /* inspection */
            struct text result, unit;
            bool has_reading;
            int64_t reading;
            struct value as_expected; /* boolean or null */
        };
    };
};

struct finding {
    enum effect effect;
    enum effect effect_of_table; /* before an approval made it a note */
    struct text name;
    struct text item; /* empty: about the claim */
    struct text message;
    struct text rule_file, rule_row; /* row empty: the whole table; file empty: no rule */
    uint32_t item_order;             /* 0 for the claim, from 1 for its items */
    uint32_t row;
};

enum decision { DECISION_PAY, DECISION_HOLD, DECISION_RETURN, DECISION_REFUSE };
const char *decision_name(enum decision decision);
/* False if the word is none. */
bool decision_from(struct text word, enum decision *ret_decision);

/* What history looks for; text.bytes NULL: it does not. */
struct noted_key {
    struct text text;
    uint32_t hash;
};

struct dossier {
    struct claim claim;
    int campaign_number;             /* -1: unknown */
    const struct campaign *campaign; /* NULL: unknown */
    bool vehicle_is_looked_up;
    bool vehicle_known;
    struct vehicle vehicle;
    const struct dealer *dealer;     /* NULL: unknown on that day */
    const struct approval *approval; /* NULL: none named, or unknown */
    bool approval_valid;
    const struct expectation *expectation; /* NULL: campaign or vehicle unknown */
    struct item
        *items; /* kit, parts, operations, inspections as the rules list them, then the claim's others */
    uint32_t part_count, operation_count, inspection_count,
        item_count;        /* parts first, then labor, then inspections */
    int64_t hours_claimed; /* millionths */
    bool amounts_known;    /* the dealer is known */
    int64_t parts_allowed_cents, labor_allowed_cents;
    struct value *facts; /* one for each slot of the rules */
    uint64_t *late_rows; /* rows that stand after the early conditions, of late claim checks */
    struct vehicle_ask vehicle_ask; /* by facts_approach */
    struct dealer_ask dealer_ask;   /* likewise */
    struct finding *findings;
    uint32_t finding_count, finding_capacity;
    struct noted_key claim_key;                  /* by history_note, as the following */
    struct noted_key order_key, day_key, kit_key; /* of the totals */
    uint32_t vehicle_hash;
    uint64_t row_place;  /* where its row stands in the file, in bytes */
    uint32_t row_length; /* 0: not in a file that can be read again */
    uint32_t claim_entry, vehicle_entry; /* where history keeps the claim and its vehicle */
    uint32_t order_entry, day_entry, kit_entry; /* which totals the claim is looked at in; TOTALS_NONE: none */
    /* from here on: after the claims before it are settled */
    bool supersedes; /* no recorded revision is as high: it may become the standing one */
    int64_t paid_before_cents;
    enum decision decision;
    int64_t payable_cents, due_cents;
    /* for recording (history_keep_contents) */
    struct text content;           /* canonical text; bytes NULL where the run does not keep contents */
    const uint8_t *content_digest; /* CONTENT_DIGEST_BYTES */
    uint64_t row;                  /* its place in the order of recording; 0: it has none */
    uint64_t replaces;             /* the row that counted for the claim until now; 0: none */
    uint64_t stood;                /* the row that stood for the claim until now and does no longer; 0: none */
    uint64_t repeats; /* a recorded row with this revision and content: this one is not recorded; 0: none */
};

#endif
