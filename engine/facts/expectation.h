/* expectation.h - what a campaign's tables expect of one vehicle: eligible or not, its stage, the kit, parts,
 * operations and inspections.
 *
 * Vehicles that the tables cannot tell apart have the same expectation, so each thread remembers those it has met:
 * the tables are asked once for each kind of vehicle, not once for each claim. An expectation is immutable and
 * lives as long as the memory (struct expectations) that gave it, but where a campaign's tables compare facts with
 * facts or with patterns: then it lives in the arena of the claim.
 *
 * Not here: prices (they go by date), what was claimed.
 */
#ifndef WM_FACTS_EXPECTATION_H
#define WM_FACTS_EXPECTATION_H

#include "rules/rules.h"

struct expected_part {
    struct text key, shown;
    const struct campaign_part *part;    /* its prices */
    enum need need;
    int64_t quantity;                    /* millionths */
};

struct expected_operation {
    struct text key, shown;
    enum need need;
    int64_t hours;                       /* millionths */
};

struct expected_inspection {
    struct text key, shown;
    enum need need;
    const struct inspection_test **tests;    /* all must hold */
    uint32_t test_count;
};

/* A table in error for this vehicle. */
struct ambiguity {
    const struct table *table;
    enum table_fault fault;
    uint32_t first_row, second_row;
};

struct expectation {
    struct value eligible;               /* boolean or null */
    struct text stage;                   /* empty: none */
    int32_t stage_opens_on;              /* DAY_NONE: none */
    struct text kit_shown, kit_key;      /* empty: no kit expected */
    struct expected_part *parts;         /* the kit first, then as the rules list them */
    struct expected_operation *operations;
    struct expected_inspection *inspections;
    uint32_t part_count, operation_count, inspection_count;
    int64_t hours_allowed;               /* millionths, of all operations */
    struct ambiguity *ambiguities;
    uint32_t ambiguity_count;
};

struct expectations;

int expectations_new(const struct rules *rules, struct expectations **ret_expectations);
void expectations_free(struct expectations *expectations);

/* What the campaign expects of the vehicle whose facts (and outcome, and inspection results) stand in facts. arena
 * is the claim's. */
int expectations_find(struct expectations *expectations, const struct campaign *campaign, const struct value *facts,
                      struct table_scratch *scratch, struct arena *arena, const struct expectation **ret_expectation);

/* Only whether the vehicle is eligible under this campaign: a boolean, or null where its table is in error. */
int expectation_eligible(const struct campaign *campaign, const struct value *facts, struct table_scratch *scratch,
                         struct value *ret_eligible);

/* The same, with the stage (empty: none) and the day it opens (DAY_NONE: none). */
int expectation_stage(const struct campaign *campaign, const struct value *facts, struct table_scratch *scratch,
                      struct value *ret_eligible, struct text *ret_stage, int32_t *ret_opens_on);

#endif
