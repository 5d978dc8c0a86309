/* Units of measure: the office's rules/units.csv against NIST SP 811, Appendix B, the pairs that service literature
 * prints, and comparison without rounding.
 */
#include "program.h"

#include "base/arena.h"
#include "base/decimal.h"
#include "base/status.h"
#include "rules/units.h"

struct measures {
    struct arena arena;
    struct units *units;
    struct capture capture;
};

static void open_measures(struct measures *measures, const char *csv)
{
    *measures = (struct measures){.arena = ARENA_EMPTY};
    capture_start(&measures->capture);
    assert_int_equal(units_read(&measures->arena, TEXT("units.csv"), text_of(csv), &measures->capture.sink,
                                &measures->units), WM_OK);
}

static int open_office_units(void **state)
{
    static struct measures measures;

    open_measures(&measures, read_whole("rules/units.csv", NULL));
    *state = &measures;
    return 0;
}

static int close_units(void **state)
{
    arena_free(&((struct measures *)*state)->arena);
    return 0;
}

static int64_t millionths(const char *number)
{
    int64_t read;

    assert_int_equal(decimal_read(text_of(number), 6, &read), NUMBER_OK);
    return read;
}

/* The reading in another unit, cut to `places` places and rounded as people round. */
static int64_t converted(const struct measures *measures, const char *number, const char *from, const char *to,
                         unsigned places)
{
    const struct unit *a = units_find(measures->units, text_of(from)), *b = units_find(measures->units, text_of(to));
    __int128 numerator, denominator;

    assert_non_null(a);
    assert_non_null(b);
    assert_true(units_convert(millionths(number), a, b, &numerator, &denominator));
    int64_t step = DECIMAL_ONE;
    for (unsigned i = 0; i < places; i++)
        step /= 10;
    return round_half_away(numerator, denominator * step) * step;
}

/* Values as printed in NIST SP 811 (2008), Appendix B.8; the number of places is that of the print. */
static void nist_sp_811(void **state)
{
    static const struct {
        const char *number, *from, *to, *result;
        unsigned places;
    } CASES[] = {
        {"1", "lbf.ft", "N.m", "1.355818", 6},
        {"1000", "lbf.in", "N.m", "112.9848", 4},       /* 1.129848 E-01 */
        {"1", "psi", "kPa", "6.894757", 6},
        {"1", "in", "mm", "25.4", 6},                   /* exactly */
        {"1", "ft", "m", "0.3048", 6},                  /* exactly */
        {"1", "kgf.m", "N.m", "9.80665", 6},            /* exactly */
        {"1", "bar", "kPa", "100", 6},                  /* exactly */
        {"1", "lbf", "N", "4.448222", 6},
        {"1", "lb", "kg", "0.453592", 6},               /* 4.535924 E-01 */
        {"100", "oz", "g", "2834.952", 3},              /* 2.834952 E-02 kg */
        {"1000", "qt", "L", "946.353", 3},              /* 9.463529 E-01, rounded here to three places */
        {"1000", "fl oz", "mL", "29573.53", 2},         /* 2.957353 E-05 m3 */
        {"-40", "mV", "V", "-0.04", 6},
    };
    const struct measures *measures = *state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        int64_t got = converted(measures, CASES[i].number, CASES[i].from, CASES[i].to, CASES[i].places);
        if (got != millionths(CASES[i].result))
            fail_msg("%s %s is %lld millionths of %s", CASES[i].number, CASES[i].from, (long long)got, CASES[i].to);
    }
}

/* Pairs as printed in service literature, in whole newton metres: common practice, no source. */
static void printed_torque_pairs(void **state)
{
    static const struct {
        const char *number, *unit, *newton_metres;
    } CASES[] = {
        {"10", "lbf.in", "1"}, {"18", "lbf.ft", "24"}, {"22", "lbf.ft", "30"}, {"33", "lbf.ft", "45"},
    };
    const struct measures *measures = *state;

    for (size_t i = 0; i < COUNT(CASES); i++)
        assert_int_equal(converted(measures, CASES[i].number, CASES[i].unit, "N.m", 0),
                         millionths(CASES[i].newton_metres));
}

static void names_as_people_write_them(void **state)
{
    static const char *const SAME[][2] = {
        {"nm", "N.m"}, {"N\xC2\xB7m", "N.m"}, {"FT-LB", "lbf.ft"}, {"lb ft", "lbf.ft"}, {"In-Lbs", "lbf.in"},
        {"PSI", "psi"}, {"\xC2\xB5m", "um"}, {"\xC2\xB0", "deg"}, {"kgm", "kgf.m"}, {"cc", "mL"},
    };
    const struct measures *measures = *state;

    for (size_t i = 0; i < COUNT(SAME); i++) {
        const struct unit *unit = units_find(measures->units, text_of(SAME[i][0]));
        assert_non_null(unit);
        assert_true(text_is(unit->name, SAME[i][1]));
    }
    assert_null(units_find(measures->units, TEXT("furlong")));
    assert_null(units_find(measures->units, TEXT("")));
}

/* 1 lbf.ft is 1.3558179483314004 N.m to the last place: 4.4482216152605 N times 0.3048 m. */
static void factors_have_all_their_places(void **state)
{
    const struct measures *measures = *state;
    const struct unit *foot_pound = units_find(measures->units, TEXT("lbf.ft"));
    const struct unit *newton_metre = units_find(measures->units, TEXT("N.m"));
    __int128 numerator, denominator;

    assert_true(units_convert(DECIMAL_ONE, foot_pound, newton_metre, &numerator, &denominator));
    /* numerator / denominator = 1000000 x 1.3558179483314004, compared crosswise */
    assert_true(numerator * INT64_C(10000000000) == (__int128)INT64_C(13558179483314004) * denominator);
    /* there and back is where it began */
    __int128 back_numerator, back_denominator;
    assert_true(units_convert(DECIMAL_ONE, newton_metre, foot_pound, &back_numerator, &back_denominator));
    assert_true(numerator / DECIMAL_ONE * (back_numerator / DECIMAL_ONE) == denominator * back_denominator ||
                numerator * back_numerator ==
                    denominator * back_denominator * DECIMAL_ONE * DECIMAL_ONE);
}

static void other_quantities_do_not_convert(void **state)
{
    const struct measures *measures = *state;
    __int128 numerator, denominator;

    assert_false(units_convert(DECIMAL_ONE, units_find(measures->units, TEXT("N.m")),
                               units_find(measures->units, TEXT("kPa")), &numerator, &denominator));
}

/* Zeros behind a factor are nothing; what does not fit into 128 bits is not compared. */
static void factors_of_every_size(void **state)
{
    static const struct {
        const char *from, *to; /* factors */
        int64_t reading;
        bool converts;
        int64_t numerator, denominator; /* shortened by their common divisor */
    } CASES[] = {
        {"0.300", "0.1", 7, true, 21, 1},
        {"1000", "10.0", 7, true, 700, 1},
        {"123456789012345678", "0.000000000000000000000000000001", INT64_MAX, false, 0, 0},
        {"0.000000000000000000000000000001", "123456789012345678", 7, false, 0, 0},
        {"0.00000000000000000000000000001", "0.000000000000000000000000000001", 7, true, 70, 1},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct measures measures;
        __int128 numerator = 0, denominator = 0;
        open_measures(&measures, words("unit,quantity,factor\na,torque,%s\nb,torque,%s\n", CASES[i].from, CASES[i].to));
        assert_int_equal(units_convert(CASES[i].reading, units_find(measures.units, TEXT("a")),
                                       units_find(measures.units, TEXT("b")), &numerator, &denominator),
                         CASES[i].converts);
        assert_true(numerator * CASES[i].denominator == denominator * CASES[i].numerator);
        assert_true(denominator > 0 || !CASES[i].converts);
        arena_free(&measures.arena);
    }
}

static void errors(void **state)
{
    static const struct {
        const char *csv, *message;
    } CASES[] = {
        {"unit,quantity\nN.m,torque\n",
         "units.csv:1: the column \"factor\" is missing; add it to the first row"},
        {"unit,quantity,factor\n,torque,1\n", "units.csv:2:1: a unit needs its name and its quantity"},
        {"unit,quantity,factor\nN.m,,1\n", "units.csv:2:2: a unit needs its name and its quantity"},
        {"unit,quantity,factor\nN.m,torque,-1\n", "units.csv:2:3: \"-1\" is no factor"},
        {"unit,quantity,factor\nN.m,torque,0\n", "units.csv:2:3: \"0\" is no factor"},
        {"unit,quantity,factor\nN.m,torque,1e3\n", "units.csv:2:3: \"1e3\" is no factor"},
        {"unit,quantity,factor\nN.m,torque,1.2.3\n", "units.csv:2:3: \"1.2.3\" is no factor"},
        {"unit,quantity,factor\nN.m,torque,1.234567890123456789\n",
         "units.csv:2:3: \"1.234567890123456789\" is no factor; write a number above 0 of at most 18 digits"},
        {"unit,quantity,factor\nN.m,torque,0.0000000000000000000000000000001\n",
         "units.csv:2:3: \"0.0000000000000000000000000000001\" is no factor"},
        {"unit,quantity,factor\nN.m,torque,1\nn.m,torque,2\n",
         "units.csv:3:1: the unit \"n.m\" is listed twice"},
        {"unit,aliases,quantity,factor\nN.m,Nm; nm,torque,1\n",
         "units.csv:2:2: the unit \"nm\" is listed twice"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct arena arena = ARENA_EMPTY;
        struct capture capture;
        struct units *units = NULL;
        capture_start(&capture);
        assert_int_equal(units_read(&arena, TEXT("units.csv"), text_of(CASES[i].csv), &capture.sink, &units),
                         WM_BAD_INPUT);
        if (strstr(capture.text, CASES[i].message) == NULL)
            fail_msg("expected \"%s\", got: %s", CASES[i].message, capture.text);
        arena_free(&arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nist_sp_811), cmocka_unit_test(printed_torque_pairs),
        cmocka_unit_test(names_as_people_write_them), cmocka_unit_test(factors_have_all_their_places),
        cmocka_unit_test(other_quantities_do_not_convert), cmocka_unit_test(factors_of_every_size),
        cmocka_unit_test(errors),
    };
    return cmocka_run_group_tests(tests, open_office_units, close_units);
}
