#include "rules/rules.h"

#include "base/limits.h"
#include "base/status.h"
#include "rules/build.h"

/* Diagnostics name files as the user does: with the folder in front. */
struct folder_sink {
    struct text folder;
    struct diag_sink *outer;
};

static void report_with_folder(void *context, const struct diag *diag)
{
    const struct folder_sink *sink = context;
    char path[4096];
    struct diag named = *diag;
    size_t length = 0;

    if (sink->folder.length + 1 + diag->place.file.length < sizeof path && sink->folder.length > 0) {
        memcpy(path, sink->folder.bytes, sink->folder.length);
        length = sink->folder.length;
        path[length++] = '/';
        memcpy(path + length, diag->place.file.bytes, diag->place.file.length);
        named.place.file = (struct text){path, length + diag->place.file.length};
    }
    if (sink->outer->report != NULL)
        sink->outer->report(sink->outer->context, &named);
}

/* --- Shared by the parts of the build ---------------------------------------------------------------- */

static const struct rules_file *need_file(struct build *build, struct text path, bool required)
{
    const struct rules_file *file = rules_files_find(build->files, path);

    if (file == NULL && required)
        diag_error(build->sink, (struct place){path, 0, 0}, "the file is missing; the rules need it");
    return file;
}

/* The outputs of the tables that the engine asks, and their types. */
static const struct output_type OUTPUT_TYPES[] = {
    {"eligible", VALUE_BOOLEAN},
    {"stage", VALUE_TEXT},
    {"kit", VALUE_TEXT},
    {"part", VALUE_TEXT},
    {"quantity", VALUE_NUMBER},
    {"need", VALUE_TEXT},
    {"operation", VALUE_TEXT},
    {"hours", VALUE_NUMBER},
    {"inspection", VALUE_TEXT},
    {"expects", VALUE_TEXT},
    {"followup", VALUE_TEXT},
    {"due_days", VALUE_NUMBER},
    {"finding", VALUE_TEXT},
    {"effect", VALUE_TEXT},
    {"message", VALUE_TEXT},
    {"submit_within_days", VALUE_NUMBER},
    {"decide_within_days", VALUE_NUMBER},
    {"silence_approves", VALUE_BOOLEAN},
    {"pay_within_days", VALUE_NUMBER},
    {"resubmit_within_days", VALUE_NUMBER},
    {"audit_within_days", VALUE_NUMBER},
    {"chargeback_notice_days", VALUE_NUMBER},
};

const struct output_type *rules_output_types(size_t *ret_count)
{
    *ret_count = sizeof OUTPUT_TYPES / sizeof *OUTPUT_TYPES;
    return OUTPUT_TYPES;
}

int build_table(struct build *build, struct text path, bool required, unsigned policies, enum fact_set set,
                enum scope scope, struct table **ret_table)
{
    const struct rules_file *file = need_file(build, path, required);
    struct fact_view view = {build->rules->dictionary, set, scope};
    struct fact_source source = fact_view_source(&view);
    struct table_rules rules = {.policies = policies, .dealer_text = true, .outputs = OUTPUT_TYPES,
                                .output_count = sizeof OUTPUT_TYPES / sizeof *OUTPUT_TYPES};

    if (file == NULL)
        return required ? WM_BAD_INPUT : WM_OK;
    int status = table_compile(build->arena, path, file->bytes, rules, &source, build->sink, ret_table);
    return build->rules->dictionary->no_memory ? WM_NO_MEMORY : status;
}

struct place build_output_place(const struct table *table, uint32_t row, uint32_t output)
{
    return (struct place){table_file(table), table_row_line(table, row), table_output_column(table, output)};
}

int build_output(struct build *build, const struct table *table, const char *name)
{
    int output = table_output_named(table, name);

    if (output < 0)
        diag_error(build->sink, (struct place){table_file(table), 1, 0}, "the table has no column >%s; add it", name);
    return output;
}

bool build_word(struct build *build, const struct table *table, uint32_t row, int output, struct text *ret_word)
{
    struct place place = build_output_place(table, row, (uint32_t)output);
    struct text word = value_as_text(table_output(table, row, (uint32_t)output));

    if (word.length == 0) {
        diag_error(build->sink, place, ">%.*s is empty; fill the cell in",
                   TEXT_ARGUMENTS(table_output_name(table, (uint32_t)output)));
        return false;
    }
    if (table_output_has_places(table, row, (uint32_t)output)) {
        diag_error(build->sink, place, ">%.*s may not hold {fact} places; write the word itself",
                   TEXT_ARGUMENTS(table_output_name(table, (uint32_t)output)));
        return false;
    }
    *ret_word = word;
    return true;
}

/* --- Lists of the whole folder ----------------------------------------------------------------------- */

static int build_dictionary(struct build *build)
{
    const struct rules_file *file = need_file(build, TEXT("facts.csv"), true);

    if (file == NULL)
        return WM_BAD_INPUT;
    return dictionary_read(build->arena, file->path, file->bytes, build->sink, &build->rules->dictionary);
}

static int build_units(struct build *build)
{
    const struct rules_file *file = need_file(build, TEXT("units.csv"), true);

    if (file == NULL)
        return WM_BAD_INPUT;
    return units_read(build->arena, file->path, file->bytes, build->sink, &build->rules->units);
}

static int build_deadlines(struct build *build)
{
    static const char *const OUTPUTS[DEADLINES] = {"submit_within_days",   "decide_within_days",
                                                   "silence_approves",     "pay_within_days",
                                                   "resubmit_within_days", "audit_within_days"};
    struct rules *rules = build->rules;
    int status = build_table(build, TEXT("deadlines.csv"), true, HIT_BIT(HIT_UNIQUE), FACTS_OF_REGION, SCOPE_CLAIM,
                             &rules->deadlines);

    if (status != WM_OK)
        return status;
    for (int i = 0; i < DEADLINES; i++)
        rules->deadline_output[i] = table_output_named(rules->deadlines, OUTPUTS[i]);
    rules->notice_output = table_output_named(rules->deadlines, "chargeback_notice_days");
    return WM_OK;
}

static int build_filings(struct build *build)
{
    const struct rules_file *file = need_file(build, TEXT("filings.csv"), false);

    return file == NULL ? WM_OK
                        : filings_read(build->arena, file->path, file->bytes, build->sink, &build->rules->filings);
}

static int build_measures(struct build *build)
{
    const struct rules_file *file = need_file(build, TEXT("outliers.csv"), false);

    return file == NULL ? WM_OK
                        : measures_read(build->arena, file->path, file->bytes, build->sink, &build->rules->measures);
}

/* Runs one part after another as long as going on makes sense, so that one run names every error. */
static int build_all(struct build *build)
{
    int status = build_dictionary(build);
    int units = build_units(build);

    if (status != WM_OK || units != WM_OK)
        return status != WM_OK ? status : units;
    int (*const parts[])(struct build *) = {build_deadlines, build_filings, build_measures,
                                                 build_campaigns, build_checks};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        status = parts[i](build);
        if (status != WM_OK && status != WM_BAD_INPUT)
            return status;
    }
    return build->sink->errors > 0 ? WM_BAD_INPUT : WM_OK;
}

int rules_compile(struct arena *arena, const struct rules_files *files, struct diag_sink *sink,
                  struct rules **ret_rules)
{
    struct folder_sink folder = {files->folder, sink};
    struct diag_sink inner = {report_with_folder, &folder, 0, 0};
    struct rules *rules = ARENA_NEW(arena, struct rules);
    struct build build = {arena, files, &inner, rules};

    if (rules == NULL)
        return WM_NO_MEMORY;
    rules->files = files;
    int status = build_all(&build);
    sink->errors += inner.errors;
    sink->warnings += inner.warnings;
    if (status != WM_OK) {
        rules_free(rules);
        return status;
    }
    *ret_rules = rules;
    return WM_OK;
}

static void free_campaign(struct campaign *campaign)
{
    for (int which = 0; which < CAMPAIGN_TABLES; which++)
        table_free((struct table *)campaign_table(campaign, (enum campaign_table)which));
    if (campaign->tests != NULL)
        for (uint32_t row = 0; row < table_row_count(campaign->inspections); row++)
            condition_free(campaign->tests[row].condition);
    text_index_free(&campaign->part_index);
    text_index_free(&campaign->operation_index);
    text_index_free(&campaign->inspection_index);
}

void rules_free(struct rules *rules)
{
    if (rules == NULL)
        return;
    for (uint32_t i = 0; i < rules->campaign_count; i++)
        free_campaign(&rules->campaigns[i]);
    for (int scope = 0; scope < SCOPES; scope++)
        for (uint32_t i = 0; i < rules->check_count[scope]; i++)
            table_free(rules->checks[scope][i].table);
    table_free(rules->deadlines);
}

int rules_campaign(const struct rules *rules, struct text id)
{
    uint32_t low = 0, high = rules->campaign_count;

    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        int order = text_compare(rules->campaigns[middle].id, id);
        if (order == 0)
            return (int)middle;
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return -1;
}
