#include "cli/desk.h"

#include <stdio.h>

#include "base/status.h"

int desk_open_rules(struct desk *desk, const struct options *options)
{
    desk->sink = cli_diagnostics();
    int status = rules_files_read(options->rules, &desk->arena, &desk->sink, &desk->files);
    if (status == WM_OK)
        status = rules_compile(&desk->arena, &desk->files, &desk->sink, &desk->rules);
    if (status == WM_OK)
        desk->day = (struct office_day){desk->rules, NULL, options->today, options->received_on, NULL};
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

/* The first use of a pack on a machine: whoever uses it must hear that its key is now the one to be trusted. */
static void say_pinned(const struct desk *desk, const char *path)
{
    char fingerprint[KEY_FINGERPRINT_ROOM];
    struct public_key key;

    memcpy(key.bytes, pack_head(desk->pack)->public_key, sizeof key.bytes);
    public_key_fingerprint(&key, fingerprint);
    fprintf(stderr, "This is the first pack used here. It is signed with the key\n  %s\nCompare that with what the "
            "office told you. Packs with another key are\nrefused from now on; the key is kept in %s\n", fingerprint,
            path);
}

int desk_open_pack(struct desk *desk, const struct options *options)
{
    struct pack_trust trust = {NULL, options->today};
    struct public_key key;
    const char *pinned = NULL;
    int status = WM_OK;

    desk->sink = cli_diagnostics();
    if (options->given[OPTION_TRUST] != NULL) {
        status = public_key_read(options->given[OPTION_TRUST], &desk->sink, &key);
        trust.key = &key;
    }
    if (status == WM_OK)
        status = pack_open(options->given[OPTION_PACK], &trust, &desk->sink, &desk->pack);
    if (status == WM_OK && desk->whole_pack)
        status = pack_check_all(desk->pack, &desk->sink);
    if (status == WM_OK)
        status = rules_compile(&desk->arena, pack_rules(desk->pack), &desk->sink, &desk->rules);
    if (status == WM_OK)
        status = register_open(pack_register(desk->pack), &desk->office_register);
    /* last, so that a pack that turns out to be of no use leaves no key behind */
    if (status == WM_OK)
        status = pack_remember_key(desk->pack, &desk->sink, &pinned);
    if (status != WM_OK)
        return status;
    if (pinned != NULL)
        say_pinned(desk, pinned);
    pack_withhold(&desk->withholding, desk->pack, desk->rules);
    desk->day = (struct office_day){desk->rules, desk->office_register, options->today, options->received_on,
                                    &desk->withholding.facts};
    return WM_OK;
}

int desk_open(struct desk *desk, const struct options *options)
{
    if (options->given[OPTION_PACK] != NULL)
        return desk_open_pack(desk, options);
    int status = desk_open_rules(desk, options);
    return status == WM_OK ? desk_open_office(desk, options) : status;
}

bool desk_options_fit(const struct options *options)
{
    bool pack = options->given[OPTION_PACK] != NULL;

    if (pack && (options->given[OPTION_OFFICE] != NULL || options->given[OPTION_RULES] != NULL))
        fputs("witnessmark: a pack brings its own rules and vehicles; leave out --office and --rules\n", stderr);
    else if (!pack && options->given[OPTION_TRUST] != NULL)
        fputs("witnessmark: --trust names the key of a pack; name the pack with --pack\n", stderr);
    else if (!pack && options->given[OPTION_LANG] != NULL)
        fputs("witnessmark: --lang is for what dealers read; name a pack with --pack\n", stderr);
    else
        return true;
    return false;
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
    pack_close(desk->pack);
    arena_free(&desk->arena);
}
