/* What a dealer reads in rare cases, with packs of the small office of probe.h: pages of claims, one claim asked
 * for, a corrected copy, a vehicle's sheet.
 */
#include "pack_kit.h"
#include "probe.h"

static char *folder, *key, *own_pack, *pack_for_all, *office, *rules;

#define TODAY "2026-03-10"
#define PAID "|labor=OP-1=1.5|labor_amount=100|total_amount=100|technician=T1|parts=K-A=1"
#define OTHER "|dealer=D2|total_amount=0"

/* Claims that stand, on vehicles of several kinds. */
static const char POSTED[] =
    "claim=A1|repair_order=R1" PAID "\n"
    "claim=O1|campaign=T0" OTHER "\n"
    "claim=O2|outcome=inspected|vin=" VIN_B OTHER "\nclaim=O3|campaign=T0|vin=" VIN_B "|dealer=D3\n"
    "claim=H1|engine=HOLD|vin=" VIN_TWIN_1 OTHER "\nclaim=H2|engine=HOLD|completed_on=|vin=" VIN_TWIN_2 OTHER "\n"
    "claim=H3|campaign=T0|completed_on=|vin=" VIN_TWIN_2 OTHER "\n"
    "claim=G1|campaign=T2|vin=" VIN_GAMMA OTHER "\nclaim=G2|campaign=T2|vin=" VIN_GAMMA OTHER "\n"
    "claim=G3|campaign=T2|vin=" VIN_GAMMA OTHER "\nclaim=G4|campaign=T2|vin=" VIN_GAMMA OTHER "\n"
    "claim=G5|campaign=T2|vin=" VIN_GAMMA OTHER "\nclaim=G6|campaign=T2|vin=" VIN_GAMMA OTHER "\n"
    "claim=G7|campaign=T2|vin=" VIN_GAMMA OTHER "\nclaim=G8|campaign=T2|vin=" VIN_GAMMA OTHER "\n"
    "claim=G9|campaign=T2|vin=" VIN_GAMMA OTHER;

/* A pack of the office and its rules, for a dealer or (NULL) for all. */
static char *pack_of(const char *dealer, const char *name)
{
    char *path = words("%s/%s.pack", folder, name);
    struct result result =
        dealer != NULL
            ? RUN("pack", "--out", path, "--sign", words("%s/key", folder), "--office", office, "--rules", rules,
                  "--today", TODAY, "--work", TEST_WORK, "--quiet", "--dealer", dealer)
            : RUN("pack", "--out", path, "--sign", words("%s/key", folder), "--office", office, "--rules", rules,
                  "--today", TODAY, "--work", TEST_WORK, "--quiet");

    if (result.code != 0)
        fail_msg("no pack: %s", result.err);
    result_free(&result);
    return path;
}

static int begin(void **state)
{
    probe_open(state);
    folder = pack_folder();
    office = words("%s", probe_path("office.db"));
    rules = words("%s", probe_path("rules"));
    /* a campaign that only closes, of which little is said; an inspection of any result; what others may mean */
    shell("mkdir %s/campaigns/T2 && echo 'seen,-,-,SEEN,,allowed' >> %s/campaigns/T1/inspections.csv", rules, rules);
    write_words(probe_path("rules/campaigns/T2/campaign.csv"), "key,value\ncampaign,T2\ncloses_on,2026-12-31\n");
    write_words(probe_path("rules/campaigns/T2/eligibility.csv"), "F,model_line,>eligible\ngamma,Gamma,true\n");
    write_words(probe_path("rules/campaigns/T2/kits.csv"), "U,outcome,>kit,>quantity\nall,repaired,K-C,1\n");
    write_words(probe_path("rules/campaigns/T2/labor.csv"), "C,outcome,>operation,>hours,>need\n"
                                                            "odd,repaired,OP;9,1,required\n");
    write_words(probe_path("rules/checks/claim/unique.csv"),
                "U,claim_engine,>finding,>effect,>message\none,ODD,odd,note,Odd.\ntwo,ODD,odd-too,note,Odd too.\n");
    write_words(probe_path("rules/checks/claim/jumped.csv"),
                "C,revision,>finding,>effect,>message\njumped,> 1,jumped,note,Skipped.\n");
    write_words(probe_path("rules/checks/claim/others.csv"),
                "C,earlier_completed_on,option:tow,>finding,>effect,>message\n"
                "silent,>= 2026-01-01,-,done-silent,note,\n"
                "said,>= 2026-01-01,-,done-before,note,Done on {earlier_completed_on}; towing: {option:tow}.\n");
    shell("mkdir %s/messages", rules);
    write_words(probe_path("rules/messages/de.csv"),
                "key,text\nchecks/claim/decider.csv:hold,Wie verlangt{nosuch}: {claim_engine}{model_year}.\n");
    struct result result = RUN("post", probe_write_claims(POSTED), "--office", office, "--rules", rules, "--today",
                               TODAY, "--quiet");
    if (result.code != 0)
        fail_msg("%s", result.err);
    result_free(&result);
    make_keys(folder, "key");
    key = words("%s/key.pub", folder);
    own_pack = pack_of("D1", "own");
    pack_for_all = pack_of(NULL, "all");
    return 0;
}

static int end(void **state)
{
    shell("rm -rf '%s'", folder);
    return probe_close(state);
}

/* On one line, each run of blanks and line ends one blank: wherever lines are broken. */
static char *flat(const char *text)
{
    char *made = words("%s", text), *to = made;

    for (const char *from = text; *from != '\0'; from++) {
        bool blank = *from == ' ' || *from == '\n';
        if (!blank || (to > made && to[-1] != ' '))
            *to++ = blank ? ' ' : *from;
    }
    *to = '\0';
    return made;
}

static void says(struct result result, int code, const char *part)
{
    if (result.code != code || (strstr(flat(result.err), part) == NULL && strstr(flat(result.out), part) == NULL))
        fail_msg("exit code %d, not %d, or not \"%s\": %s%s", result.code, code, part, result.out, result.err);
    result_free(&result);
}

/* --- The page ------------------------------------------------------------------------------------------- */

#define PAGE(pack, claims) RUN("check", probe_write_claims(claims), "--pack", pack, "--trust", key, "--today", TODAY)

static void pages_of_rare_claims(void **state)
{
    static const struct {
        const char *claim, *says, *says_not;
    } CASES[] = {
        {"claim=|total_amount=1", "The row on line 2 ", "line 2: vehicle"},
        {"vin=", "The row on line 2 ", "line 2: vehicle"},
        {"campaign=", "The row on line 2 ", "line 2: vehicle"},
        /* a revision of what was paid */
        {"claim=A1|revision=1|repair_order=R1" PAID,
         "It asks for 100.00; 100.00 is payable, 100.00 of it was paid before, so 0.00 is due.", NULL},
        /* the last character is another, and two before it are the other way round */
        {"engine=HOLD|vin=EZ7TAAC10KT000109", "The likely VIN is " VIN_A ": character 17 is 1, not 9.", NULL},
        {"engine=HOLD|vin=EZ7TAAC10KT000011", "The likely VIN is " VIN_A ": characters 15 and 16 are the other way",
         NULL},
        {"engine=HOLD|vin=EZ7TAAC10KT000001", "The likely VIN is " VIN_A ": character 15 is 1, not 0.", NULL},
        /* not taken in, which is not what is wrong here: nothing is expected */
        {"engine=HOLD|vin=" VIN_SCRAPPED, "As asked.", "expects on this vehicle"},
        {"engine=HOLD|vin=" VIN_GAMMA, "As asked.", "expects on this vehicle"},
        {"engine=HOLD", "As asked.", NULL},
        {"engine=ODD", "rows one and two both hit where one may; the office must correct its rules.", NULL},
        /* others on the vehicle, beside the dealer's own claim or alone; what may follow, where there are words */
        {"claim=N1", "Another dealer has a claim on this vehicle (T0 repaired).", NULL},
        {"claim=N2|vin=" VIN_B, "Another dealer has a claim on this vehicle (T1 inspected, T0 repaired).", NULL},
        {"claim=N3|vin=" VIN_B,
         "So the office may also say: Done on (known to the office); towing: false.", "say: Claims"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct result page = PAGE(own_pack, CASES[i].claim);
        const char *said = flat(page.out);
        if (strstr(said, CASES[i].says) == NULL ||
            (CASES[i].says_not != NULL && strstr(said, CASES[i].says_not) != NULL))
            fail_msg("%s: %s", CASES[i].claim, page.out);
        result_free(&page);
    }
}

static void packs_of_some_campaigns(void **state)
{
    char *some = words("%s/some.pack", folder);
    (void)state;

    says(RUN("pack", "--out", some, "--sign", words("%s/key", folder), "--office", office, "--rules", rules,
             "--today", TODAY, "--work", TEST_WORK, "--dealer", "D1", "--campaign", "T0", "--campaign", "T1"),
         0, "rules files for dealer D1");
    says(PAGE(some, "campaign=T2|vin=" VIN_GAMMA), 0,
         "This pack was made for campaigns T0, T1 only; campaign T2 is not checked.");
}

/* A translation may name what is no fact, or none that a table asks for; nothing stands there then. */
static void places_that_nothing_fills(void **state)
{
    (void)state;
    says(RUN("check", probe_write_claims("engine=HOLD|vin=" VIN_B), "--pack", own_pack, "--trust", key, "--today",
             TODAY, "--lang", "de"),
         1, "Wie verlangt: HOLD.");
}

/* --- One claim ------------------------------------------------------------------------------------------- */

/* `check --one` with these answers on standard input. */
static struct result answered(const char *pack, const char *file, const char *answers)
{
    struct result result;

    write_words(words("%s/answers", folder), answers);
    int code = system(words("%s check --one %s --pack %s --trust %s --today " TODAY " < %s/answers > %s/out 2> %s/err",
                            getenv("WITNESSMARK"), file, pack, key, folder, folder, folder));
    result.code = WEXITSTATUS(code);
    result.out = read_whole(words("%s/out", folder), &result.out_length);
    result.err = read_whole(words("%s/err", folder), NULL);
    return result;
}

/* What is asked before the inspections: claim number, revision, order, then as offered up to the approval. */
#define UP_TO_INSPECTIONS "C1\n%s\nR9\n\n%s\n\n\n2026-03-01\n2026-03-02\n\n\n\n"

static void one_claim(void **state)
{
    const struct {
        const char *answers;
        int code;
        const char *says[4];
        const char *written; /* in the row; NULL: there is no file */
    } CASES[] = {
        /* nothing is offered that others did; a note is no reason to ask; inspections with two tests, with none, and
         * left out */
        {words("\n" VIN_B "\nT1\n\n" UP_TO_INSPECTIONS "\n26 N.m\n-\n\nclean\n\n\n\n\n\n\n", "3", ""), 0,
         {"Campaign (column campaign): ", "TQ: expected [22..28] N.m + [25..40] N.m (column inspections): ",
          "SEEN (column inspections): ", "ready to be sent."}, "TQ=26 N.m; SEEN=clean"},
        /* an answer that is neither y nor n is asked for again; less is paid than is asked */
        {words("\n" VIN_TWIN_1 "\nT1\n\n" UP_TO_INSPECTIONS "dry\n\n\n\n\n\n\n\n9000\n\n\n", "", "HOLD\nmaybe\nn\n"), 1,
         {"Look at this again: As asked. Answer y to keep it, or n to answer again. Answer y to keep it, or n to "
          "answer again. Engine", "This claim will be paid, and less than it asks for.",
          "Do what is said above before you send it."}, "LEAK=dry"},
        /* the input ends in an answer, which counts */
        {words("\n" VIN_TWIN_1 "\nT1\n\n" UP_TO_INSPECTIONS "dry", "", ""), 2, {"Stopped; nothing was written."}, NULL},
        /* another dealer, whose rates are not known: no amount is offered */
        {words("D9\n" VIN_TWIN_1 "\nT1\n\n" UP_TO_INSPECTIONS "dry\n\n\n\n\n\n\n\n\n\n5\n", "", ""), 1,
         {"(column labor_amount): ", "This pack has nothing of dealer D9"}, ",5"},
        /* not taken in: neither campaign nor parts are offered */
        {words("\n" VIN_SCRAPPED "\nT1\n\n" UP_TO_INSPECTIONS "\n\n\n\n\n\n\n", "", ""), 0,
         {"(column parts): ", "(column labor): "}, "T1"},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        char *file = words("%s/one-%zu.csv", folder, i);
        struct result result = answered(own_pack, file, CASES[i].answers);
        const char *said = flat(result.out);
        if (result.code != CASES[i].code || result.err[0] != '\0')
            fail_msg("%zu: exit code %d: %s%s", i, result.code, said, result.err);
        for (size_t k = 0; k < COUNT(CASES[i].says) && CASES[i].says[k] != NULL; k++)
            if (strstr(said, CASES[i].says[k]) == NULL)
                fail_msg("%zu, not said: %s\n%s", i, CASES[i].says[k], said);
        assert_int_equal(file_is_there(file), CASES[i].written != NULL);
        if (CASES[i].written != NULL && strstr(read_whole(file, NULL), CASES[i].written) == NULL)
            fail_msg("%zu, not written: %s", i, read_whole(file, NULL));
        result_free(&result);
    }
}

static void what_one_claim_needs(void **state)
{
    char *file = words("%s/one-more.csv", folder);
    (void)state;

    says(answered(words("%s/no.pack", folder), file, ""), 2, "no.pack: ");
    says(answered(own_pack, words("%s/no/where.csv", folder),
                  words("\n" VIN_TWIN_1 "\nT1\n\n" UP_TO_INSPECTIONS "\n\n\n\n\n\n\n\n\n\n\n\n", "", "")),
         2, "No such file or directory");
    /* rules that name an operation as no list can: inspections are no list either, and nothing but the end tells */
    struct result result = answered(
        own_pack, file, words("\n" VIN_GAMMA "\nT2\n\n" UP_TO_INSPECTIONS "LEAK\n\nOP=1\n\n\n\n\n\n\n\n\n", "", ""));
    if (result.code != 1 || strstr(flat(result.out), "(column labor) [OP;9=1]: Amount asked for parts") == NULL ||
        strcmp(result.err,
               "line 2, column 19 (inspections): item 1, \"LEAK\", has no result; write ITEM=RESULT\n") != 0)
        fail_msg("exit code %d: %s", result.code, result.err);
    assert_non_null(strstr(flat(result.out), "Do what is said above before you send it."));
    assert_true(file_is_there(file));
    result_free(&result);
}

/* --- A corrected copy ------------------------------------------------------------------------------------- */

#define FIX_HEADER "claim,dealer,repair_order,campaign,vin,outcome,parts,inspections\n"
#define FIX(pack, ...) \
    RUN("check", "--fix", words("%s/fixed.csv", folder), words("%s/fix.csv", folder), "--pack", pack, "--trust", key, \
        "--today", TODAY, ##__VA_ARGS__)

static void copies_of_rare_rows(void **state)
{
    static const struct {
        const char *row, *fixed; /* NULL: to the byte as it was */
    } CASES[] = {
        {"A,D1,R,T9," VIN_A ",repaired,fl1=2,LEAK", NULL}, /* an unknown campaign spells nothing */
        {"A,D2,R,T1," VIN_A ",repaired,,", NULL},          /* another dealer */
        {"A,d1,R,T1," VIN_A ",repaired,,", "A,D1,R,T1," VIN_A ",repaired,,"},
        {"A,D1,R,T1,,repaired,,", NULL},
        {"A,D1,R,T1," VIN_A ",repaired,,TQ=26", NULL}, /* a reading without a unit */
        {"A,D1,R,T1," VIN_A ",repaired,k a@110.00,leak", "A,D1,R,T1," VIN_A ",repaired,K-A@110.00,LEAK"},
        {"A,D1,R,T1," VIN_A ",repaired,;fl1=2;;k-a=1;,", "A,D1,R,T1," VIN_A ",repaired,FL-1=2; K-A=1,"},
        {"A,D1,R,T1," VIN_A ",repaired,,LEAK=dry ", "A,D1,R,T1," VIN_A ",repaired,,LEAK=dry"},
        {" A,D1,R,T1," VIN_A ",repaired,,", "A,D1,R,T1," VIN_A ",repaired,,"},
        {"A,D1,R,T1,\t" VIN_A ",repaired,,", "A,D1,R,T1," VIN_A ",repaired,,"},
        {"A,D1,R 1,T1," VIN_A ",repaired,,", NULL}, /* a blank inside a cell stays */
    };
    static const char *const ENDS[] = {"\n", "\r\n"};
    (void)state;

    for (size_t i = 0; i < COUNT(CASES) * COUNT(ENDS); i++) {
        const char *row = CASES[i / 2].row, *fixed = CASES[i / 2].fixed, *line_end = ENDS[i % 2];
        write_words(words("%s/fix.csv", folder), words(FIX_HEADER "%s%s", row, line_end));
        says(FIX(own_pack, "--fix-vin"), 0, fixed != NULL ? "Rows corrected: 1 of 1." : "Nothing to correct");
        char *copy = read_whole(words("%s/fixed.csv", folder), NULL);
        if (strcmp(copy, words(FIX_HEADER "%s%s", fixed != NULL ? fixed : row, fixed != NULL ? "\n" : line_end)) != 0)
            fail_msg("%s becomes %s", row, copy);
        free(copy);
    }
    /* a pack for all has no dealer of its own to spell */
    write_words(words("%s/fix.csv", folder), FIX_HEADER "A,d1,R,T1," VIN_A ",repaired,,\n");
    says(FIX(pack_for_all), 0, "Nothing to correct");
}

static void copies_that_cannot_be_made(void **state)
{
    char *there = words("%s/there.csv", folder), *nowhere = words("%s/nowhere.csv", folder);
    (void)state;

    write_words(there, FIX_HEADER "A,D1,R,T1," VIN_A ",repaired,,\n");
    says(RUN("check", "--fix", there, nowhere, "--pack", own_pack, "--trust", key, "--today", TODAY), 2,
         "nowhere.csv: ");
    says(RUN("check", "--fix", there, "/dev/null", "--pack", own_pack, "--trust", key, "--today", TODAY), 2,
         "/dev/null: ");
    says(RUN("check", "--fix", nowhere, there, "--pack", own_pack, "--trust", key, "--today", TODAY, "--out",
             words("%s/no/where", folder)),
         2, "No such file or directory");
    says(RUN("check", "--fix", nowhere, there, "--pack", own_pack, "--trust", key, "--today", TODAY, "--lang", "xx"), 2,
         "there are no messages in the language \"xx\"; choose one of en");
}

/* --- A vehicle's sheet ------------------------------------------------------------------------------------ */

static void sheets_of_what_stands(void **state)
{
    static const struct {
        char from; /* o: the office, p: the dealer's pack, a: the pack for all */
        const char *vin, *says;
    } CASES[] = {
        {'o', VIN_TWIN_1, "ALREADY DONE repaired on 2026-03-02; the claim waits for the office"},
        {'o', VIN_TWIN_2, "ALREADY DONE repaired; the claim waits for the office"},
        {'o', VIN_TWIN_2, "ALREADY DONE repaired; that claim stands"},
        {'o', VIN_B, "ALREADY DONE inspected on 2026-03-02; that claim stands"},
        {'o', VIN_GAMMA, "Campaign T2: open to 2026-12-31 ALREADY DONE"},
        {'o', VIN_A, "required FL-1 x 2 at 3.333333 each, net"},
        {'p', VIN_A, "ALREADY DONE repaired on 2026-03-02; that claim stands"},
        {'p', VIN_A, "ALREADY DONE repaired by another dealer; the day is known to the office"},
        {'a', VIN_A, "ALREADY DONE repaired; by whom and when is known to the office"},
        {'a', VIN_B, "ALREADY DONE inspected; by whom and when is known to the office"},
    };
    size_t times = 0;
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *pack = CASES[i].from == 'p' ? own_pack : pack_for_all;
        says(CASES[i].from == 'o'
                 ? RUN("worksheet", CASES[i].vin, "--office", office, "--rules", rules, "--today", TODAY)
                 : RUN("worksheet", CASES[i].vin, "--pack", pack, "--trust", key, "--today", TODAY),
             0, CASES[i].says);
    }
    /* each of nine claims of other numbers stands */
    struct result sheet = RUN("worksheet", VIN_GAMMA, "--office", office, "--rules", rules, "--today", TODAY);
    for (const char *at = sheet.out; (at = strstr(at, "ALREADY DONE   repaired on 2026-03-02")) != NULL; at++)
        times++;
    assert_int_equal(times, 9);
    result_free(&sheet);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pages_of_rare_claims),
        cmocka_unit_test(packs_of_some_campaigns),
        cmocka_unit_test(places_that_nothing_fills),
        cmocka_unit_test(one_claim),
        cmocka_unit_test(what_one_claim_needs),
        cmocka_unit_test(copies_of_rare_rows),
        cmocka_unit_test(copies_that_cannot_be_made),
        cmocka_unit_test(sheets_of_what_stands),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
