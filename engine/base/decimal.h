/* decimal.h - exact numbers of at most six places, and money.
 *
 * A decimal is an int64_t in millionths: 1.5 is 1500000. Its range is about +-9.2e12. Money is an int64_t
 * in cents. Nothing here is binary floating point.
 */
#ifndef WM_BASE_DECIMAL_H
#define WM_BASE_DECIMAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

#define DECIMAL_ONE INT64_C(1000000)
#define DECIMAL_CENT INT64_C(10000)
#define DECIMAL_MAX INT64_MAX

enum number_fault {
    NUMBER_OK = 0,
    NUMBER_MALFORMED,      /* not digits with - before and . and digits after */
    NUMBER_TOO_PRECISE,    /* more places than allowed */
    NUMBER_TOO_LARGE       /* beyond the range of a decimal */
};

/* Reads all of t, no blanks around: digits, with `-` before and `.` and one to `places` digits after
 * (`.5` too); no `+`, exponent, thousands separator. places is 0 to 6; 0 allows no point at all. */
enum number_fault decimal_read(struct text t, unsigned places, int64_t *ret_millionths);

/* The reader of record: decimal_read goes by it wherever decimal_take sees more than plain digits. */
enum number_fault decimal_read_any(struct text t, unsigned places, int64_t *ret_millionths);

/* Takes a plain number off the front of [*at, end): up to DECIMAL_MOST_TAKEN characters, digits first, a point only
 * with one to most_places digits behind it. What decimal_read would read of these characters, and *at behind them;
 * false, and nothing moved, where the number is not as plain as that. */
#define DECIMAL_MOST_TAKEN 12
bool decimal_take(const char **at, const char *end, unsigned most_places, int64_t *ret_millionths);

/* What is wrong, for a message: "is not a number", "has more than two places", ... */
const char *number_fault_words(enum number_fault fault);

/* Writes without needless zeros ("12.5", "0.3", "-7"); room for DECIMAL_ROOM bytes. Returns the length. */
#define DECIMAL_ROOM 32
size_t decimal_write(int64_t millionths, char *room);

/* Writes a whole number in digits; room for DECIMAL_ROOM bytes. Returns the length. */
size_t whole_write(uint64_t whole, char *room);

/* Writes with two places ("12.50"); room for DECIMAL_ROOM bytes. Returns the length. */
size_t money_write(int64_t cents, char *room);

/* The same as words to print at once: money_words(cents).text. */
struct number_words {
    char text[DECIMAL_ROOM];
};
struct number_words decimal_words(int64_t millionths);
struct number_words money_words(int64_t cents);

/* a + b; beyond the range the end of it: what is paid is the smaller of two amounts, and stays right. */
int64_t decimal_sum(int64_t a, int64_t b);

/* numerator / denominator (denominator > 0), rounded half away from zero; saturates at the int64_t range. */
int64_t round_half_away(__int128 numerator, __int128 denominator);

#endif
