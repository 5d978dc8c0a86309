/* try_parts.h - what try.c, try_rows.c and try_write.c share. */
#ifndef WM_TABLES_TRY_PARTS_H
#define WM_TABLES_TRY_PARTS_H

#include "tables/try.h"

/* A fact that the table names; its number is its slot. */
struct try_fact {
    struct text name;
    struct fact_ref ref;
    int column;                 /* in FACTS, from 0; -1: FACTS lacks it */
};

/* A column of FACTS. */
struct try_column {
    struct text name;
    enum value_type type;       /* as JSON writes it */
    bool left_out;              /* of JSON */
};

struct try_run {
    struct arena *arena;
    struct try_source source;
    struct table *table;
    struct try_fact *facts;
    uint32_t fact_count, fact_capacity;
    bool no_memory;             /* a fact could not be added */
    struct try_column *columns;
    uint32_t width;             /* columns of FACTS */
    bool is_list;               /* R O C: a cell is the outputs of all hits */
    bool is_aggregate;          /* C+ C< C> C# */
    struct text *tails;         /* CSV: for each row its outputs, with commas; bytes NULL where it has places */
};

struct try_worker {
    struct arena arena;                 /* cells of the block at hand */
    struct table_scratch *scratch;
    struct value *facts;
    struct buffer reason;               /* why a row is an error */
    struct buffer cell;
    uint64_t errors;
};

/* try_write.c: a row's result. hits NULL: worker->reason says why there is none. */
void try_write_row(const struct try_run *run, struct try_worker *worker, const struct csv_row *row,
                   const struct table_hits *hits, struct buffer *out);
void try_write_header(const struct try_run *run, struct text header, struct buffer *out);

/* Fills run->tails. */
int try_prepare_tails(struct try_run *run);

#endif
