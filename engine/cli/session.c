#include "cli/session.h"

#include "base/status.h"

int session_open_rules(struct session *session, const struct options *options)
{
    session->sink = cli_diagnostics();
    int status = rules_files_read(options->rules, &session->arena, &session->sink, &session->files);
    if (status == WM_OK)
        status = rules_compile(&session->arena, &session->files, &session->sink, &session->rules);
    if (status == WM_OK)
        session->day = (struct office_day){session->rules, NULL, options->today, options->received_on};
    return status;
}

int session_open_office(struct session *session, const struct options *options)
{
    int status = office_open(options->office, OFFICE_READ, &session->sink, &session->office);

    if (status == WM_OK)
        status = office_source_open(session->office, 0, &session->register_source, &session->sink);
    if (status == WM_OK)
        status = register_open(&session->register_source, &session->office_register);
    session->day.office_register = session->office_register;
    return status;
}

void session_close(struct session *session)
{
    register_close(session->office_register);
    office_source_close(&session->register_source);
    office_close(session->office);
    rules_free(session->rules);
    arena_free(&session->arena);
}
