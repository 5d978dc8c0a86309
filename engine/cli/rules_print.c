/* `rules print`: campaigns as pages that a person can hold against the bulletin. */
#include <assert.h>
#include <stdlib.h>

#include "base/status.h"
#include "cli/page.h"
#include "cli/desk.h"
#include "rules/cell_words.h"

struct printing {
    const struct options *options;
    struct desk desk;
    struct buffer out, words, amount; /* the last two for one line */
    struct page page;
    const struct campaign *campaign;
};

/* A row of a table in its group. */
typedef void print_amount(struct printing *printing, const struct table *table, uint32_t row);

/* How the rows of one table are put together. */
struct grouping {
    const char *title;
    const char *note; /* "" : none */
    const char *by;   /* the output that a group has in common */
    bool in_order;    /* only neighbours are put together, as their order counts */
    void (*group)(struct printing *printing, const struct table *table,
                  uint32_t row); /* its title into `words` */
    print_amount *amount;        /* what stands before the conditions, into `amount` */
    const char *all;             /* a row without conditions */
};

/* --- Shared --------------------------------------------------------------------------------------- */

static struct value output_of(const struct table *table, uint32_t row, const char *name)
{
    int output = table_output_named(table, name);

    return output < 0 ? value_null() : table_output(table, row, (uint32_t)output);
}

static struct text word_of(const struct table *table, uint32_t row, const char *name)
{
    return value_as_text(output_of(table, row, name));
}

static void add_value(struct buffer *out, struct value v)
{
    value_write(v, out);
}

static void add_day(struct buffer *out, int32_t day)
{
    char room[DATE_ROOM];

    buffer_add(out, room, date_write(day, room));
}

/* Whole cents with two places, finer prices as they are. */
static void add_price(struct buffer *out, int64_t millionths)
{
    if (millionths % DECIMAL_CENT == 0)
        buffer_add_money(out, millionths / DECIMAL_CENT);
    else
        value_write(value_number(millionths), out);
}

/* --- Groups --------------------------------------------------------------------------------------- */

/* Conditions in which all rows of the table say the same. */
static uint32_t find_shared(const struct table *table, bool *shared)
{
    uint32_t count = 0;

    for (uint32_t c = 0; c < table_condition_count(table); c++) {
        struct text first = table_condition_cell(table, c, 0);
        shared[c] = !table_condition_test(table, c, 0)->any && table_row_count(table) > 1;
        for (uint32_t row = 1; row < table_row_count(table); row++)
            shared[c] = shared[c] && text_equal(first, table_condition_cell(table, c, row));
        count += shared[c];
    }
    return count;
}

static bool belong_together(const struct table *table, const struct grouping *grouping, uint32_t row,
                            uint32_t other)
{
    return value_equal(output_of(table, row, grouping->by), output_of(table, other, grouping->by), false);
}

static void print_row(struct printing *printing, const struct table *table, const struct grouping *grouping,
                      const bool *shared, uint32_t row)
{
    buffer_clear(&printing->words);
    buffer_clear(&printing->amount);
    grouping->amount(printing, table, row);
    row_words(table, row, shared, grouping->all, &printing->words);
    page_line(&printing->page, buffer_text(&printing->amount), buffer_text(&printing->words));
}

static void print_group(struct printing *printing, const struct table *table, const struct grouping *grouping,
                        const bool *shared, bool *printed, uint32_t first)
{
    buffer_clear(&printing->words);
    grouping->group(printing, table, first);
    page_group(&printing->page, buffer_text(&printing->words));
    for (uint32_t row = first; row < table_row_count(table); row++) {
        if (belong_together(table, grouping, first, row)) { /* none of a group is printed before its first */
            printed[row] = true;
            print_row(printing, table, grouping, shared, row);
        } else if (grouping->in_order) {
            break;
        }
    }
}

static void print_section(struct printing *printing, const struct table *table, const struct grouping *grouping,
                          const bool *shared, uint32_t shared_count)
{
    buffer_clear(&printing->words);
    buffer_add_string(&printing->words, grouping->note);
    for (uint32_t c = 0, said = 0; c < table_condition_count(table) && shared_count > 0; c++) {
        if (!shared[c])
            continue;
        buffer_add_string(&printing->words, said++ > 0          ? ", "
                                            : grouping->note[0] ? " All of these: "
                                                                : "All of these: ");
        cell_words(table_condition_test(table, c, 0), table_condition_name(table, c),
                   table_condition_fact(table, c).type, &printing->words);
    }
    buffer_add_string(&printing->words, shared_count > 0 ? "." : "");
    page_section(&printing->page, grouping->title, buffer_text(&printing->words));
}

static int print_table(struct printing *printing, const struct table *table, const struct grouping *grouping)
{
    if (table == NULL || table_row_count(table) == 0)
        return WM_OK;
    bool *shared = ARENA_ARRAY(&printing->desk.arena, bool, table_condition_count(table));
    bool *printed = ARENA_ARRAY(&printing->desk.arena, bool, table_row_count(table));
    if (shared == NULL || printed == NULL)
        return WM_NO_MEMORY;
    uint32_t shared_count = find_shared(table, shared);
    print_section(printing, table, grouping, shared, shared_count);
    for (uint32_t row = 0; row < table_row_count(table); row++)
        if (!printed[row])
            print_group(printing, table, grouping, shared, printed, row);
    return WM_OK;
}

/* --- Vehicles ------------------------------------------------------------------------------------- */

static void nothing_before(struct printing *printing, const struct table *table, uint32_t row)
{
    (void)printing, (void)table, (void)row;
}

static void stage_title(struct printing *printing, const struct table *table, uint32_t row)
{
    struct value eligible = output_of(table, row, "eligible");
    struct text stage = word_of(table, row, "stage");
    struct buffer *out = &printing->words;

    if (eligible.type != VALUE_BOOLEAN || !eligible.number) {
        buffer_add_string(out, "Not eligible");
        return;
    }
    buffer_add_string(out, "Eligible");
    if (stage.length == 0)
        return;
    buffer_format(out, ", stage %.*s", TEXT_ARGUMENTS(stage));
    for (uint32_t i = 0; i < printing->campaign->stage_count; i++) {
        if (!text_equal(printing->campaign->stages[i].name, stage))
            continue;
        buffer_add_string(out,
                          printing->campaign->stages[i].opens_on == DAY_NONE ? ", no day yet" : ", opens ");
        if (printing->campaign->stages[i].opens_on != DAY_NONE)
            add_day(out, printing->campaign->stages[i].opens_on);
    }
}

static int print_vehicles(struct printing *printing)
{
    const struct table *table = printing->campaign->eligibility;
    bool first = table_policy(table) == HIT_FIRST;
    const struct grouping grouping = {
        .title = "Vehicles",
        .note = first ? "The first line that fits a vehicle decides; one that no line fits is not eligible."
                      : "One line at most fits a vehicle; one that none fits is not eligible.",
        .by = table_output_named(table, "stage") >= 0 ? "stage" : "eligible",
        .in_order = first,
        .group = stage_title,
        .amount = nothing_before,
        .all = "all vehicles"};

    return print_table(printing, table, &grouping);
}

/* --- Kits and parts ------------------------------------------------------------------------------- */

/* Every kit and part that a table names is in the campaign's list. NULL: no memory, and the page has failed. */
static const struct campaign_part *part_named(struct printing *printing, struct text shown)
{
    const struct campaign *campaign = printing->campaign;
    char *room = arena_bytes(&printing->desk.arena, shown.length + 1);

    printing->out.failed = printing->out.failed || room == NULL;
    if (room == NULL)
        return NULL;
    uint32_t number = text_index_find(&campaign->part_index, (struct text){room, text_item_key(shown, room)});
    assert(number != TEXT_INDEX_NONE);
    return &campaign->part_list[number];
}

/* ` (net, each: 118.40; 121.90 from 2026-03-01)` */
static void add_prices(struct printing *printing, struct text shown)
{
    const struct campaign_part *part = part_named(printing, shown);
    struct buffer *out = &printing->words;

    if (part == NULL)
        return;
    if (part->price_count == 0) {
        buffer_add_string(out, " (no price)");
        return;
    }
    for (uint32_t i = 0; i < part->price_count; i++) {
        buffer_add_string(out, i == 0 ? " (net, each: " : "; ");
        add_price(out, part->prices[i].price);
        if (part->prices[i].valid_from != INT32_MIN) {
            buffer_add_string(out, " from ");
            add_day(out, part->prices[i].valid_from);
        }
    }
    buffer_add_byte(out, ')');
}

static void kit_title(struct printing *printing, const struct table *table, uint32_t row)
{
    struct text kit = word_of(table, row, "kit");

    if (kit.length == 0) {
        buffer_add_string(&printing->words, "No kit");
        return;
    }
    buffer_add_text(&printing->words, kit);
    add_prices(printing, kit);
}

static void part_title(struct printing *printing, const struct table *table, uint32_t row)
{
    struct text part = word_of(table, row, "part");

    buffer_add_text(&printing->words, part);
    add_prices(printing, part);
}

static void kit_amount(struct printing *printing, const struct table *table, uint32_t row)
{
    if (output_of(table, row, "quantity").type == VALUE_NULL)
        return;
    add_value(&printing->amount, output_of(table, row, "quantity"));
    buffer_add_string(&printing->amount, " a vehicle");
}

static void part_amount(struct printing *printing, const struct table *table, uint32_t row)
{
    add_value(&printing->amount, output_of(table, row, "quantity"));
    buffer_format(&printing->amount, " %.*s", TEXT_ARGUMENTS(word_of(table, row, "need")));
}

/* --- Times, inspections, follow-ups --------------------------------------------------------------- */

static void operation_title(struct printing *printing, const struct table *table, uint32_t row)
{
    buffer_add_text(&printing->words, word_of(table, row, "operation"));
}

static void operation_amount(struct printing *printing, const struct table *table, uint32_t row)
{
    add_value(&printing->amount, output_of(table, row, "hours"));
    buffer_format(&printing->amount, " h %.*s", TEXT_ARGUMENTS(word_of(table, row, "need")));
}

static void inspection_title(struct printing *printing, const struct table *table, uint32_t row)
{
    buffer_add_text(&printing->words, word_of(table, row, "inspection"));
}

static void inspection_amount(struct printing *printing, const struct table *table, uint32_t row)
{
    struct text expects = word_of(table, row, "expects");

    buffer_format(&printing->amount, "%.*s: ", TEXT_ARGUMENTS(word_of(table, row, "need")));
    buffer_add_text(&printing->amount, expects.length > 0 ? expects : TEXT("any result"));
}

static void followup_title(struct printing *printing, const struct table *table, uint32_t row)
{
    buffer_add_text(&printing->words, word_of(table, row, "followup"));
}

static void followup_amount(struct printing *printing, const struct table *table, uint32_t row)
{
    buffer_format(&printing->amount, "%.*s in ", TEXT_ARGUMENTS(word_of(table, row, "part")));
    add_value(&printing->amount, output_of(table, row, "due_days"));
    buffer_add_string(&printing->amount, " days");
}

static int print_tables(struct printing *printing)
{
    const struct campaign *campaign = printing->campaign;
    const struct {
        const struct table *table;
        struct grouping grouping;
    } SECTIONS[] = {
        {campaign->kits, {"Kits", "", "kit", false, kit_title, kit_amount, "all eligible vehicles"}},
        {campaign->parts,
         {"Parts", "Lines that fit add up.", "part", false, part_title, part_amount, "all eligible vehicles"}},
        {campaign->labor,
         {"Times", "Lines that fit add up.", "operation", false, operation_title, operation_amount,
          "all eligible vehicles"}},
        {campaign->inspections,
         {"Inspections", "All lines that fit must hold.", "inspection", false, inspection_title,
          inspection_amount, "all eligible vehicles"}},
        {campaign->followups,
         {"Work that stays open", "", "followup", false, followup_title, followup_amount,
          "all eligible vehicles"}},
    };
    int status = print_vehicles(printing);

    for (size_t i = 0; status == WM_OK && i < sizeof SECTIONS / sizeof *SECTIONS; i++)
        status = print_table(printing, SECTIONS[i].table, &SECTIONS[i].grouping);
    return status;
}

/* --- The page ------------------------------------------------------------------------------------- */

static void print_day(struct printing *printing, const char *name, int32_t day)
{
    char room[DATE_ROOM];

    if (day != DAY_NONE)
        page_field(&printing->page, name, (struct text){room, date_write(day, room)});
}

static int print_campaign(struct printing *printing, const struct campaign *campaign)
{
    struct page *page = &printing->page;

    printing->campaign = campaign;
    buffer_clear(&printing->words);
    buffer_format(&printing->words, "%.*s", TEXT_ARGUMENTS(campaign->id));
    if (campaign->title.length > 0)
        buffer_format(&printing->words, ": %.*s", TEXT_ARGUMENTS(campaign->title));
    page_heading(page, buffer_text(&printing->words));
    page_field(page, "Manufacturer", campaign->manufacturer);
    page_field(page, "Regulator's number", campaign->regulator_number);
    page_field(page, "Kind", campaign->kind);
    page_field(page, "Hazard", campaign->hazard);
    print_day(printing, "Opens", campaign->opens_on);
    print_day(printing, "Closes", campaign->closes_on);
    print_day(printing, "Notice began", campaign->notice_began_on);
    print_day(printing, "Notice ended", campaign->notice_ended_on);
    page_field(page, "Currency", campaign->currency);
    buffer_clear(&printing->words);
    if (campaign->has_other_limit)
        buffer_add_money(&printing->words, campaign->other_limit_cents);
    page_field(page, "Other costs up to",
               campaign->has_other_limit ? buffer_text(&printing->words) : TEXT("none"));
    page_field(page, "Replaces", campaign->replaces_id);
    return print_tables(printing);
}

static int print_campaigns(struct printing *printing)
{
    const struct rules *rules = printing->desk.rules;
    const char *wanted = printing->options->argument_count > 0 ? printing->options->arguments[0] : NULL;
    int only = wanted != NULL ? rules_campaign(rules, text_of(wanted)) : -1;
    int status = WM_OK;

    if (wanted != NULL && only < 0) {
        diag_error(&printing->desk.sink, (struct place){text_of(printing->options->rules), 0, 0},
                   "the rules have no campaign \"%s\"; the folder campaigns tells which there are", wanted);
        return WM_BAD_INPUT;
    }
    page_begin(&printing->page, &printing->out, printing->options->format == FORMAT_HTML,
               wanted != NULL ? text_of(wanted) : TEXT("Campaigns"));
    for (uint32_t i = 0; status == WM_OK && i < rules->campaign_count; i++)
        if (only < 0 || (uint32_t)only == i)
            status = print_campaign(printing, &rules->campaigns[i]);
    page_end(&printing->page);
    bool failed = printing->out.failed || printing->words.failed || printing->amount.failed;
    return status == WM_OK && failed ? WM_NO_MEMORY : status;
}

static int run_rules_print(const struct options *options)
{
    struct printing printing = {.options = options};
    struct output output;
    int status = desk_open_rules(&printing.desk, options);

    if (status == WM_OK)
        status = print_campaigns(&printing);
    int code = cli_exit(status);
    if (code == EXIT_DONE && output_open(&output, options->out, &printing.desk.sink) == WM_OK) {
        output_add(&output, printing.out.bytes, printing.out.length);
        code = cli_finish(&output, &printing.desk.sink, code);
    } else {
        code = EXIT_UNUSABLE;
    }
    buffer_free(&printing.out);
    buffer_free(&printing.words);
    buffer_free(&printing.amount);
    desk_close(&printing.desk);
    return code;
}

const struct command COMMAND_RULES_PRINT = {
    .name = "rules print",
    .arguments = "[CAMPAIGN]",
    .summary = "prints a campaign, or all of them, as a page to hold against the bulletin",
    .details = "--format text or html; the HTML page stands by itself and can be printed.\n",
    .options = OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_FORMAT) | OPTION_BIT(OPTION_OUT),
    .formats = FORMAT_BIT(FORMAT_TEXT) | FORMAT_BIT(FORMAT_HTML),
    .least_arguments = 0,
    .most_arguments = 1,
    .run = run_rules_print,
};
