#include "cli/audit_desk.h"

#include "base/status.h"

enum { HUNDRED_PERCENT = 1000000 };

static int open_to_write(struct desk *desk, const struct options *options)
{
    int status = office_open(options->office, OFFICE_CHANGE, &desk->sink, &desk->office);

    if (status == WM_OK)
        status = office_begin_write(desk->office);
    if (status == WM_OK)
        status = office_source_open(desk->office, 0, &desk->office_source);
    if (status == WM_OK)
        status = register_open(office_source_register(desk->office_source), &desk->office_register);
    desk->day.office_register = desk->office_register;
    return status;
}

int audit_desk_open(struct audit_desk *desk, const struct options *options, bool to_write)
{
    int status = sodium_init() >= 0 ? desk_open_rules(&desk->desk, options) : WM_NO_MEMORY;

    if (status == WM_OK)
        status = to_write ? open_to_write(&desk->desk, options) : desk_open_office(&desk->desk, options);
    desk->writing = to_write && status == WM_OK;
    if (status == WM_OK)
        status =
            look_back_open(desk->desk.rules, desk->desk.office_register, &desk->desk.sink, &desk->look_back);
    return status;
}

int audit_desk_commit(struct audit_desk *desk)
{
    desk->writing = false;
    return office_commit(desk->desk.office);
}

void audit_desk_close(struct audit_desk *desk)
{
    if (desk->writing)
        office_rollback(desk->desk.office);
    look_back_close(desk->look_back);
    desk_close(&desk->desk);
}

int audit_desk_sample(struct desk *desk, const char *name, struct sample *ret_sample,
                      struct judgement **ret_judgements)
{
    int status = sample_read(desk->office, &desk->arena, text_of(name), ret_sample);

    if (status == WM_NOT_FOUND)
        diag_error(&desk->sink, (struct place){{NULL, 0}, 0, 0},
                   "there is no sample \"%s\"; draw one with `witnessmark sample draw`", name);
    if (status != WM_OK)
        return status;
    *ret_judgements = ARENA_ARRAY(&desk->arena, struct judgement, ret_sample->item_count);
    return *ret_judgements == NULL ? WM_NO_MEMORY
                                   : judgements_read(desk->office, &desk->arena, ret_sample, *ret_judgements);
}

struct paid_filter audit_filter(const struct options *options, struct arena *arena)
{
    const char *const *given = options->given;

    return (struct paid_filter){.dealer = text_of(given[OPTION_DEALER]),
                                .campaign = text_of(given[OPTION_CAMPAIGN]),
                                .vin = text_upper(arena, text_of(given[OPTION_VIN])),
                                .finding = text_of(given[OPTION_FINDING]),
                                .effect = text_of(given[OPTION_EFFECT]),
                                .since = options->since,
                                .until = options->until};
}

/* --- Options ----------------------------------------------------------------------------------------- */

void audit_say(struct diag_sink *sink, const char *words)
{
    diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "%s", words);
}

static bool missing(struct diag_sink *sink, const char *option_name)
{
    diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "--%s is missing; --help says what it is", option_name);
    return false;
}

static bool wrong(struct diag_sink *sink, const char *option_name, const char *word, const char *what)
{
    diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "--%s \"%s\" %s", option_name, word, what);
    return false;
}

bool audit_read_percent(const struct options *options, enum option_number option, const char *option_name,
                        const char *fallback, struct diag_sink *sink, int64_t *ret_millionths)
{
    const char *word = options->given[option] != NULL ? options->given[option] : fallback;
    int64_t percent;

    if (word == NULL)
        return missing(sink, option_name);
    if (decimal_read(text_of(word), 4, &percent) != NUMBER_OK || percent <= 0 || percent >= 100 * DECIMAL_ONE)
        return wrong(sink, option_name, word, "is no percentage between 0 and 100; write it as 5 or 2.5");
    *ret_millionths = percent / 100;
    return true;
}

bool audit_read_amount(const struct options *options, enum option_number option, const char *option_name,
                       struct diag_sink *sink, int64_t *ret_cents)
{
    const char *word = options->given[option];
    int64_t millionths;

    if (word == NULL)
        return missing(sink, option_name);
    if (decimal_read(text_of(word), 2, &millionths) != NUMBER_OK || millionths <= 0)
        return wrong(sink, option_name, word, "is no amount above 0; write it as 2500 or 391.65");
    *ret_cents = millionths / DECIMAL_CENT;
    return true;
}

bool audit_read_count(const struct options *options, enum option_number option, const char *option_name,
                      int64_t most, struct diag_sink *sink, int64_t *ret_count)
{
    const char *word = options->given[option];
    int64_t millionths;

    if (word == NULL)
        return missing(sink, option_name);
    if (decimal_read(text_of(word), 0, &millionths) != NUMBER_OK || millionths <= 0 ||
        millionths / DECIMAL_ONE > most)
        return wrong(sink, option_name, word,
                     "is no whole number above 0 that makes sense here; write it as 60");
    *ret_count = millionths / DECIMAL_ONE;
    return true;
}

bool audit_read_text(const struct options *options, enum option_number option, const char *what,
                     struct diag_sink *sink, struct text *ret_text)
{
    struct text given = text_trim(text_of(options->given[option]));

    if (given.length == 0)
        diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "%s", what);
    else if (!text_is_utf8(given))
        diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "\"%.*s\" is not UTF-8 text; write it anew",
                   TEXT_ARGUMENTS(given));
    else {
        *ret_text = given;
        return true;
    }
    return false;
}

int audit_print(const struct buffer *words, struct diag_sink *sink, int code)
{
    struct output out;

    if (words->failed)
        return cli_exit(WM_NO_MEMORY);
    output_open(&out, NULL, sink); /* standard output is open already */
    output_add(&out, words->bytes, words->length);
    return cli_finish(&out, sink, code);
}
