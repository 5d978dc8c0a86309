#include "ledger/completion.h"

#include <stdio.h>

#include "base/status.h"
#include "facts/establish.h"
#include "ledger/columns.h"
#include "ledger/office_decisions.h"
#include "ledger/office_source.h"
#include "ledger/rules_record.h"

/* The last rules that decided a batch by the day. */
static const char RULES_THEN[] = "SELECT rules FROM batches WHERE today <= ?1 ORDER BY batch DESC LIMIT 1";

/* The day on which vehicles were loaded first; null: never. */
static const char FIRST_LOAD[] = "SELECT min(loaded_on) FROM loads WHERE kind = 'vehicles'";

/* Every version of every vehicle that was loaded by the day, the last of each vehicle last. CROSS JOIN: in the
 * order of the vehicles, which takes no sorting. */
static const char VEHICLES_THEN[] =
    "SELECT v.vin, v.profile, v.built_on FROM vehicle_versions AS v CROSS JOIN loads AS l ON l.load = v.load "
    "WHERE l.loaded_on <= ?1 ORDER BY v.vin, v.load";

/* The rows of a campaign that were decided pay or hold by the day, each with what was decided on it by then,
 * whether it was reversed by then, and whether a later revision of its claim was pay by then. */
static const char ROWS_THEN[] =
    "WITH decided(row, campaign, vin, outcome, completed_on, decision) AS NOT MATERIALIZED ("
    "  SELECT r.row, r.campaign, r.vin, r.outcome, r.completed_on,"
    "         coalesce((SELECT d.action FROM office_decisions AS d"
    "                   WHERE d.row = r.row AND " DECIDES_ROW " AND d.decided_on <= ?2"
    "                   ORDER BY d.number DESC LIMIT 1), r.decision)"
    "  FROM claim_rows AS r JOIN batches AS b ON b.batch = r.batch"
    "  WHERE b.today <= ?2 AND r.replaces IS NOT 0) "
    "SELECT c.vin, c.outcome, c.decision,"
    "       EXISTS (SELECT 1 FROM office_decisions AS d WHERE d.row = c.row AND d.action = 'reverse' "
    "               AND d.decided_on <= ?2),"
    "       (WITH RECURSIVE later(row) AS ("
    "            SELECT replaced_by FROM replaced_rows WHERE row = c.row UNION "
    "            SELECT p.replaced_by FROM later JOIN replaced_rows AS p ON p.row = later.row) "
    "        SELECT max(CASE q.decision WHEN 'pay' THEN 2 WHEN 'hold' THEN 1 ELSE 0 END) "
    "        FROM later JOIN decided AS q ON q.row = later.row) "
    "FROM decided AS c WHERE c.campaign = ?1 AND c.decision IN ('pay', 'hold')"
    "  AND (c.completed_on IS NULL OR c.completed_on <= ?2) "
    "ORDER BY c.vin";

enum { LATER_HOLD = 1, LATER_PAY = 2 };

/* What claims say of one vehicle. */
struct claimed {
    bool repaired, inspected, held, taken_back;
};

struct completing {
    struct office *office;
    const struct rules *rules;
    const struct campaign *campaign;
    int32_t day;
    struct diag_sink *sink;
    struct arena arena;
    struct rules_files files;
    struct rules *recorded; /* owned */
    struct vehicle_profile *profiles;
    uint32_t profile_count;
    struct table_scratch *scratch;
    struct value *facts;
    sqlite3_stmt *vehicles, *rows;
    bool has_vehicle, has_row; /* the statements stand on one */
    struct completion result;
};

/* --- Rules and profiles ----------------------------------------------------------------------- */

static int rules_then(struct completing *completing, int64_t *ret_rules)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(completing->office, RULES_THEN, &statement);

    if (status == WM_OK) {
        bind_day(statement, 1, completing->day);
        status = office_step(completing->office, statement, &row);
    }
    if (status == WM_OK)
        *ret_rules = row ? sqlite3_column_int64(statement, 0) : 0;
    sqlite3_finalize(statement);
    return status;
}

static int open_rules(struct completing *completing, const struct rules *at_hand, struct text campaign)
{
    int64_t number = 0;
    int status = rules_then(completing, &number);

    if (status == WM_OK && number != 0)
        status = rules_recorded(completing->office, number, &completing->arena, &completing->files);
    if (status == WM_OK && number != 0)
        status = rules_compile(&completing->arena, &completing->files, completing->sink, &completing->recorded);
    if (status != WM_OK)
        return status;
    bool knows = completing->recorded != NULL && rules_campaign(completing->recorded, campaign) >= 0;
    completing->rules = knows ? completing->recorded : at_hand;
    completing->result.rules = knows ? number : 0;
    int at = rules_campaign(completing->rules, campaign);
    if (at < 0)
        return WM_NOT_FOUND;
    completing->campaign = &completing->rules->campaigns[at];
    completing->facts =
        ARENA_ARRAY(&completing->arena, struct value, completing->rules->dictionary->slot_count);
    return completing->facts == NULL ? WM_NO_MEMORY : table_scratch_new(&completing->scratch);
}

static int take_profile(void *taker, uint32_t number, const struct vehicle_profile *profile)
{
    struct completing *completing = taker;
    struct vehicle_profile *kept = &completing->profiles[number];
    struct text *const texts[] = {&kept->model_line, &kept->engine,  &kept->transmission,
                                  &kept->plant,      &kept->options, &kept->status};

    *kept = *profile;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        *texts[i] = text_copy(&completing->arena, *texts[i]);
        if (texts[i]->bytes == NULL)
            return WM_NO_MEMORY;
    }
    return WM_OK;
}

static int read_profiles(struct completing *completing)
{
    struct office_source *opened = NULL;
    int status = office_source_open(completing->office, 0, &opened);

    if (status != WM_OK)
        return status;
    struct register_source *source = office_source_register(opened);
    completing->profile_count = source->profile_limit;
    completing->profiles = ARENA_ARRAY(&completing->arena, struct vehicle_profile, source->profile_limit);
    status = completing->profiles == NULL ? WM_NO_MEMORY : WM_OK;
    if (status == WM_OK)
        status = source->profiles(source->context, 0, source->profile_limit, take_profile, completing);
    if (status == WM_IO)
        diag_error(completing->sink, (struct place){text_of(office_path(completing->office)), 0, 0}, "%.*s",
                   TEXT_ARGUMENTS(source->error(source->context)));
    office_source_close(opened);
    return status;
}

/* --- Claims and vehicles side by side --------------------------------------------------------- */

static int next_row(struct completing *completing)
{
    return office_step(completing->office, completing->rows, &completing->has_row);
}

static int next_vehicle(struct completing *completing)
{
    return office_step(completing->office, completing->vehicles, &completing->has_vehicle);
}

static void take_row(sqlite3_stmt *row, struct claimed *claimed)
{
    bool pay = text_is(column_text(row, 2), "pay"), reversed = sqlite3_column_int(row, 3) != 0;

    /* a payment gives way to a later payment alone, what is held to anything that stands */
    if (sqlite3_column_int(row, 4) >= (pay ? LATER_PAY : LATER_HOLD))
        return;
    if (!pay)
        claimed->held = true;
    else if (reversed)
        claimed->taken_back = true;
    else if (text_equal_any_case(column_text(row, 1), TEXT("inspected")))
        claimed->inspected = true;
    else
        claimed->repaired = true;
}

/* All rows on this VIN; those before it are on vehicles that the register did not have. */
static int take_rows(struct completing *completing, struct text vin, struct claimed *ret_claimed)
{
    struct claimed claimed = {false, false, false, false}, stray = claimed;
    char last[24] = "";
    int status = WM_OK;

    while (status == WM_OK && completing->has_row) {
        struct text at = column_text(completing->rows, 0);
        int order = vin.bytes == NULL ? -1 : text_compare(at, vin);
        if (order > 0)
            break;
        if (order < 0 && !text_is(at, last)) {
            completing->result.not_involved += stray.repaired || stray.inspected;
            stray = (struct claimed){false, false, false, false};
            snprintf(last, sizeof last, "%.*s", (int)at.length, at.bytes);
        }
        take_row(completing->rows, order == 0 ? &claimed : &stray);
        status = next_row(completing);
    }
    completing->result.not_involved += stray.repaired || stray.inspected;
    *ret_claimed = claimed;
    return status;
}

/* The status that counts on the day: one that is dated later does not yet. */
static struct text status_then(const struct completing *completing, const struct vehicle_profile *profile)
{
    return profile->status_on != DAY_NONE && profile->status_on > completing->day ? TEXT("") : profile->status;
}

static void count_unremedied(struct completing *completing, struct text status, const struct claimed *claimed)
{
    static const char *const WORDS[UNREACHABLE_KINDS] = {"exported", "stolen", "scrapped", "unreachable"};

    completing->result.held += claimed->held;
    completing->result.taken_back += claimed->taken_back && !claimed->held;
    for (int kind = 0; kind < UNREACHABLE_KINDS; kind++)
        completing->result.unreachable[kind] += text_equal_any_case(status, text_of(WORDS[kind]));
}

static void count_involved(struct completing *completing, const struct vehicle_profile *profile,
                           const struct claimed *claimed)
{
    struct completion *result = &completing->result;
    struct text status = status_then(completing, profile);
    bool remedied = claimed->repaired || claimed->inspected,
         unsold = text_equal_any_case(status, TEXT("unsold"));

    result->involved++;
    result->repaired += claimed->repaired;
    result->inspected += claimed->inspected && !claimed->repaired;
    result->unsold += unsold;
    result->unsold_remedied += unsold && remedied;
    if (!remedied)
        count_unremedied(completing, status, claimed);
}

static int count_vehicle(struct completing *completing, struct text vin, int64_t number, int32_t built_on)
{
    struct claimed claimed;
    struct value eligible;
    int status = take_rows(completing, vin, &claimed);

    if (status != WM_OK || number < 0 || number >= completing->profile_count)
        return status;
    struct vehicle vehicle = {(uint32_t)number, &completing->profiles[number], built_on};
    facts_of_vehicle(completing->rules, &vehicle, completing->facts);
    status = expectation_eligible(completing->campaign, completing->facts, completing->scratch, &eligible);
    if (status != WM_OK)
        return status;
    if (eligible.type == VALUE_BOOLEAN && eligible.number)
        count_involved(completing, vehicle.profile, &claimed);
    else {
        completing->result.undecided += eligible.type != VALUE_BOOLEAN;
        completing->result.not_involved += claimed.repaired || claimed.inspected;
    }
    return WM_OK;
}

static int count_all(struct completing *completing)
{
    struct claimed none;
    char vin[24];
    int status = next_row(completing);

    if (status == WM_OK)
        status = next_vehicle(completing);
    while (status == WM_OK && completing->has_vehicle) {
        struct text at = column_text(completing->vehicles, 0);
        struct text here = {vin, at.length < sizeof vin ? at.length : sizeof vin};
        memcpy(vin, at.bytes, here.length);
        int64_t profile = sqlite3_column_int64(completing->vehicles, 1);
        int32_t built_on = column_day(completing->vehicles, 2);
        status = next_vehicle(completing);
        bool again = completing->has_vehicle && text_equal(column_text(completing->vehicles, 0), here);
        if (status == WM_OK && !again)
            status = count_vehicle(completing, here, profile, built_on);
    }
    return status == WM_OK ? take_rows(completing, (struct text){NULL, 0}, &none) : status;
}

static int find_first_load(struct completing *completing)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(completing->office, FIRST_LOAD, &statement);

    if (status == WM_OK)
        status = office_step(completing->office, statement, &row);
    if (status == WM_OK && column_day(statement, 0) > completing->day)
        completing->result.first_load_on = column_day(statement, 0);
    sqlite3_finalize(statement);
    return status;
}

static int walk(struct completing *completing)
{
    int status = find_first_load(completing);

    if (status == WM_OK)
        status = office_prepare(completing->office, VEHICLES_THEN, &completing->vehicles);
    if (status == WM_OK)
        status = office_prepare(completing->office, ROWS_THEN, &completing->rows);
    if (status != WM_OK)
        return status;
    int32_t later = completing->result.first_load_on;
    bind_day(completing->vehicles, 1, later != DAY_NONE ? later : completing->day);
    bind_text(completing->rows, 1, completing->campaign->id);
    bind_day(completing->rows, 2, completing->day);
    return count_all(completing);
}

int ledger_completion(struct office *office, const struct rules *rules, struct text campaign, int32_t day,
                      struct diag_sink *sink, struct completion *ret_completion)
{
    struct completing completing = {
        .office = office, .day = day, .sink = sink, .result = {.first_load_on = DAY_NONE}};
    int status = open_rules(&completing, rules, campaign);

    if (status == WM_OK)
        status = read_profiles(&completing);
    if (status == WM_OK)
        status = walk(&completing);
    sqlite3_finalize(completing.vehicles);
    sqlite3_finalize(completing.rows);
    table_scratch_free(completing.scratch);
    rules_free(completing.recorded);
    arena_free(&completing.arena);
    if (status == WM_OK)
        *ret_completion = completing.result;
    return status;
}

/* --- Notices ---------------------------------------------------------------------------------- */

static int64_t count_or_none(sqlite3_stmt *statement, int column)
{
    return sqlite3_column_type(statement, column) == SQLITE_NULL ? -1 : sqlite3_column_int64(statement, column);
}

static int keep_notice(sqlite3_stmt *statement, struct arena *arena, struct notice **list, uint32_t *count)
{
    struct notice *grown = arena_grown(arena, *list, *count, *count + 1, sizeof *grown);

    if (grown == NULL)
        return WM_NO_MEMORY;
    *list = grown;
    struct notice *notice = &grown[(*count)++];
    *notice = (struct notice){.quarter = sqlite3_column_int(statement, 0),
                              .involved = count_or_none(statement, 1),
                              .explanation = column_copy(statement, 2, arena),
                              .notices_sent = count_or_none(statement, 3),
                              .estimated = count_or_none(statement, 4),
                              .awaiting_repair = count_or_none(statement, 5),
                              .unreachable_other = count_or_none(statement, 6),
                              .other_reason = column_copy(statement, 7, arena),
                              .removed = count_or_none(statement, 8),
                              .disqualified = count_or_none(statement, 9),
                              .submitted_on = column_day(statement, 10)};
    return notice->explanation.bytes == NULL || notice->other_reason.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

int ledger_notices(struct office *office, struct text campaign, struct arena *arena,
                   struct notice **ret_notices, uint32_t *ret_count)
{
    sqlite3_stmt *statement = NULL;
    struct notice *list = NULL;
    uint32_t count = 0;
    bool more = false;
    int status =
        office_prepare(office,
                       "SELECT n.quarter, n.involved, n.explanation, n.notices_sent, n.estimated, "
                       "n.awaiting_repair, n.unreachable_other, n.other_reason, n.removed, n.disqualified, "
                       "n.submitted_on FROM notice_versions AS n WHERE n.campaign = ?1 AND n.load = "
                       "(SELECT max(load) FROM notice_versions WHERE campaign = n.campaign "
                       "AND quarter = n.quarter) ORDER BY n.quarter",
                       &statement);

    if (status == WM_OK) {
        bind_text(statement, 1, campaign);
        status = office_step(office, statement, &more);
    }
    while (status == WM_OK && more) {
        status = keep_notice(statement, arena, &list, &count);
        if (status == WM_OK)
            status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    if (status != WM_OK)
        return status;
    *ret_notices = list;
    *ret_count = count;
    return WM_OK;
}
