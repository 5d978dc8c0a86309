/* pattern.h - regular expressions for matches(?, "pattern"): PCRE2, with its JIT and with limits.
 *
 * A pattern is compiled once and shared by all threads; what a search needs to write to is in a struct
 * pattern_work, one a thread. Patterns live in an arena, their code outside of it: pattern_free_list.
 */
#ifndef WM_TABLES_PATTERN_H
#define WM_TABLES_PATTERN_H

#include <stdbool.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/text.h"

struct pattern;

/* Puts the new pattern in front of *list. WM_BAD_INPUT with a diagnostic at place; WM_NO_MEMORY. */
int pattern_compile(struct arena *arena, struct text source, struct place place, struct diag_sink *sink,
                    struct pattern **list, const struct pattern **ret_pattern);

void pattern_free_list(struct pattern *list);

/* As the cell writes it, escapes undone. */
struct text pattern_source(const struct pattern *pattern);

struct pattern_work;
int pattern_work_new(struct pattern_work **ret_work);
void pattern_work_free(struct pattern_work *work);    /* accepts NULL */

/* Searches anywhere in subject. WM_LIMIT: given up after LIMIT_PATTERN_STEPS; WM_NO_MEMORY. */
int pattern_search(const struct pattern *pattern, struct pattern_work *work, struct text subject, bool *ret_found);

#endif
