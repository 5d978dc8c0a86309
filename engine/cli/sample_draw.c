#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "audit/draw.h"
#include "audit/generator.h"
#include "base/chunks.h"
#include "base/limits.h"
#include "base/sheet.h"
#include "base/status.h"
#include "cli/decisions.h"
#include "cli/sample_sheet.h"

struct draw_run {
    const struct options *options;
    struct audit_desk desk;
    struct draw_request request;
    struct sample sample;
    struct buffer sheet, words, picks_csv;
    struct chunks picks;
    struct output out;
    bool out_open;
    char now[CLOCK_ROOM], seed[SEED_ROOM];
};

/* --- Options ----------------------------------------------------------------------------------------- */

static bool read_by(struct draw_run *run)
{
    static const char *const WAYS[] = {"dealer", "campaign", "stratum", "money"};
    const char *by = run->options->given[OPTION_BY], *allocate = run->options->given[OPTION_ALLOCATE];
    bool known = by == NULL, stratified = by != NULL && strcmp(by, "money") != 0;

    for (size_t i = 0; i < sizeof WAYS / sizeof WAYS[0]; i++)
        known = known || strcmp(by, WAYS[i]) == 0;
    if (!known)
        diag_error(&run->desk.desk.sink, (struct place){{NULL, 0}, 0, 0},
                   "--by \"%s\" is none; write dealer, campaign, stratum or money", by);
    else if (allocate != NULL && !stratified)
        audit_say(&run->desk.desk.sink,
                  "--allocate is for strata; say --by dealer, campaign or stratum, or leave it out");
    else if (allocate != NULL && strcmp(allocate, "neyman") != 0 && strcmp(allocate, "proportional") != 0)
        diag_error(&run->desk.desk.sink, (struct place){{NULL, 0}, 0, 0},
                   "--allocate \"%s\" is none; write proportional or neyman", allocate);
    else {
        run->request.by = text_of(by);
        run->request.neyman = allocate != NULL && strcmp(allocate, "neyman") == 0;
        return true;
    }
    return false;
}

static bool add_bound(struct draw_run *run, struct text piece)
{
    struct draw_request *request = &run->request;
    int64_t millionths;

    if (decimal_read(piece, 2, &millionths) != NUMBER_OK || millionths <= 0)
        diag_error(&run->desk.desk.sink, (struct place){{NULL, 0}, 0, 0},
                   "--bounds: \"%.*s\" is no amount above 0; write them as 100;500", TEXT_ARGUMENTS(piece));
    else if (request->bound_count == SAMPLE_BOUNDS)
        audit_say(&run->desk.desk.sink, "--bounds has more than 20 amounts; use fewer strata");
    else if (request->bound_count > 0 && millionths / DECIMAL_CENT <= request->bounds[request->bound_count - 1])
        audit_say(&run->desk.desk.sink, "--bounds must rise; write them as 100;500");
    else {
        request->bounds[request->bound_count++] = millionths / DECIMAL_CENT;
        return true;
    }
    return false;
}

static bool read_bounds(struct draw_run *run)
{
    struct text rest = text_of(run->options->given[OPTION_BOUNDS]), piece;
    bool wanted = text_is(run->request.by, "stratum"), right = true;

    if (wanted != (rest.length > 0)) {
        audit_say(&run->desk.desk.sink,
                  wanted ? "--bounds is missing; say where the strata end, as --bounds \"100;500\""
                         : "--bounds is for --by stratum; say that too, or leave it out");
        return false;
    }
    while (wanted && right && text_next(&rest, ';', &piece))
        right = add_bound(run, piece);
    return right;
}

static bool read_size(struct draw_run *run)
{
    bool by_money = text_is(run->request.by, "money"), picked = run->options->given[OPTION_PICK] != NULL;
    bool interval = run->options->given[OPTION_INTERVAL] != NULL,
         size = run->options->given[OPTION_SIZE] != NULL;
    struct diag_sink *sink = &run->desk.desk.sink;

    if (picked && (size || interval || run->request.by.length > 0 || run->options->given[OPTION_SEED] != NULL))
        audit_say(sink, "--pick takes the claims of a file, so --size, --interval, --by and --seed have no "
                        "place; leave them out");
    else if (interval && (!by_money || size))
        audit_say(sink, "--interval is for --by money, instead of --size; leave one out");
    else if (picked)
        return true;
    else if (interval)
        return audit_read_amount(run->options, OPTION_INTERVAL, "interval", sink, &run->request.interval_cents);
    else
        return audit_read_count(run->options, OPTION_SIZE, "size", INT32_MAX, sink, &run->request.size);
    return false;
}

static bool read_words(struct draw_run *run)
{
    struct draw_request *request = &run->request;
    struct diag_sink *sink = &run->desk.desk.sink;
    const char *seed = run->options->given[OPTION_SEED];

    if (!audit_read_text(run->options, OPTION_NAME, "--name is missing; give the sample a name", sink,
                         &request->name))
        return false;
    if (!sample_name_is_one(request->name)) {
        audit_say(sink, "--name is none; write at most 64 letters, digits, . _ -");
        return false;
    }
    if (!audit_read_text(
            run->options, OPTION_BECAUSE,
            "--because is missing; say why these claims were selected for an audit (in some places the dealer "
            "must be told)",
            sink, &request->because))
        return false;
    if (seed == NULL) {
        generator_new_seed(run->seed);
        request->seed = text_of(run->seed);
        return true;
    }
    return audit_read_text(run->options, OPTION_SEED, "--seed is empty; write any text, or leave it out", sink,
                           &request->seed);
}

static bool read_request(struct draw_run *run)
{
    run->request.filter = audit_filter(run->options, &run->desk.desk.arena);
    run->request.drawn_on = run->options->today;
    run->request.recorded_at = cli_clock(run->now);
    return read_words(run) && read_by(run) && read_bounds(run) && read_size(run);
}

/* --- Claims picked by hand --------------------------------------------------------------------------- */

static int read_pick(void *context, const struct sheet *sheet)
{
    struct draw_run *run = context;
    struct picked_claim *pick = chunks_add(&run->picks);

    if (pick == NULL)
        return WM_NO_MEMORY;
    *pick = (struct picked_claim){sheet_cell(sheet, 0), sheet_cell(sheet, 1), sheet_place(sheet, 1)};
    return WM_OK;
}

static int read_picks(struct draw_run *run)
{
    static const struct csv_column COLUMNS[] = {{"dealer", true}, {"claim", true}};
    const char *file = run->options->given[OPTION_PICK];
    struct desk *desk = &run->desk.desk;
    int status = file_read(file, LIMIT_RULES_FILE_BYTES, &run->picks_csv, &desk->sink);

    if (status == WM_OK)
        status = sheet_read(&desk->arena, text_of(file), buffer_text(&run->picks_csv), COLUMNS, 2, read_pick,
                            run, &desk->sink);
    if (status == WM_OK && run->picks.count == 0) {
        diag_error(&desk->sink, (struct place){text_of(file), 0, 0},
                   "no claim is picked; write dealer,claim for each");
        status = WM_BAD_INPUT;
    }
    struct picked_claim *picks = ARENA_ARRAY(&desk->arena, struct picked_claim, run->picks.count);
    for (uint32_t i = 0; picks != NULL && i < run->picks.count; i++)
        picks[i] = *(const struct picked_claim *)chunks_at(&run->picks, i);
    run->request.picks = picks;
    run->request.pick_count = run->picks.count;
    return status == WM_OK && picks == NULL ? WM_NO_MEMORY : status;
}

/* --- Drawing ----------------------------------------------------------------------------------------- */

static int write_sheet(struct draw_run *run)
{
    struct desk *desk = &run->desk.desk;
    struct judgement *none = ARENA_ARRAY(&desk->arena, struct judgement, run->sample.item_count);
    int status = none == NULL ? WM_NO_MEMORY : output_open(&run->out, run->options->out, &desk->sink);

    run->out_open = status == WM_OK;
    for (uint32_t i = 0; none != NULL && i < run->sample.item_count; i++)
        none[i] = (struct judgement){.judgement = TEXT(""), .note = TEXT("")};
    if (status == WM_OK)
        status = sample_sheet_write(desk, &run->sample, none, &run->sheet);
    if (status == WM_OK) {
        uint64_t written;
        output_add(&run->out, run->sheet.bytes, run->sheet.length);
        status = output_settle(&run->out, &desk->sink, &written);
    }
    return status;
}

static int draw(struct draw_run *run)
{
    struct audit_desk *desk = &run->desk;
    int status = run->options->given[OPTION_PICK] != NULL ? read_picks(run) : WM_OK;

    if (status == WM_OK)
        status = audit_desk_open(desk, run->options, true);
    if (status == WM_OK)
        status = sample_draw(desk->desk.office, desk->look_back, &run->request, &desk->desk.arena,
                             &desk->desk.sink, &run->sample);
    if (status == WM_OK && run->options->out != NULL)
        status = write_sheet(run);
    return status == WM_OK ? audit_desk_commit(desk) : status;
}

/* The draw is recorded, which a worksheet that cannot have its name changes nothing of: it may be written later. */
static void name_sheet(struct draw_run *run)
{
    struct diag_sink recorded = cli_recorded(&run->desk.desk.sink);

    run->out_open = run->out_open && output_close(&run->out, &recorded) == WM_OK;
}

static int say(struct draw_run *run)
{
    if (run->options->quiet)
        return EXIT_DONE;
    sample_describe(&run->sample, &run->words);
    if (run->out_open)
        buffer_format(&run->words,
                      "worksheet: %s; fill in judgement (upheld, error, missing) and right_amount, then "
                      "`witnessmark sample record %.*s FILE`\n",
                      run->options->out, TEXT_ARGUMENTS(run->sample.name));
    else
        buffer_format(&run->words, "`witnessmark sample redraw %.*s --out FILE` writes the worksheet\n",
                      TEXT_ARGUMENTS(run->sample.name));
    return cli_say_recorded(&run->words, &run->desk.desk.sink);
}

static int run_draw(const struct options *options)
{
    struct draw_run *run = calloc(1, sizeof *run);
    int code = EXIT_UNUSABLE;

    if (run == NULL || sodium_init() < 0) {
        free(run);
        return cli_exit(WM_NO_MEMORY);
    }
    run->options = options;
    run->picks = CHUNKS_OF(struct picked_claim);
    run->desk.desk.sink = cli_diagnostics();
    if (read_request(run)) {
        code = cli_exit(draw(run));
        if (code == EXIT_DONE) {
            name_sheet(run);
            code = say(run);
        } else if (run->out_open) {
            output_drop(&run->out);
        }
    }
    chunks_free(&run->picks);
    buffer_free(&run->picks_csv);
    buffer_free(&run->sheet);
    buffer_free(&run->words);
    audit_desk_close(&run->desk);
    free(run);
    return code;
}

const struct command COMMAND_SAMPLE_DRAW = {
    .name = "sample draw",
    .arguments = "--name NAME --because TEXT --size N [--by dealer|campaign|stratum|money] [filters]",
    .summary = "draws a sample of paid claims, records how, and writes the worksheet of the visit",
    .details = "The frame is every claim that fits the filters, is paid, and was paid within the days that its "
               "dealer's region\n"
               "allows an audit to look back (rules/deadlines.csv, audit_within_days), counted from payment to "
               "--today; local\n"
               "law and counsel decide whether that is how to count. Drawn are --size claims at random; --by "
               "dealer, campaign\n"
               "or stratum (--bounds) in strata; --by money with a chance in proportion to what was paid.\n"
               "--out FILE writes the worksheet.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_NAME) |
               OPTION_BIT(OPTION_BECAUSE) | OPTION_BIT(OPTION_SIZE) | OPTION_BIT(OPTION_BY) |
               OPTION_BIT(OPTION_BOUNDS) | OPTION_BIT(OPTION_ALLOCATE) | OPTION_BIT(OPTION_INTERVAL) |
               OPTION_BIT(OPTION_SEED) | OPTION_BIT(OPTION_PICK) | OPTION_BIT(OPTION_DEALER) |
               OPTION_BIT(OPTION_CAMPAIGN) | OPTION_BIT(OPTION_VIN) | OPTION_BIT(OPTION_FINDING) |
               OPTION_BIT(OPTION_EFFECT) | OPTION_BIT(OPTION_SINCE) | OPTION_BIT(OPTION_UNTIL),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_draw,
};
