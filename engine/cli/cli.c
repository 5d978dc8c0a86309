#include <errno.h>
#include <getopt.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/date.h"
#include "base/limits.h"
#include "base/status.h"
#include "cli/command.h"
#include "cli/manual.h"
#include "reports/parameters.h"

#ifndef WITNESSMARK_VERSION
#define WITNESSMARK_VERSION "0.1"
#endif

static const struct option_kind OPTION_KINDS[OPTIONS] = {
    [OPTION_OFFICE] = {"office", "FILE", "the office file (default office.db)"},
    [OPTION_RULES] = {"rules", "DIR", "the rules folder (default rules)"},
    [OPTION_TODAY] = {"today", "DATE", "the day to decide on, as 2026-03-01 (default the machine's date)"},
    [OPTION_RECEIVED] = {"received", "DATE", "when the office received the files (default --today)"},
    [OPTION_FORMAT] = {"format", "text|csv|json", "how to print (default text)"},
    [OPTION_OUT] = {"out", "FILE", "where to print (default standard output)"},
    [OPTION_QUIET] = {"quiet", NULL, "no progress, no summary of what was done"},
    [OPTION_THREADS] = {"threads", "N", "threads to use (default one a processor); results are the same"},
    [OPTION_FINDINGS] = {"findings", "FILE", "also write one CSV row a finding to FILE"},
    [OPTION_CAMPAIGN] = {"campaign", "ID", "only this campaign"},
    [OPTION_REPLIES] = {"replies", "DIR", "also write a reply for each dealer into DIR"},
    [OPTION_DEALER] = {"dealer", "CODE", "only this dealer"},
    [OPTION_FINDING] = {"finding", "NAME", "only claims with this finding"},
    [OPTION_EFFECT] = {"effect", "EFFECT", "only findings with this effect"},
    [OPTION_DECISION] = {"decision", "DECISION", "only claims that are now pay, hold, return or refuse"},
    [OPTION_VIN] = {"vin", "VIN", "only this vehicle"},
    [OPTION_SINCE] = {"since", "DATE", "only what was received on this day or later"},
    [OPTION_UNTIL] = {"until", "DATE", "only what was received on this day or earlier"},
    [OPTION_SORT] = {"sort", "payable|date|dealer", "in which order"},
    [OPTION_LIMIT] = {"limit", "N", "at most so many"},
    [OPTION_DUE_WITHIN] = {"due-within", "DAYS", "only held claims whose time to decide ends within so many days"},
    [OPTION_BY] = {"by", "WHO", "who decides; in `sample draw`: dealer, campaign, stratum or money"},
    [OPTION_REASON] = {"reason", "TEXT", "why"},
    [OPTION_HEAD] = {"head", "HASH", "prove that this was the head of the chain once"},
    [OPTION_REPORTS] = {"reports", "DIR", "the folder of reports (default reports)"},
    [OPTION_SECTION] = {"section", "NAME", "only this section"},
    [OPTION_SECONDS] = {"seconds", "N", "how long it may take (default 120)"},
    [OPTION_PLAIN_CELLS] = {"plain-cells", NULL, "in CSV, no apostrophe in front of what could be a formula"},
    [OPTION_AGAIN] = {"again", NULL, "decide every recorded batch afresh and compare"},
    [OPTION_NAME] = {"name", "NAME", "the sample's name: letters, digits, . _ -"},
    [OPTION_BECAUSE] = {"because", "TEXT", "why these claims were selected for an audit; it is kept"},
    [OPTION_SEED] = {"seed", "TEXT", "what the draw begins with (default a new one, which is printed)"},
    [OPTION_SIZE] = {"size", "N", "how many claims to draw"},
    [OPTION_INTERVAL] = {"interval", "AMOUNT", "with --by money: the interval, instead of --size"},
    [OPTION_BOUNDS] = {"bounds", "LIST", "with --by stratum: upper ends of the strata, as 100;500"},
    [OPTION_ALLOCATE] = {"allocate", "HOW", "how strata share the sample: proportional (default) or neyman"},
    [OPTION_PICK] = {"pick", "FILE", "take the claims of a CSV with dealer,claim instead of drawing"},
    [OPTION_CONFIDENCE] = {"confidence", "PERCENT", "of the intervals (default 90)"},
    [OPTION_RISK] = {"risk", "PERCENT", "the risk of trusting a rate or amount that is too high (default 5)"},
    [OPTION_TOLERABLE] = {"tolerable", "N", "what may be wrong: percent of claims; for money an amount"},
    [OPTION_EXPECTED] = {"expected", "N", "what is expected: percent of claims; for money whole errors"},
    [OPTION_POPULATION] = {"population", "N", "how many claims there are; for money what was paid on them"},
    [OPTION_ERRORS] = {"errors", "N", "how many wrong claims there are, of which one is to be found"},
    [OPTION_BOUND] = {"bound", "AMOUNT", "how far the mean may lie from the true one"},
    [OPTION_EXTRAPOLATE] = {"extrapolate", NULL, "take back the lower limit of the evaluation"},
    [OPTION_DRAFT] = {"draft", NULL, "say and write what would follow, and record nothing"},
    [OPTION_LETTERS] = {"letters", "DIR", "write the draft of a letter to each dealer into DIR"},
    [OPTION_NOTIFIED] = {"notified", "DATE", "the day on which the dealer was told what was found"},
    [OPTION_PACK] = {"pack", "FILE", "use the office's pack instead of an office file and rules"},
    [OPTION_TRUST] = {"trust", "KEY", "the office's public key, or its file (default the first one met)"},
    [OPTION_SIGN] = {"sign", "KEY", "the file of the secret key to sign with"},
    [OPTION_WORK] = {"work", "N", "KiB of memory that looking up a vehicle takes (default 256)"},
    [OPTION_VALID_TO] = {"valid-to", "DATE", "the last day on which the pack may be used (default in 30 days)"},
    [OPTION_BASE] = {"base", "PACK", "take the vehicles over from this pack of the same state"},
    [OPTION_LANG] = {"lang", "CODE", "the language to write in, as de (default English)"},
    [OPTION_ONE] = {"one", NULL, "ask for one claim, field by field"},
    [OPTION_SEPARATOR] = {"separator", "CHARACTER", "what separates cells: , or ; or tab (default ,)"},
    [OPTION_FIX] = {"fix", "FILE", "write a copy to FILE in which all that is certain is corrected"},
    [OPTION_FIX_VIN] = {"fix-vin", NULL, "with --fix: also a VIN that has one possible correction"},
};

const struct option_kind *cli_option(enum option_number option)
{
    return &OPTION_KINDS[option];
}

static const char *const FORMAT_NAMES[FORMATS] = {"text", "csv", "json", "html"};

static unsigned formats_of(const struct command *command)
{
    return command->formats != 0 ? command->formats
                                 : FORMAT_BIT(FORMAT_TEXT) | FORMAT_BIT(FORMAT_CSV) | FORMAT_BIT(FORMAT_JSON);
}

const char *cli_format_words(const struct command *command, const char *between, const char *last,
                             char room[FORMAT_ROOM])
{
    unsigned left = formats_of(command);
    size_t length = 0;

    for (int i = 0; i < FORMATS; i++) {
        if ((left & FORMAT_BIT(i)) == 0)
            continue;
        left &= ~FORMAT_BIT(i);
        length += (size_t)snprintf(room + length, FORMAT_ROOM - length, "%s%s",
                                   length == 0 ? ""
                                   : left == 0 ? last
                                               : between,
                                   FORMAT_NAMES[i]);
    }
    return room;
}

/* --- Help --------------------------------------------------------------------------------------------------- */

static void print_usage(FILE *to, const struct command *command)
{
    fprintf(to, "usage: witnessmark %s %s\n%s\n", command->name, command->arguments, command->summary);
    if (command->details[0] != '\0')
        fprintf(to, "\n%s", command->details);
    fprintf(to, "\noptions:\n");
    for (int i = 0; i < OPTIONS; i++) {
        const struct option_kind *kind = &OPTION_KINDS[i];
        char left[64], formats[FORMAT_ROOM];
        if ((command->options & OPTION_BIT(i)) == 0)
            continue;
        const char *argument =
            i == OPTION_FORMAT ? cli_format_words(command, "|", "|", formats) : kind->argument;
        snprintf(left, sizeof left, "--%s%s%s", kind->name, argument ? " " : "", argument ? argument : "");
        fprintf(to, "  %-24s %s\n", left, kind->help);
    }
}

const char CLI_PURPOSE[] = "Validates completion claims of recall campaigns, and keeps the proof.";
const char CLI_EXIT_CODES[] =
    "0 done and nothing found, 1 something was found, 2 input that cannot be used.";

static void print_help(FILE *to)
{
    fprintf(to, "usage: witnessmark COMMAND [OPTION...] [FILE...]\n%s\n\ncommands:\n", CLI_PURPOSE);
    for (int i = 0; COMMANDS[i] != NULL; i++)
        fprintf(to, "  %-14s %s\n", COMMANDS[i]->name, COMMANDS[i]->summary);
    fprintf(to,
            "\n`witnessmark COMMAND --help` tells more; `witnessmark --manual` prints the manual page, and\n"
            "`witnessmark --completion` what lets bash complete commands and options.\n"
            "Exit code: %s\n",
            CLI_EXIT_CODES);
}

/* --- Options ------------------------------------------------------------------------------------------------- */

static int usage_error(const struct command *command, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static int usage_error(const struct command *command, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    fputs("witnessmark: ", stderr);
    vfprintf(stderr, format, arguments);
    va_end(arguments);
    fprintf(stderr, "; see `witnessmark %s%s--help`\n", command != NULL ? command->name : "",
            command != NULL ? " " : "");
    return EXIT_UNUSABLE;
}

static bool read_day(const char *word, int32_t *ret_day)
{
    return date_read(text_of(word), ret_day);
}

static bool read_format(const struct command *command, const char *word, enum format *ret_format)
{
    for (int i = 0; i < FORMATS; i++)
        if (strcmp(word, FORMAT_NAMES[i]) == 0 && (formats_of(command) & FORMAT_BIT(i)) != 0) {
            *ret_format = (enum format)i;
            return true;
        }
    return false;
}

static bool read_threads(const char *word, unsigned *ret_threads)
{
    int64_t number;

    if (decimal_read(text_of(word), 0, &number) != NUMBER_OK || number < DECIMAL_ONE ||
        number > LIMIT_THREADS * DECIMAL_ONE)
        return false;
    *ret_threads = (unsigned)(number / DECIMAL_ONE);
    return true;
}

static bool read_count(const char *word, int64_t *ret_count)
{
    int64_t number;

    if (decimal_read(text_of(word), 0, &number) != NUMBER_OK || number < 0)
        return false;
    *ret_count = number / DECIMAL_ONE;
    return true;
}

static bool read_separator(const char *word, char *ret_separator)
{
    if (strcmp(word, "tab") == 0)
        word = "\t";
    if (word[0] == '\0' || word[1] != '\0' || strchr(",;\t", word[0]) == NULL)
        return false;
    *ret_separator = word[0];
    return true;
}

static int set_option(const struct command *command, struct options *options, int option, const char *word)
{
    char formats[FORMAT_ROOM];

    options->given[option] = word != NULL ? word : "";
    switch ((enum option_number)option) {
    case OPTION_OFFICE:
        options->office = word;
        break;
    case OPTION_RULES: options->rules = word; break;
    case OPTION_OUT: options->out = word; break;
    case OPTION_FINDINGS: options->findings = word; break;
    case OPTION_CAMPAIGN:
        options->campaign = word;
        if (options->campaign_count == MOST_CAMPAIGNS)
            return usage_error(command, "more than %d times --campaign", MOST_CAMPAIGNS);
        options->campaigns[options->campaign_count++] = word;
        break;
    case OPTION_QUIET: options->quiet = true; break;
    case OPTION_AGAIN: options->again = true; break;
    case OPTION_SINCE:
        if (!read_day(word, &options->since))
            return usage_error(command, "--since \"%s\" is not a date; write it as 2026-03-01", word);
        break;
    case OPTION_UNTIL:
        if (!read_day(word, &options->until))
            return usage_error(command, "--until \"%s\" is not a date; write it as 2026-03-01", word);
        break;
    case OPTION_LIMIT:
        if (!read_count(word, &options->limit))
            return usage_error(command, "--limit \"%s\" is no whole number; write it as 50", word);
        break;
    case OPTION_DUE_WITHIN:
        if (!read_count(word, &options->due_within))
            return usage_error(command, "--due-within \"%s\" is no number of days; write it as 7", word);
        break;
    case OPTION_SECONDS:
        if (!read_count(word, &options->seconds) || options->seconds < 1)
            return usage_error(command, "--seconds \"%s\" is no whole number from 1; write it as 300", word);
        break;
    case OPTION_REPORTS:
    case OPTION_SECTION:
    case OPTION_PLAIN_CELLS:
    case OPTION_REPLIES:
    case OPTION_DEALER:
    case OPTION_FINDING:
    case OPTION_EFFECT:
    case OPTION_DECISION:
    case OPTION_VIN:
    case OPTION_SORT:
    case OPTION_BY:
    case OPTION_REASON:
    case OPTION_HEAD:
    case OPTION_NAME:
    case OPTION_BECAUSE:
    case OPTION_SEED:
    case OPTION_SIZE:
    case OPTION_INTERVAL:
    case OPTION_BOUNDS:
    case OPTION_ALLOCATE:
    case OPTION_PICK:
    case OPTION_CONFIDENCE:
    case OPTION_RISK:
    case OPTION_TOLERABLE:
    case OPTION_EXPECTED:
    case OPTION_POPULATION:
    case OPTION_ERRORS:
    case OPTION_BOUND:
    case OPTION_EXTRAPOLATE:
    case OPTION_DRAFT:
    case OPTION_LETTERS:
    case OPTION_NOTIFIED:
    case OPTION_PACK:
    case OPTION_TRUST:
    case OPTION_SIGN:
    case OPTION_BASE:
    case OPTION_LANG:
    case OPTION_ONE:
    case OPTION_FIX:
    case OPTION_FIX_VIN:
    case OPTIONS: break;
    case OPTION_WORK:
        if (!read_count(word, &options->work))
            return usage_error(command, "--work \"%s\" is no whole number; write it as 256", word);
        break;
    case OPTION_VALID_TO:
        if (!read_day(word, &options->valid_to))
            return usage_error(command, "--valid-to \"%s\" is not a date; write it as 2026-03-01", word);
        break;
    case OPTION_SEPARATOR:
        if (!read_separator(word, &options->separator))
            return usage_error(command, "--separator \"%s\" is none; write , or ; or tab", word);
        break;
    case OPTION_TODAY:
        if (!read_day(word, &options->today))
            return usage_error(command, "--today \"%s\" is not a date; write it as 2026-03-01", word);
        break;
    case OPTION_RECEIVED:
        if (!read_day(word, &options->received_on))
            return usage_error(command, "--received \"%s\" is not a date; write it as 2026-03-01", word);
        break;
    case OPTION_FORMAT:
        if (!read_format(command, word, &options->format))
            return usage_error(command, "--format \"%s\" is none; write %s", word,
                               cli_format_words(command, ", ", " or ", formats));
        break;
    case OPTION_THREADS:
        if (!read_threads(word, &options->threads))
            return usage_error(command, "--threads \"%s\" is no number from 1 to 64", word);
        break;
    }
    return EXIT_DONE;
}

/* What getopt_long gives for an option lies beyond every character, of which it keeps some for itself. */
enum { FIRST_OPTION = 256, HELP = OPTIONS, UNKNOWN_OPTION = '?', MISSING_ARGUMENT = ':' };

/* The options that this command understands, for getopt_long. */
static void list_options(const struct command *command, struct option *list)
{
    int n = 0;

    for (int i = 0; i < OPTIONS; i++)
        if (command->options & OPTION_BIT(i))
            list[n++] = (struct option){OPTION_KINDS[i].name,
                                        OPTION_KINDS[i].argument ? required_argument : no_argument, NULL,
                                        FIRST_OPTION + i};
    list[n++] = (struct option){"help", no_argument, NULL, FIRST_OPTION + HELP};
    list[n] = (struct option){NULL, 0, NULL, 0};
}

static unsigned processors(void)
{
    long count = sysconf(_SC_NPROCESSORS_ONLN);
    return count < 1 ? 1 : count > LIMIT_THREADS ? LIMIT_THREADS : (unsigned)count;
}

static bool takes_value(struct text name)
{
    for (int i = 0; i < OPTIONS; i++)
        if (text_is(name, OPTION_KINDS[i].name))
            return OPTION_KINDS[i].argument != NULL;
    return false;
}

static bool is_option_of(const struct command *command, struct text name)
{
    for (int i = 0; i < OPTIONS; i++)
        if ((command->options & OPTION_BIT(i)) && text_is(name, OPTION_KINDS[i].name))
            return true;
    return text_is(name, "help");
}

/* Takes `--name value` and `--name=value` of other names out of the words, so that getopt does not see them. */
static int take_parameters(const struct command *command, int *count, char **words, struct options *options)
{
    int kept = 1, i = 1;

    options->parameters = calloc((size_t)*count, sizeof *options->parameters);
    if (options->parameters == NULL)
        return cli_exit(WM_NO_MEMORY);
    for (; i < *count && strcmp(words[i], "--") != 0; i++) {
        struct text name, value, word = text_of(words[i]);
        if (!text_starts_with(word, TEXT("--"))) {
            words[kept++] = words[i];
            continue;
        }
        bool equals = text_cut((struct text){word.bytes + 2, word.length - 2}, '=', &name, &value);
        if (is_option_of(command, name)) {
            words[kept++] = words[i];
            /* the value of an option of ours may begin with -- */
            if (!equals && i + 1 < *count && takes_value(name))
                words[kept++] = words[++i];
            continue;
        }
        if (!equals && i + 1 == *count)
            return usage_error(command, "%s needs a value", words[i]);
        options->parameters[options->parameter_count++] =
            (struct parameter_word){name, equals ? value : text_of(words[++i])};
    }
    for (; i < *count; i++)
        words[kept++] = words[i];
    *count = kept;
    return EXIT_DONE;
}

static int read_options(const struct command *command, int count, char **words, struct options *options,
                        bool *ret_help)
{
    struct option list[OPTIONS + 2];

    list_options(command, list);
    *options = (struct options){.office = "office.db", .rules = "rules", .today = DAY_NONE, .received_on = DAY_NONE,
                                .threads = processors(),
                                .since = DAY_NONE,
                                .until = DAY_NONE,
                                .limit = -1,
                                .due_within = -1,
                                .seconds = -1,
                                .work = -1,
                                .valid_to = DAY_NONE,
                                .separator = ','};
    if (command->options & COMMAND_TAKES_PARAMETERS) {
        int code = take_parameters(command, &count, words, options);
        if (code != EXIT_DONE)
            return code;
    }
    optind = 1;
    opterr = 0;
    for (int option; (option = getopt_long(count, words, ":", list, NULL)) != -1;) {
        if (option == UNKNOWN_OPTION)
            return usage_error(command, "no option %s here", words[optind - 1]);
        if (option == MISSING_ARGUMENT)
            return usage_error(command, "%s needs a value", words[optind - 1]);
        if (option == FIRST_OPTION + HELP) {
            *ret_help = true;
            if (command->help == NULL)
                return EXIT_DONE;
            continue;
        }
        int code = set_option(command, options, option - FIRST_OPTION, optarg);
        if (code != EXIT_DONE)
            return code;
    }
    if (options->today == DAY_NONE)
        options->today = date_today();
    if (options->received_on == DAY_NONE)
        options->received_on = options->today;
    options->arguments = words + optind;
    options->argument_count = count - optind;
    if (*ret_help)
        return EXIT_DONE;
    if (options->argument_count < command->least_arguments)
        return usage_error(command, "something is missing: witnessmark %s %s", command->name, command->arguments);
    if (command->most_arguments >= 0 && options->argument_count > command->most_arguments)
        return usage_error(command, "\"%s\" is too much", options->arguments[command->most_arguments]);
    return EXIT_DONE;
}

/* --- Commands -------------------------------------------------------------------------------------------------- */

/* The command of these words, and how many of them name it. */
static const struct command *find_command(int count, char **words, int *ret_words)
{
    for (int i = 0; COMMANDS[i] != NULL; i++) {
        const char *second = strchr(COMMANDS[i]->name, ' ');
        size_t first = second != NULL ? (size_t)(second - COMMANDS[i]->name) : strlen(COMMANDS[i]->name);
        if (strlen(words[1]) != first || strncmp(words[1], COMMANDS[i]->name, first) != 0)
            continue;
        if (second == NULL || (count > 2 && strcmp(words[2], second + 1) == 0)) {
            *ret_words = second == NULL ? 1 : 2;
            return COMMANDS[i];
        }
    }
    return NULL;
}

/* Says which commands begin with the first word, where some do. */
static int no_command(int count, char **words)
{
    size_t length = strlen(words[1]);
    char known[256] = "";

    for (int i = 0; COMMANDS[i] != NULL; i++) {
        const char *name = COMMANDS[i]->name;
        size_t said = strlen(known);
        if (strncmp(name, words[1], length) == 0 && name[length] == ' ')
            snprintf(known + said, sizeof known - said, "%s%s", said > 0 ? ", " : "", name);
    }
    if (known[0] == '\0')
        return usage_error(NULL, "no command \"%s\"", words[1]);
    return usage_error(NULL, "no command \"%s%s%s\"; there are %s", words[1], count > 2 ? " " : "",
                       count > 2 ? words[2] : "", known);
}

int cli_read_call(int count, char **words, struct call *ret_call)
{
    struct call call = {.help = false};
    int named = 0;

    call.command = find_command(count, words, &named);
    if (call.command == NULL)
        return no_command(count, words);
    int code = read_options(call.command, count - named, words + named, &call.options, &call.help);
    if (code == EXIT_DONE)
        *ret_call = call;
    else
        free(call.options.parameters);
    return code;
}

static void print_version(FILE *to)
{
    fputs("witnessmark " WITNESSMARK_VERSION "\n", to);
}

/* What the program says of itself; NULL: the word asks for nothing of the kind. */
static void (*find_words(const char *word))(FILE *to)
{
    static const struct {
        const char *word;
        void (*print)(FILE *to);
    } WORDS[] = {{"--help", print_help},
                 {"help", print_help},
                 {"--version", print_version},
                 {"--manual", manual_print_page},
                 {"--completion", manual_print_completion}};

    for (size_t i = 0; i < sizeof WORDS / sizeof *WORDS; i++)
        if (strcmp(word, WORDS[i].word) == 0)
            return WORDS[i].print;
    return NULL;
}

/* Of the call that is run: whether some error was printed, so that the last resort of cli_exit does not say it twice,
 * and the last line printed. */
static bool error_was_printed;
static char last_line[LIMIT_MESSAGE_BYTES + 512];

static void forget_what_was_said(void)
{
    error_was_printed = false;
    last_line[0] = '\0';
}

/* What was printed is printed, or the command failed. */
static int end_printing(void)
{
    if (fflush(stdout) == 0)
        return EXIT_DONE;
    fprintf(stderr, "witnessmark: this cannot be printed: %s\n", strerror(errno));
    return EXIT_UNUSABLE;
}

int cli_main(int count, char **words)
{
    struct call call = {.help = false};

    forget_what_was_said();
    if (count < 2) {
        print_help(stderr);
        return EXIT_UNUSABLE;
    }
    void (*print)(FILE *) = find_words(words[1]);
    if (print != NULL) {
        print(stdout);
        return end_printing();
    }
    int code = cli_read_call(count, words, &call);
    if (code == EXIT_DONE && call.help && call.command->help != NULL && call.options.argument_count > 0) {
        code = call.command->help(&call.options);
    } else if (code == EXIT_DONE && call.help) {
        print_usage(stdout, call.command);
        code = end_printing();
    } else if (code == EXIT_DONE) {
        code = call.command->run(&call.options);
    }
    free(call.options.parameters);
    return code;
}

/* --- For commands ---------------------------------------------------------------------------------------------- */

/* Any thread may have something to say. */
static void print_diagnostic(void *context, const struct diag *diag)
{
    static pthread_mutex_t saying = PTHREAD_MUTEX_INITIALIZER;
    char line[sizeof last_line];
    (void)context;

    diag_write(diag, line, sizeof line);
    pthread_mutex_lock(&saying);
    error_was_printed = error_was_printed || diag->severity == SEVERITY_ERROR;
    /* what failed, and then failed to be taken back for the same reason, is said once */
    if (strcmp(line, last_line) != 0) {
        strcpy(last_line, line);
        fprintf(stderr, "%s%s\n", diag->severity == SEVERITY_WARNING ? "warning: " : "", line);
    }
    pthread_mutex_unlock(&saying);
}

struct diag_sink cli_diagnostics(void)
{
    return (struct diag_sink){print_diagnostic, NULL, 0, 0};
}

int cli_exit(int status)
{
    if (status != WM_OK && !error_was_printed)
        fputs(status == WM_NO_MEMORY
                  ? "witnessmark: out of memory; nothing was changed\n"
                  : "witnessmark: a file could not be read or written; check the disk and run it again, nothing was "
                    "changed\n",
              stderr);
    return status == WM_OK ? EXIT_DONE : EXIT_UNUSABLE;
}

int cli_say_recorded(struct buffer *words, struct diag_sink *sink)
{
    return cli_say_recorded_on(STDOUT_FILENO, words, sink);
}

int cli_say_recorded_on(int descriptor, struct buffer *words, struct diag_sink *sink)
{
    if (words->failed || !descriptor_write(descriptor, words->bytes, words->length))
        diag_warning(sink, (struct place){{NULL, 0}, 0, 0},
                     "it is done, but what was done could not be printed: %s",
                     words->failed ? "out of memory" : strerror(errno));
    buffer_free(words);
    return EXIT_DONE;
}

static void warn_only(void *context, const struct diag *diag)
{
    diag_warning(context, diag->place, "%s; it is recorded all the same", diag->message);
}

struct diag_sink cli_recorded(struct diag_sink *sink)
{
    return (struct diag_sink){warn_only, sink, 0, 0};
}

int cli_finish(struct output *output, struct diag_sink *sink, int code)
{
    if (code == EXIT_UNUSABLE) {
        output_drop(output);
        return code;
    }
    return output_close(output, sink) == WM_OK ? code : EXIT_UNUSABLE;
}
