#include <inttypes.h>
#include <string.h>

#include "base/sheet.h"
#include "base/status.h"
#include "base/limits.h"
#include "cli/audit_desk.h"
#include "statistics/allocation.h"
#include "statistics/rates.h"
#include "statistics/rounding.h"
#include "statistics/units.h"

enum { MILLION = 1000000, MOST_CLAIMS = 1000000000, TEXT_WIDTH = 80 };

struct sizing {
    const struct options *options;
    struct diag_sink sink;
    struct arena arena;
    struct buffer words;
};

static void add_percent(struct buffer *words, int64_t millionths)
{
    char room[DECIMAL_ROOM];

    decimal_write(millionths * 100, room);
    buffer_format(words, "%s %%", room);
}

/* --- A rate ------------------------------------------------------------------------------------------ */

static void say_rate(struct sizing *sizing, int64_t risk, int64_t tolerable, int64_t expected,
                     const struct rate_sample *sample)
{
    struct buffer *words = &sizing->words;

    buffer_format(words,
                  "Look at %" PRIu64 " claims. If no more than %" PRIu64
                  " of them %s wrong, the rate is no higher "
                  "than ",
                  sample->size, sample->allowed, sample->allowed == 1 ? "is" : "are");
    add_percent(words, tolerable);
    buffer_add_string(words, ", with a risk of ");
    add_percent(words, risk);
    buffer_add_string(words, " of being wrong in saying so (expected rate: ");
    add_percent(words, expected);
    buffer_add_string(
        words,
        ").\nFormula: the smallest n with a k such that n x expected <= k and Binom(k; n, tolerable) <= risk; "
        "exact.\nSource: AICPA, Audit Sampling, Tables A-1 and A-2.\n");
}

static bool size_rate(struct sizing *sizing)
{
    int64_t risk, tolerable, expected = 0;
    struct rate_sample sample;
    const char *none = sizing->options->given[OPTION_EXPECTED];
    bool any = none != NULL && strcmp(none, "0") != 0;

    if (!audit_read_percent(sizing->options, OPTION_RISK, "risk", "5", &sizing->sink, &risk) ||
        !audit_read_percent(sizing->options, OPTION_TOLERABLE, "tolerable", NULL, &sizing->sink, &tolerable) ||
        (any &&
         !audit_read_percent(sizing->options, OPTION_EXPECTED, "expected", NULL, &sizing->sink, &expected)))
        return false;
    if (expected >= tolerable) {
        audit_say(&sizing->sink,
                  "--expected is not below --tolerable: no sample can show that a rate is lower than what is "
                  "expected; raise what is tolerable");
        return false;
    }
    if (!rate_sample_size(risk, tolerable, expected, &sample)) {
        audit_say(&sizing->sink,
                  "it would take more than 100000 claims; what is expected is too close to what is tolerable");
        return false;
    }
    say_rate(sizing, risk, tolerable, expected, &sample);
    return true;
}

/* --- Finding one ------------------------------------------------------------------------------------- */

static bool size_finding(struct sizing *sizing)
{
    int64_t risk, population, errors;

    if (!audit_read_percent(sizing->options, OPTION_RISK, "risk", "5", &sizing->sink, &risk) ||
        !audit_read_count(sizing->options, OPTION_POPULATION, "population", MOST_CLAIMS, &sizing->sink,
                          &population) ||
        !audit_read_count(sizing->options, OPTION_ERRORS, "errors", MOST_CLAIMS, &sizing->sink, &errors))
        return false;
    if (errors > population) {
        audit_say(&sizing->sink,
                  "--errors is more than --population; there are no more wrong claims than claims");
        return false;
    }
    uint32_t size = finding_sample_size((uint32_t)population, (uint32_t)errors, share_of(risk));
    buffer_format(&sizing->words,
                  "Look at %" PRIu32 " of %" PRId64 " claims. If %" PRId64
                  " of all are wrong, the sample holds at least one of "
                  "them but for a risk of ",
                  size, population, errors);
    add_percent(&sizing->words, risk);
    buffer_add_string(&sizing->words, ".\nFormula: the smallest n with C(N - D, n) / C(N, n) <= risk, drawn "
                                      "without replacement.\nSource: the "
                                      "hypergeometric distribution.\n");
    return true;
}

/* --- Money ------------------------------------------------------------------------------------------- */

static bool size_money(struct sizing *sizing)
{
    int64_t risk, population, tolerable, expected = 0;
    const char *none = sizing->options->given[OPTION_EXPECTED];
    bool any = none != NULL && strcmp(none, "0") != 0;

    if (!audit_read_percent(sizing->options, OPTION_RISK, "risk", "5", &sizing->sink, &risk) ||
        !audit_read_amount(sizing->options, OPTION_POPULATION, "population", &sizing->sink, &population) ||
        !audit_read_amount(sizing->options, OPTION_TOLERABLE, "tolerable", &sizing->sink, &tolerable) ||
        (any &&
         !audit_read_count(sizing->options, OPTION_EXPECTED, "expected", 1000, &sizing->sink, &expected)))
        return false;
    int64_t factor = confidence_factor_hundredths((uint32_t)expected, share_of(risk));
    int64_t interval = money_interval_cents(tolerable, (uint32_t)expected, share_of(risk));
    if (interval == 0) {
        audit_say(&sizing->sink, "--tolerable is less than a cent to the claim; raise it");
        return false;
    }
    buffer_format(&sizing->words, "Look at about %" PRId64 " claims, drawn by money with an interval of ",
                  population / interval + (population % interval != 0));
    buffer_add_money(&sizing->words, interval);
    buffer_format(&sizing->words, " (`sample draw --by money --interval ");
    buffer_add_money(&sizing->words, interval);
    buffer_format(&sizing->words, "`). If no more than %" PRId64 " whole error%s found, no more than ",
                  expected, expected == 1 ? " is" : "s are");
    buffer_add_money(&sizing->words, tolerable);
    buffer_add_string(&sizing->words, " was paid too much, but for a risk of ");
    add_percent(&sizing->words, risk);
    buffer_add_string(&sizing->words, ".\nFormula: interval = tolerable / confidence factor, which is ");
    buffer_add_money(&sizing->words, factor);
    buffer_add_string(&sizing->words,
                      "; the factor is the upper Poisson limit, rounded up to two places.\nSource: AICPA, "
                      "Audit Sampling, money-unit sampling.\n");
    return true;
}

/* --- Strata ------------------------------------------------------------------------------------------ */

enum { STRATA_MOST = 1000 };
enum strata_column { STRATUM, CLAIMS, DEVIATION, STRATA_COLUMNS };

struct strata_read {
    struct text names[STRATA_MOST];
    struct stratum_spread strata[STRATA_MOST];
    uint64_t sizes[STRATA_MOST];
    uint32_t count;
};

static int read_stratum(void *context, const struct sheet *sheet)
{
    struct strata_read *read = context;
    int64_t claims, deviation;

    if (decimal_read(sheet_cell(sheet, CLAIMS), 0, &claims) != NUMBER_OK || claims <= 0)
        diag_error(sheet->sink, sheet_place(sheet, CLAIMS), "\"%.*s\" is no number of claims; write it as 155",
                   TEXT_ARGUMENTS(sheet_cell(sheet, CLAIMS)));
    else if (decimal_read(sheet_cell(sheet, DEVIATION), 6, &deviation) != NUMBER_OK || deviation < 0)
        diag_error(sheet->sink, sheet_place(sheet, DEVIATION),
                   "\"%.*s\" is no standard deviation; write an amount as 12.50",
                   TEXT_ARGUMENTS(sheet_cell(sheet, DEVIATION)));
    else if (read->count == STRATA_MOST)
        diag_error(sheet->sink, sheet_place(sheet, STRATUM), "more than %d strata; join some", STRATA_MOST);
    else {
        read->names[read->count] = sheet_cell(sheet, STRATUM);
        read->strata[read->count++] =
            (struct stratum_spread){(uint64_t)(claims / DECIMAL_ONE), share_of(deviation)};
    }
    return WM_OK;
}

static void say_strata(struct sizing *sizing, const struct strata_read *read, uint64_t size)
{
    struct buffer *words = &sizing->words;

    buffer_format(words, "Look at %" PRIu64 " claims, shared out as\n", size);
    for (uint32_t i = 0; i < read->count; i++)
        buffer_format(words, "  %-20.*s %6" PRIu64 " of %" PRIu64 "\n", TEXT_ARGUMENTS(read->names[i]),
                      read->sizes[i], read->strata[i].population);
    buffer_format(
        words,
        "Then the mean of a claim lies within %s of the true mean in about 95 draws of a hundred (two standard "
        "errors).\nFormula: n = (sum N s)^2 / (N^2 bound^2 / 4 + sum N s^2), each stratum in proportion to N "
        "s.\n"
        "Source: Neyman, JRSS 97 (1934) 558; Scheaffer et al., Elementary Survey Sampling.\n",
        sizing->options->given[OPTION_BOUND]);
}

static bool size_strata(struct sizing *sizing)
{
    static const struct csv_column COLUMNS[STRATA_COLUMNS] = {
        {"stratum", true}, {"claims", true}, {"deviation", true}};
    struct strata_read *read = ARENA_NEW(&sizing->arena, struct strata_read);
    struct buffer csv = BUFFER_EMPTY;
    int64_t bound;

    if (read == NULL || !audit_read_amount(sizing->options, OPTION_BOUND, "bound", &sizing->sink, &bound))
        return false;
    if (sizing->options->argument_count < 2) {
        audit_say(&sizing->sink, "name the file of strata, a CSV with stratum,claims,deviation");
        return false;
    }
    int status = file_read(sizing->options->arguments[1], LIMIT_RULES_FILE_BYTES, &csv, &sizing->sink);
    if (status == WM_OK)
        status = sheet_read(&sizing->arena, text_of(sizing->options->arguments[1]), buffer_text(&csv), COLUMNS,
                            STRATA_COLUMNS, read_stratum, read, &sizing->sink);
    if (status == WM_OK && read->count == 0) {
        audit_say(&sizing->sink, "the file has no stratum; write a row for each");
        status = WM_BAD_INPUT;
    }
    if (status == WM_OK)
        say_strata(sizing, read,
                   neyman_size(read->strata, read->count, share_of(bound * DECIMAL_CENT), read->sizes));
    buffer_free(&csv);
    return status == WM_OK;
}

/* Wraps each line, but those of a list. */
static int print(struct sizing *sizing)
{
    struct buffer wrapped = BUFFER_EMPTY;
    struct text rest = buffer_text(&sizing->words), line;

    while (text_cut(rest, '\n', &line, &rest)) {
        if (line.bytes[0] == ' ') /* behind an empty line its end stands */
            buffer_add_text(&wrapped, line);
        else
            buffer_add_wrapped(&wrapped, line, 0, TEXT_WIDTH);
        buffer_add_byte(&wrapped, '\n');
    }
    wrapped.failed = wrapped.failed || sizing->words.failed;
    int code = audit_print(&wrapped, &sizing->sink, EXIT_DONE);
    buffer_free(&wrapped);
    return code;
}

static int run_size(const struct options *options)
{
    static const struct {
        const char *name;
        bool (*size)(struct sizing *sizing);
    } KINDS[] = {
        {"rate", size_rate}, {"finding", size_finding}, {"money", size_money}, {"strata", size_strata}};
    struct sizing sizing = {.options = options, .sink = cli_diagnostics()};
    int code = EXIT_UNUSABLE;
    bool known = false;

    for (size_t i = 0; i < sizeof KINDS / sizeof KINDS[0]; i++)
        if (strcmp(options->arguments[0], KINDS[i].name) == 0) {
            known = true;
            code = KINDS[i].size(&sizing) ? print(&sizing) : cli_exit(WM_NO_MEMORY); /* if nothing else was said */
        }
    if (!known)
        diag_error(&sizing.sink, (struct place){{NULL, 0}, 0, 0},
                   "\"%s\" is no kind of sample; write rate, finding, money or strata", options->arguments[0]);
    buffer_free(&sizing.words);
    arena_free(&sizing.arena);
    return code;
}

const struct command COMMAND_SAMPLE_SIZE = {
    .name = "sample size",
    .arguments = "rate|finding|money|strata [FILE]",
    .summary = "how many claims an audit must look at, with the formula and its source",
    .details = "rate     shows that no more than --tolerable percent of claims are wrong, where --expected "
               "percent are\n"
               "finding  holds at least one of --errors wrong claims among --population\n"
               "money    shows that no more than --tolerable was paid too much of --population; --expected "
               "whole errors\n"
               "strata   FILE has stratum,claims,deviation; the mean lies within --bound of the true one\n",
    .options = OPTION_BIT(OPTION_RISK) | OPTION_BIT(OPTION_TOLERABLE) | OPTION_BIT(OPTION_EXPECTED) |
               OPTION_BIT(OPTION_POPULATION) | OPTION_BIT(OPTION_ERRORS) | OPTION_BIT(OPTION_BOUND),
    .least_arguments = 1,
    .most_arguments = 2,
    .run = run_size,
};
