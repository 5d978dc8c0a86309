#include <stdio.h>
#include <string.h>
#include <time.h>

#include "base/shown.h"
#include "base/status.h"
#include "cli/command.h"
#include "cli/decisions.h"
#include "ledger/claim_name.h"
#include "ledger/office_decisions.h"

static struct place nowhere(void)
{
    return (struct place){{NULL, 0}, 0, 0};
}

/* The words that a decision must have. */
static bool read_request(const struct options *options, const char *action, struct decision_request *request,
                         struct diag_sink *sink)
{
    const char *by = options->given[OPTION_BY], *reason = options->given[OPTION_REASON];

    request->action = text_of(action);
    request->decided_by = text_trim(text_of(by));
    request->reason = text_trim(text_of(reason));
    request->decided_on = options->today;
    if (!claim_name_is_whole(text_of(options->arguments[0])))
        diag_error(sink, nowhere(), "\"%s\" names no claim; write DEALER/CLAIM", options->arguments[0]);
    else if (request->decided_by.length == 0)
        diag_error(sink, nowhere(), "--by is missing; say who decides");
    else if (request->reason.length == 0)
        diag_error(sink, nowhere(), "--reason is missing; say why");
    else if (!text_is_utf8(request->decided_by) || !text_is_utf8(request->reason))
        diag_error(sink, nowhere(), "--by and --reason must be UTF-8 text; write them anew");
    else
        return true;
    return false;
}

static int say_result(const struct decision_request *request, const struct decision_result *result,
                      const struct options *options, struct diag_sink *sink)
{
    struct buffer words = BUFFER_EMPTY;

    if (options->quiet)
        return EXIT_DONE;
    buffer_say(&words, "%.*s/%.*s revision %lld: %.*s by %.*s", TEXT_ARGUMENTS(request->dealer),
                  TEXT_ARGUMENTS(request->claim), (long long)result->revision, TEXT_ARGUMENTS(request->action),
                  TEXT_ARGUMENTS(request->decided_by));
    buffer_add_string(&words, ", due ");
    buffer_add_money(&words, result->decision.due_cents);
    buffer_add_string(&words, ", paid on the claim from now on ");
    buffer_add_money(&words, result->paid_cents);
    buffer_add_byte(&words, '\n');
    return cli_say_recorded(&words, sink);
}

/* Which claim is meant; one that is not recorded is reported by who decides. */
static int name_claim(struct office *office, const struct options *options, struct decision_request *request,
                      struct diag_sink *sink)
{
    struct ledger_reader *reader = NULL;
    struct claim_named named;
    int status = office_begin_read(office);

    if (status == WM_OK)
        status = ledger_reader_open(office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader);
    if (status == WM_OK)
        status = ledger_claim_named(reader, text_of(options->arguments[0]),
                                    text_of(options->given[OPTION_DEALER]), sink, &named);
    ledger_reader_close(reader);
    office_rollback(office);
    if (status == WM_OK) {
        request->dealer = named.dealer;
        request->claim = named.claim;
    }
    return status;
}

int cli_decide(const struct options *options, const char *action)
{
    struct diag_sink sink = cli_diagnostics();
    struct decision_request request;
    struct decision_result result;
    struct office *office = NULL;
    char now[CLOCK_ROOM];

    if (!read_request(options, action, &request, &sink))
        return EXIT_UNUSABLE;
    request.recorded_at = cli_clock(now);
    int status = office_open(options->office, OFFICE_CHANGE, &sink, &office);
    if (status == WM_OK)
        status = name_claim(office, options, &request, &sink);
    if (status == WM_OK)
        status = office_decide(office, &request, &sink, &result);
    office_close(office);
    return status == WM_OK ? say_result(&request, &result, options, &sink) : cli_exit(status);
}

struct text cli_clock(char room[CLOCK_ROOM])
{
    time_t now = time(NULL);
    struct tm utc;

    gmtime_r(&now, &utc);
    return (struct text){room, strftime(room, CLOCK_ROOM, "%Y-%m-%dT%H:%M:%SZ", &utc)};
}

static int run_decide(const struct options *options)
{
    struct diag_sink sink = cli_diagnostics();
    const char *action = options->arguments[1];

    if (strcmp(action, "pay") == 0 || strcmp(action, "return") == 0 || strcmp(action, "refuse") == 0)
        return cli_decide(options, action);
    diag_error(&sink, nowhere(), "\"%s\" is no decision; write pay, return or refuse", action);
    return EXIT_UNUSABLE;
}

const struct command COMMAND_DECIDE = {
    .name = "decide",
    .arguments = "DEALER/CLAIM pay|return|refuse --by WHO --reason TEXT",
    .summary = "decides a held claim, over the engine's decision, which stays to be read",
    .details = "Where a code holds a slash, so that DEALER/CLAIM has two meanings, --dealer says which.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_BY) | OPTION_BIT(OPTION_REASON) |
               OPTION_BIT(OPTION_DEALER),
    .least_arguments = 2,
    .most_arguments = 2,
    .run = run_decide,
};
