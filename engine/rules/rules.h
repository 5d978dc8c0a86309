/* rules.h - a rules folder, read, checked and compiled: immutable, shared by all threads.
 *
 * It holds the dictionary, the deadlines, the units, every campaign with its tables, and the office's checks. A
 * folder with an error gives no rules; every error is reported. Everything is in the arena given to
 * rules_compile, but for pattern code and indexes: rules_free.
 *
 * Not here: asking the tables (facts and verdict do), and what is wrong with rules that can be used (lint).
 */
#ifndef WM_RULES_RULES_H
#define WM_RULES_RULES_H

#include <stdbool.h>
#include <stdint.h>

#include "base/text_index.h"
#include "rules/dictionary.h"
#include "rules/filings.h"
#include "rules/measures.h"
#include "rules/rules_files.h"
#include "rules/units.h"
#include "tables/table.h"

/* --- Campaigns --------------------------------------------------------------------------------------- */

struct stage {
    struct text name;
    int32_t opens_on;          /* DAY_NONE: not known yet */
};

struct price {
    int64_t price;             /* millionths of the currency, net, each */
    int32_t valid_from;        /* INT32_MIN: always */
};

/* A part that some table or the price list of the campaign names. */
struct campaign_part {
    struct text key;           /* as it compares */
    struct text shown;         /* as the rules write it */
    bool is_kit;
    struct price *prices;      /* in the order of valid_from */
    uint32_t price_count;
};

enum need { NEED_NONE, NEED_KIT, NEED_REQUIRED, NEED_ALLOWED };
const char *need_name(enum need need);    /* "kit", "required", "allowed"; NULL for NEED_NONE */
struct text need_text(enum need need);    /* the same; empty for NEED_NONE */

/* What a row of inspections.csv expects of a result. */
struct inspection_test {
    struct text expects;                /* as written; empty: nothing in particular */
    struct condition *condition;        /* NULL: any result will do */
    const struct unit *unit;            /* a reading in this unit; NULL: a text result */
};

struct campaign {
    struct text id, title, kind, hazard, currency;
    struct text manufacturer, regulator_number;    /* for reports to the regulator; may be empty */
    int32_t opens_on, closes_on, notice_began_on, notice_ended_on;    /* DAY_NONE: empty */
    bool has_other_limit;
    int64_t other_limit_cents;
    int replaces;                       /* index of the campaign that this one replaces, -1: none */
    struct text replaces_id;
    struct table *eligibility;
    struct table *kits, *parts, *labor, *inspections, *followups;     /* NULL: the file is not there */
    struct stage *stages;
    uint32_t stage_count;
    struct campaign_part *part_list;
    uint32_t part_count;
    struct text_index part_index;       /* key to number in part_list */
    struct text *operations;            /* as shown */
    struct text_index operation_index;  /* key to number in operations */
    struct text *inspection_items;      /* as shown */
    struct text_index inspection_index;
    struct inspection_test *tests;      /* one for each row of inspections */
    uint32_t *replaced_by;              /* campaigns that replace this one */
    uint32_t replaced_by_count;
    struct arena *arena;
};

enum campaign_table { TABLE_ELIGIBILITY, TABLE_KITS, TABLE_PARTS, TABLE_LABOR, TABLE_INSPECTIONS, TABLE_FOLLOWUPS,
                      CAMPAIGN_TABLES };
/* NULL where the campaign has no such file. */
const struct table *campaign_table(const struct campaign *campaign, enum campaign_table which);

/* The price of the part that counts on this day (contract section 2); DAY_NONE: the latest. False: none. */
bool campaign_price(const struct campaign_part *part, int32_t day, int64_t *ret_price);

/* --- Checks ------------------------------------------------------------------------------------------ */

enum effect { EFFECT_REFUSE, EFFECT_RETURN, EFFECT_HOLD, EFFECT_CUT, EFFECT_NOTE, EFFECTS };
const char *effect_name(enum effect effect);
/* EFFECTS if the word is none. */
enum effect effect_from(struct text word);

/* What a row of a check table flags. */
struct flag {
    struct text finding;       /* empty: the row flags nothing */
    enum effect effect;
};

struct check {
    struct table *table;
    enum scope scope;
    int message_output;        /* -1: none */
    struct flag *flags;        /* one for each row */
    bool is_late;              /* asks for what is known only once the claims before it are settled */
    uint32_t late_word;        /* then: where its row set begins among the late words of a claim */
};

/* --- All of it --------------------------------------------------------------------------------------- */

enum deadline { SUBMIT_WITHIN_DAYS, DECIDE_WITHIN_DAYS, SILENCE_APPROVES, PAY_WITHIN_DAYS, RESUBMIT_WITHIN_DAYS,
                AUDIT_WITHIN_DAYS, DEADLINES };

struct rules {
    struct dictionary *dictionary;
    struct units *units;
    struct table *deadlines;             /* asked by facts/deadlines.h */
    int deadline_output[DEADLINES];      /* -1: the table has no such output */
    struct filings filings;              /* none: the file is not there */
    struct measures measures;            /* none: the file is not there */
    int notice_output;                   /* chargeback_notice_days, a term of audits and no fact; -1 likewise */
    struct campaign *campaigns;          /* in the order of their ids */
    uint32_t campaign_count;
    struct check *checks[SCOPES];        /* in the order of their files */
    uint32_t check_count[SCOPES];
    bool has_late_item_checks;
    uint32_t late_words;                 /* words of row sets that the late claim checks of one claim take */
    const struct rules_files *files;
};

/* Compiles. WM_BAD_INPUT after any error. files must outlive the rules. */
int rules_compile(struct arena *arena, const struct rules_files *files, struct diag_sink *sink,
                  struct rules **ret_rules);
void rules_free(struct rules *rules);    /* accepts NULL and what is half built */

/* The outputs that the engine asks tables for, and their types. */
const struct output_type *rules_output_types(size_t *ret_count);

/* Its number, or -1. */
int rules_campaign(const struct rules *rules, struct text id);

/* The slot of a fact in a claim's values, -1 if no table asks for it. */
static inline int rules_slot(const struct rules *rules, enum fact_id id)
{
    return rules->dictionary->slot[id];
}

#endif
