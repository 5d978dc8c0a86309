#include <inttypes.h>

#include "audit/judging.h"
#include "base/limits.h"
#include "base/status.h"
#include "cli/audit_desk.h"
#include "cli/decisions.h"

struct recording {
    const struct options *options;
    struct audit_desk desk;
    struct sample sample;
    struct judgement *judgements;
    struct buffer csv, words;
    struct judging judging;
    struct text judged_by;
};

static int write(struct recording *recording)
{
    const struct options *options = recording->options;
    char now[CLOCK_ROOM];
    struct judgement_file file = {.sample = recording->sample.sample,
                                  .file_name = text_of(options->arguments[1]),
                                  .judged_by = recording->judged_by,
                                  .judged_on = options->today,
                                  .recorded_at = cli_clock(now),
                                  .judgements = recording->judging.changed,
                                  .count = recording->judging.changed_count};

    if (file.count == 0)
        return WM_OK;
    bytes_digest(buffer_text(&recording->csv), file.file_digest);
    int status = judgements_write(recording->desk.desk.office, &file);
    return status == WM_OK ? audit_desk_commit(&recording->desk) : status;
}

static int record(struct recording *recording)
{
    const struct options *options = recording->options;
    struct desk *desk = &recording->desk.desk;
    int status = file_read(options->arguments[1], LIMIT_RULES_FILE_BYTES, &recording->csv, &desk->sink);

    if (status == WM_OK)
        status = audit_desk_open(&recording->desk, options, true);
    if (status == WM_OK)
        status = audit_desk_sample(desk, options->arguments[0], &recording->sample, &recording->judgements);
    if (status == WM_OK && options->today < recording->sample.drawn_on) {
        audit_say(&desk->sink, "--today lies before the day on which the sample was drawn; correct it");
        status = WM_BAD_INPUT;
    }
    if (status == WM_OK)
        status = judging_read(&recording->sample, recording->judgements, text_of(options->arguments[1]),
                              buffer_text(&recording->csv), &desk->arena, &desk->sink, &recording->judging);
    return status == WM_OK ? write(recording) : status;
}

static uint32_t open_items(const struct recording *recording)
{
    uint32_t open = 0;

    for (uint32_t i = 0; i < recording->sample.item_count; i++)
        open += recording->judgements[i].judgement.length == 0;
    return open - recording->judging.fresh;
}

static int say(struct recording *recording)
{
    const struct judging *judging = &recording->judging;

    if (recording->options->quiet)
        return EXIT_DONE;
    buffer_format(&recording->words,
                  "%u judged, %u corrected, %u as recorded before, %u lines without a judgement",
                  judging->fresh, judging->corrected, judging->same, judging->empty);
    if (judging->changed_count == 0)
        buffer_add_string(&recording->words, "; nothing new, nothing recorded");
    buffer_format(&recording->words, "\n%u of %u claims of sample %.*s are still to be judged\n",
                  open_items(recording), recording->sample.item_count, TEXT_ARGUMENTS(recording->sample.name));
    return judging->changed_count > 0 ? cli_say_recorded(&recording->words, &recording->desk.desk.sink)
                                      : audit_print(&recording->words, &recording->desk.desk.sink, EXIT_DONE);
}

static int run_record(const struct options *options)
{
    struct recording recording = {.options = options};
    int code = EXIT_UNUSABLE;

    recording.desk.desk.sink = cli_diagnostics();
    if (audit_read_text(options, OPTION_BY, "--by is missing; say who judged", &recording.desk.desk.sink,
                        &recording.judged_by)) {
        code = cli_exit(record(&recording));
        if (code == EXIT_DONE)
            code = say(&recording);
    }
    buffer_free(&recording.csv);
    buffer_free(&recording.words);
    audit_desk_close(&recording.desk);
    return code;
}

const struct command COMMAND_SAMPLE_RECORD = {
    .name = "sample record",
    .arguments = "NAME FILE --by WHO",
    .summary = "records the judgements of a filled worksheet, whole or not at all",
    .details =
        "Each line is upheld, error (with right_amount: what would have been right to pay) or missing "
        "(papers).\n"
        "A line without a judgement is not judged yet. A later file corrects: what differs is appended.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_BY),
    .least_arguments = 2,
    .most_arguments = 2,
    .run = run_record,
};
