#include <stddef.h>

#include "reports/report.h"

extern const struct computed_report REPORT_AUDIT;

const struct computed_report *const COMPUTED_REPORTS[] = {&REPORT_AUDIT, NULL};
