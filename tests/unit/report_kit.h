/* report_kit.h - for tests: a computed report run on an office file, its rows as text.
 *
 * Cells have `|` between them, null is `-`; a report's own notes are lines that begin with `note: `, verbatim
 * ones with `line: `.
 */
#ifndef WM_TEST_REPORT_KIT_H
#define WM_TEST_REPORT_KIT_H

#include "program.h"

#include "base/buffer.h"
#include "base/status.h"
#include "ledger/office.h"
#include "reports/parameters.h"
#include "reports/read_report.h"
#include "rules/rules.h"

static inline int32_t kit_day(const char *iso)
{
    int32_t day = DAY_NONE;

    if (!date_read(text_of(iso), &day))
        fail_msg("%s is no day", iso);
    return day;
}

static inline void kit_add_notes(struct buffer *out, const struct report_note *note)
{
    for (; note != NULL; note = note->next) {
        buffer_add_string(out, note->verbatim ? "line: " : "note: ");
        buffer_add_text(out, note->words);
        buffer_add_byte(out, '\n');
    }
}

static inline void kit_add_table(struct buffer *out, const struct report_table *table)
{
    uint32_t columns = table->section->column_count;

    buffer_format(out, "[%.*s]\n", TEXT_ARGUMENTS(table->section->name));
    kit_add_notes(out, table->notes);
    for (uint64_t row = 0; row < table->row_count; row++)
        for (uint32_t i = 0; i < columns; i++) {
            struct value cell = table->cells[row * columns + i];
            buffer_add_string(out, i > 0 ? "|" : "");
            if (cell.type == VALUE_NULL)
                buffer_add_byte(out, '-');
            else
                value_write(cell, out);
            buffer_add_string(out, i + 1 == columns ? "\n" : "");
        }
}

struct report_text {
    int status;
    char *text; /* never given back; tests are short */
    struct capture said;
};

/* parameters: name, words, name, words ..., ended by NULL. */
static inline void kit_report(const char *office_path, const char *rules_folder, const char *name,
                              const char *today, const char *const *parameters, struct report_text *ret)
{
    struct arena arena = ARENA_EMPTY;
    struct parameter_word words[8];
    struct rules_files files;
    struct rules *rules = NULL;
    struct office *office = NULL;
    struct report report;
    struct value *values = NULL;
    struct buffer out = BUFFER_EMPTY;
    const struct computed_report *computed = NULL;
    uint32_t count = 0;

    capture_start(&ret->said);
    for (size_t i = 0; COMPUTED_REPORTS[i] != NULL; i++)
        if (strcmp(COMPUTED_REPORTS[i]->name, name) == 0)
            computed = COMPUTED_REPORTS[i];
    assert_non_null(computed);
    for (; parameters[2 * count] != NULL; count++)
        words[count] =
            (struct parameter_word){text_of(parameters[2 * count]), text_of(parameters[2 * count + 1])};
    assert_int_equal(report_read(&arena, text_of(name), text_of(name), text_of(computed->header), true,
                                 &ret->said.sink, &report),
                     WM_OK);
    assert_int_equal(parameters_read(&report, words, count, kit_day(today), &arena, &ret->said.sink, &values),
                     WM_OK);
    assert_int_equal(rules_files_read(rules_folder, &arena, &ret->said.sink, &files), WM_OK);
    assert_int_equal(rules_compile(&arena, &files, &ret->said.sink, &rules), WM_OK);
    assert_int_equal(office_open(office_path, OFFICE_READ, &ret->said.sink, &office), WM_OK);
    assert_int_equal(office_begin_read(office), WM_OK);
    struct report_result result = {
        .report = &report, .values = values, .today = kit_day(today), .arena = &arena};
    result.tables = ARENA_ARRAY(&arena, struct report_table, report.section_count);
    for (uint32_t i = 0; i < report.section_count; i++)
        result.tables[i].section = &report.sections[i];
    const struct report_run run = {
        .office = office, .rules = rules, .today = kit_day(today), .result = &result, .sink = &ret->said.sink};
    ret->status = computed->run(&run);
    kit_add_notes(&out, result.notes);
    for (uint32_t i = 0; i < report.section_count; i++)
        kit_add_table(&out, &result.tables[i]);
    buffer_add_byte(&out, '\0');
    ret->text = out.bytes;
    assert_int_equal(office_end_read(office), WM_OK);
    office_close(office);
    rules_free(rules);
    arena_free(&arena);
}

#define KIT_REPORT(office, rules, name, today, ret, ...) \
    kit_report(office, rules, name, today, (const char *const[]){__VA_ARGS__, NULL, NULL}, ret)

#endif
