#include "statistics/quantile.h"

double quantile(distribution *below, double a, double b, double share, double low, double high)
{
    for (;;) {
        double middle = low + (high - low) / 2;
        if (middle <= low || middle >= high)
            return middle;
        if (below(middle, a, b) < share)
            low = middle;
        else
            high = middle;
    }
}
