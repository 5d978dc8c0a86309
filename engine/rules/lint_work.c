/* What the tables of a campaign give its eligible vehicles: a kit, a price for each part, an operation,
 * inspections that expect something; and what they name that no eligible vehicle has.
 */
#include "base/status.h"
#include "rules/lint_classes.h"
#include "rules/lint_parts.h"

enum { MOST_GAPS = 5 };

/* --- Shared --------------------------------------------------------------------------------------- */

static struct lint_question about_row(const struct lint_of_campaign *of, enum campaign_table which,
                                      uint32_t row)
{
    struct lint_question question = LINT_QUESTION;

    question.hits[0] = lint_row(of->space, (uint32_t)of->number[which], row);
    question.hit_count = 1;
    question.region = &of->eligible;
    return question;
}

/* Says a result with an example, where the question is answered yes; what else was not proved is said by
 * `what`. */
static int say_if_so(const struct lint_of_campaign *of, struct lint_question *question,
                     struct lint_result *result, const char *what)
{
    struct lint_found found;
    int status = lint_ask_eligible(of, question, &found);

    if (status != WM_OK || found.answer == LINT_NO)
        return status;
    if (found.answer != LINT_YES)
        return lint_say_not_proved(of->lint, result->place, found.answer, what);
    status = lint_add_example(of->lint, of->space, question, found.box, result);
    return status != WM_OK ? status : lint_say(of->lint, result);
}

static bool is_required(const struct table *table, uint32_t row)
{
    return text_is(lint_output_text(table, row, "need"), "required");
}

static struct text key_of(struct lint *lint, struct text shown)
{
    char *room = arena_bytes(&lint->arena, shown.length + 1);

    lint->no_memory = lint->no_memory || room == NULL;
    return room == NULL ? (struct text){"", 0} : (struct text){room, text_item_key(shown, room)};
}

static struct text eligibility_row(const struct lint_of_campaign *of, uint32_t part)
{
    uint32_t row;

    lint_row_table(of->space, of->eligible.parts[part].hit, &row);
    return table_row_name(of->campaign->eligibility, row);
}

/* --- Gaps: a kit, an operation -------------------------------------------------------------------- */

struct gap_saying {
    const struct lint_of_campaign *of;
    struct lint_question *question;
    struct lint_result like; /* severity, place, advice */
    const char *what;        /* "no kit" */
    const char *outcome;
    uint32_t said;
};

static int say_gap(void *context, const struct lint_case *found)
{
    struct gap_saying *saying = context;
    const struct lint_of_campaign *of = saying->of;
    struct lint_result result = saying->like;
    struct lint_question here = *saying->question;

    if (found->answer != LINT_YES) {
        struct text what = text_format(&of->lint->arena, "there is always more than %s", saying->what);
        int status = what.bytes == NULL
                         ? WM_NO_MEMORY
                         : lint_say_not_proved(of->lint, result.place, found->answer, what.bytes);
        return status != WM_OK ? status : WM_LIMIT;
    }
    if (saying->said++ == MOST_GAPS)
        return WM_LIMIT;
    result.kind = LINT_GAP;
    result.wrong =
        text_format(&of->lint->arena, "%s for a vehicle that row \"%.*s\" of eligibility.csv takes in, when %s",
                    saying->what, TEXT_ARGUMENTS(eligibility_row(of, found->part)), saying->outcome);
    here.within = found->box;
    int status = lint_add_example(of->lint, of->space, &here, found->box, &result);
    if (result.counted && result.vehicles == 0 && result.severity == LINT_ERROR)
        result.severity = LINT_WARNING;
    return status != WM_OK ? status : lint_say(of->lint, &result);
}

static int look_for_kits(const struct lint_of_campaign *of)
{
    struct lint_question question = LINT_QUESTION;

    if (of->number[TABLE_KITS] < 0)
        return WM_OK;
    question.region = &of->eligible;
    question.within = of->repaired;
    question.avoid = lint_rows_of_table(of->space, (uint32_t)of->number[TABLE_KITS]);
    if (question.avoid == NULL)
        return WM_NO_MEMORY;
    struct gap_saying saying = {
        .of = of,
        .question = &question,
        .what = "no kit",
        .outcome = "repaired",
        .like = {.severity = LINT_ERROR,
                 .place = lint_header_place(of->campaign->kits),
                 .advice = TEXT("add a row for it, with an empty >kit if it takes none, or take it out of "
                                "eligibility.csv")}};
    return lint_gaps(of->space, &question, say_gap, &saying);
}

/* The rows of the labor table that require an operation. */
static uint64_t *required_rows(const struct lint_of_campaign *of)
{
    const struct table *labor = of->campaign->labor;
    uint64_t *rows = lint_rows_new(of->space);

    for (uint32_t row = 0; rows != NULL && row < table_row_count(labor); row++)
        if (is_required(labor, row))
            bit_set(rows, lint_row(of->space, (uint32_t)of->number[TABLE_LABOR], row));
    return rows;
}

/* Whether the labor table gives some vehicle something with this outcome. */
static int is_paid_at_all(const struct lint_of_campaign *of, const uint64_t *within, bool *ret_is)
{
    int status = WM_OK;

    *ret_is = false;
    for (uint32_t row = 0; status == WM_OK && !*ret_is && row < table_row_count(of->campaign->labor); row++) {
        struct lint_question question = about_row(of, TABLE_LABOR, row);
        struct lint_found found;
        question.within = within;
        status = is_required(of->campaign->labor, row) ? lint_ask(of->space, &question, &found) : WM_OK;
        *ret_is = is_required(of->campaign->labor, row) && status == WM_OK && found.answer != LINT_NO;
    }
    return status;
}

static int look_for_operations_when(const struct lint_of_campaign *of, const char *outcome,
                                    const uint64_t *within, enum lint_severity severity)
{
    struct lint_question question = LINT_QUESTION;

    question.region = &of->eligible;
    question.within = within;
    question.avoid = required_rows(of);
    if (question.avoid == NULL)
        return WM_NO_MEMORY;
    struct gap_saying saying = {
        .of = of,
        .question = &question,
        .what = "no required operation",
        .outcome = outcome,
        .like = {.severity = severity,
                 .place = lint_header_place(of->campaign->labor),
                 .advice = TEXT("add a row with the operation that every such repair needs")}};
    return lint_gaps(of->space, &question, say_gap, &saying);
}

/* A campaign that pays nobody for an inspection is meant so; one that pays some and not others is not. */
static int look_for_operations(const struct lint_of_campaign *of)
{
    bool paid;

    if (of->number[TABLE_LABOR] < 0)
        return lint_say(of->lint, &(struct lint_result){
                                      .severity = LINT_WARNING,
                                      .kind = LINT_GAP,
                                      .place = lint_header_place(of->campaign->eligibility),
                                      .wrong = TEXT("the campaign has no labor.csv, so no operation is paid"),
                                      .advice = TEXT("add the table")});
    int status = look_for_operations_when(of, "repaired", of->repaired, LINT_ERROR);
    if (status == WM_OK)
        status = is_paid_at_all(of, of->inspected, &paid);
    if (status != WM_OK || !paid)
        return status;
    return look_for_operations_when(of, "inspected", of->inspected, LINT_WARNING);
}

/* --- Prices --------------------------------------------------------------------------------------- */

static const struct campaign_part *part_named(const struct lint_of_campaign *of, struct text shown)
{
    uint32_t number = text_index_find(&of->campaign->part_index, key_of(of->lint, shown));

    return number == TEXT_INDEX_NONE ? NULL : &of->campaign->part_list[number];
}

static int32_t stage_day(const struct campaign *campaign, struct text stage)
{
    for (uint32_t i = 0; i < campaign->stage_count; i++)
        if (text_equal(campaign->stages[i].name, stage))
            return campaign->stages[i].opens_on;
    return DAY_NONE;
}

/* The first day on which work on vehicles of this part of the region counts; DAY_NONE: any day. */
static int32_t first_day(const struct lint_of_campaign *of, uint32_t part)
{
    uint32_t row;
    int32_t opens = of->campaign->opens_on;

    lint_row_table(of->space, of->eligible.parts[part].hit, &row);
    int32_t stage = stage_day(of->campaign, lint_output_text(of->campaign->eligibility, row, "stage"));
    return stage > opens ? stage : opens; /* DAY_NONE is before every day */
}

static int say_late_price(const struct lint_of_campaign *of, struct lint_question *question,
                          const struct campaign_part *part, uint32_t region_part, struct place place)
{
    const struct lint_region one = {&of->eligible.parts[region_part], 1};
    char from[DATE_ROOM], opens[DATE_ROOM];
    struct lint_found found;
    int32_t day = first_day(of, region_part);

    if (part->prices[0].valid_from <= day)
        return WM_OK;
    question->region = &one;
    int status = lint_ask(of->space, question, &found);
    if (status != WM_OK || found.answer != LINT_YES)
        return status;
    date_write(part->prices[0].valid_from, from);
    date_write(day, opens);
    struct lint_result result = {.severity = LINT_WARNING,
                                 .kind = LINT_GAP,
                                 .place = place,
                                 .advice =
                                     TEXT("add the price that counts before, or leave its valid_from empty")};
    result.wrong = text_format(&of->lint->arena, "the part %.*s has no price before %s, and may be fitted %s%s",
                               TEXT_ARGUMENTS(part->shown), from, day == DAY_NONE ? "on any day" : "from ",
                               day == DAY_NONE ? "" : opens);
    status = lint_add_example(of->lint, of->space, question, found.box, &result);
    return status != WM_OK ? status : lint_say(of->lint, &result);
}

static int look_for_price(const struct lint_of_campaign *of, enum campaign_table which, uint32_t row,
                          const char *output, enum lint_severity severity)
{
    const struct table *table = campaign_table(of->campaign, which);
    struct text shown = lint_output_text(table, row, output);
    const struct campaign_part *part = shown.length == 0 ? NULL : part_named(of, shown);
    struct lint_question question = about_row(of, which, row);
    struct lint_result result = {.severity = severity,
                                 .kind = LINT_GAP,
                                 .place = lint_output_place(table, row, output),
                                 .advice = TEXT("add its price to prices.csv")};
    int status = WM_OK;

    if (part == NULL)
        return WM_OK;
    if (part->price_count == 0) {
        result.wrong = text_format(&of->lint->arena, "the %s %.*s has no price",
                                   which == TABLE_KITS      ? "kit"
                                   : severity == LINT_ERROR ? "required part"
                                                            : "part",
                                   TEXT_ARGUMENTS(shown));
        return say_if_so(of, &question, &result, "the part has a price wherever it is fitted");
    }
    for (uint32_t p = 0; status == WM_OK && p < of->eligible.count; p++)
        status = say_late_price(of, &question, part, p, result.place);
    return status;
}

static int look_for_prices(const struct lint_of_campaign *of)
{
    const struct campaign *campaign = of->campaign;
    int status = WM_OK;

    for (uint32_t row = 0; status == WM_OK && campaign->kits != NULL && row < table_row_count(campaign->kits);
         row++)
        status = look_for_price(of, TABLE_KITS, row, "kit", LINT_ERROR);
    for (uint32_t row = 0; status == WM_OK && campaign->parts != NULL && row < table_row_count(campaign->parts);
         row++)
        status = look_for_price(of, TABLE_PARTS, row, "part",
                                is_required(campaign->parts, row) ? LINT_ERROR : LINT_WARNING);
    return status;
}

/* --- Inspections ---------------------------------------------------------------------------------- */

/* The rows of inspections.csv for this item; expecting: only those that expect something. */
static uint64_t *inspection_rows(const struct lint_of_campaign *of, struct text key, bool expecting)
{
    const struct table *inspections = of->campaign->inspections;
    uint64_t *rows = lint_rows_new(of->space);

    for (uint32_t row = 0; rows != NULL && inspections != NULL && row < table_row_count(inspections); row++)
        if (text_equal(key_of(of->lint, lint_output_text(inspections, row, "inspection")), key) &&
            (!expecting || of->campaign->tests[row].condition != NULL))
            bit_set(rows, lint_row(of->space, (uint32_t)of->number[TABLE_INSPECTIONS], row));
    return rows;
}

static int look_at_expectation(const struct lint_of_campaign *of, uint32_t row)
{
    const struct table *inspections = of->campaign->inspections;
    struct text item = lint_output_text(inspections, row, "inspection");
    struct lint_question question = about_row(of, TABLE_INSPECTIONS, row);
    struct lint_result result = {.severity = LINT_WARNING,
                                 .kind = LINT_GAP,
                                 .place = lint_output_place(inspections, row, "expects"),
                                 .advice = TEXT("write in >expects what the result must be")};

    if (!is_required(inspections, row) || of->campaign->tests[row].condition != NULL)
        return WM_OK;
    question.avoid = inspection_rows(of, key_of(of->lint, item), true);
    if (question.avoid == NULL)
        return WM_NO_MEMORY;
    result.wrong =
        text_format(&of->lint->arena, "inspection %.*s is required and expects nothing: any result will do",
                    TEXT_ARGUMENTS(item));
    return say_if_so(of, &question, &result, "the required inspection always expects something");
}

static const struct text INSPECTION = {"inspection:", 11};

/* Whether a cell needs a reported result: it does not hold without one. */
static bool needs_result(const struct cell *cell)
{
    struct evaluation evaluation = {.any_case = true};

    return !cell->any && !cell->names_fact && cell_test_value(cell, value_null(), &evaluation) != TRUTH_HOLDS;
}

static int outcome_dim(const struct lint_of_campaign *of)
{
    for (uint32_t d = 0; d < of->space->dim_count; d++)
        if (text_is(of->space->dims[d].name, "outcome"))
            return (int)d;
    return -1;
}

/* A row that goes by the outcome is held against the inspections of that outcome, another against those of any.
 */
static bool goes_by_outcome(const struct table *table, uint32_t row)
{
    for (uint32_t c = 0; c < table_condition_count(table); c++)
        if (text_is(table_condition_name(table, c), "outcome"))
            return !table_condition_test(table, c, row)->any;
    return false;
}

static int look_for_inspection(const struct lint_of_campaign *of, enum campaign_table which, uint32_t row,
                               uint32_t condition)
{
    const struct table *table = campaign_table(of->campaign, which);
    struct text name = table_condition_name(table, condition);
    struct text item = {name.bytes + INSPECTION.length, name.length - INSPECTION.length};
    struct lint_question question = about_row(of, which, row);
    struct lint_result result = {.kind = LINT_CONTRADICTION,
                                 .place = lint_condition_place(table, row, (int)condition),
                                 .advice = TEXT("add a row for it to inspections.csv, or correct the item")};
    uint64_t *rows = inspection_rows(of, key_of(of->lint, item), false);

    if (rows == NULL)
        return WM_NO_MEMORY;
    bool nowhere = true;
    for (uint32_t w = 0; w < of->space->row_words; w++)
        nowhere = nowhere && rows[w] == 0;
    question.avoid = rows;
    question.ignored_dim = goes_by_outcome(table, row) ? -1 : outcome_dim(of);
    result.severity = nowhere ? LINT_ERROR : LINT_WARNING;
    result.wrong = text_format(&of->lint->arena, "row \"%.*s\" goes by the result of inspection %.*s, which %s",
                               TEXT_ARGUMENTS(table_row_name(table, row)), TEXT_ARGUMENTS(item),
                               nowhere ? "no row of inspections.csv asks for"
                                       : "inspections.csv does not ask for on every vehicle of the row");
    return say_if_so(of, &question, &result, "the inspection that the row goes by is always asked for");
}

static int look_at_inspections(const struct lint_of_campaign *of)
{
    static const enum campaign_table GOING_BY_RESULTS[] = {TABLE_PARTS, TABLE_LABOR, TABLE_FOLLOWUPS};
    const struct table *inspections = of->campaign->inspections;
    int status = WM_OK;

    for (uint32_t row = 0; status == WM_OK && inspections != NULL && row < table_row_count(inspections); row++)
        status = look_at_expectation(of, row);
    for (size_t i = 0; i < sizeof GOING_BY_RESULTS / sizeof *GOING_BY_RESULTS; i++) {
        const struct table *table = campaign_table(of->campaign, GOING_BY_RESULTS[i]);
        for (uint32_t c = 0; table != NULL && c < table_condition_count(table); c++)
            for (uint32_t row = 0; status == WM_OK && row < table_row_count(table) &&
                                   text_starts_with(table_condition_name(table, c), INSPECTION);
                 row++)
                if (needs_result(table_condition_test(table, c, row)))
                    status = look_for_inspection(of, GOING_BY_RESULTS[i], row, c);
    }
    return status;
}

/* --- Follow-ups ----------------------------------------------------------------------------------- */

/* A follow-up ends when its part is claimed: some table must give that part. */
static int look_at_followups(const struct lint_of_campaign *of)
{
    const struct table *followups = of->campaign->followups;
    int status = WM_OK;

    for (uint32_t row = 0; status == WM_OK && followups != NULL && row < table_row_count(followups); row++) {
        struct text shown = lint_output_text(followups, row, "part");
        const struct campaign_part *part = part_named(of, shown);
        struct lint_result result = {.severity = LINT_ERROR,
                                     .kind = LINT_CONTRADICTION,
                                     .place = lint_output_place(followups, row, "part"),
                                     .advice = TEXT("correct the part, or add a row for it to parts.csv")};
        bool given = false;
        for (uint32_t r = 0; of->campaign->parts != NULL && r < table_row_count(of->campaign->parts); r++)
            given = given || text_equal(key_of(of->lint, lint_output_text(of->campaign->parts, r, "part")),
                                        key_of(of->lint, shown));
        if (given || (part != NULL && part->is_kit))
            continue;
        result.wrong = text_format(&of->lint->arena,
                                   "follow-up \"%.*s\" waits for the part %.*s, which no vehicle is given",
                                   TEXT_ARGUMENTS(table_row_name(followups, row)), TEXT_ARGUMENTS(shown));
        struct lint_question question = about_row(of, TABLE_FOLLOWUPS, row);
        status = say_if_so(of, &question, &result, "every follow-up can be ended");
    }
    return status;
}

/* --- Values that no eligible vehicle has ---------------------------------------------------------- */

static bool is_of_vehicle(const struct lint_dim *dim)
{
    return !text_is(dim->name, "outcome") && !text_starts_with(dim->name, INSPECTION);
}

struct naming {
    const struct lint_of_campaign *of;
    enum campaign_table which;
    uint32_t row, condition;
    uint32_t dim;
};

static int look_at_value(const struct naming *naming, const struct operand *operand)
{
    const struct lint_of_campaign *of = naming->of;
    const struct table *table = campaign_table(of->campaign, naming->which);
    const struct lint_dim *dim = &of->space->dims[naming->dim];
    struct lint_question question = about_row(of, naming->which, naming->row);
    struct lint_found found;
    struct buffer words = BUFFER_EMPTY;
    int class_number = operand->fact == NULL ? lint_class_of(dim, operand->literal) : -1;
    uint64_t *within = lint_box_new(of->space);

    if (within == NULL)
        return WM_NO_MEMORY;
    if (class_number < 0 || !dim->classes[class_number].in_domain)
        return WM_OK; /* said elsewhere */
    lint_box_pin(of->space, within, naming->dim, (uint32_t)class_number);
    question.within = within;
    int status = lint_ask(of->space, &question, &found);
    if (status != WM_OK || found.answer != LINT_NO)
        return status;
    struct lint_result result = {.severity = LINT_WARNING,
                                 .kind = LINT_CONTRADICTION,
                                 .place = lint_condition_place(table, naming->row, (int)naming->condition),
                                 .advice = TEXT("correct the cell, or eligibility.csv")};
    value_write(operand->literal, &words);
    result.wrong = text_format(&of->lint->arena,
                               "row \"%.*s\" names %.*s \"%.*s\", and no eligible vehicle of the row has it",
                               TEXT_ARGUMENTS(table_row_name(table, naming->row)), TEXT_ARGUMENTS(dim->name),
                               TEXT_ARGUMENTS(buffer_text(&words)));
    bool failed = words.failed;
    buffer_free(&words);
    if (failed)
        return WM_NO_MEMORY;
    lint_box_meet_row(of->space, within, question.hits[0], false);
    question.region = NULL;
    status = lint_add_example(of->lint, of->space, &question, within, &result);
    return status != WM_OK ? status : lint_say(of->lint, &result);
}

static int look_at_cell(const struct naming *naming)
{
    const struct table *table = campaign_table(naming->of->campaign, naming->which);
    const struct cell *cell = table_condition_test(table, naming->condition, naming->row);
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && !cell->negated && i < cell->test_count; i++) {
        const struct test *test = &cell->tests[i];
        bool low = test->kind == TEST_RANGE && test->has_low && test->has_high && !test->low_open;
        bool high = test->kind == TEST_EQUAL ||
                    (test->kind == TEST_RANGE && test->has_low && test->has_high && !test->high_open);
        if (low)
            status = look_at_value(naming, &test->low);
        if (status == WM_OK && high)
            status = look_at_value(naming, &test->high);
    }
    return status;
}

/* Rows that are for no eligible vehicle at all are said elsewhere. */
static int look_at_row(const struct lint_of_campaign *of, enum campaign_table which, uint32_t row)
{
    const struct table *table = campaign_table(of->campaign, which);
    struct lint_question question = about_row(of, which, row);
    struct lint_found found;
    int status = lint_ask(of->space, &question, &found);

    if (status != WM_OK || found.answer == LINT_NO)
        return status;
    for (uint32_t c = 0; status == WM_OK && c < table_condition_count(table); c++) {
        int dim = lint_dim_of(of->space, table_condition_fact(table, c).slot);
        if (is_of_vehicle(&of->space->dims[dim]))
            status = look_at_cell(&(struct naming){of, which, row, c, (uint32_t)dim});
    }
    return status;
}

static int look_at_names(const struct lint_of_campaign *of)
{
    int status = WM_OK;

    for (int which = TABLE_KITS; which < CAMPAIGN_TABLES; which++) {
        const struct table *table = campaign_table(of->campaign, (enum campaign_table)which);
        for (uint32_t row = 0; status == WM_OK && table != NULL && row < table_row_count(table); row++)
            status = look_at_row(of, (enum campaign_table)which, row);
    }
    return status;
}

int lint_work(const struct lint_of_campaign *of)
{
    int (*const parts[])(const struct lint_of_campaign *) = {look_for_kits,       look_for_prices,
                                                             look_for_operations, look_at_inspections,
                                                             look_at_followups,   look_at_names};
    int status = WM_OK;

    for (size_t i = 0; status == WM_OK && i < sizeof parts / sizeof *parts; i++)
        status = parts[i](of);
    return status;
}
