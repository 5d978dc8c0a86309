#include "ledger/left_overs.h"

#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

/* The number between NAME. and .part; 0: the file has another name. */
static long writer_of(const char *file, const char *name)
{
    static const char *const ENDS[] = {".part", ".part-journal", ".part-wal", ".part-shm"};
    size_t length = strlen(name);
    char *end;

    if (strncmp(file, name, length) != 0 || file[length] != '.' || !isdigit((unsigned char)file[length + 1]))
        return 0;
    errno = 0;
    long number = strtol(file + length + 1, &end, 10);
    for (size_t i = 0; errno == 0 && i < sizeof ENDS / sizeof *ENDS; i++)
        if (strcmp(end, ENDS[i]) == 0)
            return number;
    return 0;
}

static bool runs(long process)
{
    return (pid_t)process != process || kill((pid_t)process, 0) == 0 || errno != ESRCH;
}

static bool is_old_and_own(int folder, const char *file)
{
    struct stat about;

    return fstatat(folder, file, &about, AT_SYMLINK_NOFOLLOW) == 0 && S_ISREG(about.st_mode) &&
           about.st_uid == geteuid() && time(NULL) - about.st_mtime > LEFT_OVER_SECONDS;
}

static void look_through(DIR *folder, const char *name)
{
    for (const struct dirent *entry; (entry = readdir(folder)) != NULL;) {
        long writer = writer_of(entry->d_name, name);
        if (writer > 0 && !runs(writer) && is_old_and_own(dirfd(folder), entry->d_name))
            unlinkat(dirfd(folder), entry->d_name, 0);
    }
}

void left_overs_remove(const char *path)
{
    const char *slash = strrchr(path, '/');
    char *folder_name = slash == NULL ? strdup(".") : strndup(path, (size_t)(slash - path) + 1);
    DIR *folder = folder_name != NULL ? opendir(folder_name) : NULL;

    free(folder_name);
    if (folder == NULL)
        return;
    look_through(folder, slash == NULL ? path : slash + 1);
    closedir(folder);
}
