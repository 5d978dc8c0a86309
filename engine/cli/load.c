#include <string.h>

#include "base/date.h"
#include "base/shown.h"
#include "base/status.h"
#include "cli/command.h"
#include "ledger/load.h"

static bool kind_from(const char *word, enum office_data *ret_kind)
{
    for (int kind = 0; kind < OFFICE_DATA_KINDS; kind++)
        if (strcmp(word, office_data_name((enum office_data)kind)) == 0) {
            *ret_kind = (enum office_data)kind;
            return true;
        }
    return false;
}

static void write_summary(const struct options *options, enum office_data kind,
                          const struct load_summary *summary, struct buffer *out)
{
    char day[DATE_ROOM];

    buffer_say(out, "%s: %llu row%s of %s: %llu new, %llu changed, %llu as they were", options->arguments[1],
               (unsigned long long)summary->rows, plural(summary->rows), office_data_name(kind),
               (unsigned long long)summary->new_keys, (unsigned long long)summary->changed_keys,
               (unsigned long long)summary->unchanged_keys);
    if (summary->repeated_rows > 0)
        buffer_format(out, ", %llu repeated in the file", (unsigned long long)summary->repeated_rows);
    if (summary->same_file_load > 0) {
        date_write(summary->same_file_on, day);
        buffer_format(out, "; the same file was load %lld of %s", (long long)summary->same_file_load, day);
    }
    buffer_add_byte(out, '\n');
}

static int print_summary(const struct options *options, enum office_data kind,
                         const struct load_summary *summary, struct diag_sink *sink)
{
    struct buffer words = BUFFER_EMPTY;

    if (options->quiet)
        return EXIT_DONE;
    write_summary(options, kind, summary, &words);
    return cli_say_recorded(&words, sink);
}

static int run_load(const struct options *options)
{
    struct diag_sink sink = cli_diagnostics();
    struct office *office = NULL;
    struct load_summary summary;
    enum office_data kind;

    if (!kind_from(options->arguments[0], &kind)) {
        diag_error(&sink, (struct place){{NULL, 0}, 0, 0},
                   "\"%s\" is nothing to load; write vehicles, dealers, shipments, approvals or notices",
                   options->arguments[0]);
        return EXIT_UNUSABLE;
    }
    bool is_new = !office_is_there(options->office);
    int status = is_new ? office_open_new(options->office, &sink, &office)
                        : office_open(options->office, OFFICE_WRITE, &sink, &office);
    if (status == WM_OK)
        status = office_load(office, kind, options->arguments[1], options->today, &sink, &summary);
    if (is_new)
        status = office_close_new(office, status);
    else
        office_close(office);
    return status == WM_OK ? print_summary(options, kind, &summary, &sink) : cli_exit(status);
}

const struct command COMMAND_LOAD = {
    .name = "load",
    .arguments = "vehicles|dealers|shipments|approvals|notices FILE",
    .summary = "takes office data into the office file, which is made if it is not there",
    .details = "A row that changes is a new version; rows that are not in FILE stay as they are. With any error\n"
               "nothing is loaded. notices are what the office says of a campaign and a quarter for the regulator:\n"
               "campaign, quarter (2026-Q1), involved, explanation, notices_sent, estimated, awaiting_repair,\n"
               "unreachable_other, other_reason, removed, disqualified, submitted_on.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_QUIET),
    .least_arguments = 2,
    .most_arguments = 2,
    .run = run_load,
};
