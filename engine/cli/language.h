/* language.h - sentences in the reader's language: from the program's own list, or from a message file of the
 * rules.
 *
 * A message file is rules/messages/CODE.csv with the columns key and text (a column english is left alone: it
 * is for the translator). Keys are those of sentences.h; `checks/SCOPE/NAME.csv:ROW` for the message of a
 * check's row; `campaigns/ID/campaign.csv:KEY` for the title, kind and hazard of a campaign. What a file does
 * not have is said in English, or as the rules write it. Texts have the same places as what they translate.
 *
 * English is there without a file. A language borrows the rules' files and the arena.
 */
#ifndef WM_CLI_LANGUAGE_H
#define WM_CLI_LANGUAGE_H

#include "base/buffer.h"
#include "cli/sentences.h"
#include "facts/dossier.h"
#include "rules/rules.h"

struct language;

/* code NULL: English. WM_BAD_INPUT: there is no such file, or it cannot be used; reported. */
int language_open(struct arena *arena, const struct rules *rules, const char *code, struct diag_sink *sink,
                  struct language **ret_language);
void language_close(struct language *language); /* accepts NULL */

/* What a place is filled with. */
struct said {
    const char *name;
    struct text value;
};

/* Appends the sentence, its places filled. said: ended by a name NULL; may be NULL. */
void language_say(const struct language *language, struct buffer *out, enum sentence sentence,
                  const struct said *said);
#define SAY(language, out, sentence, ...) \
    language_say(language, out, sentence, (const struct said[]){__VA_ARGS__ __VA_OPT__(, ){NULL, {NULL, 0}}})

/* The text as it stands, with its places. */
struct text language_text(const struct language *language, enum sentence sentence);

/* A campaign's title, kind or hazard. */
struct text language_of_campaign(const struct language *language, const struct campaign *campaign,
                                 const char *key);

/* What a finding says. dossier: its own; item facts are put into its facts on the way. */
int language_finding(const struct language *language, struct dossier *dossier, const struct finding *finding,
                     struct buffer *out);

/* What a row of a check would say of a claim; facts that are null are said to be known to the office. */
void language_possible(const struct language *language, const struct dossier *dossier, struct text rule_file,
                       struct text rule_row, struct buffer *out);

/* A reason that engine/intake gives, or what it says of an ambiguity. False, and the reason as it is, where its
 * words are not known. */
bool language_fault(const struct language *language, struct text reason, struct buffer *out);

/* --- For translators --------------------------------------------------------------------------------- */

struct message {
    struct text key, original, text; /* text empty: not translated */
};

typedef int take_message(void *taker, const struct message *message);

/* Every text that can be translated, in a steady order. */
int language_messages(const struct language *language, take_message *take, void *taker);

/* Reports what is wrong with the message file: keys that are none, places that differ. Counts what is missing.
 */
int language_check(const struct language *language, struct diag_sink *sink, uint32_t *ret_missing);

#endif
