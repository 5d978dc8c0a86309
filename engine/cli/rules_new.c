/* `rules new ID`: the folder of a campaign with its tables, to be filled in. */
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/status.h"
#include "cli/command.h"

/* A table with its header and examples. Examples are comments; those of all tables fit together, so that they
 * are rules without a fault when their `# ` is taken away. */
struct template
{
    const char *name;
    const char *text; /* %s: the campaign's number */
};

static const struct template TEMPLATES[] = {
    {"campaign.csv", "key,value\n"
                     "campaign,%s\n"
                     "title,\n"
                     "kind,\n"
                     "hazard,\n"
                     "opens_on,\n"
                     "closes_on,\n"
                     "notice_began_on,\n"
                     "notice_ended_on,\n"
                     "currency,USD\n"
                     "other_limit,\n"
                     "replaces,\n"
                     "manufacturer,\n"
                     "regulator_number,\n"},
    {"eligibility.csv", "F,model_line,model_year,engine,built_on,>eligible,>stage\n"
                        "# values,\"Line A, Line B\",[2010..2030],\"E1, E2\",,,\n"
                        "# changed-in-production,-,-,-,>= 2026-06-01,false,\n"
                        "# older,Line A,[2018..2019],\"E1, E2\",-,true,first\n"
                        "# younger,\"Line A, Line B\",[2020..2022],\"E1, E2\",-,true,second\n"},
    {"stages.csv", "stage,opens_on\n"
                   "# first,2026-03-02\n"
                   "# second,2026-04-06\n"},
    {"kits.csv", "U,engine,outcome,>kit,>quantity\n"
                 "# e1,E1,repaired,KIT-E1,1\n"
                 "# e2,E2,repaired,KIT-E2,1\n"},
    {"parts.csv", "C,engine,outcome,inspection:CAP,>part,>quantity,>need\n"
                  "# seal,-,repaired,-,SEAL-1,2,required\n"
                  "# cap,-,-,wrong,CAP-1,1,allowed\n"},
    {"prices.csv", "part,price,valid_from\n"
                   "# KIT-E1,84.50,\n"
                   "# KIT-E2,91.00,\n"
                   "# SEAL-1,2.15,\n"
                   "# CAP-1,12.40,\n"},
    {"labor.csv", "C,engine,outcome,option:towing,inspection:CAP,>operation,>hours,>need\n"
                  "# replace,-,repaired,-,-,OP-10,1.2,required\n"
                  "# replace-towing,-,repaired,true,-,OP-10,0.3,required\n"
                  "# inspect,-,inspected,-,-,OP-01,0.3,required\n"
                  "# cap,-,-,-,wrong,OP-22,0.1,allowed\n"},
    {"inspections.csv", "C,engine,outcome,>inspection,>expects,>need\n"
                        "# leak,-,-,LEAK,dry,required\n"
                        "# torque,-,repaired,TORQUE,[27..33] N.m,required\n"
                        "# cap,-,-,CAP,\"right, wrong\",required\n"},
    {"followups.csv", "C,inspection:CAP,>followup,>part,>due_days\n"
                      "# cap,wrong,renew the cap,CAP-1,60\n"},
};
enum { TEMPLATES_COUNT = sizeof TEMPLATES / sizeof *TEMPLATES, MOST_ID = 64 };

struct making {
    const struct options *options;
    const char *id;
    char folder[4096];
    struct diag_sink sink;
};

/* Letters, digits, - and _, and points that do not come first: a folder's name and no way to another folder. */
static bool id_is_usable(const char *id)
{
    static const char ALLOWED[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.";
    size_t length = strlen(id);

    return length > 0 && length <= MOST_ID && strspn(id, ALLOWED) == length && id[0] != '.' && id[0] != '-';
}

static int report(struct making *making, const char *path, const char *what)
{
    diag_error(&making->sink, (struct place){text_of(path), 0, 0}, "%s", what);
    return WM_IO;
}

static int make_folders(struct making *making)
{
    char campaigns[4096];
    struct stat about;
    int length = snprintf(campaigns, sizeof campaigns, "%s/campaigns", making->options->rules);
    int whole = snprintf(making->folder, sizeof making->folder, "%s/%s", campaigns, making->id);

    if (length < 0 || whole < 0 || (size_t)length >= sizeof campaigns || (size_t)whole >= sizeof making->folder)
        return report(making, making->options->rules, "the name is too long; use a shorter one");
    if (stat(making->options->rules, &about) != 0 || !S_ISDIR(about.st_mode))
        return report(making, making->options->rules, "there is no such rules folder; name it with --rules");
    if (mkdir(campaigns, 0777) != 0 && errno != EEXIST)
        return report(making, campaigns, strerror(errno));
    if (mkdir(making->folder, 0777) == 0)
        return WM_OK;
    return report(making, making->folder,
                  errno == EEXIST ? "it is there already; nothing was changed" : strerror(errno));
}

static int write_template(struct making *making, const struct template *template)
{
    char path[4096 + 64];
    struct output output;
    struct buffer text = BUFFER_EMPTY;
    const char *number = strstr(template->text, "%s");

    snprintf(path, sizeof path, "%s/%s", making->folder, template->name);
    int status = output_open(&output, path, &making->sink);
    if (status != WM_OK)
        return status;
    buffer_add(&text, template->text,
               number != NULL ? (size_t)(number - template->text) : strlen(template->text));
    if (number != NULL) {
        buffer_add_string(&text, making->id);
        buffer_add_string(&text, number + strlen("%s"));
    }
    output_add(&output, text.bytes, text.length);
    if (text.failed)
        output.error = ENOMEM;
    buffer_free(&text);
    return output_close(&output, &making->sink);
}

/* A folder that is there in part would pass for a campaign. */
static void take_back(struct making *making)
{
    char path[4096 + 64];

    for (int i = 0; i < TEMPLATES_COUNT; i++) {
        snprintf(path, sizeof path, "%s/%s", making->folder, TEMPLATES[i].name);
        unlink(path);
    }
    rmdir(making->folder);
}

static int run_rules_new(const struct options *options)
{
    struct making making = {.options = options, .id = options->arguments[0], .sink = cli_diagnostics()};
    struct buffer words = BUFFER_EMPTY;
    int status;

    if (!id_is_usable(making.id)) {
        diag_error(&making.sink, (struct place){{NULL, 0}, 0, 0},
                   "\"%s\" cannot be a campaign's number here; use letters, digits, - and _, 64 at most",
                   making.id);
        return EXIT_UNUSABLE;
    }
    status = make_folders(&making);
    for (int i = 0; status == WM_OK && i < TEMPLATES_COUNT; i++) {
        status = write_template(&making, &TEMPLATES[i]);
        if (status != WM_OK)
            take_back(&making);
    }
    if (status != WM_OK || options->quiet)
        return cli_exit(status);
    buffer_format(&words, "%s: %d tables; fill them in, then run `witnessmark rules lint`\n", making.folder,
                  TEMPLATES_COUNT);
    return cli_say_recorded(&words, &making.sink);
}

const struct command COMMAND_RULES_NEW = {
    .name = "rules new",
    .arguments = "ID",
    .summary = "makes the folder of a campaign, with tables to fill in",
    .details = "The tables hold examples as comments: rows that begin with `#` decide nothing.\n",
    .options = OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_QUIET),
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_rules_new,
};
