#include "rules/filings.h"

#include "base/decimal.h"
#include "base/sheet.h"
#include "base/status.h"

enum {
    FILING,
    KINDS,
    FORM,
    QUARTERS,
    ANNUAL_REPORTS,
    DUE_DAY,
    DUE_DAYS,
    DUE_WORKING_DAYS,
    MOVES,
    SOURCE,
    COLUMNS
};
static const struct csv_column FILING_COLUMNS[COLUMNS] = {
    {"filing", true},         {"kinds", true},    {"form", true},      {"quarters", true},
    {"annual_reports", true}, {"due_day", false}, {"due_days", false}, {"due_working_days", false},
    {"moves", false},         {"source", false}};

enum { MOST_QUARTERS = 100, MOST_ANNUAL = 50, MOST_DAY = 31, MOST_DAYS = 366 };

/* A whole number from 0; an empty cell is 0. */
static int read_count(const struct sheet *sheet, int column, int most)
{
    struct text cell = sheet_cell(sheet, column);
    int64_t number = 0;

    if (cell.length == 0)
        return 0;
    if (decimal_read(cell, 0, &number) == NUMBER_OK && number >= 0 && number <= most * DECIMAL_ONE)
        return (int)(number / DECIMAL_ONE);
    diag_error(sheet->sink, sheet_place(sheet, column),
               "%s \"%.*s\" is no whole number from 0 to %d; correct it", FILING_COLUMNS[column].name,
               TEXT_ARGUMENTS(cell), most);
    return 0;
}

static void read_form(const struct sheet *sheet, struct filing *filing)
{
    struct text cell = sheet_cell(sheet, FORM);

    if (text_is(cell, "emissions"))
        filing->form = FILING_EMISSIONS;
    else if (text_is(cell, "defect"))
        filing->form = FILING_DEFECT;
    else
        diag_error(sheet->sink, sheet_place(sheet, FORM), "form \"%.*s\" is none; write defect or emissions",
                   TEXT_ARGUMENTS(cell));
}

static void read_moves(const struct sheet *sheet, struct filing *filing)
{
    struct text cell = sheet_cell(sheet, MOVES);

    filing->moves = text_is(cell, "true");
    if (cell.length > 0 && !filing->moves && !text_is(cell, "false"))
        diag_error(sheet->sink, sheet_place(sheet, MOVES),
                   "moves \"%.*s\" is neither true nor false; write one of them", TEXT_ARGUMENTS(cell));
}

static void check_due(const struct sheet *sheet, const struct filing *filing)
{
    int given = (filing->due_day > 0) + (filing->due_days > 0) + (filing->due_working_days > 0);

    if (given != 1)
        diag_error(sheet->sink, sheet_place(sheet, FILING),
                   "%s says %s when its reports are due; fill in one of due_day, due_days and due_working_days",
                   "the row", given == 0 ? "not" : "more than once");
}

/* No kind may be taken by two rows, and only one row takes the rest. */
static void check_kinds(const struct sheet *sheet, const struct filings *filings, const struct filing *filing)
{
    struct text rest = filing->kinds, kind;

    if (filing->kinds.length == 0 && filings_for(filings, TEXT("")) != NULL)
        diag_error(sheet->sink, sheet_place(sheet, KINDS),
                   "two rows name no kind of campaign; keep one of them for the kinds that no row names");
    while (text_next(&rest, ';', &kind)) {
        const struct filing *other = filings_for(filings, kind);
        if (kind.length > 0 && other != NULL && other->kinds.length > 0)
            diag_error(sheet->sink, sheet_place(sheet, KINDS), "kind \"%.*s\" stands in row %.*s too; keep one",
                       TEXT_ARGUMENTS(kind), TEXT_ARGUMENTS(other->name));
    }
}

static int read_filing(void *context, const struct sheet *sheet)
{
    struct filings *filings = context;
    struct filing filing = {.name = text_copy(sheet->arena, sheet_cell(sheet, FILING)),
                            .kinds = text_copy(sheet->arena, sheet_cell(sheet, KINDS)),
                            .quarters = read_count(sheet, QUARTERS, MOST_QUARTERS),
                            .annual_reports = read_count(sheet, ANNUAL_REPORTS, MOST_ANNUAL),
                            .due_day = read_count(sheet, DUE_DAY, MOST_DAY),
                            .due_days = read_count(sheet, DUE_DAYS, MOST_DAYS),
                            .due_working_days = read_count(sheet, DUE_WORKING_DAYS, MOST_DAYS),
                            .source = text_copy(sheet->arena, sheet_cell(sheet, SOURCE))};

    if (filing.name.length == 0)
        diag_error(sheet->sink, sheet_place(sheet, FILING), "the row has no name; fill the cell in");
    read_form(sheet, &filing);
    read_moves(sheet, &filing);
    check_due(sheet, &filing);
    check_kinds(sheet, filings, &filing);
    struct filing *grown =
        arena_grown(sheet->arena, filings->list, filings->count, filings->count + 1, sizeof *grown);
    if (grown == NULL || filing.name.bytes == NULL || filing.kinds.bytes == NULL || filing.source.bytes == NULL)
        return WM_NO_MEMORY;
    filings->list = grown;
    filings->list[filings->count++] = filing;
    return WM_OK;
}

int filings_read(struct arena *arena, struct text file, struct text csv, struct diag_sink *sink,
                 struct filings *ret_filings)
{
    struct filings filings = {NULL, 0};
    int status = sheet_read(arena, file, csv, FILING_COLUMNS, COLUMNS, read_filing, &filings, sink);

    if (status == WM_OK)
        *ret_filings = filings;
    return status;
}

static bool names_kind(const struct filing *filing, struct text kind)
{
    struct text rest = filing->kinds, piece;

    while (text_next(&rest, ';', &piece))
        if (text_equal_any_case(piece, kind))
            return true;
    return false;
}

const struct filing *filings_for(const struct filings *filings, struct text kind)
{
    const struct filing *others = NULL;

    for (uint32_t i = 0; i < filings->count; i++) {
        if (kind.length > 0 && names_kind(&filings->list[i], kind))
            return &filings->list[i];
        if (filings->list[i].kinds.length == 0)
            others = &filings->list[i];
    }
    return others;
}
