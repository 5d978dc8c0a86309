/* One campaign: its tables in one space, the vehicles that it takes in, and each table by itself. */
#include <assert.h>

#include "base/status.h"
#include "rules/lint_parts.h"

static void list_tables(struct lint_of_campaign *of, const struct table **tables, uint32_t *ret_count)
{
    *ret_count = 0;
    for (int which = 0; which < CAMPAIGN_TABLES; which++) {
        const struct table *table = campaign_table(of->campaign, (enum campaign_table)which);
        of->number[which] = table == NULL ? -1 : (int)*ret_count;
        if (table != NULL)
            tables[(*ret_count)++] = table;
    }
}

/* --- Who is eligible ------------------------------------------------------------------------------ */

static bool makes_eligible(const struct table *eligibility, uint32_t row)
{
    struct value eligible = table_output(eligibility, row, (uint32_t)table_output_named(eligibility, "eligible"));

    return eligible.type == VALUE_BOOLEAN && eligible.number;
}

/* The rows that keep this one from its hit: those before it, or under U all others. */
static uint64_t *rows_against(const struct lint_of_campaign *of, uint32_t row)
{
    const struct table *eligibility = of->campaign->eligibility;
    bool unique = table_policy(eligibility) == HIT_UNIQUE;
    uint64_t *rows = lint_rows_new(of->space);

    for (uint32_t other = 0; rows != NULL && other < table_row_count(eligibility); other++)
        if (unique ? other != row : other < row)
            bit_set(rows, lint_row(of->space, (uint32_t)of->number[TABLE_ELIGIBILITY], other));
    return rows;
}

static int find_eligible(struct lint_of_campaign *of)
{
    const struct table *eligibility = of->campaign->eligibility;
    struct lint_part *parts = ARENA_ARRAY(of->space->arena, struct lint_part, table_row_count(eligibility));

    if (parts == NULL)
        return WM_NO_MEMORY;
    for (uint32_t row = 0; row < table_row_count(eligibility); row++) {
        if (!makes_eligible(eligibility, row))
            continue;
        struct lint_part *part = &parts[of->eligible.count++];
        part->hit = lint_row(of->space, (uint32_t)of->number[TABLE_ELIGIBILITY], row);
        part->avoid = rows_against(of, row);
        if (part->avoid == NULL)
            return WM_NO_MEMORY;
    }
    of->eligible.parts = parts;
    return WM_OK;
}

int lint_ask_eligible(const struct lint_of_campaign *of, struct lint_question *question,
                      struct lint_found *ret_found)
{
    question->region = &of->eligible;
    return lint_ask(of->space, question, ret_found);
}

/* Whether there is an eligible vehicle at all; says so if not. */
static int is_anyone_eligible(struct lint_of_campaign *of, bool *ret_is)
{
    struct lint_question question = LINT_QUESTION;
    struct lint_found found;
    int status = lint_ask_eligible(of, &question, &found);

    *ret_is = status == WM_OK && found.answer != LINT_NO;
    if (status != WM_OK || *ret_is)
        return status;
    return lint_say(of->lint,
                    &(struct lint_result){.severity = LINT_ERROR,
                                          .kind = LINT_GAP,
                                          .place = lint_header_place(of->campaign->eligibility),
                                          .wrong = TEXT("no vehicle is eligible"),
                                          .advice = TEXT("add the rows of the vehicles that the campaign "
                                                         "takes in")});
}

/* --- Outcomes ------------------------------------------------------------------------------------- */

static int pin_outcome(const struct lint_of_campaign *of, const char *outcome, uint64_t **ret_box)
{
    uint64_t *box = lint_box_new(of->space);

    if (box == NULL)
        return WM_NO_MEMORY;
    for (uint32_t d = 0; d < of->space->dim_count; d++) {
        if (!text_is(of->space->dims[d].name, "outcome"))
            continue;
        int class_number = lint_class_of(&of->space->dims[d], value_text(text_of(outcome)));
        assert(class_number >= 0); /* each word of the fact is a class */
        lint_box_pin(of->space, box, d, (uint32_t)class_number);
    }
    *ret_box = box;
    return WM_OK;
}

/* --- All tables ----------------------------------------------------------------------------------- */

static int say_tables(struct lint_of_campaign *of)
{
    int status = WM_OK;

    for (int which = 0; status == WM_OK && which < CAMPAIGN_TABLES; which++) {
        if (of->number[which] < 0)
            continue;
        struct lint_table table = {of->space, (uint32_t)of->number[which],
                                   which == TABLE_ELIGIBILITY ? NULL : &of->eligible};
        status = lint_say_table(of->lint, &table, lint_say_case, NULL);
    }
    return status;
}

static int look_at_eligible(struct lint_of_campaign *of)
{
    bool someone = false;
    int status = pin_outcome(of, "repaired", &of->repaired);

    if (status == WM_OK)
        status = pin_outcome(of, "inspected", &of->inspected);
    if (status == WM_OK)
        status = is_anyone_eligible(of, &someone);
    if (status == WM_OK && someone)
        status = say_tables(of);
    return status == WM_OK && someone ? lint_work(of) : status;
}

int lint_campaign(struct lint *lint, const struct campaign *campaign)
{
    struct lint_of_campaign of = {.lint = lint, .campaign = campaign};
    const struct table *tables[CAMPAIGN_TABLES];
    struct lint_space *space;
    uint32_t count;

    lint->scope = SCOPE_CLAIM;
    list_tables(&of, tables, &count);
    int status = lint_open_space(lint, tables, count, true, &space);
    if (status != WM_OK)
        return status;
    of.space = space;
    of.folder = text_format(&lint->arena, "campaigns/%.*s", TEXT_ARGUMENTS(campaign->id));
    if (of.folder.bytes == NULL)
        return WM_NO_MEMORY;
    status = find_eligible(&of);
    return status != WM_OK ? status : look_at_eligible(&of);
}
