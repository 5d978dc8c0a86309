/* differences_parts.h - what the parts of rules_differences share. */
#ifndef WM_RULES_DIFFERENCES_PARTS_H
#define WM_RULES_DIFFERENCES_PARTS_H

#include "base/buffer.h"
#include "rules/differences.h"

struct comparing {
    const struct rules *before, *after;
    int (*take)(void *context, const struct difference *difference);
    void *context;
    struct arena arena; /* of the file at hand */
    struct buffer words_before, words_after;
};

/* Two tables of the same file. */
int compare_tables(struct comparing *comparing, const struct table *before, const struct table *after);

/* Two lists of the same file; either may be NULL. */
int compare_lists(struct comparing *comparing, const struct rules_file *before, const struct rules_file *after);

/* Rows of a table that is only in one of the folders. */
int tell_whole_table(struct comparing *comparing, const struct table *table, enum change change);

static inline int tell(struct comparing *comparing, const struct difference *difference)
{
    if (comparing->words_before.failed || comparing->words_after.failed)
        return 1; /* WM_NO_MEMORY */
    return comparing->take(comparing->context, difference);
}

#endif
