/* Runs a fuzz target on the files of a folder, without a fuzzer: run_corpus FOLDER [TIMES]
 *
 * Each file is run whole, then cut short and with bytes changed, TIMES in all for each (default 40), from a
 * fixed seed that WM_SEED changes. Prints how many inputs were run. The target ends the process where something
 * is wrong; then the name of the file that it happened on is printed.
 */
#include <dirent.h>
#include <signal.h>
#include <unistd.h>

#include "fuzz.h"

enum { PATH_ROOM = 4096, DEFAULT_TIMES = 40 };

static char path[PATH_ROOM]; /* of the file that is run */

static void name_file(int number)
{
    dprintf(STDERR_FILENO, "on %s\n", path);
    raise(number);
}

static void name_file_on(int number)
{
    struct sigaction act = {.sa_handler = name_file, .sa_flags = SA_RESETHAND};
    sigaction(number, &act, NULL);
}

/* A target may have nothing to prepare. */
__attribute__((weak)) int LLVMFuzzerInitialize(int *count, char ***arguments)
{
    (void)count, (void)arguments;
    return 0;
}

static uint8_t *read_input(size_t *ret_length)
{
    FILE *file = fopen(path, "rb");
    must(file != NULL && fseek(file, 0, SEEK_END) == 0, path);
    long length = ftell(file);
    uint8_t *bytes = malloc((size_t)length + 1);

    must(bytes != NULL, "there is memory");
    rewind(file);
    must(fread(bytes, 1, (size_t)length, file) == (size_t)length, path);
    fclose(file);
    *ret_length = (size_t)length;
    return bytes;
}

/* In memory of exactly that size. */
static void run_exactly(const uint8_t *bytes, size_t length)
{
    uint8_t *copy = malloc(length > 0 ? length : 1);

    must(copy != NULL, "there is memory");
    memcpy(copy, bytes, length);
    LLVMFuzzerTestOneInput(copy, length);
    free(copy);
}

static void run_changed(struct input *random, const uint8_t *bytes, size_t length)
{
    uint8_t *copy = malloc(length);

    must(copy != NULL, "there is memory");
    memcpy(copy, bytes, length);
    for (uint64_t changes = 1 + input_more(random) % 3; changes > 0; changes--) {
        size_t at = input_more(random) % length;
        copy[at] = input_more(random) % 2 ? copy[input_more(random) % length] : (uint8_t)input_more(random);
    }
    run_exactly(copy, input_more(random) % 4 ? length : input_more(random) % length);
    free(copy);
}

static int by_name(const struct dirent **a, const struct dirent **b)
{
    return strcmp((*a)->d_name, (*b)->d_name);
}

int main(int count, char **arguments)
{
    struct dirent **entries;
    struct input random = {.more = getenv("WM_SEED") ? strtoull(getenv("WM_SEED"), NULL, 10) : 20260301};
    long times = count > 2 ? atol(arguments[2]) : DEFAULT_TIMES, inputs = 0;

    must(count > 1, "a folder is named");
    name_file_on(SIGABRT);
    name_file_on(SIGSEGV);
    LLVMFuzzerInitialize(&count, &arguments);
    int entry_count = scandir(arguments[1], &entries, NULL, by_name);
    must(entry_count > 2, arguments[1]);
    for (int i = 0; i < entry_count; i++) {
        size_t length;
        snprintf(path, sizeof path, "%s/%s", arguments[1], entries[i]->d_name);
        if (entries[i]->d_name[0] != '.') {
            uint8_t *bytes = read_input(&length);
            run_exactly(bytes, length);
            for (long n = 1; n < times && length > 0; n++)
                run_changed(&random, bytes, length);
            inputs += length > 0 ? times : 1;
            free(bytes);
        }
        free(entries[i]);
    }
    free(entries);
    printf("%s: %ld inputs\n", arguments[1], inputs);
    return 0;
}
