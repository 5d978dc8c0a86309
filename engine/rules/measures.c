#include "rules/measures.h"

#include <stdio.h>
#include <string.h>

#include "base/buffer.h"
#include "base/decimal.h"
#include "base/sheet.h"
#include "base/status.h"

enum {
    MEASURE,
    TITLE,
    OF_DECISION,
    OF_OUTCOME,
    DECISION,
    OUTCOME,
    EFFECT,
    FINDING,
    FOLLOWUP,
    SIDE,
    NEAR,
    FAR,
    DRAW_IN,
    SOURCE,
    COLUMNS
};
static const struct csv_column MEASURE_COLUMNS[COLUMNS] = {
    {"measure", true},  {"title", true},   {"of_decision", false}, {"of_outcome", false}, {"decision", false},
    {"outcome", false}, {"effect", false}, {"finding", false},     {"followup", false},   {"side", true},
    {"near", true},     {"far", true},     {"draw_in", true},      {"source", false}};

static const char *const SIDES[] = {"high", "low", "both"};

const char *measure_side_name(enum measure_side side)
{
    return SIDES[side];
}

static bool is_one_of(struct text word, const char *words)
{
    struct text rest = text_of(words), piece;

    while (text_next(&rest, ' ', &piece))
        if (text_equal_any_case(piece, word))
            return true;
    return false;
}

/* The cell, each of whose words must be one of these; NULL: any. */
static struct text read_words(const struct sheet *sheet, int column, const char *words)
{
    struct text cell = sheet_cell(sheet, column), rest = cell, word;

    while (words != NULL && text_next(&rest, ';', &word))
        if (word.length > 0 && !is_one_of(word, words))
            diag_error(sheet->sink, sheet_place(sheet, column), "%s \"%.*s\" is none; the words are %s",
                       MEASURE_COLUMNS[column].name, TEXT_ARGUMENTS(word), words);
    return text_copy(sheet->arena, cell);
}

static int64_t read_probability(const struct sheet *sheet, int column, int64_t above, int64_t below)
{
    struct text cell = sheet_cell(sheet, column);
    int64_t number = 0;

    if (decimal_read(cell, 6, &number) == NUMBER_OK && number > above && number < below)
        return number;
    diag_error(sheet->sink, sheet_place(sheet, column), "%s \"%.*s\" is no number %s; write one such as %s",
               MEASURE_COLUMNS[column].name, TEXT_ARGUMENTS(cell),
               column == DRAW_IN ? "from 0 to below 0.5" : "between 0.5 and 1",
               column == DRAW_IN ? "0.1" : "0.975");
    return 0;
}

static void read_limits(const struct sheet *sheet, struct measure *measure)
{
    struct text side = sheet_cell(sheet, SIDE);

    measure->side = SIDE_BOTH;
    for (int i = SIDE_HIGH; i <= SIDE_BOTH; i++)
        if (text_is(side, SIDES[i]))
            measure->side = (enum measure_side)i;
    if (measure->side == SIDE_BOTH && !text_is(side, SIDES[SIDE_BOTH]))
        diag_error(sheet->sink, sheet_place(sheet, SIDE), "side \"%.*s\" is none; write high, low or both",
                   TEXT_ARGUMENTS(side));
    measure->near = read_probability(sheet, NEAR, DECIMAL_ONE / 2, DECIMAL_ONE);
    measure->far = read_probability(sheet, FAR, DECIMAL_ONE / 2, DECIMAL_ONE);
    measure->draw_in = read_probability(sheet, DRAW_IN, -1, DECIMAL_ONE / 2);
    if (measure->near > 0 && measure->far > 0 && measure->near >= measure->far)
        diag_error(sheet->sink, sheet_place(sheet, FAR),
                   "far is not above near; the far limit is the one that counts");
}

/* "measure=cut-money; effect=cut; ...": what the row says, for the record. */
static struct text write_definition(const struct sheet *sheet)
{
    struct buffer words = BUFFER_EMPTY;

    for (int column = MEASURE; column < SOURCE; column++) {
        struct text cell = sheet_cell(sheet, column);
        if (column == TITLE || cell.length == 0)
            continue;
        buffer_format(&words, "%s%s=", words.length > 0 ? ", " : "", MEASURE_COLUMNS[column].name);
        buffer_add_text(&words, cell);
    }
    struct text copy = words.failed ? (struct text){NULL, 0} : text_copy(sheet->arena, buffer_text(&words));
    buffer_free(&words);
    return copy;
}

static void check_measure(const struct sheet *sheet, const struct measures *measures,
                          const struct measure *measure)
{
    if (measure->name.length == 0 || measure->title.length == 0)
        diag_error(sheet->sink, sheet_place(sheet, measure->name.length == 0 ? MEASURE : TITLE),
                   "a measure needs its name and its title; fill the cell in");
    for (uint32_t i = 0; i < measures->count; i++)
        if (text_equal(measures->list[i].name, measure->name))
            diag_error(sheet->sink, sheet_place(sheet, MEASURE), "measure \"%.*s\" is listed twice; keep one",
                       TEXT_ARGUMENTS(measure->name));
    if (measure->is.decision.length + measure->is.outcome.length + measure->effect.length +
            measure->finding.length + measure->followup.length ==
        0)
        diag_error(
            sheet->sink, sheet_place(sheet, MEASURE),
            "measure \"%.*s\" counts every claim; fill in decision, outcome, effect, finding or followup",
            TEXT_ARGUMENTS(measure->name));
}

static int read_measure(void *context, const struct sheet *sheet)
{
    static const char DECISIONS[] = "pay hold return refuse", OUTCOMES[] = "repaired inspected",
                      EFFECTS[] = "refuse return hold cut note", FOLLOWUPS[] = "opened supplied";
    struct measures *measures = context;
    struct measure measure = {
        .name = read_words(sheet, MEASURE, NULL),
        .title = read_words(sheet, TITLE, NULL),
        .of = {read_words(sheet, OF_DECISION, DECISIONS), read_words(sheet, OF_OUTCOME, OUTCOMES)},
        .is = {read_words(sheet, DECISION, DECISIONS), read_words(sheet, OUTCOME, OUTCOMES)},
        .effect = read_words(sheet, EFFECT, EFFECTS),
        .finding = read_words(sheet, FINDING, NULL),
        .followup = read_words(sheet, FOLLOWUP, FOLLOWUPS),
        .definition = write_definition(sheet),
        .line = sheet->row->line};
    struct measure *grown =
        arena_grown(sheet->arena, measures->list, measures->count, measures->count + 1, sizeof *grown);

    if (grown == NULL || measure.definition.bytes == NULL)
        return WM_NO_MEMORY;
    read_limits(sheet, &measure);
    check_measure(sheet, measures, &measure);
    measures->list = grown;
    measures->list[measures->count++] = measure;
    return WM_OK;
}

int measures_read(struct arena *arena, struct text file, struct text csv, struct diag_sink *sink,
                  struct measures *ret_measures)
{
    struct measures measures = {NULL, 0, file};
    int status = sheet_read(arena, file, csv, MEASURE_COLUMNS, COLUMNS, read_measure, &measures, sink);

    if (status == WM_OK)
        *ret_measures = measures;
    return status;
}

/* --- From a record ----------------------------------------------------------------------------- */

/* Where ", NAME=" begins in a definition, from `at` on; its length where it does not. */
static size_t find_name(struct text definition, size_t at, int column, size_t *ret_behind)
{
    char name[32];
    int length = snprintf(name, sizeof name, ", %s=", MEASURE_COLUMNS[column].name);
    const char *found = memmem(definition.bytes + at, definition.length - at, name, (size_t)length);
    size_t where = found != NULL ? (size_t)(found - definition.bytes) : definition.length;

    *ret_behind = found != NULL ? where + (size_t)length : where;
    return where;
}

/* The cell that write_definition wrote: up to the next column that is named behind it. */
static struct text defined_cell(struct text definition, int column)
{
    static const size_t FIRST_NAME = sizeof "measure=" - 1;
    size_t begin = FIRST_NAME, end = definition.length, behind;

    if (!text_starts_with(definition, TEXT("measure=")))
        return TEXT("");
    if (column != MEASURE)
        find_name(definition, FIRST_NAME, column, &begin);
    for (int later = column + 1; later < SOURCE; later++) {
        size_t where = find_name(definition, begin, later, &behind);
        end = where < end ? where : end;
    }
    return (struct text){definition.bytes + begin, end - begin};
}

static void write_record(struct buffer *csv, const struct measure_record *record)
{
    for (int column = MEASURE; column < SOURCE; column++) {
        buffer_add_csv(csv, column == TITLE ? record->title : defined_cell(record->definition, column));
        buffer_add_byte(csv, column + 1 < SOURCE ? ',' : '\n');
    }
}

int measures_of_record(struct arena *arena, struct text file, const struct measure_record *records, uint32_t count,
                       struct diag_sink *sink, struct measures *ret_measures)
{
    struct buffer csv = BUFFER_EMPTY;

    for (int column = MEASURE; column < SOURCE; column++) {
        buffer_add_string(&csv, MEASURE_COLUMNS[column].name);
        buffer_add_byte(&csv, column + 1 < SOURCE ? ',' : '\n');
    }
    for (uint32_t i = 0; i < count; i++)
        write_record(&csv, &records[i]);
    struct text copy = csv.failed ? (struct text){NULL, 0} : text_copy(arena, buffer_text(&csv));
    buffer_free(&csv);
    return copy.bytes == NULL ? WM_NO_MEMORY : measures_read(arena, file, copy, sink, ret_measures);
}
