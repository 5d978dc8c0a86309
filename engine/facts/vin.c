#include "facts/vin.h"

enum { VIN_CHARACTERS_COUNT = 17, CHECK_AT = 8, YEAR_AT = 9, SEVENTH_AT = 6 };

/* Table III: the value of each character; -1: never in a VIN. */
static inline int value_of(char c)
{
    static const signed char VALUES[128] = {
        [0 ... '0' - 1] = -1, ['0'] = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, ['9' + 1 ... 'A' - 1] = -1,
        ['A'] = 1, 2, 3, 4, 5, 6, 7, 8, -1, 1, 2, 3, 4, 5, -1, 7, -1, 9, 2, 3, 4, 5, 6, 7, 8, 9,
        ['Z' + 1 ... 127] = -1,
    };

    return (unsigned char)c < sizeof VALUES ? VALUES[(unsigned char)c] : -1;
}

static size_t code_points(struct text t)
{
    size_t count = 0;

    for (size_t i = 0; i < t.length; i++)
        count += ((unsigned char)t.bytes[i] & 0xc0) != 0x80;
    return count;
}

enum vin_form vin_form(struct text vin)
{
    if (vin.length != VIN_CHARACTERS_COUNT)
        return code_points(vin) == VIN_CHARACTERS_COUNT ? VIN_FORM_CHARACTERS : VIN_FORM_LENGTH;
    for (size_t i = 0; i < vin.length; i++)
        if (value_of(vin.bytes[i]) < 0)
            return code_points(vin) == VIN_CHARACTERS_COUNT ? VIN_FORM_CHARACTERS : VIN_FORM_LENGTH;
    return VIN_FORM_OK;
}

const char *vin_form_name(enum vin_form form)
{
    static const char *const NAMES[] = {"ok", "length", "characters"};
    return NAMES[form];
}

char vin_check_digit(struct text vin)
{
    /* Table IV: the weight of each position */
    static const int WEIGHTS[VIN_CHARACTERS_COUNT] = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};
    int sum = 0;

    for (size_t i = 0; i < VIN_CHARACTERS_COUNT; i++)
        sum += WEIGHTS[i] * value_of(vin.bytes[i]);
    int rest = sum % 11;
    return rest == 10 ? 'X' : (char)('0' + rest);    /* Table V */
}

bool vin_check_is_right(struct text vin)
{
    return vin.bytes[CHECK_AT] == vin_check_digit(vin);
}

int vin_model_year(struct text vin)
{
    static const char CODES[] = "ABCDEFGHJKLMNPRSTVWXY123456789";    /* 1980 to 2009, then again from 2010 */
    char seventh = vin.bytes[SEVENTH_AT];
    const char *code = memchr(CODES, vin.bytes[YEAR_AT], sizeof CODES - 1);

    if (code == NULL)
        return 0;
    int first_cycle = 1980 + (int)(code - CODES);
    return seventh >= '0' && seventh <= '9' ? first_cycle : first_cycle + 30;
}
