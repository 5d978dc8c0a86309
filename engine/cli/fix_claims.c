#include "cli/fix_claims.h"

#include <errno.h>

#include "base/limits.h"
#include "base/status.h"
#include "cli/expected.h"
#include "intake/claim.h"
#include "intake/items.h"
#include "intake/spreadsheet.h"

enum { FIX_BLOCK_BYTES = 1024 * 1024 };

/* One row on its way. */
struct fixing_row {
    struct fixing *fixing;
    const struct claim_header *header;
    const struct csv_row *row;
    struct arena *arena;
    struct text cells[LIMIT_COLUMNS];
    const struct campaign *campaign; /* NULL: unknown */
    bool changed;
};

static struct text cell_of(const struct fixing_row *row, enum claim_column column)
{
    int at = row->header->at[column];

    return at >= 0 ? row->cells[at] : (struct text){"", 0};
}

/* Puts a new text into a cell, and says so. */
static int change(struct fixing_row *row, enum claim_column column, struct text after, enum sentence why)
{
    struct fixing *fixing = row->fixing;
    struct buffer words = BUFFER_EMPTY;
    struct text *cell = &row->cells[row->header->at[column]];
    struct text line = text_format(row->arena, "%llu", (unsigned long long)row->row->line);
    struct text before = text_format(row->arena, "\"%.*s\"", TEXT_ARGUMENTS(*cell));
    struct text shown = text_format(row->arena, "\"%.*s\"", TEXT_ARGUMENTS(after));

    after = text_copy(row->arena, after);
    if (after.bytes == NULL || line.bytes == NULL || before.bytes == NULL || shown.bytes == NULL)
        return WM_NO_MEMORY;
    *cell = after;
    row->changed = true;
    fixing->changes++;
    SAY(fixing->language, &words, SENTENCE_fix_change, {"line", line},
        {"column", text_of(claim_column_name(column))}, {"before", before}, {"after", shown},
        {"why", language_text(fixing->language, why)});
    buffer_add_wrapped(fixing->words, buffer_text(&words), 2, PAGE_WIDTH);
    buffer_add_byte(fixing->words, '\n');
    int status = words.failed || fixing->words->failed ? WM_NO_MEMORY : WM_OK;
    buffer_free(&words);
    return status;
}

/* --- Words ------------------------------------------------------------------------------------------- */

/* A cell that says one of these words in another case. */
static int fix_word(struct fixing_row *row, enum claim_column column, const char *const *words)
{
    struct text cell = cell_of(row, column);

    for (; *words != NULL; words++)
        if (text_equal_any_case(cell, text_of(*words)) && !text_is(cell, *words))
            return change(row, column, text_of(*words), SENTENCE_fix_case);
    return WM_OK;
}

static int fix_case_of_vin(struct fixing_row *row)
{
    struct text cell = cell_of(row, COLUMN_VIN), upper = text_upper(row->arena, cell);

    if (upper.bytes == NULL)
        return WM_NO_MEMORY;
    return text_equal(cell, upper) ? WM_OK : change(row, COLUMN_VIN, upper, SENTENCE_fix_case);
}

static int fix_vin(struct fixing_row *row)
{
    struct office_register *office_register = row->fixing->desk->office_register;
    struct text vin = cell_of(row, COLUMN_VIN), nearest = {"", 0};
    int status = WM_OK;

    if (row->fixing->fix_vin && vin.length > 0)
        status = register_vin_nearest(office_register, vin, row->arena, &nearest);
    return status == WM_OK && nearest.length > 0 ? change(row, COLUMN_VIN, nearest, SENTENCE_fix_vin) : status;
}

/* The one campaign whose number differs in case alone. */
static int fix_campaign(struct fixing_row *row)
{
    const struct rules *rules = row->fixing->desk->rules;
    struct text cell = cell_of(row, COLUMN_CAMPAIGN);
    int number = rules_campaign(rules, cell), alike = 0;

    for (uint32_t i = 0; number < 0 && i < rules->campaign_count; i++)
        if (text_equal_any_case(rules->campaigns[i].id, cell)) {
            alike++;
            row->campaign = &rules->campaigns[i];
        }
    if (number >= 0) {
        row->campaign = &rules->campaigns[number];
        return WM_OK;
    }
    if (alike == 1)
        return change(row, COLUMN_CAMPAIGN, row->campaign->id, SENTENCE_fix_case);
    row->campaign = NULL;
    return WM_OK;
}

static int fix_dealer(struct fixing_row *row)
{
    const struct pack *pack = row->fixing->desk->pack;
    struct text own = pack != NULL ? pack_head(pack)->dealer : (struct text){"", 0};
    struct text cell = cell_of(row, COLUMN_DEALER);

    if (own.length == 0 || text_equal(cell, own) || !text_equal_any_case(cell, own))
        return WM_OK;
    return change(row, COLUMN_DEALER, own, SENTENCE_fix_case);
}

static int fix_amount(struct fixing_row *row, enum claim_column column)
{
    struct buffer point = BUFFER_EMPTY;
    struct text cell = cell_of(row, column);
    int status = WM_OK;

    /* 1,234 may be a thousand; 84,50 and 84,5 are not */
    if (spreadsheet_decimal_comma(cell, &point)) {
        const char *comma = memchr(cell.bytes, ',', cell.length);
        if (cell.bytes + cell.length - 1 - comma <= 2)
            status = change(row, column, buffer_text(&point), SENTENCE_fix_number);
    }
    if (point.failed)
        status = WM_NO_MEMORY;
    buffer_free(&point);
    return status;
}

/* --- Lists ------------------------------------------------------------------------------------------- */

/* How the campaign writes this item; the text itself where it has none. */
static struct text spelled(const struct fixing_row *row, enum claim_column column, struct text written,
                           char *room)
{
    const struct campaign *campaign = row->campaign;
    struct text key = {room, text_item_key(written, room)};
    uint32_t number;

    if (campaign == NULL || key.length == 0)
        return written;
    switch (column) {
    case COLUMN_PARTS:
        number = text_index_find(&campaign->part_index, key);
        return number != TEXT_INDEX_NONE ? campaign->part_list[number].shown : written;
    case COLUMN_LABOR:
        number = text_index_find(&campaign->operation_index, key);
        return number != TEXT_INDEX_NONE ? campaign->operations[number] : written;
    default:
        number = text_index_find(&campaign->inspection_index, key);
        return number != TEXT_INDEX_NONE ? campaign->inspection_items[number] : written;
    }
}

/* A reading with its unit as the rules spell it, behind a blank; other results as they are. */
static void add_result(const struct fixing_row *row, struct text result, struct buffer *out, bool *ret_changed)
{
    const struct unit *unit = NULL;
    struct text word = {"", 0};
    int64_t reading;

    if (items_read_reading(result, &reading, &word) && word.length > 0)
        unit = units_find(row->fixing->desk->rules->units, word);
    if (unit == NULL || text_equal(unit->name, word)) {
        buffer_add_text(out, result);
        return;
    }
    buffer_add_text(out, text_trim((struct text){result.bytes, result.length - word.length}));
    buffer_add_byte(out, ' ');
    buffer_add_text(out, unit->name);
    *ret_changed = true;
}

/* What a list becomes, and why. */
struct new_list {
    struct buffer words;
    bool spelling, unit;
};

static void add_item(const struct fixing_row *row, enum claim_column column, struct text piece, char *room,
                     struct new_list *list)
{
    size_t end = 0;

    while (end < piece.length && piece.bytes[end] != '=' && (column != COLUMN_PARTS || piece.bytes[end] != '@'))
        end++;
    struct text written = text_trim((struct text){piece.bytes, end});
    struct text rest = {piece.bytes + end, piece.length - end}, shown = spelled(row, column, written, room);
    list->spelling = list->spelling || !text_equal(written, shown);
    buffer_add_text(&list->words, shown);
    if (column != COLUMN_INSPECTIONS || rest.length == 0) {
        buffer_add_text(&list->words, rest);
        return;
    }
    buffer_add_byte(&list->words, '=');
    add_result(row, text_trim((struct text){rest.bytes + 1, rest.length - 1}), &list->words, &list->unit);
}

static int fix_list(struct fixing_row *row, enum claim_column column)
{
    struct text cell = cell_of(row, column), rest = cell, piece;
    struct new_list list = {.words = BUFFER_EMPTY};
    char *room = arena_bytes(row->arena, cell.length + 1);
    int status = WM_OK;

    if (room == NULL)
        return WM_NO_MEMORY;
    while (cell.length > 0 && text_next(&rest, ';', &piece)) {
        if (piece.length == 0)
            continue;
        if (list.words.length > 0)
            buffer_add_string(&list.words, "; ");
        add_item(row, column, piece, room, &list);
    }
    if (list.words.failed)
        status = WM_NO_MEMORY;
    else if (list.spelling || list.unit)
        status = change(row, column, buffer_text(&list.words),
                        list.spelling ? SENTENCE_fix_spelling : SENTENCE_fix_unit);
    buffer_free(&list.words);
    return status;
}

/* --- A row ------------------------------------------------------------------------------------------- */

static int fix_cells(struct fixing_row *row)
{
    static const char *const OUTCOMES[] = {"repaired", "inspected", NULL}, *const UNITS[] = {"mi", "km", NULL};
    static const enum claim_column AMOUNTS[] = {COLUMN_PARTS_AMOUNT, COLUMN_LABOR_AMOUNT, COLUMN_OTHER_AMOUNT,
                                                COLUMN_TOTAL_AMOUNT};
    static const enum claim_column LISTS[] = {COLUMN_PARTS, COLUMN_LABOR, COLUMN_INSPECTIONS};
    int status = fix_word(row, COLUMN_OUTCOME, OUTCOMES);

    if (status == WM_OK)
        status = fix_word(row, COLUMN_ODOMETER_UNIT, UNITS);
    if (status == WM_OK)
        status = fix_case_of_vin(row);
    if (status == WM_OK)
        status = fix_vin(row);
    if (status == WM_OK)
        status = fix_campaign(row);
    if (status == WM_OK)
        status = fix_dealer(row);
    for (size_t i = 0; status == WM_OK && i < sizeof AMOUNTS / sizeof *AMOUNTS; i++)
        status = fix_amount(row, AMOUNTS[i]);
    for (size_t i = 0; status == WM_OK && i < sizeof LISTS / sizeof *LISTS; i++)
        status = fix_list(row, LISTS[i]);
    return status;
}

/* Blanks around cells mean nothing, and go where the row is written anew; or by themselves. */
static bool has_blanks(const struct csv_row *row)
{
    struct text raw = row->raw;

    if (raw.length > 0 && raw.bytes[raw.length - 1] == '\r')
        raw.length--;
    for (size_t i = 0; i < raw.length; i++)
        if ((raw.bytes[i] == ' ' || raw.bytes[i] == '\t') &&
            (i == 0 || i + 1 == raw.length || raw.bytes[i - 1] == ',' || raw.bytes[i + 1] == ','))
            return memchr(raw.bytes, '"', raw.length) == NULL;
    return false;
}

static int note_blanks(struct fixing_row *row)
{
    struct fixing *fixing = row->fixing;
    char line[DECIMAL_ROOM];

    if (row->changed || !has_blanks(row->row))
        return WM_OK;
    row->changed = true;
    fixing->changes++;
    SAY(fixing->language, fixing->words, SENTENCE_fix_blanks,
        {"line", {line, whole_write(row->row->line, line)}});
    buffer_add_byte(fixing->words, '\n');
    return WM_OK;
}

static void write_row(const struct fixing_row *row, struct output *output)
{
    struct buffer words = BUFFER_EMPTY;

    for (uint32_t i = 0; row->changed && i < row->row->cell_count; i++) {
        if (i > 0)
            buffer_add_byte(&words, ',');
        buffer_add_csv(&words, row->cells[i]);
    }
    struct text text = row->changed ? buffer_text(&words) : row->row->raw;
    output_add(output, text.bytes, text.length);
    output_add(output, "\n", 1);
    if (words.failed && output->error == 0)
        output->error = ENOMEM;
    buffer_free(&words);
}

static int fix_row(struct fixing *fixing, const struct claim_header *header, const struct csv_row *csv,
                   struct arena *arena, struct output *output)
{
    struct fixing_row *row = ARENA_NEW(arena, struct fixing_row);
    int status = WM_OK;

    if (row == NULL)
        return WM_NO_MEMORY;
    row->fixing = fixing;
    row->header = header;
    row->row = csv;
    row->arena = arena;
    fixing->rows++;
    if (csv->fault == CSV_OK && csv->cell_count == header->width) {
        memcpy(row->cells, csv->cells, csv->cell_count * sizeof *csv->cells);
        status = fix_cells(row);
        if (status == WM_OK)
            status = note_blanks(row);
    }
    fixing->rows_changed += row->changed;
    if (status == WM_OK)
        write_row(row, output);
    return status;
}

/* --- A file ------------------------------------------------------------------------------------------ */

/* Where the copy is in the file. */
struct copying {
    struct fixing *fixing;
    const struct csv_source *source;
    struct output *output;
    struct claim_header header;
    bool header_known;
    uint64_t line; /* the next line of the copy */
};

/* Lines that are no row stay, so that lines keep their numbers. */
static void keep_lines(struct copying *copying, const struct csv_row *row)
{
    for (; copying->line < row->line; copying->line++)
        output_add(copying->output, "\n", 1);
    copying->line++;
    for (size_t i = 0; i < row->raw.length; i++)
        copying->line += row->raw.bytes[i] == '\n';
}

static int copy_row(struct copying *copying, const struct csv_row *row, struct arena *arena)
{
    keep_lines(copying, row);
    if (copying->header_known)
        return fix_row(copying->fixing, &copying->header, row, arena, copying->output);
    int status = claim_header_read(row, copying->source->name, &copying->fixing->desk->sink, &copying->header);
    copying->header_known = status == WM_OK;
    output_add(copying->output, row->raw.bytes, row->raw.length);
    output_add(copying->output, "\n", 1);
    return status;
}

static int copy_block(struct copying *copying, const struct csv_block *block)
{
    struct arena arena = ARENA_EMPTY;
    struct csv_rows rows = {0};
    struct csv_row row;
    int status = csv_rows_open(&rows, block->bytes, block->line, LIMIT_COLUMNS, &arena);

    while (status == WM_OK && csv_rows_next(&rows, &row))
        status = copy_row(copying, &row, &arena);
    if (status == WM_OK && rows.no_memory)
        status = WM_NO_MEMORY;
    csv_rows_close(&rows);
    arena_free(&arena);
    return status;
}

int fix_claims(struct fixing *fixing, const struct csv_source *source, struct output *output)
{
    struct copying copying = {fixing, source, output, .line = 1};
    struct csv_blocks *blocks = NULL;
    struct buffer bytes = BUFFER_EMPTY;
    struct csv_block block;
    int status = csv_blocks_open(&blocks, source, FIX_BLOCK_BYTES);

    while (status == WM_OK && (status = csv_blocks_next(blocks, &bytes, &block, &fixing->desk->sink)) == WM_OK)
        status = copy_block(&copying, &block);
    if (status == WM_NOT_FOUND)
        status = copying.header_known
                     ? WM_OK
                     : claim_header_read(NULL, source->name, &fixing->desk->sink, &copying.header);
    csv_blocks_close(blocks);
    buffer_free(&bytes);
    return status;
}
