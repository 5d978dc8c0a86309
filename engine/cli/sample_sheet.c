#include "cli/sample_sheet.h"

#include <inttypes.h>

#include "audit/draw.h"
#include "audit/judging.h"
#include "base/status.h"
#include "ledger/recorded.h"

static void cell(struct buffer *out, struct text t)
{
    buffer_add_csv(out, t);
    buffer_add_byte(out, ',');
}

static void day_cell(struct buffer *out, int32_t day)
{
    char room[DATE_ROOM];

    if (day != DAY_NONE)
        buffer_add(out, room, date_write(day, room));
    buffer_add_byte(out, ',');
}

static void write_known(struct buffer *out, const struct sample *sample, uint32_t item,
                        const struct claim *claim, int32_t paid_on)
{
    const struct sample_claim *drawn = &sample->frame[sample->items[item]];

    cell(out, sample->name);
    buffer_format(out, "%u,", item + 1);
    cell(out, drawn->dealer);
    cell(out, drawn->claim);
    cell(out, claim->cells[COLUMN_REVISION].length > 0 ? claim->cells[COLUMN_REVISION] : TEXT("0"));
    cell(out, claim->cells[COLUMN_CAMPAIGN]);
    cell(out, claim->cells[COLUMN_VIN]);
    cell(out, claim->cells[COLUMN_REPAIR_ORDER]);
    cell(out, claim->cells[COLUMN_OUTCOME]);
    day_cell(out, claim->completed_on);
    day_cell(out, paid_on);
    cell(out, sample->strata[drawn->stratum - 1].name);
    buffer_add_money(out, drawn->paid_cents);
    buffer_add_byte(out, ',');
}

static void write_judgement(struct buffer *out, const struct judgement *judgement)
{
    cell(out, judgement->judgement);
    if (text_is(judgement->judgement, JUDGED_ERROR))
        buffer_add_money(out, judgement->right_cents);
    buffer_add_byte(out, ',');
    buffer_add_csv(out, judgement->note);
    buffer_add_byte(out, '\n');
}

static int write_item(struct ledger_reader *reader, struct arena *arena, const struct sample *sample,
                      uint32_t item, const struct judgement *judgement, struct buffer *out)
{
    const struct sample_claim *drawn = &sample->frame[sample->items[item]];
    struct text content;
    struct claim claim;
    int32_t paid_on;
    int status = ledger_content(reader, arena, drawn->row, &content);

    if (status == WM_OK)
        status = ledger_content_claim(content, 0, arena, &claim);
    if (status == WM_OK)
        status = ledger_paid_on(ledger_reader_office(reader), drawn->row, &paid_on);
    if (status != WM_OK)
        return status;
    write_known(out, sample, item, &claim, paid_on);
    write_judgement(out, judgement);
    return WM_OK;
}

int sample_sheet_write(struct desk *desk, const struct sample *sample, const struct judgement *judgements,
                       struct buffer *out)
{
    struct ledger_reader *reader = NULL;
    struct arena arena = ARENA_EMPTY;
    int status = ledger_reader_open(desk->office, (struct ledger_point){INT64_MAX, INT64_MAX}, &reader);

    for (int i = 0; i < WORKSHEET_COLUMNS; i++)
        buffer_format(out, "%s%c", WORKSHEET_NAMES[i], i + 1 < WORKSHEET_COLUMNS ? ',' : '\n');
    for (uint32_t i = 0; i < sample->item_count && status == WM_OK; i++) {
        arena_reset(&arena);
        status = write_item(reader, &arena, sample, i, &judgements[i], out);
    }
    ledger_reader_close(reader);
    arena_free(&arena);
    return status == WM_OK && out->failed ? WM_NO_MEMORY : status;
}

/* --- In sentences ------------------------------------------------------------------------------------ */

static void describe_frame(const struct sample *sample, struct buffer *out)
{
    char digest[DIGEST_BYTES * 2 + 1];

    buffer_format(out, "frame: %u paid claims, ", sample->frame_count);
    buffer_add_money(out, sample->frame_cents);
    sodium_bin2hex(digest, sizeof digest, sample->frame_digest, DIGEST_BYTES);
    buffer_format(out, ", BLAKE2b-256 of their keys %s\n", digest);
    for (uint32_t i = 0; i < sample->region_count; i++) {
        const struct sample_region *region = &sample->regions[i];
        buffer_format(out, "  region %.*s: ",
                      TEXT_ARGUMENTS(region->region.length > 0 ? region->region : TEXT("unknown")));
        if (region->audit_within_days < 0)
            buffer_add_string(out, "no limit to looking back");
        else
            buffer_format(out, "paid at most %d days before", region->audit_within_days);
        buffer_format(out, "; %" PRId64 " claims, %" PRId64 " older ones left out", region->frame_count,
                      region->older_count);
        if (region->older_count > 0) {
            buffer_add_string(out, " (");
            buffer_add_money(out, region->older_cents);
            buffer_add_byte(out, ')');
        }
        buffer_add_byte(out, '\n');
    }
    if (sample->unpaid_count > 0)
        buffer_format(out, "  %" PRId64 " claims left out on which nothing is paid any more\n",
                      sample->unpaid_count);
    if (sample->covered_count > 0)
        buffer_format(out, "  %" PRId64 " claims left out that an extrapolated chargeback covers\n",
                      sample->covered_count);
}

static void describe_strata(const struct sample *sample, struct buffer *out)
{
    if (sample->interval_cents > 0) {
        buffer_add_string(out, "interval: ");
        buffer_add_money(out, sample->interval_cents);
        buffer_add_string(out, ", from a random start\n");
    }
    for (uint32_t i = 0; i < sample->stratum_count && sample->stratum_count > 1; i++) {
        const struct sample_stratum *stratum = &sample->strata[i];
        buffer_format(out, "  stratum %.*s: %" PRId64 " of %" PRId64 " claims, ", TEXT_ARGUMENTS(stratum->name),
                      stratum->item_count, stratum->frame_count);
        buffer_add_money(out, stratum->frame_cents);
        buffer_add_byte(out, '\n');
    }
}

void sample_describe(const struct sample *sample, struct buffer *out)
{
    char day[DATE_ROOM];

    date_write(sample->drawn_on, day);
    buffer_format(out, "sample %.*s: %u claims, ", TEXT_ARGUMENTS(sample->name), sample->item_count);
    if (text_is(sample->method, METHOD_PICKED))
        buffer_format(out, "picked by hand on %s; not random, so nothing follows for other claims\n", day);
    else if (text_is(sample->method, METHOD_MONEY))
        buffer_format(out, "drawn by money on %s\n", day);
    else if (text_is(sample->method, METHOD_STRATIFIED))
        buffer_format(out, "drawn on %s in strata by %s, allocation %.*s\n", day,
                      text_is(sample->strata_by, "stratum")  ? "money"
                      : text_is(sample->strata_by, "dealer") ? "dealer"
                                                             : "campaign",
                      TEXT_ARGUMENTS(sample->allocation));
    else
        buffer_format(out, "drawn at random on %s\n", day);
    buffer_format(out, "because: %.*s\n", TEXT_ARGUMENTS(sample->because));
    if (sample->seed.length > 0)
        buffer_format(out, "seed: %.*s, generator: %.*s\n", TEXT_ARGUMENTS(sample->seed),
                      TEXT_ARGUMENTS(sample->generator));
    describe_frame(sample, out);
    describe_strata(sample, out);
}
