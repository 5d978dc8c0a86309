/* Conditions as people say them: each kind of cell, and that cells which mean different things read
 * differently. */
#include "rules_kit.h"

#include "rules/cell_words.h"

struct saying {
    const char *fact, *cell, *words;
};

static const struct saying SAYINGS[] = {
    {"model_year", "-", "any model year"},
    {"model_year", "2020", "2020"},
    {"model_year", "\"2018, 2020\"", "2018 or 2020"},
    {"model_year", "\"2018, 2019, 2021\"", "2018, 2019 or 2021"},
    {"model_year", "not(2020)", "not 2020"},
    {"model_year", "[2020..2022]", "2020 to 2022"},
    {"model_year", "> 2020", "more than 2020"},
    {"model_year", ">= 2020", "2020 or more"},
    {"model_year", "< 2020", "less than 2020"},
    {"model_year", "<= 2020", "2020 or less"},
    {"model_year", "]2020..2022[", "more than 2020, and less than 2022"},
    {"model_year", "[2020..2022[", "2020 or more, and less than 2022"},
    {"model_year", "]2020..2022]", "more than 2020, and 2022 or less"},
    {"model_year", "null", "model year not known"},
    {"model_year", "not(null)", "model year known"},
    {"model_year", "\"null, 2020\"", "nothing or 2020"},
    {"built_on", "2022-05-31", "built on 2022-05-31"},
    {"built_on", "> 2022-05-31", "built on after 2022-05-31"},
    {"built_on", ">= 2022-05-31", "built on 2022-05-31 or later"},
    {"built_on", "< 2022-05-31", "built on before 2022-05-31"},
    {"built_on", "<= 2022-05-31", "built on 2022-05-31 or before"},
    {"built_on", "]2020-01-01..2022-05-31]", "built on after 2020-01-01, and 2022-05-31 or before"},
    {"built_on", "[2020-01-01..2022-05-31[", "built on 2020-01-01 or later, and before 2022-05-31"},
    {"engine", "R16", "R16"},
    {"engine", "\"not(R16, R20)\"", "not R16 or R20"},
    {"engine", "transmission", "the transmission"},
    {"engine", "\"matches(?, \"\"^R[0-9]\"\")\"", "what matches \"^R[0-9]\""},
    /* one value that reads like words is put in quotes, so that it is told from the words */
    {"engine", "\"\"\"R16 or R20\"\"\"", "\"R16 or R20\""},
    {"engine", "\"\"\"R16, R20\"\"\"", "\"R16, R20\""},
    {"engine", "\"\"\"A to B\"\"\"", "\"A to B\""},
    {"engine", "\"\"\"not R16\"\"\"", "\"not R16\""},
    {"engine", "\"\"\"any engine\"\"\"", "\"any engine\""},
    {"engine", "\"\"\"the transmission\"\"\"", "\"the transmission\""},
    {"engine", "\"\"\"nothing\"\"\"", "\"nothing\""},
    {"engine", "\"\"\"a \\\"\"b\\\\\"\"\"", "\"a \\\"b\\\\\""},
    {"plant", "North", "plant North"},
    {"option:eps", "true", "with eps"},
    {"option:eps", "false", "without eps"},
    {"option:eps", "not(true)", "without eps"},
    {"option:eps", "not(false)", "with eps"},
    {"option:eps", "null", "eps not known"},
    {"option:eps", "\"true, false\"", "eps true or false"},
    {"option:eps", "option:towing", "eps the towing"},
    {"inspection:LEAK", "seeping", "LEAK seeping"},
    {"inspection:LEAK", "null", "LEAK not reported"},
    {"inspection:LEAK", "not(null)", "LEAK reported"},
};

static void cells_are_said(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(SAYINGS); i++) {
        struct buffer words_of_cell = BUFFER_EMPTY;
        struct rules_kit kit;
        kit_start(&kit);
        kit_put(&kit, "campaigns/T1/parts.csv",
                words("C,%s,>part,>quantity,>need\na,%s,P-1,1,required\n", SAYINGS[i].fact, SAYINGS[i].cell));
        if (kit_compile(&kit) != WM_OK)
            fail_msg("%s", kit.capture.text);
        const struct table *table = kit.rules->campaigns[0].parts;
        cell_words(table_condition_test(table, 0, 0), table_condition_name(table, 0),
                   table_condition_fact(table, 0).type, &words_of_cell);
        if (!text_is(buffer_text(&words_of_cell), SAYINGS[i].words))
            fail_msg("%s %s: %.*s, not %s", SAYINGS[i].fact, SAYINGS[i].cell, (int)words_of_cell.length,
                     words_of_cell.bytes, SAYINGS[i].words);
        buffer_free(&words_of_cell);
        kit_end(&kit);
    }
}

static void rows_are_said(void **state)
{
    static const bool LEAVE_OUT[] = {false, true, false};
    struct buffer out = BUFFER_EMPTY;
    struct rules_kit kit;
    (void)state;

    kit_start(&kit);
    kit_put(&kit, "campaigns/T1/parts.csv",
            "C,engine,model_year,option:eps,>part,>quantity,>need\n"
            "all,-,-,-,P-1,1,required\nsome,R16,> 2020,true,P-1,1,required\n");
    assert_int_equal(kit_compile(&kit), WM_OK);
    const struct table *table = kit.rules->campaigns[0].parts;
    row_words(table, 0, NULL, "all vehicles", &out);
    assert_true(text_is(buffer_text(&out), "all vehicles"));
    buffer_clear(&out);
    row_words(table, 1, NULL, "all vehicles", &out);
    assert_true(text_is(buffer_text(&out), "R16, more than 2020, with eps"));
    buffer_clear(&out);
    row_words(table, 1, LEAVE_OUT, "all vehicles", &out);
    assert_true(text_is(buffer_text(&out), "R16, with eps"));
    buffer_free(&out);
    kit_end(&kit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cells_are_said),
        cmocka_unit_test(rows_are_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
