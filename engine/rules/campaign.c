#include <stdlib.h>

#include "base/sheet.h"
#include "base/status.h"
#include "rules/build.h"

static const struct text NEED_NAMES[] = {
    [NEED_NONE] = {NULL, 0},
    [NEED_KIT] = {"kit", 3},
    [NEED_REQUIRED] = {"required", 8},
    [NEED_ALLOWED] = {"allowed", 7},
};

const char *need_name(enum need need)
{
    return NEED_NAMES[need].bytes;
}

struct text need_text(enum need need)
{
    return NEED_NAMES[need];
}

const struct table *campaign_table(const struct campaign *campaign, enum campaign_table which)
{
    const struct table *const tables[CAMPAIGN_TABLES] = {campaign->eligibility, campaign->kits,
                                                         campaign->parts,       campaign->labor,
                                                         campaign->inspections, campaign->followups};
    return tables[which];
}

bool campaign_price(const struct campaign_part *part, int32_t day, int64_t *ret_price)
{
    for (uint32_t i = part->price_count; i > 0; i--) {
        const struct price *price = &part->prices[i - 1];
        if (day == DAY_NONE || price->valid_from <= day) {
            *ret_price = price->price;
            return true;
        }
    }
    return false;
}

/* What the parts of one campaign's build share. */
struct campaign_build {
    struct build *build;
    struct campaign *campaign;
    struct text folder;    /* "campaigns/T26-03" */
    uint32_t part_capacity, operation_capacity, inspection_capacity;
};

static struct text path_of(struct campaign_build *making, const char *name)
{
    return text_format(making->build->arena, "%.*s/%s", TEXT_ARGUMENTS(making->folder), name);
}

/* --- Names that the tables of a campaign use --------------------------------------------------------- */

static struct text key_of(struct campaign_build *making, struct text shown)
{
    char *room = arena_bytes(making->build->arena, shown.length);

    if (room == NULL)
        return (struct text){NULL, 0};
    return (struct text){room, text_item_key(shown, room)};
}

/* Makes room for one more entry of an array in the arena. */
static int room_for(struct campaign_build *making, void **array, uint32_t count, uint32_t *capacity, size_t size)
{
    if (count < *capacity)
        return WM_OK;
    uint32_t larger = *capacity ? *capacity * 2 : 16;
    void *grown = arena_grown(making->build->arena, *array, count, larger, size);
    if (grown == NULL)
        return WM_NO_MEMORY;
    *array = grown;
    *capacity = larger;
    return WM_OK;
}

static bool key_is_usable(struct campaign_build *making, struct place place, struct text shown, struct text key)
{
    if (key.length == 0)
        diag_error(making->build->sink, place, "\"%.*s\" has no letter or digit to be known by; correct it",
                   TEXT_ARGUMENTS(shown));
    return key.length > 0;
}

/* The campaign's part of this number, added if it is new; NULL without memory or after reporting. */
static struct campaign_part *add_part(struct campaign_build *making, struct place place, struct text shown)
{
    struct campaign *campaign = making->campaign;
    struct text key = key_of(making, shown);

    if (key.bytes == NULL || !key_is_usable(making, place, shown, key))
        return NULL;
    uint32_t number = text_index_find(&campaign->part_index, key);
    if (number != TEXT_INDEX_NONE)
        return &campaign->part_list[number];
    void *list = campaign->part_list;
    if (room_for(making, &list, campaign->part_count, &making->part_capacity, sizeof *campaign->part_list) != WM_OK)
        return NULL;
    campaign->part_list = list;
    if (text_index_add(&campaign->part_index, key, campaign->part_count) == TEXT_INDEX_NONE)
        return NULL;
    struct campaign_part *part = &campaign->part_list[campaign->part_count++];
    *part = (struct campaign_part){.key = key, .shown = text_copy(making->build->arena, shown)};
    return part->shown.bytes == NULL ? NULL : part;
}

static int add_name(struct campaign_build *making, struct place place, struct text shown, struct text_index *index,
                    struct text **names, uint32_t *capacity)
{
    struct text key = key_of(making, shown);

    if (key.bytes == NULL)
        return WM_NO_MEMORY;
    if (!key_is_usable(making, place, shown, key))
        return WM_BAD_INPUT;
    if (text_index_find(index, key) != TEXT_INDEX_NONE)
        return WM_OK;
    void *list = *names;
    if (room_for(making, &list, index->count, capacity, sizeof **names) != WM_OK)
        return WM_NO_MEMORY;
    *names = list;
    (*names)[index->count] = text_copy(making->build->arena, shown);
    if ((*names)[index->count].bytes == NULL ||
        text_index_add(index, key, index->count) == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    return WM_OK;
}

/* --- campaign.csv ------------------------------------------------------------------------------------ */

enum { KEY, VALUE, KEY_COLUMNS };
static const struct csv_column KEY_VALUE_COLUMNS[KEY_COLUMNS] = {{"key", true}, {"value", true}};

static void read_day(const struct sheet *sheet, int column, int32_t *ret_day)
{
    struct text value = sheet_cell(sheet, column);

    if (value.length > 0 && !date_read(value, ret_day))
        diag_error(sheet->sink, sheet_place(sheet, column), "\"%.*s\" is not a date; write it as 2026-03-01",
                   TEXT_ARGUMENTS(value));
}

static void read_other_limit(const struct sheet *sheet, struct text value, struct campaign *campaign)
{
    int64_t limit;

    if (value.length == 0)
        return;
    enum number_fault fault = decimal_read(value, 2, &limit);
    if (fault != NUMBER_OK || limit < 0) {
        diag_error(sheet->sink, sheet_place(sheet, VALUE), "other_limit \"%.*s\" %s; write an amount such as 25.00",
                   TEXT_ARGUMENTS(value), fault != NUMBER_OK ? number_fault_words(fault) : "is negative");
        return;
    }
    campaign->has_other_limit = true;
    campaign->other_limit_cents = limit / DECIMAL_CENT;
}

static bool set_text_key(struct campaign *campaign, struct text key, struct text value)
{
    const struct {
        const char *name;
        struct text *target;
    } texts[] = {{"campaign", &campaign->id},       {"title", &campaign->title},       {"kind", &campaign->kind},
                 {"hazard", &campaign->hazard},     {"currency", &campaign->currency},
                 {"manufacturer", &campaign->manufacturer},
                 {"regulator_number", &campaign->regulator_number},
                 {"replaces", &campaign->replaces_id}};

    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        if (text_is(key, texts[i].name)) {
            *texts[i].target = value;
            return true;
        }
    return false;
}

static bool set_date_key(const struct sheet *sheet, struct campaign *campaign, struct text key)
{
    const struct {
        const char *name;
        int32_t *target;
    } dates[] = {{"opens_on", &campaign->opens_on},
                 {"closes_on", &campaign->closes_on},
                 {"notice_began_on", &campaign->notice_began_on},
                 {"notice_ended_on", &campaign->notice_ended_on}};

    for (size_t i = 0; i < sizeof dates / sizeof *dates; i++)
        if (text_is(key, dates[i].name)) {
            read_day(sheet, VALUE, dates[i].target);
            return true;
        }
    return false;
}

static int read_key(void *context, const struct sheet *sheet)
{
    struct campaign *campaign = context;
    struct text key = sheet_cell(sheet, KEY), value = text_copy(sheet->arena, sheet_cell(sheet, VALUE));

    if (value.bytes == NULL)
        return WM_NO_MEMORY;
    if (set_text_key(campaign, key, value) || set_date_key(sheet, campaign, key))
        return WM_OK;
    if (text_is(key, "other_limit"))
        read_other_limit(sheet, value, campaign);
    else
        diag_error(sheet->sink, sheet_place(sheet, KEY),
                   "no key \"%.*s\"; the keys are campaign, title, kind, hazard, opens_on, closes_on, "
                   "notice_began_on, notice_ended_on, currency, other_limit, replaces, manufacturer, regulator_number",
                   TEXT_ARGUMENTS(key));
    return WM_OK;
}

static int read_campaign_file(struct campaign_build *making)
{
    struct campaign *campaign = making->campaign;
    struct text path = path_of(making, "campaign.csv"), folder_id;
    struct text head;

    if (path.bytes == NULL)
        return WM_NO_MEMORY;
    text_cut(making->folder, '/', &head, &folder_id);
    campaign->opens_on = campaign->closes_on = DAY_NONE;
    campaign->notice_began_on = campaign->notice_ended_on = DAY_NONE;
    campaign->id = folder_id;
    const struct rules_file *file = rules_files_find(making->build->files, path);
    if (file == NULL) {
        diag_error(making->build->sink, (struct place){path, 0, 0}, "the file is missing; every campaign needs it");
        return WM_BAD_INPUT;
    }
    int status = sheet_read(making->build->arena, path, file->bytes, KEY_VALUE_COLUMNS, KEY_COLUMNS, read_key, campaign,
                            making->build->sink);
    if (status == WM_OK && !text_equal(campaign->id, folder_id)) {
        diag_error(making->build->sink, (struct place){path, 0, 0},
                   "campaign \"%.*s\" stands in the folder \"%.*s\"; name them alike", TEXT_ARGUMENTS(campaign->id),
                   TEXT_ARGUMENTS(folder_id));
        return WM_BAD_INPUT;
    }
    return status;
}

/* --- stages.csv, prices.csv -------------------------------------------------------------------------- */

enum { STAGE, STAGE_OPENS_ON, STAGE_COLUMNS };
static const struct csv_column STAGES_COLUMNS[STAGE_COLUMNS] = {{"stage", true}, {"opens_on", true}};

static int read_stage(void *context, const struct sheet *sheet)
{
    struct campaign *campaign = context;
    struct text name = sheet_cell(sheet, STAGE);
    struct stage stage = {text_copy(sheet->arena, name), DAY_NONE};

    if (stage.name.bytes == NULL)
        return WM_NO_MEMORY;
    if (name.length == 0)
        diag_error(sheet->sink, sheet_place(sheet, STAGE), "the stage has no name; fill the cell in");
    for (uint32_t i = 0; i < campaign->stage_count; i++)
        if (text_equal(campaign->stages[i].name, name))
            diag_error(sheet->sink, sheet_place(sheet, STAGE), "the stage \"%.*s\" is listed twice; keep one row",
                       TEXT_ARGUMENTS(name));
    read_day(sheet, STAGE_OPENS_ON, &stage.opens_on);
    struct stage *grown = arena_grown(sheet->arena, campaign->stages, campaign->stage_count,
                                      campaign->stage_count + 1, sizeof *grown);
    if (grown == NULL)
        return WM_NO_MEMORY;
    campaign->stages = grown;
    campaign->stages[campaign->stage_count++] = stage;
    return WM_OK;
}

enum { PART, PRICE, VALID_FROM, PRICE_COLUMNS };
static const struct csv_column PRICES_COLUMNS[PRICE_COLUMNS] = {
    {"part", true}, {"price", true}, {"valid_from", false}};

static int insert_price(const struct sheet *sheet, struct campaign_part *part, struct price price)
{
    uint32_t at = 0;
    struct price *grown = arena_grown(sheet->arena, part->prices, part->price_count, part->price_count + 1,
                                      sizeof *grown);

    if (grown == NULL)
        return WM_NO_MEMORY;
    while (at < part->price_count && grown[at].valid_from < price.valid_from)
        at++;
    if (at < part->price_count && grown[at].valid_from == price.valid_from) {
        diag_error(sheet->sink, sheet_place(sheet, PART),
                   "the part \"%.*s\" has two prices from the same day; keep one", TEXT_ARGUMENTS(part->shown));
        return WM_OK;
    }
    memmove(grown + at + 1, grown + at, (part->price_count - at) * sizeof *grown);
    grown[at] = price;
    part->prices = grown;
    part->price_count++;
    return WM_OK;
}

static int read_price(void *context, const struct sheet *sheet)
{
    struct campaign_build *making = context;
    struct text number = sheet_cell(sheet, PART), amount = sheet_cell(sheet, PRICE);
    struct price price = {0, INT32_MIN};

    enum number_fault fault = decimal_read(amount, 6, &price.price);
    if (fault != NUMBER_OK || price.price < 0) {
        diag_error(sheet->sink, sheet_place(sheet, PRICE), "the price \"%.*s\" %s; write an amount such as 84.50",
                   TEXT_ARGUMENTS(amount), fault != NUMBER_OK ? number_fault_words(fault) : "is negative");
        return WM_OK;
    }
    read_day(sheet, VALID_FROM, &price.valid_from);
    size_t errors = sheet->sink->errors;
    struct campaign_part *part = add_part(making, sheet_place(sheet, PART), number);
    if (part == NULL)
        return sheet->sink->errors > errors ? WM_OK : WM_NO_MEMORY;
    return insert_price(sheet, part, price);
}

static int read_list(struct campaign_build *making, const char *name, const struct csv_column *columns, size_t count,
                     int (*read)(void *, const struct sheet *), void *context)
{
    struct text path = path_of(making, name);

    if (path.bytes == NULL)
        return WM_NO_MEMORY;
    const struct rules_file *file = rules_files_find(making->build->files, path);
    if (file == NULL)
        return WM_OK;
    return sheet_read(making->build->arena, path, file->bytes, columns, count, read, context, making->build->sink);
}

/* --- Tables ------------------------------------------------------------------------------------------ */

static int make_table(struct campaign_build *making, const char *name, bool required, unsigned policies,
                      enum fact_set set, struct table **ret_table)
{
    struct text path = path_of(making, name);

    if (path.bytes == NULL)
        return WM_NO_MEMORY;
    return build_table(making->build, path, required, policies, set, SCOPE_CLAIM, ret_table);
}

static int make_eligibility(struct campaign_build *making)
{
    struct campaign *campaign = making->campaign;
    int status = make_table(making, "eligibility.csv", true, HIT_BIT(HIT_FIRST) | HIT_BIT(HIT_UNIQUE),
                            FACTS_OF_VEHICLE, &campaign->eligibility);

    if (status != WM_OK)
        return status;
    build_output(making->build, campaign->eligibility, "eligible");
    return WM_OK;
}

/* quantity and hours: a number that is not negative; an empty cell is an error. */
static void check_amount(struct build *build, const struct table *table, uint32_t row, int output)
{
    struct value amount = table_output(table, row, (uint32_t)output);

    if (amount.type != VALUE_NUMBER || amount.number < 0)
        diag_error(build->sink, build_output_place(table, row, (uint32_t)output),
                   ">%.*s must be a number of 0 or more; correct the cell",
                   TEXT_ARGUMENTS(table_output_name(table, (uint32_t)output)));
}

static void check_need(struct build *build, const struct table *table, uint32_t row, int output)
{
    struct text word;

    if (build_word(build, table, row, output, &word) && !text_is(word, "required") && !text_is(word, "allowed"))
        diag_error(build->sink, build_output_place(table, row, (uint32_t)output),
                   "\"%.*s\" is no need; write required or allowed", TEXT_ARGUMENTS(word));
}

static int make_kits(struct campaign_build *making)
{
    struct campaign *campaign = making->campaign;
    int status = make_table(making, "kits.csv", false, HIT_BIT(HIT_UNIQUE), FACTS_OF_VEHICLE_OUTCOME, &campaign->kits);

    if (status != WM_OK || campaign->kits == NULL)
        return status;
    int kit = build_output(making->build, campaign->kits, "kit");
    int quantity = build_output(making->build, campaign->kits, "quantity");
    if (kit < 0 || quantity < 0)
        return WM_BAD_INPUT;
    for (uint32_t row = 0; row < table_row_count(campaign->kits); row++) {
        struct text number;
        size_t errors = making->build->sink->errors;
        if (table_output(campaign->kits, row, (uint32_t)kit).type == VALUE_NULL)
            continue;
        check_amount(making->build, campaign->kits, row, quantity);
        if (!build_word(making->build, campaign->kits, row, kit, &number))
            continue;
        struct campaign_part *part =
            add_part(making, build_output_place(campaign->kits, row, (uint32_t)kit), number);
        if (part == NULL && making->build->sink->errors == errors)
            return WM_NO_MEMORY;
        if (part != NULL)
            part->is_kit = true;
    }
    return WM_OK;
}

static int make_parts(struct campaign_build *making)
{
    struct campaign *campaign = making->campaign;
    int status = make_table(making, "parts.csv", false, HIT_BIT(HIT_COLLECT), FACTS_OF_WORK, &campaign->parts);

    if (status != WM_OK || campaign->parts == NULL)
        return status;
    int part = build_output(making->build, campaign->parts, "part");
    int quantity = build_output(making->build, campaign->parts, "quantity");
    int need = build_output(making->build, campaign->parts, "need");
    if (part < 0 || quantity < 0 || need < 0)
        return WM_BAD_INPUT;
    for (uint32_t row = 0; row < table_row_count(campaign->parts); row++) {
        struct text number;
        size_t errors = making->build->sink->errors;
        check_amount(making->build, campaign->parts, row, quantity);
        check_need(making->build, campaign->parts, row, need);
        if (build_word(making->build, campaign->parts, row, part, &number) &&
            add_part(making, build_output_place(campaign->parts, row, (uint32_t)part), number) == NULL &&
            making->build->sink->errors == errors)
            return WM_NO_MEMORY;
    }
    return WM_OK;
}

static int make_labor(struct campaign_build *making)
{
    struct campaign *campaign = making->campaign;
    int status = make_table(making, "labor.csv", false, HIT_BIT(HIT_COLLECT), FACTS_OF_WORK, &campaign->labor);

    if (status != WM_OK || campaign->labor == NULL)
        return status;
    int operation = build_output(making->build, campaign->labor, "operation");
    int hours = build_output(making->build, campaign->labor, "hours");
    int need = build_output(making->build, campaign->labor, "need");
    if (operation < 0 || hours < 0 || need < 0)
        return WM_BAD_INPUT;
    for (uint32_t row = 0; status != WM_NO_MEMORY && row < table_row_count(campaign->labor); row++) {
        struct text word;
        check_amount(making->build, campaign->labor, row, hours);
        check_need(making->build, campaign->labor, row, need);
        if (build_word(making->build, campaign->labor, row, operation, &word))
            status = add_name(making, build_output_place(campaign->labor, row, (uint32_t)operation), word,
                              &campaign->operation_index, &campaign->operations, &making->operation_capacity);
    }
    return status;
}

/* Splits `[22..28] N.m` into the condition and the unit behind it: the last word, if it is a unit. */
static const struct unit *split_unit(const struct units *units, struct text expects, struct text *ret_condition)
{
    size_t at = expects.length;

    *ret_condition = expects;
    while (at > 0 && expects.bytes[at - 1] != ' ' && expects.bytes[at - 1] != ']' && expects.bytes[at - 1] != ')' &&
           expects.bytes[at - 1] != '[')
        at--;
    /* `<= 1.5mm`: the blank may be left out, so a number may stand before the unit */
    while (at < expects.length && ((expects.bytes[at] >= '0' && expects.bytes[at] <= '9') || expects.bytes[at] == '.' ||
                                   expects.bytes[at] == '<' || expects.bytes[at] == '>' || expects.bytes[at] == '='))
        at++;
    if (at == 0 || at == expects.length)
        return NULL;
    const struct unit *unit = units_find(units, (struct text){expects.bytes + at, expects.length - at});
    if (unit != NULL)
        *ret_condition = text_trim((struct text){expects.bytes, at});
    return unit;
}

static int read_test(struct campaign_build *making, uint32_t row, int expects, struct inspection_test *test)
{
    struct build *build = making->build;
    const struct table *table = making->campaign->inspections;
    struct place place = build_output_place(table, row, (uint32_t)expects);
    struct text condition;

    test->expects = value_as_text(table_output(table, row, (uint32_t)expects));
    if (table_output_has_places(table, row, (uint32_t)expects)) {
        diag_error(build->sink, place, ">expects may not hold {fact} places; write the condition itself");
        return WM_OK;
    }
    if (test->expects.length == 0 || text_is(test->expects, "-"))
        return WM_OK;
    test->unit = split_unit(build->rules->units, test->expects, &condition);
    return condition_compile(build->arena, condition, test->unit != NULL ? VALUE_NUMBER : VALUE_TEXT, true, place,
                             build->sink, &test->condition);
}

static int make_inspections(struct campaign_build *making)
{
    struct campaign *campaign = making->campaign;
    int status = make_table(making, "inspections.csv", false, HIT_BIT(HIT_COLLECT), FACTS_OF_VEHICLE_OUTCOME,
                            &campaign->inspections);

    if (status != WM_OK || campaign->inspections == NULL)
        return status;
    int inspection = build_output(making->build, campaign->inspections, "inspection");
    int expects = build_output(making->build, campaign->inspections, "expects");
    int need = build_output(making->build, campaign->inspections, "need");
    if (inspection < 0 || expects < 0 || need < 0)
        return WM_BAD_INPUT;
    uint32_t rows = table_row_count(campaign->inspections);
    campaign->tests = ARENA_ARRAY(making->build->arena, struct inspection_test, rows);
    if (campaign->tests == NULL)
        return WM_NO_MEMORY;
    for (uint32_t row = 0; status != WM_NO_MEMORY && row < rows; row++) {
        struct text word;
        check_need(making->build, campaign->inspections, row, need);
        if (build_word(making->build, campaign->inspections, row, inspection, &word))
            status = add_name(making, build_output_place(campaign->inspections, row, (uint32_t)inspection), word,
                              &campaign->inspection_index, &campaign->inspection_items, &making->inspection_capacity);
        if (status != WM_NO_MEMORY)
            status = read_test(making, row, expects, &campaign->tests[row]);
    }
    return status;
}

static int make_followups(struct campaign_build *making)
{
    struct campaign *campaign = making->campaign;
    int status = make_table(making, "followups.csv", false, HIT_BIT(HIT_COLLECT), FACTS_OF_FOLLOWUP,
                            &campaign->followups);

    if (status != WM_OK || campaign->followups == NULL)
        return status;
    int followup = build_output(making->build, campaign->followups, "followup");
    int part = build_output(making->build, campaign->followups, "part");
    int due_days = build_output(making->build, campaign->followups, "due_days");
    if (followup < 0 || part < 0 || due_days < 0)
        return WM_BAD_INPUT;
    for (uint32_t row = 0; row < table_row_count(campaign->followups); row++) {
        struct text word;
        build_word(making->build, campaign->followups, row, followup, &word);
        build_word(making->build, campaign->followups, row, part, &word);
        check_amount(making->build, campaign->followups, row, due_days);
    }
    return WM_OK;
}

/* --- One campaign, all campaigns --------------------------------------------------------------------- */

static int read_stages(struct campaign_build *making)
{
    return read_list(making, "stages.csv", STAGES_COLUMNS, STAGE_COLUMNS, read_stage, making->campaign);
}

static int read_prices(struct campaign_build *making)
{
    return read_list(making, "prices.csv", PRICES_COLUMNS, PRICE_COLUMNS, read_price, making);
}

static int build_campaign(struct campaign_build *making)
{
    int (*const parts[])(struct campaign_build *) = {read_campaign_file, make_eligibility, read_stages,
                                                     make_kits,          make_parts,       read_prices,
                                                     make_labor,         make_inspections, make_followups};
    int result = WM_OK;

    making->campaign->arena = making->build->arena;
    making->campaign->replaces = -1;
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        int status = parts[i](making);
        if (status != WM_OK && status != WM_BAD_INPUT)
            return status;
        result = status != WM_OK ? status : result;
    }
    return result;
}

/* The folder of a campaign's file, "campaigns/T26-03"; empty for other files. */
static struct text campaign_folder(struct text path)
{
    static const struct text prefix = {"campaigns/", 10};
    struct text rest, id, name;

    if (!text_starts_with(path, prefix))
        return (struct text){"", 0};
    rest = (struct text){path.bytes + prefix.length, path.length - prefix.length};
    if (!text_cut(rest, '/', &id, &name))
        return (struct text){"", 0};
    return (struct text){path.bytes, prefix.length + id.length};
}

static int link_replaced(struct build *build, uint32_t number)
{
    struct rules *rules = build->rules;
    struct campaign *campaign = &rules->campaigns[number];

    if (campaign->replaces_id.length == 0)
        return WM_OK;
    campaign->replaces = rules_campaign(rules, campaign->replaces_id);
    if (campaign->replaces < 0)
        return WM_OK;    /* its rules are gone; claims under it are still in the ledger */
    struct campaign *replaced = &rules->campaigns[campaign->replaces];
    uint32_t *grown = arena_grown(build->arena, replaced->replaced_by, replaced->replaced_by_count,
                                  replaced->replaced_by_count + 1, sizeof *grown);
    if (grown == NULL)
        return WM_NO_MEMORY;
    replaced->replaced_by = grown;
    replaced->replaced_by[replaced->replaced_by_count++] = number;
    return WM_OK;
}

static int by_id(const void *a, const void *b)
{
    return text_compare(((const struct campaign *)a)->id, ((const struct campaign *)b)->id);
}

int build_campaigns(struct build *build)
{
    struct rules *rules = build->rules;
    struct text previous = {"", 0};
    int result = WM_OK;

    rules->campaigns = ARENA_ARRAY(build->arena, struct campaign, build->files->count);
    if (rules->campaigns == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < build->files->count; i++) {
        struct text folder = campaign_folder(build->files->files[i].path);
        if (folder.length == 0 || text_equal(folder, previous))
            continue;
        previous = folder;
        struct campaign_build making = {.build = build, .campaign = &rules->campaigns[rules->campaign_count++],
                                        .folder = folder};
        int status = build_campaign(&making);
        if (status != WM_OK && status != WM_BAD_INPUT)
            return status;
        result = status != WM_OK ? status : result;
    }
    if (rules->campaign_count > 0)
        qsort(rules->campaigns, rules->campaign_count, sizeof *rules->campaigns, by_id);
    for (uint32_t i = 0; i < rules->campaign_count; i++)
        if (link_replaced(build, i) != WM_OK)
            return WM_NO_MEMORY;
    return result;
}
