/* command.h - what a command of the program is, and the options that commands share.
 *
 * One file a command; commands.c names them all. Commands print, modules below do not. A command returns the
 * exit code.
 */
#ifndef WM_CLI_COMMAND_H
#define WM_CLI_COMMAND_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/decimal.h"
#include "base/diag.h"
#include "base/file.h"

enum exit_code { EXIT_DONE = 0, EXIT_FOUND = 1, EXIT_UNUSABLE = 2 };

/* Which of them a command writes, its `formats` say. */
enum format { FORMAT_TEXT, FORMAT_CSV, FORMAT_JSON, FORMAT_HTML };
enum { FORMATS = FORMAT_HTML + 1 };
#define FORMAT_BIT(format) (1u << (format))

enum option_number {
    OPTION_OFFICE,
    OPTION_RULES,
    OPTION_TODAY,
    OPTION_RECEIVED,
    OPTION_FORMAT,
    OPTION_OUT,
    OPTION_QUIET,
    OPTION_THREADS,
    OPTION_FINDINGS,
    OPTION_CAMPAIGN,
    OPTION_REPLIES,
    OPTION_DEALER,
    OPTION_FINDING,
    OPTION_EFFECT,
    OPTION_DECISION,
    OPTION_VIN,
    OPTION_SINCE,
    OPTION_UNTIL,
    OPTION_SORT,
    OPTION_LIMIT,
    OPTION_DUE_WITHIN,
    OPTION_BY,
    OPTION_REASON,
    OPTION_HEAD,
    OPTION_AGAIN,
    OPTION_REPORTS,
    OPTION_SECTION,
    OPTION_SECONDS,
    OPTION_PLAIN_CELLS,
    OPTION_NAME,
    OPTION_BECAUSE,
    OPTION_SEED,
    OPTION_SIZE,
    OPTION_INTERVAL,
    OPTION_BOUNDS,
    OPTION_ALLOCATE,
    OPTION_PICK,
    OPTION_CONFIDENCE,
    OPTION_RISK,
    OPTION_TOLERABLE,
    OPTION_EXPECTED,
    OPTION_POPULATION,
    OPTION_ERRORS,
    OPTION_BOUND,
    OPTION_EXTRAPOLATE,
    OPTION_DRAFT,
    OPTION_LETTERS,
    OPTION_NOTIFIED,
    OPTION_PACK,
    OPTION_TRUST,
    OPTION_SIGN,
    OPTION_WORK,
    OPTION_VALID_TO,
    OPTION_BASE,
    OPTION_LANG,
    OPTION_ONE,
    OPTION_SEPARATOR,
    OPTION_FIX,
    OPTION_FIX_VIN,
    OPTIONS
};
#define OPTION_BIT(option) (UINT64_C(1) << (option))

/* Among a command's options: those that are none of its own are handed to it as they are (parameters); each
 * takes a value. */
#define COMMAND_TAKES_PARAMETERS (UINT64_C(1) << 63)

/* An option that the program does not know: `--dealer D137`. */
struct parameter_word;

/* How often an option that may be repeated is taken. */
enum { MOST_CAMPAIGNS = 256 };

/* What an option is called, what it takes and what it is for. */
struct option_kind {
    const char *name;
    const char *argument; /* NULL: takes none */
    const char *help;
};
const struct option_kind *cli_option(enum option_number option);

/* The words for a command's --format: "text|csv|json", or with other words between them and before the last. */
enum { FORMAT_ROOM = 40 };
struct command;
const char *cli_format_words(const struct command *command, const char *between, const char *last,
                             char room[FORMAT_ROOM]);

/* Options as given, with their defaults. */
struct options {
    const char *office;   /* --office */
    const char *rules;    /* --rules */
    const char *out;      /* --out; NULL: standard output */
    const char *findings; /* --findings; NULL: none */
    const char *campaign; /* --campaign, the last one given; NULL: all */
    const char *campaigns[MOST_CAMPAIGNS]; /* all that were given */
    int campaign_count;
    int32_t today;        /* --today; the machine's date */
    int32_t received_on;  /* --received; today */
    enum format format;   /* --format */
    unsigned threads;     /* --threads; as many as the machine has processors */
    bool quiet;           /* --quiet */
    bool again;           /* --again */
    int32_t since, until; /* --since, --until; DAY_NONE: open */
    int64_t limit;        /* --limit; -1: all */
    int64_t due_within;   /* --due-within, in days; -1: not asked */
    int64_t seconds;      /* --seconds; -1: not given */
    int64_t work;         /* --work, in KiB; -1: the default */
    int32_t valid_to;     /* --valid-to; DAY_NONE: the default */
    char separator;       /* --separator; a comma */
    const char *given[OPTIONS]; /* the word of every option that was given; NULL: it was not */
    char **arguments;     /* what is no option */
    int argument_count;
    struct parameter_word *parameters; /* COMMAND_TAKES_PARAMETERS */
    uint32_t parameter_count;
};

struct command {
    const char *name;                    /* one or two words, "rules try" */
    const char *arguments;               /* "FILE..." */
    const char *summary;                 /* one line */
    const char *details;                 /* further lines, each ended by a newline; may be empty */
    uint64_t options;                    /* OPTION_BIT()s it understands, besides those of every command */
    unsigned formats;                    /* FORMAT_BIT()s of its --format; 0: text, csv, json */
    int least_arguments, most_arguments; /* most -1: any number */
    int (*run)(const struct options *options);
    int (*help)(const struct options *options); /* --help with arguments; NULL: that of the command */
};

extern const struct command *const COMMANDS[]; /* ended by NULL */

/* What the program is for, and what its exit codes mean; for help and for the manual page. */
extern const char CLI_PURPOSE[], CLI_EXIT_CODES[];

/* The whole program but for main's own signature: finds the command, reads its options, runs it. */
int cli_main(int argument_count, char **arguments);

/* What the words of one call ask for. The options borrow from the words, which are put in another order. */
struct call {
    const struct command *command;
    struct options options;
    bool help; /* only --help was asked for */
};

/* Reads a call (of at least two words) and runs nothing. EXIT_DONE, or EXIT_UNUSABLE with a line on standard error. */
int cli_read_call(int count, char **words, struct call *ret_call);

/* --- For commands ------------------------------------------------------------------------------------ */

/* A sink that prints to standard error, or, for lists of errors that are the result, to an output. */
struct diag_sink cli_diagnostics(void);

/* The exit code for a status, after saying what no diagnostic said (no memory). */
int cli_exit(int status);

/* Prints, on standard output, words on what was recorded or made, and frees them. It stays so where they cannot
 * be printed: then a warning says so, and the command is done all the same. */
int cli_say_recorded(struct buffer *words, struct diag_sink *sink);

/* The same on another descriptor, where standard output is for the decisions. */
int cli_say_recorded_on(int descriptor, struct buffer *words, struct diag_sink *sink);

/* A sink for what fails when all is recorded: a warning on the sink given, which must outlive it. */
struct diag_sink cli_recorded(struct diag_sink *sink);

/* Ends an output: closes it, and gives the code if that went well. */
int cli_finish(struct output *output, struct diag_sink *sink, int code);

#endif
