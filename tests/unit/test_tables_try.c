/* `rules try`: one table over a CSV of facts, as CSV and as JSON. */
#include "table_kit.h"

#include "tables/try.h"

struct tried {
    struct capture capture;
    struct buffer out;
    int status;
    uint64_t errors;
};

static int take(void *context, struct text piece)
{
    buffer_add_text(context, piece);
    return WM_OK;
}

static void run_facts(struct try_run *run, const char *path, struct tried *tried)
{
    struct csv_source facts;

    tried->status = csv_source_open(&facts, path, &tried->capture.sink);
    if (tried->status != WM_OK)
        return;
    tried->status = try_facts(run, &facts, take, &tried->out, &tried->capture.sink, &tried->errors);
    csv_source_close(&facts);
}

/* Writes the facts to a file, as a user has them, and tries the table on it. */
static void try_it(const char *table, const char *facts, enum try_format format, struct tried *tried)
{
    struct arena arena = ARENA_EMPTY;
    struct try_run *run = NULL;
    char folder[256], path[300];
    struct try_source source = {.table_file = TEXT("t.csv"), .table_csv = text_of(table),
                                .facts_file = TEXT("f.csv"), .dictionary = &KIT_SOURCE, .format = format};

    *tried = (struct tried){.out = BUFFER_EMPTY};
    capture_start(&tried->capture);
    make_folder(folder);
    snprintf(path, sizeof path, "%s/f.csv", folder);
    write_file(path, facts, strlen(facts));
    tried->status = try_open(&arena, &source, &tried->capture.sink, &run);
    if (tried->status == WM_OK)
        run_facts(run, path, tried);
    try_close(run);
    arena_free(&arena);
    unlink(path);
    rmdir(folder);
    buffer_add_byte(&tried->out, '\0');
}

struct trial {
    const char *table, *facts;
    enum try_format format;
    uint64_t errors;
    const char *expected;
};

static const struct trial TRIALS[] = {
    /* one hit, no hit, a missing column, one that is carried through; rows as they stand */
    {"U,n,t,m,>x,>y\na,1,-,-,p,1.50\nb,2,A,null,\"q, \"\"r\"\"\",2\n",
     "id,n,other,t\n7,1,\"x, y\",A\n\"8\", 2 ,,A\n9,3,,\n\n,,,\n10,,,\n", TRY_CSV, 0,
     "id,n,other,t,x,y\n7,1,\"x, y\",A,p,1.5\n\"8\", 2 ,,A,\"q, \"\"r\"\"\",2\n9,3,,,,\n10,,,,,\n"},
    /* byte order mark, CRLF, no line end at the end */
    {"\xef\xbb\xbfU,n,>x\r\na,1,p\r\n", "\xef\xbb\xbfn,t\r\n1,A\r\n2,B", TRY_CSV, 0, "n,t,x\n1,A,p\n2,B,\n"},
    /* errors of the rules */
    {"U,n,>x,>y\na,1,p,q\nb,1,p,q\n", "n\n1\n2\n", TRY_CSV, 1,
     "n,x,y\n1,!error: rows a and b both hit and U allows one,\n2,,\n"},
    {"A,n,>x\na,1,p\nb,1,q\nc,2,1.0\n", "n\n1\n2\n", TRY_CSV, 1,
     "n,x\n1,!error: rows a and b hit with different outputs and A allows no difference\n2,1.0\n"},
    {"C+,n,>x\na,1,9000000000000\nb,1,9000000000000\nc,-,1\n", "n\n1\n2\n", TRY_CSV, 1,
     "n,x\n1,!error: the sum from row a to row c is too large a number\n2,1\n"},
    {"F,t,>x\nslow,\"matches(?, \"\"^(a|aa)+$\"\")\",1\n",
     "t\naaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaab\na\n", TRY_CSV, 1,
     "t,x\naaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaab,"
     "\"!error: the pattern of row slow was given up, it takes too many steps\"\na,1\n"},
    /* cells that are not of their fact's type, rows that cannot be read: the others go on */
    {"F,n,d,b,>x\na,-,-,-,p\n",
     "n,d,b\n1x,,\n,2026-02-30,\n,,TRUE\n1.2345678,,\n1,2026-01-01,true\n1,2\n1,2,3,4\n1,p\"q,\n1,\xff,\n1\n,,false\n",
     TRY_CSV, 9,
     "n,d,b,x\n1x,,,!error: n: 1x is not a number\n,2026-02-30,,!error: d: 2026-02-30 is not a date\n"
     ",,TRUE,!error: b: TRUE is not true or false\n1.2345678,,,!error: n: 1.2345678 has more than six places\n"
     "1,2026-01-01,true,p\n1,2,,!error: the row has 2 cells and the header 3\n"
     "1,2,3,!error: the row has 4 cells and the header 3\n"
     "1,,,!error: cell 2 holds a quote where none may stand; put the whole cell in quotes and double those inside it\n"
     "1,,,!error: cell 2 is not UTF-8 text; save the file as CSV UTF-8\n"
     "1,,,!error: the row has 1 cell and the header 3\n,,false,p\n"},
    /* lists, aggregates, places */
    {"C,n,>x,>y\na,1,p,\nb,-,\"q,r\",2\n", "n\n1\n2\n", TRY_CSV, 0, "n,x,y\n1,\"p;q,r\",;2\n2,\"q,r\",2\n"},
    {"R,n,>x\na,1,p\nb,1,q\n", "n\n1\n2\n", TRY_CSV, 0, "n,x\n1,p;q\n2,\n"},
    {"O,n,>x\nvalues,,\"q,p\"\na,1,p\nb,1,q\n", "n\n1\n", TRY_CSV, 0, "n,x\n1,q;p\n"},
    {"C+,n,>x\na,1,1.25\nb,1,2\n", "n\n1\n2\n", TRY_CSV, 0, "n,x\n1,3.25\n2,\n"},
    {"C#,n,>x\na,1,p\nb,1,\n", "n\n1\n2\n", TRY_CSV, 0, "n,x\n1,2\n2,\n"},
    {"C<,n,>x\na,1,2026-02-01\nb,1,2026-01-01\n", "n\n1\n", TRY_CSV, 0, "n,x\n1,2026-01-01\n"},
    {"F,n,>x\na,1.5,\"{n}, {m} {secret}\"\nb,-,{t}\n", "n,secret,t\n1.50,s,\n2,,\"a\"\"b\"\n", TRY_CSV, 0,
     "n,secret,t,x\n1.50,s,,\"1.5,  s\"\n2,,\"a\"\"b\",\"a\"\"b\"\n"},
    {"A,n,>x\na,-,{t}\nb,-,z\n", "n,t\n1,z\n1,y\n", TRY_CSV, 1,
     "n,t,x\n1,z,z\n1,y,!error: rows a and b hit with different outputs and A allows no difference\n"},
    /* types: words of a list in any case; a fact that the dictionary lacks */
    {"F,word,grade,>x\ntype,,number,\na,Repaired,> 2,p\n", "word,grade\nREPAIRED,3\nrepaired,2\n", TRY_CSV, 0,
     "word,grade,x\nREPAIRED,3,p\nrepaired,2,\n"},
    {"F,n,>x\na,m,same\n", "n,m,id\n1,1.0,7\n1,2,8\n,,9\n", TRY_CSV, 0,
     "n,m,id,x\n1,1.0,7,same\n1,2,8,\n,,9,same\n"},
    {"F,n,>x\na,late_n,{n} is {late_n}\n", "n,late_n\n1,1\n", TRY_CSV, 0, "n,late_n,x\n1,1,1 is 1\n"},
    {"U,n,>x\n", "n\n1\n", TRY_CSV, 0, "n,x\n1,\n"},
    {"U,n,>x\na,1,1\n", "n\n", TRY_CSV, 0, "n,x\n"},
    /* columns without a name are carried through, several of them too */
    {"U,n,>x\na,1,p\n", "n,,\n1,2,3\n", TRY_CSV, 0, "n,,,x\n1,2,3,p\n"},
    /* more facts than a dictionary has */
    {"C,f1,f2,f3,f4,f5,f6,f7,f8,f9,f10,f11,f12,f13,f14,f15,f16,f17,f18,>x\n"
     "type,number,number,number,number,number,number,number,number,number,number,number,number,number,number,number,"
     "number,number,number,\n"
     "a,1,-,-,-,-,-,-,-,-,-,-,-,-,-,-,-,-,9,first\nb,-,-,-,-,-,-,-,-,-,-,-,-,-,-,-,-,8,-,second\n",
     "f1,f17,f18\n1,8,9\n1,7,9\n2,8,9\n1,9,8\n", TRY_CSV, 0,
     "f1,f17,f18,x\n1,8,9,first;second\n1,7,9,first\n2,8,9,second\n1,9,8,\n"},
    /* JSON */
    {"U,n,t,d,b,>x,>y,>z,>w\na,1,-,-,-,p,1.50,2026-03-01,true\nb,2,-,-,-,,,,\nc,2,-,-,-,,,,\n",
     "n,t,d,b,id\n1.0,\"say \"\"hi\"\"\\\t\n\x01\xc3\xa9\",2026-01-01,true,007\n3,,,,\n2,,,,\n", TRY_JSON, 1,
     "{\"n\":1,\"t\":\"say \\\"hi\\\"\\\\\\t\\n\\u0001\xc3\xa9\",\"d\":\"2026-01-01\",\"b\":true,\"id\":\"007\","
     "\"x\":\"p\",\"y\":1.5,\"z\":\"2026-03-01\",\"w\":true}\n"
     "{\"n\":3,\"t\":null,\"d\":null,\"b\":null,\"id\":null,\"x\":null,\"y\":null,\"z\":null,\"w\":null}\n"
     "{\"n\":2,\"t\":null,\"d\":null,\"b\":null,\"id\":null,"
     "\"x\":\"!error: rows b and c both hit and U allows one\",\"y\":null,\"z\":null,\"w\":null}\n"},
    {"C,n,>x,>y\na,1,p,\nb,-,{t},2\n", "n,t\n1,A\n2,\n", TRY_JSON, 0,
     "{\"n\":1,\"t\":\"A\",\"x\":[\"p\",\"A\"],\"y\":[null,2]}\n{\"n\":2,\"t\":null,\"x\":[\"\"],\"y\":[2]}\n"},
    {"F,b,>x\na,-,p\n", "b,c,t\nfalse,true,\"a\rb\"\nTRUE,1,\n\"\",no,\n", TRY_JSON, 1,
     "{\"b\":false,\"c\":true,\"t\":\"a\\rb\",\"x\":\"p\"}\n"
     "{\"b\":\"TRUE\",\"c\":\"1\",\"t\":null,\"x\":\"!error: b: TRUE is not true or false\"}\n"
     "{\"b\":null,\"c\":\"no\",\"t\":null,\"x\":\"p\"}\n"},
    {"R,n,>x\na,1,1\n", "n\n2\n", TRY_JSON, 0, "{\"n\":2,\"x\":null}\n"},
    {"C+,n,>x\na,1,.25\nb,1,9000000000000.000001\n", "n\n1\n2\n", TRY_JSON, 0,
     "{\"n\":1,\"x\":9000000000000.250001}\n{\"n\":2,\"x\":null}\n"},
    /* a column that an output has the name of is left out; a cell that is no number stays a string */
    {"U,n,>t\na,1,new\n", "t,n\nold,1\nold,x\n\"a\",1,2\n", TRY_JSON, 2,
     "{\"n\":1,\"t\":\"new\"}\n{\"n\":\"x\",\"t\":\"!error: n: x is not a number\"}\n"
     "{\"n\":1,\"t\":\"!error: the row has 3 cells and the header 2\"}\n"},
    {"U,n,>x\na,1,new\n", "n,m\n1\n", TRY_JSON, 1,
     "{\"n\":1,\"m\":null,\"x\":\"!error: the row has 1 cell and the header 2\"}\n"},
};

static void test_trials(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof TRIALS / sizeof *TRIALS; i++) {
        struct tried tried;
        try_it(TRIALS[i].table, TRIALS[i].facts, TRIALS[i].format, &tried);
        assert_string_equal(tried.capture.text, "");
        assert_int_equal(tried.status, WM_OK);
        assert_string_equal(tried.out.bytes, TRIALS[i].expected);
        assert_int_equal(tried.errors, TRIALS[i].errors);
        buffer_free(&tried.out);
    }
}

static void test_mistakes(void **state)
{
    static const struct {
        const char *table, *facts, *messages;
        bool by_name;    /* of a file whose name differs from run to run: only the end is compared */
    } cases[] = {
        {"U,modelyear,>x\na,1,2\n", "n\n", "t.csv:1:2: no fact \"modelyear\"; nearest is \"model_year\"\n", false},
        {"U,n,>x\na,1,2\n", "", "f.csv:1:1: the file is empty; its first row names the facts\n", false},
        {"U,n,>x\na,1,2\n", "\n,,\n", "f.csv:1:1: the file is empty; its first row names the facts\n", false},
        {"U,n,>x\na,1,2\n", "n,t,n,t\n1,2,3,4\n",
         "f.csv:1:3: the column \"n\" stands twice; leave one of them out\n"
         "f.csv:1:4: the column \"t\" stands twice; leave one of them out\n", false},
        {"U,n,>x\na,1,2\n", "n,p\"q\n1,2\n",
         "f.csv:1:2: the cell holds a quote where none may stand; put the whole cell in quotes and double those inside "
         "it\n", false},
        {"U,n,>x\na,1,2\n", "n,t\n1,\"2\n", ":2: ", true},
    };
    (void)state;

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct tried tried;
        try_it(cases[i].table, cases[i].facts, TRY_CSV, &tried);
        if (cases[i].by_name)
            assert_non_null(strstr(tried.capture.text, cases[i].messages));
        else
            assert_string_equal(tried.capture.text, cases[i].messages);
        assert_int_equal(tried.status, WM_BAD_INPUT);
        buffer_free(&tried.out);
    }
}

/* Blocks decided by several workers give what one gives, and a failed write ends the run. */
static int refuse(void *context, struct text piece)
{
    (void)piece;
    ++*(int *)context;
    return WM_IO;
}

static void test_blocks(void **state)
{
    struct arena arena = ARENA_EMPTY;
    struct try_source source = {.table_file = TEXT("t.csv"), .table_csv = TEXT("F,n,>x\na,< 500,low\nb,-,high\n"),
                                .facts_file = TEXT("f.csv"), .dictionary = &KIT_SOURCE};
    struct buffer facts = BUFFER_EMPTY, whole = BUFFER_EMPTY, parts = BUFFER_EMPTY;
    struct capture capture;
    struct try_run *run;
    struct try_worker *first, *second;
    struct text rest;
    uint64_t line, errors = 0;
    (void)state;

    capture_start(&capture);
    assert_int_equal(try_open(&arena, &source, &capture.sink, &run), WM_OK);
    buffer_add_string(&facts, "n,note\n");
    for (int i = 0; i < 200000; i++)
        buffer_format(&facts, "%d,\"row %d\"\n", i % 1000, i);
    char folder[256], path[300];
    make_folder(folder);
    snprintf(path, sizeof path, "%s/f.csv", folder);
    write_file(path, facts.bytes, facts.length);
    struct csv_source file;
    assert_int_equal(csv_source_open(&file, path, &capture.sink), WM_OK);
    assert_int_equal(try_facts(run, &file, take, &whole, &capture.sink, &errors), WM_OK);
    int calls = 0;
    assert_int_equal(try_facts(run, &file, refuse, &calls, &capture.sink, &errors), WM_IO);
    assert_int_equal(calls, 1);
    csv_source_close(&file);
    unlink(path);
    rmdir(folder);

    assert_int_equal(try_header(run, buffer_text(&facts), 1, &parts, &capture.sink, &rest, &line), WM_OK);
    assert_int_equal(line, 2);
    assert_int_equal(try_worker_new(run, &first), WM_OK);
    assert_int_equal(try_worker_new(run, &second), WM_OK);
    const char *cut = (const char *)memmem(rest.bytes, rest.length, "\n999,", 5) + 1;
    struct text head = {rest.bytes, (size_t)(cut - rest.bytes)};
    struct text tail = {cut, rest.length - head.length};
    assert_int_equal(try_rows(run, first, head, line, &parts), WM_OK);
    assert_int_equal(try_rows(run, second, tail, 1001, &parts), WM_OK);
    assert_int_equal(whole.length, parts.length);
    assert_memory_equal(whole.bytes, parts.bytes, whole.length);
    assert_int_equal(try_worker_errors(first) + try_worker_errors(second), 0);
    assert_string_equal(capture.text, "");
    try_worker_free(first);
    try_worker_free(second);
    try_worker_free(NULL);
    try_close(run);
    try_close(NULL);
    buffer_free(&facts);
    buffer_free(&whole);
    buffer_free(&parts);
    arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_trials),
        cmocka_unit_test(test_mistakes),
        cmocka_unit_test(test_blocks),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
