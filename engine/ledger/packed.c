#include "ledger/packed.h"

#include <endian.h>
#include <pthread.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/buffer.h"
#include "base/limits.h"
#include "base/status.h"
#include "ledger/columns.h"

/* Four buckets or more fit into a page of the database. */
enum { FULL_BYTES = 3400, MOST_BITS = 24, HASH_BYTES = 8, NUMBER_BYTES = 4, NOTE_BYTES = 2, AMOUNT_BYTES = 8 };

static const char *const TABLES[PACKED_LEVELS][PACKED_TABLES] = {
    [PACKED_SETTLED] = {"row_buckets", "tally_buckets"},
    [PACKED_RECENT] = {"recent_row_buckets", "recent_tally_buckets"},
};

/* Recent entries are settled when they are more than one in so many. */
enum { RECENT_SHARE = 16 };

const char *packed_name(enum packed_table table, enum packed_level level)
{
    return TABLES[level][table];
}
static const unsigned char HASH_KEY[crypto_shorthash_KEYBYTES] = "witnessmark rows";

/* --- Entries ----------------------------------------------------------------------------------------- */

size_t packed_list_entry_bytes(enum packed_table table)
{
    return table == PACKED_ROWS ? offsetof(struct packed_entry, amount) : sizeof(struct packed_entry);
}

static size_t packed_size(enum packed_table table)
{
    return HASH_BYTES + NUMBER_BYTES + (table == PACKED_ROWS ? NOTE_BYTES : AMOUNT_BYTES);
}

/* SipHash of the kind and both parts; of parts that are too long their digests. */
static uint64_t hash_parts(enum packed_key kind, struct text first, struct text second)
{
    enum { ROOM = 256, DIGEST = crypto_generichash_BYTES };
    unsigned char room[ROOM], hash[crypto_shorthash_BYTES], digests[2][DIGEST];
    uint64_t number;

    if (2 + first.length + second.length > ROOM) {
        crypto_generichash(digests[0], DIGEST, (const unsigned char *)first.bytes, first.length, NULL, 0);
        crypto_generichash(digests[1], DIGEST, (const unsigned char *)second.bytes, second.length, NULL, 0);
        first = (struct text){(const char *)digests[0], DIGEST};
        second = (struct text){(const char *)digests[1], DIGEST};
    }
    room[0] = (unsigned char)kind;
    if (first.length > 0)
        memcpy(room + 1, first.bytes, first.length);
    room[1 + first.length] = 0;
    if (second.length > 0)
        memcpy(room + 2 + first.length, second.bytes, second.length);
    crypto_shorthash(hash, room, 2 + first.length + second.length, HASH_KEY);
    memcpy(&number, hash, sizeof number);
    return le64toh(number);
}

#define DEALER_BITS UINT64_C(0xffffffff00000000)

uint64_t packed_hash(enum packed_key kind, struct text first, struct text second)
{
    if (kind == KEY_DEALER)
        return hash_parts(KEY_DEALER, first, TEXT("")) & DEALER_BITS;
    if (kind == KEY_CLAIM)
        return (hash_parts(KEY_DEALER, first, TEXT("")) & DEALER_BITS) |
               (hash_parts(KEY_CLAIM, first, second) & ~DEALER_BITS);
    return hash_parts(kind, first, second);
}

/* The 16,383 days from 1 January 2015 on, to November 2059, are noted as 1 and so on; others as 0. */
enum { DAY_BEFORE_NOTED = 16435, NOTED_DAYS = 0x3fff };

uint32_t packed_note(int32_t completed_on, bool has_findings, bool is_first)
{
    bool noted = completed_on > DAY_BEFORE_NOTED && completed_on <= DAY_BEFORE_NOTED + NOTED_DAYS;

    return (noted ? (uint32_t)(completed_on - DAY_BEFORE_NOTED) : 0) | (has_findings ? PACKED_NOTE_FINDINGS : 0) |
           (is_first ? PACKED_NOTE_FIRST : 0);
}

bool packed_note_is_after(uint32_t note, int32_t day)
{
    int32_t days = (int32_t)(note & NOTED_DAYS);

    return days != 0 && DAY_BEFORE_NOTED + days > day;
}

void packed_rows_of(const struct claim *claim, uint32_t row, uint32_t note,
                    struct packed_entry ret_entries[PACKED_ROWS_OF_CLAIM])
{
    struct text dealer = claim->cells[COLUMN_DEALER];
    const uint64_t hashes[PACKED_ROWS_OF_CLAIM] = {
        packed_hash(KEY_CLAIM, dealer, claim->cells[COLUMN_CLAIM]),
        packed_hash(KEY_VEHICLE, claim->vin, TEXT("")),
        packed_hash(KEY_REPAIR_ORDER, dealer, claim->cells[COLUMN_REPAIR_ORDER])};


    for (int i = 0; i < PACKED_ROWS_OF_CLAIM; i++)
        ret_entries[i] = (struct packed_entry){.hash = hashes[i], .number = row, .note = note};
}

static int64_t plus(int64_t a, int64_t b)
{
    int64_t sum;
    return !__builtin_add_overflow(a, b, &sum) ? sum : a < 0 ? INT64_MIN : INT64_MAX;
}

int packed_tallies_of(const struct claim *claim, int sign, packed_take *take, void *taker)
{
    struct text dealer = claim->cells[COLUMN_DEALER], technician = claim->cells[COLUMN_TECHNICIAN];
    struct packed_entry entry = {.number = packed_day(claim->completed_on)};
    int status = WM_OK;

    if (claim->completed_on == DAY_NONE)
        return WM_OK;
    for (uint32_t i = 0; i < claim->labor_count; i++)
        entry.amount = plus(entry.amount, claim->labor[i].hours);
    if (technician.length > 0 && entry.amount != 0) {
        entry.hash = packed_hash(KEY_TECHNICIAN, dealer, technician);
        entry.amount *= sign;
        status = take(taker, &entry);
    }
    for (uint32_t i = 0; status == WM_OK && i < claim->part_count; i++) {
        entry.hash = packed_hash(KEY_PART, dealer, claim->parts[i].key);
        entry.amount = sign * claim->parts[i].quantity;
        status = take(taker, &entry);
    }
    return status;
}

static uint64_t get_hash(const char *bytes)
{
    uint64_t hash;

    memcpy(&hash, bytes, sizeof hash);
    return le64toh(hash);
}

/* Of an entry in memory. */
static uint64_t get_entry_hash(const void *entry)
{
    uint64_t hash;

    memcpy(&hash, entry, sizeof hash);
    return hash;
}

static struct packed_entry unpack(enum packed_table table, const char *bytes)
{
    uint32_t number;
    uint64_t amount;
    struct packed_entry entry = {.hash = get_hash(bytes)};

    memcpy(&number, bytes + HASH_BYTES, sizeof number);
    entry.number = le32toh(number);
    if (table == PACKED_ROWS) {
        uint16_t note;
        memcpy(&note, bytes + HASH_BYTES + NUMBER_BYTES, sizeof note);
        entry.note = le16toh(note);
    } else {
        memcpy(&amount, bytes + HASH_BYTES + NUMBER_BYTES, sizeof amount);
        entry.amount = (int64_t)le64toh(amount);
    }
    return entry;
}

static void pack(enum packed_table table, const struct packed_entry *entry, struct buffer *out)
{
    size_t size = packed_size(table);
    char *room = buffer_room(out, size);
    uint64_t hash = htole64(entry->hash), amount = htole64((uint64_t)entry->amount);
    uint32_t number = htole32(entry->number);
    uint16_t note = htole16((uint16_t)entry->note);

    if (room == NULL)
        return;
    memcpy(room, &hash, sizeof hash);
    memcpy(room + HASH_BYTES, &number, sizeof number);
    if (table == PACKED_ROWS)
        memcpy(room + HASH_BYTES + NUMBER_BYTES, &note, sizeof note);
    else
        memcpy(room + HASH_BYTES + NUMBER_BYTES, &amount, sizeof amount);
    out->length += size;
}

/* --- Buckets as they are stored ------------------------------------------------------------------------ */

enum { LONGEST_STORED = 10 + 5 + 10 }; /* bytes of an entry: hash, number, amount */

/* Seven bits a byte, the lowest first; the top bit says that more follow. Returns the end. */
static char *put_number(char *to, uint64_t number)
{
    for (; number >= 0x80; number >>= 7)
        *to++ = (char)(number | 0x80);
    *to++ = (char)number;
    return to;
}

static bool take_number(struct text *rest, uint64_t *ret_number)
{
    uint64_t number = 0;

    for (unsigned shift = 0; rest->length > 0 && shift < 64; shift += 7) {
        uint64_t byte = (unsigned char)*rest->bytes;
        *rest = (struct text){rest->bytes + 1, rest->length - 1};
        number |= (byte & 0x7f) << shift;
        if (byte < 0x80) {
            *ret_number = number;
            return true;
        }
    }
    return false;
}

/* Below zero and above take turns, so that small amounts are short. */
static uint64_t folded(int64_t amount)
{
    return (uint64_t)amount << 1 ^ (uint64_t)(amount >> 63);
}

static int64_t unfolded(uint64_t number)
{
    return (int64_t)(number >> 1 ^ -(number & 1));
}

/* The stored form of a bucket's entries; of tallies into `room`. */
static struct text store_form(enum packed_table table, struct text entries, struct buffer *room)
{
    size_t size = packed_size(table);
    struct packed_entry before = {0};

    if (table == PACKED_ROWS)
        return entries;
    buffer_clear(room);
    char *begin = buffer_room(room, entries.length / size * LONGEST_STORED + 1), *to = begin;
    for (size_t at = 0; begin != NULL && at < entries.length; at += size) {
        struct packed_entry entry = unpack(table, entries.bytes + at);
        to = put_number(to, entry.hash - before.hash);
        to = put_number(to, entry.hash == before.hash ? entry.number - before.number : entry.number);
        to = put_number(to, folded(entry.amount));
        before = entry;
    }
    room->length += (size_t)(to - begin);
    return buffer_text(room);
}

/* The entries of a stored bucket; of tallies in `room`. false: it is none, or there is no memory
 * (room->failed). */
static bool entries_of(enum packed_table table, struct text stored, struct buffer *room,
                       struct text *ret_entries)
{
    struct packed_entry entry = {0};
    uint64_t hash, number, amount;

    if (table == PACKED_ROWS) {
        *ret_entries = stored;
        return stored.length % packed_size(table) == 0;
    }
    buffer_clear(room);
    while (stored.length > 0) {
        if (!take_number(&stored, &hash) || !take_number(&stored, &number) || !take_number(&stored, &amount))
            return false;
        entry.number = (uint32_t)(hash == 0 ? entry.number + number : number);
        entry.hash += hash;
        entry.amount = unfolded(amount);
        pack(table, &entry, room);
    }
    *ret_entries = buffer_text(room);
    return !room->failed;
}

/* Why entries_of failed. */
static int report_entries(struct office *office, const struct buffer *room)
{
    return office_report(office, room->failed ? SQLITE_NOMEM : SQLITE_CORRUPT);
}

static int compare(const struct packed_entry *a, const struct packed_entry *b)
{
    if (a->hash != b->hash)
        return a->hash < b->hash ? -1 : 1;
    return a->number < b->number ? -1 : a->number > b->number;
}

/* --- Lists ------------------------------------------------------------------------------------------- */

void packed_list_open(struct packed_list *list, enum packed_table table)
{
    memset(list, 0, sizeof *list);
    list->table = table;
    list->loose.element_size = packed_list_entry_bytes(table);
}

void packed_list_free(struct packed_list *list)
{
    for (int i = 0; i < PACKED_PARTS; i++)
        free(list->parts[i].entries);
    chunks_free(&list->loose);
    packed_list_open(list, list->table);
}

int packed_list_add(struct packed_list *list, const struct packed_entry *entry)
{
    struct packed_part *part = &list->parts[entry->hash >> 56];
    size_t size = packed_list_entry_bytes(list->table);

    if (part->count == part->capacity) {
        uint32_t capacity = part->capacity ? part->capacity + part->capacity / 2 : 64;
        char *grown = realloc(part->entries, capacity * size);
        if (grown == NULL)
            return WM_NO_MEMORY;
        part->entries = grown;
        part->capacity = capacity;
    }
    memcpy(part->entries + part->count++ * size, entry, size);
    list->count++;
    return WM_OK;
}

int packed_list_append(struct packed_list *list, struct text entries)
{
    uint32_t count = (uint32_t)(entries.length / list->loose.element_size);

    if (!chunks_append(&list->loose, entries.bytes, count))
        return WM_NO_MEMORY;
    list->count += count;
    return WM_OK;
}

static struct packed_entry entry_at(const struct packed_list *list, const struct packed_part *part, uint32_t at)
{
    struct packed_entry entry = {0};

    memcpy(&entry, part->entries + at * packed_list_entry_bytes(list->table),
           packed_list_entry_bytes(list->table));
    return entry;
}

/* Both sizes of entries are sorted by the same text, compiled for each. */
struct row_entry {
    uint64_t hash;
    uint32_t number, note;
};

#define SORTING(name, type)                                                                                    \
    /* Stable, by eight bits of the hash from `shift` on; below 0, of the number. */                           \
    static inline uint32_t name##_byte(const type *entry, int shift)                                           \
    {                                                                                                          \
        return (shift < 0 ? entry->number >> (-shift - 1) : (uint32_t)(entry->hash >> shift)) & 255;           \
    }                                                                                                          \
                                                                                                               \
    static void name##_by_byte(const type *from, type *to, uint32_t count, int shift)                          \
    {                                                                                                          \
        uint32_t places[256] = {0}, at = 0;                                                                    \
                                                                                                               \
        for (uint32_t i = 0; i < count; i++)                                                                   \
            places[name##_byte(&from[i], shift)]++;                                                            \
        for (int i = 0; i < 256; i++) {                                                                        \
            uint32_t here = places[i];                                                                         \
            places[i] = at;                                                                                    \
            at += here;                                                                                        \
        }                                                                                                      \
        for (uint32_t i = 0; i < count; i++)                                                                   \
            to[places[name##_byte(&from[i], shift)]++] = from[i];                                              \
    }                                                                                                          \
                                                                                                               \
    static int name##_compare(const void *a, const void *b)                                                    \
    {                                                                                                          \
        const type *x = a, *y = b;                                                                             \
                                                                                                               \
        if (x->hash != y->hash)                                                                                \
            return x->hash < y->hash ? -1 : 1;                                                                 \
        return x->number < y->number ? -1 : x->number > y->number;                                             \
    }                                                                                                          \
                                                                                                               \
    /* Two bytes of the number, where numbers do not come in order, and two of the hash. What that has not put \
     * in order is nearly so, or it is not of a usual kind. */                                                 \
    static void name##_sort(type *entries, type *scratch, uint32_t count, int first, int second)               \
    {                                                                                                          \
        uint32_t disorder = 0;                                                                                 \
                                                                                                               \
        name##_by_byte(entries, scratch, count, first);                                                        \
        name##_by_byte(scratch, entries, count, second);                                                       \
        name##_by_byte(entries, scratch, count, 40);                                                           \
        name##_by_byte(scratch, entries, count, 48);                                                           \
        for (uint32_t i = 1; i < count; i++)                                                                   \
            disorder += name##_compare(&entries[i - 1], &entries[i]) > 0;                                      \
        if (disorder > count / 16) {                                                                           \
            qsort(entries, count, sizeof *entries, name##_compare);                                            \
            return;                                                                                            \
        }                                                                                                      \
        for (uint32_t i = 1; disorder > 0 && i < count; i++) {                                                 \
            type entry = entries[i];                                                                           \
            uint32_t at = i;                                                                                   \
            for (; at > 0 && name##_compare(&entries[at - 1], &entry) > 0; at--)                               \
                entries[at] = entries[at - 1];                                                                 \
            entries[at] = entry;                                                                               \
        }                                                                                                      \
    }

SORTING(rows, struct row_entry)
SORTING(tallies, struct packed_entry)

static void sort_part(const struct packed_list *list, struct packed_part *part, void *scratch)
{
    if (list->table == PACKED_ROWS)
        rows_sort((struct row_entry *)(void *)part->entries, scratch, part->count, 16, 24);
    else
        tallies_sort((struct packed_entry *)(void *)part->entries, scratch, part->count, -1, -9);
}

/* Equal entries become one. */
static void add_up(struct packed_list *list, struct packed_part *part)
{
    size_t size = packed_list_entry_bytes(list->table);
    uint32_t kept = 0;

    for (uint32_t i = 0; i < part->count;) {
        struct packed_entry entry = entry_at(list, part, i++);
        while (i < part->count) {
            struct packed_entry next = entry_at(list, part, i);
            if (compare(&entry, &next) != 0)
                break;
            entry.amount = plus(entry.amount, next.amount);
            i++;
        }
        if (list->table != PACKED_ROWS && entry.amount == 0)
            continue;
        memcpy(part->entries + kept++ * size, &entry, size);
    }
    part->count = kept;
}

struct settling {
    struct packed_list *list;
    int first, step; /* which parts */
    int status;
    pthread_t thread;
};

/* The part that this loose entry belongs to. */
static unsigned part_of_loose(const struct packed_list *list, uint32_t at)
{
    return (unsigned)(get_entry_hash(chunks_at(&list->loose, at)) >> 56);
}

/* Puts the loose entries of these parts where they belong. */
static int sort_in(struct packed_list *list, int first, int step)
{
    size_t size = packed_list_entry_bytes(list->table);
    uint32_t more[PACKED_PARTS] = {0};

    for (uint32_t i = 0; i < list->loose.count; i++)
        more[part_of_loose(list, i)]++;
    for (int i = first; i < PACKED_PARTS; i += step) {
        struct packed_part *part = &list->parts[i];
        if (more[i] == 0)
            continue;
        char *grown = realloc(part->entries, ((size_t)part->count + more[i]) * size);
        if (grown == NULL)
            return WM_NO_MEMORY;
        part->entries = grown;
        part->capacity = part->count + more[i];
    }
    for (uint32_t i = 0; i < list->loose.count; i++) {
        unsigned number = part_of_loose(list, i);
        struct packed_part *part = &list->parts[number];
        if (((int)number - first) % step == 0)
            memcpy(part->entries + part->count++ * size, chunks_at(&list->loose, i), size);
    }
    return WM_OK;
}

static void *settle_parts(void *context)
{
    struct settling *settling = context;
    void *scratch = NULL;
    uint32_t room = 0;
    size_t size = packed_list_entry_bytes(settling->list->table);

    settling->status = sort_in(settling->list, settling->first, settling->step);
    if (settling->status != WM_OK)
        return NULL;

    for (int i = settling->first; i < PACKED_PARTS; i += settling->step) {
        struct packed_part *part = &settling->list->parts[i];
        if (part->count > room || scratch == NULL) {
            free(scratch);
            room = part->count + part->count / 4 + 1;
            scratch = malloc(room * size);
            if (scratch == NULL) {
                settling->status = WM_NO_MEMORY;
                return NULL;
            }
        }
        if (part->count == 0)
            continue;
        sort_part(settling->list, part, scratch);
        add_up(settling->list, part);
    }
    free(scratch);
    return NULL;
}

int packed_list_settle(struct packed_list *list, unsigned threads)
{
    struct settling settling[LIMIT_THREADS];
    unsigned count = list->count < 10000 ? 1 : threads > LIMIT_THREADS ? LIMIT_THREADS : threads, started = 1;
    int status = WM_OK;

    for (unsigned i = 0; i < count; i++)
        settling[i] = (struct settling){.list = list, .first = (int)i, .step = (int)count};
    while (started < count &&
           pthread_create(&settling[started].thread, NULL, settle_parts, &settling[started]) == 0)
        started++;
    settle_parts(&settling[0]);
    for (unsigned i = 1; i < count; i++) {
        if (i < started)
            pthread_join(settling[i].thread, NULL);
        else
            settle_parts(&settling[i]); /* a thread that cannot be had is done without */
    }
    chunks_free(&list->loose);
    list->count = 0;
    for (unsigned i = 0; i < count; i++)
        status = settling[i].status != WM_OK ? settling[i].status : status;
    for (int i = 0; i < PACKED_PARTS; i++)
        list->count += list->parts[i].count;
    return status;
}

/* --- Sizes ------------------------------------------------------------------------------------------- */

struct packed_size {
    unsigned bits;
    uint64_t entries;
};

static int read_size(struct office *office, enum packed_level level, enum packed_table table,
                     struct packed_size *ret_size)
{
    struct packed_size size = {0, 0};
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(office, "SELECT bits, entries FROM bucket_sizes WHERE name = ?1", &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_text(statement, 1, TABLES[level][table], -1, SQLITE_STATIC);
    status = office_step(office, statement, &found);
    if (status == WM_OK && found) {
        int64_t bits = sqlite3_column_int64(statement, 0), entries = sqlite3_column_int64(statement, 1);
        if (bits < 0 || bits > MOST_BITS || entries < 0)
            status = office_report(office, SQLITE_CORRUPT);
        size = (struct packed_size){(unsigned)bits, (uint64_t)entries};
    }
    sqlite3_finalize(statement);
    if (status == WM_OK)
        *ret_size = size;
    return status;
}

static int write_size(struct office *office, enum packed_level level, enum packed_table table,
                      const struct packed_size *size)
{
    sqlite3_stmt *statement = NULL;
    int status = office_prepare(
        office, "INSERT OR REPLACE INTO bucket_sizes (name, bits, entries) VALUES (?1, ?2, ?3)", &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_text(statement, 1, TABLES[level][table], -1, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 2, size->bits);
    sqlite3_bind_int64(statement, 3, (int64_t)size->entries);
    status = office_execute(office, statement);
    sqlite3_finalize(statement);
    return status;
}

/* The bits for so many entries: buckets at most full, and half full when they were made. */
static unsigned bits_for(enum packed_table table, uint64_t entries, unsigned bits)
{
    uint64_t full = FULL_BYTES / packed_size(table);

    if (entries <= full << bits)
        return bits;
    while (bits < MOST_BITS && entries > (full / 2) << bits)
        bits++;
    return bits;
}

static uint32_t bucket_of(uint64_t hash, unsigned bits)
{
    return bits == 0 ? 0 : (uint32_t)(hash >> (64 - bits));
}

/* SQL on the table of the kind and level, which stands between both pieces. */
static int prepare(struct office *office, enum packed_level level, enum packed_table table, const char *before,
                   const char *behind, sqlite3_stmt **ret_statement)
{
    char sql[160];

    snprintf(sql, sizeof sql, "%s %s %s", before, TABLES[level][table], behind);
    return office_prepare(office, sql, ret_statement);
}

/* --- Writing ----------------------------------------------------------------------------------------- */

/* Where one is in a list. */
struct cursor {
    const struct packed_list *list;
    int part;
    uint32_t at;
};

static bool cursor_entry(struct cursor *cursor, struct packed_entry *ret_entry)
{
    while (cursor->part < PACKED_PARTS && cursor->at >= cursor->list->parts[cursor->part].count) {
        cursor->part++;
        cursor->at = 0;
    }
    if (cursor->part == PACKED_PARTS)
        return false;
    *ret_entry = entry_at(cursor->list, &cursor->list->parts[cursor->part], cursor->at);
    return true;
}

struct packed_writing {
    struct office *office;
    enum packed_level level;
    enum packed_table table;
    struct cursor cursor;
    unsigned bits;
    sqlite3_stmt *select, *put, *take_away;
    struct buffer bucket; /* as it will be */
    struct buffer stored; /* the same in its stored form; or what is there */
    uint32_t number;      /* of the bucket */
    uint64_t added;       /* entries more than before */
};

static int put_bucket(struct packed_writing *writing)
{
    sqlite3_stmt *statement = writing->bucket.length > 0 ? writing->put : writing->take_away;

    struct text stored = store_form(writing->table, buffer_text(&writing->bucket), &writing->stored);
    if (writing->bucket.failed || writing->stored.failed)
        return office_report(writing->office, SQLITE_NOMEM);
    sqlite3_bind_int64(statement, 1, ((int64_t)1 << writing->bits) + writing->number);
    if (statement == writing->put)
        sqlite3_bind_blob64(statement, 2, stored.bytes, stored.length, SQLITE_STATIC);
    return office_execute(writing->office, statement);
}

static void put_entry(struct packed_writing *writing, const struct packed_entry *entry)
{
    if (writing->table != PACKED_ROWS && entry->amount == 0)
        return;
    pack(writing->table, entry, &writing->bucket);
    writing->added++;
}

/* Merges the entries of the list that belong into the bucket with those that are there. */
static int merge_bucket(struct packed_writing *writing, struct text stored)
{
    size_t size = packed_size(writing->table);
    struct packed_entry is = {0}, comes = {0};
    struct text there;
    bool more;

    if (!entries_of(writing->table, stored, &writing->stored, &there))
        return report_entries(writing->office, &writing->stored);
    writing->added -= there.length / size;
    more = cursor_entry(&writing->cursor, &comes) && bucket_of(comes.hash, writing->bits) == writing->number;
    while (more || there.length > 0) {
        if (there.length > 0)
            is = unpack(writing->table, there.bytes);
        int order = there.length == 0 ? 1 : !more ? -1 : compare(&is, &comes);
        struct packed_entry entry = order <= 0 ? is : comes;
        if (order == 0)
            entry.amount = plus(is.amount, comes.amount);
        put_entry(writing, &entry);
        if (order <= 0)
            there = (struct text){there.bytes + size, there.length - size};
        if (order >= 0) {
            writing->cursor.at++;
            more = cursor_entry(&writing->cursor, &comes) &&
                   bucket_of(comes.hash, writing->bits) == writing->number;
        }
    }
    return WM_OK;
}

/* Buckets stay as many as they are: those that something comes into are written anew. */
static int write_into(struct packed_writing *writing)
{
    struct packed_entry next;
    int status = WM_OK;

    while (status == WM_OK && cursor_entry(&writing->cursor, &next)) {
        bool found = false;
        writing->number = bucket_of(next.hash, writing->bits);
        buffer_clear(&writing->bucket);
        sqlite3_bind_int64(writing->select, 1, ((int64_t)1 << writing->bits) + writing->number);
        status = office_step(writing->office, writing->select, &found);
        if (status == WM_OK)
            status = merge_bucket(writing, found ? column_blob(writing->select, 0) : TEXT(""));
        sqlite3_reset(writing->select);
        if (status == WM_OK)
            status = put_bucket(writing);
    }
    return status;
}

/* The entries of a table, in their order. */
struct table_cursor {
    struct office *office;
    enum packed_table table;
    sqlite3_stmt *statement;
    struct buffer bucket; /* a copy: the table may be written meanwhile */
    struct buffer room;
    size_t at;
    uint64_t read;
};

/* Buckets below this one. */
static int table_cursor_open(struct table_cursor *cursor, struct office *office, enum packed_level level,
                             enum packed_table table, int64_t end)
{
    *cursor = (struct table_cursor){.office = office, .table = table};
    int status =
        prepare(office, level, table, "SELECT entries FROM", "WHERE bucket < ?1 ORDER BY bucket", &cursor->statement);
    if (status == WM_OK)
        sqlite3_bind_int64(cursor->statement, 1, end);
    return status;
}

static void table_cursor_close(struct table_cursor *cursor)
{
    sqlite3_finalize(cursor->statement);
    buffer_free(&cursor->bucket);
    buffer_free(&cursor->room);
}

/* The next entry; *ret_more false at the end. */
static int table_cursor_next(struct table_cursor *cursor, struct packed_entry *ret_entry, bool *ret_more)
{
    size_t size = packed_size(cursor->table);
    int status = WM_OK;

    *ret_more = true;
    while (status == WM_OK && *ret_more && cursor->at + size > cursor->bucket.length) {
        status = office_step(cursor->office, cursor->statement, ret_more);
        buffer_clear(&cursor->bucket);
        cursor->at = 0;
        struct text entries = TEXT("");
        if (status == WM_OK && *ret_more &&
            !entries_of(cursor->table, column_blob(cursor->statement, 0), &cursor->room, &entries))
            return report_entries(cursor->office, &cursor->room);
        buffer_add_text(&cursor->bucket, entries);
        if (cursor->bucket.failed)
            return office_report(cursor->office, SQLITE_NOMEM);
    }
    if (status != WM_OK || !*ret_more)
        return status;
    *ret_entry = unpack(cursor->table, cursor->bucket.bytes + cursor->at);
    cursor->at += size;
    cursor->read++;
    return WM_OK;
}

static int delete_below(struct office *office, enum packed_level level, enum packed_table table, int64_t end)
{
    sqlite3_stmt *statement = NULL;
    int status = prepare(office, level, table, "DELETE FROM", "WHERE bucket < ?1", &statement);

    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, end);
    status = office_execute(office, statement);
    sqlite3_finalize(statement);
    return status;
}

/* An entry goes into its bucket; the bucket before is done. */
static int put_in_order(struct packed_writing *writing, const struct packed_entry *entry)
{
    uint32_t number = bucket_of(entry->hash, writing->bits);
    int status = WM_OK;

    if (number != writing->number) {
        if (writing->number != UINT32_MAX)
            status = put_bucket(writing);
        buffer_clear(&writing->bucket);
        writing->number = number;
    }
    put_entry(writing, entry);
    return status;
}

static int merge_all(struct packed_writing *writing, struct table_cursor *old)
{
    struct packed_entry is = {0}, comes = {0};
    bool has, more = cursor_entry(&writing->cursor, &comes);
    int status = table_cursor_next(old, &is, &has);

    writing->number = UINT32_MAX;
    while (status == WM_OK && (has || more)) {
        int order = !has ? 1 : !more ? -1 : compare(&is, &comes);
        struct packed_entry entry = order <= 0 ? is : comes;
        if (order == 0)
            entry.amount = plus(is.amount, comes.amount);
        status = put_in_order(writing, &entry);
        if (order >= 0) {
            writing->cursor.at++;
            more = cursor_entry(&writing->cursor, &comes);
        }
        if (status == WM_OK && order <= 0)
            status = table_cursor_next(old, &is, &has);
    }
    if (status == WM_OK && writing->number != UINT32_MAX)
        status = put_bucket(writing);
    writing->added -= old->read;
    return status;
}

/* More buckets than before: all are made anew, behind the old ones, whose order is that of the new ones. */
static int write_anew(struct packed_writing *writing)
{
    int64_t end = (int64_t)1 << writing->bits;
    struct table_cursor old;
    int status = table_cursor_open(&old, writing->office, writing->level, writing->table, end);

    if (status == WM_OK)
        status = merge_all(writing, &old);
    table_cursor_close(&old);
    return status == WM_OK ? delete_below(writing->office, writing->level, writing->table, end) : status;
}

/* Adds the list to the buckets of a level, which are of this size before. */
static int write_level(struct office *office, enum packed_level level, const struct packed_list *list,
                       struct packed_size size)
{
    struct packed_writing writing = {
        .office = office, .level = level, .table = list->table, .cursor = {.list = list}};
    int status =
        prepare(office, level, list->table, "SELECT entries FROM", "WHERE bucket = ?1", &writing.select);

    if (status == WM_OK)
        status = prepare(office, level, list->table, "INSERT OR REPLACE INTO", "(bucket, entries) VALUES (?1, ?2)",
                         &writing.put);
    if (status == WM_OK)
        status = prepare(office, level, list->table, "DELETE FROM", "WHERE bucket = ?1", &writing.take_away);
    if (status == WM_OK) {
        writing.bits = bits_for(list->table, size.entries + list->count, size.bits);
        status = writing.bits == size.bits ? write_into(&writing) : write_anew(&writing);
        size.bits = writing.bits;
        size.entries += writing.added;
    }
    if (status == WM_OK)
        status = write_size(office, level, list->table, &size);
    sqlite3_finalize(writing.select);
    sqlite3_finalize(writing.put);
    sqlite3_finalize(writing.take_away);
    buffer_free(&writing.bucket);
    buffer_free(&writing.stored);
    return status;
}

static int add_recent(struct office *office, struct packed_list *list)
{
    struct table_cursor recent;
    struct packed_entry entry;
    bool more = false;
    int status = table_cursor_open(&recent, office, PACKED_RECENT, list->table, INT64_MAX);

    if (status == WM_OK)
        status = table_cursor_next(&recent, &entry, &more);
    while (status == WM_OK && more) {
        status = packed_list_add(list, &entry);
        if (status == WM_OK)
            status = table_cursor_next(&recent, &entry, &more);
    }
    table_cursor_close(&recent);
    return status;
}

static int add_list(struct packed_list *to, const struct packed_list *from)
{
    struct cursor cursor = {.list = from};
    struct packed_entry entry;
    int status = WM_OK;

    for (; status == WM_OK && cursor_entry(&cursor, &entry); cursor.at++)
        status = packed_list_add(to, &entry);
    return status;
}

/* Both the list and what is recent go where the others are, and nothing is recent then. */
static int settle_recent(struct office *office, const struct packed_list *list, struct packed_size settled)
{
    const struct packed_size none = {0, 0};
    struct packed_list all;

    packed_list_open(&all, list->table);
    int status = add_recent(office, &all);
    if (status == WM_OK)
        status = add_list(&all, list);
    if (status == WM_OK)
        status = packed_list_settle(&all, 1);
    if (status == WM_OK)
        status = write_level(office, PACKED_SETTLED, &all, settled);
    packed_list_free(&all);
    if (status == WM_OK)
        status = delete_below(office, PACKED_RECENT, list->table, INT64_MAX);
    return status == WM_OK ? write_size(office, PACKED_RECENT, list->table, &none) : status;
}

int packed_write(struct office *office, const struct packed_list *list)
{
    struct packed_size sizes[PACKED_LEVELS];
    int status = WM_OK;

    if (list->count == 0)
        return WM_OK;
    for (int level = 0; status == WM_OK && level < PACKED_LEVELS; level++)
        status = read_size(office, level, list->table, &sizes[level]);
    if (status != WM_OK)
        return status;
    if ((sizes[PACKED_RECENT].entries + list->count) * RECENT_SHARE <= sizes[PACKED_SETTLED].entries)
        return write_level(office, PACKED_RECENT, list, sizes[PACKED_RECENT]);
    return sizes[PACKED_RECENT].entries == 0 ? write_level(office, PACKED_SETTLED, list, sizes[PACKED_SETTLED])
                                             : settle_recent(office, list, sizes[PACKED_SETTLED]);
}

/* --- Finding ----------------------------------------------------------------------------------------- */

struct bucket {
    char *entries; /* NULL: not read yet */
    uint32_t length;
};

struct level_reader {
    unsigned bits;
    sqlite3_stmt *select;
    struct bucket *buckets;
};

struct packed_reader {
    struct office *office;
    enum packed_table table;
    struct level_reader levels[PACKED_LEVELS];
    struct arena arena;
    struct buffer room;
};

static int open_level(struct packed_reader *reader, enum packed_level level)
{
    struct level_reader *opened = &reader->levels[level];
    struct packed_size size;
    int status = read_size(reader->office, level, reader->table, &size);

    if (status != WM_OK)
        return status;
    opened->bits = size.bits;
    opened->buckets = calloc((size_t)1 << size.bits, sizeof *opened->buckets);
    return opened->buckets != NULL ? prepare(reader->office, level, reader->table, "SELECT entries FROM",
                                             "WHERE bucket = ?1", &opened->select)
                                   : office_report(reader->office, SQLITE_NOMEM);
}

int packed_reader_open(struct office *office, enum packed_table table, struct packed_reader **ret_reader)
{
    struct packed_reader *reader = calloc(1, sizeof *reader);
    int status = reader != NULL ? WM_OK : office_report(office, SQLITE_NOMEM);

    if (status != WM_OK)
        return status;
    reader->office = office;
    reader->table = table;
    for (int level = 0; status == WM_OK && level < PACKED_LEVELS; level++)
        status = open_level(reader, level);
    if (status == WM_OK)
        *ret_reader = reader;
    else
        packed_reader_close(reader);
    return status;
}

void packed_reader_close(struct packed_reader *reader)
{
    if (reader == NULL)
        return;
    for (int level = 0; level < PACKED_LEVELS; level++) {
        sqlite3_finalize(reader->levels[level].select);
        free(reader->levels[level].buckets);
    }
    arena_free(&reader->arena);
    buffer_free(&reader->room);
    free(reader);
}

static int read_bucket(struct packed_reader *reader, const struct level_reader *level, uint32_t number)
{
    struct bucket *bucket = &level->buckets[number];
    bool found = false;

    sqlite3_bind_int64(level->select, 1, ((int64_t)1 << level->bits) + number);
    int status = office_step(reader->office, level->select, &found);
    if (status == WM_OK) {
        struct text entries = TEXT(""), copy;
        if (found && !entries_of(reader->table, column_blob(level->select, 0), &reader->room, &entries))
            status = report_entries(reader->office, &reader->room);
        else if ((copy = text_copy(&reader->arena, entries)).bytes == NULL)
            status = office_report(reader->office, SQLITE_NOMEM);
        else
            *bucket = (struct bucket){(char *)copy.bytes, (uint32_t)copy.length};
    }
    sqlite3_reset(level->select);
    return status;
}

/* The bucket where a hash belongs. */
static int bucket_for(struct packed_reader *reader, const struct level_reader *level, uint64_t hash,
                      const struct bucket **ret_bucket)
{
    uint32_t number = bucket_of(hash, level->bits);
    int status = level->buckets[number].entries == NULL ? read_bucket(reader, level, number) : WM_OK;

    *ret_bucket = &level->buckets[number];
    return status;
}

/* About where a hash stands among the entries of its bucket, as hashes are spread evenly. */
static uint32_t guess(unsigned bits, uint32_t count, uint64_t hash)
{
    uint64_t in_bucket = bits == 0 ? hash : hash << bits;

    return (uint32_t)((in_bucket >> 32) * count >> 32);
}

/* The first entry of the bucket that is not below the hash: from the guess on in growing steps, then by halves.
 */
static uint32_t lower_bound(enum packed_table table, unsigned bits, const struct bucket *bucket, uint64_t hash)
{
    size_t size = packed_size(table);
    uint32_t count = bucket->length / (uint32_t)size, at = guess(bits, count, hash), low = 0, high = count, step = 1;

    if (at < count && get_hash(bucket->entries + at * size) < hash) {
        for (low = at + 1; low + step <= count && get_hash(bucket->entries + (low + step - 1) * size) < hash;
             step *= 2)
            low += step;
        high = low + step < count ? low + step : count;
    } else {
        for (high = at; high >= step && get_hash(bucket->entries + (high - step) * size) >= hash; step *= 2)
            high -= step;
        low = high >= step ? high - step : 0;
    }
    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        if (get_hash(bucket->entries + middle * size) < hash)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

void packed_prefetch(const struct packed_reader *reader, uint64_t hash)
{
    size_t size = packed_size(reader->table);

    for (int i = 0; i < PACKED_LEVELS; i++) {
        const struct level_reader *level = &reader->levels[i];
        const struct bucket *bucket = &level->buckets[bucket_of(hash, level->bits)];
        if (bucket->entries != NULL)
            __builtin_prefetch(bucket->entries + guess(level->bits, bucket->length / (uint32_t)size, hash) * size);
    }
}

static int found_one(void *context, const struct packed_entry *entry)
{
    (void)entry;
    *(bool *)context = true;
    return WM_OK;
}

int packed_has(struct packed_reader *reader, uint64_t hash, bool *ret_has)
{
    bool has = false;
    int status = packed_find(reader, hash, found_one, &has);

    *ret_has = has;
    return status;
}

/* Entries that follow each other in a bucket. */
struct run {
    struct text rest;
    struct packed_entry entry; /* the first of the rest */
    bool more;                 /* there is one, and it is not above the last hash */
};

static void run_read(struct run *run, enum packed_table table, uint64_t last)
{
    run->more = run->rest.length >= packed_size(table);
    if (run->more)
        run->entry = unpack(table, run->rest.bytes);
    run->more = run->more && run->entry.hash <= last;
}

static void run_next(struct run *run, enum packed_table table, uint64_t last)
{
    size_t size = packed_size(table);

    run->rest = (struct text){run->rest.bytes + size, run->rest.length - size};
    run_read(run, table, last);
}

static int run_open(struct packed_reader *reader, const struct level_reader *level, uint64_t first, uint64_t last,
                    struct run *ret_run)
{
    const struct bucket *bucket;
    int status = bucket_for(reader, level, first, &bucket);

    if (status != WM_OK)
        return status;
    size_t at = lower_bound(reader->table, level->bits, bucket, first) * packed_size(reader->table);
    ret_run->rest = (struct text){bucket->entries + at, bucket->length - at};
    run_read(ret_run, reader->table, last);
    return WM_OK;
}

/* The entries of both levels from the first hash to the last, which are of one bucket in each; where both have one,
 * their sum. */
static int find_between(struct packed_reader *reader, uint64_t first, uint64_t last, packed_take *take,
                        void *taker)
{
    struct run settled, recent;
    int status = run_open(reader, &reader->levels[PACKED_SETTLED], first, last, &settled);

    if (status == WM_OK)
        status = run_open(reader, &reader->levels[PACKED_RECENT], first, last, &recent);
    while (status == WM_OK && (settled.more || recent.more)) {
        int order = !settled.more ? 1 : !recent.more ? -1 : compare(&settled.entry, &recent.entry);
        struct packed_entry entry = order <= 0 ? settled.entry : recent.entry;
        if (order == 0)
            entry.amount = plus(settled.entry.amount, recent.entry.amount);
        if (order <= 0)
            run_next(&settled, reader->table, last);
        if (order >= 0)
            run_next(&recent, reader->table, last);
        if (reader->table == PACKED_ROWS || entry.amount != 0)
            status = take(taker, &entry);
    }
    return status;
}

int packed_find(struct packed_reader *reader, uint64_t hash, packed_take *take, void *taker)
{
    return find_between(reader, hash, hash, take, taker);
}

int packed_find_dealer(struct packed_reader *reader, struct text dealer, packed_take *take, void *taker)
{
    uint64_t hash = packed_hash(KEY_DEALER, dealer, TEXT(""));

    return find_between(reader, hash, hash | ~DEALER_BITS, take, taker);
}

static int level_has_entry(struct packed_reader *reader, const struct level_reader *level,
                           const struct packed_entry *wanted, bool *ret_has)
{
    const struct bucket *bucket;
    size_t size = packed_size(reader->table);
    int status = bucket_for(reader, level, wanted->hash, &bucket);

    if (status != WM_OK)
        return status;
    uint32_t low = lower_bound(reader->table, level->bits, bucket, wanted->hash),
             count = bucket->length / (uint32_t)size, high = count;
    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        struct packed_entry entry = unpack(reader->table, bucket->entries + middle * size);
        if (compare(&entry, wanted) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    struct packed_entry found = {0};
    if (low < count)
        found = unpack(reader->table, bucket->entries + low * size);
    *ret_has = low < count && compare(&found, wanted) == 0 && found.note == wanted->note;
    return WM_OK;
}

int packed_has_entry(struct packed_reader *reader, const struct packed_entry *entry, bool *ret_has)
{
    bool has = false;
    int status = WM_OK;

    for (int level = 0; status == WM_OK && !has && level < PACKED_LEVELS; level++)
        status = level_has_entry(reader, &reader->levels[level], entry, &has);
    *ret_has = has;
    return status;
}

/* --- Checking ---------------------------------------------------------------------------------------- */

static const char *form_fault(enum packed_table table, unsigned bits, int64_t id, struct text entries,
                              struct packed_entry *last, bool *any)
{
    size_t size = packed_size(table);

    if (entries.length == 0)
        return "a bucket is cut";
    for (; entries.length > 0; entries = (struct text){entries.bytes + size, entries.length - size}) {
        struct packed_entry entry = unpack(table, entries.bytes);
        if (((int64_t)1 << bits) + bucket_of(entry.hash, bits) != id)
            return "an entry is in the wrong bucket";
        if (*any && compare(last, &entry) >= 0)
            return "entries are not in order";
        *last = entry;
        *any = true;
    }
    return NULL;
}

int packed_check_form(struct office *office, enum packed_table table, enum packed_level level,
                      uint64_t *ret_entries, const char **ret_fault)
{
    sqlite3_stmt *statement = NULL;
    struct packed_entry last = {0};
    struct packed_size size;
    struct buffer room = BUFFER_EMPTY, again = BUFFER_EMPTY;
    uint64_t count = 0;
    const char *fault = NULL;
    bool more = false, any = false;
    int status = read_size(office, level, table, &size);

    if (status == WM_OK)
        status = prepare(office, level, table, "SELECT bucket, entries FROM", "ORDER BY bucket", &statement);
    if (status == WM_OK)
        status = office_step(office, statement, &more);
    while (status == WM_OK && more && fault == NULL) {
        struct text stored = column_blob(statement, 1), entries = TEXT("");
        if (!entries_of(table, stored, &room, &entries) && !room.failed)
            fault = "a bucket is cut";
        else
            fault = form_fault(table, size.bits, sqlite3_column_int64(statement, 0), entries, &last, &any);
        if (fault == NULL && !text_equal(store_form(table, entries, &again), stored))
            fault = "a bucket is written in another way than this program does";
        if (room.failed || again.failed) {
            status = office_report(office, SQLITE_NOMEM);
            break;
        }
        count += entries.length / packed_size(table);
        status = office_step(office, statement, &more);
    }
    sqlite3_finalize(statement);
    buffer_free(&room);
    buffer_free(&again);
    if (status != WM_OK)
        return status;
    *ret_fault =
        fault == NULL && count != size.entries ? "there are not as many entries as bucket_sizes says" : fault;
    *ret_entries = count;
    return WM_OK;
}

/* The entries of both levels, in their order; where both have one, their sum. */
struct merged_cursor {
    struct table_cursor levels[PACKED_LEVELS];
    struct packed_entry next[PACKED_LEVELS];
    bool has[PACKED_LEVELS];
};

static int merged_advance(struct merged_cursor *cursor, int level)
{
    return table_cursor_next(&cursor->levels[level], &cursor->next[level], &cursor->has[level]);
}

static int merged_open(struct merged_cursor *cursor, struct office *office, enum packed_table table)
{
    int status = WM_OK;

    memset(cursor, 0, sizeof *cursor);
    for (int level = 0; status == WM_OK && level < PACKED_LEVELS; level++) {
        status = table_cursor_open(&cursor->levels[level], office, level, table, INT64_MAX);
        if (status == WM_OK)
            status = merged_advance(cursor, level);
    }
    return status;
}

static void merged_close(struct merged_cursor *cursor)
{
    for (int level = 0; level < PACKED_LEVELS; level++)
        table_cursor_close(&cursor->levels[level]);
}

static int merged_next(struct merged_cursor *cursor, enum packed_table table, struct packed_entry *ret_entry,
                       bool *ret_more)
{
    int status = WM_OK;

    while (status == WM_OK && (cursor->has[PACKED_SETTLED] || cursor->has[PACKED_RECENT])) {
        const struct packed_entry *settled = &cursor->next[PACKED_SETTLED], *recent = &cursor->next[PACKED_RECENT];
        int order = !cursor->has[PACKED_SETTLED]  ? 1
                    : !cursor->has[PACKED_RECENT] ? -1
                                                  : compare(settled, recent);
        struct packed_entry entry = order <= 0 ? *settled : *recent;
        if (order == 0)
            entry.amount = plus(settled->amount, recent->amount);
        if (order <= 0)
            status = merged_advance(cursor, PACKED_SETTLED);
        if (status == WM_OK && order >= 0)
            status = merged_advance(cursor, PACKED_RECENT);
        if (table != PACKED_ROWS && entry.amount == 0)
            continue;
        *ret_entry = entry;
        *ret_more = true;
        return status;
    }
    *ret_more = false;
    return status;
}

int packed_equals(struct office *office, const struct packed_list *list, bool *ret_equal)
{
    struct merged_cursor there;
    struct cursor should = {.list = list};
    struct packed_entry is, wanted;
    bool has = false, wants, equal = true;
    int status = merged_open(&there, office, list->table);

    if (status == WM_OK)
        status = merged_next(&there, list->table, &is, &has);
    wants = cursor_entry(&should, &wanted);
    while (status == WM_OK && equal && (has || wants)) {
        equal = has && wants && compare(&is, &wanted) == 0 && is.amount == wanted.amount && is.note == wanted.note;
        should.at++;
        wants = cursor_entry(&should, &wanted);
        status = merged_next(&there, list->table, &is, &has);
    }
    merged_close(&there);
    if (status == WM_OK)
        *ret_equal = equal;
    return status;
}
