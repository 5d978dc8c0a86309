#include <stdio.h>

#include "base/shown.h"
#include "base/status.h"
#include "cli/desk.h"
#include "facts/establish.h"
#include "ledger/recorded.h"

/* What one vehicle needs, campaign by campaign, for the adviser who stands before it. */
struct worksheet {
    const struct options *options;
    struct desk desk;
    struct fact_worker worker;
    struct text vin;
    struct vehicle vehicle;
    struct value *facts;
    struct buffer words;         /* the page */
    struct buffer rows;          /* claim rows to fill in */
    struct ledger_claim *claims; /* that stand on this vehicle */
    uint32_t claim_count;
    uint32_t campaigns; /* that the vehicle is in */
};

static const char CAUTION[] =
    "The manufacturer's service information and local rules for licensed work come\n"
    "first. This sheet tells what the campaign pays for, not how to do the work safely.\n";

static void add_number(struct buffer *out, int64_t millionths)
{
    char room[DECIMAL_ROOM];
    buffer_add(out, room, decimal_write(millionths, room));
}

/* Whole cents with two places, finer prices as they are. */
static void add_price(struct buffer *out, int64_t millionths)
{
    if (millionths % DECIMAL_CENT == 0)
        buffer_add_money(out, millionths / DECIMAL_CENT);
    else
        add_number(out, millionths);
}

static void add_day(struct buffer *out, int32_t day)
{
    char room[DATE_ROOM];
    buffer_add(out, room, date_write(day, room));
}

static void add_line(struct buffer *out, const char *name, struct text words)
{
    enum { INDENT = 17, WIDTH = 80 };

    if (words.length == 0)
        return;
    buffer_say(out, "  %-14s ", name);
    buffer_say_wrapped(out, words, INDENT, WIDTH);
    buffer_add_byte(out, '\n');
}

/* --- The vehicle ------------------------------------------------------------------------------------- */

static void write_vehicle(struct worksheet *sheet)
{
    const struct vehicle_profile *profile = sheet->vehicle.profile;
    struct buffer *out = &sheet->words;

    buffer_say(out, "Vehicle %.*s\n", TEXT_ARGUMENTS(sheet->vin));
    add_line(out, "model line", profile->model_line);
    if (profile->has_model_year)
        buffer_say(out, "  %-14s %d\n", "model year", profile->model_year);
    add_line(out, "engine", profile->engine);
    add_line(out, "transmission", profile->transmission);
    add_line(out, "options", profile->options);
    add_line(out, "status", profile->status);
    buffer_add_byte(out, '\n');
}

/* --- What a campaign expects ------------------------------------------------------------------------- */

static void write_part(struct buffer *out, const struct expected_part *part, int32_t today)
{
    int64_t price;

    buffer_say(out, "    %-10s %.*s x ", need_name(part->need), TEXT_ARGUMENTS(part->shown));
    add_number(out, part->quantity);
    if (campaign_price(part->part, today, &price)) {
        buffer_add_string(out, " at ");
        add_price(out, price);
        buffer_add_string(out, " each, net");
    }
    buffer_add_byte(out, '\n');
}

static void write_inspection(struct buffer *out, const struct expected_inspection *inspection)
{
    buffer_say(out, "    %-10s %.*s", need_name(inspection->need), TEXT_ARGUMENTS(inspection->shown));
    for (uint32_t i = 0; i < inspection->test_count; i++)
        buffer_say(out, "%s %.*s", i == 0 ? ": expected" : " and",
                      TEXT_ARGUMENTS(inspection->tests[i]->expects));
    buffer_add_byte(out, '\n');
}

static bool is_inspection_fact(struct text name)
{
    return text_starts_with(name, TEXT("inspection:"));
}

/* Rows of a table that would hit, but for one inspection result: what else may be needed, and when. */
static void write_conditional(struct worksheet *sheet, const struct table *table, const char *item,
                              const char *amount)
{
    struct buffer *out = &sheet->words;

    if (table == NULL)
        return;
    int item_output = table_output_named(table, item), amount_output = table_output_named(table, amount);
    for (uint32_t row = 0; row < table_row_count(table); row++) {
        uint32_t failing = 0;
        int condition = table_row_misses(table, row, sheet->facts, sheet->worker.scratch, &failing);
        if (condition < 0 || failing != 1 ||
            !is_inspection_fact(table_condition_name(table, (uint32_t)condition)))
            continue;
        struct text fact = table_condition_name(table, (uint32_t)condition);
        struct text thing = value_as_text(table_output(table, row, (uint32_t)item_output));
        buffer_say(out, "    if %.*s is %.*s: %.*s, ",
                      TEXT_ARGUMENTS(((struct text){fact.bytes + 11, fact.length - 11})),
                      TEXT_ARGUMENTS(table_condition_cell(table, (uint32_t)condition, row)),
                      TEXT_ARGUMENTS(thing));
        add_number(out, table_output(table, row, (uint32_t)amount_output).number);
        buffer_say(out, "%s\n", amount_output >= 0 && amount[0] == 'h' ? " h" : "");
    }
}

static void write_stage(struct buffer *out, const struct expectation *expectation, int32_t today)
{
    if (expectation->stage.length == 0)
        return;
    buffer_say(out, "  %-14s %.*s", "stage", TEXT_ARGUMENTS(expectation->stage));
    if (expectation->stage_opens_on == DAY_NONE) {
        buffer_add_string(out, ", which has no opening date yet\n");
        return;
    }
    buffer_add_string(out, expectation->stage_opens_on <= today ? ", open since " : ", opens on ");
    add_day(out, expectation->stage_opens_on);
    buffer_add_byte(out, '\n');
}

static void write_days(struct buffer *out, const struct campaign *campaign, int32_t today)
{
    buffer_say(out, "  %-14s ", "open");
    if (campaign->opens_on != DAY_NONE) {
        buffer_add_string(out, "from ");
        add_day(out, campaign->opens_on);
    }
    if (campaign->closes_on != DAY_NONE) {
        buffer_add_string(out, " to ");
        add_day(out, campaign->closes_on);
    }
    if (campaign->opens_on != DAY_NONE && today < campaign->opens_on)
        buffer_add_string(out, " (not open yet)");
    if (campaign->closes_on != DAY_NONE && campaign->closes_on < today)
        buffer_add_string(out, " (closed)");
    buffer_add_byte(out, '\n');
}

/* Says plainly where nothing is left to do. */
static void write_completion(struct worksheet *sheet, const struct campaign *campaign)
{
    struct buffer *out = &sheet->words;

    for (uint32_t i = 0; i < sheet->claim_count; i++) {
        const struct claim_row *row = sheet->claims[i].standing;
        if (!text_equal(row->campaign, campaign->id))
            continue;
        buffer_say(out, "  %-14s %.*s", "ALREADY DONE", TEXT_ARGUMENTS(row->outcome));
        if (row->completed_on != DAY_NONE) {
            buffer_add_string(out, " on ");
            add_day(out, row->completed_on);
        }
        buffer_add_string(out, row->decision == DECISION_HOLD ? "; the claim waits for the office\n"
                                                              : "; that claim stands\n");
    }
}

static void write_campaign(struct worksheet *sheet, const struct campaign *campaign,
                           const struct expectation *expectation)
{
    struct buffer *out = &sheet->words;
    int32_t today = sheet->options->today;

    buffer_say(out, "Campaign %.*s: %.*s\n", TEXT_ARGUMENTS(campaign->id), TEXT_ARGUMENTS(campaign->title));
    add_line(out, "kind", campaign->kind);
    add_line(out, "hazard", campaign->hazard);
    write_days(out, campaign, today);
    write_stage(out, expectation, today);
    write_completion(sheet, campaign);
    for (uint32_t i = 0; i < campaign->replaced_by_count; i++)
        buffer_say(out, "  %-14s %.*s\n", "replaced by",
                      TEXT_ARGUMENTS(sheet->desk.rules->campaigns[campaign->replaced_by[i]].id));
    buffer_add_string(out, "  parts\n");
    for (uint32_t i = 0; i < expectation->part_count; i++)
        write_part(out, &expectation->parts[i], today);
    write_conditional(sheet, campaign->parts, "part", "quantity");
    buffer_add_string(out, "  operations\n");
    for (uint32_t i = 0; i < expectation->operation_count; i++) {
        buffer_say(out, "    %-10s %.*s, ", need_name(expectation->operations[i].need),
                      TEXT_ARGUMENTS(expectation->operations[i].shown));
        add_number(out, expectation->operations[i].hours);
        buffer_add_string(out, " h\n");
    }
    write_conditional(sheet, campaign->labor, "operation", "hours");
    buffer_add_string(out, "  inspections\n");
    for (uint32_t i = 0; i < expectation->inspection_count; i++)
        write_inspection(out, &expectation->inspections[i]);
    buffer_add_byte(out, '\n');
}

/* --- The claim row to fill in ------------------------------------------------------------------------ */

static void add_separator(struct buffer *list)
{
    if (list->length > 0)
        buffer_add_string(list, "; ");
}

static void list_parts(struct worksheet *sheet, const struct expectation *expectation, struct buffer *list)
{
    int64_t price;

    for (uint32_t i = 0; i < expectation->part_count; i++) {
        const struct expected_part *part = &expectation->parts[i];
        if (part->need == NEED_ALLOWED)
            continue;
        add_separator(list);
        buffer_add_text(list, part->shown);
        buffer_add_byte(list, '=');
        add_number(list, part->quantity);
        if (campaign_price(part->part, sheet->options->today, &price)) {
            buffer_add_byte(list, '@');
            add_price(list, price);
        }
    }
}

static void list_labor(const struct expectation *expectation, struct buffer *list)
{
    for (uint32_t i = 0; i < expectation->operation_count; i++) {
        if (expectation->operations[i].need == NEED_ALLOWED)
            continue;
        add_separator(list);
        buffer_add_text(list, expectation->operations[i].shown);
        buffer_add_byte(list, '=');
        add_number(list, expectation->operations[i].hours);
    }
}

static void list_inspections(const struct expectation *expectation, struct buffer *list)
{
    for (uint32_t i = 0; i < expectation->inspection_count; i++) {
        if (expectation->inspections[i].need == NEED_ALLOWED)
            continue;
        add_separator(list);
        buffer_add_text(list, expectation->inspections[i].shown);
        buffer_add_byte(list, '=');
    }
}

static struct text listed(struct worksheet *sheet, const struct expectation *expectation,
                          enum claim_column column)
{
    struct buffer list = BUFFER_EMPTY;

    if (column == COLUMN_PARTS)
        list_parts(sheet, expectation, &list);
    else if (column == COLUMN_LABOR)
        list_labor(expectation, &list);
    else if (column == COLUMN_INSPECTIONS)
        list_inspections(expectation, &list);
    else if (sheet->vehicle.profile->has_model_year)
        buffer_say(&list, "%d", sheet->vehicle.profile->model_year);
    struct text copy = text_copy(&sheet->desk.arena, buffer_text(&list));
    buffer_free(&list);
    return copy;
}

static struct text amount(struct worksheet *sheet, int64_t cents)
{
    char room[DECIMAL_ROOM];
    size_t length = money_write(cents, room);

    return text_copy(&sheet->desk.arena, (struct text){room, length});
}

/* What the dealer may ask for what the row lists: worked out as for a claim completed today. */
static int fill_amounts(struct worksheet *sheet, struct text *cells)
{
    char today[DATE_ROOM];
    struct text asked[CLAIM_COLUMNS];
    struct dossier dossier = {.campaign_number = -1};

    memcpy(asked, cells, sizeof asked);
    asked[COLUMN_CLAIM] = asked[COLUMN_REPAIR_ORDER] = TEXT("-");
    asked[COLUMN_INSPECTIONS] = TEXT("");
    asked[COLUMN_COMPLETED_ON] = (struct text){today, date_write(sheet->options->today, today)};
    int status = claim_of_cells(asked, 1, &sheet->desk.arena, &dossier.claim);
    if (status == WM_OK)
        status = facts_establish(&sheet->worker, &sheet->desk.arena, &dossier);
    if (status != WM_OK)
        return status;
    if (!dossier.amounts_known) {
        diag_error(&sheet->desk.sink, (struct place){{NULL, 0}, 0, 0},
                   "dealer \"%s\" is not in the register for this day; check the code",
                   sheet->options->given[OPTION_DEALER]);
        return WM_BAD_INPUT;
    }
    cells[COLUMN_PARTS_AMOUNT] = amount(sheet, dossier.parts_allowed_cents);
    cells[COLUMN_LABOR_AMOUNT] = amount(sheet, dossier.labor_allowed_cents);
    cells[COLUMN_TOTAL_AMOUNT] =
        amount(sheet, decimal_sum(dossier.parts_allowed_cents, dossier.labor_allowed_cents));
    return WM_OK;
}

static int write_row(struct worksheet *sheet, const struct campaign *campaign,
                     const struct expectation *expectation)
{
    const char *dealer = sheet->options->given[OPTION_DEALER];
    struct buffer *row = &sheet->rows;
    struct text cells[CLAIM_COLUMNS] = {
        [COLUMN_REVISION] = TEXT("0"),
        [COLUMN_DEALER] = text_of(dealer != NULL ? dealer : ""),
        [COLUMN_CAMPAIGN] = campaign->id,
        [COLUMN_VIN] = sheet->vin,
        [COLUMN_OUTCOME] = TEXT("repaired"),
        [COLUMN_MODEL_YEAR] = listed(sheet, expectation, COLUMN_MODEL_YEAR),
        [COLUMN_ENGINE] = sheet->vehicle.profile->engine,
        [COLUMN_PARTS] = listed(sheet, expectation, COLUMN_PARTS),
        [COLUMN_LABOR] = listed(sheet, expectation, COLUMN_LABOR),
        [COLUMN_INSPECTIONS] = listed(sheet, expectation, COLUMN_INSPECTIONS),
    };
    bool made = cells[COLUMN_MODEL_YEAR].bytes != NULL && cells[COLUMN_PARTS].bytes != NULL &&
                cells[COLUMN_LABOR].bytes != NULL && cells[COLUMN_INSPECTIONS].bytes != NULL;
    int status = !made ? WM_NO_MEMORY : dealer != NULL ? fill_amounts(sheet, cells) : WM_OK;

    for (int column = 0; status == WM_OK && column < CLAIM_COLUMNS; column++) {
        if (column > 0)
            buffer_add_byte(row, ',');
        buffer_add_csv(row, cells[column]);
    }
    buffer_add_byte(row, '\n');
    return status;
}

static void write_row_header(struct buffer *row)
{
    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        if (column > 0)
            buffer_add_byte(row, ',');
        buffer_add_string(row, claim_column_name((enum claim_column)column));
    }
    buffer_add_byte(row, '\n');
}

/* --- All --------------------------------------------------------------------------------------------- */

static int do_campaign(struct worksheet *sheet, const struct campaign *campaign)
{
    const struct expectation *expectation;
    int status = expectations_find(sheet->worker.expectations, campaign, sheet->facts, sheet->worker.scratch,
                                   &sheet->desk.arena, &expectation);

    if (status != WM_OK)
        return status;
    if (expectation->ambiguity_count > 0) {
        buffer_say(&sheet->words,
                      "Campaign %.*s: its rules contradict each other for this vehicle; ask the office\n\n",
                      TEXT_ARGUMENTS(campaign->id));
        return WM_OK;
    }
    if (!expectation->eligible.number)
        return WM_OK;
    sheet->campaigns++;
    write_campaign(sheet, campaign, expectation);
    return write_row(sheet, campaign, expectation);
}

static bool is_wanted(const struct worksheet *sheet, const struct campaign *campaign)
{
    return sheet->options->campaign == NULL || text_is(campaign->id, sheet->options->campaign);
}

static int find_vehicle(struct worksheet *sheet, const char *vin)
{
    struct desk *desk = &sheet->desk;
    struct text nearest = {"", 0};
    bool found;

    sheet->vin = text_upper(&desk->arena, text_trim(text_of(vin)));
    if (sheet->vin.bytes == NULL)
        return WM_NO_MEMORY;
    int status = register_vehicle(desk->office_register, sheet->vin, &found, &sheet->vehicle);
    if (status == WM_OK && !found)
        status = register_vin_nearest(desk->office_register, sheet->vin, &desk->arena, &nearest);
    if (status != WM_OK || found)
        return status;
    diag_error(&desk->sink, (struct place){{NULL, 0}, 0, 0}, "vehicle %.*s is not in the register; %s%.*s%s",
               TEXT_ARGUMENTS(sheet->vin), nearest.length > 0 ? "is it " : "read the VIN once more",
               TEXT_ARGUMENTS(nearest), nearest.length > 0 ? "?" : "");
    return WM_BAD_INPUT;
}

/* The claims that stand on the vehicle, whatever their campaign. */
static int find_claims(struct worksheet *sheet)
{
    struct desk *desk = &sheet->desk;
    struct ledger_reader *reader = NULL;
    struct ledger_point now;
    struct claim_name *names;
    uint32_t count = 0;
    int status = ledger_last(desk->office, &now);

    if (status == WM_OK)
        status = ledger_reader_open(desk->office, now, &reader);
    if (status == WM_OK)
        status = ledger_names_on_vin(reader, &desk->arena, sheet->vin, &names, &count);
    sheet->claims = ARENA_ARRAY(&desk->arena, struct ledger_claim, count);
    if (status == WM_OK && sheet->claims == NULL)
        status = WM_NO_MEMORY;
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        struct ledger_claim *claim = &sheet->claims[sheet->claim_count];
        status = ledger_claim_read(reader, &desk->arena, names[i].dealer, names[i].claim, claim);
        if (status == WM_OK && claim->standing != NULL && text_equal(claim->standing->vin, sheet->vin))
            sheet->claim_count++;
    }
    ledger_reader_close(reader);
    return status;
}

static int do_vehicle(struct worksheet *sheet, const char *vin)
{
    const struct rules *rules = sheet->desk.rules;
    uint32_t before = sheet->campaigns;
    int status = find_vehicle(sheet, vin);

    sheet->claim_count = 0;
    if (status == WM_OK)
        status = find_claims(sheet);
    if (status != WM_OK)
        return status;
    facts_of_vehicle(rules, &sheet->vehicle, sheet->facts);
    fact_put(rules, sheet->facts, FACT_outcome, value_text(TEXT("repaired")));
    write_vehicle(sheet);
    for (uint32_t i = 0; status == WM_OK && i < rules->campaign_count; i++)
        if (is_wanted(sheet, &rules->campaigns[i]))
            status = do_campaign(sheet, &rules->campaigns[i]);
    if (sheet->campaigns == before)
        buffer_add_string(&sheet->words, "No campaign needs work on this vehicle.\n\n");
    return status;
}

static int open_sheet(struct worksheet *sheet)
{
    struct desk *desk = &sheet->desk;
    int status = desk_open_rules(desk, sheet->options);

    if (status == WM_OK && sheet->options->campaign != NULL &&
        rules_campaign(desk->rules, text_of(sheet->options->campaign)) < 0) {
        diag_error(
            &desk->sink, (struct place){{NULL, 0}, 0, 0},
            "no campaign \"%s\" in the rules; `witnessmark worksheet VIN` shows every campaign of the vehicle",
            sheet->options->campaign);
        status = WM_BAD_INPUT;
    }
    if (status == WM_OK)
        status = desk_open_office(desk, sheet->options);
    if (status != WM_OK)
        return status;
    sheet->facts = ARENA_ARRAY(&desk->arena, struct value, desk->rules->dictionary->slot_count);
    return sheet->facts == NULL ? WM_NO_MEMORY : fact_worker_open(&sheet->worker, &desk->day);
}

static int make_worksheet(struct worksheet *sheet)
{
    int status = open_sheet(sheet);

    if (status == WM_OK)
        write_row_header(&sheet->rows);
    for (int i = 0; status == WM_OK && i < sheet->options->argument_count; i++)
        status = do_vehicle(sheet, sheet->options->arguments[i]);
    return status == WM_OK && (sheet->words.failed || sheet->rows.failed) ? WM_NO_MEMORY : status;
}

static int print_worksheet(struct worksheet *sheet)
{
    struct output out;
    int status = output_open(&out, sheet->options->out, &sheet->desk.sink);

    if (status != WM_OK)
        return cli_exit(status);
    if (sheet->options->format == FORMAT_TEXT) {
        output_add(&out, sheet->words.bytes, sheet->words.length);
        output_add(&out, CAUTION, sizeof CAUTION - 1);
        if (sheet->campaigns > 0)
            output_add(&out, "\nClaim to fill in (CSV):\n", 25);
    }
    if (sheet->campaigns > 0 || sheet->options->format == FORMAT_CSV)
        output_add(&out, sheet->rows.bytes, sheet->rows.length);
    return cli_finish(&out, &sheet->desk.sink, EXIT_DONE);
}

static int run_worksheet(const struct options *options)
{
    struct worksheet sheet = {.options = options};
    int status = desk_end_reading(&sheet.desk, make_worksheet(&sheet));
    int code = status == WM_OK ? print_worksheet(&sheet) : cli_exit(status);

    fact_worker_close(&sheet.worker);
    buffer_free(&sheet.words);
    buffer_free(&sheet.rows);
    desk_close(&sheet.desk);
    return code;
}

const struct command COMMAND_WORKSHEET = {
    .name = "worksheet",
    .arguments = "VIN...",
    .summary = "what this vehicle needs: kit, parts, operations, inspections, and a claim to fill in",
    .details =
        "With --format csv only the claim rows to fill in; with --dealer their amounts are worked out at that\n"
        "dealer's rate and markup.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_CAMPAIGN) |
               OPTION_BIT(OPTION_DEALER),
    .least_arguments = 1,
    .most_arguments = -1,
    .run = run_worksheet,
};
