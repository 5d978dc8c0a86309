/* What finds rows and adds up what stands: random entries, written in several goes, against a plain list. */
#include "capture.h"

#include <sodium.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <unistd.h>

#include "base/date.h"
#include "base/status.h"
#include "ledger/packed.h"

enum { MOST = 60000 };

static uint64_t seed;

/* --- The plain list --- */

static struct packed_entry plain[MOST];
static size_t plain_count;

static void plain_add(const struct packed_entry *entry)
{
    for (size_t i = 0; i < plain_count; i++)
        if (plain[i].hash == entry->hash && plain[i].number == entry->number) {
            plain[i].amount += entry->amount;
            return;
        }
    assert_true(plain_count < MOST);
    plain[plain_count++] = *entry;
}

struct found {
    struct packed_entry entries[4096];
    size_t count;
};

static int keep(void *context, const struct packed_entry *entry)
{
    struct found *found = context;

    assert_true(found->count < sizeof found->entries / sizeof found->entries[0]);
    found->entries[found->count++] = *entry;
    return WM_OK;
}

/* The form of both levels is as it should be. */
static uint64_t entries_of_both(struct office *office, enum packed_table table)
{
    uint64_t sum = 0;

    for (int level = 0; level < PACKED_LEVELS; level++) {
        uint64_t entries;
        const char *fault;
        assert_int_equal(packed_check_form(office, table, level, &entries, &fault), WM_OK);
        assert_null(fault);
        sum += entries;
    }
    return sum;
}

/* The table is what the plain list is, and not what it would be with one more. */
static void equals_plain(struct office *office, enum packed_table table)
{
    for (int more = 0; more < 2; more++) {
        const struct packed_entry another = {.hash = 1, .number = 1, .amount = table == PACKED_ROWS ? 0 : 1};
        struct packed_list list;
        bool equal;
        packed_list_open(&list, table);
        for (size_t i = 0; i < plain_count; i++)
            assert_int_equal(packed_list_add(&list, &plain[i]), WM_OK);
        if (more)
            assert_int_equal(packed_list_add(&list, &another), WM_OK);
        assert_int_equal(packed_list_settle(&list, 1), WM_OK);
        assert_int_equal(packed_equals(office, &list, &equal), WM_OK);
        assert_int_equal(equal, !more);
        packed_list_free(&list);
    }
}

/* Every hash gives what the plain list has, in order; for sums without what adds up to 0. */
static void compare_all(struct office *office, enum packed_table table)
{
    struct packed_reader *reader;
    uint64_t entries = entries_of_both(office, table), standing = 0;

    assert_int_equal(packed_reader_open(office, table, &reader), WM_OK);
    for (size_t i = 0; i < plain_count; i++) {
        bool counts = table == PACKED_ROWS || plain[i].amount != 0;
        struct found found = {.count = 0};
        size_t hits = 0;
        standing += counts;
        assert_int_equal(packed_find(reader, plain[i].hash, keep, &found), WM_OK);
        for (size_t k = 0; k < found.count; k++) {
            assert_true(found.entries[k].hash == plain[i].hash);
            assert_true(k == 0 || found.entries[k - 1].number < found.entries[k].number);
            if (found.entries[k].number == plain[i].number) {
                hits++;
                assert_true(table == PACKED_ROWS || found.entries[k].amount == plain[i].amount);
                assert_int_equal(found.entries[k].note, plain[i].note);
            }
        }
        assert_int_equal(hits, counts);
    }
    /* what cancels out may still stand once in each level */
    assert_true(table == PACKED_ROWS ? entries == standing : entries >= standing);
    packed_reader_close(reader);
    equals_plain(office, table);
}

/* Few keys meet often; numbers of sums come in no order. */
static struct packed_entry random_entry(enum packed_table table, uint32_t row, unsigned keys)
{
    struct packed_entry entry = {.hash = (random_below(&seed, keys) + 1) * UINT64_C(0x9e3779b97f4a7c15)};

    entry.number = table == PACKED_ROWS ? row : packed_day((int32_t)random_below(&seed, 400) - 200);
    entry.amount = table == PACKED_ROWS ? 0 : (int64_t)random_below(&seed, 5) - 2;
    entry.note = table == PACKED_ROWS ? random_below(&seed, 65536) : 0;
    return entry;
}

static struct office *open_office(char *path, struct capture *captured)
{
    struct office *office = NULL;
    int descriptor = mkstemp(path);

    assert_true(descriptor >= 0);
    close(descriptor);
    unlink(path);
    capture_start(captured);
    assert_int_equal(office_open(path, OFFICE_WRITE, &captured->sink, &office), WM_OK);
    assert_int_equal(office_begin_write(office), WM_OK);
    return office;
}

static void write_in_goes(enum packed_table table, const unsigned *goes, size_t count, unsigned keys,
                          unsigned threads)
{
    struct capture captured;
    char path[] = "/tmp/witnessmark-packed-XXXXXX";
    struct office *office = open_office(path, &captured);
    uint32_t row = 0;

    plain_count = 0;
    for (size_t go = 0; go < count; go++) {
        struct packed_list list;
        packed_list_open(&list, table);
        for (unsigned i = 0; i < goes[go]; i++) {
            struct packed_entry entry = random_entry(table, ++row, keys);
            struct text bytes = {(const char *)&entry, packed_list_entry_bytes(table)};
            assert_int_equal(i % 3 == 0 ? packed_list_add(&list, &entry) : packed_list_append(&list, bytes),
                             WM_OK);
            plain_add(&entry);
        }
        assert_int_equal(packed_list_settle(&list, threads), WM_OK);
        assert_int_equal(packed_write(office, &list), WM_OK);
        packed_list_free(&list);
        compare_all(office, table);
    }
    assert_int_equal(captured.sink.errors, 0);
    office_close(office);
    unlink(path);
}

static void rows(void **state)
{
    static const unsigned GOES[] = {1, 0, 300, 2, 4000, 10, 12000, 1};
    (void)state;

    seed = random_seed("test_ledger_packed");
    write_in_goes(PACKED_ROWS, GOES, sizeof GOES / sizeof GOES[0], 5000, 1);
    write_in_goes(PACKED_ROWS, GOES + 4, 3, 60, 3); /* few keys with many rows each */
}

static void tallies(void **state)
{
    static const unsigned GOES[] = {5, 700, 3, 9000, 12000, 40};
    (void)state;

    seed = random_seed("test_ledger_packed");
    write_in_goes(PACKED_TALLIES, GOES, sizeof GOES / sizeof GOES[0], 3000, 2);
    write_in_goes(PACKED_TALLIES, GOES, sizeof GOES / sizeof GOES[0], 12, 1); /* many days of few keys */
}

/* What is taken out again is gone. */
static void nothing_is_left(void **state)
{
    struct capture captured;
    char path[] = "/tmp/witnessmark-packed-XXXXXX";
    struct office *office = open_office(path, &captured);
    (void)state;

    for (int sign = 1; sign >= -1; sign -= 2) {
        struct packed_list list;
        packed_list_open(&list, PACKED_TALLIES);
        for (uint32_t i = 0; i < 5000; i++) {
            struct packed_entry entry = {i * UINT64_C(0x9e3779b97f4a7c15), packed_day(7), 0,
                                         sign * (int64_t)(i + 1)};
            assert_int_equal(packed_list_add(&list, &entry), WM_OK);
        }
        assert_int_equal(packed_list_settle(&list, 1), WM_OK);
        assert_int_equal(packed_write(office, &list), WM_OK);
        packed_list_free(&list);
    }
    assert_int_equal(entries_of_both(office, PACKED_TALLIES), 0);
    office_close(office);
    unlink(path);
}

static void write_sums(struct office *office, uint64_t first_hash, unsigned count)
{
    struct packed_list list;

    packed_list_open(&list, PACKED_TALLIES);
    for (unsigned i = 0; i < count; i++) {
        const struct packed_entry entry = {first_hash + i, packed_day(7), 0, 1};
        assert_int_equal(packed_list_add(&list, &entry), WM_OK);
    }
    assert_int_equal(packed_list_settle(&list, 1), WM_OK);
    assert_int_equal(packed_write(office, &list), WM_OK);
    packed_list_free(&list);
}

/* A bucket of sums that was cut or written by something else is found out, among the settled and the recent ones. */
static void other_forms_are_found(void **state)
{
    static const struct {
        const char *entries, *fault;
    } CASES[] = {
        {"substr(entries, 1, length(entries) - 1)", "a bucket is cut"},
        {"CAST(entries || x'80' AS BLOB)", "a bucket is cut"},
        {"CAST(substr(entries, 1, length(entries) - 1) || x'8200' AS BLOB)",
         "a bucket is written in another way than this program does"},
        {"CAST(entries || x'000102' AS BLOB)", "there are not as many entries as bucket_sizes says"},
        {"CAST(entries || x'000002' AS BLOB)", "entries are not in order"},
    };
    (void)state;

    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0] * PACKED_LEVELS; i++) {
        struct capture captured;
        char path[] = "/tmp/witnessmark-packed-XXXXXX", sql[200];
        struct office *office = open_office(path, &captured);
        enum packed_level level = i % PACKED_LEVELS;
        const char *fault = NULL;
        uint64_t entries;
        if (level == PACKED_RECENT)
            write_sums(office, UINT64_C(0x7000000000000000), 40);
        write_sums(office, UINT64_C(0x0123456789abcdef), 1);
        snprintf(sql, sizeof sql, "UPDATE %s SET entries = %s", packed_name(PACKED_TALLIES, level),
                 CASES[i / PACKED_LEVELS].entries);
        assert_int_equal(office_run(office, sql), WM_OK);
        assert_int_equal(packed_check_form(office, PACKED_TALLIES, level, &entries, &fault), WM_OK);
        assert_non_null(fault);
        assert_string_equal(fault, CASES[i / PACKED_LEVELS].fault);
        office_close(office);
        unlink(path);
    }
}

/* The hash is a file format: these values may never change. */
static void hashes_stay(void **state)
{
    static const struct {
        enum packed_key kind;
        const char *first, *second;
        uint64_t hash;
    } CASES[] = {
        {KEY_CLAIM, "D137", "K1", UINT64_C(0x288a073d2df17568)},
        {KEY_DEALER, "D137", "", UINT64_C(0x288a073d00000000)},
        {KEY_VEHICLE, "EZ7BAMCK6KE421489", "", UINT64_C(0x44a12733f92bbbb5)},
        {KEY_TECHNICIAN, "D137", "T99", UINT64_C(0xb54ca54ee2a34848)},
    };
    (void)state;

    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++)
        assert_true(packed_hash(CASES[i].kind, text_of(CASES[i].first), text_of(CASES[i].second)) ==
                    CASES[i].hash);
    /* long keys differ in their last byte too */
    char longer[600];
    memset(longer, 'x', sizeof longer);
    uint64_t first = packed_hash(KEY_CLAIM, TEXT("D1"), (struct text){longer, sizeof longer});
    longer[sizeof longer - 1] = 'y';
    assert_true(packed_hash(KEY_CLAIM, TEXT("D1"), (struct text){longer, sizeof longer}) != first);
    /* the parts of a key do not run into each other, nor the kinds */
    assert_true(packed_hash(KEY_CLAIM, TEXT("D1"), TEXT("23")) !=
                packed_hash(KEY_CLAIM, TEXT("D12"), TEXT("3")));
    assert_true(packed_hash(KEY_CLAIM, TEXT("D1"), TEXT("2")) !=
                packed_hash(KEY_REPAIR_ORDER, TEXT("D1"), TEXT("2")));
}

/* Days by the calendar; what lies outside of them is not known, and so never surely after a day. */
static void notes(void **state)
{
    static const struct {
        int year, month, day;
        bool noted;
    } DAYS[] = {{2014, 12, 31, false},
                {2015, 1, 1, true},
                {2026, 11, 26, true},
                {2059, 11, 8, true},
                {2059, 11, 9, false}};

    (void)state;
    for (size_t i = 0; i < sizeof DAYS / sizeof DAYS[0]; i++) {
        int32_t day = date_from_civil(DAYS[i].year, DAYS[i].month, DAYS[i].day);
        uint32_t note = packed_note(day, i % 2 == 0, i % 3 == 0);
        assert_true(note <= UINT16_MAX);
        assert_int_equal((note & PACKED_NOTE_FINDINGS) != 0, i % 2 == 0);
        assert_int_equal((note & PACKED_NOTE_FIRST) != 0, i % 3 == 0);
        assert_int_equal(packed_note_is_after(note, day - 1), DAYS[i].noted);
        assert_false(packed_note_is_after(note, day));
        assert_false(packed_note_is_after(note, day + 1));
    }
    assert_false(packed_note_is_after(packed_note(DAY_NONE, true, true), -100000));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(notes),
        cmocka_unit_test(rows),
        cmocka_unit_test(tallies),
        cmocka_unit_test(nothing_is_left),
        cmocka_unit_test(other_forms_are_found),
        cmocka_unit_test(hashes_stay),
    };
    return sodium_init() < 0 ? 1 : cmocka_run_group_tests_name("ledger packed", tests, NULL, NULL);
}
