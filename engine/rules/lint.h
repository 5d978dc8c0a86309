/* lint.h - what is wrong with rules that can be used: gaps, overlaps, dead rows, contradictions between tables,
 * checks that say two things, misspelt values.
 *
 * Pure: compiled rules in, results out one by one. It analyses and does not sample: the conditions of all
 * tables of a campaign cut one space into classes, rows are boxes in it, and each question is answered for the
 * whole space (lint_space.h names the method and its source, lint_cover.h tells how). What is proved is proved
 * for every vehicle of the domain: that is the `values` of a column; without them what the tables mention, and
 * what the vehicle register holds where one is given, else any other value too. What could not be proved,
 * because it depends on cells that name facts or have patterns, or because it would take too long, is said so
 * with LINT_NOT_PROVED.
 *
 * Not here: rules that cannot be used (rules_compile says why), printing.
 */
#ifndef WM_RULES_LINT_H
#define WM_RULES_LINT_H

#include "rules/lint_space.h"
#include "rules/rules.h"

enum lint_severity {
    LINT_ERROR,   /* some claim will be decided wrongly, held, or not paid */
    LINT_WARNING, /* the tables say something that nobody can have meant */
    LINT_NOTE     /* nothing need be done */
};

enum lint_kind {
    LINT_GAP,
    LINT_OVERLAP,
    LINT_DEAD_ROW,
    LINT_CONTRADICTION,
    LINT_CHECK,
    LINT_SPELLING,
    LINT_UNUSED,
    LINT_NOT_PROVED
};

const char *lint_severity_name(enum lint_severity severity);
const char *lint_kind_name(enum lint_kind kind); /* "dead-row" */

/* Texts live during the call that takes it. */
struct lint_result {
    enum lint_severity severity;
    enum lint_kind kind;
    struct place place;  /* file relative to the rules folder */
    struct text wrong;   /* what is wrong */
    struct text advice;  /* what to do */
    struct text example; /* a vehicle, or a claim, for which it is so; may be empty */
    bool counted;
    uint64_t vehicles; /* of the fleet, for which it is so */
};

struct lint_summary {
    uint32_t tables;     /* looked at */
    uint32_t not_proved; /* results of LINT_NOT_PROVED */
    uint32_t found[LINT_NOTE + 1];
};

/* fleet may be NULL. take returns a status, and one that is not WM_OK ends it. WM_NO_MEMORY. */
int lint_rules(const struct rules *rules, const struct lint_fleet *fleet,
               int (*take)(void *context, const struct lint_result *result), void *context,
               struct lint_summary *ret_summary);

/* One day for all days that no table tells apart, so that vehicles can be counted by kind: the same for days
 * between which no table has a cut. days: cut points of built_on in order, from lint_days. */
int lint_days(const struct rules *rules, struct arena *arena, int32_t **ret_days, uint32_t *ret_count);

#endif
