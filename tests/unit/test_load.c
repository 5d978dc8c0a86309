/* Office data from files into the office file: what is refused and with which words, which versions are made,
 * and that the register over the office gives back what the files said, now and as it stood behind each load.
 */
#include "office_kit.h"

#include <fcntl.h>
#include <stdbool.h>

#include "base/buffer.h"
#include "base/date.h"
#include "ledger/load.h"
#include "ledger/office_source.h"
#include "register/vehicle_pack.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

enum { TODAY = 20513 }; /* 2026-03-01 */

static const char *file_in(struct office_kit *kit, const char *name)
{
    static char path[600];

    snprintf(path, sizeof path, "%s/%s", kit->folder, name);
    return path;
}

static int load_bytes(struct office_kit *kit, enum office_data kind, const char *bytes, size_t length,
                      struct load_summary *ret_summary)
{
    const char *path = file_in(kit, "in.csv");

    write_file(path, bytes, length);
    capture_start(&kit->capture);
    return office_load(kit->office, kind, path, TODAY, &kit->capture.sink, ret_summary);
}

static int load_text(struct office_kit *kit, enum office_data kind, const char *text,
                     struct load_summary *ret_summary)
{
    return load_bytes(kit, kind, text, strlen(text), ret_summary);
}

static void expect_loaded(struct office_kit *kit, enum office_data kind, const char *text, uint64_t new_keys,
                          uint64_t changed_keys, uint64_t unchanged_keys)
{
    struct load_summary summary;

    assert_int_equal(load_text(kit, kind, text, &summary), WM_OK);
    assert_string_equal(kit->capture.text, "");
    assert_int_equal(summary.new_keys, new_keys);
    assert_int_equal(summary.changed_keys, changed_keys);
    assert_int_equal(summary.unchanged_keys, unchanged_keys);
}

/* The diagnostics with the path in front of each replaced by "in". */
static const char *said(struct office_kit *kit)
{
    static char text[sizeof kit->capture.text];
    const char *path = file_in(kit, "in.csv"), *at = kit->capture.text, *hit;
    size_t length = 0;

    while ((hit = strstr(at, path)) != NULL) {
        length += (size_t)sprintf(text + length, "%.*sin", (int)(hit - at), at);
        at = hit + strlen(path);
    }
    strcpy(text + length, at);
    return text;
}

/* ---- what is refused ---- */

#define VEHICLES "vin,model_line,model_year,engine,transmission,built_on,plant,options,status,status_on\n"
#define DEALERS "dealer,name,region,labor_rate,parts_markup,active_from,active_to,valid_from\n"
#define SHIPMENTS "shipment,dealer,part,quantity,shipped_on\n"
#define APPROVALS "approval,dealer,campaign,vin,covers,limit,valid_to,reason\n"

static void errors_are_named_and_nothing_is_loaded(void **state)
{
    (void)state;
    static const struct {
        enum office_data kind;
        const char *csv, *said;
    } cases[] = {
        {OFFICE_VEHICLES, "", "in: the file is empty; its first row must name the columns\n"},
        {OFFICE_DEALERS, "\n \n,,\n", "in: the file is empty; its first row must name the columns\n"},
        {OFFICE_VEHICLES, "model_line\ncorvo\n",
         "in:1: the column \"vin\" is missing; add it to the first row\n"},
        {OFFICE_VEHICLES, "vin,vin\nA,B\n", "in:1:2: the column \"vin\" stands twice; remove one\n"},
        {OFFICE_VEHICLES, "vin,colour\nA,red,\n",
         "warning: in:1:2: unknown column, left alone: \"colour\"\n"
         "in:2: the row has 3 cells, the header 2; make them the same\n"},
        {OFFICE_VEHICLES, VEHICLES "1WMCE1T79HH20376X7,,,,,,,,,\n",
         "in:2:1: vin \"1WMCE1T79HH20376X7\" has more than 17 characters; correct it\n"},
        {OFFICE_VEHICLES, VEHICLES "1WM-E1T79HH203763,,,,,,,,,\n",
         "in:2:1: vin \"1WM-E1T79HH203763\" may hold letters A to Z and digits only; correct it\n"},
        {OFFICE_VEHICLES, VEHICLES ",corvo,,,,,,,,\n", "in:2:1: vin is empty; it is needed\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,21.5,,,,,,,\n", "in:2:3: model_year \"21.5\" must be a whole number\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,old,,,,,,,\n",
         "in:2:3: model_year \"old\" is not a number; write it as 1234.5\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,-1,,,,,,,\n",
         "in:2:3: model_year \"-1\" is no year; write it as 2026\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,10000,,,,,,,\n",
         "in:2:3: model_year \"10000\" is no year; write it as 2026\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,,,,2026-02-30,,,,\n",
         "in:2:6: built_on \"2026-02-30\" is not a date; write it as 2026-03-01\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,,,,,,,lost,\n",
         "in:2:9: status \"lost\" is no status; write in_service, scrapped, exported, stolen, unreachable or "
         "unsold\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,,,,,,,,1/2/26\n",
         "in:2:10: status_on \"1/2/26\" is not a date; write it as 2026-03-01\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,x,,,3,,,y,4\nB,,,,,,,,,\n\nC,,x,,,,,,,\n", /* all of them, by line */
         "in:2:3: model_year \"x\" is not a number; write it as 1234.5\n"
         "in:2:6: built_on \"3\" is not a date; write it as 2026-03-01\n"
         "in:2:9: status \"y\" is no status; write in_service, scrapped, exported, stolen, unreachable or "
         "unsold\n"
         "in:2:10: status_on \"4\" is not a date; write it as 2026-03-01\n"
         "in:5:3: model_year \"x\" is not a number; write it as 1234.5\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,2020,,,,,,,\nB,,,,,,,,,\na,,2021,,,,,,,\n",
         "in:4:1: vin \"A\" stands on line 2 too, with other content; keep one of the two rows\n"},
        {OFFICE_VEHICLES, VEHICLES "A,,,,,2020-01-01,,,,\nA,,,,,,,,,\n",
         "in:3:1: vin \"A\" stands on line 2 too, with other content; keep one of the two rows\n"},
        {OFFICE_VEHICLES, "vin,options\nA,\"tow\ncold\"x\nB,\n",
         "in:2:2: the cell holds a quote where none may stand; put the whole cell in quotes and double those "
         "inside it\n"},
        {OFFICE_DEALERS, DEALERS "D1,,,,0,,,\nD2,,,1,,,,\n",
         "in:2:4: labor_rate is empty; it is needed\nin:3:5: parts_markup is empty; it is needed\n"},
        {OFFICE_DEALERS, DEALERS ",,,1,0,,,\n", "in:2:1: dealer is empty; it is needed\n"},
        {OFFICE_DEALERS, DEALERS "D1,,,-1,1e3,,,\n",
         "in:2:4: labor_rate \"-1\" is below 0; it cannot be\n"
         "in:2:5: parts_markup \"1e3\" is not a number; write it as 1234.5\n"},
        {OFFICE_DEALERS, DEALERS "D1,,,1.0000001,99999999999999,,,\n",
         "in:2:4: labor_rate \"1.0000001\" has more than 6 places; round it\n"
         "in:2:5: parts_markup \"99999999999999\" is too large a number; write it as 1234.5\n"},
        {OFFICE_DEALERS, DEALERS "D1,,,1,1,2026-01-02,2026-01-01,x\n",
         "in:2:7: active_to \"2026-01-01\" is before active_from; correct one of them\n"
         "in:2:8: valid_from \"x\" is not a date; write it as 2026-03-01\n"},
        {OFFICE_DEALERS, DEALERS "D1,a,,1,1,,,2026-01-01\nD1,a,,1,1,,,\nD1,b,,1,1,,,2026-01-01\n",
         "in:4:1: dealer \"D1\" stands on line 2 too, with other content; keep one of the two rows\n"},
        {OFFICE_DEALERS, DEALERS "D1,,,1,1,2026-01-01,,\nD1,,,1,1,,,\nD2,,,1,1,,,\nD2,,,1,1,2026-01-01,,\n",
         "in:3:1: dealer \"D1\" stands on line 2 too, with other content; keep one of the two rows\n"
         "in:5:1: dealer \"D2\" stands on line 4 too, with other content; keep one of the two rows\n"},
        {OFFICE_DEALERS, "dealer,region\nD1,US-NY\n",
         "in:1: the column \"labor_rate\" is missing; add it to the first row\n"
         "in:1: the column \"parts_markup\" is missing; add it to the first row\n"},
        {OFFICE_SHIPMENTS, SHIPMENTS "S1,,,,\n",
         "in:2:2: dealer is empty; it is needed\nin:2:3: part is empty; it is needed\n"
         "in:2:4: quantity is empty; it is needed\n"},
        {OFFICE_SHIPMENTS, SHIPMENTS "S1,D1,--,1,\n",
         "in:2:3: part \"--\" has neither a letter nor a digit; write the part's number\n"},
        {OFFICE_SHIPMENTS, SHIPMENTS "S1,D1,{~},1,\nS2,D1,o,1,\nS3,D1,7,x,\n",
         "in:2:3: part \"{~}\" has neither a letter nor a digit; write the part's number\n"
         "in:4:4: quantity \"x\" is not a number; write it as 1234.5\n"},
        {OFFICE_SHIPMENTS, SHIPMENTS "S1,D1,P,ten,never\n",
         "in:2:4: quantity \"ten\" is not a number; write it as 1234.5\n"
         "in:2:5: shipped_on \"never\" is not a date; write it as 2026-03-01\n"},
        {OFFICE_SHIPMENTS, SHIPMENTS "S1,D1,P,1,\nS1,D1,P,2,\n",
         "in:3:1: shipment \"S1\" stands on line 2 too, with other content; keep one of the two rows\n"},
        {OFFICE_SHIPMENTS, "shipment,dealer,part\n",
         "in:1: the column \"quantity\" is missing; add it to the first row\n"},
        {OFFICE_APPROVALS, APPROVALS "PA,,,1WM*,Row-Unreadable,1.005,,\nPB,,,,rules-ambiguous,-1,2026-13-01,\n",
         "in:2:4: vin \"1WM*\" may hold letters A to Z and digits only; correct it\n"
         "in:2:5: covers \"Row-Unreadable\" cannot be approved: it is not about the claim; correct the row or "
         "the rules "
         "instead\n"
         "in:2:6: limit \"1.005\" has more than 2 places; round it\n"
         "in:3:5: covers \"rules-ambiguous\" cannot be approved: it is not about the claim; correct the row or "
         "the rules "
         "instead\n"
         "in:3:6: limit \"-1\" is below 0; it cannot be\n"
         "in:3:7: valid_to \"2026-13-01\" is not a date; write it as 2026-03-01\n"},
        {OFFICE_APPROVALS, "approvals\nPA\n",
         "in:1: the column \"approval\" is missing; is \"approvals\" meant to be it? Names are exact\n"
         "warning: in:1:1: unknown column, left alone: \"approvals\"\n"},
    };
    struct office_kit kit;
    struct load_summary summary = {.load = 77};

    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    for (size_t i = 0; i < COUNT(cases); i++) {
        assert_int_equal(load_text(&kit, cases[i].kind, cases[i].csv, &summary), WM_BAD_INPUT);
        assert_string_equal(said(&kit), cases[i].said);
        assert_int_equal(summary.load, 77);
    }
    assert_string_equal(query(kit.office,
                              "SELECT (SELECT count(*) FROM loads), (SELECT count(*) FROM vehicle_versions), "
                              "(SELECT count(*) FROM dealer_versions), (SELECT count(*) FROM "
                              "vehicle_profiles), (SELECT vehicles FROM vehicle_index)"),
                        "0|0|0|0|0\n");
    kit_end(&kit);
}

/* Bytes that no text literal holds well. */
static void files_that_are_no_text(void **state)
{
    struct office_kit kit;
    struct load_summary summary;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    for (enum office_data kind = OFFICE_VEHICLES; kind <= OFFICE_DEALERS; kind++) {
        const char *header =
            kind == OFFICE_VEHICLES ? "vin,options\nA," : "dealer,name,labor_rate,parts_markup\nA,";
        const char *rest = kind == OFFICE_VEHICLES ? "\n" : ",1,1\n";
        struct buffer csv = BUFFER_EMPTY;

        buffer_add_string(&csv, header);
        buffer_add(&csv, "x\0y", 3);
        buffer_add_string(&csv, rest);
        assert_int_equal(load_bytes(&kit, kind, csv.bytes, csv.length, &summary), WM_BAD_INPUT);
        assert_string_equal(said(&kit), "in:2:2: the cell holds a NUL byte; remove it\n");

        buffer_clear(&csv);
        buffer_format(&csv, "%s\xff%s", header, rest);
        assert_int_equal(load_bytes(&kit, kind, csv.bytes, csv.length, &summary), WM_BAD_INPUT);
        assert_string_equal(said(&kit), "in:2:2: the cell is not UTF-8 text; save the file as CSV UTF-8\n");

        buffer_clear(&csv);
        buffer_add_string(&csv, header);
        for (int i = 0; i < 70000; i++)
            buffer_add_byte(&csv, 'x');
        buffer_add_string(&csv, rest);
        assert_int_equal(load_bytes(&kit, kind, csv.bytes, csv.length, &summary), WM_BAD_INPUT);
        assert_string_equal(said(&kit), "in:2:2: the cell is longer than 64 KiB; shorten it\n");

        buffer_clear(&csv);
        buffer_format(&csv, "%s\"never closed\nB,\n", header);
        assert_int_equal(load_bytes(&kit, kind, csv.bytes, csv.length, &summary), WM_BAD_INPUT);
        assert_non_null(strstr(said(&kit), "in:2"));
        assert_non_null(strstr(said(&kit), "quote"));

        assert_int_equal(load_bytes(&kit, kind,
                                    "\xff\xfe"
                                    "v\0i\0n\0",
                                    8, &summary),
                         WM_BAD_INPUT);
        assert_true(kit.capture.length > 0);
        buffer_free(&csv);

        capture_start(&kit.capture);
        assert_int_equal(
            office_load(kit.office, kind, file_in(&kit, "none.csv"), TODAY, &kit.capture.sink, &summary),
            WM_IO);
        assert_non_null(strstr(kit.capture.text, "none.csv: cannot open: No such file or directory"));
        capture_start(&kit.capture);
        assert_int_equal(office_load(kit.office, kind, kit.folder, TODAY, &kit.capture.sink, &summary), WM_IO);
        assert_non_null(strstr(kit.capture.text, ": this is a folder; name a file"));
    }
    assert_string_equal(query(kit.office, "SELECT count(*) FROM loads"), "0\n");
    kit_end(&kit);
}

/* A hundred errors are named, in the order of lines; of the rest the number. In blocks that several threads
 * read too. */
static void many_errors_are_counted(void **state)
{
    static const struct {
        enum office_data kind;
        int rows, bad_from;
        size_t more;
    } cases[] = {{OFFICE_SHIPMENTS, 99, 0, 0},       {OFFICE_SHIPMENTS, 100, 0, 0},
                 {OFFICE_SHIPMENTS, 101, 0, 1},      {OFFICE_VEHICLES, 100, 0, 0},
                 {OFFICE_VEHICLES, 350, 50, 200},    {OFFICE_VEHICLES, 100000, 60000, 39900},
                 {OFFICE_SHIPMENTS, 60000, 0, 59900}};
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct buffer csv = BUFFER_EMPTY;
        struct load_summary summary;
        char expected[128];
        bool vehicles = cases[i].kind == OFFICE_VEHICLES;
        size_t bad = (size_t)(cases[i].rows - cases[i].bad_from), named = bad < 100 ? bad : 100;
        buffer_add_string(&csv, vehicles ? "vin,options,built_on\n" : SHIPMENTS);
        for (int row = 0; row < cases[i].rows; row++)
            if (vehicles)
                buffer_format(&csv,
                              "V%d,some options that make the row longer so that there are several blocks,%s\n",
                              row, row < cases[i].bad_from ? "2020-01-01" : "x");
            else
                buffer_format(&csv, "S%d,D1,P,%s,\n", row, row < cases[i].bad_from ? "1" : "x");
        assert_int_equal(load_bytes(&kit, cases[i].kind, csv.bytes, csv.length, &summary), WM_BAD_INPUT);
        assert_int_equal(kit.capture.sink.errors, named + (cases[i].more > 0));
        const char *at = said(&kit);
        for (size_t n = 0; n < named; n++) {
            snprintf(expected, sizeof expected, "in:%zu:%d: %s \"x\" is not a ",
                     (size_t)cases[i].bad_from + n + 2, vehicles ? 3 : 4, vehicles ? "built_on" : "quantity");
            assert_int_equal(strncmp(at, expected, strlen(expected)), 0);
            at = strchr(at, '\n') + 1;
        }
        snprintf(expected, sizeof expected, "in: %zu more error%s; nothing was loaded\n", cases[i].more,
                 cases[i].more == 1 ? "" : "s");
        assert_string_equal(at, cases[i].more > 0 ? expected : "");
        buffer_free(&csv);
    }
    assert_string_equal(query(kit.office, "SELECT count(*) FROM loads"), "0\n");
    kit_end(&kit);
}

/* ---- what stands in the office afterwards ---- */

static void vehicles_are_kept_as_written(void **state)
{
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    /* Columns in another order, a BOM, CRLF, blanks, quotes, lower case, an empty line, a row said twice. */
    expect_loaded(&kit, OFFICE_VEHICLES,
                  "\xef\xbb\xbf"
                  "status_on,vin,model_line,model_year,engine,transmission,built_on,plant,options,status\r\n"
                  " , 1wmce1t79hh203763 ,corvo,02017,BEV,A8,2017-06-23,P2, cold sport ,In_Service\r\n"
                  "\r\n"
                  "2026-01-02,B,\"ridge, long\",,,,,,\"a \"\"b\"\"\nc\",scrapped\r\n"
                  ",1WMCE1T79HH203763,corvo,2017,BEV,A8,2017-06-23,P2,cold sport,In_Service\r\n"
                  ",C,,,,,0001-01-01,,,",
                  3, 0, 0);
    assert_string_equal(query(kit.office, "SELECT * FROM vehicles_now"),
                        "1WMCE1T79HH203763|corvo|2017|BEV|A8|2017-06-23|P2|cold sport|In_Service|-|1\n"
                        "B|ridge, long|-|||-||a \"b\"\nc|scrapped|2026-01-02|1\n"
                        "C||-|||0001-01-01||||-|1\n");
    expect_loaded(&kit, OFFICE_VEHICLES, "vin,status\nB,in_service\nD,\n", 1, 1, 0);
    assert_string_equal(query(kit.office, "SELECT vin, status, load FROM vehicles_now"),
                        "1WMCE1T79HH203763|In_Service|1\nB|in_service|2\nC||1\nD||2\n");
    assert_string_equal(query(kit.office, "SELECT vin, load FROM vehicle_versions"),
                        "1WMCE1T79HH203763|1\nB|1\nB|2\nC|1\nD|2\n");
    assert_string_equal(query(kit.office, "SELECT bits, vehicles FROM vehicle_index"), "0|4\n");
    assert_string_equal(query(kit.office, "SELECT load, kind, length(digest), rows, new_keys, changed_keys, "
                                          "date(loaded_on * 86400, 'unixepoch') FROM loads"),
                        "1|vehicles|32|4|3|0|2026-03-01\n2|vehicles|32|2|1|1|2026-03-01\n");
    kit_end(&kit);
}

static void records_are_kept_as_written(void **state)
{
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    expect_loaded(&kit, OFFICE_DEALERS,
                  DEALERS "D1,\"One, Inc.\",US-NY,163.49,12.5,2010-01-01,2030-12-31,\n"
                          "D1,\"One, Inc.\",US-NY,.000001,0,,,2026-01-01\n"
                          "D2,,,0,100,,,1969-12-31\n"
                          "D2,,,0.0,100.00,,,1969-12-31\n",
                  3, 0, 0);
    assert_string_equal(query(kit.office, "SELECT * FROM dealers_now"),
                        "D1|One, Inc.|US-NY|163.49|12.5|2010-01-01|2030-12-31|-|1\n"
                        "D1|One, Inc.|US-NY|0.000001|0|-|-|2026-01-01|1\n"
                        "D2|-|-|0|100|-|-|1969-12-31|1\n");
    expect_loaded(&kit, OFFICE_DEALERS,
                  "labor_rate,dealer,parts_markup,valid_from\n7,D2,100,1969-12-31\n8,D2,100,\n", 1, 1, 0);
    assert_string_equal(
        query(kit.office, "SELECT dealer, labor_rate, valid_from, load FROM dealers_now WHERE dealer = 'D2'"),
        "D2|8|-|2\nD2|7|1969-12-31|2\n");
    expect_loaded(&kit, OFFICE_SHIPMENTS,
                  SHIPMENTS "S1,D1,kt 7731-01,10,2026-01-05\nS2,D1,KT-7731-01,-1.5,\nS3,D2,\xc3\xa9-9,0,\n", 3,
                  0, 0);
    assert_string_equal(
        query(kit.office, "SELECT * FROM shipments_now"),
        "S1|D1|kt 7731-01|10|2026-01-05|3\nS2|D1|KT-7731-01|-1.5|-|3\nS3|D2|\xc3\xa9-9|0|-|3\n");
    assert_string_equal(query(kit.office, "SELECT DISTINCT part_key FROM shipment_versions"), "KT773101\n9\n");
    expect_loaded(&kit, OFFICE_SHIPMENTS,
                  SHIPMENTS "S2,D2,KT-7731-01,-1.5,\nS1,D1,kt 7731-01,10.0,2026-01-05\n", 0, 1, 1);
    assert_string_equal(query(kit.office, "SELECT shipment, dealer, load FROM shipments_now"),
                        "S1|D1|3\nS2|D2|4\nS3|D2|3\n");
    expect_loaded(&kit, OFFICE_APPROVALS,
                  APPROVALS "PA-1,D1,C-1,1wmce1t79hh203763,hours-over,250,2026-12-31,rusted bolts\n"
                            "PA-2,,,,kit-missing,,,\n PA-3 ,,,,,.5,,\n",
                  3, 0, 0);
    assert_string_equal(query(kit.office, "SELECT * FROM approvals_now"),
                        "PA-1|D1|C-1|1WMCE1T79HH203763|hours-over|250.00|2026-12-31|rusted bolts|5\n"
                        "PA-2|-|-|-|kit-missing|-|-|-|5\nPA-3|-|-|-|-|0.50|-|-|5\n");
    expect_loaded(&kit, OFFICE_APPROVALS, "approval,covers,reason\nPA-2,kit-missing,\nPA-3,,why\nPA-4,,\n", 1,
                  1, 1);
    assert_string_equal(query(kit.office, "SELECT approval, \"limit\", reason, load FROM approvals_now"),
                        "PA-1|250.00|rusted bolts|5\nPA-2|-|-|5\nPA-3|-|why|6\nPA-4|-|-|6\n");
    kit_end(&kit);
}

static void strange_regions_are_one_warning(void **state)
{
    static const struct {
        const char *region;
        bool strange;
    } cases[] = {{"US-NY", false},   {"GB-ENG", false}, {"FR-2", false}, {"", false},       {"us-ny", true},
                 {"New York", true}, {"US", true},      {"US-", true},   {"US-ABCD", true}, {"U1-NY", true},
                 {"US-9", false},    {"US-Z", false},    {"US-a", true},  {"US-:", true},        {"US-/", true}};
    struct office_kit kit;
    struct load_summary summary;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    for (size_t i = 0; i < COUNT(cases); i++) {
        char csv[256];
        snprintf(csv, sizeof csv, "dealer,labor_rate,parts_markup,region\nD%zu,1,1,%s\n", i, cases[i].region);
        assert_int_equal(load_text(&kit, OFFICE_DEALERS, csv, &summary), WM_OK);
        assert_string_equal(said(&kit), cases[i].strange
                                            ? "warning: in:2:4: the region is not written as in ISO 3166-2 "
                                              "(US-NY); deadlines may not find it (1 row is so)\n"
                                            : "");
    }
    assert_int_equal(load_text(&kit, OFFICE_DEALERS,
                               "dealer,labor_rate,parts_markup,region\nA,1,1,US-NY\nB,1,1,x\nC,1,1,y\n",
                               &summary),
                     WM_OK);
    assert_string_equal(said(&kit),
                        "warning: in:3:4: the region is not written as in ISO 3166-2 (US-NY); deadlines may "
                        "not find it (2 rows are so)\n");
    kit_end(&kit);
}

/* ---- the same again ---- */

static void the_same_bytes_again_change_nothing(void **state)
{
    static const struct {
        enum office_data kind;
        const char *csv, *other;
    } cases[] = {
        {OFFICE_VEHICLES, "vin,engine\nA,1\nB,2\nA,1\n", "vin,engine\nA,2\n"},
        {OFFICE_DEALERS, DEALERS "A,,,1,1,,,\nB,,,1,1,,,\nA,,,1,1,,,\n", DEALERS "A,,,2,1,,,\n"},
        {OFFICE_SHIPMENTS, SHIPMENTS "A,D,P,1,\nB,D,P,1,\nA,D,P,1,\n", SHIPMENTS "A,D,P,2,\n"},
        {OFFICE_APPROVALS, APPROVALS "A,,,,,,,\nB,,,,,,,\nA,,,,,,,\n", APPROVALS "A,D,,,,,,\n"},
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct office_kit kit;
        struct load_summary s;
        char blank[256];
        kit_begin(&kit);
        assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
        assert_int_equal(load_text(&kit, cases[i].kind, cases[i].csv, &s), WM_OK);
        assert_true(s.load == 1 && s.same_file_load == 0 && s.rows == 3 && s.new_keys == 2 &&
                    s.repeated_rows == 1);
        assert_int_equal(load_text(&kit, cases[i].kind, cases[i].csv, &s), WM_OK);
        assert_true(s.load == 0 && s.same_file_load == 1 && s.same_file_on == TODAY && s.unchanged_keys == 2);
        snprintf(blank, sizeof blank, "%s\n",
                 cases[i].csv); /* other bytes that say the same: a load without a change */
        assert_int_equal(load_text(&kit, cases[i].kind, blank, &s), WM_OK);
        assert_true(s.load == 2 && s.same_file_load == 0 && s.unchanged_keys == 2 &&
                    s.new_keys + s.changed_keys == 0);
        assert_int_equal(load_text(&kit, cases[i].kind, cases[i].other, &s), WM_OK);
        assert_true(s.load == 3 && s.changed_keys == 1 && s.unchanged_keys == 0 && s.rows == 1);
        assert_int_equal(load_text(&kit, cases[i].kind, cases[i].csv, &s), WM_OK); /* back to what it was */
        assert_true(s.load == 4 && s.same_file_load == 1 && s.changed_keys == 1 && s.unchanged_keys == 1);
        assert_int_equal(load_text(&kit, cases[i].kind, cases[i].csv, &s), WM_OK);
        assert_true(s.load == 0 && s.same_file_load == 4);
        int64_t last = -1;
        assert_int_equal(office_last_load(kit.office, &last), WM_OK);
        assert_int_equal(last, 4);
        kit_end(&kit);
    }
}

static void standard_input_is_loaded(void **state)
{
    struct office_kit kit;
    struct load_summary summary;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    write_file(file_in(&kit, "in.csv"), "vin\nA\n", 6);
    int before = dup(STDIN_FILENO), input = open(file_in(&kit, "in.csv"), O_RDONLY);
    assert_true(input >= 0 && dup2(input, STDIN_FILENO) >= 0);
    int status = office_load(kit.office, OFFICE_VEHICLES, "-", TODAY, &kit.capture.sink, &summary);
    if (before >= 0)
        dup2(before, STDIN_FILENO);
    close(before);
    close(input);
    assert_int_equal(status, WM_OK);
    assert_string_equal(query(kit.office, "SELECT file_name, rows FROM loads"), "standard input|1\n");
    kit_end(&kit);
}

/* A failed write is a failed load, and takes nothing with it. */
static void a_load_is_whole_or_not_at_all(void **state)
{
    static const char *const tables[] = {"loads", "vehicle_profiles", "vehicle_versions", "vehicle_buckets"};
    struct office_kit kit;
    struct load_summary summary;
    char sql[256];

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    expect_loaded(&kit, OFFICE_VEHICLES, "vin,engine\nA,1\n", 1, 0, 0);
    for (size_t i = 0; i < COUNT(tables); i++) {
        snprintf(sql, sizeof sql,
                 "CREATE TEMP TRIGGER stop BEFORE INSERT ON main.%s BEGIN SELECT RAISE(ABORT, 'stopped'); END",
                 tables[i]);
        assert_int_equal(office_run(kit.office, sql), WM_OK);
        assert_int_equal(load_text(&kit, OFFICE_VEHICLES, "vin,engine\nB,2\nA,3\n", &summary), WM_IO);
        assert_non_null(strstr(kit.capture.text, "the office file cannot be used: stopped"));
        assert_int_equal(office_run(kit.office, "DROP TRIGGER stop"), WM_OK);
        assert_string_equal(query(kit.office, "SELECT vin, engine FROM vehicles_now"), "A|1\n");
        assert_string_equal(query(kit.office, "SELECT (SELECT count(*) FROM loads), (SELECT count(*) FROM "
                                              "vehicle_profiles), (SELECT vehicles FROM vehicle_index)"),
                            "1|1|1\n");
    }
    expect_loaded(&kit, OFFICE_VEHICLES, "vin,engine\nB,2\nA,3\n", 1, 1, 0);
    kit_end(&kit);
}

/* ---- through the register, now and as of each load ---- */

struct plain_vehicle {
    char vin[VIN_LENGTH + 1];
    int engine[8]; /* behind each load; 0: not there */
    int built_on[8];
};

static void random_vin(uint64_t *random, char room[VIN_LENGTH + 1])
{
    static const char characters[] = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ";
    size_t length = random_below(random, 50) == 0 ? 1 + random_below(random, VIN_LENGTH) : VIN_LENGTH;

    for (size_t i = 0; i < length; i++)
        room[i] = characters[random_below(random, i < 8 ? 3 : 33)];
    room[length] = '\0';
}

static struct office_register *open_register(struct office *office, int64_t as_of_load,
                                             struct office_source **ret_source)
{
    struct office_register *opened;

    assert_int_equal(office_source_open(office, as_of_load, ret_source), WM_OK);
    assert_int_equal(register_open(office_source_register(*ret_source), &opened), WM_OK);
    return opened;
}

static void check_plain(struct office *office, const struct plain_vehicle *vehicles, size_t count, int load,
                        bool now)
{
    struct office_source *source;
    struct office_register *reg = open_register(office, now ? 0 : load, &source);

    for (size_t i = 0; i < count; i++) {
        bool found = false;
        struct vehicle vehicle;
        char engine[16];
        assert_int_equal(register_vehicle(reg, text_of(vehicles[i].vin), &found, &vehicle), WM_OK);
        assert_int_equal(found, vehicles[i].engine[load] != 0);
        if (!found)
            continue;
        snprintf(engine, sizeof engine, "E%d", vehicles[i].engine[load]);
        assert_true(text_is(vehicle.profile->engine, engine));
        assert_int_equal(vehicle.built_on, vehicles[i].built_on[load]);
        assert_true(vehicle.profile->has_model_year &&
                    vehicle.profile->model_year == 2000 + vehicles[i].engine[load] % 20);
    }
    register_close(reg);
    office_source_close(source);
}

/* Random vehicles in several loads that change some and add others, until the index has had to grow several
 * times. */
static void what_was_loaded_is_found(void **state)
{
    enum { ALL_VEHICLES = 9000, LOADS = 6 };
    static const int loaded_until[LOADS + 1] = {0, 3, 150, 400, 401, 4000, ALL_VEHICLES};
    uint64_t random = random_seed("load");
    struct plain_vehicle *vehicles = calloc(ALL_VEHICLES, sizeof *vehicles);
    struct buffer csv = BUFFER_EMPTY;
    struct office_kit kit;

    (void)state;
    assert_non_null(vehicles);
    for (size_t i = 0; i < ALL_VEHICLES; i++) /* short ones may meet by chance: those get a number */
        random_vin(&random, vehicles[i].vin);
    for (size_t i = 0; i < ALL_VEHICLES; i++)
        if (strlen(vehicles[i].vin) < VIN_LENGTH)
            snprintf(vehicles[i].vin, sizeof vehicles[i].vin, "N%zu", i);
    kit_begin(&kit);
    for (int load = 1; load <= LOADS; load++) {
        uint64_t new_keys = 0, changed_keys = 0, unchanged_keys = 0;
        struct load_summary summary;
        buffer_clear(&csv);
        buffer_add_string(&csv, "engine,model_year,vin,built_on\n");
        for (int i = 0; i < ALL_VEHICLES; i++) {
            struct plain_vehicle *v = &vehicles[i];
            v->engine[load] = v->engine[load - 1];
            v->built_on[load] = v->built_on[load - 1];
            bool is_new = i >= loaded_until[load - 1] && i < loaded_until[load];
            if (!is_new && (v->engine[load] == 0 || random_below(&random, 3) != 0))
                continue;
            if (is_new || random_below(&random, 2)) {
                v->engine[load] = 1 + (int)random_below(&random, 300);
                v->built_on[load] =
                    random_below(&random, 9) == 0 ? DAY_NONE : (int)random_below(&random, 20000);
            }
            bool same =
                !is_new && v->engine[load] == v->engine[load - 1] && v->built_on[load] == v->built_on[load - 1];
            new_keys += is_new;
            changed_keys += !is_new && !same;
            unchanged_keys += same;
            char day[DATE_ROOM] = "";
            if (v->built_on[load] != DAY_NONE)
                date_write(v->built_on[load], day);
            buffer_format(&csv, "E%d,%d,%s,%s\n", v->engine[load], 2000 + v->engine[load] % 20, v->vin, day);
        }
        assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
        assert_int_equal(load_bytes(&kit, OFFICE_VEHICLES, csv.bytes, csv.length, &summary), WM_OK);
        assert_string_equal(kit.capture.text, "");
        assert_int_equal(summary.load, load);
        assert_int_equal(summary.new_keys, new_keys);
        assert_int_equal(summary.changed_keys, changed_keys);
        assert_int_equal(summary.unchanged_keys, unchanged_keys);
        kit_close(&kit);
        assert_int_equal(kit_open(&kit, OFFICE_READ), WM_OK);
        assert_int_equal(office_begin_read(kit.office), WM_OK);
        check_plain(kit.office, vehicles, ALL_VEHICLES, load, true);
        assert_int_equal(office_end_read(kit.office), WM_OK);
        kit_close(&kit);
    }
    assert_int_equal(kit_open(&kit, OFFICE_READ), WM_OK);
    for (int load = 1; load <= LOADS; load++)
        check_plain(kit.office, vehicles, ALL_VEHICLES, load, false);
    assert_string_equal(query(kit.office, "SELECT bits, vehicles FROM vehicle_index"), "6|9000\n");
    assert_string_equal(query(kit.office,
                              "SELECT min(bucket) >= 64, max(bucket) < 128, sum(length(vehicles)) / 20 "
                              "FROM vehicle_buckets"),
                        "1|1|9000\n");
    assert_string_equal(query(kit.office, "SELECT count(DISTINCT vin) = (SELECT count(*) FROM vehicles_now), "
                                          "count(*) = (SELECT sum(new_keys + changed_keys) FROM loads) "
                                          "FROM vehicle_versions"),
                        "1|1\n");
    buffer_free(&csv);
    free(vehicles);
    kit_end(&kit);
}

/* More than one block, so that several threads read it: each row once, repeated and contradicting rows found.
 */
static void large_files_are_read_by_several(void **state)
{
    enum { ROWS = 60000 };
    struct buffer csv = BUFFER_EMPTY;
    struct office_kit kit;
    struct load_summary summary;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    buffer_add_string(&csv, "vin,options,engine\n");
    for (int i = 0; i < ROWS; i++)
        buffer_format(&csv,
                      "%dX,\"some options,\nthat make the row longer, so that there are several blocks\",E%d\n",
                      i % 50000, i % 50000 % 1000);
    assert_true(csv.length > 4 * 1024 * 1024);
    assert_int_equal(load_bytes(&kit, OFFICE_VEHICLES, csv.bytes, csv.length, &summary), WM_OK);
    assert_true(summary.rows == ROWS && summary.new_keys == 50000 && summary.repeated_rows == 10000);
    assert_string_equal(
        query(kit.office, "SELECT count(*), min(engine), (SELECT profile FROM vehicle_profiles WHERE engine "
                          "= 'E7') FROM vehicle_profiles"),
        "1000|E0|7\n"); /* in order of first use */
    buffer_format(&csv, "49999X,,E5\n");
    assert_int_equal(load_bytes(&kit, OFFICE_VEHICLES, csv.bytes, csv.length, &summary), WM_BAD_INPUT);
    assert_string_equal(
        said(&kit), "in:120002:1: vin \"49999X\" stands on line 100000 too, with other content; keep one of "
                    "the two rows\n");
    assert_string_equal(query(kit.office, "SELECT count(*) FROM loads"), "1\n");
    buffer_free(&csv);
    kit_end(&kit);
}

/* Empty lines in front of the header, more than are read at a time, are counted and left alone. */
static void empty_lines_before_the_header(void **state)
{
    enum { LINES = 400000 };
    struct buffer csv = BUFFER_EMPTY;
    struct office_kit kit;
    struct load_summary summary;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    for (int i = 0; i < LINES; i++)
        buffer_add_byte(&csv, '\n');
    buffer_add_string(&csv, "vin\nA\n");
    for (enum office_data kind = OFFICE_VEHICLES; kind <= OFFICE_DEALERS; kind++) {
        bool known = kind == OFFICE_VEHICLES;
        assert_int_equal(load_bytes(&kit, kind, csv.bytes, csv.length, &summary), known ? WM_OK : WM_BAD_INPUT);
        assert_true(!known || (summary.rows == 1 && summary.new_keys == 1));
        assert_true(known ||
                    text_starts_with(text_of(said(&kit)), TEXT("in:400001: the column \"dealer\" is missing")));
    }
    buffer_add_string(&csv, "A*\n");
    assert_int_equal(load_bytes(&kit, OFFICE_VEHICLES, csv.bytes, csv.length, &summary), WM_BAD_INPUT);
    assert_string_equal(said(&kit), "in:400003:1: vin \"A*\" may hold letters A to Z and digits only; correct it\n");
    buffer_free(&csv);
    kit_end(&kit);
}

/* A file that was loaded before, and was overruled since, counts anew. */
static void an_older_file_is_loaded_again(void **state)
{
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    expect_loaded(&kit, OFFICE_VEHICLES, "vin,engine\nA,1\n", 1, 0, 0);
    expect_loaded(&kit, OFFICE_VEHICLES, "vin,engine\nA,2\n", 0, 1, 0);
    expect_loaded(&kit, OFFICE_VEHICLES, "vin,engine\nA,1\n", 0, 1, 0);
    expect_loaded(&kit, OFFICE_VEHICLES, "vin,engine\nA,1\n", 0, 0, 1);
    assert_string_equal(query(kit.office, "SELECT load, new_keys, changed_keys FROM loads"), "1|1|0\n2|0|1\n3|0|1\n");
    /* nobody is out of reach for other reasons: there is none to be given */
    expect_loaded(&kit, OFFICE_NOTICES, "campaign,quarter,unreachable_other\nT,2026-Q1,0\n", 1, 0, 0);
    kit_end(&kit);
}

static void dealers_shipments_and_approvals_as_of_each_load(void **state)
{
    struct office_kit kit;

    (void)state;
    kit_begin(&kit);
    assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
    expect_loaded(&kit, OFFICE_DEALERS, DEALERS "D1,one,US-NY,100,10,,,\n", 1, 0, 0);
    expect_loaded(&kit, OFFICE_SHIPMENTS, SHIPMENTS "S1,D1,KT-1,10,1970-01-11\nS2,D1,kt1,5,1970-01-21\n", 2, 0,
                  0);
    expect_loaded(&kit, OFFICE_APPROVALS, "approval,covers,limit\nPA,hours-over,12.34\n", 1, 0, 0);
    expect_loaded(&kit, OFFICE_DEALERS, DEALERS "D1,uno,US-NY,200,10,,,\nD1,late,,300,0,,,1970-04-11\n", 1, 1,
                  0);
    expect_loaded(&kit, OFFICE_SHIPMENTS, SHIPMENTS "S2,D2,KT-1,6,1970-01-21\n", 0, 1, 0);
    expect_loaded(&kit, OFFICE_APPROVALS, "approval,covers,dealer\nPA,hours-over,D1\n", 0, 1, 0);
    static const struct {
        int64_t as_of;
        const char *name, *late; /* on day 50, on day 100; NULL: unknown */
        int64_t first, second;   /* shipped to D1, to D2 */
        int limit;               /* cents; -1: none; -2: no such approval */
    } cases[] = {
        {1, "one", "one", 0, 0, -2},     {2, "one", "one", 15, 0, -2},    {3, "one", "one", 15, 0, 1234},
        {4, "uno", "late", 15, 0, 1234}, {5, "uno", "late", 10, 6, 1234}, {6, "uno", "late", 10, 6, -1},
        {0, "uno", "late", 10, 6, -1},
    };
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct office_source *source;
        struct office_register *reg = open_register(kit.office, cases[i].as_of, &source);
        const struct dealer *dealer = NULL;
        const struct approval *approval = NULL;
        int64_t quantity = -1;
        assert_int_equal(register_dealer(reg, TEXT("D1"), 50, &dealer), WM_OK);
        assert_true(text_is(dealer->name, cases[i].name) && dealer->valid_from == DAY_NONE);
        assert_int_equal(register_dealer(reg, TEXT("D1"), 100, &dealer), WM_OK);
        assert_true(text_is(dealer->name, cases[i].late) && dealer->active_from == DAY_NONE);
        assert_int_equal(register_dealer(reg, TEXT("D2"), 100, &dealer), WM_OK);
        assert_null(dealer);
        assert_int_equal(register_shipped(reg, TEXT("D1"), TEXT("KT1"), 20, &quantity), WM_OK);
        assert_int_equal(quantity, cases[i].first * 1000000);
        assert_int_equal(register_shipped(reg, TEXT("D2"), TEXT("KT1"), 20, &quantity), WM_OK);
        assert_int_equal(quantity, cases[i].second * 1000000);
        assert_int_equal(register_shipped(reg, TEXT("D1"), TEXT("KT1"), 9, &quantity), WM_OK);
        assert_int_equal(quantity, 0);
        assert_int_equal(register_approval(reg, TEXT("PA"), &approval), WM_OK);
        assert_int_equal(approval != NULL, cases[i].limit != -2);
        if (approval != NULL) {
            assert_true(text_is(approval->covers, "hours-over") && text_is(approval->number, "PA"));
            assert_int_equal(approval->has_limit, cases[i].limit >= 0);
            assert_true(!approval->has_limit || approval->limit_cents == cases[i].limit);
        }
        register_close(reg);
        office_source_close(source);
    }
    kit_end(&kit);
}

/* Index and profiles that another program has ruined: told, and never a wrong answer. */
static void a_ruined_office_is_told(void **state)
{
    static const struct {
        const char *sql, *error;
    } cases[] = {
        {"UPDATE vehicle_buckets SET vehicles = x'0102'", "the index of vehicles is damaged; "},
        {"DROP TRIGGER vehicle_profiles_update; UPDATE vehicle_profiles SET profile = 1; "
         "INSERT INTO vehicle_profiles VALUES (70, '', 1, '', '', '', '', '', 1)",
         "a vehicle refers to a profile that is not there; "},
        {"DROP VIEW vehicles_now; DROP TABLE vehicle_buckets",
         "the office file cannot be used: no such table: "},
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct office_kit kit;
        struct office_source *source;
        struct vehicle vehicle;
        bool found = false;
        kit_begin(&kit);
        assert_int_equal(kit_open(&kit, OFFICE_WRITE), WM_OK);
        expect_loaded(&kit, OFFICE_VEHICLES, "vin,engine\nA,1\n", 1, 0, 0);
        assert_int_equal(office_run(kit.office, cases[i].sql), WM_OK);
        struct office_register *reg = open_register(kit.office, 0, &source);
        assert_int_equal(register_vehicle(reg, TEXT("A"), &found, &vehicle), WM_IO);
        assert_true(text_starts_with(register_error(reg), text_of(cases[i].error)));
        assert_int_equal(kit.capture.sink.errors, 0);
        register_close(reg);
        office_source_close(source);
        kit_end(&kit);
    }
    office_source_close(NULL);
}

static void kinds_have_names(void **state)
{
    static const char *const names[] = {"vehicles", "dealers", "shipments", "approvals", "notices"};

    (void)state;
    for (enum office_data kind = OFFICE_VEHICLES; kind < OFFICE_DATA_KINDS; kind++)
        assert_string_equal(office_data_name(kind), names[kind]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(errors_are_named_and_nothing_is_loaded),
        cmocka_unit_test(files_that_are_no_text),
        cmocka_unit_test(many_errors_are_counted),
        cmocka_unit_test(vehicles_are_kept_as_written),
        cmocka_unit_test(records_are_kept_as_written),
        cmocka_unit_test(strange_regions_are_one_warning),
        cmocka_unit_test(the_same_bytes_again_change_nothing),
        cmocka_unit_test(standard_input_is_loaded),
        cmocka_unit_test(a_load_is_whole_or_not_at_all),
        cmocka_unit_test(what_was_loaded_is_found),
        cmocka_unit_test(large_files_are_read_by_several),
        cmocka_unit_test(empty_lines_before_the_header),
        cmocka_unit_test(an_older_file_is_loaded_again),
        cmocka_unit_test(dealers_shipments_and_approvals_as_of_each_load),
        cmocka_unit_test(a_ruined_office_is_told),
        cmocka_unit_test(kinds_have_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
