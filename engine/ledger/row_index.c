#include "ledger/row_index.h"

#include <sqlite3.h>
#include <stdlib.h>

#include "base/status.h"
#include "ledger/row_feed.h"

/* first NUL second, or first alone. */
struct index_entry {
    uint64_t prefix;        /* the first bytes of the key, so that most comparisons touch nothing else */
    const char *key;
    uint32_t length, first_length;
    int64_t revision;
    int64_t row;
};

void row_index_close(struct row_index *index)
{
    free(index->by_number.entries);
    free(index->by_vin.entries);
    free(index->by_repair_order.entries);
    arena_free(&index->arena);
}

static uint64_t prefix_of(struct text key)
{
    uint64_t prefix = 0;

    for (size_t i = 0; i < 8; i++)
        prefix = prefix << 8 | (i < key.length ? (uint8_t)key.bytes[i] : 0);
    return prefix;
}

static int add(struct index_list *list, struct text key, uint32_t first_length, int64_t revision, int64_t row)
{
    if (list->count == list->capacity) {
        uint32_t capacity = list->capacity ? list->capacity * 2 : 4096;
        struct index_entry *grown = realloc(list->entries, capacity * sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        list->entries = grown;
        list->capacity = capacity;
    }
    list->entries[list->count++] =
        (struct index_entry){prefix_of(key), key.bytes, (uint32_t)key.length, first_length, revision, row};
    return WM_OK;
}

static struct text join(struct arena *arena, struct text first, struct text second)
{
    char *bytes = arena_bytes(arena, first.length + 1 + second.length);

    if (bytes == NULL)
        return (struct text){NULL, 0};
    memcpy(bytes, first.bytes, first.length);
    bytes[first.length] = '\0';
    memcpy(bytes + first.length + 1, second.bytes, second.length);
    return (struct text){bytes, first.length + 1 + second.length};
}

int row_index_add(struct row_index *index, const struct claim *claim, int64_t row)
{
    struct text dealer = claim->cells[COLUMN_DEALER];
    struct text number = join(&index->arena, dealer, claim->cells[COLUMN_CLAIM]);
    struct text order = join(&index->arena, dealer, claim->cells[COLUMN_REPAIR_ORDER]);
    struct text vin = text_copy(&index->arena, claim->vin);

    if (number.bytes == NULL || order.bytes == NULL || vin.bytes == NULL ||
        add(&index->by_number, number, (uint32_t)dealer.length, claim->revision, row) != WM_OK ||
        add(&index->by_repair_order, order, (uint32_t)dealer.length, 0, row) != WM_OK ||
        add(&index->by_vin, vin, (uint32_t)vin.length, 0, row) != WM_OK)
        return WM_NO_MEMORY;
    return WM_OK;
}

/* The order of the tables: texts by their bytes; the NUL keeps the first part apart from the second. */
static int by_key(const void *a, const void *b)
{
    const struct index_entry *x = a, *y = b;

    if (x->prefix != y->prefix)
        return x->prefix < y->prefix ? -1 : 1;
    int order = text_compare((struct text){x->key, x->length}, (struct text){y->key, y->length});
    if (order != 0)
        return order;
    if (x->revision != y->revision)
        return x->revision < y->revision ? -1 : 1;
    return x->row < y->row ? -1 : x->row > y->row;
}

enum index_column { FIRST, SECOND, REVISION, ROW };

static void cell(void *context, uint64_t row, int column, sqlite3_context *ret_cell)
{
    const struct index_entry *entry = &((const struct index_entry *)context)[row];

    switch ((enum index_column)column) {
    case FIRST:
        sqlite3_result_text(ret_cell, entry->key, (int)entry->first_length, SQLITE_STATIC);
        break;
    case SECOND:
        sqlite3_result_text(ret_cell, entry->key + entry->first_length + 1,
                            (int)(entry->length - entry->first_length - 1), SQLITE_STATIC);
        break;
    case REVISION:
        sqlite3_result_int64(ret_cell, entry->revision);
        break;
    case ROW:
        sqlite3_result_int64(ret_cell, entry->row);
        break;
    }
}

static int write_list(struct index_list *list, struct office *office, const char *sql)
{
    const struct row_feed feed = {"first, second, revision, row", list->count, cell, list->entries};

    if (list->count == 0)
        return WM_OK;
    qsort(list->entries, list->count, sizeof *list->entries, by_key);
    return row_feed_run(office, &feed, sql);
}

int row_index_write(struct row_index *index, struct office *office)
{
    int status = write_list(&index->by_number, office, "INSERT INTO claims_by_number (dealer, claim, revision, row) "
                            "SELECT first, second, revision, row FROM fed");

    if (status == WM_OK)
        status = write_list(&index->by_vin, office, "INSERT INTO claims_by_vin (vin, row) SELECT first, row FROM fed");
    if (status == WM_OK)
        status = write_list(&index->by_repair_order, office,
                            "INSERT INTO claims_by_repair_order (dealer, repair_order, row) "
                            "SELECT first, second, row FROM fed");
    return status;
}
