#include <stdio.h>

#include "base/limits.h"
#include "base/status.h"
#include "reports/given.h"
#include "reports/read_report.h"

enum { MOST_CELLS = 64 };

struct running {
    const struct report_run *run;
    struct guard *guard;
    const struct report_section *section;
    struct report_table *table;
    struct guarded_query *query;
    bool *used; /* of each parameter: some query names it */
};

static struct place query_place(const struct running *running)
{
    return (struct place){running->run->result->report->file, running->section->sql_line, 1};
}

/* --- Parameters ------------------------------------------------------------------------------------ */

static struct text parameter_at(const void *list, uint32_t number)
{
    return ((const struct report_parameter *)list)[number].name;
}

static int bind_value(struct guarded_query *query, uint32_t number, enum report_format format, struct value v)
{
    if (v.type != VALUE_NUMBER)
        return guard_bind(query, number, v);
    return guard_bind_whole(query, number,
                            format == REPORT_MONEY     ? v.number / DECIMAL_CENT
                            : format == REPORT_DECIMAL ? v.number
                                                       : v.number / DECIMAL_ONE);
}

static int bind_one(struct running *running, uint32_t number)
{
    const struct report_result *result = running->run->result;
    const struct report *report = result->report;
    struct text name = guard_parameter(running->query, number);

    if (text_is(name, "today"))
        return guard_bind(running->query, number, value_date(result->today));
    for (uint32_t i = 0; i < report->parameter_count; i++)
        if (text_equal(report->parameters[i].name, name)) {
            running->used[i] = true;
            return bind_value(running->query, number, report->parameters[i].format, result->values[i]);
        }
    struct text nearest = report_nearest(name, parameter_at, report->parameters, report->parameter_count);
    if (name.length == 0)
        diag_error(running->run->sink, query_place(running),
                   "the query has a parameter without a name; write it as :name, and declare it");
    else if (nearest.length > 0)
        diag_error(running->run->sink, query_place(running),
                   "the query names the parameter :%.*s, which is not declared; nearest is :%.*s",
                   TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(nearest));
    else
        diag_error(
            running->run->sink, query_place(running),
            "the query names the parameter :%.*s, which is not declared; add a line `-- parameter: %.*s TYPE; "
            "meaning`",
            TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(name));
    return WM_BAD_INPUT;
}

static int bind_all(struct running *running)
{
    int status = WM_OK;

    for (uint32_t i = 0; i < guard_parameters(running->query) && status == WM_OK; i++)
        status = bind_one(running, i);
    return status;
}

static int check_used(const struct running *running)
{
    const struct report *report = running->run->result->report;
    int status = WM_OK;

    for (uint32_t i = 0; i < report->parameter_count; i++) {
        if (running->used[i])
            continue;
        diag_error(running->run->sink, report->parameters[i].place,
                   "no query uses the parameter \"%.*s\"; use it as :%.*s or take it out",
                   TEXT_ARGUMENTS(report->parameters[i].name), TEXT_ARGUMENTS(report->parameters[i].name));
        status = WM_BAD_INPUT;
    }
    return status;
}

/* --- Columns --------------------------------------------------------------------------------------- */

/* The header names the columns of the query, in their order. */
static int check_columns(const struct running *running)
{
    const struct report_section *section = running->section;
    uint32_t count = guard_columns(running->query);

    for (uint32_t i = 0; i < section->column_count && i < count; i++) {
        struct text name = guard_column(running->query, i);
        if (text_equal(name, section->columns[i].name))
            continue;
        diag_error(
            running->run->sink, query_place(running),
            "column %u of the query is called \"%.*s\", and the header has \"%.*s\" there; name it with AS, or "
            "correct the header",
            i + 1, TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(section->columns[i].name));
        return WM_BAD_INPUT;
    }
    if (count == section->column_count)
        return WM_OK;
    diag_error(running->run->sink, query_place(running),
               "the query gives %u column%s, and the header has %u; there must be a line `-- column:` for each",
               count, plural(count), section->column_count);
    return WM_BAD_INPUT;
}

static bool to_whole(int64_t whole, int64_t unit, struct value *ret_value)
{
    int64_t millionths;

    if (__builtin_mul_overflow(whole, unit, &millionths))
        return false;
    *ret_value = value_number(millionths);
    return true;
}

static bool to_date(const struct guarded_cell *cell, struct value *ret_value)
{
    int32_t day;

    if (cell->kind != CELL_TEXT || !date_read(cell->text, &day))
        return false;
    *ret_value = value_date(day);
    return true;
}

static bool to_decimal(const struct guarded_cell *cell, struct value *ret_value)
{
    int64_t millionths = cell->whole;

    if (cell->kind == CELL_TEXT && decimal_read(cell->text, 6, &millionths) != NUMBER_OK)
        return false;
    *ret_value = value_number(millionths);
    return cell->kind == CELL_TEXT || cell->kind == CELL_WHOLE;
}

/* room: for a number as text. */
static bool to_text(const struct guarded_cell *cell, char room[DECIMAL_ROOM], struct value *ret_value)
{
    if (cell->kind == CELL_TEXT)
        *ret_value = value_text(cell->text);
    else
        *ret_value = value_text(
            (struct text){room, (size_t)snprintf(room, DECIMAL_ROOM, "%lld", (long long)cell->whole)});
    return cell->kind == CELL_TEXT || cell->kind == CELL_WHOLE;
}

/* False: a cell of this format cannot be had from it. */
static bool to_value(const struct guarded_cell *cell, enum report_format format, char room[DECIMAL_ROOM],
                     struct value *ret_value)
{
    *ret_value = value_null();
    if (cell->kind == CELL_NULL)
        return true;
    switch (format) {
    case REPORT_DATE: return to_date(cell, ret_value);
    case REPORT_INTEGER: return cell->kind == CELL_WHOLE && to_whole(cell->whole, DECIMAL_ONE, ret_value);
    case REPORT_MONEY: return cell->kind == CELL_WHOLE && to_whole(cell->whole, DECIMAL_CENT, ret_value);
    case REPORT_PERCENT: *ret_value = value_number(cell->whole); return cell->kind == CELL_WHOLE;
    case REPORT_DECIMAL: return to_decimal(cell, ret_value);
    default: return to_text(cell, room, ret_value);
    }
}

static void report_cell(const struct running *running, const struct report_column *column,
                        const struct guarded_cell *cell)
{
    static const char *const KINDS[] = {"nothing", "a whole number", "a text", "a binary number with a point",
                                        "a blob"};
    bool too_large = cell->kind == CELL_WHOLE && column->format != REPORT_DATE;
    static const char *const HOW[REPORT_FORMATS] = {
        [REPORT_TEXT] = "give a text or a whole number",
        [REPORT_CLAIM] = "give dealer || '/' || claim",
        [REPORT_DATE] = "give a date as 2026-03-01, as the views have it",
        [REPORT_INTEGER] = "give a whole number",
        [REPORT_MONEY] = "give a whole number of cents",
        [REPORT_DECIMAL] = "give a whole number of millionths",
        [REPORT_PERCENT] = "give share(PART, WHOLE), or a whole number of millionths of 1"};

    diag_error(running->run->sink, query_place(running),
               "the column \"%.*s\" is %s, and row %llu has %s there; %s", TEXT_ARGUMENTS(column->name),
               report_format_name(column->format), (unsigned long long)running->table->row_count + 1,
               too_large ? "a whole number that is too large for it" : KINDS[cell->kind], HOW[column->format]);
}

/* --- Rows ------------------------------------------------------------------------------------------ */

static int take_row(struct running *running)
{
    const struct report_section *section = running->section;
    struct value cells[MOST_CELLS];
    char room[MOST_CELLS][DECIMAL_ROOM];

    for (uint32_t i = 0; i < section->column_count; i++) {
        struct guarded_cell cell = guard_cell(running->query, i);
        if (to_value(&cell, section->columns[i].format, room[i], &cells[i]))
            continue;
        report_cell(running, &section->columns[i], &cell);
        return WM_BAD_INPUT;
    }
    int status = report_add_row(running->run->result, running->table, cells);
    if (status == WM_LIMIT)
        diag_error(running->run->sink, query_place(running),
                   "this comes to more than %d rows or %u MiB; narrow it by its parameters, or add a LIMIT",
                   LIMIT_REPORT_ROWS, LIMIT_REPORT_BYTES / 1048576);
    return status;
}

/* The rows of a `table:` for the queries that follow. */
static int keep_table(struct running *running)
{
    const struct report_section *section = running->section;
    struct arena *arena = running->run->result->arena;
    struct given_table *given = ARENA_NEW(arena, struct given_table);

    if (given == NULL)
        return WM_NO_MEMORY;
    *given = (struct given_table){.name = section->name.bytes,
                                  .column_count = section->column_count,
                                  .cells = running->table->cells,
                                  .row_count = running->table->row_count};
    for (uint32_t i = 0; i < section->column_count; i++) {
        enum report_format format = section->columns[i].format;
        given->columns[i] = text_copy(arena, section->columns[i].name).bytes;
        given->units[i] = format == REPORT_MONEY                                 ? DECIMAL_CENT
                          : format == REPORT_DECIMAL || format == REPORT_PERCENT ? 1
                                                                                 : DECIMAL_ONE;
        if (given->columns[i] == NULL)
            return WM_NO_MEMORY;
    }
    return guard_give(running->guard, given);
}

static int run_section(struct running *running)
{
    bool row = false;
    int status = guard_prepare(running->guard, running->section->sql, query_place(running), &running->query);

    if (status == WM_OK)
        status = check_columns(running);
    if (status == WM_OK)
        status = bind_all(running);
    if (status == WM_OK)
        status = guard_step(running->query, &row);
    while (status == WM_OK && row) {
        status = take_row(running);
        if (status == WM_OK)
            status = guard_step(running->query, &row);
    }
    guard_finish(running->query);
    running->query = NULL;
    return status == WM_OK && running->section->kept ? keep_table(running) : status;
}

int report_run_queries(const struct report_run *run, int64_t seconds)
{
    const struct report *report = run->result->report;
    struct running running = {.run = run,
                              .used = ARENA_ARRAY(run->result->arena, bool, report->parameter_count + 1)};
    struct given given = {0};
    int status = running.used == NULL ? WM_NO_MEMORY : given_open(&given, run);
    const struct guard_setup setup = {.seconds = seconds, .stage_of = given_stage_of, .context = &given};

    if (status == WM_OK)
        status = guard_open(run->office, &setup, &running.guard);
    for (uint32_t i = 0; status == WM_OK && i < given.table_count; i++)
        status = guard_give(running.guard, &given.tables[i]);
    for (uint32_t i = 0; status == WM_OK && i < report->section_count; i++) {
        running.section = &report->sections[i];
        running.table = &run->result->tables[i];
        status = run_section(&running);
    }
    if (status == WM_OK)
        status = check_used(&running);
    guard_close(running.guard);
    given_close(&given);
    return status;
}
