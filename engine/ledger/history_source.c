#include "ledger/history_source.h"

#include <stdlib.h>

#include "base/status.h"
#include "base/text_index.h"
#include "intake/canonical.h"
#include "ledger/columns.h"
#include "ledger/tallies_then.h"

struct ledger_history {
    struct history_source source;
    struct ledger_reader *reader;
    struct office *office;
    struct ledger_point point;
    const struct tallies *tallies; /* what stood at the point; NULL: what is stored, and the changes */
    const struct tallies *changes; /* NULL: none */
    bool looks_back;               /* changes are worked out as dealers are asked about */
    struct tallies changed;        /* those */
    struct text_index dealers;     /* for which they are */
    struct arena names;            /* of dealers */
    struct packed_reader *stored;  /* what stands now; NULL: not needed yet */
    struct arena arena;            /* for one answer */
    struct history *history;
};

/* --- Claims ------------------------------------------------------------------------------------------ */

static int64_t plus(int64_t a, int64_t b)
{
    int64_t sum;
    return __builtin_add_overflow(a, b, &sum) ? INT64_MAX : sum;
}

static int restore_standing(struct ledger_history *ledger, const struct claim_row *row,
                            struct standing_claim *ret_standing)
{
    struct claim claim;
    struct text content;
    int64_t hours = 0;
    int status = ledger_content(ledger->reader, &ledger->arena, row->row, &content);

    if (status == WM_OK)
        status = ledger_content_claim(content, row->line, &ledger->arena, &claim);
    if (status != WM_OK)
        return status;
    for (uint32_t i = 0; i < claim.labor_count; i++)
        hours = plus(hours, claim.labor[i].hours);
    *ret_standing = (struct standing_claim){.recorded = (uint64_t)row->row,
                                            .campaign = row->campaign,
                                            .vin = row->vin,
                                            .outcome = row->outcome,
                                            .repair_order = claim.cells[COLUMN_REPAIR_ORDER],
                                            .technician = claim.cells[COLUMN_TECHNICIAN],
                                            .completed_on = row->completed_on,
                                            .has_odometer = claim.has_odometer,
                                            .odometer_is_km = claim.odometer_is_km,
                                            .odometer = claim.odometer,
                                            .hours_claimed = hours,
                                            .parts = claim.parts,
                                            .part_count = claim.part_count};
    return WM_OK;
}

static int restore_contents(struct ledger_history *ledger, const struct ledger_claim *found,
                            struct recorded_claim *claim)
{
    struct recorded_revision *revisions =
        ARENA_ARRAY(&ledger->arena, struct recorded_revision, found->row_count);
    int status = revisions != NULL ? WM_OK : WM_NO_MEMORY;

    for (uint32_t i = 0; status == WM_OK && i < found->row_count; i++) {
        revisions[i].revision = found->rows[i].revision;
        revisions[i].row = (uint64_t)found->rows[i].row;
        status = ledger_content(ledger->reader, &ledger->arena, found->rows[i].row, &revisions[i].content);
        if (&found->rows[i] == found->last)
            claim->last_row = revisions[i].content;
    }
    claim->revisions = revisions;
    claim->revision_count = found->row_count;
    return status;
}

static int restore_claim(struct ledger_history *ledger, struct text dealer, struct text number)
{
    struct ledger_claim found;
    int status = ledger_claim_read(ledger->reader, &ledger->arena, dealer, number, &found);

    if (status != WM_OK)
        return status == WM_NOT_FOUND ? WM_OK : status;
    struct recorded_claim claim = {.dealer = dealer,
                                   .claim = number,
                                   .revision_last = found.last->revision,
                                   .row_last = (uint64_t)found.last->row,
                                   .previous_decision = found.last->decision,
                                   .first_received_on = found.first_received_on,
                                   .paid_cents = found.paid_cents,
                                   .stands = found.standing != NULL};
    if (claim.stands)
        status = restore_standing(ledger, found.standing, &claim.standing);
    if (status == WM_OK && history_wants_contents(ledger->history))
        status = restore_contents(ledger, &found, &claim);
    return status == WM_OK ? history_restore_claim(ledger->history, &claim) : status;
}

static int restore_vehicle(struct ledger_history *ledger, struct text vin)
{
    struct claim_name *names;
    uint32_t count;
    int status = ledger_names_on_vin(ledger->reader, &ledger->arena, vin, &names, &count);

    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = restore_claim(ledger, names[i].dealer, names[i].claim);
    return status;
}

static int restore_order(struct ledger_history *ledger, struct text dealer, struct text repair_order)
{
    struct claim_name *names;
    struct ledger_claim found;
    uint32_t count;
    int status =
        ledger_names_on_repair_order(ledger->reader, &ledger->arena, dealer, repair_order, &names, &count);

    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        status = ledger_claim_read(ledger->reader, &ledger->arena, names[i].dealer, names[i].claim, &found);
        if (status == WM_OK && found.standing != NULL && found.standing->row == names[i].row)
            status =
                history_restore_repair_order(ledger->history, dealer, repair_order, found.standing->vin, 1);
    }
    return status == WM_NOT_FOUND ? office_report(ledger->office, SQLITE_CORRUPT) : status;
}

/* --- Tallies ----------------------------------------------------------------------------------------- */

/* What is asked for, while its entries are handed out. */
struct tally_asking {
    struct ledger_history *ledger;
    const struct history_ask *ask;
};

static int restore_technician(void *context, const struct packed_entry *entry)
{
    const struct tally_asking *asking = context;
    const struct history_ask *ask = asking->ask;

    return packed_day_of(entry->number) != ask->completed_on
               ? WM_OK
               : history_restore_technician_day(asking->ledger->history, ask->dealer, ask->technician,
                                                ask->completed_on, entry->amount);
}

static int restore_part(void *context, const struct packed_entry *entry)
{
    const struct tally_asking *asking = context;

    return history_restore_kit(asking->ledger->history, asking->ask->dealer, asking->ask->kit_key,
                               packed_day_of(entry->number), entry->amount);
}

/* Makes sure that the changes of this dealer are there. */
static int look_back(struct ledger_history *ledger, struct text dealer)
{
    enum tallies_from from;
    uint32_t place = ledger->dealers.count;

    if (text_index_find(&ledger->dealers, dealer) != TEXT_INDEX_NONE)
        return WM_OK;
    struct text name = text_copy(&ledger->names, dealer);
    bool noted = name.bytes != NULL && text_index_add(&ledger->dealers, name, place) != TEXT_INDEX_NONE;
    return noted ? tallies_then(ledger->office, ledger->point, name, INT32_MAX, TALLIES_FROM_NOW,
                                &ledger->changed, &from)
                 : WM_NO_MEMORY;
}

static int restore_tallies(struct ledger_history *ledger, const struct history_ask *ask)
{
    struct tally_asking asking = {ledger, ask};
    bool kit = ask->question == ASK_KIT;
    uint64_t hash =
        packed_hash(kit ? KEY_PART : KEY_TECHNICIAN, ask->dealer, kit ? ask->kit_key : ask->technician);
    packed_take *take = kit ? restore_part : restore_technician;

    if (ledger->tallies != NULL)
        return tallies_find(ledger->tallies, hash, take, &asking);
    int status = ledger->looks_back ? look_back(ledger, ask->dealer) : WM_OK;
    if (status == WM_OK && ledger->stored == NULL)
        status = packed_reader_open(ledger->office, PACKED_TALLIES, &ledger->stored);
    if (status == WM_OK)
        status = packed_find(ledger->stored, hash, take, &asking);
    return status == WM_OK && ledger->changes != NULL ? tallies_find(ledger->changes, hash, take, &asking)
                                                      : status;
}

/* --- Answering --------------------------------------------------------------------------------------- */

static int answer_one(struct ledger_history *ledger, const struct history_ask *ask)
{
    arena_reset(&ledger->arena);
    switch (ask->question) {
    case ASK_CLAIM: return restore_claim(ledger, ask->dealer, ask->claim);
    case ASK_VEHICLE: return restore_vehicle(ledger, ask->vin);
    case ASK_REPAIR_ORDER: return restore_order(ledger, ask->dealer, ask->repair_order);
    case ASK_TECHNICIAN_DAY:
    case ASK_KIT: break;
    }
    return restore_tallies(ledger, ask);
}

static bool asks_tallies(const struct history_ask *ask)
{
    return ask->question == ASK_TECHNICIAN_DAY || ask->question == ASK_KIT;
}

static uint64_t hash_of(const struct history_ask *ask)
{
    switch (ask->question) {
    case ASK_CLAIM: return packed_hash(KEY_CLAIM, ask->dealer, ask->claim);
    case ASK_VEHICLE: return packed_hash(KEY_VEHICLE, ask->vin, TEXT(""));
    case ASK_REPAIR_ORDER: return packed_hash(KEY_REPAIR_ORDER, ask->dealer, ask->repair_order);
    case ASK_TECHNICIAN_DAY: return packed_hash(KEY_TECHNICIAN, ask->dealer, ask->technician);
    case ASK_KIT: break;
    }
    return packed_hash(KEY_PART, ask->dealer, ask->kit_key);
}

/* Most claims of a night are new: whether anything is recorded at all is looked for first, a few questions
 * ahead. */
static int answer_all(struct ledger_history *ledger, struct packed_reader *rows, const struct history_ask *asks,
                      const uint64_t *hashes, uint32_t count)
{
    enum { AHEAD = 12 };
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        bool has = true;
        if (i + AHEAD < count && !asks_tallies(&asks[i + AHEAD]))
            packed_prefetch(rows, hashes[i + AHEAD]);
        else if (i + AHEAD < count && ledger->stored != NULL)
            packed_prefetch(ledger->stored, hashes[i + AHEAD]);
        if (!asks_tallies(&asks[i]))
            status = packed_has(rows, hashes[i], &has);
        if (status == WM_OK && has)
            status = answer_one(ledger, &asks[i]);
    }
    return status;
}

static int answer(void *context, struct history *history, const struct history_ask *asks, uint32_t count)
{
    struct ledger_history *ledger = context;
    struct packed_reader *rows = NULL;
    uint64_t *hashes = malloc(((size_t)count + 1) * sizeof *hashes);
    int status = hashes != NULL ? ledger_reader_rows(ledger->reader, &rows) : WM_NO_MEMORY;

    ledger->history = history;
    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        hashes[i] = hash_of(&asks[i]);
    if (status == WM_OK)
        status = answer_all(ledger, rows, asks, hashes, count);
    free(hashes);
    return status;
}

int ledger_history_open(struct office *office, struct ledger_point point, const struct tallies *tallies,
                        struct ledger_history **ret_ledger)
{
    struct ledger_history *ledger = calloc(1, sizeof *ledger);
    int status = ledger != NULL ? WM_OK : office_report(office, SQLITE_NOMEM);

    if (status != WM_OK)
        return status;
    ledger->source = (struct history_source){ledger, (uint64_t)point.last_row, answer};
    ledger->office = office;
    ledger->point = point;
    ledger->tallies = tallies;
    tallies_open(&ledger->changed);
    status = ledger_reader_open(office, point, &ledger->reader);
    if (status == WM_OK)
        *ret_ledger = ledger;
    else
        ledger_history_close(ledger);
    return status;
}

void ledger_history_set_changes(struct ledger_history *ledger, const struct tallies *changes)
{
    ledger->changes = changes;
}

void ledger_history_look_back(struct ledger_history *ledger)
{
    ledger->looks_back = true;
    ledger->changes = &ledger->changed;
}

const struct history_source *ledger_history_source(const struct ledger_history *ledger)
{
    return ledger->point.last_row > 0 ? &ledger->source : NULL;
}

void ledger_history_close(struct ledger_history *ledger)
{
    if (ledger == NULL)
        return;
    ledger_reader_close(ledger->reader);
    packed_reader_close(ledger->stored);
    tallies_close(&ledger->changed);
    text_index_free(&ledger->dealers);
    arena_free(&ledger->names);
    arena_free(&ledger->arena);
    free(ledger);
}
