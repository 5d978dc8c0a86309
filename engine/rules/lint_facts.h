/* lint_facts.h - what is known of the engine's facts beforehand: which words they may be, whether they may be
 * null, and what follows from one for another.
 *
 * The states of a fact are bits: NULL_STATE; then one bit for each word of its list, for a boolean FALSE_STATE
 * and TRUE_STATE, or VALUE_STATE for any value at all. A set of states that became empty says that no claim is
 * like that.
 *
 * It is knowledge about engine/facts, kept here because the analysis of tables needs it and includes point one
 * way.
 */
#ifndef WM_RULES_LINT_FACTS_H
#define WM_RULES_LINT_FACTS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/text.h"
#include "rules/dictionary.h"

enum { NULL_STATE = 1u, VALUE_STATE = 2u, FALSE_STATE = 2u, TRUE_STATE = 4u };

struct fact_nature {
    const char *words; /* the only words it may be, separated by blanks; NULL: any value */
    bool never_null;
    int64_t step; /* numbers are multiples of it, in millionths; 1: any number */
    bool not_negative;
};

/* Any value, null too. */
extern const struct fact_nature FACT_NATURE_OPEN;

/* scope: of the table that names the fact. */
struct fact_nature fact_nature(enum fact_id id, enum scope scope);

/* The fact of this slot; FACT_COUNT where it is an option or an inspection. */
enum fact_id fact_of_slot(const struct dictionary *dictionary, uint32_t slot);

/* The number of a word in a list of words separated by blanks, or -1. */
int fact_word_number(const char *words, struct text word, bool any_case);

/* All the states that a fact may be in. */
uint32_t fact_states(enum fact_id id, enum scope scope);

/* Takes out of each fact's states those that the others rule out; false: one has none left. */
bool fact_states_narrow(uint32_t states[FACT_COUNT]);

#endif
