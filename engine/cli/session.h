/* session.h - what most commands begin with: the rules compiled, the office file open, the register over it. */
#ifndef WM_CLI_SESSION_H
#define WM_CLI_SESSION_H

#include "cli/command.h"
#include "facts/history.h"
#include "ledger/office.h"
#include "ledger/office_source.h"
#include "register/register.h"
#include "rules/rules.h"

struct session {
    struct arena arena;
    struct rules_files files;
    struct rules *rules;
    struct office *office;
    struct register_source register_source;
    struct office_register *office_register;
    struct office_day day;
    struct diag_sink sink;
};

/* Reads and compiles the rules folder; prints every error. */
int session_open_rules(struct session *session, const struct options *options);

/* Opens the office file for reading, and the register over it. */
int session_open_office(struct session *session, const struct options *options);

/* Accepts a zeroed or half-opened session. */
void session_close(struct session *session);

#endif
