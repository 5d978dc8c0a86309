#include "ledger/tallies_then.h"

#include <sqlite3.h>
#include <string.h>

#include "base/status.h"
#include "base/text_index.h"
#include "intake/items.h"
#include "ledger/columns.h"
#include "ledger/packed.h"
#include "ledger/row_feed.h"

/* A row alone is the whole claim where none replaced it and nobody decided over it. */
static const char ROWS[] = "SELECT r.row, r.dealer, r.claim, r.completed_on, r.replaces, r.decision, "
                           "EXISTS (SELECT 1 FROM replaced_rows WHERE row = r.row) OR EXISTS (SELECT 1 FROM "
                           "office_decisions WHERE row = r.row) "
                           "FROM fed CROSS JOIN claim_rows AS r ON r.row = fed.row";
static const char DECIDED_LATER[] =
    "SELECT r.row, r.dealer, r.claim FROM fed CROSS JOIN claim_rows AS r ON r.row = fed.row "
    "WHERE EXISTS (SELECT 1 FROM office_decisions WHERE row = fed.row AND number > ?1)";
static const char LAST_DECISION[] = "SELECT coalesce(max(number), 0) FROM office_decisions";

static const struct ledger_point NOW = {INT64_MAX, INT64_MAX};

struct adding {
    struct office *office;
    struct ledger_reader *reader;
    struct ledger_point point;
    struct text dealer;
    int32_t until;
    bool from_now;
    struct tallies *tallies;
    struct text_index added; /* claims that were added as a whole */
    struct arena names;      /* of added */
    struct arena arena;      /* for one row */
};

/* --- One claim ---------------------------------------------------------------------------------------------
 */

/* Of a canonical text what tallies count; the rest of the claim is left out, as reading it takes most of the
 * time. */
static int read_counted(struct adding *adding, struct text content, struct claim *ret_claim)
{
    struct claim claim = {.completed_on = DAY_NONE};
    struct text rest = content, reason;

    for (int i = 0; i <= COLUMN_LABOR; i++)
        if (!text_cut(rest, '\0', &claim.cells[i], &rest))
            claim.cells[i] = TEXT("");
    if (!date_read(claim.cells[COLUMN_COMPLETED_ON], &claim.completed_on))
        claim.completed_on = DAY_NONE;
    int status =
        items_read_parts(claim.cells[COLUMN_PARTS], &adding->arena, &claim.parts, &claim.part_count, &reason);
    if (status == WM_OK)
        status = items_read_labor(claim.cells[COLUMN_LABOR], &adding->arena, &claim.labor, &claim.labor_count,
                                  &reason);
    *ret_claim = claim;
    return status == WM_BAD_INPUT ? office_report(adding->office, SQLITE_CORRUPT) : status;
}

static int tally_row(struct adding *adding, int64_t row, int sign)
{
    struct text content;
    struct claim claim;
    int status = ledger_content(adding->reader, &adding->arena, row, &content);

    if (status == WM_OK)
        status = read_counted(adding, content, &claim);
    return status == WM_OK ? tallies_add_claim(adding->tallies, &claim, sign) : status;
}

static bool counts(const struct adding *adding, int32_t completed_on)
{
    return completed_on != DAY_NONE && completed_on <= adding->until;
}

/* The row of the claim that stood or stands at a point and counts; 0: none. */
static int standing_row(struct adding *adding, struct ledger_point point, struct text number, int64_t *ret_row)
{
    struct ledger_claim claim;

    ledger_reader_move(adding->reader, point);
    int status = ledger_claim_read(adding->reader, &adding->arena, adding->dealer, number, &claim);
    if (status != WM_OK && status != WM_NOT_FOUND)
        return status;
    const struct claim_row *row = status == WM_OK ? claim.standing : NULL;
    *ret_row = row != NULL && counts(adding, row->completed_on) ? row->row : 0;
    return WM_OK;
}

/* A claim of several rows, or that people decided over: what stood then and, from now, less what stands. */
static int add_claim(struct adding *adding, struct text borrowed_number)
{
    int64_t then = 0, now = 0;
    struct text number = text_copy(&adding->names, borrowed_number);
    uint32_t place = adding->added.count;
    uint32_t is_at = number.bytes != NULL ? text_index_add(&adding->added, number, place) : TEXT_INDEX_NONE;

    if (is_at == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    if (is_at != place)
        return WM_OK;
    int status = standing_row(adding, adding->point, number, &then);
    if (status == WM_OK && adding->from_now)
        status = standing_row(adding, NOW, number, &now);
    if (status != WM_OK || then == now)
        return status;
    if (then != 0)
        status = tally_row(adding, then, 1);
    return status == WM_OK && now != 0 ? tally_row(adding, now, -1) : status;
}

/* --- Rows --------------------------------------------------------------------------------------------------
 */

/* A row of ROWS: recorded after the point, where it is from now; else before it. */
static int add_row(struct adding *adding, sqlite3_stmt *statement)
{
    bool is_first = sqlite3_column_type(statement, 4) == SQLITE_NULL,
         is_all = sqlite3_column_int(statement, 6) == 0;
    enum decision decision;

    if (!is_first && sqlite3_column_int64(statement, 4) == 0) /* a revision that does not count */
        return WM_OK;
    if (!is_first || !is_all)
        return add_claim(adding, column_text(statement, 2));
    if (!counts(adding, column_day(statement, 3)))
        return WM_OK;
    if (!decision_from(column_text(statement, 5), &decision))
        return office_report(adding->office, SQLITE_CORRUPT);
    return decision == DECISION_PAY || decision == DECISION_HOLD
               ? tally_row(adding, sqlite3_column_int64(statement, 0), adding->from_now ? -1 : 1)
               : WM_OK;
}

static int add_decided(struct adding *adding, sqlite3_stmt *statement)
{
    return add_claim(adding, column_text(statement, 2));
}

/* Hands each of these rows to add, as sql gives them. */
static int add_fed(struct adding *adding, const char *sql, int64_t *rows, uint32_t count,
                   int (*add)(struct adding *adding, sqlite3_stmt *statement))
{
    const struct row_feed feed = {"row", count, row_feed_number, rows, NULL};
    sqlite3_stmt *statement = NULL;
    bool more = false;
    int status = row_feed_begin(adding->office, &feed);

    if (status != WM_OK)
        return status;
    status = office_prepare(adding->office, sql, &statement);
    if (status == WM_OK) {
        if (sqlite3_bind_parameter_count(statement) > 0)
            sqlite3_bind_int64(statement, 1, adding->point.last_decision);
        status = office_step(adding->office, statement, &more);
    }
    while (status == WM_OK && more) {
        arena_reset(&adding->arena);
        if (text_equal(column_text(statement, 1), adding->dealer))
            status = add(adding, statement);
        if (status == WM_OK)
            status = office_step(adding->office, statement, &more);
    }
    sqlite3_finalize(statement);
    row_feed_end(adding->office, &feed);
    return status;
}

static int any_decided_later(struct adding *adding, bool *ret_any)
{
    sqlite3_stmt *statement = NULL;
    bool found = false;
    int status = office_prepare(adding->office, LAST_DECISION, &statement);

    if (status == WM_OK)
        status = office_step(adding->office, statement, &found);
    *ret_any = status == WM_OK && sqlite3_column_int64(statement, 0) > adding->point.last_decision;
    sqlite3_finalize(statement);
    return status;
}

/* The first row of a claim that was surely done after the day counts in no case, whatever became of it. A later one may
 * have taken the place of one that does. */
static bool may_count(void *context, int64_t row, uint32_t note)
{
    const struct adding *adding = context;

    (void)row;
    return (note & PACKED_NOTE_FIRST) == 0 || !packed_note_is_after(note, adding->until);
}

static int add_all(struct adding *adding, enum tallies_from from, enum tallies_from *ret_from)
{
    struct arena arena = ARENA_EMPTY;
    int64_t *rows = NULL;
    uint32_t count = 0, before = 0;
    bool decided_later = false;
    int status =
        ledger_rows_of(adding->reader, &arena, adding->dealer, TEXT(""), may_count, adding, &rows, &count);

    if (status == WM_OK)
        before = (uint32_t)ledger_rows_up_to(rows, count, adding->point.last_row);
    if (from == TALLIES_FROM_EITHER) /* from nothing, each row's content is read */
        from = before < (count - before) / 2 ? TALLIES_FROM_NOTHING : TALLIES_FROM_NOW;
    adding->from_now = from == TALLIES_FROM_NOW;
    if (status == WM_OK && adding->from_now)
        status = any_decided_later(adding, &decided_later);
    if (status == WM_OK && adding->from_now)
        status = add_fed(adding, ROWS, rows + before, count - before, add_row);
    if (status == WM_OK && decided_later)
        status = add_fed(adding, DECIDED_LATER, rows, before, add_decided);
    if (status == WM_OK && !adding->from_now)
        status = add_fed(adding, ROWS, rows, before, add_row);
    arena_free(&arena);
    *ret_from = from;
    return status;
}

int tallies_then(struct office *office, struct ledger_point point, struct text dealer, int32_t until,
                 enum tallies_from from, struct tallies *tallies, enum tallies_from *ret_from)
{
    struct adding adding = {
        .office = office, .point = point, .dealer = dealer, .until = until, .tallies = tallies};
    int status = ledger_reader_open(office, NOW, &adding.reader);

    if (status == WM_OK)
        status = add_all(&adding, from, ret_from);
    ledger_reader_close(adding.reader);
    text_index_free(&adding.added);
    arena_free(&adding.names);
    arena_free(&adding.arena);
    return status;
}
