/* VINs against what others say of them: the regulation's own example and the list in it, VINs that are known to be
 * right, and a package of another language over 100,000 VINs.
 */
#include "program.h"

#include "facts/vin.h"

/* --- Single VINs ---------------------------------------------------------------------------------------------- */

static void check_digits(void **state)
{
    static const struct {
        const char *vin;
        char digit;     /* what position 9 must be */
        bool right;     /* and whether it is */
    } CASES[] = {
        /* 49 CFR 565.15(c), the worked example: 411 = 37 x 11 + 4 */
        {"1G4AH59H05G118341", '4', false},
        {"1G4AH59H45G118341", '4', true},
        /* encyclopedic example: 351 = 31 x 11 + 10, which is written X */
        {"1M8GDM9AXKP042788", 'X', true},
        {"1M8GDM9A1KP042788", 'X', false},
        /* seventeen ones: the weights add up to 89 = 8 x 11 + 1 */
        {"11111111111111111", '1', true},
        /* 186 = 16 x 11 + 10 */
        {"LJCPCBLCX11000237", 'X', true},
        /* from memory: 408 = 37 x 11 + 1; with S in front 384 = 34 x 11 + 10 */
        {"5GZCZ43D13S812715", '1', true},
        {"SGZCZ43D13S812715", 'X', false},
        /* from memory: 311 = 28 x 11 + 3; 364 = 33 x 11 + 1 */
        {"1HGCM82633A004352", '3', true},
        {"JH4KA7561PC008269", '1', true},
        /* from memory: a vehicle for a market that has no check digit; 459 = 41 x 11 + 8 */
        {"WP0ZZZ99ZTS392124", '8', false},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct text vin = text_of(CASES[i].vin);
        assert_int_equal(vin_form(vin), VIN_FORM_OK);
        if (vin_check_digit(vin) != CASES[i].digit || vin_check_is_right(vin) != CASES[i].right)
            fail_msg("%s: the check digit is said to be %c", CASES[i].vin, vin_check_digit(vin));
    }
}

static void forms(void **state)
{
    static const struct {
        const char *vin;
        enum vin_form form;
    } CASES[] = {
        {"1M8GDM9AXKP042788", VIN_FORM_OK},
        {"1M8GDM9AXKP04278", VIN_FORM_LENGTH},       /* 16 */
        {"1M8GDM9AXKP0427888", VIN_FORM_LENGTH},     /* 18 */
        {"", VIN_FORM_LENGTH},
        {"IM8GDM9AXKP042788", VIN_FORM_CHARACTERS},  /* I, O and Q never occur */
        {"1M8GDM9AXKPO42788", VIN_FORM_CHARACTERS},
        {"1M8QDM9AXKP042788", VIN_FORM_CHARACTERS},
        {"1M8GDM9A-KP042788", VIN_FORM_CHARACTERS},
        {"1M8GDM9A KP042788", VIN_FORM_CHARACTERS},
        {"\xC3\x89M8GDM9AXKP042788", VIN_FORM_CHARACTERS},    /* 17 characters in 18 bytes */
        {"\xC3\x89M8GDM9AXKP04278", VIN_FORM_LENGTH},         /* 16 characters in 17 bytes */
        {"IM8GDM9AXKP04278", VIN_FORM_LENGTH},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++)
        assert_int_equal(vin_form(text_of(CASES[i].vin)), CASES[i].form);
}

/* 49 CFR 565.15(d), the list of year codes, from memory: A80 to H87, J88 to N92, P93, R94 to T96, V97 to Y00, 1 to 9
 * for 2001 to 2009, then again from A for 2010. */
static void model_years(void **state)
{
    static const char CODES[] = "ABCDEFGHJKLMNPRSTVWXY123456789";
    char vin[] = "1M8GDM9AXKP042788";
    (void)state;

    for (int i = 0; CODES[i] != '\0'; i++) {
        vin[9] = CODES[i];
        vin[6] = '9';                            /* a digit: 1980 to 2009 */
        assert_int_equal(vin_model_year(text_of(vin)), 1980 + i);
        vin[6] = 'B';                            /* a letter: 2010 to 2039 */
        assert_int_equal(vin_model_year(text_of(vin)), 2010 + i);
    }
    vin[6] = '-'; /* below the digits is none */
    assert_int_equal(vin_model_year(text_of(vin)), 2039);
    for (const char *code = "UZ0"; *code != '\0'; code++) {    /* never year codes */
        vin[9] = *code;
        assert_int_equal(vin_model_year(text_of(vin)), 0);
    }
    /* the case that a heavier vehicle would read otherwise: a letter in position 7, so 2031 */
    assert_int_equal(vin_model_year(text_of("LJCPCBLCX11000237")), 2031);
}

/* --- 100,000 VINs against the npm package vin-validator, 1.0.0 ------------------------------------------------- */

enum { VINS = 100000, VIN_LENGTH_ = 17 };

/* Half of them with the right check digit, a few with a character that no VIN has. */
static void make_vin(uint64_t *random, char *ret_vin)
{
    static const char ALPHABET[] = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789", WRONG[] = "IOQioq-";

    for (int i = 0; i < VIN_LENGTH_; i++)
        ret_vin[i] = ALPHABET[random_below(random, sizeof ALPHABET - 1)];
    ret_vin[VIN_LENGTH_] = '\0';
    if (random_below(random, 2) == 0)
        ret_vin[8] = vin_check_digit(text_of(ret_vin));
    else
        ret_vin[8] = "0123456789X"[random_below(random, 11)];
    if (random_below(random, 20) == 0)
        ret_vin[random_below(random, VIN_LENGTH_)] = WRONG[random_below(random, sizeof WRONG - 1)];
}

static bool ours(const char *vin)
{
    return vin_form(text_of(vin)) == VIN_FORM_OK && vin_check_is_right(text_of(vin));
}

static void another_program_agrees(void **state)
{
    static const char ASK[] = "const right = require('vin-validator').validate;"
                              "for (const vin of require('fs').readFileSync(0, 'latin1').split('\\n').slice(0, -1))"
                              " console.log(vin, right(vin) ? 1 : 0);";
    const char *build = getenv("WITNESSMARK_BUILD");
    char *folder = words("%s/npm", build ? build : "build"), line[64], vin[VIN_LENGTH_ + 1];
    uint64_t random = random_seed("vin");
    size_t right = 0, compared = 0;
    (void)state;

    if (system(words("command -v node >/dev/null 2>&1 && command -v npm >/dev/null 2>&1 && mkdir -p %s && { test -d "
                     "%s/node_modules/vin-validator || npm install --silent --no-audit --no-fund --no-save --prefix %s "
                     "vin-validator@1.0.0 >/dev/null 2>&1; }", folder, folder, folder)) != 0) {
        print_message("skipped: no node and npm here, or they cannot get vin-validator 1.0.0\n");
        skip();
    }
    FILE *list = fopen(words("%s/vins", folder), "w");
    need(list != NULL, folder);
    for (int i = 0; i < VINS; i++) {
        make_vin(&random, vin);
        fprintf(list, "%s\n", vin);
    }
    need(fclose(list) == 0, folder);
    write_words(words("%s/ask.js", folder), ASK);
    FILE *answers = popen(words("cd %s && node ask.js < vins", folder), "r");
    need(answers != NULL, "node");
    while (fgets(line, sizeof line, answers) != NULL) {
        bool theirs = line[VIN_LENGTH_ + 1] == '1';
        line[VIN_LENGTH_] = '\0';
        if (ours(line) != theirs)
            fail_msg("%s: ours %d, theirs %d", line, ours(line), theirs);
        right += theirs;
        compared++;
    }
    assert_int_equal(pclose(answers), 0);
    assert_int_equal(compared, VINS);
    assert_true(right > VINS / 3 && right < VINS * 2 / 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(check_digits), cmocka_unit_test(forms), cmocka_unit_test(model_years),
        cmocka_unit_test(another_program_agrees),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
