/* Numbers, money and dates: what is read is what a slow and obvious reader reads, and what is written reads the
 * same. The first byte is the number of places. */
#include "fuzz.h"

#include "base/date.h"
#include "base/decimal.h"

/* Digit by digit; the places that are allowed are counted, not skipped. */
static enum number_fault slow_number(struct text t, unsigned places, int64_t *ret_millionths)
{
    size_t at = t.length > 0 && t.bytes[0] == '-', digits = 0, behind = 0;
    bool point = false, negative = at > 0;
    __int128 whole = 0;

    for (size_t i = at; i < t.length; i++) {
        char c = t.bytes[i];
        if (c == '.' && !point) {
            point = true;
            continue;
        }
        if (c < '0' || c > '9')
            return NUMBER_MALFORMED;
        digits++;
        behind += point;
        if (behind <= 6 && whole < (__int128)1 << 100)
            whole = whole * 10 + (c - '0');
    }
    if (digits == 0 || (point && behind == 0))
        return NUMBER_MALFORMED;
    if (point && (places == 0 || behind > places))
        return NUMBER_TOO_PRECISE;
    for (; behind < 6; behind++)
        whole *= 10;
    if (whole > INT64_MAX)
        return NUMBER_TOO_LARGE;
    *ret_millionths = negative ? -(int64_t)whole : (int64_t)whole;
    return NUMBER_OK;
}

static void numbers(struct text t, unsigned places)
{
    int64_t number = 77, slow = 77, again = 0;
    char room[DECIMAL_ROOM];
    enum number_fault fault = decimal_read(t, places, &number);

    must(fault == slow_number(t, places, &slow), "a number is read as the slow reader reads it");
    must(number == slow, "it is the same number, or nothing was written");
    if (fault != NUMBER_OK) {
        must(number_fault_words(fault)[0] != '\0', "a fault has words");
        return;
    }
    size_t length = decimal_write(number, room);
    must(length < DECIMAL_ROOM && decimal_read((struct text){room, length}, 6, &again) == NUMBER_OK &&
             again == number,
         "a number that is written reads the same");
    length = money_write(number, room);
    must(length < DECIMAL_ROOM, "money has room");
    if (number / 1000000 < INT64_MAX / 1000000 / 10000 && number > 0) {
        must(decimal_read((struct text){room, length}, 2, &again) == NUMBER_OK && again == number * 10000,
             "money that is written reads the same");
    }
}

static bool slow_date(struct text t, int *year, int *month, int *day)
{
    static const int DAYS[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};

    if (t.length != 10 || t.bytes[4] != '-' || t.bytes[7] != '-')
        return false;
    for (size_t i = 0; i < 10; i++)
        if (i != 4 && i != 7 && (t.bytes[i] < '0' || t.bytes[i] > '9'))
            return false;
    *year = (t.bytes[0] - '0') * 1000 + (t.bytes[1] - '0') * 100 + (t.bytes[2] - '0') * 10 + t.bytes[3] - '0';
    *month = (t.bytes[5] - '0') * 10 + t.bytes[6] - '0';
    *day = (t.bytes[8] - '0') * 10 + t.bytes[9] - '0';
    bool leap = (*year % 4 == 0 && *year % 100 != 0) || *year % 400 == 0;
    return *year >= 1 && *month >= 1 && *month <= 12 && *day >= 1 &&
           *day <= DAYS[*month - 1] + (*month == 2 && leap);
}

static void dates(struct text t)
{
    int year = 0, month = 0, day_of_month = 0, y, m, d;
    int32_t day = 77;
    char room[DATE_ROOM];
    bool is = date_read(t, &day);

    must(is == slow_date(t, &year, &month, &day_of_month), "a date is read as the slow reader reads it");
    must(is || day == 77, "nothing is written where there is no date");
    if (!is)
        return;
    date_to_civil(day, &y, &m, &d);
    must(y == year && m == month && d == day_of_month, "a day is its year, month and day of the month");
    must(date_from_civil(year, month, day_of_month) == day, "and back");
    must(date_write(day, room) == 10 && memcmp(room, t.bytes, 10) == 0,
         "a date that is written is as it was read");
}

static void quotients(struct text t)
{
    int64_t numerator, denominator;

    if (t.length < 16)
        return;
    memcpy(&numerator, t.bytes, 8);
    memcpy(&denominator, t.bytes + 8, 8);
    if (denominator <= 0)
        return;
    int64_t rounded = round_half_away(numerator, denominator);
    __int128 off = ((__int128)rounded * denominator - numerator) * 2;
    must(off <= denominator && off >= -denominator, "a quotient is off by a half at most");
    must((off != denominator && off != -denominator) || (rounded > 0) == (numerator > 0),
         "a half goes away from zero");
    __int128 sum = (__int128)numerator + denominator;
    must(decimal_sum(numerator, denominator) == (sum > INT64_MAX ? INT64_MAX : (int64_t)sum),
         "a sum is exact, or the end of the range");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length);
    unsigned places = (unsigned)input_choose(&input, 7);
    struct text t;
    char *copy = input_rest(&input, &t);

    numbers(t, places);
    dates(t);
    quotients(t);
    free(copy);
    return 0;
}
