#include <stddef.h>

#include "reports/report.h"

const struct computed_report *const COMPUTED_REPORTS[] = {NULL};
