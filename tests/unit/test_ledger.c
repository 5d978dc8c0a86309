/* The ledger as an office uses it, step by step: what stands, what a person decides, what is paid, what is sent
 * again. Each step posts one small file, or decides, and says what must come out. */
#include "program.h"

#include <sqlite3.h>

#define HEADER                                                                                          \
    "claim,revision,dealer,repair_order,campaign,vin,outcome,model_year,engine,odometer,odometer_unit," \
    "opened_on,completed_on,submitted_on,technician,approval,parts,labor,inspections,parts_amount,"     \
    "labor_amount,other_amount,total_amount\n"

/* Vehicles of the demo office that are all alike. */
#define VIN_A "EZ7BAMCK6KE421489"
#define VIN_B "EZ7BAMCK9KE429408"
#define VIN_C "EZ7BAMCK5KE437327"
#define VIN_D "EZ7BAMCK1KE445246"

static char *folder, *office;
static int files;

/* A repair that is paid as it stands; with LEAK seeping it is held, without a day of opening it is returned. */
static char *row(const char *dealer, const char *claim, const char *revision, const char *vin, const char *leak)
{
    return words(
        "%s,%s,%s,RO-%s-%s,H26-02,%s,repaired,2019,R16,48930,mi,2026-02-18,2026-02-20,2026-02-24,T-%s,,"
        "PSH-1600-01=1; FLD-0100=1,PSR-10=1.2; PSR-20=0.2,LEAK=%s; TORQUE=30 N.m,181.65,210.00,,391.65\n",
        claim, revision, dealer, dealer, claim, vin, claim, leak);
}

#define PAID(dealer, claim, revision, vin) row(dealer, claim, revision, vin, "dry")
#define HELD(dealer, claim, revision, vin) row(dealer, claim, revision, vin, "seeping")

static char *returned(const char *dealer, const char *claim, const char *revision, const char *vin)
{
    char *made = row(dealer, claim, revision, vin, "dry"), *day = strstr(made, "2026-02-18");

    memmove(day, day + 10, strlen(day + 10) + 1);
    return made;
}

static void new_office(void)
{
    shell("rm -f %s %s-*; cp %s %s", office, office, demo_file("office.db"), office);
}

/* Posts rows and compares "decision due findings" of each with what must come, one a line. */
static void post(const char *rows, const char *expected)
{
    const char *file = words("%s/file-%d.csv", folder, ++files), *out = words("%s/out.csv", folder);
    char *found = words("%s", "");

    write_words(file, words("%s%s", HEADER, rows));
    struct result checked = RUN("check", file, "--office", office, "--today", "2026-03-01", "--format", "csv");
    struct result result = RUN("post", file, "--office", office, "--today", "2026-03-01", "--format", "csv",
                               "--out", out, "--quiet");
    if (result.code != 0)
        fail_msg("%s", result.err);
    char *whole = read_whole(out, NULL);
    assert_string_equal(checked.out, whole); /* what check says beforehand is what post decides */
    struct csv_sheet sheet = csv_sheet_read(whole);
    for (size_t i = 1; i < sheet.count; i++)
        found = words("%s%s %s %s\n", found, csv_at(&sheet, i, "decision"), csv_at(&sheet, i, "due"),
                      csv_at(&sheet, i, "findings"));
    assert_string_equal(found, expected);
    csv_sheet_free(&sheet);
    free(whole);
    result_free(&checked);
    result_free(&result);
}

/* Runs the program, which must end with this code and say this. */
static void says(struct result result, int code, const char *words_of)
{
    const char *said = code == 0 ? result.out : result.err;

    if (result.code != code || strstr(said, words_of) == NULL)
        fail_msg("exit code %d, and \"%s\" is not in \"%s\"", result.code, words_of, said);
    result_free(&result);
}

static void decide(const char *claim, const char *decision, int code, const char *words_of)
{
    says(RUN("decide", claim, decision, "--by", "A. Clerk", "--reason", "papers seen", "--office", office,
             "--today", "2026-03-02"),
         code, words_of);
}

static void reverse(const char *claim, int code, const char *words_of)
{
    says(RUN("reverse", claim, "--by", "A. Clerk", "--reason", "audit", "--office", office, "--today",
             "2026-03-03"),
         code, words_of);
}

static int64_t number(const char *sql)
{
    sqlite3 *database;
    sqlite3_stmt *statement;

    assert_int_equal(sqlite3_open_v2(office, &database, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    if (sqlite3_prepare_v2(database, sql, -1, &statement, NULL) != SQLITE_OK)
        fail_msg("%s", sqlite3_errmsg(database));
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    int64_t found = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(database);
    return found;
}

static void verify(void)
{
    says(RUN("verify", "--again", "--office", office), 0, "everything fits");
}

/* --- What stands --------------------------------------------------------------------------------------- */

static void duplicates_over_batches(void **state)
{
    (void)state;
    new_office();
    post(PAID("D137", "K1", "", VIN_A), "pay 391.65 \n");
    post(PAID("D139", "K2", "", VIN_A), "refuse 0.00 already-completed\n");
    post(PAID("D137", "K1", "1", VIN_A), "pay 0.00 \n"); /* a correction is no duplicate of itself */
    post(PAID("D137", "K1", "2", VIN_B), "pay 0.00 \n"); /* it moves to another vehicle */
    post(PAID("D139", "K2", "1", VIN_A), "hold 0.00 refused-before\n"); /* so the first one is free */
    post(PAID("D140", "K3", "", VIN_B), "refuse 0.00 already-completed\n");
    post(returned("D140", "K4", "", VIN_C), "return 0.00 date-missing\n"); /* what is returned does not stand */
    post(PAID("D139", "K5", "", VIN_C), "pay 391.65 \n");
    assert_int_equal(number("SELECT count(*) FROM claims_standing"), 3);
    assert_int_equal(number("SELECT count(*) FROM claims_now"), 5);
    verify();
}

static void a_person_decides(void **state)
{
    (void)state;
    new_office();
    post(HELD("D137", "K1", "", VIN_A), "hold 0.00 inspection-unexpected\n");
    post(PAID("D139", "K2", "", VIN_A), "refuse 0.00 already-completed\n");
    decide("D137/K1", "refuse", 0, "refuse by A. Clerk, due 0.00");
    decide("D137/K1", "pay", 2, "is not held but refuse by the office");
    post(PAID("D139", "K2", "1", VIN_A), "hold 0.00 refused-before\n"); /* what was refused does not stand */
    post(PAID("D137", "K1", "1", VIN_A), "refuse 0.00 already-completed;refused-before\n");
    decide("D139/K2", "pay", 0, "pay by A. Clerk, due 391.65, paid on the claim from now on 391.65");
    decide("D139/K2", "pay", 2, "a payment is taken back with `reverse`");
    decide("D139/none", "pay", 2, "is not recorded");
    decide("D139", "pay", 2, "names no claim; write DEALER/CLAIM");
    decide("D139/K2", "maybe", 2, "is no decision; write pay, return or refuse");
    assert_int_equal(number("SELECT sum(paid_cents) FROM payments"), 39165);
    assert_int_equal(number("SELECT count(*) FROM rows_decided WHERE engine_decision <> decision"), 2);
    verify();
}

static void a_refused_revision_takes_nothing_back(void **state)
{
    (void)state;
    new_office();
    post(PAID("D137", "K1", "", VIN_A), "pay 391.65 \n");
    post(HELD("D137", "K1", "1", VIN_A), "hold 0.00 inspection-unexpected\n");
    post(PAID("D139", "K2", "", VIN_A), "refuse 0.00 already-completed\n");
    decide("D137/K1", "refuse", 0, "revision 1: refuse");
    /* revision 0 stands */
    post(PAID("D139", "K2", "1", VIN_A), "refuse 0.00 already-completed;refused-before\n");
    post(returned("D137", "K1", "2", VIN_A), "return 0.00 date-missing;refused-before\n");
    assert_int_equal(number("SELECT revision FROM claims_standing WHERE claim = 'K1'"), 0);
    assert_int_equal(number("SELECT revision FROM claims_now WHERE claim = 'K1'"), 2);
    verify();
}

static void payments_are_taken_back(void **state)
{
    (void)state;
    new_office();
    post(PAID("D137", "K1", "", VIN_A), "pay 391.65 \n");
    reverse("D137/K1", 0, "due -391.65, paid on the claim from now on 0.00");
    reverse("D137/K1", 2, "has nothing paid on it");
    post(PAID("D139", "K2", "", VIN_A), "refuse 0.00 already-completed\n"); /* it was decided pay, and stands */
    post(PAID("D137", "K1", "1", VIN_A), "pay 391.65 \n"); /* nothing is paid before any more */
    post(HELD("D137", "K1", "2", VIN_A), "hold 0.00 inspection-unexpected\n");
    reverse("D137/K1", 0, "revision 1: reverse"); /* what is paid is revision 1 */
    decide("D137/K1", "pay", 0, "revision 2: pay by A. Clerk, due 391.65");
    reverse("D139/K2", 2, "has nothing paid on it");
    assert_int_equal(number("SELECT sum(paid_cents) FROM payments"), 39165);
    assert_int_equal(number("SELECT count(*) FROM payments"), 5);
    verify();
}

static void sums_follow_what_stands(void **state)
{
    (void)state;
    new_office();
    /* D138 was sent two of the kit */
    post(PAID("D138", "K1", "", VIN_A), "pay 391.65 \n");
    post(HELD("D138", "K2", "", VIN_B), "hold 0.00 inspection-unexpected\n");
    post(PAID("D138", "K3", "", VIN_C), "hold 0.00 kits-exceed-supply\n");
    decide("D138/K2", "return", 0, "return");
    post(PAID("D138", "K3", "1", VIN_C), "pay 391.65 \n"); /* K2 counts no longer, nor K3 twice */
    post(PAID("D138", "K4", "", VIN_D), "hold 0.00 kits-exceed-supply\n");
    post(HELD("D138", "K2", "1", VIN_B), "hold 0.00 inspection-unexpected;kits-exceed-supply\n");
    verify();
}

/* --- Sent again ---------------------------------------------------------------------------------------- */

/* The row without its first cells, up to and with this many commas. */
static const char *behind(const char *row_of, int commas)
{
    while (commas-- > 0)
        row_of = strchr(row_of, ',') + 1;
    return row_of;
}

static void the_same_revision_again(void **state)
{
    char *changed = PAID("D137", "K1", "", VIN_A);
    (void)state;

    new_office();
    memcpy(strstr(changed, "T-K1"), "T-K9", 4);
    post(PAID("D137", "K1", "", VIN_A), "pay 391.65 \n");
    /* blanks and quotes are no difference of content */
    post(words("  K1 ,,\"D137\" ,%s", behind(PAID("D137", "K1", "", VIN_A), 3)),
         "return 0.00 revision-reused\n");
    assert_int_equal(number("SELECT count(*) FROM claim_rows"), 1);
    assert_int_equal(number("SELECT count(*) FROM repeated_rows WHERE row = 1"), 1);
    post(changed, "return 0.00 revision-reused\n");
    assert_int_equal(number("SELECT count(*) FROM claim_rows"), 2);
    post(words("%s%s", changed, PAID("D137", "K1", "1", VIN_A)), "return 0.00 revision-reused\npay 0.00 \n");
    assert_int_equal(number("SELECT count(*) FROM repeated_rows WHERE row = 2"), 1);
    /* an older revision again, with the same content, and with another */
    post(words("%s%s", PAID("D137", "K1", "", VIN_A), HELD("D137", "K1", "", VIN_A)),
         "return 0.00 revision-stale\nreturn 0.00 revision-stale;inspection-unexpected\n");
    assert_int_equal(number("SELECT count(*) FROM repeated_rows"), 3);
    assert_int_equal(number("SELECT count(*) FROM claim_rows WHERE replaces = 0"), 2);
    assert_int_equal(number("SELECT sum(paid_cents) FROM payments"), 39165);
    verify();
}

static void twice_in_one_file(void **state)
{
    (void)state;
    new_office();
    post(words("%s%s%s%s", PAID("D137", "K1", "", VIN_A), PAID("D137", "K1", "", VIN_A),
               PAID("D137", "K1", "1", VIN_A), PAID("D139", "K2", "", VIN_A)),
         "pay 391.65 \nreturn 0.00 revision-reused\npay 0.00 \nrefuse 0.00 already-completed\n");
    assert_int_equal(number("SELECT repeated_count FROM batches"), 1);
    assert_int_equal(number("SELECT replaces FROM claim_rows WHERE row = 2"), 1);
    verify();
}

static void a_file_is_known_by_its_bytes(void **state)
{
    const char *file = words("%s/known.csv", folder), *other = words("%s/other.csv", folder);
    (void)state;

    new_office();
    write_words(file, words("%s%s", HEADER, PAID("D137", "K1", "", VIN_A)));
    shell("cp %s %s", file, other);
    says(RUN("post", file, "--office", office, "--today", "2026-03-01"), 0, "batch 1, 1 claims recorded");
    says(RUN("post", other, "--office", office, "--today", "2026-03-09"), 0,
         "already recorded as batch 1, received on 2026-03-01");
    says(RUN("post", other, "--office", office, "--today", "2026-03-09"), 0, "nothing was changed");
    assert_int_equal(number("SELECT count(*) FROM batches"), 1);
}

/* Of several files each is a batch; what was recorded before one that fails stays, and is all that is written
 * out. */
static void one_file_fails(void **state)
{
    const char *good = words("%s/good.csv", folder), *bad = words("%s/bad.csv", folder);
    const char *out = words("%s/out.csv", folder);
    (void)state;

    new_office();
    write_words(good, words("%s%s", HEADER, PAID("D137", "K1", "", VIN_A)));
    write_words(bad, words("%s%sK3,\"open", HEADER, PAID("D137", "K2", "", VIN_B)));
    says(RUN("post", good, bad, "--office", office, "--today", "2026-03-01", "--format", "csv", "--out", out,
             "--replies", words("%s/some", folder)),
         2, "bad.csv");
    assert_int_equal(number("SELECT count(*) FROM batches"), 1);
    char *whole = read_whole(out, NULL), *reply = read_whole(words("%s/some/D137.csv", folder), NULL);
    assert_non_null(strstr(whole, "K1"));
    assert_null(strstr(whole, "K2"));
    assert_non_null(strstr(reply, "K1"));
    assert_null(strstr(reply, "K2"));
    free(whole);
    free(reply);
    verify();
}

/* --- Replies ------------------------------------------------------------------------------------------- */

static void replies_are_of_one_dealer(void **state)
{
    const char *file = words("%s/replies.csv", folder), *replies = words("%s/replies", folder);
    const char *outside = words("%s/outside.txt", folder);
    (void)state;

    new_office();
    write_words(file, words("%s%s%s%s%s", HEADER, PAID("D137", "OWN-1", "", VIN_A),
                            PAID("D139", "OTHER-1", "", VIN_A), PAID("../../D1", "PATH-1", "", VIN_B),
                            PAID("..", "DOTS-1", "", VIN_C)));
    write_words(outside, "untouched");
    shell("rm -rf %s; mkdir %s; ln -s %s %s/D137.txt", replies, replies, outside, replies);
    says(RUN("post", file, "--office", office, "--today", "2026-03-01", "--quiet", "--replies", replies), 0,
         "");
    char *own = read_whole(words("%s/D137.txt", replies), NULL);
    char *other = read_whole(words("%s/D139.txt", replies), NULL);
    assert_non_null(strstr(own, "Claim OWN-1"));
    assert_null(strstr(own, "OTHER-1"));
    assert_non_null(strstr(other, "refuse: already-completed"));
    assert_null(strstr(other, "D137"));
    assert_null(strstr(other, "OWN-1"));
    assert_true(file_is_there(words("%s/%%2E.%%2F..%%2FD1.txt", replies)));
    assert_true(file_is_there(words("%s/%%2E..txt", replies)));
    char *kept = read_whole(outside, NULL);
    assert_string_equal(kept, "untouched"); /* a reply takes the place of a link, and does not go through it */
    shell("test $(ls -A %s | wc -l) = 4", replies);
    free(own);
    free(other);
    free(kept);
}

/* --- Lists --------------------------------------------------------------------------------------------- */

static struct result run_at_office(const char *const *arguments)
{
    const char *call[32] = {NULL};
    size_t count = 0;

    for (; arguments[count] != NULL; count++)
        call[count] = arguments[count];
    call[count++] = "--office";
    call[count++] = office;
    return run_program(call);
}

static void list(const char *const *arguments, const char *expected)
{
    struct result result = run_at_office(arguments);

    assert_int_equal(result.code, 0);
    const char *rows = strchr(result.out, '\n');
    assert_string_equal(rows != NULL ? rows + 1 : "", expected);
    result_free(&result);
}

#define FLAGS(...)                                    \
    (const char *const[])                             \
    {                                                 \
        "flags", "--format", "csv", __VA_ARGS__, NULL \
    }

#define FLAG_K1 "D137,K1,0,H26-02," VIN_A ",2026-03-01,2026-02-20,hold,391.65,391.65,inspection-unexpected"
#define FLAG_K2 "D139,K2,0,H26-02," VIN_A ",2026-03-01,2026-02-20,refuse,391.65,0.00,already-completed"
#define FLAG_K3 "D140,K3,1,H26-02," VIN_B ",2026-03-01,2026-02-20,return,391.65,0.00,date-missing"

static void flags(void **state)
{
    const struct {
        const char *const *arguments;
        const char *expected;
    } cases[] = {
        {FLAGS("--sort", "date"), FLAG_K1 "\n" FLAG_K2 "\n" FLAG_K3 "\n"},
        {FLAGS("--sort", "payable", "--limit", "1"), FLAG_K1 "\n"},
        {FLAGS("--dealer", "D139"), FLAG_K2 "\n"},
        {FLAGS("--vin", "ez7bamck6ke421489", "--sort", "dealer"), FLAG_K1 "\n" FLAG_K2 "\n"},
        {FLAGS("--vin", VIN_A, "--dealer", "D137"), FLAG_K1 "\n"},
        {FLAGS("--finding", "date-missing"), FLAG_K3 "\n"},
        {FLAGS("--effect", "refuse"), FLAG_K2 "\n"},
        {FLAGS("--decision", "hold"), FLAG_K1 "\n"},
        {FLAGS("--campaign", "H24-05"), ""},
        {FLAGS("--since", "2026-03-02"), ""},
        {FLAGS("--until", "2026-03-01", "--dealer", "D140"), FLAG_K3 "\n"},
        {FLAGS("--dealer", "D999"), ""},
        /* D137 is in US-NE, where the demo office's own 30 days hold */
        {FLAGS("--due-within", "10", "--today", "2026-03-20"), ""},
        {FLAGS("--due-within", "11", "--today", "2026-03-20"), FLAG_K1 ",2026-03-31,11,false\n"},
        {FLAGS("--due-within", "0", "--today", "2026-04-02"), FLAG_K1 ",2026-03-31,-2,false\n"},
    };
    (void)state;

    new_office();
    post(HELD("D137", "K1", "", VIN_A), "hold 0.00 inspection-unexpected\n");
    post(PAID("D139", "K2", "", VIN_A), "refuse 0.00 already-completed\n");
    post(words("%s%s", returned("D140", "K3", "", VIN_B), returned("D140", "K3", "1", VIN_B)),
         "return 0.00 date-missing\nreturn 0.00 date-missing\n");
    post(PAID("D140", "K4", "", VIN_C), "pay 391.65 \n");
    for (size_t i = 0; i < COUNT(cases); i++)
        list(cases[i].arguments, cases[i].expected);
    decide("D137/K1", "pay", 0, "pay");
    list(FLAGS("--decision", "hold"), "");
    list(FLAGS("--due-within", "99", "--today", "2026-03-20"), "");
    list(FLAGS("--decision", "pay"),
         "D137,K1,0,H26-02," VIN_A ",2026-03-01,2026-02-20,pay,391.65,391.65,inspection-unexpected\n");
}

/* A vehicle of 2020 whose cap was found wrong: follow-up work, until a later claim brings the part. */
static char *cap_row(const char *claim, const char *revision, const char *cap, const char *more_parts)
{
    return words(
        "%s,%s,D137,RO-%s,H26-02,EZ7BDACK1LE199757,repaired,2020,D22,49020,mi,2026-02-18,2026-02-20,"
        "2026-02-24,T132,,PSH-2200-01=1; FLD-0100=2%s,PSR-10=1.9; PSR-20=0.2,LEAK=dry; TORQUE=40 N.m; CAP=%s,"
        "241.22,315.00,,556.22\n",
        claim, revision, claim, more_parts, cap);
}

#define FOLLOWUPS(...)                                                             \
    (const char *const[])                                                          \
    {                                                                              \
        "followups", "--format", "csv", "--today", "2026-03-02", __VA_ARGS__, NULL \
    }
#define OPEN_CAP                                                                                        \
    "D137,F1,%s,H26-02,EZ7BDACK1LE199757,renew the reservoir cap,RCP-0330,2026-02-20,10,2026-04-21,50," \
    "in_service,\n"

static void followups(void **state)
{
    (void)state;
    new_office();
    post(cap_row("F1", "", "wrong", ""), "pay 556.22 \n");
    list(FOLLOWUPS("--dealer", "D137"), words(OPEN_CAP, "0"));
    list(FOLLOWUPS("--dealer", "D139"), "");
    list(FOLLOWUPS("--since", "2026-02-21"), "");
    post(cap_row("F1", "1", "wrong", ""),
         "pay 0.00 \n"); /* the work goes with the newest revision that stands */
    list(FOLLOWUPS("--vin", "EZ7BDACK1LE199757"), words(OPEN_CAP, "1"));
    /* a claim that is refused brings no part, one that stands does */
    post("F2,,D137,RO-F2,H26-02,EZ7BDACK1LE199757,repaired,2020,D22,49030,mi,2026-02-25,2026-02-25,2026-02-26,"
         "T132,,"
         "RCP-0330=1,,CAP=right,10.00,,,10.00\n",
         "refuse 0.00 already-completed;inspection-missing;kit-missing;operation-missing;part-missing;"
         "part-not-listed;parts-amount-over\n");
    list(FOLLOWUPS("--campaign", "H26-02"), words(OPEN_CAP, "1"));
    post(cap_row("F1", "2", "wrong", "; RCP-0330=1"), "pay 0.00 \n");
    list(FOLLOWUPS("--limit", "9"), "");
    verify();
}

/* --- Wrong use ----------------------------------------------------------------------------------------- */

#define WORDS(...)        \
    (const char *const[]) \
    {                     \
        __VA_ARGS__, NULL \
    }

static void wrong_use(void **state)
{
    const struct {
        const char *const *arguments;
        const char *says;
    } cases[] = {
        {WORDS("decide", "D/C", "pay", "--reason", "x"), "--by is missing"},
        {WORDS("reverse", "D/C", "--by", "x", "--reason", " "), "--reason is missing"},
        {WORDS("reverse", "D/C", "--by", "\xff", "--reason", "x"), "must be UTF-8"},
        {WORDS("flags", "--sort", "size"), "write payable, date or dealer"},
        {WORDS("flags", "--effect", "ban"), "write refuse, return, hold, cut or note"},
        {WORDS("flags", "--decision", "ban"), "write pay, hold, return or refuse"},
        {WORDS("flags", "--due-within", "3", "--decision", "pay"), "leave --decision out"},
        {WORDS("flags", "--limit", "-3"), "no whole number"},
        {WORDS("flags", "--due-within", "x"), "no number of days"},
        {WORDS("flags", "--since", "x"), "--since \"x\" is not a date"},
        {WORDS("flags", "--until", "x"), "--until \"x\" is not a date"},
        {WORDS("followups", "--sort", "payable"), "write date or dealer"},
        {WORDS("verify", "--head", "abc"), "is no hash"},
        {WORDS("post", "none.csv", "--replies", "/dev/null/x"), "folder for replies"},
        {WORDS("post", "none.csv"), "none.csv"},
    };
    (void)state;

    new_office();
    for (size_t i = 0; i < COUNT(cases); i++)
        says(run_at_office(cases[i].arguments), 2, cases[i].says);
    says(RUN("post", "none.csv", "--office", words("%s/none.db", folder)), 2, "there is no such office file");
    assert_false(file_is_there(words("%s/none.db", folder)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(duplicates_over_batches),
        cmocka_unit_test(a_person_decides),
        cmocka_unit_test(a_refused_revision_takes_nothing_back),
        cmocka_unit_test(payments_are_taken_back),
        cmocka_unit_test(sums_follow_what_stands),
        cmocka_unit_test(the_same_revision_again),
        cmocka_unit_test(twice_in_one_file),
        cmocka_unit_test(a_file_is_known_by_its_bytes),
        cmocka_unit_test(one_file_fails),
        cmocka_unit_test(replies_are_of_one_dealer),
        cmocka_unit_test(flags),
        cmocka_unit_test(followups),
        cmocka_unit_test(wrong_use),
    };
    char made[] = "/tmp/witnessmark-ledger-XXXXXX";

    need(mkdtemp(made) != NULL, made);
    folder = made;
    office = words("%s/office.db", folder);
    int failed = cmocka_run_group_tests_name("ledger", tests, NULL, NULL);
    shell("rm -rf %s", folder);
    return failed;
}
