#include "ledger/load_chain.h"

#include "base/status.h"
#include "ledger/canonical_rows.h"
#include "ledger/chain.h"
#include "ledger/columns.h"

void load_canonical_begin(struct load_canonical *canonical)
{
    canonical_begin(&canonical->versions, "versions");
    canonical->last_profile = -1;
}

void load_canonical_vehicle(struct load_canonical *canonical, struct text vin, int64_t profile, int32_t built_on)
{
    canonical_text(&canonical->versions, vin);
    canonical_integer(&canonical->versions, profile);
    canonical_day(&canonical->versions, built_on);
    if (profile > canonical->last_profile)
        canonical->last_profile = profile;
}

void load_canonical_version(struct load_canonical *canonical, struct sqlite3_stmt *statement)
{
    for (int i = 0; i < sqlite3_column_count(statement) - 1; i++)
        canonical_column(&canonical->versions, statement, i);
}

#define DEALER_VERSIONS                                                                                             \
    "SELECT dealer, valid_from, name, region, labor_rate_millionths, parts_markup_millionths, active_from, "        \
    "active_to, load FROM dealer_versions "
#define SHIPMENT_VERSIONS                                                                                           \
    "SELECT shipment, dealer, part, part_key, quantity_millionths, shipped_on, load FROM shipment_versions "
#define APPROVAL_VERSIONS                                                                                           \
    "SELECT approval, dealer, campaign, vin, covers, limit_cents, valid_to, reason, load FROM approval_versions "
#define NOTICE_VERSIONS                                                                                             \
    "SELECT campaign, quarter, involved, explanation, notices_sent, estimated, awaiting_repair, "                   \
    "unreachable_other, other_reason, removed, disqualified, submitted_on, load FROM notice_versions "

const char *load_versions_sql(enum office_data kind, bool one_load)
{
    static const char *const SQL[OFFICE_DATA_KINDS][2] = {
        [OFFICE_DEALERS] = {DEALER_VERSIONS "ORDER BY dealer, valid_from, load",
                            DEALER_VERSIONS "WHERE load = ?1 ORDER BY dealer, valid_from"},
        [OFFICE_SHIPMENTS] = {SHIPMENT_VERSIONS "ORDER BY shipment, load",
                              SHIPMENT_VERSIONS "WHERE load = ?1 ORDER BY shipment"},
        [OFFICE_APPROVALS] = {APPROVAL_VERSIONS "ORDER BY approval, load",
                              APPROVAL_VERSIONS "WHERE load = ?1 ORDER BY approval"},
        [OFFICE_NOTICES] = {NOTICE_VERSIONS "ORDER BY campaign, quarter, load",
                            NOTICE_VERSIONS "WHERE load = ?1 ORDER BY campaign, quarter"},
    };

    return SQL[kind][one_load];
}

static int add_load(struct office *office, int64_t load, struct canonical *canonical)
{
    bool any = false;
    int status = canonical_rows_of(office,
                                   "SELECT load, kind, file_name, digest, rows, new_keys, changed_keys, loaded_on "
                                   "FROM loads WHERE load = ?1",
                                   load, canonical, &any);

    return status == WM_OK && !any ? WM_NOT_FOUND : status;
}

static int add_profiles(struct office *office, int64_t before, int64_t last, struct canonical *canonical)
{
    sqlite3_stmt *statement = NULL;
    bool any;
    int status = office_prepare(office,
                                "SELECT profile, model_line, model_year, engine, transmission, plant, options, status, "
                                "status_on FROM vehicle_profiles WHERE profile > ?1 AND profile <= ?2 ORDER BY profile",
                                &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, before);
    sqlite3_bind_int64(statement, 2, last);
    status = canonical_rows(office, statement, canonical, &any);
    sqlite3_finalize(statement);
    return status;
}

int load_digest(struct office *office, int64_t load, struct load_canonical *canonical, int64_t profiles_before,
                uint8_t ret_digest[DIGEST_BYTES])
{
    struct canonical whole;
    uint8_t versions[DIGEST_BYTES];

    canonical_begin(&whole, "load");
    int status = add_load(office, load, &whole);
    if (status == WM_OK)
        status = add_profiles(office, profiles_before, canonical->last_profile, &whole);
    if (status != WM_OK)
        return status;
    canonical_end(&canonical->versions, versions);
    canonical_bytes(&whole, versions, sizeof versions);
    canonical_end(&whole, ret_digest);
    return WM_OK;
}

int load_last_profile(struct office *office, int64_t *ret_profile)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(office, "SELECT coalesce(max(profile), -1) FROM vehicle_profiles", &statement);

    if (status == WM_OK)
        status = office_step(office, statement, &row);
    if (status == WM_OK)
        *ret_profile = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return status;
}

static int append(struct office *office, int64_t load, struct load_canonical *canonical, int64_t profiles_before)
{
    uint8_t digest[DIGEST_BYTES];
    int status = load_digest(office, load, canonical, profiles_before, digest);

    return status == WM_OK ? chain_append(office, CHAIN_LOAD, load, digest) : status;
}

int load_chain_vehicles(struct office *office, int64_t load, struct load_canonical *canonical, int64_t profiles_before)
{
    return append(office, load, canonical, profiles_before);
}

int load_chain_versions(struct office *office, enum office_data kind, int64_t load)
{
    struct load_canonical canonical;
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(office, load_versions_sql(kind, true), &statement);

    if (status != WM_OK)
        return status;
    load_canonical_begin(&canonical);
    sqlite3_bind_int64(statement, 1, load);
    status = office_step(office, statement, &more);
    while (status == WM_OK && more) {
        load_canonical_version(&canonical, statement);
        status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status == WM_OK ? append(office, load, &canonical, -1) : status;
}
