#include <stdio.h>

#include "base/status.h"
#include "cli/desk.h"

/* What is said of a pack: as text, or as CSV rows of a name and what it is. */
struct showing {
    const struct options *options;
    struct desk desk;
    struct buffer words;
};

static void add(struct showing *showing, const char *name, struct text value)
{
    struct buffer *out = &showing->words;

    if (showing->options->format == FORMAT_CSV) {
        buffer_format(out, "%s,", name);
        buffer_add_csv(out, value);
    } else {
        buffer_format(out, "%-20s %.*s", name, TEXT_ARGUMENTS(value));
    }
    buffer_add_byte(out, '\n');
}

static void add_string(struct showing *showing, const char *name, const char *value)
{
    add(showing, name, text_of(value));
}

static void add_day(struct showing *showing, const char *name, int32_t day)
{
    char room[DATE_ROOM];

    add(showing, name, (struct text){room, date_write(day, room)});
}

static void add_number(struct showing *showing, const char *name, uint64_t number)
{
    char room[32];

    snprintf(room, sizeof room, "%llu", (unsigned long long)number);
    add_string(showing, name, room);
}

static int add_finding(void *taker, const struct office_finding *finding)
{
    struct showing *showing = taker;
    struct text line = text_format(&showing->desk.arena, "%.*s %.*s%s%.*s", TEXT_ARGUMENTS(finding->finding),
                                   TEXT_ARGUMENTS(finding->rule_file), finding->rule_row.length > 0 ? ":" : "",
                                   TEXT_ARGUMENTS(finding->rule_row));
    bool told = (finding->reasons & (UNKNOWN_OTHERS | UNKNOWN_APPROVAL)) != 0;

    if (line.bytes == NULL)
        return WM_NO_MEMORY;
    add(showing, told ? "office" : "office tonight", line);
    return WM_OK;
}

static int describe(struct showing *showing)
{
    const struct pack_head *head = pack_head(showing->desk.pack);
    const struct rules *rules = showing->desk.rules;
    char fingerprint[KEY_FINGERPRINT_ROOM];
    struct public_key key;

    memcpy(key.bytes, head->public_key, sizeof key.bytes);
    public_key_fingerprint(&key, fingerprint);
    if (showing->options->format == FORMAT_CSV)
        buffer_add_string(&showing->words, "name,value\n");
    add(showing, "dealer", head->dealer.length > 0 ? head->dealer : TEXT("all"));
    add_day(showing, "made on", head->made_on);
    add_day(showing, "good until", head->valid_to);
    add_string(showing, "key", fingerprint);
    add_number(showing, "vehicles", head->vehicles);
    add_number(showing, "work", head->lock.work_kib);
    for (uint32_t i = 0; i < rules->campaign_count; i++)
        add(showing, "campaign", rules->campaigns[i].id);
    if (showing->options->format == FORMAT_TEXT)
        buffer_add_string(&showing->words,
                          "\nThese findings depend on what only the office knows (office: what other "
                          "dealers\ndid, and approvals; office tonight: what they may still send):\n\n");
    return office_findings(rules, UNKNOWN_OTHERS | UNKNOWN_APPROVAL | UNKNOWN_TONIGHT, add_finding, showing);
}

static int show(struct showing *showing, struct output *output)
{
    showing->desk.whole_pack = true;
    int status = desk_open_pack(&showing->desk, showing->options);

    if (status == WM_OK)
        status = describe(showing);
    if (status == WM_OK && showing->words.failed)
        status = WM_NO_MEMORY;
    if (status == WM_OK)
        status = output_open(output, showing->options->out, &showing->desk.sink);
    if (status == WM_OK)
        output_add(output, showing->words.bytes, showing->words.length);
    return status;
}

static int run_show(const struct options *options)
{
    struct showing showing = {.options = options};
    struct options with_pack = *options;
    struct output output = {.descriptor = -1};

    with_pack.given[OPTION_PACK] = options->arguments[0];
    showing.options = &with_pack;
    int status = show(&showing, &output);
    int code = status == WM_OK ? cli_finish(&output, &showing.desk.sink, EXIT_DONE) : cli_exit(status);
    buffer_free(&showing.words);
    desk_close(&showing.desk);
    return code;
}

const struct command COMMAND_PACK_SHOW = {
    .name = "pack show",
    .arguments = "PACK",
    .summary = "checks every byte of a pack, and says what it is and which findings stay the office's",
    .details = "",
    .options = OPTION_BIT(OPTION_TRUST) | OPTION_BIT(OPTION_TODAY) | OPTION_BIT(OPTION_FORMAT) |
               OPTION_BIT(OPTION_OUT),
    .formats = FORMAT_BIT(FORMAT_TEXT) | FORMAT_BIT(FORMAT_CSV),
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_show,
};
