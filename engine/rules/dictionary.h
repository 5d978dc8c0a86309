/* dictionary.h - the facts that rules may name: what the engine computes and what the office's facts.csv says.
 *
 * Facts get a slot in a claim's row of values when a table first names them; a fact that no table names has
 * none and is not computed. The dictionary lives in the arena of the rules.
 */
#ifndef WM_RULES_DICTIONARY_H
#define WM_RULES_DICTIONARY_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/value.h"
#include "rules/fact_list.h"
#include "tables/table.h"

enum scope { SCOPE_CLAIM, SCOPE_PART, SCOPE_LABOR, SCOPE_INSPECTION, SCOPE_ITEM /* the three items alike */ };
enum { SCOPES = 4 };

#define FACT_ID(name, type, scope, stage, comparison) FACT_##name,
enum fact_id { FACT_LIST(FACT_ID) FACT_COUNT };
#undef FACT_ID

/* What the engine knows of a fact. */
struct fact_kind {
    const char *name;
    enum value_type type;
    enum scope scope;
    bool late;
    bool any_case;
};

const struct fact_kind *fact_kind(enum fact_id id);
const char *scope_name(enum scope scope);

/* A fact named after something in the rules: option:WORD or inspection:ITEM. */
struct named_fact {
    struct text name;     /* the whole of it, "option:tow" */
    struct text word;     /* behind the colon; for an inspection its item key */
    bool is_option;
    uint32_t slot;
};

struct dictionary {
    bool listed[FACT_COUNT][SCOPES];          /* facts.csv has it for this scope */
    bool office_only[FACT_COUNT][SCOPES];
    int slot[FACT_COUNT];                     /* -1: no table names it */
    struct named_fact *named;
    uint32_t named_count, named_capacity;
    uint32_t slot_count;
    struct arena *arena;
    bool no_memory;
};

/* Reads facts.csv. Every error is reported; WM_BAD_INPUT after any. */
int dictionary_read(struct arena *arena, struct text file, struct text csv, struct diag_sink *sink,
                    struct dictionary **ret_dictionary);

/* Which facts a table may name. */
enum fact_set {
    FACTS_OF_SCOPE,           /* check tables: claim facts and those of the scope's items */
    FACTS_OF_VEHICLE,         /* eligibility */
    FACTS_OF_VEHICLE_OUTCOME, /* kits, inspections: and the outcome */
    FACTS_OF_WORK,            /* parts, labor: and inspection:ITEM */
    FACTS_OF_FOLLOWUP,        /* vehicle and inspection:ITEM */
    FACTS_OF_REGION,          /* deadlines */
    FACTS_OF_ANY_SCOPE        /* a table by itself, for `rules try` */
};

struct fact_view {
    struct dictionary *dictionary;
    enum fact_set set;
    enum scope scope;         /* for FACTS_OF_SCOPE */
};

/* The source to give to table_compile; view must live as long as the call. */
struct fact_source fact_view_source(struct fact_view *view);

#endif
