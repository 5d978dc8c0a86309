/* audit_desk.h - what the commands of an audit begin with, and how they read amounts and percentages. */
#ifndef WM_CLI_AUDIT_DESK_H
#define WM_CLI_AUDIT_DESK_H

#include "audit/look_back.h"
#include "cli/desk.h"
#include "ledger/audit_records.h"

struct audit_desk {
    struct desk desk;
    struct look_back *look_back; /* over rules and register */
    bool writing;
};

/* Opens rules, office file, register. to_write: inside office_begin_write, until audit_desk_commit. */
int audit_desk_open(struct audit_desk *desk, const struct options *options, bool to_write);
int audit_desk_commit(struct audit_desk *desk);
void audit_desk_close(struct audit_desk *desk); /* takes back what is not committed */

/* The sample of this name and the judgements that count; says so where there is none. */
int audit_desk_sample(struct desk *desk, const char *name, struct sample *ret_sample,
                      struct judgement **ret_judgements);

/* A filter by the options of `flags`. */
struct paid_filter audit_filter(const struct options *options, struct arena *arena);

/* Read what an option was given, or its default; false after saying what is wrong with it. Percent: above 0 and
 * below 100, as millionths. */
bool audit_read_percent(const struct options *options, enum option_number option, const char *option_name,
                        const char *fallback, struct diag_sink *sink, int64_t *ret_millionths);
bool audit_read_amount(const struct options *options, enum option_number option, const char *option_name,
                       struct diag_sink *sink, int64_t *ret_cents);
bool audit_read_count(const struct options *options, enum option_number option, const char *option_name,
                      int64_t most, struct diag_sink *sink, int64_t *ret_count);
bool audit_read_text(const struct options *options, enum option_number option, const char *what,
                     struct diag_sink *sink, struct text *ret_text);

/* A diagnostic about no place, without a format. */
void audit_say(struct diag_sink *sink, const char *words);

/* Prints a buffer to standard output; the exit code. */
int audit_print(const struct buffer *words, struct diag_sink *sink, int code);

#endif
