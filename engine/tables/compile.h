/* compile.h - what the parts of table_compile share. For engine/tables alone.
 *
 * Each part returns WM_OK also after errors that it reported, so that the others find theirs; table_compile
 * looks at the sink. WM_NO_MEMORY ends it at once.
 */
#ifndef WM_TABLES_COMPILE_H
#define WM_TABLES_COMPILE_H

#include "tables/grid.h"
#include "tables/parts.h"

struct compiler {
    struct arena *arena;              /* the table's */
    struct arena work;                /* given back at the end */
    struct table_rules rules;
    const struct fact_source *source;
    struct diag_sink *sink;
    struct grid grid;
    struct table *table;
    struct known_names names;
    bool *is_known;                   /* of each condition: its fact was found */
};

static inline struct place header_place(const struct compiler *compiler, uint32_t column)
{
    return (struct place){compiler->grid.file, compiler->grid.header.line, column};
}

static inline struct place cell_place(const struct compiler *compiler, const struct grid_row *row, uint32_t column)
{
    return (struct place){compiler->grid.file, row->line, column};
}

/* The cell of a column (from 1) in a row. */
static inline struct text cell_at(const struct grid_row *row, uint32_t column)
{
    return row->cells[column - 1];
}

/* header.c: the hit policy and the columns, with the facts that the conditions name. */
int compile_header(struct compiler *compiler);
const char *policy_name(enum hit_policy policy);

/* The type that the table's `type` row gives this column; VALUE_NULL: none. Reports a word that is no type. */
enum value_type declared_type(const struct compiler *compiler, uint32_t column);

/* `no fact "modelyear"; nearest is "model_year"` */
void report_no_fact(struct diag_sink *sink, struct place place, struct text name, struct text nearest);

/* conditions.c: the condition cells, and their classes. */
int compile_conditions(struct compiler *compiler);
int compile_classes(struct compiler *compiler);

/* outputs.c: types, literals, texts with places, `values`. */
int compile_outputs(struct compiler *compiler);

/* places.c: a text's places. `raw` is the cell, of quoted text what is between the quotes. ret_places is NULL where
 * the text has none; ret_text is the text with escapes undone. WM_BAD_INPUT, reported. */
int compile_places(struct compiler *compiler, struct text raw, bool quoted, struct place place, struct text *ret_text,
                   const struct place_text **ret_places);

/* priority.c: what P, O and A need to know of the rows before any is hit. */
int compile_priority(struct compiler *compiler);
int compile_outputs_class(struct compiler *compiler);

#endif
