/* What a dealer reads and does with a pack: the page of every claim of the demo office, one claim asked for at
 * a terminal, a corrected copy, a vehicle's sheet.
 */
#include "pack_kit.h"

#include <pty.h>

static char *folder, *key, *office, *pack;

static const char TODAY[] = "2026-04-20";

static int begin(void **state)
{
    (void)state;
    folder = pack_folder();
    make_keys(folder, "key");
    key = words("%s/key.pub", folder);
    office = words("%s/office.db", folder);
    shell("cp %s %s", demo_file("office.db"), office);
    struct result result = RUN("post", demo_file("night-1.csv"), "--office", office, "--today", "2026-03-02",
                               "--received", "2026-03-02", "--quiet");
    assert_in_range(result.code, 0, 1);
    result_free(&result);
    pack = make_pack(folder, office, "D137", NULL, TODAY);
    return 0;
}

static int end(void **state)
{
    (void)state;
    shell("rm -rf '%s'", folder);
    return 0;
}

static void says(struct result result, int code, const char *part)
{
    if (result.code != code || (strstr(result.err, part) == NULL && strstr(result.out, part) == NULL))
        fail_msg("exit code %d, not %d, or not \"%s\": %s%s", result.code, code, part, result.out, result.err);
    result_free(&result);
}

/* --- The page ------------------------------------------------------------------------------------------- */

static size_t columns_of(const char *line, size_t length)
{
    size_t columns = 0;

    for (size_t i = 0; i < length; i++)
        columns += ((unsigned char)line[i] & 0xc0) != 0x80;
    return columns;
}

/* 80 columns, no escape sequence, and nothing but text. */
static void looks_like_a_page(const char *page)
{
    for (const char *line = page; *line != '\0'; line += strcspn(line, "\n") + 1) {
        size_t length = strcspn(line, "\n");
        if (columns_of(line, length) > 80)
            fail_msg("more than 80 columns: %.*s", (int)length, line);
        for (size_t i = 0; i < length; i++)
            assert_true((unsigned char)line[i] >= ' ');
        if (line[length] == '\0')
            break;
    }
}

/* How many lines begin with these words. */
static size_t lines_with(const char *text, const char *begin_with)
{
    size_t count = 0;

    for (const char *line = text; line != NULL; line = strchr(line, '\n'), line += line != NULL)
        count += strncmp(line, begin_with, strlen(begin_with)) == 0;
    return count;
}

/* On one line, each run of blanks and line ends one blank: wherever lines are broken. */
static char *flat(const char *text)
{
    char *made = words("%s", text), *to = made;

    for (const char *from = text; *from != '\0'; from++) {
        bool blank = *from == ' ' || *from == '\n' || *from == '\r';
        if (!blank || (to > made && to[-1] != ' '))
            *to++ = blank ? ' ' : *from;
    }
    *to = '\0';
    return made;
}

static size_t count_of(const char *text, const char *word)
{
    size_t count = 0;

    for (const char *at = text; (at = strstr(at, word)) != NULL; at += strlen(word))
        count++;
    return count;
}

static void pages_of(const char *pack_of, const char *lang, const char *title, const char *what_to_do,
                     const char *name_after)
{
    static const char *const NIGHTS[] = {"night-1.csv", "night-2.csv", "night-3.csv"};

    for (size_t i = 0; i < COUNT(NIGHTS); i++) {
        struct result text = RUN("check", demo_file(NIGHTS[i]), "--pack", pack_of, "--trust", key, "--today",
                                 TODAY, "--lang", lang),
                      csv = RUN("check", demo_file(NIGHTS[i]), "--pack", pack_of, "--trust", key, "--today",
                                TODAY, "--format", "csv", "--findings", words("%s/findings.csv", folder));
        assert_int_equal(text.code, 1);
        looks_like_a_page(text.out);
        struct csv_sheet claims = csv_sheet_read(csv.out);
        struct csv_sheet findings = csv_sheet_of_file(words("%s/findings.csv", folder));
        size_t unreadable = 0;
        for (size_t row = 1; row < claims.count; row++)
            unreadable += strcmp(csv_at(&claims, row, "findings"), "row-unreadable") == 0;
        /* every claim has its title and what to do, and every finding its sentence before its name */
        assert_in_range(lines_with(text.out, title), claims.count - 1 - unreadable, claims.count - 1);
        assert_int_equal(lines_with(text.out, what_to_do), claims.count - 1);
        assert_int_equal(count_of(flat(text.out), name_after), findings.count - 1);
        assert_true(findings.count > 1);
        csv_sheet_free(&claims);
        csv_sheet_free(&findings);
        result_free(&text);
        result_free(&csv);
    }
}

static void every_claim_has_its_page(void **state)
{
    (void)state;
    pages_of(pack, "en", "Claim ", "  What to do now:", " (The office calls this ");
    pages_of(pack, "de", "Antrag ", "  Was jetzt zu tun ist:", " (Beim Büro heißt das ");
}

/* What must stand on the page of one claim. */
static void the_page_says(void **state)
{
    static const char *const SAYS[] = {
        "Claim C-501 on line 2: vehicle EZ7BAMCK6KE421489, campaign H26-02\n",
        "  This claim will be paid in full.\n  It asks for 391.65; 391.65 will be paid.\n",
        "  This claim will be paid, and less than it asks for.\n  It asks for 436.65; 391.65 will be paid.\n",
        "  What campaign H26-02 expects on this vehicle:\n    parts\n      kit        PSH-1600-01 x 1 at "
        "118.40 each, net\n",
        "     The likely VIN is EZ7BDMCK2KE263109: characters 15 and 16 are the other way\n     round.\n",
        "     This pack has nothing of dealer D139: rates, approvals, shipments, and what\n     was claimed "
        "before are not "
        "checked.\n",
        "\"2026-02-30\" is not a date;\n     there is no such day, correct it. (The office calls this "
        "row-unreadable.)\n",
        "Claims checked: 5, with the office's pack of 2026-04-20, good until 2026-05-20.",
        "What the office received since then, and what other dealers may send before it\n",
    };
    struct result page =
        RUN("check", "fixtures/readme/claims.csv", "--pack", pack, "--trust", key, "--today", "2026-03-01");
    (void)state;

    for (size_t i = 0; i < COUNT(SAYS); i++)
        if (strstr(page.out, SAYS[i]) == NULL)
            fail_msg("not said: %s\n%s", SAYS[i], page.out);
    result_free(&page);
}

static void several_files_are_named(void **state)
{
    struct result page = RUN("check", "fixtures/readme/mistyped.csv", "fixtures/readme/claims.csv", "--pack",
                             pack, "--trust", key, "--today", "2026-03-01");
    (void)state;

    assert_int_equal(lines_with(page.out, "fixtures/readme/mistyped.csv"), 1);
    assert_int_equal(lines_with(page.out, "fixtures/readme/claims.csv"), 1);
    assert_non_null(strstr(page.out, "Claims checked: 6,"));
    result_free(&page);
    /* in other formats each row names its file */
    page = RUN("check", "fixtures/readme/mistyped.csv", "fixtures/readme/claims.csv", "--pack", pack, "--trust", key,
               "--today", "2026-03-01", "--format", "csv");
    assert_int_equal(lines_with(page.out, "file,line,claim,"), 1);
    assert_int_equal(lines_with(page.out, "fixtures/readme/mistyped.csv,"), 1);
    assert_int_equal(lines_with(page.out, "fixtures/readme/claims.csv,"), 5);
    result_free(&page);
}

static char *claims_file(const char *rows)
{
    char *path = words("%s/claims.csv", folder);

    write_words(
        path,
        words("claim,revision,dealer,repair_order,campaign,vin,outcome,opened_on,completed_on,submitted_on,"
              "approval,parts,labor,inspections,total_amount\n%s",
              rows));
    return path;
}

static void what_only_the_office_can_say(void **state)
{
    /* night 1 has it: D113 repaired this vehicle under H26-02 */
    char *rows = claims_file(
        "X1,0,D137,R1,H26-02,EZ7BBMCK3KN361135,repaired,2026-04-01,2026-04-02,2026-04-03,A-1,,,,0\n");
    struct result page = RUN("check", rows, "--pack", pack, "--trust", key, "--today", TODAY),
                  csv = RUN("check", rows, "--pack", pack, "--trust", key, "--today", TODAY, "--format", "csv");
    (void)state;

    assert_non_null(strstr(csv.out, "already-completed"));
    assert_non_null(strstr(page.out, "Campaign H26-02 was already completed on this vehicle."));
    assert_non_null(strstr(page.out, "Another dealer has a claim on this vehicle (H26-02 repaired)."));
    assert_non_null(strstr(page.out, "Approval A-1 is not in this pack of 2026-04-20."));
    assert_null(strstr(page.out, "D113"));
    assert_null(strstr(page.out, "2026-02-17")); /* the day of the other's work */
    result_free(&page);
    result_free(&csv);
}

static void a_pack_of_one_campaign_checks_no_other(void **state)
{
    char *some = words("%s/some.pack", folder);
    char *rows =
        claims_file("X1,0,D137,R1,H24-05,EZ7BAMCK6KE421489,repaired,2026-04-01,2026-04-02,2026-04-03,,,,,0\n");
    (void)state;

    says(RUN("pack", "--out", some, "--sign", words("%s/key", folder), "--office", office, "--today", TODAY,
             "--dealer", "D137", "--campaign", "H26-02", "--work", TEST_WORK),
         0, "rules files for dealer D137");
    struct result csv = RUN("check", rows, "--pack", some, "--trust", key, "--today", TODAY, "--format", "csv"),
                  page = RUN("check", rows, "--pack", some, "--trust", key, "--today", TODAY);
    assert_null(strstr(csv.out, "campaign-unknown"));
    assert_non_null(strstr(flat(page.out),
                           "This pack was made for campaigns H26-02 only; campaign H24-05 is not checked."));
    result_free(&csv);
    result_free(&page);
}

/* A pack for all dealers judges what it can, and says what it cannot. */
static void a_pack_for_all_leaves_the_dealer_open(void **state)
{
    char *all = make_pack(folder, office, NULL, NULL, TODAY);
    struct result csv = RUN("check", "fixtures/readme/claims.csv", "--pack", all, "--trust", key, "--today",
                            "2026-03-01", "--format", "csv"),
                  page = RUN("check", "fixtures/readme/claims.csv", "--pack", all, "--trust", key, "--today",
                             "2026-03-01");
    (void)state;

    assert_non_null(strstr(csv.out, "2,C-501,0,D137,H26-02,EZ7BAMCK6KE421489,pay,391.65,0.00,0.00,\n"));
    assert_non_null(
        strstr(csv.out, "\n3,C-502,0,D137,H26-02,EZ7BAMCK9KE429408,pay,436.65,0.00,0.00,hours-over\n"));
    assert_non_null(strstr(csv.out, "refuse,391.65,0.00,0.00,already-completed\n")); /* in the same file */
    assert_non_null(strstr(page.out, "What will be paid depends on the dealer's rate and markup"));
    assert_non_null(strstr(page.out, "Not checked in full: 2."));
    assert_null(strstr(csv.out, "dealer-unknown"));
    result_free(&csv);
    result_free(&page);
}

/* --- One claim ------------------------------------------------------------------------------------------- */

/* Runs `check --one` at a terminal and types these lines. What the terminal shows is in the result. */
static struct result at_terminal(const char *file, const char *lang, const char *typed)
{
    const char *given = getenv("WITNESSMARK"), *program = given != NULL ? given : "build/witnessmark";
    struct result result = {.out = calloc(1, 1 << 20), .err = words("%s", "")};
    int terminal;
    pid_t child = forkpty(&terminal, NULL, NULL, NULL);

    need(child >= 0 && result.out != NULL, "terminal");
    if (child == 0) {
        execl(program, program, "check", "--one", file, "--pack", pack, "--trust", key, "--today", TODAY,
              "--lang", lang, (char *)NULL);
        _exit(127);
    }
    need(write(terminal, typed, strlen(typed)) == (ssize_t)strlen(typed), "terminal");
    for (ssize_t got; result.out_length < (1 << 20) - 4096 &&
                      (got = read(terminal, result.out + result.out_length, 4096)) > 0;)
        result.out_length += (size_t)got;
    close(terminal);
    result.code = wait_for_exit(child);
    return result;
}

static void one_claim_is_asked_for(void **state)
{
    /* dealer, a mistyped VIN that is answered again, campaign, outcome, claim, revision, order, year, engine, a
     * reading that is no number, unit, opened, a day in another form, completed, submitted, technician,
     * approval, two inspections, the rest as offered */
    static const char TYPED[] =
        "\nEZ7BAMCK6KE421498\nn\nEZ7BAMCK6KE421489\n\n\n\nC-900\n\nRO-9\n\n\n12x\n12000\n\n"
        "2026-04-10\n4/12/26\n2026-04-12\n\nT1\n\ndry\n30 N.m\n\n\n\n\n\n\n";
    static const char *const SAYS[] = {
        "VIN, 17 characters (column vin): ",
        "The likely VIN is EZ7BAMCK6KE421489: characters 16 and 17 are the other way",
        "Answer y to keep it, or n to answer again.",
        "Campaign (column campaign) [H26-02]: ",
        "This must be filled in.",
        "That cannot be right: \"12x\" is not a whole number; write digits only",
        "\"4/12/26\" is not a date; write it as 2026-04-12 if the month comes",
        "LEAK: expected dry (column inspections): ",
        "TORQUE: expected [27..33] N.m (column inspections): ",
        "(column parts) [PSH-1600-01=1@121.90; FLD-0100=1@11.35]: ",
        "(column labor_amount) [210.00]: ",
        "This claim will be paid in full.",
        "ready to be sent.",
        "service information and",
    };
    char *file = words("%s/one.csv", folder);
    struct result result = at_terminal(file, "en", TYPED);
    (void)state;

    for (size_t i = 0; i < COUNT(SAYS); i++)
        if (strstr(flat(result.out), SAYS[i]) == NULL)
            fail_msg("not said: %s\n%s", SAYS[i], flat(result.out) + 900);
    assert_int_equal(result.code, 0);
    /* the row is one that the office pays */
    struct result checked = RUN("check", file, "--office", office, "--today", TODAY, "--format", "csv");
    if (checked.code != 0 || strstr(checked.out, "2,C-900,0,D137,H26-02,EZ7BAMCK6KE421489,pay,") == NULL)
        fail_msg("%s%s", checked.out, checked.err);
    result_free(&checked);
    result_free(&result);
    says(RUN("check", "--one", file, "--pack", pack, "--trust", key), 2,
         "there is one of this name; choose another");
}

static void a_doubtful_claim_is_written_with_a_warning(void **state)
{
    static const char TYPED[] =
        "\nEZ7BAMCK6KE421489\n\n\nC-901\n\nRO-9\n\n\n\n\n2026-04-10\n2026-04-12\n\nT1\n\nwet\nj\n30 "
        "N.m\n\nPSR-10=2; PSR-20=0.2\nj\n\n\n\n\n";
    char *file = words("%s/doubt.csv", folder);
    struct result result = at_terminal(file, "de", TYPED);
    (void)state;

    if (result.code != 1)
        fail_msg("%s", flat(result.out) + 1200);
    assert_non_null(
        strstr(flat(result.out), "Sehen Sie das noch einmal an: Das Ergebnis der Prüfung LEAK ist wet"));
    assert_non_null(strstr(flat(result.out), "Der Antrag nennt 2 Stunden"));
    assert_null(
        strstr(flat(result.out), "Der Antrag verlangt 210 für Arbeit")); /* amounts follow the answers */
    assert_non_null(strstr(flat(result.out), "Tun Sie, was oben steht, bevor Sie ihn senden."));
    assert_true(file_is_there(file));
    result_free(&result);
}

static void stopping_writes_nothing(void **state)
{
    char *file = words("%s/stopped.csv", folder);
    struct result result = at_terminal(file, "en", "\nEZ7BAMCK6KE421489\n\004");
    (void)state;

    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.out, "Stopped; nothing was written."));
    assert_false(file_is_there(file));
    result_free(&result);
    says(RUN("check", "--one", file), 2, "--one needs the office's pack");
    says(RUN("check", "--one", file, file, "--pack", pack), 2, "name one file");
}

/* The claim is written although nothing could be shown of it, and the warning says so. */
static void answers_that_cannot_be_shown(void **state)
{
    const char *program = getenv("WITNESSMARK"), *file = words("%s/unseen.csv", folder);
    (void)state;

    int code = system(words("yes '' | head -n 300 | sed '2s/^/EZ7BAMCK6KE421489/; 5s/^/C-903/; 7s/^/RO-9/; "
                            "11s/^/2026-04-10/; 12s/^/2026-04-12/; 13s/^/2026-04-12/; 16s/^/dry/; 17s/^/30 N.m/' | "
                            "'%s' check --one '%s' --pack '%s' --trust '%s' --today %s --lang en > /dev/full 2> %s/err",
                            program, file, pack, key, TODAY, folder));
    char *said = read_whole(words("%s/err", folder), NULL);
    assert_in_range(WEXITSTATUS(code), 0, 1);
    assert_true(file_is_there(file));
    if (strcmp(said, words("warning: %s: the claim is written, but what there is to say could not be printed: No space "
                           "left on device\n", file)) != 0)
        fail_msg("%s", said);
    free(said);
}

/* --- A corrected copy --------------------------------------------------------------------------------------
 */

#define FIX_HEADER \
    "claim,dealer,repair_order,campaign,vin,outcome,odometer_unit,parts,labor,inspections,parts_amount\n"

static void a_copy_is_corrected(void **state)
{
    static const struct {
        const char *row, *fixed, *said;
    } CASES[] = {
        /* to the byte where nothing is wrong, and where nothing is certain */
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,\"PSH-1600-01\",PSR-10=1.2,LEAK=dry,84.50", NULL,
         "Nothing to correct that is certain"},
        {"A,D137,R,H26-02,EZ7BDMCK2KE263019,repaired,mi,,,,\"1,234\"", NULL,
         "Nothing to correct that is certain"},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489", NULL, "Nothing to correct that is certain"},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,\"x\"y,,,", NULL, "Nothing to correct that is certain"},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,NO-SUCH=1,XX-1=1,YY=1 parsec,", NULL,
         "Nothing to correct that is certain"},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,--=1; fld 0100,,,",
         "A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,--=1; FLD-0100,,,", "becomes \"--=1; FLD-0100\""},
        {"A,D137,R,NONE,EZ7BAMCK6KE421489,repaired,mi,fld 0100,,,", NULL, "Nothing to correct that is certain"},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,,,\r", NULL, "Nothing to correct that is certain"},
        {"A , D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,,,",
         "A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,,,", "line 2: blanks around cells are left out"},
        {"A,d137,R,h26-02,ez7bamck6ke421489,Repaired,KM,,,,",
         "A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,km,,,,",
         "line 2, vin: \"ez7bamck6ke421489\" becomes \"EZ7BAMCK6KE421489\": case"},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,psh 1600 01=1@118.40;fld0100,,,",
         "A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,PSH-1600-01=1@118.40; FLD-0100,,,",
         "spelled as the campaign does"},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,psr10=1.2,,",
         "A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,PSR-10=1.2,,",
         "line 2, labor: \"psr10=1.2\" becomes \"PSR-10=1.2\""},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,,\"TORQUE=30Nm; LEAK=dry\",",
         "A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,,TORQUE=30 N.m; LEAK=dry,",
         "unit spelled as the rules do"},
        {"A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,,,\"84,50\"",
         "A,D137,R,H26-02,EZ7BAMCK6KE421489,repaired,mi,,,,84.50", "decimal point"},
    };
    char *file = words("%s/fix.csv", folder), *copy = words("%s/fixed.csv", folder);
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *rest = "\n\nB,D137,R,H26-02,X,repaired,mi,,,,\n";
        write_words(file, words(FIX_HEADER "%s%s", CASES[i].row, rest));
        says(RUN("check", "--fix", copy, file, "--pack", pack, "--trust", key, "--today", TODAY), 0,
             CASES[i].said);
        char *fixed = read_whole(copy, NULL);
        assert_string_equal(fixed,
                            words(FIX_HEADER "%s%s", CASES[i].fixed ? CASES[i].fixed : CASES[i].row, rest));
        free(fixed);
    }
}

static void a_vin_is_corrected_only_where_asked(void **state)
{
    char *file = words("%s/vin.csv", folder), *copy = words("%s/fixed.csv", folder);
    (void)state;

    write_words(file, FIX_HEADER "A,D137,R,H26-02,EZ7BDMCK2KE263019,repaired,mi,,,,\n");
    says(RUN("check", "--fix", copy, file, "--pack", pack, "--trust", key, "--today", TODAY), 0,
         "Nothing to correct");
    says(RUN("check", "--fix", copy, "--fix-vin", file, "--pack", pack, "--trust", key, "--today", TODAY), 0,
         "\"EZ7BDMCK2KE263019\" becomes \"EZ7BDMCK2KE263109\"");
    char *fixed = read_whole(copy, NULL);
    assert_string_equal(fixed, FIX_HEADER "A,D137,R,H26-02,EZ7BDMCK2KE263109,repaired,mi,,,,\n");
    free(fixed);
    /* at the office too, and never over the file itself */
    says(RUN("check", "--fix", copy, "--fix-vin", file, "--office", office, "--today", TODAY), 0,
         "Rows corrected: 1 of 1. Changes: 1. The copy is in ");
    says(RUN("check", "--fix", file, file, "--pack", pack, "--trust", key), 2, "give it another name");
    says(RUN("check", "--fix", copy, file, file, "--pack", pack, "--trust", key), 2, "one file at a time");
    says(RUN("check", "--fix", copy, file, "--findings", "x", "--pack", pack, "--trust", key), 2,
         "leave out --findings");
    write_words(file, "no,header\n");
    says(RUN("check", "--fix", copy, file, "--pack", pack, "--trust", key, "--today", TODAY), 2, "is missing");
}

/* --- A vehicle's sheet --------------------------------------------------------------------------------------
 */

static void the_sheet_is_the_offices(void **state)
{
    static const char *const VINS[] = {"EZ7BAMCK6KE421489", "EZ7BBMCK3KN361135"};
    (void)state;

    struct result by_office =
                      RUN("worksheet", VINS[0], "--office", office, "--today", TODAY, "--dealer", "D137"),
                  by_pack = RUN("worksheet", VINS[0], "--pack", pack, "--trust", key, "--today", TODAY);
    assert_int_equal(by_pack.code, 0);
    assert_string_equal(by_office.out, by_pack.out);
    assert_non_null(strstr(by_pack.out, "  hazard         The pressure hose can chafe and leak"));
    assert_non_null(
        strstr(by_pack.out, "The manufacturer's service information and local rules for licensed work come"));
    looks_like_a_page(words("%.*s", (int)(strstr(by_pack.out, "Claim to fill in") - by_pack.out), by_pack.out));
    result_free(&by_office);
    result_free(&by_pack);
    /* done by another dealer: that, and neither who nor when */
    by_office = RUN("worksheet", VINS[1], "--office", office, "--today", TODAY);
    by_pack = RUN("worksheet", VINS[1], "--pack", pack, "--trust", key, "--today", TODAY);
    assert_non_null(strstr(by_office.out, "ALREADY DONE   repaired on 2026-02-17"));
    assert_non_null(
        strstr(by_pack.out, "ALREADY DONE   repaired by another dealer; the day is known to the office"));
    assert_null(strstr(by_pack.out, "2026-02-17"));
    result_free(&by_office);
    result_free(&by_pack);
    says(RUN("worksheet", "EZ7BAMCK6KE421498", "--pack", pack, "--trust", key, "--today", TODAY), 2,
         "is it EZ7BAMCK6KE421489?");
    says(RUN("worksheet", VINS[0], "--pack", pack, "--trust", key, "--today", TODAY, "--lang", "de"), 0,
         "Gefahr");
    says(RUN("worksheet", VINS[0], "--lang", "de"), 2, "--lang is for what dealers read; name a pack");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_claim_has_its_page),
        cmocka_unit_test(the_page_says),
        cmocka_unit_test(several_files_are_named),
        cmocka_unit_test(what_only_the_office_can_say),
        cmocka_unit_test(a_pack_of_one_campaign_checks_no_other),
        cmocka_unit_test(a_pack_for_all_leaves_the_dealer_open),
        cmocka_unit_test(one_claim_is_asked_for),
        cmocka_unit_test(a_doubtful_claim_is_written_with_a_warning),
        cmocka_unit_test(stopping_writes_nothing),
        cmocka_unit_test(answers_that_cannot_be_shown),
        cmocka_unit_test(a_copy_is_corrected),
        cmocka_unit_test(a_vin_is_corrected_only_where_asked),
        cmocka_unit_test(the_sheet_is_the_offices),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
