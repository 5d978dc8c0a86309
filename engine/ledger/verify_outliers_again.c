/* Every recorded comparison of dealers made afresh: by its measures as they were recorded, of the claims and
 * decisions that counted then. What a dealer was told must come out once more, to the word. */
#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/outliers.h"
#include "ledger/verify_parts.h"

static const char RUN[] =
    "SELECT recorded_on, since, until, campaign, last_row, last_decision FROM outlier_runs WHERE run = ?1";
static const char MEASURES[] =
    "SELECT measure, title, definition, all_counted, all_of, dealers, near_millionths, "
    "far_millionths, phi_millionths FROM outlier_measures WHERE run = ?1 ORDER BY number";
static const char FLAGS[] =
    "SELECT measure_number, dealer, side, counted, of, rate_millionths, limit_millionths, "
    "z_millionths, basis FROM outlier_flags WHERE run = ?1 ORDER BY number";

struct comparing {
    struct verification *verification;
    int64_t run;
    int32_t recorded_on;
    struct outlier_scope scope;
    struct ledger_point point;
    struct arena arena;
    struct measure_record *records;
    uint32_t count, capacity;
    struct measures measures;
    struct comparison *comparisons;
    sqlite3_stmt *rows; /* of measures or flags, as recorded */
    bool more;          /* they stand on one */
    bool named;         /* a difference */
};

static int next(struct comparing *comparing)
{
    return office_step(comparing->verification->office, comparing->rows, &comparing->more);
}

/* The rows of the run, from the first on. */
static int begin(struct comparing *comparing, const char *sql)
{
    sqlite3_finalize(comparing->rows);
    comparing->rows = NULL;
    int status = office_prepare(comparing->verification->office, sql, &comparing->rows);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(comparing->rows, 1, comparing->run);
    return next(comparing);
}

static void differs(struct comparing *comparing, const char *what, struct text of)
{
    if (!comparing->named)
        verify_fault(
            comparing->verification,
            "comparison %lld of dealers, made again, gives another %s for %.*s than is recorded; the program "
            "or the file has changed",
            (long long)comparing->run, what, TEXT_ARGUMENTS(of));
    comparing->named = true;
}

/* --- As recorded -------------------------------------------------------------------------------- */

static int read_run(struct comparing *comparing)
{
    int status = begin(comparing, RUN);

    if (status != WM_OK)
        return status;
    if (!comparing->more)
        return WM_NOT_FOUND;
    sqlite3_stmt *row = comparing->rows;
    comparing->recorded_on = column_day(row, 0);
    comparing->scope =
        (struct outlier_scope){column_day(row, 1), column_day(row, 2), column_copy(row, 3, &comparing->arena)};
    comparing->point = (struct ledger_point){sqlite3_column_int64(row, 4), sqlite3_column_int64(row, 5)};
    return comparing->scope.campaign.bytes == NULL
               ? office_report(comparing->verification->office, SQLITE_NOMEM)
               : WM_OK;
}

static int add_measure(struct comparing *comparing)
{
    struct measure_record *grown = arena_grown(&comparing->arena, comparing->records, comparing->count,
                                               comparing->count + 1, sizeof *grown);

    struct measure_record measure = {column_copy(comparing->rows, 1, &comparing->arena),
                                     column_copy(comparing->rows, 2, &comparing->arena)};

    if (grown == NULL || measure.title.bytes == NULL || measure.definition.bytes == NULL)
        return office_report(comparing->verification->office, SQLITE_NOMEM);
    comparing->records = grown;
    grown[comparing->count++] = measure;
    return next(comparing);
}

static int read_measures(struct comparing *comparing)
{
    int status = begin(comparing, MEASURES);

    while (status == WM_OK && comparing->more)
        status = add_measure(comparing);
    if (status == WM_OK)
        status = measures_of_record(&comparing->arena, TEXT("outlier_measures"), comparing->records,
                                    comparing->count, comparing->verification->sink, &comparing->measures);
    if (status == WM_BAD_INPUT)
        verify_fault(
            comparing->verification,
            "this program cannot use the measures of comparison %lld of dealers; make it again with the "
            "program of that time",
            (long long)comparing->run);
    return status;
}

/* --- Made again --------------------------------------------------------------------------------- */

struct number {
    const char *what;
    int column;
    int64_t is;
};

static void compare_numbers(struct comparing *comparing, const struct number *numbers, size_t count,
                            struct text of)
{
    for (size_t i = 0; i < count; i++)
        if (sqlite3_column_int64(comparing->rows, numbers[i].column) != numbers[i].is)
            differs(comparing, numbers[i].what, of);
}

static void compare_measure(struct comparing *comparing, const struct comparison *is)
{
    const struct number numbers[] = {{"number of claims counted", 3, is->all.count},
                                     {"number of claims compared", 4, is->all.of},
                                     {"number of dealers", 5, is->dealer_count},
                                     {"near limit", 6, is->measure->near},
                                     {"far limit", 7, is->measure->far},
                                     {"spread of dealers", 8, is->phi}};

    if (!text_equal(column_text(comparing->rows, 0), is->measure->name) ||
        !text_equal(column_text(comparing->rows, 2), is->measure->definition))
        differs(comparing, "measure", is->measure->name);
    compare_numbers(comparing, numbers, sizeof numbers / sizeof *numbers, is->measure->name);
}

static int compare_measures(struct comparing *comparing)
{
    int status = begin(comparing, MEASURES);

    for (uint32_t i = 0; status == WM_OK && i < comparing->measures.count; i++) {
        compare_measure(comparing, &comparing->comparisons[i]);
        status = next(comparing);
    }
    return status;
}

static int compare_flag(struct comparing *comparing, uint32_t measure, const struct compared_dealer *is)
{
    struct text basis = outlier_basis(&comparing->arena, &comparing->comparisons[measure], is,
                                      &comparing->scope, comparing->recorded_on);
    const struct number numbers[] = {{"number of claims", 3, is->claims.count},
                                     {"number of claims", 4, is->claims.of},
                                     {"rate", 5, is->rate},
                                     {"limit", 6, is->beyond > 0 ? is->high_far : is->low_far},
                                     {"score", 7, is->z}};

    if (basis.bytes == NULL)
        return office_report(comparing->verification->office, SQLITE_NOMEM);
    if (!comparing->more || sqlite3_column_int64(comparing->rows, 0) != measure + 1 ||
        !text_equal(column_text(comparing->rows, 1), is->dealer)) {
        differs(comparing, "list of who stands out: dealer", is->dealer);
        return WM_OK;
    }
    compare_numbers(comparing, numbers, sizeof numbers / sizeof *numbers, is->dealer);
    if (!text_is(column_text(comparing->rows, 2), is->beyond > 0 ? "above" : "below"))
        differs(comparing, "side", is->dealer);
    if (!text_equal(column_text(comparing->rows, 8), basis))
        differs(comparing, "basis", is->dealer);
    return next(comparing);
}

static int compare_flags(struct comparing *comparing)
{
    int status = begin(comparing, FLAGS);

    for (uint32_t i = 0; status == WM_OK && i < comparing->measures.count; i++)
        for (uint32_t k = 0; status == WM_OK && k < comparing->comparisons[i].dealer_count; k++)
            if (comparing->comparisons[i].dealers[k].stands_out && !comparing->named)
                status = compare_flag(comparing, i, &comparing->comparisons[i].dealers[k]);
    if (status == WM_OK && comparing->more)
        differs(comparing, "list of who stands out: dealer", column_text(comparing->rows, 1));
    return status;
}

int verify_outliers_again(struct verification *verification, int64_t run, struct ledger_point then)
{
    struct comparing comparing = {.verification = verification, .run = run};
    int status = read_run(&comparing);

    if (status == WM_OK &&
        (comparing.point.last_row != then.last_row || comparing.point.last_decision != then.last_decision))
        verify_fault(
            verification,
            "comparison %lld of dealers did not count what was recorded before it; the program or the file has "
            "changed",
            (long long)run);
    if (status == WM_OK)
        status = read_measures(&comparing);
    if (status == WM_OK)
        status = ledger_compare(verification->office, &comparing.measures, &comparing.scope, comparing.point,
                                &comparing.arena, &comparing.comparisons);
    if (status == WM_OK)
        status = compare_measures(&comparing);
    if (status == WM_OK)
        status = compare_flags(&comparing);
    sqlite3_finalize(comparing.rows);
    arena_free(&comparing.arena);
    /* what is not there, or cannot be used, was named */
    return status == WM_NOT_FOUND || status == WM_BAD_INPUT ? WM_OK : status;
}
