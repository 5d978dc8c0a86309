#include "pack/collect.h"

#include <stdlib.h>

#include "base/status.h"
#include "facts/vin.h"
#include "ledger/listing.h"
#include "ledger/office_source.h"

/* Room for one more in a list that malloc gave. */
static int need_room(void **list, size_t count, size_t *capacity, size_t size)
{
    if (count < *capacity)
        return WM_OK;
    size_t wanted = *capacity > 0 ? *capacity * 2 : 256;
    void *grown = realloc(*list, wanted * size);
    if (grown == NULL)
        return WM_NO_MEMORY;
    *list = grown;
    *capacity = wanted;
    return WM_OK;
}

static int need_room_32(void **list, uint32_t count, uint32_t *capacity, size_t size)
{
    size_t wide = *capacity;
    int status = need_room(list, count, &wide, size);

    *capacity = (uint32_t)wide;
    return status;
}

/* --- Claims that stand ------------------------------------------------------------------------------- */

static int word_of(struct collection *collection, struct text word, uint32_t *ret_number)
{
    *ret_number = text_index_find(&collection->words, word);
    if (*ret_number != TEXT_INDEX_NONE)
        return WM_OK;
    struct text copy = text_copy(&collection->arena, word);
    if (copy.bytes == NULL || need_room_32((void **)&collection->word_list, collection->word_count,
                                           &collection->word_capacity, sizeof *collection->word_list) != WM_OK)
        return WM_NO_MEMORY;
    collection->word_list[collection->word_count] = copy;
    *ret_number = text_index_add(&collection->words, copy, collection->word_count++);
    return *ret_number == TEXT_INDEX_NONE ? WM_NO_MEMORY : WM_OK;
}

static int take_standing(void *taker, const struct standing_row *row)
{
    struct collection *collection = taker;
    bool own = collection->dealer.length > 0 && text_equal(row->dealer, collection->dealer);
    struct standing kept = {.vin = text_copy(&collection->arena, row->vin),
                            .row = row->row,
                            .outcome = text_equal_any_case(row->outcome, TEXT("inspected")) ? OUTCOME_INSPECTED
                                                                                            : OUTCOME_REPAIRED};
    int status = kept.vin.bytes != NULL ? word_of(collection, row->campaign, &kept.campaign) : WM_NO_MEMORY;

    if (status == WM_OK && own) {
        status = need_room_32((void **)&collection->own_rows, collection->own_count, &collection->own_capacity,
                              sizeof *collection->own_rows);
        if (status == WM_OK)
            collection->own_rows[collection->own_count++] = row->row;
        kept.place = collection->own_count;
    }
    if (status == WM_OK)
        status = need_room_32((void **)&collection->standing, collection->standing_count,
                              &collection->standing_capacity, sizeof *collection->standing);
    if (status == WM_OK)
        collection->standing[collection->standing_count++] = kept;
    return status;
}

static int by_vin_and_row(const void *a, const void *b)
{
    const struct standing *x = a, *y = b;
    int order = text_compare(x->vin, y->vin);

    return order != 0 ? order : (x->row > y->row) - (x->row < y->row);
}

int collect_standing(struct office *office, struct text dealer, struct collection *collection)
{
    collection->dealer = dealer;
    int status = listing_standing(office, take_standing, collection);
    if (status == WM_OK && collection->standing_count > 1)
        qsort(collection->standing, collection->standing_count, sizeof *collection->standing, by_vin_and_row);
    return status;
}

/* How many claims from `at` on are on the same vehicle. */
static uint32_t count_on_vehicle(const struct collection *collection, uint32_t at)
{
    uint32_t end = at + 1;

    while (end < collection->standing_count &&
           text_equal(collection->standing[end].vin, collection->standing[at].vin))
        end++;
    return end - at;
}

static bool is_first_of_campaign(const struct standing *on_vehicle, uint32_t at)
{
    for (uint32_t i = 0; i < at; i++)
        if (on_vehicle[i].campaign == on_vehicle[at].campaign)
            return false;
    return true;
}

/* --- Sets of completions ----------------------------------------------------------------------------- */

struct wanted {
    const struct text *campaigns; /* NULL: all */
    uint32_t count;
};

static bool is_wanted(const struct wanted *wanted, struct text campaign)
{
    for (uint32_t i = 0; i < wanted->count; i++)
        if (text_equal(wanted->campaigns[i], campaign))
            return true;
    return wanted->campaigns == NULL;
}

static int intern_set(struct collection *collection, struct text key, uint32_t *ret_set)
{
    uint32_t number = text_index_find(&collection->set_index, key);

    *ret_set = key.length == 0 ? 0 : number + 1;
    if (key.length == 0 || number != TEXT_INDEX_NONE)
        return WM_OK;
    struct text copy = text_copy(&collection->arena, key);
    if (copy.bytes == NULL || need_room_32((void **)&collection->sets, collection->set_count,
                                           &collection->set_capacity, sizeof *collection->sets) != WM_OK)
        return WM_NO_MEMORY;
    collection->sets[collection->set_count].key = copy;
    number = text_index_add(&collection->set_index, copy, collection->set_count);
    *ret_set = ++collection->set_count;
    return number == TEXT_INDEX_NONE ? WM_NO_MEMORY : WM_OK;
}

enum { COMPLETION_BYTES = sizeof(uint32_t) + 1 };

static int by_bytes(const void *a, const void *b)
{
    return memcmp(a, b, COMPLETION_BYTES);
}

/* The set of the claims on one vehicle; in an order that tells nothing. */
static int set_of(struct collection *collection, const struct wanted *wanted, uint32_t first, uint32_t count,
                  uint32_t *ret_set)
{
    const struct standing *on_vehicle = &collection->standing[first];
    struct buffer key = BUFFER_EMPTY;

    for (uint32_t i = 0; i < count; i++) {
        char outcome = (char)on_vehicle[i].outcome;
        if (!is_first_of_campaign(on_vehicle, i) ||
            !is_wanted(wanted, collection->word_list[on_vehicle[i].campaign]))
            continue;
        buffer_add(&key, &on_vehicle[i].campaign, sizeof on_vehicle[i].campaign);
        buffer_add_byte(&key, outcome);
    }
    if (key.length > COMPLETION_BYTES)
        qsort(key.bytes, key.length / COMPLETION_BYTES, COMPLETION_BYTES, by_bytes);
    int status = key.failed ? WM_NO_MEMORY : intern_set(collection, buffer_text(&key), ret_set);
    buffer_free(&key);
    return status;
}

/* --- Vehicles ---------------------------------------------------------------------------------------- */

struct vehicle_taking {
    struct collection *collection;
    uint32_t *set_of_vehicle; /* one for each claim that is the first on its vehicle */
    bool *met;                /* likewise: the vehicle is in the register */
};

/* The first claim on this vehicle; standing_count: there is none. */
static uint32_t find_standing(const struct collection *collection, struct text vin)
{
    uint32_t low = 0, high = collection->standing_count;

    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (text_compare(collection->standing[middle].vin, vin) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    bool is = low < collection->standing_count && text_equal(collection->standing[low].vin, vin);
    return is ? low : collection->standing_count;
}

static int add_vehicle(struct collection *collection, struct collected_vehicle vehicle)
{
    int status = need_room((void **)&collection->vehicles, collection->vehicle_count,
                           &collection->vehicle_capacity, sizeof *collection->vehicles);

    if (status == WM_OK)
        collection->vehicles[collection->vehicle_count++] = vehicle;
    return status;
}

static int take_bucket(void *taker, uint32_t bucket, const void *bytes, size_t length)
{
    struct vehicle_taking *taking = taker;
    struct collection *collection = taking->collection;
    int64_t count = vehicle_bucket_count(length);
    char room[VIN_LENGTH + 1];
    int status = count < 0 ? WM_BAD_INPUT : WM_OK;
    (void)bucket;

    for (uint32_t i = 0; status == WM_OK && i < (uint32_t)count; i++) {
        struct packed_vehicle packed = vehicle_bucket_at(bytes, (uint32_t)count, i);
        struct collected_vehicle vehicle = {vehicle_key_vin(packed.key), packed.profile, packed.built_on, 0};
        struct text vin = {room, vin_unpack(vehicle.vin, room)};
        uint32_t at = find_standing(collection, vin);
        if (at < collection->standing_count) {
            vehicle.set = taking->set_of_vehicle[at];
            taking->met[at] = true;
        }
        if (vin.length == VIN_LENGTH && !(vin_form(vin) == VIN_FORM_OK && vin_check_is_right(vin)))
            collection->check_digits_hold = false;
        status = add_vehicle(collection, vehicle);
    }
    return status;
}

/* Vehicles that are claimed and not registered. A VIN that is none cannot be kept, and nobody can look it up.
 */
static int add_unregistered(struct vehicle_taking *taking)
{
    struct collection *collection = taking->collection;
    int status = WM_OK;

    for (uint32_t at = 0; status == WM_OK && at < collection->standing_count;) {
        struct collected_vehicle vehicle = {{0, 0}, NO_PROFILE, DAY_NONE, taking->set_of_vehicle[at]};
        if (!taking->met[at] && vehicle.set > 0 && vin_pack(collection->standing[at].vin, &vehicle.vin))
            status = add_vehicle(collection, vehicle);
        at += count_on_vehicle(collection, at);
    }
    return status;
}

static int read_buckets(struct office *office, struct vehicle_taking *taking)
{
    enum { AT_A_TIME = 16 };
    struct office_source *source = NULL;
    int status = office_source_open(office, 0, &source);

    if (status != WM_OK)
        return status;
    struct register_source *vehicles = office_source_register(source);
    uint64_t count = UINT64_C(1) << vehicles->bucket_bits;
    for (uint64_t first = 0; status == WM_OK && first < count; first += AT_A_TIME) {
        uint32_t some = count - first < AT_A_TIME ? (uint32_t)(count - first) : AT_A_TIME;
        status = vehicles->buckets(vehicles->context, (uint32_t)first, some, take_bucket, taking);
    }
    if (status == WM_IO)
        diag_error(office_sink(office), (struct place){{NULL, 0}, 0, 0}, "%.*s",
                   TEXT_ARGUMENTS(vehicles->error(vehicles->context)));
    office_source_close(source);
    return status;
}

int collect_vehicles(struct office *office, const struct text *campaigns, uint32_t count,
                     struct collection *collection)
{
    const struct wanted wanted = {campaigns, count};
    size_t claims = (size_t)collection->standing_count + 1;
    struct vehicle_taking taking = {collection, calloc(claims, sizeof(uint32_t)), calloc(claims, sizeof(bool))};
    int status = taking.set_of_vehicle != NULL && taking.met != NULL ? WM_OK : WM_NO_MEMORY;

    collection->check_digits_hold = true;
    for (uint32_t at = 0; status == WM_OK && at < collection->standing_count;) {
        uint32_t on_vehicle = count_on_vehicle(collection, at);
        status = set_of(collection, &wanted, at, on_vehicle, &taking.set_of_vehicle[at]);
        at += on_vehicle;
    }
    if (status == WM_OK)
        status = read_buckets(office, &taking);
    if (status == WM_OK)
        status = add_unregistered(&taking);
    free(taking.set_of_vehicle);
    free(taking.met);
    return status;
}

/* --- What others completed where the dealer has claims ----------------------------------------------- */

static bool dealer_is_on(const struct standing *on_vehicle, uint32_t count)
{
    for (uint32_t i = 0; i < count; i++)
        if (on_vehicle[i].place > 0)
            return true;
    return false;
}

/* The place of the dealer's last claim of this campaign before claim `at`. */
static uint32_t place_before(const struct standing *on_vehicle, uint32_t at)
{
    for (uint32_t i = at; i-- > 0;)
        if (on_vehicle[i].place > 0 && on_vehicle[i].campaign == on_vehicle[at].campaign)
            return on_vehicle[i].place;
    return 0;
}

static bool is_first_of_others(const struct standing *on_vehicle, uint32_t at)
{
    for (uint32_t i = 0; i < at; i++)
        if (on_vehicle[i].place == 0 && on_vehicle[i].campaign == on_vehicle[at].campaign)
            return false;
    return on_vehicle[at].place == 0;
}

int collect_others(struct collection *collection, struct own_other **ret_others, uint32_t *ret_count)
{
    struct own_other *others = ARENA_ARRAY(&collection->arena, struct own_other, collection->standing_count);
    uint32_t count = 0;

    if (others == NULL)
        return WM_NO_MEMORY;
    for (uint32_t at = 0, on_vehicle; at < collection->standing_count; at += on_vehicle) {
        const struct standing *first = &collection->standing[at];
        on_vehicle = count_on_vehicle(collection, at);
        for (uint32_t i = 0; dealer_is_on(first, on_vehicle) && i < on_vehicle; i++)
            if (is_first_of_others(first, i))
                others[count++] = (struct own_other){first[i].vin, collection->word_list[first[i].campaign],
                                                     first[i].outcome, place_before(first, i)};
    }
    *ret_others = others;
    *ret_count = count;
    return WM_OK;
}

void collection_free(struct collection *collection)
{
    text_index_free(&collection->words);
    text_index_free(&collection->set_index);
    free(collection->word_list);
    free(collection->standing);
    free(collection->own_rows);
    free(collection->sets);
    free(collection->vehicles);
    arena_free(&collection->arena);
}
