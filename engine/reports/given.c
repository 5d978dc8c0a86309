#include "reports/given.h"

#include "base/status.h"
#include "facts/deadlines.h"
#include "facts/establish.h"
#include "facts/expectation.h"
#include "facts/fleet.h"
#include "ledger/dealer_lists.h"
#include "ledger/views.h"
#include "register/register.h"
#include "rules/rules.h"

/* Rows of a given table while they are made. */
struct rows {
    const struct given *given;
    struct value *cells;
    uint64_t count, capacity;
    uint32_t columns;
};

static const char *const NAMES[GIVEN_BY_RULES] = {"campaigns_now", "population", "deadlines", "dealer_parts"};

static bool report_names(const struct report *report, const char *name)
{
    for (uint32_t i = 0; i < report->section_count; i++)
        if (guard_names(report->sections[i].sql, name))
            return true;
    return false;
}

bool given_is_named(const struct report *report)
{
    bool named = report_names(report, "stage_of");

    for (size_t i = 0; i < GIVEN_BY_RULES; i++)
        named = named || report_names(report, NAMES[i]);
    return named;
}

static int add_row(struct rows *rows, const struct value *cells)
{
    struct arena *arena = rows->given->run->result->arena;

    if (rows->count == rows->capacity) {
        uint64_t capacity = rows->capacity == 0 ? 64 : rows->capacity * 2;
        rows->cells = arena_grown(arena, rows->cells, rows->count, capacity, rows->columns * sizeof *cells);
        rows->capacity = capacity;
    }
    if (rows->cells == NULL)
        return WM_NO_MEMORY;
    memcpy(&rows->cells[rows->count++ * rows->columns], cells, rows->columns * sizeof *cells);
    return WM_OK;
}

static struct value day_or_null(int32_t day)
{
    return day == DAY_NONE ? value_null() : value_date(day);
}

/* --- Campaigns ------------------------------------------------------------------------------------- */

static int make_campaigns(struct rows *rows)
{
    const struct rules *rules = rows->given->run->rules;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < rules->campaign_count; i++) {
        const struct campaign *campaign = &rules->campaigns[i];
        const struct value cells[] = {
            value_text(campaign->id),           value_text_or_null(campaign->title),
            value_text_or_null(campaign->kind), day_or_null(campaign->opens_on),
            day_or_null(campaign->closes_on),   value_text_or_null(campaign->replaces_id)};
        rows->columns = sizeof cells / sizeof *cells;
        status = add_row(rows, cells);
    }
    return status;
}

/* --- Population ------------------------------------------------------------------------------------ */

static int add_population(struct rows *rows, const struct campaign *campaign, const struct fleet_kind *kind)
{
    const struct vehicle_profile *profile = kind->vehicle.profile;
    struct value eligible;
    struct text stage;
    int32_t opens_on;
    int status =
        expectation_stage(campaign, rows->given->facts, rows->given->scratch, &eligible, &stage, &opens_on);

    if (status != WM_OK || eligible.type != VALUE_BOOLEAN || !eligible.number)
        return status;
    const struct value cells[] = {value_text(campaign->id),
                                  value_text_or_null(stage),
                                  day_or_null(opens_on),
                                  value_text(profile->model_line),
                                  profile->has_model_year ? value_integer(profile->model_year) : value_null(),
                                  value_text(profile->engine),
                                  value_text(profile->transmission),
                                  value_text(profile->plant),
                                  value_text(profile->status),
                                  value_integer((int64_t)kind->count)};
    rows->columns = sizeof cells / sizeof *cells;
    return add_row(rows, cells);
}

/* What the register could not read is told by the desk that opened it. */
static int make_population(struct rows *rows)
{
    const struct report_run *run = rows->given->run;
    struct fleet_kind *kinds;
    uint32_t count;
    int status = fleet_kinds_read(run->register_source, run->rules, run->result->arena, &kinds, &count);

    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        facts_of_vehicle(run->rules, &kinds[i].vehicle, rows->given->facts);
        for (uint32_t k = 0; status == WM_OK && k < run->rules->campaign_count; k++)
            status = add_population(rows, &run->rules->campaigns[k], &kinds[i]);
    }
    return status;
}

/* --- Deadlines ------------------------------------------------------------------------------------- */

static int add_region(void *taker, struct text region)
{
    struct rows *rows = taker;
    const struct given *given = rows->given;
    struct text own = text_copy(given->run->result->arena, region);
    struct value cells[1 + DEADLINES] = {value_text(own)};
    struct deadlines deadlines;

    if (own.bytes == NULL)
        return WM_NO_MEMORY;
    int status =
        deadlines_of_region(given->run->rules, own, given->facts, given->scratch, given->run->sink, &deadlines);
    if (status != WM_OK)
        return status;
    memcpy(cells + 1, deadlines.values, sizeof deadlines.values);
    rows->columns = 1 + DEADLINES;
    return add_row(rows, cells);
}

static int make_deadlines(struct rows *rows)
{
    return ledger_regions(rows->given->run->office, add_region, rows);
}

/* --- Parts of dealers ------------------------------------------------------------------------------ */

/* How the campaigns write a part, and whether it is a kit of one. */
static void look_up_part(const struct rules *rules, struct text key, struct text *ret_shown, bool *ret_kit)
{
    *ret_kit = false;
    for (uint32_t i = 0; i < rules->campaign_count; i++) {
        const struct campaign *campaign = &rules->campaigns[i];
        uint32_t at = text_index_find(&campaign->part_index, key);
        if (at == TEXT_INDEX_NONE)
            continue;
        *ret_shown = campaign->part_list[at].shown;
        *ret_kit = *ret_kit || campaign->part_list[at].is_kit;
    }
}

static int add_dealer_part(void *taker, const struct dealer_part *part)
{
    struct rows *rows = taker;
    struct arena *arena = rows->given->run->result->arena;
    struct text shown = part->part.length > 0 ? part->part : part->part_key,
                dealer = text_copy(arena, part->dealer);
    bool kit;

    look_up_part(rows->given->run->rules, part->part_key, &shown, &kit);
    shown = text_copy(arena, shown);
    if (shown.bytes == NULL || dealer.bytes == NULL)
        return WM_NO_MEMORY;
    const struct value cells[] = {value_text(dealer),
                                  value_text(shown),
                                  value_boolean(kit),
                                  value_number(part->shipped),
                                  value_number(part->claimed),
                                  day_or_null(part->last_shipped_on),
                                  day_or_null(part->last_claimed_on)};
    rows->columns = sizeof cells / sizeof *cells;
    return add_row(rows, cells);
}

/* The parts of all campaigns, each once. */
static int list_parts(const struct rules *rules, struct arena *arena, struct text **ret_keys,
                      uint32_t *ret_count)
{
    uint32_t count = 0, all = 0;

    for (uint32_t i = 0; i < rules->campaign_count; i++)
        all += rules->campaigns[i].part_count;
    struct text *keys = ARENA_ARRAY(arena, struct text, all + 1);
    struct text_index index = {0};
    if (keys == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < rules->campaign_count; i++)
        for (uint32_t k = 0; k < rules->campaigns[i].part_count; k++) {
            struct text key = rules->campaigns[i].part_list[k].key;
            uint32_t at = text_index_add(&index, key, count);
            if (at == TEXT_INDEX_NONE) {
                text_index_free(&index);
                return WM_NO_MEMORY;
            }
            if (at == count)
                keys[count++] = key;
        }
    text_index_free(&index);
    *ret_keys = keys;
    *ret_count = count;
    return WM_OK;
}

static int make_dealer_parts(struct rows *rows)
{
    const struct report_run *run = rows->given->run;
    struct text *keys;
    uint32_t count;
    int status = list_parts(run->rules, run->result->arena, &keys, &count);

    return status == WM_OK ? ledger_dealer_parts(run->office, keys, count, add_dealer_part, rows) : status;
}

/* --- All ------------------------------------------------------------------------------------------- */

/* Columns as the view lists them. */
static void describe(const struct view *view, const struct rows *rows, struct given_table *ret_table)
{
    *ret_table = (struct given_table){.name = view->name, .cells = rows->cells, .row_count = rows->count};
    for (const struct view_column *column = view->columns; column->name != NULL; column++) {
        bool millionths = text_ends_with(text_of(column->name), TEXT("_millionths"));
        ret_table->units[ret_table->column_count] = millionths ? 1 : DECIMAL_ONE;
        ret_table->columns[ret_table->column_count++] = column->name;
    }
}

int given_open(struct given *given, const struct report_run *run)
{
    static int (*const MAKE[GIVEN_BY_RULES])(struct rows *) = {make_campaigns, make_population, make_deadlines,
                                                               make_dealer_parts};
    const struct report *report = run->result->report;

    *given = (struct given){.run = run};
    if (run->rules == NULL)
        return WM_OK;
    given->facts = ARENA_ARRAY(run->result->arena, struct value, run->rules->dictionary->slot_count + 1);
    int status = given->facts == NULL ? WM_NO_MEMORY : table_scratch_new(&given->scratch);
    for (size_t i = 0; status == WM_OK && i < GIVEN_BY_RULES; i++) {
        struct rows rows = {.given = given};
        if (!report_names(report, NAMES[i]))
            continue;
        status = MAKE[i](&rows);
        describe(view_named(NAMES[i]), &rows, &given->tables[given->table_count++]);
    }
    if (status != WM_OK)
        given_close(given);
    return status;
}

void given_close(struct given *given)
{
    table_scratch_free(given->scratch);
    given->scratch = NULL;
}

int given_stage_of(void *context, struct text campaign, struct text vin, struct value *ret_stage)
{
    struct given *given = context;
    const struct report_run *run = given->run;
    int number = run->rules == NULL ? -1 : rules_campaign(run->rules, campaign);
    struct vehicle vehicle;
    struct value eligible;
    struct text stage;
    int32_t opens_on;
    bool found = false;

    *ret_stage = value_null();
    int status = number < 0 ? WM_OK : register_vehicle(run->office_register, vin, &found, &vehicle);
    if (status != WM_OK || !found)
        return status;
    facts_of_vehicle(run->rules, &vehicle, given->facts);
    status = expectation_stage(&run->rules->campaigns[number], given->facts, given->scratch, &eligible, &stage,
                               &opens_on);
    if (status == WM_OK && eligible.type == VALUE_BOOLEAN && eligible.number)
        *ret_stage = value_text(stage);
    return status;
}
