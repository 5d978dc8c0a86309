#include "ground.h"

#include <ctype.h>
#include <dirent.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *old_bytes; /* of the office */
static size_t old_length;
static char offices[1024];

static void must(bool holds, const char *what)
{
    if (holds)
        return;
    perror(what);
    _exit(2);
}

char *ground_read(const char *path, size_t *ret_length)
{
    struct stat about;
    int descriptor = open(path, O_RDONLY | O_CLOEXEC);

    if (descriptor < 0)
        return NULL;
    must(fstat(descriptor, &about) == 0, path);
    char *bytes = malloc((size_t)about.st_size + 1);
    must(bytes != NULL, "memory");
    size_t length = 0;
    for (ssize_t got = 1; got > 0 && length<(size_t)about.st_size; length += got> 0 ? (size_t)got : 0)
        got = read(descriptor, bytes + length, (size_t)about.st_size - length);
    close(descriptor);
    bytes[length] = '\0';
    if (ret_length != NULL)
        *ret_length = length;
    return bytes;
}

static void write_bytes(const char *path, const char *bytes, size_t length)
{
    int descriptor = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);

    must(descriptor >= 0, path);
    while (length > 0) {
        ssize_t done = write(descriptor, bytes, length);
        must(done > 0, path);
        bytes += done;
        length -= (size_t)done;
    }
    close(descriptor);
}

void ground_enter(const char *folder, int number)
{
    char command[4096];

    snprintf(offices, sizeof offices, "%s/offices", folder);
    snprintf(command, sizeof command,
             "rm -rf '%s/w%d' && cp -r '%s/input' '%s/w%d' && mkdir '%s/w%d/office' '%s/w%d/out'", folder,
             number, folder, folder, number, folder, number, folder, number);
    must(system(command) == 0, "the folder of a worker");
    snprintf(command, sizeof command, "%s/w%d", folder, number);
    must(chdir(command) == 0, command);
}

/* --- Going through a folder ------------------------------------------------------------------------------- */

static void each_file(const char *folder, void (*look)(void *context, const char *path), void *context,
                      bool folders)
{
    DIR *directory = opendir(folder);
    char path[1024];

    must(directory != NULL, folder);
    for (struct dirent *entry; (entry = readdir(directory)) != NULL;) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (entry->d_type != DT_DIR) {
            look(context, path);
            continue;
        }
        each_file(path, look, context, folders);
        if (folders)
            look(context, path);
    }
    closedir(directory);
}

static void take_away(void *context, const char *path)
{
    (void)context;
    must(remove(path) == 0, path);
}

/* The number of this process, or of one that it ran, stands between points: result.4711.part. */
static void name_without_number(const char *path, char *room, size_t size)
{
    size_t length = 0;

    for (const char *at = path; *at != '\0' && length + 4 < size;) {
        size_t digits = 0;
        while (at[0] == '.' && isdigit((unsigned char)at[1 + digits]))
            digits++;
        if (digits > 0 && at[1 + digits] == '.') {
            length += (size_t)snprintf(room + length, size - length, ".PID");
            at += 1 + digits;
        } else {
            room[length++] = *at++;
        }
    }
    room[length] = '\0';
}

static void add_file(void *context, const char *path)
{
    struct snapshot *snapshot = context;
    size_t length;
    char *bytes = ground_read(path, &length);

    must(bytes != NULL && snapshot->count < MOST_FILES, path);
    int at = snapshot->count++;
    char name[sizeof snapshot->files[0].name];
    name_without_number(path, name, sizeof name);
    for (; at > 0 && strcmp(snapshot->files[at - 1].name, name) > 0; at--)
        snapshot->files[at] = snapshot->files[at - 1];
    memset(&snapshot->files[at], 0, sizeof snapshot->files[at]);
    strcpy(snapshot->files[at].name, name);
    snapshot->files[at].bytes = (off_t)length;
    must(crypto_generichash(snapshot->files[at].digest, DIGEST_BYTES, (const unsigned char *)bytes, length,
                            NULL, 0) == 0,
         "digest");
    free(bytes);
}

void ground_look(const char *folder, struct snapshot *ret_snapshot)
{
    memset(ret_snapshot, 0, sizeof *ret_snapshot);
    each_file(folder, add_file, ret_snapshot, false);
}

bool snapshots_equal(const struct snapshot *one, const struct snapshot *other)
{
    return one->count == other->count &&
           memcmp(one->files, other->files, sizeof one->files[0] * (size_t)one->count) == 0;
}

bool snapshot_is_part_of(const struct snapshot *part, const struct snapshot *whole)
{
    for (int i = 0, j = 0; i < part->count; i++) {
        while (j < whole->count && memcmp(&part->files[i], &whole->files[j], sizeof part->files[0]) != 0)
            j++;
        if (j == whole->count)
            return false;
    }
    return true;
}

void snapshot_drop_parts(struct snapshot *snapshot)
{
    int kept = 0;

    for (int i = 0; i < snapshot->count; i++)
        if (strstr(snapshot->files[i].name, ".part") == NULL)
            snapshot->files[kept++] = snapshot->files[i];
    snapshot->count = kept;
}

/* --- The office ------------------------------------------------------------------------------------------- */

void ground_set_office(const char *name)
{
    char path[1200];

    free(old_bytes);
    old_bytes = NULL;
    if (name == NULL)
        return;
    snprintf(path, sizeof path, "%s/%s.db", offices, name);
    old_bytes = ground_read(path, &old_length);
    must(old_bytes != NULL, path);
}

static void count_file(void *context, const char *path)
{
    (void)path;
    ++*(int *)context;
}

/* An office that is the old one gets a time of long ago, so that the next look need not read it: whoever writes
 * to it changes the time. */
static const struct timespec LONG_AGO[2] = {{1, 0}, {1, 0}};

static void mark_as_old(void)
{
    must(utimensat(AT_FDCWD, "office/office.db", LONG_AGO, 0) == 0, "the time of the office");
}

static bool is_marked(void)
{
    struct stat about;
    return stat("office/office.db", &about) == 0 && (size_t)about.st_size == old_length &&
           about.st_mtim.tv_sec == LONG_AGO[1].tv_sec;
}

bool ground_office_is_old(void)
{
    int files = 0;

    each_file("office", count_file, &files, false);
    if (old_bytes == NULL)
        return files == 0;
    if (files == 1 && is_marked())
        return true;
    size_t length = 0;
    char *bytes = files == 1 ? ground_read("office/office.db", &length) : NULL;
    bool is = bytes != NULL && length == old_length && memcmp(bytes, old_bytes, length) == 0;
    free(bytes);
    if (is)
        mark_as_old();
    return is;
}

void ground_restore(void)
{
    each_file("out", take_away, NULL, true);
    if (ground_office_is_old())
        return;
    each_file("office", take_away, NULL, true);
    if (old_bytes == NULL)
        return;
    write_bytes("office/office.db", old_bytes, old_length);
    mark_as_old();
}
