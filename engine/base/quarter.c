#include "base/quarter.h"

#include <stdio.h>

enum { QUARTERS = 4, MONTHS = 3, LAST_YEAR = 9998 };

int quarter_year(int32_t quarter)
{
    return quarter / QUARTERS;
}

int quarter_of_year(int32_t quarter)
{
    return quarter % QUARTERS + 1;
}

bool quarter_read(struct text t, int32_t *ret_quarter)
{
    int year = 0;

    if (t.length != 7 || t.bytes[4] != '-' || (t.bytes[5] != 'Q' && t.bytes[5] != 'q') || t.bytes[6] < '1' ||
        t.bytes[6] > '4')
        return false;
    for (int i = 0; i < 4; i++) {
        if (t.bytes[i] < '0' || t.bytes[i] > '9')
            return false;
        year = year * 10 + (t.bytes[i] - '0');
    }
    if (year < 1 || year > LAST_YEAR)
        return false;
    *ret_quarter = year * QUARTERS + (t.bytes[6] - '1');
    return true;
}

size_t quarter_write(int32_t quarter, char *room)
{
    return (size_t)snprintf(room, QUARTER_ROOM, "%04d-Q%d", quarter_year(quarter) % 10000,
                            quarter_of_year(quarter));
}

int32_t quarter_of_day(int32_t day)
{
    int year, month, of_month;

    date_to_civil(day, &year, &month, &of_month);
    return year * QUARTERS + (month - 1) / MONTHS;
}

int32_t quarter_first_day(int32_t quarter)
{
    return date_from_civil(quarter_year(quarter), quarter % QUARTERS * MONTHS + 1, 1);
}

int32_t quarter_last_day(int32_t quarter)
{
    return quarter_first_day(quarter + 1) - 1;
}
