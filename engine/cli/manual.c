#include "cli/manual.h"

#include <stdbool.h>
#include <string.h>

#include "cli/command.h"

static bool takes(const struct command *command, int option)
{
    return (command->options & OPTION_BIT(option)) != 0;
}

/* --- The page ------------------------------------------------------------------------------------------------
 */

void manual_print_text(FILE *to, const char *text, size_t length)
{
    bool line_begins = true;

    for (size_t i = 0; i < length; i++) {
        if (line_begins && (text[i] == '.' || text[i] == '\''))
            fputs("\\&", to);
        line_begins = text[i] == '\n';
        if (text[i] == '\\')
            fputs("\\e", to);
        else if (text[i] == '-')
            fputs("\\-", to);
        else if (text[i] == '"')
            fputs("\\(dq", to);
        else
            fputc(text[i], to);
    }
}

static void print_roff_line(FILE *to, const char *request, const char *text, const char *more)
{
    fputs(request, to);
    manual_print_text(to, text, strlen(text));
    if (more != NULL && more[0] != '\0') {
        fputc(' ', to);
        manual_print_text(to, more, strlen(more));
    }
    fputc('\n', to);
}

static void print_option(FILE *to, const struct command *command, enum option_number option)
{
    const struct option_kind *kind = cli_option(option);
    char formats[FORMAT_ROOM];
    const char *argument =
        option == OPTION_FORMAT ? cli_format_words(command, "|", "|", formats) : kind->argument;

    fputs(".TP\n\\fB\\-\\-", to);
    manual_print_text(to, kind->name, strlen(kind->name));
    fputs("\\fR", to);
    if (argument != NULL) {
        fputs(" \\fI", to);
        manual_print_text(to, argument, strlen(argument));
        fputs("\\fR", to);
    }
    print_roff_line(to, "\n", kind->help, NULL);
}

/* The details are lines that people laid out: they stay so. */
static void print_command(FILE *to, const struct command *command)
{
    print_roff_line(to, ".SS ", command->name, command->arguments);
    print_roff_line(to, "", command->summary, NULL);
    if (command->details[0] != '\0') {
        fputs(".PP\n.nf\n", to);
        manual_print_text(to, command->details, strlen(command->details));
        fputs(".fi\n", to);
    }
    for (int i = 0; i < OPTIONS; i++)
        if (takes(command, i))
            print_option(to, command, (enum option_number)i);
}

void manual_print_page(FILE *to)
{
    fputs(".TH WITNESSMARK 1\n.SH NAME\nwitnessmark \\- ", to);
    print_roff_line(to, "", CLI_PURPOSE, NULL);
    fputs(".SH SYNOPSIS\n\\fBwitnessmark\\fR \\fICOMMAND\\fR [\\fIOPTION\\fR...] [\\fIFILE\\fR...]\n.SH "
          "COMMANDS\n",
          to);
    for (int i = 0; COMMANDS[i] != NULL; i++)
        print_command(to, COMMANDS[i]);
    print_roff_line(to, ".SH EXIT STATUS\n", CLI_EXIT_CODES, NULL);
}

/* --- Completion ----------------------------------------------------------------------------------------------
 */

/* "text|csv|json", or the first word of "vehicles|dealers FILE", as words with blanks between. */
static void print_choices(FILE *to, const char *argument)
{
    for (const char *at = argument; *at != '\0' && *at != ' '; at++)
        fputc(*at == '|' ? ' ' : *at, to);
}

static bool is_choice(const char *argument)
{
    return memchr(argument, '|', strcspn(argument, " ")) != NULL;
}

/* The first words of all commands, or the second ones of those that begin with `first`. */
static void print_names(FILE *to, const char *first)
{
    const char *printed = "";

    for (int i = 0; COMMANDS[i] != NULL; i++) {
        const char *name = COMMANDS[i]->name;
        size_t length = strcspn(name, " ");
        if (first != NULL && (strncmp(name, first, length) != 0 || name[length] == '\0'))
            continue;
        if (first == NULL && text_equal((struct text){printed, strcspn(printed, " ")}, (struct text){name, length}))
            continue;
        fprintf(to, " %.*s", (int)(first != NULL ? strlen(name) : length),
                first != NULL ? name + length + 1 : name);
        printed = name;
    }
}

/* What may stand behind an option that takes a word. */
static void print_values(FILE *to)
{
    for (int i = 0; i < OPTIONS; i++) {
        const struct option_kind *kind = cli_option((enum option_number)i);
        if (kind->argument == NULL)
            continue;
        fprintf(to, "    --%s) COMPREPLY=(", kind->name);
        if (i == OPTION_FORMAT) {
            fputs("$(compgen -W \"$formats\" -- \"$word\")", to);
        } else if (is_choice(kind->argument)) {
            fputs("$(compgen -W '", to);
            print_choices(to, kind->argument);
            fputs("' -- \"$word\")", to);
        } else if (strcmp(kind->argument, "FILE") == 0) {
            fputs("$(compgen -f -- \"$word\")", to);
        } else if (strcmp(kind->argument, "DIR") == 0) {
            fputs("$(compgen -d -- \"$word\")", to);
        }
        fputs("); return ;;\n", to);
    }
}

/* The first words behind which a second one names the command. */
static void print_groups(FILE *to)
{
    const char *printed = "";

    for (int i = 0; COMMANDS[i] != NULL; i++) {
        const char *name = COMMANDS[i]->name;
        size_t length = strcspn(name, " ");
        if (name[length] == '\0' || (strncmp(printed, name, length + 1) == 0))
            continue;
        fprintf(to, "%s%.*s", printed[0] != '\0' ? "|" : "", (int)length, name);
        printed = name;
    }
}

static void print_seconds(FILE *to)
{
    const char *printed = "";

    for (int i = 0; COMMANDS[i] != NULL; i++) {
        const char *name = COMMANDS[i]->name;
        size_t length = strcspn(name, " ");
        if (name[length] == '\0' || strncmp(printed, name, length + 1) == 0)
            continue;
        fprintf(to, "        %.*s) COMPREPLY=($(compgen -W '", (int)length, name);
        print_names(to, name);
        fputs("' -- \"$word\")) ;;\n", to);
        printed = name;
    }
}

static void print_command_choices(FILE *to, const struct command *command)
{
    char formats[FORMAT_ROOM];

    fprintf(to, "    '%s') options='--help", command->name);
    for (int i = 0; i < OPTIONS; i++)
        if (takes(command, i))
            fprintf(to, " --%s", cli_option((enum option_number)i)->name);
    fputs("'", to);
    if (takes(command, OPTION_FORMAT))
        fprintf(to, " formats='%s'", cli_format_words(command, " ", " ", formats));
    if (is_choice(command->arguments)) {
        fputs(" choices='", to);
        print_choices(to, command->arguments);
        fputs("'", to);
    }
    fputs(" ;;\n", to);
}

void manual_print_completion(FILE *to)
{
    fputs(
        "# Completion of witnessmark for bash; made by `witnessmark --completion`.\n"
        "_witnessmark()\n{\n"
        "    local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} command=${COMP_WORDS[1]}\n"
        "    local options= choices= formats= first=2\n\n"
        "    COMPREPLY=()\n"
        "    if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
        "        COMPREPLY=($(compgen -W '--help --version --manual --completion",
        to);
    print_names(to, NULL);
    fputs("' -- \"$word\"))\n        return\n    fi\n"
          "    case $command in\n    ",
          to);
    print_groups(to);
    fputs(") command=\"$command ${COMP_WORDS[2]}\" first=3 ;;\n    esac\n"
          "    if [ \"$COMP_CWORD\" -lt \"$first\" ]; then\n"
          "        case ${COMP_WORDS[1]} in\n",
          to);
    print_seconds(to);
    fputs("        esac\n        return\n    fi\n"
          "    case $command in\n",
          to);
    for (int i = 0; COMMANDS[i] != NULL; i++)
        print_command_choices(to, COMMANDS[i]);
    fputs("    esac\n    case $before in\n", to);
    print_values(to);
    fputs("    esac\n"
          "    if [ \"${word#-}\" != \"$word\" ]; then\n"
          "        COMPREPLY=($(compgen -W \"$options\" -- \"$word\"))\n"
          "    elif [ -n \"$choices\" ] && [ \"$COMP_CWORD\" -eq \"$first\" ]; then\n"
          "        COMPREPLY=($(compgen -W \"$choices\" -- \"$word\"))\n"
          "    else\n"
          "        COMPREPLY=($(compgen -f -- \"$word\"))\n"
          "    fi\n}\n"
          "complete -o filenames -F _witnessmark witnessmark\n",
          to);
}
