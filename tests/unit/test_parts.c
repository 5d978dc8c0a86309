/* The smaller parts of base: wrapped and shown words, quarters, lists that grow, indexes, sheets, outputs that
 * are cut. */
#include "capture.h"

#include <fcntl.h>

#include <sys/stat.h>
#include <sys/wait.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "base/chunks.h"
#include "base/csv.h"
#include "base/decimal.h"
#include "base/file.h"
#include "base/large.h"
#include "base/limits.h"
#include "base/quarter.h"
#include "base/sheet.h"
#include "base/shown.h"
#include "base/status.h"
#include "base/text_index.h"
#include "base/text_pool.h"
#include "base/value.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* --- Words ------------------------------------------------------------------------------------------- */

/* The width counts characters, the indent too; a word that is too long stands by itself. */
static void words_are_wrapped(void **state)
{
    static const struct {
        const char *words;
        size_t indent, width;
        const char *written;
    } cases[] = {
        {"", 0, 10, ""},
        {"one", 0, 10, "one"},
        {"one two three", 0, 7, "one two\nthree"},
        {"one two three", 0, 6, "one\ntwo\nthree"},
        {"one two three", 2, 9, "one two\n  three"},
        {"one two three", 2, 8, "one\n  two\n  three"},
        {"a  b", 0, 10, "a  b"},
        {"extraordinary word", 0, 5, "extraordinary\nword"},
        {"\xc3\xa9\xc3\xa9\xc3\xa9 \xc3\xa9\xc3\xa9\xc3\xa9 x", 0, 7,
         "\xc3\xa9\xc3\xa9\xc3\xa9 \xc3\xa9\xc3\xa9\xc3\xa9\nx"},
        {"one\ntwo\tthree\x1b[1m", 0, 40, "one two three [1m"},
    };
    struct buffer buffer = BUFFER_EMPTY;
    (void)state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        buffer_clear(&buffer);
        buffer_add_wrapped(&buffer, text_of(cases[i].words), cases[i].indent, cases[i].width);
        if (!text_is(buffer_text(&buffer), cases[i].written))
            fail_msg("case %zu: %.*s", i, TEXT_ARGUMENTS(buffer_text(&buffer)));
    }
    buffer_clear(&buffer);
    buffer_add_string(&buffer, "\x7f");
    buffer_say_wrapped(&buffer, TEXT("a\x7f\x1b two \xff three"), 1, 7);
    assert_true(text_is(buffer_text(&buffer), "\x7f"
                                              "a? \n two ?\n three")); /* what stood there is not looked at */
    buffer_free(&buffer);
}

static void long_words_are_formatted(void **state)
{
    char word[1000];
    struct buffer buffer = BUFFER_EMPTY;
    (void)state;

    memset(word, 'w', sizeof word);
    for (int length = 250; length < 262; length++) { /* on both sides of what is reserved at once */
        buffer_clear(&buffer);
        buffer_format(&buffer, "%.*s|%d", length, word, length);
        assert_int_equal(buffer.length, length + 4);
        assert_memory_equal(buffer.bytes, word, (size_t)length);
        assert_memory_equal(buffer.bytes + length, "|2", 2);
    }
    buffer_format(&buffer, "%.*s", 999, word);
    assert_int_equal(buffer.length, 261 + 4 + 999);
    buffer_clear(&buffer);
    buffer_add_csv(&buffer, TEXT("\ttab"));
    buffer_add_byte(&buffer, ',');
    buffer_add_csv(&buffer, TEXT("blank "));
    assert_true(text_is(buffer_text(&buffer), "\"\ttab\",\"blank \""));
    buffer_free(&buffer);
}

/* U+0000 to U+001F, U+007F to U+009F and what is no UTF-8 are shown as `?`, byte by byte where it is none. */
static void strangers_words_are_made_readable(void **state)
{
    static const struct {
        const char *written, *shown;
    } cases[] = {
        {"plain ~", "plain ~"},
        {"\x01\x1f \x7f", "?? ?"},
        {"a\nb\tc\rd", "a?b?c?d"},
        {"\xc2\x80\xc2\x9f\xc2\xa0", "????\xc2\xa0"},
        {"\xc2", "?"},
        {"\xc3\xa9", "\xc3\xa9"},
        {"\xe2\x82\xac", "\xe2\x82\xac"},
        {"\xe2\x82", "??"},
        {"\xf0\x9f\x94\xa7", "\xf0\x9f\x94\xa7"},
        {"\xf0\x9f\x94", "???"},
        {"\xff\xc3(", "??" "("},
    };
    struct buffer buffer = BUFFER_EMPTY;
    (void)state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        char line[64];
        strcpy(line, cases[i].written);
        make_readable(line);
        assert_string_equal(line, cases[i].shown);
    }
    buffer_say(&buffer, "one %s\ntwo %s\n", "\n\x1b",
               "\1\2"); /* the format's own line feeds stay, and they alone */
    assert_true(text_is(buffer_text(&buffer), "one ??\ntwo ??\n"));
    buffer_free(&buffer);
}

static void texts_at_their_edges(void **state)
{
    char longest[65];
    struct text rest = {NULL, 0}, piece;
    (void)state;

    memset(longest, 'a', sizeof longest);
    assert_int_equal(text_compare(TEXT(""), TEXT("")), 0);
    assert_true(text_compare(TEXT(""), TEXT("a")) < 0);
    assert_true(text_compare((struct text){NULL, 0}, TEXT("a")) < 0);
    assert_true(text_compare_any_case(TEXT("ab"), TEXT("ABC")) < 0);
    assert_true(text_compare_any_case(TEXT("ABC"), TEXT("ab")) > 0);
    assert_true(text_equal_any_case(TEXT("[\\]z{"), TEXT("[\\]Z{"))); /* neighbours of the letters stay */
    assert_false(text_equal_any_case(TEXT("[@"), TEXT("{`")));
    assert_false(text_ends_with(TEXT("abc"), TEXT("bd")));
    assert_true(text_ends_with(TEXT("abc"), TEXT("")));
    assert_false(text_starts_with(TEXT("abc"), TEXT("ac")));
    assert_int_equal(text_distance(TEXT("a"), (struct text){longest, 65}, 3), 4);
    assert_int_equal(text_distance((struct text){longest, 65}, TEXT("a"), 3), 4);
    assert_false(text_is_utf8(TEXT("\xe2\x82\xff")));
    assert_false(text_is_utf8(TEXT("\xe2\x82\x7f")));
    assert_false(text_next(&rest, ',', &piece));
    rest = TEXT("");
    assert_true(text_next(&rest, ',', &piece));
    assert_true(text_is(piece, ""));
    static char very_long[5000];
    struct buffer printed = BUFFER_EMPTY;
    buffer_format(&printed, "%.*s|%.*s", TEXT_ARGUMENTS(((struct text){NULL, 0})), 0, "x");
    assert_true(text_is(buffer_text(&printed), "|"));
    buffer_clear(&printed);
    memset(very_long, 'v', sizeof very_long);
    buffer_format(&printed, "%.*s", TEXT_ARGUMENTS(((struct text){very_long, sizeof very_long})));
    assert_int_equal(printed.length, 4096); /* what a message shows of a text at most */
    buffer_free(&printed);
    assert_null(text_of(NULL).bytes);
    assert_int_equal(text_of(NULL).length, 0);
    assert_true(text_equal_mostly_not(TEXT(""), (struct text){NULL, 0}));
    assert_true(text_equal_mostly_not(TEXT("abc"), TEXT("abc")));
    assert_false(text_equal_mostly_not(TEXT("abc"), TEXT("xbc")));
    assert_false(text_equal_mostly_not(TEXT("abc"), TEXT("abd")));
    assert_false(text_equal_mostly_not(TEXT("abc"), TEXT("ab")));
    assert_string_equal(plural(0), "s");
    assert_string_equal(plural(1), "");
    assert_string_equal(plural(2), "s");
}

/* --- Numbers and quarters ---------------------------------------------------------------------------- */

static void numbers_at_the_ends_of_their_range(void **state)
{
    static const struct {
        int64_t a, b, sum;
    } sums[] = {
        {1, 2, 3},
        {INT64_MAX, 1, INT64_MAX},
        {1, INT64_MAX, INT64_MAX},
        {INT64_MIN, -1, INT64_MIN},
        {INT64_MAX, INT64_MIN, -1},
    };
    static const struct {
        const char *text;
        enum number_fault fault;
    } readings[] = {
        {"9223372036854.775807", NUMBER_OK},
        {"9223372036854.775808", NUMBER_TOO_LARGE},
        {"9223372036855", NUMBER_TOO_LARGE},
        {"18446744073709.551615", NUMBER_TOO_LARGE}, /* 2^64 - 1 millionths, and beyond it */
        {"18446744073709.551616", NUMBER_TOO_LARGE},
        {"18446744073710", NUMBER_TOO_LARGE},
        {"99999999999999", NUMBER_TOO_LARGE},
        {"100000000000001", NUMBER_TOO_LARGE},
        {"-9223372036854.775807", NUMBER_OK},
        {"-9223372036854.775808", NUMBER_TOO_LARGE},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(sums); i++)
        assert_int_equal(decimal_sum(sums[i].a, sums[i].b), sums[i].sum);
    for (size_t i = 0; i < COUNT(readings); i++) {
        int64_t read = 0;
        assert_int_equal(decimal_read(text_of(readings[i].text), 6, &read), readings[i].fault);
        assert_int_equal(decimal_read_any(text_of(readings[i].text), 6, &read), readings[i].fault);
    }
    assert_string_equal(decimal_words(-1500000).text, "-1.5");
    assert_string_equal(money_words(-150).text, "-1.50");
    assert_int_equal(value_money(INT64_MAX / 10000).number, INT64_MAX / 10000 * 10000);
    assert_int_equal(value_text_or_null(TEXT("x")).type, VALUE_TEXT);
    assert_null(value_as_text(value_integer(1)).bytes);
}

static void quarters(void **state)
{
    static const struct {
        const char *text, *first, *last;
        int year, of_year;
    } cases[] = {
        {"2026-Q1", "2026-01-01", "2026-03-31", 2026, 1}, {"2026-q2", "2026-04-01", "2026-06-30", 2026, 2},
        {"2024-Q1", "2024-01-01", "2024-03-31", 2024, 1}, {"2026-Q3", "2026-07-01", "2026-09-30", 2026, 3},
        {"2026-Q4", "2026-10-01", "2026-12-31", 2026, 4}, {"0001-Q1", "0001-01-01", "0001-03-31", 1, 1},
        {"9998-Q4", "9998-10-01", "9998-12-31", 9998, 4},
    };
    static const char *const wrong[] = {"",         "2026-Q0", "2026-Q5", "2026-X1", "2026Q1",
                                        "2026-Q11", "0000-Q1", "9999-Q1", "20a6-Q1", "/026-Q1",
                                        "2026_Q1",  "202:-Q1", "2026-Q"};
    (void)state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        int32_t quarter, first, last;
        char room[QUARTER_ROOM], expected[QUARTER_ROOM];
        assert_true(quarter_read(text_of(cases[i].text), &quarter));
        assert_true(date_read(text_of(cases[i].first), &first));
        assert_true(date_read(text_of(cases[i].last), &last));
        assert_int_equal(quarter_first_day(quarter), first);
        assert_int_equal(quarter_last_day(quarter), last);
        assert_int_equal(quarter_of_day(first), quarter);
        assert_int_equal(quarter_of_day(last), quarter);
        assert_int_equal(quarter_of_day(last + 1), quarter + 1);
        assert_int_equal(quarter_year(quarter), cases[i].year);
        assert_int_equal(quarter_of_year(quarter), cases[i].of_year);
        assert_int_equal(quarter_write(quarter, room), 7);
        snprintf(expected, sizeof expected, "%s", cases[i].text);
        expected[5] = 'Q';
        assert_string_equal(room, expected);
    }
    for (size_t i = 0; i < COUNT(wrong); i++) {
        int32_t quarter = 77;
        assert_false(quarter_read(text_of(wrong[i]), &quarter));
        assert_int_equal(quarter, 77);
    }
}

/* --- Lists and indexes ------------------------------------------------------------------------------- */

static void chunks_grow_without_moving(void **state)
{
    enum { MANY = 18 * CHUNK_ELEMENTS + 5 };
    static const uint32_t three[] = {7, 8, 9};
    struct chunks chunks = CHUNKS_OF(uint32_t);
    (void)state;

    uint32_t *first = chunks_add(&chunks);
    assert_non_null(first);
    assert_int_equal(*first, 0);
    for (uint32_t i = 1; i < MANY; i++) {
        uint32_t *added = chunks_add(&chunks);
        assert_non_null(added);
        *added = i;
    }
    assert_ptr_equal(chunks_at(&chunks, 0), first);
    for (uint32_t i = 0; i < MANY; i++)
        assert_int_equal(*(uint32_t *)chunks_at(&chunks, i), i);
    assert_int_equal(chunks.count, MANY);

    uint32_t *large = calloc(MANY, sizeof *large);
    assert_non_null(large);
    large[0] = 1;
    large[MANY - 1] = 2;
    assert_true(chunks_append(&chunks, three, 3));
    assert_true(chunks_append(&chunks, large, MANY)); /* over the ends of chunks */
    assert_true(chunks_append(&chunks, three, 0));
    assert_int_equal(chunks.count, 2 * MANY + 3);
    assert_int_equal(*(uint32_t *)chunks_at(&chunks, MANY + 2), 9);
    assert_int_equal(*(uint32_t *)chunks_at(&chunks, MANY + 3), 1);
    assert_int_equal(*(uint32_t *)chunks_at(&chunks, 2 * MANY + 2), 2);
    free(large);
    chunks_free(&chunks);

    chunks.count = UINT32_MAX - 1; /* full */
    assert_null(chunks_add(&chunks));
    assert_false(chunks_append(&chunks, three, 3));
    chunks.count = 0;
    chunks_free(&chunks);
}

static int by_first(const void *a, const void *b)
{
    uint64_t first = *(const uint64_t *)a, second = *(const uint64_t *)b;

    return (first > second) - (first < second);
}

/* Keys whose hashes have the same upper half and the same slot are told apart by their bytes: two such are
 * looked for among so many that there are some. */
static void keys_with_equal_hashes(void **state)
{
    enum { KEYS = 1 << 20, DIGITS = 7 };
    uint64_t(*hashes)[2] = calloc(KEYS, sizeof *hashes);
    uint32_t pairs = 0;
    (void)state;

    assert_non_null(hashes);
    for (uint32_t i = 0; i < KEYS; i++) {
        char key[DIGITS + 1];
        snprintf(key, sizeof key, "%07u", i);
        uint64_t hash = text_hash((struct text){key, DIGITS});
        hashes[i][0] = hash & ~UINT64_C(0xffffffe0); /* of 32 slots */
        hashes[i][1] = i;
    }
    qsort(hashes, KEYS, sizeof *hashes, by_first);
    for (uint32_t i = 1; i < KEYS; i++) {
        struct text_index index = TEXT_INDEX_EMPTY;
        char a[DIGITS + 1], b[DIGITS + 1];
        if (hashes[i - 1][0] != hashes[i][0])
            continue;
        pairs++;
        snprintf(a, sizeof a, "%07u", (unsigned)hashes[i - 1][1]);
        snprintf(b, sizeof b, "%07u", (unsigned)hashes[i][1]);
        assert_int_equal(text_index_add(&index, (struct text){a, DIGITS}, 1), 1);
        assert_int_equal(text_index_find(&index, (struct text){b, DIGITS}), TEXT_INDEX_NONE);
        assert_int_equal(text_index_add(&index, (struct text){b, DIGITS}, 2), 2);
        assert_int_equal(text_index_find(&index, (struct text){a, DIGITS}), 1);
        assert_int_equal(text_index_find(&index, (struct text){b, DIGITS}), 2);
        text_index_free(&index);
    }
    assert_true(pairs > 0);
    free(hashes);
}

static void text_indexes(void **state)
{
    enum { KEYS = 5000 };
    static char keys[KEYS][8];
    struct text_index index = TEXT_INDEX_EMPTY;
    (void)state;

    assert_int_equal(text_index_find(&index, TEXT("a")), TEXT_INDEX_NONE);
    text_index_clear(&index);
    for (int turn = 0; turn < 2; turn++) {
        for (uint32_t i = 0; i < KEYS; i++) {
            snprintf(keys[i], sizeof keys[i], "k%u", i);
            assert_int_equal(text_index_add(&index, text_of(keys[i]), i), i);
        }
        for (uint32_t i = 0; i < KEYS; i++) {
            assert_int_equal(text_index_find(&index, text_of(keys[i])), i);
            assert_int_equal(text_index_add(&index, text_of(keys[i]), 7), i); /* it is there */
        }
        assert_int_equal(index.count, KEYS);
        assert_int_equal(text_index_add(&index, (struct text){NULL, 0}, 99), 99);
        assert_int_equal(text_index_find(&index, TEXT("")), 99);
        assert_int_equal(text_index_find(&index, TEXT("k")), TEXT_INDEX_NONE);
        text_index_clear(&index);
        assert_int_equal(text_index_find(&index, text_of(keys[0])), TEXT_INDEX_NONE);
    }
    text_index_free(&index);
}

static void pools_of_many_pieces(void **state)
{
    enum { TEXTS = 60 }; /* three to a piece */
    static char text[TEXT_POOL_MOST_BYTES];
    struct text_pool pool = {0};
    uint32_t places[TEXTS];
    (void)state;

    for (uint32_t i = 0; i < TEXTS; i++) {
        memset(text, 'a' + (int)i % 26, sizeof text);
        assert_int_equal(text_pool_add(&pool, (struct text){text, sizeof text}, &places[i]), WM_OK);
    }
    assert_int_equal(pool.piece_count, TEXTS / 3);
    for (uint32_t i = 0; i < TEXTS; i++) {
        struct text kept = text_pool_at(&pool, places[i]);
        assert_int_equal(kept.length, sizeof text);
        assert_int_equal(kept.bytes[0], 'a' + (int)i % 26);
        assert_int_equal(kept.bytes[kept.length - 1], 'a' + (int)i % 26);
    }
    text_pool_free(&pool);
}

/* On either side of a large page, zeroed, and not where there can be none. */
static void large_memory(void **state)
{
    static const size_t sizes[] = {1, LARGE_BYTES - 1, LARGE_BYTES, LARGE_BYTES + 1, 5 * (size_t)LARGE_BYTES};
    (void)state;

    for (int turn = 0; turn < 3; turn++)
        for (size_t i = 0; i < COUNT(sizes); i++) {
            unsigned char *memory = large_take(sizes[i]);
            assert_non_null(memory);
            for (size_t at = 0; at < sizes[i]; at += 4096)
                assert_int_equal(memory[at], 0);
            assert_int_equal(memory[sizes[i] - 1], 0);
            memset(memory, 0xee, sizes[i]);
            large_give_back(memory, sizes[i]);
        }
    large_give_back(NULL, 1);
    large_give_back(NULL, LARGE_BYTES);
#ifndef ARENA_EXACT /* whose allocator ends the program */
    assert_null(large_take(SIZE_MAX));
    assert_null(large_take(SIZE_MAX / 2));
#endif
}

#ifndef ARENA_EXACT
static void arenas_shrink_their_last_piece(void **state)
{
    struct arena arena = ARENA_EMPTY;
    (void)state;

    char *piece = arena_bytes(&arena, 1000);
    assert_non_null(piece);
    memcpy(piece, "kept", 4);
    arena_shrink(&arena, piece, 4);
    assert_ptr_equal(arena_bytes(&arena, 1), piece + 16);
    assert_memory_equal(piece, "kept", 4);
    arena_free(&arena);
}
#endif

/* --- CSV --------------------------------------------------------------------------------------------- */

static int take_row(void *context, const struct sheet *sheet)
{
    struct buffer *seen = context;

    buffer_add_text(seen, sheet_cell(sheet, 0));
    buffer_add_byte(seen, '=');
    buffer_add_text(seen, sheet_cell(sheet, 1));
    buffer_format(seen, "@%llu:%u;", (unsigned long long)sheet_place(sheet, 1).line,
                  sheet_place(sheet, 1).column);
    return text_is(sheet_cell(sheet, 0), "stop") ? WM_IO : WM_OK;
}

static void sheets(void **state)
{
    static const struct csv_column columns[] = {{"key", true}, {"value", false}};
    static const struct {
        const char *csv;
        int status;
        const char *seen, *messages;
    } cases[] = {
        {"key,value\na,1\n\n# a note,\nb,2\n", WM_OK, "a=1@2:2;b=2@5:2;", ""},
        {"\xef\xbb\xbfvalue,key\n1,a\n", WM_OK, "a=1@2:1;", ""},
        {"key\na\n", WM_OK, "a=@2:0;", ""},
        {"key,value\n,1\n", WM_OK, "=1@2:2;", ""},
        {"", WM_BAD_INPUT, "", "s.csv:1: the file is empty; it needs a header key,value\n"},
        {"value\n1\n", WM_BAD_INPUT, "", "s.csv:1: the column \"key\" is missing; add it to the first row\n"},
        {"key,value\na\nb,2,3\nc,4\n", WM_BAD_INPUT, "c=4@4:2;",
         "s.csv:2: the row has 1 cells, the header 2; make them the same\n"
         "s.csv:3: the row has 3 cells, the header 2; make them the same\n"},
        {"key,value\na,\xff\nb,2\n", WM_BAD_INPUT, "b=2@3:2;",
         "s.csv:2:2: the cell is not UTF-8 text; save the file as CSV UTF-8\n"},
        {"key,value\nstop,1\nb,2\n", WM_IO, "stop=1@2:2;", ""},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(cases); i++) {
        struct arena arena = ARENA_EMPTY;
        struct buffer seen = BUFFER_EMPTY;
        struct capture capture;
        capture_start(&capture);
        assert_int_equal(sheet_read(&arena, TEXT("s.csv"), text_of(cases[i].csv), columns, 2, take_row, &seen,
                                    &capture.sink),
                         cases[i].status);
        assert_string_equal(capture.text, cases[i].messages);
        assert_true(text_is(buffer_text(&seen), cases[i].seen));
        buffer_free(&seen);
        arena_free(&arena);
    }
}

/* Cells beyond those that are kept are counted, and not looked at; more than the limit are never kept. */
static void rows_of_more_cells_than_are_kept(void **state)
{
    struct arena arena = ARENA_EMPTY;
    struct csv_rows rows;
    struct csv_row row;
    (void)state;

    assert_int_equal(csv_rows_open(&rows, TEXT("a,b,\xff\n\"a\",b,\xff\n\xff,b,\xfe\n"), 1, 2, &arena), WM_OK);
    for (int i = 0; i < 2; i++) {
        assert_true(csv_rows_next(&rows, &row));
        assert_int_equal(row.cell_count, 3);
        assert_int_equal(row.fault, CSV_OK);
        assert_true(text_is(row.cells[0], "a") && text_is(row.cells[1], "b"));
    }
    assert_true(csv_rows_next(&rows, &row));
    assert_int_equal(row.fault, CSV_UTF8);
    assert_int_equal(row.fault_column, 1);
    assert_false(csv_rows_next(&rows, &row));
    csv_rows_close(&rows);
    assert_int_equal(csv_rows_open(&rows, TEXT("a"), 1, 2 * LIMIT_COLUMNS, &arena), WM_OK);
    assert_int_equal(rows.capacity, LIMIT_COLUMNS);
    csv_rows_close(&rows);
    arena_free(&arena);
}

/* A name near to a short one is nobody's mistake for it. */
static void short_columns_have_no_neighbours(void **state)
{
    static const struct csv_column columns[] = {{"kit", true}, {"quantity", true}};
    struct arena arena = ARENA_EMPTY;
    struct capture capture;
    struct csv_rows rows;
    struct csv_row row;
    int at[2];
    (void)state;

    capture_start(&capture);
    assert_int_equal(csv_rows_open(&rows, TEXT("kat,quantty,quantiti\n"), 1, LIMIT_COLUMNS, &arena), WM_OK);
    assert_true(csv_rows_next(&rows, &row));
    assert_int_equal(csv_header(&row, TEXT("f.csv"), columns, 2, at, &capture.sink), WM_BAD_INPUT);
    assert_string_equal(
        capture.text,
        "f.csv:1: the column \"kit\" is missing; add it to the first row\n"
        "f.csv:1: the column \"quantity\" is missing; is \"quantty\" meant to be it? Names are exact\n"
        "warning: f.csv:1:1: unknown columns, left alone: \"kat\", \"quantty\", \"quantiti\"\n");
    csv_rows_close(&rows);
    arena_free(&arena);
}

static void assert_digest(const uint8_t *digest, const char *hexadecimal)
{
    char written[2 * CSV_DIGEST_BYTES + 1];

    for (int i = 0; i < CSV_DIGEST_BYTES; i++)
        snprintf(written + 2 * i, 3, "%02x", digest[i]);
    assert_string_equal(written, hexadecimal);
}

/* The digest is BLAKE2b-256 of all bytes, as Python's hashlib.blake2b(digest_size=32) has it. */
static void sources_are_read_again(void **state)
{
    static const char rows[] = "a,b\nc,d\n";
    static const char expected[] = "1ec2480575a5ba674ada4d7c9724a0f016d9db9a0e2764ff030e4e5a23820364";
    char folder[256], path[300], part[4];
    uint8_t digest[CSV_DIGEST_BYTES];
    struct capture capture;
    struct csv_source source;
    struct csv_scan scan;
    struct csv_blocks *blocks;
    struct csv_block block;
    struct buffer bytes = BUFFER_EMPTY;
    (void)state;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/s.csv", folder);
    write_file(path, rows, sizeof rows - 1);
    capture_start(&capture);
    assert_int_equal(csv_source_open(&source, path, &capture.sink), WM_OK);
    assert_int_equal(csv_source_scan(&source, true, &scan, &capture.sink), WM_OK);
    assert_int_equal(csv_source_digest(&source, digest, &capture.sink), WM_OK);
    assert_digest(scan.digest, expected);
    assert_digest(digest, expected);
    assert_int_equal(csv_source_read(&source, 2, part, 3, &capture.sink), WM_OK);
    assert_memory_equal(part, "b\nc", 3);
    assert_int_equal(csv_blocks_open(&blocks, &source, 0), WM_OK); /* a row at a time */
    assert_int_equal(csv_blocks_next(blocks, &bytes, &block, &capture.sink), WM_OK);
    assert_true(text_is(block.bytes, "a,b\n"));
    assert_int_equal(csv_blocks_next(blocks, &bytes, &block, &capture.sink), WM_OK);
    assert_true(text_is(block.bytes, "c,d\n"));
    assert_int_equal(block.line, 2);
    csv_blocks_close(blocks);
    csv_blocks_close(NULL);
    assert_string_equal(capture.text, "");

    close(source.descriptor);
    source.descriptor = open(path, O_WRONLY);
    assert_int_equal(csv_source_digest(&source, digest, &capture.sink), WM_IO);
    assert_non_null(strstr(capture.text, "/s.csv: cannot read: Bad file descriptor\n"));
    csv_source_close(&source);
    buffer_free(&bytes);
    unlink(path);
    rmdir(folder);
}

/* A pipe with a name is copied, whatever TMPDIR says: also where it names no folder. */
static void pipes_are_copied(void **state)
{
    static const char *const folders[] = {NULL, "", "/nowhere/at/all"};
    char folder[256], path[300], part[4];
    const char *saved = getenv("TMPDIR");
    char *kept = saved != NULL ? strdup(saved) : NULL;
    (void)state;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/pipe", folder);
    assert_int_equal(mkfifo(path, 0600), 0);
    for (size_t i = 0; i < COUNT(folders); i++) {
        struct capture capture;
        struct csv_source source;
        int exit_status;
        if (folders[i] == NULL)
            unsetenv("TMPDIR");
        else
            setenv("TMPDIR", folders[i], 1);
        pid_t writer = fork();
        assert_true(writer >= 0);
        if (writer == 0) {
            int descriptor = open(path, O_WRONLY);
            _exit(write(descriptor, "a,b\n", 4) == 4 ? 0 : 1);
        }
        capture_start(&capture);
        assert_int_equal(csv_source_open(&source, path, &capture.sink), WM_OK);
        assert_int_equal(waitpid(writer, &exit_status, 0), writer);
        assert_int_equal(exit_status, 0);
        assert_int_equal(source.bytes, 4);
        assert_int_equal(csv_source_read(&source, 0, part, 4, &capture.sink), WM_OK);
        assert_memory_equal(part, "a,b\n", 4);
        csv_source_close(&source);
        assert_string_equal(capture.text, "");
    }
    if (kept != NULL)
        setenv("TMPDIR", kept, 1);
    else
        unsetenv("TMPDIR");
    free(kept);
    unlink(path);
    rmdir(folder);
}

/* --- Outputs ----------------------------------------------------------------------------------------- */

static void outputs_are_settled_and_cut(void **state)
{
    char folder[256], path[300];
    struct output output;
    struct capture capture;
    struct buffer bytes = BUFFER_EMPTY;
    uint64_t settled = 0;
    (void)state;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/out", folder);
    write_file(path, "old", 3);
    capture_start(&capture);
    assert_int_equal(output_open(&output, path, &capture.sink), WM_OK);
    output_add(&output, "kept ", 5);
    assert_int_equal(output_settle(&output, &capture.sink, &settled), WM_OK);
    assert_int_equal(settled, 5);
    output_add(&output, "not yet written", 15);
    output_cut(&output, settled); /* what had not left the buffer */
    output_add(&output, "written", 7);
    assert_int_equal(output_settle(&output, &capture.sink, &settled), WM_OK);
    assert_int_equal(settled, 12);
    output_cut(&output, 5); /* what had */
    output_add(&output, "end", 3);
    assert_int_equal(output_close(&output, &capture.sink), WM_OK);
    assert_int_equal(file_read(path, 100, &bytes, &capture.sink), WM_OK);
    assert_true(text_is(buffer_text(&bytes), "kept end"));
    assert_string_equal(capture.text, "");
    buffer_free(&bytes);
    unlink(path);
    rmdir(folder);
}

/* Nothing can be taken back of a device; a failed write is told when it is settled, and when the file is
 * closed. */
static void outputs_that_fail(void **state)
{
    char folder[256], expected[400];
    char *large = calloc(1, 2000000);
    struct output output;
    struct capture capture;
    uint64_t settled = 77;
    (void)state;

    assert_non_null(large);
    capture_start(&capture);
    assert_int_equal(output_open(&output, "/dev/full", &capture.sink), WM_OK);
    output_add(&output, large, 2000000);
    output_add(&output, large, 2000000);
    output_cut(&output, 0);
    assert_int_equal(output_settle(&output, &capture.sink, &settled), WM_IO);
    assert_int_equal(settled, 77);
    assert_int_equal(output_close(&output, &capture.sink), WM_IO);
    assert_string_equal(capture.text, "/dev/full: cannot write: No space left on device\n"
                                      "/dev/full: cannot write: No space left on device\n");
    free(large);

    make_folder(folder); /* a name that is a folder's: nothing is left beside it */
    capture_start(&capture);
    assert_int_equal(output_open(&output, folder, &capture.sink), WM_OK);
    output_add(&output, "text", 4);
    assert_int_equal(output_close(&output, &capture.sink), WM_IO);
    snprintf(expected, sizeof expected, "%s: cannot write: Is a directory\n", folder);
    assert_string_equal(capture.text, expected);
    snprintf(expected, sizeof expected, "%s.%ld.part", folder, (long)getpid());
    assert_int_equal(access(expected, F_OK), -1);

    char loop[300]; /* what cannot be looked at is not replaced */
    struct stat about;
    snprintf(loop, sizeof loop, "%s/loop", folder);
    assert_int_equal(symlink(loop, loop), 0);
    capture_start(&capture);
    assert_int_equal(output_open(&output, loop, &capture.sink), WM_IO);
    snprintf(expected, sizeof expected, "%s: cannot write: Too many levels of symbolic links\n", loop);
    assert_string_equal(capture.text, expected);
    assert_int_equal(lstat(loop, &about), 0);
    assert_true(S_ISLNK(about.st_mode));
    unlink(loop);
    assert_int_equal(rmdir(folder), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_are_wrapped),
        cmocka_unit_test(long_words_are_formatted),
        cmocka_unit_test(strangers_words_are_made_readable),
        cmocka_unit_test(texts_at_their_edges),
        cmocka_unit_test(numbers_at_the_ends_of_their_range),
        cmocka_unit_test(quarters),
        cmocka_unit_test(chunks_grow_without_moving),
        cmocka_unit_test(keys_with_equal_hashes),
        cmocka_unit_test(text_indexes),
        cmocka_unit_test(pools_of_many_pieces),
        cmocka_unit_test(large_memory),
#ifndef ARENA_EXACT
        cmocka_unit_test(arenas_shrink_their_last_piece),
#endif
        cmocka_unit_test(sheets),
        cmocka_unit_test(rows_of_more_cells_than_are_kept),
        cmocka_unit_test(short_columns_have_no_neighbours),
        cmocka_unit_test(sources_are_read_again),
        cmocka_unit_test(pipes_are_copied),
        cmocka_unit_test(outputs_are_settled_and_cut),
        cmocka_unit_test(outputs_that_fail),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
