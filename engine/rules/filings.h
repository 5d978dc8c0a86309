/* filings.h - which completion reports a campaign of some kind owes the regulator, and when, as
 * rules/filings.csv lists them.
 *
 * The figures of that file are examples that the office's counsel decides on. Everything lives in the arena.
 *
 * Not here: working out a day (regulator/schedule.h).
 */
#ifndef WM_RULES_FILINGS_H
#define WM_RULES_FILINGS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/text.h"

enum filing_form {
    FILING_DEFECT,   /* 49 CFR 573.7(b) */
    FILING_EMISSIONS /* 40 CFR 1068.525(b) */
};

struct filing {
    struct text name;
    struct text kinds; /* of campaigns, separated by ;  empty: every kind that no other row names */
    enum filing_form form;
    int quarters, annual_reports;   /* how many of each, from the quarter in which notification began */
    int due_day;                    /* that day of the month after the quarter, or its last; 0: not so */
    int due_days, due_working_days; /* so many days behind the quarter's last; 0: not so */
    bool moves;                     /* a day on which the government rests moves it to the next */
    struct text source;
};

struct filings {
    struct filing *list;
    uint32_t count;
};

/* Reads filings.csv: filing,kinds,form,quarters,annual_reports,due_day,due_days,due_working_days,moves,source.
 * Every error is reported. */
int filings_read(struct arena *arena, struct text file, struct text csv, struct diag_sink *sink,
                 struct filings *ret_filings);

/* What a campaign of this kind owes; NULL: nothing. */
const struct filing *filings_for(const struct filings *filings, struct text kind);

#endif
