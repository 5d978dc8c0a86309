#include "ledger/replay.h"

#include "base/status.h"
#include "intake/canonical.h"
#include "ledger/columns.h"
#include "ledger/records.h"

enum { BATCHES, BLOCKS, STATEMENTS };
static const char *const SQL[STATEMENTS] = {
    [BATCHES] =
        "SELECT batch, load, received_on, today, file_name, first_row, row_count FROM batches ORDER BY batch",
    [BLOCKS] = "SELECT first_row, records FROM row_blocks WHERE first_row > ?1 - ?3 AND first_row < ?1 + ?2 "
               "ORDER BY first_row",
};

struct replay {
    struct office *office;
    sqlite3_stmt *statements[STATEMENTS];
    struct buffer csv;
};

static void add_header(struct buffer *csv)
{
    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        buffer_add_string(csv, column > 0 ? "," : "");
        buffer_add_string(csv, claim_column_name((enum claim_column)column));
    }
    buffer_add_byte(csv, '\n');
}

static void add_row(struct buffer *csv, struct text content)
{
    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        struct text cell;
        text_cut(content, '\0', &cell, &content);
        buffer_add_string(csv, column > 0 ? "," : "");
        buffer_add_csv(csv, cell);
    }
    buffer_add_byte(csv, '\n');
}

static void add_block(struct replay *replay, int64_t first, int64_t end)
{
    sqlite3_stmt *statement = replay->statements[BLOCKS];
    struct text rest = column_blob(statement, 1), content;
    const uint8_t *digest;

    for (int64_t row = sqlite3_column_int64(statement, 0); row_block_next(&rest, &digest, &content); row++)
        if (row >= first && row < end)
            add_row(&replay->csv, content);
}

static int read_rows(struct replay *replay, int64_t first, int64_t count)
{
    sqlite3_stmt *statement = replay->statements[BLOCKS];
    bool more = true;

    buffer_clear(&replay->csv);
    add_header(&replay->csv);
    sqlite3_reset(statement);
    sqlite3_bind_int64(statement, 1, first);
    sqlite3_bind_int64(statement, 2, count);
    sqlite3_bind_int64(statement, 3, BLOCK_ROWS);
    while (more) {
        int status = office_step(replay->office, statement, &more);
        if (status != WM_OK)
            return status;
        if (more)
            add_block(replay, first, first + count);
    }
    return replay->csv.failed ? WM_NO_MEMORY : WM_OK;
}

static int take_batch(struct replay *replay, int (*take)(void *context, const struct recorded_batch *batch),
                      void *context)
{
    sqlite3_stmt *statement = replay->statements[BATCHES];
    struct recorded_batch batch = {.batch = sqlite3_column_int64(statement, 0),
                                   .load = sqlite3_column_int64(statement, 1),
                                   .received_on = column_day(statement, 2),
                                   .today = column_day(statement, 3),
                                   .file_name = column_text(statement, 4)};
    int status = read_rows(replay, sqlite3_column_int64(statement, 5), sqlite3_column_int64(statement, 6));

    batch.csv = buffer_text(&replay->csv);
    return status != WM_OK ? status : take(context, &batch);
}

int ledger_replay(struct office *office, int (*take)(void *context, const struct recorded_batch *batch),
                  void *context)
{
    struct replay replay = {.office = office};
    bool more = true;
    int status = WM_OK;

    for (int i = 0; status == WM_OK && i < STATEMENTS; i++)
        status = office_prepare(office, SQL[i], &replay.statements[i]);
    while (status == WM_OK && more) {
        status = office_step(office, replay.statements[BATCHES], &more);
        if (status == WM_OK && more)
            status = take_batch(&replay, take, context);
    }
    for (int i = 0; i < STATEMENTS; i++)
        sqlite3_finalize(replay.statements[i]);
    buffer_free(&replay.csv);
    return status;
}
