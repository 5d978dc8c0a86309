#include "ledger/office_writes.h"

#include <fcntl.h>
#include <pthread.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* GATHERED_BYTES: SQLite's own file system takes the size of a write for 17 bits: never more. BEGIN_BYTES:
 * enough to keep a disk busy; a night that is smaller is left to the sync at its end. */
enum { GATHERED_BYTES = 120 * 1024, BEGIN_BYTES = 8 * 1024 * 1024 };

/* An open file. The file of the layer below follows it in memory. */
struct layered_file {
    sqlite3_file base;
    char *gathered; /* not written yet; NULL: no room was asked for, or none given */
    int gathered_bytes;
    sqlite3_int64 gathered_at; /* where in the file they belong */
    bool gathers;              /* the log; see office_writes.h */
    int failure;               /* of a write that SQLite was told was done; SQLITE_OK: there is none */
};

static sqlite3_file *below(sqlite3_file *file)
{
    return (sqlite3_file *)((struct layered_file *)file + 1);
}

static const sqlite3_io_methods *methods_below(sqlite3_file *file)
{
    return below(file)->pMethods;
}

/* ---- gathering ---- */

/* What fails here was said to be done. It is not tried again: the file is not what SQLite takes it for, and every
 * write, read and sync says so from now on. */
static int write_gathered(sqlite3_file *base)
{
    struct layered_file *file = (struct layered_file *)base;
    int bytes = file->gathered_bytes;

    file->gathered_bytes = 0;
    if (bytes > 0) /* nothing is gathered behind a failure */
        file->failure = methods_below(base)->xWrite(below(base), file->gathered, bytes, file->gathered_at);
    return file->failure;
}

static int layered_write(sqlite3_file *base, const void *bytes, int count, sqlite3_int64 at)
{
    struct layered_file *file = (struct layered_file *)base;
    bool follows = at == file->gathered_at + file->gathered_bytes;

    if (!follows || count > GATHERED_BYTES - file->gathered_bytes)
        write_gathered(base);
    if (file->failure != SQLITE_OK)
        return file->failure;
    if (file->gathered == NULL && file->gathers)
        file->gathered = malloc(GATHERED_BYTES);
    if (file->gathered == NULL || count > GATHERED_BYTES)
        return methods_below(base)->xWrite(below(base), bytes, count, at);
    if (file->gathered_bytes == 0)
        file->gathered_at = at;
    memcpy(file->gathered + file->gathered_bytes, bytes, (size_t)count);
    file->gathered_bytes += count;
    return SQLITE_OK;
}

static int layered_read(sqlite3_file *base, void *ret_bytes, int count, sqlite3_int64 at)
{
    int result = write_gathered(base);

    return result == SQLITE_OK ? methods_below(base)->xRead(below(base), ret_bytes, count, at) : result;
}

/* ---- everything else: first what was gathered ---- */

static int layered_close(sqlite3_file *base)
{
    struct layered_file *file = (struct layered_file *)base;
    int written = write_gathered(base), result = methods_below(base)->xClose(below(base));

    free(file->gathered);
    file->gathered = NULL;
    return written == SQLITE_OK ? result : written;
}

static int layered_truncate(sqlite3_file *file, sqlite3_int64 size)
{
    int result = write_gathered(file);

    return result == SQLITE_OK ? methods_below(file)->xTruncate(below(file), size) : result;
}

static int layered_sync(sqlite3_file *file, int flags)
{
    int result = write_gathered(file);

    return result == SQLITE_OK ? methods_below(file)->xSync(below(file), flags) : result;
}

static int layered_size(sqlite3_file *file, sqlite3_int64 *ret_size)
{
    int result = write_gathered(file);

    return result == SQLITE_OK ? methods_below(file)->xFileSize(below(file), ret_size) : result;
}

static int layered_lock(sqlite3_file *file, int level)
{
    int result = write_gathered(file);

    return result == SQLITE_OK ? methods_below(file)->xLock(below(file), level) : result;
}

/* SQLite does not look at what these two return: the sync says it again. */
static int layered_unlock(sqlite3_file *file, int level)
{
    write_gathered(file);
    return methods_below(file)->xUnlock(below(file), level);
}

static int layered_reserved(sqlite3_file *file, int *ret_reserved)
{
    return methods_below(file)->xCheckReservedLock(below(file), ret_reserved);
}

static int layered_control(sqlite3_file *file, int operation, void *argument)
{
    write_gathered(file);
    return methods_below(file)->xFileControl(below(file), operation, argument);
}

static int layered_sector(sqlite3_file *file)
{
    return methods_below(file)->xSectorSize(below(file));
}

static int layered_traits(sqlite3_file *file)
{
    return methods_below(file)->xDeviceCharacteristics(below(file));
}

static int layered_shm_map(sqlite3_file *file, int region, int bytes, int extend, void volatile **ret_region)
{
    return methods_below(file)->xShmMap(below(file), region, bytes, extend, ret_region);
}

static int layered_shm_lock(sqlite3_file *file, int from, int count, int flags)
{
    write_gathered(file);
    return methods_below(file)->xShmLock(below(file), from, count, flags);
}

static void layered_shm_barrier(sqlite3_file *file)
{
    methods_below(file)->xShmBarrier(below(file));
}

static int layered_shm_unmap(sqlite3_file *file, int remove)
{
    return methods_below(file)->xShmUnmap(below(file), remove);
}

/* Version 2: no mapping of the file, which would not show what was gathered. */
static const sqlite3_io_methods METHODS = {
    .iVersion = 2,
    .xClose = layered_close,
    .xRead = layered_read,
    .xWrite = layered_write,
    .xTruncate = layered_truncate,
    .xSync = layered_sync,
    .xFileSize = layered_size,
    .xLock = layered_lock,
    .xUnlock = layered_unlock,
    .xCheckReservedLock = layered_reserved,
    .xFileControl = layered_control,
    .xSectorSize = layered_sector,
    .xDeviceCharacteristics = layered_traits,
    .xShmMap = layered_shm_map,
    .xShmLock = layered_shm_lock,
    .xShmBarrier = layered_shm_barrier,
    .xShmUnmap = layered_shm_unmap,
};

/* ---- beginning early ---- */

/* Stands in for the call that SQLite's own file system writes with. A hint: whether it is taken does not
 * matter. */
static ssize_t write_and_begin(int descriptor, const void *bytes, size_t count, off_t at)
{
    ssize_t written = pwrite(descriptor, bytes, count, at);

    off_t stretch = at / BEGIN_BYTES;

    if (written > 0 && (at + written) / BEGIN_BYTES > stretch)
        sync_file_range(descriptor, stretch * BEGIN_BYTES, BEGIN_BYTES, SYNC_FILE_RANGE_WRITE);
    return written;
}

/* ---- the layer ---- */

static sqlite3_vfs own, layer;
static bool registered;

static int layered_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *base, int flags, int *ret_flags)
{
    struct layered_file *file = (struct layered_file *)base;

    (void)vfs;
    *file = (struct layered_file){.gathers = (flags & SQLITE_OPEN_WAL) != 0};
    below(base)->pMethods = NULL;
    int result = own.xOpen(&own, name, below(base), flags, ret_flags);
    if (below(base)->pMethods != NULL)
        file->base.pMethods = &METHODS;
    return result;
}

/* All but opening is done as below: those calls know a file system by its pAppData, which is copied. */
static void make_layer_over(sqlite3_vfs *found)
{
    own = *found;
    layer = *found;
    layer.zName = "gathered";
    layer.szOsFile = found->szOsFile + (int)sizeof(struct layered_file);
    layer.xOpen = layered_open;
    layer.pNext = NULL;
    found->xSetSystemCall(found, "pwrite", (sqlite3_syscall_ptr)write_and_begin);
    found->xSetSystemCall(found, "pwrite64", (sqlite3_syscall_ptr)write_and_begin);
    registered = sqlite3_vfs_register(&layer, 0) == SQLITE_OK;
}

static void make_layer(void)
{
    sqlite3_vfs *found = sqlite3_vfs_find("unix");

    if (found != NULL && found->iVersion >= 3)
        make_layer_over(found);
}

const char *office_writes_layer(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;

    pthread_once(&once, make_layer);
    return registered ? layer.zName : NULL;
}
