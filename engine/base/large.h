/* large.h - memory for what may grow to millions of elements, in large pages of the processor where the system has any
 * to give: what is looked up at random all over it then misses fewer translations, and is had with fewer faults.
 *
 * Below LARGE_BYTES it is calloc's. From there on it begins at a large page and counts as used in whole large pages
 * (2 MiB on most machines), so that nobody should ask for much more than will be filled.
 */
#ifndef WM_BASE_LARGE_H
#define WM_BASE_LARGE_H

#include <stddef.h>

enum { LARGE_BYTES = 2 * 1024 * 1024 };

/* Zeroed; NULL without memory. The caller gives it back with the same size. */
void *large_take(size_t bytes);

/* Accepts NULL. */
void large_give_back(void *memory, size_t bytes);

#endif
