/* Samples: written and read. */
#include "base/status.h"
#include "ledger/audit_parts.h"
#include "ledger/columns.h"
#include "ledger/row_feed.h"

void sample_frame_digest(const struct sample *sample, uint8_t ret_digest[DIGEST_BYTES])
{
    struct canonical canonical;

    canonical_begin(&canonical, "frame");
    for (uint32_t i = 0; i < sample->frame_count; i++) {
        canonical_text(&canonical, sample->frame[i].dealer);
        canonical_text(&canonical, sample->frame[i].claim);
        canonical_integer(&canonical, sample->frame[i].row);
        canonical_integer(&canonical, sample->frame[i].paid_cents);
    }
    canonical_end(&canonical, ret_digest);
}

/* --- Writing ----------------------------------------------------------------------------------------- */

static int check_name(struct office *office, struct text name)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(office, "SELECT 1 FROM samples WHERE name = ?1", &statement);

    if (status == WM_OK) {
        bind_text(statement, 1, name);
        status = office_step(office, statement, &found);
    }
    sqlite3_finalize(statement);
    return status == WM_OK && found ? WM_BAD_INPUT : status;
}

static void bind_frame(sqlite3_stmt *statement, const struct sample *sample)
{
    sqlite3_bind_int64(statement, 19, sample->size_asked);
    if (sample->interval_cents > 0)
        sqlite3_bind_int64(statement, 20, sample->interval_cents);
    else
        sqlite3_bind_null(statement, 20);
    sqlite3_bind_int64(statement, 21, sample->frame_count);
    sqlite3_bind_int64(statement, 22, sample->frame_cents);
    sqlite3_bind_blob(statement, 23, sample->frame_digest, DIGEST_BYTES, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 24, sample->unpaid_count);
    sqlite3_bind_int64(statement, 25, sample->older_count);
    sqlite3_bind_int64(statement, 26, sample->older_cents);
    sqlite3_bind_int64(statement, 27, sample->covered_count);
    sqlite3_bind_int64(statement, 28, sample->covered_cents);
}

static int insert_head(struct office *office, const struct sample *sample)
{
    const struct text texts[] = {
        sample->name,           sample->method,        sample->strata_by,       sample->allocation,
        sample->bounds,         sample->filter.dealer, sample->filter.campaign, sample->filter.vin,
        sample->filter.finding, sample->filter.effect};
    sqlite3_stmt *statement = NULL;
    int status =
        office_prepare(office,
                       "INSERT INTO samples VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, "
                       "?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23, ?24, ?25, ?26, ?27, ?28)",
                       &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, sample->sample);
    for (int i = 0; i < (int)(sizeof texts / sizeof texts[0]); i++)
        bind_text(statement, 2 + i, texts[i]);
    bind_day(statement, 12, sample->filter.since);
    bind_day(statement, 13, sample->filter.until);
    bind_text(statement, 14, sample->because);
    bind_day(statement, 15, sample->drawn_on);
    bind_text(statement, 16, sample->recorded_at);
    bind_text(statement, 17, sample->generator);
    bind_text(statement, 18, sample->seed);
    bind_frame(statement, sample);
    return audit_insert(office, statement);
}

static int insert_regions(struct office *office, const struct sample *sample)
{
    sqlite3_stmt *statement = NULL;
    int status =
        office_prepare(office, "INSERT INTO sample_regions VALUES (?1, ?2, ?3, ?4, ?5, ?6)", &statement);

    for (uint32_t i = 0; status == WM_OK && i < sample->region_count; i++) {
        const struct sample_region *region = &sample->regions[i];
        sqlite3_bind_int64(statement, 1, sample->sample);
        bind_text(statement, 2, region->region);
        if (region->audit_within_days >= 0)
            sqlite3_bind_int64(statement, 3, region->audit_within_days);
        else
            sqlite3_bind_null(statement, 3);
        sqlite3_bind_int64(statement, 4, region->frame_count);
        sqlite3_bind_int64(statement, 5, region->older_count);
        sqlite3_bind_int64(statement, 6, region->older_cents);
        status = office_execute(office, statement);
    }
    sqlite3_finalize(statement);
    return status;
}

static int insert_strata(struct office *office, const struct sample *sample)
{
    sqlite3_stmt *statement = NULL;
    int status =
        office_prepare(office, "INSERT INTO sample_strata VALUES (?1, ?2, ?3, ?4, ?5, ?6)", &statement);

    for (uint32_t i = 0; status == WM_OK && i < sample->stratum_count; i++) {
        const struct sample_stratum *stratum = &sample->strata[i];
        sqlite3_bind_int64(statement, 1, sample->sample);
        sqlite3_bind_int64(statement, 2, (int64_t)i + 1);
        bind_text(statement, 3, stratum->name);
        sqlite3_bind_int64(statement, 4, stratum->frame_count);
        sqlite3_bind_int64(statement, 5, stratum->frame_cents);
        sqlite3_bind_int64(statement, 6, stratum->item_count);
        status = office_execute(office, statement);
    }
    sqlite3_finalize(statement);
    return status;
}

static void frame_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    const struct sample *sample = context;
    const struct sample_claim *claim = &sample->frame[row];
    const int64_t cells[] = {sample->sample, claim->row, (int64_t)row, claim->stratum, claim->paid_cents};

    sqlite3_result_int64(ret_cell, cells[column]);
}

static void item_cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    const struct sample *sample = context;
    const int64_t cells[] = {sample->sample, (int64_t)row + 1, sample->frame[sample->items[row]].row};

    sqlite3_result_int64(ret_cell, cells[column]);
}

static int insert_claims(struct office *office, struct sample *sample)
{
    const struct row_feed frame = {"sample, row, position, stratum, paid_cents", sample->frame_count,
                                   frame_cell, sample, NULL};
    const struct row_feed items = {"sample, item, row", sample->item_count, item_cell, sample, NULL};
    int status = row_feed_run(
        office, &frame,
        "INSERT INTO sample_frame SELECT sample, row, position, stratum, paid_cents FROM fed ORDER BY row");

    return status == WM_OK
               ? row_feed_run(office, &items, "INSERT INTO sample_items SELECT sample, item, row FROM fed")
               : status;
}

int sample_write(struct office *office, struct sample *sample)
{
    int status = check_name(office, sample->name);

    if (status == WM_OK)
        status = audit_next_number(office, AUDIT_SAMPLE, &sample->sample);
    if (status == WM_OK)
        status = insert_head(office, sample);
    if (status == WM_OK)
        status = insert_regions(office, sample);
    if (status == WM_OK)
        status = insert_strata(office, sample);
    if (status == WM_OK)
        status = insert_claims(office, sample);
    return status == WM_OK ? audit_append(office, AUDIT_SAMPLE, sample->sample) : status;
}

/* --- Reading ----------------------------------------------------------------------------------------- */

struct reading {
    struct office *office;
    struct arena *arena;
    struct sample *sample;
    bool no_memory;
};

static struct text copy(struct reading *reading, sqlite3_stmt *statement, int column)
{
    struct text t = column_copy(statement, column, reading->arena);

    reading->no_memory = reading->no_memory || t.bytes == NULL;
    return t;
}

static int take_head(struct reading *reading, sqlite3_stmt *statement, uint32_t at)
{
    struct sample *sample = reading->sample;
    struct text *texts[] = {
        &sample->name,           &sample->method,        &sample->strata_by,       &sample->allocation,
        &sample->bounds,         &sample->filter.dealer, &sample->filter.campaign, &sample->filter.vin,
        &sample->filter.finding, &sample->filter.effect};
    struct text digest = column_blob(statement, 22);
    (void)at;

    if (digest.length != DIGEST_BYTES)
        return office_report(reading->office, SQLITE_CORRUPT);
    memcpy(sample->frame_digest, digest.bytes, DIGEST_BYTES);
    sample->sample = sqlite3_column_int64(statement, 0);
    for (int i = 0; i < (int)(sizeof texts / sizeof texts[0]); i++)
        *texts[i] = copy(reading, statement, 1 + i);
    sample->filter.since = column_day(statement, 11);
    sample->filter.until = column_day(statement, 12);
    sample->because = copy(reading, statement, 13);
    sample->drawn_on = column_day(statement, 14);
    sample->recorded_at = copy(reading, statement, 15);
    sample->generator = copy(reading, statement, 16);
    sample->seed = copy(reading, statement, 17);
    sample->size_asked = sqlite3_column_int64(statement, 18);
    sample->interval_cents = sqlite3_column_int64(statement, 19);
    sample->frame_cents = sqlite3_column_int64(statement, 21);
    sample->unpaid_count = sqlite3_column_int64(statement, 23);
    sample->older_count = sqlite3_column_int64(statement, 24);
    sample->older_cents = sqlite3_column_int64(statement, 25);
    sample->covered_count = sqlite3_column_int64(statement, 26);
    sample->covered_cents = sqlite3_column_int64(statement, 27);
    return WM_OK;
}

static int take_region(struct reading *reading, sqlite3_stmt *statement, uint32_t at)
{
    bool limited = sqlite3_column_type(statement, 1) != SQLITE_NULL;

    reading->sample->regions[at] =
        (struct sample_region){.region = copy(reading, statement, 0),
                               .audit_within_days = limited ? sqlite3_column_int(statement, 1) : -1,
                               .frame_count = sqlite3_column_int64(statement, 2),
                               .older_count = sqlite3_column_int64(statement, 3),
                               .older_cents = sqlite3_column_int64(statement, 4)};
    return WM_OK;
}

static int take_stratum(struct reading *reading, sqlite3_stmt *statement, uint32_t at)
{
    reading->sample->strata[at] = (struct sample_stratum){.name = copy(reading, statement, 0),
                                                          .frame_count = sqlite3_column_int64(statement, 1),
                                                          .frame_cents = sqlite3_column_int64(statement, 2),
                                                          .item_count = sqlite3_column_int64(statement, 3)};
    return WM_OK;
}

static int take_claim(struct reading *reading, sqlite3_stmt *statement, uint32_t at)
{
    int64_t stratum = sqlite3_column_int64(statement, 1);

    if (stratum < 1 || stratum > reading->sample->stratum_count)
        return office_report(reading->office, SQLITE_CORRUPT);
    reading->sample->frame[at] = (struct sample_claim){.row = sqlite3_column_int64(statement, 0),
                                                       .stratum = stratum,
                                                       .paid_cents = sqlite3_column_int64(statement, 2),
                                                       .dealer = copy(reading, statement, 3),
                                                       .claim = copy(reading, statement, 4)};
    return WM_OK;
}

static int take_item(struct reading *reading, sqlite3_stmt *statement, uint32_t at)
{
    int64_t position = sqlite3_column_int64(statement, 0);

    if (position < 0 || position >= reading->sample->frame_count)
        return office_report(reading->office, SQLITE_CORRUPT);
    reading->sample->items[at] = (uint32_t)position;
    return WM_OK;
}

/* Each row that the statement gives for the sample, at most `most` of them. */
static int each(struct reading *reading, const char *sql, uint32_t most,
                int (*take)(struct reading *reading, sqlite3_stmt *statement, uint32_t at))
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    uint32_t count = 0;
    int status = office_prepare(reading->office, sql, &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, reading->sample->sample);
        status = office_step(reading->office, statement, &more);
    }
    for (; status == WM_OK && more && count < most; count++) {
        status = take(reading, statement, count);
        if (status == WM_OK && reading->no_memory)
            status = office_report(reading->office, SQLITE_NOMEM);
        if (status == WM_OK)
            status = office_step(reading->office, statement, &more);
    }
    sqlite3_finalize(statement);
    if (status == WM_OK && (more || count != most))
        status = office_report(reading->office, SQLITE_CORRUPT);
    return status;
}

/* How many rows each part has, and room for them. */
static int make_room(struct reading *reading)
{
    struct sample *sample = reading->sample;
    sqlite3_stmt *statement = NULL;
    bool row = false;
    int status = office_prepare(reading->office,
                                "SELECT (SELECT count(*) FROM sample_regions WHERE sample = ?1), "
                                "(SELECT count(*) FROM sample_strata WHERE sample = ?1), "
                                "(SELECT count(*) FROM sample_frame WHERE sample = ?1), "
                                "(SELECT count(*) FROM sample_items WHERE sample = ?1)",
                                &statement);

    if (status == WM_OK) {
        sqlite3_bind_int64(statement, 1, sample->sample);
        status = office_step(reading->office, statement, &row);
    }
    if (status == WM_OK) {
        sample->region_count = (uint32_t)sqlite3_column_int64(statement, 0);
        sample->stratum_count = (uint32_t)sqlite3_column_int64(statement, 1);
        sample->frame_count = (uint32_t)sqlite3_column_int64(statement, 2);
        sample->item_count = (uint32_t)sqlite3_column_int64(statement, 3);
        sample->regions = ARENA_ARRAY(reading->arena, struct sample_region, sample->region_count);
        sample->strata = ARENA_ARRAY(reading->arena, struct sample_stratum, sample->stratum_count);
        sample->frame = ARENA_ARRAY(reading->arena, struct sample_claim, sample->frame_count);
        sample->items = ARENA_ARRAY(reading->arena, uint32_t, sample->item_count);
        if (sample->regions == NULL || sample->strata == NULL || sample->frame == NULL || sample->items == NULL)
            status = office_report(reading->office, SQLITE_NOMEM);
    }
    sqlite3_finalize(statement);
    return status;
}

static int find(struct reading *reading, struct text name)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(reading->office, "SELECT sample FROM samples WHERE name = ?1", &statement);

    if (status == WM_OK) {
        bind_text(statement, 1, name);
        status = office_step(reading->office, statement, &found);
    }
    if (status == WM_OK && found)
        reading->sample->sample = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return status == WM_OK && !found ? WM_NOT_FOUND : status;
}

int sample_read(struct office *office, struct arena *arena, struct text name, struct sample *ret_sample)
{
    struct sample sample = {0};
    struct reading reading = {office, arena, &sample, false};
    int status = find(&reading, name);

    if (status == WM_OK)
        status = each(&reading, "SELECT * FROM samples WHERE sample = ?1", 1, take_head);
    if (status == WM_OK)
        status = make_room(&reading);
    if (status == WM_OK)
        status =
            each(&reading,
                 "SELECT region, audit_within_days, frame_count, older_count, older_cents FROM sample_regions "
                 "WHERE sample = ?1 ORDER BY region",
                 sample.region_count, take_region);
    if (status == WM_OK)
        status = each(&reading,
                      "SELECT name, frame_count, frame_cents, item_count FROM sample_strata WHERE sample = ?1 "
                      "ORDER BY stratum",
                      sample.stratum_count, take_stratum);
    if (status == WM_OK)
        status = each(&reading,
                      "SELECT f.row, f.stratum, f.paid_cents, r.dealer, r.claim FROM sample_frame AS f "
                      "JOIN claim_rows AS r ON r.row = f.row WHERE f.sample = ?1 ORDER BY f.position",
                      sample.frame_count, take_claim);
    if (status == WM_OK)
        status = each(&reading,
                      "SELECT f.position FROM sample_items AS i JOIN sample_frame AS f ON f.sample = i.sample "
                      "AND f.row = i.row WHERE i.sample = ?1 ORDER BY i.item",
                      sample.item_count, take_item);
    if (status == WM_OK)
        *ret_sample = sample;
    return status;
}
