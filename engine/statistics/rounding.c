#include "statistics/rounding.h"

#include <math.h>

/* What a double can hold next to the ends of int64_t without leaving it. */
static const double LARGEST = 9.2e18;

static int64_t whole(double number)
{
    if (isnan(number))
        return 0;
    if (number > LARGEST)
        return INT64_MAX;
    return number < -LARGEST ? INT64_MIN : (int64_t)number;
}

double share_of(int64_t millionths)
{
    return (double)millionths / 1e6;
}

/* A limit that is a whole number but for the last bits of a double is that whole number. */
static double without_noise(double number)
{
    double nearest = round(number);

    return fabs(number - nearest) <= 1e-9 * fmax(1.0, fabs(number)) ? nearest : number;
}

int64_t millionths_near(double share)
{
    return whole(round(share * 1e6));
}

int64_t millionths_down(double share)
{
    return whole(floor(without_noise(share * 1e6)));
}

int64_t millionths_up(double share)
{
    return whole(ceil(without_noise(share * 1e6)));
}

int64_t cents_near(double cents)
{
    return whole(round(cents));
}

int64_t cents_down(double cents)
{
    return whole(floor(without_noise(cents)));
}

int64_t cents_up(double cents)
{
    return whole(ceil(without_noise(cents)));
}
