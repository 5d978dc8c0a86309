/* The text of a report: its header line by line, its parameters' defaults, and the words of its queries as
 * they are looked at before SQLite is. The first byte says whether it is the header of a computed report. */
#include "fuzz.h"

#include "base/date.h"
#include "ledger/guarded_query.h"
#include "ledger/sql_words.h"
#include "reports/parameters.h"
#include "reports/read_report.h"

static const int32_t TODAY = 20600;

/* a-z, _ and digits behind the first: what can be an option, a column of CSV, and a table of SQL unquoted. */
static bool is_plain_name(struct text name)
{
    for (size_t i = 0; i < name.length; i++)
        if (strchr(i > 0 ? "abcdefghijklmnopqrstuvwxyz_0123456789" : "abcdefghijklmnopqrstuvwxyz_",
                   name.bytes[i]) == NULL)
            return false;
    return name.length > 0;
}

static void look_at_parameters(const struct report *report)
{
    for (uint32_t i = 0; i < report->parameter_count; i++) {
        const struct report_parameter *parameter = &report->parameters[i];
        must(is_plain_name(parameter->name) && !parameter_is_taken(parameter->name),
             "a parameter has a name of its own");
        must(parameter->meaning.length > 0, "a parameter has a meaning");
        must(parameter->format < REPORT_FORMATS && parameter->format != REPORT_PERCENT &&
                 parameter->format != REPORT_CLAIM,
             "a parameter has a format that one can be given in");
        must((parameter->format == REPORT_CHOICE) == (parameter->choice_count >= 2), "a choice has words");
        for (uint32_t k = 0; k < i; k++)
            must(!text_equal(parameter->name, report->parameters[k].name), "no two parameters have one name");
    }
}

/* What is left out takes its default; a required one is asked for. */
static void take_defaults(const struct report *report, struct arena *arena)
{
    struct diag_sink sink = looking_sink();
    struct parameter_word words[64];
    struct value *values = NULL;
    uint32_t required = 0;

    for (uint32_t i = 0; i < report->parameter_count; i++)
        if (report->parameters[i].required)
            words[required++] = (struct parameter_word){report->parameters[i].name, TEXT("0")};
    int status = parameters_read(report, NULL, 0, TODAY, arena, &sink, &values);
    must(went_well(status, &sink) == (required == 0), "what has a default need not be given, and nothing else");
    if (status == WM_OK)
        for (uint32_t i = 0; i < report->parameter_count; i++)
            must((values[i].type == VALUE_NULL) == (report->parameters[i].default_words.length == 0),
                 "a default that is there is a value");
    sink = looking_sink();
    went_well(parameters_read(report, words, required, TODAY, arena, &sink, &values), &sink);
}

static bool is_column(const struct report_section *section, int column, bool may_be_none)
{
    return (may_be_none && column == -1) || (column >= 0 && column < (int)section->column_count);
}

static bool is_drawn(const struct report_section *section, int column)
{
    return is_column(section, column, false) && section->columns[column].format != REPORT_TEXT &&
           section->columns[column].format != REPORT_DATE && section->columns[column].format != REPORT_CLAIM;
}

static void look_at_chart(const struct report_section *section)
{
    const struct report_chart *chart = &section->chart;

    if (chart->kind == CHART_NONE)
        return;
    must(chart->kind <= CHART_POINTS && !section->kept, "a chart is of a kind, and its section is shown");
    must(is_column(section, chart->x, false) && is_column(section, chart->series, true) &&
             is_column(section, chart->label, true),
         "a chart's columns are columns");
    must(chart->y_count >= 1 && chart->y_count <= REPORT_CHART_COLUMNS &&
             chart->line_count <= REPORT_CHART_COLUMNS,
         "a chart draws something, and not too much");
    for (uint32_t i = 0; i < chart->y_count; i++)
        must(is_drawn(section, chart->y[i]), "a chart draws numbers");
    for (uint32_t i = 0; i < chart->line_count; i++)
        must(is_drawn(section, chart->lines[i]), "lines are numbers");
}

/* Words follow each other, and what is looked for is found. */
static void look_at_query(struct text sql)
{
    struct sql_words words = {sql, 0, 0};
    struct text word;
    char name[64];
    size_t behind = 0;

    while (sql_next_word(&words, &word)) {
        must(word.length > 0 && words.start >= behind && words.at == words.start + word.length &&
                 words.at <= sql.length,
             "a word stands behind the one before");
        behind = words.at;
        if (sql_word_name(word, name, sizeof name)) {
            must(strlen(name) <= word.length, "a name is no longer than its word");
            must(strlen(name) < word.length || sql_word_is(word, name), "a word is its name");
            must(sql.length > 500 || !sql_word_is(word, name) || guard_names(sql, name),
                 "a name that is there is found");
        }
        sql_defines_table(words);
    }
    sql_selects_from(sql, "claim_rows");
}

static void look_at_section(const struct report *report, uint32_t number, bool computed)
{
    const struct report_section *section = &report->sections[number];

    must(section->title.length > 0 && section->column_count > 0, "a section has a title and columns");
    must((section->sql.length == 0) == computed, "a section of SQL has a query, and a computed one has none");
    for (uint32_t i = 0; i < section->column_count; i++) {
        const struct report_column *column = &section->columns[i];
        must(is_plain_name(column->name) && column->heading.length > 0 && column->meaning.length > 0,
             "a column has a name, a heading and a meaning");
        must(column->format < REPORT_FORMATS && column->format != REPORT_CHOICE,
             "a column has a format that can be shown");
        for (uint32_t k = 0; k < i; k++)
            must(!text_equal(column->name, section->columns[k].name), "no two columns have one name");
    }
    for (uint32_t k = 0; k < number; k++)
        must(!text_equal(section->name, report->sections[k].name), "no two sections have one name");
    look_at_chart(section);
    look_at_query(section->sql);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length);
    bool computed = input_choose(&input, 4) == 0;
    struct arena arena = ARENA_EMPTY;
    struct diag_sink sink = looking_sink();
    struct report report;
    struct text t;
    char *copy = input_rest(&input, &t);

    if (went_well(report_read(&arena, TEXT("night"), TEXT("night.sql"), t, computed, &sink, &report), &sink)) {
        must(report.title.length > 0 && report.meaning.length > 0 && report.section_count > 0,
             "a report has a title, a meaning and a section");
        must(report_shown_sections(&report) > 0, "something of it is shown");
        look_at_parameters(&report);
        take_defaults(&report, &arena);
        for (uint32_t i = 0; i < report.section_count; i++)
            look_at_section(&report, i, computed);
    }
    arena_free(&arena);
    free(copy);
    return 0;
}
