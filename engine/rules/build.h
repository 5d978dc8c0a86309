/* build.h - what the parts of rules_compile share while rules are being made. Private to engine/rules. */
#ifndef WM_RULES_BUILD_H
#define WM_RULES_BUILD_H

#include "rules/rules.h"

struct build {
    struct arena *arena;
    const struct rules_files *files;
    struct diag_sink *sink;
    struct rules *rules;
};

/* Compiles the file of this path into *ret_table; leaves it NULL, and WM_OK, where there is no such file and
 * it is not required. */
int build_table(struct build *build, struct text path, bool required, unsigned policies, enum fact_set set,
                enum scope scope, struct table **ret_table);

/* The output of this name, which must be there (OUTPUT_TYPES gives its type); -1 after reporting. */
int build_output(struct build *build, const struct table *table, const char *name);

/* The text of an output cell that names something; reports where it is empty or has {places}. */
bool build_word(struct build *build, const struct table *table, uint32_t row, int output, struct text *ret_word);

struct place build_output_place(const struct table *table, uint32_t row, uint32_t output);

/* Campaigns of all folders under campaigns/; fills rules->campaigns. */
int build_campaigns(struct build *build);

/* Checks under checks/; fills rules->checks. */
int build_checks(struct build *build);

#endif
