#include "cli/expected.h"
#include "base/shown.h"

void expected_add_number(struct buffer *out, int64_t millionths)
{
    char room[DECIMAL_ROOM];
    buffer_add(out, room, decimal_write(millionths, room));
}

void expected_add_price(struct buffer *out, int64_t millionths)
{
    if (millionths % DECIMAL_CENT == 0)
        buffer_add_money(out, millionths / DECIMAL_CENT);
    else
        expected_add_number(out, millionths);
}

/* Blanks up to a column, at least one. */
static void pad(struct buffer *out, struct text word, size_t columns)
{
    size_t used = 0;

    for (size_t i = 0; i < word.length; i++)
        used += ((unsigned char)word.bytes[i] & 0xc0) != 0x80;
    do
        buffer_add_byte(out, ' ');
    while (++used < columns);
}

void expected_field(const struct language *language, struct buffer *out, enum sentence name, struct text value)
{
    enum { INDENT = 17, NAME_COLUMNS = 15 };
    struct text word = language_text(language, name);

    if (value.length == 0)
        return;
    buffer_add_string(out, "  ");
    buffer_add_text(out, word);
    pad(out, word, NAME_COLUMNS);
    buffer_say_wrapped(out, value, INDENT, PAGE_WIDTH);
    buffer_add_byte(out, '\n');
}

static void add_indent(struct buffer *out, size_t indent)
{
    for (size_t i = 0; i < indent; i++)
        buffer_add_byte(out, ' ');
}

/* A line under a heading: need and words. */
static void add_line(const struct expected_page *page, enum need need, struct buffer *words)
{
    static const enum sentence NEEDS[] = {[NEED_KIT] = SENTENCE_need_kit,
                                          [NEED_REQUIRED] = SENTENCE_need_required,
                                          [NEED_ALLOWED] = SENTENCE_need_allowed};
    enum { NAME_COLUMNS = 11 };
    size_t indent = page->indent + 2;

    add_indent(page->out, indent);
    if (need != NEED_NONE) {
        struct text word = language_text(page->language, NEEDS[need]);
        buffer_add_text(page->out, word);
        pad(page->out, word, NAME_COLUMNS);
    }
    buffer_say_wrapped(page->out, buffer_text(words), need != NEED_NONE ? indent + NAME_COLUMNS : indent,
                       PAGE_WIDTH);
    buffer_add_byte(page->out, '\n');
    page->out->failed = page->out->failed || words->failed;
    buffer_clear(words);
}

static void add_heading(const struct expected_page *page, enum sentence heading)
{
    add_indent(page->out, page->indent);
    SAY(page->language, page->out, heading);
    buffer_add_byte(page->out, '\n');
}

static void write_part(const struct expected_page *page, const struct expected_part *part, struct buffer *words)
{
    struct buffer quantity = BUFFER_EMPTY, price = BUFFER_EMPTY;
    int64_t listed;

    expected_add_number(&quantity, part->quantity);
    if (campaign_price(part->part, page->today, &listed)) {
        expected_add_price(&price, listed);
        SAY(page->language, words, SENTENCE_sheet_part_price, {"part", part->shown},
            {"quantity", buffer_text(&quantity)}, {"price", buffer_text(&price)});
    } else {
        SAY(page->language, words, SENTENCE_sheet_part, {"part", part->shown},
            {"quantity", buffer_text(&quantity)});
    }
    buffer_free_into(&quantity, words);
    buffer_free_into(&price, words);
    add_line(page, part->need, words);
}

static void write_operation(const struct expected_page *page, const struct expected_operation *operation,
                            struct buffer *words)
{
    struct buffer hours = BUFFER_EMPTY;

    expected_add_number(&hours, operation->hours);
    SAY(page->language, words, SENTENCE_sheet_operation, {"operation", operation->shown},
        {"hours", buffer_text(&hours)});
    buffer_free_into(&hours, words);
    add_line(page, operation->need, words);
}

static void write_inspection(const struct expected_page *page, const struct expected_inspection *inspection,
                             struct buffer *words)
{
    struct buffer expects = BUFFER_EMPTY;

    for (uint32_t i = 0; i < inspection->test_count; i++) {
        if (i > 0) {
            buffer_add_byte(&expects, ' ');
            SAY(page->language, &expects, SENTENCE_sheet_and);
            buffer_add_byte(&expects, ' ');
        }
        buffer_add_text(&expects, inspection->tests[i]->expects);
    }
    SAY(page->language, words,
        expects.length > 0 ? SENTENCE_sheet_inspection_expects : SENTENCE_sheet_inspection,
        {"inspection", inspection->shown}, {"expects", buffer_text(&expects)});
    buffer_free_into(&expects, words);
    add_line(page, inspection->need, words);
}

static bool is_inspection_fact(struct text name)
{
    return text_starts_with(name, TEXT("inspection:"));
}

/* A row of a table that would hit, but for one inspection result. */
static void write_conditional_row(const struct expected_page *page, const struct table *table, uint32_t row,
                                  bool is_labor, struct buffer *words)
{
    int item = table_output_named(table, is_labor ? "operation" : "part");
    int amount = table_output_named(table, is_labor ? "hours" : "quantity");
    struct buffer number = BUFFER_EMPTY;
    uint32_t failing = 0;
    int condition = table_row_misses(table, row, page->facts, page->scratch, &failing);

    if (condition < 0 || failing != 1 || !is_inspection_fact(table_condition_name(table, (uint32_t)condition)))
        return;
    struct text fact = table_condition_name(table, (uint32_t)condition);
    struct text thing = value_as_text(table_output(table, row, (uint32_t)item));
    expected_add_number(&number, table_output(table, row, (uint32_t)amount).number);
    SAY(page->language, words, is_labor ? SENTENCE_sheet_if_operation : SENTENCE_sheet_if_part,
        {"inspection", {fact.bytes + 11, fact.length - 11}},
        {"result", table_condition_cell(table, (uint32_t)condition, row)},
        {is_labor ? "operation" : "part", thing}, {is_labor ? "hours" : "quantity", buffer_text(&number)});
    buffer_free_into(&number, words);
    add_line(page, NEED_NONE, words);
}

static void write_conditional(const struct expected_page *page, const struct table *table, bool is_labor,
                              struct buffer *words)
{
    for (uint32_t row = 0; table != NULL && row < table_row_count(table); row++)
        write_conditional_row(page, table, row, is_labor, words);
}

void expected_write(const struct expected_page *page, const struct campaign *campaign,
                    const struct expectation *expectation)
{
    struct buffer words = BUFFER_EMPTY;

    add_heading(page, SENTENCE_sheet_parts);
    for (uint32_t i = 0; i < expectation->part_count; i++)
        write_part(page, &expectation->parts[i], &words);
    write_conditional(page, campaign->parts, false, &words);
    add_heading(page, SENTENCE_sheet_operations);
    for (uint32_t i = 0; i < expectation->operation_count; i++)
        write_operation(page, &expectation->operations[i], &words);
    write_conditional(page, campaign->labor, true, &words);
    add_heading(page, SENTENCE_sheet_inspections);
    for (uint32_t i = 0; i < expectation->inspection_count; i++)
        write_inspection(page, &expectation->inspections[i], &words);
    buffer_free_into(&words, page->out);
}
