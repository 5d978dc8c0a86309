#include "pack/write.h"

#include <assert.h>
#include <pthread.h>
#include <sodium.h>
#include <stdatomic.h>
#include <stdlib.h>

#include "base/status.h"
#include "ledger/chain.h"
#include "ledger/listing.h"
#include "ledger/office_source.h"
#include "ledger/recorded.h"
#include "pack/bytes.h"
#include "pack/collect.h"
#include "pack/layout.h"

struct packing {
    const struct pack_request *request;
    struct diag_sink *sink;
    struct arena arena;
    struct collection collection;
    struct pack_draft draft;
    struct text *campaigns; /* those asked for, and those that they replace */
    uint32_t campaign_count;
    struct pack_summary summary;
};

static int say(struct packing *packing, int status, const char *words)
{
    diag_error(packing->sink, (struct place){{NULL, 0}, 0, 0}, "%s", words);
    return status;
}

/* --- Which campaigns --------------------------------------------------------------------------------- */

static bool names(const struct text *list, uint32_t count, struct text word)
{
    for (uint32_t i = 0; i < count; i++)
        if (text_equal(list[i], word))
            return true;
    return false;
}

static bool is_asked_for(const struct pack_request *request, struct text campaign)
{
    return request->campaign_count == 0 || names(request->campaigns, request->campaign_count, campaign);
}

/* What an earlier completion means under a campaign may depend on the one that it replaces. */
static int list_campaigns(struct packing *packing)
{
    const struct pack_request *request = packing->request;

    packing->campaigns = ARENA_ARRAY(&packing->arena, struct text, (size_t)request->campaign_count * 2);
    if (packing->campaigns == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < request->campaign_count; i++) {
        int number = rules_campaign(request->rules, request->campaigns[i]);
        if (number < 0) {
            diag_error(packing->sink, (struct place){{NULL, 0}, 0, 0},
                       "no campaign \"%.*s\" in the rules; name one "
                       "that has a folder under campaigns",
                       TEXT_ARGUMENTS(request->campaigns[i]));
            return WM_BAD_INPUT;
        }
        packing->campaigns[packing->campaign_count++] = request->campaigns[i];
        struct text replaced = request->rules->campaigns[number].replaces_id;
        if (replaced.length > 0)
            packing->campaigns[packing->campaign_count++] = replaced;
    }
    return WM_OK;
}

/* --- Rules ------------------------------------------------------------------------------------------- */

/* campaigns/ID/NAME.csv of a campaign that is not asked for stays away. */
static bool is_packed(const struct pack_request *request, struct text path)
{
    struct text folder, rest, id;

    if (!text_cut(path, '/', &folder, &rest) || !text_is(folder, "campaigns"))
        return true;
    return text_cut(rest, '/', &id, &rest) && is_asked_for(request, id);
}

static int add_rules(struct packing *packing)
{
    const struct rules_files *files = packing->request->files;
    struct buffer bytes = BUFFER_EMPTY;
    uint32_t count = 0;

    for (uint32_t i = 0; i < files->count; i++)
        count += is_packed(packing->request, files->files[i].path);
    put_4(&bytes, count);
    for (uint32_t i = 0; i < files->count; i++) {
        if (!is_packed(packing->request, files->files[i].path))
            continue;
        put_text(&bytes, files->files[i].path);
        put_text(&bytes, files->files[i].bytes);
    }
    packing->summary.files = count;
    if (!bytes.failed)
        pack_draft_add(&packing->draft, PART_RULES, buffer_text(&bytes));
    int status = bytes.failed ? WM_NO_MEMORY : WM_OK;
    buffer_free(&bytes);
    return status;
}

/* --- Profiles and sets ------------------------------------------------------------------------------- */

struct profile_taking {
    struct buffer *records;
    uint64_t *ends; /* of each profile's record */
    uint32_t limit;
};

static int take_profile(void *taker, uint32_t number, const struct vehicle_profile *profile)
{
    struct profile_taking *taking = taker;
    struct buffer *out = taking->records;

    assert(number < taking->limit); /* it was asked for */
    put_text(out, profile->model_line);
    put_text(out, profile->engine);
    put_text(out, profile->transmission);
    put_text(out, profile->plant);
    put_text(out, profile->options);
    put_text(out, profile->status);
    put_4(out, (uint32_t)profile->status_on);
    put_4(out, profile->has_model_year);
    put_4(out, (uint32_t)profile->model_year);
    taking->ends[number] = out->length;
    return out->failed ? WM_NO_MEMORY : WM_OK;
}

static void put_set(struct buffer *out, const struct collection *collection, const struct completion_set *set)
{
    enum { BYTES = sizeof(uint32_t) + 1 };
    uint32_t count = (uint32_t)(set->key.length / BYTES), word;

    put_4(out, count);
    for (uint32_t i = 0; i < count; i++) {
        memcpy(&word, set->key.bytes + (size_t)i * BYTES, sizeof word);
        put_text(out, collection->word_list[word]);
        put_4(out, (uint32_t)set->key.bytes[(size_t)i * BYTES + sizeof word]);
    }
}

/* The profiles' records by number, each with where it ends. One at a time, so that they come in order. */
static int write_profiles(struct packing *packing, struct register_source *source, struct buffer *records,
                          uint64_t *ends)
{
    struct profile_taking taking = {records, ends, source->profile_limit};
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < source->profile_limit; i++) {
        ends[i] = records->length;
        status = source->profiles(source->context, i, 1, take_profile, &taking);
    }
    return status == WM_IO ? say(packing, status, "the vehicles' profiles cannot be read from the office file")
                           : status;
}

static int join_profiles(struct packing *packing, const struct buffer *records, const uint64_t *ends,
                         uint32_t profiles, uint32_t sets)
{
    struct buffer part = BUFFER_EMPTY;
    uint64_t start = OFFSETS_AT + ((uint64_t)profiles + sets + 1) * OFFSET_BYTES;

    put_4(&part, profiles);
    put_4(&part, sets);
    put_8(&part, start);
    for (uint32_t i = 0; i < profiles + sets; i++)
        put_8(&part, start + ends[i]);
    buffer_add_text(&part, buffer_text(records));
    part.failed = part.failed || records->failed;
    if (!part.failed)
        pack_draft_add(&packing->draft, PART_PROFILES, buffer_text(&part));
    int status = part.failed ? WM_NO_MEMORY : WM_OK;
    buffer_free(&part);
    return status;
}

static int add_profiles(struct packing *packing)
{
    const struct collection *collection = &packing->collection;
    struct office_source *office_source = NULL;
    struct buffer records = BUFFER_EMPTY;
    int status = office_source_open(packing->request->office, 0, &office_source);

    if (status != WM_OK)
        return status;
    struct register_source *source = office_source_register(office_source);
    uint32_t profiles = source->profile_limit, sets = collection->set_count;
    uint64_t *ends = calloc((size_t)profiles + sets + 1, sizeof *ends);
    status = ends != NULL ? write_profiles(packing, source, &records, ends) : WM_NO_MEMORY;
    for (uint32_t i = 0; status == WM_OK && i < sets; i++) {
        put_set(&records, collection, &collection->sets[i]);
        ends[profiles + i] = records.length;
    }
    if (status == WM_OK)
        status = join_profiles(packing, &records, ends, profiles, sets);
    free(ends);
    buffer_free(&records);
    office_source_close(office_source);
    return status;
}

/* --- Vehicles, locked -------------------------------------------------------------------------------- */

struct locked_vehicle {
    uint64_t tag;
    uint8_t covered[LOCK_PAD_BYTES];
};

/* The threads take some vehicles at a time. */
struct locking {
    const struct packing *packing;
    struct locked_vehicle *locked;
    atomic_size_t next;
    atomic_int status;
};

static int lock_one(const struct vin_lock *lock, const struct collected_vehicle *vehicle,
                    struct locked_vehicle *ret_locked)
{
    char room[VIN_LENGTH + 1];
    struct text vin = {room, vin_unpack(vehicle->vin, room)};
    uint32_t plain[3] = {htole32(vehicle->profile), htole32((uint32_t)vehicle->built_on),
                         htole32(vehicle->set)};
    struct vin_key key;

    static_assert(sizeof plain == LOCK_PAD_BYTES, "a pad covers a record");
    int status = vin_lock_vehicle(lock, vin, &key);
    if (status != WM_OK)
        return status;
    ret_locked->tag = key.tag;
    memcpy(ret_locked->covered, plain, sizeof plain);
    for (size_t i = 0; i < LOCK_PAD_BYTES; i++)
        ret_locked->covered[i] ^= key.pad[i];
    return WM_OK;
}

enum { LOCKED_AT_A_TIME = 64 };

static void lock_some(struct locking *locking, bool shows)
{
    const struct packing *packing = locking->packing;
    const struct collection *collection = &packing->collection;
    const struct pack_request *request = packing->request;
    size_t first;

    while (atomic_load(&locking->status) == WM_OK &&
           (first = atomic_fetch_add(&locking->next, LOCKED_AT_A_TIME)) < collection->vehicle_count) {
        size_t end = first + LOCKED_AT_A_TIME;
        end = end < collection->vehicle_count ? end : collection->vehicle_count;
        for (size_t i = first; i < end; i++) {
            int status = lock_one(&packing->draft.head.lock, &collection->vehicles[i], &locking->locked[i]);
            if (status != WM_OK)
                atomic_store(&locking->status, status);
        }
        if (shows && request->progress != NULL)
            request->progress(end, collection->vehicle_count);
    }
}

static void *lock_in_thread(void *context)
{
    lock_some(context, false);
    return NULL;
}

static int lock_all(struct packing *packing, struct locked_vehicle *locked)
{
    struct locking locking = {.packing = packing, .locked = locked};
    unsigned threads = packing->request->threads, started = 1;
    pthread_t *others = calloc(threads, sizeof *others);

    if (others == NULL)
        return WM_NO_MEMORY;
    while (started < threads && pthread_create(&others[started], NULL, lock_in_thread, &locking) == 0)
        started++;
    lock_some(&locking, true);
    for (unsigned i = 1; i < started; i++)
        pthread_join(others[i], NULL);
    free(others);
    return atomic_load(&locking.status);
}

static int by_tag(const void *a, const void *b)
{
    uint64_t x = ((const struct locked_vehicle *)a)->tag, y = ((const struct locked_vehicle *)b)->tag;

    return (x > y) - (x < y);
}

static void put_entries(struct buffer *out, const struct locked_vehicle *locked, size_t count)
{
    static const char zeros[PACK_BLOCK_BYTES];

    for (size_t i = 0; i < count; i++) {
        put_8(out, locked[i].tag);
        buffer_add(out, locked[i].covered, LOCK_PAD_BYTES);
        if (i % ENTRIES_A_BLOCK == ENTRIES_A_BLOCK - 1)
            buffer_add(out, zeros, PACK_BLOCK_BYTES - ENTRIES_A_BLOCK * ENTRY_BYTES);
    }
}

/* Equal tags would give one vehicle the other's record: of 5,000,000 vehicles once in a million packs. */
static bool tags_differ(const struct locked_vehicle *locked, size_t count)
{
    size_t i = 1;

    while (i < count && locked[i].tag != locked[i - 1].tag)
        i++;
    return i >= count;
}

static int add_vehicles(struct packing *packing)
{
    size_t count = packing->collection.vehicle_count;
    struct locked_vehicle *locked = calloc(count + 1, sizeof *locked);
    struct buffer part = BUFFER_EMPTY;
    int status = locked != NULL ? lock_all(packing, locked) : WM_NO_MEMORY;

    if (status == WM_OK)
        qsort(locked, count, sizeof *locked, by_tag);
    if (status == WM_OK && !tags_differ(locked, count))
        status =
            say(packing, WM_BAD_INPUT, "two vehicles fell on one tag, by rare chance; run the command again");
    if (status == WM_OK)
        put_entries(&part, locked, count);
    if (part.failed)
        status = WM_NO_MEMORY;
    if (status == WM_OK)
        pack_draft_add(&packing->draft, PART_VEHICLES, buffer_text(&part));
    packing->draft.head.vehicles = count;
    packing->draft.head.check_digits_hold = packing->collection.check_digits_hold;
    free(locked);
    buffer_free(&part);
    return status;
}

static int make_vehicles(struct packing *packing)
{
    struct vin_lock *lock = &packing->draft.head.lock;

    lock->work_kib = packing->request->work_kib;
    randombytes_buf(lock->salt, sizeof lock->salt);
    int status = collect_vehicles(packing->request->office,
                                  packing->request->campaign_count > 0 ? packing->campaigns : NULL,
                                  packing->campaign_count, &packing->collection);
    if (status == WM_OK)
        status = add_profiles(packing);
    return status == WM_OK ? add_vehicles(packing) : status;
}

/* --- Vehicles of an earlier pack --------------------------------------------------------------------- */

static int copy_part(struct packing *packing, struct sealed *base, enum pack_part part)
{
    struct buffer bytes = BUFFER_EMPTY;
    int status = sealed_part(base, part, &bytes);

    if (status == WM_IO)
        diag_error(packing->sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(sealed_error(base)));
    if (status == WM_OK)
        pack_draft_add(&packing->draft, part, buffer_text(&bytes));
    buffer_free(&bytes);
    return status;
}

static int take_over(struct packing *packing, struct sealed *base)
{
    const struct pack_head *theirs = sealed_head(base);
    struct pack_head *head = &packing->draft.head;
    struct public_key own = secret_key_public(packing->request->key);

    if (memcmp(theirs->public_key, own.bytes, sizeof own.bytes) != 0)
        return say(packing, WM_BAD_INPUT,
                   "the base was signed with another key than --sign; make a base with this "
                   "key");
    if (memcmp(theirs->state, head->state, sizeof head->state) != 0)
        return say(packing, WM_BAD_INPUT,
                   "the office file has changed since the base was made, or the base has other "
                   "campaigns; make the base anew");
    head->lock = theirs->lock;
    head->vehicles = theirs->vehicles;
    head->check_digits_hold = theirs->check_digits_hold;
    int status = copy_part(packing, base, PART_PROFILES);
    return status == WM_OK ? copy_part(packing, base, PART_VEHICLES) : status;
}

static int take_over_vehicles(struct packing *packing)
{
    struct sealed *base = NULL;
    int status = sealed_open(packing->request->base, packing->sink, &base);

    if (status == WM_OK)
        status = take_over(packing, base);
    sealed_close(base);
    return status;
}

/* All that the vehicles' parts depend on: what was recorded and loaded, and the campaigns. */
static int note_state(struct packing *packing)
{
    struct canonical canonical;
    struct chain_entry head = {.entry = 0};
    int status = chain_head(packing->request->office, &head);

    canonical_begin(&canonical, "pack");
    canonical_integer(&canonical, PACK_VERSION);
    canonical_integer(&canonical, head.entry);
    canonical_bytes(&canonical, head.digest, sizeof head.digest);
    for (uint32_t i = 0; i < packing->campaign_count; i++)
        canonical_text(&canonical, packing->campaigns[i]);
    canonical_end(&canonical, packing->draft.head.state);
    return status;
}

/* --- The dealer's own -------------------------------------------------------------------------------- */

struct own_taking {
    struct arena *arena;
    struct own_part *own;
    uint32_t capacity; /* of the list at hand */
};

/* One more element at the end of an arena's list. */
static int grow(struct own_taking *taking, void **list, uint32_t count, size_t size)
{
    if (count == 0)
        taking->capacity = 0;
    if (count < taking->capacity)
        return WM_OK;
    uint32_t capacity = taking->capacity > 0 ? taking->capacity * 2 : 16;
    void *grown = arena_grown(taking->arena, *list, count, capacity, size);
    if (grown == NULL)
        return WM_NO_MEMORY;
    *list = grown;
    taking->capacity = capacity;
    return WM_OK;
}

static int take_version(void *taker, const struct dealer *version)
{
    struct own_taking *taking = taker;
    struct own_part *own = taking->own;
    struct dealer kept = *version;
    int status = grow(taking, (void **)&own->versions, own->version_count, sizeof *own->versions);

    kept.code = text_copy(taking->arena, version->code);
    kept.name = text_copy(taking->arena, version->name);
    kept.region = text_copy(taking->arena, version->region);
    if (status != WM_OK || kept.code.bytes == NULL || kept.name.bytes == NULL || kept.region.bytes == NULL)
        return WM_NO_MEMORY;
    own->versions[own->version_count++] = kept;
    return WM_OK;
}

static int take_shipment(void *taker, struct text part_key, int32_t shipped_on, int64_t quantity)
{
    struct own_taking *taking = taker;
    struct own_part *own = taking->own;
    struct own_shipment kept = {text_copy(taking->arena, part_key), shipped_on, quantity};
    int status = grow(taking, (void **)&own->shipments, own->shipment_count, sizeof *own->shipments);

    if (status != WM_OK || kept.part_key.bytes == NULL)
        return WM_NO_MEMORY;
    own->shipments[own->shipment_count++] = kept;
    return WM_OK;
}

static int take_approval(void *taker, const struct approval *approval)
{
    struct own_taking *taking = taker;
    struct own_part *own = taking->own;
    struct approval kept = *approval;
    int status = grow(taking, (void **)&own->approvals, own->approval_count, sizeof *own->approvals);

    kept.number = text_copy(taking->arena, approval->number);
    kept.dealer = text_copy(taking->arena, approval->dealer);
    kept.campaign = text_copy(taking->arena, approval->campaign);
    kept.vin = text_copy(taking->arena, approval->vin);
    kept.covers = text_copy(taking->arena, approval->covers);
    kept.reason = text_copy(taking->arena, approval->reason);
    if (status != WM_OK || kept.number.bytes == NULL || kept.dealer.bytes == NULL ||
        kept.campaign.bytes == NULL || kept.vin.bytes == NULL || kept.covers.bytes == NULL ||
        kept.reason.bytes == NULL)
        return WM_NO_MEMORY;
    own->approvals[own->approval_count++] = kept;
    return WM_OK;
}

/* The place of a standing row of the dealer. */
static uint32_t place_of(const struct collection *collection, int64_t row)
{
    uint32_t low = 0, high = collection->own_count;

    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (collection->own_rows[middle] < row)
            low = middle + 1;
        else
            high = middle;
    }
    return low + 1;
}

static int read_standing(struct packing *packing, struct ledger_reader *reader, const struct claim_row *row,
                         struct standing_claim *ret_standing)
{
    struct text content;
    struct claim claim;
    int64_t hours = 0;
    int status = ledger_content(reader, &packing->arena, row->row, &content);

    if (status == WM_OK)
        status = ledger_content_claim(content, row->line, &packing->arena, &claim);
    if (status != WM_OK)
        return status;
    for (uint32_t i = 0; i < claim.labor_count; i++)
        hours = decimal_sum(hours, claim.labor[i].hours);
    *ret_standing = (struct standing_claim){
        .recorded = place_of(&packing->collection, row->row),
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
        .part_count = claim.part_count,
    };
    return WM_OK;
}

static int read_claim(struct packing *packing, struct ledger_reader *reader, const struct claim_name *name,
                      struct recorded_claim *ret_claim)
{
    struct ledger_claim found;
    int status = ledger_claim_read(reader, &packing->arena, name->dealer, name->claim, &found);

    if (status != WM_OK)
        return status;
    *ret_claim = (struct recorded_claim){.dealer = name->dealer,
                                         .claim = name->claim,
                                         .revision_last = found.last->revision,
                                         .previous_decision = found.last->decision,
                                         .first_received_on = found.first_received_on,
                                         .paid_cents = found.paid_cents,
                                         .stands = found.standing != NULL};
    status = ledger_content(reader, &packing->arena, found.last->row, &ret_claim->last_row);
    if (status == WM_OK && found.standing != NULL)
        status = read_standing(packing, reader, found.standing, &ret_claim->standing);
    return status;
}

static int read_claims(struct packing *packing, struct own_part *own)
{
    struct office *office = packing->request->office;
    struct ledger_reader *reader = NULL;
    struct ledger_point now;
    struct claim_name *claims = NULL;
    uint32_t count = 0;
    int status = ledger_last(office, &now);

    if (status == WM_OK)
        status = ledger_reader_open(office, now, &reader);
    if (status == WM_OK)
        status = ledger_names_of_dealer(reader, &packing->arena, packing->request->dealer, &claims, &count);
    if (status == WM_OK && (own->claims = ARENA_ARRAY(&packing->arena, struct own_claim, count)) == NULL)
        status = WM_NO_MEMORY;
    for (; status == WM_OK && own->claim_count < count; own->claim_count++)
        status =
            read_claim(packing, reader, &claims[own->claim_count], &own->claims[own->claim_count].recorded);
    ledger_reader_close(reader);
    return status;
}

static int read_registers(struct packing *packing, struct own_part *own)
{
    struct office *office = packing->request->office;
    struct text dealer = packing->request->dealer;
    struct own_taking taking = {&packing->arena, own, 0};
    struct office_source *office_source = NULL;
    int status = office_source_open(office, 0, &office_source);

    if (status != WM_OK)
        return status;
    struct register_source *source = office_source_register(office_source);
    status = source->dealer(source->context, dealer, take_version, &taking);
    if (status == WM_OK && own->version_count == 0) {
        diag_error(packing->sink, (struct place){{NULL, 0}, 0, 0},
                   "dealer \"%.*s\" is not in the office file; check the code", TEXT_ARGUMENTS(dealer));
        status = WM_BAD_INPUT;
    }
    if (status == WM_OK)
        status = source->shipments(source->context, dealer, take_shipment, &taking);
    if (status == WM_IO)
        say(packing, status, "the dealer's data cannot be read from the office file");
    office_source_close(office_source);
    return status == WM_OK ? listing_approvals(office, dealer, take_approval, &taking) : status;
}

static int cover_own(struct packing *packing, const struct own_part *own)
{
    struct pack_head *head = &packing->draft.head;
    struct buffer bytes = BUFFER_EMPTY;
    uint8_t key[LOCK_KEY_BYTES];
    int status = vin_lock_dealer(&head->lock, head->dealer, key);

    own_write(&bytes, own);
    if (bytes.failed)
        status = WM_NO_MEMORY;
    if (status == WM_OK) {
        randombytes_buf(head->own_nonce, sizeof head->own_nonce);
        crypto_stream_xchacha20_xor((uint8_t *)bytes.bytes, (const uint8_t *)bytes.bytes, bytes.length,
                                    head->own_nonce, key);
        pack_draft_add(&packing->draft, PART_OWN, buffer_text(&bytes));
    }
    sodium_memzero(key, sizeof key);
    buffer_free(&bytes);
    return status;
}

static int add_own(struct packing *packing)
{
    struct own_part own = {.version_count = 0};

    if (packing->request->dealer.length == 0) {
        pack_draft_add(&packing->draft, PART_OWN, TEXT(""));
        return WM_OK;
    }
    int status = read_registers(packing, &own);
    if (status == WM_OK)
        status = read_claims(packing, &own);
    if (status == WM_OK)
        status = collect_others(&packing->collection, &own.others, &own.other_count);
    packing->summary.own_claims = own.claim_count;
    return status == WM_OK ? cover_own(packing, &own) : status;
}

/* --- All --------------------------------------------------------------------------------------------- */

static int write_all(struct packing *packing, struct output *output)
{
    const struct pack_request *request = packing->request;
    struct pack_head *head = &packing->draft.head;

    head->made_on = request->made_on;
    head->valid_to = request->valid_to;
    head->dealer = request->dealer;
    head->some_campaigns = request->campaign_count > 0;
    int status = list_campaigns(packing);
    if (status == WM_OK)
        status = note_state(packing);
    if (status == WM_OK)
        status = collect_standing(request->office, request->dealer, &packing->collection);
    if (status == WM_OK)
        status = add_rules(packing);
    if (status == WM_OK)
        status = request->base != NULL ? take_over_vehicles(packing) : make_vehicles(packing);
    if (status == WM_OK)
        status = add_own(packing);
    if (status == WM_OK)
        status = pack_draft_seal(&packing->draft, request->key, output);
    packing->summary.vehicles = head->vehicles;
    return status;
}

int pack_write(const struct pack_request *request, struct output *output, struct diag_sink *sink,
               struct pack_summary *ret_summary)
{
    struct packing packing = {.request = request, .sink = sink};

    if (request->dealer.length > PACK_DEALER_BYTES)
        return say(&packing, WM_BAD_INPUT, "the dealer's code is longer than 255 bytes; check it");
    int status = sodium_init() < 0 ? WM_NO_MEMORY : write_all(&packing, output);
    pack_draft_free(&packing.draft);
    collection_free(&packing.collection);
    arena_free(&packing.arena);
    if (status == WM_OK)
        *ret_summary = packing.summary;
    return status;
}
