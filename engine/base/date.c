#include "base/date.h"

#include <time.h>

static bool is_leap(int year)
{
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

static int days_in_month(int year, int month)
{
    static const int days[12] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    return month == 2 && is_leap(year) ? 29 : days[month - 1];
}

/* Days from 0001-01-01 to the first of January of this year. */
static int32_t days_before_year(int year)
{
    int y = year - 1;
    return y * 365 + y / 4 - y / 100 + y / 400;
}

enum { EPOCH_FROM_YEAR_ONE = 719162 };    /* days from 0001-01-01 to 1970-01-01 */

int32_t date_from_civil(int year, int month, int day_of_month)
{
    static const int before_month[12] = {0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334};
    int32_t day = days_before_year(year) + before_month[month - 1] + day_of_month - 1;

    if (month > 2 && is_leap(year))
        day++;
    return day - EPOCH_FROM_YEAR_ONE;
}

bool date_is_day(int32_t day)
{
    return day >= -EPOCH_FROM_YEAR_ONE && day < days_before_year(10000) - EPOCH_FROM_YEAR_ONE;
}

void date_to_civil(int32_t day, int *ret_year, int *ret_month, int *ret_day_of_month)
{
    int32_t rest = day + EPOCH_FROM_YEAR_ONE;
    int year = (int)((int64_t)rest * 400 / 146097) + 1; /* never too late: leap days come at the end */
    int month = 1;

    while (days_before_year(year + 1) <= rest)
        year++;
    rest -= days_before_year(year);
    while (rest >= days_in_month(year, month))
        rest -= days_in_month(year, month++);
    *ret_year = year;
    *ret_month = month;
    *ret_day_of_month = rest + 1;
}

/* Two digits; above 99 where one is none. */
static inline unsigned two_digits(const char *p)
{
    unsigned tens = (unsigned)(unsigned char)p[0] - '0', ones = (unsigned)(unsigned char)p[1] - '0';

    return tens > 9 || ones > 9 ? 100 : tens * 10 + ones;
}

bool date_read(struct text t, int32_t *ret_day)
{
    if (t.length != 10 || t.bytes[4] != '-' || t.bytes[7] != '-')
        return false;
    unsigned century = two_digits(t.bytes), of_century = two_digits(t.bytes + 2);
    int year = (int)(century * 100 + of_century), month = (int)two_digits(t.bytes + 5),
        day = (int)two_digits(t.bytes + 8);
    if (century > 99 || of_century > 99 ||
        year < 1 || month < 1 || month > 12 || day < 1 || day > days_in_month(year, month))
        return false;
    *ret_day = date_from_civil(year, month, day);
    return true;
}

size_t date_write(int32_t day, char *room)
{
    int year, month, day_of_month;

    date_to_civil(day, &year, &month, &day_of_month);
    for (int i = 3; i >= 0; i--, year /= 10)
        room[i] = (char)('0' + year % 10);
    room[4] = room[7] = '-';
    room[5] = (char)('0' + month / 10);
    room[6] = (char)('0' + month % 10);
    room[8] = (char)('0' + day_of_month / 10);
    room[9] = (char)('0' + day_of_month % 10);
    room[10] = '\0';
    return 10;
}

int32_t date_today(void)
{
    time_t now = time(NULL);
    struct tm local;

    localtime_r(&now, &local);
    return date_from_civil(local.tm_year + 1900, local.tm_mon + 1, local.tm_mday);
}
