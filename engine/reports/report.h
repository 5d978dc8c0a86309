/* report.h - what a report is: parameters, sections with columns and a chart; and the tables it comes to.
 *
 * A report is defined by a header, the same for both kinds of report:
 * - one of SQL stands in the reports folder as NAME.sql, its header in comments in front of each query;
 * - a computed one is a struct computed_report, its header a string (the same lines, without queries) and a
 * function that adds rows to the sections. computed.c names them all. Both come to a struct report_result,
 * which the writers print as text, CSV, JSON or HTML.
 *
 * The header, line by line (`-- key: value`; a line `--     more` goes on with the value before; `--#` is a
 * comment):
 *
 *   -- title: Findings over time
 *   -- meaning: How often each finding was made.
 *   -- parameter: since date = today - 90; received on this day or later
 *   -- parameter: by choice month|dealer = month; what is counted together
 *   -- parameter: dealer text =; only this dealer               (nothing behind `=`: may be left out, and is
 * null)
 *   -- parameter: campaign text; the campaign                   (no `=`: must be given)
 *                                                               (a query names them as :since; :today is there
 * always)
 *   -- section: months                                          (may be left out where there is only one)
 *   -- title: By month
 *   -- meaning: Each month by what was received in it.
 *   -- column: month text; year and month of receipt
 *   -- column: claims integer; how many claims
 *   -- column: cut money "Cut"; what was asked and not paid     (in quotes: the heading, else the name in
 * words)
 *   -- chart: bar x=month y=claims,cut
 *
 * `-- table: NAME` in place of a section: its columns are declared alike, and its rows are not shown but kept
 * for the queries behind it, which read them by that name (money in cents, decimal and percent in millionths).
 *
 * Everything a report refers to lives in the arena it was read into. The cells of a result are borrowed from
 * the arena of the run.
 *
 * Not here: where values of parameters come from (cli), how it looks (write_*.h).
 */
#ifndef WM_REPORTS_REPORT_H
#define WM_REPORTS_REPORT_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/text.h"
#include "base/value.h"

struct office;
struct office_register;
struct register_source;
struct rules;

/* How a value is written. In brackets what a cell must be (base/value.h); SQL's cells are turned into it. */
enum report_format {
    REPORT_TEXT,    /* text */
    REPORT_DATE,    /* a date [date]; in SQL ISO text, as the views have it */
    REPORT_INTEGER, /* 1234 [number] */
    REPORT_MONEY,   /* 1234.50 [number, value_money(cents)]; in SQL an integer of cents */
    REPORT_DECIMAL, /* 1.25 [number]; in SQL an integer of millionths, or text as the views have it */
    REPORT_PERCENT, /* 75.3 % [number, 1 is 100 %]; in SQL an integer of millionths: share(part, whole) gives it
                     */
    REPORT_CLAIM,   /* DEALER/CLAIM, text that names a claim */
    REPORT_CHOICE,  /* parameters only: one of a list of words */
    REPORT_FORMATS
};

struct report_parameter {
    struct text name; /* a-z and _; as an option `--name`, with - for _ */
    struct text meaning;
    enum report_format format; /* not REPORT_PERCENT, not REPORT_CLAIM */
    bool required;
    struct text default_words; /* "today - 90"; empty: null where it is not given */
    struct text *choices;      /* REPORT_CHOICE */
    uint32_t choice_count;
    struct place place;
};

struct report_column {
    struct text name; /* in CSV, JSON and SQL */
    struct text heading;
    struct text meaning;
    enum report_format format;
};

enum chart_kind {
    CHART_NONE,
    CHART_LINE,    /* x in order, a line for each y or each series */
    CHART_BAR,     /* a group of bars for each x */
    CHART_STACKED, /* one bar for each x, of its parts */
    CHART_POINTS   /* a point a row at (x, y), named by `label`; columns of `lines` are drawn as lines over x */
};

enum { REPORT_CHART_COLUMNS = 8 };

/* Columns by number; -1: none. */
struct report_chart {
    enum chart_kind kind;
    int x;
    int y[REPORT_CHART_COLUMNS];
    uint32_t y_count;
    int series;                      /* with one y: the column whose words name the lines or bars */
    int label;                       /* CHART_POINTS */
    int lines[REPORT_CHART_COLUMNS]; /* CHART_POINTS */
    uint32_t line_count;
};

struct report_section {
    struct text name;  /* for --section */
    struct text title; /* that of the report where the header gives none */
    struct text meaning;
    struct report_column *columns;
    uint32_t column_count;
    struct report_chart chart;
    struct text sql; /* empty in a computed report */
    uint64_t sql_line;
    bool kept; /* a `table:`: not shown; the queries that follow read its rows by its name */
    struct place place;
};

struct report {
    struct text name;
    struct text file; /* as messages name it */
    struct text title;
    struct text meaning;
    struct report_parameter *parameters;
    uint32_t parameter_count;
    struct report_section *sections;
    uint32_t section_count;
};

/* A paragraph in front of a section's table (or, with `verbatim`, lines that are kept as they are, such as a
 * line of a flat file; HTML shows them in fixed type). */
struct report_note {
    struct text words;
    bool verbatim;
    struct report_note *next;
};

/* The rows that a section came to; column_count cells each. */
struct report_table {
    const struct report_section *section;
    struct value *cells;
    uint64_t row_count;
    uint64_t capacity; /* of rows */
    struct report_note *notes, *last_note;
};

struct report_result {
    const struct report *report;
    const struct value *values; /* of its parameters, in order: text (also for a choice), date, value_integer(),
                                 * value_money(), or null where it was left out */
    struct report_table *tables;           /* one a section */
    struct report_note *notes, *last_note; /* of the whole report */
    int32_t today;
    struct arena *arena;
    uint64_t bytes; /* of texts in cells, against LIMIT_REPORT_BYTES */
};

/* --- Computed reports ---------------------------------------------------------------------------------- */

struct report_run {
    struct office *office; /* open for reading, inside office_begin_read */
    struct register_source *register_source;
    struct office_register *office_register;
    const struct rules *rules; /* NULL unless needs_rules */
    int32_t today;
    struct report_result *result; /* with its tables empty; parameters are at result->values */
    struct diag_sink *sink;
};

struct computed_report {
    const char *name;
    const char *header;
    bool needs_rules;
    /* Adds rows and notes. WM_OK, or a status after a diagnostic (WM_NO_MEMORY without one). */
    int (*run)(const struct report_run *run);
};

/* Runs the queries of a report of SQL: fills the result's tables. seconds: how long it may take in all. Every
 * fault is reported. */
int report_run_queries(const struct report_run *run, int64_t seconds);

/* A result without rows, for these values of the report's parameters. */
int report_result_open(struct report_result *ret_result, const struct report *report,
                       const struct value *values, int32_t today, struct arena *arena);

extern const struct computed_report *const COMPUTED_REPORTS[]; /* ended by NULL */

/* The value of a parameter by name, which the report must have. */
struct value report_value(const struct report_result *result, const char *name);

/* The table of a section by name, which the report must have. */
struct report_table *report_table(struct report_result *result, const char *section);

/* Adds a row: column_count cells, copied (their texts too). WM_NO_MEMORY, or WM_LIMIT without a diagnostic:
 * more rows or bytes than LIMIT_REPORT_ROWS and LIMIT_REPORT_BYTES. */
int report_add_row(struct report_result *result, struct report_table *table, const struct value *cells);

/* How many of its sections are shown. */
uint32_t report_shown_sections(const struct report *report);

/* A note in front of a table, or, with table NULL, at the head of the report; in the order of the calls. */
int report_add_note(struct report_result *result, struct report_table *table, bool verbatim, const char *format,
                    ...) __attribute__((format(printf, 4, 5)));

#endif
