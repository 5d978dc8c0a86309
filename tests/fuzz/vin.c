/* VINs: form, check digit and model year against the regulation's words, taken slowly. */
#include "fuzz.h"

#include "facts/vin.h"

/* 49 CFR 565.15, Table III, written as the groups in which the regulation gives them. */
static int slow_value(char c)
{
    static const char *const GROUPS[] = {"", "AJ", "BKS", "CLT", "DMU", "ENV", "FW", "GPX", "HY", "RZ"};

    if (c >= '0' && c <= '9')
        return c - '0';
    for (int value = 1; value <= 9; value++)
        if (c != '\0' && strchr(GROUPS[value], c) != NULL)
            return value;
    return -1;
}

static void whole_vin(struct text vin)
{
    static const int WEIGHTS[] = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};
    int sum = 0, year = vin_model_year(vin);
    char digit = vin_check_digit(vin);

    for (size_t i = 0; i < 17; i++)
        sum += WEIGHTS[i] * slow_value(vin.bytes[i]);
    must(digit == "0123456789X"[sum % 11], "the check digit is the rest by 11");
    must(vin_check_is_right(vin) == (vin.bytes[8] == digit),
         "it is right where it is the one that belongs there");
    bool late = vin.bytes[6] < '0' || vin.bytes[6] > '9';
    must(year == 0 || (late ? year >= 2010 && year <= 2039 : year >= 1980 && year <= 2009),
         "position 7 tells which thirty years");
    must((year == 0) == (strchr("UZ0", vin.bytes[9]) != NULL), "U, Z and 0 are no years");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length);
    struct text t;
    char *copy = input_rest(&input, &t);

    if (text_is_utf8(t)) {
        enum vin_form form = vin_form(t);
        size_t characters = 0, allowed = 0;
        for (size_t i = 0; i < t.length; i++) {
            characters += ((unsigned char)t.bytes[i] & 0xc0) != 0x80;
            allowed += slow_value(t.bytes[i]) >= 0;
        }
        must((form == VIN_FORM_LENGTH) == (characters != 17), "17 characters are the length");
        must((form == VIN_FORM_OK) == (characters == 17 && allowed == t.length && t.length == 17),
             "a VIN is 17 of the characters allowed");
        must(vin_form_name(form)[0] != '\0', "a form has a name");
        if (form == VIN_FORM_OK)
            whole_vin(t);
    }
    free(copy);
    return 0;
}
