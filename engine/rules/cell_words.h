/* cell_words.h - conditions as people say them: `Brindle, 2018 to 2019, R16 or R20, built on 2022-05-31 or
 * before`.
 *
 * Nothing is lost: two cells that read alike hold for the same values, but for the blanks and quotes of their
 * spelling.
 */
#ifndef WM_RULES_CELL_WORDS_H
#define WM_RULES_CELL_WORDS_H

#include "base/buffer.h"
#include "tables/cell.h"

/* One cell under the name of its fact; `any NAME` for `-`. */
void cell_words(const struct cell *cell, struct text fact, enum value_type type, struct buffer *out);

/* The conditions of a row, joined by commas, without those that are `-` or that `leave_out` (may be NULL)
 * marks; `all` where none is left. */
void row_words(const struct table *table, uint32_t row, const bool *leave_out, const char *all,
               struct buffer *out);

/* A fact's name as people say it: `model_year` is `model year`, `option:towing` is `towing`. */
void fact_words(struct text fact, struct buffer *out);

#endif
