/* Claim files as spreadsheets save them: what is recognised, and what is restated. */
#include "pack_kit.h"

#include "base/status.h"
#include "intake/spreadsheet.h"

#define HEADER \
    "claim,dealer,repair_order,campaign,vin,outcome,parts,labor,inspections,parts_amount,total_amount"
#define SEMICOLONS \
    "claim;dealer;repair_order;campaign;vin;outcome;parts;labor;inspections;parts_amount;total_amount"

static void restates_line_by_line(void **state)
{
    static const struct {
        char separator;
        const char *from, *to;
    } CASES[] = {
        {';', "a;b\n1;2\n", "a,b\n1,2\n"},
        {';', "a;b\r\n1 ; 2\r\n", "a,b\n1,2\n"},
        {';', "a;b\n\n1;2", "a,b\n\n1,2\n"},
        {'\t', "a\tb\n1\t\n", "a,b\n1,\n"},
        /* what needs quotes gets them, and those that are there are undone */
        {';', "a;b\n1,5;\"x;\"\"y\"\"\"\n", "a,b\n\"1,5\",\"x;\"\"y\"\"\"\n"},
        {';', "a;b\n\"x\ny\";2\n3;4\n", "a,b\n\"x\ny\",2\n3,4\n"},
        {';', "\"claim\";b\n\"1\";2\n", "claim,b\n1,2\n"},
        {';',
         "\xEF\xBB\xBF"
         "a;b\n",
         "a,b\n"},
        /* decimal commas, in columns that hold numbers alone */
        {';', "claim;parts_amount;total_amount\n1,5;84,50;-3,5\n",
         "claim,parts_amount,total_amount\n\"1,5\",84.50,-3.5\n"},
        {';', "parts_amount\n1.234,56\n", "parts_amount\n\"1.234,56\"\n"},
        {';', "parts_amount\n1,2,3\n", "parts_amount\n\"1,2,3\"\n"},
        {';', "parts_amount\n84,\n", "parts_amount\n\"84,\"\n"},
        {';', "parts;labor;inspections\n\"A=1,5@84,50; B@3,2\";PSR-10=1,4;\"T=30,5 N.m; L=a,b\"\n",
         "parts,labor,inspections\nA=1.5@84.50; B@3.2,PSR-10=1.4,\"T=30.5 N.m; L=a,b\"\n"},
        /* malformed quotes pass as they are */
        {';', "a;b\nx\"y;2\n", "a,b\nx\"y,2\n"},
        {';', "a;b\n\"x;2\n", "a,b\n\"x;2\n\n"},
        {';', "a;b\n\"x\"y;2\n", "a,b\n\"x\"y,2\n"},
        {';', "a;b\n\"x\"", "a,b\nx\n"}, /* the last thing in the file is a quote */
        {';', "a;b\n \t\"x\" ;\t2\t\n \t", "a,b\nx,2\n\n"},
        {'\t', "a\tb\n \t\"x\"\t\n", "a,b\n,x,\n"}, /* a tab separates, and is no blank */
        {';', "a;b\n;\n ;", "a,b\n,\n,\n"},
        /* lists with blanks behind their signs; what is no number there stays */
        {';', "parts;labor\nA= 1,5@\t84,50;B=\n", "parts,labor\nA= 1.5@\t84.50,B=\n"},
        {';', "parts;labor\nA=1,5,2@1,5.2;B@ \n", "parts,labor\n\"A=1,5,2@1,5.2\",B@\n"},
        {';', "total_amount\n\n-\n1,5x\n,5\n", "total_amount\n\n-\n\"1,5x\"\n\",5\"\n"},
        {';', "\n;\ntotal_amount\n1,5\n",
         "\n,\ntotal_amount\n1.5\n"}, /* the header is the first row that says anything */
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct buffer out = BUFFER_EMPTY;
        spreadsheet_restate(text_of(CASES[i].from), CASES[i].separator, &out);
        buffer_add_byte(&out, '\0');
        assert_string_equal(out.bytes, CASES[i].to);
        buffer_free(&out);
    }
}

/* Cells beyond those that a row may have are restated alike, as no column that is known. */
static void restates_more_cells_than_a_row_may_have(void **state)
{
    enum { CELLS = 520 };
    struct buffer from = BUFFER_EMPTY, out = BUFFER_EMPTY;
    (void)state;

    for (int line = 0; line < 2; line++)
        for (int i = 0; i < CELLS; i++)
            buffer_format(&from, "%s%s", line == 0 ? "total_amount" : "1,5", i + 1 < CELLS ? ";" : "\n");
    spreadsheet_restate(buffer_text(&from), ';', &out);
    buffer_add_byte(&out, '\0');
    assert_non_null(strstr(out.bytes, "\n1.5,1.5,"));
    assert_non_null(strstr(out.bytes, ",1.5,\"1,5\",\"1,5\"")); /* where the 512 end */
    assert_null(strstr(out.bytes, "\"1,5\",1.5"));
    buffer_free(&from);
    buffer_free(&out);
}

/* Far down, a header is not looked for. */
static void headers_far_down_are_not_looked_for(void **state)
{
    char *folder = pack_folder(), *path = words("%s/claims.csv", folder);
    struct buffer text = BUFFER_EMPTY;
    (void)state;

    for (int lines = 38; lines <= 41; lines++) {
        struct csv_source source = {.descriptor = -1};
        struct capture capture;
        buffer_clear(&text);
        for (int i = 0; i < lines; i++)
            buffer_add_string(&text, "a note\n");
        buffer_add_string(&text, HEADER "\n");
        write_file(path, text.bytes, text.length);
        capture_start(&capture);
        assert_int_equal(claims_source_open(&source, path, ',', &capture.sink), lines < 40 ? WM_BAD_INPUT : WM_OK);
        if (lines < 40)
            assert_non_null(strstr(capture.text, words("they are named on line %d;", lines + 1)));
        csv_source_close(&source);
    }
    buffer_free(&text);
    shell("rm -rf '%s'", folder);
}

static void names_what_a_file_is(void **state)
{
    static const struct {
        const char *text;
        char separator;
        const char *says;
    } CASES[] = {
        {HEADER "\n1\n", ',', ""},
        {"\n\n" HEADER "\n", ',', ""},
        {SEMICOLONS "\n1\n", ';', ""},
        {SEMICOLONS "\n1\n", ',',
         "FILE:1: the cells of this file are separated by semicolons; run the command again with --separator "
         "';' (decimal "
         "commas are then read too), or save the file as CSV with commas\n"},
        {"claim\tdealer\trepair_order\tcampaign\tvin\toutcome\n", ',',
         "FILE:1: the cells of this file are separated by tabs; run the command again with --separator tab"},
        {HEADER "\n", ';',
         "FILE:1: the cells of this file are separated by commas; run the command again with --separator ,\n"},
        {"Claims of March\n" HEADER "\n", ',',
         "FILE:1: the first row must name the columns, and they are named on line 2; delete the lines above "
         "it\n"},
        {"\nClaims of March,,\n\n,by hand\n" HEADER "\n", ',',
         "FILE:2: the first row must name the columns, and they are named on line 5; delete the lines above "
         "it\n"},
        {"Claims of March;;\n" SEMICOLONS "\n", ',',
         "FILE:1: the first row must name the columns, and they are named on line 2; delete the lines above "
         "it\n"
         "FILE:1: the cells of this file are separated by semicolons"},
        {"\"a title\nof two lines\"\n" HEADER "\n", ',',
         "FILE:1: the first row must name the columns, and they are named on line 3; delete the lines above "
         "it\n"},
        /* no header near: what is missing is said where headers are read */
        {"x,y\n1,2\n", ',', ""},
        {"x,y\n1,2", ',', ""},
        {" \n\t\n", ',', ""},
        {"", ',', ""},
    };
    char *folder = pack_folder(), *path = words("%s/claims.csv", folder);
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct csv_source source = {.descriptor = -1};
        struct capture capture;
        char *says = words("%s", CASES[i].says), *file;
        write_words(path, CASES[i].text);
        capture_start(&capture);
        int status = claims_source_open(&source, path, CASES[i].separator, &capture.sink);
        /* FILE stands for the path */
        char *expected = words("%s", "");
        for (char *rest = says; (file = strstr(rest, "FILE")) != NULL; rest = file + 4)
            expected = words("%s%.*s%s", expected, (int)(file - rest), rest, path), says = file + 4;
        expected = words("%s%s", expected, says);
        if (strncmp(capture.text, expected, strlen(expected)) != 0 ||
            (expected[0] == '\0' && capture.text[0] != '\0'))
            fail_msg("case %zu: \"%s\", not \"%s\"", i, capture.text, expected);
        assert_int_equal(status, expected[0] == '\0' ? WM_OK : WM_BAD_INPUT);
        csv_source_close(&source);
    }
    shell("rm -rf '%s'", folder);
}

/* Restated, a file is decided as the one that it stands for, and places are those of the file at hand. */
static void a_file_of_semicolons_is_decided_alike(void **state)
{
    char *folder = pack_folder(), *path = words("%s/semicolons.csv", folder);
    struct csv_sheet sheet = csv_sheet_of_file("fixtures/readme/claims.csv");
    FILE *out = fopen(path, "w");
    (void)state;

    need(out != NULL, path);
    for (size_t row = 0; row < sheet.count; row++)
        for (size_t c = 0; sheet.rows[row][c] != NULL; c++) {
            bool is_money = row > 0 && strstr(sheet.rows[0][c], "_amount") != NULL;
            char *cell = words("%s", sheet.rows[row][c]);
            for (char *at = cell; is_money && *at != '\0'; at++)
                *at = *at == '.' ? ',' : *at;
            fprintf(out, "%s\"%s\"%s", c > 0 ? ";" : "", cell, sheet.rows[row][c + 1] == NULL ? "\r\n" : "");
        }
    fclose(out);
    struct result commas = RUN("check", "fixtures/readme/claims.csv", "--office", demo_file("office.db"),
                               "--today", "2026-03-01", "--format", "csv"),
                  semicolons = RUN("check", path, "--office", demo_file("office.db"), "--today", "2026-03-01",
                                   "--format", "csv", "--separator", ";"),
                  asked = RUN("check", path, "--office", demo_file("office.db"), "--today", "2026-03-01"),
                  posted = RUN("post", path, "--office", words("%s/none.db", folder)),
                  wrong = RUN("check", path, "--separator", "x");
    assert_int_equal(commas.code, 1);
    assert_string_equal(commas.out, semicolons.out);
    assert_int_equal(asked.code, 2);
    assert_non_null(strstr(asked.err, "separated by semicolons"));
    assert_int_equal(posted.code, 2);
    assert_int_equal(wrong.code, 2);
    assert_non_null(strstr(wrong.err, "--separator \"x\" is none; write , or ; or tab"));
    csv_sheet_free(&sheet);
    shell("rm -rf '%s'", folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(restates_line_by_line),
        cmocka_unit_test(restates_more_cells_than_a_row_may_have),
        cmocka_unit_test(headers_far_down_are_not_looked_for),
        cmocka_unit_test(names_what_a_file_is),
        cmocka_unit_test(a_file_of_semicolons_is_decided_alike),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
