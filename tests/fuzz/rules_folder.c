/* A rules folder: several files in one input, compiled; then every check and campaign table is asked once, and
 * what can be used is linted. A line "=== PATH" begins a file. */
#include "fuzz.h"
#include "jit.h"

#include "rules/lint.h"
#include "rules/rules.h"

enum { MOST_FILES = 24, LINTED_BYTES = 3000 };

/* The next line of rest, with its line feed. */
static struct text next_line(struct text *rest)
{
    const char *feed = memchr(rest->bytes, '\n', rest->length);
    size_t length = feed != NULL ? (size_t)(feed - rest->bytes) + 1 : rest->length;
    struct text line = {rest->bytes, length};

    *rest = (struct text){rest->bytes + length, rest->length - length};
    return line;
}

static int by_path(const void *a, const void *b)
{
    return text_compare(((const struct rules_file *)a)->path, ((const struct rules_file *)b)->path);
}

/* A folder holds a path once; a path is a name that a folder could have. */
static bool is_new_path(const struct rules_file *files, uint32_t count, struct text path)
{
    for (uint32_t i = 0; i < count; i++)
        if (text_equal(files[i].path, path))
            return false;
    return path.length > 0 && path.bytes[0] != '/' && memchr(path.bytes, 0, path.length) == NULL;
}

static uint32_t split_input(struct text rest, struct rules_file *files)
{
    uint32_t count = 0;
    bool inside = false;

    while (rest.length > 0) {
        struct text line = next_line(&rest);
        if (text_starts_with(line, TEXT("=== "))) {
            struct text path = text_trim((struct text){line.bytes + 4, line.length - 4});
            if (path.length > 0 && path.bytes[path.length - 1] == '\n')
                path = text_trim((struct text){path.bytes, path.length - 1});
            inside = count < MOST_FILES && is_new_path(files, count, path);
            if (inside)
                files[count++] = (struct rules_file){path, {rest.bytes, 0}};
        } else if (inside) {
            files[count - 1].bytes.length += line.length;
        }
    }
    qsort(files, count, sizeof *files, by_path);
    return count;
}

static void ask(const struct table *table, const struct value *facts, struct table_scratch *scratch)
{
    struct table_hits hits;
    struct buffer out = BUFFER_EMPTY;

    if (table == NULL)
        return;
    must(table_decide(table, facts, scratch, &hits) == WM_OK, "there is memory");
    for (uint32_t h = 0; h < hits.count; h++)
        for (uint32_t o = 0; o < table_output_count(table); o++)
            table_output_write(table, hits.rows[h], o, facts, &out);
    must(text_is_utf8(buffer_text(&out)), "outputs are text");
    buffer_free(&out);
}

static void ask_all(const struct rules *rules)
{
    struct value *facts = calloc(rules->dictionary->slot_count + 1, sizeof *facts);
    struct table_scratch *scratch = NULL;

    must(facts != NULL && table_scratch_new(&scratch) == WM_OK, "there is memory");
    ask(rules->deadlines, facts, scratch);
    for (int scope = 0; scope < SCOPES; scope++)
        for (uint32_t i = 0; i < rules->check_count[scope]; i++)
            ask(rules->checks[scope][i].table, facts, scratch);
    for (uint32_t i = 0; i < rules->campaign_count; i++)
        for (int which = 0; which < CAMPAIGN_TABLES; which++)
            ask(campaign_table(&rules->campaigns[i], (enum campaign_table)which), facts, scratch);
    table_scratch_free(scratch);
    free(facts);
}

static int take_result(void *context, const struct lint_result *result)
{
    (void)context;
    must(result->wrong.length > 0 && text_is_utf8(result->wrong), "what is wrong is said");
    must(text_is_utf8(result->advice) && text_is_utf8(result->example), "results are text");
    return WM_OK;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length);
    struct arena arena = ARENA_EMPTY;
    struct diag_sink sink = looking_sink();
    struct rules_file list[MOST_FILES];
    struct rules_files files = {TEXT("rules"), list, 0};
    struct rules *rules = NULL;
    struct lint_summary summary;
    struct text t;
    char *copy = input_rest(&input, &t);

    jit_choose(bytes, length);
    files.count = split_input(t, list);
    if (went_well(rules_compile(&arena, &files, &sink, &rules), &sink)) {
        ask_all(rules);
        if (t.length < LINTED_BYTES)
            must(lint_rules(rules, NULL, take_result, NULL, &summary) == WM_OK, "there is memory");
    }
    rules_free(rules);
    arena_free(&arena);
    free(copy);
    return 0;
}
