#include "base/decimal.h"

#include <stdbool.h>
#include <stdio.h>

static const int64_t POWER_OF_TEN[7] = {1, 10, 100, 1000, 10000, 100000, 1000000};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

bool decimal_take(const char **at, const char *end, unsigned most_places, int64_t *ret_millionths)
{
    const char *from = *at, *start = from;
    uint64_t number = 0;
    unsigned digit, places = 0;

    for (; from < end && (digit = (unsigned)(unsigned char)*from - '0') <= 9; from++)
        number = number * 10 + digit;
    if (from == start)
        return false;
    if (from < end && *from == '.') {
        const char *point = from++;
        for (; from < end && (digit = (unsigned)(unsigned char)*from - '0') <= 9; from++)
            number = number * 10 + digit;
        places = (unsigned)(from - point - 1);
        if (places == 0 || places > most_places)
            return false;
    }
    if (from - start > DECIMAL_MOST_TAKEN)
        return false;
    *at = from;
    *ret_millionths = (int64_t)(number * (uint64_t)POWER_OF_TEN[6 - places]);
    return true;
}

enum number_fault decimal_read_any(struct text t, unsigned places, int64_t *ret_millionths)
{
    size_t i = 0, digits = 0, fraction_digits = 0;
    uint64_t whole = 0, fraction = 0;
    bool negative = t.length > 0 && t.bytes[0] == '-', point = false, large = false;

    for (i = negative; i < t.length && is_digit(t.bytes[i]); i++, digits++) {
        if (whole > UINT64_C(100000000000000))
            large = true;
        else
            whole = whole * 10 + (uint64_t)(t.bytes[i] - '0');
    }
    if (i < t.length && t.bytes[i] == '.') {
        point = true;
        for (i++; i < t.length && is_digit(t.bytes[i]); i++, fraction_digits++)
            if (fraction_digits < 6)
                fraction = fraction * 10 + (uint64_t)(t.bytes[i] - '0');
    }
    if (i != t.length || digits + fraction_digits == 0 || (point && fraction_digits == 0))
        return NUMBER_MALFORMED;
    if (fraction_digits > places)
        return NUMBER_TOO_PRECISE;
    for (size_t k = fraction_digits; k < 6; k++)
        fraction *= 10;
    int64_t millionths;
    if (large || __builtin_mul_overflow(whole, UINT64_C(1000000), &whole) ||
        __builtin_add_overflow(whole, fraction, &whole) || __builtin_add_overflow(whole, 0, &millionths))
        return NUMBER_TOO_LARGE;
    *ret_millionths = negative ? -millionths : millionths;
    return NUMBER_OK;
}

enum number_fault decimal_read(struct text t, unsigned places, int64_t *ret_millionths)
{
    const char *at = t.bytes, *end = t.bytes + t.length;
    int64_t taken;

    if (!decimal_take(&at, end, places, &taken) || at != end)
        return decimal_read_any(t, places, ret_millionths);
    *ret_millionths = taken;
    return NUMBER_OK;
}

const char *number_fault_words(enum number_fault fault)
{
    switch (fault) {
    case NUMBER_OK: return "is a number";
    case NUMBER_MALFORMED: return "is not a number";
    case NUMBER_TOO_PRECISE: return "has more places than this column allows";
    case NUMBER_TOO_LARGE: break;
    }
    return "is too large a number";
}

size_t whole_write(uint64_t whole, char *room)
{
    size_t length = 1;

    for (uint64_t rest = whole / 10; rest > 0; rest /= 10)
        length++;
    for (size_t at = length; at > 0; whole /= 10)
        room[--at] = (char)('0' + whole % 10);
    return length;
}

static size_t write_signed(uint64_t whole, bool negative, char *room)
{
    room[0] = '-';
    return negative + whole_write(whole, room + negative);
}

static uint64_t magnitude(int64_t n)
{
    return n < 0 ? UINT64_C(0) - (uint64_t)n : (uint64_t)n;
}

size_t decimal_write(int64_t millionths, char *room)
{
    uint64_t size = magnitude(millionths), fraction = size % 1000000;
    size_t length = write_signed(size / 1000000, millionths < 0, room);

    if (fraction > 0) {
        int places = 6;
        while (fraction % 10 == 0) {
            fraction /= 10;
            places--;
        }
        room[length++] = '.';
        for (int k = places; k > 0; k--)
            room[length++] = (char)('0' + fraction / (uint64_t)POWER_OF_TEN[k - 1] % 10);
    }
    room[length] = '\0';
    return length;
}

size_t money_write(int64_t cents, char *room)
{
    uint64_t size = magnitude(cents);
    size_t length = write_signed(size / 100, cents < 0, room);

    room[length++] = '.';
    room[length++] = (char)('0' + size / 10 % 10);
    room[length++] = (char)('0' + size % 10);
    room[length] = '\0';
    return length;
}

struct number_words decimal_words(int64_t millionths)
{
    struct number_words words;

    decimal_write(millionths, words.text);
    return words;
}

struct number_words money_words(int64_t cents)
{
    struct number_words words;

    money_write(cents, words.text);
    return words;
}

int64_t decimal_sum(int64_t a, int64_t b)
{
    int64_t sum;

    if (!__builtin_add_overflow(a, b, &sum))
        return sum;
    return a < 0 ? INT64_MIN : INT64_MAX;
}

int64_t round_half_away(__int128 numerator, __int128 denominator)
{
    bool negative = numerator < 0;
    unsigned __int128 n = negative ? -(unsigned __int128)numerator : (unsigned __int128)numerator;
    unsigned __int128 d = (unsigned __int128)denominator;
    unsigned __int128 quotient = n / d, rest = n - quotient * d;

    if (rest >= d - rest)
        quotient++;
    if (quotient > INT64_MAX)
        return negative ? INT64_MIN : INT64_MAX;
    return negative ? -(int64_t)quotient : (int64_t)quotient;
}
