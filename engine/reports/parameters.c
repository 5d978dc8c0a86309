#include "reports/parameters.h"

#include "base/buffer.h"
#include "base/status.h"
#include "reports/read_report.h"

enum { MOST_DAYS_AWAY = 100000 };

static const char *const TAKEN[] = {"office", "rules",   "today",   "format",  "out",        "quiet",
                                    "help",   "reports", "seconds", "section", "plain_cells"};

bool parameter_is_taken(struct text name)
{
    for (size_t i = 0; i < sizeof TAKEN / sizeof *TAKEN; i++)
        if (text_is(name, TAKEN[i]))
            return true;
    return false;
}

/* `today`, `today - 90`, or a date. */
static const char *read_date(struct text words, int32_t today, struct value *ret_value)
{
    static const char WRONG[] = "is no date; write it as 2026-03-01, or as today - 7";
    int64_t days;
    int32_t day;

    if (date_read(words, &day)) {
        *ret_value = value_date(day);
        return NULL;
    }
    if (!text_starts_with(words, TEXT("today")))
        return WRONG;
    struct text rest = text_trim((struct text){words.bytes + 5, words.length - 5});
    if (rest.length == 0) {
        *ret_value = value_date(today);
        return NULL;
    }
    char sign = rest.bytes[0];
    rest = text_trim((struct text){rest.bytes + 1, rest.length - 1});
    if ((sign != '-' && sign != '+') || decimal_read(rest, 0, &days) != NUMBER_OK || days < 0 ||
        days > MOST_DAYS_AWAY * DECIMAL_ONE)
        return WRONG;
    days /= DECIMAL_ONE;
    *ret_value = value_date(today + (int32_t)(sign == '-' ? -days : days));
    return NULL;
}

static const char *read_number(struct text words, unsigned places, const char *wrong, struct value *ret_value)
{
    int64_t number;

    if (decimal_read(words, places, &number) != NUMBER_OK)
        return wrong;
    *ret_value = value_number(number);
    return NULL;
}

static const char *read_choice(const struct report_parameter *parameter, struct text words, struct arena *arena,
                               struct value *ret_value)
{
    struct buffer wrong = BUFFER_EMPTY;

    for (uint32_t i = 0; i < parameter->choice_count; i++)
        if (text_equal(words, parameter->choices[i])) {
            *ret_value = value_text(words);
            return NULL;
        }
    buffer_add_string(&wrong, "is none of its words; write ");
    for (uint32_t i = 0; i < parameter->choice_count; i++) {
        buffer_add_string(&wrong, i == 0 ? "" : i + 1 < parameter->choice_count ? ", " : " or ");
        buffer_add_text(&wrong, parameter->choices[i]);
    }
    struct text copy = wrong.failed ? TEXT("is none of its words") : text_copy(arena, buffer_text(&wrong));
    buffer_free(&wrong);
    return copy.bytes != NULL ? copy.bytes : "is none of its words";
}

const char *parameter_read(const struct report_parameter *parameter, struct text words, int32_t today,
                           struct arena *arena, struct value *ret_value)
{
    switch (parameter->format) {
    case REPORT_DATE: return read_date(words, today, ret_value);
    case REPORT_INTEGER: return read_number(words, 0, "is no whole number; write it as 50", ret_value);
    case REPORT_MONEY: return read_number(words, 2, "is no amount of money; write it as 250.00", ret_value);
    case REPORT_DECIMAL: return read_number(words, 6, "is no number; write it as 1.5", ret_value);
    case REPORT_CHOICE: return read_choice(parameter, words, arena, ret_value);
    default:
        if (!text_is_utf8(words))
            return "is no text (UTF-8); write it anew";
        *ret_value = value_text(words);
        return NULL;
    }
}

/* As an option names it, `due-within` is the parameter due_within. */
static bool is_named(struct text parameter, struct text option)
{
    if (parameter.length != option.length)
        return false;
    for (size_t i = 0; i < option.length; i++)
        if (parameter.bytes[i] != (option.bytes[i] == '-' ? '_' : option.bytes[i]))
            return false;
    return true;
}

static struct text parameter_at(const void *list, uint32_t number)
{
    return ((const struct report_parameter *)list)[number].name;
}

static void report_unknown(const struct report *report, struct text name, struct diag_sink *sink)
{
    struct place place = {{NULL, 0}, 0, 0};
    struct text nearest = report_nearest(name, parameter_at, report->parameters, report->parameter_count);

    if (nearest.length > 0)
        diag_error(sink, place, "the report %.*s has no --%.*s; nearest is --%.*s",
                   TEXT_ARGUMENTS(report->name), TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(nearest));
    else
        diag_error(sink, place,
                   "the report %.*s has no --%.*s; `witnessmark report %.*s --help` lists what it has",
                   TEXT_ARGUMENTS(report->name), TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(report->name));
}

static void read_one(const struct report *report, uint32_t number, const struct parameter_word *given,
                     int32_t today, struct arena *arena, struct diag_sink *sink, struct value *ret_value)
{
    const struct report_parameter *parameter = &report->parameters[number];
    struct place place = {{NULL, 0}, 0, 0};

    *ret_value = value_null();
    if (given == NULL && parameter->required) {
        diag_error(sink, place, "the report %.*s needs --%.*s: %.*s", TEXT_ARGUMENTS(report->name),
                   TEXT_ARGUMENTS(parameter->name), TEXT_ARGUMENTS(parameter->meaning));
        return;
    }
    struct text words = given != NULL ? given->value : parameter->default_words;
    if (words.length == 0)
        return;
    const char *wrong = parameter_read(parameter, words, today, arena, ret_value);
    if (wrong != NULL)
        diag_error(sink, place, "--%.*s \"%.*s\" %s", TEXT_ARGUMENTS(parameter->name), TEXT_ARGUMENTS(words),
                   wrong);
}

int parameters_read(const struct report *report, const struct parameter_word *words, uint32_t count,
                    int32_t today, struct arena *arena, struct diag_sink *sink, struct value **ret_values)
{
    struct value *values = ARENA_ARRAY(arena, struct value, report->parameter_count + 1);
    const struct parameter_word **given =
        ARENA_ARRAY(arena, const struct parameter_word *, report->parameter_count + 1);
    size_t errors = sink->errors;

    if (values == NULL || given == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < count; i++) {
        uint32_t number = 0;
        while (number < report->parameter_count && !is_named(report->parameters[number].name, words[i].name))
            number++;
        if (number == report->parameter_count)
            report_unknown(report, words[i].name, sink);
        else if (given[number] != NULL)
            diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "--%.*s is given twice; leave one out",
                       TEXT_ARGUMENTS(words[i].name));
        else
            given[number] = &words[i];
    }
    for (uint32_t i = 0; i < report->parameter_count; i++)
        read_one(report, i, given[i], today, arena, sink, &values[i]);
    if (sink->errors > errors)
        return WM_BAD_INPUT;
    *ret_values = values;
    return WM_OK;
}
