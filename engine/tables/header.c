#include "tables/compile.h"

#include "base/status.h"

enum column_kind { COLUMN_CONDITION, COLUMN_OUTPUT, COLUMN_ANNOTATION };

static const char *const POLICY_NAMES[] = {"U", "A", "P", "F", "R", "O", "C", "C+", "C<", "C>", "C#"};

const char *policy_name(enum hit_policy policy)
{
    return POLICY_NAMES[policy];
}

/* "U A P F", as many as may stand; room for all eleven. */
static void list_policies(unsigned policies, char *room)
{
    char *at = room;

    for (unsigned p = HIT_UNIQUE; p <= HIT_COUNT; p++) {
        if ((policies & HIT_BIT(p)) == 0)
            continue;
        if (at != room)
            *at++ = ' ';
        for (const char *name = POLICY_NAMES[p]; *name != '\0'; name++)
            *at++ = *name;
    }
    *at = '\0';
}

static void read_policy(struct compiler *compiler)
{
    struct text written = cell_at(&compiler->grid.header, 1);
    unsigned policy = HIT_UNIQUE;
    char allowed[64];

    while (policy <= HIT_COUNT && !text_is(written, POLICY_NAMES[policy]))
        policy++;
    list_policies(compiler->rules.policies, allowed);
    if (policy > HIT_COUNT)
        diag_error(compiler->sink, header_place(compiler, 1), "\"%.*s\" is no hit policy; write one of %s",
                   TEXT_ARGUMENTS(written), allowed);
    else if ((compiler->rules.policies & HIT_BIT(policy)) == 0)
        diag_error(compiler->sink, header_place(compiler, 1),
                   "hit policy %s has no meaning in this table; write one of %s", POLICY_NAMES[policy], allowed);
    else
        compiler->table->policy = (enum hit_policy)policy;
}

/* --- Columns ------------------------------------------------------------------------------------------- */

static enum column_kind kind_of(struct text header)
{
    if (text_starts_with(header, TEXT(">")))
        return COLUMN_OUTPUT;
    return text_starts_with(header, TEXT("#")) ? COLUMN_ANNOTATION : COLUMN_CONDITION;
}

static struct text name_of(struct text header)
{
    if (kind_of(header) != COLUMN_CONDITION)
        header = (struct text){header.bytes + 1, header.length - 1};
    return text_trim(header);
}

/* The column that has the same kind and name and stands before this one; 0: none. */
static uint32_t same_column_before(const struct grid *grid, uint32_t column)
{
    struct text header = cell_at(&grid->header, column);

    for (uint32_t other = 2; other < column; other++) {
        struct text before = cell_at(&grid->header, other);
        if (kind_of(before) == kind_of(header) && text_equal(name_of(before), name_of(header)))
            return other;
    }
    return 0;
}

/* Reports a column that cannot be used. */
static bool is_usable(const struct compiler *compiler, uint32_t column)
{
    struct text header = cell_at(&compiler->grid.header, column);

    if (kind_of(header) == COLUMN_ANNOTATION)
        return true;
    if (name_of(header).length == 0) {
        diag_error(compiler->sink, header_place(compiler, column),
                   "the column has no name; write a fact, >output or #annotation");
        return false;
    }
    uint32_t before = same_column_before(&compiler->grid, column);
    if (before > 0)
        diag_error(compiler->sink, header_place(compiler, column),
                   "the column \"%.*s\" stands in cell %u already; leave one of them out", TEXT_ARGUMENTS(header),
                   before);
    return before == 0;
}

static int list_columns(struct compiler *compiler)
{
    struct table *table = compiler->table;
    uint32_t width = compiler->grid.width;

    table->conditions = ARENA_ARRAY(compiler->arena, struct condition_column, width);
    table->outputs = ARENA_ARRAY(compiler->arena, struct output_column, width);
    if (table->conditions == NULL || table->outputs == NULL)
        return WM_NO_MEMORY;
    for (uint32_t column = 2; column <= width; column++) {
        struct text header = cell_at(&compiler->grid.header, column);
        if (!is_usable(compiler, column) || kind_of(header) == COLUMN_ANNOTATION)
            continue;
        if (kind_of(header) == COLUMN_OUTPUT)
            table->outputs[table->output_count++] = (struct output_column){.name = name_of(header), .column = column};
        else
            table->conditions[table->condition_count++] =
                (struct condition_column){.fact.name = name_of(header), .column = column};
    }
    return WM_OK;
}

static void check_outputs(const struct compiler *compiler)
{
    const struct table *table = compiler->table;

    if (table->output_count == 0)
        diag_error(compiler->sink, header_place(compiler, 1),
                   "the table has no output; add a column whose header begins with >");
    else if (table->policy >= HIT_SUM && table->output_count > 1)
        diag_error(compiler->sink, header_place(compiler, table->outputs[1].column),
                   "%s takes exactly one output; move the others to a table of their own",
                   policy_name(table->policy));
}

/* --- Facts --------------------------------------------------------------------------------------------- */

enum value_type declared_type(const struct compiler *compiler, uint32_t column)
{
    const struct grid_row *row = &compiler->grid.type;

    if (row->cells == NULL || cell_at(row, column).length == 0)
        return VALUE_NULL;
    enum value_type type = value_type_from(cell_at(row, column));
    if (type == VALUE_NULL)
        diag_error(compiler->sink, cell_place(compiler, row, column),
                   "\"%.*s\" is no type; write number, text, date or boolean", TEXT_ARGUMENTS(cell_at(row, column)));
    return type;
}

void report_no_fact(struct diag_sink *sink, struct place place, struct text name, struct text nearest)
{
    if (nearest.length > 0)
        diag_error(sink, place, "no fact \"%.*s\"; nearest is \"%.*s\"", TEXT_ARGUMENTS(name),
                   TEXT_ARGUMENTS(nearest));
    else
        diag_error(sink, place, "no fact \"%.*s\"; name one of the dictionary", TEXT_ARGUMENTS(name));
}

static void find_fact(struct compiler *compiler, uint32_t condition)
{
    struct condition_column *column = &compiler->table->conditions[condition];
    enum value_type declared = declared_type(compiler, column->column);
    struct text nearest = {"", 0};
    const struct fact_source *source = compiler->source;

    if (!source->find(source->context, column->fact.name, declared, &column->fact.ref, &nearest)) {
        report_no_fact(compiler->sink, header_place(compiler, column->column), column->fact.name, nearest);
        return;
    }
    if (declared != VALUE_NULL && declared != column->fact.ref.type)
        diag_error(compiler->sink, cell_place(compiler, &compiler->grid.type, column->column),
                   "the fact \"%.*s\" is a %s; leave this cell empty", TEXT_ARGUMENTS(column->fact.name),
                   value_type_name(column->fact.ref.type));
    compiler->is_known[condition] = true;
}

static int find_facts(struct compiler *compiler)
{
    struct table *table = compiler->table;
    struct cell_fact *columns = ARENA_ARRAY(&compiler->work, struct cell_fact, table->condition_count);
    uint32_t known = 0;

    compiler->is_known = ARENA_ARRAY(&compiler->work, bool, table->condition_count);
    if (columns == NULL || compiler->is_known == NULL)
        return WM_NO_MEMORY;
    for (uint32_t c = 0; c < table->condition_count; c++) {
        find_fact(compiler, c);
        if (compiler->is_known[c])
            columns[known++] = table->conditions[c].fact;
    }
    compiler->names = (struct known_names){compiler->source, columns, known};
    return WM_OK;
}

int compile_header(struct compiler *compiler)
{
    read_policy(compiler);
    int status = list_columns(compiler);
    if (status != WM_OK)
        return status;
    check_outputs(compiler);
    return find_facts(compiler);
}
