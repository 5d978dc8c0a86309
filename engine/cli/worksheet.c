#include <stdio.h>

#include "base/shown.h"
#include "base/status.h"
#include "cli/claim_row.h"
#include "cli/desk.h"
#include "cli/expected.h"
#include "facts/establish.h"
#include "ledger/recorded.h"

/* A claim that stands on the vehicle. */
struct done {
    struct text campaign;
    enum outcome outcome;
    int32_t completed_on; /* DAY_NONE: none, or not told */
    bool waits;           /* for the office */
    bool by_other;        /* another dealer: a pack tells no day */
    bool by_somebody;     /* a pack for all dealers tells not even that */
};

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
    struct done *done;           /* what stands as done on this vehicle */
    uint32_t done_count, done_capacity;
    struct language *language;
    uint32_t campaigns;      /* that the vehicle is in */
    uint32_t contradictions; /* campaigns of which that cannot be told */
};

/* A day as text in the arena. */
static struct text day_text(struct worksheet *sheet, int32_t day)
{
    char room[DATE_ROOM];
    return text_copy(&sheet->desk.arena, (struct text){room, date_write(day, room)});
}

static void add_field(struct worksheet *sheet, enum sentence name, struct text words)
{
    expected_field(sheet->language, &sheet->words, name, words);
}

/* A field whose words are a sentence. */
static void add_said(struct worksheet *sheet, enum sentence name, enum sentence sentence, const struct said *said)
{
    struct buffer words = BUFFER_EMPTY;

    language_say(sheet->language, &words, sentence, said);
    add_field(sheet, name, buffer_text(&words));
    sheet->words.failed = sheet->words.failed || words.failed;
    buffer_free(&words);
}

#define ADD_SAID(sheet, name, sentence, ...)                                                                         \
    add_said(sheet, name, sentence, (const struct said[]){__VA_ARGS__ __VA_OPT__(, ){NULL, {NULL, 0}}})

/* A sentence on a line of its own. */
static void add_sentence(struct worksheet *sheet, enum sentence sentence, struct text campaign)
{
    struct buffer words = BUFFER_EMPTY;

    SAY(sheet->language, &words, sentence, {"campaign", campaign});
    buffer_say_wrapped(&sheet->words, buffer_text(&words), 0, PAGE_WIDTH);
    buffer_add_byte(&sheet->words, '\n');
    buffer_free(&words);
}

/* --- The vehicle ------------------------------------------------------------------------------------- */

static void write_vehicle(struct worksheet *sheet)
{
    const struct vehicle_profile *profile = sheet->vehicle.profile;

    SAY(sheet->language, &sheet->words, SENTENCE_sheet_vehicle, {"vin", sheet->vin});
    buffer_add_byte(&sheet->words, '\n');
    add_field(sheet, SENTENCE_sheet_model_line, profile->model_line);
    if (profile->has_model_year)
        add_field(sheet, SENTENCE_sheet_model_year, text_format(&sheet->desk.arena, "%d", profile->model_year));
    add_field(sheet, SENTENCE_sheet_engine, profile->engine);
    add_field(sheet, SENTENCE_sheet_transmission, profile->transmission);
    add_field(sheet, SENTENCE_sheet_options, profile->options);
    add_field(sheet, SENTENCE_sheet_status, profile->status);
    buffer_add_byte(&sheet->words, '\n');
}

/* --- What a campaign expects ------------------------------------------------------------------------- */

static void write_stage(struct worksheet *sheet, const struct expectation *expectation)
{
    int32_t opens_on = expectation->stage_opens_on;

    if (expectation->stage.length == 0)
        return;
    if (opens_on == DAY_NONE)
        ADD_SAID(sheet, SENTENCE_sheet_stage, SENTENCE_sheet_stage_no_day, {"stage", expectation->stage});
    else
        ADD_SAID(sheet, SENTENCE_sheet_stage,
                 opens_on <= sheet->options->today ? SENTENCE_sheet_stage_since : SENTENCE_sheet_stage_opens,
                 {"stage", expectation->stage}, {"opens_on", day_text(sheet, opens_on)});
}

static void write_days(struct worksheet *sheet, const struct campaign *campaign)
{
    int32_t today = sheet->options->today;
    bool opens = campaign->opens_on != DAY_NONE, closes = campaign->closes_on != DAY_NONE;
    struct buffer words = BUFFER_EMPTY;

    if (opens || closes)
        SAY(sheet->language, &words,
            opens && closes ? SENTENCE_sheet_open_from_to : opens ? SENTENCE_sheet_open_from : SENTENCE_sheet_open_to,
            {"opens_on", opens ? day_text(sheet, campaign->opens_on) : TEXT("")},
            {"closes_on", closes ? day_text(sheet, campaign->closes_on) : TEXT("")});
    if ((opens && today < campaign->opens_on) || (closes && campaign->closes_on < today)) {
        buffer_add_byte(&words, ' ');
        SAY(sheet->language, &words,
            opens && today < campaign->opens_on ? SENTENCE_sheet_not_open_yet : SENTENCE_sheet_closed);
    }
    add_field(sheet, SENTENCE_sheet_open, buffer_text(&words));
    buffer_free(&words);
}

/* Says plainly where nothing is left to do. */
static void write_completion(struct worksheet *sheet, const struct campaign *campaign)
{
    for (uint32_t i = 0; i < sheet->done_count; i++) {
        const struct done *done = &sheet->done[i];
        if (!text_equal(done->campaign, campaign->id))
            continue;
        bool day = done->completed_on != DAY_NONE;
        enum sentence sentence = done->by_other  ? SENTENCE_sheet_done_by_other
                                 : done->by_somebody ? SENTENCE_sheet_done_by_somebody
                                 : done->waits   ? (day ? SENTENCE_sheet_waits_on : SENTENCE_sheet_waits_no_day)
                                                 : (day ? SENTENCE_sheet_done_on : SENTENCE_sheet_done_no_day);
        struct text outcome = language_text(sheet->language, done->outcome == OUTCOME_INSPECTED
                                                                 ? SENTENCE_completed_inspected
                                                                 : SENTENCE_completed_repaired);
        ADD_SAID(sheet, SENTENCE_sheet_done, sentence, {"outcome", outcome},
                 {"completed_on", day ? day_text(sheet, done->completed_on) : TEXT("")});
    }
}

static void write_campaign(struct worksheet *sheet, const struct campaign *campaign,
                           const struct expectation *expectation)
{
    const struct expected_page page = {sheet->language, &sheet->words, sheet->options->today, sheet->facts,
                                       sheet->worker.scratch, 2};

    SAY(sheet->language, &sheet->words, SENTENCE_sheet_campaign, {"campaign", campaign->id},
        {"title", language_of_campaign(sheet->language, campaign, "title")});
    buffer_add_byte(&sheet->words, '\n');
    add_field(sheet, SENTENCE_sheet_kind, language_of_campaign(sheet->language, campaign, "kind"));
    add_field(sheet, SENTENCE_sheet_hazard, language_of_campaign(sheet->language, campaign, "hazard"));
    write_days(sheet, campaign);
    write_stage(sheet, expectation);
    write_completion(sheet, campaign);
    for (uint32_t i = 0; i < campaign->replaced_by_count; i++)
        add_field(sheet, SENTENCE_sheet_replaced_by, sheet->desk.rules->campaigns[campaign->replaced_by[i]].id);
    expected_write(&page, campaign, expectation);
    buffer_add_byte(&sheet->words, '\n');
}

/* --- The claim row to fill in ------------------------------------------------------------------------ */

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
                   "dealer \"%.*s\" is not in the register for this day; check the code",
                   TEXT_ARGUMENTS(cells[COLUMN_DEALER]));
        return WM_BAD_INPUT;
    }
    cells[COLUMN_PARTS_AMOUNT] = claim_row_amount(dossier.parts_allowed_cents, &sheet->desk.arena);
    cells[COLUMN_LABOR_AMOUNT] = claim_row_amount(dossier.labor_allowed_cents, &sheet->desk.arena);
    cells[COLUMN_TOTAL_AMOUNT] =
        claim_row_amount(decimal_sum(dossier.parts_allowed_cents, dossier.labor_allowed_cents), &sheet->desk.arena);
    return WM_OK;
}

/* The dealer at whose rates amounts are worked out: --dealer, or the pack's own. Empty: none. */
static struct text dealer_of(const struct worksheet *sheet)
{
    const char *given = sheet->options->given[OPTION_DEALER];

    if (given == NULL && sheet->desk.pack != NULL)
        return pack_head(sheet->desk.pack)->dealer;
    return text_of(given != NULL ? given : "");
}

static int write_row(struct worksheet *sheet, const struct campaign *campaign,
                     const struct expectation *expectation)
{
    struct text dealer = dealer_of(sheet);
    struct arena *arena = &sheet->desk.arena;
    int32_t today = sheet->options->today;
    const struct vehicle_profile *profile = sheet->vehicle.profile;
    struct text year = profile->has_model_year ? text_format(arena, "%d", profile->model_year) : TEXT("");
    struct text cells[CLAIM_COLUMNS] = {
        [COLUMN_REVISION] = TEXT("0"),
        [COLUMN_DEALER] = dealer,
        [COLUMN_CAMPAIGN] = campaign->id,
        [COLUMN_VIN] = sheet->vin,
        [COLUMN_OUTCOME] = TEXT("repaired"),
        [COLUMN_MODEL_YEAR] = year,
        [COLUMN_ENGINE] = profile->engine,
        [COLUMN_PARTS] = claim_row_list(expectation, COLUMN_PARTS, today, arena),
        [COLUMN_LABOR] = claim_row_list(expectation, COLUMN_LABOR, today, arena),
        [COLUMN_INSPECTIONS] = claim_row_list(expectation, COLUMN_INSPECTIONS, today, arena),
    };
    bool made = year.bytes != NULL && cells[COLUMN_PARTS].bytes != NULL && cells[COLUMN_LABOR].bytes != NULL &&
                cells[COLUMN_INSPECTIONS].bytes != NULL;
    int status = !made ? WM_NO_MEMORY : dealer.length > 0 ? fill_amounts(sheet, cells) : WM_OK;

    if (status == WM_OK)
        claim_row_write(&sheet->rows, cells);
    return status;
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
        sheet->contradictions++;
        add_sentence(sheet, SENTENCE_sheet_contradiction, campaign->id);
        buffer_add_byte(&sheet->words, '\n');
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
    struct buffer words = BUFFER_EMPTY;
    SAY(sheet->language, &words, nearest.length > 0 ? SENTENCE_sheet_is_it : SENTENCE_sheet_no_vehicle,
        {"vin", sheet->vin}, {"nearest", nearest});
    diag_error(&desk->sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(buffer_text(&words)));
    buffer_free(&words);
    return WM_BAD_INPUT;
}

static int add_done(struct worksheet *sheet, struct done done)
{
    if (sheet->done_count == sheet->done_capacity) {
        uint32_t capacity = sheet->done_capacity ? sheet->done_capacity * 2 : 8;
        struct done *grown = arena_grown(&sheet->desk.arena, sheet->done, sheet->done_count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        sheet->done = grown;
        sheet->done_capacity = capacity;
    }
    sheet->done[sheet->done_count++] = done;
    return WM_OK;
}

static int add_standing(struct worksheet *sheet, const struct claim_row *row)
{
    bool inspected = text_equal_any_case(row->outcome, TEXT("inspected"));

    return add_done(sheet, (struct done){.campaign = row->campaign,
                                         .outcome = inspected ? OUTCOME_INSPECTED : OUTCOME_REPAIRED,
                                         .completed_on = row->completed_on,
                                         .waits = row->decision == DECISION_HOLD});
}

/* The claims that stand on the vehicle, whatever their campaign: as the office file has them. */
static int find_claims(struct worksheet *sheet)
{
    struct desk *desk = &sheet->desk;
    struct ledger_reader *reader = NULL;
    struct ledger_claim claim;
    struct ledger_point now;
    struct claim_name *names;
    uint32_t count = 0;
    int status = ledger_last(desk->office, &now);

    if (status == WM_OK)
        status = ledger_reader_open(desk->office, now, &reader);
    if (status == WM_OK)
        status = ledger_names_on_vin(reader, &desk->arena, sheet->vin, &names, &count);
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        status = ledger_claim_read(reader, &desk->arena, names[i].dealer, names[i].claim, &claim);
        if (status == WM_OK && claim.standing != NULL && text_equal(claim.standing->vin, sheet->vin))
            status = add_standing(sheet, claim.standing);
    }
    ledger_reader_close(reader);
    return status;
}

/* As the pack has them. */
static int find_completions(struct worksheet *sheet)
{
    bool for_all = pack_head(sheet->desk.pack)->dealer.length == 0;
    struct completion *list;
    uint32_t count = 0;
    int status = pack_completions(sheet->desk.pack, sheet->vin, &sheet->desk.arena, &list, &count);

    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = add_done(sheet, (struct done){.campaign = list[i].campaign,
                                               .outcome = list[i].outcome,
                                               .completed_on = list[i].completed_on,
                                               .by_other = !list[i].own && !for_all,
                                               .by_somebody = !list[i].own && for_all});
    return status;
}

static int do_vehicle(struct worksheet *sheet, const char *vin)
{
    const struct rules *rules = sheet->desk.rules;
    const char *campaign = sheet->options->campaign;
    uint32_t before = sheet->campaigns + sheet->contradictions;
    int status = find_vehicle(sheet, vin);

    sheet->done_count = 0;
    if (status == WM_OK)
        status = sheet->desk.pack != NULL ? find_completions(sheet) : find_claims(sheet);
    if (status != WM_OK)
        return status;
    facts_of_vehicle(rules, &sheet->vehicle, sheet->facts);
    fact_put(rules, sheet->facts, FACT_outcome, value_text(TEXT("repaired")));
    write_vehicle(sheet);
    for (uint32_t i = 0; status == WM_OK && i < rules->campaign_count; i++)
        if (is_wanted(sheet, &rules->campaigns[i]))
            status = do_campaign(sheet, &rules->campaigns[i]);
    if (sheet->campaigns + sheet->contradictions == before) {
        add_sentence(sheet, campaign != NULL ? SENTENCE_sheet_not_this_campaign : SENTENCE_sheet_no_campaign,
                     text_of(campaign));
        buffer_add_byte(&sheet->words, '\n');
    }
    return status;
}

static int open_sheet(struct worksheet *sheet)
{
    struct desk *desk = &sheet->desk;
    int status = desk_open(desk, sheet->options);

    if (status == WM_OK)
        status = language_open(&desk->arena, desk->rules, sheet->options->given[OPTION_LANG], &desk->sink,
                               &sheet->language);
    if (status == WM_OK && sheet->options->campaign != NULL &&
        rules_campaign(desk->rules, text_of(sheet->options->campaign)) < 0) {
        diag_error(
            &desk->sink, (struct place){{NULL, 0}, 0, 0},
            "no campaign \"%s\" in the rules; `witnessmark worksheet VIN` shows every campaign of the vehicle",
            sheet->options->campaign);
        status = WM_BAD_INPUT;
    }
    if (status != WM_OK)
        return status;
    sheet->facts = ARENA_ARRAY(&desk->arena, struct value, desk->rules->dictionary->slot_count);
    return sheet->facts == NULL ? WM_NO_MEMORY : fact_worker_open(&sheet->worker, &desk->day);
}

/* What stands under the sheet. */
static void write_end(struct worksheet *sheet)
{
    add_sentence(sheet, SENTENCE_sheet_caution, TEXT(""));
    if (sheet->campaigns == 0)
        return;
    buffer_add_byte(&sheet->words, '\n');
    add_sentence(sheet, SENTENCE_sheet_claim, TEXT(""));
}

static int make_worksheet(struct worksheet *sheet)
{
    int status = open_sheet(sheet);

    if (status == WM_OK)
        claim_row_header(&sheet->rows);
    for (int i = 0; status == WM_OK && i < sheet->options->argument_count; i++)
        status = do_vehicle(sheet, sheet->options->arguments[i]);
    if (status == WM_OK)
        write_end(sheet);
    return status == WM_OK && (sheet->words.failed || sheet->rows.failed) ? WM_NO_MEMORY : status;
}

static int print_worksheet(struct worksheet *sheet)
{
    struct output out;
    int status = output_open(&out, sheet->options->out, &sheet->desk.sink);

    if (status != WM_OK)
        return cli_exit(status);
    if (sheet->options->format == FORMAT_TEXT)
        output_add(&out, sheet->words.bytes, sheet->words.length);
    if (sheet->campaigns > 0 || sheet->options->format == FORMAT_CSV)
        output_add(&out, sheet->rows.bytes, sheet->rows.length);
    return cli_finish(&out, &sheet->desk.sink, EXIT_DONE);
}

static int run_worksheet(const struct options *options)
{
    struct worksheet sheet = {.options = options};

    if (!desk_options_fit(options))
        return EXIT_UNUSABLE;
    int status = desk_end_reading(&sheet.desk, make_worksheet(&sheet));
    int code = status == WM_OK ? print_worksheet(&sheet) : cli_exit(status);

    fact_worker_close(&sheet.worker);
    buffer_free(&sheet.words);
    buffer_free(&sheet.rows);
    language_close(sheet.language);
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
               OPTION_BIT(OPTION_DEALER) | OPTION_BIT(OPTION_PACK) | OPTION_BIT(OPTION_TRUST) |
               OPTION_BIT(OPTION_LANG),
    .formats = FORMAT_BIT(FORMAT_TEXT) | FORMAT_BIT(FORMAT_CSV),
    .least_arguments = 1,
    .most_arguments = -1,
    .run = run_worksheet,
};
