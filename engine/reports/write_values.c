#include "base/status.h"
#include "reports/write_report.h"

bool report_format_is_number(enum report_format format)
{
    return format == REPORT_INTEGER || format == REPORT_MONEY || format == REPORT_DECIMAL ||
           format == REPORT_PERCENT;
}

/* In tenths of a percent, rounded half away from zero. */
static void write_percent(struct buffer *out, int64_t share)
{
    int64_t tenths = round_half_away(share, DECIMAL_ONE / 1000);

    buffer_format(out, "%s%lld.%lld %%", tenths < 0 ? "-" : "",
                  (long long)(tenths < 0 ? -(tenths / 10) : tenths / 10),
                  (long long)(tenths < 0 ? -(tenths % 10) : tenths % 10));
}

static void write_number(struct buffer *out, enum report_format format, int64_t number)
{
    char room[DECIMAL_ROOM];

    if (format == REPORT_MONEY)
        buffer_add_money(out, number / DECIMAL_CENT);
    else if (format == REPORT_PERCENT)
        write_percent(out, number);
    else
        buffer_add(out, room, decimal_write(number, room));
}

void write_report_value(struct buffer *out, enum report_format format, struct value v)
{
    if (v.type == VALUE_NUMBER)
        write_number(out, format, v.number);
    else
        value_write(v, out);
}

void write_report_figure(struct buffer *out, enum report_format format, struct value v)
{
    char room[DECIMAL_ROOM];
    int64_t percent;

    if (v.type != VALUE_NUMBER || format != REPORT_PERCENT) {
        write_report_value(out, format, v);
        return;
    }
    if (__builtin_mul_overflow(v.number, 100, &percent))
        percent = v.number < 0 ? INT64_MIN : INT64_MAX;
    buffer_add(out, room, decimal_write(percent, room));
}

bool report_text_is_formula(struct text t)
{
    static const char *const SIGNS[] = {
        "=", "+", "-", "@", "\t", "\r", "\n", "\xef\xbc\x9d", "\xef\xbc\x8b", "\xef\xbc\x8d", "\xef\xbc\xa0"};
    int64_t number;

    while (t.length > 0 && t.bytes[0] == ' ')
        t = (struct text){t.bytes + 1, t.length - 1};
    if (decimal_read(t, 6, &number) == NUMBER_OK)
        return false;
    for (size_t i = 0; i < sizeof SIGNS / sizeof *SIGNS; i++)
        if (text_starts_with(t, text_of(SIGNS[i])))
            return true;
    return false;
}
