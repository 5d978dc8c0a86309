#include "ledger/office_source.h"

#include <sqlite3.h>
#include <stdlib.h>

#include "base/limits.h"
#include "base/status.h"
#include "ledger/columns.h"

enum statement {
    SELECT_BUCKETS,
    SELECT_VEHICLE,
    SELECT_PROFILES,
    SELECT_DEALER,
    SELECT_SHIPMENTS,
    SELECT_APPROVAL,
    STATEMENTS
};

/* ?2 is the last load that counts, but where a range of numbers is asked for. */
static const char *const SQL[STATEMENTS] = {
    [SELECT_BUCKETS] = "SELECT bucket, vehicles FROM vehicle_buckets WHERE bucket BETWEEN ?1 AND ?2",
    [SELECT_VEHICLE] = "SELECT profile, built_on FROM vehicle_versions WHERE vin = ?1 AND load <= ?2 "
                       "ORDER BY load DESC LIMIT 1",
    [SELECT_PROFILES] =
        "SELECT profile, model_line, engine, transmission, plant, options, status, status_on, model_year "
        "FROM vehicle_profiles WHERE profile BETWEEN ?1 AND ?2",
    [SELECT_DEALER] =
        "SELECT name, region, labor_rate_millionths, parts_markup_millionths, active_from, active_to, "
        "valid_from FROM dealer_versions AS d WHERE dealer = ?1 AND load = "
        "(SELECT max(load) FROM dealer_versions WHERE dealer = d.dealer AND valid_from = d.valid_from "
        "AND load <= ?2)",
    [SELECT_SHIPMENTS] = "SELECT part_key, shipped_on, quantity_millionths FROM shipment_versions AS s "
                         "WHERE dealer = ?1 AND load = "
                         "(SELECT max(load) FROM shipment_versions WHERE shipment = s.shipment AND load <= ?2)",
    [SELECT_APPROVAL] =
        "SELECT dealer, campaign, vin, covers, limit_cents, valid_to, reason FROM approval_versions "
        "WHERE approval = ?1 AND load <= ?2 ORDER BY load DESC LIMIT 1",
};

struct office_source {
    struct office *office;
    struct register_source source;
    int64_t last_load;
    sqlite3_stmt *statements[STATEMENTS]; /* prepared when first needed */
    char error[LIMIT_MESSAGE_BYTES];
};

static int failed(struct office_source *source, int result)
{
    return office_words(office_database(source->office), result, office_wait_ms(source->office), source->error,
                        sizeof source->error);
}

static struct text error_of(void *context)
{
    return text_of(((struct office_source *)context)->error);
}

static int prepared(struct office_source *source, enum statement which, sqlite3_stmt **ret_statement)
{
    if (source->statements[which] == NULL) {
        int result = sqlite3_prepare_v3(office_database(source->office), SQL[which], -1,
                                        SQLITE_PREPARE_PERSISTENT, &source->statements[which], NULL);
        if (result != SQLITE_OK)
            return failed(source, result);
    }
    *ret_statement = source->statements[which];
    return WM_OK;
}

/* A statement asked for one key and the last load. */
static int asked(struct office_source *source, enum statement which, struct text key,
                 sqlite3_stmt **ret_statement)
{
    sqlite3_stmt *statement = NULL;

    int status = prepared(source, which, &statement);
    if (status != WM_OK)
        return status;
    bind_text(statement, 1, key);
    sqlite3_bind_int64(statement, 2, source->last_load);
    *ret_statement = statement;
    return WM_OK;
}

/* A statement asked for a range of numbers. */
static int asked_range(struct office_source *source, enum statement which, int64_t first, int64_t last,
                       sqlite3_stmt **ret_statement)
{
    int status = prepared(source, which, ret_statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(*ret_statement, 1, first);
        sqlite3_bind_int64(*ret_statement, 2, last);
    }
    return status;
}

/* Hands each row to `take`; resets the statement. */
static int each_row(struct office_source *source, sqlite3_stmt *statement,
                    int (*take)(sqlite3_stmt *statement, void *context), void *context)
{
    int status = WM_OK, result;

    while ((result = sqlite3_step(statement)) == SQLITE_ROW && status == WM_OK)
        status = take(statement, context);
    if (status == WM_OK && result != SQLITE_DONE)
        status = failed(source, result);
    sqlite3_reset(statement);
    return status;
}

/* ---- vehicles ---- */

struct bucket_taker {
    register_take_bucket *take;
    void *taker;
    int64_t first_id; /* of bucket 0 */
};

static int take_bucket(sqlite3_stmt *statement, void *context)
{
    const struct bucket_taker *to = context;
    const void *bytes = sqlite3_column_blob(statement, 1);
    size_t length = (size_t)sqlite3_column_bytes(statement, 1);

    return to->take(to->taker, (uint32_t)(sqlite3_column_int64(statement, 0) - to->first_id),
                    bytes ? bytes : "", length);
}

static int buckets(void *context, uint32_t first, uint32_t count, register_take_bucket *take, void *taker)
{
    struct office_source *source = context;
    struct bucket_taker to = {take, taker, INT64_C(1) << source->source.bucket_bits};
    sqlite3_stmt *statement = NULL;

    int status =
        asked_range(source, SELECT_BUCKETS, to.first_id + first, to.first_id + first + count - 1, &statement);
    return status == WM_OK ? each_row(source, statement, take_bucket, &to) : status;
}

struct found_vehicle {
    bool found;
    uint32_t profile;
    int32_t built_on;
};

static int take_vehicle(sqlite3_stmt *statement, void *context)
{
    *(struct found_vehicle *)context =
        (struct found_vehicle){true, (uint32_t)sqlite3_column_int64(statement, 0), column_day(statement, 1)};
    return WM_OK;
}

static int vehicle(void *context, struct text vin, bool *ret_found, uint32_t *ret_profile,
                   int32_t *ret_built_on)
{
    struct office_source *source = context;
    struct found_vehicle found = {false, 0, DAY_NONE};
    sqlite3_stmt *statement = NULL;

    int status = asked(source, SELECT_VEHICLE, vin, &statement);
    if (status == WM_OK)
        status = each_row(source, statement, take_vehicle, &found);
    if (status != WM_OK)
        return status;
    *ret_found = found.found;
    *ret_profile = found.profile;
    *ret_built_on = found.built_on;
    return WM_OK;
}

struct profile_taker {
    register_take_profile *take;
    void *taker;
};

static int take_profile(sqlite3_stmt *statement, void *context)
{
    const struct profile_taker *to = context;
    struct vehicle_profile profile = {
        .model_line = column_text(statement, 1),
        .engine = column_text(statement, 2),
        .transmission = column_text(statement, 3),
        .plant = column_text(statement, 4),
        .options = column_text(statement, 5),
        .status = column_text(statement, 6),
        .status_on = column_day(statement, 7),
        .has_model_year = sqlite3_column_type(statement, 8) != SQLITE_NULL,
        .model_year = sqlite3_column_int(statement, 8),
    };

    return to->take(to->taker, (uint32_t)sqlite3_column_int64(statement, 0), &profile);
}

static int profiles(void *context, uint32_t first, uint32_t count, register_take_profile *take, void *taker)
{
    struct profile_taker to = {take, taker};
    sqlite3_stmt *statement = NULL;

    int status = asked_range(context, SELECT_PROFILES, first, (int64_t)first + count - 1, &statement);
    return status == WM_OK ? each_row(context, statement, take_profile, &to) : status;
}

/* ---- dealers, shipments, approvals ---- */

struct dealer_taker {
    register_take_dealer *take;
    void *taker;
    struct text code;
};

static int take_dealer(sqlite3_stmt *statement, void *context)
{
    const struct dealer_taker *to = context;
    struct dealer version = {
        .code = to->code,
        .name = column_text(statement, 0),
        .region = column_text(statement, 1),
        .labor_rate = sqlite3_column_int64(statement, 2),
        .parts_markup = sqlite3_column_int64(statement, 3),
        .active_from = column_day(statement, 4),
        .active_to = column_day(statement, 5),
        .valid_from = column_day(statement, 6),
    };

    return to->take(to->taker, &version);
}

static int dealer(void *context, struct text code, register_take_dealer *take, void *taker)
{
    struct dealer_taker to = {take, taker, code};
    sqlite3_stmt *statement = NULL;

    int status = asked(context, SELECT_DEALER, code, &statement);
    return status == WM_OK ? each_row(context, statement, take_dealer, &to) : status;
}

struct shipment_taker {
    register_take_shipment *take;
    void *taker;
};

static int take_shipment(sqlite3_stmt *statement, void *context)
{
    const struct shipment_taker *to = context;

    return to->take(to->taker, column_text(statement, 0), column_day(statement, 1), sqlite3_column_int64(statement, 2));
}

static int shipments(void *context, struct text code, register_take_shipment *take, void *taker)
{
    struct shipment_taker to = {take, taker};
    sqlite3_stmt *statement = NULL;

    int status = asked(context, SELECT_SHIPMENTS, code, &statement);
    return status == WM_OK ? each_row(context, statement, take_shipment, &to) : status;
}

struct approval_taker {
    register_take_approval *take;
    void *taker;
    struct text number;
};

static int take_approval(sqlite3_stmt *statement, void *context)
{
    const struct approval_taker *to = context;
    struct approval approval = {
        .number = to->number,
        .dealer = column_text(statement, 0),
        .campaign = column_text(statement, 1),
        .vin = column_text(statement, 2),
        .covers = column_text(statement, 3),
        .has_limit = sqlite3_column_type(statement, 4) != SQLITE_NULL,
        .limit_cents = sqlite3_column_int64(statement, 4),
        .valid_to = column_day(statement, 5),
        .reason = column_text(statement, 6),
    };

    return to->take(to->taker, &approval);
}

static int approval(void *context, struct text number, register_take_approval *take, void *taker)
{
    struct approval_taker to = {take, taker, number};
    sqlite3_stmt *statement = NULL;

    int status = asked(context, SELECT_APPROVAL, number, &statement);
    return status == WM_OK ? each_row(context, statement, take_approval, &to) : status;
}

/* ---- opening ---- */

/* Two numbers from the first row of a query. */
static int ask(struct office *office, const char *sql, int64_t *ret_first, int64_t *ret_second)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;

    int status = office_prepare(office, sql, &statement);
    if (status != WM_OK)
        return status;
    status = office_step(office, statement, &row);
    if (status == WM_OK && !row)
        status = office_report(office, SQLITE_CORRUPT);
    if (status == WM_OK) {
        *ret_first = sqlite3_column_int64(statement, 0);
        *ret_second = sqlite3_column_int64(statement, 1);
    }
    sqlite3_finalize(statement);
    return status;
}

int office_last_load(struct office *office, int64_t *ret_load)
{
    int64_t unused;

    return ask(office, "SELECT coalesce(max(load), 0), 0 FROM loads", ret_load, &unused);
}

int office_source_open(struct office *office, int64_t as_of_load, struct office_source **ret_source)
{
    int64_t bits = 0, profile_limit = 0;

    int status = ask(office,
                     "SELECT bits, (SELECT coalesce(max(profile), -1) + 1 FROM vehicle_profiles) "
                     "FROM vehicle_index",
                     &bits, &profile_limit);
    if (status != WM_OK)
        return status;
    if (bits < 0 || bits > 31 || profile_limit < 0 || profile_limit > UINT32_MAX)
        return office_report(office, SQLITE_CORRUPT);
    struct office_source *source = calloc(1, sizeof *source);
    if (source == NULL)
        return office_report(office, SQLITE_NOMEM);
    source->office = office;
    source->last_load = as_of_load == 0 ? INT64_MAX : as_of_load;
    source->source = (struct register_source){
        .context = source,
        .bucket_bits = (unsigned)bits,
        .buckets = buckets,
        .vehicle = as_of_load == 0 ? NULL : vehicle,
        .profile_limit = (uint32_t)profile_limit,
        .profiles = profiles,
        .dealer = dealer,
        .shipments = shipments,
        .approval = approval,
        .error = error_of,
    };
    *ret_source = source;
    return WM_OK;
}

struct register_source *office_source_register(struct office_source *source)
{
    return &source->source;
}

void office_source_close(struct office_source *source)
{
    if (source == NULL)
        return;
    for (int i = 0; i < STATEMENTS; i++)
        sqlite3_finalize(source->statements[i]);
    free(source);
}
