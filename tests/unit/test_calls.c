/* How the program is called: every mistake with an option or a command, what is said of it, and that nothing is
 * done then; help, for each command; what is shown on a terminal alone; output that cannot be written. */
#include "program.h"

#include <pty.h>
#include <signal.h>
#include <sys/resource.h>

#include "cli/command.h"
#include "cli/manual.h"

static char *folder, *office;

static int begin(void **state)
{
    char room[256];
    (void)state;

    make_folder(room);
    folder = words("%s", room);
    office = words("%s/office.db", folder);
    shell("cp %s %s", demo_file("office.db"), office);
    return 0;
}

static int end(void **state)
{
    (void)state;
    shell("rm -rf '%s'", folder);
    return 0;
}

/* --- Mistakes
 * -------------------------------------------------------------------------------------------------- */

struct call_case {
    const char *words[12];
    const char *says; /* the whole line, but for `witnessmark: ` and the line feed */
};

#define NOT_A_DATE "is not a date; write it as 2026-03-01"

static const struct call_case MISTAKES[] = {
    {{"chek"}, "no command \"chek\"; see `witnessmark --help`"},
    {{"--nonsense"}, "no command \"--nonsense\"; see `witnessmark --help`"},
    {{"rules"},
     "no command \"rules\"; there are rules lint, rules try, rules print, rules new, rules diff, rules "
     "messages; see "
     "`witnessmark --help`"},
    {{"sample", "drawn"},
     "no command \"sample drawn\"; there are sample size, sample draw, sample redraw, sample record; see "
     "`witnessmark --help`"},
    {{"check"}, "something is missing: witnessmark check FILE...; see `witnessmark check --help`"},
    {{"check", "--sorted", "x"}, "no option --sorted here; see `witnessmark check --help`"},
    {{"verify", "--dealer", "x"}, "no option --dealer here; see `witnessmark verify --help`"},
    {{"verify", "-q"}, "no option -q here; see `witnessmark verify --help`"},
    {{"check", "--today"}, "--today needs a value; see `witnessmark check --help`"},
    {{"verify", "office.db"}, "\"office.db\" is too much; see `witnessmark verify --help`"},
    {{"load", "dealers"},
     "something is missing: witnessmark load vehicles|dealers|shipments|approvals|notices FILE; see "
     "`witnessmark load --help`"},
    {{"load", "dealers", "a", "b"}, "\"b\" is too much; see `witnessmark load --help`"},
    {{"check", "x", "--today", "1.3.2026"},
     "--today \"1.3.2026\" " NOT_A_DATE "; see `witnessmark check --help`"},
    {{"check", "x", "--received", "2026-02-29"},
     "--received \"2026-02-29\" " NOT_A_DATE "; see `witnessmark check --help`"},
    {{"flags", "--since", ""}, "--since \"\" " NOT_A_DATE "; see `witnessmark flags --help`"},
    {{"flags", "--until", "today"}, "--until \"today\" " NOT_A_DATE "; see `witnessmark flags --help`"},
    {{"flags", "--limit", "-1"},
     "--limit \"-1\" is no whole number; write it as 50; see `witnessmark flags --help`"},
    {{"flags", "--limit", "1.5"},
     "--limit \"1.5\" is no whole number; write it as 50; see `witnessmark flags --help`"},
    {{"flags", "--due-within", "a week"},
     "--due-within \"a week\" is no number of days; write it as 7; see `witnessmark flags --help`"},
    {{"report", "night", "--seconds", "x"},
     "--seconds \"x\" is no whole number from 1; write it as 300; see `witnessmark report --help`"},
    {{"report", "night", "--seconds", "0"},
     "--seconds \"0\" is no whole number from 1; write it as 300; see `witnessmark report --help`"},
    {{"pack", "--work", "much"},
     "--work \"much\" is no whole number; write it as 256; see `witnessmark pack --help`"},
    {{"pack", "--valid-to", "later"}, "--valid-to \"later\" " NOT_A_DATE "; see `witnessmark pack --help`"},
    {{"check", "x", "--separator", "|"},
     "--separator \"|\" is none; write , or ; or tab; see `witnessmark check --help`"},
    {{"check", "x", "--separator", ""},
     "--separator \"\" is none; write , or ; or tab; see `witnessmark check --help`"},
    {{"check", "x", "--separator", ";;"},
     "--separator \";;\" is none; write , or ; or tab; see `witnessmark check --help`"},
    {{"check", "x", "--threads", "0"},
     "--threads \"0\" is no number from 1 to 64; see `witnessmark check --help`"},
    {{"check", "x", "--threads", "65"},
     "--threads \"65\" is no number from 1 to 64; see `witnessmark check --help`"},
    {{"check", "x", "--threads", "all"},
     "--threads \"all\" is no number from 1 to 64; see `witnessmark check --help`"},
    {{"check", "x", "--format", "html"},
     "--format \"html\" is none; write text, csv or json; see `witnessmark check --help`"},
    {{"explain", "D/1", "--format", "csv"},
     "--format \"csv\" is none; write text or json; see `witnessmark explain --help`"},
    {{"worksheet", "V", "--format", "json"},
     "--format \"json\" is none; write text or csv; see `witnessmark worksheet --help`"},
    {{"rules", "print", "--format", "json"},
     "--format \"json\" is none; write text or html; see `witnessmark rules print --help`"},
    {{"pack", "show", "x", "--format", "json"},
     "--format \"json\" is none; write text or csv; see `witnessmark pack show --help`"},
    {{"report", "night", "--format", "pdf"},
     "--format \"pdf\" is none; write text, csv, json or html; see `witnessmark report --help`"},
    /* what single commands say */
    {{"pack"}, "pack needs --out FILE, the file to write"},
    {{"pack", "--out", "x"},
     "pack needs --sign KEY, since dealers refuse a pack without a signature; `pack keygen` makes a key"},
    {{"pack", "--out", "x", "--sign", "k", "--work", "7"}, "--work is a number of KiB from 8 to 65536"},
    {{"pack", "--out", "x", "--sign", "k", "--work", "65537"}, "--work is a number of KiB from 8 to 65536"},
    {{"pack", "--out", "x", "--sign", "k", "--today", "2026-03-02", "--valid-to", "2026-03-01"},
     "--valid-to is a day that is past; nobody could use the pack"},
    {{"check", "x", "--trust", "k"}, "--trust names the key of a pack; name the pack with --pack"},
    {{"check", "x", "--lang", "de"}, "--lang is for what dealers read; name a pack with --pack"},
    {{"check", "x", "--pack", "p", "--office", "o"},
     "a pack brings its own rules and vehicles; leave out --office and --rules"},
};

static void mistakes_are_said_and_nothing_is_done(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(MISTAKES); i++) {
        struct result result = run_program(MISTAKES[i].words);
        if (result.code != 2 || result.out_length != 0 ||
            strcmp(result.err, words("witnessmark: %s\n", MISTAKES[i].says)) != 0)
            fail_msg("%s %s: exit %d, %s%s", MISTAKES[i].words[0],
                     MISTAKES[i].words[1] ? MISTAKES[i].words[1] : "", result.code, result.out, result.err);
        result_free(&result);
    }
}

/* What commands say of words that they alone understand; before anything is opened. */
static void words_of_single_commands(void **state)
{
    char digits[67];
    (void)state;

    memset(digits, 'a', 66);
    digits[66] = '\0';
    const struct call_case cases[] = {
        {{"verify", "--head", "xyz"}, "--head \"xyz\" is no hash; write the 64 digits that `verify` printed"},
        {{"verify", "--head", ""}, "--head \"\" is no hash; write the 64 digits that `verify` printed"},
        {{"verify", "--head", digits},
         words("--head \"%s\" is no hash; write the 64 digits that `verify` printed", digits)},
        {{"verify", "--head", words("%sz", digits + 2)},
         words("--head \"%sz\" is no hash; write the 64 digits that `verify` printed", digits + 2)},
        {{"verify", "--head", digits + 3},
         words("--head \"%s\" is no hash; write the 64 digits that `verify` printed", digits + 3)},
        {{"rules", "new", "../X"},
         "\"../X\" cannot be a campaign's number here; use letters, digits, - and _, 64 at most"},
        {{"rules", "new", ""},
         "\"\" cannot be a campaign's number here; use letters, digits, - and _, 64 at most"},
        {{"rules", "new", "-X"}, "no option -X here; see `witnessmark rules new --help`"},
        {{"rules", "new", digits + 1},
         words("\"%s\" cannot be a campaign's number here; use letters, digits, - and _, 64 at most",
               digits + 1)},
        {{"rules", "new", "X", "--rules", words("%s/nowhere", folder)},
         words("%s/nowhere: there is no such rules folder; name it with --rules", folder)},
        {{"explain"}, "name either DEALER/CLAIM or --vin VIN; see `witnessmark explain --help`"},
    };
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct result result = run_program(cases[i].words);
        const char *said = strncmp(result.err, "witnessmark: ", 13) == 0 ? result.err + 13 : result.err;
        if (result.code != 2 || result.out_length != 0 || strcmp(said, words("%s\n", cases[i].says)) != 0)
            fail_msg("%s %s: exit %d, %s%s", cases[i].words[0], cases[i].words[1] ? cases[i].words[1] : "",
                     result.code, result.out, result.err);
        result_free(&result);
    }
}

/* What `check` says of claims that are right, of files with another separator, and of several files. */
static void checks_that_find_nothing(void **state)
{
    const char *right = words("%s/right.csv", folder), *tabs = words("%s/tabs.csv", folder),
               *findings = words("%s/findings.csv", folder);
    (void)state;

    shell("head -n 2 fixtures/readme/claims.csv > %s && tr ',' '\\t' < %s > %s", right, right, tabs);
    struct result commas = RUN("check", right, "--office", office, "--today", "2026-03-01"),
                  tab = RUN("check", tabs, "--separator", "tab", "--office", office, "--today", "2026-03-01");
    assert_int_equal(commas.code, 0);
    assert_int_equal(strncmp(commas.out, "  decision   claims ", 20), 0); /* no claim stands above it */
    assert_string_equal(tab.out, commas.out);
    result_free(&commas);
    result_free(&tab);
    shell("cp %s %s", right, tabs);
    struct result both =
        RUN("check", right, tabs, "--office", office, "--today", "2026-03-01", "--findings", findings);
    assert_int_equal(both.code, 1); /* the second of them is the first again */
    result_free(&both);
    char *written = read_whole(findings, NULL);
    assert_int_equal(strncmp(written, "file,line,claim,", 16), 0);
    free(written);
}

/* So many campaigns may be named, and no more. */
static void campaigns_have_a_limit(void **state)
{
    (void)state;
    for (int more = 0; more <= 1; more++) {
        shell("cd %s && { %s pack $(yes -- '--campaign X' | head -n %d | tr '\\n' ' ') 2> err; [ $? = 2 ]; }",
              folder, getenv("WITNESSMARK"), MOST_CAMPAIGNS + more);
        char *said = read_whole(words("%s/err", folder), NULL);
        assert_string_equal(
            said, more ? "witnessmark: more than 256 times --campaign; see `witnessmark pack --help`\n"
                       : "witnessmark: pack needs --out FILE, the file to write\n");
        free(said);
    }
}

/* --- What is said by itself
 * --------------------------------------------------------------------------------------- */

static void help_is_there(void **state)
{
    struct result nothing = RUN(NULL), help = RUN("--help"), word = RUN("help"), version = RUN("--version");
    (void)state;

    assert_int_equal(nothing.code, 2);
    assert_string_equal(nothing.out, "");
    assert_int_equal(help.code, 0);
    assert_int_equal(word.code, 0);
    assert_int_equal(version.code, 0);
    assert_string_equal(help.out, nothing.err);
    assert_string_equal(help.out, word.out);
    assert_non_null(strstr(help.out, "usage: witnessmark COMMAND [OPTION...] [FILE...]\n"));
    assert_int_equal(strncmp(version.out, "witnessmark ", 12), 0);
    for (int i = 0; COMMANDS[i] != NULL; i++) {
        char first[64];
        const char *second = strchr(COMMANDS[i]->name, ' ');
        snprintf(first, sizeof first, "%.*s",
                 second ? (int)(second - COMMANDS[i]->name) : (int)strlen(COMMANDS[i]->name),
                 COMMANDS[i]->name);
        struct result one = second ? RUN(first, second + 1, "--help") : RUN(first, "--help");
        assert_int_equal(one.code, 0);
        assert_string_equal(one.err, "");
        assert_non_null(strstr(help.out, words("\n  %-14s %s\n", COMMANDS[i]->name, COMMANDS[i]->summary)));
        assert_non_null(strstr(one.out, words("usage: witnessmark %s %s\n%s\n", COMMANDS[i]->name,
                                              COMMANDS[i]->arguments, COMMANDS[i]->summary)));
        for (int option = 0; option < OPTIONS; option++) {
            const struct option_kind *kind = cli_option((enum option_number)option);
            bool takes = (COMMANDS[i]->options & OPTION_BIT(option)) != 0;
            assert_true((strstr(one.out, words("\n  --%s ", kind->name)) != NULL) == takes);
        }
        result_free(&one);
    }
    result_free(&nothing);
    result_free(&help);
    result_free(&word);
    result_free(&version);
}

/* Whatever of roff it has. */
static void text_stands_in_the_manual_as_it_is(void **state)
{
    static const struct {
        const char *text, *page;
    } CASES[] = {
        {"a-b c.d", "a\\-b c.d"},
        {".TH", "\\&.TH"},
        {"'a'\n.b\nc", "\\&'a'\n\\&.b\nc"},
        {"C:\\x", "C:\\ex"},
        {"say \"x\"", "say \\(dqx\\(dq"},
        {"", ""},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        char *page = NULL;
        size_t length = 0;
        FILE *to = open_memstream(&page, &length);
        need(to != NULL, "memory");
        manual_print_text(to, CASES[i].text, strlen(CASES[i].text));
        need(fclose(to) == 0, "memory");
        assert_string_equal(page, CASES[i].page);
        free(page);
    }
}

/* --- Output that cannot be written
 * -------------------------------------------------------------------------------- */

/* What only says something fails; what was made stays, and is said to. */
static void a_full_disk_is_said(void **state)
{
    static const struct {
        const char *call;
        int code;
        const char *says;
    } CASES[] = {
        {"--help", 2, "witnessmark: this cannot be printed: No space left on device\n"},
        {"--version", 2, "witnessmark: this cannot be printed: No space left on device\n"},
        {"check --help", 2, "witnessmark: this cannot be printed: No space left on device\n"},
        {"pack keygen %1$s/full", 0,
         "warning: it is done, but what was done could not be printed: No space left on device\n"},
        {"rules new FULL --rules %1$s/rules", 0,
         "warning: it is done, but what was done could not be printed: No space left on device\n"},
        {"pack --out %1$s/full.pack --sign %1$s/full --office %1$s/office.db --work 8", 0,
         "warning: it is done, but what was done could not be printed: No space left on device\n"},
        {"post %1$s/night.csv --office %1$s/full.db --today 2026-03-02", 0,
         "warning: it is done, but what was done could not be printed: No space left on device\n"},
        {"post %1$s/night.csv --office %1$s/full.db --today 2026-03-02", 2, /* which does nothing */
         "standard output: cannot write: No space left on device\n"},
        {"post %1$s/night.csv --office %1$s/full.db --today 2026-03-02 --out /dev/full", 2,
         "/dev/full: cannot write: No space left on device\n"},
        {"sample draw --name s --because x --size 2 --office %1$s/full.db --today 2026-05-01", 0,
         "warning: it is done, but what was done could not be printed: No space left on device\n"},
        {"sample redraw s --office %1$s/full.db --today 2026-05-01", 2, "No space left on device\n"},
        {"verify --office %1$s/office.db", 2, "No space left on device\n"},
        {"flags --office %1$s/office.db --format csv", 2, "No space left on device\n"},
        {"followups --office %1$s/office.db --format csv", 2, "No space left on device\n"},
        {"worksheet EZ7BAMCK6KE421489 --office %1$s/office.db", 2, "No space left on device\n"},
        {"rules lint", 2, "No space left on device\n"},
        {"rules print", 2, "No space left on device\n"},
        {"rules messages", 2, "No space left on device\n"},
        {"rules diff rules", 2, "No space left on device\n"},
        {"rules try rules/deadlines.csv %1$s/facts.csv", 2, "No space left on device\n"},
        {"report list", 2, "No space left on device\n"},
        {"report views", 2, "No space left on device\n"},
        {"report night --help", 2, "No space left on device\n"},
        {"report night --office %1$s/office.db", 2, "No space left on device\n"},
        {"outliers --office %1$s/office.db --format csv", 2, "No space left on device\n"},
        {"sample size rate --tolerable 5 --expected 1", 2, "No space left on device\n"},
        {"pack show %1$s/full.pack --trust %1$s/full.pub", 2, "No space left on device\n"},
    };
    (void)state;

    shell("cp -r rules %s/rules && cp %s %s/full.db && cp %s %s/night.csv", folder, office, folder,
          demo_file("night-1.csv"), folder);
    write_words(words("%s/facts.csv", folder), "region\nUS-NY\n");
    for (size_t i = 0; i < COUNT(CASES); i++) {
        char call[1024];
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
        snprintf(call, sizeof call, CASES[i].call, folder);
#pragma GCC diagnostic pop
        int code = system(words("%s %s > /dev/full 2> %s/err", getenv("WITNESSMARK"), call, folder));
        char *said = read_whole(words("%s/err", folder), NULL);
        size_t length = strlen(said), expected = strlen(CASES[i].says);
        if (WEXITSTATUS(code) != CASES[i].code || length < expected ||
            strcmp(said + length - expected, CASES[i].says) != 0)
            fail_msg("%s: exit %d, %s", call, WEXITSTATUS(code), said);
        free(said);
    }
    assert_true(file_is_there(words("%s/full.pub", folder)));
    assert_true(file_is_there(words("%s/rules/campaigns/FULL/kits.csv", folder)));
}

/* --- What the machine does not give
 * -------------------------------------------------------------------------------- */

/* Runs it with a limit of the system. */
static struct result run_within(__rlimit_resource_t resource, rlim_t limit, const char *const *call)
{
    struct rlimit was, is;

    need(getrlimit(resource, &was) == 0, "limit");
    is = (struct rlimit){limit, was.rlim_max};
    need(setrlimit(resource, &is) == 0, "limit");
    struct result result = run_program(call);
    need(setrlimit(resource, &was) == 0, "limit");
    return result;
}

/* A file so large that it is searched while it is decided, and a pack. */
static void threads_that_cannot_be_had_are_done_without(void **state)
{
    const char *night = demo_file("night-1.csv"), *large = words("%s/large.csv", folder),
               *key = words("%s/threads", folder), *pack = words("%s/threads.pack", folder);
    const char *const check[] = {"check", large, "--office", office, "--today", "2026-03-02", "--threads", "4", NULL};
    const char *const make[] = {"pack", "--out", pack, "--sign", key, "--office", office, "--work", "8",
                                "--threads", "4", "--today", "2026-03-02", NULL};
    const rlim_t no_stack_so_large = (rlim_t)1 << 50;
    (void)state;

    shell("cp %s %s; for i in $(seq 30); do tail -n +2 %s >> %s; done", night, large, night, large);
    struct result with = run_program(check), without = run_within(RLIMIT_STACK, no_stack_so_large, check);
    assert_int_equal(with.code, 1);
    assert_int_equal(without.code, 1);
    assert_string_equal(without.err, with.err);
    assert_string_equal(without.out, with.out);
    result_free(&with);
    result_free(&without);
    assert_int_equal(RUN("pack", "keygen", key).code, 0);
    without = run_within(RLIMIT_STACK, no_stack_so_large, make);
    assert_int_equal(without.code, 0);
    assert_non_null(strstr(without.out, "packed 2400 vehicles and "));
    result_free(&without);
    assert_int_equal(RUN("pack", "show", pack, "--trust", words("%s.pub", key), "--today", "2026-03-02").code, 0);
}

/* The claims of a batch are decided again from a temporary file. */
static void a_temporary_file_that_is_too_large_is_said(void **state)
{
    const char *posted = words("%s/posted.db", folder), *claims = words("%s/two.csv", folder);
    const char *const diff[] = {"rules", "diff", "rules", "--office", posted, NULL};
    (void)state;

    shell("cp %s %s && cp %s %s && tail -n +2 %s >> %s", demo_file("office.db"), posted, demo_file("night-1.csv"),
          claims, demo_file("night-2.csv"), claims);
    struct result result = RUN("post", claims, "--office", posted, "--today", "2026-03-16", "--quiet");
    assert_int_equal(result.code, 0);
    result_free(&result);
    signal(SIGXFSZ, SIG_IGN); /* what is written beyond the limit fails */
    result = run_within(RLIMIT_FSIZE, 64 * 1024, diff);
    signal(SIGXFSZ, SIG_DFL);
    if (result.code != 2 ||
        strstr(result.err, "batch 1 cannot be decided again: no temporary file; try again\n") == NULL)
        fail_msg("exit %d, %s", result.code, result.err);
    result_free(&result);
}

/* --- On a terminal
 * ------------------------------------------------------------------------------------------------ */

/* Runs it with a terminal for all three streams. */
static char *at_terminal(int code, const char *const *call)
{
    const char *program = getenv("WITNESSMARK");
    char *shown = calloc(1, 1 << 20);
    size_t length = 0;
    int terminal;
    pid_t child = forkpty(&terminal, NULL, NULL, NULL);

    need(child >= 0 && shown != NULL, "terminal");
    if (child == 0) {
        const char *all[32] = {program};
        for (size_t i = 0; call[i] != NULL && i < 30; i++)
            all[i + 1] = call[i];
        execv(program, (char *const *)(uintptr_t)all);
        _exit(127);
    }
    for (ssize_t got; length < (1 << 20) - 4096 && (got = read(terminal, shown + length, 4096)) > 0;)
        length += (size_t)got;
    close(terminal);
    int is = wait_for_exit(child);
    if (is != code)
        fail_msg("%s: exit %d, not %d: %s", call[0], is, code, shown);
    return shown;
}

#define AT_TERMINAL(code, ...) at_terminal(code, (const char *const[]){__VA_ARGS__, NULL})

/* Progress is shown while something long goes on, and taken away; --quiet shows none. */
static void progress_is_for_terminals(void **state)
{
    const char *night = demo_file("night-1.csv"), *key = words("%s/progress", folder);
    (void)state;

    char *loud =
        AT_TERMINAL(1, "check", night, "--office", office, "--today", "2026-03-02", "--out", "/dev/null");
    assert_non_null(strstr(loud, "\r100 %"));
    assert_non_null(strstr(loud, "\r     \r"));
    char *quiet = AT_TERMINAL(1, "check", night, "--office", office, "--today", "2026-03-02", "--out",
                              "/dev/null", "--quiet");
    assert_null(strstr(quiet, "%"));
    loud = AT_TERMINAL(0, "post", night, "--office", office, "--today", "2026-03-02");
    assert_non_null(strstr(loud, "\r100 %"));
    loud = AT_TERMINAL(0, "verify", "--office", office, "--again");
    assert_non_null(strstr(loud, " 100 %"));
    assert_non_null(strstr(loud, "everything fits"));
    assert_null(strstr(AT_TERMINAL(0, "verify", "--office", office, "--quiet"), "%"));
    AT_TERMINAL(0, "pack", "keygen", key);
    loud = AT_TERMINAL(0, "pack", "--out", words("%s/p.pack", folder), "--sign", key, "--office", office,
                       "--work", "8", "--today", "2026-03-02");
    assert_non_null(strstr(loud, " %\r     \r"));
    assert_non_null(strstr(loud, "packed 2400 vehicles and "));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mistakes_are_said_and_nothing_is_done),
        cmocka_unit_test(words_of_single_commands),
        cmocka_unit_test(checks_that_find_nothing),
        cmocka_unit_test(campaigns_have_a_limit),
        cmocka_unit_test(help_is_there),
        cmocka_unit_test(a_full_disk_is_said),
        cmocka_unit_test(text_stands_in_the_manual_as_it_is),
        cmocka_unit_test(threads_that_cannot_be_had_are_done_without),
        cmocka_unit_test(a_temporary_file_that_is_too_large_is_said),
        cmocka_unit_test(progress_is_for_terminals),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
