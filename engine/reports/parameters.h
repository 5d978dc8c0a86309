/* parameters.h - values of a report's parameters, from words of the command line or the header's defaults.
 *
 * A date may be said relative to the day of the report: `today`, `today - 90`, `today + 7`. Money has at most
 * two places.
 */
#ifndef WM_REPORTS_PARAMETERS_H
#define WM_REPORTS_PARAMETERS_H

#include "reports/report.h"

/* NULL, or what is wrong and what to do, to stand behind the words in quotes; it lives in the arena, as the
 * value does. today: the day of the report. */
const char *parameter_read(const struct report_parameter *parameter, struct text words, int32_t today,
                           struct arena *arena, struct value *ret_value);

/* Whether the name is an option that every report has. */
bool parameter_is_taken(struct text name);

/* The words of an option `--NAME`. */
struct parameter_word {
    struct text name; /* without `--`; - or _ alike */
    struct text value;
};

/* One value a parameter, in the arena: what is given, else the default, else null. Every fault is reported: a
 * name that is none (with the nearest), one given twice, words that are no such value, a required one that is
 * missing. */
int parameters_read(const struct report *report, const struct parameter_word *words, uint32_t count,
                    int32_t today, struct arena *arena, struct diag_sink *sink, struct value **ret_values);

#endif
