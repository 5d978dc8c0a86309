/* replies.h - what the office answers each dealer to a posted file: that dealer's claims and nothing of anybody
 * else.
 *
 * One file a dealer, DEALER.txt, .csv or .json, in a folder that is made if it is not there. Characters of the
 * dealer's code other than A-Z a-z 0-9 . _ - are written as %XX, so that no code names a file elsewhere. A
 * reply appears under its name only when it is whole, and never through a link.
 *
 * Replies grow over the files of one run: staged before a file is recorded, published after, or taken back.
 */
#ifndef WM_CLI_REPLIES_H
#define WM_CLI_REPLIES_H

#include "cli/command.h"
#include "facts/dossier.h"

struct replies;

/* Makes and opens the folder. */
int replies_open(const char *folder, enum format format, struct diag_sink *sink, struct replies **ret_replies);
void replies_close(struct replies *replies); /* takes back what is staged; accepts NULL */

/* In the order of the file. A row without a dealer's code has no reply. */
int replies_add(struct replies *replies, const struct dossier *dossier);

/* Writes the replies that were added to, under temporary names. */
int replies_stage(struct replies *replies);

/* Gives what is staged its names. */
int replies_publish(struct replies *replies);

/* Takes back what was added since the last publishing. */
void replies_take_back(struct replies *replies);

/* A dealer's code as the name of a file, without an ending. */
void replies_add_file_name(struct buffer *name, struct text dealer);

#endif
