/* A whole claim file: header, rows, claims, and their canonical text. */
#include "fuzz.h"

#include "base/limits.h"
#include "intake/canonical.h"
#include "intake/claim.h"

static void look_at_unreadable(const struct claim *claim)
{
    must(claim->fault_reason.length > 0 && text_is_utf8(claim->fault_reason),
         "what cannot be read has a reason");
    for (size_t i = 0; i < claim->fault_reason.length; i++)
        must((unsigned char)claim->fault_reason.bytes[i] >= ' ', "a reason holds no control character");
    must(claim->fault_line >= claim->line, "the fault is in the row");
}

static void look_at_readable(const struct claim *claim)
{
    must(claim->cells[COLUMN_CLAIM].length > 0 && claim->cells[COLUMN_DEALER].length > 0 &&
             claim->cells[COLUMN_REPAIR_ORDER].length > 0 && claim->cells[COLUMN_CAMPAIGN].length > 0 &&
             claim->vin.length > 0 && claim->cells[COLUMN_OUTCOME].length > 0,
         "a readable claim has what is required");
    must(claim->revision >= 0 && claim->odometer >= 0 && claim->parts_amount_cents >= 0 &&
             claim->labor_amount_cents >= 0 && claim->other_amount_cents >= 0 && claim->total_amount_cents >= 0,
         "no amount is negative");
    must(claim->total_is_known, "its total is known");
}

/* The claim that its canonical text states is the same claim. */
static void round_trip(const struct claim *claim, struct arena *arena)
{
    struct text canonical, again, cells[CLAIM_COLUMNS], names;
    struct claim other;

    must(claim_canonical(claim, arena, &canonical) == WM_OK, "there is memory");
    for (int c = 0; c < CLAIM_COLUMNS; c++)
        cells[c] = canonical_cell(canonical, (enum claim_column)c);
    must(claim_of_cells(cells, claim->line, arena, &other) == WM_OK, "there is memory");
    must(!other.unreadable, "what was read once is read again");
    must(claim_canonical(&other, arena, &again) == WM_OK && text_equal(canonical, again),
         "the canonical text of a canonical text is itself");
    must(other.part_count == claim->part_count && other.labor_count == claim->labor_count &&
             other.inspection_count == claim->inspection_count &&
             other.total_amount_cents == claim->total_amount_cents &&
             other.completed_on == claim->completed_on && other.revision == claim->revision &&
             other.outcome == claim->outcome,
         "it is the same claim");
    must(claim_differences(claim, canonical, arena, &names) == WM_OK && names.length == 0,
         "a claim does not differ from itself");
}

static void read_rows(struct csv_rows *rows, const struct claim_header *header, struct arena *arena)
{
    struct csv_row row;
    struct claim claim;
    uint64_t line = 1;

    while (csv_rows_next(rows, &row)) {
        must(claim_read(header, &row, arena, &claim) == WM_OK, "there is memory");
        must(claim.line > line, "lines go up");
        line = claim.line;
        if (claim.unreadable) {
            look_at_unreadable(&claim);
        } else {
            look_at_readable(&claim);
            round_trip(&claim, arena);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct input input = input_of(bytes, length);
    struct arena arena = ARENA_EMPTY;
    struct diag_sink sink = looking_sink();
    struct claim_header header;
    struct csv_rows rows;
    struct csv_row row;
    struct text t;
    char *copy = input_rest(&input, &t);

    must(csv_rows_open(&rows, csv_without_mark(t), 1, LIMIT_COLUMNS, &arena) == WM_OK, "there is memory");
    if (csv_rows_next(&rows, &row) &&
        went_well(claim_header_read(&row, TEXT("claims.csv"), &sink, &header), &sink))
        read_rows(&rows, &header, &arena);
    must(!rows.no_memory, "there is memory");
    csv_rows_close(&rows);
    arena_free(&arena);
    free(copy);
    return 0;
}
