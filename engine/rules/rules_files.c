#include "rules/rules_files.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/limits.h"
#include "base/status.h"

struct folder_reading {
    struct text root;
    struct arena *arena;
    struct diag_sink *sink;
    struct rules_file *files;
    uint32_t count, capacity;
};

static int add_file(struct folder_reading *reading, struct text relative, struct text full)
{
    struct buffer bytes = BUFFER_EMPTY;

    if (reading->count == LIMIT_RULES_FILES) {
        diag_error(reading->sink, (struct place){reading->root, 0, 0},
                   "the rules folder holds more than %d files; is it the right folder?", LIMIT_RULES_FILES);
        return WM_LIMIT;
    }
    if (reading->count == reading->capacity) {
        uint32_t capacity = reading->capacity ? reading->capacity * 2 : 32;
        struct rules_file *grown = arena_grown(reading->arena, reading->files, reading->count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        reading->files = grown;
        reading->capacity = capacity;
    }
    int status = file_read(full.bytes, LIMIT_RULES_FILE_BYTES, &bytes, reading->sink);
    if (status == WM_OK) {
        struct rules_file file = {text_copy(reading->arena, relative), text_copy(reading->arena, buffer_text(&bytes))};
        status = file.path.bytes == NULL || file.bytes.bytes == NULL ? WM_NO_MEMORY : WM_OK;
        reading->files[reading->count++] = file;
    }
    buffer_free(&bytes);
    return status;
}

static int read_folder(struct folder_reading *reading, struct text relative, int depth);

static int read_entry(struct folder_reading *reading, struct text relative, const char *name, int depth)
{
    struct text path = relative.length == 0
                           ? text_copy(reading->arena, text_of(name))
                           : text_format(reading->arena, "%.*s/%s", TEXT_ARGUMENTS(relative), name);
    struct text full = text_format(reading->arena, "%.*s/%.*s", TEXT_ARGUMENTS(reading->root), TEXT_ARGUMENTS(path));
    struct stat about;

    if (path.bytes == NULL || full.bytes == NULL)
        return WM_NO_MEMORY;
    if (lstat(full.bytes, &about) != 0) {
        diag_error(reading->sink, (struct place){full, 0, 0}, "cannot read: %s", strerror(errno));
        return WM_IO;
    }
    if (S_ISLNK(about.st_mode) && text_ends_with(path, TEXT(".csv"))) {
        diag_error(reading->sink, (struct place){full, 0, 0},
                   "this is a link; put the file itself into the rules folder");
        return WM_BAD_INPUT;
    }
    bool is_message = text_starts_with(path, TEXT("messages/"));
    bool wanted_folder = depth == 0 ? strcmp(name, "checks") == 0 || strcmp(name, "campaigns") == 0 ||
                                          strcmp(name, "messages") == 0
                                    : depth == 1 && !is_message;
    if (S_ISDIR(about.st_mode) && wanted_folder)
        return read_folder(reading, path, depth + 1);
    bool wanted_file = text_ends_with(path, TEXT(".csv")) && (depth != 1 || is_message);
    if (S_ISREG(about.st_mode) && wanted_file)
        return add_file(reading, path, full);
    return WM_OK;
}

static int read_folder(struct folder_reading *reading, struct text relative, int depth)
{
    struct text full = text_format(reading->arena, "%.*s%s%.*s", TEXT_ARGUMENTS(reading->root),
                                   relative.length ? "/" : "", TEXT_ARGUMENTS(relative));
    int status = WM_OK;

    if (full.bytes == NULL)
        return WM_NO_MEMORY;
    DIR *folder = opendir(full.bytes);
    if (folder == NULL) {
        diag_error(reading->sink, (struct place){full, 0, 0}, "cannot read the rules folder: %s", strerror(errno));
        return WM_IO;
    }
    for (struct dirent *entry; (entry = readdir(folder)) != NULL;) {
        if (entry->d_name[0] == '.')
            continue;
        int failed = read_entry(reading, relative, entry->d_name, depth);
        if (status == WM_OK)
            status = failed;
        if (failed == WM_NO_MEMORY || failed == WM_LIMIT)
            break;
    }
    closedir(folder);
    return status;
}

static int by_path(const void *a, const void *b)
{
    const struct rules_file *x = a, *y = b;
    return text_compare(x->path, y->path);
}

int rules_files_read(const char *folder, struct arena *arena, struct diag_sink *sink, struct rules_files *ret_files)
{
    struct folder_reading reading = {.arena = arena, .sink = sink};

    reading.root = text_copy(arena, text_of(folder));
    if (reading.root.bytes == NULL)
        return WM_NO_MEMORY;
    while (reading.root.length > 1 && reading.root.bytes[reading.root.length - 1] == '/')
        reading.root.length--;
    int status = read_folder(&reading, (struct text){"", 0}, 0);
    if (status != WM_OK)
        return status;
    if (reading.count > 0)
        qsort(reading.files, reading.count, sizeof *reading.files, by_path);
    *ret_files = (struct rules_files){reading.root, reading.files, reading.count};
    return WM_OK;
}

const struct rules_file *rules_files_find(const struct rules_files *files, struct text path)
{
    for (uint32_t i = 0; i < files->count; i++)
        if (text_equal(files->files[i].path, path))
            return &files->files[i];
    return NULL;
}
