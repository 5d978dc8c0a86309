#include "cli/replies.h"

#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/chunks.h"
#include "base/file.h"
#include "base/shown.h"
#include "base/status.h"
#include "base/text_index.h"
#include "cli/write_claims.h"
#include "cli/write_replies.h"

/* Longer names are cut and told apart by a hash: file systems take 255 bytes. */
enum { NAME_BYTES = 160, NAME_HASH_BYTES = 8 };

struct reply {
    struct text name; /* of the file, ended by NUL */
    struct text temporary;
    struct buffer words;
    size_t published; /* how much of words is */
    bool touched, staged;
};

struct replies {
    int folder; /* descriptor */
    const char *folder_name;
    enum format format;
    struct diag_sink *sink;
    struct arena arena;
    struct text_index index; /* dealer to number */
    struct chunks list;
    uint32_t *touched; /* malloc'd */
    uint32_t touched_count, touched_capacity;
};

static int report_to(struct diag_sink *sink, const struct replies *replies, const char *name, const char *what)
{
    char path[1024];

    snprintf(path, sizeof path, "%s%s%s", replies->folder_name, name != NULL ? "/" : "",
             name != NULL ? name : "");
    diag_error(sink, (struct place){text_of(path), 0, 0}, "%s: %s", what, strerror(errno));
    return WM_IO;
}

static int report(const struct replies *replies, const char *name, const char *what)
{
    return report_to(replies->sink, replies, name, what);
}

int replies_open(const char *folder, enum format format, struct diag_sink *sink, struct replies **ret_replies)
{
    struct replies *replies = calloc(1, sizeof *replies);

    if (replies == NULL)
        return WM_NO_MEMORY;
    replies->folder_name = folder;
    replies->format = format;
    replies->sink = sink;
    replies->list = CHUNKS_OF(struct reply);
    replies->folder = -1;
    int made = mkdir(folder, 0777);
    if (made == 0 || errno == EEXIST)
        replies->folder = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (replies->folder < 0) {
        int status = report(replies, NULL, "the folder for replies cannot be used");
        replies_close(replies);
        return status;
    }
    *ret_replies = replies;
    return WM_OK;
}

static struct reply *reply_at(const struct replies *replies, uint32_t number)
{
    return chunks_at(&replies->list, number);
}

static void drop_staged(struct replies *replies)
{
    for (uint32_t i = 0; i < replies->touched_count; i++) {
        struct reply *reply = reply_at(replies, replies->touched[i]);
        if (reply->staged)
            unlinkat(replies->folder, reply->temporary.bytes, 0);
        reply->staged = false;
    }
}

void replies_close(struct replies *replies)
{
    if (replies == NULL)
        return;
    drop_staged(replies);
    for (uint32_t i = 0; i < replies->list.count; i++)
        buffer_free(&reply_at(replies, i)->words);
    if (replies->folder >= 0)
        close(replies->folder);
    text_index_free(&replies->index);
    chunks_free(&replies->list);
    free(replies->touched);
    arena_free(&replies->arena);
    free(replies);
}

/* --- Names of files ---------------------------------------------------------------------------------- */

static bool is_plain(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '.' || c == '_' ||
           c == '-';
}

static void add_hash(struct buffer *name, struct text dealer)
{
    uint8_t digest[crypto_generichash_BYTES];

    crypto_generichash(digest, sizeof digest, (const unsigned char *)dealer.bytes, dealer.length, NULL, 0);
    buffer_add_byte(name, '%');
    for (int i = 0; i < NAME_HASH_BYTES; i++)
        buffer_format(name, "%02x", digest[i]);
}

/* A leading point is written as %2E too: such files are hidden, and "." and ".." are none. */
void replies_add_file_name(struct buffer *name, struct text dealer)
{
    for (size_t i = 0; i < dealer.length; i++) {
        if (name->length > NAME_BYTES) {
            add_hash(name, dealer);
            return;
        }
        if (is_plain(dealer.bytes[i]) && (i > 0 || dealer.bytes[i] != '.'))
            buffer_add_byte(name, dealer.bytes[i]);
        else
            buffer_format(name, "%%%02X", (unsigned char)dealer.bytes[i]);
    }
}

static int name_reply(struct replies *replies, struct text dealer, struct reply *reply)
{
    static const char *const ENDINGS[] = {".txt", ".csv", ".json"};
    struct buffer name = BUFFER_EMPTY;

    replies_add_file_name(&name, dealer);
    buffer_add_string(&name, ENDINGS[replies->format]);
    reply->name = text_copy(&replies->arena, buffer_text(&name));
    reply->temporary =
        text_format(&replies->arena, ".%.*s.%ld.part", TEXT_ARGUMENTS(buffer_text(&name)), (long)getpid());
    bool failed = name.failed || reply->name.bytes == NULL || reply->temporary.bytes == NULL;
    buffer_free(&name);
    return failed ? WM_NO_MEMORY : WM_OK;
}

/* --- Words ------------------------------------------------------------------------------------------- */

static void write_begin(const struct replies *replies, struct text dealer, struct buffer *words)
{
    if (replies->format == FORMAT_CSV)
        write_reply_header(words);
    else if (replies->format == FORMAT_TEXT)
        buffer_say(words, "Claims of dealer %.*s\n\n", TEXT_ARGUMENTS(dealer));
}

static struct reply *find_reply(struct replies *replies, struct text dealer, uint32_t *ret_number)
{
    uint32_t number = text_index_find(&replies->index, dealer);

    if (number == TEXT_INDEX_NONE) {
        struct text copy = text_copy(&replies->arena, dealer);
        struct reply *reply = copy.bytes != NULL ? chunks_add(&replies->list) : NULL;
        if (reply == NULL || name_reply(replies, dealer, reply) != WM_OK)
            return NULL;
        number = text_index_add(&replies->index, copy, replies->list.count - 1);
        if (number == TEXT_INDEX_NONE)
            return NULL;
        write_begin(replies, dealer, &reply->words);
    }
    *ret_number = number;
    return reply_at(replies, number);
}

static int touch(struct replies *replies, uint32_t number)
{
    struct reply *reply = reply_at(replies, number);

    if (reply->touched)
        return WM_OK;
    if (replies->touched_count == replies->touched_capacity) {
        uint32_t capacity = replies->touched_capacity ? replies->touched_capacity * 2 : 256;
        uint32_t *grown = realloc(replies->touched, capacity * sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        replies->touched = grown;
        replies->touched_capacity = capacity;
    }
    reply->touched = true;
    replies->touched[replies->touched_count++] = number;
    return WM_OK;
}

int replies_add(struct replies *replies, const struct dossier *dossier)
{
    struct text dealer = dossier->claim.cells[COLUMN_DEALER];
    uint32_t number = 0;
    int status = WM_OK;

    if (dealer.length == 0)
        return WM_OK;
    struct reply *reply = find_reply(replies, dealer, &number);
    if (reply == NULL || touch(replies, number) != WM_OK)
        return WM_NO_MEMORY;
    if (replies->format == FORMAT_CSV)
        write_reply_rows(&reply->words, dossier);
    else if (replies->format == FORMAT_JSON)
        status = write_claim_json(&reply->words, (struct text){NULL, 0}, dossier);
    else
        write_reply_text(&reply->words, dossier);
    return reply->words.failed ? WM_NO_MEMORY : status;
}

/* --- Files ------------------------------------------------------------------------------------------- */

static int stage(struct replies *replies, struct reply *reply)
{
    int descriptor = openat(replies->folder, reply->temporary.bytes,
                            O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);

    if (descriptor < 0)
        return report(replies, reply->name.bytes, "cannot write");
    reply->staged = true;
    bool written = descriptor_write(descriptor, reply->words.bytes, reply->words.length);
    int failure = errno;
    if (close(descriptor) == 0 && written)
        return WM_OK;
    errno = written ? errno : failure;
    return report(replies, reply->name.bytes, "cannot write");
}

int replies_stage(struct replies *replies)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < replies->touched_count; i++)
        status = stage(replies, reply_at(replies, replies->touched[i]));
    return status;
}

int replies_publish(struct replies *replies, struct diag_sink *sink)
{
    int status = WM_OK;

    for (uint32_t i = 0; i < replies->touched_count; i++) {
        struct reply *reply = reply_at(replies, replies->touched[i]);
        if (renameat(replies->folder, reply->temporary.bytes, replies->folder, reply->name.bytes) == 0)
            reply->staged = false;
        else
            status = report_to(sink, replies, reply->name.bytes, "cannot write");
        reply->published = reply->words.length;
        reply->touched = false;
    }
    drop_staged(replies);
    replies->touched_count = 0;
    return status;
}

void replies_take_back(struct replies *replies)
{
    drop_staged(replies);
    for (uint32_t i = 0; i < replies->touched_count; i++) {
        struct reply *reply = reply_at(replies, replies->touched[i]);
        reply->words.length = reply->published;
        reply->touched = false;
    }
    replies->touched_count = 0;
}
