/* Rows, blocks, sources and headers of CSV; and the hand-written splitter held against libcsv. */
#include "slow_csv.h"

#include <fcntl.h>
#include <sodium.h>
#include <sys/stat.h>

#include "base/csv_masks.h"
#include "base/csv_quoted.h"
#include "base/limits.h"

static void assert_rows(struct text t, const char *expected)
{
    struct buffer out = BUFFER_EMPTY;

    describe(t, 1, 8, &out);
    buffer_add_byte(&out, '\0');
    assert_string_equal(out.bytes, expected);
    buffer_free(&out);
}

static void rows_read_as_written(void **state)
{
    (void)state;
    static const struct {
        struct text text;
        const char *rows;
    } cases[] = {
        {TEXT(""), ""},
        {TEXT("\n\r\n \t\n"), ""},
        {TEXT(",,\n , \t,\r\n"), ""},
        {TEXT("a"), "1:[a]\n"},
        {TEXT("a\n"), "1:[a]\n"},
        {TEXT("a,b\r\nc,d\r\n"), "1:[a][b]\n2:[c][d]\n"},
        {TEXT(" a b , c\t\n"), "1:[a b][c]\n"},
        {TEXT("a,\n,b\n"), "1:[a][]\n2:[][b]\n"},
        {TEXT("\n\na\n\nb"), "3:[a]\n5:[b]\n"},
        {TEXT("1,2,3,4,5,6,7,8,9,10\n"), "1:[1][2][3][4][5][6][7][8]+2\n"},
        {TEXT("\"a\",b\n"), "1:[a][b]\n"},
        {TEXT("\"a,b\",\"c\"\"d\"\n"), "1:[a,b][c\"d]\n"},
        {TEXT("\" a \" , b\n"), "1:[a][b]\n"},
        {TEXT("  \"a\"  ,\r\"b\"\r\n"), "1:[a][b]\n"},
        {TEXT("\"\",\"\"\nx\n"), "2:[x]\n"},
        {TEXT("\"a\nb\",c\nd\n"), "1:[a\nb][c]\n3:[d]\n"},
        {TEXT("\"a\r\n\r\nb\"\r\nd"), "1:[a\r\n\r\nb]\n4:[d]\n"},
        {TEXT("\"a\""), "1:[a]\n"},
        {TEXT("\"a\","), "1:[a][]\n"},
        {TEXT("a b c d e f g,\"h\",i,j,k,l,m,n,o\n"), "1:[a b c d e f g][h][i][j][k][l][m][n]+1\n"},
        /* Quotes where none may stand: the row ends with that physical line. */
        {TEXT("a,b\"c,d\ne,f\n"), "1:[a] quote@2/1 cut\n2:[e][f]\n"},
        {TEXT("a,\"b\"c,d\ne,f\n"), "1:[a] quote@2/1 cut\n2:[e][f]\n"},
        {TEXT("a,\"b\" \"c\",d\ne,f\n"), "1:[a] quote@2/1 cut\n2:[e][f]\n"},
        {TEXT("x,\"b\nb\"c,\"\ne,f\n"), "1:[x] quote@2/1 cut\n3:[e][f]\n"},
        {TEXT("\"x\ny\",b\"\"\ne,f\n"), "1:[x\ny] quote@2/2 cut\n3:[e][f]\n"},
        {TEXT("\"\n\n"), "1: open@1/1 cut\n"},
        {TEXT("a,b\nc,\"d\ne,f\n"), "1:[a][b]\n2:[c] open@2/2 cut\n"},
        /* Bytes that are no text. */
        {TEXT("a,b\0c,d\n"), "1:[a][][d] nul@2/1\n"},
        {TEXT("\0\n\"\0\"\n"), "1:[] nul@1/1\n2:[] nul@1/2\n"},
        {TEXT("a,\xc3\xa9,\xe2\x82\xac\n"), "1:[a][\xc3\xa9][\xe2\x82\xac]\n"},
        {TEXT("a,\xc3,b\xff\nc\n"), "1:[a][][] utf8@2/1\n2:[c]\n"},
        {TEXT("\"a\n\",\"\xed\xa0\x80\"\n"), "1:[a\n][] utf8@2/2\n"},
        {TEXT("a\xff,b\"\n"), "1:[] utf8@1/1 cut\n"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        assert_rows(cases[i].text, cases[i].rows);
}

static void long_cells_and_rows(void **state)
{
    (void)state;
    struct buffer text = BUFFER_EMPTY, out = BUFFER_EMPTY;

    for (unsigned i = 0; i <= LIMIT_CELL_BYTES; i++)
        buffer_add_byte(&text, 'x');
    buffer_add_string(&text, ",b\n\"");
    for (unsigned i = 0; i <= LIMIT_CELL_BYTES; i++)
        buffer_add_byte(&text, 'x');
    buffer_add_string(&text, "\",b\nc\n");
    describe(buffer_text(&text), 1, 8, &out);
    buffer_add_byte(&out, '\0');
    assert_string_equal(out.bytes, "1:[][b] length@1/1\n2:[][b] length@1/2\n3:[c]\n");

    buffer_clear(&text);
    buffer_clear(&out);
    buffer_add_string(&text, "a");
    for (unsigned i = 0; i < LIMIT_COLUMNS; i++)
        buffer_add_byte(&text, ',');
    buffer_add_string(&text, "\nb\n");
    describe(buffer_text(&text), 1, 1, &out);
    buffer_add_byte(&out, '\0');
    assert_string_equal(out.bytes, "1:[a]+512 many@513/1\n2:[b]\n");
    buffer_free(&text);
    buffer_free(&out);
}

/* A cell of exactly the limit is one. */
static void cell_of_the_limit(void **state)
{
    (void)state;
    struct buffer text = BUFFER_EMPTY;
    struct arena arena = ARENA_EMPTY;
    struct csv_rows rows;
    struct csv_row row;

    buffer_add_string(&text, " ");
    for (unsigned i = 0; i < LIMIT_CELL_BYTES; i++)
        buffer_add_byte(&text, 'x');
    buffer_add_string(&text, " ,b");
    assert_int_equal(csv_rows_open(&rows, buffer_text(&text), 1, 4, &arena), WM_OK);
    assert_true(csv_rows_next(&rows, &row));
    assert_int_equal(row.fault, CSV_OK);
    assert_int_equal(row.cells[0].length, LIMIT_CELL_BYTES);
    csv_rows_close(&rows);
    arena_free(&arena);
    buffer_free(&text);
}

static void every_fault_has_words(void **state)
{
    (void)state;
    for (int fault = CSV_OK; fault <= CSV_TOO_MANY; fault++)
        assert_true(strlen(csv_fault_words((enum csv_fault)fault)) > 5);
    assert_string_equal(csv_fault_words(CSV_NUL), "holds a NUL byte; remove it");
}

static void lines_of_cells(void **state)
{
    (void)state;
    struct csv_row row = {.line = 7, .raw = TEXT("a,\"b\nc, \"\"\n\",\"d\n\",e")};

    assert_int_equal(csv_cell_line(&row, 1), 7);
    assert_int_equal(csv_cell_line(&row, 2), 7);
    assert_int_equal(csv_cell_line(&row, 3), 9);
    assert_int_equal(csv_cell_line(&row, 4), 10);
    assert_int_equal(csv_cell_line(&row, 9), 10);
}

static struct text random_text(uint64_t *random, char *room, size_t most)
{
    static const char alphabets[3][17] = {"\"\"\"\",,\n\n \t\rabcde", "\",,,\n  \rabcdefgh",
                                          "ab,,,,,,\n  \r cdef"};
    const char *alphabet = alphabets[random_below(random, 3)];
    size_t length = random_below(random, most);

    for (size_t i = 0; i < length; i++)
        room[i] = alphabet[random_below(random, 16)];
    return (struct text){room, length};
}

static void random_rows_as_the_reference(void **state)
{
    (void)state;
    uint64_t random = random_seed("random_rows_as_the_reference");
    struct buffer expected = BUFFER_EMPTY, out = BUFFER_EMPTY;
    static char room[400];

    for (int turn = 0; turn < random_times(20000); turn++) {
        struct text t = random_text(&random, room, turn % 10 == 0 ? sizeof room : 60);
        buffer_clear(&expected);
        buffer_clear(&out);
        reference(t, &expected);
        describe(t, 1, 8, &out);
        buffer_add_byte(&expected, '\0');
        buffer_add_byte(&out, '\0');
        assert_string_equal(out.bytes, expected.bytes);
    }
    buffer_free(&expected);
    buffer_free(&out);
}

static void random_rows_as_libcsv(void **state)
{
    (void)state;
    uint64_t random = random_seed("random_rows_as_libcsv");
    struct buffer out = BUFFER_EMPTY, bare = BUFFER_EMPTY;
    struct libcsv_rows rows = {BUFFER_EMPTY, BUFFER_EMPTY, false, 0};
    static char room[400];
    unsigned well_formed = 0, malformed = 0;

    unsigned turns = (unsigned)random_times(40000);
    for (unsigned turn = 0; turn < turns; turn++) {
        struct text t = random_text(&random, room, turn % 10 == 0 ? sizeof room : 40);
        buffer_clear(&rows.rows);
        buffer_clear(&rows.row);
        rows.filled = false;
        rows.count = 0;
        buffer_clear(&out);
        buffer_clear(&bare);
        bool read = libcsv_reads(t, &rows);
        describe(t, 1, 8, &out);
        bool found_fault = out.length > 4 && memmem(out.bytes, out.length, " cut\n", 5) != NULL;
        assert_int_equal(read, !found_fault);
        if (!read) {
            malformed++;
            continue;
        }
        well_formed++;
        without_lines(&bare, buffer_text(&out));
        assert_int_equal(bare.length, rows.rows.length);
        assert_memory_equal(bare.bytes ? bare.bytes : "", rows.rows.bytes ? rows.rows.bytes : "", bare.length);
    }
    assert_true(well_formed > turns / 10 && malformed > turns / 10);
    buffer_free(&out);
    buffer_free(&bare);
    buffer_free(&rows.rows);
    buffer_free(&rows.row);
}

static void masks_are_the_portable_ones(void **state)
{
    (void)state;
    uint64_t random = random_seed("masks_are_the_portable_ones");
    char bytes[5000];

    for (int turn = 0; turn < 2000; turn++) {
        for (size_t i = 0; i < sizeof bytes; i++)
            bytes[i] = (char)(random_below(&random, 3) ? random_below(&random, 256)
                                                       : (uint64_t) ",\n\"\0"[random_below(&random, 4)]);
        struct csv_masks fast = csv_masks_of(bytes + turn % 64), slow = csv_masks_portable(bytes + turn % 64);
        assert_int_equal(fast.commas, slow.commas);
        assert_int_equal(fast.stops, slow.stops);
        assert_int_equal(fast.high != 0, slow.high != 0);
        size_t length = random_below(&random, sizeof bytes), feeds = 0;
        for (size_t i = 0; i < length; i++)
            feeds += bytes[i] == '\n';
        assert_int_equal(csv_line_feeds(bytes, length), feeds);
        assert_int_equal(csv_line_feeds_portable(bytes, length), feeds);
    }
    memset(bytes, '\n', sizeof bytes);
    assert_int_equal(csv_line_feeds(bytes, sizeof bytes), sizeof bytes);
}

/* Blocks of any size, put together, are the file; each begins where a row does. */
static void blocks_are_the_file(void **state)
{
    (void)state;
    uint64_t random = random_seed("blocks_are_the_file");
    struct buffer whole = BUFFER_EMPTY, parts = BUFFER_EMPTY, bytes = BUFFER_EMPTY;
    char folder[256], path[300];
    static char room[4000];

    make_folder(folder);
    snprintf(path, sizeof path, "%s/rows.csv", folder);
    for (int turn = 0; turn < 600; turn++) {
        struct capture capture;
        struct csv_source source;
        struct csv_blocks *blocks;
        struct csv_block block;
        struct csv_scan scan;
        uint64_t number = 0, feeds = 0;
        bool last = false, open = false;

        size_t mark = turn % 3 == 0 ? 3 : 0;
        memcpy(room, "\xef\xbb\xbf", 3);
        struct text t = random_text(&random, room + mark, turn % 20 == 0 ? sizeof room - 3 : 200);
        write_file(path, room, t.length + mark);
        capture_start(&capture);
        assert_int_equal(csv_source_open(&source, path, &capture.sink), WM_OK);
        int scanned = csv_source_scan(&source, true, &scan, &capture.sink);
        assert_int_equal(csv_blocks_open(&blocks, &source, 1 + random_below(&random, 100)), WM_OK);
        buffer_clear(&parts);
        int status;
        while ((status = csv_blocks_next(blocks, &bytes, &block, &capture.sink)) == WM_OK) {
            assert_false(last);
            assert_int_equal(block.number, number++);
            describe(block.bytes, block.line, 8, &parts);
            feeds += csv_line_feeds_portable(block.bytes.bytes, block.bytes.length);
            last = block.last;
            open = block.open_quote;
        }
        assert_int_equal(status, WM_NOT_FOUND);
        assert_true(last || t.length == 0);
        buffer_clear(&whole);
        describe(t, 1, 8, &whole);
        assert_int_equal(parts.length, whole.length);
        assert_memory_equal(parts.bytes ? parts.bytes : "", whole.bytes ? whole.bytes : "", whole.length);
        assert_int_equal(scanned, open ? WM_BAD_INPUT : WM_OK);
        assert_int_equal(open, memmem(whole.bytes ? whole.bytes : "", whole.length, " open@", 6) != NULL);
        if (scanned == WM_OK) {
            uint8_t digest[CSV_DIGEST_BYTES];
            crypto_generichash(digest, sizeof digest, (unsigned char *)room, t.length + mark, NULL, 0);
            assert_memory_equal(digest, scan.digest, sizeof digest);
            assert_int_equal(scan.lines, feeds + (t.length > 0 && t.bytes[t.length - 1] != '\n') +
                                             (t.length == 0 && mark > 0));
        }
        csv_blocks_close(blocks);
        csv_source_close(&source);
    }
    unlink(path);
    rmdir(folder);
    buffer_free(&whole);
    buffer_free(&parts);
    buffer_free(&bytes);
}

static void scan_names_the_line_of_an_open_quote(void **state)
{
    (void)state;
    char folder[256], path[300], expected[400];
    struct buffer text = BUFFER_EMPTY;
    struct capture capture;
    struct csv_source source;
    struct csv_scan scan;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/open.csv", folder);
    buffer_add_string(&text, "a,b\n");
    for (int i = 0; i < 50000; i++)
        buffer_add_string(&text, "x,\"two\nlines\"\n");
    buffer_add_string(&text, "y,\"never\nclosed\n");
    for (int i = 0; i < 50000; i++)
        buffer_add_string(&text, "x,y\n");
    write_file(path, text.bytes, text.length);
    capture_start(&capture);
    assert_int_equal(csv_source_open(&source, path, &capture.sink), WM_OK);
    assert_int_equal(csv_source_scan(&source, false, &scan, &capture.sink), WM_BAD_INPUT);
    snprintf(expected, sizeof expected,
             "%s:100002: a quote that opens here is never closed; close it, and double quotes inside a cell\n",
             path);
    assert_string_equal(capture.text, expected);
    csv_source_close(&source);
    buffer_free(&text);
    unlink(path);
    rmdir(folder);
}

static void sources_that_cannot_be_used(void **state)
{
    (void)state;
    static const struct {
        struct text content;
        int status;
        const char *message;
    } cases[] = {
        {TEXT("\xff\xfe"
              "a\0,\0"),
         WM_BAD_INPUT, "is not UTF-8 text; save it as CSV UTF-8\n"},
        {TEXT("\xfe\xff\0a\0,"), WM_BAD_INPUT, "is not UTF-8 text; save it as CSV UTF-8\n"},
        {TEXT("\0\0\xfe\xff\0\0\0a"), WM_BAD_INPUT, "is not UTF-8 text; save it as CSV UTF-8\n"},
        {TEXT("a,b\0\nc"), WM_BAD_INPUT, "is not UTF-8 text; save it as CSV UTF-8\n"},
        {TEXT("a,b\nc\0"), WM_OK, ""},
        {TEXT(""), WM_OK, ""},
        {TEXT("\xef\xbb\xbf"), WM_OK, ""},
    };
    char folder[256], path[300], expected[500];
    struct capture capture;
    struct csv_source source;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/s.csv", folder);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        write_file(path, cases[i].content.bytes, cases[i].content.length);
        capture_start(&capture);
        assert_int_equal(csv_source_open(&source, path, &capture.sink), cases[i].status);
        snprintf(expected, sizeof expected, "%s: %s", path, cases[i].message);
        assert_string_equal(capture.text, cases[i].message[0] ? expected : "");
        if (cases[i].status == WM_OK)
            csv_source_close(&source);
    }
    unlink(path);
    capture_start(&capture);
    assert_int_equal(csv_source_open(&source, path, &capture.sink), WM_IO);
    snprintf(expected, sizeof expected, "%s: cannot open: No such file or directory\n", path);
    assert_string_equal(capture.text, expected);
    capture_start(&capture);
    assert_int_equal(csv_source_open(&source, folder, &capture.sink), WM_IO);
    snprintf(expected, sizeof expected, "%s: this is a folder; name a file\n", folder);
    assert_string_equal(capture.text, expected);
    rmdir(folder);
    source = (struct csv_source){.descriptor = 0};
    csv_source_close(&source);
    csv_source_close(&source);
}

static void file_that_shrinks(void **state)
{
    (void)state;
    char folder[256], path[300];
    struct capture capture;
    struct csv_source source;
    struct csv_scan scan;

    make_folder(folder);
    snprintf(path, sizeof path, "%s/s.csv", folder);
    write_file(path, "a,b\nc,d\n", 8);
    capture_start(&capture);
    assert_int_equal(csv_source_open(&source, path, &capture.sink), WM_OK);
    assert_int_equal(truncate(path, 3), 0);
    assert_int_equal(csv_source_scan(&source, false, &scan, &capture.sink), WM_IO);
    assert_non_null(strstr(capture.text, "became shorter while it was read; run again when it is whole"));
    csv_source_close(&source);
    unlink(path);
    rmdir(folder);
}

/* Standard input is read to its end first, so that it can be scanned and then read again. */
static void standard_input_twice(void **state)
{
    (void)state;
    int pipes[2], saved = dup(STDIN_FILENO);
    struct capture capture;
    struct csv_source source;
    struct csv_scan scan;
    struct csv_blocks *blocks;
    struct csv_block block;
    struct buffer bytes = BUFFER_EMPTY;

    assert_int_equal(pipe(pipes), 0);
    assert_int_equal(write(pipes[1], "a,b\n1,2\n", 8), 8);
    close(pipes[1]);
    dup2(pipes[0], STDIN_FILENO);
    close(pipes[0]);
    capture_start(&capture);
    assert_int_equal(csv_source_open(&source, "-", &capture.sink), WM_OK);
    dup2(saved, STDIN_FILENO);
    close(saved);
    assert_true(text_is(source.name, "standard input"));
    assert_int_equal(csv_source_scan(&source, true, &scan, &capture.sink), WM_OK);
    assert_int_equal(scan.lines, 2);
    assert_int_equal(csv_blocks_open(&blocks, &source, 1000), WM_OK);
    assert_int_equal(csv_blocks_next(blocks, &bytes, &block, &capture.sink), WM_OK);
    assert_true(text_is(block.bytes, "a,b\n1,2\n"));
    assert_true(block.last);
    assert_int_equal(csv_blocks_next(blocks, &bytes, &block, &capture.sink), WM_NOT_FOUND);
    csv_blocks_close(blocks);
    csv_source_close(&source);
    buffer_free(&bytes);
}

static void headers(void **state)
{
    (void)state;
    static const struct csv_column columns[] = {{"claim", true}, {"dealer", true}, {"odometer", false}};
    static const struct {
        struct text header;
        int status;
        int at[3];
        const char *messages;
    } cases[] = {
        {TEXT("claim,dealer,odometer"), WM_OK, {0, 1, 2}, ""},
        {TEXT("dealer, claim"), WM_OK, {1, 0, -1}, ""},
        {TEXT("\xef\xbb\xbf"
              "claim,dealer"),
         WM_OK,
         {0, 1, -1},
         ""},
        {TEXT("claim,dealer,paint,,wax"),
         WM_OK,
         {0, 1, -1},
         "warning: f.csv:1:3: unknown columns, left alone: \"paint\", column 4 without a name, \"wax\"\n"},
        {TEXT("\nclaim,dealer,paint"),
         WM_OK,
         {0, 1, -1},
         "warning: f.csv:2:3: unknown column, left alone: \"paint\"\n"},
        {TEXT("claim,Dealer"),
         WM_BAD_INPUT,
         {0, 0, 0},
         "f.csv:1: the column \"dealer\" is missing; is \"Dealer\" meant to be it? Names are exact\n"
         "warning: f.csv:1:2: unknown column, left alone: \"Dealer\"\n"},
        {TEXT("claim"),
         WM_BAD_INPUT,
         {0, 0, 0},
         "f.csv:1: the column \"dealer\" is missing; add it to the first row\n"},
        {TEXT("claim,dealer,claim"),
         WM_BAD_INPUT,
         {0, 0, 0},
         "f.csv:1:3: the column \"claim\" stands twice; remove one\n"},
        {TEXT("claim,deal\"er"),
         WM_BAD_INPUT,
         {0, 0, 0},
         "f.csv:1:2: the header holds a quote where none may stand; put the whole cell in quotes and double "
         "those inside it\n"},
        {TEXT(""), WM_BAD_INPUT, {0, 0, 0}, "f.csv: the file is empty; its first row must name the columns\n"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena arena = ARENA_EMPTY;
        struct capture capture;
        struct csv_rows rows;
        struct csv_row row;
        int at[3];

        capture_start(&capture);
        assert_int_equal(csv_rows_open(&rows, csv_without_mark(cases[i].header), 1, LIMIT_COLUMNS, &arena),
                         WM_OK);
        bool is_row = csv_rows_next(&rows, &row);
        assert_int_equal(csv_header(is_row ? &row : NULL, TEXT("f.csv"), columns, 3, at, &capture.sink),
                         cases[i].status);
        assert_string_equal(capture.text, cases[i].messages);
        for (int c = 0; c < 3 && cases[i].status == WM_OK; c++)
            assert_int_equal(at[c], cases[i].at[c]);
        csv_rows_close(&rows);
        arena_free(&arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_read_as_written),
        cmocka_unit_test(long_cells_and_rows),
        cmocka_unit_test(cell_of_the_limit),
        cmocka_unit_test(every_fault_has_words),
        cmocka_unit_test(lines_of_cells),
        cmocka_unit_test(random_rows_as_the_reference),
        cmocka_unit_test(random_rows_as_libcsv),
        cmocka_unit_test(masks_are_the_portable_ones),
        cmocka_unit_test(blocks_are_the_file),
        cmocka_unit_test(scan_names_the_line_of_an_open_quote),
        cmocka_unit_test(sources_that_cannot_be_used),
        cmocka_unit_test(file_that_shrinks),
        cmocka_unit_test(standard_input_twice),
        cmocka_unit_test(headers),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
