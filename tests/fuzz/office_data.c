/* Office data: vehicles, dealers, shipments and approvals, loaded into an office file in memory. The first byte
 * says which; the rest is the file. */
#include "fuzz.h"

#include <sqlite3.h>
#include <sys/mman.h>
#include <unistd.h>

#include "ledger/load.h"
#include "ledger/verify.h"

static char office_file[64];
static struct office *office;
static sqlite3 *empty; /* an office without data, to begin again with */

static void open_office(void)
{
    static struct diag_sink sink;

    sink = looking_sink();
    must(office_open(office_file, OFFICE_WRITE, &sink, &office) == WM_OK, "there is room for an office file");
    sqlite3_exec(office_database(office), "PRAGMA synchronous = OFF", NULL, NULL, NULL);
}

static void copy_database(sqlite3 *to, sqlite3 *from)
{
    sqlite3_backup *backup = sqlite3_backup_init(to, "main", from, "main");

    must(backup != NULL && sqlite3_backup_step(backup, -1) == SQLITE_DONE &&
             sqlite3_backup_finish(backup) == SQLITE_OK,
         "an office file can be copied");
}

static void remove_office(void)
{
    char path[80];

    office_close(office);
    for (const char *const *end = (const char *const[]){"", "-wal", "-shm", NULL}; *end != NULL; end++) {
        snprintf(path, sizeof path, "%s%s", office_file, *end);
        unlink(path);
    }
}

int LLVMFuzzerInitialize(int *count, char ***arguments)
{
    (void)count, (void)arguments;
    snprintf(office_file, sizeof office_file, "%s/wm-fuzz-%ld.db",
             access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp", (long)getpid());
    open_office();
    must(sqlite3_open(":memory:", &empty) == SQLITE_OK, "there is memory");
    copy_database(empty, office_database(office));
    atexit(remove_office);
    return 0;
}

static const char *file_in_memory(struct text t)
{
    static int descriptor = -1;
    static char path[64];

    if (descriptor < 0)
        descriptor = memfd_create("data", 0);
    must(descriptor >= 0 && ftruncate(descriptor, 0) == 0 &&
             pwrite(descriptor, t.bytes, t.length, 0) == (ssize_t)t.length,
         "there is memory");
    snprintf(path, sizeof path, "/proc/self/fd/%d", descriptor);
    return path;
}

/* What was loaded is there, and the same file again changes nothing. */
static void load_again(enum office_data kind, const char *path, const struct load_summary *first)
{
    struct diag_sink sink = looking_sink();
    struct load_summary again;

    must(first->new_keys + first->changed_keys + first->unchanged_keys + first->repeated_rows == first->rows,
         "each row is new, changed, unchanged or said twice");
    must(office_load(office, kind, path, 20600, &sink, &again) == WM_OK, "the same file again is no error");
    must(again.load == 0 && again.new_keys == 0 && again.changed_keys == 0, "and changes nothing");
    must(again.same_file_load == first->load, "and is recognised");
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length);
    enum office_data kind = (enum office_data)input_choose(&input, OFFICE_DATA_KINDS);
    struct diag_sink sink = looking_sink();
    struct load_summary summary = {.load = 0};
    struct text t;
    char *copy = input_rest(&input, &t);
    const char *path = file_in_memory(t);

    if (went_well(office_load(office, kind, path, 20600, &sink, &summary), &sink) && summary.load != 0) {
        load_again(kind, path, &summary);
        copy_database(office_database(office), empty);
    }
    free(copy);
    return 0;
}
