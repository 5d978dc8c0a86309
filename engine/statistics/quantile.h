/* quantile.h - where a distribution reaches a share, found by halving. Private to engine/statistics.
 *
 * GSL's own inverses of the beta and gamma distributions (2.7) give no number, or a wrong one, in a few cases
 * of ten thousand; its distributions agree with R's. tests/statistics.sh found that.
 */
#ifndef WM_STATISTICS_QUANTILE_H
#define WM_STATISTICS_QUANTILE_H

/* A distribution with two parameters: the share below x, which rises with x. */
typedef double distribution(double x, double a, double b);

/* Where it reaches `share`, between low and high, to the last bit but a few. */
double quantile(distribution *below, double a, double b, double share, double low, double high);

#endif
