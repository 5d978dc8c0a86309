#include <inttypes.h>
#include <string.h>

#include "audit/draw.h"
#include "audit/frame.h"
#include "base/status.h"
#include "cli/sample_sheet.h"

enum { CHANGES_NAMED = 20 };

struct redrawing {
    const struct options *options;
    struct audit_desk desk;
    struct sample sample;
    struct judgement *judgements;
    struct buffer words, sheet;
    uint32_t changes;
};

/* --- The draw, once more ----------------------------------------------------------------------------- */

static bool same_items(const struct sample *sample, const uint32_t *items, uint32_t count)
{
    return count == sample->item_count &&
           (count == 0 || memcmp(items, sample->items, count * sizeof *items) == 0);
}

/* Frame, seed and generator must give what is recorded; anything else means that the office file was changed.
 */
static int redraw(struct redrawing *redrawing)
{
    const struct sample *sample = &redrawing->sample;
    struct diag_sink *sink = &redrawing->desk.desk.sink;
    uint8_t digest[DIGEST_BYTES];
    uint32_t *items, count;

    sample_frame_digest(sample, digest);
    if (memcmp(digest, sample->frame_digest, sizeof digest) != 0) {
        audit_say(sink, "the recorded frame does not fit its hash; run `witnessmark verify`, and restore the "
                        "office file from "
                        "a copy");
        return WM_BAD_INPUT;
    }
    if (text_is(sample->method, METHOD_PICKED)) {
        buffer_add_string(&redrawing->words, "the claims were picked by hand; they are listed as recorded\n");
        return WM_OK;
    }
    int status = sample_select(sample, &redrawing->desk.desk.arena, &items, &count);
    if (status != WM_OK)
        return status;
    if (!same_items(sample, items, count)) {
        audit_say(sink, "drawn again, other claims come out than are recorded; run `witnessmark verify`, and "
                        "restore the office "
                        "file from a copy");
        return WM_BAD_INPUT;
    }
    buffer_format(&redrawing->words, "drawn again from its seed, the sample is the same %u claims\n", count);
    return WM_OK;
}

/* --- The frame since then ---------------------------------------------------------------------------- */

static void say_change(struct buffer *words, const struct frame_difference *difference)
{
    static const char *const WHAT[FRAME_CHANGES] = {
        [FRAME_NEW] = "would be in the frame now",
        [FRAME_GONE] = "would not be in the frame any more",
        [FRAME_REVISED] = "is paid by another revision",
        [FRAME_AMOUNT] = "is paid another amount",
    };

    buffer_format(words, "  %.*s/%.*s %s (", TEXT_ARGUMENTS(difference->dealer),
                  TEXT_ARGUMENTS(difference->claim), WHAT[difference->change]);
    if (difference->change != FRAME_NEW)
        buffer_add_money(words, difference->before_cents);
    if (difference->change != FRAME_NEW && difference->change != FRAME_GONE)
        buffer_add_string(words, ", now ");
    if (difference->change != FRAME_GONE)
        buffer_add_money(words, difference->now_cents);
    buffer_add_string(words, ")\n");
}

static void say_changes(struct redrawing *redrawing, const struct frame_difference *differences, uint32_t count)
{
    struct buffer *words = &redrawing->words;
    uint32_t by_kind[FRAME_CHANGES] = {0};

    for (uint32_t i = 0; i < count; i++)
        by_kind[differences[i].change]++;
    redrawing->changes = count;
    if (count == 0) {
        buffer_add_string(words, "the frame is today what it was then\n");
        return;
    }
    buffer_format(
        words,
        "the frame would not be the same today: %u claims more, %u fewer, %u paid by another revision, %u paid "
        "another amount\n",
        by_kind[FRAME_NEW], by_kind[FRAME_GONE], by_kind[FRAME_REVISED], by_kind[FRAME_AMOUNT]);
    for (uint32_t i = 0; i < count && i < CHANGES_NAMED; i++)
        say_change(words, &differences[i]);
    if (count > CHANGES_NAMED)
        buffer_format(words, "  and %u more\n", count - CHANGES_NAMED);
}

static int compare(struct redrawing *redrawing)
{
    struct desk *desk = &redrawing->desk.desk;
    struct sample now = {.filter = redrawing->sample.filter, .drawn_on = redrawing->sample.drawn_on};
    struct frame_difference *differences;
    uint32_t count;
    int status = frame_gather(desk->office, redrawing->desk.look_back, &desk->arena, &now, NULL);

    if (status == WM_OK)
        status = frame_compare(&redrawing->sample, &now, &desk->arena, &differences, &count);
    if (status == WM_OK)
        say_changes(redrawing, differences, count);
    return status;
}

/* --- All of it --------------------------------------------------------------------------------------- */

static int read_all(struct redrawing *redrawing)
{
    const struct options *options = redrawing->options;
    struct desk *desk = &redrawing->desk.desk;
    int status = audit_desk_open(&redrawing->desk, options, false);

    if (status == WM_OK)
        status = audit_desk_sample(desk, options->arguments[0], &redrawing->sample, &redrawing->judgements);
    if (status == WM_OK) {
        sample_describe(&redrawing->sample, &redrawing->words);
        status = redraw(redrawing);
    }
    if (status == WM_OK)
        status = compare(redrawing);
    if (status == WM_OK)
        status = sample_sheet_write(desk, &redrawing->sample, redrawing->judgements, &redrawing->sheet);
    return desk_end_reading(desk, status);
}

static int write_sheet(struct redrawing *redrawing)
{
    struct diag_sink *sink = &redrawing->desk.desk.sink;
    struct output out;

    if (redrawing->options->out == NULL)
        return EXIT_DONE;
    if (output_open(&out, redrawing->options->out, sink) != WM_OK)
        return EXIT_UNUSABLE;
    output_add(&out, redrawing->sheet.bytes, redrawing->sheet.length);
    return cli_finish(&out, sink, EXIT_DONE);
}

static int run_redraw(const struct options *options)
{
    struct redrawing redrawing = {.options = options};

    redrawing.desk.desk.sink = cli_diagnostics();
    int code = cli_exit(read_all(&redrawing));
    if (code == EXIT_DONE)
        code = write_sheet(&redrawing);
    if (code == EXIT_DONE)
        code = redrawing.changes > 0 ? EXIT_FOUND : EXIT_DONE;
    if (code != EXIT_UNUSABLE && !options->quiet)
        code = audit_print(&redrawing.words, &redrawing.desk.desk.sink, code);
    buffer_free(&redrawing.words);
    buffer_free(&redrawing.sheet);
    audit_desk_close(&redrawing.desk);
    return code;
}

const struct command COMMAND_SAMPLE_REDRAW = {
    .name = "sample redraw",
    .arguments = "NAME",
    .summary = "draws a recorded sample again from its seed, and says what changed in its frame since",
    .details = "--out FILE writes the worksheet again, with the judgements that are recorded by now.\n"
               "Exit code 1: the frame would not be the same today. The sample stays what it is.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_TODAY) |
               OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_QUIET),
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_redraw,
};
