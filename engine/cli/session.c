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
        status = office_begin_read(session->office);
    session->reading = status == WM_OK;
    if (status == WM_OK)
        status = office_source_open(session->office, 0, &session->office_source);
    if (status == WM_OK)
        status = register_open(office_source_register(session->office_source), &session->office_register);
    session->day.office_register = session->office_register;
    return status;
}

int session_end_reading(struct session *session, int status)
{
    struct text words = session->office_register != NULL ? register_error(session->office_register)
                                                         : (struct text){NULL, 0};

    if (status == WM_IO && words.length > 0)
        diag_error(&session->sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(words));
    if (!session->reading)
        return status;
    session->reading = false;
    int ended = office_end_read(session->office);
    return status != WM_OK ? status : ended;
}

void session_close(struct session *session)
{
    session_end_reading(session, WM_OK);
    register_close(session->office_register);
    office_source_close(session->office_source);
    office_close(session->office);
    rules_free(session->rules);
    arena_free(&session->arena);
}
