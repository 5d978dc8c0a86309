/* lint_words.h - boxes of a space in words: `Brindle, 2021, D22, without eps, repaired`. For the analysis of
 * tables. */
#ifndef WM_RULES_LINT_WORDS_H
#define WM_RULES_LINT_WORDS_H

#include "base/buffer.h"
#include "rules/lint_space.h"

/* One point of the box, in the dimensions in which the box is less than the domain. Adds nothing where it is
 * all. */
void lint_box_words(const struct lint_space *space, const uint64_t *box, struct buffer *out);

/* One class of a dimension: `2021`, `built on 2022-05-31`, `without eps`, `CAP not reported`. */
void lint_class_words(const struct lint_dim *dim, const struct lint_class *at, struct buffer *out);

#endif
