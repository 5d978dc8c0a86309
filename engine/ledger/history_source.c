#include "ledger/history_source.h"

#include <stdlib.h>

#include "base/status.h"
#include "intake/canonical.h"
#include "ledger/columns.h"

struct ledger_history {
    struct history_source source;
    struct ledger_reader *reader;
    struct office *office;
    struct ledger_point point;
    const struct tallies *tallies;
    sqlite3_stmt *month, *months; /* of dealer_months */
    struct arena arena;           /* for one answer */
    struct arena names;           /* what was restored, for good */
    struct text_index restored;   /* kind, dealer, month */
    struct buffer key;
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

/* Whether it is the first time that these are to be restored. */
static int first_time(struct ledger_history *ledger, enum tally_kind kind, struct text dealer, int32_t month,
                      bool *ret_first)
{
    buffer_clear(&ledger->key);
    buffer_add_byte(&ledger->key, (char)kind);
    buffer_add(&ledger->key, &month, sizeof month);
    buffer_add_text(&ledger->key, dealer);
    if (ledger->key.failed)
        return WM_NO_MEMORY;
    *ret_first = text_index_find(&ledger->restored, buffer_text(&ledger->key)) == TEXT_INDEX_NONE;
    if (!*ret_first)
        return WM_OK;
    struct text kept = text_copy(&ledger->names, buffer_text(&ledger->key));
    return kept.bytes == NULL || text_index_add(&ledger->restored, kept, 0) == TEXT_INDEX_NONE ? WM_NO_MEMORY
                                                                                               : WM_OK;
}

static int restore_technician(void *context, struct text dealer, const struct tally *tally)
{
    struct ledger_history *ledger = context;

    return tally->kind != TALLY_TECHNICIAN
               ? WM_OK
               : history_restore_technician_day(ledger->history, dealer, tally->key, tally->day, tally->amount);
}

static int restore_part(void *context, struct text dealer, const struct tally *tally)
{
    struct ledger_history *ledger = context;

    return tally->kind != TALLY_PART
               ? WM_OK
               : history_restore_kit(ledger->history, dealer, tally->key, tally->day, tally->amount);
}

static int read_months(struct ledger_history *ledger, sqlite3_stmt *statement, struct text dealer,
                       tally_take *take)
{
    bool more = false;
    int status = office_step(ledger->office, statement, &more);

    while (status == WM_OK && more) {
        status = tally_bytes_read(column_blob(statement, 0), dealer, take, ledger);
        if (status == WM_BAD_INPUT)
            status = office_report(ledger->office, SQLITE_CORRUPT);
        if (status == WM_OK)
            status = office_step(ledger->office, statement, &more);
    }
    sqlite3_reset(statement);
    return status;
}

/* A whole month of the dealer at once: the days of a month are asked for together. */
static int restore_technicians(struct ledger_history *ledger, struct text dealer, int32_t day)
{
    int32_t month = tally_month(day);
    bool first;
    int status = first_time(ledger, TALLY_TECHNICIAN, dealer, month, &first);

    if (status != WM_OK || !first)
        return status;
    if (ledger->tallies != NULL)
        return tallies_of_dealer(ledger->tallies, dealer, month, TALLY_TECHNICIAN, restore_technician, ledger);
    bind_text(ledger->month, 1, dealer);
    sqlite3_bind_int(ledger->month, 2, month);
    return read_months(ledger, ledger->month, dealer, restore_technician);
}

/* All parts of the dealer over all months. */
static int restore_parts(struct ledger_history *ledger, struct text dealer)
{
    bool first;
    int status = first_time(ledger, TALLY_PART, dealer, 0, &first);

    if (status != WM_OK || !first)
        return status;
    if (ledger->tallies != NULL)
        return tallies_of_dealer(ledger->tallies, dealer, INT32_MIN, TALLY_PART, restore_part, ledger);
    bind_text(ledger->months, 1, dealer);
    return read_months(ledger, ledger->months, dealer, restore_part);
}

/* --- Answering --------------------------------------------------------------------------------------- */

static int by_key(const void *a, const void *b)
{
    const struct history_ask *x = *(const struct history_ask *const *)a,
                             *y = *(const struct history_ask *const *)b;

    if (x->question != y->question)
        return x->question < y->question ? -1 : 1;
    int order = x->question == ASK_VEHICLE ? text_compare(x->vin, y->vin) : text_compare(x->dealer, y->dealer);
    if (order == 0 && x->question == ASK_CLAIM)
        order = text_compare(x->claim, y->claim);
    if (order == 0 && x->question == ASK_REPAIR_ORDER)
        order = text_compare(x->repair_order, y->repair_order);
    return order;
}

static int answer_one(struct ledger_history *ledger, const struct history_ask *ask)
{
    arena_reset(&ledger->arena);
    switch (ask->question) {
    case ASK_CLAIM: return restore_claim(ledger, ask->dealer, ask->claim);
    case ASK_VEHICLE: return restore_vehicle(ledger, ask->vin);
    case ASK_REPAIR_ORDER: return restore_order(ledger, ask->dealer, ask->repair_order);
    case ASK_TECHNICIAN_DAY: return restore_technicians(ledger, ask->dealer, ask->completed_on);
    case ASK_KIT: return restore_parts(ledger, ask->dealer);
    }
    return WM_OK;
}

static int answer(void *context, struct history *history, const struct history_ask *asks, uint32_t count)
{
    struct ledger_history *ledger = context;
    const struct history_ask **sorted = malloc(count * sizeof *sorted);
    int status = sorted != NULL ? WM_OK : WM_NO_MEMORY;

    ledger->history = history;
    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        sorted[i] = &asks[i];
    if (status == WM_OK)
        qsort(sorted, count, sizeof *sorted, by_key);
    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = answer_one(ledger, sorted[i]);
    free(sorted);
    return status;
}

int ledger_history_open(struct office *office, struct ledger_point point, const struct tallies *tallies,
                        struct ledger_history **ret_ledger)
{
    struct ledger_history *ledger = calloc(1, sizeof *ledger);
    int status = ledger != NULL ? WM_OK : office_report(office, SQLITE_NOMEM);

    if (status != WM_OK)
        return status;
    ledger->source = (struct history_source){ledger, answer};
    ledger->office = office;
    ledger->point = point;
    ledger->tallies = tallies;
    status = ledger_reader_open(office, point, &ledger->reader);
    if (status == WM_OK)
        status = office_prepare(office, "SELECT tallies FROM dealer_months WHERE dealer = ?1 AND month = ?2",
                                &ledger->month);
    if (status == WM_OK)
        status = office_prepare(office, "SELECT tallies FROM dealer_months WHERE dealer = ?1", &ledger->months);
    if (status == WM_OK)
        *ret_ledger = ledger;
    else
        ledger_history_close(ledger);
    return status;
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
    sqlite3_finalize(ledger->month);
    sqlite3_finalize(ledger->months);
    text_index_free(&ledger->restored);
    buffer_free(&ledger->key);
    arena_free(&ledger->arena);
    arena_free(&ledger->names);
    free(ledger);
}
