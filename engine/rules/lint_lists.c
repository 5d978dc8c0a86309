/* A campaign's lists and dates: stages, prices, hours, what it replaces. No analysis of conditions. */
#include "base/status.h"
#include "rules/lint_parts.h"

enum { STAGE_COLUMN = 1, DATE_COLUMN = 2, VALUE_COLUMN = 2, PART_COLUMN = 1 };

struct listing {
    struct lint *lint;
    const struct campaign *campaign;
    struct text folder;
};

static int say(const struct listing *listing, enum lint_severity severity, enum lint_kind kind,
               struct place place, struct text wrong, const char *advice)
{
    return lint_say(
        listing->lint,
        &(struct lint_result){
            .severity = severity, .kind = kind, .place = place, .wrong = wrong, .advice = text_of(advice)});
}

static struct place key_place(const struct listing *listing, const char *key)
{
    return lint_list_place(listing->lint, listing->folder, "campaign.csv", text_of(key), VALUE_COLUMN);
}

#define WORDS(listing, ...) text_format(&(listing)->lint->arena, __VA_ARGS__)

/* --- Dates ---------------------------------------------------------------------------------------- */

static int look_at_order(const struct listing *listing, const char *first, int32_t first_day,
                         const char *second, int32_t second_day)
{
    char one[DATE_ROOM], other[DATE_ROOM];

    if (first_day == DAY_NONE || second_day == DAY_NONE || first_day <= second_day)
        return WM_OK;
    date_write(first_day, one);
    date_write(second_day, other);
    return say(listing, LINT_ERROR, LINT_CONTRADICTION, key_place(listing, second),
               WORDS(listing, "%s, %s, is before %s, %s", second, other, first, one), "correct the dates");
}

static int look_at_dates(const struct listing *listing)
{
    const struct campaign *campaign = listing->campaign;
    int status = look_at_order(listing, "opens_on", campaign->opens_on, "closes_on", campaign->closes_on);

    if (status == WM_OK)
        status = look_at_order(listing, "notice_began_on", campaign->notice_began_on, "notice_ended_on",
                               campaign->notice_ended_on);
    if (status != WM_OK || campaign->opens_on != DAY_NONE)
        return status;
    return say(listing, LINT_WARNING, LINT_GAP, key_place(listing, "opens_on"),
               TEXT("the campaign has no opens_on, so work of any day counts under it"), "fill the day in");
}

/* --- Stages --------------------------------------------------------------------------------------- */

static const struct stage *find_stage(const struct campaign *campaign, struct text name)
{
    for (uint32_t i = 0; i < campaign->stage_count; i++)
        if (text_equal(campaign->stages[i].name, name))
            return &campaign->stages[i];
    return NULL;
}

static struct text nearest_stage(const struct campaign *campaign, struct text name)
{
    size_t best = name.length / 2 + 1;
    struct text nearest = {"", 0};

    for (uint32_t i = 0; i < campaign->stage_count; i++) {
        size_t distance = text_distance(name, campaign->stages[i].name, best);
        if (distance < best) {
            best = distance;
            nearest = campaign->stages[i].name;
        }
    }
    return nearest;
}

static int say_unknown_stage(const struct listing *listing, uint32_t row, struct text name)
{
    const struct table *eligibility = listing->campaign->eligibility;
    struct text nearest = nearest_stage(listing->campaign, name);
    struct text hint = nearest.length == 0
                           ? (struct text){"", 0}
                           : WORDS(listing, "; the nearest is \"%.*s\"", TEXT_ARGUMENTS(nearest));

    if (hint.bytes == NULL)
        return WM_NO_MEMORY;
    return say(listing, LINT_ERROR, LINT_CONTRADICTION, lint_output_place(eligibility, row, "stage"),
               WORDS(listing, "stage \"%.*s\" is not in stages.csv, so it never opens%.*s",
                     TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(hint)),
               "correct the name, or add the stage to stages.csv");
}

/* A row of eligibility.csv that takes vehicles in. */
static int look_at_stage_of(const struct listing *listing, uint32_t row)
{
    const struct campaign *campaign = listing->campaign;
    struct text name = lint_output_text(campaign->eligibility, row, "stage");
    const struct stage *stage = find_stage(campaign, name);

    if (name.length == 0 && campaign->stage_count > 0)
        return say(listing, LINT_WARNING, LINT_CONTRADICTION,
                   lint_output_place(campaign->eligibility, row, "stage"),
                   WORDS(listing, "row \"%.*s\" has no stage, and the campaign has stages",
                         TEXT_ARGUMENTS(table_row_name(campaign->eligibility, row))),
                   "fill the stage in");
    return name.length > 0 && stage == NULL ? say_unknown_stage(listing, row, name) : WM_OK;
}

static bool takes_in(const struct table *eligibility, uint32_t row)
{
    struct value eligible = table_output(eligibility, row, (uint32_t)table_output_named(eligibility, "eligible"));

    return eligible.type == VALUE_BOOLEAN && eligible.number;
}

static int look_at_stage(const struct listing *listing, const struct stage *stage)
{
    const struct campaign *campaign = listing->campaign;
    struct place place =
        lint_list_place(listing->lint, listing->folder, "stages.csv", stage->name, STAGE_COLUMN);
    bool used = false;

    for (uint32_t row = 0; row < table_row_count(campaign->eligibility); row++)
        used = used || (takes_in(campaign->eligibility, row) &&
                        text_equal(lint_output_text(campaign->eligibility, row, "stage"), stage->name));
    if (!used)
        return say(listing, LINT_NOTE, LINT_UNUSED, place,
                   WORDS(listing, "no row of eligibility.csv puts a vehicle in stage \"%.*s\"",
                         TEXT_ARGUMENTS(stage->name)),
                   "take it out if it is not meant for later");
    place.column = DATE_COLUMN;
    if (stage->opens_on == DAY_NONE)
        return say(listing, LINT_WARNING, LINT_GAP, place,
                   WORDS(listing, "stage \"%.*s\" has no day, so it never opens", TEXT_ARGUMENTS(stage->name)),
                   "fill in its opens_on when the day is known");
    if (campaign->opens_on != DAY_NONE && stage->opens_on < campaign->opens_on)
        return say(listing, LINT_WARNING, LINT_CONTRADICTION, place,
                   WORDS(listing, "stage \"%.*s\" opens before the campaign does", TEXT_ARGUMENTS(stage->name)),
                   "correct its opens_on, or that of campaign.csv");
    if (campaign->closes_on != DAY_NONE && stage->opens_on > campaign->closes_on)
        return say(
            listing, LINT_ERROR, LINT_CONTRADICTION, place,
            WORDS(listing, "stage \"%.*s\" opens after the campaign closes", TEXT_ARGUMENTS(stage->name)),
            "correct its opens_on, or closes_on in campaign.csv");
    return WM_OK;
}

static int look_at_stages(const struct listing *listing)
{
    const struct campaign *campaign = listing->campaign;
    int status = WM_OK;

    for (uint32_t row = 0; status == WM_OK && row < table_row_count(campaign->eligibility); row++)
        if (takes_in(campaign->eligibility, row))
            status = look_at_stage_of(listing, row);
    for (uint32_t i = 0; status == WM_OK && i < campaign->stage_count; i++)
        status = look_at_stage(listing, &campaign->stages[i]);
    return status;
}

/* --- Hours ---------------------------------------------------------------------------------------- */

static int look_at_hours(const struct listing *listing)
{
    const struct table *labor = listing->campaign->labor;
    int status = WM_OK;

    for (uint32_t row = 0; status == WM_OK && labor != NULL && row < table_row_count(labor); row++) {
        struct value hours = table_output(labor, row, (uint32_t)table_output_named(labor, "hours"));
        char written[DECIMAL_ROOM];
        if (hours.number % (DECIMAL_ONE / 10) == 0)
            continue;
        decimal_write(hours.number, written);
        status = say(listing, LINT_WARNING, LINT_CONTRADICTION, lint_output_place(labor, row, "hours"),
                     WORDS(listing, "%s hours are no whole tenths, and hours are claimed in tenths", written),
                     "round them to a tenth");
    }
    return status;
}

/* --- Prices --------------------------------------------------------------------------------------- */

static bool names_part(struct lint *lint, const struct table *table, const char *output, struct text key)
{
    for (uint32_t row = 0; table != NULL && row < table_row_count(table); row++) {
        struct text shown = lint_output_text(table, row, output);
        char *room = arena_bytes(&lint->arena, shown.length + 1);
        lint->no_memory = lint->no_memory || room == NULL;
        if (room != NULL && text_equal((struct text){room, text_item_key(shown, room)}, key))
            return true;
    }
    return false;
}

static int look_at_prices(const struct listing *listing)
{
    const struct campaign *campaign = listing->campaign;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < campaign->part_count; i++) {
        const struct campaign_part *part = &campaign->part_list[i];
        if (part->is_kit || names_part(listing->lint, campaign->parts, "part", part->key) ||
            names_part(listing->lint, campaign->followups, "part", part->key))
            continue;
        status =
            say(listing, LINT_NOTE, LINT_UNUSED,
                lint_list_place(listing->lint, listing->folder, "prices.csv", part->shown, PART_COLUMN),
                WORDS(listing, "the part %.*s has a price, and no table names it", TEXT_ARGUMENTS(part->shown)),
                "take it out if it is not a mistyped number");
    }
    return status;
}

/* --- What the campaign replaces ------------------------------------------------------------------- */

/* Whether one comes back to a campaign by going on to what each one replaces. */
static bool is_in_circle(const struct rules *rules, const struct campaign *campaign)
{
    const struct campaign *at = campaign;

    for (uint32_t steps = 0; steps < rules->campaign_count && at->replaces >= 0; steps++) {
        at = &rules->campaigns[at->replaces];
        if (at == campaign)
            return true;
    }
    return false;
}

static int look_at_replaced(const struct listing *listing)
{
    const struct campaign *campaign = listing->campaign;
    struct place place = key_place(listing, "replaces");

    if (campaign->replaces_id.length == 0)
        return WM_OK;
    if (campaign->replaces < 0)
        return say(listing, LINT_WARNING, LINT_CONTRADICTION, place,
                   WORDS(listing, "the campaign replaces %.*s, which is not there",
                         TEXT_ARGUMENTS(campaign->replaces_id)),
                   "correct the number; if its rules were taken out, put them back for the claims under it");
    if (is_in_circle(listing->lint->rules, campaign))
        return say(listing, LINT_ERROR, LINT_CONTRADICTION, place,
                   WORDS(listing, "campaign %.*s replaces itself, by way of %.*s", TEXT_ARGUMENTS(campaign->id),
                         TEXT_ARGUMENTS(campaign->replaces_id)),
                   "leave the older campaign's `replaces` empty");
    return WM_OK;
}

int lint_campaign_lists(struct lint *lint, const struct campaign *campaign)
{
    int (*const parts[])(const struct listing *) = {look_at_dates, look_at_replaced, look_at_stages,
                                                    look_at_hours, look_at_prices};
    struct listing listing = {lint, campaign,
                              text_format(&lint->arena, "campaigns/%.*s", TEXT_ARGUMENTS(campaign->id))};
    int status = listing.folder.bytes == NULL ? WM_NO_MEMORY : WM_OK;

    for (size_t i = 0; status == WM_OK && i < sizeof parts / sizeof *parts; i++)
        status = parts[i](&listing);
    return status;
}
