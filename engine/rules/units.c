#include "rules/units.h"

#include "base/sheet.h"
#include "base/status.h"

struct alias {
    struct text name;
    uint32_t unit;
};

struct units {
    struct unit *units;
    struct alias *aliases;
    uint32_t count, capacity, alias_count, alias_capacity;
};

enum { UNIT, ALIASES, QUANTITY, FACTOR, SOURCE, COLUMNS };
static const struct csv_column UNIT_COLUMNS[COLUMNS] = {
    {"unit", true}, {"aliases", false}, {"quantity", true}, {"factor", true}, {"source", false}};

enum {
    MOST_FACTOR_DIGITS = 18, /* what an unsigned 64-bit mantissa holds with any digits */
    MOST_FACTOR_PLACES = 30
};

/* Digits with one point at most, greater than zero, at most MOST_FACTOR_DIGITS digits after leading zeros. */
static bool read_factor(struct text t, uint64_t *ret_mantissa, unsigned *ret_places)
{
    uint64_t mantissa = 0;
    unsigned places = 0, digits = 0;
    bool point = false;

    for (size_t i = 0; i < t.length; i++) {
        char c = t.bytes[i];
        if (c == '.' && !point) {
            point = true;
            continue;
        }
        if (c < '0' || c > '9' || digits == MOST_FACTOR_DIGITS || places == MOST_FACTOR_PLACES)
            return false;
        mantissa = mantissa * 10 + (uint64_t)(c - '0');
        digits += mantissa > 0;
        places += point;
    }
    if (mantissa == 0)
        return false;
    while (places > 0 && mantissa % 10 == 0) {
        mantissa /= 10;
        places--;
    }
    *ret_mantissa = mantissa;
    *ret_places = places;
    return true;
}

const struct unit *units_find(const struct units *units, struct text name)
{
    for (uint32_t i = 0; i < units->alias_count; i++)
        if (text_equal_any_case(units->aliases[i].name, name))
            return &units->units[units->aliases[i].unit];
    return NULL;
}

static int add_alias(struct units *units, const struct sheet *sheet, int column, struct text name)
{
    if (units_find(units, name) != NULL) {
        diag_error(sheet->sink, sheet_place(sheet, column), "the unit \"%.*s\" is listed twice; keep one",
                   TEXT_ARGUMENTS(name));
        return WM_OK;
    }
    if (units->alias_count == units->alias_capacity) {
        uint32_t capacity = units->alias_capacity ? units->alias_capacity * 2 : 32;
        struct alias *grown =
            arena_grown(sheet->arena, units->aliases, units->alias_count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        units->aliases = grown;
        units->alias_capacity = capacity;
    }
    struct text copy = text_copy(sheet->arena, name);
    units->aliases[units->alias_count++] = (struct alias){copy, units->count - 1};
    return copy.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int add_unit(struct units *units, struct arena *arena, const struct unit *unit)
{
    if (units->count == units->capacity) {
        uint32_t capacity = units->capacity ? units->capacity * 2 : 16;
        struct unit *grown = arena_grown(arena, units->units, units->count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        units->units = grown;
        units->capacity = capacity;
    }
    units->units[units->count++] = *unit;
    return WM_OK;
}

static int read_unit(void *context, const struct sheet *sheet)
{
    struct units *units = context;
    struct text name = sheet_cell(sheet, UNIT), quantity = sheet_cell(sheet, QUANTITY);
    struct unit unit = {text_copy(sheet->arena, name), text_copy(sheet->arena, quantity), 0, 0};

    if (unit.name.bytes == NULL || unit.quantity.bytes == NULL)
        return WM_NO_MEMORY;
    if (name.length == 0 || quantity.length == 0) {
        diag_error(sheet->sink, sheet_place(sheet, name.length == 0 ? UNIT : QUANTITY),
                   "a unit needs its name and its quantity; fill the cell in");
        return WM_OK;
    }
    if (!read_factor(sheet_cell(sheet, FACTOR), &unit.mantissa, &unit.places)) {
        diag_error(
            sheet->sink, sheet_place(sheet, FACTOR),
            "\"%.*s\" is no factor; write a number above 0 of at most %d digits, such as 1.3558179483314",
            TEXT_ARGUMENTS(sheet_cell(sheet, FACTOR)), MOST_FACTOR_DIGITS);
        return WM_OK;
    }
    int status = add_unit(units, sheet->arena, &unit);
    if (status == WM_OK)
        status = add_alias(units, sheet, UNIT, name);
    struct text rest = sheet_cell(sheet, ALIASES), alias;
    while (status == WM_OK && text_next(&rest, ';', &alias))
        if (alias.length > 0)
            status = add_alias(units, sheet, ALIASES, alias);
    return status;
}

int units_read(struct arena *arena, struct text file, struct text csv, struct diag_sink *sink,
               struct units **ret_units)
{
    struct units *units = ARENA_NEW(arena, struct units);

    if (units == NULL)
        return WM_NO_MEMORY;
    int status = sheet_read(arena, file, csv, UNIT_COLUMNS, COLUMNS, read_unit, units, sink);
    if (status == WM_OK)
        *ret_units = units;
    return status;
}

/* --- Conversion -------------------------------------------------------------------------------------- */

static bool times_power_of_ten(__int128 *number, unsigned power)
{
    for (; power > 0; power--)
        if (__builtin_mul_overflow(*number, (__int128)10, number))
            return false;
    return true;
}

static uint64_t greatest_common_divisor(uint64_t a, uint64_t b)
{
    while (b != 0) {
        uint64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

bool units_convert(int64_t reading, const struct unit *from, const struct unit *to, __int128 *ret_numerator,
                   __int128 *ret_denominator)
{
    if (!text_equal(from->quantity, to->quantity))
        return false;
    uint64_t common = greatest_common_divisor(from->mantissa, to->mantissa);
    __int128 numerator = reading, denominator = to->mantissa / common;
    unsigned shared = from->places < to->places ? from->places : to->places;

    if (__builtin_mul_overflow(numerator, (__int128)(from->mantissa / common), &numerator) ||
        !times_power_of_ten(&numerator, to->places - shared) ||
        !times_power_of_ten(&denominator, from->places - shared))
        return false;
    *ret_numerator = numerator;
    *ret_denominator = denominator;
    return true;
}
