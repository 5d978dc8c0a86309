/* desk.h - what most commands begin with: the rules compiled, the office file open, the register over it; or the
 * same three from a dealer's pack. */
#ifndef WM_CLI_DESK_H
#define WM_CLI_DESK_H

#include "cli/command.h"
#include "facts/history.h"
#include "ledger/office.h"
#include "ledger/office_source.h"
#include "pack/pack.h"
#include "pack/unknown_facts.h"
#include "register/register.h"
#include "rules/rules.h"

struct desk {
    struct arena arena;
    struct rules_files files;
    struct rules *rules;
    struct office *office;
    struct office_source *office_source;
    bool alone;                /* set before opening: one thread only uses the office file, which is faster */
    struct pack *pack;         /* NULL: this is the office's desk */
    bool whole_pack;           /* set before opening: every byte of the pack is checked first */
    struct pack_withholding withholding;
    bool reading;              /* the office is read as it stood when it was opened */
    struct office_register *office_register;
    struct office_day day;
    struct diag_sink sink;
};

/* Reads and compiles the rules folder; prints every error. */
int desk_open_rules(struct desk *desk, const struct options *options);

/* Opens the office file for reading, and the register over it. */
int desk_open_office(struct desk *desk, const struct options *options);

/* Opens the pack (--pack, --trust), and its rules and register. */
int desk_open_pack(struct desk *desk, const struct options *options);

/* The pack where --pack is given, else rules and office. */
int desk_open(struct desk *desk, const struct options *options);

/* Whether --pack goes with the other options; says what does not. */
bool desk_options_fit(const struct options *options);

/* To be called when all has been read, with the status so far: says what the register could not read, and fails where
 * the office file changed under a reader that could not lock it. */
int desk_end_reading(struct desk *desk, int status);

/* Accepts a zeroed or half-opened desk. */
void desk_close(struct desk *desk);

#endif
