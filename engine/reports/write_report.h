/* write_report.h - what a report came to, as text for a terminal, CSV, JSON, or a page of HTML.
 *
 * Numbers: money with two places, percent in percent (in CSV and JSON with up to four places, for people with
 * one), dates as ISO; what is null is an empty cell, null in JSON.
 *
 * CSV: each section is a table with its own header row; several are separated by an empty line. A text that a
 * spreadsheet would take for a formula (OWASP, "CSV Injection": `=` `+` `-` `@`, tab, CR or LF in front, also
 * the wide forms of the signs) gets an apostrophe in front, unless it is a number; plain_cells leaves every
 * cell as it is.
 *
 * HTML: one file that needs no other and no network. Nothing that comes from data is markup or script there:
 * texts are escaped, the script reads figures from the table's cells, and a Content-Security-Policy lets only
 * the page's own scripts and style run, by their hashes. The chart library (Chart.js, see chart_licence.html)
 * is in it where there is a chart.
 */
#ifndef WM_REPORTS_WRITE_REPORT_H
#define WM_REPORTS_WRITE_REPORT_H

#include "base/buffer.h"
#include "reports/report.h"

struct report_look {
    bool plain_cells;
    int section; /* only this one; -1: all */
};

/* Whether a section is to be written. */
static inline bool report_is_shown(const struct report_result *result, struct report_look look,
                                   uint32_t section)
{
    return !result->report->sections[section].kept && (look.section < 0 || look.section == (int)section);
}

/* What failed shows in the buffer. */
void write_report_text(struct buffer *out, const struct report_result *result, struct report_look look);
void write_report_csv(struct buffer *out, const struct report_result *result, struct report_look look);

/* WM_NO_MEMORY or WM_OK. */
int write_report_json(struct buffer *out, const struct report_result *result, struct report_look look);
int write_report_html(struct buffer *out, const struct report_result *result, struct report_look look);

/* A value as people read it. */
void write_report_value(struct buffer *out, enum report_format format, struct value v);

/* A value as programs read it: percent with up to four places and no sign; the rest alike. */
void write_report_figure(struct buffer *out, enum report_format format, struct value v);

/* Whether columns of this format are set flush right. */
bool report_format_is_number(enum report_format format);

/* Whether a spreadsheet would take the text for a formula. */
bool report_text_is_formula(struct text t);

#endif
