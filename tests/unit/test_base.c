/* Texts, numbers, dates, buffers, diagnostics, whole files. */
#include "capture.h"

#include <fcntl.h>

#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>

#include "base/arena.h"
#include "base/buffer.h"
#include "base/date.h"
#include "base/decimal.h"
#include "base/diag.h"
#include "base/file.h"
#include "base/limits.h"
#include "base/status.h"
#include "base/text.h"
#include "base/large.h"
#include "base/text_index.h"
#include "base/text_pool.h"
#include "base/value.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static void numbers_read(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        unsigned places;
        enum number_fault fault;
        int64_t millionths;
    } cases[] = {
        {"0", 6, NUMBER_OK, 0},
        {"-0", 6, NUMBER_OK, 0},
        {"007", 6, NUMBER_OK, 7000000},
        {"12.5", 6, NUMBER_OK, 12500000},
        {".5", 6, NUMBER_OK, 500000},
        {"-.000001", 6, NUMBER_OK, -1},
        {"84.50", 2, NUMBER_OK, 84500000},
        {"9223372036854.775807", 6, NUMBER_OK, INT64_MAX},
        {"-9223372036854.775807", 6, NUMBER_OK, -INT64_MAX},
        {"00000000000000000000000000000000000001", 0, NUMBER_OK, 1000000},
        {"", 6, NUMBER_MALFORMED, 0},
        {"-", 6, NUMBER_MALFORMED, 0},
        {".", 6, NUMBER_MALFORMED, 0},
        {"1.", 6, NUMBER_MALFORMED, 0},
        {"+1", 6, NUMBER_MALFORMED, 0},
        {"--1", 6, NUMBER_MALFORMED, 0},
        {"1e9", 6, NUMBER_MALFORMED, 0},
        {"1,000", 6, NUMBER_MALFORMED, 0},
        {" 1", 6, NUMBER_MALFORMED, 0},
        {"1 ", 6, NUMBER_MALFORMED, 0},
        {"1.2.3", 6, NUMBER_MALFORMED, 0},
        {"0x10", 6, NUMBER_MALFORMED, 0},
        {"\xd9\xa1", 6, NUMBER_MALFORMED, 0},
        {"1.0000001", 6, NUMBER_TOO_PRECISE, 0},
        {"84.505", 2, NUMBER_TOO_PRECISE, 0},
        {"12.0", 0, NUMBER_TOO_PRECISE, 0},
        {"9223372036854.775808", 6, NUMBER_TOO_LARGE, 0},
        {"1000000000000000", 0, NUMBER_TOO_LARGE, 0},
        {"99999999999999999999999999999999", 0, NUMBER_TOO_LARGE, 0},
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        int64_t read = 77;
        assert_int_equal(decimal_read(text_of(cases[i].text), cases[i].places, &read), cases[i].fault);
        assert_int_equal(read, cases[i].fault == NUMBER_OK ? cases[i].millionths : 77);
    }
    assert_string_equal(number_fault_words(NUMBER_OK), "is a number");
    assert_string_equal(number_fault_words(NUMBER_MALFORMED), "is not a number");
    assert_string_equal(number_fault_words(NUMBER_TOO_PRECISE), "has more places than this column allows");
    assert_string_equal(number_fault_words(NUMBER_TOO_LARGE), "is too large a number");
}

static void numbers_written(void **state)
{
    (void)state;
    static const struct {
        int64_t number;
        const char *decimal, *money;
    } cases[] = {
        {0, "0", "0.00"},
        {1, "0.000001", "0.01"},
        {-5, "-0.000005", "-0.05"},
        {1250, "0.00125", "12.50"},
        {-700000000, "-700", "-7000000.00"},
        {12500000, "12.5", "125000.00"},
        {INT64_MAX, "9223372036854.775807", "92233720368547758.07"},
        {INT64_MIN, "-9223372036854.775808", "-92233720368547758.08"},
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        char room[DECIMAL_ROOM];
        assert_int_equal(decimal_write(cases[i].number, room), strlen(cases[i].decimal));
        assert_string_equal(room, cases[i].decimal);
        assert_int_equal(money_write(cases[i].number, room), strlen(cases[i].money));
        assert_string_equal(room, cases[i].money);
    }
}

static void random_numbers_come_back(void **state)
{
    (void)state;
    uint64_t random = random_seed("random_numbers_come_back");

    for (int turn = 0; turn < random_times(20000); turn++) {
        int64_t number = (int64_t)(random_below(&random, UINT64_C(1) << 53) >> random_below(&random, 53)), read;
        char room[DECIMAL_ROOM];
        if (turn % 2)
            number = -number;
        struct text t = {room, decimal_write(number, room)};
        assert_int_equal(decimal_read(t, 6, &read), NUMBER_OK);
        assert_int_equal(read, number);
    }
}

static void rounding_half_away(void **state)
{
    (void)state;
    static const struct {
        int64_t numerator, denominator, rounded;
    } cases[] = {
        {0, 7, 0},
        {1, 2, 1},
        {-1, 2, -1},
        {3, 2, 2},
        {-3, 2, -2},
        {5, 10, 1},
        {4, 10, 0},
        {-4, 10, 0},
        {-5, 10, -1},
        {149, 100, 1},
        {150, 100, 2},
        {1, 3, 0},
        {2, 3, 1},
        {-2, 3, -1},
        {INT64_MAX, 1, INT64_MAX},
        {INT64_MIN, 1, INT64_MIN},
        {INT64_MAX, INT64_MAX, 1},
        {10, 4, 3},
        {-10, 4, -3},
    };

    for (size_t i = 0; i < COUNT(cases); i++)
        assert_int_equal(round_half_away(cases[i].numerator, cases[i].denominator), cases[i].rounded);
    assert_int_equal(round_half_away((__int128)INT64_MAX * 10, 2), INT64_MAX);
    assert_int_equal(round_half_away((__int128)INT64_MIN * 10, 2), INT64_MIN);
    /* 1.5 hours at 98.35: 147.525 is 147.53. */
    assert_int_equal(round_half_away((__int128)1500000 * 98350000, (__int128)1000000 * 10000), 14753);
}

static void dates_against_known_days(void **state)
{
    (void)state;
    /* Day numbers since 1970-01-01, as `date -u -d DATE +%s` divided by 86400 gives them. */
    static const struct {
        const char *text;
        int32_t day;
    } cases[] = {
        {"1970-01-01", 0},      {"1969-12-31", -1},      {"2000-02-29", 11016},   {"2000-03-01", 11017},
        {"1900-03-01", -25508}, {"2026-03-01", 20513},   {"2024-02-29", 19782},   {"2024-12-31", 20088},
        {"2025-01-01", 20089},  {"0001-01-01", -719162}, {"9999-12-31", 2932896}, {"1600-02-29", -135081},
        {"2100-02-28", 47540},  {"2100-03-01", 47541},
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        int32_t day = 77;
        char room[DATE_ROOM];
        assert_true(date_read(text_of(cases[i].text), &day));
        assert_int_equal(day, cases[i].day);
        assert_int_equal(date_write(day, room), 10);
        assert_string_equal(room, cases[i].text);
    }
}

static void no_dates(void **state)
{
    (void)state;
    static const char *const cases[] = {
        "",           "2026-02-30",  "2025-02-29",  "1900-02-29",  "2026-13-01",
        "2026-00-01", "2026-01-00",  "2026-04-31",  "0000-01-01",  "2026-1-01",
        "2026/01/01", "20260101",    "2026-01-01 ", " 2026-01-01", "2026-01-0a",
        "-026-01-01", "12026-01-01", "2026-01-1",   "+026-01-01",  "2026-01-01T00:00",
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        int32_t day = 77;
        assert_false(date_read(text_of(cases[i]), &day));
        assert_int_equal(day, 77);
    }
}

static void every_day_comes_back(void **state)
{
    (void)state;
    int last_year = 0, last_month = 0, last_day = 0;

    for (int32_t day = -719162; day <= 2932896; day++) {
        int year, month, day_of_month;
        date_to_civil(day, &year, &month, &day_of_month);
        if (date_from_civil(year, month, day_of_month) != day)
            fail_msg("day %d comes back as another", day);
        bool next = day_of_month == last_day + 1 && month == last_month && year == last_year;
        bool first = day_of_month == 1 &&
                     ((month == last_month + 1 && year == last_year) ||
                      (month == 1 && (last_month == 12 || last_month == 0) && year == last_year + 1));
        if (!next && !first)
            fail_msg("day %d does not follow the one before", day);
        last_year = year;
        last_month = month;
        last_day = day_of_month;
    }
    assert_int_equal(last_year, 9999);
    char room[DATE_ROOM];
    assert_int_equal(date_write(date_today(), room), 10);
    assert_true(strcmp(room, "2020-01-01") > 0);
}

static void texts_compare(void **state)
{
    (void)state;
    assert_true(text_equal(TEXT("ab"), TEXT("ab")));
    assert_false(text_equal(TEXT("ab"), TEXT("aB")));
    assert_true(text_equal((struct text){NULL, 0}, TEXT("")));
    assert_true(text_equal_mostly_not(TEXT("ab"), TEXT("ab")) && text_equal_mostly_not(TEXT(""), TEXT("")));
    assert_false(text_equal_mostly_not(TEXT("ab"), TEXT("aB")) || text_equal_mostly_not(TEXT("ab"), TEXT("Ab")));
    assert_false(text_equal_mostly_not(TEXT("ab"), TEXT("b")));
    assert_true(text_equal_any_case(TEXT("aB-1"), TEXT("Ab-1")));
    assert_false(text_equal_any_case(TEXT("\xc3\xa4"), TEXT("\xc3\x84")));
    assert_false(text_equal_any_case(TEXT("a"), TEXT("ab")));
    assert_true(text_compare(TEXT("a"), TEXT("b")) < 0);
    assert_true(text_compare(TEXT("a"), TEXT("a\0")) < 0);
    assert_true(text_compare(TEXT("\xc3\xa4"), TEXT("z")) > 0);
    assert_true(text_compare(TEXT("Z"), TEXT("a")) < 0);
    assert_true(text_compare_any_case(TEXT("Z"), TEXT("a")) > 0);
    assert_int_equal(text_compare(TEXT("same"), TEXT("same")), 0);
    assert_true(text_is(TEXT("x"), "x"));
    assert_true(text_starts_with(TEXT("abc"), TEXT("ab")));
    assert_false(text_starts_with(TEXT("a"), TEXT("ab")));
    assert_true(text_ends_with(TEXT("abc"), TEXT("bc")));
    assert_false(text_ends_with(TEXT("c"), TEXT("bc")));
}

static void texts_cut(void **state)
{
    (void)state;
    struct text head, tail, rest, piece;

    assert_true(text_is(text_trim(TEXT(" \t\ra b\r ")), "a b"));
    assert_true(text_is(text_trim(TEXT("  ")), ""));
    assert_true(text_cut(TEXT("a=b=c"), '=', &head, &tail));
    assert_true(text_is(head, "a") && text_is(tail, "b=c"));
    assert_false(text_cut(TEXT("abc"), '=', &head, &tail));
    assert_true(text_is(head, "abc") && text_is(tail, ""));
    rest = TEXT("a; b ;;c;");
    static const char *const pieces[] = {"a", "b", "", "c", ""};
    for (size_t i = 0; i < COUNT(pieces); i++) {
        assert_true(text_next(&rest, ';', &piece));
        assert_true(text_is(piece, pieces[i]));
    }
    assert_false(text_next(&rest, ';', &piece));
}

static void utf8(void **state)
{
    (void)state;
    static const struct {
        struct text text;
        bool is;
    } cases[] = {
        {TEXT(""), true},
        {TEXT("plain"), true},
        {TEXT("\xc3\xa9"), true},
        {TEXT("\xe2\x82\xac"), true},
        {TEXT("\xf0\x9f\x94\xa7"), true},
        {TEXT("\xf4\x8f\xbf\xbf"), true},
        {TEXT("\xed\x9f\xbf"), true},
        {TEXT("eight ascii bytes, then \xc3\xa9"), true},
        {TEXT("\x80"), false},
        {TEXT("\xc0\x80"), false},
        {TEXT("\xc1\xbf"), false},
        {TEXT("\xc3"), false},
        {TEXT("\xe0\x9f\xbf"), false},
        {TEXT("\xed\xa0\x80"), false},
        {TEXT("\xf0\x8f\xbf\xbf"), false},
        {TEXT("\xf4\x90\x80\x80"), false},
        {TEXT("\xf5\x80\x80\x80"), false},
        {TEXT("\xe2\x82"), false},
        {TEXT("\xe2\x28\xa1"), false},
        {TEXT("12345678\xff"), false},
        {TEXT("\xf0\x9f\x94"), false},
        {TEXT("\xf0\x9f\x41\x41"), false},
        {TEXT("\xfe"), false},
    };

    for (size_t i = 0; i < COUNT(cases); i++)
        assert_int_equal(text_is_utf8(cases[i].text), cases[i].is);
    assert_int_equal(text_code_point_bytes(TEXT("a"), 0), 1);
    assert_int_equal(text_code_point_bytes(TEXT("\xc3\xa9"), 0), 2);
    assert_int_equal(text_code_point_bytes(TEXT("\xe2\x82\xac"), 0), 3);
    assert_int_equal(text_code_point_bytes(TEXT("\xf0\x9f\x94\xa7"), 0), 4);
}

static void item_keys(void **state)
{
    (void)state;
    static const struct {
        const char *text, *key;
    } cases[] = {
        {"PS-7731-01", "PS773101"},
        {"ps 7731 01", "PS773101"},
        {"ps.7731_01\t", "PS773101"},
        {"--", ""},
        {"", ""},
        {"\xc3\xa9"
         "a1",
         "A1"},
        {"AZaz09", "AZAZ09"},
        {"@[`{/:", ""},
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        char room[64];
        struct text key = {room, text_item_key(text_of(cases[i].text), room)};
        assert_true(text_is(key, cases[i].key));
    }
}

static void distances(void **state)
{
    (void)state;
    static const struct {
        const char *a, *b;
        size_t limit, distance;
    } cases[] = {
        {"", "", 3, 0},
        {"a", "", 3, 1},
        {"model_year", "modelyear", 3, 1},
        {"ab", "ba", 3, 1},
        {"abc", "abd", 3, 1},
        {"abcd", "xyzw", 3, 4},
        {"abcd", "xyzw", 9, 4},
        {"kitten", "sitting", 9, 3},
        {"abcdef", "badcfe", 9, 3},
    };
    char longest[66];

    for (size_t i = 0; i < COUNT(cases); i++)
        assert_int_equal(text_distance(text_of(cases[i].a), text_of(cases[i].b), cases[i].limit),
                         cases[i].distance);
    memset(longest, 'a', sizeof longest);
    assert_int_equal(text_distance((struct text){longest, 64}, (struct text){longest, 64}, 3), 0);
    assert_int_equal(text_distance((struct text){longest, 65}, (struct text){longest, 65}, 3), 4);
}

static void texts_in_an_arena(void **state)
{
    (void)state;
    struct arena arena = ARENA_EMPTY;
    struct text copy = text_copy(&arena, TEXT("abc")), blanks = text_format(&arena, "%5000s", "");

    assert_true(text_is(copy, "abc") && copy.bytes[3] == '\0');
    assert_true(text_is(text_upper(&arena, TEXT("aZ\xc3\xa9-1")), "AZ\xc3\xa9-1"));
    assert_true(text_is(text_format(&arena, "%s=%d", "x", 7), "x=7"));
    assert_int_equal(blanks.length, 5000);
    assert_int_equal(text_format(&arena, "%.*s", TEXT_ARGUMENTS(blanks)).length, 4096);
    assert_non_null(text_copy(&arena, (struct text){NULL, 0}).bytes);
    assert_true(text_hash(TEXT("a")) != text_hash(TEXT("b")));
    assert_true(text_hash(TEXT("longer than eight")) ==
                text_hash(copy.bytes ? TEXT("longer than eight") : copy));
    arena_free(&arena);
}

static void arenas(void **state)
{
    (void)state;
    struct arena arena = ARENA_EMPTY;
    unsigned char *first = arena_bytes(&arena, 1);

    assert_non_null(first);
    for (size_t size = 0; size < 300000; size = size * 3 + 1) {
        unsigned char *piece = arena_bytes(&arena, size);
        assert_non_null(piece);
        assert_int_equal((uintptr_t)piece % _Alignof(max_align_t), 0);
        memset(piece, 0xee, size);
    }
    size_t held = arena_held(&arena);
    arena_reset(&arena);
#ifdef ARENA_EXACT /* a reset gives everything back, so that what is used after it is seen */
    assert_in_range(arena_held(&arena), 0, held - 1);
#else
    assert_ptr_equal(arena_bytes(&arena, 1), first);
    assert_int_equal(arena_held(&arena), held);
#endif
    int *numbers = ARENA_ARRAY(&arena, int, 1000);
    for (int i = 0; i < 1000; i++)
        assert_int_equal(numbers[i], 0);
    numbers[999] = 5;
    numbers = arena_grown(&arena, numbers, 1000, 3000, sizeof *numbers);
    assert_int_equal(numbers[999], 5);
    assert_int_equal(numbers[2999], 0);
    assert_null(arena_zeroed(&arena, SIZE_MAX / 2, 8));
    assert_null(arena_bytes(&arena, SIZE_MAX));
    arena_free(&arena);
    assert_int_equal(arena_held(&arena), 0);
}

static void buffers(void **state)
{
    (void)state;
    static const struct {
        const char *cell, *written;
    } cells[] = {
        {"", ""},           {"plain", "plain"},     {"a b", "a b"},
        {"a,b", "\"a,b\""}, {"a\"b", "\"a\"\"b\""}, {"a\nb", "\"a\nb\""},
        {" a", "\" a\""},   {"a\t", "\"a\t\""},     {"a\r", "\"a\r\""},
    };
    struct buffer buffer = BUFFER_EMPTY;

    for (size_t i = 0; i < COUNT(cells); i++) {
        buffer_clear(&buffer);
        buffer_add_csv(&buffer, text_of(cells[i].cell));
        assert_true(text_is(buffer_text(&buffer), cells[i].written));
    }
    buffer_clear(&buffer);
    buffer_add_number(&buffer, 0);
    buffer_add_byte(&buffer, ' ');
    buffer_add_number(&buffer, UINT64_MAX);
    buffer_add_string(&buffer, " ");
    buffer_add_money(&buffer, -1205);
    buffer_format(&buffer, " %05d", 42);
    assert_true(text_is(buffer_text(&buffer), "0 18446744073709551615 -12.05 00042"));
    for (int i = 0; i < 100000; i++)
        buffer_add(&buffer, "0123456789", 10);
    assert_int_equal(buffer.length, 1000035);
    assert_null(buffer_room(&buffer, SIZE_MAX / 2));
    assert_true(buffer.failed);
    buffer_add_string(&buffer, "ignored");
    assert_int_equal(buffer.length, 1000035);
    /* a failure outlives what a buffer is filled with next, and passes to who uses its words */
    struct buffer user = BUFFER_EMPTY;
    buffer_clear(&buffer);
    buffer_add_string(&buffer, "ignored");
    assert_true(buffer.failed && buffer.length == 0);
    buffer_free_into(&buffer, &user);
    assert_true(user.failed && !buffer.failed);
    buffer_free(&user);
}

static void values(void **state)
{
    (void)state;
    static const struct {
        struct value value;
        const char *written;
    } cases[] = {
        {{.type = VALUE_NULL}, ""},
        {{.number = 1500000, .type = VALUE_NUMBER}, "1.5"},
        {{.number = 20513, .type = VALUE_DATE}, "2026-03-01"},
        {{.number = 1, .type = VALUE_BOOLEAN}, "true"},
        {{.number = 0, .type = VALUE_BOOLEAN}, "false"},
        {{.bytes = "text", .length = 4, .type = VALUE_TEXT}, "text"},
    };
    struct buffer out = BUFFER_EMPTY;

    for (size_t i = 0; i < COUNT(cases); i++) {
        buffer_clear(&out);
        value_write(cases[i].value, &out);
        assert_true(text_is(buffer_text(&out), cases[i].written));
    }
    for (int type = VALUE_NUMBER; type <= VALUE_BOOLEAN; type++)
        assert_int_equal(value_type_from(text_of(value_type_name((enum value_type)type))), type);
    assert_int_equal(value_type_from(TEXT("money")), VALUE_NULL);
    assert_int_equal(value_money(150).number, 1500000);
    assert_int_equal(value_money(INT64_MAX).number, INT64_MAX);
    assert_int_equal(value_money(INT64_MIN).number, INT64_MIN);
    assert_int_equal(value_text_or_null(TEXT("")).type, VALUE_NULL);
    assert_true(text_is(value_as_text(value_text(TEXT("x"))), "x"));
    buffer_free(&out);
}

static void diagnostics(void **state)
{
    (void)state;
    static const struct {
        struct diag diag;
        const char *written;
    } cases[] = {
        {{SEVERITY_ERROR, {{"f.csv", 5}, 3, 4}, "wrong; mend it"}, "f.csv:3:4: wrong; mend it"},
        {{SEVERITY_ERROR, {{"f.csv", 5}, 3, 0}, "wrong"}, "f.csv:3: wrong"},
        {{SEVERITY_ERROR, {{"f.csv", 5}, 0, 4}, "wrong"}, "f.csv: wrong"},
        {{SEVERITY_WARNING, {{NULL, 0}, 0, 0}, "wrong"}, "wrong"},
    };
    struct capture capture;
    char room[64], small[8];

    for (size_t i = 0; i < COUNT(cases); i++) {
        assert_int_equal(diag_write(&cases[i].diag, room, sizeof room), strlen(cases[i].written));
        assert_string_equal(room, cases[i].written);
    }
    assert_int_equal(diag_write(&cases[0].diag, small, sizeof small), 7);
    assert_string_equal(small, "f.csv:3");
    capture_start(&capture);
    diag_error(&capture.sink, (struct place){TEXT("a"), 1, 0}, "%d %s", 7, "bad");
    diag_warning(&capture.sink, (struct place){TEXT("a"), 2, 0}, "odd");
    assert_string_equal(capture.text, "a:1: 7 bad\nwarning: a:2: odd\n");
    assert_int_equal(capture.sink.errors, 1);
    assert_int_equal(capture.sink.warnings, 1);
    struct diag_sink counting = {NULL, NULL, 0, 0};
    diag_error(&counting, (struct place){TEXT("a"), 1, 0}, "only counted");
    assert_int_equal(counting.errors, 1);
}

static void files_in(void **state)
{
    (void)state;
    char folder[256], path[300], expected[1000];
    struct buffer bytes = BUFFER_EMPTY;
    struct capture capture;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/f", folder);
    write_file(path, "ab\0c", 4);
    capture_start(&capture);
    assert_int_equal(file_read(path, 100, &bytes, &capture.sink), WM_OK);
    assert_true(text_equal(buffer_text(&bytes), TEXT("ab\0c")));
    assert_int_equal(file_read(path, 3, &bytes, &capture.sink), WM_LIMIT);
    assert_int_equal(file_read(folder, 100, &bytes, &capture.sink), WM_IO);
    unlink(path);
    assert_int_equal(file_read(path, 100, &bytes, &capture.sink), WM_IO);
    assert_int_equal(mkfifo(path, 0600), 0);
    assert_int_equal(file_read(path, 100, &bytes, &capture.sink), WM_IO);
    snprintf(expected, sizeof expected,
             "%s: the file is larger than 0 MiB; is it the right one?\n%s: this is a folder; name a file\n",
             path, folder);
    assert_memory_equal(capture.text, expected, strlen(expected));
    assert_non_null(strstr(capture.text, "/f: cannot open: No such file or directory\n"));
    assert_non_null(strstr(capture.text, "/f: this is not a regular file; name a file\n"));
    unlink(path);
    rmdir(folder);
    buffer_free(&bytes);
}

static void files_out(void **state)
{
    (void)state;
    char folder[256], path[300];
    struct output output = {.descriptor = -1};
    struct buffer bytes = BUFFER_EMPTY;
    struct capture capture;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/out", folder);
    capture_start(&capture);
    assert_int_equal(output_open(&output, path, &capture.sink), WM_OK);
    output_add(&output, "half", 4);
    assert_int_equal(access(path, F_OK), -1);
    output_drop(&output);
    assert_int_equal(access(path, F_OK), -1);
    output_drop(&output);

    assert_int_equal(output_open(&output, path, &capture.sink), WM_OK);
    char *large = calloc(1, 3000000);
    assert_non_null(large);
    output_add(&output, "whole", 5);
    output_add(&output, large, 3000000);
    for (int i = 0; i < 3; i++)
        output_add(&output, large, 500000);
    assert_int_equal(output_close(&output, &capture.sink), WM_OK);
    assert_int_equal(file_read(path, 10000000, &bytes, &capture.sink), WM_OK);
    assert_int_equal(bytes.length, 4500005);
    free(large);
    unlink(path);
    assert_int_equal(rmdir(folder), 0);
    assert_int_equal(output_open(&output, path, &capture.sink), WM_IO);
    assert_non_null(strstr(capture.text, "/out: cannot write: No such file or directory\n"));
    buffer_free(&bytes);
}

/* A pipe, as a device, is written to and stays what it is; a file renamed over it would take its place. */
static void a_pipe_is_written_to_as_it_is(void **state)
{
    (void)state;
    char folder[256], path[300], got[16] = "";
    struct output output = {.descriptor = -1};
    struct capture capture;
    struct stat about;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/pipe", folder);
    assert_int_equal(mkfifo(path, 0600), 0);
    int reader = open(path, O_RDONLY | O_NONBLOCK);
    assert_true(reader >= 0);
    capture_start(&capture);
    assert_int_equal(output_open(&output, path, &capture.sink), WM_OK);
    output_add(&output, "text", 4);
    assert_int_equal(output_close(&output, &capture.sink), WM_OK);
    assert_int_equal(read(reader, got, sizeof got), 4);
    assert_string_equal(got, "text");
    assert_int_equal(output_open(&output, path, &capture.sink), WM_OK);
    output_drop(&output);
    close(reader);
    assert_int_equal(stat(path, &about), 0);
    assert_true(S_ISFIFO(about.st_mode));
    unlink(path);
    assert_int_equal(rmdir(folder), 0);
}

/* A socket that nobody listens to is no file to put another in the place of, and cannot be written to. */
static void a_socket_is_left_alone(void **state)
{
    (void)state;
    char folder[256];
    struct output output = {.descriptor = -1};
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    struct capture capture;
    struct stat about;
    int bound = socket(AF_UNIX, SOCK_STREAM, 0);

    make_folder(folder);
    snprintf(address.sun_path, sizeof address.sun_path, "%.80s/socket", folder);
    assert_int_equal(bind(bound, (struct sockaddr *)&address, sizeof address), 0);
    capture_start(&capture);
    assert_int_equal(output_open(&output, address.sun_path, &capture.sink), WM_IO);
    assert_non_null(strstr(capture.text, "/socket: cannot write: "));
    assert_int_equal(stat(address.sun_path, &about), 0);
    assert_true(S_ISSOCK(about.st_mode));
    close(bound);
    unlink(address.sun_path);
    assert_int_equal(rmdir(folder), 0);
}

/* /dev/full takes nothing: the failed write is a failed close, and nothing is left behind. */
static void a_write_that_fails(void **state)
{
    (void)state;
    struct output output = {.descriptor = -1};
    struct capture capture;
    uint64_t bytes;
    int saved = dup(STDOUT_FILENO);
    FILE *full = fopen("/dev/full", "w");

    if (full == NULL)
        skip();
    fflush(stdout);
    capture_start(&capture);
    dup2(fileno(full), STDOUT_FILENO);
    int opened = output_open(&output, NULL, &capture.sink);
    output_add(&output, "text", 4);
    int settled = output_settle(&output, &capture.sink, &bytes);
    int closed = output_close(&output, &capture.sink);
    dup2(saved, STDOUT_FILENO);
    close(saved);
    fclose(full);
    assert_int_equal(opened, WM_OK);
    assert_int_equal(settled, WM_IO);
    assert_int_equal(closed, WM_IO);
    assert_string_equal(capture.text, "standard output: cannot write: No space left on device\n"
                                      "standard output: cannot write: No space left on device\n");
}

/* Keys of which the index sees no difference but in their bytes, or in their length too. */
static void keys_of_one_hash(void **state)
{
    static const char *const KEYS[][2] = {{"K-241626", "K-731564"}, {"K-363711-0", "K-390929"}};
    struct text_index index = TEXT_INDEX_EMPTY;
    (void)state;

    for (uint32_t i = 0; i < COUNT(KEYS); i++) {
        struct text one = text_of(KEYS[i][0]), other = text_of(KEYS[i][1]);
        assert_int_equal(text_hash(one) >> 32, text_hash(other) >> 32);
        assert_int_equal(text_hash(one) & 31, text_hash(other) & 31);
        assert_int_equal(text_index_add(&index, one, 2 * i), 2 * i);
        assert_int_equal(text_index_find(&index, other), TEXT_INDEX_NONE);
        assert_int_equal(text_index_add(&index, other, 2 * i + 1), 2 * i + 1);
        assert_int_equal(text_index_find(&index, one), 2 * i);
        assert_int_equal(text_index_find(&index, other), 2 * i + 1);
    }
    text_index_free(&index);
}

/* What would be one text if both parts were only put together is two pairs. */
static void pairs_of_texts(void **state)
{
    struct arena arena = ARENA_EMPTY;
    const struct text none = {NULL, 0};

    (void)state;
    assert_true(text_equal(text_pair(&arena, TEXT("D1"), TEXT("C2")), (struct text){"D1\0C2", 5}));
    assert_true(text_equal(text_pair(&arena, none, TEXT("C")), (struct text){"\0C", 2}));
    assert_true(text_equal(text_pair(&arena, TEXT("D"), none), (struct text){"D\0", 2}));
    assert_false(text_equal(text_pair(&arena, TEXT("D1"), TEXT("2")), text_pair(&arena, TEXT("D"), TEXT("12"))));
    arena_free(&arena);
}

/* Zeroed, all of it one's own, and given back, on both sides of where large pages begin. */
static void large_memory(void **state)
{
    static const size_t BYTES[] = {1, 4096, LARGE_BYTES - 1, LARGE_BYTES, LARGE_BYTES + 1, 3 * LARGE_BYTES};

    (void)state;
    for (size_t i = 0; i < sizeof BYTES / sizeof BYTES[0]; i++) {
        unsigned char *memory = large_take(BYTES[i]), *other = large_take(BYTES[i]);
        assert_non_null(memory);
        assert_non_null(other);
        for (size_t at = 0; at < BYTES[i]; at += 1000)
            assert_int_equal(memory[at] | other[at], 0);
        memset(memory, 1, BYTES[i]);
        memset(other, 2, BYTES[i]);
        assert_int_equal(memory[0] | memory[BYTES[i] - 1], 1);
        large_give_back(other, BYTES[i]);
        assert_int_equal(memory[BYTES[i] / 2], 1);
        large_give_back(memory, BYTES[i]);
    }
    large_give_back(NULL, 4096);
    large_give_back(NULL, LARGE_BYTES);
#ifndef __SANITIZE_ADDRESS__ /* which ends a program that asks for as much */
    assert_null(large_take(SIZE_MAX / 2 + 1));
#endif
}

/* Short and long texts, over several pieces: each is found at its place, and no place is 0. */
static void text_pools(void **state)
{
    static char long_text[TEXT_POOL_MOST_BYTES];
    static const size_t LENGTHS[] = {0, 1, 2, 3, 4, 253, 254, 255, 256, 100000, TEXT_POOL_MOST_BYTES};
    enum { TEXTS = 40 * (int)(sizeof LENGTHS / sizeof LENGTHS[0]) };
    struct text_pool pool = {0};
    uint32_t places[TEXTS];
    (void)state;

    for (size_t i = 0; i < sizeof long_text; i++)
        long_text[i] = (char)('a' + i % 23);
    for (uint32_t i = 0; i < TEXTS; i++) {
        size_t length = LENGTHS[i % (sizeof LENGTHS / sizeof LENGTHS[0])];
        assert_int_equal(text_pool_add(&pool, (struct text){long_text, length}, &places[i]), WM_OK);
        assert_int_not_equal(places[i], 0);
    }
    for (uint32_t i = 0; i < TEXTS; i++) {
        struct text t = text_pool_at(&pool, places[i]);
        assert_int_equal(t.length, LENGTHS[i % (sizeof LENGTHS / sizeof LENGTHS[0])]);
        assert_memory_equal(t.bytes, long_text, t.length);
    }
    text_pool_free(&pool);
}

/* The numbers that are days: those that date_write can write. */
static void days_there_are(void **state)
{
    static const struct {
        int32_t day;
        bool is;
        const char *written;
    } CASES[] = {
        {0, true, "1970-01-01"},          {-719162, true, "0001-01-01"}, {-719163, false, NULL},
        {2932896, true, "9999-12-31"},    {2932897, false, NULL},        {DAY_NONE, false, NULL},
        {INT32_MAX, false, NULL},
    };
    (void)state;

    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        char room[DATE_ROOM];
        assert_int_equal(date_is_day(CASES[i].day), CASES[i].is);
        if (!CASES[i].is)
            continue;
        date_write(CASES[i].day, room);
        assert_string_equal(room, CASES[i].written);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(days_there_are),
        cmocka_unit_test(text_pools),
        cmocka_unit_test(pairs_of_texts),
        cmocka_unit_test(large_memory),
        cmocka_unit_test(numbers_read),
        cmocka_unit_test(numbers_written),
        cmocka_unit_test(random_numbers_come_back),
        cmocka_unit_test(rounding_half_away),
        cmocka_unit_test(dates_against_known_days),
        cmocka_unit_test(no_dates),
        cmocka_unit_test(every_day_comes_back),
        cmocka_unit_test(texts_compare),
        cmocka_unit_test(texts_cut),
        cmocka_unit_test(utf8),
        cmocka_unit_test(item_keys),
        cmocka_unit_test(distances),
        cmocka_unit_test(texts_in_an_arena),
        cmocka_unit_test(arenas),
        cmocka_unit_test(buffers),
        cmocka_unit_test(values),
        cmocka_unit_test(diagnostics),
        cmocka_unit_test(files_in),
        cmocka_unit_test(files_out),
        cmocka_unit_test(a_pipe_is_written_to_as_it_is),
        cmocka_unit_test(a_socket_is_left_alone),
        cmocka_unit_test(keys_of_one_hash),
        cmocka_unit_test(a_write_that_fails),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
