/* What all parts of the analysis need to say what they found: places, examples, counts. */
#include <assert.h>
#include <stdlib.h>

#include "base/csv.h"
#include "base/limits.h"
#include "base/status.h"
#include "rules/lint_classes.h"
#include "rules/lint_parts.h"
#include "rules/lint_words.h"

int lint_say(struct lint *lint, const struct lint_result *result)
{
    if (result->wrong.bytes == NULL || result->advice.bytes == NULL)
        return WM_NO_MEMORY;
    lint->summary.found[result->severity]++;
    lint->summary.not_proved += result->kind == LINT_NOT_PROVED;
    return lint->take(lint->context, result);
}

int lint_say_not_proved(struct lint *lint, struct place place, enum lint_answer answer, const char *what)
{
    struct lint_result result = {.severity = LINT_NOTE, .kind = LINT_NOT_PROVED, .place = place};

    result.wrong = text_format(&lint->arena, "it was not proved that %s: %s", what,
                               answer == LINT_TOO_LARGE
                                   ? "that would take too long"
                                   : "it depends on cells that compare facts with facts or with patterns");
    result.advice = TEXT("check it by hand");
    return lint_say(lint, &result);
}

/* --- Places --------------------------------------------------------------------------------------- */

struct place lint_condition_place(const struct table *table, uint32_t row, int condition)
{
    return (struct place){table_file(table), table_row_line(table, row),
                          condition < 0 ? 1 : table_condition_column(table, (uint32_t)condition)};
}

struct place lint_output_place(const struct table *table, uint32_t row, const char *output)
{
    int number = table_output_named(table, output);

    return (struct place){table_file(table), table_row_line(table, row),
                          number < 0 ? 1 : table_output_column(table, (uint32_t)number)};
}

struct place lint_header_place(const struct table *table)
{
    return (struct place){table_file(table), 1, 1};
}

struct text lint_output_text(const struct table *table, uint32_t row, const char *output)
{
    int number = table_output_named(table, output);

    return number < 0 ? (struct text){NULL, 0} : value_as_text(table_output(table, row, (uint32_t)number));
}

struct place lint_list_place(struct lint *lint, struct text folder, const char *name, struct text word,
                             uint32_t column)
{
    struct place place = {text_format(&lint->arena, "%.*s/%s", TEXT_ARGUMENTS(folder), name), 0, 0};
    const struct rules_file *file =
        place.file.bytes != NULL ? rules_files_find(lint->rules->files, place.file) : NULL;
    struct csv_rows rows = {0};
    struct csv_row row;
    int status = place.file.bytes != NULL ? WM_OK : WM_NO_MEMORY;

    if (file != NULL)
        status = csv_rows_open(&rows, csv_without_mark(file->bytes), 1, LIMIT_COLUMNS, &lint->arena);
    while (place.line == 0 && csv_rows_next(&rows, &row))
        for (uint32_t c = 0; c < row.cell_count && place.line == 0; c++)
            if (text_equal(row.cells[c], word))
                place = (struct place){place.file, row.line, column};
    lint->no_memory = lint->no_memory || status != WM_OK || rows.no_memory;
    csv_rows_close(&rows);
    return place;
}

/* --- Spaces --------------------------------------------------------------------------------------- */

static struct fact_nature nature_of(void *context, uint32_t slot)
{
    const struct lint *lint = context;
    enum fact_id id = fact_of_slot(lint->rules->dictionary, slot);

    return id == FACT_COUNT ? FACT_NATURE_OPEN : fact_nature(id, lint->scope);
}

int lint_open_space(struct lint *lint, const struct table *const *tables, uint32_t count, bool of_campaign,
                    struct lint_space **ret_space)
{
    struct lint_knowledge knowledge = {nature_of, lint, of_campaign, of_campaign ? lint->fleet : NULL};

    return lint_space_make(&lint->arena, tables, count, &knowledge, ret_space);
}

/* --- Counts --------------------------------------------------------------------------------------- */

/* Leaves of a box what is like this vehicle; false: nothing. A class outside the domain counts where the box is
 * as wide as the domain. */
static bool pin_vehicle(const struct lint *lint, const struct lint_space *space,
                        const struct lint_vehicle *vehicle, uint64_t *box)
{
    for (uint32_t d = 0; d < space->dim_count; d++) {
        const struct lint_dim *dim = &space->dims[d];
        if (dim->slot >= lint->fleet->slot_count || !lint->fleet->slots[dim->slot])
            continue;
        int class_number = lint_class_of(dim, vehicle->facts[dim->slot]);
        if (class_number < 0)
            return false;
        bool inside = dim->classes[class_number].in_domain
                          ? lint_box_has(space, box, d, (uint32_t)class_number)
                          : lint_box_width(space, box, d) == lint_box_width(space, space->domain, d);
        if (!inside)
            return false;
        memset(box_dim(space, box, d), 0, dim->words * sizeof *box);
        bit_set(box_dim(space, box, d), (uint32_t)class_number);
    }
    return true;
}

static bool has_vehicle(const struct lint *lint, const struct lint_space *space)
{
    for (uint32_t d = 0; d < space->dim_count; d++)
        if (space->dims[d].slot < lint->fleet->slot_count && lint->fleet->slots[space->dims[d].slot])
            return true;
    return false;
}

/* Vehicles that the space cannot tell apart are asked for once. */
struct counting {
    const struct lint_space *space;
    const struct lint_question *question;
    struct text_index known; /* boxes */
    bool *answers;           /* of each */
};

static int count_vehicle(struct counting *counting, const uint64_t *box, bool *ret_is_so)
{
    struct text key = {(const char *)box, counting->space->box_words * sizeof *box};
    struct lint_question one = *counting->question;
    struct lint_found found;
    uint32_t before = counting->known.count;
    uint32_t kind = text_index_add(&counting->known, key, before);

    if (kind == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    if (counting->known.count > before) {
        one.within = box;
        int status = lint_ask(counting->space, &one, &found);
        if (status != WM_OK)
            return status;
        counting->answers[kind] = found.answer == LINT_YES || found.answer == LINT_MAYBE;
    }
    *ret_is_so = counting->answers[kind];
    return WM_OK;
}

static int count_fleet(const struct lint *lint, struct counting *counting, uint64_t *ret_vehicles)
{
    const struct lint_space *space = counting->space;
    const uint64_t *within = counting->question->within != NULL ? counting->question->within : space->domain;

    for (uint32_t i = 0; i < lint->fleet->count; i++) {
        uint64_t *box = lint_box_new(space);
        bool is_so = false;
        if (box == NULL)
            return WM_NO_MEMORY;
        memcpy(box, within, space->box_words * sizeof *box);
        if (!pin_vehicle(lint, space, &lint->fleet->vehicles[i], box))
            continue;
        int status = count_vehicle(counting, box, &is_so);
        if (status != WM_OK)
            return status;
        *ret_vehicles += is_so ? lint->fleet->vehicles[i].count : 0;
    }
    return WM_OK;
}

int lint_count(struct lint *lint, const struct lint_space *space, const struct lint_question *question,
               bool *ret_counted, uint64_t *ret_vehicles)
{
    struct counting counting = {space, question, TEXT_INDEX_EMPTY, NULL};

    *ret_vehicles = 0;
    *ret_counted = false;
    if (lint->fleet == NULL || !has_vehicle(lint, space))
        return WM_OK;
    counting.answers = calloc(lint->fleet->count + 1, sizeof *counting.answers);
    int status = counting.answers != NULL ? count_fleet(lint, &counting, ret_vehicles) : WM_NO_MEMORY;
    text_index_free(&counting.known);
    free(counting.answers);
    *ret_counted = status == WM_OK;
    return status == WM_NO_MEMORY ? status : WM_OK; /* else it stays uncounted */
}

int lint_add_example(struct lint *lint, const struct lint_space *space, const struct lint_question *question,
                     const uint64_t *box, struct lint_result *result)
{
    struct buffer words = BUFFER_EMPTY;

    lint_box_words(space, box, &words);
    result->example = text_copy(&lint->arena, buffer_text(&words));
    bool failed = words.failed || result->example.bytes == NULL;
    buffer_free(&words);
    if (failed)
        return WM_NO_MEMORY;
    return question != NULL ? lint_count(lint, space, question, &result->counted, &result->vehicles) : WM_OK;
}

/* --- Cases of a table ----------------------------------------------------------------------------- */

static const char *policy_words(const struct table *table)
{
    return table_policy(table) == HIT_UNIQUE
               ? "only one row of this table may hit; make their conditions exclude each other"
               : "rows that hit together must say the same; make their conditions exclude each other, or their "
                 "outputs equal";
}

static int say_overlap(struct lint_saying *saying, const struct lint_case *found)
{
    const struct lint_space *space = saying->table->space;
    struct lint *lint = saying->lint;
    struct lint_question question = LINT_QUESTION;
    uint32_t row, other;
    const struct table *table = lint_row_table(space, found->row, &row);
    struct lint_result result = {
        .severity = LINT_ERROR, .kind = LINT_OVERLAP, .advice = text_of(policy_words(table))};

    lint_row_table(space, found->other_row, &other);
    result.place = lint_condition_place(table, other, -1);
    result.wrong =
        text_format(&lint->arena, "rows \"%.*s\" and \"%.*s\" both hit",
                    TEXT_ARGUMENTS(table_row_name(table, row)), TEXT_ARGUMENTS(table_row_name(table, other)));
    question.hits[0] = found->row;
    question.hits[1] = found->other_row;
    question.hit_count = 2;
    question.region = saying->table->region;
    int status = lint_add_example(lint, space, &question, found->box, &result);
    return status != WM_OK ? status : lint_say(lint, &result);
}

/* Whether a cell is a list of values none of which is in the domain: each is told as a value that there is not.
 */
static bool is_list_of_values(const struct cell *cell)
{
    for (uint32_t i = 0; i < cell->test_count; i++)
        if (cell->tests[i].kind != TEST_EQUAL || cell->tests[i].high.fact != NULL)
            return false;
    return cell->test_count > 0 && !cell->negated;
}

static int say_no_value(struct lint_saying *saying, const struct lint_case *found)
{
    const struct lint_space *space = saying->table->space;
    const struct lint_dim *dim = &space->dims[found->dim];
    struct lint *lint = saying->lint;
    uint32_t row;
    const struct table *table = lint_row_table(space, found->row, &row);
    int condition = lint_condition_on(table, dim->slot, 0);
    struct lint_result result = {.severity = LINT_WARNING,
                                 .kind = LINT_DEAD_ROW,
                                 .advice = TEXT("correct the cell, or take the row out")};

    assert(condition >= 0); /* a column of another table is empty only where no vehicle is eligible, said before */
    const struct cell *cell = table_condition_test(table, (uint32_t)condition, row);
    if (is_list_of_values(cell) && (dim->has_values || dim->nature.words != NULL))
        return WM_OK;
    result.place = lint_condition_place(table, row, condition);
    result.wrong = text_format(
        &lint->arena, "row \"%.*s\" can never hit: no value that %.*s may have meets %.*s",
        TEXT_ARGUMENTS(table_row_name(table, row)), TEXT_ARGUMENTS(dim->name), TEXT_ARGUMENTS(cell->written));
    return lint_say(lint, &result);
}

static struct text row_names(const struct lint_saying *saying, const struct lint_case *found)
{
    struct buffer names = BUFFER_EMPTY;

    for (uint32_t i = 0; i < found->covering_count && i < LINT_MOST_ALIKE; i++) {
        uint32_t row;
        const struct table *table = lint_row_table(saying->table->space, found->covering[i], &row);
        buffer_format(&names, "%s\"%.*s\"",
                      i == 0                           ? ""
                      : i + 1 == found->covering_count ? " and "
                                                       : ", ",
                      TEXT_ARGUMENTS(table_row_name(table, row)));
    }
    if (found->covering_count > LINT_MOST_ALIKE)
        buffer_format(&names, " and %u more", found->covering_count - LINT_MOST_ALIKE);
    struct text text =
        names.failed ? (struct text){NULL, 0} : text_copy(&saying->lint->arena, buffer_text(&names));
    buffer_free(&names);
    return text;
}

static int say_dead(struct lint_saying *saying, const struct lint_case *found)
{
    const struct lint_space *space = saying->table->space;
    struct lint *lint = saying->lint;
    struct lint_question question = LINT_QUESTION;
    uint32_t row;
    const struct table *table = lint_row_table(space, found->row, &row);
    struct text name = table_row_name(table, row);
    struct lint_result result = {.severity = LINT_WARNING, .place = lint_condition_place(table, row, -1)};

    if (found->kind == CASE_OUTSIDE) {
        result.kind = LINT_CONTRADICTION;
        result.wrong = text_format(&lint->arena, "row \"%.*s\" is for vehicles that are not eligible",
                                   TEXT_ARGUMENTS(name));
        result.advice = TEXT("correct its conditions, or those of eligibility.csv");
    } else {
        struct text before = row_names(saying, found);
        if (before.bytes == NULL)
            return WM_NO_MEMORY;
        result.kind = LINT_DEAD_ROW;
        result.wrong = text_format(
            &lint->arena, "row \"%.*s\" can never hit: whatever meets it meets %s %.*s first",
            TEXT_ARGUMENTS(name), found->covering_count == 1 ? "row" : "rows", TEXT_ARGUMENTS(before));
        result.advice = table_policy(table) == HIT_PRIORITY ? TEXT("give it a higher priority, or take it out")
                                                            : TEXT("put it before them, or take it out");
    }
    question.hits[0] = found->row;
    question.hit_count = 1;
    int status = lint_add_example(lint, space, &question, found->box, &result);
    return status != WM_OK ? status : lint_say(lint, &result);
}

static int say_unproved(struct lint_saying *saying, const struct lint_case *found)
{
    const struct table *table = saying->table->space->tables[saying->table->number];

    if (saying->not_proved)
        return WM_OK;
    saying->not_proved = true;
    return lint_say_not_proved(saying->lint, lint_header_place(table), found->answer,
                               found->kind == CASE_OVERLAP ? "no two rows of this table meet in error"
                                                           : "every row of this table can be reached");
}

static int say_more(struct lint_saying *saying)
{
    const struct table *table = saying->table->space->tables[saying->table->number];
    struct lint_result result = {.severity = LINT_NOTE,
                                 .kind = LINT_NOT_PROVED,
                                 .place = lint_header_place(table),
                                 .wrong = TEXT("there are more rows like this, and they were not looked at"),
                                 .advice = TEXT("correct these first")};
    int status = lint_say(saying->lint, &result);

    return status != WM_OK ? status : WM_LIMIT;
}

int lint_say_case(void *context, const struct lint_case *found)
{
    struct lint_saying *saying = context;

    if (found->answer != LINT_YES)
        return say_unproved(saying, found);
    if (saying->said[found->kind]++ == LINT_MOST_ALIKE)
        return say_more(saying);
    assert(found->kind != CASE_GAP); /* who asks for gaps tells them */
    if (found->kind == CASE_OVERLAP)
        return say_overlap(saying, found);
    return found->kind == CASE_NO_VALUE ? say_no_value(saying, found) : say_dead(saying, found);
}

int lint_say_table(struct lint *lint, const struct lint_table *table, lint_take_case *take, void *more)
{
    struct lint_saying saying = {.lint = lint, .table = table, .more = more};
    int status = lint_overlaps(table, take, &saying);

    lint->summary.tables++;
    saying.not_proved = false;
    return status != WM_OK ? status : lint_dead_rows(table, take, &saying);
}
