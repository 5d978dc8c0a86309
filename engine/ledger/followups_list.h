/* followups_list.h - follow-up work that is open now (view followups_open), with the state of its vehicle. */
#ifndef WM_LEDGER_FOLLOWUPS_LIST_H
#define WM_LEDGER_FOLLOWUPS_LIST_H

#include "ledger/office.h"
#include "base/text.h"

/* Empty: any. */
struct followup_filter {
    struct text dealer, campaign, vin;
    int32_t since, until;   /* of completion; DAY_NONE: any */
    bool by_dealer;         /* else the oldest first */
    int64_t limit;          /* -1: all */
};

/* Borrowed during the call. */
struct open_followup {
    struct text dealer, claim, campaign, vin, followup, part;
    int64_t revision;
    int32_t opened_on;      /* completed_on of the claim, or its receipt */
    int32_t due_on;         /* DAY_NONE: none */
    struct text vehicle_status;    /* as registered now; empty: none, or not registered */
    int32_t vehicle_status_on;     /* DAY_NONE: none */
};

typedef int followup_take(void *taker, const struct open_followup *followup);

/* Inside office_begin_read. */
int ledger_followups(struct office *office, const struct followup_filter *filter, followup_take *take, void *taker);

#endif
