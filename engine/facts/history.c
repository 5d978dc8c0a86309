#include "facts/history.h"

#include <assert.h>
#include <stdlib.h>

#include "base/chunks.h"
#include "base/status.h"
#include "facts/number_index.h"
#include "facts/totals.h"
#include "intake/canonical.h"

#define NONE UINT32_MAX

/* There may be millions of claims: entries are small, texts are kept in pools and named by four bytes, and what
 * only some rules ask for has chunks of its own, with an element for each claim or standing claim where it is
 * kept. */

struct claim_entry {
    int64_t revision_last : 56; /* -1: nothing recorded */
    uint64_t previous_decision : 8;
    int64_t paid_cents;
    uint32_t key;      /* dealer, NUL, claim */
    uint32_t row_last; /* the row of revision_last */
    uint32_t standing; /* NONE: none */
    int32_t first_received_on;
};

struct standing_entry {
    uint32_t recorded;
    uint32_t next_on_vehicle;
    uint32_t claim, vehicle;
    uint32_t work; /* NONE: a later revision stands in its place */
    int32_t completed_on;
};

struct vehicle_entry {
    uint32_t vin;
    uint32_t first; /* newest standing entry, NONE: none */
};

/* What standing claims have in common: numbers of words. */
struct work_entry {
    uint32_t campaign, outcome;
};

/* A row of a claim, for telling whether another one says the same. What says the same is of the same revision.
 */
struct row_entry {
    uint32_t row;
    uint32_t next;              /* of the claim, + 1; 0: the last */
    uint8_t content_digest[16]; /* its first bytes */
};

/* The row of a claim's highest revision: its canonical text, or where it stands in the file. */
struct last_row {
    union {
        const char *text;
        uint64_t place;
    };
    uint32_t length; /* 0: none is kept */
    bool in_file;
};

/* What of a standing claim counts in the totals. Most claims are of one kit and some hours, and stand in here. */
struct contribution {
    uint32_t order;   /* TOTALS_NONE: is not asked for */
    uint32_t day;     /* TOTALS_NONE: no technician or day, or not asked for */
    uint32_t amounts; /* the first of its amounts + 1; or ONE_KIT and the number of the kit; 0: none */
    int32_t hours;    /* millionths; LONG_HOURS: one of the amounts */
};

#define ONE_KIT UINT32_C(0x80000000)
#define LONG_HOURS INT32_MIN

struct amount {
    int64_t amount; /* millionths */
    uint32_t kit;   /* TOTALS_NONE: hours */
    uint32_t next;  /* + 1; 0: the last */
};

struct history {
    const struct rules *rules;
    const struct history_source *source;
    const struct history_file *file; /* NULL: none that can be read again */
    struct arena scratch;            /* for a row that is read again, and keys */
    struct arena arena;              /* words, last rows, texts of facts */
    struct text_pool names;          /* keys of claims, VINs */
    struct chunks claims, vehicles, standing;
    struct chunks claim_rows;    /* of each claim the newest row entry + 1; where contents are kept */
    struct chunks last_rows;     /* of each claim; where wanted */
    struct chunks odometers;     /* of each standing claim, by odometer_kept; where wanted */
    struct chunks contributions; /* of each standing claim; where totals are wanted */
    struct chunks rows, amounts, works, word_texts;
    struct number_index claim_index, vehicle_index, work_index;
    struct text_index words; /* campaigns and outcomes to numbers */
    struct totals totals;
    unsigned char *vehicles_asked; /* a bit each: the source was asked for all that stands on it */
    uint32_t vehicles_asked_bytes;
    uint64_t recorded;
    struct history_ask *asks;
    uint32_t ask_count, ask_capacity;
    bool wants_repair_orders, wants_technician_days, wants_kits, wants_last_row, wants_odometers;
    bool keeps_contents;
};

/* --- Finding entries --------------------------------------------------------------------------------- */

static struct text claim_key(const struct history *history, uint32_t number)
{
    const struct claim_entry *entry = chunks_at(&history->claims, number);
    return text_pool_at(&history->names, entry->key);
}

static bool claim_is(const void *history, uint32_t number, const void *key)
{
    return text_equal(claim_key(history, number), *(const struct text *)key);
}

static bool vehicle_is(const void *context, uint32_t number, const void *key)
{
    const struct history *history = context;
    const struct vehicle_entry *entry = chunks_at(&history->vehicles, number);
    return text_equal(text_pool_at(&history->names, entry->vin), *(const struct text *)key);
}

static uint64_t work_key(const struct work_entry *work)
{
    return (uint64_t)work->campaign << 32 | work->outcome;
}

static bool work_is(const void *context, uint32_t number, const void *key)
{
    const struct work_entry *entry = chunks_at(&((const struct history *)context)->works, number),
                            *wanted = key;
    return work_key(entry) == work_key(wanted);
}

/* Dealer NUL claim, repair order, technician or kit; NUL and the day, where one belongs to it. */
static int make_key(struct arena *arena, struct text dealer, struct text what, int32_t day,
                    struct noted_key *ret_key)
{
    struct text key = text_pair(arena, dealer, what);

    if (key.bytes != NULL && day != DAY_NONE)
        key = text_pair(arena, key, (struct text){(const char *)&day, sizeof day});
    if (key.bytes == NULL)
        return WM_NO_MEMORY;
    *ret_key = (struct noted_key){key, number_index_hash(key)};
    return WM_OK;
}

static struct text expected_kit(const struct dossier *dossier)
{
    return dossier->expectation != NULL ? dossier->expectation->kit_key : (struct text){NULL, 0};
}

int history_note(const struct history *history, struct arena *arena, struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;
    struct text dealer = claim->cells[COLUMN_DEALER], technician = claim->cells[COLUMN_TECHNICIAN],
                kit = expected_kit(dossier);
    int status = make_key(arena, dealer, claim->cells[COLUMN_CLAIM], DAY_NONE, &dossier->claim_key);

    if (status == WM_OK && history->wants_repair_orders)
        status = make_key(arena, dealer, claim->cells[COLUMN_REPAIR_ORDER], DAY_NONE, &dossier->order_key);
    if (status == WM_OK && history->wants_technician_days && technician.length > 0 && claim->completed_on != DAY_NONE)
        status = make_key(arena, dealer, technician, claim->completed_on, &dossier->day_key);
    if (status == WM_OK && history->wants_kits && kit.length > 0)
        status = make_key(arena, dealer, kit, DAY_NONE, &dossier->kit_key);
    dossier->vehicle_hash = number_index_hash(claim->vin);
    return status;
}

/* Adds an element for a new claim or standing claim to those chunks that are kept. */
static bool add_kept(struct chunks *chunks, bool kept)
{
    return !kept || chunks_add(chunks) != NULL;
}

/* The entry of this claim, made if it is new. */
static int find_claim(struct history *history, const struct noted_key *key, uint32_t *ret_number, bool *ret_new)
{
    struct number_slot *slot = number_index_slot(&history->claim_index, &key->text, key->hash, claim_is, history);

    if (slot == NULL)
        return WM_NO_MEMORY;
    *ret_new = slot->number == 0;
    if (*ret_new) {
        uint32_t place;
        struct claim_entry *entry =
            text_pool_add(&history->names, key->text, &place) == WM_OK ? chunks_add(&history->claims) : NULL;
        if (entry == NULL || !add_kept(&history->claim_rows, history->keeps_contents) ||
            !add_kept(&history->last_rows, history->wants_last_row))
            return WM_NO_MEMORY;
        *entry = (struct claim_entry){
            .revision_last = -1, .key = place, .standing = NONE, .first_received_on = DAY_NONE};
        slot->number = history->claims.count;
        history->claim_index.count++;
    }
    *ret_number = slot->number - 1;
    return WM_OK;
}

static int find_vehicle(struct history *history, struct text vin, uint32_t hash, uint32_t *ret_number)
{
    struct number_slot *slot = number_index_slot(&history->vehicle_index, &vin, hash, vehicle_is, history);

    if (slot == NULL)
        return WM_NO_MEMORY;
    if (slot->number == 0) {
        uint32_t place;
        struct vehicle_entry *entry =
            text_pool_add(&history->names, vin, &place) == WM_OK ? chunks_add(&history->vehicles) : NULL;
        if (entry == NULL)
            return WM_NO_MEMORY;
        *entry = (struct vehicle_entry){place, NONE};
        slot->number = history->vehicles.count;
        history->vehicle_index.count++;
    }
    *ret_number = slot->number - 1;
    return WM_OK;
}

/* Whether the vehicle is asked about for the first time, which it is not again. */
static int first_asked(struct history *history, uint32_t vehicle, bool *ret_first)
{
    if (vehicle / 8 >= history->vehicles_asked_bytes) {
        enum { FIRST_BYTES = 4096 };
        uint32_t bytes = FIRST_BYTES + vehicle / 8 * 2; /* twice what is needed */
        unsigned char *grown = realloc(history->vehicles_asked, bytes);
        if (grown == NULL)
            return WM_NO_MEMORY;
        memset(grown + history->vehicles_asked_bytes, 0, bytes - history->vehicles_asked_bytes);
        history->vehicles_asked = grown;
        history->vehicles_asked_bytes = bytes;
    }
    unsigned char *asked = &history->vehicles_asked[vehicle / 8], bit = (unsigned char)(1 << vehicle % 8);
    *ret_first = (*asked & bit) == 0;
    *asked |= bit;
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

static int work_number(struct history *history, struct text campaign, struct text outcome, uint32_t *ret_number)
{
    struct work_entry wanted;

    if (word_number(history, campaign, &wanted.campaign) != WM_OK ||
        word_number(history, outcome, &wanted.outcome) != WM_OK)
        return WM_NO_MEMORY;
    struct number_slot *slot = number_index_slot(
        &history->work_index, &wanted, wanted.campaign * 0x9e3779b1u + wanted.outcome, work_is, history);
    if (slot == NULL)
        return WM_NO_MEMORY;
    if (slot->number == 0) {
        struct work_entry *entry = chunks_add(&history->works);
        if (entry == NULL)
            return WM_NO_MEMORY;
        *entry = wanted;
        slot->number = history->works.count;
        history->work_index.count++;
    }
    *ret_number = slot->number - 1;
    return WM_OK;
}

static const struct work_entry *work_of(const struct history *history, const struct standing_entry *entry)
{
    return chunks_at(&history->works, entry->work);
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
    history->claim_rows = CHUNKS_OF(uint32_t);
    history->last_rows = CHUNKS_OF(struct last_row);
    history->odometers = CHUNKS_OF(int64_t);
    history->contributions = CHUNKS_OF(struct contribution);
    history->rows = CHUNKS_OF(struct row_entry);
    history->amounts = CHUNKS_OF(struct amount);
    history->works = CHUNKS_OF(struct work_entry);
    history->word_texts = CHUNKS_OF(struct text);
    history->recorded = source != NULL ? source->last_row : 0;
    history->wants_repair_orders = rules_slot(rules, FACT_repair_order_vins) >= 0;
    history->wants_technician_days = rules_slot(rules, FACT_technician_day_hours) >= 0;
    history->wants_kits = rules_slot(rules, FACT_kits_claimed) >= 0;
    history->wants_last_row = rules_slot(rules, FACT_revision_differs) >= 0;
    history->wants_odometers = rules_slot(rules, FACT_earlier_odometer) >= 0;
    totals_open(&history->totals);
    *ret_history = history;
    return WM_OK;
}

void history_expect(struct history *history, uint64_t claims)
{
    uint32_t more = claims < UINT32_MAX / 4 ? (uint32_t)claims : UINT32_MAX / 4;

    number_index_expect(&history->claim_index, more);
    number_index_expect(&history->vehicle_index, more);
    totals_expect(&history->totals, history->wants_repair_orders ? more : 0, history->wants_technician_days ? more : 0);
}

void history_free(struct history *history)
{
    if (history == NULL)
        return;
    text_pool_free(&history->names);
    struct chunks *const all[] = {&history->claims,        &history->vehicles,  &history->standing,
                                  &history->claim_rows,    &history->last_rows, &history->odometers,
                                  &history->contributions, &history->rows,      &history->amounts,
                                  &history->works,         &history->word_texts};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        chunks_free(all[i]);
    number_index_free(&history->claim_index);
    number_index_free(&history->vehicle_index);
    number_index_free(&history->work_index);
    free(history->vehicles_asked);
    text_index_free(&history->words);
    totals_close(&history->totals);
    free(history->asks);
    arena_free(&history->arena);
    arena_free(&history->scratch);
    free(history);
}

void history_keep_contents(struct history *history, uint64_t last_row)
{
    history->keeps_contents = true;
    history->recorded = last_row;
}

void history_set_file(struct history *history, const struct history_file *file)
{
    history->file = file;
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

static struct text dealer_of(const struct history *history, uint32_t claim)
{
    struct text key = claim_key(history, claim), dealer, rest;

    text_cut(key, '\0', &dealer, &rest);
    return dealer;
}

/* Numbers of totals by what is looked for. */
static int kit_number(struct history *history, struct text dealer, struct text kit, uint32_t *ret_kit)
{
    struct noted_key key;

    arena_reset(&history->scratch);
    return make_key(&history->scratch, dealer, kit, DAY_NONE, &key) == WM_OK
               ? totals_kit(&history->totals, &key, ret_kit, NULL)
               : WM_NO_MEMORY;
}

static int order_number(struct history *history, struct text dealer, struct text order, uint32_t *ret_order)
{
    struct noted_key key;

    arena_reset(&history->scratch);
    return make_key(&history->scratch, dealer, order, DAY_NONE, &key) == WM_OK
               ? totals_order(&history->totals, &key, ret_order, NULL)
               : WM_NO_MEMORY;
}

static int day_number(struct history *history, struct text dealer, struct text technician, int32_t day,
                      uint32_t *ret_day)
{
    struct noted_key key;

    arena_reset(&history->scratch);
    return make_key(&history->scratch, dealer, technician, day, &key) == WM_OK
               ? totals_day(&history->totals, &key, ret_day, NULL)
               : WM_NO_MEMORY;
}

/* The next of a contribution's amounts; false: there is none. *at begins as contribution->amounts. */
static bool next_amount(const struct history *history, uint32_t *at, struct amount *ret_amount)
{
    if (*at == 0)
        return false;
    if ((*at & ONE_KIT) != 0) {
        *ret_amount = (struct amount){DECIMAL_ONE, *at & ~ONE_KIT, 0};
        *at = 0;
        return true;
    }
    *ret_amount = *(const struct amount *)chunks_at(&history->amounts, *at - 1);
    *at = ret_amount->next;
    return true;
}

static int64_t contributed_hours(const struct history *history, const struct contribution *contribution)
{
    uint32_t at = contribution->amounts;
    struct amount amount;

    if (contribution->hours != LONG_HOURS)
        return contribution->hours;
    do { /* keep_hours added it */
        bool has = next_amount(history, &at, &amount);
        assert(has);
        (void)has;
    } while (amount.kit != TOTALS_NONE);
    return amount.amount;
}

static int add_amount(struct history *history, struct contribution *contribution, uint32_t kit, int64_t amount)
{
    uint32_t first = contribution->amounts;

    if (first == 0 && kit < ONE_KIT && amount == DECIMAL_ONE) {
        contribution->amounts = ONE_KIT | kit;
        return WM_OK;
    }
    if ((first & ONE_KIT) != 0) { /* it is one of several */
        contribution->amounts = 0;
        struct amount *moved = history->amounts.count < ONE_KIT - 2 ? chunks_add(&history->amounts) : NULL;
        if (moved == NULL)
            return WM_NO_MEMORY;
        *moved = (struct amount){DECIMAL_ONE, first & ~ONE_KIT, 0};
        contribution->amounts = history->amounts.count;
    }
    struct amount *kept = history->amounts.count < ONE_KIT - 2 ? chunks_add(&history->amounts) : NULL;
    if (kept == NULL)
        return WM_NO_MEMORY;
    *kept = (struct amount){amount, kit, contribution->amounts};
    contribution->amounts = history->amounts.count;
    return WM_OK;
}

static int keep_hours(struct history *history, struct contribution *contribution, int64_t hours)
{
    if ((uint64_t)hours <= INT32_MAX) {
        contribution->hours = (int32_t)hours;
        return WM_OK;
    }
    contribution->hours = LONG_HOURS;
    return add_amount(history, contribution, TOTALS_NONE, hours);
}

/* of: see stand. */
static int keep_kits(struct history *history, struct text dealer, const struct standing_claim *claim,
                     const struct dossier *of, struct contribution *contribution)
{
    for (uint32_t i = claim->part_count; i-- > 0;) {
        struct text key = claim->parts[i].key;
        bool expected = of != NULL && of->kit_entry != TOTALS_NONE && text_equal(key, expected_kit(of));
        uint32_t kit = expected ? of->kit_entry : TOTALS_NONE;
        if (!expected && !is_kit_somewhere(history->rules, key))
            continue;
        if ((!expected && kit_number(history, dealer, key, &kit) != WM_OK) ||
            add_amount(history, contribution, kit, claim->parts[i].quantity) != WM_OK)
            return WM_NO_MEMORY;
    }
    return WM_OK;
}

/* What a claim that is about to stand counts, behind what those before it do. */
static int keep_contribution(struct history *history, uint32_t number, const struct standing_claim *claim,
                             const struct dossier *of)
{
    if (!history_wants_totals(history))
        return WM_OK;
    struct text dealer = dealer_of(history, number);
    struct contribution *kept = chunks_add(&history->contributions);
    int status = kept != NULL ? WM_OK : WM_NO_MEMORY;

    if (status != WM_OK)
        return status;
    *kept = (struct contribution){TOTALS_NONE, TOTALS_NONE, 0, 0};
    status = keep_hours(history, kept, claim->hours_claimed);
    if (of != NULL) {
        kept->order = of->order_entry;
        kept->day = of->day_entry;
    }
    if (of == NULL && status == WM_OK && history->wants_repair_orders)
        status = order_number(history, dealer, claim->repair_order, &kept->order);
    if (of == NULL && status == WM_OK && history->wants_technician_days && claim->technician.length > 0 &&
        claim->completed_on != DAY_NONE)
        status = day_number(history, dealer, claim->technician, claim->completed_on, &kept->day);
    return status == WM_OK && history->wants_kits ? keep_kits(history, dealer, claim, of, kept) : status;
}

/* Adds what a standing claim counts to the totals (sign 1), or takes it out (sign -1). */
static int count_contribution(struct history *history, uint32_t number, int sign)
{
    if (!history_wants_totals(history))
        return WM_OK;
    const struct standing_entry *entry = chunks_at(&history->standing, number);
    const struct contribution *contribution = chunks_at(&history->contributions, number);
    int status = WM_OK;

    if (contribution->order != TOTALS_NONE)
        status = totals_add_vehicle(&history->totals, contribution->order, entry->vehicle, sign);
    if (contribution->day != TOTALS_NONE)
        totals_add_hours(&history->totals, contribution->day, sign * contributed_hours(history, contribution));
    uint32_t at = entry->completed_on != DAY_NONE ? contribution->amounts : 0;
    struct amount amount;
    while (status == WM_OK && next_amount(history, &at, &amount))
        if (amount.kit != TOTALS_NONE)
            status = totals_add_quantity(&history->totals, amount.kit, entry->completed_on, sign * amount.amount);
    return status;
}

/* A reading and its unit in one number; 0: there is none. */
static int64_t odometer_kept(const struct standing_claim *claim)
{
    return claim->has_odometer ? 1 + (claim->odometer * 2 + claim->odometer_is_km) : 0;
}

/* Puts a standing claim on its vehicle, in place of the one that stood for the claim before. of: the dossier that it is
 * made of, which was prepared and knows what was looked for; NULL: it comes from the source. */
static int stand(struct history *history, uint32_t claim, const struct standing_claim *standing,
                 const struct dossier *of)
{
    struct claim_entry *owner = chunks_at(&history->claims, claim);
    struct standing_entry *entry = chunks_add(&history->standing);
    uint32_t number = history->standing.count - 1, vehicle = of != NULL ? of->vehicle_entry : NONE;
    int64_t *odometer;
    int status = WM_OK;

    if (entry == NULL || standing->recorded > UINT32_MAX)
        return WM_NO_MEMORY;
    if (of == NULL)
        status = find_vehicle(history, standing->vin, number_index_hash(standing->vin), &vehicle);
    if (status == WM_OK)
        status = work_number(history, standing->campaign, standing->outcome, &entry->work);
    if (status == WM_OK)
        status = keep_contribution(history, claim, standing, of);
    if (status == WM_OK && history->wants_odometers) {
        if ((odometer = chunks_add(&history->odometers)) == NULL)
            return WM_NO_MEMORY;
        *odometer = odometer_kept(standing);
    }
    if (status != WM_OK)
        return status;
    struct vehicle_entry *on = chunks_at(&history->vehicles, vehicle);
    entry->recorded = (uint32_t)standing->recorded;
    entry->claim = claim;
    entry->vehicle = vehicle;
    entry->completed_on = standing->completed_on;
    entry->next_on_vehicle = on->first;
    on->first = number;
    if (owner->standing != NONE)
        ((struct standing_entry *)chunks_at(&history->standing, owner->standing))->work = NONE;
    owner->standing = number;
    return WM_OK;
}

/* --- The source's answers ---------------------------------------------------------------------------- */

static int keep_last_row(struct history *history, uint32_t claim, struct text row)
{
    if (!history->wants_last_row)
        return WM_OK;
    struct text copy = text_copy(&history->arena, row);
    struct last_row *kept = chunks_at(&history->last_rows, claim);
    *kept = (struct last_row){.text = copy.bytes, .length = (uint32_t)copy.length};
    return copy.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int keep_row(struct history *history, uint32_t claim, uint64_t row, const uint8_t *digest)
{
    struct row_entry *kept = history->keeps_contents ? chunks_add(&history->rows) : NULL;

    if (!history->keeps_contents)
        return WM_OK;
    if (kept == NULL)
        return WM_NO_MEMORY;
    uint32_t *newest = chunks_at(&history->claim_rows, claim);
    kept->row = (uint32_t)row;
    kept->next = *newest;
    memcpy(kept->content_digest, digest, sizeof kept->content_digest);
    *newest = history->rows.count;
    return WM_OK;
}

static int restore_rows(struct history *history, uint32_t number, const struct recorded_claim *claim)
{
    uint8_t digest[CONTENT_DIGEST_BYTES];
    int status = WM_OK;

    for (uint32_t i = 0; history->keeps_contents && status == WM_OK && i < claim->revision_count; i++) {
        content_digest(claim->revisions[i].content, digest);
        status = keep_row(history, number, claim->revisions[i].row, digest);
    }
    return status;
}

int history_restore_claim(struct history *history, const struct recorded_claim *claim)
{
    uint32_t number;
    bool is_new;
    struct noted_key key;

    arena_reset(&history->scratch);
    int status = make_key(&history->scratch, claim->dealer, claim->claim, DAY_NONE, &key);
    if (status == WM_OK)
        status = find_claim(history, &key, &number, &is_new);
    if (status != WM_OK)
        return status;
    struct claim_entry *entry = chunks_at(&history->claims, number);
    if (entry->revision_last >= 0)
        return WM_OK; /* restored before, or recorded since */
    entry->revision_last = claim->revision_last;
    entry->row_last = (uint32_t)claim->row_last;
    entry->previous_decision = (uint8_t)claim->previous_decision;
    entry->first_received_on = claim->first_received_on;
    entry->paid_cents = claim->paid_cents;
    status = keep_last_row(history, number, claim->last_row);
    if (status == WM_OK)
        status = restore_rows(history, number, claim);
    return status == WM_OK && claim->stands ? stand(history, number, &claim->standing, NULL) : status;
}

int history_restore_repair_order(struct history *history, struct text dealer, struct text repair_order,
                                 struct text vin, uint32_t claims)
{
    uint32_t order, vehicle;
    int status = order_number(history, dealer, repair_order, &order);

    if (status == WM_OK)
        status = find_vehicle(history, vin, number_index_hash(vin), &vehicle);
    return status == WM_OK ? totals_add_vehicle(&history->totals, order, vehicle, (int)claims) : status;
}

int history_restore_technician_day(struct history *history, struct text dealer, struct text technician,
                                   int32_t day, int64_t hours)
{
    uint32_t number;
    int status = day_number(history, dealer, technician, day, &number);

    if (status == WM_OK)
        totals_add_hours(&history->totals, number, hours);
    return status;
}

int history_restore_kit(struct history *history, struct text dealer, struct text kit_key, int32_t day,
                        int64_t quantity)
{
    uint32_t kit;
    int status = kit_number(history, dealer, kit_key, &kit);

    return status == WM_OK ? totals_add_quantity(&history->totals, kit, day, quantity) : status;
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

static int ask_totals(struct history *history, struct history_ask *about, enum history_question question,
                      bool asked)
{
    about->question = question;
    return asked ? WM_OK : ask(history, about);
}

static int prepare_totals(struct history *history, struct dossier *dossier)
{
    struct totals *totals = &history->totals;
    struct history_ask about = {.dealer = dossier->claim.cells[COLUMN_DEALER],
                                .repair_order = dossier->claim.cells[COLUMN_REPAIR_ORDER],
                                .technician = dossier->claim.cells[COLUMN_TECHNICIAN],
                                .kit_key = expected_kit(dossier),
                                .completed_on = dossier->claim.completed_on};
    bool asked = true;
    int status = WM_OK;

    dossier->order_entry = dossier->day_entry = dossier->kit_entry = TOTALS_NONE;
    if (dossier->order_key.text.bytes != NULL) {
        status = totals_order(totals, &dossier->order_key, &dossier->order_entry, &asked);
        if (status == WM_OK)
            status = ask_totals(history, &about, ASK_REPAIR_ORDER, asked);
    }
    if (status == WM_OK && dossier->day_key.text.bytes != NULL) {
        status = totals_day(totals, &dossier->day_key, &dossier->day_entry, &asked);
        if (status == WM_OK)
            status = ask_totals(history, &about, ASK_TECHNICIAN_DAY, asked);
    }
    if (status == WM_OK && dossier->kit_key.text.bytes != NULL) {
        status = totals_kit(totals, &dossier->kit_key, &dossier->kit_entry, &asked);
        if (status == WM_OK)
            status = ask_totals(history, &about, ASK_KIT, asked);
    }
    return status;
}

static int prepare_one(struct history *history, struct dossier *dossier)
{
    struct history_ask question = {.dealer = dossier->claim.cells[COLUMN_DEALER],
                                   .claim = dossier->claim.cells[COLUMN_CLAIM],
                                   .vin = dossier->claim.vin};
    bool new_claim, new_vehicle;
    int status = find_claim(history, &dossier->claim_key, &dossier->claim_entry, &new_claim);

    if (status == WM_OK)
        status = find_vehicle(history, question.vin, dossier->vehicle_hash, &dossier->vehicle_entry);
    if (status == WM_OK && new_claim) {
        question.question = ASK_CLAIM;
        status = ask(history, &question);
    }
    /* a claim that was restored may have brought its vehicle before anybody asked about that */
    if (status == WM_OK)
        status = first_asked(history, dossier->vehicle_entry, &new_vehicle);
    if (status == WM_OK && new_vehicle) {
        question.question = ASK_VEHICLE;
        status = ask(history, &question);
    }
    return status == WM_OK ? prepare_totals(history, dossier) : status;
}

/* How many claims ahead what will be read is asked for. */
enum { ENTRY_AHEAD = 16, CONTENT_AHEAD = 8 };

int history_prepare(struct history *history, struct dossier *const *dossiers, uint32_t count)
{
    int status = WM_OK;

    history->ask_count = 0;
    for (uint32_t i = 0; i < count; i++) {
        number_index_prefetch(&history->claim_index, dossiers[i]->claim_key.hash);
        number_index_prefetch(&history->vehicle_index, dossiers[i]->vehicle_hash);
        totals_prefetch_slots(&history->totals, dossiers[i]);
    }
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        if (i + ENTRY_AHEAD < count)
            totals_prefetch_entry(&history->totals, dossiers[i + ENTRY_AHEAD]);
        if (i + CONTENT_AHEAD < count)
            totals_prefetch_content(&history->totals, dossiers[i + CONTENT_AHEAD]);
        if (!dossiers[i]->claim.unreadable)
            status = prepare_one(history, dossiers[i]);
    }
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
        if (entry->work != NONE && work_of(history, entry)->campaign == word &&
            entry->claim != dossier->claim_entry && (first == NULL || entry->recorded < first->recorded))
            first = entry;
        at = entry->next_on_vehicle;
    }
    return first;
}

/* "DEALER/CLAIM" of a standing claim; null for a claim of nobody. */
static int name_of(struct history *history, const struct standing_entry *entry, struct value *ret_name)
{
    if (dealer_of(history, entry->claim).length == 0)
        return WM_OK;
    struct text name = text_copy(&history->arena, claim_key(history, entry->claim));

    if (name.bytes == NULL)
        return WM_NO_MEMORY;
    ((char *)name.bytes)[dealer_of(history, entry->claim).length] = '/';
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
    fact_put(rules, dossier->facts, FACT_earlier_outcome,
             value_text(word_text(history, work_of(history, earlier)->outcome)));
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

    if (!history->wants_odometers || claim->completed_on == DAY_NONE)
        return;
    for (uint32_t at = vehicle->first; at != NONE;) {
        const struct standing_entry *entry = chunks_at(&history->standing, at);
        int64_t kept = *(const int64_t *)chunks_at(&history->odometers, at);
        if (entry->work != NONE && kept != 0 && entry->claim != dossier->claim_entry &&
            entry->completed_on != DAY_NONE && entry->completed_on <= claim->completed_on &&
            distance((kept - 1) / 2, (kept - 1) % 2) > highest)
            highest = distance((kept - 1) / 2, (kept - 1) % 2);
        at = entry->next_on_vehicle;
    }
    if (highest >= 0)
        fact_put(history->rules, dossier->facts, FACT_earlier_odometer,
                 value_integer((int64_t)(highest / (claim->odometer_is_km ? MILLIONTHS_PER_KILOMETRE
                                                                          : MILLIONTHS_PER_MILE))));
}

/* The recorded row that says the same; 0: none. */
static uint64_t same_row(const struct history *history, const struct dossier *dossier)
{
    const uint32_t *newest = chunks_at(&history->claim_rows, dossier->claim_entry);

    for (uint32_t at = *newest; at != 0;) {
        const struct row_entry *row = chunks_at(&history->rows, at - 1);
        if (memcmp(row->content_digest, dossier->content_digest, sizeof row->content_digest) == 0)
            return row->row;
        at = row->next;
    }
    return 0;
}

static int establish_differences(struct history *history, struct dossier *dossier)
{
    const struct last_row *row = chunks_at(&history->last_rows, dossier->claim_entry);
    struct text canonical = {row->text, row->length}, names;
    int status = WM_OK;

    if (row->in_file) {
        arena_reset(&history->scratch);
        status =
            history->file->read(history->file->context, row->place, row->length, &history->scratch, &canonical);
    }
    if (status == WM_OK)
        status = claim_differences(&dossier->claim, canonical, &history->arena, &names);
    if (status == WM_OK)
        fact_put(history->rules, dossier->facts, FACT_revision_differs, value_text_or_null(names));
    return status;
}

static int establish_revisions(struct history *history, const struct office_day *day, struct dossier *dossier)
{
    const struct rules *rules = history->rules;
    const struct claim_entry *entry = chunks_at(&history->claims, dossier->claim_entry);
    bool is_new = entry->revision_last < 0;

    dossier->supersedes = dossier->claim.revision > entry->revision_last;
    dossier->repeats = dossier->supersedes || !history->keeps_contents ? 0 : same_row(history, dossier);
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
    return history->wants_last_row && dossier->claim.revision == entry->revision_last
               ? establish_differences(history, dossier)
               : WM_OK;
}

/* What the claim's own standing revision counts; NULL: none stands. */
static const struct contribution *own_contribution(const struct history *history, const struct dossier *dossier,
                                                   const struct standing_entry **ret_entry)
{
    const struct claim_entry *entry = chunks_at(&history->claims, dossier->claim_entry);

    if (entry->standing == NONE)
        return NULL;
    *ret_entry = chunks_at(&history->standing, entry->standing);
    return chunks_at(&history->contributions, entry->standing);
}

static void establish_order(struct history *history, struct dossier *dossier)
{
    const struct standing_entry *own = NULL;

    if (dossier->order_entry == TOTALS_NONE)
        return;
    const struct contribution *contribution = own_contribution(history, dossier, &own);
    bool same = contribution != NULL && contribution->order == dossier->order_entry;
    uint32_t others = totals_other_vehicles(&history->totals, dossier->order_entry, dossier->vehicle_entry,
                                            same ? own->vehicle : TOTALS_NONE);
    fact_put(history->rules, dossier->facts, FACT_repair_order_vins, value_integer(others));
}

static void establish_technician(struct history *history, struct dossier *dossier)
{
    const struct standing_entry *own = NULL;

    if (dossier->day_entry == TOTALS_NONE)
        return;
    const struct contribution *contribution = own_contribution(history, dossier, &own);
    int64_t hours = totals_hours(&history->totals, dossier->day_entry);
    if (contribution != NULL && contribution->day == dossier->day_entry)
        hours -= contributed_hours(history, contribution);
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
    int32_t day = dossier->claim.completed_on;
    const struct standing_entry *own = NULL;

    if (dossier->kit_entry == TOTALS_NONE || day == DAY_NONE)
        return;
    const struct contribution *contribution = own_contribution(history, dossier, &own);
    int64_t quantity = totals_quantity(&history->totals, dossier->kit_entry, day);
    uint32_t at = contribution != NULL ? contribution->amounts : 0;
    struct amount amount;
    while (next_amount(history, &at, &amount))
        if (amount.kit == dossier->kit_entry && own->completed_on != DAY_NONE && own->completed_on <= day)
            quantity -= amount.amount;
    fact_put(history->rules, dossier->facts, FACT_kits_claimed,
             value_number(decimal_sum(quantity, claimed_quantity(dossier, expected_kit(dossier)))));
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
        status = count_contribution(history, entry->standing, -1);
    }
    if (status == WM_OK)
        status = stand(history, dossier->claim_entry, &standing, dossier);
    if (status == WM_OK)
        status = count_contribution(history, entry->standing, 1);
    return status;
}

static int record_last_row(struct history *history, const struct dossier *dossier)
{
    struct text row;

    if (!history->wants_last_row)
        return WM_OK;
    struct last_row *kept = chunks_at(&history->last_rows, dossier->claim_entry);
    if (history->file != NULL) {
        *kept = (struct last_row){.place = dossier->row_place, .length = dossier->row_length, .in_file = true};
        return WM_OK;
    }
    if (claim_canonical(&dossier->claim, &history->arena, &row) != WM_OK)
        return WM_NO_MEMORY;
    *kept = (struct last_row){.text = row.bytes, .length = (uint32_t)row.length};
    return WM_OK;
}

int history_record(struct history *history, const struct office_day *day, struct dossier *dossier)
{
    struct claim_entry *entry = chunks_at(&history->claims, dossier->claim_entry);

    if (dossier->repeats != 0)
        return WM_OK;
    dossier->row = ++history->recorded;
    int status = keep_row(history, dossier->claim_entry, dossier->row, dossier->content_digest);
    if (status != WM_OK || !dossier->supersedes)
        return status;
    dossier->replaces = entry->row_last;
    entry->row_last = (uint32_t)dossier->row;
    if (entry->first_received_on == DAY_NONE)
        entry->first_received_on = day->received_on;
    entry->revision_last = dossier->claim.revision;
    entry->previous_decision = (uint8_t)dossier->decision;
    if (dossier->decision == DECISION_PAY)
        entry->paid_cents = dossier->payable_cents;
    status = record_last_row(history, dossier);
    if (status == WM_OK && (dossier->decision == DECISION_PAY || dossier->decision == DECISION_HOLD))
        status = record_standing(history, dossier);
    return status;
}
