#include "ledger/outliers.h"

#include "base/decimal.h"
#include "base/buffer.h"
#include "base/date.h"
#include "base/status.h"
#include "ledger/outlier_counts.h"

/* --- Comparing -------------------------------------------------------------------------------- */

static int spread(struct comparison *comparison, struct arena *arena)
{
    struct funnel_count *counts = ARENA_ARRAY(arena, struct funnel_count, comparison->dealer_count);

    if (counts == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < comparison->dealer_count; i++) {
        counts[i] = comparison->dealers[i].claims;
        comparison->all.count += counts[i].count;
        comparison->all.of += counts[i].of;
    }
    comparison->rate = comparison->all.of > 0 ? funnel_rate(comparison->all) : 0;
    return funnel_spread(comparison->all, counts, comparison->dealer_count, comparison->measure->draw_in,
                         &comparison->phi);
}

static void compare(const struct comparison *comparison, struct compared_dealer *dealer)
{
    const struct measure *measure = comparison->measure;
    struct funnel_count all = comparison->all;
    int64_t of = dealer->claims.of, phi = comparison->phi;

    dealer->rate = funnel_rate(dealer->claims);
    dealer->z = funnel_z(all, dealer->claims);
    dealer->low_far = funnel_limit(all, of, FUNNEL_ONE - measure->far, phi);
    dealer->low_near = funnel_limit(all, of, FUNNEL_ONE - measure->near, phi);
    dealer->high_near = funnel_limit(all, of, measure->near, phi);
    dealer->high_far = funnel_limit(all, of, measure->far, phi);
    dealer->beyond = funnel_beyond(all, dealer->claims, measure->far, phi);
    dealer->stands_out =
        (dealer->beyond > 0 && measure->side != SIDE_LOW) || (dealer->beyond < 0 && measure->side != SIDE_HIGH);
}

/* The dealers that have a claim of which the measure speaks. */
static int take_dealers(struct comparison *comparison, uint32_t number, const struct counted_dealer *counted,
                        uint32_t count, struct arena *arena)
{
    comparison->dealers = ARENA_ARRAY(arena, struct compared_dealer, count);
    if (comparison->dealers == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < count; i++)
        if (counted[i].counts[number].of > 0)
            comparison->dealers[comparison->dealer_count++] =
                (struct compared_dealer){.dealer = counted[i].dealer, .claims = counted[i].counts[number]};
    return WM_OK;
}

int ledger_compare(struct office *office, const struct measures *measures, const struct outlier_scope *scope,
                   struct ledger_point point, struct arena *arena, struct comparison **ret_comparisons)
{
    struct comparison *list = ARENA_ARRAY(arena, struct comparison, measures->count);
    struct counted_dealer *counted = NULL;
    uint32_t count = 0;
    int status = list == NULL ? WM_NO_MEMORY : outlier_count(office, measures, scope, point, arena, &counted, &count);

    for (uint32_t i = 0; status == WM_OK && i < measures->count; i++) {
        list[i] = (struct comparison){.measure = &measures->list[i]};
        status = take_dealers(&list[i], i, counted, count, arena);
        if (status == WM_OK)
            status = spread(&list[i], arena);
        for (uint32_t k = 0; status == WM_OK && k < list[i].dealer_count; k++) {
            compare(&list[i], &list[i].dealers[k]);
            list[i].standing_out += list[i].dealers[k].stands_out;
        }
    }
    if (status == WM_OK)
        *ret_comparisons = list;
    return status;
}

/* --- In words --------------------------------------------------------------------------------- */

static void add_percent(struct buffer *words, int64_t millionths)
{
    char room[DECIMAL_ROOM];

    buffer_add(words, room, money_write(round_half_away(millionths, 100), room));
    buffer_add_string(words, " %");
}

static void add_counts(struct buffer *words, const struct comparison *comparison,
                       const struct compared_dealer *dealer)
{
    buffer_add_text(words, comparison->measure->title);
    buffer_format(words, ": %lld of this dealer's %lld claims (", (long long)dealer->claims.count,
                  (long long)dealer->claims.of);
    add_percent(words, dealer->rate);
    buffer_format(words, "), against %lld of %lld (", (long long)comparison->all.count,
                  (long long)comparison->all.of);
    add_percent(words, comparison->rate);
    buffer_format(words, ") at all %u dealers together. ", comparison->dealer_count);
}

static void add_limit(struct buffer *words, const struct comparison *comparison,
                      const struct compared_dealer *dealer)
{
    int64_t of = dealer->claims.of;
    char room[DECIMAL_ROOM];

    buffer_format(words, "For %lld claim%s the %s limit is ", (long long)of, of == 1 ? "" : "s",
                  dealer->beyond > 0 ? "upper" : "lower");
    add_percent(words, dealer->beyond > 0 ? dealer->high_far : dealer->low_far);
    buffer_format(words, "; chance alone keeps a dealer %s it with a probability of at least ",
                  dealer->beyond > 0 ? "below" : "above");
    add_percent(words, comparison->measure->far);
    if (comparison->phi > FUNNEL_ONE) {
        buffer_add_string(words, ", and it is moved out by the factor ");
        buffer_add(words, room,
                   money_write(round_half_away(funnel_widening(comparison->phi), DECIMAL_CENT), room));
        buffer_add_string(words, " because dealers differ by more than chance");
    }
    buffer_add_string(words, ". ");
}

static void add_day(struct buffer *words, const char *before, int32_t day)
{
    char room[DATE_ROOM];

    if (day == DAY_NONE)
        return;
    buffer_add_string(words, before);
    buffer_add(words, room, date_write(day, room));
}

static void add_scope(struct buffer *words, const struct outlier_scope *scope, int32_t today)
{
    buffer_add_string(words, "Counted were claims");
    if (scope->campaign.length > 0) {
        buffer_add_string(words, " of campaign ");
        buffer_add_text(words, scope->campaign);
    }
    if (scope->since != DAY_NONE || scope->until != DAY_NONE)
        buffer_add_string(words, " received");
    add_day(words, " from ", scope->since);
    add_day(words, " up to ", scope->until);
    add_day(words, " as they were decided on ", today);
    buffer_add_byte(words, '.');
}

struct text outlier_basis(struct arena *arena, const struct comparison *comparison,
                          const struct compared_dealer *dealer, const struct outlier_scope *scope,
                          int32_t today)
{
    struct buffer words = BUFFER_EMPTY;

    add_counts(&words, comparison, dealer);
    add_limit(&words, comparison, dealer);
    add_scope(&words, scope, today);
    struct text copy = words.failed ? (struct text){NULL, 0} : text_copy(arena, buffer_text(&words));
    buffer_free(&words);
    return copy;
}
