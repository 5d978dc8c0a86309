#include "regulator/calendar.h"

#include <stddef.h>

#include "base/date.h"

enum weekday { SUNDAY, MONDAY, TUESDAY, WEDNESDAY, THURSDAY, FRIDAY, SATURDAY, WEEK };

/* on > 0: that day of the month. Else the nth of a weekday, or the last one where nth is 0. */
struct holiday {
    const char *name;
    int month, on;
    enum weekday weekday;
    int nth;
};

/* 5 U.S.C. 6103(a), in its words for the names. */
static const struct holiday TABLE[HOLIDAYS] = {
    {"New Year's Day", 1, 1, SUNDAY, 0},
    {"Birthday of Martin Luther King, Jr.", 1, 0, MONDAY, 3},
    {"Washington's Birthday", 2, 0, MONDAY, 3},
    {"Memorial Day", 5, 0, MONDAY, 0},
    {"Juneteenth National Independence Day", 6, 19, SUNDAY, 0},
    {"Independence Day", 7, 4, SUNDAY, 0},
    {"Labor Day", 9, 0, MONDAY, 1},
    {"Columbus Day", 10, 0, MONDAY, 2},
    {"Veterans Day", 11, 11, SUNDAY, 0},
    {"Thanksgiving Day", 11, 0, THURSDAY, 4},
    {"Christmas Day", 12, 25, SUNDAY, 0},
};

/* 1970-01-01 was a Thursday. */
static enum weekday weekday_of(int32_t day)
{
    return (enum weekday)(((day + THURSDAY) % WEEK + WEEK) % WEEK);
}

const char *holiday_name(int holiday)
{
    return TABLE[holiday].name;
}

static int32_t nth_weekday(int year, const struct holiday *holiday)
{
    if (holiday->nth == 0) { /* no holiday's month is December here */
        int32_t last = date_from_civil(year, holiday->month + 1, 1) - 1;
        return last - (int32_t)((weekday_of(last) + WEEK - holiday->weekday) % WEEK);
    }
    int32_t first = date_from_civil(year, holiday->month, 1);
    return first + (int32_t)((holiday->weekday + WEEK - weekday_of(first)) % WEEK) + (holiday->nth - 1) * WEEK;
}

int32_t holiday_day(int holiday, int year)
{
    const struct holiday *about = &TABLE[holiday];

    return about->on > 0 ? date_from_civil(year, about->month, about->on) : nth_weekday(year, about);
}

int32_t holiday_kept_on(int holiday, int year)
{
    int32_t day = holiday_day(holiday, year);

    return weekday_of(day) == SATURDAY ? day - 1 : weekday_of(day) == SUNDAY ? day + 1 : day;
}

int holiday_on(int32_t day)
{
    int year, month, of_month;

    date_to_civil(day, &year, &month, &of_month);
    for (int holiday = 0; holiday < HOLIDAYS; holiday++)
        if (holiday_kept_on(holiday, year) == day)
            return holiday;
    return holiday_kept_on(0, year + 1) == day ? 0 : -1; /* New Year's Day, on the last Friday of December */
}

bool is_business_day(int32_t day)
{
    enum weekday weekday = weekday_of(day);

    return weekday != SATURDAY && weekday != SUNDAY && holiday_on(day) < 0;
}

int32_t next_business_day(int32_t day)
{
    while (!is_business_day(day))
        day++;
    return day;
}

int32_t after_business_days(int32_t day, int count)
{
    for (; count > 0; count--)
        day = next_business_day(day + 1);
    return day;
}
