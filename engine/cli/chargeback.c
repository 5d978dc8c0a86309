#include <errno.h>
#include <inttypes.h>
#include <string.h>
#include <sys/stat.h>

#include "audit/charging.h"
#include "audit/letter.h"
#include "base/status.h"
#include "cli/audit_desk.h"
#include "cli/decisions.h"
#include "cli/replies.h"

struct charging {
    const struct options *options;
    struct audit_desk desk;
    struct charge_request request;
    int64_t confidence;
    struct sample sample;
    struct judgement *judgements;
    struct evaluation evaluation;
    struct charge_plan plan;
    struct buffer words;
    uint32_t recorded;
    char now[CLOCK_ROOM];
};

/* --- What was asked for ------------------------------------------------------------------------------ */

static bool read_notified(struct charging *charging)
{
    const char *word = charging->options->given[OPTION_NOTIFIED];

    charging->request.notified_on = DAY_NONE;
    if (word == NULL || date_read(text_of(word), &charging->request.notified_on))
        return true;
    diag_error(&charging->desk.desk.sink, (struct place){{NULL, 0}, 0, 0},
               "--notified \"%s\" is not a date; write it as 2026-03-01", word);
    return false;
}

static bool read_request(struct charging *charging)
{
    const struct options *options = charging->options;
    struct charge_request *request = &charging->request;
    struct diag_sink *sink = &charging->desk.desk.sink;

    request->extrapolate = options->given[OPTION_EXTRAPOLATE] != NULL;
    request->draft = options->given[OPTION_DRAFT] != NULL;
    request->decided_on = options->today;
    request->recorded_at = cli_clock(charging->now);
    if (options->given[OPTION_CONFIDENCE] != NULL && !request->extrapolate) {
        audit_say(sink, "--confidence is for --extrapolate; say that too, or leave it out");
        return false;
    }
    if (!read_notified(charging) ||
        !audit_read_percent(options, OPTION_CONFIDENCE, "confidence", "90", sink, &charging->confidence))
        return false;
    return request->draft ||
           (audit_read_text(options, OPTION_BY,
                            "--by is missing; say who decides (or --draft, which records nothing)", sink,
                            &request->decided_by) &&
            audit_read_text(options, OPTION_REASON, "--reason is missing; say why", sink, &request->reason));
}

/* --- Letters ----------------------------------------------------------------------------------------- */

static int write_letter(struct charging *charging, const struct charge *charge)
{
    const char *folder = charging->options->given[OPTION_LETTERS];
    struct diag_sink *sink = &charging->desk.desk.sink;
    struct buffer path = BUFFER_EMPTY, letter = BUFFER_EMPTY;
    struct output out;

    buffer_format(&path, "%s/%.*s-", folder, TEXT_ARGUMENTS(charging->sample.name));
    replies_add_file_name(&path, charge->dealer);
    buffer_add(&path, ".txt", sizeof ".txt");
    letter_write(&charging->plan, charge, &letter);
    int status = path.failed || letter.failed ? WM_NO_MEMORY : output_open(&out, path.bytes, sink);
    if (status == WM_OK) {
        output_add(&out, letter.bytes, letter.length);
        status = output_close(&out, sink);
    }
    buffer_free(&path);
    buffer_free(&letter);
    return status;
}

/* Before anything is recorded, so that a full disk leaves no chargeback without its letter. */
static int write_letters(struct charging *charging)
{
    const char *folder = charging->options->given[OPTION_LETTERS];
    int status = WM_OK;

    if (folder == NULL)
        return WM_OK;
    if (mkdir(folder, 0777) != 0 && errno != EEXIST) {
        diag_error(&charging->desk.desk.sink, (struct place){text_of(folder), 0, 0},
                   "the folder for letters cannot be made: %s", strerror(errno));
        return WM_IO;
    }
    for (uint32_t i = 0; i < charging->plan.count && status == WM_OK; i++)
        status = write_letter(charging, &charging->plan.charges[i]);
    return status;
}

/* --- In sentences ------------------------------------------------------------------------------------ */

static void say_charge(struct charging *charging, const struct charge *charge)
{
    struct buffer *words = &charging->words;

    buffer_format(words, "dealer %.*s: ", TEXT_ARGUMENTS(charge->dealer));
    buffer_add_money(words, charge_cents(charge));
    buffer_add_string(words, charge_cents(charge) < 0 ? " (given back)" : "");
    if (charging->request.extrapolate) {
        buffer_add_string(words, ", of it ");
        buffer_add_money(words, charge->items_cents);
        buffer_add_string(words, " on sampled claims and ");
        buffer_add_money(words, charge->beyond_cents);
        buffer_add_string(words, " for the rest of the frame\n  ");
        buffer_add_wrapped(words, charge->basis, 2, 80);
    }
    buffer_add_byte(words, '\n');
    for (uint32_t i = 0; i < charge->count; i++) {
        const struct charged_claim *claim = &charge->claims[i];
        buffer_format(words, "  %.*s  ", TEXT_ARGUMENTS(claim->claim));
        buffer_add_money(words, claim->cents);
        buffer_format(words, "  %.*s\n", TEXT_ARGUMENTS(claim->why));
    }
    if (charge->older_count > 0)
        buffer_format(
            words,
            "  older than the region's look-back, if it is counted to today: %u of these claims; it was "
            "counted to the day of the draw, and counsel decides which day counts\n",
            charge->older_count);
}

static int say(struct charging *charging)
{
    struct buffer *words = &charging->words;

    if (charging->options->quiet)
        return EXIT_DONE;
    for (uint32_t i = 0; i < charging->plan.count; i++)
        say_charge(charging, &charging->plan.charges[i]);
    if (charging->request.draft)
        buffer_add_string(words, "draft: nothing was recorded\n");
    else if (charging->recorded == 0)
        buffer_add_string(words, "there is nothing to charge back; nothing was recorded\n");
    else
        buffer_format(words, "%u chargeback%s recorded\n", charging->recorded,
                      charging->recorded == 1 ? "" : "s");
    buffer_add_string(words, "Local law and the office's own counsel decide what may be charged back.\n");
    return audit_print(words, &charging->desk.desk.sink, EXIT_DONE);
}

/* --- All of it --------------------------------------------------------------------------------------- */

static int plan(struct charging *charging)
{
    struct audit_desk *desk = &charging->desk;
    int status = audit_desk_open(desk, charging->options, !charging->request.draft);

    if (status == WM_OK)
        status = audit_desk_sample(&desk->desk, charging->options->arguments[0], &charging->sample,
                                   &charging->judgements);
    if (status == WM_OK && charging->options->today < charging->sample.drawn_on) {
        audit_say(&desk->desk.sink, "--today lies before the day on which the sample was drawn; correct it");
        status = WM_BAD_INPUT;
    }
    if (status == WM_OK)
        status = evaluate_sample(&charging->sample, charging->judgements, charging->confidence,
                                 &desk->desk.arena, &charging->evaluation);
    return status == WM_OK ? charge_plan_make(desk->desk.office, desk->look_back, &charging->sample,
                                              charging->judgements, &charging->evaluation, &charging->request,
                                              &desk->desk.arena, &desk->desk.sink, &charging->plan)
                           : status;
}

static int charge(struct charging *charging)
{
    struct audit_desk *desk = &charging->desk;
    int status = plan(charging);

    if (status == WM_OK)
        status = write_letters(charging);
    if (charging->request.draft)
        return desk_end_reading(&desk->desk, status);
    if (status == WM_OK)
        status = charge_plan_record(desk->desk.office, &charging->plan, &desk->desk.arena, &charging->recorded);
    return status == WM_OK ? audit_desk_commit(desk) : status;
}

static int run_chargeback(const struct options *options)
{
    struct charging charging = {.options = options};
    int code = EXIT_UNUSABLE;

    charging.desk.desk.sink = cli_diagnostics();
    if (read_request(&charging)) {
        code = cli_exit(charge(&charging));
        if (code == EXIT_DONE)
            code = say(&charging);
    }
    buffer_free(&charging.words);
    audit_desk_close(&charging.desk);
    return code;
}

const struct command COMMAND_CHARGEBACK = {
    .name = "chargeback",
    .arguments = "NAME --by WHO --reason TEXT [--extrapolate] [--notified DATE]",
    .summary = "takes back what an audit found to be paid too much, with a new record and a draft letter",
    .details = "Claim by claim, or with --extrapolate the lower limit of the evaluation. Of no claim more is "
               "taken back than\n"
               "is still paid on it; after a correction the difference is taken or given back. Where "
               "rules/deadlines.csv has\n"
               "chargeback_notice_days for the dealer's region, --notified must lie so many days back: --draft "
               "--letters DIR\n"
               "writes the letter and records nothing. Local law and counsel decide.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_BY) | OPTION_BIT(OPTION_REASON) |
               OPTION_BIT(OPTION_EXTRAPOLATE) | OPTION_BIT(OPTION_CONFIDENCE) | OPTION_BIT(OPTION_DRAFT) |
               OPTION_BIT(OPTION_LETTERS) | OPTION_BIT(OPTION_NOTIFIED),
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_chargeback,
};
