#include <stdio.h>
#include <unistd.h>

#include "base/status.h"
#include "cli/desk.h"
#include "pack/write.h"

enum { GOOD_FOR_DAYS = 30 };

struct packing_run {
    const struct options *options;
    struct desk desk;
    struct secret_key key;
    struct text campaigns[MOST_CAMPAIGNS];
    struct pack_summary summary;
};

static void show_progress(uint64_t done, uint64_t all)
{
    fprintf(stderr, "\r%3d %%", (int)(done * 100 / all));
}

static int write_pack(struct packing_run *run, struct output *output)
{
    const struct options *options = run->options;
    const char *dealer = options->given[OPTION_DEALER];
    int32_t valid_to = options->valid_to != DAY_NONE ? options->valid_to : options->today + GOOD_FOR_DAYS;
    const struct pack_request request = {
        .office = run->desk.office,
        .rules = run->desk.rules,
        .files = &run->desk.files,
        .dealer = text_of(dealer != NULL ? dealer : ""),
        .campaigns = run->campaigns,
        .campaign_count = (uint32_t)options->campaign_count,
        .made_on = options->today,
        .valid_to = valid_to,
        .work_kib = options->work < 0 ? LOCK_WORK_DEFAULT : (uint32_t)options->work,
        .threads = options->threads,
        .key = &run->key,
        .base = options->given[OPTION_BASE],
        .progress = !options->quiet && isatty(STDERR_FILENO) ? show_progress : NULL,
    };

    for (int i = 0; i < options->campaign_count; i++)
        run->campaigns[i] = text_of(options->campaigns[i]);
    int status = pack_write(&request, output, &run->desk.sink, &run->summary);
    if (!options->quiet && isatty(STDERR_FILENO))
        fputs("\r     \r", stderr);
    return status;
}

static int say_packed(struct packing_run *run)
{
    const struct options *options = run->options;
    unsigned long long vehicles = run->summary.vehicles, claims = run->summary.own_claims;
    char fingerprint[KEY_FINGERPRINT_ROOM], last[DATE_ROOM];
    struct buffer words = BUFFER_EMPTY;
    struct public_key public = secret_key_public(&run->key);

    public_key_fingerprint(&public, fingerprint);
    date_write(options->valid_to != DAY_NONE ? options->valid_to : options->today + GOOD_FOR_DAYS, last);
    buffer_format(&words, "packed %llu vehicle%s and %u rules files for ", vehicles, plural(vehicles),
                  run->summary.files);
    if (options->given[OPTION_DEALER] != NULL)
        buffer_format(&words, "dealer %s, with %llu claim%s\n", options->given[OPTION_DEALER], claims,
                      plural(claims));
    else
        buffer_add_string(&words, "all dealers\n");
    buffer_format(&words, "good until %s, signed with key %s\n", last, fingerprint);
    return cli_say_recorded(&words, &run->desk.sink);
}

static int make_pack(struct packing_run *run)
{
    const struct options *options = run->options;
    struct output output = {.descriptor = -1};
    int status = desk_open_rules(&run->desk, options);

    if (status == WM_OK)
        status = secret_key_read(options->given[OPTION_SIGN], &run->desk.sink, &run->key);
    if (status == WM_OK)
        status = desk_open_office(&run->desk, options);
    if (status == WM_OK)
        status = output_open(&output, options->out, &run->desk.sink);
    if (status != WM_OK)
        return status;
    status = desk_end_reading(&run->desk, write_pack(run, &output));
    if (status == WM_OK)
        return output_close(&output, &run->desk.sink);
    output_drop(&output);
    return status;
}

static const char *what_is_missing(const struct options *options)
{
    if (options->out == NULL)
        return "pack needs --out FILE, the file to write";
    if (options->given[OPTION_SIGN] == NULL)
        return "pack needs --sign KEY, since dealers refuse a pack without a signature; `pack keygen` makes a "
               "key";
    if (options->work >= 0 && (options->work < LOCK_WORK_LEAST || options->work > LOCK_WORK_MOST))
        return "--work is a number of KiB from 8 to 65536";
    if (options->valid_to != DAY_NONE && options->valid_to < options->today)
        return "--valid-to is a day that is past; nobody could use the pack";
    return NULL;
}

static int run_pack(const struct options *options)
{
    struct packing_run run = {.options = options};
    const char *missing = what_is_missing(options);

    if (missing != NULL) {
        fprintf(stderr, "witnessmark: %s\n", missing);
        return EXIT_UNUSABLE;
    }
    int status = make_pack(&run);
    int code = status == WM_OK && !options->quiet ? say_packed(&run) : cli_exit(status);
    secret_key_wipe(&run.key);
    desk_close(&run.desk);
    return code;
}

const struct command COMMAND_PACK = {
    .name = "pack",
    .arguments = "--out FILE --sign KEY",
    .summary = "makes a signed file with which dealers check claims: rules, vehicles, what is done on them",
    .details =
        "With --dealer it holds that dealer's rates, shipments, approvals and claims too, and nothing of any\n"
        "other dealer. Vehicles cannot be listed from it, only looked up by VIN; --work says at what cost.\n"
        "Packs for further dealers of the same day are made quickly with --base. --campaign may be repeated.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_QUIET) | OPTION_BIT(OPTION_THREADS) |
               OPTION_BIT(OPTION_DEALER) | OPTION_BIT(OPTION_CAMPAIGN) | OPTION_BIT(OPTION_SIGN) |
               OPTION_BIT(OPTION_WORK) | OPTION_BIT(OPTION_VALID_TO) | OPTION_BIT(OPTION_BASE),
    .least_arguments = 0,
    .most_arguments = 0,
    .run = run_pack,
};
