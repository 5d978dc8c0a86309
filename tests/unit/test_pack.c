/* A pack gives nothing of other dealers and lists no VIN; it is refused when a byte is changed, when another
 * office signed it, and behind its last day; keys are kept as secrets are.
 */
#include "pack_kit.h"
#include "small_office.h"

#include <errno.h>
#include <sodium.h>

#include "base/limits.h"
#include "base/status.h"
#include "pack/bytes.h"
#include "pack/own.h"
#include "pack/pack.h"
#include "register/vehicle_pack.h"

static char *folder, *key, *office, *pack;

static void post(const char *night, const char *day)
{
    struct result result =
        RUN("post", demo_file(night), "--office", office, "--today", day, "--received", day, "--quiet");

    assert_in_range(result.code, 0, 1);
    result_free(&result);
}

static int begin(void **state)
{
    (void)state;
    folder = pack_folder();
    make_keys(folder, "key");
    make_keys(folder, "other");
    key = words("%s/key.pub", folder);
    office = words("%s/office.db", folder);
    shell("cp %s %s", demo_file("office.db"), office);
    post("night-1.csv", "2026-03-02");
    post("night-2.csv", "2026-03-16");
    pack = make_pack(folder, office, "D113", NULL, "2026-04-20");
    return 0;
}

static int end(void **state)
{
    (void)state;
    shell("rm -rf '%s'", folder);
    return 0;
}

/* --- What is not in it -------------------------------------------------------------------------------- */

static char *bytes;
static size_t length, searched;

static bool counts_hits; /* instead of failing */
static size_t hits;

static void must_not_hold(const void *pattern, size_t size, const char *what)
{
    searched++;
    if (memmem(bytes, length, pattern, size) == NULL)
        return;
    if (!counts_hits)
        fail_msg("the pack holds %s", what);
    hits++;
}

static void must_not_hold_words(const char *text)
{
    if (text[0] != '\0')
        must_not_hold(text, strlen(text), text);
}

static void must_not_hold_number(uint64_t number, const char *what)
{
    uint64_t little = htole64(number), big = htobe64(number);

    must_not_hold(&little, sizeof little, what);
    must_not_hold(&big, sizeof big, what);
}

/* As text in both cases; as the two numbers of a packed VIN, as their hash, and as 11 bytes of all of it. */
static void must_not_hold_vin(const char *vin)
{
    char lower[64];
    struct packed_vin packed;

    must_not_hold_words(vin);
    for (size_t i = 0; i <= strlen(vin) && i < sizeof lower; i++)
        lower[i] = (char)(vin[i] >= 'A' && vin[i] <= 'Z' ? vin[i] + 32 : vin[i]);
    must_not_hold_words(lower);
    if (!vin_pack(text_of(vin), &packed))
        return;
    struct vehicle_key hashed = vehicle_key_of(packed);
    must_not_hold_number(packed.head, vin);
    must_not_hold_number(hashed.hash, vin);
    unsigned __int128 whole = (unsigned __int128)packed.head * UINT64_C(69343957) + packed.tail; /* 37^5 */
    uint8_t little[11], big[11];
    for (int i = 0; i < 11; i++)
        little[i] = big[10 - i] = (uint8_t)(whole >> (8 * i));
    must_not_hold(little, sizeof little, vin);
    must_not_hold(big, sizeof big, vin);
}

static void each_cell(const char *file, const char *column, void (*look)(const char *),
                      const char *not_of_dealer)
{
    struct csv_sheet sheet = csv_sheet_of_file(demo_file(file));

    for (size_t row = 1; row < sheet.count; row++) {
        const char *cell = csv_at(&sheet, row, column);
        const char *dealer = not_of_dealer != NULL ? csv_at(&sheet, row, "dealer") : NULL;
        if (cell != NULL &&
            (dealer == NULL || strcmp(dealer, not_of_dealer) != 0)) /* some rows of a night are cut */
            look(cell);
    }
    csv_sheet_free(&sheet);
}

static void looks_for(const char *path)
{
    static const char *const NIGHTS[] = {"night-1.csv", "night-2.csv"};

    bytes = read_whole(path, &length);
    searched = 0;
    each_cell("vehicles.csv", "vin", must_not_hold_vin, NULL);
    each_cell("dealers.csv", "dealer", must_not_hold_words, "D113");
    each_cell("dealers.csv", "name", must_not_hold_words, "D113");
    each_cell("shipments.csv", "shipment", must_not_hold_words, "D113");
    each_cell("approvals.csv", "approval", must_not_hold_words, NULL);
    for (size_t i = 0; i < COUNT(NIGHTS); i++) {
        each_cell(NIGHTS[i], "claim", must_not_hold_words, "D113");
        each_cell(NIGHTS[i], "repair_order", must_not_hold_words, "D113");
        each_cell(NIGHTS[i], "vin", must_not_hold_vin, NULL);
    }
    free(bytes);
    assert_true(searched > 20000);
}

static void tells_nothing_of_others_and_lists_no_vin(void **state)
{
    (void)state;
    looks_for(pack);
    looks_for(make_pack(folder, office, NULL, NULL, "2026-04-20"));
}

/* The search above finds what there is to find: the dealer's own code in the head; and a VIN, put into bytes of ours in
 * each form that is looked for. */
static void the_search_can_fail(void **state)
{
    static const char VIN[] = "EZ7BAMCK6KE421489";
    struct packed_vin packed;
    (void)state;

    bytes = read_whole(pack, &length);
    assert_non_null(memmem(bytes, length, "D113", 4));
    assert_non_null(memmem(bytes, length, "checks/claim/vin.csv", 20));
    free(bytes);
    assert_true(vin_pack(text_of(VIN), &packed));
    unsigned __int128 whole = (unsigned __int128)packed.head * UINT64_C(69343957) + packed.tail; /* 37^5 */
    uint64_t head = packed.head, hash = vehicle_key_of(packed).hash;
    const struct {
        const void *form;
        size_t size;
    } FORMS[] = {{VIN, 17}, {&head, sizeof head}, {&hash, sizeof hash}, {&whole, 11}};
    counts_hits = true;
    for (size_t i = 0; i < COUNT(FORMS); i++) {
        char room[64] = "................";
        memcpy(room + 16, FORMS[i].form, FORMS[i].size);
        bytes = room;
        length = sizeof room;
        hits = 0;
        must_not_hold_vin(VIN);
        assert_true(hits > 0);
    }
    counts_hits = false;
    bytes = NULL;
}

/* --- Refusals ----------------------------------------------------------------------------------------- */

static void put_byte(const char *path, size_t at, unsigned char byte)
{
    int file = open(path, O_WRONLY);

    need(file >= 0 && pwrite(file, &byte, 1, (off_t)at) == 1, path);
    close(file);
}

static int open_pack(const char *path, const char *trusted, int32_t today, struct capture *capture)
{
    struct pack_trust trust = {NULL, today};
    struct public_key public;
    struct pack *opened = NULL;

    capture_start(capture);
    assert_int_equal(public_key_read(trusted, &capture->sink, &public), WM_OK);
    trust.key = &public;
    int status = pack_open(path, &trust, &capture->sink, &opened);
    pack_close(opened);
    return status;
}

static void a_changed_byte_is_refused(void **state)
{
    uint64_t random = random_seed("a changed byte");
    char *path = words("%s/changed.pack", folder);
    int32_t today = date_from_civil(2026, 4, 20);
    struct capture capture;
    size_t size;
    (void)state;

    shell("cp %s %s", pack, path);
    char *whole = read_whole(path, &size);
    assert_int_equal(open_pack(path, key, today, &capture), WM_OK);
    for (int i = 0; i < 1000; i++) {
        size_t at = random_below(&random, size);
        unsigned char was = (unsigned char)whole[at];
        put_byte(path, at, (unsigned char)(was ^ (1 + random_below(&random, 255))));
        if (open_pack(path, key, today, &capture) == WM_OK)
            fail_msg("byte %zu was changed and the pack is taken", at);
        assert_true(capture.sink.errors > 0);
        put_byte(path, at, was);
    }
    assert_int_equal(open_pack(path, key, today, &capture), WM_OK);
    free(whole);
}

/* The bytes that stand at a fixed place, and what is said there. */
static void each_part_of_the_head_is_covered(void **state)
{
    static const struct {
        size_t at;
        const char *says;
    } CASES[] = {
        {0, "this is no pack; name the file that the office sent"},
        {16, "this pack was changed after the office signed it"},   /* version */
        {20, "this pack was changed after the office signed it"},   /* key */
        {4031, "this pack was changed after the office signed it"}, /* zeros behind the head */
        {4095, "this pack was changed after the office signed it"}, /* signature */
        {4096, "this pack was changed after the office signed it"}, /* data */
    };
    char *path = words("%s/head.pack", folder);
    struct capture capture;
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        shell("cp %s %s", pack, path);
        put_byte(path, CASES[i].at, 0xa5);
        assert_int_not_equal(open_pack(path, key, date_from_civil(2026, 4, 20), &capture), WM_OK);
        if (strstr(capture.text, CASES[i].says) == NULL)
            fail_msg("byte %zu: %s", CASES[i].at, capture.text);
    }
}

static void a_pack_that_is_cut_or_longer_is_refused(void **state)
{
    char *path = words("%s/length.pack", folder);
    struct capture capture;
    (void)state;

    shell("cp %s %s && truncate -s -1 %s", pack, path, path);
    assert_int_not_equal(open_pack(path, key, date_from_civil(2026, 4, 20), &capture), WM_OK);
    assert_non_null(strstr(capture.text, "the pack is not whole"));
    shell("cp %s %s && echo >> %s", pack, path, path);
    assert_int_not_equal(open_pack(path, key, date_from_civil(2026, 4, 20), &capture), WM_OK);
    assert_non_null(strstr(capture.text, "the pack is not whole"));
    shell("head -c 100 %s > %s", pack, path);
    assert_int_not_equal(open_pack(path, key, date_from_civil(2026, 4, 20), &capture), WM_OK);
    assert_non_null(strstr(capture.text, "this is no pack"));
    assert_int_not_equal(open_pack(folder, key, date_from_civil(2026, 4, 20), &capture), WM_OK);
    assert_non_null(strstr(capture.text, "no regular file"));
    assert_int_not_equal(open_pack(words("%s/none", folder), key, 0, &capture), WM_OK);
    assert_non_null(strstr(capture.text, "cannot open the pack"));
}

/* A file too large to be checked whole at opening: every block is checked when it is read, and all by
 * sealed_check. */
static void blocks_are_checked_as_they_are_read(void **state)
{
    enum { BYTES = SEALED_CHECK_WHOLE + 1000000, ROUNDS = 60 };
    uint64_t random = random_seed("blocks");
    char *path = words("%s/large", folder), *data = malloc(BYTES);
    struct pack_draft draft = {.head = {.lock = {.work_kib = LOCK_WORK_LEAST}, .dealer = TEXT("")}};
    struct capture capture;
    struct secret_key secret;
    struct output output;
    struct sealed *sealed = NULL;
    size_t size;
    (void)state;

    need(data != NULL, "memory");
    for (size_t i = 0; i < BYTES; i++)
        data[i] = (char)(i * 31 >> 3);
    capture_start(&capture);
    assert_int_equal(secret_key_read(words("%s/key", folder), &capture.sink, &secret), WM_OK);
    pack_draft_add(&draft, PART_RULES, (struct text){data, BYTES});
    assert_int_equal(output_open(&output, path, &capture.sink), WM_OK);
    assert_int_equal(pack_draft_seal(&draft, &secret, &output), WM_OK);
    assert_int_equal(output_close(&output, &capture.sink), WM_OK);
    char *whole = read_whole(path, &size);
    for (int i = 0; i <= ROUNDS; i++) {
        size_t at = PACK_HEAD_BYTES + random_below(&random, size - PACK_HEAD_BYTES);
        struct buffer read = BUFFER_EMPTY;
        if (i < ROUNDS)
            put_byte(path, at, (unsigned char)~whole[at]);
        assert_int_equal(sealed_open(path, &capture.sink, &sealed), WM_OK);
        int status = sealed_part(sealed, PART_RULES, &read);
        if (status == WM_OK)
            assert_memory_equal(read.bytes, data, BYTES);
        assert_int_equal(sealed_check(sealed), i < ROUNDS ? WM_IO : WM_OK);
        assert_int_equal(status, i < ROUNDS ? WM_IO : WM_OK);
        sealed_close(sealed);
        buffer_free(&read);
        put_byte(path, at, (unsigned char)whole[at]);
    }
    pack_draft_free(&draft);
    free(whole);
    free(data);
}

static void another_key_or_day_is_refused(void **state)
{
    struct capture capture;
    (void)state;

    assert_int_not_equal(open_pack(pack, words("%s/other.pub", folder), date_from_civil(2026, 4, 20), &capture),
                         WM_OK);
    assert_non_null(strstr(capture.text, "signed with another key than the one you trust"));
    assert_int_equal(open_pack(pack, key, date_from_civil(2026, 5, 20), &capture), WM_OK);
    assert_int_not_equal(open_pack(pack, key, date_from_civil(2026, 5, 21), &capture), WM_OK);
    assert_non_null(strstr(capture.text, "this pack was good until 2026-05-20; ask the office for a new one"));
}

/* --- The program -------------------------------------------------------------------------------------- */

static void says(struct result result, int code, const char *part)
{
    if (result.code != code || (strstr(result.err, part) == NULL && strstr(result.out, part) == NULL))
        fail_msg("exit code %d, not %d, or not \"%s\": %s%s", result.code, code, part, result.out, result.err);
    result_free(&result);
}

/* A pack signed by another office: the same program, another key. */
static char *foreign_pack(void)
{
    char *path = words("%s/foreign.pack", folder);

    says(RUN("pack", "--out", path, "--sign", words("%s/other", folder), "--office", office, "--today",
             "2026-04-20", "--work", TEST_WORK, "--quiet"),
         0, "");
    return path;
}

static void the_first_key_is_remembered(void **state)
{
    char *home = words("%s/home", folder), *kept = words("%s/witnessmark/office.pub", home),
         *foreign = foreign_pack();
    const char *today = "2026-04-20";
    (void)state;

    shell("mkdir -p %s", home);
    setenv("XDG_CONFIG_HOME", home, 1);
    says(RUN("pack", "show", pack, "--today", today), 0,
         "This is the first pack used here. It is signed with the key");
    assert_true(file_is_there(kept));
    says(RUN("pack", "show", pack, "--today", today), 0, "good until           2026-05-20");
    says(RUN("pack", "show", foreign, "--today", today), 2, "another key than the first pack used here");
    says(RUN("pack", "show", foreign, "--trust", words("%s/other.pub", folder), "--today", today), 0,
         "vehicles");
    says(RUN("pack", "show", pack, "--today", "2026-06-01"), 2, "this pack was good until 2026-05-20");
    unsetenv("XDG_CONFIG_HOME");
    char *was = words("%s", getenv("HOME"));
    unsetenv("HOME");
    says(RUN("pack", "show", pack, "--today", today), 2, "no place to remember the office's key");
    setenv("HOME", "home", 1);
    says(RUN("pack", "show", pack, "--today", today), 2, "no place to remember the office's key");
    setenv("XDG_CONFIG_HOME", "config", 1);
    says(RUN("pack", "show", pack, "--today", today), 2, "no place to remember the office's key");
    setenv("XDG_CONFIG_HOME", words("%s/key.pub", folder), 1); /* which is no folder */
    says(RUN("pack", "show", pack, "--today", today), 2, "Not a directory");
    unsetenv("XDG_CONFIG_HOME");
    setenv("HOME", home, 1);
    says(RUN("pack", "show", pack, "--today", today), 0, "/home/.config/witnessmark/office.pub");
    setenv("HOME", was, 1);
    setenv("XDG_CONFIG_HOME", folder, 1);
    /* a pack that is refused is not remembered */
    shell("rm -rf %s/witnessmark", folder);
    says(RUN("pack", "show", pack, "--today", "2026-06-01"), 2, "this pack was good until");
    assert_false(file_is_there(words("%s/witnessmark/office.pub", folder)));
}

/* What a pack is made of that is signed well, whatever it holds. */
struct parts {
    struct text rules, profiles, vehicles, own; /* own: before it is covered with the dealer's key */
    struct text dealer;
    uint64_t vehicle_count;
};

/* No rules, no profiles, no vehicles, for all dealers. */
static struct parts empty_parts(void)
{
    static const char PROFILES[16] = {0}, RULES[4] = {0};

    return (struct parts){.rules = {RULES, sizeof RULES},
                          .profiles = {PROFILES, sizeof PROFILES},
                          .vehicles = TEXT(""),
                          .own = TEXT(""),
                          .dealer = TEXT("")};
}

static void seal_parts(const char *path, const struct parts *parts)
{
    struct pack_draft draft = {.head = {.lock = {.work_kib = LOCK_WORK_LEAST},
                                        .valid_to = date_from_civil(2026, 12, 31),
                                        .vehicles = parts->vehicle_count,
                                        .dealer = parts->dealer}};
    uint8_t cover[LOCK_KEY_BYTES], *own = malloc(parts->own.length + 1);
    struct capture capture;
    struct secret_key secret;
    struct output output;

    need(own != NULL, "memory");
    memcpy(own, parts->own.bytes, parts->own.length);
    assert_int_equal(vin_lock_dealer(&draft.head.lock, parts->dealer, cover), WM_OK);
    crypto_stream_xchacha20_xor(own, own, parts->own.length, draft.head.own_nonce, cover);
    capture_start(&capture);
    assert_int_equal(secret_key_read(words("%s/key", folder), &capture.sink, &secret), WM_OK);
    pack_draft_add(&draft, PART_RULES, parts->rules);
    pack_draft_add(&draft, PART_PROFILES, parts->profiles);
    pack_draft_add(&draft, PART_VEHICLES, parts->vehicles);
    pack_draft_add(&draft, PART_OWN, (struct text){(const char *)own, parts->own.length});
    assert_int_equal(output_open(&output, path, &capture.sink), WM_OK);
    assert_int_equal(pack_draft_seal(&draft, &secret, &output), WM_OK);
    assert_int_equal(output_close(&output, &capture.sink), WM_OK);
    pack_draft_free(&draft);
    free(own);
}

static void seal_rules(const char *path, struct text rules)
{
    struct parts parts = empty_parts();

    parts.rules = rules;
    seal_parts(path, &parts);
}

/* Whoever has the key can sign nonsense; it is said to be, and nothing is read beyond what is there. */
static void well_signed_nonsense_is_refused(void **state)
{
    static const char MANY[] = "\xff\xff\xff\xff", NO_LISTS[20] = {0},
                      LONG_TEXT[] = "\1\0\0\0\x70\0\0\0facts.csv";
    static const struct {
        const char *what;
        struct parts parts; /* of an empty pack, what is other; bytes NULL: as there */
        bool fits;
    } CASES[] = {
        {"as it should be", {.vehicle_count = 0}, true},
        {"with a dealer's lists, all empty", {.dealer = TEXT("D1"), .own = {NO_LISTS, 20}}, true},
        {"more rules files than bytes", {.rules = {MANY, 4}}, false},
        {"a path beyond its end", {.rules = {LONG_TEXT, sizeof LONG_TEXT - 1}}, false},
        {"no rules part", {.rules = TEXT("")}, false},
        {"no profiles part", {.profiles = TEXT("")}, false},
        {"a vehicle that is not there", {.vehicle_count = 1}, false},
        {"vehicles of which the head knows nothing", {.vehicles = TEXT("01234567890123456789")}, false},
        {"no own part for a dealer", {.dealer = TEXT("D1")}, false},
        {"more versions than bytes", {.dealer = TEXT("D1"), .own = {MANY, 4}}, false},
        {"lists that end too soon", {.dealer = TEXT("D1"), .own = {NO_LISTS, 19}}, false},
        {"bytes behind the lists",
         {.dealer = TEXT("D1"), .own = {"\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0!", 21}},
         false},
    };
    char *path = words("%s/nonsense.pack", folder);
    struct capture capture;
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        const struct parts *own = &CASES[i].parts;
        struct parts parts = empty_parts();
        parts.rules = own->rules.bytes != NULL ? own->rules : parts.rules;
        parts.profiles = own->profiles.bytes != NULL ? own->profiles : parts.profiles;
        parts.vehicles = own->vehicles.bytes != NULL ? own->vehicles : parts.vehicles;
        parts.own = own->own.bytes != NULL ? own->own : parts.own;
        parts.dealer = own->dealer.bytes != NULL ? own->dealer : parts.dealer;
        parts.vehicle_count = own->vehicle_count;
        seal_parts(path, &parts);
        int status = open_pack(path, key, date_from_civil(2026, 4, 20), &capture);
        const char *said = CASES[i].fits ? "" : "the pack does not fit together; ask the office for it again\n";
        if ((status == WM_OK) != CASES[i].fits || strstr(capture.text, said) == NULL)
            fail_msg("%s: %d, %s", CASES[i].what, status, capture.text);
    }
}

/* A dealer of one version whose name is as long as a cell may be, or a byte longer. */
static void a_cell_that_no_file_could_hold_is_refused(void **state)
{
    char *path = words("%s/cell.pack", folder), *name = calloc(1, LIMIT_CELL_BYTES + 1);
    struct capture capture;
    (void)state;

    need(name != NULL, "memory");
    for (size_t more = 0; more <= 1; more++) {
        struct dealer one = {.code = TEXT("D1"), .name = {name, LIMIT_CELL_BYTES + more}, .region = TEXT("")};
        struct own_part own = {.versions = &one, .version_count = 1};
        struct parts parts = empty_parts();
        struct buffer lists = BUFFER_EMPTY;
        own_write(&lists, &own);
        parts.own = buffer_text(&lists);
        parts.dealer = TEXT("D1");
        seal_parts(path, &parts);
        int status = open_pack(path, key, date_from_civil(2026, 4, 20), &capture);
        assert_int_equal(status == WM_OK, more == 0);
        assert_true((strstr(capture.text, "the pack does not fit together") != NULL) == (more == 1));
        buffer_free(&lists);
    }
    free(name);
}

/* The pack of the dealer, so large that it is not checked whole at opening, with a byte changed in each block of a
 * part. Its rules are followed by nothing that is read. */
static char *large_pack(enum pack_part changed)
{
    enum { MORE = SEALED_CHECK_WHOLE };
    char *path = words("%s/large.pack", folder);
    struct sealed *sealed = NULL, *large = NULL;
    struct pack_draft draft = {.head = {.made_on = 0}};
    struct capture capture;
    struct secret_key secret;
    struct output output;

    capture_start(&capture);
    assert_int_equal(secret_key_read(words("%s/key", folder), &capture.sink, &secret), WM_OK);
    assert_int_equal(sealed_open(pack, &capture.sink, &sealed), WM_OK);
    draft.head = *sealed_head(sealed);
    for (enum pack_part part = 0; part < PACK_PARTS; part++) {
        struct buffer whole = BUFFER_EMPTY;
        assert_int_equal(sealed_part(sealed, part, &whole), WM_OK);
        char *room = part == PART_RULES ? buffer_room(&whole, MORE) : NULL;
        if (room != NULL) {
            memset(room, 0, MORE);
            whole.length += MORE;
        }
        pack_draft_add(&draft, part, buffer_text(&whole));
        buffer_free(&whole);
    }
    assert_int_equal(output_open(&output, path, &capture.sink), WM_OK);
    assert_int_equal(pack_draft_seal(&draft, &secret, &output), WM_OK);
    assert_int_equal(output_close(&output, &capture.sink), WM_OK);
    sealed_close(sealed);
    pack_draft_free(&draft);
    assert_int_equal(sealed_open(path, &capture.sink, &large), WM_OK);
    uint64_t first = PACK_HEAD_BYTES + sealed_head(large)->parts[changed].first_block * PACK_BLOCK_BYTES;
    for (uint64_t at = 0; at < sealed_head(large)->parts[changed].bytes; at += PACK_BLOCK_BYTES)
        put_byte(path, first + at + 3, 0xa5);
    sealed_close(large);
    return path;
}

/* Whatever meets the changed block says so, and nothing is decided. */
static void a_changed_block_is_said_where_it_is_read(void **state)
{
    static const char SAID[] = "large.pack: this pack was changed after the office signed it; do not use it";
    char *own = words("%s/own.pack", folder);
    (void)state;

    const char *large = large_pack(PART_VEHICLES);
    says(RUN("check", demo_file("night-1.csv"), "--pack", large, "--trust", key, "--today", "2026-04-20"), 2, SAID);
    says(RUN("worksheet", "EZ7BAMCK6KE421489", "--pack", large, "--trust", key, "--today", "2026-04-20"), 2, SAID);
    says(RUN("pack", "show", large, "--trust", key, "--today", "2026-04-20"), 2, SAID);
    says(RUN("pack", "--out", own, "--sign", words("%s/key", folder), "--office", office, "--dealer", "D113", "--base",
             large, "--today", "2026-04-20"),
         2, SAID);
    large = large_pack(PART_PROFILES);
    says(RUN("check", demo_file("night-1.csv"), "--pack", large, "--trust", key, "--today", "2026-04-20"), 2, SAID);
    large = large_pack(PART_OWN);
    says(RUN("check", demo_file("night-1.csv"), "--pack", large, "--trust", key, "--today", "2026-04-20"), 2, SAID);
    assert_false(file_is_there(own));
    unlink(large);
}

/* The head says what it should not, and is signed again. Where things stand in it: pack/sealed.c. */
static void a_head_that_makes_no_sense_is_refused(void **state)
{
    enum { SIGNED = 4032 };
    static const struct {
        size_t at;
        unsigned char byte;
        const char *says;
    } CASES[] = {
        {16, 2, "this pack is of another version of the program; use the program that belongs to it"},
        {92, 7, "the pack does not fit together"},  /* work, KiB: less than the least */
        {95, 1, "the pack does not fit together"},  /* more than the most */
        {151, 1, "the pack does not fit together"}, /* the dealer's code is longer than the head */
        {159, 1, "the pack does not fit together"}, /* the rules begin beyond the data */
        {166, 1, "the pack does not fit together"}, /* they are longer than the data */
        {216, 77, "the pack is not whole"},         /* more blocks of data than there are */
        {223, 1, "the pack does not fit together"}, /* more than any pack has */
        {224, 77, "this pack was changed after the office signed it"}, /* the root */
    };
    char *path = words("%s/head.pack", folder);
    struct secret_key secret;
    struct capture capture;
    size_t size;
    (void)state;

    capture_start(&capture);
    assert_int_equal(secret_key_read(words("%s/key", folder), &capture.sink, &secret), WM_OK);
    struct parts parts = empty_parts();
    seal_parts(path, &parts);
    char *whole = read_whole(path, &size);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        char *copy = malloc(size);
        need(copy != NULL, "memory");
        memcpy(copy, whole, size);
        assert_int_not_equal((unsigned char)copy[CASES[i].at], CASES[i].byte);
        copy[CASES[i].at] = (char)CASES[i].byte;
        crypto_sign_detached((unsigned char *)copy + SIGNED, NULL, (const unsigned char *)copy, SIGNED,
                             secret.bytes);
        write_file(path, copy, size);
        int status = open_pack(path, key, date_from_civil(2026, 4, 20), &capture);
        if (status == WM_OK || strstr(capture.text, CASES[i].says) == NULL)
            fail_msg("byte %zu: %d, %s", CASES[i].at, status, capture.text);
        free(copy);
    }
    free(whole);
}

/* A public key is a file, or the key itself as its line stands in the file. */
static void keys_are_read_as_people_hand_them_over(void **state)
{
    char *file = read_whole(key, NULL), *line = strchr(file, '\n') + 1;
    (void)state;

    line[strcspn(line, "\n")] = '\0';
    char *first = words("%.*s", (int)(line - file - 1), file);
    const struct {
        const char *content;
        bool is_key;
    } CASES[] = {
        {words("%s\n%s\n", first, line), true},
        {words("%s\r\n%s\r\n", first, line), true},
        {words("%s\n%s", first, line), true},
        {words("%s\n  %s  \n", first, line), true},
        {words("%s\n%s\nmore\n", first, line), false},
        {words("%s\n\n", first), false},
        {words("%s\n", first), false},
        {first, false},
        {"", false},
        {words("%s\n%.10s\n", first, line), false},
        {words("%s\n%s!\n", first, line), false},
        {words("another line\n%s\n", line), false},
    };
    for (size_t i = 0; i < COUNT(CASES); i++) {
        const char *path = words("%s/some.pub", folder);
        struct capture capture;
        write_words(path, CASES[i].content);
        if ((open_pack(pack, line, date_from_civil(2026, 4, 20), &capture) == WM_OK) != true)
            fail_msg("%s", capture.text);
        struct public_key public;
        capture_start(&capture);
        if ((public_key_read(path, &capture.sink, &public) == WM_OK) != CASES[i].is_key)
            fail_msg("%zu: %s: %s", i, CASES[i].content, capture.text);
        if (!CASES[i].is_key)
            assert_non_null(strstr(capture.text, "this is no public key; name the file ending in .pub"));
    }
    says(RUN("pack", "show", pack, "--trust", line, "--today", "2026-04-20"), 0, "vehicles");
    says(RUN("pack", "show", pack, "--trust", words("%s/nowhere.pub", folder)), 2, "nowhere.pub");
    free(file);
}

/* The first pack that is met may be one that is signed and of no use: its key is not remembered, so that the
 * office's own is still welcome. */
static void a_useless_pack_leaves_no_key(void **state)
{
    static const char FACTS[] =
        "name,type,scope,shown,meaning\nvin,number,claim,dealer,no such type of a VIN\n";
    char *path = words("%s/useless.pack", folder), *kept = words("%s/witnessmark/office.pub", folder);
    struct buffer rules = BUFFER_EMPTY;
    (void)state;

    shell("rm -rf %s/witnessmark", folder);
    seal_rules(path, TEXT("\xff\xff\xff\xff"));
    says(RUN("pack", "show", path, "--today", "2026-04-20"), 2, "the pack does not fit together");
    assert_false(file_is_there(kept));
    put_4(&rules, 1);
    put_text(&rules, TEXT("facts.csv"));
    put_text(&rules, text_of(FACTS));
    seal_rules(path, buffer_text(&rules));
    buffer_free(&rules);
    says(RUN("pack", "show", path, "--today", "2026-04-20"), 2, "facts.csv:2:");
    assert_false(file_is_there(kept));
    says(RUN("check", demo_file("night-1.csv"), "--pack", path, "--today", "2026-04-20"), 2, "facts.csv:2:");
    assert_false(file_is_there(kept));
    says(RUN("pack", "show", pack, "--today", "2026-04-20"), 0, "This is the first pack used here");
    assert_true(file_is_there(kept));
}

static void secrets_are_kept(void **state)
{
    char *secret = words("%s/secret", folder), *link = words("%s/link", folder),
         *public = words("%s.pub", secret);
    struct stat about;
    (void)state;

    umask(0);
    struct result result = RUN("pack", "keygen", secret);
    assert_int_equal(result.code, 0);
    assert_int_equal(stat(secret, &about), 0);
    assert_int_equal(about.st_mode & 0777, 0600);
    char *first = read_whole(secret, NULL), *line = strchr(first, '\n') + 1;
    line[strcspn(line, "\n")] = '\0';
    assert_null(strstr(result.out, line));
    assert_null(strstr(result.err, line));
    result_free(&result);
    says(RUN("pack", "keygen", secret), 2, "there is a file of this name already");
    shell("ln -s %s/elsewhere %s", folder, link);
    says(RUN("pack", "keygen", link), 2, "there is a file of this name already");
    assert_false(file_is_there(words("%s/elsewhere", folder)));
    /* a public key that is there already: neither file is touched, and no secret key is left without one */
    write_words(words("%s/half.pub", folder), "mine\n");
    says(RUN("pack", "keygen", words("%s/half", folder)), 2, "there is a file of this name already");
    assert_false(file_is_there(words("%s/half", folder)));
    assert_string_equal(read_whole(words("%s/half.pub", folder), NULL), "mine\n");
    says(RUN("pack", "keygen", words("%s/no/such/folder", folder)), 2, "cannot write the key: No such file");

    const char *out = words("%s/x.pack", folder);
    shell("ln -sf %s %s", secret, link);
    says(RUN("pack", "--out", out, "--sign", link, "--office", office), 2, "this is a link");
    says(RUN("pack", "--out", out, "--sign", public, "--office", office), 2, "others may read this secret key");
    shell("chmod 600 %s", public);
    says(RUN("pack", "--out", out, "--sign", public, "--office", office), 2, "this is no secret key");
    shell("chmod 644 %s", secret);
    says(RUN("pack", "--out", out, "--sign", secret, "--office", office), 2, "others may read this secret key");
    says(RUN("pack", "--out", out, "--sign", words("%s/none", folder), "--office", office), 2,
         "cannot open the key");
    says(RUN("pack", "--out", out, "--sign", folder, "--office", office), 2, "this is no regular file");
    says(RUN("pack", "show", pack, "--trust", words("%s/key", folder)), 2, "this is no public key");
    assert_false(file_is_there(out));
    free(first);
}

static void what_cannot_be_packed_is_said(void **state)
{
    char *out = words("%s/x.pack", folder), *sign = words("%s/key", folder),
         *base = words("%s/all.pack", folder);
    (void)state;

    says(RUN("pack", "--sign", sign), 2, "pack needs --out FILE");
    says(RUN("pack", "--out", out), 2, "pack needs --sign KEY");
    says(RUN("pack", "--out", out, "--sign", sign, "--work", "7"), 2,
         "--work is a number of KiB from 8 to 65536");
    says(RUN("pack", "--out", out, "--sign", sign, "--work", "x"), 2, "--work \"x\" is no whole number");
    says(RUN("pack", "--out", out, "--sign", sign, "--valid-to", "soon"), 2,
         "--valid-to \"soon\" is not a date");
    says(RUN("pack", "--out", out, "--sign", sign, "--today", "2026-04-20", "--valid-to", "2026-04-19"), 2,
         "--valid-to is a day that is past");
    char longest[256 + 1];
    memset(longest, 'D', 256);
    longest[256] = '\0';
    says(RUN("pack", "--out", out, "--sign", sign, "--office", office, "--dealer", longest, "--work", TEST_WORK), 2,
         "the dealer's code is longer than 255 bytes; check it");
    says(RUN("pack", "--out", out, "--sign", sign, "--office", office, "--dealer", longest + 1, "--work", TEST_WORK), 2,
         "is not in the office file");
    says(RUN("pack", "--out", out, "--sign", sign, "--office", office, "--dealer", "D999", "--work", TEST_WORK),
         2, "dealer \"D999\" is not in the office file");
    says(RUN("pack", "--out", out, "--sign", sign, "--office", office, "--campaign", "H99"), 2,
         "no campaign \"H99\" in the rules");
    says(RUN("pack", "--out", out, "--sign", words("%s/other", folder), "--office", office, "--base", base), 2,
         "the base was signed with another key");
    says(RUN("pack", "--out", out, "--sign", sign, "--office", demo_file("office.db"), "--base", base), 2,
         "the office file has changed since the base was made");
    says(RUN("pack", "--out", out, "--sign", sign, "--office", office, "--campaign", "H26-02", "--base", base),
         2, "or the base has other campaigns");
    says(RUN("check", "--pack", pack, "--office", office, "x.csv"), 2, "leave out --office and --rules");
    says(RUN("check", "--trust", key, "x.csv"), 2, "name the pack with --pack");
    assert_false(file_is_there(out));
}

/* The first page of the profiles, behind their root, is none; opening the office reads only the last. */
static void profiles_that_cannot_be_read_are_said(void **state)
{
    enum { CHILD_ROOM = 4, CELLS_AT = 12, INNER_PAGE = 5 };
    char *damaged = words("%s/damaged.db", folder), *out = words("%s/damaged.pack", folder);
    sqlite3 *database;
    sqlite3_stmt *asked;
    size_t size;
    (void)state;

    shell("cp %s %s", demo_file("office.db"), damaged);
    assert_int_equal(sqlite3_open(damaged, &database), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(database,
                                        "SELECT rootpage, page_size FROM sqlite_schema, pragma_page_size "
                                        "WHERE name = 'vehicle_profiles'",
                                        -1, &asked, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(asked), SQLITE_ROW);
    size_t root = (size_t)sqlite3_column_int64(asked, 0) - 1, page = (size_t)sqlite3_column_int64(asked, 1);
    sqlite3_finalize(asked);
    sqlite3_close(database);
    char *whole = read_whole(damaged, &size);
    const unsigned char *at = (unsigned char *)whole + root * page;
    assert_int_equal(at[0], INNER_PAGE);
    const unsigned char *cell = at + (size_t)at[CELLS_AT] * 256 + at[CELLS_AT + 1];
    size_t child = 0;
    for (size_t i = 0; i < CHILD_ROOM; i++)
        child = child * 256 + cell[i];
    put_byte(damaged, (child - 1) * page, 0xff);
    free(whole);
    says(RUN("pack", "--out", out, "--sign", words("%s/key", folder), "--office", damaged, "--work", TEST_WORK), 2,
         "the vehicles' profiles cannot be read from the office file");
    assert_false(file_is_there(out));
}

/* --- An office of odd claims --------------------------------------------------------------------------- */

#define VIN_UNREGISTERED "EZ7TAAC14KT009999"
#define VIN_WRONG_DIGIT "EZ7TAAC19KT000101"
#define VIN_WRONG_FORM "EZ7TAAC19KTOOO1O1" /* O is no digit */

/* What the table `probe` says of a claim, by the office file (NULL) or a pack. */
static char *probed(const char *claim, const char *by_pack)
{
    const char *const how[] = {by_pack ? "--pack" : "--office", by_pack ? by_pack : small_whole,
                               by_pack ? "--trust" : "--rules", by_pack ? key : probe_path("rules")};
    struct result result = RUN("check", probe_write_claims(claim), how[0], how[1], how[2], how[3], "--today",
                               "2026-05-20", "--format", "csv", "--findings", probe_path("findings.csv"));

    if (result.code != 0 && result.code != 1)
        fail_msg("%s: %s", claim, result.err);
    result_free(&result);
    return probe_messages();
}

static char *odd_pack(const char *name, const char *how, const char *of)
{
    char *path = words("%s/odd-%s.pack", folder, name);

    says(RUN("pack", "--out", path, "--sign", words("%s/key", folder), "--office", small_whole, "--rules",
             probe_path("rules"), "--today", "2026-05-20", "--work", TEST_WORK, "--quiet", how, of),
         0, "");
    return path;
}

/* What the pack knows of a claim's vehicle, its dealer's kits and money is what the office knows: with claims of
 * several dealers and of two campaigns on one vehicle, on vehicles that are not registered and on VINs that are none;
 * with a registered VIN whose check digit is wrong; and with a dealer of more records than a list begins with. */
static void odd_claims_are_known(void **state)
{
    static const char *const CLAIMS[] = {
        "vin=" VIN_A,          "vin=" VIN_A "|revision=1", "vin=" VIN_B,           "vin=" VIN_B "|campaign=T0",
        "vin=" VIN_TWIN_1,     "vin=" VIN_UNREGISTERED,    "vin=NO-VIN!",          "vin=" VIN_WRONG_DIGIT,
        "vin=" VIN_SCRAPPED,   "vin=V1",                   "vin=" VIN_TWIN_2,      "vin=" VIN_BETA "|campaign=T0",
        "vin=" VIN_WRONG_FORM, "vin=" VIN_GAMMA,
    };
    char *shipments = words("shipment,dealer,part,quantity,shipped_on\n");
    (void)state;

    small_open(NULL);
    write_words(probe_path("odd.csv"), "vin,model_line,model_year\n" VIN_WRONG_DIGIT ",Alpha,2019\nV1,Alpha,2019\n"
                                      VIN_WRONG_FORM ",Alpha,2019\n");
    SMALL("load", "vehicles", probe_path("odd.csv"), "--today", "2026-05-12", "--quiet");
    for (int i = 0; i < 40; i++)
        shipments = words("%sM%d,D1,K-A,%d,2026-02-01\n", shipments, i, i);
    write_words(probe_path("more.csv"), shipments);
    SMALL("load", "shipments", probe_path("more.csv"), "--today", "2026-05-12", "--quiet");
    small_post("claim=U1|vin=" VIN_UNREGISTERED PAY_100 "\nclaim=U2|vin=NO-VIN!" PAY_100 "\n"
               "claim=U3|campaign=T0|vin=" VIN_B PAY_10 "\nclaim=U4|vin=" VIN_A PAY_100 "\n"
               "claim=U5|campaign=T0|vin=" VIN_A PAY_10 "\nclaim=U6|vin=V1|outcome=inspected" PAY_100 "\n"
               "claim=U7|vin=" VIN_UNREGISTERED PAY_10 "\nclaim=U8|vin=" VIN_WRONG_DIGIT PAY_10 "\n"
               "claim=U9|completed_on=|vin=" VIN_WRONG_FORM PAY_100 "\nclaim=V1|vin=" VIN_GAMMA PAY_100 "\n"
               "claim=V2|vin=" VIN_GAMMA PAY_100 "\nclaim=V3|vin=" VIN_GAMMA PAY_100 "\n"
               "claim=V4|vin=" VIN_GAMMA PAY_100 "\nclaim=V5|campaign=T0|vin=" VIN_GAMMA PAY_100,
               "2026-05-13");
    probe_facts("claim", "earlier_outcome earlier_dealer_same kits_shipped kits_claimed paid_before vehicle_known");
    const char *dealer = odd_pack("dealer", "--dealer", "D1");
    for (size_t i = 0; i < COUNT(CLAIMS); i++) {
        char *by_office = words("%s", probed(CLAIMS[i], NULL));
        assert_string_equal(probed(CLAIMS[i], dealer), by_office);
    }
    struct result done =
        RUN("worksheet", VIN_GAMMA, "--pack", dealer, "--trust", key, "--today", "2026-05-20", "--campaign", "T0");
    if (done.code != 0)
        fail_msg("%s%s", done.out, done.err);
    result_free(&done);
    /* the dealer's own claim is no other's */
    struct result page = RUN("check", probe_write_claims("vin=" VIN_BETA), "--pack", dealer, "--trust", key, "--today",
                             "2026-05-20");
    assert_non_null(strstr(page.out, "To know: repaired|true|"));
    assert_null(strstr(page.out, "Another dealer has a claim"));
    result_free(&page);
    /* of a campaign that is not in the pack nothing is known, and of the one that it replaces all */
    probe_facts("claim", "earlier_outcome vehicle_known");
    const char *new = odd_pack("new", "--campaign", "T1"), *old = odd_pack("old", "--campaign", "T0");
    for (size_t i = 0; i < COUNT(CLAIMS); i++) {
        bool is_old = strstr(CLAIMS[i], "campaign=T0") != NULL;
        const char *by_office = words("%s", probed(CLAIMS[i], NULL));
        if (strstr(CLAIMS[i], "revision") != NULL) /* whose claim it corrects only the office knows */
            continue;
        if (strstr(CLAIMS[i], "NO-VIN!") != NULL) /* what is no VIN is in no list of vehicles */
            by_office = "|false\n";
        char *known = probed(CLAIMS[i], is_old ? old : new);
        if (strcmp(known, by_office) != 0)
            fail_msg("%s: the office says %s, the pack %s", CLAIMS[i], by_office, known);
    }
    probe_facts("claim", NULL);
}

/* In a table of one row a claim, each row's finding hangs on what the others ask for, and so does what is found where
 * two rows hold. */
static void findings_of_whole_tables_are_the_offices(void **state)
{
    const char *table = probe_path("rules/checks/claim/single.csv"),
               *other = probe_path("rules/checks/claim/first.csv"),
               *any = probe_path("rules/checks/claim/any.csv");
    (void)state;

    write_words(table, "U,earlier_claim,technician,>finding,>effect,>message\nsame,A1,-,same-claim,note,Again.\n"
                       "other,-,T7,by-hand,note,Looked at.\n");
    struct result result = RUN("pack", "show", odd_pack("single", "--dealer", "D1"), "--trust", key, "--today",
                               "2026-05-20", "--format", "csv");
    assert_int_equal(result.code, 0);
    if (strstr(result.out, "\noffice,same-claim ") == NULL || strstr(result.out, "\noffice,by-hand ") == NULL ||
        strstr(result.out, "\noffice,rules-ambiguous ") == NULL)
        fail_msg("%s", result.out);
    result_free(&result);
    /* where nothing is withheld, nothing is the office's; nor is a row that finds nothing */
    write_words(table, "U,technician,>finding,>effect,>message\nt7,T7,by-hand,note,Looked at.\n");
    write_words(other, "F,earlier_claim,>finding,>effect,>message\nsame,A1,,,\nother,-,not-a1,note,Another.\n");
    write_words(any, "A,earlier_claim,>finding,>effect,>message\nsame,A2,any-a2,note,Again.\n");
    result = RUN("pack", "show", odd_pack("plain", "--dealer", "D1"), "--trust", key, "--today", "2026-05-20",
                 "--format", "csv");
    assert_int_equal(result.code, 0);
    if (strstr(result.out, "by-hand") != NULL || strstr(result.out, "\noffice,any-a2 ") == NULL ||
        strstr(strstr(result.out, "\noffice,rules-ambiguous ") + 1, "\noffice,rules-ambiguous ") != NULL ||
        strstr(result.out, "\noffice,not-a1 ") == NULL || strstr(result.out, "single.csv:same") != NULL)
        fail_msg("%s", result.out);
    result_free(&result);
    unlink(table);
    unlink(other);
    unlink(any);
    probe_close(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tells_nothing_of_others_and_lists_no_vin),
        cmocka_unit_test(the_search_can_fail),
        cmocka_unit_test(a_changed_byte_is_refused),
        cmocka_unit_test(each_part_of_the_head_is_covered),
        cmocka_unit_test(a_pack_that_is_cut_or_longer_is_refused),
        cmocka_unit_test(blocks_are_checked_as_they_are_read),
        cmocka_unit_test(another_key_or_day_is_refused),
        cmocka_unit_test(the_first_key_is_remembered),
        cmocka_unit_test(well_signed_nonsense_is_refused),
        cmocka_unit_test(a_cell_that_no_file_could_hold_is_refused),
        cmocka_unit_test(a_changed_block_is_said_where_it_is_read),
        cmocka_unit_test(a_head_that_makes_no_sense_is_refused),
        cmocka_unit_test(keys_are_read_as_people_hand_them_over),
        cmocka_unit_test(a_useless_pack_leaves_no_key),
        cmocka_unit_test(secrets_are_kept),
        cmocka_unit_test(what_cannot_be_packed_is_said),
        cmocka_unit_test(profiles_that_cannot_be_read_are_said),
        cmocka_unit_test(odd_claims_are_known),
        cmocka_unit_test(findings_of_whole_tables_are_the_offices),
    };
    return cmocka_run_group_tests(tests, begin, end);
}
