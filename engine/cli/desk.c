#include "cli/desk.h"

#include "base/status.h"

int desk_open_rules(struct desk *desk, const struct options *options)
{
    desk->sink = cli_diagnostics();
    int status = rules_files_read(options->rules, &desk->arena, &desk->sink, &desk->files);
    if (status == WM_OK)
        status = rules_compile(&desk->arena, &desk->files, &desk->sink, &desk->rules);
    if (status == WM_OK)
        desk->day = (struct office_day){desk->rules, NULL, options->today, options->received_on};
    return status;
}

int desk_open_office(struct desk *desk, const struct options *options)
{
    int status =
        office_open(options->office, desk->alone ? OFFICE_READ_ALONE : OFFICE_READ, &desk->sink, &desk->office);

    if (status == WM_OK)
        status = office_begin_read(desk->office);
    desk->reading = status == WM_OK;
    if (status == WM_OK)
        status = office_source_open(desk->office, 0, &desk->office_source);
    if (status == WM_OK)
        status = register_open(office_source_register(desk->office_source), &desk->office_register);
    desk->day.office_register = desk->office_register;
    return status;
}

int desk_end_reading(struct desk *desk, int status)
{
    struct text words =
        desk->office_register != NULL ? register_error(desk->office_register) : (struct text){NULL, 0};

    if (status == WM_IO && words.length > 0)
        diag_error(&desk->sink, (struct place){{NULL, 0}, 0, 0}, "%.*s", TEXT_ARGUMENTS(words));
    if (!desk->reading)
        return status;
    desk->reading = false;
    int ended = office_end_read(desk->office);
    return status != WM_OK ? status : ended;
}

void desk_close(struct desk *desk)
{
    desk_end_reading(desk, WM_OK);
    register_close(desk->office_register);
    office_source_close(desk->office_source);
    office_close(desk->office);
    rules_free(desk->rules);
    arena_free(&desk->arena);
}
