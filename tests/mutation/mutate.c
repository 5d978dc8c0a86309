/* mutate.c - changes one thing in a C file, as a careless hand would: mutate FILE [NUMBER]
 *
 * Without NUMBER it lists every place that it could change: number, line, what, the line's text. With NUMBER it
 * writes the file with that one change to standard output. Looked at are operators, small constants, true and
 * false, and conditions; comments, strings and what the preprocessor reads are left alone, as are lists of
 * constants that begin with `{` (tests of them are tables of their own) and assert().
 */
#include <ctype.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *text;
static size_t length;
static long wanted = -1, found;

struct swap {
    const char *from, *to;
};

/* The longer ones first. Binary + and - stand between blanks in this code. */
static const struct swap SWAPS[] = {
    {"<<", ">>"},   {"<=", "<"},     {">=", ">"},     {"==", "!="},   {"!=", "=="},
    {"&&", "||"},   {"||", "&&"},    {"+= ", "-= "},  {"-= ", "+= "}, {" + ", " - "},
    {" - ", " + "}, {" * ", " + "},  {" / ", " * "},  {" % ", " / "}, {" & ", " | "},
    {" | ", " & "}, {" < ", " <= "}, {" > ", " >= "}, {"++", "--"},
};

static void read_file(const char *path)
{
    FILE *file = fopen(path, "rb");

    if (file == NULL || fseek(file, 0, SEEK_END) != 0) {
        perror(path);
        exit(2);
    }
    length = (size_t)ftell(file);
    rewind(file);
    text = calloc(length + 2, 1);
    if (text == NULL || fread(text, 1, length, file) != length)
        exit(2);
    fclose(file);
}

/* A condition may be written over several lines. */
static void in_one_line(const char *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        putchar(bytes[i] == '\n' ? ' ' : bytes[i]);
}

/* A place that can be changed: so many bytes at `at` become `to`. */
static void place(size_t at, size_t bytes, const char *to)
{
    size_t line = 1, from = at, end = at;

    if (found++ != wanted && wanted >= 0)
        return;
    if (wanted >= 0) {
        fwrite(text, 1, at, stdout);
        fputs(to, stdout);
        fwrite(text + at + bytes, 1, length - at - bytes, stdout);
        exit(fflush(stdout) == 0 ? 0 : 2);
    }
    for (size_t i = 0; i < at; i++)
        line += text[i] == '\n';
    while (from > 0 && text[from - 1] != '\n')
        from--;
    while (from < at && text[from] == ' ')
        from++;
    while (end < length && text[end] != '\n')
        end++;
    printf("%ld\t%zu\t", found - 1, line);
    in_one_line(text + at, bytes < 30 ? bytes : 30);
    fputs(" -> ", stdout);
    in_one_line(to, strlen(to));
    printf("\t%.*s\n", (int)(end - from), text + from);
}

static bool is_word(char c)
{
    return isalnum((unsigned char)c) || c == '_';
}

static size_t skip_quoted(size_t at)
{
    char quote = text[at++];

    while (at < length && text[at] != quote)
        at += 1 + (text[at] == '\\');
    return at + 1;
}

static size_t skip_line(size_t at)
{
    while (at < length && (text[at] != '\n' || text[at - 1] == '\\'))
        at++;
    return at;
}

/* The bracket that closes the one at `at`. */
static size_t close_of(size_t at)
{
    char open = text[at], close = open == '(' ? ')' : '}';
    int depth = 0;

    while (at < length) {
        if (text[at] == '"' || text[at] == '\'') {
            at = skip_quoted(at);
            continue;
        }
        depth += text[at] == open;
        depth -= text[at] == close;
        if (depth == 0)
            return at;
        at++;
    }
    return length;
}

/* if (X): X becomes !(X). */
static void change_condition(size_t at)
{
    size_t open = at + 3, close = close_of(open);
    char *negated = malloc(close - open + 8);

    sprintf(negated, "(!%.*s)", (int)(close - open + 1), text + open);
    place(open, close - open + 1, negated);
    free(negated);
}

static size_t change_number(size_t at)
{
    size_t end = at;
    char changed[32];

    while (is_word(text[end]))
        end++;
    if (end - at > 4 || text[at + 1] == 'x' || text[end] == '.')
        return end;
    long number = strtol(text + at, NULL, 10);
    snprintf(changed, sizeof changed, "%ld", number == 1 ? 0 : number + 1);
    place(at, end - at, changed);
    return end;
}

static size_t change_word(size_t at)
{
    size_t end = at;

    while (is_word(text[end]))
        end++;
    if (end - at == 4 && strncmp(text + at, "true", 4) == 0)
        place(at, 4, "false");
    else if (end - at == 5 && strncmp(text + at, "false", 5) == 0)
        place(at, 5, "true");
    else if (end - at == 2 && strncmp(text + at, "if", 2) == 0 && text[end] == ' ')
        change_condition(at);
    else if (strncmp(text + at, "assert", 6) == 0 && text[end] == '(')
        return close_of(end);
    return end;
}

/* The file outside of functions: declarations, tables of constants. */
static bool in_function;

static size_t change_operator(size_t at)
{
    for (size_t i = 0; i < sizeof SWAPS / sizeof *SWAPS; i++) {
        size_t bytes = strlen(SWAPS[i].from);
        if (strncmp(text + at, SWAPS[i].from, bytes) == 0) {
            place(at, bytes, SWAPS[i].to);
            return at + bytes - (SWAPS[i].from[bytes - 1] == ' ' && bytes > 1);
        }
    }
    if (text[at] == '!' && text[at + 1] != '=')
        place(at, 1, "");
    return at + 1;
}

int main(int count, char **arguments)
{
    if (count < 2)
        return 2;
    read_file(arguments[1]);
    if (count > 2)
        wanted = atol(arguments[2]);
    for (size_t at = 0; at < length;) {
        if (text[at] == '\n' && text[at + 1] == '{')
            in_function = true;
        if (text[at] == '\n' && text[at + 1] == '}')
            in_function = false;
        if (text[at] == '#' && (at == 0 || text[at - 1] == '\n'))
            at = skip_line(at);
        else if (strncmp(text + at, "/*", 2) == 0)
            at = (size_t)(strstr(text + at, "*/") - text) + 2;
        else if (text[at] == '"' || text[at] == '\'')
            at = skip_quoted(at);
        else if (!in_function || strncmp(text + at, "->", 2) == 0)
            at += in_function ? 2 : 1;
        else if (strncmp(text + at, "= {", 3) == 0)
            at = close_of(at + 2);
        else if (isdigit((unsigned char)text[at]))
            at = change_number(at);
        else if (is_word(text[at]))
            at = change_word(at);
        else
            at = change_operator(at);
    }
    return wanted >= 0 ? 2 : 0;
}
