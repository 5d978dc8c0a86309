#include "facts/history.h"

#include <stdlib.h>

#include "base/chunks.h"
#include "base/status.h"
#include "facts/number_index.h"
#include "facts/totals.h"
#include "intake/canonical.h"

#define NONE UINT32_MAX

/* Claims of this run come after all that was recorded before it. */
#define FIRST_OF_RUN (UINT64_C(1) << 62)

/* What of a standing claim counts in the totals; kept only where the rules ask for totals. */
struct contribution {
    struct text repair_order, technician;
    int64_t hours;
    int32_t completed_on;
    uint32_t kit_count;
    struct {
        struct text key;
        int64_t quantity;
    } kits[];
};

struct standing_entry {
    uint64_t recorded;
    uint32_t next_on_vehicle;
    uint32_t claim, vehicle;
    uint32_t campaign, outcome; /* numbers of words */
    int32_t completed_on;
    bool active, has_odometer, odometer_is_km;
    int64_t odometer;
    const struct contribution *contribution; /* NULL: none kept */
};

struct claim_entry {
    const char *key; /* dealer, NUL, claim */
    uint32_t key_length, dealer_length;
    int64_t revision_last; /* -1: nothing recorded */
    uint64_t row_last;     /* its row */
    int64_t paid_cents;
    const char *last_row; /* NULL: not kept */
    uint32_t last_row_length;
    uint32_t standing; /* NONE: none */
    uint32_t rows;     /* newest row entry, NONE: none */
    int32_t first_received_on;
    uint8_t previous_decision;
};

/* A row of a claim, for telling whether another one says the same; only where contents are kept. */
struct row_entry {
    int64_t revision;
    uint64_t row;
    uint32_t next;              /* of the claim; NONE: the last */
    uint8_t content_digest[16]; /* its first bytes */
};

struct vehicle_entry {
    const char *vin;
    uint32_t length;
    uint32_t first; /* newest standing entry, NONE: none */
    bool asked;     /* the source was asked for all that stands on it */
};

struct history {
    const struct rules *rules;
    const struct history_source *source;
    struct arena arena; /* keys, words, contributions */
    struct chunks claims, vehicles, standing, rows;
    struct number_index claim_index, vehicle_index;
    struct text_index words; /* campaigns and outcomes to numbers */
    struct chunks word_texts;
    struct totals totals;
    uint64_t recorded;
    struct buffer key;
    struct history_ask *asks;
    uint32_t ask_count, ask_capacity;
    bool wants_repair_orders, wants_technician_days, wants_kits, wants_last_row;
    bool keeps_contents;
};

/* --- Finding entries --------------------------------------------------------------------------------- */

static struct text claim_key(const void *context, uint32_t number)
{
    const struct history *history = context;
    const struct claim_entry *entry = chunks_at(&history->claims, number);
    return (struct text){entry->key, entry->key_length};
}

static struct text vehicle_key(const void *context, uint32_t number)
{
    const struct history *history = context;
    const struct vehicle_entry *entry = chunks_at(&history->vehicles, number);
    return (struct text){entry->vin, entry->length};
}

/* Dealer, NUL, claim. */
static struct text make_key(struct buffer *room, struct text dealer, struct text claim)
{
    buffer_clear(room);
    buffer_add_text(room, dealer);
    buffer_add_byte(room, '\0');
    buffer_add_text(room, claim);
    return buffer_text(room);
}

int history_note(struct arena *arena, struct dossier *dossier)
{
    struct text dealer = dossier->claim.cells[COLUMN_DEALER], claim = dossier->claim.cells[COLUMN_CLAIM];
    char *room = arena_bytes(arena, dealer.length + 1 + claim.length);

    if (room == NULL)
        return WM_NO_MEMORY;
    memcpy(room, dealer.bytes, dealer.length);
    room[dealer.length] = '\0';
    memcpy(room + dealer.length + 1, claim.bytes, claim.length);
    dossier->claim_key = (struct text){room, dealer.length + 1 + claim.length};
    dossier->claim_hash = number_index_hash(dossier->claim_key);
    dossier->vehicle_hash = number_index_hash(dossier->claim.vin);
    return WM_OK;
}

/* The entry of this claim, made if it is new. */
static int find_claim(struct history *history, struct text whole_key, struct text dealer, uint32_t hash,
                      uint32_t *ret_number, bool *ret_new)
{
    struct number_slot *slot = number_index_slot(&history->claim_index, whole_key, hash, claim_key, history);

    if (slot == NULL)
        return WM_NO_MEMORY;
    *ret_new = slot->number == 0;
    if (*ret_new) {
        struct text key = text_copy(&history->arena, whole_key);
        struct claim_entry *entry = key.bytes != NULL ? chunks_add(&history->claims) : NULL;
        if (entry == NULL)
            return WM_NO_MEMORY;
        *entry = (struct claim_entry){.key = key.bytes,
                                      .key_length = (uint32_t)key.length,
                                      .dealer_length = (uint32_t)dealer.length,
                                      .revision_last = -1,
                                      .standing = NONE,
                                      .rows = NONE,
                                      .first_received_on = DAY_NONE};
        slot->number = history->claims.count;
        history->claim_index.count++;
    }
    *ret_number = slot->number - 1;
    return WM_OK;
}

static int find_vehicle(struct history *history, struct text vin, uint32_t hash, uint32_t *ret_number, bool *ret_new)
{
    struct number_slot *slot = number_index_slot(&history->vehicle_index, vin, hash, vehicle_key, history);

    if (slot == NULL)
        return WM_NO_MEMORY;
    *ret_new = slot->number == 0;
    if (*ret_new) {
        struct text key = text_copy(&history->arena, vin);
        struct vehicle_entry *entry = key.bytes != NULL ? chunks_add(&history->vehicles) : NULL;
        if (entry == NULL)
            return WM_NO_MEMORY;
        *entry = (struct vehicle_entry){key.bytes, (uint32_t)key.length, NONE, false};
        slot->number = history->vehicles.count;
        history->vehicle_index.count++;
    }
    *ret_number = slot->number - 1;
    return WM_OK;
}

static int word_number(struct history *history, struct text word, uint32_t *ret_number)
{
    *ret_number = text_index_find(&history->words, word);
    if (*ret_number != TEXT_INDEX_NONE)
        return WM_OK;
    struct text copy = text_copy(&history->arena, word);
    struct text *kept = copy.bytes != NULL ? chunks_add(&history->word_texts) : NULL;
    if (kept == NULL)
        return WM_NO_MEMORY;
    *kept = copy;
    *ret_number = text_index_add(&history->words, copy, history->word_texts.count - 1);
    return *ret_number == TEXT_INDEX_NONE ? WM_NO_MEMORY : WM_OK;
}

static struct text word_text(const struct history *history, uint32_t number)
{
    return *(const struct text *)chunks_at(&history->word_texts, number);
}

/* --- Life -------------------------------------------------------------------------------------------- */

int history_new(const struct rules *rules, const struct history_source *source, struct history **ret_history)
{
    struct history *history = calloc(1, sizeof *history);

    if (history == NULL)
        return WM_NO_MEMORY;
    history->rules = rules;
    history->source = source;
    history->claims = CHUNKS_OF(struct claim_entry);
    history->vehicles = CHUNKS_OF(struct vehicle_entry);
    history->standing = CHUNKS_OF(struct standing_entry);
    history->rows = CHUNKS_OF(struct row_entry);
    history->word_texts = CHUNKS_OF(struct text);
    history->recorded = FIRST_OF_RUN;
    history->wants_repair_orders = rules_slot(rules, FACT_repair_order_vins) >= 0;
    history->wants_technician_days = rules_slot(rules, FACT_technician_day_hours) >= 0;
    history->wants_kits = rules_slot(rules, FACT_kits_claimed) >= 0;
    history->wants_last_row = rules_slot(rules, FACT_revision_differs) >= 0;
    totals_open(&history->totals);
    *ret_history = history;
    return WM_OK;
}

void history_free(struct history *history)
{
    if (history == NULL)
        return;
    chunks_free(&history->claims);
    chunks_free(&history->vehicles);
    chunks_free(&history->standing);
    chunks_free(&history->rows);
    chunks_free(&history->word_texts);
    number_index_free(&history->claim_index);
    number_index_free(&history->vehicle_index);
    text_index_free(&history->words);
    totals_close(&history->totals);
    buffer_free(&history->key);
    free(history->asks);
    arena_free(&history->arena);
    free(history);
}

void history_keep_contents(struct history *history, uint64_t last_row)
{
    history->keeps_contents = true;
    history->recorded = last_row;
}

bool history_wants_contents(const struct history *history)
{
    return history->keeps_contents || history->wants_last_row;
}

bool history_wants_totals(const struct history *history)
{
    return history->wants_repair_orders || history->wants_technician_days || history->wants_kits;
}

/* --- Standing claims --------------------------------------------------------------------------------- */

static bool is_kit_somewhere(const struct rules *rules, struct text key)
{
    for (uint32_t i = 0; i < rules->campaign_count; i++) {
        uint32_t number = text_index_find(&rules->campaigns[i].part_index, key);
        if (number != TEXT_INDEX_NONE && rules->campaigns[i].part_list[number].is_kit)
            return true;
    }
    return false;
}

static int keep_contribution(struct history *history, const struct standing_claim *claim,
                             const struct contribution **ret_contribution)
{
    *ret_contribution = NULL;
    if (!history->wants_repair_orders && !history->wants_technician_days && !history->wants_kits)
        return WM_OK;
    size_t size = sizeof(struct contribution) + claim->part_count * sizeof(((struct contribution *)0)->kits[0]);
    struct contribution *kept = arena_zeroed(&history->arena, 1, size);
    if (kept == NULL)
        return WM_NO_MEMORY;
    kept->repair_order = text_copy(&history->arena, claim->repair_order);
    kept->technician = text_copy(&history->arena, claim->technician);
    kept->hours = claim->hours_claimed;
    kept->completed_on = claim->completed_on;
    if (kept->repair_order.bytes == NULL || kept->technician.bytes == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; history->wants_kits && i < claim->part_count; i++) {
        if (!is_kit_somewhere(history->rules, claim->parts[i].key))
            continue;
        kept->kits[kept->kit_count].key = text_copy(&history->arena, claim->parts[i].key);
        kept->kits[kept->kit_count].quantity = claim->parts[i].quantity;
        if (kept->kits[kept->kit_count++].key.bytes == NULL)
            return WM_NO_MEMORY;
    }
    *ret_contribution = kept;
    return WM_OK;
}

static struct text dealer_of(const struct history *history, uint32_t claim)
{
    const struct claim_entry *entry = chunks_at(&history->claims, claim);
    return (struct text){entry->key, entry->dealer_length};
}

/* Adds what a standing claim counts to the totals (sign 1), or takes it out (sign -1). */
static int count_contribution(struct history *history, const struct standing_entry *entry, int sign)
{
    const struct contribution *contribution = entry->contribution;
    struct text dealer = dealer_of(history, entry->claim), vin = vehicle_key(history, entry->vehicle);
    int status = WM_OK;

    if (contribution == NULL)
        return WM_OK;
    if (history->wants_repair_orders)
        status = totals_add_vin(&history->totals, dealer, contribution->repair_order, vin, sign);
    if (status == WM_OK && history->wants_technician_days && contribution->technician.length > 0 &&
        contribution->completed_on != DAY_NONE)
        status = totals_add_hours(&history->totals, dealer, contribution->technician,
                                  contribution->completed_on, sign * contribution->hours);
    for (uint32_t i = 0; status == WM_OK && i < contribution->kit_count; i++)
        if (contribution->completed_on != DAY_NONE)
            status = totals_add_kit(&history->totals, dealer, contribution->kits[i].key,
                                    contribution->completed_on, sign * contribution->kits[i].quantity);
    return status;
}

/* Puts a standing claim on its vehicle, in place of the one that stood for the claim before. */
static int stand(struct history *history, uint32_t claim, const struct standing_claim *standing)
{
    struct claim_entry *owner = chunks_at(&history->claims, claim);
    struct standing_entry *entry = chunks_add(&history->standing);
    uint32_t number = history->standing.count - 1, vehicle;
    bool is_new;

    if (entry == NULL)
        return WM_NO_MEMORY;
    int status = find_vehicle(history, standing->vin, number_index_hash(standing->vin), &vehicle, &is_new);
    if (status == WM_OK)
        status = word_number(history, standing->campaign, &entry->campaign);
    if (status == WM_OK)
        status = word_number(history, standing->outcome, &entry->outcome);
    if (status == WM_OK)
        status = keep_contribution(history, standing, &entry->contribution);
    if (status != WM_OK)
        return status;
    struct vehicle_entry *on = chunks_at(&history->vehicles, vehicle);
    entry->recorded = standing->recorded;
    entry->claim = claim;
    entry->vehicle = vehicle;
    entry->completed_on = standing->completed_on;
    entry->has_odometer = standing->has_odometer;
    entry->odometer_is_km = standing->odometer_is_km;
    entry->odometer = standing->odometer;
    entry->active = true;
    entry->next_on_vehicle = on->first;
    on->first = number;
    if (owner->standing != NONE)
        ((struct standing_entry *)chunks_at(&history->standing, owner->standing))->active = false;
    owner->standing = number;
    return WM_OK;
}

/* --- The source's answers ---------------------------------------------------------------------------- */

static int keep_last_row(struct history *history, struct claim_entry *entry, struct text row)
{
    if (!history->wants_last_row)
        return WM_OK;
    struct text copy = text_copy(&history->arena, row);
    entry->last_row = copy.bytes;
    entry->last_row_length = (uint32_t)copy.length;
    return copy.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int keep_row(struct history *history, struct claim_entry *entry, int64_t revision, uint64_t row,
                    const uint8_t *digest)
{
    struct row_entry *kept = history->keeps_contents ? chunks_add(&history->rows) : NULL;

    if (!history->keeps_contents)
        return WM_OK;
    if (kept == NULL)
        return WM_NO_MEMORY;
    kept->revision = revision;
    kept->row = row;
    kept->next = entry->rows;
    memcpy(kept->content_digest, digest, sizeof kept->content_digest);
    entry->rows = history->rows.count - 1;
    return WM_OK;
}

static int restore_rows(struct history *history, struct claim_entry *entry, const struct recorded_claim *claim)
{
    uint8_t digest[CONTENT_DIGEST_BYTES];
    int status = WM_OK;

    for (uint32_t i = 0; history->keeps_contents && status == WM_OK && i < claim->revision_count; i++) {
        content_digest(claim->revisions[i].content, digest);
        status = keep_row(history, entry, claim->revisions[i].revision, claim->revisions[i].row, digest);
    }
    return status;
}

int history_restore_claim(struct history *history, const struct recorded_claim *claim)
{
    uint32_t number;
    bool is_new;
    struct text key = make_key(&history->key, claim->dealer, claim->claim);
    int status = history->key.failed
                     ? WM_NO_MEMORY
                     : find_claim(history, key, claim->dealer, number_index_hash(key), &number, &is_new);

    if (status != WM_OK)
        return status;
    struct claim_entry *entry = chunks_at(&history->claims, number);
    if (entry->revision_last >= 0)
        return WM_OK; /* restored before, or recorded since */
    entry->revision_last = claim->revision_last;
    entry->row_last = claim->row_last;
    entry->previous_decision = (uint8_t)claim->previous_decision;
    entry->first_received_on = claim->first_received_on;
    entry->paid_cents = claim->paid_cents;
    status = keep_last_row(history, entry, claim->last_row);
    if (status == WM_OK)
        status = restore_rows(history, entry, claim);
    return status == WM_OK && claim->stands ? stand(history, number, &claim->standing) : status;
}

int history_restore_repair_order(struct history *history, struct text dealer, struct text repair_order,
                                 struct text vin, uint32_t claims)
{
    return totals_add_vin(&history->totals, dealer, repair_order, vin, (int)claims);
}

int history_restore_technician_day(struct history *history, struct text dealer, struct text technician,
                                   int32_t day, int64_t hours)
{
    return totals_add_hours(&history->totals, dealer, technician, day, hours);
}

int history_restore_kit(struct history *history, struct text dealer, struct text kit_key, int32_t day,
                        int64_t quantity)
{
    return totals_add_kit(&history->totals, dealer, kit_key, day, quantity);
}

/* --- Asking the source ------------------------------------------------------------------------------- */

static int ask(struct history *history, const struct history_ask *question)
{
    if (history->source == NULL)
        return WM_OK;
    if (history->ask_count == history->ask_capacity) {
        uint32_t capacity = history->ask_capacity ? history->ask_capacity * 2 : 1024;
        struct history_ask *grown = realloc(history->asks, capacity * sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        history->asks = grown;
        history->ask_capacity = capacity;
    }
    history->asks[history->ask_count++] = *question;
    return WM_OK;
}

static struct text expected_kit(const struct dossier *dossier)
{
    return dossier->expectation != NULL ? dossier->expectation->kit_key : (struct text){NULL, 0};
}

static int prepare_totals(struct history *history, const struct dossier *dossier)
{
    struct history_ask question = {.dealer = dossier->claim.cells[COLUMN_DEALER],
                                   .repair_order = dossier->claim.cells[COLUMN_REPAIR_ORDER],
                                   .technician = dossier->claim.cells[COLUMN_TECHNICIAN],
                                   .kit_key = expected_kit(dossier),
                                   .completed_on = dossier->claim.completed_on};
    bool is_new = false;
    int status = WM_OK;

    if (history->wants_repair_orders) {
        question.question = ASK_REPAIR_ORDER;
        status = totals_touch_order(&history->totals, question.dealer, question.repair_order, &is_new);
        if (status == WM_OK && is_new)
            status = ask(history, &question);
    }
    if (status == WM_OK && history->wants_technician_days && question.technician.length > 0 &&
        question.completed_on != DAY_NONE) {
        question.question = ASK_TECHNICIAN_DAY;
        status = totals_touch_day(&history->totals, question.dealer, question.technician, question.completed_on,
                                  &is_new);
        if (status == WM_OK && is_new)
            status = ask(history, &question);
    }
    if (status == WM_OK && history->wants_kits && question.kit_key.length > 0) {
        question.question = ASK_KIT;
        status = totals_touch_kit(&history->totals, question.dealer, question.kit_key, &is_new);
        if (status == WM_OK && is_new)
            status = ask(history, &question);
    }
    return status;
}

static int prepare_one(struct history *history, struct dossier *dossier)
{
    struct history_ask question = {.dealer = dossier->claim.cells[COLUMN_DEALER],
                                   .claim = dossier->claim.cells[COLUMN_CLAIM],
                                   .vin = dossier->claim.vin};
    bool new_claim, new_vehicle;
    int status = find_claim(history, dossier->claim_key, question.dealer, dossier->claim_hash, &dossier->claim_entry,
                            &new_claim);

    if (status == WM_OK)
        status = find_vehicle(history, question.vin, dossier->vehicle_hash, &dossier->vehicle_entry, &new_vehicle);
    if (status == WM_OK && new_claim) {
        question.question = ASK_CLAIM;
        status = ask(history, &question);
    }
    if (status != WM_OK)
        return status;
    /* a claim that was restored may have brought its vehicle before anybody asked about that */
    struct vehicle_entry *vehicle = chunks_at(&history->vehicles, dossier->vehicle_entry);
    if (!vehicle->asked) {
        vehicle->asked = true;
        question.question = ASK_VEHICLE;
        status = ask(history, &question);
    }
    return status == WM_OK ? prepare_totals(history, dossier) : status;
}

int history_prepare(struct history *history, struct dossier *const *dossiers, uint32_t count)
{
    int status = WM_OK;

    history->ask_count = 0;
    for (uint32_t i = 0; i < count; i++) {
        number_index_prefetch(&history->claim_index, dossiers[i]->claim_hash);
        number_index_prefetch(&history->vehicle_index, dossiers[i]->vehicle_hash);
    }
    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        if (!dossiers[i]->claim.unreadable)
            status = prepare_one(history, dossiers[i]);
    if (status == WM_OK && history->ask_count > 0)
        status = history->source->answer(history->source->context, history, history->asks, history->ask_count);
    return status;
}

/* --- Facts ------------------------------------------------------------------------------------------- */

/* The first recorded standing claim on the vehicle of this campaign, not of the claim in hand. */
static const struct standing_entry *first_standing(const struct history *history, const struct dossier *dossier,
                                                   struct text campaign)
{
    const struct vehicle_entry *vehicle = chunks_at(&history->vehicles, dossier->vehicle_entry);
    const struct standing_entry *first = NULL;
    uint32_t word = text_index_find(&history->words, campaign);

    if (word == TEXT_INDEX_NONE)
        return NULL;
    for (uint32_t at = vehicle->first; at != NONE;) {
        const struct standing_entry *entry = chunks_at(&history->standing, at);
        if (entry->active && entry->campaign == word && entry->claim != dossier->claim_entry &&
            (first == NULL || entry->recorded < first->recorded))
            first = entry;
        at = entry->next_on_vehicle;
    }
    return first;
}

/* "DEALER/CLAIM" of a standing claim; null for a claim of nobody. */
static int name_of(struct history *history, const struct standing_entry *entry, struct value *ret_name)
{
    const struct claim_entry *claim = chunks_at(&history->claims, entry->claim);
    if (claim->dealer_length == 0)
        return WM_OK;
    struct text name = text_copy(&history->arena, (struct text){claim->key, claim->key_length});

    if (name.bytes == NULL)
        return WM_NO_MEMORY;
    ((char *)name.bytes)[claim->dealer_length] = '/';
    *ret_name = value_text(name);
    return WM_OK;
}

static int establish_earlier(struct history *history, struct dossier *dossier)
{
    const struct rules *rules = history->rules;
    const struct standing_entry *earlier =
        first_standing(history, dossier, dossier->claim.cells[COLUMN_CAMPAIGN]);
    struct value name = value_null();

    if (earlier == NULL)
        return WM_OK;
    if (rules_slot(rules, FACT_earlier_claim) >= 0 && name_of(history, earlier, &name) != WM_OK)
        return WM_NO_MEMORY;
    fact_put(rules, dossier->facts, FACT_earlier_claim, name);
    fact_put(
        rules, dossier->facts, FACT_earlier_dealer_same,
        value_boolean(text_equal(dealer_of(history, earlier->claim), dossier->claim.cells[COLUMN_DEALER])));
    fact_put(rules, dossier->facts, FACT_earlier_outcome, value_text(word_text(history, earlier->outcome)));
    if (earlier->completed_on != DAY_NONE)
        fact_put(rules, dossier->facts, FACT_earlier_completed_on, value_date(earlier->completed_on));
    return WM_OK;
}

static int establish_replaced(struct history *history, struct dossier *dossier)
{
    const struct rules *rules = history->rules;
    struct value name = value_null();

    if (dossier->campaign == NULL || dossier->campaign->replaces_id.length == 0)
        return WM_OK;
    const struct standing_entry *earlier = first_standing(history, dossier, dossier->campaign->replaces_id);
    if (earlier == NULL)
        return WM_OK;
    if (rules_slot(rules, FACT_earlier_replaced_claim) >= 0 && name_of(history, earlier, &name) != WM_OK)
        return WM_NO_MEMORY;
    fact_put(rules, dossier->facts, FACT_earlier_replaced_claim, name);
    if (earlier->completed_on != DAY_NONE)
        fact_put(rules, dossier->facts, FACT_earlier_replaced_on, value_date(earlier->completed_on));
    return WM_OK;
}

/* 1 mi = 1.609344 km exactly (NIST SP 811): readings compare in millionths of a kilometre. */
enum { MILLIONTHS_PER_MILE = 1609344, MILLIONTHS_PER_KILOMETRE = 1000000 };

static __int128 distance(int64_t odometer, bool is_km)
{
    return (__int128)odometer * (is_km ? MILLIONTHS_PER_KILOMETRE : MILLIONTHS_PER_MILE);
}

static void establish_odometer(struct history *history, struct dossier *dossier)
{
    const struct vehicle_entry *vehicle = chunks_at(&history->vehicles, dossier->vehicle_entry);
    const struct claim *claim = &dossier->claim;
    __int128 highest = -1;

    if (rules_slot(history->rules, FACT_earlier_odometer) < 0 || claim->completed_on == DAY_NONE)
        return;
    for (uint32_t at = vehicle->first; at != NONE;) {
        const struct standing_entry *entry = chunks_at(&history->standing, at);
        if (entry->active && entry->has_odometer && entry->claim != dossier->claim_entry &&
            entry->completed_on != DAY_NONE && entry->completed_on <= claim->completed_on &&
            distance(entry->odometer, entry->odometer_is_km) > highest)
            highest = distance(entry->odometer, entry->odometer_is_km);
        at = entry->next_on_vehicle;
    }
    if (highest >= 0)
        fact_put(history->rules, dossier->facts, FACT_earlier_odometer,
                 value_integer((int64_t)(highest / (claim->odometer_is_km ? MILLIONTHS_PER_KILOMETRE
                                                                          : MILLIONTHS_PER_MILE))));
}

/* The recorded row of this revision that says the same; 0: none. */
static uint64_t same_row(const struct history *history, const struct claim_entry *entry,
                         const struct dossier *dossier)
{
    for (uint32_t at = entry->rows; at != NONE;) {
        const struct row_entry *row = chunks_at(&history->rows, at);
        if (row->revision == dossier->claim.revision &&
            memcmp(row->content_digest, dossier->content_digest, sizeof row->content_digest) == 0)
            return row->row;
        at = row->next;
    }
    return 0;
}

static int establish_revisions(struct history *history, const struct office_day *day, struct dossier *dossier)
{
    const struct rules *rules = history->rules;
    const struct claim_entry *entry = chunks_at(&history->claims, dossier->claim_entry);
    bool is_new = entry->revision_last < 0;

    dossier->supersedes = dossier->claim.revision > entry->revision_last;
    dossier->repeats = dossier->supersedes || !history->keeps_contents ? 0 : same_row(history, entry, dossier);
    dossier->paid_before_cents = entry->paid_cents;
    fact_put(rules, dossier->facts, FACT_paid_before, value_money(entry->paid_cents));
    fact_put(rules, dossier->facts, FACT_revision_expected,
             value_integer(is_new ? 0 : entry->revision_last + 1));
    fact_put(rules, dossier->facts, FACT_first_received_on,
             value_date(is_new ? day->received_on : entry->first_received_on));
    if (is_new)
        return WM_OK;
    fact_put(rules, dossier->facts, FACT_revision_last, value_integer(entry->revision_last));
    fact_put(rules, dossier->facts, FACT_previous_decision,
             value_text(text_of(decision_name((enum decision)entry->previous_decision))));
    fact_put(rules, dossier->facts, FACT_days_to_resubmit,
             value_integer((int64_t)day->received_on - entry->first_received_on));
    if (history->wants_last_row && dossier->claim.revision == entry->revision_last && entry->last_row != NULL) {
        struct text names;
        if (claim_differences(&dossier->claim, (struct text){entry->last_row, entry->last_row_length},
                              &history->arena, &names) != WM_OK)
            return WM_NO_MEMORY;
        fact_put(rules, dossier->facts, FACT_revision_differs, value_text_or_null(names));
    }
    return WM_OK;
}

static const struct contribution *own_contribution(const struct history *history, const struct dossier *dossier,
                                                   const struct standing_entry **ret_entry)
{
    const struct claim_entry *entry = chunks_at(&history->claims, dossier->claim_entry);

    if (entry->standing == NONE)
        return NULL;
    *ret_entry = chunks_at(&history->standing, entry->standing);
    return (*ret_entry)->contribution;
}

static void establish_order(struct history *history, struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;
    const struct standing_entry *own = NULL;
    const struct contribution *contribution = own_contribution(history, dossier, &own);
    struct text own_vin = {NULL, 0};

    if (!history->wants_repair_orders)
        return;
    if (contribution != NULL && text_equal(contribution->repair_order, claim->cells[COLUMN_REPAIR_ORDER]))
        own_vin = vehicle_key(history, own->vehicle);
    uint32_t others = totals_other_vins(&history->totals, claim->cells[COLUMN_DEALER],
                                        claim->cells[COLUMN_REPAIR_ORDER], claim->vin, own_vin);
    fact_put(history->rules, dossier->facts, FACT_repair_order_vins, value_integer(others));
}

static void establish_technician(struct history *history, struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;
    const struct standing_entry *own = NULL;
    const struct contribution *contribution = own_contribution(history, dossier, &own);
    struct text technician = claim->cells[COLUMN_TECHNICIAN];

    if (!history->wants_technician_days || technician.length == 0 || claim->completed_on == DAY_NONE)
        return;
    int64_t hours =
        totals_hours(&history->totals, claim->cells[COLUMN_DEALER], technician, claim->completed_on);
    if (contribution != NULL && text_equal(contribution->technician, technician) &&
        contribution->completed_on == claim->completed_on)
        hours -= contribution->hours;
    fact_put(history->rules, dossier->facts, FACT_technician_day_hours,
             value_number(decimal_sum(hours, dossier->hours_claimed)));
}

static int64_t claimed_quantity(const struct dossier *dossier, struct text key)
{
    for (uint32_t i = 0; i < dossier->claim.part_count; i++)
        if (text_equal(dossier->claim.parts[i].key, key))
            return dossier->claim.parts[i].quantity;
    return 0;
}

static void establish_kits(struct history *history, struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;
    const struct standing_entry *own = NULL;
    const struct contribution *contribution = own_contribution(history, dossier, &own);
    struct text kit = expected_kit(dossier);

    if (!history->wants_kits || kit.length == 0 || claim->completed_on == DAY_NONE)
        return;
    int64_t quantity = totals_kits(&history->totals, claim->cells[COLUMN_DEALER], kit, claim->completed_on);
    for (uint32_t i = 0; contribution != NULL && i < contribution->kit_count; i++)
        if (text_equal(contribution->kits[i].key, kit) && contribution->completed_on != DAY_NONE &&
            contribution->completed_on <= claim->completed_on)
            quantity -= contribution->kits[i].quantity;
    fact_put(history->rules, dossier->facts, FACT_kits_claimed,
             value_number(decimal_sum(quantity, claimed_quantity(dossier, kit))));
}

int history_establish(struct history *history, const struct office_day *day, struct dossier *dossier)
{
    int status = establish_revisions(history, day, dossier);

    if (status == WM_OK)
        status = establish_earlier(history, dossier);
    if (status == WM_OK)
        status = establish_replaced(history, dossier);
    if (status != WM_OK)
        return status;
    establish_odometer(history, dossier);
    establish_order(history, dossier);
    establish_technician(history, dossier);
    establish_kits(history, dossier);
    return day->withheld != NULL ? day->withheld->withhold(day->withheld->context, dossier) : WM_OK;
}

/* --- Recording --------------------------------------------------------------------------------------- */

static int record_standing(struct history *history, struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;
    struct claim_entry *entry = chunks_at(&history->claims, dossier->claim_entry);
    struct standing_claim standing = {.recorded = history->recorded,
                                      .campaign = claim->cells[COLUMN_CAMPAIGN],
                                      .vin = claim->vin,
                                      .outcome = claim->cells[COLUMN_OUTCOME],
                                      .repair_order = claim->cells[COLUMN_REPAIR_ORDER],
                                      .technician = claim->cells[COLUMN_TECHNICIAN],
                                      .completed_on = claim->completed_on,
                                      .has_odometer = claim->has_odometer,
                                      .odometer_is_km = claim->odometer_is_km,
                                      .odometer = claim->odometer,
                                      .hours_claimed = dossier->hours_claimed,
                                      .parts = claim->parts,
                                      .part_count = claim->part_count};
    int status = WM_OK;

    if (entry->standing != NONE) {
        const struct standing_entry *before = chunks_at(&history->standing, entry->standing);
        dossier->stood = before->recorded;
        status = count_contribution(history, before, -1);
    }
    if (status == WM_OK)
        status = stand(history, dossier->claim_entry, &standing);
    if (status == WM_OK)
        status = count_contribution(history, chunks_at(&history->standing, entry->standing), 1);
    return status;
}

int history_record(struct history *history, const struct office_day *day, struct dossier *dossier)
{
    struct claim_entry *entry = chunks_at(&history->claims, dossier->claim_entry);

    if (dossier->repeats != 0)
        return WM_OK;
    dossier->row = ++history->recorded;
    int status = keep_row(history, entry, dossier->claim.revision, dossier->row, dossier->content_digest);
    if (status != WM_OK || !dossier->supersedes)
        return status;
    dossier->replaces = entry->row_last;
    entry->row_last = dossier->row;
    if (entry->first_received_on == DAY_NONE)
        entry->first_received_on = day->received_on;
    entry->revision_last = dossier->claim.revision;
    entry->previous_decision = (uint8_t)dossier->decision;
    if (dossier->decision == DECISION_PAY)
        entry->paid_cents = dossier->payable_cents;
    if (history->wants_last_row) {
        struct text row;
        status = claim_canonical(&dossier->claim, &history->arena, &row);
        entry->last_row = row.bytes;
        entry->last_row_length = (uint32_t)row.length;
    }
    if (status == WM_OK && (dossier->decision == DECISION_PAY || dossier->decision == DECISION_HOLD))
        status = record_standing(history, dossier);
    return status;
}
