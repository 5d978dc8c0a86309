#include "base/diag.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>

#include "base/limits.h"
#include "base/shown.h"

static void report(struct diag_sink *sink, enum severity severity, struct place place, const char *format,
                   va_list arguments) __attribute__((format(printf, 4, 0)));

static void report(struct diag_sink *sink, enum severity severity, struct place place, const char *format,
                   va_list arguments)
{
    char message[LIMIT_MESSAGE_BYTES];

    vsnprintf(message, sizeof message, format, arguments);
    make_readable(message);
    diag_pass(sink, &(struct diag){severity, place, message});
}

void diag_pass(struct diag_sink *sink, const struct diag *diag)
{
    __atomic_add_fetch(diag->severity == SEVERITY_ERROR ? &sink->errors : &sink->warnings, 1, __ATOMIC_RELAXED);
    if (sink->report != NULL)
        sink->report(sink->context, diag);
}

void diag_error(struct diag_sink *sink, struct place place, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    report(sink, SEVERITY_ERROR, place, format, arguments);
    va_end(arguments);
}

void diag_warning(struct diag_sink *sink, struct place place, const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    report(sink, SEVERITY_WARNING, place, format, arguments);
    va_end(arguments);
}

size_t diag_write(const struct diag *diag, char *room, size_t size)
{
    char where[64] = "";
    const struct place *place = &diag->place;

    assert(size > 0);
    if (place->line > 0 && place->column > 0)
        snprintf(where, sizeof where, ":%llu:%u", (unsigned long long)place->line, place->column);
    else if (place->line > 0)
        snprintf(where, sizeof where, ":%llu", (unsigned long long)place->line);
    int length = snprintf(room, size, "%.*s%s%s%s", TEXT_ARGUMENTS(place->file), where,
                          place->file.length > 0 ? ": " : "", diag->message);
    make_readable(room);
    return (size_t)length < size ? (size_t)length : size - 1;
}
