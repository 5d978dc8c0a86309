/* quiet.h - GSL reports what it cannot compute by its result, and never ends the program. Private to
 * engine/statistics: every public function here that calls GSL begins with statistics_quiet().
 */
#ifndef WM_STATISTICS_QUIET_H
#define WM_STATISTICS_QUIET_H

#include <gsl/gsl_errno.h>

static inline void statistics_quiet(void)
{
    gsl_set_error_handler_off();
}

#endif
