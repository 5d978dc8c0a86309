/* packed.h - what is found by a key: rows of claims, and sums of what stands, packed into buckets of a table.
 *
 * An entry is the hash of a key, a number (a row, or a day), and for sums an amount. There are 2^bits buckets;
 * the top bits of the hash are the number of the bucket, and bucket 2^bits + number holds those entries, in the
 * order of (hash, number), each once. Of rows: hash (8 bytes), number (4), note (2), little-endian. Of sums, where many
 * follow each other under one hash: how much the hash is more than that of the entry before; the number, less
 * that of the entry before if the hash is the same; twice the amount, or if it is below 0, twice what it is
 * less than -1, plus 1; each in groups of seven bits, the lowest first, a byte each, with the top bit set where
 * more follow. So a million entries are a few thousand rows of a table, are written in one sweep, and a look-up
 * reads one of them. A bucket that is not there is empty. The tables are derived from the records.
 *
 * The hash is SipHash-2-4 (libsodium's crypto_shorthash) under a key that never changes; this is a file format.
 * Whoever finds an entry must look whether it is the one: hashes may be equal.
 */
#ifndef WM_LEDGER_PACKED_H
#define WM_LEDGER_PACKED_H

#include <stddef.h>

#include "base/chunks.h"
#include "base/text.h"
#include "intake/claim.h"
#include "ledger/office.h"

enum packed_table { PACKED_ROWS, PACKED_TALLIES, PACKED_TABLES };

/* Each table is there twice: what was settled, and what was recorded since, which is at most one in sixteen. So a night
 * is written among few, and the many are written anew once in many nights. A look-up looks into both. */
enum packed_level { PACKED_SETTLED, PACKED_RECENT, PACKED_LEVELS };

/* The table's name in the database. */
const char *packed_name(enum packed_table table, enum packed_level level);

/* What a key is made of: its kind and parts, joined by NUL; of more than 256 bytes the BLAKE2b-256 of both
 * parts. */
enum packed_key {
    KEY_CLAIM = 'c',  /* dealer, claim: rows */
    KEY_DEALER = 'd', /* dealer: the top half of the hash of each of its claims, so that these stand together */
    KEY_VEHICLE = 'v',      /* VIN: rows */
    KEY_REPAIR_ORDER = 'o', /* dealer, repair order: rows */
    KEY_TECHNICIAN = 't',   /* dealer, technician: millionths of hours by day */
    KEY_PART = 'p'          /* dealer, part as it compares: millionths of pieces by day */
};

uint64_t packed_hash(enum packed_key kind, struct text first, struct text second);

struct packed_entry {
    uint64_t hash;
    uint32_t number; /* a row; or a day, by packed_day */
    uint32_t note;   /* of a row: by packed_note; 0 for sums */
    int64_t amount;
};

/* Days as numbers in their order. */
static inline uint32_t packed_day(int32_t day)
{
    return (uint32_t)day ^ UINT32_C(0x80000000);
}

static inline int32_t packed_day_of(uint32_t number)
{
    return (int32_t)(number ^ UINT32_C(0x80000000));
}

/* What an entry notes of its row, in 16 bits, so that many rows of a dealer or vehicle need not be read to be left out:
 * the day of completion, whether it has findings, and whether it is the first of its claim that counts. */
#define PACKED_NOTE_FINDINGS UINT32_C(0x8000)
#define PACKED_NOTE_FIRST UINT32_C(0x4000)
uint32_t packed_note(int32_t completed_on, bool has_findings, bool is_first);

/* Whether the work was surely done after this day. false: it was not, or the note does not know. */
bool packed_note_is_after(uint32_t note, int32_t day);

enum { PACKED_ROWS_OF_CLAIM = 3 };

/* The entries that find a row of a claim. */
void packed_rows_of(const struct claim *claim, uint32_t row, uint32_t note,
                    struct packed_entry ret_entries[PACKED_ROWS_OF_CLAIM]);

/* What a standing claim counts (sign 1), or no longer does (-1): hours of its technician, quantities of its
 * parts, on the day of completion; without one nothing. Hands out each entry. */
typedef int packed_take(void *taker, const struct packed_entry *entry);
int packed_tallies_of(const struct claim *claim, int sign, packed_take *take, void *taker);

/* --- Collecting and writing -------------------------------------------------------------------------- */

enum { PACKED_PARTS = 256 };

/* Entries in memory, by the top eight bits of their hash. Owned by the list. */
struct packed_list {
    struct packed_part {
        char *entries; /* of packed_entry, without the amount where there is none */
        uint32_t count, capacity;
    } parts[PACKED_PARTS];
    struct chunks loose; /* not in their part yet, in the same form */
    enum packed_table table;
    uint64_t count;
};

/* The bytes of an entry in a list: those of struct packed_entry, without the amount where there is none. */
size_t packed_list_entry_bytes(enum packed_table table);

void packed_list_open(struct packed_list *list, enum packed_table table);
void packed_list_free(struct packed_list *list);
int packed_list_add(struct packed_list *list, const struct packed_entry *entry);

/* Adds entries that stand one after the other; costs little until the list is settled. */
int packed_list_append(struct packed_list *list, struct text entries);

/* Puts the list in order and adds equal entries up; those that add up to 0 go. threads: how many may work. */
int packed_list_settle(struct packed_list *list, unsigned threads);

/* Adds a settled list to the table: rows to rows, amounts to amounts. Inside a write. */
int packed_write(struct office *office, const struct packed_list *list);

/* --- Finding ----------------------------------------------------------------------------------------- */

struct packed_reader;

/* Reads buckets as they are asked for, and keeps them. Inside office_begin_read or a write; not for two threads
 * at once. */
int packed_reader_open(struct office *office, enum packed_table table, struct packed_reader **ret_reader);
void packed_reader_close(struct packed_reader *reader); /* accepts NULL */

/* Hands out the entries of this hash in the order of numbers. */
int packed_find(struct packed_reader *reader, uint64_t hash, packed_take *take, void *taker);

/* Hands out the rows of a dealer's claims, in no order. */
int packed_find_dealer(struct packed_reader *reader, struct text dealer, packed_take *take, void *taker);

/* Whether there is an entry of this hash. */
int packed_has(struct packed_reader *reader, uint64_t hash, bool *ret_has);

/* Whether there is this very entry of a row, its note included. */
int packed_has_entry(struct packed_reader *reader, const struct packed_entry *entry, bool *ret_has);

/* Says that this hash will be looked for soon. */
void packed_prefetch(const struct packed_reader *reader, uint64_t hash);

/* --- Checking ---------------------------------------------------------------------------------------- */

/* Reads the whole table of one level. *ret_fault: NULL, or what is wrong with its form, in words. */
int packed_check_form(struct office *office, enum packed_table table, enum packed_level level,
                      uint64_t *ret_entries, const char **ret_fault);

/* Whether both levels together are exactly this settled list. */
int packed_equals(struct office *office, const struct packed_list *list, bool *ret_equal);

#endif
