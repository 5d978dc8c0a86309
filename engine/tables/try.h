/* try.h - one decision table over a CSV of facts: what `witnessmark rules try TABLE FACTS` does (contract section 7).
 *
 * Open a run (compiles the table), give it the header row of FACTS, then blocks of rows; or try_facts for all of
 * it. A run does not change after try_header: several threads may decide blocks of it, each with a worker of its own.
 * What comes out is CSV, or a JSON object a row, in a buffer of the caller's.
 *
 * Facts: the columns of FACTS that the table names; one that FACTS lacks is null, other columns are carried through.
 * A row that is an error of the rules, or that holds a cell which is not of its fact's type or cannot be read, has
 * `!error: REASON` in its first output. No hit leaves the outputs empty, in JSON null.
 *
 * In JSON a column of FACTS whose type is known is written in that type, any other as a string, an empty cell as
 * null, and a column that an output of the table has the name of is left out. Numbers are written here and not by
 * a library, since those go through binary floating point.
 */
#ifndef WM_TABLES_TRY_H
#define WM_TABLES_TRY_H

#include "base/csv.h"
#include "tables/table.h"

enum try_format { TRY_CSV, TRY_JSON };

struct try_source {
    struct text table_file;                 /* as the user named it */
    struct text table_csv;
    struct text facts_file;                 /* as the user named it */
    const struct fact_source *dictionary;   /* types of known facts; its slots are not used */
    const struct output_type *outputs;      /* types of known outputs; may be NULL */
    size_t output_count;
    enum try_format format;
};

struct try_run;

/* The run lives in the arena, which must stay for as long as it; what `source` points to is needed until try_header
 * has returned. WM_BAD_INPUT where the table cannot be used, with every reason in the sink; WM_NO_MEMORY. */
int try_open(struct arena *arena, const struct try_source *source, struct diag_sink *sink, struct try_run **ret_run);
void try_close(struct try_run *run);    /* accepts NULL */

/* Reads the header at the start of FACTS and writes that of the result (nothing in JSON). ret_rest: the rows behind
 * it, on ret_line. WM_BAD_INPUT: no header, or one that cannot be used. */
int try_header(struct try_run *run, struct text facts, uint64_t line, struct buffer *out, struct diag_sink *sink,
               struct text *ret_rest, uint64_t *ret_line);

/* What one thread needs. */
struct try_worker;
int try_worker_new(const struct try_run *run, struct try_worker **ret_worker);
void try_worker_free(struct try_worker *worker);    /* accepts NULL */

/* Rows that had `!error` so far. */
uint64_t try_worker_errors(const struct try_worker *worker);

/* Decides whole rows that start on this line and adds the results to out. WM_NO_MEMORY. */
int try_rows(const struct try_run *run, struct try_worker *worker, struct text rows, uint64_t line, struct buffer *out);

/* All of FACTS. `write` gets the output in pieces and returns a status; the first that is not WM_OK ends the run.
 * ret_errors: rows with `!error`. Where FACTS cannot be read: WM_IO, WM_BAD_INPUT, WM_LIMIT with a diagnostic. */
int try_facts(struct try_run *run, const struct csv_source *facts, int (*write)(void *context, struct text piece),
              void *context, struct diag_sink *sink, uint64_t *ret_errors);

#endif
