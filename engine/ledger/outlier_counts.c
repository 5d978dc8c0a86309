#include "ledger/outlier_counts.h"

#include <stdlib.h>

#include "base/status.h"
#include "base/text_index.h"
#include "ledger/columns.h"
#include "ledger/office_decisions.h"

/* Each in the order of rows, which its first column gives. */
enum stream { CLAIMS, FINDINGS, OPENED, SUPPLIED, STREAMS };

static const char *const SQL[STREAMS] = {
    /* claims_now, as of the point */
    [CLAIMS] = "SELECT r.row, r.dealer, coalesce((SELECT action FROM office_decisions WHERE number = "
               "(SELECT max(number) FROM office_decisions WHERE row = r.row AND " DECIDES_ROW " AND number <= ?5)), "
               "r.decision), r.outcome FROM claim_rows AS r JOIN batches AS b ON b.batch = r.batch "
               "WHERE r.row <= ?4 AND r.replaces IS NOT 0 "
               "AND NOT EXISTS (SELECT 1 FROM replaced_rows WHERE row = r.row AND replaced_by <= ?4) "
               "AND (?1 IS NULL OR b.received_on >= ?1) AND (?2 IS NULL OR b.received_on <= ?2) "
               "AND (?3 = '' OR r.campaign = ?3) ORDER BY r.row",
    [FINDINGS] = "SELECT row, effect, finding FROM findings ORDER BY row, number",
    [OPENED] = "SELECT DISTINCT row FROM followups ORDER BY row",
    [SUPPLIED] = "SELECT DISTINCT supplied_by FROM followup_parts ORDER BY supplied_by",
};

struct counting {
    struct office *office;
    const struct measures *measures;
    struct arena *arena;
    sqlite3_stmt *streams[STREAMS];
    bool has[STREAMS];     /* the stream stands on a row */
    bool *found;           /* by measure: some finding of the claim is one it counts */
    bool opened, supplied; /* the claim's follow-up work */
    struct text_index index;
    struct counted_dealer *dealers;
    uint32_t count, capacity;
};

/* --- One claim -------------------------------------------------------------------------------- */

static bool lists(struct text words, struct text word)
{
    struct text rest = words, one;

    while (text_next(&rest, ';', &one))
        if (text_equal_any_case(one, word))
            return true;
    return false;
}

/* An empty list asks for nothing. */
static bool suits(struct text words, struct text word)
{
    return words.length == 0 || lists(words, word);
}

static bool suits_followup(const struct counting *counting, struct text words)
{
    return words.length == 0 || (counting->opened && lists(words, TEXT("opened"))) ||
           (counting->supplied && lists(words, TEXT("supplied")));
}

static void count_claim(struct counting *counting, struct counted_dealer *dealer)
{
    struct text decision = column_text(counting->streams[CLAIMS], 2),
                outcome = column_text(counting->streams[CLAIMS], 3);

    for (uint32_t i = 0; i < counting->measures->count; i++) {
        const struct measure *measure = &counting->measures->list[i];
        bool asks_finding = measure->effect.length > 0 || measure->finding.length > 0;
        if (!suits(measure->of.decision, decision) || !suits(measure->of.outcome, outcome))
            continue;
        dealer->counts[i].of++;
        dealer->counts[i].count +=
            suits(measure->is.decision, decision) && suits(measure->is.outcome, outcome) &&
            (!asks_finding || counting->found[i]) && suits_followup(counting, measure->followup);
    }
}

/* --- Streams ---------------------------------------------------------------------------------- */

static int next(struct counting *counting, enum stream stream)
{
    return office_step(counting->office, counting->streams[stream], &counting->has[stream]);
}

static void take_finding(struct counting *counting)
{
    struct text effect = column_text(counting->streams[FINDINGS], 1),
                finding = column_text(counting->streams[FINDINGS], 2);

    for (uint32_t i = 0; i < counting->measures->count; i++) {
        const struct measure *measure = &counting->measures->list[i];
        if (suits(measure->effect, effect) && suits(measure->finding, finding))
            counting->found[i] = true;
    }
}

/* Moves a stream to the claim's row. *ret_there: it has one for the claim; of findings each is taken. */
static int follow(struct counting *counting, enum stream stream, int64_t row, bool *ret_there)
{
    int status = WM_OK;

    *ret_there = false;
    while (status == WM_OK && counting->has[stream]) {
        int64_t at = sqlite3_column_int64(counting->streams[stream], 0);
        if (at > row)
            break;
        if (at == row) {
            *ret_there = true;
            if (stream == FINDINGS)
                take_finding(counting);
        }
        status = next(counting, stream);
    }
    return status;
}

static int find_dealer(struct counting *counting, struct text code, struct counted_dealer **ret_dealer)
{
    uint32_t number = text_index_find(&counting->index, code);

    if (number != TEXT_INDEX_NONE) {
        *ret_dealer = &counting->dealers[number];
        return WM_OK;
    }
    if (counting->count == counting->capacity) {
        uint32_t capacity = counting->capacity ? counting->capacity * 2 : 64;
        struct counted_dealer *grown =
            arena_grown(counting->arena, counting->dealers, counting->count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        counting->dealers = grown;
        counting->capacity = capacity;
    }
    struct counted_dealer dealer = {
        text_copy(counting->arena, code),
        ARENA_ARRAY(counting->arena, struct funnel_count, counting->measures->count)};
    if (dealer.dealer.bytes == NULL || dealer.counts == NULL ||
        text_index_add(&counting->index, dealer.dealer, counting->count) == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    *ret_dealer = &counting->dealers[counting->count];
    counting->dealers[counting->count++] = dealer;
    return WM_OK;
}

static int take_claim(struct counting *counting)
{
    int64_t row = sqlite3_column_int64(counting->streams[CLAIMS], 0);
    struct counted_dealer *dealer = NULL;
    bool any;

    memset(counting->found, 0, counting->measures->count * sizeof *counting->found);
    int status = follow(counting, FINDINGS, row, &any);
    if (status == WM_OK)
        status = follow(counting, OPENED, row, &counting->opened);
    if (status == WM_OK)
        status = follow(counting, SUPPLIED, row, &counting->supplied);
    if (status == WM_OK)
        status = find_dealer(counting, column_text(counting->streams[CLAIMS], 1), &dealer);
    if (status == WM_OK)
        count_claim(counting, dealer);
    return status;
}

/* --- All -------------------------------------------------------------------------------------- */

static int open_streams(struct counting *counting, const struct outlier_scope *scope, struct ledger_point point)
{
    int status = WM_OK;

    for (int stream = 0; status == WM_OK && stream < STREAMS; stream++)
        status = office_prepare(counting->office, SQL[stream], &counting->streams[stream]);
    if (status == WM_OK) {
        bind_day(counting->streams[CLAIMS], 1, scope->since);
        bind_day(counting->streams[CLAIMS], 2, scope->until);
        bind_text(counting->streams[CLAIMS], 3, scope->campaign);
        sqlite3_bind_int64(counting->streams[CLAIMS], 4, point.last_row);
        sqlite3_bind_int64(counting->streams[CLAIMS], 5, point.last_decision);
    }
    for (int stream = 0; status == WM_OK && stream < STREAMS; stream++)
        status = next(counting, (enum stream)stream);
    return status;
}

static int by_code(const void *a, const void *b)
{
    return text_compare(((const struct counted_dealer *)a)->dealer, ((const struct counted_dealer *)b)->dealer);
}

int outlier_count(struct office *office, const struct measures *measures, const struct outlier_scope *scope,
                  struct ledger_point point, struct arena *arena, struct counted_dealer **ret_dealers,
                  uint32_t *ret_count)
{
    struct counting counting = {.office = office,
                                .measures = measures,
                                .arena = arena,
                                .found = ARENA_ARRAY(arena, bool, measures->count),
                                .index = TEXT_INDEX_EMPTY};
    int status = counting.found == NULL ? WM_NO_MEMORY : open_streams(&counting, scope, point);

    while (status == WM_OK && counting.has[CLAIMS]) {
        status = take_claim(&counting);
        if (status == WM_OK)
            status = next(&counting, CLAIMS);
    }
    for (int stream = 0; stream < STREAMS; stream++)
        sqlite3_finalize(counting.streams[stream]);
    text_index_free(&counting.index);
    if (status != WM_OK)
        return status;
    if (counting.count > 1)
        qsort(counting.dealers, counting.count, sizeof *counting.dealers, by_code);
    *ret_dealers = counting.dealers;
    *ret_count = counting.count;
    return WM_OK;
}
