/* Runs a fuzz target on the files of a folder, without a fuzzer: run_corpus FOLDER [TIMES [DICTIONARY]]
 *
 * Each file is run whole, then changed at random, TIMES in all for each (default 40), from a fixed seed that
 * WM_SEED changes: bytes are changed, taken out, said twice, words of the dictionary put in, the end of another
 * file put in place of its own. Prints how many inputs were run. The target ends the process where something is
 * wrong; then the name of the file that it happened on is printed, and the input is left in the file that
 * WM_FOUND names.
 */
#include <dirent.h>
#include <fcntl.h>
#include <malloc.h>
#include <signal.h>
#include <unistd.h>

#include "fuzz.h"

enum { PATH_ROOM = 4096, DEFAULT_TIMES = 40, MOST_BYTES = 8192, MOST_CHANGES = 4, MOST_WORD = 64 };

struct piece {
    char *name;
    uint8_t *bytes;
    size_t length;
};

struct pieces {
    struct piece *list;
    size_t count;
};

static const char *running_name = "";
static struct piece running;

static void name_file(int number)
{
    const char *found = getenv("WM_FOUND");
    int file = found != NULL ? open(found, O_WRONLY | O_CREAT | O_TRUNC, 0644) : -1;

    dprintf(STDERR_FILENO, "on %s, changed to %zu bytes\n", running_name, running.length);
    if (file >= 0 && write(file, running.bytes, running.length) != (ssize_t)running.length)
        dprintf(STDERR_FILENO, "cannot write %s\n", found);
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

static struct piece *add_piece(struct pieces *pieces, size_t room)
{
    pieces->list = realloc(pieces->list, (pieces->count + 1) * sizeof *pieces->list);
    must(pieces->list != NULL, "there is memory");
    struct piece *piece = &pieces->list[pieces->count++];
    *piece = (struct piece){NULL, malloc(room + 1), 0};
    must(piece->bytes != NULL, "there is memory");
    return piece;
}

/* --- What it begins with -------------------------------------------------------------------------------- */

static void read_input(struct pieces *inputs, const char *folder, const char *name)
{
    char path[PATH_ROOM];

    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "rb");
    must(file != NULL && fseek(file, 0, SEEK_END) == 0, path);
    size_t length = (size_t)ftell(file);
    struct piece *piece = add_piece(inputs, length);
    rewind(file);
    must(fread(piece->bytes, 1, length, file) == length, path);
    fclose(file);
    piece->name = strdup(path);
    piece->length = length;
}

static int by_name(const struct dirent **a, const struct dirent **b)
{
    return strcmp((*a)->d_name, (*b)->d_name);
}

static void read_inputs(struct pieces *inputs, const char *folder)
{
    struct dirent **entries;
    int count = scandir(folder, &entries, NULL, by_name);

    must(count > 2, folder);
    for (int i = 0; i < count; i++) {
        if (entries[i]->d_name[0] != '.')
            read_input(inputs, folder, entries[i]->d_name);
        free(entries[i]);
    }
    free(entries);
}

static int hexadecimal(char c)
{
    const char *digits = "0123456789abcdef", *at = c != '\0' ? strchr(digits, c | 0x20) : NULL;

    return at != NULL ? (int)(at - digits) : 0;
}

/* One line of a dictionary of libFuzzer's: "word", with \\, \" and \xAB in it. */
static void read_word(struct pieces *words, const char *line)
{
    const char *at = strchr(line, '"');

    if (line[0] == '#' || at == NULL)
        return;
    struct piece *word = add_piece(words, MOST_WORD);
    for (at++; *at != '"' && *at != '\0' && word->length < MOST_WORD; at++) {
        uint8_t byte = (uint8_t)*at;
        if (byte == '\\' && at[1] == 'x' && at[2] != '\0' && at[3] != '\0') {
            byte = (uint8_t)(hexadecimal(at[2]) * 16 + hexadecimal(at[3]));
            at += 3;
        } else if (byte == '\\' && at[1] != '\0') {
            byte = (uint8_t) * ++at;
        }
        word->bytes[word->length++] = byte;
    }
}

static void read_dictionary(struct pieces *words, const char *path)
{
    char line[512];
    FILE *file = fopen(path, "r");

    must(file != NULL, path);
    while (fgets(line, sizeof line, file) != NULL)
        read_word(words, line);
    fclose(file);
}

/* --- Changes -------------------------------------------------------------------------------------------- */

/* In memory of exactly that size. */
static void run_exactly(const uint8_t *bytes, size_t length)
{
    uint8_t *copy = malloc(length > 0 ? length : 1);

    must(copy != NULL, "there is memory");
    memcpy(copy, bytes, length);
    running = (struct piece){NULL, copy, length};
    LLVMFuzzerTestOneInput(copy, length);
    free(copy);
}

/* In place of `taken` bytes at `at`, these; what would be beyond MOST_BYTES is left. */
static size_t put_in(uint8_t *room, size_t length, size_t at, size_t taken, const uint8_t *bytes, size_t count)
{
    uint8_t kept[MOST_BYTES];

    if (length - taken + count > MOST_BYTES)
        return length;
    memcpy(kept, bytes, count); /* they may stand in the room itself */
    memmove(room + at + count, room + at + taken, length - at - taken);
    memcpy(room + at, kept, count);
    return length - taken + count;
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Changes room in one place; its new length. */
static size_t change(struct input *random, uint8_t *room, size_t length, const struct pieces *inputs,
                     const struct pieces *words)
{
    size_t at = input_more(random) % length, some = smaller(1 + input_more(random) % 16, length - at);
    const struct piece *word = words->count > 0 ? &words->list[input_more(random) % words->count] : NULL;
    const struct piece *other = &inputs->list[input_more(random) % inputs->count];

    switch (input_more(random) % 10) {
    case 0: return put_in(room, length, at, some, room, 0);
    case 1: return put_in(room, length, input_more(random) % length, 0, room + at, some);
    case 2: room[at] ^= (uint8_t)(1u << input_more(random) % 8); return length;
    case 3:
    case 4: room[at] = room[input_more(random) % length]; return length;
    case 5:
    case 6: return word == NULL ? length : put_in(room, length, at, 0, word->bytes, word->length);
    case 7:
        return word == NULL
                   ? length
                   : put_in(room, length, at, smaller(word->length, length - at), word->bytes, word->length);
    case 8:
        if (other->length > at && input_more(random) % 4 == 0)
            return put_in(room, length, at, length - at, other->bytes + at,
                          smaller(other->length - at, MOST_BYTES));
        return length;
    default: room[at] = (uint8_t)input_more(random); return length;
    }
}

static void run_changed(struct input *random, const struct piece *piece, const struct pieces *inputs,
                        const struct pieces *words)
{
    static uint8_t room[MOST_BYTES];
    size_t length = smaller(piece->length, MOST_BYTES);

    memcpy(room, piece->bytes, length);
    for (uint64_t left = 1 + input_more(random) % MOST_CHANGES; left > 0 && length > 0; left--)
        length = change(random, room, length, inputs, words);
    run_exactly(room, input_more(random) % 8 || length == 0 ? length : input_more(random) % length);
}

static void free_pieces(struct pieces *pieces)
{
    for (size_t i = 0; i < pieces->count; i++) {
        free(pieces->list[i].name);
        free(pieces->list[i].bytes);
    }
    free(pieces->list);
}

int main(int count, char **arguments)
{
    struct pieces inputs = {NULL, 0}, words = {NULL, 0};
    struct input random = {.more = getenv("WM_SEED") ? strtoull(getenv("WM_SEED"), NULL, 10) : 20260301};
    long times = count > 2 ? atol(arguments[2]) : DEFAULT_TIMES, run = 0;

    must(count > 1, "a folder is named");
    /* Large pieces come fresh from the system, since to zero them again and again would take most of the time;
     * small ones do not go back to it. */
    mallopt(M_MMAP_THRESHOLD, 512 * 1024);
    mallopt(M_TRIM_THRESHOLD, 256 * 1024 * 1024);
    mallopt(M_TOP_PAD, 4 * 1024 * 1024);
    read_inputs(&inputs, arguments[1]);
    if (count > 3)
        read_dictionary(&words, arguments[3]);
    LLVMFuzzerInitialize(&count, &arguments);
    name_file_on(SIGABRT);
    name_file_on(SIGSEGV);
    for (size_t i = 0; i < inputs.count; i++) {
        const struct piece *piece = &inputs.list[i];
        running_name = piece->name;
        run_exactly(piece->bytes, piece->length);
        run++;
        for (long n = 1; n < times && piece->length > 0; n++, run++)
            run_changed(&random, piece, &inputs, &words);
    }
    printf("%s: %ld inputs\n", arguments[1], run);
    free_pieces(&inputs);
    free_pieces(&words);
    return 0;
}
