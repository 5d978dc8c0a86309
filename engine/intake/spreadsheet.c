#include "intake/spreadsheet.h"

#include <errno.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "base/file.h"
#include "base/limits.h"
#include "base/status.h"
#include "intake/claim.h"

/* --- Rows of any separator --------------------------------------------------------------------------- */

/* One cell of a text on its way. */
struct foreign_cell {
    struct text raw; /* as it stands, without the separator behind it */
    bool quoted;     /* a whole cell in quotes */
    bool malformed;  /* quotes that are none of CSV */
    bool last;       /* of its row; a line feed or the end follows */
};

/* The end of a quoted cell's quotes, or the end of the text where they are never closed. */
static size_t end_of_quotes(struct text text, size_t at, bool *ret_closed)
{
    for (; at < text.length; at++) {
        if (text.bytes[at] != '"')
            continue;
        if (at + 1 < text.length && text.bytes[at + 1] == '"') {
            at++;
            continue;
        }
        *ret_closed = true;
        return at + 1;
    }
    *ret_closed = false;
    return at;
}

/* Takes the next cell off the text, and what ends it. */
static struct foreign_cell take_cell(struct text *rest, char separator)
{
    struct foreign_cell cell = {.last = true};
    size_t start = 0, at;

    while (start < rest->length && text_is_blank(rest->bytes[start]) && rest->bytes[start] != separator)
        start++;
    at = start;
    if (at < rest->length && rest->bytes[at] == '"') {
        bool closed;
        at = end_of_quotes(*rest, at + 1, &closed);
        cell.quoted = closed;
        cell.malformed = !closed;
    }
    for (; at < rest->length && rest->bytes[at] != separator && rest->bytes[at] != '\n'; at++)
        cell.malformed =
            cell.malformed || rest->bytes[at] == '"' || (cell.quoted && !text_is_blank(rest->bytes[at]));
    cell.raw = (struct text){rest->bytes, at};
    cell.last = at >= rest->length || rest->bytes[at] == '\n';
    at += at < rest->length;
    *rest = (struct text){rest->bytes + at, rest->length - at};
    return cell;
}

/* What the cell says, without quotes around it, in `room`. */
static struct text cell_says(const struct foreign_cell *cell, struct buffer *room)
{
    struct text inside = text_trim(cell->raw);

    buffer_clear(room);
    if (!cell->quoted)
        return inside;
    inside = (struct text){inside.bytes + 1, inside.length - 2};
    for (size_t i = 0; i < inside.length; i++) {
        i += inside.bytes[i] == '"';
        buffer_add_byte(room, inside.bytes[i]);
    }
    return text_trim(buffer_text(room));
}

/* --- Decimal commas ---------------------------------------------------------------------------------- */

static size_t count_digits(struct text t, size_t at)
{
    size_t digits = 0;

    while (at + digits < t.length && t.bytes[at + digits] >= '0' && t.bytes[at + digits] <= '9')
        digits++;
    return digits;
}

/* How many bytes of a number with a decimal comma the text begins with; 0: none. *ret_comma is where the comma
 * is. */
static size_t decimal_comma(struct text t, size_t *ret_comma)
{
    size_t at = t.length > 0 && t.bytes[0] == '-', whole = count_digits(t, at);

    if (whole == 0 || at + whole >= t.length || t.bytes[at + whole] != ',')
        return 0;
    size_t places = count_digits(t, at + whole + 1), end = at + whole + 1 + places;
    *ret_comma = at + whole;
    bool ends = end == t.length || (t.bytes[end] != ',' && t.bytes[end] != '.');
    return places > 0 && ends ? end : 0;
}

static void add_with_point(struct text number, size_t comma, struct buffer *out)
{
    buffer_add(out, number.bytes, comma);
    buffer_add_byte(out, '.');
    buffer_add(out, number.bytes + comma + 1, number.length - comma - 1);
}

bool spreadsheet_decimal_comma(struct text cell, struct buffer *out)
{
    size_t comma, length = decimal_comma(cell, &comma);

    if (length == 0 || length != cell.length)
        return false;
    add_with_point(cell, comma, out);
    return true;
}

/* In a list, the numbers behind = and @. */
static void add_list(struct text list, struct buffer *out)
{
    size_t at = 0;

    while (at < list.length) {
        char c = list.bytes[at++];
        buffer_add_byte(out, c);
        if (c != '=' && c != '@')
            continue;
        while (at < list.length && text_is_blank(list.bytes[at]))
            buffer_add_byte(out, list.bytes[at++]);
        struct text rest = {list.bytes + at, list.length - at};
        size_t comma, length = decimal_comma(rest, &comma);
        if (length > 0)
            add_with_point((struct text){rest.bytes, length}, comma, out);
        at += length;
    }
}

/* --- Restating --------------------------------------------------------------------------------------- */

static int column_named(struct text name)
{
    for (int column = 0; column < CLAIM_COLUMNS; column++)
        if (text_is(name, claim_column_name((enum claim_column)column)))
            return column;
    return -1;
}

enum kind { KIND_OTHER, KIND_MONEY, KIND_LIST };

static enum kind kind_of(int column)
{
    switch (column) {
    case COLUMN_PARTS_AMOUNT:
    case COLUMN_LABOR_AMOUNT:
    case COLUMN_OTHER_AMOUNT:
    case COLUMN_TOTAL_AMOUNT: return KIND_MONEY;
    case COLUMN_PARTS:
    case COLUMN_LABOR:
    case COLUMN_INSPECTIONS: return KIND_LIST;
    default: return KIND_OTHER;
    }
}

struct restating {
    enum kind kinds[LIMIT_COLUMNS];
    bool header_known;
    struct buffer says, converted;
    struct buffer *out;
};

static void restate_cell(struct restating *restating, const struct foreign_cell *cell, uint32_t number)
{
    enum kind kind = restating->header_known && number < LIMIT_COLUMNS ? restating->kinds[number] : KIND_OTHER;

    if (cell->malformed) {
        buffer_add_text(restating->out, cell->raw);
        return;
    }
    struct text says = cell_says(cell, &restating->says);
    buffer_clear(&restating->converted);
    if (kind == KIND_LIST)
        add_list(says, &restating->converted);
    else if (kind != KIND_MONEY || !spreadsheet_decimal_comma(says, &restating->converted))
        buffer_add_text(&restating->converted, says);
    buffer_add_csv(restating->out, buffer_text(&restating->converted));
}

static void note_header(struct restating *restating, const struct foreign_cell *cell, uint32_t number)
{
    if (number < LIMIT_COLUMNS)
        restating->kinds[number] = kind_of(column_named(cell_says(cell, &restating->says)));
}

void spreadsheet_restate(struct text text, char separator, struct buffer *out)
{
    struct restating restating = {.out = out};

    text = csv_without_mark(text);
    while (text.length > 0) {
        bool named = false;
        for (uint32_t number = 0;; number++) {
            struct foreign_cell cell = take_cell(&text, separator);
            if (number > 0)
                buffer_add_byte(out, ',');
            if (!restating.header_known)
                note_header(&restating, &cell, number);
            named = named || text_trim(cell.raw).length > 0;
            restate_cell(&restating, &cell, number);
            if (cell.last)
                break;
        }
        restating.header_known = restating.header_known || named;
        buffer_add_byte(out, '\n');
    }
    if (restating.says.failed || restating.converted.failed)
        out->failed = true;
    buffer_free(&restating.says);
    buffer_free(&restating.converted);
}

/* --- Recognising ------------------------------------------------------------------------------------- */

/* How many of the names that a claim file must have stand in the row at the start of the text. */
static int required_names(struct text text, char separator, uint64_t *ret_lines)
{
    static const enum claim_column REQUIRED[] = {COLUMN_CLAIM,    COLUMN_DEALER, COLUMN_REPAIR_ORDER,
                                                 COLUMN_CAMPAIGN, COLUMN_VIN,    COLUMN_OUTCOME};
    struct buffer says = BUFFER_EMPTY;
    const char *start = text.bytes;
    int found = 0;

    for (bool more = text.length > 0; more;) {
        struct foreign_cell cell = take_cell(&text, separator);
        int column = column_named(cell_says(&cell, &says));
        for (size_t i = 0; i < sizeof REQUIRED / sizeof *REQUIRED; i++)
            found += column == (int)REQUIRED[i];
        more = !cell.last;
    }
    *ret_lines = 0;
    for (const char *at = start; at < text.bytes; at++)
        *ret_lines += *at == '\n';
    buffer_free(&says);
    return found;
}

enum { ENOUGH_NAMES = 4, LINES_LOOKED_AT = 40 };

static bool is_header(struct text text, char separator)
{
    uint64_t lines;
    return required_names(text, separator, &lines) >= ENOUGH_NAMES;
}

/* The line of the first row that is a header of commas, from 1; 0: none is near. */
static uint64_t header_line(struct text text, char separator)
{
    uint64_t line = 1, lines;

    while (text.length > 0 && line <= LINES_LOOKED_AT) {
        if (required_names(text, separator, &lines) >= ENOUGH_NAMES)
            return line;
        if (lines == 0) /* the last row */
            return 0;
        for (uint64_t i = 0; i < lines; i++) {
            struct text head;
            text_cut(text, '\n', &head, &text);
        }
        line += lines;
    }
    return 0;
}

/* Line of the first row that is not empty. */
static struct text skip_empty(struct text text, uint64_t *ret_line)
{
    struct text head, rest;

    for (*ret_line = 1; text.length > 0; (*ret_line)++, text = rest) {
        text_cut(text, '\n', &head, &rest);
        if (text_trim(head).length > 0)
            return text;
    }
    return text;
}

static const char *separator_name(char separator)
{
    return separator == ';' ? "semicolons" : separator == '\t' ? "tabs" : "commas";
}

static const char *separator_option(char separator)
{
    return separator == ';' ? "';'" : separator == '\t' ? "tab" : ",";
}

/* Says what a file is that is no claim file as asked for. */
static int recognise(struct text text, struct text name, char separator, struct diag_sink *sink)
{
    static const char SEPARATORS[] = {',', ';', '\t'};
    uint64_t first;
    struct text rows = skip_empty(csv_without_mark(text), &first);

    if (rows.length == 0 || is_header(rows, separator))
        return WM_OK;
    for (size_t i = 0; i < sizeof SEPARATORS; i++) {
        char other = SEPARATORS[i];
        uint64_t line = header_line(rows, other);
        if (line == 0)
            continue;
        struct place place = {name, first, 0};
        if (line > 1)
            diag_error(sink, place,
                       "the first row must name the columns, and they are named on line %llu; delete the "
                       "lines above it",
                       (unsigned long long)(first + line - 1));
        if (other != separator)
            diag_error(
                sink, place,
                "the cells of this file are separated by %s; run the command again with "
                "--separator %s%s",
                separator_name(other), separator_option(other),
                other == ',' ? "" : " (decimal commas are then read too), or save the file as CSV with commas");
        return WM_BAD_INPUT;
    }
    return WM_OK; /* what is missing is named where the header is read */
}

/* --- Opening ----------------------------------------------------------------------------------------- */

static int read_bytes(const struct csv_source *source, uint64_t most, struct buffer *out,
                      struct diag_sink *sink)
{
    size_t length = (size_t)(source->bytes < most ? source->bytes : most);
    char *room = buffer_room(out, length + 1);
    int status = room == NULL ? WM_NO_MEMORY : csv_source_read(source, 0, room, length, sink);

    if (status == WM_OK)
        out->length += length;
    return status;
}

/* Puts the restated text in the place of the file. */
static int restate(struct csv_source *source, struct text text, char separator, struct diag_sink *sink)
{
    struct buffer restated = BUFFER_EMPTY;

    spreadsheet_restate(text, separator, &restated);
    int descriptor = restated.failed ? -1 : memfd_create("claims", MFD_CLOEXEC);
    int status = restated.failed ? WM_NO_MEMORY : WM_OK;
    if (status == WM_OK && (descriptor < 0 || !descriptor_write(descriptor, restated.bytes, restated.length))) {
        diag_error(sink, (struct place){source->name, 0, 0}, "cannot restate the file: %s", strerror(errno));
        status = WM_IO;
    }
    if (status == WM_OK) {
        close(source->descriptor);
        source->descriptor = descriptor;
        source->bytes = restated.length;
        source->start = 0;
    } else if (descriptor >= 0) {
        close(descriptor);
    }
    buffer_free(&restated);
    return status;
}

int claims_source_open(struct csv_source *ret_source, const char *path, char separator, struct diag_sink *sink)
{
    enum { START_BYTES = 256 * 1024 };
    struct csv_source source = {.descriptor = -1};
    struct buffer text = BUFFER_EMPTY;
    int status = csv_source_open(&source, path, sink);

    if (status != WM_OK)
        return status;
    if (separator != ',' && source.bytes > LIMIT_ROW_BYTES) {
        diag_error(sink, (struct place){source.name, 0, 0},
                   "a file of this size is not restated; save it with commas");
        status = WM_LIMIT;
    }
    if (status == WM_OK)
        status = read_bytes(&source, separator == ',' ? START_BYTES : UINT64_MAX, &text, sink);
    if (status == WM_OK)
        status = recognise(buffer_text(&text), source.name, separator, sink);
    if (status == WM_OK && separator != ',')
        status = restate(&source, buffer_text(&text), separator, sink);
    buffer_free(&text);
    if (status == WM_OK)
        *ret_source = source;
    else
        csv_source_close(&source);
    return status;
}
