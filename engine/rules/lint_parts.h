/* lint_parts.h - what the parts of lint_rules share. For engine/rules/lint*.c alone. */
#ifndef WM_RULES_LINT_PARTS_H
#define WM_RULES_LINT_PARTS_H

#include "base/buffer.h"
#include "rules/lint.h"
#include "rules/lint_cover.h"
#include "rules/lint_table.h"

/* Of one kind of result in one table this many are told one by one. */
enum { LINT_MOST_ALIKE = 10 };

struct lint {
    const struct rules *rules;
    const struct lint_fleet *fleet;
    struct arena arena; /* of the space at hand: reset before the next */
    int (*take)(void *context, const struct lint_result *result);
    void *context;
    struct lint_summary summary;
    enum scope scope;          /* of the tables at hand, for what is known of their facts */
    struct place misspelt[64]; /* cells that were said to hold a value that there is not */
    uint32_t misspelt_count;
    bool no_memory; /* something could not be compared: then nothing is proved */
};

/* Hands a result on. Texts in it that are NULL say that there was no memory. */
int lint_say(struct lint *lint, const struct lint_result *result);

/* Makes the space of these tables with all that is known. of_campaign: the vehicle is in the register. */
int lint_open_space(struct lint *lint, const struct table *const *tables, uint32_t count, bool of_campaign,
                    struct lint_space **ret_space);

/* The place of a row's condition or output, or of a table's header. */
struct place lint_condition_place(const struct table *table, uint32_t row, int dim_condition);
struct place lint_output_place(const struct table *table, uint32_t row, const char *output);
struct place lint_header_place(const struct table *table);

/* The place of a row of a list of the folder: the first row that has a cell with this word. */
struct place lint_list_place(struct lint *lint, struct text folder, const char *name, struct text word,
                             uint32_t column);

struct text lint_output_text(const struct table *table, uint32_t row, const char *output);

/* Vehicles of the fleet for which a question has an answer; not counted: there is no fleet, or the space has no
 * vehicle. */
int lint_count(struct lint *lint, const struct lint_space *space, const struct lint_question *question,
               bool *ret_counted, uint64_t *ret_vehicles);

/* Puts example and count of what was found into a result. */
int lint_add_example(struct lint *lint, const struct lint_space *space, const struct lint_question *question,
                     const uint64_t *box, struct lint_result *result);

/* An overlap or dead row of a table, said. */
struct lint_saying {
    struct lint *lint;
    const struct lint_table *table;
    uint32_t said[CASE_GAP + 1]; /* of each kind of case */
    bool not_proved;             /* was said already */
    void *more;                  /* the caller's own */
};
int lint_say_case(void *context, const struct lint_case *found);
/* Overlaps and dead rows, said; `take` gets struct lint_saying, and is lint_say_case where nothing more is
 * known. */
int lint_say_table(struct lint *lint, const struct lint_table *table, lint_take_case *take, void *more);

/* Says that something was not proved, and why. */
int lint_say_not_proved(struct lint *lint, struct place place, enum lint_answer answer, const char *what);

/* --- Parts ---------------------------------------------------------------------------------------- */
int lint_campaign(struct lint *lint, const struct campaign *campaign);
int lint_campaign_lists(struct lint *lint, const struct campaign *campaign);
int lint_checks(struct lint *lint);
int lint_spelling(struct lint *lint);
int lint_measures(struct lint *lint);

/* What the parts of a campaign's analysis share. */
struct lint_of_campaign {
    struct lint *lint;
    const struct campaign *campaign;
    struct text folder; /* "campaigns/T26-03" */
    const struct lint_space *space;
    int number[CAMPAIGN_TABLES]; /* of a table in the space; -1: not there */
    struct lint_region eligible;
    uint64_t *repaired, *inspected; /* boxes: the domain with this outcome */
};

/* lint_work.c: what the tables of a campaign give an eligible vehicle. */
int lint_work(const struct lint_of_campaign *of);

/* Asks a question in a box of the eligible region, for one row that hits or for none (row -1). */
int lint_ask_eligible(const struct lint_of_campaign *of, struct lint_question *question,
                      struct lint_found *ret_found);

#endif
