#include "cli/explain_text.h"

#include "base/shown.h"

static const char *string_of(const json_t *object, const char *name)
{
    const char *value = json_string_value(json_object_get(object, name));
    return value != NULL ? value : "";
}

/* A value as a person reads it: a text, true or false, or `nothing`. */
static const char *shown(const json_t *value)
{
    if (json_is_boolean(value))
        return json_is_true(value) ? "true" : "false";
    return json_is_string(value) ? json_string_value(value) : "nothing";
}

static void write_pairs(struct buffer *out, const char *title, const json_t *object)
{
    const char *name;
    json_t *value;

    if (json_object_size(object) == 0)
        return;
    buffer_say(out, "%s\n", title);
    json_object_foreach((json_t *)object, name, value) buffer_say(out, "  %-24s %s\n", name, shown(value));
    buffer_add_byte(out, '\n');
}

/* --- Tables ------------------------------------------------------------------------------------------ */

static void write_outputs(struct buffer *out, const json_t *row)
{
    const char *name;
    json_t *value;
    bool first = true;

    json_object_foreach((json_t *)row, name, value)
    {
        if (strcmp(name, "row") == 0 || strcmp(name, "hits") == 0)
            continue;
        if (string_of(row, name)[0] == '\0')
            continue;
        buffer_say(out, "%s%s %s", first ? ": " : ", ", name, shown(value));
        first = false;
    }
}

static void write_row(struct buffer *out, const json_t *row)
{
    if (json_is_true(json_object_get(row, "hits"))) {
        buffer_say(out, "    hit   %s", string_of(row, "row"));
        write_outputs(out, row);
    } else {
        buffer_say(out, "    near  %s: %s is %s, the row wants %s", string_of(row, "row"),
                      string_of(row, "condition"), shown(json_object_get(row, "is")), string_of(row, "wants"));
    }
    buffer_add_byte(out, '\n');
}

static void write_tables(struct buffer *out, const json_t *tables)
{
    size_t at, row_at;
    json_t *table, *row;

    buffer_add_string(out, "Tables that were asked (hit: the row holds; near: one condition off)\n");
    json_array_foreach((json_t *)tables, at, table)
    {
        const json_t *rows = json_object_get(table, "rows");
        const char *item = string_of(table, "item");
        buffer_say(out, "  %s%s%s%s\n", string_of(table, "table"), item[0] != '\0' ? " for " : "", item,
                      json_is_true(json_object_get(table, "in_error")) ? ", in error for this claim" : "");
        if (json_array_size(rows) == 0)
            buffer_add_string(out, "    no row hit, none nearly\n");
        json_array_foreach((json_t *)rows, row_at, row) write_row(out, row);
    }
    buffer_add_byte(out, '\n');
}

/* --- Findings and money ------------------------------------------------------------------------------ */

static void write_findings(struct buffer *out, const json_t *findings)
{
    size_t at;
    json_t *finding;

    buffer_add_string(out, json_array_size(findings) > 0 ? "Findings\n" : "No findings\n");
    json_array_foreach((json_t *)findings, at, finding)
    {
        const char *item = string_of(finding, "item");
        buffer_say(out, "  %s: %s%s%s\n    %s\n", string_of(finding, "effect"),
                      string_of(finding, "finding"), item[0] != '\0' ? ", " : "", item,
                      string_of(finding, "message"));
        buffer_say(out, "    by %s\n", string_of(finding, "rule")); /* what can be read is found by rules alone */
    }
    buffer_add_byte(out, '\n');
}

static void write_part(struct buffer *out, const json_t *part)
{
    buffer_say(out, "  part %s: ", string_of(part, "item"));
    if (!json_is_string(json_object_get(part, "expected"))) {
        buffer_add_string(out, "not expected, nothing counts\n");
        return;
    }
    buffer_say(out, "the smaller of %s claimed and %s allowed, at %s", string_of(part, "quantity_claimed"),
                  string_of(part, "quantity_allowed"), string_of(part, "price_counted"));
    buffer_say(out, " (claimed %s, listed %s)\n", shown(json_object_get(part, "price_claimed")),
                  shown(json_object_get(part, "price_listed")));
}

static void write_operation(struct buffer *out, const json_t *operation)
{
    buffer_say(out, "  operation %s: ", string_of(operation, "item"));
    if (!json_is_string(json_object_get(operation, "expected")))
        buffer_add_string(out, "not expected, nothing counts\n");
    else
        buffer_say(out, "the smaller of %s h claimed and %s h allowed\n",
                      string_of(operation, "hours_claimed"), string_of(operation, "hours_allowed"));
}

static void write_payment(struct buffer *out, const json_t *payment)
{
    size_t at;
    json_t *line;

    buffer_add_string(out, "Payment\n");
    json_array_foreach(json_object_get(payment, "parts"), at, line) write_part(out, line);
    if (json_object_get(payment, "parts_allowed") != NULL)
        buffer_say(out, "  parts: sum x (1 + %s %% / 100) = %s allowed, %s asked, %s payable\n",
                      string_of(payment, "parts_markup"), string_of(payment, "parts_allowed"),
                      string_of(payment, "parts_asked"), string_of(payment, "parts_payable"));
    json_array_foreach(json_object_get(payment, "labor"), at, line) write_operation(out, line);
    if (json_object_get(payment, "labor_allowed") != NULL)
        buffer_say(out, "  labor: sum x %s an hour = %s allowed, %s asked, %s payable\n",
                      string_of(payment, "labor_rate"), string_of(payment, "labor_allowed"),
                      string_of(payment, "labor_asked"), string_of(payment, "labor_payable"));
    else
        buffer_add_string(out,
                          "  the dealer is unknown: no rate, no markup, nothing payable for parts and labor\n");
    buffer_say(out, "  other: %s asked, %s payable\n", string_of(payment, "other_asked"),
                  string_of(payment, "other_payable"));
    buffer_say(out, "  in all %s, at most the %s asked; payable by this decision %s\n",
                  string_of(payment, "if_nothing_stood_against_it"), string_of(payment, "total_asked"),
                  string_of(payment, "payable"));
    buffer_say(out, "  due %s = payable %s less %s paid before\n\n", string_of(payment, "due"),
                  string_of(payment, "payable"), string_of(payment, "paid_before"));
}

void explain_as_text(struct buffer *out, const json_t *explanation)
{
    buffer_say(out, "Decision: %s\n\n", string_of(explanation, "decision"));
    write_pairs(out, "What the dealer said", json_object_get(explanation, "claim"));
    write_pairs(out, "What the register says of the vehicle", json_object_get(explanation, "vehicle"));
    write_pairs(out, "What the register says of the dealer", json_object_get(explanation, "dealer"));
    write_pairs(out, "The approval", json_object_get(explanation, "approval"));
    write_pairs(out, "Facts that the rules ask for", json_object_get(explanation, "facts"));
    write_tables(out, json_object_get(explanation, "tables"));
    write_findings(out, json_object_get(explanation, "findings"));
    write_payment(out, json_object_get(explanation, "payment"));
}
