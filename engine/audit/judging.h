/* judging.h - the filled worksheet of a visit: each line is checked, and what is new becomes judgements.
 *
 * Lines are found by dealer and claim. A line without a judgement is not judged yet. Nothing is recorded here.
 */
#ifndef WM_AUDIT_JUDGING_H
#define WM_AUDIT_JUDGING_H

#include "ledger/audit_records.h"

/* What records call a judgement. */
#define JUDGED_UPHELD "upheld"
#define JUDGED_ERROR "error"
#define JUDGED_MISSING "missing"

/* The columns of a worksheet, in its order. */
enum worksheet_column {
    SHEET_SAMPLE,
    SHEET_ITEM,
    SHEET_DEALER,
    SHEET_CLAIM,
    SHEET_REVISION,
    SHEET_CAMPAIGN,
    SHEET_VIN,
    SHEET_REPAIR_ORDER,
    SHEET_OUTCOME,
    SHEET_COMPLETED_ON,
    SHEET_PAID_ON,
    SHEET_STRATUM,
    SHEET_PAID,
    SHEET_JUDGEMENT,
    SHEET_RIGHT_AMOUNT,
    SHEET_NOTE,
    WORKSHEET_COLUMNS
};
extern const char *const WORKSHEET_NAMES[WORKSHEET_COLUMNS];

struct judging {
    struct judgement *changed; /* ascending by item */
    uint32_t changed_count;
    uint32_t fresh, corrected; /* of those: first judgements, and others than before */
    uint32_t same, empty;      /* lines that say again what is recorded; lines without a judgement */
};

/* now: the judgements that count, from judgements_read. Reports every line that cannot be used, as
 * file:line:column, and is WM_BAD_INPUT then. In the arena. */
int judging_read(const struct sample *sample, const struct judgement *now, struct text file, struct text csv,
                 struct arena *arena, struct diag_sink *sink, struct judging *ret_judging);

#endif
