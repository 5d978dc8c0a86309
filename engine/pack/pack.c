#include "pack/pack.h"

#include <pthread.h>
#include <sodium.h>
#include <stdlib.h>

#include "base/status.h"
#include "facts/vin.h"
#include "pack/bytes.h"
#include "pack/collect.h"
#include "pack/layout.h"
#include "pack/own.h"
#include "register/vehicle_pack.h"

/* What was found of a VIN. */
struct looked_up {
    char vin[VIN_LENGTH];
    uint8_t length; /* 0: nothing here */
    bool found;
    uint32_t profile, set;
    int32_t built_on;
};

enum { LOOKED_UP = 4096 };

struct pack {
    struct sealed *sealed;
    pthread_mutex_t lock; /* for all that reads the file, and looked_up */
    struct arena arena;
    struct rules_files files;
    struct buffer rules_bytes, own_bytes;
    struct own_part own;
    uint32_t profile_count, set_count;
    struct looked_up *looked_up; /* by a hash of the VIN */
    struct text failure;         /* under the lock; empty: see the sealed file */
    char *key_path;              /* where the key is to be remembered; NULL: it need not be */
    struct register_source register_source;
    struct history_source history_source;
};

static int does_not_fit(struct pack *pack)
{
    pack->failure = TEXT("the pack does not fit together; ask the office for it again");
    return WM_IO;
}

struct text pack_error(struct pack *pack)
{
    pthread_mutex_lock(&pack->lock);
    struct text error = pack->failure.length > 0 ? pack->failure : sealed_error(pack->sealed);
    pthread_mutex_unlock(&pack->lock);
    return error;
}

/* The register asks while it calls, outside the pack's lock. */
static struct text error_of(void *context)
{
    return pack_error(context);
}

const struct pack_head *pack_head(const struct pack *pack)
{
    return sealed_head(pack->sealed);
}

const struct rules_files *pack_rules(const struct pack *pack)
{
    return &pack->files;
}

struct register_source *pack_register(struct pack *pack)
{
    return &pack->register_source;
}

const struct history_source *pack_history(const struct pack *pack)
{
    return &pack->history_source;
}

bool pack_is_for(const struct pack *pack, struct text dealer)
{
    struct text own = pack_head(pack)->dealer;

    return own.length > 0 && text_equal(own, dealer);
}

/* --- Profiles and sets ------------------------------------------------------------------------------- */

/* Bytes of PART_PROFILES from..to, into the arena. */
static int read_span(struct pack *pack, uint64_t from, uint64_t to, struct arena *arena,
                     struct byte_reader *ret_reader)
{
    uint64_t bytes = pack_head(pack)->parts[PART_PROFILES].bytes;
    const uint8_t *block;

    if (from > to || to > bytes)
        return does_not_fit(pack);
    uint8_t *room = arena_bytes(arena, (size_t)(to - from));
    if (room == NULL)
        return WM_NO_MEMORY;
    for (uint64_t at = from; at < to;) {
        uint64_t within = at % PACK_BLOCK_BYTES, some = PACK_BLOCK_BYTES - within;
        some = some < to - at ? some : to - at;
        int status = sealed_block(pack->sealed, PART_PROFILES, at / PACK_BLOCK_BYTES, &block);
        if (status != WM_OK)
            return status;
        memcpy(room + (at - from), block + within, (size_t)some);
        at += some;
    }
    *ret_reader = (struct byte_reader){room, room + (to - from), false};
    return WM_OK;
}

/* The record of a profile, or behind the profiles of a set. */
static int read_record(struct pack *pack, uint64_t number, struct arena *arena, struct byte_reader *ret_reader)
{
    struct byte_reader offsets;
    uint64_t at = OFFSETS_AT + number * OFFSET_BYTES;
    int status = read_span(pack, at, at + UINT64_C(2) * OFFSET_BYTES, arena, &offsets);

    if (status != WM_OK)
        return status;
    uint64_t from = take_8(&offsets), to = take_8(&offsets);
    return read_span(pack, from, to, arena, ret_reader);
}

static int give_profile(struct pack *pack, uint32_t number, struct arena *arena, register_take_profile *take,
                        void *taker)
{
    struct byte_reader reader;
    int status = read_record(pack, number, arena, &reader);

    if (status != WM_OK || reader.at == reader.end)
        return status;
    struct vehicle_profile profile = {.model_line = take_text(&reader)};
    profile.engine = take_text(&reader);
    profile.transmission = take_text(&reader);
    profile.plant = take_text(&reader);
    profile.options = take_text(&reader);
    profile.status = take_text(&reader);
    profile.status_on = (int32_t)take_4(&reader);
    profile.has_model_year = take_4(&reader) != 0;
    profile.model_year = (int32_t)take_4(&reader);
    return reader.failed ? does_not_fit(pack) : take(taker, number, &profile);
}

static int profiles(void *context, uint32_t first, uint32_t count, register_take_profile *take, void *taker)
{
    struct pack *pack = context;
    struct arena arena = ARENA_EMPTY;
    int status = WM_OK;

    pthread_mutex_lock(&pack->lock);
    for (uint32_t i = first; status == WM_OK && i - first < count && i < pack->profile_count; i++) {
        arena_reset(&arena);
        status = give_profile(pack, i, &arena, take, taker);
    }
    pthread_mutex_unlock(&pack->lock);
    arena_free(&arena);
    return status;
}

/* --- Vehicles ---------------------------------------------------------------------------------------- */

static uint64_t tag_at(const uint8_t *block, uint32_t entry)
{
    struct byte_reader reader = {block + (size_t)entry * ENTRY_BYTES, block + PACK_BLOCK_BYTES, false};
    return take_8(&reader);
}

static uint32_t entries_of(uint64_t vehicles, uint64_t block)
{
    uint64_t left = vehicles - block * ENTRIES_A_BLOCK;

    return left < ENTRIES_A_BLOCK ? (uint32_t)left : ENTRIES_A_BLOCK;
}

/* The entry of this tag in a block; its count where there is none. */
static uint32_t find_entry(const uint8_t *block, uint32_t count, uint64_t tag)
{
    uint32_t low = 0, high = count - 1; /* the last tag is not below this one, which find_tag asked for */

    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (tag_at(block, middle) < tag)
            low = middle + 1;
        else
            high = middle;
    }
    return tag_at(block, low) == tag ? low : count;
}

/* The next block to look at: `step` away from the last one, or, where that is beyond the bound, half way to it.
 */
static uint64_t next_guess(uint64_t guess, uint64_t bound, uint64_t step)
{
    uint64_t distance = guess > bound ? guess - bound : bound - guess;

    step = step < distance ? step : (distance + 1) / 2;
    return guess > bound ? guess - step : guess + step;
}

/* Tags are spread evenly, so that the first guess is a few blocks off at most; the bounds close in whatever the
 * tags are. *ret_entry NULL: there is none. */
static int find_tag(struct pack *pack, uint64_t tag, const uint8_t **ret_entry)
{
    uint64_t vehicles = pack_head(pack)->vehicles;
    uint64_t low = 0, high = (vehicles + ENTRIES_A_BLOCK - 1) / ENTRIES_A_BLOCK; /* low..high-1 may have it */
    uint64_t guess = (uint64_t)((unsigned __int128)tag * high >> 64);
    const uint8_t *block;

    *ret_entry = NULL;
    for (uint64_t step = 1; low < high; step *= 2) {
        int status = sealed_block(pack->sealed, PART_VEHICLES, guess, &block);
        if (status != WM_OK)
            return status;
        uint32_t count = entries_of(vehicles, guess);
        if (tag >= tag_at(block, 0) && tag <= tag_at(block, count - 1)) {
            uint32_t at = find_entry(block, count, tag);
            if (at < count)
                *ret_entry = block + (size_t)at * ENTRY_BYTES;
            return WM_OK;
        }
        if (tag < tag_at(block, 0))
            high = guess;
        else
            low = guess + 1;
        if (low < high)
            guess = next_guess(guess, guess >= high ? low : high - 1, step);
    }
    return WM_OK;
}

static int open_vehicle(struct pack *pack, struct text vin, struct looked_up *ret_found)
{
    const struct vin_lock *lock = &pack_head(pack)->lock;
    const uint8_t *entry;
    uint8_t plain[LOCK_PAD_BYTES];
    struct vin_key key;
    int status = vin_lock_vehicle(lock, vin, &key);

    if (status == WM_OK)
        status = find_tag(pack, key.tag, &entry);
    if (status != WM_OK)
        return status;
    struct looked_up found = {.length = (uint8_t)vin.length, .found = entry != NULL};
    memcpy(found.vin, vin.bytes, vin.length);
    if (found.found) {
        for (size_t i = 0; i < LOCK_PAD_BYTES; i++)
            plain[i] = entry[ENTRY_TAG_BYTES + i] ^ key.pad[i];
        struct byte_reader reader = {plain, plain + sizeof plain, false};
        found.profile = take_4(&reader);
        found.built_on = (int32_t)take_4(&reader);
        found.set = take_4(&reader);
    }
    *ret_found = found;
    return WM_OK;
}

/* Under the lock. VINs that cannot be in a pack are not hashed: an unusable form, or, where every registered
 * VIN has its check digit, a wrong one. That is what makes the search for the nearest VIN bearable. */
static int look_up(struct pack *pack, struct text vin, const struct looked_up **ret_found)
{
    static const struct looked_up nothing = {.found = false};
    struct packed_vin packed;

    *ret_found = &nothing;
    if (!vin_pack(vin, &packed))
        return WM_OK;
    if (pack_head(pack)->check_digits_hold && vin.length == VIN_LENGTH &&
        !(vin_form(vin) == VIN_FORM_OK && vin_check_is_right(vin)))
        return WM_OK;
    struct looked_up *kept = &pack->looked_up[text_hash(vin) % LOOKED_UP];
    if (!text_equal((struct text){kept->vin, kept->length}, vin)) {
        struct looked_up found;
        int status = open_vehicle(pack, vin, &found);
        if (status != WM_OK)
            return status;
        *kept = found;
    }
    *ret_found = kept;
    return WM_OK;
}

static int vehicle(void *context, struct text vin, bool *ret_found, uint32_t *ret_profile,
                   int32_t *ret_built_on)
{
    struct pack *pack = context;
    const struct looked_up *found;

    pthread_mutex_lock(&pack->lock);
    int status = look_up(pack, vin, &found);
    if (status == WM_OK) {
        *ret_found = found->found && found->profile != NO_PROFILE;
        *ret_profile = found->profile;
        *ret_built_on = found->built_on;
    }
    pthread_mutex_unlock(&pack->lock);
    return status;
}

/* --- The dealer's registers -------------------------------------------------------------------------- */

static int dealer(void *context, struct text code, register_take_dealer *take, void *taker)
{
    const struct pack *pack = context;
    int status = WM_OK;

    for (uint32_t i = 0; pack_is_for(pack, code) && status == WM_OK && i < pack->own.version_count; i++)
        status = take(taker, &pack->own.versions[i]);
    return status;
}

static int shipments(void *context, struct text code, register_take_shipment *take, void *taker)
{
    const struct pack *pack = context;
    int status = WM_OK;

    for (uint32_t i = 0; pack_is_for(pack, code) && status == WM_OK && i < pack->own.shipment_count; i++)
        status = take(taker, pack->own.shipments[i].part_key, pack->own.shipments[i].shipped_on,
                      pack->own.shipments[i].quantity);
    return status;
}

static int approval(void *context, struct text number, register_take_approval *take, void *taker)
{
    const struct pack *pack = context;

    for (uint32_t i = 0; i < pack->own.approval_count; i++)
        if (text_equal(pack->own.approvals[i].number, number))
            return take(taker, &pack->own.approvals[i]);
    return WM_OK;
}

/* --- What is complete -------------------------------------------------------------------------------- */

typedef int take_completion(void *taker, struct text campaign, enum outcome outcome, uint32_t after);

/* Under the lock. */
static int take_set(struct pack *pack, uint32_t set, take_completion *take, void *taker)
{
    struct arena arena = ARENA_EMPTY;
    struct byte_reader reader;

    if (set > pack->set_count)
        return does_not_fit(pack);
    int status = read_record(pack, (uint64_t)pack->profile_count + set - 1, &arena, &reader);
    uint32_t count = status == WM_OK ? take_count(&reader, 8) : 0;
    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        struct text campaign = take_text(&reader);
        enum outcome outcome = take_4(&reader) == OUTCOME_INSPECTED ? OUTCOME_INSPECTED : OUTCOME_REPAIRED;
        status = reader.failed ? does_not_fit(pack) : take(taker, campaign, outcome, 0);
    }
    arena_free(&arena);
    return status;
}

/* What others completed: where the dealer has a claim on the vehicle, by the own part; else by the vehicle's
 * set. */
static int each_of_others(struct pack *pack, struct text vin, take_completion *take, void *taker)
{
    const struct own_part *own = &pack->own;
    const struct looked_up *found;
    int status = WM_OK;

    if (text_index_find(&own->by_vehicle, vin) != TEXT_INDEX_NONE) {
        for (uint32_t i = 0; status == WM_OK && i < own->other_count; i++)
            if (text_equal(own->others[i].vin, vin))
                status = take(taker, own->others[i].campaign, own->others[i].outcome, own->others[i].after);
        return status;
    }
    pthread_mutex_lock(&pack->lock);
    status = look_up(pack, vin, &found);
    if (status == WM_OK && found->set > 0)
        status = take_set(pack, found->set, take, taker);
    pthread_mutex_unlock(&pack->lock);
    return status;
}

struct completion_listing {
    struct arena *arena;
    struct completion *list;
    uint32_t count, capacity;
};

static int list_completion(struct completion_listing *listing, struct completion completion)
{
    if (listing->count == listing->capacity) {
        uint32_t capacity = listing->capacity ? listing->capacity * 2 : 4;
        struct completion *grown =
            arena_grown(listing->arena, listing->list, listing->count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        listing->list = grown;
        listing->capacity = capacity;
    }
    completion.campaign = text_copy(listing->arena, completion.campaign);
    listing->list[listing->count++] = completion;
    return completion.campaign.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int list_of_others(void *taker, struct text campaign, enum outcome outcome, uint32_t after)
{
    (void)after;
    return list_completion(taker, (struct completion){campaign, outcome, false, DAY_NONE});
}

int pack_completions(struct pack *pack, struct text vin, struct arena *arena, struct completion **ret_list,
                     uint32_t *ret_count)
{
    struct completion_listing listing = {.arena = arena};
    const struct own_part *own = &pack->own;
    int status = WM_OK;

    for (uint32_t at = text_index_find(&own->by_vehicle, vin); status == WM_OK && at != OWN_NONE;
         at = own->claims[at].next_on_vehicle) {
        const struct standing_claim *standing = &own->claims[at].recorded.standing;
        bool inspected = text_equal_any_case(standing->outcome, TEXT("inspected"));
        status = list_completion(&listing, (struct completion){standing->campaign,
                                                               inspected ? OUTCOME_INSPECTED : OUTCOME_REPAIRED,
                                                               true, standing->completed_on});
    }
    if (status == WM_OK)
        status = each_of_others(pack, vin, list_of_others, &listing);
    if (status != WM_OK)
        return status;
    *ret_list = listing.list;
    *ret_count = listing.count;
    return WM_OK;
}

/* --- History ----------------------------------------------------------------------------------------- */

/* Places of the dealer's own claims are even, so that others' stand between them. */
static uint64_t recorded_at(uint64_t place)
{
    return place * 2;
}

static int restore_own(const struct pack *pack, struct history *history, uint32_t number)
{
    struct recorded_claim claim = pack->own.claims[number].recorded;

    claim.row_last = recorded_at(number + UINT64_C(1));
    claim.standing.recorded = recorded_at(claim.standing.recorded);
    return history_restore_claim(history, &claim);
}

struct restoring {
    struct history *history;
    struct text vin;
};

/* A claim of nobody: neither dealer nor number; the VIN and the campaign tell it from others. */
static int restore_of_others(void *taker, struct text campaign, enum outcome outcome, uint32_t after)
{
    const struct restoring *restoring = taker;
    struct buffer name = BUFFER_EMPTY;

    buffer_format(&name, "%.*s/%.*s", TEXT_ARGUMENTS(restoring->vin), TEXT_ARGUMENTS(campaign));
    const struct recorded_claim claim = {
        .dealer = TEXT(""),
        .claim = buffer_text(&name),
        .previous_decision = DECISION_PAY,
        .first_received_on = DAY_NONE,
        .last_row = TEXT(""),
        .stands = true,
        .standing = {.recorded = recorded_at(after) + 1,
                     .campaign = campaign,
                     .vin = restoring->vin,
                     .outcome = outcome == OUTCOME_INSPECTED ? TEXT("inspected") : TEXT("repaired"),
                     .repair_order = TEXT(""),
                     .technician = TEXT(""),
                     .completed_on = DAY_NONE},
    };
    int status = name.failed ? WM_NO_MEMORY : history_restore_claim(restoring->history, &claim);
    buffer_free(&name);
    return status;
}

static int answer_vehicle(struct pack *pack, struct history *history, struct text vin)
{
    struct restoring restoring = {history, vin};
    int status = WM_OK;

    for (uint32_t at = text_index_find(&pack->own.by_vehicle, vin); status == WM_OK && at != OWN_NONE;
         at = pack->own.claims[at].next_on_vehicle)
        status = restore_own(pack, history, at);
    return status == WM_OK ? each_of_others(pack, vin, restore_of_others, &restoring) : status;
}

static int answer_order(const struct pack *pack, struct history *history, const struct history_ask *ask)
{
    const struct own_part *own = &pack->own;
    int status = WM_OK;

    for (uint32_t at = text_index_find(&own->by_order, ask->repair_order); status == WM_OK && at != OWN_NONE;
         at = own->claims[at].next_on_order)
        status = history_restore_repair_order(history, ask->dealer, ask->repair_order,
                                              own->claims[at].recorded.standing.vin, 1);
    return status;
}

static int answer_technician(const struct pack *pack, struct history *history, const struct history_ask *ask)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < pack->own.claim_count; i++) {
        const struct recorded_claim *claim = &pack->own.claims[i].recorded;
        if (claim->stands && claim->standing.completed_on == ask->completed_on &&
            text_equal(claim->standing.technician, ask->technician))
            status = history_restore_technician_day(history, ask->dealer, ask->technician, ask->completed_on,
                                                    claim->standing.hours_claimed);
    }
    return status;
}

static int answer_kit(const struct pack *pack, struct history *history, const struct history_ask *ask)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < pack->own.claim_count; i++) {
        const struct recorded_claim *claim = &pack->own.claims[i].recorded;
        for (uint32_t k = 0; claim->stands && claim->standing.completed_on != DAY_NONE && status == WM_OK &&
                             k < claim->standing.part_count;
             k++)
            if (text_equal(claim->standing.parts[k].key, ask->kit_key))
                status = history_restore_kit(history, ask->dealer, ask->kit_key, claim->standing.completed_on,
                                             claim->standing.parts[k].quantity);
    }
    return status;
}

static int answer_one(struct pack *pack, struct history *history, const struct history_ask *ask)
{
    if (ask->question != ASK_VEHICLE && !pack_is_for(pack, ask->dealer))
        return WM_OK;
    switch (ask->question) {
    case ASK_VEHICLE: return answer_vehicle(pack, history, ask->vin);
    case ASK_REPAIR_ORDER: return answer_order(pack, history, ask);
    case ASK_TECHNICIAN_DAY: return answer_technician(pack, history, ask);
    case ASK_KIT: return answer_kit(pack, history, ask);
    case ASK_CLAIM: break;
    }
    uint32_t number = text_index_find(&pack->own.by_claim, ask->claim);
    return number != TEXT_INDEX_NONE ? restore_own(pack, history, number) : WM_OK;
}

static int answer(void *context, struct history *history, const struct history_ask *asks, uint32_t count)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = answer_one(context, history, &asks[i]);
    return status;
}

/* --- Opening ----------------------------------------------------------------------------------------- */

static int read_rules(struct pack *pack)
{
    int status = sealed_part(pack->sealed, PART_RULES, &pack->rules_bytes);
    const uint8_t *at = (const uint8_t *)pack->rules_bytes.bytes;

    if (status != WM_OK)
        return status;
    if (at == NULL)
        return does_not_fit(pack);
    struct byte_reader reader = {at, at + pack->rules_bytes.length, false};
    uint32_t count = take_count(&reader, 8);
    struct rules_file *files = ARENA_ARRAY(&pack->arena, struct rules_file, count);
    if (files == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < count; i++) {
        files[i].path = take_text(&reader);
        files[i].bytes = take_text(&reader);
    }
    pack->files = (struct rules_files){text_of(sealed_path(pack->sealed)), files, count};
    return reader.failed ? does_not_fit(pack) : WM_OK;
}

static int read_own(struct pack *pack)
{
    const struct pack_head *head = pack_head(pack);
    uint8_t key[LOCK_KEY_BYTES];

    if (head->dealer.length == 0)
        return WM_OK;
    int status = sealed_part(pack->sealed, PART_OWN, &pack->own_bytes);
    if (status == WM_OK && pack->own_bytes.length == 0)
        status = does_not_fit(pack);
    if (status == WM_OK)
        status = vin_lock_dealer(&head->lock, head->dealer, key);
    if (status != WM_OK)
        return status;
    uint8_t *bytes = (uint8_t *)pack->own_bytes.bytes;
    crypto_stream_xchacha20_xor(bytes, bytes, pack->own_bytes.length, head->own_nonce, key);
    sodium_memzero(key, sizeof key);
    status = own_read(&pack->arena, buffer_text(&pack->own_bytes), &pack->own);
    return status == WM_BAD_INPUT ? does_not_fit(pack) : status;
}

static int read_counts(struct pack *pack)
{
    const struct pack_head *head = pack_head(pack);
    struct arena arena = ARENA_EMPTY;
    struct byte_reader reader;
    int status = read_span(pack, 0, OFFSETS_AT, &arena, &reader);

    if (status == WM_OK) {
        pack->profile_count = take_4(&reader);
        pack->set_count = take_4(&reader);
    }
    arena_free(&arena);
    uint64_t offsets = UINT64_C(1) + pack->profile_count + pack->set_count;
    if (status == WM_OK && OFFSETS_AT + offsets * OFFSET_BYTES > head->parts[PART_PROFILES].bytes)
        return does_not_fit(pack);
    uint64_t blocks = head->vehicles / ENTRIES_A_BLOCK, over = head->vehicles % ENTRIES_A_BLOCK;
    if (status == WM_OK && head->parts[PART_VEHICLES].bytes != blocks * PACK_BLOCK_BYTES + over * ENTRY_BYTES)
        status = does_not_fit(pack);
    return status;
}

static int read_parts(struct pack *pack)
{
    int status = read_rules(pack);

    if (status == WM_OK)
        status = read_counts(pack);
    if (status == WM_OK)
        status = read_own(pack);
    return status;
}

static int refuse(struct pack *pack, struct diag_sink *sink, const char *words)
{
    diag_error(sink, (struct place){text_of(sealed_path(pack->sealed)), 0, 0}, "%s", words);
    return WM_BAD_INPUT;
}

/* Whether the pack's key is the one that is trusted; where none is yet, notes where it would be remembered. */
static int check_key(struct pack *pack, const struct pack_trust *trust, struct diag_sink *sink)
{
    struct public_key signer, pinned;
    char *path = NULL;
    int status = WM_OK;

    memcpy(signer.bytes, pack_head(pack)->public_key, sizeof signer.bytes);
    if (trust->key != NULL)
        return memcmp(trust->key->bytes, signer.bytes, sizeof signer.bytes) == 0
                   ? WM_OK
                   : refuse(pack, sink,
                            "this pack is signed with another key than the one you trust; do not use it, "
                            "ask the office");
    status = pinned_key_read(sink, &path, &pinned);
    if (status == WM_OK && memcmp(pinned.bytes, signer.bytes, sizeof signer.bytes) != 0) {
        diag_error(
            sink, (struct place){text_of(sealed_path(pack->sealed)), 0, 0},
            "this pack is signed with another key than the first pack used here (kept in %s); do not use it, "
            "ask the office. If it comes from another office, name its key with --trust",
            path);
        status = WM_BAD_INPUT;
    } else if (status == WM_NOT_FOUND && path == NULL) {
        status = refuse(pack, sink,
                        "there is no place to remember the office's key, since HOME is not set; name the "
                        "key with --trust");
    } else if (status == WM_NOT_FOUND) {
        pack->key_path = path;
        return WM_OK;
    }
    free(path);
    return status;
}

int pack_remember_key(struct pack *pack, struct diag_sink *sink, const char **ret_path)
{
    struct public_key signer;

    memcpy(signer.bytes, pack_head(pack)->public_key, sizeof signer.bytes);
    int status = pack->key_path != NULL ? pinned_key_write(pack->key_path, &signer, sink) : WM_OK;
    if (status == WM_OK)
        *ret_path = pack->key_path;
    return status;
}

static int check_date(struct pack *pack, int32_t today, struct diag_sink *sink)
{
    char last[DATE_ROOM];

    if (today <= pack_head(pack)->valid_to)
        return WM_OK;
    date_write(pack_head(pack)->valid_to, last);
    diag_error(sink, (struct place){text_of(sealed_path(pack->sealed)), 0, 0},
               "this pack was good until %s; ask the office for a new one", last);
    return WM_BAD_INPUT;
}

static void offer(struct pack *pack)
{
    pack->register_source = (struct register_source){
        .context = pack,
        .vehicle = vehicle,
        .profile_limit = pack->profile_count,
        .profiles = profiles,
        .dealer = dealer,
        .shipments = shipments,
        .approval = approval,
        .error = error_of,
    };
    /* all places lie before those of claims that are yet to be decided */
    pack->history_source =
        (struct history_source){pack, recorded_at(pack->own.claim_count + UINT64_C(1)) + 1, answer};
}

/* The parts are read only when the key may be trusted. */
static int open_pack(struct pack *pack, const char *path, const struct pack_trust *trust,
                     struct diag_sink *sink)
{
    int status = sealed_open(path, sink, &pack->sealed);

    if (status != WM_OK)
        return status;
    status = check_date(pack, trust->today, sink);
    if (status == WM_OK)
        status = check_key(pack, trust, sink);
    if (status != WM_OK)
        return status;
    status = read_parts(pack);
    if (status == WM_IO)
        diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(pack_error(pack)));
    return status;
}

int pack_open(const char *path, const struct pack_trust *trust, struct diag_sink *sink, struct pack **ret_pack)
{
    struct pack *pack = calloc(1, sizeof *pack);

    if (pack == NULL || pthread_mutex_init(&pack->lock, NULL) != 0) {
        free(pack);
        return WM_NO_MEMORY;
    }
    pack->looked_up = calloc(LOOKED_UP, sizeof *pack->looked_up);
    int status = pack->looked_up != NULL ? open_pack(pack, path, trust, sink) : WM_NO_MEMORY;
    if (status != WM_OK) {
        pack_close(pack);
        return status;
    }
    offer(pack);
    *ret_pack = pack;
    return WM_OK;
}

int pack_check_all(struct pack *pack, struct diag_sink *sink)
{
    pthread_mutex_lock(&pack->lock);
    int status = sealed_check(pack->sealed);
    pthread_mutex_unlock(&pack->lock);
    if (status != WM_OK)
        diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(pack_error(pack)));
    return status;
}

void pack_close(struct pack *pack)
{
    if (pack == NULL)
        return;
    own_part_free(&pack->own);
    buffer_free(&pack->own_bytes);
    buffer_free(&pack->rules_bytes);
    arena_free(&pack->arena);
    free(pack->looked_up);
    free(pack->key_path);
    sealed_close(pack->sealed);
    pthread_mutex_destroy(&pack->lock);
    free(pack);
}
