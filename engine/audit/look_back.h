/* look_back.h - what a dealer's region allows an audit: how long after payment a claim may be audited, and how
 * many days lie between telling the dealer and taking money back. Both stand in rules/deadlines.csv.
 *
 * The look-back is counted from the day of payment to the day the sample is drawn, where the audit begins. Laws
 * differ on both ends (some count from submission, some to the chargeback): the office's counsel decides, and
 * an office can draw with --since or change the days. Borrows rules and register.
 */
#ifndef WM_AUDIT_LOOK_BACK_H
#define WM_AUDIT_LOOK_BACK_H

#include "base/diag.h"
#include "register/register.h"
#include "rules/rules.h"

struct audit_terms {
    struct text region;        /* empty: the dealer is unknown or has none */
    int32_t audit_within_days; /* -1: no limit */
    int32_t notice_days;       /* -1: none */
    bool stated; /* deadlines.csv has a row for the region; else nothing is known, and neither limits */
};

struct look_back;

int look_back_open(const struct rules *rules, struct office_register *office_register, struct diag_sink *sink,
                   struct look_back **ret_look_back);
void look_back_close(struct look_back *look_back); /* accepts NULL */

/* The terms of a dealer as it was on a day (DAY_NONE: by its latest version). The region lives as long as the
 * register. WM_BAD_INPUT, reported: the rules contradict themselves on its region. */
int look_back_terms(struct look_back *look_back, struct text dealer, int32_t day,
                    struct audit_terms *ret_terms);

/* Paid longer ago than the terms allow, on this day. */
static inline bool look_back_is_over(const struct audit_terms *terms, int32_t paid_on, int32_t day)
{
    return terms->audit_within_days >= 0 && (int64_t)day - paid_on > terms->audit_within_days;
}

#endif
