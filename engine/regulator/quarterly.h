/* quarterly.h - a campaign's completion report for the regulator, as figures.
 *
 * Figures are as they stood at the end of the quarter (ledger/completion.h says what that means). What the
 * office says beside them (load notices) is for a quarter by its name, whenever it was said; numbers that it
 * does not repeat stand as it said them last for an earlier quarter. Title, numbers and notice days of the
 * campaign are those of the rules folder at hand.
 *
 * The office files the report, not the program, and counsel decides what the law asks; nothing here is advice.
 */
#ifndef WM_REGULATOR_QUARTERLY_H
#define WM_REGULATOR_QUARTERLY_H

#include "ledger/completion.h"
#include "regulator/schedule.h"

struct quarterly {
    const struct campaign *campaign;
    const struct filing *filing;
    int32_t quarter, as_of; /* as_of: its last day */
    bool is_due;            /* one of the campaign's reports; else the figures alone */
    struct due_report report;
    struct completion now, before; /* before: as of the report before this one */
    bool has_before;
    int32_t before_quarter;
    struct notice said; /* its quarter is this one; -1 and empty where nothing was said */
};

/* Inside office_begin_read. WM_BAD_INPUT with a diagnostic: no such campaign, nothing is owed for its kind, it
 * has no notice_began_on, or the quarter is before it. */
int quarterly_figures(struct office *office, const struct rules *rules, struct text campaign, int32_t quarter,
                      struct arena *arena, struct diag_sink *sink, struct quarterly *ret_quarterly);

int64_t quarterly_remedied(const struct quarterly *quarterly);
/* In all categories, with those that only the office knows of. */
int64_t quarterly_unreachable(const struct quarterly *quarterly);
int64_t quarterly_removed(const struct quarterly *quarterly);
/* Inspected in all: repaired, found not to need repair, waiting for repair. */
int64_t quarterly_inspected(const struct quarterly *quarterly);

/* The two rates' denominators. 49 USC 30120(k) defines no formula. */
int64_t quarterly_reachable(const struct quarterly *quarterly);

/* Whether the number involved has changed since the report before. */
bool quarterly_has_changed(const struct quarterly *quarterly);

/* The line of the flat file in which the regulator publishes reports: tab-delimited, days as YYYYMMDD, without
 * an end of line; in the arena. bytes NULL: no memory. */
struct text quarterly_flat_line(const struct quarterly *quarterly, struct arena *arena);

enum { FLAT_FIELDS = 13 };
/* The name of a field of that line, and the field itself. */
const char *quarterly_flat_name(int field);
struct text quarterly_flat_field(const struct quarterly *quarterly, int field, struct arena *arena);

#endif
