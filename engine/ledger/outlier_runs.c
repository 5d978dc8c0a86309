#include "ledger/outlier_runs.h"

#include "base/status.h"
#include "ledger/canonical_rows.h"
#include "ledger/chain.h"
#include "ledger/columns.h"
#include "ledger/recorded.h"

enum statement {
    INSERT_RUN,
    INSERT_MEASURE,
    INSERT_FLAG,
    SELECT_RUN,
    SELECT_MEASURES,
    SELECT_FLAGS,
    NEXT_RUN,
    LIST_FLAGS,
    STATEMENTS
};

static const char *const SQL[STATEMENTS] = {
    [INSERT_RUN] =
        "INSERT INTO outlier_runs (run, recorded_on, recorded_at, recorded_by, since, until, campaign, "
        "last_row, last_decision) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    [INSERT_MEASURE] =
        "INSERT INTO outlier_measures (run, number, measure, title, definition, all_counted, all_of, "
        "dealers, near_millionths, far_millionths, phi_millionths) "
        "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
    [INSERT_FLAG] = "INSERT INTO outlier_flags (run, number, measure_number, dealer, side, counted, of, "
                    "rate_millionths, limit_millionths, z_millionths, basis) "
                    "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
    [SELECT_RUN] = "SELECT run, recorded_on, recorded_at, recorded_by, since, until, campaign, last_row, "
                   "last_decision FROM outlier_runs WHERE run = ?1",
    [SELECT_MEASURES] =
        "SELECT number, measure, title, definition, all_counted, all_of, dealers, near_millionths, "
        "far_millionths, phi_millionths FROM outlier_measures WHERE run = ?1 ORDER BY number",
    [SELECT_FLAGS] =
        "SELECT number, measure_number, dealer, side, counted, of, rate_millionths, limit_millionths, "
        "z_millionths, basis FROM outlier_flags WHERE run = ?1 ORDER BY number",
    [NEXT_RUN] = "SELECT coalesce(max(run), 0) + 1 FROM outlier_runs",
    [LIST_FLAGS] =
        "SELECT f.run, f.number, r.recorded_on, r.recorded_by, m.measure, m.title, f.dealer, f.basis, "
        "f.side, f.counted, f.of, m.all_counted, m.all_of, f.rate_millionths, f.limit_millionths, "
        "m.phi_millionths FROM outlier_flags AS f JOIN outlier_runs AS r ON r.run = f.run "
        "JOIN outlier_measures AS m ON m.run = f.run AND m.number = f.measure_number "
        "WHERE (?1 = 0 OR f.run = ?1) AND (?2 = '' OR f.dealer = ?2) ORDER BY f.run DESC, f.number",
};

/* --- Writing ---------------------------------------------------------------------------------- */

struct recording {
    struct office *office;
    const struct outlier_request *request;
    struct arena arena;
    struct ledger_point point;
    struct comparison *comparisons;
    sqlite3_stmt *measure, *flag;
    struct outlier_result result;
};

static int next_run(struct recording *recording)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(recording->office, SQL[NEXT_RUN], &statement);

    if (status == WM_OK)
        status = office_step(recording->office, statement, &row);
    if (status == WM_OK)
        recording->result.run = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return status;
}

static int insert_run(struct recording *recording)
{
    const struct outlier_request *request = recording->request;
    sqlite3_stmt *statement = NULL;
    int status = office_prepare(recording->office, SQL[INSERT_RUN], &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, recording->result.run);
    bind_day(statement, 2, request->today);
    bind_text(statement, 3, request->recorded_at);
    bind_text(statement, 4, request->recorded_by);
    bind_day(statement, 5, request->scope.since);
    bind_day(statement, 6, request->scope.until);
    bind_text(statement, 7, request->scope.campaign);
    sqlite3_bind_int64(statement, 8, recording->point.last_row);
    sqlite3_bind_int64(statement, 9, recording->point.last_decision);
    status = office_execute(recording->office, statement);
    sqlite3_finalize(statement);
    return status;
}

static int insert_flag(struct recording *recording, uint32_t measure, const struct compared_dealer *dealer)
{
    const struct comparison *comparison = &recording->comparisons[measure];
    struct text basis = outlier_basis(&recording->arena, comparison, dealer, &recording->request->scope,
                                      recording->request->today);

    if (basis.bytes == NULL)
        return WM_NO_MEMORY;
    sqlite3_bind_int64(recording->flag, 1, recording->result.run);
    sqlite3_bind_int64(recording->flag, 2, ++recording->result.flags);
    sqlite3_bind_int64(recording->flag, 3, measure + 1);
    bind_text(recording->flag, 4, dealer->dealer);
    bind_text(recording->flag, 5, dealer->beyond > 0 ? TEXT("above") : TEXT("below"));
    sqlite3_bind_int64(recording->flag, 6, dealer->claims.count);
    sqlite3_bind_int64(recording->flag, 7, dealer->claims.of);
    sqlite3_bind_int64(recording->flag, 8, dealer->rate);
    sqlite3_bind_int64(recording->flag, 9, dealer->beyond > 0 ? dealer->high_far : dealer->low_far);
    sqlite3_bind_int64(recording->flag, 10, dealer->z);
    bind_text(recording->flag, 11, basis);
    return office_execute(recording->office, recording->flag);
}

static int insert_measure(struct recording *recording, uint32_t number)
{
    const struct comparison *comparison = &recording->comparisons[number];
    const struct measure *measure = comparison->measure;

    sqlite3_bind_int64(recording->measure, 1, recording->result.run);
    sqlite3_bind_int64(recording->measure, 2, number + 1);
    bind_text(recording->measure, 3, measure->name);
    bind_text(recording->measure, 4, measure->title);
    bind_text(recording->measure, 5, measure->definition);
    sqlite3_bind_int64(recording->measure, 6, comparison->all.count);
    sqlite3_bind_int64(recording->measure, 7, comparison->all.of);
    sqlite3_bind_int64(recording->measure, 8, comparison->dealer_count);
    sqlite3_bind_int64(recording->measure, 9, measure->near);
    sqlite3_bind_int64(recording->measure, 10, measure->far);
    sqlite3_bind_int64(recording->measure, 11, comparison->phi);
    int status = office_execute(recording->office, recording->measure);
    for (uint32_t i = 0; status == WM_OK && i < comparison->dealer_count; i++)
        if (comparison->dealers[i].stands_out)
            status = insert_flag(recording, number, &comparison->dealers[i]);
    return status;
}

static int insert_all(struct recording *recording, const struct measures *measures)
{
    int status = ledger_last(recording->office, &recording->point);

    if (status == WM_OK)
        status = ledger_compare(recording->office, measures, &recording->request->scope, recording->point,
                                &recording->arena, &recording->comparisons);
    if (status == WM_OK)
        status = next_run(recording);
    if (status == WM_OK)
        status = insert_run(recording);
    if (status == WM_OK)
        status = office_prepare(recording->office, SQL[INSERT_MEASURE], &recording->measure);
    if (status == WM_OK)
        status = office_prepare(recording->office, SQL[INSERT_FLAG], &recording->flag);
    for (uint32_t i = 0; status == WM_OK && i < measures->count; i++, recording->result.measures++)
        status = insert_measure(recording, i);
    sqlite3_finalize(recording->measure);
    sqlite3_finalize(recording->flag);
    return status;
}

int office_record_outliers(struct office *office, const struct measures *measures,
                           const struct outlier_request *request, struct outlier_result *ret_result)
{
    struct recording recording = {.office = office, .request = request};
    uint8_t digest[DIGEST_BYTES];
    int status = sodium_init() >= 0 ? office_begin_write(office) : WM_NO_MEMORY;

    if (status != WM_OK)
        return status;
    status = insert_all(&recording, measures);
    if (status == WM_OK)
        status = outlier_run_digest(office, recording.result.run, digest);
    if (status == WM_OK)
        status = chain_append(office, CHAIN_OUTLIERS, recording.result.run, digest);
    if (status == WM_OK)
        status = office_commit(office);
    else
        office_rollback(office);
    arena_free(&recording.arena);
    if (status == WM_OK)
        *ret_result = recording.result;
    return status;
}

/* --- The record ------------------------------------------------------------------------------- */

int outlier_run_digest(struct office *office, int64_t run, uint8_t ret_digest[DIGEST_BYTES])
{
    struct canonical canonical;
    bool there = false, any;

    canonical_begin(&canonical, "outliers");
    int status = canonical_rows_of(office, SQL[SELECT_RUN], run, &canonical, &there);
    if (status == WM_OK && !there)
        status = WM_NOT_FOUND;
    canonical_text(&canonical, TEXT("measures"));
    if (status == WM_OK)
        status = canonical_rows_of(office, SQL[SELECT_MEASURES], run, &canonical, &any);
    canonical_text(&canonical, TEXT("flags"));
    if (status == WM_OK)
        status = canonical_rows_of(office, SQL[SELECT_FLAGS], run, &canonical, &any);
    if (status == WM_OK)
        canonical_end(&canonical, ret_digest);
    return status;
}

/* --- Reading ---------------------------------------------------------------------------------- */

static struct outlier_flag flag_of(sqlite3_stmt *statement)
{
    return (struct outlier_flag){
        .run = sqlite3_column_int64(statement, 0),
        .number = sqlite3_column_int64(statement, 1),
        .recorded_on = column_day(statement, 2),
        .recorded_by = column_text(statement, 3),
        .measure = column_text(statement, 4),
        .title = column_text(statement, 5),
        .dealer = column_text(statement, 6),
        .basis = column_text(statement, 7),
        .above = text_is(column_text(statement, 8), "above"),
        .claims = {sqlite3_column_int64(statement, 9), sqlite3_column_int64(statement, 10)},
        .all = {sqlite3_column_int64(statement, 11), sqlite3_column_int64(statement, 12)},
        .rate = sqlite3_column_int64(statement, 13),
        .limit = sqlite3_column_int64(statement, 14),
        .phi = sqlite3_column_int64(statement, 15)};
}

int ledger_outlier_flags(struct office *office, int64_t run, struct text dealer,
                         int (*take)(void *context, const struct outlier_flag *flag), void *context)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(office, SQL[LIST_FLAGS], &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, run);
        bind_text(statement, 2, dealer);
        status = office_step(office, statement, &more);
    }
    while (status == WM_OK && more) {
        struct outlier_flag flag = flag_of(statement);
        status = take(context, &flag);
        if (status == WM_OK)
            status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}
