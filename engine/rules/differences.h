/* differences.h - what changed between two rules folders: table by table, row by row, cell by cell.
 *
 * Tables are compared as they decide: rows by their names, cells by what they mean, so that another spelling of
 * the same condition is no change. Lists (prices, stages, campaign.csv, the dictionary, units) are compared by
 * their keys. Pure.
 */
#ifndef WM_RULES_DIFFERENCES_H
#define WM_RULES_DIFFERENCES_H

#include "rules/rules.h"

enum change { CHANGE_ADDED, CHANGE_REMOVED, CHANGE_CHANGED, CHANGE_MOVED };
const char *change_name(enum change change);

/* One change. Texts live during the call that takes it. */
struct difference {
    enum change change;
    struct text file;                 /* relative to the folders */
    struct text row;                  /* its name or key; empty: it is about the whole file */
    struct text column;               /* name of a fact, output or list column; empty: about the whole row */
    struct text before, after;        /* in words; empty where there is none */
    uint64_t line_before, line_after; /* 0: none */
};

/* Both compiled. take returns a status, and one that is not WM_OK ends it. WM_NO_MEMORY. */
int rules_differences(const struct rules *before, const struct rules *after,
                      int (*take)(void *context, const struct difference *difference), void *context);

#endif
