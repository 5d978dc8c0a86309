/* `rules diff DIR`: what changes between the rules and those in DIR, and what that would do to the recorded
 * claims. */
#include <jansson.h>
#include <stdlib.h>
#include <sys/stat.h>

#include "base/add_dump.h"
#include "base/shown.h"
#include "base/status.h"
#include "cli/redecide.h"
#include "cli/desk.h"
#include "rules/differences.h"

struct diffing {
    const struct options *options;
    struct desk desk;   /* the rules as they are; the office */
    struct rules_files files; /* those of DIR */
    struct rules *after;
    struct redecision redecision;
    struct buffer out;
    struct text file; /* told last, in text */
    struct arena arena;
    uint64_t differences;
};

/* What one dealer would gain or lose. */
struct dealer_sum {
    struct text dealer;
    uint32_t claims; /* that are decided differently */
    int64_t before_cents, after_cents;
};

static const char HEADER[] =
    "kind,file,row,column,before,after,dealer,claim,revision,campaign,payable_before,payable_after,claims\n";

/* --- Differences of the rules --------------------------------------------------------------------- */

static void text_difference(struct diffing *diffing, const struct difference *difference)
{
    struct buffer *out = &diffing->out;
    struct text before = difference->before, after = difference->after;

    if (!text_equal(difference->file, diffing->file)) {
        buffer_add_string(out, out->length > 0 ? "\n" : "");
        buffer_say(out, "%.*s\n", TEXT_ARGUMENTS(difference->file));
        diffing->file = text_copy(&diffing->arena, difference->file);
        out->failed = out->failed || diffing->file.bytes == NULL;
    }
    buffer_add_string(out, "  ");
    if (difference->row.length > 0)
        buffer_say(out, "%.*s%s", TEXT_ARGUMENTS(difference->row),
                      difference->column.length > 0 ? ", " : "");
    buffer_say(out, "%.*s", TEXT_ARGUMENTS(difference->column));
    if (difference->row.length == 0 && difference->column.length == 0)
        buffer_add_string(out, "the file");
    if (difference->change == CHANGE_CHANGED || difference->change == CHANGE_MOVED)
        buffer_say(out, ": was %.*s, becomes %.*s\n",
                      TEXT_ARGUMENTS(before.length > 0 ? before : TEXT("empty")),
                      TEXT_ARGUMENTS(after.length > 0 ? after : TEXT("empty")));
    else {
        struct text words = difference->change == CHANGE_ADDED ? after : before;
        buffer_say(out, " is %s%s%.*s\n", difference->change == CHANGE_ADDED ? "new" : "taken out",
                      words.length > 0 ? ": " : "", TEXT_ARGUMENTS(words));
    }
}

static void add_cell(struct buffer *out, struct text cell)
{
    buffer_add_csv(out, cell);
    buffer_add_byte(out, ',');
}

static void csv_difference(struct diffing *diffing, const struct difference *difference)
{
    struct buffer *out = &diffing->out;

    buffer_say(out, "%s,", change_name(difference->change));
    add_cell(out, difference->file);
    add_cell(out, difference->row);
    add_cell(out, difference->column);
    add_cell(out, difference->before);
    add_cell(out, difference->after);
    buffer_add_string(out, ",,,,,,\n");
}

static json_t *json_or_null(struct text t)
{
    return t.length > 0 ? json_stringn(t.bytes, t.length) : json_null();
}

static void add_json(struct diffing *diffing, json_t *object)
{
    if (object == NULL || json_dump_callback(object, add_dump, &diffing->out, JSON_COMPACT) != 0)
        diffing->out.failed = true;
    buffer_add_byte(&diffing->out, '\n');
    json_decref(object);
}

static void json_difference(struct diffing *diffing, const struct difference *difference)
{
    add_json(diffing, json_pack("{s:s,s:o,s:o,s:o,s:o,s:o}", "kind", change_name(difference->change), "file",
                                json_or_null(difference->file), "row", json_or_null(difference->row), "column",
                                json_or_null(difference->column), "before", json_or_null(difference->before),
                                "after", json_or_null(difference->after)));
}

static int take_difference(void *context, const struct difference *difference)
{
    struct diffing *diffing = context;

    diffing->differences++;
    if (diffing->options->format == FORMAT_CSV)
        csv_difference(diffing, difference);
    else if (diffing->options->format == FORMAT_JSON)
        json_difference(diffing, difference);
    else
        text_difference(diffing, difference);
    return diffing->out.failed ? WM_NO_MEMORY : WM_OK;
}

/* --- Claims that are decided differently ---------------------------------------------------------- */

static void text_claim(struct diffing *diffing, const struct redecided *claim)
{
    struct buffer *out = &diffing->out;
    struct text name =
        text_format(&diffing->arena, "%.*s/%.*s", TEXT_ARGUMENTS(claim->dealer), TEXT_ARGUMENTS(claim->claim));

    out->failed = out->failed || name.bytes == NULL;
    buffer_say(out, "  %-20.*s %-10.*s ", TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(claim->campaign));
    if (claim->before == claim->after)
        buffer_say(out, "%s as before, payable ", decision_name(claim->before));
    else
        buffer_say(out, "%s becomes %s, payable ", decision_name(claim->before),
                      decision_name(claim->after));
    buffer_add_money(out, claim->payable_before_cents);
    buffer_add_string(out, " becomes ");
    buffer_add_money(out, claim->payable_after_cents);
    buffer_add_byte(out, '\n');
}

static void csv_claim(struct diffing *diffing, const struct redecided *claim)
{
    struct buffer *out = &diffing->out;

    buffer_say(out, "claim,,,,%s,%s,", decision_name(claim->before), decision_name(claim->after));
    add_cell(out, claim->dealer);
    add_cell(out, claim->claim);
    buffer_say(out, "%lld,", (long long)claim->revision);
    add_cell(out, claim->campaign);
    buffer_add_money(out, claim->payable_before_cents);
    buffer_add_byte(out, ',');
    buffer_add_money(out, claim->payable_after_cents);
    buffer_add_string(out, ",\n");
}

/* Money as a string, so that nobody reads it as binary floating point. */
static json_t *json_money(int64_t cents)
{
    char room[DECIMAL_ROOM];

    return json_stringn(room, money_write(cents, room));
}

static void json_claim(struct diffing *diffing, const struct redecided *claim)
{
    add_json(diffing, json_pack("{s:s,s:o,s:o,s:I,s:o,s:s,s:s,s:o,s:o}", "kind", "claim", "dealer",
                                json_or_null(claim->dealer), "claim", json_or_null(claim->claim), "revision",
                                (json_int_t)claim->revision, "campaign", json_or_null(claim->campaign),
                                "before", decision_name(claim->before), "after", decision_name(claim->after),
                                "payable_before", json_money(claim->payable_before_cents), "payable_after",
                                json_money(claim->payable_after_cents)));
}

static void tell_claim(struct diffing *diffing, const struct redecided *claim)
{
    if (diffing->options->format == FORMAT_CSV)
        csv_claim(diffing, claim);
    else if (diffing->options->format == FORMAT_JSON)
        json_claim(diffing, claim);
    else
        text_claim(diffing, claim);
}

/* --- Sums by dealer ------------------------------------------------------------------------------- */

static int by_dealer(const void *a, const void *b)
{
    return text_compare(((const struct dealer_sum *)a)->dealer, ((const struct dealer_sum *)b)->dealer);
}

static int sum_dealers(const struct redecision *redecision, struct dealer_sum *sums, uint32_t *ret_count)
{
    struct text_index index = TEXT_INDEX_EMPTY;
    int status = WM_OK;

    *ret_count = 0;
    for (uint32_t i = 0; status == WM_OK && i < redecision->count; i++) {
        const struct redecided *claim = &redecision->claims[i];
        if (!redecided_differs(claim))
            continue;
        uint32_t at = text_index_add(&index, claim->dealer, *ret_count);
        if (at == TEXT_INDEX_NONE) {
            status = WM_NO_MEMORY;
            continue;
        }
        if (at == *ret_count)
            sums[(*ret_count)++] = (struct dealer_sum){.dealer = claim->dealer};
        sums[at].claims++;
        sums[at].before_cents += claim->payable_before_cents;
        sums[at].after_cents += claim->payable_after_cents;
    }
    text_index_free(&index);
    if (*ret_count > 1)
        qsort(sums, *ret_count, sizeof *sums, by_dealer);
    return status;
}

static void text_sum(struct diffing *diffing, const char *name, struct text dealer,
                     const struct dealer_sum *sum)
{
    struct buffer *out = &diffing->out;
    int64_t more = sum->after_cents - sum->before_cents;

    buffer_say(out, "  %s%-20.*s %6u claim%s  payable ", name, TEXT_ARGUMENTS(dealer), sum->claims,
                  sum->claims == 1 ? " " : "s");
    buffer_add_money(out, sum->before_cents);
    buffer_add_string(out, " becomes ");
    buffer_add_money(out, sum->after_cents);
    buffer_add_string(out, more > 0 ? ", +" : ", ");
    buffer_add_money(out, more);
    buffer_add_byte(out, '\n');
}

static void tell_sum(struct diffing *diffing, const char *kind, const struct dealer_sum *sum)
{
    struct buffer *out = &diffing->out;

    if (diffing->options->format == FORMAT_TEXT) {
        text_sum(diffing, "", sum->dealer.length > 0 ? sum->dealer : TEXT("all"), sum);
    } else if (diffing->options->format == FORMAT_CSV) {
        buffer_say(out, "%s,,,,,,", kind);
        add_cell(out, sum->dealer);
        buffer_add_string(out, ",,,");
        buffer_add_money(out, sum->before_cents);
        buffer_add_byte(out, ',');
        buffer_add_money(out, sum->after_cents);
        buffer_say(out, ",%u\n", sum->claims);
    } else {
        add_json(diffing,
                 json_pack("{s:s,s:o,s:I,s:o,s:o}", "kind", kind, "dealer", json_or_null(sum->dealer), "claims",
                           (json_int_t)sum->claims, "payable_before", json_money(sum->before_cents),
                           "payable_after", json_money(sum->after_cents)));
    }
}

static void tell_sums(struct diffing *diffing, const struct dealer_sum *sums, uint32_t count)
{
    struct dealer_sum all = {.claims = 0};

    if (diffing->options->format == FORMAT_TEXT)
        buffer_add_string(&diffing->out, "\nby dealer:\n");
    for (uint32_t i = 0; i < count; i++) {
        tell_sum(diffing, "dealer", &sums[i]);
        all.claims += sums[i].claims;
        all.before_cents += sums[i].before_cents;
        all.after_cents += sums[i].after_cents;
    }
    tell_sum(diffing, "all", &all);
}

/* --- Claims --------------------------------------------------------------------------------------- */

static int tell_claims(struct diffing *diffing)
{
    const struct redecision *redecision = &diffing->redecision;
    struct dealer_sum *sums = ARENA_ARRAY(&diffing->arena, struct dealer_sum, redecision->count);
    uint32_t different = 0, count;

    if (sums == NULL)
        return WM_NO_MEMORY;
    int status = sum_dealers(redecision, sums, &count);
    for (uint32_t i = 0; i < count; i++)
        different += sums[i].claims;
    if (diffing->options->format == FORMAT_TEXT)
        buffer_format(&diffing->out, "\n%u of %u recorded claims would be decided differently%s\n", different,
                      redecision->count, different > 0 ? ":" : "");
    for (uint32_t i = 0; status == WM_OK && i < redecision->count; i++)
        if (redecided_differs(&redecision->claims[i]))
            tell_claim(diffing, &redecision->claims[i]);
    if (status == WM_OK && different > 0)
        tell_sums(diffing, sums, count);
    return status != WM_OK || !diffing->out.failed ? status : WM_NO_MEMORY;
}

/* An office file that was named must be there; the default one may be missing, and then only the rules are
 * compared. */
static bool has_office(const struct diffing *diffing)
{
    struct stat about;

    return diffing->options->given[OPTION_OFFICE] != NULL || stat(diffing->options->office, &about) == 0;
}

static int compare_claims(struct diffing *diffing)
{
    struct desk *desk = &diffing->desk;
    int status = desk_open_office(desk, diffing->options);

    if (status == WM_OK)
        status = redecide(desk->office, desk->rules, diffing->after, diffing->options->threads,
                          &desk->sink, &diffing->redecision);
    status = desk_end_reading(desk, status);
    return status == WM_OK && diffing->redecision.count > 0 ? tell_claims(diffing) : status;
}

/* --- The command ---------------------------------------------------------------------------------- */

static int open_other_rules(struct diffing *diffing)
{
    struct desk *desk = &diffing->desk;
    int status =
        rules_files_read(diffing->options->arguments[0], &desk->arena, &desk->sink, &diffing->files);

    return status != WM_OK ? status
                           : rules_compile(&desk->arena, &diffing->files, &desk->sink, &diffing->after);
}

static int compare(struct diffing *diffing)
{
    int status = desk_open_rules(&diffing->desk, diffing->options);

    if (status == WM_OK)
        status = open_other_rules(diffing);
    if (status == WM_OK && diffing->options->format == FORMAT_CSV)
        buffer_add_string(&diffing->out, HEADER);
    if (status == WM_OK)
        status = rules_differences(diffing->desk.rules, diffing->after, take_difference, diffing);
    if (status == WM_OK && diffing->differences == 0 && diffing->options->format == FORMAT_TEXT)
        buffer_add_string(&diffing->out, "the rules decide alike: no row differs\n");
    return status == WM_OK && has_office(diffing) ? compare_claims(diffing) : status;
}

static int run_rules_diff(const struct options *options)
{
    struct diffing diffing = {.options = options};
    struct output output;
    int code = cli_exit(compare(&diffing));

    if (code == EXIT_DONE)
        code = output_open(&output, options->out, &diffing.desk.sink) == WM_OK ? EXIT_DONE : EXIT_UNUSABLE;
    if (code == EXIT_DONE) {
        output_add(&output, diffing.out.bytes, diffing.out.length);
        code = cli_finish(&output, &diffing.desk.sink, code);
    }
    redecision_free(&diffing.redecision);
    rules_free(diffing.after);
    buffer_free(&diffing.out);
    arena_free(&diffing.arena);
    desk_close(&diffing.desk);
    return code;
}

const struct command COMMAND_RULES_DIFF = {
    .name = "rules diff",
    .arguments = "DIR",
    .summary = "tells what changes from the rules to those in DIR, and for which recorded claims",
    .details =
        "Row by row, in words. Then, where the office file has recorded claims: those that would be decided\n"
        "differently with the rules in DIR, and the sum by dealer. Each batch is decided again with both "
        "rules, on\n"
        "its own day and with the office data of that day; of each claim its highest revision counts, and "
        "what\n"
        "people decided since is left out on both sides.\n",
    .options = OPTION_BIT(OPTION_RULES) | OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_FORMAT) |
               OPTION_BIT(OPTION_OUT) | OPTION_BIT(OPTION_THREADS),
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_rules_diff,
};
