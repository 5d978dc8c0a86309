#include <stdio.h>
#include <string.h>
#include <time.h>

#include "base/shown.h"
#include "base/status.h"
#include "cli/command.h"
#include "cli/decisions.h"
#include "ledger/office_decisions.h"

static struct place nowhere(void)
{
    return (struct place){{NULL, 0}, 0, 0};
}

bool cli_claim_name(const char *word, struct text *ret_dealer, struct text *ret_claim)
{
    return text_cut(text_of(word), '/', ret_dealer, ret_claim) && ret_dealer->length > 0 && ret_claim->length > 0;
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
    if (!cli_claim_name(options->arguments[0], &request->dealer, &request->claim))
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
    .details = "",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_BY) | OPTION_BIT(OPTION_REASON),
    .least_arguments = 2,
    .most_arguments = 2,
    .run = run_decide,
};
