/* lint_cells.h - whether a cell holds at a class of values, where that can be said. For the analysis of tables
 * alone. */
#ifndef WM_RULES_LINT_CELLS_H
#define WM_RULES_LINT_CELLS_H

#include "rules/lint_space.h"

struct lint_truth {
    bool may, must; /* it holds for some, and for all, values of what the class leaves open */
};

/* Working memory for cells. */
struct lint_cells {
    struct value *facts; /* by slot */
    uint32_t slot_count;
    struct pattern_work *work;
};

/* slot_count: above every slot that a cell names. WM_NO_MEMORY. */
int lint_cells_open(struct lint_cells *ret_cells, uint32_t slot_count);
void lint_cells_close(struct lint_cells *cells); /* accepts zeroed cells */

struct lint_truth lint_cell_at(const struct lint_cells *cells, const struct cell *cell,
                               const struct lint_dim *dim, const struct lint_class *at);

/* The same with one fact that the cell names surely null. */
struct lint_truth lint_cell_at_null_fact(const struct lint_cells *cells, const struct cell *cell,
                                         const struct lint_dim *dim, const struct lint_class *at,
                                         uint32_t null_slot);

/* The facts that a cell names, each once: at most `most` of them. Returns how many there are. */
uint32_t lint_cell_facts(const struct cell *cell, const struct cell_fact **facts, uint32_t most);

#endif
