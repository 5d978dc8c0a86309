#include "calls.h"

#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);
void *__libc_memalign(size_t alignment, size_t size);
void __libc_free(void *old);

const char *const CALL_KIND_NAMES[CALL_KINDS] = {"alloc", "read", "write", "sync", "open"};
const char *const CALL_ACTION_NAMES[] = {"go on", "fail", "full", "io", "many", "interrupted", "kill"};

static atomic_bool counting;
static atomic_long counted[CALL_KINDS], live, mapped;
static bool reached;
static enum call_kind failing_kind;
static enum call_action action;
static long fail_at;

/* What is looked at more closely; slower, and asked for seldom. Recursive, because the chain of callers may ask
 * for memory when it is first asked for. */
static pthread_mutex_t looking = PTHREAD_RECURSIVE_MUTEX_INITIALIZER_NP;
static uint64_t *places;
static long place_room, shown;
static int show_to;
static bool naming;

/* --- Pieces that live ------------------------------------------------------------------------------------- */

/* Where they are named: by address, open addressing, never moved, so that nothing is asked for in between.
 * GONE: one that was taken out. */
enum { PIECES = 1 << 20 };
static struct piece {
    const void *address;
    long number; /* which allocation it was */
} pieces[PIECES];
static const char GONE[1];

static struct piece *place_of_piece(const void *address)
{
    size_t at = (size_t)((uintptr_t)address >> 4) * UINT64_C(0x9E3779B97F4A7C15) >> 44;

    while (pieces[at].address != NULL && pieces[at].address != address)
        at = (at + 1) % PIECES;
    return &pieces[at];
}

static void name_piece(const void *address, long number)
{
    pthread_mutex_lock(&looking);
    struct piece *piece = place_of_piece(address);
    if (number > 0)
        *piece = (struct piece){address, number};
    else if (piece->address == address)
        *piece = (struct piece){GONE, 0};
    pthread_mutex_unlock(&looking);
}

static void came(const void *address)
{
    if (address == NULL || !counting)
        return;
    live++;
    if (naming)
        name_piece(address, counted[CALL_ALLOC]);
}

static void went(const void *address)
{
    if (address == NULL || !counting)
        return;
    live--;
    if (naming)
        name_piece(address, 0);
}

long calls_first_live(void)
{
    long first = 0;

    for (size_t i = 0; i < PIECES; i++)
        if (pieces[i].number > 0 && (first == 0 || pieces[i].number < first))
            first = pieces[i].number;
    return first;
}

long calls_live(void)
{
    return live + (mapped != 0);
}

/* --- Which call fails ------------------------------------------------------------------------------------- */

enum { DEEPEST = 64 };
static int nearest_told; /* 0: all */

/* From the linker: where the program's own functions begin and end. */
extern const char __executable_start[], etext[];

static bool is_own(const void *caller)
{
    return (const char *)caller >= __executable_start && (const char *)caller < etext;
}

/* The chain of callers as one number: equal where the same functions called each other from the same lines. */
static uint64_t digest_of_callers(void)
{
    void *callers[DEEPEST];
    int depth = backtrace(callers, DEEPEST), told = 0;
    uint64_t digest = UINT64_C(0xCBF29CE484222325);

    for (int i = 0; i < depth && (nearest_told == 0 || told < nearest_told); i++)
        if (nearest_told == 0 || is_own(callers[i])) {
            digest = (digest ^ (uintptr_t)callers[i]) * UINT64_C(0x100000001B3);
            told++;
        }
    return digest;
}

static void show_callers(void)
{
    void *callers[DEEPEST];
    backtrace_symbols_fd(callers, backtrace(callers, DEEPEST), show_to);
}

static void look(long n)
{
    static bool inside; /* looking may ask for memory itself */

    pthread_mutex_lock(&looking);
    if (!inside) {
        inside = true;
        if (n <= place_room)
            places[n - 1] = digest_of_callers();
        if (n == shown)
            show_callers();
        inside = false;
    }
    pthread_mutex_unlock(&looking);
}

/* True if this call is the one; errno is set. */
static bool fails(enum call_kind kind)
{
    if (!counting)
        return false;
    long n = ++counted[kind];
    if (kind != failing_kind)
        return false;
    if (place_room > 0 || shown > 0)
        look(n);
    bool stays = action == CALL_FULL || action == CALL_MANY;
    if (action == CALL_GO_ON || n < fail_at || (n > fail_at && !stays))
        return false;
    reached = true;
    if (action == CALL_KILL)
        kill(getpid(), SIGKILL);
    static const int ERRORS[] = {
        [CALL_FAIL] = ENOMEM, [CALL_FULL] = ENOSPC, [CALL_IO] = EIO, [CALL_MANY] = EMFILE, [CALL_INTERRUPT] = EINTR};
    errno = ERRORS[action];
    return true;
}

/* Of calls that no signal interrupts where they work on files. */
static bool fails_whole(enum call_kind kind)
{
    return (action != CALL_INTERRUPT || kind != failing_kind) && fails(kind);
}

void calls_begin(enum call_kind kind, long n, enum call_action what)
{
    for (int i = 0; i < CALL_KINDS; i++)
        counted[i] = 0;
    live = mapped = 0;
    reached = false;
    failing_kind = kind;
    fail_at = n;
    action = what;
    place_room = shown = 0;
    naming = false;
    counting = true;
}

void calls_note_places(uint64_t *ret_places, long room)
{
    places = ret_places;
    place_room = room;
}

void calls_tell_by(int nearest)
{
    nearest_told = nearest < DEEPEST ? nearest : DEEPEST;
}

void calls_show(long n, int descriptor)
{
    shown = n;
    show_to = descriptor;
}

void calls_name_live(void)
{
    memset(pieces, 0, sizeof pieces);
    naming = true;
}

void calls_end(void)
{
    counting = false;
}

long calls_counted(enum call_kind kind)
{
    return counted[kind];
}

bool calls_reached(void)
{
    return reached;
}

/* --- Memory ----------------------------------------------------------------------------------------------- */

void *malloc(size_t size)
{
    if (fails(CALL_ALLOC))
        return NULL;
    void *piece = __libc_malloc(size);
    came(piece);
    return piece;
}

void *calloc(size_t count, size_t size)
{
    if (fails(CALL_ALLOC))
        return NULL;
    void *piece = __libc_calloc(count, size);
    came(piece);
    return piece;
}

void *realloc(void *old, size_t size)
{
    if (fails(CALL_ALLOC))
        return NULL;
    went(old);
    void *piece = __libc_realloc(old, size);
    came(piece);
    return piece;
}

void free(void *old)
{
    went(old);
    __libc_free(old);
}

void *aligned_alloc(size_t alignment, size_t size)
{
    if (fails(CALL_ALLOC))
        return NULL;
    void *piece = __libc_memalign(alignment, size);
    came(piece);
    return piece;
}

int posix_memalign(void **ret_piece, size_t alignment, size_t size)
{
    void *piece = aligned_alloc(alignment, size);

    if (piece == NULL)
        return ENOMEM;
    *ret_piece = piece;
    return 0;
}

/* Maps may be given back in parts, so their bytes are counted. */
static long whole_pages(size_t size)
{
    enum { PAGE_BYTES = 4096 };
    return (long)((size + PAGE_BYTES - 1) / PAGE_BYTES * PAGE_BYTES);
}

void *mmap64(void *wished, size_t size, int protection, int flags, int descriptor, off64_t at)
{
    if (fails(CALL_ALLOC))
        return MAP_FAILED;
    long map = syscall(SYS_mmap, wished, size, protection, flags, descriptor, at);
    if (map == -1)
        return MAP_FAILED;
    if (counting)
        mapped += whole_pages(size);
    return (void *)map;
}

void *mmap(void *wished, size_t size, int protection, int flags, int descriptor, off_t at)
{
    return mmap64(wished, size, protection, flags, descriptor, at);
}

int munmap(void *map, size_t size)
{
    if (counting)
        mapped -= whole_pages(size);
    return (int)syscall(SYS_munmap, map, size);
}

/* --- Files ------------------------------------------------------------------------------------------------ */

/* What goes to a terminal or a pipe (the program's own words) does not count: only files do. */
static bool is_file(int descriptor)
{
    return counting && lseek(descriptor, 0, SEEK_CUR) >= 0;
}

static bool fails_on(int descriptor, enum call_kind kind)
{
    return is_file(descriptor) && fails(kind);
}

ssize_t write(int descriptor, const void *bytes, size_t length)
{
    return fails_on(descriptor, CALL_WRITE) ? -1 : syscall(SYS_write, descriptor, bytes, length);
}

ssize_t pwrite64(int descriptor, const void *bytes, size_t length, off64_t at)
{
    return fails(CALL_WRITE) ? -1 : syscall(SYS_pwrite64, descriptor, bytes, length, at);
}

ssize_t pwrite(int descriptor, const void *bytes, size_t length, off_t at)
{
    return pwrite64(descriptor, bytes, length, at);
}

int ftruncate64(int descriptor, off64_t length)
{
    return fails_whole(CALL_WRITE) ? -1 : (int)syscall(SYS_ftruncate, descriptor, length);
}

int ftruncate(int descriptor, off_t length)
{
    return ftruncate64(descriptor, length);
}

int rename(const char *from, const char *to)
{
    return fails_whole(CALL_WRITE) ? -1 : (int)syscall(SYS_rename, from, to);
}

int renameat(int from_folder, const char *from, int to_folder, const char *to)
{
    return fails_whole(CALL_WRITE) ? -1 : (int)syscall(SYS_renameat, from_folder, from, to_folder, to);
}

int renameat2(int from_folder, const char *from, int to_folder, const char *to, unsigned flags)
{
    return fails_whole(CALL_WRITE) ? -1 : (int)syscall(SYS_renameat2, from_folder, from, to_folder, to, flags);
}

int link(const char *from, const char *to)
{
    return fails_whole(CALL_WRITE) ? -1 : (int)syscall(SYS_link, from, to);
}

int mkdir(const char *path, mode_t mode)
{
    return fails_whole(CALL_WRITE) ? -1 : (int)syscall(SYS_mkdir, path, mode);
}

int fsync(int descriptor)
{
    return fails(CALL_SYNC) ? -1 : (int)syscall(SYS_fsync, descriptor);
}

int fdatasync(int descriptor)
{
    return fails(CALL_SYNC) ? -1 : (int)syscall(SYS_fdatasync, descriptor);
}

ssize_t read(int descriptor, void *room, size_t length)
{
    return fails_on(descriptor, CALL_READ) ? -1 : syscall(SYS_read, descriptor, room, length);
}

ssize_t pread64(int descriptor, void *room, size_t length, off64_t at)
{
    return fails(CALL_READ) ? -1 : syscall(SYS_pread64, descriptor, room, length, at);
}

ssize_t pread(int descriptor, void *room, size_t length, off_t at)
{
    return pread64(descriptor, room, length, at);
}

static int open_in(int folder, const char *path, int flags, mode_t mode)
{
    return fails(CALL_OPEN) ? -1 : (int)syscall(SYS_openat, folder, path, flags, mode);
}

#define MODE_AFTER(flags)                                                          \
    va_list more;                                                                  \
    va_start(more, flags);                                                         \
    mode_t mode = (flags & (O_CREAT | O_TMPFILE)) != 0 ? va_arg(more, mode_t) : 0; \
    va_end(more)

int open64(const char *path, int flags, ...)
{
    MODE_AFTER(flags);
    return open_in(AT_FDCWD, path, flags, mode);
}

int open(const char *path, int flags, ...)
{
    MODE_AFTER(flags);
    return open_in(AT_FDCWD, path, flags, mode);
}

int openat64(int folder, const char *path, int flags, ...)
{
    MODE_AFTER(flags);
    return open_in(folder, path, flags, mode);
}

int openat(int folder, const char *path, int flags, ...)
{
    MODE_AFTER(flags);
    return open_in(folder, path, flags, mode);
}

/* The C library's own function of a name. */
#define FURTHER(name) ((__typeof__(&name))(uintptr_t)dlsym(RTLD_NEXT, #name))

int memfd_create(const char *name, unsigned flags)
{
    return fails(CALL_OPEN) ? -1 : (int)syscall(SYS_memfd_create, name, flags);
}

int mkostemp(char *pattern, int flags)
{
    return fails(CALL_OPEN) ? -1 : FURTHER(mkostemp)(pattern, flags);
}

DIR *opendir(const char *path)
{
    return fails(CALL_OPEN) ? NULL : FURTHER(opendir)(path);
}

FILE *fopen(const char *path, const char *mode)
{
    return fails(CALL_OPEN) ? NULL : FURTHER(fopen)(path, mode);
}

/* --- The machine ---------------------------------------------------------------------------------------- */

static bool one_processor, unwritable;

void calls_deny_writing(bool deny)
{
    unwritable = deny;
}

int access(const char *path, int mode)
{
    if (unwritable && counting && (mode & W_OK) != 0) {
        errno = EACCES;
        return -1;
    }
    return FURTHER(access)(path, mode);
}

void calls_have_one_processor(void)
{
    one_processor = true;
}

long sysconf(int what)
{
    return one_processor && what == _SC_NPROCESSORS_ONLN ? 1 : FURTHER(sysconf)(what);
}

/* --- The clock -------------------------------------------------------------------------------------------- */

/* Stands, so that what is recorded is the same to the byte each time. */
enum { STANDING_SECOND = 1772409600 }; /* 2026-03-02 */

time_t time(time_t *ret_now)
{
    if (ret_now != NULL)
        *ret_now = STANDING_SECOND;
    return STANDING_SECOND;
}

int gettimeofday(struct timeval *restrict ret_now, void *restrict zone)
{
    (void)zone;
    *ret_now = (struct timeval){STANDING_SECOND, 0};
    return 0;
}
