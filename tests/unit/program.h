/* program.h - for tests: runs the program as a user would, and reads CSV with a parser that is not the program's own.
 *
 * The program is $WITNESSMARK, the demo office is in $WITNESSMARK_BUILD/demo; `make test` sets both.
 */
#ifndef WM_TEST_PROGRAM_H
#define WM_TEST_PROGRAM_H

#include "capture.h"

#include <fcntl.h>
#include <stdbool.h>
#include <sys/stat.h>
#include <sys/wait.h>

#ifdef __SANITIZE_ADDRESS__
/* Tests like these give little back, being short; the program that they run is looked at for leaks all the same. */
const char *__asan_default_options(void);
const char *__asan_default_options(void)
{
    return "detect_leaks=0";
}
#endif

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* What a test asks the machine for must be there: without memory or disk there is no test. */
static inline void need(bool is, const char *what)
{
    if (!is) {
        perror(what);
        abort();
    }
}

/* printf into memory that is not given back: tests are short. */
static inline char *words(const char *format, ...) __attribute__((format(printf, 1, 2)));
static inline char *words(const char *format, ...)
{
    va_list arguments;
    char *made;

    va_start(arguments, format);
    need(vasprintf(&made, format, arguments) >= 0, "memory");
    va_end(arguments);
    return made;
}

/* --- Files ----------------------------------------------------------------------------------------------------- */

/* The whole file, NUL-terminated; the caller frees it. */
static inline char *read_whole(const char *path, size_t *ret_length)
{
    FILE *file = fopen(path, "rb");
    need(file != NULL, path);
    need(fseek(file, 0, SEEK_END) == 0, path);
    long length = ftell(file);
    char *bytes = malloc((size_t)length + 1);
    need(bytes != NULL, "memory");
    rewind(file);
    need(fread(bytes, 1, (size_t)length, file) == (size_t)length, path);
    fclose(file);
    bytes[length] = '\0';
    if (ret_length != NULL)
        *ret_length = (size_t)length;
    return bytes;
}

static inline bool file_is_there(const char *path)
{
    struct stat about;
    return stat(path, &about) == 0;
}

static inline void write_words(const char *path, const char *text)
{
    write_file(path, text, strlen(text));
}

/* Runs a shell command, which must go well. */
static inline void shell(const char *format, ...) __attribute__((format(printf, 1, 2)));
static inline void shell(const char *format, ...)
{
    va_list arguments;
    char *command;

    va_start(arguments, format);
    need(vasprintf(&command, format, arguments) >= 0, "memory");
    va_end(arguments);
    if (system(command) != 0)
        fail_msg("this went wrong: %s", command);
    free(command);
}

static inline const char *demo_file(const char *name)
{
    const char *build = getenv("WITNESSMARK_BUILD");
    return words("%s/demo/%s", build ? build : "build", name);
}

/* --- The program ------------------------------------------------------------------------------------------------- */

struct result {
    int code;        /* exit code, or -1: ended by a signal */
    char *out, *err;
    size_t out_length;
};

static inline void result_free(struct result *result)
{
    free(result->out);
    free(result->err);
    *result = (struct result){0};
}

static inline int wait_for_exit(pid_t child)
{
    int status;

    need(waitpid(child, &status, 0) == child, "waitpid");
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* Runs the program with these words, ended by NULL; both outputs pass through files, so that none blocks the other. */
static inline struct result run_program(const char *const *arguments)
{
    char out[] = "/tmp/witnessmark-out-XXXXXX", err[] = "/tmp/witnessmark-err-XXXXXX";
    int out_descriptor = mkstemp(out), err_descriptor = mkstemp(err);
    const char *program = getenv("WITNESSMARK");
    const char *call[64] = {program ? program : "build/witnessmark"};

    need(out_descriptor >= 0 && err_descriptor >= 0, "temporary file");
    for (size_t i = 0; arguments[i] != NULL && i + 2 < COUNT(call); i++)
        call[i + 1] = arguments[i];
    pid_t child = fork();
    need(child >= 0, "fork");
    if (child == 0) {
        int nothing = open("/dev/null", O_RDONLY);
        dup2(nothing, STDIN_FILENO);
        dup2(out_descriptor, STDOUT_FILENO);
        dup2(err_descriptor, STDERR_FILENO);
        execv(call[0], (char *const *)(uintptr_t)call);
        _exit(127);
    }
    struct result result = {.code = wait_for_exit(child)};
    result.out = read_whole(out, &result.out_length);
    result.err = read_whole(err, NULL);
    close(out_descriptor);
    close(err_descriptor);
    unlink(out);
    unlink(err);
    return result;
}

#define RUN(...) run_program((const char *const[]){__VA_ARGS__, NULL})

/* --- CSV ------------------------------------------------------------------------------------------------------ */

/* RFC 4180, read plainly. Rows and cells are owned by the sheet; the first row is the header. */
struct csv_sheet {
    char ***rows;
    size_t count;
    char *room;
};

/* Reads one cell, moves on, and says whether another follows in the row. */
static inline bool read_plain_cell(const char **at, char **room, char **ret_cell)
{
    bool quoted = **at == '"';

    *ret_cell = *room;
    *at += quoted;
    while (**at != '\0' && (quoted || (**at != ',' && **at != '\n'))) {
        if (quoted && **at == '"') {
            if ((*at)[1] != '"')
                break;
            (*at)++;
        }
        *(*room)++ = *(*at)++;
    }
    *at += quoted && **at == '"';
    if (**at == '\r')
        (*at)++;
    if (*room > *ret_cell && (*room)[-1] == '\r' && !quoted)
        (*room)--;
    *(*room)++ = '\0';
    bool more = **at == ',';
    *at += **at != '\0';
    return more;
}

static inline struct csv_sheet csv_sheet_read(const char *csv)
{
    enum { MOST_CELLS = 128 };
    struct csv_sheet sheet = {NULL, 0, malloc(strlen(csv) * 2 + 2)};
    char *room = sheet.room;

    need(room != NULL, "memory");
    for (const char *at = csv; *at != '\0';) {
        char **row = calloc(MOST_CELLS + 1, sizeof *row);
        size_t cells = 0;
        sheet.rows = realloc(sheet.rows, (sheet.count + 1) * sizeof *sheet.rows);
        need(sheet.rows != NULL && row != NULL, "memory");
        while (read_plain_cell(&at, &room, &row[cells++]))
            assert_true(cells < MOST_CELLS);
        sheet.rows[sheet.count++] = row;
    }
    return sheet;
}

static inline struct csv_sheet csv_sheet_of_file(const char *path)
{
    char *bytes = read_whole(path, NULL);
    const char *text = strncmp(bytes, "\xEF\xBB\xBF", 3) == 0 ? bytes + 3 : bytes;
    struct csv_sheet sheet = csv_sheet_read(text);

    free(bytes);
    return sheet;
}

static inline void csv_sheet_free(struct csv_sheet *sheet)
{
    for (size_t i = 0; i < sheet->count; i++)
        free(sheet->rows[i]);
    free(sheet->rows);
    free(sheet->room);
}

/* The number of a column, which must be there. */
static inline size_t csv_column(const struct csv_sheet *sheet, const char *name)
{
    assert_true(sheet->count > 0);
    for (size_t i = 0; sheet->rows[0][i] != NULL; i++)
        if (strcmp(sheet->rows[0][i], name) == 0)
            return i;
    fail_msg("no column %s", name);
    return 0;
}

static inline const char *csv_at(const struct csv_sheet *sheet, size_t row, const char *column)
{
    return sheet->rows[row][csv_column(sheet, column)];
}

/* Whether a list separated by ; has this word. */
static inline bool list_has(const char *list, const char *word)
{
    size_t length = strlen(word);

    for (const char *at = list; (at = strstr(at, word)) != NULL; at += length)
        if ((at == list || at[-1] == ';') && (at[length] == ';' || at[length] == '\0'))
            return true;
    return false;
}

#endif
