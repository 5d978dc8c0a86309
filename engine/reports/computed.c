#include <stddef.h>

#include "reports/report.h"

extern const struct computed_report REPORT_AUDIT, REPORT_QUARTERLY, REPORT_SCHEDULE, REPORT_OUTLIERS;

const struct computed_report *const COMPUTED_REPORTS[] = {&REPORT_AUDIT, &REPORT_OUTLIERS, &REPORT_QUARTERLY,
                                                          &REPORT_SCHEDULE, NULL};
