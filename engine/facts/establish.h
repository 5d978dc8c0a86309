/* establish.h - what is true of a claim by itself: its statements, the VIN, campaign, vehicle, dealer,
 * approval, what is expected, its items and sums (contract section 5, all facts but those of the ledger).
 *
 * Pure apart from looking things up in the register; many threads may do it at once, each with its own worker.
 */
#ifndef WM_FACTS_ESTABLISH_H
#define WM_FACTS_ESTABLISH_H

#include "facts/dossier.h"

/* Facts that are not known where the claim is looked at, as at a dealer's with a pack: put to null behind
 * facts_establish, and again behind history_establish. May be called by several threads. */
struct withheld_facts {
    void *context;
    int (*withhold)(void *context, struct dossier *dossier);
};

/* What is the same for every claim of a run. */
struct office_day {
    const struct rules *rules;
    struct office_register *office_register;
    int32_t today;
    int32_t received_on;
    const struct withheld_facts *withheld; /* NULL: all facts are known */
};

/* One thread's memory. */
struct fact_worker {
    const struct office_day *day;
    struct expectations *expectations;
    struct table_scratch *scratch;
};

int fact_worker_open(struct fact_worker *ret_worker, const struct office_day *day);
void fact_worker_close(struct fact_worker *worker);

/* Steps before facts_establish, for a file of claims: all of them or none, in this order; they pay where other claims
 * take theirs in between (register.h). */
void facts_approach(const struct office_day *day, struct dossier *dossier);
void facts_prefetch(const struct office_day *day, struct dossier *dossier);
int facts_look_up(const struct office_day *day, struct dossier *dossier);

/* Completes a dossier whose claim has been read (and is readable). Everything new is in the arena. */
int facts_establish(struct fact_worker *worker, struct arena *arena, struct dossier *dossier);

/* Puts the item's facts into the dossier's values, so that the checks of its scope can be asked. */
void facts_of_item(const struct rules *rules, const struct item *item, struct value *facts);

/* Puts one claim fact, if any table asks for it. */
static inline void fact_put(const struct rules *rules, struct value *facts, enum fact_id id, struct value v)
{
    int slot = rules_slot(rules, id);

    if (slot >= 0)
        facts[slot] = v;
}

/* The facts of a vehicle: model_line ... plant, option:WORD; null each where vehicle is NULL. */
void facts_of_vehicle(const struct rules *rules, const struct vehicle *vehicle, struct value *facts);

#endif
