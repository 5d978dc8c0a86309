#include "reports/folder.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/limits.h"
#include "base/status.h"
#include "reports/read_report.h"

enum { MOST_NAME_BYTES = 64, MOST_REPORTS = 1000 };

static bool is_report_name(struct text name)
{
    for (size_t i = 0; i < name.length; i++) {
        char c = name.bytes[i];
        if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' || c == '_'))
            return false;
    }
    return name.length > 0 && name.length <= MOST_NAME_BYTES;
}

/* `report list` and `report views` are commands. */
static bool is_taken(struct text name)
{
    return text_is(name, "list") || text_is(name, "views");
}

static const struct computed_report *find_computed(struct text name)
{
    for (size_t i = 0; COMPUTED_REPORTS[i] != NULL; i++)
        if (text_is(name, COMPUTED_REPORTS[i]->name))
            return COMPUTED_REPORTS[i];
    return NULL;
}

/* --- Names ----------------------------------------------------------------------------------------- */

struct names {
    struct arena *arena;
    struct text list[MOST_REPORTS];
    uint32_t count;
};

static int by_name(const void *a, const void *b)
{
    return text_compare(*(const struct text *)a, *(const struct text *)b);
}

static int add_name(struct names *names, struct text name)
{
    for (uint32_t i = 0; i < names->count; i++)
        if (text_equal(names->list[i], name))
            return WM_OK;
    if (names->count == MOST_REPORTS)
        return WM_LIMIT;
    names->list[names->count] = text_copy(names->arena, name);
    return names->list[names->count++].bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int add_files(struct names *names, const char *folder, struct diag_sink *sink)
{
    DIR *directory = opendir(folder);
    int status = WM_OK;

    if (directory == NULL) {
        diag_error(sink, (struct place){text_of(folder), 0, 0},
                   "the folder of reports cannot be read: %s; name another with --reports DIR",
                   strerror(errno));
        return WM_IO;
    }
    for (struct dirent *entry; status == WM_OK && (entry = readdir(directory)) != NULL;) {
        struct text name = text_of(entry->d_name);
        if (!text_ends_with(name, TEXT(".sql")))
            continue;
        name.length -= 4;
        if (is_taken(name))
            diag_warning(sink, (struct place){text_of(folder), 0, 0},
                         "\"%s\" cannot be run, since `report %.*s` is a command; give the file another name",
                         entry->d_name, TEXT_ARGUMENTS(name));
        else if (is_report_name(name))
            status = add_name(names, name);
        else
            diag_warning(sink, (struct place){text_of(folder), 0, 0},
                         "\"%s\" is no name for a report; name it with a to z, digits, - and _", entry->d_name);
    }
    closedir(directory);
    if (status == WM_LIMIT)
        diag_error(sink, (struct place){text_of(folder), 0, 0},
                   "there are more than %d reports in this folder; is it the right one?", MOST_REPORTS);
    return status;
}

int report_names(struct arena *arena, const char *folder, struct diag_sink *sink, struct text **ret_names,
                 uint32_t *ret_count)
{
    struct names *names = ARENA_NEW(arena, struct names);

    if (names == NULL)
        return WM_NO_MEMORY;
    names->arena = arena;
    int status = add_files(names, folder, sink);
    for (size_t i = 0; status == WM_OK && COMPUTED_REPORTS[i] != NULL; i++)
        status = add_name(names, text_of(COMPUTED_REPORTS[i]->name));
    if (status != WM_OK)
        return status;
    qsort(names->list, names->count, sizeof *names->list, by_name);
    *ret_names = names->list;
    *ret_count = names->count;
    return WM_OK;
}

/* --- One report ------------------------------------------------------------------------------------ */

static struct text name_at(const void *list, uint32_t number)
{
    return ((const struct text *)list)[number];
}

static void report_missing(struct arena *arena, const char *folder, struct text name, struct diag_sink *sink)
{
    struct diag_sink nobody = {NULL, NULL, 0, 0};
    struct place place = {text_of(folder), 0, 0};
    struct text *names = NULL, nearest = {"", 0};
    uint32_t count = 0;

    if (report_names(arena, folder, &nobody, &names, &count) == WM_OK)
        nearest = report_nearest(name, name_at, names, count);
    if (nearest.length > 0)
        diag_error(sink, place, "there is no report \"%.*s\"; nearest is \"%.*s\"", TEXT_ARGUMENTS(name),
                   TEXT_ARGUMENTS(nearest));
    else
        diag_error(sink, place,
                   "there is no report \"%.*s\"; `witnessmark report list` lists those that there are, and "
                   "--reports DIR "
                   "names another folder",
                   TEXT_ARGUMENTS(name));
}

/* Whether the file is in the folder, also when every link was followed. */
static bool is_inside(const char *folder, const char *path)
{
    char *whole_folder = realpath(folder, NULL), *whole_path = realpath(path, NULL);
    size_t length = whole_folder != NULL ? strlen(whole_folder) : 0;
    bool inside = whole_folder != NULL && whole_path != NULL &&
                  strncmp(whole_path, whole_folder, length) == 0 && (whole_path[length] == '/' || length == 1);

    free(whole_folder);
    free(whole_path);
    return inside;
}

static int read_file(struct arena *arena, const char *folder, struct text name, struct diag_sink *sink,
                     struct report *ret_report)
{
    struct text path = text_format(arena, "%s/%.*s.sql", folder, TEXT_ARGUMENTS(name));
    struct buffer bytes = BUFFER_EMPTY;
    struct stat about;

    if (path.bytes == NULL)
        return WM_NO_MEMORY;
    if (lstat(path.bytes, &about) != 0) {
        report_missing(arena, folder, name, sink);
        return WM_NOT_FOUND;
    }
    if (!is_inside(folder, path.bytes)) {
        diag_error(sink, (struct place){path, 0, 0},
                   "this is a link that leads out of the folder of reports; put the file itself there");
        return WM_BAD_INPUT;
    }
    int status = file_read(path.bytes, LIMIT_REPORT_FILE_BYTES, &bytes, sink);
    struct text own = status == WM_OK ? text_copy(arena, buffer_text(&bytes)) : (struct text){NULL, 0};
    buffer_free(&bytes);
    if (status == WM_OK && own.bytes == NULL)
        return WM_NO_MEMORY;
    return status == WM_OK ? report_read(arena, name, path, own, false, sink, ret_report) : status;
}

int report_find(struct arena *arena, const char *folder, struct text name, struct diag_sink *sink,
                struct found_report *ret_found)
{
    struct found_report found = {.computed = find_computed(name)};
    int status;

    if (!is_report_name(name)) {
        diag_error(sink, (struct place){{NULL, 0}, 0, 0},
                   "\"%.*s\" is no name of a report; name it by its file in the folder of reports without "
                   ".sql, and the "
                   "folder with --reports DIR",
                   TEXT_ARGUMENTS(name));
        return WM_BAD_INPUT;
    }
    name = text_copy(arena, name);
    if (name.bytes == NULL)
        return WM_NO_MEMORY;
    if (found.computed != NULL)
        status = report_read(arena, name, text_of(found.computed->name), text_of(found.computed->header), true,
                             sink, &found.report);
    else
        status = read_file(arena, folder, name, sink, &found.report);
    if (status == WM_OK)
        *ret_found = found;
    return status;
}
