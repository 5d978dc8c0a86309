/* lint_classes.h - from the literals of a column to its classes of values. For the analysis of tables alone. */
#ifndef WM_RULES_LINT_CLASSES_H
#define WM_RULES_LINT_CLASSES_H

#include "rules/lint_space.h"

/* Fills the classes of dimension `number` of the space: from the cells and `values` of all tables, from what is
 * known of the fact, and from the fleet. WM_NO_MEMORY. */
int lint_classes_make(struct lint_space *space, uint32_t number, const struct lint_knowledge *knowledge);

/* The condition of this table on this fact from number `from` on, or -1. */
int lint_condition_on(const struct table *table, uint32_t slot, uint32_t from);

#endif
