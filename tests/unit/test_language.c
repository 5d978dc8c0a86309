/* Another language is a file: every key is there with the same places, and every reason that reading a row
 * gives is found again by its words.
 */
#include "pack_kit.h"

#include "base/status.h"
#include "cli/language.h"

static struct arena arena;
static struct rules_files files;
static struct rules *rules;
static struct capture capture;

static int begin(void **state)
{
    (void)state;
    capture_start(&capture);
    assert_int_equal(rules_files_read("rules", &arena, &capture.sink, &files), WM_OK);
    assert_int_equal(rules_compile(&arena, &files, &capture.sink, &rules), WM_OK);
    return 0;
}

static int end(void **state)
{
    (void)state;
    rules_free(rules);
    arena_free(&arena);
    return 0;
}

static struct language *open_language(const char *code)
{
    struct language *language = NULL;

    capture_start(&capture);
    assert_int_equal(language_open(&arena, rules, code, &capture.sink, &language), WM_OK);
    return language;
}

/* --- Message files -------------------------------------------------------------------------------------- */

static void every_key_is_translated_with_its_places(void **state)
{
    struct language *german = open_language("de");
    uint32_t missing = 1;
    (void)state;

    assert_int_equal(language_check(german, &capture.sink, &missing), WM_OK);
    assert_string_equal(capture.text, "");
    assert_int_equal(missing, 0);
    language_close(german);
}

/* The same rules with another German file. */
static struct language *with_messages(const char *csv)
{
    struct language *language = NULL;
    struct rules_files other = files;
    struct rules *same = arena_bytes(&arena, sizeof *same);

    other.files = arena_bytes(&arena, files.count * sizeof *other.files);
    memcpy(other.files, files.files, files.count * sizeof *other.files);
    for (uint32_t i = 0; i < other.count; i++)
        if (text_is(other.files[i].path, "messages/de.csv"))
            other.files[i].bytes = text_of(csv);
    *same = *rules;
    same->files = arena_bytes(&arena, sizeof other);
    memcpy((void *)(uintptr_t)same->files, &other, sizeof other);
    capture_start(&capture);
    (void)language_open(&arena, same, "de", &capture.sink, &language);
    return language;
}

static void what_is_wrong_with_a_file_is_named(void **state)
{
    static const struct {
        const char *csv, *says;
    } CASES[] = {
        {"key,text\ndo_pay,Los\n", ""},
        {"key,text\ndo_pai,Los\n", "messages/de.csv:2: there is no text under the key \"do_pai\"; `rules "
                                   "messages` lists the keys that there are\n"},
        {"key,text\nmoney_pay,Sie bekommen {payable}\n",
         "messages/de.csv:2: the text of money_pay lacks the place {asked}; put it in\n"},
        {"key,text\ndo_pay,Los {vin}\n",
         "messages/de.csv:2: the text of do_pay has a place {vin} that the original has "
         "not; take it out\n"},
        {"key,text\nchecks/claim/dates.csv:no-opened,{opened_on}\n",
         "messages/de.csv:2: the text of checks/claim/dates.csv:no-opened has a place {opened_on} that the "
         "original has "
         "not; take it out\n"},
        {"key,text\ndo_pay,Los\ndo_pay,Auf\n",
         "messages/de.csv:3:1: the key \"do_pay\" stands twice; remove one\n"},
        {"key,text\ndo_pay,\ndo_pay,Los\n", ""}, /* what has no text is not there */
        {"key\ndo_pay\n", "messages/de.csv:1: the column \"text\" is missing"},
    };
    uint32_t missing;
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct language *language = with_messages(CASES[i].csv);
        if (language != NULL)
            assert_int_equal(language_check(language, &capture.sink, &missing), WM_OK);
        if (strncmp(capture.text, CASES[i].says, strlen(CASES[i].says)) != 0 ||
            (CASES[i].says[0] == '\0' && capture.text[0] != '\0'))
            fail_msg("%s: %s", CASES[i].csv, capture.text);
        language_close(language);
    }
    struct language *none = NULL;
    capture_start(&capture);
    assert_int_equal(language_open(&arena, rules, "xx", &capture.sink, &none), WM_BAD_INPUT);
    assert_string_equal(capture.text, "there are no messages in the language \"xx\"; choose one of en, de\n");
}

/* What a file lacks is said in English. */
static void what_is_not_translated_is_said_in_english(void **state)
{
    struct language *language = with_messages("key,text\ndo_pay,Los.\n");
    struct buffer words = BUFFER_EMPTY;
    (void)state;

    SAY(language, &words, SENTENCE_do_pay);
    SAY(language, &words, SENTENCE_likely_replaced, {"nearest", TEXT("X")}, {"right", TEXT("0")},
        {"wrong", TEXT("O")}, {"position", TEXT("9")});
    buffer_add_byte(&words, '\0');
    assert_string_equal(words.bytes, "Los.The likely VIN is X: character 9 is 0, not O.");
    buffer_free(&words);
    language_close(language);
    /* a place for which nothing is given stays empty */
    language = with_messages("key,text\ndo_pay,Los{vin}!\n");
    SAY(language, &words, SENTENCE_do_pay);
    buffer_add_byte(&words, '\0');
    assert_string_equal(words.bytes, "Los!");
    buffer_free(&words);
    language_close(language);
}

/* --- Reasons -------------------------------------------------------------------------------------------- */

/* Rows that cannot be read, one for each reason. */
static const char BAD_ROWS[] =
    "claim,revision,dealer,repair_order,campaign,vin,outcome,odometer,odometer_unit,completed_on,parts,labor,"
    "inspections,total_amount\n"
    ",0,D137,R,H26-02,V,repaired,,,,,,,\n"
    "a,-1,D137,R,H26-02,V,repaired,,,,,,,\n"
    "a,x,D137,R,H26-02,V,repaired,,,,,,,\n"
    "a,1.5,D137,R,H26-02,V,repaired,,,,,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,,,1x\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,,,1.234\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,,,99999999999999999999\n"
    "a,0,D137,R,H26-02,V,repaired,,,2026-02-30,,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,3/1/26,,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,25.03.2026,,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,soon,,,,\n"
    "a,0,D137,R,H26-02,V,mended,,,,,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,miles,,,,,\n"
    "a,0\n"
    "a\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,,,1,2\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=x\"y,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,\xff,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=1@,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,-=1,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=-1,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=1@-1,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=1.1234567,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=99999999999999999999,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=1@x,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,P=9000000000000;P=9000000000000,,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,-=1,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,L,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,L=,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,L=one,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,L=9000000000000;L=9000000000000,,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,,-=1,\n"
    "a,0,D137,R,H26-02,V,repaired,,,,,,I,\n";

static void reasons_are_found_again_by_their_words(void **state)
{
    struct language *german = open_language("de");
    char *folder = pack_folder(), *rows = words("%s/bad.csv", folder), *found = words("%s/found.csv", folder);
    size_t met = 0;
    (void)state;

    write_words(rows, BAD_ROWS);
    struct result result = RUN("check", rows, "--office", demo_file("office.db"), "--today", "2026-03-01",
                               "--quiet", "--findings", found);
    assert_int_equal(result.code, 1);
    result_free(&result);
    struct csv_sheet sheet = csv_sheet_of_file(found);
    assert_int_equal(sheet.count - 1, 34);
    for (size_t row = 1; row < sheet.count; row++) {
        const char *message = csv_at(&sheet, row, "message");
        struct buffer said = BUFFER_EMPTY;
        assert_string_equal(csv_at(&sheet, row, "finding"), "row-unreadable");
        if (!language_fault(german, text_of(message), &said))
            fail_msg("not known: %s", message);
        buffer_add_byte(&said, '\0');
        assert_non_null(strstr(said.bytes, "Zeile "));
        assert_null(strstr(said.bytes, "write "));
        assert_null(strstr(said.bytes, "column"));
        met++;
        buffer_free(&said);
    }
    assert_int_equal(met, 34);
    csv_sheet_free(&sheet);
    shell("rm -rf '%s'", folder);
    language_close(german);
}

/* Reasons that no row of a file gives easily, and words that are none. */
static void other_reasons(void **state)
{
    static const struct {
        const char *english, *german; /* NULL: not known, so that it is said as it is */
    } CASES[] = {
        {"line 3, column 5 (vin): holds a NUL byte; remove it",
         "Zeile 3, Spalte 5 (vin): enthält ein NUL-Byte; entfernen Sie es"},
        {"rows a and b both hit where one may; the office must correct its rules",
         "die Zeilen a und b treffen beide zu, wo nur eine darf; das Büro muss seine Regeln berichtigen"},
        {"the pattern in row x took too long on this claim; the office must correct its rules",
         "das Muster in Zeile x brauchte bei diesem Antrag zu lange; das Büro muss seine Regeln berichtigen"},
        {"line 2, column 11 (parts): item 1, \"P=1@x, y\": \"x, y\" is not a number; write the unit price in "
         "digits, such "
         "as 1 or 0.5",
         "Zeile 2, Spalte 11 (parts): Posten 1, \"P=1@x, y\": \"x, y\" ist keine Zahl; in Ziffern zu "
         "schreiben, wie 1 oder "
         "0.5: Stückpreis"},
        {"line 2, column 11 (parts): item 1, \"P=x\": \"x\" is not a number; write the colour in digits, such as 1 or "
         "0.5",
         "Zeile 2, Spalte 11 (parts): Posten 1, \"P=x\": \"x\" ist keine Zahl; in Ziffern zu schreiben, wie 1 oder "
         "0.5: colour"},
        /* a reason within a reason, as deep as none is */
        {"line 1, column 1 (a): line 1, column 1 (a): line 1, column 1 (a): line 1, column 1 (a): holds a NUL byte; "
         "remove it",
         "Zeile 1, Spalte 1 (a): Zeile 1, Spalte 1 (a): Zeile 1, Spalte 1 (a): line 1, column 1 (a): enthält ein "
         "NUL-Byte; entfernen Sie es"},
        {"something else", NULL},
    };
    struct language *german = open_language("de"), *english = open_language(NULL);
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct buffer said = BUFFER_EMPTY;
        bool known = language_fault(german, text_of(CASES[i].english), &said);
        buffer_add_byte(&said, '\0');
        assert_string_equal(said.bytes, CASES[i].german != NULL ? CASES[i].german : CASES[i].english);
        assert_int_equal(known, CASES[i].german != NULL);
        buffer_clear(&said);
        language_fault(english, text_of(CASES[i].english), &said);
        buffer_add_byte(&said, '\0');
        assert_string_equal(said.bytes, CASES[i].english);
        buffer_free(&said);
    }
    language_close(german);
    language_close(english);
}

/* --- The command ---------------------------------------------------------------------------------------- */

static void the_command_lists_what_can_be_translated(void **state)
{
    struct result all = RUN("rules", "messages"), german = RUN("rules", "messages", "de"),
                  french = RUN("rules", "messages", "fr");
    (void)state;

    assert_int_equal(all.code, 0);
    assert_non_null(strstr(all.out, "key,text,english\nclaim_title,,\"Claim {claim} on line {line}"));
    assert_non_null(strstr(all.out, "\nchecks/claim/vin.csv:length,,{vin} does not have the 17 characters"));
    assert_int_equal(german.code, 0);
    assert_non_null(strstr(german.out, "\ndo_pay,Senden Sie den Antrag.,Send the claim.\n"));
    assert_int_equal(french.code, 1);
    assert_non_null(strstr(french.err, "texts are not translated; fill in their column text"));
    result_free(&all);
    result_free(&german);
    result_free(&french);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_key_is_translated_with_its_places),
        cmocka_unit_test(what_is_wrong_with_a_file_is_named),
        cmocka_unit_test(what_is_not_translated_is_said_in_english),
        cmocka_unit_test(reasons_are_found_again_by_their_words),
        cmocka_unit_test(other_reasons),
        cmocka_unit_test(the_command_lists_what_can_be_translated),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
