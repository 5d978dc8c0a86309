#include "pack/own.h"

#include "base/date.h"
#include "base/decimal.h"
#include "base/limits.h"
#include "base/status.h"
#include "pack/bytes.h"

/* --- Writing ----------------------------------------------------------------------------------------- */

static void put_version(struct buffer *out, const struct dealer *version)
{
    put_text(out, version->code);
    put_text(out, version->name);
    put_text(out, version->region);
    put_8(out, (uint64_t)version->labor_rate);
    put_8(out, (uint64_t)version->parts_markup);
    put_4(out, (uint32_t)version->active_from);
    put_4(out, (uint32_t)version->active_to);
    put_4(out, (uint32_t)version->valid_from);
}

static void put_approval(struct buffer *out, const struct approval *approval)
{
    put_text(out, approval->number);
    put_text(out, approval->dealer);
    put_text(out, approval->campaign);
    put_text(out, approval->vin);
    put_text(out, approval->covers);
    put_text(out, approval->reason);
    put_4(out, approval->has_limit);
    put_8(out, (uint64_t)approval->limit_cents);
    put_4(out, (uint32_t)approval->valid_to);
}

static void put_standing(struct buffer *out, const struct standing_claim *standing)
{
    put_8(out, standing->recorded);
    put_text(out, standing->campaign);
    put_text(out, standing->vin);
    put_text(out, standing->outcome);
    put_text(out, standing->repair_order);
    put_text(out, standing->technician);
    put_4(out, (uint32_t)standing->completed_on);
    put_4(out, standing->has_odometer);
    put_4(out, standing->odometer_is_km);
    put_8(out, (uint64_t)standing->odometer);
    put_8(out, (uint64_t)standing->hours_claimed);
    put_4(out, standing->part_count);
    for (uint32_t i = 0; i < standing->part_count; i++) {
        put_text(out, standing->parts[i].key);
        put_8(out, (uint64_t)standing->parts[i].quantity);
    }
}

static void put_claim(struct buffer *out, const struct recorded_claim *claim)
{
    put_text(out, claim->dealer);
    put_text(out, claim->claim);
    put_8(out, (uint64_t)claim->revision_last);
    put_4(out, (uint32_t)claim->previous_decision);
    put_4(out, (uint32_t)claim->first_received_on);
    put_8(out, (uint64_t)claim->paid_cents);
    put_text(out, claim->last_row);
    put_4(out, claim->stands);
    if (claim->stands)
        put_standing(out, &claim->standing);
}

void own_write(struct buffer *out, const struct own_part *own)
{
    put_4(out, own->version_count);
    for (uint32_t i = 0; i < own->version_count; i++)
        put_version(out, &own->versions[i]);
    put_4(out, own->shipment_count);
    for (uint32_t i = 0; i < own->shipment_count; i++) {
        put_text(out, own->shipments[i].part_key);
        put_4(out, (uint32_t)own->shipments[i].shipped_on);
        put_8(out, (uint64_t)own->shipments[i].quantity);
    }
    put_4(out, own->approval_count);
    for (uint32_t i = 0; i < own->approval_count; i++)
        put_approval(out, &own->approvals[i]);
    put_4(out, own->claim_count);
    for (uint32_t i = 0; i < own->claim_count; i++)
        put_claim(out, &own->claims[i].recorded);
    put_4(out, own->other_count);
    for (uint32_t i = 0; i < own->other_count; i++) {
        put_text(out, own->others[i].vin);
        put_text(out, own->others[i].campaign);
        put_4(out, (uint32_t)own->others[i].outcome);
        put_4(out, own->others[i].after);
    }
}

/* --- Reading ----------------------------------------------------------------------------------------- */

/* The least bytes that a record of each kind takes. */
enum {
    LEAST_VERSION = 40,
    LEAST_SHIPMENT = 16,
    LEAST_APPROVAL = 40,
    LEAST_CLAIM = 40,
    LEAST_OTHER = 16,
    LEAST_PART = 12
};

/* What an amount in a file can be. */
#define MOST_CENTS (INT64_MAX / DECIMAL_CENT)

/* What a cell of a file can be: the engine asks no more of a text. */
static struct text take_cell(struct byte_reader *reader)
{
    struct text cell = take_text(reader);

    if (cell.length > LIMIT_CELL_BYTES)
        reader->failed = true;
    return cell;
}

/* A day that there is, or none. */
static int32_t take_day(struct byte_reader *reader)
{
    int32_t day = (int32_t)take_4(reader);

    if (day != DAY_NONE && !date_is_day(day))
        reader->failed = true;
    return day;
}

static int64_t take_number(struct byte_reader *reader, int64_t least, int64_t most)
{
    int64_t number = (int64_t)take_8(reader);

    if (number < least || number > most)
        reader->failed = true;
    return number;
}

static struct dealer take_version(struct byte_reader *reader)
{
    struct dealer version = {.code = take_cell(reader)};

    version.name = take_cell(reader);
    version.region = take_cell(reader);
    version.labor_rate = take_number(reader, 0, INT64_MAX);
    version.parts_markup = take_number(reader, 0, INT64_MAX);
    version.active_from = take_day(reader);
    version.active_to = take_day(reader);
    version.valid_from = take_day(reader);
    return version;
}

static struct own_shipment take_shipment(struct byte_reader *reader)
{
    struct own_shipment shipment = {.part_key = take_cell(reader)};

    shipment.shipped_on = take_day(reader);
    shipment.quantity = take_number(reader, -INT64_MAX, INT64_MAX);
    return shipment;
}

static struct approval take_approval(struct byte_reader *reader)
{
    struct approval approval = {.number = take_cell(reader)};

    approval.dealer = take_cell(reader);
    approval.campaign = take_cell(reader);
    approval.vin = take_cell(reader);
    approval.covers = take_cell(reader);
    approval.reason = take_cell(reader);
    approval.has_limit = take_4(reader) != 0;
    approval.limit_cents = take_number(reader, 0, MOST_CENTS);
    approval.valid_to = take_day(reader);
    return approval;
}

static int take_parts(struct arena *arena, struct byte_reader *reader, struct standing_claim *standing)
{
    standing->part_count = take_count(reader, LEAST_PART);
    struct part_item *parts = ARENA_ARRAY(arena, struct part_item, standing->part_count);
    if (parts == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < standing->part_count; i++) {
        parts[i].key = parts[i].number = take_cell(reader);
        parts[i].quantity = take_number(reader, 0, INT64_MAX);
    }
    standing->parts = parts;
    return WM_OK;
}

/* claims: how many the dealer has, of which this one has its place. */
static int take_standing(struct arena *arena, struct byte_reader *reader, uint32_t claims,
                         struct standing_claim *ret_standing)
{
    struct standing_claim standing = {.recorded = (uint64_t)take_number(reader, 1, claims)};

    standing.campaign = take_cell(reader);
    standing.vin = take_cell(reader);
    standing.outcome = take_cell(reader);
    standing.repair_order = take_cell(reader);
    standing.technician = take_cell(reader);
    standing.completed_on = take_day(reader);
    standing.has_odometer = take_4(reader) != 0;
    standing.odometer_is_km = take_4(reader) != 0;
    standing.odometer = take_number(reader, 0, INT64_MAX / DECIMAL_ONE);
    standing.hours_claimed = take_number(reader, 0, INT64_MAX);
    int status = take_parts(arena, reader, &standing);
    *ret_standing = standing;
    return status;
}

static int take_claim(struct arena *arena, struct byte_reader *reader, uint32_t claims,
                      struct recorded_claim *ret_claim)
{
    struct recorded_claim claim = {.dealer = take_cell(reader)};
    uint32_t decision;

    claim.claim = take_cell(reader);
    claim.revision_last = take_number(reader, 0, INT64_MAX);
    decision = take_4(reader);
    claim.previous_decision = (enum decision)decision;
    claim.first_received_on = take_day(reader);
    claim.paid_cents = take_number(reader, -MOST_CENTS, MOST_CENTS);
    claim.last_row = take_text(reader);
    claim.stands = take_4(reader) != 0;
    if (decision > DECISION_REFUSE)
        reader->failed = true;
    int status = claim.stands ? take_standing(arena, reader, claims, &claim.standing) : WM_OK;
    *ret_claim = claim;
    return status;
}

static struct own_other take_other(struct byte_reader *reader, uint32_t claims)
{
    struct own_other other = {.vin = take_cell(reader)};

    other.campaign = take_cell(reader);
    other.outcome = take_4(reader) == OUTCOME_INSPECTED ? OUTCOME_INSPECTED : OUTCOME_REPAIRED;
    other.after = take_4(reader);
    if (other.after > claims)
        reader->failed = true;
    return other;
}

static int take_lists(struct arena *arena, struct byte_reader *reader, struct own_part *own)
{
    int status = WM_OK;

    own->version_count = take_count(reader, LEAST_VERSION);
    own->versions = ARENA_ARRAY(arena, struct dealer, own->version_count);
    for (uint32_t i = 0; own->versions != NULL && i < own->version_count; i++)
        own->versions[i] = take_version(reader);
    own->shipment_count = take_count(reader, LEAST_SHIPMENT);
    own->shipments = ARENA_ARRAY(arena, struct own_shipment, own->shipment_count);
    for (uint32_t i = 0; own->shipments != NULL && i < own->shipment_count; i++)
        own->shipments[i] = take_shipment(reader);
    own->approval_count = take_count(reader, LEAST_APPROVAL);
    own->approvals = ARENA_ARRAY(arena, struct approval, own->approval_count);
    for (uint32_t i = 0; own->approvals != NULL && i < own->approval_count; i++)
        own->approvals[i] = take_approval(reader);
    own->claim_count = take_count(reader, LEAST_CLAIM);
    own->claims = ARENA_ARRAY(arena, struct own_claim, own->claim_count);
    for (uint32_t i = 0; own->claims != NULL && status == WM_OK && i < own->claim_count; i++)
        status = take_claim(arena, reader, own->claim_count, &own->claims[i].recorded);
    own->other_count = take_count(reader, LEAST_OTHER);
    own->others = ARENA_ARRAY(arena, struct own_other, own->other_count);
    for (uint32_t i = 0; own->others != NULL && i < own->other_count; i++)
        own->others[i] = take_other(reader, own->claim_count);
    bool made = own->versions != NULL && own->shipments != NULL && own->approvals != NULL &&
                own->claims != NULL && own->others != NULL;
    return !made || status != WM_OK ? WM_NO_MEMORY : reader->failed ? WM_BAD_INPUT : WM_OK;
}

/* Puts a claim at the head of the list under this key: the index keeps the first number that it gets, which is
 * that of the key's root; the root's next is the newest. */
static int chain(struct text_index *index, struct own_part *own, struct text key, uint32_t number, bool vehicle)
{
    uint32_t root = text_index_add(index, key, number);
    uint32_t *next = vehicle ? &own->claims[number].next_on_vehicle : &own->claims[number].next_on_order;

    *next = OWN_NONE;
    if (root == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    if (root != number) {
        uint32_t *from = vehicle ? &own->claims[root].next_on_vehicle : &own->claims[root].next_on_order;
        *next = *from;
        *from = number;
    }
    return WM_OK;
}

static int index_claims(struct own_part *own)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < own->claim_count; i++) {
        const struct recorded_claim *claim = &own->claims[i].recorded;
        if (text_index_add(&own->by_claim, claim->claim, i) == TEXT_INDEX_NONE)
            status = WM_NO_MEMORY;
        if (status == WM_OK && claim->stands)
            status = chain(&own->by_vehicle, own, claim->standing.vin, i, true);
        if (status == WM_OK && claim->stands)
            status = chain(&own->by_order, own, claim->standing.repair_order, i, false);
    }
    return status;
}

int own_read(struct arena *arena, struct text bytes, struct own_part *ret_own)
{
    const uint8_t *at = (const uint8_t *)bytes.bytes;
    struct byte_reader reader = {at, at + bytes.length, false};

    *ret_own = (struct own_part){.by_claim = TEXT_INDEX_EMPTY};
    int status = take_lists(arena, &reader, ret_own);
    if (status == WM_OK && reader.at != reader.end)
        status = WM_BAD_INPUT;
    return status == WM_OK ? index_claims(ret_own) : status;
}

void own_part_free(struct own_part *own)
{
    text_index_free(&own->by_claim);
    text_index_free(&own->by_vehicle);
    text_index_free(&own->by_order);
}
