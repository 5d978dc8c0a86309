#include "ledger/outliers.h"

#include "base/decimal.h"
#include "base/buffer.h"
#include "base/status.h"
#include "ledger/columns.h"

/* Lists come as ";a;b;", empty ones as "". */
enum { SINCE = 1, UNTIL, CAMPAIGN, OF_DECISION, OF_OUTCOME, DECISION, OUTCOME, EFFECT, FINDING, FOLLOWUP };
static const char COUNT_CLAIMS[] =
    "SELECT c.dealer, "
    "       sum((?6 = '' OR instr(?6, ';' || c.decision || ';') > 0) "
    "       AND (?7 = '' OR instr(?7, ';' || lower(c.outcome) || ';') > 0) "
    "       AND ((?8 = '' AND ?9 = '') OR EXISTS (SELECT 1 FROM findings AS f WHERE f.row = c.row "
    "            AND (?8 = '' OR instr(?8, ';' || f.effect || ';') > 0) "
    "            AND (?9 = '' OR instr(?9, ';' || f.finding || ';') > 0))) "
    "       AND (?10 = '' "
    "            OR (instr(?10, ';opened;') > 0 AND EXISTS (SELECT 1 FROM followups AS w WHERE w.row = c.row)) "
    "            OR (instr(?10, ';supplied;') > 0 AND c.row IN (SELECT supplied_by FROM followup_parts)))), "
    "       count(*) "
    "FROM claims_now AS c "
    "WHERE (?1 IS NULL OR c.received_on >= ?1) AND (?2 IS NULL OR c.received_on <= ?2) "
    "  AND (?3 = '' OR c.campaign = ?3) "
    "  AND (?4 = '' OR instr(?4, ';' || c.decision || ';') > 0) "
    "  AND (?5 = '' OR instr(?5, ';' || lower(c.outcome) || ';') > 0) "
    "GROUP BY c.dealer ORDER BY c.dealer";

/* --- Counting ------------------------------------------------------------------------------------------------
 */

static struct text list_of(struct arena *arena, struct text words)
{
    struct buffer list = BUFFER_EMPTY;
    struct text rest = words, word;

    while (text_next(&rest, ';', &word)) {
        if (word.length == 0)
            continue;
        buffer_add_string(&list, list.length == 0 ? ";" : "");
        for (size_t i = 0; i < word.length; i++)
            buffer_add_byte(&list, (char)(word.bytes[i] >= 'A' && word.bytes[i] <= 'Z' ? word.bytes[i] + 32
                                                                                       : word.bytes[i]));
        buffer_add_byte(&list, ';');
    }
    struct text copy = list.failed ? (struct text){NULL, 0} : text_copy(arena, buffer_text(&list));
    buffer_free(&list);
    return copy;
}

static struct text day_words(struct arena *arena, int32_t day)
{
    char room[DATE_ROOM];

    return text_copy(arena, (struct text){room, date_write(day, room)});
}

static int bind_day_words(sqlite3_stmt *statement, int at, struct arena *arena, int32_t day)
{
    if (day == DAY_NONE)
        return WM_OK;
    struct text words = day_words(arena, day);
    bind_text(statement, at, words);
    return words.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int bind_measure(sqlite3_stmt *statement, const struct measure *measure,
                        const struct outlier_scope *scope, struct arena *arena)
{
    const struct {
        int at;
        struct text words;
    } lists[] = {{OF_DECISION, measure->of.decision}, {OF_OUTCOME, measure->of.outcome},
                 {DECISION, measure->is.decision},    {OUTCOME, measure->is.outcome},
                 {EFFECT, measure->effect},           {FINDING, measure->finding},
                 {FOLLOWUP, measure->followup}};

    int status = bind_day_words(statement, SINCE, arena, scope->since);

    if (status == WM_OK)
        status = bind_day_words(statement, UNTIL, arena, scope->until);
    bind_text(statement, CAMPAIGN, scope->campaign);
    for (size_t i = 0; status == WM_OK && i < sizeof lists / sizeof *lists; i++) {
        struct text list = list_of(arena, lists[i].words);
        if (list.bytes == NULL)
            return WM_NO_MEMORY;
        bind_text(statement, lists[i].at, list);
    }
    return status;
}

struct dealer_list {
    struct compared_dealer *dealers;
    uint32_t count, capacity;
};

static int add_dealer(struct dealer_list *list, sqlite3_stmt *statement, struct arena *arena)
{
    if (list->count == list->capacity) {
        uint32_t capacity = list->capacity ? list->capacity * 2 : 64;
        struct compared_dealer *grown = arena_grown(arena, list->dealers, list->count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        list->dealers = grown;
        list->capacity = capacity;
    }
    struct compared_dealer *dealer = &list->dealers[list->count++];
    *dealer = (struct compared_dealer){
        .dealer = column_copy(statement, 0, arena),
        .claims = {sqlite3_column_int64(statement, 1), sqlite3_column_int64(statement, 2)}};
    return dealer->dealer.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int count_dealers(struct office *office, const struct outlier_scope *scope, struct arena *arena,
                         struct comparison *comparison)
{
    struct dealer_list list = {NULL, 0, 0};
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(office, COUNT_CLAIMS, &statement);

    if (status == WM_OK)
        status = bind_measure(statement, comparison->measure, scope, arena);
    if (status == WM_OK)
        status = office_step(office, statement, &more);
    while (status == WM_OK && more) {
        status = add_dealer(&list, statement, arena);
        if (status == WM_OK)
            status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    comparison->dealers = list.dealers;
    comparison->dealer_count = list.count;
    return status;
}

/* --- Comparing
 * ------------------------------------------------------------------------------------------------ */

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

int ledger_compare(struct office *office, const struct measures *measures, const struct outlier_scope *scope,
                   struct arena *arena, struct comparison **ret_comparisons)
{
    struct comparison *list = ARENA_ARRAY(arena, struct comparison, measures->count);
    int status = list == NULL ? WM_NO_MEMORY : WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < measures->count; i++) {
        list[i] = (struct comparison){.measure = &measures->list[i]};
        status = count_dealers(office, scope, arena, &list[i]);
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

/* --- In words
 * --------------------------------------------------------------------------------------------------- */

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
