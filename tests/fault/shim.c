/* shim.c - preloaded into the program by the fault tests: makes the n-th call of a kind fail, or the process
 * die there.
 *
 * WM_FAULT=KIND:N:ACTION, where KIND is alloc, write, sync, open or read; ACTION is fail (no memory), full
 * (ENOSPC), io (EIO) or kill (SIGKILL before the call). WM_FAULT_MARK names a file that is made when it
 * happens, so that the test knows that the program got as far.
 */
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);

static const char *kind;
static long fail_at;
static enum { FAIL, FULL, IO, KILL } action;
static atomic_long calls;

static __attribute__((constructor)) void read_wish(void)
{
    static char wish[64];
    const char *given = getenv("WM_FAULT");

    if (given == NULL || strlen(given) >= sizeof wish)
        return;
    strcpy(wish, given);
    char *number = strchr(wish, ':');
    char *what = number != NULL ? strchr(number + 1, ':') : NULL;
    if (what == NULL)
        return;
    *number = *what = '\0';
    fail_at = atol(number + 1);
    action = strcmp(what + 1, "kill") == 0   ? KILL
             : strcmp(what + 1, "full") == 0 ? FULL
             : strcmp(what + 1, "io") == 0   ? IO
                                             : FAIL;
    kind = wish;
}

/* True if this call is the one; errno is set. */
static int is_the_one(const char *of)
{
    if (kind == NULL || strcmp(kind, of) != 0 || atomic_fetch_add(&calls, 1) + 1 != fail_at)
        return 0;
    const char *mark = getenv("WM_FAULT_MARK");
    if (mark != NULL)
        syscall(SYS_close, syscall(SYS_openat, AT_FDCWD, mark, O_WRONLY | O_CREAT, 0600));
    if (action == KILL)
        kill(getpid(), SIGKILL);
    errno = action == FULL ? ENOSPC : action == IO ? EIO : ENOMEM;
    return 1;
}

void *malloc(size_t size)
{
    return is_the_one("alloc") ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size)
{
    return is_the_one("alloc") ? NULL : __libc_calloc(count, size);
}

void *realloc(void *old, size_t size)
{
    return is_the_one("alloc") ? NULL : __libc_realloc(old, size);
}

/* Writing to a terminal or a pipe (the program's own words) does not count: only files do. */
static int is_file(int descriptor)
{
    return lseek(descriptor, 0, SEEK_CUR) >= 0;
}

ssize_t write(int descriptor, const void *bytes, size_t length)
{
    return is_file(descriptor) && is_the_one("write") ? -1 : syscall(SYS_write, descriptor, bytes, length);
}

ssize_t pwrite64(int descriptor, const void *bytes, size_t length, off64_t at)
{
    return is_the_one("write") ? -1 : syscall(SYS_pwrite64, descriptor, bytes, length, at);
}

ssize_t pwrite(int descriptor, const void *bytes, size_t length, off_t at)
{
    return pwrite64(descriptor, bytes, length, at);
}

int ftruncate64(int descriptor, off64_t length)
{
    return is_the_one("write") ? -1 : (int)syscall(SYS_ftruncate, descriptor, length);
}

int ftruncate(int descriptor, off_t length)
{
    return ftruncate64(descriptor, length);
}

int fsync(int descriptor)
{
    return is_the_one("sync") ? -1 : (int)syscall(SYS_fsync, descriptor);
}

int fdatasync(int descriptor)
{
    return is_the_one("sync") ? -1 : (int)syscall(SYS_fdatasync, descriptor);
}

ssize_t pread64(int descriptor, void *room, size_t length, off64_t at)
{
    return is_the_one("read") ? -1 : syscall(SYS_pread64, descriptor, room, length, at);
}

ssize_t pread(int descriptor, void *room, size_t length, off_t at)
{
    return pread64(descriptor, room, length, at);
}

int open64(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = (flags & (O_CREAT | O_TMPFILE)) != 0 ? va_arg(more, mode_t) : 0;
    va_end(more);
    return is_the_one("open") ? -1 : (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode);
}

int open(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = (flags & (O_CREAT | O_TMPFILE)) != 0 ? va_arg(more, mode_t) : 0;
    va_end(more);
    return open64(path, flags, mode);
}
