/* What a table says of itself, and the writing of outputs. */
#include "tables/parts.h"

struct text table_file(const struct table *table)
{
    return table->file;
}

enum hit_policy table_policy(const struct table *table)
{
    return table->policy;
}

uint32_t table_row_count(const struct table *table)
{
    return table->row_count;
}

struct text table_row_name(const struct table *table, uint32_t row)
{
    return table->rows[row].name;
}

uint64_t table_row_line(const struct table *table, uint32_t row)
{
    return table->rows[row].line;
}

bool table_is_late(const struct table *table)
{
    return table->is_late;
}

uint32_t table_row_priority(const struct table *table, uint32_t row)
{
    return table->priority == NULL ? row : table->priority[row];
}

/* --- Conditions ---------------------------------------------------------------------------------------- */

uint32_t table_condition_count(const struct table *table)
{
    return table->condition_count;
}

struct text table_condition_name(const struct table *table, uint32_t condition)
{
    return table->conditions[condition].fact.name;
}

struct fact_ref table_condition_fact(const struct table *table, uint32_t condition)
{
    return table->conditions[condition].fact.ref;
}

uint32_t table_condition_column(const struct table *table, uint32_t condition)
{
    return table->conditions[condition].column;
}

const struct cell *table_condition_test(const struct table *table, uint32_t condition, uint32_t row)
{
    const struct condition_column *column = &table->conditions[condition];

    return column->cells[column->cell_of_row[row]];
}

struct text table_condition_cell(const struct table *table, uint32_t condition, uint32_t row)
{
    return table_condition_test(table, condition, row)->written;
}

const struct cell *table_condition_domain(const struct table *table, uint32_t condition)
{
    return table->conditions[condition].domain;
}

/* --- Outputs ------------------------------------------------------------------------------------------- */

uint32_t table_output_count(const struct table *table)
{
    return table->output_count;
}

struct text table_output_name(const struct table *table, uint32_t output)
{
    return table->outputs[output].name;
}

enum value_type table_output_type(const struct table *table, uint32_t output)
{
    return table->outputs[output].type;
}

int table_output_named(const struct table *table, const char *name)
{
    for (uint32_t o = 0; o < table->output_count; o++)
        if (text_is(table->outputs[o].name, name))
            return (int)o;
    return -1;
}

uint32_t table_output_column(const struct table *table, uint32_t output)
{
    return table->outputs[output].column;
}

const struct value *table_output_values(const struct table *table, uint32_t output, uint32_t *ret_count)
{
    *ret_count = table->outputs[output].value_count;
    return table->outputs[output].values;
}

struct value table_output(const struct table *table, uint32_t row, uint32_t output)
{
    return table->outputs[output].of_row[row];
}

bool table_output_has_places(const struct table *table, uint32_t row, uint32_t output)
{
    return table->outputs[output].places_of_row[row] != NULL;
}

uint32_t table_output_place_count(const struct table *table, uint32_t row, uint32_t output)
{
    const struct place_text *places = table->outputs[output].places_of_row[row];
    uint32_t count = 0;

    for (uint32_t i = 0; places != NULL && i < places->part_count; i++)
        count += places->parts[i].fact != NULL;
    return count;
}

const struct cell_fact *table_output_place(const struct table *table, uint32_t row, uint32_t output, uint32_t number)
{
    const struct place_text *places = table->outputs[output].places_of_row[row];
    uint32_t count = 0;

    for (uint32_t i = 0; places != NULL && i < places->part_count; i++)
        if (places->parts[i].fact != NULL && count++ == number)
            return places->parts[i].fact;
    return NULL;
}

void table_output_write(const struct table *table, uint32_t row, uint32_t output, const struct value *facts,
                        struct buffer *out)
{
    const struct place_text *places = table->outputs[output].places_of_row[row];

    if (places == NULL) {
        value_write(table->outputs[output].of_row[row], out);
        return;
    }
    for (uint32_t i = 0; i < places->part_count; i++) {
        const struct place_part *part = &places->parts[i];
        if (part->fact == NULL)
            buffer_add_text(out, part->literal);
        else
            value_write(facts[part->fact->ref.slot], out);
    }
}
