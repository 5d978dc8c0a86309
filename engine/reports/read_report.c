#include "reports/read_report.h"

#include <stdarg.h>
#include <stdio.h>

#include "base/date.h"
#include "base/status.h"
#include "ledger/views.h"
#include "reports/parameters.h"

enum { MOST_ITEMS = 64, CONTINUATION_BLANKS = 4, MOST_EDITS = 3 };

static const char *const FORMATS[REPORT_FORMATS] = {
    [REPORT_TEXT] = "text",   [REPORT_DATE] = "date",       [REPORT_INTEGER] = "integer",
    [REPORT_MONEY] = "money", [REPORT_DECIMAL] = "decimal", [REPORT_PERCENT] = "percent",
    [REPORT_CLAIM] = "claim", [REPORT_CHOICE] = "choice"};

/* One `key: value` of a header, continuations joined. */
struct entry {
    struct text key, value;
    struct place place; /* of the value */
    size_t in_line;     /* bytes of the value that stand in the line of the key */
};

struct reading {
    struct arena *arena;
    struct diag_sink *sink;
    struct report *report;
    struct text rest; /* not read yet */
    uint64_t line;    /* number of the line at the start of rest */
    bool computed, named_sections;
    struct report_section sections[MOST_ITEMS];
    struct report_parameter parameters[MOST_ITEMS];
    struct report_column columns[MOST_ITEMS]; /* of the section at hand */
    struct entry chart;                       /* of the section at hand; key empty: none */
    bool failed, no_memory;
};

enum report_format report_format_from(struct text word)
{
    int format = 0;

    while (format < REPORT_FORMATS && !text_is(word, FORMATS[format]))
        format++;
    return (enum report_format)format;
}

const char *report_format_name(enum report_format format)
{
    return FORMATS[format];
}

struct text report_nearest(struct text word, struct text (*name_at)(const void *list, uint32_t number),
                           const void *list, uint32_t count)
{
    struct text nearest = {"", 0};
    size_t best = MOST_EDITS;

    for (uint32_t i = 0; i < count; i++) {
        struct text name = name_at(list, i);
        size_t distance = text_distance(word, name, best);
        if (distance <= best && distance < name.length) {
            nearest = name;
            best = distance == 0 ? 0 : distance - 1;
        }
    }
    return nearest;
}

static void fault(struct reading *reading, struct place place, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void fault(struct reading *reading, struct place place, const char *format, ...)
{
    va_list arguments;
    char room[512];

    if (reading->no_memory) /* what is missing is missing for want of memory */
        return;
    va_start(arguments, format);
    vsnprintf(room, sizeof room, format, arguments);
    va_end(arguments);
    diag_error(reading->sink, place, "%s", room);
    reading->failed = true;
}

/* --- Lines ----------------------------------------------------------------------------------------- */

static bool next_line(struct text text, struct text *ret_line, size_t *ret_bytes)
{
    const char *end = text.length > 0 ? memchr(text.bytes, '\n', text.length) : NULL;

    if (text.length == 0)
        return false;
    ret_line->bytes = text.bytes;
    ret_line->length = end != NULL ? (size_t)(end - text.bytes) : text.length;
    *ret_bytes = ret_line->length + (end != NULL);
    return true;
}

static void skip(struct reading *reading, size_t bytes)
{
    reading->rest.bytes += bytes;
    reading->rest.length -= bytes;
    reading->line++;
}

static bool is_comment(struct text line)
{
    return line.length >= 2 && line.bytes[0] == '-' && line.bytes[1] == '-';
}

static size_t blanks_at(struct text line, size_t at)
{
    size_t count = 0;

    while (at + count < line.length && line.bytes[at + count] == ' ')
        count++;
    return count;
}

/* What a value goes on with in the lines that follow; joined by blanks. */
static struct text continued(struct reading *reading, struct text value)
{
    struct text line;
    size_t bytes;

    while (next_line(reading->rest, &line, &bytes) && is_comment(line) &&
           blanks_at(line, 2) >= CONTINUATION_BLANKS && text_trim(line).length > 2) {
        struct text more = text_trim((struct text){line.bytes + 2, line.length - 2});
        value = text_format(reading->arena, "%.*s %.*s", TEXT_ARGUMENTS(value), TEXT_ARGUMENTS(more));
        reading->no_memory = reading->no_memory || value.bytes == NULL;
        skip(reading, bytes);
    }
    return value;
}

/* Cuts `-- key: value`, and goes behind it. False: a comment or an empty line (or one with a fault), gone
 * behind too. */
static bool take_entry(struct reading *reading, struct text line, size_t bytes, struct entry *ret_entry)
{
    size_t blanks = blanks_at(line, 2);
    struct text words = text_trim((struct text){line.bytes + 2, line.length - 2}), key, value;
    struct place place = {reading->report->file, reading->line, (uint32_t)(2 + blanks + 1)};

    skip(reading, bytes);
    if (words.length == 0 || line.bytes[2] == '#')
        return false;
    if (!text_cut(words, ':', &key, &value) || memchr(key.bytes, ' ', key.length) != NULL) {
        fault(reading, place, "a line of the header is `-- key: value`; write `--#` in front of a comment");
        return false;
    }
    ret_entry->key = key;
    ret_entry->place = place;
    ret_entry->place.column += (uint32_t)(key.length + 1 + blanks_at(value, 0));
    value = text_trim(value);
    ret_entry->in_line = value.length;
    ret_entry->value = continued(reading, value);
    return true;
}

/* --- Words of a value ------------------------------------------------------------------------------ */

/* A value that is taken apart from the left. */
struct cursor {
    struct text rest;
    struct entry entry;
};

static struct place place_of(const struct cursor *cursor)
{
    struct place place = cursor->entry.place;
    size_t at = (size_t)(cursor->rest.bytes - cursor->entry.value.bytes);

    /* of a continuation the column is not known */
    if (at <= cursor->entry.in_line)
        place.column += (uint32_t)at;
    return place;
}

/* Up to a blank, `=`, `;` or the end. */
static struct text take_word(struct cursor *cursor)
{
    size_t length = 0;

    cursor->rest = text_trim(cursor->rest);
    while (length < cursor->rest.length && strchr(" =;", cursor->rest.bytes[length]) == NULL)
        length++;
    struct text word = {cursor->rest.bytes, length};
    cursor->rest = (struct text){cursor->rest.bytes + length, cursor->rest.length - length};
    cursor->rest = text_trim(cursor->rest);
    return word;
}

static bool is_name(struct text word)
{
    for (size_t i = 0; i < word.length; i++) {
        char c = word.bytes[i];
        if (!((c >= 'a' && c <= 'z') || c == '_' || (i > 0 && c >= '0' && c <= '9')))
            return false;
    }
    return word.length > 0 && word.length <= 40;
}

static struct text format_at(const void *list, uint32_t number)
{
    (void)list;
    return text_of(FORMATS[number]);
}

static void report_format_fault(struct reading *reading, struct place place, struct text word, const char *all)
{
    struct text nearest = report_nearest(word, format_at, NULL, REPORT_FORMATS);

    if (nearest.length > 0 && !text_equal(nearest, word))
        fault(reading, place, "\"%.*s\" is no format; nearest is \"%.*s\", of %s", TEXT_ARGUMENTS(word),
              TEXT_ARGUMENTS(nearest), all);
    else
        fault(reading, place, "\"%.*s\" is no format here; write %s", TEXT_ARGUMENTS(word), all);
}

/* What stands behind `;`. */
static bool take_meaning(struct reading *reading, struct cursor *cursor, struct text *ret_meaning)
{
    if (cursor->rest.length > 0 && cursor->rest.bytes[0] == ';')
        *ret_meaning = text_trim((struct text){cursor->rest.bytes + 1, cursor->rest.length - 1});
    else
        *ret_meaning = TEXT("");
    if (ret_meaning->length > 0)
        return true;
    fault(reading, place_of(cursor), "what it means is missing; write `; ` and a few words behind it");
    return false;
}

/* --- Parameters ------------------------------------------------------------------------------------ */

static bool read_choices(struct reading *reading, struct cursor *cursor, struct report_parameter *parameter)
{
    struct place place = place_of(cursor);
    struct text rest = take_word(cursor), choice;
    struct text choices[MOST_ITEMS];
    uint32_t count = 0;

    while (rest.length > 0) {
        text_next(&rest, '|', &choice);
        if (count == MOST_ITEMS) {
            fault(reading, place, "a choice has at most %d words; take some out", MOST_ITEMS);
            return false;
        }
        choices[count++] = choice;
    }
    if (count < 2) {
        fault(reading, place, "a choice lists its words; write it as `choice month|dealer`");
        return false;
    }
    parameter->choices = ARENA_ARRAY(reading->arena, struct text, count);
    parameter->choice_count = count;
    if (parameter->choices == NULL)
        reading->no_memory = true;
    else
        memcpy(parameter->choices, choices, count * sizeof *choices);
    return parameter->choices != NULL;
}

/* Behind `=` up to `;`. */
static void read_default(struct cursor *cursor, struct report_parameter *parameter)
{
    struct text words, meaning;

    parameter->required = cursor->rest.length == 0 || cursor->rest.bytes[0] != '=';
    parameter->default_words = TEXT("");
    if (parameter->required)
        return;
    struct text behind = {cursor->rest.bytes + 1, cursor->rest.length - 1};
    text_cut(behind, ';', &words, &meaning);
    parameter->default_words = text_trim(words);
    cursor->rest = (struct text){words.bytes + words.length, behind.length - words.length};
}

static bool check_default(struct reading *reading, const struct cursor *cursor,
                          const struct report_parameter *parameter)
{
    struct value v;

    if (parameter->default_words.length == 0)
        return true;
    const char *wrong = parameter_read(parameter, parameter->default_words, 0, reading->arena, &v);
    if (wrong == NULL)
        return true;
    fault(reading, cursor->entry.place, "the default \"%.*s\" %s", TEXT_ARGUMENTS(parameter->default_words),
          wrong);
    return false;
}

static void read_parameter(struct reading *reading, const struct entry *entry)
{
    struct report *report = reading->report;
    struct cursor cursor = {entry->value, *entry};
    struct report_parameter parameter = {.place = entry->place};

    parameter.name = take_word(&cursor);
    if (!is_name(parameter.name)) {
        fault(reading, entry->place,
              "a parameter is `NAME TYPE = DEFAULT; meaning`, and its name has a to z, digits and _ alone");
        return;
    }
    if (parameter_is_taken(parameter.name)) {
        fault(reading, entry->place,
              "`--%.*s` is an option of every report; call the parameter by another name",
              TEXT_ARGUMENTS(parameter.name));
        return;
    }
    for (uint32_t i = 0; i < report->parameter_count; i++)
        if (text_equal(reading->parameters[i].name, parameter.name)) {
            fault(reading, entry->place, "there are two parameters \"%.*s\"; take one out",
                  TEXT_ARGUMENTS(parameter.name));
            return;
        }
    struct place place = place_of(&cursor);
    struct text type = take_word(&cursor);
    parameter.format = report_format_from(type);
    if (parameter.format == REPORT_FORMATS || parameter.format == REPORT_PERCENT ||
        parameter.format == REPORT_CLAIM) {
        report_format_fault(reading, place, type, "text, date, integer, money, decimal or choice");
        return;
    }
    if (parameter.format == REPORT_CHOICE && !read_choices(reading, &cursor, &parameter))
        return;
    read_default(&cursor, &parameter);
    if (!check_default(reading, &cursor, &parameter) || !take_meaning(reading, &cursor, &parameter.meaning))
        return;
    if (report->parameter_count == MOST_ITEMS)
        fault(reading, entry->place, "a report has at most %d parameters; take some out", MOST_ITEMS);
    else
        reading->parameters[report->parameter_count++] = parameter;
}

/* --- Columns --------------------------------------------------------------------------------------- */

static struct text heading_of(struct reading *reading, struct text name)
{
    struct text heading = text_copy(reading->arena, name);
    char *bytes = (char *)(uintptr_t)heading.bytes;

    if (bytes == NULL) {
        reading->no_memory = true;
        return name;
    }
    for (size_t i = 0; i < heading.length; i++)
        if (bytes[i] == '_')
            bytes[i] = ' ';
    if (bytes[0] >= 'a')
        bytes[0] = (char)(bytes[0] - 'a' + 'A');
    return heading;
}

static bool take_heading(struct reading *reading, struct cursor *cursor, struct report_column *column)
{
    struct text words, rest;

    if (cursor->rest.length == 0 || cursor->rest.bytes[0] != '"') {
        column->heading = heading_of(reading, column->name);
        return true;
    }
    if (!text_cut((struct text){cursor->rest.bytes + 1, cursor->rest.length - 1}, '"', &words, &rest) ||
        words.length == 0) {
        fault(reading, place_of(cursor), "the heading is not closed; write it as \"Money cut\"");
        return false;
    }
    column->heading = words;
    cursor->rest = text_trim(rest);
    return true;
}

static void read_column(struct reading *reading, struct report_section *section, const struct entry *entry)
{
    struct cursor cursor = {entry->value, *entry};
    struct report_column column;

    column.name = take_word(&cursor);
    struct place place = place_of(&cursor);
    struct text format = take_word(&cursor);
    if (!is_name(column.name)) {
        fault(reading, entry->place,
              "a column is `NAME FORMAT \"Heading\"; meaning`, and its name has a to z, digits and _ alone");
        return;
    }
    column.format = report_format_from(format);
    if (column.format == REPORT_FORMATS || column.format == REPORT_CHOICE) {
        report_format_fault(reading, place, format, "text, date, integer, money, decimal, percent or claim");
        return;
    }
    for (uint32_t i = 0; i < section->column_count; i++)
        if (text_equal(reading->columns[i].name, column.name)) {
            fault(reading, entry->place, "there are two columns \"%.*s\"; take one out",
                  TEXT_ARGUMENTS(column.name));
            return;
        }
    if (!take_heading(reading, &cursor, &column) || !take_meaning(reading, &cursor, &column.meaning))
        return;
    if (section->column_count == MOST_ITEMS)
        fault(reading, entry->place, "a section has at most %d columns; take some out", MOST_ITEMS);
    else
        reading->columns[section->column_count++] = column;
}

/* --- Charts ---------------------------------------------------------------------------------------- */

static struct text column_at(const void *list, uint32_t number)
{
    return ((const struct report_column *)list)[number].name;
}

/* The number of a column; -1 after a fault. */
static int find_column(struct reading *reading, const struct report_section *section, struct text name)
{
    for (uint32_t i = 0; i < section->column_count; i++)
        if (text_equal(section->columns[i].name, name))
            return (int)i;
    struct text nearest = report_nearest(name, column_at, section->columns, section->column_count);
    fault(reading, reading->chart.place, "the chart names the column \"%.*s\", which is none%s%.*s%s",
          TEXT_ARGUMENTS(name), nearest.length > 0 ? "; nearest is \"" : "; name one of the section's columns",
          TEXT_ARGUMENTS(nearest), nearest.length > 0 ? "\"" : "");
    return -1;
}

static void find_columns(struct reading *reading, const struct report_section *section, struct text list,
                         int *ret_columns, uint32_t *ret_count)
{
    struct text name;

    while (text_next(&list, ',', &name)) {
        if (*ret_count == REPORT_CHART_COLUMNS) {
            fault(reading, reading->chart.place, "a chart draws at most %d columns; take some out",
                  REPORT_CHART_COLUMNS);
            return;
        }
        ret_columns[(*ret_count)++] = find_column(reading, section, name);
    }
}

static bool is_number(enum report_format format)
{
    return format == REPORT_INTEGER || format == REPORT_MONEY || format == REPORT_DECIMAL ||
           format == REPORT_PERCENT;
}

static void check_drawn(struct reading *reading, const struct report_section *section, const int *columns,
                        uint32_t count)
{
    for (uint32_t i = 0; i < count; i++)
        if (!is_number(section->columns[columns[i]].format))
            fault(reading, reading->chart.place,
                  "the chart draws \"%.*s\", which is no number; name another column",
                  TEXT_ARGUMENTS(section->columns[columns[i]].name));
}

static void check_chart(struct reading *reading, const struct report_section *section)
{
    const struct report_chart *chart = &section->chart;

    if (reading->failed)
        return;
    if (chart->x < 0 || chart->y_count == 0)
        fault(reading, reading->chart.place, "a chart needs x=COLUMN and y=COLUMN,...; add what is missing");
    else if (chart->series >= 0 && chart->y_count != 1)
        fault(reading, reading->chart.place, "with series=COLUMN a chart draws one y; take the others out");
    else if ((chart->label >= 0 || chart->line_count > 0) && chart->kind != CHART_POINTS)
        fault(reading, reading->chart.place, "label= and lines= are for points; take them out or write points");
    else if (chart->kind == CHART_POINTS)
        check_drawn(reading, section, &chart->x, 1);
    check_drawn(reading, section, chart->y, chart->y_count);
    check_drawn(reading, section, chart->lines, chart->line_count);
}

static void read_chart_part(struct reading *reading, const struct report_section *section,
                            struct report_chart *chart, struct text key, struct text value)
{
    if (text_is(key, "x"))
        chart->x = find_column(reading, section, value);
    else if (text_is(key, "series"))
        chart->series = find_column(reading, section, value);
    else if (text_is(key, "label"))
        chart->label = find_column(reading, section, value);
    else if (text_is(key, "y"))
        find_columns(reading, section, value, chart->y, &chart->y_count);
    else if (text_is(key, "lines"))
        find_columns(reading, section, value, chart->lines, &chart->line_count);
    else
        fault(reading, reading->chart.place,
              "\"%.*s\" is no part of a chart; write x=, y=, series=, label= or lines=", TEXT_ARGUMENTS(key));
}

static void read_chart(struct reading *reading, struct report_section *section)
{
    static const char *const KINDS[] = {"none", "line", "bar", "stacked", "points"};
    struct report_chart *chart = &section->chart;
    struct text rest = reading->chart.value, word, key, value;
    int kind = CHART_NONE;

    *chart = (struct report_chart){.kind = CHART_NONE, .x = -1, .series = -1, .label = -1};
    if (reading->chart.key.length == 0)
        return;
    text_cut(rest, ' ', &word, &rest);
    while (kind <= CHART_POINTS && !text_is(word, KINDS[kind]))
        kind++;
    if (kind > CHART_POINTS) {
        fault(reading, reading->chart.place, "\"%.*s\" is no chart; write line, bar, stacked, points or none",
              TEXT_ARGUMENTS(word));
        return;
    }
    chart->kind = (enum chart_kind)kind;
    for (rest = text_trim(rest); rest.length > 0; rest = text_trim(rest)) {
        text_cut(rest, ' ', &word, &rest);
        text_cut(word, '=', &key, &value);
        read_chart_part(reading, section, chart, key, value);
    }
    if (kind != CHART_NONE)
        check_chart(reading, section);
}

/* --- Sections -------------------------------------------------------------------------------------- */

static struct report_section *open_section(struct reading *reading, struct text name, struct place place)
{
    struct report *report = reading->report;

    if (report->section_count == MOST_ITEMS) {
        fault(reading, place, "a report has at most %d sections; take some out", MOST_ITEMS);
        return NULL;
    }
    struct report_section *section = &reading->sections[report->section_count++];
    *section = (struct report_section){.name = name, .place = place, .meaning = TEXT("")};
    reading->chart = (struct entry){.key = {"", 0}};
    return section;
}

/* The section at hand is whole. */
static void close_section(struct reading *reading, struct report_section *section)
{
    struct report_column *columns =
        ARENA_ARRAY(reading->arena, struct report_column, section->column_count + 1);

    if (columns == NULL) {
        reading->no_memory = true;
        return;
    }
    memcpy(columns, reading->columns, section->column_count * sizeof *columns);
    section->columns = columns;
    if (section->title.length == 0)
        section->title = reading->report->title;
    if (section->kept && reading->chart.key.length > 0)
        fault(reading, reading->chart.place, "a table is not shown and has no chart; take it out");
    if (section->column_count == 0 && !reading->failed)
        fault(reading, section->place,
              "the section \"%.*s\" has no column; write a line `-- column: NAME FORMAT; meaning` "
              "for each column of its query",
              TEXT_ARGUMENTS(section->name));
    if (!reading->computed && section->sql.length == 0)
        fault(reading, section->place, "the section \"%.*s\" has no query; write a query behind its header",
              TEXT_ARGUMENTS(section->name));
    read_chart(reading, section);
}

static struct report_section *section_at_hand(struct reading *reading)
{
    return reading->report->section_count == 0 ? NULL : &reading->sections[reading->report->section_count - 1];
}

static void set_words(struct reading *reading, struct text *words, const struct entry *entry)
{
    if (words->length > 0)
        fault(reading, entry->place, "there are two lines `%.*s:` here; take one out",
              TEXT_ARGUMENTS(entry->key));
    else if (entry->value.length == 0)
        fault(reading, entry->place, "`%.*s:` is empty; write a few words behind it",
              TEXT_ARGUMENTS(entry->key));
    *words = entry->value;
}

/* With a NUL behind it. */
static const char *section_name(struct reading *reading, struct report_section *section)
{
    section->name = text_copy(reading->arena, section->name);
    reading->no_memory = reading->no_memory || section->name.bytes == NULL;
    return section->name.bytes != NULL ? section->name.bytes : "";
}

static void begin_section(struct reading *reading, const struct entry *entry)
{
    struct report *report = reading->report;
    struct report_section *section;

    if (section_at_hand(reading) != NULL && !reading->named_sections)
        fault(
            reading, entry->place,
            "`%.*s:` stands before the first column; put one there, or take it out where there is one section",
            TEXT_ARGUMENTS(entry->key));
    if (!is_name(entry->value)) {
        fault(reading, entry->place, "the name of a section has a to z, digits and _ alone; correct it");
        return;
    }
    for (uint32_t i = 0; i < report->section_count; i++)
        if (text_equal(reading->sections[i].name, entry->value))
            fault(reading, entry->place, "there are two sections \"%.*s\"; call one by another name",
                  TEXT_ARGUMENTS(entry->value));
    reading->named_sections = true;
    if (section_at_hand(reading) != NULL)
        close_section(reading, section_at_hand(reading));
    section = open_section(reading, entry->value, entry->place);
    if (section != NULL)
        section->kept = text_is(entry->key, "table");
    if (section != NULL && section->kept && (view_named(section_name(reading, section)) != NULL))
        fault(reading, entry->place, "\"%.*s\" is the name of a view; call the table by another name",
              TEXT_ARGUMENTS(entry->value));
}

static struct text key_at(const void *list, uint32_t number)
{
    return text_of(((const char *const *)list)[number]);
}

static void take_key(struct reading *reading, const struct entry *entry)
{
    static const char *const KEYS[] = {"title", "meaning", "parameter", "section", "table", "column", "chart"};
    enum { KEY_COUNT = sizeof KEYS / sizeof *KEYS };
    struct report *report = reading->report;
    struct report_section *section = section_at_hand(reading);

    if (text_is(entry->key, "section") || text_is(entry->key, "table")) {
        begin_section(reading, entry);
    } else if (text_is(entry->key, "title")) {
        set_words(reading, reading->named_sections ? &section->title : &report->title, entry);
    } else if (text_is(entry->key, "meaning")) {
        set_words(reading, reading->named_sections ? &section->meaning : &report->meaning, entry);
    } else if (text_is(entry->key, "parameter")) {
        if (section != NULL)
            fault(reading, entry->place,
                  "parameters belong to the whole report; put this before the first section");
        else
            read_parameter(reading, entry);
    } else if (text_is(entry->key, "column") || text_is(entry->key, "chart")) {
        if (section == NULL)
            section = open_section(reading, report->name, entry->place);
        if (text_is(entry->key, "column"))
            read_column(reading, section, entry);
        else if (reading->chart.key.length > 0)
            fault(reading, entry->place, "a section has one chart; take one out");
        else
            reading->chart = *entry;
    } else {
        struct text nearest = report_nearest(entry->key, key_at, KEYS, KEY_COUNT);
        struct place place = entry->place;
        place.column = 0;
        fault(reading, place, "no key \"%.*s\" in a header; %s%.*s%s", TEXT_ARGUMENTS(entry->key),
              nearest.length > 0 ? "nearest is \""
                                 : "write title, meaning, parameter, section, table, column or chart, or "
                                   "`--#` in front of a comment",
              TEXT_ARGUMENTS(nearest), nearest.length > 0 ? "\"" : "");
    }
}

/* --- The text -------------------------------------------------------------------------------------- */

static bool begins_section(struct text line)
{
    struct text words = is_comment(line) ? text_trim((struct text){line.bytes + 2, line.length - 2}) : TEXT("");

    return text_starts_with(words, TEXT("section:")) || text_starts_with(words, TEXT("table:"));
}

/* The query, up to the next section or the end. */
static void take_query(struct reading *reading)
{
    struct report_section *section = section_at_hand(reading);
    const char *start = reading->rest.bytes;
    uint64_t first_line = reading->line;
    struct text line;
    size_t bytes;

    while (next_line(reading->rest, &line, &bytes) && !begins_section(line))
        skip(reading, bytes);
    struct text sql = text_trim((struct text){start, (size_t)(reading->rest.bytes - start)});
    struct place place = {reading->report->file, first_line, 1};
    if (reading->computed) {
        fault(reading, place, "a computed report has no query; take it out");
    } else if (section == NULL) {
        fault(reading, place,
              "the query has no header; write lines `-- column: NAME FORMAT; meaning` in front of it");
    } else {
        section->sql = sql;
        section->sql_line = first_line;
    }
}

static void read_lines(struct reading *reading)
{
    struct entry entry;
    struct text line;
    size_t bytes;

    while (next_line(reading->rest, &line, &bytes)) {
        if (text_trim(line).length == 0)
            skip(reading, bytes);
        else if (!is_comment(line))
            take_query(reading);
        else if (take_entry(reading, line, bytes, &entry))
            take_key(reading, &entry);
    }
}

static int finish(struct reading *reading)
{
    struct report *report = reading->report;
    struct place place = {report->file, 0, 0};

    if (section_at_hand(reading) != NULL)
        close_section(reading, section_at_hand(reading));
    if (section_at_hand(reading) != NULL && section_at_hand(reading)->kept)
        fault(reading, place, "the report ends with a table, which is not shown; add a section behind it");
    else if (section_at_hand(reading) == NULL && !reading->failed)
        fault(reading, place, "the report has no section; write columns and a SELECT");
    if (report->title.length == 0)
        fault(reading, place, "the report has no title; begin it with a line `-- title: ...`");
    if (report->meaning.length == 0)
        fault(reading, place,
              "the report does not say what it means; add a line `-- meaning: ...` with a sentence");
    report->parameters = ARENA_ARRAY(reading->arena, struct report_parameter, report->parameter_count + 1);
    report->sections = ARENA_ARRAY(reading->arena, struct report_section, report->section_count + 1);
    if (report->parameters == NULL || report->sections == NULL || reading->no_memory)
        return WM_NO_MEMORY;
    memcpy(report->parameters, reading->parameters, report->parameter_count * sizeof *report->parameters);
    memcpy(report->sections, reading->sections, report->section_count * sizeof *report->sections);
    return reading->failed ? WM_BAD_INPUT : WM_OK;
}

int report_read(struct arena *arena, struct text name, struct text file, struct text text, bool computed,
                struct diag_sink *sink, struct report *ret_report)
{
    struct report report = {.name = name, .file = file, .title = TEXT(""), .meaning = TEXT("")};
    struct reading *reading = ARENA_NEW(arena, struct reading);

    if (reading == NULL)
        return WM_NO_MEMORY;
    reading->arena = arena;
    reading->sink = sink;
    reading->report = &report;
    reading->rest = text;
    reading->line = 1;
    reading->computed = computed;
    reading->chart.key = TEXT("");
    if (!text_is_utf8(text) || (text.length > 0 && memchr(text.bytes, '\0', text.length) != NULL)) {
        fault(reading, (struct place){file, 0, 0}, "this is not text (UTF-8); save it as UTF-8");
        return WM_BAD_INPUT;
    }
    read_lines(reading);
    int status = finish(reading);
    if (status == WM_OK)
        *ret_report = report;
    return status;
}
