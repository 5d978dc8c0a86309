/* A pack file: its head before and behind the signature, the four parts, and what the engine asks of them.
 *
 * libsodium is not what is looked at here: it stands in the way of every change of a byte. In its place a
 * signature holds where the input says so, a digest is zeros, a dealer's own part is not covered, and the hash
 * of a VIN is its last byte over and over, so that a search meets tags. That a changed byte of a real pack is
 * refused is tests/unit/test_pack.c.
 *
 * Bytes: how (choices below); then either the head as it stands, behind which everything is zeros, or the
 * lengths of three parts and the four parts, for which the head is made.
 */
#include "fuzz.h"

#include <sodium.h>
#include <sys/mman.h>
#include <unistd.h>

#include "base/date.h"
#include "pack/layout.h"
#include "pack/pack.h"
#include "rules/rules.h"

enum { MOST_BLOCKS = 24, TODAY = 20600, FILE_ROOM = PACK_HEAD_BYTES + MOST_BLOCKS * PACK_BLOCK_BYTES };

/* --- In place of libsodium ------------------------------------------------------------------------------ */

static bool signature_holds;

int crypto_sign_verify_detached(const unsigned char *signature, const unsigned char *message,
                                unsigned long long length, const unsigned char *key)
{
    (void)signature, (void)message, (void)length, (void)key;
    return signature_holds ? 0 : -1;
}

int crypto_generichash(unsigned char *digest, size_t digest_bytes, const unsigned char *bytes,
                       unsigned long long length, const unsigned char *key, size_t key_bytes)
{
    (void)bytes, (void)length, (void)key, (void)key_bytes;
    memset(digest, 0, digest_bytes);
    return 0;
}

int crypto_pwhash(unsigned char *const hash, unsigned long long hash_bytes, const char *const password,
                  unsigned long long length, const unsigned char *const salt, unsigned long long steps,
                  size_t memory, int algorithm)
{
    (void)salt, (void)steps, (void)memory, (void)algorithm;
    memset(hash, password[length - 1], (size_t)hash_bytes);
    return 0;
}

int crypto_stream_xchacha20_xor(unsigned char *out, const unsigned char *bytes, unsigned long long length,
                                const unsigned char *nonce, const unsigned char *key)
{
    (void)nonce, (void)key;
    memmove(out, bytes, (size_t)length);
    return 0;
}

/* --- The file ------------------------------------------------------------------------------------------- */

static const struct rules *rules; /* as they ship: their tables ask for every fact of a history */
static uint8_t image[FILE_ROOM];
static int descriptor;
static char path[64];

int LLVMFuzzerInitialize(int *count, char ***arguments)
{
    static struct arena arena;
    static struct rules_files files;
    static struct rules *compiled;
    struct diag_sink sink = looking_sink();

    (void)count, (void)arguments;
    must(rules_files_read("rules", &arena, &sink, &files) == WM_OK &&
             rules_compile(&arena, &files, &sink, &compiled) == WM_OK,
         "the rules that ship can be used");
    rules = compiled;
    descriptor = memfd_create("pack", 0);
    must(descriptor >= 0, "there is memory");
    snprintf(path, sizeof path, "/proc/self/fd/%d", descriptor);
    return 0;
}

struct draft {
    uint8_t *at; /* of the head, or of the data */
    uint64_t data_blocks;
};

static void put(struct draft *draft, const void *bytes, size_t length)
{
    memcpy(draft->at, bytes, length);
    draft->at += length;
}

static void put_number(struct draft *draft, uint64_t number, size_t length)
{
    number = htole64(number);
    put(draft, &number, length);
}

/* The head of sealed.h, written once more by its description. */
static void make_head(const uint64_t lengths[PACK_PARTS], bool for_dealer)
{
    struct draft head = {image, 0};
    uint64_t block = 0, entries = lengths[PART_VEHICLES] / PACK_BLOCK_BYTES * ENTRIES_A_BLOCK +
                                  lengths[PART_VEHICLES] % PACK_BLOCK_BYTES / ENTRY_BYTES;

    put(&head, "WITNESSMARK PACK\1\0\0\0", 20);
    head.at += 64; /* key, state */
    put_number(&head, TODAY, 4);
    put_number(&head, TODAY, 4);
    put_number(&head, LOCK_WORK_LEAST, 4);
    head.at += LOCK_SALT_BYTES + PACK_NONCE_BYTES;
    put_number(&head, 0, 4);
    put_number(&head, entries, 8);
    put_number(&head, for_dealer ? 2 : 0, 4);
    put(&head, "D1", for_dealer ? 2 : 0);
    for (int part = 0; part < PACK_PARTS; part++) {
        put_number(&head, block, 8);
        put_number(&head, lengths[part], 8);
        block += (lengths[part] + PACK_BLOCK_BYTES - 1) / PACK_BLOCK_BYTES;
    }
    put_number(&head, block, 8);
}

static size_t make_pack(struct input *input, bool for_dealer)
{
    uint64_t lengths[PACK_PARTS], block = 0;

    for (int part = 0; part < PACK_PARTS; part++) {
        bool is_last = part + 1 == PACK_PARTS;
        uint64_t wanted = is_last ? input->left : input_choose(input, 65536);
        lengths[part] = wanted < input->left ? wanted : input->left;
        if (lengths[part] > PACK_BLOCK_BYTES * 4)
            lengths[part] = PACK_BLOCK_BYTES * 4;
        /* whole entries, for read_counts looks at that first */
        if (part == PART_VEHICLES)
            lengths[part] -= lengths[part] % PACK_BLOCK_BYTES % ENTRY_BYTES;
        memcpy(image + PACK_HEAD_BYTES + block * PACK_BLOCK_BYTES, input->at, lengths[part]);
        block += (lengths[part] + PACK_BLOCK_BYTES - 1) / PACK_BLOCK_BYTES;
        input->at += lengths[part];
        input->left -= lengths[part];
    }
    make_head(lengths, for_dealer);
    return PACK_HEAD_BYTES + (block + 1) * PACK_BLOCK_BYTES; /* and one of the tree */
}

/* A head as the input has it, and blocks of zeros. */
static size_t take_head(struct input *input)
{
    uint64_t blocks = input_choose(input, MOST_BLOCKS);
    size_t length = input->left < PACK_HEAD_BYTES ? input->left : PACK_HEAD_BYTES;

    memcpy(image, input->at, length);
    return blocks == 0 ? length : PACK_HEAD_BYTES + blocks * PACK_BLOCK_BYTES;
}

/* --- What is asked of it -------------------------------------------------------------------------------- */

static volatile unsigned sum_of_bytes; /* so that reading is not left out */

/* Reads every byte, for AddressSanitizer to see. */
static void touch(struct text t)
{
    for (size_t i = 0; i < t.length; i++)
        sum_of_bytes += (unsigned char)t.bytes[i];
}

static int take_profile(void *taker, uint32_t number, const struct vehicle_profile *profile)
{
    (void)number;
    touch(profile->model_line);
    touch(profile->engine);
    touch(profile->transmission);
    touch(profile->plant);
    touch(profile->options);
    touch(profile->status);
    ++*(uint32_t *)taker;
    return WM_OK;
}

static int take_dealer(void *taker, const struct dealer *version)
{
    (void)taker;
    touch(version->code);
    touch(version->name);
    touch(version->region);
    return WM_OK;
}

static int take_shipment(void *taker, struct text part_key, int32_t shipped_on, int64_t quantity)
{
    (void)taker, (void)shipped_on, (void)quantity;
    touch(part_key);
    return WM_OK;
}

static int take_approval(void *taker, const struct approval *approval)
{
    (void)taker;
    touch(approval->dealer);
    touch(approval->campaign);
    touch(approval->vin);
    touch(approval->covers);
    touch(approval->reason);
    return WM_OK;
}

/* An answer, or a reason why there is none. */
static bool answered(struct pack *pack, int status)
{
    must(status == WM_OK || status == WM_IO, "a pack answers, or is not whole");
    must(status == WM_OK || pack_error(pack).length > 0, "what went wrong has words");
    return status == WM_OK;
}

static void ask_register(struct pack *pack)
{
    const struct register_source *source = pack_register(pack);
    uint32_t profile, seen = 0;
    int32_t built_on;
    bool found = false;

    if (answered(pack,
                 source->vehicle(source->context, TEXT("EZ7BAMCK6KE421481"), &found, &profile, &built_on)) &&
        found)
        answered(pack, source->profiles(source->context, profile, 1, take_profile, &seen));
    answered(pack, source->profiles(source->context, 0, 64, take_profile, &seen));
    must(seen <= 65 && seen <= source->profile_limit + UINT64_C(1), "there are no more profiles than there are");
    answered(pack, source->dealer(source->context, TEXT("D1"), take_dealer, NULL));
    answered(pack, source->shipments(source->context, TEXT("D1"), take_shipment, NULL));
    answered(pack, source->approval(source->context, TEXT("A1"), take_approval, NULL));
}

static void ask_history(struct pack *pack)
{
    static const struct history_ask ASKS[] = {
        {ASK_CLAIM, TEXT("D1"), TEXT("C1"), TEXT(""), TEXT(""), TEXT(""), TEXT(""), DAY_NONE},
        {ASK_VEHICLE, TEXT(""), TEXT(""), TEXT("EZ7BAMCK6KE421481"), TEXT(""), TEXT(""), TEXT(""), DAY_NONE},
        {ASK_REPAIR_ORDER, TEXT("D1"), TEXT(""), TEXT(""), TEXT("R1"), TEXT(""), TEXT(""), DAY_NONE},
        {ASK_TECHNICIAN_DAY, TEXT("D1"), TEXT(""), TEXT(""), TEXT(""), TEXT("T1"), TEXT(""), TODAY},
        {ASK_KIT, TEXT("D1"), TEXT(""), TEXT(""), TEXT(""), TEXT(""), TEXT("K1"), DAY_NONE},
    };
    const struct history_source *source = pack_history(pack);
    struct history *history = NULL;

    must(history_new(rules, source, &history) == WM_OK, "there is memory");
    answered(pack, source->answer(source->context, history, ASKS, sizeof ASKS / sizeof *ASKS));
    history_free(history);
}

static void ask_completions(struct pack *pack)
{
    static const struct text VINS[] = {TEXT("EZ7BAMCK6KE421481"), TEXT("1"), TEXT("B2")};
    struct arena arena = ARENA_EMPTY;
    struct completion *list = NULL;
    uint32_t count = 0;

    for (size_t i = 0; i < sizeof VINS / sizeof *VINS; i++)
        if (answered(pack, pack_completions(pack, VINS[i], &arena, &list, &count)))
            for (uint32_t k = 0; k < count; k++) {
                touch(list[k].campaign);
                must(list[k].own || list[k].completed_on == DAY_NONE, "no day of others is told");
            }
    arena_free(&arena);
}

static void ask_all(struct pack *pack)
{
    struct diag_sink sink = looking_sink();
    const struct rules_files *files = pack_rules(pack);

    for (uint32_t i = 0; i < files->count; i++) {
        touch(files->files[i].path);
        touch(files->files[i].bytes);
    }
    ask_register(pack);
    ask_history(pack);
    ask_completions(pack);
    int status = pack_check_all(pack, &sink);
    must((status == WM_OK) == (sink.errors == 0), "what is not whole is reported");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    static const struct public_key ZEROS;
    static size_t whole; /* of the file, this one or the one before */
    struct input input = input_of(bytes, length);
    uint64_t how = input_choose(&input, 256);
    struct pack_trust trust = {&ZEROS, TODAY};
    struct diag_sink sink = looking_sink();
    struct pack *pack = NULL;
    const char *remembered = NULL;

    memset(image, 0, whole);
    signature_holds = how % 8 != 0;
    whole = how / 8 % 2 ? take_head(&input) : make_pack(&input, how / 16 % 4 != 0);
    must(ftruncate(descriptor, (off_t)whole) == 0 && pwrite(descriptor, image, whole, 0) == (ssize_t)whole,
         "there is memory");
    int status = pack_open(path, &trust, &sink, &pack);
    must(status == WM_OK || status == WM_BAD_INPUT || status == WM_IO, "only the pack is a reason");
    must((status == WM_OK) == (sink.errors == 0), "what is refused has an error, and what is not has none");
    must(signature_holds || status != WM_OK, "without a signature nothing is taken");
    if (status == WM_OK) {
        must(pack_remember_key(pack, &sink, &remembered) == WM_OK && remembered == NULL,
             "where a key is named none is remembered");
        ask_all(pack);
    }
    pack_close(pack);
    return 0;
}
