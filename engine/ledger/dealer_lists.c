#include "ledger/dealer_lists.h"

#include "base/date.h"
#include "base/decimal.h"
#include "base/status.h"
#include "ledger/columns.h"
#include "ledger/packed.h"

int ledger_regions(struct office *office, region_take *take, void *taker)
{
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = office_prepare(
        office, "SELECT DISTINCT region FROM dealer_versions WHERE region <> '' ORDER BY region", &statement);

    if (status == WM_OK)
        status = office_step(office, statement, &more);
    while (status == WM_OK && more) {
        status = take(taker, column_text(statement, 0));
        if (status == WM_OK)
            status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    return status;
}

/* --- Parts ----------------------------------------------------------------------------------------- */

static const char DEALERS[] =
    "SELECT dealer FROM dealer_versions UNION SELECT dealer FROM shipment_versions ORDER BY 1";

/* Of the shipments as they are now. */
static const char SHIPPED[] =
    "SELECT part_key, part, quantity_millionths, shipped_on FROM shipment_versions AS s "
    "WHERE dealer = ?1 AND load = (SELECT max(load) FROM shipment_versions WHERE shipment = s.shipment) "
    "ORDER BY part_key, part";

struct listing {
    struct office *office;
    const struct text *keys;
    uint32_t key_count;
    dealer_part_take *take;
    void *taker;
    struct packed_reader *tallies;
    sqlite3_stmt *dealers, *shipped;
    bool *seen;                     /* of each key: a shipment has named it */
    struct arena arena, part_arena; /* part_arena: for the part at hand */
};

static int add_tally(void *taker, const struct packed_entry *entry)
{
    struct dealer_part *part = taker;
    int32_t day = packed_day_of(entry->number);

    part->claimed = decimal_sum(part->claimed, entry->amount);
    if (entry->amount > 0 && (part->last_claimed_on == DAY_NONE || day > part->last_claimed_on))
        part->last_claimed_on = day;
    return WM_OK;
}

static int list_part(struct listing *listing, struct dealer_part *part)
{
    int status =
        packed_find(listing->tallies, packed_hash(KEY_PART, part->dealer, part->part_key), add_tally, part);

    if (status != WM_OK || (part->part.length == 0 && part->claimed == 0))
        return status;
    return listing->take(listing->taker, part);
}

static void mark_seen(struct listing *listing, struct text key)
{
    for (uint32_t i = 0; i < listing->key_count; i++)
        if (text_equal(listing->keys[i], key))
            listing->seen[i] = true;
}

/* The part of the shipment at hand, as the first one writes it, with nothing shipped yet. */
static int begin_part(struct listing *listing, struct text dealer, struct dealer_part *part)
{
    arena_reset(&listing->part_arena);
    *part = (struct dealer_part){.dealer = dealer,
                                 .part_key = column_copy(listing->shipped, 0, &listing->part_arena),
                                 .part = column_copy(listing->shipped, 1, &listing->part_arena),
                                 .last_shipped_on = DAY_NONE,
                                 .last_claimed_on = DAY_NONE};
    mark_seen(listing, part->part_key);
    return part->part_key.bytes == NULL || part->part.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

/* The shipments of a part follow each other. A sum that leaves the range stays at its end. */
static int list_shipped(struct listing *listing, struct text dealer)
{
    struct dealer_part part = {.part_key = {NULL, 0}};
    bool more = false;

    bind_text(listing->shipped, 1, dealer);
    int status = office_step(listing->office, listing->shipped, &more);
    while (status == WM_OK && more) {
        int32_t shipped_on = column_day(listing->shipped, 3);
        if (part.part_key.bytes == NULL)
            status = begin_part(listing, dealer, &part);
        part.shipped = decimal_sum(part.shipped, sqlite3_column_int64(listing->shipped, 2));
        part.last_shipped_on = shipped_on > part.last_shipped_on ? shipped_on : part.last_shipped_on;
        if (status == WM_OK)
            status = office_step(listing->office, listing->shipped, &more);
        if (status == WM_OK && (!more || !text_equal(part.part_key, column_text(listing->shipped, 0)))) {
            status = list_part(listing, &part);
            part.part_key.bytes = NULL;
        }
    }
    sqlite3_reset(listing->shipped);
    return status;
}

static int list_dealer(struct listing *listing, struct text dealer)
{
    memset(listing->seen, 0, listing->key_count * sizeof *listing->seen);
    int status = list_shipped(listing, dealer);
    for (uint32_t i = 0; status == WM_OK && i < listing->key_count; i++) {
        struct dealer_part part = {.dealer = dealer,
                                   .part_key = listing->keys[i],
                                   .part = TEXT(""),
                                   .last_shipped_on = DAY_NONE,
                                   .last_claimed_on = DAY_NONE};
        if (!listing->seen[i])
            status = list_part(listing, &part);
    }
    return status;
}

static int list_dealers(struct listing *listing)
{
    bool more = false;
    int status = office_step(listing->office, listing->dealers, &more);

    while (status == WM_OK && more) {
        status = list_dealer(listing, column_text(listing->dealers, 0));
        if (status == WM_OK)
            status = office_step(listing->office, listing->dealers, &more);
    }
    return status;
}

int ledger_dealer_parts(struct office *office, const struct text *keys, uint32_t key_count,
                        dealer_part_take *take, void *taker)
{
    struct listing listing = {
        .office = office, .keys = keys, .key_count = key_count, .take = take, .taker = taker};
    int status = packed_reader_open(office, PACKED_TALLIES, &listing.tallies);

    listing.seen = ARENA_ARRAY(&listing.arena, bool, key_count + 1);
    if (status == WM_OK && listing.seen == NULL)
        status = WM_NO_MEMORY;
    if (status == WM_OK)
        status = office_prepare(office, DEALERS, &listing.dealers);
    if (status == WM_OK)
        status = office_prepare(office, SHIPPED, &listing.shipped);
    if (status == WM_OK)
        status = list_dealers(&listing);
    sqlite3_finalize(listing.dealers);
    sqlite3_finalize(listing.shipped);
    packed_reader_close(listing.tallies);
    arena_free(&listing.arena);
    arena_free(&listing.part_arena);
    return status;
}
