/* The layout of the repository and what its code promises: which folders there are, which way includes point,
 * where printing, SQL and floating point are allowed.
 */
#include "program.h"

#include <ctype.h>

/* --- The files of the repository -------------------------------------------------------------------------- */

enum { MOST_FILES = 4000 };

static char *files[MOST_FILES];
static size_t file_count;

static int list_files(void **state)
{
    /* also what is new and not committed; `safe.directory`: the tree may belong to somebody else, as in a
     * container */
    FILE *list = popen("git -c safe.directory='*' ls-files --cached --others --exclude-standard", "r");
    char *line = NULL;
    size_t room = 0;
    (void)state;

    need(list != NULL, "git");
    for (ssize_t length; (length = getline(&line, &room, list)) > 0;) {
        line[length - 1] = '\0';
        if (file_count < MOST_FILES && file_is_there(line))
            files[file_count++] = words("%s", line);
    }
    free(line);
    return pclose(list) == 0 && file_count > 0 ? 0 : -1;
}

static bool begins(const char *path, const char *with)
{
    return strncmp(path, with, strlen(with)) == 0;
}

static bool ends(const char *path, const char *with)
{
    return strlen(path) >= strlen(with) && strcmp(path + strlen(path) - strlen(with), with) == 0;
}

static bool is_code(const char *path)
{
    return ends(path, ".c") || ends(path, ".h");
}

static size_t faults;

static void fault(const char *path, size_t line, const char *what)
{
    print_error("%s:%zu: %s\n", path, line, what);
    faults++;
}

/* Looks at one line of a file. */
typedef void look_at_line(const char *path, size_t number, char *line);

static void blank(char *from, const char *to)
{
    for (; from < to; from++)
        if (*from != '\n')
            *from = ' ';
}

static char *end_of_quoted(char *at)
{
    char quote = *at++;

    while (*at != '\0' && *at != quote)
        at += 1 + (*at == '\\' && at[1] != '\0');
    return *at != '\0' ? at + 1 : at;
}

static void take_out_comments(char *text, bool quoted_too)
{
    for (char *at = text; *at != '\0';) {
        char *start = at;
        if (begins(at, "/*")) {
            char *end = strstr(at + 2, "*/");
            at = end != NULL ? end + 2 : at + strlen(at);
            blank(start, at);
        } else if (begins(at, "//")) {
            at += strcspn(at, "\n");
            blank(start, at);
        } else if (*at == '"' || *at == '\'') {
            at = end_of_quoted(at);
            if (quoted_too && !begins(start - strspn(start, " "), "#include"))
                blank(start + 1, at - 1);
        } else {
            at++;
        }
    }
}

/* Shows every line of code below a folder: with comments or without, and if bare without what stands in quotes.
 */
static void each_line(const char *folder, bool code_alone, bool bare, look_at_line *look)
{
    for (size_t i = 0; i < file_count; i++) {
        if (!begins(files[i], folder) || !is_code(files[i]))
            continue;
        char *text = read_whole(files[i], NULL), *rest = text, *line;
        size_t number = 0;
        if (code_alone)
            take_out_comments(text, bare);
        while ((line = strsep(&rest, "\n")) != NULL)
            look(files[i], ++number, line);
        free(text);
    }
}

/* Whether the line has this word, with nothing of a name on either side. */
static bool has_word(const char *line, const char *word)
{
    size_t length = strlen(word);

    for (const char *at = line; (at = strstr(at, word)) != NULL; at += length) {
        bool starts = at == line || !(isalnum((unsigned char)at[-1]) || at[-1] == '_');
        bool stops = !(isalnum((unsigned char)at[length]) || at[length] == '_');
        if (starts && stops)
            return true;
    }
    return false;
}

static bool has_call(const char *line, const char *name)
{
    return has_word(line, name) && strstr(line, words("%s(", name)) != NULL;
}

/* --- Cases
 * ----------------------------------------------------------------------------------------------------------------
 */

static void top_level_holds_nothing_else(void **state)
{
    static const char *const ALLOWED[] = {"README.md", "DEVELOPERS.md", "Makefile",  "engine/",
                                          "rules/",    "tests/",        "fixtures/", "reports/"};
    (void)state;

    faults = 0;
    for (size_t i = 0; i < file_count; i++) {
        bool allowed = files[i][0] == '.';
        for (size_t k = 0; k < COUNT(ALLOWED) && !allowed; k++)
            allowed = ends(ALLOWED[k], "/") ? begins(files[i], ALLOWED[k]) : strcmp(files[i], ALLOWED[k]) == 0;
        if (!allowed)
            fault(files[i], 0, "does not belong on the top level");
    }
    assert_int_equal(faults, 0);
}

static const char *const STAGES[] = {"base",    "statistics", "tables",    "rules", "intake",  "register", "facts",
                                     "verdict", "ledger",     "regulator", "audit", "reports", "pack",     "cli"};

/* The number of the stage that a path begins with; COUNT(STAGES) if it is none. */
static size_t stage_of(const char *path)
{
    size_t stage = 0;

    while (stage < COUNT(STAGES) && !begins(path, words("%s/", STAGES[stage])))
        stage++;
    return stage;
}

static bool is_made_at_build(const char *included)
{
    return ends(included, "_sql.h") || ends(included, "_css.h") || ends(included, "_js.h") || ends(included, "_html.h");
}

static void look_at_include(const char *path, size_t number, char *line)
{
    char included[256];

    if (sscanf(line, " #include \"%255[^\"]\"", included) != 1)
        return;
    size_t to = stage_of(included);
    if (strcmp(path, "engine/main.c") == 0) {
        if (to != COUNT(STAGES) - 1)
            fault(path, number, "main.c includes the command line and nothing else");
        return;
    }
    size_t from = stage_of(path + strlen("engine/"));
    if (from == COUNT(STAGES))
        fault(path, number, "this is in no stage of the pipeline");
    else if (to == COUNT(STAGES) && !is_made_at_build(included))
        fault(path, number, "include as \"stage/name.h\"");
    else if (to > from && to != COUNT(STAGES))
        fault(path, number, "includes point from later stages to earlier ones");
    else if (begins(included, "statistics/") && from > to && from < stage_of("ledger/"))
        fault(path, number, "statistics say who to look at; what decides a claim does not ask them");
}

static void includes_point_one_way(void **state)
{
    (void)state;
    faults = 0;
    each_line("engine/", true, false, look_at_include);
    assert_int_equal(faults, 0);
}

static void look_at_form(const char *path, size_t number, char *line)
{
    enum { MOST_COLUMNS = 120 };
    size_t columns = 0;

    for (const char *at = line; *at != '\0'; at++)
        columns += ((unsigned char)*at & 0xc0) != 0x80;
    if (columns > MOST_COLUMNS)
        fault(path, number, "longer than 120 columns");
    if (strchr(line, '\t') != NULL)
        fault(path, number, "a tab; indent with blanks");
    if (line[0] != '\0' && isspace((unsigned char)line[strlen(line) - 1]))
        fault(path, number, "blanks at the end");
}

static void lines_are_short_and_without_tabs(void **state)
{
    (void)state;
    faults = 0;
    each_line("", false, false, look_at_form);
    assert_int_equal(faults, 0);
}

static void look_at_words(const char *path, size_t number, char *line)
{
    static const char *const PRINTING[] = {"printf",  "fprintf", "vprintf", "vfprintf", "puts",  "fputs",
                                           "putchar", "fputc",   "perror",  "exit",     "_exit", "abort"};
    static const char *const FLOATING[] = {"float",
                                           "double",
                                           "strtod",
                                           "strtof",
                                           "strtold",
                                           "atof",
                                           "sqlite3_column_double",
                                           "sqlite3_bind_double"};
    bool cli = begins(path, "engine/cli/") || strcmp(path, "engine/main.c") == 0;

    for (size_t i = 0; i < COUNT(PRINTING) && !cli; i++)
        if (has_call(line, PRINTING[i]))
            fault(path, number, words("%s: modules never print or exit", PRINTING[i]));
    /* what is written as JSON passes through the library's own kind of number there; statistics say who to look at and
     * what a sample tells, and never decide what a claim is paid */
    bool statistics = begins(path, "engine/statistics/");
    bool floating = statistics || strcmp(path, "engine/cli/write_claims.c") == 0;
    for (size_t i = 0; i < COUNT(FLOATING) && !floating; i++)
        if (has_word(line, FLOATING[i]))
            fault(path, number, words("%s: numbers are exact, never floating point", FLOATING[i]));
    for (const char *at = line; (at = strchr(at, '.')) != NULL && !statistics; at++)
        if (at > line && isdigit((unsigned char)at[-1]) && isdigit((unsigned char)at[1]))
            fault(path, number, "a floating-point literal");
    if (strstr(line, "typedef struct") != NULL)
        fault(path, number, "no typedef of a struct");
}

static void modules_neither_print_nor_float(void **state)
{
    (void)state;
    faults = 0;
    each_line("engine/", true, true, look_at_words);
    assert_int_equal(faults, 0);
}

static void look_at_sql(const char *path, size_t number, char *line)
{
    static const char *const SQL[] = {"SELECT ", "INSERT ", "UPDATE ", "DELETE FROM",
                                      "CREATE ", "PRAGMA ", "sqlite3"};

    for (size_t i = 0; i < COUNT(SQL) && !begins(path, "engine/ledger/"); i++)
        if (strstr(line, SQL[i]) != NULL)
            fault(path, number, "SQL stands in engine/ledger");
}

static void sql_is_the_ledgers(void **state)
{
    (void)state;
    faults = 0;
    each_line("engine/", true, false, look_at_sql);
    assert_int_equal(faults, 0);
}

static void headers_say_what_they_are(void **state)
{
    (void)state;
    faults = 0;
    for (size_t i = 0; i < file_count; i++) {
        if (!begins(files[i], "engine/") || !ends(files[i], ".h"))
            continue;
        char *text = read_whole(files[i], NULL);
        const char *name = strrchr(files[i], '/') + 1;
        if (!begins(text, words("/* %s - ", name)))
            fault(files[i], 1, "a header opens with a comment: its name, a dash, what it is");
        free(text);
    }
    assert_int_equal(faults, 0);
}

/* Every source belongs to a stage, and every stage has sources. */
static void the_engine_is_its_stages(void **state)
{
    size_t sources[COUNT(STAGES)] = {0};
    (void)state;

    faults = 0;
    for (size_t i = 0; i < file_count; i++) {
        if (!begins(files[i], "engine/") || strcmp(files[i], "engine/main.c") == 0)
            continue;
        size_t stage = stage_of(files[i] + strlen("engine/"));
        if (stage == COUNT(STAGES))
            fault(files[i], 0, "is in no stage of the pipeline");
        else
            sources[stage]++;
    }
    for (size_t i = 0; i < COUNT(STAGES); i++)
        assert_true(sources[i] > 0);
    assert_int_equal(faults, 0);
}

/* The checks above find what they look for. */
static void the_checks_can_fail(void **state)
{
    char code[] = "x = \"double 1.5 /* */\"; /* float printf( */ y = '\"'; float z = 2.5; // exit(";
    (void)state;

    take_out_comments(code, true);
    assert_false(has_word(code, "double"));
    assert_true(has_word(code, "float"));
    assert_false(has_call(code, "printf"));
    assert_false(has_call(code, "exit"));
    print_message("(the six faults that follow are made on purpose)\n");
    faults = 0;
    look_at_words("engine/facts/x.c", 1, code); /* float and 2.5 */
    look_at_words("engine/facts/x.c", 2, words("exit(3);"));
    look_at_include("engine/rules/x.c", 3, words("#include \"facts/vin.h\""));
    look_at_include("engine/facts/x.c", 4, words("#include \"rules/rules.h\""));
    look_at_include("engine/verdict/x.c", 6, words("#include \"statistics/funnel.h\""));
    look_at_include("engine/ledger/x.c", 7, words("#include \"statistics/funnel.h\"")); /* this may be */
    look_at_words("engine/statistics/x.c", 8, words("double half = 0.5;"));               /* and this */
    look_at_sql("engine/cli/x.c", 5, words("run(\"SELECT 1\");"));
    assert_int_equal(faults, 6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(top_level_holds_nothing_else),    cmocka_unit_test(the_engine_is_its_stages),
        cmocka_unit_test(includes_point_one_way),          cmocka_unit_test(lines_are_short_and_without_tabs),
        cmocka_unit_test(modules_neither_print_nor_float), cmocka_unit_test(sql_is_the_ledgers),
        cmocka_unit_test(headers_say_what_they_are),       cmocka_unit_test(the_checks_can_fail),
    };
    return cmocka_run_group_tests(tests, list_files, NULL);
}
