#include "pack/sealed.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/status.h"
#include "pack/bytes.h"

static const char MAGIC[] = "WITNESSMARK PACK";

enum {
    MAGIC_BYTES = sizeof MAGIC - 1,
    SIGNED_BYTES = PACK_HEAD_BYTES - crypto_sign_BYTES,
    FANOUT = PACK_BLOCK_BYTES / PACK_DIGEST_BYTES,
    MOST_LEVELS = 8,
    FLAG_CHECK_DIGITS = 1,
    FLAG_SOME_CAMPAIGNS = 2
};

/* --- The head ---------------------------------------------------------------------------------------- */

static void write_head(const struct pack_head *head, struct buffer *out)
{
    static const char zeros[SIGNED_BYTES];

    buffer_add(out, MAGIC, MAGIC_BYTES);
    put_4(out, PACK_VERSION);
    buffer_add(out, head->public_key, sizeof head->public_key);
    buffer_add(out, head->state, sizeof head->state);
    put_4(out, (uint32_t)head->made_on);
    put_4(out, (uint32_t)head->valid_to);
    put_4(out, head->lock.work_kib);
    buffer_add(out, head->lock.salt, sizeof head->lock.salt);
    buffer_add(out, head->own_nonce, sizeof head->own_nonce);
    put_4(out,
          (head->check_digits_hold ? FLAG_CHECK_DIGITS : 0) | (head->some_campaigns ? FLAG_SOME_CAMPAIGNS : 0));
    put_8(out, head->vehicles);
    put_text(out, head->dealer);
    for (int part = 0; part < PACK_PARTS; part++) {
        put_8(out, head->parts[part].first_block);
        put_8(out, head->parts[part].bytes);
    }
    put_8(out, head->data_blocks);
    buffer_add(out, head->root, sizeof head->root);
    buffer_add(out, zeros, SIGNED_BYTES - (out->length < SIGNED_BYTES ? out->length : SIGNED_BYTES));
}

static void take_array(struct byte_reader *reader, uint8_t *room, size_t length)
{
    const uint8_t *bytes = take_bytes(reader, length);

    if (bytes != NULL)
        memcpy(room, bytes, length);
}

static bool read_head(const uint8_t *bytes, struct pack_head *ret_head)
{
    struct byte_reader reader = {bytes + MAGIC_BYTES + 4, bytes + SIGNED_BYTES, false};
    struct pack_head head = {.vehicles = 0};

    take_array(&reader, head.public_key, sizeof head.public_key);
    take_array(&reader, head.state, sizeof head.state);
    head.made_on = (int32_t)take_4(&reader);
    head.valid_to = (int32_t)take_4(&reader);
    head.lock.work_kib = take_4(&reader);
    take_array(&reader, head.lock.salt, sizeof head.lock.salt);
    take_array(&reader, head.own_nonce, sizeof head.own_nonce);
    uint32_t flags = take_4(&reader);
    head.check_digits_hold = flags & FLAG_CHECK_DIGITS;
    head.some_campaigns = flags & FLAG_SOME_CAMPAIGNS;
    head.vehicles = take_8(&reader);
    head.dealer = take_text(&reader);
    for (int part = 0; part < PACK_PARTS; part++) {
        head.parts[part].first_block = take_8(&reader);
        head.parts[part].bytes = take_8(&reader);
    }
    head.data_blocks = take_8(&reader);
    take_array(&reader, head.root, sizeof head.root);
    *ret_head = head;
    return !reader.failed && date_is_day(head.made_on) && date_is_day(head.valid_to) &&
           head.lock.work_kib >= LOCK_WORK_LEAST && head.lock.work_kib <= LOCK_WORK_MOST;
}

static uint64_t blocks_of(uint64_t bytes)
{
    return bytes / PACK_BLOCK_BYTES + (bytes % PACK_BLOCK_BYTES != 0);
}

/* Whether each part lies within the data. */
static bool parts_fit(const struct pack_head *head)
{
    for (int part = 0; part < PACK_PARTS; part++)
        if (head->parts[part].first_block > head->data_blocks ||
            blocks_of(head->parts[part].bytes) > head->data_blocks - head->parts[part].first_block)
            return false;
    return head->data_blocks < UINT64_C(1) << 40;
}

/* --- The tree ---------------------------------------------------------------------------------------- */

/* Where the blocks of each level begin; level 0 is the data, the last level is one block. */
struct tree {
    uint64_t first[MOST_LEVELS + 1];
    uint64_t count[MOST_LEVELS];
    int levels;
};

static struct tree tree_over(uint64_t data_blocks)
{
    struct tree tree = {.levels = 1, .count = {data_blocks}};

    tree.first[1] = data_blocks;
    while (tree.levels < MOST_LEVELS && (tree.levels == 1 || tree.count[tree.levels - 1] > 1)) {
        uint64_t below = tree.count[tree.levels - 1];
        tree.count[tree.levels] = below / FANOUT + (below % FANOUT != 0 || below == 0);
        tree.first[tree.levels + 1] = tree.first[tree.levels] + tree.count[tree.levels];
        tree.levels++;
    }
    return tree;
}

static void digest_block(const uint8_t *block, uint8_t ret_digest[PACK_DIGEST_BYTES])
{
    crypto_generichash(ret_digest, PACK_DIGEST_BYTES, block, PACK_BLOCK_BYTES, NULL, 0);
}

/* --- Writing ----------------------------------------------------------------------------------------- */

static void fill_block(struct buffer *data)
{
    size_t over = data->length % PACK_BLOCK_BYTES, missing = over > 0 ? PACK_BLOCK_BYTES - over : 0;
    char *room = missing > 0 ? buffer_room(data, missing) : NULL;

    if (room != NULL) {
        memset(room, 0, missing);
        data->length += missing;
    }
}

void pack_draft_add(struct pack_draft *draft, enum pack_part part, struct text bytes)
{
    draft->head.parts[part].first_block = draft->data.length / PACK_BLOCK_BYTES;
    draft->head.parts[part].bytes = bytes.length;
    buffer_add_text(&draft->data, bytes);
    fill_block(&draft->data);
}

/* Adds the digests of the blocks of one level, as blocks. */
static void add_level(struct buffer *tree, const uint8_t *blocks, uint64_t count)
{
    for (uint64_t i = 0; i < count; i++) {
        uint8_t digest[PACK_DIGEST_BYTES];
        digest_block(blocks + i * PACK_BLOCK_BYTES, digest);
        buffer_add(tree, digest, sizeof digest);
    }
    fill_block(tree);
}

/* All levels above the data, and the root. */
static int grow_tree(const struct buffer *data, struct buffer *ret_tree, uint8_t root[PACK_DIGEST_BYTES])
{
    struct tree shape = tree_over(data->length / PACK_BLOCK_BYTES);

    if (buffer_room(ret_tree, (shape.first[shape.levels] - shape.count[0]) * PACK_BLOCK_BYTES) == NULL)
        return WM_NO_MEMORY;
    for (int level = 1; level < shape.levels; level++) {
        /* room for all levels is there, so that the level below does not move */
        const uint8_t *below = level == 1 ? (const uint8_t *)data->bytes
                                          : (const uint8_t *)ret_tree->bytes +
                                                (shape.first[level - 1] - shape.count[0]) * PACK_BLOCK_BYTES;
        add_level(ret_tree, below, shape.count[level - 1]);
    }
    assert(!ret_tree->failed);
    digest_block((const uint8_t *)ret_tree->bytes + ret_tree->length - PACK_BLOCK_BYTES, root);
    return WM_OK;
}

int pack_draft_seal(struct pack_draft *draft, const struct secret_key *key, struct output *output)
{
    struct buffer tree = BUFFER_EMPTY, head = BUFFER_EMPTY;
    struct public_key public = secret_key_public(key);
    uint8_t signature[crypto_sign_BYTES];
    int status = WM_OK;

    fill_block(&draft->data);
    if (draft->data.failed)
        return WM_NO_MEMORY;
    assert(draft->data.length > 0); /* each part begins with how much it holds */
    draft->head.data_blocks = draft->data.length / PACK_BLOCK_BYTES;
    memcpy(draft->head.public_key, public.bytes, sizeof public.bytes);
    status = grow_tree(&draft->data, &tree, draft->head.root);
    write_head(&draft->head, &head);
    if (status == WM_OK && head.failed)
        status = WM_NO_MEMORY;
    if (status == WM_OK) {
        crypto_sign_detached(signature, NULL, (const uint8_t *)head.bytes, SIGNED_BYTES, key->bytes);
        output_add(output, head.bytes, SIGNED_BYTES);
        output_add(output, signature, sizeof signature);
        output_add(output, draft->data.bytes, draft->data.length);
        output_add(output, tree.bytes, tree.length);
    }
    buffer_free(&tree);
    buffer_free(&head);
    return status;
}

void pack_draft_free(struct pack_draft *draft)
{
    buffer_free(&draft->data);
}

/* --- Reading ----------------------------------------------------------------------------------------- */

/* Blocks that were read and checked lie in slots, by their number; a later one takes an earlier one's place. */
enum { MOST_SLOTS = 512 };

struct slot {
    uint64_t block; /* number + 1; 0: empty */
    uint8_t bytes[PACK_BLOCK_BYTES];
};

struct sealed {
    int descriptor;
    char *path;
    uint8_t head_bytes[PACK_HEAD_BYTES];
    struct pack_head head;
    struct tree tree;
    struct slot *slots, *tree_slots; /* of data, and of the tree */
    uint64_t slot_count, tree_slot_count;
    char error[4096 + 256];
};

static int failed(struct sealed *sealed, const char *words)
{
    snprintf(sealed->error, sizeof sealed->error, "%s: %s", sealed->path, words);
    return WM_IO;
}

static int changed(struct sealed *sealed)
{
    return failed(sealed,
                  "this pack was changed after the office signed it; do not use it, ask the office for it "
                  "again");
}

/* Reads exactly so many bytes. */
static bool read_at(int descriptor, uint8_t *room, size_t length, uint64_t offset)
{
    return descriptor_read_at(descriptor, room, length, offset) == (ssize_t)length;
}

static int checked_block(struct sealed *sealed, int level, uint64_t number, const uint8_t **ret_bytes);

/* The digest that the tree has for a block. */
static int digest_of(struct sealed *sealed, int level, uint64_t number, uint8_t ret_digest[PACK_DIGEST_BYTES])
{
    const uint8_t *above;

    if (level == sealed->tree.levels - 1) {
        memcpy(ret_digest, sealed->head.root, PACK_DIGEST_BYTES);
        return WM_OK;
    }
    int status = checked_block(sealed, level + 1, number / FANOUT, &above);
    if (status == WM_OK)
        memcpy(ret_digest, above + number % FANOUT * PACK_DIGEST_BYTES, PACK_DIGEST_BYTES);
    return status;
}

/* Recurses at most as deep as the tree is high. */
static int checked_block(struct sealed *sealed, int level, uint64_t number, const uint8_t **ret_bytes)
{
    uint64_t block = (level == 0 ? 0 : sealed->tree.first[level]) + number;
    struct slot *slot = level == 0 ? &sealed->slots[block % sealed->slot_count]
                                   : &sealed->tree_slots[block % sealed->tree_slot_count];
    uint8_t wanted[PACK_DIGEST_BYTES], is[PACK_DIGEST_BYTES];

    if (slot->block == block + 1) {
        *ret_bytes = slot->bytes;
        return WM_OK;
    }
    int status = digest_of(sealed, level, number, wanted);
    if (status != WM_OK)
        return status;
    slot->block = 0;
    if (!read_at(sealed->descriptor, slot->bytes, PACK_BLOCK_BYTES, PACK_HEAD_BYTES + block * PACK_BLOCK_BYTES))
        return failed(sealed, "cannot read the pack; copy it anew from where the office put it");
    digest_block(slot->bytes, is);
    if (sodium_memcmp(is, wanted, sizeof is) != 0)
        return changed(sealed);
    slot->block = block + 1;
    *ret_bytes = slot->bytes;
    return WM_OK;
}

int sealed_block(struct sealed *sealed, enum pack_part part, uint64_t block, const uint8_t **ret_bytes)
{
    if (block >= blocks_of(sealed->head.parts[part].bytes))
        return failed(sealed, "the pack does not fit together; ask the office for it again");
    return checked_block(sealed, 0, sealed->head.parts[part].first_block + block, ret_bytes);
}

int sealed_part(struct sealed *sealed, enum pack_part part, struct buffer *out)
{
    uint64_t left = sealed->head.parts[part].bytes;
    const uint8_t *bytes;
    int status = WM_OK;

    for (uint64_t block = 0; status == WM_OK && left > 0; block++) {
        size_t length = left < PACK_BLOCK_BYTES ? (size_t)left : PACK_BLOCK_BYTES;
        status = sealed_block(sealed, part, block, &bytes);
        if (status == WM_OK)
            buffer_add(out, bytes, length);
        left -= length;
    }
    return status == WM_OK && out->failed ? WM_NO_MEMORY : status;
}

int sealed_check(struct sealed *sealed)
{
    const uint8_t *bytes;
    int status = WM_OK;

    for (int level = sealed->tree.levels - 1; status == WM_OK && level >= 0; level--)
        for (uint64_t i = 0; status == WM_OK && i < sealed->tree.count[level]; i++)
            status = checked_block(sealed, level, i, &bytes);
    return status;
}

/* --- Opening ----------------------------------------------------------------------------------------- */

static bool signature_holds(const struct sealed *sealed)
{
    return crypto_sign_verify_detached(sealed->head_bytes + SIGNED_BYTES, sealed->head_bytes, SIGNED_BYTES,
                                       sealed->head.public_key) == 0;
}

/* A small pack needs no more slots than it has blocks. */
static int make_slots(struct sealed *sealed)
{
    uint64_t data = sealed->tree.count[0], above = sealed->tree.first[sealed->tree.levels] - data;

    sealed->slot_count = data < MOST_SLOTS ? data + (data == 0) : MOST_SLOTS;
    sealed->tree_slot_count = above < MOST_SLOTS ? above : MOST_SLOTS;
    sealed->slots = calloc(sealed->slot_count, sizeof *sealed->slots);
    sealed->tree_slots = calloc(sealed->tree_slot_count, sizeof *sealed->tree_slots);
    return sealed->slots != NULL && sealed->tree_slots != NULL ? WM_OK : WM_NO_MEMORY;
}

/* What is read before the signature is checked decides nothing but where the key and the signature stand. */
static int check_head(struct sealed *sealed, uint64_t bytes)
{
    if (bytes < PACK_HEAD_BYTES || memcmp(sealed->head_bytes, MAGIC, MAGIC_BYTES) != 0)
        return failed(sealed, "this is no pack; name the file that the office sent");
    struct byte_reader reader = {sealed->head_bytes + MAGIC_BYTES, sealed->head_bytes + MAGIC_BYTES + 4, false};
    bool whole = read_head(sealed->head_bytes, &sealed->head);
    if (!signature_holds(sealed))
        return changed(sealed);
    if (take_4(&reader) != PACK_VERSION)
        return failed(sealed,
                      "this pack is of another version of the program; use the program that belongs to it");
    if (!whole || !parts_fit(&sealed->head))
        return failed(sealed, "the pack does not fit together; ask the office for it again");
    sealed->tree = tree_over(sealed->head.data_blocks);
    uint64_t blocks = sealed->tree.first[sealed->tree.levels];
    if (bytes != PACK_HEAD_BYTES + blocks * PACK_BLOCK_BYTES)
        return failed(sealed, "the pack is not whole: its length is not what the office signed; copy it anew");
    int status = make_slots(sealed);
    return status == WM_OK && bytes <= SEALED_CHECK_WHOLE ? sealed_check(sealed) : status;
}

static int open_file(struct sealed *sealed)
{
    struct stat about;

    sealed->descriptor = open(sealed->path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (sealed->descriptor < 0 || fstat(sealed->descriptor, &about) != 0) {
        snprintf(sealed->error, sizeof sealed->error, "%s: cannot open the pack: %s", sealed->path,
                 strerror(errno));
        return WM_IO;
    }
    if (!S_ISREG(about.st_mode))
        return failed(sealed, "this is no regular file; name the pack");
    read_at(sealed->descriptor, sealed->head_bytes, PACK_HEAD_BYTES, 0);
    return check_head(sealed, (uint64_t)about.st_size);
}

int sealed_open(const char *path, struct diag_sink *sink, struct sealed **ret_sealed)
{
    struct sealed *sealed = calloc(1, sizeof *sealed);

    if (sealed == NULL || sodium_init() < 0) {
        free(sealed);
        return WM_NO_MEMORY;
    }
    sealed->descriptor = -1;
    sealed->path = strdup(path);
    int status = sealed->path != NULL ? open_file(sealed) : WM_NO_MEMORY;
    if (status == WM_OK) {
        *ret_sealed = sealed;
        return WM_OK;
    }
    if (status != WM_NO_MEMORY)
        diag_error(sink, (struct place){{NULL, 0}, 0, 0}, "%s", sealed->error);
    sealed_close(sealed);
    return status;
}

void sealed_close(struct sealed *sealed)
{
    if (sealed == NULL)
        return;
    if (sealed->descriptor >= 0)
        close(sealed->descriptor);
    free(sealed->path);
    free(sealed->slots);
    free(sealed->tree_slots);
    free(sealed);
}

const struct pack_head *sealed_head(const struct sealed *sealed)
{
    return &sealed->head;
}

const char *sealed_path(const struct sealed *sealed)
{
    return sealed->path;
}

struct text sealed_error(const struct sealed *sealed)
{
    return text_of(sealed->error);
}
