/* sql_words.h - the words of a piece of SQL, as SQLite cuts it: names, quoted names, numbers, texts, single
 * signs; comments and blanks left out.
 *
 * Only for looking at SQL, not for understanding it. Private to engine/ledger.
 */
#ifndef WM_LEDGER_SQL_WORDS_H
#define WM_LEDGER_SQL_WORDS_H

#include <stdbool.h>

#include "base/text.h"

struct sql_words {
    struct text sql;
    size_t at;    /* behind the last word */
    size_t start; /* of the last word */
};

/* The next word as it stands, with its quotes; false at the end. */
bool sql_next_word(struct sql_words *words, struct text *ret_word);

/* The name that a word is, without quotes; false: it is none, or longer than the room. */
bool sql_word_name(struct text word, char *room, size_t size);

/* Whether the word is this name; ASCII letters without regard to case. */
bool sql_word_is(struct text word, const char *name);

/* Behind AS: whether what follows is what a WITH table is made of: `(`, `MATERIALIZED (`, `NOT MATERIALIZED (`.
 */
bool sql_defines_table(struct sql_words words);

/* Whether the text selects from this table: its name stands where FROM, JOIN or their commas expect a table. */
bool sql_selects_from(struct text sql, const char *table);

#endif
