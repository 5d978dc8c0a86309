#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/status.h"

enum { READ_STEP = 64 * 1024, FLUSH_AT = 1024 * 1024 };

static struct place place_of(const char *path)
{
    return (struct place){text_of(path), 0, 0};
}

static int read_all(int descriptor, const char *path, size_t most_bytes, struct buffer *out, struct diag_sink *sink)
{
    size_t start = out->length;

    for (;;) {
        char *room = buffer_room(out, READ_STEP);
        if (room == NULL)
            return WM_NO_MEMORY;
        ssize_t got = descriptor_read(descriptor, room, READ_STEP);
        if (got < 0) {
            diag_error(sink, place_of(path), "cannot read: %s", strerror(errno));
            return WM_IO;
        }
        if (got == 0)
            return WM_OK;
        out->length += (size_t)got;
        if (out->length - start > most_bytes) {
            diag_error(sink, place_of(path), "the file is larger than %zu MiB; is it the right one?",
                       most_bytes / (1024 * 1024));
            return WM_LIMIT;
        }
    }
}

int file_read(const char *path, size_t most_bytes, struct buffer *out, struct diag_sink *sink)
{
    struct stat about = {0};
    int descriptor = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);

    if (descriptor < 0) {
        diag_error(sink, place_of(path), "cannot open: %s", strerror(errno));
        return WM_IO;
    }
    int status = WM_IO;
    (void)fstat(descriptor, &about); /* where it fails it is no regular file */
    if (S_ISDIR(about.st_mode))
        diag_error(sink, place_of(path), "this is a folder; name a file");
    else if (!S_ISREG(about.st_mode))
        diag_error(sink, place_of(path), "this is not a regular file; name a file");
    else
        status = read_all(descriptor, path, most_bytes, out, sink);
    close(descriptor);
    return status;
}

/* A read that a signal interrupted is done again. */
static ssize_t read_some(int descriptor, void *room, size_t most, const uint64_t *offset)
{
    ssize_t got;

    do
        got = offset != NULL ? pread(descriptor, room, most, (off_t)*offset) : read(descriptor, room, most);
    while (got < 0 && errno == EINTR);
    return got;
}

/* offset NULL: from where the file stands. */
static ssize_t read_up_to(int descriptor, char *room, size_t most, uint64_t *offset)
{
    size_t length = 0;

    while (length < most) {
        ssize_t got = read_some(descriptor, room + length, most - length, offset);
        if (got < 0)
            return -1;
        if (got == 0)
            break;
        length += (size_t)got;
        if (offset != NULL)
            *offset += (uint64_t)got;
    }
    return (ssize_t)length;
}

ssize_t descriptor_read(int descriptor, void *room, size_t most)
{
    return read_up_to(descriptor, room, most, NULL);
}

ssize_t descriptor_read_at(int descriptor, void *room, size_t most, uint64_t offset)
{
    return read_up_to(descriptor, room, most, &offset);
}

bool descriptor_write(int descriptor, const void *bytes, size_t length)
{
    const char *at = bytes;

    while (length > 0) {
        ssize_t done = write(descriptor, at, length);
        if (done < 0 && errno == EINTR)
            continue;
        if (done < 0)
            return false;
        at += done;
        length -= (size_t)done;
    }
    return true;
}

/* A device or a pipe is written to as it is: a file renamed over it would take its place. */
static bool is_special(const struct stat *about)
{
    return !S_ISREG(about->st_mode) && !S_ISDIR(about->st_mode);
}

/* Opens the file under its temporary name, or the special file itself. */
static int open_named(struct output *output, const char *path)
{
    size_t length = strlen(path) + 32;
    struct stat about;
    bool exists = stat(path, &about) == 0;

    if (!exists && errno != ENOENT)
        return WM_IO; /* what it is cannot be told: it stays */
    output->path = strdup(path);
    if (output->path == NULL)
        return WM_NO_MEMORY;
    if (exists && is_special(&about)) {
        output->descriptor = open(path, O_WRONLY | O_CLOEXEC);
        return output->descriptor < 0 ? WM_IO : WM_OK;
    }
    output->temporary = malloc(length);
    if (output->temporary == NULL)
        return WM_NO_MEMORY;
    snprintf(output->temporary, length, "%s.%ld.part", path, (long)getpid());
    output->descriptor = open(output->temporary, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
    return output->descriptor < 0 ? WM_IO : WM_OK;
}

int output_open(struct output *ret_output, const char *path, struct diag_sink *sink)
{
    struct output output = {.descriptor = STDOUT_FILENO};
    int status = path != NULL ? open_named(&output, path) : WM_OK;

    if (status != WM_OK)
        diag_error(sink, place_of(path), "cannot write: %s",
                   status == WM_NO_MEMORY ? "out of memory" : strerror(errno));
    if (status != WM_OK) {
        free(output.path);
        free(output.temporary);
        return status;
    }
    *ret_output = output;
    return WM_OK;
}

static void write_out(struct output *output, const char *bytes, size_t length)
{
    while (length > 0 && output->error == 0) {
        ssize_t done = write(output->descriptor, bytes, length);
        if (done < 0 && errno == EINTR)
            continue;
        if (done < 0) {
            output->error = errno;
            return;
        }
        bytes += done;
        length -= (size_t)done;
        output->written += (uint64_t)done;
    }
}

static void flush(struct output *output)
{
    write_out(output, output->buffer.bytes, output->buffer.length);
    output->buffer.length = 0;
}

void output_add(struct output *output, const void *bytes, size_t length)
{
    if (length >= FLUSH_AT) {
        flush(output);
        write_out(output, bytes, length);
        return;
    }
    buffer_add(&output->buffer, bytes, length);
    if (output->buffer.failed && output->error == 0)
        output->error = ENOMEM;
    if (output->buffer.length >= FLUSH_AT)
        flush(output);
}

static int report_failure(const struct output *output, struct diag_sink *sink)
{
    diag_error(sink, place_of(output->path ? output->path : "standard output"), "cannot write: %s",
               strerror(output->error));
    return WM_IO;
}

int output_settle(struct output *output, struct diag_sink *sink, uint64_t *ret_bytes)
{
    flush(output);
    if (output->error != 0)
        return report_failure(output, sink);
    *ret_bytes = output->written;
    return WM_OK;
}

void output_cut(struct output *output, uint64_t bytes)
{
    output->buffer.length = 0;
    if (output->temporary == NULL || output->written == bytes)
        return;
    if (ftruncate(output->descriptor, (off_t)bytes) != 0 || lseek(output->descriptor, (off_t)bytes, SEEK_SET) < 0)
        output->error = output->error ? output->error : errno;
    output->written = bytes;
}

static void output_release(struct output *output)
{
    buffer_free(&output->buffer);
    free(output->path);
    free(output->temporary);
    *output = (struct output){.descriptor = -1};
}

int output_close(struct output *output, struct diag_sink *sink)
{
    struct place where = place_of(output->path ? output->path : "standard output");

    flush(output);
    if (output->path != NULL) {
        bool closed = close(output->descriptor) == 0;
        if (output->error == 0 &&
            (!closed || (output->temporary != NULL && rename(output->temporary, output->path) != 0)))
            output->error = errno;
        if (output->temporary != NULL && output->error != 0)
            unlink(output->temporary);
    }
    int error = output->error;
    if (error != 0)
        diag_error(sink, where, "cannot write: %s", strerror(error));
    output_release(output);
    return error != 0 ? WM_IO : WM_OK;
}

void output_drop(struct output *output)
{
    if (output->path != NULL) {
        close(output->descriptor);
        if (output->temporary != NULL)
            unlink(output->temporary);
    }
    output_release(output);
}
