#include "ledger/tallies.h"

#include <stdlib.h>

#include "base/status.h"
#include "ledger/columns.h"

#define NONE UINT32_MAX

struct dealer_entry {
    struct text name;
    uint32_t first_month;
};

/* The key: kind and text. */
struct key_entry {
    struct text bytes;
};

struct month_tally {
    uint32_t key;
    int32_t day;
    int64_t amount;
};

struct month_entry {
    uint32_t dealer;
    int32_t month;
    uint32_t next_of_dealer;
    uint32_t count, capacity;
    struct month_tally *tallies; /* malloc'd */
};

void tallies_open(struct tallies *tallies)
{
    *tallies = (struct tallies){.dealer_list = CHUNKS_OF(struct dealer_entry),
                                .month_list = CHUNKS_OF(struct month_entry),
                                .key_list = CHUNKS_OF(struct key_entry)};
}

void tallies_close(struct tallies *tallies)
{
    for (uint32_t i = 0; i < tallies->month_list.count; i++)
        free(((struct month_entry *)chunks_at(&tallies->month_list, i))->tallies);
    chunks_free(&tallies->dealer_list);
    chunks_free(&tallies->month_list);
    chunks_free(&tallies->key_list);
    text_index_free(&tallies->dealers);
    text_index_free(&tallies->months);
    text_index_free(&tallies->keys);
    buffer_free(&tallies->room);
    arena_free(&tallies->arena);
}

int32_t tally_month(int32_t day)
{
    int year, month, day_of_month;

    date_to_civil(day, &year, &month, &day_of_month);
    return year * 12 + month - 1;
}

static int64_t plus(int64_t a, int64_t b)
{
    int64_t sum;
    return !__builtin_add_overflow(a, b, &sum) ? sum : a < 0 ? INT64_MIN : INT64_MAX;
}

/* --- Finding entries --------------------------------------------------------------------------------- */

static int find_dealer(struct tallies *tallies, struct text name, uint32_t *ret_number)
{
    *ret_number = text_index_find(&tallies->dealers, name);
    if (*ret_number != TEXT_INDEX_NONE)
        return WM_OK;
    struct text copy = text_copy(&tallies->arena, name);
    struct dealer_entry *entry = copy.bytes != NULL ? chunks_add(&tallies->dealer_list) : NULL;
    if (entry == NULL)
        return WM_NO_MEMORY;
    *entry = (struct dealer_entry){copy, NONE};
    *ret_number = text_index_add(&tallies->dealers, copy, tallies->dealer_list.count - 1);
    return *ret_number == TEXT_INDEX_NONE ? WM_NO_MEMORY : WM_OK;
}

static struct text key_bytes(struct tallies *tallies, enum tally_kind kind, struct text key)
{
    buffer_clear(&tallies->room);
    buffer_add_byte(&tallies->room, (char)kind);
    buffer_add_text(&tallies->room, key);
    return buffer_text(&tallies->room);
}

static int find_key(struct tallies *tallies, enum tally_kind kind, struct text key, uint32_t *ret_number)
{
    struct text bytes = key_bytes(tallies, kind, key);

    if (tallies->room.failed)
        return WM_NO_MEMORY;
    *ret_number = text_index_find(&tallies->keys, bytes);
    if (*ret_number != TEXT_INDEX_NONE)
        return WM_OK;
    struct text copy = text_copy(&tallies->arena, bytes);
    struct key_entry *entry = copy.bytes != NULL ? chunks_add(&tallies->key_list) : NULL;
    if (entry == NULL)
        return WM_NO_MEMORY;
    entry->bytes = copy;
    *ret_number = text_index_add(&tallies->keys, copy, tallies->key_list.count - 1);
    return *ret_number == TEXT_INDEX_NONE ? WM_NO_MEMORY : WM_OK;
}

struct month_name {
    uint32_t dealer;
    int32_t month;
};

static struct text month_bytes(const struct month_name *name)
{
    return (struct text){(const char *)name, sizeof *name};
}

static int find_month(struct tallies *tallies, struct text dealer, int32_t month,
                      struct month_entry **ret_entry)
{
    struct month_name name = {0, month};
    int status = find_dealer(tallies, dealer, &name.dealer);

    if (status != WM_OK)
        return status;
    uint32_t number = text_index_find(&tallies->months, month_bytes(&name));
    if (number == TEXT_INDEX_NONE) {
        struct dealer_entry *owner = chunks_at(&tallies->dealer_list, name.dealer);
        struct text copy = text_copy(&tallies->arena, month_bytes(&name));
        struct month_entry *entry = copy.bytes != NULL ? chunks_add(&tallies->month_list) : NULL;
        if (entry == NULL)
            return WM_NO_MEMORY;
        number = tallies->month_list.count - 1;
        *entry =
            (struct month_entry){.dealer = name.dealer, .month = month, .next_of_dealer = owner->first_month};
        owner->first_month = number;
        if (text_index_add(&tallies->months, copy, number) == TEXT_INDEX_NONE)
            return WM_NO_MEMORY;
    }
    *ret_entry = chunks_at(&tallies->month_list, number);
    return WM_OK;
}

/* --- Collecting -------------------------------------------------------------------------------------- */

static int add_tally(struct tallies *tallies, struct month_entry *month, enum tally_kind kind, struct text key,
                     int32_t day, int64_t amount)
{
    uint32_t number;

    if (amount == 0)
        return WM_OK;
    if (find_key(tallies, kind, key, &number) != WM_OK)
        return WM_NO_MEMORY;
    if (month->count == month->capacity) {
        uint32_t capacity = month->capacity ? month->capacity * 2 : 8;
        struct month_tally *grown = realloc(month->tallies, capacity * sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        month->tallies = grown;
        month->capacity = capacity;
    }
    month->tallies[month->count++] = (struct month_tally){number, day, amount};
    return WM_OK;
}

int tallies_add_claim(struct tallies *tallies, const struct claim *claim, int sign)
{
    int32_t day = claim->completed_on;
    struct month_entry *month = NULL;
    int64_t hours = 0;

    if (day == DAY_NONE)
        return WM_OK;
    int status = find_month(tallies, claim->cells[COLUMN_DEALER], tally_month(day), &month);
    for (uint32_t i = 0; i < claim->labor_count; i++)
        hours = plus(hours, claim->labor[i].hours);
    if (status == WM_OK && claim->cells[COLUMN_TECHNICIAN].length > 0)
        status =
            add_tally(tallies, month, TALLY_TECHNICIAN, claim->cells[COLUMN_TECHNICIAN], day, sign * hours);
    for (uint32_t i = 0; status == WM_OK && i < claim->part_count; i++)
        status =
            add_tally(tallies, month, TALLY_PART, claim->parts[i].key, day, sign * claim->parts[i].quantity);
    return status;
}

/* --- Reading ----------------------------------------------------------------------------------------- */

static struct tally tally_of(const struct tallies *tallies, const struct month_tally *entry)
{
    struct text bytes = ((const struct key_entry *)chunks_at(&tallies->key_list, entry->key))->bytes;

    return (struct tally){
        (enum tally_kind)bytes.bytes[0], {bytes.bytes + 1, bytes.length - 1}, entry->day, entry->amount};
}

int tallies_of_dealer(const struct tallies *tallies, struct text dealer, int32_t month, enum tally_kind kind,
                      tally_take *take, void *taker)
{
    uint32_t number = text_index_find(&tallies->dealers, dealer);
    int status = WM_OK;

    if (number == TEXT_INDEX_NONE)
        return WM_OK;
    for (uint32_t at = ((const struct dealer_entry *)chunks_at(&tallies->dealer_list, number))->first_month;
         at != NONE;) {
        const struct month_entry *entry = chunks_at(&tallies->month_list, at);
        for (uint32_t i = 0;
             status == WM_OK && (month == INT32_MIN || month == entry->month) && i < entry->count; i++) {
            struct tally tally = tally_of(tallies, &entry->tallies[i]);
            if (tally.kind == kind)
                status = take(taker, dealer, &tally);
        }
        at = entry->next_of_dealer;
    }
    return status;
}

int tallies_merge(struct tallies *to, const struct tallies *from)
{
    int status = WM_OK;

    for (uint32_t at = 0; status == WM_OK && at < from->month_list.count; at++) {
        const struct month_entry *month = chunks_at(&from->month_list, at);
        const struct dealer_entry *dealer = chunks_at(&from->dealer_list, month->dealer);
        struct month_entry *into = NULL;
        status = find_month(to, dealer->name, month->month, &into);
        for (uint32_t i = 0; status == WM_OK && i < month->count; i++) {
            struct tally tally = tally_of(from, &month->tallies[i]);
            status = add_tally(to, into, tally.kind, tally.key, tally.day, tally.amount);
        }
    }
    return status;
}

static uint64_t get_number(const char *bytes, int count)
{
    uint64_t number = 0;

    for (int i = 0; i < count; i++)
        number |= (uint64_t)(uint8_t)bytes[i] << (8 * i);
    return number;
}

enum { TALLY_BYTES = 1 + 4 + 4 + 8 };

int tally_bytes_read(struct text bytes, struct text dealer, tally_take *take, void *taker)
{
    int status = WM_OK;

    while (status == WM_OK && bytes.length > 0) {
        size_t length = bytes.length >= TALLY_BYTES ? (size_t)get_number(bytes.bytes + 1, 4) : SIZE_MAX;
        if (length > bytes.length - TALLY_BYTES || bytes.length < TALLY_BYTES)
            return WM_BAD_INPUT;
        const char *behind = bytes.bytes + 5 + length;
        struct tally tally = {(enum tally_kind)bytes.bytes[0],
                              {bytes.bytes + 5, length},
                              (int32_t)get_number(behind, 4),
                              (int64_t)get_number(behind + 4, 8)};
        status = take(taker, dealer, &tally);
        bytes.bytes += TALLY_BYTES + length;
        bytes.length -= TALLY_BYTES + length;
    }
    return status;
}

/* --- Writing ----------------------------------------------------------------------------------------- */

static void add_number(struct buffer *out, uint64_t number, int count)
{
    for (int i = 0; i < count; i++)
        buffer_add_byte(out, (char)(number >> (8 * i)));
}

static int by_key_and_day(const void *a, const void *b, void *context)
{
    const struct month_tally *x = a, *y = b;
    const struct tallies *tallies = context;

    if (x->key != y->key)
        return text_compare(((const struct key_entry *)chunks_at(&tallies->key_list, x->key))->bytes,
                            ((const struct key_entry *)chunks_at(&tallies->key_list, y->key))->bytes);
    return x->day < y->day ? -1 : x->day > y->day;
}

/* The month's bytes; its entries are put in order. */
static void render_month(struct tallies *tallies, struct month_entry *month, struct buffer *out)
{
    if (month->count > 0)
        qsort_r(month->tallies, month->count, sizeof *month->tallies, by_key_and_day, tallies);
    for (uint32_t i = 0; i < month->count;) {
        struct tally tally = tally_of(tallies, &month->tallies[i]);
        uint32_t key = month->tallies[i++].key;
        for (; i < month->count && month->tallies[i].key == key && month->tallies[i].day == tally.day; i++)
            tally.amount = plus(tally.amount, month->tallies[i].amount);
        if (tally.amount == 0)
            continue;
        buffer_add_byte(out, (char)tally.kind);
        add_number(out, tally.key.length, 4);
        buffer_add_text(out, tally.key);
        add_number(out, (uint32_t)tally.day, 4);
        add_number(out, (uint64_t)tally.amount, 8);
    }
}

static int by_dealer_and_month(const void *a, const void *b, void *context)
{
    const struct tallies *tallies = context;
    const struct month_entry *x = chunks_at(&tallies->month_list, *(const uint32_t *)a);
    const struct month_entry *y = chunks_at(&tallies->month_list, *(const uint32_t *)b);

    if (x->dealer != y->dealer)
        return text_compare(((const struct dealer_entry *)chunks_at(&tallies->dealer_list, x->dealer))->name,
                            ((const struct dealer_entry *)chunks_at(&tallies->dealer_list, y->dealer))->name);
    return x->month < y->month ? -1 : x->month > y->month;
}

static int in_order(struct tallies *tallies,
                    int (*visit)(struct tallies *tallies, struct month_entry *month, void *context),
                    void *context)
{
    uint32_t count = tallies->month_list.count;
    uint32_t *order = malloc(((size_t)count + 1) * sizeof *order);
    int status = order != NULL ? WM_OK : WM_NO_MEMORY;

    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        order[i] = i;
    if (status == WM_OK && count > 0)
        qsort_r(order, count, sizeof *order, by_dealer_and_month, tallies);
    for (uint32_t i = 0; status == WM_OK && i < count; i++)
        status = visit(tallies, chunks_at(&tallies->month_list, order[i]), context);
    free(order);
    return status;
}

struct month_taking {
    int (*take)(void *taker, struct text dealer, int32_t month, struct text bytes);
    void *taker;
    struct buffer bytes;
};

static int take_month(struct tallies *tallies, struct month_entry *month, void *context)
{
    struct month_taking *taking = context;
    const struct dealer_entry *dealer = chunks_at(&tallies->dealer_list, month->dealer);

    buffer_clear(&taking->bytes);
    render_month(tallies, month, &taking->bytes);
    return taking->bytes.failed
               ? WM_NO_MEMORY
               : taking->take(taking->taker, dealer->name, month->month, buffer_text(&taking->bytes));
}

int tallies_each_month(struct tallies *tallies,
                       int (*take)(void *taker, struct text dealer, int32_t month, struct text bytes),
                       void *taker)
{
    struct month_taking taking = {take, taker, BUFFER_EMPTY};
    int status = in_order(tallies, take_month, &taking);

    buffer_free(&taking.bytes);
    return status;
}

struct month_writing {
    struct office *office;
    sqlite3_stmt *select, *put, *take_away;
    struct month_entry *month;
    struct tallies *tallies;
    struct buffer bytes;
};

static int add_recorded(void *context, struct text dealer, const struct tally *tally)
{
    struct month_writing *writing = context;
    (void)dealer;

    return add_tally(writing->tallies, writing->month, tally->kind, tally->key, tally->day, tally->amount);
}

static int merge_recorded(struct month_writing *writing, struct text dealer)
{
    bool found = false;

    bind_text(writing->select, 1, dealer);
    sqlite3_bind_int(writing->select, 2, writing->month->month);
    int status = office_step(writing->office, writing->select, &found);
    if (status == WM_OK && found) {
        status = tally_bytes_read(column_blob(writing->select, 0), dealer, add_recorded, writing);
        if (status == WM_BAD_INPUT)
            status = office_report(writing->office, SQLITE_CORRUPT);
    }
    sqlite3_reset(writing->select);
    return status;
}

static int write_month(struct tallies *tallies, struct month_entry *month, void *context)
{
    struct month_writing *writing = context;
    struct text dealer = ((const struct dealer_entry *)chunks_at(&tallies->dealer_list, month->dealer))->name;

    writing->month = month;
    int status = merge_recorded(writing, dealer);
    if (status != WM_OK)
        return status;
    buffer_clear(&writing->bytes);
    render_month(tallies, month, &writing->bytes);
    if (writing->bytes.failed)
        return WM_NO_MEMORY;
    sqlite3_stmt *statement = writing->bytes.length > 0 ? writing->put : writing->take_away;
    bind_text(statement, 1, dealer);
    sqlite3_bind_int(statement, 2, month->month);
    if (statement == writing->put)
        sqlite3_bind_blob64(statement, 3, writing->bytes.bytes, writing->bytes.length, SQLITE_STATIC);
    return office_execute(writing->office, statement);
}

int tallies_write(struct tallies *tallies, struct office *office)
{
    struct month_writing writing = {.office = office, .tallies = tallies};
    int status = office_prepare(office, "SELECT tallies FROM dealer_months WHERE dealer = ?1 AND month = ?2",
                                &writing.select);

    if (status == WM_OK)
        status = office_prepare(office,
                                "INSERT OR REPLACE INTO dealer_months (dealer, month, tallies) "
                                "VALUES (?1, ?2, ?3)",
                                &writing.put);
    if (status == WM_OK)
        status = office_prepare(office, "DELETE FROM dealer_months WHERE dealer = ?1 AND month = ?2",
                                &writing.take_away);
    if (status == WM_OK)
        status = in_order(tallies, write_month, &writing);
    sqlite3_finalize(writing.select);
    sqlite3_finalize(writing.put);
    sqlite3_finalize(writing.take_away);
    buffer_free(&writing.bytes);
    return status;
}
