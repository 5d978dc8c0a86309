/* Fast ways beside readers of record: both must read the same of everything, the malformed included. Random texts over
 * a few characters, so that every sign meets every other one. */
#include "capture.h"

#include "base/buffer.h"
#include "base/decimal.h"
#include "base/status.h"
#include "intake/items.h"

enum { ROUNDS = 300000, MOST_LENGTH = 40 };

/* Signs more often than they occur, so that most lists have something odd. */
static const char LIST_CHARACTERS[] = "AAb1120..==@@;;; \t-\xc3/9";
static const char NUMBER_CHARACTERS[] = "0011995..- +";

static struct text random_text(uint64_t *random, const char *characters, char room[MOST_LENGTH])
{
    size_t length = random_below(random, MOST_LENGTH);

    for (size_t i = 0; i < length; i++)
        room[i] = characters[random_below(random, strlen(characters))];
    return text_trim((struct text){room, length});
}

/* Items as most are, now and then with one character changed. */
static struct text likely_list(uint64_t *random, char room[MOST_LENGTH])
{
    static const char *const LISTS[] = {"KT-7731=1@106.90;CAP-04=2@6.20", "RP10=0.3; RP20=2.1;rp10=0.4",
                                        "A=1;a=2;B@1.5",
                                        "TQ=35.3 lbf.ft;LEAK=ok;tq=1", "kt 7731 01=12.000001 @ 3;", ";; ;X=0;Y=5@0"};
    const char *list = LISTS[random_below(random, sizeof LISTS / sizeof LISTS[0])];
    size_t length = strlen(list);

    memcpy(room, list, length);
    for (uint64_t changes = random_below(random, 4); changes > 1; changes--)
        room[random_below(random, length)] = LIST_CHARACTERS[random_below(random, strlen(LIST_CHARACTERS))];
    return (struct text){room, length};
}

static void assert_same_text(struct text a, struct text b, struct text of)
{
    if (!text_equal(a, b))
        fail_msg("\"%.*s\": \"%.*s\" is not \"%.*s\"", TEXT_ARGUMENTS(of), TEXT_ARGUMENTS(a), TEXT_ARGUMENTS(b));
}

static void assert_same_number(int64_t a, int64_t b, struct text of)
{
    if (a != b)
        fail_msg("\"%.*s\": %lld is not %lld", TEXT_ARGUMENTS(of), (long long)a, (long long)b);
}

static void compare_parts(struct text list, struct arena *arena)
{
    struct part_item *a = NULL, *b = NULL;
    uint32_t count = 0, count_of_record = 0;
    struct text reason = TEXT(""), reason_of_record = TEXT("");
    int status = items_read_parts(list, arena, &a, &count, &reason);

    assert_same_number(status, items_read_parts_of_record(list, arena, &b, &count_of_record, &reason_of_record), list);
    assert_same_text(reason, reason_of_record, list);
    assert_same_number(count, count_of_record, list);
    for (uint32_t i = 0; i < count; i++) {
        assert_same_text(a[i].number, b[i].number, list);
        assert_same_text(a[i].key, b[i].key, list);
        assert_same_number(a[i].quantity, b[i].quantity, list);
        assert_same_number(a[i].has_price, b[i].has_price, list);
        assert_same_number(a[i].price, b[i].price, list);
    }
}

static void compare_labor(struct text list, struct arena *arena)
{
    struct labor_item *a = NULL, *b = NULL;
    uint32_t count = 0, count_of_record = 0;
    struct text reason = TEXT(""), reason_of_record = TEXT("");
    int status = items_read_labor(list, arena, &a, &count, &reason);

    assert_same_number(status, items_read_labor_of_record(list, arena, &b, &count_of_record, &reason_of_record), list);
    assert_same_text(reason, reason_of_record, list);
    assert_same_number(count, count_of_record, list);
    for (uint32_t i = 0; i < count; i++) {
        assert_same_text(a[i].operation, b[i].operation, list);
        assert_same_text(a[i].key, b[i].key, list);
        assert_same_number(a[i].hours, b[i].hours, list);
    }
}

static void compare_inspections(struct text list, struct arena *arena)
{
    struct inspection_item *a = NULL, *b = NULL;
    uint32_t count = 0, count_of_record = 0;
    struct text reason = TEXT(""), reason_of_record = TEXT("");
    int status = items_read_inspections(list, arena, &a, &count, &reason);

    assert_same_number(status,
                       items_read_inspections_of_record(list, arena, &b, &count_of_record, &reason_of_record), list);
    assert_same_text(reason, reason_of_record, list);
    assert_same_number(count, count_of_record, list);
    for (uint32_t i = 0; i < count; i++) {
        assert_same_text(a[i].item, b[i].item, list);
        assert_same_text(a[i].key, b[i].key, list);
        assert_same_text(a[i].result, b[i].result, list);
        assert_same_number(a[i].has_reading, b[i].has_reading, list);
        assert_same_number(a[i].reading, b[i].reading, list);
        assert_same_text(a[i].unit, b[i].unit, list);
    }
}

static void items_are_read_as_the_reader_of_record_does(void **state)
{
    (void)state;
    uint64_t random = random_seed("items_are_read_as_the_reader_of_record_does");
    struct arena arena = ARENA_EMPTY;
    char room[MOST_LENGTH];

    for (int round = 0; round < random_times(ROUNDS); round++) {
        struct text list =
            round % 2 ? random_text(&random, LIST_CHARACTERS, room) : likely_list(&random, room);
        arena_reset(&arena);
        compare_parts(list, &arena);
        compare_labor(list, &arena);
        compare_inspections(list, &arena);
    }
    arena_free(&arena);
}

/* More items than are searched one by one, and than the first room holds. */
static void long_lists_too(void **state)
{
    (void)state;
    struct arena arena = ARENA_EMPTY;
    struct buffer list = BUFFER_EMPTY;

    for (int i = 0; i < 200; i++) {
        buffer_format(&list, "%sP%d=%d@1.5", i ? ";" : "", i % 70, i + 1);
        arena_reset(&arena);
        compare_parts(buffer_text(&list), &arena);
        compare_inspections(buffer_text(&list), &arena);
    }
    buffer_free(&list);
    arena_free(&arena);
}

static void numbers_are_read_as_the_reader_of_record_does(void **state)
{
    (void)state;
    uint64_t random = random_seed("numbers_are_read_as_the_reader_of_record_does");
    char room[MOST_LENGTH];

    for (int round = 0; round < random_times(ROUNDS); round++) {
        struct text number = random_text(&random, NUMBER_CHARACTERS, room);
        number.length = number.length > 24 ? random_below(&random, 14) : number.length;
        for (unsigned places = 0; places <= 6; places++) {
            int64_t a = -1, b = -1;
            assert_same_number(decimal_read(number, places, &a), decimal_read_any(number, places, &b), number);
            assert_same_number(a, b, number);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(items_are_read_as_the_reader_of_record_does),
        cmocka_unit_test(long_lists_too),
        cmocka_unit_test(numbers_are_read_as_the_reader_of_record_does),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
