/* Two lists of one file: rows by their keys, cells by their columns. */
#include "base/csv.h"
#include "base/limits.h"
#include "base/status.h"
#include "rules/differences_parts.h"

/* The columns that name a row of a list. */
struct list_kind {
    const char *name;    /* of the file, without folders */
    const char *keys[2]; /* the second may be NULL */
};

static const struct list_kind KINDS[] = {
    {"campaign.csv", {"key", NULL}}, {"facts.csv", {"name", "scope"}}, {"prices.csv", {"part", "valid_from"}},
    {"stages.csv", {"stage", NULL}}, {"units.csv", {"unit", NULL}},
    {"filings.csv", {"filing", NULL}}, {"outliers.csv", {"measure", NULL}},
};

struct list_row {
    uint64_t line;
    struct text *cells;
    struct text key;
};

struct list {
    struct text *columns;
    uint32_t width;
    struct list_row *rows;
    uint32_t count;
    struct text_index index;
};

static const struct list_kind *kind_of(struct text path)
{
    for (size_t i = 0; i < sizeof KINDS / sizeof *KINDS; i++) {
        struct text name = text_of(KINDS[i].name);
        if (text_ends_with(path, name) &&
            (path.length == name.length || path.bytes[path.length - name.length - 1] == '/'))
            return &KINDS[i];
    }
    return NULL;
}

/* --- Reading -------------------------------------------------------------------------------------- */

static int copy_cells(struct arena *arena, const struct csv_row *row, uint32_t width, struct text **ret_cells)
{
    struct text *cells = ARENA_ARRAY(arena, struct text, width);

    if (cells == NULL)
        return WM_NO_MEMORY;
    for (uint32_t c = 0; c < width; c++) {
        cells[c] = c < row->cell_count ? text_copy(arena, row->cells[c]) : (struct text){"", 0};
        if (cells[c].bytes == NULL)
            return WM_NO_MEMORY;
    }
    *ret_cells = cells;
    return WM_OK;
}

static int column_named(const struct list *list, struct text name)
{
    for (uint32_t c = 0; c < list->width; c++)
        if (text_equal(list->columns[c], name))
            return (int)c;
    return -1;
}

static struct text cell_named(const struct list *list, const struct list_row *row, struct text name)
{
    int column = column_named(list, name);

    return column < 0 ? (struct text){"", 0} : row->cells[column];
}

/* `PSH-1600-01 2026-03-01`; without the second where it is empty. */
static struct text key_of(struct arena *arena, const struct list *list, const struct list_row *row,
                          const struct list_kind *kind)
{
    struct text first = cell_named(list, row, text_of(kind->keys[0]));
    struct text second =
        kind->keys[1] != NULL ? cell_named(list, row, text_of(kind->keys[1])) : (struct text){"", 0};

    return second.length == 0 ? first
                              : text_format(arena, "%.*s %.*s", TEXT_ARGUMENTS(first), TEXT_ARGUMENTS(second));
}

static int add_row(struct arena *arena, struct list *list, const struct csv_row *row,
                   const struct list_kind *kind, uint32_t *capacity)
{
    if (list->count == *capacity) {
        uint32_t larger = *capacity ? *capacity * 2 : 64;
        struct list_row *grown = arena_grown(arena, list->rows, list->count, larger, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        list->rows = grown;
        *capacity = larger;
    }
    struct list_row *own = &list->rows[list->count];
    own->line = row->line;
    int status = copy_cells(arena, row, list->width, &own->cells);
    if (status != WM_OK)
        return status;
    own->key = key_of(arena, list, own, kind);
    if (own->key.bytes == NULL || text_index_add(&list->index, own->key, list->count) == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    list->count++;
    return WM_OK;
}

static bool is_comment(const struct csv_row *row)
{
    return text_starts_with(row->cells[0], TEXT("#"));
}

static int read_list(struct arena *arena, const struct rules_file *file, const struct list_kind *kind,
                     struct list *list)
{
    struct csv_rows rows = {0};
    struct csv_row row;
    uint32_t capacity = 0;

    *list = (struct list){.index = TEXT_INDEX_EMPTY};
    if (file == NULL)
        return WM_OK;
    int status = csv_rows_open(&rows, csv_without_mark(file->bytes), 1, LIMIT_COLUMNS, arena);
    while (status == WM_OK && csv_rows_next(&rows, &row))
        if (list->columns == NULL) {
            list->width = row.cell_count;
            status = copy_cells(arena, &row, row.cell_count, &list->columns);
        } else if (!is_comment(&row)) {
            status = add_row(arena, list, &row, kind, &capacity);
        }
    if (rows.no_memory)
        status = WM_NO_MEMORY;
    csv_rows_close(&rows);
    return status;
}

/* --- Comparing ------------------------------------------------------------------------------------ */

static bool is_key(const struct list_kind *kind, struct text column)
{
    return text_is(column, kind->keys[0]) || (kind->keys[1] != NULL && text_is(column, kind->keys[1]));
}

/* A row without its key: `price 118.40`. */
static struct text row_in_words(struct buffer *words, const struct list *list, const struct list_row *row,
                                const struct list_kind *kind)
{
    bool some = false;

    buffer_clear(words);
    for (uint32_t c = 0; c < list->width; c++) {
        if (is_key(kind, list->columns[c]) || row->cells[c].length == 0)
            continue;
        buffer_format(words, "%s%.*s %.*s", some ? ", " : "", TEXT_ARGUMENTS(list->columns[c]),
                      TEXT_ARGUMENTS(row->cells[c]));
        some = true;
    }
    return buffer_text(words);
}

struct lists {
    struct comparing *comparing;
    struct text file;
    const struct list_kind *kind;
    struct list before, after;
};

static int tell_list_row(const struct lists *lists, const struct list *list, const struct list_row *row,
                         enum change change)
{
    struct comparing *comparing = lists->comparing;
    struct difference difference = {.change = change, .file = lists->file, .row = row->key};

    if (change == CHANGE_ADDED) {
        difference.after = row_in_words(&comparing->words_after, list, row, lists->kind);
        difference.line_after = row->line;
    } else {
        difference.before = row_in_words(&comparing->words_before, list, row, lists->kind);
        difference.line_before = row->line;
    }
    return tell(comparing, &difference);
}

static int compare_list_rows(const struct lists *lists, const struct list_row *before,
                             const struct list_row *after)
{
    int status = WM_OK;

    for (uint32_t c = 0; status == WM_OK && c < lists->after.width; c++) {
        struct text column = lists->after.columns[c];
        struct text old = cell_named(&lists->before, before, column);
        if (!text_equal(old, after->cells[c]))
            status = tell(lists->comparing, &(struct difference){.change = CHANGE_CHANGED,
                                                                 .file = lists->file,
                                                                 .row = after->key,
                                                                 .column = column,
                                                                 .before = old,
                                                                 .after = after->cells[c],
                                                                 .line_before = before->line,
                                                                 .line_after = after->line});
    }
    return status;
}

static int compare_read(const struct lists *lists)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < lists->before.count; i++)
        if (text_index_find(&lists->after.index, lists->before.rows[i].key) == TEXT_INDEX_NONE)
            status = tell_list_row(lists, &lists->before, &lists->before.rows[i], CHANGE_REMOVED);
    for (uint32_t i = 0; status == WM_OK && i < lists->after.count; i++) {
        const struct list_row *row = &lists->after.rows[i];
        uint32_t other = text_index_find(&lists->before.index, row->key);
        status = other == TEXT_INDEX_NONE ? tell_list_row(lists, &lists->after, row, CHANGE_ADDED)
                                          : compare_list_rows(lists, &lists->before.rows[other], row);
    }
    return status;
}

int compare_lists(struct comparing *comparing, const struct rules_file *before, const struct rules_file *after)
{
    struct lists lists = {.comparing = comparing, .file = before != NULL ? before->path : after->path};

    lists.kind = kind_of(lists.file);
    if (lists.kind == NULL)
        return WM_OK; /* a file that nobody reads */
    int status = read_list(&comparing->arena, before, lists.kind, &lists.before);
    if (status == WM_OK)
        status = read_list(&comparing->arena, after, lists.kind, &lists.after);
    if (status == WM_OK)
        status = compare_read(&lists);
    text_index_free(&lists.before.index);
    text_index_free(&lists.after.index);
    return status;
}
